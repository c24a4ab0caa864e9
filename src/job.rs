//! The job: the checked inputs of one outage. A job that exists is complete and consistent.

use crate::cutting::PlateLot;
use crate::feeler::Blade;
use crate::gauge::Gauge;
use crate::model::{Model, Pack};
use crate::policy::Policy;
use crate::problem::{Place, Problem};
use crate::pump::{Due, Expected, Pump};
use crate::sheet::Sheet;
use crate::stock::{Code, Item, PackPick, Pick};
use std::collections::BTreeMap;
use std::ops::Deref;
use std::sync::Arc;

mod check;
mod error;

pub(crate) use check::{count, there, too_dear};
pub use error::{JobError, Part, PartError};

/// Checked inputs of one outage's plan; every index in it is valid.
///
/// A job is read like its [`Parts`] and made from them by [`Job::new`]. To change it, take it apart and put it
/// together again, so that no job is ever invalid.
///
/// ```
/// use gapwright::job::{Job, Parts};
/// use gapwright::length::{Length, Tolerance, Unit};
/// use gapwright::model::{Dimension, Form, Model, Pack, Requirement, Term};
/// use gapwright::decimal::Millionths;
/// use gapwright::pump::{Measured, Pump};
/// use gapwright::stock::{Code, Item, Size};
///
/// let mm = |text| Length::parse(text, Some(Unit::Millimetre)).unwrap();
/// let exact = Tolerance::default();
/// // A gap of 1.2 mm less its shims must come to 0.2 mm, plus or minus 0.05 mm.
/// let model = Model {
///     dimensions: vec![Dimension::new("gap", exact)],
///     packs: vec![Pack::new("shims", "shim", 0..=3)],
///     requirements: vec![Requirement::new("clearance", Form::Linear {
///         terms: vec![
///             (Term::Dimension(0), Millionths::ONE),
///             (Term::Pack(0), -Millionths::ONE),
///         ],
///         target: mm("0.2"), lower: Some(mm("0.15")), upper: Some(mm("0.25")),
///     })],
///     ..Model::new("example", Unit::Millimetre)
/// };
/// let pump = Pump {
///     fits: vec![Code::new("F1")],
///     dimensions: vec![Measured::within(mm("1.2"), exact)],
///     ..Pump::new("P-1", 0, &model)
/// };
/// let shim = Size::new(mm("0.5"), exact);
/// let parts = Parts {
///     stock: vec![Item::of("S-05", "shim".into(), Code::new("F1"), shim, 4)],
///     models: vec![model],
///     pumps: vec![pump],
///     ..Parts::default()
/// };
/// let job = Job::new(parts)?;
/// assert_eq!(job.pumps[0].tag, "P-1");
///
/// // A pump of an unknown model is refused, and named.
/// let wrong = job.with(|parts| parts.pumps[0].model = 7).unwrap_err();
/// assert_eq!(wrong.to_string(), "pump P-1: model number 7 of 1, counted from 0");
/// # Ok::<(), gapwright::job::JobError>(())
/// ```
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Job {
    /// The checked parts. Code that changes them keeps every index valid.
    pub(crate) parts: Parts,
    /// Input files with the hash of their bytes.
    pub inputs: Vec<Input>,
    /// Columns and sheets that are copied to the output or ignored, listed so that people see that they are not used.
    pub unused: Vec<String>,
    /// Warnings for the user, which do not stop the run.
    pub warnings: Vec<Problem>,
    /// Pumps of the workbook that are not measured yet, in its order: nothing is planned for them, and nothing is wrong.
    pub not_measured: Vec<NotMeasured>,
}

/// Pump with an empty cell where a reading goes.
#[derive(Debug, Clone, PartialEq)]
pub struct NotMeasured {
    /// Tag, as on the pump sheet; no pump of the job has it.
    pub tag: String,
    /// Index of its model in the job.
    pub model: usize,
    /// Priority; 1 comes first.
    pub priority: u32,
    /// Due date.
    pub due: Option<Due>,
    /// Location in the plant.
    pub location: Option<String>,
    /// Readings that are missing, one at least.
    pub waits_for: Vec<MissingReading>,
    /// The pump ahead of its readings, or the reason that it is not known so.
    pub ahead: Result<Box<PumpAhead>, String>,
}

/// Pump ahead of its readings: as if measured at the middle of each range.
#[derive(Debug, Clone, PartialEq)]
pub struct PumpAhead {
    /// The pump; it is none of the job's.
    pub pump: Pump,
    /// Range of each of its model's dimensions; `None` for a measured one.
    pub expected: Vec<Option<Expected>>,
}

/// Reading that is not taken yet.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MissingReading {
    /// Heading of its column.
    pub heading: String,
    /// The empty cell.
    pub place: Place,
}

