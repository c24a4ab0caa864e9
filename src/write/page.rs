//! A sheet while it is written, from the top down: what is written goes into the next free row.

use rust_xlsxwriter::{Format, Workbook, Worksheet, XlsxError};

use super::style::{Styles, set_up, tall};
use super::table::{self, Cell, Cells, Column};
use super::text::{WriteText, in_rows};
use crate::model::{NOT_FIT, USUAL_CAUTIONS};

/// The outcome of writing.
pub(super) type Written<T = ()> = Result<T, XlsxError>;

/// A sheet whose rows go through a temporary file as they are written, from the top down: tables as long as an input
/// do not lie in memory once more. Where there can be no such file, memory has to do.
pub(super) fn lean(workbook: &mut Workbook) -> Worksheet {
    workbook.new_worksheet_with_low_memory().unwrap_or_else(|_| Worksheet::new())
}

/// Rows from which a sheet is worth going through a file.
const LONG: usize = 2_000;

/// [`lean`] for a table of many rows, in memory for a short one.
pub(super) fn lean_if_long(workbook: &mut Workbook, rows: usize) -> Worksheet {
    if rows > LONG { lean(workbook) } else { Worksheet::new() }
}

/// Ends a sheet with an empty row; see [`Page::ended`].
pub(super) fn end(sheet: &mut Worksheet, row: u32) -> Written {
    sheet.write_blank(row, 0, &Format::new())?;
    Ok(())
}

/// A sheet with its formats and the next free row.
pub(super) struct Page<'s> {
    pub(super) sheet: Worksheet,
    pub(super) styles: &'s Styles,
    pub(super) row: u32,
    /// The last column of texts that run across.
    pub(super) last: u16,
}

impl<'s> Page<'s> {
    /// An empty sheet that has its name and is set up for print.
    pub(super) fn new(name: &str, styles: &'s Styles) -> Written<Page<'s>> {
        Page::on(Worksheet::new(), name, styles)
    }

    /// An empty page on a sheet that is there.
    pub(super) fn on(sheet: Worksheet, name: &str, styles: &'s Styles) -> Written<Page<'s>> {
        let mut page = Page { sheet, styles, row: 0, last: 0 };
        set_up(&mut page.sheet, name, styles)?;
        Ok(page)
    }

    /// A sheet that begins with a title and the line under it; then come an empty row and the next free one.
    pub(super) fn begin(
        name: &str,
        title: &str,
        lead: &str,
        styles: &'s Styles,
    ) -> Written<Page<'s>> {
        let mut page = Page::new(name, styles)?;
        page.title(title, lead)?;
        Ok(page)
    }

    /// Writes the title and the line under it.
    pub(super) fn title(&mut self, title: &str, lead: &str) -> Written {
        self.text(title, &self.styles.title)?;
        self.text(lead, &self.styles.lead)?;
        self.row = 3;
        Ok(())
    }

    /// Sets the widths of the first columns, in characters; texts run across all of them.
    pub(super) fn widths(&mut self, widths: &[f64]) -> Written {
        for (column, width) in (0..).zip(widths) {
            self.sheet.set_column_width(column, *width)?;
            self.last = column;
        }
        Ok(())
    }

    /// Makes the next row so many points high.
    pub(super) fn high(&mut self, points: f64) -> Written {
        self.sheet.set_row_height(self.row, points)?;
        Ok(())
    }

    /// Writes cells beside each other from a column on, and stays in the row.
    pub(super) fn cells<'c>(
        &mut self,
        from: u16,
        cells: impl IntoIterator<Item = Cell<'c>>,
    ) -> Written {
        table::cells(&mut self.sheet, (self.row, from), cells)
    }

