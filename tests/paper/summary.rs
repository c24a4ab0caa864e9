//! Summary: the result and its proof, every pump with its tightest requirement, the warnings.

use gapwright::accounting::stack;
use gapwright::model::USUAL_CAUTIONS;
use gapwright::plan::{Kit, Objective};
use gapwright::policy::Acceptance;
use gapwright::stack::{Chance, report};
use gapwright::verify::Verified;

use crate::figures::{about, limits, margin, money};
use crate::outages::held;
use crate::page::{Row, count, line, number, texts};
use crate::wording::{self, summary as words};
use crate::{anew, crush, returned, said};

/// The columns that are printed, and those with the figures of the picture.
const PRINTED: std::ops::Range<u32> = 0..12;
const FIGURES: u32 = 12;

#[test]
fn the_summary_is_what_came_out() {
    held("Summary", |outage, wrong| {
        let verified = &outage.verified;
        let page = outage.book.page("Summary");
        let mut rows = head(verified);
        rows.extend(pumps(verified));
        rows.extend(warnings(verified));
        rows.push(line(words::CAUTIONS));
        rows.extend(USUAL_CAUTIONS.map(|(when, text)| texts(&[when, text])));
        wrong.rows(&page.block(PRINTED), &rows);
        wrong.rows(&page.block(FIGURES..u32::MAX), &figures(verified));
    });
}

fn head(verified: &Verified) -> Vec<Row> {
    let (job, plan) = (verified.job(), verified.plan());
    let served = plan.kits.iter().filter(|kit| matches!(kit, Kit::Served(_))).count();
    let value = |aim| plan.goals.iter().find(|goal| goal.objective == aim).unwrap().value;
    assert!(plan.goals.iter().all(|goal| goal.value == goal.bound), "the outages here are proven");
    let waste = money(value(Objective::Waste), &job.policy.currency);
    let pieces: u32 = (0..job.stock.len()).map(|item| taken_for_places(verified, item)).sum();
    let of_all = format!("{served} of {}", job.pumps.len());
    let mut rows = vec![
        line(words::TITLE),
        line(words::lead(served, job.pumps.len(), &job.policy.acceptance.to_string())),
        line(words::proven(&waste)),
        texts(&words::COUNTS),
        texts(&[words::KITTED, "", &of_all, words::PROVEN]),
        texts(&[words::WASTE, "", &waste, words::PROVEN]),
        texts(&[words::PIECES, "", &pieces.to_string(), words::PROVEN]),
    ];
    let plates = plan.layouts.len();
    if !job.plates.is_empty() {
        rows.insert(6, texts(&[words::PLATES, "", &plates.to_string(), words::PROVEN]));
    }
    if plates > 0 {
        // What is bought with the plates and does not go into kits or back.
        let bought: i64 = plan.layouts.iter().map(|l| job.plates[l.plate].plate_cost.raw()).sum();
        let used = (0..job.stock.len())
            .filter(|&item| job.stock[item].cut.is_some())
            .map(|item| i64::from(anew::taken(verified, item)) * job.stock[item].unit_cost.raw());
        let lots = returned::lots(verified);
        let back = lots.iter().map(|lot| lot.cost * i64::from(lot.count)).sum::<i64>();
        let waste = money(bought - used.sum::<i64>() - back, &job.policy.currency);
        let back: Vec<String> = lots.iter().map(|l| format!("{} of {}", l.count, l.item)).collect();
        let back = if back.is_empty() { "nothing".to_string() } else { back.join(", ") };
        rows.push(line(words::cut_up(plates, &waste, &back)));
    }
    let short = plan.kits.len() - served;
    if short > 0 {
        rows.push(line(words::short(short)));
    }
    let lacking = verified.bags().iter().filter(|bag| anew::lacks(bag)).count();
    if lacking > 0 {
        rows.push(line(words::lacking(lacking, served)));
    }
    rows
}

fn taken_for_places(verified: &Verified, item: usize) -> u32 {
    let served = verified.plan().kits.iter().filter_map(|kit| match kit {
        Kit::Served(packs) => Some(packs),
        Kit::Short(_) => None,
    });
    let picks = served.flatten().flat_map(|pack| &pack.picks);
    picks.filter(|pick| pick.item == item).map(|pick| pick.count).sum()
}

/// Position of each pump's first requirement between its limits, in hundredths of the way.
fn figures(verified: &Verified) -> Vec<Row> {
    let (job, plan) = (verified.job(), verified.plan());
    let at = |texts: Row| -> Row {
        texts.into_iter().map(|(column, text)| (column + FIGURES, text)).collect()
    };
    let mut rows = vec![at(texts(&words::FIGURES))];
    for (pump, kit) in job.pumps.iter().zip(&plan.kits) {
        let mut row = match kit {
            Kit::Short(_) => line(format!("{}{}", pump.tag, words::NOT_KITTED)),
            Kit::Served(packs) => {
                let out = anew::outs(job, pump, packs)[0];
                let share = |part: i128| 100.0 * part as f64 / (out.upper - out.lower) as f64;
                let mut row = line(&pump.tag);
                let shares = [out.value - out.lower, out.guards[0], out.guards[1]].map(share);
                row.extend((1..).zip(shares.map(number)));
                row
            }
        };
        row.extend([(4, count(0)), (5, count(100))]);
        rows.push(at(row));
    }
    rows
}

