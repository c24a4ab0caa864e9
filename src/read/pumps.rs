//! Reads the Pumps sheet: which columns it must have follows from the models that it names.

use std::collections::{BTreeSet, HashMap, HashSet};

use super::expected::{Foresight, RangeColumns, Unmeasured, rounded_up};
use super::model::Library;
use super::stock::THICK;
use super::table::{FITS, Heading, Line, NEEDED_OF_PUMPS, Table, key};
use super::{Ahead, find_sheet, history};
use crate::day;
use crate::decimal::Millionths;
use crate::length::{Fine, Length, Tolerance, Uncertainty};
use crate::model::{ConsumableNeed, Dimension, Form, Model, Requirement, Spread, Term, Thermal};
use crate::outlook::Expected;
use crate::packing::RingSpace;
use crate::policy::Policy;
use crate::problem::{Place, Problem, Problems, mend_name};
use crate::pump::{ConsumableFit, Due, Growth, Measured, Pump};
use crate::sheet::{Book, Cell};
use crate::stock::{Code, folded};

/// Headings that are known whatever the model.
const ALSO_KNOWN: [&str; 4] = ["Priority", "Due", "Location", "Note"];

/// The pumps as read.
pub(super) struct Draft {
    pub(super) models: Vec<Model>,
    pub(super) pumps: Vec<Pump>,
    /// What each pump's dimensions are expected to come to where they are not measured.
    pub(super) expected: Vec<Vec<Option<Expected>>>,
    /// The sheet's name.
    pub(super) sheet: String,
    pub(super) unused: Vec<String>,
    /// Where each pump's fit codes stand, pack by pack.
    fit_places: Vec<Vec<Place>>,
}

/// A key of a model file as a heading: `bare_clearance` is headed `Bare clearance`.
pub(crate) fn heading(name: &str) -> String {
    let spaced = name.replace('_', " ");
    let mut letters = spaced.chars();
    match letters.next() {
        Some(first) => first.to_uppercase().chain(letters).collect(),
        None => spaced,
    }
}

/// The heading of a pack's fit code.
pub(crate) fn fit_heading(pack: &str) -> String {
    format!("{} {FITS}", heading(pack))
}

