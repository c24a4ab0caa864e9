//! A table of pumps that fits a terminal of eighty columns.

use comfy_table::{ColumnConstraint, ContentArrangement, Row, Table, presets};

use super::escape;

/// The columns of a terminal that is counted on everywhere.
pub(super) const COLUMNS: usize = 80;

/// A row: its cells, and whether it is one that must be seen.
pub(super) struct TableLine {
    pub(super) cells: Vec<String>,
    pub(super) loud: bool,
}

/// The lines of a table, the headings first; the first column gives way where they would be too wide.
///
/// At most `most` rows that are not loud are shown, and how many more there are is said.
pub(super) fn lines(heads: &[&str], rows: &[TableLine], most: usize) -> Vec<String> {
    let quiet = rows.iter().filter(|row| !row.loud).count();
    let left_out = quiet.saturating_sub(most);
    let mut room = most;
    let shown: Vec<&TableLine> = rows
        .iter()
        .filter(|row| {
            row.loud || {
                let fits = room > 0;
                room = room.saturating_sub(1);
                fits
            }
        })
        .collect();
    let mut table = Table::new();
    table
        .load_style(presets::NOTHING)
        .set_content_arrangement(ContentArrangement::Dynamic)
        .set_truncation_indicator("...")
        .set_width(u16::try_from(COLUMNS).unwrap_or(u16::MAX));
    let cells = shown.iter().map(|row| row.cells.iter().map(String::as_str).collect());
    for cells in [heads.to_vec()].into_iter().chain(cells) {
        let mut row = Row::from(cells.into_iter().map(escape::one_line));
        table.add_row(row.max_height(1).clone());
    }
    for column in table.column_iter_mut() {
        column.set_padding((2, 0));
        // The first column gives way; the others hold figures, which are never cut.
        if column.index > 0 {
            column.set_constraint(ColumnConstraint::ContentWidth);
        }
    }
    let mut lines: Vec<String> = table.lines().map(|line| line.trim_end().into()).collect();
    if left_out > 0 {
        lines.push(format!("  and {left_out} more without remarks; the workbook lists all"));
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_line_is_wider_than_eighty_columns_whatever_the_tags() {
        let row = |tag: &str, loud| TableLine {
            cells: [tag, "kitted, short of consumables", "0.02145 in", "0.0190 to 0.0230 in"]
                .map(String::from)
                .to_vec(),
            loud,
        };
        let long = "long ".repeat(60);
        let wide = "\u{6c34}\u{30dd}\u{30f3}\u{30d7}".repeat(30);
        let mut rows = vec![row(&long, false), row(&wide, true), row("P-1\u{1b}[31m", false)];
        rows.extend((0..100).map(|n| row(&format!("P-{n}"), n % 50 == 49)));
        let lines = lines(&["Pump", "Status", "Comes to", "Limits"], &rows, 10);
        for line in &lines {
            assert!(escape::width(line) <= COLUMNS, "{line}");
            assert!(!line.contains('\u{1b}'), "{line}");
        }
        // All that are loud, ten that are not, the headings and the rest.
        assert_eq!(lines.len(), 3 + 10 + 1 + 1);
        assert!(lines.iter().any(|line| line.contains("P-99")));
        assert!(lines[lines.len() - 1].contains("and 90 more"));
    }
}
