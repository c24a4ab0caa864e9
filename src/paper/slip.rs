//! Contents of the kit slips: every figure and word of a slip, once for the sheet Kits and for the page that is printed.

use std::collections::BTreeMap;

use itertools::Itertools;

use super::OTHER_UNIT;
use super::order;
use super::window::{ColdWindow, cold_window, inwards};
use crate::accounting::{pack_total, source, stack, verdicts};
use crate::consumables::Bag;
use crate::crush::{Crush, crushes};
use crate::feeler::{self, Clearance};
use crate::job::Job;
use crate::length::{Length, Unit};
use crate::model::{Form, Model, Requirement, USUAL_CAUTIONS};
use crate::outage::PlaceInOutage;
use crate::plan::{Kit, PackPick, Pick, Shortfall};
use crate::pump::Pump;
use crate::recheck::{accepted, is_asked, shared};
use crate::stack::{Guard, Verdict, judge};
use crate::verify::Verified;
use crate::words;

/// Characters of notes and carried columns that a slip has room for.
const MOST_FACTS: usize = 900;

/// Headings of the steps.
pub(crate) const PICK: &str = "1  Pick, wipe and measure (in order of fitting, thickest first)";
pub(crate) const ASSEMBLE: &str = "2  Assemble";
pub(crate) const CHECK: &str = "3  Check the clearance before closing up";
pub(crate) const RUN: &str = "4  Before it runs, and always";
/// Heading of the cautions of a pump that stays open.
pub(crate) const STAYS_OPEN: &str = "Before it is opened, and while it stays open";
/// Heading of the readings of the pump.
pub(crate) const MEASURED: &str = "As measured";
/// Headings of the pieces, of the consumables, and of the requirements, where empty ones belong to the one before.
pub(crate) const PIECES: [&str; 8] =
    ["Place", "Item", "Pieces", "Thickness each", OTHER_UNIT, "Bin", "In the bag", "Fitted"];
pub(crate) const CONSUMABLES: [&str; 8] = [
    "Also for the bag",
    "Item",
    "Pieces",
    "Fit or section",
    "Ring length",
    "Bin",
    "In the bag",
    "Fitted",
];
pub(crate) const REQUIREMENT: [&str; 8] =
    ["Requirement", "Target", "", "Limits", "", "Predicted", "", ""];
/// Said of a place without pieces.
pub(crate) const EMPTY_PLACE: &str = "no piece: the place stays empty";
/// Beside the box of work on a piece.
pub(crate) const DONE: &str = "Done:";
/// Said of a pump without a kit.
pub(crate) const NO_PIECES: &str = "No pieces are issued for this pump. Do not assemble it with pieces picked by eye: a requirement would not be met.";
/// Labels of the cells for names and dates.
pub(crate) const SIGNED: [&str; 2] = ["Fitter, date:", "Checked, date:"];
/// Word before what must not be done.
pub(crate) const STOP: &str = "STOP";
/// Words after it, of a reading outside its range, and of a gauge too coarse for one.
const STOP_PACK: [&str; 2] = [
    "if outside: do not fit it. Wipe, check, measure again.",
    "if no such micrometer is at hand: do not fit it unmeasured.",
];
const STOP_CLEARANCE: [&str; 2] = [
    "if outside: do not close up. Measure again. Outside twice: leave it open.",
    "if no such gauge is at hand: do not close up.",
];
/// Mark of a caution.
pub(crate) const CAUTION: &str = "\u{26a0}";

/// Words before the reading that a pack should make.
const EXPECTED: &str = "Expected micrometer reading: ";
const NO_BLADES: &str = "Feeler blades: none are entered on the sheet Feelers of the stock workbook; with the shop's set there, GO and NO-GO blades are printed here.";
const IN_SERVICE: &str = "Predicted for service; cannot be measured at the bench.";
const GROWTH_UNKNOWN: &str = "No cold reading shows for certain that it runs within its hot limits: the growth is not known well enough.";

