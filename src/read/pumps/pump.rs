//! Reads one row of the Pumps sheet: a pump, or every problem of it.

use itertools::Itertools;

use super::super::expected::{EMPTY, Foresight, Unmeasured};
use super::super::gauges::Gauges;
use super::super::questions;
use super::super::stock::THICK;
use super::super::table::{Heading, TableRow};
use super::columns::{Columns, ConsumableColumns};
use crate::day;
use crate::forecast::Expected;
use crate::job::{MissingReading, NotMeasured, PumpAhead};
use crate::length::{Fine, Length, Unit};
use crate::model::{Dimension, Form, Model, Requirement, Spread, Term, Thermal};
use crate::packing::RingSpace;
use crate::policy::Policy;
use crate::problem::{Place, Problem, Problems};
use crate::pump::{ConsumableFit, Due, Growth, Measured, Pump};
use crate::sheet::Cell;
use crate::stack::{Lack, measured};
use crate::stock::Code;

/// Share of the standard uncertainty from which terms of the second order are warned of. Our own choice, no source.
const SECOND_ORDER: f64 = 0.05;

/// Reads one row.
pub(super) struct PumpReader<'a> {
    pub(super) line: TableRow<'a, 'a>,
    pub(super) model: &'a Model,
    pub(super) columns: &'a Columns,
    pub(super) policy: &'a Policy,
    pub(super) gauges: &'a Gauges,
    /// Knowledge ahead of readings.
    pub(super) foresight: &'a Foresight<'a>,
    /// Whether the outage is still to come: then a pump that is not measured stands among the others.
    pub(super) before: bool,
    pub(super) tag: Option<&'a Heading>,
}

/// A row that could be read, with the places of its fit codes.
pub(super) enum Row {
    /// A pump, and the expected ranges of its dimensions.
    Measured(Pump, Vec<Option<Expected>>, Vec<Place>),
    NotMeasured(Waiting),
}

/// A pump that is not measured yet, and the codes that it will ask for.
pub(in crate::read) struct Waiting {
    pub(in crate::read) pump: NotMeasured,
    pub(in crate::read) fits: Vec<Code>,
    pub(super) fit_places: Vec<Place>,
    /// Its consumables by their codes, where it states them; ring spaces are left out.
    pub(in crate::read) consumables: Vec<ConsumableFit>,
}

/// A value that is measured, or the readings that are missing for it.
type Reading<T> = Result<T, Vec<MissingReading>>;

/// A dimension as measured, or as it is expected.
type Known = (Measured, Option<Expected>);

/// All values, or every reading that is missing.
fn together<T>(values: impl IntoIterator<Item = Reading<T>>) -> Reading<Vec<T>> {
    let (mut whole, mut missing) = (Vec::new(), Vec::new());
    for value in values {
        match value {
            Ok(value) => whole.push(value),
            Err(readings) => missing.extend(readings),
        }
    }
    if missing.is_empty() { Ok(whole) } else { Err(missing) }
}

