//! Contributors to a pump's requirements: the cells that a person may change.

use rust_xlsxwriter::{DataValidation, DataValidationRule, Worksheet};

use super::super::page::{Page, Written};
use super::super::style::Styles;
use super::super::table::{Cell, Cells, Value, over};
use super::{Subject, cell, factor, factor_of_readings};
use crate::length::{Length, Unit};
use crate::model::{Correlation, DerivedRule, Shape, Term};
use crate::pump::Growth;
use crate::stack::{Contributor, Derivation, Evaluation, Stack};
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
const READINGS: u16 = 10;
const HEADS: [&str; 10] = [
    "Contributor",
    "Count",
    "Nominal each",
    "Minus",
    "Plus",
    "Known by",
    "Standard uncertainty each",
    "Degrees of freedom",
    "Standard uncertainty of the lot",
    "Lot number",
];

/// Where a pump's contributors stand.
pub(super) struct Inputs {
    /// The row of the first contributor; the others follow in their order.
    first: u32,
    /// How many there are.
    count: u32,
    /// Rows of contributors, where the limits of one of them lie on one side of its stated value.
    signed: Vec<u32>,
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
        let last = self.first + self.count - 1;
        let column = |column: u16| format!("{}:{}", cell(self.first, column), cell(last, column));
        let below = |range: String| format!("MIN({range})<0");
        let mut tests = vec![below(column(COUNT))];
        match self.signed.is_empty() {
            true => tests.extend([MINUS, PLUS].map(|side| below(column(side)))),
            // With limits on one side, the width must not be below zero.
            false => {
                let width = |row: &u32| format!("{}+{}<0", cell(*row, MINUS), cell(*row, PLUS));
                tests.extend(self.signed.iter().map(width));
            }
        }
        tests.extend([below(column(STANDARD)), below(column(OF_LOT)), "coverage_factor<=0".into()]);
        tests.extend(self.pairs.iter().map(|(_, _, r)| format!("ABS({r})>1")));
        tests.join(",")
    }

    /// Writes a pump's contributors into the next rows.
    pub(super) fn write(page: &mut Page<'_>, subject: &Subject<'_>) -> Written<Inputs> {
        let (unit, styles) = (subject.model.unit, page.styles);
        page.part(format!("Pump {}: {} ({unit})", subject.tag, subject.model.title))?;
        let parts = &subject.stack.contributors;
        let readings = parts.iter().map(|part| part.readings.len()).max();
        let most = readings.filter(|n| *n > 1).unwrap_or(0);
        let resolution = READINGS + u16::try_from(most).unwrap_or(u16::MAX);
        page.cells(READINGS, (1..=most).map(|n| styles.head.of(format!("Reading {n}"))))?;
        if parts.iter().any(|part| matches!(part.evaluation, Evaluation::Readings { .. })) {
            page.cells(resolution, [styles.head.of("Resolution of the gauge")])?;
        }
        let number = resolution + 1;
        if parts.iter().any(|part| part.shape().and_then(Shape::number).is_some()) {
            let head = "Top of a trapezoid / cut of a normal (standard deviations)";
            page.cells(number, [styles.head.of(head)])?;
        }
        page.high(46.0)?;
        page.heads(&HEADS)?;
        let count = u32::try_from(parts.len()).unwrap_or(u32::MAX);
        let rows = page.row..page.row + count;
        let is_signed = !parts.iter().all(|part| part.tolerance.holds_stated());
        let signed = if is_signed { rows.collect() } else { Vec::new() };
        let mut inputs = Inputs { first: page.row, count, signed, pairs: Vec::new() };
        let mut growths = Vec::new();
        // What grows has a row of its own below the contributors and a heading.
        let below = page.row + count + 2;
        for (part, lot) in parts.iter().zip(lots(&subject.stack)) {
            let grows_at = below + u32::try_from(growths.len()).unwrap_or(u32::MAX);
            if let Evaluation::Growth(growth) = &part.evaluation {
                growths.push(growth.as_ref());
            }
            let row = page.row;
            let first = inputs.first;
            let line =
                ContributorRow { row, resolution, number, first, grows_at, part, unit, styles };
            line.write(page, lot)?;
        }
        if !growths.is_empty() {
            page.row += 1;
            thermal(page, &growths, unit)?;
        }
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
struct ContributorRow<'a> {
    row: u32,
    /// The column of the resolution, where it has readings.
    resolution: u16,
    /// The column of the number that its shape needs, where it needs one.
    number: u16,
    /// The row of the first contributor.
    first: u32,
    /// The row of lengths and temperatures, where it grows.
    grows_at: u32,
    part: &'a Contributor,
    unit: Unit,
    styles: &'a Styles,
}

