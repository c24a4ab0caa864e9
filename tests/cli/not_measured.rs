//! Pumps with an empty cell where a reading goes: listed, not planned for, and never lost from the list.

use std::fs;
use std::path::Path;

use gapwright::formats::plan::PlanJson;
use gapwright::read::{Memory, book};
use tempfile::TempDir;

use super::{gapwright, text};

const STOCK: &str = "samples/tiny/stock.csv";
/// Two readings of D are missing, and one of E.
const ROWS: &str = "D,screwed-impeller,2,F1,F1,,\nE,screwed-impeller,2,F1,F1,0.041,\nF,screwed-impeller,3,F1,F1,,0.050\n";

/// A file of the tiny sample's pumps, with further rows.
fn pumps(folder: &Path, more: &str) -> String {
    let rows = fs::read_to_string("samples/tiny/pumps.csv").unwrap();
    let path = folder.join("pumps.csv");
    fs::write(&path, rows + more).unwrap();
    path.display().to_string()
}

/// Exit status and all that is printed.
fn run(arguments: &[&str]) -> (Option<i32>, String) {
    let run = gapwright(arguments);
    (run.status.code(), text(&run.stdout) + &text(&run.stderr))
}

fn at(folder: &Path, name: &str) -> String {
    folder.join(name).display().to_string()
}

/// Plans the tiny sample with further rows.
fn kit(folder: &Path, more: &str) -> (Option<i32>, String) {
    let [out, json, proof] = ["plan.xlsx", "plan.json", "proof.json"].map(|name| at(folder, name));
    let files = ["--out", &out, "--json", &json, "--certificate", &proof, "--force"];
    let pumps = pumps(folder, more);
    run(&[&["kit", STOCK, &pumps, "--date", "2027-03-01"], &files[..]].concat())
}

/// All texts of a sheet, row by row.
fn rows(plan: &str, sheet: &str) -> Vec<String> {
    let book = book(Path::new(plan), &mut Memory::default()).unwrap();
    let sheet = book.sheets.iter().find(|found| found.name == sheet).unwrap();
    let row = |row: &gapwright::sheet::SheetRow| {
        row.cells.iter().map(|(_, cell)| cell.show()).collect::<Vec<_>>().join(" | ")
    };
    sheet.rows.iter().map(row).collect()
}

#[test]
fn measured_pumps_are_planned_as_if_the_others_were_not_there() {
    let folder = TempDir::new().unwrap();
    let folder = folder.path();
    let json = at(folder, "plan.json");
    let plan = || serde_json::from_slice::<PlanJson>(&fs::read(&json).unwrap()).unwrap();
    let (status, told) = kit(folder, "");
    assert_eq!(status, Some(0), "{told}");
    assert!(!told.contains("measured pumps"), "{told}");
    let alone = plan();
    assert!(alone.not_measured.is_empty());
    let (status, told) = kit(folder, ROWS);
    assert_eq!(status, Some(0), "{told}");
    for said in [
        "3 of 3 measured pumps can be kitted",
        "3 pumps are not measured: nothing is planned for them.",
        "  D waits for Bare clearance (in), Snap ring (in)\n",
        "  E waits for Snap ring (in)\n",
        "  F waits for Bare clearance (in)\n",
    ] {
        assert!(told.contains(said), "{said}: {told}");
    }
    let with = plan();
    // Nothing is known ahead of them, and nothing is said of it.
    assert!(with.left_for_not_measured.is_none() && !told.contains("drawn at random"), "{told}");
    assert_eq!((&with.pumps, &with.stock, &with.goals), (&alone.pumps, &alone.stock, &alone.goals));
    let listed = with.not_measured.iter().map(|pump| (&*pump.tag, pump.priority));
    assert_eq!(listed.collect::<Vec<_>>(), [("D", 2), ("E", 2), ("F", 3)]);
    assert_eq!(with.not_measured[0].waits_for, ["Bare clearance (in)", "Snap ring (in)"]);
    let plan = at(folder, "plan.xlsx");
    let has = |sheet: &str, row: &str| {
        let rows = rows(&plan, sheet);
        assert!(rows.iter().any(|found| found == row), "{row} on {sheet}: {rows:#?}");
    };
    has("Summary", "E | screwed-impeller | 2 | not measured | Snap ring (in)");
    has("Short", "D | 2 | Bare clearance (in), Snap ring (in)");
    has("Picking list", "Not measured, so there is nothing to pick for them yet: D, E, F");
    for sheet in ["Kits", "Labels", "Issue"] {
        let rows = rows(&plan, sheet);
        assert!(!rows.iter().any(|row| row.split(" | ").any(|cell| cell == "D")), "{rows:#?}");
    }
}

