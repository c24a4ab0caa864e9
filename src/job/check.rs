//! Conditions that the parts of a job must meet.

use std::collections::HashSet;

use crate::cutting::MOST_ALONG;
use crate::decimal::{Millionths, Money};
use crate::gauge::{self, OfGauge};
use crate::length::{Length, Tolerance};
use crate::model::{Correlation, Derived, DerivedRule, Form, Model, Requirement, Term};
use crate::policy::Policy;
use crate::pump::Pump;
use crate::stack::Coverage;
use crate::stock::{Item, Size, folded};

use super::{HoldBack, JobError, Part, PartError, Parts};

/// Returns the first invalid part.
pub(super) fn check(parts: &Parts) -> Result<(), JobError> {
    let failed = |part: Part| move |error| JobError { part, error };
    for model in &parts.models {
        check_model(model).map_err(failed(Part::Model(model.name.clone())))?;
    }
    let mut numbers = HashSet::new();
    for item in &parts.stock {
        let result = check_item(item, parts).and_then(|()| single(&mut numbers, &item.item));
        result.map_err(failed(Part::Item(item.item.clone())))?;
    }
    for lot in &parts.plates {
        let result = check_size(lot.size).and_then(|()| single(&mut numbers, &lot.item));
        result
            .and_then(|()| price(lot.plate_cost))
            .and_then(|()| kept("the reserved plates", lot.reserved, lot.on_hand))
            .and_then(|()| length("the side of a plate", lot.sides[0], Length::ZERO))
            .and_then(|()| length("the side of a plate", lot.sides[1], Length::ZERO))
            .map_err(failed(Part::Plates(lot.item.clone())))?;
    }
    for (index, blade) in parts.feelers.iter().enumerate() {
        length("the thickness", blade.thickness, Length::from_ticks(1))
            .and_then(|()| tolerance(blade.tolerance))
            .map_err(failed(Part::Blade(index)))?;
    }
    let mut tags = HashSet::new();
    for pump in &parts.pumps {
        let result = check_pump(pump, parts).and_then(|()| single(&mut tags, &pump.tag));
        result.map_err(failed(Part::Pump(pump.tag.clone())))?;
    }
    if !parts.standing.is_empty() {
        let standing = count("standings", parts.standing.len(), parts.pumps.len());
        standing.map_err(failed(Part::Plan))?;
        for (pump, standing) in parts.pumps.iter().zip(&parts.standing) {
            let packs = standing.bag.iter().chain(&standing.slip).flatten();
            let consumables = standing.consumables.iter().flatten();
            let mut picks = packs.flat_map(|pack| &pack.picks).chain(consumables);
            let there = picks.try_for_each(|pick| there("item", pick.item, parts.stock.len()));
            there.map_err(failed(Part::Pump(pump.tag.clone())))?;
        }
    }
    let one = |held: &HoldBack| {
        there("item", held.item, parts.stock.len())?;
        let lot = &parts.stock[held.item];
        let spoiled = parts.policy.opened_cartons_spoiled && lot.carton_qty > 1;
        let single = lot.cut.is_none() && !spoiled;
        within(single, "a piece to hold back", "whole pieces that are taken one by one")?;
        within(held.worth > 0, "the worth of a piece to hold back", "a number above zero")
    };
    parts.hold_back.iter().try_for_each(one).map_err(failed(Part::Plan))?;
    check_policy(&parts.policy).map_err(failed(Part::Policy))?;
    match too_dear(parts) {
        Some(item) => within(false, "the price of all pieces", "sums that can be worked out")
            .map_err(failed(Part::Item(item.to_string()))),
        None => Ok(()),
    }
}

/// Most that all prices and charges of a job may come to, in millionths: half of what the sums hold.
const MOST_IN_ALL: i128 = 1 << 62;

