//! What contributes to a pump's requirements: the cells that a person may change.

use rust_xlsxwriter::{DataValidation, DataValidationRule, Worksheet, XlsxError};

use super::super::text::WriteText;

use super::super::style::{Styles, heads};
use super::{Cached, Subject, cell, put};
use crate::length::{Length, Unit};
use crate::model::{Correlation, Shape, Term};
use crate::pump::Growth;
use crate::stack::{Contributor, Known, Stack};
use crate::stock::Lot;

/// The columns of a contributor.
pub(super) const COUNT: u16 = 1;
pub(super) const NOMINAL: u16 = 2;
pub(super) const MINUS: u16 = 3;
pub(super) const PLUS: u16 = 4;
const KNOWN_BY: u16 = 5;
pub(super) const STANDARD: u16 = 6;
pub(super) const FREEDOM: u16 = 7;
pub(super) const OF_LOT: u16 = 8;
const LOT: u16 = 9;
const READINGS: u16 = 10;

/// Where a pump's contributors stand.
pub(super) struct Inputs {
    /// The row of the first contributor; the others follow in their order.
    first: u32,
    /// How many there are.
    count: u32,
    /// Contributors that err together, with the cell of their coefficient.
    pub(super) pairs: Vec<(usize, usize, String)>,
    /// The row behind.
    pub(super) end: u32,
}

impl Inputs {
    /// The cell of a contributor in a column.
    pub(super) fn cell(&self, contributor: usize, column: u16) -> String {
        cell(self.first + u32::try_from(contributor).unwrap_or(u32::MAX), column)
    }

    /// A formula that is true where a cell that was typed over makes no sense.
    pub(super) fn senseless(&self) -> String {
        let last = self.first + self.count - 1;
        let column = |column: u16| format!("{}:{}", cell(self.first, column), cell(last, column));
        let below = |range: String| format!("MIN({range})<0");
        let mut tests = vec![
            below(column(COUNT)),
            below(column(MINUS)),
            below(column(PLUS)),
            below(column(STANDARD)),
            below(column(OF_LOT)),
            "coverage_factor<=0".to_string(),
        ];
        tests.extend(self.pairs.iter().map(|(_, _, r)| format!("ABS({r})>1")));
        tests.join(",")
    }

    /// Writes a pump's contributors from a row on.
    pub(super) fn write(
        sheet: &mut Worksheet,
        row: u32,
        subject: &Subject<'_>,
        styles: &Styles,
    ) -> Result<Inputs, XlsxError> {
        let unit = subject.model.unit;
        let title = format!("Pump {}: {} ({unit})", subject.tag, subject.model.title);
        sheet.write_text(row, 0, title, &styles.part)?;
        heads(
            sheet,
            row + 1,
            &[
                "Contributor",
                "Count",
                "Nominal of one",
                "Minus",
                "Plus",
                "Known by",
                "Standard uncertainty of one",
                "Degrees of freedom",
                "Standard uncertainty of its lot",
                "Lot (a number for each)",
            ],
            styles,
        )?;
        sheet.set_row_height(row + 1, 46.0)?;
        let parts = &subject.stack.contributors;
        let readings = parts.iter().map(|part| part.readings.len()).max();
        let most = readings.filter(|n| *n > 1).unwrap_or(0);
        let resolution = READINGS + u16::try_from(most).unwrap_or(u16::MAX);
        if parts.iter().any(|part| matches!(part.known, Known::Readings { .. })) {
            let head = "Resolution of the gauge";
            sheet.write_text(row + 1, resolution, head, &styles.head)?;
        }
        for n in 1..=most {
            let column = READINGS + u16::try_from(n - 1).unwrap_or(u16::MAX);
            let head = format!("Reading {n}");
            sheet.write_text(row + 1, column, head, &styles.head)?;
        }
        let mut inputs = Inputs {
            first: row + 2,
            count: u32::try_from(parts.len()).unwrap_or(u32::MAX),
            pairs: Vec::new(),
            end: row + 2,
        };
        let mut growths = Vec::new();
        // What grows has a row of its own below the contributors and a heading.
        let below = inputs.end + inputs.count + 2;
        let lots = lots(&subject.stack);
        for (part, lot) in parts.iter().zip(lots) {
            let line = Line { row: inputs.end, resolution, part, unit, styles };
            if let Known::Growth(growth) = &part.known {
                let row = below + u32::try_from(growths.len()).unwrap_or(u32::MAX);
                growths.push(growth.as_ref());
                line.growth(sheet, growth, row)?;
            }
            line.write(sheet, lot)?;
            inputs.end += 1;
        }
        if !growths.is_empty() {
            inputs.end = thermal(sheet, inputs.end + 1, &growths, unit, styles)?;
        }
        if !subject.stack.correlations.is_empty() {
            inputs.end += 1;
            inputs.correlations(sheet, subject, styles)?;
        }
        Ok(inputs)
    }

