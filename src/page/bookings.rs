//! Bookings from the page: forms that work without script, entered into the outage file as `gapwright book` enters them.
//!
//! # Decisions
//!
//! - A form carries a request number of its own and the number of the last entry that it was made on. A form that is sent
//!   twice gets the old receipt; and whoever sends one is told what was booked about its subject meanwhile.
//! - The rules are asked what can be booked: a form shows the buttons that they would let pass, and their words for the others.
//! - The file is opened afresh for every request and looked through, as every command does. Nothing of it is kept here.

use std::path::{Path, PathBuf};

use axum::Router;
use axum::extract::State;
use axum::http::{HeaderMap, StatusCode, Uri, header};
use axum::response::{Html, IntoResponse, Response};
use axum::routing::get;
use maud::{Markup, html};

use super::form::{Fields, cookie, encoded};
use super::routes::{House, aside, not_there};
use super::{door, frame, named, of_outage};
use crate::issue::key;
use crate::job::Job;
use crate::model::{NOT_FIT, USUAL_CAUTIONS};
use crate::outage::{Booking, BookingRefusal, Circumstances, LedgerEntry, Outage, OutagePump};
use crate::outage_books::{self, OutageBooks, UnpackError};
use crate::outage_event;
use crate::outage_file::{BookError, OutageFile, Receipt};
use crate::outage_job::job_with;
use crate::problem::Problems;
use crate::sheet::Book;
use crate::words;

/// Cookie with the name of the person, so that it is typed once.
const WHO: &str = "gapwright-who";

/// Entries about a subject that its page lists.
const LAST: usize = 6;
/// Entries that the list of all of them shows.
const LATEST: usize = 20;

pub(super) fn routes() -> Router<House> {
    Router::new().route("/book", get(form).post(sent))
}

/// Subject of a form.
enum Topic {
    Pump(String),
    Item(String),
    Entry(u32),
}

impl Topic {
    fn of(fields: &Fields) -> Option<Topic> {
        let [pump, item] = ["pump", "item"].map(|name| fields.get(name));
        match (pump, item, fields.number("entry")) {
            (pump, ..) if !pump.is_empty() => Some(Topic::Pump(pump.to_string())),
            (_, item, _) if !item.is_empty() => Some(Topic::Item(item.to_string())),
            (.., entry) => entry.map(Topic::Entry),
        }
    }

    /// Whether an entry is about it.
    fn holds(&self, entry: &LedgerEntry) -> bool {
        match self {
            Topic::Pump(tag) => is_about(entry, tag),
            Topic::Item(item) => entry.moves.iter().any(|moved| key(&moved.item) == key(item)),
            Topic::Entry(number) => {
                matches!(entry.booking, Booking::Undo { entry } if entry == *number)
            }
        }
    }
}

/// Whether an entry is about a pump.
pub(super) fn is_about(entry: &LedgerEntry, tag: &str) -> bool {
    let is_it = |other: &str| key(other) == key(tag);
    match &entry.booking {
        Booking::Plan(plan) => {
            plan.kits.iter().any(|kit| is_it(&kit.tag))
                || plan.short.iter().chain(&plan.not_fit).any(|note| is_it(&note.tag))
        }
        booking => booking.tag().is_some_and(is_it),
    }
}

/// Outcome of a form that was sent, for the page that answers it.
#[derive(Default)]
pub(super) struct Outcome {
    receipts: Vec<String>,
    must_see: Vec<String>,
    pub(super) refused: Vec<BookingRefusal>,
    /// Bookings of others about the subject after the form was made.
    pub(super) meanwhile: Vec<String>,
}

impl Outcome {
    pub(super) fn refusal(why: BookingRefusal) -> Outcome {
        Outcome { refused: vec![why], ..Outcome::default() }
    }

    pub(super) fn status(&self) -> StatusCode {
        if self.refused.is_empty() { StatusCode::OK } else { StatusCode::CONFLICT }
    }

