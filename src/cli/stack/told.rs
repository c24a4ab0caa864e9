//! Stack-ups in a few lines a pump, and sweeps as tables.

use crate::accounting::warnings::asked;
use crate::accounting::{stack, verdicts};
use crate::analysis::{Analysed, NotFit};
use crate::cli::kit::told::tell_not_measured;
use crate::cli::run::Run;
use crate::cli::voice::{Voice, must_see, out, warning};
use crate::crush::crushes;
use crate::job::Job;
use crate::length::Unit;
use crate::model::{Form, Requirement};
use crate::pump::Pump;
use crate::stack::monte_carlo::Outcome;
use crate::stack::{
    Asked, Chance, ChanceLaw, Judgement, Report, Stack, few_readings, judge, missed_by_none,
    promised, report,
};
use crate::sweep::{Mapped, Swept, SweptPieces};
use crate::words::{self, sweep::given};

/// The whole account; pumps that are not fit have no pieces, for this reason.
pub(super) fn tell(job: &Job, analysed: &[Analysed], (not_fit, why): (&[NotFit], &str), run: &Run) {
    let to = run.voice();
    for one in not_fit {
        tell_not_fit(job, one, why);
    }
    for one in analysed {
        tell_pump(job, one, to);
    }
    tell_total(job, analysed, not_fit, to);
    tell_not_measured(job, to);
    run.tell_written();
    out!(
        to,
        "The stack-up predicts, it does not prove: measure each finished pack and recheck each clearance."
    );
}

/// A pump without a kit: the nearest one, and what it misses.
fn tell_not_fit(job: &Job, one: &NotFit, why: &str) {
    let pump = &job.pumps[one.pump];
    let unit = job.model_of(pump).unit;
    let tag = &pump.tag;
    warning!("{tag}: {}, left out: {why} (see `gapwright kit`).", words::NOT_FIT);
    let Some(packs) = &one.nearest else { return };
    warning!("  Nearest kit of the pieces left: {}.", words::sweep::pieces(job, pump, packs));
    for (requirement, verdict) in pump.requirements.iter().zip(verdicts(job, pump, packs)) {
        if !verdict.conforms() {
            let miss = words::miss(verdict.margin(), unit);
            warning!("    {}: misses by {miss}.", requirement.label);
        }
    }
}

/// A pump's stack-up in a few lines.
pub(in crate::cli) fn tell_pump(job: &Job, one: &Analysed, to: Voice) {
    let pump = &job.pumps[one.pump];
    let unit = job.model_of(pump).unit;
    let parts = stack(job, pump, &one.packs);
    out!(to, "{}", pump.tag);
    for (requirement, drawn) in pump.requirements.iter().zip(&one.draws) {
        let figures = report(&requirement.form, &parts, job.policy.coverage, unit);
        let [low, high] = &figures.sides;
        let verdict = judge(&requirement.form, &parts, job.policy.guard());
        tell_verdict(job, pump, (requirement, &parts), (&figures, drawn.as_ref().ok()), to);
        out!(
            to,
            "    value {}, limits {}; worst case -{} +{}, root sum square {}, expanded {} (k {:.3}, {:.1} %)",
            words::about(verdict.value, unit),
            words::limits(&verdict, unit),
            up(low.worst, unit),
            up(high.worst, unit),
            up(low.root_sum_square.max(high.root_sum_square), unit),
            up(low.expanded.max(high.expanded), unit),
            low.factor.max(high.factor),
            100.0 * low.level.min(high.level),
        );
        if let Some((gap, reached)) = figures.gap {
            let crush = 100.0 * (1.0 - gap / figures.value);
            match crush >= 0.0 {
                true => out!(
                    to,
                    "    gap {}, allowance reached {reached:.3}, crushed by {crush:.1} %",
                    near(gap, unit)
                ),
                false => out!(
                    to,
                    "    gap {}, which the gasket does not fill: {} short of it",
                    near(gap, unit),
                    up(gap - figures.value, unit)
                ),
            }
        }
        match drawn {
            Ok(outcome) => {
                let few = few_readings(&requirement.form, &parts);
                out!(to, "    {}", drawn_words(outcome, (&requirement.form, unit), few));
            }
            Err(why) => out!(to, "    cannot be drawn: {why}"),
        }
    }
    let crushes = crushes(job, pump, &one.packs);
    for crush in &crushes {
        if let Some(warning) = words::crush_warning(job, pump, crush) {
            out!(to, "  {warning}");
        }
    }
    if let Some(within) = words::crush_within(&crushes) {
        out!(to, "  Gaskets are {within}");
    }
    for swept in &one.sweeps {
        tell_sweep(job, one, swept, to);
    }
    for map in &one.maps {
        tell_map(job, one, map, to);
    }
}

