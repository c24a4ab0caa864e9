//! Kits that are not proven, and what would settle them, against every kit and every plain figure there is.

use gapwright::accounting::stack;
use gapwright::accounting::warnings::asked;
use gapwright::model::Shape;
use gapwright::plan::Cause;
use gapwright::stack::{Improvement, Stack, plain_below, settle};

use super::*;

#[test]
fn a_kit_that_is_not_proven_is_named_where_there_is_one_and_settled_as_it_says() {
    let mut seen: BTreeMap<&str, usize> = BTreeMap::new();
    for seed in 0..2_500 {
        let job = random_job(seed);
        // Pieces left of plates that are cut up are counted by the program alone.
        if job.policy.acceptance == Acceptance::Nominal || !job.plates.is_empty() {
            continue;
        }
        let plan = choose(&job, &Control::unlimited()).expect("small jobs can be listed");
        let issued = plan.issued(&job);
        let left: Vec<u32> =
            job.stock.iter().zip(issued).map(|(i, out)| i.on_hand - i.reserved - out).collect();
        let loose = job.clone().with(|j| j.policy.acceptance = Acceptance::Nominal).unwrap();
        for (at, kit) in plan.kits.iter().enumerate() {
            let Kit::Short(shorts) = kit else { continue };
            let pump = &job.pumps[at];
            let named = shorts.iter().find_map(|short| match &short.cause {
                Cause::NotProven { packs } => Some(packs),
                _ => None,
            });
            // A pump that the whole stock could serve is short of pieces, not of proof.
            let mut ways = match all_ways(&job, pump).is_empty() {
                true => all_ways(&loose, &loose.pumps[at]),
                false => Vec::new(),
            };
            ways.retain(|way| way.used.iter().zip(&left).all(|(used, left)| used <= left));
            assert_eq!(named.is_some(), !ways.is_empty(), "case {seed}, {}", pump.tag);
            let Some(packs) = named else {
                *seen.entry("none").or_default() += 1;
                continue;
            };
            let counts: Vec<Vec<u32>> = packs.iter().map(|pack| counts(&job, pack)).collect();
            assert!(conforms(&loose, pump, &counts) && !conforms(&job, pump, &counts));
            assert!(by_item(&job, &counts).iter().zip(&left).all(|(used, left)| used <= left));
            let stack = stack(&job, pump, packs);
            check(&job, at, &counts, &stack, &mut seen);
        }
    }
    println!("{seen:?}");
    assert!(
        ["none", "gauge", "no gauge", "lot", "no lot", "nothing"]
            .iter()
            .all(|kind| seen.get(kind).is_some_and(|count| *count > 10)),
        "{seen:?}"
    );
}

/// Each improvement makes the kit meet every requirement, and the next plain figure does not; where none is offered, no
/// dimension and no item has one.
fn check(
    job: &Job,
    at: usize,
    counts: &[Vec<u32>],
    stack: &Stack,
    seen: &mut BTreeMap<&'static str, usize>,
) {
    let found = settle(&asked(job, &job.pumps[at]), stack);
    let mut count = |what| *seen.entry(what).or_default() += 1;
    let dimension = |index: usize, within: Length| {
        let mut pump = job.pumps[at].clone();
        let measured = &mut pump.dimensions[index];
        measured.tolerance = Tolerance::even(within);
        measured.standard = Shape::Rectangular.standard_uncertainty(measured.tolerance);
        measured.freedom = None;
        conforms(job, &pump, counts)
    };
    let item = |index: usize, within: Length| {
        let tolerance = Tolerance::even(within);
        let better = |j: &mut Parts| j.stock[index].size.as_mut().unwrap().tolerance = tolerance;
        conforms(&job.clone().with(better).unwrap(), &job.pumps[at], counts)
    };
    let figures = |now: Tolerance| plain_below(now.minus.max(now.plus), Unit::Inch);
    let greatest = |now: Tolerance, met: &dyn Fn(Length) -> bool| {
        figures(now).into_iter().find(|figure| met(*figure))
    };
    let gauge = found.iter().find_map(|one| match one {
        Improvement::Gauge { contributor, within } => Some((*contributor, *within)),
        _ => None,
    });
    let dimensions = &job.pumps[at].dimensions;
    match gauge {
        Some((contributor, within)) => {
            let Term::Dimension(index) = stack.contributors[contributor].term else {
                panic!("a gauge for what is not measured")
            };
            let now = dimensions[index].tolerance;
            assert_eq!(greatest(now, &|figure| dimension(index, figure)), Some(within));
            count("gauge");
        }
        None => {
            let none = |index: usize| {
                greatest(dimensions[index].tolerance, &|figure| dimension(index, figure)).is_none()
            };
            assert!((0..dimensions.len()).all(none));
            count("no gauge");
        }
    }
    let lot = found.iter().find_map(|one| match one {
        Improvement::Lot { contributor, within } => Some((*contributor, *within)),
        _ => None,
    });
    let used = by_item(job, counts);
    let now = |index: usize| job.stock[index].size.unwrap().tolerance;
    match lot {
        Some((contributor, within)) => {
            let index = stack.contributors[contributor].item.unwrap();
            assert_eq!(greatest(now(index), &|figure| item(index, figure)), Some(within));
            count("lot");
        }
        None => {
            let mut taken = (0..used.len()).filter(|index| used[*index] > 0);
            assert!(
                taken.all(|index| greatest(now(index), &|figure| item(index, figure)).is_none())
            );
            count("no lot");
        }
    }
    if found.is_empty() {
        count("nothing");
    }
}
