//! What stands on the screen, at several sizes.

use inkdwell_daemon::api::view::{
    LeftView, LevelView, Moment, NowView, ProgressView, SaysView, StationNowView, ToDoView,
    TripView, ZoneNowView,
};
use inkdwell_daemon::record::{Dose, HarmSeen};
use ratatui::Terminal;
use ratatui::backend::TestBackend;
use ratatui::crossterm::event::{KeyCode, KeyEvent, KeyModifiers};
use ratatui::style::Color;

use super::super::keys;
use super::super::once::plain;
use super::*;

fn moment(hour: &str) -> Moment {
    Moment {
        at: format!("2026-03-02T{hour}.000+01:00"),
        steady_s: 0.0,
    }
}

fn says(mark: &str, tone: &str, large: &str, small: &str) -> SaysView {
    SaysView {
        mark: mark.to_owned(),
        tone: tone.to_owned(),
        large: large.to_owned(),
        small: small.to_owned(),
    }
}

fn left(print: u64, mark: &str, tone: &str, word: &str) -> LeftView {
    LeftView {
        pass: print + 30,
        name: format!("Print {print}"),
        print: Some(print),
        out: moment(&format!("14:05:{print:02}")),
        mark: mark.to_owned(),
        tone: tone.to_owned(),
        word: word.to_owned(),
        evidence: Some("measured".to_owned()),
        peak_c: Some(152.3),
    }
}

fn belt() -> StationNowView {
    let last = (1..=12).rev().map(|print| match print {
        12 => left(12, "▽", "under", "under-cured"),
        5 => left(5, "▲", "over", "scorched"),
        other => left(other, "●", "good", "cured"),
    });
    let band = |best: f64| Dose {
        low: best * 0.5,
        best,
        high: best * 1.5,
    };
    StationNowView {
        station: "belt-1".to_owned(),
        name: "Long dryer".to_owned(),
        kind: "belt-dryer".to_owned(),
        says: says(
            "▽",
            "under",
            "Under-cured",
            "Pull print 12. Slow the belt or raise the chamber.",
        ),
        trip: Some(TripView {
            since: moment("14:05:11"),
            running_s: Some(31.0),
            print: None,
            points: (0..310)
                .map(|tenth| {
                    let time = f64::from(tenth) / 10.0;
                    (time, 30.0 + 4.0 * time)
                })
                .collect(),
            levels: vec![
                LevelView {
                    name: "threshold".to_owned(),
                    celsius: 160.0,
                    is_limit: false,
                },
                LevelView {
                    name: "scorch".to_owned(),
                    celsius: 185.0,
                    is_limit: true,
                },
            ],
            cure: Some(band(0.4)),
            harms: vec![HarmSeen {
                harm: "scorch".to_owned(),
                dose: band(0.02),
            }],
        }),
        belt_m_per_min: Some(2.6),
        belt_is_live: true,
        zones: vec![
            ZoneNowView {
                name: "Zone 1".to_owned(),
                shows_c: Some(188.6),
                set_c: Some(190.0),
            },
            ZoneNowView {
                name: "Zone 2".to_owned(),
                shows_c: None,
                set_c: Some(180.0),
            },
        ],
        last: last.collect(),
        batch: Some(ProgressView {
            batch: 7,
            job: "Harbour run".to_owned(),
            ink: "plastisol-standard".to_owned(),
            fabric: "cotton-jersey".to_owned(),
            done: 12,
            good: 10,
            to_pull: 2,
            of: Some(60),
        }),
        to_do: vec![
            ToDoView {
                mark: Some("■".to_owned()),
                tone: "unproven".to_owned(),
                what: "Let the ride go on.".to_owned(),
                more: "A probe gives no number: cloth".to_owned(),
                hold: None,
                alarm: Some("probe-open@cloth".to_owned()),
                urgent: true,
            },
            ToDoView {
                mark: Some("▽".to_owned()),
                tone: "under".to_owned(),
                what: "Pull print 12, under-cured".to_owned(),
                more:
                    "They can go through the heat once more, in the settings of a ride that cured."
                        .to_owned(),
                hold: Some(4),
                alarm: None,
                urgent: false,
            },
        ],
    }
}

fn flash() -> StationNowView {
    StationNowView {
        station: "flash-1".to_owned(),
        name: "Flash on head 3".to_owned(),
        kind: "flash-unit".to_owned(),
        says: says(
            "○",
            "idle",
            "No batch",
            "Prints are recorded, but nothing is said of them.",
        ),
        trip: None,
        belt_m_per_min: None,
        belt_is_live: false,
        zones: Vec::new(),
        last: Vec::new(),
        batch: None,
        to_do: Vec::new(),
    }
}

/// Two stations, the first with a hold, numbered 4.
pub(in super::super) fn scene() -> Scene {
    let mut scene = Scene::new(false);
    scene.now = Some(NowView {
        shop: "Lantern Yard Print".to_owned(),
        us_units: false,
        now: moment("14:05:42"),
        stations: vec![belt(), flash()],
        last_record: 99,
        shelve_longest_s: 28_800.0,
        caution: "Advice only: Inkdwell is no safety device.".to_owned(),
    });
    scene
}

