//! `gapwright recheck` on the tiny sample, with readings typed into the saved plan as people do.

use gapwright::formats::slip;
use serde_json::{Value, json};

use crate::own_rows::own_rows;
use crate::shop::{Put, Run, Shop, cells, change};

/// The tiny sample with a second gasket of 0.120 in, planned.
pub(super) fn shop() -> Shop {
    let shop = Shop::tiny();
    let stock = String::from_utf8(shop.read("stock.csv").unwrap()).unwrap();
    shop.write("stock.csv", &stock.replace("0.120,0.0005,1", "0.120,0.0005,2"));
    shop.kit("stock.csv", "pumps.csv");
    shop
}

pub(super) fn recheck(shop: &Shop, more: &[&str]) -> Run {
    let arguments = [
        "recheck",
        "kit-plan.xlsx",
        "stock.csv",
        "pumps.csv",
        "--json",
        "as-built.json",
        "--date",
        "2027-03-03",
        "--force",
    ];
    shop.run(&[&arguments, more].concat())
}

pub(super) fn record(shop: &Shop) -> Value {
    serde_json::from_slice(&shop.read("as-built.json").unwrap()).unwrap()
}

pub(super) fn decision(record: &Value, tag: &str) -> String {
    let pumps = record["pumps"].as_array().unwrap();
    let pump = pumps.iter().find(|pump| pump["tag"] == tag).unwrap();
    pump["decision"].as_str().unwrap().to_string()
}

/// Cell of the Kits sheet for a reading: its row is found by its hidden columns.
pub(super) fn cell(shop: &Shop, word: &str, tag: &str, name: &str, column: u16) -> String {
    let cells = cells(&shop.at("kit-plan.xlsx"), "Kits");
    let has = |row: u32, at: usize, text: &str| {
        let key = (row, u32::from(slip::KEYS[at]));
        cells.get(&key).map_or(text.is_empty(), |found| found == text)
    };
    let rows: std::collections::BTreeSet<u32> = cells.keys().map(|(row, _)| *row).collect();
    let row =
        rows.into_iter().find(|&row| has(row, 0, word) && has(row, 1, tag) && has(row, 2, name));
    let letter = char::from(b'A' + u8::try_from(column).unwrap());
    format!("{letter}{}", row.expect("a row with that key") + 1)
}

/// Types readings into the saved plan: word, tag, name, first, second.
pub(super) fn fill(shop: &Shop, readings: &[(&str, &str, &str, &str, &str)]) {
    let mut changes = Vec::new();
    for (word, tag, name, first, again) in readings {
        changes.push((cell(shop, word, tag, name, slip::READING), Put::from(*first)));
        changes.push((cell(shop, word, tag, name, slip::AGAIN), Put::from(*again)));
    }
    change(&shop.at("kit-plan.xlsx"), "Kits", &changes);
}

