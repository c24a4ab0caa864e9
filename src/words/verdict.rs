//! Verdicts in words: kits that are not proven, improvements that would prove them, chances that contradict the rule.

use super::{about, guards, length, limits};
use crate::accounting::warnings::{VerdictWarning, asked, warnings};
use crate::accounting::{stack, verdicts};
use crate::job::Job;
use crate::plan::{Kit, PackPick, Plan};
use crate::policy::Acceptance;
use crate::pump::Pump;
use crate::stack::{
    Asked, Chance, Guard, Improvement, Judgement, Stack, Verdict, contradicts, judge, report,
    settle,
};

/// A kit that is not proven: its pieces, the requirements with their limits, guards and chances, and what would settle
/// it; a sentence without its full stop.
pub fn not_proven(job: &Job, pump: &Pump, packs: &[PackPick]) -> String {
    let unit = job.model_of(pump).unit;
    let stack = stack(job, pump, packs);
    let pieces = packs.iter().flat_map(|pack| &pack.picks);
    let pieces = pieces.map(|pick| format!("{} x {}", pick.count, job.stock[pick.item].item));
    let verdicts = verdicts(job, pump, packs);
    let open = pump.requirements.iter().zip(&verdicts);
    let open = open.filter(|(_, verdict)| verdict.judgement() == Judgement::NotProven);
    let open = open.map(|(asked, v)| {
        let chance = Chance::of(&report(&asked.form, &stack, job.policy.coverage, unit));
        format!(
            "{} {}, limits {}, {} {}, chance of conformity {chance}",
            asked.label,
            about(v.value, unit),
            limits(v, unit),
            guard_name(job.policy.acceptance),
            guards(v, unit),
        )
    });
    format!(
        "{} by the {} rule with {}, though every nominal value is within its limits: {}. {}",
        Judgement::NotProven.words(),
        job.policy.acceptance,
        pieces.collect::<Vec<_>>().join(" and "),
        open.collect::<Vec<_>>().join("; "),
        settled(&asked(job, pump), &stack),
    )
}

fn guard_name(rule: Acceptance) -> &'static str {
    match rule {
        Acceptance::Expanded => "expanded uncertainty",
        Acceptance::WorstCase | Acceptance::Nominal => "worst case",
    }
}

/// Improvements of which each alone would settle what is not proven, the cheapest first, without the full stop.
pub fn settled(asked: &Asked<'_>, stack: &Stack) -> String {
    let each = settle(asked, stack).into_iter().map(|one| improvement(asked, stack, one));
    let each: Vec<String> = each.collect();
    match each.is_empty() {
        true => {
            "No single reading, gauge or lot would settle it: more than one must improve".into()
        }
        false => format!("To settle it: {}; then enter it and plan again", each.join(", or ")),
    }
}

fn improvement(asked: &Asked<'_>, stack: &Stack, improvement: Improvement) -> String {
    let label = |contributor: usize| stack.contributors[contributor].label.as_str();
    let to = |within| length(within, asked.unit);
    match improvement {
        Improvement::Readings { contributor, more } => {
            let so_far = stack.contributors[contributor].readings.len();
            let readings = if more == 1 { "reading" } else { "readings" };
            format!(
                "take {more} more {readings} of {} (enough if they scatter as the {so_far} so far)",
                label(contributor)
            )
        }
        Improvement::Gauge { contributor, within } => {
            format!("measure {} with a gauge good to +/-{}", label(contributor), to(within))
        }
        Improvement::Standard { contributor, standard } => {
            format!("measure {} to a standard uncertainty of {}", label(contributor), to(standard))
        }
        Improvement::Certificate { shared, expanded } => format!(
            "use a gauge in the place of {} that is certified to U = {} (k = 2)",
            stack.shared[shared].label,
            to(expanded)
        ),
        Improvement::Lot { contributor, within } => format!(
            "measure the pieces of {}, or of another lot, to +/-{} each",
            label(contributor),
            to(within)
        ),
    }
}

/// Contradiction of a verdict and its chance, both said, without the full stop; `None` where they agree.
pub fn against_chance(
    rule: Acceptance,
    verdict: &Verdict,
    (chance, level): (Chance, f64),
) -> Option<String> {
    let judgement = verdict.judgement();
    contradicts(judgement, chance, level).then(|| {
        let side = if judgement == Judgement::Met { "below" } else { "not below" };
        let (words, level) = (judgement.words(), percent(level));
        format!(
            "{words} by the {rule} rule, but the chance of conformity is {chance}, {side} {level}"
        )
    })
}

/// A level in percent, to two places at most.
fn percent(level: f64) -> String {
    format!("{} %", (level * 1e4).round() / 100.0)
}

/// Warnings about the verdicts of a kitted pump, without its tag and full stops.
pub fn of_kit(job: &Job, pump: &Pump, packs: &[PackPick]) -> Vec<String> {
    let label = |requirement: usize| &pump.requirements[requirement].label;
    let rule = job.policy.acceptance;
    let said = |warning: VerdictWarning| match warning {
        VerdictWarning::NominalOnly { requirement } => {
            format!("{}: {}", label(requirement), nominal_only())
        }
        VerdictWarning::ChanceBelowLevel { requirement, chance, level } => format!(
            "{}: {} by the {rule} rule, but the chance of conformity is {chance}, below {}",
            label(requirement),
            Judgement::Met.words(),
            percent(level)
        ),
    };
    warnings(job, pump, packs).into_iter().map(said).collect()
}

/// Words for a requirement that is met by the nominal rule and not proven in the worst case.
pub fn nominal_only() -> String {
    format!(
        "{} by the nominal rule, as asked; {} in the worst case",
        Judgement::Met.words(),
        Judgement::NotProven.words()
    )
}

/// Whether a requirement is met by the nominal rule and not proven in the worst case.
pub fn is_nominal_only(job: &Job, pump: &Pump, (index, stack): (usize, &Stack)) -> bool {
    let form = &pump.requirements[index].form;
    let judged = |guard| judge(form, stack, guard).judgement();
    job.policy.guard() == Guard::None
        && judged(Guard::None) == Judgement::Met
        && judged(Guard::WorstCase) == Judgement::NotProven
}

/// Warnings about the verdicts of all kitted pumps, one sentence each.
pub fn of_plan(job: &Job, plan: &Plan) -> Vec<String> {
    let kits = job.pumps.iter().zip(&plan.kits);
    kits.flat_map(|(pump, kit)| {
        let said = match kit {
            Kit::Served(packs) => of_kit(job, pump, packs),
            Kit::Short(_) => Vec::new(),
        };
        said.into_iter().map(|text| format!("{}: {text}.", pump.tag))
    })
    .collect()
}
