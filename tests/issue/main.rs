//! Issues, returns, and the log of both, as people run them.

#![allow(clippy::unwrap_used, clippy::expect_used, missing_docs)]

mod chain;
mod in_place;
mod random;
mod shop;
mod tampered;
mod trouble;

use std::collections::BTreeMap;
use std::fs;

use calamine::{Reader, Xlsx, open_workbook};
use gapwright::issue::log::LoggedDemand;
use gapwright::read::{self, Memory};
use shop::{Put, Shop, cells, change};

/// Kits the sample outage, issues it, kits again from the remaining stock, and puts everything back.
#[test]
fn the_whole_round_on_the_sample_outage_comes_back_to_the_first_counts() {
    let shop = Shop::new();
    for name in ["stock.xlsx", "pumps.xlsx"] {
        fs::copy(format!("samples/outage/{name}"), shop.at(name)).unwrap();
    }
    shop.kit("stock.xlsx", "pumps.xlsx");
    let first = shop.counts("stock.xlsx");
    let issued = shop.issue(&["kit-plan.xlsx", "stock.xlsx"]).well();

    // A pump without a kit is named on issuing, and no pump that is only short of consumables.
    assert_eq!(
        issued
            .told
            .lines()
            .filter(|line| line.starts_with("NOT FIT TO ASSEMBLE"))
            .collect::<Vec<_>>(),
        ["NOT FIT TO ASSEMBLE, nothing issued: P-299."]
    );

    // The counts are those that the plan shows after it.
    let after = shop.counts("stock-next.xlsx");
    let planned = cells(&shop.at("kit-plan.xlsx"), "Stock after");
    let column = |text: &str| planned.iter().find(|(_, cell)| *cell == text).unwrap().0.1;
    let (item, on_hand) = (column("Item"), column("On hand"));
    let mut seen = 0;
    for ((row, at), name) in &planned {
        if *row > 0 && *at == item {
            assert_eq!(after[name].to_string(), planned[&(*row, on_hand)], "{name}");
            seen += 1;
        }
    }
    assert_eq!(seen, after.len());
    assert!(first.iter().any(|(name, count)| after[name] < *count));

    // Every other cell is unchanged, in its place.
    let (old, new) = ("stock.xlsx", "stock-next.xlsx");
    let names = |name: &str| open_workbook::<Xlsx<_>, _>(shop.at(name)).unwrap().sheet_names();
    assert_eq!(names(old), names(new));
    for sheet in names(old) {
        let (old, new) = (cells(&shop.at(old), &sheet), cells(&shop.at(new), &sheet));
        assert!(old.keys().eq(new.keys()), "{sheet}");
        let changed: Vec<_> = old.iter().filter(|(at, cell)| new[at] != **cell).collect();
        assert!(changed.iter().all(|((_, column), _)| *column == changed[0].0.1));
    }

    // The next plan is made from it, and short kits are in the log with no pieces.
    shop.run(&["kit", new, "pumps.xlsx", "--out", "second.xlsx"]).well();
    let lines = shop.log();
    let short: Vec<&str> =
        lines.iter().filter(|l| l[9] == "short").map(|l| l[4].as_str()).collect();
    assert_eq!(short, ["P-103", "P-110", "P-206", "P-299"]);
    assert!(lines.iter().filter(|l| l[9] == "short").all(|l| l[8] == "0" && l[10].is_empty()));

    let mut tags: Vec<&str> =
        lines.iter().map(|line| line[4].as_str()).filter(|tag| *tag != "P-299").collect();
    tags.dedup();
    assert_eq!(tags.len(), 27);
    let mut arguments = vec![new, "--out", "stock-3.xlsx"];
    tags.iter().for_each(|tag| arguments.extend(["--put-back", tag]));
    shop.issue(&arguments).well();
    assert_eq!(shop.counts("stock-3.xlsx"), first);

    // Demand is exactly the issues and returns.
    let (log, _) = read::issue_log(&shop.at("issue-log.xlsx"), &mut Memory::default()).unwrap();
    for (name, before) in &first {
        let demand = log.demand(name, "2027-03-02", "2027-03-02");
        assert_eq!(demand.out, u64::from(before - after[name]), "{name}");
        assert_eq!(demand.out, demand.back);
        assert_eq!(log.demand(name, "2027-03-03", "2027-12-31"), LoggedDemand::default());
    }
    assert_eq!(log.short("2027-01-01", "2027-12-31").count(), 4);
    // A kit that was put back completely may be issued again, the short one may not.
    let again =
        shop.issue(&["kit-plan.xlsx", "stock-3.xlsx", "--pump", "P-101", "--out", "stock-4.xlsx"]);
    assert_eq!(again.status, 0, "{:?}", again.all());
    shop.refuse(
        &["kit-plan.xlsx", "stock-4.xlsx", "--pump", "P-299", "--out", "stock-5.xlsx"],
        &["problem issue-log.xlsx!E179 P-299, issued from this plan (f0b40d61dfef) on 2027-03-02 already"],
    );
}

