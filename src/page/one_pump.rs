//! One pump: its drawing with its own figures, its requirements, what contributes to them, and why it is short.

use maud::{Markup, PreEscaped, html};

use super::row::{Predicted, PumpRow, pieces};
use super::{bar, study};
use crate::accounting::{stack, verdicts};
use crate::crush::crushes;
use crate::job::Job;
use crate::model::NOT_FIT;
use crate::plan::{Kit, PackPick, Shortfall};
use crate::pump::Pump;
use crate::stack::report;
use crate::verify::Verified;
use crate::words;

/// The page around the pump; `row` is the number of its row in the workbook.
pub(super) fn page(links: &Markup, row: u32, tag: &str, version: u64, parts: &[String]) -> Markup {
    html! {
        header.top {
            h1 { (tag) }
            (links)
            p #live role="status" aria-live="polite" {}
        }
        main data-version=(version) data-pump=(row) {
            p.slip { a href={ "../paper/print?slips=on&pump=" (row) } { "Its slip, to print" } }
            @for part in parts { (PreEscaped(part)) }
        }
    }
}

/// All about a pump that the plan says.
pub(super) fn pump(row: &PumpRow, planned: Option<&Verified>, held: bool) -> Markup {
    let known = planned.and_then(|planned| {
        let at = planned.job().pumps.iter().position(|pump| pump.row == row.row)?;
        Some((planned, at))
    });
    // Verdicts on other values than those at hand would mislead.
    let known = known.filter(|_| !matches!(row.state, super::row::RowState::Planning));
    html! {
        div #pump.pump data-state=(row.state.code()) {
            p.state { strong { (row.state.words()) } @for remark in &row.remarks { " " span.remark { (remark) } } }
            @if held || !row.pieces.is_empty() { (study::holding(held)) }
            @if let Some((planned, at)) = known { (of_plan(planned, at)) }
        }
    }
}

fn of_plan(planned: &Verified, at: usize) -> Markup {
    let (job, pump) = (planned.job(), &planned.job().pumps[at]);
    match &planned.plan().kits[at] {
        Kit::Served(packs) => html! {
            (drawing(job, pump, packs))
            (kit(job, pump, packs))
            (requirements(job, pump, packs))
        },
        Kit::Short(shorts) => html! {
            (short(job, pump, shorts))
            (drawing(job, pump, &[]))
        },
    }
}

/// Size of the letters on a drawing, as a share of its width.
const LETTERS: f64 = 0.018;

fn drawing(job: &Job, pump: &Pump, packs: &[PackPick]) -> Markup {
    let model = job.model_of(pump);
    let Some(drawing) = &model.drawing else { return html! {} };
    let (width, height) = (f64::from(drawing.width), f64::from(drawing.height));
    // Of a pump without a kit there are none.
    let judged = match packs.len() < model.packs.len() {
        true => Vec::new(),
        false => verdicts(job, pump, packs),
    };
    let figures: Vec<(f64, f64, String)> = (model.figures.iter())
        .filter_map(|figure| {
            let text = words::drawn_figure(job, pump, (packs, &judged), &figure.name)?;
            let [x, y] = figure.at.map(|share| f64::from(share) / 1e6);
            Some((x * width, y * height, text))
        })
        .collect();
    let says: Vec<&str> = figures.iter().map(|(.., text)| text.as_str()).collect();
    html! {
        section.drawing aria-labelledby="drawn" {
            h2 id="drawn" { "Drawing, with the figures of " (pump.tag) }
            div.scroll tabindex="0" role="group" aria-label="Drawing, to scroll" { svg role="img" aria-label={(model.title) ": " (says.join(", "))} viewBox=(format!("0 0 {width} {height}")) {
                image href={"/drawing/" (pump.model)} width=(width) height=(height) {}
                @for (x, y, text) in &figures {
                    text.drawn x=(bar::number(*x)) y=(bar::number(*y)) font-size=(bar::number(width * LETTERS)) text-anchor="middle" dominant-baseline="central" { (text) }
                }
            } }
        }
    }
}

fn kit(job: &Job, pump: &Pump, packs: &[PackPick]) -> Markup {
    let crushed = crushes(job, pump, packs);
    html! {
        section.kit aria-labelledby="kit" {
            h2 id="kit" { "Pieces" }
            dl { @for [place, text] in pieces(job, pump, packs) { div { dt { (place) } dd { (text) } } } }
            @if let Some(text) = words::crush_within(&crushed) { p { "Gasket " (text) "." } }
            @for crush in &crushed {
                @if let Some(text) = words::crush_warning(job, pump, crush) { p.alarm { (text) "." } }
            }
        }
    }
}

fn requirements(job: &Job, pump: &Pump, packs: &[PackPick]) -> Markup {
    let model = job.model_of(pump);
    let stack = stack(job, pump, packs);
    html! {
        @for (requirement, verdict) in pump.requirements.iter().zip(verdicts(job, pump, packs)) {
            @let predicted = Predicted::of(&requirement.label, &verdict, model.unit);
            @let report = report(&requirement.form, &stack, job.policy.coverage, model.unit);
            section.requirement {
                h2 { (requirement.label) ": " (if predicted.conforms { "met" } else { "NOT MET" }) }
                (bar::predicted(&predicted))
                dl {
                    div { dt { "Predicted" } dd { (predicted.value) } }
                    div { dt { "Limits" } dd { (predicted.limits) } }
                    div { dt { "Target" } dd { (words::target(&verdict, model.unit)) } }
                    div { dt { "Guard kept from the limits" } dd { (predicted.guards) } }
                    div { dt { "Margin" } dd { (predicted.margin) } }
                }
                div.scroll tabindex="0" role="group" aria-label="What contributes, to scroll" { table.plain {
                    caption { "What contributes, as a share of the worst case and of the variance" }
                    thead { tr {
                        th scope="col" { "Contributor" }
                        @for of in ["Worst case", "Variance"] {
                            th scope="col" { (of) }
                            th scope="col" { span.sr { (of) ", drawn" } }
                        }
                    } }
                    tbody {
                        @for line in &report.lines {
                            @let label = &stack.contributors[line.contributor].label;
                            tr {
                                th scope="row" { (label) }
                                @for (what, share) in [("worst case", line.share_of_worst), ("variance", line.share_of_variance)] {
                                    td.number { (percent(share)) }
                                    td { (bar::share(share, &format!("{}: {} of the {what}", label, percent(share)))) }
                                }
                            }
                        }
                    }
                } }
            }
        }
    }
}

fn percent(share: f64) -> String {
    format!("{:.1} %", 100.0 * share)
}

fn short(job: &Job, pump: &Pump, shorts: &[Shortfall]) -> Markup {
    let shown = |text: Option<String>| text.unwrap_or_else(|| "none".into());
    html! {
        section.short aria-labelledby="short" {
            h2 id="short" { (NOT_FIT) ": why, and what it would take" }
            div.scroll tabindex="0" role="group" aria-label="Reasons, to scroll" { table.plain {
                thead { tr { @for head in ["Place", "Why", "Total needed", "Allows for", "Nearest total"] { th scope="col" { (head) } } } }
                tbody {
                    @for short in shorts {
                        tr {
                            th scope="row" { (words::place(job, pump, short)) }
                            td { (words::reason(job, pump, short)) }
                            td.number { (shown(words::window(job, pump, short))) }
                            td { (words::presumed(job, pump, short).unwrap_or_default()) }
                            td.number { (shown(words::nearest(job, pump, short))) }
                        }
                    }
                }
            } }
            p { "A pack of the total needed fits only if its tolerance is no wider than the one allowed for." }
        }
    }
}
