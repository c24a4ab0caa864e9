//! Before the outage: which pieces to set aside while dimensions are only expected, not measured.
//!
//! Two answers, each with its price. A *safe kit* holds for one pump what meets every value that
//! its dimensions are expected to come to. The *trolley* holds for all pumps together what serves
//! the whole batch with a stated probability: pumps rarely all want the same thicknesses, so pieces
//! are shared and it costs less. How often it serves is counted on scenarios of its own, never on
//! those that it was chosen for.
//!
//! Values are looked at in steps: those of a range are its low end, every step up from there, and
//! its high end. Money is the unit cost of the pieces that are set aside; most of them go back into
//! their drawers.
//!
//! The method of the trolley is the sample average approximation: Kleywegt, Shapiro and Homem-de-Mello,
//! The sample average approximation method for stochastic discrete optimization, SIAM Journal on
//! Optimization 12 (2002); with chance constraints Luedtke and Ahmed, SIAM Journal on Optimization
//! 19 (2008); both from memory.
//!
//! ```
//! use gapwright::choose::watch::Watch;
//! use gapwright::length::{Length, Unit};
//! use gapwright::outlook::{Expected, Law, Outlook};
//! use gapwright::provision::{Question, provision};
//! use gapwright::read::{self, Sources};
//!
//! # std::env::set_current_dir(env!("CARGO_MANIFEST_DIR")).unwrap();
//! let job = read::job(&Sources {
//!     stock: "samples/tiny/stock.csv".into(),
//!     pumps: "samples/tiny/pumps.csv".into(),
//!     ..Sources::default()
//! })
//! .expect("the sample has no problems");
//! // As if the first dimension of each pump were known within two thou only.
//! let thou = |n: i64| Length::from_ticks(n * Unit::Thou.ticks());
//! let mut expected: Vec<Vec<Option<Expected>>> = Vec::new();
//! for pump in &job.pumps {
//!     let mut of_pump = vec![None; pump.dimensions.len()];
//!     let middle = pump.dimensions[0].value;
//!     of_pump[0] = Some(Expected { low: middle - thou(2), high: middle + thou(2), law: Law::Even });
//!     expected.push(of_pump);
//! }
//! let outlook = Outlook::new(job, expected).expect("a range for every dimension");
//! let found = provision(&outlook, &Question::new(thou(1)), &Watch::patient())?;
//! assert!(found.safe.iter().all(|kit| kit.proven && kit.values() == 5));
//! assert!(found.trolley.bound <= found.trolley.cost);
//! assert!(found.service.interval[0] <= found.service.share());
//! # Ok::<(), gapwright::provision::Fault>(())
//! ```

mod cover;
mod draws;
mod remarks;
mod route;
mod safe;
mod scenarios;
mod service;
mod shed;
mod trolley;
mod views;
mod ways;

use std::sync::Arc;

use thiserror::Error;

use crate::choose::ChooseError;
use crate::choose::watch::{Pace, Watch};
use crate::decimal::{Millionths, Money};
use crate::length::Length;
use crate::outlook::{Expected, Outlook};
use crate::plan::{PackPick, Stop};
pub use scenarios::Purpose;
use scenarios::Scenarios;
pub use service::exact_interval;

/// What is asked.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Question {
    /// Values are looked at this far apart; above zero.
    pub step: Length,
    /// How likely the trolley shall serve the whole batch: above 0, at most 1.
    pub probability: Millionths,
    /// Scenarios that the trolley is chosen for, 1 to 100,000.
    pub scenarios: u32,
    /// Scenarios that its service is counted on, others than those; 1 to 1,000,000.
    pub checks: u32,
    /// Scenarios differ from seed to seed, and only so.
    pub seed: u64,
    /// The level of confidence of the interval about the service, between 0 and 1.
    pub level: Millionths,
    /// Ways to kit a pump that the search for one safe kit looks at, about; it ends there with what it
    /// has.
    pub effort: u64,
}

