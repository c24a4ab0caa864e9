//! Contributors to a pump's requirements: the cells that a person may change.

use rust_xlsxwriter::{DataValidation, DataValidationRule, Worksheet};

use super::super::page::{Page, Written};
use super::super::style::{Styles, lines};
use super::super::table::{Cell, Cells, Value, over};
use super::worked_out::thermal;
use super::{Subject, cell, factor_of_readings};
use crate::length::{Length, Tolerance, Uncertainty, Unit};
use crate::model::{Combine, Correlation, DerivedRule, Shape, Term};
use crate::stack::{Alike, Contributor, Evaluation, SharedError, Stack};
use crate::stock::Lot;
use crate::words::NOT_FIT;

/// The columns of a contributor.
pub(super) const COUNT: u16 = 1;
pub(super) const NOMINAL: u16 = 2;
pub(super) const MINUS: u16 = 3;
pub(super) const PLUS: u16 = 4;
const KNOWN_BY: u16 = 5;
pub(super) const STANDARD: u16 = 6;
pub(super) const FREEDOM: u16 = 7;
pub(super) const ALIKE: u16 = 8;
const FROM: u16 = 10;
const READINGS: u16 = 11;
/// Characters in a line of the column of sources.
const FROM_WIDTH: usize = 24;
const HEADS: [&str; 11] = [
    "Contributor",
    "Count",
    "Nominal each",
    "Minus",
    "Plus",
    "Known by",
    "Standard uncertainty each",
    "Degrees of freedom",
    "Alike within its lot",
    "Lot number",
    "From",
];
/// Columns of what one reading may be off, behind the readings.
const OF_ONE: [&str; 4] = [
    "One reading: minus",
    "One reading: plus",
    "One reading: standard uncertainty",
    "Resolution of the gauge",
];

/// Where a pump's contributors stand.
pub(super) struct Inputs {
    /// The row of the first contributor; the others follow in their order.
    first: u32,
    /// The contributors, and behind them the errors that several of them share.
    pub(super) parts: Vec<Contributor>,
    /// Contributors that err together, with the cell of their coefficient.
    pub(super) pairs: Vec<(usize, usize, String)>,
}

impl Inputs {
    /// The cell of a contributor in a column.
    pub(super) fn cell(&self, contributor: usize, column: u16) -> String {
        cell(self.first + u32::try_from(contributor).unwrap_or(u32::MAX), column)
    }

    /// A formula that is true where a cell that was typed over makes no sense.
    pub(super) fn senseless(&self) -> String {
        let count = u32::try_from(self.parts.len()).unwrap_or(u32::MAX);
        let last = self.first + count.saturating_sub(1);
        let column = |column: u16| format!("{}:{}", cell(self.first, column), cell(last, column));
        let below = |range: String| format!("MIN({range})<0");
        let mut tests = vec![below(column(COUNT))];
        match self.parts.iter().all(|part| part.tolerance.holds_stated()) {
            true => tests.extend([MINUS, PLUS].map(|side| below(column(side)))),
            // Where the limits of one lie on one side, no width may be below zero.
            false => {
                let width = |row: u32| format!("{}+{}<0", cell(row, MINUS), cell(row, PLUS));
                tests.extend((self.first..=last).map(width));
            }
        }
        tests.extend([below(column(STANDARD)), "coverage_factor<=0".to_string()]);
        tests.extend(self.pairs.iter().map(|(_, _, r)| format!("ABS({r})>1")));
        tests.join(",")
    }

