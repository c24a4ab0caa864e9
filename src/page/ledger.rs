//! A running outage as its ledger has it, read again whenever its file changes.

use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use maud::{Markup, PreEscaped, html};
use tokio::sync::watch;

use super::desk::Desk;
use super::parts::{Fresh, Parts};
use super::running::{self, Mode, Running};
use super::{bar, bookings, named, of_outage};
use crate::issue::key;
use crate::model::{NOT_FIT, USUAL_CAUTIONS};
use crate::outage::{KitPiece, Outage, OutagePump, PumpState};
use crate::outage_file::{OutageFile, OutageFileError};
use crate::read::{self, Stamp};

/// Board of an outage file.
pub struct LedgerBoard {
    path: PathBuf,
    state: Mutex<State>,
    news: watch::Sender<u64>,
    readings: Option<Readings>,
}

/// Pages of readings, Record and What if; or why there are none.
type Readings = Result<[Arc<Desk>; 2], Vec<String>>;

struct State {
    outage: Outage,
    stamp: Option<Stamp>,
    /// Why the file can no longer be read.
    trouble: Option<String>,
    parts: Parts,
}

impl LedgerBoard {
    /// Opens an outage file.
    ///
    /// # Errors
    /// [`OutageFileError`].
    pub fn open(path: &Path) -> Result<LedgerBoard, OutageFileError> {
        let stamp = read::stamp(path);
        let outage = OutageFile::open(path)?.outage().clone();
        let mut state = State { outage, stamp, trouble: None, parts: Parts::default() };
        state.render(path);
        let news = watch::Sender::new(state.parts.version());
        Ok(LedgerBoard { path: path.to_path_buf(), state: Mutex::new(state), news, readings: None })
    }

    /// With the pages of readings, Record and What if; planning may hold so many megabytes.
    #[must_use]
    pub fn with_readings(self, megabytes: u64) -> LedgerBoard {
        let desk = |mode| {
            let (now, scratch) = running::read(&self.path, megabytes)?;
            let running = Running::of(&self.path, mode, now);
            Ok(Arc::new(Desk::of_outage(scratch, running, megabytes)))
        };
        let both = desk(Mode::Record).and_then(|record| Ok([record, desk(Mode::WhatIf)?]));
        LedgerBoard { readings: Some(both), ..self }
    }

    /// Why there are no pages of readings, where there should be.
    pub(super) fn no_readings(&self) -> Option<&[String]> {
        self.readings.as_ref()?.as_ref().err().map(Vec::as_slice)
    }

    /// Desk of the page Record.
    pub fn record(&self) -> Option<&Arc<Desk>> {
        self.readings.as_ref()?.as_ref().ok().map(|[record, _]| record)
    }

    /// Desk of the page What if.
    pub fn what_if(&self) -> Option<&Arc<Desk>> {
        self.readings.as_ref()?.as_ref().ok().map(|[_, what_if]| what_if)
    }

    /// Desk of a page of readings.
    pub(super) fn desk(&self, mode: Mode) -> Option<&Arc<Desk>> {
        match mode {
            Mode::Record => self.record(),
            Mode::WhatIf => self.what_if(),
        }
    }

    pub(super) fn desks(&self) -> impl Iterator<Item = &Arc<Desk>> {
        [self.record(), self.what_if()].into_iter().flatten()
    }

    pub(super) fn path(&self) -> &Path {
        &self.path
    }

    fn held(&self) -> MutexGuard<'_, State> {
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }

    pub(super) fn news(&self) -> watch::Receiver<u64> {
        self.news.subscribe()
    }

    pub(super) fn fresh(&self, since: u64) -> Fresh {
        self.held().parts.fresh(since, false)
    }

    /// Reads the file again if its time or size moved.
    pub fn look_at_disk(&self) {
        self.desks().for_each(|desk| desk.look_at_disk());
        let stamp = read::stamp(&self.path);
        if stamp == self.held().stamp {
            return;
        }
        let opened = OutageFile::open(&self.path);
        let mut state = self.held();
        match opened {
            Ok(file) => {
                state.outage = file.outage().clone();
                state.stamp = stamp;
                state.trouble = None;
            }
            // Another program may be booking: it is tried again.
            Err(error) => {
                state.trouble =
                    Some(error.problem(&named::file(&self.path.display().to_string())).found)
            }
        }
        state.render(&self.path);
        let version = state.parts.version();
        if *self.news.borrow() != version {
            self.news.send_replace(version);
        }
    }

    pub(super) fn board(&self) -> Markup {
        let state = self.held();
        html! {
            header.top {
                h1 { "Running outage" }
                (of_outage::links("", "/"))
                p #live role="status" aria-live="polite" {}
            }
            main data-version=(state.parts.version()) {
                @for id in ["mode", "stops", "figures", "pumps", "entries"] { (PreEscaped(state.parts.html(id))) }
                section.cautions aria-labelledby="cautions" {
                    h2 id="cautions" { "Cautions" }
                    ul { @for (_, text) in USUAL_CAUTIONS { li { (text) } } }
                }
            }
        }
    }

    pub(super) fn drawers(&self) -> Markup {
        let state = self.held();
        html! {
            header.top {
                h1 { "Drawers" }
                (of_outage::links("", "/drawers"))
                p #live role="status" aria-live="polite" {}
            }
            main data-version=(state.parts.version()) { (PreEscaped(state.parts.html("drawers"))) }
        }
    }
}

