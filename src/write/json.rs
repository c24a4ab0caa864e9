//! The plan as JSON, format `gapwright.plan.v1`.
//!
//! Lengths and money are decimal strings, so that nothing is lost. A length is given in its
//! model's unit wherever that is exact, and otherwise in millimetres, which always are.

use std::collections::BTreeMap;

use schemars::{JsonSchema, Schema, schema_for};
use serde::{Deserialize, Serialize};

use crate::bag::{Bag, Share};
use crate::crush::{Crush, crushes};
use crate::decimal::{Money, show, show_money};
use crate::job::Job;
use crate::length::{Fine, Unit};
use crate::model::Model;
use crate::packing::RingSpace;
use crate::plan::{Aim, Goal, Kit, PackPick, pack_total, verdicts};
use crate::pump::Pump;
use crate::stack::Verdict;
use crate::verify::Verified;
use crate::words;

/// The name of the format.
pub const FORMAT: &str = "gapwright.plan.v1";

/// A plan.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct PlanJson {
    /// Always `gapwright.plan.v1`.
    pub format: String,
    /// Whether every goal is proven.
    pub proven: bool,
    /// `time limit` or `interrupt` when the search ended early.
    pub stopped_by: Option<String>,
    /// What the time did not suffice for after the goals: `order` (which of equal plans comes first),
    /// `worth_of_one_more` (of some items); absent where that is nothing.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub left_out: Vec<String>,
    /// The acceptance rule.
    pub acceptance: String,
    /// Sum of the weights of the served pumps; absent when whole numbers cannot carry the weights.
    pub served_weight: Option<i64>,
    /// No plan has more.
    pub served_weight_bound: Option<i64>,
    /// Waste of the plan, in the currency.
    pub waste: String,
    /// No plan that serves as much has less.
    pub waste_bound: String,
    /// What the money is called.
    pub currency: String,
    /// Every goal in its order, with its bound.
    pub goals: Vec<GoalJson>,
    /// The pumps, in the order of the pump workbook.
    pub pumps: Vec<PumpJson>,
    /// The stock, in the order of the stock workbook.
    pub stock: Vec<StockJson>,
    /// The sheets that pieces are cut from, in the order of the stock workbook.
    pub sheets: Vec<SheetJson>,
    /// The files that the plan was made from.
    #[serde(default)]
    pub inputs: Vec<InputJson>,
}

/// A file that the plan was made from.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct InputJson {
    /// What it was read as: stock workbook, pump workbook, model, drawing, materials table.
    pub role: String,
    /// The file, as it was named.
    pub file: String,
    /// SHA-256 of its bytes, in hexadecimal.
    pub sha256: String,
}

/// One goal.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct GoalJson {
    /// Which: served weight, waste, pieces, scarcity points.
    pub goal: String,
    /// The plan's value.
    pub value: String,
    /// No plan that is as good on the earlier goals does better.
    pub bound: String,
}

/// One pump.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct PumpJson {
    /// Its tag.
    pub tag: String,
    /// Its model.
    pub model: String,
    /// 1 comes first.
    pub priority: u32,
    /// Whether every requirement is met with the pieces below.
    pub served: bool,
    /// The pieces, by the pack's name in the model; empty when not served.
    pub packs: BTreeMap<String, PackJson>,
    /// How far each gasket is crushed; empty when not served.
    pub crush: Vec<CrushJson>,
    /// The requirements, in the model's order; empty when not served.
    pub requirements: Vec<RequirementJson>,
    /// The consumables of the model, in its order; empty when not served.
    pub bag: Vec<ConsumableJson>,
    /// Why not, when not served.
    pub short: Vec<ShortJson>,
}

/// What goes into a pump's bag of one consumable.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ConsumableJson {
    /// What it is.
    pub kind: String,
    /// How many are asked for.
    pub asked: u32,
    /// The fit code asked for; null where the model asks for none or the pump gives none.
    pub fit: Option<String>,
    /// The ring asked for; null where the model does not ask by section.
    pub ring: Option<RingJson>,
    /// What goes into the bag, by item.
    pub pieces: Vec<BagPieceJson>,
    /// How many lack.
    pub lacking: u32,
    /// Why they lack, in words; null where none does.
    pub reason: Option<String>,
}

