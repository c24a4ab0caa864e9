//! Who is let in, and what the server bears: by raw bytes.

use std::io::{Read, Write};
use std::net::TcpStream;
use std::time::{Duration, Instant};

use gapwright::page::Bounds;
use gapwright::scratch::Scratch;

use crate::raw::{Served, answer, talk};
use crate::scratch::{sources, written};

fn served() -> Served {
    let scratch = Scratch::open(sources("tiny", "csv")).unwrap();
    Served::of(scratch, Bounds::default())
}

/// Bounds with a short time for heads and bodies.
fn short() -> Bounds {
    let short = Duration::from_millis(200);
    Bounds { head: short, answer: short, ..Bounds::default() }
}

fn with(bounds: Bounds) -> Served {
    Served::of(Scratch::open(sources("tiny", "csv")).unwrap(), bounds)
}

const LOOK: &str = r#"{"do":"look","since":0}"#;

#[test]
fn a_code_lets_one_browser_in() {
    let served = served();
    let cookie = served.enter();
    let board = talk(served.at, served.get("/", &[("Cookie", &cookie)]).as_bytes());
    assert_eq!(board.status, 200);
    assert!(board.body.contains("data-tag=\"A\""), "{}", board.body);
    let path = served.link.strip_prefix(&served.origin()).unwrap();
    let again = talk(served.at, served.get(path, &[]).as_bytes());
    assert_eq!(again.status, 410, "{again:?}");
    assert!(!again.head.to_lowercase().contains("set-cookie"));
    served.close().unwrap();
}

#[test]
fn a_browser_that_is_in_lets_another_one_in() {
    let served = served();
    let invite = |cookie: &str, origin: &str| {
        let headers = [("Cookie", cookie), ("Origin", origin)];
        talk(served.at, served.request("POST", "/invite", &headers, "").as_bytes())
    };
    let own = served.origin();
    assert_eq!(invite("", &own).status, 401);
    let cookie = served.enter();
    assert_eq!(invite(&cookie, "http://evil.test").status, 403);
    let page = invite(&cookie, &own);
    assert_eq!(page.status, 200);
    let start = page.body.find("/in/").unwrap();
    let path = page.body[start..].split('<').next().unwrap();
    let entered = |path: &str| talk(served.at, served.get(path, &[]).as_bytes()).status;
    assert_eq!([entered(path), entered(path)], [200, 410], "once");
}

#[test]
fn a_browser_that_looks_ahead_does_not_spend_the_code() {
    let served = served();
    let path = served.link.strip_prefix(&served.origin()).unwrap();
    let ahead = talk(served.at, served.get(path, &[("Sec-Purpose", "prefetch")]).as_bytes());
    assert_eq!(ahead.status, 204);
    served.enter();
}

#[test]
fn a_code_ends_with_its_time() {
    let served = with(Bounds { code_good: Duration::ZERO, ..Bounds::default() });
    let path = served.link.strip_prefix(&served.origin()).unwrap();
    assert_eq!(talk(served.at, served.get(path, &[]).as_bytes()).status, 410);
}

#[test]
fn guessed_codes_are_few() {
    let served = with(Bounds { wrong_codes: 3, ..Bounds::default() });
    let guess = |n: u32| talk(served.at, served.get(&format!("/in/{n:032x}"), &[]).as_bytes());
    let told: Vec<u16> = (0..5).map(|n| guess(n).status).collect();
    assert_eq!(told, [410, 410, 410, 429, 429]);
    // Nobody can lock the owner out by guessing.
    served.enter();
}

#[test]
fn without_its_cookie_every_request_is_refused() {
    let served = served();
    let origin = served.origin();
    let other = format!("gapwright-{}=0123456789abcdef0123456789abcdef", served.at.port());
    for path in ["/", "/drawers", "/pump/2", "/drawing/0", "/events", "/nothing"] {
        for headers in [&[][..], &[("Cookie", other.as_str())][..]] {
            let answer = talk(served.at, served.get(path, headers).as_bytes());
            assert_eq!(answer.status, 401, "{path}");
            assert!(!answer.body.contains("screwed"), "{}", answer.body);
        }
    }
    let headers = [("Origin", origin.as_str()), ("Content-Type", "application/json")];
    let answer = talk(served.at, served.request("POST", "/act", &headers, LOOK).as_bytes());
    assert_eq!(answer.status, 401);
}

