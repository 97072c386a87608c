//! What a key means, and what is being typed.

use inkdwell_config::station::StationKind;
use inkdwell_daemon::api::view::{Acknowledgement, By, NewBatch, Settlement, ToShelve};
use inkdwell_daemon::record::Settled;
use ratatui::crossterm::event::{KeyCode, KeyEvent, KeyModifiers};

use super::contact::Deed;
use super::view::Scene;

/// The longest that can be typed into a field.
const LONGEST: usize = 200;

/// What a key means to the rest of the program.
#[derive(Debug, PartialEq)]
pub(super) enum Meant {
    Nothing,
    Quit,
    Do(Box<Deed>),
}

/// What the keys are for just now.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) enum Mode {
    /// Looking on.
    #[default]
    Looking,
    /// Reading the keys.
    Help,
    /// Settling a hold.
    Settling(Settling),
    /// Opening or closing a batch.
    Batch(BatchForm),
    /// Putting an alarm aside for a while.
    Shelving(Shelving),
}

impl Mode {
    /// Notes whether what was typed is on its way.
    pub(super) fn is_sent(&mut self, sent: bool) {
        match self {
            Mode::Settling(form) => form.sent = sent,
            Mode::Batch(form) => form.sent = sent,
            Mode::Shelving(form) => form.sent = sent,
            Mode::Looking | Mode::Help => {}
        }
    }
}

/// A hold that is being settled.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct Settling {
    /// Which of the open holds on the screen.
    pub(super) chosen: usize,
    /// What was done with its prints.
    pub(super) outcome: Option<Settled>,
    /// Why.
    pub(super) why: String,
    pub(super) sent: bool,
}

/// A batch that is being opened, or closed.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct BatchForm {
    /// The station's id.
    pub(super) station: String,
    /// Whether it is a flash unit, which may be a print's last heat.
    pub(super) is_flash: bool,
    /// The batch that is open there, while it is asked whether to close it.
    pub(super) open: Option<u64>,
    /// Job, ink, fabric, quantity, recipe and whether the lamp is the last heat, as typed.
    pub(super) fields: [String; FIELDS.len()],
    /// The field that is typed into.
    pub(super) field: usize,
    pub(super) sent: bool,
}

impl BatchForm {
    /// How many of the fields are asked for: a belt dryer is always the last heat.
    pub(super) fn asked(&self) -> usize {
        match self.is_flash {
            true => FIELDS.len(),
            false => FIELDS.len() - 1,
        }
    }
}

/// An alarm that is being put aside.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Shelving {
    /// The alarm, as `NAME@ID`.
    pub(super) alarm: String,
    /// For how many minutes, as typed; nothing stands for [`USUAL_MINUTES`].
    pub(super) minutes: String,
    /// Why.
    pub(super) why: String,
    /// Whether the reason is typed into, and not the minutes.
    pub(super) is_at_why: bool,
    pub(super) sent: bool,
}

/// An alarm is put aside for so many minutes where nobody says how many.
pub(super) const USUAL_MINUTES: u64 = 60;

/// What the fields of a new batch are called.
pub(super) const FIELDS: [&str; 6] = ["job", "ink", "fabric", "how many", "recipe", "last heat"];

/// Takes a key.
pub(super) fn meant(scene: &mut Scene, key: KeyEvent) -> Meant {
    if key.modifiers.contains(KeyModifiers::CONTROL) && key.code == KeyCode::Char('c') {
        return Meant::Quit;
    }
    match std::mem::take(&mut scene.mode) {
        Mode::Looking => looking(scene, key.code),
        // Any key closes it.
        Mode::Help => Meant::Nothing,
        Mode::Settling(form) => settling(scene, form, key.code),
        Mode::Batch(form) => batch(scene, form, key.code),
        Mode::Shelving(form) => shelving(scene, form, key.code),
    }
}

