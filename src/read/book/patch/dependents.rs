//! The formulas whose results depend on cells that change, directly or through other formulas.

use std::collections::{HashMap, HashSet, VecDeque};

use super::references::Area;
use crate::narrow::narrow;

/// A formula with the cells that it reads.
#[derive(Debug)]
pub(super) struct FormulaCell {
    /// Number of its sheet.
    pub(super) sheet: usize,
    /// Cells that its result fills: its own, and those of an array.
    pub(super) fills: Area,
    /// Cells that it reads; `None` where its text does not tell.
    pub(super) reads: Option<Vec<Area>>,
}

/// Formulas whose results no longer hold.
#[derive(Debug, Default, PartialEq, Eq)]
pub(super) struct Stale {
    /// Numbers of the formulas.
    pub(super) formulas: HashSet<usize>,
    /// Number of those whose text does not tell.
    pub(super) unclear: usize,
}

/// Areas up to this size are known cell by cell.
const SMALL: u64 = 64;
/// Most steps; then every formula is taken to depend.
const MOST_STEPS: u64 = 100_000_000;

/// Formulas that depend on these cells.
pub(super) fn stale(formulas: &[FormulaCell], changed: &[Area]) -> Stale {
    let unclear: Vec<usize> =
        (0..formulas.len()).filter(|at| formulas[*at].reads.is_none()).collect();
    let mut search = Search::of(formulas);
    changed.iter().for_each(|area| search.open.push_back(*area));
    if !changed.is_empty() {
        unclear.iter().for_each(|at| search.add(*at));
    }
    let stale = match search.run() {
        Some(()) => search.found,
        None => (0..formulas.len()).collect(),
    };
    let unclear = if changed.is_empty() { 0 } else { unclear.len() };
    Stale { formulas: stale, unclear }
}

struct Search<'f> {
    formulas: &'f [FormulaCell],
    /// Readers of single cells.
    of_cell: HashMap<(usize, u32, u32), Vec<usize>>,
    /// Readers of large areas, by sheet.
    of_area: HashMap<usize, Vec<(Area, usize)>>,
    open: VecDeque<Area>,
    found: HashSet<usize>,
    steps: u64,
}

impl<'f> Search<'f> {
    fn of(formulas: &'f [FormulaCell]) -> Search<'f> {
        let mut search = Search {
            formulas,
            of_cell: HashMap::new(),
            of_area: HashMap::new(),
            open: VecDeque::new(),
            found: HashSet::new(),
            steps: 0,
        };
        for (at, formula) in formulas.iter().enumerate() {
            for area in formula.reads.iter().flatten() {
                match area.cells() <= SMALL {
                    true => cells(area).for_each(|(row, column)| {
                        search.of_cell.entry((area.sheet, row, column)).or_default().push(at);
                    }),
                    false => search.of_area.entry(area.sheet).or_default().push((*area, at)),
                }
            }
        }
        search
    }

    fn add(&mut self, formula: usize) {
        if self.found.insert(formula) {
            self.open.push_back(self.formulas[formula].fills);
        }
    }

    /// Goes on until nothing more depends; `None` where that takes too many steps.
    fn run(&mut self) -> Option<()> {
        while let Some(area) = self.open.pop_front() {
            if area.cells() > MOST_STEPS / 100 {
                return None;
            }
            for (row, column) in cells(&area) {
                let mut readers =
                    self.of_cell.remove(&(area.sheet, row, column)).unwrap_or_default();
                self.steps += 1 + narrow::<u64>(readers.len());
                if let Some(areas) = self.of_area.get_mut(&area.sheet) {
                    self.steps += narrow::<u64>(areas.len());
                    areas.retain(|(read, reader)| {
                        let reads = read.holds((row, column));
                        readers.extend(reads.then_some(*reader));
                        !reads
                    });
                }
                if self.steps > MOST_STEPS {
                    return None;
                }
                readers.into_iter().for_each(|reader| self.add(reader));
            }
        }
        Some(())
    }
}

fn cells(area: &Area) -> impl Iterator<Item = (u32, u32)> + use<> {
    let [rows, columns] = [area.rows, area.columns];
    let rows = rows[0]..=rows[1];
    rows.flat_map(move |row| (columns[0]..=columns[1]).map(move |column| (row, column)))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn formula(row: u32, reads: Option<Vec<Area>>) -> FormulaCell {
        FormulaCell { sheet: 0, fills: Area::cell(0, (row, 1)), reads }
    }

    /// In column B: a chain written from its end, an area, a formula that tells nothing, and one that reads nothing.
    #[test]
    fn dependents_are_found_through_others_in_any_order() {
        let mut formulas: Vec<FormulaCell> =
            (0..2_000).map(|row| formula(row, Some(vec![Area::cell(0, (row + 1, 1))]))).collect();
        formulas.push(formula(2_000, Some(vec![Area::cell(0, (5, 0))])));
        formulas
            .push(formula(2_001, Some(vec![Area { sheet: 0, rows: [0, 5_000], columns: [1, 1] }])));
        formulas.push(formula(2_002, None));
        formulas.push(formula(2_003, Some(Vec::new())));
        let one = Area::cell(0, (5, 0));
        let found = stale(&formulas, &[one]);
        assert_eq!((found.formulas.len(), found.unclear), (2_003, 1));
        assert!(!found.formulas.contains(&2_003));
        // Another sheet's cell touches only the one that tells nothing, and those that read it.
        let found = stale(&formulas, &[Area::cell(1, (5, 0))]);
        assert_eq!(found.formulas, HashSet::from([2_001, 2_002]));
        assert_eq!(stale(&formulas, &[]), Stale::default());
    }

    #[test]
    fn too_much_work_takes_every_formula_along() {
        let all = Area { sheet: 0, rows: [0, 1_048_575], columns: [0, 16_383] };
        let formulas =
            [FormulaCell { sheet: 0, fills: all, reads: None }, formula(3, Some(Vec::new()))];
        assert_eq!(stale(&formulas, &[Area::cell(1, (0, 0))]).formulas.len(), 2);
    }
}
