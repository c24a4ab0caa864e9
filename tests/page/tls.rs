//! The page beyond this computer: TLS alone, by a client that compares the fingerprint as a person does.

use std::io::{Read, Write};
use std::net::{IpAddr, Ipv4Addr, SocketAddr, TcpStream};
use std::sync::Arc;
use std::thread::JoinHandle;
use std::time::Duration;

use gapwright::digest::sha256;
use gapwright::page::{
    Beyond, Bounds, CertificateError, Closer, Desk, PageError, Server, TlsCertificate,
};
use gapwright::scratch::Scratch;
use tokio_rustls::rustls::client::WebPkiServerVerifier;
use tokio_rustls::rustls::client::danger::{
    HandshakeSignatureValid, ServerCertVerified, ServerCertVerifier,
};
use tokio_rustls::rustls::crypto::{CryptoProvider, ring};
use tokio_rustls::rustls::pki_types::{CertificateDer, ServerName, UnixTime};
use tokio_rustls::rustls::{
    CertificateError as Distrust, ClientConfig, ClientConnection, DigitallySignedStruct, Error,
    RootCertStore, SignatureScheme, StreamOwned,
};

use crate::raw::{Answer, answer};
use crate::scratch::sources;

const HERE: IpAddr = IpAddr::V4(Ipv4Addr::LOCALHOST);

fn provider() -> Arc<CryptoProvider> {
    Arc::new(ring::default_provider())
}

/// Trusts the certificate of one fingerprint, for the names that stand in it and while it is good.
#[derive(Debug)]
struct Compared(String);

impl Compared {
    fn roots(own: &CertificateDer<'_>) -> Arc<WebPkiServerVerifier> {
        let mut roots = RootCertStore::empty();
        roots.add(own.clone().into_owned()).unwrap();
        WebPkiServerVerifier::builder_with_provider(roots.into(), provider()).build().unwrap()
    }
}

impl ServerCertVerifier for Compared {
    fn verify_server_cert(
        &self,
        own: &CertificateDer<'_>,
        others: &[CertificateDer<'_>],
        name: &ServerName<'_>,
        ocsp: &[u8],
        now: UnixTime,
    ) -> Result<ServerCertVerified, Error> {
        if sha256(own) != self.0.replace(':', "").to_lowercase() {
            return Err(Distrust::ApplicationVerificationFailure.into());
        }
        Compared::roots(own).verify_server_cert(own, others, name, ocsp, now)
    }

    fn verify_tls12_signature(
        &self,
        message: &[u8],
        own: &CertificateDer<'_>,
        signed: &DigitallySignedStruct,
    ) -> Result<HandshakeSignatureValid, Error> {
        Compared::roots(own).verify_tls12_signature(message, own, signed)
    }

    fn verify_tls13_signature(
        &self,
        message: &[u8],
        own: &CertificateDer<'_>,
        signed: &DigitallySignedStruct,
    ) -> Result<HandshakeSignatureValid, Error> {
        Compared::roots(own).verify_tls13_signature(message, own, signed)
    }

    fn supported_verify_schemes(&self) -> Vec<SignatureScheme> {
        provider().signature_verification_algorithms.supported_schemes()
    }
}

/// A page under TLS until it is dropped.
struct Secured {
    at: SocketAddr,
    link: String,
    closer: Closer,
    client: Arc<ClientConfig>,
    thread: Option<JoinHandle<Result<(), PageError>>>,
}

impl Secured {
    fn with(certificate: TlsCertificate, name: Option<&str>, bounds: Bounds) -> Secured {
        let client = ClientConfig::builder_with_provider(provider());
        let client = client.with_safe_default_protocol_versions().unwrap().dangerous();
        let trust = Compared(certificate.fingerprint().to_string());
        let client = client.with_custom_certificate_verifier(Arc::new(trust));
        let client = Arc::new(client.with_no_client_auth());
        let desk = Arc::new(Desk::new(Scratch::open(sources("tiny", "csv")).unwrap(), 2_000));
        let beyond = Beyond { address: HERE, name: name.map(String::from), certificate };
        let server = Server::beyond(desk, &beyond, 0, bounds).unwrap();
        let (at, link, closer) = (server.at(), server.link().unwrap(), server.closer());
        let thread = Some(std::thread::spawn(move || server.run(false)));
        Secured { at, link, closer, client, thread }
    }

