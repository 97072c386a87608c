//! TLS: the broker's certificate is signed by an authority that the test makes.

use std::path::Path;
use std::sync::Arc;

use inkdwell_config::shop::{Broker, MqttVersion, TlsRoots};
use rcgen::{BasicConstraints, CertificateParams, CertifiedIssuer, IsCa, KeyPair};
use rumqttc::tokio_rustls::TlsAcceptor;
use rustls::ServerConfig;
use rustls::pki_types::{PrivateKeyDer, PrivatePkcs8KeyDer};
use tokio::net::{TcpListener, TcpStream};

use crate::journal::{Journal, down, up};
use crate::rumqttd_broker;
use crate::shop::{Source, VERSIONS, bare, broker, publish};

type Authority = CertifiedIssuer<'static, KeyPair>;

fn authority() -> Authority {
    let mut params = CertificateParams::new(Vec::new()).unwrap();
    params.is_ca = IsCa::Ca(BasicConstraints::Unconstrained);
    CertifiedIssuer::self_signed(params, KeyPair::generate().unwrap()).unwrap()
}

/// Speaks TLS on a port of its own and hands on to the broker's.
async fn in_front_of(broker: u16, authority: &Authority, names: &[&str]) -> u16 {
    let names: Vec<String> = names.iter().map(|name| (*name).to_owned()).collect();
    let key = KeyPair::generate().unwrap();
    let params = CertificateParams::new(names).unwrap();
    let certificate = params.signed_by(&key, authority).unwrap();
    let key = PrivateKeyDer::Pkcs8(PrivatePkcs8KeyDer::from(key.serialize_der()));
    let provider = Arc::new(rustls::crypto::ring::default_provider());
    let config = ServerConfig::builder_with_provider(provider)
        .with_safe_default_protocol_versions()
        .unwrap()
        .with_no_client_auth()
        .with_single_cert(vec![certificate.der().clone()], key)
        .unwrap();
    let acceptor = TlsAcceptor::from(Arc::new(config));
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let port = listener.local_addr().unwrap().port();
    tokio::spawn(async move {
        while let Ok((stream, _)) = listener.accept().await {
            let acceptor = acceptor.clone();
            tokio::spawn(async move {
                // A client that does not trust us hangs up.
                let Ok(mut source) = acceptor.accept(stream).await else {
                    return;
                };
                let mut broker = TcpStream::connect(("127.0.0.1", broker)).await.unwrap();
                let _ = tokio::io::copy_bidirectional(&mut source, &mut broker).await;
            });
        }
    });
    port
}

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
