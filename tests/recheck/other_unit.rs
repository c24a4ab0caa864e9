//! Readings in another unit than the label beside their cell: asked about with both meanings, never judged.

use crate::command::{cell, decision, fill, recheck, record, shop};
use gapwright::formats::slip;

const CLEARANCE: [&str; 3] = ["requirement", "A", "running_clearance"];
const SHIMS: [&str; 3] = ["pack", "A", "bearing_shims"];

/// The tiny sample predicts 0.0210 in between 0.0190 and 0.0230 in for A, from a pack of 0.0200 in (its README): one
/// inch is 25.4 mm, 1,000 thou.
#[test]
fn a_reading_in_another_unit_is_asked_about_though_it_is_typed_twice() {
    for (part, typed, meant) in [
        (CLEARANCE, "21.2", "21.2 thou (that is 0.0212 in)"),
        (CLEARANCE, "0.54", "0.54 mm (that is 0.0213 in)"),
        (CLEARANCE, "21 to 22", "21 to 22 thou (that is 0.0215 in)"),
        (SHIMS, "20", "20 thou (that is 0.0200 in)"),
        (SHIMS, "0.508", "0.508 mm (that is 0.0200 in)"),
        (SHIMS, "0.000020", ""),
    ] {
        let shop = shop();
        let [word, tag, name] = part;
        fill(&shop, &[(word, tag, name, typed, typed)]);
        let run = recheck(&shop, &[]);
        if meant.is_empty() {
            // In no unit what is expected: a fault to look for, not a unit to ask about.
            assert_eq!(decision(&record(&shop), "A"), "no_swap");
            continue;
        }
        assert_eq!(run.status, 2, "{typed}: {}", run.told);
        assert!(shop.read("as-built.xlsx").is_none());
        let cells = [slip::READING, slip::AGAIN].map(|column| cell(&shop, word, tag, name, column));
        let mut problems = run.problems();
        problems.sort();
        assert_eq!(problems.len(), 2, "{problems:?}");
        for (problem, cell) in problems.iter().zip(&cells) {
            let begins = format!("problem kit-plan.xlsx!{cell} `{typed}`, which is ");
            assert!(problem.starts_with(&begins), "{problem}");
        }
        let both = format!("{meant}, or {typed} in");
        assert_eq!(run.expected(), [&both; 2]);
    }
}

/// A unit that is typed with the number confirms it; so does a value that only one unit explains.
#[test]
fn a_reading_with_its_unit_is_judged_as_it_is() {
    let [word, tag, name] = CLEARANCE;
    for (typed, decided) in [
        ("21.2 thou", "accept"),
        ("0.54 mm", "accept"),
        ("0.54 in", "look_first"),
        ("21.2 in", "look_first"),
        // Far too large, and nearer in inches than in any other unit.
        ("0.1", "look_first"),
        ("0.004", "look_first"),
    ] {
        let shop = shop();
        fill(&shop, &[(SHIMS[0], tag, SHIMS[2], "0.02", ""), (word, tag, name, typed, "")]);
        recheck(&shop, &[]).well();
        assert_eq!(decision(&record(&shop), tag), decided, "{typed}");
    }
    // A sheet of readings has its unit in the heading; the command line asks for one.
    let shop = shop();
    let rows = |reading: &str| format!("Tag,What,Reading (in)\nA,running clearance,{reading}\n");
    shop.write("bench.csv", &rows("0.54"));
    let run = recheck(&shop, &["--readings", "bench.csv"]);
    assert_eq!(run.status, 2);
    assert_eq!(run.expected(), ["0.54 mm (that is 0.0213 in), or 0.54 in"]);
    shop.write("bench.csv", &rows("0.54 mm"));
    recheck(&shop, &["--readings", "bench.csv"]).well();
    assert_eq!(decision(&record(&shop), "A"), "accept");
}
