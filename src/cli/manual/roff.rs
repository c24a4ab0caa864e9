//! A page of the manual for `man`.

use clap_mangen::roff::{Inline, Roff, bold, roman};

use super::page::{Block, Span};
use crate::manual::Topic;

/// The page `gapwright-TOPIC(7)`.
pub(super) fn page(topic: &Topic, blocks: &[Block]) -> String {
    let name = format!("gapwright-{}", topic.name);
    let version = concat!("gapwright ", env!("CARGO_PKG_VERSION"));
    let mut page = Roff::new();
    page.control("TH", [name.as_str(), "7", "\"\"", version, "gapwright"]);
    page.control("SH", ["NAME"]);
    page.text([roman(format!("{name} - {}", topic.about()))]);
    page.control("SH", ["DESCRIPTION"]);
    add(&mut page, blocks);
    page.control("SH", ["SEE ALSO"]);
    page.text([bold("gapwright"), roman("(1)")]);
    page.render()
}

fn add(page: &mut Roff, blocks: &[Block]) {
    for block in blocks {
        match block {
            Block::Heading(1, title) => {
                page.control("PP", [])
                    .text(title.iter().map(|span| bold(span.text())).collect::<Vec<_>>());
            }
            Block::Heading(2, title) => {
                page.control("SH", [words(title).as_str()]);
            }
            Block::Heading(_, title) => {
                page.control("SS", [words(title).as_str()]);
            }
            Block::Paragraph(text) => {
                page.control("PP", []).text(inlines(text));
            }
            Block::Code(code) => {
                page.control("PP", []).control("RS", ["4"]).control("nf", []);
                for line in code.lines() {
                    page.text([roman(line)]);
                }
                page.control("fi", []).control("RE", []);
            }
            Block::List(first, items) => list(page, *first, items),
            Block::Table(rows) => table(page, rows),
        }
    }
}

fn list(page: &mut Roff, first: Option<u64>, items: &[Vec<Block>]) {
    for (number, item) in (first.unwrap_or(0)..).zip(items) {
        let mark = first.map_or(r"\(bu".to_string(), |_| format!("{number}."));
        page.control("IP", [mark.as_str(), "4"]);
        match item.split_first() {
            Some((Block::Paragraph(text), rest)) => {
                page.text(inlines(text));
                if !rest.is_empty() {
                    page.control("RS", ["4"]);
                    add(page, rest);
                    page.control("RE", []);
                }
            }
            _ => add(page, item),
        }
    }
}

/// A row is a tagged paragraph: its first cell, and the others below it, in the order of the headings.
fn table(page: &mut Roff, rows: &[Vec<Vec<Span>>]) {
    let Some((headings, rows)) = rows.split_first() else { return };
    let heads: Vec<String> = headings.iter().map(|heading| words(heading)).collect();
    if heads.iter().any(|head| !head.is_empty()) {
        page.control("PP", []).text([roman(heads.join(" / "))]);
    }
    for row in rows {
        let Some((tag, cells)) = row.split_first() else { continue };
        page.control("TP", []).text(tag.iter().map(|span| bold(span.text())).collect::<Vec<_>>());
        for (at, cell) in cells.iter().enumerate() {
            if at > 0 {
                page.control("br", []);
            }
            page.text(inlines(cell));
        }
    }
}

fn inlines(words: &[Span]) -> Vec<Inline> {
    let words = words.iter().map(|span| match span {
        Span::Plain(text) => roman(text.as_str()),
        Span::Strong(text) | Span::Code(text) => bold(text.as_str()),
    });
    words.collect()
}

fn words(words: &[Span]) -> String {
    words.iter().map(Span::text).collect()
}
