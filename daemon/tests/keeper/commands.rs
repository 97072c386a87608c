//! What people ask of the keeper holds from then on, or is refused with the reason and changes nothing.

use inkdwell_config::library::Library;
use inkdwell_daemon::keeper::{Command, Keeper, OpenBatch, Refused};
use inkdwell_daemon::record::{Calibrated, Occurrence, RecipeLocked, Record, Settled};

use crate::shop::{at, keeper, kinds, line, open, passes, ride, shop};

#[test]
fn what_is_not_cured_is_held_until_somebody_settles_it() {
    let mut keeper = keeper();
    keeper.command(open("plastisol-standard"), at(0.0)).unwrap();
    keeper.take_entry();
    ride(&mut keeper, 10.0, 172.0);
    assert_eq!(kinds(&keeper.take_entry()), ["pass-judged"]);
    ride(&mut keeper, 200.0, 140.0);
    let entry = keeper.take_entry();
    assert_eq!(kinds(&entry), ["pass-judged", "hold-opened", "hold-joined"]);
    let pass = passes(&entry)[0];
    assert_eq!((pass.pass, pass.batch), (2, Some(1)));
    assert_eq!(pass.judged.as_ref().unwrap().verdict, "under-cured");
    let settle = |hold, why: &str| Command::SettleHold {
        hold,
        outcome: Settled::ReRun,
        by: "Mara".to_owned(),
        why: why.to_owned(),
    };
    let unsaid = keeper.command(settle(1, "  "), at(400.0));
    assert!(matches!(unsaid, Err(Refused::Empty { .. })));
    assert!(
        keeper
            .command(settle(1, "sent through again"), at(400.0))
            .is_ok()
    );
    let again = keeper.command(settle(1, "twice"), at(401.0));
    assert_eq!(again, Err(Refused::HoldNotOpen { hold: 1 }));
}

#[test]
fn a_command_that_cannot_be_done_says_why_and_changes_nothing() {
    let mut keeper = keeper();
    let refused =
        |keeper: &mut Keeper, command| keeper.command(command, at(1.0)).unwrap_err().to_string();
    let with = |change: &dyn Fn(&mut OpenBatch)| {
        let Command::OpenBatch(mut asked) = open("plastisol-standard") else {
            unreachable!()
        };
        change(&mut asked);
        Command::OpenBatch(asked)
    };
    for (command, expected) in [
        (
            with(&|open| open.station = "belt-2".to_owned()),
            "the shop file declares no station \"belt-2\"; did you mean \"belt-1\"?",
        ),
        (
            with(&|open| open.ink = "plastisol-standart".to_owned()),
            "ink \"plastisol-standart\" is unknown; did you mean \"plastisol-standard\"?",
        ),
        (
            with(&|open| open.by = String::new()),
            "by is empty; say who opens it",
        ),
        (
            with(&|open| open.blank_cost = Some(-1.0)),
            "the cost of a blank cannot be -1; give a number, zero or more",
        ),
        (
            with(&|open| open.recipe = Some(3)),
            "recipe 3 is not in force",
        ),
        (
            Command::CloseBatch {
                batch: 1,
                by: "Mara".to_owned(),
            },
            "batch 1 is not open",
        ),
        (
            Command::Calibrate(Calibrated {
                probe: "films".to_owned(),
                points_c: vec![(100.0, 101.0)],
                uncertainty_c: None,
                date: "2026-01-31".to_owned(),
                due: None,
                by: "Mara".to_owned(),
            }),
            "the shop file declares no probe \"films\"; did you mean \"film\"?",
        ),
    ] {
        assert_eq!(refused(&mut keeper, command), expected);
    }
    assert!(keeper.take_entry().is_empty());
}

/// A probe that shows 4 °C too little makes a good print look under-cured until it is calibrated.
#[test]
fn a_calibration_holds_from_then_on_also_after_a_restart() {
    let mut keeper = keeper();
    keeper.command(open("plastisol-standard"), at(0.0)).unwrap();
    let calibrated = Calibrated {
        probe: "film".to_owned(),
        points_c: vec![(100.0, 104.0), (160.0, 164.0)],
        uncertainty_c: Some(0.5),
        date: "2026-03-02".to_owned(),
        due: None,
        by: "Mara".to_owned(),
    };
    ride(&mut keeper, 10.0, 158.0);
    keeper
        .command(Command::Calibrate(calibrated), at(150.0))
        .unwrap();
    keeper.take_entry();
    let kept = keeper.checkpoint().unwrap();
    let mut keeper = Keeper::restored(shop(), &kept, at(151.0), at(151.0)).unwrap();
    ride(&mut keeper, 200.0, 158.0);
    let entry = keeper.take_entry();
    let judged = passes(&entry)[0].judged.as_ref().unwrap();
    assert_eq!(judged.verdict, "cured");
    assert!((judged.peak_c - 162.0).abs() < 0.1, "{}", judged.peak_c);
}

#[test]
fn leaving_a_recipe_is_recorded() {
    let mut keeper = keeper();
    let recipe = RecipeLocked {
        recipe: 0,
        station: "belt-1".to_owned(),
        ink: "plastisol-standard".to_owned(),
        fabric: "cotton-jersey".to_owned(),
        declared: String::new(),
        ride: 1,
        belt_m_per_min: Some(3.0),
        zones_c: Vec::new(),
        exit_c: None,
        belt_drift: 0.05,
        zone_drift_c: 8.0,
        exit_drift_c: 6.0,
        ride_every_s: None,
        by: "Mara".to_owned(),
        reference: None,
    };
    keeper
        .command(Command::LockRecipe(Box::new(recipe)), at(0.0))
        .unwrap();
    let Command::OpenBatch(mut asked) = open("plastisol-standard") else {
        unreachable!()
    };
    asked.recipe = Some(1);
    keeper.command(Command::OpenBatch(asked), at(0.0)).unwrap();
    keeper.take_entry();
    keeper.take(line(&[("speed", 3.4)]), at(1.0));
    let entry = keeper.take_entry();
    let Record::Occurred(occurred) = &entry.records[0].1 else {
        panic!("{:?}", entry.records);
    };
    let what = "the belt runs at 3.40 m/min instead of 3.00 m/min".to_owned();
    assert_eq!(occurred.what, Occurrence::RecipeLeft { recipe: 1, what });
}

/// A finer screen lays less ink than the ink's declaration has: its batch is declared with the film that it leaves.
#[test]
fn the_screen_of_a_batch_makes_its_film() {
    let film = |mesh: Option<f64>| {
        let Command::OpenBatch(mut batch) = open("plastisol-standard") else {
            panic!("a batch");
        };
        batch.mesh_per_inch = mesh;
        let opened = keeper()
            .command(Command::OpenBatch(batch), at(0.0))
            .unwrap();
        let Record::BatchOpened(opened) = opened else {
            panic!("{opened:?}");
        };
        let declared = Library::parse("journal", &opened.declared).value;
        declared.inks()[0].film.map(|film| film.0)
    };
    let library = Library::shipped();
    let declared = library.ink("plastisol-standard").unwrap().film;
    assert_eq!(film(None), declared.map(|film| film.0));
    // By hand: 156 threads an inch are 162.8 um apart; of 64 um (common practice, no source) they leave 98.8 um
    // open, 36.8 % of the area, and a mesh of two threads holds 47.1 cm3/m2.
    assert!((film(Some(156.0)).unwrap() - 47.1e-6).abs() < 0.1e-6);
    // No print is made with such a screen: the declaration stands.
    assert_eq!(film(Some(3.0)), declared.map(|film| film.0));
}
