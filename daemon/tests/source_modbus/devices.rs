//! Against pymodbus: every format in both tables of several devices, what they refuse, and who is silent.

use std::path::Path;
use std::sync::Arc;

use inkdwell_config::shop::Modbus;
use inkdwell_daemon::source::health::Line;
use inkdwell_daemon::source::port::SystemPorts;

use crate::cable::Cable;
use crate::python::Devices;
use crate::running::{Running, rtu, settings, word};

/// How a source reaches the devices.
enum Way {
    Rtu(Cable),
    Tcp,
}

impl Way {
    fn devices(&self) -> Option<Devices> {
        match self {
            Way::Rtu(cable) => Devices::on(&cable.devices),
            Way::Tcp => Devices::at(0),
        }
    }

    /// Answers may take a while where the machine is busy; only where silence is what is tested they may
    /// not.
    fn settings(&self, devices: &Devices, registers: &str) -> Modbus {
        self.settings_within(devices, registers, "30 s")
    }

    fn settings_within(&self, devices: &Devices, registers: &str, timeout: &str) -> Modbus {
        let timing = &format!("poll = \"0.05 s\"\ntimeout = \"{timeout}\"\n");
        let link = match self {
            Way::Rtu(cable) => rtu(&cable.source, &format!("baud = 19200\n{timing}")),
            Way::Tcp => tcp(devices.port, timing),
        };
        settings(&link, registers)
    }
}

pub fn tcp(port: u16, timing: &str) -> String {
    format!("kind = \"modbus-tcp\"\nhost = \"127.0.0.1\"\nport = {port}\n{timing}")
}

fn register(
    channel: &str,
    unit: u8,
    table: &str,
    address: u16,
    format: &str,
    rest: &str,
) -> String {
    format!(
        "[[source.register]]\nchannel = \"{channel}\"\nunit_id = {unit}\ntable = \"{table}\"\n\
         address = {address}\nformat = \"{format}\"\n{rest}\n"
    )
}

fn every_format() -> String {
    let low = "word_order = \"low-first\"";
    [
        register("i16", 1, "input", 0, "int16", "scale = 0.1"),
        register(
            "negative",
            1,
            "input",
            1,
            "int16",
            "scale = 0.1\noffset = -0.3",
        ),
        register("u16", 1, "input", 2, "uint16", ""),
        register("i32", 1, "input", 3, "int32", ""),
        register("u32", 1, "input", 5, "uint32", "scale = 0.001"),
        register("f32", 1, "input", 7, "float32", ""),
        register("open", 1, "input", 30, "float32", ""),
        register("fahrenheit", 1, "holding", 100, "float32", "unit = \"F\""),
        register("i32-low", 2, "input", 3, "int32", low),
        register("u32-low", 2, "input", 5, "uint32", low),
        register("f32-low", 2, "input", 7, "float32", low),
        register(
            "boiling",
            2,
            "holding",
            7,
            "int16",
            "scale = 0.1\nunit = \"F\"",
        ),
    ]
    .concat()
}