/// The picks of the tiny plan: tag to shim and gasket.
fn picks(shop: &Shop) -> BTreeMap<String, Vec<String>> {
    let cells = cells(&shop.at("kit-plan.xlsx"), "Issue");
    let mut picks: BTreeMap<String, Vec<String>> = BTreeMap::new();
    for ((row, column), text) in &cells {
        if *column == 4 && text == "pick" {
            let tag = cells[&(*row, 0)].clone();
            picks.entry(tag).or_default().push(cells[&(*row, 3)].clone());
        }
    }
    picks
}

#[test]
fn partly_picked_substituted_and_beside_the_plan_are_recorded_as_such() {
    let shop = Shop::tiny();
    let picks = picks(&shop);
    assert_eq!(picks["A"], ["S20", "G105"]);
    assert_eq!(picks["B"], ["S30", "G120"]);
    assert_eq!(picks["C"], ["S10", "G90"]);
    // The plan takes one of the two S10; the other goes in for the missing S30, and a G105 of A was left.
    shop.fill(&[
        ("B", "S30", "G", "0"),
        ("B", "S30", "H", "s10"),
        ("B", "S30", "I", "1"),
        ("B", "S30", "J", "=bin was empty"),
        ("A", "G105", "G", "0"),
        ("extra", "", "A", "c"),
        ("extra", "", "D", "S30"),
        ("extra", "", "G", "1"),
    ]);
    let run = shop.issue(&["kit-plan.xlsx", "stock.csv"]).well();
    let mut warnings = run.all();
    warnings.retain(|warning| warning.contains("kit-plan"));
    assert_eq!(
        warnings,
        [
            "warning kit-plan.xlsx!G6 B: 0 of S30 picked, not 1",
            "warning kit-plan.xlsx!H6 B: 1 of s10 instead of S30",
            "warning kit-plan.xlsx!G12 A: 0 of G105 picked, not 1",
            "warning kit-plan.xlsx!D21 c: 1 of S30 that the plan does not have",
        ]
    );
    let all_not_fit =
        run.findings.iter().filter(|f| f["file"].as_str().unwrap().contains("kit-plan"));
    assert!(
        all_not_fit.clone().all(|f| f["fix"].as_str().unwrap().contains("NOT FIT TO ASSEMBLE"))
    );
    let lines: Vec<String> = shop
        .log()
        .iter()
        .filter(|line| line[9] != "short")
        .map(|line| [4, 6, 7, 8, 9, 10, 11, 12, 13].map(|at| line[at].as_str()).join("|"))
        .collect();
    assert_eq!(
        lines,
        [
            "B|S30|1|0|partly picked|1|1|6|=bin was empty",
            "B|S10|0|1|instead of S30|2|1|2|=bin was empty",
            "B|G120|1|1|as planned|1|0|3|",
            "A|S20|1|1|as planned|1|0|2|",
            "A|G105|1|0|partly picked|1|1|3|",
            "C|S10|1|1|as planned|1|0|2|",
            "C|G90|1|1|as planned|1|0|3|",
            "c|S30|0|1|not planned|1|0|6|",
        ]
    );
    let counts = shop.counts("stock-next.xlsx");
    let expected = [("G105", 1), ("G120", 0), ("G90", 0), ("S10", 0), ("S20", 0), ("S30", 0)];
    assert!(counts.iter().map(|(item, count)| (item.as_str(), *count)).eq(expected));
    let (log, _) = read::issue_log(&shop.at("issue-log.xlsx"), &mut Memory::default()).unwrap();
    let of = |item: &str| log.demand(item, "2027-01-01", "2027-12-31");
    assert_eq!(of("s30"), LoggedDemand { out: 1, missed: 1, stood_in: 1, back: 0 });
    assert_eq!(of("S10"), LoggedDemand { out: 2, missed: 0, stood_in: 1, back: 0 });
    assert_eq!(of("G105"), LoggedDemand { missed: 1, ..LoggedDemand::default() });

    // Returned by item, then the rest: a substitute comes back as itself.
    let back = ["stock-next.xlsx", "--put-back", "b", "--out", "stock-3.xlsx"];
    shop.refuse(
        &[&back[..], &["--items", "S10=2", "--items", "S30=1"]].concat(),
        &[
            "problem command line! --items S10, 1 more than are out for it",
            "problem command line! --items S30, 1 more than are out for it",
        ],
    );
    shop.issue(&[&back[..], &["--items", "S10=1"]].concat()).well();
    assert_eq!(shop.counts("stock-3.xlsx")["S10"], 1);
    shop.issue(&["stock-3.xlsx", "--put-back", "B", "--out", "stock-4.xlsx"]).well();
    assert_eq!(shop.counts("stock-4.xlsx")["G120"], 1);
    shop.refuse(
        &["stock-4.xlsx", "--put-back", "B", "--out", "stock-5.xlsx"],
        &["problem command line! --put-back B, for which nothing is out"],
    );
}

