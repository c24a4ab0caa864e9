//! The plan workbook read back as the next program would read it.

#![allow(clippy::unwrap_used, clippy::expect_used, missing_docs)]

mod expanded;

use std::fs;
use std::path::Path;

use calamine::{Data, DataType, Reader, Xlsx, open_workbook};
use gapwright::choose::{choose, watch::Watch};
use gapwright::plan::Kit;
use gapwright::read::{Sources, job};
use gapwright::verify::{Verified, verify};
use gapwright::words::NOT_FIT;
use gapwright::write;
use tempfile::TempDir;

fn verified(stock: &Path, pumps: &Path) -> Verified {
    let sources = Sources {
        stock: stock.into(),
        pumps: pumps.into(),
        ..Sources::default()
    };
    let job = job(&sources).unwrap_or_else(|p| panic!("{:#?}", p.sorted()));
    let plan = choose(&job, &Watch::patient()).unwrap();
    verify(job, plan).unwrap()
}

fn sample() -> Verified {
    verified(
        Path::new("samples/outage/stock.xlsx"),
        Path::new("samples/outage/pumps.xlsx"),
    )
}

fn write_to(folder: &TempDir, verified: &Verified) -> std::path::PathBuf {
    let path = folder.path().join("plan.xlsx");
    fs::write(&path, write::workbook(verified, "2027-03-01").unwrap()).unwrap();
    path
}

fn texts(book: &mut Xlsx<std::io::BufReader<fs::File>>, sheet: &str) -> Vec<String> {
    let range = book.worksheet_range(sheet).unwrap();
    range
        .used_cells()
        .map(|(_, _, cell)| cell.to_string())
        .collect()
}

#[test]
fn every_sheet_is_there_in_its_order() {
    let folder = TempDir::new().unwrap();
    let book: Xlsx<_> = open_workbook(write_to(&folder, &sample())).unwrap();
    let expected = [
        "Summary",
        "Picking list",
        "Kits",
        "Stack-up",
        "Short",
        "Reorder",
        "Stock after",
        "Models",
        "Basis",
    ];
    assert_eq!(book.sheet_names(), expected);
}

#[test]
fn cautions_and_verdicts_stand_where_they_must() {
    let folder = TempDir::new().unwrap();
    let verified = sample();
    let mut book: Xlsx<_> = open_workbook(write_to(&folder, &verified)).unwrap();
    let kits = texts(&mut book, "Kits");
    let short = verified
        .plan()
        .kits
        .iter()
        .filter(|k| matches!(k, Kit::Short(_)))
        .count();
    assert_eq!(short, 1);
    assert_eq!(kits.iter().filter(|text| *text == NOT_FIT).count(), short);
    let pumps = verified.job().pumps.len();
    for (_, caution) in gapwright::model::USUAL_CAUTIONS {
        assert_eq!(
            kits.iter().filter(|text| *text == caution).count(),
            pumps,
            "{caution}"
        );
        assert!(
            texts(&mut book, "Summary")
                .iter()
                .any(|text| text == caution),
            "{caution}"
        );
    }
    assert!(
        texts(&mut book, "Summary")
            .iter()
            .any(|text| text.starts_with("Proven least"))
    );
    // The slip of each kitted pump names its pieces; none is issued to the other.
    let slips = kits.iter().filter(|text| text.starts_with("Kit ")).count();
    assert_eq!(slips, pumps);
}

#[test]
fn the_picking_list_adds_up_to_what_is_issued() {
    let folder = TempDir::new().unwrap();
    let verified = sample();
    let mut book: Xlsx<_> = open_workbook(write_to(&folder, &verified)).unwrap();
    let range = book.worksheet_range("Picking list").unwrap();
    let job = verified.job();
    let issued = verified.plan().issued(job);
    let mut seen = 0;
    let mut bins = Vec::new();
    for row in range.rows() {
        let Some(index) = job
            .stock
            .iter()
            .position(|item| row[1] == Data::String(item.item.clone()))
        else {
            continue;
        };
        assert_eq!(
            row[6],
            Data::Float(f64::from(issued[index])),
            "{}",
            job.stock[index].item
        );
        // "P-101 (2), P-105 (1)": the pieces for the tags are the quantity.
        let pieces: u32 = row[7]
            .to_string()
            .split(['(', ')'])
            .filter_map(|part| part.parse::<u32>().ok())
            .sum();
        assert_eq!(pieces, issued[index]);
        bins.push(row[0].to_string());
        seen += 1;
    }
    assert_eq!(seen, issued.iter().filter(|n| **n > 0).count());
    // S9 comes before S10.
    let number = |bin: &String| (bin[..1].to_string(), bin[1..].parse::<u32>().unwrap());
    assert!(
        bins.windows(2)
            .all(|pair| number(&pair[0]) < number(&pair[1])),
        "{bins:?}"
    );
}

