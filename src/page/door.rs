//! Who may speak to the page: the right host, a page of its own, somebody who came in with a code that is good once. And
//! the headers that every answer carries.
//!
//! Loopback is shared: links stand in lists of processes, and cookies know no ports, so that another server on this
//! computer is sent ours and counts as the same site. Hence the code, the port in the cookie's name, and the look at
//! Host, Origin and Sec-Fetch-Site of every request.

use std::collections::{HashMap, HashSet};
use std::net::SocketAddr;
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

use axum::http::{HeaderMap, HeaderValue, Method, Request, StatusCode, header};

use super::server::{Bounds, PageError};
use crate::digest::sha256;

/// Policy for all that a page loads: files of this server alone, no script or style within a text.
const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; \
     connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'";

/// Headers of every answer.
const HEADERS: [(&str, &str); 7] = [
    ("content-security-policy", POLICY),
    ("x-content-type-options", "nosniff"),
    ("x-frame-options", "DENY"),
    // Under `no-referrer` browsers send `Origin: null` with the forms of the page itself.
    ("referrer-policy", "same-origin"),
    ("cross-origin-opener-policy", "same-origin"),
    ("cross-origin-resource-policy", "same-origin"),
    ("permissions-policy", "camera=(), microphone=(), geolocation=()"),
];

/// Names of the server, codes that are good, and windows that came in.
pub(super) struct Door {
    /// Hosts as browsers say them, each with its origin; the first one is in links.
    homes: Vec<[String; 2]>,
    cookie: String,
    /// Attributes of a cookie, after its token.
    attributes: String,
    good_for: Duration,
    /// Hashes of codes, and until when each is good.
    codes: Mutex<HashMap<String, Instant>>,
    /// Hashes of the cookies given.
    windows: Mutex<HashSet<String>>,
    /// Wrong codes since a time.
    guesses: Mutex<(Instant, u32)>,
    most_guesses: u32,
}

/// Ways in that a code can open.
pub(super) enum Entry {
    /// Let in, with this cookie to set.
    Good(String),
    /// A code that is spent, too old or wrong.
    Spent,
    /// Too many wrong codes of late.
    TooMany,
}

/// Scheme of the addresses.
pub(super) enum Scheme {
    /// Plain, on this computer alone.
    Http,
    /// Under TLS, with the name of the address, if it has one.
    Https(Option<String>),
}

/// Time in which wrong codes are counted together.
const GUESSING: Duration = Duration::from_secs(60);
/// How long a cookie is kept by the browser, in seconds.
const STAY: u32 = 43_200;

fn held<T>(lock: &Mutex<T>) -> MutexGuard<'_, T> {
    lock.lock().unwrap_or_else(PoisonError::into_inner)
}

/// 128 random bits of the operating system, in hexadecimal.
pub(super) fn secret() -> Result<String, PageError> {
    let mut bytes = [0_u8; 16];
    getrandom::fill(&mut bytes).map_err(|error| PageError::Random(error.to_string()))?;
    Ok(bytes.iter().map(|byte| format!("{byte:02x}")).collect())
}

impl Door {
    pub(super) fn new(at: SocketAddr, scheme: Scheme, bounds: &Bounds) -> Door {
        let named = |name: String| format!("{name}:{}", at.port());
        let (scheme, hosts, secure, usual) = match scheme {
            Scheme::Http => ("http", vec![at.to_string(), named("localhost".into())], "", 80),
            Scheme::Https(name) => {
                let hosts = name.map(named).into_iter().chain([at.to_string()]);
                ("https", hosts.collect(), "; Secure", 443)
            }
        };
        // Browsers leave the port of the scheme out.
        let short = |host: String| match host.strip_suffix(&format!(":{usual}")) {
            Some(short) => short.to_string(),
            None => host,
        };
        let hosts = hosts.into_iter().map(short);
        Door {
            homes: hosts.map(|host| [host.clone(), format!("{scheme}://{host}")]).collect(),
            attributes: format!("; HttpOnly; SameSite=Strict{secure}; Path=/; Max-Age={STAY}"),
            // Two pages on one computer would throw each other out.
            cookie: format!("gapwright-{}", at.port()),
            good_for: bounds.code_good,
            codes: Mutex::default(),
            windows: Mutex::default(),
            guesses: Mutex::new((Instant::now(), 0)),
            most_guesses: bounds.wrong_codes,
        }
    }

