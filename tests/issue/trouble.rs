//! Killed runs, files that are neither logs nor plans, and malicious texts.

use std::fs;
use std::process::Stdio;
use std::time::Duration;

use super::shop::{Shop, cells};

/// A run killed between its two files leaves the log new and no stock workbook: this is found and fixed.
#[test]
fn a_run_that_was_ended_between_its_two_files_is_found_and_finished() {
    let shop = Shop::tiny();
    shop.issue(&["kit-plan.xlsx", "stock.csv", "--pump", "B", "--out", "s1.xlsx"]).well();
    shop.issue(&["kit-plan.xlsx", "s1.xlsx", "--pump", "A", "--pump", "C"]).well();
    let whole = shop.read("stock-next.xlsx").unwrap();
    let log = shop.read("issue-log.xlsx");
    fs::remove_file(shop.at("stock-next.xlsx")).unwrap();

    let behind = "problem s1.xlsx! the counts from before run 2 of the log (2027-03-02), which touched G105, G90, S10, S20";
    shop.refuse(
        &["kit-plan.xlsx", "s1.xlsx", "--pump", "A", "--pump", "C"],
        &["problem issue-log.xlsx!E11 A, C, issued from this plan (978cef6fa31e) on 2027-03-02 already", behind],
    );
    shop.refuse(&["s1.xlsx", "--put-back", "B"], &[behind]);
    // Neither the stock before the earlier run, nor one with other counts.
    let run = shop.issue(&["stock.csv", "--finish"]);
    assert_eq!(run.status, 2, "{}", run.told);
    assert!(run.problems().iter().any(|p| p.contains("S30")), "{:?}", run.problems());
    shop.issue(&["s1.xlsx", "--finish"]).well();
    assert_eq!(shop.read("stock-next.xlsx").unwrap(), whole);
    assert_eq!(shop.read("issue-log.xlsx"), log);
    // Once the file exists, there is no run to finish.
    let run = shop.issue(&["stock-next.xlsx", "--finish", "--out", "s3.xlsx"]);
    assert_eq!(run.status, 2);
    assert!(
        run.findings
            .iter()
            .all(|f| { f["fix"].as_str().unwrap().contains("go on with this stock workbook") })
    );
    shop.issue(&["stock-next.xlsx", "--put-back", "B", "--out", "s3.xlsx"]).well();
}

/// Killed at any point: never a stock workbook without its lines, and always a way to the same end.
#[test]
fn a_run_killed_at_any_point_never_leaves_a_stock_without_its_lines() {
    let shop = Shop::tiny();
    let arguments = ["issue", "kit-plan.xlsx", "stock.csv", "--date", "2027-03-02"];
    let begun = std::time::Instant::now();
    shop.issue(&["kit-plan.xlsx", "stock.csv"]).well();
    let usual = begun.elapsed();
    let whole = ["issue-log.xlsx", "stock-next.xlsx"].map(|name| shop.read(name).unwrap());
    let program = assert_cmd::cargo::cargo_bin("gapwright");
    let (mut nothing, mut log_only, mut both) = (0, 0, 0);
    for attempt in 0..240_u32 {
        for (name, _) in shop.files() {
            if !["stock.csv", "kit-plan.xlsx"].contains(&name.as_str()) {
                fs::remove_file(shop.at(&name)).unwrap();
            }
        }
        let mut run = std::process::Command::new(&program)
            .args(arguments)
            .current_dir(shop.folder.path())
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        if attempt % 3 == 0 {
            std::thread::sleep(usual * (attempt % 40) / 30);
        } else {
            // The moment after the log has been put in its place.
            let log = shop.at("issue-log.xlsx");
            while !log.exists() && run.try_wait().unwrap().is_none() {
                std::thread::sleep(Duration::ZERO);
            }
        }
        run.kill().unwrap();
        run.wait().unwrap();
        let left = ["issue-log.xlsx", "stock-next.xlsx"].map(|name| shop.read(name));
        match &left {
            [None, None] => {
                nothing += 1;
                shop.issue(&["kit-plan.xlsx", "stock.csv"]).well();
            }
            [Some(log), None] => {
                log_only += 1;
                assert_eq!(*log, whole[0]);
                shop.issue(&["stock.csv", "--finish"]).well();
            }
            [Some(_), Some(_)] => both += 1,
            [None, Some(_)] => panic!("attempt {attempt}: a stock workbook without its lines"),
        }
        let ended = ["issue-log.xlsx", "stock-next.xlsx"].map(|name| shop.read(name).unwrap());
        assert_eq!(ended, whole, "attempt {attempt}");
        if attempt >= 60 && nothing > 0 && log_only > 0 && both > 0 {
            break;
        }
    }
    println!("killed before both files {nothing}, between them {log_only}, after them {both}");
    assert!(nothing > 0 && both > 0);
}