/// What is left after the plan is the next plan's stock, by file and to the piece.
#[test]
fn stock_after_is_ready_to_be_next_times_stock() {
    let folder = TempDir::new().unwrap();
    let before = sample();
    let path = write_to(&folder, &before);
    let next = Sources {
        stock: path,
        pumps: "samples/outage/pumps.xlsx".into(),
        ..Sources::default()
    };
    let next = job(&next).unwrap_or_else(|p| panic!("{:#?}", p.sorted()));
    let issued = before.plan().issued(before.job());
    assert_eq!(next.stock.len(), before.job().stock.len());
    for ((then, now), issued) in before.job().stock.iter().zip(&next.stock).zip(&issued) {
        assert_eq!(now.on_hand, then.on_hand - issued, "{}", then.item);
        assert_eq!(now.size, then.size, "{}", then.item);
        assert_eq!(
            (now.reserved, now.unit_cost, &now.bin),
            (then.reserved, then.unit_cost, &then.bin)
        );
    }
    // An unknown column of the stock workbook is carried through.
    let headings = &next.stock_sheet.sheet.rows[0].cells;
    assert!(headings.iter().any(|(_, cell)| cell.show() == "Counted by"));
}

#[test]
fn text_that_looks_like_a_formula_stays_text() {
    let folder = TempDir::new().unwrap();
    let stock = fs::read_to_string("samples/tiny/stock.csv")
        .unwrap()
        .replace("S20,", "=1+1,")
        .replace("A2", "@SUM(A1)");
    let pumps = fs::read_to_string("samples/tiny/pumps.csv")
        .unwrap()
        .replace("\nB,", "\n+CMD|x,");
    let (stock_path, pumps_path) = (
        folder.path().join("stock.csv"),
        folder.path().join("pumps.csv"),
    );
    fs::write(&stock_path, stock).unwrap();
    fs::write(&pumps_path, pumps).unwrap();
    let path = write_to(&folder, &verified(&stock_path, &pumps_path));
    let mut book: Xlsx<_> = open_workbook(path).unwrap();
    let mut formulas = 0;
    for sheet in book.sheet_names() {
        let range = book.worksheet_formula(&sheet).unwrap();
        for (_, _, formula) in range.used_cells().filter(|(_, _, f)| !f.is_empty()) {
            assert_eq!(sheet, "Stack-up", "{formula}");
            assert!(!formula.contains("CMD") && formula != "1+1");
            formulas += 1;
        }
    }
    assert!(formulas > 100);
    let picked = texts(&mut book, "Picking list");
    assert!(picked.iter().any(|t| t == "=1+1") && picked.iter().any(|t| t == "@SUM(A1)"));
    assert!(picked.iter().any(|t| t == "+CMD|x (1)"), "{picked:?}");
}

/// The cached verdicts and margins of the Stack-up sheet are those of the library.
#[test]
fn the_stack_up_shows_the_librarys_own_numbers() {
    shows_the_librarys_own_numbers(&sample());
}

/// Likewise under the expanded rule, with lots that several places share.
#[test]
fn the_stack_up_shows_the_librarys_own_uncertainties() {
    let job = expanded::sample().unwrap();
    let plan = choose(&job, &Watch::patient()).unwrap();
    let verified = verify(job, plan).unwrap();
    // Some kit has pieces of one lot in both places.
    let shared = |kit: &Kit| {
        let Kit::Served(packs) = kit else {
            return false;
        };
        let [first, second] = expanded::SHARING.map(|pack| packs.get(pack));
        let mut pairs = first.iter().flat_map(|pack| &pack.picks);
        pairs.any(|a| second.is_some_and(|pack| pack.picks.iter().any(|b| a.item == b.item)))
    };
    assert!(verified.plan().kits.iter().any(shared));
    shows_the_librarys_own_numbers(&verified);
    let folder = TempDir::new().unwrap();
    let mut book: Xlsx<_> = open_workbook(write_to(&folder, &verified)).unwrap();
    let range = book.worksheet_range("Stack-up").unwrap();
    let found: Vec<f64> = range
        .rows()
        .filter(|row| row[0].to_string().starts_with("Expanded uncertainty"))
        .map(|row| row[2].get_float().unwrap())
        .collect();
    let job = verified.job();
    let mut expected = Vec::new();
    for (pump, kit) in job.pumps.iter().zip(&verified.plan().kits) {
        let Kit::Served(packs) = kit else { continue };
        let unit = job.model_of(pump).unit;
        for v in gapwright::plan::verdicts(job, pump, packs) {
            expected.extend([v.guard_lower, v.guard_upper].map(|x| x.to_f64(unit)));
        }
    }
    assert!(expected.len() > 10 && found.len() == expected.len());
    for (found, expected) in found.iter().zip(&expected) {
        assert!(
            (found - expected).abs() < 1e-9 && *found > 0.0,
            "{found} for {expected}"
        );
    }
}

