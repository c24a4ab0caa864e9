//! The commands on the tiny sample, whose three kits are worked out by hand in its README.

use std::fs;
use std::io::Read;

use gapwright::formats::outage::{OutageJson, PumpStateJson};
use serde_json::Value;

use crate::shop::{Put, Shop, change};

pub fn begun() -> Shop {
    let shop = Shop::new();
    for name in ["stock.csv", "pumps.csv"] {
        fs::copy(format!("samples/tiny/{name}"), shop.at(name)).unwrap();
    }
    shop
}

/// Runs the program; its status and all that it says.
pub fn run(shop: &Shop, arguments: &[&str]) -> (i32, String) {
    let output = shop.output(arguments);
    let said = [output.stdout, output.stderr].concat();
    (output.status.code().unwrap(), String::from_utf8(said).unwrap())
}

pub fn well(shop: &Shop, arguments: &[&str]) -> String {
    let (status, said) = run(shop, arguments);
    assert_eq!(status, 0, "{arguments:?}\n{said}");
    said
}

pub fn book(shop: &Shop, arguments: &[&str]) -> String {
    well(shop, &[&["book", "w.outage"], arguments].concat())
}

/// A booking that is refused: nothing is written.
pub fn refused(shop: &Shop, arguments: &[&str]) -> String {
    let before = shop.files();
    let (status, said) = run(shop, &[&["book", "w.outage"], arguments].concat());
    assert_eq!(status, 2, "{arguments:?}\n{said}");
    assert_eq!(shop.files(), before, "{arguments:?}");
    said
}

fn kit(shop: &Shop, more: &[&str]) -> String {
    let call =
        ["kit", "stock.csv", "pumps.csv", "--outage", "w.outage", "--force", "--out", "plan.xlsx"];
    well(shop, &[&call, more].concat())
}

pub fn status(shop: &Shop) -> OutageJson {
    let output = shop.output(&["status", "w.outage", "--json", "-"]);
    serde_json::from_slice(&output.stdout).unwrap_or_else(|_| panic!("{output:?}"))
}

pub fn state(shop: &Shop, tag: &str) -> PumpStateJson {
    status(shop).pumps.into_iter().find(|pump| pump.tag == tag).unwrap().state
}

pub fn on_hand(shop: &Shop, item: &str) -> i64 {
    status(shop).stock.into_iter().find(|lot| lot.item == item).unwrap().on_hand
}

/// A part of a workbook as text.
pub fn part(path: &std::path::Path, name: &str) -> String {
    let mut zip = zip::ZipArchive::new(fs::File::open(path).unwrap()).unwrap();
    let mut text = String::new();
    zip.by_name(name).unwrap().read_to_string(&mut text).unwrap();
    text
}

