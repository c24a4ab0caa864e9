//! The Kits sheet: a slip per pump, one printed page each, in the order in which they are due.

mod diagram;

use rust_xlsxwriter::{Format, Workbook, Worksheet};

use super::drawings::Drawings;
use super::page::{Page, Written};
use super::pages::{Pages, Series};
use super::style::{self, Styles, WARN};
use super::table::{Cells, over};
use super::text::WriteText;

use crate::accounting::inputs::inputs;
use crate::formats::slip::{self, SlipRow};
use crate::paper::slip::{
    ASSEMBLE, AskedReading, BagNeed, CAUTION, CHECK, CONSUMABLES, CompleteKit, DONE, EMPTY_PLACE,
    FilledPlace, KitSlip, MEASURED, NO_PIECES, PICK, PIECES, PlacedPiece, REQUIREMENT, RUN,
    RequirementCheck, SIGNED, STAYS_OPEN, STOP, ShortWords, SlipBody, Slips, both_readings,
};
use crate::plan::Kit;
use crate::verify::Verified;
use crate::words;

const LAST: u16 = 7;
const WIDTHS: [f64; 8] = [24.0, 19.0, 7.0, 15.0, 11.5, 13.0, 11.0, 11.0];
/// Characters of prose on a line across the slip, and across the columns before the readings.
const ACROSS: usize = 124;
const BEFORE_READINGS: usize = 84;

/// The sheets, through a workbook or in memory.
pub(super) fn sheets(
    workbook: Option<&mut Workbook>,
    verified: &Verified,
    drawings: &Drawings<'_>,
    styles: &Styles,
) -> Written<Vec<Worksheet>> {
    let (job, plan) = (verified.job(), verified.plan());
    let series = Series { name: "Kits", begin: &|page, _| begin(page), last_column: Some(LAST) };
    let mut pages = Pages::begin(workbook, &series, styles)?;
    let slips = Slips { verified, place: styles.place.as_ref() };
    let (print, rest): (Vec<_>, Vec<_>) = (slips.numbered().into_iter())
        .partition(|&(_, index)| styles.prints(&job.pumps[index].tag));
    if print.is_empty() && !rest.is_empty() {
        pages
            .page
            .text("No slip has changed: those of the plan before still count.", &styles.plain)?;
    }
    let mut tallest = 0.0_f64;
    for (at, (number, index)) in print.iter().chain(&rest).copied().enumerate() {
        if at == print.len() {
            pages.end_print();
        }
        pages.turn(1)?;
        let contents = slips.slip(number, index);
        let (drawing, top) = (drawings.shown(contents.pump.model), pages.page.row);
        let mut slip = Slip { page: &mut pages.page, slip: &contents, drawing, extra: 0.0 };
        slip.head()?;
        match &contents.body {
            SlipBody::Complete(kit) => {
                let inputs = match &plan.kits[index] {
                    Kit::Served(packs) => inputs(job, contents.pump, packs),
                    Kit::Short(_) => Default::default(),
                };
                slip.complete(kit, &slip::inputs_text(&inputs))?;
            }
            SlipBody::Short { reasons, cautions } => slip.short(reasons, cautions)?,
        }
        tallest = tallest.max(f64::from(slip.page.row - top) * PLAIN + slip.extra);
        pages.page.row += 1;
    }
    pages.finish(|sheet| {
        sheet.set_print_scale(scale(tallest));
    })
}

fn begin(page: &mut Page<'_>) -> Written {
    page.widths(&WIDTHS)?;
    // A slip is long and narrow.
    let sheet = page.sheet.set_portrait().set_margins(0.4, 0.4, 0.6, 0.6, 0.25, 0.25);
    sheet.set_print_center_horizontally(true);
    for column in slip::KEYS.into_iter().chain(slip::PIECE) {
        sheet.set_column_hidden(column)?;
    }
    Ok(())
}

/// The height of a plain row, in points.
const PLAIN: f64 = 15.0;
/// The room that A4 and Letter both have between the margins, in points.
const PAGE: [f64; 2] = [536.0, 700.0];

