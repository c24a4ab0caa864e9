//! `book --from` an issue log: a shop that issued kits before it had an outage file.

use std::collections::BTreeMap;
use std::fs;

use gapwright::formats::outage::PumpStateJson;
use gapwright::formats::plan::parse;
use gapwright::issue::log::{How, Log, Movement, OnHand};

use crate::commands::{begun, on_hand, refused, run, state, status, well};
use crate::old_log;
use crate::shop::{Shop, lines};

/// Log of a shop, with the counts on hand after its last line.
pub struct OldShop {
    log: Log,
    left: BTreeMap<&'static str, u32>,
}

impl OldShop {
    /// The tiny stock, before any line.
    fn new() -> OldShop {
        let left = [("S10", 2), ("S20", 1), ("S30", 1), ("G90", 1), ("G105", 1), ("G120", 1)];
        OldShop { log: Log::new(), left: left.into() }
    }

    /// Pieces that went out, or came back where `out` is below zero.
    fn line(
        &mut self,
        (plan, tag): (&str, &str),
        item: &'static str,
        [asked, out]: [i64; 2],
        (how, note): (How, &str),
    ) -> Movement {
        let before = self.left[item];
        let after = u32::try_from(i64::from(before) - out).unwrap();
        self.left.insert(item, after);
        let place = if item.starts_with('S') { "Shims over the bearing" } else { GASKET };
        Movement {
            plan: plan.into(),
            tag: tag.into(),
            place: place.into(),
            item: item.into(),
            asked: u32::try_from(asked).unwrap(),
            out,
            how,
            on_hand: Some(OnHand { before, after }),
            unit_cost: None,
            note: note.into(),
        }
    }

