//! A daemon that is killed with alarms standing: its journal says how each stood, and the next start takes each up
//! as it was.

use std::collections::BTreeMap;
use std::fmt::Write;
use std::path::Path;

use inkdwell_daemon::journal;
use inkdwell_daemon::record::Record;
use serde_json::Value;

use crate::figures::{get, post};
use crate::kill::Daemon;
use crate::server::Server;
use crate::shop::{settings, until};

const SHOP: &str = r#"
[board]
listen = "127.0.0.1:0"

[alarms]
belt_stop_grace = "0 s"

[[source]]
id = "line"
kind = "replay"
file = "trace.csv"

[[station]]
id = "belt-1"
kind = "belt-dryer"
heated_length = "2 m"
belt = "3 m/min"
zones = [ { length = "1 m", air = "190 C" }, { length = "1 m", air = "180 C" } ]

[[probe]]
id = "zone-1"
station = "belt-1"
place = "zone"
zone = 1
source = "line"

[[probe]]
id = "zone-2"
station = "belt-1"
place = "zone"
zone = 2
source = "line"

[[signal]]
id = "speed"
station = "belt-1"
kind = "belt"
unit = "m/min"
source = "line"
"#;

/// Ten rows a second: after a second the belt stands, and after two the second zone's wire is broken.
fn trace(from: u32) -> String {
    let mut text = String::from("time_s,zone-1_c,zone-2_c,speed_m_per_min\n");
    for row in from..from + 900 {
        let t = f64::from(row) / 10.0;
        let unrest = 0.3 * (t * 1.7).sin();
        let speed = if row < 10 { "3" } else { "0" };
        let zone = match row {
            0..20 => format!("{:.2}", 180.0 - unrest),
            _ => "OPEN".to_owned(),
        };
        // (A string takes whatever is written to it.)
        let _ = writeln!(text, "{t},{:.2},{zone},{speed}", 190.0 + unrest);
    }
    text
}

/// How those alarms stand that are not normal, as the daemon tells it; none while it cannot be asked.
async fn told(data: &Path) -> BTreeMap<String, String> {
    let Some(port) = port(data) else {
        return BTreeMap::new();
    };
    let (_, body) = get(port, "/api/alarms?state=all").await;
    let told: Value = serde_json::from_str(&body).unwrap();
    let alarms = told["alarms"].as_array().unwrap().iter();
    let text = |value: &Value| value.as_str().unwrap().to_owned();
    let each = alarms.map(|alarm| (text(&alarm["alarm"]), text(&alarm["state"])));
    each.filter(|(_, state)| state != "normal").collect()
}

fn port(data: &Path) -> Option<u16> {
    let text = std::fs::read_to_string(data.join("api.address")).ok()?;
    let (_, port) = text.lines().next()?.rsplit_once(':')?;
    port.parse().ok()
}

async fn told_once(data: &Path, alarm: &str, state: &str) {
    for _ in 0..3000 {
        if told(data).await.get(alarm).is_some_and(|own| own == state) {
            return;
        }
        tokio::time::sleep(std::time::Duration::from_millis(10)).await;
    }
    panic!("{alarm} is not {state}: {:?}", told(data).await);
}

async fn say(data: &Path, what: &str, body: &str) {
    let token = std::fs::read_to_string(data.join("api.token")).unwrap();
    let path = format!("/api/alarms/{what}");
    let (head, answer) = post(port(data).unwrap(), &path, token.trim(), body).await;
    assert!(head.contains(" 200 "), "{head} {answer}");
}

/// The same by the last record of each.
fn journaled(data: &Path) -> BTreeMap<String, String> {
    let (_writer, readers) = journal::open(data, settings()).unwrap();
    let reader = readers.reader().unwrap();
    assert!(reader.verify(None, |_| ()).unwrap().broken.is_empty());
    let mut last = BTreeMap::new();
    for record in reader
        .records_after(journal::RecordNumber(0), 100_000)
        .unwrap()
    {
        if let Record::AlarmChanged(changed) = record.kept.record {
            last.insert(changed.alarm, changed.state.name().to_owned());
        }
    }
    last.retain(|_, state| state != "normal");
    last
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn every_alarm_stands_after_a_kill_as_it_stood_before_and_was_told_once() {
    let folder = tempfile::tempdir().unwrap();
    let hook = Server::start().await;
    let (shop, data) = (folder.path().join("shop.toml"), folder.path().join("data"));
    let sink = format!(
        "[[sink]]\nid = \"hook\"\nkind = \"webhook\"\nurl = \"http://127.0.0.1:{}\"\nsend = [\"alarms\"]\n",
        hook.port
    );
    std::fs::write(&shop, SHOP.to_owned() + &sink).unwrap();
    std::fs::write(folder.path().join("trace.csv"), trace(0)).unwrap();
    let daemon = Daemon::start(&shop, &data);
    told_once(&data, "belt-stopped-hot@belt-1", "unacknowledged").await;
    let said = r#"{"by": "Mara", "why": "going there"}"#;
    say(&data, "belt-stopped-hot@belt-1/acknowledge", said).await;
    say(&data, "probe-noisy@zone-1/take-out", said).await;
    told_once(&data, "probe-open@zone-2", "unacknowledged").await;
    let shelf = r#"{"by": "Mara", "why": "wire comes", "for_s": 3600}"#;
    say(&data, "probe-stuck@zone-1/shelve", shelf).await;
    until("both at the hook", || {
        (hook.posted().len() >= 2).then_some(())
    })
    .await;
    let before = told(&data).await;
    daemon.kill();
    for (alarm, state) in [
        ("belt-stopped-hot@belt-1", "acknowledged"),
        ("probe-noisy@zone-1", "out-of-service"),
        ("probe-open@zone-2", "unacknowledged"),
        ("probe-stuck@zone-1", "shelved"),
    ] {
        assert_eq!(before.get(alarm).map(String::as_str), Some(state));
    }
    assert_eq!(journaled(&data), before);
    // Played on from where it stands still.
    std::fs::write(folder.path().join("trace.csv"), trace(100)).unwrap();
    std::fs::remove_file(data.join("api.address")).unwrap();
    let daemon = Daemon::start(&shop, &data);
    until("an answer", || port(&data)).await;
    let after = told(&data).await;
    daemon.kill();
    assert_eq!(after, before);
    // What was on its way at the kill may come again, under the same identity.
    let mut heard: Vec<(Value, Value)> = Vec::new();
    for posted in hook.posted().iter().map(crate::server::Posted::json) {
        let own = (posted["id"].clone(), posted["alarm"].clone());
        if !heard.contains(&own) {
            heard.push(own);
        }
    }
    let alarms: Vec<&Value> = heard.iter().map(|(_, alarm)| alarm).collect();
    assert_eq!(alarms, ["belt-stopped-hot@belt-1", "probe-open@zone-2"]);
}