/// Reads the Pumps sheet of a workbook; with `ahead`, pumps need not be measured yet.
pub(super) fn read(
    book: &Book,
    library: &Library,
    policy: &Policy,
    ahead: Option<(&Ahead, Option<&Book>)>,
    problems: &mut Problems,
) -> Option<Draft> {
    let sheet = find_sheet(book, "Pumps", &NEEDED_OF_PUMPS, problems)?;
    let table = Table::find(sheet, &NEEDED_OF_PUMPS, problems)?;
    let tag = table.optional("Tag").cloned();
    let model_column = table.optional("Model").cloned();
    // First the models: they say what the columns mean.
    let mut models: Vec<Model> = Vec::new();
    let mut model_of: HashMap<u32, usize> = HashMap::new();
    for line in table.lines() {
        // A row without its tag is a note or a total, and is said below.
        if line.text(tag.as_ref(), &mut Problems::new()).is_none() {
            continue;
        }
        let Some(name) = line.needed_text(model_column.as_ref(), problems) else {
            continue;
        };
        let name = library.exact(&name);
        let known = models.iter().position(|m| m.name == name);
        let index = known.or_else(|| {
            models.push(library.find(&name, problems)?);
            Some(models.len() - 1)
        });
        match index {
            Some(index) => {
                model_of.insert(line.row.number, index);
            }
            None if library.knows(&name) => {}
            None => {
                let place = model_column
                    .as_ref()
                    .map_or(sheet.whole(), |column| line.place(column));
                problems.add(library.unknown(&name, place));
            }
        }
    }
    let foresight = ahead.map(|(ahead, past)| {
        let before = problems.count();
        let history = past.and_then(|book| history::read(book, &models, library, problems));
        // What past readings lack because they could not be read is no second problem of the pumps.
        let whole = problems.count() == before && history.is_some() == ahead.history.is_some();
        Foresight::new(ahead, history, whole, policy)
    });
    // First what is not known: a column that is missing may be among that, and is reported once.
    let known = known_headings(&models);
    let mut unused = table.unknown(&known, |key| is_reading(key, &models), problems);
    NEEDED_OF_PUMPS.map(|name| table.needed(name, problems));
    let columns: Vec<Columns> = models
        .iter()
        .map(|m| Columns::find(&table, m, foresight.is_some(), problems))
        .collect();
    unused.extend(foresight.iter().flat_map(Foresight::unused));
    let carried: Vec<&Heading> = table
        .headings
        .iter()
        .filter(|h| !known.iter().any(|k| key(k) == h.key) && !is_reading(&h.key, &models))
        .collect();
    let mut draft = Draft {
        models: Vec::new(),
        pumps: Vec::new(),
        expected: Vec::new(),
        sheet: sheet.name.clone(),
        unused,
        fit_places: Vec::new(),
    };
    let mut first_of: HashMap<String, u32> = HashMap::new();
    let mut rows = 0;
    for line in table.lines() {
        rows += 1;
        let tag_text = line.needed_text(tag.as_ref(), problems);
        if let (Some(text), Some(heading)) = (&tag_text, &tag) {
            let row = line.row.number;
            let first = *first_of.entry(folded(text)).or_insert(row);
            if first != row {
                problems.add(Problem::new(
                    line.place(heading),
                    format!("the tag `{text}` a second time"),
                    "each pump once",
                    format!(
                        "correct one of the tags; the first stands in row {}",
                        first + 1
                    ),
                ));
            }
        }
        let Some(&index) = model_of.get(&line.row.number) else {
            continue;
        };
        let reader = PumpReader {
            line,
            model: &models[index],
            columns: &columns[index],
            policy,
            foresight: foresight.as_ref(),
            tag: tag.as_ref(),
        };
        let pump = reader.pump(tag_text, index, &carried, problems);
        if let Some((pump, expected, places)) = pump {
            draft.pumps.push(pump);
            draft.expected.push(expected);
            draft.fit_places.push(places);
        }
    }
    if let Some(foresight) = &foresight {
        foresight.finish(&models, problems);
    }
    // Every row is a pump or has a problem of its own; one that is neither must not vanish.
    if draft.pumps.len() < rows && problems.none() {
        problems.add(Problem::new(
            sheet.whole(),
            format!("{rows} rows, of which {} could be read", draft.pumps.len()),
            "a pump in every row",
            "this is a defect of gapwright: please report it with both workbooks",
        ));
    }
    if rows == 0 {
        problems.add(Problem::new(
            sheet.whole(),
            "no pumps",
            "at least one row below the headings",
            "fill in the pumps; `gapwright blank` writes an example row",
        ));
    }
    draft.models = models;
    Some(draft)
}

/// What a dimension's, pack's or requirement's column may be headed: its key or its label, with
/// the same words behind.
pub(super) fn names(name: &str, label: &str, behind: &str) -> Vec<String> {
    [heading(name), label.to_string()]
        .map(|front| {
            if behind.is_empty() {
                front
            } else {
                format!("{front} {behind}")
            }
        })
        .to_vec()
}

