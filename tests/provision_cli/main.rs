//! `gapwright provision` as its users run it: on its sample, and on bad input.

#![allow(clippy::unwrap_used, clippy::expect_used, missing_docs)]

#[path = "../support/own_rows.rs"]
mod own_rows;

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Output;

use assert_cmd::Command;
use calamine::{Data, Range, Reader, Xlsx, open_workbook};
use gapwright::choose::choose;
use gapwright::choose::control::Control;
use gapwright::decimal::Millionths;
use gapwright::forecast::Forecast;
use gapwright::formats::common::{LengthJson, PackJson, StoppedBy};
use gapwright::formats::provision::{LawJson, ProvisionJson, ServiceStanding, WarningJson};
use gapwright::job::{Job, Parts};
use gapwright::json::provision::plain as plain_values;
use gapwright::length::{Length, Tolerance, Unit};
use gapwright::plan::{Kit, Stop};
use gapwright::provision::{ProvisionOptions, provision};
use gapwright::read::{Ahead, Sources, forecast};
use gapwright::verify::Breach;
use gapwright::words::provision::runs;
use gapwright::write::provision::Provided;
use tempfile::TempDir;

const STOCK: &str = "samples/provision/stock.xlsx";
const PUMPS: &str = "samples/provision/pumps.xlsx";
const PAST: &str = "samples/provision/past.xlsx";
const SHEETS: [&str; 6] = ["Summary", "Trolley", "Safe kits", "Coverage", "Models", "Basis"];

fn gapwright(arguments: &[&str]) -> Output {
    Command::cargo_bin("gapwright").unwrap().args(arguments).output().unwrap()
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8(bytes.to_vec()).unwrap()
}

struct Run {
    _folder: TempDir,
    out: PathBuf,
    json: String,
    said: String,
    complained: String,
}

/// Runs `provision` on the sample.
fn sample(more: &[&str]) -> Run {
    let folder = TempDir::new().unwrap();
    let (out, json) = (folder.path().join("p.xlsx"), folder.path().join("p.json"));
    let mut arguments = vec![
        "provision",
        STOCK,
        PUMPS,
        "--history",
        PAST,
        "--date",
        "2027-08-02",
        "--out",
        out.to_str().unwrap(),
        "--json",
        json.to_str().unwrap(),
    ];
    arguments.extend(more);
    let run = gapwright(&arguments);
    assert!(run.status.success(), "{}", text(&run.stderr));
    Run {
        json: fs::read_to_string(json).unwrap(),
        out,
        said: text(&run.stdout),
        complained: text(&run.stderr),
        _folder: folder,
    }
}

fn plain(run: &Run) -> ProvisionJson {
    serde_json::from_str(&run.json).unwrap()
}

fn money(text: &str) -> i64 {
    Millionths::parse(text).unwrap().raw()
}

/// The sheets of a workbook by name.
fn sheets(path: &Path) -> BTreeMap<String, Range<Data>> {
    let mut workbook: Xlsx<_> = open_workbook(path).unwrap();
    let names = workbook.sheet_names();
    names
        .into_iter()
        .map(|name| {
            let range = workbook.worksheet_range(&name).unwrap();
            (name, range)
        })
        .collect()
}

/// The rows of a sheet, every cell as text.
fn rows(range: &Range<Data>) -> Vec<Vec<String>> {
    let (end, last) = range.end().unwrap();
    (0..=end)
        .map(|row| {
            (0..=last)
                .map(|column| range.get_value((row, column)).map_or(String::new(), Data::to_string))
                .collect()
        })
        .collect()
}