/// The item that costs most, where everything that could be taken, spoiled, bought or filled up to its level, and every
/// charge, come to more than sums of money can hold.
pub(crate) fn too_dear(parts: &Parts) -> Option<&str> {
    /// Most pieces of an item that a purchase asks for, and the greatest charge for a value off its target.
    const BOUGHT: u32 = 30_000;
    const OFF_TARGET: i128 = 1_000_000_000_000;
    let mut pieces: i128 = 0;
    let mut charges: i128 = 0;
    for pump in &parts.pumps {
        let Some(model) = parts.models.get(pump.model) else { continue };
        let packs = model.packs.iter().map(|pack| i128::from(pack.most_pieces));
        let bag = model.consumables.iter().map(|need| i128::from(need.count));
        pieces += packs.chain(bag).sum::<i128>();
        charges += OFF_TARGET * pump.requirements.iter().map(|_| 1).sum::<i128>();
    }
    charges += pieces * i128::from(parts.policy.handling.raw());
    let of_item = |item: &Item| {
        let level = item.min_level.max(item.offer.max_level.unwrap_or(0));
        let each = [item.on_hand, item.carton_qty, level, BOUGHT].map(i128::from);
        let cost = item.unit_cost.max(item.offer.unit_cost.unwrap_or(Money::ZERO));
        i128::from(cost.raw()) * (each.iter().sum::<i128>() + pieces)
    };
    let items = parts.stock.iter().filter(|item| item.cut.is_none());
    let items = items.map(|item| (of_item(item), item.item.as_str()));
    let plates = parts
        .plates
        .iter()
        .map(|lot| (i128::from(lot.plate_cost.raw()) * i128::from(lot.on_hand), lot.item.as_str()));
    let (mut sum, mut dearest) = (charges, (0, ""));
    for (cost, item) in items.chain(plates) {
        sum += cost;
        dearest = dearest.max((cost, item));
    }
    (sum > MOST_IN_ALL).then_some(dearest.1)
}

/// Refuses a name that an earlier part has.
fn single(names: &mut HashSet<String>, name: &str) -> Result<(), PartError> {
    if names.insert(folded(name)) { Ok(()) } else { Err(PartError::Twice) }
}

/// Refuses an index that is not below `count`.
pub(crate) fn there(of: &'static str, index: usize, count: usize) -> Result<(), PartError> {
    if index < count { Ok(()) } else { Err(PartError::NotThere { of, index, count }) }
}

/// Refuses another number of entries than there must be.
pub(crate) fn count(of: &'static str, found: usize, expected: usize) -> Result<(), PartError> {
    if found == expected {
        return Ok(());
    }
    Err(PartError::Count { of, found, expected })
}

fn within(holds: bool, what: &'static str, expected: &'static str) -> Result<(), PartError> {
    if holds { Ok(()) } else { Err(PartError::OutOfRange { what, expected }) }
}

/// Refuses a length that no file could state: sums of it would overflow.
fn length(what: &'static str, length: Length, least: Length) -> Result<(), PartError> {
    let holds = (least..=Length::MOST).contains(&length);
    within(holds, what, "a length of a pump part, 10 m at most")
}

/// Refuses more reserved pieces than there are on hand.
fn kept(what: &'static str, reserved: u32, on_hand: u32) -> Result<(), PartError> {
    within(reserved <= on_hand, what, "no more than are on hand")
}

fn tolerance(of: Tolerance) -> Result<(), PartError> {
    let side = |side: Length| length("a plus/minus", side, Length::ZERO);
    side(of.minus).and_then(|()| side(of.plus))
}

fn price(price: Money) -> Result<(), PartError> {
    let holds = (0..=1_000_000_000_000).contains(&price.raw());
    within(holds, "the cost", "an amount of money, 0 to 1000000")
}

fn check_size(size: Size) -> Result<(), PartError> {
    length("the thickness", size.thickness, Length::from_ticks(1))?;
    tolerance(size.tolerance)
}

/// Refuses a gauge that the job does not have.
fn gauge_there(of: Option<OfGauge>, parts: &Parts) -> Result<(), PartError> {
    of.map_or(Ok(()), |of| there("gauges", of.gauge, parts.gauges.len()))
}