/// Every heading that some model of the workbook gives a meaning to.
pub(super) fn known_headings(models: &[Model]) -> Vec<String> {
    let fixed = NEEDED_OF_PUMPS
        .iter()
        .chain(&ALSO_KNOWN)
        .map(ToString::to_string);
    let of_models = models.iter().flat_map(|model| {
        let dimensions = model.dimensions.iter().flat_map(|d| {
            ["", "low", "high"]
                .into_iter()
                .flat_map(|behind| names(&d.name, &d.label, behind))
        });
        let packs = model
            .packs
            .iter()
            .flat_map(|p| names(&p.name, &p.label, FITS));
        let thermals = model.thermals.iter().flat_map(|t| {
            OF_GROWTH
                .into_iter()
                .flat_map(|behind| names(&t.name, &t.label, behind))
        });
        let requirements = model.requirements.iter().flat_map(|r| {
            SIDES
                .into_iter()
                .flat_map(|side| names(&r.name, &r.label, side))
        });
        let consumables = model.consumables.iter().flat_map(|need| {
            let sides = need.section.iter().flat_map(|s| [&s.bore, &s.shaft]);
            let sides = sides.map(|key| heading(key));
            need.fit_column.clone().into_iter().chain(sides)
        });
        dimensions
            .chain(packs)
            .chain(thermals)
            .chain(requirements)
            .chain(consumables)
            .collect::<Vec<_>>()
    });
    fixed.chain(of_models).collect()
}

/// What a pump may state of a requirement for itself.
const SIDES: [&str; 3] = ["target", "min", "max"];

/// What a pump may state of a thermal term for itself.
const OF_GROWTH: [&str; 3] = ["length", "cold", "running"];

/// Whether a heading is one of the numbered readings of a dimension.
fn is_reading(heading_key: &str, models: &[Model]) -> bool {
    let dimensions = models.iter().flat_map(|m| &m.dimensions);
    dimensions
        .into_iter()
        .any(|d| reading_number(heading_key, d).is_some())
}

pub(super) fn reading_number(heading_key: &str, dimension: &Dimension) -> Option<u32> {
    [&dimension.name, &dimension.label]
        .into_iter()
        .find_map(|front| heading_key.strip_prefix(key(front).as_str())?.parse().ok())
}

/// Where a model's values stand.
struct Columns {
    fits: Vec<Option<Heading>>,
    /// Per dimension: its column, or those of its readings.
    dimensions: Vec<Vec<Heading>>,
    /// Per dimension: the range that is expected.
    ranges: Vec<RangeColumns>,
    /// Per thermal term: length, cold and running temperature.
    thermals: Vec<[Option<Heading>; 3]>,
    /// Per requirement: target, min, max.
    limits: Vec<[Option<Heading>; 3]>,
    consumables: Vec<ConsumableColumns>,
}

/// Where a pump says what a consumable must fit.
struct ConsumableColumns {
    fit: Option<Heading>,
    /// Bore and shaft, where the model asks by section.
    space: Option<[Option<Heading>; 2]>,
}

impl ConsumableColumns {
    fn find(
        table: &Table<'_>,
        need: &ConsumableNeed,
        problems: &mut Problems,
    ) -> ConsumableColumns {
        let fit = need.fit_column.as_ref();
        ConsumableColumns {
            fit: fit.and_then(|column| table.optional(column)).cloned(),
            space: need.section.as_ref().map(|section| {
                [&section.bore, &section.shaft]
                    .map(|key| table.needed(&heading(key), problems).cloned())
            }),
        }
    }
}

impl Columns {
    fn find(table: &Table<'_>, model: &Model, ahead: bool, problems: &mut Problems) -> Columns {
        let fits = model
            .packs
            .iter()
            .map(|pack| {
                let named = table.either(&names(&pack.name, &pack.label, FITS)).cloned();
                named.or_else(|| table.needed(&fit_heading(&pack.name), problems).cloned())
            })
            .collect();
        let dimensions = model
            .dimensions
            .iter()
            .map(|dimension| {
                let all = reading_columns(table, dimension, problems);
                // Before the outage the sheet need not have room for readings.
                if all.is_empty() && !ahead {
                    table.needed(&heading(&dimension.name), problems);
                }
                all
            })
            .collect();
        let ranges = model
            .dimensions
            .iter()
            .map(|dimension| RangeColumns::find(table, dimension))
            .collect();
        let thermals = model
            .thermals
            .iter()
            .map(|t| {
                OF_GROWTH.map(|behind| table.either(&names(&t.name, &t.label, behind)).cloned())
            })
            .collect();
        let limits = model
            .requirements
            .iter()
            .map(|r| SIDES.map(|side| table.either(&names(&r.name, &r.label, side)).cloned()))
            .collect();
        let consumables = model
            .consumables
            .iter()
            .map(|need| ConsumableColumns::find(table, need, problems))
            .collect();
        Columns {
            fits,
            dimensions,
            ranges,
            thermals,
            limits,
            consumables,
        }
    }
}

