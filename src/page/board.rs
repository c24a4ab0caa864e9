//! The board: the sums of the plan, what changed, and the pumps by model as grids.

use maud::{Markup, PreEscaped, html};

use super::desk::Step;
use super::row::PumpRow;
use super::running::{Mode, Running};
use super::{bar, frame, named, of_outage};
use crate::digest::sha256;
use crate::model::{Model, NOT_FIT, USUAL_CAUTIONS};
use crate::plan::Objective;
use crate::pump_cells::PumpHeading;
use crate::read::{PumpColumn, pump_column};
use crate::scratch::{Fate, FateChange, KitPieces, RefusedEdit, Scratch};
use crate::verify::Verified;
use crate::words;

/// A column of values that can be changed.
pub(super) struct ValueColumn {
    heading: PumpHeading,
    meaning: PumpColumn,
}

/// Columns of values of a model's pumps: priority and due date, readings, limits, note.
pub(super) fn columns(scratch: &Scratch, model: &Model) -> Vec<ValueColumn> {
    let order = |meaning: PumpColumn| match meaning {
        PumpColumn::Priority => Some(0),
        PumpColumn::Due => Some(1),
        PumpColumn::Reading(_) => Some(2),
        PumpColumn::Limit(_) => Some(3),
        PumpColumn::Note => Some(4),
        PumpColumn::Location | PumpColumn::Fit(_) | PumpColumn::Growth(_) => None,
    };
    let headings = scratch.headings().iter().filter_map(|heading| {
        let meaning = pump_column(model, &heading.text)?;
        Some((order(meaning)?, ValueColumn { heading: heading.clone(), meaning }))
    });
    let mut all: Vec<_> = headings.collect();
    // Those of one kind stay in the order of the sheet.
    all.sort_by_key(|(order, _)| *order);
    all.into_iter().map(|(_, column)| column).collect()
}

/// Columns before those of the values.
const FIXED: [(&str, &str); 4] = [
    ("tag", "Pump"),
    ("state", "State"),
    ("bar", "Predicted, between its limits"),
    ("margin", "Margin"),
];

/// The whole board around the parts that change by themselves.
pub(super) fn board(
    scratch: &Scratch,
    running: Option<&Running>,
    rows: &[PumpRow],
    version: u64,
    part: &dyn Fn(&str) -> String,
) -> Markup {
    let job = scratch.job();
    let of = |model: usize| rows.iter().filter(move |row| row.model == model);
    html! {
        header.top {
            h1 { (title(running)) }
            (links(running, "/"))
            @if running.is_some() { (of_outage::who()) }
            p #live role="status" aria-live="polite" {}
        }
        main data-version=(version) data-mode=[running.map(|running| running.mode.code())] {
            (PreEscaped(part("stops")))
            (PreEscaped(part("mode")))
            (PreEscaped(part("figures")))
            (PreEscaped(part("refused")))
            (PreEscaped(part("changes")))
            p.hint #keys {
                "Arrow keys move. Type, Enter or F2 to change a value; Enter or Tab keeps it, Esc leaves it. "
                "Copy and paste blocks to and from a spreadsheet. Ctrl+Z takes back. A cell without a unit is in the unit of its heading."
            }
            @for (index, model) in job.models.iter().enumerate() {
                @let columns = columns(scratch, model);
                @let count = of(index).count();
                @if count > 0 {
                    section.model aria-labelledby={"m" (index)} {
                        h2 id={"m" (index)} { (model.title) span.count { " " (count) " " (if count == 1 { "pump" } else { "pumps" }) } }
                        div.scroll {
                            table role="grid" aria-labelledby={"m" (index)} aria-describedby="keys" aria-rowcount=(count + 1) {
                                thead role="rowgroup" { tr role="row" {
                                    @for (class, name) in FIXED { th role="columnheader" scope="col" class=(class) { (name) } }
                                    @for column in &columns { th role="columnheader" scope="col" class="value" { (column.heading.text) } }
                                    th role="columnheader" scope="col" class="pieces" { "Pieces" }
                                } }
                                tbody role="rowgroup" {
                                    @for row in of(index) { (PreEscaped(part(&row.id))) }
                                }
                            }
                        }
                    }
                }
            }
            (PreEscaped(part("warnings")))
            (cautions())
        }
    }
}

