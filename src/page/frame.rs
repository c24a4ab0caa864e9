//! The frame of every page.

use maud::{DOCTYPE, Markup, html};

use super::asset;
use crate::paper::{QUIET, Squares, squares};

/// A page of this title; with its scripts if it is alive.
pub(super) fn frame(title: &str, alive: bool, body: &Markup) -> String {
    framed(title, if alive { &["grid.js", "slider.js"] } else { &[] }, alive, body)
}

/// A page with forms, which work without its script.
pub(super) fn form(title: &str, body: &Markup) -> String {
    framed(title, &["form.js"], true, body)
}

fn framed(title: &str, scripts: &[&str], invites: bool, body: &Markup) -> String {
    let page = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="color-scheme" content="light dark";
                title { (title) }
                @for style in ["page.css", "form.css"] { link rel="stylesheet" href=(asset::path(style)); }
                link rel="icon" href="data:,";
                @for name in scripts { script type="module" src=(asset::path(name)) {} }
            }
            body {
                (body)
                @if invites { footer { form method="post" action="/invite" { button { "Let another browser in" } } } }
            }
        }
    };
    page.into_string()
}

/// A page with an address that lets one more browser in.
pub(super) fn invited(link: &str) -> String {
    let body = html! {
        main.told {
            h1 { "Let another browser in" }
            p { "This address lets one browser in, once, within ten minutes. Open it there, or scan it." }
            p { code { (link) } }
            @if let Some(Squares { width, dark }) = squares(link) {
                @let side = width + 2 * QUIET;
                svg.qr viewBox={"0 0 " (side) " " (side)} role="img" aria-label="The address, to scan" shape-rendering="crispEdges" {
                    rect width=(side) height=(side) fill="#fff" {}
                    path fill="#000" d=(dark.iter().map(|[row, column]| format!("M{} {}h1v1h-1z", column + QUIET, row + QUIET)).collect::<String>()) {}
                }
            }
            p { a href="/" { "Back to the page" } }
        }
    };
    frame("Let another browser in", false, &body)
}

/// A page that goes on to the board by itself.
pub(super) fn onward() -> String {
    let page = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta http-equiv="refresh" content="0;url=/";
                link rel="icon" href="data:,";
                title { "Let in" }
            }
            body { main { p { a href="/" { "Go on to the page" } } } }
        }
    };
    page.into_string()
}

/// A page that says one thing.
pub(super) fn told(title: &str, text: &str) -> String {
    frame(title, false, &html! { main.told { h1 { (title) } p { (text) } } })
}

/// Links between the pages; the one at hand is marked.
pub(super) fn links(here: &str) -> Markup {
    html! {
        nav aria-label="Pages" {
            @for (path, name) in [("/", "Pumps"), ("/drawers", "Drawers"), ("/paper", "Paper")] {
                a href=(path) aria-current=[(path == here).then_some("page")] { (name) }
            }
        }
    }
}