fn looking(scene: &mut Scene, key: KeyCode) -> Meant {
    match key {
        KeyCode::Char('q') | KeyCode::Esc => return Meant::Quit,
        KeyCode::Char('?') | KeyCode::F(1) => scene.mode = Mode::Help,
        KeyCode::Tab | KeyCode::Right => scene.turn(1),
        KeyCode::BackTab | KeyCode::Left => scene.turn(-1),
        KeyCode::Char('h') => match scene.holds().is_empty() {
            true => scene.say("No hold is open here.".to_owned()),
            false => scene.mode = Mode::Settling(Settling::default()),
        },
        KeyCode::Char('a') => return acknowledge(scene),
        KeyCode::Char('z') => match scene.alarms().into_iter().next() {
            None => scene.say("No alarm stands here.".to_owned()),
            Some(to_do) => {
                scene.mode = Mode::Shelving(Shelving {
                    alarm: to_do.alarm.clone().unwrap_or_default(),
                    minutes: String::new(),
                    why: String::new(),
                    is_at_why: false,
                    sent: false,
                });
            }
        },
        KeyCode::Char('b') => match scene.shown() {
            None => scene.say("Choose a station first: Tab goes from one to the next.".to_owned()),
            Some(own) => {
                let form = BatchForm {
                    station: own.station.clone(),
                    is_flash: own.kind == StationKind::FlashUnit.name(),
                    open: own.batch.as_ref().map(|batch| batch.batch),
                    ..BatchForm::default()
                };
                scene.mode = Mode::Batch(form);
            }
        },
        _ => {}
    }
    Meant::Nothing
}

/// Acknowledges the first alarm that nobody has.
fn acknowledge(scene: &mut Scene) -> Meant {
    let first = scene.alarms().into_iter().find(|to_do| to_do.urgent);
    let alarm = first.and_then(|to_do| to_do.alarm.clone());
    match (alarm, &scene.by) {
        (None, _) => scene.say("There is no alarm to acknowledge here.".to_owned()),
        (Some(_), None) => scene.say(NOBODY.to_owned()),
        (Some(alarm), Some(by)) => {
            let seen = Acknowledgement {
                by: by.clone(),
                why: String::new(),
            };
            return Meant::Do(Box::new(Deed::Acknowledge(alarm, seen)));
        }
    }
    Meant::Nothing
}

fn shelving(scene: &mut Scene, mut form: Shelving, key: KeyCode) -> Meant {
    if key == KeyCode::Esc {
        return Meant::Nothing;
    }
    let mut meant = Meant::Nothing;
    match key {
        KeyCode::Up => choose(scene, &mut form, -1),
        KeyCode::Down => choose(scene, &mut form, 1),
        KeyCode::Tab | KeyCode::BackTab => form.is_at_why = !form.is_at_why,
        KeyCode::Enter if !form.is_at_why => form.is_at_why = true,
        KeyCode::Enter if form.sent => {}
        KeyCode::Enter => match to_shelve(scene, &form) {
            Ok(aside) => {
                meant = Meant::Do(Box::new(Deed::Shelve(form.alarm.clone(), aside)));
                form.sent = true;
            }
            Err(why) => scene.say(why),
        },
        key if form.is_at_why => type_into(&mut form.why, key),
        KeyCode::Char(letter) if !letter.is_ascii_digit() => {
            scene.say("Minutes are a whole number; Tab goes to the reason.".to_owned());
        }
        key => type_into(&mut form.minutes, key),
    }
    scene.mode = Mode::Shelving(form);
    meant
}

/// Goes on among the alarms that stand.
fn choose(scene: &Scene, form: &mut Shelving, by: isize) {
    let alarms = scene.alarms();
    let names = alarms.iter().filter_map(|to_do| to_do.alarm.as_deref());
    let names: Vec<&str> = names.collect();
    let own = names.iter().position(|name| *name == form.alarm);
    let next = own.unwrap_or(0).saturating_add_signed(by);
    if let Some(name) = names.get(next.min(names.len().saturating_sub(1))) {
        form.alarm = (*name).to_owned();
    }
}