impl Question {
    /// Values so far apart; everything else as usual: a probability of 95 %, 500 scenarios and
    /// 1,000 others to count the service on, seed 1, an interval of 95 %.
    pub fn new(step: Length) -> Question {
        Question {
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

/// Why there is no answer.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum Fault {
    /// A step that is not above zero.
    #[error("the step is not above zero")]
    Step,
    /// A probability that is none.
    #[error("the probability must be above 0 and at most 1")]
    Probability,
    /// A level of confidence that is none.
    #[error("the level of confidence must lie between 0 and 1")]
    Level,
    /// Too few or too many scenarios.
    #[error("{0} scenarios: from 1 to {1} can be drawn")]
    Scenarios(u32, u32),
    /// A pump whose dimensions can come to too many values.
    #[error(
        "pump {tag} can come to {values} values; at most {MOST_VALUES} can be looked at: take steps of \
         {} nm at least, or narrow its ranges", nanometres(.step)
    )]
    TooManyValues {
        /// The pump's tag.
        tag: String,
        /// How many values there are.
        values: u128,
        /// A step that makes few enough.
        step: Length,
    },
    /// Time that ended before all ways to kit the pumps were listed: nothing can be said yet.
    #[error("the {} ended the work before all ways to kit the pumps were listed", .0.words())]
    Stopped(Stop),
    /// A place or a pump that can be filled in too many ways to list.
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

/// Units of work that are done whatever the watch says, so that a small outage always has an answer.
const GRACE: usize = 2_000_000;

/// The most values of one pump.
pub const MOST_VALUES: u128 = 20_000;

/// What to set aside.
#[derive(Debug, Clone, PartialEq)]
pub struct Provision {
    /// The safe kit of each pump, in the job's order.
    pub safe: Vec<SafeKit>,
    /// All safe kits at once.
    pub together: Together,
    /// For all pumps together.
    pub trolley: Trolley,
    /// How often the trolley serves, on scenarios of its own.
    pub service: Service,
    /// The pumps whose values lie too far apart to say much of what lies between them.
    pub coarse: Vec<Coarse>,
    /// The items, ascending, that could be set aside and that the stock has no unit cost for, or 0:
    /// they count as free.
    pub free: Vec<usize>,
    /// Why the work ended early, if it did.
    pub stopped: Option<Stop>,
}

/// A pump whose values lie more than a fifth of a requirement's width apart.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Coarse {
    /// Its index in the job.
    pub pump: usize,
    /// How far its dimension may move between the limits of the narrowest such requirement.
    pub width: Length,
}

impl Provision {
    /// Whether the trolley does not do what was asked of it: for too few of the scenarios that it
    /// was chosen for, or because that is out of reach whatever is set aside.
    pub fn falls_short(&self, question: &Question) -> bool {
        let probability = question.probability.to_f64();
        !self.trolley.enough() || self.service.out_of_reach(probability)
    }
}

/// Pieces of one item.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct SetAside {
    /// The item's index in the job's stock.
    pub item: usize,
    /// How many; above zero.
    pub count: u32,
}

/// The pieces for one pump that meet every value of it that can be met at all.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SafeKit {
    /// The pieces, ascending by item.
    pub pieces: Vec<SetAside>,
    /// What they cost.
    pub cost: Money,
    /// How many they are.
    pub count: u32,
    /// No kit that does the same costs less.
    pub bound: Money,
    /// No kit of that cost that does the same has fewer pieces.
    pub count_bound: u32,
    /// Whether it is proven least: in cost, and among those in pieces.
    pub proven: bool,
    /// The dimensions that are only expected, with the values that each is looked at.
    pub axes: Vec<Axis>,
    /// By value: an index into what meets them. The last axis moves first.
    pub(crate) class: Arc<Vec<u32>>,
    /// By class: what to take out of the kit; `None` where nothing in the drawers will do.
    pub(crate) met: Arc<Vec<Option<Vec<PackPick>>>>,
}

/// The values that one dimension is looked at.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Axis {
    /// Its index in the pump's model.
    pub dimension: usize,
    /// Ascending, its low and its high end among them.
    pub values: Vec<Length>,
}

/// A value that a pump may come to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Value<'a> {
    /// The length of each dimension that is only expected, in the order of the axes.
    pub lengths: Vec<Length>,
    /// The pieces of the safe kit to take then, pack by pack; `None` is a gap: nothing in the
    /// drawers will do.
    pub take: Option<&'a [PackPick]>,
}