    /// A whole kit, and the lines of the consumables that its bag is short of.
    fn kit(&mut self, of: (&str, &str), items: [&'static str; 2]) -> Vec<Movement> {
        let picked = |shop: &mut OldShop, item| shop.line(of, item, [1, 1], (How::AsPlanned, ""));
        let mut lines = items.map(|item| picked(self, item)).to_vec();
        lines.extend(short(of));
        lines
    }

    fn save(&self, shop: &Shop) {
        fs::write(shop.at("issue-log.xlsx"), old_log::workbook(&self.log).unwrap()).unwrap();
    }

    /// The tiny stock with the counts of the log.
    fn write_stock(&self, shop: &Shop, name: &str) {
        let stock = fs::read_to_string("samples/tiny/stock.csv").unwrap();
        let rows = stock.lines().map(|row| {
            let mut cells: Vec<String> = row.split(',').map(String::from).collect();
            if let Some(count) = self.left.get(cells[0].as_str()) {
                cells[5] = count.to_string();
            }
            cells.join(",")
        });
        shop.write(name, &rows.collect::<Vec<_>>().join("\n"));
    }
}

const GASKET: &str = "Bearing cover gasket";

/// Lines of consumables that were not there.
fn short((plan, tag): (&str, &str)) -> Vec<Movement> {
    let line = |kind: &str| Movement {
        plan: plan.into(),
        tag: tag.into(),
        place: kind.into(),
        item: String::new(),
        asked: 1,
        out: 0,
        how: How::Short,
        on_hand: None,
        unit_cost: None,
        note: String::new(),
    };
    ["packing ring", "lantern ring", "snap ring"].map(line).to_vec()
}

/// Code of a plan of these workbooks.
fn code(shop: &Shop, [stock, pumps]: [&str; 2]) -> String {
    let call = ["kit", stock, pumps, "--out", "old.xlsx", "--json", "old.json", "--force"];
    well(shop, &call);
    parse(&shop.read("old.json").unwrap()).unwrap().plan
}

/// Kits B and A were issued, A with one S10 in place of its S20 and a note; then A was put back.
fn issued_before() -> (Shop, OldShop) {
    let shop = begun();
    let mut old = OldShop::new();
    let plan = code(&shop, ["stock.csv", "pumps.csv"]);
    let (b, a) = ((plan.as_str(), "B"), (plan.as_str(), "A"));
    let mut lines = old.kit(b, ["S30", "G120"]);
    let bent = "S20 was bent";
    lines.push(old.line(a, "S20", [1, 0], (How::Partly, bent)));
    lines.push(old.line(a, "S10", [0, 1], (How::InsteadOf("S20".into()), bent)));
    lines.push(old.line(a, "G105", [1, 1], (How::AsPlanned, "")));
    lines.extend(short(a));
    old.log.append("2027-03-02", lines);
    let back = ["G105", "S10"].map(|item| old.line(a, item, [0, -1], (How::PutBack, "")));
    old.log.append("2027-03-03", back.into());
    old.save(&shop);
    old.write_stock(&shop, "s3.csv");
    (shop, old)
}

pub fn issued() -> Shop {
    issued_before().0
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
    // Counts are those of the log's last lines, as in the stock workbook that goes on as the stock.
    for lot in &all.stock {
        let log = lines(&shop.at("issue-log.xlsx"));
        if let Some(line) = log.iter().rev().find(|line| line[6] == lot.item) {
            assert_eq!(lot.on_hand.to_string(), line[11], "{}", lot.item);
        }
    }
    let said = outage(&shop, "s3.csv");
    assert!(said.contains("2 of 2 pumps can be kitted"), "{said}");
    let number = status(&shop).head.number;
    let said = take(&shop);
    assert!(said.contains("Nothing new in issue-log.xlsx."), "{said}");
    assert_eq!(status(&shop).head.number, number);
}

#[test]
fn a_log_that_grew_is_taken_over_further() {
    let (shop, mut old) = issued_before();
    outage(&shop, "stock.csv");
    take(&shop);
    // The shop goes on with the log for another day.
    let plan = old.log.entries()[0].movement.plan.clone();
    let c = (plan.as_str(), "C");
    let lines = old.kit(c, ["S10", "G90"]);
    old.log.append("2027-03-04", lines);
    let back = old.line(c, "S10", [0, -1], (How::PutBack, ""));
    old.log.append("2027-03-04", vec![back]);
    old.save(&shop);
    let said = take(&shop);
    assert!(said.contains(": bag C: 2 pieces.") && said.contains(": issue C."), "{said}");
    assert!(said.contains(": swap C: out 1 x S10; in none."), "{said}");
    assert!(said.contains("The bag of C is 1 piece short"), "{said}");
    let number = status(&shop).head.number;
    take(&shop);
    assert_eq!(status(&shop).head.number, number);
}

/// Lines of a later plan wait until that plan is made in the outage, from the same stock workbook.
#[test]
fn lines_of_another_plan_wait_for_it() {
    let (shop, mut old) = issued_before();
    let pumps = fs::read_to_string(shop.at("pumps.csv")).unwrap();
    let rest: Vec<&str> = pumps.lines().filter(|line| !line.starts_with("B,")).collect();
    shop.write("rest.csv", &rest.join("\n"));
    let plan = code(&shop, ["s3.csv", "rest.csv"]);
    let lines = old.kit((&plan, "C"), ["S10", "G90"]);
    old.log.append("2027-03-05", lines);
    old.save(&shop);
    outage(&shop, "stock.csv");
    let said = take(&shop);
    assert!(said.contains("Lines from 14 on are not taken over yet: plan "), "{said}");
    assert_eq!(state(&shop, "C"), PumpStateJson::Planned);
    outage(&shop, "s3.csv");
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
    let mut old = OldShop::new();
    let plan = code(&shop, ["stock.csv", "pumps.csv"]);
    let b = (plan.as_str(), "B");
    let picked = old.line(b, "S30", [1, 1], (How::AsPlanned, ""));
    let left = old.line(b, "G120", [1, 0], (How::Partly, ""));
    old.log.append("2027-03-02", vec![picked, left]);
    old.save(&shop);
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
