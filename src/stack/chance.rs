//! Chance that a requirement is met, with the law that it rests on, and never more than that law can show.
//!
//! # Decisions
//!
//! - A tail of Student's distribution with effective degrees of freedom (Welch-Satterthwaite) is an approximation that
//!   was made for coverage factors. It is not shown below 0.1 %: our own choice, no source.
//! - Draws without a miss show a chance of a miss below 3 / n, with 95 % confidence: 1 - 0.05^(1/n) is less. Source: the
//!   rule of three, J. A. Hanley and A. Lippman-Hand, JAMA 249 (1983) 1743-1745 (from memory).

use std::fmt;

use super::{Guard, Judgement, Report};

/// Chance that both limits hold, and its law.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Chance {
    /// Probability of conformity, 0 to 1, as computed.
    pub conforming: f64,
    /// Law that it rests on.
    pub law: ChanceLaw,
}

/// Law behind a chance.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ChanceLaw {
    /// The value is taken as normal.
    Normal,
    /// The value is taken as Student's t with these effective degrees of freedom.
    Student(u32),
    /// Counted over so many draws.
    Draws(u64),
}

impl ChanceLaw {
    fn draws(self) -> u64 {
        match self {
            ChanceLaw::Draws(draws) => draws,
            ChanceLaw::Normal | ChanceLaw::Student(_) => 0,
        }
    }

    /// Least chance of a miss that it can show.
    fn least_tail(self) -> f64 {
        match self {
            ChanceLaw::Normal => 0.0,
            ChanceLaw::Student(_) => LEAST_TAIL,
            #[allow(clippy::cast_precision_loss)]
            ChanceLaw::Draws(draws) => 3.0 / draws.max(3) as f64,
        }
    }
}

impl fmt::Display for ChanceLaw {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            ChanceLaw::Normal => f.write_str("normal"),
            ChanceLaw::Student(1) => f.write_str("Student's t, 1 degree of freedom"),
            ChanceLaw::Student(freedom) => write!(f, "Student's t, {freedom} degrees of freedom"),
            ChanceLaw::Draws(draws) => write!(f, "{draws} draws"),
        }
    }
}

/// Least tail of Student's distribution that is shown.
const LEAST_TAIL: f64 = 0.001;

impl Chance {
    /// Chance by the figures of a report; of two sides with other degrees of freedom, the fewer count.
    pub fn of(report: &Report) -> Chance {
        let freedom = report.sides.iter().filter_map(|side| side.degrees_of_freedom);
        let fewest = freedom.min_by(f64::total_cmp);
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
        let whole = |freedom: f64| (freedom * (1.0 + 1e-12)).floor().clamp(1.0, 1e9) as u32;
        let law = fewest.map_or(ChanceLaw::Normal, |freedom| ChanceLaw::Student(whole(freedom)));
        Chance { conforming: report.conforming, law }
    }

    /// Probability of conformity, no nearer to 0 or 1 than its law can show.
    pub fn claimed(self) -> f64 {
        let [least, most] = self.shown();
        self.conforming.clamp(least, most)
    }

    /// Least and greatest chance that its law can show.
    fn shown(self) -> [f64; 2] {
        let tail = self.law.least_tail();
        [tail, 1.0 - tail]
    }
}

impl fmt::Display for Chance {
    /// `93.21 % (normal)`, cut off so that it is never rounded up; `above 99.9 % (Student's t, 3 degrees of freedom)`
    /// where the law shows no more.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let [least, most] = self.shown();
        let law = self.law;
        let counted = matches!(law, ChanceLaw::Draws(_));
        match self.conforming {
            // Of draws only none or all of them say no more than a bound.
            all if all >= 1.0 && counted => {
                write!(f, "{} ({law})", met_by_all(self.law.draws()))
            }
            none if none <= 0.0 && counted => {
                write!(f, "{} ({law})", missed_by_none(self.law.draws()))
            }
            high if !counted && high > most => write!(f, "above {} % ({law})", 100.0 * most),
            low if !counted && low < least => write!(f, "below {} % ({law})", 100.0 * least),
            between => write!(f, "{:.2} % ({law})", (between * 1e4 + 1e-9).floor() / 100.0),
        }
    }
}

