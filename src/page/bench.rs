//! The bench: one pump for a tablet or a phone, reached by the code on its slip. Its pieces, the readings to take, the verdict
//! of `recheck` on those that are booked, the smallest swap where they fail, and the signature.
//!
//! Figures, ranges and words are those of the slip, worked out again for the pieces that are in the bag; readings are booked as
//! `gapwright book` books them.

use axum::Router;
use axum::extract::{Path, State};
use axum::http::{HeaderMap, HeaderName, HeaderValue, StatusCode, Uri, header};
use axum::response::{Html, IntoResponse, Response};
use axum::routing::get;
use maud::{Markup, html};

use super::bookings::{self, Outcome, Sent};
use super::form::{Fields, encoded};
use super::routes::{House, aside};
use super::{frame, of_outage};
use crate::job::Job;
use crate::length::{Length, LengthError, Unit};
use crate::model::NOT_FIT;
use crate::outage::{
    Booking, BookingRefusal, Circumstances, KitPiece, LedgerEntry, Outage, OutagePump, PumpState,
};
use crate::outage_books::OutageBooks;
use crate::outage_event;
use crate::outage_file::OutageFile;
use crate::outage_job::job_with;
use crate::outage_kit::{self, index};
use crate::paper::ReadCode;
use crate::paper::slip::{
    self, ASSEMBLE, CAUTION, CHECK, CompleteKit, EMPTY_PLACE, FilledPlace, PICK, Phrase, RUN,
    RequirementCheck, STOP, Span, each_reading,
};
use crate::problem::{Place, Problems};
use crate::pump::Pump;
use crate::read;
use crate::recheck::{Decision, Of, Reading, Record};
use crate::sheet::Book;
use crate::words;
use crate::words::recheck::Kind;

pub(super) fn routes() -> Router<House> {
    Router::new().route("/bench", get(entrance)).route("/bench/{tag}", get(bench).post(booked))
}

/// Units that a reading may be typed in.
const UNITS: [Unit; 4] = [Unit::Inch, Unit::Thou, Unit::Millimetre, Unit::Micrometre];

/// A page of the bench, which alone may ask for the camera.
fn answer(status: StatusCode, title: &str, here: &str, body: &Markup) -> Response {
    let page = html! {
        header.top {
            h1 { (title) }
            (of_outage::links("", "/bench"))
            p #live role="status" aria-live="polite" {}
        }
        main.forms.bench data-here=(here) { (body) }
    };
    let camera = HeaderValue::from_static("camera=(self), microphone=(), geolocation=()");
    let policy = [(HeaderName::from_static("permissions-policy"), camera)];
    (status, policy, Html(frame::form(title, &page))).into_response()
}

/// The field for a code; a code that is sent leads to its pump, or to a stop.
async fn entrance(State(house): State<House>, uri: Uri) -> Result<Response, Response> {
    let path = bookings::path(&house)?;
    let fields = Fields::parse(uri.query().unwrap_or_default());
    let code = fields.get("code").to_string();
    if code.is_empty() {
        return Ok(answer(StatusCode::OK, "Bench", "/bench", &code_field()));
    }
    aside(move || {
        let file = bookings::open(&path)?;
        let outage = file.outage();
        Ok(match outage_event::tag(outage, &code) {
            Err(why) => stopped(&code, &why, None),
            Ok(tag) => {
                // The rules say what is wrong with a tag that they do not know.
                let known = outage.pump(&tag).is_some();
                match outage.book(Circumstances::default(), Booking::Issue { tag: tag.clone() }) {
                    Err(why) if !known => stopped(&code, &why, None),
                    _ => {
                        let onward = format!("/bench/{}?code={}", encoded(&tag), encoded(&code));
                        (StatusCode::SEE_OTHER, [(header::LOCATION, onward)]).into_response()
                    }
                }
            }
        })
    })
    .await?
}

