//! The Basis of what is set aside: inputs, what was asked, what was expected, how it was drawn.

use rust_xlsxwriter::Worksheet;

use super::super::basis::{self, Section, inputs_and_policy, program};
use super::super::page::Written;
use super::super::style::Styles;
use super::super::table::Cells;
use super::{Provided, height};
use crate::plan::Stop;
use crate::words;
use crate::words::provision as said;

pub(super) fn sheet(provided: &Provided<'_>, styles: &Styles) -> Written<Worksheet> {
    let Provided { outlook, question, provision, level } = provided;
    let job = outlook.job();
    let ended = match provision.stopped {
        Some(Stop::TimeLimit) => "no: time limit",
        Some(Stop::Interrupt) => "no: interrupt",
        Some(Stop::Memory) => "no: memory limit",
        Some(Stop::Work) => "no: limit on work",
        None if provision.trolley.proven() => "yes",
        None => "no: trolley not proven",
    };
    let facts = [
        program(),
        ("Date", styles.date.clone()),
        (
            "Step",
            format!(
                "{}: values of a range are its low end, every step up from there, and its high end",
                words::length(question.step, words::natural_unit(question.step))
            ),
        ),
        ("Probability required", said::asked(question.probability)),
        (
            "Scenarios",
            format!(
                "{} to choose the trolley for, {} others to count its service on, from the seed above",
                question.scenarios, question.checks
            ),
        ),
        (
            "Interval of the service",
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
            "A range: every value examined is equally likely, each pump by itself. Past readings: mean and standard deviation are drawn once per outage for all pumps of a model (normal, scaled inverse chi-square). Each pump is normal about that mean. So each pump has Student's t distribution, and two are correlated by 1/(n + 1) (Gelman et al., Bayesian Data Analysis, from memory)".into(),
        ),
        (
            "Trolley",
            "least cost that serves the required share of the scenarios; where gaps forbid that, a pump in a gap is left out there (sample average approximation; Luedtke and Ahmed 2008, from memory)".into(),
        ),
        ("Money", "unit cost of the pieces set aside; most of them go back".into()),
        ("Search complete", ended.to_string()),
    ];
    let mut sections = Vec::from(inputs_and_policy(job, styles));
    sections.push(Section::facts(facts, |text| Some(height(&[(text, 105)])), styles));
    sections.push(expected(provided, styles));
    sections.extend(Section::warnings(job, |text| height(&[(text, 135)]), styles));
    let lead = "The same inputs, policy, program and date give this workbook again, byte for byte, unless the time limit or Ctrl-C ended the work.";
    basis::sheet(lead, sections, styles)
}

/// The ranges that are expected of each pump.
fn expected<'s>(provided: &Provided<'_>, styles: &'s Styles) -> Section<'s> {
    let outlook = provided.outlook;
    let job = outlook.job();
    let pumps = job.pumps.iter().zip(outlook.expected());
    let expected = pumps.flat_map(|(pump, expected)| {
        let model = job.model_of(pump);
        let dimensions = model.dimensions.iter().zip(expected);
        dimensions.filter_map(move |(dimension, expected)| {
            let expected = expected.as_ref()?;
            let range = said::range([expected.low, expected.high], model.unit);
            let range = format!("{}: {range}", dimension.label);
            let height = height(&[(&range, 50)]);
            let law = styles.wrapped.of(said::law(expected, model.unit));
            Some((vec![styles.text.of(&pump.tag), styles.wrapped.of(range), law], Some(height)))
        })
    });
    Section {
        heads: ["Expected: tag", "Dimension and range", "Distribution"],
        rows: expected.collect(),
    }
}
