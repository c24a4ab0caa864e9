//! Sweeps of every quantity of a pump around the value that it has, as wide as it takes for a verdict to turn.

use super::{Knob, Setting, StepError, Sweep, Swept, SweptPieces, crossing, moved, points};
use crate::accounting::stack;
use crate::job::Job;
use crate::length::Unit;
use crate::model::{Form, FormError, Spread, Term};
use crate::narrow::narrow;
use crate::plan::PackPick;
use crate::stack::{Contributor, Stack, Verdict, judge};

/// First distance that is looked at, in ticks or millionths: 0.025 mm, 1 degC, 0.01 of an allowance.
const FIRST: [i64; 3] = [254_000, 1_000_000, 10_000];
/// Times that the distance is doubled: to 6.5 mm, 256 degC.
const DOUBLINGS: u32 = 8;
/// Steps of a range to either side of the value at hand.
const STEPS: i64 = 12;

/// Sweep around the value that a quantity has.
#[derive(Debug, Clone, PartialEq)]
pub struct Around {
    /// The sweep with its pieces fixed. Its values rise and have on both sides of each turn the neighbours between which the
    /// verdict turns.
    pub swept: Swept,
    /// Index of the value at hand among the values.
    pub at_hand: usize,
    /// Whether the pump is so at that value. Of pieces of unlike tolerances it is that of the worst one, given to all.
    pub as_it_is: bool,
}

impl Around {
    /// Whether every requirement is met at a value, by its index; limits that contradict each other are met by nothing.
    /// `None` where it cannot be worked out.
    pub fn met(&self, index: usize) -> Option<bool> {
        let point = &self.swept.points[index];
        match (&point.kit, point.fault) {
            (Some(kit), _) => Some(kit.requirements.iter().all(|(_, verdict)| verdict.conforms())),
            (None, Some(StepError::Form(FormError::LimitsCrossed))) => Some(false),
            (None, _) => None,
        }
    }
}

/// Every reading, tolerance, temperature and limit of a pump with these pieces, each varied alone. Quantities that the pump
/// does not have, and those that cannot be varied with the pieces fixed, are left out.
///
/// ```
/// use gapwright::choose::{choose, control::Control};
/// use gapwright::plan::Kit;
/// use gapwright::read::{self, Sources};
/// use gapwright::sweep::around;
/// # std::env::set_current_dir(env!("CARGO_MANIFEST_DIR")).unwrap();
/// let [stock, pumps] = ["samples/tiny/stock.csv", "samples/tiny/pumps.csv"];
/// let sources = Sources { stock: stock.into(), pumps: pumps.into(), ..Sources::default() };
/// let job = read::job(&sources).expect("the sample has no problems");
/// let plan = choose(&job, &Control::unlimited()).unwrap();
/// let Kit::Served(packs) = &plan.kits[0] else { panic!("a kit") };
/// let all = around(&job, 0, packs);
/// assert_eq!(all[0].swept.sweep.label, "Impeller clearance with no shims");
/// assert_eq!(all[0].met(all[0].at_hand), Some(true));
/// assert_eq!(all[0].swept.crossings.len(), 2);
/// ```
pub fn around(job: &Job, pump: usize, packs: &[PackPick]) -> Vec<Around> {
    let stack = stack(job, &job.pumps[pump], packs);
    let all = quantities(job, pump, &stack).into_iter();
    all.filter_map(|(knob, label, now, first)| one(job, (pump, packs), (knob, label), now, first))
        .collect()
}

/// Quantities of a pump with their values at hand, and the first distance to look at.
fn quantities(job: &Job, pump: usize, stack: &Stack) -> Vec<(Knob, String, Setting, i64)> {
    let pump = &job.pumps[pump];
    let model = job.model_of(pump);
    let [length, degree, allowance] = FIRST;
    let mut all = Vec::new();
    let dimensions = model.dimensions.iter().zip(&pump.dimensions).enumerate();
    for (at, (dimension, measured)) in dimensions.clone() {
        let value = Setting::Length(measured.value);
        all.push((Knob::Dimension(at), dimension.label.clone(), value, length));
    }
    for (at, (dimension, measured)) in dimensions {
        let mut add = |knob, word: &str, value| {
            all.push((
                knob,
                format!("{}, {word}", dimension.label),
                Setting::Length(value),
                length,
            ));
        };
        let each = measured.each;
        match dimension.spread {
            Spread::Within(_) if each.minus == each.plus => {
                add(Knob::DimensionWithin(at), "plus/minus", each.plus);
            }
            Spread::Within(_) => {
                add(Knob::DimensionPlus(at), "plus", each.plus);
                add(Knob::DimensionMinus(at), "minus", each.minus);
            }
            Spread::StandardUncertainty(_) | Spread::FromReadings { .. } => {}
        }
    }
    for (at, place) in model.packs.iter().enumerate() {
        // Beside pieces of other tolerances the worst one counts for all: never better than it is.
        let worst = moved::worst_of(stack, at).map(|worst| worst.minus.max(worst.plus));
        let label = format!("{}, plus/minus of every piece", place.label);
        all.extend(
            worst.map(|worst| (Knob::PiecesWithin(at), label, Setting::Length(worst), length)),
        );
    }
    for (at, growth) in pump.growths.iter().enumerate() {
        let running = Setting::Number(growth.thermal.running);
        let label = format!("{}, running (degC)", growth.thermal.label);
        all.push((Knob::Running(at), label, running, degree));
    }
    for (at, requirement) in pump.requirements.iter().enumerate() {
        let (limits, first) = match &requirement.form {
            Form::Linear { lower, upper, .. } => {
                ([*lower, *upper].map(|limit| limit.map(Setting::Length)), length)
            }
            Form::GasketFill { lower, upper, .. } => {
                ([Some(*lower), *upper].map(|limit| limit.map(Setting::Number)), allowance)
            }
        };
        let knobs = [(Knob::Lower(at), "lower limit"), (Knob::Upper(at), "upper limit")];
        for ((knob, word), limit) in knobs.into_iter().zip(limits) {
            all.extend(
                limit.map(|limit| (knob, format!("{}, {word}", requirement.label), limit, first)),
            );
        }
    }
    all
}