#[test]
fn what_is_filled_in_wrongly_is_said_all_at_once_with_its_cell() {
    let shop = Shop::tiny();
    shop.fill(&[
        ("B", "S30", "G", "1.5"),
        ("B", "G120", "H", "G91"),
        ("A", "S20", "I", "2"),
        ("A", "G105", "G", "some"),
        ("C", "S10", "H", "S20"),
        ("C", "S10", "I", "0"),
        ("extra", "", "D", "S30"),
    ]);
    shop.refuse(
        &["kit-plan.xlsx", "stock.csv"],
        &[
            "problem kit-plan.xlsx!G6 a cell that shows `2` and stores 1.5",
            "problem kit-plan.xlsx!I7 G91 without its number of pieces",
            "problem kit-plan.xlsx!H11 pieces of no item",
            "problem kit-plan.xlsx!G12 `some`",
            "problem kit-plan.xlsx!I16 0 pieces of S20",
            "problem kit-plan.xlsx!A21 an empty cell",
        ],
    );
    let shop = Shop::tiny();
    shop.fill(&[
        ("B", "S30", "G", "4"),
        ("B", "G120", "G", "0"),
        ("B", "G120", "H", "G901"),
        ("B", "G120", "I", "1"),
        ("A", "S20", "H", "S10"),
        ("A", "S20", "I", "1"),
        ("C", "S10", "G", "0"),
        ("C", "S10", "H", "S10"),
        ("C", "S10", "I", "3"),
        ("extra", "", "A", "A"),
        ("extra", "", "D", "G105"),
        ("extra", "", "G", "1"),
    ]);
    shop.refuse(
        &["kit-plan.xlsx", "stock.csv"],
        &[
            "problem kit-plan.xlsx!G6 4 of S30, of which 1 are left",
            "problem kit-plan.xlsx!H7 the item `G901`, which the stock does not have",
            "problem kit-plan.xlsx!H11 S10 instead of S20, of which none is missing",
            "problem kit-plan.xlsx!H16 3 of S10, of which 2 are left",
            "problem kit-plan.xlsx!D21 1 of G105, of which 0 are left",
        ],
    );
    // Planned values must not be changed.
    for (column, value) in [("A", "D"), ("D", "S20"), ("E", "spoiled with its pack"), ("F", "2")] {
        let shop = Shop::tiny();
        shop.fill(&[("B", "S30", column, value)]);
        let run = shop.issue(&["kit-plan.xlsx", "stock.csv"]);
        assert_eq!(run.status, 2);
        let at = format!("problem kit-plan.xlsx!{column}6 `{value}`");
        assert_eq!(run.problems(), [at]);
    }
}

#[test]
fn kits_are_issued_one_by_one_from_one_plan_and_never_twice() {
    let shop = Shop::tiny();
    let out = |n: u32| format!("stock-{n}.xlsx");
    shop.issue(&["kit-plan.xlsx", "stock.csv", "--pump", "b", "--out", &out(1)]).well();
    // Also from the plan's JSON: it is the same plan.
    shop.refuse(
        &["plan.json", &out(1), "--out", &out(2)],
        &["problem issue-log.xlsx!E6 B, issued from this plan (978cef6fa31e) on 2027-03-02 already"],
    );
    shop.issue(&["plan.json", &out(1), "--pump", "A", "--out", &out(2)]).well();
    // The earlier stock is not accepted again.
    shop.refuse(
        &["kit-plan.xlsx", "stock.csv", "--pump", "C", "--out", &out(3)],
        &[
            "problem stock.csv!F3 1 of S20 on hand",
            "problem stock.csv!F4 1 of S30 on hand",
            "problem stock.csv!F6 1 of G105 on hand",
            "problem stock.csv!F7 1 of G120 on hand",
        ],
    );
    shop.issue(&["kit-plan.xlsx", &out(2), "--pump", "C", "--out", &out(3)]).well();
    assert_eq!(shop.counts(&out(3)).values().sum::<u32>(), 1);
    shop.refuse(
        &["kit-plan.xlsx", &out(3), "--out", &out(4)],
        &["problem issue-log.xlsx!E6 B, A, C, issued from this plan (978cef6fa31e) on 2027-03-02 already"],
    );
    shop.refuse(
        &["kit-plan.xlsx", &out(3), "--pump", "D", "--out", &out(4)],
        &["problem command line! --pump D"],
    );
}