fn check_item(item: &Item, parts: &Parts) -> Result<(), PartError> {
    item.size.map_or(Ok(()), check_size)?;
    gauge_there(item.size.and_then(|size| size.gauge), parts)?;
    price(item.unit_cost)?;
    within(item.carton_qty > 0, "the pieces in a pack", "1 or more")?;
    let most = 1_000_000_000;
    within(item.on_hand <= most, "the pieces on hand", "0 to 1000000000")?;
    kept("the reserved pieces", item.reserved, item.on_hand)?;
    if let Some(step) = item.peel_step {
        length("the peel step", step, Length::from_ticks(1))?;
    }
    let Some(cut) = item.cut else { return Ok(()) };
    there("plates", cut.plate, parts.plates.len())?;
    length("the inside diameter", cut.inside, Length::ZERO)?;
    length("the outside diameter", cut.outside, cut.inside + Length::from_ticks(1))?;
    let plate = &parts.plates[cut.plate];
    let along = |side: Length| side.ticks() / cut.outside.ticks() <= MOST_ALONG;
    within(
        cut.outside > Length::ZERO && plate.sides.into_iter().all(along),
        "the outside diameter",
        "above zero, and not a thousandth of a plate",
    )?;
    // The plates are what is counted; a cut piece is no stock of its own.
    let yields = plate.available().saturating_mul(plate.yields(cut.outside));
    within(
        item.reserved == 0 && item.on_hand >= yields,
        "the pieces on hand",
        "as many as the plates yield, none reserved",
    )
}

/// Numbers of dimensions, thermal terms and packs.
#[derive(Clone, Copy)]
struct Counts {
    dimensions: usize,
    thermals: usize,
    derived: usize,
    packs: usize,
}

impl Counts {
    fn of(model: &Model) -> Counts {
        Counts {
            dimensions: model.dimensions.len(),
            thermals: model.thermals.len(),
            derived: model.derived.len(),
            packs: model.packs.len(),
        }
    }

    fn term(self, term: Term) -> Result<(), PartError> {
        match term {
            Term::Dimension(index) => there("dimension", index, self.dimensions),
            Term::Thermal(index) => there("thermal term", index, self.thermals),
            Term::Derived(index) => there("derived term", index, self.derived),
            Term::Pack(index) => there("place", index, self.packs),
        }
    }

    fn requirements(
        self,
        requirements: &[Requirement],
        derived: &[Derived],
    ) -> Result<(), PartError> {
        for requirement in requirements {
            requirement.form.terms().try_for_each(|term| self.term(term))?;
            check_limits(&requirement.form)?;
            let form = &requirement.form;
            form.check().and_then(|()| form.check_independent(derived)).map_err(|error| {
                PartError::Form { requirement: requirement.name.clone(), error }
            })?;
        }
        Ok(())
    }

    /// Each derived term is of two dimensions that are there, and of a scale above zero.
    fn derived(self, derived: &[Derived]) -> Result<(), PartError> {
        for Derived { of: [a, b], rule, .. } in derived {
            there("dimension", *a, self.dimensions)?;
            there("dimension", *b, self.dimensions)?;
            within(a != b, "the dimensions of a derived term", "two different ones")?;
            let (DerivedRule::Product { per: scale } | DerivedRule::Quotient { times: scale }) =
                rule;
            length("the scale of a derived term", *scale, Length::from_ticks(1))?;
        }
        Ok(())
    }

    fn correlations(
        self,
        correlations: &[Correlation],
        derived: &[Derived],
    ) -> Result<(), PartError> {
        for correlation in correlations {
            let [a, b] = correlation.between;
            let of_derived = |term: Term| {
                derived.iter().flat_map(|derived| derived.of).any(|at| term == Term::Dimension(at))
            };
            if of_derived(a) || of_derived(b) {
                return Err(PartError::Correlation);
            }
            self.term(a).and_then(|()| self.term(b))?;
            match (a, b) {
                (Term::Dimension(_), Term::Dimension(_)) | (Term::Thermal(_), Term::Thermal(_))
                    if a != b => {}
                _ => return Err(PartError::Correlation),
            }
            let holds = (-Millionths::ONE..=Millionths::ONE).contains(&correlation.coefficient);
            within(holds, "a correlation coefficient", "-1 to 1")?;
        }
        Ok(())
    }
}

