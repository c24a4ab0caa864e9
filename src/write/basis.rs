//! The Basis sheet: everything that the plan follows from, enough to repeat it to the byte.

use rust_xlsxwriter::{Worksheet, XlsxError};

use super::text::WriteText;

use itertools::Itertools;

use super::as_built::AsBuilt;
use super::purchase::Ordered;
use super::style::{Styles, heads, set_up, title, widths};
use crate::analysis::Analysed;
use crate::choose::Backend;
use crate::job::Job;
use crate::plan::Plan;
use crate::stack::Guard;
use crate::verify::Verified;
use crate::words;

pub(super) fn write(
    sheet: &mut Worksheet,
    verified: &Verified,
    date: &str,
    styles: &Styles,
) -> Result<(), XlsxError> {
    let (job, plan) = (verified.job(), verified.plan());
    set_up(sheet, "Basis", date)?;
    widths(sheet, &[28.0, 46.0, 68.0])?;
    title(
        sheet,
        "Basis",
        "The same inputs, policy, program and date give this workbook again, byte for byte.",
        styles,
    )?;
    let mut row = inputs_and_policy(sheet, job, styles)?;
    row += 2;
    row = goals(sheet, job, plan, row, styles)?;
    row += 2;
    let stopped = plan
        .stopped_by
        .map_or("nothing: everything was proven or closed", |s| s.words());
    let weights = job.weights().map_or_else(
        || "too many levels for whole numbers: one priority after the other".to_string(),
        |weights| {
            let each = weights
                .iter()
                .map(|(priority, weight)| format!("priority {priority}: {weight}"));
            each.collect::<Vec<_>>().join(", ")
        },
    );
    let facts = [
        ("Program", format!("gapwright {}", env!("CARGO_PKG_VERSION"))),
        ("Linear programs by", format!("{} through good_lp; bounds recomputed in whole numbers", Backend::default().name())),
        ("Search ended early by", stopped.to_string()),
        ("Weights of served pumps", weights),
        ("Date", date.to_string()),
        ("Proof", words::proof(job, plan)),
        ("Checked", "pieces, fits, limits, stock and goals recomputed by a second reckoning before this was written".into()),
        ("Lengths", "held in whole tenths of a nanometre; 1 in = 25.4 mm exactly".into()),
    ];
    heads(sheet, row, &["Fact", "", ""], styles)?;
    for (name, text) in facts {
        row += 1;
        sheet.write_text(row, 0, name, &styles.text)?;
        sheet.merge_text(row, 1, row, 2, &text, &styles.wrapped)?;
        sheet.set_row_height(row, 18.0)?;
    }
    Ok(())
}

/// The Basis of a stack-up without a plan.
pub(super) fn of_analysis(
    sheet: &mut Worksheet,
    job: &Job,
    analysed: &[Analysed],
    date: &str,
    styles: &Styles,
) -> Result<(), XlsxError> {
    set_up(sheet, "Basis", date)?;
    widths(sheet, &[28.0, 46.0, 68.0])?;
    title(
        sheet,
        "Basis",
        "The same inputs, pieces, policy, program and date give this workbook again, byte for byte.",
        styles,
    )?;
    let row = inputs_and_policy(sheet, job, styles)? + 2;
    heads(sheet, row, &["Fact", "", ""], styles)?;
    let tags = |with: bool| -> String {
        let pumps = job.pumps.iter().enumerate();
        let of = pumps.filter(|(at, _)| analysed.iter().any(|one| one.pump == *at) == with);
        of.map(|(_, pump)| pump.tag.as_str()).join(", ")
    };
    let facts = [
        ("Program", format!("gapwright {}", env!("CARGO_PKG_VERSION"))),
        ("Date", date.to_string()),
        ("Pumps worked out", tags(true)),
        ("Pumps left out", tags(false)),
        ("Draws", "a ChaCha8 stream for each batch, from the seed above: the same on every machine and for any number of threads".into()),
        ("Lengths", "held in whole tenths of a nanometre; 1 in = 25.4 mm exactly".into()),
    ];
    let mut at = row;
    for (name, text) in facts {
        at += 1;
        sheet.write_text(at, 0, name, &styles.text)?;
        sheet.merge_text(at, 1, at, 2, &text, &styles.wrapped)?;
    }
    if !job.warnings.is_empty() {
        at += 2;
        heads(sheet, at, &["Warnings", "", ""], styles)?;
    }
    for warning in &job.warnings {
        at += 1;
        let text = words::warning(warning);
        sheet.merge_text(at, 0, at, 2, &text, &styles.wrapped)?;
        sheet.set_row_height(at, 32.0)?;
    }
    Ok(())
}