/// The scale, in per cent, at which the columns fit across a page and the tallest slip down it: a
/// slip that is cut in two gets lost at the bench.
fn scale(tallest: f64) -> u16 {
    // A pixel is three quarters of a point. A character is seven pixels, but more where another
    // font stands in for the usual one; a column has five more.
    let wide: f64 = WIDTHS.iter().map(|chars| (chars * 9.5 + 5.0) * 0.75).sum();
    let fits = (PAGE[0] / wide).min(PAGE[1] / tallest.max(1.0));
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
    let percent = (fits * 100.0).floor().clamp(40.0, 100.0) as u16;
    percent
}

/// A row that keeps a drawing clear of what stands above it, in points.
const GAP: f64 = 4.0;

/// How many lines a text takes, so many characters on each.
fn lines(text: &str, width: usize) -> f64 {
    style::lines(&[(text, width)], [1, usize::MAX])
}

struct Slip<'a, 's> {
    page: &'a mut Page<'s>,
    slip: &'a KitSlip<'a>,
    drawing: Option<&'a [u8]>,
    /// How much taller its rows are than plain ones, in points.
    extra: f64,
}

impl Slip<'_, '_> {
    /// Sets the height of the present row.
    fn tall(&mut self, height: f64) -> Written {
        self.extra += height - PLAIN;
        self.page.high(height)
    }

    fn across(&mut self, text: &str, format: &Format, height: f64) -> Written {
        self.extra += height - PLAIN;
        self.page.across(text, format, height)
    }

    /// A text over all columns, as high as its lines of so many points.
    fn prose(&mut self, text: &str, format: &Format, line: f64) -> Written {
        self.across(text, format, line * lines(text, ACROSS))
    }

    fn head(&mut self) -> Written {
        let styles = self.page.styles;
        let slip = self.slip;
        self.across(&slip.title(), &styles.title.clone().set_shrink(), 26.0)?;
        self.across(&slip.model.title, &styles.lead, 16.0)?;
        if let Some(advice) = &slip.bag {
            self.prose(advice, &styles.bold, 18.0)?;
        }
        if let Some(again) = &slip.again {
            let alarm = styles.bold.clone().set_font_color(WARN);
            self.prose(&format!("{again}."), &alarm, 18.0)?;
        }
        self.prose(&slip.facts, &styles.prose, 16.0)
    }

    fn short(&mut self, reasons: &[ShortWords], cautions: &[String]) -> Written {
        let styles = self.page.styles;
        self.across(words::NOT_FIT, &styles.title.clone().set_font_color(WARN), 28.0)?;
        for line in reasons.iter().flat_map(ShortWords::lines) {
            self.prose(&line, &styles.prose, 17.0)?;
        }
        self.across(NO_PIECES, &styles.bold, 17.0 * lines(NO_PIECES, 100))?;
        self.page.row += 1;
        self.cautions(STAYS_OPEN, cautions)
    }

    fn complete(&mut self, kit: &CompleteKit, inputs: &str) -> Written {
        let styles = self.page.styles;
        self.step(PICK)?;
        self.page.heads(&PIECES)?;
        for place in &kit.places {
            self.place(place)?;
        }
        self.consumables(&kit.needs)?;
        self.assemble(kit)?;
        self.step(CHECK)?;
        self.caution_rows(&kit.checking)?;
        self.page.heads(&REQUIREMENT)?;
        for check in &kit.checks {
            self.requirement(check)?;
            if let Some(asked) = &check.asked {
                self.recheck(&check.name, asked)?;
            }
        }
        if let Some(text) = kit.no_blades {
            self.prose(text, &styles.remark, 14.0)?;
        }
        if let Some(growths) = &kit.growths {
            self.prose(growths, &styles.wrapped, 16.0)?;
        }
        self.sign()?;
        self.page.behind(slip::INPUTS, [styles.plain.of(inputs)])?;
        self.cautions(RUN, &kit.running)?;
        self.prose(&kit.sources, &styles.remark.clone().set_text_wrap(), 13.0)
    }

