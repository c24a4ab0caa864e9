//! Reads a workbook of past readings: values of each dimension of a model at earlier outages.

use std::collections::BTreeMap;

use super::find_sheet;
use super::model::Library;
use super::pumps::{known_headings, names, reading_columns, reading_number};
use super::table::{Heading, Table, TableRow};
use crate::columns::key;
use crate::forecast::Fit;
use crate::length::Length;
use crate::model::Model;
use crate::problem::{Problem, Problems};
use crate::sheet::Book;

/// The sheet's name; no spreadsheet allows a sheet named History.
const SHEET: &str = "Past readings";
/// The needed heading.
const NEEDED: [&str; 1] = ["Model"];
/// Femtometres in a tick.
const FINE: f64 = 100_000.0;
/// Known headings besides those of the dimensions.
const ALSO_KNOWN: [&str; 4] = ["Model", "Tag", "Date", "Note"];

/// Past readings, by model of the outage and by dimension.
pub(super) struct History {
    /// File name.
    pub(super) file: String,
    past: Vec<Vec<Past>>,
    /// Columns and rows that are not used.
    pub(super) unused: Vec<String>,
}

/// Past readings of one dimension of one model.
#[derive(Default)]
pub(super) struct Past {
    /// One value per pump: the mean over its rows, each row being the mean of its readings. Without a column of tags,
    /// each row counts as another pump.
    pub(super) values: Vec<Length>,
    /// Number of rows that these come from.
    pub(super) rows: usize,
    /// Row means of each pump.
    by_pump: BTreeMap<String, Vec<Length>>,
    /// Their law, where there are two or more.
    pub(super) fit: Option<Fit>,
    /// Scatter of readings of one pump, where some row has several.
    pub(super) scatter: Option<Scatter>,
}

/// Scatter of repeated readings of one pump, pooled over pumps: sums of squares and degrees of freedom added up.
/// Source: the pooled variance of JCGM 100:2008, H.3.6 and 4.2.4 (from memory).
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Scatter {
    /// Sum of squared deviations from each row's own mean, in ticks squared.
    squares: f64,
    /// Readings less rows.
    freedom: u32,
}

impl Scatter {
    /// Pooled variance, in ticks squared.
    pub(super) fn variance(self) -> f64 {
        self.squares / f64::from(self.freedom.max(1))
    }
}

impl History {
    /// Past readings of a dimension; `None` where the workbook has none.
    pub(super) fn of(&self, model: usize, dimension: usize) -> Option<&Past> {
        let past = self.past.get(model)?.get(dimension)?;
        (!past.values.is_empty()).then_some(past)
    }
}

/// Reads the workbook, for the models of the outage.
pub(super) fn read(
    book: &Book,
    models: &[Model],
    library: &Library,
    problems: &mut Problems,
) -> Option<History> {
    let sheet = find_sheet(book, SHEET, &NEEDED, problems)?;
    let table = Table::find(sheet, &NEEDED, problems)?;
    let mut known = ALSO_KNOWN.map(String::from).to_vec();
    let dimensions = models.iter().flat_map(|model| &model.dimensions);
    known.extend(dimensions.flat_map(|d| names(&d.name, &d.label, "")));
    // An old pump workbook will do as well.
    let of_pumps = known_headings(models);
    let mut unused = table.unknown(
        &known,
        |heading| {
            let dimensions = || models.iter().flat_map(|model| &model.dimensions);
            dimensions().any(|d| reading_number(heading, d).is_some())
                || of_pumps.iter().any(|known| key(known) == heading)
        },
        problems,
    );
    // After the unknown headings, where a misspelt one is already reported.
    let model_column = table.needed("Model", problems)?;
    let columns: Vec<Vec<Vec<Heading>>> = models
        .iter()
        .map(|model| {
            let dimensions = model.dimensions.iter();
            dimensions.map(|dimension| reading_columns(&table, dimension, problems)).collect()
        })
        .collect();
    let mut past: Vec<Vec<Past>> = models
        .iter()
        .map(|model| model.dimensions.iter().map(|_| Past::default()).collect())
        .collect();
    let mut others: BTreeMap<String, u32> = BTreeMap::new();
    let mut pumps = Pumps::of(&table);
    for line in table.lines() {
        let Some(name) = line.needed_text(Some(model_column), problems) else {
            continue;
        };
        let name = library.exact(&name);
        let Some(model) = models.iter().position(|model| model.name == name) else {
            ask_about_model(&name, models, library, line, model_column, problems);
            *others.entry(name).or_default() += 1;
            continue;
        };
        let Some(pump) = pumps.named(model, line, problems) else {
            continue;
        };
        let dimensions = models[model].dimensions.iter().zip(&columns[model]);
        for ((dimension, columns), past) in dimensions.zip(&mut past[model]) {
            let readings = columns
                .iter()
                .filter(|heading| line.row.cell(heading.column).is_some())
                .map(|heading| reading(&line, heading, &dimension.label, problems));
            let readings: Vec<Option<Length>> = readings.collect();
            if let Some(readings) = readings.into_iter().collect::<Option<Vec<Length>>>() {
                past.take(&pump, &readings);
            }
        }
    }
    for past in past.iter_mut().flatten() {
        let pumps = past.by_pump.values();
        past.values = pumps.filter_map(|rows| Length::mean(rows)).collect();
        past.fit = Fit::of(&past.values);
    }
    let sheets = book.sheets.iter().filter(|other| other.name != sheet.name);
    unused.extend(sheets.map(|other| format!("sheet {} of {}", other.name, book.file)));
    let count: u32 = others.values().sum();
    if count > 0 {
        const MOST_NAMED: usize = 10;
        let named = others.iter().take(MOST_NAMED);
        let named: Vec<String> = named.map(|(name, rows)| format!("{name} {rows}")).collect();
        let more = if others.len() > MOST_NAMED { ", ..." } else { "" };
        let rows = if count == 1 { "row" } else { "rows" };
        unused.push(format!(
            "{count} {rows} of sheet {} of {} for models that are not of this outage ({}{more})",
            sheet.name,
            book.file,
            named.join(", ")
        ));
    }
    Some(History { file: book.file.clone(), past, unused })
}

