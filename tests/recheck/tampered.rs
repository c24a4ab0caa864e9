//! Plans for programs that were changed by hand: no command takes one.

use std::collections::BTreeSet;
use std::fs;

use gapwright::digest::sha256;
use gapwright::formats::plan::{NotAPlan, PlanJson, parse};
use serde_json::Value;

use crate::shop::Shop;

/// Where every value that holds no other lies, empty lists and tables among them.
fn leaves(value: &Value, at: &str, found: &mut Vec<String>) {
    match value {
        Value::Array(list) if !list.is_empty() => {
            for (index, value) in list.iter().enumerate() {
                leaves(value, &format!("{at}/{index}"), found);
            }
        }
        Value::Object(table) if !table.is_empty() => {
            for (key, value) in table {
                let key = key.replace('~', "~0").replace('/', "~1");
                leaves(value, &format!("{at}/{key}"), found);
            }
        }
        _ => found.push(at.to_string()),
    }
}

/// Other values of its kind, as a hand that knows the format would write them.
fn others(value: &Value) -> Vec<Value> {
    match value {
        Value::Null => vec![1.into(), "x".into()],
        Value::Bool(is) => vec![(!is).into()],
        Value::Number(number) => {
            let number = number.as_i64().expect("whole numbers only");
            vec![(number + 1).into(), if number == 0 { 7.into() } else { 0.into() }]
        }
        Value::String(text) => {
            let mut turned: Vec<char> = text.chars().collect();
            if let Some(last) = turned.last_mut() {
                *last = if *last == '1' { '2' } else { '1' };
            }
            let turned: String = turned.into_iter().collect();
            vec![format!("{text} ").into(), format!("{turned}0").into(), turned.into()]
        }
        Value::Array(_) => vec![vec![1].into(), Value::Null],
        Value::Object(_) => vec![serde_json::json!({ "x": 1 }), Value::Null],
    }
}

/// The sample outage: short pumps, bags, warnings.
fn sample() -> Shop {
    let shop = Shop::new();
    for name in ["stock.xlsx", "pumps.xlsx"] {
        fs::copy(format!("samples/outage/{name}"), shop.at(name)).unwrap();
    }
    shop.kit("stock.xlsx", "pumps.xlsx");
    shop
}

fn plan(shop: &Shop) -> Value {
    serde_json::from_slice(&shop.read("plan.json").unwrap()).unwrap()
}

/// Refused, in words that are not those of a parser.
fn refused(bytes: &[u8], what: &str) {
    let error = parse(bytes).map(|_| ()).expect_err(what).to_string();
    for word in ["invalid type", "missing field", "unknown variant", "expected", "enum", "struct"] {
        assert!(!error.contains(word), "{what}: {error}");
    }
}

#[test]
fn every_field_that_is_changed_is_noticed() {
    let shop = sample();
    let plan = plan(&shop);
    assert!(parse(&shop.read("plan.json").unwrap()).is_ok());
    // Laid out anew by another program, it is still the plan.
    assert!(parse(plan.to_string().as_bytes()).is_ok());
    let mut found = Vec::new();
    leaves(&plan, "", &mut found);
    assert!(found.len() > 1_000, "{}", found.len());
    // One of each kind for whole runs: the place without its numbers.
    let mut kinds = BTreeSet::new();
    let mut whole = Vec::new();
    for at in &found {
        let value = plan.pointer(at).unwrap();
        for other in others(value).into_iter().filter(|other| other != value) {
            let mut changed = plan.clone();
            *changed.pointer_mut(at).unwrap() = other.clone();
            let text = changed.to_string();
            refused(text.as_bytes(), &format!("{at}: {value} to {other}"));
            let kind: String = at.chars().filter(|c| !c.is_ascii_digit()).collect();
            if kinds.insert(kind) {
                whole.push((at, text));
            }
        }
    }
    assert!(whole.len() > 60, "{}", whole.len());
    for (at, text) in whole {
        shop.write("changed.json", &text);
        let before = shop.files();
        let [stock, pumps] = ["stock.xlsx", "pumps.xlsx"];
        let stack = ["stack", pumps, "--stock", stock, "--plan", "changed.json", "--pump", "P-101"];
        for command in [
            &["recheck", "changed.json", stock, pumps][..],
            &[&stack[..], &["--out", "stack.xlsx"]].concat(),
        ] {
            let run = shop.run(command);
            assert_eq!(run.status, 2, "{at}, {command:?}: {}", run.told);
            assert_eq!(shop.files(), before, "{at}, {command:?}");
        }
    }
}

