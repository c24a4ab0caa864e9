//! A page of the manual as blocks: the least that a terminal and a manual page need of Markdown.

use pulldown_cmark::{Event, HeadingLevel, Options, Parser, Tag};

/// A part of a page.
pub(super) enum Block {
    /// A title with its level, 1 for the page's own.
    Heading(u8, Vec<Span>),
    Paragraph(Vec<Span>),
    /// Lines that are never wrapped.
    Code(String),
    /// Items with the number of the first, if they are numbered.
    List(Option<u64>, Vec<Vec<Block>>),
    /// Rows of cells, the headings first.
    Table(Vec<Vec<Vec<Span>>>),
}

/// A run of words of one kind.
pub(super) enum Span {
    Plain(String),
    Strong(String),
    Code(String),
}

impl Span {
    pub(super) fn text(&self) -> &str {
        match self {
            Span::Plain(text) | Span::Strong(text) | Span::Code(text) => text,
        }
    }
}

/// The blocks of a page.
pub(super) fn blocks(markdown: &str) -> Vec<Block> {
    Reader(Parser::new_ext(markdown, Options::ENABLE_TABLES)).blocks()
}

struct Reader<'a>(Parser<'a>);

impl<'a> Reader<'a> {
    /// The blocks up to the end of what surrounds them.
    fn blocks(&mut self) -> Vec<Block> {
        let (mut blocks, mut loose) = (Vec::new(), Vec::new());
        while let Some(event) = self.0.next() {
            let block = match event {
                Event::End(_) => break,
                Event::Start(Tag::Heading { level, .. }) => {
                    Some(Block::Heading(rank(level), self.spans()))
                }
                Event::Start(Tag::Paragraph) => Some(Block::Paragraph(self.spans())),
                Event::Start(Tag::CodeBlock(_)) => Some(Block::Code(self.code())),
                Event::Start(Tag::List(first)) => Some(Block::List(first, self.items())),
                Event::Start(Tag::Table(_)) => Some(Block::Table(self.rows())),
                Event::Rule => continue,
                // Words of a tight list have no paragraph of their own.
                inline => {
                    self.inline(inline, &mut loose);
                    continue;
                }
            };
            flush(&mut loose, &mut blocks);
            blocks.extend(block);
        }
        flush(&mut loose, &mut blocks);
        blocks
    }

    fn items(&mut self) -> Vec<Vec<Block>> {
        let mut items = Vec::new();
        while let Some(Event::Start(_)) = self.0.next() {
            items.push(self.blocks());
        }
        items
    }

    fn rows(&mut self) -> Vec<Vec<Vec<Span>>> {
        let mut rows = Vec::new();
        while let Some(Event::Start(_)) = self.0.next() {
            let mut cells = Vec::new();
            while let Some(Event::Start(_)) = self.0.next() {
                cells.push(self.spans());
            }
            rows.push(cells);
        }
        rows
    }

    fn code(&mut self) -> String {
        let texts = self.0.by_ref().map_while(|event| match event {
            Event::Text(text) => Some(text),
            _ => None,
        });
        texts.collect::<Vec<_>>().concat()
    }

    /// The words up to the end of what surrounds them.
    fn spans(&mut self) -> Vec<Span> {
        let mut spans = Vec::new();
        loop {
            match self.0.next() {
                None | Some(Event::End(_)) => return spans,
                Some(event) => self.inline(event, &mut spans),
            }
        }
    }

    fn inline(&mut self, event: Event<'a>, spans: &mut Vec<Span>) {
        match event {
            Event::Text(text) | Event::InlineHtml(text) | Event::Html(text) => {
                spans.push(Span::Plain(text.into_string()));
            }
            Event::Code(text) => spans.push(Span::Code(text.into_string())),
            Event::SoftBreak | Event::HardBreak => spans.push(Span::Plain(" ".into())),
            Event::Start(Tag::Link { dest_url, .. }) => {
                let words = self.spans();
                let shown = words.iter().any(|span| span.text() == &*dest_url);
                spans.extend(words);
                if dest_url.starts_with("http") && !shown {
                    spans.push(Span::Plain(format!(" ({dest_url})")));
                }
            }
            Event::Start(Tag::Strong) => {
                let words = self.spans().into_iter();
                spans.extend(words.map(|span| match span {
                    Span::Plain(text) => Span::Strong(text),
                    other => other,
                }));
            }
            Event::Start(_) => spans.extend(self.spans()),
            _ => {}
        }
    }
}

/// Makes a paragraph of words that have none.
fn flush(loose: &mut Vec<Span>, blocks: &mut Vec<Block>) {
    if !loose.is_empty() {
        blocks.push(Block::Paragraph(std::mem::take(loose)));
    }
}

fn rank(level: HeadingLevel) -> u8 {
    match level {
        HeadingLevel::H1 => 1,
        HeadingLevel::H2 => 2,
        _ => 3,
    }
}
