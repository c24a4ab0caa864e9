//! Changes between two plans: per pump the pieces that go out and in, the cause, and which slips to print or tear up.
//!
//! [`changes`] compares two [`PlanSide`]s. A side holds no more than paper shows, so that it can be had of any plan: one that
//! was made a moment ago, one in an outage file, one that was saved.
//!
//! # Example
//!
//! ```
//! use std::collections::BTreeMap;
//! use gapwright::changes::{PlanSide, SlipSide, SlipStatus, changes};
//! let slip = |tag: &str, priority, item: &str| SlipSide {
//!     tag: tag.into(),
//!     priority: Some(priority),
//!     pieces: BTreeMap::from([(item.to_string(), 1)]),
//!     ..SlipSide::default()
//! };
//! let before = PlanSide { slips: vec![slip("P-1", 2, "SH-010")], ..PlanSide::default() };
//! let slips = vec![slip("P-1", 2, "SH-012"), slip("P-2", 1, "SH-010")];
//! let found = changes(&before, &PlanSide { slips, ..PlanSide::default() });
//! assert_eq!(found[0].why, "SH-010 goes to P-2 (priority 1)");
//! assert_eq!((found[0].print, found[0].tear_up), (true, true));
//! assert_eq!(found[1].why, "new in the plan");
//! ```

use std::collections::{BTreeMap, BTreeSet};

use crate::issue::key;

/// A plan as far as its slips go.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct PlanSide {
    /// The pumps, in the order of the plan.
    pub slips: Vec<SlipSide>,
    /// Pieces of each item in bins, bags and pumps together; empty where not known.
    pub stock: BTreeMap<String, i64>,
}

/// A pump of a plan, as its slip has it.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct SlipSide {
    /// Its tag.
    pub tag: String,
    /// Its priority, where it is known.
    pub priority: Option<u32>,
    /// Number of its kit in the outage, if it has one.
    pub kit: Option<u32>,
    /// Pieces by item; a peeled one says so.
    pub pieces: BTreeMap<String, u32>,
    /// Values that the kit was chosen by and the slip prints, by heading; empty where not known.
    pub figures: BTreeMap<String, String>,
    /// Whether it has a kit.
    pub status: SlipStatus,
}

/// Whether a pump has a kit.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub enum SlipStatus {
    /// A kit was found for the pump.
    #[default]
    Kit,
    /// None can be had, for this reason.
    Short(String),
    /// A reading is missing.
    NotMeasured,
}

/// Change of a pump between two plans.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SlipChange {
    /// Its tag.
    pub tag: String,
    /// Its priority, where it is known.
    pub priority: Option<u32>,
    /// Numbers of its kit, before and after.
    pub kits: [Option<u32>; 2],
    /// Pieces that go out of its kit, by item.
    pub out: Vec<(String, u32)>,
    /// Pieces that go in, by item.
    pub into: Vec<(String, u32)>,
    /// The cause, in words.
    pub why: String,
    /// Whether its slip and label are to be printed.
    pub print: bool,
    /// Whether its old slip and label are to be torn up.
    pub tear_up: bool,
}

impl SlipChange {
    /// Pieces in words, such as `1 x SH-010, 2 x SH-005`.
    pub fn listed(pieces: &[(String, u32)]) -> String {
        let each: Vec<String> =
            pieces.iter().map(|(item, count)| format!("{count} x {item}")).collect();
        each.join(", ")
    }
}

/// Changes from one plan to another, in the order of the later one; pumps that left come last. A pump whose slip still counts
/// is not among them.
pub fn changes(before: &PlanSide, after: &PlanSide) -> Vec<SlipChange> {
    let by_tag = |side: &PlanSide| -> BTreeMap<String, SlipSide> {
        side.slips.iter().map(|slip| (key(&slip.tag), slip.clone())).collect()
    };
    let (old, new) = (by_tag(before), by_tag(after));
    let causes = Causes { before, after, old: &old, new: &new };
    let mut found: Vec<SlipChange> = after
        .slips
        .iter()
        .filter_map(|slip| causes.change(old.get(&key(&slip.tag)), slip))
        .collect();
    let gone = before.slips.iter().filter(|slip| !new.contains_key(&key(&slip.tag)));
    found.extend(gone.map(|slip| SlipChange {
        tag: slip.tag.clone(),
        priority: slip.priority,
        kits: [slip.kit, None],
        out: differences(&slip.pieces, &BTreeMap::new()),
        into: Vec::new(),
        why: "no longer in the plan".into(),
        print: false,
        tear_up: slip.status != SlipStatus::NotMeasured,
    }));
    found
}