    /// Writes a pump's contributors into the next rows.
    pub(super) fn write(page: &mut Page<'_>, subject: &Subject<'_>) -> Written<Inputs> {
        let (unit, styles) = (subject.model.unit, page.styles);
        page.part(format!("Pump {}: {} ({unit})", subject.tag, subject.model.title))?;
        if subject.is_nearest {
            let text = format!("{NOT_FIT}: its nearest kit; no pieces are issued for it.");
            page.text(text, &styles.alarm)?;
        }
        if let Some(again) = &subject.again {
            page.text(format!("{again}."), &styles.alarm)?;
        }
        let shared = subject.stack.shared.iter().map(common);
        let parts: Vec<_> = subject.stack.contributors.iter().cloned().chain(shared).collect();
        let readings = parts.iter().map(|part| part.readings.len()).max();
        let most = readings.filter(|n| *n > 1).unwrap_or(0);
        let of_one = READINGS + u16::try_from(most).unwrap_or(u16::MAX);
        page.cells(READINGS, (1..=most).map(|n| styles.head.of(format!("Reading {n}"))))?;
        let several = parts.iter().any(|part| {
            matches!(part.evaluation, Evaluation::Readings { .. } | Evaluation::Repeated { .. })
        });
        if several {
            page.cells(of_one, OF_ONE.map(|head| styles.head.of(head)))?;
        }
        // Behind the last of those.
        let number = of_one + 4;
        if parts.iter().any(|part| part.shape().and_then(Shape::number).is_some()) {
            let head = "Top of a trapezoid / cut of a normal (standard deviations)";
            page.cells(number, [styles.head.of(head)])?;
        }
        page.high(46.0)?;
        page.heads(&HEADS)?;
        let first = page.row;
        let mut growths = Vec::new();
        // What grows has a row of its own below the contributors and a heading.
        let below = first + u32::try_from(parts.len()).unwrap_or(u32::MAX) + 2;
        for ((part, lot), from) in parts.iter().zip(lots(&parts)).zip(&subject.sources) {
            let grows_at = below + u32::try_from(growths.len()).unwrap_or(u32::MAX);
            if let Evaluation::Growth(growth) = &part.evaluation {
                growths.push(growth.as_ref());
            }
            let row = page.row;
            page.high(15.5 * lines(&[(from, FROM_WIDTH)], [1, 8]))?;
            ContributorRow { row, of_one, number, first, grows_at, part, unit, styles }
                .write(page, lot)?;
            page.behind(FROM, [styles.wrapped.of(from)])?;
        }
        if !growths.is_empty() {
            page.row += 1;
            thermal(page, &growths, unit)?;
        }
        let mut inputs = Inputs { first, parts, pairs: Vec::new() };
        if !subject.stack.correlations.is_empty() {
            page.row += 1;
            inputs.correlations(page, &subject.stack)?;
        }
        Ok(inputs)
    }

    fn correlations(&mut self, page: &mut Page<'_>, stack: &Stack) -> Written {
        page.high(30.0)?;
        page.heads(&["Correlated", "", "Correlation coefficient"])?;
        let parts = &stack.contributors;
        for Correlation { between, coefficient } in &stack.correlations {
            let [first, second] =
                between.map(|term: Term| parts.iter().position(|part| part.term == term));
            let (Some(first), Some(second)) = (first, second) else {
                continue;
            };
            let text = format!("{} with {}", parts[first].label, parts[second].label);
            let coefficient = page.styles.number_entry().owned(coefficient.to_f64());
            self.pairs.push((first, second, cell(page.row, 2)));
            within(&mut page.sheet, (page.row, 2), [-1.0, 1.0])?;
            page.high(30.0)?;
            page.line([over(2, page.styles.wrapped.of(text)), coefficient])?;
        }
        Ok(())
    }
}

/// An error that several contributors share as one more contributor, of no length.
fn common(error: &SharedError) -> Contributor {
    Contributor {
        label: error.label.clone(),
        // No requirement asks for it: its sensitivity is that to its members.
        term: Term::Pack(usize::MAX),
        item: None,
        count: 1,
        readings: Vec::new(),
        nominal: Length::ZERO,
        tolerance: Tolerance::even(error.certified.extent),
        evaluation: Evaluation::Standard,
        standard_uncertainty: error.certified.standard,
        degrees_of_freedom: error.certified.freedom,
        lot: None,
    }
}

/// A number for each lot, in the order in which they come; nothing for what has none.
fn lots(parts: &[Contributor]) -> Vec<Option<u32>> {
    let mut known: Vec<Lot> = Vec::new();
    let mut number = |lot: Lot| {
        let at = known.iter().position(|other| *other == lot);
        let at = at.unwrap_or_else(|| {
            known.push(lot);
            known.len() - 1
        });
        u32::try_from(at + 1).ok()
    };
    parts.iter().map(|part| number(part.lot?.lot)).collect()
}