/// Label of the cells of both readings, which a bare number is in the unit of.
pub(crate) fn both_readings(unit: Unit) -> String {
    format!("1st, 2nd reading ({unit}):")
}

/// Labels of the two cells, each by itself.
pub(crate) fn each_reading(unit: Unit) -> [String; 2] {
    ["1st", "2nd"].map(|which| format!("{which} reading ({unit})"))
}

/// Slip of one pump.
pub(crate) struct KitSlip<'a> {
    /// Number among the kits of the plan, from 1.
    pub(crate) number: usize,
    pub(crate) pump: &'a Pump,
    pub(crate) model: &'a Model,
    /// Number of the kit, in words.
    pub(crate) kit: String,
    /// Readings that contradict each other.
    pub(crate) again: Option<String>,
    /// Advice on its bag from before the plan.
    pub(crate) bag: Option<String>,
    /// Priority, due date, location, notes.
    pub(crate) facts: String,
    /// Readings of the pump: label, and value with its tolerance.
    pub(crate) measured: Vec<[String; 2]>,
    pub(crate) body: SlipBody,
}

/// The kit, or the reasons that there is none.
pub(crate) enum SlipBody {
    Complete(Box<CompleteKit>),
    Short { reasons: Vec<ShortWords>, cautions: Vec<String> },
}

/// Kit of a pump, step by step.
pub(crate) struct CompleteKit {
    pub(crate) places: Vec<FilledPlace>,
    pub(crate) needs: Vec<BagNeed>,
    /// Cautions of assembly.
    pub(crate) before: Vec<String>,
    /// Figures on the drawing.
    pub(crate) figures: Vec<DrawnFigure>,
    /// Cautions of the check.
    pub(crate) checking: Vec<String>,
    pub(crate) checks: Vec<RequirementCheck>,
    /// Said where the shop has no feeler blades.
    pub(crate) no_blades: Option<&'static str>,
    pub(crate) growths: Option<String>,
    /// Cautions of the start, and those that always hold.
    pub(crate) running: Vec<String>,
    /// Sources of the tolerances.
    pub(crate) sources: String,
}

/// Pieces of a place, and the reading that they should make.
pub(crate) struct FilledPlace {
    pub(crate) label: String,
    /// Name in the model.
    pub(crate) name: String,
    pub(crate) pieces: Vec<PlacedPiece>,
    /// Gaskets that their material does not suit.
    pub(crate) warnings: Vec<String>,
    /// Reading of the finished pack; none where the place stays empty.
    pub(crate) reading: Option<Phrase>,
}

/// Pieces of one item.
pub(crate) struct PlacedPiece {
    pub(crate) item: String,
    pub(crate) count: u32,
    /// Thickness as fitted, as it is named, in the other unit, and with its own unit.
    pub(crate) thickness: Option<[String; 3]>,
    pub(crate) bin: String,
    /// Work on them before they match the plan.
    pub(crate) work: Option<String>,
}

/// Consumables of one kind, and what of them is missing.
pub(crate) struct BagNeed {
    pub(crate) kind: String,
    pub(crate) pieces: Vec<BagPiece>,
    pub(crate) missing: Option<String>,
}

/// Consumables of one item.
pub(crate) struct BagPiece {
    pub(crate) item: String,
    pub(crate) count: u32,
    pub(crate) fit: String,
    pub(crate) ring_length: String,
    pub(crate) bin: String,
}

/// Figure on the drawing, with its middle in millionths of the width and height.
pub(crate) struct DrawnFigure {
    /// Its number among those of the model.
    pub(crate) number: usize,
    pub(crate) at: [u32; 2],
    pub(crate) text: String,
}

