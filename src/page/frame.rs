//! The frame of every page.

use maud::{DOCTYPE, Markup, html};

use super::asset;

/// A page of this title; with the script if it is alive.
pub(super) fn frame(title: &str, alive: bool, body: &Markup) -> String {
    framed(title, alive.then_some("grid.js"), body)
}

/// A page with forms, which work without its script.
pub(super) fn form(title: &str, body: &Markup) -> String {
    framed(title, Some("form.js"), body)
}

fn framed(title: &str, script: Option<&str>, body: &Markup) -> String {
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
                @if let Some(script) = script { script type="module" src=(asset::path(script)) {} }
            }
            body { (body) }
        }
    };
    page.into_string()
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
            @for (path, name) in [("/", "Pumps"), ("/drawers", "Drawers")] {
                a href=(path) aria-current=[(path == here).then_some("page")] { (name) }
            }
        }
    }
}
