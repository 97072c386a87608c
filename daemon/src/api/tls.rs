//! The daemon's side of TLS.

use std::path::Path;
use std::sync::Arc;

use inkdwell_config::shop::Tls;
use rustls::ServerConfig;
use rustls::pki_types::pem::PemObject;
use rustls::pki_types::{CertificateDer, PrivateKeyDer};
use tokio_rustls::TlsAcceptor;

use super::ServeError;

/// Shows this certificate to whoever connects.
pub(super) fn acceptor(tls: &Tls) -> Result<TlsAcceptor, ServeError> {
    let unfit = |file: &Path, why: String| ServeError::Tls {
        file: file.to_owned(),
        why,
    };
    let chain = CertificateDer::pem_file_iter(&tls.certificate)
        .and_then(Iterator::collect::<Result<Vec<_>, _>>)
        .map_err(|error| {
            let why = format!("no certificate can be read from it ({error})");
            unfit(&tls.certificate, why)
        })?;
    if chain.is_empty() {
        let why = "it holds no certificate in PEM form".to_owned();
        return Err(unfit(&tls.certificate, why));
    }
    let key = PrivateKeyDer::from_pem_file(&tls.key).map_err(|error| {
        let why = format!("no private key can be read from it ({error})");
        unfit(&tls.key, why)
    })?;
    // The provider is named here: nothing depends on what else in the program installs one.
    let provider = Arc::new(rustls::crypto::ring::default_provider());
    let config = ServerConfig::builder_with_provider(provider)
        .with_safe_default_protocol_versions()
        .and_then(|builder| builder.with_no_client_auth().with_single_cert(chain, key))
        .map_err(|error| {
            let why = format!("it cannot be used with its key ({error})");
            unfit(&tls.certificate, why)
        })?;
    Ok(TlsAcceptor::from(Arc::new(config)))
}
