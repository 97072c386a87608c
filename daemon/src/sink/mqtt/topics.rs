//! The topics.
//!
//! ```text
//! inkdwell/SHOP/STATION/verdict   each print's verdict                      QoS 1
//! inkdwell/SHOP/STATION/alarm     each change of each alarm                 QoS 1
//! inkdwell/SHOP/STATION/alarms    its alarms that are not normal            QoS 1, retained
//! inkdwell/SHOP/STATION/event     what else happens there                   QoS 1
//! inkdwell/SHOP/STATION/state     where the station stands                  QoS 1, retained
//! inkdwell/SHOP/@monitor/status   how the monitor itself is; the last will  QoS 1, retained
//! inkdwell/SHOP/@monitor/event    what concerns no station                  QoS 1
//! inkdwell/SHOP/@monitor/alarm    alarms of no station, and                 QoS 1
//! inkdwell/SHOP/@monitor/alarms   those of them that are not normal         QoS 1, retained
//! ```
//!
//! SHOP is the shop's name, in which everything but letters, digits, `-`, `_` and `.` is a hyphen; STATION is the
//! station's id. No station can be called `@monitor`.

/// Where topics stand that belong to no station.
pub(super) const MONITOR: &str = "@monitor";

/// A topic.
pub(super) fn topic(shop: &str, station: Option<&str>, word: &str) -> String {
    let station = station.unwrap_or(MONITOR);
    format!("inkdwell/{}/{station}/{word}", level(shop))
}

/// A name as one level of a topic: without separators and wildcards (MQTT 5.0, section 4.7), and without spaces,
/// which make it hard to type.
fn level(name: &str) -> String {
    let fits = |letter: char| letter.is_alphanumeric() || matches!(letter, '-' | '_' | '.');
    let mut level = String::new();
    for letter in name.trim().chars() {
        match fits(letter) {
            true => level.push(letter),
            // Several in a row are one hyphen.
            false if level.ends_with('-') => {}
            false => level.push('-'),
        }
    }
    level
}

#[cfg(test)]
mod tests {
    use super::*;

    /// MQTT 5.0, section 4.7: `/` separates levels, `+` and `#` are wildcards and stand in no topic that is
    /// published to, a topic has at least one letter.
    #[test]
    fn a_shop_s_name_is_one_level() {
        for (name, topic_of) in [
            ("yard", "inkdwell/yard/belt-1/verdict"),
            (
                "Lantern Yard Print",
                "inkdwell/Lantern-Yard-Print/belt-1/verdict",
            ),
            (
                "Hot + Cold / Sons #2",
                "inkdwell/Hot-Cold-Sons-2/belt-1/verdict",
            ),
            ("Druckwerk Süd", "inkdwell/Druckwerk-Süd/belt-1/verdict"),
        ] {
            assert_eq!(topic(name, Some("belt-1"), "verdict"), topic_of);
        }
        assert_eq!(
            topic("yard", None, "status"),
            "inkdwell/yard/@monitor/status"
        );
    }
}
