//! Requests by raw bytes, and a page served by the library.

use std::io::{Read, Write};
use std::net::{SocketAddr, TcpStream};
use std::sync::Arc;
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

use gapwright::page::{Bounds, Closer, Desk, PageError, Server, Subject};
use gapwright::scratch::Scratch;

/// An answer as it came.
#[derive(Debug)]
pub struct Answer {
    pub status: u16,
    pub head: String,
    pub body: String,
}

/// Sends bytes and reads until the other side closes or the body is whole.
pub fn talk(to: SocketAddr, bytes: &[u8]) -> Answer {
    let mut stream = TcpStream::connect(to).expect("somebody listens");
    stream.set_read_timeout(Some(Duration::from_secs(60))).unwrap();
    // A server that refuses early may close before all is sent.
    stream.write_all(bytes).ok();
    answer(&mut stream)
}

/// Reads an answer.
pub fn answer(stream: &mut impl Read) -> Answer {
    let (mut all, mut part) = (Vec::new(), [0; 65_536]);
    loop {
        let text = String::from_utf8_lossy(&all).into_owned();
        if let Some((head, body)) = text.split_once("\r\n\r\n") {
            let length = head.lines().find_map(|line| {
                let (name, value) = line.split_once(':')?;
                name.eq_ignore_ascii_case("content-length").then(|| value.trim().parse::<usize>())
            });
            if length.is_some_and(|length| length.is_ok_and(|length| body.len() >= length)) {
                break;
            }
        }
        match stream.read(&mut part) {
            Ok(0) | Err(_) => break,
            Ok(count) => all.extend_from_slice(&part[..count]),
        }
    }
    let text = String::from_utf8_lossy(&all).into_owned();
    let (head, body) = text.split_once("\r\n\r\n").unwrap_or((&text, ""));
    let status = head.split(' ').nth(1).and_then(|status| status.parse().ok()).unwrap_or(0);
    Answer { status, head: head.to_string(), body: body.to_string() }
}

/// A page of workbooks that is served until it is dropped.
pub struct Served {
    pub desk: Arc<Desk>,
    site: Site,
}

impl std::ops::Deref for Served {
    type Target = Site;

    fn deref(&self) -> &Site {
        &self.site
    }
}

/// A page that is served until it is dropped.
pub struct Site {
    pub at: SocketAddr,
    pub link: String,
    /// A second address for a second window.
    second: String,
    closer: Closer,
    thread: Option<JoinHandle<Result<(), PageError>>>,
}

impl Served {
    pub fn of(scratch: Scratch, bounds: Bounds) -> Served {
        let desk = Arc::new(Desk::new(scratch, 2_000));
        Served { site: Site::of(desk.clone(), bounds), desk }
    }

    /// Waits until the values at hand are planned, as `kit` plans them.
    pub fn planned(&self) {
        let began = Instant::now();
        while !self.desk.is_settled() {
            assert!(began.elapsed() < Duration::from_secs(120), "it is never planned");
            std::thread::sleep(Duration::from_millis(10));
        }
    }

    pub fn close(self) -> Result<(), PageError> {
        self.site.close()
    }
}

impl Site {
    pub fn of(subject: impl Into<Subject>, bounds: Bounds) -> Site {
        let server = Server::bind(subject, 0, bounds).expect("a free port");
        let [link, second] = [(), ()].map(|()| server.link().unwrap());
        let (at, closer) = (server.at(), server.closer());
        let thread = Some(std::thread::spawn(move || server.run(false)));
        Site { at, link, second, closer, thread }
    }

    pub fn second_link(&self) -> String {
        self.second.clone()
    }

    pub fn origin(&self) -> String {
        format!("http://{}", self.at)
    }

    /// Goes in by the link, and gives the cookie.
    pub fn enter(&self) -> String {
        let path = self.link.strip_prefix(&self.origin()).unwrap();
        let answer = talk(self.at, self.get(path, &[]).as_bytes());
        assert_eq!(answer.status, 200, "{answer:?}");
        let line = answer.head.lines().find(|line| line.to_lowercase().starts_with("set-cookie:"));
        let cookie = line.expect("a cookie").split_once(':').unwrap().1;
        cookie.split(';').next().unwrap().trim().to_string()
    }

    /// A request for a path with these headers.
    pub fn get(&self, path: &str, headers: &[(&str, &str)]) -> String {
        self.request("GET", path, headers, "")
    }

    pub fn request(
        &self,
        method: &str,
        path: &str,
        headers: &[(&str, &str)],
        body: &str,
    ) -> String {
        let mut text = format!("{method} {path} HTTP/1.1\r\n");
        if !headers.iter().any(|(name, _)| *name == "Host") {
            text += &format!("Host: {}\r\n", self.at);
        }
        for (name, value) in headers {
            text += &format!("{name}: {value}\r\n");
        }
        if method == "POST" && !headers.iter().any(|(name, _)| *name == "Content-Length") {
            text += &format!("Content-Length: {}\r\n", body.len());
        }
        format!("{text}\r\n{body}")
    }

    /// A change as the page itself asks for it.
    pub fn act(&self, cookie: &str, body: &str) -> Answer {
        let origin = self.origin();
        let headers = [
            ("Cookie", cookie),
            ("Origin", origin.as_str()),
            ("Sec-Fetch-Site", "same-origin"),
            ("Content-Type", "application/json"),
        ];
        talk(self.at, self.request("POST", "/act", &headers, body).as_bytes())
    }

    /// Closes, and gives the end of the server.
    pub fn close(mut self) -> Result<(), PageError> {
        self.closer.close();
        self.thread.take().unwrap().join().expect("the server does not panic")
    }
}

impl Drop for Site {
    fn drop(&mut self) {
        self.closer.close();
    }
}
