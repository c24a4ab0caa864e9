//! The plan as JSON: a verified plan into [`crate::formats::plan`].

use std::collections::BTreeMap;

use super::verdict;
use crate::accounting::{self, pack_total, plate_waste, verdicts};
use crate::changes::SlipChange;
use crate::consumables::{Bag, Lack, Share, lack};
use crate::crush::{Crush, crushes};
use crate::cutting::Layout;
use crate::decimal::{Money, show, show_money};
use crate::formats::common::{
    CauseJson, CountJson, InputJson, LengthJson, NotMeasuredJson, PackJson, PieceJson,
    RequirementJson, ShortJson, WindowJson, WorthJson,
};
use crate::formats::plan::{
    ChangeJson, ConsumableJson, CrushJson, CuresJson, FORMAT, GoalJson, GoalName, HeldBackJson,
    HoldingJson, LackJson, LayoutJson, LeftCountJson, LeftJson, LeftOutJson, LimitMoveJson,
    NotAddedUpJson, NotCountedJson, NotMadeJson, OutagePlaceJson, PiecesToBuyJson, PlanJson,
    PumpJson, PumpLeftJson, PutBackJson, RangeJson, RingJson, SheetJson, SheetName, StockJson,
    StripsJson, SumsJson, UsedUpJson,
};
use crate::issue::returned::{ReturnedLot, StockPage};
use crate::job::{Input, Job, NotMeasured};
use crate::length::{Fine, Length, Unit};
use crate::model::Model;
use crate::outage::PlaceInOutage;
use crate::packing::RingSpace;
use crate::plan::{
    Cause, Cure, HoldingCost, Kit, LeftCount, LimitMove, MarginalValue, Objective, ObjectiveValue,
    PackPick, Pick, Plan, Shortfall, Uncounted,
};
use crate::pump::Pump;
use crate::show::{Round, natural_unit, rounded};
use crate::stack::Verdict;
use crate::verify::{AddedUp, NotShown, Verified};
use crate::words;

/// The plan as JSON text, ending in a newline.
pub fn text(verified: &Verified) -> String {
    text_in(verified, None)
}

/// The plan as JSON text with its place in a running outage, if it is part of one.
pub fn text_in(verified: &Verified, place: Option<&PlaceInOutage>) -> String {
    crate::formats::text(&plan_in(verified, place))
}

/// The certificate of the plan as JSON text, ending in a newline.
pub fn certificate(verified: &Verified) -> String {
    crate::formats::certificate::text(&verified.planned().id(), &verified.plan().certificate)
}

/// The plan as plain values.
pub fn plan(verified: &Verified) -> PlanJson {
    plan_in(verified, None)
}