#[test]
fn readings_typed_into_the_slips_come_back() {
    let shop = shop();
    fill(
        &shop,
        &[
            ("pack", "B", "bearing_shims", "0.0301", ""),
            ("requirement", "B", "running_clearance", "0.0211", ""),
            // In another unit, and between two blades.
            ("pack", "A", "bearing_shims", "0.508 mm", ""),
            ("requirement", "A", "running_clearance", "0.031", "0.0305 to 0.0315"),
            ("pack", "C", "bearing_shims", "0.0200", ""),
        ],
    );
    let signed = [
        (cell(&shop, "signed", "B", "", slip::FITTER), Put::from("A. Fitter, 2 March")),
        (cell(&shop, "signed", "B", "", slip::CHECKER), Put::from("B. Checker")),
    ];
    change(&shop.at("kit-plan.xlsx"), "Kits", &signed);
    let run = recheck(&shop, &[]).well();
    let told = "Accepted; pack not measured (pieces taken at nominal): B.";
    assert!(run.told.contains(told), "{}", run.told);
    let record = record(&shop);
    assert_eq!(record["format"], "gapwright.recheck.v4");
    assert_eq!(decision(&record, "B"), "accept");
    assert_eq!(decision(&record, "A"), "swap");
    assert_eq!(decision(&record, "C"), "look_first");
    assert_eq!(record["pumps"][0]["fitter"], "A. Fitter, 2 March");
    assert_eq!(record["pumps"][0]["checker"], "B. Checker");
    // By hand: 0.031 - 0.010 = 0.021; the gap grows to 0.080, and 1.5 times that is 0.120: the gasket follows.
    let moved = |step: &Value| match step["code"].as_str().unwrap() {
        "take_out" => step["pieces"].as_array().unwrap().iter().map(|p| (p.clone(), -1)).collect(),
        "put_in" => vec![(step["piece"].clone(), 1)],
        _ => Vec::new(),
    };
    let moves: Vec<(String, i64)> = { record["pumps"][1]["to_do"].as_array().unwrap().iter() }
        .flat_map(moved)
        .map(|(m, sign)| (m["item"].as_str().unwrap().into(), sign * m["count"].as_i64().unwrap()))
        .collect();
    let by_hand = [("S10", 1), ("G105", -1), ("G120", 1)];
    assert_eq!(moves, by_hand.map(|(item, count)| (item.to_string(), count)));
    // C's pack is thicker by a piece of 0.010: there is one of those, twice.
    let to_do = record["pumps"][2]["to_do"].as_array().unwrap();
    let slips = to_do.iter().find(|task| task["code"] == "would_fit").unwrap();
    let piece = json!({ "item": "S10", "count": 1, "peeled_to": null });
    let too_many = json!({ "code": "too_many", "pack": "bearing_shims", "piece": piece });
    assert!(slips["slips"].as_array().unwrap().contains(&too_many), "{slips}");
    // The workbook and the JSON agree.
    let sheet = cells(&shop.at("as-built.xlsx"), "As built");
    // Of B's packs the gasket was not measured.
    let accepted = "accept; packs not all measured";
    for (tag, word) in [("A", "SWAP"), ("B", accepted), ("C", "LOOK FIRST, NOT MET")] {
        let row = sheet.iter().find(|((_, column), text)| *column == 0 && *text == tag);
        let ((row, _), _) = row.unwrap();
        assert_eq!(sheet[&(*row, 3)], word);
        // Only an accepted pump has cells to sign.
        let open = sheet.get(&(*row, 8)).is_some_and(|text| text == "not yet");
        assert_eq!(open, word != accepted);
    }
    let to_do = cells(&shop.at("as-built.xlsx"), "To do");
    let steps: Vec<&String> = to_do.values().collect();
    assert!(steps.iter().any(|s| s.contains("S10 too many")));
    assert!(steps.iter().any(|s| s.contains("take out 1 x G105")));
    assert!(steps.iter().any(|s| s.contains("put in 1 x S10 (0.0100 in), bin A1")));
    let readings = cells(&shop.at("as-built.xlsx"), "Readings");
    assert!(readings.values().any(|text| text == "0.0301"));
}

/// Equal readings from a list, on the command line and with the plan's JSON give equal records.
#[test]
fn a_list_the_command_line_and_the_json_of_a_plan_come_to_the_same() {
    let shop = shop();
    let list = "Tag,What,Reading (in),Again\n\
                B,Shims over the bearing,0.0301,\n\
                B,Impeller running clearance,0.0211,\n\
                A,running_clearance,0.031,0.0315\n";
    shop.write("bench.csv", list);
    recheck(&shop, &["--readings", "bench.csv"]).well();
    let of_list = record(&shop);
    let found = [
        "--found",
        "B:bearing shims=0.0301 in",
        "--found",
        "B:running clearance=21.1 thou",
        "--found",
        "A:running clearance=0.031 in",
        "--found",
        "A:running clearance=0.0315 in",
    ];
    recheck(&shop, &found).well();
    let of_command = record(&shop);
    assert_eq!(of_list["pumps"], of_command["pumps"]);
    assert_eq!(decision(&of_list, "A"), "swap");
    let of_json = shop.run(
        &[
            &[
                "recheck",
                "plan.json",
                "stock.csv",
                "pumps.csv",
                "--json",
                "as-built.json",
                "--force",
            ],
            &found[..],
        ]
        .concat(),
    );
    of_json.well();
    assert_eq!(record(&shop)["pumps"], of_list["pumps"]);
    assert_eq!(record(&shop)["plan"], of_list["plan"]);
}

