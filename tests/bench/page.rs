//! One edit of the page, from the typed value to the plan that is checked and rendered, beside a fresh plan of the same
//! workbooks in the same run: `cargo run --release --example page -- 100 300 1000` (pumps).
//!
//! Outages are those of `tests/bench/families.rs`. Each edit changes the measured gap of one pump by 0.0005 in. Medians
//! and the longest are printed, in milliseconds: reading the job again, choosing, checking, rendering all rows. Then the
//! page is served: an edit as a browser sends it until the parts of the new plan are there, over a fresh plan; the whole
//! page made, packed and sent; and the peak memory of all that. Of more than 300 pumps the page alone is measured.
//!
//! | variable | meaning | default |
//! |---|---|---|
//! | `EDITS` | edits of each outage | `10` |
//! | `FAMILY` | family of outages | `tight` |

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::cast_possible_truncation,
    clippy::cast_precision_loss,
    dead_code,
    missing_docs
)]

mod families;
mod generate;
mod irregular;
mod workbooks;

use std::fs;
use std::io::{Read, Write};
use std::net::{SocketAddr, TcpStream};
use std::sync::Arc;
use std::time::{Duration, Instant};

use gapwright::choose::control::Control;
use gapwright::choose::warm::Warm;
use gapwright::choose::{choose, choose_from};
use gapwright::page::{Bounds, Desk, Server};
use gapwright::read::{self, Sources};
use gapwright::scratch::{CellEdit, Scratch, plan_from};
use gapwright::verify::verify;

use families::FAMILIES;
use workbooks::Files;

fn main() {
    let sizes: Vec<usize> = std::env::args().skip(1).map(|size| size.parse().unwrap()).collect();
    let sizes = if sizes.is_empty() { vec![100, 300] } else { sizes };
    let edits: usize = std::env::var("EDITS").map_or(10, |text| text.parse().unwrap());
    let name = std::env::var("FAMILY").unwrap_or("tight".into());
    let family = FAMILIES.iter().find(|family| family.name == name).expect("a family");
    for pumps in sizes {
        let folder = tempfile::tempdir().unwrap();
        let files = Files::within(folder.path());
        files.write(&family.job(pumps, 1)).unwrap();
        let sources = Sources {
            stock: files.stock.clone(),
            pumps: files.pumps.clone(),
            models: Some(files.models.clone()),
            ..Sources::default()
        };
        println!("{name}, {pumps} pumps, {edits} edits: median (longest), ms");
        let fresh = (pumps <= 300).then(|| run(edits, &sources));
        served(edits, &sources, fresh);
    }
}

/// An edit by its parts; gives the time of a fresh plan, in milliseconds.
fn run(edits: usize, sources: &Sources) -> f64 {
    let mut scratch = Scratch::open(sources.clone()).expect("no problems");
    let tags: Vec<String> = scratch.job().pumps.iter().map(|pump| pump.tag.clone()).collect();
    let mut warm = Warm::default();
    let first = plan_from(scratch.job(), &mut warm, &Control::unlimited()).unwrap();
    scratch.take(scratch.revision(), first);
    let mut times: [Vec<Duration>; 4] = Default::default();
    let mut fresh: Vec<Duration> = Vec::new();
    for at in 0..edits {
        let tag = &tags[at * 7 % tags.len()];
        let heading = "bareclearance";
        let was = scratch.cell(tag, heading);
        let number: f64 = was.split(' ').next().unwrap().parse().unwrap();
        let now =
            was.replacen(was.split(' ').next().unwrap(), &format!("{:.5}", number + 0.0005), 1);
        let edit = CellEdit { tag: tag.clone(), heading: heading.into(), was, now };
        let began = Instant::now();
        let refused = scratch.edit(&[edit]);
        assert!(refused.is_empty(), "{refused:?}");
        times[0].push(began.elapsed());
        let began = Instant::now();
        let chosen = choose_from(scratch.job(), &mut warm, &limited()).unwrap();
        times[1].push(began.elapsed());
        let began = Instant::now();
        let planned = verify(scratch.job().clone(), chosen).unwrap();
        times[2].push(began.elapsed());
        assert!(scratch.take(scratch.revision(), planned));

        let began = Instant::now();
        let job = read::job(sources).expect("no problems");
        let chosen = choose(&job, &limited()).unwrap();
        verify(job, chosen).unwrap();
        fresh.push(began.elapsed());
    }
    for _ in 0..edits {
        let copy = Scratch::open(sources.clone()).expect("no problems");
        let mut copy = copy;
        let planned = scratch.planned().unwrap().as_ref().clone();
        copy.take(copy.revision(), planned);
        let began = Instant::now();
        let desk = Desk::new(copy, 2_000);
        times[3].push(began.elapsed());
        drop(desk);
    }
    let names = ["reading again", "choosing", "checking", "rendering all"];
    let mut sum = 0.0;
    for (name, times) in names.iter().zip(&mut times) {
        sum += told(name, times);
    }
    println!("  {:<16} {sum:8.1}", "one edit, sum");
    told("fresh plan", &mut fresh)
}