/// Title of the page.
pub(super) fn title(running: Option<&Running>) -> String {
    running.map_or_else(|| "Outage kit plan".to_string(), of_outage::title)
}

/// Links between the pages; the one at hand is marked.
pub(super) fn links(running: Option<&Running>, here: &str) -> Markup {
    match running {
        None => frame::links(here),
        Some(running) => of_outage::links(running.mode.path(), here),
    }
}

/// Row of a pump.
pub(super) fn row(
    scratch: &Scratch,
    running: Option<&Running>,
    row: &PumpRow,
    columns: &[ValueColumn],
) -> Markup {
    let base = running.map_or("", |running| running.mode.path());
    html! {
        tr role="row" id=(row.id) data-tag=(row.tag) data-state=(row.state.code()) {
            th role="rowheader" scope="row" class="tag" tabindex="-1" { a href={(base) "/pump/" (row.row)} tabindex="-1" { (row.tag) } }
            td role="gridcell" class="state" tabindex="-1" aria-readonly="true" {
                span.word { (row.state.words()) }
                @for remark in &row.remarks { span.remark { (remark) } }
            }
            td role="gridcell" class="bar" tabindex="-1" aria-readonly="true" {
                @if let Some(predicted) = &row.predicted { (bar::predicted(predicted)) span.figure { (predicted.value) } }
            }
            td role="gridcell" class="margin" tabindex="-1" aria-readonly="true" {
                @if let Some([margin, label]) = &row.margin {
                    span.figure { (margin) }
                    @if row.predicted.as_ref().is_none_or(|predicted| predicted.label != *label) { span.remark { (label) } }
                }
            }
            @for column in columns { (value(scratch, running, row, column)) }
            td role="gridcell" class="pieces" tabindex="-1" aria-readonly="true" {
                @for [place, text] in &row.pieces { span.place { span.sr { (place) ": " } (text) } }
                @if !row.crush.is_empty() { span.remark { (row.crush) } }
            }
        }
    }
}

fn value(
    scratch: &Scratch,
    running: Option<&Running>,
    row: &PumpRow,
    column: &ValueColumn,
) -> Markup {
    let (tag, heading) = (&row.tag, &column.heading);
    let text = scratch.cell(tag, &heading.key);
    let refused = scratch.refusal(tag, &heading.key);
    let why = refused.map(|_| format!("w{}-{}", row.row, heading.column));
    let is_reading = matches!(column.meaning, PumpColumn::Reading(_));
    let missing = text.is_empty() && is_reading;
    let is_open = is_reading || running.is_none_or(|running| running.mode != Mode::Record);
    let is_booked = running.is_some_and(|running| running.is_booked(tag, &heading.key));
    let mut class = match column.meaning {
        PumpColumn::Note => "value".to_string(),
        PumpColumn::Due => "value date".to_string(),
        _ => "value number".to_string(),
    };
    if scratch.is_edited(tag, &heading.key) {
        class.push_str(" edited");
    }
    html! {
        td role="gridcell" class=(class) tabindex="-1" data-key=[is_open.then_some(&heading.key)]
            aria-readonly=[(!is_open).then_some("true")] aria-invalid=[refused.map(|_| "true")] aria-describedby=[why.as_deref()] {
            span.v { (text) }
            @if scratch.is_edited(tag, &heading.key) { span.mark { "what if" } }
            @else if is_booked { span.mark { "booked" } }
            @if missing { span.mark { "not measured" } }
            @if let (Some(refused), Some(why)) = (refused, &why) {
                span.mark { "not taken" }
                span.why id=(why) { (refusal(refused)) }
            }
        }
    }
}

/// Why an edit was not taken, in one line.
pub(super) fn refusal(refused: &RefusedEdit) -> String {
    let problem = &refused.problem;
    let keeps = match refused.kept.as_str() {
        "" => "It stays empty.".to_string(),
        kept => format!("It stays {kept}."),
    };
    format!("Found {}. Expected {}. Fix: {}. {keeps}", problem.found, problem.expected, problem.fix)
}

/// An edit that was not taken, in one line with its place.
pub(super) fn refused_line(one: &RefusedEdit) -> String {
    let (tag, place) = (&one.edit.tag, named::place(&one.problem.place));
    format!("{tag} {place}: typed `{}`. {}", one.edit.now, refusal(one))
}

