//! Sizes chosen out of a catalogue.

use std::sync::atomic::AtomicBool;

use gapwright::choose::control::Control;
use gapwright::decimal::Money;
use gapwright::length::{Length, Unit};
use gapwright::plan::Stop;
use gapwright::size_range::{
    Choice, Reach, Rule, Selection, SizeRangeError, StockedSize, Targets, WindowGuard, select,
};

use super::{all_thou, dice, every_thou, exact, pick, thou};

fn chosen(
    catalogue: &[StockedSize],
    targets: &Targets,
    rule: &Rule,
    aim: Selection,
    effort: u64,
) -> Choice {
    let choice = select(catalogue, targets, rule, aim, effort, &Control::unlimited()).unwrap();
    // With any status, the set reaches the range of the catalogue, and its figures are its own.
    let sizes: Vec<StockedSize> = choice.sizes.iter().map(|&n| catalogue[n]).collect();
    assert_eq!(choice.reach, Reach::of(&sizes, targets, rule).unwrap());
    let whole = Reach::of(catalogue, targets, rule).unwrap();
    assert_eq!(choice.reach.missed(), whole.missed());
    assert_eq!(choice.cost, sizes.iter().map(|size| size.cost).sum());
    assert!(choice.least_sizes <= choice.sizes.len());
    assert!(choice.least_cost <= choice.cost);
    choice
}

/// The postage stamp problem: the longest run from 1 that a number of denominations and stamps makes. So a run of
/// that length takes this number of sizes, and one longer takes one more.
///
/// Sources: OEIS A001208 [read]: three denominations and 1, 2, 3 ... stamps; OEIS A001212 [read, as a table in a
/// public program]: two stamps and 1, 2, 3 ... denominations; OEIS A001213 [memory]: three stamps.
#[test]
fn published_postage_stamps() {
    let three_denominations = [3, 8, 15, 26, 35, 52];
    for (stamps, length) in (1..).zip(three_denominations) {
        for (length, sizes) in [(length, 3), (length + 1, 4)] {
            let choice = chosen(
                &every_thou(length),
                &all_thou(length),
                &exact(stamps),
                Selection::Fewest,
                20_000,
            );
            assert!(choice.proven, "{stamps} stamps, 1 to {length}: {}", choice.nodes);
            assert_eq!((choice.sizes.len(), choice.least_sizes), (sizes, sizes));
            println!("{stamps} stamps, 1 to {length}: {} nodes", choice.nodes);
        }
    }
    for (stamps, lengths) in [(2, &[2, 4, 8, 12, 16, 20, 26, 32][..]), (3, &[3, 7, 15, 24, 36, 52])]
    {
        for (denominations, &length) in (1..).zip(lengths) {
            for (length, sizes) in [(length, denominations), (length + 1, denominations + 1)] {
                let choice = chosen(
                    &every_thou(length),
                    &all_thou(length),
                    &exact(stamps),
                    Selection::Fewest,
                    20_000,
                );
                println!("{stamps} stamps, 1 to {length}: {} nodes", choice.nodes);
                assert!(choice.proven, "{stamps} stamps, 1 to {length}");
                assert_eq!((choice.sizes.len(), choice.least_sizes), (sizes, sizes));
            }
        }
    }
}

