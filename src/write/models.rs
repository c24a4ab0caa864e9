//! The Models sheet: what each arrangement measures, fits and asks for, with its drawing.

use rust_xlsxwriter::{Image, ObjectMovement, Shape, ShapeFont, ShapeFormat, Workbook};

use super::chain::{self, Chain, chain};
use super::page::{Page, Written};
use super::pages::{Pages, Series, put};
use super::style::Styles;
use super::table::{Cells, over};
use super::text::chart_name;
use crate::columns::{fit_heading, pump_heading};
use crate::decimal::Millionths;
use crate::job::Job;
use crate::length::{Length, Tolerance, Unit};
use crate::model::{Combine, DerivedRule, Dimension, Form, Model, Spread, Term, Terms};
use crate::words;

const NAME: &str = "Models";
/// Characters that the columns are wide; together they fill a page across.
const WIDTHS: [u32; 6] = [38, 53, 26, 18, 16, 16];
const LAST: u16 = 5;
/// The box that a drawing must fit into, in pixels: a page with its headings.
const DRAWING: (u32, u32) = (1_140, 560);
/// Pixels of a row that is left as high as it is.
const ROW: u32 = 20;
/// The same, and a line of text, in points.
const PLAIN: u32 = 15;
const LINE: u32 = 16;
/// Points of rows that go on a page: 172 mm of A4 across at the scale at which the columns fill its
/// width, about 0.85, come to 570; some are left for printers that need more.
const PAGE: u32 = 540;
/// Points of the sheet's title and the rows below it.
const TITLE: u32 = 60;

pub(super) fn add(workbook: &mut Workbook, job: &Job, styles: &Styles) -> Written {
    let begin = |page: &mut Page<'_>, _: &str| {
        page.widths(&WIDTHS.map(f64::from))?;
        page.title(NAME, "Dimensions, pieces and requirements of each arrangement. A pump may have limits of its own: see its slip.")
    };
    let series = Series { name: NAME, begin: &begin, last_column: Some(LAST) };
    let mut pages = Pages::begin(Some(&mut *workbook), &series, styles)?;
    for (index, model) in job.models.iter().enumerate() {
        // Its drawing, and its tables where they do not fit beside that.
        pages.turn(2)?;
        let pumps = job.pumps.iter().filter(|pump| pump.model == index);
        let height = if pages.page.row == 3 { TITLE } else { 0 };
        let mut part = Part { page: &mut pages.page, model, height };
        part.head(pumps.count())?;
        let drawn = part.drawing()?;
        let tables = part.page.row;
        part.dimensions()?;
        part.thermals()?;
        part.derived()?;
        part.correlations()?;
        part.packs()?;
        part.requirements()?;
        part.bag()?;
        part.cautions()?;
        // Beside a drawing only tables that are whole on its page; else they begin the next.
        if drawn && part.height > PAGE {
            pages.go_on(tables);
        }
    }
    let sheets = pages.finish(|_| {})?;
    put(workbook, sheets);
    Ok(())
}

/// The part of a model.
struct Part<'a, 's> {
    page: &'a mut Page<'s>,
    model: &'a Model,
    /// Points of the rows so far.
    height: u32,
}

impl Part<'_, '_> {
    /// Makes the next row so many points high.
    fn tall(&mut self, points: u32) -> Written {
        self.height += points;
        self.page.high(points.into())
    }

    /// Leaves so many rows as they are.
    fn skip(&mut self, rows: u32) {
        self.page.row += rows;
        self.height += rows * PLAIN;
    }

    fn head(&mut self, pumps: usize) -> Written {
        let (model, styles) = (self.model, self.page.styles);
        self.tall(20)?;
        self.page.across(&model.title, &styles.part, None)?;
        let used = match pumps {
            1 => "used by 1 pump".to_string(),
            _ => format!("used by {pumps} pumps"),
        };
        let line = format!("Model {} ({}), {used}", model.name, model.unit.symbol());
        self.height += PLAIN;
        self.page.across(&line, &styles.lead, None)
    }

