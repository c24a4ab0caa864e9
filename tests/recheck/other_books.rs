//! Readings held against other workbooks than those that the plan was made from: every value that differs is named
//! before anything is judged by it.

use crate::command::{fill, recheck, shop};
use crate::shop::Shop;

/// The file of a shop with a text in it replaced.
fn edit(shop: &Shop, file: &str, from: &str, to: &str) {
    let text = String::from_utf8(shop.read(file).unwrap()).unwrap();
    assert!(text.contains(from), "{from} is in {file}: {text}");
    shop.write(file, &text.replace(from, to));
}

/// A filled-in plan.
fn filled() -> Shop {
    let shop = shop();
    fill(&shop, &[("requirement", "A", "running_clearance", "0.0212", "")]);
    shop
}

#[test]
fn values_that_a_kit_was_chosen_by_are_named_with_both() {
    let a = "A,screwed-impeller,1,F1,F1,0.041,0.050";
    let cases: [(&str, &str, &str, &[&str]); 4] = [
        (
            "pumps.csv",
            a,
            "A,screwed-impeller,1,F1,F1,0.042,0.050",
            &["`Bare clearance` of A: 0.0410 in in the plan, 0.0420 in in the workbooks given"],
        ),
        (
            "pumps.csv",
            a,
            "A,screwed-impeller,1,F1,F1,0.041,0.0501",
            &["`Snap ring` of A: 0.0500 in in the plan, 0.0501 in in the workbooks given"],
        ),
        (
            "pumps.csv",
            "Snap ring (in)",
            "Snap ring (mm)",
            &[
                "`Snap ring` of B: 0.0500 in in the plan, 0.00",
                "`Snap ring` of A: 0.0500 in in the plan, 0.00",
                "`Snap ring` of C: 0.0500 in in the plan, 0.00",
            ],
        ),
        (
            "stock.csv",
            "S20,shim,F1,0.020,0.0002",
            "S20,shim,F1,0.020,0.0004",
            &[
                "`Tolerance of S20` of A: +0.0002/-0.0002 in in the plan, +0.0004/-0.0004 in in the workbooks given",
            ],
        ),
    ];
    for plan in ["kit-plan.xlsx", "plan.json"] {
        for (file, from, to, expected) in cases {
            let shop = filled();
            edit(&shop, file, from, to);
            let run = shop.run(&["recheck", plan, "stock.csv", "pumps.csv"]);
            assert_eq!(run.status, 2, "{plan}, {to}: {}", run.told);
            let problems = run.problems();
            assert_eq!(problems.len(), expected.len(), "{problems:?}");
            for text in expected {
                assert!(problems.iter().any(|problem| problem.contains(text)), "{problems:?}");
            }
            assert!(shop.read("as-built.xlsx").is_none());
        }
    }
}

/// A limit that the pump sheet gives for one pump, and none of it did when the plan was made.
#[test]
fn limits_that_were_moved_are_named() {
    let shop = filled();
    let text = String::from_utf8(shop.read("pumps.csv").unwrap()).unwrap();
    let rows = text.lines().enumerate().map(|(at, row)| match at {
        0 => format!("{row},Running clearance max (in)\n"),
        2 => format!("{row},0.0240\n"),
        _ => format!("{row},\n"),
    });
    shop.write("pumps.csv", &rows.collect::<String>());
    let run = recheck(&shop, &[]);
    assert_eq!(run.status, 2, "{}", run.told);
    let limit =
        "`Running clearance max` of A: 0.0230 in in the plan, 0.0240 in in the workbooks given";
    assert!(run.problems()[0].ends_with(limit), "{:?}", run.problems());
}

#[test]
fn cells_that_nothing_is_judged_by_are_a_warning() {
    let shop = filled();
    let told = |run: &crate::shop::Run| -> Vec<String> {
        run.all().into_iter().filter(|found| found.contains("pump")).collect()
    };
    let run = recheck(&shop, &[]).well();
    assert_eq!(told(&run), Vec::<String>::new());
    // The next stock, whose counts alone differ, is what `export` writes.
    edit(&shop, "stock.csv", "S10,shim,F1,0.010,0.0002,2", "S10,shim,F1,0.010,0.0002,3");
    let run = recheck(&shop, &[]).well();
    assert_eq!(told(&run), Vec::<String>::new());
    edit(&shop, "pumps.csv", "C,screwed-impeller,1", "C,screwed-impeller,2");
    let run = recheck(&shop, &[]).well();
    let same = "warning pumps.csv! another pump workbook than the plan's: the same in all that its kits are judged by";
    assert_eq!(told(&run), [same]);
    // A pump that came in since has no kit.
    let rows = String::from_utf8(shop.read("pumps.csv").unwrap()).unwrap();
    shop.write("pumps.csv", &(rows + "D,screwed-impeller,1,F1,F1,0.041,0.050\n"));
    let run = recheck(&shop, &[]).well();
    assert_eq!(told(&run), ["warning pumps.csv! the pump D, which the plan has no line for", same]);
}