#[test]
fn everything_wrong_is_told_with_its_cell_and_nothing_is_written() {
    let shop = shop();
    fill(
        &shop,
        &[
            ("pack", "B", "bearing_shims", "thick", ""),
            ("requirement", "B", "running_clearance", "", "0.021"),
            ("pack", "A", "bearing_shims", "12 furlongs", ""),
            ("requirement", "A", "running_clearance", "0.021", ""),
        ],
    );
    let at = |word, tag, name, column| cell(&shop, word, tag, name, column);
    let expected = [
        format!(
            "problem kit-plan.xlsx!{} `thick`: not a length",
            at("pack", "B", "bearing_shims", slip::READING)
        ),
        format!(
            "problem kit-plan.xlsx!{} a second reading, `0.021`, without a first",
            at("requirement", "B", "running_clearance", slip::AGAIN)
        ),
        format!(
            "problem kit-plan.xlsx!{} `12 furlongs`: `furlongs` is not a unit that is known here",
            at("pack", "A", "bearing_shims", slip::READING)
        ),
    ];
    let before = shop.files();
    let run = recheck(
        &shop,
        &[
            "--found",
            "A:running clearance=0.022 in",
            "--found",
            "Q:running clearance=0.022 in",
            "--found",
            "B:bare clearance=0.022 in",
            "--found",
            "C:running clearance=0.022",
            "--found",
            "nonsense",
        ],
    );
    assert_eq!(run.status, 2);
    assert_eq!(shop.files(), before);
    let told = run.problems();
    for problem in &expected {
        assert!(told.contains(problem), "{problem} in {told:#?}");
    }
    for found in [
        "a reading of the pump `Q`",
        "a reading of `bare clearance` for B",
        "`0.022`: no unit",
        "--found nonsense",
    ] {
        assert!(told.iter().any(|p| p.ends_with(found)), "{found} in {told:#?}");
    }
    let twice = told.iter().filter(|p| p.contains("has a reading of the same"));
    assert_eq!(twice.count(), 1, "{told:#?}");
}

/// Substituted pieces count, and pieces of other kits are never offered; once the kits are out, everything in the
/// drawers may be swapped in.
#[test]
fn pieces_as_issued_count_and_those_of_other_kits_are_not_offered() {
    let shop = shop();
    // A got both pieces of 0.010 for the one of 0.020.
    shop.fill(&[("A", "S20", "G", "0"), ("A", "S20", "H", "S10"), ("A", "S20", "I", "2")]);
    let found = ["--found", "A:bearing shims=0.0201 in"];
    recheck(&shop, &found).well();
    let pump = &record(&shop)["pumps"][1];
    assert_eq!(pump["readings"][0]["predicted"], "0.0200");
    // U of two pieces of 0.0002: 2 x sqrt(2) x 0.0002/sqrt(3); of one it would be 0.00023094.
    let within: f64 = pump["readings"][0]["predicted_within"].as_str().unwrap().parse().unwrap();
    assert!((within - 0.000_326_599).abs() < 1e-6, "{within}");
    // Ten thou too wide, read twice: S10 would do, but all of them are claimed.
    let wide =
        ["--found", "A:running clearance=0.031 in", "--found", "A:running clearance=0.031 in"];
    recheck(&shop, &wide).well();
    assert_eq!(decision(&record(&shop), "A"), "no_swap");
    recheck(&shop, &[&wide[..], &["--issued"]].concat()).well();
    assert_eq!(decision(&record(&shop), "A"), "swap");
}

/// The spares are equal, whether the kits are out already or not.
#[test]
fn the_stock_before_and_after_the_kits_are_out_leaves_the_same_for_a_swap() {
    let shop = shop();
    let wide =
        ["--found", "A:running clearance=0.031 in", "--found", "A:running clearance=0.031 in"];
    recheck(&shop, &wide).well();
    let before = record(&shop)["pumps"].clone();
    assert_eq!(before[1]["decision"], "swap");
    // All kits as planned: the sheet Stock after is the stock that is left.
    let after = cells(&shop.at("kit-plan.xlsx"), "Stock after");
    let rows = |row| (0..8).map(move |column| (row, column));
    let row = |row| rows(row).map(|at| after.get(&at).cloned().unwrap_or_default());
    let lines = (0..=6).map(|at| row(at).collect::<Vec<_>>().join(","));
    shop.write("stock-next.csv", &lines.collect::<Vec<_>>().join("\n"));
    let after = [
        "recheck",
        "kit-plan.xlsx",
        "stock-next.csv",
        "pumps.csv",
        "--json",
        "as-built.json",
        "--force",
    ];
    shop.run(&[&after[..], &wide].concat()).well();
    assert_eq!(record(&shop)["pumps"], before);
}

