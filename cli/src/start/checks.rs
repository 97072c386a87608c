//! What an answer may be.
//!
//! Each makes of what was typed what is kept, or says what is wrong with it and how to write it.

use std::net::SocketAddr;

use inkdwell_config::Quantity;
use inkdwell_config::problem::nearest;
use inkdwell_config::quantity::{Celsius, Metres, MetresPerSecond};

/// Words that a shop file can hold.
pub(super) fn words(text: &str) -> Result<String, String> {
    if text.chars().any(char::is_control) {
        return Err("there is a control character in it; type letters".to_owned());
    }
    match text.chars().count() {
        0 => Err("nothing is typed".to_owned()),
        1..=80 => Ok(text.to_owned()),
        _ => Err("it is longer than 80 letters".to_owned()),
    }
}

/// A name of the IANA list.
pub(super) fn timezone(text: &str) -> Result<String, String> {
    let named = |zone: &chrono_tz::Tz| zone.name().eq_ignore_ascii_case(text);
    if let Some(zone) = chrono_tz::TZ_VARIANTS.iter().find(|zone| named(zone)) {
        return Ok(zone.name().to_owned());
    }
    // A town alone is found by its last part.
    let town = text.replace(' ', "_");
    let of_town = |zone: &&chrono_tz::Tz| {
        zone.name()
            .rsplit('/')
            .next()
            .is_some_and(|own| own.eq_ignore_ascii_case(&town))
    };
    let names = || chrono_tz::TZ_VARIANTS.iter().map(|zone| zone.name());
    let town = chrono_tz::TZ_VARIANTS.iter().find(of_town);
    let town = town.or_else(|| {
        let towns = names().filter_map(|name| Some(name.split_once('/')?.1));
        let near = nearest(text, towns.filter(|_| !text.contains('/')))?;
        let of_it = |zone: &&chrono_tz::Tz| zone.name().ends_with(&format!("/{near}"));
        chrono_tz::TZ_VARIANTS.iter().find(of_it)
    });
    let near = town
        .map(|zone| zone.name())
        .or_else(|| nearest(text, names()));
    Err(match near {
        Some(near) => format!("there is no such time zone; did you mean {near}?"),
        None => "there is no such time zone; write continent and town, as Europe/Vienna".to_owned(),
    })
}

/// One of some words, which may be begun only.
pub(super) fn choice(text: &str, words: &[&str]) -> Result<String, String> {
    let typed = text.trim().to_lowercase();
    if let Some(word) = words.iter().find(|word| **word == typed) {
        return Ok((*word).to_owned());
    }
    let begun: Vec<&&str> = words
        .iter()
        .filter(|word| word.starts_with(&typed))
        .collect();
    match begun.as_slice() {
        [only] if !typed.is_empty() => Ok((**only).to_owned()),
        _ => Err(format!("it is none of these: {}", words.join(", "))),
    }
}

/// A length above zero, with its unit.
pub(super) fn length(text: &str) -> Result<String, String> {
    let metres = Metres::parse(text).map(|metres| metres.0);
    positive(text, metres.map_err(|error| error.to_string()), "2.4 m")
}

/// A belt speed above zero, with its unit.
pub(super) fn speed(text: &str) -> Result<String, String> {
    let speed = MetresPerSecond::parse(text).map(|speed| speed.0);
    positive(text, speed.map_err(|error| error.to_string()), "2.6 m/min")
}

fn positive(text: &str, value: Result<f64, String>, example: &str) -> Result<String, String> {
    match value {
        Err(error) => Err(error),
        Ok(value) if value <= 0.0 => {
            Err(format!("it is not above zero; write for example {example}"))
        }
        Ok(_) => Ok(text.to_owned()),
    }
}