#[test]
fn an_outage_from_its_first_plan_to_an_accepted_pump() {
    let shop = begun();
    let said = kit(&shop, &[]);
    assert!(said.contains("3 of 3 pumps can be kitted"), "{said}");
    assert!(said.contains("New slips: A is kit 2, B is kit 1, C is kit 3."), "{said}");
    // Plan, kit and ledger stand on paper.
    let slips = crate::shop::cells(&shop.at("plan.xlsx"), "Kits");
    assert!(slips.values().any(|cell| cell == "Kit 1 (1 of 3): pump B"), "{slips:?}");
    let head = status(&shop).head;
    let stamp = format!("w, plan 1, ledger {}-{}", head.number, &head.sha256[..12]);
    for sheet in 1..=4 {
        let xml = part(&shop.at("plan.xlsx"), &format!("xl/worksheets/sheet{sheet}.xml"));
        assert!(xml.contains(&stamp), "{stamp} on sheet {sheet}");
    }
    // Again: nothing has changed, so nothing is entered.
    let said = kit(&shop, &[]);
    assert!(said.contains("Plan 1 of w.outage") && said.contains("still count: 3 kits"), "{said}");
    assert_eq!(status(&shop).head.number, 2);

    let said = book(&shop, &["bag", "b", "A", "--by", "Kim", "--date", "2027-03-02"]);
    assert!(said.contains("Entry 3: bag b: 2 pieces."), "{said}");
    let said = book(&shop, &["issue", "B"]);
    assert!(said.contains("Entry 5: issue B."), "{said}");
    assert!(refused(&shop, &["accept", "B"]).contains("accept B: "), "no reading yet");
    assert!(refused(&shop, &["accept", "C"]).contains("accept C, which is planned"));
    // 0.051 less 0.030 is 0.021; a reading far off is to be repeated, and then counts.
    let said = book(&shop, &["reading", "B", "running clearance", "0.0300 in"]);
    assert!(said.contains("Not to be accepted yet: "), "{said}");
    let said = book(&shop, &["reading", "B", "Running clearance", "0.0301 in"]);
    assert!(said.contains("STOP: B NOT FIT TO ASSEMBLE"), "{said}");
    assert_eq!(state(&shop, "B"), PumpStateJson::Rejected);
    let said = well(&shop, &["status", "w.outage"]);
    assert!(said.starts_with("STOP: B, rejected, NOT FIT TO ASSEMBLE"), "{said}");
    assert!(refused(&shop, &["accept", "B"]).contains("accept B, which is rejected"));
    let said = book(&shop, &["reading", "B", "running clearance", "0.0212 in"]);
    assert!(!said.contains("STOP"), "{said}");
    let said = book(&shop, &["accept", "B", "--by", "Sam", "--note", "signed"]);
    assert!(said.contains("Entry 9: accept B."), "{said}");
    assert_eq!(state(&shop, "B"), PumpStateJson::Accepted);

    let all = status(&shop);
    let last = all.entries.last().unwrap();
    assert_eq!([&*last.who, &*last.why], ["Sam", "signed"]);
    assert_eq!(all.entries[2].date, "2027-03-02");
    let said = well(&shop, &["verify", "w.outage", "--head", &format!("9-{}", &last.sha256[..12])]);
    assert!(said.contains("Every entry holds: 9."), "{said}");
    assert!(said.contains("3 pieces in the bins, 4 in bags and out"), "{said}");
    let (status, said) = run(&shop, &["verify", "w.outage", "--head", "10-0123456789ab"]);
    assert_eq!(status, 1, "{said}");
    assert!(said.contains("its end was cut off or changed"), "{said}");
}

#[test]
fn readings_that_are_none_and_names_that_are_unknown_are_refused_with_the_fix() {
    let shop = begun();
    kit(&shop, &[]);
    book(&shop, &["bag", "B"]);
    book(&shop, &["issue", "B"]);
    for (arguments, says) in [
        (
            &["reading", "B", "impeler running clearance", "0.02 in"][..],
            "write `Impeller running clearance`",
        ),
        (&["reading", "B", "running clearance", "0.02"], "type it again, with its unit"),
        (&["reading", "B", "running clearance", "-1 mm"], "below zero"),
        (&["reading", "Bb", "running clearance", "1 mm"], "the pump `Bb`"),
        (&["scrap", "S10", "0"], "one piece at least"),
        (&["bag", "A", "--with", "S10=x"], "ITEM, or ITEM=N"),
        (&["bag", "A", "C", "--with", "S10"], "book them one by one"),
        (&["undo", "77"], "look up its number"),
        (&["issue", "B", "--date", "2027-02-30"], "correct the date"),
        (&[], "no booking"),
    ] {
        let said = refused(&shop, arguments);
        assert!(said.contains(says), "{arguments:?}: {said}");
    }
    // Of two bookings with one wrong, none is made.
    assert!(refused(&shop, &["bag", "A", "Zzz"]).contains("the pump `Zzz`"));
    assert_eq!(state(&shop, "A"), PumpStateJson::Planned);
}

