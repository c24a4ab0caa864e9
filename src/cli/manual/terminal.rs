//! A page of the manual as plain text for a terminal.

use comfy_table::{ContentArrangement, LineStyle, Table, TableStyle};

use super::page::{Block, Span};
use crate::cli::escape::{width, wrapped};

/// The page in lines of at most so many columns; lines of code are never broken, so that they can be copied.
pub(super) fn text(blocks: &[Block], columns: usize) -> String {
    let mut text = lines(blocks, columns).join("\n");
    text.push('\n');
    text
}

fn lines(blocks: &[Block], columns: usize) -> Vec<String> {
    let mut lines = Vec::new();
    for (at, block) in blocks.iter().enumerate() {
        if at > 0 {
            lines.push(String::new());
        }
        match block {
            Block::Heading(1, title) => {
                lines.extend(wrapped(&joined(title).to_uppercase(), columns));
            }
            Block::Heading(rank, title) => {
                let mark = if *rank == 2 { "=" } else { "-" };
                let title = wrapped(&joined(title), columns);
                let long = title.iter().map(|line| width(line)).max().unwrap_or(0);
                lines.extend(title);
                lines.push(mark.repeat(long));
            }
            Block::Paragraph(words) => lines.extend(wrapped(&joined(words), columns)),
            Block::Code(code) => lines.extend(code.lines().map(|line| format!("    {line}"))),
            Block::List(first, items) => lines.extend(list(*first, items, columns)),
            Block::Table(rows) => lines.extend(table(rows, columns)),
        }
    }
    lines.into_iter().map(|line| line.trim_end().to_string()).collect()
}

fn list(first: Option<u64>, items: &[Vec<Block>], columns: usize) -> Vec<String> {
    let mut all = Vec::new();
    for (number, item) in (first.unwrap_or(0)..).zip(items) {
        let mark = first.map_or("- ".to_string(), |_| format!("{number}. "));
        let blank = " ".repeat(mark.len());
        let inner = lines(item, columns.saturating_sub(mark.len()));
        let marks = [mark.as_str()].into_iter().chain(std::iter::repeat(blank.as_str()));
        all.extend(marks.zip(inner).map(|(mark, line)| format!("{mark}{line}")));
    }
    all
}

/// A line under the headings and no other.
const UNDERLINED: TableStyle =
    TableStyle::new().header_separator(LineStyle::none().fill('-').junction('-'));

/// A table whose cells are wrapped; headings that are all empty are left off.
fn table(rows: &[Vec<Vec<Span>>], columns: usize) -> Vec<String> {
    let rows: Vec<Vec<String>> =
        rows.iter().map(|row| row.iter().map(|cell| joined(cell)).collect()).collect();
    let Some((headings, rows)) = rows.split_first() else { return Vec::new() };
    let mut table = Table::new();
    table
        .load_style(UNDERLINED)
        .set_content_arrangement(ContentArrangement::Dynamic)
        .set_width(u16::try_from(columns).unwrap_or(u16::MAX))
        .add_rows(rows);
    if headings.iter().any(|heading| !heading.is_empty()) {
        table.set_header(headings);
    }
    for column in table.column_iter_mut() {
        column.set_padding((0, 2));
    }
    table.lines().map(|line| line.trim_end().to_string()).collect()
}

/// Words as they are read without any style; code keeps its quotes.
fn joined(words: &[Span]) -> String {
    let words = words.iter().map(|span| match span {
        Span::Code(text) => format!("`{text}`"),
        other => other.text().to_string(),
    });
    words.collect()
}