    fn correlations(
        &mut self,
        sheet: &mut Worksheet,
        subject: &Subject<'_>,
        styles: &Styles,
    ) -> Result<(), XlsxError> {
        heads(sheet, self.end, &["Correlated", "", "Correlation coefficient"], styles)?;
        sheet.set_row_height(self.end, 30.0)?;
        let parts = &subject.stack.contributors;
        for Correlation { between, coefficient } in &subject.stack.correlations {
            let [first, second] =
                between.map(|term: Term| parts.iter().position(|part| part.term == term));
            let (Some(first), Some(second)) = (first, second) else {
                continue;
            };
            self.end += 1;
            let text = format!("{} with {}", parts[first].label, parts[second].label);
            sheet.merge_text(self.end, 0, self.end, 1, &text, &styles.wrapped)?;
            sheet.set_row_height(self.end, 30.0)?;
            let entry = styles.number_entry();
            sheet.write_number_with_format(self.end, 2, coefficient.to_f64(), &entry)?;
            within(sheet, self.end, 2, -1.0, 1.0)?;
            self.pairs.push((first, second, cell(self.end, 2)));
        }
        self.end += 1;
        Ok(())
    }
}

/// A number for each lot, in the order in which they come; nothing for what has none.
fn lots(stack: &Stack) -> Vec<Option<u32>> {
    let mut known: Vec<Lot> = Vec::new();
    let mut number = |lot: Lot| {
        let at = known.iter().position(|other| *other == lot);
        let at = at.unwrap_or_else(|| {
            known.push(lot);
            known.len() - 1
        });
        u32::try_from(at + 1).ok()
    };
    let parts = stack.contributors.iter();
    parts.map(|part| number(part.lot?.lot)).collect()
}

/// Lets a cell take no number below this.
pub(super) fn not_below(
    sheet: &mut Worksheet,
    row: u32,
    column: u16,
    least: f64,
) -> Result<(), XlsxError> {
    let rule = DataValidation::new()
        .allow_decimal_number(DataValidationRule::GreaterThanOrEqualTo(least))
        .set_error_title("Not possible")?
        .set_error_message(format!("A number of {least} or more."))?;
    sheet.add_data_validation(row, column, row, column, &rule)?;
    Ok(())
}

/// Lets a cell take a number in a range.
pub(super) fn within(
    sheet: &mut Worksheet,
    row: u32,
    column: u16,
    least: f64,
    most: f64,
) -> Result<(), XlsxError> {
    let rule = DataValidation::new()
        .allow_decimal_number(DataValidationRule::Between(least, most))
        .set_error_title("Not possible")?
        .set_error_message(format!("A number from {least} to {most}."))?;
    sheet.add_data_validation(row, column, row, column, &rule)?;
    Ok(())
}

/// One contributor.
struct Line<'a> {
    row: u32,
    /// The column of the resolution, where it has readings.
    resolution: u16,
    part: &'a Contributor,
    unit: Unit,
    styles: &'a Styles,
}