/// Pieces of the one that the other has not.
fn differences(one: &BTreeMap<String, u32>, other: &BTreeMap<String, u32>) -> Vec<(String, u32)> {
    let more = |(item, count): (&String, &u32)| {
        let more = count.saturating_sub(other.get(item).copied().unwrap_or(0));
        (more > 0).then(|| (item.clone(), more))
    };
    one.iter().filter_map(more).collect()
}

/// Two plans, to look for causes in.
struct Causes<'a> {
    before: &'a PlanSide,
    after: &'a PlanSide,
    old: &'a BTreeMap<String, SlipSide>,
    new: &'a BTreeMap<String, SlipSide>,
}

impl Causes<'_> {
    fn change(&self, old: Option<&SlipSide>, new: &SlipSide) -> Option<SlipChange> {
        let none = SlipSide { status: SlipStatus::NotMeasured, ..SlipSide::default() };
        let before = old.unwrap_or(&none);
        let out = differences(&before.pieces, &new.pieces);
        let into = differences(&new.pieces, &before.pieces);
        let figures = moved(before, new);
        let is = |slip: &SlipSide| match slip.status {
            SlipStatus::Kit => 0,
            // The reason names totals that move with the pieces of others.
            SlipStatus::Short(_) => 1,
            SlipStatus::NotMeasured => 2,
        };
        let same = before.pieces == new.pieces && is(before) == is(new);
        let stands = same && figures.is_empty() && before.kit == new.kit;
        if stands {
            return None;
        }
        Some(SlipChange {
            tag: new.tag.clone(),
            priority: new.priority.or(before.priority),
            kits: [before.kit, new.kit],
            why: self.why(old, new, figures, &out),
            out,
            into,
            print: new.status != SlipStatus::NotMeasured,
            tear_up: before.status != SlipStatus::NotMeasured,
        })
    }

    /// Cause of a change: the first of these that there is.
    fn why(
        &self,
        old: Option<&SlipSide>,
        new: &SlipSide,
        figures: Vec<String>,
        out: &[(String, u32)],
    ) -> String {
        let mut why = figures;
        match (&new.status, old.map(|old| &old.status)) {
            (SlipStatus::Short(reason), _) => why.push(reason.clone()),
            (SlipStatus::NotMeasured, _) => why.push("a reading is missing now".into()),
            (SlipStatus::Kit, None) => why.push("new in the plan".into()),
            (SlipStatus::Kit, Some(SlipStatus::NotMeasured)) => why.push("measured since".into()),
            (SlipStatus::Kit, Some(SlipStatus::Short(_))) => {
                why.push("it can be kitted now".into())
            }
            (SlipStatus::Kit, Some(SlipStatus::Kit)) => {}
        }
        if why.is_empty() {
            why = out.iter().filter_map(|(item, _)| self.gone_to(item, &new.tag)).collect();
        }
        if why.is_empty() {
            let items: BTreeSet<&String> =
                new.pieces.keys().chain(out.iter().map(|one| &one.0)).collect();
            why = items.into_iter().filter_map(|item| self.stock_of(item)).collect();
        }
        if why.is_empty() {
            why.push(match out.is_empty() {
                true => "printed anew: its kit has another number".into(),
                false => "chosen again together with the others".into(),
            });
        }
        why.join("; ")
    }

    /// Pumps that have more of an item than before, and others than before.
    fn gone_to(&self, item: &str, from: &str) -> Option<String> {
        let count = |side: Option<&SlipSide>| {
            side.and_then(|slip| slip.pieces.get(item)).copied().unwrap_or(0)
        };
        let gained = self.new.iter().filter(|(tag, slip)| {
            **tag != key(from) && count(Some(slip)) > count(self.old.get(*tag))
        });
        let named: Vec<String> = gained
            .map(|(_, slip)| match slip.priority {
                Some(priority) => format!("{} (priority {priority})", slip.tag),
                None => slip.tag.clone(),
            })
            .collect();
        (!named.is_empty()).then(|| format!("{item} goes to {}", named.join(", ")))
    }

    /// Stock of an item, if it changed between the plans.
    fn stock_of(&self, item: &str) -> Option<String> {
        let (then, now) = (self.before.stock.get(item)?, self.after.stock.get(item)?);
        (then != now).then(|| format!("{now} of {item} there, was {then}"))
    }
}

/// Values of the slip that changed; tolerances of pieces that only one of the kits has do not count.
fn moved(old: &SlipSide, new: &SlipSide) -> Vec<String> {
    if old.figures.is_empty() {
        return Vec::new();
    }
    let changed = new.figures.iter().filter_map(|(heading, now)| {
        let then = old.figures.get(heading)?;
        (then != now).then(|| format!("{heading}: was {then}, is {now}"))
    });
    changed.collect()
}
