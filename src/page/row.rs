//! One pump as its row shows it: plain values, which the board puts into HTML.

use std::collections::HashMap;

use crate::accounting::{pack_total, tightest, verdicts};
use crate::crush::crushes;
use crate::issue::key;
use crate::job::{Job, NotMeasured};
use crate::length::{Fine, Unit};
use crate::outage::PumpState;
use crate::plan::{Kit, PackPick};
use crate::problem::Spot;
use crate::pump::Pump;
use crate::scratch::Scratch;
use crate::stack::Verdict;
use crate::verify::Verified;
use crate::words;

/// A pump of the page.
#[derive(Debug, Clone, PartialEq)]
pub struct PumpRow {
    /// Name of the row on the page: `r` and the number of its row in the workbook, from 0.
    pub id: String,
    /// Row in the workbook, from 0.
    pub row: u32,
    /// Tag.
    pub tag: String,
    /// Index of its model in the job.
    pub model: usize,
    /// State of its kit.
    pub state: RowState,
    /// Pieces of its kit by place, as texts; empty without a kit.
    pub pieces: Vec<[String; 2]>,
    /// Crush of its gaskets against the ranges of their materials; empty where these are not known.
    pub crush: String,
    /// Prediction of its first requirement; `None` without a kit.
    pub predicted: Option<Predicted>,
    /// Least margin of all requirements, and the requirement, with what is said of it; `None` without a kit.
    pub margin: Option<[String; 2]>,
    /// Further words: what it waits for, why it is short, what to measure again.
    pub remarks: Vec<String>,
}

/// State of a row.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum RowState {
    /// A reading is missing.
    NotMeasured,
    /// Its values are newer than the plan.
    Planning,
    /// Kit complete.
    Kitted,
    /// Kit complete, and its bag short of consumables.
    ShortOfConsumables,
    /// No kit, or pieces that do not conform.
    NotFit,
    /// Left alone by the plan, in this state of a running outage.
    LeftAlone(PumpState),
}

impl RowState {
    /// State in words.
    pub fn words(self) -> &'static str {
        match self {
            RowState::NotMeasured => words::NOT_MEASURED,
            RowState::Planning => "planning",
            RowState::Kitted => "kit complete",
            RowState::ShortOfConsumables => "kitted, short of consumables",
            RowState::NotFit => words::NOT_FIT,
            RowState::LeftAlone(state) => state.words(),
        }
    }

    /// Name for style and script.
    pub(super) fn code(self) -> &'static str {
        match self {
            RowState::NotMeasured => "waiting",
            RowState::Planning => "planning",
            RowState::Kitted => "kitted",
            RowState::ShortOfConsumables => "lacking",
            RowState::NotFit => "not-fit",
            RowState::LeftAlone(_) => "left-alone",
        }
    }

    /// Whether it comes from the plan at hand.
    pub(super) fn is_planned(self) -> bool {
        matches!(self, RowState::Kitted | RowState::ShortOfConsumables | RowState::NotFit)
    }
}

/// Prediction of a requirement in words, and in shares of the way from its lower to its upper limit for a picture.
#[derive(Debug, Clone, PartialEq)]
pub struct Predicted {
    /// Name of the requirement.
    pub label: String,
    /// Value with its unit.
    pub value: String,
    /// Limits with their unit.
    pub limits: String,
    /// Guards with their unit.
    pub guards: String,
    /// Margin with its unit; rounded down.
    pub margin: String,
    /// Whether the requirement is met.
    pub conforms: bool,
    /// Shares for the picture.
    pub shares: Option<Shares>,
}

/// Places in a picture: 0 is the lower limit, 1 the upper one.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shares {
    /// Value.
    pub value: f64,
    /// Target.
    pub target: f64,
    /// Ends of the guard around the value.
    pub guard: [f64; 2],
    /// Whether there is a lower and an upper limit; one that is missing lies as far from the target as the other.
    pub limits: [bool; 2],
}

impl Predicted {
    /// Prediction of a requirement by its verdict.
    pub(super) fn of(label: &str, verdict: &Verdict, unit: Unit) -> Predicted {
        Predicted {
            label: label.to_string(),
            value: words::about(verdict.value, unit),
            limits: words::limits(verdict, unit),
            guards: words::guards(verdict, unit),
            margin: words::margin(verdict.margin(), unit),
            conforms: verdict.conforms(),
            shares: shares(verdict),
        }
    }
}

fn shares(verdict: &Verdict) -> Option<Shares> {
    let mirrored = |limit: Fine| verdict.target + (verdict.target - limit);
    let (low, high) = match (verdict.lower, verdict.upper) {
        (Some(low), Some(high)) => (low, high),
        (Some(low), None) => (low, mirrored(low)),
        (None, Some(high)) => (mirrored(high), high),
        (None, None) => return None,
    };
    let of = |length: Fine| length.to_f64(Unit::Micrometre);
    let width = of(high - low);
    if width <= 0.0 {
        return None;
    }
    let share = |value: Fine| of(value - low) / width;
    Some(Shares {
        value: share(verdict.value),
        target: share(verdict.target),
        guard: [verdict.value - verdict.guard_lower, verdict.value + verdict.guard_upper]
            .map(share),
        limits: [verdict.lower.is_some(), verdict.upper.is_some()],
    })
}

