//! Alarms on their way out: a drill reaches everybody, and whoever is called next hears only of what nobody has
//! acknowledged.

use std::path::Path;

use inkdwell_cure::alarm::{AlarmId, Change, Kind, Priority, State};
use inkdwell_daemon::journal::{self, Batch};
use inkdwell_daemon::keeper::Command;
use inkdwell_daemon::record::{AlarmChanged, Record};
use inkdwell_daemon::time::wall;

use crate::mosquitto::Mosquitto;
use crate::server::Server;
use crate::shop::{parsed, settings, stand_at_the_beginning, start, text, until};
use crate::subscriber::Subscriber;

fn hook(id: &str, port: u16, more: &str) -> String {
    format!(
        "[[sink]]\nid = {id:?}\nkind = \"webhook\"\nurl = \"http://127.0.0.1:{port}\"\nsend = [\"alarms\"]\n{more}"
    )
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_drill_goes_through_every_way_out_marked_as_one() {
    let Some(broker) = Mosquitto::start("") else {
        return;
    };
    let folder = tempfile::tempdir().unwrap();
    let (now, later, store) = (
        Server::start().await,
        Server::start().await,
        Server::start().await,
    );
    let subscriber = Subscriber::start(broker.port, "always").await;
    let sinks = hook("now", now.port, "alarms_from = \"high\"\n")
        + &hook("later", later.port, "alarms_after = \"2 s\"\n")
        + &format!(
            "[[sink]]\nid = \"office\"\nkind = \"mqtt\"\nhost = \"127.0.0.1\"\nport = {}\n\
             [[sink]]\nid = \"history\"\nkind = \"influxdb\"\nurl = \"http://127.0.0.1:{}\"\norg = \"o\"\n\
             bucket = \"b\"\ngzip = false\n",
            broker.port, store.port
        );
    let shift = start(parsed(&text("Lantern Yard", &sinks)), folder.path()).await;
    let drill = Command::Drill {
        by: "Mara".to_owned(),
        why: "does the bell ring?".to_owned(),
    };
    shift.ask(drill).await.unwrap();
    let is_drill = |json: &serde_json::Value| json["drill"] == true && json["change"] == "raised";
    for server in [&now, &later] {
        let alarm = until("the drill", || {
            let posted = server.posted();
            posted.iter().map(|posted| posted.json()).find(is_drill)
        })
        .await;
        assert_eq!(alarm["schema"], "inkdwell.alarm/1");
        assert!(
            alarm["caution"]
                .as_str()
                .is_some_and(|caution| !caution.is_empty())
        );
    }
    let heard = until("the drill at the broker", || {
        let heard = subscriber.on("/@monitor/alarm");
        heard.into_iter().find(|heard| is_drill(&heard.json))
    })
    .await;
    let schemas = inkdwell_daemon::sink::message::schemas();
    let (_, schema) = schemas
        .iter()
        .find(|(name, _)| *name == "inkdwell.alarm/1")
        .unwrap();
    jsonschema::validate(schema.as_value(), &heard.json).unwrap();
    until("the drill as it stands", || {
        let alarms = subscriber.on("/@monitor/alarms");
        let mut standing = alarms.iter().map(|heard| &heard.json["alarms"]);
        standing
            .any(|alarms| alarms.as_array().is_some_and(|all| !all.is_empty()))
            .then_some(())
    })
    .await;
    until("the drill in the store", || {
        let posted = store.posted();
        let text = posted
            .iter()
            .map(|posted| String::from_utf8(posted.body.to_vec()).unwrap());
        text.flat_map(|text| text.lines().map(str::to_owned).collect::<Vec<_>>())
            .find(|line| line.starts_with("inkdwell_alarm,alarm=drill"))
    })
    .await;
    shift.stop().await.unwrap();
}

fn changed(alarm: &AlarmId, change: Change, from: State, state: State) -> Record {
    Record::AlarmChanged(Box::new(AlarmChanged {
        alarm: alarm.to_string(),
        station: Some("belt-1".to_owned()),
        announce: matches!(change, Change::Raised),
        change,
        from,
        state,
        priority: Priority::High,
        count: 1,
        cause: None,
        words: String::new(),
        follows: None,
        drill: false,
    }))
}

/// Two alarms an hour ago: one acknowledged after ten seconds, one after two minutes.
fn fill(folder: &Path, first: &AlarmId, second: &AlarmId) {
    let (mut writer, _) = journal::open(folder, settings()).unwrap();
    let at = |seconds: f64| wall().plus_seconds(-3600.0 + seconds);
    let raised = |alarm| changed(alarm, Change::Raised, State::Normal, State::Unacknowledged);
    let acknowledged = |alarm| {
        let change = Change::Acknowledged {
            by: "Mara".to_owned(),
            why: String::new(),
        };
        changed(alarm, change, State::Unacknowledged, State::Acknowledged)
    };
    let records = vec![
        (at(0.0), raised(first)),
        (at(5.0), raised(second)),
        (at(10.0), acknowledged(first)),
        (at(125.0), acknowledged(second)),
    ];
    writer
        .commit(&Batch {
            records,
            ..Batch::default()
        })
        .unwrap();
    stand_at_the_beginning(&mut writer, &[("bell", "webhook"), ("lead", "webhook")]);
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn whoever_is_called_next_hears_only_of_what_nobody_acknowledged_in_time() {
    let folder = tempfile::tempdir().unwrap();
    let first = AlarmId::new(Kind::ProbeOpen, "film");
    let second = AlarmId::new(Kind::ProbeStuck, "film");
    fill(folder.path(), &first, &second);
    let (bell, lead) = (Server::start().await, Server::start().await);
    let sinks = String::from("[alarms]\nescalate_after = \"1 min\"\n")
        + &hook("bell", bell.port, "")
        + &hook("lead", lead.port, "");
    let shift = start(parsed(&text("Lantern Yard", &sinks)), folder.path()).await;
    let names = |server: &Server| -> Vec<String> {
        let posted = server.posted();
        let names = posted
            .iter()
            .map(|posted| posted.json()["alarm"].as_str().unwrap().to_owned());
        names.collect()
    };
    until("both at the bell", || {
        (names(&bell).len() >= 2).then_some(())
    })
    .await;
    until("one at whoever is next", || {
        (!names(&lead).is_empty()).then_some(())
    })
    .await;
    assert_eq!(names(&bell), [first.to_string(), second.to_string()]);
    // It has gone over both.
    until("the next is through", || {
        (shift.sinks()[1].2.counts(4).waiting == 0).then_some(())
    })
    .await;
    assert_eq!(names(&lead), [second.to_string()]);
    shift.stop().await.unwrap();
}