    /// Adds a receipt, and what must be seen of its pump.
    fn add(&mut self, outage: &Outage, Receipt { entry, due, again }: &Receipt) {
        let due = due.iter().map(|entry| words::outage::receipt(outage, entry, false));
        self.receipts.extend(due);
        self.receipts.push(words::outage::receipt(outage, entry, *again));
        let pump = entry.booking.tag().and_then(|tag| outage.pump(tag));
        self.must_see = pump.map(words::outage::warnings).unwrap_or_default();
        self.must_see.extend(pump.and_then(words::outage::not_yet));
    }

    /// The receipt, the refusal, and what happened meanwhile.
    pub(super) fn markup(&self) -> Markup {
        html! {
            @if !self.refused.is_empty() {
                section.refused role="alert" aria-labelledby="refused" {
                    h2 #refused { @if self.receipts.is_empty() { "Nothing was booked" } @else { "Not all was booked" } }
                    @for why in &self.refused { p.alarm { (said(why)) } }
                }
            }
            @if !self.receipts.is_empty() {
                section.receipt role="status" aria-labelledby="booked" {
                    h2 #booked { "Booked" }
                    @for receipt in &self.receipts { p { (receipt) } }
                    @for line in &self.must_see { p.alarm { (line) } }
                }
            }
            @if !self.meanwhile.is_empty() {
                section.changes aria-labelledby="meanwhile" {
                    h2 #meanwhile { "Booked by others since this form was opened" }
                    ul { @for line in &self.meanwhile { li { (line) } } }
                }
            }
        }
    }
}

/// A refusal as it is told everywhere.
pub(super) fn said(why: &BookingRefusal) -> String {
    format!("Found {}. Expected {}. Fix: {}.", why.found, why.expected, why.fix)
}

/// A form that was sent: its fields, who sent it, and the file that it is about.
pub(super) struct Sent {
    pub(super) path: PathBuf,
    pub(super) fields: Fields,
    pub(super) who: String,
    /// Attributes of cookies.
    attributes: String,
}

impl Sent {
    /// # Errors
    /// The answer to what is no form, or to a page without an outage file.
    pub(super) fn of(house: &House, headers: &HeaderMap, body: &str) -> Result<Sent, Response> {
        is_form(headers)?;
        let fields = Fields::parse(body);
        let who = match fields.get("who") {
            "" => String::new(),
            who => who.chars().take(80).collect(),
        };
        let attributes = house.door.attributes().to_string();
        Ok(Sent { path: path(house)?, fields, who, attributes })
    }

    /// Request number of the form.
    pub(super) fn request(&self) -> &str {
        self.fields.get("request")
    }

    /// Whether an entry was booked by this form.
    pub(super) fn is_own(&self, entry: &LedgerEntry) -> bool {
        let rest = entry.facts.request.strip_prefix(self.request());
        !self.request().is_empty()
            && rest.is_some_and(|rest| rest.is_empty() || rest.starts_with('/'))
    }

    /// Entries by others, of those that `holds`, after the form was made.
    pub(super) fn meanwhile(
        &self,
        outage: &Outage,
        holds: impl Fn(&LedgerEntry) -> bool,
    ) -> Vec<String> {
        let Some(seen) = self.fields.number("seen") else { return Vec::new() };
        let later = outage.entries().iter().filter(|entry| entry.number > seen);
        let others = later.filter(|entry| holds(entry) && !self.is_own(entry));
        others.map(|entry| words::outage::line(outage, entry)).collect()
    }