#[test]
fn a_plan_that_follows_leaves_bags_alone_and_plans_on_the_ledger() {
    let shop = begun();
    kit(&shop, &[]);
    book(&shop, &["bag", "B"]);
    // One S20 is scrapped: A can have both S10, or C one of them.
    book(&shop, &["scrap", "S20", "1", "--note", "bent"]);
    let said = kit(&shop, &[]);
    assert!(said.contains("2 of 3 pumps can be kitted"), "{said}");
    assert!(said.contains("Plan 2 of w.outage"), "{said}");
    let all = status(&shop);
    let kit_of = |tag: &str| all.pumps.iter().find(|pump| pump.tag == tag).unwrap();
    assert_eq!((kit_of("B").kit, kit_of("B").state), (Some(1), PumpStateJson::Bagged));
    let short = all.pumps.iter().filter(|pump| pump.state == PumpStateJson::Short).count();
    assert_eq!(short, 1);
    assert!(all.pumps.iter().any(|pump| pump.not_fit_to_assemble && pump.why.is_some()));
    let said = well(&shop, &["status", "w.outage"]);
    assert!(said.contains("short: ") && said.contains("NOT FIT TO ASSEMBLE"), "{said}");
    // Two come in: both are served. The kit that did not change keeps its number.
    book(&shop, &["receive", "S20", "2"]);
    let said = kit(&shop, &[]);
    assert!(said.contains("3 of 3 pumps can be kitted"), "{said}");
    let numbers: Vec<u32> = status(&shop).pumps.iter().filter_map(|pump| pump.kit).collect();
    assert_eq!(numbers.len(), 3);
    assert!(numbers.contains(&1) && numbers.contains(&4), "{numbers:?}");
}

#[test]
fn counts_of_the_workbook_are_held_against_the_ledger() {
    let shop = begun();
    kit(&shop, &[]);
    book(&shop, &["bag", "B"]);
    let rows = fs::read_to_string(shop.at("stock.csv")).unwrap();
    // S30 as the ledger has it, G90 as neither: bag B took one S30 and one G120.
    let other = rows.replace("S30,shim,F1,0.030,0.0002,1", "S30,shim,F1,0.030,0.0002,0");
    let other = other.replace("G90,gasket,F1,0.090,0.0005,1", "G90,gasket,F1,0.090,0.0005,4");
    let before = shop.files();
    shop.write("stock.csv", &other);
    let call = ["kit", "stock.csv", "pumps.csv", "--outage", "w.outage", "--out", "next.xlsx"];
    let (code, said) = run(&shop, &call);
    assert_eq!(code, 2, "{said}");
    assert!(said.contains("4 of G90 on hand") && said.contains("stock!F5"), "{said}");
    assert!(said.contains("1 as taken over before, or 1 as the ledger has it"), "{said}");
    assert!(!said.contains("S30") && !said.contains("G120"), "{said}");
    assert_eq!(shop.read("w.outage"), before.get("w.outage").cloned());
    assert!(shop.read("next.xlsx").is_none());
    let ledger = Shop::new();
    for (name, bytes) in shop.files() {
        fs::write(ledger.at(&name), bytes).unwrap();
    }
    kit(&shop, &["--counts", "workbook"]);
    assert_eq!([on_hand(&shop, "G90"), on_hand(&shop, "S30"), on_hand(&shop, "G120")], [4, 0, 0]);
    kit(&ledger, &["--counts", "ledger"]);
    assert_eq!([on_hand(&ledger, "G90"), on_hand(&ledger, "S30")], [1, 0]);
    // Said once, it is said.
    let number = status(&shop).head.number;
    kit(&shop, &[]);
    assert_eq!(status(&shop).head.number, number);
    // A pump whose pieces are out may not leave the workbook.
    let pumps = fs::read_to_string(shop.at("pumps.csv")).unwrap();
    let without: Vec<&str> = pumps.lines().filter(|line| !line.starts_with("B,")).collect();
    shop.write("pumps.csv", &without.join("\n"));
    let (code, said) = run(&shop, &call);
    assert_eq!(code, 2, "{said}");
    assert!(
        said.contains("no row for B, which is bagged") && said.contains("book `cancel B`"),
        "{said}"
    );
    book(&shop, &["cancel", "B"]);
    kit(&shop, &[]);
    assert_eq!(state(&shop, "B"), PumpStateJson::Cancelled);
}

