//! The sheet Issue of a saved plan, and files that are neither plan nor log: what `book --from` takes over and what it
//! refuses, with the cells.

use std::fs;

use gapwright::formats::outage::PumpStateJson;

use crate::commands::{begun, on_hand, state, status};
use crate::log::issued;
use crate::shop::{Put, Run, Shop, cells, change};

/// The tiny outage, with its plan as `kit-plan.xlsx` and `plan.json`.
fn tiny() -> Shop {
    let shop = begun();
    planned(&shop);
    shop
}

fn planned(shop: &Shop) {
    let call = ["kit", "stock.csv", "pumps.csv", "--outage", "w.outage", "--force"];
    let call = [&call[..], &["--out", "kit-plan.xlsx", "--json", "plan.json"]].concat();
    shop.run(&call).well();
}

fn take(shop: &Shop, from: &str) -> Run {
    shop.run(&["book", "w.outage", "--from", from])
}

/// Refused: nothing is written.
fn refuse(shop: &Shop, expected: &[&str]) -> Run {
    let before = shop.files();
    let run = take(shop, "kit-plan.xlsx");
    run.refused(expected);
    assert_eq!(shop.files(), before, "something was written");
    run
}

/// Fewer picked, others in their place, more than planned: booked as it was, and no bag that is short goes to the bench.
#[test]
fn deviations_are_booked_as_they_are() {
    let shop = tiny();
    shop.fill(&[
        ("B", "S30", "G", "0"),
        ("B", "S30", "H", "s10"),
        ("B", "S30", "I", "1"),
        ("A", "G105", "G", "0"),
        ("extra", "", "A", "c"),
        ("extra", "", "D", "S30"),
        ("extra", "", "G", "1"),
    ]);
    let run = take(&shop, "kit-plan.xlsx").well();
    for said in [
        "bag B: 2 pieces; otherwise than planned: without 1 x S30, with 1 x S10",
        "bag A: 1 piece; otherwise than planned: without 1 x G105",
        "bag C: 3 pieces; otherwise than planned: with 1 x S30",
        "The bag of A is 1 piece short of its kit.",
    ] {
        assert!(run.told.contains(said), "{said}\n{}", run.told);
    }
    let left = ["S10", "S20", "S30", "G90", "G105", "G120"].map(|item| on_hand(&shop, item));
    assert_eq!(left, [0, 0, 0, 0, 1, 0]);
    let (code, said) = crate::commands::run(&shop, &["book", "w.outage", "issue", "A"]);
    assert_eq!(code, 2, "{said}");
    assert!(take(&shop, "kit-plan.xlsx").well().told.contains("Nothing new in kit-plan.xlsx."));
}

#[test]
fn entries_that_cannot_be_read_are_listed_at_once_with_their_cells() {
    let shop = tiny();
    shop.fill(&[
        ("B", "S30", "G", "1.5"),
        ("B", "G120", "H", "G91"),
        ("A", "S20", "I", "2"),
        ("A", "G105", "G", "some"),
        ("C", "S10", "H", "S20"),
        ("C", "S10", "I", "0"),
        ("extra", "", "D", "S30"),
    ]);
    refuse(
        &shop,
        &[
            "problem kit-plan.xlsx!G6 a cell that shows `2` and stores 1.5",
            "problem kit-plan.xlsx!I7 G91 without its number of pieces",
            "problem kit-plan.xlsx!H11 pieces of no item",
            "problem kit-plan.xlsx!G12 `some`",
            "problem kit-plan.xlsx!I16 0 pieces of S20",
            "problem kit-plan.xlsx!A21 an empty cell",
        ],
    );
    // More than there are, and an item that is none.
    for (cells, says) in [
        (
            &[("C", "S10", "G", "0"), ("C", "S10", "H", "S10X"), ("C", "S10", "I", "1")][..],
            "S10X in",
        ),
        (&[("B", "S30", "G", "4")], "4 of S30 to be taken"),
    ] {
        let shop = tiny();
        shop.fill(cells);
        let run = take(&shop, "kit-plan.xlsx");
        assert_eq!(run.status, 2, "{}", run.told);
        let problems = run.problems().join("\n");
        assert!(problems.contains(says), "{problems}");
        assert_eq!(state(&shop, "A"), PumpStateJson::Planned);
    }
}

