//! JSON of the commands against the schemas that `gapwright schema` prints, by an independent
//! validator (crate `jsonschema`, JSON Schema 2020-12).

#![allow(clippy::unwrap_used, clippy::expect_used, missing_docs)]

mod codes;

use std::collections::BTreeSet;
use std::fs;
use std::path::Path;

use assert_cmd::Command;
use serde_json::Value;
use tempfile::TempDir;

fn json(folder: &Path, arguments: &[&str]) -> Value {
    let mut command = Command::cargo_bin("gapwright").unwrap();
    let output = command.current_dir(folder).args(arguments).output().unwrap();
    serde_json::from_slice(&output.stdout).unwrap_or_else(|_| panic!("{arguments:?}: {output:?}"))
}

fn schema(name: &str) -> jsonschema::Validator {
    let schema = json(Path::new("."), &["schema", name]);
    jsonschema::validator_for(&schema).expect("a schema that can be used")
}

/// Every way to spoil a document by taking one field of the whole, or of the first entry of a list in it, away.
fn spoiled(document: &Value) -> Vec<Value> {
    let mut all = Vec::new();
    for key in document.as_object().unwrap().keys() {
        let mut less = document.clone();
        less.as_object_mut().unwrap().remove(key);
        all.push(less);
        let mut other = document.clone();
        other[key] = serde_json::json!({ "no such": ["thing"] });
        all.push(other);
    }
    all
}