#[test]
fn other_names_and_other_pages_are_refused() {
    let served = served();
    let cookie = served.enter();
    let own = served.origin();
    let cookie = ("Cookie", cookie.as_str());
    for host in ["evil.test", "evil.test:80", "localhost", "127.0.0.1", ""] {
        let answer = talk(served.at, served.get("/", &[cookie, ("Host", host)]).as_bytes());
        assert_eq!(answer.status, 421, "{host}");
    }
    let local = format!("localhost:{}", served.at.port());
    assert_eq!(
        talk(served.at, served.get("/", &[cookie, ("Host", &local)]).as_bytes()).status,
        200
    );
    let json = ("Content-Type", "application/json");
    let post = |headers: &[(&str, &str)]| {
        let all: Vec<_> = [cookie, json].into_iter().chain(headers.iter().copied()).collect();
        talk(served.at, served.request("POST", "/act", &all, LOOK).as_bytes()).status
    };
    // Another port of this computer counts as the same site for cookies.
    let neighbour = "http://127.0.0.1:1";
    assert_eq!(post(&[("Origin", neighbour), ("Sec-Fetch-Site", "same-site")]), 403);
    assert_eq!(post(&[("Origin", "null"), ("Sec-Fetch-Site", "cross-site")]), 403);
    assert_eq!(post(&[("Sec-Fetch-Site", "cross-site")]), 403);
    assert_eq!(post(&[("Sec-Fetch-Site", "none")]), 403);
    assert_eq!(post(&[]), 403);
    assert_eq!(post(&[("Origin", &own)]), 200);
    let get = |path: &str, headers: &[(&str, &str)]| {
        let all: Vec<_> = [cookie].into_iter().chain(headers.iter().copied()).collect();
        talk(served.at, served.get(path, &all).as_bytes()).status
    };
    assert_eq!(
        get("/drawers", &[("Sec-Fetch-Site", "cross-site"), ("Sec-Fetch-Mode", "no-cors")]),
        403
    );
    assert_eq!(get("/", &[("Sec-Fetch-Site", "cross-site"), ("Sec-Fetch-Mode", "no-cors")]), 403);
    // A link in a mail program that is a web page.
    assert_eq!(get("/", &[("Sec-Fetch-Site", "cross-site"), ("Sec-Fetch-Mode", "navigate")]), 200);
    // Only JSON changes anything: a form of another page cannot send it.
    let form = [cookie, ("Origin", own.as_str()), ("Content-Type", "text/plain")];
    assert_eq!(talk(served.at, served.request("POST", "/act", &form, LOOK).as_bytes()).status, 415);
}

#[test]
fn every_answer_carries_the_headers() {
    let served = served();
    let cookie = served.enter();
    let css = {
        let board = talk(served.at, served.get("/", &[("Cookie", &cookie)]).as_bytes()).body;
        let start = board.find("/a/").unwrap();
        board[start..].split('"').next().unwrap().to_string()
    };
    for (path, cookie) in
        [("/", ""), ("/", cookie.as_str()), ("/none", cookie.as_str()), (&css, "")]
    {
        let answer = talk(served.at, served.get(path, &[("Cookie", cookie)]).as_bytes());
        let head = answer.head.to_lowercase();
        for wanted in [
            "content-security-policy: default-src 'none'; script-src 'self'; style-src 'self'",
            "x-content-type-options: nosniff",
            "x-frame-options: deny",
            "referrer-policy: same-origin",
            "cross-origin-opener-policy: same-origin",
            "cross-origin-resource-policy: same-origin",
            "permissions-policy: camera=()",
            "cache-control: ",
        ] {
            assert!(head.contains(wanted), "{path}: {wanted} in {head}");
        }
        assert!(!head.contains("unsafe"));
        assert_eq!(head.contains("no-store"), !path.starts_with("/a/"));
        assert!(!answer.body.contains("style=") && !answer.body.contains("onclick"));
    }
}

#[test]
fn cookies_are_for_this_port_and_not_for_scripts() {
    let served = served();
    let path = served.link.strip_prefix(&served.origin()).unwrap();
    let head = talk(served.at, served.get(path, &[]).as_bytes()).head;
    let line = head.lines().find(|line| line.starts_with("set-cookie")).unwrap();
    assert!(line.contains(&format!("gapwright-{}=", served.at.port())), "{line}");
    assert!(line.contains("HttpOnly") && line.contains("SameSite=Strict"), "{line}");
}

