//! Totals that a set of sizes reaches.

use gapwright::length::Length;
use gapwright::size_range::{
    MOST_PIECES, Reach, Rule, SizeRangeError, StockedSize, Targets, WindowGuard, with, without,
};

use super::{all_thou, dice, every_pack, exact, hundredths, pick, taken, thou};

/// Precut stainless alignment shims: thirteen thicknesses as they are sold, .120 or .125 last [read: a trade article, "Shim
/// Alignment", and sellers' lists; no standard lists them].
/// Every thickness from 1 to 125 thou takes at most three pieces [computed].
#[test]
fn the_thirteen_thicknesses_reach_every_thou_to_125_with_three_pieces() {
    for last in [120, 125] {
        let sizes = [1, 2, 3, 4, 5, 10, 15, 20, 25, 50, 75, 100, last];
        let kit = sizes.map(|n| StockedSize::of(thou(n)));
        let reach = Reach::of(&kit, &all_thou(125), &exact(3)).unwrap();
        assert!(reach.missed().is_empty());
        assert_eq!(reach.share(3).to_bits(), 1.0_f64.to_bits());
        // With one piece the sizes themselves, with two their sums of two.
        assert_eq!(reach.met_with(1), 13);
        let twos =
            |n: &i64| sizes.contains(n) || sizes.iter().any(|a| sizes.iter().any(|b| a + b == *n));
        assert_eq!(reach.met_with(2), (1..=125).filter(twos).count());
        assert!(reach.met_with(2) < 125);
        // Three are needed: the smallest total that two do not make.
        let two = Reach::of(&kit, &all_thou(125), &exact(2)).unwrap();
        let first = (1..=125).find(|n| !twos(n)).unwrap();
        assert_eq!(two.missed()[0], thou(first));
    }
}

/// Seven sizes of an outboard's gear shims, in 0.01 mm (Yamaha F150B service manual, p. 8-44 [read]);
/// the unreachable ones [computed].
#[test]
fn the_seven_metric_sizes_miss_exactly_what_is_published() {
    let sizes = [10, 12, 15, 18, 30, 40, 50].map(|n| StockedSize::of(hundredths(n)));
    let targets = Targets::new(hundredths(1), hundredths(130), hundredths(1)).unwrap();
    let reach = Reach::of(&sizes, &targets, &exact(13)).unwrap();
    let missed = [1, 2, 3, 4, 5, 6, 7, 8, 9, 11, 13, 14, 16, 17, 19, 21, 23, 26, 29, 31, 41];
    assert_eq!(reach.missed(), missed.map(hundredths));
    // 0.42 is 0.30 and 0.12: two pieces [computed].
    assert_eq!(reach.met()[41].unwrap().pieces, 2);
    // One of each makes 77 sums, besides the empty pack; 0.53 is not one [computed].
    let single = sizes.map(|size| StockedSize { count: Some(1), ..size });
    let targets = Targets::new(hundredths(1), hundredths(175), hundredths(1)).unwrap();
    let once = Reach::of(&single, &targets, &exact(7)).unwrap();
    let sums: std::collections::BTreeSet<i64> = (1..1 << 7)
        .map(|set| {
            let thick = [10, 12, 15, 18, 30, 40, 50];
            (0..7).filter(|n| set & 1 << n != 0).map(|n| thick[n]).sum()
        })
        .collect();
    assert_eq!(sums.len(), 77);
    assert_eq!(once.met_with(7), 77);
    assert!(!sums.contains(&53) && once.met()[52].is_none());
}