#[test]
fn the_workbook_says_what_the_json_says() {
    let run = sample(&[]);
    let (plain, book) = (plain(&run), sheets(&run.out));
    assert_eq!(plain.format, "gapwright.provision.v3");
    let names: Vec<&str> = book.keys().map(String::as_str).collect();
    let mut wanted = SHEETS;
    wanted.sort_unstable();
    assert_eq!(names, wanted);
    // The trolley: line by line, including its sums.
    let lines = rows(&book["Trolley"]);
    let lines: Vec<&Vec<String>> = lines[4..].iter().take_while(|row| !row[1].is_empty()).collect();
    assert_eq!(lines.len(), plain.trolley.pieces.len());
    let mut sum = 0;
    for line in &lines {
        let piece = plain.trolley.pieces.iter().find(|p| p.item == line[1]).unwrap();
        let counts = [piece.count, piece.available, piece.stays].map(|n| n.to_string());
        assert_eq!(line[6..9], counts, "{line:?}");
        assert_eq!(piece.count + piece.stays, piece.available);
        sum += i64::from(piece.count) * money(&piece.unit_cost);
        let cost = Millionths::from_number(line[10].parse().unwrap()).unwrap();
        assert_eq!(cost.raw(), i64::from(piece.count) * money(&piece.unit_cost));
    }
    assert_eq!(sum, money(&plain.trolley.cost));
    let pieces: u32 = plain.trolley.pieces.iter().map(|p| p.count).sum();
    assert_eq!(pieces, plain.trolley.count);
    // In the order of the bins.
    let bins: Vec<&str> = lines.iter().map(|line| line[0].as_str()).collect();
    let mut sorted = bins.clone();
    sorted.sort_by_key(|bin| (bin[..1].to_string(), bin[1..].parse::<u32>().unwrap()));
    assert_eq!(bins, sorted);
    // The total of all safe kits is their sum.
    let safe: i64 = plain.pumps.iter().map(|p| money(&p.safe_kit.cost)).sum();
    assert_eq!(safe, money(&plain.safe_kits.cost));
    let count: u32 = plain.pumps.iter().map(|p| p.safe_kit.count).sum();
    assert_eq!(count, plain.safe_kits.count);
    // Both prices are next to each other on Summary and on the terminal.
    let all = rows(&book["Summary"]).concat().join("\n");
    for cost in [&plain.safe_kits.cost, &plain.trolley.cost] {
        let shown = format!("{:.2} USD", cost.parse::<f64>().unwrap());
        assert!(all.contains(&shown) && run.said.contains(&shown), "{shown}");
    }
    assert!(money(&plain.trolley.cost) < money(&plain.safe_kits.cost));
    let served = format!("{} of {} other scenarios", plain.service.served, plain.service.checks);
    assert!(all.contains(&served) && run.said.contains(&served));
    for words in ["then run `gapwright kit`", "competent", "lock out"] {
        assert!(all.contains(words), "{words}");
    }
}

#[test]
fn the_gap_is_seen_in_the_picture_and_in_words() {
    let run = sample(&[]);
    let (plain, book) = (plain(&run), sheets(&run.out));
    let with_gaps: Vec<&str> =
        plain.pumps.iter().filter(|pump| pump.gaps > 0).map(|pump| pump.tag.as_str()).collect();
    assert_eq!(with_gaps, ["P-603"]);
    let coverage = rows(&book["Coverage"]);
    for pump in plain.pumps.iter().filter(|pump| !pump.expected.is_empty()) {
        let row = coverage.iter().find(|row| row[0] == pump.tag).unwrap();
        let marks = |mark: &str| row[6..].iter().filter(|cell| *cell == mark).count();
        let (gaps, values) = (marks("X"), marks("X") + marks("o"));
        assert_eq!((gaps as u64, values as u64), (pump.gaps, pump.values), "{}", pump.tag);
        let covered: f64 = row[4].parse().unwrap();
        let [gaps, values] = [gaps, values].map(|n| f64::from(u32::try_from(n).unwrap()));
        let share = 1.0 - gaps / values;
        assert!((covered - share).abs() < 1e-12);
    }
    // In words, with the ends next to them, on the sheet and on the terminal.
    let words = "P-603: no pieces in stock fit if Impeller clearance with no shims comes to 0.0445 to 0.0450 in (2 of 17 values)";
    let row = coverage.iter().find(|row| row[6].contains(words)).unwrap();
    assert_eq!(
        row[..6],
        ["P-603", "Impeller clearance with no shims", "0.0445 in", "0.0450 in", "2", "17"]
    );
    assert!(run.complained.contains(words));
}