    /// Books one booking; `part` tells several of one form apart. Whether it was booked now, or by an earlier try.
    pub(super) fn book(
        &self,
        file: &mut OutageFile,
        part: &str,
        booking: Booking,
        outcome: &mut Outcome,
    ) -> bool {
        if self.request().len() < 16 {
            outcome.refused.push(BookingRefusal {
                found: "a form without its request number".into(),
                expected: "a form of this page".into(),
                fix: "open the form again".into(),
            });
            return false;
        }
        let facts = Circumstances {
            request: format!("{}{part}", self.request()),
            at: jiff::Timestamp::now().to_string(),
            date: jiff::Zoned::now().date().to_string(),
            who: self.who.clone(),
            why: self.fields.get("note").to_string(),
        };
        let booked = file.book(vec![(facts, booking)], &Vec::new());
        match booked {
            Ok(receipts) => {
                receipts.iter().for_each(|receipt| outcome.add(file.outage(), receipt));
                true
            }
            Err(BookError::Refused(refused)) => {
                outcome.refused.extend(refused.into_iter().map(|(_, why)| why));
                false
            }
            Err(BookError::File(error)) => {
                let problem = error.problem(&named::file(&self.path.display().to_string()));
                let [found, expected, fix] = [problem.found, problem.expected, problem.fix];
                outcome.refused.push(BookingRefusal { found, expected, fix });
                false
            }
        }
    }

    /// The cookie that keeps the name.
    pub(super) fn keep(&self) -> [(header::HeaderName, String); 1] {
        let name = encoded(&self.who);
        [(header::SET_COOKIE, format!("{WHO}={name}{}", self.attributes))]
    }
}

/// Holds the kind of a body against that of a form.
///
/// # Errors
/// The answer to what is no form.
pub(super) fn is_form(headers: &HeaderMap) -> Result<(), Response> {
    let kind = headers.get(header::CONTENT_TYPE).and_then(|kind| kind.to_str().ok());
    match kind.is_some_and(|kind| kind.starts_with("application/x-www-form-urlencoded")) {
        true => Ok(()),
        false => Err((StatusCode::UNSUPPORTED_MEDIA_TYPE, "This is no form.").into_response()),
    }
}

/// Name of the person, as it was typed last.
pub(super) fn who(headers: &HeaderMap) -> String {
    cookie(headers, WHO)
}

/// Path of the outage file.
///
/// # Errors
/// The answer where the page is about workbooks alone.
pub(super) fn path(house: &House) -> Result<PathBuf, Response> {
    house.shown.now().outage_file().map(Path::to_path_buf).ok_or_else(not_there)
}

/// The outage file, opened and looked through.
///
/// # Errors
/// The answer that says why it cannot be.
pub(super) fn open(path: &Path) -> Result<OutageFile, Response> {
    OutageFile::open(path).map_err(|error| {
        let problem = error.problem(&named::file(&path.display().to_string()));
        trouble(&[format!("{}. Fix: {}.", problem.found, problem.fix)])
    })
}

/// An answer that says what is wrong with the outage file.
fn trouble(lines: &[String]) -> Response {
    let page = html! {
        main.told { h1 { "The outage file cannot be used" } @for line in lines { p.alarm { (line) } } }
    };
    let page = frame::form("The outage file cannot be used", &page);
    (StatusCode::SERVICE_UNAVAILABLE, Html(page)).into_response()
}

/// Job of the workbooks that were taken over, and the pump workbook among them.
///
/// # Errors
/// The answer that says why they cannot be read.
pub(super) fn job(file: &OutageFile) -> Result<(Job, Book), Response> {
    let books = OutageBooks::unpack(file, file.outage()).map_err(|error| match error {
        UnpackError::File(error) => {
            let name = named::file(&file.path().display().to_string());
            trouble(&[error.problem(&name).found])
        }
        // Its words have a path of this computer.
        UnpackError::Disk(_) => {
            trouble(&["The folder for temporary files of this computer cannot be written.".into()])
        }
    })?;
    let mut problems = Problems::new();
    let sources = books.sources();
    let job = job_with(&sources, file.outage(), &mut problems);
    let read = job.and_then(|job| {
        let [_, pumps] = outage_books::read(&sources, &mut problems)?;
        Some((job, pumps))
    });
    read.filter(|_| problems.none()).ok_or_else(|| {
        let lines = problems
            .sorted()
            .into_iter()
            .take(20)
            .map(|problem| words::warning(&named::problem(problem)));
        trouble(&lines.collect::<Vec<_>>())
    })
}

