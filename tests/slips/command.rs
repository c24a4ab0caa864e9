//! `gapwright slips` on the command line.

use std::fs;
use std::path::Path;

use assert_cmd::Command;
use tempfile::TempDir;

#[path = "../support/shop.rs"]
#[allow(dead_code)]
mod shop;

use gapwright::read::{self, Memory};
use gapwright::sheet::{Cell, SheetRow};
use shop::{Put, change};

const SAMPLE: [&str; 2] = ["samples/outage/stock.xlsx", "samples/outage/pumps.xlsx"];

fn gapwright(folder: &Path, arguments: &[&str]) -> (i32, String, String) {
    let mut command = Command::cargo_bin("gapwright").unwrap();
    let output = command.current_dir(folder).args(arguments).output().unwrap();
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).unwrap();
    (output.status.code().unwrap(), text(output.stdout), text(output.stderr))
}

/// A folder with the sample outage and its plan.
fn shop() -> TempDir {
    let folder = TempDir::new().unwrap();
    for path in SAMPLE {
        let path = Path::new(path);
        fs::copy(path, folder.path().join(path.file_name().unwrap())).unwrap();
    }
    let plan = ["kit", "stock.xlsx", "pumps.xlsx", "--date", "2027-03-01", "--json", "plan.json"];
    assert_eq!(gapwright(folder.path(), &plan).0, 0);
    folder
}

const CALL: [&str; 4] = ["slips", "kit-plan.xlsx", "stock.xlsx", "pumps.xlsx"];

fn slips(folder: &Path, more: &[&str]) -> (i32, String, String) {
    gapwright(folder, &[&CALL[..], &["--date", "2027-03-01"], more].concat())
}

#[test]
fn the_page_is_written_once_and_replaced_only_when_told() {
    let shop = shop();
    let (code, said, warned) = slips(shop.path(), &[]);
    assert_eq!(code, 0, "{warned}");
    assert!(said.contains("28 slips, 27 labels."), "{said}");
    assert!(said.contains("NOT FIT TO ASSEMBLE: P-299."), "{said}");
    let first = fs::read(shop.path().join("slips.html")).unwrap();
    let (code, _, warned) = slips(shop.path(), &["--only", "labels"]);
    assert_eq!(code, 3, "{warned}");
    assert_eq!(fs::read(shop.path().join("slips.html")).unwrap(), first);
    assert_eq!(slips(shop.path(), &["--force"]).0, 0);
    // The same plan and date give the same page, from the plan's JSON too.
    assert_eq!(fs::read(shop.path().join("slips.html")).unwrap(), first);
    let call =
        ["slips", "plan.json", "stock.xlsx", "pumps.xlsx", "--date", "2027-03-01", "--force"];
    assert_eq!(gapwright(shop.path(), &call).0, 0);
    assert_eq!(fs::read(shop.path().join("slips.html")).unwrap(), first);
}

#[test]
fn parts_and_pumps_are_chosen() {
    let shop = shop();
    let (code, said, _) =
        slips(shop.path(), &["--only", "slips", "--pump", "p-208", "--pump", "P-299"]);
    assert_eq!((code, said.contains("2 slips.")), (0, true), "{said}");
    let page = fs::read_to_string(shop.path().join("slips.html")).unwrap();
    assert!(page.contains("P-208") && page.contains("P-299") && !page.contains("P-102"));
    assert!(!page.contains("Picking list"));
    let (code, _, warned) = slips(shop.path(), &["--force", "--pump", "P-209"]);
    assert_eq!(code, 2);
    assert!(warned.contains("--pump P-209") && warned.contains("P-20"), "{warned}");
}