#[test]
fn a_kit_that_no_longer_conforms_is_never_hidden() {
    let shop = begun();
    kit(&shop, &[]);
    book(&shop, &["bag", "B", "A"]);
    book(&shop, &["issue", "B"]);
    let pumps = fs::read_to_string(shop.at("pumps.csv")).unwrap();
    // B and A were measured wrong: 0.051 - 0.030 was on target, 0.061 - 0.030 is not.
    let other = pumps.replace("F1,F1,0.051", "F1,F1,0.061").replace("F1,F1,0.041", "F1,F1,0.046");
    assert_ne!(other, pumps);
    shop.write("pumps.csv", &other);
    let said = kit(&shop, &[]);
    assert!(said.contains("STOP: B, issued, NOT FIT TO ASSEMBLE"), "{said}");
    assert!(said.contains("\nA, bagged, NOT FIT TO ASSEMBLE"), "{said}");
    assert!(refused(&shop, &["issue", "A"]).contains("NOT FIT TO ASSEMBLE"));
    let said = well(&shop, &["status", "w.outage"]);
    assert!(said.starts_with("STOP: B, issued"), "{said}");
    book(&shop, &["put-back", "A"]);
    assert_eq!(state(&shop, "A"), PumpStateJson::Short);
    // With no pump left to plan, pieces that are out are judged all the same.
    shop.write("pumps.csv", &pumps);
    kit(&shop, &[]);
    for tag in ["A", "C"] {
        book(&shop, &["bag", tag]);
    }
    shop.write("pumps.csv", &pumps.replace("F1,F1,0.031", "F1,F1,0.039"));
    let said = kit(&shop, &[]);
    assert!(said.contains("C, bagged, NOT FIT TO ASSEMBLE"), "{said}");
    assert!(said.contains("NOT FIT TO ASSEMBLE; reopen bag"), "{said}");
    assert!(said.contains("Bare clearance: was 0.0310 in, is 0.0390 in"), "{said}");
    // Put back its reading, and all three are at the bench.
    shop.write("pumps.csv", &pumps);
    kit(&shop, &[]);
    book(&shop, &["issue", "A", "C"]);
    shop.write("pumps.csv", &pumps.replace("F1,F1,0.031", "F1,F1,0.039"));
    fs::remove_file(shop.at("plan.xlsx")).unwrap();
    let said = kit(&shop, &[]);
    assert!(said.contains("No pump is left to plan: no workbook was written."), "{said}");
    assert!(said.contains("STOP: C, issued, NOT FIT TO ASSEMBLE"), "{said}");
    assert!(shop.read("plan.xlsx").is_none());
}

