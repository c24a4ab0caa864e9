//! Plans in words: the same on the terminal, on every sheet and on the kit slip.

use crate::decimal::{Money, show_price};
use crate::job::Job;
use crate::length::{Fine, Length, Unit};
use crate::plan::{Aim, Cause, Goal, Kit, Plan, Shortfall};
use crate::pump::Pump;

/// What stands on everything that belongs to a pump that may not be closed.
pub const NOT_FIT: &str = "NOT FIT TO ASSEMBLE";

/// A length with its unit: `0.0460 in`.
pub fn length(length: Length, unit: Unit) -> String {
    format!("{} {unit}", length.show(unit))
}

/// A fine length with its unit.
pub fn fine(length: Fine, unit: Unit) -> String {
    format!("{} {unit}", length.show(unit))
}

/// A length in both systems: `0.0460 in (1.168 mm)`; the second one rounded to its usual places.
pub fn both(length: Length, unit: Unit) -> String {
    format!(
        "{} ({})",
        self::length(length, unit),
        about(Fine::from(length), unit.twin())
    )
}

/// A length rounded to the usual places of a unit, for print beside the exact one.
pub fn about(length: Fine, unit: Unit) -> String {
    let places = usize::try_from(unit.places()).unwrap_or(4);
    format!("{:.places$} {unit}", length.to_f64(unit))
}

/// An amount of money with the currency.
pub fn money(amount: i64, job: &Job) -> String {
    format!(
        "{} {}",
        show_price(Money::from_raw(amount)),
        job.policy.currency
    )
}

/// A pump's standing in a few words.
pub fn standing(kit: &Kit) -> &'static str {
    match kit {
        Kit::Served(_) => "kit complete",
        Kit::Short(_) => NOT_FIT,
    }
}

/// The name of the place that failed.
pub fn place(job: &Job, pump: &Pump, short: &Shortfall) -> String {
    match short.pack {
        Some(pack) => job.model_of(pump).packs[pack].label.clone(),
        None => "the pump as a whole".into(),
    }
}

/// Why a place failed, in one sentence.
pub fn reason(job: &Job, pump: &Pump, short: &Shortfall) -> String {
    let model = job.model_of(pump);
    let piece = short.pack.map_or("piece", |pack| &model.packs[pack].kind);
    let fit = short.pack.map_or("", |pack| pump.fits[pack].as_str());
    let most = short.pack.map_or(0, |pack| model.packs[pack].most_pieces);
    match &short.cause {
        Cause::NoPiece => format!("no {piece} of fit {fit} is on hand"),
        Cause::LimitsTooNarrow => "the limits are narrower than the tolerances of the measurements \
                                   and of the thinnest possible pack"
            .into(),
        Cause::OutOfReach if short.pack.is_none() => {
            "the measured dimensions alone are outside the limits, and no piece can change that".into()
        }
        Cause::OutOfReach => "the bare dimensions are already beyond the limit, and every piece \
                              takes them further"
            .into(),
        Cause::BetweenTotals if short.pack.is_none() => {
            "each place could be filled by itself, but together they ask for more pieces than there are".into()
        }
        Cause::BetweenTotals => {
            let pieces = format!("1 to {most} {} of fit {fit}", plural(piece, most));
            match (window(job, pump, short), nearest(job, pump, short)) {
                (Some(window), Some(nearest)) => format!(
                    "no total of {pieces} falls into the window {window}; the nearest is {nearest}"
                ),
                _ => format!("no total of {pieces} meets every requirement at once"),
            }
        }
        Cause::StockGone(tags) if tags.is_empty() => {
            "the pieces that would do are needed elsewhere".into()
        }
        Cause::StockGone(tags) => {
            let shown: Vec<&str> = tags.iter().take(6).map(String::as_str).collect();
            let more = match tags.len().saturating_sub(6) {
                0 => String::new(),
                n => format!(" and {n} more"),
            };
            format!("the pieces that would do went to {}{more}", shown.join(", "))
        }
    }
}

fn plural(word: &str, count: u32) -> String {
    if count == 1 {
        word.to_string()
    } else {
        format!("{word}s")
    }
}

/// The window of totals that would do.
pub fn window(job: &Job, pump: &Pump, short: &Shortfall) -> Option<String> {
    let unit = job.model_of(pump).unit;
    let (low, high) = short.window?;
    Some(format!("{} to {}", low.show(unit), length(high, unit)))
}

/// The reachable total nearest to the window.
pub fn nearest(job: &Job, pump: &Pump, short: &Shortfall) -> Option<String> {
    Some(length(short.nearest?, job.model_of(pump).unit))
}

/// A goal's value as people read it.
pub fn goal_value(job: &Job, goal: &Goal, value: i64) -> String {
    match goal.aim {
        Aim::Waste => money(value, job),
        _ => value.to_string(),
    }
}

/// What is proven about the plan and what is not.
pub fn proof(job: &Job, plan: &Plan) -> String {
    let open: Vec<&Goal> = plan.goals.iter().filter(|goal| !goal.proven()).collect();
    if open.is_empty() {
        let waste = plan.goal(Aim::Waste).map_or(0, |goal| goal.value);
        return format!(
            "Proven least: no plan serves more by priority, and none that does wastes less than {}.",
            money(waste, job)
        );
    }
    let gaps: Vec<String> = open
        .iter()
        .map(|goal| {
            format!(
                "{} {} found, bound {} (gap {})",
                goal.aim.label(),
                goal_value(job, goal, goal.value),
                goal_value(job, goal, goal.bound),
                goal_value(job, goal, (goal.value - goal.bound).abs()),
            )
        })
        .collect();
    let why = plan.stopped_by.map_or("search ended", |stop| stop.words());
    format!(
        "Best found, not proven least: {}. Reason: {why}.",
        gaps.join("; ")
    )
}