/// Refuses limits beyond any length.
fn check_limits(form: &Form) -> Result<(), PartError> {
    match form {
        Form::Linear { target, lower, upper, .. } => [Some(target), lower.as_ref(), upper.as_ref()]
            .into_iter()
            .flatten()
            .try_for_each(|limit| length("a limit", *limit, -Length::MOST)),
        Form::GasketFill { .. } => Ok(()),
    }
}

fn check_model(model: &Model) -> Result<(), PartError> {
    for pack in &model.packs {
        let holds = pack.least_pieces <= pack.most_pieces && pack.most_pieces <= 1_000;
        within(holds, "the pieces of a place", "the least before the most, 1000 at most")?;
    }
    let counts = Counts::of(model);
    counts.derived(&model.derived)?;
    counts.correlations(&model.correlations, &model.derived)?;
    counts.requirements(&model.requirements, &model.derived)
}

fn check_pump(pump: &Pump, parts: &Parts) -> Result<(), PartError> {
    there("model", pump.model, parts.models.len())?;
    let model = &parts.models[pump.model];
    let counts = Counts::of(model);
    count("fit codes", pump.fits.len(), counts.packs)?;
    count("dimensions", pump.dimensions.len(), counts.dimensions)?;
    count("growths", pump.growths.len(), counts.thermals)?;
    count("derived terms", pump.derived.len(), counts.derived)?;
    count("fits of consumables", pump.consumable_fits.len(), model.consumables.len())?;
    count("requirements", pump.requirements.len(), model.requirements.len())?;
    for measured in &pump.dimensions {
        // Both limits may lie on one side of the stated value, as drawings print them.
        let Tolerance { minus, plus } = measured.tolerance;
        within(minus + plus >= Length::ZERO, "a plus/minus", "a width of 0 or more")?;
        [minus, plus].iter().try_for_each(|side| length("a plus/minus", *side, -Length::MOST))?;
        within(!measured.readings.is_empty(), "the readings", "one or more")?;
        let mut lengths = measured.readings.iter().chain([&measured.value]);
        lengths.try_for_each(|value| length("a reading", *value, -Length::MOST))?;
        gauge_there(measured.gauge, parts)?;
    }
    for growth in &pump.growths {
        length("a growth", growth.value, -Length::MOST)?;
        tolerance(growth.tolerance)?;
    }
    counts.derived(&pump.derived)?;
    for index in 0..pump.derived.len() {
        let known = pump.estimate(Term::Derived(index));
        let mut of = pump.derived[index].of.iter();
        let gauged = of.any(|at| pump.dimensions[*at].gauge.is_some());
        within(!gauged, "a dimension of a derived term", "known by itself, not by a gauge")?;
        within(known.is_some(), "a dimension that divides", "clear of 0 within its plus/minus")?;
    }
    counts.correlations(&pump.correlations, &pump.derived)?;
    counts.requirements(&pump.requirements, &pump.derived)
}

fn check_policy(policy: &Policy) -> Result<(), PartError> {
    let holds = match policy.coverage {
        Coverage::Factor(factor) => (1_000_000..=10_000_000).contains(&factor.raw()),
        Coverage::Level(level) => (500_000..=999_900).contains(&level.raw()),
    };
    within(holds, "the coverage factor", "1 to 10, or a level of 50 to 99.99 %")?;
    price(policy.handling).and_then(|()| price(policy.off_target))?;
    length("the error of a reading", policy.pack_within, Length::ZERO)?;
    length("the error of a reading", policy.clearance_within, Length::ZERO)?;
    let steps = [policy.pack_step, policy.clearance_step].map(|step| [step.inch, step.metric]);
    let is_step = steps.into_iter().flatten().all(gauge::step);
    within(is_step, "the step of a gauge", "above 0 and to 0.1 in")
}