/// The most minutes for which an alarm may be put aside here.
pub(super) fn most_minutes(scene: &Scene) -> u64 {
    let longest = scene.now.as_ref().map_or(0.0, |now| now.shelve_longest_s);
    (longest / 60.0).floor() as u64
}

fn to_shelve(scene: &Scene, form: &Shelving) -> Result<ToShelve, String> {
    let most = most_minutes(scene);
    let minutes = match form.minutes.as_str() {
        "" => USUAL_MINUTES.min(most),
        typed => typed.parse().unwrap_or(u64::MAX),
    };
    if minutes == 0 || minutes > most {
        return Err(format!(
            "An alarm is put aside for 1 to {most} minutes; {} are not possible.",
            form.minutes
        ));
    }
    match (&scene.by, form.why.trim()) {
        (_, "") => Err("Say why, in a few words.".to_owned()),
        (None, _) => Err(NOBODY.to_owned()),
        (Some(by), why) => Ok(ToShelve {
            for_s: minutes as f64 * 60.0,
            by: by.clone(),
            why: why.to_owned(),
        }),
    }
}

fn settling(scene: &mut Scene, mut form: Settling, key: KeyCode) -> Meant {
    let holds = scene.holds();
    let Some(last) = holds.len().checked_sub(1) else {
        scene.say("No hold is open here any more.".to_owned());
        return Meant::Nothing;
    };
    form.chosen = form.chosen.min(last);
    let mut meant = Meant::Nothing;
    match (key, form.outcome) {
        (KeyCode::Esc, None) => return Meant::Nothing,
        (KeyCode::Esc, Some(_)) => form.outcome = None,
        (KeyCode::Up, None) => form.chosen = form.chosen.saturating_sub(1),
        (KeyCode::Down, None) => form.chosen = (form.chosen + 1).min(last),
        (KeyCode::Char('r'), None) => form.outcome = Some(Settled::ReRun),
        (KeyCode::Char('s'), None) => form.outcome = Some(Settled::Scrapped),
        (KeyCode::Char('g'), None) => form.outcome = Some(Settled::Released),
        (KeyCode::Enter, Some(outcome)) if !form.sent => {
            let why = form.why.trim().to_owned();
            match (&scene.by, why.is_empty()) {
                (_, true) => scene.say("Say why, in a few words.".to_owned()),
                (None, _) => scene.say(NOBODY.to_owned()),
                (Some(by), false) => {
                    let by = by.clone();
                    let settlement = Settlement { outcome, by, why };
                    meant = Meant::Do(Box::new(Deed::Settle(holds[form.chosen], settlement)));
                    form.sent = true;
                }
            }
        }
        (key, Some(_)) => type_into(&mut form.why, key),
        _ => {}
    }
    scene.mode = Mode::Settling(form);
    meant
}

/// Nobody is named.
const NOBODY: &str = "Nobody is named: start it again with --by NAME.";

fn batch(scene: &mut Scene, mut form: BatchForm, key: KeyCode) -> Meant {
    if key == KeyCode::Esc {
        return Meant::Nothing;
    }
    let Some(by) = scene.by.clone() else {
        scene.say(NOBODY.to_owned());
        return Meant::Nothing;
    };
    let mut meant = Meant::Nothing;
    match (form.open, key) {
        (Some(open), KeyCode::Enter) if !form.sent => {
            meant = Meant::Do(Box::new(Deed::Close(open, By { by })));
            form.sent = true;
        }
        (Some(_), KeyCode::Char('n')) => {
            form.open = None;
            // The next one is often of the same ink and fabric.
            if let Some(batch) = scene.shown().and_then(|own| own.batch.as_ref()) {
                form.fields[1].clone_from(&batch.ink);
                form.fields[2].clone_from(&batch.fabric);
            }
        }
        (Some(_), _) => {}
        (None, KeyCode::Tab | KeyCode::Down) => form.field = (form.field + 1) % form.asked(),
        (None, KeyCode::BackTab | KeyCode::Up) => {
            form.field = (form.field + form.asked() - 1) % form.asked();
        }
        (None, KeyCode::Enter) if form.field + 1 < form.asked() => form.field += 1,
        (None, KeyCode::Enter) if !form.sent => match new_batch(&form, by) {
            Ok(batch) => {
                meant = Meant::Do(Box::new(Deed::Open(batch)));
                form.sent = true;
            }
            Err(why) => scene.say(why),
        },
        (None, key) => type_into(&mut form.fields[form.field], key),
    }
    scene.mode = Mode::Batch(form);
    meant
}