#[test]
fn a_plan_whose_stock_has_changed_is_refused_with_everything_that_changed() {
    let shop = Shop::tiny();
    let stock = fs::read_to_string(shop.at("stock.csv")).unwrap();
    let changed = stock
        .replace("S10,shim,F1,0.010,0.0002,2", "S10,shim,F1,0.011,0.0002,3")
        .replace("G90,gasket,F1,0.090,0.0005,1,3.00,B1\n", "")
        .replace("G120,gasket,F1", "G120,gasket,F2")
        + "S40,shim,F1,0.040,0.0002,7,2.00,A4\n";
    shop.write("stock.csv", &changed);
    let refusal = [
        "problem stock.csv! no row for G90 any more",
        "problem stock.csv!D2 `0.0110 in` as Thickness of S10",
        "problem stock.csv!F2 3 of S10 on hand",
        "problem stock.csv!C6 `F2` as Fit of G120",
        "problem stock.csv!F7 S40, 7 on hand, added since the plan was made",
    ];
    let run = shop.refuse(&["kit-plan.xlsx", "stock.csv"], &refusal);
    assert_eq!(
        run.expected(),
        [
            "G90, 1 on hand, as when the plan was made",
            "`0.0100 in` as Thickness of S10, as when the plan was made",
            "2 of S10 on hand, as when the plan was made",
            "`F1` as Fit of G120, as when the plan was made",
            "the stock that the plan was made from",
        ]
    );
    // --counted is for the log; it does not make the plan valid again.
    shop.refuse(&["kit-plan.xlsx", "stock.csv", "--counted"], &refusal);

    // A length in another spelling or another unit is unchanged.
    let respelt = stock
        .replace("S10,shim,F1,0.010,", "S10,shim,F1,0.254 mm,")
        .replace("S20,shim,F1,0.020,", "S20,shim,F1,20 thou,")
        .replace("S30,shim,F1,0.030,", "S30,shim,F1,0.0300,");
    assert!(["0.254 mm", "20 thou", "0.0300"].iter().all(|text| respelt.contains(text)));
    shop.write("stock.csv", &respelt);
    shop.issue(&[
        "kit-plan.xlsx",
        "stock.csv",
        "--pump",
        "B",
        "--out",
        "respelt.xlsx",
        "--log",
        "respelt-log.xlsx",
    ])
    .well();

    // A changed bin is only reported; the JSON alone cannot show it.
    shop.write("stock.csv", &stock.replace("A10", "A11"));
    shop.refuse(
        &["plan.json", "stock.csv"],
        &["problem stock.csv! another file than the plan was made from, with the same counts"],
    );
    let run = shop.issue(&["kit-plan.xlsx", "stock.csv"]).well();
    assert_eq!(
        run.all(),
        ["warning stock.csv! another file than the plan was made from, with the same counts"]
    );
    // The plan's own counts are compared with the stock even when the file is the very same one.
    let shop = Shop::tiny();
    let after = cells(&shop.at("kit-plan.xlsx"), "Stock after");
    assert_eq!(after[&(1, 5)], "1");
    change(&shop.at("kit-plan.xlsx"), "Stock after", &[("F2", Put::from("0"))]);
    shop.refuse(&["kit-plan.xlsx", "stock.csv"], &["problem stock.csv!F2 2 of S10 on hand"]);
}

/// People must not change planned values: each change is found with its cell, and a missing line is counted.
#[test]
fn a_changed_line_of_the_plan_is_named() {
    let shop = Shop::tiny();
    let sheet = cells(&shop.at("kit-plan.xlsx"), "Issue");
    let row = shop.issue_row("B", "S30");
    assert_eq!(sheet[&(row - 1, 5)], "1");
    let at = |column: char| format!("{column}{row}");
    let put = |column: char, text: &str| (at(column), Put::from(text));
    let changes = [put('A', "8"), put('D', "S3O"), put('E', "picked"), put('F', "2")];
    change(&shop.at("kit-plan.xlsx"), "Issue", &changes);
    let found = ["A", "D", "E", "F"].into_iter().zip(["8", "S3O", "picked", "2"]);
    let found: Vec<String> = found
        .map(|(column, text)| format!("problem kit-plan.xlsx!{column}{row} `{text}`"))
        .collect();
    let found: Vec<&str> = found.iter().map(String::as_str).collect();
    let run = shop.refuse(&["kit-plan.xlsx", "stock.csv"], &found);
    let own = ["B", "S30", "pick", "1"].map(|own| format!("`{own}`, as `gapwright kit` wrote it"));
    assert_eq!(run.expected(), own);
    // A deleted line leaves no cell to name.
    let shop = Shop::tiny();
    let row = shop.issue_row("B", "S30");
    let columns = ["A", "B", "C", "D", "E", "F", "L", "M", "N", "O"];
    let gone = columns.map(|column| (format!("{column}{row}"), Put::Nothing));
    change(&shop.at("kit-plan.xlsx"), "Issue", &gone);
    let run = shop.issue(&["kit-plan.xlsx", "stock.csv"]);
    assert_eq!(run.status, 2);
    let all = run.problems();
    assert_eq!(all.len(), 1, "{all:?}");
    let count = sheet.keys().filter(|(_, column)| *column == 11).count() - 1;
    let words = format!("{} lines, of the {count} that `gapwright kit` wrote", count - 1);
    assert!(all[0].contains(&words), "{all:?}");
}

