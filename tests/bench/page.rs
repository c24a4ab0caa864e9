//! One edit of the page, from the typed value to the plan that is checked and rendered, beside a fresh plan of the same
//! workbooks in the same run: `cargo run --release --example page -- 100 300 1000` (pumps).
//!
//! Outages are those of `tests/bench/families.rs`. Each edit changes the measured gap of one pump by 0.0005 in. Medians
//! and the longest are printed, in milliseconds: reading the job again, reaching the goals, checking them, settling the
//! order among equal plans, checking again, rendering all rows; and a fresh plan of the workbooks as they were. Then the
//! page is served with limits of its own: opened, until its first page is there; an edit as a browser sends it, until the
//! parts of an answer are there, over a fresh plan, and until its order is settled; how many of the answers were proven;
//! and the peak memory of all that.
//!
//! | variable | meaning | default |
//! |---|---|---|
//! | `EDITS` | edits of each outage | `10` |
//! | `FAMILY` | family of outages | `tight` |
//! | `LIMIT` | seconds of each plan by its parts and of each fresh plan | `60`, as the page |

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
use gapwright::choose::{choose, draft_from};
use gapwright::page::{Bounds, Desk, Server};
use gapwright::read::{self, Sources};
use gapwright::scratch::{CellEdit, Scratch, plan_from};
use gapwright::verify::{verify, verify_after};

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
        let fresh = run(edits, &sources);
        served(edits, &sources, fresh);
    }
}

/// An edit by its parts; gives the time of a fresh plan, in milliseconds.
fn run(edits: usize, sources: &Sources) -> f64 {
    let mut scratch = Scratch::open(sources.clone()).expect("no problems");
    let tags: Vec<String> = scratch.job().pumps.iter().map(|pump| pump.tag.clone()).collect();
    let mut warm = Warm::default();
    let first = plan_from(scratch.job(), &mut warm, &limited()).unwrap();
    scratch.take(scratch.revision(), first);
    let names = ["reading again", "goals", "checking", "order", "checking again", "rendering all"];
    let mut times: [Vec<Duration>; 6] = Default::default();
    let mut fresh: Vec<Duration> = Vec::new();
    for at in 0..edits {
        let edit = edit(&tags[at * 7 % tags.len()], |tag| scratch.cell(tag, HEADING));
        let (refused, took) = timed(|| scratch.edit(&[edit]));
        assert!(refused.is_empty(), "{refused:?}");
        times[0].push(took);
        let (job, control) = (scratch.job().clone(), limited());
        let (draft, took) = timed(|| draft_from(&job, &mut warm, &control).unwrap());
        times[1].push(took);
        let (first, took) = timed(|| verify(job.clone(), draft.plan(&control)).unwrap());
        times[2].push(took);
        let (settled, took) = timed(|| draft.settled(&control));
        times[3].push(took);
        let (planned, took) = timed(|| verify_after(&first, settled).unwrap());
        times[4].push(took);
        assert!(scratch.take(scratch.revision(), planned));
        let afresh = || {
            let job = read::job(sources).expect("no problems");
            let chosen = choose(&job, &limited()).unwrap();
            verify(job, chosen).unwrap()
        };
        fresh.push(timed(afresh).1);
    }
    for _ in 0..edits {
        let mut copy = Scratch::open(sources.clone()).expect("no problems");
        let planned = scratch.planned().unwrap().as_ref().clone();
        copy.take(copy.revision(), planned);
        times[5].push(timed(|| Desk::new(copy, 2_000)).1);
    }
    for (name, times) in names.iter().zip(&mut times) {
        told(name, times);
    }
    told("fresh plan", &mut fresh)
}

const HEADING: &str = "bareclearance";

/// A gap that is measured again, half a thousandth of an inch more.
fn edit(tag: &str, cell: impl Fn(&str) -> String) -> CellEdit {
    let was = cell(tag);
    let number: f64 = was.split(' ').next().unwrap().parse().unwrap();
    let now = was.replacen(was.split(' ').next().unwrap(), &format!("{:.5}", number + 0.0005), 1);
    CellEdit { tag: tag.into(), heading: HEADING.into(), was, now }
}

