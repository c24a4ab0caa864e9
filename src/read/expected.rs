//! Expected value of a dimension that is not measured yet: from the pump's own range columns, or else from the past
//! readings of its model.

use std::cell::RefCell;
use std::collections::BTreeMap;

use super::gauges::Gauges;
use super::history::{History, Past, Scatter};
use super::pumps::combined;
use super::table::{Heading, Table, TableRow};
use super::{Ahead, pumps};
use crate::columns::pump_heading as heading;
use crate::forecast::{Expected, ExpectedLaw, Fit};
use crate::length::{Length, Tolerance, Uncertainty};
use crate::model::{Dimension, Model, Spread};
use crate::policy::Policy;
use crate::problem::{Place, Problem, Problems};
use crate::pump::Measured;

/// Fewest past readings for a prediction: with 7, the prediction interval at 99 % is four standard deviations wide on
/// each side. The number is our own choice, no source.
pub(super) const FEWEST: usize = 8;

/// How a problem of a value that is not known ahead begins.
pub(super) const EMPTY: &str = "an empty cell, and ";

/// Columns with the ends of a dimension's expected range.
pub(super) struct RangeColumns {
    low: Option<Heading>,
    high: Option<Heading>,
}

impl RangeColumns {
    pub(super) fn find(table: &Table<'_>, dimension: &Dimension) -> RangeColumns {
        let [low, high] = ["low", "high"].map(|behind| {
            table.either(&pumps::names(&dimension.name, &dimension.label, behind)).cloned()
        });
        RangeColumns { low, high }
    }

    /// Those of the two whose cell is filled in a row.
    fn filled(&self, line: &TableRow<'_, '_>) -> [Option<&Heading>; 2] {
        [&self.low, &self.high].map(|end| {
            let end = end.as_ref();
            end.filter(|heading| line.row.cell(heading.column).is_some())
        })
    }

    /// Whether a row states an end.
    pub(super) fn stated(&self, line: &TableRow<'_, '_>) -> bool {
        self.filled(line).iter().any(Option::is_some)
    }

    /// Range of a row, if it states a valid one.
    pub(super) fn range(
        &self,
        line: &TableRow<'_, '_>,
        dimension: &Dimension,
        problems: &mut Problems,
    ) -> Option<[Length; 2]> {
        let name = |behind: &str| format!("{} {behind}", heading(&dimension.name));
        let mut one_end = |filled: &Heading, other: &Option<Heading>, behind: &str| {
            end(line, filled, problems);
            let (place, found) = match other {
                Some(other) => {
                    (line.place(other), format!("an empty cell beside `{}`", filled.text))
                }
                None => (
                    line.place(filled),
                    format!("a value for `{}`, and no column `{}`", filled.text, name(behind)),
                ),
            };
            problems.add(Problem::new(
                place,
                found,
                "both ends of the range that is expected",
                format!("fill in `{}` as well, or clear both", name(behind)),
            ));
        };
        match self.filled(line) {
            [None, None] => None,
            [Some(low), None] => {
                one_end(low, &self.high, "high");
                None
            }
            [None, Some(high)] => {
                one_end(high, &self.low, "low");
                None
            }
            [Some(low), Some(high)] => {
                let [from, to] = [low, high].map(|heading| end(line, heading, problems));
                let (from, to) = (from?, to?);
                if from > to {
                    let shown = |heading: &Heading| {
                        line.row.cell(heading.column).map(crate::sheet::Cell::show)
                    };
                    problems.add(Problem::new(
                        line.place(low),
                        format!(
                            "`{}`, which is more than the `{}` of `{}`",
                            shown(low).unwrap_or_default(),
                            shown(high).unwrap_or_default(),
                            high.text
                        ),
                        "the least value here, the greatest there",
                        "swap the two, or correct one; check the unit of both",
                    ));
                    return None;
                }
                Some([from, to])
            }
        }
    }
}

/// One end of a range.
fn end(line: &TableRow<'_, '_>, heading: &Heading, problems: &mut Problems) -> Option<Length> {
    let length = line.length(heading, problems)?;
    if length > Length::ZERO {
        return Some(length);
    }
    problems.add(Problem::new(
        line.place(heading),
        format!("`{}`", line.row.cell(heading.column)?.show()),
        format!("a length above 0 for `{}`", heading.text),
        "type the value that is expected; check the sign and the unit",
    ));
    None
}

/// Knowledge ahead of readings.
pub(super) struct Foresight<'a> {
    ahead: &'a Ahead,
    history: Option<History>,
    /// Whether all past readings could be read; if not, that is already a problem.
    whole: bool,
    policy: &'a Policy,
    gauges: &'a Gauges,
    /// Reports that are made once per model and dimension, with the number of pumps concerned.
    said: RefCell<BTreeMap<(usize, usize), Said>>,
}

/// Facts that hold for all pumps of a model and are reported once.
#[derive(Default)]
struct Said {
    /// Pumps whose own range outranks past readings, and the first such cell.
    outranked: Option<(u32, Place)>,
    /// A law that would reach below zero, and the first pump concerned.
    cut: Option<Place>,
    /// An unknown scatter, and the first pump concerned.
    scatter: Option<Place>,
}

