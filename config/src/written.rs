//! Inks and fabrics written down again, in the form in which files declare them.
//!
//! A journal keeps them beside the verdicts that rest on them: what was declared then stays readable and is
//! read again to the same figures, whatever becomes of the library.

use std::fmt::Write as _;

use crate::fabric::Fabric;
use crate::ink::Ink;
use crate::law::Law;

/// Writes an ink and a fabric as TOML that [`Library::parse`](crate::library::Library::parse) reads.
pub fn declared(ink: &Ink, fabric: &Fabric) -> String {
    let mut text = String::new();
    write_ink(&mut text, ink);
    text.push('\n');
    write_fabric(&mut text, fabric);
    text
}

fn quoted(words: &str) -> String {
    toml::Value::from(words).to_string()
}

/// `key = "value"`, as a line.
fn line(text: &mut String, key: &str, value: impl std::fmt::Display) {
    // Writing to a string cannot fail.
    let _ = writeln!(text, "{key} = {value}");
}

fn write_ink(text: &mut String, ink: &Ink) {
    text.push_str("[[ink]]\n");
    line(text, "id", quoted(&ink.id));
    line(text, "name", quoted(&ink.name));
    line(text, "family", quoted(ink.family.name()));
    line(text, "threshold", format_args!("\"{} C\"", ink.threshold.0));
    line(text, "cure", format_args!("{{ {} }}", law(&ink.cure)));
    if let Some(film) = ink.film {
        line(text, "film", format_args!("\"{} m\"", film.0));
    }
    if let Some(water) = ink.water {
        line(text, "water", format_args!("{:?}", water.0));
    }
    if let Some(gel) = ink.gel {
        let (from, to) = (gel.from.0, gel.to.0);
        let window = format_args!("{{ from = \"{from} C\", to = \"{to} C\" }}");
        line(text, "gel", window);
    }
    if let Some(pot_life) = ink.pot_life {
        line(text, "pot_life", format_args!("\"{} s\"", pot_life.0));
    }
    line(text, "needs_exhaust", ink.needs_exhaust);
    line(text, "source", quoted(&ink.source));
}

fn write_fabric(text: &mut String, fabric: &Fabric) {
    text.push_str("[[fabric]]\n");
    line(text, "id", quoted(&fabric.id));
    line(text, "name", quoted(&fabric.name));
    let grams = fabric.mass.0 * 1e3;
    line(text, "mass", format_args!("\"{grams} g/m2\""));
    line(text, "regain", format_args!("{:?}", fabric.regain.0));
    line(text, "layers", fabric.layers);
    let limits = fabric.harms.iter();
    let limits = limits.map(|limit| {
        format!(
            "{{ harm = \"{}\", {} }}",
            limit.harm.name(),
            law(&limit.law)
        )
    });
    let limits: Vec<String> = limits.collect();
    line(text, "harms", format_args!("[{}]", limits.join(", ")));
    line(text, "source", quoted(&fabric.source));
}

fn law(law: &Law) -> String {
    match law {
        Law::Hold { at, duration } => {
            format!(
                "law = \"hold\", at = \"{} C\", for = \"{} s\"",
                at.0, duration.0
            )
        }
        Law::Equivalents { points } => {
            let points = points.iter();
            let points = points.map(|(at, time)| format!("[\"{} C\", \"{} s\"]", at.0, time.0));
            let points: Vec<String> = points.collect();
            format!("law = \"equivalents\", points = [{}]", points.join(", "))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::library::Library;

    /// Everything that ships, each ink on each fabric.
    #[test]
    fn what_is_written_is_read_to_the_same_figures() {
        let shipped = Library::shipped();
        for ink in shipped.inks() {
            for fabric in shipped.fabrics() {
                let text = declared(ink, fabric);
                let read = Library::parse("journal", &text);
                assert_eq!(read.problems, vec![], "{text}");
                assert_eq!(read.value.inks(), std::slice::from_ref(ink));
                let again = &read.value.fabrics()[0];
                assert!((again.mass.0 / fabric.mass.0 - 1.0).abs() < 1e-15);
                let again = Fabric {
                    mass: fabric.mass,
                    ..again.clone()
                };
                assert_eq!(&again, fabric);
            }
        }
    }

    #[test]
    fn names_may_hold_anything() {
        let shipped = Library::shipped();
        let mut ink = shipped.inks()[0].clone();
        ink.name = "white \"soft\"\\ no. 3 µ".to_owned();
        ink.source = "two 'kinds' of \"marks\"".to_owned();
        let text = declared(&ink, &shipped.fabrics()[0]);
        let read = Library::parse("journal", &text);
        assert_eq!(read.problems, vec![], "{text}");
        assert_eq!(read.value.inks()[0], ink);
    }
}
