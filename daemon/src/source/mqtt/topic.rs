//! Topics, filters, and the channels that they feed. Section numbers are those of MQTT 5.0.

use std::collections::HashMap;
use std::sync::Arc;

use inkdwell_config::shop::MqttTopic;

/// So many topics are remembered with their channels; a flood of ever new ones takes no more memory.
const TOPICS_REMEMBERED: usize = 10_000;

/// What a topic feeds.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Feed {
    /// Which of the declared topics says how the payload is read.
    pub declared: usize,
    /// The channel.
    pub channel: Arc<str>,
}

/// Finds what a topic feeds.
#[derive(Debug)]
pub(super) struct Router {
    declared: Arc<[MqttTopic]>,
    known: HashMap<Box<str>, Arc<[Feed]>>,
}

impl Router {
    pub(super) fn new(declared: Arc<[MqttTopic]>) -> Router {
        Router {
            declared,
            known: HashMap::new(),
        }
    }

    /// The channels of a topic, each once: where two filters lead to one channel, the first declared counts.
    pub(super) fn feeds(&mut self, topic: &str) -> Arc<[Feed]> {
        if let Some(known) = self.known.get(topic) {
            return Arc::clone(known);
        }
        let mut feeds: Vec<Feed> = Vec::new();
        for (declared, mapping) in self.declared.iter().enumerate() {
            let Some(met) = meets(shared_filter(&mapping.filter), topic) else {
                continue;
            };
            let channel = channel_of(&mapping.channel, &met);
            if !feeds.iter().any(|feed| *feed.channel == channel) {
                feeds.push(Feed {
                    declared,
                    channel: channel.into(),
                });
            }
        }
        if self.known.len() >= TOPICS_REMEMBERED {
            self.known.clear();
        }
        let feeds: Arc<[Feed]> = feeds.into();
        self.known.insert(topic.into(), Arc::clone(&feeds));
        feeds
    }
}

/// The filter inside a shared subscription, `$share/NAME/FILTER` (section 4.8.2).
pub(super) fn shared_filter(filter: &str) -> &str {
    let shared = filter.strip_prefix("$share/");
    let inside = shared.and_then(|rest| rest.split_once('/'));
    inside.map_or(filter, |(_, filter)| filter)
}

/// What each `+` of a filter meets in a topic; `None` if the filter does not match it (section 4.7).
fn meets<'a>(filter: &str, topic: &'a str) -> Option<Vec<&'a str>> {
    // Section 4.7.2: a leading wildcard does not match topics that begin with a dollar sign.
    if topic.starts_with('$') && filter.starts_with(['+', '#']) {
        return None;
    }
    let (mut met, mut levels) = (Vec::new(), topic.split('/'));
    for level in filter.split('/') {
        if level == "#" {
            return Some(met);
        }
        let own = levels.next()?;
        match level {
            "+" => met.push(own),
            same if same == own => {}
            _ => return None,
        }
    }
    levels.next().is_none().then_some(met)
}

/// A channel's name with `{1}`, `{2}`, ... replaced by what was met.
fn channel_of(pattern: &str, met: &[&str]) -> String {
    let mut name = String::with_capacity(pattern.len());
    let mut rest = pattern;
    while let Some((before, after)) = rest.split_once('{') {
        name.push_str(before);
        let Some((number, after)) = after.split_once('}') else {
            rest = after;
            break;
        };
        let number: Option<usize> = number.parse().ok();
        let level = number.and_then(|number| met.get(number.checked_sub(1)?));
        name.push_str(level.unwrap_or(&""));
        rest = after;
    }
    name.push_str(rest);
    name
}

/// A filter to subscribe to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Subscription {
    /// The filter.
    pub filter: String,
    /// Whether everything declared below it tells the device's own time.
    pub timed: bool,
}

/// The filters to subscribe to. They are such that no topic matches two of them: of a message that does, a
/// broker may send a copy for each (section 3.3.4), and nobody could tell a copy from a new reading. Filters
/// that others cover are left out; of those that overlap in part, a wider one takes the place.
pub(super) fn subscriptions(declared: &[MqttTopic]) -> Vec<Subscription> {
    let mut wanted: Vec<Subscription> = Vec::new();
    for topic in declared {
        let mut next = Subscription {
            filter: topic.filter.clone(),
            timed: topic.time.is_some(),
        };
        // Each round takes one away from `wanted`, so that this ends.
        while let Some(other) = wanted
            .iter()
            .position(|other| overlap(&other.filter, &next.filter))
        {
            let other = wanted.swap_remove(other);
            next = Subscription {
                filter: wider(&other.filter, &next.filter),
                timed: other.timed && next.timed,
            };
        }
        wanted.push(next);
    }
    wanted
}

/// Whether some topic matches both.
fn overlap(one: &str, other: &str) -> bool {
    if one.starts_with("$share/") || other.starts_with("$share/") {
        return one == other;
    }
    let dollar = |filter: &str| filter.starts_with('$');
    let wild = |filter: &str| filter.starts_with(['+', '#']);
    if (dollar(one) && wild(other)) || (wild(one) && dollar(other)) {
        return false;
    }
    let (mut one, mut other) = (one.split('/'), other.split('/'));
    loop {
        match (one.next(), other.next()) {
            (Some("#"), _) | (_, Some("#")) | (None, None) => return true,
            (None, _) | (_, None) => return false,
            (Some(a), Some(b)) if a == "+" || b == "+" || a == b => {}
            _ => return false,
        }
    }
}

