//! The Safe kits: per pump its pieces, and what to take when it measures so or so.

use rust_xlsxwriter::{Format, Workbook};

use super::super::page::{Page, Written};
use super::super::pages::{Pages, Series, put};
use super::super::style::Styles;
use super::super::table::{Cell, Cells, OTHER_UNIT, over};
use super::{Provided, height};
use crate::words::provision::{self as words, Run};
use crate::words::{about, money as money_of, natural_unit, thickness};

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
/// The room that A4 and Letter both have between the margins, in points, at this scale in percent,
/// at which the columns fit across.
const SCALE: u16 = 72;
const ROOM: f64 = 480.0 * 100.0 / 72.0;

pub(super) fn add(workbook: &mut Workbook, provided: &Provided<'_>, styles: &Styles) -> Written {
    let begin = |page: &mut Page<'_>, _: &str| {
        page.widths(&WIDTHS)?;
        // Not fitted to the page, since spreadsheet programs pass over page breaks then.
        page.sheet.set_print_scale(SCALE);
        let title = "Safe kits: for each pump, pieces that meet every value examined";
        page.title(title, "Do not fit pieces by these tables: measure the pump, run `gapwright kit`, measure the finished pack, recheck.")
    };
    let series = Series { name: "Safe kits", begin: &begin, last_column: None };
    let mut kits = Kits { pages: Pages::begin(Some(&mut *workbook), &series, styles)?, used: 0.0 };
    kits.turn()?;
    for pump in 0..provided.provision.safe.len() {
        kits.pump(provided, pump)?;
    }
    let sheets = kits.pages.finish(|_| {})?;
    put(workbook, sheets);
    Ok(())
}

/// Rows written one below the other, with the breaks between pages where they are wanted: a table
/// that runs over has its headings again.
struct Kits<'a> {
    pages: Pages<'a>,
    /// The height of what stands on this page.
    used: f64,
}

impl Kits<'_> {
    /// Whether so much more fits on this page.
    fn fits(&self, more: f64) -> bool {
        self.used + more <= ROOM
    }

    fn turn(&mut self) -> Written {
        self.pages.turn(1)?;
        self.used = if self.pages.page.row == FIRST { TITLE } else { 0.0 };
        Ok(())
    }

    /// Writes a row of cells, so high.
    fn line<'c>(&mut self, height: f64, cells: impl IntoIterator<Item = Cell<'c>>) -> Written {
        self.used += height;
        self.pages.page.high(height)?;
        self.pages.page.line(cells)
    }

    /// Writes a text over all columns.
    fn across(&mut self, text: String, format: &Format) -> Written {
        self.line(PLAIN, [over(LAST + 1, format.of(text))])
    }

    fn pump(&mut self, provided: &Provided<'_>, pump: usize) -> Written {
        let job = provided.outlook.job();
        let kit = &provided.provision.safe[pump];
        let runs = words::runs(kit);
        let lines: Vec<Piece> =
            runs.iter().take(MOST_RUNS).map(|run| Piece::of(provided, pump, run)).collect();
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
            (false, false) => {
                format!("not proven least: none costs less than {}", money_of(kit.bound.raw(), job))
            }
        };
        let tag = &job.pumps[pump].tag;
        let head =
            format!("Pump {tag}: {}, {} pieces, {proof}", money_of(kit.cost.raw(), job), kit.count);
        let Styles { part, plain, alarm, remark, .. } = self.pages.page.styles;
        self.across(head, part)?;
        let model = job.model_of(&job.pumps[pump]);
        let standing = format!("{}. Model {}.", words::standing(kit), model.name);
        self.across(standing, if kit.gaps() == 0 { plain } else { alarm })?;
        self.pieces(provided, pump)?;
        if !lines.is_empty() {
            self.line(PLAIN, [])?;
            self.table(provided, pump, lines)?;
        }
        if let Some(more @ 1..) = runs.len().checked_sub(MOST_RUNS) {
            let text = format!("and {more} more lines: see the file that --json writes");
            self.across(text, remark)?;
        }
        self.line(PLAIN, [])
    }

    fn pieces(&mut self, provided: &Provided<'_>, pump: usize) -> Written {
        let Styles { text, bold, strong, count, money, head, .. } = self.pages.page.styles;
        let names = ["Item", "Kind", "Fit", "Thickness", OTHER_UNIT, "Pieces", "Cost", "Bin"];
        self.line(PLAIN, names.map(|name| head.of(name)))?;
        for one in &provided.provision.safe[pump].pieces {
            let item = &provided.outlook.job().stock[one.item];
            let size = item.size.map(|size| {
                let unit = natural_unit(size.thickness);
                let about = about(size.thickness.into(), unit.other());
                [strong.of(thickness(size.thickness, unit)), text.of(about)]
            });
            let [thickness, about] = size.unwrap_or([None, None]);
            let cells = [
                bold.of(&item.item),
                text.of(&item.kind),
                text.of(item.fit.as_str()),
                thickness,
                about,
                count.of(one.count),
                money.of((item.unit_cost * one.count).to_f64()),
                text.of(item.bin.as_deref().unwrap_or("")),
            ];
            self.line(height(&[(&item.item, 22)]), cells)?;
        }
        Ok(())
    }

    /// If it measures so, take that.
    fn table(&mut self, provided: &Provided<'_>, pump: usize, lines: &[Piece]) -> Written {
        let job = provided.outlook.job();
        let kit = &provided.provision.safe[pump];
        let dimensions = &job.model_of(&job.pumps[pump]).dimensions;
        let label = match &kit.axes[..] {
            [axis] => format!("If it measures: {}", dimensions[axis.dimension].label),
            _ => "If it measures".to_string(),
        };
        let Styles { part, wrapped, count, alarm, .. } = self.pages.page.styles;
        self.headings(&label)?;
        for line in lines {
            if !self.fits(line.height) {
                self.turn()?;
                let head = format!("Pump {}, continued", job.pumps[pump].tag);
                self.across(head, part)?;
                self.headings(&label)?;
            }
            let format = if line.gap { alarm } else { wrapped };
            let cells = [
                over(2, wrapped.of(&line.values)),
                count.of(line.count),
                over(LAST - 2, format.of(&line.take)),
            ];
            self.line(line.height, cells)?;
        }
        Ok(())
    }

    fn headings(&mut self, label: &str) -> Written {
        let head = &self.pages.page.styles.head;
        let take = head.of("Pieces for each place (total)");
        let cells = [over(2, head.of(label)), head.of("Values"), over(LAST - 2, take)];
        self.line(height(&[(label, 32)]), cells)
    }
}

/// A line of a pump's table.
struct Piece {
    values: String,
    count: usize,
    take: String,
    gap: bool,
    height: f64,
}

impl Piece {
    fn of(provided: &Provided<'_>, pump: usize, run: &Run<'_>) -> Piece {
        let job = provided.outlook.job();
        let kit = &provided.provision.safe[pump];
        let values = words::values(job, pump, kit, run);
        let take = match run.take {
            Some(packs) => words::take(job, pump, packs),
            None => format!("{}: no pieces in stock fit", words::GAP),
        };
        Piece {
            height: height(&[(&values, 36), (&take, 80)]),
            values,
            count: run.values,
            take,
            gap: run.take.is_none(),
        }
    }
}
