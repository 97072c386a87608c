//! What is in the way is said in sentences, none of which holds a secret.

use std::collections::HashMap;

use inkdwell_config::shop::{MqttVersion, Secret};
use inkdwell_daemon::source::health::Line;

use crate::free_port::free_port;
use crate::journal::{Journal, down, up};
use crate::mosquitto::Mosquitto;
use crate::rumqttd_broker;
use crate::shop::{Source, VERSIONS, bare, broker};

#[tokio::test]
async fn a_broker_that_is_not_there_is_waited_for() {
    let port = free_port();
    let topics = vec![bare("t/+", "{1}")];
    let mut source = Source::start(broker(MqttVersion::V3, port), topics, vec![]);
    let mut journal = Journal::default();
    let why = down(&mut source.queue, &mut journal).await;
    assert_eq!(
        why,
        format!(
            "nothing listens at 127.0.0.1:{port}; start the broker, or correct host and port in the shop file (tried again every few seconds)"
        )
    );
    assert_eq!(source.health.line(), Line::Down(why));
    source.finish().await;
}

#[tokio::test]
async fn an_unknown_host_is_named() {
    let mut unknown = broker(MqttVersion::V5, 1883);
    // RFC 6761, section 6.4: no such name ever exists.
    unknown.host = "broker.invalid".to_owned();
    let mut source = Source::start(unknown, vec![bare("t/+", "{1}")], vec![]);
    let why = down(&mut source.queue, &mut Journal::default()).await;
    assert!(
        why.starts_with("the host broker.invalid is not known here"),
        "{why}"
    );
    source.finish().await;
}

#[tokio::test]
async fn what_is_no_broker_is_named() {
    let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.unwrap();
    let port = listener.local_addr().unwrap().port();
    tokio::spawn(async move {
        while let Ok((mut stream, _)) = listener.accept().await {
            let answer = b"HTTP/1.1 400 Bad Request\r\n\r\n";
            let _ = tokio::io::AsyncWriteExt::write_all(&mut stream, answer).await;
        }
    });
    for version in VERSIONS {
        let topics = vec![bare("t/+", "{1}")];
        let mut source = Source::start(broker(version, port), topics, vec![]);
        let why = down(&mut source.queue, &mut Journal::default()).await;
        assert!(why.contains("see host and port"), "{why}");
        source.finish().await;
    }
}

/// rumqttd refuses a password by hanging up, Mosquitto by a code.
#[tokio::test]
async fn a_refused_user_is_named_without_the_password() {
    let users = HashMap::from([("yard".to_owned(), "right".to_owned())]);
    let ports = rumqttd_broker::start(Some(users));
    let folder = tempfile::tempdir().unwrap();
    let login = |version, port, password: &str| {
        let file = folder.path().join("password");
        std::fs::write(&file, format!("{password}\n")).unwrap();
        let mut broker = broker(version, port);
        broker.user = Some("yard".to_owned());
        broker.password = Some(Secret::File(file));
        Source::start(broker, vec![bare("t/+", "{1}")], vec![])
    };
    for version in VERSIONS {
        let mut journal = Journal::default();
        let mut source = login(version, ports.of(version), "right");
        up(&mut source.queue, &mut journal).await;
        source.finish().await;

        let mut source = login(version, ports.of(version), "hunter2");
        let why = down(&mut source.queue, &mut journal).await;
        assert!(
            why.contains("see host and port, user and password"),
            "{why}"
        );
        source.finish().await;

        let Some(mosquitto) = Mosquitto::start("allow_anonymous false") else {
            continue;
        };
        let mut source = login(version, mosquitto.port, "hunter2");
        let why = down(&mut source.queue, &mut journal).await;
        assert!(
            why.contains("does not let in the user \"yard\"; correct the password"),
            "{why}"
        );
        assert!(why.ends_with("(tried again every minute)"), "{why}");
        assert!(!why.contains("hunter2"), "{why}");
        source.finish().await;
    }
}