/// A packing ring by its section.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct RingJson {
    /// The unit of the lengths below.
    pub unit: String,
    /// The section, exact.
    pub section: String,
    /// The length to cut a ring to, to six places.
    pub ring_length: String,
}

/// Some pieces of one lot for the bag.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct BagPieceJson {
    /// Stock number.
    pub item: String,
    /// How many.
    pub count: u32,
}

/// The pieces in one place.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct PackJson {
    /// Their nominal total.
    pub total: String,
    /// Its unit.
    pub unit: String,
    /// The pieces, thickest first.
    pub pieces: Vec<PieceJson>,
}

/// Some pieces of one lot.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct PieceJson {
    /// Stock number.
    pub item: String,
    /// How many.
    pub count: u32,
    /// The thickness to peel a laminated shim to, in the pack's unit if that is exact and else
    /// with a unit of its own; null for a whole piece.
    pub peeled_to: Option<String>,
    /// The sheet that it is cut from; null for a piece that lies ready.
    pub cut_from: Option<String>,
}

/// How far a gasket is crushed, by nominal lengths; that of a pack as a whole for each of its
/// items.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct CrushJson {
    /// The requirement's name in the model.
    pub requirement: String,
    /// Stock number.
    pub item: String,
    /// By how many percent of its free thickness, rounded to six places.
    pub crush: String,
    /// What its material gives way under its usual test load; null where that is not known.
    pub range: Option<RangeJson>,
    /// `below`, `within` or `above` the range, told before rounding; null where it is not known.
    pub standing: Option<String>,
}

/// What a material gives way.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct RangeJson {
    /// Least, in percent.
    pub least: String,
    /// Most, in percent.
    pub most: String,
}

/// Where a requirement comes out.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct RequirementJson {
    /// Its name in the model.
    pub name: String,
    /// The unit of the lengths below.
    pub unit: String,
    /// Where it should come out. For a gasket fill all lengths are free thicknesses.
    pub target: String,
    /// Lower limit.
    pub lower: String,
    /// Upper limit.
    pub upper: String,
    /// Nominal value.
    pub value: String,
    /// What is kept clear of the limit on the side with the smaller margin.
    pub guard: String,
    /// The smaller of the two margins, guards taken off.
    pub margin: String,
    /// Whether it is met.
    pub conforms: bool,
}

/// Why a place failed.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ShortJson {
    /// The pack's name in the model; null when no single place is to blame.
    pub pack: Option<String>,
    /// Why, in words.
    pub reason: String,
    /// The reachable total nearest to what is wanted, with its unit.
    pub nearest: Option<String>,
    /// The totals that would do, with their unit.
    pub window: Option<String>,
}

/// One item of the stock.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct StockJson {
    /// Stock number.
    pub item: String,
    /// On hand before.
    pub before: u32,
    /// Issued by this plan.
    pub issued: u32,
    /// Left over of opened packs and spoiled, where the policy says so.
    pub spoiled: u32,
    /// On hand after.
    pub after: u32,
    /// What one more on hand would have been worth; null where that was not worked out.
    pub worth_of_one_more: Option<WorthJson>,
}

/// What one more piece of an item would change.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct WorthJson {
    /// By how much the served weight would rise.
    pub served_weight: i64,
    /// By how much the waste would change; below nothing is a saving.
    pub waste: String,
}

/// One lot of sheets.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SheetJson {
    /// Stock number.
    pub item: String,
    /// Sheets on hand before.
    pub before: u32,
    /// How each sheet that is cut is cut up, in words.
    pub layouts: Vec<String>,
    /// Whole sheets on hand after.
    pub after: u32,
}

/// The JSON Schema of the format, generated from the types.
pub fn schema() -> Schema {
    schema_for!(PlanJson)
}

/// The plan as JSON text, ending in a newline.
pub fn text(verified: &Verified) -> String {
    let mut text = serde_json::to_string_pretty(&plan(verified)).unwrap_or_default();
    text.push('\n');
    text
}

