//! The Stack-up sheet recalculated by another spreadsheet engine: every formula from scratch, then again after
//! changes of cells, compared with the library's values.

use std::collections::BTreeMap;
use std::io::Cursor;

use calamine::{Data, Reader, Xlsx};
use gapwright::choose::{choose, control::Control};
use gapwright::job::Parts;
use gapwright::model::Form;
use gapwright::plan::PackPick;
use gapwright::problem::address;
use gapwright::verify::verify;
use gapwright::write;
use ironcalc::base::Model;
use ironcalc::base::cell::CellValue;
use ironcalc::import::load_from_xlsx_bytes;
use tempfile::TempDir;

use super::{demanding, expanded, language, sample};

/// The sheet whose cells are changed, and the one that follows it.
const SHEETS: [&str; 2] = ["Stack-up", "Verdicts"];

/// Columns of Verdicts: the verdict, as it was written, and whether it turned since.
const VERDICT: [u32; 3] = [9, 10, 11];

/// Largest difference that counts as equal, in the sheet's own units.
const TOLERANCE: f64 = 1e-9;

/// Formulas with the results stored in the file, and cells that are not formulas.
struct Cells {
    results: BTreeMap<(u32, u32), Data>,
    constants: BTreeMap<(u32, u32), Data>,
}

impl Cells {
    fn of(bytes: &[u8], sheet: &str) -> Cells {
        let mut book = Xlsx::new(Cursor::new(bytes)).unwrap();
        let formulas = book.worksheet_formula(sheet).unwrap();
        let start = formulas.start().unwrap_or((0, 0));
        let formulas: Vec<(u32, u32)> = formulas
            .used_cells()
            .filter(|(_, _, formula)| !formula.is_empty())
            .map(|(row, column, _)| (row as u32 + start.0, column as u32 + start.1))
            .collect();
        let values = book.worksheet_range(sheet).unwrap();
        let start = values.start().unwrap();
        let mut cells = Cells { results: BTreeMap::new(), constants: BTreeMap::new() };
        for (row, column, value) in values.used_cells() {
            let at = (row as u32 + start.0, column as u32 + start.1);
            if formulas.contains(&at) {
                cells.results.insert(at, value.clone());
            } else {
                cells.constants.insert(at, value.clone());
            }
        }
        assert_eq!(cells.results.len(), formulas.len(), "a formula without its result");
        cells
    }
}

struct Engine {
    model: Model<'static>,
    sheets: [u32; 2],
}

impl Engine {
    fn load(bytes: &[u8]) -> Engine {
        let book = load_from_xlsx_bytes(bytes, "book", "en", "UTC").unwrap();
        let mut model = Model::from_workbook(book, "en").unwrap();
        model.evaluate();
        let names = model.workbook.get_worksheet_names();
        let at = |sheet| names.iter().position(|name| name == sheet).unwrap() as u32;
        Engine { model, sheets: SHEETS.map(at) }
    }

    fn set(&mut self, (row, column): (u32, u32), value: &Data) {
        let (row, column) = (row as i32 + 1, column as i32 + 1);
        match value {
            Data::Float(number) => {
                self.model.update_cell_with_number(self.sheets[0], row, column, *number).unwrap();
            }
            Data::String(text) => {
                self.model.update_cell_with_text(self.sheets[0], row, column, text).unwrap();
            }
            other => panic!("{other:?} in a cell to change"),
        }
    }

    fn get(&self, sheet: usize, (row, column): (u32, u32)) -> Data {
        let (row, column) = (row as i32 + 1, column as i32 + 1);
        let value = self.model.get_cell_value_by_index(self.sheets[sheet], row, column).unwrap();
        match value {
            CellValue::Number(number) => Data::Float(number),
            CellValue::String(text) => Data::String(text),
            CellValue::None => Data::Empty,
            CellValue::Boolean(truth) => Data::Bool(truth),
        }
    }

