//! `gapwright reorder` from end to end, on the sample and on bad input.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::cast_possible_truncation,
    clippy::cast_precision_loss,
    clippy::cast_sign_loss,
    missing_docs
)]

mod levels;
mod played;

use std::fs;
use std::path::Path;
use std::process::Output;

use assert_cmd::Command;
use calamine::{Data, Reader, Xlsx, open_workbook};
use gapwright::decimal::Money;
use gapwright::formats::common::CauseJson;
use gapwright::formats::purchase::{FaultJson, PurchaseJson, ReorderBasisJson, StillShortJson};
use tempfile::TempDir;

const STOCK: &str = "samples/purchase/stock.csv";
const PUMPS: &str = "samples/purchase/pumps.csv";
const LOG: &str = "samples/purchase/issue-log.xlsx";

fn gapwright(arguments: &[&str]) -> Output {
    let mut command = Command::cargo_bin("gapwright").unwrap();
    command.args(arguments).output().unwrap()
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8(bytes.to_vec()).unwrap()
}

/// Runs `reorder` in a folder, on the first of March.
fn reorder(folder: &Path, stock: &str, pumps: &str, more: &[&str]) -> Output {
    let (out, json) = (folder.join("p.xlsx"), folder.join("p.json"));
    let mut arguments = vec!["reorder", stock, pumps, "--date", "2027-03-01", "--force"];
    let (out, json) = (out.to_str().unwrap(), json.to_str().unwrap());
    arguments.extend(["--out", out, "--json", json]);
    arguments.extend(more);
    gapwright(&arguments)
}

fn read(folder: &Path) -> PurchaseJson {
    serde_json::from_slice(&fs::read(folder.join("p.json")).unwrap()).unwrap()
}

/// The sample's purchase, in a folder that is gone afterwards.
fn sample(more: &[&str]) -> PurchaseJson {
    let folder = TempDir::new().unwrap();
    let run = reorder(folder.path(), STOCK, PUMPS, more);
    assert_eq!(run.status.code(), Some(0), "{}", text(&run.stderr));
    read(folder.path())
}

fn money(text: &str) -> i64 {
    Money::parse(text).unwrap().raw()
}

fn spent(purchase: &PurchaseJson) -> i64 {
    let items = purchase.items.iter();
    let cost = items.map(|item| {
        let pieces = i64::from((item.packs + item.bag_packs) * item.pack_qty);
        item.unit_cost.as_deref().map_or(0, money) * pieces
    });
    cost.sum()
}

/// Items that cannot be bought in time, and the rest in whole packs.
#[test]
fn the_sample_is_bought_for_and_the_pump_that_cannot_wait_is_named() {
    let purchase = sample(&[]);
    assert!(purchase.proven);
    assert_eq!(purchase.cost, purchase.cost_bound);
    assert_eq!(money(&purchase.cost), spent(&purchase));
    let today: Vec<&str> = of(&purchase, |pump| pump.today);
    let after: Vec<&str> = of(&purchase, |pump| pump.after);
    assert!(today.len() < after.len() && after.len() == 9, "{after:?}");
    let late = purchase.pumps.iter().find(|pump| pump.tag == "P-407").unwrap();
    assert!(!late.after);
    let Some(StillShortJson::DueBeforeItComes { item, due, there_on }) = &late.still_short else {
        panic!("{:?}", late.still_short);
    };
    assert_eq!((due.as_str(), there_on.as_str()), ("2027-03-08", "2027-03-11"));
    let named = purchase.items.iter().find(|one| one.item == *item).unwrap();
    assert_eq!(named.there_on.as_ref(), Some(there_on));
    assert!(purchase.pumps.iter().all(|pump| pump.after == pump.still_short.is_none()));
    // A week later the same pump is no problem.
    let folder = TempDir::new().unwrap();
    let pumps = folder.path().join("pumps.csv");
    let later = fs::read_to_string(PUMPS).unwrap().replace("2027-03-08", "2027-03-11");
    fs::write(&pumps, later).unwrap();
    let run = reorder(folder.path(), STOCK, pumps.to_str().unwrap(), &[]);
    assert_eq!(run.status.code(), Some(0));
    assert!(read(folder.path()).pumps.iter().all(|pump| pump.after));
}

