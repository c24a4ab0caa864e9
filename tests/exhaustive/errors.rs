//! Errors of a sum from their definition: each elementary error once, with the sum of all weights by which it enters.

use std::collections::BTreeMap;

use gapwright::gauge::Certified;
use gapwright::job::Job;
use gapwright::length::Tolerance;
use gapwright::model::Term;
use gapwright::policy::Acceptance;
use gapwright::pump::Pump;
use gapwright::stack::{Alike, Coverage};

use crate::{MILLION, lot, offers, student};

/// One elementary error: of a dimension, of one piece, of a lot, of a gauge.
#[derive(Default)]
struct Elementary {
    /// In millionths.
    weight: i128,
    /// Range below and above, in millionths of a tick.
    range: [i128; 2],
    /// In ticks.
    standard: f64,
    freedom: Option<u32>,
}

/// Errors of a sum by their names, and the distance of its middle above the nominal value in ticks; also twice that in
/// millionths of a tick.
struct Errors {
    all: BTreeMap<String, Elementary>,
    middle: f64,
    uneven: i128,
}

impl Errors {
    fn add(&mut self, name: String, weight: i128, one: Elementary) {
        let weight = self.all.get(&name).map_or(0, |known| known.weight) + weight;
        self.all.insert(name, Elementary { weight, ..one });
    }

    fn add_certified(&mut self, name: String, weight: i128, of: Certified) {
        let extent = i128::from(of.extent.ticks()) * MILLION;
        let standard = of.standard.raw() as f64 / 1e5;
        let one = Elementary { range: [extent; 2], standard, freedom: of.freedom, weight: 0 };
        self.add(name, weight, one);
    }

    fn uneven(&mut self, weight: i128, of: Tolerance) {
        self.middle += weight as f64 / 1e6 * (of.plus.ticks() - of.minus.ticks()) as f64 / 2.0;
        self.uneven += weight * i128::from(of.plus.ticks() - of.minus.ticks());
    }
}

/// A share, in millionths, of a tolerance, in millionths of a tick.
fn part(of: Tolerance, share: i128) -> [i128; 2] {
    [of.minus, of.plus].map(|side| i128::from(side.ticks()) * share)
}

fn errors(job: &Job, pump: &Pump, packs: &[Vec<u32>], weights: &[(Term, i128)]) -> Errors {
    let weight = |wanted: Term| -> i128 {
        weights.iter().filter(|(term, _)| *term == wanted).map(|(_, weight)| weight).sum()
    };
    let mut errors = Errors { all: BTreeMap::new(), middle: 0.0, uneven: 0 };
    for (d, m) in pump.dimensions.iter().enumerate() {
        let own = weight(Term::Dimension(d));
        errors.uneven(own, m.tolerance);
        let (range, standard) = (part(m.tolerance, MILLION), m.standard.raw() as f64 / 1e5);
        let one = Elementary { range, standard, freedom: m.freedom, weight: 0 };
        errors.add(format!("dimension {d}"), own, one);
        if let Some(of) = m.gauge {
            errors.add_certified(format!("gauge {}", of.gauge), own, of.certified);
        }
    }
    for (t, growth) in pump.growths.iter().enumerate() {
        let own = weight(Term::Thermal(t));
        errors.uneven(own, growth.tolerance);
        let standard = growth.standard.raw() as f64 / 1e5;
        let range = part(growth.tolerance, MILLION);
        errors.add(
            format!("growth {t}"),
            own,
            Elementary { range, standard, ..Elementary::default() },
        );
    }
    for (p, pack) in packs.iter().enumerate() {
        let own = weight(Term::Pack(p));
        for (o, (offer, &count)) in offers(job).iter().zip(pack).enumerate() {
            let size = job.stock[offer.item].size.unwrap();
            let lot = lot(job, offer.item);
            let width = (size.tolerance.minus + size.tolerance.plus).ticks();
            // Femtometres, rounded up, by the definition of the rule; exact from there on.
            let whole = (5e4 * width as f64 / 3_f64.sqrt()).ceil();
            let share = match size.alike.map_or(job.policy.alike, Alike::Share) {
                Alike::AtWorst => None,
                Alike::Share(share) => Some(i128::from(share.raw())),
            };
            let sign = if own > 0 { "up" } else { "down" };
            for piece in 0..count {
                errors.uneven(own, size.tolerance);
                let (apart, common) = match share {
                    None => (0.0, whole),
                    Some(share) => {
                        let share = share as f64 / 1e6;
                        ((whole * (1.0 - share * share).sqrt()).ceil(), (whole * share).ceil())
                    }
                };
                let name = format!("piece {p} {o} {piece}");
                let range = part(size.tolerance, MILLION - share.unwrap_or(0));
                let one = Elementary { range, standard: apart / 1e5, ..Elementary::default() };
                errors.add(name, own, one);
                let (name, range) = match share {
                    None => (format!("lot {lot:?} {sign}"), [0, 0]),
                    Some(share) => (format!("lot {lot:?}"), part(size.tolerance, share)),
                };
                let one = Elementary { range, standard: common / 1e5, ..Elementary::default() };
                errors.add(name, own, one);
                if let Some(mean) = size.uncertainty {
                    errors.add_certified(format!("mean {lot:?}"), own, mean);
                }
                if let Some(of) = size.gauge {
                    errors.add_certified(format!("gauge {}", of.gauge), own, of.certified);
                }
            }
        }
    }
    errors
}