#[test]
fn every_wrong_option_is_listed_at_once_and_nothing_is_written() {
    let shop = shop();
    let more = ["--labels", "3x8", "--label-size", "80x37", "--pump", "none", "--out", "slips.pdf"];
    let (code, _, warned) = slips(shop.path(), &more);
    assert_eq!(code, 2);
    for part in ["slips.pdf", "--pump none", "labels that take 240 x 296 mm", "Nothing was written"]
    {
        assert!(warned.contains(part), "{part} in {warned}");
    }
    let (code, _, warned) = slips(shop.path(), &["--label-size", "70x37"]);
    assert_eq!((code, warned.contains("--labels COLUMNSxROWS")), (2, true), "{warned}");
    let (code, _, warned) = slips(shop.path(), &["--labels", "three", "--label-size", "70"]);
    assert_eq!(code, 2);
    assert!(warned.contains("--labels three") && warned.contains("--label-size 70"), "{warned}");
    assert!(!shop.path().join("slips.html").exists());
}

/// Other workbooks or rules than the plan's would give other ranges.
#[test]
fn a_plan_of_other_workbooks_or_rules_is_refused() {
    let shop = shop();
    let (code, _, warned) = slips(shop.path(), &["--acceptance", "nominal"]);
    assert_eq!(code, 2);
    assert!(warned.contains("a plan made with Acceptance worst case, and nominal now"), "{warned}");
    let other = ["slips", "kit-plan.xlsx", "pumps.xlsx", "stock.xlsx"];
    assert_eq!(gapwright(shop.path(), &other).0, 2);
    let not_a_plan = ["slips", "pumps.xlsx", "stock.xlsx", "pumps.xlsx"];
    assert_eq!(gapwright(shop.path(), &not_a_plan).0, 2);
    fs::copy("samples/tiny/stock.csv", shop.path().join("tiny.csv")).unwrap();
    let stock = ["slips", "kit-plan.xlsx", "tiny.csv", "pumps.xlsx"];
    let (code, _, warned) = gapwright(shop.path(), &stock);
    assert_eq!((code, shop.path().join("slips.html").exists()), (2, false), "{warned}");
}

/// A plan within an outage carries the outage's name and the numbers of its kits.
#[test]
fn a_plan_of_an_outage_has_its_numbers() {
    let shop = shop();
    let plan =
        ["kit", "stock.xlsx", "pumps.xlsx", "--outage", "week-12.outage", "--out", "week.xlsx"];
    let (code, _, warned) = gapwright(shop.path(), &plan);
    assert_eq!(code, 0, "{warned}");
    let call = ["slips", "week.xlsx", "stock.xlsx", "pumps.xlsx", "--outage", "week-12.outage"];
    let (code, said, warned) = gapwright(shop.path(), &call);
    assert_eq!(code, 0, "{warned}");
    assert!(said.contains("(week-12, plan 1, ledger "), "{said}");
    let page = fs::read_to_string(shop.path().join("slips.html")).unwrap();
    assert!(page.contains("week-12, plan 1, ledger") && page.contains("of 28)"));
    // A plan from before is not the outage's last one.
    fs::remove_file(shop.path().join("slips.html")).unwrap();
    for booking in [&["bag", "P-208"][..], &["issue", "P-208"], &["scrap", "SH-F6-012", "1"]] {
        let call = [&["book", "week-12.outage"], booking].concat();
        let (code, _, warned) = gapwright(shop.path(), &call);
        assert_eq!(code, 0, "{warned}");
    }
    let again =
        ["kit", "stock.xlsx", "pumps.xlsx", "--outage", "week-12.outage", "--out", "next.xlsx"];
    let (code, _, warned) = gapwright(shop.path(), &again);
    assert_eq!(code, 0, "{warned}");
    let next = ["slips", "next.xlsx", "stock.xlsx", "pumps.xlsx", "--outage", "week-12.outage"];
    let (code, said, warned) =
        gapwright(shop.path(), &[&next[..], &["--since", "week.xlsx"]].concat());
    assert_eq!(code, 0, "{warned}");
    // The slip of a pump at the bench is in use: nobody is told to tear it up.
    let line = |front: &str| said.lines().find(|line| line.starts_with(front)).unwrap_or_default();
    assert!(line("Not in this plan.").ends_with(": P-208."), "{said}");
    assert!(!line("Tear up").contains("P-208"), "{said}");
    let (code, _, warned) = gapwright(shop.path(), &[&call[..], &["--force"]].concat());
    assert_eq!((code, warned.contains("the last plan of the outage is")), (2, true), "{warned}");
}