/// All pumps of a scratch copy, in the order of the workbook.
pub fn rows(scratch: &Scratch) -> Vec<PumpRow> {
    let job = scratch.job();
    let planned = scratch.planned().map(AsRef::as_ref);
    let known: HashMap<String, usize> = planned
        .iter()
        .flat_map(|planned| planned.job().pumps.iter().enumerate())
        .map(|(at, pump)| (key(&pump.tag), at))
        .collect();
    let measured = job.pumps.iter().map(|pump| {
        let there = planned.zip(known.get(&key(&pump.tag)).copied());
        // A verdict on other values than those of the row would mislead.
        let there = there.filter(|(planned, at)| planned.job().pumps[*at] == *pump);
        match there {
            Some((planned, at)) => of_kit(planned, at),
            None => blank(pump.row, &pump.tag, pump.model, RowState::Planning),
        }
    });
    let mut all: Vec<PumpRow> = measured.chain(job.not_measured.iter().map(waiting)).collect();
    all.sort_by_key(|row| row.row);
    all
}

fn blank(row: u32, tag: &str, model: usize, state: RowState) -> PumpRow {
    PumpRow {
        id: format!("r{row}"),
        row,
        tag: tag.to_string(),
        model,
        state,
        pieces: Vec::new(),
        crush: String::new(),
        predicted: None,
        margin: None,
        remarks: Vec::new(),
    }
}

/// Row in the workbook of a pump that is not measured.
pub(super) fn row_of(pump: &NotMeasured) -> u32 {
    match pump.waits_for.first().map(|reading| &reading.place.spot) {
        Some(Spot::Cell { row, .. }) => *row,
        _ => 0,
    }
}

fn waiting(pump: &NotMeasured) -> PumpRow {
    let row = row_of(pump);
    let waits = format!("waits for {}", words::waits_for(pump));
    PumpRow { remarks: vec![waits], ..blank(row, &pump.tag, pump.model, RowState::NotMeasured) }
}

fn of_kit(planned: &Verified, at: usize) -> PumpRow {
    let job = planned.job();
    let (pump, kit, bag) = (&job.pumps[at], &planned.plan().kits[at], &planned.bags()[at]);
    let again = words::measure_again(job.model_of(pump), pump);
    let state = match kit {
        Kit::Short(_) => RowState::NotFit,
        Kit::Served(_) if words::lacking(bag) => RowState::ShortOfConsumables,
        Kit::Served(_) => RowState::Kitted,
    };
    let blank = blank(pump.row, &pump.tag, pump.model, state);
    let needs = bag.iter().enumerate();
    let lacks = needs.filter_map(|(need, share)| words::lack(job, pump, need, share));
    match kit {
        Kit::Short(shorts) => {
            let why = words::reasons(job, pump, shorts);
            PumpRow { remarks: [why].into_iter().chain(again).collect(), ..blank }
        }
        Kit::Served(packs) => {
            let crushed = crushes(job, pump, packs);
            let warnings = crushed.iter().filter_map(|one| words::crush_warning(job, pump, one));
            let remarks = again.into_iter().chain(warnings).chain(lacks).collect();
            let mut row = PumpRow { remarks, ..blank };
            row.of_packs(job, pump, packs);
            row
        }
    }
}

impl PumpRow {
    /// Puts in what follows from the pieces.
    pub(super) fn of_packs(&mut self, job: &Job, pump: &Pump, packs: &[PackPick]) {
        let unit = job.model_of(pump).unit;
        let first = verdicts(job, pump, packs).into_iter().next();
        let predicted = pump.requirements.first().zip(first.as_ref());
        self.pieces = pieces(job, pump, packs);
        self.crush = words::crush_within(&crushes(job, pump, packs)).unwrap_or_default();
        self.predicted = predicted.map(|(of, verdict)| Predicted::of(&of.label, verdict, unit));
        self.margin = tightest(job, pump, packs).map(|(at, verdict)| {
            [words::margin(verdict.margin(), unit), pump.requirements[at].label.clone()]
        });
    }
}

/// Pieces of a kit by place: label of the place, and its pieces with their total.
pub(super) fn pieces(job: &Job, pump: &Pump, packs: &[PackPick]) -> Vec<[String; 2]> {
    let model = job.model_of(pump);
    let texts = model.packs.iter().zip(packs).map(|(place, pack)| {
        let (total, _) = pack_total(job, pack);
        let picks = pack.picks.iter().map(|pick| {
            let work =
                words::handwork(job, pick).map_or(String::new(), |work| format!(" ({work})"));
            format!("{} x {}{work}", pick.count, job.stock[pick.item].item)
        });
        let picks: Vec<String> = picks.collect();
        let text = match picks.is_empty() {
            true => "no piece".to_string(),
            false => format!("{} = {}", picks.join(" + "), words::about(total.into(), model.unit)),
        };
        [place.label.clone(), text]
    });
    texts.collect()
}
