//! Accounting of a choice of pieces: its stack, its verdicts, its waste and its scarcity points.
//!
//! [`stack`], [`verdicts`] and [`warnings`] judge the packs of a pump; [`piece_waste`], [`pack_waste`] and
//! [`plate_waste`] give their waste.
//!
//! # Decisions
//!
//! - A peeled layer is charged beside the whole cost of its piece; else peeling would cost nothing.
//! - Charges for off target, and guards, are rounded up: an allowance may be too wide, never too narrow.
//! - Scarcity points are 1000 / (1 + left above min level), rounded down: a measure of our own, linear so that it
//!   can be bounded. With points a thousand times finer the last goal of a fleet stayed open for differences that
//!   mean nothing.

pub mod inputs;
mod source;
pub mod warnings;

use crate::cutting::Layout;
use crate::decimal::Money;
use crate::gauge::{Certified, OfGauge};
use crate::job::Job;
use crate::length::{Length, Tolerance};
use crate::model::{Dimension, Shape, Spread, Term};
use crate::narrow::narrow;
use crate::plan::PackPick;
use crate::policy::Policy;
use crate::pump::{Measured, Pump};
use crate::stack::{
    Alike, Contributor, Derivation, ErrorSource, Evaluation, OfLot, SharedError, Stack, Verdict,
    judge,
};
use crate::stock::{Item, Lot, Size};

pub use source::{source, source_of_shared};

/// Contributors of a pump with these packs: its dimensions, its thermal and derived terms, then the pieces, place by
/// place.
pub fn stack(job: &Job, pump: &Pump, packs: &[PackPick]) -> Stack {
    let model = job.model_of(pump);
    let measured = model.dimensions.iter().zip(&pump.dimensions).enumerate().map(
        |(index, (dimension, measured))| Contributor {
            label: dimension.label.clone(),
            term: Term::Dimension(index),
            item: None,
            count: 1,
            readings: measured.readings.clone(),
            nominal: measured.value,
            tolerance: measured.tolerance,
            evaluation: evaluation(dimension, measured),
            standard_uncertainty: measured.standard,
            degrees_of_freedom: measured.freedom,
            lot: None,
        },
    );
    let growths = pump.growths.iter().enumerate().map(|(index, growth)| Contributor {
        label: growth.thermal.label.clone(),
        term: Term::Thermal(index),
        item: None,
        count: 1,
        readings: Vec::new(),
        nominal: growth.value,
        tolerance: growth.tolerance,
        evaluation: Evaluation::Growth(Box::new(growth.clone())),
        standard_uncertainty: growth.standard,
        degrees_of_freedom: growth.freedom,
        lot: None,
    });
    let measured: Vec<Contributor> = measured.collect();
    let derived = pump.derived.iter().enumerate().filter_map(|(index, derived)| {
        let known = pump.estimate(Term::Derived(index))?;
        let of = derived.of.map(|at| measured[at].clone());
        Some(Contributor {
            label: derived.label.clone(),
            term: Term::Derived(index),
            item: None,
            count: 1,
            readings: Vec::new(),
            nominal: known.value,
            tolerance: known.tolerance,
            evaluation: Evaluation::Derived(Box::new(Derivation { rule: derived.rule, of })),
            standard_uncertainty: known.standard,
            degrees_of_freedom: known.freedom,
            lot: None,
        })
    });
    let derived: Vec<Contributor> = derived.collect();
    let picks = packs.iter().enumerate();
    let picks = picks.flat_map(|(index, pack)| pack.picks.iter().map(move |pick| (index, pick)));
    let pieces = picks.filter_map(|(index, pick)| {
        let item = &job.stock[pick.item];
        let size = item.size?;
        let nominal = item.peeled(pick.peeled)?;
        let unit = model.unit;
        let peeled = match pick.peeled {
            0 => String::new(),
            _ => format!(", peeled to {} {}", nominal.show(unit), unit.symbol()),
        };
        Some(Contributor {
            label: format!("{} {}{peeled}", item.kind, item.item),
            term: Term::Pack(index),
            item: Some(pick.item),
            count: pick.count,
            readings: Vec::new(),
            nominal,
            tolerance: size.tolerance,
            evaluation: Evaluation::Within(Shape::Rectangular),
            standard_uncertainty: size.standard_uncertainty(),
            degrees_of_freedom: None,
            lot: Some(OfLot { lot: item.lot(pick.item), alike: alike(size, &job.policy) }),
        })
    });
    let own = measured.into_iter().chain(growths).chain(derived);
    let contributors: Vec<Contributor> = own.chain(pieces).collect();
    let shared = shared_errors(job, pump, &contributors);
    Stack { contributors, shared, correlations: pump.correlations.clone() }
}