fn timed<T>(work: impl FnOnce() -> T) -> (T, Duration) {
    let began = Instant::now();
    let done = work();
    (done, began.elapsed())
}

/// The page as browsers get it, beside the time of a fresh plan.
fn served(edits: usize, sources: &Sources, fresh: f64) {
    let _ = fs::write("/proc/self/clear_refs", "5");
    let began = Instant::now();
    let desk = Arc::new(Desk::new(Scratch::open(sources.clone()).expect("no problems"), 2_000));
    let server = Server::bind(desk.clone(), 0, Bounds::default()).unwrap();
    let (at, link, closer) = (server.at(), server.link().unwrap(), server.closer());
    let thread = std::thread::spawn(move || server.run(false));
    let enter = ask(at, &format!("GET /in/{}", link.rsplit('/').next().unwrap()), "", "");
    let head = String::from_utf8_lossy(&enter).to_lowercase();
    let cookie = head.split("set-cookie: ").nth(1).unwrap().split(';').next().unwrap().to_string();
    let bytes = ask(at, "GET /", &cookie, "").len();
    told("first page", &mut [began.elapsed()]);
    println!("  {:<16} {:8.1} kB", "its size", bytes as f64 / 1e3);
    until(|| desk.is_planned());
    told("first plan", &mut [began.elapsed()]);
    until(|| desk.is_settled());
    // The worth of one more of each item is worked out after it.
    std::thread::sleep(Duration::from_secs(2));
    let mut pages: Vec<Duration> =
        (0..edits).map(|_| timed(|| ask(at, "GET /", &cookie, "")).1).collect();
    told("page, packed", &mut pages);
    let tags: Vec<String> =
        desk.look(|scratch| scratch.job().pumps.iter().map(|pump| pump.tag.clone()).collect());
    let (mut times, mut settled, mut proven) = (Vec::new(), Vec::new(), 0);
    for number in 0..edits {
        let tag = &tags[number * 7 % tags.len()];
        let CellEdit { tag, heading, was, now } =
            edit(tag, |tag| desk.look(|scratch| scratch.cell(tag, HEADING)));
        let edit = serde_json::json!({ "tag": tag, "key": heading, "was": was, "now": now });
        let edit = serde_json::json!({ "do": "edit", "since": 0, "edits": [edit] }).to_string();
        let began = Instant::now();
        ask(at, "POST /act", &cookie, &edit);
        until(|| desk.is_planned());
        ask(at, "POST /act", &cookie, r#"{"do":"look","since":0}"#);
        times.push(began.elapsed());
        proven += usize::from(desk.look(|scratch| scratch.planned().unwrap().proven()));
        until(|| desk.is_settled());
        settled.push(began.elapsed());
    }
    let edit = told("edit, answered", &mut times);
    println!("  {:<16} {:8.2}", "over a fresh plan", edit / fresh);
    println!("  {:<16} {proven:5} of {edits}", "of them proven");
    told("edit, settled", &mut settled);
    let status = fs::read_to_string("/proc/self/status").unwrap_or_default();
    let peak = status.lines().find_map(|line| line.strip_prefix("VmHWM:"));
    let peak = peak.and_then(|line| line.trim().trim_end_matches(" kB").parse::<f64>().ok());
    println!("  {:<16} {:8.0} MB", "peak memory", peak.unwrap_or(f64::NAN) / 1e3);
    closer.close();
    thread.join().unwrap().unwrap();
}

fn until(done: impl Fn() -> bool) {
    let began = Instant::now();
    while !done() {
        assert!(began.elapsed() < Duration::from_secs(600), "it is never planned");
        std::thread::sleep(Duration::from_millis(1));
    }
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

fn limited() -> Control<'static> {
    let seconds = std::env::var("LIMIT").map_or(60, |text| text.parse().unwrap());
    Control::since(Instant::now()).limit(Duration::from_secs(seconds))
}

fn told(name: &str, times: &mut [Duration]) -> f64 {
    times.sort();
    let ms = |time: Duration| time.as_secs_f64() * 1e3;
    let (median, longest) = (ms(times[times.len() / 2]), ms(times[times.len() - 1]));
    println!("  {name:<16} {median:8.1} ({longest:.1})");
    median
}