/// A requirement, and the readings of it that are accepted.
pub(crate) struct RequirementCheck {
    /// Name in the model.
    pub(crate) name: String,
    pub(crate) label: String,
    pub(crate) target: String,
    pub(crate) limits: String,
    pub(crate) predicted: String,
    pub(crate) nominal_only: Option<String>,
    /// Said of one that is met in service.
    pub(crate) in_service: Option<&'static str>,
    pub(crate) asked: Option<AskedReading>,
}

/// A reading that the slip asks for.
pub(crate) struct AskedReading {
    /// Accepted range.
    pub(crate) range: Phrase,
    /// Said where the growth is not known well enough.
    pub(crate) unknown_growth: Option<&'static str>,
    /// Narrower range that holds for any growth.
    pub(crate) any_growth: Option<String>,
    /// Feeler blades.
    pub(crate) blades: Option<String>,
}

/// Sentence with figures that are printed large; the sheet Kits has it in one size.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(crate) struct Phrase(pub(crate) Vec<Span>);

/// Part of a phrase.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Span {
    Plain(String),
    /// A word that must be seen.
    Word(String),
    Figure(String),
    /// Range around a figure.
    Range(String),
}

impl FilledPlace {
    /// Words after STOP for the reading of the pack.
    pub(crate) fn stop(&self) -> Option<&'static str> {
        self.reading.as_ref().map(|reading| reading.stop(STOP_PACK))
    }
}

impl AskedReading {
    /// Words after STOP for the reading of a clearance.
    pub(crate) fn stop(&self) -> &'static str {
        self.range.stop(STOP_CLEARANCE)
    }
}

impl Phrase {
    fn stop(&self, [outside, coarse]: [&'static str; 2]) -> &'static str {
        if self.has_range() { outside } else { coarse }
    }

    /// Whether it has a range to hold a reading against.
    fn has_range(&self) -> bool {
        self.0.iter().any(|span| match span {
            Span::Range(_) => true,
            // Of a clearance the range is the figure, after its word.
            Span::Figure(_) => self.0.iter().any(|span| matches!(span, Span::Word(_))),
            Span::Plain(_) | Span::Word(_) => false,
        })
    }
}

impl std::fmt::Display for Phrase {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        self.0.iter().try_for_each(|span| match span {
            Span::Plain(text) | Span::Word(text) | Span::Figure(text) | Span::Range(text) => {
                f.write_str(text)
            }
        })
    }
}

/// Reason that a place is not filled, in words.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct ShortWords {
    /// Place that failed.
    pub place: String,
    /// Cause, without its full stop.
    pub reason: String,
    /// Totals that fit, and the tolerance that they allow for.
    pub window: Option<[String; 2]>,
    /// Nearest total that can be made.
    pub nearest: Option<String>,
}

impl ShortWords {
    fn of(job: &Job, pump: &Pump, short: &Shortfall) -> ShortWords {
        let presumed = words::presumed(job, pump, short).unwrap_or_default();
        ShortWords {
            place: words::place(job, pump, short),
            reason: words::reason(job, pump, short),
            window: words::window(job, pump, short).map(|window| [window, presumed]),
            nearest: words::nearest(job, pump, short),
        }
    }

    /// Its lines on a slip.
    pub(crate) fn lines(&self) -> Vec<String> {
        let mut lines = vec![format!("{}: {}.", self.place, self.reason)];
        if let Some([window, presumed]) = &self.window {
            lines.push(format!("Totals that fit: {window}. Allows for {presumed}."));
        }
        if let Some(nearest) = &self.nearest {
            lines.push(format!("Nearest total that can be made: {nearest}."));
        }
        lines
    }
}

/// Slips of a plan in the order of the kits, each with its place among them.
pub(crate) struct Slips<'a> {
    pub(crate) verified: &'a Verified,
    pub(crate) place: Option<&'a PlaceInOutage>,
}

impl<'a> Slips<'a> {
    /// Indices of the pumps in the order of the kits, each with its number from 1.
    pub(crate) fn numbered(&self) -> Vec<(usize, usize)> {
        (1..).zip(order::of_kits(self.verified.job())).collect()
    }