fn of(
    purchase: &PurchaseJson,
    wanted: fn(&gapwright::formats::purchase::ShortPumpJson) -> bool,
) -> Vec<&str> {
    let pumps = purchase.pumps.iter().filter(|pump| wanted(pump));
    pumps.map(|pump| pump.tag.as_str()).collect()
}

/// More money never serves fewer, the limit is never exceeded, and enough money equals no limit.
#[test]
fn a_budget_is_kept_and_serves_the_more_the_larger_it_is() {
    let free = sample(&[]);
    let nothing = sample(&["--budget", "0"]);
    let mut served = of(&nothing, |pump| pump.after).len();
    // Who stays short for want of money has the places that fail, as the plan has them.
    let places = nothing.pumps.iter().filter_map(|pump| match &pump.still_short {
        Some(StillShortJson::NoKit { short }) => Some(short),
        _ => None,
    });
    let causes: Vec<&CauseJson> = places.flatten().map(|short| &short.cause).collect();
    assert!(causes.contains(&&CauseJson::BetweenTotals), "{causes:?}");
    assert!(causes.iter().any(|cause| matches!(cause, CauseJson::StockGone { .. })), "{causes:?}");
    assert_eq!(served, of(&free, |pump| pump.today).len());
    let mut steps = 0;
    for budget in ["10.50", "20", "30", "40.49", "40.50"] {
        let purchase = sample(&["--budget", budget]);
        assert!(purchase.proven && money(&purchase.cost) <= money(budget), "{budget}");
        let now = of(&purchase, |pump| pump.after).len();
        assert!(now >= served, "{budget}");
        steps += usize::from(now > served);
        served = now;
    }
    assert!(steps >= 2);
    assert_eq!(served, of(&free, |pump| pump.after).len());
}

#[test]
fn the_workbook_says_what_the_json_says_in_live_formulas() {
    let folder = TempDir::new().unwrap();
    let run = reorder(folder.path(), STOCK, PUMPS, &["--log", LOG]);
    assert_eq!(run.status.code(), Some(0), "{}", text(&run.stderr));
    let purchase = read(folder.path());
    let mut book: Xlsx<_> = open_workbook(folder.path().join("p.xlsx")).unwrap();
    let names = ["Summary", "Order", "Pumps", "Levels", "Reach", "Basis"];
    assert_eq!(book.sheet_names(), names);
    let order = book.worksheet_range("Order").unwrap();
    let formulas = book.worksheet_formula("Order").unwrap();
    let cell = |row: usize, column: usize| order.get((row, column)).cloned().unwrap_or(Data::Empty);
    let number = |row: usize, column: usize| match cell(row, column) {
        Data::Float(number) => number,
        Data::Int(number) => number as f64,
        other => panic!("row {row}, column {column}: {other:?}"),
    };
    let formula = |row: usize, column: usize| {
        let at = (u32::try_from(row).unwrap(), u32::try_from(column).unwrap());
        formulas.get_value(at).cloned().unwrap_or_default()
    };
    let mut seen = 0;
    let (mut total, mut suppliers) = (0.0, 0);
    for row in 0..order.height() {
        let name = cell(row, 0).to_string();
        if name.starts_with("Total: ") {
            suppliers += 1;
            total += number(row, 10);
            assert!(formula(row, 10).starts_with("SUM("));
        }
        let Some(item) = purchase.items.iter().find(|item| item.item == name) else {
            continue;
        };
        seen += 1;
        assert_eq!(number(row, 5) as u32, item.packs + item.bag_packs, "{name}");
        assert_eq!(number(row, 6) as u32, item.level_packs, "{name}");
        let packs = item.packs + item.bag_packs + item.level_packs;
        assert_eq!(number(row, 7) as u32, packs);
        assert_eq!(number(row, 8) as u32, packs * item.pack_qty);
        let cost = money(item.unit_cost.as_deref().unwrap()) as f64 / 1e6;
        assert!((number(row, 10) - cost * number(row, 8)).abs() < 1e-9);
        let n = row + 1;
        for (column, expected) in
            [(7, format!("F{n}+G{n}")), (8, format!("H{n}*E{n}")), (10, format!("I{n}*J{n}"))]
        {
            assert_eq!(formula(row, column), expected, "{name}");
        }
        assert_eq!(cell(row, 12).to_string(), item.there_on.clone().unwrap());
    }
    let ordered = |item: &&gapwright::formats::purchase::ItemJson| {
        item.packs + item.bag_packs + item.level_packs > 0
    };
    assert_eq!(seen, purchase.items.iter().filter(ordered).count());
    assert!(seen > 4 && suppliers == 2);
    assert!((number(3, 10) - total).abs() < 1e-9 && total > 0.0);
    // The proven purchase is next to it.
    assert!((number(4, 10) - money(&purchase.cost) as f64 / 1e6).abs() < 1e-9);
}