    /// Whether there is one, or a chain to stand in its place.
    fn drawing(&mut self) -> Written<bool> {
        let Some(drawing) = &self.model.drawing else {
            return self.chain();
        };
        let (width, height) = DRAWING;
        let image = Image::new_from_buffer(&drawing.bytes)?
            .set_scale_to_size(width, height, true)
            // Whatever the cells below it come to, a drawing keeps its proportions.
            .set_object_movement(ObjectMovement::MoveButDontSizeWithCells)
            .set_alt_text(chart_name(&format!("Drawing: {}", self.model.title)));
        self.page.sheet.insert_image(self.page.row, 0, &image)?;
        // As high as it is once it has been brought into the box.
        let by_width = u64::from(drawing.height) * u64::from(width) / u64::from(drawing.width);
        let shown = u32::try_from(by_width).unwrap_or(height).min(height);
        self.skip(shown.div_ceil(ROW) + 1);
        Ok(true)
    }

    /// The dimension chain to scale, with its words.
    fn chain(&mut self) -> Written<bool> {
        let Some(Chain { drawing, words }) = chain(self.model) else {
            return Ok(false);
        };
        let image = Image::new_from_buffer(&drawing.bytes)?
            .set_object_movement(ObjectMovement::MoveButDontSizeWithCells)
            .set_alt_text(chart_name(&format!("Dimension chain: {}", self.model.title)));
        self.page.sheet.insert_image(self.page.row, 0, &image)?;
        let font = ShapeFont::new().set_size(9.0);
        let clear = ShapeFormat::new().set_no_fill().set_no_line();
        for (row, words) in (0..).zip(words) {
            let shape = Shape::textbox()
                .set_text(words)
                .set_width(chain::WORDS)
                .set_height(chain::ROW)
                .set_font(&font)
                .set_format(&clear)
                .set_object_movement(ObjectMovement::MoveButDontSizeWithCells);
            self.page.sheet.insert_shape_with_offset(
                self.page.row,
                0,
                &shape,
                0,
                row * chain::ROW,
            )?;
        }
        self.skip(drawing.height.div_ceil(ROW) + 1);
        Ok(true)
    }

    /// A table of texts, the first of each row its name; nothing where there are no rows.
    fn table(&mut self, columns: &[&str], rows: impl Iterator<Item = Vec<String>>) -> Written {
        let Styles { bold, wrapped, .. } = self.page.styles;
        let height = |cells: &mut dyn Iterator<Item = &str>| {
            LINE * cells.zip(WIDTHS).map(|(text, width)| lines(text, width)).max().unwrap_or(1)
        };
        let mut rows = rows.peekable();
        if rows.peek().is_none() {
            return Ok(());
        }
        self.tall(height(&mut columns.iter().copied()))?;
        self.page.heads(columns)?;
        for cells in rows {
            let cells = &cells[..columns.len()];
            self.tall(height(&mut cells.iter().map(String::as_str)))?;
            let formats = std::iter::once(bold).chain(std::iter::repeat(wrapped));
            self.page.line(cells.iter().zip(formats).map(|(text, format)| format.of(text)))?;
        }
        self.skip(1);
        Ok(())
    }

    fn dimensions(&mut self) -> Written {
        let unit = self.model.unit;
        let columns =
            ["Measured", "Column of the pump workbook", "Tolerance or uncertainty", "Shape"];
        let rows = self.model.dimensions.iter().map(|dimension| {
            let column = format!("{} ({})", pump_heading(&dimension.name), unit.symbol());
            let (known, shape) = known(dimension, unit);
            vec![dimension.label.clone(), column, known, shape.to_string()]
        });
        self.table(&columns, rows)
    }

    fn thermals(&mut self) -> Written {
        let unit = self.model.unit;
        let columns = [
            "Grows when running",
            "Columns of the pump workbook, where a pump differs",
            "Length",
            "Expansion, 1e-6/K",
            "Cold to running, \u{b0}C",
            "Difference +/-, K",
        ];
        let rows = self.model.thermals.iter().map(|thermal| {
            let name = pump_heading(&thermal.name);
            let expansion = thermal.expansion;
            vec![
                thermal.label.clone(),
                format!("{name} length ({}), {name} cold, {name} running", unit.symbol()),
                format!(
                    "{} \u{b1} {}",
                    thermal.length.show(unit),
                    words::length(thermal.length_within, unit)
                ),
                format!("{} \u{b1} {}", expansion.value, expansion.within),
                format!("{} to {}", thermal.cold, thermal.running),
                format!("\u{b1} {}", thermal.temperature_within),
            ]
        });
        self.table(&columns, rows)
    }