/// Hundreds of small cases against every pack: the fewest pieces, and with them the most room.
#[test]
fn every_pack_there_is_agrees() {
    let mut dice = dice(1);
    let (mut counted, mut guarded, mut off, mut missed, mut unguarded_only) = (0, 0, 0, 0, 0);
    let mut by_pieces = [0; 5];
    for _ in 0..700 {
        let rule = Rule {
            pieces: pick(&mut dice, 1, 4) as u32,
            window: Length::from_ticks(pick(&mut dice, 0, 8)),
            guard: [WindowGuard::None, WindowGuard::WorstCase, WindowGuard::RootSumSquare]
                [pick(&mut dice, 0, 2) as usize],
        };
        let grain = pick(&mut dice, 1, 4);
        let sizes: Vec<StockedSize> = (0..pick(&mut dice, 0, 4))
            .map(|_| StockedSize {
                tolerance: Length::from_ticks(pick(&mut dice, 0, 3)),
                count: (pick(&mut dice, 0, 2) == 0).then(|| pick(&mut dice, 0, 3) as u32),
                ..StockedSize::of(Length::from_ticks(grain * pick(&mut dice, 1, 9)))
            })
            .collect();
        let (first, step) = (pick(&mut dice, 0, 6), pick(&mut dice, 1, 4));
        let ticks = Length::from_ticks;
        let last = first + step * pick(&mut dice, 0, 20);
        let targets = Targets::new(ticks(first), ticks(last), ticks(step)).unwrap();
        let reach = Reach::of(&sizes, &targets, &rule).unwrap();
        let packs = every_pack(&sizes, rule.pieces);
        for (target, met) in targets.iter().zip(reach.met()) {
            // Pieces, then room taken, of every pack that meets it.
            let meets = packs.iter().filter_map(|pack| {
                let each = sizes.iter().zip(pack);
                let total: Length = each.map(|(size, &n)| size.thickness * n).sum();
                let error = (total - target).ticks();
                let lost = error.abs() + taken(&sizes, pack, rule.guard);
                unguarded_only +=
                    u32::from(error.abs() <= rule.window.ticks() && lost > rule.window.ticks());
                let pieces: u32 = pack.iter().sum();
                (lost <= rule.window.ticks()).then_some((pieces, lost))
            });
            let best = meets.min();
            let found = met.map(|met| (met.pieces, met.error.abs().ticks() + met.guard.ticks()));
            assert_eq!(found, best, "{sizes:?} {rule:?} {target:?}");
            match met {
                None => missed += 1,
                Some(met) => {
                    by_pieces[met.pieces as usize] += 1;
                    off += u32::from(met.error != Length::ZERO);
                    guarded += u32::from(met.guard > Length::ZERO);
                }
            }
        }
        assert_eq!(reach.missed().len() + reach.met_with(4), targets.len());
        counted += u32::from(sizes.iter().any(|size| size.count.is_some()));
    }
    println!("{counted} {guarded} {off} {missed} {unguarded_only} {by_pieces:?}");
    assert!(counted > 200 && guarded > 300 && off > 500 && missed > 1000 && unguarded_only > 1000);
    assert!(by_pieces.iter().all(|&seen| seen > 30), "{by_pieces:?}");
}

#[test]
fn a_size_dropped_or_added_changes_what_it_must() {
    let mut dice = dice(2);
    let (mut lost, mut gained, mut dearer, mut narrower) = (0, 0, 0, 0);
    for _ in 0..200 {
        let sizes: Vec<StockedSize> = (0..4)
            .map(|_| StockedSize {
                tolerance: Length::from_ticks(pick(&mut dice, 0, 2)),
                ..StockedSize::of(Length::from_ticks(pick(&mut dice, 1, 14)))
            })
            .collect();
        let targets =
            Targets::new(Length::from_ticks(1), Length::from_ticks(40), Length::from_ticks(1))
                .unwrap();
        let rule = Rule { pieces: 3, window: Length::from_ticks(4), guard: WindowGuard::WorstCase };
        let index = pick(&mut dice, 0, 3) as usize;
        let mut rest = sizes.clone();
        let size = rest.remove(index);
        let (many, few) = (
            Reach::of(&sizes, &targets, &rule).unwrap(),
            Reach::of(&rest, &targets, &rule).unwrap(),
        );
        let drop = without(&sizes, index, &targets, &rule).unwrap();
        let add = with(&rest, size, &targets, &rule).unwrap();
        assert_eq!((&drop.after, &add.after), (&few, &many));
        // Totals lost by dropping are gained by adding, and the reverse.
        assert_eq!((&drop.lost, &drop.gained), (&add.gained, &add.lost));
        assert!(drop.gained.is_empty());
        assert_eq!((drop.before_sums, drop.after_sums), (add.after_sums, add.before_sums));
        let both: Vec<_> =
            many.met().iter().zip(few.met()).filter_map(|(many, few)| many.zip(*few)).collect();
        assert_eq!(drop.both, both.len());
        let pieces: u64 = both.iter().map(|(many, _)| u64::from(many.pieces)).sum();
        let guard: Length = both.iter().map(|(_, few)| few.guard).sum();
        assert_eq!(drop.before_sums.pieces, pieces);
        assert_eq!(drop.after_sums.guard, guard);
        assert_eq!(drop.lost.len(), few.missed().len() - many.missed().len());
        lost += drop.lost.len();
        gained += add.gained.len();
        dearer += u32::from(drop.after_sums.pieces > drop.before_sums.pieces);
        narrower += u32::from(drop.after_sums.guard != drop.before_sums.guard);
    }
    assert!(
        lost > 300 && gained == lost && dearer > 30 && narrower > 50,
        "{lost} {dearer} {narrower}"
    );
}

