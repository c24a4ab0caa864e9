//! Provision before the outage: pieces to set aside while dimensions are expected, not yet measured.
//!
//! [`provision()`] gives two answers, each with its price. A *safe kit* holds, for one pump, the pieces for
//! every value that its dimensions may have. The *trolley* holds, for all pumps together, the pieces that
//! serve the whole batch with a stated probability: pumps rarely all need the same thicknesses, so pieces are
//! shared and the trolley costs less. Its service is counted on scenarios of its own, never on those that it
//! was chosen for, and it is chosen with a margin until the low end of that count clears the probability.
//!
//! The count presumes that every pump is measured before the first is kitted. Beside it stands the count with the pumps
//! kitted one after the other, each from what the others have left.
//!
//! Values are examined in steps: the low end of a range, every step up from there, and the high end. Values between
//! two steps are not examined. Money is the unit cost of the pieces set aside; most of them go back into their drawers.
//!
//! The trolley is chosen by sample average approximation: Kleywegt, Shapiro and Homem-de-Mello, The sample
//! average approximation method for stochastic discrete optimization, SIAM Journal on Optimization 12 (2002);
//! with chance constraints Luedtke and Ahmed, SIAM Journal on Optimization 19 (2008); both from memory.
//!
//! ```
//! use gapwright::choose::control::Control;
//! use gapwright::length::{Length, Unit};
//! use gapwright::forecast::{Expected, ExpectedLaw, Forecast};
//! use gapwright::provision::{ProvisionOptions, provision};
//! use gapwright::read::{self, Sources};
//!
//! # std::env::set_current_dir(env!("CARGO_MANIFEST_DIR")).unwrap();
//! let job = read::job(&Sources {
//!     stock: "samples/tiny/stock.csv".into(),
//!     pumps: "samples/tiny/pumps.csv".into(),
//!     ..Sources::default()
//! })
//! .expect("the sample has no problems");
//! // Take the first dimension of each pump as known within two thou only.
//! let thou = |n: i64| Length::from_ticks(n * Unit::Thou.ticks());
//! let mut expected: Vec<Vec<Option<Expected>>> = Vec::new();
//! for pump in &job.pumps {
//!     let mut of_pump = vec![None; pump.dimensions.len()];
//!     let middle = pump.dimensions[0].value;
//!     of_pump[0] = Some(Expected { low: middle - thou(2), high: middle + thou(2), law: ExpectedLaw::Even });
//!     expected.push(of_pump);
//! }
//! let forecast = Forecast::new(job, expected).expect("a range for every dimension");
//! let found = provision(&forecast, &ProvisionOptions::new(thou(1)), &Control::unlimited())?;
//! assert!(found.safe.iter().all(|kit| kit.proven && kit.values() == 5));
//! assert!(found.trolley.bound <= found.trolley.cost);
//! assert!(found.service.interval[0] <= found.service.share());
//! # Ok::<(), gapwright::provision::ProvisionError>(())
//! ```

mod cases;
mod cover;
mod draws;
mod hold;
mod left;
mod patterns;
mod promise;
mod remarks;
mod safe;
mod scenarios;
mod serve;
mod service;
mod shrink;
mod trolley;

use std::sync::Arc;

use thiserror::Error;

use crate::choose::ChooseError;
use crate::choose::control::{Control, Pace};
use crate::decimal::{Millionths, Money};
use crate::forecast::{Expected, Forecast};
use crate::length::Length;
use crate::plan::{PackPick, Stop};
pub use hold::to_hold_back;
pub use left::{DRAWS, with_left};
pub use scenarios::Purpose;
use scenarios::Scenarios;
pub use service::exact_interval;

/// Options of a provision.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ProvisionOptions {
    /// Spacing of the values examined; above zero.
    pub step: Length,
    /// Probability that the trolley should serve the whole batch: above 0, at most 1.
    pub probability: Millionths,
    /// Scenarios that the trolley is chosen for, 1 to 100,000.
    pub scenarios: u32,
    /// Scenarios that its service is counted on, independent of those; 1 to 1,000,000.
    pub checks: u32,
    /// Seed; scenarios differ from seed to seed only.
    pub seed: u64,
    /// Level of confidence of the interval about the service, between 0 and 1.
    pub level: Millionths,
    /// Ways to kit a pump that the search for one safe kit examines, about; then it ends with the best kit so
    /// far.
    pub effort: u64,
}

