//! Whom to trust.

use std::path::Path;
use std::sync::Arc;

use inkdwell_config::shop::TlsRoots;
use rustls::pki_types::CertificateDer;
use rustls::pki_types::pem::PemObject;
use rustls::{ClientConfig, RootCertStore};

use super::Trouble;

/// A client's side of TLS that trusts these roots.
///
/// # Errors
/// Roots that cannot be read, or of which there are none.
pub fn client_config(roots: &TlsRoots) -> Result<Arc<ClientConfig>, Trouble> {
    let store = match roots {
        TlsRoots::System => of_system()?,
        TlsRoots::File(path) => of_file(path)?,
    };
    // The provider is named here: nothing depends on what else in the program installs one.
    let provider = Arc::new(rustls::crypto::ring::default_provider());
    let config = ClientConfig::builder_with_provider(provider)
        .with_safe_default_protocol_versions()
        .map_err(|error| Trouble::slow(format!("TLS cannot be set up ({error})")))?
        .with_root_certificates(store)
        .with_no_client_auth();
    Ok(Arc::new(config))
}

fn of_system() -> Result<RootCertStore, Trouble> {
    let mut store = RootCertStore::empty();
    let found = rustls_native_certs::load_native_certs();
    store.add_parsable_certificates(found.certs);
    if store.is_empty() {
        return Err(Trouble::slow(
            "this system has no trusted certificates; install its package of them (ca-certificates), or name a file as tls_roots".to_owned(),
        ));
    }
    Ok(store)
}

fn of_file(path: &Path) -> Result<RootCertStore, Trouble> {
    let file = path.display();
    let bytes = std::fs::read(path).map_err(|error| {
        Trouble::slow(format!(
            "the file of roots {file} cannot be read ({}); correct tls_roots, or let the daemon's user read it",
            error.kind()
        ))
    })?;
    let mut store = RootCertStore::empty();
    for certificate in CertificateDer::pem_slice_iter(&bytes) {
        let certificate = certificate.map_err(|error| unfit(path, &error.to_string()))?;
        store
            .add(certificate)
            .map_err(|error| unfit(path, &error.to_string()))?;
    }
    if store.is_empty() {
        return Err(unfit(path, "it holds none"));
    }
    Ok(store)
}

fn unfit(path: &Path, why: &str) -> Trouble {
    Trouble::slow(format!(
        "the file of roots {} gives no certificates in PEM form ({why}); put the certificate there that signed the broker's",
        path.display()
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_without_certificates_is_a_sentence() {
        let file = tempfile::NamedTempFile::new().unwrap();
        for (text, why) in [
            ("", "it holds none"),
            ("hello", "it holds none"),
            (
                "-----BEGIN CERTIFICATE-----\nAAAA\n-----END CERTIFICATE-----\n",
                "gives no certificates",
            ),
            ("-----BEGIN CERTIFICATE-----\n", "gives no certificates"),
        ] {
            std::fs::write(file.path(), text).unwrap();
            let roots = TlsRoots::File(file.path().to_owned());
            let sentence = client_config(&roots).unwrap_err().to_string();
            assert!(sentence.contains(why), "{text:?}: {sentence}");
        }
        let roots = TlsRoots::File("/nowhere/ca.pem".into());
        let sentence = client_config(&roots).unwrap_err().to_string();
        assert!(sentence.starts_with("the file of roots /nowhere/ca.pem cannot be read"));
    }
}
