//! Parts of a page of readings that other pages do not have: its mode, and the pumps whose work must stop.

use maud::{Markup, html};

use super::board::{cells_changed, kits_held, shape};
use super::running::{Mode, Running};
use crate::model::NOT_FIT;
use crate::outage::OutagePump;
use crate::scratch::Scratch;

/// Most entries that are listed as news: the last ones.
const MOST_NEWS: usize = 10;

/// Title of the page.
pub(super) fn title(running: &Running) -> String {
    let mode = match running.mode {
        Mode::WhatIf => "What if",
        Mode::Record => "Record",
    };
    format!("{mode}: {}", running.name())
}

/// Pages of an outage; the one at hand is marked. `base` is the path of a page of readings, empty on others.
pub(super) fn links(base: &str, here: &str) -> Markup {
    let at = [base, here].concat();
    let mark =
        |path: &str| !here.is_empty() && at.trim_end_matches('/') == path.trim_end_matches('/');
    let drawers = (!base.is_empty()).then(|| (format!("{base}/drawers"), "Drawers of this plan"));
    let all = [
        ("/", "Outage"),
        ("/drawers", "Drawers"),
        ("/record", "Record"),
        ("/record/paper", "Paper"),
        ("/what-if", "What if"),
        ("/bench", "Bench"),
    ];
    let all = all.map(|(path, name)| (path.to_string(), name));
    html! {
        nav aria-label="Pages" {
            @for (path, name) in all.into_iter().chain(drawers) {
                a href=(path) aria-current=[mark(&path).then_some("page")] { (name) }
            }
        }
    }
}

/// Field for the name of who books, kept by the window.
pub(super) fn who() -> Markup {
    html! {
        p.who { label for="who" { "Your name, for the ledger" } " " input #who autocomplete="name" maxlength="100"; }
    }
}

/// The mode, with what can be taken back, booked and entered.
pub(super) fn mode(
    running: &Running,
    scratch: &Scratch,
    not_done: &[String],
    stands: Option<bool>,
) -> Markup {
    let records = running.mode == Mode::Record;
    let outage = &running.now.outage;
    let news = running.news();
    html! {
        section #mode.mode aria-label="Mode" data-shape=(shape(scratch)) {
            @match records {
                true => { p { strong { "Record" } ": a reading that is typed here is booked into " (running.name()) " at once, and all is planned again. Priority, due date, limits and notes are for the pump workbook." } }
                false => { p { strong { "What if" } ": a scratch copy of " (running.name()) " with its bags as they are. Nothing that is typed here is booked." } }
            }
            p.count {
                @match outage.last_plan() {
                    Some(plan) => { "Plan " (plan.number) ", code " (plan.code) ", counts. " }
                    None => { "No plan is entered yet. " }
                }
                "The ledger ends at " (outage.head()) ". "
                @if !records { (cells_changed(scratch)) }
                (kits_held(scratch))
            }
            @if records { (preview(stands, outage.last_plan().map(|plan| plan.number))) }
            p.actions { (actions(running, scratch, stands)) }
            @if !not_done.is_empty() {
                div.alarm { p { "Not done:" } ul { @for why in not_done { li { (why) } } } }
            }
            @if !news.is_empty() {
                div.news {
                    p { strong { "The outage moved on" } ", and all was planned again:" }
                    @if let Some(more @ 1..) = news.len().checked_sub(MOST_NEWS) { p { (more) " earlier ones, and:" } }
                    ul { @for one in news.iter().skip(news.len().saturating_sub(MOST_NEWS)) { li { (one) } } }
                    button type="button" data-do="acknowledge" { "Seen" }
                }
            }
        }
    }
}

fn preview(stands: Option<bool>, last: Option<u32>) -> Markup {
    html! {
        @match (stands, last) {
            (None, _) => { p { "The plan below is being worked out." } }
            (Some(true), _) => { p { "The plan below is the one that counts. Slips, labels and picking list are under Paper. Its workbook: run " code { "gapwright kit" } " with the workbooks and " code { "--outage" } ", on the command line." } }
            (Some(false), Some(last)) => { p.alarm { "The plan below is a preview: plan " (last) " counts until it is entered." } }
            (Some(false), None) => { p.alarm { "The plan below is a preview: no plan counts until it is entered, and readings can be booked then." } }
        }
    }
}

fn actions(running: &Running, scratch: &Scratch, stands: Option<bool>) -> Markup {
    let [undo, redo] = scratch.steps();
    let none = scratch.edited() == 0;
    html! {
        @match running.mode {
            Mode::Record => {
                button type="button" data-do="undo" disabled[!running.can_undo()] { "Undo the last booking made here" }
                button type="button" data-do="enter" disabled[stands != Some(false)] { "Enter this plan" }
            }
            Mode::WhatIf => {
                button type="button" data-do="undo" disabled[!undo] { "Undo" }
                button type="button" data-do="redo" disabled[!redo] { "Redo" }
                button type="button" data-do="discard" disabled[none && scratch.held() == 0] { "Discard all changes" }
                button type="button" data-do="book-all" disabled[none] { "Book the changed readings, all at once" }
            }
        }
    }
}

/// Pumps whose work must stop, first of all.
pub(super) fn stops(all: &[(&OutagePump, &str)]) -> Markup {
    html! {
        section #stops.refused aria-label="Stop" hidden[all.is_empty()] {
            @if !all.is_empty() {
                h2 { "STOP" }
                ul { @for (pump, why) in all {
                    li.alarm { strong { (pump.tag) } ", " (pump.state.words()) ", " (NOT_FIT) ": " (why) }
                } }
            }
        }
    }
}