fn code_field() -> Markup {
    html! {
        section aria-labelledby="code-title" {
            h2 #code-title { "Code on the slip" }
            p { "Scan it, or type its words or the tag of the pump." }
            form.code method="get" action="/bench" {
                div.field { label for="code" { "Code" } input #code name="code" autocomplete="off" autocapitalize="off" spellcheck="false" autofocus required; }
                div.buttons { button type="submit" { "Open" } }
            }
        }
    }
}

/// A slip that does not count any more; `onward` is the pump whose figures of today are there to go on with.
fn stopped(code: &str, why: &BookingRefusal, onward: Option<&str>) -> Response {
    let body = html! {
        section.refused role="alert" aria-labelledby="stop" {
            h2 #stop { "STOP: " @if ReadCode::is_meant(code) { "this slip does not count" } @else { "no such pump" } }
            p.alarm { (bookings::said(why)) }
            @if let Some(tag) = onward { p { a.big href={ "/bench/" (encoded(tag)) } { "The figures of today for " (tag) } } }
        }
        (code_field())
    };
    answer(StatusCode::CONFLICT, "STOP", "/bench", &body)
}

async fn bench(
    State(house): State<House>,
    Path(tag): Path<String>,
    headers: HeaderMap,
    uri: Uri,
) -> Result<Response, Response> {
    let path = bookings::path(&house)?;
    let code = Fields::parse(uri.query().unwrap_or_default()).get("code").to_string();
    let who = bookings::who(&headers);
    aside(move || {
        let file = bookings::open(&path)?;
        if code.is_empty() {
            return page(&file, &tag, &who, &Fields::default(), &Outcome::default(), None);
        }
        if let Err(why) = outage_event::tag(file.outage(), &code) {
            return Ok(stopped(&code, &why, None));
        }
        match figures_since(&file, &tag, &code)? {
            Since::Changed(why) => Ok(stopped(&code, &why, Some(&tag))),
            since => page(&file, &tag, &who, &Fields::default(), &Outcome::default(), Some(since)),
        }
    })
    .await?
}

/// Figures of a slip, held against those of today.
enum Since {
    Same,
    /// Those that it was printed with are no longer kept.
    Unknown,
    Changed(BookingRefusal),
}

/// Holds the figures that a slip was printed with against those of today: pieces may stay while a limit or a reading changes.
fn figures_since(file: &OutageFile, tag: &str, code: &str) -> Result<Since, Response> {
    let outage = file.outage();
    let Some(code) = ReadCode::parse(code) else { return Ok(Since::Same) };
    let is_it = |entry: &&LedgerEntry| matches!(&entry.booking, Booking::Plan(plan) if plan.code == code.plan);
    let made = outage.entries().iter().rev().find(is_it).map(|entry| entry.number);
    let last = outage.last_plan().map(|plan| plan.entry);
    let (Some(made), false) = (made, made == last || code.kit.is_none()) else {
        return Ok(Since::Same);
    };
    let then = outage.as_of(made);
    let figures = |job: &Job, of: &Outage| {
        let (pump, at) = of.pump(tag).zip(index(job, tag))?;
        Some(outage_kit::figures(job, at, pump))
    };
    let known = OutageBooks::unpack(file, &then).ok();
    let known = known.and_then(|books| {
        let job = job_with(&books.sources(), &then, &mut Problems::new())?;
        figures(&job, &then)
    });
    let (job, _) = bookings::job(file)?;
    let (Some(before), Some(now)) = (known, figures(&job, outage)) else {
        return Ok(Since::Unknown);
    };
    let none = String::new();
    let differs = now.iter().filter(|(name, value)| before.get(*name) != Some(value));
    let differs: Vec<String> = differs
        .map(|(name, value)| {
            let old = before.get(name).unwrap_or(&none);
            format!("{name} {value}, on the slip {old}")
        })
        .collect();
    Ok(match differs.is_empty() {
        true => Since::Same,
        false => Since::Changed(BookingRefusal {
            found: format!("a slip of the plan {}, printed before its figures changed", code.plan),
            expected: format!("the figures of today: {}", differs.join("; ")),
            fix: "tear it up, print it again with `gapwright slips`, and go by the new figures"
                .into(),
        }),
    })
}

async fn booked(
    State(house): State<House>,
    Path(tag): Path<String>,
    headers: HeaderMap,
    body: String,
) -> Result<Response, Response> {
    let sent = Sent::of(&house, &headers, &body)?;
    let subject = house.shown.now();
    aside(move || {
        let mut file = bookings::open(&sent.path)?;
        if file.outage().pump(&tag).is_none() {
            return Err(bookings::unknown(file.outage(), Booking::Issue { tag }));
        }
        let mut outcome = Outcome::default();
        let typed = post(&mut file, &tag, &sent, &mut outcome)?;
        subject.look_at_disk();
        let page = page(&file, &tag, &sent.who, &typed, &outcome, None)?;
        Ok((sent.keep(), page).into_response())
    })
    .await?
}

/// Books a form of the bench. Fields that were not taken are returned, to be shown again.
fn post(
    file: &mut OutageFile,
    tag: &str,
    sent: &Sent,
    outcome: &mut Outcome,
) -> Result<Fields, Response> {
    let outage = file.outage();
    let is_retry = outage.entries().iter().any(|entry| sent.is_own(entry));
    outcome.meanwhile = sent.meanwhile(outage, |entry| bookings::is_about(entry, tag));
    if !outcome.meanwhile.is_empty() && !is_retry {
        outcome.refused.push(BookingRefusal {
            found: format!("a form of {tag} from before the entries below"),
            expected: "a form of the pump as it is now".into(),
            fix: "look at what was booked, then send it again".into(),
        });
        return Ok(sent.fields.clone());
    }
    let tag = tag.to_string();
    let what = sent.fields.get("what");
    match what {
        "issue" => drop(sent.book(file, "", Booking::Issue { tag }, outcome)),
        "swap" => {
            let [out, into] = ["out", "in"].map(|name| {
                serde_json::from_str::<Vec<KitPiece>>(sent.fields.get(name)).unwrap_or_default()
            });
            sent.book(file, "", Booking::Swap { tag, out, into }, outcome);
        }
        _ => {
            let (job, pumps) = bookings::job(file)?;
            return Ok(read_and_accept(file, (&job, &pumps), &tag, sent, outcome));
        }
    }
    Ok(Fields::default())
}

/// Books the readings of a form one by one, and the acceptance if it asks for that. Nothing is booked before all of them
/// can be read.
fn read_and_accept(
    file: &mut OutageFile,
    (job, pumps): (&Job, &Book),
    tag: &str,
    sent: &Sent,
    outcome: &mut Outcome,
) -> Fields {
    let kept = || sent.fields.clone();
    let accepts = sent.fields.get("what") == "accept";
    let found = file.outage().pump(tag).zip(index(job, tag));
    let Some((pump, at)) = found else {
        outcome.refused.push(not_in_workbook(tag));
        return kept();
    };
    let row = &job.pumps[at];
    let typed = Typed { job, row, pump, fields: &sent.fields };
    let mut readings = Vec::new();
    for of in readable(job, row) {
        let what = outage_kit::name(job, row, of);
        let read = typed.reading(of).and_then(|text| {
            let Some(text) = text else { return Ok(None) };
            outage_event::reading(job, pumps, file.outage(), [&row.tag, what, &text])?;
            Ok(Some((what, of, text)))
        });
        match read {
            Ok(reading) => readings.extend(reading),
            Err(why) => outcome.refused.push(why),
        }
    }
    if accepts && sent.who.is_empty() {
        outcome.refused.push(BookingRefusal {
            found: "no name".into(),
            expected: "the name of the person who signs it off".into(),
            fix: "type your name".into(),
        });
    }
    if readings.is_empty() && !accepts && outcome.refused.is_empty() {
        outcome.refused.push(BookingRefusal {
            found: "no reading".into(),
            expected: "a reading of a pack or of a clearance".into(),
            fix: "type it into its field".into(),
        });
    }
    if !outcome.refused.is_empty() {
        return kept();
    }
    for (what, of, text) in readings {
        // Judged with those that were booked before it.
        let read = outage_event::reading(job, pumps, file.outage(), [&row.tag, what, &text]);
        let is_booked = match read {
            Ok(booking) => sent.book(file, &format!("/{}", id(of)), booking, outcome),
            Err(why) => {
                outcome.refused.push(why);
                false
            }
        };
        if !is_booked {
            return kept();
        }
    }
    if accepts {
        let booking = outage_event::accept(job, file.outage(), tag);
        sent.book(file, "/accept", booking, outcome);
    }
    Fields::default()
}

fn not_in_workbook(tag: &str) -> BookingRefusal {
    BookingRefusal {
        found: format!("{tag}, which has no readings in the pump workbook that was taken over"),
        expected: "a pump that was measured".into(),
        fix: "put its row back, then run `gapwright kit --outage`".into(),
    }
}

/// Packs and requirements of a pump.
fn readable(job: &Job, pump: &Pump) -> impl Iterator<Item = Of> + use<> {
    let packs = (0..job.model_of(pump).packs.len()).map(Of::Pack);
    packs.chain((0..pump.requirements.len()).map(Of::Requirement))
}

/// Name of the field of a reading.
fn id(of: Of) -> String {
    match of {
        Of::Pack(at) => format!("pack-{at}"),
        Of::Requirement(at) => format!("clearance-{at}"),
    }
}

/// Fields of readings as they were typed.
struct Typed<'a> {
    job: &'a Job,
    row: &'a Pump,
    pump: &'a OutagePump,
    fields: &'a Fields,
}