/// What a heat is set to: `190 C`, `panel 420 C`, or both with a comma.
pub(super) fn set(text: &str) -> Result<String, String> {
    let (air, panel) = set_parts(text)?;
    let panel = panel.map(|panel| format!("panel {panel}"));
    Ok([air, panel]
        .into_iter()
        .flatten()
        .collect::<Vec<_>>()
        .join(", "))
}

/// Air and panel of what a heat is set to, as [`set`] has it.
pub(super) fn set_parts(text: &str) -> Result<(Option<String>, Option<String>), String> {
    let (mut air, mut panel) = (None, None);
    for part in text.split(',') {
        let part = part.trim();
        let (is_panel, written) = match part.split_once(' ') {
            Some((word, rest)) if word.eq_ignore_ascii_case("panel") => (true, rest.trim()),
            Some((word, rest)) if word.eq_ignore_ascii_case("air") => (false, rest.trim()),
            _ => (false, part),
        };
        Celsius::parse(written).map_err(|error| error.to_string())?;
        let place = if is_panel { &mut panel } else { &mut air };
        if place.replace(written.to_owned()).is_some() {
            return Err(
                "air or panel is given twice; write for example \"190 C\", or \"180 C, panel 420 C\""
                    .to_owned(),
            );
        }
    }
    Ok((air, panel))
}

/// Bits a second.
pub(super) fn baud(text: &str) -> Result<String, String> {
    match text.parse::<u32>() {
        Ok(50..=4_000_000) => Ok(text.to_owned()),
        _ => Err("write a whole number from 50 to 4000000, as 9600".to_owned()),
    }
}

/// An address to listen at.
pub(super) fn address(text: &str) -> Result<String, String> {
    match text.parse::<SocketAddr>() {
        Ok(address) if address.ip().is_loopback() => Ok(text.to_owned()),
        Ok(_) => Err(
            "beyond this machine the board needs a certificate; begin with 127.0.0.1:7878, and see [board] in the shop \
             file for more"
                .to_owned(),
        ),
        Err(_) => Err("write an address and a port, as 127.0.0.1:7878".to_owned()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn answers_are_kept_as_files_have_them() {
        assert_eq!(timezone("europe/vienna").as_deref(), Ok("Europe/Vienna"));
        assert_eq!(choice("US", &["metric", "us"]).as_deref(), Ok("us"));
        assert_eq!(
            choice("belt", &["belt-dryer", "flash-unit"]).as_deref(),
            Ok("belt-dryer")
        );
        assert_eq!(length("8 ft").as_deref(), Ok("8 ft"));
        assert_eq!(set("air 190 C").as_deref(), Ok("190 C"));
        assert_eq!(
            set("panel 420 C, 180 C").as_deref(),
            Ok("180 C, panel 420 C")
        );
        assert_eq!(address("127.0.0.1:0").as_deref(), Ok("127.0.0.1:0"));
    }

    #[test]
    fn what_is_wrong_is_said_with_how_to_write_it() {
        for (wrong, says) in [
            (timezone("Vienna"), "did you mean Europe/Vienna?"),
            (timezone("Viena"), "did you mean Europe/Vienna?"),
            (timezone("Europe/Viena"), "did you mean Europe/Vienna?"),
            (timezone("?!"), "as Europe/Vienna"),
            (choice("", &["metric", "us"]), "metric, us"),
            (length("2.4"), "2.4 m"),
            (length("0 m"), "not above zero"),
            (length("2.4 C"), "unit of length"),
            (speed("-1 m/min"), "is negative"),
            (set("190"), "190 C"),
            (set("190 C, 180 C"), "twice"),
            (baud("fast"), "9600"),
            (address("0.0.0.0:80"), "certificate"),
            (address("here"), "127.0.0.1:7878"),
            (words("a\u{1b}[2J"), "control character"),
            (words(&"x".repeat(81)), "80 letters"),
        ] {
            let sentence = wrong.unwrap_err();
            assert!(sentence.contains(says), "{says}: {sentence}");
        }
    }
}
