//! Reads as much of a saved plan as its slips show, to compare it with another one; no workbook of stock or pumps is needed.

use std::collections::BTreeMap;
use std::path::Path;

use super::executed_plan::with_book;
use super::fitted_pieces::{holds, slips};
use super::plan::{listed_on_short, plan_of_json};
use super::{Memory, bounded};
use crate::changes::{PlanSide, SlipSide, SlipStatus};
use crate::formats::plan::PlanJson;
use crate::formats::slip::{self, SlipRow};
use crate::issue::carried::Carried;
use crate::issue::key;
use crate::issue::planned::PickStep;
use crate::problem::Problems;
use crate::sheet::Book;

/// A saved plan as its slips show it: the workbook that `kit` wrote, or its JSON. Pieces are those that were planned. Layers
/// that are peeled off are among the figures, and are told by two workbooks or two JSONs alike, not by one of each.
///
/// # Errors
/// Every problem of a file that is not a plan.
pub fn plan_side(path: &Path, memory: &mut Memory) -> Result<PlanSide, Problems> {
    if !bounded::is_packed(path) {
        return plan_of_json(path).map(|(plan, _)| of_json(&plan));
    }
    let mut problems = Problems::new();
    let side = with_book(path, memory, &mut problems)
        .and_then(|(carried, book)| Some(of_book(&carried, &book?, &mut problems)));
    problems.settle(side).map(|(side, _)| side)
}

fn of_json(plan: &PlanJson) -> PlanSide {
    let planned = plan.pumps.iter().map(|pump| {
        let mut slip = SlipSide {
            tag: pump.tag.clone(),
            priority: Some(pump.priority),
            kit: pump.kit,
            figures: pump.inputs.clone(),
            ..SlipSide::default()
        };
        for (place, pack) in &pump.packs {
            for piece in &pack.pieces {
                *slip.pieces.entry(piece.item.clone()).or_default() += piece.count;
                let peeled = piece.peeled_to.clone().unwrap_or_else(|| "no".into());
                slip.figures.insert(format!("{} in {place}, peeled", piece.item), peeled);
            }
        }
        for piece in pump.bag.iter().flat_map(|share| &share.pieces) {
            *slip.pieces.entry(piece.item.clone()).or_default() += piece.count;
        }
        if !pump.served {
            let why: Vec<String> = pump.short.iter().map(|short| short.cause.to_string()).collect();
            slip.status = SlipStatus::Short(why.join("; "));
        }
        slip
    });
    let waiting = plan.not_measured.iter().map(|pump| SlipSide {
        tag: pump.tag.clone(),
        priority: Some(pump.priority),
        status: SlipStatus::NotMeasured,
        ..SlipSide::default()
    });
    let slips: Vec<SlipSide> = planned.chain(waiting).collect();
    let mut stock: BTreeMap<String, i64> =
        plan.stock.iter().map(|item| (item.item.clone(), item.before.into())).collect();
    let closed = plan.pumps.iter().zip(&slips).filter(|(pump, _)| pump.bag_stays_closed);
    for (item, count) in closed.flat_map(|(_, slip)| &slip.pieces) {
        *stock.entry(item.clone()).or_default() += i64::from(*count);
    }
    PlanSide { slips, stock }
}

fn of_book(carried: &Carried, book: &Book, problems: &mut Problems) -> PlanSide {
    let mut side = PlanSide::default();
    let mut at: BTreeMap<String, usize> = BTreeMap::new();
    for line in carried.planned.lines.iter().filter(|line| !line.tag.is_empty()) {
        let index = *at.entry(key(&line.tag)).or_insert_with(|| {
            side.slips.push(SlipSide { tag: line.tag.clone(), ..SlipSide::default() });
            side.slips.len() - 1
        });
        let slip = &mut side.slips[index];
        match line.step {
            // A consumable that is short has a count; a place has none.
            PickStep::Short if line.planned == 0 => {
                slip.status = SlipStatus::Short("see the sheet Short".into());
            }
            PickStep::Short => {}
            _ => *slip.pieces.entry(line.item.clone()).or_default() += line.planned,
        }
    }
    for sheet in slips(book, problems) {
        for row in &sheet.rows {
            let Some((what, tag, name)) = holds(row) else { continue };
            let Some(slip) = at.get(&key(&tag)).map(|&index| &mut side.slips[index]) else {
                continue;
            };
            let text = |column: u16| row.cell(column.into()).map(|cell| cell.show());
            match what {
                SlipRow::Piece => {
                    let [item, _, fitted] =
                        slip::PIECE.map(|column| text(column).unwrap_or_default());
                    slip.figures.insert(format!("{item} in {name}, as fitted"), fitted);
                }
                SlipRow::Signed => {
                    let inputs = text(slip::INPUTS).unwrap_or_default();
                    let lines = inputs.lines().filter_map(|line| line.split_once(": "));
                    let lines = lines
                        .map(|(heading, value)| (heading.to_string(), value.trim().to_string()));
                    slip.figures.extend(lines);
                }
                SlipRow::Pack | SlipRow::Requirement => {}
            }
        }
    }
    side.slips.extend(listed_on_short(book).into_iter().map(|tag| SlipSide {
        tag,
        status: SlipStatus::NotMeasured,
        ..SlipSide::default()
    }));
    let counts = carried.before.lots().iter();
    side.stock = counts.map(|lot| (lot.item.clone(), i64::from(lot.on_hand))).collect();
    let closed = carried.planned.lines.iter().filter(|line| line.step == PickStep::InBag);
    for line in closed {
        *side.stock.entry(line.item.clone()).or_default() += i64::from(line.planned);
    }
    side
}
