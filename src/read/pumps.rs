//! Reads the Pumps sheet; the models that it names decide its needed columns.

mod columns;
mod fits;
mod pump;

use std::collections::HashMap;

use super::expected::Foresight;
use super::gauges::Gauges;
use super::model::Library;
use super::table::{Heading, Table};
use super::{Ahead, find_sheet, history};
use crate::columns::{NEEDED_OF_PUMPS, key};
use crate::forecast::Expected;
use crate::job::NotMeasured;
use crate::model::Model;
use crate::policy::Policy;
use crate::problem::{Place, Problem, Problems};
use crate::pump::{ConsumableFit, Pump};
use crate::sheet::{Book, Sheet};
use crate::stock::{Code, folded};
use columns::{Columns, is_reading};
use pump::{PumpReader, Row, Waiting};

pub(super) use crate::stack::combined;
pub use columns::{PumpColumn, pump_column};
pub(super) use columns::{known_headings, names, reading_columns, reading_number};
pub(super) use fits::check_fits;

/// Pumps as read.
pub(super) struct Draft {
    pub(super) models: Vec<Model>,
    pub(super) pumps: Vec<Pump>,
    /// Pumps of which a reading is missing.
    waiting: Vec<Waiting>,
    /// Expected range of each pump's unmeasured dimensions.
    pub(super) expected: Vec<Vec<Option<Expected>>>,
    /// The sheet's name.
    pub(super) sheet: String,
    pub(super) unused: Vec<String>,
    /// Places of each pump's fit codes, pack by pack.
    fit_places: Vec<Vec<Place>>,
}

/// Codes that a pump asks for, measured or not.
pub(super) struct Request<'a> {
    pub(super) model: &'a Model,
    pub(super) fits: &'a [Code],
    fit_places: &'a [Place],
    pub(super) consumables: &'a [ConsumableFit],
}

impl Draft {
    /// The codes that each pump asks for: of a pump that is not measured they are known already.
    pub(super) fn requests(&self) -> impl Iterator<Item = Request<'_>> {
        let measured = self.pumps.iter().zip(&self.fit_places).map(|(pump, places)| Request {
            model: &self.models[pump.model],
            fits: &pump.fits,
            fit_places: places,
            consumables: &pump.consumable_fits,
        });
        let waiting = self.waiting.iter().map(|waiting| Request {
            model: &self.models[waiting.pump.model],
            fits: &waiting.fits,
            fit_places: &waiting.fit_places,
            consumables: &waiting.consumables,
        });
        measured.chain(waiting)
    }

    /// Pumps that are not measured, in the order of the sheet.
    pub(super) fn not_measured(&self) -> Vec<NotMeasured> {
        self.waiting.iter().map(|waiting| waiting.pump.clone()).collect()
    }
}

/// Reads the Pumps sheet of a workbook, with what is known ahead and the workbook of past readings; before the outage, pumps
/// that are not measured stand among the others.
pub(super) fn read(
    book: &Book,
    library: &Library,
    (policy, gauges): (&Policy, &Gauges),
    (ahead, past, before): (&Ahead, Option<&Book>, bool),
    problems: &mut Problems,
) -> Option<Draft> {
    let sheet = find_sheet(book, "Pumps", &NEEDED_OF_PUMPS, problems)?;
    let table = Table::find(sheet, &NEEDED_OF_PUMPS, problems)?;
    let tag = table.optional("Tag").cloned();
    let model_column = table.optional("Model").cloned();
    // Models first: they give the columns their meaning.
    let (models, model_of) =
        models_named(&table, [tag.as_ref(), model_column.as_ref()], library, problems);
    let so_far = problems.count();
    let history = past.and_then(|book| history::read(book, &models, library, problems));
    // Unreadable past readings are not a second problem of the pumps.
    let whole = problems.count() == so_far && history.is_some() == ahead.history.is_some();
    let foresight = Foresight::new(ahead, history, whole, (policy, gauges));
    // Unknown columns first: a missing column may be among them, and is reported once.
    let known = known_headings(&models);
    let mut unused = table.unknown(&known, |key| is_reading(key, &models), problems);
    for name in NEEDED_OF_PUMPS {
        table.needed(name, problems);
    }
    let columns: Vec<Columns> =
        models.iter().map(|m| Columns::find(&table, m, before, problems)).collect();
    unused.extend(foresight.unused());
    let carried: Vec<&Heading> = table
        .headings
        .iter()
        .filter(|h| !known.iter().any(|k| key(k) == h.key) && !is_reading(&h.key, &models))
        .collect();
    let mut draft = Draft {
        models: Vec::new(),
        pumps: Vec::new(),
        waiting: Vec::new(),
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
                problems.add(repeated(line.place(heading), text, first));
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
            gauges,
            foresight: &foresight,
            before,
            tag: tag.as_ref(),
        };
        match reader.pump(tag_text, index, &carried, problems) {
            Some(Row::Measured(pump, expected, places)) => {
                draft.pumps.push(pump);
                draft.expected.push(expected);
                draft.fit_places.push(places);
            }
            Some(Row::NotMeasured(waiting)) => draft.waiting.push(waiting),
            None => {}
        }
    }
    foresight.finish(&models, problems);
    check_count(sheet, rows, &draft, problems);
    draft.models = models;
    Some(draft)
}

/// Models that the rows name, and the model of each row by its number.
fn models_named(
    table: &Table<'_>,
    [tag, column]: [Option<&Heading>; 2],
    library: &Library,
    problems: &mut Problems,
) -> (Vec<Model>, HashMap<u32, usize>) {
    let mut models: Vec<Model> = Vec::new();
    let mut model_of: HashMap<u32, usize> = HashMap::new();
    for line in table.lines() {
        // A row without its tag is a note or a total, and is reported below.
        if line.text(tag, &mut Problems::new()).is_none() {
            continue;
        }
        let Some(name) = line.needed_text(column, problems) else {
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
                let place = column.map_or(table.sheet.whole(), |column| line.place(column));
                problems.add(library.unknown(&name, place));
            }
        }
    }
    (models, model_of)
}

fn repeated(place: Place, tag: &str, first: u32) -> Problem {
    Problem::new(
        place,
        format!("the tag `{tag}` a second time"),
        "each pump once",
        format!("correct one of the tags; the first is in row {}", first + 1),
    )
}

/// Every row is a pump or has a problem of its own; no row may vanish.
fn check_count(sheet: &Sheet, rows: usize, draft: &Draft, problems: &mut Problems) {
    let read = draft.pumps.len() + draft.waiting.len();
    if let (true, Some(first)) = (draft.waiting.len() == rows, draft.waiting.first()) {
        let reading = &first.pump.waits_for[0];
        problems.add(Problem::new(
            reading.place.clone(),
            format!("an empty cell, and no pump whose readings are all there ({rows} rows)"),
            format!("a value for `{}`, and for all else that one pump is measured by", reading.heading),
            "fill in the readings of one pump at least; before the outage `gapwright provision` plans ahead",
        ));
    }
    if read < rows && problems.none() {
        problems.add(Problem::new(
            sheet.whole(),
            format!("{rows} rows, of which {} could be read", read),
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
}
