//! Verdicts as people and programs read them: not proven, met by the nominal rule alone, met against the chance.

use std::fs;
use std::path::Path;

use calamine::{Reader, Xlsx, open_workbook};
use serde_json::{Value, json};
use tempfile::TempDir;

use super::{Output, gapwright, text};

/// By hand: 0.051 - 0.030 = 0.021 in, 0.002 from either limit. The reading is good to 0.0003 and the shim to 0.0018, at
/// worst 0.0021: not proven. A gauge good to 0.0002 settles it exactly; of the shim 0.0017 would do, 0.001 is the next
/// plain figure. u^2 = (0.0003^2 + 0.0018^2) / 3, 0.002 / u = 1.8982, and a normal value lies within that in 94.23 %.
fn kit(folder: &Path, more: &[&str]) -> Output {
    let stock = "Item,Kind,Fit,Thickness (in),Tolerance (in),On hand,Unit cost,Bin\n\
                 S30,shim,F1,0.030,0.0018,1,6.00,A10\n\
                 G120,gasket,F1,0.120,0.0005,1,3.00,B3\n";
    let pumps = "Tag,Model,Priority,Bearing shims fit,Cover gasket fit,Bare clearance (in),Snap ring (in)\n\
                 B,screwed-impeller,1,F1,F1,0.051,0.050\n";
    fs::write(folder.join("stock.csv"), stock).unwrap();
    fs::write(folder.join("pumps.csv"), pumps).unwrap();
    let at = |name: &str| folder.join(name).display().to_string();
    let files = [at("stock.csv"), at("pumps.csv"), at("plan.xlsx"), at("plan.json")];
    let [stock, pumps, out, json] = files.each_ref().map(String::as_str);
    let kit = ["kit", stock, pumps, "--out", out, "--json", json, "--force"];
    let run = gapwright(&[&kit, more].concat());
    assert!(run.status.success(), "{}", text(&run.stderr));
    run
}

fn plan(folder: &Path) -> Value {
    serde_json::from_str(&fs::read_to_string(folder.join("plan.json")).unwrap()).unwrap()
}

/// Texts of a sheet of the plan.
fn texts(folder: &Path, sheet: &str) -> Vec<String> {
    let mut book: Xlsx<_> = open_workbook(folder.join("plan.xlsx")).unwrap();
    let range = book.worksheet_range(sheet).unwrap();
    range.used_cells().map(|(_, _, cell)| cell.to_string()).collect()
}

#[test]
fn a_pump_whose_nominal_values_fit_is_not_proven_until_it_is_settled() {
    let folder = TempDir::new().unwrap();
    let run = kit(folder.path(), &[]);
    let said = "NOT PROVEN by the worst case rule with 1 x S30 and 1 x G120, though every nominal value is within its \
                limits: Impeller running clearance 0.0210 in, limits 0.0190 to 0.0230 in, worst case 0.0021 in, \
                chance of conformity 94.23 % (normal). To settle it: measure Impeller clearance with no shims with a gauge \
                good to +/-0.0002 in, or measure the pieces of shim S30, or of another lot, to +/-0.0010 in each; then \
                enter it and plan again";
    let told = text(&run.stderr) + &text(&run.stdout);
    assert!(told.contains("B NOT FIT TO ASSEMBLE:") && told.contains(said), "{told}");
    for sheet in ["Summary", "Short", "Kits"] {
        let texts = texts(folder.path(), sheet);
        assert!(texts.iter().any(|text| text.contains(said)), "{sheet}: {texts:?}");
    }
    for sheet in
        ["Summary", "Picking list", "Kits", "Labels", "Stack-up", "Short", "Reorder", "Issue"]
    {
        let texts = texts(folder.path(), sheet);
        assert!(
            texts.iter().any(|text| text.contains("NOT FIT TO ASSEMBLE")),
            "{sheet}: {texts:?}"
        );
    }
    let plan = plan(folder.path());
    let pump = &plan["pumps"][0];
    assert_eq!((&pump["served"], &pump["not_fit_to_assemble"]), (&json!(false), &json!(true)));
    let shorts = pump["short"].as_array().unwrap();
    let cause = &shorts.last().unwrap()["cause"];
    assert_eq!(cause["code"], "not_proven");
    assert_eq!(cause["packs"]["bearing_shims"]["pieces"][0]["item"], "S30");
    let of = &cause["requirements"][0];
    assert_eq!((&of["verdict"], &of["conforms"]), (&json!("not_proven"), &json!(false)));
    assert_eq!(cause["requirements"][1]["verdict"], "met");
    assert_eq!(cause["chances"][0]["law"], json!({ "code": "normal" }));
    assert!(cause["chances"][0]["conforming"].as_str().unwrap().starts_with("0.9423"));
    let inch = |length: &str| json!({ "length": length, "unit": "in" });
    let gauge = json!({ "code": "better_gauge", "dimension": "bare_clearance", "plus_minus": inch("0.0002") });
    let lot = json!({ "code": "better_lot", "item": "S30", "plus_minus": inch("0.0010") });
    assert_eq!(cause["settle"], json!([gauge, lot]));
}

/// The first remedy, entered: the pump is kitted.
#[test]
fn a_pump_that_is_settled_as_it_was_said_is_kitted() {
    let folder = TempDir::new().unwrap();
    kit(folder.path(), &[]);
    let stock = fs::read_to_string(folder.path().join("stock.csv")).unwrap();
    fs::write(folder.path().join("better.csv"), stock.replace("0.0018", "0.0010")).unwrap();
    let at = |name: &str| folder.path().join(name).display().to_string();
    let run = gapwright(&["kit", &at("better.csv"), &at("pumps.csv"), "--out", &at("better.xlsx")]);
    let said = text(&run.stdout);
    assert!(
        said.starts_with("1 of 1 pump can be kitted") && !said.contains("NOT PROVEN"),
        "{said}"
    );
}

#[test]
fn the_nominal_rule_is_named_where_it_alone_lets_a_pump_pass() {
    let folder = TempDir::new().unwrap();
    let run = kit(folder.path(), &["--acceptance", "nominal"]);
    let only = "met by the nominal rule, as asked; NOT PROVEN in the worst case";
    let chance =
        "met by the nominal rule, but the chance of conformity is 94.23 % (normal), below 95 %";
    let told = text(&run.stderr);
    for said in [only, chance] {
        let line = format!("B: Impeller running clearance: {said}.");
        assert!(told.contains(&line), "{told}");
        assert!(texts(folder.path(), "Summary").contains(&line));
    }
    assert!(texts(folder.path(), "Kits").iter().any(|text| text == only));
    let stack_up = texts(folder.path(), "Stack-up");
    let beside = "NOT PROVEN in the worst case. The probability of conformity is below the level of the rule.";
    assert!(stack_up.iter().any(|text| text == beside), "{stack_up:?}");
    assert!(stack_up.iter().any(|text| text == "normal"));
    let plan = plan(folder.path());
    let warnings = plan["pumps"][0]["warnings"].as_array().unwrap();
    let codes: Vec<&Value> = warnings.iter().map(|warning| &warning["code"]).collect();
    assert_eq!(codes, ["nominal_only", "chance_below_level"]);
    assert_eq!(warnings[1]["level"], "0.95");
}
