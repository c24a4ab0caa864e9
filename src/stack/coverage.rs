//! Coverage factor: the number of combined standard uncertainties that are kept clear of a limit.
//!
//! # Decision
//!
//! Degrees of freedom are cut off to a whole number, 1,000 at most, not interpolated: JCGM 100:2008, G.4.1, allows
//! both, and this is a little too wide.

use std::collections::HashMap;
use std::fmt;
use std::sync::{LazyLock, RwLock};

use statrs::distribution::{ContinuousCDF, Normal, StudentsT};

use crate::decimal::Millionths;
use crate::gauge::Certified;
use crate::length::{Length, Uncertainty};

/// Coverage factor k, given or from a level of confidence.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Coverage {
    /// Factor, in millionths.
    Factor(Millionths),
    /// Level of confidence, below 1; the factor follows from it and from the effective degrees of freedom.
    Level(Millionths),
}

impl fmt::Display for Coverage {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Coverage::Factor(factor) => write!(f, "{factor}"),
            Coverage::Level(level) => write!(f, "{} %", *level * 100),
        }
    }
}

impl Coverage {
    /// Reads `2`, a factor from 1 to 10, or `95 %`, a level from 50 to 99.99 %; `None` for anything else. A
    /// number below 1 is no factor: a spreadsheet keeps 95 % as 0.95, which would be far too narrow.
    pub fn parse(text: &str) -> Option<Coverage> {
        let number = |text: &str| Millionths::parse(text.trim());
        match text.trim().strip_suffix('%') {
            None => number(text)
                .filter(|k| (1_000_000..=10_000_000).contains(&k.raw()))
                .map(Coverage::Factor),
            Some(percent) => number(percent)
                .filter(|p| (50_000_000..=99_990_000).contains(&p.raw()) && p.raw() % 100 == 0)
                .map(|p| Coverage::Level(Millionths::from_raw(p.raw() / 100))),
        }
    }
}

/// Factors in millionths, by level in millionths and degrees of freedom.
type Factors = HashMap<(i64, Option<u32>), i64>;

/// Degrees of freedom above which the factor for 1,000 is used: slightly too wide.
const MOST_FREEDOM: u32 = 1_000;

impl Coverage {
    /// Coverage factor for these degrees of freedom (`None`: taken as exactly known), rounded up to a
    /// millionth.
    ///
    /// Source: JCGM 100:2008, G.3.2 and G.4.1 (from memory): the two-sided quantile of Student's
    /// distribution, or of the normal distribution without degrees of freedom.
    ///
    /// ```
    /// use gapwright::decimal::Millionths;
    /// use gapwright::stack::Coverage;
    /// let level = Coverage::Level(Millionths::parse("0.99").unwrap());
    /// // JCGM 100:2008, table G.2 prints 2.92 for 16 degrees of freedom and 2.576 without end.
    /// assert_eq!(level.factor(Some(16)).to_string(), "2.920782");
    /// assert_eq!(level.factor(None).to_string(), "2.57583");
    /// ```
    pub fn factor(self, freedom: Option<u32>) -> Millionths {
        static KNOWN: LazyLock<RwLock<Factors>> = LazyLock::new(RwLock::default);
        let level = match self {
            Coverage::Factor(factor) => return factor,
            Coverage::Level(level) => level,
        };
        let freedom = freedom.map(|freedom| freedom.clamp(1, MOST_FREEDOM));
        let key = (level.raw(), freedom);
        if let Some(&known) = KNOWN.read().ok().as_ref().and_then(|known| known.get(&key)) {
            return Millionths::from_raw(known);
        }
        let exact = quantile(level.to_f64(), freedom.map(f64::from));
        #[allow(clippy::cast_possible_truncation)]
        let raw = (exact * 1e6).ceil() as i64;
        if let Ok(mut known) = KNOWN.write() {
            known.insert(key, raw);
        }
        Millionths::from_raw(raw)
    }

