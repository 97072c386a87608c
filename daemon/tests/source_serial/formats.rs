//! Every format by way of a pseudo-terminal, in pieces and among noise.

use inkdwell_config::shop::{LineFormat, Port};

use crate::running::{Running, pairs, settings};
use crate::terminal::{Counted, Device};

/// A source that listens to a device in this format.
async fn listening(format: LineFormat) -> (Running, Device, std::sync::Arc<Counted>) {
    let (mut device, ports) = (Device::new(), Counted::new());
    let port = Port::Path(device.path.clone());
    let running = Running::start(ports.clone(), settings(port, format), 256);
    ports.listening(1).await;
    device.begin();
    (running, device, ports)
}

#[tokio::test]
async fn every_format_is_read() {
    let fields = LineFormat::Fields {
        separator: ";".to_owned(),
        names: ["film", "", "exit"].map(str::to_owned).to_vec(),
    };
    let pattern = r"T1:(?<film>\S+) T2:(?<exit>\S+)".to_owned();
    for (format, lines, expected) in [
        (
            fields,
            &b"168,2;x;95\r\nOPEN;;+95.5 \xb0C\n"[..],
            ["film 168.2, exit 95", "film \"OPEN\", exit 95.5"],
        ),
        (
            pairs(),
            b"film=168.2 exit=95\rfilm=168.3C\r",
            ["film 168.2, exit 95", "film 168.3"],
        ),
        (
            LineFormat::Json,
            b"{\"film\": 168.2}\n{\"exit\": null}\n",
            ["film 168.2", "exit \"null\""],
        ),
        (
            LineFormat::Pattern(pattern),
            b"#1 T1:168.2 T2:95\r\n#2 T1:--- T2:96\r\n",
            ["film 168.2, exit 95", "film \"---\", exit 96"],
        ),
    ] {
        let (mut running, mut device, _) = listening(format).await;
        device.say(lines);
        running.up().await;
        for expected in expected {
            assert_eq!(running.readings().await, expected);
        }
        let counts = running.health.counts();
        assert_eq!((counts.messages, counts.garbled, counts.losses), (2, 0, 0));
        running.end().await;
    }
}

#[tokio::test]
async fn half_lines_become_whole_ones() {
    let (mut running, mut device, ports) = listening(pairs()).await;
    for piece in ["fi", "lm=16", "8", ".2 ex", "it=95\r", "\nfilm=1", "69\r\n"] {
        let read = ports.bytes();
        device.say(piece.as_bytes());
        ports.read(read + piece.len() as u64).await;
    }
    assert_eq!(running.readings().await, "film 168.2, exit 95");
    assert_eq!(running.readings().await, "film 169");
    assert_eq!(running.health.counts().garbled, 0);
    running.end().await;
}

/// Noise costs the line that it is in; a line without end is counted once for each 4096 bytes.
#[tokio::test]
async fn noise_and_lines_without_end_are_survived_and_counted() {
    let (mut running, mut device, _) = listening(pairs()).await;
    device.say(b"film=16\x008.2\n\xff\xfe\x80\nfilm 168.2\n\0\0film=168.4\n");
    assert_eq!(running.readings().await, "film 168.4");
    assert_eq!(running.health.counts().garbled, 3);
    for _ in 0..5 {
        device.say(&[b'U'; 2048]);
    }
    // 10 240 bytes are more than twice 4096.
    running.counts(|counts| counts.garbled == 5).await;
    device.say(b"\nfilm=168.5\n");
    assert_eq!(running.readings().await, "film 168.5");
    let counts = running.health.counts();
    assert_eq!(
        (counts.messages, counts.readings, counts.garbled),
        (7, 2, 5)
    );
    running.end().await;
}

/// The queue holds two arrivals, and nobody takes any: what finds no room is counted, and the source goes on.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_flood_is_turned_away_and_counted() {
    let (mut device, ports) = (Device::new(), Counted::new());
    let port = Port::Path(device.path.clone());
    let mut running = Running::start(ports.clone(), settings(port, pairs()), 2);
    ports.listening(1).await;
    device.begin();
    let lines = 5000;
    for number in 0..lines {
        device.say(format!("film={number} exit=1\n").as_bytes());
    }
    let counts = running.counts(|counts| counts.messages == lines).await;
    assert_eq!((counts.readings, counts.garbled), (2 * lines, 0));
    running.up().await;
    assert_eq!(running.readings().await, "film 0, exit 1");
    // One place of the two was the notice's.
    assert_eq!(
        running.turned_away.take(),
        [(inkdwell_daemon::intake::SourceId(2), 2 * (lines - 1))]
    );
    device.say(b"film=7\n");
    assert_eq!(running.readings().await, "film 7");
    running.end().await;
}

/// What comes as soon as the port is open may be the rest of a line: it is not taken for a whole one. The
/// clock stands still here until the source has nothing to do.
#[tokio::test(start_paused = true)]
async fn what_is_heard_at_once_may_be_the_rest_of_a_line() {
    use tokio::io::AsyncWriteExt;

    let (machine, mut opened) = crate::imagined::machine();
    let port = Port::Path("/dev/imagined".into());
    let mut running = Running::start(machine, settings(port.clone(), pairs()), 16);
    let mut far = opened.recv().await.unwrap();
    far.write_all(b"m=8.2 exit=9\nfilm=168.3\n").await.unwrap();
    assert_eq!(running.readings().await, "film 168.3");
    assert_eq!(running.health.counts().garbled, 0);
    running.end().await;

    // After a tenth of a second of silence it is a line.
    let (machine, mut opened) = crate::imagined::machine();
    let mut running = Running::start(machine, settings(port, pairs()), 16);
    let mut far = opened.recv().await.unwrap();
    tokio::time::sleep(std::time::Duration::from_millis(150)).await;
    far.write_all(b"m=8.2 exit=9\nfilm=168.3\n").await.unwrap();
    assert_eq!(running.readings().await, "m 8.2, exit 9");
    running.end().await;
}