impl Typed<'_> {
    /// Reading of a part with its unit, as it is booked; none where its field is empty. A bare number is in the unit of its
    /// label, and is asked about where it looks like one of another unit.
    fn reading(&self, of: Of) -> Result<Option<String>, BookingRefusal> {
        let id = id(of);
        let text = self.fields.get(&id);
        if text.is_empty() {
            return Ok(None);
        }
        let text = match self.fields.get(&format!("{id}-to")) {
            "" => text.to_string(),
            to => format!("{text} to {to}"),
        };
        if Reading::parse(&text, None, Length::ZERO) != Err(LengthError::NoUnit) {
            return Ok(Some(text));
        }
        let own = self.job.model_of(self.row).unit;
        let unit = match Unit::parse(self.fields.get(&format!("{id}-unit"))) {
            Some(unit) => unit,
            None => {
                self.ask(of, &text, own)?;
                own
            }
        };
        Ok(Some(format!("{text} {unit}")))
    }

    fn ask(&self, of: Of, text: &str, unit: Unit) -> Result<(), BookingRefusal> {
        let packs = outage_kit::packs(self.job, self.row, &self.pump.bag).unwrap_or_default();
        let place = Place::file("the form");
        let asked = read::unit_question(self.job, self.row, of, (text, unit, &place), &packs);
        match asked {
            None => Ok(()),
            Some(asked) => Err(BookingRefusal {
                found: format!("{}: {}", words::recheck::what(self.job, self.row, of), asked.found),
                expected: asked.expected,
                fix: "choose its unit beside the reading, then send it again".into(),
            }),
        }
    }
}

