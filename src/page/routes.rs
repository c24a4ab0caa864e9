//! Paths of the page and their answers.

use std::convert::Infallible;
use std::sync::Arc;
use std::time::Duration;

use axum::body::Body;
use axum::extract::{DefaultBodyLimit, Path, Request, State};
use axum::http::{StatusCode, header};
use axum::middleware::{self, Next};
use axum::response::sse::{Event, KeepAlive, Sse};
use axum::response::{Html, IntoResponse, Response};
use axum::routing::{get, post};
use axum::{Json, Router};
use futures_util::stream;
use serde::{Deserialize, Serialize};
use tokio::sync::{Notify, watch};

use super::desk::{Act, By};
use super::door::{Door, Entry, dress};
use super::parts::Fresh;
use super::running::Mode;
use super::server::Bounds;
use super::shown::Shown;
use super::subject::Subject;
use super::{asset, beginning, bench, board, bookings, frame, gzip, printing};
use crate::scratch::CellEdit;

/// All that answers share.
#[derive(Clone)]
pub(super) struct House {
    pub(super) shown: Shown,
    /// Page of readings of an outage that a path is below; none of paths of the subject itself.
    pub(super) mode: Option<Mode>,
    pub(super) door: Arc<Door>,
    pub(super) bounds: Bounds,
    /// Told when the values changed.
    pub(super) wanted: Arc<Notify>,
    pub(super) closing: watch::Receiver<bool>,
}

impl House {
    /// Subject of a path, as it is now.
    ///
    /// # Errors
    /// The answer where there is none.
    pub(super) fn subject(&self) -> Result<Subject, Response> {
        match (self.shown.now(), self.mode) {
            (subject, None) => Ok(subject),
            (Subject::WhatIf(_), Some(_)) => Err(not_there()),
            (Subject::Outage(board), Some(mode)) => match (board.desk(mode), board.no_readings()) {
                (Some(desk), _) => Ok(desk.clone().into()),
                (None, Some(why)) => {
                    let told = frame::told("This outage cannot be read", &why.join(" "));
                    Err(Html(told).into_response())
                }
                (None, None) => Err(not_there()),
            },
        }
    }
}

pub(super) fn router(house: House) -> Router {
    let mut all = pages(house.clone());
    for mode in Mode::ALL {
        all = all.nest(mode.path(), pages(House { mode: Some(mode), ..house.clone() }));
    }
    let entrance = Router::new()
        .route("/in/{code}", get(enter))
        .route("/invite", post(invite))
        .route("/a/{hash}/{name}", get(file))
        .merge(beginning::routes())
        .merge(bookings::routes())
        .merge(bench::routes())
        .with_state(house.clone());
    all.merge(entrance)
        .layer(DefaultBodyLimit::max(house.bounds.body))
        .layer(middleware::from_fn_with_state(house, guard))
}

/// Pages of a subject.
fn pages(house: House) -> Router {
    Router::new()
        .route("/", get(sheet))
        .route("/drawers", get(drawers))
        .route("/pump/{row}", get(pump))
        .route("/drawing/{model}", get(drawing))
        .route("/act", post(act))
        .merge(printing::routes())
        .route("/events", get(events))
        .with_state(house)
}

/// Looks at every request before anything else does, bounds its time, and packs and dresses its answer.
async fn guard(State(house): State<House>, request: Request, next: Next) -> Response {
    let packs = gzip::is_accepted(request.headers());
    let mut answer = match house.door.check(&request) {
        Err((status, words)) => (status, Html(frame::told("Not let in", words))).into_response(),
        Ok(()) if says_too_much(&request, house.bounds.body) => {
            (StatusCode::PAYLOAD_TOO_LARGE, "This is too much at once.").into_response()
        }
        Ok(()) => {
            let answer = tokio::time::timeout(house.bounds.answer, next.run(request)).await;
            answer.unwrap_or_else(|_| {
                (StatusCode::REQUEST_TIMEOUT, "This took too long; try again.").into_response()
            })
        }
    };
    if packs {
        answer = gzip::packed(answer).await;
    }
    dress(answer.headers_mut());
    answer
}

/// Whether a request says that its body is larger than is read: nobody waits for it then.
fn says_too_much(request: &Request, most: usize) -> bool {
    let length = request.headers().get(header::CONTENT_LENGTH);
    let length = length.and_then(|value| value.to_str().ok()?.parse::<usize>().ok());
    length.is_some_and(|length| length > most)
}

