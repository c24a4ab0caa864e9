//! Planned withdrawals from the stock, line by line.
//!
//! # Decision
//!
//! Opened packs and cut plates go with the first kit that takes from them: a plate is cut once, and whose the rest
//! is cannot be told. What goes back of a plate comes with it.

use super::{returned, tidy};
use crate::consumables::{self, Bag, Lack};
use crate::digest::sha256;
use crate::job::Job;
use crate::plan::{Kit, Plan, Shortfall};
use crate::pump::Pump;

/// Action on the pieces of a line.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum PickStep {
    /// Picked from their bin.
    Pick,
    /// Cut from a lot of sheets; the sheets are counted, the pieces are not.
    CutFrom(String),
    /// None: they are in a bag that stays closed.
    InBag,
    /// Spoiled with the opened pack; not for a single pump.
    Spoiled,
    /// Whole sheets that are cut up; not for a single pump.
    CutUp,
    /// Pieces or remnants of a lot of plates that go back into the stock; not for a single pump.
    GoesBack(String),
    /// None: the kit, or the consumable, is short.
    Short,
}

impl PickStep {
    /// Words on the Issue sheet.
    pub fn words(&self) -> String {
        match self {
            PickStep::Pick => "pick".into(),
            PickStep::CutFrom(sheet) => format!("cut from {sheet}"),
            PickStep::InBag => "in its bag".into(),
            PickStep::Spoiled => "spoiled with its pack".into(),
            PickStep::CutUp => "cut up".into(),
            PickStep::GoesBack(plate) => format!("goes back, of {plate}"),
            PickStep::Short => "short".into(),
        }
    }

    /// Reads the words back.
    ///
    /// ```
    /// use gapwright::issue::planned::PickStep;
    /// let step = PickStep::CutFrom("SHEET-1".into());
    /// assert_eq!(PickStep::parse(&step.words()), Some(step));
    /// assert_eq!(PickStep::parse("picked"), None);
    /// ```
    pub fn parse(words: &str) -> Option<PickStep> {
        Some(match words {
            "pick" => PickStep::Pick,
            "in its bag" => PickStep::InBag,
            "spoiled with its pack" => PickStep::Spoiled,
            "cut up" => PickStep::CutUp,
            "short" => PickStep::Short,
            _ => match words.strip_prefix("goes back, of ") {
                Some(plate) => PickStep::GoesBack(plate.to_string()),
                None => PickStep::CutFrom(words.strip_prefix("cut from ")?.to_string()),
            },
        })
    }

    /// Whether the line takes from the counts of the stock.
    pub fn counts(&self) -> bool {
        matches!(self, PickStep::Pick | PickStep::Spoiled | PickStep::CutUp)
    }
}

/// One tag, place and item.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PlannedLine {
    /// Action.
    pub step: PickStep,
    /// The pump; empty where it is not for a single one.
    pub tag: String,
    /// Destination of the pieces, by its label; empty where no single place is short.
    pub place: String,
    /// Stock number; empty for a shortage.
    pub item: String,
    /// Whole pieces or sheets; for a short consumable, the missing ones.
    pub planned: u32,
    /// Reason of a shortage; `None` for withdrawals, and for a plan that was read back.
    pub why: Option<Why>,
}

/// Reasons of a short line.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Why {
    /// The pump cannot be kitted.
    Short(Shortfall),
    /// Consumables of its bag are missing.
    Lacking(Lack),
}

/// All withdrawals of a plan from the stock.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Planned {
    /// SHA-256 of the stock workbook that the plan was made from, in hexadecimal.
    pub stock_sha256: String,
    /// Lines, in the order of the pumps; then those that are not for a single pump.
    pub lines: Vec<PlannedLine>,
}

impl Planned {
    /// Lines of a plan: pieces of its kits and bags, and those that are spoiled, by the job's stock.
    pub fn of(job: &Job, plan: &Plan, bags: &[Bag], spoiled: &[u32]) -> Planned {
        let stock = job.inputs.iter();
        let stock = stock.clone().find(|input| input.role == "stock workbook");
        let mut lines: Vec<PlannedLine> = Vec::new();
        for (at, ((pump, kit), bag)) in job.pumps.iter().zip(&plan.kits).zip(bags).enumerate() {
            let mut own = of_pump(job, pump, kit, bag);
            if plan.leaves_closed(job, at) {
                let taken = own.iter_mut().filter(|line| line.step != PickStep::Short);
                taken.for_each(|line| line.step = PickStep::InBag);
            }
            lines.extend(own);
        }
        lines.extend(of_no_pump(job, plan, spoiled));
        Planned {
            stock_sha256: stock.map_or_else(String::new, |input| input.sha256.clone()),
            lines,
        }
    }

