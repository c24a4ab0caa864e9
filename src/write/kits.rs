//! The Kits sheet: a slip per pump, one printed page each, in the order in which they are due.

mod diagram;
mod window;

use itertools::Itertools;
use rust_xlsxwriter::{Format, Workbook, Worksheet};

use super::drawings::Drawings;
use super::page::{Page, Written};
use super::pages::{Pages, Series};
use super::style::{self, Styles, WARN};
use super::table::{Cells, OTHER_UNIT, over};
use super::text::WriteText;
use window::{Window, cold_window, inwards};

use crate::accounting::inputs::inputs;
use crate::accounting::{pack_total, source, stack, verdicts};
use crate::consumables::Bag;
use crate::crush::{Crush, crushes};
use crate::feeler::{self, Clearance};
use crate::formats::slip::{self, SlipRow};
use crate::job::Job;
use crate::length::{Length, Unit};
use crate::model::{Form, Model, Requirement, USUAL_CAUTIONS};
use crate::plan::{Kit, PackPick, Pick, Shortfall};
use crate::pump::Pump;
use crate::recheck::{accepted, is_asked, shared};
use crate::stack::{Guard, Verdict, judge};
use crate::verify::Verified;
use crate::words;

const LAST: u16 = 7;
const WIDTHS: [f64; 8] = [24.0, 19.0, 7.0, 15.0, 11.5, 13.0, 11.0, 11.0];
/// Characters of prose on a line across the slip, and across the columns before the readings.
const ACROSS: usize = 124;
const BEFORE_READINGS: usize = 84;
/// Characters of notes and carried columns that a slip has room for.
const MOST_FACTS: usize = 900;

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
    let order = super::order::of_kits(job);
    let numbered = order.iter().copied().enumerate();
    let (print, rest): (Vec<_>, Vec<_>) =
        numbered.partition(|&(_, index)| styles.prints(&job.pumps[index].tag));
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
        let (pump, bag) = (&job.pumps[index], &verified.bags()[index]);
        let (drawing, top) = (drawings.shown(pump.model), pages.page.row);
        let mut slip = Slip { page: &mut pages.page, job, pump, bag, drawing, extra: 0.0 };
        slip.head(number + 1, order.len())?;
        match &plan.kits[index] {
            Kit::Served(packs) => slip.complete(packs)?,
            Kit::Short(shorts) => slip.short(shorts)?,
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
    job: &'a Job,
    pump: &'a Pump,
    bag: &'a Bag,
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

    fn model(&self) -> &Model {
        self.job.model_of(self.pump)
    }

    fn across(&mut self, text: &str, format: &Format, height: f64) -> Written {
        self.extra += height - PLAIN;
        self.page.across(text, format, height)
    }

    /// A text over all columns, as high as its lines of so many points.
    fn prose(&mut self, text: &str, format: &Format, line: f64) -> Written {
        self.across(text, format, line * lines(text, ACROSS))
    }

    fn head(&mut self, number: usize, of: usize) -> Written {
        let styles = self.page.styles;
        let kit = styles.kit(&self.pump.tag, number, of);
        let title = format!("{kit}: pump {}", self.pump.tag);
        self.across(&title, &styles.title.clone().set_shrink(), 26.0)?;
        let title = self.model().title.clone();
        self.across(&title, &styles.lead, 16.0)?;
        if let Some(advice) = styles.bag(&self.pump.tag) {
            self.prose(advice, &styles.bold, 18.0)?;
        }
        if let Some(again) = words::measure_again(self.model(), self.pump) {
            let alarm = styles.bold.clone().set_font_color(WARN);
            self.prose(&format!("{again}."), &alarm, 18.0)?;
        }
        let mut facts = vec![format!("Priority {}", self.pump.priority)];
        if let Some(due) = &self.pump.due {
            facts.push(format!("due {}", due.shown));
        }
        facts.extend(self.pump.location.clone());
        facts.extend(self.pump.note.clone());
        let carried = self.pump.carried.iter().filter(|(_, text)| !text.is_empty());
        facts.extend(carried.map(|(heading, text)| format!("{heading}: {text}")));
        let mut facts = facts.join("  |  ");
        if facts.chars().count() > MOST_FACTS {
            facts = facts.chars().take(MOST_FACTS).collect();
            facts.push_str(" ... (the rest is in the pump workbook)");
        }
        self.prose(&facts, &styles.prose, 16.0)
    }

    fn short(&mut self, shorts: &[Shortfall]) -> Written {
        let styles = self.page.styles;
        self.across(words::NOT_FIT, &styles.title.clone().set_font_color(WARN), 28.0)?;
        for short in shorts {
            let place = words::place(self.job, self.pump, short);
            let reason = words::reason(self.job, self.pump, short);
            let text = format!("{place}: {reason}.");
            self.prose(&text, &styles.prose, 17.0)?;
            if let Some(window) = words::window(self.job, self.pump, short) {
                let presumed = words::presumed(self.job, self.pump, short).unwrap_or_default();
                let text = format!("Totals that fit: {window}. Allows for {presumed}.");
                self.prose(&text, &styles.prose, 17.0)?;
            }
            if let Some(nearest) = words::nearest(self.job, self.pump, short) {
                let text = format!("Nearest total that can be made: {nearest}.");
                self.prose(&text, &styles.prose, 17.0)?;
            }
        }
        let text = "No pieces are issued for this pump. Do not assemble it with pieces picked by eye: a requirement would not be met.";
        self.across(text, &styles.bold, 17.0 * lines(text, 100))?;
        self.page.row += 1;
        self.cautions("Before it is opened, and while it stays open", &["before", "always"])
    }

    fn complete(&mut self, packs: &[PackPick]) -> Written {
        let styles = self.page.styles;
        self.step("1  Pick and measure (in order of fitting, thickest first)")?;
        self.page.heads(&[
            "Place",
            "Item",
            "Pieces",
            "Thickness each",
            OTHER_UNIT,
            "Bin",
            "In the bag",
            "Fitted",
        ])?;
        for place in 0..packs.len() {
            self.place(place, packs)?;
        }
        self.consumables()?;
        self.assemble(packs)?;
        self.step("3  Check the clearance before closing up")?;
        self.caution_rows(&["recheck"])?;
        self.page.heads(&["Requirement", "Target", "", "Limits", "", "Predicted", "", ""])?;
        let verdicts = verdicts(self.job, self.pump, packs);
        for (index, verdict) in verdicts.iter().enumerate() {
            self.requirement(index, verdict, packs)?;
            self.recheck(index, packs)?;
        }
        if self.job.feelers.is_empty() {
            let text = "Feeler blades: none are entered on the sheet Feelers of the stock workbook; with the shop's set there, GO and NO-GO blades are printed here.";
            self.prose(text, &styles.remark, 14.0)?;
        }
        if let Some(growths) = words::growths(self.model(), self.pump) {
            self.prose(&growths, &styles.wrapped, 16.0)?;
        }
        self.sign()?;
        let inputs = slip::inputs_text(&inputs(self.job, self.pump, packs));
        self.page.behind(slip::INPUTS, [styles.plain.of(inputs)])?;
        self.cautions("4  Before it runs, and always", &["start", "", "always"])?;
        let parts = stack(self.job, self.pump, packs).contributors;
        let sources = parts.iter().map(|part| source(self.job, self.pump, part)).unique();
        let text = format!("Tolerances from: {}.", sources.format("; "));
        self.prose(&text, &styles.remark.clone().set_text_wrap(), 13.0)
    }

    /// The pieces of a place, and the reading that they should make.
    fn place(&mut self, place: usize, packs: &[PackPick]) -> Written {
        let (styles, pack) = (self.page.styles, &packs[place]);
        let strong = styles.strong.clone().set_shrink();
        let label = self.model().packs[place].label.clone();
        if pack.picks.is_empty() {
            let text = "no piece: the place stays empty";
            self.page.line([strong.of(&label), over(LAST, styles.text.of(text))])?;
        }
        for pick in &pack.picks {
            let item = &self.job.stock[pick.item];
            // What the pack counts with: the thickness once layers are peeled off.
            let fitted = item.peeled(pick.peeled);
            let fitted = fitted.map(|fitted| (fitted, words::natural_unit(fitted)));
            let about = |(fitted, own): (Length, Unit)| words::about(fitted.into(), own.other());
            let cells = [
                strong.of(&label),
                styles.shrunk.of(&item.item),
                styles.count.of(pick.count),
                fitted.and_then(|(fitted, own)| styles.text.of(words::thickness(fitted, own))),
                fitted.and_then(|fitted| styles.text.of(about(fitted))),
                styles.shrunk.of(item.bin.as_deref().unwrap_or("")),
                styles.entry.of("☐"),
                styles.entry.of("☐"),
            ];
            self.page.line(cells)?;
            self.piece(place, pick)?;
            if let Some(work) = words::handwork(self.job, pick) {
                self.tall(PLAIN * lines(&work, 64))?;
                let [done, tick] = [styles.text.of("Done:"), styles.entry.of("☐")];
                self.page.line([None, over(5, styles.bold.of(work)), done, tick])?;
            }
        }
        let crushed = self.crushed(place, packs)?;
        if pack.picks.is_empty() {
            return Ok(());
        }
        let unit = self.model().unit;
        let reading =
            words::pack_reading(pack_total(self.job, pack), unit, self.job.policy.pack_step);
        let text = format!("Expected micrometer reading: {reading}{crushed}");
        let name = self.model().packs[place].name.clone();
        self.asked(SlipRow::Pack, &name, &text)
    }

    /// A requirement: its limits, and what is predicted of it.
    fn requirement(&mut self, index: usize, v: &Verdict, packs: &[PackPick]) -> Written {
        let (styles, unit) = (self.page.styles, self.model().unit);
        let label = &self.pump.requirements[index].label;
        self.tall(PLAIN * lines(label, 24))?;
        self.page.line([
            styles.bold.of(label),
            over(2, styles.text.of(words::target(v, unit))),
            over(2, styles.text.of(words::limits(v, unit))),
            over(3, styles.text.of(words::about(v.value, unit))),
        ])?;
        let stack = stack(self.job, self.pump, packs);
        if words::verdict::is_nominal_only(self.job, self.pump, (index, &stack)) {
            let text = words::verdict::nominal_only();
            self.across(&text, &styles.alarms, 16.0)?;
        }
        Ok(())
    }

    /// The range of a reading at the bench, where the pump is cold, as `recheck` will judge it. Nothing
    /// is asked of one against limits that hold in service and that another one asks cold.
    fn recheck(&mut self, index: usize, packs: &[PackPick]) -> Written {
        let (styles, unit) = (self.page.styles, self.model().unit);
        let requirement = &self.pump.requirements[index];
        if requirement.form.is_hot() {
            let text = "Predicted for service; cannot be measured at the bench.";
            self.across(text, &styles.wrapped, 16.0)?;
        }
        if !is_asked(self.pump, requirement) {
            return Ok(());
        }
        let within = self.job.policy.clearance_within;
        let accepted = accepted(self.job, self.pump, packs, index, within);
        let Some(accepted) = accepted else {
            return Ok(());
        };
        let [least, most] = accepted;
        let is_any = least.zip(most).is_none_or(|(least, most)| least <= most);
        let hot = self.hot_window(requirement, packs);
        let cold = if hot.is_some() { ", cold," } else { "" };
        let allowed = words::recheck::allowed(self.job.policy.acceptance, within, hot.is_some());
        let step = self.job.policy.clearance_step;
        let text = match words::readings(accepted, unit, step) {
            Ok(range) if is_any => format!("ACCEPT{cold} {range} ({allowed})"),
            Err(Some(finer)) if is_any => format!(
                "Needs a gauge that reads to {}: in steps of {} too little of what is accepted is left ({allowed})",
                words::length(finer, unit),
                words::length(step.of(unit), unit),
            ),
            _ => format!(
                "No reading with an error of +/-{} shows that it is met: use a finer instrument, and state its \
                 error",
                words::length(within, words::natural_unit(within))
            ),
        };
        self.asked(SlipRow::Requirement, &requirement.name, &text)?;
        let mut limits = match requirement.form {
            Form::Linear { lower, upper, .. } if !requirement.form.is_hot() => Some([lower, upper]),
            _ => None,
        };
        match hot {
            Some(Window::Empty) => {
                limits = None;
                self.across(
                    "No cold reading shows for certain that it runs within its hot limits: the growth is not known well enough.",
                    &styles.alarms,
                    16.0,
                )?;
            }
            // Only where the rule does not count the growth at its worst.
            Some(Window::Between(window)) => {
                let accepted = inwards(accepted, unit);
                if is_any && shared(window, accepted) != accepted {
                    let ends = window.map(|end| Some(end?.into()));
                    let range = words::readings(ends, unit, step).unwrap_or_else(|_| {
                        words::range(window.map(|end| Some(end?.show(unit))), unit.symbol())
                    });
                    let text = format!(
                        "A cold reading outside {range} may leave the hot limits in the worst case of growth",
                    );
                    self.prose(&text, &styles.wrapped, 16.0)?;
                }
                limits = Some(limits.map_or(window, |limits| shared(limits, window)));
            }
            None => {}
        }
        let is_open = |[lower, upper]: &[Option<Length>; 2]| {
            lower.zip(*upper).is_none_or(|(lower, upper)| lower < upper)
        };
        match limits.filter(is_open) {
            Some(limits) => self.blades(requirement, packs, limits),
            None => Ok(()),
        }
    }

    /// The cold readings that keep within hot limits, of whatever asks running what this asks cold.
    fn hot_window(&self, requirement: &Requirement, packs: &[PackPick]) -> Option<Window> {
        let asked = requirement.form.cold_terms();
        let all = self.pump.requirements.iter().map(|other| &other.form);
        let mut hot = all.filter(|form| form.is_hot() && form.cold_terms() == asked).peekable();
        hot.peek()?;
        let parts = stack(self.job, self.pump, packs);
        let unit = self.model().unit;
        let windows = hot.filter_map(|form| cold_window(form, &parts, unit));
        windows.reduce(Window::both)
    }

    /// A line that asks for a reading.
    fn asked(&mut self, row: SlipRow, name: &str, text: &str) -> Written {
        // A bare number is in the unit that stands here.
        let unit = self.model().unit;
        let label = format!("1st, 2nd reading ({unit}):");
        self.tall(16.0 * lines(text, BEFORE_READINGS).max(2.0))?;
        // The readings are in the columns `slip::READING` and `slip::AGAIN`.
        let Styles { wrapped, entry, .. } = self.page.styles;
        let label = wrapped.of(label);
        self.page.line([over(5, wrapped.of(text)), label, entry.blank(), entry.blank()])?;
        self.key(row, name)
    }

    /// Says in the hidden columns what the last row holds.
    fn key(&mut self, row: SlipRow, name: &str) -> Written {
        let words = [row.word(), &self.pump.tag, name];
        let plain = &self.page.styles.plain;
        self.page.behind(slip::KEYS[0], words.map(|word| plain.of(word)))
    }

    /// Says which pieces stand on the last row.
    fn piece(&mut self, place: usize, pick: &Pick) -> Written {
        let name = self.model().packs[place].name.clone();
        self.key(SlipRow::Piece, &name)?;
        let item = &self.job.stock[pick.item];
        let [number, count, thickness] = slip::PIECE;
        let page = &mut *self.page;
        let row = page.row - 1;
        page.sheet.write_text(row, number, &item.item, &page.styles.plain)?;
        page.sheet.write_number(row, count, pick.count)?;
        if let Some(fitted) = item.peeled(pick.peeled) {
            let fitted = words::length(fitted, words::natural_unit(fitted));
            page.sheet.write_text(row, thickness, fitted, &page.styles.plain)?;
        }
        Ok(())
    }

    /// Consumables that go into the bag beside the stacked pieces, and what of them lacks.
    fn consumables(&mut self) -> Written {
        if self.bag.is_empty() {
            return Ok(());
        }
        let (job, pump, bag, styles) = (self.job, self.pump, self.bag, self.page.styles);
        let names = [
            "Also for the bag",
            "Item",
            "Pieces",
            "Fit or section",
            "Ring length",
            "Bin",
            "In the bag",
            "Fitted",
        ];
        self.page.heads(&names)?;
        for (need, share) in bag.iter().enumerate() {
            let kind = &job.model_of(pump).consumables[need].kind;
            let space = pump.consumable_fits[need].space;
            for pick in &share.picks {
                let item = &job.stock[pick.item];
                let fit = match space {
                    Some(space) => words::section(space),
                    None => item.fit.as_str().to_string(),
                };
                let cells = [
                    styles.strong.of(kind),
                    styles.shrunk.of(&item.item),
                    styles.count.of(pick.count),
                    styles.shrunk.of(fit),
                    styles.shrunk.of(space.map(words::ring_length).unwrap_or_default()),
                    styles.shrunk.of(item.bin.as_deref().unwrap_or("")),
                    styles.entry.of("☐"),
                    styles.entry.of("☐"),
                ];
                self.page.line(cells)?;
            }
            if let Some(why) = words::lack(job, pump, need, share) {
                let what = words::consumable(job, pump, need);
                let asked = job.model_of(pump).consumables[need].count;
                let text = format!("MISSING {} of {asked}: {what}. Why: {why}.", share.lacking);
                self.across(&text, &styles.alarms, 16.0 * lines(&text, 100))?;
            }
        }
        Ok(())
    }

    /// Warns of gaskets of a place that their material does not suit, and returns how far the
    /// others are crushed, to stand behind the pack's reading.
    fn crushed(&mut self, place: usize, packs: &[PackPick]) -> Written<String> {
        let form = |crush: &Crush| &self.pump.requirements[crush.requirement].form;
        let mut crushes = crushes(self.job, self.pump, packs);
        crushes.retain(|c| matches!(form(c), Form::GasketFill { gasket, .. } if *gasket == place));
        let alarms = &self.page.styles.alarms;
        for crush in &crushes {
            if let Some(text) = words::crush_warning(self.job, self.pump, crush) {
                self.across(&text, alarms, 16.0 * lines(&text, 108))?;
            }
        }
        let within = words::crush_within(&crushes);
        Ok(within.map_or_else(String::new, |within| format!("; {within}")))
    }

    /// The heading of a step.
    fn step(&mut self, text: &str) -> Written {
        let styles = self.page.styles;
        self.across(text, &styles.part, 19.0)
    }

    /// A step that is all cautions, with those of these moments.
    fn cautions(&mut self, step: &str, moments: &[&str]) -> Written {
        self.step(step)?;
        self.caution_rows(moments)
    }

    /// The cautions of these moments, two beside each other where they are short; an empty moment stands for a
    /// shop's own words.
    fn caution_rows(&mut self, moments: &[&str]) -> Written {
        const HALF: usize = 58;
        let styles = self.page.styles;
        let mut rest = self.cautions_of(moments).into_iter().peekable();
        while let Some(text) = rest.next() {
            let text = format!("\u{26a0} {text}");
            let short = |text: &String| text.chars().count() + 2 <= HALF;
            let beside = rest.next_if(|next| short(next) && short(&text));
            match beside {
                None => self.prose(&text, &styles.prose, 15.0)?,
                Some(beside) => {
                    let beside = styles.prose.of(format!("\u{26a0} {beside}"));
                    self.page.line([over(3, styles.prose.of(text)), over(LAST - 2, beside)])?;
                }
            }
        }
        Ok(())
    }

    fn cautions_of(&self, moments: &[&str]) -> Vec<String> {
        let usual = USUAL_CAUTIONS.iter();
        let usual = usual.map(|(when, text)| (*when, (*text).to_string()));
        let own = self.model().cautions.iter();
        let own = own.map(|caution| (caution.when.as_str(), caution.text.clone()));
        let all: Vec<(&str, String)> = usual.chain(own).collect();
        let known = ["before", "assembly", "recheck", "start", "always"];
        let mut found = Vec::new();
        for moment in moments {
            let here = all.iter().filter(|(when, _)| match *moment {
                "" => !known.contains(when),
                moment => *when == moment,
            });
            found.extend(here.map(|(when, text)| match *moment {
                "" => format!("{when}: {text}"),
                _ => text.clone(),
            }));
        }
        found
    }

    /// Cautions, what was measured, the drawing with both on it.
    fn assemble(&mut self, packs: &[PackPick]) -> Written {
        self.cautions("2  Assemble", &["before", "assembly"])?;
        self.measured()?;
        let drawn = match self.drawing {
            Some(image) => diagram::draw(self, image, packs)?,
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
        let (unit, model) = (self.model().unit, self.model());
        let measured = model.dimensions.iter().zip(&self.pump.dimensions);
        let measured: Vec<[String; 2]> = measured
            .map(|(dimension, measured)| {
                let label = match measured.readings.len() {
                    0 | 1 => dimension.label.clone(),
                    count => format!("{} (mean of {count})", dimension.label),
                };
                let within = words::tolerance(measured.tolerance, unit);
                [label, format!("{} {within}", words::measured(measured, unit))]
            })
            .collect();
        self.page.heads(&["As measured"])?;
        for pair in measured.chunks(2) {
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
        let [fitter, checked] =
            ["Fitter, date:", "Checked, date:"].map(|label| styles.text.of(label));
        let name = |columns| over(columns, styles.entry.of(""));
        self.tall(22.0)?;
        self.page.line([fitter, name(2), checked, name(4)])?;
        self.key(SlipRow::Signed, "")
    }

    /// The feeler blades for a reading within these limits.
    fn blades(
        &mut self,
        requirement: &Requirement,
        packs: &[PackPick],
        limits: [Option<Length>; 2],
    ) -> Written {
        if self.job.feelers.is_empty() {
            return Ok(());
        }
        let cold = requirement.form.clone().cold();
        let parts = stack(self.job, self.pump, packs);
        let v: Verdict = judge(&cold, &parts, Guard::WorstCase);
        let wanted =
            Clearance { limits, predicted: [v.value - v.guard_lower, v.value + v.guard_upper] };
        let gauge = feeler::gauge(&self.job.feelers, &wanted);
        let unit = self.model().unit;
        let text = words::blades(&gauge, unit);
        self.prose(&text, &self.page.styles.wrapped, 16.0)
    }
}