/// Source of the uncertainty of a measured dimension.
fn evaluation(dimension: &Dimension, measured: &Measured) -> Evaluation {
    let combine = dimension.combine;
    let (shape, standard) = match dimension.spread {
        Spread::FromReadings { resolution } => return Evaluation::Readings { resolution, combine },
        Spread::Within(each) => (Some(dimension.shape), dimension.shape.standard_uncertainty(each)),
        Spread::StandardUncertainty(standard) => (None, standard),
    };
    match (&measured.readings[..], shape) {
        ([_, _, ..], _) => {
            let (each, freedom) = (measured.each, dimension.degrees_of_freedom);
            Evaluation::Repeated { each, shape, standard, freedom, combine }
        }
        (_, Some(shape)) => Evaluation::Within(shape),
        (_, None) => Evaluation::Standard,
    }
}

/// How far the pieces of a lot err alike: as the stock says, else as the policy does.
pub(crate) fn alike(size: Size, policy: &Policy) -> Alike {
    size.alike.map_or(policy.alike, Alike::Share)
}

/// Errors of measured means and of gauges that enter through these contributors, in the order in which they come.
pub(crate) fn shared_errors(
    job: &Job,
    pump: &Pump,
    contributors: &[Contributor],
) -> Vec<SharedError> {
    let mut shared: Vec<SharedError> = Vec::new();
    for (index, part) in contributors.iter().enumerate() {
        let size = part.item.and_then(|item| job.stock[item].size);
        let mean = size.and_then(|size| size.uncertainty).zip(part.lot);
        let mean = mean.map(|(mean, of)| (ErrorSource::Mean(of.lot), mean));
        let gauge = match size {
            Some(size) => size.gauge,
            None => pump.estimate(part.term).and_then(|estimate| estimate.gauge),
        };
        let gauge = gauge.map(|of| (ErrorSource::Gauge(of.gauge), of.certified));
        for (source, certified) in mean.into_iter().chain(gauge) {
            join(&mut shared, index, (source, certified), || label(job, source));
        }
    }
    shared
}

/// Lets the last contributor share the error of this gauge with all that was measured with it.
pub(crate) fn share(stack: &mut Stack, of: OfGauge) {
    if let Some(last) = stack.contributors.len().checked_sub(1) {
        let error = (ErrorSource::Gauge(of.gauge), of.certified);
        join(&mut stack.shared, last, error, String::new);
    }
}

/// Enters a contributor among those that share an error, which is labelled when it is new.
fn join(
    shared: &mut Vec<SharedError>,
    member: usize,
    (source, certified): (ErrorSource, Certified),
    label: impl FnOnce() -> String,
) {
    match shared.iter_mut().find(|known| known.source == source) {
        Some(known) => known.members.push(member),
        None => {
            shared.push(SharedError { label: label(), source, members: vec![member], certified });
        }
    }
}

fn label(job: &Job, source: ErrorSource) -> String {
    match source {
        ErrorSource::Mean(Lot::Item(item)) => format!("mean of lot {}", job.stock[item].item),
        ErrorSource::Mean(Lot::Plate(lot)) => format!("mean of plate {}", job.plates[lot].item),
        ErrorSource::Gauge(gauge) => {
            format!("gauge {}", job.gauges.get(gauge).map_or("", |gauge| &gauge.name))
        }
    }
}

/// Judges every requirement of a pump with these packs, in the order of its requirements.
pub fn verdicts(job: &Job, pump: &Pump, packs: &[PackPick]) -> Vec<Verdict> {
    let stack = stack(job, pump, packs);
    let guard = job.policy.guard();
    pump.requirements.iter().map(|r| judge(&r.form, &stack, guard)).collect()
}

/// Requirement with the least margin, by its index, and its verdict: it stands for the pump on the Summary.
pub fn tightest(job: &Job, pump: &Pump, packs: &[PackPick]) -> Option<(usize, Verdict)> {
    let verdicts = verdicts(job, pump, packs).into_iter().enumerate();
    verdicts.min_by_key(|(_, verdict)| verdict.margin())
}

