//! The dimension chain of a model without a drawing: each requirement as bars to scale, one below the other, from the
//! model's example figures.
//!
//! A row is a term of the sum, from where the last one ended; the row after them is what they come to, between its
//! limits. Kinds are told apart by their hatching. The words lie on the picture as text boxes, in the font of the
//! spreadsheet.

use std::sync::Arc;

use super::blank::Examples;
use crate::length::{Fine, Length, Tolerance};
use crate::model::{Drawing, Form, Model, Term, Terms};
use crate::pump::{Growth, Measured, derived};
use crate::words;

/// Width of the picture and of the words at its left, in pixels.
const WIDTH: usize = 1_140;
pub(super) const WORDS: u32 = 430;
/// Height of a row and of the bar in it.
pub(super) const ROW: u32 = 34;
const BAR: usize = 20;
/// Most rows of a picture.
const MOST: usize = 16;
/// Room beside the longest bar.
const MARGIN: usize = 24;

/// A picture, and the words of each of its rows.
pub(super) struct Chain {
    pub(super) drawing: Drawing,
    pub(super) words: Vec<String>,
}

/// The chain of a model; `None` where one requirement has more rows than a picture holds.
pub(super) fn chain(model: &Model) -> Option<Chain> {
    let mut rows: Vec<Row> = Vec::new();
    for requirement in &model.requirements {
        let own = rows_of(model, &requirement.label, &requirement.form)?;
        if rows.len() + own.len() > MOST {
            break;
        }
        rows.extend(own);
    }
    let bytes = picture(&rows)?;
    let side = |pixels: usize| u32::try_from(pixels).ok();
    let height = side(rows.len() * ROW as usize)?;
    let drawing = Drawing { bytes: Arc::from(bytes), width: side(WIDTH)?, height, keyed: None };
    Some(Chain { drawing, words: rows.into_iter().map(|row| row.words).collect() })
}

/// A bar from one place to another, in ticks, with the limits of a result.
struct Row {
    words: String,
    from: f64,
    to: f64,
    fill: Fill,
    limits: Vec<f64>,
}

/// Hatching of a bar.
#[derive(Clone, Copy, PartialEq)]
enum Fill {
    /// A measured dimension, or what is worked out of two.
    Hatched,
    /// Pieces.
    Framed,
    /// A growth.
    Dotted,
    /// The sum.
    Solid,
}

/// Rows of a requirement: its terms, and what they come to.
fn rows_of(model: &Model, label: &str, form: &Form) -> Option<Vec<Row>> {
    let examples = Examples::of(model);
    let unit = model.unit;
    // A gasket stands against its gap, its own terms with the sign of a length.
    let terms: Terms = match form {
        Form::Linear { terms, .. } => terms.clone(),
        Form::GasketFill { gap, .. } => gap.clone(),
    };
    let mut at = 0.0;
    let mut rows = Vec::new();
    for (term, c) in &terms {
        let length = example(model, &examples, *term)?;
        let moved = *c * length;
        let sign = if moved < Fine::ZERO { "\u{2212}" } else { "+" };
        let words = format!("{sign} {}: {}", name(model, *term), words::length(length, unit));
        let to = at + ticks(moved);
        rows.push(Row { words, from: at, to, fill: fill(*term), limits: Vec::new() });
        at = to;
    }
    let (words, to, limits) = match form {
        Form::Linear { lower, upper, .. } => {
            let limits = [lower, upper].into_iter().flatten().map(|limit| ticks((*limit).into()));
            let sum = terms.iter().map(|(term, c)| Some(*c * example(model, &examples, *term)?));
            let sum =
                sum.collect::<Option<Vec<Fine>>>()?.into_iter().fold(Fine::ZERO, |a, b| a + b);
            (format!("= {label}: {}", words::about(sum, unit)), at, limits.collect())
        }
        Form::GasketFill { gasket, lower, upper, .. } => {
            let free = example(model, &examples, Term::Pack(*gasket))?;
            let grown = |allowance: f64| at * (1.0 + allowance);
            let limits = [Some(*lower), *upper].into_iter().flatten();
            let limits = limits.map(|allowance| grown(allowance.to_f64())).collect();
            let words = format!("{label}, free: {}", words::length(free, unit));
            (words, ticks(free.into()), limits)
        }
    };
    rows.push(Row { words, from: 0.0, to, fill: Fill::Solid, limits });
    Some(rows)
}

