//! Empty workbooks to start from: headings, units, drop-down lists, notes and one example row.

use rust_xlsxwriter::{
    DataValidation, DocProperties, ExcelDateTime, Formula, Note, Workbook, Worksheet, XlsxError,
};

use super::style::{Styles, heads};
use crate::model::{Form, Model};
use crate::policy::Policy;
use crate::read::{pump_heading, pump_fit_heading};

/// How many rows below the headings have drop-down lists.
const ROWS: u32 = 500;

/// A column of a blank workbook: heading, note, example.
struct Column {
    head: String,
    note: String,
    example: Example,
    list: Option<Formula>,
}

enum Example {
    Text(String),
    Number(f64),
    Nothing,
}

fn column(head: impl Into<String>, note: &str, example: Example) -> Column {
    Column { head: head.into(), note: note.into(), example, list: None }
}

fn text(text: &str) -> Example {
    Example::Text(text.into())
}

/// Both blank workbooks as bytes: stock, then pumps.
///
/// # Errors
/// When a workbook cannot be put together.
pub fn workbooks(model: &Model) -> Result<(Vec<u8>, Vec<u8>), XlsxError> {
    Ok((stock(model)?, pumps(model)?))
}

fn new_workbook(title: &str) -> Result<Workbook, XlsxError> {
    let mut workbook = Workbook::new();
    // A blank form has no date of its own; a fixed one keeps its bytes the same.
    let stamp = ExcelDateTime::from_ymd(2026, 1, 1)?;
    workbook.set_properties(&DocProperties::new().set_title(title).set_creation_datetime(&stamp));
    Ok(workbook)
}

fn stock(model: &Model) -> Result<Vec<u8>, XlsxError> {
    let mut workbook = new_workbook("Stock")?;
    let unit = model.unit.symbol();
    let (kind, thickness) = model.packs.first().map_or(("shim", 0.01), |pack| {
        (pack.kind.as_str(), if unit == "mm" { 0.25 } else { 0.01 })
    });
    let tolerance = if unit == "mm" { 0.01 } else { 0.0005 };
    let mut kinds: Vec<String> = model.packs.iter().map(|p| p.kind.clone()).collect();
    kinds.extend(model.consumables.iter().map(|c| c.kind.clone()));
    kinds.sort();
    kinds.dedup();
    let mut columns = vec![
        column("Item", "Stock number, once each. One row is a lot: pieces of one thickness.", text("EXAMPLE-1 (invented)")),
        column("Kind", "shim, gasket, or any other kind that a model asks for.", text(kind)),
        column("Fit", "The fit code that ties a piece to a place; the pump workbook says the same code.", text("F1")),
        column(format!("Thickness ({unit})"), "Of one piece: nominal, or the lot's measured mean. A cell may have a unit of its own: 0.5 mm, 12 thou, 1/64 in.", Example::Number(thickness)),
        column(format!("Tolerance ({unit})"), "Plus/minus on one piece, or both sides: +0/-0.02 mm. May be left empty if the model gives one for the material.", Example::Number(tolerance)),
        column(format!("Uncertainty ({unit})"), "Standard uncertainty of the measured mean, if the lot was measured.", Example::Nothing),
        column("On hand", "Whole pieces in the bin.", Example::Number(10.0)),
        column("Reserved", "Of those, pieces that must not be offered.", Example::Number(0.0)),
        column("Unit cost", "Cost of one piece, a plain number.", Example::Number(2.5)),
        column("Pack qty", "Pieces in a pack as bought.", Example::Nothing),
        column("Min level", "The level below which it should not fall; scarce pieces are spared.", Example::Number(2.0)),
        column("Max level", "The level to fill up to.", Example::Nothing),
        column("Lead days", "Days from order to delivery.", Example::Nothing),
        column("Supplier", "Who sells it.", Example::Nothing),
        column("Bin", "Where it lies. The picking list walks the bins in this order: A2 before A10.", text("A1")),
        column("Material", "What it is made of.", Example::Nothing),
    ];
    columns[1].list = Some(quoted(&kinds));
    let count = DataValidation::new()
        .allow_whole_number(rust_xlsxwriter::DataValidationRule::GreaterThanOrEqualTo(0))
        .set_error_title("Pieces")
        .and_then(|rule| rule.set_error_message("A whole number of pieces, 0 or more."))?;
    let sheet = workbook.add_worksheet();
    form(sheet, "Stock", "Stock: one row a lot. Replace the invented example row.", &columns)?;
    for at in [6, 7] {
        sheet.add_data_validation(3, at, 3 + ROWS, at, &count)?;
    }
    workbook.save_to_buffer()
}

