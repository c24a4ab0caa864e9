//! A plan in a few lines, and its pumps in a table.

use std::collections::BTreeMap;

use crate::accounting::tightest;
use crate::changes::SlipChange;
use crate::cli::run::Run;
use crate::cli::table::{self, TableLine};
use crate::cli::voice::{Voice, must_see, out, warning};
use crate::job::Job;
use crate::plan::{Kit, Objective};
use crate::verify::Verified;
use crate::words;

/// The most gaskets or requirements that are warned of on the terminal one by one.
const MOST_WARNINGS: usize = 20;

/// Warns of the first of these, and counts the rest.
fn tell_some(warnings: &[String], what: &str) {
    for text in warnings.iter().take(MOST_WARNINGS) {
        warning!("{text}");
    }
    if let Some(more @ 1..) = warnings.len().checked_sub(MOST_WARNINGS) {
        warning!("WARNING: {more} more {what} likewise; Summary lists them all.");
    }
}

/// A short account of the plan on the terminal.
pub(super) fn tell(verified: &Verified, run: &Run) {
    let to = run.voice();
    let (job, plan) = (verified.job(), verified.plan());
    tell_some(&words::crush_warnings(job, plan), "gaskets");
    tell_some(&words::verdict::of_plan(job, plan), "requirements");
    if !job.unused.is_empty() {
        out!(to, "Not used: {}.", job.unused.join("; "));
    }
    out!(
        to,
        "{} of {} can be kitted ({} rule).",
        plan.served(),
        words::planned_for(job),
        job.policy.acceptance
    );
    let goal = |aim| plan.goal(aim).map_or(0, |goal| goal.value);
    let pieces = goal(Objective::Pieces);
    out!(
        to,
        "Waste {}, {pieces} piece{}.",
        words::money(goal(Objective::Waste), job),
        if pieces == 1 { "" } else { "s" }
    );
    if let Some(said) = words::plates_cut(verified) {
        out!(to, "{said}.");
    }
    if let Some(said) = words::disturbance(job, plan) {
        out!(to, "{said}.");
    }
    let holding = words::holding(verified);
    if !holding.is_empty() {
        out!(to, "What leaving packed bags closed costs:");
    }
    for [bags, served, waste, proven] in holding {
        out!(to, "  reopen {bags}: {served} served, waste {waste}, proven {proven}");
    }
    out!(to, "{}", words::proof(verified));
    for line in table(verified) {
        out!(to, "{line}");
    }
    for (at, (pump, kit)) in job.pumps.iter().zip(&plan.kits).enumerate() {
        let Kit::Short(shorts) = kit else { continue };
        must_see!(to, "  {} {}:", pump.tag, words::NOT_FIT);
        for short in shorts {
            let place = words::place(job, pump, short);
            must_see!(to, "    {place}: {}.", words::reason(job, pump, short));
            if let Some(presumed) = words::presumed(job, pump, short) {
                must_see!(to, "    Allows for {presumed}.");
            }
            if let Some(nearest) = words::nearest(job, pump, short) {
                must_see!(to, "    Nearest total that can be made: {nearest}.");
            }
        }
        words::cures(job, plan, at).iter().for_each(|cure| out!(to, "    {cure}"));
    }
    tell_not_measured(job, to);
    if let Some(said) = words::ahead::held_back(job, plan) {
        must_see!(to, "  {said}");
    }
    words::ahead::left(job, plan).iter().for_each(|said| out!(to, "  {said}"));
    if let Some(said) = words::ahead::used_up(job, plan) {
        warning!("{said}");
    }
    let lacking = verified.bags().iter().filter(|bag| words::lacking(bag));
    let lacking = lacking.count();
    if lacking > 0 {
        must_see!(to, "Short of consumables: {lacking} of {} bags", plan.served());
        for lack in words::lacks(verified) {
            must_see!(to, "  {lack}.");
        }
    }
    run.tell_written();
    out!(
        to,
        "Measure each finished pack and recheck each clearance: the plan predicts, it does not prove."
    );
}

/// Lists the pumps that nothing is planned for, with the readings that they wait for.
pub(in crate::cli) fn tell_not_measured(job: &Job, to: Voice) {
    if let Some(said) = words::not_measured(job) {
        must_see!(to, "{said}");
    }
    for pump in &job.not_measured {
        must_see!(to, "  {} waits for {}", pump.tag, words::waits_for(pump));
    }
}

/// The most pumps with a whole kit that the table on the terminal shows.
const MOST_WELL: usize = 40;

/// Every pump with its standing, and of its tightest requirement what it comes to.
fn table(verified: &Verified) -> Vec<String> {
    let (job, plan) = (verified.job(), verified.plan());
    let kits = job.pumps.iter().zip(&plan.kits).zip(verified.bags()).enumerate();
    let rows: Vec<TableLine> = kits
        .map(|(at, ((pump, kit), bag))| {
            let unit = job.model_of(pump).unit;
            let tightest = match kit {
                Kit::Served(packs) => tightest(job, pump, packs),
                Kit::Short(_) => None,
            };
            let [value, limits] = tightest.map_or_else(Default::default, |(_, v)| {
                [words::about(v.value, unit), words::limits(&v, unit)]
            });
            TableLine {
                cells: vec![pump.tag.clone(), words::status(verified, at), value, limits],
                loud: matches!(kit, Kit::Short(_)) || words::lacking(bag),
            }
        })
        .collect();
    table::lines(&["Pump", "Status", "Tightest", "Limits"], &rows, MOST_WELL)
}

/// Most changes that the terminal lists.
const MOST_CHANGES: usize = 40;

/// Lists what differs from the plan before, pump by pump, with advice on their bags.
pub(in crate::cli) fn tell_changes(
    changes: &[SlipChange],
    bags: &BTreeMap<String, String>,
    to: Voice,
) {
    for change in changes.iter().take(MOST_CHANGES) {
        let pieces = [("out", &change.out), ("in", &change.into)];
        let pieces = pieces.into_iter().filter(|(_, pieces)| !pieces.is_empty());
        let mut said: Vec<String> =
            pieces.map(|(word, pieces)| format!("{word} {}", SlipChange::listed(pieces))).collect();
        said.push(change.why.clone());
        let steps = [("tear up", change.tear_up, 0), ("print", change.print, 1)];
        for (word, _, at) in steps.into_iter().filter(|(_, is_so, _)| *is_so) {
            let kit = change.kits[at].map_or("its slip".into(), |kit| format!("kit {kit}"));
            said.push(format!("{word} {kit}"));
        }
        out!(to, "  {}: {}", change.tag, said.join("; "));
        if let Some(bag) = bags.get(&change.tag) {
            must_see!(to, "    {bag}");
        }
    }
    if let Some(more @ 1..) = changes.len().checked_sub(MOST_CHANGES) {
        out!(to, "  {more} more.");
    }
}