/// Each value is served as the table shows or is a gap: the pump is measured at it by hand, and the choice of pieces
/// for measured pumps, which shares the judging of limits but neither covering nor runs, must agree.
#[test]
fn what_the_tables_say_holds_for_a_pump_that_is_measured_so() {
    let ahead = Ahead { history: Some(PAST.into()), ..Ahead::default() };
    let sources = Sources { stock: STOCK.into(), pumps: PUMPS.into(), ahead, ..Sources::default() };
    let outlook = forecast(&sources).unwrap();
    let question = ProvisionOptions {
        scenarios: 5,
        checks: 5,
        ..ProvisionOptions::new(Length::parse("0.0005 in", None).unwrap())
    };
    let found = provision(&outlook, &question, &Control::unlimited()).unwrap();
    let (mut met, mut gaps) = (0, 0);
    for (index, kit) in found.safe.iter().enumerate() {
        let whole: usize = runs(kit).iter().map(|run| run.values).sum();
        assert_eq!(whole, kit.values());
        for run in runs(kit) {
            for value in run.ranges.first().copied().unwrap_or_default() {
                let mut job = outlook.job().clone().into_parts();
                let mut pump = job.pumps[index].clone();
                if !kit.axes.is_empty() {
                    pump.dimensions[0].value = value;
                    pump.dimensions[0].readings = vec![value];
                }
                job.pumps = vec![pump];
                // Only the pieces of the safe kit are at hand; for a gap, the whole drawer.
                if run.take.is_some() {
                    for (at, item) in job.stock.iter_mut().enumerate() {
                        let own = kit.pieces.iter().find(|one| one.item == at);
                        (item.on_hand, item.reserved) = (own.map_or(0, |one| one.count), 0);
                    }
                }
                let job = Job::new(job).unwrap();
                let plan = choose(&job, &Control::unlimited()).unwrap();
                let served = matches!(plan.kits[0], Kit::Served(_));
                assert_eq!(
                    served,
                    run.take.is_some(),
                    "{} at {value:?}",
                    outlook.job().pumps[index].tag
                );
                met += usize::from(served);
                gaps += usize::from(!served);
            }
        }
    }
    assert!(met > 80 && gaps == 2, "{met} {gaps}");
}

#[test]
fn the_json_keeps_to_its_schema_and_its_tables_add_up() {
    let run = sample(&[]);
    let plain = plain(&run);
    let schema: serde_json::Value =
        serde_json::from_slice(&gapwright(&["schema", "provision"]).stdout).unwrap();
    let value: serde_json::Value = serde_json::from_str(&run.json).unwrap();
    let required = schema["required"].as_array().unwrap();
    assert!(required.len() > 8);
    for field in required {
        assert!(value.get(field.as_str().unwrap()).is_some(), "{field}");
    }
    for pump in &plain.pumps {
        let values: u64 = pump.take.iter().map(|run| run.values).sum();
        let gaps: u64 =
            pump.take.iter().filter(|run| run.packs.is_none()).map(|run| run.values).sum();
        assert_eq!((values, gaps), (pump.values, pump.gaps), "{}", pump.tag);
        // Every piece taken is in the safe kit.
        for packs in pump.take.iter().filter_map(|run| run.packs.as_ref()) {
            let mut taken: BTreeMap<&str, u32> = BTreeMap::new();
            let pieces = packs.values().flat_map(|pack: &PackJson| &pack.pieces);
            for piece in pieces {
                *taken.entry(&piece.item).or_default() += piece.count;
            }
            for (item, count) in taken {
                let own = pump.safe_kit.pieces.iter().find(|one| one.item == item);
                assert!(own.is_some_and(|own| own.count >= count), "{item}");
            }
        }
    }
    // The law of the pumps without a range is that of the ten readings: numpy 2, mean and std(ddof=1) of 0.0402
    // 0.0415 0.0398 0.0421 0.0409 0.0411 0.0395 0.0417 0.0406 0.0433.
    let expected = &plain.pumps.iter().find(|p| p.tag == "P-603").unwrap().expected[0];
    let LawJson::Readings { mean, deviation, readings } = &expected.law else {
        panic!("{:?}", expected.law);
    };
    assert_eq!((mean.as_str(), *readings), ("0.04107", 10));
    assert!((deviation - 0.001_140_224_149_503).abs() < 1e-10);
    assert_eq!((expected.low.as_str(), expected.high.as_str()), ("0.0370", "0.0450"));
    // Of other pumps a range is stated, of which nothing else is known.
    let mut laws = plain.pumps.iter().flat_map(|pump| &pump.expected).map(|one| &one.law);
    assert!(laws.any(|law| *law == LawJson::Even));
}

#[test]
fn the_same_bytes_twice_and_for_any_number_of_threads_and_others_for_another_seed() {
    let first = sample(&[]);
    let bytes = fs::read(&first.out).unwrap();
    for more in [&[][..], &["--threads", "1"], &["--threads", "2"]] {
        let again = sample(more);
        assert_eq!(first.json, again.json);
        assert_eq!(bytes, fs::read(&again.out).unwrap());
    }
    let other = sample(&["--seed", "2"]);
    assert_ne!(plain(&first).service, plain(&other).service);
    assert_eq!(plain(&first).safe_kits, plain(&other).safe_kits);
}

