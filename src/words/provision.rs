//! Kits set aside before an outage, in words: runs of values served alike, gaps, prices.

use itertools::Itertools;

use super::{NOT_FIT, about, length, money, natural_unit};
use crate::accounting::pack_total;
use crate::decimal::Millionths;
use crate::forecast::{Expected, ExpectedLaw};
use crate::job::Job;
use crate::length::{Length, Unit};
use crate::plan::PackPick;
use crate::problem::{Place, Problem};
use crate::provision::{
    MOST_VALUES, Provision, ProvisionError, ProvisionOptions, SafeKit, Service, SetAside, Together,
    Trolley,
};

/// Mark of values that no pieces in the drawers serve.
pub const GAP: &str = "GAP";

/// Neighbouring values that are served alike, or that no pieces in the drawers serve.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Run<'a> {
    /// First and last value of each axis, in the order of the kit's axes.
    pub ranges: Vec<[Length; 2]>,
    /// Number of values.
    pub values: usize,
    /// Pieces to take out of the safe kit, pack by pack; `None` is a gap.
    pub take: Option<&'a [PackPick]>,
}

/// Values of a pump as few runs: along the last axis first; values of an earlier axis are joined where all later axes
/// agree.
pub fn runs(kit: &SafeKit) -> Vec<Run<'_>> {
    let values: Vec<Option<&[PackPick]>> = kit.iter().map(|value| value.take).collect();
    along(kit, 0, &values)
}

fn along<'a>(kit: &SafeKit, axis: usize, values: &[Option<&'a [PackPick]>]) -> Vec<Run<'a>> {
    let Some(here) = kit.axes.get(axis) else {
        let run = |&take: &Option<&'a [PackPick]>| Run { ranges: Vec::new(), values: 1, take };
        return values.iter().take(1).map(run).collect();
    };
    let behind = values.len() / here.values.len().max(1);
    let blocks = values.chunks(behind.max(1));
    let blocks = blocks.zip(&here.values);
    let blocks = blocks.map(|(block, &value)| (along(kit, axis + 1, block), [value; 2], 1));
    let merged = blocks.coalesce(|(runs, [low, high], count), next| match runs == next.0 {
        true => Ok((runs, [low, next.1[1]], count + next.2)),
        false => Err(((runs, [low, high], count), next)),
    });
    let spread = merged.flat_map(|(runs, range, count)| {
        runs.into_iter().map(move |mut run| {
            run.ranges.insert(0, range);
            run.values *= count;
            run
        })
    });
    spread.collect()
}

/// `0.0380 to 0.0395 in`, or one length where both are equal.
pub fn range([low, high]: [Length; 2], unit: Unit) -> String {
    match low == high {
        true => length(low, unit),
        false => format!("{} to {}", low.show(unit), length(high, unit)),
    }
}

/// Values of a run: for one axis the bare range, for several each with its label.
pub fn values(job: &Job, pump: usize, kit: &SafeKit, run: &Run<'_>) -> String {
    let model = job.model_of(&job.pumps[pump]);
    if let [one] = run.ranges[..] {
        return range(one, model.unit);
    }
    let axes = kit.axes.iter().zip(&run.ranges);
    axes.map(|(axis, &ends)| {
        let label = &model.dimensions[axis.dimension].label;
        format!("{label} {}", range(ends, model.unit))
    })
    .join("; ")
}

/// Pieces to take, place by place: `Shims over the bearing: SH-020, 2 x SH-003 (0.0260 in)`.
pub fn take(job: &Job, pump: usize, packs: &[PackPick]) -> String {
    let model = job.model_of(&job.pumps[pump]);
    let places = model.packs.iter().zip(packs);
    places
        .map(|(place, pack)| format!("{}: {}", place.label, pieces(job, model.unit, pack)))
        .join("; ")
}

/// Pieces of one place with their total: `SH-020, 2 x SH-003 (0.0260 in)`.
pub fn pieces(job: &Job, unit: Unit, pack: &PackPick) -> String {
    if pack.picks.is_empty() {
        return "none".into();
    }
    let picks = pack.picks.iter().map(|pick| {
        let item = &job.stock[pick.item];
        let count = match pick.count {
            1 => String::new(),
            count => format!("{count} x "),
        };
        let peeled = item.peeled(pick.peeled).filter(|_| pick.peeled > 0);
        let peeled = peeled.map(|to| format!(" peeled to {}", length(to, unit)));
        format!("{count}{}{}", item.item, peeled.unwrap_or_default())
    });
    let (total, _) = pack_total(job, pack);
    format!("{} ({})", { picks }.join(", "), length(total, unit))
}

