//! Every way through the questions.

use inkdwell_config::shop::Shop;

use super::*;
use crate::start::shop_file;

/// Answers what is asked: from a list of keys and answers, else what Enter takes, else the example.
fn walk(state: &mut State, answers: &[(&str, &str)]) -> Plan {
    for _ in 0..100 {
        match plan(state) {
            Ok(plan) => return plan,
            Err(Step::Hear(place)) => state.findings.hear_nothing(&place),
            Err(Step::Ask(question)) => {
                let own = answers.iter().find(|(key, _)| *key == question.key);
                let own = own.map(|(_, answer)| (*answer).to_owned());
                let answer = own.or(question.usual).unwrap_or(question.example);
                let checked = (question.check)(&answer);
                let checked = checked.unwrap_or_else(|why| panic!("{}: {why}", question.key));
                state.take(&question.key, checked);
            }
        }
    }
    panic!("there is no end of questions");
}

fn sound(plan: &Plan) -> Shop {
    let text = shop_file::text(plan);
    let checked = Shop::parse("shop.toml", &text);
    assert_eq!(checked.problems, vec![], "{text}");
    checked.value
}

#[test]
fn every_way_through_the_questions_ends_in_a_sound_shop_file() {
    for answers in [
        &[("source.0", "simulated")][..],
        &[("source.0", "simulated"), ("station", "flash-unit")],
        &[
            ("source.0", "serial /dev/null"),
            ("source.0.format", "pairs space"),
        ],
        &[
            ("source.0", "serial /dev/null"),
            ("source.0.format", "fields ;"),
            ("source.0.names", "film,exit,belt"),
            ("source.0.channel.belt.unit", "ft/min"),
            ("source.1", "modbus 127.0.0.1:1502"),
            ("source.1.register.0", "film=1:input:0:int16:0.1:F"),
            ("source.1.channel.film.what", "zone"),
        ],
    ] {
        let mut state = State::default();
        let plan = walk(&mut state, answers);
        let shop = sound(&plan);
        assert_eq!(shop.sources.len(), plan.sources.len());
        assert_eq!(shop.probes.len() + shop.signals.len(), plan.channels.len());
    }
}

/// Two sources may have a channel of one name: the second gets an id of its own.
#[test]
fn channels_of_one_name_get_ids_of_their_own() {
    let mut state = State::default();
    let answers = [
        ("source.0", "serial /dev/null"),
        ("source.0.format", "json"),
        ("source.0.channels", "film"),
        ("source.1", "modbus 127.0.0.1"),
        ("source.1.register.0", "film=1:input:0:int16"),
    ];
    let shop = sound(&walk(&mut state, &answers));
    let named: Vec<(&str, &str)> = shop
        .probes
        .iter()
        .map(|probe| (probe.id.as_str(), probe.channel.as_str()))
        .collect();
    assert_eq!(named, [("film", "film"), ("film-2", "film")]);
}

#[test]
fn an_answer_that_is_taken_back_changes_what_comes_after_it() {
    let mut state = State::default();
    walk(&mut state, &[("source.0", "simulated")]);
    assert!(state.answers.contains_key("belt"));
    state.take_away("station");
    let plan = walk(&mut state, &[("station", "flash-unit")]);
    assert_eq!(plan.station.kind, StationKind::FlashUnit);
    assert_eq!(plan.station.belt, None);
    sound(&plan);
}

#[test]
fn a_place_that_readings_come_from_is_written_in_one_way() {
    let seen = [crate::start::ports::Seen {
        path: "/dev/null".into(),
        named: Port::Path("/dev/null".into()),
        says: "USB 0403:6001".to_owned(),
    }];
    for (typed, number, expected) in [
        ("1", 0, Ok("serial /dev/null")),
        ("/dev/null", 0, Ok("serial /dev/null")),
        ("mqtt 127.0.0.1:1884", 0, Ok("mqtt 127.0.0.1:1884")),
        ("modbus /dev/null", 0, Ok("modbus /dev/null")),
        ("simulated", 0, Ok("simulated")),
        ("no", 1, Ok(NONE)),
        (NONE, 1, Ok(NONE)),
        ("2", 0, Err("no port of this number")),
        ("/dev/not-there", 0, Err("plug the adapter in")),
        ("mqtt", 0, Err("names no host")),
        ("mqtt host:port", 0, Err("is no port")),
        ("no", 0, Err("not understood")),
        ("simulated", 1, Err("stands alone")),
    ] {
        let found = where_from(typed, number, &seen);
        match expected {
            Ok(expected) => assert_eq!(found.as_deref(), Ok(expected), "{typed}"),
            Err(says) => assert!(
                found.as_ref().is_err_and(|why| why.contains(says)),
                "{typed}: {found:?}"
            ),
        }
    }
}