fn pumps(model: &Model) -> Result<Vec<u8>, XlsxError> {
    let mut workbook = new_workbook("Pumps")?;
    let unit = model.unit.symbol();
    let mut columns = vec![
        column("Tag", "The pump's own number, once each.", text("EXAMPLE-P1 (invented)")),
        column("Model", "A model that the program knows, or a file in the folder given with --models.", text(&model.name)),
        column("Priority", "1 comes first; empty means 3. One pump of a priority outranks all of the later ones.", Example::Number(3.0)),
        column("Due", "Orders the kit slips.", text("2027-03-15")),
        column("Location", "Carried through to the slip.", Example::Nothing),
        column("Note", "Carried through to the slip.", Example::Nothing),
    ];
    for pack in &model.packs {
        let note = format!("Fit code of {}: the stock workbook says the same code.", pack.label);
        columns.push(column(pump_fit_heading(&pack.name), &note, text("F1")));
    }
    for dimension in &model.dimensions {
        let note = format!("{}. For several readings repeat the column with 1, 2, 3 behind the name.", dimension.label);
        let example = example_of(model, columns_of(model, &dimension.name));
        columns.push(column(format!("{} ({unit})", pump_heading(&dimension.name)), &note, example));
    }
    for need in model.consumables.iter().filter_map(|c| c.fit_column.as_deref()) {
        columns.push(column(need, "Fit code of a consumable for the bag.", Example::Nothing));
    }
    for requirement in &model.requirements {
        let name = pump_heading(&requirement.name);
        let unit = match requirement.form {
            Form::Linear { .. } => format!(" ({unit})"),
            Form::GasketFill { .. } => String::new(),
        };
        for side in ["target", "min", "max"] {
            let note = format!("Only where this pump differs from the model. {}.", requirement.label);
            columns.push(column(format!("{name} {side}{unit}"), &note, Example::Nothing));
        }
    }
    columns[1].list = Some(quoted(std::slice::from_ref(&model.name)));
    let sheet = workbook.add_worksheet();
    form(sheet, "Pumps", "Pumps: one row a pump. Replace the invented example row.", &columns)?;
    let policy = workbook.add_worksheet();
    policy_sheet(policy)?;
    workbook.save_to_buffer()
}

/// Whether the dimension is the first one, which carries the clearance.
fn columns_of(model: &Model, name: &str) -> bool {
    model.dimensions.first().is_some_and(|d| d.name == name)
}

fn example_of(model: &Model, first: bool) -> Example {
    Example::Number(match (model.unit.symbol(), first) {
        ("mm", true) => 0.9,
        ("mm", false) => 0.5,
        (_, true) => 0.041,
        (_, false) => 0.05,
    })
}

fn policy_sheet(sheet: &mut Worksheet) -> Result<(), XlsxError> {
    let styles = Styles::new();
    sheet.set_name("Policy")?;
    sheet.set_landscape().set_paper_size(9).set_print_fit_to_pages(1, 0);
    sheet.write_string_with_format(0, 0, "Policy: every setting with its default. Change what differs.", &styles.part)?;
    heads(sheet, 2, &["Setting", "Value"], &styles)?;
    sheet.set_column_width(0, 30)?.set_column_width(1, 18)?;
    for (row, (setting, value)) in (3..).zip(Policy::default().settings()) {
        sheet.write_string_with_format(row, 0, setting, &styles.text)?;
        sheet.write_string_with_format(row, 1, value, &styles.entry)?;
    }
    let rules = DataValidation::new().allow_list_formula(quoted(&["worst case".into(), "nominal".into()]));
    sheet.add_data_validation(3, 1, 3, 1, &rules)?;
    Ok(())
}

/// A list written into the validation itself.
fn quoted(values: &[String]) -> Formula {
    Formula::new(format!("=\"{}\"", values.join(",").replace('"', "\"\"")))
}

fn form(
    sheet: &mut Worksheet,
    name: &str,
    lead: &str,
    columns: &[Column],
) -> Result<(), XlsxError> {
    let styles = Styles::new();
    sheet.set_name(name)?;
    sheet.set_landscape().set_paper_size(9).set_print_fit_to_pages(1, 0);
    sheet.set_repeat_rows(2, 2)?;
    sheet.set_freeze_panes(3, 1)?;
    sheet.write_string_with_format(0, 0, lead, &styles.part)?;
    for (at, column) in (0..).zip(columns) {
        sheet.write_string_with_format(2, at, &column.head, &styles.head)?;
        let note = Note::new(&column.note).set_author("gapwright").add_author_prefix(false);
        sheet.insert_note(2, at, &note)?;
        match &column.example {
            Example::Text(text) => sheet.write_string_with_format(3, at, text, &styles.entry)?,
            Example::Number(number) => sheet.write_number_with_format(3, at, *number, &styles.entry)?,
            Example::Nothing => sheet.write_blank(3, at, &styles.entry)?,
        };
        let width = u16::try_from(column.head.chars().count().clamp(9, 24)).unwrap_or(24);
        sheet.set_column_width(at, f64::from(width) + 3.0)?;
        if let Some(list) = &column.list {
            let rule = DataValidation::new().allow_list_formula(list.clone());
            sheet.add_data_validation(3, at, 3 + ROWS, at, &rule)?;
        }
    }
    sheet.set_column_width(0, 24)?;
    Ok(())
}