/// Distribution of an expected value, in words.
pub fn law(expected: &Expected, unit: Unit) -> String {
    match expected.law {
        ExpectedLaw::Even if expected.low == expected.high => "one value".into(),
        ExpectedLaw::Even => "every value examined equally likely".into(),
        ExpectedLaw::Readings { mean, scale, degrees_of_freedom: freedom } => {
            let n = f64::from(freedom) + 1.0;
            let deviation = scale.to_f64(unit) / (1.0 + 1.0 / n).sqrt();
            format!(
                "as {n} past readings: mean {:.5}, standard deviation {deviation:.5} {unit}",
                mean.to_f64(unit)
            )
        }
    }
}

/// Gaps of a pump, one sentence each without its full stop; empty where every value is served.
pub fn gaps(job: &Job, pump: usize, kit: &SafeKit) -> Vec<String> {
    let tag = &job.pumps[pump].tag;
    if kit.axes.is_empty() {
        let gap = (kit.gaps() > 0).then(|| {
            format!("{tag} is measured and {NOT_FIT}: no pieces in stock fit (`gapwright kit` says why); it is left out of the trolley and of its count")
        });
        return gap.into_iter().collect();
    }
    let model = job.model_of(&job.pumps[pump]);
    let gaps = runs(kit).into_iter().filter(|run| run.take.is_none());
    gaps.map(|run| {
        let values = values(job, pump, kit, &run);
        let what = match &kit.axes[..] {
            [axis] => format!("{} comes to {values}", model.dimensions[axis.dimension].label),
            _ => format!("it comes to {values}"),
        };
        format!(
            "{tag}: no pieces in stock fit if {what} ({} of {} values)",
            run.values,
            kit.values()
        )
    })
    .collect()
}

/// Gaps of a pump in one sentence without its full stop, if there are any.
pub fn gap_line(job: &Job, pump: usize, kit: &SafeKit) -> Option<String> {
    let gaps = gaps(job, pump, kit);
    let first = gaps.first()?;
    let more = gaps.len() - 1;
    if more == 0 {
        return Some(first.clone());
    }
    #[allow(clippy::cast_precision_loss)]
    let share = percent(kit.gaps() as f64 / kit.values().max(1) as f64);
    Some(format!(
        "{first}, and {more} more {}: {} of {} values in all, {share}; see Coverage",
        if more == 1 { "range" } else { "ranges" },
        kit.gaps(),
        kit.values()
    ))
}

/// A pump's status in a few words.
pub fn standing(kit: &SafeKit) -> String {
    match (kit.axes.is_empty(), kit.gaps(), kit.values()) {
        (true, 0, _) => "Measured; pieces in stock".into(),
        (true, ..) => format!("{GAP}: measured, and no pieces in stock fit"),
        (false, 0, _) => "All values can be met".into(),
        (false, gaps, values) => format!("{GAP}: {gaps} of {values} values"),
    }
}

/// Proof of the price of all safe kits.
pub fn safe_proof(provision: &Provision, job: &Job) -> String {
    let open = provision.safe.iter().filter(|kit| !kit.proven).count();
    let bound: i64 = provision.safe.iter().map(|kit| kit.bound.raw()).sum();
    match open {
        0 => "proven least for every pump".into(),
        1 => {
            format!("1 kit is not proven least; none costs less than {} in all", money(bound, job))
        }
        open => format!(
            "{open} kits are not proven least; they cost no less than {} in all",
            money(bound, job)
        ),
    }
}

/// Proof of the price of the trolley.
pub fn trolley_proof(provision: &Provision, question: &ProvisionOptions, job: &Job) -> String {
    let trolley = &provision.trolley;
    let bound = money(trolley.bound.raw(), job);
    if provision.falls_short(question) {
        return format!(
            "not the service required, see NOT MET; bound for as many scenarios {bound}"
        );
    }
    if trolley.proven() {
        return "proven least for the scenarios it was chosen for".into();
    }
    format!("not proven: bound {bound}")
}

/// A requested share as percent, with all its digits.
pub fn asked(share: Millionths) -> String {
    format!("{} %", Millionths::from_raw(share.raw() * 100))
}

/// A share as percent with one place, rounded to the nearest.
pub fn percent(share: f64) -> String {
    rounded(share, f64::round)
}

/// A share as percent with one place, rounded by `round`; with more places where a share below 1 would show as 100 %.
fn rounded(share: f64, round: fn(f64) -> f64) -> String {
    let shown = (1..=9).map(|places: i32| {
        let fine = 10_f64.powi(places);
        (places, round(share * 100.0 * fine) / fine)
    });
    let mut honest = shown.filter(|(_, shown)| *shown < 100.0 || share >= 1.0);
    match honest.next() {
        Some((places, shown)) => {
            let places = usize::try_from(places).unwrap_or(1);
            format!("{shown:.places$} %")
        }
        None => "less than 100 %".into(),
    }
}

