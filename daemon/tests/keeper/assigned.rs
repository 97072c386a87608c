//! A print that somebody gives to a batch of long ago is numbered on, and known after a crash.

use inkdwell_daemon::keeper::{Command, Entry, Keeper};
use inkdwell_daemon::record::{Judged, Record};

use crate::shop::{at, keeper, kinds, open, passes, ride, shop};

fn judged(entry: &Entry) -> Judged {
    passes(entry)[0].judged.clone().unwrap()
}

fn assign(pass: u64, batch: u64, printed: u64, judged: &Judged) -> Command {
    Command::AssignPass {
        pass,
        station: "belt-1".to_owned(),
        batch,
        printed,
        by: "Mara".to_owned(),
        judged: Box::new(judged.clone()),
    }
}

fn close(batch: u64) -> Command {
    let by = "Mara".to_owned();
    Command::CloseBatch { batch, by }
}

/// A print is given to a batch that was closed long ago; after a crash its hold is still known as that batch's
/// at that station, and its number is taken.
#[test]
fn what_was_assigned_to_a_closed_batch_is_known_after_a_crash() {
    let mut keeper = keeper();
    keeper.command(open("plastisol-standard"), at(0.0)).unwrap();
    ride(&mut keeper, 10.0, 140.0);
    let too_cool = judged(&keeper.take_entry());
    keeper.command(close(1), at(150.0)).unwrap();
    ride(&mut keeper, 200.0, 140.0);
    ride(&mut keeper, 400.0, 140.0);
    keeper.take_entry();
    let kept = keeper.checkpoint().unwrap();
    keeper
        .command(assign(2, 1, 1, &too_cool), at(600.0))
        .unwrap();
    let entry = keeper.take_entry();
    assert_eq!(kinds(&entry), ["pass-assigned", "hold-joined"]);

    let mut again = Keeper::restored(shop(), &kept, at(700.0), at(700.0)).unwrap();
    for (time, record) in &entry.records {
        again.replay_record(*time, record);
    }
    again
        .command(assign(3, 1, 2, &too_cool), at(701.0))
        .unwrap();
    let entry = again.take_entry();
    assert_eq!(kinds(&entry), ["pass-assigned", "hold-joined"]);
    let Record::PassAssigned(assigned) = &entry.records[0].1 else {
        panic!("{entry:?}");
    };
    assert_eq!((assigned.print, assigned.station.as_str()), (3, "belt-1"));
}

#[test]
fn a_batch_of_long_ago_numbers_its_prints_on() {
    let mut keeper = keeper();
    keeper.command(open("plastisol-standard"), at(0.0)).unwrap();
    ride(&mut keeper, 10.0, 172.0);
    let cured = judged(&keeper.take_entry());
    for batch in 2..=90 {
        keeper
            .command(open("plastisol-standard"), at(150.0 + batch as f64))
            .unwrap();
    }
    // The keeper remembers no such batch; the journal says that one print of it has a number.
    for (pass, print) in [(2, 2), (3, 3)] {
        let done = keeper.command(assign(pass, 1, 1, &cured), at(300.0));
        let Ok(Record::PassAssigned(assigned)) = done else {
            panic!("{done:?}");
        };
        assert_eq!(assigned.print, print);
    }
}
