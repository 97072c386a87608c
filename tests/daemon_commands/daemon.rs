//! The daemon that these tests ask.

use std::fs;
use std::path::Path;

use inkdwell_tests::daemon::{Daemon, until};

/// Three rides, played a hundred times as fast as they happened: to 172, 140 and 170 °C.
pub(super) fn trace() -> String {
    let mut text = String::from("time_s,film_c,cloth_c,air_c\n");
    for half in 0..900 {
        let t = f64::from(half) * 0.5;
        let (ride, phase) = ((t / 140.0) as usize, t % 140.0);
        let peak = [172.0, 140.0, 170.0, 20.0][ride.min(3)];
        let film = (25.0 + 4.0 * phase)
            .min(peak)
            .min(25.0 + 2.5 * (110.0 - phase))
            .max(25.0);
        text += &format!("{t},{film:.2},{:.2},190\n", film + 3.0);
    }
    text
}

pub(super) fn shop(trace: &Path, board: &str) -> String {
    format!(
        "[shop]\nname = \"Lantern Yard Print\"\ntimezone = \"Europe/Vienna\"\n\
         [[source]]\nid = \"played\"\nkind = \"replay\"\nfile = {trace:?}\nfaster = 100\n\
         [[station]]\nid = \"belt-1\"\nkind = \"belt-dryer\"\nheated_length = \"2.4 m\"\nbelt = \"2.6 m/min\"\n\
         zones = [ {{ length = \"2.4 m\", air = \"190 C\" }} ]\n\
         [[probe]]\nid = \"film\"\nstation = \"belt-1\"\nplace = \"ride\"\nsource = \"played\"\n\
         uncertainty = \"1.5 C\"\n\
         [[probe]]\nid = \"cloth\"\nstation = \"belt-1\"\nplace = \"cloth\"\nsource = \"played\"\n\
         uncertainty = \"1.5 C\"\n\
         [[probe]]\nid = \"air\"\nstation = \"belt-1\"\nplace = \"zone\"\nzone = 1\nsource = \"played\"\n\
         [board]\n{board}\n"
    )
}

/// A daemon that plays the trace, with this table for its board.
pub(super) fn start(board: impl FnOnce(&Path) -> String) -> Daemon {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("trace.csv");
    fs::write(&file, trace()).unwrap();
    let shop = shop(&file, &board(folder.path()));
    fs::write(folder.path().join("shop.toml"), shop).unwrap();
    Daemon::start(folder)
}

/// One that listens on loopback, where the system has room.
pub(super) fn local() -> Daemon {
    start(|_| "listen = \"127.0.0.1:0\"".to_owned())
}

/// Waits until all three rides are there and the probes show what the trace ends with: a ride is over while its
/// film still cools.
pub(super) fn await_rides(daemon: &Daemon) {
    until("three rides", || {
        let batches = daemon.json(&["batch", "list"]);
        (batches["unassigned"] == 3).then_some(())
    });
    until("the end of the trace", || {
        let probes = daemon.json(&["probe", "list"]);
        let shown = |number: usize| &probes["probes"][number]["reading"]["celsius"];
        (*shown(0) == 25.0 && *shown(1) == 28.0).then_some(())
    });
}

/// Opens the usual batch and gives the three rides to it.
pub(super) fn give_rides(daemon: &Daemon) {
    await_rides(daemon);
    daemon.good(&OPEN);
    daemon.good(&["batch", "assign", "1", "1", "2", "3"]);
}

pub(super) const OPEN: [&str; 14] = [
    "batch",
    "open",
    "--station",
    "belt-1",
    "--job",
    "Harbour run",
    "--ink",
    "plastisol-standard",
    "--fabric",
    "cotton-jersey",
    "--blank-cost",
    "6.50",
    "--quantity",
    "3",
];

pub(super) fn assert_fits(text: &str) {
    for line in text.lines() {
        assert!(
            line.chars().count() <= 80,
            "{line:?} is wider than 80 columns"
        );
    }
}

pub(super) fn assert_holds(text: &str, words: &[&str]) {
    for words in words {
        assert!(text.contains(words), "{words}\n{text}");
    }
}