/// What was typed, as a batch. The daemon knows which inks and fabrics there are.
fn new_batch(form: &BatchForm, by: String) -> Result<NewBatch, String> {
    let [job, ink, fabric, quantity, recipe, last_heat] =
        form.fields.each_ref().map(|field| field.trim());
    if let Some(empty) = [job, ink, fabric].iter().position(|field| field.is_empty()) {
        return Err(format!("The {} is missing.", FIELDS[empty]));
    }
    let number = |typed: &str, what: &str| match typed {
        "" => Ok(None),
        typed => typed
            .parse::<u64>()
            .map(Some)
            .map_err(|_| format!("{what}, or nothing; {typed:?} is none.")),
    };
    let last_heat = match last_heat {
        "" | "n" | "no" => false,
        "y" | "yes" => true,
        typed => return Err(format!("Last heat is yes or no, not {typed:?}.")),
    };
    Ok(NewBatch {
        station: form.station.clone(),
        job: job.to_owned(),
        ink: ink.to_owned(),
        fabric: fabric.to_owned(),
        last_heat,
        quantity: number(quantity, "How many is a whole number of prints")?,
        blank_cost: None,
        mesh_per_inch: None,
        ink_mixed: None,
        recipe: number(recipe, "A recipe is told by its number")?,
        by,
    })
}

fn type_into(text: &mut String, key: KeyCode) {
    match key {
        KeyCode::Char(letter) if !letter.is_control() && text.chars().count() < LONGEST => {
            text.push(letter);
        }
        KeyCode::Backspace => {
            text.pop();
        }
        _ => {}
    }
}

#[cfg(test)]
mod tests {
    use super::super::view::tests::{scene, typed};
    use super::*;

    fn press(scene: &mut Scene, key: KeyCode) -> Meant {
        meant(scene, KeyEvent::new(key, KeyModifiers::NONE))
    }

    #[test]
    fn a_hold_is_settled_with_a_reason_or_not_at_all() {
        let mut scene = scene();
        scene.by = Some("Mara".to_owned());
        press(&mut scene, KeyCode::Char('h'));
        press(&mut scene, KeyCode::Char('s'));
        assert_eq!(press(&mut scene, KeyCode::Enter), Meant::Nothing);
        typed(&mut scene, "cracked when stretched");
        let settlement = Settlement {
            outcome: Settled::Scrapped,
            by: "Mara".to_owned(),
            why: "cracked when stretched".to_owned(),
        };
        let deed = Meant::Do(Box::new(Deed::Settle(4, settlement)));
        assert_eq!(press(&mut scene, KeyCode::Enter), deed);
        // Twice pressed is once done.
        assert_eq!(press(&mut scene, KeyCode::Enter), Meant::Nothing);
    }

    #[test]
    fn escape_leaves_what_was_begun_and_then_the_program() {
        let mut scene = scene();
        for key in [
            KeyCode::Char('h'),
            KeyCode::Char('r'),
            KeyCode::Esc,
            KeyCode::Esc,
        ] {
            assert_eq!(press(&mut scene, key), Meant::Nothing);
        }
        assert_eq!(scene.mode, Mode::Looking);
        press(&mut scene, KeyCode::Char('?'));
        assert_eq!(press(&mut scene, KeyCode::Esc), Meant::Nothing);
        assert_eq!(press(&mut scene, KeyCode::Esc), Meant::Quit);
    }

