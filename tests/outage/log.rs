//! `book --from` an issue log: a shop that issued kits before it had an outage file.

use std::fs;

use gapwright::formats::outage::PumpStateJson;

use crate::commands::{begun, on_hand, refused, run, state, status, well};
use crate::shop::{Shop, lines};

/// Kits B and A were issued, A with one S10 in place of its S20 and a note; then A was put back.
pub fn issued() -> Shop {
    let shop = begun();
    let kit = ["kit", "stock.csv", "pumps.csv", "--date", "2027-03-01", "--out", "kit-plan.xlsx"];
    well(&shop, &kit);
    shop.fill(&[
        ("A", "S20", "G", "0"),
        ("A", "S20", "H", "S10"),
        ("A", "S20", "I", "1"),
        ("A", "S20", "J", "S20 was bent"),
    ]);
    issue(
        &shop,
        &["kit-plan.xlsx", "stock.csv", "--pump", "B", "--pump", "A"],
        "s2.xlsx",
        "2027-03-02",
    );
    issue(&shop, &["s2.xlsx", "--put-back", "A"], "s3.xlsx", "2027-03-03");
    shop
}

fn issue(shop: &Shop, what: &[&str], out: &str, date: &str) {
    well(shop, &[&["issue"], what, &["--out", out, "--date", date]].concat());
}

pub fn outage(shop: &Shop, stock: &str) -> String {
    let call = ["kit", stock, "pumps.csv", "--outage", "w.outage", "--force", "--out", "plan.xlsx"];
    well(shop, &call)
}

pub fn take(shop: &Shop) -> String {
    well(shop, &["book", "w.outage", "--from", "issue-log.xlsx", "--by", "Kim"])
}

#[test]
fn issued_kits_become_bags_at_the_bench_once() {
    let shop = issued();
    outage(&shop, "stock.csv");
    let said = take(&shop);
    assert!(said.contains("Entry 3: bag B: 2 pieces."), "{said}");
    assert!(said.contains("otherwise than planned: without 1 x S20, with 1 x S10"), "{said}");
    assert!(!said.contains("by the log"), "{said}");
    assert_eq!(
        [state(&shop, "B"), state(&shop, "A"), state(&shop, "C")],
        [PumpStateJson::Issued, PumpStateJson::Planned, PumpStateJson::Planned]
    );
    let all = status(&shop);
    let entry = |number: usize| &all.entries[number - 1];
    assert_eq!([&*entry(3).date, &*entry(3).who], ["2027-03-02", "Kim"]);
    assert_eq!(entry(5).why, "issue log, lines 6 to 8; S20 was bent");
    assert_eq!(entry(7).date, "2027-03-03");
    assert_eq!(all.head.number, 7);
    // Counts are those of the stock workbook that `issue` wrote last, which goes on as the stock.
    for lot in &all.stock {
        let log = lines(&shop.at("issue-log.xlsx"));
        if let Some(line) = log.iter().rev().find(|line| line[6] == lot.item) {
            assert_eq!(lot.on_hand.to_string(), line[11], "{}", lot.item);
        }
    }
    let said = outage(&shop, "s3.xlsx");
    assert!(said.contains("2 of 2 pumps can be kitted"), "{said}");
    let number = status(&shop).head.number;
    let said = take(&shop);
    assert!(said.contains("Nothing new in issue-log.xlsx."), "{said}");
    assert_eq!(status(&shop).head.number, number);
}

#[test]
fn a_log_that_grew_is_taken_over_further() {
    let shop = issued();
    outage(&shop, "stock.csv");
    take(&shop);
    // The shop goes on with the log for another day.
    issue(&shop, &["kit-plan.xlsx", "s3.xlsx", "--pump", "C"], "s4.xlsx", "2027-03-04");
    issue(&shop, &["s4.xlsx", "--put-back", "C", "--items", "S10=1"], "s5.xlsx", "2027-03-04");
    let said = take(&shop);
    assert!(said.contains(": bag C: 2 pieces.") && said.contains(": issue C."), "{said}");
    assert!(said.contains(": swap C: out 1 x S10; in none."), "{said}");
    assert!(said.contains("The bag of C is 1 pieces short"), "{said}");
    let number = status(&shop).head.number;
    take(&shop);
    assert_eq!(status(&shop).head.number, number);
}

/// Lines of a later plan wait until that plan is made in the outage, from the same stock workbook.
#[test]
fn lines_of_another_plan_wait_for_it() {
    let shop = issued();
    well(&shop, &["kit", "s3.xlsx", "pumps.csv", "--out", "second.xlsx"]);
    let pumps = fs::read_to_string(shop.at("pumps.csv")).unwrap();
    let rest: Vec<&str> = pumps.lines().filter(|line| !line.starts_with("B,")).collect();
    shop.write("rest.csv", &rest.join("\n"));
    well(&shop, &["kit", "s3.xlsx", "rest.csv", "--force", "--out", "second.xlsx"]);
    issue(&shop, &["second.xlsx", "s3.xlsx", "--pump", "C"], "s4.xlsx", "2027-03-05");
    outage(&shop, "stock.csv");
    let said = take(&shop);
    assert!(said.contains("Lines from 14 on are not taken over yet: plan "), "{said}");
    assert_eq!(state(&shop, "C"), PumpStateJson::Planned);
    outage(&shop, "s3.xlsx");
    let said = take(&shop);
    assert!(said.contains(": bag C: 2 pieces.") && !said.contains("not taken over"), "{said}");
    assert_eq!(state(&shop, "C"), PumpStateJson::Issued);
    assert_eq!(on_hand(&shop, "S10"), 1);
}

#[test]
fn a_log_of_no_plan_of_the_outage_and_a_log_that_was_changed_are_refused() {
    let shop = issued();
    let rows = fs::read_to_string(shop.at("stock.csv")).unwrap();
    shop.write(
        "other.csv",
        &rows.replace("G90,gasket,F1,0.090,0.0005,1", "G90,gasket,F1,0.090,0.0005,2"),
    );
    outage(&shop, "other.csv");
    let said = refused(&shop, &["--from", "issue-log.xlsx"]);
    assert!(said.contains("lines of no plan of this outage (plans: "), "{said}");
    assert!(said.contains("begin the outage file with the stock and the pump workbook"), "{said}");
    crate::shop::change(&shop.at("issue-log.xlsx"), "Issues", &[("I7", "2".into())]);
    let (code, said) = run(&shop, &["book", "w.outage", "--from", "issue-log.xlsx"]);
    assert_eq!(code, 2, "{said}");
    assert!(said.contains("it is never to be changed by hand"), "{said}");
}

/// A kit that went out short is not at the bench by the rules of an outage: it is bagged, and that is said.
#[test]
fn a_kit_that_was_issued_short_is_bagged() {
    let shop = begun();
    well(&shop, &["kit", "stock.csv", "pumps.csv", "--out", "kit-plan.xlsx"]);
    shop.fill(&[("B", "G120", "G", "0")]);
    issue(&shop, &["kit-plan.xlsx", "stock.csv", "--pump", "B"], "s2.xlsx", "2027-03-02");
    outage(&shop, "stock.csv");
    let said = take(&shop);
    assert!(said.contains("B: its bag went out short of its kit."), "{said}");
    assert_eq!(state(&shop, "B"), PumpStateJson::Bagged);
    // A bag that was booked by hand before is not booked again.
    let shop = issued();
    outage(&shop, "stock.csv");
    well(&shop, &["book", "w.outage", "bag", "B"]);
    let said = take(&shop);
    assert!(!said.contains("bag B") && said.contains(": issue B."), "{said}");
}