/// Does what may block on a thread of its own.
pub(super) async fn aside<T: Send + 'static>(
    work: impl FnOnce() -> T + Send + 'static,
) -> Result<T, Response> {
    let done = tokio::task::spawn_blocking(work).await;
    done.map_err(|_| {
        let words = "This failed inside gapwright; please report it with both workbooks.";
        (StatusCode::INTERNAL_SERVER_ERROR, words).into_response()
    })
}

fn read_only() -> Response {
    (StatusCode::CONFLICT, "Nothing can be changed on this page.").into_response()
}

pub(super) fn not_there() -> Response {
    let text = "There is no such page.";
    (StatusCode::NOT_FOUND, Html(frame::told("Not there", text))).into_response()
}

async fn file(Path((_, name)): Path<(String, String)>) -> Response {
    let Some((kind, text)) = asset::find(&name) else { return not_there() };
    let kept = "public, max-age=31536000, immutable";
    ([(header::CONTENT_TYPE, kind), (header::CACHE_CONTROL, kept)], text).into_response()
}

async fn enter(State(house): State<House>, Path(code): Path<String>, request: Request) -> Response {
    let early = request.headers().get("sec-purpose").is_some();
    if early {
        // A browser that looks ahead does not spend the code.
        return StatusCode::NO_CONTENT.into_response();
    }
    match house.door.enter(&code) {
        Ok(Entry::Good(cookie)) => {
            // A page that goes on by itself: a redirect that began on another site takes no strict cookie along.
            let onward = frame::onward();
            ([(header::SET_COOKIE, cookie)], Html(onward)).into_response()
        }
        Ok(Entry::Spent) => {
            let text = "This address was used already, or is too old. Start gapwright again for a new one.";
            (StatusCode::GONE, Html(frame::told("This address is spent", text))).into_response()
        }
        Ok(Entry::TooMany) => {
            let text = "Too many wrong addresses were tried. Wait a minute.";
            let wait = [(header::RETRY_AFTER, "60")];
            (StatusCode::TOO_MANY_REQUESTS, wait, Html(frame::told("Wait", text))).into_response()
        }
        Err(error) => (StatusCode::INTERNAL_SERVER_ERROR, error.to_string()).into_response(),
    }
}

/// Lets one more browser in, at the word of one that is.
async fn invite(State(house): State<House>) -> Response {
    match house.door.link() {
        Ok(link) => Html(frame::invited(&link)).into_response(),
        Err(error) => (StatusCode::INTERNAL_SERVER_ERROR, error.to_string()).into_response(),
    }
}

async fn sheet(State(house): State<House>) -> Result<Response, Response> {
    let subject = house.subject()?;
    let (title, board) = aside(move || (subject.title(), subject.board())).await?;
    Ok(Html(frame::frame(&title, true, &board)).into_response())
}

async fn drawers(State(house): State<House>) -> Result<Response, Response> {
    let subject = house.subject()?;
    let drawers = aside(move || subject.drawers()).await?;
    Ok(Html(frame::frame("Drawers", true, &drawers)).into_response())
}

async fn pump(State(house): State<House>, Path(row): Path<u32>) -> Result<Response, Response> {
    let (wanted, subject) = (house.wanted.clone(), house.subject()?);
    let page = aside(move || subject.pump(row)).await?.ok_or_else(not_there)?;
    // To be looked into.
    wanted.notify_one();
    Ok(Html(frame::frame("One pump", true, &page)).into_response())
}

async fn drawing(
    State(house): State<House>,
    Path(model): Path<usize>,
) -> Result<Response, Response> {
    let subject = house.subject()?;
    let bytes = aside(move || subject.drawing(model)).await?.ok_or_else(not_there)?;
    // The reader of models takes PNG and JPEG, and no other kind.
    let kind = if bytes.starts_with(&[0x89, b'P']) { "image/png" } else { "image/jpeg" };
    Ok(([(header::CONTENT_TYPE, kind)], Body::from(bytes.to_vec())).into_response())
}

/// Most characters of the number of a request.
const MOST_REQUEST: usize = 100;

