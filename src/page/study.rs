//! One pump looked into: its chances, where its verdicts turn, what would cure it, and its other kits with what each costs
//! the other pumps. All of it is worked out from a checked plan, away from the threads that serve.

use itertools::Itertools;
use maud::{Markup, html};

use super::bar;
use super::row::{Predicted, pieces};
use super::slider::slider;
use crate::accounting::{stack, tightest, verdicts};
use crate::analysis::{Analysed, with_cure_of};
use crate::choose::control::Control;
use crate::digest::sha256;
use crate::job::Job;
use crate::model::{Form, NOT_FIT};
use crate::plan::{Kit, PackPick};
use crate::scratch::{OtherKit, OtherKitList, OthersCost, PlanError, other_kits};
use crate::stack::monte_carlo::Outcome;
use crate::stack::{Chance, ChanceLaw, Undrawn, level_of_draws, report};
use crate::sweep::{Around, around};
use crate::verify::Verified;
use crate::words;

/// Other kits that are planned with, and those of them that are listed.
const LOOKED_AT: usize = 10;
const LISTED: usize = 5;
/// Most draws of a requirement, as `gapwright stack` has unless told otherwise.
const MOST_DRAWS: u64 = 4_000_000;
/// Most tags in a sentence.
const MOST_TAGS: usize = 6;

/// Account of a pump, as far as it is worked out.
#[derive(Debug, Clone)]
pub(super) struct Study {
    /// The page's parts: chances and sliders, and the other kits.
    html: [String; 2],
    /// Kits that can be held, by their codes.
    kits: Vec<(String, Vec<PackPick>)>,
    /// Whether the other kits are worked out.
    pub(super) done: bool,
}

/// Code of the kit at hand.
pub(super) const AT_HAND: &str = "at-hand";

/// HTML of the parts, by their names; what is not worked out says so.
pub(super) fn html(row: u32, study: Option<&Study>) -> [(String, String); 2] {
    let html =
        study.map_or_else(|| begun(row).map(Markup::into_string), |study| study.html.clone());
    let [first, second] = parts(row);
    let [one, two] = html;
    [(first, one), (second, two)]
}

/// Names of the parts of a pump's page, by the number of its row.
fn parts(row: u32) -> [String; 2] {
    [format!("study-{row}"), format!("kits-{row}")]
}

/// The parts while nothing is worked out.
fn begun(row: u32) -> [Markup; 2] {
    let busy = |text: &str| html! { p.busy { (text) } };
    let wait = [
        "Chances and turns of the verdicts are being worked out.",
        "Other kits are being planned with, one by one.",
    ];
    let [study, kits] = parts(row);
    [
        html! { section id=(study) aria-label="Chances and turns" { (busy(wait[0])) } },
        html! { section id=(kits) aria-label="Other kits" { (busy(wait[1])) } },
    ]
}

impl Study {
    /// Chances, turns and cures of a pump, by its index in the plan's job.
    pub(super) fn of(planned: &Verified, pump: usize) -> Study {
        let job = planned.job();
        let row = job.pumps[pump].row;
        let [study, _] = parts(row);
        let (cures, packs) = match &planned.plan().kits[pump] {
            Kit::Served(packs) => (Vec::new(), Some(packs.clone())),
            Kit::Short(_) => {
                let cured = with_cure_of(job, planned.plan().clone(), pump);
                let nearest = cured.cures.first().and_then(|cure| cure.nearest.clone());
                (words::cures(job, &cured, pump), nearest)
            }
        };
        let short = matches!(planned.plan().kits[pump], Kit::Short(_));
        let html = html! {
            div.study id=(study) {
                @if !cures.is_empty() {
                    section aria-labelledby="cures" {
                        h2 id="cures" { "What would cure it" }
                        ul { @for cure in &cures { li { (cure) } } }
                        p.hint { (words::WHO_DECIDES) }
                    }
                }
                @if let Some(packs) = &packs {
                    @if short {
                        section aria-labelledby="nearest" {
                            h2 id="nearest" { "Its nearest kit of the pieces left, which is " (NOT_FIT) }
                            dl { @for [place, text] in pieces(job, &job.pumps[pump], packs) { div { dt { (place) } dd { (text) } } } }
                        }
                    } @else { (chances(job, pump, packs)) }
                    (sliders(job, pump, packs, short))
                }
            }
        };
        let [_, kits] = begun(row);
        let kits = kits.into_string();
        Study { html: [html.into_string(), kits], kits: Vec::new(), done: false }
    }

