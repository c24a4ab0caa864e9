//! The purchase for programs: `gapwright.purchase.v1`.

use schemars::{JsonSchema, Schema, schema_for};
use serde::{Deserialize, Serialize};

use super::Ordered;
use super::reach::unit_of;
use crate::day;
use crate::decimal::{Money, show_money};
use crate::length::{Length, Unit};
use crate::plan::Kit;
use crate::reach::Choice;
use crate::reorder::shelf::Shelf;

/// The name of the format.
pub const FORMAT: &str = "gapwright.purchase.v1";

/// A purchase. Lengths and money are decimal texts, so that nothing is lost.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct PurchaseJson {
    /// `gapwright.purchase.v1`.
    pub format: String,
    /// The day of the order, `YYYY-MM-DD`.
    pub date: String,
    /// Whether every goal is proven.
    pub proven: bool,
    /// What ended the search early; null if nothing did.
    pub stopped_by: Option<String>,
    /// What the money is called.
    pub currency: String,
    /// What may be spent on packs for this outage; null for any amount.
    pub budget: Option<String>,
    /// What the packs for this outage cost, bags and levels not counted.
    pub cost: String,
    /// No purchase that serves as much costs less.
    pub cost_bound: String,
    /// Pumps that could be kitted if the packs back to level were there as well, whenever they come;
    /// null where no pump stays short or nothing is ordered back to level.
    pub served_with_level_packs: Option<u32>,
    /// Pumps, in the order of the pump sheet.
    pub pumps: Vec<PumpJson>,
    /// Items, in the order of the stock sheet; pieces that are cut from sheets left out.
    pub items: Vec<ItemJson>,
    /// Drawers.
    pub drawers: Vec<DrawerJson>,
}

/// How a pump stands.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct PumpJson {
    /// Its tag.
    pub tag: String,
    /// Whether it can be kitted from today's stock.
    pub today: bool,
    /// Whether it can be kitted after the buy, in time.
    pub after: bool,
    /// Why not; null if it can.
    pub still_short: Option<String>,
    /// When what it waits for would be there, if it is due before that.
    pub waits_for: Option<String>,
}

/// An item.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ItemJson {
    /// Stock number.
    pub item: String,
    /// Who sells it.
    pub supplier: Option<String>,
    /// Pieces in a pack.
    pub pack_qty: u32,
    /// The price of a piece; null if the stock has none.
    pub unit_cost: Option<String>,
    /// When it would be there; null without lead days.
    pub there_on: Option<String>,
    /// On hand today.
    pub before: u32,
    /// Packs so that pumps can be kitted.
    pub packs: u32,
    /// Packs for what bags lack.
    pub bag_packs: u32,
    /// Pieces issued.
    pub issued: u32,
    /// Pieces of opened packs that are spoiled.
    pub spoiled: u32,
    /// On hand after the buy and the outage.
    pub after: u32,
    /// Packs that bring it back to level.
    pub level_packs: u32,
    /// Order again when no more are left; null where `reorder_basis` says why.
    pub reorder_point: Option<u32>,
    /// What the reorder point follows from, or why there is none.
    pub reorder_basis: String,
    /// Packs to order at a time; null if not worked out.
    pub order_packs: Option<u32>,
    /// Pieces to have ready for an outage; null if not worked out.
    pub ready: Option<u32>,
    /// What one more on hand would be worth today; null if not worked out.
    pub worth_of_one_more: Option<crate::formats::plan::WorthJson>,
}

/// A drawer: one kind and fit.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct DrawerJson {
    /// Kind of piece.
    pub kind: String,
    /// Fit code.
    pub fit: String,
    /// Why it is not worked out; null if it is.
    pub fault: Option<String>,
    /// What it reaches; null if it is not worked out.
    pub reach: Option<ReachJson>,
}

/// What a drawer reaches.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ReachJson {
    /// Unit of the lengths.
    pub unit: String,
    /// Targets in the range.
    pub targets: u32,
    /// The most pieces in a pack.
    pub pieces: u32,
    /// Targets missed today.
    pub missed_today: Vec<String>,
    /// Targets missed after the buy.
    pub missed_after: Vec<String>,
    /// Targets missed with every thickness of the stock workbook.
    pub missed_by_all: Vec<String>,
    /// Targets met with at most one piece, two, and so on: today.
    pub met_today: Vec<u32>,
    /// The same after the buy.
    pub met_after: Vec<u32>,
    /// The fewest thicknesses that reach as much as all.
    pub fewest: ChoiceJson,
    /// Those of which a pack each costs least.
    pub least_cost: ChoiceJson,
}

/// A set of thicknesses.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ChoiceJson {
    /// Stock numbers.
    pub items: Vec<String>,
    /// What a pack of each costs.
    pub cost: String,
    /// Whether no set is better.
    pub proven: bool,
}