/// People must not change planned values: each change is found with its cell, and a missing line is counted.
#[test]
fn a_changed_line_of_the_plan_is_named() {
    let shop = tiny();
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
    let run = refuse(&shop, &found);
    let own = ["B", "S30", "pick", "1"].map(|own| format!("`{own}`, as `gapwright kit` wrote it"));
    assert_eq!(run.expected(), own);
    // A deleted line leaves no cell to name.
    let shop = tiny();
    let row = shop.issue_row("B", "S30");
    let columns = ["A", "B", "C", "D", "E", "F", "L", "M", "N", "O"];
    let gone = columns.map(|column| (format!("{column}{row}"), Put::Nothing));
    change(&shop.at("kit-plan.xlsx"), "Issue", &gone);
    let run = take(&shop, "kit-plan.xlsx");
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
    let shop = tiny();
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
    let run = take(&shop, "kit-plan.xlsx");
    let all = run.problems();
    assert_eq!(run.status, 2);
    assert!(all.iter().any(|p| p.contains("no line any more for B, S30, pick, 1")), "{all:#?}");
    assert!(
        all.iter().any(|p| p.contains("a line that the plan does not have: B, S30, pick, 2")),
        "{all:#?}"
    );
    assert_eq!(all.len(), 2, "{all:#?}");
    write(&sorted);
    take(&shop, "kit-plan.xlsx").well();
}

#[test]
fn files_that_are_no_plans_are_refused() {
    let shop = tiny();
    let json = fs::read_to_string(shop.at("plan.json")).unwrap();
    shop.write("other.json", &json.replace("gapwright.plan.v4", "gapwright.plan.v9"));
    shop.write("cut.json", &json[..json.len() / 2]);
    // A plan from before it listed its inputs.
    let (start, _) = json.rsplit_once("\"inputs\"").unwrap();
    shop.write("old.json", &format!("{}\n}}\n", start.trim_end().trim_end_matches(',')));
    shop.write("empty.xlsx", "");
    for (plan, found) in [
        ("other.json", "the format `gapwright.plan.v9`"),
        ("cut.json", "not a plan file"),
        ("old.json", "a plan that is not as `gapwright kit` wrote it"),
        ("empty.xlsx", "an empty file"),
        ("stock.csv", "no sheet Issue"),
        ("none.xlsx", "no such file"),
    ] {
        let before = shop.files();
        let run = take(&shop, plan);
        assert_eq!(run.status, 2);
        assert!(run.problems().iter().any(|p| p.contains(found)), "{plan}: {:?}", run.problems());
        assert_eq!(shop.files(), before);
    }
}