    /// Title of a kit: its number in the outage where it has one, and its place among the kits of the plan.
    pub(crate) fn kit(&self, tag: &str, number: usize) -> String {
        kit(self.place, tag, number, self.verified.job().pumps.len())
    }

    /// Slip of a pump with this number; a short one with the reasons that the plan stated, where they are given.
    pub(crate) fn slip_as_stated(
        &self,
        number: usize,
        index: usize,
        stated: Option<&BTreeMap<usize, Vec<ShortWords>>>,
    ) -> KitSlip<'a> {
        let mut slip = self.slip(number, index);
        let stated = stated.and_then(|shorts| shorts.get(&index));
        if let (SlipBody::Short { reasons, .. }, Some(stated)) = (&mut slip.body, stated) {
            reasons.clone_from(stated);
        }
        slip
    }

    /// Slip of a pump with this number.
    pub(crate) fn slip(&self, number: usize, index: usize) -> KitSlip<'a> {
        let (job, plan) = (self.verified.job(), self.verified.plan());
        let pump = &job.pumps[index];
        let slip = Contents { job, pump, model: job.model_of(pump) };
        KitSlip {
            number,
            pump,
            model: slip.model,
            kit: self.kit(&pump.tag, number),
            again: words::measure_again(slip.model, pump),
            bag: self.place.and_then(|place| place.bags.get(&pump.tag)).cloned(),
            facts: facts(pump),
            measured: slip.measured(),
            body: match &plan.kits[index] {
                Kit::Served(packs) => {
                    SlipBody::Complete(Box::new(slip.complete(packs, &self.verified.bags()[index])))
                }
                Kit::Short(shorts) => SlipBody::Short {
                    reasons: shorts.iter().map(|short| ShortWords::of(job, pump, short)).collect(),
                    cautions: slip.cautions(&["before", "always"]),
                },
            },
        }
    }
}

impl KitSlip<'_> {
    pub(crate) fn title(&self) -> String {
        format!("{}: pump {}", self.kit, self.pump.tag)
    }

    /// Number of the kit in its outage; else among the kits of the plan.
    pub(crate) fn in_outage(&self, place: Option<&PlaceInOutage>) -> u32 {
        let known = place.and_then(|place| place.kits.get(&self.pump.tag));
        known.copied().unwrap_or(u32::try_from(self.number).unwrap_or(u32::MAX))
    }
}

/// Slip of a kit that is at the bench: its places, checks and cautions, without its consumables.
pub(crate) fn at_the_bench(job: &Job, pump: &Pump, packs: &[PackPick]) -> CompleteKit {
    Contents { job, pump, model: job.model_of(pump) }.complete(packs, &Bag::new())
}

/// Title of a kit among so many.
pub(crate) fn kit(place: Option<&PlaceInOutage>, tag: &str, number: usize, of: usize) -> String {
    match place.and_then(|place| place.kits.get(tag)) {
        Some(kit) => format!("Kit {kit} ({number} of {of})"),
        None => format!("Kit {number} of {of}"),
    }
}

/// Priority, due date, location, note and carried columns on one line.
fn facts(pump: &Pump) -> String {
    let mut facts = vec![format!("Priority {}", pump.priority)];
    if let Some(due) = &pump.due {
        facts.push(format!("due {}", due.shown));
    }
    facts.extend(pump.location.clone());
    facts.extend(pump.note.clone());
    let carried = pump.carried.iter().filter(|(_, text)| !text.is_empty());
    facts.extend(carried.map(|(heading, text)| format!("{heading}: {text}")));
    let mut facts = facts.join("  |  ");
    if facts.chars().count() > MOST_FACTS {
        facts = facts.chars().take(MOST_FACTS).collect();
        facts.push_str(" ... (the rest is in the pump workbook)");
    }
    facts
}

