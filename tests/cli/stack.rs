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

/// Without a stock: the pieces are stated, and the account, the draws and the sweep follow. By hand: 0.0540 - 0.032 =
/// 0.0220 in; at worst 0.0003 for the clearance and each shim, 0.0009; so 0.0230 - 0.0220 - 0.0009 = 0.0001 are left,
/// and with shims good to 0.0004 each -0.0001.
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
        "value 0.0220 in, limits 0.0190 to 0.0230 in; worst case -0.0009 +0.0009, root sum square 0.0006, expanded 0.0006 (k 1.960, 95.0 %)",
        "to 0.0226; none of 160000 draws misses its limits: chance of a miss below 0.0019 %",
        "           value  Impeller running clearance  Cover gasket free thickness",
        "0.0003      0.0001                      0.0042\n",
        "0.0004     -0.0001 NOT PROVEN           0.0040\n",
        "    Turns: Impeller running clearance: met at 0.00035, NOT PROVEN at 0.0004 in\n",
        "2 of 2 requirements met by the worst case rule.",
        "0.0003      0.0001",
        "0.0004     -0.0001 NOT PROVEN",
    ] {
        assert!(said.contains(words), "`{words}` in\n{said}");
    }
    let drawn = sheet(&out, "Monte Carlo");
    let row = drawn.iter().find(|row| row[0] == Data::String("P-101".into()));
    let row = row.unwrap();
    assert_eq!(row[4], Data::String("yes".into()));
    let Data::Float(mean) = row[5] else { panic!("{row:?}") };
    assert!((mean - 0.022).abs() < 1e-5);
    let swept = sheet(&out, "Sweep");
    assert!(swept.iter().flatten().any(|c| *c == Data::String("NOT PROVEN".into())));
    let turns =
        swept.iter().find(|row| row[0] == Data::String("Impeller running clearance".into()));
    let turns = turns.unwrap();
    assert_eq!([&turns[2], &turns[4]], [&Data::Float(0.00035), &Data::Float(0.0004)]);
    // Never over an existing file, and equal bytes from equal calls.
    let again = gapwright(&[&["stack", PUMPS], &PACKS[..], &rest[..]].concat());
    assert_eq!(again.status.code(), Some(3));
    let first = fs::read(&out).unwrap();
    let forced = gapwright(&[&["stack", PUMPS], &PACKS[..], &rest[..], &["--force"]].concat());
    assert_eq!(forced.status.code(), Some(0));
    assert!(fs::read(&out).unwrap() == first);
}

