//! A plan that people typed into is not lost when another is written over it.

use std::fs;

use gapwright::formats::slip;

use crate::command::{cell, fill, shop};
use crate::shop::{Put, Shop, change};

/// Makes the plan again over the old one; what is said, and the names of the files that were kept.
fn again(shop: &Shop) -> (String, Vec<String>) {
    let run = shop.kit("stock.csv", "pumps.csv");
    let kept = shop.files().into_keys().filter(|name| name.contains("-filled-in"));
    (run.told, kept.collect())
}

#[test]
fn readings_signatures_and_entries_are_kept_beside_the_new_plan() {
    let reading =
        |shop: &Shop| fill(shop, &[("requirement", "A", "running_clearance", "0.0212", "")]);
    let signature = |shop: &Shop| {
        let at = cell(shop, "signed", "B", "", slip::FITTER);
        change(&shop.at("kit-plan.xlsx"), "Kits", &[(at, Put::from("A. Fitter"))]);
    };
    let issue = |cell: &'static str, value: &'static str| {
        move |shop: &Shop| {
            change(&shop.at("kit-plan.xlsx"), "Issue", &[(cell, Put::from(value))]);
        }
    };
    let (picked, note) = (issue("G6", "0"), issue("J6", "bent"));
    let entries: [&dyn Fn(&Shop); 4] = [&reading, &signature, &picked, &note];
    for entry in entries {
        let shop = shop();
        // A plan as it was written is replaced, and that is all.
        assert_eq!(again(&shop).1, Vec::<String>::new());
        let plain = shop.read("kit-plan.xlsx");
        entry(&shop);
        let filled = shop.read("kit-plan.xlsx");
        assert_ne!(filled, plain);
        let (told, kept) = again(&shop);
        assert_eq!(kept, ["kit-plan-filled-in.xlsx"]);
        assert!(told.contains("kit-plan.xlsx held entries of people: it was kept as"), "{told}");
        assert_eq!(shop.read("kit-plan-filled-in.xlsx"), filled);
        assert_eq!(shop.read("kit-plan.xlsx"), plain);
        // The kept one is never written over either.
        entry(&shop);
        assert_eq!(again(&shop).1, ["kit-plan-filled-in-2.xlsx", "kit-plan-filled-in.xlsx"]);
        assert_eq!(shop.read("kit-plan-filled-in.xlsx"), filled);
    }
}

/// Other commands may be told to write to that name too.
#[test]
fn every_command_that_writes_over_a_plan_keeps_it() {
    let shop = shop();
    fill(&shop, &[("requirement", "A", "running_clearance", "0.0212", "")]);
    let filled = shop.read("kit-plan.xlsx");
    shop.run(&["stack", "pumps.csv", "--stock", "stock.csv", "--out", "kit-plan.xlsx", "--force"])
        .well();
    assert_eq!(shop.read("kit-plan-filled-in.xlsx"), filled);
}

#[test]
fn a_plan_that_cannot_be_kept_is_not_replaced() {
    let shop = shop();
    fill(&shop, &[("requirement", "A", "running_clearance", "0.0212", "")]);
    // Every name for a kept one is taken.
    shop.write("kit-plan-filled-in.xlsx", "");
    (2..=1_000)
        .for_each(|n| fs::write(shop.at(&format!("kit-plan-filled-in-{n}.xlsx")), "").unwrap());
    let before = shop.files();
    let run = shop.run(&["kit", "stock.csv", "pumps.csv", "--out", "kit-plan.xlsx", "--force"]);
    assert_eq!(run.status, 3, "{}", run.told);
    assert!(
        run.problems()[0].contains("cannot be kept under another name"),
        "{:?}",
        run.problems()
    );
    assert_eq!(shop.files(), before);
}