impl ProvisionOptions {
    /// Options with this spacing and the defaults: a probability of 95 %, 500 scenarios, 1,000 others to
    /// count the service on, seed 1, an interval of 95 %.
    pub fn new(step: Length) -> ProvisionOptions {
        ProvisionOptions {
            step,
            probability: Millionths::from_raw(950_000),
            scenarios: 500,
            checks: 1_000,
            seed: 1,
            level: Millionths::from_raw(950_000),
            effort: 50_000_000,
        }
    }
}

/// Reason that there is no answer.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum ProvisionError {
    /// The step is not above zero.
    #[error("the step is not above zero")]
    Step,
    /// The probability is not above 0 and at most 1.
    #[error("the probability must be above 0 and at most 1")]
    Probability,
    /// The level of confidence is not between 0 and 1.
    #[error("the level of confidence must lie between 0 and 1")]
    Level,
    /// Too few or too many scenarios.
    #[error("{0} scenarios: from 1 to {1} can be drawn")]
    Scenarios(u32, u32),
    /// The dimensions of a pump have too many values.
    #[error(
        "pump {tag} can come to {values} values; at most {MOST_VALUES} can be examined: take steps of \
         {} nm at least, or narrow its ranges", nanometres(.step)
    )]
    TooManyValues {
        /// Tag of the pump.
        tag: String,
        /// Number of values.
        values: u128,
        /// Step that makes few enough.
        step: Length,
    },
    /// The time ended before all ways to kit the pumps were listed: no answer yet.
    #[error("the {} ended the work before all ways to kit the pumps were listed", .0.words())]
    Stopped(Stop),
    /// Values and scenarios take more memory than the run may.
    #[error(
        "the values and scenarios to examine take more than {0} MB of memory; take a coarser step or fewer \
         scenarios, or allow more memory"
    )]
    NoRoom(u64),
    /// A place or a pump can be filled in too many ways to list.
    #[error(transparent)]
    Choose(#[from] ChooseError),
}

fn nanometres(length: &Length) -> String {
    let ticks = length.ticks();
    match ticks % 10 {
        0 => (ticks / 10).to_string(),
        tenths => format!("{}.{tenths}", ticks / 10),
    }
}

/// Units of work that are done in any case, so that a small outage always has an answer.
const GRACE: usize = 2_000_000;

/// Most scenarios to choose a trolley for.
const MOST_SCENARIOS: u32 = 100_000;

/// Most values of one pump.
pub const MOST_VALUES: u128 = 20_000;

/// Pieces to set aside.
#[derive(Debug, Clone, PartialEq)]
pub struct Provision {
    /// Safe kit of each pump, in the job's order.
    pub safe: Vec<SafeKit>,
    /// All safe kits set aside at once.
    pub together: Together,
    /// Trolley for all pumps together.
    pub trolley: Trolley,
    /// Service of the trolley, on scenarios of its own.
    pub service: Service,
    /// Pumps, ascending, that are measured and that no pieces in stock fit: NOT FIT TO ASSEMBLE whatever is set aside.
    /// They are left out of the trolley and of its count.
    pub left_out: Vec<usize>,
    /// Pumps whose values are too far apart to cover the range between them.
    pub coarse: Vec<Coarse>,
    /// Items, ascending, that could be set aside and whose unit cost in the stock is missing or 0: they count
    /// as free.
    pub free: Vec<usize>,
    /// Reason that the work ended early, if it did.
    pub stopped: Option<Stop>,
}

/// Pump whose values are more than a fifth of a requirement's width apart.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Coarse {
    /// Index in the job.
    pub pump: usize,
    /// Range of its dimension between the limits of the narrowest such requirement.
    pub width: Length,
}

impl Provision {
    /// Whether the trolley misses the probability asked for: on the scenarios that it was chosen for,
    /// because that probability is out of reach with any pieces, or by its count.
    pub fn falls_short(&self, question: &ProvisionOptions) -> bool {
        let probability = question.probability.to_f64();
        let below = self.service.interval[1] < probability;
        !self.trolley.enough() || self.service.out_of_reach(probability) || below
    }
}