/// The plan as plain values.
pub fn plan(verified: &Verified) -> PlanJson {
    let (job, plan) = (verified.job(), verified.plan());
    let weight = plan.goal(Aim::ServedWeight);
    let waste = plan.goal(Aim::Waste);
    let money = |value: Option<i64>| show_money(Money::from_raw(value.unwrap_or(0)));
    let issued = verified.issued();
    PlanJson {
        format: FORMAT.into(),
        proven: plan.proven(),
        stopped_by: plan.stopped_by.map(|stop| stop.words().into()),
        left_out: [
            plan.left_out.order.map(|_| "order".to_string()),
            plan.left_out.worth.map(|_| "worth_of_one_more".to_string()),
        ]
        .into_iter()
        .flatten()
        .collect(),
        acceptance: job.policy.acceptance.to_string(),
        served_weight: weight.map(|goal| goal.value),
        served_weight_bound: weight.map(|goal| goal.bound),
        waste: money(waste.map(|goal| goal.value)),
        waste_bound: money(waste.map(|goal| goal.bound)),
        currency: job.policy.currency.clone(),
        goals: plan.goals.iter().map(goal).collect(),
        pumps: job
            .pumps
            .iter()
            .zip(&plan.kits)
            .zip(verified.bags())
            .map(|((p, kit), bag)| pump(job, p, kit, bag))
            .collect(),
        stock: job
            .stock
            .iter()
            .zip(issued.iter().zip(verified.left()))
            .enumerate()
            .filter(|(_, (item, _))| item.cut.is_none())
            .map(|(index, (item, (&issued, after)))| StockJson {
                item: item.item.clone(),
                before: item.on_hand,
                issued,
                spoiled: item.on_hand - issued - after,
                after,
                worth_of_one_more: plan.worth.iter().find(|worth| worth.item == index).map(
                    |worth| WorthJson {
                        served_weight: worth.served_weight,
                        waste: show_money(worth.waste),
                    },
                ),
            })
            .collect(),
        sheets: job
            .sheets
            .iter()
            .enumerate()
            .map(|(index, lot)| {
                let cut = plan.layouts.iter().filter(|layout| layout.sheet == index);
                let layouts: Vec<String> = cut.map(|layout| words::strips(job, layout)).collect();
                SheetJson {
                    item: lot.item.clone(),
                    before: lot.on_hand,
                    after: lot.on_hand - plan.sheets_cut(job)[index],
                    layouts,
                }
            })
            .collect(),
        inputs: job
            .inputs
            .iter()
            .map(|input| InputJson {
                role: input.role.clone(),
                file: input.file.clone(),
                sha256: input.sha256.clone(),
            })
            .collect(),
    }
}

fn goal(goal: &Goal) -> GoalJson {
    let shown = |value: i64| match goal.aim {
        Aim::Waste | Aim::Purchase => show_money(Money::from_raw(value)),
        _ => value.to_string(),
    };
    GoalJson {
        goal: goal.aim.label(),
        value: shown(goal.value),
        bound: shown(goal.bound),
    }
}

fn pump(job: &Job, pump: &Pump, kit: &Kit, bag: &Bag) -> PumpJson {
    let model = job.model_of(pump);
    let (packs, requirements, short) = match kit {
        Kit::Served(picked) => {
            let packs = model.packs.iter().zip(picked);
            let verdicts = verdicts(job, pump, picked);
            (
                packs
                    .map(|(pack, picks)| (pack.name.clone(), self::pack(job, model, picks)))
                    .collect(),
                pump.requirements
                    .iter()
                    .zip(&verdicts)
                    .map(|(r, verdict)| requirement(&r.name, model.unit, verdict))
                    .collect(),
                Vec::new(),
            )
        }
        Kit::Short(shortfalls) => {
            let shorts = shortfalls.iter().map(|short| ShortJson {
                pack: short.pack.map(|pack| model.packs[pack].name.clone()),
                reason: words::reason(job, pump, short),
                nearest: words::nearest(job, pump, short),
                window: words::window(job, pump, short),
            });
            (BTreeMap::new(), Vec::new(), shorts.collect())
        }
    };
    let crush = match kit {
        Kit::Served(picked) => crushes(job, pump, picked),
        Kit::Short(_) => Vec::new(),
    };
    let crush = crush.iter().map(|crush| self::crush(job, pump, crush));
    let crush = crush.collect();
    PumpJson {
        tag: pump.tag.clone(),
        model: model.name.clone(),
        priority: pump.priority,
        served: matches!(kit, Kit::Served(_)),
        packs,
        crush,
        requirements,
        bag: bag
            .iter()
            .enumerate()
            .map(|(need, share)| consumable(job, pump, need, share))
            .collect(),
        short,
    }
}