/// Lets a cell take no number below this.
fn not_below(sheet: &mut Worksheet, at: (u32, u16), least: f64) -> Written {
    let rule = DataValidationRule::GreaterThanOrEqualTo(least);
    allow(sheet, at, rule, format!("A number of {least} or more."))
}

/// Lets a cell take a number in a range.
pub(super) fn within(sheet: &mut Worksheet, at: (u32, u16), [least, most]: [f64; 2]) -> Written {
    let rule = DataValidationRule::Between(least, most);
    allow(sheet, at, rule, format!("A number from {least} to {most}."))
}

fn allow(
    sheet: &mut Worksheet,
    (row, column): (u32, u16),
    rule: DataValidationRule<f64>,
    message: String,
) -> Written {
    let rule = DataValidation::new()
        .allow_decimal_number(rule)
        .set_error_title("Not possible")?
        .set_error_message(message)?;
    sheet.add_data_validation(row, column, row, column, &rule)?;
    Ok(())
}

/// One contributor.
pub(super) struct ContributorRow<'a> {
    row: u32,
    /// The first column of what one reading may be off.
    of_one: u16,
    /// The column of the number that its shape needs, where it needs one.
    number: u16,
    /// The row of the first contributor.
    pub(super) first: u32,
    /// The row of lengths and temperatures, where it grows.
    pub(super) grows_at: u32,
    pub(super) part: &'a Contributor,
    pub(super) unit: Unit,
    pub(super) styles: &'a Styles,
}

impl<'a> ContributorRow<'a> {
    pub(super) fn at(&self, column: u16) -> String {
        cell(self.row, column)
    }