/// Every field of the schema is there, and no other, in the whole and in each part.
#[test]
fn the_json_is_as_its_schema_says() {
    let run = gapwright(&["schema", "purchase"]);
    let schema: serde_json::Value = serde_json::from_slice(&run.stdout).unwrap();
    let purchase = serde_json::to_value(sample(&["--log", LOG])).unwrap();
    let fields = |value: &serde_json::Value| -> Vec<String> {
        let mut fields: Vec<String> = value.as_object().unwrap().keys().cloned().collect();
        fields.sort();
        fields
    };
    let parts = [
        (&schema, &purchase),
        (&schema["$defs"]["ShortPumpJson"], &purchase["pumps"][0]),
        (&schema["$defs"]["ItemJson"], &purchase["items"][0]),
        (&schema["$defs"]["DrawerJson"], &purchase["drawers"][0]),
        (&schema["$defs"]["ReachJson"], &purchase["drawers"][0]["reach"]),
    ];
    for (schema, value) in parts {
        assert_eq!(fields(&schema["properties"]), fields(value));
        assert!(schema["description"].is_string());
    }
}

#[test]
fn the_same_bytes_twice_and_for_any_number_of_threads() {
    let bytes = |threads: &str| {
        let folder = TempDir::new().unwrap();
        let run = reorder(folder.path(), STOCK, PUMPS, &["--log", LOG, "--threads", threads]);
        assert_eq!(run.status.code(), Some(0));
        ["p.xlsx", "p.json"].map(|name| fs::read(folder.path().join(name)).unwrap())
    };
    assert_eq!(bytes("1"), bytes("1"));
    assert_eq!(bytes("1"), bytes("3"));
}

/// A range that is no whole number of steps: the drawer says so by its code, the others are worked out.
#[test]
fn a_drawer_that_is_not_worked_out_has_its_fault_as_a_code() {
    let purchase = sample(&["--range", "K4=0.001 in .. 0.0505 in"]);
    let faults = purchase.drawers.iter().map(|drawer| (&drawer.fault, drawer.reach.is_some()));
    let [shims, gaskets] = faults.collect::<Vec<_>>()[..] else {
        panic!("{:?}", purchase.drawers);
    };
    assert_eq!(shims, (&Some(FaultJson::Step), false));
    assert_eq!(gaskets, (&None, true));
}

/// The thirteen precut thicknesses of a trade's range (see tests/size_range for the source): the totals from 1 to 125 thou
/// that one and two pieces miss, counted here in hundredths of a thou.
#[test]
fn the_reach_of_a_drawer_is_what_counting_out_gives() {
    let sizes = [1, 2, 3, 4, 5, 10, 15, 20, 25, 50, 75, 100, 120];
    let folder = TempDir::new().unwrap();
    let stock = folder.path().join("stock.csv");
    let mut rows = fs::read_to_string(STOCK).unwrap();
    for size in sizes {
        rows += &format!("R{size},shim,K9,0.{size:03},0.0002,5,1.00,10,,,10,Harrow & Pell,R1\n");
    }
    fs::write(&stock, &rows).unwrap();
    let pumps = folder.path().join("pumps.csv");
    let pump = "P-501,screwed-impeller,1,2027-05-01,K9,K4,0.045,0.050\n";
    fs::write(&pumps, fs::read_to_string(PUMPS).unwrap() + pump).unwrap();
    let mut lacking = Vec::new();
    for (pieces, text) in [(1, "1"), (2, "2"), (3, "3")] {
        let more = ["--range", "k9 = 1 thou .. 125 thou", "--pieces", text];
        let run = reorder(folder.path(), stock.to_str().unwrap(), pumps.to_str().unwrap(), &more);
        assert_eq!(run.status.code(), Some(0), "{}", self::text(&run.stderr));
        let purchase = read(folder.path());
        let drawer = purchase.drawers.iter().find(|drawer| drawer.fit == "K9").unwrap();
        let reach = drawer.reach.as_ref().unwrap();
        assert_eq!((reach.targets, reach.pieces), (125, pieces));
        // The clearance may be 2 thou off, of which the reading takes 0.3 and each piece 0.2.
        let mut packs = vec![(0, 0)];
        for _ in 0..pieces {
            let more = packs
                .iter()
                .flat_map(|&(total, n)| sizes.iter().map(move |size| (total + 100 * size, n + 1)));
            packs = packs.iter().copied().chain(more).collect();
        }
        let met = |target: i32| {
            packs.iter().any(|&(total, n)| (total - 100 * target).abs() + 20 * n <= 170)
        };
        let missed: Vec<String> = (1..=125)
            .filter(|&target| !met(target))
            .map(|target| format!("0.{:04}", target * 10))
            .collect();
        assert_eq!(reach.missed_after, missed, "{pieces} pieces");
        lacking.push(missed.len());
    }
    // One piece misses most of the range and three miss none.
    assert!(lacking[0] > 40 && lacking[1] > 0 && lacking[2] == 0, "{lacking:?}");
}