/// Chosen again or taken from a plan: equal pieces, so an equal account.
#[test]
fn pieces_are_chosen_or_taken_from_a_plan() {
    let folder = TempDir::new().unwrap();
    let path = |name: &str| folder.path().join(name).to_str().unwrap().to_string();
    let (plan, json) = (path("plan.xlsx"), path("plan.json"));
    let run = gapwright(&["kit", STOCK, PUMPS, "--out", &plan, "--json", &json]);
    assert_eq!(run.status.code(), Some(0));
    let stack = |out: &str, more: &[&str]| {
        let base = ["stack", PUMPS, "--stock", STOCK, "--out", out, "--draws", "200000"];
        gapwright(&[&base[..], more].concat())
    };
    let (a, b) = (path("a.xlsx"), path("b.xlsx"));
    let chosen = stack(&a, &["--pump", "P-103", "--pump", "p-401"]);
    let planned = stack(&b, &["--pump", "P-103", "--pump", "p-401", "--plan", &json]);
    assert_eq!((chosen.status.code(), planned.status.code()), (Some(0), Some(0)));
    let body = |said: &str| -> String {
        let lines = said.lines().filter(|line| !line.starts_with("Wrote"));
        lines.collect::<Vec<_>>().join("\n")
    };
    assert_eq!(body(&text(&chosen.stdout)), body(&text(&planned.stdout)));
    // The plan's workbook and its JSON agree.
    let c = path("from-workbook.xlsx");
    let workbook = stack(&c, &["--pump", "P-103", "--pump", "p-401", "--plan", &plan]);
    assert_eq!(workbook.status.code(), Some(0), "{}", text(&workbook.stderr));
    assert_eq!(body(&text(&workbook.stdout)), body(&text(&planned.stdout)));
    for name in ["Stack-up", "Monte Carlo"] {
        assert_eq!(sheet(&c, name), sheet(&b, name), "{name}");
    }
    assert!(text(&chosen.stdout).contains("P-401"));
    assert!(!text(&chosen.stdout).contains("left out"));
    // The short pump is reported and left out, also at the end; if it is the only one, there is no file to write.
    let short = stack(&path("c.xlsx"), &["--pump", "P-299", "--pump", "P-103"]);
    assert_eq!(short.status.code(), Some(0));
    let (said, warned) = (text(&short.stdout), text(&short.stderr));
    assert!(warned.contains("P-299: NOT FIT TO ASSEMBLE, left out"), "{warned}");
    assert!(said.contains("\nleft out: P-299\nWrote "), "{said}");
    for (more, why) in [
        (vec![], "P-299: no kit can be chosen for it"),
        (vec!["--plan", &json], "P-299: the plan has no kit for it"),
        (vec!["--plan", &plan], "P-299: the plan has no kit for it"),
    ] {
        let none = path("none.xlsx");
        let none_at_all = stack(&none, &[&["--pump", "P-299"], &more[..]].concat());
        let said = text(&none_at_all.stderr);
        assert_eq!(none_at_all.status.code(), Some(2), "{said}");
        assert!(said.contains(why) && said.contains("1 problem. Nothing was written."));
        assert!(!std::path::Path::new(&none).exists());
    }
    // With a new choice at every step the pump stays kitted where fixed pieces fail.
    let sweep = ["--pump", "P-103", "--sweep", "bare_clearance = 0.030 .. 0.036", "--steps", "3"];
    let held = stack(&path("d.xlsx"), &sweep);
    let anew = stack(&path("e.xlsx"), &[&sweep[..], &["--rechoose"]].concat());
    assert!(text(&held.stdout).contains("NOT MET"), "{}", text(&held.stdout));
    let said = text(&anew.stdout);
    assert!(
        said.contains("pieces chosen again for this pump alone from all stock")
            && !said.contains("NOT MET"),
        "{said}"
    );
}