    /// Writes a row of cells.
    pub(super) fn line<'c>(&mut self, cells: impl IntoIterator<Item = Cell<'c>>) -> Written {
        self.cells(0, cells)?;
        self.row += 1;
        Ok(())
    }

    /// Writes further cells, from a column on, into the row that was written last.
    pub(super) fn behind<'c>(
        &mut self,
        from: u16,
        cells: impl IntoIterator<Item = Cell<'c>>,
    ) -> Written {
        table::cells(&mut self.sheet, (self.row - 1, from), cells)
    }

    /// Writes a text into the first column.
    pub(super) fn text(&mut self, text: impl AsRef<str>, format: &Format) -> Written {
        self.sheet.write_text(self.row, 0, text, format)?;
        self.row += 1;
        Ok(())
    }

    /// Writes the heading of a part.
    pub(super) fn part(&mut self, heading: impl AsRef<str>) -> Written {
        self.text(heading, &self.styles.part)
    }

    /// Writes a text over all columns; of a height, where one is given.
    pub(super) fn across(
        &mut self,
        text: &str,
        format: &Format,
        height: impl Into<Option<f64>>,
    ) -> Written {
        self.sheet.across(self.row, [0, self.last], text, format)?;
        if let Some(height) = height.into() {
            self.high(height)?;
        }
        self.row += 1;
        Ok(())
    }

    /// Writes the pumps that are not fit to assemble over all columns, with their consequence on this sheet, in as many
    /// rows as it takes; nothing where there are none.
    pub(super) fn not_fit(&mut self, tags: &[&str], so: &str) -> Written {
        const ON_A_LINE: usize = 120;
        let mut texts = in_rows(tags, 20 * ON_A_LINE);
        if let Some(first) = texts.first_mut() {
            *first = format!("{NOT_FIT}, {so}: {first}");
        }
        if let Some(end) = texts.last_mut() {
            end.push('.');
        }
        for text in texts {
            self.across(&text, &self.styles.alarms, tall(&text, ON_A_LINE))?;
        }
        Ok(())
    }

    /// Writes them between the title and a table of so many columns, which keeps its place where there are none.
    pub(super) fn above_the_table(&mut self, columns: usize, tags: &[&str], so: &str) -> Written {
        self.last = u16::try_from(columns.saturating_sub(1)).unwrap_or(u16::MAX);
        self.row = 2;
        self.not_fit(tags, so)?;
        self.row = self.row.max(3);
        Ok(())
    }

    /// Writes a row of column headings.
    pub(super) fn heads(&mut self, heads: &[&str]) -> Written {
        self.line(heads.iter().map(|head| self.styles.head.of(*head)))
    }

    /// Begins the one table of a sheet: widths, and headings that every printed page repeats and no scrolling moves.
    pub(super) fn open<R>(&mut self, columns: &[Column<'_, R>]) -> Written {
        table::widths(&mut self.sheet, columns)?;
        self.repeat()?;
        self.sheet.set_freeze_panes(self.row + 1, 0)?;
        self.headings(columns)
    }

    /// Repeats the next row on every printed page.
    pub(super) fn repeat(&mut self) -> Written {
        self.sheet.set_repeat_rows(self.row, self.row)?;
        Ok(())
    }

    /// Writes the headings of a table.
    pub(super) fn headings<R>(&mut self, columns: &[Column<'_, R>]) -> Written {
        self.line(columns.iter().map(|column| column.heading(&self.styles.head)))
    }

    /// Writes a row of a table.
    pub(super) fn put<R>(&mut self, columns: &[Column<'_, R>], of: &R) -> Written {
        let mut at = 0;
        for column in columns {
            self.cells(at, [column.cell(of)])?;
            at += column.columns;
        }
        self.row += 1;
        Ok(())
    }

    /// Writes the figures of a picture from a column on, right of what is printed, with their headings in the next
    /// row, and stays in that; returns the last row.
    pub(super) fn figures<'c, const N: usize>(
        &mut self,
        from: u16,
        heads: [&str; N],
        rows: impl IntoIterator<Item = [Cell<'c>; N]>,
    ) -> Written<u32> {
        self.cells(from, heads.map(|head| self.styles.remark.of(head)))?;
        let mut last = self.row;
        for cells in rows {
            last += 1;
            table::cells(&mut self.sheet, (last, from), cells)?;
        }
        Ok(last)
    }

    /// Writes a part of paragraphs, each in its format and of its height; nothing where there are none.
    pub(super) fn paragraphs<'f>(
        &mut self,
        heading: &str,
        texts: impl IntoIterator<Item = (String, &'f Format, f64)>,
    ) -> Written {
        let mut texts = texts.into_iter().peekable();
        if texts.peek().is_none() {
            return Ok(());
        }
        self.part(heading)?;
        for (text, format, height) in texts {
            self.across(&text, format, height)?;
        }
        self.row += 1;
        Ok(())
    }

    /// Writes the cautions that hold for every pump, behind others; `height` of a text.
    pub(super) fn cautions(
        &mut self,
        own: &[(&str, &str)],
        height: impl Fn(&str) -> f64,
    ) -> Written {
        self.part("Cautions")?;
        let prose = &self.styles.prose;
        for &(when, text) in own.iter().chain(&USUAL_CAUTIONS) {
            self.high(height(text))?;
            self.sheet.across(self.row, [1, self.last], text, prose)?;
            self.text(when, prose)?;
        }
        Ok(())
    }

    /// The sheet, with an empty row at its end: one that goes through a file has its last row twice if that has a height
    /// of its own (seen with rust_xlsxwriter 0.102), which spreadsheet programs may refuse.
    pub(super) fn ended(mut self) -> Written<Worksheet> {
        end(&mut self.sheet, self.row)?;
        Ok(self.sheet)
    }

    /// The sheet, printed down to a row and across to a column.
    pub(super) fn printed(mut self, row: u32, column: u16) -> Written<Worksheet> {
        self.sheet.set_print_area(0, 0, row, column)?;
        Ok(self.sheet)
    }
}