/// The plan as plain values, with its place in a running outage.
fn plan_in(verified: &Verified, place: Option<&PlaceInOutage>) -> PlanJson {
    let (job, plan) = (verified.job(), verified.plan());
    let weight = plan.goal(Objective::ServedWeight);
    let waste = plan.goal(Objective::Waste);
    let money = |value: Option<i64>| show_money(Money::from_raw(value.unwrap_or(0)));
    let (issued, before, returned) = (verified.issued(), verified.before(), verified.returned());
    let spoiled = verified.spoiled();
    let plates_left = verified.plates_left();
    let plain = PlanJson {
        format: FORMAT.into(),
        plan: verified.planned().id(),
        sha256: String::new(),
        sums: SumsJson::default(),
        proven: verified.proven(),
        stopped_by: plan.stopped_by.map(Into::into),
        left_out: [
            plan.left_out.order.map(|_| LeftOutJson::Order),
            plan.left_out.worth.map(|_| LeftOutJson::WorthOfOneMore),
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
        goals: plan.goals.iter().zip(verified.added_up()).map(goal).collect(),
        pumps: job
            .pumps
            .iter()
            .zip(&plan.kits)
            .zip(verified.bags())
            .enumerate()
            .map(|(at, ((p, kit), bag))| PumpJson {
                kit: place.and_then(|place| place.kits.get(&p.tag)).copied(),
                bag_stays_closed: verified.leaves_closed(at),
                cures: plan.cures.iter().find(|cure| cure.pump == at).map(|cure| cures(job, cure)),
                ..pump(job, p, kit, bag)
            })
            .collect(),
        not_measured: not_measured(job),
        left_for_not_measured: left(job, plan),
        stock: job
            .stock
            .iter()
            .zip(issued.iter().zip(verified.left()))
            .enumerate()
            .filter(|(_, (item, _))| item.cut.is_none())
            .map(|(index, (item, (&issued, after)))| StockJson {
                item: item.item.clone(),
                before: before[index],
                issued,
                spoiled: spoiled[index],
                put_back: (after + issued + spoiled[index]).saturating_sub(before[index]),
                after,
                worth_of_one_more: plan.worth.iter().find(|worth| worth.item == index).map(worth),
            })
            .collect(),
        sheets: job
            .plates
            .iter()
            .enumerate()
            .map(|(index, lot)| {
                let cut = plan.layouts.iter().filter(|layout| layout.plate == index);
                let waste = cut.clone().map(|layout| plate_waste(job, layout).raw()).sum();
                let back = returned.iter().filter(|back| back.plate == lot.item);
                SheetJson {
                    item: lot.item.clone(),
                    before: lot.on_hand,
                    layouts: cut.map(|layout| self::layout(job, layout)).collect(),
                    waste: money(Some(waste)),
                    put_back: back.map(put_back).collect(),
                    after: plates_left[index],
                }
            })
            .collect(),
        inputs: inputs(job),
        holding: plan.holding.iter().map(|row| holding(job, row)).collect(),
        outage: place.map(|place| OutagePlaceJson {
            name: place.name.clone(),
            plan: place.plan,
            replaces: place.replaces(),
            ledger: place.ledger.clone(),
            changes: place.changes.iter().map(change).collect(),
        }),
    };
    plain.sealed()
}

fn cures(job: &Job, cure: &Cure) -> CuresJson {
    let pump = &job.pumps[cure.pump];
    let unit = job.model_of(pump).unit;
    let count =
        |&(item, count): &(usize, u32)| CountJson { item: job.stock[item].item.clone(), count };
    let moved = |moved: &LimitMove| LimitMoveJson {
        requirement: pump.requirements[moved.requirement].name.clone(),
        upper: moved.upper,
        by: LengthJson {
            length: rounded(moved.by, unit, unit.places(), Round::Up),
            unit: unit.to_string(),
        },
    };
    CuresJson {
        buy: cure.buy.as_ref().map(|buy| PiecesToBuyJson {
            pieces: buy.pieces.iter().map(count).collect(),
            price: show_money(buy.price),
        }),
        bags: cure.bags.iter().map(|&bag| job.pumps[bag].tag.clone()).collect(),
        rules: cure.rules.iter().map(ToString::to_string).collect(),
        moves: cure.moves.iter().map(moved).collect(),
    }
}

fn holding(job: &Job, row: &HoldingCost) -> HoldingJson {
    HoldingJson {
        reopened: row.pumps.iter().map(|&pump| job.pumps[pump].tag.clone()).collect(),
        served: row.served,
        waste: show_money(row.waste),
        proven: row.proven,
    }
}

pub(super) fn change(change: &SlipChange) -> ChangeJson {
    let pieces = |pieces: &[(String, u32)]| {
        let count = |(item, count): &(String, u32)| CountJson { item: item.clone(), count: *count };
        pieces.iter().map(count).collect()
    };
    ChangeJson {
        tag: change.tag.clone(),
        kits: change.kits,
        out: pieces(&change.out),
        into: pieces(&change.into),
        why: change.why.clone(),
        print_slip: change.print,
        tear_up_slip: change.tear_up,
    }
}

/// The files that a job was read from.
pub(super) fn inputs(job: &Job) -> Vec<InputJson> {
    let input = |input: &Input| InputJson {
        role: input.role.clone(),
        file: input.file.clone(),
        sha256: input.sha256.clone(),
    };
    job.inputs.iter().map(input).collect()
}

/// The pumps that nothing is planned for.
pub fn not_measured(job: &Job) -> Vec<NotMeasuredJson> {
    let one = |pump: &NotMeasured| NotMeasuredJson {
        tag: pump.tag.clone(),
        model: job.models[pump.model].name.clone(),
        priority: pump.priority,
        waits_for: pump.waits_for.iter().map(|reading| reading.heading.clone()).collect(),
    };
    job.not_measured.iter().map(one).collect()
}

/// Pieces that the plan leaves for them.
fn left(job: &Job, plan: &Plan) -> Option<LeftJson> {
    let not_counted = words::ahead::not_counted(job, plan).into_iter();
    let not_counted: Vec<NotCountedJson> = not_counted
        .map(|(pump, why)| NotCountedJson { tag: pump.tag.clone(), why: why.into() })
        .collect();
    if plan.left.is_none() && not_counted.is_empty() {
        return None;
    }
    let count = |count: &LeftCount| LeftCountJson {
        draws: count.draws,
        seed: count.seed,
        kitted: count.kitted,
        undecided: count.undecided,
        interval: words::ahead::outward(count.interval()),
        without_plan: count.without_plan,
        held_alone: count.held_alone,
        pumps: count
            .pumps
            .iter()
            .map(|&(at, kitted)| PumpLeftJson { tag: job.not_measured[at].tag.clone(), kitted })
            .collect(),
        used_up: count
            .used_up
            .iter()
            .map(|&(item, kitted_with_one_more)| UsedUpJson {
                item: job.stock[item].item.clone(),
                kitted_with_one_more,
            })
            .collect(),
    };
    let not_made = |why: &Uncounted| match why {
        Uncounted::Stopped(_) => NotMadeJson::Stopped,
        Uncounted::Memory => NotMadeJson::Memory,
        Uncounted::TooMany => NotMadeJson::TooMany,
    };
    let made = plan.left.as_ref();
    let mut wanted = vec![0; job.stock.len()];
    job.hold_back.iter().for_each(|piece| wanted[piece.item] += 1);
    let pieces = job.stock.iter().zip(plan.held_back(job).into_iter().zip(wanted));
    let held_back = pieces
        .filter(|(_, (_, wanted))| *wanted > 0)
        .map(|(lot, (held, wanted))| HeldBackJson { item: lot.item.clone(), held, wanted });
    Some(LeftJson {
        held_back: held_back.collect(),
        count: made.and_then(|made| made.as_ref().ok()).map(count),
        not_made: made.and_then(|made| made.as_ref().err()).map(not_made),
        not_counted,
    })
}

/// The worth of one more of an item.
pub(super) fn worth(worth: &MarginalValue) -> WorthJson {
    let open = (!worth.exact()).then(|| show_money(worth.waste_at_least));
    WorthJson {
        served_weight: worth.served_weight,
        waste: show_money(worth.waste),
        waste_at_least: open,
    }
}

impl From<&NotShown> for NotAddedUpJson {
    fn from(why: &NotShown) -> NotAddedUpJson {
        match why {
            NotShown::NoCertificate => NotAddedUpJson::NoCertificate,
            NotShown::Suppliers => NotAddedUpJson::SharedSupplies,
            NotShown::TooLarge => NotAddedUpJson::TooLarge,
            NotShown::Earlier => NotAddedUpJson::EarlierGoal,
            NotShown::Wrong(_) => NotAddedUpJson::NotShown,
        }
    }
}

fn goal((goal, added_up): (&ObjectiveValue, &AddedUp)) -> GoalJson {
    let shown = |value: i64| match goal.objective {
        Objective::Waste | Objective::Purchase => show_money(Money::from_raw(value)),
        _ => value.to_string(),
    };
    let (name, priority) = GoalName::of(goal.objective);
    let not_added_up = match added_up {
        AddedUp::Agrees | AddedUp::Open => None,
        AddedUp::Not(why) => Some(why.into()),
    };
    GoalJson {
        goal: name,
        priority,
        value: shown(goal.value),
        bound: shown(goal.bound),
        not_added_up,
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
            let shorts = shortfalls.iter().map(|short| self::short(job, pump, short));
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
        kit: None,
        bag_stays_closed: false,
        inputs: match kit {
            Kit::Served(packs) => accounting::inputs::inputs(job, pump, packs),
            Kit::Short(_) => BTreeMap::new(),
        },
        measure_again: pump
            .to_measure_again(model)
            .map(|index| model.dimensions[index].name.clone())
            .collect(),
        not_fit_to_assemble: matches!(kit, Kit::Short(_)),
        packs,
        crush,
        requirements,
        bag: bag
            .iter()
            .enumerate()
            .map(|(need, share)| consumable(job, pump, need, share))
            .collect(),
        short,
        cures: None,
        warnings: match kit {
            Kit::Served(packs) => verdict::warnings(job, pump, packs),
            Kit::Short(_) => Vec::new(),
        },
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
        pieces: share.picks.iter().map(|pick| counted(job, pick.item, pick.count)).collect(),
        lacking: share.lacking,
        reason: lack(job, pump, need, share).map(lack_code),
    }
}

fn lack_code(lack: Lack) -> LackJson {
    match lack {
        Lack::NoFitCode { column } => LackJson::NoFitCode { column },
        Lack::NotStocked => LackJson::NotStocked,
        Lack::NoneOnHand => LackJson::NoneOnHand,
        Lack::AllReserved => LackJson::AllReserved,
        Lack::AllGivenOut { available } => LackJson::AllGivenOut { available },
    }
}

/// Why a place failed.
pub(super) fn short(job: &Job, pump: &Pump, short: &Shortfall) -> ShortJson {
    let model = job.model_of(pump);
    ShortJson {
        pack: short.pack.map(|pack| model.packs[pack].name.clone()),
        cause: cause(job, pump, &short.cause),
        nearest: short.nearest.map(|total| length(total, model.unit)),
        window: short.window.as_ref().map(|window| {
            let most = window.most.unwrap_or(window.least);
            let ends = [window.least, most, window.tolerance.minus, window.tolerance.plus];
            let (unit, [least, most, minus, plus]) = exact(model.unit, ends.map(Fine::from));
            let most = window.most.map(|_| most);
            let over = window.over.iter();
            let over = over
                .map(|&(pack, total)| (model.packs[pack].name.clone(), length(total, model.unit)));
            let over = over.collect();
            WindowJson { unit: unit.symbol().into(), least, most, minus, plus, over }
        }),
    }
}

fn cause(job: &Job, pump: &Pump, cause: &Cause) -> CauseJson {
    let pieces =
        |picks: &[Pick]| picks.iter().map(|pick| counted(job, pick.item, pick.count)).collect();
    match cause {
        Cause::NoPiece => CauseJson::NoPiece,
        Cause::AllReserved => CauseJson::AllReserved,
        Cause::LimitsTooNarrow => CauseJson::LimitsTooNarrow,
        Cause::UncertaintyTooWide => CauseJson::UncertaintyTooWide,
        Cause::NotProven { packs } => verdict::not_proven(job, pump, packs),
        Cause::OutOfReach => CauseJson::OutOfReach,
        Cause::BetweenTotals => CauseJson::BetweenTotals,
        Cause::TogetherTooMany => CauseJson::TogetherTooMany,
        Cause::TooManyWays => CauseJson::TooManyWays,
        Cause::Held => CauseJson::Held,
        Cause::SearchEnded => CauseJson::SearchEnded,
        Cause::NotFoundOut => CauseJson::NotFoundOut,
        Cause::StockGone { lacking, held_by } => {
            CauseJson::StockGone { lacking: pieces(lacking), held_by: held_by.clone() }
        }
    }
}

/// So many pieces of an item of the stock.
pub(super) fn counted(job: &Job, item: usize, count: u32) -> CountJson {
    CountJson { item: job.stock[item].item.clone(), count }
}

/// A length, in `unit` where that is exact.
pub(super) fn length(length: Length, unit: Unit) -> LengthJson {
    let (unit, [length]) = exact(unit, [length.into()]);
    LengthJson { length, unit: unit.symbol().into() }
}

fn put_back(lot: &ReturnedLot) -> PutBackJson {
    PutBackJson {
        item: lot.item.clone(),
        sheet: match lot.page {
            StockPage::Stock => SheetName::Stock,
            StockPage::Plate => SheetName::Plate,
        },
        count: lot.count,
        columns: lot.columns.iter().cloned().collect(),
    }
}

fn layout(job: &Job, layout: &Layout) -> LayoutJson {
    let own = |side: Length| length(side, natural_unit(side));
    let side = job.plates[layout.plate].sides[layout.along];
    let strips = layout.strips.iter().filter_map(|&(item, strips)| {
        let outside = job.stock[item].cut?.outside;
        Some(StripsJson {
            fit: job.stock[item].fit.as_str().into(),
            strips,
            blanks: crate::cutting::along(side, outside),
            width: own(outside),
        })
    });
    LayoutJson { along: own(side), strips: strips.collect() }
}

pub(super) fn crush(job: &Job, pump: &Pump, crush: &Crush) -> CrushJson {
    CrushJson {
        requirement: pump.requirements[crush.requirement].name.clone(),
        item: job.stock[crush.item].item.clone(),
        crush: crush.percent.to_string(),
        least: crush.ends[0].to_string(),
        greatest: crush.ends[1].to_string(),
        range: crush.range.map(|range| RangeJson {
            least: range.least.to_string(),
            most: range.most.to_string(),
        }),
        standing: crush.standing.map(Into::into),
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
                cut_from: job.stock[pick.item].cut.map(|cut| job.plates[cut.plate].item.clone()),
                peeled_to: (pick.peeled > 0)
                    .then(|| job.stock[pick.item].peeled(pick.peeled))
                    .flatten()
                    .map(|length| {
                        let (own, [shown]) = exact(model.unit, [length.into()]);
                        if own == unit { shown } else { format!("{shown} {}", own.symbol()) }
                    }),
            })
            .collect(),
    }
}

