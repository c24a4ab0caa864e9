//! Paper from the page: what is to be printed is asked for by a form, and answered with the very file that
//! `gapwright slips` writes, under the policy of that file.

use std::collections::BTreeSet;

use axum::Router;
use axum::extract::State;
use axum::http::{StatusCode, Uri, header};
use axum::response::{Html, IntoResponse, Response};
use axum::routing::get;
use maud::{Markup, html};

use super::desk::Desk;
use super::desk::printing::{OfOutage, ToPrint};
use super::form::Fields;
use super::frame;
use super::routes::{House, aside, not_there};
use crate::changes::SlipStatus;
use crate::issue::key;
use crate::model::NOT_FIT;
use crate::outage::{OutagePump, PlaceInOutage, PumpState};
use crate::outage_file::{OutageFile, outage_name};
use crate::outage_job::changes_of_last_plan;
use crate::paper::{self, GridFault, LabelGrid, PaperPage, PaperParts, PrintedPlan, SlipChanges};
use crate::read::Memory;
use crate::show::counted;
use crate::verify::Verified;
use crate::words;

pub(super) fn routes() -> Router<House> {
    Router::new().route("/paper", get(form)).route("/paper/print", get(print))
}

/// Measures of a sheet of labels: name, label, and the names and labels of its two fields.
const MEASURES: [(&str, [[&str; 2]; 2]); 4] = [
    ("Labels on a sheet", [["columns", "across"], ["rows", "down"]]),
    ("One label, in mm", [["width", "wide"], ["height", "high"]]),
    ("First label, in mm", [["left", "from the left edge"], ["top", "from the upper edge"]]),
    ("Gaps between labels, in mm", [["across", "across"], ["down", "down"]]),
];

/// Parts that are asked for, each with the name of its field.
const PARTS: [(&str, &str); 3] = [
    ("slips", "Kit slips, one page for each pump"),
    ("labels", "Bag labels"),
    ("picking", "Picking list"),
];

/// A form as it was filled in.
pub(super) struct Wanted(Fields);

impl Wanted {
    fn of(uri: &Uri) -> Wanted {
        Wanted(Fields::parse(uri.query().unwrap_or_default()))
    }

    /// Whether a box is ticked; before anything is filled in all parts are.
    fn is_ticked(&self, name: &str) -> bool {
        let is_part = PARTS.iter().any(|(part, _)| *part == name);
        !self.0.get(name).is_empty() || is_part && self.0.is_empty()
    }

    fn has_own_sheet(&self) -> bool {
        self.0.get("sheet") == "own"
    }

    /// Rows of the pumps that are asked for; none for all.
    fn rows(&self) -> BTreeSet<u32> {
        self.0.all("pump").filter_map(|row| row.parse().ok()).collect()
    }

    /// Parts to print, or what is wrong with the form.
    fn parts(&self) -> Result<PaperParts, Vec<String>> {
        let labels = self.is_ticked("labels").then(|| self.grid()).transpose()?;
        let [slips, picking] = ["slips", "picking"].map(|name| self.is_ticked(name));
        if !slips && !picking && labels.is_none() {
            return Err(vec!["Nothing is ticked: tick what is to be printed.".into()]);
        }
        Ok(PaperParts { slips, large_drawings: self.is_ticked("large"), labels, picking })
    }

    fn grid(&self) -> Result<LabelGrid, Vec<String>> {
        if !self.has_own_sheet() {
            return Ok(LabelGrid::default());
        }
        let typed: Vec<String> = MEASURES
            .iter()
            .map(|(_, fields)| fields.map(|[name, _]| self.0.get(name)).join("x"))
            .collect();
        let is_half = |at: usize| {
            typed
                .get(at)
                .is_some_and(|text| text.split('x').any(str::is_empty) && (at < 2 || text != "x"))
        };
        let halves = (0..MEASURES.len()).filter(|at| is_half(*at));
        let faults: Vec<String> =
            halves.map(|at| format!("{}: fill in both fields.", MEASURES[at].0)).collect();
        if !faults.is_empty() {
            return Err(faults);
        }
        let measure = |at: usize| typed.get(at).map(String::as_str);
        // Margins and gaps may be left out, the count and the size may not.
        let may_be_empty = |at| measure(at).filter(|text| *text != "x");
        let typed = [measure(0), measure(1), may_be_empty(2), may_be_empty(3)];
        LabelGrid::typed(typed).map_err(|faults| {
            let said = |GridFault { measure, found, expected }| {
                let of = measure.and_then(|at| Some(MEASURES.get(at)?.0)).unwrap_or("Labels");
                format!("{of}: found {found}. Expected {expected}.")
            };
            faults.into_iter().map(said).collect()
        })
    }
}

