//! Ports that cannot be opened, and settings that do not fit.

use inkdwell_config::shop::{LineFormat, Port};
use inkdwell_daemon::source::port::{Ports, SystemPorts};

use crate::running::{Running, pairs, settings};
use crate::terminal::{Counted, Device};

#[tokio::test]
async fn a_port_that_another_program_has_is_told_and_taken_when_it_is_free() {
    let (mut device, ports) = (Device::new(), Counted::new());
    let settings = settings(Port::Path(device.path.clone()), pairs());
    let found = SystemPorts.find(&settings.settings.port).unwrap();
    let other = SystemPorts.open(&found, &settings.settings).unwrap();
    let mut running = Running::start(ports.clone(), settings, 64);
    let why = running.down().await;
    assert!(why.contains("is in use by another program"), "{why}");
    drop(other);
    ports.listening(1).await;
    device.begin();
    device.say(b"film=160\n");
    running.up().await;
    running.end().await;
}

#[tokio::test]
async fn a_port_that_is_not_there_is_told_and_waited_for() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("probes");
    let ports = Counted::new();
    let line = settings(Port::Path(path.clone()), pairs());
    let mut running = Running::start(ports.clone(), line, 64);
    let why = running.down().await;
    assert!(
        why.starts_with(&format!("there is no serial port {}; plug", path.display())),
        "{why}"
    );
    let mut device = Device::new();
    std::os::unix::fs::symlink(&device.path, &path).unwrap();
    ports.listening(1).await;
    device.begin();
    device.say(b"film=160\n");
    running.up().await;
    assert_eq!(running.readings().await, "film 160");
    running.end().await;
}

#[tokio::test]
async fn lines_that_nobody_understands_are_told_with_one_of_them() {
    let (mut device, ports) = (Device::new(), Counted::new());
    let line = settings(Port::Path(device.path.clone()), LineFormat::Json);
    let mut running = Running::start(ports.clone(), line, 64);
    ports.listening(1).await;
    device.begin();
    device.say(b"{\"film\": 160}\n");
    running.up().await;
    device.say(&b"film=\xfe160\n".repeat(20));
    let why = running.down().await;
    assert!(why.contains("such as \"film=\\xfe160\""), "{why}");
    assert_eq!(running.health.counts().garbled, 20);
    device.say(b"{\"film\": 161}\n");
    running.up().await;
    running.end().await;
}
