//! Verdicts at the very edge: of random stacks the innermost limit in whole ticks that is still met, by whole numbers
//! alone, is met by the library, and one tick further in is not.

use gapwright::accounting::stack;
use gapwright::decimal::Millionths;
use gapwright::job::Job;
use gapwright::length::Length;
use gapwright::model::Form;
use gapwright::plan::{PackPick, Pick};
use gapwright::policy::Acceptance;
use gapwright::pump::Pump;
use gapwright::stack::{Coverage, Verdict, judge};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use crate::errors::clears_in_whole_numbers;
use crate::{MILLION, offers, random_job, sum};

/// One to three pieces in each place, of those that fit, on hand or not.
fn some_kit(job: &Job, pump: &Pump, rng: &mut ChaCha8Rng) -> Option<Vec<Vec<u32>>> {
    let offers = offers(job);
    let places = job.models[pump.model].packs.iter().zip(&pump.fits);
    places
        .map(|(place, fit)| {
            let fits =
                |item: usize| job.stock[item].kind == place.kind && job.stock[item].fit == *fit;
            let right: Vec<usize> =
                (0..offers.len()).filter(|&offer| fits(offers[offer].item)).collect();
            let mut counts = vec![0; offers.len()];
            for _ in 0..rng.random_range(1..=3) {
                counts[*right.get(rng.random_range(0..right.len().max(1)))?] += 1;
            }
            Some(counts)
        })
        .collect()
}

fn picked(job: &Job, counts: &[u32]) -> PackPick {
    let offers = offers(job);
    let picks = offers.iter().zip(counts).filter(|(_, count)| **count > 0);
    let picks = picks.map(|(offer, &count)| Pick { item: offer.item, count, peeled: offer.peeled });
    PackPick { picks: picks.collect() }
}

/// Greatest whole number at which something holds that holds from there down.
fn greatest(mut holds: i64, mut fails: i64, does: impl Fn(i64) -> bool) -> i64 {
    assert!(does(holds) && !does(fails));
    while fails - holds > 1 {
        let middle = holds + (fails - holds) / 2;
        if does(middle) { holds = middle } else { fails = middle }
    }
    holds
}

/// A form with one limit: the lower one for `sign` 1, the upper one for -1; the target does not matter here.
fn with_limit(form: &Form, sign: i64, limit: i64) -> Form {
    let (length, share) = (Length::from_ticks(limit), Millionths::from_raw(limit));
    match form.clone() {
        Form::Linear { terms, target, .. } => Form::Linear {
            terms,
            target,
            lower: (sign > 0).then_some(length),
            upper: (sign < 0).then_some(length),
        },
        Form::GasketFill { gasket, gap, target, lower, .. } => Form::GasketFill {
            gasket,
            gap,
            target,
            lower: if sign > 0 { share } else { lower },
            upper: (sign < 0).then_some(share),
        },
    }
}

#[test]
fn verdicts_at_the_edge_are_those_of_whole_numbers() {
    // Allowances in steps that keep the sensitivities whole: they are multiples of a quarter.
    const STEP: i64 = 100;
    let (mut edges, mut exact) = ([0; 4], 0);
    for seed in 0..3_000 {
        let mut rng = ChaCha8Rng::seed_from_u64(seed ^ 0xED6E);
        let k = [1_000_000, 1_500_000, 2_000_000, 3_000_000][rng.random_range(0..4)];
        let job = random_job(seed).with(|job| {
            job.policy.acceptance =
                if seed % 2 == 0 { Acceptance::WorstCase } else { Acceptance::Expanded };
            job.policy.coverage = Coverage::Factor(Millionths::from_raw(k));
            // Their cross terms are no whole numbers; other tests have them.
            job.pumps.iter_mut().for_each(|pump| pump.correlations.clear());
        });
        let job = job.unwrap();
        let pump = &job.pumps[0];
        let Some(packs) = some_kit(&job, pump, &mut rng) else { continue };
        let picks: Vec<PackPick> = packs.iter().map(|counts| picked(&job, counts)).collect();
        let stack = stack(&job, pump, &picks);
        let guard = job.policy.guard();
        for form in pump.requirements.iter().map(|requirement| &requirement.form) {
            for sign in [1, -1] {
                let margin = |verdict: Verdict| match sign {
                    1 => verdict.margin_lower(),
                    _ => verdict.margin_upper(),
                };
                let met = |limit: i64| {
                    let verdict = judge(&with_limit(form, sign, limit), &stack, guard);
                    margin(verdict).unwrap().raw()
                };
                let (step, clear): (i64, Box<dyn Fn(i64) -> bool>) = match form {
                    Form::Linear { terms, .. } => {
                        let value = sum(&job, pump, &packs, terms);
                        let own: Vec<_> =
                            terms.iter().map(|(t, c)| (*t, i128::from(sign * c.raw()))).collect();
                        let clears = clears_in_whole_numbers(&job, pump, &packs, &own);
                        let far = move |limit: i64| {
                            i128::from(sign) * (value - i128::from(limit) * MILLION)
                        };
                        (1, Box::new(move |limit| clears(far(limit))))
                    }
                    Form::GasketFill { gasket, gap, .. } => {
                        let (job, packs) = (&job, &packs);
                        let free = [(gapwright::model::Term::Pack(*gasket), Millionths::ONE)];
                        let (free, wide) =
                            (sum(job, pump, packs, &free), sum(job, pump, packs, gap));
                        let clear = move |allowance: i64| {
                            let grown = MILLION + i128::from(allowance);
                            let sign = i128::from(sign);
                            let mut own: Vec<_> = gap
                                .iter()
                                .map(|(t, c)| (*t, -sign * grown * i128::from(c.raw()) / MILLION))
                                .collect();
                            own.push((gapwright::model::Term::Pack(*gasket), sign * MILLION));
                            let far = sign * (free * MILLION - grown * wide);
                            assert_eq!(far % MILLION, 0, "a whole number");
                            clears_in_whole_numbers(job, pump, packs, &own)(far / MILLION)
                        };
                        (STEP, Box::new(clear))
                    }
                };
                // A gap of nothing or less has no edge.
                let vast = if step == 1 { 200_000_000 } else { 9_000_000 };
                let at = |steps: i64| sign * steps * step;
                let least = if step == 1 { -vast } else { 0 };
                let [low, high] = match sign {
                    1 => [least / step, vast / step],
                    _ => [-vast / step, -least / step],
                };
                if !clear(at(low)) || clear(at(high)) {
                    continue;
                }
                let edge = greatest(low, high, |steps| clear(at(steps)));
                assert!(met(at(edge)) >= 0, "case {seed}: met at {}", at(edge));
                assert!(met(at(edge + 1)) < 0, "case {seed}: not met at {}", at(edge + 1));
                edges[usize::from(step > 1) + 2 * usize::from(seed % 2 == 1)] += 1;
                exact += usize::from(met(at(edge)) == 0);
            }
        }
    }
    println!("edges {edges:?}, of them without anything to spare {exact}");
    assert!(edges.iter().all(|count| *count > 300) && exact > 300, "{edges:?}, {exact}");
}