    /// The pieces of a place, and the reading that they should make.
    fn place(&mut self, place: &FilledPlace) -> Written {
        let styles = self.page.styles;
        let strong = styles.strong.clone().set_shrink();
        if place.pieces.is_empty() {
            self.page.line([strong.of(&place.label), over(LAST, styles.text.of(EMPTY_PLACE))])?;
        }
        for piece in &place.pieces {
            let [thickness, about] = match &piece.thickness {
                Some([thickness, about, _]) => [thickness, about].map(|text| styles.text.of(text)),
                None => [None, None],
            };
            let cells = [
                strong.of(&place.label),
                styles.shrunk.of(&piece.item),
                styles.count.of(piece.count),
                thickness,
                about,
                styles.shrunk.of(&piece.bin),
                styles.entry.of("☐"),
                styles.entry.of("☐"),
            ];
            self.page.line(cells)?;
            self.piece(place, piece)?;
            if let Some(work) = &piece.work {
                self.tall(PLAIN * lines(work, 64))?;
                let [done, tick] = [styles.text.of(DONE), styles.entry.of("☐")];
                self.page.line([None, over(5, styles.bold.of(work)), done, tick])?;
            }
        }
        for text in &place.warnings {
            self.across(text, &styles.alarms, 16.0 * lines(text, 108))?;
        }
        match &place.reading {
            Some(reading) => {
                self.asked(SlipRow::Pack, &place.name, &reading.to_string())?;
                place.stop().map_or(Ok(()), |stop| self.stopped(stop))
            }
            None => Ok(()),
        }
    }

    /// A requirement: its limits, and what is predicted of it.
    fn requirement(&mut self, check: &RequirementCheck) -> Written {
        let styles = self.page.styles;
        self.tall(PLAIN * lines(&check.label, 24))?;
        self.page.line([
            styles.bold.of(&check.label),
            over(2, styles.text.of(&check.target)),
            over(2, styles.text.of(&check.limits)),
            over(3, styles.text.of(&check.predicted)),
        ])?;
        if let Some(text) = &check.nominal_only {
            self.across(text, &styles.alarms, 16.0)?;
        }
        if let Some(text) = check.in_service {
            self.across(text, &styles.wrapped, 16.0)?;
        }
        Ok(())
    }

    /// The range of a reading at the bench, and the blades that show it.
    fn recheck(&mut self, name: &str, asked: &AskedReading) -> Written {
        let styles = self.page.styles;
        self.asked(SlipRow::Requirement, name, &asked.range.to_string())?;
        self.stopped(asked.stop())?;
        if let Some(text) = asked.unknown_growth {
            self.across(text, &styles.alarms, 16.0)?;
        }
        for text in asked.any_growth.iter().chain(&asked.blades) {
            self.prose(text, &styles.wrapped, 16.0)?;
        }
        Ok(())
    }

    /// A line that asks for a reading.
    fn asked(&mut self, row: SlipRow, name: &str, text: &str) -> Written {
        let label = both_readings(self.slip.model.unit);
        self.tall(16.0 * lines(text, BEFORE_READINGS).max(2.0))?;
        // The readings are in the columns `slip::READING` and `slip::AGAIN`.
        let Styles { wrapped, entry, .. } = self.page.styles;
        let label = wrapped.of(label);
        self.page.line([over(5, wrapped.of(text)), label, entry.blank(), entry.blank()])?;
        self.key(row, name)
    }

    fn stopped(&mut self, so: &str) -> Written {
        let styles = self.page.styles;
        self.across(&format!("{STOP} {so}"), &styles.bold, 16.0)
    }

    /// Says in the hidden columns what the last row holds.
    fn key(&mut self, row: SlipRow, name: &str) -> Written {
        let words = [row.word(), &self.slip.pump.tag, name];
        let plain = &self.page.styles.plain;
        self.page.behind(slip::KEYS[0], words.map(|word| plain.of(word)))
    }

    /// Says which pieces stand on the last row.
    fn piece(&mut self, place: &FilledPlace, piece: &PlacedPiece) -> Written {
        self.key(SlipRow::Piece, &place.name)?;
        let [number, count, thickness] = slip::PIECE;
        let page = &mut *self.page;
        let row = page.row - 1;
        page.sheet.write_text(row, number, &piece.item, &page.styles.plain)?;
        page.sheet.write_number(row, count, piece.count)?;
        if let Some([_, _, fitted]) = &piece.thickness {
            page.sheet.write_text(row, thickness, fitted, &page.styles.plain)?;
        }
        Ok(())
    }

