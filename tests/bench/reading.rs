//! A large stock and many pumps, read and checked, compared in one run with openpyxl on these files:
//! `cargo run --release --example reading -- 50000 10000` (lots, pumps).
//!
//! The library reads both workbooks, checks everything and makes a job of it; openpyxl touches every value once, as a
//! stream and as a whole, and checks none. Rounds alternate, each in a separate process with its own peak memory;
//! medians are printed. All figures in the workbooks are invented, from a seed.
//!
//! | variable | meaning | default |
//! |---|---|---|
//! | `PYTHON` | the Python with openpyxl | `python3` |
//! | `ROUNDS` | rounds | `3` |
//! | `KEEP` | a folder in which the workbooks are kept | none |

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::cast_precision_loss, missing_docs)]

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, ExitCode};
use std::time::Instant;

use gapwright::read::{self, Sources};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rust_xlsxwriter::{Workbook, Worksheet, XlsxError};

/// The first argument of a process that reads.
const ONE: &str = "--one";

fn main() -> ExitCode {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    if let [one, stock, pumps] = arguments.as_slice()
        && one == ONE
    {
        return alone(stock.into(), pumps.into());
    }
    let sizes: Vec<u32> = arguments.iter().map(|a| a.parse().unwrap()).collect();
    let (lots, pumps) = match sizes[..] {
        [] => (50_000, 10_000),
        [lots, pumps] => (lots, pumps),
        _ => panic!("how many lots, and how many pumps"),
    };
    let temporary = tempfile::tempdir().unwrap();
    let kept = std::env::var_os("KEEP").map(PathBuf::from);
    let folder = kept.as_deref().unwrap_or(temporary.path());
    fs::create_dir_all(folder).unwrap();
    let at = |name: &str| folder.join(name);
    make(folder, lots, pumps).unwrap();
    let rounds: usize = std::env::var("ROUNDS").map_or(3, |text| text.parse().unwrap());
    println!("{lots} lots and {pumps} pumps, {rounds} rounds: medians");
    for name in ["stock.xlsx", "stock.csv", "pumps.xlsx"] {
        let bytes = fs::metadata(at(name)).unwrap().len();
        println!("  {name}: {:.1} MB", bytes as f64 / 1e6);
    }
    println!("{:<44} {:>8} {:>9} {:>8}", "", "seconds", "cells", "peak MB");
    let mut rows: [Vec<Row>; 4] = Default::default();
    for _ in 0..rounds {
        rows[0].extend(ours(&at("stock.xlsx"), &at("pumps.xlsx")));
        rows[1].extend(ours(&at("stock.csv"), &at("pumps.xlsx")));
        for (way, row) in [("streamed", 2), ("whole", 3)] {
            // Both files in one row: times add up, and the larger peak counts.
            let both = ["stock.xlsx", "pumps.xlsx"].map(|name| python(way, &at(name)));
            if let [Some(stock), Some(pumps)] = both {
                rows[row].push([stock[0] + pumps[0], stock[1] + pumps[1], stock[2].max(pumps[2])]);
            }
        }
    }
    if rows[0].is_empty() {
        return ExitCode::FAILURE;
    }
    let names = [
        "read and checked, both .xlsx",
        "read and checked, the stock as .csv",
        "openpyxl, a stream of values, nothing checked",
        "openpyxl, whole, nothing checked",
    ];
    for (name, rows) in names.iter().zip(&rows) {
        if rows.is_empty() {
            println!("{name:<46} -");
            continue;
        }
        let [seconds, cells, peak] = [0, 1, 2].map(|n| median(rows, n));
        println!("{name:<46} {seconds:>6.2} {cells:>9} {peak:>8.0}");
    }
    if rows[2].is_empty() {
        eprintln!(
            "There is no openpyxl to compare with. Make a Python that has it:\n  \
             python3 -m venv venv && venv/bin/pip install openpyxl\n\
             and name it: PYTHON=venv/bin/python cargo run --release --example reading"
        );
    }
    for (name, other) in [("stream", &rows[2]), ("whole", &rows[3])] {
        if !other.is_empty() {
            println!(
                "beside openpyxl's {name}: {:.1} times as quick, 1/{:.1} of the memory",
                median(other, 0) / median(&rows[0], 0),
                median(other, 2) / median(&rows[0], 2),
            );
        }
    }
    ExitCode::SUCCESS
}

/// Seconds, number of cells read, and peak memory in MB.
type Row = [f64; 3];

fn median(rows: &[Row], of: usize) -> f64 {
    let mut values: Vec<f64> = rows.iter().map(|row| row[of]).collect();
    values.sort_by(f64::total_cmp);
    values[values.len() / 2]
}

fn numbers(text: &[u8]) -> Option<Row> {
    let text = String::from_utf8_lossy(text);
    let numbers: Result<Vec<f64>, _> = text.split_whitespace().map(str::parse).collect();
    numbers.ok()?.try_into().ok()
}

fn ours(stock: &Path, pumps: &Path) -> Option<Row> {
    let mut command = Command::new(std::env::current_exe().unwrap());
    let output = command.arg(ONE).args([stock, pumps]).output().unwrap();
    let row = numbers(&output.stdout).filter(|_| output.status.success());
    if row.is_none() {
        println!("{}", String::from_utf8_lossy(&output.stderr));
    }
    row
}

fn python(way: &str, file: &Path) -> Option<Row> {
    let python = std::env::var("PYTHON").unwrap_or_else(|_| "python3".into());
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/bench/reading.py");
    let mut command = Command::new(python);
    let output = command.arg(script).arg(way).arg(file).output().ok()?;
    numbers(&output.stdout)
}