/// Every fault with its cell; no file is written.
#[test]
fn what_a_purchase_lacks_is_named_by_its_cell() {
    let folder = TempDir::new().unwrap();
    let stock = folder.path().join("stock.csv");
    let rows = fs::read_to_string(STOCK).unwrap();
    let bare = rows
        .replace("0.025,0.0002,0,2.10,5", "0.025,0.0002,0,,5")
        .replace("0.115,0.001,0,3.80,5", "0.115,0.001,0,3.80,");
    assert_ne!(bare, rows);
    fs::write(&stock, bare).unwrap();
    let run = reorder(folder.path(), stock.to_str().unwrap(), PUMPS, &[]);
    let said = text(&run.stderr);
    assert_eq!(run.status.code(), Some(2), "{said}");
    assert!(said.contains("stock!G7") && said.contains("no Unit cost of K4-025"), "{said}");
    assert!(said.contains("stock!H11") && said.contains("no Pack qty of K4-G115"), "{said}");
    assert!(!folder.path().join("p.xlsx").exists() && !folder.path().join("p.json").exists());
    // Where no pump is short, the value is not needed.
    let pumps = folder.path().join("pumps.csv");
    let rows = fs::read_to_string(PUMPS).unwrap();
    let first: String = rows.lines().take(2).map(|line| format!("{line}\n")).collect();
    fs::write(&pumps, first).unwrap();
    let run = reorder(folder.path(), stock.to_str().unwrap(), pumps.to_str().unwrap(), &[]);
    assert_eq!(run.status.code(), Some(0), "{}", text(&run.stderr));
    // A column that is missing completely.
    let rows = fs::read_to_string(STOCK).unwrap().replace("Pack qty", "Remarks");
    fs::write(&stock, rows).unwrap();
    let run = reorder(folder.path(), stock.to_str().unwrap(), PUMPS, &[]);
    let said = text(&run.stderr);
    assert_eq!(run.status.code(), Some(2), "{said}");
    assert!(said.contains("no column Pack qty"), "{said}");
}

/// The earlier name of `--shortage-cost` is still read, and answered under the new one.
#[test]
fn the_earlier_name_of_an_option_is_still_read() {
    let folder = TempDir::new().unwrap();
    let run = reorder(folder.path(), STOCK, PUMPS, &["--lacking-cost", "dear"]);
    assert_eq!(run.status.code(), Some(2));
    let said = text(&run.stderr);
    assert!(said.contains("--shortage-cost dear"), "{said}");
}