/// Parts of a job, not checked yet.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Parts {
    /// Lots, in the order of the stock sheet; then the pieces that can be cut from sheets.
    pub stock: Vec<Item>,
    /// Sheets that pieces can be cut from, in the order of their own sheet.
    pub plates: Vec<PlateLot>,
    /// Models that the pumps use.
    pub models: Vec<Model>,
    /// Pumps, in the order of the pump sheet.
    pub pumps: Vec<Pump>,
    /// Bags, slips and held kits from before the plan, by pump; empty where there are none.
    pub standing: Vec<Standing>,
    /// Pieces to hold back from the pumps, one by one; empty where none are asked for.
    pub hold_back: Vec<HoldBack>,
    /// Gauges that dimensions, lots and readings refer to, in the order of their sheet.
    pub gauges: Vec<Gauge>,
    /// Rates and rules in force.
    pub policy: Policy,
    /// Stock sheet as it was read; the next one is written from it.
    pub stock_sheet: StockSheet,
    /// Sheets sheet as it was read; empty if there is none.
    pub plates_sheet: StockSheet,
    /// Fit sheet from its headings on, as it was read; empty if there is none.
    pub fit_sheet: Arc<Sheet>,
    /// Feelers sheet as it was read; empty if there is none.
    pub feelers_sheet: Arc<Sheet>,
    /// Blades of the shop's feeler set, as far as the stock workbook lists them.
    pub feelers: Vec<Blade>,
}

/// One piece to hold back for pumps that are not measured.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct HoldBack {
    /// Index of its item in the stock: one whose pieces are neither cut from plates nor out of packs that are spoiled.
    pub item: usize,
    /// How much it counts, above zero: drawn outages in which it is needed.
    pub worth: u32,
}

/// Bag and slip of a pump from before the plan: an outage is planned again while bags lie packed.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Standing {
    /// Pieces in its bag, place by place. They count as on hand, but for peeled ones, which go back into no bin. `None`
    /// without a bag.
    pub bag: Option<Vec<PackPick>>,
    /// Consumables in its bag, of each that its model asks for; they count as on hand. Empty without a bag.
    pub consumables: Vec<Vec<Pick>>,
    /// Pieces on its slip of the plan before.
    pub slip: Option<Vec<PackPick>>,
    /// Whether its kit stays as it is: what is in the bag, without a bag what is on the slip.
    pub held: bool,
    /// Whether it has a bag that is opened as told, at no cost: its pieces count as on hand, and it is no `bag` here.
    pub opened_as_told: bool,
}

impl Standing {
    /// Whether a kit leaves the bag closed: it is the very pieces in it, place by place.
    pub fn keeps_bag(&self, kit: &[PackPick]) -> bool {
        self.bag.as_ref().is_some_and(|bag| same(bag, kit))
    }

    /// Peeled pieces in the bag: out of no bin, and lost if it is opened.
    pub fn peeled(&self) -> impl Iterator<Item = &Pick> {
        self.bag.iter().flatten().flat_map(|pack| &pack.picks).filter(|pick| pick.peeled > 0)
    }

    /// Whether a kit leaves the slip true.
    pub fn keeps_slip(&self, kit: &[PackPick]) -> bool {
        self.slip.as_ref().is_some_and(|slip| same(slip, kit))
    }
}

/// Whether two kits are of the same pieces, place by place, in whatever order they are listed.
fn same(one: &[PackPick], other: &[PackPick]) -> bool {
    let sorted = |pack: &PackPick| {
        let mut counts = BTreeMap::new();
        for pick in &pack.picks {
            *counts.entry((pick.item, pick.peeled)).or_insert(0) += pick.count;
        }
        counts.retain(|_, count| *count > 0);
        counts
    };
    one.len() == other.len() && one.iter().zip(other).all(|(a, b)| sorted(a) == sorted(b))
}

/// Stock sheet as it was read.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct StockSheet {
    /// The sheet.
    pub sheet: Arc<Sheet>,
    /// Number of its heading row, from 0.
    pub heading_row: u32,
    /// Column of On hand, from 0.
    pub on_hand_column: u32,
    /// Column of Unit cost, where there is one.
    pub price_column: Option<u32>,
    /// Column of Pack qty, where there is one.
    pub pack_column: Option<u32>,
    /// Column of Lead days, where there is one.
    pub lead_column: Option<u32>,
}

/// An input file and the hash of its bytes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Input {
    /// Its use, such as stock workbook.
    pub role: String,
    /// File name as the user gave it.
    pub file: String,
    /// SHA-256 in hexadecimal.
    pub sha256: String,
}

impl NotMeasured {
    /// Its missing readings as problems, for work that cannot go on without them.
    pub fn problems(&self) -> impl Iterator<Item = Problem> {
        self.waits_for.iter().map(|reading| {
            Problem::new(
                reading.place.clone(),
                "an empty cell",
                format!("a value for `{}`", reading.heading),
                "fill it in, or clear the whole row",
            )
        })
    }
}

impl Deref for Job {
    type Target = Parts;

    fn deref(&self) -> &Parts {
        &self.parts
    }
}

impl Job {
    /// Builds a job from these parts.
    ///
    /// # Errors
    /// [`JobError`]: the first part with an invalid index, with more or fewer entries than its model has, or with a
    /// number out of range.
    pub fn new(parts: Parts) -> Result<Job, JobError> {
        check::check(&parts)?;
        Ok(Job::of_checked(parts))
    }

