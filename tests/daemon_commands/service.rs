//! The daemon as a service manager has it: readiness, the watchdog, another shop file, and a stop in the middle of
//! a pass.

use std::fs::{self, File};
use std::os::unix::net::UnixDatagram;
use std::process::{Command, Stdio};
use std::time::Duration;

use inkdwell_daemon::journal::{PassQuery, Readers};
use inkdwell_tests::daemon::{Daemon, until};
use inkdwell_tests::inkdwelld;

use super::daemon::{OPEN, shop};

/// A film that rises to 172 °C and stays there: once it is hot a pass is open.
fn stays_hot() -> String {
    let mut text = String::from("time_s,film_c,cloth_c,air_c\n");
    for half in 0..12_000 {
        let t = f64::from(half) * 0.5;
        let film = (25.0 + 2.0 * t).min(172.0);
        text += &format!("{t},{film:.2},{:.2},190\n", film + 3.0);
    }
    text
}

/// What the daemon tells its service manager next.
fn told(socket: &UnixDatagram) -> String {
    let mut told = [0; 256];
    let length = socket.recv(&mut told).unwrap();
    String::from_utf8(told[..length].to_vec()).unwrap()
}

#[test]
fn it_is_ready_it_lives_it_reads_its_shop_again_and_it_stops_well() {
    let folder = tempfile::tempdir().unwrap();
    let (trace, file) = (
        folder.path().join("trace.csv"),
        folder.path().join("shop.toml"),
    );
    fs::write(&trace, stays_hot()).unwrap();
    let whole = shop(&trace, "listen = \"127.0.0.1:0\"");
    // At first nothing is played.
    let idle = whole.replace(&format!("file = {trace:?}\nfaster = 100\n"), "");
    assert_ne!(idle, whole);
    fs::write(&file, &idle).unwrap();
    let socket = UnixDatagram::bind(folder.path().join("manager")).unwrap();
    socket
        .set_read_timeout(Some(Duration::from_secs(60)))
        .unwrap();
    let log = folder.path().join("log");
    let process = Command::new(inkdwelld())
        .args(["--shop", "shop.toml", "--data", "data"])
        .current_dir(folder.path())
        .env("NOTIFY_SOCKET", folder.path().join("manager"))
        .env("WATCHDOG_USEC", "600000")
        .env_remove("WATCHDOG_PID")
        .stdin(Stdio::null())
        .stderr(File::create(&log).unwrap())
        .spawn()
        .unwrap();
    let mut daemon = Daemon { process, folder };
    assert!(told(&socket).contains("READY=1"));
    // Whoever hears that it is ready can ask it.
    daemon.good(&OPEN);
    for _ in 0..3 {
        assert!(told(&socket).contains("WATCHDOG=1"));
    }

    // One word is wrong: the file is refused whole, though the rest of it says something new.
    fs::write(&file, whole.replace("place = \"ride\"", "place = \"rids\"")).unwrap();
    daemon.signal("-HUP");
    let log_holds = |words: &str| {
        fs::read_to_string(&log)
            .unwrap()
            .contains(words)
            .then_some(())
    };
    until("a refusal", || {
        log_holds("the shop file is wrong, and the one before it still holds")
    });
    assert!(log_holds("rids").is_some());
    let probes = daemon.json(&["probe", "list"]);
    assert_eq!(probes["probes"][0]["place"], "ride");

    fs::write(&file, &whole).unwrap();
    daemon.signal("-HUP");
    until("a hot film", || {
        let probes = daemon.json(&["probe", "list"]);
        let shown = probes["probes"][0]["reading"]["celsius"].as_f64();
        shown.filter(|celsius| *celsius > 170.0)
    });
    assert_eq!(daemon.json(&["batch", "show", "1"])["prints"], 0);
    daemon.signal("-TERM");
    assert!(daemon.process.wait().unwrap().success());
    until("a farewell", || {
        told(&socket).contains("STOPPING=1").then_some(())
    });

    let readers = Readers::at(&daemon.folder.path().join("data")).unwrap();
    let reader = readers.reader().unwrap();
    let passes = reader.passes(&PassQuery::default()).unwrap();
    assert_eq!(passes.len(), 1);
    let judged = passes[0].pass.judged.as_ref().unwrap();
    assert!(judged.cut, "{judged:?}");
    assert_eq!(judged.verdict, "unproven");
    assert!(judged.reasons[0].contains("ends too soon"), "{judged:?}");
}
