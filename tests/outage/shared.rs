//! Plates that several bags are cut from, and packs that spoil once they are opened: booked once, for the first bag.

use std::collections::BTreeMap;
use std::fs;

use gapwright::formats::outage::{OutageJson, PumpStateJson};

use crate::commands::{book, on_hand, refused, state, status, well};
use crate::shop::{Shop, cells};

/// Four pumps alike: a shim of a pack of ten each, and a gasket of a plate that yields 5 x 3.
pub fn shop() -> Shop {
    let shop = Shop::new();
    fs::create_dir(shop.at("stock")).unwrap();
    shop.write(
        "stock/Stock.csv",
        "Item,Kind,Fit,Thickness (in),Tolerance (in),On hand,Reserved,Unit cost,Pack qty\n\
         S20,shim,F1,0.020,0.0002,14,1,2.00,10\n\
         S07,shim,F1,0.007,0.0002,3,3,2.00,\n",
    );
    shop.write(
        "stock/Plate.csv",
        "Item,Kind,Thickness (in),Tolerance (in),Length (in),Width (in),On hand,Unit cost\n\
         GS-105,gasket,0.105,0.0005,30,20,2,30\n",
    );
    shop.write("stock/Fit.csv", "Fit,Outside diameter (in),Inside diameter (in)\nF6,6,4\n");
    fs::create_dir(shop.at("pumps")).unwrap();
    shop.write("pumps/Policy.csv", "Setting,Value\nOpened packs spoiled,yes\n");
    pumps(&shop, &["A", "B", "C", "D"]);
    shop
}

fn pumps(shop: &Shop, tags: &[&str]) {
    let mut pumps =
        "Tag,Model,Bearing shims fit,Cover gasket fit,Bare clearance (in),Snap ring (in)\n"
            .to_string();
    for tag in tags {
        pumps.push_str(&format!("{tag},screwed-impeller,F1,F6,0.041,0.050\n"));
    }
    shop.write("pumps/Pumps.csv", &pumps);
}

fn kit(shop: &Shop) -> String {
    let call = ["kit", "stock", "pumps", "--outage", "w.outage", "--force", "--out", "plan.xlsx"];
    well(shop, &call)
}

/// Stock by the ledger: S20, the plates, their pieces.
fn counts(shop: &Shop) -> [i64; 3] {
    ["S20", "GS-105", "GS-105/F6"].map(|item| on_hand(shop, item))
}

fn open(status: &OutageJson) -> [Vec<(&str, u32)>; 2] {
    [&status.plates_to_cut, &status.packs_to_open]
        .map(|counts| counts.iter().map(|count| (&*count.item, count.count)).collect())
}

/// 13 shims may be issued: 3 loose ones and a pack of ten. The fourth kit opens the pack, and 9 are spoiled with the first
/// bag. The plate is cut for it too: 15 pieces, of which the bags take one each.
#[test]
fn plates_and_packs_are_booked_once_with_the_first_bag() {
    let shop = shop();
    kit(&shop);
    assert_eq!(counts(&shop), [14, 2, 0]);
    assert_eq!(open(&status(&shop)), [vec![("GS-105", 1)], vec![("S20", 9)]]);

    let said = book(&shop, &["bag", "C", "--by", "Kim", "--request", "r-1"]);
    assert!(said.contains("Entry 3: cut 1 plate of GS-105 into 15 of GS-105/F6."), "{said}");
    assert!(said.contains("Entry 4: opened a pack of S20: 9 pieces spoiled with it."), "{said}");
    assert!(said.contains("Entry 5: bag C: 2 pieces."), "{said}");
    assert_eq!(counts(&shop), [4, 1, 14]);
    assert_eq!(open(&status(&shop)), [vec![], vec![]]);
    // A second try books nothing again, and the next bag neither cuts nor opens.
    let said = book(&shop, &["bag", "C", "--by", "Kim", "--request", "r-1"]);
    assert!(said.contains("Entry 5 was booked before"), "{said}");
    let said = book(&shop, &["bag", "A", "B"]);
    assert!(said.contains("Entry 6: bag A") && said.contains("Entry 7: bag B"), "{said}");
    assert_eq!(counts(&shop), [2, 1, 12]);
    let said = well(&shop, &["status", "w.outage"]);
    assert!(said.contains("entry 3: cut 1 plate of GS-105"), "{said}");
    assert!(!said.contains("to be cut"), "{said}");

    // A piece that comes out of a bag is a piece, and its plate stays cut.
    book(&shop, &["put-back", "A"]);
    assert_eq!(counts(&shop), [3, 1, 13]);

    // Planned again, the bags stay closed and the pieces are taken before another plate is cut.
    let said = kit(&shop);
    assert!(said.contains("4 of 4 pumps can be kitted"), "{said}");
    assert!(said.contains("every slip still counts"), "{said}");
    assert_eq!(open(&status(&shop)), [vec![], vec![]]);
    book(&shop, &["bag", "A", "D"]);
    assert_eq!(counts(&shop), [1, 1, 11]);
    for tag in ["A", "B", "C", "D"] {
        assert_eq!(state(&shop, tag), PumpStateJson::Bagged);
        book(&shop, &["issue", tag]);
    }
    let said = kit(&shop);
    assert!(!said.contains("STOP"), "{said}");
    let said = well(&shop, &["verify", "w.outage"]);
    assert!(said.contains("Every entry holds"), "{said}");
}