#[test]
fn what_is_asked_is_what_is_done() {
    let run = sample(&[
        "--probability",
        "80",
        "--scenarios",
        "200",
        "--checks",
        "300",
        "--step",
        "0.001 in",
        "--level",
        "95",
    ]);
    let plain = plain(&run);
    let asked = &plain.question;
    assert_eq!((asked.step.as_str(), asked.step_unit.as_str()), ("0.0010", "in"));
    assert_eq!((asked.probability.as_str(), asked.range_level.as_str()), ("0.8", "0.95"));
    assert_eq!((asked.scenarios, plain.service.checks), (200, 300));
    // 160 of 200, and a margin.
    assert!(plain.trolley.scenarios >= 200 && plain.trolley.wanted >= 160);
    // 0.038 36 to 0.043 78, outward to whole thou: SciPy 1.17.1,
    // `m -+ stats.t.ppf(0.975, 9) * s * sqrt(1.1)`.
    let expected = &plain.pumps.iter().find(|p| p.tag == "P-603").unwrap().expected[0];
    assert_eq!((expected.low.as_str(), expected.high.as_str()), ("0.0380", "0.0440"));
    assert!(plain.trolley.served >= plain.trolley.wanted);
}

#[test]
fn standard_output_is_the_json_alone_where_it_is_asked_for() {
    let folder = TempDir::new().unwrap();
    let out = folder.path().join("p.xlsx");
    let run = gapwright(&[
        "provision",
        STOCK,
        PUMPS,
        "--history",
        PAST,
        "--out",
        out.to_str().unwrap(),
        "--json",
        "-",
    ]);
    assert!(run.status.success());
    let plain: ProvisionJson = serde_json::from_slice(&run.stdout).unwrap();
    assert_eq!(plain.pumps.len(), 10);
    assert!(text(&run.stderr).contains("Shared trolley"));
    assert!(out.exists() && !Path::new("-").exists());
}

/// Runs `provision` on these files in a folder of its own; returns the folder with the outputs `p.xlsx` and `p.json`.
fn in_a_folder(stock: &str, pumps: &str, more: &[&str]) -> (TempDir, Output) {
    let folder = TempDir::new().unwrap();
    let path = |name: &str| folder.path().join(name).display().to_string();
    fs::write(path("stock.csv"), stock).unwrap();
    fs::write(path("pumps.csv"), pumps).unwrap();
    let (out, json) = (path("p.xlsx"), path("p.json"));
    let (stock, pumps) = (path("stock.csv"), path("pumps.csv"));
    let mut arguments = vec!["provision", &stock, &pumps, "--out", &out, "--json", &json];
    arguments.extend(more);
    let run = gapwright(&arguments);
    (folder, run)
}

/// Runs `provision` on these files in a separate folder; returns the problems, and checks that no file was written.
#[track_caller]
fn refused(stock: &str, pumps: &str, more: &[&str]) -> String {
    let (folder, run) = in_a_folder(stock, pumps, more);
    let [out, json] = ["p.xlsx", "p.json"].map(|name| folder.path().join(name));
    assert_eq!(run.status.code(), Some(2), "{}", text(&run.stderr));
    assert!(!out.exists() && !json.exists());
    assert!(text(&run.stderr).contains("Nothing was written."));
    text(&run.stderr)
}

const SMALL_STOCK: &str = "\
Item,Kind,Fit,Thickness (in),Tolerance (in),On hand,Unit cost
=S10,shim,F1,0.010,0.0002,4,2
S20,shim,F1,0.020,0.0002,4,2
G90,gasket,F1,0.090,0.0005,2,3
G105,gasket,F1,0.105,0.0005,2,3
";
const SMALL_PUMPS: &str = "\
Tag,Model,Bearing shims fit,Cover gasket fit,Bare clearance low (in),Bare clearance high (in),Snap ring (in)
=A1,screwed-impeller,F1,F1,0.0305,0.0415,0.050
";