async fn form(
    State(house): State<House>,
    headers: HeaderMap,
    uri: Uri,
) -> Result<Response, Response> {
    let path = path(&house)?;
    let fields = Fields::parse(uri.query().unwrap_or_default());
    let topic = Topic::of(&fields).ok_or_else(not_there)?;
    let who = who(&headers);
    aside(move || {
        let file = open(&path)?;
        page(file.outage(), &topic, &who, &Outcome::default())
    })
    .await?
}

async fn sent(
    State(house): State<House>,
    headers: HeaderMap,
    body: String,
) -> Result<Response, Response> {
    let sent = Sent::of(&house, &headers, &body)?;
    let topic = Topic::of(&sent.fields).ok_or_else(not_there)?;
    let subject = house.shown.now();
    aside(move || {
        let mut file = open(&sent.path)?;
        let mut outcome = Outcome::default();
        match booking(&file, &topic, &sent.fields)? {
            Ok(booking) => {
                sent.book(&mut file, "", booking, &mut outcome);
                subject.look_at_disk();
            }
            Err(why) => outcome.refused.push(why),
        }
        let outage = file.outage();
        outcome.meanwhile = sent.meanwhile(outage, |entry| topic.holds(entry));
        Ok((sent.keep(), page(outage, &topic, &sent.who, &outcome)?).into_response())
    })
    .await?
}

/// Booking that a form asks for.
///
/// # Errors
/// The answer to a file that cannot be read; within it, the refusal of what was typed.
fn booking(
    file: &OutageFile,
    topic: &Topic,
    fields: &Fields,
) -> Result<Result<Booking, BookingRefusal>, Response> {
    let word = fields.get("what");
    let pieces = |name: &str| {
        let texts = fields.get(name).split([',', ';', '\n']).map(str::trim);
        let texts: Vec<String> = texts.filter(|text| !text.is_empty()).map(String::from).collect();
        outage_event::pieces(&texts)
    };
    let count = || {
        fields.number("count").ok_or_else(|| BookingRefusal {
            found: format!("`{}`", fields.get("count")),
            expected: "a number of pieces".into(),
            fix: "type a whole number".into(),
        })
    };
    Ok(match topic {
        Topic::Pump(tag) => match word {
            "accept" => Ok(outage_event::accept(&job(file)?.0, file.outage(), tag)),
            "bag" => pieces("without").and_then(|without| {
                Ok(Booking::Bag { tag: tag.clone(), without, with: pieces("with")? })
            }),
            word => plain(word, tag).ok_or_else(no_such),
        },
        Topic::Item(item) => count().and_then(|count| {
            let (item, from) = (item.clone(), fields.get("from").to_string());
            match word {
                "count" => Ok(Booking::Count { item, count }),
                "receive" => Ok(Booking::Receive { item, count }),
                "scrap" => {
                    let from = (!from.is_empty()).then_some(from);
                    Ok(Booking::Scrap { item, count, from })
                }
                _ => Err(no_such()),
            }
        }),
        Topic::Entry(entry) => match word {
            "undo" => Ok(Booking::Undo { entry: *entry }),
            _ => Err(no_such()),
        },
    })
}

/// Booking of a pump that needs nothing but its tag.
fn plain(word: &str, tag: &str) -> Option<Booking> {
    let tag = tag.to_string();
    match word {
        "bag" => Some(Booking::Bag { tag, without: Vec::new(), with: Vec::new() }),
        "issue" => Some(Booking::Issue { tag }),
        "put-back" => Some(Booking::PutBack { tag }),
        "cancel" => Some(Booking::Cancel { tag }),
        "reinstate" => Some(Booking::Reinstate { tag }),
        _ => None,
    }
}