/// The page as browsers get it, beside the time of a fresh plan.
fn served(edits: usize, sources: &Sources, fresh: Option<f64>) {
    let desk = Arc::new(Desk::new(Scratch::open(sources.clone()).expect("no problems"), 2_000));
    let server = Server::bind(desk.clone(), 0, Bounds::default()).unwrap();
    let (at, link, closer) = (server.at(), server.link().unwrap(), server.closer());
    let thread = std::thread::spawn(move || server.run(false));
    let enter = ask(at, &format!("GET /in/{}", link.rsplit('/').next().unwrap()), "", "");
    let head = String::from_utf8_lossy(&enter).to_lowercase();
    let cookie = head.split("set-cookie: ").nth(1).unwrap().split(';').next().unwrap().to_string();
    let began = Instant::now();
    while !desk.is_planned() {
        assert!(began.elapsed() < Duration::from_secs(600), "it is never planned");
        std::thread::sleep(Duration::from_millis(5));
    }
    // The worth of one more of each item is worked out after it.
    std::thread::sleep(Duration::from_secs(2));
    let _ = fs::write("/proc/self/clear_refs", "5");
    let (mut pages, mut bytes) = (Vec::new(), 0);
    for _ in 0..edits {
        let began = Instant::now();
        bytes = ask(at, "GET /", &cookie, "").len();
        pages.push(began.elapsed());
    }
    told("page, packed", &mut pages);
    println!("  {:<16} {:8.1} kB", "its size", bytes as f64 / 1e3);
    if let Some(fresh) = fresh {
        let tags: Vec<String> =
            desk.look(|scratch| scratch.job().pumps.iter().map(|pump| pump.tag.clone()).collect());
        let mut times = Vec::new();
        for number in 0..edits {
            let tag = &tags[number * 7 % tags.len()];
            let was = desk.look(|scratch| scratch.cell(tag, "bareclearance"));
            let gap: f64 = was.split(' ').next().unwrap().parse().unwrap();
            let now = format!("{:.5}", gap + 0.0005);
            let edit =
                serde_json::json!({ "tag": tag, "key": "bareclearance", "was": was, "now": now });
            let edit = serde_json::json!({ "do": "edit", "since": 0, "edits": [edit] }).to_string();
            let began = Instant::now();
            ask(at, "POST /act", &cookie, &edit);
            while !desk.is_planned() {
                std::thread::sleep(Duration::from_millis(1));
            }
            ask(at, "POST /act", &cookie, r#"{"do":"look","since":0}"#);
            times.push(began.elapsed());
        }
        let edit = told("edit, answered", &mut times);
        println!("  {:<16} {:8.2}", "over a fresh plan", edit / fresh);
    }
    let status = fs::read_to_string("/proc/self/status").unwrap_or_default();
    let peak = status.lines().find_map(|line| line.strip_prefix("VmHWM:"));
    let peak = peak.and_then(|line| line.trim().trim_end_matches(" kB").parse::<f64>().ok());
    println!("  {:<16} {:8.0} MB", "peak memory", peak.unwrap_or(f64::NAN) / 1e3);
    closer.close();
    thread.join().unwrap().unwrap();
}

/// The answer to a request, as bytes.
fn ask(at: SocketAddr, what: &str, cookie: &str, body: &str) -> Vec<u8> {
    let mut stream = TcpStream::connect(at).unwrap();
    let length = body.len();
    let request = format!(
        "{what} HTTP/1.1\r\nHost: {at}\r\nOrigin: http://{at}\r\nCookie: {cookie}\r\nConnection: close\r\n\
         Accept-Encoding: gzip\r\nContent-Type: application/json\r\nContent-Length: {length}\r\n\r\n{body}"
    );
    stream.write_all(request.as_bytes()).unwrap();
    let mut answer = Vec::new();
    stream.read_to_end(&mut answer).unwrap();
    let status = &answer[..answer.len().min(12)];
    assert!(status.ends_with(b" 200"), "{what}: {}", String::from_utf8_lossy(status));
    answer
}

/// Time limit of the page, unless a policy gives another.
fn limited() -> Control<'static> {
    Control::since(Instant::now()).limit(Duration::from_secs(60))
}

fn told(name: &str, times: &mut [Duration]) -> f64 {
    times.sort();
    let ms = |time: Duration| time.as_secs_f64() * 1e3;
    let (median, longest) = (ms(times[times.len() / 2]), ms(times[times.len() - 1]));
    println!("  {name:<16} {median:8.1} ({longest:.1})");
    median
}