    fn made(bounds: Bounds) -> Secured {
        Secured::with(TlsCertificate::made_for(HERE, None).unwrap(), None, bounds)
    }

    /// Speaks to it under this name, as raw bytes.
    fn talk(&self, name: &str, request: &str) -> Result<Answer, std::io::Error> {
        let stream = TcpStream::connect(self.at).unwrap();
        stream.set_read_timeout(Some(Duration::from_secs(60))).unwrap();
        let name = ServerName::try_from(name.to_string()).unwrap();
        let client = ClientConnection::new(self.client.clone(), name).unwrap();
        let mut stream = StreamOwned::new(client, stream);
        stream.write_all(request.as_bytes())?;
        Ok(answer(&mut stream))
    }

    fn request(&self, method: &str, path: &str, headers: &[(&str, &str)], body: &str) -> Answer {
        let host = self.at.to_string();
        let own = [("Host", host.as_str())];
        let has_host = headers.iter().any(|(name, _)| *name == "Host");
        let headers = own.iter().filter(|_| !has_host).chain(headers);
        let headers: String = headers.map(|(name, value)| format!("{name}: {value}\r\n")).collect();
        let length = body.len();
        let text =
            format!("{method} {path} HTTP/1.1\r\n{headers}Content-Length: {length}\r\n\r\n{body}");
        self.talk("127.0.0.1", &text).expect("it is trusted")
    }
}

impl Drop for Secured {
    fn drop(&mut self) {
        self.closer.close();
        if let Some(thread) = self.thread.take() {
            thread.join().unwrap().unwrap();
        }
    }
}

#[test]
fn a_browser_comes_in_under_tls() {
    let page = Secured::made(Bounds::default());
    let origin = format!("https://{}", page.at);
    let path = page.link.strip_prefix(&origin).expect("no plain HTTP");
    let entered = page.request("GET", path, &[], "");
    assert_eq!(entered.status, 200, "{entered:?}");
    let cookie = entered.head.lines().find_map(|line| line.strip_prefix("set-cookie: ")).unwrap();
    for attribute in ["Secure", "HttpOnly", "SameSite=Strict", "Path=/"] {
        assert!(cookie.split("; ").any(|part| part == attribute), "{attribute}: {cookie}");
    }
    let cookie = ("Cookie", cookie.split(';').next().unwrap());
    assert_eq!(page.request("GET", "/", &[], "").status, 401);
    let board = page.request("GET", "/", &[cookie], "");
    assert!(board.status == 200 && board.body.contains("data-tag=\"A\""), "{board:?}");
    let local = format!("localhost:{}", page.at.port());
    for host in ["evil.test", local.as_str(), "127.0.0.1"] {
        assert_eq!(page.request("GET", "/", &[cookie, ("Host", host)], "").status, 421, "{host}");
    }
    let look = r#"{"do":"look","since":0}"#;
    let json = ("Content-Type", "application/json");
    let plain = format!("http://{}", page.at);
    for (from, status) in
        [(origin.as_str(), 200), (plain.as_str(), 403), ("https://evil.test", 403)]
    {
        let answer = page.request("POST", "/act", &[cookie, json, ("Origin", from)], look);
        assert_eq!(answer.status, status, "{from}");
    }
}

#[test]
fn plain_http_gets_nothing() {
    let page = Secured::made(Bounds::default());
    let mut stream = TcpStream::connect(page.at).unwrap();
    stream.set_read_timeout(Some(Duration::from_secs(60))).unwrap();
    let path = &page.link[page.link.find("/in/").unwrap()..];
    let request = format!("GET {path} HTTP/1.1\r\nHost: {}\r\n\r\n", page.at);
    stream.write_all(request.as_bytes()).unwrap();
    let mut told = Vec::new();
    stream.read_to_end(&mut told).ok();
    // An alert of TLS at most: no status, no page, no cookie; and the code is not spent.
    let told = String::from_utf8_lossy(&told);
    assert!(told.len() < 16 && !told.contains("HTTP"), "{told}");
    assert_eq!(page.request("GET", path, &[], "").status, 200);
}

#[test]
fn a_handshake_that_stalls_is_cut_off() {
    let page = Secured::made(Bounds { head: Duration::from_millis(200), ..Bounds::default() });
    for first in [&b""[..], &[0x16, 0x03, 0x01, 0x02, 0x00, 0x01]] {
        let mut half = TcpStream::connect(page.at).unwrap();
        half.set_read_timeout(Some(Duration::from_secs(60))).unwrap();
        half.write_all(first).unwrap();
        let mut rest = Vec::new();
        // The other side ends it; how soon is not asked.
        half.read_to_end(&mut rest).unwrap();
        assert_eq!(rest, b"");
    }
}

#[test]
fn a_certificate_that_is_given_is_served() {
    let made = rcgen::generate_simple_self_signed(["planner.test".to_string()]).unwrap();
    let other = rcgen::generate_simple_self_signed(["planner.test".to_string()]).unwrap();
    let [pem, key] = [made.cert.pem(), made.signing_key.serialize_pem()];
    let of = |pem: &str, key: &str| TlsCertificate::of_pem(pem.as_bytes(), key.as_bytes());
    let other = other.signing_key.serialize_pem();
    assert_eq!(of(&pem, &other).err(), Some(CertificateError::OtherKey));
    assert_eq!(of(&key, &key).err(), Some(CertificateError::NoCertificate));
    assert_eq!(of(&pem, &pem).err(), Some(CertificateError::NoKey));
    let certificate = of(&pem, &key).unwrap();
    let plain = sha256(made.cert.der());
    assert_eq!(certificate.fingerprint().replace(':', "").to_lowercase(), plain);
    let page = Secured::with(certificate, Some("planner.test"), Bounds::default());
    let home = format!("planner.test:{}", page.at.port());
    let path = page.link.strip_prefix(&format!("https://{home}")).expect("by its name");
    let request = format!("GET {path} HTTP/1.1\r\nHost: {home}\r\n\r\n");
    assert_eq!(page.talk("planner.test", &request).unwrap().status, 200);
    // The certificate is not one for the address.
    assert!(page.talk("127.0.0.1", &request).is_err());
}

#[test]
fn one_that_is_made_names_address_and_name_and_is_new_each_time() {
    let made = || TlsCertificate::made_for(HERE, Some("planner.test")).unwrap();
    assert_ne!(made().fingerprint(), made().fingerprint());
    let page = Secured::with(made(), Some("planner.test"), Bounds::default());
    for (name, home) in [
        ("127.0.0.1", page.at.to_string()),
        ("planner.test", format!("planner.test:{}", page.at.port())),
    ] {
        let request = format!("GET / HTTP/1.1\r\nHost: {home}\r\n\r\n");
        assert_eq!(page.talk(name, &request).unwrap().status, 401, "{name}");
    }
    let request = format!("GET / HTTP/1.1\r\nHost: {}\r\n\r\n", page.at);
    assert!(page.talk("other.test", &request).is_err());
}

#[test]
fn an_address_of_another_computer_is_refused() {
    let desk = Arc::new(Desk::new(Scratch::open(sources("tiny", "csv")).unwrap(), 2_000));
    // Set aside for documents (RFC 5737).
    let address = IpAddr::from([203, 0, 113, 7]);
    let certificate = TlsCertificate::made_for(address, None).unwrap();
    let beyond = Beyond { address, name: None, certificate };
    let refused = Server::beyond(desk, &beyond, 0, Bounds::default());
    assert!(matches!(refused.err(), Some(PageError::Elsewhere(there)) if there == address));
}