#[test]
fn means_and_shares_are_those_of_the_targets_met() {
    let sizes = [StockedSize { tolerance: Length::from_ticks(3), ..StockedSize::of(thou(4)) }];
    let rule = Rule { pieces: 2, window: Length::from_ticks(6), guard: WindowGuard::WorstCase };
    let reach = Reach::of(&sizes, &all_thou(10), &rule).unwrap();
    // 4 with one piece, 8 with two; two pieces take all 6 ticks of the window.
    assert_eq!((reach.met_with(1), reach.met_with(2)), (1, 2));
    assert!((reach.share(2) - 0.2).abs() < 1e-15);
    let met: Vec<_> = reach.met().iter().flatten().collect();
    assert_eq!(met.iter().map(|met| met.pieces).collect::<Vec<_>>(), [1, 2]);
    let widest = met.iter().map(|met| met.guard).max();
    assert_eq!(widest, Some(Length::from_ticks(6)));
    let none = Reach::of(&[], &all_thou(10), &rule).unwrap();
    assert!(none.met().iter().all(Option::is_none));
}

#[test]
fn what_makes_no_sense_is_refused_and_says_why() {
    let (one, five) = (thou(1), thou(5));
    assert_eq!(Targets::new(five, one, one), Err(SizeRangeError::Range));
    assert_eq!(Targets::new(thou(-1), five, one), Err(SizeRangeError::Range));
    assert_eq!(Targets::new(one, five, Length::ZERO), Err(SizeRangeError::Step));
    assert_eq!(Targets::new(one, five, thou(3)), Err(SizeRangeError::Step));
    let fine = Targets::new(one, thou(1000), Length::from_ticks(1));
    assert_eq!(fine, Err(SizeRangeError::TooManyTargets(999 * 254_000 + 1)));
    let targets = all_thou(125);
    let sizes = [StockedSize::of(one)];
    for pieces in [0, MOST_PIECES + 1] {
        let refused = Reach::of(&sizes, &targets, &exact(pieces));
        assert_eq!(refused, Err(SizeRangeError::Pieces(pieces)));
    }
    let backwards = Rule { window: thou(-1), ..exact(3) };
    assert_eq!(Reach::of(&sizes, &targets, &backwards), Err(SizeRangeError::Window));
    for bad in [StockedSize::of(Length::ZERO), StockedSize { tolerance: thou(-1), ..sizes[0] }] {
        let refused = Reach::of(&[sizes[0], bad], &targets, &exact(3));
        assert_eq!(refused, Err(SizeRangeError::Size(1)));
    }
    // Lots measured to the tick have hardly a common divisor: 0.1 nm.
    let measured = [
        StockedSize::of(Length::from_ticks(254_003)),
        StockedSize::of(Length::from_ticks(508_000)),
    ];
    let fault = Reach::of(&measured, &targets, &exact(3)).unwrap_err();
    assert_eq!(fault, SizeRangeError::TooFine { grain_nm: "0.1".into(), cells: 31_750_001 });
    assert!(fault.to_string().contains("round the sizes to a coarser step"));
    let wide = Rule { window: Length::from_ticks(1_000_000), ..exact(3) };
    let short = Targets::new(Length::ZERO, Length::from_ticks(900_000), Length::from_ticks(1));
    let pair = [3, 4].map(|n| StockedSize::of(Length::from_ticks(n)));
    let fault = Reach::of(&pair, &short.unwrap(), &wide);
    assert!(matches!(fault, Err(SizeRangeError::TooFine { .. })));
    assert_eq!(without(&sizes, 1, &targets, &exact(3)), Err(SizeRangeError::Size(1)));
}