/// Both ends of an interval, rounded outward: `93.8 to 96.5 %`.
pub(super) fn interval([low, high]: [f64; 2]) -> String {
    let low = rounded(low, f64::floor);
    format!("{} to {}", low.trim_end_matches(" %"), rounded(high, f64::ceil))
}

/// Service of the trolley, with every pump measured before the first is kitted:
/// `953 of 1000 other scenarios, 95.3 % (93.8 to 96.5 %)`.
pub fn service(service: &Service) -> String {
    format!(
        "{} of {} other scenarios, {} ({})",
        service.served,
        service.checks,
        percent(service.share()),
        interval(service.interval)
    )
}

/// Service of the trolley with the pumps kitted one after the other: `840 of them, 84.0 % (81.5 to 86.3 %)`.
pub fn service_in_turn(service: &Service) -> String {
    format!(
        "{} of them, {} ({})",
        service.in_turn,
        percent(service.share_in_turn()),
        interval(service.in_turn_interval)
    )
}

/// Price of the trolley's margin, in a sentence; `None` where there is none.
pub fn margin(provision: &Provision, job: &Job) -> Option<String> {
    let trolley = &provision.trolley;
    let more = trolley.cost.raw() - trolley.plain_cost.raw();
    (more != 0).then(|| {
        let (word, off) = if more > 0 { ("more", more) } else { ("less", -more) };
        format!(
            "With its margin the trolley costs {} {word} than one that serves its own design scenarios just often enough, and others less often.",
            money(off, job)
        )
    })
}

/// Purpose of the trolley, and whether it covers the scenarios that it was chosen for.
pub fn chosen_for(provision: &Provision, question: &ProvisionOptions) -> String {
    let trolley = &provision.trolley;
    let served_except_gaps = match trolley.hopeless {
        0 => String::new(),
        _ => format!("; {} if pumps in a gap are left out", trolley.served_except_gaps),
    };
    format!(
        "The trolley {} {} of outages: it covers {} of the {} design scenarios ({}){served_except_gaps}.",
        match provision.falls_short(question) {
            true => "was to serve",
            false => "is for",
        },
        asked(question.probability),
        trolley.served,
        trolley.scenarios,
        aimed_at(trolley)
    )
}

/// Scenarios that a trolley must serve, and those that it was chosen for: `475 required, 488 aimed at`.
pub fn aimed_at(trolley: &Trolley) -> String {
    match trolley.wanted == trolley.required {
        true => format!("{} required", trolley.required),
        false => format!("{} required, {} aimed at", trolley.required, trolley.wanted),
    }
}

/// Whether the counted service reaches the requested one, in a sentence.
pub fn promise(provision: &Provision, question: &ProvisionOptions) -> String {
    let (trolley, service) = (&provision.trolley, &provision.service);
    let [low, high] = service.interval;
    let wanted = question.probability.to_f64();
    let asked_for = asked(question.probability);
    let level = asked(question.level);
    let served_except_gaps = match service.hopeless {
        0 => String::new(),
        _ => format!(
            " If pumps in a gap are left out, {} of {} counted scenarios are served.",
            service.served_except_gaps, service.checks
        ),
    };
    if service.out_of_reach(wanted) {
        return format!(
            "NOT MET: no pieces that could be set aside reach {asked_for}: {} of {} counted scenarios have a value in a gap, which leaves {} of outages at most (at {level}).{served_except_gaps}",
            service.hopeless,
            service.checks,
            rounded(service.reachable[1], f64::ceil)
        );
    }
    if !trolley.enough() {
        let gaps = match trolley.hopeless {
            0 => String::new(),
            gaps => format!("; {gaps} of them have a value in a gap"),
        };
        return format!(
            "NOT MET: of the {} design scenarios it serves {}, and {} are required for {asked_for}{gaps}.{served_except_gaps}",
            trolley.scenarios, trolley.served, trolley.required
        );
    }
    if high < wanted {
        return format!(
            "NOT MET: the counted service is below the {asked_for} required.{served_except_gaps}"
        );
    }
    if question.probability == Millionths::ONE {
        return format!(
            "No count can prove 100 %: the {} counted scenarios show {} or more (at {level}).",
            service.checks,
            rounded(low, f64::floor)
        );
    }
    if low < wanted {
        return format!(
            "The count does not settle whether it is {asked_for} or more: raise --scenarios for a safer trolley, or --checks for a narrower interval.{served_except_gaps}"
        );
    }
    let coarse = match provision.coarse.is_empty() {
        true => "",
        false => " But these lie far apart for the limits: see the warning.",
    };
    format!(
        "The {asked_for} required is met, even at the low end of the interval, for {}.{coarse}{served_except_gaps}",
        looked_at(question)
    )
}