/// Where a requirement comes out.
pub(super) fn requirement(name: &str, unit: Unit, verdict: &Verdict) -> RequirementJson {
    let target = verdict.target;
    let [lower, upper] = [verdict.lower, verdict.upper];
    let (unit, [shown, low, high, value, guard, margin]) = exact(
        unit,
        [
            target,
            lower.unwrap_or(target),
            upper.unwrap_or(target),
            verdict.value,
            verdict.guard(),
            verdict.margin(),
        ],
    );
    RequirementJson {
        name: name.into(),
        unit: unit.symbol().into(),
        target: shown,
        lower: lower.map(|_| low),
        upper: upper.map(|_| high),
        value,
        guard,
        margin,
        verdict: verdict.judgement().into(),
        conforms: verdict.conforms(),
    }
}

/// The lengths as exact decimals: in `unit` if that can hold them all, else in millimetres.
pub(super) fn exact<const N: usize>(unit: Unit, lengths: [Fine; N]) -> (Unit, [String; N]) {
    let unit =
        if lengths.iter().all(|l| l.exact(unit).is_some()) { unit } else { Unit::Millimetre };
    let shown = lengths.map(|length| {
        length.exact(unit).map_or_else(|| length.show(unit), |n| show(n, unit.places()))
    });
    (unit, shown)
}