fn one(
    job: &Job,
    (pump, packs): (usize, &[PackPick]),
    (knob, label): (Knob, String),
    now: Setting,
    first: i64,
) -> Option<Around> {
    let verdicts = |setting: Setting| -> Result<Vec<Verdict>, StepError> {
        let (pump, stack) = moved::held(job, pump, packs, &[(knob, setting)])?;
        let all = pump.requirements.iter();
        Ok(all.map(|asked| judge(&asked.form, &stack, job.policy.guard())).collect())
    };
    let met = |setting| verdicts(setting).ok().map(|all| all.iter().all(Verdict::conforms));
    let at_hand = met(now)?;
    let never_below_zero = !matches!(
        (knob, now),
        (Knob::Dimension(_) | Knob::Running(_), _)
            | (Knob::Lower(_) | Knob::Upper(_), Setting::Length(_))
    );
    // Distance to a turn, or as far as is looked.
    let distance = |way: i64| {
        let doubled = (0..=DOUBLINGS).map(|times| first << times);
        let turned = |distance: &i64| {
            met(now.with_raw(now.raw().saturating_add(way * distance))) == Some(!at_hand)
        };
        doubled.clone().find(turned).ok_or(first << DOUBLINGS)
    };
    // A side without a turn goes as far as the other one.
    let [below, above] = match [distance(-1), distance(1)] {
        [Ok(below), Err(_)] => [below; 2],
        [Err(_), Ok(above)] => [above; 2],
        [below, above] => [below, above].map(|side| side.unwrap_or_else(|farthest| farthest)),
    };
    // Somewhat beyond the turn.
    let end = |way: i64, distance: i64| {
        let end = now.raw().saturating_add(way * (distance + distance / 4));
        if never_below_zero { end.max(0) } else { end }
    };
    let (low, high) = (end(-1, below), end(1, above));
    let between = |from: i64, to: i64| {
        (0..=STEPS).map(move |step| {
            let way = (i128::from(to) - i128::from(from)) * i128::from(step);
            narrow::<i64>(i128::from(from) + way / i128::from(STEPS))
        })
    };
    let unit = job.model_of(&job.pumps[pump]).unit;
    let all = between(low, now.raw()).chain(between(now.raw(), high));
    let mut raws: Vec<i64> = all.map(|raw| shown(now, raw, (unit, first))).collect();
    raws.push(now.raw());
    let settings = |raws: &mut Vec<i64>| -> Vec<Setting> {
        raws.sort_unstable();
        raws.dedup();
        raws.iter().map(|&raw| now.with_raw(raw)).collect()
    };
    let coarse = Sweep { knob, label, settings: settings(&mut raws) };
    let crossings = crossing::held(job, pump, packs, &coarse);
    raws.extend(crossings.iter().flat_map(|turn| [turn.met.raw(), turn.not_met.raw()]));
    let sweep = Sweep { settings: settings(&mut raws), ..coarse };
    let uneven = |at: usize| {
        let (pump, worst) = (&job.pumps[pump], now.raw());
        let stack = stack(job, pump, packs);
        let pieces = stack.contributors.into_iter().filter(|part| part.term == Term::Pack(at));
        let of = |part: Contributor| [part.tolerance.minus, part.tolerance.plus];
        pieces.flat_map(of).any(|side| side.ticks() != worst)
    };
    Some(Around {
        as_it_is: !matches!(knob, Knob::PiecesWithin(at) if uneven(at)),
        at_hand: sweep.settings.iter().position(|setting| *setting == now)?,
        swept: Swept {
            points: points(job, pump, packs, &sweep),
            crossings,
            pieces: SweptPieces::Held,
            given: None,
            sweep,
        },
    })
}

/// A value between the ends in as many digits as a gauge shows, or in steps of the first distance.
fn shown(kind: Setting, raw: i64, (unit, first): (Unit, i64)) -> i64 {
    let step = match kind {
        Setting::Length(_) => unit.ticks() / 10_i64.pow(unit.places()),
        Setting::Number(_) => first,
    };
    raw.div_euclid(step) * step
}