impl PumpReader<'_> {
    pub(super) fn pump(
        &self,
        tag: Option<String>,
        model: usize,
        carried: &[&Heading],
        problems: &mut Problems,
    ) -> Option<Row> {
        let line = &self.line;
        let optional = |name: &str| line.table.optional(name);
        let priority = self.priority(problems);
        let fits: Vec<Option<(Code, Place)>> = self
            .columns
            .fits
            .iter()
            .map(|column| {
                let code = line.needed_text(column.as_ref(), problems)?;
                Some((Code::new(&code), line.place(column.as_ref()?)))
            })
            .collect();
        let dimensions: Vec<Option<Reading<Known>>> = (0..self.model.dimensions.len())
            .map(|index| self.dimension(model, index, problems))
            .collect();
        let growths: Vec<Option<Growth>> = self
            .model
            .thermals
            .iter()
            .zip(&self.columns.thermals)
            .map(|(thermal, columns)| self.growth(thermal, columns, problems))
            .collect();
        let requirements: Vec<Option<Requirement>> = self
            .model
            .requirements
            .iter()
            .zip(&self.columns.limits)
            .map(|(requirement, columns)| self.requirement(requirement, columns, problems))
            .collect();
        let due = optional("Due").and_then(|h| {
            let cell = line.cell(h, problems)?;
            let due = due(cell);
            line.due_in_doubt(h, cell, problems)?;
            if due.serial.is_infinite() {
                problems.warn(Problem::new(
                    line.place(h),
                    format!("`{}`, which is not a date", due.shown),
                    "a date cell, or 2027-03-15",
                    "correct it, or this pump's slip comes last",
                ));
            }
            Some(due)
        });
        let location = line.text(optional("Location"), problems);
        let note = line.text(optional("Note"), problems);
        let carried = carried
            .iter()
            .filter_map(|h| Some((h.text.clone(), line.row.cell(h.column)?.show())))
            .collect();
        let consumables: Vec<Option<Code>> = self
            .columns
            .consumables
            .iter()
            .map(|columns| Some(Code::new(&line.text(columns.fit.as_ref(), problems)?)))
            .collect();
        let rings: Vec<Option<Reading<_>>> =
            self.columns.consumables.iter().map(|columns| self.ring(columns, problems)).collect();
        let (fits, fit_places): (Vec<Code>, _) =
            fits.into_iter().collect::<Option<Vec<_>>>()?.into_iter().unzip();
        let dimensions = dimensions.into_iter().collect::<Option<Vec<_>>>()?;
        let rings = together(rings.into_iter().collect::<Option<Vec<_>>>()?);
        let (tag, priority) = (tag?, priority?);
        let growths = growths.into_iter().collect::<Option<_>>()?;
        let requirements = requirements.into_iter().collect::<Option<_>>()?;
        let fit = |(code, space)| ConsumableFit { code, space };
        let spaces = rings.as_deref().unwrap_or_default().iter().copied();
        let spaces = spaces.chain(std::iter::repeat(None));
        let pump = Pump {
            tag,
            model,
            priority,
            due,
            location,
            note,
            carried,
            consumable_fits: consumables.into_iter().zip(spaces).map(fit).collect(),
            fits,
            dimensions: Vec::new(),
            growths,
            derived: self.model.derived.clone(),
            correlations: self.model.correlations.clone(),
            requirements,
            row: line.row.number,
        };
        let (dimensions, expected): (_, Vec<Option<Expected>>) =
            match (together(dimensions.clone()), rings) {
                (Ok(dimensions), Ok(_)) => dimensions.into_iter().unzip(),
                (all, rings) => {
                    let missing = [all.err(), rings.err()].into_iter().flatten().flatten();
                    let (fits, consumables) = (pump.fits.clone(), pump.consumable_fits.clone());
                    let pump = NotMeasured {
                        tag: pump.tag.clone(),
                        model,
                        priority,
                        due: pump.due.clone(),
                        location: pump.location.clone(),
                        waits_for: missing.collect(),
                        ahead: self.ahead(pump, dimensions, problems).map(Box::new),
                    };
                    return Some(Row::NotMeasured(Waiting { pump, fits, fit_places, consumables }));
                }
            };
        let pump = Pump { dimensions, ..pump };
        self.check_derived(&pump, &expected, problems)?;
        self.ask_about_reach(&pump, &expected, problems);
        Some(Row::Measured(pump, expected, fit_places))
    }

    /// A pump that is not measured as it is expected, from what is known of its dimensions ahead, or why it is not known so. A range
    /// that cannot be read is a warning: nothing is planned by it.
    fn ahead(
        &self,
        pump: Pump,
        dimensions: Vec<Reading<Known>>,
        problems: &mut Problems,
    ) -> Result<PumpAhead, String> {
        let known = |(index, reading): (usize, Reading<Known>)| match reading {
            Ok(known) => Ok::<Known, String>(known),
            Err(_) => {
                let mut found = Problems::new();
                let expected =
                    self.foresight.expect(&self.unmeasured(pump.model, index), &mut found);
                let first = found.sorted().first().map(|problem| problem.found.clone());
                let stated = self.columns.ranges[index].stated(&self.line);
                for (_, problem) in found.by_place().into_iter().filter(|_| stated) {
                    problems.warn(problem.clone());
                }
                let (measured, expected) = expected.ok_or_else(|| {
                    let lack = first.unwrap_or_else(|| "no past readings".into());
                    let label = &self.model.dimensions[index].label;
                    format!("{label}: {}", lack.strip_prefix(EMPTY).unwrap_or(&lack))
                })?;
                Ok((measured, Some(expected)))
            }
        };
        let known = dimensions.into_iter().enumerate().map(known).collect::<Result<Vec<_>, _>>()?;
        let (dimensions, expected): (_, Vec<Option<Expected>>) = known.into_iter().unzip();
        for derived in &pump.derived {
            if derived.of.iter().any(|&at| expected[at].is_some()) {
                return Err(format!(
                    "{} is worked out of a dimension that is not measured",
                    derived.label
                ));
            }
        }
        let pump = Pump { dimensions, ..pump };
        self.ask_about_reach(&pump, &expected, problems);
        Ok(PumpAhead { pump, expected })
    }

    /// A dimension without its readings.
    fn unmeasured(&self, model: usize, index: usize) -> Unmeasured<'_, '_> {
        let columns = &self.columns.dimensions[index];
        let place = columns.first().or(self.tag);
        Unmeasured {
            line: self.line,
            model: self.model,
            index: (model, index),
            dimension: &self.model.dimensions[index],
            readings: columns,
            range: &self.columns.ranges[index],
            place: place.map_or(self.line.table.sheet.whole(), |heading| self.line.place(heading)),
        }
    }

    /// A reading that is missing.
    fn not_taken(&self, heading: &Heading) -> MissingReading {
        MissingReading { heading: heading.text.clone(), place: self.line.place(heading) }
    }

    /// Holds the derived terms against the dimensions that they are worked out of.
    fn check_derived(
        &self,
        pump: &Pump,
        expected: &[Option<Expected>],
        problems: &mut Problems,
    ) -> Option<()> {
        let mut whole = Some(());
        for derived in &pump.derived {
            let place = |at: usize| {
                let heading = self.columns.dimensions[at].first();
                heading.map_or(self.line.table.sheet.whole(), |h| self.line.place(h))
            };
            let label = |at: usize| &self.model.dimensions[at].label;
            if let Some(at) = derived.of.into_iter().find(|&at| expected[at].is_some()) {
                problems.add(Problem::new(
                    place(at),
                    format!(
                        "no reading of `{}`, which {} is worked out of",
                        label(at),
                        derived.label
                    ),
                    "a reading: a range is planned for in sums of lengths only",
                    "measure it, or leave this pump out of the plan ahead",
                ));
                whole = None;
                continue;
            }
            let [_, second] = derived.of;
            match crate::pump::second_order(derived, &pump.dimensions) {
                None => {
                    problems.add(Problem::new(
                        place(second),
                        format!("`{}`, which may be zero within its plus/minus", label(second)),
                        format!("a length clear of zero: {} is divided by it", derived.label),
                        "measure again, or give it a smaller plus/minus",
                    ));
                    whole = None;
                }
                Some(more) if more > SECOND_ORDER => problems.warn(Problem::new(
                    place(derived.of[0]),
                    format!(
                        "{} is far from linear within the uncertainty of its dimensions: terms of the second order raise its standard uncertainty by {:.0} %",
                        derived.label,
                        100.0 * more
                    ),
                    "at most 5 % (JCGM 100, 5.1.2)",
                    "measure its dimensions better, or rely on the Monte Carlo figures of `gapwright stack`",
                )),
                Some(_) => {}
            }
        }
        whole
    }

    /// Warns of readings that need more than pieces of ten millimetres in every place: mostly thou in a column of
    /// inches. Common practice, no source.
    fn ask_about_reach(&self, pump: &Pump, expected: &[Option<Expected>], problems: &mut Problems) {
        for requirement in &pump.requirements {
            let Form::Linear { terms, target, .. } = &requirement.form else {
                continue;
            };
            let (mut value, mut reach, mut largest) = (-Fine::from(*target), Fine::ZERO, None);
            for (term, sensitivity) in terms {
                match term {
                    Term::Dimension(at) => {
                        let Some(measured) = pump.dimensions.get(*at) else {
                            continue;
                        };
                        let part = *sensitivity * measured.value;
                        value = value + part;
                        let own = expected.get(*at).is_none_or(Option::is_none);
                        if own && largest.is_none_or(|(most, _)| part.abs() > most) {
                            largest = Some((part.abs(), *at));
                        }
                    }
                    Term::Pack(place) => {
                        let most = self.model.packs[*place].most_pieces;
                        reach = reach + (*sensitivity * (THICK * most)).abs();
                    }
                    Term::Thermal(_) => {}
                    Term::Derived(_) => {
                        let known = pump.estimate(*term).map_or(Length::ZERO, |known| known.value);
                        value = value + *sensitivity * known;
                    }
                }
            }
            let Some((_, at)) = largest.filter(|_| reach > Fine::ZERO && value.abs() > reach)
            else {
                continue;
            };
            let Some(heading) = self.columns.dimensions[at].first() else {
                continue;
            };
            let unit = self.model.unit;
            problems.warn(Problem::new(
                self.line.place(heading),
                format!(
                    "{} of {} {unit}, with which the pieces would have to make up {} {unit} for {}",
                    self.model.dimensions[at].label,
                    pump.dimensions[at].value.show(unit),
                    value.abs().show(unit),
                    requirement.label,
                ),
                "no more than pieces of 10 mm each can make up",
                "check the number and the unit of its column",
            ));
            // A requirement that is asked hot as well needs the same readings.
            return;
        }
    }

    /// Space for rings of a consumable, where its model asks for them by section.
    fn ring(
        &self,
        columns: &ConsumableColumns,
        problems: &mut Problems,
    ) -> Option<Reading<Option<RingSpace>>> {
        let line = &self.line;
        let Some(sides) = &columns.space else {
            return Some(Ok(None));
        };
        let [bore, shaft] = sides.each_ref().map(|heading| {
            let heading = heading.as_ref()?;
            // Before the outage nobody waits for a reading: the ring must be known.
            if !self.before && line.row.cell(heading.column).is_none() {
                return Some(Err(vec![self.not_taken(heading)]));
            }
            Some(Ok((heading, line.needed_thickness(heading, problems)?)))
        });
        let ((bore, across), (shaft, inside)) = match together([bore?, shaft?]) {
            Err(missing) => return Some(Err(missing)),
            Ok(sides) => sides.into_iter().collect_tuple()?,
        };
        let space = RingSpace::new(across, inside);
        if space.is_none() {
            problems.add(Problem::new(
                line.place(bore),
                format!("`{}` no larger than `{}`", bore.text, shaft.text),
                "a bore larger than what runs in it",
                "measure again, and check the unit of both columns",
            ));
        }
        Some(Ok(Some(space?)))
    }

    /// 1 to 99; an empty cell is 3.
    fn priority(&self, problems: &mut Problems) -> Option<u32> {
        let heading = self.line.table.optional("Priority");
        let Some(heading) = heading.filter(|h| self.line.row.cell(h.column).is_some()) else {
            return Some(3);
        };
        let mut quiet = Problems::new();
        let priority = self.line.count(Some(heading), &mut quiet).unwrap_or(0);
        if !(1..=99).contains(&priority) {
            problems.add(Problem::new(
                self.line.place(heading),
                format!(
                    "`{}`",
                    self.line.row.cell(heading.column).map(Cell::show).unwrap_or_default()
                ),
                "a whole number from 1 (first) to 99",
                "type the priority, or leave it empty for 3",
            ));
            return None;
        }
        Some(priority)
    }

    /// A dimension as measured, or its expected range.
    fn dimension(
        &self,
        model: usize,
        index: usize,
        problems: &mut Problems,
    ) -> Option<Reading<Known>> {
        let (line, columns) = (&self.line, &self.columns.dimensions[index]);
        let (dimension, range) = (&self.model.dimensions[index], &self.columns.ranges[index]);
        let (filled, empty): (Vec<&Heading>, Vec<&Heading>) =
            columns.iter().partition(|h| line.row.cell(h.column).is_some());
        if !self.before {
            return match (filled.as_slice(), empty.first()) {
                ([], next) => next.map(|next| Err(vec![self.not_taken(next)])),
                // A single reading has no spread; the next one is still to be taken.
                ([_], Some(next)) if matches!(dimension.spread, Spread::FromReadings { .. }) => {
                    Some(Err(vec![self.not_taken(next)]))
                }
                _ => Some(Ok((self.measured(dimension, &filled, problems)?, None))),
            };
        }
        if filled.is_empty() {
            let (measured, expected) =
                self.foresight.expect(&self.unmeasured(model, index), problems)?;
            return Some(Ok((measured, Some(expected))));
        }
        // A range beside a reading is not used, so its faults do not stop the run.
        let mut beside = Problems::new();
        let expected = range.range(line, dimension, &mut beside);
        for (_, problem) in beside.by_place() {
            problems.warn(problem.clone());
        }
        let measured = self.measured(dimension, &filled, problems)?;
        if let Some([low, high]) = expected
            && !(low..=high).contains(&measured.value)
        {
            let unit = self.model.unit;
            problems.warn(Problem::new(
                line.place(filled[0]),
                format!(
                    "`{}` of {} {unit}, outside the {} to {} {unit} that were expected",
                    dimension.label,
                    measured.value.show(unit),
                    low.show(unit),
                    high.show(unit)
                ),
                "a reading within its expected range",
                "measure again and check the range; the reading counts",
            ));
        }
        Some(Ok((measured, None)))
    }

    fn measured(
        &self,
        dimension: &Dimension,
        filled: &[&Heading],
        problems: &mut Problems,
    ) -> Option<Measured> {
        let line = &self.line;
        if filled.is_empty() {
            return None;
        }
        let readings: Vec<Option<Length>> =
            filled.iter().map(|h| line.length(h, problems)).collect();
        let readings: Vec<Length> = readings.into_iter().collect::<Option<_>>()?;
        if Length::mean(&readings)? < Length::ZERO {
            problems.warn(Problem::new(
                line.place(filled[0]),
                format!("a negative `{}`", dimension.label),
                "a length of 0 or more",
                "check the sign; the value is used as it is",
            ));
        }
        let taken = match measured(readings, dimension, self.policy.coverage) {
            Ok(taken) => taken,
            Err(lack) => {
                let place = line.place(filled[0]);
                problems.add(lacking(lack, place, &dimension.label));
                return None;
            }
        };
        let gauge = self.gauges.of_dimension(dimension, line.place(filled[0]), problems)?;
        let measured = Measured { gauge, ..taken };
        if measured.contradicts_itself(dimension) {
            problems.warn(Problem::new(
                line.place(filled[0]),
                format!(
                    "readings of `{}` that lie further apart than its plus/minus allows",
                    dimension.label
                ),
                "readings that agree",
                "measure again before fitting; until then the worst case holds every reading",
            ));
        }
        Some(measured)
    }

    /// Column of a value that the pump states for itself, where its cell is not empty.
    fn stated<'h>(&self, column: &'h Option<Heading>) -> Option<&'h Heading> {
        let filled = |heading: &&Heading| self.line.row.cell(heading.column).is_some();
        column.as_ref().filter(filled)
    }

    /// The model's thermal term with this pump's own length and temperatures.
    fn growth(
        &self,
        thermal: &Thermal,
        columns: &[Option<Heading>; 3],
        problems: &mut Problems,
    ) -> Option<Growth> {
        let line = &self.line;
        let own = |index: usize| self.stated(&columns[index]);
        let mut whole = true;
        let mut thermal = thermal.clone();
        if let Some(heading) = own(0) {
            match line.needed_thickness(heading, problems) {
                Some(length) => thermal.length = length,
                None => whole = false,
            }
        }
        let mut rounded = false;
        for (index, side) in [(1, &mut thermal.cold), (2, &mut thermal.running)] {
            let Some(heading) = own(index) else { continue };
            match line.temperature(heading, problems) {
                Some(temperature) if crate::model::is_temperature(temperature.celsius) => {
                    *side = temperature.celsius;
                    rounded |= temperature.rounded;
                }
                Some(temperature) => {
                    problems.add(Problem::new(
                        line.place(heading),
                        format!("the temperature {} degC", temperature.celsius),
                        "degrees Celsius from -273 to 1500",
                        "correct the temperature",
                    ));
                    whole = false;
                }
                None => whole = false,
            }
        }
        thermal.count_rounding(rounded);
        whole.then(|| Growth::of(thermal))
    }

    /// The model's requirement with this pump's own target and limits.
    fn requirement(
        &self,
        requirement: &Requirement,
        columns: &[Option<Heading>; 3],
        problems: &mut Problems,
    ) -> Option<Requirement> {
        let line = &self.line;
        let own = |index: usize| self.stated(&columns[index]);
        let mut whole = true;
        let form = match &requirement.form {
            Form::Linear { terms, target, lower, upper } => {
                let mut side = |index: usize| {
                    let given = line.length(own(index)?, problems);
                    whole &= given.is_some();
                    given
                };
                let target = side(0).unwrap_or(*target);
                let (lower, upper) = (side(1).or(*lower), side(2).or(*upper));
                Form::Linear { terms: terms.clone(), target, lower, upper }
            }
            Form::GasketFill { gasket, gap, target, lower, upper } => {
                let mut side = |index: usize| {
                    let heading = own(index)?;
                    let given = line.share(heading, problems);
                    let asked = given.filter(|_| !line.is_percentage(heading));
                    let asked = asked.and_then(questions::of_allowance);
                    whole &= given.is_some() && asked.is_none();
                    if let Some([found, expected, fix]) = asked {
                        problems.add(Problem::new(line.place(heading), found, expected, fix));
                    }
                    given
                };
                let (target, lower) = (side(0).unwrap_or(*target), side(1).unwrap_or(*lower));
                let upper = side(2).or(*upper);
                Form::GasketFill { gasket: *gasket, gap: gap.clone(), target, lower, upper }
            }
        };
        if !whole {
            return None;
        }
        let form = match form.check() {
            Ok(()) => form,
            Err(wrong) => {
                let place = [1, 2, 0].into_iter().find_map(own);
                let place = place.map_or(line.table.sheet.whole(), |h| line.place(h));
                let found = format!(
                    "{wrong} for `{}`{}",
                    requirement.label,
                    figures(&form, self.model.unit)
                );
                problems.add(unfit(place, found, &form));
                return None;
            }
        };
        Some(Requirement { form, ..requirement.clone() })
    }
}