/// The Basis of a purchase.
pub(super) fn of_purchase(
    sheet: &mut Worksheet,
    ordered: &Ordered<'_>,
    styles: &Styles,
) -> Result<(), XlsxError> {
    let Ordered {
        job,
        question,
        report,
    } = ordered;
    set_up(sheet, "Basis", &question.date)?;
    widths(sheet, &[28.0, 46.0, 68.0])?;
    title(
        sheet,
        "Basis",
        "The same inputs, options, policy, program and date give this workbook again, byte for byte.",
        styles,
    )?;
    let mut row = inputs_and_policy(sheet, job, styles)? + 2;
    let plan = &report.bought.purchase().plan;
    row = goals(sheet, job, plan, row, styles)? + 2;
    heads(sheet, row, &["Fact", "", ""], styles)?;
    let stopped = plan
        .stopped_by
        .map_or("nothing: everything was proven or closed", |s| s.words());
    let budget = report.market.budget;
    let log = report.history.map_or("none given".into(), |(days, lines)| {
        format!("{lines} lines over {days} days; every line was checked on reading")
    });
    let levels = &question.levels;
    let percent = |share: crate::decimal::Millionths| format!("{} %", share.to_f64() * 100.0);
    let money = |money: Option<crate::decimal::Money>| {
        money.map_or("not given".into(), |money| words::money(money.raw(), job))
    };
    let facts = [
        ("Program", format!("gapwright {}", env!("CARGO_PKG_VERSION"))),
        ("Linear programs by", format!("{} through good_lp; bounds recomputed in whole numbers", Backend::default().name())),
        ("Search ended early by", stopped.to_string()),
        ("Day of the order", question.date.clone()),
        ("Budget", money(budget)),
        ("Service in lead time", percent(levels.service)),
        ("Cost of an order", money(levels.order)),
        ("Holding for a year", levels.holding.map_or("not given".into(), percent)),
        ("Cost of a piece that lacks", money(levels.lacking)),
        ("Simulated outages", format!("{}, from the seed above", question.outages)),
        ("Issue log", log),
        ("Checked", "kits, stock after delivery, lead times, cost and budget recomputed by a second reckoning before this was written".into()),
        ("Lengths", "held in whole tenths of a nanometre; 1 in = 25.4 mm exactly".into()),
    ];
    for (name, text) in facts {
        row += 1;
        sheet.write_text(row, 0, name, &styles.text)?;
        sheet.merge_text(row, 1, row, 2, &text, &styles.wrapped)?;
        sheet.set_row_height(row, 18.0)?;
    }
    Ok(())
}

/// The goals with value and bound; returns the last row.
fn goals(
    sheet: &mut Worksheet,
    job: &Job,
    plan: &Plan,
    mut row: u32,
    styles: &Styles,
) -> Result<u32, XlsxError> {
    heads(
        sheet,
        row,
        &["Goal, in this order", "Value", "Bound"],
        styles,
    )?;
    for goal in &plan.goals {
        row += 1;
        sheet.write_text(row, 0, words::aim(goal.aim), &styles.text)?;
        for (column, value) in [(1, goal.value), (2, goal.bound)] {
            let text = words::goal_value(job, goal, value);
            sheet.write_text(row, column, text, &styles.text)?;
        }
    }
    Ok(row)
}