/// Example of a term: a reading, a total, or what is worked out of them.
fn example(model: &Model, examples: &Examples, term: Term) -> Option<Length> {
    match term {
        Term::Dimension(at) => examples.dimensions.get(at).copied(),
        Term::Pack(at) => examples.packs.get(at).copied(),
        Term::Thermal(at) => Some(Growth::of(model.thermals.get(at)?.clone()).value),
        Term::Derived(at) => {
            let exact = |length: &Length| Measured::within(*length, Tolerance::default());
            let measured: Vec<Measured> = examples.dimensions.iter().map(exact).collect();
            Some(derived(model.derived.get(at)?, &measured)?.value)
        }
    }
}

fn name(model: &Model, term: Term) -> &str {
    match term {
        Term::Dimension(at) => &model.dimensions[at].label,
        Term::Thermal(at) => &model.thermals[at].label,
        Term::Derived(at) => &model.derived[at].label,
        Term::Pack(at) => &model.packs[at].label,
    }
}

fn fill(term: Term) -> Fill {
    match term {
        Term::Dimension(_) | Term::Derived(_) => Fill::Hatched,
        Term::Thermal(_) => Fill::Dotted,
        Term::Pack(_) => Fill::Framed,
    }
}

#[allow(clippy::cast_precision_loss)]
fn ticks(length: Fine) -> f64 {
    length.raw() as f64 / 1e6
}

/// The bars as a PNG, all on one scale.
fn picture(rows: &[Row]) -> Option<Vec<u8>> {
    let ends = rows.iter().flat_map(|row| [row.from, row.to].into_iter().chain(row.limits.clone()));
    let (least, most) = ends.fold((0.0_f64, 0.0_f64), |(a, b), end| (a.min(end), b.max(end)));
    let (left, room) = (WORDS as usize + MARGIN, WIDTH - WORDS as usize - 2 * MARGIN);
    #[allow(clippy::cast_precision_loss)]
    let scale = room as f64 / (most - least).max(1.0);
    let across = |end: f64| {
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
        let pixels = ((end - least) * scale).round() as usize;
        left + pixels.min(room)
    };
    let mut canvas = Canvas { rows: vec![[WHITE; WIDTH]; rows.len() * ROW as usize] };
    canvas.upright(across(0.0), [0, canvas.rows.len()], GREY);
    for (at, row) in rows.iter().enumerate() {
        let top = at * ROW as usize + (ROW as usize - BAR) / 2;
        let (from, to) = (across(row.from.min(row.to)), across(row.from.max(row.to)));
        canvas.bar([from, to.max(from + 2)], top, row.fill);
        // The end of a bar is the beginning of the next.
        if row.fill != Fill::Solid && at + 1 < rows.len() {
            canvas.upright(across(row.to), [top, top + ROW as usize + BAR / 2], GREY);
        }
        for limit in &row.limits {
            canvas.upright(across(*limit), [top - 5, top + BAR + 5], RED);
            canvas.upright(across(*limit) + 1, [top - 5, top + BAR + 5], RED);
        }
    }
    canvas.png()
}

const WHITE: [u8; 3] = [255, 255, 255];
const GREY: [u8; 3] = [170, 176, 184];
const INK: [u8; 3] = [29, 43, 58];
const RED: [u8; 3] = [192, 57, 43];

struct Canvas {
    rows: Vec<[[u8; 3]; WIDTH]>,
}

