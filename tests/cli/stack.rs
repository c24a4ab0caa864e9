//! `gapwright stack` as an engineer runs it.

use std::fs;

use calamine::{Data, Reader, Xlsx, open_workbook};
use tempfile::TempDir;

use super::{PUMPS, STOCK, gapwright, text};

const PACKS: [&str; 4] = [
    "--pack",
    "bearing_shims=0.020 +/- 0.0003, 0.012 +/- 0.0003",
    "--pack",
    "cover_gasket=2 x 0.0625 +/- 0.001",
];

fn sheet(path: &str, name: &str) -> Vec<Vec<Data>> {
    let mut book: Xlsx<_> = open_workbook(path).unwrap();
    let range = book.worksheet_range(name).unwrap();
    range.rows().map(<[Data]>::to_vec).collect()
}

/// Without a stock: the pieces are stated, and the account, the draws and the sweep follow.
/// By hand: 0.0540 - 0.032 = 0.0220 in; at worst 0.0003 for the clearance and each shim, 0.0009; so
/// 0.0230 - 0.0220 - 0.0009 = 0.0001 are left, and with shims good to 0.0004 each -0.0001.
#[test]
fn pieces_are_stated_without_any_stock() {
    let folder = TempDir::new().unwrap();
    let out = folder.path().join("s.xlsx").to_str().unwrap().to_string();
    let sweep = "bearing_shims plus_minus = 0.0003 .. 0.0004";
    let rest = [
        "--pump",
        "P-101",
        "--out",
        &out,
        "--sweep",
        sweep,
        "--steps",
        "2",
        "--date",
        "2027-03-01",
    ];
    let run = gapwright(&[&["stack", PUMPS], &PACKS[..], &rest[..]].concat());
    assert_eq!(run.status.code(), Some(0), "{}", text(&run.stderr));
    let said = text(&run.stdout);
    for words in [
        "Impeller running clearance: met by the worst case rule, margin 0.0001 in",
        "value 0.02200, limits 0.01900 to 0.02300; worst case -0.00090 +0.00090, root sum square 0.00052, expanded 0.00060 (k 2.000)",
        "to 0.02259; none of 160000 draws misses its limits",
        "        moved to  Impeller running clearance  Cover gasket free thickness",
        "0.0003      0.0001                     0.00428\n",
        "0.0004     -0.0001 NOT MET              0.0040\n",
        "2 of 2 requirements met by the worst case rule.",
        "0.0003      0.0001",
        "0.0004     -0.0001 NOT MET",
    ] {
        assert!(said.contains(words), "`{words}` in\n{said}");
    }
    let drawn = sheet(&out, "Monte Carlo");
    let row = drawn
        .iter()
        .find(|row| row[0] == Data::String("P-101".into()));
    let row = row.unwrap();
    assert_eq!(row[4], Data::String("yes".into()));
    let Data::Float(mean) = row[5] else {
        panic!("{row:?}")
    };
    assert!((mean - 0.022).abs() < 1e-5);
    let swept = sheet(&out, "Sweep");
    assert!(
        swept
            .iter()
            .flatten()
            .any(|c| *c == Data::String("NOT MET".into()))
    );
    // Never over what is there, and the same bytes from the same call.
    let again = gapwright(&[&["stack", PUMPS], &PACKS[..], &rest[..]].concat());
    assert_eq!(again.status.code(), Some(3));
    let first = fs::read(&out).unwrap();
    let forced = gapwright(&[&["stack", PUMPS], &PACKS[..], &rest[..], &["--force"]].concat());
    assert_eq!(forced.status.code(), Some(0));
    assert!(fs::read(&out).unwrap() == first);
}

