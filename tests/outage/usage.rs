//! `reorder --log` with outage files: the same demand as from the issue log that tells of the same kits.

use gapwright::issue::log::{Log, LoggedDemand};
use gapwright::outage_file::OutageFile;
use gapwright::read::{Memory, issue_log};
use serde_json::Value;

use crate::commands::{begun, run, well};
use crate::log::{issued, outage, take};
use crate::shop::Shop;

/// The purchase without its inputs.
fn reordered(shop: &Shop, logs: &[&str]) -> Value {
    let stock = std::fs::read_to_string("samples/tiny/stock.csv").unwrap();
    let mut lines = stock.lines();
    let priced: Vec<String> =
        std::iter::once(format!("{},Pack qty,Lead days,Supplier,Max level", lines.next().unwrap()))
            .chain(lines.map(|line| format!("{line},10,1,Someone,20")))
            .collect();
    shop.write("priced.csv", &priced.join("\n"));
    let mut call = vec![
        "reorder",
        "priced.csv",
        "pumps.csv",
        "--date",
        "2027-03-20",
        "--json",
        "-",
        "--out",
        "p.xlsx",
        "--force",
    ];
    logs.iter().for_each(|log| call.extend(["--log", log]));
    let output = shop.output(&call);
    let mut json: Value =
        serde_json::from_slice(&output.stdout).unwrap_or_else(|_| panic!("{output:?}"));
    json.as_object_mut().unwrap().remove("inputs");
    json
}

/// What is said of an item, by its stock number.
fn of_item<'v>(json: &'v Value, part: &str, item: &str) -> &'v Value {
    let list = json[part].as_array().unwrap_or_else(|| panic!("{json:#}"));
    list.iter().find(|of| of["item"] == item).unwrap_or_else(|| panic!("{item} in {json:#}"))
}

#[test]
fn an_outage_file_and_the_log_that_it_took_over_give_one_demand() {
    let shop = issued();
    outage(&shop, "stock.csv");
    take(&shop);
    let (log, _) = issue_log(&shop.at("issue-log.xlsx"), &mut Memory::default()).unwrap();
    let mut ledger = Log::new();
    let file = OutageFile::open(&shop.at("w.outage")).unwrap();
    for (date, moved) in file.outage().usage(&|_| true) {
        ledger.append(date, vec![moved]);
    }
    let mut asked = 0;
    for item in ["S10", "S20", "S30", "G90", "G105", "G120"] {
        for to in ["2027-03-01", "2027-03-02", "2027-03-03"] {
            let [log, ledger] = [&log, &ledger].map(|log| log.demand(item, "2027-03-01", to));
            assert_eq!(log, ledger, "{item} up to {to}");
            asked += log.out + log.missed;
        }
    }
    assert!(asked > 8, "{asked}");
    // On the command line: one, the other, and both, which do not count twice.
    let basis = |logs: &[&str]| -> Vec<Value> {
        let json = reordered(&shop, logs);
        let items = ["S10", "S20", "S30", "G90", "G105", "G120"];
        items.map(|item| of_item(&json, "items", item)["reorder_basis"].clone()).to_vec()
    };
    let by_log = basis(&["issue-log.xlsx"]);
    assert_ne!(by_log, basis(&[]));
    assert_eq!(by_log[2]["code"], "too_few", "{by_log:?}");
    assert_eq!(by_log, basis(&["w.outage"]));
    assert_eq!(by_log, basis(&["w.outage", "issue-log.xlsx"]));
}

/// A week by hand: what is thrown away is used, and deliveries, counts and undone entries are not.
#[test]
fn scrap_counts_and_deliveries_and_undone_entries_do_not() {
    let shop = begun();
    outage(&shop, "stock.csv");
    for booking in [
        &["receive", "S10", "5"][..],
        &["count", "S20", "7"],
        &["scrap", "S10", "2"],
        &["scrap", "S10", "1"],
        &["undo", "6"],
        &["bag", "B", "--without", "S30", "--with", "S10=3"],
        &["swap", "B", "--out", "S10=1", "--in", "S20"],
    ] {
        well(&shop, &[&["book", "w.outage", "--date", "2027-03-02"], booking].concat());
    }
    let mut ledger = Log::new();
    let file = OutageFile::open(&shop.at("w.outage")).unwrap();
    for (date, moved) in file.outage().usage(&|_| true) {
        ledger.append(date, vec![moved]);
    }
    let demand = |item: &str| ledger.demand(item, "2027-03-02", "2027-03-02");
    let none = LoggedDemand::default();
    assert_eq!(demand("S10"), LoggedDemand { out: 5, back: 1, stood_in: 3, ..none });
    assert_eq!(demand("S20"), LoggedDemand { out: 1, ..none });
    assert_eq!(demand("S30"), LoggedDemand { missed: 1, ..none });
    assert_eq!(demand("G120"), LoggedDemand { out: 1, ..none });
}

#[test]
fn damaged_and_missing_files_are_problems() {
    let shop = begun();
    crate::log::outage(&shop, "stock.csv");
    let mut bytes = shop.read("w.outage").unwrap();
    let at = bytes.len() / 2;
    bytes[at..at + 4000].fill(7);
    std::fs::write(shop.at("bad.outage"), bytes).unwrap();
    for (log, says) in [("bad.outage", "bad.outage"), ("none.outage", "no such file")] {
        let (status, said) = run(&shop, &["reorder", "stock.csv", "pumps.csv", "--log", log]);
        assert_eq!(status, 2, "{said}");
        assert!(said.contains(says), "{said}");
        assert!(shop.read("purchase.xlsx").is_none());
    }
    well(&shop, &["verify", "w.outage"]);
}
