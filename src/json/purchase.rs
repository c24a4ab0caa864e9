//! A purchase as JSON: what was found and verified into [`crate::formats::purchase`].

use super::plan::{short, worth};
use crate::day;
use crate::decimal::{Money, show_money};
use crate::formats::purchase::{
    ChoiceJson, DrawerJson, FORMAT, FaultJson, ItemJson, PurchaseJson, ReachJson, ReorderBasisJson,
    ShortPumpJson, StillShortJson,
};
use crate::length::{Length, Unit};
use crate::narrow::narrow;
use crate::plan::Kit;
use crate::reorder::level::{DemandLaw, FEWEST_DATES, LoggedReorderPoint, NoPoint};
use crate::reorder::shelf::Shelf;
use crate::size_range::{Choice, SizeRangeError};
use crate::write::purchase::Ordered;
use crate::write::purchase::reach::unit_of;

/// The purchase as plain values.
pub fn purchase(ordered: &Ordered<'_>) -> PurchaseJson {
    let Ordered { job, question, report, .. } = ordered;
    let purchase = ordered.bought.purchase();
    let plan = &purchase.plan;
    let bound = plan.goal(crate::plan::Objective::Purchase);
    let served = |kit: &Kit| matches!(kit, Kit::Served(_));
    PurchaseJson {
        format: FORMAT.into(),
        date: question.date.clone(),
        proven: plan.proven(),
        stopped_by: plan.stopped_by.map(Into::into),
        currency: job.policy.currency.clone(),
        budget: ordered.buy.market.budget.map(show_money),
        cost: show_money(purchase.cost(&ordered.buy.market)),
        cost_bound: show_money(Money::from_raw(bound.map_or(0, |goal| goal.bound))),
        served_with_level_packs: report.with_levels.map(narrow),
        pumps: (0..job.pumps.len())
            .map(|at| ShortPumpJson {
                tag: job.pumps[at].tag.clone(),
                today: served(&ordered.buy.today.kits[at]),
                after: served(&plan.kits[at]),
                not_fit_to_assemble: !served(&plan.kits[at]),
                still_short: still_short(ordered, at),
            })
            .collect(),
        items: (0..job.stock.len())
            .filter(|&index| job.stock[index].cut.is_none())
            .map(|index| item(ordered, index))
            .collect(),
        drawers: report.shelves.iter().map(|shelf| drawer(ordered, shelf)).collect(),
    }
}

fn still_short(ordered: &Ordered<'_>, pump: usize) -> Option<StillShortJson> {
    let purchase = ordered.bought.purchase();
    let Kit::Short(shorts) = &purchase.plan.kits[pump] else {
        return None;
    };
    let of = &ordered.job.pumps[pump];
    if let Some(late) = &purchase.late[pump] {
        return Some(StillShortJson::DueBeforeItComes {
            item: ordered.job.stock[late.item].item.clone(),
            due: of.due.as_ref().map_or_else(String::new, |due| due.shown.clone()),
            there_on: day::written(late.arrives),
        });
    }
    let delivered = ordered.bought.delivered();
    let shorts = shorts.iter().map(|one| short(delivered, of, one));
    Some(StillShortJson::NoKit { short: shorts.collect() })
}

fn drawer(
    ordered: &Ordered<'_>,
    shelf: &Result<Shelf, (String, String, SizeRangeError)>,
) -> DrawerJson {
    let (kind, fit, fault, reach) = match shelf {
        Ok(shelf) => (&shelf.kind, &shelf.fit, None, Some(reach(ordered, shelf))),
        Err((kind, fit, fault)) => (kind, fit, Some(self::fault(fault)), None),
    };
    DrawerJson { kind: kind.clone(), fit: fit.clone(), fault, reach }
}