    /// The study with the other kits, planned with under a control.
    pub(super) fn with_kits(
        mut self,
        planned: &Verified,
        pump: usize,
        control: &Control<'_>,
    ) -> Study {
        let others = other_kits(planned, pump, LOOKED_AT, control);
        let job = planned.job();
        let row = job.pumps[pump].row;
        self.html[1] = kits(planned, pump, row, &others).into_string();
        if let Ok(others) = others {
            let coded = others.kits.into_iter().map(|kit| (code(job, &kit.packs), kit.packs));
            self.kits = coded.collect();
        }
        self.done = true;
        self
    }

    /// Kit of a code.
    pub(super) fn kit(&self, code: &str) -> Option<&[PackPick]> {
        let found = self.kits.iter().find(|(known, _)| known == code);
        found.map(|(_, packs)| packs.as_slice())
    }
}

/// Code of a kit by its pieces.
fn code(job: &Job, packs: &[PackPick]) -> String {
    let picks = packs.iter().enumerate().flat_map(|(place, pack)| {
        let of = |pick: &crate::plan::Pick| {
            format!("{place}\t{}\t{}\t{}", job.stock[pick.item].item, pick.peeled, pick.count)
        };
        pack.picks.iter().map(of).collect::<Vec<_>>()
    });
    sha256(picks.format("\n").to_string().as_bytes()).chars().take(16).collect()
}

/// Chances of each requirement: by its figures, and by draws at random.
fn chances(job: &Job, at: usize, packs: &[PackPick]) -> Markup {
    let pump = &job.pumps[at];
    let unit = job.model_of(pump).unit;
    let stack = stack(job, pump, packs);
    let drawn = Analysed::of(job, at, packs.to_vec(), MOST_DRAWS).draws;
    let level = 100.0 * level_of_draws(job.policy.coverage);
    html! {
        section aria-labelledby="chances" {
            h2 id="chances" { "Chances" }
            div.scroll tabindex="0" role="group" aria-label="Chances, to scroll" { table.plain {
                caption { "Chance that a requirement is met, by its figures and by draws at random (JCGM 101), as on the workbook of gapwright stack" }
                thead { tr {
                    @for head in ["Requirement", "By its figures", "By draws", "Below", "Above", "Standard uncertainty"] { th scope="col" { (head) } }
                    th scope="col" { (format!("Interval of {level:.2} %")) }
                } }
                tbody {
                    @for (asked, drawn) in pump.requirements.iter().zip(&drawn) {
                        tr {
                            th scope="row" { (asked.label) }
                            td { (Chance::of(&report(&asked.form, &stack, job.policy.coverage, unit)).to_string()) }
                            @match drawn {
                                Ok(drawn) => { (of_draws(drawn, &asked.form, unit)) }
                                Err(why) => { td colspan="5" { (undrawn(why)) } }
                            }
                        }
                    }
                }
            } }
        }
    }
}

fn undrawn(why: &Undrawn) -> String {
    format!("cannot be drawn: {why}")
}

fn of_draws(drawn: &Outcome, form: &Form, unit: crate::length::Unit) -> Markup {
    let (symbol, places) = match form {
        Form::Linear { .. } => (unit.symbol(), unit.places() as usize),
        Form::GasketFill { .. } => ("", 3),
    };
    let law = ChanceLaw::Draws(drawn.draws);
    let chance = drawn.conformity.map(|of| Chance { conforming: of.conforming, law }.to_string());
    // A side without a miss shows a bound, no more.
    let side = |share: f64| match share <= 0.0 {
        true => crate::stack::missed_by_none(drawn.draws),
        false => format!("{:.4} %", 100.0 * share),
    };
    let sides =
        drawn.conformity.map_or([None, None], |of| [of.below, of.above].map(|s| Some(side(s))));
    let [low, high] = drawn.symmetric;
    html! {
        td { (chance.unwrap_or_default()) @if !drawn.settled { " NOT STABLE" } }
        @for side in sides { td.number { (side.unwrap_or_default()) } }
        td.number { (format!("{:.1e} {symbol}", drawn.standard).trim_end()) }
        td.number { (format!("{low:.places$} to {high:.places$} {symbol}").trim_end()) }
    }
}

/// Sliders over all quantities of a pump with these pieces.
fn sliders(job: &Job, at: usize, packs: &[PackPick], short: bool) -> Markup {
    let (row, pump) = (job.pumps[at].row, &job.pumps[at]);
    let all: Vec<Around> = around(job, at, packs);
    html! {
        section.knobs aria-labelledby="turns" {
            h2 id="turns" { "Where the verdict turns" }
            p.hint {
                "One value is moved at a time, the pieces stay" @if short { " (those of the nearest kit)" } ". The track is thick where a requirement is not met; the line is the value as it is. "
                "The stops beside a turn are exact. Nothing is planned by a slider: type a value into the sheet to plan with it."
            }
            @for (n, around) in all.iter().enumerate() { (slider(job, pump, &format!("knob-{row}-{n}"), around)) }
        }
    }
}