/// A sheet that was sorted without its hidden columns, spare lines included, is still the same plan; with one changed
/// count on top, only that line is named.
#[test]
fn a_sorted_sheet_is_the_same_plan() {
    let shop = Shop::tiny();
    let path = shop.at("kit-plan.xlsx");
    let sheet = cells(&path, "Issue");
    let rows: Vec<u32> = (5..).take_while(|row| sheet.contains_key(&(*row, 4))).collect();
    let texts = |row: &u32| -> Vec<String> {
        let columns = 0..10;
        columns.map(|column| sheet.get(&(*row, column)).cloned().unwrap_or_default()).collect()
    };
    let mut sorted: Vec<Vec<String>> = rows.iter().map(texts).collect();
    sorted.sort_by(|a, b| a[4].cmp(&b[4]).then(b[3].cmp(&a[3])));
    assert_ne!(sorted, rows.iter().map(texts).collect::<Vec<_>>());
    let put = |lines: &[Vec<String>]| -> Vec<(String, Put)> {
        let each = rows.iter().zip(lines).flat_map(|(row, line)| {
            let columns = line.iter().zip('A'..='J');
            columns
                .map(|(text, column)| (format!("{column}{}", row + 1), Put::from(text.as_str())))
                .collect::<Vec<_>>()
        });
        each.collect()
    };
    let write = |lines: &[Vec<String>]| {
        let changes = put(lines);
        change(&path, "Issue", &changes);
    };
    let mut wrong = sorted.clone();
    let at = wrong.iter().position(|line| line[3] == "S30").unwrap();
    wrong[at][5] = "2".into();
    write(&wrong);
    let run = shop.issue(&["kit-plan.xlsx", "stock.csv"]);
    let all = run.problems();
    assert_eq!(run.status, 2);
    assert!(all.iter().any(|p| p.contains("no line any more for B, S30, pick, 1")), "{all:#?}");
    assert!(
        all.iter().any(|p| p.contains("a line that the plan does not have: B, S30, pick, 2")),
        "{all:#?}"
    );
    assert_eq!(all.len(), 2, "{all:#?}");
    write(&sorted);
    shop.issue(&["kit-plan.xlsx", "stock.csv"]).well();
}

/// An unreadable cell hides no other problem.
#[test]
fn what_is_filled_in_is_held_against_the_stock_beside_cells_that_cannot_be_read() {
    let shop = Shop::tiny();
    let [first, second, third] =
        [("B", "S30"), ("A", "S20"), ("C", "S10")].map(|(tag, item)| shop.issue_row(tag, item));
    let cells = [
        (format!("G{first}"), "1 ea"),
        (format!("G{second}"), "99"),
        (format!("H{third}"), "NOPE"),
        (format!("I{third}"), "1"),
    ];
    let changes = cells.clone().map(|(cell, text)| (cell, Put::from(text)));
    change(&shop.at("kit-plan.xlsx"), "Issue", &changes);
    let run = shop.issue(&["kit-plan.xlsx", "stock.csv"]);
    assert_eq!(run.status, 2);
    let all = run.problems();
    for (cell, words) in [
        (&cells[0].0, "1 ea"),
        (&cells[1].0, "99 of S20"),
        (&cells[2].0, "`NOPE`, which the stock does not have"),
    ] {
        let at = format!("!{cell} ");
        assert!(
            all.iter().any(|p| p.contains(&at) && p.contains(words)),
            "{cell} {words}: {all:#?}"
        );
    }
    assert_eq!(all.len(), 3, "{all:#?}");
}