async fn form(State(house): State<House>, uri: Uri) -> Result<Response, Response> {
    let wanted = house.wanted.clone();
    let asked = Wanted::of(&uri);
    let subject = house.subject()?;
    let page = aside(move || Some(subject.desk()?.paper(&asked, &[]))).await?;
    wanted.notify_one();
    Ok(Html(frame::frame("Paper", true, &page.ok_or_else(not_there)?)).into_response())
}

async fn print(State(house): State<House>, uri: Uri) -> Result<Response, Response> {
    let (wanted, subject) = (house.wanted.clone(), house.subject()?);
    let answer = aside(move || {
        let desk = subject.desk().ok_or_else(not_there)?;
        answer(desk, &Wanted::of(&uri))
    })
    .await?;
    wanted.notify_one();
    answer
}

fn answer(desk: &Desk, wanted: &Wanted) -> Result<Response, Response> {
    let again = |status: StatusCode, faults: &[String]| {
        let page = frame::frame("Paper", true, &desk.paper(wanted, faults));
        (status, Html(page)).into_response()
    };
    let parts =
        wanted.parts().map_err(|faults| again(StatusCode::UNPROCESSABLE_ENTITY, &faults))?;
    let conflict = |why| again(StatusCode::CONFLICT, &[why]);
    let to_print = desk.to_print().map_err(conflict)?;
    let page = made(&to_print, wanted, &parts, desk.megabytes()).map_err(conflict)?;
    let policy = format!("{}; frame-ancestors 'none'", page.policy);
    let saved = if wanted.is_ticked("save") { "attachment" } else { "inline" };
    let name = format!("{saved}; filename=\"slips-{}.html\"", to_print.planned.planned().id());
    let headers = [(header::CONTENT_SECURITY_POLICY, policy), (header::CONTENT_DISPOSITION, name)];
    Ok((headers, Html(page.html)).into_response())
}

/// The file.
fn made(
    ToPrint { planned, of_outage }: &ToPrint,
    wanted: &Wanted,
    parts: &PaperParts,
    megabytes: u64,
) -> Result<PaperPage, String> {
    let changes = match of_outage.as_ref().filter(|_| wanted.is_ticked("changed")) {
        Some(of) => Some(changes(of, planned, megabytes)?),
        None => None,
    };
    let rows = wanted.rows();
    let all = planned.job().pumps.iter().enumerate();
    let is_asked = |index: &usize, row: u32| {
        let changed = changes.as_ref().is_none_or(|changes| changes.printed.contains(index));
        changed && (rows.is_empty() || rows.contains(&row))
    };
    let chosen = all.filter(|(at, pump)| is_asked(at, pump.row)).map(|(at, _)| at);
    let chosen: BTreeSet<usize> = chosen.collect();
    if chosen.is_empty() && changes.is_none() {
        return Err("None of these pumps is in the plan: the pieces of a pump at the bench are with its slip.".into());
    }
    let some = changes.is_some() || !rows.is_empty();
    let place = of_outage.as_ref();
    let place = place.map(|of| PlaceInOutage::of(&outage_name(&of.path), &of.outage, Vec::new()));
    let printed = PrintedPlan {
        verified: planned,
        date: &jiff::Zoned::now().date().to_string(),
        place: place.as_ref(),
        pumps: some.then_some(&chosen),
        changes: changes.as_ref(),
        shorts: None,
    };
    Ok(paper::page(&printed, parts))
}

/// Slips that changed since the plan before, as the ledger has them.
fn changes(of: &OfOutage, planned: &Verified, megabytes: u64) -> Result<SlipChanges, String> {
    let then = of.outage.before_last_plan();
    let since = then.last_plan().ok_or("There is no plan before this one: print all of it.")?;
    let file = OutageFile::open(&of.path)
        .map_err(|_| "The outage file cannot be opened at this moment: try again.")?;
    let memory = Memory::of_megabytes(u32::try_from(megabytes).unwrap_or(u32::MAX));
    let (changes, before) = changes_of_last_plan(&file, &of.outage, &of.job, &memory);
    let is_changed = |tag: &str| changes.iter().any(|change| key(&change.tag) == key(tag));
    let pumps = planned.job().pumps.iter().enumerate();
    let printed = |tag: &str| {
        let mut all = changes.iter().filter(|change| change.print);
        all.any(|change| key(&change.tag) == key(tag))
    };
    let is_out = |pump: &&OutagePump| {
        matches!(pump.state, PumpState::Issued | PumpState::Rejected | PumpState::Accepted)
    };
    let on_paper = before.slips.iter().filter(|slip| slip.status != SlipStatus::NotMeasured);
    Ok(SlipChanges {
        since: since.code.clone(),
        printed: pumps.filter(|(_, pump)| printed(&pump.tag)).map(|(at, _)| at).collect(),
        tear_up: (changes.iter().filter(|change| change.tear_up))
            .map(|change| change.tag.clone())
            .collect(),
        stay: (on_paper.filter(|slip| !is_changed(&slip.tag)))
            .map(|slip| slip.tag.clone())
            .collect(),
        elsewhere: of.outage.pumps().filter(is_out).map(|pump| pump.tag.clone()).collect(),
    })
}