/// The page of a pump; with `by_code` the code of its slip was held against it.
fn page(
    file: &OutageFile,
    tag: &str,
    who: &str,
    typed: &Fields,
    outcome: &Outcome,
    by_code: Option<Since>,
) -> Result<Response, Response> {
    let outage = file.outage();
    let Some(pump) = outage.pump(tag) else {
        return Err(bookings::unknown(outage, Booking::Issue { tag: tag.to_string() }));
    };
    let here = format!("/bench/{}", encoded(&pump.tag));
    let work = match pump.bag.is_empty() {
        true => html! {},
        false => {
            let (job, _) = bookings::job(file)?;
            match index(&job, &pump.tag) {
                None => {
                    html! { section.refused { p.alarm { (bookings::said(&not_in_workbook(&pump.tag))) } } }
                }
                Some(at) => {
                    Bench { outage, pump, job: &job, at, who, typed, here: &here }.work()?
                }
            }
        }
    };
    let body = html! {
        (outcome.markup())
        (bookings::now(outage, pump))
        @match by_code {
            Some(Since::Unknown) => { p.alarm { "This slip is of an older plan, and the figures that it was printed with are no longer kept: go by those on this page." } }
            Some(_) => {}
            None => { @if let (Some(kit), false) = (&pump.kit, pump.bag.is_empty()) { p.hint { "Hold the slip against it: it must say kit " (kit.number) "." } } }
        }
        (next_step(outage, pump, who, &here)?)
        (work)
    };
    Ok(answer(outcome.status(), &format!("Bench: pump {}", pump.tag), &here, &body))
}