/// Pieces of one item.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct SetAside {
    /// Index of the item in the job's stock.
    pub item: usize,
    /// Number of pieces; above zero.
    pub count: u32,
}

/// Pieces for one pump that meet every one of its values that the stock can meet.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SafeKit {
    /// Pieces, ascending by item.
    pub pieces: Vec<SetAside>,
    /// Cost of the pieces.
    pub cost: Money,
    /// Number of pieces.
    pub count: u32,
    /// Bound: no kit that covers the same values costs less.
    pub bound: Money,
    /// Bound: no kit of the same cost that covers the same values has fewer pieces.
    pub count_bound: u32,
    /// Whether it is proven best: in cost, and then in number of pieces.
    pub proven: bool,
    /// Dimensions that are only expected, with the values at which each is examined.
    pub axes: Vec<Axis>,
    /// Class of each value: an index into `met`. The last axis moves first.
    pub(crate) class: Arc<Vec<u32>>,
    /// Pieces to take out of the kit, by class; `None` where no piece in the drawers fits.
    pub(crate) met: Arc<Vec<Option<Vec<PackPick>>>>,
}

/// Values at which one dimension is examined.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Axis {
    /// Index in the pump's model.
    pub dimension: usize,
    /// Values, ascending, both ends of the range included.
    pub values: Vec<Length>,
}

/// Value that a pump may have.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Value<'a> {
    /// Length of each dimension that is only expected, in the order of the axes.
    pub lengths: Vec<Length>,
    /// Pieces of the safe kit to take at this value, pack by pack; `None` is a gap: no piece in the drawers
    /// fits.
    pub take: Option<&'a [PackPick]>,
}

impl SafeKit {
    /// Number of values at which the pump is examined; 1 where everything is measured.
    pub fn values(&self) -> usize {
        self.class.len()
    }

    /// Value by its number; `None` beyond the last. The last axis moves first.
    pub fn value(&self, number: usize) -> Option<Value<'_>> {
        let class = *self.class.get(number)?;
        let mut rest = number;
        let mut lengths: Vec<Length> = self
            .axes
            .iter()
            .rev()
            .map(|axis| {
                let length = axis.values[rest % axis.values.len()];
                rest /= axis.values.len();
                length
            })
            .collect();
        lengths.reverse();
        Some(Value { lengths, take: self.met[class as usize].as_deref() })
    }

    /// All values in order.
    pub fn iter(&self) -> impl Iterator<Item = Value<'_>> {
        (0..self.values()).filter_map(|number| self.value(number))
    }

    /// Number of values in a gap: no piece in the drawers fits.
    pub fn gaps(&self) -> usize {
        let gap = |class: &&u32| self.met[**class as usize].is_none();
        self.class.iter().filter(gap).count()
    }
}

/// All safe kits set aside at once.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Together {
    /// Pieces of all safe kits, ascending by item.
    pub pieces: Vec<SetAside>,
    /// Cost of the pieces.
    pub cost: Money,
    /// Number of pieces.
    pub count: u32,
    /// Pieces missing from the drawers for that, ascending by item; empty if all can be set aside at once.
    pub lacking: Vec<SetAside>,
    /// Lots of sheets, by index, that are too few unless several shapes are cut from one sheet, which is not
    /// examined here.
    pub plates: Vec<usize>,
}

/// Pieces for all pumps together.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Trolley {
    /// Pieces, ascending by item.
    pub pieces: Vec<SetAside>,
    /// Cost of the pieces.
    pub cost: Money,
    /// Number of pieces.
    pub count: u32,
    /// Scenarios that it was chosen for.
    pub scenarios: u32,
    /// Scenarios in which some pump is in a gap: no trolley serves them.
    pub hopeless: u32,
    /// Scenarios that must be served for the probability asked for.
    pub required: u32,
    /// Scenarios that it was to serve: the required ones, and a margin.
    pub wanted: u32,
    /// Cost of the trolley for the probability asked for without a margin, for as many of the scenarios and no more:
    /// others are served less often.
    pub plain_cost: Money,
    /// Scenarios served among those that it was chosen for, each with a kit for every pump. This does not
    /// estimate its service: it was made for these.
    pub served: u32,
    /// Scenarios in which every pump outside a gap has a kit; includes those served. Where fewer than
    /// `wanted` can be served, the trolley is chosen so that at least `wanted` are served apart from their
    /// gaps; where these are fewer as well, no trolley was found that does so in more.
    pub served_except_gaps: u32,
    /// Bound: no trolley that serves as many of these scenarios as well costs less.
    pub bound: Money,
    /// Lots of sheets, by index, that are too few unless several shapes are cut from one sheet, which is not
    /// examined here.
    pub plates: Vec<usize>,
}