#[test]
fn options_that_make_no_sense_are_all_refused_at_once() {
    let folder = TempDir::new().unwrap();
    let more = [
        "--budget",
        "-5",
        "--service",
        "100 %",
        "--holding",
        "dear",
        "--order-cost",
        "0",
        "--range",
        "K4=0.1 in..0.05 in",
        "--range",
        "K4=-5 thou..1 thou",
        "--range",
        "K4",
        "--step",
        "0 mm",
        "--log",
        "not-there.xlsx",
    ];
    let run = reorder(folder.path(), STOCK, PUMPS, &more);
    let said = text(&run.stderr);
    assert_eq!(run.status.code(), Some(2));
    for wrong in [
        "--budget -5",
        "--service 100 %",
        "--holding dear",
        "--order-cost 0",
        "ends before it begins",
        "--range K4",
        "not-there.xlsx",
    ] {
        assert!(said.contains(wrong), "{wrong}: {said}");
    }
    assert!(fs::read_dir(folder.path()).unwrap().next().is_none());
    for wrong in ["a length above 0", "begins below zero"] {
        assert!(said.contains(wrong), "{wrong}: {said}");
    }
    // A drawer that no pump uses.
    let run = reorder(folder.path(), STOCK, PUMPS, &["--range", "K7=1 thou..2 thou"]);
    let said = text(&run.stderr);
    assert!(run.status.code() == Some(2) && said.contains("shim K4, gasket K4"), "{said}");
    let run = reorder(folder.path(), STOCK, PUMPS, &["--step", "0 mm"]);
    assert!(run.status.code() == Some(2) && text(&run.stderr).contains("a length above 0"));
}

/// A log with a broken chain is refused; one whose counts differ from the stock is reported.
#[test]
fn a_log_that_does_not_fit_is_said() {
    let folder = TempDir::new().unwrap();
    let stock = folder.path().join("stock.csv");
    let rows = fs::read_to_string(STOCK).unwrap();
    fs::write(&stock, rows.replace("0.010,0.0002,2,", "0.010,0.0002,7,")).unwrap();
    let run = reorder(folder.path(), stock.to_str().unwrap(), PUMPS, &["--log", LOG]);
    let said = text(&run.stderr);
    assert_eq!(run.status.code(), Some(0), "{said}");
    assert!(said.contains("stock!F5") && said.contains("7 on hand of K4-010"), "{said}");
    assert!(said.contains("2, as the issue log's last line about it says"), "{said}");
}

/// Items not for sale are reported, not ordered; items without a price count as free, which is reported; the packs
/// back to level are kept apart from those of the proof.
#[test]
fn what_is_not_ordered_or_not_paid_for_is_said() {
    let folder = TempDir::new().unwrap();
    let stock = folder.path().join("stock.csv");
    let rows = fs::read_to_string(STOCK).unwrap();
    // K4-005 is below its min level and has no seller, pack or lead days any more; K4-G094 has no price.
    let changed = rows
        .replace("0.005,0.0002,3,1.20,10,4,20,10,Harrow & Pell", "0.005,0.0002,3,1.20,,4,20,,")
        .replace("0.094,0.001,4,3.40,", "0.094,0.001,4,0,");
    assert_ne!(changed, rows);
    fs::write(&stock, changed).unwrap();
    let run = reorder(folder.path(), stock.to_str().unwrap(), PUMPS, &["--budget", "0"]);
    let said = text(&run.stdout);
    assert_eq!(run.status.code(), Some(0), "{}", text(&run.stderr));
    assert!(
        said.contains("Below level or missing from bags, but not ordered (not for sale): K4-005."),
        "{said}"
    );
    assert!(said.contains("counted as free: K4-G094."), "{said}");
    assert!(said.contains("No due date, assumed able to wait: P-410."), "{said}");
    let purchase = read(folder.path());
    let item = purchase.items.iter().find(|item| item.item == "K4-005").unwrap();
    assert_eq!((item.packs, item.level_packs), (0, 0));
    // Without money the pumps are short, but the packs back to level would serve some.
    let after = of(&purchase, |pump| pump.after).len();
    let with_levels = purchase.served_with_level_packs.unwrap() as usize;
    assert!(with_levels > after, "{with_levels} {after}");
    assert!(said.contains(&format!("{with_levels} pumps could be kitted")), "{said}");
}