fn consumable(job: &Job, pump: &Pump, need: usize, share: &Share) -> ConsumableJson {
    let model = job.model_of(pump);
    let asked = &model.consumables[need];
    let fit = &pump.consumable_fits[need];
    let ring = |space: RingSpace| {
        let (unit, [section]) = exact(model.unit.large(), [space.section()]);
        RingJson {
            unit: unit.symbol().into(),
            section,
            ring_length: format!("{:.6}", space.ring_length().to_f64(unit)),
        }
    };
    ConsumableJson {
        kind: asked.kind.clone(),
        asked: asked.count,
        fit: fit.code.as_ref().map(|code| code.as_str().into()),
        ring: fit.space.map(ring),
        pieces: share
            .picks
            .iter()
            .map(|pick| BagPieceJson {
                item: job.stock[pick.item].item.clone(),
                count: pick.count,
            })
            .collect(),
        lacking: share.lacking,
        reason: words::lack(job, pump, need, share),
    }
}

fn crush(job: &Job, pump: &Pump, crush: &Crush) -> CrushJson {
    CrushJson {
        requirement: pump.requirements[crush.requirement].name.clone(),
        item: job.stock[crush.item].item.clone(),
        crush: crush.percent.to_string(),
        range: crush.range.map(|range| RangeJson {
            least: range.least.to_string(),
            most: range.most.to_string(),
        }),
        standing: crush.standing.map(|standing| standing.word().into()),
    }
}

pub(super) fn pack(job: &Job, model: &Model, picked: &PackPick) -> PackJson {
    let (total, _) = pack_total(job, picked);
    let (unit, [total]) = exact(model.unit, [total.into()]);
    PackJson {
        total,
        unit: unit.symbol().into(),
        pieces: picked
            .picks
            .iter()
            .map(|pick| PieceJson {
                item: job.stock[pick.item].item.clone(),
                count: pick.count,
                cut_from: job.stock[pick.item]
                    .cut
                    .map(|cut| job.sheets[cut.sheet].item.clone()),
                peeled_to: (pick.peeled > 0)
                    .then(|| job.stock[pick.item].peeled(pick.peeled))
                    .flatten()
                    .map(|length| {
                        let (own, [shown]) = exact(model.unit, [length.into()]);
                        if own == unit {
                            shown
                        } else {
                            format!("{shown} {}", own.symbol())
                        }
                    }),
            })
            .collect(),
    }
}

fn requirement(name: &str, unit: Unit, verdict: &Verdict) -> RequirementJson {
    let (unit, [target, lower, upper, value, guard, margin]) = exact(
        unit,
        [
            verdict.target,
            verdict.lower,
            verdict.upper,
            verdict.value,
            verdict.guard(),
            verdict.margin(),
        ],
    );
    RequirementJson {
        name: name.into(),
        unit: unit.symbol().into(),
        target,
        lower,
        upper,
        value,
        guard,
        margin,
        conforms: verdict.conforms(),
    }
}

/// The lengths as exact decimals: in `unit` if that can hold them all, else in millimetres.
pub(super) fn exact<const N: usize>(unit: Unit, lengths: [Fine; N]) -> (Unit, [String; N]) {
    let unit = if lengths.iter().all(|l| l.exact(unit).is_some()) {
        unit
    } else {
        Unit::Millimetre
    };
    let shown = lengths.map(|length| {
        length
            .exact(unit)
            .map_or_else(|| length.show(unit), |n| show(n, unit.places()))
    });
    (unit, shown)
}