impl SafeKit {
    /// How many values the pump is looked at; 1 where everything is measured.
    pub fn values(&self) -> usize {
        self.class.len()
    }

    /// A value by its number; `None` beyond the last. The last axis moves first.
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

    /// How many values nothing in the drawers will do for.
    pub fn gaps(&self) -> usize {
        let gap = |class: &&u32| self.met[**class as usize].is_none();
        self.class.iter().filter(gap).count()
    }
}

/// All safe kits set aside at once.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Together {
    /// The pieces of all of them, ascending by item.
    pub pieces: Vec<SetAside>,
    /// What they cost.
    pub cost: Money,
    /// How many they are.
    pub count: u32,
    /// What the drawers lack for that, ascending by item; empty if all can be set aside at once.
    pub lacking: Vec<SetAside>,
    /// The lots of sheets, by index, of which there are too few unless several shapes are cut from
    /// one sheet, which is not looked into here.
    pub sheets: Vec<usize>,
}

/// The pieces for all pumps together.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Trolley {
    /// The pieces, ascending by item.
    pub pieces: Vec<SetAside>,
    /// What they cost.
    pub cost: Money,
    /// How many they are.
    pub count: u32,
    /// Scenarios that it was chosen for.
    pub scenarios: u32,
    /// Those in which some pump comes to a value that nothing in the drawers will do for: no
    /// trolley serves them.
    pub hopeless: u32,
    /// How many must be served for the probability that was asked for.
    pub wanted: u32,
    /// How many it serves of the scenarios that it was chosen for, each with kits at hand. That is
    /// no estimate of its service: it was made for these.
    pub served: u32,
    /// In how many of them every pump but those in a gap has a kit at hand; those served are among
    /// them. Where fewer than wanted can be served, the trolley is chosen so that as many as wanted
    /// are at least served but for their gaps; where these are fewer as well, none was found that
    /// does so in more.
    pub but_for_gaps: u32,
    /// No trolley that does so much in so many of these very scenarios costs less.
    pub bound: Money,
    /// The lots of sheets, by index, of which there are too few unless several shapes are cut from
    /// one sheet, which is not looked into here.
    pub sheets: Vec<usize>,
}

impl Trolley {
    /// Whether it serves as many of its scenarios as are wanted.
    pub fn enough(&self) -> bool {
        self.served >= self.wanted
    }

    /// Whether it serves as many of its scenarios as are wanted, and nothing cheaper does.
    pub fn proven(&self) -> bool {
        self.enough() && self.cost == self.bound
    }

    /// Whether too many of the scenarios that it was chosen for come to a value in a gap: none of
    /// those can serve as many as are wanted. It says little of other scenarios; see
    /// [`Service::out_of_reach`].
    pub fn too_many_gaps(&self) -> bool {
        self.hopeless > self.scenarios.saturating_sub(self.wanted)
    }
}

/// How often a trolley serves the whole batch.
#[derive(Debug, Clone, PartialEq)]
pub struct Service {
    /// Scenarios that it was counted on.
    pub checks: u32,
    /// Those in which every pump is served, each with kits at hand.
    pub served: u32,
    /// Those in which some pump comes to a value that nothing in the drawers will do for.
    pub hopeless: u32,
    /// Those of which it was not found out; they count as not served.
    pub undecided: u32,
    /// Those in which every pump but those in a gap has a kit at hand; those served are among them.
    pub but_for_gaps: u32,
    /// The exact binomial interval about the service, 0 to 1: its low end as if none of those that
    /// were not found out were served, its high end as if all of them were.
    pub interval: [f64; 2],
    /// The exact binomial interval about the share of scenarios without a gap: no trolley serves
    /// more.
    pub reachable: [f64; 2],
    /// By pump: in how many scenarios it goes without, where as many as were found possible are
    /// served.
    pub missed: Vec<u32>,
    /// The scenarios that are not served, in order.
    pub unserved: Vec<Unserved>,
}

/// A scenario that a trolley does not serve.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Unserved {
    /// Its number, as [`scenario`] counts them.
    pub scenario: u32,
    /// The pumps that go without in the best that was found.
    pub pumps: Vec<usize>,
    /// Whether it is certain that not all can be served.
    pub certain: bool,
}