/// Verdict of a requirement, what would settle it, and a chance that contradicts it: that of the draws where there are any.
fn tell_verdict(
    job: &Job,
    pump: &Pump,
    (requirement, parts): (&Requirement, &Stack),
    (figures, drawn): (&Report, Option<&Outcome>),
    to: Voice,
) {
    let (rule, guard) = (job.policy.acceptance, job.policy.guard());
    let verdict = judge(&requirement.form, parts, guard);
    out!(
        to,
        "  {}: {} by the {rule} rule, margin {}",
        requirement.label,
        verdict.judgement().words(),
        words::margin(verdict.margin(), job.model_of(pump).unit),
    );
    if verdict.judgement() == Judgement::NotProven {
        let requirements = std::slice::from_ref(requirement);
        let asked = Asked { requirements, ..asked(job, pump) };
        out!(to, "    {}.", words::verdict::settled(&asked, parts));
    }
    let drawn = drawn.and_then(|outcome| {
        let law = ChanceLaw::Draws(outcome.draws);
        Some(Chance { conforming: outcome.conformity.as_ref()?.conforming, law })
    });
    let chance = drawn.unwrap_or_else(|| Chance::of(figures));
    let against = (chance, promised(guard, figures));
    if let Some(against) = words::verdict::against_chance(rule, &verdict, against) {
        must_see!(to, "    {}: {against}.", requirement.label);
    }
}

/// How many requirements are not met, and which pumps nothing is said of.
fn tell_total(job: &Job, analysed: &[Analysed], not_fit: &[NotFit], to: Voice) {
    let each = analysed.iter();
    let all = each.flat_map(|one| verdicts(job, &job.pumps[one.pump], &one.packs));
    let all: Vec<Judgement> = all.map(|verdict| verdict.judgement()).collect();
    let (count, rule) = (all.len(), job.policy.acceptance);
    let missed = [Judgement::NotMet, Judgement::NotProven].map(|judgement| {
        let missed = all.iter().filter(|of| **of == judgement).count();
        (missed > 0).then(|| format!("{missed} of {count} requirements {}", judgement.words()))
    });
    let missed: Vec<String> = missed.into_iter().flatten().collect();
    if !missed.is_empty() {
        must_see!(to, "{} by the {rule} rule.", missed.join(", "));
    } else {
        out!(to, "{count} of {count} requirements met by the {rule} rule.");
    }
    if !not_fit.is_empty() {
        let tags = not_fit.iter().map(|one| job.pumps[one.pump].tag.as_str());
        out!(to, "left out: {}", tags.collect::<Vec<_>>().join(", "));
    }
}

/// Number of a gauge's digits in a unit, to the nearest.
fn near(number: f64, unit: Unit) -> String {
    format!("{number:.*}", places(unit))
}

/// Number of a guard in a gauge's digits, rounded up but for the noise of binary numbers.
fn up(guard: f64, unit: Unit) -> String {
    let ten = 10_f64.powi(i32::try_from(unit.places()).unwrap_or(4));
    near((guard * ten - 1e-6).ceil().max(0.0) / ten, unit)
}

fn places(unit: Unit) -> usize {
    usize::try_from(unit.places()).unwrap_or(4)
}

fn drawn_words(outcome: &Outcome, (form, unit): (&Form, Unit), few: Option<&str>) -> String {
    let (what, places) = match form {
        Form::Linear { .. } => ("value", places(unit)),
        Form::GasketFill { .. } => ("allowance", 3),
    };
    let conformity = outcome.conformity.map(|c| conforms(c.conforming, outcome.draws));
    format!(
        "{} draws: {what} {:.places$}, standard uncertainty {:.1e}, from {:.places$} to {:.places$}{}{}",
        outcome.draws,
        outcome.mean,
        outcome.standard,
        outcome.symmetric[0],
        outcome.symmetric[1],
        conformity.unwrap_or_default(),
        match (outcome.settled, few) {
            (true, _) => String::new(),
            // The variance of so few readings never settles, however many draws are made.
            (false, Some(label)) => format!("; NOT STABLE: take five or more readings of {label}"),
            (false, None) => "; NOT STABLE yet: raise --draws".into(),
        }
    )
}

/// Draws against the limits, in words; never a probability of one, which draws cannot show.
fn conforms(share: f64, draws: u64) -> String {
    let bound = missed_by_none(draws);
    if share >= 1.0 {
        return format!("; none of {draws} draws misses its limits: chance of a miss {bound}");
    }
    if share <= 0.0 {
        return format!("; all of {draws} draws miss its limits: chance of conformity {bound}");
    }
    // Cut off, so that it is never rounded up to one.
    let cut = (share * 1e5).floor() / 1e5;
    format!("; conforms with probability {cut:.5}")
}

/// Characters of a requirement's label that head its column of a sweep.
const LABEL: usize = 30;
/// Characters of a margin, and of the longest mark behind it.
const MARGIN: usize = 10;
const MARK: usize = " NOT PROVEN".len();