    /// Builds a job from valid parts: each was checked as it was read, with its place in the workbooks, or follows
    /// from those of a job.
    pub(crate) fn of_checked(parts: Parts) -> Job {
        Job {
            parts,
            inputs: Vec::new(),
            unused: Vec::new(),
            warnings: Vec::new(),
            not_measured: Vec::new(),
        }
    }

    /// Takes the job apart.
    pub fn into_parts(self) -> Parts {
        self.parts
    }

    /// Changes the parts of a job.
    ///
    /// # Errors
    /// As [`Job::new`].
    pub fn with(mut self, change: impl FnOnce(&mut Parts)) -> Result<Job, JobError> {
        change(&mut self.parts);
        check::check(&self.parts)?;
        Ok(self)
    }

    /// The job with other pieces to hold back, each of an item that it has.
    pub(crate) fn holding_back(mut self, pieces: Vec<HoldBack>) -> Job {
        self.parts.hold_back = pieces;
        self
    }

    /// Bag and slip of a pump from before the plan.
    pub fn standing_of(&self, pump: usize) -> Option<&Standing> {
        self.standing.get(pump)
    }

    /// Pieces that a kit of a pump takes out of those on hand: all, but for peeled ones in a bag that it leaves closed.
    pub fn takes<'a>(&self, pump: usize, kit: &'a [PackPick]) -> impl Iterator<Item = &'a Pick> {
        let closed = self.standing_of(pump).is_some_and(|stands| stands.keeps_bag(kit));
        kit.iter().flat_map(|pack| &pack.picks).filter(move |pick| !closed || pick.peeled == 0)
    }

    /// Pumps with a bag.
    pub fn bags(&self) -> impl Iterator<Item = usize> {
        let bags = self.standing.iter().enumerate().filter(|(_, stands)| stands.bag.is_some());
        bags.map(|(pump, _)| pump)
    }

    /// Pumps whose bags are opened as told.
    pub fn opened_as_told(&self) -> impl Iterator<Item = usize> {
        let told = self.standing.iter().enumerate().filter(|(_, stands)| stands.opened_as_told);
        told.map(|(pump, _)| pump)
    }

    /// Pumps with a slip of the plan before.
    pub fn slips(&self) -> impl Iterator<Item = usize> {
        let slips = self.standing.iter().enumerate().filter(|(_, stands)| stands.slip.is_some());
        slips.map(|(pump, _)| pump)
    }

    /// Whether the pieces of the places could be those of a pump: so many in each, all of the right kind and fit.
    pub fn fills_places(&self, pump: &Pump, packs: &[PackPick]) -> bool {
        let places = &self.model_of(pump).packs;
        let fills = |((pack, fit), pieces): ((&Pack, &Code), &PackPick)| {
            let count = pieces.picks.iter().map(|pick| u64::from(pick.count)).sum::<u64>();
            let right = |pick: &Pick| self.offered(pack, fit).any(|item| item == pick.item);
            (u64::from(pack.least_pieces)..=pack.most_pieces.into()).contains(&count)
                && pieces.picks.iter().all(right)
        };
        places.len() == packs.len() && places.iter().zip(&pump.fits).zip(packs).all(fills)
    }

    /// Model of a pump.
    pub fn model_of(&self, pump: &Pump) -> &Model {
        &self.models[pump.model]
    }

    /// Items that may go to a place, by index into the stock: right kind, right fit.
    pub fn offered<'a>(
        &'a self,
        pack: &'a Pack,
        fit: &'a Code,
    ) -> impl Iterator<Item = usize> + 'a {
        self.stock.iter().enumerate().filter_map(move |(index, item)| {
            (item.size.is_some() && item.kind == pack.kind && item.fit == *fit).then_some(index)
        })
    }

    /// Weight of one served pump by priority: one pump outranks all of the later priorities together. Ascending by
    /// priority; `None` where whole numbers cannot hold it, up to 2^53 as every reader of JSON has them.
    ///
    /// ```
    /// # use gapwright::job::weights;
    /// // two pumps of priority 1, three of 2, one of 5
    /// assert_eq!(weights(&[1, 2, 2, 1, 5, 2]), Some(vec![(1, 8), (2, 2), (5, 1)]));
    /// ```
    pub fn weights(&self) -> Option<Vec<(u32, i64)>> {
        let priorities: Vec<u32> = self.pumps.iter().map(|pump| pump.priority).collect();
        weights(&priorities)
    }
}

/// Weights of [`Job::weights`] from the priorities alone.
pub fn weights(priorities: &[u32]) -> Option<Vec<(u32, i64)>> {
    let mut levels: Vec<u32> = priorities.to_vec();
    levels.sort_unstable();
    levels.dedup();
    let mut weights = Vec::with_capacity(levels.len());
    let mut below: i64 = 0;
    for level in levels.into_iter().rev() {
        let weight = below.checked_add(1)?;
        let count = priorities.iter().filter(|&&p| p == level).count();
        below = weight.checked_mul(i64::try_from(count).ok()?)?.checked_add(below)?;
        weights.push((level, weight));
    }
    weights.reverse();
    (below <= 1 << 53).then_some(weights)
}
