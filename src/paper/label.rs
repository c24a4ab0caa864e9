//! Contents of the bag labels, for the sheet Labels and for adhesive sheets.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use crate::outage::PlaceInOutage;
use crate::verify::Verified;
use crate::words;

/// Lines of a label from the top down.
pub(crate) struct LabelLines {
    pub(crate) tag: String,
    /// Number of the kit.
    pub(crate) kit: String,
    /// Due date and priority.
    pub(crate) facts: String,
    pub(crate) location: String,
    /// Number of pieces in the bag, by kind.
    pub(crate) pieces: String,
    /// Warning of missing consumables; empty where none is missing.
    pub(crate) missing: String,
    /// Code of the plan; its number and the outage's name where it is part of one.
    pub(crate) plan: String,
}

/// Lines of a pump's label, by its index in the job.
pub(crate) fn lines(
    (verified, place): (&Verified, Option<&PlaceInOutage>),
    index: usize,
    kit: String,
    id: &str,
) -> LabelLines {
    let job = verified.job();
    let pump = &job.pumps[index];
    let mut kinds: BTreeMap<&str, u32> = BTreeMap::new();
    for pick in verified.picks(index) {
        *kinds.entry(&job.stock[pick.item].kind).or_default() += pick.count;
    }
    let pieces: u32 = kinds.values().sum();
    // What is stacked comes first.
    let stacked = |kind: &str| !matches!(kind, "shim" | "gasket");
    let mut sorted: Vec<(&str, u32)> = kinds.into_iter().collect();
    sorted.sort_by_key(|(kind, _)| (stacked(kind), *kind != "shim"));
    let mut each = String::new();
    for (kind, count) in sorted {
        let comma = if each.is_empty() { "" } else { ", " };
        write!(each, "{comma}{count} {}", words::plural(kind, count)).ok();
    }
    let due = pump.due.as_ref().map(|due| format!("due {}, ", due.shown));
    let lacks: u32 = verified.bags()[index].iter().map(|share| share.lacking).sum();
    let many = if pieces == 1 { "1 piece".into() } else { format!("{pieces} pieces") };
    LabelLines {
        tag: pump.tag.clone(),
        kit,
        facts: format!("{}priority {}", due.unwrap_or_default(), pump.priority),
        location: pump.location.clone().unwrap_or_default(),
        pieces: format!("{many}: {each}"),
        missing: match lacks {
            0 => String::new(),
            _ => format!("SHORT of {lacks}: see the slip"),
        },
        plan: match place {
            None => format!("Plan {id}"),
            Some(place) => format!("Plan {id}, no. {} of {}", place.plan, place.name),
        },
    }
}