impl<'a> ContributorRow<'a> {
    fn at(&self, column: u16) -> String {
        cell(self.row, column)
    }

    /// A length that follows from other cells.
    fn follows(&self, formula: &str, value: f64) -> Cell<'a> {
        self.styles.length(self.unit).owned(Value::formula(formula, value))
    }

    /// A length that may be changed.
    fn entry(&self, value: f64) -> Cell<'a> {
        self.styles.length_entry(self.unit).owned(value)
    }

    fn write(&self, page: &mut Page<'_>, lot: Option<u32>) -> Written {
        let (part, unit) = (self.part, self.unit);
        let Styles { text, count, entry, .. } = self.styles;
        let counted = match part.term {
            Term::Pack(_) => self.styles.number_entry().owned(part.count),
            // A dimension is there once, and is measured, not counted.
            _ => count.of(part.count),
        };
        let known_by = match &part.evaluation {
            Evaluation::Within(shape) if shape.number().is_some() => text.of(shape.word()),
            Evaluation::Within(shape) => entry.of(shape.word()),
            Evaluation::Standard => text.of("stated"),
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
        let of_lot = part.lot.map(|lot| self.entry(lot.standard_uncertainty.to_f64(unit)));
        let lot = lot.map(|lot| count.of(lot));
        let [of_lot, lot] = [of_lot, lot].map(|cell| cell.unwrap_or_else(|| text.blank()));
        self.rules(&mut page.sheet)?;
        page.line([text.of(&part.label), counted])?;
        if let [_, _, ..] = part.readings[..] {
            let readings = part.readings.iter().map(|reading| self.entry(reading.to_f64(unit)));
            page.behind(READINGS, readings)?;
        }
        let freedom = self.freedom();
        page.behind(NOMINAL, [nominal, minus, plus, known_by, standard, freedom, of_lot, lot])?;
        if let Evaluation::Readings { resolution } = part.evaluation {
            page.behind(self.resolution, [self.entry(resolution.to_f64(unit))])?;
        }
        if let Some(number) = part.shape().and_then(Shape::number) {
            page.behind(self.number, [self.styles.number_entry().owned(number.to_f64())])?;
        }
        Ok(())
    }

    /// Lets the cells that may be changed take only what makes sense.
    fn rules(&self, sheet: &mut Worksheet) -> Written {
        let (part, row) = (self.part, self.row);
        let number = part.shape().and_then(Shape::number);
        let is_within = part.shape().is_some();
        let is_read = matches!(part.evaluation, Evaluation::Readings { .. });
        if is_within && number.is_none() {
            let words = [Shape::Rectangular, Shape::Triangular, Shape::Normal, Shape::UShaped];
            let list = DataValidation::new().allow_list_strings(&words.map(Shape::word))?;
            sheet.add_data_validation(row, KNOWN_BY, row, KNOWN_BY, &list)?;
        }
        let least = [
            (COUNT, 0.0, matches!(part.term, Term::Pack(_))),
            (MINUS, 0.0, is_within && part.tolerance.holds_stated()),
            (PLUS, 0.0, is_within && part.tolerance.holds_stated()),
            (STANDARD, 0.0, matches!(part.evaluation, Evaluation::Standard)),
            (self.resolution, 0.0, is_read),
            (FREEDOM, 1.0, part.degrees_of_freedom.is_some() && !is_read),
            (OF_LOT, 0.0, part.lot.is_some()),
        ];
        match part.shape() {
            Some(Shape::Trapezoid { .. }) => within(sheet, (row, self.number), [0.0, 1.0])?,
            Some(Shape::TruncatedNormal { .. }) => within(sheet, (row, self.number), [0.5, 6.0])?,
            _ => {}
        }
        for (column, least, _) in least.into_iter().filter(|(_, _, may_change)| *may_change) {
            not_below(sheet, (row, column), least)?;
        }
        Ok(())
    }

    /// The value itself, or the mean of its readings.
    fn nominal(&self) -> Cell<'a> {
        let value = self.part.nominal.to_f64(self.unit);
        let readings = &self.part.readings;
        if readings.len() < 2 {
            return self.entry(value);
        }
        // Held to the same step as the library's own mean.
        let steps = self.unit.ticks() / Length::step(readings);
        self.follows(&format!("ROUND(AVERAGE({})*{steps},0)/{steps}", self.span()), value)
    }

    /// The cells of the readings.
    fn span(&self) -> String {
        let last = READINGS + u16::try_from(self.part.readings.len() - 1).unwrap_or(u16::MAX);
        format!("{}:{}", self.at(READINGS), self.at(last))
    }

    /// Given, or so many standard uncertainties, rounded up as the library does: minus and plus.
    fn tolerance(&self) -> [Cell<'a>; 2] {
        let (part, unit) = (self.part, self.unit);
        let sides = [part.tolerance.minus, part.tolerance.plus].map(|side| side.to_f64(unit));
        // The coverage factor that stands for the whole range of this contributor alone.
        let (steps, k) = match &part.evaluation {
            Evaluation::Within(_) | Evaluation::Growth(_) | Evaluation::Derived(_) => {
                return sides.map(|value| self.entry(value));
            }
            Evaluation::Standard => (unit.ticks(), factor(None)),
            Evaluation::Readings { .. } => {
                let k = factor_of_readings(&self.at(FREEDOM));
                (unit.ticks() / Length::step(&part.readings), k)
            }
        };
        let u = self.at(STANDARD);
        // Rounded up like the library's factors.
        let k = format!("-INT(-ROUND({k}*1000000,3))/1000000");
        let formula = format!("-INT(-ROUND(({k})*{u}*{steps},4))/{steps}");
        sides.map(|value| self.follows(&formula, value))
    }

    /// Its growth out of the cells of another row: nominal value, minus, plus, standard uncertainty.
    fn growth(&self, growth: &Growth) -> [Cell<'a>; 4] {
        let unit = self.unit;
        let [l, dl] = LENGTH.map(|column| cell(self.grows_at, column));
        let [a, da] = EXPANSION.map(|column| cell(self.grows_at, column));
        let [cold, hot] = TEMPERATURES.map(|column| cell(self.grows_at, column));
        let dt = cell(self.grows_at, DIFFERENCE);
        let warmer = format!("({hot}-{cold})");
        let ticks = unit.ticks();
        let nominal = format!("ROUND({l}*{a}*{warmer}/1000000*{ticks},0)/{ticks}");
        // The furthest product of ends from the value as rounded, up to a tick.
        let most = format!("({l}+{dl})*({a}+{da})*(ABS({warmer})+{dt})/1000000");
        let least = format!(
            "IF(ABS({warmer})<{dt},({l}+{dl})*({a}+{da}),({l}-{dl})*({a}-{da}))*(ABS({warmer})-{dt})/1000000"
        );
        let value = format!("ABS({})", self.at(NOMINAL));
        let furthest = format!("MAX({most}-{value},{value}-{least})");
        let side = format!("-INT(-ROUND({furthest}*{ticks},4))/{ticks}");
        let standard = format!(
            "SQRT((({dl}*{a}*{warmer})^2+({l}*{da}*{warmer})^2+({l}*{a}*{dt})^2)/3)/1000000"
        );
        [
            self.follows(&nominal, growth.value.to_f64(unit)),
            self.follows(&side, growth.tolerance.minus.to_f64(unit)),
            self.follows(&side, growth.tolerance.plus.to_f64(unit)),
            self.follows(&standard, growth.standard.to_f64(unit)),
        ]
    }

    fn standard(&self) -> Cell<'a> {
        let value = self.part.standard_uncertainty.to_f64(self.unit);
        match &self.part.evaluation {
            Evaluation::Within(known) => {
                let [minus, plus, shape] = [MINUS, PLUS, KNOWN_BY].map(|column| self.at(column));
                let number = self.at(self.number);
                match known {
                    Shape::Trapezoid { .. } => {
                        let formula = format!("({minus}+{plus})/2*SQRT((1+{number}^2)/6)");
                        return self.follows(&formula, value);
                    }
                    Shape::TruncatedNormal { .. } => {
                        let formula = format!(
                            "({minus}+{plus})/2/{number}*SQRT(1-2*{number}*NORM.S.DIST({number},FALSE)/(2*NORM.S.DIST({number},TRUE)-1))"
                        );
                        return self.follows(&formula, value);
                    }
                    Shape::Rectangular | Shape::Normal | Shape::Triangular | Shape::UShaped => {}
                }
                let formula = format!(
                    "({minus}+{plus})/2/SQRT(IF({shape}=\"triangular\",6,IF({shape}=\"normal\",4,IF({shape}=\"u-shaped\",2,3))))"
                );
                self.follows(&formula, value)
            }
            Evaluation::Readings { .. } => {
                let (span, read) = (self.span(), self.at(self.resolution));
                let formula = format!("SQRT(STDEV({span})^2/COUNT({span})+{read}^2/12)");
                self.follows(&formula, value)
            }
            Evaluation::Standard | Evaluation::Growth(_) | Evaluation::Derived(_) => {
                self.entry(value)
            }
        }
    }

    /// Its degrees of freedom.
    fn freedom(&self) -> Cell<'a> {
        match (self.part.degrees_of_freedom, &self.part.evaluation) {
            (freedom, Evaluation::Readings { .. }) => {
                // Cut off, as the library does; without scatter there is no end to them.
                let (span, read) = (self.span(), self.at(self.resolution));
                let grown = format!("(1+{read}^2/12/(STDEV({span})^2/COUNT({span})))");
                let formula = format!(
                    "IF(STDEV({span})>0,INT((COUNT({span})-1)*{grown}^2*(1+1E-12)),\"infinite\")"
                );
                let result = freedom.map_or("infinite".into(), |freedom| freedom.to_string());
                self.styles.count.of(Value::formula(&formula, result))
            }
            (freedom, Evaluation::Growth(growth)) if has_freedom(growth) => {
                let [l, dl] = LENGTH.map(|column| cell(self.grows_at, column));
                let [a, da] = EXPANSION.map(|column| cell(self.grows_at, column));
                let [cold, hot] = TEMPERATURES.map(|column| cell(self.grows_at, column));
                let (dt, t) = (cell(self.grows_at, DIFFERENCE), format!("({hot}-{cold})"));
                let moved =
                    [format!("{dl}*{a}*{t}"), format!("{l}*{da}*{t}"), format!("{l}*{a}*{dt}")];
                let parts = moved.iter().zip(FREEDOMS);
                let parts = parts.map(|(moved, column)| {
                    (format!("({moved})/SQRT(3)/1000000"), cell(self.grows_at, column))
                });
                self.effective(freedom, parts.collect())
            }
            (freedom, Evaluation::Derived(derivation)) => {
                let moved = self.moved(derivation);
                let parts = moved.into_iter().zip(&derivation.of);
                let parts = parts.map(|(moved, part)| (moved, self.of(part, FREEDOM)));
                self.effective(freedom, parts.collect())
            }
            (Some(freedom), _) => self.styles.number_entry().owned(freedom),
            (None, _) => self.styles.text.of("infinite"),
        }
    }

    /// Effective degrees of freedom of parts, each with its standard uncertainty and the cell of its own ones.
    fn effective(&self, freedom: Option<u32>, parts: Vec<(String, String)>) -> Cell<'a> {
        let fourths: Vec<String> = parts
            .iter()
            .map(|(moved, own)| format!("IF(ISNUMBER({own}),({moved})^4/{own},0)"))
            .collect();
        let fourths = fourths.join("+");
        let u = self.at(STANDARD);
        let formula =
            format!("IF({fourths}>0,MAX(1,INT({u}^4/({fourths})*(1+1E-12))),\"infinite\")");
        let result = freedom.map_or("infinite".into(), |freedom| freedom.to_string());
        self.styles.count.of(Value::formula(&formula, result))
    }

    /// The cell of a dimension that this one is worked out of.
    fn of(&self, part: &Contributor, column: u16) -> String {
        match part.term {
            Term::Dimension(at) => cell(self.first + u32::try_from(at).unwrap_or(u32::MAX), column),
            _ => self.at(column),
        }
    }

    /// The middles of the two dimensions that this one is worked out of.
    fn middles(&self, derivation: &Derivation) -> [String; 2] {
        derivation.of.each_ref().map(|part| {
            let [nominal, minus, plus] = [NOMINAL, MINUS, PLUS].map(|column| self.of(part, column));
            format!("({nominal}+({plus}-{minus})/2)")
        })
    }

    /// The standard uncertainty due to either dimension alone.
    fn moved(&self, derivation: &Derivation) -> [String; 2] {
        let [a, b] = self.middles(derivation);
        let [ua, ub] = derivation.of.each_ref().map(|part| self.of(part, STANDARD));
        match derivation.rule {
            DerivedRule::Product { per } => {
                let per = per.to_f64(self.unit);
                [format!("{b}*{ua}/{per}"), format!("{a}*{ub}/{per}")]
            }
            DerivedRule::Quotient { times } => {
                let times = times.to_f64(self.unit);
                [format!("{times}*{ua}/{b}"), format!("{times}*{a}*{ub}/{b}^2")]
            }
        }
    }

    /// A product or quotient out of the cells of its dimensions: nominal value, minus, plus, standard uncertainty.
    fn derived(&self, derivation: &Derivation) -> [Cell<'a>; 4] {
        let (part, ticks) = (self.part, self.unit.ticks());
        let value = |a: &str, b: &str| match derivation.rule {
            DerivedRule::Product { per } => format!("{a}*{b}/{}", per.to_f64(self.unit)),
            DerivedRule::Quotient { times } => format!("{}*{a}/{b}", times.to_f64(self.unit)),
        };
        let [a, b] = derivation.of.each_ref().map(|part| {
            let [nominal, minus, plus] = [NOMINAL, MINUS, PLUS].map(|column| self.of(part, column));
            [format!("({nominal}-{minus})"), format!("({nominal}+{plus})"), nominal]
        });
        let nominal = self.at(NOMINAL);
        let [am, bm] = self.middles(derivation);
        let middle = format!("ROUND(({}-{nominal})*{ticks},0)/{ticks}", value(&am, &bm));
        let corners = [(0, 0), (0, 1), (1, 0), (1, 1)]
            .map(|(i, j)| format!("ABS({}-{nominal}-{middle})", value(&a[i], &b[j])));
        let half = format!("-INT(-ROUND(MAX({})*{ticks},4))/{ticks}", corners.join(","));
        let [ma, mb] = self.moved(derivation);
        let rounded = format!("ROUND({}*{ticks},0)/{ticks}", value(&a[2], &b[2]));
        [
            self.follows(&rounded, part.nominal.to_f64(self.unit)),
            self.follows(&format!("{half}-{middle}"), part.tolerance.minus.to_f64(self.unit)),
            self.follows(&format!("{half}+{middle}"), part.tolerance.plus.to_f64(self.unit)),
            self.follows(
                &format!("SQRT(({ma})^2+({mb})^2)"),
                part.standard_uncertainty.to_f64(self.unit),
            ),
        ]
    }
}