/// A bag that is missing a ring on the due day of its pump is incomplete: later arrivals are reported with their day;
/// an arrival on the day itself is in time.
#[test]
fn consumables_that_come_after_the_due_date_are_said() {
    let folder = TempDir::new().unwrap();
    let put = |name: &str, text: &str| {
        let path = folder.path().join(name);
        fs::write(&path, text).unwrap();
        path.to_str().unwrap().to_string()
    };
    let stock = |days: u32| {
        format!(
            "Item,Kind,Fit,Thickness (in),Tolerance (in),On hand,Unit cost,Pack qty,Supplier,Lead days\n\
             S10,shim,F1,0.010,0.0002,2,1,,,\n\
             G90,gasket,F1,0.090,0.0005,2,1,,,\n\
             PR,packing ring,3/8,,,1,1,5,Harrow & Pell,{days}\n"
        )
    };
    let pumps = "Tag,Model,Bearing shims fit,Cover gasket fit,Packing fit,Bare clearance (in),Snap ring (in),Due\n\
                 P2,screwed-impeller,F1,F1,3/8,0.031,0.050,2027-03-11\n";
    let pumps = put("pumps.csv", pumps);
    for (days, late) in [(10, false), (11, true)] {
        let stock = put("stock.csv", &stock(days));
        let run = reorder(folder.path(), &stock, &pumps, &[]);
        assert_eq!(run.status.code(), Some(0), "{}", text(&run.stderr));
        let said = text(&run.stdout);
        let remark = "Consumables that arrive after their pumps are due: P2 is missing 4 of PR (due 2027-03-11, arrives on 2027-03-12).";
        assert_eq!(said.contains(remark), late, "{said}");
        assert_eq!(said.contains("arrive after their pumps"), late, "{said}");
    }
}

/// Reserved pieces are promised: they do not keep an item above its level.
#[test]
fn what_is_reserved_counts_as_gone() {
    let folder = TempDir::new().unwrap();
    let stock = folder.path().join("stock.csv");
    let level = |reserved: u32| {
        let mut rows = String::new();
        for (at, line) in fs::read_to_string(STOCK).unwrap().lines().enumerate() {
            let more = match (at, line.starts_with("K4-G094")) {
                (0, _) => "Reserved".to_string(),
                (_, true) => reserved.to_string(),
                _ => String::new(),
            };
            rows += &format!("{line},{more}\n");
        }
        // Plenty on hand, so that the outage does not matter.
        fs::write(&stock, rows.replace("0.094,0.001,4,", "0.094,0.001,40,")).unwrap();
        let run = reorder(folder.path(), stock.to_str().unwrap(), PUMPS, &[]);
        assert_eq!(run.status.code(), Some(0), "{}", text(&run.stderr));
        let purchase = read(folder.path());
        purchase.items.iter().find(|item| item.item == "K4-G094").unwrap().level_packs
    };
    assert_eq!(level(0), 0);
    assert!(level(38) > 0);
}

/// A column that is not used is listed, on the terminal and in the workbook.
#[test]
fn columns_that_are_not_used_are_listed() {
    let folder = TempDir::new().unwrap();
    let stock = folder.path().join("stock.csv");
    let more = fs::read_to_string(STOCK).unwrap().replacen(",Bin\n", ",Bin,On order\n", 1);
    fs::write(&stock, more).unwrap();
    let run = reorder(folder.path(), stock.to_str().unwrap(), PUMPS, &[]);
    assert_eq!(run.status.code(), Some(0), "{}", text(&run.stderr));
    let said = "Not used: column `On order` of sheet stock.";
    assert!(text(&run.stdout).contains(said), "{}", text(&run.stdout));
    let mut book: Xlsx<_> = open_workbook(folder.path().join("p.xlsx")).unwrap();
    let page = book.worksheet_range("Summary").unwrap();
    assert!(page.used_cells().any(|(_, _, cell)| *cell == Data::String(said.into())));
}

/// The lead time of every item for sale is asked for: with the column in each empty cell, without it once.
#[test]
fn empty_lead_days_are_asked_about() {
    let folder = TempDir::new().unwrap();
    let stock = folder.path().join("stock.csv");
    let rows = fs::read_to_string(STOCK).unwrap();
    let empty = rows.replacen(",10,Harrow & Pell,", ",,Harrow & Pell,", 2);
    let none = rows.replacen(",Lead days,", ",Notes,", 1);
    for (text_of, asked) in [
        (empty, vec!["no Lead days of K4-002, which is for sale", "no Lead days of K4-003"]),
        (none, vec!["no column Lead days, and K4-002 is for sale"]),
    ] {
        fs::write(&stock, text_of).unwrap();
        let run = reorder(folder.path(), stock.to_str().unwrap(), PUMPS, &[]);
        assert_eq!(run.status.code(), Some(2));
        let said = text(&run.stderr) + &text(&run.stdout);
        for one in &asked {
            assert!(said.contains(one), "`{one}` is not in\n{said}");
        }
        assert!(!folder.path().join("p.xlsx").exists());
    }
}
