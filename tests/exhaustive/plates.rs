//! A plate that costs 40.00 and gives 35 gaskets, beside ready gaskets at 1.50: a plate is cut only where that wastes
//! least of all, with everything counted that does not go into the kit or back into the stock.

use gapwright::accounting::plate_waste;
use gapwright::cutting::Layout;
use gapwright::verify::verify;

use super::*;

const MM: i64 = 10_000_000;

/// One pump that wants one gasket of fit F, so many ready ones, and plates of these sides in mm with rings of 100 and
/// 60 mm.
fn gaskets(ready: u32, sides: [i64; 2], remnants: Remnants) -> Job {
    let mm = |n: i64| Length::from_ticks(n * MM);
    let model = Model {
        packs: vec![Pack {
            name: "gasket".into(),
            label: "Gasket".into(),
            kind: "gasket".into(),
            least_pieces: 1,
            most_pieces: 1,
        }],
        ..Model::new("m", Unit::Millimetre)
    };
    let size = Size::new(mm(1), Tolerance::default());
    let plate = PlateLot {
        item: "plate".into(),
        kind: "gasket".into(),
        material: None,
        size,
        sides: sides.map(mm),
        on_hand: 3,
        reserved: 0,
        plate_cost: Millionths::from_raw(40_000_000),
        bin: None,
        row: 0,
    };
    let cut = Cut { plate: 0, outside: mm(100), inside: mm(60) };
    let item = |name: &str, on_hand, cost| Item {
        unit_cost: Millionths::from_raw(cost),
        ..Item::of(name, "gasket".into(), Code::new("F"), size, on_hand)
    };
    let each = ring_value(&plate, cut);
    let blanks = 3 * plate.yields(cut.outside);
    let stock = vec![
        item("ready", ready, 1_500_000),
        Item { cut: Some(cut), ..item("plate > F", blanks, each) },
    ];
    let pump = Pump { fits: vec![Code::new("F")], ..Pump::new("P", 0, &model) };
    let policy = Policy { remnants, ..Policy::default() };
    let parts = Parts {
        stock,
        plates: vec![plate],
        models: vec![model],
        pumps: vec![pump],
        policy,
        ..Parts::default()
    };
    Job::new(parts).unwrap()
}

#[test]
fn ready_gaskets_go_before_a_plate_that_is_cut_into_35() {
    // 7 x 5 blanks without any remnant, and with remnants on two sides.
    for sides in [[700, 500], [790, 590]] {
        for remnants in [Remnants::Charged, Remnants::BookedBack] {
            let job = gaskets(5, sides, remnants);
            assert_eq!(job.plates[0].yields(job.stock[1].cut.unwrap().outside), 35);
            let plan = choose(&job, &Control::unlimited()).unwrap();
            assert!(plan.proven());
            // 1.50 and 0.50 for handling; nothing is cut.
            assert_eq!(plan.goal(Objective::Waste).unwrap().value, 2_000_000, "{sides:?}");
            assert_eq!(plan.goal(Objective::Plates).unwrap().value, 0);
            assert_eq!((plan.issued(&job), plan.layouts.len()), (vec![1, 0], 0));
            verify(job, plan).unwrap();
        }
    }
}

/// Without a ready one the plate is cut, and of its 40.00 all is waste but the rings. By hand: a ring of 100 and 60 mm
/// has 5026.548 mm2 of the plate's 350000, so 0.574463; 35 of them leave 19.893795.
#[test]
fn a_plate_that_is_cut_costs_all_that_no_ring_has() {
    let job = gaskets(0, [700, 500], Remnants::Charged);
    let plan = choose(&job, &Control::unlimited()).unwrap();
    let waste = plan.goal(Objective::Waste).unwrap().value;
    let close = |value: i64, by_hand: i64| (value - by_hand).abs() < 100;
    assert!(close(waste, 19_893_795 + 574_463 + 500_000), "{waste}");
    assert_eq!(plan.goal(Objective::Plates).unwrap().value, 1);
    assert_eq!(plan.put_back(&job), [0, 34]);
    verify(job, plan).unwrap();
    // Where remnants are booked back, no more is cut than a strip: 5 rings in 500 mm, 600 x 500 mm are a plate again.
    let job = gaskets(0, [700, 500], Remnants::BookedBack);
    let plan = choose(&job, &Control::unlimited()).unwrap();
    let waste = plan.goal(Objective::Waste).unwrap().value;
    // 5 squares of 10000 mm2, less 5 rings.
    assert!(close(waste, 40_000_000 / 7 - 5 * 574_463 + 574_463 + 500_000), "{waste}");
    assert_eq!(plan.put_back(&job), [0, 4]);
    verify(job, plan).unwrap();
}

/// A plan that hides the rest of its plate, or says fewer plates than it cuts, is refused.
#[test]
fn the_checker_counts_the_plates_again() {
    let job = gaskets(0, [790, 590], Remnants::Charged);
    let plan = choose(&job, &Control::unlimited()).unwrap();
    let layout: &Layout = &plan.layouts[0];
    let rest = plate_waste(&job, layout).raw();
    assert!(rest > 20_000_000);
    for (aim, less) in [(Objective::Waste, rest), (Objective::Plates, 1)] {
        let mut wrong = plan.clone();
        let goal = wrong.goals.iter_mut().find(|goal| goal.objective == aim).unwrap();
        goal.value -= less;
        goal.bound -= less;
        assert!(verify(job.clone(), wrong).is_err(), "{aim:?}");
    }
    let mut more = plan.clone();
    more.layouts.push(layout.clone());
    assert!(verify(job, more).is_err());
}