/// Types a text.
pub(in super::super) fn typed(scene: &mut Scene, text: &str) {
    for letter in text.chars() {
        keys::meant(
            scene,
            KeyEvent::new(KeyCode::Char(letter), KeyModifiers::NONE),
        );
    }
}

fn terminal(scene: &Scene, width: u16, height: u16) -> Terminal<TestBackend> {
    let mut terminal = Terminal::new(TestBackend::new(width, height)).unwrap();
    terminal.draw(|frame| draw(frame, scene)).unwrap();
    terminal
}

fn text(scene: &Scene, width: u16, height: u16) -> String {
    plain(terminal(scene, width, height).backend().buffer())
}

fn has(text: &str, words: &[&str]) {
    // Words go on in the next line where the room ends.
    let text = &text.split_whitespace().collect::<Vec<_>>().join(" ");
    for word in words {
        assert!(text.contains(word), "{word:?} is not in\n{text}");
    }
}

#[test]
fn one_look_tells_what_is_wrong_and_what_to_do_at_every_size() {
    let mut scene = scene();
    scene.turn(1);
    for (width, height) in [(80, 24), (120, 40), (200, 60), (60, 20)] {
        let text = text(&scene, width, height);
        let all = [
            "Lantern Yard Print · Long dryer",
            "14:05:42",
            "Pull print 12",
            "▽ ● ● ●",
            "for 31 s",
            "cure",
            "0.40",
            "2.60 m/min",
            "12 of 60 done",
            "10 good, 2 to pull",
            "? keys",
        ];
        has(&text, &all);
    }
    // What is set and what is shown, where there is room for it.
    has(&text(&scene, 80, 24), &["zone 1", "189", "190", "silent"]);
    // The lines that the curve is held against have names.
    for (width, height) in [(80, 24), (120, 40), (200, 60)] {
        let text = text(&scene, width, height);
        has(&text, &["── threshold 160 °C", "╌╌ scorch 185 °C"]);
    }
}

#[test]
fn a_small_screen_says_the_state_in_one_line_and_nothing_breaks() {
    let mut scene = scene();
    scene.turn(1);
    for width in 1..90 {
        for height in 1..30 {
            text(&scene, width, height);
        }
    }
    has(&text(&scene, 50, 14), &["▽ Under-cured", "Pull print 12"]);
}

#[test]
fn every_dialog_is_drawn_at_every_size() {
    let mut scene = scene();
    scene.by = Some("Mara".to_owned());
    let stages: [&[&str]; 5] = [
        &["?"],
        &["z", "90"],
        &["h"],
        &["h", "r", "a"],
        &["b", "n", "Quay"],
    ];
    for stage in stages {
        scene.mode = Mode::Looking;
        scene.only = Some("belt-1".to_owned());
        stage.iter().for_each(|keys| typed(&mut scene, keys));
        for width in (1..100).step_by(3) {
            for height in (1..40).step_by(2) {
                text(&scene, width, height);
            }
        }
    }
    has(
        &text(&scene, 80, 24),
        &["Batch at belt-1", "Quay", "ink", "fabric"],
    );
}

#[test]
fn a_lost_daemon_is_said_in_large_words() {
    let mut scene = scene();
    scene.turn(1);
    scene.lost = Some(Lost {
        since: Instant::now(),
        why: "connection refused".to_owned(),
    });
    let text = text(&scene, 50, 16);
    has(&text, &["✕ No contact", "what stands here is old"]);
}

#[test]
fn all_stations_stand_below_each_other() {
    let text = text(&scene(), 80, 24);
    has(
        &text,
        &[
            "all stations",
            "Long dryer",
            "▽ Under-cured",
            "Flash on head 3",
            "○ No batch",
        ],
    );
}

#[test]
fn names_of_jobs_cannot_move_the_cursor() {
    let mut scene = scene();
    let now = scene.now.as_mut().unwrap();
    now.stations[0].batch.as_mut().unwrap().job = "\u{1b}[2J\nevil".to_owned();
    scene.only = Some("belt-1".to_owned());
    let text = text(&scene, 80, 24);
    assert!(!text.contains('\u{1b}'));
    has(&text, &["evil"]);
}

#[test]
fn without_colour_nothing_is_coloured_and_with_it_no_meaning_rests_on_it() {
    let colours = |colour: bool| {
        let mut scene = scene();
        scene.colour = colour;
        scene.only = Some("belt-1".to_owned());
        let terminal = terminal(&scene, 80, 24);
        let cells = terminal.backend().buffer().content.clone();
        cells.iter().filter(|cell| cell.fg != Color::Reset).count()
    };
    assert_eq!(colours(false), 0);
    assert!(colours(true) > 0);
}