impl Canvas {
    fn upright(&mut self, x: usize, [from, to]: [usize; 2], colour: [u8; 3]) {
        let to = to.min(self.rows.len());
        for row in &mut self.rows[from.min(to)..to] {
            row[x.min(WIDTH - 1)] = colour;
        }
    }

    fn bar(&mut self, [from, to]: [usize; 2], top: usize, fill: Fill) {
        for y in top..top + BAR {
            for x in from..to.min(WIDTH) {
                let edge = y < top + 2 || y + 2 >= top + BAR || x < from + 2 || x + 2 >= to;
                let inside = match fill {
                    Fill::Hatched => (x + y) % 8 < 2,
                    Fill::Framed => false,
                    Fill::Dotted => x % 6 < 2 && y % 6 < 2,
                    Fill::Solid => true,
                };
                if edge || inside {
                    self.rows[y][x] = INK;
                }
            }
        }
    }

    fn png(&self) -> Option<Vec<u8>> {
        let (width, height) = (u32::try_from(WIDTH).ok()?, u32::try_from(self.rows.len()).ok()?);
        let mut bytes = Vec::new();
        let mut encoder = png::Encoder::new(&mut bytes, width, height);
        encoder.set_color(png::ColorType::Rgb);
        encoder.set_depth(png::BitDepth::Eight);
        let mut writer = encoder.write_header().ok()?;
        let pixels: Vec<u8> = self.rows.iter().flatten().flatten().copied().collect();
        writer.write_image_data(&pixels).ok()?;
        writer.finish().ok()?;
        Some(bytes)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand: 0.041 - 0.020 = 0.021 in. The bars are to scale, so the picture of the sum ends where its last term
    /// does, and what is drawn is as long as the ratio of the lengths.
    #[test]
    fn bars_are_to_scale_and_add_up() {
        let text = crate::read::STARTING_MODEL;
        let model = crate::read::parse_model("start", "start.toml", text).unwrap();
        let rows = rows_of(&model, "Clearance", &model.requirements[0].form).unwrap();
        let inch = |at: f64| at / 254_000_000.0;
        let ends: Vec<[f64; 2]> = rows.iter().map(|row| [row.from, row.to].map(inch)).collect();
        let expected = [[0.0, 0.041], [0.041, 0.021], [0.0, 0.021]];
        for (found, expected) in ends.iter().flatten().zip(expected.iter().flatten()) {
            assert!((found - expected).abs() < 1e-12, "{ends:?}");
        }
        assert_eq!(rows[2].limits.iter().map(|at| inch(*at)).collect::<Vec<_>>(), [0.019, 0.023]);
        let chain = chain(&model).unwrap();
        assert_eq!(chain.words[1], "\u{2212} Shims: 0.0200 in");
        let decoder = png::Decoder::new(std::io::Cursor::new(&chain.drawing.bytes[..]));
        let mut reader = decoder.read_info().unwrap();
        let mut pixels = vec![0; reader.output_buffer_size().unwrap()];
        reader.next_frame(&mut pixels).unwrap();
        // Along the edge of a bar, which is all ink.
        let long = |row: usize| {
            let y = row * ROW as usize + (ROW as usize - BAR) / 2;
            let line = &pixels[3 * WIDTH * y..3 * WIDTH * (y + 1)];
            line.chunks(3).filter(|pixel| *pixel == INK).count()
        };
        let [bare, shims, clearance] = [0, 1, 2].map(long);
        #[allow(clippy::cast_precision_loss)]
        let ratio = |part: usize| part as f64 / bare as f64;
        assert!((ratio(shims) - 20.0 / 41.0).abs() < 0.005, "{bare} {shims} {clearance}");
        // Two limits, each two pixels wide, lie on the result.
        assert!((ratio(clearance + 2) - 21.0 / 41.0).abs() < 0.01, "{bare} {shims} {clearance}");
    }
}