/// A dimension of a pump that has no reading.
pub(super) struct Unmeasured<'a, 'b> {
    pub(super) line: TableRow<'a, 'b>,
    pub(super) model: &'a Model,
    /// Index of the model in the outage, and of the dimension in the model.
    pub(super) index: (usize, usize),
    pub(super) dimension: &'a Dimension,
    /// Columns of its readings, if the sheet has any.
    pub(super) readings: &'a [Heading],
    pub(super) range: &'a RangeColumns,
    /// Place where a missing value is reported.
    pub(super) place: Place,
}

impl<'a> Foresight<'a> {
    pub(super) fn new(
        ahead: &'a Ahead,
        history: Option<History>,
        whole: bool,
        (policy, gauges): (&'a Policy, &'a Gauges),
    ) -> Foresight<'a> {
        Foresight { ahead, history, whole, policy, gauges, said: RefCell::default() }
    }

    /// Columns and rows of the past readings that are not used.
    pub(super) fn unused(&self) -> Vec<String> {
        let history = self.history.iter();
        history.flat_map(|history| history.unused.clone()).collect()
    }

    /// Expected range of the dimension, and the pump as if measured at the middle of it.
    pub(super) fn expect(
        &self,
        one: &Unmeasured<'_, '_>,
        problems: &mut Problems,
    ) -> Option<(Measured, Expected)> {
        let past = self.history.as_ref().and_then(|history| history.of(one.index.0, one.index.1));
        let expected = if one.range.stated(&one.line) {
            let [low, high] = one.range.range(&one.line, one.dimension, problems)?;
            if past.is_some() {
                let [filled, _] = one.range.filled(&one.line);
                let place = filled.map_or(one.place.clone(), |heading| one.line.place(heading));
                self.say(one, |said| {
                    let (count, _) = said.outranked.get_or_insert((0, place));
                    *count += 1;
                });
            }
            Expected { low, high, law: ExpectedLaw::Even }
        } else if self.whole {
            self.past_range(one, past, problems)?
        } else {
            return None;
        };
        let measured = self.measured(one, past, &expected, problems)?;
        Some((measured, expected))
    }

    fn past_range(
        &self,
        one: &Unmeasured<'_, '_>,
        past: Option<&Past>,
        problems: &mut Problems,
    ) -> Option<Expected> {
        let label = &one.dimension.label;
        let column = heading(&one.dimension.name);
        let mut lacks = |found: String, expected: String, fix: String| {
            problems.add(Problem::new(one.place.clone(), found, expected, fix));
        };
        let file = self.history.as_ref().map(|history| &history.file);
        let (past, file) = match (past, file) {
            (Some(past), Some(file)) => (past, file),
            (_, Some(file)) => {
                lacks(
                    format!("{EMPTY}no past readings of `{label}` in {file}"),
                    format!(
                        "a reading of `{column}`, the range that is expected, or past readings of its model"
                    ),
                    format!("fill in `{column} low` and `{column} high`, or add past readings"),
                );
                return None;
            }
            (_, None) => {
                lacks(
                    format!("{EMPTY}no range that is expected"),
                    format!("a reading of `{column}`, or `{column} low` and `{column} high`"),
                    "fill in the range that is expected, or give a workbook of past readings with --history".into(),
                );
                return None;
            }
        };
        let count = past.values.len();
        if count < FEWEST {
            let rows = match past.rows {
                rows if rows > count => format!(", the {rows} rows of one tag each put together"),
                _ => String::new(),
            };
            lacks(
                format!("{EMPTY}{count} past readings of `{label}` in {file}{rows}"),
                format!("at least {FEWEST} past readings of its model, each of another pump"),
                format!(
                    "add {} more, or fill in `{column} low` and `{column} high`",
                    FEWEST - count
                ),
            );
            return None;
        }
        let fit = past.fit?;
        // Copies, a nominal value or a coarse gauge: they do not show how much the next reading differs.
        if past.values.iter().all(|value| *value == past.values[0]) {
            lacks(
                format!("{EMPTY}{count} past readings of `{label}` in {file} that are all alike"),
                "past readings fine enough to differ".into(),
                format!(
                    "put in what was measured; if every pump really comes out the same, fill in `{column} low` and `{column} high`"
                ),
            );
            return None;
        }
        Some(self.predicted(one, &fit))
    }

    /// Range in which one more reading is expected, in whole steps, and its law.
    fn predicted(&self, one: &Unmeasured<'_, '_>, fit: &Fit) -> Expected {
        let step = self.ahead.step_of(one.model.unit).ticks().max(1);
        let [low, high] = fit.range(self.ahead.level).map(Length::ticks);
        let low = low.div_euclid(step).saturating_mul(step);
        let high = (high.saturating_add(step - 1)).div_euclid(step).saturating_mul(step);
        if low <= 0 {
            self.say(one, |said| {
                said.cut.get_or_insert(one.place.clone());
            });
        }
        // A measured value is at least one tick.
        let low = low.max(1);
        Expected {
            low: Length::from_ticks(low),
            high: Length::from_ticks(high.max(low)),
            law: fit.law(),
        }
    }

    /// The pump as if it had been measured at the middle of the range.
    fn measured(
        &self,
        one: &Unmeasured<'_, '_>,
        past: Option<&Past>,
        expected: &Expected,
        problems: &mut Problems,
    ) -> Option<Measured> {
        let (dimension, coverage) = (one.dimension, self.policy.coverage);
        let ends = [expected.low, expected.high];
        let middle = Length::mean(&ends)?;
        let mut freedom = dimension.degrees_of_freedom;
        let (tolerance, standard) = match dimension.spread {
            Spread::Within(tolerance) => {
                (tolerance, dimension.shape.standard_uncertainty(tolerance))
            }
            Spread::StandardUncertainty(u) => (Tolerance::even(coverage.extent(u, freedom)), u),
            Spread::FromReadings { resolution } => {
                let scatter = past.and_then(|past| past.scatter);
                if scatter.is_none() {
                    self.say(one, |said| {
                        said.scatter.get_or_insert(one.place.clone());
                    });
                }
                let scatter = scatter.map_or(0.0, Scatter::variance);
                // As many as the sheet has columns for, and no fewer than must be taken.
                let readings = one.readings.len().max(2);
                let (u, few) = uncertainty_ahead(readings, scatter, resolution)?;
                if u == Uncertainty::ZERO {
                    problems.add(Problem::new(
                        one.place.clone(),
                        format!("no information on the scatter of readings of `{}`", dimension.label),
                        "past readings with several of one pump, or the resolution of the gauge",
                        "give a workbook of past readings with the columns 1, 2, 3, or give the model the gauge's resolution or a plus_minus",
                    ));
                    return None;
                }
                freedom = few;
                (Tolerance::even(rounded_up(coverage.extent(u, few), &ends)), u)
            }
        };
        let gauge = self.gauges.of_dimension(dimension, one.place.clone(), problems)?;
        let (readings, value, each) = (vec![middle], middle, tolerance);
        Some(Measured { readings, value, tolerance, each, standard, freedom, gauge })
    }

    fn say(&self, one: &Unmeasured<'_, '_>, note: impl FnOnce(&mut Said)) {
        note(self.said.borrow_mut().entry(one.index).or_default());
    }

    /// Reports the facts that hold for all pumps of a model, once each.
    pub(super) fn finish(&self, models: &[Model], problems: &mut Problems) {
        let file = self.history.as_ref().map_or("", |history| &history.file);
        for (&(model, dimension), said) in self.said.borrow().iter() {
            let label = &models[model].dimensions[dimension].label;
            let column = heading(&models[model].dimensions[dimension].name);
            let model_name = &models[model].name;
            if let Some((pumps, place)) = &said.outranked {
                let past = self.history.as_ref().and_then(|h| h.of(model, dimension));
                let readings = past.map_or(0, |past| past.values.len());
                let pumps = match pumps {
                    1 => "1 pump".to_string(),
                    pumps => format!("{pumps} pumps"),
                };
                problems.warn(Problem::new(
                    place.clone(),
                    format!(
                        "a range for {pumps} of {model_name}, where {file} has {readings} past readings of `{label}` as well"
                    ),
                    "one or the other",
                    format!("the range counts; clear `{column} low` and `{column} high` if the past readings should"),
                ));
            }
            if let Some(place) = &said.cut {
                problems.warn(Problem::new(
                    place.clone(),
                    format!(
                        "past readings of `{label}` of {model_name} in {file} whose scatter is so wide that the next one could be below zero"
                    ),
                    "readings of one kind, in the right unit",
                    "check them; the range was cut off at the smallest length that there is",
                ));
            }
            if let Some(place) = &said.scatter {
                problems.warn(Problem::new(
                    place.clone(),
                    format!(
                        "no information on the scatter of readings of `{label}` of {model_name}: only the resolution of the gauge is allowed for"
                    ),
                    "past readings with several of one pump",
                    "give a workbook of past readings with the columns 1, 2, 3; measured pumps will need more room than is planned for here",
                ));
            }
        }
    }
}

/// A guard rounded up to a decimal of the unit of these lengths.
fn rounded_up(guard: Length, of: &[Length]) -> Length {
    let step = Length::step(of);
    Length::from_ticks((guard.ticks() + step - 1) / step * step)
}

/// Standard uncertainty of the mean of `n` readings that are not taken yet and scatter with this variance (in ticks
/// squared), with its degrees of freedom: the value that their own spread would give.
#[allow(clippy::cast_possible_truncation, clippy::cast_precision_loss)]
fn uncertainty_ahead(
    readings: usize,
    variance: f64,
    resolution: Length,
) -> Option<(Uncertainty, Option<u32>)> {
    let n = i128::try_from(readings).ok()?;
    // n^2 times the sum of squared deviations, which is (n - 1) times the variance.
    let squares = ((n * n * (n - 1)) as f64 * variance).ceil() as i128;
    Some(combined(n, squares, resolution))
}