    /// Differences between the engine and these results of one of the sheets.
    fn differences(&self, sheet: usize, cells: &Cells) -> Vec<String> {
        let mut found = Vec::new();
        for (&at, expected) in &cells.results {
            let result = self.get(sheet, at);
            let equal = match (expected, &result) {
                // Lengths are below 1; degrees of freedom, which may be thousands, relative to that.
                (Data::Float(a), Data::Float(b)) => (a - b).abs() <= TOLERANCE * a.abs().max(1.0),
                (a, b) => a == b,
            };
            if !equal {
                found.push(format!("{}: {result} for {expected}", address(at.0, at.1)));
            }
        }
        found
    }
}

/// The plan of the sample outage under both rules: thousands of formulas, each as in the file.
#[test]
fn the_engine_comes_to_the_librarys_results() {
    let expanded = {
        let job = expanded::sample().unwrap();
        let plan = choose(&job, &Control::unlimited()).unwrap();
        verify(job, plan).unwrap()
    };
    for (verified, least) in [(sample(), 4_000), (expanded, 3_000)] {
        let bytes = write::workbook(&verified, "2027-03-01").unwrap();
        let engine = Engine::load(&bytes);
        for (sheet, least) in [least, 300].into_iter().enumerate() {
            let cells = Cells::of(&bytes, SHEETS[sheet]);
            assert!(cells.results.len() > least, "{}", cells.results.len());
            let differ = engine.differences(sheet, &cells);
            assert!(differ.is_empty(), "{differ:#?}");
        }
    }
}

/// A limit is typed into the block of P-101, whose clearance of 0.0220 in then lies beyond it: its verdict turns, is
/// counted at the top and marked in its line; typed back, all is as it was written.
#[test]
fn a_verdict_that_turns_is_seen_at_the_top() {
    let bytes = write::workbook(&sample(), "2027-03-01").unwrap();
    let (blocks, verdicts) = (Cells::of(&bytes, SHEETS[0]), Cells::of(&bytes, SHEETS[1]));
    let text = |cells: &Cells, text: &str| -> (u32, u32) {
        let mut all = cells.constants.iter();
        *all.find(|(_, value)| **value == Data::String(text.into())).expect(text).0
    };
    let mut engine = Engine::load(&bytes);
    let counts = |engine: &Engine| -> Vec<f64> {
        let labels = ["Requirements met", "Requirements NOT MET", "Verdicts turned since"];
        let found = labels.map(|label| engine.get(1, (text(&verdicts, label).0, 2)));
        found.iter().map(|count| calamine::DataType::get_float(count).unwrap()).collect()
    };
    let fit = 2.0 * 27.0;
    let title = text(&blocks, "P-101: Impeller running clearance (in)");
    let upper = (title.0 + 1, 5);
    assert_eq!(blocks.constants[&upper], Data::Float(0.023));
    let mut lines = verdicts
        .constants
        .iter()
        .filter(|(at, value)| at.1 == 0 && **value == Data::String("P-101".into()));
    let line = lines.next().unwrap().0.0;
    let shown = |engine: &Engine| VERDICT.map(|column| engine.get(1, (line, column)).to_string());
    for (limit, verdict, turned, expected) in [
        (0.023, "met", "no", [fit, 0.0, 0.0]),
        (0.0215, "NOT MET", "turned", [fit - 1.0, 1.0, 1.0]),
        (0.023, "met", "no", [fit, 0.0, 0.0]),
    ] {
        engine.set(upper, &Data::Float(limit));
        engine.model.evaluate();
        assert_eq!(shown(&engine), [verdict, "met", turned]);
        assert_eq!(counts(&engine), expected);
    }
}