/// A pump whose slip is worked out.
struct Contents<'a> {
    job: &'a Job,
    pump: &'a Pump,
    model: &'a Model,
}

impl Contents<'_> {
    fn complete(&self, packs: &[PackPick], bag: &Bag) -> CompleteKit {
        let verdicts = verdicts(self.job, self.pump, packs);
        let checks = verdicts.iter().enumerate();
        let parts = stack(self.job, self.pump, packs).contributors;
        let sources = parts.iter().map(|part| source(self.job, self.pump, part)).unique();
        CompleteKit {
            places: (0..packs.len()).map(|place| self.place(place, packs)).collect(),
            needs: self.consumables(bag),
            before: self.cautions(&["before", "assembly"]),
            figures: self.figures(packs, &verdicts),
            checking: self.cautions(&["recheck"]),
            checks: checks.map(|(index, verdict)| self.check(index, verdict, packs)).collect(),
            no_blades: self.job.feelers.is_empty().then_some(NO_BLADES),
            growths: words::growths(self.model, self.pump),
            running: self.cautions(&["start", "", "always"]),
            sources: {
                let sources = sources.format("; ");
                format!("Tolerances from: {sources}.")
            },
        }
    }

    fn place(&self, place: usize, packs: &[PackPick]) -> FilledPlace {
        let (pack, model) = (&packs[place], &self.model.packs[place]);
        let (warnings, crushed) = self.crushed(place, packs);
        let reading = || {
            let total = pack_total(self.job, pack);
            let step = self.job.policy.pack_step;
            let words::PackReading { middle, range } =
                words::pack_reading(total, self.model.unit, step);
            let mut spans = vec![Span::Plain(EXPECTED.into()), Span::Figure(middle)];
            match range {
                Ok(range) => {
                    spans.extend([Span::Plain(", from ".into()), Span::Range(range)]);
                }
                Err(needs) => spans.extend(needs.map(|needs| Span::Plain(format!("; {needs}")))),
            }
            spans.extend(crushed.map(|crushed| Span::Plain(format!("; {crushed}"))));
            Phrase(spans)
        };
        FilledPlace {
            label: model.label.clone(),
            name: model.name.clone(),
            pieces: pack.picks.iter().map(|pick| self.piece(pick)).collect(),
            reading: (!pack.picks.is_empty()).then(reading),
            warnings,
        }
    }

    fn piece(&self, pick: &Pick) -> PlacedPiece {
        let item = &self.job.stock[pick.item];
        // The pack counts with the thickness once layers are peeled off.
        let thickness = item.peeled(pick.peeled).map(|fitted| {
            let own = words::natural_unit(fitted);
            [
                words::thickness(fitted, own),
                words::about(fitted.into(), own.other()),
                words::length(fitted, own),
            ]
        });
        PlacedPiece {
            item: item.item.clone(),
            count: pick.count,
            thickness,
            bin: item.bin.clone().unwrap_or_default(),
            work: words::handwork(self.job, pick),
        }
    }

    /// Warnings of gaskets of a place that their material does not suit, and how far the others are crushed.
    fn crushed(&self, place: usize, packs: &[PackPick]) -> (Vec<String>, Option<String>) {
        let form = |crush: &Crush| &self.pump.requirements[crush.requirement].form;
        let mut crushes = crushes(self.job, self.pump, packs);
        crushes.retain(|c| matches!(form(c), Form::GasketFill { gasket, .. } if *gasket == place));
        let warnings = crushes.iter();
        let warnings =
            warnings.filter_map(|crush| words::crush_warning(self.job, self.pump, crush));
        (warnings.collect(), words::crush_within(&crushes))
    }

    fn consumables(&self, bag: &Bag) -> Vec<BagNeed> {
        let (job, pump) = (self.job, self.pump);
        let needs = bag.iter().enumerate().map(|(need, share)| {
            let asked = &self.model.consumables[need];
            let space = pump.consumable_fits[need].space;
            let pieces = share.picks.iter().map(|pick| {
                let item = &job.stock[pick.item];
                let fit = space.map_or_else(|| item.fit.as_str().to_string(), words::section);
                BagPiece {
                    item: item.item.clone(),
                    count: pick.count,
                    fit,
                    ring_length: space.map(words::ring_length).unwrap_or_default(),
                    bin: item.bin.clone().unwrap_or_default(),
                }
            });
            let missing = words::lack(job, pump, need, share).map(|why| {
                let what = words::consumable(job, pump, need);
                format!("MISSING {} of {}: {what}. Why: {why}.", share.lacking, asked.count)
            });
            BagNeed { kind: asked.kind.clone(), pieces: pieces.collect(), missing }
        });
        needs.collect()
    }

    /// A requirement: its limits, its prediction, and the readings at the bench, where the pump is cold, as `recheck`
    /// will judge them.
    fn check(&self, index: usize, v: &Verdict, packs: &[PackPick]) -> RequirementCheck {
        let (requirement, unit) = (&self.pump.requirements[index], self.model.unit);
        let stack = stack(self.job, self.pump, packs);
        let nominal_only = words::verdict::is_nominal_only(self.job, self.pump, (index, &stack));
        RequirementCheck {
            name: requirement.name.clone(),
            label: requirement.label.clone(),
            target: words::target(v, unit),
            limits: words::limits(v, unit),
            predicted: words::about(v.value, unit),
            nominal_only: nominal_only.then(words::verdict::nominal_only),
            in_service: requirement.form.is_hot().then_some(IN_SERVICE),
            asked: self.asked(index, packs),
        }
    }

    /// Nothing is asked of a requirement against limits that hold in service and that another one asks cold.
    fn asked(&self, index: usize, packs: &[PackPick]) -> Option<AskedReading> {
        let (requirement, unit) = (&self.pump.requirements[index], self.model.unit);
        if !is_asked(self.pump, requirement) {
            return None;
        }
        let within = self.job.policy.clearance_within;
        let accepted = accepted(self.job, self.pump, packs, index, within)?;
        let [least, most] = accepted;
        let is_any = least.zip(most).is_none_or(|(least, most)| least <= most);
        let hot = self.hot_window(requirement, packs);
        let cold = if hot.is_some() { ", cold," } else { "" };
        let allowed = words::recheck::allowed(self.job.policy.acceptance, within, hot.is_some());
        let step = self.job.policy.clearance_step;
        let range = match words::readings(accepted, unit, step) {
            Ok(range) if is_any => Phrase(vec![
                Span::Word(format!("ACCEPT{cold} ")),
                Span::Figure(range),
                Span::Plain(format!(" ({allowed})")),
            ]),
            Err(Some(finer)) if is_any => Phrase(vec![Span::Plain(format!(
                "Needs a gauge that reads to {}: in steps of {} too little of what is accepted is left ({allowed})",
                words::length(finer, unit),
                words::length(step.of(unit), unit),
            ))]),
            _ => Phrase(vec![Span::Plain(format!(
                "No reading with an error of +/-{} shows that it is met: use a finer instrument, and state its \
                 error",
                words::length(within, words::natural_unit(within))
            ))]),
        };
        let mut asked =
            AskedReading { range, unknown_growth: None, any_growth: None, blades: None };
        let mut limits = match requirement.form {
            Form::Linear { lower, upper, .. } if !requirement.form.is_hot() => Some([lower, upper]),
            _ => None,
        };
        match hot {
            Some(ColdWindow::Empty) => {
                limits = None;
                asked.unknown_growth = Some(GROWTH_UNKNOWN);
            }
            // Only where the rule does not count the growth at its worst.
            Some(ColdWindow::Between(window)) => {
                let accepted = inwards(accepted, unit);
                if is_any && shared(window, accepted) != accepted {
                    let ends = window.map(|end| Some(end?.into()));
                    let range = words::readings(ends, unit, step).unwrap_or_else(|_| {
                        words::range(window.map(|end| Some(end?.show(unit))), unit.symbol())
                    });
                    asked.any_growth = Some(format!(
                        "A cold reading outside {range} may leave the hot limits in the worst case of growth",
                    ));
                }
                limits = Some(limits.map_or(window, |limits| shared(limits, window)));
            }
            None => {}
        }
        let is_open = |[lower, upper]: &[Option<Length>; 2]| {
            lower.zip(*upper).is_none_or(|(lower, upper)| lower < upper)
        };
        asked.blades =
            limits.filter(is_open).and_then(|limits| self.blades(requirement, packs, limits));
        Some(asked)
    }

    /// The cold readings that keep within hot limits, of whatever asks running what this asks cold.
    fn hot_window(&self, requirement: &Requirement, packs: &[PackPick]) -> Option<ColdWindow> {
        let asked = requirement.form.cold_terms();
        let all = self.pump.requirements.iter().map(|other| &other.form);
        let mut hot = all.filter(|form| form.is_hot() && form.cold_terms() == asked).peekable();
        hot.peek()?;
        let parts = stack(self.job, self.pump, packs);
        let unit = self.model.unit;
        let windows = hot.filter_map(|form| cold_window(form, &parts, unit));
        windows.reduce(ColdWindow::both)
    }

    /// The feeler blades for a reading within these limits.
    fn blades(
        &self,
        requirement: &Requirement,
        packs: &[PackPick],
        limits: [Option<Length>; 2],
    ) -> Option<String> {
        if self.job.feelers.is_empty() {
            return None;
        }
        let cold = requirement.form.clone().cold();
        let parts = stack(self.job, self.pump, packs);
        let v: Verdict = judge(&cold, &parts, Guard::WorstCase);
        let wanted =
            Clearance { limits, predicted: [v.value - v.guard_lower, v.value + v.guard_upper] };
        let gauge = feeler::gauge(&self.job.feelers, &wanted);
        Some(words::blades(&gauge, self.model.unit))
    }

    /// Cautions of these moments; an empty moment stands for a shop's own words.
    fn cautions(&self, moments: &[&str]) -> Vec<String> {
        let usual = USUAL_CAUTIONS.iter();
        let usual = usual.map(|(when, text)| (*when, (*text).to_string()));
        let own = self.model.cautions.iter();
        let own = own.map(|caution| (caution.when.as_str(), caution.text.clone()));
        let all: Vec<(&str, String)> = usual.chain(own).collect();
        let known = ["before", "assembly", "recheck", "start", "always"];
        let mut found = Vec::new();
        for moment in moments {
            let here = all.iter().filter(|(when, _)| match *moment {
                "" => !known.contains(when),
                moment => *when == moment,
            });
            found.extend(here.map(|(when, text)| match *moment {
                "" => format!("{when}: {text}"),
                _ => text.clone(),
            }));
        }
        found
    }

    fn measured(&self) -> Vec<[String; 2]> {
        let (unit, model) = (self.model.unit, self.model);
        let measured = model.dimensions.iter().zip(&self.pump.dimensions);
        let measured = measured.map(|(dimension, measured)| {
            let label = match measured.readings.len() {
                0 | 1 => dimension.label.clone(),
                count => format!("{} (mean of {count})", dimension.label),
            };
            let within = words::tolerance(measured.tolerance, unit);
            [label, format!("{} {within}", words::measured(measured, unit))]
        });
        measured.collect()
    }

    fn figures(&self, packs: &[PackPick], verdicts: &[Verdict]) -> Vec<DrawnFigure> {
        let figures = self.model.figures.iter().enumerate().filter_map(|(number, figure)| {
            let text = words::drawn_figure(self.job, self.pump, (packs, verdicts), &figure.name)?;
            Some(DrawnFigure { number, at: figure.at, text })
        });
        figures.collect()
    }
}