/// The step before any work at the bench.
fn next_step(
    outage: &Outage,
    pump: &OutagePump,
    who: &str,
    here: &str,
) -> Result<Markup, Response> {
    let tag = &pump.tag;
    let issue = Booking::Issue { tag: tag.clone() };
    let refused = outage.book(Circumstances::default(), issue).err();
    let book = html! { p { a.big href={ "/book?pump=" (encoded(tag)) } { "Bookings of " (tag) } } };
    Ok(match (pump.state, refused) {
        (PumpState::Bagged, None) => html! {
            section aria-labelledby="issue" {
                h2 #issue { "Is the bag at the bench?" }
                form.book method="post" action=(here) {
                    (bookings::common(outage, who, "issue", false)?)
                    div.buttons { button type="submit" name="what" value="issue" { "Its bag is at the bench" } }
                }
            }
        },
        (PumpState::Issued | PumpState::Rejected | PumpState::Accepted, _) => book,
        (_, Some(why)) => html! {
            section.refused aria-labelledby="not-yet" {
                h2 #not-yet { "STOP: nothing to fit yet" }
                p.alarm { (bookings::said(&why)) }
            }
            (book)
        },
        (_, None) => book,
    })
}

/// A pump with pieces in its bag.
struct Bench<'a> {
    outage: &'a Outage,
    pump: &'a OutagePump,
    job: &'a Job,
    at: usize,
    who: &'a str,
    typed: &'a Fields,
    here: &'a str,
}