/// All sets of catalogues of up to nine sizes.
#[test]
fn every_set_there_is_agrees() {
    let mut dice = dice(3);
    let (mut windows, mut guarded, mut missing, mut counted, mut bettered, mut differ) =
        (0, 0, 0, 0, 0, 0);
    let mut by_sizes = [0; 10];
    for case in 0..500 {
        // Half the catalogues have every thickness, so that there are many to choose between.
        let full = case % 2 == 0;
        let rule = Rule {
            pieces: pick(&mut dice, if full { 2 } else { 1 }, 3) as u32,
            window: Length::from_ticks(pick(&mut dice, 0, if full { 1 } else { 3 })),
            guard: [WindowGuard::None, WindowGuard::WorstCase, WindowGuard::RootSumSquare]
                [pick(&mut dice, 0, 2) as usize],
        };
        let grain = pick(&mut dice, 1, 2);
        let catalogue: Vec<StockedSize> = (0..pick(&mut dice, if full { 7 } else { 1 }, 9))
            .map(|index| StockedSize {
                thickness: Length::from_ticks(if full {
                    index + 1
                } else {
                    grain * pick(&mut dice, 1, 16)
                }),
                tolerance: Length::from_ticks(pick(&mut dice, 0, 1)),
                count: (pick(&mut dice, 0, 5) == 0).then(|| pick(&mut dice, 0, 2) as u32),
                cost: Money::from_raw(
                    [0, 1, 2, 3, 50, 80][pick(&mut dice, 0, 5) as usize] * 1_000_000,
                ),
            })
            .collect();
        let ticks = Length::from_ticks;
        let first = pick(&mut dice, 0, 4);
        let step = pick(&mut dice, 1, 2);
        let last = first + step * pick(&mut dice, 3, if full { 9 } else { 20 });
        let targets = Targets::new(ticks(first), ticks(last), ticks(step)).unwrap();
        let need = Reach::of(&catalogue, &targets, &rule).unwrap().missed();
        // The count and the cost of every set that reaches as much.
        let sets: Vec<(usize, Money)> = (0..1_usize << catalogue.len())
            .filter_map(|set| {
                let sizes: Vec<StockedSize> = (0..catalogue.len())
                    .filter(|n| set & 1 << n != 0)
                    .map(|n| catalogue[n])
                    .collect();
                let reach = Reach::of(&sizes, &targets, &rule).unwrap();
                let cost = sizes.iter().map(|size| size.cost).sum();
                (reach.missed() == need).then_some((sizes.len(), cost))
            })
            .collect();
        let fewest = *sets.iter().min().unwrap();
        let (cost, count) = sets.iter().map(|&(count, cost)| (cost, count)).min().unwrap();
        let by_count = chosen(&catalogue, &targets, &rule, Selection::Fewest, 10_000);
        assert!(by_count.proven);
        assert_eq!((by_count.sizes.len(), by_count.cost), fewest);
        assert_eq!(by_count.least_sizes, fewest.0);
        let by_cost = chosen(&catalogue, &targets, &rule, Selection::LeastCost, 10_000);
        assert!(by_cost.proven);
        assert_eq!((by_cost.cost, by_cost.sizes.len()), (cost, count));
        assert_eq!(by_cost.least_cost, cost);
        // Stopped at once or after a few parts, the bounds still hold and no claim is false.
        for (aim, effort) in
            [(Selection::Fewest, 0), (Selection::LeastCost, 0), (Selection::LeastCost, 2)]
        {
            let early = chosen(&catalogue, &targets, &rule, aim, effort);
            assert!(early.nodes <= effort);
            assert!(early.least_sizes <= fewest.0 && early.least_cost <= early.cost);
            match aim {
                Selection::Fewest => {
                    let found = (early.sizes.len(), early.cost);
                    assert!(!early.proven || found == fewest);
                    bettered += u32::from(found != fewest);
                }
                Selection::LeastCost => {
                    assert!(early.least_cost <= cost);
                    assert!(!early.proven || early.cost == cost);
                    bettered += u32::from(early.cost != cost);
                }
            }
        }
        windows += u32::from(rule.window > Length::ZERO);
        guarded += u32::from(rule.guard != WindowGuard::None && rule.window > Length::ZERO);
        missing += u32::from(!need.is_empty());
        counted += u32::from(catalogue.iter().any(|size| size.count.is_some()));
        differ += u32::from(by_cost.sizes.len() > fewest.0);
        by_sizes[fewest.0] += 1;
    }
    println!("{windows} {guarded} {missing} {counted} {bettered} {differ} {by_sizes:?}");
    assert!(windows > 200 && guarded > 100 && missing > 200 && counted > 100 && differ > 30);
    assert!(bettered > 5 && by_sizes[1..5].iter().all(|&seen| seen > 20), "{by_sizes:?}");
}

/// A trade's range, 1 to 125 thou with three pieces, out of 60 sizes: thirteen are sold (see `packs`);
/// ten suffice and nine do not if any thickness can be had (A001213 [memory]: nine reach 121, ten 154).
#[test]
fn a_large_catalogue_gives_a_good_set_and_an_honest_bound() {
    let sold = [1, 2, 3, 4, 5, 10, 15, 20, 25, 50, 75, 100, 120];
    let sizes = (1..=25).chain((26..=128).step_by(3)).take(60);
    let mut catalogue: Vec<StockedSize> = sizes.map(|n| StockedSize::of(thou(n))).collect();
    catalogue.extend([50, 75, 100, 120].map(|n| StockedSize::of(thou(n))));
    let choice = chosen(&catalogue, &all_thou(125), &exact(3), Selection::Fewest, 300);
    println!("{} of {}, at least {}", choice.sizes.len(), catalogue.len(), choice.least_sizes);
    assert!(choice.reach.missed().is_empty() && choice.sizes.len() <= sold.len());
    // C(10, 3) - 1 = 119 packs of seven sizes are too few.
    assert!((8..=10).contains(&choice.least_sizes));
    assert!(!choice.proven && choice.nodes == 300 && choice.stop.is_none());
    // Equal questions give equal answers.
    let again = chosen(&catalogue, &all_thou(125), &exact(3), Selection::Fewest, 300);
    assert_eq!(again, choice);
}