/// Target and limits of a requirement, as far as they are lengths.
fn figures(form: &Form, unit: Unit) -> String {
    match form {
        Form::Linear { target, lower, upper, .. } => {
            let [lower, upper] =
                [lower, upper].map(|l| l.map_or_else(|| "none".into(), |l| l.show(unit)));
            format!(": target {}, min {lower}, max {upper} {unit}", target.show(unit))
        }
        Form::GasketFill { .. } => String::new(),
    }
}

/// Problem of limits that no requirement can have.
fn unfit(place: Place, found: String, form: &Form) -> Problem {
    let fix = match form {
        Form::Linear { .. } => {
            "correct the pump's own target and limits; what it does not give is the model's"
        }
        Form::GasketFill { .. } => {
            "correct the pump's own target and limits; an allowance of 45 % is 0.45; what it does not give is the model's"
        }
    };
    Problem::new(place, found, "min below max, and the target between them", fix)
}

fn due(cell: &Cell) -> Due {
    let serial = match cell {
        Cell::Date { serial, .. } => *serial,
        Cell::Text(text) => day::number(text).map_or(f64::INFINITY, f64::from),
        _ => f64::INFINITY,
    };
    Due { shown: cell.show(), serial }
}

/// Readings that no uncertainty follows from.
fn lacking(lack: Lack, place: Place, label: &str) -> Problem {
    let (found, expected, fix) = match lack {
        Lack::OneReading => (
            "one reading".to_string(),
            format!("at least two readings of `{label}`"),
            "add columns headed with 1, 2, 3 after the name, or give the model a plus_minus",
        ),
        Lack::NoScatter => (
            format!("readings of `{label}` that are all alike"),
            "readings fine enough to differ".to_string(),
            "no uncertainty follows from them: give the model the gauge's resolution, or a plus_minus",
        ),
        Lack::TooLong => (
            format!("readings of `{label}` that are too long to count with"),
            "lengths of a pump part".to_string(),
            "check the unit",
        ),
    };
    Problem::new(place, found, expected, fix)
}