impl Trolley {
    /// Whether it serves as many of its scenarios as required.
    pub fn enough(&self) -> bool {
        self.served >= self.required
    }

    /// Whether it serves as many of its scenarios as wanted, and no cheaper trolley does.
    pub fn proven(&self) -> bool {
        self.served >= self.wanted && self.cost == self.bound
    }

    /// Whether too many of the scenarios that it was chosen for are in a gap, so that no trolley can serve as
    /// many as required. Other scenarios may differ; see [`Service::out_of_reach`].
    pub fn too_many_gaps(&self) -> bool {
        self.hopeless > self.scenarios.saturating_sub(self.required)
    }
}

/// Service of a trolley: scenarios in which it serves the whole batch.
#[derive(Debug, Clone, PartialEq)]
pub struct Service {
    /// Number of the first scenario counted: those before it were counted for trolleys without enough of a margin.
    pub first: u32,
    /// Scenarios counted.
    pub checks: u32,
    /// Scenarios in which every pump is served, each with a kit.
    pub served: u32,
    /// Scenarios in which some pump is in a gap: no piece in the drawers fits.
    pub hopeless: u32,
    /// Scenarios that were not decided; they count as not served.
    pub undecided: u32,
    /// Scenarios in which every pump outside a gap has a kit; includes those served.
    pub served_except_gaps: u32,
    /// Scenarios in which every pump is served if they are kitted one after the other, in the order of the job: each
    /// takes the cheapest pieces that are left, without knowing what the later ones will need.
    pub in_turn: u32,
    /// Exact binomial interval about the share of those.
    pub in_turn_interval: [f64; 2],
    /// Exact binomial interval about the service, 0 to 1. Its low end counts the undecided scenarios as not
    /// served, its high end as served.
    pub interval: [f64; 2],
    /// Exact binomial interval about the share of scenarios without a gap: no trolley serves more.
    pub reachable: [f64; 2],
    /// Scenarios in which a pump goes without, by pump, when as many pumps as found possible are served.
    pub missed: Vec<u32>,
    /// Scenarios that are not served, in order.
    pub unserved: Vec<Unserved>,
}

/// Scenario that a trolley does not serve.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Unserved {
    /// Number of the scenario, as in [`scenario`].
    pub scenario: u32,
    /// Pumps that go without in the best assignment found.
    pub pumps: Vec<usize>,
    /// Whether it is certain that not all can be served.
    pub certain: bool,
}

impl Service {
    /// Share of the scenarios that are served, 0 to 1.
    pub fn share(&self) -> f64 {
        f64::from(self.served) / f64::from(self.checks.max(1))
    }

    /// Share of the scenarios that are served if the pumps are kitted one after the other, 0 to 1.
    pub fn share_in_turn(&self) -> f64 {
        f64::from(self.in_turn) / f64::from(self.checks.max(1))
    }

    /// Whether a probability is out of reach with any pieces: the whole interval about the share of scenarios
    /// without a gap is below it.
    pub fn out_of_reach(&self, probability: f64) -> bool {
        self.reachable[1] < probability
    }
}

/// Value of every dimension in a scenario, by pump and dimension of its model; `None` for measured
/// dimensions. Scenarios are numbered from 0 for each purpose.
///
/// # Errors
/// [`ProvisionError`], as [`provision`].
pub fn scenario(
    outlook: &Forecast,
    question: &ProvisionOptions,
    purpose: Purpose,
    number: u32,
) -> Result<Vec<Vec<Option<Length>>>, ProvisionError> {
    question.check()?;
    cases::cases(outlook, question.step)?;
    let drawn = scenarios::lengths(outlook, question.seed, purpose, number, question.step);
    let mut drawn = drawn.into_iter();
    let pump = |expected: &Vec<Option<Expected>>| {
        let one = |expected: &Option<Expected>| expected.and_then(|_| drawn.next());
        expected.iter().map(one).collect()
    };
    Ok(outlook.expected().iter().map(pump).collect())
}

