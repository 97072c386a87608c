//! TLS: the broker's certificate is signed by an authority that the test makes.

use std::path::Path;

use inkdwell_config::shop::{Broker, MqttVersion, TlsRoots};
use tokio::net::TcpListener;

use crate::authority::{authority, in_front_of};
use crate::journal::{Journal, down, up};
use crate::rumqttd_broker;
use crate::shop::{Source, VERSIONS, bare, broker, publish};

fn trusting(version: MqttVersion, port: u16, roots: &Path) -> Broker {
    Broker {
        tls: Some(TlsRoots::File(roots.to_owned())),
        ..broker(version, port)
    }
}

fn start(broker: Broker) -> Source {
    Source::start(broker, vec![bare("t/+", "{1}")], vec![])
}

#[tokio::test]
async fn readings_come_through_tls_and_only_from_a_broker_that_is_trusted() {
    let folder = tempfile::tempdir().unwrap();
    let (own, other) = (authority(), authority());
    let roots = folder.path().join("own.pem");
    std::fs::write(&roots, own.pem()).unwrap();
    let others = folder.path().join("other.pem");
    std::fs::write(&others, other.pem()).unwrap();
    let ports = rumqttd_broker::start(None);
    for version in VERSIONS {
        let port = in_front_of(ports.of(version), &own, &["127.0.0.1"]).await;
        let mut source = start(trusting(version, port, &roots));
        let mut journal = Journal::default();
        up(&mut source.queue, &mut journal).await;
        publish(ports.v3, &[("t/film", "160.5")]).await;
        journal.take(&mut source.queue, 1).await;
        assert_eq!(journal.numbers(), [160.5]);
        source.finish().await;

        let mut source = start(trusting(version, port, &others));
        let why = down(&mut source.queue, &mut journal).await;
        let sentence = format!(
            "the certificate of 127.0.0.1:{port} is signed by none of the roots in {}",
            others.display()
        );
        assert!(why.starts_with(&sentence), "{why}");
        assert!(why.ends_with("(tried again every minute)"), "{why}");
        source.finish().await;
        // Nor is it trusted because of the system's roots.
        let mut system = trusting(version, port, &roots);
        system.tls = Some(TlsRoots::System);
        let mut source = start(system);
        let why = down(&mut source.queue, &mut journal).await;
        assert!(
            why.contains("the roots that this system trusts") || why.contains("ca-certificates"),
            "{why}"
        );
        source.finish().await;
    }
}

#[tokio::test]
async fn a_certificate_for_another_name_and_a_port_without_tls_are_named() {
    let folder = tempfile::tempdir().unwrap();
    let own = authority();
    let roots = folder.path().join("own.pem");
    std::fs::write(&roots, own.pem()).unwrap();
    let ports = rumqttd_broker::start(None);
    let port = in_front_of(ports.v5, &own, &["broker.example"]).await;
    let mut source = start(trusting(MqttVersion::V5, port, &roots));
    let why = down(&mut source.queue, &mut Journal::default()).await;
    assert!(why.contains("is not made out for \"127.0.0.1\""), "{why}");
    source.finish().await;

    // One that answers anything with the refusal of a plain text protocol.
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let port = listener.local_addr().unwrap().port();
    tokio::spawn(async move {
        while let Ok((mut stream, _)) = listener.accept().await {
            let _ =
                tokio::io::AsyncWriteExt::write_all(&mut stream, b"\x20\x02\x00\x05hello").await;
        }
    });
    let mut source = start(trusting(MqttVersion::V5, port, &roots));
    let why = down(&mut source.queue, &mut Journal::default()).await;
    assert!(
        why.contains(&format!("127.0.0.1:{port} speaks no TLS")),
        "{why}"
    );
    source.finish().await;
}