#[test]
fn bad_inputs_are_told_all_at_once_and_nothing_is_written() {
    let pumps = SMALL_PUMPS.replace("0.0305", "0.0505");
    let stock = SMALL_STOCK.replace("0.090", "thin");
    let told = refused(&stock, &pumps, &["--step", "0.0005", "--probability", "0.95"]);
    for words in [
        "stock!D4",
        "pumps!E2",
        "which is more than",
        "--step 0.0005",
        "--probability 0.95",
        "4 problems",
    ] {
        assert!(told.contains(words), "`{words}` is not in\n{told}");
    }
    let told = refused(SMALL_STOCK, SMALL_PUMPS, &["--history", "nowhere.xlsx"]);
    assert!(told.contains("nowhere.xlsx"), "{told}");
    let told = refused(SMALL_STOCK, SMALL_PUMPS, &["--step", "1 um", "--step", "0.00000025 in"]);
    assert!(told.contains("cannot be used multiple times"), "{told}");
    let told = refused(SMALL_STOCK, SMALL_PUMPS, &["--step", "0.0000005 in"]);
    assert!(told.contains("at most 20000 values") && told.contains("--step \""), "{told}");
    let told = refused(SMALL_STOCK, SMALL_PUMPS, &["--problems", "text", "--date", "soon"]);
    assert!(told.contains("--date soon"), "{told}");
}

#[test]
fn text_from_inputs_stays_text_and_outputs_are_not_replaced() {
    let folder = TempDir::new().unwrap();
    let path = |name: &str| folder.path().join(name).display().to_string();
    fs::write(path("stock.csv"), SMALL_STOCK).unwrap();
    fs::write(path("pumps.csv"), SMALL_PUMPS).unwrap();
    let (stock, pumps, out) = (path("stock.csv"), path("pumps.csv"), path("p.xlsx"));
    let arguments = ["provision", &stock, &pumps, "--out", &out];
    let run = gapwright(&arguments);
    assert!(run.status.success(), "{}", text(&run.stderr));
    let mut workbook: Xlsx<_> = open_workbook(&out).unwrap();
    for name in workbook.sheet_names() {
        let formulas = workbook.worksheet_formula(&name).unwrap();
        assert!(formulas.cells().all(|(_, _, formula)| formula.is_empty()), "{name}");
    }
    let book = sheets(Path::new(&out));
    assert!(rows(&book["Trolley"]).concat().contains(&"=S10".to_string()));
    assert!(rows(&book["Summary"]).concat().contains(&"=A1".to_string()));
    let before = fs::read(&out).unwrap();
    let again = gapwright(&arguments);
    assert_eq!(again.status.code(), Some(3));
    assert_eq!(before, fs::read(&out).unwrap());
}

#[test]
fn ranges_of_two_dimensions_are_folded_and_long_ones_too() {
    let folder = TempDir::new().unwrap();
    let path = |name: &str| folder.path().join(name).display().to_string();
    let pumps = "\
Tag,Model,Bearing shims fit,Cover gasket fit,Bare clearance low (in),Bare clearance high (in),Snap ring low (in),Snap ring high (in)
A,screwed-impeller,F1,F1,0.0310,0.0415,0.0490,0.0510
B,screwed-impeller,F1,F1,0.0290,0.0450,0.0500,0.0500
";
    fs::write(path("stock.csv"), SMALL_STOCK).unwrap();
    fs::write(path("pumps.csv"), pumps).unwrap();
    let (stock, pumps) = (path("stock.csv"), path("pumps.csv"));
    let (out, json) = (path("p.xlsx"), path("p.json"));
    let run = gapwright(&[
        "provision",
        &stock,
        &pumps,
        "--out",
        &out,
        "--json",
        &json,
        "--step",
        "0.0001 in",
        "--scenarios",
        "20",
        "--checks",
        "20",
    ]);
    assert!(run.status.success(), "{}", text(&run.stderr));
    let plain: ProvisionJson = serde_json::from_str(&fs::read_to_string(json).unwrap()).unwrap();
    assert_eq!((plain.pumps[0].values, plain.pumps[1].values), (106 * 21, 161));
    // Runs are few, and their blocks of values add up to the whole.
    let a = &plain.pumps[0];
    let values: u64 = a.take.iter().map(|run| run.values).sum();
    assert_eq!(values, a.values);
    assert!(a.take.len() < 400 && a.gaps > 0, "{} {}", a.take.len(), a.gaps);
    for run in &a.take {
        let count = |name: &str| {
            let range = &run.ranges[name];
            let [from, to] = [&range.from, &range.to]
                .map(|end| Length::parse(end, Some(Unit::Inch)).unwrap().ticks());
            u64::try_from((to - from) / 25_400).unwrap() + 1
        };
        assert_eq!(count("bare_clearance") * count("snap_ring"), run.values);
    }
    let coverage = rows(&sheets(Path::new(&out))["Coverage"]);
    let of = |tag: &str, label: &str| {
        let found =
            coverage.iter().find(|row| row[0] == tag && row[1] == label && !row[4].is_empty());
        found.unwrap().clone()
    };
    let long = of("A", "Impeller clearance with no shims");
    // 106 values, two in a cell.
    assert_eq!(
        (long[5].as_str(), long[6..].iter().filter(|cell| !cell.is_empty()).count()),
        ("2", 53)
    );
    let long = of("B", "Impeller clearance with no shims");
    assert_eq!(
        (long[5].as_str(), long[6..].iter().filter(|cell| !cell.is_empty()).count()),
        ("3", 54)
    );
    assert!(long[6..].iter().any(|cell| cell == "X"));
    let short = of("A", "Snap ring thickness");
    assert_eq!(short[6..].iter().filter(|cell| !cell.is_empty()).count(), 21);
    // With every ring some clearances are served and some are not.
    assert!(short[6..27].iter().all(|cell| cell == "/"), "{short:?}");
}

