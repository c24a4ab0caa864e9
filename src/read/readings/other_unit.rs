//! Asks about a bench reading that is far from the prediction, and near it in another unit than the one of its label:
//! `21.2` in a cell of inches where 0.0212 is expected is 21.2 thou, and `0.54` there is 0.54 mm.

use super::Note;
use crate::accounting::{pack_total, verdicts};
use crate::job::Job;
use crate::length::{Fine, Length, LengthError, Unit};
use crate::model::Model;
use crate::plan::PackPick;
use crate::problem::{Place, Problem, Problems};
use crate::pump::Pump;
use crate::recheck::{Of, Reading};
use crate::show::{self, Round};

/// Times that a reading must lie beyond all that is expected before it is asked about. The units are at least 25.4
/// apart; five is about the root of that. Our own choice, no source.
const TIMES: i128 = 5;

/// Units that a reading may have been taken in.
const UNITS: [Unit; 4] = [Unit::Inch, Unit::Thou, Unit::Millimetre, Unit::Micrometre];

/// Values of a reading that need no question: the prediction, and what lies between the limits.
struct Band {
    low: i128,
    high: i128,
}

impl Band {
    /// Of a part of a kit; `None` where nothing is predicted for it.
    fn of(job: &Job, pump: &Pump, kit: &[PackPick], of: Of) -> Option<Band> {
        match of {
            Of::Pack(place) => {
                let total = Fine::from(pack_total(job, kit.get(place)?).0).raw();
                (total > 0).then_some(Band { low: total, high: total })
            }
            Of::Requirement(at) => {
                let verdict = verdicts(job, pump, kit).into_iter().nth(at)?;
                let value = verdict.value;
                Some(Band {
                    low: verdict.lower.map_or(value, |lower| lower.min(value)).raw(),
                    high: verdict.upper.map_or(value, |upper| upper.max(value)).raw(),
                })
            }
        }
    }

    /// How many times beyond the band a length lies, as a fraction of two lengths; `None` within it, or where a ratio
    /// says nothing: near zero.
    fn beyond(&self, length: Length) -> Option<[i128; 2]> {
        let length = Fine::from(length).raw();
        if length > self.high && self.high > 0 {
            Some([length, self.high])
        } else if length < self.low && length > 0 {
            Some([self.low, length])
        } else {
            None
        }
    }
}

/// The question, where a reading took its unit from its label and is nearer to the prediction in another unit. Who types
/// the unit with the number is not asked.
pub(super) fn ask(
    job: &Job,
    pump: &Pump,
    (of, note): (Of, &Note),
    reading: Reading,
    kit: &[PackPick],
    problems: &mut Problems,
) -> Option<Reading> {
    let unit = note.unit.filter(|_| !has_unit(&note.text));
    let question = unit.and_then(|unit| question(job, pump, of, (&note.text, unit, &note.at), kit));
    match question {
        None => Some(reading),
        Some(problem) => {
            problems.add(problem);
            None
        }
    }
}

/// The question about a bare number in a cell of this unit, where it is far from the prediction and nearer in another unit.
pub fn question(
    job: &Job,
    pump: &Pump,
    of: Of,
    (text, unit, at): (&str, Unit, &Place),
    kit: &[PackPick],
) -> Option<Problem> {
    let as_it_is = Reading::parse(text, Some(unit), Length::ZERO).ok()?.value;
    let band = Band::of(job, pump, kit, of)?;
    let [far, near] = band.beyond(as_it_is).filter(|[far, near]| *far > TIMES * near)?;
    // In order of the distance that is left: a fraction is less if its cross product is.
    let other = UNITS.into_iter().filter(|other| *other != unit).filter_map(|other| {
        let value = Reading::parse(text, Some(other), Length::ZERO).ok()?.value;
        let [beyond, edge] = band.beyond(value).unwrap_or([1, 1]);
        let nearer = value > Length::ZERO && beyond <= TIMES * edge;
        (nearer && beyond * near < far * edge).then_some((beyond * 1_000 / edge, other, value))
    });
    let (_, other, value) = other.min_by_key(|(beyond, ..)| *beyond)?;
    Some(problem(job.model_of(pump), (text, at), (unit, as_it_is), (other, value), &band))
}

/// Whether a text states its unit.
fn has_unit(text: &str) -> bool {
    Reading::parse(text, None, Length::ZERO) != Err(LengthError::NoUnit)
}

fn problem(
    model: &Model,
    (text, at): (&str, &Place),
    (unit, as_it_is): (Unit, Length),
    (other, meant): (Unit, Length),
    band: &Band,
) -> Problem {
    let own = model.unit;
    let shown = |length: Fine| show::stated(length, own, Round::Nearest);
    let [low, high] = [band.low, band.high].map(|end| shown(Fine::from_raw(end)));
    let expected = if low == high { low } else { format!("{low} to {high}") };
    Problem::new(
        at.clone(),
        format!(
            "`{text}`, which is {} {own}, where about {expected} {own} is expected",
            shown(as_it_is.into())
        ),
        format!("{text} {other} (that is {} {own}), or {text} {unit}", shown(meant.into())),
        format!("type the reading with its unit: `{text} {other}`, or `{text} {unit}` if it is so"),
    )
}
