//! The library's nouns recalculated in whole numbers: values of requirements, pieces of pumps, causes of shortages.

use std::cmp::Ordering;

use gapwright::accounting::verdicts;
use gapwright::consumables::Share;
use gapwright::job::Job;
use gapwright::length::{Length, Tolerance};
use gapwright::model::{Form, Requirement, Term};
use gapwright::plan::{Kit, PackPick, Pick};
use gapwright::policy::Acceptance;
use gapwright::pump::Pump;
use gapwright::stock::Item;
use gapwright::verify::Verified;

use crate::figures::raw;

/// A value and its possible deviation below and above, in millionths of a tick.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Reach {
    pub value: i128,
    pub below: i128,
    pub above: i128,
}

impl Reach {
    fn of(value: Length, Tolerance { minus, plus }: Tolerance) -> Reach {
        Reach { value: raw(value), below: raw(minus), above: raw(plus) }
    }

    fn plus(self, other: Reach) -> Reach {
        Reach {
            value: self.value + other.value,
            below: self.below + other.below,
            above: self.above + other.above,
        }
    }

    /// Times a sensitivity in millionths; a negative one swaps the sides.
    fn times(self, sensitivity: i128) -> Reach {
        let by = |part: i128| part * sensitivity / 1_000_000;
        let (below, above) = match sensitivity < 0 {
            true => (-by(self.above), -by(self.below)),
            false => (by(self.below), by(self.above)),
        };
        Reach { value: by(self.value), below, above }
    }
}

/// Thickness of a piece with `peeled` layers off.
pub fn fitted(item: &Item, peeled: u32) -> Length {
    let whole = item.size.unwrap().thickness.ticks();
    let layer = item.peel_step.map_or(0, |step| step.ticks());
    Length::from_ticks(whole - i64::from(peeled) * layer)
}

/// Total of a pack.
pub fn pack(job: &Job, pack: &PackPick) -> Reach {
    let picks = pack.picks.iter().map(|pick| {
        let item = &job.stock[pick.item];
        let one = Reach::of(fitted(item, pick.peeled), item.size.unwrap().tolerance);
        one.times(1_000_000 * i128::from(pick.count))
    });
    picks.fold(Reach::default(), Reach::plus)
}

fn term(job: &Job, pump: &Pump, packs: &[PackPick], term: Term) -> Reach {
    match term {
        Term::Dimension(at) => Reach::of(pump.dimensions[at].value, pump.dimensions[at].tolerance),
        Term::Thermal(at) => Reach::of(pump.growths[at].value, pump.growths[at].tolerance),
        Term::Derived(_) => unreachable!("no derived terms here"),
        Term::Pack(at) => pack(job, &packs[at]),
    }
}

type Terms<'a> = &'a [(Term, gapwright::decimal::Millionths)];

pub fn sum(job: &Job, pump: &Pump, packs: &[PackPick], terms: Terms) -> Reach {
    let parts = terms.iter().map(|(of, c)| term(job, pump, packs, *of).times(c.raw().into()));
    parts.fold(Reach::default(), Reach::plus)
}

/// Result of a requirement.
#[derive(Debug, Clone, Copy)]
pub struct Out {
    pub value: i128,
    pub target: i128,
    pub lower: i128,
    pub upper: i128,
    /// Guards at the lower and at the upper limit.
    pub guards: [i128; 2],
}

impl Out {
    pub fn margin(&self) -> i128 {
        let low = self.value - self.guards[0] - self.lower;
        low.min(self.upper - self.guards[1] - self.value)
    }
}

/// Result in the worst case.
pub fn worst(job: &Job, pump: &Pump, packs: &[PackPick], form: &Form) -> Out {
    match form {
        Form::Linear { terms, target, lower, upper } => {
            let reach = sum(job, pump, packs, terms);
            Out {
                value: reach.value,
                target: raw(*target),
                lower: raw(lower.unwrap()),
                upper: raw(upper.unwrap()),
                guards: [reach.below, reach.above],
            }
        }
        Form::GasketFill { gasket, gap, target, lower, upper } => {
            let (free, gap) = (pack(job, &packs[*gasket]), sum(job, pump, packs, gap));
            let grown = |allowance: i64| gap.times(1_000_000 + i128::from(allowance));
            let [target, lower, upper] =
                [*target, *lower, upper.unwrap()].map(|allowance| grown(allowance.raw()));
            Out {
                value: free.value,
                target: target.value,
                lower: lower.value,
                upper: upper.value,
                // The gasket at its thinnest over the widest gap, and the reverse.
                guards: [free.below + lower.above, free.above + upper.below],
            }
        }
    }
}