/// The numbers are those that `devices.py` puts into the registers by pymodbus's own conversion. 335.75 °F are
/// 168.75 °C and 212 °F are 100 °C by the definition of the scale.
async fn formats(way: Way) {
    let Some(devices) = way.devices() else { return };
    let settings = way.settings(&devices, &every_format());
    let mut running = Running::start(Arc::new(SystemPorts), settings, 256);
    running.up().await;
    let heard = running.channels(12).await;
    for (channel, expected) in [
        ("i16", "168.2"),
        ("negative", "-12.6"),
        ("u16", "65000"),
        ("i32", "-100000"),
        ("u32", "4000000"),
        ("f32", "168.25"),
        ("open", "\"NaN\""),
        ("fahrenheit", "168.75"),
        ("i32-low", "-100000"),
        ("u32-low", "4000000000"),
        ("f32-low", "168.25"),
        ("boiling", "100"),
    ] {
        assert_eq!(heard[channel], expected, "{channel}");
    }
    assert_eq!(running.health.counts().garbled, 0);
    running.end().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn every_format_is_read_over_rtu() {
    formats(Way::Rtu(Cable::new())).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn every_format_is_read_over_tcp() {
    formats(Way::Tcp).await;
}

/// Device 5 refuses a register with the exception of its address. A refusal is told, and the others are read.
async fn refusals(way: Way) {
    let Some(devices) = way.devices() else { return };
    for (code, name) in [
        (1, "illegal function"),
        (2, "illegal data address"),
        (3, "illegal data value"),
        (4, "device failure"),
        (6, "device busy"),
        (8, "memory parity error"),
        (10, "gateway path unavailable"),
        (11, "gateway target device failed to respond"),
    ] {
        let registers = [word("good", 1, 0), word("bad", 5, code)].concat();
        let settings = way.settings(&devices, &registers);
        let mut running = Running::start(Arc::new(SystemPorts), settings, 256);
        let why = running.down_with(&["device 5 refuses"]).await;
        let expected = format!("device 5 refuses input register {code}: ");
        assert!(why.starts_with(&expected), "{why}");
        assert!(
            why.contains(&format!("(exception {code}, {name})")),
            "{why}"
        );
        assert!(why.ends_with("(the other devices are read)"), "{why}");
        assert_eq!(running.channels(1).await["good"], "1682");
        assert_eq!(running.health.counts().garbled, 0);
        running.end().await;
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn refusals_are_named_over_rtu() {
    refusals(Way::Rtu(Cable::new())).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn refusals_are_named_over_tcp() {
    refusals(Way::Tcp).await;
}

/// Nobody is device 4. It is told, and asked less and less often, while device 1 is read on.
async fn silence(way: Way) {
    let Some(devices) = way.devices() else { return };
    let registers = [word("good", 1, 0), word("gone", 4, 0), word("fine", 2, 0)].concat();
    let settings = way.settings_within(&devices, &registers, "0.5 s");
    let mut running = Running::start(Arc::new(SystemPorts), settings, 256);
    let why = running.down_with(&["device 4"]).await;
    assert!(
        why.starts_with("device 4 does not answer; see its power"),
        "{why}"
    );
    assert!(why.ends_with("(the other devices are read)"), "{why}");
    for _ in 0..40 {
        running.channels(2).await;
    }
    let (good, gone) = (devices.asked(1), devices.asked(4));
    assert!(gone >= 2 && good >= 5 * gone, "{good} {gone}");
    assert!(matches!(running.health.line(), Line::Down(_)));
    running.end().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_silent_device_does_not_hold_up_the_others_over_rtu() {
    silence(Way::Rtu(Cable::new())).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_silent_device_does_not_hold_up_the_others_over_tcp() {
    silence(Way::Tcp).await;
}

/// Device 6 refuses to be asked for two registers at once.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_is_refused_together_is_asked_for_apart() {
    let way = Way::Rtu(Cable::new());
    let Some(devices) = way.devices() else { return };
    let registers = [word("first", 6, 0), word("second", 6, 1)].concat();
    let settings = way.settings(&devices, &registers);
    let mut running = Running::start(Arc::new(SystemPorts), settings, 256);
    running.up().await;
    let heard = running.channels(2).await;
    assert_eq!((&*heard["first"], &*heard["second"]), ("11", "12"));
    running.end().await;
}

/// Device 7 spoils its check sums, device 8 leaves its answers half.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn spoilt_answers_are_counted_and_told_and_harm_nobody_else() {
    let way = Way::Rtu(Cable::new());
    let Some(devices) = way.devices() else { return };
    let registers = [word("crc", 7, 0), word("half", 8, 0), word("good", 1, 0)].concat();
    let settings = way.settings(&devices, &registers);
    let mut running = Running::start(Arc::new(SystemPorts), settings, 256);
    running
        .down_with(&[
            "from device 7 cannot be understood (",
            "from device 8 cannot be understood (",
        ])
        .await;
    let counts = running.counts(|counts| counts.garbled >= 8).await;
    assert!(counts.readings >= 3, "{counts:?}");
    assert_eq!(running.channels(1).await["good"], "1682");
    running.end().await;
}

/// Devices that were switched off and on are read again, on the same line or at the same port.
async fn recovery(way: Way) {
    let Some(mut devices) = way.devices() else {
        return;
    };
    let settings = way.settings_within(&devices, &word("good", 1, 0), "0.5 s");
    let mut running = Running::start(Arc::new(SystemPorts), settings, 256);
    running.up().await;
    let port = devices.port;
    for _ in 0..2 {
        drop(devices);
        running.down().await;
        devices = match &way {
            Way::Rtu(cable) => Devices::on(&cable.devices),
            Way::Tcp => Devices::at(port),
        }
        .unwrap();
        running.up_again().await;
        assert_eq!(running.channels(1).await["good"], "1682");
    }
    running.end().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn devices_that_come_back_are_read_again_over_rtu() {
    recovery(Way::Rtu(Cable::new())).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn devices_that_come_back_are_read_again_over_tcp() {
    recovery(Way::Tcp).await;
}

/// The adapter is pulled out, and put in again under the same name.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn an_adapter_that_is_pulled_out_is_told_and_found_again() {
    let folder = tempfile::tempdir().unwrap();
    let link = folder.path().join("bus");
    let plug = |cable: &Cable| {
        // There may be none to take away.
        let _ = std::fs::remove_file(&link);
        std::os::unix::fs::symlink(&cable.source, &link).unwrap();
    };
    let mut cable = Cable::new();
    plug(&cable);
    let Some(devices) = Devices::on(&cable.devices) else {
        return;
    };
    let timing = "baud = 19200\npoll = \"0.05 s\"\ntimeout = \"0.5 s\"\n";
    let settings = settings(&rtu(Path::new(&link), timing), &word("good", 1, 0));
    let mut running = Running::start(Arc::new(SystemPorts), settings, 256);
    running.up().await;
    drop((devices, cable));
    let why = running.down().await;
    assert!(
        why.contains("is lost (") || why.contains("there is no serial port"),
        "{why}"
    );
    cable = Cable::new();
    plug(&cable);
    let _devices = Devices::on(&cable.devices).unwrap();
    running.up_again().await;
    assert_eq!(running.channels(1).await["good"], "1682");
    running.end().await;
}