/// Assigns rows to pumps.
struct Pumps<'a> {
    tag: Option<&'a Heading>,
    date: Option<&'a Heading>,
    /// First row with this model, tag and date, as typed.
    known: BTreeMap<(usize, String, String), String>,
    rows: usize,
}

impl<'a> Pumps<'a> {
    fn of(table: &'a Table<'_>) -> Pumps<'a> {
        Pumps {
            tag: table.optional("Tag"),
            date: table.optional("Date"),
            known: BTreeMap::new(),
            rows: 0,
        }
    }

    /// Key of a row's pump: its tag, or the row itself where the sheet has no tags. A repeated row is a problem, and
    /// so is a row without a tag among others.
    fn named(
        &mut self,
        model: usize,
        line: TableRow<'_, '_>,
        problems: &mut Problems,
    ) -> Option<String> {
        self.rows += 1;
        let Some(heading) = self.tag else {
            return Some(format!("{:09}", self.rows));
        };
        let tag = line.needed_text(Some(heading), problems)?;
        let date = self.date.and_then(|date| line.row.cell(date.column));
        let Some(date) = date.map(crate::sheet::Cell::show) else {
            return Some(key(&tag));
        };
        let here = line.place(heading);
        let same = (model, key(&tag), date.clone());
        if let Some(first) = self.known.get(&same) {
            problems.add(Problem::new(
                here,
                format!("`{tag}` of `{date}`, which is in {first} already"),
                "one row per pump and outage",
                "remove the copy; readings of one pump that were taken again go into one row, in columns numbered 1, 2, 3",
            ));
            return None;
        }
        self.known.insert(same, here.to_string());
        Some(key(&tag))
    }
}

impl Past {
    /// Adds the readings of one row of a pump.
    #[allow(clippy::cast_precision_loss)]
    fn take(&mut self, pump: &str, readings: &[Length]) {
        let Some(mean) = Length::mean(readings) else {
            return;
        };
        self.rows += 1;
        self.by_pump.entry(pump.into()).or_default().push(mean);
        let Ok(n @ 2..) = u32::try_from(readings.len()) else {
            return;
        };
        let Some(fit) = Fit::of(readings) else { return };
        let deviation = fit.deviation().raw() as f64 / FINE;
        let scatter = self.scatter.get_or_insert(Scatter { squares: 0.0, freedom: 0 });
        scatter.squares += deviation * deviation * f64::from(n - 1);
        scatter.freedom += n - 1;
    }
}

/// A past reading: a length above zero.
fn reading(
    line: &TableRow<'_, '_>,
    heading: &Heading,
    label: &str,
    problems: &mut Problems,
) -> Option<Length> {
    let length = line.length(heading, problems)?;
    if length > Length::ZERO {
        return Some(length);
    }
    let shown = line.row.cell(heading.column)?.show();
    problems.add(Problem::new(
        line.place(heading),
        format!("`{shown}` as a past reading of `{label}`"),
        "a length above 0",
        "correct the reading, or clear the cell if it was not taken",
    ));
    None
}

/// Reports a name so like that of a model of the outage that its rows may have been meant to count.
fn ask_about_model(
    name: &str,
    models: &[Model],
    library: &Library,
    line: TableRow<'_, '_>,
    heading: &Heading,
    problems: &mut Problems,
) {
    const ALIKE: f64 = 0.8;
    if library.knows(name) {
        return;
    }
    let likeness = |model: &&Model| {
        strsim::normalized_damerau_levenshtein(&name.to_lowercase(), &model.name.to_lowercase())
    };
    let near = models.iter().max_by(|a, b| likeness(a).total_cmp(&likeness(b)));
    if let Some(near) = near.filter(|near| likeness(near) >= ALIKE) {
        problems.add(Problem::new(
            line.place(heading),
            format!("the model `{name}`, which is not known, but is much like `{}`", near.name),
            "a model of the outage, or a name less like one",
            format!(
                "write `{}`, if that is what is meant; else add the model's file to the folder given \
                 with --models, or remove the row",
                near.name
            ),
        ));
    }
}