#[test]
fn the_sheets_of_a_saved_plan_are_taken_over_once() {
    let shop = begun();
    kit(&shop, &[]);
    fs::rename(shop.at("plan.xlsx"), shop.at("kit-plan.xlsx")).unwrap();
    shop.fill(&[("A", "S20", "G", "0"), ("A", "S20", "H", "S10"), ("A", "S20", "I", "1")]);
    let said = book(&shop, &["--from", "kit-plan.xlsx", "--by", "Kim"]);
    assert!(said.contains("otherwise than planned: without 1 x S20, with 1 x S10"), "{said}");
    assert_eq!(status(&shop).head.number, 5);
    // The same cells again book nothing.
    let said = book(&shop, &["--from", "kit-plan.xlsx"]);
    assert!(said.contains("Nothing new in kit-plan.xlsx."), "{said}");
    assert_eq!(status(&shop).head.number, 5);
    // A reading on the slip of B: its bag went to the bench with it.
    let slip = crate::shop::cells(&shop.at("kit-plan.xlsx"), "Kits");
    let row = slip.iter().find(|(_, cell)| *cell == "running_clearance").unwrap().0.0;
    assert_eq!(slip[&(row, 9)], "B");
    change(&shop.at("kit-plan.xlsx"), "Kits", &[(format!("G{}", row + 1), Put::from("0.0212"))]);
    let said = book(&shop, &["--from", "kit-plan.xlsx"]);
    assert!(said.contains(": issue ") && said.contains("running clearance: 0.0212 in"), "{said}");
    assert_eq!(status(&shop).head.number, 7);
    book(&shop, &["--from", "kit-plan.xlsx"]);
    assert_eq!(status(&shop).head.number, 7);
    // A plan of no outage, or of another, is refused.
    well(&shop, &["kit", "stock.csv", "pumps.csv", "--out", "other.xlsx", "--handling", "0"]);
    let other = begun();
    kit(&other, &[]);
    let rows = fs::read_to_string(other.at("stock.csv")).unwrap();
    other.write(
        "stock.csv",
        &rows.replace("G90,gasket,F1,0.090,0.0005,1", "G90,gasket,F1,0.090,0.0005,2"),
    );
    well(&other, &["kit", "stock.csv", "pumps.csv", "--out", "lone.xlsx"]);
    assert!(refused(&other, &["--from", "lone.xlsx"]).contains("a plan of this outage"));
}

/// A dimension that is booked stands in its cell until the workbook says something else.
#[test]
fn a_dimension_that_is_booked_counts_until_its_cell_differs() {
    let shop = begun();
    kit(&shop, &[]);
    // A: 0.041 was a slip of the pen; 0.031 asks for 0.010 of shims, of which there are two.
    let said = book(&shop, &["reading", "A", "bare clearance", "0.031 in", "--note", "read again"]);
    assert!(said.contains("reading A bare clearance: 0.031 in."), "{said}");
    let said = refused(&shop, &["bag", "A"]);
    assert!(said.contains("bare_clearance was measured again, 0.031 in"), "{said}");
    let said = kit(&shop, &[]);
    assert!(said.contains("2 of 3 pumps can be kitted"), "one gasket of 0.090 for two: {said}");
    // The workbook takes the value over: the two agree.
    let pumps = fs::read_to_string(shop.at("pumps.csv")).unwrap();
    shop.write(
        "pumps.csv",
        &pumps.replace("A,screwed-impeller,1,F1,F1,0.041", "A,screwed-impeller,1,F1,F1,0.0310"),
    );
    let said = kit(&shop, &[]);
    assert!(said.contains("2 of 3 pumps can be kitted"), "{said}");
    // It says a third figure: both are listed, and that pump is not planned.
    shop.write(
        "pumps.csv",
        &pumps.replace("A,screwed-impeller,1,F1,F1,0.041", "A,screwed-impeller,1,F1,F1,0.042"),
    );
    let said = kit(&shop, &[]);
    assert!(said.contains("pumps!F3") && said.contains("`0.042`, changed since"), "{said}");
    assert!(said.contains("`0.031 in`"), "{said}");
    assert!(said.contains("2 of 2 measured pumps can be kitted"), "{said}");
    assert_eq!(state(&shop, "A"), PumpStateJson::NotMeasured);
    // Of a pump whose pieces are out that is a problem.
    book(&shop, &["reading", "C", "Bare clearance", "0.0311 in"]);
    kit(&shop, &[]);
    book(&shop, &["bag", "C"]);
    let before = shop.files();
    let was = fs::read_to_string(shop.at("pumps.csv")).unwrap();
    shop.write(
        "pumps.csv",
        &was.replace("C,screwed-impeller,1,F1,F1,0.031", "C,screwed-impeller,1,F1,F1,0.032"),
    );
    let call = ["kit", "stock.csv", "pumps.csv", "--outage", "w.outage", "--out", "next.xlsx"];
    let (code, said) = run(&shop, &call);
    assert_eq!(code, 2, "{said}");
    assert!(said.contains("pumps!F4") && said.contains("`0.032`, changed since"), "{said}");
    assert_eq!(shop.read("w.outage"), before.get("w.outage").cloned());
    shop.write("pumps.csv", &was);
    // The cell holds: booked so, all pumps are served.
    book(&shop, &["reading", "A", "Bare clearance", "0.042 in"]);
    let said = kit(&shop, &[]);
    assert!(said.contains("3 of 3 pumps can be kitted"), "{said}");
    assert!(refused(&shop, &["reading", "A", "snap ring", "thick"]).contains("type it again"));
}

