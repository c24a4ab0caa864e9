//! Columns of the Pumps sheet; the models decide which are needed.

use super::super::expected::RangeColumns;
use super::super::table::{Heading, Table};
use crate::columns::{FITS, NEEDED_OF_PUMPS, fit_heading, key, pump_heading as heading};
use crate::model::{ConsumableNeed, Dimension, Model};
use crate::problem::{Problem, Problems};

/// Known headings that all models share.
const ALSO_KNOWN: [&str; 4] = ["Priority", "Due", "Location", "Note"];

/// Headings of a dimension, pack or requirement: its key or its label, each followed by `behind`.
pub(in crate::read) fn names(name: &str, label: &str, behind: &str) -> Vec<String> {
    [heading(name), label.to_string()]
        .map(|front| if behind.is_empty() { front } else { format!("{front} {behind}") })
        .to_vec()
}

/// Meaning of a column of the pump sheet for the pumps of one model.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PumpColumn {
    /// Priority.
    Priority,
    /// Due date.
    Due,
    /// Location in the plant.
    Location,
    /// Note.
    Note,
    /// A reading of a dimension, by its index in the model.
    Reading(usize),
    /// Fit code of a pack, by its index in the model.
    Fit(usize),
    /// Length or temperature of a thermal term, by its index in the model.
    Growth(usize),
    /// Target or limit of a requirement, by its index in the model.
    Limit(usize),
}

/// Meaning of a heading for the pumps of a model; `None` of tag and model, and of columns without one.
pub fn pump_column(model: &Model, text: &str) -> Option<PumpColumn> {
    let wanted = key(text);
    let shared = [PumpColumn::Priority, PumpColumn::Due, PumpColumn::Location, PumpColumn::Note];
    if let Some(at) = ALSO_KNOWN.iter().position(|known| key(known) == wanted) {
        return shared.get(at).copied();
    }
    let is = |name: &str, label: &str, behind: &[&str]| {
        let names = behind.iter().flat_map(|behind| names(name, label, behind));
        names.into_iter().any(|known| key(&known) == wanted)
    };
    let reading =
        |d: &Dimension| is(&d.name, &d.label, &[""]) || reading_number(&wanted, d).is_some();
    let of = |at: Option<usize>, make: fn(usize) -> PumpColumn| at.map(make);
    let readings = model.dimensions.iter().position(reading);
    let limits = || model.requirements.iter().position(|r| is(&r.name, &r.label, &SIDES));
    let fits = || model.packs.iter().position(|p| is(&p.name, &p.label, &[FITS]));
    let growths = || model.thermals.iter().position(|t| is(&t.name, &t.label, &OF_GROWTH));
    of(readings, PumpColumn::Reading)
        .or_else(|| of(limits(), PumpColumn::Limit))
        .or_else(|| of(fits(), PumpColumn::Fit))
        .or_else(|| of(growths(), PumpColumn::Growth))
}

/// Every heading with a meaning in some model of the workbook.
pub(in crate::read) fn known_headings(models: &[Model]) -> Vec<String> {
    let fixed = NEEDED_OF_PUMPS.iter().chain(&ALSO_KNOWN).map(ToString::to_string);
    let of_models = models.iter().flat_map(|model| {
        let dimensions = model.dimensions.iter().flat_map(|d| {
            ["", "low", "high"].into_iter().flat_map(|behind| names(&d.name, &d.label, behind))
        });
        let packs = model.packs.iter().flat_map(|p| names(&p.name, &p.label, FITS));
        let thermals = model.thermals.iter().flat_map(|t| {
            OF_GROWTH.into_iter().flat_map(|behind| names(&t.name, &t.label, behind))
        });
        let requirements = model
            .requirements
            .iter()
            .flat_map(|r| SIDES.into_iter().flat_map(|side| names(&r.name, &r.label, side)));
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

/// Values of a requirement that a pump may state for itself.
pub(super) const SIDES: [&str; 3] = ["target", "min", "max"];

/// Values of a thermal term that a pump may state for itself.
pub(super) const OF_GROWTH: [&str; 3] = ["length", "cold", "running"];

/// Whether a heading is one of the numbered readings of a dimension.
pub(super) fn is_reading(heading_key: &str, models: &[Model]) -> bool {
    let dimensions = models.iter().flat_map(|m| &m.dimensions);
    dimensions.into_iter().any(|d| reading_number(heading_key, d).is_some())
}

pub(in crate::read) fn reading_number(heading_key: &str, dimension: &Dimension) -> Option<u32> {
    [&dimension.name, &dimension.label]
        .into_iter()
        .find_map(|front| heading_key.strip_prefix(key(front).as_str())?.parse().ok())
}

/// Columns of a model's values.
pub(super) struct Columns {
    pub(super) fits: Vec<Option<Heading>>,
    /// Per dimension: its column, or those of its readings.
    pub(super) dimensions: Vec<Vec<Heading>>,
    /// Per dimension: the expected range.
    pub(super) ranges: Vec<RangeColumns>,
    /// Per thermal term: length, cold and running temperature.
    pub(super) thermals: Vec<[Option<Heading>; 3]>,
    /// Per requirement: target, min, max.
    pub(super) limits: Vec<[Option<Heading>; 3]>,
    pub(super) consumables: Vec<ConsumableColumns>,
}

/// Columns with the fit of a consumable.
pub(super) struct ConsumableColumns {
    pub(super) fit: Option<Heading>,
    /// Bore and shaft, where the model asks by section.
    pub(super) space: Option<[Option<Heading>; 2]>,
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
    pub(super) fn find(
        table: &Table<'_>,
        model: &Model,
        ahead: bool,
        problems: &mut Problems,
    ) -> Columns {
        let of = |name: &str, label: &str, behind: &[&str]| -> Vec<Vec<String>> {
            behind.iter().map(|behind| names(name, label, behind)).collect()
        };
        let things = model.packs.iter().map(|p| of(&p.name, &p.label, &[FITS]));
        let things = things
            .chain(model.dimensions.iter().map(|d| of(&d.name, &d.label, &["", "low", "high"])))
            .chain(model.thermals.iter().map(|t| of(&t.name, &t.label, &OF_GROWTH)))
            .chain(model.requirements.iter().map(|r| of(&r.name, &r.label, &SIDES)));
        for names in things.flatten() {
            table.refuse_second(&names, problems);
        }
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
                // Before the outage the sheet may still be without columns for readings.
                if all.is_empty() && !ahead {
                    table.needed(&heading(&dimension.name), problems);
                }
                all
            })
            .collect();
        let ranges =
            model.dimensions.iter().map(|dimension| RangeColumns::find(table, dimension)).collect();
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
        Columns { fits, dimensions, ranges, thermals, limits, consumables }
    }
}

/// Columns of a dimension's readings: one, or numbered ones in their order.
pub(in crate::read) fn reading_columns(
    table: &Table<'_>,
    dimension: &Dimension,
    problems: &mut Problems,
) -> Vec<Heading> {
    let single = table.either(&names(&dimension.name, &dimension.label, "")).cloned();
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
            format!("remove or rename one of them; `{}` is a reading", first.text),
        ));
    }
    single.into_iter().chain(readings.into_iter().map(|(_, h)| h)).collect()
}