    /// Factor that gives the worst-case range of a mean of few readings: exceeded with the same probability
    /// as the factor itself for an exactly known uncertainty.
    ///
    /// ```
    /// use gapwright::decimal::Millionths;
    /// use gapwright::stack::Coverage;
    /// let two = Coverage::Factor(Millionths::from_raw(2_000_000));
    /// // 95.45 % of Student's distribution with 2 degrees of freedom: table G.2 prints 4.53.
    /// assert_eq!(two.of_readings(2).to_string(), "4.526551");
    /// ```
    pub fn of_readings(self, freedom: u32) -> Millionths {
        #[allow(clippy::cast_possible_truncation)]
        let level = (self.level(None) * 1e6).round() as i64;
        Coverage::Level(Millionths::from_raw(level)).factor(Some(freedom))
    }

    /// Range either way in the worst case of a value with this standard uncertainty, rounded up: the factor for an
    /// exactly known one, that of [`Coverage::of_readings`] for one with degrees of freedom.
    pub fn extent(self, standard: Uncertainty, freedom: Option<u32>) -> Length {
        standard.times_up(freedom.map_or(self.factor(None), |few| self.of_readings(few)))
    }

    /// Uncertainty with its range in the worst case.
    pub fn certified(self, standard: Uncertainty, freedom: Option<u32>) -> Certified {
        Certified { standard, extent: self.extent(standard, freedom), freedom }
    }

    /// Coverage factor as a float, not rounded.
    pub fn exact(self, freedom: Option<u32>) -> f64 {
        match self {
            Coverage::Factor(factor) => factor.to_f64(),
            Coverage::Level(level) => {
                let freedom = freedom.map(|freedom| freedom.clamp(1, MOST_FREEDOM));
                quantile(level.to_f64(), freedom.map(f64::from))
            }
        }
    }

    /// Level of confidence of the factor with these degrees of freedom.
    pub fn level(self, freedom: Option<u32>) -> f64 {
        match self {
            Coverage::Level(level) => level.to_f64(),
            Coverage::Factor(factor) => {
                let k = factor.to_f64();
                let above = match freedom.and_then(|f| StudentsT::new(0.0, 1.0, f.into()).ok()) {
                    Some(student) => student.sf(k),
                    None => Normal::standard().sf(k),
                };
                1.0 - 2.0 * above
            }
        }
    }
}

/// Two-sided quantile of Student's distribution, or of the normal one without degrees of freedom.
fn quantile(level: f64, freedom: Option<f64>) -> f64 {
    let below = f64::midpoint(1.0, level);
    match freedom.and_then(|freedom| StudentsT::new(0.0, 1.0, freedom).ok()) {
        Some(student) => student.inverse_cdf(below),
        None => Normal::standard().inverse_cdf(below),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Source: JCGM 100:2008, table G.2 (from memory, two places printed); further digits from SciPy 1.17.1,
    /// scipy.stats.t.ppf, the last row from mpmath's regularised incomplete beta.
    #[test]
    fn factors_are_those_of_the_table_of_students_distribution() {
        for (level, freedom, factor) in [
            ("0.95", 1, 12.706_204_736_174_707),
            ("0.95", 2, 4.302_652_729_696_142),
            ("0.95", 10, 2.228_138_851_964_939),
            ("0.95", 16, 2.119_905_299_221_256),
            ("0.99", 16, 2.920_781_622_425_27),
            ("0.99", 5, 4.032_142_983_555_228),
            ("0.9545", 50, 2.051_250_781_851_882),
        ] {
            let level = Coverage::Level(Millionths::parse(level).unwrap_or_default());
            let found = level.exact(Some(freedom));
            assert!((found / factor - 1.0).abs() < 1e-9, "{found} for {factor}");
        }
    }

    /// Source: JCGM 100:2008, table G.1 (from memory): 2 stands for 95.45 %, 3 for 99.73 %.
    #[test]
    fn a_factor_comes_to_its_level() {
        let two = Coverage::Factor(Millionths::from_raw(2_000_000));
        assert!((two.level(None) - 0.954_499_736).abs() < 1e-9);
        assert!(two.level(Some(3)) < 0.87);
    }
}
