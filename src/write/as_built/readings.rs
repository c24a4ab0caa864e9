//! The Readings sheet: a row a reading, predicted against found.

use rust_xlsxwriter::Worksheet;

use super::AsBuilt;
use crate::length::{Fine, Unit};
use crate::model::Form;
use crate::recheck::{Checked, Compared, Of};
use crate::stack::{Judgement, Verdict};
use crate::words::recheck::what;
use crate::write::page::{Page, Written};
use crate::write::style::{Styles, tall};
use crate::write::table::{Cells, Column};

/// A reading of a pump, against what was predicted of it and what it must come to.
struct ReadingRow<'a> {
    tag: &'a str,
    what: &'a str,
    unit: Unit,
    compared: Option<&'a Compared>,
    checked: Option<&'a Checked>,
    standing: (&'static str, bool),
}

type Col<'s> = Column<'s, ReadingRow<'s>>;

fn columns(styles: &Styles) -> [Col<'_>; 13] {
    let text = &styles.text;
    let length = |line: &ReadingRow<'_>, of: Option<Fine>| match of {
        Some(of) => styles.length(line.unit).owned(rounded(of.to_f64(line.unit))),
        None => text.blank(),
    };
    let compared = move |line: &ReadingRow<'_>, of: fn(&Compared) -> Option<Fine>| {
        length(line, line.compared.and_then(of))
    };
    let limit = move |line: &ReadingRow<'_>, of: fn(&Verdict) -> Option<Fine>| {
        length(line, line.checked.and_then(|checked| of(&checked.verdict)))
    };
    let normalised = |line: &ReadingRow<'_>| match line.compared.and_then(Compared::normalised) {
        // Two places are enough to read; agreement itself is judged on the whole number.
        Some(e) => styles.number.of((e * 100.0).round() / 100.0),
        None => text.blank(),
    };
    [
        Col::new("Tag", 14.0, |line| styles.strong.of(line.tag)),
        Col::new("What", 31.0, |line| styles.wrapped.of(line.what)),
        Col::new("Unit", 6.0, |line| text.of(line.unit.symbol())),
        Col::new("Predicted", 11.0, move |line| compared(line, |c| Some(c.predicted))),
        Col::new("Uncertainty", 12.5, move |line| compared(line, |c| Some(c.predicted_within))),
        Col::new("Found", 11.0, move |line| compared(line, |c| Some(c.found.first.value.into()))),
        Col::new("2nd reading", 11.0, move |line| {
            compared(line, |c| c.found.again.map(|again| again.value.into()))
        }),
        Col::new("Uncertainty", 12.5, move |line| compared(line, |c| Some(c.found_within))),
        Col::new("Difference", 11.5, move |line| compared(line, |c| Some(c.difference()))),
        Col::new("Norm. error", 8.0, normalised),
        Col::new("Lower limit", 11.5, move |line| limit(line, |v| v.lower)),
        Col::new("Upper limit", 11.5, move |line| limit(line, |v| v.upper)),
        Col::new("Status", 26.0, |line| match line.standing {
            (said, true) => styles.alarm.of(said),
            (said, false) => text.of(said),
        }),
    ]
}

pub(super) fn sheet(built: &AsBuilt<'_>, styles: &Styles) -> Written<Worksheet> {
    let (job, records) = (built.recheck.job(), built.recheck.records());
    let lead = "Normalised error = (found - predicted) / root of the sum of squares of both expanded uncertainties, k = 2; they agree from -1 to 1.";
    let mut page = Page::begin("Readings", "Readings", lead, styles)?;
    page.row = 2;
    let middle = "Predicted is the middle of the tolerances. Where one side is wider, it differs from the nominal figure on the slip.";
    page.text(middle, &styles.lead)?;
    let columns = columns(styles);
    page.high(32.0)?;
    page.open(&columns)?;
    let first = page.row;
    // A pump of which nothing was read has a line on the first sheet, and no figures.
    let pumps = job.pumps.iter().zip(records);
    for (pump, record) in pumps.filter(|(_, record)| record.compared().next().is_some()) {
        for of in record.readable() {
            let compared = record.against(of);
            let (checked, form) = match of {
                Of::Requirement(index) => {
                    (Some(&record.requirements[index]), Some(&pump.requirements[index].form))
                }
                Of::Pack(_) => (None, None),
            };
            if compared.is_none() && checked.is_none() {
                continue;
            }
            let judged = checked.map(|checked| checked.verdict.judgement());
            let read = match form {
                Some(Form::GasketFill { gasket, .. }) => {
                    Some(record.packs.get(*gasket).is_some_and(Option::is_some))
                }
                _ => None,
            };
            let line = ReadingRow {
                tag: &pump.tag,
                what: what(job, pump, of),
                unit: job.model_of(pump).unit,
                compared,
                checked,
                standing: standing(compared, judged, read),
            };
            page.high(tall(line.what, 30))?;
            page.put(&columns, &line)?;
        }
    }
    if page.row == first {
        page.text("No reading came back.", &styles.alarm)?;
    }
    Ok(page.sheet)
}

/// To a hundredth of a micrometre or of a micro-inch and finer: the exact figures are in the JSON.
fn rounded(value: f64) -> f64 {
    (value * 1e7).round() / 1e7
}

/// How a reading stands; `read` of a gasket's free thickness, which is read as its pack or not at all.
fn standing(
    compared: Option<&Compared>,
    judged: Option<Judgement>,
    read: Option<bool>,
) -> (&'static str, bool) {
    use Judgement::{Met, NotMet, NotProven};
    let agrees = compared.map(Compared::agrees);
    match (agrees, judged) {
        (Some(false), Some(NotMet)) => ("beyond, and NOT MET", true),
        (Some(false), Some(NotProven)) => ("beyond, and NOT PROVEN", true),
        (Some(false), _) => ("beyond what was predicted", true),
        (_, Some(judged @ (NotMet | NotProven))) => (judged.words(), true),
        (Some(true), Some(Met)) => ("agrees, met", false),
        (Some(true), None) => ("agrees", false),
        (None, _) => match read {
            None => ("not read; met as predicted", false),
            Some(true) => ("met as the pack was read", false),
            Some(false) => ("met as picked, not measured", false),
        },
    }
}