/// Results under the rule of the job; an expanded uncertainty is the library's own.
pub fn outs(job: &Job, pump: &Pump, packs: &[PackPick]) -> Vec<Out> {
    let of_library = verdicts(job, pump, packs);
    let all = pump.requirements.iter().zip(of_library);
    let all = all.map(|(requirement, v)| {
        let mut out = worst(job, pump, packs, &requirement.form);
        match job.policy.acceptance {
            Acceptance::WorstCase => {}
            Acceptance::Nominal => out.guards = [0, 0],
            Acceptance::Expanded => out.guards = [v.guard_lower.raw(), v.guard_upper.raw()],
        }
        out
    });
    all.collect()
}

/// Whether the rule of the job is the nominal one, and the worst case is beyond a limit.
pub fn is_nominal_only(job: &Job, pump: &Pump, packs: &[PackPick], form: &Form) -> bool {
    job.policy.acceptance == Acceptance::Nominal && worst(job, pump, packs, form).margin() < 0
}

/// The requirement with the least room.
pub fn tightest<'a>(job: &Job, pump: &'a Pump, packs: &[PackPick]) -> (&'a Requirement, Out) {
    let all = pump.requirements.iter().zip(outs(job, pump, packs));
    all.reduce(|best, next| if next.1.margin() < best.1.margin() { next } else { best }).unwrap()
}

/// The form without its thermal terms.
pub fn cold(form: &Form) -> Form {
    let mut form = form.clone();
    let (Form::Linear { terms, .. } | Form::GasketFill { gap: terms, .. }) = &mut form;
    terms.retain(|(term, _)| !matches!(term, Term::Thermal(_)));
    form
}

pub fn is_hot(form: &Form) -> bool {
    let (Form::Linear { terms, .. } | Form::GasketFill { gap: terms, .. }) = form;
    terms.iter().any(|(term, _)| matches!(term, Term::Thermal(_)))
}

/// Terms that a reading of the cold pump on the bench measures.
fn read_as(form: &Form) -> Option<Vec<(Term, i64)>> {
    let Form::Linear { terms, .. } = cold(form) else {
        return None;
    };
    let mut terms: Vec<_> = terms.iter().map(|(term, c)| (*term, c.raw())).collect();
    terms.sort_unstable();
    Some(terms)
}

/// Running requirements that rest on the reading of this one.
pub fn running_with<'a>(pump: &'a Pump, form: &Form) -> Vec<&'a Form> {
    let own = read_as(form);
    let all = pump.requirements.iter().map(|other| &other.form);
    all.filter(|other| own.is_some() && is_hot(other) && read_as(other) == own).collect()
}

/// Whether the bench is asked for a reading of it: of a clearance, and running only if no other asks it cold.
pub fn is_read(pump: &Pump, form: &Form) -> bool {
    let Some(own) = read_as(form).filter(|terms| !terms.is_empty()) else {
        return false;
    };
    let mut others = pump.requirements.iter().map(|other| &other.form);
    !is_hot(form) || !others.any(|other| !is_hot(other) && read_as(other).as_ref() == Some(&own))
}

/// Cold readings with which the running limits hold even at the worst growth; the low end is above the high one where
/// there are none.
pub fn window(job: &Job, pump: &Pump, packs: &[PackPick], form: &Form) -> Option<[i128; 2]> {
    let Form::Linear { terms, lower, upper, .. } = form else {
        return None;
    };
    let is_growth = |(term, _): &&(Term, _)| matches!(term, Term::Thermal(_));
    let growth: Vec<_> = terms.iter().filter(is_growth).copied().collect();
    let growth = sum(job, pump, packs, &growth);
    let low = raw(lower.unwrap()) - growth.value + growth.below;
    Some([low, raw(upper.unwrap()) - growth.value - growth.above])
}