#[test]
fn what_is_taken_out_or_put_in_is_noticed() {
    let plan = plan(&sample());
    for list in ["/pumps", "/stock", "/goals", "/inputs"] {
        let mut less = plan.clone();
        less.pointer_mut(list).unwrap().as_array_mut().unwrap().pop();
        refused(less.to_string().as_bytes(), list);
        let mut turned = plan.clone();
        turned.pointer_mut(list).unwrap().as_array_mut().unwrap().reverse();
        refused(turned.to_string().as_bytes(), list);
        let mut twice = plan.clone();
        let entries = twice.pointer_mut(list).unwrap().as_array_mut().unwrap();
        entries.push(entries[0].clone());
        refused(twice.to_string().as_bytes(), list);
    }
    // A field that is null means the same as none.
    let fields = plan.as_object().unwrap().iter().filter(|(_, value)| !value.is_null());
    for (key, _) in fields {
        let mut less = plan.clone();
        less.as_object_mut().unwrap().remove(key);
        refused(less.to_string().as_bytes(), key);
    }
}

/// A plan with a hash of its own, as the format says it is made.
fn sealed(mut plan: PlanJson) -> String {
    plan.sha256 = String::new();
    plan.sha256 = sha256(serde_json::to_string(&plan).unwrap().as_bytes());
    serde_json::to_string(&plan).unwrap()
}

/// Behind the hash stand the sums, the counts of each item and the code of the lines.
#[test]
fn a_hash_made_again_does_not_hide_a_piece() {
    let shop = sample();
    let plan = parse(&shop.read("plan.json").unwrap()).unwrap();
    assert_eq!(sealed(plan.clone()), serde_json::to_string(&plan).unwrap());
    // One more piece of an item that the stock still has.
    let more = |plan: &mut PlanJson| {
        let PlanJson { pumps, stock, .. } = plan;
        let there = |item: &str| stock.iter().any(|lot| lot.item == item && lot.after > 0);
        let packs = pumps.iter_mut().flat_map(|pump| pump.packs.values_mut());
        let mut pieces = packs.flat_map(|pack| &mut pack.pieces);
        let piece = pieces.find(|piece| there(&piece.item)).unwrap();
        piece.count += 1;
        piece.item.clone()
    };
    let told = |plan: PlanJson| match parse(sealed(plan).as_bytes()) {
        Err(NotAPlan::Changed(told)) => told,
        Err(other) => panic!("{other}"),
        Ok(_) => panic!("it passes"),
    };
    let mut lost = plan.clone();
    more(&mut lost);
    assert!(told(lost.clone()).contains("its sums are not those of its pumps"));
    lost.sums.pieces += 1;
    assert!(told(lost).contains("do not add up"));
    // All counts made to fit: the lines make another code.
    let mut fits = plan.clone();
    let item = more(&mut fits);
    fits.sums.pieces += 1;
    fits.sums.issued += 1;
    fits.sums.after -= 1;
    let lot = fits.stock.iter_mut().find(|lot| lot.item == item).unwrap();
    lot.issued += 1;
    lot.after -= 1;
    let text = sealed(fits);
    assert!(parse(text.as_bytes()).is_ok());
    shop.write("changed.json", &text);
    let run = shop.run(&["recheck", "changed.json", "stock.xlsx", "pumps.xlsx"]);
    assert_eq!(run.status, 2, "{}", run.told);
    assert!(run.problems()[0].contains("below the plan"), "{:?}", run.problems());
}

/// One code everywhere: in the JSON and on the sheet Issue.
#[test]
fn the_code_of_a_plan_is_that_of_its_workbook() {
    let shop = sample();
    let code = plan(&shop)["plan"].as_str().unwrap().to_string();
    let issue = crate::shop::cells(&shop.at("kit-plan.xlsx"), "Issue");
    assert!(issue.values().any(|cell| *cell == code));
}