/// Of the thirteen that are sold one can be left out: 0.120 in is 0.100 and 0.020. No other set of twelve or fewer
/// suffices (every set of them in turn [computed], below).
#[test]
fn twelve_of_the_thirteen_thicknesses_do_as_much() {
    let sold = [1, 2, 3, 4, 5, 10, 15, 20, 25, 50, 75, 100, 120].map(|n| StockedSize::of(thou(n)));
    let choice = chosen(&sold, &all_thou(125), &exact(3), Selection::Fewest, 1000);
    assert!(choice.proven);
    assert_eq!(choice.sizes, (0..12).collect::<Vec<_>>());
    // A total that a set misses, its subsets miss too, so this leaves no other.
    for out in 0..13 {
        let mut rest = sold.to_vec();
        rest.remove(out);
        let reach = Reach::of(&rest, &all_thou(125), &exact(3)).unwrap();
        assert_eq!(reach.missed().is_empty(), out == 12, "without {out}");
    }
    for out in 0..12 {
        let mut rest = sold[..12].to_vec();
        rest.remove(out);
        let reach = Reach::of(&rest, &all_thou(125), &exact(3)).unwrap();
        assert!(!reach.missed().is_empty(), "without {out} and 0.120");
    }
}

/// With six pieces there are too many packs to list: the set is found all the same, and bounded by the number of
/// packs that the sizes make.
#[test]
fn packs_too_many_to_list_are_bounded_by_their_number() {
    let catalogue: Vec<StockedSize> = (1..=60)
        .map(|n| StockedSize {
            cost: Money::from_raw(1_000_000 + 10_000 * n),
            ..StockedSize::of(thou(n))
        })
        .collect();
    for aim in [Selection::Fewest, Selection::LeastCost] {
        let choice = chosen(&catalogue, &all_thou(125), &exact(6), aim, 1000);
        println!("{aim:?} {:?}", choice.sizes);
        assert_eq!((choice.nodes, choice.proven), (0, false));
        // C(9, 6) - 1 = 83 packs of three sizes are too few for 125, C(10, 6) - 1 = 209 are not.
        assert_eq!(choice.least_sizes, 4);
        // The four cheapest.
        assert_eq!(choice.least_cost, Money::parse("4.1").unwrap());
        assert!(choice.reach.missed().is_empty() && choice.sizes.len() <= 8);
    }
}

#[test]
fn an_interrupt_is_heard_and_what_is_found_still_holds() {
    let flag = AtomicBool::new(true);
    let control = Control::unlimited().interrupted_by(&flag);
    let (catalogue, targets) = (every_thou(40), all_thou(40));
    let choice =
        select(&catalogue, &targets, &exact(3), Selection::Fewest, 10_000, &control).unwrap();
    assert_eq!(choice.stop, Some(Stop::Interrupt));
    assert!(!choice.proven && choice.reach.missed().is_empty());
    assert!(choice.least_sizes <= 6);
}

#[test]
fn nothing_to_reach_takes_no_size() {
    let none = chosen(&[], &all_thou(5), &exact(2), Selection::Fewest, 10);
    assert!(none.sizes.is_empty() && none.proven);
    assert_eq!(none.reach.missed().len(), 5);
    // An empty window is met by an empty set.
    let near = Rule { window: thou(2), ..exact(2) };
    let two = all_thou(2);
    let bare = chosen(&every_thou(4), &two, &near, Selection::LeastCost, 10);
    assert!(bare.sizes.is_empty() && bare.reach.missed().is_empty() && bare.proven);
}

#[test]
fn what_makes_no_sense_is_refused() {
    let many: Vec<StockedSize> = every_thou(129);
    let control = Control::unlimited();
    let refused = select(&many, &all_thou(5), &exact(2), Selection::Fewest, 1, &control);
    assert_eq!(refused, Err(SizeRangeError::TooManySizes(129)));
    let full =
        select(&many[..128], &all_thou(128), &exact(1), Selection::Fewest, 1, &control).unwrap();
    assert!(full.proven && full.sizes.len() == 128);
    let dear = [StockedSize {
        cost: Money::from_raw(-1),
        ..StockedSize::of(Length::from_ticks(Unit::Thou.ticks()))
    }];
    let refused = select(&dear, &all_thou(5), &exact(2), Selection::Fewest, 1, &control);
    assert_eq!(refused, Err(SizeRangeError::Size(0)));
}