#[test]
fn a_blank_outage_that_is_not_measured_yet_can_be_provided_for() {
    for model in
        ["screwed-impeller", "front-set-metric", "bearing-cap", "seal-setting", "thrust-collar"]
    {
        let folder = TempDir::new().unwrap();
        let path = |name: &str| folder.path().join(name).display().to_string();
        let blank = gapwright(&["blank", &path("shop"), "--model", model, "--ahead"]);
        assert!(blank.status.success());
        assert!(text(&blank.stdout).contains("gapwright provision"));
        own_rows::own_rows(path("shop"));
        let (stock, pumps) = (path("shop/stock.xlsx"), path("shop/pumps.xlsx"));
        let run = gapwright(&[
            "provision",
            &stock,
            &pumps,
            "--out",
            &path("p.xlsx"),
            "--json",
            &path("p.json"),
            "--step",
            "0.1 mm",
            "--scenarios",
            "20",
            "--checks",
            "20",
        ]);
        assert!(run.status.success(), "{model}: {}", text(&run.stderr));
        let plain: ProvisionJson =
            serde_json::from_str(&fs::read_to_string(path("p.json")).unwrap()).unwrap();
        assert!(!plain.pumps[0].expected.is_empty(), "{model}");
    }
}

#[test]
fn a_table_that_runs_on_has_its_headings_again() {
    let folder = TempDir::new().unwrap();
    let path = |name: &str| folder.path().join(name).display().to_string();
    let pumps = "\
Tag,Model,Bearing shims fit,Cover gasket fit,Bare clearance low (in),Bare clearance high (in),Snap ring low (in),Snap ring high (in)
A,screwed-impeller,F6,F6,0.0310,0.0500,0.0490,0.0510
";
    fs::write(path("pumps.csv"), pumps).unwrap();
    let (pumps, out, json) = (path("pumps.csv"), path("p.xlsx"), path("p.json"));
    let run = gapwright(&[
        "provision",
        STOCK,
        &pumps,
        "--out",
        &out,
        "--json",
        &json,
        "--step",
        "0.0002 in",
        "--scenarios",
        "20",
        "--checks",
        "20",
    ]);
    assert!(run.status.success(), "{}", text(&run.stderr));
    let kits = rows(&sheets(Path::new(&out))["Safe kits"]);
    let continued = kits.windows(2).filter(|rows| rows[0][0] == "Pump A, continued");
    let continued: Vec<_> = continued.collect();
    assert!(!continued.is_empty());
    assert!(continued.iter().all(|rows| rows[1][0] == "If it measures"));
    // Every line of the JSON is also on the sheet.
    let plain: ProvisionJson = serde_json::from_str(&fs::read_to_string(json).unwrap()).unwrap();
    let lines =
        kits.iter().filter(|row| row[0].starts_with("Impeller clearance with no shims 0.0"));
    assert_eq!(lines.count(), plain.pumps[0].take.len());
}