    /// A length that follows from other cells.
    pub(super) fn follows(&self, formula: &str, value: f64) -> Cell<'a> {
        self.styles.length(self.unit).of(Value::formula(formula, value))
    }

    /// A length that may be changed.
    fn entry(&self, value: f64) -> Cell<'a> {
        self.styles.length_entry(self.unit).of(value)
    }

    fn write(&self, page: &mut Page<'_>, lot: Option<u32>) -> Written {
        let (part, unit) = (self.part, self.unit);
        let Styles { text, count, entry, .. } = self.styles;
        let counted = match part.item {
            Some(_) => self.styles.number_entry().of(part.count),
            // A dimension is there once, and is measured, not counted.
            _ => count.of(part.count),
        };
        let known_by = match &part.evaluation {
            Evaluation::Within(shape) | Evaluation::Repeated { shape: Some(shape), .. } => {
                match shape.number() {
                    Some(_) => text.of(shape.word()),
                    None => entry.of(shape.word()),
                }
            }
            Evaluation::Standard | Evaluation::Repeated { shape: None, .. } => text.of("stated"),
            Evaluation::Readings { .. } => text.of("readings"),
            Evaluation::Growth(_) => text.of("growth"),
            Evaluation::Derived(derivation) => text.of(match derivation.rule {
                DerivedRule::Product { .. } => "product",
                DerivedRule::Quotient { .. } => "quotient",
            }),
        };
        let [nominal, minus, plus, standard] = match &part.evaluation {
            Evaluation::Growth(growth) => self.growth(growth),
            Evaluation::Derived(derivation) => self.derived(derivation),
            _ => {
                let [minus, plus] = self.tolerance();
                [self.nominal(), minus, plus, self.standard()]
            }
        };
        let alike = part.lot.map(|of| match of.alike {
            Alike::AtWorst => entry.of(Alike::AtWorst.to_string()),
            Alike::Share(share) => self.styles.percent_entry().of(share.to_f64()),
        });
        let lot = lot.map(|lot| count.of(lot));
        let [alike, lot] = [alike, lot].map(|cell| cell.unwrap_or_else(|| text.blank()));
        self.rules(&mut page.sheet)?;
        page.line([text.of(&part.label), counted])?;
        if let [_, _, ..] = part.readings[..] {
            let readings = part.readings.iter().map(|reading| self.entry(reading.to_f64(unit)));
            page.behind(READINGS, readings)?;
        }
        let freedom = self.freedom();
        page.behind(NOMINAL, [nominal, minus, plus, known_by, standard, freedom, alike, lot])?;
        match &part.evaluation {
            Evaluation::Readings { resolution, .. } => {
                page.behind(self.of_one + 3, [self.entry(resolution.to_f64(unit))])?;
            }
            Evaluation::Repeated { each, shape, standard, .. } => {
                page.behind(self.of_one, self.one_reading(*each, *shape, *standard))?;
            }
            Evaluation::Within(_)
            | Evaluation::Standard
            | Evaluation::Growth(_)
            | Evaluation::Derived(_) => {}
        }
        if let Some(number) = part.shape().and_then(Shape::number) {
            page.behind(self.number, [self.styles.number_entry().of(number.to_f64())])?;
        }
        Ok(())
    }

    /// Error of one of several readings: minus, plus and standard uncertainty, of which one follows from the other.
    fn one_reading(
        &self,
        each: Tolerance,
        shape: Option<Shape>,
        standard: Uncertainty,
    ) -> [Cell<'a>; 3] {
        let sides = [each.minus, each.plus].map(|side| side.to_f64(self.unit));
        let u = standard.to_f64(self.unit);
        let [minus, plus, standard] = [0, 1, 2].map(|at| self.at(self.of_one + at));
        match shape {
            Some(_) => {
                let [least, most] = sides.map(|side| self.entry(side));
                [least, most, self.follows(&self.within_shape([minus, plus]), u)]
            }
            None => {
                let extent = self.extent(&factor_of_readings(&self.freedom_of_one()), &standard);
                let [least, most] = sides.map(|side| self.follows(&extent, side));
                [least, most, self.entry(u)]
            }
        }
    }

    /// The degrees of freedom of one of several readings, as a formula writes them.
    fn freedom_of_one(&self) -> String {
        match self.part.evaluation {
            Evaluation::Repeated { freedom: Some(freedom), .. } => freedom.to_string(),
            _ => "\"infinite\"".into(),
        }
    }

    /// The standard uncertainty of a tolerance by its shape.
    fn within_shape(&self, [minus, plus]: [String; 2]) -> String {
        let (shape, number) = (self.at(KNOWN_BY), self.at(self.number));
        match self.part.shape() {
            Some(Shape::Trapezoid { .. }) => {
                return format!("({minus}+{plus})/2*SQRT((1+{number}^2)/6)");
            }
            Some(Shape::TruncatedNormal { .. }) => {
                return format!(
                    "({minus}+{plus})/2/{number}*SQRT(1-2*{number}*NORM.S.DIST({number},FALSE)/(2*NORM.S.DIST({number},TRUE)-1))"
                );
            }
            _ => {}
        }
        format!(
            "({minus}+{plus})/2/SQRT(IF({shape}=\"triangular\",6,IF({shape}=\"normal\",4,IF({shape}=\"u-shaped\",2,3))))"
        )
    }

    /// So many standard uncertainties, rounded up to a tick as the library does.
    fn extent(&self, k: &str, u: &str) -> String {
        let ticks = self.unit.ticks();
        // Rounded up like the library's factors.
        format!("-INT(-ROUND((-INT(-ROUND(({k})*1000000,3))/1000000)*{u}*{ticks},4))/{ticks}")
    }

    /// Lets the cells that may be changed take only what makes sense.
    fn rules(&self, sheet: &mut Worksheet) -> Written {
        let (part, row) = (self.part, self.row);
        let is_within = matches!(part.evaluation, Evaluation::Within(_));
        let is_repeated = matches!(part.evaluation, Evaluation::Repeated { .. });
        let shape_of_one = matches!(part.evaluation, Evaluation::Repeated { shape: Some(_), .. });
        let is_read = matches!(part.evaluation, Evaluation::Readings { .. });
        match part.shape() {
            Some(Shape::Trapezoid { .. }) => within(sheet, (row, self.number), [0.0, 1.0])?,
            Some(Shape::TruncatedNormal { .. }) => within(sheet, (row, self.number), [0.5, 6.0])?,
            _ => {}
        }
        let has_number = part.shape().and_then(Shape::number).is_some();
        if (is_within || shape_of_one) && !has_number {
            let words = [Shape::Rectangular, Shape::Triangular, Shape::Normal, Shape::UShaped];
            let list = DataValidation::new().allow_list_strings(&words.map(Shape::word))?;
            sheet.add_data_validation(row, KNOWN_BY, row, KNOWN_BY, &list)?;
        }
        let holds_stated = match part.evaluation {
            Evaluation::Repeated { each, .. } => each.holds_stated(),
            _ => part.tolerance.holds_stated(),
        };
        let least = [
            (COUNT, 0.0, part.item.is_some()),
            (MINUS, 0.0, is_within && holds_stated),
            (PLUS, 0.0, is_within && holds_stated),
            (STANDARD, 0.0, matches!(part.evaluation, Evaluation::Standard)),
            (self.of_one, 0.0, shape_of_one && holds_stated),
            (self.of_one + 1, 0.0, shape_of_one && holds_stated),
            (self.of_one + 2, 0.0, is_repeated && !shape_of_one),
            (self.of_one + 3, 0.0, is_read),
            (FREEDOM, 1.0, part.degrees_of_freedom.is_some() && !is_read && !is_repeated),
        ];
        for (column, least, _) in least.into_iter().filter(|(_, _, may_change)| *may_change) {
            not_below(sheet, (row, column), least)?;
        }
        Ok(())
    }

    /// How its readings combine, if it has several.
    fn combine(&self) -> Option<Combine> {
        match self.part.evaluation {
            Evaluation::Readings { combine, .. } | Evaluation::Repeated { combine, .. } => {
                Some(combine).filter(|_| self.part.readings.len() > 1)
            }
            Evaluation::Within(_)
            | Evaluation::Standard
            | Evaluation::Growth(_)
            | Evaluation::Derived(_) => None,
        }
    }

    /// The value itself, or what its readings combine to.
    fn nominal(&self) -> Cell<'a> {
        let value = self.part.nominal.to_f64(self.unit);
        match self.combine() {
            None => self.entry(value),
            Some(Combine::Least) => self.follows(&format!("MIN({})", self.span()), value),
            Some(Combine::Greatest) => self.follows(&format!("MAX({})", self.span()), value),
            Some(Combine::Mean) => {
                // Held to the same step as the library's own mean.
                let steps = self.steps();
                let formula = format!("ROUND(AVERAGE({})*{steps},0)/{steps}", self.span());
                self.follows(&formula, value)
            }
        }
    }

    /// Steps of the library's rounding of readings in one unit.
    fn steps(&self) -> i64 {
        self.unit.ticks() / Length::step(&self.part.readings)
    }

    /// The cells of the readings.
    fn span(&self) -> String {
        let last = READINGS
            + u16::try_from(self.part.readings.len().saturating_sub(1)).unwrap_or(u16::MAX);
        format!("{}:{}", self.at(READINGS), self.at(last))
    }

    /// Given, or so many standard uncertainties, or what holds every reading; rounded up as the library does: minus and
    /// plus.
    fn tolerance(&self) -> [Cell<'a>; 2] {
        let (part, unit) = (self.part, self.unit);
        let sides = [part.tolerance.minus, part.tolerance.plus].map(|side| side.to_f64(unit));
        let of_one = |at: u16| self.at(self.of_one + at);
        let extent = self.extent(&factor_of_readings(&self.at(FREEDOM)), &self.at(STANDARD));
        let (of_one, extent) = match &part.evaluation {
            Evaluation::Within(_) | Evaluation::Growth(_) | Evaluation::Derived(_) => {
                return sides.map(|value| self.entry(value));
            }
            Evaluation::Standard => return sides.map(|value| self.follows(&extent, value)),
            Evaluation::Repeated { shape: Some(_), .. } => ([of_one(0), of_one(1)], None),
            Evaluation::Repeated { shape: None, .. } => ([of_one(0), of_one(1)], Some(extent)),
            Evaluation::Readings { .. } => {
                let ticks = unit.ticks();
                let half = format!("ROUNDUP(ROUND({}/2*{ticks},4),0)/{ticks}", of_one(3));
                ([half.clone(), half], Some(extent))
            }
        };
        // At least so far, where an uncertainty asks for it.
        let least = |one: String, extent: Option<String>| match extent {
            Some(extent) => format!("MAX({one},{extent})"),
            None => one,
        };
        let steps = self.steps();
        let up = |length: String| format!("-INT(-ROUND(({length})*{steps},4))/{steps}");
        let mean = self.combine() == Some(Combine::Mean);
        let formulas = [0, 1].map(|side| {
            let one = &of_one[side];
            if !mean {
                return least(one.clone(), extent.clone().map(up));
            }
            let span = self.span();
            let farthest = format!("MAX(MAX({span})-AVERAGE({span}),AVERAGE({span})-MIN({span}))");
            // Measured from the rounded mean, so that its rounding is covered too.
            let rounding = format!("({}-AVERAGE({span}))", self.at(NOMINAL));
            let sign = ["+", "-"][side];
            let held = least(format!("{farthest}+{one}"), extent.clone());
            up(format!("{held}{sign}{rounding}"))
        });
        let [minus, plus] = [0, 1].map(|side| self.follows(&formulas[side], sides[side]));
        [minus, plus]
    }

    fn standard(&self) -> Cell<'a> {
        let value = self.part.standard_uncertainty.to_f64(self.unit);
        match &self.part.evaluation {
            Evaluation::Within(_) => {
                let formula = self.within_shape([MINUS, PLUS].map(|column| self.at(column)));
                self.follows(&formula, value)
            }
            Evaluation::Readings { .. } => {
                let read = self.at(self.of_one + 3);
                self.follows(&format!("SQRT({}+{read}^2/12)", self.scatter()), value)
            }
            Evaluation::Repeated { combine: Combine::Mean, .. } => {
                let one = self.at(self.of_one + 2);
                self.follows(&format!("SQRT({one}^2+{})", self.scatter()), value)
            }
            Evaluation::Repeated { .. } => self.follows(&self.at(self.of_one + 2), value),
            Evaluation::Standard | Evaluation::Growth(_) | Evaluation::Derived(_) => {
                self.entry(value)
            }
        }
    }

    /// The variance of what its readings combine to, by their scatter.
    fn scatter(&self) -> String {
        let span = self.span();
        match self.combine() {
            Some(Combine::Least | Combine::Greatest) => format!("STDEV({span})^2"),
            Some(Combine::Mean) | None => format!("STDEV({span})^2/COUNT({span})"),
        }
    }

    /// Its degrees of freedom, cut off as the library does; without scatter there is no end to those of readings.
    fn freedom(&self) -> Cell<'a> {
        let (span, scatter) = (self.span(), self.scatter());
        let formula = match &self.part.evaluation {
            Evaluation::Readings { .. } => {
                let read = self.at(self.of_one + 3);
                let grown = format!("(1+{read}^2/12/({scatter}))");
                format!(
                    "IF(MAX({span})>MIN({span}),INT((COUNT({span})-1)*{grown}^2*(1+1E-12)),\"infinite\")"
                )
            }
            Evaluation::Repeated { combine: Combine::Mean, freedom, .. } => {
                let one = format!("{}^2", self.at(self.of_one + 2));
                let own = freedom.map_or(String::new(), |freedom| format!("+({one})^2/{freedom}"));
                format!(
                    "IF(MAX({span})>MIN({span}),INT(({one}+{scatter})^2/(({scatter})^2/(COUNT({span})-1){own})*(1+1E-9)),{})",
                    self.freedom_of_one()
                )
            }
            Evaluation::Repeated { .. } => self.freedom_of_one(),
            Evaluation::Growth(growth) => return self.freedom_of_growth(growth),
            Evaluation::Derived(derivation) => return self.freedom_of_derived(derivation),
            Evaluation::Within(_) | Evaluation::Standard => {
                return match self.part.degrees_of_freedom {
                    Some(freedom) => self.styles.number_entry().of(freedom),
                    None => self.styles.text.of("infinite"),
                };
            }
        };
        let freedom = self.part.degrees_of_freedom;
        let result = freedom.map_or("infinite".into(), |freedom| freedom.to_string());
        self.styles.count.of(Value::formula(&formula, result))
    }
}