#[test]
fn a_plan_of_other_pumps_or_other_lots_is_refused() {
    let shop = shop();
    let pumps = String::from_utf8(shop.read("pumps.csv").unwrap()).unwrap();
    shop.write("other.csv", &pumps.replace("\nA,", "\nZ,"));
    let stock = String::from_utf8(shop.read("stock.csv").unwrap()).unwrap();
    shop.write("thicker.csv", &stock.replace("F1,0.020", "F1,0.021"));
    let run = |stock: &str, pumps: &str| shop.run(&["recheck", "kit-plan.xlsx", stock, pumps]);
    let other = run("stock.csv", "other.csv");
    assert_eq!(other.status, 2);
    assert!(
        other.problems().iter().any(|p| p.ends_with("a kit for `A`")),
        "{:?}",
        other.problems()
    );
    let thicker = run("thicker.csv", "pumps.csv");
    assert_eq!(thicker.status, 2);
    let told = thicker.problems();
    assert!(told.iter().any(|p| p.ends_with("S20 at `0.0200 in`")), "{told:?}");
    assert!(!shop.at("as-built.xlsx").exists());
}

/// A reading that was typed one row off, in place of a tick, is reported.
#[test]
fn a_reading_where_a_tick_belongs_is_asked_about() {
    let shop = shop();
    let reading = cell(&shop, "pack", "B", "bearing_shims", slip::READING);
    let (column, row) = reading.split_at(1);
    let above = format!("{column}{}", row.parse::<u32>().unwrap() - 1);
    change(&shop.at("kit-plan.xlsx"), "Kits", &[(above.as_str(), Put::from("0.0301"))]);
    let run = recheck(&shop, &[]);
    let warning = format!("warning kit-plan.xlsx!{above} `0.0301` in a cell for a tick");
    assert!(run.all().contains(&warning), "{:?}", run.all());
}

/// A model's own cautions are with the moved pieces, and only steps are ticked off.
#[test]
fn a_swap_has_the_models_cautions_and_ticks_for_steps_alone() {
    let shop = shop();
    let found = "A:running clearance=0.031 in";
    recheck(&shop, &["--found", found, "--found", found]).well();
    let sheet = cells(&shop.at("as-built.xlsx"), "To do");
    let rows_with = |words: &str| -> Vec<u32> {
        let all = sheet.iter().filter(|((_, column), text)| *column == 2 && text.contains(words));
        all.map(|((row, _), _)| *row).collect()
    };
    let ticked = |row: u32| sheet.get(&(row, 3)).is_some_and(|text| text == "☐");
    let [caution] = rows_with("Measure the snap ring that goes in")[..] else {
        panic!("{sheet:?}")
    };
    let [found] = rows_with("NOT MET")[..] else { panic!("{sheet:?}") };
    assert!(!ticked(caution) && !ticked(found));
    let steps = rows_with("put in 1 x");
    assert!(!steps.is_empty() && steps.iter().all(|row| ticked(*row) && *row > caution));
}

/// One reading of 0.0300 in against limits of 0.019 to 0.023 is not met, whatever its cause: the terminal, the record, To
/// do and the JSON say so, with the limits, beside LOOK FIRST. A reading within its limits is looked into without it.
#[test]
fn a_requirement_that_is_not_met_is_never_hidden_behind_its_cause() {
    let shop = shop();
    let run = recheck(&shop, &["--found", "A:running clearance=0.0300 in"]).well();
    let not_met =
        "Impeller running clearance: 0.0300 in found, limits 0.0190 to 0.0230 in: NOT MET.";
    assert!(run.told.contains("A LOOK FIRST, NOT MET:"), "{}", run.told);
    assert!(run.told.contains(not_met), "{}", run.told);
    let sheet = cells(&shop.at("as-built.xlsx"), "As built");
    let row = sheet.iter().find(|((_, column), text)| *column == 0 && *text == "A").unwrap().0.0;
    assert_eq!(sheet[&(row, 3)], "LOOK FIRST, NOT MET");
    assert_eq!(sheet[&(row, 4)], format!("{not_met} See To do."));
    let to_do = cells(&shop.at("as-built.xlsx"), "To do");
    assert!(to_do.values().any(|text| text == not_met), "{to_do:?}");
    let written = record(&shop);
    let pump = { written["pumps"].as_array().unwrap().iter() }.find(|pump| pump["tag"] == "A");
    let pump = pump.unwrap();
    assert_eq!(pump["decision"], "look_first");
    assert_eq!(pump["to_do"][0], json!({ "code": "not_met", "requirement": "running_clearance" }));
    assert_eq!(pump["requirements"][0]["verdict"], "not_met");
    let within = recheck(&shop, &["--found", "A:running clearance=0.0225 in"]).well();
    assert!(
        within.told.contains("A LOOK FIRST:") && !within.told.contains("NOT MET"),
        "{}",
        within.told
    );
}