#[test]
fn files_that_are_no_logs_are_refused_and_left_alone() {
    let shop = Shop::tiny();
    shop.issue(&["kit-plan.xlsx", "stock.csv", "--pump", "B", "--out", "s1.xlsx"]).well();
    let good = shop.read("issue-log.xlsx").unwrap();
    let cut = good[..good.len() / 2].to_vec();
    let mut flipped = good.clone();
    let middle = flipped.len() / 2;
    flipped[middle] ^= 0x55;
    let plan = shop.read("kit-plan.xlsx").unwrap();
    let hostile: [(&str, Vec<u8>); 8] = [
        ("empty", Vec::new()),
        ("a text", b"No.,Date\n1,2027-03-02\n".to_vec()),
        ("cut short", cut),
        ("a byte changed", flipped),
        ("a plan", plan),
        ("a zip of nothing", b"PK\x05\x06\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0".to_vec()),
        ("JSON", b"{\"lines\": []}".to_vec()),
        ("nulls", vec![0; 4096]),
    ];
    let mut refused = 0;
    for (what, bytes) in &hostile {
        fs::write(shop.at("issue-log.xlsx"), bytes).unwrap();
        let before = shop.files();
        let run = shop.issue(&["kit-plan.xlsx", "s1.xlsx", "--pump", "A"]);
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
    let run = shop.issue(&["kit-plan.xlsx", "s1.xlsx", "--pump", "A"]);
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
    let run = shop.issue(&["kit-plan.xlsx", "s1.xlsx", "--pump", "A"]);
    let problems = run.problems();
    for found in
        ["!P5 a column that is not the log's", "! another sheet in the issue log", "!A10 `Total`"]
    {
        assert!(problems.iter().any(|p| p.contains(found)), "{found}: {problems:#?}");
    }
}

#[test]
fn files_that_are_no_plans_are_refused() {
    let shop = Shop::tiny();
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
        let run = shop.issue(&[plan, "pumps.csv"]);
        assert_eq!(run.status, 2);
        assert!(run.problems().iter().any(|p| p.contains(found)), "{plan}: {:?}", run.problems());
        // The stock, which is invalid, is reported in the same run.
        assert!(
            run.problems().iter().any(|p| p.contains("pumps.csv")),
            "{plan}: {:?}",
            run.problems()
        );
        assert_eq!(shop.files(), before);
    }
}

/// Texts of a shop that would be formulas, that look like others, or that no workbook can hold.
#[test]
fn texts_that_mean_harm_are_recorded_as_they_are() {
    let shop = Shop::new();
    let tag = "=HYPERLINK(\"x\")";
    let item = "+S20  _x0041_";
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
    shop.kit("stock.csv", "pumps.csv");
    let run = shop.issue(&["kit-plan.xlsx", "stock.csv"]).well();
    assert!(run.problems().is_empty());
    let log = shop.log();
    let picked: Vec<String> = log
        .iter()
        .filter(|line| line[9] == "as planned")
        .map(|line| [4, 6, 12].map(|at| line[at].clone()).join("|"))
        .collect();
    assert_eq!(
        picked,
        [
            format!("{tag}|+S20 _x0041_|0.1"),
            format!("{tag}|12E3|1234.5678"),
            "0042|+S20 _x0041_|0.1".to_string(),
            "0042|12E3|1234.5678".to_string(),
        ]
    );
    let counts = shop.counts("stock-next.xlsx");
    assert_eq!((counts[item], counts["12E3"]), (1, 1));
    let next = cells(&shop.at("stock-next.xlsx"), "Stock");
    assert_eq!(next[&(1, 7)], "@A");
    shop.issue(&["stock-next.xlsx", "--put-back", tag, "--put-back", "0042", "--out", "s2.xlsx"])
        .well();
    assert_eq!(shop.counts("s2.xlsx")[item], 3);
    // All pieces are back, so the plan can be issued once more; problems are then marked.
    shop.fill(&[(tag, item, "G", "99")]);
    let run =
        shop.issue(&["kit-plan.xlsx", "stock.csv", "--out", "s3.xlsx", "--mark", "marked.xlsx"]);
    run.refused(&["problem kit-plan.xlsx!G6 99 of +S20 _x0041_, of which 3 are left"]);
    assert!(cells(&shop.at("marked.xlsx"), "Issue").values().any(|cell| cell == tag));
    assert!(shop.read("s3.xlsx").is_none());
}
