//! The Basis of what is set aside: inputs, what was asked, what was expected, how it was drawn.

use rust_xlsxwriter::{Worksheet, XlsxError};

use super::super::basis::inputs_and_policy;
use super::super::style::{Styles, heads, set_up, title, widths};
use super::super::text::WriteText;
use super::{Provided, high_enough};
use crate::words;
use crate::words::provision as said;

pub(super) fn write(
    sheet: &mut Worksheet,
    provided: &Provided<'_>,
    date: &str,
    styles: &Styles,
) -> Result<(), XlsxError> {
    let Provided {
        outlook,
        question,
        provision,
        level,
    } = provided;
    let job = &outlook.job;
    set_up(sheet, "Basis", date)?;
    widths(sheet, &[28.0, 46.0, 68.0])?;
    title(
        sheet,
        "Basis",
        "The same inputs, policy, program and date give this workbook again, byte for byte, unless the time limit or Ctrl-C ended the work.",
        styles,
    )?;
    let mut row = inputs_and_policy(sheet, job, styles)? + 2;
    heads(sheet, row, &["Fact", "", ""], styles)?;
    let ended = match provision.stopped {
        Some(stop) => stop.words(),
        None if provision.trolley.proven() => "nothing: the work was done to its end",
        None => "nothing: the method stops here and cannot prove this trolley least",
    };
    let facts = [
        ("Program", format!("gapwright {}", env!("CARGO_PKG_VERSION"))),
        ("Date", date.to_string()),
        (
            "Step",
            format!(
                "{}: values of a range are its low end, every step up from there, and its high end",
                words::length(question.step, words::natural_unit(question.step))
            ),
        ),
        ("Probability asked for", said::asked(question.probability)),
        (
            "Scenarios",
            format!(
                "{} to choose the trolley for, {} others to count its service on, from the seed above",
                question.scenarios, question.checks
            ),
        ),
        (
            "Interval about the service",
            format!("exact binomial, {}", said::asked(question.level)),
        ),
        (
            "Range from past readings",
            format!(
                "where one more reading lies at {}: mean -+ t s sqrt(1 + 1/n), ISO 16269-8:2004 (from memory), outward to whole steps",
                said::asked(*level)
            ),
        ),
        (
            "Draws",
            "a range: every value looked at alike, pump by pump; past readings: their unknown mean and standard deviation drawn once an outage for all pumps of the model (normal, scaled inverse chi-square), each pump normal about that mean: each comes out by Student's t, two of them correlated by 1/(n + 1) (Gelman et al., Bayesian Data Analysis, from memory)".into(),
        ),
        (
            "Trolley",
            "least cost over the scenarios of which as many as the probability asks for are served; where gaps forbid that, a pump in a gap asks for nothing there (sample average approximation; Luedtke and Ahmed 2008, from memory)".into(),
        ),
        ("Money", "the unit cost of what is set aside; most of it goes back".into()),
        ("Ended early by", ended.to_string()),
    ];
    for (name, text) in facts {
        row += 1;
        sheet.write_text(row, 0, name, &styles.text)?;
        sheet.merge_text(row, 1, row, 2, &text, &styles.wrapped)?;
        high_enough(sheet, row, &[(&text, 105)])?;
    }
    row += 2;
    heads(
        sheet,
        row,
        &["Expected: tag", "Dimension and range", "How likely what is"],
        styles,
    )?;
    for (pump, expected) in job.pumps.iter().zip(&outlook.expected) {
        let model = job.model_of(pump);
        for (dimension, expected) in model.dimensions.iter().zip(expected) {
            let Some(expected) = expected else { continue };
            row += 1;
            let range = said::range([expected.low, expected.high], model.unit);
            let range = format!("{}: {range}", dimension.label);
            sheet.write_text(row, 0, &pump.tag, &styles.text)?;
            sheet.write_text(row, 1, &range, &styles.wrapped)?;
            sheet.write_text(row, 2, said::law(expected, model.unit), &styles.wrapped)?;
            high_enough(sheet, row, &[(&range, 50)])?;
        }
    }
    if !job.warnings.is_empty() {
        row += 2;
        heads(sheet, row, &["Warnings", "", ""], styles)?;
    }
    for warning in &job.warnings {
        row += 1;
        let text = words::warning(warning);
        sheet.merge_text(row, 0, row, 2, &text, &styles.wrapped)?;
        high_enough(sheet, row, &[(&text, 135)])?;
    }
    Ok(())
}