    fn derived(&mut self) -> Written {
        let model = self.model;
        let shown = |length: Length| words::length(length, model.unit);
        let rows = model.derived.iter().map(|derived| {
            let [first, second] = derived.of.map(|at| &model.dimensions[at].label);
            let rule = match derived.rule {
                DerivedRule::Product { per } => {
                    format!("{first} \u{d7} {second} / {}", shown(per))
                }
                DerivedRule::Quotient { times } => {
                    format!("{} \u{d7} {first} / {second}", shown(times))
                }
            };
            vec![derived.label.clone(), rule]
        });
        self.table(&["Worked out", "as"], rows)
    }

    fn correlations(&mut self) -> Written {
        let model = self.model;
        let rows = model.correlations.iter().map(|correlation| {
            let [one, other] = correlation.between.map(|term| label(model, term).to_string());
            vec![one, other, correlation.coefficient.to_string()]
        });
        self.table(&["Correlated", "with", "Correlation coefficient"], rows)
    }

    fn packs(&mut self) -> Written {
        let columns = ["Place for pieces", "Column of its fit code", "Pieces"];
        let rows = self.model.packs.iter().map(|pack| {
            let pieces = match (pack.least_pieces, pack.most_pieces) {
                (0, most) => format!("none, or up to {most} of {}", pack.kind),
                (least, most) if least == most => format!("{most} of {}", pack.kind),
                (least, most) => format!("{least} to {most} of {}", pack.kind),
            };
            vec![pack.label.clone(), fit_heading(&pack.name), pieces]
        });
        self.table(&columns, rows)
    }

    fn requirements(&mut self) -> Written {
        let model = self.model;
        let unit = model.unit;
        let columns = [
            "Requirement",
            "Value kept within the limits",
            "Target",
            "Lower limit",
            "Upper limit",
            "Gasket crushed",
        ];
        let gaskets = (model.requirements.iter())
            .any(|requirement| matches!(requirement.form, Form::GasketFill { .. }));
        let columns = if gaskets { &columns[..] } else { &columns[..5] };
        let none = || "none".to_string();
        let rows = model.requirements.iter().map(|requirement| {
            let label = requirement.label.clone();
            match &requirement.form {
                Form::Linear { terms, target, lower, upper } => {
                    let shown = |length: &Length| words::length(*length, unit);
                    let sum = sum(model, terms);
                    let [lower, upper] =
                        [lower, upper].map(|limit| limit.as_ref().map_or(none(), shown));
                    vec![label, sum, shown(target), lower, upper, String::new()]
                }
                Form::GasketFill { gasket, gap, target, lower, upper } => {
                    let gasket = &model.packs[*gasket].label;
                    let gap = sum(model, gap);
                    let shown = |allowance: &Millionths| format!("gap + {} %", percent(*allowance));
                    vec![
                        label,
                        format!("free thickness of {gasket}, against the gap: {gap}"),
                        shown(target),
                        shown(lower),
                        upper.as_ref().map_or(none(), shown),
                        match upper {
                            Some(upper) => {
                                format!("{:.1} to {:.1} %", crushed(*lower), crushed(*upper))
                            }
                            None => format!("{:.1} % or more", crushed(*lower)),
                        },
                    ]
                }
            }
        });
        self.table(columns, rows)
    }

    fn bag(&mut self) -> Written {
        let columns = ["For the bag", "Chosen by", "Pieces"];
        let rows = self.model.consumables.iter().map(|need| {
            let column = need.fit_column.iter();
            let code = column.map(|column| format!("the fit code in `{column}`"));
            let section = need.section.iter().map(|sides| {
                let [bore, shaft] = [&sides.bore, &sides.shaft].map(|side| pump_heading(side));
                format!("the section, half of (`{bore}` less `{shaft}`)")
            });
            let mut says: Vec<String> = code.chain(section).collect();
            if says.is_empty() {
                says.push("any one of its kind".into());
            }
            vec![need.kind.clone(), says.join(", and "), need.count.to_string()]
        });
        self.table(&columns, rows)
    }

