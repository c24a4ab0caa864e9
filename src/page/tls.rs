//! The certificate under which the page is served beyond this computer.

use std::net::IpAddr;
use std::sync::Arc;
use std::time::{Duration, SystemTime};

use rcgen::{CertificateParams, DnType, KeyPair};
use thiserror::Error;
use tokio_rustls::TlsAcceptor;
use tokio_rustls::rustls::crypto::ring;
use tokio_rustls::rustls::pki_types::pem::PemObject;
use tokio_rustls::rustls::pki_types::{CertificateDer, PrivateKeyDer};
use tokio_rustls::rustls::{Error as TlsError, ServerConfig};

use crate::digest::sha256;

/// How long a certificate that is made for a run is good.
const GOOD_FOR: Duration = Duration::from_secs(30 * 86_400);
/// How long it was good before it was made: clocks of tablets go wrong.
const GOOD_BEFORE: Duration = Duration::from_secs(86_400);

/// Reason that a certificate cannot be used.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[non_exhaustive]
pub enum CertificateError {
    /// The file holds no certificate.
    #[error("no certificate in PEM form")]
    NoCertificate,
    /// The file holds no private key.
    #[error("no private key in PEM form, or one under a password")]
    NoKey,
    /// The key is that of another certificate.
    #[error("the key of another certificate")]
    OtherKey,
    /// The certificate or key is of a kind that cannot be used.
    #[error("a certificate or key that cannot be used: {0}")]
    Unusable(String),
}

/// TlsCertificate with its key, ready to serve.
#[derive(Clone)]
pub struct TlsCertificate {
    config: Arc<ServerConfig>,
    fingerprint: String,
}

impl TlsCertificate {
    /// Makes one for an address and a name, if there is one, with a key that is never written.
    ///
    /// # Errors
    /// [`CertificateError::Unusable`] for a name that no certificate can hold.
    ///
    /// ```
    /// use gapwright::page::TlsCertificate;
    /// let made = TlsCertificate::made_for([192, 168, 1, 20].into(), Some("planner.local")).unwrap();
    /// assert_eq!(made.fingerprint().len(), 32 * 3 - 1);
    /// ```
    pub fn made_for(at: IpAddr, name: Option<&str>) -> Result<TlsCertificate, CertificateError> {
        let unusable = |error: rcgen::Error| CertificateError::Unusable(error.to_string());
        let names = [at.to_string()].into_iter().chain(name.map(String::from));
        let mut params = CertificateParams::new(names.collect::<Vec<_>>()).map_err(unusable)?;
        let now = SystemTime::now();
        params.not_before = (now - GOOD_BEFORE).into();
        params.not_after = (now + GOOD_FOR).into();
        params.distinguished_name.push(DnType::CommonName, "gapwright page");
        let key = KeyPair::generate().map_err(unusable)?;
        let made = params.self_signed(&key).map_err(unusable)?;
        let key = PrivateKeyDer::try_from(key.serialize_der());
        let key = key.map_err(|error| CertificateError::Unusable(error.to_string()))?;
        TlsCertificate::of(vec![made.der().clone()], key)
    }

    /// Reads a certificate, with those that vouch for it, and its key from the contents of two PEM files.
    ///
    /// # Errors
    /// [`CertificateError`].
    ///
    /// ```
    /// use gapwright::page::{TlsCertificate, CertificateError};
    /// assert_eq!(TlsCertificate::of_pem(b"", b"").err(), Some(CertificateError::NoCertificate));
    /// ```
    pub fn of_pem(certificate: &[u8], key: &[u8]) -> Result<TlsCertificate, CertificateError> {
        let chain = CertificateDer::pem_slice_iter(certificate).collect::<Result<Vec<_>, _>>();
        let chain = chain.ok().filter(|chain| !chain.is_empty());
        let chain = chain.ok_or(CertificateError::NoCertificate)?;
        let key = PrivateKeyDer::from_pem_slice(key).map_err(|_| CertificateError::NoKey)?;
        TlsCertificate::of(chain, key)
    }

    fn of(
        chain: Vec<CertificateDer<'static>>,
        key: PrivateKeyDer<'static>,
    ) -> Result<TlsCertificate, CertificateError> {
        let wrong = |error: TlsError| match error {
            TlsError::InconsistentKeys(_) => CertificateError::OtherKey,
            error => CertificateError::Unusable(error.to_string()),
        };
        let own = chain.first().map(|own| sha256(own)).unwrap_or_default();
        // Named, since a default would have to be set for the whole process.
        let config = ServerConfig::builder_with_provider(Arc::new(ring::default_provider()));
        let config = config.with_safe_default_protocol_versions().map_err(wrong)?;
        let config = config.with_no_client_auth().with_single_cert(chain, key);
        let mut config = config.map_err(wrong)?;
        config.alpn_protocols = vec![b"http/1.1".to_vec()];
        let pairs: Vec<&str> = (0..own.len() / 2).map(|at| &own[2 * at..2 * at + 2]).collect();
        Ok(TlsCertificate { config: Arc::new(config), fingerprint: pairs.join(":").to_uppercase() })
    }

    /// SHA-256 of the certificate as browsers show it: `AB:CD:...`.
    pub fn fingerprint(&self) -> &str {
        &self.fingerprint
    }

    pub(super) fn acceptor(&self) -> TlsAcceptor {
        TlsAcceptor::from(self.config.clone())
    }
}