/// The inputs with their hashes, then the policy; returns the last row.
pub(super) fn inputs_and_policy(
    sheet: &mut Worksheet,
    job: &Job,
    styles: &Styles,
) -> Result<u32, XlsxError> {
    let mut row = 3;
    heads(sheet, row, &["Input", "File", "SHA-256"], styles)?;
    for input in &job.inputs {
        row += 1;
        for (column, text) in [(0, &input.role), (1, &input.file), (2, &input.sha256)] {
            sheet.write_text(row, column, text, &styles.wrapped)?;
        }
    }
    row += 2;
    heads(sheet, row, &["Policy", "Value", "Meaning"], styles)?;
    let covered = match job.policy.guard() {
        Guard::Expanded(_) => {
            "combined standard uncertainties by which a kit keeps clear of its limits"
        }
        Guard::None | Guard::WorstCase => {
            "standard uncertainties that count in the worst case, where no plus/minus is given"
        }
    };
    let meanings = [
        "when a requirement counts as met",
        covered,
        "charge for each piece, beside its unit cost",
        "charge for each 0.001 in that a requirement comes out off its target",
        "whether the rest of an opened pack is waste",
        "what the money is called",
        "seed of everything random; the choice of pieces uses nothing random",
        "after which the best plan found is written",
        "how far a micrometer's reading of a finished pack may be off, for recheck",
        "how far a reading of a clearance may be off, for recheck",
    ];
    for ((setting, value), meaning) in job.policy.settings().iter().zip(meanings) {
        row += 1;
        sheet.write_text(row, 0, *setting, &styles.text)?;
        sheet.write_text(row, 1, value, &styles.text)?;
        sheet.write_text(row, 2, meaning, &styles.text)?;
    }
    Ok(row)
}

/// The Basis of an as-built record.
pub(super) fn of_as_built(
    sheet: &mut Worksheet,
    built: &AsBuilt<'_>,
    styles: &Styles,
) -> Result<(), XlsxError> {
    let job = built.recheck.job();
    set_up(sheet, "Basis", built.date)?;
    widths(sheet, &[28.0, 46.0, 68.0])?;
    title(
        sheet,
        "Basis",
        "The same inputs, readings, policy, program and date give this workbook again, byte for byte.",
        styles,
    )?;
    let mut row = inputs_and_policy(sheet, job, styles)? + 2;
    heads(sheet, row, &["What came back", "File", "SHA-256"], styles)?;
    for input in built.inputs {
        row += 1;
        sheet.write_text(row, 0, &input.role, &styles.text)?;
        sheet.write_text(row, 1, &input.file, &styles.wrapped)?;
        sheet.write_text(row, 2, &input.sha256, &styles.text)?;
    }
    row += 2;
    heads(sheet, row, &["Fact", "", ""], styles)?;
    let facts = [
        ("Program", format!("gapwright {}", env!("CARGO_PKG_VERSION"))),
        ("Plan", built.plan_id.to_string()),
        ("Date", built.date.to_string()),
        ("Normalised error", "(found - predicted) / root of the sum of squares of both expanded uncertainties, k = 2 for both; ISO 13528, from memory".into()),
        ("Predicted", "from the pieces as they were issued; a clearance from the packs as they were measured, where they were".into()),
        ("Smallest swap", "fewest pieces moved, out and in, in all places together; then nearest to the targets; then least cost".into()),
        ("Checked", "decisions, limits after each swap and the pieces left recomputed by a second reckoning before this was written".into()),
        ("Lengths", "held in whole tenths of a nanometre; 1 in = 25.4 mm exactly".into()),
    ];
    for (name, text) in facts {
        row += 1;
        sheet.write_text(row, 0, name, &styles.text)?;
        sheet.merge_text(row, 1, row, 2, &text, &styles.wrapped)?;
        sheet.set_row_height(row, 18.0)?;
    }
    Ok(())
}