    fn cautions(&mut self) -> Written {
        let (model, styles) = (self.model, self.page.styles);
        if model.cautions.is_empty() {
            return Ok(());
        }
        self.page.heads(&["Cautions"])?;
        self.height += PLAIN;
        for caution in &model.cautions {
            self.tall(LINE * lines(&caution.text, WIDTHS[1..].iter().sum()))?;
            let text = over(LAST, styles.wrapped.of(&caution.text));
            self.page.line([styles.strong.of(&caution.when), text])?;
        }
        self.skip(1);
        Ok(())
    }
}

/// How many lines a text takes in a column so many characters wide.
fn lines(text: &str, width: u32) -> u32 {
    let lines = u32::try_from(text.chars().count()).unwrap_or(u32::MAX);
    lines.div_ceil(width - 2).max(1)
}

/// How well a dimension is known, and what is assumed inside its plus/minus.
fn known(dimension: &Dimension, unit: Unit) -> (String, &'static str) {
    let (mut known, shape) = spread(dimension, unit);
    if dimension.combine != Combine::Mean {
        known += &format!("; the {} of its readings counts", dimension.combine.word());
    }
    if let Some(gauge) = &dimension.gauge {
        known += &format!("; gauge {gauge}");
    }
    (known, shape)
}

fn spread(dimension: &Dimension, unit: Unit) -> (String, &'static str) {
    match dimension.spread {
        Spread::Within(Tolerance { plus, minus }) if plus == minus => {
            let within = format!("\u{b1} {}", words::length(plus, unit));
            (within, dimension.shape.word())
        }
        Spread::Within(within) if !within.holds_stated() => {
            (format!("{} {unit}", words::tolerance(within, unit)), dimension.shape.word())
        }
        Spread::Within(Tolerance { plus, minus }) => {
            let within = format!("+{} / -{}", plus.show(unit), words::length(minus, unit));
            (within, dimension.shape.word())
        }
        Spread::StandardUncertainty(standard) => {
            let places = usize::try_from(unit.places() + 2).unwrap_or(6);
            let standard = standard.to_f64(unit);
            let known = format!("standard uncertainty {standard:.places$} {unit}");
            (known, "")
        }
        Spread::FromReadings { resolution } if resolution > Length::ZERO => {
            (format!("from the scatter of its readings, to {} {unit}", resolution.show(unit)), "")
        }
        Spread::FromReadings { .. } => ("from the scatter of its readings".into(), ""),
    }
}

fn label(model: &Model, term: Term) -> &str {
    match term {
        Term::Dimension(index) => &model.dimensions[index].label,
        Term::Thermal(index) => &model.thermals[index].label,
        Term::Derived(index) => &model.derived[index].label,
        Term::Pack(index) => &model.packs[index].label,
    }
}

/// A sum in words: `Bore depth - Spigot length + 0.5 x Rotor travel`.
fn sum(model: &Model, terms: &Terms) -> String {
    let mut words = String::new();
    for (index, (term, sensitivity)) in terms.iter().enumerate() {
        let size = Millionths::from_raw(sensitivity.raw().abs());
        words.push_str(match (index, sensitivity.raw() < 0) {
            (0, false) => "",
            (0, true) => "\u{2212} ",
            (_, false) => " + ",
            (_, true) => " \u{2212} ",
        });
        if size != Millionths::ONE {
            words.push_str(&format!("{size} \u{d7} "));
        }
        words.push_str(label(model, *term));
    }
    words
}

/// An allowance in percent.
fn percent(allowance: Millionths) -> Millionths {
    Millionths::from_raw(allowance.raw().saturating_mul(100))
}

/// By how many percent a gasket with this allowance on its gap is crushed: a / (1 + a).
fn crushed(allowance: Millionths) -> f64 {
    let allowance = allowance.to_f64();
    100.0 * allowance / (1.0 + allowance)
}
