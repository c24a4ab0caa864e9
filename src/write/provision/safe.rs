//! The Safe kits: per pump its pieces, and what to take when it measures so or so.

use rust_xlsxwriter::{Workbook, XlsxError};

use super::super::pages::{Pages, Series};
use super::super::style::{Styles, heads, set_up, title, widths};
use super::super::text::WriteText;
use super::{Provided, height, money};
use crate::words::provision::{self as words, Run};

/// The last column.
const LAST: u16 = 7;
const WIDTHS: [f64; 8] = [24.0, 14.0, 9.0, 20.0, 13.0, 10.0, 12.0, 30.0];
/// The row of the first page, and the height of the title above it, in points.
const FIRST: u32 = 3;
const TITLE: f64 = 60.0;
/// Lines of one pump's table; more are in the JSON.
const MOST_RUNS: usize = 300;
/// The height of a plain row, in points.
const PLAIN: f64 = 16.5;
/// What A4 and Letter both have room for between the margins, in points, at this scale in percent,
/// at which the columns fit across.
const SCALE: u16 = 72;
const ROOM: f64 = 480.0 * 100.0 / 72.0;

pub(super) fn write(
    workbook: &mut Workbook,
    provided: &Provided<'_>,
    date: &str,
    styles: &Styles,
) -> Result<(), XlsxError> {
    let series = Series {
        name: "Safe kits",
        begin: &|sheet, name| {
            set_up(sheet, name, date)?;
            widths(sheet, &WIDTHS)?;
            title(
                sheet,
                "Safe kits: for each pump what meets every value looked at",
                "The tables say what would do; nothing is fitted by them. Measure the pump, run `gapwright kit`, measure the finished pack, recheck.",
                styles,
            )?;
            // Not fitted to the page, since spreadsheet programs pass over page breaks then.
            sheet.set_print_scale(SCALE);
            Ok(FIRST)
        },
        last_column: None,
    };
    let mut kits = Kits { pages: Pages::begin(workbook, &series)?, styles, used: 0.0 };
    kits.turn()?;
    for pump in 0..provided.provision.safe.len() {
        kits.pump(provided, pump)?;
    }
    kits.pages.finish(|_| {})
}

/// Rows written one below the other, with the breaks between pages where they are wanted: a table
/// that runs over has its headings again.
struct Kits<'a> {
    pages: Pages<'a>,
    styles: &'a Styles,
    /// The height of what stands on this page.
    used: f64,
}