/// The columns that a dimension's readings stand in: one, or numbered ones in their order.
pub(super) fn reading_columns(
    table: &Table<'_>,
    dimension: &Dimension,
    problems: &mut Problems,
) -> Vec<Heading> {
    let single = table
        .either(&names(&dimension.name, &dimension.label, ""))
        .cloned();
    let mut readings: Vec<(u32, Heading)> = table
        .headings
        .iter()
        .filter_map(|h| Some((reading_number(&h.key, dimension)?, h.clone())))
        .collect();
    readings.sort_by_key(|(number, _)| *number);
    if let (Some(single), Some((_, first))) = (&single, readings.first()) {
        problems.add(Problem::new(
            table.place(table.heading_row, single.column),
            format!("both `{}` and numbered readings of it", single.text),
            "one column, or numbered ones",
            format!(
                "remove or rename one of them; `{}` is a reading",
                first.text
            ),
        ));
    }
    single
        .into_iter()
        .chain(readings.into_iter().map(|(_, h)| h))
        .collect()
}

struct PumpReader<'a> {
    line: Line<'a, 'a>,
    model: &'a Model,
    columns: &'a Columns,
    policy: &'a Policy,
    /// What is known ahead of readings, where pumps need not be measured yet.
    foresight: Option<&'a Foresight<'a>>,
    tag: Option<&'a Heading>,
}

/// A pump, what its dimensions are expected to come to, and where its fit codes stand.
type Found = (Pump, Vec<Option<Expected>>, Vec<Place>);