/// Reserved pieces stay. Spoiled pieces and cut sheets go with the first kit that takes from their pack or sheet.
#[test]
fn packs_that_are_opened_and_sheets_that_are_cut_go_with_the_first_kit() {
    let shop = Shop::new();
    fs::create_dir(shop.at("stock")).unwrap();
    shop.write(
        "stock/Stock.csv",
        "Item,Kind,Fit,Thickness (in),Tolerance (in),On hand,Reserved,Unit cost,Pack qty\n\
         S20,shim,F1,0.020,0.0002,14,1,2.00,10\n\
         S07,shim,F1,0.007,0.0002,3,3,2.00,\n",
    );
    shop.write(
        "stock/Sheets.csv",
        "Item,Kind,Thickness (in),Tolerance (in),Length (in),Width (in),On hand,Unit cost\n\
         GS-105,gasket,0.105,0.0005,30,20,2,30\n",
    );
    shop.write("stock/Fit.csv", "Fit,Outside diameter (in),Inside diameter (in)\nF6,6,4\n");
    shop.write("stock/Notes.csv", "Anything,Else\n=1+1,@kept\n");
    let mut pumps =
        "Tag,Model,Bearing shims fit,Cover gasket fit,Bare clearance (in),Snap ring (in)\n"
            .to_string();
    for tag in ["A", "B", "C", "D"] {
        pumps.push_str(&format!("{tag},screwed-impeller,F1,F6,0.041,0.050\n"));
    }
    fs::create_dir(shop.at("pumps")).unwrap();
    shop.write("pumps/Pumps.csv", &pumps);
    shop.write("pumps/Policy.csv", "Setting,Value\nOpened packs spoiled,yes\n");
    shop.kit("stock", "pumps");
    // 13 may be issued: 3 loose ones and a pack. The fourth kit opens the pack, and 9 are spoiled.
    let planned = cells(&shop.at("kit-plan.xlsx"), "Issue");
    let row = |text: &str| planned.iter().find(|(_, cell)| *cell == text).unwrap().0.0;
    assert_eq!(planned[&(row("spoiled with its pack"), 5)], "9");
    assert_eq!(planned[&(row("cut up"), 5)], "1");
    let book = calamine_names(&shop, "kit-plan.xlsx");
    assert!(book.contains(&"Plate".to_string()));

    // 5 x 3 blanks, of which four are used; where the others are put is written beside them.
    let back = planned[&(row("goes back, of GS-105"), 5)].clone();
    assert_eq!(back, "11");
    shop.fill(&[("", "GS-105/F6", "C", "E7")]);
    shop.issue(&["kit-plan.xlsx", "stock", "--pump", "C"]).well();
    let lines = |shop: &Shop| -> Vec<String> {
        let log = shop.log();
        let counted = log.iter().filter(|line| line[9] != "short");
        counted.map(|line| [4, 6, 8, 9, 10, 11].map(|at| line[at].as_str()).join("|")).collect()
    };
    let first = [
        "C|S20|1|as planned|14|13",
        "C|GS-105 > F6|1|cut from GS-105||",
        "|S20|9|spoiled with its pack|13|4",
        "|GS-105|1|cut up|2|1",
        "|GS-105/F6|-11|goes back, of GS-105|0|11",
    ];
    assert_eq!(lines(&shop), first);
    shop.issue(&[
        "kit-plan.xlsx",
        "stock-next.xlsx",
        "--pump",
        "A",
        "--pump",
        "B",
        "--pump",
        "D",
        "--out",
        "s2.xlsx",
    ])
    .well();
    assert_eq!(lines(&shop)[5..].len(), 6);
    let counts = shop.counts("s2.xlsx");
    assert_eq!((counts["S20"], counts["S07"], counts["GS-105"]), (1, 3, 1));
    // The pieces that no kit took are a lot of the next stock: with their own tolerance, their cost and their bin.
    assert_eq!(counts["GS-105/F6"], 11);
    let next = cells(&shop.at("s2.xlsx"), "Stock");
    let row = next.iter().find(|(_, cell)| *cell == "GS-105/F6").unwrap().0.0;
    let heading = |name: &str| next.iter().find(|(_, cell)| *cell == name).unwrap().0;
    // 6 and 4 in: a quarter of pi x 20 of 600 square inches, at 30.00.
    for (name, text) in [
        ("Kind", "gasket"),
        ("Fit", "F6"),
        ("Thickness (in)", "0.1050 in"),
        ("Tolerance (in)", "0.0005 in"),
        ("Unit cost", "0.785397"),
        ("Bin", "E7"),
    ] {
        assert_eq!(next.get(&(row, heading(name).1)).map(String::as_str), Some(text), "{name}");
    }
    assert_eq!(heading("Bin").0, heading("Kind").0, "a column of its own, among the headings");
    // Unused sheets are copied, text as text.
    let notes = cells(&shop.at("s2.xlsx"), "Notes");
    assert_eq!(notes.values().collect::<Vec<_>>(), ["Anything", "Else", "=1+1", "@kept"]);

    // Cut pieces come back into no count, and a warning reports it.
    let run = shop.issue(&["s2.xlsx", "--put-back", "A", "--out", "s3.xlsx"]).well();
    assert_eq!(
        run.all(),
        [
            "warning command line! 1 of GS-105 > F6, which were cut from a plate and are counted nowhere"
        ]
    );
    assert_eq!(shop.counts("s3.xlsx")["S20"], 2);

    // The reserved ones are not available.
    shop.kit("stock", "pumps");
    shop.fill(&[("A", "S20", "G", "0"), ("A", "S20", "H", "S07"), ("A", "S20", "I", "3")]);
    fs::remove_file(shop.at("issue-log.xlsx")).unwrap();
    shop.refuse(
        &["kit-plan.xlsx", "stock", "--out", "s4.xlsx"],
        &["problem kit-plan.xlsx!H6 3 of S07, which leaves 0 of 3 reserved"],
    );
}