fn no_such() -> BookingRefusal {
    BookingRefusal {
        found: "a form without a booking".into(),
        expected: "one of its buttons".into(),
        fix: "open the form again".into(),
    }
}

/// The page of a subject, with the outcome of the form that was sent.
fn page(
    outage: &Outage,
    topic: &Topic,
    who: &str,
    outcome: &Outcome,
) -> Result<Response, Response> {
    let (title, here, body) = match topic {
        Topic::Pump(tag) => {
            let Some(pump) = outage.pump(tag) else {
                return Err(unknown(outage, Booking::Issue { tag: tag.clone() }));
            };
            let here = format!("/book?pump={}", encoded(&pump.tag));
            (format!("Pump {}", pump.tag), here, of_pump(outage, pump, who)?)
        }
        Topic::Item(item) => {
            let Some(lot) = outage.stock_of(item) else {
                return Err(unknown(outage, Booking::Count { item: item.clone(), count: 0 }));
            };
            let here = format!("/book?item={}", encoded(&lot.item));
            (format!("Item {}", lot.item), here, of_item(outage, &lot.item, who)?)
        }
        Topic::Entry(number) => {
            let entry = outage.entry(*number).ok_or_else(not_there)?;
            let here = format!("/book?entry={number}");
            (format!("Entry {number}"), here, of_entry(outage, entry, who)?)
        }
    };
    let page = html! {
        header.top {
            h1 { (title) }
            (of_outage::links("", &here))
            p #live role="status" aria-live="polite" {}
        }
        main.forms data-here=(here) { (outcome.markup()) (body) }
    };
    Ok((outcome.status(), Html(frame::form(&title, &page))).into_response())
}

/// The rules' answer to a name that they do not know.
pub(super) fn unknown(outage: &Outage, of: Booking) -> Response {
    let Err(why) = outage.book(Circumstances::default(), of) else { return not_there() };
    let page = html! { main.forms { (Outcome::refusal(why).markup()) p { a.big href="/" { "All pumps" } } } };
    (StatusCode::NOT_FOUND, Html(frame::form("Not there", &page))).into_response()
}

/// Fields that every form has: its number, the entry that it was made on, and who sends it.
///
/// # Errors
/// The answer where the system gives no random number.
pub(super) fn common(outage: &Outage, who: &str, id: &str, note: bool) -> Result<Markup, Response> {
    let number = door::secret()
        .map_err(|error| (StatusCode::INTERNAL_SERVER_ERROR, error.to_string()).into_response())?;
    Ok(html! {
        // Enter in a field must not press the first of several buttons.
        button type="submit" hidden disabled {}
        input type="hidden" name="request" value=(number);
        input type="hidden" name="seen" value=(outage.head().number);
        div.field { label for={ (id) "-who" } { "Your name" } input id={ (id) "-who" } name="who" value=(who) autocomplete="name" maxlength="80"; }
        @if note { div.field { label for={ (id) "-note" } { "Reason or note" } input id={ (id) "-note" } name="note" autocomplete="off" maxlength="200"; } }
    })
}

/// State of a pump as the ledger has it, and the last entries about it.
pub(super) fn now(outage: &Outage, pump: &OutagePump) -> Markup {
    let plan = outage.last_plan();
    html! {
        section #now.now aria-labelledby="state" {
            h2 #state { (pump.tag) ": " (pump.state.words()) @if pump.is_not_fit() { ", " (NOT_FIT) } }
            @if let Some(why) = pump.reason() { p.alarm[pump.is_not_fit()] { @if pump.stop().is_some() { "STOP: " } (why) } }
            @if let Some(kit) = &pump.kit {
                p { "Kit " (kit.number) @if let Some(plan) = plan { ". Last plan: " (plan.number) ", code " (plan.code) } "." }
                p { "Its pieces: " (words::outage::listed(&kit.pieces)) "." }
            }
            @if !pump.bag.is_empty() && pump.differs() { p { "In its bag: " (words::outage::listed(&pump.bag)) "." } }
            (latest(outage, "Last entries about it", |entry| is_about(entry, &pump.tag)))
        }
    }
}

