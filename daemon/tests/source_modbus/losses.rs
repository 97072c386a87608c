//! Places where nobody answers.

use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicU32, Ordering};
use std::time::Duration;

use inkdwell_daemon::source::port::SystemPorts;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::TcpListener;

use crate::devices::tcp;
use crate::running::{Running, rtu, settings, word};

#[tokio::test]
async fn where_nothing_listens_it_is_told() {
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let port = listener.local_addr().unwrap().port();
    drop(listener);
    let settings = settings(&tcp(port, ""), &word("good", 1, 0));
    let mut running = Running::start(Arc::new(SystemPorts), settings, 16);
    let why = running.down().await;
    assert!(
        why.starts_with(&format!("nothing listens at 127.0.0.1:{port}; see")),
        "{why}"
    );
    running.end().await;
}

/// Who takes a connection and hangs up at once is not called without end.
#[tokio::test]
async fn a_connection_that_is_closed_at_once_is_told() {
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let port = listener.local_addr().unwrap().port();
    let hangs_up = tokio::spawn(async move {
        loop {
            drop(listener.accept().await);
        }
    });
    let settings = settings(&tcp(port, ""), &word("good", 1, 0));
    let mut running = Running::start(Arc::new(SystemPorts), settings, 16);
    let why = running.down().await;
    assert!(
        why.contains(&format!("the connection to 127.0.0.1:{port} is lost")),
        "{why}"
    );
    running.end().await;
    hangs_up.abort();
}

/// A device whose first answers come when their time is over: what it says of one address is never taken for
/// another's. The connection is made anew, for it could as well be one whose other end has long been gone.
#[tokio::test]
async fn a_late_answer_over_tcp_puts_nothing_out_of_step() {
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let port = listener.local_addr().unwrap().port();
    let connections = Arc::new(AtomicU32::new(0));
    let made = Arc::clone(&connections);
    let device = tokio::spawn(async move {
        let mut questions = 0;
        loop {
            let (mut stream, _) = listener.accept().await.unwrap();
            made.fetch_add(1, Ordering::Relaxed);
            let mut question = [0; 12];
            while stream.read_exact(&mut question).await.is_ok() {
                questions += 1;
                if questions <= 2 {
                    tokio::time::sleep(Duration::from_millis(400)).await;
                }
                // Its number, protocol, length and unit; then function, count of bytes, and the address as
                // the word: MODBUS Messaging on TCP/IP, section 3.1.
                let [n1, n0, p1, p0, _, _, unit, function, a1, a0, ..] = question;
                let answer = [n1, n0, p1, p0, 0, 5, unit, function, 2, a1, a0];
                if stream.write_all(&answer).await.is_err() {
                    break;
                }
            }
        }
    });
    let timing = "poll = \"0.05 s\"\ntimeout = \"0.2 s\"\n";
    let registers = [word("three", 1, 3), word("nine", 1, 9)].concat();
    let settings = settings(&tcp(port, timing), &registers);
    let mut running = Running::start(Arc::new(SystemPorts), settings, 16);
    for _ in 0..20 {
        let heard = running.channels(2).await;
        assert_eq!((&*heard["three"], &*heard["nine"]), ("3", "9"));
    }
    assert!(connections.load(Ordering::Relaxed) >= 2);
    running.end().await;
    device.abort();
}

#[tokio::test]
async fn a_port_that_is_not_there_is_told() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("bus");
    let settings = settings(&rtu(Path::new(&path), ""), &word("good", 1, 0));
    let mut running = Running::start(Arc::new(SystemPorts), settings, 16);
    let why = running.down().await;
    assert!(
        why.starts_with(&format!("there is no serial port {}", path.display())),
        "{why}"
    );
    running.end().await;
}