/// Chosen afresh, and as a plan has it: the same pieces, so the same account.
#[test]
fn pieces_are_chosen_or_taken_from_a_plan() {
    let folder = TempDir::new().unwrap();
    let path = |name: &str| folder.path().join(name).to_str().unwrap().to_string();
    let (plan, json) = (path("plan.xlsx"), path("plan.json"));
    let run = gapwright(&["kit", STOCK, PUMPS, "--out", &plan, "--json", &json]);
    assert_eq!(run.status.code(), Some(0));
    let stack = |out: &str, more: &[&str]| {
        let base = [
            "stack", PUMPS, "--stock", STOCK, "--out", out, "--draws", "200000",
        ];
        gapwright(&[&base[..], more].concat())
    };
    let (a, b) = (path("a.xlsx"), path("b.xlsx"));
    let chosen = stack(&a, &["--pump", "P-103", "--pump", "p-401"]);
    let planned = stack(&b, &["--pump", "P-103", "--pump", "p-401", "--plan", &json]);
    assert_eq!(
        (chosen.status.code(), planned.status.code()),
        (Some(0), Some(0))
    );
    let body = |said: &str| -> String {
        let lines = said.lines().filter(|line| !line.starts_with("Wrote"));
        lines.collect::<Vec<_>>().join("\n")
    };
    assert_eq!(body(&text(&chosen.stdout)), body(&text(&planned.stdout)));
    assert!(text(&chosen.stdout).contains("P-401"));
    assert!(!text(&chosen.stdout).contains("left out"));
    // The pump that is short is said and left out, at the end too; if it is the only one, nothing
    // is left to write.
    let short = stack(&path("c.xlsx"), &["--pump", "P-299", "--pump", "P-103"]);
    assert_eq!(short.status.code(), Some(0));
    let (said, warned) = (text(&short.stdout), text(&short.stderr));
    assert!(warned.contains("P-299: left out"), "{warned}");
    assert!(said.contains("\nleft out: P-299\nWrote "), "{said}");
    for (more, why) in [
        (vec![], "P-299: no kit can be chosen for it"),
        (vec!["--plan", &json], "P-299: the plan has no kit for it"),
    ] {
        let none = path("none.xlsx");
        let none_at_all = stack(&none, &[&["--pump", "P-299"], &more[..]].concat());
        let said = text(&none_at_all.stderr);
        assert_eq!(none_at_all.status.code(), Some(2), "{said}");
        assert!(said.contains(why) && said.contains("1 problem. Nothing was written."));
        assert!(!std::path::Path::new(&none).exists());
    }
    // Chosen anew at every step the pump stays kitted where held pieces fail.
    let sweep = [
        "--pump",
        "P-103",
        "--sweep",
        "bare_clearance = 0.030 .. 0.036",
        "--steps",
        "3",
    ];
    let held = stack(&path("d.xlsx"), &sweep);
    let anew = stack(&path("e.xlsx"), &[&sweep[..], &["--rechoose"]].concat());
    assert!(
        text(&held.stdout).contains("NOT MET"),
        "{}",
        text(&held.stdout)
    );
    let said = text(&anew.stdout);
    assert!(
        said.contains("pieces chosen anew for this pump alone, out of the whole drawer")
            && !said.contains("NOT MET"),
        "{said}"
    );
}

/// By hand: 0.0540 - 0.020 - 0.011 = 0.0230 in is the upper limit itself, so about half of the draws miss
/// it; with 0.040 the clearance is 0.0140, and every draw misses.
#[test]
fn the_last_line_counts_what_is_not_met() {
    let folder = TempDir::new().unwrap();
    let out = folder.path().join("s.xlsx").to_str().unwrap().to_string();
    for (shims, draws) in [
        (
            "0.020 +/- 0.0003, 0.011 +/- 0.0003",
            "; conforms with probability 0.",
        ),
        ("0.040 +/- 0.0003", "; all of 160000 draws miss its limits"),
    ] {
        let shims = format!("bearing_shims={shims}");
        let run = gapwright(&[
            "stack", PUMPS, "--pump", "P-101", "--pack", &shims, PACKS[2], PACKS[3], "--out", &out,
            "--force",
        ]);
        assert_eq!(run.status.code(), Some(0), "{}", text(&run.stderr));
        let said = text(&run.stdout);
        let counted = "of 2 requirements NOT MET by the worst case rule.\nWrote ";
        assert!(said.contains(draws) && said.contains(counted), "{said}");
    }
}

#[test]
fn what_cannot_be_worked_out_is_refused_with_every_reason() {
    let folder = TempDir::new().unwrap();
    let out = folder.path().join("s.xlsx").to_str().unwrap().to_string();
    let refused = |more: &[&str], words: &[&str]| {
        let run = gapwright(&[&["stack", PUMPS, "--out", &out], more].concat());
        let said = text(&run.stderr);
        assert_eq!(run.status.code(), Some(2), "{more:?}: {said}");
        for word in words {
            assert!(said.contains(word), "`{word}` in\n{said}");
        }
        assert!(!folder.path().join("s.xlsx").exists());
    };
    refused(&[], &["neither --stock nor --pack"]);
    refused(
        &["--pump", "P-999", "--date", "soon"],
        &["P-999", "--date soon", "3 problems"],
    );
    let with = |more: &[&'static str]| [&["--pump", "P-101"], &PACKS[..], more].concat();
    refused(
        &with(&["--sweep", "bare = 1 .. 2"]),
        &["`bare` is nothing of the model"],
    );
    refused(&with(&["--sweep", "bare_clearance = 1"]), &["FROM .. TO"]);
    refused(
        &with(&["--sweep", "snap_ring plus_minus = -1 .. 1"]),
        &["0 or more"],
    );
    refused(
        &with(&["--sweep", "running_clearance middle = 0 .. 1"]),
        &["target, lower, upper"],
    );
    refused(
        &with(&["--pack", "bearing=0.02 +/- 0.001"]),
        &["--pack bearing", "bearing_shims"],
    );
    refused(
        &["--pump", "P-101", "--pack", "bearing_shims=0.020"],
        &[
            "a thickness with its plus/minus",
            "no pieces for `cover_gasket`",
        ],
    );
    refused(&with(&["--coverage-factor", "120 %"]), &["120 %"]);
    fs::write(folder.path().join("plan.json"), "{\"format\": \"other\"}").unwrap();
    let plan = folder
        .path()
        .join("plan.json")
        .to_str()
        .unwrap()
        .to_string();
    refused(&["--stock", STOCK, "--plan", &plan], &["no plan"]);
}