    #[test]
    fn a_batch_is_opened_from_what_was_typed() {
        let mut scene = scene();
        scene.by = Some("Mara".to_owned());
        scene.turn(1);
        scene.turn(1);
        // The second station has no batch.
        press(&mut scene, KeyCode::Char('b'));
        for field in ["Quay caps", "plastisol-low-cure", "nylon", "60", "3", "x"] {
            typed(&mut scene, field);
            assert_eq!(press(&mut scene, KeyCode::Enter), Meant::Nothing);
        }
        press(&mut scene, KeyCode::Backspace);
        typed(&mut scene, "yes");
        let Meant::Do(deed) = press(&mut scene, KeyCode::Enter) else {
            panic!("nothing is sent");
        };
        let Deed::Open(batch) = *deed else {
            panic!("{deed:?}");
        };
        let told = (batch.station.as_str(), batch.job.as_str(), batch.quantity);
        assert_eq!(told, ("flash-1", "Quay caps", Some(60)));
        assert_eq!((batch.recipe, batch.last_heat), (Some(3), true));
    }

    #[test]
    fn the_next_batch_at_a_dryer_is_begun_with_the_last_one_s_ink_and_fabric() {
        let mut scene = scene();
        scene.by = Some("Mara".to_owned());
        scene.turn(1);
        typed(&mut scene, "bnNight market");
        // Nobody asks whether a belt dryer is the last heat.
        for _ in 0..4 {
            assert_eq!(press(&mut scene, KeyCode::Enter), Meant::Nothing);
        }
        let Meant::Do(deed) = press(&mut scene, KeyCode::Enter) else {
            panic!("nothing is sent");
        };
        let Deed::Open(batch) = *deed else {
            panic!("{deed:?}");
        };
        let told = (
            batch.job.as_str(),
            batch.ink.as_str(),
            batch.fabric.as_str(),
        );
        assert_eq!(
            told,
            ("Night market", "plastisol-standard", "cotton-jersey")
        );
        assert!(!batch.last_heat);
    }

    #[test]
    fn an_alarm_is_acknowledged_and_put_aside_with_a_reason() {
        let mut scene = scene();
        scene.by = Some("Mara".to_owned());
        let seen = Acknowledgement {
            by: "Mara".to_owned(),
            why: String::new(),
        };
        let deed = Deed::Acknowledge("probe-open@cloth".to_owned(), seen);
        assert_eq!(
            press(&mut scene, KeyCode::Char('a')),
            Meant::Do(Box::new(deed))
        );
        press(&mut scene, KeyCode::Char('z'));
        // Minutes first, then why.
        typed(&mut scene, "9999");
        press(&mut scene, KeyCode::Enter);
        assert_eq!(press(&mut scene, KeyCode::Enter), Meant::Nothing);
        typed(&mut scene, "a new one comes today");
        assert_eq!(press(&mut scene, KeyCode::Enter), Meant::Nothing);
        let said = scene.said.as_ref().map(|(said, _)| said.as_str());
        assert!(said.is_some_and(|said| said.contains("1 to 480 minutes")));
        press(&mut scene, KeyCode::Tab);
        for _ in 0..4 {
            press(&mut scene, KeyCode::Backspace);
        }
        typed(&mut scene, "4x5");
        press(&mut scene, KeyCode::Enter);
        let Meant::Do(deed) = press(&mut scene, KeyCode::Enter) else {
            panic!("nothing is sent");
        };
        let Deed::Shelve(alarm, aside) = *deed else {
            panic!("{deed:?}");
        };
        assert_eq!((alarm.as_str(), aside.for_s), ("probe-open@cloth", 2700.0));
        assert_eq!(aside.why, "a new one comes today");
    }

    #[test]
    fn an_open_batch_is_closed_when_asked_twice() {
        let mut scene = scene();
        scene.by = Some("Mara".to_owned());
        scene.turn(1);
        assert_eq!(press(&mut scene, KeyCode::Char('b')), Meant::Nothing);
        let by = By {
            by: "Mara".to_owned(),
        };
        assert_eq!(
            press(&mut scene, KeyCode::Enter),
            Meant::Do(Box::new(Deed::Close(7, by)))
        );
    }
}