    /// Consumables that go into the bag beside the stacked pieces, and what of them lacks.
    fn consumables(&mut self, needs: &[BagNeed]) -> Written {
        if needs.is_empty() {
            return Ok(());
        }
        let styles = self.page.styles;
        self.page.heads(&CONSUMABLES)?;
        for need in needs {
            for piece in &need.pieces {
                let cells = [
                    styles.strong.of(&need.kind),
                    styles.shrunk.of(&piece.item),
                    styles.count.of(piece.count),
                    styles.shrunk.of(&piece.fit),
                    styles.shrunk.of(&piece.ring_length),
                    styles.shrunk.of(&piece.bin),
                    styles.entry.of("☐"),
                    styles.entry.of("☐"),
                ];
                self.page.line(cells)?;
            }
            if let Some(text) = &need.missing {
                self.across(text, &styles.alarms, 16.0 * lines(text, 100))?;
            }
        }
        Ok(())
    }

    /// The heading of a step.
    fn step(&mut self, text: &str) -> Written {
        let styles = self.page.styles;
        self.across(text, &styles.part, 19.0)
    }

    /// A step that is all cautions.
    fn cautions(&mut self, step: &str, cautions: &[String]) -> Written {
        self.step(step)?;
        self.caution_rows(cautions)
    }

    /// Cautions, two beside each other where they are short.
    fn caution_rows(&mut self, cautions: &[String]) -> Written {
        const HALF: usize = 58;
        let styles = self.page.styles;
        let mut rest = cautions.iter().peekable();
        while let Some(text) = rest.next() {
            let marked = |text: &str| format!("{CAUTION} {text}");
            let short = |text: &str| text.chars().count() + 2 <= HALF;
            let beside = rest.next_if(|next| short(next) && short(&marked(text)));
            match beside {
                None => self.prose(&marked(text), &styles.prose, 15.0)?,
                Some(beside) => {
                    let [text, beside] = [text, beside].map(|text| styles.prose.of(marked(text)));
                    self.page.line([over(3, text), over(LAST - 2, beside)])?;
                }
            }
        }
        Ok(())
    }

    /// Cautions, what was measured, the drawing with both on it.
    fn assemble(&mut self, kit: &CompleteKit) -> Written {
        self.cautions(ASSEMBLE, &kit.before)?;
        self.measured()?;
        let drawn = match self.drawing {
            Some(image) => diagram::draw(self, image, &kit.figures)?,
            None => 0.0,
        };
        // A row without a height of its own would be as tall as the program that shows it likes, and the
        // room for the drawing with it.
        let mut height = 0.0;
        while height < drawn {
            self.tall(PLAIN)?;
            self.page.row += 1;
            height += PLAIN;
        }
        Ok(())
    }

    /// The readings of the pump, two to a row.
    fn measured(&mut self) -> Written {
        let styles = self.page.styles;
        self.page.heads(&[MEASURED])?;
        for pair in self.slip.measured.chunks(2) {
            let tallest = pair.iter().map(|[label, _]| lines(label, 27));
            self.tall(PLAIN * tallest.fold(1.0, f64::max))?;
            // The columns of a name, then of its value.
            let cells =
                pair.iter().zip([[1, 2], [2, 3]]).flat_map(|([label, value], [own, its])| {
                    [over(own, styles.wrapped.of(label)), over(its, styles.shrunk.of(value))]
                });
            self.page.line(cells)?;
        }
        self.tall(GAP)?;
        self.page.row += 1;
        Ok(())
    }

    /// Where fitter and checker sign.
    fn sign(&mut self) -> Written {
        let styles = self.page.styles;
        let [fitter, checked] = SIGNED.map(|label| styles.text.of(label));
        let name = |columns| over(columns, styles.entry.of(""));
        self.tall(22.0)?;
        self.page.line([fitter, name(2), checked, name(4)])?;
        self.key(SlipRow::Signed, "")
    }
}