/// The other kits of a pump.
fn kits(
    planned: &Verified,
    at: usize,
    row: u32,
    found: &Result<OtherKitList, PlanError>,
) -> Markup {
    let job = planned.job();
    let [_, id] = parts(row);
    html! {
        section.others id=(id) aria-labelledby="others" {
            h2 id="others" { "Other kits" }
            @match found {
                Err(_) => { p { "There are too many ways to fill its places to list them." } }
                Ok(found) if found.kits.is_empty() => {
                    p { @if found.cut { "None was found in the time." } @else { "No other kit of the whole drawer meets its limits." } }
                }
                Ok(found) => {
                    p.hint { (listed(found)) }
                    div.scroll tabindex="0" role="group" aria-label="Other kits, to scroll" { table.plain {
                        thead { tr { @for head in ["Pieces", "What it costs", "Predicted", "Least margin"] { th scope="col" { (head) } } } }
                        tbody { @for kit in found.kits.iter().take(LISTED) { (other(job, at, kit)) } }
                    } }
                }
            }
        }
    }
}

fn listed(found: &OtherKitList) -> String {
    let looked = found.kits.iter().filter(|kit| kit.cost.is_some()).count();
    let first = match (found.of, found.kits.len()) {
        (1, _) => "There is one other kit that meets its limits.".to_string(),
        (of, all) if of == all => format!("There are {of} other kits that meet its limits."),
        (of, some) => format!(
            "Of {of} other kits that meet its limits the {some} of least waste of their own were looked at."
        ),
    };
    let cut = if found.cut { " The time ended the list: there may be more." } else { "" };
    let left = match found.kits.len() - looked {
        0 => String::new(),
        left => format!(" For {left} there was no time to."),
    };
    format!(
        "{first}{cut} With a kit held all pumps are planned again: what that costs stands beside it, the best first.{left}"
    )
}

fn other(job: &Job, at: usize, kit: &OtherKit) -> Markup {
    let pump = &job.pumps[at];
    let unit = job.model_of(pump).unit;
    let first = pump.requirements.first().zip(verdicts(job, pump, &kit.packs).into_iter().next());
    let predicted = first.map(|(asked, verdict)| Predicted::of(&asked.label, &verdict, unit));
    let least = tightest(job, pump, &kit.packs).map(|(of, verdict)| {
        [words::margin(verdict.margin(), unit), pump.requirements[of].label.clone()]
    });
    html! {
        tr {
            th scope="row" {
                @for [place, text] in pieces(job, pump, &kit.packs) { span.place { span.sr { (place) ": " } (text) } }
                button type="button" data-do="hold" data-kit=(code(job, &kit.packs)) { "Hold this one" }
            }
            td { @match &kit.cost {
                None => { "not worked out: the time ended" }
                Some(cost) => { @for line in costs(job, cost) { span.place data-short=[line.contains(NOT_FIT).then_some("yes")] { (line) } } }
            } }
            td.bar { @if let Some(predicted) = &predicted { (bar::predicted(predicted)) span.figure { (predicted.value) } } }
            td { @if let Some([margin, label]) = &least { span.figure { (margin) } span.remark { (label) } } }
        }
    }
}

/// Cost of a kit in short lines.
fn costs(job: &Job, cost: &OthersCost) -> Vec<String> {
    let named = |pumps: &[usize]| {
        let tags =
            pumps.iter().take(MOST_TAGS).map(|&pump| job.pumps[pump].tag.as_str()).join(", ");
        match pumps.len().saturating_sub(MOST_TAGS) {
            0 => tags,
            more => format!("{tags} and {more} more"),
        }
    };
    let mut lines = Vec::new();
    if !cost.lost.is_empty() {
        lines.push(format!("{NOT_FIT}: {}", named(&cost.lost)));
    }
    if !cost.gained.is_empty() {
        lines.push(format!("kitted as well: {}", named(&cost.gained)));
    }
    lines.push(match cost.more_waste {
        0 => "no other waste".to_string(),
        more if more > 0 => format!("{} more waste in all", words::money_exactly(more, job)),
        less => format!("{} less waste in all", words::money_exactly(-less, job)),
    });
    lines.push(match cost.changed {
        0 => "no other kit changes".to_string(),
        1 => "1 other kit changes".to_string(),
        many => format!("{many} other kits change"),
    });
    if !cost.proven {
        lines.push("not proven: it may cost less".to_string());
    }
    lines
}

/// The present kit of a pump: to be held, or to be let go.
pub(super) fn holding(held: bool) -> Markup {
    html! {
        p.actions {
            @match held {
                true => { strong { "Held" } " " button type="button" data-do="free" { "Let this kit go" } }
                false => { button type="button" data-do="hold" data-kit=(AT_HAND) { "Hold this kit" } }
            }
        }
    }
}
