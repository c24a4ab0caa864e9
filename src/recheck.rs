//! Back from the bench: compares readings of finished packs and rechecked clearances with the prediction.
//!
//! For each pump, in this order: the readings are compared with the prediction for the fitted pieces ([`compare`]).
//! Where the two differ by more than their uncertainty, something is wrong, and its possible causes are reported
//! ([`mix_ups`]) before any piece is moved. Where they agree, or the reading repeats, the reading counts: it is
//! accepted if every requirement is met on it (`found`), else the smallest swap from the spare pieces is searched for
//! ([`swap`]).

mod as_found;
pub mod compare;
pub mod mix_ups;
mod reading;
mod reading_limits;
pub mod spares;
pub mod swap;
pub mod work;

use crate::job::Job;
use crate::model::{Form, Requirement, Term};
use crate::plan::PackPick;
use crate::pump::Pump;
use crate::stack::{Judgement, Verdict};

pub use as_found::AsFound;
pub use compare::Compared;
pub use mix_ups::Suspect;
pub use reading::{Reading, Readings};
pub use reading_limits::{accepted, finer_may_show, shared};
pub use spares::Left;
pub use swap::{Searched, Swap};

/// Bench results of one pump.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Bench {
    /// Pieces in each place, as fitted; `None` where the plan had no kit for the pump.
    pub fitted: Option<Vec<PackPick>>,
    /// Readings of each finished pack.
    pub packs: Vec<Option<Readings>>,
    /// Readings of each requirement, all with the pump cold.
    pub requirements: Vec<Option<Readings>>,
    /// Fitter and date, as written.
    pub fitter: Option<String>,
    /// Checker and date, as written.
    pub checker: Option<String>,
}

impl Bench {
    /// Bench results without readings, for a pump with these pieces.
    pub fn unread(job: &Job, pump: &Pump, fitted: Option<Vec<PackPick>>) -> Bench {
        Bench {
            fitted,
            packs: vec![None; job.model_of(pump).packs.len()],
            requirements: vec![None; pump.requirements.len()],
            ..Bench::default()
        }
    }

    fn is_unread(&self) -> bool {
        let mut all = self.packs.iter().chain(&self.requirements);
        all.all(Option::is_none)
    }
}

/// Result of the recheck of one pump.
#[derive(Debug, Clone, PartialEq)]
pub struct Record {
    /// Bench results.
    pub bench: Bench,
    /// Each pack with a reading, compared with its prediction.
    pub packs: Vec<Option<Compared>>,
    /// Each requirement.
    pub requirements: Vec<Checked>,
    /// The decision.
    pub decision: Decision,
}

impl Record {
    /// All readings, compared with their predictions.
    pub fn compared(&self) -> impl Iterator<Item = &Compared> {
        let requirements = self.requirements.iter();
        let requirements = requirements.filter_map(|checked| checked.compared.as_ref());
        self.packs.iter().flatten().chain(requirements)
    }

    /// A reading compared with its prediction.
    pub fn against(&self, of: Of) -> Option<&Compared> {
        match of {
            Of::Pack(place) => self.packs.get(place)?.as_ref(),
            Of::Requirement(index) => self.requirements.get(index)?.compared.as_ref(),
        }
    }

    /// Everything of the pump that can be read: its packs, then its requirements.
    pub fn readable(&self) -> impl Iterator<Item = Of> + use<> {
        let packs = (0..self.packs.len()).map(Of::Pack);
        packs.chain((0..self.requirements.len()).map(Of::Requirement))
    }

    /// Whether the cause of a difference is to be looked for while a requirement is not met as found.
    pub fn looks_at_not_met(&self) -> bool {
        let not_met = |checked: &Checked| checked.verdict.judgement() == Judgement::NotMet;
        matches!(self.decision, Decision::Look(_)) && self.requirements.iter().any(not_met)
    }

    /// Readings that differ from the prediction and were confirmed by a second reading.
    pub fn unexplained(&self) -> Vec<Of> {
        let beyond = |of: &Of| {
            let against = self.against(*of);
            against.is_some_and(|c| !c.agrees() && c.repeats() == Some(true))
        };
        self.readable().filter(beyond).collect()
    }
}

/// One requirement, as found.
#[derive(Debug, Clone, PartialEq)]
pub struct Checked {
    /// Reading compared with the prediction, if there is a reading.
    pub compared: Option<Compared>,
    /// Verdict: on its reading, or else as predicted with the packs that were read.
    pub verdict: Verdict,
    /// Whether the verdict rests on a reading of it, or of its cold form.
    pub on_reading: bool,
}

/// Decision about a pump.
#[derive(Debug, Clone, PartialEq)]
pub enum Decision {
    /// The plan had no kit for it.
    NotKitted,
    /// No readings came back yet.
    NotRead,
    /// A reading differs by more than its uncertainty: look for the cause before moving any piece.
    Look(Vec<Look>),
    /// The readings are good, but a clearance that the slip asks for was not read: the requirements, by index.
    Incomplete(Vec<usize>),
    /// Every requirement is met as found.
    Accept,
    /// A requirement is not met as found, and this swap fixes it.
    Swap(Box<Swap>),
    /// A requirement is not met as found, and no swap of the spare pieces fixes it.
    NoSwap(Searched),
}