/// A plan of the same workbooks changes no slip. With a reading changed, its pump's slip is printed again, and so are
/// those of the pumps whose kits followed; the list says which old ones to tear up.
#[test]
fn only_the_slips_that_changed_are_printed() {
    let shop = shop();
    let at = |name: &str| shop.path().join(name);
    let since = |plan: &str, pumps: &str| {
        let call = [
            "slips",
            plan,
            "stock.xlsx",
            pumps,
            "--only",
            "slips",
            "--since",
            "kit-plan.xlsx",
            "--force",
        ];
        let (code, said, warned) = gapwright(shop.path(), &call);
        assert_eq!(code, 0, "{warned}");
        (said, fs::read_to_string(at("slips.html")).unwrap())
    };
    let (said, page) = since("plan.json", "pumps.xlsx");
    assert!(said.contains("stay true: P-208, P-102") && !said.contains("Tear up"), "{said}");
    assert_eq!(page.matches("<article").count(), 0);
    assert!(page.contains("These slips of plan "));
    // P-208 reads otherwise.
    fs::copy(at("pumps.xlsx"), at("again.xlsx")).unwrap();
    let book = read::book(&at("again.xlsx"), &mut Memory::default()).unwrap();
    let sheet = book.sheets.iter().find(|sheet| sheet.name == "Pumps").unwrap();
    let shown = |row: &SheetRow, column: u32| row.cell(column).map(Cell::show).unwrap_or_default();
    let heads = sheet.rows.iter().find(|row| shown(row, 0) == "Tag").unwrap();
    let row = sheet.rows.iter().find(|row| shown(row, 0) == "P-208").unwrap();
    let readings = (0..40).filter(|column| shown(heads, *column).starts_with("Bare clearance "));
    let changes: Vec<(String, Put)> = readings
        .map(|column| {
            let read: f64 = shown(row, column).parse().unwrap();
            let place = sheet.place(row.number, column).to_string();
            let (_, cell) = place.rsplit_once(" cell ").unwrap();
            (cell.to_string(), Put::from(&*format!("{:.4}", read + 0.003)))
        })
        .collect();
    assert_eq!(changes.len(), 3);
    change(&at("again.xlsx"), "Pumps", &changes);
    let plan = ["kit", "stock.xlsx", "again.xlsx", "--out", "new.xlsx", "--json", "new.json"];
    assert_eq!(gapwright(shop.path(), &plan).0, 0);
    for plan in ["new.xlsx", "new.json"] {
        let (said, page) = since(plan, "again.xlsx");
        let list = |front: &str| {
            let line = said.lines().find(|line| line.starts_with(front)).unwrap_or_default();
            let (_, tags) = line.split_once(": ").unwrap();
            tags.trim_end_matches('.').split(", ").map(String::from).collect::<Vec<_>>()
        };
        let (torn, stay) = (list("Tear up these slips"), list("These slips of plan"));
        assert!(torn.contains(&"P-208".to_string()), "{said}");
        assert_eq!(torn.len() + stay.len(), 28, "{said}");
        assert_eq!(page.matches("<article").count(), torn.len());
        for tag in &stay {
            assert!(!page.contains(&format!("Code: gapwright:2 {tag}")));
        }
        assert!(stay.len() > 15, "{said}");
    }
    // A JSON has no words of slips.
    let call = ["slips", "new.json", "stock.xlsx", "again.xlsx", "--since", "plan.json", "--force"];
    assert_eq!(gapwright(shop.path(), &call).0, 2);
}