/// Percent, rounded up to two digits, and the number of places that this takes.
fn rounded_up(percent: f64) -> (f64, usize) {
    let places = (1.0 - percent.log10().floor()).max(0.0);
    let scale = 10_f64.powf(places);
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
    let whole = places as usize;
    ((percent * scale - 1e-9).ceil() / scale, whole)
}

/// Chance of conformity that `draws` draws without a miss leave, in words: `above 99.9981 %`.
pub fn met_by_all(draws: u64) -> String {
    let (bound, places) = rounded_up(100.0 * ChanceLaw::Draws(draws).least_tail());
    format!("above {:.places$} %", 100.0 - bound)
}

/// Chance of a miss that `draws` draws without one leave, in words: `below 0.0019 %`.
pub fn missed_by_none(draws: u64) -> String {
    let (bound, places) = rounded_up(100.0 * ChanceLaw::Draws(draws).least_tail());
    format!("below {bound:.places$} %")
}

/// Level that a rule without one of its own is held against. Common practice, no source.
pub const USUAL_LEVEL: f64 = 0.95;

/// Level that a rule promises: that of the coverage factor under the expanded rule, else 95 %.
pub fn promised(guard: Guard, report: &Report) -> f64 {
    match guard {
        Guard::Expanded(_) => report.sides[0].level.min(report.sides[1].level),
        Guard::None | Guard::WorstCase => USUAL_LEVEL,
    }
}

/// Whether rule and chance contradict each other: met with a chance below the level, or not met, or not proven, with one
/// of at least the level.
pub fn contradicts(judgement: Judgement, chance: Chance, level: f64) -> bool {
    // The last digits of a chance at the very level are no contradiction.
    match judgement {
        Judgement::Met => chance.conforming < level - 1e-9,
        Judgement::NotProven | Judgement::NotMet => chance.conforming >= level,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn said(conforming: f64, law: ChanceLaw) -> String {
        Chance { conforming, law }.to_string()
    }

    /// By hand: 3 / 160,000 is 0.001875 %, rounded up to 0.0019 %.
    #[test]
    fn a_chance_claims_no_more_than_its_law_shows() {
        let (draws, few) = (ChanceLaw::Draws(160_000), ChanceLaw::Student(3));
        assert_eq!(said(1.0, draws), "above 99.9981 % (160000 draws)");
        assert_eq!(said(0.0, draws), "below 0.0019 % (160000 draws)");
        assert_eq!(said(0.999_99, draws), "99.99 % (160000 draws)");
        let student = "(Student's t, 3 degrees of freedom)";
        assert_eq!(said(0.999_999, few), format!("above 99.9 % {student}"));
        assert_eq!(said(0.000_001, few), format!("below 0.1 % {student}"));
        assert_eq!(said(0.998_999, few), format!("99.89 % {student}"));
        assert_eq!(said(0.949_999, ChanceLaw::Normal), "94.99 % (normal)");
        assert_eq!(said(0.95, ChanceLaw::Normal), "95.00 % (normal)");
    }

    #[test]
    fn rule_and_chance_contradict_each_other_either_way() {
        use Judgement::{Met, NotMet, NotProven};
        let chance = |conforming| Chance { conforming, law: ChanceLaw::Normal };
        assert!(contradicts(Met, chance(0.949), 0.95) && !contradicts(Met, chance(0.95), 0.95));
        for not in [NotMet, NotProven] {
            assert!(contradicts(not, chance(0.95), 0.95) && !contradicts(not, chance(0.949), 0.95));
        }
    }
}