fn pumps(verified: &Verified) -> Vec<Row> {
    let (job, plan) = (verified.job(), verified.plan());
    let mut rows = vec![line(words::PUMPS), texts(&words::COLUMNS)];
    for ((pump, kit), bag) in job.pumps.iter().zip(&plan.kits).zip(verified.bags()) {
        let model = job.model_of(pump);
        let mut row =
            texts(&[&pump.tag, &model.name, "", anew::due(pump), said::standing(kit, bag)]);
        row.insert(2, count(pump.priority));
        match kit {
            Kit::Served(packs) => {
                let (requirement, out) = anew::tightest(job, pump, packs);
                let unit = model.unit;
                // Less than a tenth of the way between the limits.
                let thin = out.margin() * 10 < out.upper - out.lower;
                let [low, high] = limits(out.lower, out.upper, unit);
                let margin = margin(out.margin(), unit);
                let texts = [
                    requirement.label.clone(),
                    about(out.value, unit),
                    format!("{low} to {high}"),
                    format!("{margin}{}", if thin { words::THIN } else { "" }),
                ];
                row.extend((5..).zip(texts));
                let pieces: u32 =
                    packs.iter().flat_map(|pack| &pack.picks).map(|pick| pick.count).sum();
                row.insert(9, count(pieces));
            }
            Kit::Short(shorts) => {
                let why = shorts.iter().map(|short| {
                    format!("{}: {}", said::place(job, pump, short), said::reason(job, pump, short))
                });
                row.insert(5, why.collect::<Vec<_>>().join("; "));
            }
        }
        rows.push(row);
    }
    rows.push(line(words::REMARK));
    rows
}

/// A warning on one line: place, found value, expected value, fix.
pub fn warning(warning: &gapwright::problem::Problem) -> String {
    let fix: Vec<&str> = warning.fix.split_whitespace().collect();
    let fix = fix.join(" ");
    let fix = format!("{}{}", fix[..1].to_uppercase(), &fix[1..]);
    format!("{}: {}. Expected {}. {fix}.", warning.place, warning.found, warning.expected)
}

fn warnings(verified: &Verified) -> Vec<Row> {
    let job = verified.job();
    let mut texts: Vec<String> = job.warnings.iter().map(warning).collect();
    let (crushed, unknown) = crushed(verified);
    texts.extend(crushed);
    if !unknown.is_empty() {
        let named = unknown.iter().map(|&item| {
            let item = &job.stock[item];
            format!("{} ({})", item.item, item.material.as_deref().unwrap_or(words::NO_MATERIAL))
        });
        let named: Vec<String> = named.collect();
        texts.push(words::unchecked(named.len(), &named.join(", ")));
    }
    texts.extend(of_verdicts(verified));
    if !job.unused.is_empty() {
        texts.push(words::unused(&job.unused.join("; ")));
    }
    match texts.is_empty() {
        true => Vec::new(),
        false => [words::WARNINGS.to_string()].into_iter().chain(texts).map(line).collect(),
    }
}

/// Requirements that are met by the nominal rule alone, or against their chance: 95 %, since no outage here with such a
/// pump has the expanded rule.
fn of_verdicts(verified: &Verified) -> Vec<String> {
    let (job, plan) = (verified.job(), verified.plan());
    let mut said = Vec::new();
    for (pump, kit) in job.pumps.iter().zip(&plan.kits) {
        let Kit::Served(packs) = kit else { continue };
        let (stack, unit) = (stack(job, pump, packs), job.model_of(pump).unit);
        for asked in &pump.requirements {
            let mut say = |text: &str| said.push(format!("{}: {}: {text}.", pump.tag, asked.label));
            if anew::is_nominal_only(job, pump, packs, &asked.form) {
                say(wording::NOMINAL_ONLY);
            }
            let report = report(&asked.form, &stack, job.policy.coverage, unit);
            if job.policy.acceptance != Acceptance::Expanded && report.conforming < 0.95 {
                let rule = job.policy.acceptance.to_string();
                say(&wording::against_chance(&rule, &Chance::of(&report).to_string()));
            }
        }
    }
    said
}

/// Warnings of the slips with the pump before them, and the gaskets whose range is unknown.
fn crushed(verified: &Verified) -> (Vec<String>, Vec<usize>) {
    let (job, plan) = (verified.job(), verified.plan());
    let (mut said, mut unknown) = (Vec::new(), Vec::new());
    for (pump, kit) in job.pumps.iter().zip(&plan.kits) {
        let Kit::Served(packs) = kit else { continue };
        for crush in crush::crushes(job, pump, packs) {
            match (crush.warning, crush.within) {
                (Some(text), _) => said.push(format!("{}: {text}.", pump.tag)),
                (None, Some(_)) => {}
                (None, None) => unknown.push(crush.item),
            }
        }
    }
    unknown.sort_unstable();
    unknown.dedup();
    (said, unknown)
}