/// The narrowest filter that covers both.
fn wider(one: &str, other: &str) -> String {
    let (mut levels, mut one, mut other) = (Vec::new(), one.split('/'), other.split('/'));
    loop {
        match (one.next(), other.next()) {
            (None, None) => break,
            (Some(a), Some(b)) if a == b => levels.push(a),
            (Some("#"), _) | (_, Some("#")) | (None, _) | (_, None) => {
                levels.push("#");
                break;
            }
            _ => levels.push("+"),
        }
    }
    levels.join("/")
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn topic(filter: &str, channel: &str) -> MqttTopic {
        MqttTopic {
            filter: filter.to_owned(),
            channel: channel.to_owned(),
            value: None,
            time: None,
            sequence: None,
        }
    }

    fn filters(declared: &[&str]) -> Vec<String> {
        let declared: Vec<MqttTopic> = declared.iter().map(|filter| topic(filter, "c")).collect();
        let wanted = subscriptions(&declared);
        wanted.into_iter().map(|wanted| wanted.filter).collect()
    }

    /// The examples of MQTT 5.0, sections 4.7.1.2, 4.7.1.3, 4.7.2 and 4.7.3.
    #[test]
    fn filters_match_as_the_standard_s_examples() {
        for (filter, topic, matches) in [
            ("sport/tennis/player1/#", "sport/tennis/player1", true),
            (
                "sport/tennis/player1/#",
                "sport/tennis/player1/ranking",
                true,
            ),
            (
                "sport/tennis/player1/#",
                "sport/tennis/player1/score/wimbledon",
                true,
            ),
            ("sport/#", "sport", true),
            ("sport/tennis/+", "sport/tennis/player1", true),
            ("sport/tennis/+", "sport/tennis/player1/ranking", false),
            ("sport/+", "sport", false),
            ("sport/+", "sport/", true),
            ("+/+", "/finance", true),
            ("/+", "/finance", true),
            ("+", "/finance", false),
            ("#", "$SYS/broker", false),
            ("+/monitor/Clients", "$SYS/monitor/Clients", false),
            ("$SYS/#", "$SYS/broker", true),
            ("$SYS/monitor/+", "$SYS/monitor/Clients", true),
            ("ACCOUNTS", "Accounts", false),
        ] {
            assert_eq!(meets(filter, topic).is_some(), matches, "{filter} {topic}");
        }
    }

    #[test]
    fn channels_are_named_by_what_was_met() {
        let declared = [
            topic("yard/+/probe/+", "{2} of {1}"),
            topic("yard/#", "all"),
            topic("yard/belt-1/probe/+", "{1} of belt-1"),
            topic("$share/inkdwell/other/+", "{1}"),
        ];
        let mut router = Router::new(declared.into());
        let mut names = |topic: &str| {
            let feeds = router.feeds(topic);
            let feeds = feeds.iter();
            feeds
                .map(|feed| (feed.declared, feed.channel.to_string()))
                .collect::<Vec<_>>()
        };
        let expected = [(0, "film of belt-1".to_owned()), (1, "all".to_owned())];
        // The third leads to the first's channel.
        assert_eq!(names("yard/belt-1/probe/film"), expected);
        assert_eq!(names("yard/belt-1/probe/film"), expected);
        assert_eq!(names("other/exit"), [(3, "exit".to_owned())]);
        assert!(names("elsewhere").is_empty());
    }

    #[test]
    fn what_is_subscribed_to_does_not_overlap() {
        assert_eq!(filters(&["a/b", "a/+", "a/#", "c"]), ["a/#", "c"]);
        assert_eq!(filters(&["a/+/c", "a/b/+"]), ["a/+/+"]);
        assert_eq!(filters(&["a/+", "b/+", "a/x"]), ["b/+", "a/+"]);
        assert_eq!(filters(&["#", "$SYS/#"]), ["#", "$SYS/#"]);
        // The wider one of two may then overlap with a third.
        assert_eq!(filters(&["+/b/z", "a", "+/+/z/q", "x/b/#"]), ["a", "+/+/#"]);
    }

    #[test]
    fn topics_without_end_take_no_more_memory() {
        let mut router = Router::new([topic("+", "{1}")].into());
        for number in 0..=TOPICS_REMEMBERED {
            router.feeds(&number.to_string());
        }
        assert!(router.known.len() <= TOPICS_REMEMBERED);
        assert_eq!(router.feeds("0")[0].channel.as_ref(), "0");
    }

    fn level() -> impl Strategy<Value = String> {
        prop::sample::select(vec!["a", "b", "", "$x"]).prop_map(str::to_owned)
    }

    fn filter() -> impl Strategy<Value = String> {
        let wild = prop_oneof![3 => level(), 2 => Just("+".to_owned())];
        (prop::collection::vec(wild, 1..4), any::<bool>()).prop_map(|(mut levels, hash)| {
            if hash {
                levels.push("#".to_owned());
            }
            levels.join("/")
        })
    }

    proptest! {
        /// Every topic that a declared filter matches comes once, whatever the filters.
        #[test]
        fn each_topic_comes_once(
            filters in prop::collection::vec(filter(), 1..6),
            levels in prop::collection::vec(level(), 1..5),
        ) {
            let name = levels.join("/");
            let declared: Vec<_> = filters.iter().map(|filter| topic(filter, "c")).collect();
            let wanted = subscriptions(&declared);
            let matching = wanted.iter().filter(|wanted| meets(&wanted.filter, &name).is_some());
            let matching = matching.count();
            prop_assert!(matching <= 1, "{wanted:?}");
            if filters.iter().any(|filter| meets(filter, &name).is_some()) {
                prop_assert_eq!(matching, 1, "{:?}", wanted);
            }
        }
    }
}