fn shows_the_librarys_own_numbers(verified: &Verified) {
    let folder = TempDir::new().unwrap();
    let mut book: Xlsx<_> = open_workbook(write_to(&folder, verified)).unwrap();
    let range = book.worksheet_range("Stack-up").unwrap();
    let column = |label: &str| -> Vec<Data> {
        range
            .rows()
            .filter(|row| row[0] == Data::String(label.into()))
            .map(|row| row[2].clone())
            .collect()
    };
    let job = verified.job();
    let mut expected = Vec::new();
    for (pump, kit) in job.pumps.iter().zip(&verified.plan().kits) {
        let Kit::Served(packs) = kit else { continue };
        let unit = job.model_of(pump).unit;
        for v in gapwright::plan::verdicts(job, pump, packs) {
            expected.push([v.value, v.margin_lower(), v.margin_upper()].map(|x| x.to_f64(unit)));
        }
    }
    let labels = [
        "Nominal value",
        "Margin at the lower limit",
        "Margin at the upper limit",
    ];
    for (at, label) in labels.into_iter().enumerate() {
        let found = column(label);
        assert_eq!(found.len(), expected.len());
        for (found, expected) in found.iter().zip(&expected) {
            let Data::Float(found) = found else {
                panic!("{label}: {found:?}")
            };
            assert!(
                (found - expected[at]).abs() < 1e-9,
                "{label}: {found} for {}",
                expected[at]
            );
        }
    }
    let verdicts = column("Verdict");
    assert_eq!(verdicts.len(), expected.len());
    assert!(verdicts.iter().all(|v| *v == Data::String("met".into())));
}

/// A plan that was tampered with does not pass the checker, whatever was changed.
#[test]
fn the_checker_refuses_what_does_not_hold() {
    let verified = sample();
    let (job, plan) = (verified.job(), verified.plan());
    let spoil = |change: &dyn Fn(&mut gapwright::plan::Plan)| {
        let mut spoilt = plan.clone();
        change(&mut spoilt);
        verify(job.clone(), spoilt)
            .expect_err("a spoilt plan")
            .join("; ")
    };
    let first = |plan: &mut gapwright::plan::Plan,
                 change: &dyn Fn(&mut Vec<gapwright::plan::PackPick>)| {
        let Some(Kit::Served(packs)) = plan.kits.first_mut() else {
            panic!("the first is kitted")
        };
        change(packs);
    };
    assert!(spoil(&|p| p.goals[1].value -= 1).contains("waste is"));
    assert!(spoil(&|p| p.goals.clear()).contains("the goals are not those"));
    assert!(spoil(&|p| p.goals.truncate(3)).contains("the goals are not those"));
    assert!(spoil(&|p| p.goals[1].bound -= 1).contains("nothing ended the search"));
    assert!(spoil(&|p| p.kits[27] = Kit::Short(vec![])).contains("short for no reason"));
    assert!(spoil(&|p| p.goals[1].bound += 1).contains("beyond its own bound"));
    assert!(spoil(&|p| p.kits[0] = Kit::Short(vec![])).contains("served weight is"));
    assert!(spoil(&|p| first(p, &|packs| packs[0].picks[0].count += 1)).contains("is not met"));
    assert!(
        spoil(&|p| first(p, &|packs| packs[0].picks[0].count = 40)).contains("more than there are")
    );
    assert!(spoil(&|p| first(p, &|packs| packs.swap(0, 1))).contains("does not belong there"));
    assert!(spoil(&|p| first(p, &|packs| packs[1].picks.clear())).contains("0 pieces"));
    assert!(spoil(&|p| drop(p.kits.pop())).contains("kits for"));
}