#[test]
fn files_that_are_no_logs_are_refused_and_left_alone() {
    let shop = issued();
    planned(&shop);
    let good = shop.read("issue-log.xlsx").unwrap();
    let cut = good[..good.len() / 2].to_vec();
    let mut flipped = good.clone();
    let middle = flipped.len() / 2;
    flipped[middle] ^= 0x55;
    let hostile: [(&str, Vec<u8>); 7] = [
        ("empty", Vec::new()),
        ("a text", b"No.,Date\n1,2027-03-02\n".to_vec()),
        ("cut short", cut),
        ("a byte changed", flipped),
        ("a zip of nothing", b"PK\x05\x06\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0".to_vec()),
        ("JSON", b"{\"lines\": []}".to_vec()),
        ("nulls", vec![0; 4096]),
    ];
    let mut refused = 0;
    for (what, bytes) in &hostile {
        fs::write(shop.at("issue-log.xlsx"), bytes).unwrap();
        let before = shop.files();
        let run = take(&shop, "issue-log.xlsx");
        assert_eq!(run.status, 2, "{what}: {}", run.told);
        assert!(
            run.problems().iter().any(|p| p.contains("issue-log.xlsx")),
            "{what}: {:?}",
            run.problems()
        );
        assert_eq!(shop.files(), before, "{what}");
        refused += 1;
    }
    assert_eq!(refused, hostile.len());
    // A folder of that name.
    fs::remove_file(shop.at("issue-log.xlsx")).unwrap();
    fs::create_dir(shop.at("issue-log.xlsx")).unwrap();
    let run = take(&shop, "issue-log.xlsx");
    assert_eq!(run.status, 2);
    // A person's own column and sheet would be lost, so they must be moved.
    fs::remove_dir(shop.at("issue-log.xlsx")).unwrap();
    let mut book = rust_xlsxwriter::Workbook::new();
    let sheet = book.add_worksheet().set_name("Issues").unwrap();
    for (column, head) in (0..).zip([
        "No.",
        "Date",
        "Run",
        "Plan",
        "Tag",
        "Place",
        "Item",
        "Asked",
        "Out",
        "How",
        "Before",
        "After",
        "Unit cost",
        "Note",
        "Chain",
        "Mine",
    ]) {
        sheet.write(4, column, head).unwrap();
    }
    sheet.write(2, 0, "Lines").unwrap().write(2, 1, 0).unwrap();
    sheet.write(2, 3, "Last chain").unwrap().write(2, 4, "gapwright issue log 1").unwrap();
    sheet.write(9, 0, "Total").unwrap();
    sheet.write(9, 8, 12).unwrap();
    book.add_worksheet().set_name("Pivot").unwrap().write(0, 0, 1).unwrap();
    book.save(shop.at("issue-log.xlsx")).unwrap();
    let run = take(&shop, "issue-log.xlsx");
    let problems = run.problems();
    for found in
        ["!P5 a column that is not the log's", "! another sheet in the issue log", "!A10 `Total`"]
    {
        assert!(problems.iter().any(|p| p.contains(found)), "{found}: {problems:#?}");
    }
}

/// Texts of a shop that would be formulas, that look like others, or that no workbook can hold.
#[test]
fn texts_that_mean_harm_are_booked_as_they_are() {
    let shop = Shop::new();
    let (tag, item) = ("=HYPERLINK(\"x\")", "+S20 _x0041_");
    shop.write(
        "stock.csv",
        "Item,Kind,Fit,Thickness (in),Tolerance (in),On hand,Unit cost,Bin\n\
         +S20  _x0041_,shim,F1,0.020,0.0002,3,0.1,@A\n\
         12E3,gasket,F1,0.105,0.0005,3,1234.5678,-1\n",
    );
    shop.write(
        "pumps.csv",
        "Tag,Model,Bearing shims fit,Cover gasket fit,Bare clearance (in),Snap ring (in)\n\
         \"=HYPERLINK(\"\"x\"\")\",screwed-impeller,F1,F1,0.041,0.050\n\
         0042,screwed-impeller,F1,F1,0.041,0.050\n",
    );
    planned(&shop);
    take(&shop, "kit-plan.xlsx").well();
    let all = status(&shop);
    let bags: Vec<(&str, Vec<(&str, u32)>)> = all
        .pumps
        .iter()
        .map(|pump| {
            let pieces = pump.bag.iter().map(|piece| (&*piece.item, piece.count));
            (&*pump.tag, pieces.collect())
        })
        .collect();
    let same = |item: &str| gapwright::issue::tidy(item);
    for (of, pieces) in &bags {
        assert!([tag, "0042"].contains(of), "{bags:?}");
        let items: Vec<String> = pieces.iter().map(|(item, _)| same(item)).collect();
        assert!(items.contains(&item.to_string()) && items.contains(&"12E3".into()), "{bags:?}");
    }
    assert_eq!(bags.len(), 2);
    let left: Vec<i64> = all.stock.iter().map(|lot| lot.on_hand).collect();
    assert_eq!(left, [1, 1]);
}