/// Warnings about the result, one sentence each.
pub fn warnings(job: &Job, provision: &Provision, question: &ProvisionOptions) -> Vec<String> {
    const MOST: usize = 8;
    let narrowest = provision.coarse.iter().map(|coarse| coarse.width).min();
    let coarse = narrowest.map(|width| {
        let unit = natural_unit(question.step);
        let pumps = provision.coarse.iter().take(MOST);
        let pumps = { pumps }.map(|coarse| job.pumps[coarse.pump].tag.as_str()).join(", ");
        let more = match provision.coarse.len().saturating_sub(MOST) {
            0 => String::new(),
            more => format!(" and {more} more"),
        };
        format!(
            "Values are examined {} apart, more than a fifth of a requirement's width ({} at the narrowest) of {pumps}{more}. Values between them may be in a gap or need other pieces: take smaller steps (--step).",
            length(question.step, unit),
            about(width.into(), unit)
        )
    });
    let free = (!provision.free.is_empty()).then(|| {
        let items = provision.free.iter().map(|&item| job.stock[item].item.as_str());
        format!(
            "Counted as free (no unit cost in the stock, or 0): {}. Prices and least costs leave them out.",
            { items }.join(", ")
        )
    });
    coarse.into_iter().chain(free).collect()
}

/// Spacing of the values examined, in words.
fn looked_at(question: &ProvisionOptions) -> String {
    let step = length(question.step, natural_unit(question.step));
    format!("every value examined, {step} apart")
}

/// Values that a safe kit holds for.
pub fn safe_holds(question: &ProvisionOptions) -> String {
    format!(
        "every pump at {}, if the stock can meet it, whatever values the other pumps have",
        looked_at(question)
    )
}

/// Whether all safe kits can be set aside at once, in a sentence.
pub fn fits(job: &Job, together: &Together) -> String {
    let mut parts = Vec::new();
    if !together.lacking.is_empty() {
        parts.push(format!("the stock is short of {}", listed(job, &together.lacking)));
    }
    if !together.plates.is_empty() {
        parts.push(format!("too few plates of {}", plates(job, &together.plates)));
    }
    match parts.is_empty() {
        true => "All safe kits can be set aside at once.".into(),
        false => format!("The safe kits cannot all be set aside at once: {}.", parts.join("; ")),
    }
}

/// Pieces by item: `2 SH-020, 1 GK-120`.
pub fn listed(job: &Job, pieces: &[SetAside]) -> String {
    const MOST: usize = 12;
    let named = pieces.iter().take(MOST);
    let named = { named }.map(|one| format!("{} {}", one.count, job.stock[one.item].item));
    let more = match pieces.len().saturating_sub(MOST) {
        0 => String::new(),
        more => format!(" and {more} more items"),
    };
    format!("{}{more}", { named }.join(", "))
}

/// Lots of sheets by name.
pub fn plates(job: &Job, lots: &[usize]) -> String {
    lots.iter().map(|&lot| job.plates[lot].item.as_str()).join(", ")
}

/// Reminder that setting pieces aside does not set a clearance.
pub const CAUTION: &str = "Setting pieces aside does not set a clearance: measure each pump, then run `gapwright kit`; it chooses the pieces, and the recheck after fitting decides.";

/// An unanswerable request, as a problem of the stock workbook or of the pump workbook.
pub fn fault(fault: &ProvisionError, stock: &str, pumps: &str) -> Problem {
    let in_pumps = |found: String, expected: &str, fix: &str| {
        Problem::new(Place::file(pumps), found, expected, fix)
    };
    match fault {
        ProvisionError::Choose(error) => error.problem(stock, pumps),
        ProvisionError::NoRoom(megabytes) => in_pumps(
            "values and scenarios to examine that do not fit into memory".into(),
            &format!("what can be worked out with {megabytes} MB of memory"),
            "take a coarser --step, narrow the ranges, or fewer --scenarios and --checks; or give more with --memory",
        ),
        ProvisionError::TooManyValues { tag, values, step } => in_pumps(
            format!("pump {tag}, which can come to {values} values"),
            &format!("at most {MOST_VALUES} values of one pump"),
            &format!(
                "take steps of --step \"{}\" at least, or narrow its ranges",
                length(*step, natural_unit(*step))
            ),
        ),
        other => in_pumps(other.to_string(), "settings that can be worked out", "correct it"),
    }
}