impl PumpReader<'_> {
    fn pump(
        &self,
        tag: Option<String>,
        model: usize,
        carried: &[&Heading],
        problems: &mut Problems,
    ) -> Option<Found> {
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
        let dimensions: Vec<Option<(Measured, Option<Expected>)>> =
            (0..self.model.dimensions.len())
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
            let due = due(line.cell(h, problems)?);
            if due.serial.is_infinite() {
                problems.warn(Problem::new(
                    line.place(h),
                    format!("`{}`, which does not read as a date", due.shown),
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
        let consumable_fits: Vec<Option<ConsumableFit>> = self
            .columns
            .consumables
            .iter()
            .map(|columns| self.consumable_fit(columns, problems))
            .collect();
        let (fits, places) = fits
            .into_iter()
            .collect::<Option<Vec<_>>>()?
            .into_iter()
            .unzip();
        let dimensions = dimensions.into_iter().collect::<Option<Vec<_>>>()?;
        let (dimensions, expected): (_, Vec<Option<Expected>>) = dimensions.into_iter().unzip();
        let pump = Pump {
            tag: tag?,
            model,
            priority: priority?,
            due,
            location,
            note,
            carried,
            consumable_fits: consumable_fits.into_iter().collect::<Option<_>>()?,
            fits,
            dimensions,
            growths: growths.into_iter().collect::<Option<_>>()?,
            correlations: self.model.correlations.clone(),
            requirements: requirements.into_iter().collect::<Option<_>>()?,
            row: line.row.number,
        };
        self.ask_about_reach(&pump, &expected, problems);
        Some((pump, expected, places))
    }

    /// Readings that ask for more than pieces of ten millimetres in every place can make up are mostly thou in
    /// a column of inches. Common practice, no source.
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
            // A requirement that is asked hot as well asks the same of the same reading.
            return;
        }
    }

    /// What a consumable must fit; a fit code may be left empty, a diameter may not.
    fn consumable_fit(
        &self,
        columns: &ConsumableColumns,
        problems: &mut Problems,
    ) -> Option<ConsumableFit> {
        let line = &self.line;
        let code = line.text(columns.fit.as_ref(), problems);
        let space = match &columns.space {
            None => None,
            Some(sides) => {
                let [bore, shaft] = sides.each_ref().map(|heading| {
                    let heading = heading.as_ref()?;
                    Some((heading, line.needed_thickness(heading, problems)?))
                });
                let ((bore, across), (shaft, inside)) = (bore?, shaft?);
                let space = RingSpace::new(across, inside);
                if space.is_none() {
                    problems.add(Problem::new(
                        line.place(bore),
                        format!("`{}` no larger than `{}`", bore.text, shaft.text),
                        "a bore larger than what runs in it",
                        "measure again, and check the unit of both columns",
                    ));
                }
                Some(space?)
            }
        };
        Some(ConsumableFit {
            code: code.map(|code| Code::new(&code)),
            space,
        })
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
                    self.line
                        .row
                        .cell(heading.column)
                        .map(Cell::show)
                        .unwrap_or_default()
                ),
                "a whole number from 1 (first) to 99",
                "type the priority, or leave it empty for 3",
            ));
            return None;
        }
        Some(priority)
    }

    /// A dimension as measured, or what it is expected to come to.
    fn dimension(
        &self,
        model: usize,
        index: usize,
        problems: &mut Problems,
    ) -> Option<(Measured, Option<Expected>)> {
        let (line, columns) = (&self.line, &self.columns.dimensions[index]);
        let (dimension, range) = (&self.model.dimensions[index], &self.columns.ranges[index]);
        let filled: Vec<&Heading> = columns
            .iter()
            .filter(|h| line.row.cell(h.column).is_some())
            .collect();
        let Some(foresight) = self.foresight else {
            if let (Some(first), true) = (columns.first(), filled.is_empty()) {
                match range.stated(line) {
                    false => line.missing(first, problems),
                    true => problems.add(Problem::new(
                        line.place(first),
                        "an empty cell, beside the range that is expected",
                        format!("a value for `{}`", first.text),
                        "fill it in, or clear the whole row; before the outage `gapwright provision` plans ahead for the range",
                    )),
                }
            }
            return Some((self.measured(dimension, &filled, problems)?, None));
        };
        if filled.is_empty() {
            let place = columns.first().or(self.tag);
            let unmeasured = Unmeasured {
                line: self.line,
                model: self.model,
                index: (model, index),
                dimension,
                readings: columns,
                range,
                place: place.map_or(line.table.sheet.whole(), |heading| line.place(heading)),
            };
            let (measured, expected) = foresight.expect(&unmeasured, problems)?;
            return Some((measured, Some(expected)));
        }
        // Beside a reading the range counts for nothing, so what is wrong with it stops nobody.
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
        Some((measured, None))
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
        let value = Length::mean(&readings)?;
        if value < Length::ZERO {
            problems.warn(Problem::new(
                line.place(filled[0]),
                format!("a negative `{}`", dimension.label),
                "a length of 0 or more",
                "check the sign; the value is used as it stands",
            ));
        }
        let coverage = self.policy.coverage;
        let mut freedom = dimension.freedom;
        let (tolerance, standard) = match dimension.spread {
            Spread::Within(tolerance) => (tolerance, dimension.shape.standard(tolerance)),
            Spread::StandardUncertainty(u) => {
                (Tolerance::even(u.times_up(coverage.factor(None))), u)
            }
            Spread::FromReadings { resolution } => match uncertainty_of_mean(&readings, resolution)
            {
                Some((u, _)) if u == Uncertainty::ZERO => {
                    problems.add(Problem::new(
                        line.place(filled[0]),
                        format!("readings of `{}` that are all alike", dimension.label),
                        "readings fine enough to differ",
                        "no uncertainty follows from them: give the model the gauge's resolution, or a plus_minus",
                    ));
                    return None;
                }
                Some((u, few)) => {
                    freedom = few;
                    let factor = few.map_or(coverage.factor(None), |few| coverage.of_readings(few));
                    // Rounded up to a decimal of the readings' own unit.
                    let guard = rounded_up(u.times_up(factor), &readings);
                    (Tolerance::even(guard), u)
                }
                None => {
                    problems.add(Problem::new(
                        line.place(filled[0]),
                        "one reading",
                        format!("at least two readings of `{}`", dimension.label),
                        "add columns headed with 1, 2, 3 behind the name, or give the model a plus_minus",
                    ));
                    return None;
                }
            },
        };
        if let (Spread::Within(tolerance), Some(&least), Some(&most)) = (
            dimension.spread,
            readings.iter().min(),
            readings.iter().max(),
        ) && most - least > tolerance.minus + tolerance.plus
        {
            problems.warn(Problem::new(
                line.place(filled[0]),
                format!(
                    "readings of `{}` that lie further apart than its plus/minus allows",
                    dimension.label
                ),
                "readings that agree",
                "measure again; the mean is used as it stands",
            ));
        }
        Some(Measured {
            readings,
            value,
            tolerance,
            standard,
            freedom,
        })
    }

    /// The model's thermal term with this pump's own length and temperatures.
    fn growth(
        &self,
        thermal: &Thermal,
        columns: &[Option<Heading>; 3],
        problems: &mut Problems,
    ) -> Option<Growth> {
        let line = &self.line;
        let own = |index: usize| {
            columns[index]
                .as_ref()
                .filter(|h| line.row.cell(h.column).is_some())
        };
        let mut whole = true;
        let mut thermal = thermal.clone();
        if let Some(heading) = own(0) {
            match line.needed_thickness(heading, problems) {
                Some(length) => thermal.length = length,
                None => whole = false,
            }
        }
        for (index, side) in [(1, &mut thermal.cold), (2, &mut thermal.running)] {
            let Some(heading) = own(index) else { continue };
            match line.temperature(heading, problems) {
                Some(temperature) if crate::model::is_temperature(temperature) => {
                    *side = temperature;
                }
                Some(temperature) => {
                    problems.add(Problem::new(
                        line.place(heading),
                        format!("the temperature {temperature}"),
                        "degrees Celsius from -273 to 1500",
                        "correct the temperature",
                    ));
                    whole = false;
                }
                None => whole = false,
            }
        }
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
        let own = |index: usize| {
            columns[index]
                .as_ref()
                .filter(|h| line.row.cell(h.column).is_some())
        };
        let mut whole = true;
        let form = match &requirement.form {
            Form::Linear {
                terms,
                target,
                lower,
                upper,
            } => {
                let mut side = |index: usize, usual: Length| match own(index) {
                    None => usual,
                    Some(heading) => line.length(heading, problems).unwrap_or_else(|| {
                        whole = false;
                        usual
                    }),
                };
                let (target, lower, upper) = (side(0, *target), side(1, *lower), side(2, *upper));
                Form::Linear {
                    terms: terms.clone(),
                    target,
                    lower,
                    upper,
                }
            }
            Form::GasketFill {
                gasket,
                gap,
                target,
                lower,
                upper,
            } => {
                let mut side = |index: usize, usual: Millionths| match own(index) {
                    None => usual,
                    Some(heading) => line.share(heading, problems).unwrap_or_else(|| {
                        whole = false;
                        usual
                    }),
                };
                let (target, lower, upper) = (side(0, *target), side(1, *lower), side(2, *upper));
                Form::GasketFill {
                    gasket: *gasket,
                    gap: gap.clone(),
                    target,
                    lower,
                    upper,
                }
            }
        };
        if !whole {
            return None;
        }
        let form = match form.check() {
            Ok(()) => form,
            Err(wrong) => {
                let place = [1, 2, 0]
                    .into_iter()
                    .find_map(own)
                    .map_or(line.table.sheet.whole(), |h| line.place(h));
                let unit = self.model.unit;
                let figures = match &form {
                    Form::Linear {
                        target,
                        lower,
                        upper,
                        ..
                    } => {
                        let [target, lower, upper] = [target, lower, upper].map(|l| l.show(unit));
                        format!(": target {target}, min {lower}, max {upper} {unit}")
                    }
                    Form::GasketFill { .. } => String::new(),
                };
                problems.add(Problem::new(
                    place,
                    format!("{wrong} for `{}`{figures}", requirement.label),
                    "min below max, and the target between them",
                    match form {
                        Form::Linear { .. } => "correct the pump's own target and limits; what it does not give is the model's",
                        Form::GasketFill { .. } => "correct the pump's own target and limits; an allowance of 45 % is 0.45; what it does not give is the model's",
                    },
                ));
                return None;
            }
        };
        Some(Requirement {
            form,
            ..requirement.clone()
        })
    }
}