impl Bench<'_> {
    fn row(&self) -> &Pump {
        &self.job.pumps[self.at]
    }

    fn unit(&self) -> Unit {
        self.job.model_of(self.row()).unit
    }

    /// Whether readings may be booked.
    fn is_open(&self) -> bool {
        matches!(self.pump.state, PumpState::Issued | PumpState::Rejected)
    }

    /// Everything from the pieces to the signature.
    fn work(&self) -> Result<Markup, Response> {
        let packs = match outage_kit::packs(self.job, self.row(), &self.pump.bag) {
            Ok(packs) => packs,
            Err(why) => {
                return Ok(
                    html! { section.refused role="alert" { p.alarm { "STOP: " (NOT_FIT) ": " (why) "." } } },
                );
            }
        };
        let kit = slip::at_the_bench(self.job, self.row(), &packs);
        let steps = html! {
            (self.pick(&kit))
            section aria-labelledby="assemble" { h2 #assemble { (ASSEMBLE) } (cautions(&kit.before)) }
            section aria-labelledby="check" {
                h2 #check { (CHECK) }
                (cautions(&kit.checking))
                @for (at, check) in kit.checks.iter().enumerate() { (self.check(at, check)) }
                @if let Some(text) = kit.no_blades { p.hint { (text) } }
                @if let Some(text) = &kit.growths { p { (text) } }
            }
        };
        let verdict = self.verdict()?;
        Ok(html! {
            (verdict)
            @if self.is_open() {
                form.book.wide method="post" action=(self.here) {
                    (steps)
                    section aria-labelledby="done" {
                        h2 #done { "Book" }
                        (bookings::common(self.outage, self.who, "bench", true)?)
                        div.buttons {
                            button type="submit" name="what" value="read" { "Book the readings" }
                            button.strong type="submit" name="what" value="accept" { "Done: book the readings and accept" }
                        }
                        p.hint { "Accepted only where every requirement is read, and met." }
                    }
                }
            } @else { (steps) }
            section aria-labelledby="run" { h2 #run { (RUN) } (cautions(&kit.running)) }
        })
    }

    fn pick(&self, kit: &CompleteKit) -> Markup {
        let stacked = |piece: &&KitPiece| kit.places.iter().any(|place| place.name == piece.place);
        let others: Vec<&KitPiece> = self
            .pump
            .bag
            .iter()
            .filter(|piece| !stacked(piece) && !piece.place.is_empty())
            .collect();
        html! {
            section aria-labelledby="pick" {
                h2 #pick { (PICK) }
                @for (at, place) in kit.places.iter().enumerate() { (self.place(at, place)) }
                @if !others.is_empty() {
                    h3 { "Also in the bag" }
                    ul { @for piece in others { li { (piece.place) ": " strong { (piece) } } } }
                }
            }
        }
    }

    fn place(&self, at: usize, place: &FilledPlace) -> Markup {
        html! {
            h3 { (place.label) }
            @if place.pieces.is_empty() { p { (EMPTY_PLACE) } }
            ul.pieces-of { @for piece in &place.pieces {
                li {
                    strong { (piece.count) " x " (piece.item) }
                    @if let Some([own, other, _]) = &piece.thickness { ", " (own) " (" (other) ")" }
                    @if !piece.bin.is_empty() { ", bin " (piece.bin) }
                    @if let Some(work) = &piece.work { p.alarm { (work) } }
                }
            } }
            @for warning in &place.warnings { p.alarm { (warning) } }
            @if let Some((reading, stop)) = place.reading.as_ref().zip(place.stop()) {
                (asked(reading, stop))
                (self.field(Of::Pack(at), &place.name, &place.label, false))
            }
        }
    }

    fn check(&self, at: usize, check: &RequirementCheck) -> Markup {
        html! {
            h3 { (check.label) }
            p { "Limits " (check.limits) ", predicted " (check.predicted) "." }
            @if let Some(text) = &check.nominal_only { p.alarm { (text) } }
            @if let Some(text) = check.in_service { p { (text) } }
            @if let Some(ask) = &check.asked {
                (asked(&ask.range, ask.stop()))
                @if let Some(text) = ask.unknown_growth { p.alarm { (text) } }
                @if let Some(text) = &ask.any_growth { p { (text) } }
                @if let Some(text) = &ask.blades { p.blades { (text) } }
                (self.field(Of::Requirement(at), &check.name, &check.label, true))
            }
        }
    }

    /// Readings of a part that are booked, and the field for the next.
    fn field(&self, of: Of, name: &str, label: &str, between: bool) -> Markup {
        let (id, unit) = (id(of), self.unit());
        let known = self.pump.bench.iter().find(|reading| reading.what == name);
        let [first, second] = each_reading(unit);
        let next = match known {
            None => first,
            Some(known) if known.again.is_none() => second,
            Some(_) => format!("{first}, begun again"),
        };
        let [to, chosen] = ["to", "unit"].map(|part| format!("{id}-{part}"));
        let typed = |id: &str| self.typed.get(id).to_string();
        html! {
            @if let Some(known) = known {
                p.known { "Booked: " strong { (known.first) } @if let Some(again) = &known.again { ", again " strong { (again) } } "." }
            }
            @if self.is_open() {
                div.reading {
                    div.field { label for=(id) { (next) span.sr { " of " (label) } } input id=(id) name=(id) value=(typed(&id)) inputmode="decimal" autocomplete="off"; }
                    @if between { div.field { label for=(to) { "to, if between two blades" span.sr { ", " (label) } } input id=(to) name=(to) value=(typed(&to)) inputmode="decimal" autocomplete="off"; } }
                    div.field.unit { label for=(chosen) { "Unit" span.sr { " of " (label) } }
                        select id=(chosen) name=(chosen) {
                            option value="" { (unit) }
                            @let last = typed(&chosen);
                            @for other in UNITS.into_iter().filter(|other| *other != unit) {
                                option value=(other) selected[last == other.symbol()] { (other) }
                            }
                            option value=(unit) selected[last == unit.symbol()] { (unit) ", as typed" }
                        }
                    }
                }
            }
        }
    }

    /// Verdict on the readings that are booked, and the smallest swap where they fail.
    fn verdict(&self) -> Result<Markup, Response> {
        if self.pump.bench.is_empty() {
            return Ok(html! {});
        }
        let spares = outage_kit::spares(self.job, self.outage);
        let record = match outage_kit::record(self.job, self.at, self.pump, spares) {
            Ok(record) => record,
            Err(why) => {
                return Ok(
                    html! { section.refused role="alert" { p.alarm { "STOP: " (why) "." } } },
                );
            }
        };
        let lines = words::recheck::work(self.job, self.row(), &record);
        let fails = !matches!(record.decision, Decision::Accept | Decision::Incomplete(_));
        Ok(html! {
            section.verdict.refused[fails] aria-labelledby="verdict" {
                h2 #verdict { "Verdict: " (words::recheck::decision(&record)) }
                @if record.decision == Decision::Accept { p { "Every requirement is met as found." } }
                ul { @for (kind, text) in &lines {
                    li.alarm[*kind == Kind::Finding && fails] { @if *kind == Kind::Caution { (CAUTION) " " } (text) }
                } }
                (self.swap(&record)?)
            }
        })
    }

    fn swap(&self, record: &Record) -> Result<Markup, Response> {
        let Decision::Swap(swap) = &record.decision else { return Ok(html! {}) };
        let sides = outage_kit::swapped(self.job, self.row(), swap);
        let [out, into] = sides.map(|pieces| {
            (words::outage::listed(&pieces), serde_json::to_string(&pieces).unwrap_or_default())
        });
        let none = |text: &str| if text.is_empty() { "nothing".to_string() } else { text.into() };
        Ok(html! {
            @if self.is_open() {
                form.book method="post" action=(self.here) {
                    p { "Out: " strong { (none(&out.0)) } ". In: " strong { (none(&into.0)) } "." }
                    (bookings::common(self.outage, self.who, "swap", true)?)
                    input type="hidden" name="out" value=(out.1);
                    input type="hidden" name="in" value=(into.1);
                    div.buttons { button type="submit" name="what" value="swap" { "The pieces are swapped" } }
                    p.hint { "Its readings are taken again after that." }
                }
            }
        })
    }
}

/// Readings that are accepted, with the line for any other.
fn asked(phrase: &Phrase, stop: &str) -> Markup {
    html! {
        p.asked { @for span in &phrase.0 { @match span {
            Span::Plain(text) => (text),
            Span::Word(text) => { span.word { (text) } },
            Span::Figure(text) => { span.fig { (text) } },
            Span::Range(text) => { span.range { (text) } },
        } } }
        p.stop { strong { (STOP) } " " (stop) }
    }
}

fn cautions(texts: &[String]) -> Markup {
    html! { @if !texts.is_empty() { ul.cautions { @for text in texts { li { (CAUTION) " " (text) } } } } }
}