/// The plate may be cut by a booking of its own, once; undone, it is whole again, unless a bag has its pieces.
#[test]
fn a_plate_is_cut_by_its_own_booking_and_undone() {
    let shop = shop();
    kit(&shop);
    let said = refused(&shop, &["cut", "S20"]);
    assert!(said.contains("a plate that is still to be cut: GS-105"), "{said}");
    book(&shop, &["cut", "gs-105"]);
    assert_eq!(counts(&shop), [14, 1, 15]);
    assert!(refused(&shop, &["cut", "GS-105"]).contains("no such plate is left"));
    book(&shop, &["undo", "3"]);
    assert_eq!(counts(&shop), [14, 2, 0]);
    let said = book(&shop, &["bag", "A"]);
    assert!(said.contains("Entry 5: cut 1 plate"), "{said}");
    assert!(refused(&shop, &["undo", "5"]).contains("15 of GS-105/F6 to be taken"));
    // The bag alone may be undone: the plate stays cut.
    book(&shop, &["undo", "7"]);
    assert_eq!(counts(&shop), [5, 1, 15]);
    book(&shop, &["bag", "A", "B"]);
    assert_eq!(counts(&shop), [3, 1, 13]);
}

/// Pieces and plates planned for late pumps follow what was cut and opened before.
#[test]
fn late_pumps_are_planned_on_what_was_cut_and_opened() {
    let shop = shop();
    kit(&shop);
    book(&shop, &["bag", "A", "B", "C", "D"]);
    let more: Vec<String> = (0..13).map(|at| format!("L{at:02}")).collect();
    let more: Vec<&str> = more.iter().map(String::as_str).collect();
    // One shim is left, and it is reserved: ten more come in, sealed.
    assert_eq!(counts(&shop), [1, 1, 11]);
    book(&shop, &["receive", "S20", "20"]);
    pumps(&shop, &[&["A", "B", "C", "D"], &more[..]].concat());
    let said = kit(&shop);
    assert!(said.contains("17 of 17 pumps can be kitted"), "{said}");
    // Thirteen shims of two packs of ten, and thirteen gaskets, of which eleven are cut.
    assert_eq!(open(&status(&shop)), [vec![("GS-105", 1)], vec![("S20", 7)]]);
    let (first, last) = more.split_at(11);
    let said = book(&shop, &[&["bag"], first].concat());
    assert!(said.contains("opened a pack of S20: 7 pieces") && !said.contains("cut"), "{said}");
    let said = book(&shop, &[&["bag"], last].concat());
    assert_eq!(said.matches(": cut 1 plate of GS-105").count(), 1, "{said}");
    assert_eq!(counts(&shop), [1, 0, 13]);
    // The plan and its stock after say the same as the ledger.
    kit(&shop);
    let after = cells(&shop.at("plan.xlsx"), "Stock after");
    let rows: BTreeMap<&str, u32> = after.iter().map(|((row, _), text)| (&**text, *row)).collect();
    let headed = |name: &str| after.iter().find(|(_, cell)| *cell == name).unwrap().0.1;
    let row = rows["GS-105/F6"];
    let of = |name: &str| after.get(&(row, headed(name))).map_or("", String::as_str);
    assert_eq!([of("Kind"), of("Fit"), of("On hand")], ["gasket", "F6", "13"]);
    assert_eq!([of("Tolerance (in)"), of("Unit cost")], ["0.0005 in", "0.785397"]);
}

/// The shop may give the pieces a row of their own; with another count it is asked which holds.
#[test]
fn pieces_of_plates_may_get_a_row() {
    let shop = shop();
    kit(&shop);
    book(&shop, &["bag", "A"]);
    let row = |count: u32| {
        format!(
            "Item,Kind,Fit,Thickness (in),Tolerance (in),On hand,Reserved,Unit cost,Pack qty\n\
             S20,shim,F1,0.020,0.0002,4,1,2.00,10\n\
             S07,shim,F1,0.007,0.0002,3,3,2.00,\n\
             GS-105/F6,gasket,F6,0.105,0.0005,{count},0,0.785397,\n"
        )
    };
    shop.write("stock/Stock.csv", &row(13));
    let call = ["kit", "stock", "pumps", "--outage", "w.outage", "--force", "--out", "plan.xlsx"];
    let (code, said) = crate::commands::run(&shop, &call);
    assert_eq!(code, 2, "{said}");
    assert!(
        said.contains("13 of GS-105/F6 on hand") && said.contains("14 as the ledger"),
        "{said}"
    );
    shop.write("stock/Stock.csv", &row(14));
    let said = kit(&shop);
    assert!(said.contains("every slip still counts"), "{said}");
}
