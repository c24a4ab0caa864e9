//! Reads the pieces of each pump back from a plan that `kit` wrote, as workbook or JSON.

use std::collections::BTreeMap;
use std::path::Path;

use super::executed_plan::{of_bytes, with_book};
use super::{Memory, book, fitted_pieces, named_sheet};
use crate::digest::sha256;
use crate::formats::common::PieceJson;
use crate::formats::plan::{self, PlanJson};
use crate::formats::short_sheet::NOT_MEASURED;
use crate::job::{Input, Job};
use crate::length::{Length, Unit};
use crate::plan::{PackPick, Pick};
use crate::problem::{Place, Problem, Problems};
use crate::sheet::{Book, Cell, SheetRow};

/// Pieces of each pump by its tag, in lower case, and the file as an input.
pub type Packs = (BTreeMap<String, Vec<PackPick>>, Input);

/// Reads a plan against the job that it was made for. Of a workbook, the pieces are those that its sheet Issue
/// records as issued.
///
/// # Errors
/// Every problem: a file that is not a plan, a pump, place or item that the job does not have.
pub fn packs(path: &Path, job: &Job, memory: &mut Memory) -> Result<Packs, Problems> {
    if !super::bounded::is_packed(path) {
        return packs_of_json(path, job);
    }
    let mut problems = Problems::new();
    let packs = with_book(path, memory, &mut problems).and_then(|(carried, book)| {
        let book = book?;
        let tags = fitted_pieces::Tags::of(job);
        let (_, mut kits) = fitted_pieces::of_book(&book, &carried, job, &tags, &mut problems);
        fitted_pieces::as_issued(&mut kits, &carried, job, &tags, &mut problems);
        let tag = |pump: usize| job.pumps[pump].tag.to_lowercase();
        let packs = kits.into_iter().map(|(pump, packs)| (tag(pump), packs));
        Some((packs.collect(), Input { role: "plan".into(), file: book.file, sha256: book.sha256 }))
    });
    problems.settle(packs).map(|(packs, _)| packs)
}

/// Tags of the pumps that a plan lists as not measured.
///
/// # Errors
/// Every problem of a file that is not a plan.
pub fn listed_not_measured(path: &Path, memory: &mut Memory) -> Result<Vec<String>, Problems> {
    if super::bounded::is_packed(path) {
        return book(path, memory).map(|book| listed_on_short(&book));
    }
    plan_of_json(path).map(|(plan, _)| plan.not_measured.into_iter().map(|pump| pump.tag).collect())
}

/// Tags in the rows of the part Not measured of the sheet Short, which ends with an empty row.
pub(super) fn listed_on_short(book: &Book) -> Vec<String> {
    let first = |row: &SheetRow| row.cell(0).map(Cell::show);
    let rows = named_sheet(book, "Short").map_or(&[][..], |sheet| &sheet.rows);
    let part = rows.iter().skip_while(|row| first(row).as_deref() != Some(NOT_MEASURED)).skip(2);
    let numbered = part.clone().map(|row| row.number).next().unwrap_or(0)..;
    let listed = part.zip(numbered).take_while(|(row, number)| row.number == *number);
    listed.map_while(|(row, _)| first(row)).collect()
}

/// Reads a plan for programs, and the hash of its bytes.
pub(super) fn plan_of_json(path: &Path) -> Result<(PlanJson, String), Problems> {
    let bytes = super::bounded::bytes(path, super::bounded::OF_PLAN);
    let bytes = bytes.map_err(|error| plan::NotAPlan::Unreadable(error.to_string()));
    let read = bytes.and_then(|bytes| Ok((of_bytes(&bytes)?, sha256(&bytes))));
    read.map_err(|error| {
        Problems::of(Problem::new(
            Place::file(&path.display().to_string()),
            error.to_string(),
            "a plan as `gapwright kit --json` writes it",
            error.fix(),
        ))
    })
}