/// Within its limits, but not clear of them by the error of the reading: neither met nor not met.
#[test]
fn a_reading_that_is_not_clear_of_its_limit_is_not_proven() {
    let shop = shop();
    let twice = ["--found", "A:running clearance=0.0227 in"].repeat(2);
    let run = recheck(&shop, &twice).well();
    let not_proven = "limits 0.0190 to 0.0230 in: NOT PROVEN: within its limits but not clear of them by 0.0005 in";
    assert!(run.told.contains(not_proven) && !run.told.contains("NOT MET"), "{}", run.told);
    let readings = cells(&shop.at("as-built.xlsx"), "Readings");
    assert!(readings.values().any(|text| text == "beyond, and NOT PROVEN"), "{readings:?}");
    let written = record(&shop);
    let pump = { written["pumps"].as_array().unwrap().iter() }.find(|pump| pump["tag"] == "A");
    let of = &pump.unwrap()["requirements"][0];
    assert_eq!((&of["verdict"], &of["conforms"]), (&json!("not_proven"), &json!(false)));
}

/// Readings are judged by the rule that the slips were printed with, else a warning is given.
#[test]
fn another_rule_than_that_of_the_plan_is_asked_about() {
    let shop = shop();
    let warning = "warning kit-plan.xlsx! a plan made with Acceptance worst case; its readings are judged with nominal";
    assert!(!recheck(&shop, &[]).all().iter().any(|w| w == warning));
    let run = recheck(&shop, &["--acceptance", "nominal"]);
    assert!(run.all().iter().any(|w| w == warning), "{:?}", run.all());
}

/// A rotor may be off its centre to one side or the other: a negative reading is valid where the limits have two
/// sides, and nowhere else.
#[test]
fn a_reading_of_two_sides_may_be_below_nothing() {
    let shop = Shop::new();
    shop.run(&["blank", "t", "--model", "thrust-collar"]).well();
    own_rows(shop.at("t"));
    shop.kit("t/stock.xlsx", "t/pumps.xlsx");
    let tag = "OWN-P1 (invented)";
    let found = |what: &str, value: &str| format!("{tag}:{what}={value}");
    let run = |what: &str, value: &str| {
        let found = found(what, value);
        shop.run(&[
            "recheck",
            "kit-plan.xlsx",
            "t/stock.xlsx",
            "t/pumps.xlsx",
            "--json",
            "as-built.json",
            "--force",
            "--found",
            &found,
            "--found",
            &found,
        ])
    };
    // By hand: 0.150 less the 0.0005 in (0.0127 mm) of a reading's error.
    for value in ["-0.02 mm", "-0.1373 mm"] {
        run("rotor off centre", value).well();
        let record = record(&shop);
        let of = &record["pumps"][0]["requirements"][0];
        assert_eq!(of["conforms"], true, "{value}: {of}");
    }
    run("rotor off centre", "-0.1374 mm").well();
    assert_eq!(record(&shop)["pumps"][0]["requirements"][0]["conforms"], false);
    let refused = run("total float of the collar", "-0.02 mm");
    assert_eq!(refused.status, 2);
    assert!(refused.problems()[0].contains("below zero"), "{:?}", refused.problems());
}