/// Reads and checks both workbooks, and prints the figures.
fn alone(stock: PathBuf, pumps: PathBuf) -> ExitCode {
    let start = Instant::now();
    let job = match read::job(&Sources { stock, pumps, ..Sources::default() }) {
        Ok(job) => job,
        Err(problems) => {
            for problem in problems.sorted().iter().take(5) {
                eprintln!("{problem}");
            }
            return ExitCode::FAILURE;
        }
    };
    let seconds = start.elapsed().as_secs_f64();
    let cells = (job.stock.len() + 1) * STOCK.len() + (job.pumps.len() + 1) * PUMPS.len();
    println!("{seconds} {cells} {}", peak());
    ExitCode::SUCCESS
}

/// Peak memory of this process, in MB, where the system reports it.
fn peak() -> f64 {
    let status = fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find(|line| line.starts_with("VmHWM"));
    let kilobytes = line.and_then(|line| line.split_whitespace().nth(1)?.parse::<f64>().ok());
    kilobytes.map_or(f64::NAN, |kilobytes| kilobytes / 1024.0)
}

const STOCK: [&str; 14] = [
    "Item",
    "Kind",
    "Fit",
    "Thickness (in)",
    "Tolerance (in)",
    "On hand",
    "Reserved",
    "Unit cost",
    "Pack qty",
    "Min level",
    "Bin",
    "Material",
    "Supplier",
    "Lead days",
];
const PUMPS: [&str; 9] = [
    "Tag",
    "Model",
    "Priority",
    "Location",
    "Note",
    "Bearing shims fit",
    "Cover gasket fit",
    "Bare clearance (in)",
    "Snap ring (in)",
];

/// Number of fit codes.
const FITS: u32 = 400;

/// Value of a cell; every one is filled, so that cells can be counted.
enum Value {
    Text(String),
    Number(f64),
}

fn make(folder: &Path, lots: u32, pumps: u32) -> Result<(), XlsxError> {
    let mut random = ChaCha8Rng::seed_from_u64(7);
    let stock: Vec<Vec<Value>> = (0..lots).map(|n| lot(n, &mut random)).collect();
    let pumps: Vec<Vec<Value>> = (0..pumps).map(|n| pump(n, &mut random)).collect();
    book("Stock", &STOCK, &stock)?.save(folder.join("stock.xlsx"))?;
    book("Pumps", &PUMPS, &pumps)?.save(folder.join("pumps.xlsx"))?;
    let mut csv = csv::Writer::from_path(folder.join("stock.csv")).unwrap();
    csv.write_record(STOCK).unwrap();
    for row in &stock {
        let texts = row.iter().map(|value| match value {
            Value::Text(text) => text.clone(),
            Value::Number(number) => number.to_string(),
        });
        csv.write_record(texts).unwrap();
    }
    csv.flush().unwrap();
    Ok(())
}

fn lot(n: u32, random: &mut ChaCha8Rng) -> Vec<Value> {
    use Value::{Number, Text};
    let gasket = n.is_multiple_of(3);
    let thousandths: u32 = random.random_range(if gasket { 30..=125 } else { 2..=60 });
    vec![
        Text(format!("{}-{n:05}", if gasket { "GK" } else { "SH" })),
        Text(if gasket { "gasket" } else { "shim" }.into()),
        Text(format!("F{}", n % FITS)),
        // Some are typed with a unit, as people do.
        match n % 7 {
            0 => Text(format!("{thousandths} thou")),
            _ => Number(f64::from(thousandths) / 1e3),
        },
        Number(0.0005),
        Number(random.random_range(1..=40_u32).into()),
        Number(random.random_range(0..=1_u32).into()),
        Number(f64::from(random.random_range(50..=900_u32)) / 100.0),
        Number([1.0, 5.0, 10.0][random.random_range(0..3_usize)]),
        Number(random.random_range(0..=5_u32).into()),
        Text(format!("{}{:03}", ["A", "B", "C", "D"][n as usize % 4], n / 4)),
        Text(["stainless", "brass", "vegetable fibre"][n as usize % 3].into()),
        Text(format!("invented supplier {}", n % 20)),
        Number(random.random_range(2..=60_u32).into()),
    ]
}

fn pump(n: u32, random: &mut ChaCha8Rng) -> Vec<Value> {
    use Value::{Number, Text};
    vec![
        Text(format!("P-{n:05}")),
        Text("screwed-impeller".into()),
        Number((1 + n % 5).into()),
        Text(format!("unit {}", n % 40)),
        Text(format!("seen at round {n}")),
        Text(format!("F{}", n % FITS)),
        Text(format!("F{}", n % FITS)),
        Number(f64::from(random.random_range(300..=600_u32)) / 1e4),
        Number(f64::from(random.random_range(480..=520_u32)) / 1e4),
    ]
}

fn book(name: &str, headings: &[&str], rows: &[Vec<Value>]) -> Result<Workbook, XlsxError> {
    let mut workbook = Workbook::new();
    let sheet: &mut Worksheet = workbook.add_worksheet().set_name(name)?;
    sheet.write_row(0, 0, headings.iter().copied())?;
    for (row, values) in (1..).zip(rows) {
        for (column, value) in (0..).zip(values) {
            match value {
                Value::Text(text) => sheet.write_string(row, column, text)?,
                Value::Number(number) => sheet.write_number(row, column, *number)?,
            };
        }
    }
    Ok(workbook)
}
