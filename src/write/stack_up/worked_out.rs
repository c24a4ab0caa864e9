//! Contributors that are worked out of other cells: growths, and products and quotients of dimensions.

use super::super::page::{Page, Written};
use super::super::table::{Cell, Cells, Value};
use super::cell;
use super::inputs::{ContributorRow, FREEDOM, MINUS, NOMINAL, PLUS, STANDARD};
use crate::length::Unit;
use crate::model::{DerivedRule, Term};
use crate::pump::Growth;
use crate::stack::{Contributor, Derivation};

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

impl<'a> ContributorRow<'a> {
    /// Its growth out of the cells of another row: nominal value, minus, plus, standard uncertainty.
    pub(super) fn growth(&self, growth: &Growth) -> [Cell<'a>; 4] {
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

    /// Degrees of freedom of a growth: effective ones where some are stated.
    pub(super) fn freedom_of_growth(&self, growth: &Growth) -> Cell<'a> {
        if !has_freedom(growth) {
            return self.styles.text.of("infinite");
        }
        let [l, dl] = LENGTH.map(|column| cell(self.grows_at, column));
        let [a, da] = EXPANSION.map(|column| cell(self.grows_at, column));
        let [cold, hot] = TEMPERATURES.map(|column| cell(self.grows_at, column));
        let (dt, t) = (cell(self.grows_at, DIFFERENCE), format!("({hot}-{cold})"));
        let moved = [format!("{dl}*{a}*{t}"), format!("{l}*{da}*{t}"), format!("{l}*{a}*{dt}")];
        let parts = moved.iter().zip(FREEDOMS).map(|(moved, column)| {
            (format!("({moved})/SQRT(3)/1000000"), cell(self.grows_at, column))
        });
        self.effective(parts.collect())
    }

    /// Degrees of freedom of a product or a quotient.
    pub(super) fn freedom_of_derived(&self, derivation: &Derivation) -> Cell<'a> {
        let parts = self.moved(derivation).into_iter().zip(&derivation.of);
        self.effective(parts.map(|(moved, part)| (moved, self.of(part, FREEDOM))).collect())
    }

    /// Effective degrees of freedom of parts, each with its standard uncertainty and the cell of its own ones.
    fn effective(&self, parts: Vec<(String, String)>) -> Cell<'a> {
        let fourths: Vec<String> = parts
            .iter()
            .map(|(moved, own)| format!("IF(ISNUMBER({own}),({moved})^4/{own},0)"))
            .collect();
        let fourths = fourths.join("+");
        let u = self.at(STANDARD);
        let formula =
            format!("IF({fourths}>0,MAX(1,INT({u}^4/({fourths})*(1+1E-12))),\"infinite\")");
        let freedom = self.part.degrees_of_freedom;
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
    pub(super) fn derived(&self, derivation: &Derivation) -> [Cell<'a>; 4] {
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
        // Both rounded, as the library does: their difference would be rounded another way.
        let middle = format!("(ROUND({}*{ticks},0)/{ticks}-{nominal})", value(&am, &bm));
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

/// Lengths, coefficients and temperatures of what grows, in these columns.
pub(super) fn thermal(page: &mut Page<'_>, growths: &[&Growth], unit: Unit) -> Written {
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