/// Part of the page that says which plan would be printed, or why none.
pub(super) fn standing(printable: Result<&Verified, String>) -> Markup {
    html! {
        section #paper.standing aria-label="Plan to print" {
            @match printable {
                Err(why) => { p.alarm { (why) } }
                Ok(planned) => {
                    @let short = words::not_fit_tags(planned);
                    @let kits = i64::try_from(planned.plan().served()).unwrap_or(i64::MAX);
                    p { "Plan " strong { (planned.planned().id()) } ": " (counted(kits, "kit")) " for " (words::planned_for(planned.job())) ". This code stands on every page; the workbook that " code { "gapwright kit" } " writes of this plan has the same one." }
                    @if !short.is_empty() { p.alarm { strong { (NOT_FIT) ": " } (short.join(", ")) } }
                }
            }
        }
    }
}

/// The page that asks what is to be printed; `before` is the number of the plan before the one that counts.
pub(super) fn page(
    links: &Markup,
    version: u64,
    standing: &Markup,
    (wanted, faults): (&Wanted, &[String]),
    pumps: &[(u32, &str)],
    before: Option<u32>,
) -> Markup {
    html! {
        header.top {
            h1 { "Paper" }
            (links)
            p #live role="status" aria-live="polite" {}
        }
        main.forms data-version=(version) {
            @if !faults.is_empty() {
                section.refused role="alert" aria-labelledby="faults" {
                    h2 #faults { "Nothing was printed" }
                    @for fault in faults { p.alarm { (fault) } }
                }
            }
            (standing)
            form.book.wide method="get" action="paper/print" {
                section aria-labelledby="parts" {
                    h2 #parts { "To print" }
                    @for (name, label) in PARTS { (tick(name, label, "on", wanted.is_ticked(name))) }
                    (tick("large", "Each drawing on a page of its own as well", "on", wanted.is_ticked("large")))
                    @if let Some(before) = before {
                        (tick("changed", &format!("Only what changed since plan {before}, with a list of slips to tear up"), "on", wanted.is_ticked("changed")))
                    }
                    (some_pumps(pumps, &wanted.rows()))
                }
                (sheet(wanted))
                div.buttons {
                    button.strong type="submit" { "Show it, to print" }
                    button type="submit" name="save" value="on" { "Save it as a file" }
                }
                p.hint { "Print at 100 % (actual size) on A4 or Letter. The file holds all that it needs, and can be mailed." }
            }
        }
    }
}

fn tick(name: &str, label: &str, value: &str, is_ticked: bool) -> Markup {
    html! {
        label.tick { input type="checkbox" name=(name) value=(value) checked[is_ticked]; " " (label) }
    }
}

fn some_pumps(pumps: &[(u32, &str)], rows: &BTreeSet<u32>) -> Markup {
    html! {
        details open[!rows.is_empty()] {
            summary { "Some pumps only" }
            p.hint { "Without a tick it is for all." }
            div.ticks { @for (row, tag) in pumps { (tick("pump", tag, &row.to_string(), rows.contains(row))) } }
        }
    }
}

/// Sheets of labels: plain paper, or the measures of an adhesive sheet.
fn sheet(wanted: &Wanted) -> Markup {
    let own = wanted.has_own_sheet();
    html! {
        section aria-labelledby="sheet" {
            h2 #sheet { "Paper of the labels" }
            label.tick { input type="radio" name="sheet" value="plain" checked[!own]; " Plain paper, to cut apart along the dashed lines" }
            label.tick { input type="radio" name="sheet" value="own" checked[own]; " Adhesive sheet with these measures:" }
            @for (measure, fields) in MEASURES {
                fieldset.measure {
                    legend { (measure) }
                    @for [name, label] in fields {
                        div.field {
                            label for=(name) { (label) }
                            input id=(name) name=(name) inputmode="decimal" autocomplete="off" value=(wanted.0.get(name));
                        }
                    }
                }
            }
            p.hint { "Margins and gaps that are left empty are zero. Hold a first print on plain paper against the sheet. Keep the address of a filled-in form as a bookmark: it holds the measures." }
        }
    }
}
