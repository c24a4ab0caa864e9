//! Limit and interrupt for purchases, for provisions and for drawers.

use gapwright::choose::control::{Control, Looks};
use gapwright::choose::purchase::purchase;
use gapwright::decimal::Money;
use gapwright::forecast::{Expected, ExpectedLaw, Forecast};
use gapwright::length::{Length, Unit};
use gapwright::plan::Stop;
use gapwright::provision::{ProvisionError, ProvisionOptions, provision};
use gapwright::purchase::Market;
use gapwright::size_range::{self, Rule, StockedSize, Targets, WindowGuard, select};
use gapwright::verify::{verify_provision, verify_purchase};

use super::{MOST_BETWEEN, alone, generate, sample, spread};

fn thou(n: i64) -> Length {
    Length::from_ticks(n * Unit::Thou.ticks())
}

#[test]
fn a_purchase_that_is_ended_is_sound() {
    let job = sample("purchase", "stock.csv", "pumps.csv");
    let day = 46_000;
    for budget in [None, Money::parse("40")] {
        let market = Market::of(&job, day, budget, |_| false).unwrap();
        let run = |looks: &Looks| {
            let control = Control::unlimited().counted(looks);
            let found = alone(|| purchase(&job, &market, &control).unwrap());
            verify_purchase(&job, &market, found).unwrap();
        };
        let count = Looks::only_count();
        run(&count);
        assert!(count.most_between() <= MOST_BETWEEN, "{}", count.most_between());
        for number in spread(count.count()) {
            let looks = Looks::stop_at(number);
            run(&looks);
            let further = looks.count().saturating_sub(number);
            assert!(further <= 60 + 12 * job.pumps.len() as u64, "look {number}: {further}");
        }
    }
}

#[test]
fn what_is_set_aside_holds_whenever_it_is_ended() {
    let job = generate::fleet(7, 5, 8, 5, 20, 3);
    let expected = job.pumps.iter().map(|pump| {
        let mut of_pump = vec![None; pump.dimensions.len()];
        let middle = pump.dimensions[0].value;
        of_pump[0] = Some(Expected {
            low: middle - thou(2),
            high: middle + thou(2),
            law: ExpectedLaw::Even,
        });
        of_pump
    });
    let outlook = Forecast::new(job.clone(), expected.collect()).unwrap();
    let question = ProvisionOptions { scenarios: 40, checks: 60, ..ProvisionOptions::new(thou(1)) };
    let run = |looks: &Looks| {
        let control = Control::unlimited().counted(looks);
        alone(|| provision(&outlook, &question, &control))
    };
    let count = Looks::only_count();
    let whole = run(&count).unwrap();
    assert!(whole.stopped.is_none());
    assert!(count.most_between() <= MOST_BETWEEN, "{}", count.most_between());
    println!("{} looks, {} between", count.count(), count.most_between());
    let mut ended = 0;
    for number in spread(count.count()).into_iter().step_by(3) {
        let looks = Looks::stop_at(number);
        match run(&looks) {
            Ok(found) => {
                ended += usize::from(found.stopped.is_some());
                verify_provision(outlook.clone(), found.clone()).unwrap();
                assert!(found.trolley.bound <= whole.trolley.cost || !found.trolley.enough());
            }
            Err(fault) => assert_eq!(fault, ProvisionError::Stopped(Stop::TimeLimit)),
        }
        assert!(looks.work_after() <= 60_000_000, "look {number}: {}", looks.work_after());
    }
    assert!(ended > 0);
}

#[test]
fn sizes_that_are_chosen_in_haste_still_reach_everything() {
    let catalogue: Vec<StockedSize> = (1..=40).map(|n| StockedSize::of(thou(n))).collect();
    let targets = Targets::new(thou(1), thou(120), thou(1)).unwrap();
    let rule = Rule { pieces: 4, window: Length::ZERO, guard: WindowGuard::None };
    let run = |looks: &Looks| {
        let control = Control::unlimited().counted(looks);
        select(&catalogue, &targets, &rule, size_range::Selection::Fewest, 2_000, &control)
    };
    let count = Looks::only_count();
    run(&count).unwrap();
    assert!(count.most_between() <= MOST_BETWEEN, "{}", count.most_between());
    for number in spread(count.count()) {
        match run(&Looks::stop_at(number)) {
            Ok(choice) => assert!(choice.reach.missed().is_empty(), "look {number}"),
            Err(fault) => assert_eq!(fault, size_range::SizeRangeError::Stopped(Stop::TimeLimit)),
        }
    }
}