/// A label of at most so many characters: beginnings and ends tell requirements apart.
fn shortened(label: &str, most: usize) -> String {
    let count = label.chars().count();
    if count <= most {
        return label.to_string();
    }
    let (front, back) = (most.saturating_sub(2).div_ceil(2), most.saturating_sub(2) / 2);
    let front: String = label.chars().take(front).collect();
    let back: String = label.chars().skip(count - back).collect();
    format!("{front}..{back}")
}

/// A sweep as a table, and where its verdicts turn.
fn tell_sweep(job: &Job, one: &Analysed, swept: &Swept, to: Voice) {
    let pump = &job.pumps[one.pump];
    let unit = job.model_of(pump).unit;
    let pieces = match swept.pieces {
        SweptPieces::Held => "unchanged",
        SweptPieces::ChosenAgain => "chosen again for this pump alone from all stock",
    };
    let given = swept.given.map(|tolerance| format!(" ({})", given(job, pump, tolerance)));
    out!(
        to,
        "  {} varied, pieces {pieces}{}: margin of each requirement by the rule ({unit})",
        swept.sweep.label,
        given.unwrap_or_default(),
    );
    let labels = pump.requirements.iter();
    let labels: Vec<String> = labels.map(|r| shortened(&r.label, LABEL)).collect();
    let widths = labels.iter();
    let widths = widths.map(|label| label.chars().count().max(MARGIN + MARK));
    let widths: Vec<usize> = widths.collect();
    let row = |first: &str, cells: &[String]| {
        let cells = cells.iter().zip(&widths);
        let cells: Vec<String> = cells.map(|(cell, w)| format!("{cell:<w$}")).collect();
        let row = format!("    {first:>12}  {}", cells.join("  "));
        out!(to, "{}", row.trim_end());
    };
    row("value", &labels);
    for point in &swept.points {
        let at = point.setting.show(unit);
        match &point.kit {
            None => out!(to, "    {at:>12}  {}", point.why()),
            Some(kit) => {
                let cells = kit.requirements.iter().map(|(_, verdict)| {
                    let margin = format!("{:>MARGIN$}", words::down(verdict.margin(), unit));
                    match verdict.judgement() {
                        Judgement::Met => margin,
                        not => format!("{margin} {}", not.words()),
                    }
                });
                row(&at, &cells.collect::<Vec<_>>());
            }
        }
    }
    tell_crossings(job, pump, swept, to);
}

/// Where the verdicts of a sweep turn, and the pieces chosen beyond.
fn tell_crossings(job: &Job, pump: &Pump, swept: &Swept, to: Voice) {
    if swept.crossings.is_empty() && swept.points.iter().any(|point| point.kit.is_some()) {
        out!(to, "    No verdict turns in this range.");
    }
    for crossing in &swept.crossings {
        out!(to, "    Turns: {}", words::sweep::crossing(job, pump, crossing));
        if let Some(point) = &crossing.beyond {
            out!(
                to,
                "      chosen there from all stock: {}",
                words::sweep::beyond(job, pump, point)
            );
        }
    }
}

/// How much of a map is met; the map itself is in the workbook.
fn tell_map(job: &Job, one: &Analysed, map: &Mapped, to: Voice) {
    let pump = &job.pumps[one.pump];
    let [down, across] = &map.sweeps;
    let all = map.cells.iter().flatten();
    let met = all.clone().filter(|cell| {
        cell.as_ref().is_ok_and(|verdicts| verdicts.iter().all(|verdict| verdict.conforms()))
    });
    out!(
        to,
        "  {} against {}: every requirement of {} met at {} of {} pairs of values (sheet Map)",
        down.label,
        across.label,
        pump.tag,
        met.count(),
        all.count(),
    );
}

#[cfg(test)]
mod tests {
    use super::{conforms, shortened};

    #[test]
    fn a_draw_that_misses_is_never_rounded_away() {
        // By hand: 3 / 9 is a third, 3 / 160,000 is 0.001875 %; rounded up to two digits.
        assert_eq!(
            conforms(1.0, 9),
            "; none of 9 draws misses its limits: chance of a miss below 34 %"
        );
        assert_eq!(
            conforms(0.0, 160_000),
            "; all of 160000 draws miss its limits: chance of conformity below 0.0019 %"
        );
        let one_in_4_000_000 = conforms(0.999_999_75, 4_000_000);
        assert_eq!(one_in_4_000_000, "; conforms with probability 0.99999");
        assert_eq!(conforms(0.5, 9), "; conforms with probability 0.50000");
    }

    #[test]
    fn shortened_labels_still_differ() {
        let cold = shortened("Impeller running clearance", 30);
        let hot = shortened("Impeller running clearance, running hot", 30);
        assert_eq!(cold, "Impeller running clearance");
        assert_eq!(hot, "Impeller runni..e, running hot");
        assert_eq!(hot.chars().count(), 30);
    }
}
