//! The Readings sheet: a row a reading, predicted against found.

use rust_xlsxwriter::{Worksheet, XlsxError};

use super::AsBuilt;
use crate::length::Fine;
use crate::model::Form;
use crate::recheck::{Compared, Of};
use crate::words::recheck::what;
use crate::write::style::{Styles, heads, set_up, tall, title, widths};
use crate::write::text::WriteText;

pub(super) fn write(
    sheet: &mut Worksheet,
    built: &AsBuilt<'_>,
    styles: &Styles,
) -> Result<(), XlsxError> {
    let (job, records) = (built.recheck.job(), built.recheck.records());
    set_up(sheet, "Readings", built.date)?;
    widths(
        sheet,
        &[
            14.0, 31.0, 6.0, 11.0, 12.5, 11.0, 11.0, 12.5, 11.5, 8.0, 11.5, 11.5, 26.0,
        ],
    )?;
    title(
        sheet,
        "Readings",
        "Normalised error = (found - predicted) / root of the sum of squares of both expanded uncertainties, k = 2; they agree from -1 to 1.",
        styles,
    )?;
    sheet.write_text(
        2,
        0,
        "Predicted is the middle of the tolerances: where they are wider on one side, not the nominal figure on the slip.",
        &styles.lead,
    )?;
    let names = [
        "Tag",
        "What",
        "Unit",
        "Predicted",
        "Uncertainty",
        "Found",
        "Found again",
        "Uncertainty",
        "Difference",
        "Norm. error",
        "Lower limit",
        "Upper limit",
        "Standing",
    ];
    heads(sheet, 3, &names, styles)?;
    sheet.set_row_height(3, 32.0)?;
    sheet.set_repeat_rows(3, 3)?;
    sheet.set_freeze_panes(4, 0)?;
    let mut row = 3;
    for (pump, record) in job.pumps.iter().zip(records) {
        let unit = job.model_of(pump).unit;
        // A pump of which nothing was read has a line on the first sheet, and no figures.
        if record.compared().next().is_none() {
            continue;
        }
        for of in record.readable() {
            let compared = record.against(of);
            let checked = match of {
                Of::Requirement(index) => Some(&record.requirements[index]),
                Of::Pack(_) => None,
            };
            if compared.is_none() && checked.is_none() {
                continue;
            }
            row += 1;
            sheet.write_text(row, 0, &pump.tag, &styles.strong)?;
            sheet.write_text(row, 1, what(job, pump, of), &styles.wrapped)?;
            sheet.set_row_height(row, tall(what(job, pump, of), 30))?;
            sheet.write_text(row, 2, unit.symbol(), &styles.text)?;
            let number = styles.length(unit);
            for column in 3..12 {
                sheet.write_blank(row, column, &styles.text)?;
            }
            let mut put = |column: u16, value: Fine| {
                let value = rounded(value.to_f64(unit));
                sheet
                    .write_number_with_format(row, column, value, &number)
                    .map(drop)
            };
            if let Some(checked) = checked {
                put(10, checked.verdict.lower)?;
                put(11, checked.verdict.upper)?;
            }
            if let Some(compared) = compared {
                put(3, compared.predicted)?;
                put(4, compared.predicted_within)?;
                put(5, compared.found.first.value.into())?;
                if let Some(again) = compared.found.again {
                    put(6, again.value.into())?;
                }
                put(7, compared.found_within)?;
                put(8, compared.difference())?;
                if let Some(e) = compared.normalised() {
                    // Two places are enough to read; agreement itself is judged on the whole number.
                    let shown = (e * 100.0).round() / 100.0;
                    sheet.write_number_with_format(row, 9, shown, &styles.number)?;
                }
            }
            let met = checked.map(|checked| checked.verdict.conforms());
            let gasket = match of {
                Of::Requirement(index) => match pump.requirements[index].form {
                    Form::GasketFill { gasket, .. } => Some(gasket),
                    Form::Linear { .. } => None,
                },
                Of::Pack(_) => None,
            };
            let read = gasket.map(|pack| record.packs.get(pack).is_some_and(Option::is_some));
            let (text, bad) = standing(compared, met, read);
            let format = if bad { &styles.alarm } else { &styles.text };
            sheet.write_text(row, 12, text, format)?;
        }
    }
    if row == 3 {
        sheet.write_text(4, 0, "No reading came back.", &styles.alarm)?;
    }
    Ok(())
}

/// To a hundredth of a micrometre or of a micro-inch and finer: the exact figures are in the JSON.
fn rounded(value: f64) -> f64 {
    (value * 1e7).round() / 1e7
}

/// How a reading stands; `read` of a gasket's free thickness, which is read as its pack or not at all.
fn standing(
    compared: Option<&Compared>,
    met: Option<bool>,
    read: Option<bool>,
) -> (&'static str, bool) {
    let agrees = compared.map(Compared::agrees);
    match (agrees, met) {
        (Some(false), Some(false)) => ("beyond, and NOT MET", true),
        (Some(false), _) => ("beyond what was predicted", true),
        (_, Some(false)) => ("NOT MET", true),
        (Some(true), Some(true)) => ("agrees, met", false),
        (Some(true), None) => ("agrees", false),
        (None, _) => match read {
            None => ("not read; met as predicted", false),
            Some(true) => ("met as the pack was read", false),
            Some(false) => ("met as picked, pack not measured", false),
        },
    }
}