impl Decision {
    /// Whether the pump is not fit to assemble: it has no kit, or no swap puts it right.
    pub fn is_not_fit(&self) -> bool {
        matches!(self, Decision::NotKitted | Decision::NoSwap(_))
    }
}

/// Part of the pump that a reading is of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Of {
    /// A finished pack, by its index in the model.
    Pack(usize),
    /// A requirement, by its index.
    Requirement(usize),
}

/// A reading that differs from its prediction, and its possible causes.
#[derive(Debug, Clone, PartialEq)]
pub struct Look {
    /// Part that was read.
    pub of: Of,
    /// Whether a second reading differs from the first by more than both can be off.
    pub restless: bool,
    /// Whether a clearance disagrees only with the readings of the packs, and agrees with their nominal pieces.
    pub fits_pieces: bool,
    /// Pieces that would explain the difference, the likeliest first.
    pub suspects: Vec<Suspect>,
}

/// Whether the slip asks for a reading of this requirement: a clearance that can be measured with the pump cold and
/// that no other requirement of the pump asks in that way.
pub fn is_asked(pump: &Pump, requirement: &Requirement) -> bool {
    let Form::Linear { terms, .. } = &requirement.form else {
        return false;
    };
    let measurable = terms.iter().any(|(t, _)| !matches!(t, Term::Thermal(_)));
    measurable && (!requirement.form.is_hot() || pump.cold_twin(&requirement.form).is_none())
}

/// Rechecks each pump, in the order of the job.
///
/// Swaps are searched for pump by pump, in the order of priority, then due date, then row, each from the spares after
/// the earlier ones; `left` holds the spares after the last.
pub fn recheck(job: &Job, benches: &[Bench], left: &mut Left) -> Vec<Record> {
    let mut order: Vec<usize> = (0..job.pumps.len()).collect();
    order.sort_by(|&a, &b| {
        let (p, q) = (&job.pumps[a], &job.pumps[b]);
        let due = p.due_serial().total_cmp(&q.due_serial());
        p.priority.cmp(&q.priority).then(due).then(a.cmp(&b))
    });
    let mut records: Vec<Option<Record>> = vec![None; job.pumps.len()];
    for index in order {
        let Some(bench) = benches.get(index) else {
            continue;
        };
        let record = of_pump(job, &job.pumps[index], bench, left);
        if let Decision::Swap(swap) = &record.decision {
            left.take(job, &swap.drawn());
        }
        records[index] = Some(record);
    }
    records.into_iter().flatten().collect()
}

fn of_pump(job: &Job, pump: &Pump, bench: &Bench, left: &Left) -> Record {
    let Some(fitted) = &bench.fitted else {
        return Record {
            bench: bench.clone(),
            packs: vec![None; bench.packs.len()],
            requirements: Vec::new(),
            decision: Decision::NotKitted,
        };
    };
    let as_found = AsFound::new(job, pump, fitted, bench);
    let packs = as_found.packs_compared();
    let requirements = as_found.checked();
    let decision = if bench.is_unread() {
        Decision::NotRead
    } else {
        decide(&as_found, &packs, &requirements, left)
    };
    Record { bench: bench.clone(), packs, requirements, decision }
}

fn decide(
    as_found: &AsFound<'_>,
    packs: &[Option<Compared>],
    requirements: &[Checked],
    left: &Left,
) -> Decision {
    let pump = as_found.pump;
    let packs = packs.iter().enumerate();
    let packs = packs.filter_map(|(at, compared)| Some((Of::Pack(at), (*compared)?)));
    let of_requirements = requirements.iter().enumerate();
    let of_requirements =
        of_requirements.filter_map(|(at, checked)| Some((Of::Requirement(at), checked.compared?)));
    let looks: Vec<Look> = packs
        .chain(of_requirements)
        .filter(|(_, compared)| !compared.agrees() && compared.repeats() != Some(true))
        .map(|(of, compared)| Look {
            of,
            restless: compared.repeats() == Some(false),
            fits_pieces: as_found.fits_pieces(of),
            suspects: mix_ups::suspects(as_found, of, &compared),
        })
        .collect();
    if !looks.is_empty() {
        return Decision::Look(looks);
    }
    let met = requirements.iter().all(|checked| checked.verdict.conforms());
    if !met || as_found.is_miscounted() {
        return match swap::search(as_found, left) {
            Ok(swap) => Decision::Swap(Box::new(swap)),
            Err(searched) => Decision::NoSwap(searched),
        };
    }
    let asked = pump.requirements.iter().zip(requirements).enumerate();
    let lacking: Vec<usize> = asked
        .filter(|(_, (requirement, checked))| is_asked(pump, requirement) && !checked.on_reading)
        .map(|(at, _)| at)
        .collect();
    if !lacking.is_empty() {
        return Decision::Incomplete(lacking);
    }
    Decision::Accept
}