#[test]
fn what_is_written_for_programs_is_as_its_schema_says() {
    let samples = std::env::current_dir().unwrap().join("samples");
    let at = |name: &str| samples.join(name).display().to_string();
    let folder = TempDir::new().unwrap();
    // A second gasket of 0.120 in lets a swap put a pump right.
    let (stock, pumps) = ("stock.csv".to_string(), at("tiny/pumps.csv"));
    let rows = fs::read_to_string(at("tiny/stock.csv")).unwrap();
    let rows = rows.replace("0.120,0.0005,1", "0.120,0.0005,2");
    fs::write(folder.path().join(&stock), rows).unwrap();
    let plan = ["kit", &stock, &pumps, "--json", "-", "--date", "2027-03-01"];
    let wide = "A:running clearance=0.031 in";
    let recheck = [
        "recheck",
        "kit-plan.xlsx",
        &stock,
        &pumps,
        "--json",
        "-",
        "--found",
        wide,
        "--found",
        wide,
    ];
    let (buy_stock, buy_pumps) = (at("purchase/stock.csv"), at("purchase/pumps.csv"));
    let purchase = ["reorder", &buy_stock, &buy_pumps, "--json", "-", "--date", "2027-03-01"];
    let (set_stock, set_pumps) = (at("provision/stock.xlsx"), at("provision/pumps.xlsx"));
    let past = at("provision/past.xlsx");
    let provision = [
        "provision",
        &set_stock,
        &set_pumps,
        "--history",
        &past,
        "--json",
        "-",
        "--scenarios",
        "50",
        "--checks",
        "50",
    ];
    // Every kind of figure: sweeps with pieces held and chosen again, a map, and a pump that is not fit.
    let stack =
        ["stack", &at("outage/pumps.xlsx"), "--stock", &at("outage/stock.xlsx"), "--json", "-"];
    let more = ["--pump", "P-101", "--pump", "P-299", "--steps", "3", "--date", "2027-03-01"];
    let swept = [
        "--sweep",
        "bare_clearance = 0.050 .. 0.058",
        "--sweep",
        "bearing_shims pieces = 1 .. 3",
        "--map",
        "bare_clearance = 0.050 .. 0.058; bearing_shims total = 0.030 .. 0.034",
    ];
    let held = [&stack[..], &more, &swept].concat();
    let anew = ["--rechoose", "--sweep", "bare_clearance = 0.020 .. 0.055", "--force"];
    let anew = [&stack[..], &more, &anew].concat();
    let other = ["kit", &stock, &pumps, "--out", "other.xlsx", "--acceptance", "nominal"];
    assert!(
        Command::cargo_bin("gapwright")
            .unwrap()
            .current_dir(&folder)
            .args(other)
            .output()
            .unwrap()
            .status
            .success()
    );
    let compare = ["compare", "kit-plan.xlsx", "other.xlsx", "--json", "-"];
    let problems = ["check", &stock, &buy_pumps, "--problems", "json"];
    // Once more with other states: swaps and mix-ups, no money and a drawer at fault, steps that are too long.
    let bench = [&recheck[..], &["--found", "C:bearing shims=0.0200 in", "--force"]].concat();
    let log = at("purchase/issue-log.xlsx");
    let poor =
        ["--budget", "0", "--range", "K4=0.001 in..0.0505 in", "--log", &log, "--service", "99 %"];
    let poor = [&purchase[..], &poor, &["--force"]].concat();
    let coarse = [&provision[..], &["--step", "0.002 in", "--force"]].concat();
    // Pumps that are not measured and known ahead, with pieces held back for them.
    let ahead = ["--history", &past, "--keep-for-unmeasured", "--json", "-", "--out", "ahead.xlsx"];
    let ahead = [&["kit", &set_stock, &set_pumps][..], &ahead].concat();
    let outputs: [(&str, &[&str]); 12] = [
        ("plan", &plan),
        ("plan", &ahead),
        ("recheck", &recheck),
        ("recheck", &bench),
        ("purchase", &purchase),
        ("purchase", &poor),
        ("provision", &provision),
        ("provision", &coarse),
        ("stack", &held),
        ("stack", &anew),
        ("problems", &problems),
        ("compare", &compare),
    ];
    let mut seen = BTreeSet::new();
    for (name, arguments) in outputs {
        let document = json(folder.path(), arguments);
        let schema = schema(name);
        let wrong: Vec<String> = schema.iter_errors(&document).map(|e| e.to_string()).collect();
        assert!(wrong.is_empty(), "{name}: {wrong:#?}");
        if name != "problems" {
            codes_of(&document, &mut seen);
        }
        let version = match name {
            "stack" | "compare" => 1,
            "recheck" => 4,
            "problems" => 2,
            "plan" => 4,
            _ => 3,
        };
        let format = format!("gapwright.{name}.v{version}");
        assert_eq!(document["format"], format, "{name}");
        // The schema bites: most fields cannot be left out, and none can be just anything.
        let refused = spoiled(&document).iter().filter(|other| !schema.is_valid(other)).count();
        let fields = document.as_object().unwrap().len();
        assert!(refused > fields, "{name}: {refused} of {}", 2 * fields);
    }
    // One that is proven with splits or without.
    let proof = folder.path().join("proof.json");
    let certified = [&plan[..], &["--certificate", "proof.json", "--force"]].concat();
    json(folder.path(), &certified);
    let proof: Value = serde_json::from_slice(&fs::read(proof).unwrap()).unwrap();
    let wrong: Vec<_> = schema("certificate").iter_errors(&proof).map(|e| e.to_string()).collect();
    assert!(wrong.is_empty(), "{wrong:#?}");
    for code in ["swap", "would_fit", "too_many", "no_kit", "step", "days", "long_steps", "even"] {
        assert!(seen.contains(code), "{code} in {seen:?}");
    }
}

/// Every code of a document and every other word of it that could be one; no text in it is a sentence.
fn codes_of(document: &Value, seen: &mut BTreeSet<String>) {
    match document {
        Value::String(text) => {
            assert!(!text.ends_with('.') && !text.contains(": "), "a sentence: {text}");
            seen.insert(text.clone());
        }
        Value::Array(all) => all.iter().for_each(|one| codes_of(one, seen)),
        // The caution of a model is its own text.
        Value::Object(fields) if fields.get("code") == Some(&"caution".into()) => {}
        Value::Object(fields) => fields.values().for_each(|one| codes_of(one, seen)),
        _ => {}
    }
}