impl State {
    fn render(&mut self, path: &Path) {
        let outage = &self.outage;
        let fresh = [
            ("mode", mode(outage, path, self.trouble.as_deref())),
            ("stops", stops(outage)),
            ("figures", figures(outage)),
            ("pumps", pumps(outage)),
            ("entries", bookings::entries(outage)),
            ("drawers", stock(outage)),
        ];
        let fresh = fresh.into_iter().map(|(id, html)| (id.to_string(), html.into_string()));
        self.parts.take(fresh);
    }
}

fn mode(outage: &Outage, path: &Path, trouble: Option<&str>) -> Markup {
    html! {
        section #mode.mode aria-label="Mode" {
            p { strong { "Running outage" } ": " (named::file(&path.display().to_string())) ". What is booked here or with " code { "gapwright book" } " is seen by everybody at once." }
            @match outage.last_plan() {
                Some(plan) => { p { "Plan " (plan.number) ", code " (plan.code) "." } }
                None => { p { "No plan yet." } }
            }
            p.count { "The ledger ends at " (outage.head()) "." }
            @if let Some(trouble) = trouble {
                p.alarm { "The file could not be read again: " (trouble) ". This is its state before." }
            }
        }
    }
}

/// Pumps whose work must stop, first of all.
fn stops(outage: &Outage) -> Markup {
    let all: Vec<(&OutagePump, &str)> =
        outage.pumps().filter_map(|pump| Some((pump, pump.stop()?))).collect();
    of_outage::stops(&all)
}

fn figures(outage: &Outage) -> Markup {
    let of = |state: PumpState| outage.pumps().filter(|pump| pump.state == state).count();
    let not_fit: Vec<&str> =
        outage.pumps().filter(|pump| pump.is_not_fit()).map(|pump| pump.tag.as_str()).collect();
    html! {
        section #figures.figures aria-label="Pumps by state" {
            dl.sums {
                @for state in PumpState::ALL {
                    @if of(state) > 0 { div { dt { (state.words()) } dd { (of(state)) } } }
                }
            }
            @if !not_fit.is_empty() { p.alarm { strong { (NOT_FIT) ": " } (not_fit.join(", ")) } }
            @for said in outage.left_for_not_measured() { p { (said) } }
            p.rule { "The plan predicts: measure each finished pack and recheck each clearance." }
        }
    }
}

fn listed(pieces: &[KitPiece]) -> String {
    pieces.iter().map(KitPiece::to_string).collect::<Vec<_>>().join(", ")
}

fn pumps(outage: &Outage) -> Markup {
    html! {
        section #pumps aria-labelledby="all" {
            h2 id="all" { "Pumps" }
            div.scroll tabindex="0" role="group" aria-label="Pumps, to scroll" { table.plain {
                thead { tr { @for head in ["Pump", "State", "Kit", "Pieces", "Readings at the bench", "Remarks", "Forms"] { th scope="col" { (head) } } } }
                tbody { @for pump in outage.pumps() { (row(pump)) } }
            } }
        }
    }
}

fn row(pump: &OutagePump) -> Markup {
    let state = if pump.is_not_fit() { "not-fit" } else { "" };
    let pieces = match (&pump.bag[..], &pump.kit) {
        ([], Some(kit)) => listed(&kit.pieces),
        (bag, _) => listed(bag),
    };
    html! {
        tr data-tag=(pump.tag) data-state=(state) {
            th scope="row" { (pump.tag) }
            td.state { span.word { (pump.state.words()) @if pump.is_not_fit() { ", " (NOT_FIT) } } }
            td.number { @if let Some(kit) = &pump.kit { (kit.number) } }
            td { (pieces) }
            td { @for reading in &pump.bench {
                span.place { (reading.what.replace('_', " ")) ": " (reading.first) @if let Some(again) = &reading.again { ", again " (again) } }
            } }
            td {
                @if let Some(why) = pump.reason() { span.place { (why) } }
                @if let Some(lacking) = pump.lacking() { span.place { "its bag is " (lacking) } }
                @else if !pump.bag.is_empty() && pump.differs() { span.place { "its bag differs from its kit" } }
                @if pump.state == PumpState::Cancelled && !pump.bag.is_empty() { span.place { "put its pieces back" } }
            }
            td { (bookings::links_of_pump(&pump.tag)) }
        }
    }
}

fn stock(outage: &Outage) -> Markup {
    let out = outage.pieces_out();
    let count = |item: &str| out.get(&key(item)).copied().unwrap_or(0);
    let whole = |count: u64| u32::try_from(count).unwrap_or(u32::MAX);
    html! {
        section #drawers.drawers aria-label="Items" {
            p.hint { "Each bar: in bags and out (dark), in the bin by the ledger (pale)." }
            div.scroll tabindex="0" role="group" aria-label="Items, to scroll" { table.plain {
                thead { tr { @for head in ["Item", "Out, in the bin", "In bags and out", "In the bin", "Forms"] { th scope="col" { (head) } } } }
                tbody { @for lot in outage.stock() {
                    @let left = u64::try_from(lot.pieces).unwrap_or(0);
                    tr {
                        th scope="row" { (lot.item) }
                        td { (bar::split(&[("planned", whole(count(&lot.item)), "out"), ("left", whole(left), "in the bin")])) }
                        td.number { (count(&lot.item)) }
                        td.number { (lot.pieces) }
                        td { (bookings::link_of_item(&lot.item)) }
                    }
                } }
            } }
        }
    }
}