    /// Attributes of every cookie.
    pub(super) fn attributes(&self) -> &str {
        &self.attributes
    }

    /// Address with a new code.
    pub(super) fn link(&self) -> Result<String, PageError> {
        let origin = self.homes.first().map(|[_, origin]| origin.as_str()).unwrap_or_default();
        Ok(format!("{origin}/in/{}", self.invite()?))
    }

    /// A new code.
    fn invite(&self) -> Result<String, PageError> {
        let code = secret()?;
        let mut codes = held(&self.codes);
        codes.retain(|_, until| *until > Instant::now());
        codes.insert(sha256(code.as_bytes()), Instant::now() + self.good_for);
        Ok(code)
    }

    /// Spends a code.
    pub(super) fn enter(&self, code: &str) -> Result<Entry, PageError> {
        // Looked up by its hash, so that the time taken tells nothing of it.
        let until = held(&self.codes).remove(&sha256(code.as_bytes()));
        if until.is_some_and(|until| until > Instant::now()) {
            let token = secret()?;
            held(&self.windows).insert(sha256(token.as_bytes()));
            return Ok(Entry::Good(format!("{}={token}{}", self.cookie, self.attributes)));
        }
        let mut guesses = held(&self.guesses);
        if guesses.0.elapsed() > GUESSING {
            *guesses = (Instant::now(), 0);
        }
        guesses.1 = guesses.1.saturating_add(1);
        Ok(if guesses.1 > self.most_guesses { Entry::TooMany } else { Entry::Spent })
    }

    fn knows(&self, headers: &HeaderMap) -> bool {
        let sent = headers.get_all(header::COOKIE).iter().filter_map(|value| value.to_str().ok());
        let pairs =
            sent.flat_map(|line| line.split(';')).filter_map(|pair| pair.trim().split_once('='));
        let windows = held(&self.windows);
        let mut own = pairs.filter(|(name, _)| *name == self.cookie);
        own.any(|(_, token)| windows.contains(&sha256(token.as_bytes())))
    }

    /// Lets a request pass, or says with which status and words it is refused.
    pub(super) fn check<B>(&self, request: &Request<B>) -> Result<(), (StatusCode, &'static str)> {
        let headers = request.headers();
        let text = |name: &str| headers.get(name).and_then(|value| value.to_str().ok());
        let host = request.uri().authority().map(|authority| authority.as_str());
        let host = host.or_else(|| text("host"));
        // A name that was turned round to this computer.
        let Some([_, own]) = host.and_then(|host| self.homes.iter().find(|[home, _]| home == host))
        else {
            let words = "This server does not answer to that name.";
            return Err((StatusCode::MISDIRECTED_REQUEST, words));
        };
        let path = request.uri().path();
        let safe = matches!(*request.method(), Method::GET | Method::HEAD);
        let entrance = path == "/" || path.starts_with("/in/");
        let visits = entrance && text("sec-fetch-mode") == Some("navigate");
        let ours = match (text("sec-fetch-site"), text("origin")) {
            (_, Some(origin)) => origin == own,
            (Some("same-origin"), None) => true,
            (Some("none"), None) => safe,
            (Some(_), None) => safe && visits,
            // No browser of today: it may read what its cookie lets it read.
            (None, None) => safe && !headers.contains_key("origin"),
        };
        if !ours {
            return Err((StatusCode::FORBIDDEN, "This request comes from another page."));
        }
        if !path.starts_with("/a/") && !path.starts_with("/in/") && !self.knows(headers) {
            let words = "Open the address that gapwright printed. It is good once, for ten minutes; a browser that is in can let this one in, and gapwright started again gives a new one.";
            return Err((StatusCode::UNAUTHORIZED, words));
        }
        Ok(())
    }
}

/// Puts the headers that every answer carries.
pub(super) fn dress(headers: &mut HeaderMap) {
    for (name, value) in HEADERS {
        // The bench has a policy of its own, for the camera, and so has what is printed, for its style.
        headers.entry(name).or_insert(HeaderValue::from_static(value));
    }
    headers.entry(header::CACHE_CONTROL).or_insert(HeaderValue::from_static("no-store"));
}