/// Finds the pieces to set aside.
///
/// # Errors
/// [`ProvisionError`]. If the control stops the work, the result so far is returned, with its bounds.
pub fn provision(
    outlook: &Forecast,
    question: &ProvisionOptions,
    control: &Control<'_>,
) -> Result<Provision, ProvisionError> {
    question.check()?;
    let ProvisionOptions { step, seed, .. } = *question;
    let job = outlook.job();
    let lists = control.lists();
    let (views, mut register) = cases::cases(outlook, step)?;
    let keep = |bytes: usize| control.keep(bytes).map_err(patterns::no_room);
    let mut pace = Pace::at_least(control, GRACE);
    let grid = |view: &cases::Case| {
        if let Some(stop) = pace.stop(view.values()) {
            return Err(ProvisionError::Stopped(stop));
        }
        keep(view.values().saturating_mul(size_of::<u32>()))?;
        let before = register.bytes();
        let grid = view.grid(&mut register);
        keep(register.bytes().saturating_sub(before))?;
        Ok(grid)
    };
    let grids: Vec<Vec<u32>> = views.iter().map(grid).collect::<Result<_, _>>()?;
    let mut draw = |purpose, number| {
        let of = (seed, purpose, number, step);
        Scenarios::draw(outlook, &views, &mut register, of, &mut pace)
            .map_err(ProvisionError::Stopped)
    };
    let rounds = promise::rounds(question, job.pumps.len());
    keep(promise::bytes(question, job, rounds))?;
    let choosing = draw(Purpose::Choosing, promise::most_scenarios(question))?;
    let counting = draw(Purpose::Counting, question.checks.saturating_mul(rounds))?;
    let mut drawn = promise::Drawn { choosing, counting, rounds };
    let ways = patterns::list(job, &register, control)?;
    let safe = safe::kits(job, &ways, &views, &grids, question.effort, control)
        .map_err(patterns::no_room)?;
    let together = safe::together(job, &ways, &safe);
    let free = remarks::free(&ways);
    // A measured pump that nothing fits is in a gap in every scenario.
    let in_a_gap = |pump: &usize| {
        let measured = views[*pump].axes.is_empty();
        measured && grids[*pump].iter().all(|&class| ways.gap(class))
    };
    let left_out: Vec<usize> = (0..job.pumps.len()).filter(in_a_gap).collect();
    // From here on a pump in a gap asks for no pieces.
    let (ways, nothing) = ways.served_except_gaps();
    for scenarios in [&mut drawn.choosing, &mut drawn.counting] {
        scenarios.leave_out(&left_out, nothing);
    }
    let (trolley, service) = promise::keep(job, &ways, &drawn, &safe, question, control);
    drop(lists);
    Ok(Provision {
        stopped: control.stop(),
        trolley,
        left_out,
        safe,
        together,
        service,
        coarse: remarks::coarse(outlook, step),
        free,
    })
}

impl ProvisionOptions {
    fn check(&self) -> Result<(), ProvisionError> {
        /// Most scenarios to choose a trolley for, and to count its service on.
        const MOST: [u32; 2] = [MOST_SCENARIOS, 1_000_000];
        let share = |share: Millionths| share > Millionths::ZERO && share <= Millionths::ONE;
        if self.step <= Length::ZERO {
            return Err(ProvisionError::Step);
        }
        if !share(self.probability) {
            return Err(ProvisionError::Probability);
        }
        if !share(self.level) || self.level == Millionths::ONE {
            return Err(ProvisionError::Level);
        }
        for (number, most) in [self.scenarios, self.checks].into_iter().zip(MOST) {
            if number == 0 || number > most {
                return Err(ProvisionError::Scenarios(number, most));
            }
        }
        Ok(())
    }

    /// Number of so many scenarios that must be served for the probability.
    fn required(&self, scenarios: u32) -> u32 {
        let all = u64::from(scenarios) * self.probability.raw().unsigned_abs();
        u32::try_from(all.div_ceil(1_000_000)).unwrap_or(scenarios)
    }
}
