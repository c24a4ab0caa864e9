//! Reserved pieces belong to others: no swap takes them, however well they would fit.

use gapwright::job::{Job, Parts};
use gapwright::plan::PackPick;
use gapwright::recheck::{Bench, Decision, Left, Searched, recheck};
use gapwright::verify::verify_recheck;

use crate::command::{decision as decided, fill, recheck as run, record};
use crate::shop::Shop;
use crate::support::{length, lot};
use crate::{pick, shimmed, twice};

/// The pump of [`shimmed`] with shims of 0.020 in, whose clearance is found 0.0055 in narrower than predicted, twice
/// alike: 0.005 in less of shims fixes it to half a thou. By hand: 0.0155 + 0.020 - 0.015 = 0.0205.
fn found(stock: &[(&str, u32, u32)], more: impl Fn(&mut Parts)) -> (Job, Decision, Left) {
    let sizes: Vec<(&str, u32)> = stock.iter().map(|(size, count, _)| (*size, *count)).collect();
    let changed = shimmed(&sizes).with(|job| {
        for (item, (_, _, reserved)) in job.stock.iter_mut().zip(stock) {
            item.reserved = *reserved;
        }
        more(job);
    });
    let job = changed.unwrap();
    let fitted = vec![PackPick { picks: vec![pick(0, 1)] }];
    let mut bench = Bench::unread(&job, &job.pumps[0], Some(fitted));
    bench.requirements[0] = twice("0.0155 in", "0.0155 in", "0.0005 in");
    let before = Left::all(&job);
    let mut left = before.clone();
    let records = recheck(&job, &[bench], &mut left);
    let verified = verify_recheck(job.clone(), records, &before).expect("the records hold");
    (job, verified.records()[0].decision.clone(), left)
}

/// The items that go in, with their counts.
fn put_in(job: &Job, decision: &Decision) -> Vec<(String, u32)> {
    let Decision::Swap(swap) = decision else {
        panic!("no swap: {decision:?}");
    };
    let into = swap.moves.iter().flat_map(|[_, into]| into);
    into.map(|pick| (job.stock[pick.item].item.clone(), pick.count)).collect()
}

#[test]
fn a_reserved_piece_that_would_do_best_stays_in_its_drawer() {
    let one = |size: &str| vec![(size.to_string(), 1)];
    // A free piece is taken: one out, the other in.
    let (job, decision, left) =
        found(&[("0.020 in", 1, 0), ("0.015 in", 1, 0), ("0.0075 in", 4, 0)], |_| {});
    assert_eq!(put_in(&job, &decision), one("0.015 in"));
    assert_eq!(left.pieces, [1, 0, 4]);
    // With it reserved, two thin ones are used instead, though that moves more pieces.
    let (job, decision, left) =
        found(&[("0.020 in", 1, 0), ("0.015 in", 1, 1), ("0.0075 in", 4, 0)], |_| {});
    assert_eq!(put_in(&job, &decision), [("0.0075 in".to_string(), 2)]);
    assert_eq!(left.pieces, [1, 0, 2]);
    // Of the thin ones all but one are reserved as well: no spare piece fixes it.
    let (_, decision, left) =
        found(&[("0.020 in", 1, 0), ("0.015 in", 1, 1), ("0.0075 in", 4, 3)], |_| {});
    assert!(matches!(decision, Decision::NoSwap(Searched { all: true, .. })), "{decision:?}");
    assert_eq!(left.pieces, [1, 0, 1]);
    // One of two is reserved: the other can be taken, once.
    let (job, decision, left) = found(&[("0.020 in", 1, 0), ("0.015 in", 2, 1)], |_| {});
    assert_eq!(put_in(&job, &decision), one("0.015 in"));
    assert_eq!(left.pieces, [1, 0]);
}

/// Likewise of sheets that pieces are cut from.
#[test]
fn a_reserved_sheet_is_not_cut_up_for_a_swap() {
    let cut_from = |reserved: u32| {
        found(&[("0.020 in", 1, 0), ("0.015 in", 0, 0)], |job| {
            let size = lot("shim", "0.015 in", length("0.015 in"), 0).size.unwrap();
            job.plates.push(gapwright::cutting::PlateLot {
                item: "SHEET".into(),
                kind: "shim".into(),
                material: None,
                size,
                sides: [length("9 in"), length("9 in")],
                on_hand: 1,
                reserved,
                plate_cost: gapwright::decimal::Money::ZERO,
                bin: None,
                row: 0,
            });
            let (outside, inside) = (length("4 in"), length("3 in"));
            job.stock[1].cut = Some(gapwright::stock::Cut { plate: 0, outside, inside });
            job.stock[1].on_hand = job.plates[0].available() * job.plates[0].yields(outside);
        })
    };
    let (job, decision, left) = cut_from(0);
    assert_eq!(put_in(&job, &decision), [("0.015 in".to_string(), 1)]);
    assert_eq!(left.plates, [0]);
    let (_, decision, left) = cut_from(1);
    assert!(matches!(decision, Decision::NoSwap(Searched { all: true, .. })), "{decision:?}");
    assert_eq!(left.plates, [0]);
}

/// The command on the tiny sample: A is found 0.010 in wide, twice alike. The one of 0.010 that C leaves fixes it,
/// with the next gasket; reserved, it is not offered, and no swap is found.
#[test]
fn the_command_offers_nothing_that_the_stock_reserves() {
    for (reserved, expected) in [(0, "swap"), (1, "no_swap")] {
        let shop = Shop::tiny();
        let stock = String::from_utf8(shop.read("stock.csv").unwrap()).unwrap();
        let stock = stock.replace("0.120,0.0005,1", "0.120,0.0005,2");
        let rows = stock.lines().map(|row| {
            let own = match row.split(',').next() {
                Some("Item") => "Reserved".to_string(),
                Some("S10") => reserved.to_string(),
                _ => "0".to_string(),
            };
            format!("{row},{own}\n")
        });
        shop.write("stock.csv", &rows.collect::<String>());
        shop.kit("stock.csv", "pumps.csv");
        let found = ("requirement", "A", "running_clearance", "0.0310", "0.0311");
        fill(&shop, &[("pack", "A", "bearing_shims", "0.0200", ""), found]);
        run(&shop, &[]).well();
        assert_eq!(decided(&record(&shop), "A"), expected, "{reserved} reserved");
    }
}