/// The columns of what grows.
const LENGTH: [u16; 2] = [1, 2];
const EXPANSION: [u16; 2] = [3, 4];
const TEMPERATURES: [u16; 2] = [5, 6];
const DIFFERENCE: u16 = 7;
const FREEDOMS: [u16; 3] = [8, 9, 10];

/// Whether the degrees of freedom of some factor are stated.
fn has_freedom(growth: &Growth) -> bool {
    growth.thermal.degrees_of_freedom.iter().any(Option::is_some)
}

/// Lengths, coefficients and temperatures of what grows, in these columns.
fn thermal(page: &mut Page<'_>, growths: &[&Growth], unit: Unit) -> Written {
    let heads = [
        "Grows when running hot",
        "Length",
        "Length plus/minus",
        "Expansion (1e-6 per K)",
        "Expansion plus/minus",
        "Cold (degC)",
        "Running (degC)",
        "Difference plus/minus (K)",
    ];
    page.high(46.0)?;
    if growths.iter().any(|growth| has_freedom(growth)) {
        let of = ["length", "expansion", "difference"];
        let heads = of.map(|of| page.styles.head.of(format!("Degrees of freedom of {of}")));
        page.cells(FREEDOMS[0], heads)?;
    }
    page.heads(&heads)?;
    let styles = page.styles;
    let (length, number) = (styles.length_entry(unit), styles.number_entry());
    for thermal in growths.iter().map(|growth| &growth.thermal) {
        page.line([
            styles.text.of(&thermal.label),
            length.of(thermal.length.to_f64(unit)),
            length.of(thermal.length_within.to_f64(unit)),
            number.of(thermal.expansion.value.to_f64()),
            number.of(thermal.expansion.within.to_f64()),
            number.of(thermal.cold.to_f64()),
            number.of(thermal.running.to_f64()),
            number.of(thermal.temperature_within.to_f64()),
        ])?;
        let freedoms = thermal.degrees_of_freedom;
        if freedoms.iter().any(Option::is_some) {
            let shown = freedoms.map(|freedom| match freedom {
                Some(freedom) => number.of(freedom),
                None => styles.text.of("infinite"),
            });
            page.behind(FREEDOMS[0], shown)?;
        }
    }
    Ok(())
}