fn latest(outage: &Outage, title: &str, holds: impl Fn(&LedgerEntry) -> bool) -> Markup {
    let about: Vec<&LedgerEntry> =
        outage.entries().iter().rev().filter(|entry| holds(entry)).take(LAST).collect();
    html! {
        @if !about.is_empty() {
            h3 { (title) }
            ul { @for entry in about { li { (words::outage::line(outage, entry)) } } }
        }
    }
}

/// Bookings of a pump with the words of their buttons.
const OF_PUMP: [(&str, &str); 6] = [
    ("bag", "Its bag is packed"),
    ("issue", "Its bag is at the bench"),
    ("put-back", "Its pieces are back in their bins"),
    ("accept", "Accept it"),
    ("cancel", "Withdraw it from the outage"),
    ("reinstate", "It takes part again"),
];

fn of_pump(outage: &Outage, pump: &OutagePump, who: &str) -> Result<Markup, Response> {
    let tag = &pump.tag;
    // The judgement that its last reading was booked with; accepting makes it again.
    let judged = pump
        .finding
        .clone()
        .unwrap_or(crate::outage::Finding::Open { why: "no reading is booked".into() });
    let booking = |word: &str| match word {
        "accept" => Some(Booking::Accept { tag: tag.clone(), finding: judged.clone() }),
        word => plain(word, tag),
    };
    let asked = OF_PUMP.iter().filter_map(|(word, button)| {
        let tried = outage.book(Circumstances::default(), booking(word)?);
        Some((*word, *button, tried.err()))
    });
    let (open, shut): (Vec<_>, Vec<_>) = asked.partition(|(.., refused)| refused.is_none());
    let bags = open.iter().any(|(word, ..)| *word == "bag");
    Ok(html! {
        (now(outage, pump))
        section aria-labelledby="book" {
            h2 #book { "Book" }
            p { a.big href={ "/bench/" (encoded(tag)) } { "At the bench: readings and verdict" } }
            form.book method="post" action="/book" {
                (common(outage, who, "pump", true)?)
                input type="hidden" name="pump" value=(tag);
                @if bags {
                    details { summary { "Packed otherwise than planned" }
                        div.field { label for="without" { "Planned pieces that are not in it (ITEM or ITEM=N, with commas)" } input #without name="without" autocomplete="off"; }
                        div.field { label for="with" { "Pieces in it that are not planned" } input #with name="with" autocomplete="off"; }
                    }
                }
                div.buttons { @for (word, button, _) in &open { button type="submit" name="what" value=(word) { (button) } } }
            }
            @if open.is_empty() { p { "Nothing can be booked for it now." } }
            @if !shut.is_empty() {
                details { summary { "What cannot be booked now, and why" }
                    ul { @for (_, button, refused) in &shut { li { strong { (button) } ": " (refused.as_ref().map(said).unwrap_or_default()) } } }
                }
            }
        }
        (cautions(&["before", "assembly", "recheck", "start", "always"]))
    })
}

/// The usual cautions of these moments.
fn cautions(moments: &[&str]) -> Markup {
    let here = USUAL_CAUTIONS.iter().filter(|(when, _)| moments.contains(when));
    html! {
        section.cautions aria-labelledby="cautions" {
            h2 #cautions { "Cautions" }
            ul { @for (_, text) in here { li { (text) } } }
        }
    }
}

fn of_item(outage: &Outage, item: &str, who: &str) -> Result<Markup, Response> {
    let there = outage.stock_of(item).map_or(0, |lot| lot.pieces);
    let in_bag = |pump: &&OutagePump| {
        let mut pieces = pump.bag.iter();
        pieces.any(|piece| key(&piece.item) == key(item))
    };
    let holders: Vec<&OutagePump> = outage.pumps().filter(in_bag).collect();
    let count = |pump: &OutagePump| {
        let own = pump.bag.iter().filter(|piece| key(&piece.item) == key(item));
        own.map(|piece| piece.count).sum::<u32>()
    };
    let topic = Topic::Item(item.to_string());
    Ok(html! {
        section #now.now aria-labelledby="state" {
            h2 #state { (item) ": " (there) " in the bin by the ledger" }
            @if !holders.is_empty() {
                p { "In bags and out: " @for (at, pump) in holders.iter().enumerate() { @if at > 0 { ", " } (pump.tag) " " (count(pump)) } "." }
            }
            (latest(outage, "Last entries about it", |entry| topic.holds(entry)))
        }
        section aria-labelledby="book" {
            h2 #book { "Book" }
            form.book method="post" action="/book" {
                (common(outage, who, "item", true)?)
                input type="hidden" name="item" value=(item);
                div.field { label for="count" { "Pieces" } input #count name="count" inputmode="numeric" pattern="[0-9]*" autocomplete="off" required; }
                @if !holders.is_empty() {
                    div.field { label for="from" { "Out of, where they were thrown away" }
                        select #from name="from" {
                            option value="" { "the bin" }
                            @for pump in &holders { option value=(pump.tag) { "the bag of " (pump.tag) } }
                        }
                    }
                }
                div.buttons {
                    button type="submit" name="what" value="count" { "Counted: that is what is in the bin" }
                    button type="submit" name="what" value="receive" { "They came in" }
                    button type="submit" name="what" value="scrap" { "They were thrown away" }
                }
            }
        }
    })
}

fn of_entry(outage: &Outage, entry: &LedgerEntry, who: &str) -> Result<Markup, Response> {
    let undo = Booking::Undo { entry: entry.number };
    let refused = outage.book(Circumstances::default(), undo).err();
    Ok(html! {
        section #now.now aria-labelledby="state" {
            h2 #state { (words::outage::line(outage, entry)) }
            @if let Some(why) = &refused { p { "It cannot be undone. " (said(why)) } }
        }
        @if refused.is_none() {
            section aria-labelledby="book" {
                h2 #book { "Undo it" }
                p { "Nothing is removed from the ledger: another entry takes this one back." }
                form.book method="post" action="/book" {
                    (common(outage, who, "entry", true)?)
                    input type="hidden" name="entry" value=(entry.number);
                    div.buttons { button type="submit" name="what" value="undo" { "Undo entry " (entry.number) } }
                }
            }
        }
    })
}

/// The last entries of the ledger, each with the way to undo it.
pub(super) fn entries(outage: &Outage) -> Markup {
    let shown: Vec<&LedgerEntry> = outage.entries().iter().rev().take(LATEST).collect();
    html! {
        section #entries aria-labelledby="ledger" {
            h2 #ledger { "Last entries" }
            ul.entries { @for entry in shown {
                li {
                    (words::outage::line(outage, entry))
                    @let is_open = outage.book(Circumstances::default(), Booking::Undo { entry: entry.number }).is_ok();
                    @if is_open { " " a href={ "/book?entry=" (entry.number) } { "Undo " (entry.number) } }
                }
            } }
        }
    }
}

/// Links to the forms of a pump.
pub(super) fn links_of_pump(tag: &str) -> Markup {
    html! { a href={ "/book?pump=" (encoded(tag)) } { "Book " span.sr { (tag) } } " " a href={ "/bench/" (encoded(tag)) } { "Bench " span.sr { (tag) } } }
}

/// Link to the form of an item.
pub(super) fn link_of_item(item: &str) -> Markup {
    html! { a href={ "/book?item=" (encoded(item)) } { "Book " span.sr { (item) } } }
}
