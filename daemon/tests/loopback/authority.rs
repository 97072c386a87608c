//! Certificates for tests, and TLS in front of a port.

use std::sync::Arc;

use rcgen::{BasicConstraints, CertificateParams, CertifiedIssuer, IsCa, KeyPair};
use rustls::ServerConfig;
use rustls::pki_types::{PrivateKeyDer, PrivatePkcs8KeyDer};
use tokio::net::{TcpListener, TcpStream};
use tokio_rustls::TlsAcceptor;

pub type Authority = CertifiedIssuer<'static, KeyPair>;

pub fn authority() -> Authority {
    let mut params = CertificateParams::new(Vec::new()).unwrap();
    params.is_ca = IsCa::Ca(BasicConstraints::Unconstrained);
    CertifiedIssuer::self_signed(params, KeyPair::generate().unwrap()).unwrap()
}

/// Speaks TLS under these names on a port of its own, and hands on to another.
pub async fn in_front_of(behind: u16, authority: &Authority, names: &[&str]) -> u16 {
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
                let Ok(mut client) = acceptor.accept(stream).await else {
                    return;
                };
                let mut server = TcpStream::connect(("127.0.0.1", behind)).await.unwrap();
                let _ = tokio::io::copy_bidirectional(&mut client, &mut server).await;
            });
        }
    });
    port
}
