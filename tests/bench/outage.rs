//! An outage file with many entries, opened and checked, beside the same ledger kept as a workbook:
//! `cargo run --release --example outage -- 500 20000` (pumps, entries).
//!
//! Opening goes through every entry: hash, rules, stock. The workbook is only read, one row per entry, and nothing of it
//! is checked. Rounds alternate; medians are printed. All figures are invented.
//!
//! | variable | meaning | default |
//! |---|---|---|
//! | `ROUNDS` | rounds | `5` |

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::cast_precision_loss, missing_docs)]

use std::path::Path;
use std::time::Instant;

use gapwright::outage::{
    Booking, Circumstances, Finding, ItemCount, KitPiece, Outage, PlanBooking, PlannedKit, TookOver,
};
use gapwright::outage_file::{Draft, OutageFile};
use gapwright::read::{self, Memory};
use rust_xlsxwriter::Workbook;

fn main() {
    let sizes: Vec<usize> = std::env::args().skip(1).map(|size| size.parse().unwrap()).collect();
    let (pumps, entries) = match sizes[..] {
        [] => (500, 20_000),
        [pumps, entries] => (pumps, entries),
        _ => panic!("how many pumps, and how many entries"),
    };
    let rounds: usize = std::env::var("ROUNDS").map_or(5, |text| text.parse().unwrap());
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("bench.outage");
    let begun = Instant::now();
    let mut file = OutageFile::begin(&path).unwrap();
    file.book(drafts(pumps, entries), &Vec::new()).unwrap();
    println!("{pumps} pumps, {} entries, booked at once in {:.2} s", entries, seconds(begun));
    let book = folder.path().join("ledger.xlsx");
    write(&book, file.outage());
    for (name, path) in [("outage file", &path), ("workbook", &book)] {
        let bytes = std::fs::metadata(path).unwrap().len();
        println!("  {name}: {:.1} MB", bytes as f64 / 1e6);
    }
    let (mut opened, mut read) = (Vec::new(), Vec::new());
    for _ in 0..rounds {
        let begun = Instant::now();
        let outage = OutageFile::open(&path).unwrap();
        opened.push(seconds(begun));
        assert_eq!(outage.outage().entries().len(), entries);
        let begun = Instant::now();
        let rows = read::book(&book, &mut Memory::of_megabytes(2_000)).unwrap();
        read.push(seconds(begun));
        assert_eq!(rows.sheets[0].rows.len(), entries);
    }
    println!("opened, every entry checked:      {:.2} s", median(&mut opened));
    println!("workbook read, nothing checked:   {:.2} s", median(&mut read));
    let mut booked = Vec::new();
    for number in 0..rounds * 4 {
        let begun = Instant::now();
        let receive = Booking::Receive { item: "I0".into(), count: 1 };
        file.book(vec![(facts(entries + number), receive)], &Vec::new()).unwrap();
        booked.push(seconds(begun));
    }
    println!("one booking, file open:           {:.4} s", median(&mut booked));
}

fn seconds(begun: Instant) -> f64 {
    begun.elapsed().as_secs_f64()
}

fn median(times: &mut [f64]) -> f64 {
    times.sort_by(f64::total_cmp);
    times[times.len() / 2]
}

fn facts(number: usize) -> Circumstances {
    Circumstances {
        request: format!("request {number}"),
        at: "2027-03-01T08:00:00.123456789Z".into(),
        date: "2027-03-01".into(),
        who: "Kim".into(),
        why: "invented for this measurement".into(),
    }
}

/// A plan, then every pump bagged, issued, read, put back, with a plan again each time all went round.
fn drafts(pumps: usize, entries: usize) -> Vec<Draft> {
    const ITEMS: usize = 60;
    let item = |at: usize| format!("I{}", at % ITEMS);
    let counts = (0..ITEMS).map(|at| ItemCount { item: item(at), count: 100_000 }).collect();
    let piece = |at: usize, nth: usize| KitPiece {
        place: "bearing shims".into(),
        item: item(at * 7 + nth * 11),
        count: 1,
        peeled_to: None,
    };
    let kits = |round: usize| PlanBooking {
        code: format!("{round:012x}"),
        kits: (0..pumps)
            .map(|at| PlannedKit {
                tag: format!("P-{at}"),
                pieces: (0..6).map(|nth| piece(at + round, nth)).collect(),
            })
            .collect(),
        ..PlanBooking::default()
    };
    let mut bookings = vec![Booking::TookOver(TookOver { counts, ..TookOver::default() })];
    for round in 0.. {
        bookings.push(Booking::Plan(kits(round)));
        for at in 0..pumps {
            let tag = format!("P-{at}");
            bookings.push(Booking::Bag { tag: tag.clone(), without: Vec::new(), with: Vec::new() });
            bookings.push(Booking::Issue { tag: tag.clone() });
            bookings.push(Booking::Reading {
                tag: tag.clone(),
                what: "running clearance".into(),
                value: "0.0212 in".into(),
                finding: Finding::Conforms,
            });
            bookings.push(Booking::Receive { item: item(at), count: 2 });
            bookings.push(Booking::PutBack { tag });
        }
        if bookings.len() >= entries {
            break;
        }
    }
    bookings.truncate(entries);
    let numbered = bookings.into_iter().enumerate();
    numbered.map(|(number, booking)| (facts(number), booking)).collect()
}

/// The ledger as rows: number, time, day, person, reason, request, booking, moves, hashes.
fn write(path: &Path, outage: &Outage) {
    let mut workbook = Workbook::new();
    let sheet = workbook.add_worksheet();
    for (row, entry) in outage.entries().iter().enumerate() {
        let row = u32::try_from(row).unwrap();
        let [booking, moves] = entry.texts();
        // A cell holds no more.
        let booking: String = booking.chars().take(32_000).collect();
        let facts = &entry.facts;
        let texts = [
            &facts.at,
            &facts.date,
            &facts.who,
            &facts.why,
            &facts.request,
            &booking,
            &moves,
            &entry.prev,
            &entry.hash,
        ];
        sheet.write(row, 0, entry.number).unwrap();
        for (column, text) in (1..).zip(texts) {
            sheet.write(row, column, text).unwrap();
        }
    }
    workbook.save(path).unwrap();
}