/// A window that asks for a change, and for the parts that it does not know yet.
#[derive(Deserialize)]
struct Asked {
    #[serde(rename = "do")]
    what: String,
    since: u64,
    #[serde(default)]
    edits: Vec<AskedEdit>,
    /// Name of who asks, and a number that is the same when the same is asked again.
    #[serde(default)]
    who: String,
    #[serde(default)]
    request: String,
    /// Row of the pump whose page the window shows.
    pump: Option<u32>,
    /// Code of a kit of that pump.
    kit: Option<String>,
}

#[derive(Deserialize)]
struct AskedEdit {
    tag: String,
    key: String,
    was: String,
    now: String,
}

#[derive(Serialize)]
struct Answer {
    /// Subject: a window of one before is to go on elsewhere.
    of: &'static str,
    version: u64,
    planning: bool,
    parts: Vec<[String; 2]>,
    refused: Vec<Refused>,
}

#[derive(Serialize)]
struct Refused {
    tag: String,
    key: String,
    why: String,
}

async fn act(State(house): State<House>, Json(asked): Json<Asked>) -> Result<Response, Response> {
    let edit = |edit: AskedEdit| CellEdit {
        tag: edit.tag,
        heading: edit.key,
        was: edit.was,
        now: edit.now,
    };
    let what = match asked.what.as_str() {
        "look" => None,
        "edit" => Some(Act::Edit(asked.edits.into_iter().map(edit).collect())),
        "undo" => Some(Act::Undo),
        "redo" => Some(Act::Redo),
        "discard" => Some(Act::Discard),
        "acknowledge" => Some(Act::Acknowledge),
        "take-over" => Some(Act::TakeOver),
        "book-all" => Some(Act::BookAll),
        "enter" => Some(Act::Enter),
        "hold" | "free" => {
            let nameless = (StatusCode::UNPROCESSABLE_ENTITY, "There is no such pump.");
            let row = asked.pump.ok_or_else(|| nameless.into_response())?;
            Some(Act::Hold(row, asked.kit.filter(|_| asked.what == "hold")))
        }
        _ => {
            return Err(
                (StatusCode::UNPROCESSABLE_ENTITY, "There is no such change.").into_response()
            );
        }
    };
    let by = By::new(asked.who, asked.request);
    if by.request.len() > MOST_REQUEST {
        return Err((StatusCode::UNPROCESSABLE_ENTITY, "This number is too long.").into_response());
    }
    let subject = house.subject()?;
    let of = subject.word();
    let answer = aside(move || {
        let refused = match &what {
            None => Vec::new(),
            Some(what) => subject.act(what, &by).ok_or_else(read_only)?,
        };
        // Its pump is looked into from now on, and may be among the parts.
        let pump = asked.pump.and_then(|row| subject.pump_part(row));
        let Fresh { version, parts, planning } = subject.fresh(asked.since);
        let mut parts: Vec<[String; 2]> =
            parts.into_iter().map(|part| [part.id, part.html]).collect();
        if version != asked.since {
            parts.extend(pump.map(|part| [part.id, part.html]));
        }
        let refused = refused.iter().map(|one| Refused {
            tag: one.edit.tag.clone(),
            key: one.edit.heading.clone(),
            why: board::refusal(one),
        });
        Ok(Answer { of, version, planning, parts, refused: refused.collect() })
    })
    .await??;
    if answer.planning || asked.pump.is_some() {
        house.wanted.notify_one();
    }
    Ok(Json(answer).into_response())
}

/// Tells a window whenever a part changed.
async fn events(State(house): State<House>) -> Result<Response, Response> {
    let moves = house.shown.moves();
    let heard = (house.subject()?.news(), moves, house.closing.clone());
    let stream = stream::unfold(heard, |(mut news, mut moves, mut closing)| async move {
        let version = tokio::select! {
            // A window that listens would keep the server from ending.
            () = closed(&mut closing) => return None,
            // Whoever listens asks again, and hears of the subject that is shown now.
            _ = moves.changed() => return None,
            changed = news.changed() => changed.ok().map(|()| *news.borrow_and_update())?,
        };
        let event = Event::default().event("news").data(version.to_string());
        Some((Ok::<_, Infallible>(event), (news, moves, closing)))
    });
    let alive = KeepAlive::new().interval(Duration::from_secs(15));
    Ok(Sse::new(stream).keep_alive(alive).into_response())
}

/// Ends when the server is to close.
pub(super) async fn closed(closing: &mut watch::Receiver<bool>) {
    // The guard that this hands out may not be held across a wait.
    let _ = closing.wait_for(|closing| *closing).await;
}
