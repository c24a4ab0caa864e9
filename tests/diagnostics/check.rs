//! `gapwright check` reads everything, writes no file, and reports by its exit status.

use std::fs;

use super::{PUMPS, STOCK, Shop, gapwright, json, text};

#[test]
fn the_exit_status_says_how_it_is_and_nothing_is_written() {
    let shop = Shop::new();
    let before = shop.names();
    let clean = gapwright(&["check", STOCK, PUMPS]);
    assert_eq!((clean.status.code(), text(&clean.stderr)), (Some(0), String::new()));
    let said = text(&clean.stdout);
    let expected = [
        "sheet stock: 7 rows",
        "sheet pumps: 4 rows",
        "Stock: 6 lots, 7 pieces.",
        "Pumps: 3 pumps (3 of screwed-impeller), 6 requirements.",
        "Nothing is wrong.",
    ];
    for words in expected {
        assert!(said.contains(words), "`{words}` in\n{said}");
    }
    let stock = fs::read_to_string(STOCK).unwrap();
    let exact = shop.write("exact.csv", &stock.replace("0.010,0.0002", "0.010,0"));
    let warned = gapwright(&["check", &exact, PUMPS]);
    assert_eq!(warned.status.code(), Some(1));
    assert!(text(&warned.stderr).contains("warning  exact!E2\n"), "{}", text(&warned.stderr));
    assert!(text(&warned.stderr).ends_with("1 warning.\n"));
    assert!(
        text(&warned.stdout).contains("Stock: 6 lots")
            && !text(&warned.stdout).contains("Nothing is wrong")
    );
    let list = json(&gapwright(&["check", &exact, PUMPS, "--problems", "json"]));
    assert_eq!((list.exit_status, list.counts.problems, list.counts.warnings), (1, 0, 1));
    assert_eq!(list.read.unwrap().lots, Some(6));
    let bad = gapwright(&["check", &shop.at("stock.csv"), PUMPS]);
    assert_eq!(bad.status.code(), Some(2));
    assert!(text(&bad.stderr).ends_with("2 problems. Nothing was written.\n"));
    fs::remove_file(exact).unwrap();
    assert_eq!(shop.names(), before);
}

#[test]
fn either_workbook_can_be_checked_alone() {
    let stock = gapwright(&["check", "samples/outage/stock.xlsx"]);
    assert_eq!(stock.status.code(), Some(0), "{}", text(&stock.stderr));
    let said = text(&stock.stdout);
    assert!(said.contains("Stock: 40 lots") && !said.contains("Pumps:"), "{said}");
    assert!(said.contains("Not checked, since there are no pumps"));
    assert!(said.contains("Not used: column `Counted by` of sheet Stock."));
    let pumps = gapwright(&["check", "samples/outage/pumps.xlsx"]);
    assert_eq!(pumps.status.code(), Some(0), "{}", text(&pumps.stderr));
    let said = text(&pumps.stdout);
    assert!(
        said.contains("28 pumps (21 of screwed-impeller, 7 of front-set-metric), 56 requirements"),
        "{said}"
    );
    assert!(!said.contains("Stock:") && said.contains("since there is no stock"));
    // A folder that holds both sheets is read as both.
    let shop = Shop::new();
    fs::create_dir(shop.path("both")).unwrap();
    fs::copy(STOCK, shop.path("both/Stock.csv")).unwrap();
    fs::copy(PUMPS, shop.path("both/Pumps.csv")).unwrap();
    let both = gapwright(&["check", &shop.at("both")]);
    let said = text(&both.stdout);
    assert!(said.contains("Stock: 6 lots") && said.contains("Pumps: 3 pumps"), "{said}");
    // A folder that holds neither gets one report.
    let neither = shop.write("neither.csv", "a,b\n1,2\n");
    let list = json(&gapwright(&["check", &neither, "--problems", "json"]));
    assert_eq!((list.exit_status, list.problems.len()), (2, 1), "{:?}", list.problems);
    assert!(list.problems[0].found.contains("neither a sheet `Stock` nor a sheet `Pumps`"));
    let none = json(&gapwright(&["check", &shop.at("none.xlsx"), "--problems", "json"]));
    assert_eq!((none.exit_status, none.problems.len()), (2, 1));
    assert!(none.problems[0].found.contains("no such file"));
}

/// Settings of the command line are checked by the rules of `kit`; where they apply to no file they are reported, not
/// ignored.
#[test]
fn settings_are_checked_too() {
    let list =
        json(&gapwright(&["check", STOCK, PUMPS, "--acceptance", "wurst", "--problems", "json"]));
    assert_eq!((list.exit_status, list.problems.len()), (2, 1));
    assert_eq!(list.problems[0].file, "command line");
    let list = json(&gapwright(&["check", STOCK, "--acceptance", "nominal", "--problems", "json"]));
    assert!(list.exit_status == 2 && list.problems[0].found.contains("without a pump workbook"));
    let folder = ["--models", "no-such-folder", "--problems", "json"];
    let list = json(&gapwright(&[&["check", STOCK, PUMPS][..], &folder].concat()));
    assert_eq!((list.exit_status, list.problems[0].file.as_str()), (2, "no-such-folder"));
}