impl Kits<'_> {
    /// Whether so much more fits on this page.
    fn fits(&self, more: f64) -> bool {
        self.used + more <= ROOM
    }

    fn turn(&mut self) -> Result<(), XlsxError> {
        self.pages.turn(1)?;
        self.used = if self.pages.row == FIRST { TITLE } else { 0.0 };
        Ok(())
    }

    /// The next row, made so high.
    fn next(&mut self, height: f64) -> Result<u32, XlsxError> {
        let row = self.pages.row;
        self.pages.sheet.set_row_height(row, height)?;
        self.pages.row += 1;
        self.used += height;
        Ok(row)
    }

    fn pump(&mut self, provided: &Provided<'_>, pump: usize) -> Result<(), XlsxError> {
        let job = provided.outlook.job();
        let kit = &provided.provision.safe[pump];
        let runs = words::runs(kit);
        let lines: Vec<Line> =
            runs.iter().take(MOST_RUNS).map(|run| Line::of(provided, pump, run)).collect();
        let lines = if kit.axes.is_empty() { &[][..] } else { &lines };
        let pieces = f64::from(u32::try_from(kit.pieces.len()).unwrap_or(u32::MAX));
        let above = PLAIN * (pieces + 7.0);
        let whole = above + lines.iter().map(|line| line.height).sum::<f64>();
        // A kit that fits on a page is not parted; a longer one has the first lines of its table.
        if !self.fits(whole.min(above + 4.0 * PLAIN)) || (!self.fits(whole) && whole <= ROOM) {
            self.turn()?;
        }
        let proof = match (kit.proven, kit.pieces.is_empty()) {
            (_, true) => "no pieces".into(),
            (true, false) => "proven least".to_string(),
            (false, false) => format!(
                "not proven least: none costs less than {}",
                crate::words::money(kit.bound.raw(), job)
            ),
        };
        let tag = &job.pumps[pump].tag;
        let head = format!(
            "Pump {tag}: {}, {} pieces, {proof}",
            crate::words::money(kit.cost.raw(), job),
            kit.count
        );
        let row = self.next(PLAIN)?;
        self.pages.sheet.merge_text(row, 0, row, LAST, &head, &self.styles.part)?;
        let format = match kit.gaps() {
            0 => &self.styles.plain,
            _ => &self.styles.alarm,
        };
        let model = job.model_of(&job.pumps[pump]);
        let standing = format!("{}. Model {}.", words::standing(kit), model.name);
        let row = self.next(PLAIN)?;
        self.pages.sheet.merge_text(row, 0, row, LAST, &standing, format)?;
        self.pieces(provided, pump)?;
        if !lines.is_empty() {
            self.next(PLAIN)?;
            self.table(provided, pump, lines)?;
        }
        if let Some(more @ 1..) = runs.len().checked_sub(MOST_RUNS) {
            let row = self.next(PLAIN)?;
            let text = format!("and {more} lines more: they stand in the file that --json writes");
            self.pages.sheet.merge_text(row, 0, row, LAST, &text, &self.styles.remark)?;
        }
        self.next(PLAIN)?;
        Ok(())
    }

    fn pieces(&mut self, provided: &Provided<'_>, pump: usize) -> Result<(), XlsxError> {
        let job = provided.outlook.job();
        let names = ["Item", "Kind", "Fit", "Thickness", "is about", "Pieces", "Cost", "Bin"];
        let row = self.next(PLAIN)?;
        heads(&mut self.pages.sheet, row, &names, self.styles)?;
        let money = money(self.styles);
        for one in &provided.provision.safe[pump].pieces {
            let item = &job.stock[one.item];
            let row = self.next(height(&[(&item.item, 22)]))?;
            let (sheet, styles) = (&mut self.pages.sheet, self.styles);
            sheet.write_text(row, 0, &item.item, &styles.strong.clone().set_text_wrap())?;
            sheet.write_text(row, 1, &item.kind, &styles.text)?;
            sheet.write_text(row, 2, item.fit.as_str(), &styles.text)?;
            if let Some(size) = item.size {
                let unit = crate::words::natural_unit(size.thickness);
                let shown = crate::words::thickness(size.thickness, unit);
                let about = crate::words::about(size.thickness.into(), unit.twin());
                sheet.write_text(row, 3, shown, &styles.strong)?;
                sheet.write_text(row, 4, about, &styles.text)?;
            }
            sheet.write_number_with_format(row, 5, one.count, &styles.count)?;
            let cost = (item.unit_cost * one.count).to_f64();
            sheet.write_number_with_format(row, 6, cost, &money)?;
            sheet.write_text(row, 7, item.bin.as_deref().unwrap_or(""), &styles.text)?;
        }
        Ok(())
    }

    /// If it measures so, take that.
    fn table(
        &mut self,
        provided: &Provided<'_>,
        pump: usize,
        lines: &[Line],
    ) -> Result<(), XlsxError> {
        let job = provided.outlook.job();
        let kit = &provided.provision.safe[pump];
        let dimensions = &job.model_of(&job.pumps[pump]).dimensions;
        let label = match &kit.axes[..] {
            [axis] => format!("If it measures: {}", dimensions[axis.dimension].label),
            _ => "If it measures".to_string(),
        };
        self.headings(&label)?;
        for line in lines {
            if !self.fits(line.height) {
                self.turn()?;
                let row = self.next(PLAIN)?;
                let head = format!("Pump {}, continued", job.pumps[pump].tag);
                self.pages.sheet.merge_text(row, 0, row, LAST, &head, &self.styles.part)?;
                self.headings(&label)?;
            }
            let row = self.next(line.height)?;
            let (sheet, styles) = (&mut self.pages.sheet, self.styles);
            let format = if line.gap { &styles.alarm } else { &styles.wrapped };
            sheet.merge_text(row, 0, row, 1, &line.values, &styles.wrapped)?;
            sheet.write_number_with_format(row, 2, line.count, &styles.count)?;
            sheet.merge_text(row, 3, row, LAST, &line.take, format)?;
        }
        Ok(())
    }

    fn headings(&mut self, label: &str) -> Result<(), XlsxError> {
        let row = self.next(height(&[(label, 32)]))?;
        let (sheet, head) = (&mut self.pages.sheet, &self.styles.head);
        sheet.merge_text(row, 0, row, 1, label, head)?;
        sheet.write_text(row, 2, "Values", head)?;
        let take = "Take, place by place (with its total)";
        sheet.merge_text(row, 3, row, LAST, take, head)?;
        Ok(())
    }
}

/// A line of a pump's table.
struct Line {
    values: String,
    count: u32,
    take: String,
    gap: bool,
    height: f64,
}

impl Line {
    fn of(provided: &Provided<'_>, pump: usize, run: &Run<'_>) -> Line {
        let job = provided.outlook.job();
        let kit = &provided.provision.safe[pump];
        let values = words::values(job, pump, kit, run);
        let take = match run.take {
            Some(packs) => words::take(job, pump, packs),
            None => format!("{}: nothing in the drawers will do", words::GAP),
        };
        Line {
            height: height(&[(&values, 36), (&take, 80)]),
            values,
            count: u32::try_from(run.values).unwrap_or(u32::MAX),
            take,
            gap: run.take.is_none(),
        }
    }
}