fn calamine_names(shop: &Shop, name: &str) -> Vec<String> {
    open_workbook::<Xlsx<_>, _>(shop.at(name)).unwrap().sheet_names()
}

/// Goods come in: the difference is a problem until `--counted` is given.
#[test]
fn counts_that_the_log_does_not_know_are_recorded_only_when_that_is_asked_for() {
    let shop = Shop::tiny();
    shop.issue(&["kit-plan.xlsx", "stock.csv"]).well();
    let stock = "Item,Kind,Fit,Thickness (in),Tolerance (in),On hand,Unit cost,Bin\n\
                 S10,shim,F1,0.010,0.0002,12,2.00,A1\n\
                 S20,shim,F1,0.020,0.0002,1,2.00,A2\n\
                 S30,shim,F1,0.030,0.0002,0,6.00,A10\n\
                 G90,gasket,F1,0.090,0.0005,0,3.00,B1\n\
                 G105,gasket,F1,0.105,0.0005,5,3.00,B2\n";
    shop.write("stock.csv", stock);
    let pumps = "Tag,Model,Bearing shims fit,Cover gasket fit,Bare clearance (in),Snap ring (in)\n\
                 A,screwed-impeller,F1,F1,0.041,0.050\n";
    shop.write("pumps.csv", pumps);
    shop.kit("stock.csv", "pumps.csv");
    shop.refuse(
        &["kit-plan.xlsx", "stock.csv", "--force"],
        &[
            "problem stock.csv!F2 12 of S10 on hand",
            "problem stock.csv!F3 1 of S20 on hand",
            "problem stock.csv!F6 5 of G105 on hand",
        ],
    );
    shop.issue(&["kit-plan.xlsx", "stock.csv", "--force", "--counted"]).well();
    let log = shop.log();
    let counted: Vec<String> = log
        .iter()
        .filter(|line| line[9] == "counted")
        .map(|line| [2, 3, 4, 6, 7, 8, 10, 11].map(|at| line[at].as_str()).join("|"))
        .collect();
    assert_eq!(counted, ["2|||G105|0|-5|0|5", "2|||S10|0|-11|1|12", "2|||S20|0|-1|0|1"]);
    assert_eq!(shop.counts("stock-next.xlsx")["S20"], 0);
    // A row that went with its pieces is counted out; G120 had none left, so it is not reported.
    let rest: Vec<&str> = stock.lines().filter(|line| !line.starts_with("S10")).collect();
    let rest = rest
        .join("\n")
        .replace("0.0002,1,2.00,A2", "0.0002,0,2.00,A2")
        .replace("0.0005,5", "0.0005,4");
    shop.write("less.csv", &rest);
    let back = ["less.csv", "--put-back", "A", "--force"];
    shop.refuse(&back, &["problem less.csv! no row for S10"]);
    shop.issue(&[&back[..], &["--counted"]].concat()).well();
    let last: Vec<_> = shop
        .log()
        .iter()
        .rev()
        .take(8)
        .map(|line| [6, 8, 9].map(|at| line[at].clone()).join("|"))
        .collect();
    assert!(last.contains(&"S10|12|counted".to_string()), "{last:?}");
}

#[test]
fn the_stock_workbook_itself_is_never_replaced() {
    let shop = Shop::tiny();
    shop.issue(&["kit-plan.xlsx", "stock.csv", "--pump", "B", "--out", "stock.xlsx"]).well();
    let again = ["kit-plan.xlsx", "stock.xlsx", "--pump", "A", "--out", "stock.xlsx"];
    let told = "problem command line! --out stock.xlsx, which is stock.xlsx: both to be read and to be written";
    shop.refuse(&again, &[told]);
    shop.refuse(&[&again[..], &["--force"]].concat(), &[told]);
    let after = ["--out", "after.xlsx"];
    shop.issue(&[&again[..4], &after].concat()).well();
    assert_eq!(shop.counts("stock.xlsx")["S20"], 1);
    assert_eq!(shop.counts("after.xlsx")["S20"], 0);
    // A stock workbook of another run is unchanged.
    let before = shop.files();
    let run = shop.issue(&[
        "kit-plan.xlsx",
        "after.xlsx",
        "--out",
        "kept.xlsx",
        "--pump",
        "C",
        "--log",
        "kept.xlsx",
    ]);
    run.refused(&[
        "problem command line! --out kept.xlsx, which is kept.xlsx: both to be read and to be written",
    ]);
    shop.write("kept.xlsx", "somebody's");
    let run = shop.issue(&["kit-plan.xlsx", "after.xlsx", "--out", "kept.xlsx", "--pump", "C"]);
    assert_eq!(
        (run.status, run.problems()),
        (3, vec!["problem kept.xlsx! a file that is there already".to_string()])
    );
    assert_eq!(shop.read("issue-log.xlsx"), before.get("issue-log.xlsx").cloned());
    assert_eq!(shop.read("kept.xlsx").unwrap(), b"somebody's");
    // Arguments that do not go together.
    for (arguments, found) in [
        (vec!["stock.xlsx"], "1 workbook"),
        (vec!["kit-plan.xlsx", "stock.xlsx", "--finish"], "2 workbooks"),
        (vec!["stock.xlsx", "--put-back", "A", "--items", "S10"], "--items S10"),
        (vec!["stock.xlsx", "--put-back", "A", "--items", "S10=0"], "--items S10=0"),
    ] {
        let found = format!("problem command line! {found}");
        shop.refuse(&arguments, &[&found]);
    }
}