/// The list of a plan is held against the pumps that the workbook has no reading of, both ways.
#[test]
fn verify_misses_no_pump_that_is_not_measured() {
    let folder = TempDir::new().unwrap();
    let folder = folder.path();
    let proof = at(folder, "proof.json");
    let verify = |plan: &str, pumps: &str| {
        run(&["verify", &at(folder, plan), STOCK, pumps, "--certificate", &proof])
    };
    assert_eq!(kit(folder, ROWS).0, Some(0));
    for plan in ["plan.json", "plan.xlsx"] {
        let (status, told) = verify(plan, &at(folder, "pumps.csv"));
        assert_eq!(status, Some(0), "{told}");
        assert!(told.contains("Every kit holds: 3 of 3 measured pumps."), "{told}");
        // A fourth pump waits by now, and one of the three does not wait any more.
        let more =
            ROWS.replace("E,screwed-impeller,2,F1,F1,0.041,", "G,screwed-impeller,2,F1,F1,,");
        let pumps = pumps(folder, &more);
        let (status, told) = verify(plan, &pumps);
        assert_eq!(status, Some(1), "{told}");
        assert!(told.contains("pump G is not measured, and the plan does not list it"), "{told}");
        assert!(told.contains("pump E is listed as not measured"), "{told}");
        self::pumps(folder, ROWS);
        // A reading of a pump with a kit is gone.
        let gone = fs::read_to_string(&pumps).unwrap().replace("0.041,0.050", ",0.050");
        fs::write(&pumps, gone).unwrap();
        let (status, told) = verify(plan, &pumps);
        assert_eq!(status, Some(2), "{told}");
        assert!(told.contains("a kit for `A`, which is not measured"), "{told}");
        self::pumps(folder, ROWS);
    }
}

#[test]
fn only_an_empty_cell_is_a_missing_reading() {
    let folder = TempDir::new().unwrap();
    let folder = folder.path();
    // What cannot be read stays a problem, in a pump that waits for another reading too.
    let (status, told) = kit(folder, "D,screwed-impeller,2,F1,F1,?,\n");
    assert_eq!(status, Some(2), "{told}");
    assert!(told.contains("`?`"), "{told}");
    let (status, told) = kit(folder, "D,screwed-impeller,2,,F1,,\n");
    assert_eq!(status, Some(2), "{told}");
    assert!(told.contains("a value for `Bearing shims fit`"), "{told}");
    // The codes of a pump that waits are held against the stock as ever.
    let (status, told) = kit(folder, "D,screwed-impeller,2,F7,F1,,\n");
    assert_eq!(status, Some(2), "{told}");
    assert!(told.contains("the fit code `F7`"), "{told}");
    // A column that is gone is no reading that is missing.
    let pumps = pumps(folder, ROWS);
    let all = fs::read_to_string(&pumps).unwrap();
    fs::write(&pumps, all.replace(",Snap ring (in)", "").replace(",0.050\n", "\n")).unwrap();
    let (status, told) = run(&["check", STOCK, &pumps]);
    assert_eq!(status, Some(2), "{told}");
    assert!(told.contains("no column `Snap ring`"), "{told}");
    // With no pump measured there is nothing to plan.
    fs::write(&pumps, all.replace(",0.050\n", ",\n").replace(",0.041,", ",,")).unwrap();
    for command in [vec!["kit", STOCK, &pumps], vec!["check", STOCK, &pumps], vec!["check", &pumps]]
    {
        let (status, told) = run(&command);
        assert_eq!(status, Some(2), "{told}");
        assert!(told.contains("no pump whose readings are all there (6 rows)"), "{told}");
        assert!(told.contains("1 problem."), "{told}");
    }
}

