//! Every way to kit a pump, listed from the meaning of the requirements; only the input types are shared with the library.

use gapwright::job::Job;
use gapwright::length::Tolerance;
use gapwright::model::{Form, Term, Terms};
use gapwright::policy::Acceptance;
use gapwright::pump::Pump;
use gapwright::stock::Item;

/// Pieces of a pack, in ticks and millionths of money.
#[derive(Clone, Default)]
struct Pieces {
    items: Vec<usize>,
    total: i128,
    minus: i128,
    plus: i128,
    cost: i128,
}

/// A way to kit a pump: its pieces, and its waste in millionths of money.
pub struct Way {
    pub items: Vec<usize>,
    pub cost: i128,
}

/// Every way to kit a pump: pieces of its two packs that keep every requirement, in the worst case if the rule is that.
pub fn ways(job: &Job, pump: &Pump) -> Vec<Way> {
    let packs = [0, 1].map(|pack| combinations(job, pump, pack));
    let forms = pump.requirements.iter().map(|requirement| &requirement.form);
    // Requirements on the first pack alone are judged once for each of its combinations.
    let (first, both): (Vec<&Form>, Vec<&Form>) = forms.partition(|form| match form {
        Form::Linear { terms, .. } => terms.iter().all(|(term, _)| *term != Term::Pack(1)),
        Form::GasketFill { .. } => false,
    });
    let charges = |forms: &[&Form], kit: [&Pieces; 2]| -> Option<i128> {
        forms.iter().map(|form| off_target(job, pump, kit, form)).sum()
    };
    let none = Pieces::default();
    let mut ways = Vec::new();
    for one in &packs[0] {
        let Some(charged) = charges(&first, [one, &none]) else { continue };
        for other in &packs[1] {
            if let Some(more) = charges(&both, [one, other]) {
                let items = [&one.items[..], &other.items].concat();
                ways.push(Way { items, cost: one.cost + other.cost + charged + more });
            }
        }
    }
    ways
}

/// Every number of pieces that a pack may have, out of what is on hand, each piece peeled by any number of its layers.
fn combinations(job: &Job, pump: &Pump, pack: usize) -> Vec<Pieces> {
    let of = &job.model_of(pump).packs[pack];
    let fitting = (0..job.stock.len()).filter(|&item| {
        let item = &job.stock[item];
        item.kind == of.kind && item.fit == pump.fits[pack]
    });
    let mut all = vec![Pieces::default()];
    for item in fitting {
        let lot = &job.stock[item];
        let size = lot.size.unwrap();
        let whole = i128::from(size.thickness.ticks());
        let step = lot.peel_step.map_or(whole, |step| i128::from(step.ticks()));
        let cost = i128::from(lot.unit_cost.raw());
        // At least one layer is left; those that are off are waste at their share of the cost, rounded up.
        for off in (0..whole / step).map(|layers| layers * step) {
            for at in 0..all.len() {
                let mut more = all[at].clone();
                while more.items.len() < of.most_pieces as usize
                    && more.items.iter().filter(|of| **of == item).count() < available(lot)
                {
                    more.items.push(item);
                    more.total += whole - off;
                    more.minus += i128::from(size.tolerance.minus.ticks());
                    more.plus += i128::from(size.tolerance.plus.ticks());
                    more.cost += cost + (off * cost + whole - 1) / whole;
                    more.cost += i128::from(job.policy.handling.raw());
                    all.push(more.clone());
                }
            }
        }
    }
    all.retain(|pieces| pieces.items.len() >= of.least_pieces as usize);
    all
}

/// Pieces of a lot that may be taken.
pub fn available(lot: &Item) -> usize {
    (lot.on_hand - lot.reserved) as usize
}

/// The charge for what a requirement comes out off its target, in millionths; `None` if it is not met.
fn off_target(job: &Job, pump: &Pump, kit: [&Pieces; 2], form: &Form) -> Option<i128> {
    const MILLION: i128 = 1_000_000;
    let scaled = |terms: &Terms, by: i128| -> Vec<(Term, i128)> {
        terms.iter().map(|(term, c)| (*term, i128::from(c.raw()) * by)).collect()
    };
    // Sums that must come to at least, at most and about these, in millionths of millionths of a tick.
    let [lower, upper, target] = match form {
        Form::Linear { terms, target, lower, upper } => {
            [*lower, *upper, Some(*target)].map(|end| {
                let end = end.unwrap();
                (scaled(terms, MILLION), i128::from(end.ticks()) * MILLION * MILLION)
            })
        }
        Form::GasketFill { gasket, gap, target, lower, upper } => [*lower, upper.unwrap(), *target]
            .map(|allowance| {
                let mut terms = scaled(gap, -(MILLION + i128::from(allowance.raw())));
                terms.push((Term::Pack(*gasket), MILLION * MILLION));
                (terms, 0)
            }),
    };
    // A root of squares is beyond these sums.
    assert_ne!(job.policy.acceptance, Acceptance::Expanded);
    let guarded = job.policy.acceptance == Acceptance::WorstCase;
    // The value of a sum with everything as it is, or at its worst for a side.
    let sum = |(terms, bound): &(Vec<(Term, i128)>, i128), side: i128| -> i128 {
        let each = terms.iter().map(|&(term, c)| {
            let (value, minus, plus) = match term {
                Term::Dimension(at) => {
                    let Tolerance { minus, plus } = pump.dimensions[at].tolerance;
                    let value = pump.dimensions[at].value.ticks();
                    (value.into(), i128::from(minus.ticks()), i128::from(plus.ticks()))
                }
                Term::Pack(at) => (kit[at].total, kit[at].minus, kit[at].plus),
                Term::Thermal(_) | Term::Derived(_) => unreachable!("fleets have none"),
            };
            let off = match (guarded, (side * c).signum()) {
                (true, 1) => -minus,
                (true, -1) => plus,
                _ => 0,
            };
            c * (value + off)
        });
        each.sum::<i128>() - bound
    };
    if sum(&lower, 1) < 0 || sum(&upper, -1) > 0 {
        return None;
    }
    // By the thou, 254 000 ticks, rounded up.
    let thou = 254_000 * MILLION * MILLION;
    let charge = sum(&target, 0).abs() * i128::from(job.policy.off_target.raw());
    Some((charge + thou - 1) / thou)
}
