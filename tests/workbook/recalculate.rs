//! Compares the cached results of a workbook's formulas with those after another spreadsheet engine has recalculated
//! it: `cargo run --example recalculate -- plan.xlsx recalculated.xlsx`.
//!
//! With `--expanded plan.xlsx` it writes a plan of the sample outage under the expanded rule, and with
//! `--stack stack.xlsx` the stack-up of a pump with every feature, so that those formulas are recalculated as well;
//! with `--language stack.xlsx` that of a pump with derived terms, single limits and the rarer distributions.
//! With `--changed changed.xlsx stale.xlsx` it writes the latter after changing a reading, a tolerance, a count, a
//! temperature and a limit: once with the right results, and once without any results, for the other engine.
//!
//! With `--spoil plan.xlsx spoilt.xlsx` it writes a copy with one cached result falsified, to prove that the
//! comparison bites.

#![allow(missing_docs, clippy::unwrap_used, clippy::cast_possible_truncation)]

mod demanding;
mod expanded;
mod language;

use std::error::Error;
use std::fs;
use std::io::{Cursor, Read, Write};
use std::process::ExitCode;

use calamine::{Data, Reader, Xlsx, open_workbook};
use gapwright::choose::{choose, control::Control};
use gapwright::verify::verify;
use gapwright::write;

/// Largest difference that counts as equal, in the sheet's own units.
const TOLERANCE: f64 = 1e-9;

fn main() -> Result<ExitCode, Box<dyn Error>> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    match arguments.iter().map(String::as_str).collect::<Vec<_>>().as_slice() {
        ["--spoil", from, to] => {
            spoil(from, to)?;
            Ok(ExitCode::SUCCESS)
        }
        ["--expanded", to] => {
            write_expanded(to)?;
            Ok(ExitCode::SUCCESS)
        }
        ["--stack", to] => {
            let folder = tempfile::tempdir()?;
            fs::write(to, demanding::stack_up(folder.path(), |_, _| {}))?;
            Ok(ExitCode::SUCCESS)
        }
        ["--language", to] => {
            let folder = tempfile::tempdir()?;
            fs::write(to, language::stack_up(folder.path(), language::changed))?;
            Ok(ExitCode::SUCCESS)
        }
        ["--changed", to, stale] => {
            let folder = tempfile::tempdir()?;
            fs::write(to, demanding::stack_up(folder.path(), demanding::changed))?;
            rewrite(to, stale, without_results)?;
            Ok(ExitCode::SUCCESS)
        }
        [ours, theirs] => compare(ours, theirs),
        _ => Err("see the head of this file for what to give it".into()),
    }
}

fn compare(ours: &str, theirs: &str) -> Result<ExitCode, Box<dyn Error>> {
    let mut before: Xlsx<_> = open_workbook(ours)?;
    let mut after: Xlsx<_> = open_workbook(theirs)?;
    let (mut compared, mut differ) = (0, 0);
    for sheet in before.sheet_names() {
        let formulas = before.worksheet_formula(&sheet)?;
        let start = formulas.start().unwrap_or((0, 0));
        let (ours, theirs) = (before.worksheet_range(&sheet)?, after.worksheet_range(&sheet)?);
        for (row, column, formula) in formulas.used_cells().filter(|(_, _, f)| !f.is_empty()) {
            let at = (u32::try_from(row)? + start.0, u32::try_from(column)? + start.1);
            let pair = (ours.get_value(at), theirs.get_value(at));
            let equal = match pair {
                // Lengths are below 1; degrees of freedom, which may be thousands, relative to that.
                (Some(Data::Float(a)), Some(Data::Float(b))) => {
                    (a - b).abs() <= TOLERANCE * a.abs().max(1.0)
                }
                (a, b) => a == b && a.is_some(),
            };
            compared += 1;
            if !equal {
                differ += 1;
                let cell = gapwright::problem::address(at.0, at.1);
                println!("{sheet}!{cell} ={formula}: {pair:?}");
            }
        }
    }
    println!("{compared} formulas compared, {differ} differ");
    // Zero comparisons are a failure too.
    Ok(if compared > 0 && differ == 0 { ExitCode::SUCCESS } else { ExitCode::FAILURE })
}

fn write_expanded(to: &str) -> Result<(), Box<dyn Error>> {
    let job = expanded::sample()?;
    let plan = choose(&job, &Control::unlimited())?;
    let verified = verify(job, plan).map_err(|breaches| format!("{breaches:?}"))?;
    fs::write(to, write::workbook(&verified, "2027-03-01")?)?;
    Ok(())
}

/// Falsifies the first numeric result.
fn spoil(from: &str, to: &str) -> Result<(), Box<dyn Error>> {
    let mut spoilt = false;
    rewrite(from, to, |text| match text.split_once("</f><v>") {
        Some((head, tail)) if !spoilt => {
            spoilt = true;
            format!("{head}</f><v>9{tail}")
        }
        _ => text.to_string(),
    })?;
    if !spoilt {
        return Err("no formula to spoil".into());
    }
    Ok(())
}

/// Gives every formula one wrong number as its result.
fn without_results(text: &str) -> String {
    let mut parts = text.split("</f><v>");
    let mut out = parts.next().unwrap_or_default().to_string();
    for part in parts {
        let rest = part.split_once("</v>").map_or("", |(_, rest)| rest);
        out.push_str("</f><v>999</v>");
        out.push_str(rest);
    }
    // A text result is a number now.
    out.replace(" t=\"str\"", "")
}

/// Copies a workbook with the text of its sheets changed.
fn rewrite(
    from: &str,
    to: &str,
    mut change: impl FnMut(&str) -> String,
) -> Result<(), Box<dyn Error>> {
    let mut archive = zip::ZipArchive::new(Cursor::new(fs::read(from)?))?;
    let mut writer = zip::ZipWriter::new(Cursor::new(Vec::new()));
    for index in 0..archive.len() {
        let mut entry = archive.by_index(index)?;
        let name = entry.name()?.to_string();
        let mut content = Vec::new();
        entry.read_to_end(&mut content)?;
        if name.starts_with("xl/worksheets/sheet") {
            content = change(&String::from_utf8(content)?).into_bytes();
        }
        writer.start_file(name, zip::write::SimpleFileOptions::default())?;
        writer.write_all(&content)?;
    }
    fs::write(to, writer.finish()?.into_inner())?;
    Ok(())
}