/// A reading, a tolerance, a count, a temperature and a limit are typed into the sheet, and the sheet agrees with the
/// library's values for the changed job.
#[test]
fn a_changed_reading_changes_the_sheet_as_it_changes_the_library() {
    let folder = TempDir::new().unwrap();
    let before = demanding::stack_up(folder.path(), |_, _| {});
    let after = demanding::stack_up(folder.path(), demanding::changed);
    let [first, second] = [&before, &after].map(|bytes| Cells::of(bytes, SHEETS[0]));
    assert!(first.results.len() > 200);
    let mut engine = Engine::load(&before);
    let differ = engine.differences(0, &first);
    assert!(differ.is_empty(), "{differ:#?}");
    // The two workbooks have equal layouts, and differ only in a few typed cells.
    let places = |cells: &Cells| -> Vec<(u32, u32)> { cells.results.keys().copied().collect() };
    assert_eq!(places(&first), places(&second));
    let mut typed = Vec::new();
    for (at, value) in &second.constants {
        if first.constants.get(at) != Some(value) {
            engine.set(*at, value);
            typed.push(format!("{} {value}", address(at.0, at.1)));
        }
    }
    // Reading, both sides of a tolerance, count, temperature, limit.
    assert_eq!(typed.len(), 6, "{typed:?}");
    let stale = engine.differences(0, &second).len();
    assert!(stale > 100, "only {stale} results change");
    engine.model.evaluate();
    let differ = engine.differences(0, &second);
    assert!(differ.is_empty(), "{differ:#?}");
    // The verdicts follow; but the second workbook was written with its own, which did not turn since.
    let mut verdicts = Cells::of(&after, SHEETS[1]);
    let own = |column: u32| column == VERDICT[2] || column == 2;
    verdicts.results.retain(|(row, column), _| *row > 3 && !own(*column));
    assert!(verdicts.results.len() > 10, "{}", verdicts.results.len());
    let differ = engine.differences(1, &verdicts);
    assert!(differ.is_empty(), "{differ:#?}");
}

/// Requirements with one limit only come to the library's results. With the missing limits typed in, the sheet agrees
/// with the library's values for both.
#[test]
fn a_missing_limit_can_be_typed_in() {
    let folder = TempDir::new().unwrap();
    let before = demanding::stack_up(folder.path(), one_sided);
    let after = demanding::stack_up(folder.path(), |_, _| {});
    let [first, second] = [&before, &after].map(|bytes| Cells::of(bytes, SHEETS[0]));
    let none = Data::String("none".into());
    assert!(first.results.values().filter(|value| **value == none).count() >= 15);
    let mut engine = Engine::load(&before);
    let differ = engine.differences(0, &first);
    assert!(differ.is_empty(), "{differ:#?}");
    let mut typed = 0;
    for (at, value) in &second.constants {
        if first.constants.get(at) != Some(value) {
            assert_eq!(first.constants[at], none);
            engine.set(*at, value);
            typed += 1;
        }
    }
    assert_eq!(typed, 3);
    engine.model.evaluate();
    let differ = engine.differences(0, &second);
    assert!(differ.is_empty(), "{differ:#?}");
}

/// Takes a limit from each requirement: the upper one of the cold clearance and of the gasket, the lower one of the
/// clearance running hot.
fn one_sided(job: &mut Parts, _: &mut [PackPick]) {
    for requirement in &mut job.pumps[0].requirements {
        match &mut requirement.form {
            Form::Linear { lower, .. } if requirement.name.ends_with("_hot") => *lower = None,
            Form::Linear { upper, .. } => *upper = None,
            Form::GasketFill { upper, .. } => *upper = None,
        }
    }
}

/// Products and quotients, limits on one side, deviations on one side, trapezoids and cut-off normal distributions,
/// and the degrees of freedom of a growth: what is typed into their cells changes the sheet as it changes the library.
#[test]
fn the_whole_language_is_live() {
    let folder = TempDir::new().unwrap();
    let before = language::stack_up(folder.path(), |_| {});
    let after = language::stack_up(folder.path(), language::changed);
    let [first, second] = [&before, &after].map(|bytes| Cells::of(bytes, SHEETS[0]));
    let mut engine = Engine::load(&before);
    let differ = engine.differences(0, &first);
    assert!(differ.is_empty(), "{differ:#?}");
    let mut typed = Vec::new();
    for (at, value) in &second.constants {
        if first.constants.get(at) != Some(value) {
            engine.set(*at, value);
            typed.push(format!("{} {value}", address(at.0, at.1)));
        }
    }
    // A length, both deviations, two numbers of shapes, a running temperature.
    assert_eq!(typed.len(), 6, "{typed:?}");
    assert!(engine.differences(0, &second).len() > 100);
    engine.model.evaluate();
    let differ = engine.differences(0, &second);
    assert!(differ.is_empty(), "{differ:#?}");
}