/// By hand: 0.0540 - 0.020 - 0.011 = 0.0230 in is the upper limit itself, so about half of the draws miss it; with
/// 0.040 the clearance is 0.0140, and every draw misses.
#[test]
fn the_last_line_counts_what_is_not_met() {
    let folder = TempDir::new().unwrap();
    let out = folder.path().join("s.xlsx").to_str().unwrap().to_string();
    for (shims, draws, counted) in [
        (
            "0.020 +/- 0.0003, 0.011 +/- 0.0003",
            "; conforms with probability 0.",
            "1 of 2 requirements NOT PROVEN by the worst case rule.\nWrote ",
        ),
        (
            "0.040 +/- 0.0003",
            "; all of 160000 draws miss its limits: chance of conformity below 0.0019 %",
            "of 2 requirements NOT MET by the worst case rule.\nWrote ",
        ),
    ] {
        let shims = format!("bearing_shims={shims}");
        let run = gapwright(&[
            "stack", PUMPS, "--pump", "P-101", "--pack", &shims, PACKS[2], PACKS[3], "--out", &out,
            "--force",
        ]);
        assert_eq!(run.status.code(), Some(0), "{}", text(&run.stderr));
        let said = text(&run.stdout);
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
    refused(&["--pump", "P-999", "--date", "soon"], &["P-999", "--date soon", "3 problems"]);
    let with = |more: &[&'static str]| [&["--pump", "P-101"], &PACKS[..], more].concat();
    refused(&with(&["--sweep", "bare = 1 .. 2"]), &["`bare` is not in the model"]);
    refused(&with(&["--sweep", "bare_clearance = 1"]), &["FROM .. TO"]);
    refused(&with(&["--sweep", "snap_ring plus_minus = -1 .. 1"]), &["0 or more"]);
    let none = ["--map", "bare_clearance = 0 .. 1"];
    refused(&with(&none), &["two figures: NAME = FROM .. TO; NAME = FROM .. TO"]);
    refused(
        &with(&["--map", "bare_clearance = 0 .. 1; bare_clearance = 0 .. 1"]),
        &["two different figures"],
    );
    let map = "bare_clearance = 0 .. 1; snap_ring = 0 .. 1";
    refused(&with(&["--map", map, "--steps", "102"]), &["at most 101 values"]);
    let total = ["--sweep", "bearing_shims total = 0.03 .. 0.04"];
    refused(&[&["--stock", STOCK, "--rechoose"], &total[..]].concat(), &["leave --rechoose out"]);
    refused(&with(&["--sweep", "running_clearance middle = 0 .. 1"]), &["target, lower, upper"]);
    refused(&with(&["--pack", "bearing=0.02 +/- 0.001"]), &["--pack bearing", "bearing_shims"]);
    refused(
        &["--pump", "P-101", "--pack", "bearing_shims=0.020"],
        &["a thickness with its plus/minus", "no pieces for `cover_gasket`"],
    );
    refused(&with(&["--coverage-factor", "120 %"]), &["120 %"]);
    refused(&with(&["--pack", "bearing_shims=0.02 +/- 0.001"]), &["bearing_shims a second time"]);
    refused(&with(&["--sweep", "bearing_shims pieces = 0 .. 3"]), &["whole numbers from 1 to 12"]);
    fs::write(folder.path().join("plan.json"), "{\"format\": \"other\"}").unwrap();
    let plan = folder.path().join("plan.json").to_str().unwrap().to_string();
    // Another format is refused by its name.
    refused(&["--stock", STOCK, "--plan", &plan], &["the format `other`"]);
    fs::write(&plan, "a plan, but in words").unwrap();
    refused(&["--stock", STOCK, "--plan", &plan], &["not a plan file"]);
}

/// More pieces of the same total are worse: by hand, 0.0220 in and the clearance good to 0.0003
/// leave 0.0007 below the upper limit for the pieces, each good to 0.0003.
#[test]
fn more_pieces_are_worse_than_one() {
    let folder = TempDir::new().unwrap();
    let out = folder.path().join("s.xlsx").to_str().unwrap().to_string();
    let sweep = "bearing_shims pieces = 1 .. 4";
    let rest = ["--pump", "P-101", "--out", &out, "--sweep", sweep];
    let run = gapwright(&[&["stack", PUMPS], &PACKS[..], &rest[..]].concat());
    assert_eq!(run.status.code(), Some(0), "{}", text(&run.stderr));
    let given = "each piece given ±0.0003 in, as the worst one there";
    assert!(text(&run.stdout).contains(given), "{}", text(&run.stdout));
    assert!(sheet(&out, "Sweep").iter().flatten().any(|c| c.to_string().contains(given)));
    let margins: Vec<f64> = sheet(&out, "Sweep")
        .iter()
        .filter_map(|row| match (&row[0], &row[4]) {
            (Data::Float(_), Data::Float(margin)) => Some(*margin),
            _ => None,
        })
        .collect();
    assert_eq!(margins.len(), 4);
    for (margin, expected) in margins.iter().zip([0.0004, 0.0001, -0.0002, -0.0005]) {
        // A third of 0.032 in is cut to whole tenths of a nanometre.
        assert!((margin - expected).abs() < 1e-8, "{margins:?}");
    }
}

/// Two figures at once: the sheet Map has a cell for each pair of values and the exact border. By hand, for shims of
/// 0.0320 in: from 0.0519 to 0.0541 in.
#[test]
fn two_figures_make_a_map() {
    let folder = TempDir::new().unwrap();
    let out = folder.path().join("s.xlsx").to_str().unwrap().to_string();
    let map = "bare_clearance = 0.050 .. 0.058; bearing_shims total = 0.030 .. 0.034";
    let rest = ["--pump", "P-101", "--out", &out, "--map", map, "--steps", "5"];
    let run = gapwright(&[&["stack", PUMPS], &PACKS[..], &rest[..]].concat());
    assert_eq!(run.status.code(), Some(0), "{}", text(&run.stderr));
    let said = text(&run.stdout);
    assert!(said.contains("every requirement of P-101 met at 8 of 25 pairs of values"), "{said}");
    let cells = sheet(&out, "Map");
    let row = |first: &[f64]| {
        let is = |row: &&Vec<Data>| first.iter().zip(&row[..]).all(|(a, b)| *b == Data::Float(*a));
        cells.iter().find(is).cloned().unwrap()
    };
    // 0.0540 less each total, its margin at the nearer limit.
    let margins = &row(&[0.054, -0.0019])[1..6];
    assert_eq!(margins, [-0.0019, -0.0009, 0.0001, 0.0011, 0.0001].map(Data::Float));
    assert_eq!(row(&[0.032, 0.0519])[2], Data::Float(0.0541));
}

/// The account for programs, and an exit status for scripts: by hand, 0.0540 - 0.0320 - 0.0009 keeps clear of 0.0190 in
/// by 0.0021 and of 0.0230 by 0.0001; with 0.0400 in of shims the clearance is 0.0140.
#[test]
fn a_script_learns_what_is_not_met() {
    let folder = TempDir::new().unwrap();
    let path = |name: &str| folder.path().join(name).to_str().unwrap().to_string();
    let (out, json) = (path("s.xlsx"), path("s.json"));
    let run = |packs: &[&str], more: &[&str]| {
        let base = ["stack", PUMPS, "--pump", "P-101", "--out", &out, "--json", &json, "--force"];
        gapwright(&[&base[..], packs, more].concat())
    };
    let read = || -> serde_json::Value {
        serde_json::from_str(&fs::read_to_string(path("s.json")).unwrap()).unwrap()
    };
    let met = run(&PACKS, &["--fail"]);
    assert_eq!(met.status.code(), Some(0), "{}", text(&met.stderr));
    let document = read();
    assert_eq!(document["format"], "gapwright.stack.v1");
    assert_eq!([&document["requirements"], &document["met"]], [2, 2]);
    assert_eq!(document["conforms"], true);
    let clearance = &document["pumps"][0]["requirements"][0];
    let result = &clearance["result"];
    let exact = ["value", "lower", "upper", "guard", "margin"].map(|key| result[key].clone());
    assert_eq!(exact, ["0.0220", "0.0190", "0.0230", "0.0009", "0.0001"]);
    let near = |value: &serde_json::Value, expected: f64| {
        let value = value.as_f64().unwrap();
        assert!((value - expected).abs() < 1e-9, "{value} for {expected}");
    };
    near(&clearance["lower"]["margin_worst_case"], 0.0021);
    near(&clearance["upper"]["margin_worst_case"], 0.0001);
    near(&clearance["upper"]["root_sum_square"], 0.0003 * 3_f64.sqrt());
    // Three alike, each a third of the whole.
    for share in ["share_of_worst_case", "share_of_variance"] {
        near(&clearance["contributions"][0][share], 1.0 / 3.0);
    }
    near(&clearance["contributions"][0]["largest_plus"], 0.0004);
    assert_eq!(clearance["draws"]["conforming"], 1.0);
    let thick = ["--pack", "bearing_shims=0.040 +/- 0.0003", PACKS[2], PACKS[3]];
    for (more, status) in [(&[][..], 0), (&["--fail"][..], 1)] {
        let missed = run(&thick, more);
        assert_eq!(missed.status.code(), Some(status), "{}", text(&missed.stderr));
        let document = read();
        assert_eq!(document["conforms"], false);
        assert_eq!(document["pumps"][0]["requirements"][0]["result"]["conforms"], false);
    }
    // The list for programs has the exit status as well; bad input stays 2.
    let listed = run(&thick, &["--fail", "--problems", "json"]);
    let list: serde_json::Value = serde_json::from_slice(&listed.stdout).unwrap();
    assert_eq!(list["exit_status"], 1);
    assert_eq!(run(&PACKS, &["--fail", "--sweep", "no = 1"]).status.code(), Some(2));
    // A pump without a kit is not met, its nearest kit is there, and what it misses by is said.
    let base = ["stack", PUMPS, "--stock", STOCK, "--pump", "P-103", "--pump", "P-299"];
    let rest = ["--out", &out, "--json", &json, "--force", "--fail"];
    let short = gapwright(&[&base[..], &rest].concat());
    assert_eq!(short.status.code(), Some(1), "{}", text(&short.stderr));
    let not_fit = &read()["not_fit"][0];
    assert_eq!(not_fit["tag"], "P-299");
    let results = not_fit["requirements"].as_array().unwrap();
    let missed = results.iter().filter(|result| result["conforms"] == false);
    let margins = missed.map(|result| result["margin"].as_str().unwrap().starts_with('-'));
    let margins: Vec<bool> = margins.collect();
    assert!(!margins.is_empty() && margins.iter().all(|below| *below), "{margins:?}");
    let said = text(&short.stderr);
    assert!(said.contains("P-299: NOT FIT TO ASSEMBLE, left out: no kit can be chosen"), "{said}");
    assert!(said.contains("  Nearest kit of the pieces left: Shims over the bearing: "), "{said}");
    assert!(said.contains(": misses by 0."), "{said}");
}

/// A limit may be moved past the target, if the user asks for it.
#[test]
fn a_limit_is_moved_past_the_target() {
    let folder = TempDir::new().unwrap();
    let out = folder.path().join("s.xlsx").to_str().unwrap().to_string();
    let sweep = "running_clearance lower = 0.019 .. 0.022";
    let rest = ["--pump", "P-101", "--out", &out, "--sweep", sweep, "--steps", "4"];
    let run = gapwright(&[&["stack", PUMPS], &PACKS[..], &rest[..]].concat());
    let said = text(&run.stdout);
    // 0.0220 - 0.0009 - 0.0220 at the end.
    assert!(said.contains("-0.0009"), "{said}");
    assert!(!said.contains("outside the limits"), "{said}");
}

/// Pieces that no kit could have are calculated all the same, with a warning.
#[test]
fn pieces_beyond_the_model_are_warned_of() {
    let folder = TempDir::new().unwrap();
    let out = folder.path().join("s.xlsx").to_str().unwrap().to_string();
    let packs =
        ["--pack", "bearing_shims=8 x 0.004 +/- 0.0001", "--pack", "cover_gasket=0.125 +/- 0.001"];
    let rest = ["--pump", "P-101", "--out", &out];
    let run = gapwright(&[&["stack", PUMPS], &packs[..], &rest[..]].concat());
    assert_eq!(run.status.code(), Some(0), "{}", text(&run.stderr));
    assert!(text(&run.stderr).contains("8 pieces in `bearing_shims` of P-101"));
    let basis = sheet(&out, "Basis");
    let mut cells = basis.iter().flatten();
    assert!(cells.any(|cell| cell.to_string().contains("8 pieces")));
}

/// A plan whose stock has changed since is refused: its pieces may have changed.
#[test]
fn a_plan_is_held_against_the_stock() {
    let folder = TempDir::new().unwrap();
    let path = |name: &str| folder.path().join(name).to_str().unwrap().to_string();
    let (stock, pumps) = (path("stock.csv"), "samples/tiny/pumps.csv");
    let as_it_was = fs::read_to_string("samples/tiny/stock.csv").unwrap();
    fs::write(&stock, &as_it_was).unwrap();
    let (json, out) = (path("plan.json"), path("plan.xlsx"));
    let run = gapwright(&["kit", &stock, pumps, "--out", &out, "--json", &json]);
    assert_eq!(run.status.code(), Some(0), "{}", text(&run.stderr));
    let out = path("s.xlsx");
    let stack = ["stack", pumps, "--stock", &stock, "--plan", &json, "--out", &out];
    let line = as_it_was.lines().find(|line| line.starts_with("S20,"));
    let line = line.unwrap();
    let thicker = line.replacen("0.020", "0.025", 1);
    assert_ne!(line, thicker);
    fs::write(&stock, as_it_was.replace(line, &thicker)).unwrap();
    let run = gapwright(&stack);
    assert_eq!(run.status.code(), Some(2));
    assert!(text(&run.stderr).contains("the stock has changed since"));
    fs::write(&stock, &as_it_was).unwrap();
    assert_eq!(gapwright(&stack).status.code(), Some(0));
}