/// The second calculation passes the provision found, and none that was tampered with.
#[test]
fn a_provision_that_does_not_hold_is_noticed() {
    use gapwright::decimal::Money;
    use gapwright::verify::verify_provision;
    let ahead = Ahead { history: Some(PAST.into()), ..Ahead::default() };
    let sources = Sources { stock: STOCK.into(), pumps: PUMPS.into(), ahead, ..Sources::default() };
    let outlook = forecast(&sources).unwrap();
    let step = Length::parse("1 thou", None).unwrap();
    let question = ProvisionOptions { scenarios: 20, checks: 20, ..ProvisionOptions::new(step) };
    let found = provision(&outlook, &question, &Control::unlimited()).unwrap();
    let verified = verify_provision(outlook.clone(), found.clone()).unwrap();
    assert_eq!(verified.provision(), &found);
    // Work that was ended early says what ended it.
    let stopped_by = |stopped| {
        let ended = gapwright::provision::Provision { stopped, ..found.clone() };
        let verified = verify_provision(outlook.clone(), ended).unwrap();
        plain_values(&Provided::of(&verified, &question, question.level)).stopped_by
    };
    assert_eq!(stopped_by(Some(Stop::TimeLimit)), Some(StoppedBy::TimeLimit));
    assert_eq!(stopped_by(Some(Stop::Interrupt)), Some(StoppedBy::Interrupt));
    assert_eq!(stopped_by(None), None);
    let pump = found.safe.iter().position(|kit| kit.count > 2).unwrap();
    let wrong = |change: &dyn Fn(&mut gapwright::provision::Provision)| {
        let mut other = found.clone();
        change(&mut other);
        assert_ne!(other, found);
        verify_provision(outlook.clone(), other).unwrap_err()[0].to_string()
    };
    // A missing piece, at its cost; a wrong cost; more than is on hand; likewise a trolley.
    let said = wrong(&|other| {
        let kit = &mut other.safe[pump];
        let item = kit.pieces[0].item;
        kit.cost = Money::from_raw(kit.cost.raw() - outlook.job().stock[item].unit_cost.raw());
        kit.pieces[0].count -= 1;
        kit.pieces.retain(|piece| piece.count > 0);
    });
    assert!(said.contains("does not hold what it says to take"), "{said:?}");
    let dearer = |money: &mut Money| *money = Money::from_raw(money.raw() + 1);
    let said = wrong(&|other| dearer(&mut other.safe[pump].cost));
    assert!(said.contains("millionths"), "{said:?}");
    wrong(&|other| dearer(&mut other.trolley.cost));
    wrong(&|other| other.trolley.pieces[0].count += 1_000);
    // A pump that measures outside the calculated range.
    let (job, expected) = outlook.clone().into_parts();
    let hot = expected[pump].iter().position(Option::is_some).unwrap();
    let wide = Tolerance::even(step * 50);
    let worse = |job: &mut Parts| job.pumps[pump].dimensions[hot].tolerance = wide;
    let narrow = Forecast::new(job.with(worse).unwrap(), expected).unwrap();
    let said = verify_provision(narrow, found).unwrap_err();
    assert!(matches!(said[0], Breach::NotMet { .. }), "{said:?}");
}

/// Runs `provision` on these files; returns its output, its JSON, and all text of the workbook.
#[track_caller]
fn provided(stock: &str, pumps: &str, more: &[&str]) -> (String, ProvisionJson, String) {
    let (folder, run) = in_a_folder(stock, pumps, more);
    let [out, json] = ["p.xlsx", "p.json"].map(|name| folder.path().join(name));
    let said = text(&run.stdout) + &text(&run.stderr);
    assert!(run.status.success(), "{said}");
    let plain = serde_json::from_str(&fs::read_to_string(&json).unwrap()).unwrap();
    let cells = sheets(&out);
    let cells = cells.values().flat_map(rows).flatten();
    (said, plain, cells.collect::<Vec<_>>().join("\n"))
}

/// One pump is in a gap whatever it measures: the other still has its pieces, and no output claims that the request
/// is met or that so little is the least.
#[test]
fn a_hopeless_pump_does_not_empty_the_trolley() {
    let pumps = SMALL_PUMPS.replace("0.0305,0.0415", "0.0305,0.0315")
        + "A2,screwed-impeller,F1,F1,0.0955,0.0965,0.050\n";
    let (said, plain, cells) = provided(SMALL_STOCK, &pumps, &[]);
    assert_eq!(plain.service.hopeless, plain.service.checks);
    assert_eq!((plain.service.served, plain.trolley.served), (0, 0));
    assert_eq!(plain.service.served_except_gaps, plain.service.checks);
    assert_eq!(plain.trolley.served_except_gaps, 500);
    assert!(plain.trolley.count >= 2 && money(&plain.trolley.cost) > 0);
    assert!(plain.trolley.falls_short && !plain.trolley.proven);
    assert!(plain.service.out_of_reach && plain.service.standing == ServiceStanding::NotMet);
    let missed = plain.pumps.iter().map(|pump| pump.missed);
    assert!(missed.eq([0, plain.service.checks]));
    for words in [
        "NOT MET: no pieces that could be set aside reach 95 %",
        "If pumps in a gap are left out, 1000 of 1000",
    ] {
        assert!(said.contains(words), "`{words}` is not in\n{said}");
        assert!(cells.contains(words), "`{words}` is not in\n{cells}");
    }
    for text in [&said, &cells] {
        assert!(!text.contains("proven least for the scenarios"), "{text}");
        assert!(!text.contains("all pumps together in 95"), "{text}");
    }
    assert_eq!(said.matches("GAP A2").count(), 1, "{said}");
}

