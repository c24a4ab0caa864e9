//! The form that begins an outage file with the workbooks of the page.

use axum::Router;
use axum::extract::State;
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{Html, IntoResponse, Response};
use axum::routing::get;
use maud::{Markup, html};

use super::bookings::is_form;
use super::form::Fields;
use super::frame;
use super::routes::{House, aside};

pub(super) fn routes() -> Router<House> {
    Router::new().route("/begin", get(form).post(sent))
}

async fn form() -> Response {
    Html(frame::form("Begin an outage file", &page("", &[]))).into_response()
}

async fn sent(
    State(house): State<House>,
    headers: HeaderMap,
    body: String,
) -> Result<Response, Response> {
    is_form(&headers)?;
    let fields = Fields::parse(&body);
    let wanted = house.wanted.clone();
    let answer = aside(move || {
        let name = fields.get("name");
        match house.shown.begin(name) {
            Ok(()) => (StatusCode::SEE_OTHER, [(header::LOCATION, "/record")]).into_response(),
            Err(why) => {
                let page = frame::form("Begin an outage file", &page(name, &why));
                (StatusCode::CONFLICT, Html(page)).into_response()
            }
        }
    })
    .await?;
    wanted.notify_one();
    Ok(answer)
}

fn page(name: &str, faults: &[String]) -> Markup {
    html! {
        header.top {
            h1 { "Begin an outage file" }
            nav aria-label="Pages" { a href="/" { "Back to the pumps" } }
            p #live role="status" aria-live="polite" {}
        }
        main.forms {
            @if !faults.is_empty() {
                section.refused role="alert" aria-labelledby="faults" {
                    h2 #faults { "No outage file was begun" }
                    @for fault in faults { p.alarm { (fault) } }
                }
            }
            section aria-labelledby="begin" {
                h2 #begin { "Name of the outage" }
                p { "An outage file keeps readings, bags, counts and plans as they are booked. It takes both workbooks over as they are on the disk now, and is put beside the stock workbook; no file that is there is written over." }
                p { "This page then goes on in Record. Values that are typed here already go on under What if, to be booked; kits that are held here stay held there." }
                form.book method="post" action="/begin" {
                    div.field {
                        label for="name" { "Name, such as week-12" }
                        input #name name="name" value=(name) maxlength="60" autocomplete="off" required;
                    }
                    div.buttons { button.strong type="submit" { "Begin it" } }
                }
            }
        }
    }
}