/// The JSON Schema of the format, generated from the types.
pub fn schema() -> Schema {
    schema_for!(PurchaseJson)
}

/// The purchase as JSON text, ending in a newline.
pub fn text(ordered: &Ordered<'_>) -> String {
    let mut text = serde_json::to_string_pretty(&purchase(ordered)).unwrap_or_default();
    text.push('\n');
    text
}

/// The purchase as plain values.
pub fn purchase(ordered: &Ordered<'_>) -> PurchaseJson {
    let Ordered { job, question, report, .. } = ordered;
    let purchase = ordered.bought.purchase();
    let plan = &purchase.plan;
    let bound = plan.goal(crate::plan::Aim::Purchase);
    let served = |kit: &Kit| matches!(kit, Kit::Served(_));
    PurchaseJson {
        format: FORMAT.into(),
        date: question.date.clone(),
        proven: plan.proven(),
        stopped_by: plan.stopped_by.map(|stop| stop.words().into()),
        currency: job.policy.currency.clone(),
        budget: ordered.buy.market.budget.map(show_money),
        cost: show_money(purchase.cost(&ordered.buy.market)),
        cost_bound: show_money(Money::from_raw(bound.map_or(0, |goal| goal.bound))),
        served_with_level_packs: report
            .with_levels
            .map(|served| u32::try_from(served).unwrap_or(u32::MAX)),
        pumps: (0..job.pumps.len())
            .map(|at| PumpJson {
                tag: job.pumps[at].tag.clone(),
                today: served(&ordered.buy.today.kits[at]),
                after: served(&plan.kits[at]),
                still_short: super::still_short(ordered, at),
                waits_for: purchase.late[at].as_ref().map(|late| day::written(late.arrives)),
            })
            .collect(),
        items: (0..job.stock.len())
            .filter(|&index| job.stock[index].cut.is_none())
            .map(|index| item(ordered, index))
            .collect(),
        drawers: report
            .shelves
            .iter()
            .map(|shelf| match shelf {
                Ok(shelf) => DrawerJson {
                    kind: shelf.kind.clone(),
                    fit: shelf.fit.clone(),
                    fault: None,
                    reach: Some(reach(ordered, shelf)),
                },
                Err((kind, fit, fault)) => DrawerJson {
                    kind: kind.clone(),
                    fit: fit.clone(),
                    fault: Some(fault.to_string()),
                    reach: None,
                },
            })
            .collect(),
    }
}

fn item(ordered: &Ordered<'_>, index: usize) -> ItemJson {
    let (item, line) = (&ordered.job.stock[index], &ordered.report.lines[index]);
    let worth = ordered.buy.today.worth.iter().find(|worth| worth.item == index);
    let lead = item.terms.lead_days;
    ItemJson {
        item: item.item.clone(),
        supplier: item.terms.supplier.clone(),
        pack_qty: item.pack_qty,
        unit_cost: item.terms.unit_cost.map(show_money),
        there_on: lead.map(|days| day::written(ordered.buy.market.today + i64::from(days))),
        before: item.on_hand,
        packs: line.packs,
        bag_packs: line.bag_packs,
        issued: line.issued,
        spoiled: line.spoiled,
        after: line.after,
        level_packs: line.top_up.map_or(0, |top_up| top_up.packs),
        reorder_point: line.point.as_ref().ok().map(|point| point.pieces),
        reorder_basis: super::levels::basis(&line.point),
        order_packs: line.quantity.as_ref().map(|quantity| quantity.packs),
        ready: line.ready.as_ref().map(|ready| ready.pieces),
        worth_of_one_more: worth.map(|worth| crate::formats::plan::WorthJson {
            served_weight: worth.served_weight,
            waste: show_money(worth.waste),
        }),
    }
}

fn reach(ordered: &Ordered<'_>, shelf: &Shelf) -> ReachJson {
    let unit = unit_of(ordered.job, shelf);
    let lengths = |lengths: Vec<Length>, unit: Unit| -> Vec<String> {
        lengths.into_iter().map(|length| length.show(unit)).collect()
    };
    let count = |count: usize| u32::try_from(count).unwrap_or(u32::MAX);
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
        targets: count(shelf.asked.targets.len()),
        pieces,
        missed_today: lengths(shelf.today.missed(), unit),
        missed_after: lengths(shelf.after.missed(), unit),
        missed_by_all: lengths(shelf.all.missed(), unit),
        met_today: (1..=pieces).map(|n| count(shelf.today.met_with(n))).collect(),
        met_after: (1..=pieces).map(|n| count(shelf.after.met_with(n))).collect(),
        fewest: choice(&shelf.fewest),
        least_cost: choice(&shelf.cheapest),
    }
}
