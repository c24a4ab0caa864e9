//! The state of a pump in an outage.

use super::booking::{Finding, KitPiece};

/// State of a pump. The table in the manual says what it means and what may be booked.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum PumpState {
    /// A reading is missing: nothing is planned.
    NotMeasured,
    /// Has a kit in the last plan; the pieces lie in their bins.
    Planned,
    /// The pieces are in the bag.
    Bagged,
    /// The bag is at the bench.
    Issued,
    /// At the bench, and its readings do not conform.
    Rejected,
    /// Its readings are in and conform, and it is signed off.
    Accepted,
    /// Has no kit.
    Short,
    /// Withdrawn.
    Cancelled,
}

impl PumpState {
    /// All states, in the order of the work.
    pub const ALL: [PumpState; 8] = [
        PumpState::NotMeasured,
        PumpState::Planned,
        PumpState::Bagged,
        PumpState::Issued,
        PumpState::Rejected,
        PumpState::Accepted,
        PumpState::Short,
        PumpState::Cancelled,
    ];

    /// Words for people.
    pub fn words(self) -> &'static str {
        match self {
            PumpState::NotMeasured => "not measured",
            PumpState::Planned => "planned",
            PumpState::Bagged => "bagged",
            PumpState::Issued => "issued",
            PumpState::Rejected => "rejected",
            PumpState::Accepted => "accepted",
            PumpState::Short => "short",
            PumpState::Cancelled => "cancelled",
        }
    }

    /// Whether the next plan may choose its pieces.
    pub fn is_in_play(self) -> bool {
        matches!(self, PumpState::NotMeasured | PumpState::Planned | PumpState::Short)
    }
}

/// A kit with its number in the outage.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NumberedKit {
    /// Number: no kit of an outage has that of another.
    pub number: u32,
    /// Its pieces, in ascending order.
    pub pieces: Vec<KitPiece>,
}

/// Readings of one place or requirement at the bench.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BenchReading {
    /// Name of the place or the requirement in the model.
    pub what: String,
    /// First reading, with its unit.
    pub first: String,
    /// Second reading, if there is one.
    pub again: Option<String>,
}

/// A dimension that was booked and not typed into the pump workbook.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MeasuredDimension {
    /// Name of the dimension in the model.
    pub what: String,
    /// Value with its unit.
    pub value: String,
    /// Key of the heading of its column.
    pub heading: String,
    /// Contents of its cell when it was booked; empty where it was empty.
    pub cell: String,
}

/// A pump as the entries have left it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OutagePump {
    /// Its tag.
    pub tag: String,
    /// Its state.
    pub state: PumpState,
    /// Kit of the last plan that gave it one.
    pub kit: Option<NumberedKit>,
    /// Pieces in its bag or in the pump.
    pub bag: Vec<KitPiece>,
    /// Whether the last plan gives it another kit than the one in its bag, which is to be put back.
    pub reopen: bool,
    /// Readings at the bench.
    pub bench: Vec<BenchReading>,
    /// Dimensions that were booked.
    pub measured: Vec<MeasuredDimension>,
    /// Judgement of its readings.
    pub finding: Option<Finding>,
    /// Reason why it is short, or what it waits for.
    pub why: Option<String>,
    /// Reason why its pieces do not conform on the figures of the last plan.
    pub not_fit: Option<String>,
    /// Ways to cure it where it is short, in words.
    pub cures: Option<String>,
    /// State before it was cancelled.
    pub before_cancel: Option<PumpState>,
}

impl OutagePump {
    /// A pump of which nothing is known yet.
    pub(super) fn new(tag: &str) -> OutagePump {
        OutagePump {
            tag: tag.to_string(),
            state: PumpState::Short,
            kit: None,
            bag: Vec::new(),
            reopen: false,
            bench: Vec::new(),
            measured: Vec::new(),
            finding: None,
            why: None,
            not_fit: None,
            cures: None,
            before_cancel: None,
        }
    }

    /// Number of pieces in its bag or in the pump.
    pub fn pieces(&self) -> u32 {
        sum(&self.bag)
    }

    /// Number of pieces that its bag has fewer than its kit.
    pub fn missing(&self) -> u32 {
        let planned = self.kit.as_ref().map_or(0, |kit| sum(&kit.pieces));
        planned.saturating_sub(self.pieces())
    }

    /// Pieces that its bag lacks, in words; `None` without a bag, or if it lacks none.
    pub fn lacking(&self) -> Option<String> {
        let missing = self.missing();
        let pieces = if missing == 1 { "piece" } else { "pieces" };
        let lacks = missing > 0 && !self.bag.is_empty();
        lacks.then(|| format!("{missing} {pieces} short of its kit"))
    }

    /// Whether it must not be assembled: no kit, pieces that do not conform, or a bag that is short of pieces.
    pub fn is_not_fit(&self) -> bool {
        let not_met = matches!(self.finding, Some(Finding::NotMet { .. }));
        self.state == PumpState::Short
            || self.not_fit.is_some()
            || not_met
            || self.lacking().is_some()
    }

    /// Reason why it is not fit, not planned, or not to be accepted yet.
    pub fn reason(&self) -> Option<&str> {
        let of_finding = match &self.finding {
            Some(Finding::NotMet { why } | Finding::Open { why }) => Some(why),
            Some(Finding::Conforms) | None => None,
        };
        let reason = self.not_fit.as_ref().or(of_finding).or(self.why.as_ref());
        reason.map(String::as_str)
    }

    /// Reason why somebody must stop: its pieces are at the bench or in it, and do not conform.
    pub fn stop(&self) -> Option<&str> {
        use PumpState::{Accepted, Issued, Rejected};
        let at_bench = matches!(self.state, Issued | Rejected | Accepted);
        let not_met = match &self.finding {
            Some(Finding::NotMet { why }) => Some(why),
            _ => None,
        };
        let why = self.not_fit.as_ref().or(not_met).filter(|_| at_bench);
        why.map(String::as_str)
    }

    /// Whether its bag is to be put back into the bins: another kit is planned for it, or none, as its own does not conform.
    pub fn is_to_be_put_back(&self) -> bool {
        self.state == PumpState::Bagged && (self.reopen || self.not_fit.is_some())
    }

    /// Whether its bag holds other pieces than its kit.
    pub fn differs(&self) -> bool {
        self.kit.as_ref().is_some_and(|kit| kit.pieces != self.bag)
    }
}

fn sum(pieces: &[KitPiece]) -> u32 {
    pieces.iter().fold(0, |sum, piece| sum.saturating_add(piece.count))
}