/// Mark of the pumps and columns: a window that shows others must be loaded again.
pub(super) fn shape(scratch: &Scratch) -> String {
    let job = scratch.job();
    let mut rows: Vec<String> =
        job.pumps.iter().map(|pump| format!("{}\t{}", pump.row, pump.tag)).collect();
    rows.extend(
        job.not_measured.iter().map(|pump| format!("{}\t{}", super::row::row_of(pump), pump.tag)),
    );
    rows.sort();
    rows.extend(scratch.headings().iter().map(|heading| heading.text.clone()));
    sha256(rows.join("\n").as_bytes()).chars().take(12).collect()
}

pub(super) fn cells_changed(scratch: &Scratch) -> String {
    match scratch.edited() {
        0 => "Nothing is changed.".into(),
        1 => "1 cell is changed.".into(),
        many => format!("{many} cells are changed."),
    }
}

/// Empty where none is held.
pub(super) fn kits_held(scratch: &Scratch) -> String {
    match scratch.held() {
        0 => String::new(),
        1 => " 1 kit is held.".into(),
        many => format!(" {many} kits are held."),
    }
}

/// The mode, with what can be taken back.
pub(super) fn mode(scratch: &Scratch, changed: &[&str], problems: &[String]) -> Markup {
    let edited = scratch.edited();
    let [undo, redo] = scratch.steps();
    let job = scratch.job();
    let names: Vec<String> = (job.inputs.iter().filter(|input| input.role.ends_with("workbook")))
        .map(|input| named::file(&input.file))
        .collect();
    html! {
        section #mode.mode aria-label="Mode" data-shape=(shape(scratch)) {
            p { strong { "What if" } ": a scratch copy of " (names.join(" and ")) ". The workbooks are never written here. To book readings, " a href="/begin" { "begin an outage file" } "." }
            p.count {
                (cells_changed(scratch)) (kits_held(scratch))
            }
            p.actions {
                button type="button" data-do="undo" disabled[!undo] { "Undo" }
                button type="button" data-do="redo" disabled[!redo] { "Redo" }
                button type="button" data-do="discard" disabled[edited == 0 && scratch.held() == 0] { "Discard all changes" }
            }
            @if !changed.is_empty() {
                p.alarm { "On the disk the " (changed.join(" and the ")) " changed since it was read. This page goes on with what was read." }
                p.actions { button type="button" data-do="take-over" { "Take the new one over" } }
            }
            @if !problems.is_empty() {
                div.alarm { p { "It was not taken over, since it has problems:" } ul { @for problem in problems { li { (problem) } } } }
            }
        }
    }
}

/// Sums of the plan, and their proof.
pub(super) fn figures(scratch: &Scratch, trouble: Option<&str>, step: Step) -> Markup {
    html! {
        section #figures.figures aria-label="Plan" data-planning=(!scratch.is_planned() && trouble.is_none()) {
            @if let Some(trouble) = trouble {
                p.alarm { "These values cannot be planned. " (trouble) }
            } @else if !scratch.is_planned() {
                p.busy { "Planning. Until it is done, the figures below are of the plan before." }
            }
            @else if let Some(open) = still_open(step) { p.busy { (open) } }
            @if let Some(planned) = scratch.planned() { (of_plan(planned)) }
        }
    }
}

/// Words for the part of the plan that is still worked out.
fn still_open(step: Step) -> Option<&'static str> {
    match step {
        Step::Answer => Some(
            "Still being worked out: whether another plan is better. This one is good to its bounds.",
        ),
        Step::Goals => Some(
            "Still being worked out: which of several equal plans comes first. Kits may be exchanged; the figures stay.",
        ),
        Step::Order => Some("Still being worked out: what one more piece of each item is worth."),
        Step::Whole => None,
    }
}

fn of_plan(planned: &Verified) -> Markup {
    let (job, plan) = (planned.job(), planned.plan());
    let waste = plan.goal(Objective::Waste).map_or(0, |goal| goal.value);
    let short = words::not_fit_tags(planned);
    let lacking = planned.bags().iter().filter(|bag| words::lacking(bag)).count();
    html! {
        dl.sums {
            div { dt { "Pumps kitted" } dd { (plan.served()) " of " (words::planned_for(job)) } }
            div { dt { "Waste" } dd { (words::money(waste, job)) } }
            @if let Some(reopened) = plan.goal(Objective::Reopened) {
                div { dt { "Bags reopened" } dd { (reopened.value) } }
            }
            div { dt { (NOT_FIT) } dd { (short.len()) } }
            @if !job.not_measured.is_empty() { div { dt { "Not measured" } dd { (job.not_measured.len()) } } }
            @if lacking > 0 { div { dt { "Bags short of consumables" } dd { (lacking) } } }
        }
        p.proof { (words::proof(planned)) }
        p.rule { "Acceptance rule: " (job.policy.acceptance.to_string()) ". The plan predicts: measure each finished pack and recheck each clearance." }
        @if !short.is_empty() {
            p.alarm { strong { (NOT_FIT) ": " } (short.join(", ")) }
        }
    }
}