fn fault(fault: &SizeRangeError) -> FaultJson {
    match fault {
        SizeRangeError::Range => FaultJson::Range,
        SizeRangeError::Step => FaultJson::Step,
        SizeRangeError::TooManyTargets(targets) => FaultJson::TooManyTargets { targets: *targets },
        SizeRangeError::Size(size) => FaultJson::Size { size: narrow(*size) },
        SizeRangeError::Pieces(pieces) => FaultJson::Pieces { pieces: *pieces },
        SizeRangeError::Window => FaultJson::Window,
        SizeRangeError::TooFine { grain_nm, cells } => {
            FaultJson::TooFine { grain_nm: grain_nm.clone(), totals: *cells }
        }
        SizeRangeError::Stopped(stop) => FaultJson::Stopped { by: (*stop).into() },
        SizeRangeError::TooManySizes(sizes) => FaultJson::TooManySizes { sizes: narrow(*sizes) },
    }
}

fn basis(point: &Result<LoggedReorderPoint, NoPoint>) -> ReorderBasisJson {
    match *point {
        Ok(LoggedReorderPoint { law: DemandLaw::Seen(rows), .. }) => {
            ReorderBasisJson::LeadTimes { rows: narrow(rows) }
        }
        Ok(LoggedReorderPoint { law: DemandLaw::Days { rows, largest }, .. }) => {
            ReorderBasisJson::Days { rows: narrow(rows), largest }
        }
        Err(NoPoint::NoLog) => ReorderBasisJson::NoLog,
        Err(NoPoint::NeverIssued) => ReorderBasisJson::NeverIssued,
        Err(NoPoint::NoLeadTime) => ReorderBasisJson::NoLeadTime,
        Err(NoPoint::TooShort { days, lead }) => {
            ReorderBasisJson::TooShort { days, lead_days: lead }
        }
        Err(NoPoint::TooFew { dates }) => {
            ReorderBasisJson::TooFew { dates: narrow(dates), wanted: narrow(FEWEST_DATES) }
        }
        Err(NoPoint::TooLarge) => ReorderBasisJson::TooLarge,
    }
}

fn item(ordered: &Ordered<'_>, index: usize) -> ItemJson {
    let (item, line) = (&ordered.job.stock[index], &ordered.report.lines[index]);
    let worth = ordered.buy.today.worth.iter().find(|worth| worth.item == index);
    let lead = item.offer.lead_days;
    ItemJson {
        item: item.item.clone(),
        supplier: item.offer.supplier.clone(),
        pack_qty: item.carton_qty,
        unit_cost: item.offer.unit_cost.map(show_money),
        there_on: lead.map(|days| day::written(ordered.buy.market.today + i64::from(days))),
        before: item.on_hand,
        packs: line.cartons,
        bag_packs: line.bag_cartons,
        issued: line.issued,
        spoiled: line.spoiled,
        after: line.after,
        level_packs: line.top_up.map_or(0, |top_up| top_up.cartons),
        reorder_point: line.point.as_ref().ok().map(|point| point.pieces),
        reorder_basis: basis(&line.point),
        order_packs: line.quantity.as_ref().map(|quantity| quantity.cartons),
        ready: line.ready.as_ref().map(|ready| ready.pieces),
        worth_of_one_more: worth.map(self::worth),
    }
}

fn reach(ordered: &Ordered<'_>, shelf: &Shelf) -> ReachJson {
    let unit = unit_of(ordered.job, shelf);
    let lengths = |lengths: Vec<Length>, unit: Unit| -> Vec<String> {
        lengths.into_iter().map(|length| length.show(unit)).collect()
    };
    let pieces = shelf.asked.rule.pieces;
    let choice = |choice: &Choice| ChoiceJson {
        items: choice
            .sizes
            .iter()
            .map(|&size| ordered.job.stock[shelf.items[size]].item.clone())
            .collect(),
        cost: show_money(choice.cost),
        proven: choice.proven,
    };
    ReachJson {
        unit: unit.symbol().into(),
        targets: narrow(shelf.asked.targets.len()),
        pieces,
        missed_today: lengths(shelf.today.missed(), unit),
        missed_after: lengths(shelf.after.missed(), unit),
        missed_by_all: lengths(shelf.all.missed(), unit),
        met_today: (1..=pieces).map(|n| narrow(shelf.today.met_with(n))).collect(),
        met_after: (1..=pieces).map(|n| narrow(shelf.after.met_with(n))).collect(),
        fewest: choice(&shelf.fewest),
        least_cost: choice(&shelf.cheapest),
    }
}