/// A measured pump that no pieces fit is named, and no scenario counts as not served for it.
#[test]
fn a_measured_pump_that_is_not_fit_is_left_out_of_the_count() {
    let (head, rows) = SMALL_PUMPS.split_once('\n').unwrap();
    let rows = rows.replace("0.0305,0.0415", "0.0305,0.0315");
    let measured = rows.lines().next().unwrap().split(',').count();
    assert_eq!(measured, head.split(',').count());
    let rows: String = rows.lines().map(|row| format!("{row},\n")).collect();
    let pumps =
        format!("{head},Bare clearance (in)\n{rows}A2,screwed-impeller,F1,F1,,,0.050,0.0955\n");
    let (said, plain, cells) = provided(SMALL_STOCK, &pumps, &[]);
    assert_eq!(plain.left_out, ["A2"]);
    assert_eq!((plain.service.hopeless, plain.trolley.hopeless), (0, 0));
    assert_eq!(plain.service.served, plain.service.checks);
    assert_eq!(plain.service.standing, ServiceStanding::Met);
    let told = "A2 is measured and NOT FIT TO ASSEMBLE: no pieces in stock fit (`gapwright kit` says why); it is left out of the trolley and of its count";
    assert!(said.contains(told) && cells.contains(told), "{said}\n{cells}");
}

#[test]
fn no_count_proves_all_and_nothing_looks_like_it() {
    let pumps = SMALL_PUMPS.replace("0.0305,0.0415", "0.0305,0.0315");
    let (said, plain, _) = provided(SMALL_STOCK, &pumps, &["--probability", "100"]);
    assert_eq!(plain.service.served, plain.service.checks);
    assert_eq!(plain.service.standing, ServiceStanding::Open);
    // The low end is 0.025^(1/1000) = 0.996 318, rounded down.
    assert!(said.contains("(99.6 to 100.0 %)"), "{said}");
    assert!(said.contains("No count can prove 100 %"), "{said}");
    let (said, _, _) = provided(SMALL_STOCK, &pumps, &["--probability", "99.97"]);
    assert!(said.contains("is for 99.97 % of outages"), "{said}");
}

#[test]
fn long_steps_and_pieces_without_a_cost_are_warned_of() {
    let pumps = SMALL_PUMPS.replace("0.0305,0.0415", "0.0305,0.0315");
    let (said, plain, _) = provided(SMALL_STOCK, &pumps, &[]);
    assert_eq!(plain.warnings, []);
    assert_eq!(plain.service.standing, ServiceStanding::Met);
    assert!(!plain.pumps[0].coarse && !said.contains("WARNING"));
    assert!(said.contains("every value examined, 0.0005 in apart"));
    // The range is a thou wide, a quarter of the width of the running clearance's limits.
    let stock = SMALL_STOCK.replace("0.0002,4,2\nS20", "0.0002,4,\nS20");
    let (said, plain, cells) = provided(&stock, &pumps, &["--step", "0.001 in"]);
    assert!(plain.pumps[0].coarse);
    let narrowest = LengthJson { length: "0.0040".into(), unit: "in".into() };
    let [long, free] = &plain.warnings[..] else { panic!("{:?}", plain.warnings) };
    assert_eq!(*long, WarningJson::LongSteps { pumps: vec!["=A1".into()], narrowest });
    assert_eq!(*free, WarningJson::CountedAsFree { items: vec!["=S10".into()] });
    // The same in sentences, on the terminal and in the workbook.
    for words in [
        "Values are examined 0.0010 in apart, more than a fifth of a requirement's width (0.0040 in at the narrowest) of =A1",
        "Counted as free (no unit cost in the stock, or 0): =S10. Prices",
    ] {
        assert!(said.contains(words), "{words}\n{said}");
        assert!(cells.contains(words), "{words}\n{cells}");
    }
    assert!(
        said.contains("even at the low end of the interval") && said.contains("see the warning")
    );
}
