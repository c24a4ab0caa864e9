//! Outages for the tests of the paper: the samples, and small ones made to produce every kind of line.

use std::fs;
use std::path::{Path, PathBuf};
use std::sync::LazyLock;

use gapwright::choose::{choose, control::Control, worth::worth};
use gapwright::read::{Sources, job};
use gapwright::verify::{Verified, verify};
use gapwright::write;
use tempfile::TempDir;

use crate::page::{Book, Wrong};

/// The printed date.
pub const DATE: &str = "2027-03-01";

/// A plan with its workbook read back.
pub struct Outage {
    pub name: &'static str,
    pub verified: Verified,
    pub book: Book,
}

/// Checks every outage, and reports all mismatches at once.
pub fn held(sheet: &str, check: impl Fn(&Outage, &mut Wrong)) {
    let mut wrong = Wrong::default();
    for outage in ALL.iter() {
        wrong.place = format!("{}, {sheet}", outage.name);
        check(outage, &mut wrong);
    }
    wrong.tell();
}

pub fn planned(sources: &Sources) -> Verified {
    let job = job(sources).unwrap_or_else(|p| panic!("{:#?}", p.sorted()));
    let control = Control::unlimited();
    let mut plan = choose(&job, &control).unwrap();
    plan.worth = worth(&job, &plan, &control).unwrap();
    verify(job, plan).unwrap()
}

fn outage(name: &'static str, verified: Verified) -> Outage {
    let bytes = write::workbook(&verified, DATE).unwrap();
    let book = Book::read(bytes);
    Outage { name, verified, book }
}

/// A folder with the files of [`BENCH`], some texts in them replaced.
pub fn bench(changes: &[(&str, &str)]) -> TempDir {
    let folder = TempDir::new().unwrap();
    for (path, text) in BENCH {
        let mut text = text.to_string();
        for (from, to) in changes {
            text = text.replace(from, to);
        }
        let path = folder.path().join(path);
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(path, text).unwrap();
    }
    for (from, _) in changes {
        assert!(BENCH.iter().any(|(_, text)| text.contains(from)), "{from}");
    }
    folder
}

pub fn sources_of(folder: &Path, settings: &[(&str, &str)]) -> Sources {
    let settings = settings.iter();
    Sources {
        stock: folder.join("stock"),
        pumps: folder.join("pumps"),
        models: Some(folder.join("models")),
        settings: settings.map(|(name, value)| (name.to_string(), value.to_string())).collect(),
        ..Sources::default()
    }
}

fn of_bench(name: &'static str, changes: &[(&str, &str)], settings: &[(&str, &str)]) -> Outage {
    let folder = bench(changes);
    outage(name, planned(&sources_of(folder.path(), settings)))
}

pub fn sample(stock: &str, pumps: &str) -> Sources {
    let path = |name: &str| PathBuf::from("samples").join(name);
    Sources { stock: path(stock), pumps: path(pumps), ..Sources::default() }
}

/// The tiny sample without a single free piece.
fn empty_drawer() -> Verified {
    let folder = TempDir::new().unwrap();
    let stock = fs::read_to_string("samples/tiny/stock.csv").unwrap();
    let mut rows = stock.lines().map(|row| row.split(',').map(String::from).collect::<Vec<_>>());
    let heads = rows.next().unwrap();
    let at = heads.iter().position(|head| head == "On hand").unwrap();
    let mut text = heads.join(",");
    for mut row in rows {
        row[at] = "0".into();
        text += &format!("\n{}", row.join(","));
    }
    let path = folder.path().join("stock.csv");
    fs::write(&path, text).unwrap();
    planned(&Sources { stock: path, ..sample("tiny/stock.csv", "tiny/pumps.csv") })
}

pub static ALL: LazyLock<Vec<Outage>> = LazyLock::new(|| {
    vec![
        outage("sample", planned(&sample("outage/stock.xlsx", "outage/pumps.xlsx"))),
        outage("tiny", planned(&sample("tiny/stock.csv", "tiny/pumps.csv"))),
        of_bench("bench", &[], &[]),
        of_bench("bench, nominal", &[], &[("Acceptance", "nominal")]),
        of_bench("bench, expanded", &[], &[("Acceptance", "expanded")]),
        of_bench("bench, packs spoiled", &[], &[("Opened packs spoiled", "yes")]),
        of_bench("bench, remnants kept", &[], &[("Plate remnants", "booked back")]),
        outage("nothing on hand", empty_drawer()),
    ]
});

/// Files of an outage of every model, including two of the shop's own. All figures are invented.
const BENCH: [(&str, &str); 8] = [
    ("models/own-pair.toml", include_str!("bench/own-pair.toml")),
    ("models/own-spacer.toml", include_str!("bench/own-spacer.toml")),
    ("stock/Stock.csv", include_str!("bench/Stock.csv")),
    ("stock/Sheets.csv", include_str!("bench/Sheets.csv")),
    ("stock/Fit.csv", include_str!("bench/Fit.csv")),
    ("stock/Feelers.csv", include_str!("bench/Feelers.csv")),
    ("pumps/Pumps.csv", include_str!("bench/Pumps.csv")),
    ("pumps/Policy.csv", include_str!("bench/Policy.csv")),
];