#[test]
fn commands_that_cannot_go_on_without_a_reading_name_its_cell() {
    let folder = TempDir::new().unwrap();
    let folder = folder.path();
    let pumps = pumps(folder, ROWS);
    let out = at(folder, "out.xlsx");
    let (status, told) = run(&["check", STOCK, &pumps]);
    assert_eq!(status, Some(0), "{told}");
    assert!(
        told.contains("Pumps: 3 pumps") && told.contains("  E waits for Snap ring (in)"),
        "{told}"
    );
    for command in [
        vec!["stack", &pumps, "--stock", STOCK, "--pump", "E", "--out", &out],
        vec!["reorder", STOCK, &pumps, "--out", &out],
    ] {
        let (status, told) = run(&command);
        assert_eq!(status, Some(2), "{told}");
        assert!(told.contains("G6") && told.contains("a value for `Snap ring (in)`"), "{told}");
    }
    let (status, told) = run(&["stack", &pumps, "--stock", STOCK, "--out", &out]);
    assert_eq!(status, Some(0), "{told}");
    assert!(told.contains("3 pumps are not measured"), "{told}");
}

/// One pump that is measured, and two that are not: the range of one is known. The only S20 would do for both.
const AHEAD: &str = "Tag,Model,Priority,Bearing shims fit,Cover gasket fit,Bare clearance (in),Snap ring (in),Bare clearance low (in),Bare clearance high (in)
B,screwed-impeller,1,F1,F1,0.051,0.050,,
W,screwed-impeller,1,F1,F1,,0.050,0.0405,0.0415
X,screwed-impeller,1,F1,F1,,0.050,,
";

