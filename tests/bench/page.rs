//! One edit of the page, from the typed value to the plan that is checked and rendered, beside a fresh plan of the same
//! workbooks in the same run: `cargo run --release --example page -- 100 300` (pumps).
//!
//! Outages are those of `tests/bench/families.rs`. Each edit changes the measured gap of one pump by 0.0005 in. Medians
//! and the longest are printed, in milliseconds: reading the job again, choosing, checking, rendering all rows.
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

use std::time::{Duration, Instant};

use gapwright::choose::control::Control;
use gapwright::choose::warm::Warm;
use gapwright::choose::{choose, choose_from};
use gapwright::page::Desk;
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
        run(&name, pumps, edits, &sources);
    }
}

fn run(family: &str, pumps: usize, edits: usize, sources: &Sources) {
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
    println!("{family}, {pumps} pumps, {edits} edits: median (longest), ms");
    let names = ["reading again", "choosing", "checking", "rendering all"];
    let mut sum = 0.0;
    for (name, times) in names.iter().zip(&mut times) {
        sum += told(name, times);
    }
    println!("  {:<16} {sum:8.1}", "one edit, sum");
    told("fresh plan", &mut fresh);
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