fn due(cell: &Cell) -> Due {
    let serial = match cell {
        Cell::Date { serial, .. } => *serial,
        Cell::Text(text) => day::number(text).map_or(f64::INFINITY, f64::from),
        _ => f64::INFINITY,
    };
    Due {
        shown: cell.show(),
        serial,
    }
}

/// The standard uncertainty of the mean of readings, rounded up, and its degrees of freedom (`None`
/// without end); nothing for fewer than two. Their scatter and the resolution of the gauge, which
/// they share, add up: `u^2 = s^2 / n + (resolution / 2)^2 / 3`, and the degrees of freedom are
/// `(n - 1) (u^2 / (s^2 / n))^2`, cut off.
///
/// Source: JCGM 100:2008, 4.2.3 equation (5), F.2.2.1 and G.4.1 (from memory).
fn uncertainty_of_mean(
    readings: &[Length],
    resolution: Length,
) -> Option<(Uncertainty, Option<u32>)> {
    let n = i128::try_from(readings.len()).ok().filter(|&n| n > 1)?;
    let sum: i128 = readings.iter().map(|r| i128::from(r.ticks())).sum();
    // n^2 times the sum of squared deviations, in whole numbers.
    let squares: i128 = readings
        .iter()
        .map(|r| (n * i128::from(r.ticks()) - sum).pow(2))
        .sum();
    Some(combined(n, squares, resolution))
}