impl Service {
    /// The share of the scenarios that are served, 0 to 1.
    pub fn share(&self) -> f64 {
        f64::from(self.served) / f64::from(self.checks.max(1))
    }

    /// Whether a probability is out of reach whatever is set aside: so many of the scenarios counted
    /// come to a value in a gap that the whole interval about those without one lies below it.
    pub fn out_of_reach(&self, probability: f64) -> bool {
        self.reachable[1] < probability
    }
}

/// What every dimension comes to in a scenario, by pump and dimension of its model; `None` for what
/// is measured. The number of a scenario counts from 0 for each purpose.
///
/// # Errors
/// [`Fault`], as [`provision`].
pub fn scenario(
    outlook: &Outlook,
    question: &Question,
    purpose: Purpose,
    number: u32,
) -> Result<Vec<Vec<Option<Length>>>, Fault> {
    question.check()?;
    views::views(outlook, question.step)?;
    let drawn = scenarios::lengths(outlook, question.seed, purpose, number, question.step);
    let mut drawn = drawn.into_iter();
    let pump = |expected: &Vec<Option<Expected>>| {
        let one = |expected: &Option<Expected>| expected.and_then(|_| drawn.next());
        expected.iter().map(one).collect()
    };
    Ok(outlook.expected().iter().map(pump).collect())
}

/// Works out what to set aside.
///
/// # Errors
/// [`Fault`]. Where the watch stops the work, what has been found so far is given, with its bounds.
pub fn provision(
    outlook: &Outlook,
    question: &Question,
    watch: &Watch<'_>,
) -> Result<Provision, Fault> {
    question.check()?;
    let Question { step, seed, .. } = *question;
    let job = outlook.job();
    let (views, mut register) = views::views(outlook, step)?;
    let mut pace = Pace::at_least(watch, GRACE);
    let grid = |view: &views::View| match pace.stop(view.values()) {
        Some(stop) => Err(Fault::Stopped(stop)),
        None => Ok(view.grid(&mut register)),
    };
    let grids: Vec<Vec<u32>> = views.iter().map(grid).collect::<Result<_, _>>()?;
    let mut draw = |purpose, number| {
        let of = (seed, purpose, number, step);
        Scenarios::draw(outlook, &views, &mut register, of, &mut pace).map_err(Fault::Stopped)
    };
    let choosing = draw(Purpose::Choosing, question.scenarios)?;
    let counting = draw(Purpose::Counting, question.checks)?;
    let ways = ways::list(job, &register, watch)?;
    let safe = safe::kits(job, &ways, &views, &grids, question.effort, watch);
    let together = safe::together(job, &ways, &safe);
    let free = remarks::free(&ways);
    // From here on a pump in a gap asks for nothing.
    let ways = ways.but_for_gaps();
    let chosen = trolley::choose(job, &ways, &choosing, &safe, question, watch);
    let service = service::count(&ways, &chosen.pieces, &counting, question, watch);
    Ok(Provision {
        stopped: watch.stop(),
        trolley: chosen,
        safe,
        together,
        service,
        coarse: remarks::coarse(outlook, step),
        free,
    })
}

impl Question {
    fn check(&self) -> Result<(), Fault> {
        /// The most scenarios to choose a trolley for, and to count its service on.
        const MOST: [u32; 2] = [100_000, 1_000_000];
        let share = |share: Millionths| share > Millionths::ZERO && share <= Millionths::ONE;
        if self.step <= Length::ZERO {
            return Err(Fault::Step);
        }
        if !share(self.probability) {
            return Err(Fault::Probability);
        }
        if !share(self.level) || self.level == Millionths::ONE {
            return Err(Fault::Level);
        }
        for (number, most) in [self.scenarios, self.checks].into_iter().zip(MOST) {
            if number == 0 || number > most {
                return Err(Fault::Scenarios(number, most));
            }
        }
        Ok(())
    }

    /// How many of the scenarios must be served for the probability.
    fn wanted(&self) -> u32 {
        let all = u64::from(self.scenarios) * self.probability.raw().unsigned_abs();
        u32::try_from(all.div_ceil(1_000_000)).unwrap_or(self.scenarios)
    }
}
