//! A page as a reader sees it: elements with their attributes, and texts.

use std::collections::BTreeSet;

/// A piece of a page.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Piece {
    /// An opening tag: name, and attributes as they are written.
    Open(String, Vec<(String, String)>),
    Close(String),
    Text(String),
}

/// Takes a page apart. Strict: an attribute without quotes, or a `<` in one, fails.
pub fn pieces(html: &str) -> Vec<Piece> {
    let mut found = Vec::new();
    let mut rest = html;
    while let Some(at) = rest.find('<') {
        let (text, tag) = rest.split_at(at);
        if !text.trim().is_empty() {
            found.push(Piece::Text(decoded(text)));
        }
        let end = tag.find('>').expect("a tag ends");
        let inner = &tag[1..end];
        assert!(!inner.contains('<'), "{inner}");
        rest = &tag[end + 1..];
        if inner.starts_with('!') {
            continue;
        }
        if let Some(name) = inner.strip_prefix('/') {
            found.push(Piece::Close(name.to_string()));
            continue;
        }
        // An element of a drawing may close itself.
        let inner = inner.strip_suffix('/').unwrap_or(inner);
        let (name, attributes) = inner.split_once(' ').unwrap_or((inner, ""));
        found.push(Piece::Open(name.to_string(), attributes_of(attributes)));
        if name == "style" {
            let end = rest.find("</style>").expect("the style ends");
            found.push(Piece::Text(rest[..end].to_string()));
            rest = &rest[end..];
        }
    }
    found
}

fn attributes_of(mut text: &str) -> Vec<(String, String)> {
    let mut found = Vec::new();
    while !text.trim().is_empty() {
        let (name, value) = text.split_once("=\"").unwrap_or_else(|| panic!("no quote: {text}"));
        let (value, rest) = value.split_once('"').unwrap_or_else(|| panic!("no end: {text}"));
        found.push((name.trim().to_string(), decoded(value)));
        text = rest;
    }
    found
}

fn decoded(text: &str) -> String {
    let text = text.replace("&lt;", "<").replace("&gt;", ">").replace("&quot;", "\"");
    text.replace("&amp;", "&")
}

/// Single spaces, as they are shown.
pub fn collapsed(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// Texts of some pieces in one, as they are shown.
pub fn shown(pieces: &[Piece]) -> String {
    let inline = ["b", "span", "i"];
    let mut text = String::new();
    for piece in pieces {
        match piece {
            Piece::Text(own) => text.push_str(own),
            Piece::Open(name, _) | Piece::Close(name) if !inline.contains(&&**name) => {
                text.push(' ');
            }
            _ => {}
        }
    }
    collapsed(&text)
}

/// Pieces of each slip, in their order.
pub fn slips(html: &str) -> Vec<Vec<Piece>> {
    let all = pieces(html);
    let is_slip = |piece: &Piece| match piece {
        Piece::Open(name, attributes) => {
            name == "article" && attributes.iter().any(|(_, value)| value == "sheet")
        }
        _ => false,
    };
    let begins = all.iter().enumerate().filter(|(_, piece)| is_slip(piece)).map(|(at, _)| at);
    let slip = |from: usize| {
        let end = all[from..].iter().position(|p| *p == Piece::Close("article".into())).unwrap();
        all[from..from + end].to_vec()
    };
    begins.map(slip).collect()
}

/// Texts between tags, each by itself.
pub fn texts(pieces: &[Piece]) -> BTreeSet<String> {
    let texts = pieces.iter().filter_map(|piece| match piece {
        Piece::Text(text) => Some(collapsed(text)),
        _ => None,
    });
    texts.filter(|text| !text.is_empty()).collect()
}