/// Reads the pieces of a plan for programs.
pub(super) fn packs_of_json(path: &Path, job: &Job) -> Result<Packs, Problems> {
    let mut problems = Problems::new();
    let file = path.display().to_string();
    let wrong = |found: String, expected: &str, fix: &str| {
        Problem::new(Place::file(&file), found, expected, fix)
    };
    let (plan, sha256) = plan_of_json(path)?;
    let mut found = BTreeMap::new();
    for kit in plan.pumps.iter().filter(|kit| kit.served) {
        let tag = kit.tag.to_lowercase();
        let Some(pump) = job.pumps.iter().find(|pump| pump.tag.to_lowercase() == tag) else {
            problems.add(fitted_pieces::no_such_pump(job, &kit.tag, Place::file(&file)));
            continue;
        };
        let model = job.model_of(pump);
        let mut packs = Vec::new();
        for (pack, fit) in model.packs.iter().zip(&pump.fits) {
            let Some(chosen) = kit.packs.get(&pack.name) else {
                problems.add(wrong(
                    format!("no `{}` for the pump `{}`", pack.name, kit.tag),
                    "pieces for every place of its model",
                    "make the plan again: the model has changed",
                ));
                continue;
            };
            let counts = chosen.pieces.iter().map(|piece| u64::from(piece.count));
            let pieces: u64 = counts.sum();
            let asked = u64::from(pack.least_pieces)..=u64::from(pack.most_pieces);
            if !asked.contains(&pieces) {
                problems.add(wrong(
                    format!("{pieces} pieces in `{}` of `{}`", pack.name, kit.tag),
                    &format!("{} to {}, as the model says", asked.start(), asked.end()),
                    "make the plan again: the model has changed",
                ));
                continue;
            }
            let offered: Vec<usize> = job.offered(pack, fit).collect();
            let unit = Unit::parse(&chosen.unit).unwrap_or(model.unit);
            let mut picks = Vec::new();
            for piece in &chosen.pieces {
                match pick(job, &offered, piece, unit) {
                    Some(pick) => picks.push(pick),
                    None => problems.add(wrong(
                        format!("the item `{}` in `{}` of `{}`", piece.item, pack.name, kit.tag),
                        "an item of the stock workbook with that fit, and a thickness it can be peeled to",
                        "give the stock workbook that the plan was made from",
                    )),
                }
            }
            let total: Length = picks
                .iter()
                .filter_map(|pick: &Pick| {
                    Some(job.stock[pick.item].peeled(pick.peeled)? * pick.count)
                })
                .sum();
            if picks.len() == chosen.pieces.len()
                && Length::parse(&chosen.total, Some(unit)) != Ok(total)
            {
                problems.add(wrong(
                    format!(
                        "a total of {} {unit} in `{}` of `{}`, which the stock workbook makes {}",
                        chosen.total,
                        pack.name,
                        kit.tag,
                        total.show(unit)
                    ),
                    "the thicknesses that the plan was made from",
                    "the stock has changed since: make the plan again",
                ));
            }
            packs.push(PackPick { picks });
        }
        found.insert(tag, packs);
    }
    let input = Input { role: "plan".into(), file: file.clone(), sha256 };
    problems.settle(Some((found, input))).map(|(packs, _)| packs)
}

pub(super) fn pick(job: &Job, offered: &[usize], piece: &PieceJson, unit: Unit) -> Option<Pick> {
    let mut candidates = offered.iter().copied();
    let item = candidates.find(|&index| job.stock[index].item == piece.item)?;
    let peeled = match &piece.peeled_to {
        None => 0,
        Some(text) => {
            let wanted = Length::parse(text, Some(unit)).ok()?;
            let lot = &job.stock[item];
            (1..=lot.most_peeled()).find(|&layers| lot.peeled(layers) == Some(wanted))?
        }
    };
    Some(Pick { item, count: piece.count, peeled })
}