/// Total thickness of a pack and its tolerance.
pub fn pack_total(job: &Job, pack: &PackPick) -> (Length, Tolerance) {
    let mut total = Length::ZERO;
    let mut tolerance = Tolerance::default();
    for pick in &pack.picks {
        let item = &job.stock[pick.item];
        if let (Some(size), Some(thickness)) = (item.size, item.peeled(pick.peeled)) {
            let worst = size.worst();
            total = total + thickness * pick.count;
            tolerance.minus = tolerance.minus + worst.minus * pick.count;
            tolerance.plus = tolerance.plus + worst.plus * pick.count;
        }
    }
    (total, tolerance)
}

/// Waste of one piece of an item: its cost, the handling charge, and the layers peeled off at their share of
/// the cost (rounded up). Where opened packs are spoiled the cost is counted pack by pack instead, by
/// [`pack_waste`].
pub fn piece_waste(job: &Job, item: usize, peeled: u32) -> Money {
    let lot = &job.stock[item];
    let cost = if by_pack(job, item) { Money::ZERO } else { lot.unit_cost };
    let trim = match (lot.size, lot.peel_step) {
        (Some(size), Some(step)) if peeled > 0 => {
            let off = i128::from((step * peeled).ticks()) * i128::from(lot.unit_cost.raw());
            let whole = i128::from(size.thickness.ticks().max(1));
            Money::from_raw(narrow::<i64>((off + whole - 1).div_euclid(whole)))
        }
        _ => Money::ZERO,
    };
    cost + job.policy.handling + trim
}

/// Whether the cost of an item is counted by the pack, because the policy counts the rest of an opened pack
/// as spoiled.
pub fn by_pack(job: &Job, item: usize) -> bool {
    job.policy.opened_cartons_spoiled && job.stock[item].carton_qty > 1
}

/// Cost of issuing `issued` pieces of an item that is counted by the pack: loose pieces one by one, then
/// whole packs, the rest of which is spoiled. Loose pieces are the available ones in excess of whole packs.
///
/// | loose 2, packs of 10 | 1 | 2 | 3 | 12 | 13 |
/// |---|---|---|---|---|---|
/// | pieces paid for | 1 | 2 | 12 | 12 | 22 |
pub fn pack_waste(job: &Job, item: usize, issued: u32) -> Money {
    let lot = &job.stock[item];
    let paid = match packs_opened(lot, issued) {
        0 => issued,
        packs => lot.loose() + packs * lot.carton_qty.max(1),
    };
    Money::from_raw(lot.unit_cost.raw().saturating_mul(i64::from(paid)))
}

/// Waste of one plate that is cut up in this layout, under the policy on its remnants.
pub fn plate_waste(job: &Job, layout: &Layout) -> Money {
    let cut = |item: usize| job.stock[item].cut;
    layout.waste(&job.plates[layout.plate], cut, job.policy.remnants)
}

/// Sealed packs opened when `issued` pieces of a lot are issued; loose pieces go first.
pub fn packs_opened(lot: &Item, issued: u32) -> u32 {
    issued.saturating_sub(lot.loose()).div_ceil(lot.carton_qty.max(1))
}

/// Pieces left over in opened packs, and so spoiled.
pub fn spoiled(job: &Job, item: usize, issued: u32) -> u32 {
    if !by_pack(job, item) || issued == 0 {
        return 0;
    }
    let lot = &job.stock[item];
    let sealed = issued.saturating_sub(lot.loose());
    packs_opened(lot, issued) * lot.carton_qty - sealed
}

/// Scarcity points of one piece: `1000 / (1 + max(available - min level, 0))`, so that a scarcer piece costs more.
/// Our own measure of `spare the scarce`.
///
/// ```
/// assert_eq!(gapwright::accounting::scarcity_points(9, 0), 100);
/// assert_eq!(gapwright::accounting::scarcity_points(9, 8), 500);
/// assert_eq!(gapwright::accounting::scarcity_points(9, 12), 1_000);
/// ```
pub fn scarcity_points(available: u32, min_level: u32) -> i64 {
    1_000 / (1 + i64::from(available.saturating_sub(min_level)))
}