#[test]
fn status_has_the_shape_of_its_schema() {
    let shop = begun();
    kit(&shop, &[]);
    book(&shop, &["bag", "B", "--without", "G120"]);
    book(&shop, &["undo", "3"]);
    book(&shop, &["bag", "B"]);
    let schema: Value = serde_json::from_slice(&shop.output(&["schema", "outage"]).stdout).unwrap();
    let status: Value =
        serde_json::from_slice(&shop.output(&["status", "w.outage", "--json", "-"]).stdout)
            .unwrap();
    let validator = jsonschema::validator_for(&schema).unwrap();
    let errors: Vec<String> =
        validator.iter_errors(&status).map(|error| error.to_string()).collect();
    assert!(errors.is_empty(), "{errors:?}");
    assert_eq!(status["format"], "gapwright.outage.v1");
    assert_eq!(status["entries"][2]["undone"], true);
    // An output may not be the outage file.
    let before = shop.files();
    let (code, said) = run(&shop, &["status", "w.outage", "--json", "w.outage", "--force"]);
    assert_eq!(code, 2, "{said}");
    let call =
        ["kit", "stock.csv", "pumps.csv", "--outage", "w.outage", "--json", "w.outage", "--force"];
    let (code, said) = run(&shop, &call);
    assert_eq!(code, 2, "{said}");
    assert_eq!(shop.files(), before);
}

/// A pump without a reading waits, whatever else is planned; one whose pieces are out must keep its readings.
#[test]
fn a_pump_without_a_reading_waits() {
    let shop = begun();
    let pumps = fs::read_to_string(shop.at("pumps.csv")).unwrap();
    let empty = pumps.replace("F1,F1,0.051", "F1,F1,");
    assert_ne!(empty, pumps);
    shop.write("pumps.csv", &empty);
    kit(&shop, &[]);
    assert_eq!(state(&shop, "B"), PumpStateJson::NotMeasured);
    assert_eq!(state(&shop, "A"), PumpStateJson::Planned);
    assert!(well(&shop, &["status", "w.outage"]).contains("waits for"));
    assert!(refused(&shop, &["bag", "B"]).contains("measure it"));
    // Its reading may be booked instead of typed: it is planned then.
    let typed = shop.files();
    let said = refused(&shop, &["reading", "B", "Bear clearance", "0.051 in"]);
    assert!(said.contains("write `Bare clearance`"), "{said}");
    book(&shop, &["reading", "B", "Bare clearance", "0.051 in", "--by", "Kim"]);
    kit(&shop, &[]);
    assert_eq!(state(&shop, "B"), PumpStateJson::Planned);
    for (name, bytes) in typed {
        fs::write(shop.at(&name), bytes).unwrap();
    }
    shop.write("pumps.csv", &pumps);
    kit(&shop, &[]);
    assert_eq!(state(&shop, "B"), PumpStateJson::Planned);
    book(&shop, &["bag", "B"]);
    shop.write("pumps.csv", &empty);
    let before = shop.files();
    let (status, said) = run(
        &shop,
        &["kit", "stock.csv", "pumps.csv", "--outage", "w.outage", "--force", "--out", "plan.xlsx"],
    );
    assert_eq!(status, 2, "{said}");
    assert!(said.contains("no reading for B, which is bagged"), "{said}");
    assert!(said.contains("put-back B"), "{said}");
    assert_eq!(shop.files(), before);
}