impl Line<'_> {
    fn at(&self, column: u16) -> String {
        cell(self.row, column)
    }

    fn write(&self, sheet: &mut Worksheet, lot: Option<u32>) -> Result<(), XlsxError> {
        let (part, styles, row) = (self.part, self.styles, self.row);
        let entry = styles.length_entry(self.unit);
        sheet.write_text(row, 0, &part.label, &styles.text)?;
        let count = f64::from(part.count);
        match part.term {
            Term::Pack(_) => {
                sheet.write_number_with_format(row, COUNT, count, &styles.number_entry())?;
                not_below(sheet, row, COUNT, 0.0)?;
            }
            // A dimension is there once, and is measured, not counted.
            _ => {
                sheet.write_number_with_format(row, COUNT, count, &styles.count)?;
            }
        }
        self.nominal(sheet)?;
        let word = match &part.known {
            Known::Within(shape) => shape.word(),
            Known::Standard => "stated",
            Known::Readings { .. } => "readings",
            Known::Growth(_) => "growth",
        };
        match &part.known {
            Known::Within(_) => {
                sheet.write_text(row, KNOWN_BY, word, &styles.entry)?;
                let words = [Shape::Rectangular, Shape::Triangular, Shape::Normal, Shape::UShaped];
                let list = DataValidation::new().allow_list_strings(&words.map(Shape::word))?;
                sheet.add_data_validation(row, KNOWN_BY, row, KNOWN_BY, &list)?;
            }
            _ => {
                sheet.write_text(row, KNOWN_BY, word, &styles.text)?;
            }
        }
        self.tolerance(sheet)?;
        self.standard(sheet)?;
        match part.lot {
            Some(of_lot) => {
                let u = of_lot.standard.to_f64(self.unit);
                sheet.write_number_with_format(row, OF_LOT, u, &entry)?;
                not_below(sheet, row, OF_LOT, 0.0)?;
            }
            None => {
                sheet.write_blank(row, OF_LOT, &styles.text)?;
            }
        }
        match lot {
            Some(lot) => sheet.write_number_with_format(row, LOT, lot, &styles.count)?,
            None => sheet.write_blank(row, LOT, &styles.text)?,
        };
        Ok(())
    }

    /// The value itself, or the mean of its readings.
    fn nominal(&self, sheet: &mut Worksheet) -> Result<(), XlsxError> {
        let (part, unit, row) = (self.part, self.unit, self.row);
        let entry = self.styles.length_entry(unit);
        let value = part.nominal.to_f64(unit);
        let readings = &part.readings;
        if let Known::Growth(_) = part.known {
            return Ok(());
        }
        if readings.len() < 2 {
            sheet.write_number_with_format(row, NOMINAL, value, &entry)?;
            return Ok(());
        }
        for (column, reading) in (READINGS..).zip(readings) {
            sheet.write_number_with_format(row, column, reading.to_f64(unit), &entry)?;
        }
        // Held to the same step as the library's own mean.
        let steps = unit.ticks() / Length::step(readings);
        let formula = format!("ROUND(AVERAGE({})*{steps},0)/{steps}", self.span());
        let format = self.styles.length(unit);
        put(sheet, (row, NOMINAL), &formula, value, &format)
    }

    /// The cells of the readings.
    fn span(&self) -> String {
        let last = READINGS + u16::try_from(self.part.readings.len() - 1).unwrap_or(u16::MAX);
        format!("{}:{}", self.at(READINGS), self.at(last))
    }

    /// Given, or so many standard uncertainties, rounded up as the library does.
    fn tolerance(&self, sheet: &mut Worksheet) -> Result<(), XlsxError> {
        let (part, unit, row) = (self.part, self.unit, self.row);
        let sides =
            [(MINUS, part.tolerance.minus.to_f64(unit)), (PLUS, part.tolerance.plus.to_f64(unit))];
        let steps = match &part.known {
            Known::Within(_) => {
                let entry = self.styles.length_entry(unit);
                for (column, value) in sides {
                    sheet.write_number_with_format(row, column, value, &entry)?;
                    not_below(sheet, row, column, 0.0)?;
                }
                return Ok(());
            }
            Known::Growth(_) => return Ok(()),
            Known::Standard => unit.ticks(),
            Known::Readings { .. } => unit.ticks() / Length::step(&part.readings),
        };
        let (u, k) = (self.at(STANDARD), self.factor());
        // Rounded up like the library's factors.
        let k = format!("-INT(-ROUND({k}*1000000,3))/1000000");
        for (column, value) in sides {
            let formula = format!("-INT(-ROUND(({k})*{u}*{steps},4))/{steps}");
            put(sheet, (row, column), &formula, value, &self.styles.length(unit))?;
        }
        Ok(())
    }

    /// The coverage factor that stands for the whole range of this contributor alone.
    fn factor(&self) -> String {
        match self.part.known {
            Known::Readings { .. } => super::factor_of_readings(&self.at(FREEDOM)),
            _ => super::factor(None),
        }
    }

    /// What its growth comes to, out of the cells of another row.
    fn growth(&self, sheet: &mut Worksheet, growth: &Growth, row: u32) -> Result<(), XlsxError> {
        let unit = self.unit;
        let [l, dl] = LENGTH.map(|column| cell(row, column));
        let [a, da] = EXPANSION.map(|column| cell(row, column));
        let [cold, hot] = TEMPERATURES.map(|column| cell(row, column));
        let dt = cell(row, DIFFERENCE);
        let warmer = format!("({hot}-{cold})");
        let ticks = unit.ticks();
        let format = self.styles.length(unit);
        let formula = format!("ROUND({l}*{a}*{warmer}/1000000*{ticks},0)/{ticks}");
        let value = growth.value.to_f64(unit);
        put(sheet, (self.row, NOMINAL), &formula, value, &format)?;
        // The furthest product of ends from the value as rounded, up to a tick.
        let most = format!("({l}+{dl})*({a}+{da})*(ABS({warmer})+{dt})/1000000");
        let least = format!(
            "IF(ABS({warmer})<{dt},({l}+{dl})*({a}+{da}),({l}-{dl})*({a}-{da}))*(ABS({warmer})-{dt})/1000000"
        );
        let value = format!("ABS({})", self.at(NOMINAL));
        let furthest = format!("MAX({most}-{value},{value}-{least})");
        let formula = format!("-INT(-ROUND({furthest}*{ticks},4))/{ticks}");
        let sides = [(MINUS, growth.tolerance.minus), (PLUS, growth.tolerance.plus)];
        for (column, side) in sides {
            put(sheet, (self.row, column), &formula, side.to_f64(unit), &format)?;
        }
        let formula = format!(
            "SQRT((({dl}*{a}*{warmer})^2+({l}*{da}*{warmer})^2+({l}*{a}*{dt})^2)/3)/1000000"
        );
        let standard = growth.standard.to_f64(unit);
        put(sheet, (self.row, STANDARD), &formula, standard, &format)
    }

    fn standard(&self, sheet: &mut Worksheet) -> Result<(), XlsxError> {
        let (part, unit, row) = (self.part, self.unit, self.row);
        let value = part.standard.to_f64(unit);
        let format = self.styles.length(unit);
        let at = (row, STANDARD);
        match &part.known {
            Known::Within(_) => {
                let (minus, plus, shape) = (self.at(MINUS), self.at(PLUS), self.at(KNOWN_BY));
                let formula = format!(
                    "({minus}+{plus})/2/SQRT(IF({shape}=\"triangular\",6,IF({shape}=\"normal\",4,IF({shape}=\"u-shaped\",2,3))))"
                );
                put(sheet, at, &formula, value, &format)?;
            }
            Known::Standard => {
                let entry = self.styles.length_entry(unit);
                sheet.write_number_with_format(row, STANDARD, value, &entry)?;
                not_below(sheet, row, STANDARD, 0.0)?;
            }
            Known::Readings { resolution } => {
                let entry = self.styles.length_entry(unit);
                let given = resolution.to_f64(unit);
                sheet.write_number_with_format(row, self.resolution, given, &entry)?;
                not_below(sheet, row, self.resolution, 0.0)?;
                let (span, read) = (self.span(), self.at(self.resolution));
                let formula = format!("SQRT(STDEV({span})^2/COUNT({span})+{read}^2/12)");
                put(sheet, at, &formula, value, &format)?;
            }
            Known::Growth(_) => {}
        }
        match (part.freedom, &part.known) {
            (freedom, Known::Readings { .. }) => {
                // Cut off, as the library does; without scatter there is no end to them.
                let (span, read) = (self.span(), self.at(self.resolution));
                let grown = format!("(1+{read}^2/12/(STDEV({span})^2/COUNT({span})))");
                let formula = format!(
                    "IF(STDEV({span})>0,INT((COUNT({span})-1)*{grown}^2*(1+1E-12)),\"infinite\")"
                );
                let result = freedom
                    .map_or(Cached::Text("infinite"), |freedom| Cached::Number(f64::from(freedom)));
                put(sheet, (row, FREEDOM), &formula, result, &self.styles.count)?;
            }
            (Some(freedom), _) => {
                let entry = self.styles.number_entry();
                sheet.write_number_with_format(row, FREEDOM, freedom, &entry)?;
                not_below(sheet, row, FREEDOM, 1.0)?;
            }
            (None, _) => {
                sheet.write_text(row, FREEDOM, "infinite", &self.styles.text)?;
            }
        }
        Ok(())
    }
}