#[test]
fn pieces_are_held_back_for_a_pump_whose_range_is_known() {
    let folder = TempDir::new().unwrap();
    let folder = folder.path();
    let [stock, pumps, out, json] =
        ["stock.csv", "pumps.csv", "plan.xlsx", "plan.json"].map(|name| at(folder, name));
    let lots = fs::read_to_string(STOCK).unwrap().replace("0.010,0.0002,2", "0.010,0.0002,1");
    fs::write(&stock, lots).unwrap();
    fs::write(&pumps, AHEAD).unwrap();
    let kit = |more: &[&str]| {
        let usual = [
            "kit",
            &stock,
            &pumps,
            "--date",
            "2027-03-01",
            "--force",
            "--out",
            &out,
            "--json",
            &json,
        ];
        let (status, told) = run(&[&usual[..], more].concat());
        assert_eq!(status, Some(0), "{told}");
        let plan: PlanJson = serde_json::from_slice(&fs::read(&json).unwrap()).unwrap();
        (told.split_whitespace().collect::<Vec<_>>().join(" "), plan)
    };
    let after = |plan: &PlanJson, item: &str| {
        plan.stock.iter().find(|lot| lot.item == item).map(|lot| lot.after).unwrap()
    };
    let (told, plan) = kit(&[]);
    assert!(told.contains("What this plan leaves kits W in 0 of 1000 outages"), "{told}");
    assert!(told.contains("if the plan took nothing, in 1000"), "{told}");
    assert!(told.contains("with one more on hand of S20 (taken by B) in 1000"), "{told}");
    assert!(
        told.contains("Not counted, since nothing is known ahead of their readings: X ("),
        "{told}"
    );
    let left = plan.left_for_not_measured.clone().unwrap();
    let count = left.count.unwrap();
    assert_eq!((count.kitted, count.without_plan, count.draws), (0, 1000, 1000));
    assert_eq!(count.used_up[0].item, "S20");
    assert_eq!(left.not_counted[0].tag, "X");
    assert!(left.held_back.is_empty());
    assert_eq!((after(&plan, "S20"), after(&plan, "S30")), (0, 1));
    // Held back, the S20 stays in its bin, and the pump that is measured takes the dearer S30.
    let (told, held) = kit(&["--keep-for-unmeasured"]);
    assert!(told.contains("Held back for W (not measured):") && told.contains("1 x S20"), "{told}");
    assert!(told.contains("What this plan leaves kits W in 1000 of 1000 outages"), "{told}");
    assert!(!told.contains("uses up"), "{told}");
    assert!(held.proven);
    let left = held.left_for_not_measured.clone().unwrap();
    let count = left.count.unwrap();
    assert_eq!((count.kitted, count.held_alone), (1000, Some(1000)));
    assert!(
        told.contains("The pieces held back do by themselves in 1000 of these outages"),
        "{told}"
    );
    assert!(left.held_back.iter().any(|of| of.item == "S20" && of.held == 1 && of.wanted == 1));
    assert_eq!((after(&held, "S20"), after(&held, "S30")), (1, 0));
    for sheet in ["Summary", "Picking list"] {
        let found = rows(&out, sheet);
        assert!(found.iter().any(|row| row.contains("1 x S20")), "{sheet}: {found:#?}");
    }
    // With an outage file too.
    let outage = at(folder, "week.outage");
    let proof = at(folder, "proof.json");
    let (told, _) = kit(&["--keep-for-unmeasured", "--outage", &outage, "--certificate", &proof]);
    assert!(told.contains("Held back for W"), "{told}");
    // For anyone to add up, and in the ledger.
    let (status, told) = run(&["verify", &json, "--outage", &outage, "--certificate", &proof]);
    assert_eq!(status, Some(0), "{told}");
    assert!(told.contains("Held back for W (not measured): "), "{told}");
    assert!(told.contains("pieces held back, by need 100.0 %: proven"), "{told}");
    let (_, told) = run(&["status", &outage]);
    assert!(told.contains("Held back for W (not measured): "), "{told}");
    assert!(told.contains("What this plan leaves kits W in 1000 of 1000 outages"), "{told}");
    // Where nothing is known ahead, that is said.
    let none = AHEAD.replace("0.0405,0.0415", ",");
    fs::write(&pumps, none).unwrap();
    let (told, plan) = kit(&["--keep-for-unmeasured"]);
    assert!(told.contains("nothing is held back: no range and no past readings"), "{told}");
    assert!(plan.left_for_not_measured.is_none());
    assert_eq!(after(&plan, "S20"), 0);
}

/// Past readings of the model do where a pump has no range; too few of them are said to be so.
#[test]
fn past_readings_tell_what_is_needed() {
    let folder = TempDir::new().unwrap();
    let folder = folder.path();
    let [past, pumps, out] = ["past.csv", "pumps.csv", "plan.xlsx"].map(|name| at(folder, name));
    fs::write(&pumps, AHEAD.replace("0.0405,0.0415", ",")).unwrap();
    let reading =
        |at: u32| format!("screwed-impeller,T{at},{:.4}\n", 0.0405 + 0.0001 * f64::from(at));
    let mut rows: String = (0..9).map(reading).collect();
    rows.insert_str(0, "Model,Tag,Bare clearance (in)\n");
    fs::write(&past, &rows).unwrap();
    let kit = || run(&["kit", STOCK, &pumps, "--history", &past, "--force", "--out", &out]);
    let (status, told) = kit();
    assert_eq!(status, Some(0), "{told}");
    assert!(told.contains("all 2 of them that are known ahead"), "{told}");
    fs::write(&past, rows.lines().take(4).collect::<Vec<_>>().join("\n")).unwrap();
    let (status, told) = kit();
    assert_eq!(status, Some(0), "{told}");
    assert!(told.contains("W (Impeller clearance with no shims: 3 past readings"), "{told}");
}
