//! A table of pumps that fits a terminal of eighty columns.

use super::plain;

/// The columns of a terminal that is counted on everywhere.
pub(super) const COLUMNS: usize = 80;

/// A row: its cells, and whether it is one that must be seen.
pub(super) struct Row {
    pub(super) cells: Vec<String>,
    pub(super) loud: bool,
}

/// The lines of a table, the headings first; the first column gives way where they would be too wide.
///
/// At most `most` rows that are not loud are shown, and how many more there are is said.
pub(super) fn lines(heads: &[&str], rows: &[Row], most: usize) -> Vec<String> {
    let quiet = rows.iter().filter(|row| !row.loud).count();
    let left_out = quiet.saturating_sub(most);
    let mut room = most;
    let shown: Vec<&Row> = rows
        .iter()
        .filter(|row| {
            row.loud || {
                let fits = room > 0;
                room = room.saturating_sub(1);
                fits
            }
        })
        .collect();
    let texts = |at: usize| {
        let cells = shown.iter().map(move |row| row.cells[at].as_str());
        cells.chain([heads[at]])
    };
    let mut widths: Vec<usize> = (0..heads.len())
        .map(|at| texts(at).map(plain::width).max().unwrap_or(0))
        .collect();
    let gaps = 2 * widths.len();
    let others: usize = widths.iter().skip(1).sum();
    if let Some(first) = widths.first_mut() {
        *first = (*first).min(COLUMNS.saturating_sub(others + gaps).max(6));
    }
    let line = |cells: &mut dyn Iterator<Item = &str>| {
        let mut text = String::from("  ");
        for (cell, width) in cells.zip(&widths) {
            let cell = cut(cell, *width);
            let pad = width.saturating_sub(plain::width(&cell));
            text.push_str(&cell);
            text.push_str(&" ".repeat(pad + 2));
        }
        cut(text.trim_end(), COLUMNS)
    };
    let mut lines = vec![line(&mut heads.iter().copied())];
    lines.extend(
        shown
            .iter()
            .map(|row| line(&mut row.cells.iter().map(String::as_str))),
    );
    if left_out > 0 {
        lines.push(format!(
            "  and {left_out} more of which there is nothing to say; the workbook has them all"
        ));
    }
    lines
}

/// A text in at most so many columns; what is cut off is shown by three points.
fn cut(text: &str, columns: usize) -> String {
    let text = plain::one_line(text);
    if plain::width(&text) <= columns {
        return text.into_owned();
    }
    let mut kept = String::new();
    for c in text.chars() {
        let more = plain::width(c.encode_utf8(&mut [0; 4]));
        if plain::width(&kept) + more + 3 > columns {
            break;
        }
        kept.push(c);
    }
    format!("{kept}...")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_line_is_wider_than_eighty_columns_whatever_the_tags() {
        let row = |tag: &str, loud| Row {
            cells: [
                tag,
                "kitted, short of consumables",
                "0.02145 in",
                "0.0190 to 0.0230 in",
            ]
            .map(String::from)
            .to_vec(),
            loud,
        };
        let long = "long ".repeat(60);
        let wide = "\u{6c34}\u{30dd}\u{30f3}\u{30d7}".repeat(30);
        let mut rows = vec![
            row(&long, false),
            row(&wide, true),
            row("P-1\u{1b}[31m", false),
        ];
        rows.extend((0..100).map(|n| row(&format!("P-{n}"), n % 50 == 49)));
        let lines = lines(&["Pump", "Standing", "Comes to", "Limits"], &rows, 10);
        for line in &lines {
            assert!(plain::width(line) <= COLUMNS, "{line}");
            assert!(!line.contains('\u{1b}'), "{line}");
        }
        // All that are loud, ten that are not, the headings and the rest.
        assert_eq!(lines.len(), 3 + 10 + 1 + 1);
        assert!(lines.iter().any(|line| line.contains("P-99")));
        assert!(lines[lines.len() - 1].contains("and 90 more"));
    }
}