/// The pumps in the order of their slips: due date, then priority, then row.
pub fn slips(job: &Job) -> Vec<usize> {
    let day = |at: usize| job.pumps[at].due.as_ref().map(|due| due.serial);
    let mut order: Vec<usize> = (0..job.pumps.len()).collect();
    order.sort_by(|&a, &b| {
        let due = match (day(a), day(b)) {
            (Some(a), Some(b)) => a.partial_cmp(&b).unwrap(),
            // Pumps without a date come last, together with unreadable dates.
            (Some(day), None) if day.is_finite() => Ordering::Less,
            (None, Some(day)) if day.is_finite() => Ordering::Greater,
            _ => Ordering::Equal,
        };
        due.then(job.pumps[a].priority.cmp(&job.pumps[b].priority)).then(a.cmp(&b))
    });
    order
}

/// Pieces of a pump: for its places, and for its bag.
pub fn picks(verified: &Verified, pump: usize) -> Vec<Pick> {
    let mut picks = Vec::new();
    if let Kit::Served(packs) = &verified.plan().kits[pump] {
        picks.extend(packs.iter().flat_map(|pack| pack.picks.clone()));
    }
    picks.extend(verified.bags()[pump].iter().flat_map(|share| share.picks.clone()));
    picks
}

/// Pieces of an item that the plan takes.
pub fn taken(verified: &Verified, item: usize) -> u32 {
    let pumps = 0..verified.job().pumps.len();
    let picks = pumps.flat_map(|pump| picks(verified, pump));
    picks.filter(|pick| pick.item == item).map(|pick| pick.count).sum()
}

/// Pieces of an item that are spoiled with their pack: by hand, loose ones first, then pack by pack.
pub fn spoiled(verified: &Verified, item: usize) -> u32 {
    let (job, lot) = (verified.job(), &verified.job().stock[item]);
    if !job.policy.opened_cartons_spoiled || lot.carton_qty <= 1 {
        return 0;
    }
    let mut rest = (lot.on_hand - lot.reserved) % lot.carton_qty;
    for _ in 0..taken(verified, item) {
        rest = match rest {
            0 => lot.carton_qty - 1,
            rest => rest - 1,
        };
    }
    let loose = (lot.on_hand - lot.reserved) % lot.carton_qty;
    if taken(verified, item) <= loose { 0 } else { rest }
}

pub fn left(verified: &Verified, item: usize) -> u32 {
    let lot = &verified.job().stock[item];
    lot.on_hand - taken(verified, item) - spoiled(verified, item)
}

pub fn lacks(bag: &[Share]) -> bool {
    bag.iter().any(|share| share.lacking > 0)
}

pub fn due(pump: &Pump) -> &str {
    pump.due.as_ref().map_or("", |due| &due.shown)
}

pub fn bin(item: &Item) -> &str {
    item.bin.as_deref().unwrap_or("")
}

/// Rows of the stock that serve a consumable, those without a fit code first.
pub fn serving(job: &Job, pump: &Pump, need: usize) -> Vec<usize> {
    let (asked, fit) = (&job.model_of(pump).consumables[need], &pump.consumable_fits[need]);
    if asked.fit_column.is_some() && fit.code.is_none() {
        return Vec::new();
    }
    let serves = |item: &Item| {
        let code = fit.code.as_ref().is_none_or(|code| item.fit == *code);
        let section = fit.space.is_none_or(|space| {
            let sides = space.bore().ticks() - space.shaft().ticks();
            item.section.is_some_and(|section| 2 * section.ticks() == sides)
        });
        item.kind == asked.kind && code && section
    };
    let rows = (0..job.stock.len()).filter(|&row| serves(&job.stock[row]));
    let (bare, coded): (Vec<_>, Vec<_>) =
        rows.partition(|&row| job.stock[row].fit.as_str().is_empty());
    [bare, coded].concat()
}

/// Bins in walking order: letters, then numbers by their size.
pub fn by_bin(a: &str, b: &str) -> Ordering {
    let split = |bin: &str| {
        let at = bin.find(|c: char| c.is_ascii_digit()).unwrap_or(bin.len());
        let number: u32 = bin[at..].parse().unwrap_or(0);
        (bin[..at].to_lowercase(), number)
    };
    split(a).cmp(&split(b))
}
