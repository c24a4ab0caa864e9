//! Pages one below the other, on as many numbered sheets as they take: `Kits`, `Kits 2`, `Kits 3` ...
//!
//! The one place that knows what a sheet holds. A writer says where a page begins and gets the sheet and the
//! row; everything that a page refers to on its own sheet is kept on that sheet with it.

use rust_xlsxwriter::{Workbook, Worksheet};

use super::page::{Page, Written, end, lean};
use super::style::{Styles, set_up};
use crate::sheet::numbered;

/// The page breaks of a sheet: more are refused by spreadsheet programs (1,023, as rust_xlsxwriter has it).
const MOST_BREAKS: usize = 1_023;
/// No page begins below this row. LibreOffice holds the place of a picture in 32 bits of EMU, 59.65 m, and drops
/// what lies lower: at the 18 points of a row of slips that is row 9,359 (seen with 1,024 slips on a sheet).
const LAST_START: u32 = 7_000;

/// A kind of sheet: how each of its numbered sheets begins and ends.
pub(super) struct Series<'a> {
    /// The name of the first.
    pub(super) name: &'static str,
    /// Writes what stands above the first page of a sheet, given the sheet's name.
    pub(super) begin: &'a dyn Fn(&mut Page<'_>, &str) -> Written,
    /// The last printed column, where the print area does not follow from the cells.
    pub(super) last_column: Option<u16>,
}

/// The pages of a series while they are written.
pub(super) struct Pages<'a> {
    /// The workbook that further sheets go through; none where they stay in memory.
    workbook: Option<&'a mut Workbook>,
    series: &'a Series<'a>,
    done: Vec<Worksheet>,
    /// The sheet at hand. Cells are written row by row: those of a row that is left are out of reach.
    pub(super) page: Page<'a>,
    breaks: Vec<u32>,
    is_empty: bool,
    /// Where print ends on the sheet at hand, and whether it ended before.
    print_ends: (Option<u32>, bool),
}

impl<'a> Pages<'a> {
    /// The first sheet, without a page.
    pub(super) fn begin(
        workbook: Option<&'a mut Workbook>,
        series: &'a Series<'a>,
        styles: &'a Styles,
    ) -> Written<Pages<'a>> {
        let mut page = Page::new(series.name, styles)?;
        (series.begin)(&mut page, series.name)?;
        Ok(Pages {
            workbook,
            series,
            done: Vec::new(),
            page,
            breaks: Vec::new(),
            is_empty: true,
            print_ends: (None, false),
        })
    }

    /// The name of the sheet at hand, as formulas and charts refer to it.
    pub(super) fn name(&self) -> String {
        numbered(self.series.name, self.done.len() + 1)
    }

    /// Begins a page at the next free row, or on the next sheet if this one has no room for so many pages that
    /// belong together.
    pub(super) fn turn(&mut self, together: usize) -> Written {
        if self.is_empty {
            self.is_empty = false;
        } else if self.breaks.len() + together <= MOST_BREAKS && self.page.row < LAST_START {
            self.breaks.push(self.page.row);
        } else {
            self.next_sheet()?;
            self.is_empty = false;
        }
        Ok(())
    }

    /// Begins a further one of the pages that belong together, at a row that may be written already.
    pub(super) fn go_on(&mut self, row: u32) {
        self.breaks.push(row);
    }

    /// Ends the print here: later pages stay in the workbook, to be read back, and are not printed.
    pub(super) fn end_print(&mut self) {
        if !self.print_ends.1 {
            self.print_ends = (Some(self.page.row.saturating_sub(1)), true);
        }
    }

    fn next_sheet(&mut self) -> Written {
        let next = self.workbook.as_deref_mut().map_or_else(Worksheet::new, lean);
        let sheet = std::mem::replace(&mut self.page.sheet, next);
        self.close(sheet)?;
        let name = self.name();
        self.page.row = 0;
        set_up(&mut self.page.sheet, &name, self.page.styles)?;
        (self.series.begin)(&mut self.page, &name)
    }

    fn close(&mut self, mut sheet: Worksheet) -> Written {
        end(&mut sheet, self.page.row)?;
        sheet.set_page_breaks(&std::mem::take(&mut self.breaks))?;
        let ends = match self.print_ends {
            (Some(row), _) => row,
            (None, false) => self.page.row,
            // All of it comes after the end.
            (None, true) => {
                sheet.set_hidden(true);
                self.page.row
            }
        };
        self.print_ends.0 = None;
        if let Some(last) = self.series.last_column {
            sheet.set_print_area(0, 0, ends, last)?;
        }
        self.done.push(sheet);
        Ok(())
    }

    /// Ends the last page; all sheets, each after a last touch.
    pub(super) fn finish(mut self, touch: impl Fn(&mut Worksheet)) -> Written<Vec<Worksheet>> {
        let sheet = std::mem::take(&mut self.page.sheet);
        self.close(sheet)?;
        self.done.iter_mut().for_each(touch);
        Ok(self.done)
    }
}

/// Puts sheets into a workbook.
pub(super) fn put(workbook: &mut Workbook, sheets: Vec<Worksheet>) {
    for sheet in sheets {
        workbook.push_worksheet(sheet);
    }
}