/// Whether some finding holds all these words.
fn says(run: &shop::Run, words: &[&str]) -> bool {
    let mut all = run.all().into_iter();
    all.any(|finding| words.iter().all(|word| finding.contains(word)))
}

#[test]
fn an_old_stock_is_not_counted_anew() {
    let shop = Shop::tiny();
    shop.issue(&["kit-plan.xlsx", "stock.csv", "--pump", "B"]).well();
    // The stock before the run, given by mistake: no piece may be put back into it.
    let run = shop.issue(&["stock.csv", "--put-back", "B", "--counted", "--out", "old.xlsx"]);
    assert_eq!(run.status, 2);
    assert!(says(&run, &["the counts from before run 1"]), "{:#?}", run.all());
    shop.issue(&["kit-plan.xlsx", "stock-next.xlsx", "--pump", "A", "--out", "two.xlsx"]).well();
    // Older than the last run: it could also be goods that came in, so it is reported.
    let run = shop.issue(&["stock.csv", "--put-back", "B", "--counted", "--out", "old.xlsx"]);
    assert!(says(&run, &["counts that the log had before"]), "{:#?}", run.all());
}

#[test]
fn what_is_filled_in_too_late_is_said() {
    let shop = Shop::tiny();
    shop.issue(&["kit-plan.xlsx", "stock.csv", "--pump", "B"]).well();
    shop.fill(&[
        ("B", "S30", "G", "0"),
        ("extra", "", "A", "b"),
        ("extra", "", "D", "S10"),
        ("extra", "", "G", "1"),
    ]);
    let run = shop
        .issue(&["kit-plan.xlsx", "stock-next.xlsx", "--pump", "A", "--out", "two.xlsx"])
        .well();
    for cell in ["!G6", "!D21"] {
        let words = [cell, "whose kit was issued before; it is not recorded"];
        assert!(says(&run, &words), "{:#?}", run.all());
    }
}

#[test]
fn a_kit_of_which_nothing_was_picked_may_still_go_out() {
    let shop = Shop::tiny();
    shop.fill(&[("B", "S30", "G", "0"), ("B", "G120", "G", "0")]);
    shop.issue(&["kit-plan.xlsx", "stock.csv", "--pump", "B"]).well();
    shop.fill(&[("B", "S30", "G", "1"), ("B", "G120", "G", "1")]);
    let run = shop.issue(&["kit-plan.xlsx", "stock-next.xlsx", "--pump", "B", "--out", "two.xlsx"]);
    let run = run.well();
    assert!(run.told.contains("Issued 1 kit: 2 pieces"), "{}", run.told);
}

#[test]
fn a_second_kit_for_a_pump_is_asked_about() {
    let shop = Shop::tiny();
    shop.issue(&["kit-plan.xlsx", "stock.csv", "--pump", "B"]).well();
    shop.kit("stock-next.xlsx", "pumps.csv");
    let plan = shop.issue(&["kit-plan.xlsx", "stock-next.xlsx", "--out", "two.xlsx"]);
    let words = ["B, for which 2 pieces are out by another plan"];
    assert!(says(&plan, &words), "{:#?}", plan.all());
}

/// A line of the log cannot be taken back: an earlier date is reported.
#[test]
fn a_date_before_the_logs_last_line_is_asked_about() {
    let shop = Shop::tiny();
    let out = |n: u32| format!("stock-{n}.xlsx");
    let issue = |stock: &str, tag: &str, n: u32, date: &str| {
        shop.run(&[
            "issue",
            "kit-plan.xlsx",
            stock,
            "--pump",
            tag,
            "--out",
            &out(n),
            "--date",
            date,
        ])
        .well()
    };
    assert!(issue("stock.csv", "B", 1, "2027-03-05").all().is_empty());
    assert!(issue(&out(1), "A", 2, "2027-03-05").all().is_empty());
    let all = issue(&out(2), "C", 3, "2027-03-04").all();
    let said = "the date 2027-03-04, earlier than that of the log's last line, 2027-03-05";
    assert!(all.len() == 1 && all[0].ends_with(said), "{all:?}");
}
