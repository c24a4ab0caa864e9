//! Style and script of the page, under a path with their hash: a browser keeps them until they change.

use std::sync::LazyLock;

use crate::digest::sha256;

/// Files by name, each with its media type.
const FILES: [(&str, &str, &str); 5] = [
    ("page.css", "text/css; charset=utf-8", include_str!("assets/page.css")),
    ("form.css", "text/css; charset=utf-8", include_str!("assets/form.css")),
    ("form.js", "text/javascript; charset=utf-8", include_str!("assets/form.js")),
    ("grid.js", "text/javascript; charset=utf-8", include_str!("assets/grid.js")),
    ("slider.js", "text/javascript; charset=utf-8", include_str!("assets/slider.js")),
];

static HASH: LazyLock<String> = LazyLock::new(|| {
    let all: Vec<&str> = FILES.iter().map(|(.., text)| *text).collect();
    sha256(all.concat().as_bytes()).chars().take(12).collect()
});

/// Path of a file.
pub(super) fn path(name: &str) -> String {
    format!("/a/{}/{name}", *HASH)
}

/// Media type and contents of a file.
pub(super) fn find(name: &str) -> Option<(&'static str, &'static str)> {
    let found = FILES.iter().find(|(known, ..)| *known == name);
    found.map(|(_, kind, text)| (*kind, *text))
}