/// The same from n squared times the sum of squared deviations of `n` readings, in ticks squared.
pub(super) fn combined(n: i128, squares: i128, resolution: Length) -> (Uncertainty, Option<u32>) {
    // s^2 / n = squares / (n^2 (n - 1) n), in ticks; 100 000 femtometres make one.
    let below = n * n * (n - 1) * n;
    let read = i128::from(resolution.ticks()).pow(2).saturating_mul(below);
    let all = squares.saturating_mul(12).saturating_add(read);
    let u = Uncertainty::root_of(all.saturating_mul(10_000_000_000), 12 * below);
    (u, freedom(n, squares, read))
}

/// Degrees of freedom of scatter and resolution together, the latter as good as known.
#[allow(
    clippy::cast_precision_loss,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss
)]
fn freedom(n: i128, squares: i128, read: i128) -> Option<u32> {
    if squares == 0 {
        return None;
    }
    let grown = 1.0 + read as f64 / (12.0 * squares as f64);
    let exact = (n - 1) as f64 * grown * grown;
    // Against the last digit of the division.
    Some((exact * (1.0 + 1e-12)).floor().min(1e9) as u32)
}

/// Every fit code must stand somewhere in the stock: a code that no row has is misspelt, or the
/// item is missing from the list. `codes` holds the kind and fit of every row, whole or not.
pub(super) fn check_fits(draft: &Draft, codes: &[(String, Code, Place)], problems: &mut Problems) {
    if codes.is_empty() {
        // An empty stock is a problem of its own.
        return;
    }
    /// Enough to see what the codes look like.
    const MOST_NAMED: usize = 20;
    /// After so many the codes are wrong as a whole, and one by one a misspelling is not looked for.
    const MOST_SUGGESTED: usize = 20;
    // As many pumps as lots is too many to look through them for each.
    let known: HashSet<(&str, &str)> = codes
        .iter()
        .map(|(kind, code, _)| (kind.as_str(), code.key()))
        .collect();
    let mut by_kind: HashMap<&str, BTreeSet<&str>> = HashMap::new();
    for (kind, code, _) in codes {
        by_kind.entry(kind).or_default().insert(code.as_str());
    }
    let none = BTreeSet::new();
    let mut suggested = 0;
    for (pump, places) in draft.pumps.iter().zip(&draft.fit_places) {
        let packs = &draft.models[pump.model].packs;
        for ((pack, fit), place) in packs.iter().zip(&pump.fits).zip(places) {
            if known.contains(&(pack.kind.as_str(), fit.key())) {
                continue;
            }
            let of_kind = by_kind.get(pack.kind.as_str()).unwrap_or(&none);
            let missing = format!(
                "list the {} in the stock workbook, with 0 on hand if there is none",
                pack.kind
            );
            suggested += 1;
            let mend = match suggested {
                ..=MOST_SUGGESTED => mend_name(fit.as_str(), of_kind.iter().copied(), &missing),
                _ => missing,
            };
            let named: Vec<&str> = of_kind.iter().copied().take(MOST_NAMED).collect();
            let expected = match of_kind.len().checked_sub(MOST_NAMED) {
                _ if of_kind.is_empty() => format!("a {} in the stock workbook", pack.kind),
                Some(more @ 1..) => format!("one of {} and {more} more", named.join(", ")),
                _ => format!("one of {}", named.join(", ")),
            };
            problems.add(Problem::new(
                place.clone(),
                format!(
                    "the fit code `{}`, which no {} in the stock has",
                    fit.as_str(),
                    pack.kind
                ),
                expected,
                mend,
            ));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Source: JCGM 100:2008, 4.4.3 and Table 1 (from memory): 20 readings, mean 100.145,
    /// s/sqrt(n) = 0.3329157 recomputed; here in whole ticks of the same digits.
    #[test]
    fn the_uncertainty_of_twenty_readings_is_the_guides() {
        let readings: Vec<Length> = [
            9690, 9818, 9825, 9861, 9903, 9949, 9956, 9974, 9989, 10007, 10033, 10042, 10068,
            10095, 10111, 10120, 10157, 10184, 10236, 10272,
        ]
        .map(|hundredths: i64| Length::from_ticks(hundredths * 1_000))
        .to_vec();
        assert_eq!(
            Length::mean(&readings),
            Some(Length::from_ticks(10_014_500))
        );
        // 0.332 915 7 of 100 000 ticks of 100 000 femtometres.
        let (found, freedom) = uncertainty_of_mean(&readings, Length::ZERO).unwrap();
        let found = found.raw();
        assert_eq!(freedom, Some(19));
        assert!((3_329_156_500..3_329_157_500).contains(&found), "{found}");
        assert_eq!(uncertainty_of_mean(&readings[..1], Length::ZERO), None);
    }

    /// By hand: readings that are all alike to 0.01 mm are known to that over the root of twelve, as
    /// well as can be; two that are 0.02 mm apart have 0.01 mm of their own, the root of 1 + 1/12 of
    /// it together, and 1 x (1 + 1/12)^2 = 1.17 degrees of freedom, cut off.
    #[test]
    fn a_gauge_is_not_better_than_it_reads() {
        let readings = [Length::from_ticks(500_000); 3];
        let (u, freedom) = uncertainty_of_mean(&readings, Length::from_ticks(100_000)).unwrap();
        assert_eq!((u.raw() + 50) / 100, 28_867_513);
        assert_eq!(freedom, None);
        let readings = [400_000, 600_000].map(Length::from_ticks);
        let (u, freedom) = uncertainty_of_mean(&readings, Length::from_ticks(100_000)).unwrap();
        assert_eq!((u.raw() + 50) / 100, 104_083_300);
        assert_eq!(freedom, Some(1));
    }
}