    /// Twelve hexadecimal digits that identify a plan: of SHA-256 over the stock's hash and the lines, each as tidy
    /// step, tag, item and count, in ascending order. The plan's workbook and its JSON give one id.
    pub fn id(&self) -> String {
        let mut lines: Vec<String> = self
            .lines
            .iter()
            .map(|line| {
                let count = line.planned.to_string();
                let parts = [&line.step.words(), &line.tag, &line.item, &count];
                let parts = parts.map(|part| tidy(part));
                parts.map(|part| format!("{}:{part},", part.len())).concat()
            })
            .collect();
        lines.sort();
        let text = format!("{}\n{}", self.stock_sha256, lines.join("\n"));
        sha256(text.as_bytes()).chars().take(12).collect()
    }
}

impl PlannedLine {
    /// Planned part of a line, stored beside it so that a change is found with its cell: tag, item, step and planned
    /// count.
    pub(crate) fn own(&self) -> [String; 4] {
        let count = self.planned.to_string();
        [tidy(&self.tag), tidy(&self.item), tidy(&self.step.words()), count]
    }
}

fn of_pump(job: &Job, pump: &Pump, kit: &Kit, bag: &Bag) -> Vec<PlannedLine> {
    let model = job.model_of(pump);
    let line = |step, place: &str, item: &str, planned, why| PlannedLine {
        step,
        tag: pump.tag.clone(),
        place: place.to_string(),
        item: item.to_string(),
        planned,
        why,
    };
    let mut lines = Vec::new();
    match kit {
        // A kit that is not proven is no place that is short.
        Kit::Short(shorts) => lines.extend(shorts.iter().filter(|s| s.is_place()).map(|short| {
            let place = short.pack.map_or("", |pack| model.packs[pack].label.as_str());
            line(PickStep::Short, place, "", 0, Some(Why::Short(short.clone())))
        })),
        Kit::Served(packs) => {
            for (pack, picked) in model.packs.iter().zip(packs) {
                for pick in &picked.picks {
                    let step = step(job, pick.item);
                    let item = &job.stock[pick.item].item;
                    lines.push(line(step, &pack.label, item, pick.count, None));
                }
            }
        }
    }
    for (need, share) in bag.iter().enumerate() {
        let place = &model.consumables[need].kind;
        for pick in &share.picks {
            let item = &job.stock[pick.item].item;
            lines.push(line(PickStep::Pick, place, item, pick.count, None));
        }
        if let Some(why) = consumables::lack(job, pump, need, share) {
            let why = Some(Why::Lacking(why));
            lines.push(line(PickStep::Short, place, "", share.lacking, why));
        }
    }
    lines
}

fn step(job: &Job, item: usize) -> PickStep {
    let cut = job.stock[item].cut;
    cut.map_or(PickStep::Pick, |cut| PickStep::CutFrom(job.plates[cut.plate].item.clone()))
}

fn of_no_pump(job: &Job, plan: &Plan, spoiled: &[u32]) -> Vec<PlannedLine> {
    let line = |step, item: &str, planned| PlannedLine {
        step,
        tag: String::new(),
        place: String::new(),
        item: item.to_string(),
        planned,
        why: None,
    };
    let lots = job.stock.iter().zip(spoiled);
    let spoiled = lots.map(|(lot, &lost)| line(PickStep::Spoiled, &lot.item, lost));
    let cut = job.plates.iter().zip(plan.plates_cut(job));
    let cut = cut.map(|(lot, sheets)| line(PickStep::CutUp, &lot.item, sheets));
    let back = returned::of(job, plan).into_iter();
    let back = back.map(|lot| line(PickStep::GoesBack(lot.plate), &lot.item, lot.count));
    spoiled.chain(cut).chain(back).filter(|line| line.planned > 0).collect()
}