#[test]
fn what_is_too_large_is_refused() {
    let served = with(Bounds { body: 10_000, ..Bounds::default() });
    let cookie = served.enter();
    let large = format!(r#"{{"do":"look","since":0,"edits":[],"x":"{}"}}"#, "x".repeat(20_000));
    assert_eq!(served.act(&cookie, &large).status, 413);
    // One that only says that it is large.
    let origin = served.origin();
    let headers = [
        ("Cookie", cookie.as_str()),
        ("Origin", origin.as_str()),
        ("Content-Type", "application/json"),
        ("Content-Length", "300000000"),
    ];
    assert_eq!(
        talk(served.at, served.request("POST", "/act", &headers, "").as_bytes()).status,
        413
    );
    let head = "y".repeat(200_000);
    let answer = talk(served.at, served.get("/", &[("X-Long", &head)]).as_bytes());
    assert_eq!(answer.status, 431);
    let names: Vec<String> = (0..200).map(|n| format!("X-{n}")).collect();
    let many: Vec<(&str, &str)> = names.iter().map(|name| (name.as_str(), "1")).collect();
    assert_eq!(talk(served.at, served.get("/", &many).as_bytes()).status, 431);
    assert_eq!(served.act(&cookie, LOOK).status, 200);
}

#[test]
fn half_a_head_and_half_a_body_are_cut_off() {
    let served = with(short());
    let cookie = served.enter();
    let mut half = TcpStream::connect(served.at).unwrap();
    half.set_read_timeout(Some(Duration::from_secs(60))).unwrap();
    half.write_all(b"GET / HTTP/1.1\r\nHost: 127").unwrap();
    let mut rest = Vec::new();
    // The other side ends it; how soon is not asked.
    half.read_to_end(&mut rest).unwrap();
    let origin = served.origin();
    let headers = [
        ("Cookie", cookie.as_str()),
        ("Origin", origin.as_str()),
        ("Content-Type", "application/json"),
        ("Content-Length", "5000"),
    ];
    let mut half = TcpStream::connect(served.at).unwrap();
    half.set_read_timeout(Some(Duration::from_secs(60))).unwrap();
    half.write_all(served.request("POST", "/act", &headers, "{\"do\":").as_bytes()).unwrap();
    assert_eq!(answer(&mut half).status, 408);
}

#[test]
fn one_peer_has_so_many_seats() {
    let served = with(Bounds { seats_each: 3, ..Bounds::default() });
    let cookie = served.enter();
    let get = served.get("/drawers", &[("Cookie", &cookie)]);
    // Each is heard before the next: all three sit.
    let sitting: Vec<TcpStream> = (0..3)
        .map(|_| {
            // The seat of the request before may not be free yet.
            let began = Instant::now();
            loop {
                let mut stream = TcpStream::connect(served.at).unwrap();
                stream.set_read_timeout(Some(Duration::from_secs(60))).unwrap();
                stream.write_all(get.as_bytes()).unwrap();
                if answer(&mut stream).status == 200 {
                    break stream;
                }
                assert!(began.elapsed() < Duration::from_secs(60));
            }
        })
        .collect();
    let mut fourth = TcpStream::connect(served.at).unwrap();
    fourth.set_read_timeout(Some(Duration::from_secs(60))).unwrap();
    fourth.write_all(get.as_bytes()).ok();
    assert_eq!(answer(&mut fourth).status, 0, "closed without an answer");
    drop(sitting);
    let began = Instant::now();
    while talk(served.at, get.as_bytes()).status != 200 {
        assert!(began.elapsed() < Duration::from_secs(60), "seats are given back");
        std::thread::sleep(Duration::from_millis(10));
    }
}

#[test]
fn closing_does_not_wait_for_windows_that_listen() {
    let served = served();
    let cookie = served.enter();
    let mut listening = TcpStream::connect(served.at).unwrap();
    listening.set_read_timeout(Some(Duration::from_secs(60))).unwrap();
    listening.write_all(served.get("/events", &[("Cookie", &cookie)]).as_bytes()).unwrap();
    let mut head = [0; 512];
    let count = listening.read(&mut head).unwrap();
    assert!(String::from_utf8_lossy(&head[..count]).contains("text/event-stream"));
    let at = served.at;
    served.close().unwrap();
    let mut rest = Vec::new();
    listening.read_to_end(&mut rest).unwrap();
    assert!(TcpStream::connect(at).is_err(), "the port is free");
}

#[test]
fn nobody_beyond_this_computer_is_listened_to() {
    assert!(served().at.ip().is_loopback());
}

#[test]
fn text_of_a_workbook_is_text_and_no_path_is_shown() {
    let folder = tempfile::tempdir().unwrap();
    let nasty = "\"<script>alert(1)</script>'& onload=x\"";
    let sources =
        written(folder.path(), "A,screwed-impeller,1", &format!("{nasty},screwed-impeller,1"));
    let served = Served::of(Scratch::open(sources).unwrap(), Bounds::default());
    served.planned();
    let cookie = served.enter();
    let row = served
        .desk
        .look(|scratch| scratch.job().pumps.iter().find(|p| p.tag.len() > 1).unwrap().row);
    let tag = "<script>alert(1)</script>'& onload=x";
    let body = serde_json::json!({ "do": "edit", "since": 0, "edits": [
        { "tag": tag, "key": "bareclearance", "was": "0.041", "now": "<img src=x onerror=alert(2)>" },
        { "tag": tag, "key": "snapring", "was": "0.050", "now": "javascript:alert(3)" },
    ] });
    let edited = served.act(&cookie, &body.to_string());
    assert_eq!(edited.status, 200);
    let told: serde_json::Value = serde_json::from_str(&edited.body).unwrap();
    let parts: String =
        told["parts"].as_array().unwrap().iter().map(|part| part[1].as_str().unwrap()).collect();
    let pages = ["/".to_string(), "/drawers".into(), format!("/pump/{row}")].map(|path| {
        let answer = talk(served.at, served.get(&path, &[("Cookie", &cookie)]).as_bytes());
        assert_eq!(answer.status, 200, "{path}");
        answer.body
    });
    for text in pages.iter().chain([&parts]) {
        assert!(!text.contains("<script>alert") && !text.contains("<img src=x"), "{text}");
        assert!(!text.contains(folder.path().to_str().unwrap()), "{text}");
        assert!(!text.contains(env!("CARGO_MANIFEST_DIR")), "{text}");
    }
    assert!(pages[0].contains("&lt;script&gt;alert(1)&lt;/script&gt;"));
    assert!(parts.contains("&lt;img src=x onerror=alert(2)&gt;"));
}

/// A page with these headers as bytes: its head, and its body as it came.
fn bytes(served: &Served, path: &str, headers: &[(&str, &str)]) -> (String, Vec<u8>) {
    let all: Vec<_> = headers.iter().copied().chain([("Connection", "close")]).collect();
    let mut stream = TcpStream::connect(served.at).unwrap();
    stream.set_read_timeout(Some(Duration::from_secs(60))).unwrap();
    stream.write_all(served.get(path, &all).as_bytes()).unwrap();
    let mut answer = Vec::new();
    stream.read_to_end(&mut answer).unwrap();
    let end = answer.windows(4).position(|part| part == b"\r\n\r\n").unwrap();
    (String::from_utf8_lossy(&answer[..end]).to_lowercase(), answer[end + 4..].to_vec())
}

#[test]
fn answers_are_packed_for_browsers_that_take_them() {
    let served = Served::of(Scratch::open(sources("outage", "xlsx")).unwrap(), Bounds::default());
    served.planned();
    let cookie = served.enter();
    let board = bytes(&served, "/", &[("Cookie", &cookie)]).1;
    let board = String::from_utf8(board).unwrap();
    let files = ["page.css", "grid.js"].map(|name| {
        let end = board.find(name).unwrap();
        let start = board[..end].rfind("/a/").unwrap();
        format!("{}{name}", &board[start..end])
    });
    for path in ["/".to_string(), "/drawers".into()].iter().chain(&files) {
        // Parts of the plan may still be worked out: both are of one state of the page.
        let gzip = [("Cookie", cookie.as_str()), ("Accept-Encoding", "gzip, deflate, br")];
        let (plain, packed) = loop {
            let plain = bytes(&served, path, &[("Cookie", &cookie)]);
            let packed = bytes(&served, path, &gzip);
            if bytes(&served, path, &[("Cookie", &cookie)]).1 == plain.1 {
                break (plain, packed);
            }
        };
        assert!(!plain.0.contains("content-encoding"), "{path}");
        assert!(packed.0.contains("content-encoding: gzip"), "{path}: {}", packed.0);
        assert!(packed.0.contains("vary: accept-encoding"), "{path}: {}", packed.0);
        assert!(packed.1.len() * 2 < plain.1.len(), "{path}: {} bytes", packed.1.len());
        let mut whole = Vec::new();
        flate2::read::GzDecoder::new(packed.1.as_slice()).read_to_end(&mut whole).unwrap();
        assert!(whole == plain.1, "{path}: other bytes");
        let none = [("Cookie", cookie.as_str()), ("Accept-Encoding", "gzip;q=0")];
        assert!(!bytes(&served, path, &none).0.contains("content-encoding"), "{path}");
    }
    // A stream is not held back until it ends.
    let mut listening = TcpStream::connect(served.at).unwrap();
    listening.set_read_timeout(Some(Duration::from_secs(60))).unwrap();
    let headers = [("Cookie", cookie.as_str()), ("Accept-Encoding", "gzip")];
    listening.write_all(served.get("/events", &headers).as_bytes()).unwrap();
    let mut head = [0; 1_024];
    let count = listening.read(&mut head).unwrap();
    let head = String::from_utf8_lossy(&head[..count]).to_lowercase();
    assert!(head.contains("text/event-stream") && !head.contains("gzip"), "{head}");
    // A short answer is not worth it.
    let short = bytes(&served, "/nothing", &[("Cookie", &cookie), ("Accept-Encoding", "gzip")]);
    assert!(!short.0.contains("content-encoding"), "{}", short.0);
}