/// Codes of what there is to do with a pump, in their order, after its decision.
fn told(shop: &Shop, tag: &str, found: &[&str]) -> Vec<String> {
    let found = found.iter().flat_map(|one| ["--found".to_string(), format!("{tag}:{one} in")]);
    let found: Vec<String> = found.collect();
    recheck(shop, &found.iter().map(String::as_str).collect::<Vec<_>>()).well();
    let record = record(shop);
    let pumps = record["pumps"].as_array().unwrap();
    let pump = pumps.iter().find(|pump| pump["tag"] == tag).unwrap();
    let codes = pump["to_do"].as_array().unwrap().iter().map(|task| &task["code"]);
    let all = [&pump["decision"]].into_iter().chain(codes);
    all.map(|code| code.as_str().unwrap().to_string()).collect()
}

/// Every decision and nearly every task, in files that the command wrote.
#[test]
fn decisions_and_what_to_do_are_codes_in_the_order_of_the_work() {
    let shop = Shop::tiny();
    let read = |name: &str| String::from_utf8(shop.read(name).unwrap()).unwrap();
    let stock = read("stock.csv").replace("0.120,0.0005,1", "0.120,0.0005,2");
    shop.write("stock.csv", &(stock + "G75,gasket,F1,0.075,0.0005,1,3.00,B4\n"));
    // No shim is so thick.
    let pumps = read("pumps.csv") + "D,screwed-impeller,1,F1,F1,0.191,0.050\n";
    shop.write("pumps.csv", &pumps);
    shop.kit("stock.csv", "pumps.csv");
    let swapped = |shims: &str| {
        let gasket = "take_out put_in measure_pack";
        format!(
            "swap cause_not_found not_met caution {shims} {gasket} expected expected bring_back"
        )
    };
    let (swap, empty) = (swapped("put_in measure_pack"), swapped("take_out stays_empty"));
    let twice = |reading: &'static str| vec![reading, reading];
    let (thick, clear) = ("bearing shims=0.0301", "running clearance=0.0211");
    for (tag, found, expected) in [
        ("B", vec![], "not_read not_read"),
        ("D", vec![], "not_kitted not_kitted"),
        ("B", vec![thick], "recheck_lacking recheck"),
        ("B", vec![thick, clear], "accept pack_not_measured"),
        (
            "C",
            vec!["bearing shims=0.0200"],
            "look_first not_met not_met differs look_for would_fit read_again",
        ),
        (
            "C",
            vec!["bearing shims=0.0200", "bearing shims=0.0150"],
            "look_first not_met not_met differs read_third_time look_for read_again",
        ),
        (
            "A",
            vec!["bearing shims=0.0300", "bearing shims=0.0300", clear],
            "look_first not_met differs measure_pack_first read_again",
        ),
        ("A", twice("running clearance=0.031"), &swap),
        ("A", twice("running clearance=0.001"), &empty),
        ("A", twice("running clearance=0.5"), "no_swap cause_not_found not_met no_swap"),
        (
            "A",
            twice("running clearance=0.0228"),
            "no_swap cause_not_found not_clear read_finer no_swap",
        ),
    ] {
        assert_eq!(told(&shop, tag, &found).join(" "), expected, "{tag} {found:?}");
    }
    // Of a laminated shim the piece of the pack is peeled further: from 0.030 in by 0.010 in, the reading being 0.011 in.
    let small = pumps.lines().take(2).map(|line| format!("{line}\n")).collect::<String>();
    let laminated = "Item,Kind,Fit,Thickness (in),Tolerance (in),On hand,Unit cost,Peel step (in)\n\
                     LAM,shim,F1,0.030,0.0002,2,4.00,0.002\n\
                     G105,gasket,F1,0.105,0.0005,3,3.00,\n\
                     G120,gasket,F1,0.120,0.0005,3,3.00,\n";
    let shop = Shop::tiny();
    shop.write("stock.csv", laminated);
    shop.write("pumps.csv", &small);
    shop.kit("stock.csv", "pumps.csv");
    let codes = told(&shop, "B", &twice("running clearance=0.011")).join(" ");
    assert!(codes.contains("take_out peel_further measure_pack"), "{codes}");
    let record = record(&shop);
    let tasks = record["pumps"][0]["to_do"].as_array().unwrap();
    let peel = tasks.iter().find(|task| task["code"] == "peel_further").unwrap();
    let to = json!({ "length": "0.0200", "unit": "in" });
    assert_eq!(peel["piece"], json!({ "item": "LAM", "count": 1, "peeled_to": to }));
}
