//! A file that is played faster than it happened goes on where it is, or begins anew, and never comes too late.

use inkdwell_config::shop::{Shop, SourceKind};
use inkdwell_daemon::keeper::Keeper;
use inkdwell_daemon::time::Micros;

use crate::shop::{SHOP, at, film, line, open};

/// A shop whose probe is read from a file that is played faster than it happened.
fn played() -> Shop {
    let played = SHOP.replace(
        "kind = \"serial\"\nport = \"/dev/ttyUSB0\"\nformat = \"fields\"\n\
         names = [\"film\", \"cloth\", \"speed\", \"prints\"]",
        "kind = \"replay\"\nfile = \"ride.csv\"\nfaster = 100",
    );
    let checked = Shop::parse("shop.toml", &played);
    assert_eq!(checked.problems, vec![]);
    checked.value
}

/// Plays the rows of a trace from one second to another, one a second, a hundred times as fast, its first row
/// at `began`.
fn play(keeper: &mut Keeper, seconds: std::ops::Range<u32>, began: f64) -> Vec<(Micros, bool)> {
    for second in seconds {
        let second = f64::from(second);
        let mut row = line(&[("film", film(second, 172.0))]);
        row.said[0].device_time = Some(1_000_000_000_000_000 + (second * 1e6) as i64);
        keeper.take(row, at(began + 0.01 * second));
    }
    let readings = keeper.take_entry().readings.into_iter();
    readings.map(|taking| (taking.at, taking.fed)).collect()
}

/// The file begins anew with the daemon: its rows are of now, though it was played to later times than it is
/// now when the daemon stopped.
#[test]
fn a_file_that_is_played_again_does_not_come_too_late() {
    let mut keeper = Keeper::new(played(), at(0.0), at(0.0));
    keeper.command(open("plastisol-standard"), at(0.0)).unwrap();
    assert_eq!(play(&mut keeper, 0..60, 1.0).len(), 60);
    let kept = keeper.checkpoint().unwrap();
    // The steady time begins after all that is journaled.
    let mut again = Keeper::restored(played(), &kept, at(61.0), at(5.0)).unwrap();
    let placed = play(&mut again, 0..200, 62.0);
    assert_eq!(placed.len(), 200);
    assert!(placed.iter().all(|(_, fed)| *fed));
    assert_eq!((placed[0].0, placed[199].0), (at(62.0), at(261.0)));
}

/// The shop file is read again while a file is played: it goes on where it is.
#[test]
fn a_shop_file_that_is_read_again_leaves_a_played_file_alone() {
    let mut keeper = Keeper::new(played(), at(0.0), at(0.0));
    keeper.command(open("plastisol-standard"), at(0.0)).unwrap();
    play(&mut keeper, 0..60, 1.0);
    let mut changed = played();
    changed.name = "Another name".to_owned();
    keeper
        .reload(changed, "another".to_owned(), at(2.0))
        .unwrap();
    let placed = play(&mut keeper, 60..200, 1.0);
    assert_eq!(placed.first().map(|first| first.0), Some(at(61.0)));
    // Another file in its place is played from its own beginning.
    let mut other = played();
    let SourceKind::Replay { file, .. } = &mut other.sources[0].kind else {
        panic!("{:?}", other.sources);
    };
    *file = Some("another.csv".into());
    keeper.reload(other, "other".to_owned(), at(30.0)).unwrap();
    // The first was ahead of its time by now: to 200 s within 2 s.
    let placed = play(&mut keeper, 0..10, 31.0);
    assert_eq!(placed.first(), Some(&(at(31.0), true)));
    assert!(placed.iter().all(|(_, fed)| *fed));
}