/// The columns of what grows.
const LENGTH: [u16; 2] = [1, 2];
const EXPANSION: [u16; 2] = [3, 4];
const TEMPERATURES: [u16; 2] = [5, 6];
const DIFFERENCE: u16 = 7;

/// Lengths, coefficients and temperatures of what grows; returns the row behind.
fn thermal(
    sheet: &mut Worksheet,
    row: u32,
    growths: &[&Growth],
    unit: Unit,
    styles: &Styles,
) -> Result<u32, XlsxError> {
    heads(
        sheet,
        row,
        &[
            "Grows when running hot",
            "Length",
            "Length plus/minus",
            "Expansion (1e-6 per K)",
            "Expansion plus/minus",
            "Cold (degC)",
            "Running (degC)",
            "Difference plus/minus (K)",
        ],
        styles,
    )?;
    sheet.set_row_height(row, 46.0)?;
    let (length, number) = (styles.length_entry(unit), styles.number_entry());
    let mut at = row;
    for growth in growths {
        at += 1;
        let thermal = &growth.thermal;
        sheet.write_text(at, 0, &thermal.label, &styles.text)?;
        let cells = [
            (LENGTH[0], thermal.length.to_f64(unit), &length),
            (LENGTH[1], thermal.length_within.to_f64(unit), &length),
            (EXPANSION[0], thermal.expansion.value.to_f64(), &number),
            (EXPANSION[1], thermal.expansion.within.to_f64(), &number),
            (TEMPERATURES[0], thermal.cold.to_f64(), &number),
            (TEMPERATURES[1], thermal.running.to_f64(), &number),
            (DIFFERENCE, thermal.temperature_within.to_f64(), &number),
        ];
        for (column, value, format) in cells {
            sheet.write_number_with_format(at, column, value, format)?;
        }
    }
    Ok(at + 1)
}