/// Edits that were not taken.
pub(super) fn refused(scratch: &Scratch) -> Markup {
    let all: Vec<&RefusedEdit> = scratch.refusals().collect();
    html! {
        section #refused.refused aria-label="Values that were not taken" hidden[all.is_empty()] {
            @if !all.is_empty() {
                h2 { "Not taken" }
                ul {
                    @for one in all {
                        li { (refused_line(one)) }
                    }
                }
            }
        }
    }
}

/// Pumps whose kits changed since somebody said that they were seen.
pub(super) fn changes(scratch: &Scratch) -> Markup {
    let all = scratch.changes();
    let worst = all.iter().filter(|change| change.became_short()).count();
    html! {
        section #changes.changes aria-label="Changes" hidden[all.is_empty()] {
            @if !all.is_empty() {
                h2 {
                    "Changed by these values: " (all.len()) " " (if all.len() == 1 { "pump" } else { "pumps" })
                    @if worst > 0 { ", " (worst) " of them now " (NOT_FIT) }
                }
                ul { @for change in &all { li data-short=[change.became_short().then_some("yes")] { strong { (change.tag) } ": " (said(change)) } } }
                button type="button" data-do="acknowledge" { "I have seen these changes" }
            }
        }
    }
}

fn said(change: &FateChange) -> String {
    let [out, into] = change.pieces();
    let listed = |pieces: &[KitPieces]| {
        let each = pieces.iter().map(|piece| {
            let peeled = match piece.peeled {
                0 => String::new(),
                layers => format!(" peeled by {layers}"),
            };
            format!("{} x {}{peeled}", piece.count, piece.item)
        });
        each.collect::<Vec<_>>().join(", ")
    };
    match (&change.before, &change.now) {
        (_, Fate::NotMeasured(waits)) => format!("not measured now, waits for {waits}"),
        (_, Fate::Short(why)) => format!("now {NOT_FIT}. {why}"),
        (Some(Fate::Kitted(_)), Fate::Kitted(_)) => {
            let parts = [("out", &out), ("in", &into)].into_iter();
            let parts = parts.filter(|(_, pieces)| !pieces.is_empty());
            let parts: Vec<String> =
                parts.map(|(word, pieces)| format!("{word} {}", listed(pieces))).collect();
            format!("another kit: {}", parts.join("; "))
        }
        (_, Fate::Kitted(_)) => format!("kitted now: {}", listed(&into)),
    }
}

/// Warnings about the workbooks and the plan.
pub(super) fn warnings(scratch: &Scratch, running: Option<&Running>) -> Markup {
    let of_workbooks =
        scratch.job().warnings.iter().map(|one| words::warning(&named::problem(one)));
    let of_plan = scratch.planned().into_iter().flat_map(|planned| {
        let (job, plan) = (planned.job(), planned.plan());
        words::crush_warnings(job, plan).into_iter().chain(words::verdict::of_plan(job, plan))
    });
    let of_ledger = running.into_iter().flat_map(|running| running.now.warnings.clone());
    let all: Vec<String> = of_ledger.chain(of_workbooks).chain(of_plan).collect();
    html! {
        section #warnings.warnings aria-label="Warnings" hidden[all.is_empty()] {
            @if !all.is_empty() {
                details open[all.len() <= 3] {
                    summary { (all.len()) " " (if all.len() == 1 { "warning" } else { "warnings" }) }
                    ul { @for warning in &all { li { (warning) } } }
                }
            }
        }
    }
}

fn cautions() -> Markup {
    html! {
        section.cautions aria-labelledby="cautions" {
            h2 id="cautions" { "Cautions" }
            ul { @for (_, text) in USUAL_CAUTIONS { li { (text) } } }
        }
    }
}
