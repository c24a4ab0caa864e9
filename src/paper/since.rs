//! Slips of an older plan beside those of this one: which to print, which to tear up, which stay true.
//!
//! # Decision
//!
//! A slip stays true while its kit, its readings, its ranges and its number in the outage are the same. A due date, a
//! note or its place among the kits is no reason to print it again.

use std::collections::{BTreeMap, BTreeSet};

use super::PrintedPlan;
use super::slip::{KitSlip, PlacedPiece, ShortWords, SlipBody, Slips};
use crate::issue::key;
use crate::outage::PlaceInOutage;
use crate::plain_text::cleaned;

/// Slips of a plan workbook, as they were printed.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct OldSlips {
    /// The plan's id.
    pub plan: String,
    /// Slips, by the tag in the form in which tags are compared.
    pub slips: BTreeMap<String, OldSlip>,
}

/// Slip of one pump.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct OldSlip {
    /// Tag as it is written.
    pub tag: String,
    /// Number of the kit, in words.
    pub kit: String,
    /// Texts of its cells, and of each two beside each other as `beside` puts them together.
    pub texts: BTreeSet<String>,
    /// Items with their counts, sorted.
    pub pieces: Vec<(String, u32)>,
}

/// Changes of the slips since an older plan, by tag.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct SlipChanges {
    /// The older plan's id.
    pub since: String,
    /// Pumps of this plan whose slips are printed, by index.
    pub printed: BTreeSet<usize>,
    /// Older slips that are no longer true.
    pub tear_up: Vec<String>,
    /// Older slips that stay true.
    pub stay: Vec<String>,
    /// Older slips of pumps that this plan is not for: their pieces may be in a bag or at the bench.
    pub elsewhere: Vec<String>,
}

/// Said of slips of pumps that this plan is not for.
pub(crate) const ELSEWHERE: &str = "Not in this plan. Keep these slips while their pieces are in a bag or at the bench; tear up that of a pump that was withdrawn";

/// A text as it stands in a cell, with single spaces.
pub(crate) fn text_of_cell(text: &str) -> String {
    cleaned(text).split_whitespace().collect::<Vec<_>>().join(" ")
}

/// Two texts of cells beside each other: a value counts with its label.
pub(crate) fn beside(one: &str, other: &str) -> String {
    format!("{} | {}", text_of_cell(one), text_of_cell(other))
}

/// Compares the slips of a plan with those of an older one.
pub fn changes_since(plan: &PrintedPlan<'_>, old: &OldSlips) -> SlipChanges {
    let slips = Slips { verified: plan.verified, place: plan.place };
    let mut changes = SlipChanges { since: old.plan.clone(), ..SlipChanges::default() };
    let mut known = BTreeSet::new();
    for (number, index) in slips.numbered() {
        let slip = slips.slip_as_stated(number, index, plan.shorts);
        let key = key(&slip.pump.tag);
        let before = old.slips.get(&key);
        match before {
            Some(before) if is_true(before, &slip, plan.place) => {
                changes.stay.push(before.tag.clone());
            }
            before => {
                changes.printed.insert(index);
                changes.tear_up.extend(before.map(|before| before.tag.clone()));
            }
        }
        known.insert(key);
    }
    let gone = old.slips.iter().filter(|(key, _)| !known.contains(*key));
    changes.elsewhere.extend(gone.map(|(_, slip)| slip.tag.clone()));
    changes
}

/// Whether an older slip says what the present one says.
fn is_true(old: &OldSlip, slip: &KitSlip<'_>, place: Option<&PlaceInOutage>) -> bool {
    let numbered = place.is_some_and(|place| place.kits.contains_key(&slip.pump.tag));
    // The number comes first, and its place among the kits behind it.
    let number = |kit: &str| kit.split(' ').nth(1).map(String::from);
    let same_number = !numbered || number(&old.kit) == number(&slip.kit);
    let (texts, mut pieces) = contents(slip);
    pieces.sort();
    let says = |text: &String| old.texts.contains(&text_of_cell(text));
    same_number && pieces == old.pieces && texts.iter().all(says)
}

/// Texts of a slip that must stay the same, and its pieces.
fn contents(slip: &KitSlip<'_>) -> (Vec<String>, Vec<(String, u32)>) {
    let mut texts: Vec<String> = slip.again.iter().map(|again| format!("{again}.")).collect();
    let mut pieces = Vec::new();
    let kit = match &slip.body {
        SlipBody::Short { reasons, .. } => {
            texts.extend(reasons.iter().flat_map(ShortWords::lines));
            return (texts, pieces);
        }
        SlipBody::Complete(kit) => kit,
    };
    texts.extend(slip.measured.iter().map(|[label, value]| beside(label, value)));
    let row = |texts: &mut Vec<String>, cells: &[&str]| {
        let filled: Vec<&&str> = cells.iter().filter(|cell| !cell.is_empty()).collect();
        texts.extend(filled.windows(2).map(|two| beside(two[0], two[1])));
    };
    for place in &kit.places {
        texts.extend(place.warnings.iter().cloned());
        texts.extend(place.reading.as_ref().map(ToString::to_string));
        for PlacedPiece { item, count, thickness, bin, work } in &place.pieces {
            pieces.push((text_of_cell(item), *count));
            let [own, other, _] = thickness.clone().unwrap_or_default();
            row(&mut texts, &[&place.label, item, &count.to_string(), &own, &other, bin]);
            texts.extend(work.clone());
        }
    }
    for need in &kit.needs {
        texts.extend(need.missing.clone());
        pieces.extend(need.pieces.iter().map(|piece| (text_of_cell(&piece.item), piece.count)));
    }
    for check in &kit.checks {
        row(&mut texts, &[&check.label, &check.target, &check.limits, &check.predicted]);
        texts.extend(check.nominal_only.clone());
        if let Some(asked) = &check.asked {
            texts.push(asked.range.to_string());
            texts.extend(asked.unknown_growth.map(String::from));
            texts.extend(asked.any_growth.iter().chain(&asked.blades).cloned());
        }
    }
    texts.extend(kit.growths.clone());
    (texts, pieces)
}