/// Whether a distance, in millionths of a millionth of a tick, is clear of all errors of a sum by the rule in force.
pub fn is_clear(
    job: &Job,
    pump: &Pump,
    packs: &[Vec<u32>],
    weights: &[(Term, i128)],
    distance: i128,
) -> bool {
    let errors = errors(job, pump, packs, weights);
    match job.policy.acceptance {
        Acceptance::Nominal => distance >= 0,
        Acceptance::WorstCase => {
            let worst = errors.all.values().map(|one| {
                let [below, above] = one.range;
                (one.weight * below).max(-one.weight * above)
            });
            distance >= worst.sum::<i128>()
        }
        Acceptance::Expanded => is_clear_of_uncertainty(job, pump, &errors, distance as f64 / 1e12),
    }
}

/// Judge of distances, in millionths of a tick, in whole numbers throughout: by the worst case, or by the expanded rule
/// with a factor k and without correlations, where `S + d >= k u` is `(S + d)^2 >= k^2 u^2`.
pub fn clears_in_whole_numbers(
    job: &Job,
    pump: &Pump,
    packs: &[Vec<u32>],
    weights: &[(Term, i128)],
) -> impl Fn(i128) -> bool + use<> {
    let errors = errors(job, pump, packs, weights);
    let worst: i128 = errors
        .all
        .values()
        .map(|one| (one.weight * one.range[0]).max(-one.weight * one.range[1]))
        .sum();
    // Whole femtometres times millionths.
    #[allow(clippy::cast_possible_truncation)]
    let moved = |one: &Elementary| one.weight * (one.standard * 1e5).round() as i128;
    let variance: i128 = errors.all.values().map(|one| moved(one).pow(2)).sum();
    let Coverage::Factor(k) = job.policy.coverage else { panic!("a factor") };
    // k is a whole number of halves.
    let halves = i128::from(k.raw()) * 2 / MILLION;
    let (acceptance, uneven) = (job.policy.acceptance, errors.uneven);
    move |distance: i128| match acceptance {
        Acceptance::Nominal => distance >= 0,
        Acceptance::WorstCase => distance * MILLION >= worst,
        Acceptance::Expanded => {
            // Twice S + d, in millionths of a femtometre; a square that overflows is larger than any variance here.
            let reach = (2 * distance + uneven) * 100_000;
            let needed = halves * halves * variance;
            distance >= 0
                && reach >= 0
                && reach.checked_mul(reach).is_none_or(|square| square >= needed)
        }
    }
}

/// The distance in ticks against k times the root of the sum of squares.
fn is_clear_of_uncertainty(job: &Job, pump: &Pump, errors: &Errors, distance: f64) -> bool {
    let moved = |one: &Elementary| one.weight as f64 / 1e6 * one.standard;
    let mut variance: f64 = errors.all.values().map(|one| moved(one).powi(2)).sum();
    for pair in &pump.correlations {
        let [a, b] = pair.between.map(|term| match term {
            Term::Dimension(d) => moved(&errors.all[&format!("dimension {d}")]),
            Term::Thermal(t) => moved(&errors.all[&format!("growth {t}")]),
            Term::Pack(_) | Term::Derived(_) => panic!("neither is correlated here"),
        });
        variance += 2.0 * pair.coefficient.raw() as f64 / 1e6 * a * b;
    }
    let variance = variance.max(0.0);
    let fourths =
        errors.all.values().filter_map(|one| Some(moved(one).powi(4) / f64::from(one.freedom?)));
    let fourths: f64 = fourths.sum();
    let k = match job.policy.coverage {
        Coverage::Factor(factor) => factor.raw() as f64 / 1e6,
        // Effective degrees of freedom; infinite where only exactly known contributors enter.
        Coverage::Level(level) => {
            let effective = (fourths > 0.0).then(|| variance.powi(2) / fourths);
            student::factor(level.raw(), effective)
        }
    };
    // The middle of uneven tolerances is not the nominal value; a middle on the safe side never reduces the guard
    // below 0.
    let needed = k * variance.sqrt() - errors.middle;
    // Closer than that the roundings of the library, some millionths of a tick, could decide.
    let close = |margin: f64| margin.abs() < 1e-4;
    if needed < 0.0 && !close(needed) {
        return distance >= 0.0;
    }
    let margin = distance - needed;
    assert!(!close(margin), "too close to call: {margin}");
    margin > 0.0
}
