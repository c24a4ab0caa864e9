//! Empty workbooks to start from: headings, units, drop-down lists, notes and example rows that can be kitted as they are.

use rust_xlsxwriter::{
    DataValidation, DocProperties, ExcelDateTime, Formula, Note, Workbook, Worksheet, XlsxError,
};

use super::text::WriteText;

use super::style::{Styles, heads};
use crate::columns::{fit_heading, key as heading_key, pump_heading};
use crate::length::{Fine, Length, Unit};
use crate::model::{ConsumableNeed, Dimension, Face, Form, Model, Spread, Term};
use crate::outlook::usual_step;
use crate::packing::RingSpace;
use crate::plain_text::{mended, mended_to};
use crate::policy::Policy;
use crate::pump::Growth;

/// How many rows below the headings have drop-down lists.
const ROWS: u32 = 500;
/// The first row below the headings.
const FIRST_ROW: u32 = 3;

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
    Ok((stock(model)?, pumps(model, false)?))
}

/// The same for an outage that is not measured yet: the pumps have the columns of the ranges that
/// are expected beside those of the readings.
///
/// # Errors
/// When a workbook cannot be put together.
pub fn workbooks_ahead(model: &Model) -> Result<(Vec<u8>, Vec<u8>), XlsxError> {
    Ok((stock(model)?, pumps(model, true)?))
}

fn new_workbook(title: &str) -> Result<Workbook, XlsxError> {
    let mut workbook = Workbook::new();
    // A blank form has no date of its own; a fixed one keeps its bytes the same.
    let stamp = ExcelDateTime::from_ymd(2026, 1, 1)?;
    workbook.set_properties(&DocProperties::new().set_title(title).set_creation_datetime(&stamp));
    Ok(workbook)
}

/// Example readings and an example total for each pack: what the model file says, and worked out
/// from the requirements' targets where it says nothing, so that the blank workbooks can be kitted
/// as they are.
struct Examples {
    dimensions: Vec<Length>,
    packs: Vec<Length>,
}

/// Examples on the way: what is not settled yet is open.
struct Draft<'a> {
    model: &'a Model,
    dimensions: Vec<Option<Length>>,
    packs: Vec<Option<Length>>,
}

impl Examples {
    fn of(model: &Model) -> Examples {
        let given = &model.examples;
        let mut draft = Draft {
            model,
            dimensions: (0..model.dimensions.len())
                .map(|n| given.dimensions.get(n).copied().flatten())
                .collect(),
            packs: (0..model.packs.len()).map(|n| given.packs.get(n).copied().flatten()).collect(),
        };
        // A gasket follows from the gap that everything else leaves, so it comes last.
        let (fills, linear): (Vec<&Form>, Vec<&Form>) = model
            .requirements
            .iter()
            .map(|r| &r.form)
            .partition(|form| matches!(form, Form::GasketFill { .. }));
        for form in linear.into_iter().chain(fills) {
            draft.settle(form);
        }
        let usual = draft.usual();
        Examples {
            dimensions: draft.dimensions.iter().map(|d| d.unwrap_or(usual)).collect(),
            packs: draft.packs.iter().map(|p| p.unwrap_or(usual)).collect(),
        }
    }
}

impl Draft<'_> {
    /// A thickness as good as any: twenty thou or half a millimetre.
    fn usual(&self) -> Length {
        match self.model.unit {
            Unit::Inch | Unit::Thou => Length::from_ticks(20 * Unit::Thou.ticks()),
            Unit::Millimetre | Unit::Micrometre => Length::from_ticks(Unit::Millimetre.ticks() / 2),
        }
    }

    fn at(&mut self, term: Term) -> Option<&mut Option<Length>> {
        match term {
            Term::Dimension(index) => self.dimensions.get_mut(index),
            Term::Pack(index) => self.packs.get_mut(index),
            Term::Thermal(_) => None,
        }
    }

    /// Brings a requirement to its target by one of its open terms; the others become usual ones.
    fn settle(&mut self, form: &Form) {
        let face = form.target();
        let mut open: Vec<Term> = Vec::new();
        for (term, sensitivity) in &face.terms {
            if sensitivity.raw() != 0 && self.at(*term).is_some_and(|length| length.is_none()) {
                open.push(*term);
            }
        }
        // A gasket answers for its gap; else a reading is what differs from pump to pump.
        open.sort_by_key(|term| match (form, term) {
            (Form::GasketFill { gasket, .. }, Term::Pack(pack)) if gasket == pack => 0,
            (_, Term::Dimension(_)) => 1,
            _ => 2,
        });
        // Where pieces of the usual size leave nothing for the answer, thinner ones do.
        let sizes = [1, 2, 4, 8, 16].map(|part| Length::from_ticks(self.usual().ticks() / part));
        let found = sizes.iter().find_map(|&size| {
            open.iter().find_map(|&term| {
                let length = self.answer(&face, term, size)?;
                (length > Length::ZERO).then_some((term, length, size))
            })
        });
        let usual = found.map_or(self.usual(), |(_, _, size)| size);
        for &term in &open {
            let length = match found {
                Some((answering, length, _)) if answering == term => length,
                _ => usual,
            };
            if let Some(at) = self.at(term) {
                *at = Some(length);
            }
        }
    }

    /// The length of one term with which the sum comes to its bound, the open ones being of a size.
    fn answer(&self, face: &Face, wanted: Term, size: Length) -> Option<Length> {
        let mut rest = Fine::from(face.bound);
        let mut by = 0;
        for (term, sensitivity) in &face.terms {
            let length = match *term {
                term if term == wanted => {
                    by += i128::from(sensitivity.raw());
                    continue;
                }
                Term::Dimension(index) => self.dimensions[index].unwrap_or(size),
                Term::Pack(index) => self.packs[index].unwrap_or(size),
                Term::Thermal(index) => Growth::of(self.model.thermals[index].clone()).value,
            };
            rest = rest - *sensitivity * length;
        }
        let ticks = rest.raw().checked_div(by)?;
        i64::try_from(ticks).ok().map(Length::from_ticks)
    }
}

fn stock(model: &Model) -> Result<Vec<u8>, XlsxError> {
    let mut workbook = new_workbook("Stock")?;
    let consumables = in_stock(model);
    let mut kinds: Vec<String> = model.packs.iter().map(|p| p.kind.clone()).collect();
    kinds.extend(consumables.iter().map(|c| c.kind.clone()));
    kinds.sort();
    kinds.dedup();
    let mut columns = stock_columns(model.unit);
    columns[1].list = quoted(&kinds);
    let count = DataValidation::new()
        .allow_whole_number(rust_xlsxwriter::DataValidationRule::GreaterThanOrEqualTo(0))
        .set_error_title("Pieces")
        .and_then(|rule| rule.set_error_message("A whole number of pieces, 0 or more."))?;
    let sheet = workbook.add_worksheet();
    let lead = "Stock: one row a lot. Replace the example rows, which are invented.";
    let examples_shown = model.packs.len() + consumables.len();
    form(sheet, "Stock", lead, &columns, examples_shown)?;
    let bin_column = (0..).zip(&columns).find(|(_, c)| c.head == "Bin").map_or(14, |(at, _)| at);
    example_lots(sheet, model, &consumables, bin_column)?;
    for at in [6, 7] {
        sheet.add_data_validation(FIRST_ROW, at, FIRST_ROW + ROWS, at, &count)?;
    }
    sheets(workbook.add_worksheet(), model, &count)?;
    fit(workbook.add_worksheet(), model)?;
    feelers(workbook.add_worksheet(), model, &count)?;
    workbook.save_to_buffer()
}

/// The columns of the sheet Stock.
fn stock_columns(of: Unit) -> Vec<Column> {
    let unit = of.symbol();
    let tolerance = match of {
        Unit::Millimetre => 0.005,
        Unit::Inch => 0.0002,
        Unit::Thou => 0.2,
        Unit::Micrometre => 5.0,
    };
    vec![
        column(
            "Item",
            "Stock number, once each. One row is a lot: pieces of one thickness.",
            Example::Nothing,
        ),
        column("Kind", "shim, gasket, or any other kind that a model asks for.", Example::Nothing),
        column(
            "Fit",
            "The fit code that ties a piece to a place; the pump workbook says the same code.",
            text("F1"),
        ),
        column(
            format!("Thickness ({unit})"),
            "Of one piece: nominal, or the lot's measured mean; of a packing ring its section. A cell may have a unit of its own: 0.5 mm, 12 thou, 1/64 in.",
            Example::Nothing,
        ),
        column(
            format!("Tolerance ({unit})"),
            "Plus/minus on one piece, or both sides: +0/-0.02 mm. May be left empty if the model gives one for the material.",
            Example::Number(tolerance),
        ),
        column(
            format!("Uncertainty ({unit})"),
            "Standard uncertainty of the measured mean, if the lot was measured.",
            Example::Nothing,
        ),
        column("On hand", "Whole pieces in the bin.", Example::Number(10.0)),
        column("Reserved", "Of those, pieces that must not be offered.", Example::Number(0.0)),
        column("Unit cost", "Cost of one piece, a plain number.", Example::Number(2.5)),
        column(
            "Pack qty",
            "Pieces in a sealed pack; empty where they come singly. It counts where the policy says that opened packs are spoiled.",
            Example::Nothing,
        ),
        column(
            format!("Peel step ({unit})"),
            "Of a laminated shim: the thickness of one layer. All layers but the last can be peeled off, which is waste. Empty for a solid piece.",
            Example::Nothing,
        ),
        column(
            "Min level",
            "The level below which it should not fall; scarce pieces are spared.",
            Example::Number(2.0),
        ),
        column("Max level", "The level to fill up to.", Example::Nothing),
        column("Lead days", "Days from order to delivery.", Example::Nothing),
        column("Supplier", "Who sells it.", Example::Nothing),
        column(
            "Bin",
            "Where it lies. The picking list walks the bins in this order: A2 before A10.",
            Example::Nothing,
        ),
        column("Material", "What it is made of.", Example::Nothing),
    ]
}

/// Writes an example lot for each place and each consumable over the example rows.
fn example_lots(
    sheet: &mut Worksheet,
    model: &Model,
    consumables: &[ConsumableNeed],
    bin_column: u16,
) -> Result<(), XlsxError> {
    let examples = Examples::of(model);
    let styles = Styles::new();
    for (row, (pack, total)) in (FIRST_ROW..).zip(model.packs.iter().zip(&examples.packs)) {
        let item = format!("EXAMPLE-{} (invented)", row - FIRST_ROW + 1);
        sheet.write_text(row, 0, item, &styles.entry)?;
        sheet.write_text(row, 1, &pack.kind, &styles.entry)?;
        let bin = format!("A{}", row - FIRST_ROW + 1);
        sheet.write_text(row, bin_column, bin, &styles.entry)?;
        sheet.write_number_with_format(row, 3, total.to_f64(model.unit), &styles.entry)?;
    }
    let below = FIRST_ROW + u32::try_from(model.packs.len()).unwrap_or(0);
    for (row, need) in (below..).zip(consumables) {
        let item = format!("EXAMPLE-{} (invented)", row - FIRST_ROW + 1);
        sheet.write_text(row, 0, item, &styles.entry)?;
        sheet.write_text(row, 1, &need.kind, &styles.entry)?;
        if need.fit_column.is_none() {
            sheet.write_blank(row, 2, &styles.entry)?;
        }
        // No more than its section is asked of a consumable.
        let mut alike = model.consumables.iter().filter(|c| c.kind == need.kind);
        match alike.any(|c| c.section.is_some()) {
            true => {
                let (bore, shaft) = example_space(model.unit);
                let section = RingSpace::new(bore, shaft).map_or(Fine::ZERO, RingSpace::section);
                let section = section.to_f64(model.unit);
                sheet.write_number_with_format(row, 3, section, &styles.entry)?;
            }
            false => {
                sheet.write_blank(row, 3, &styles.entry)?;
            }
        }
        sheet.write_blank(row, 4, &styles.entry)?;
        sheet.write_number_with_format(row, 6, (2 * need.count).max(10), &styles.entry)?;
        let bin = format!("C{}", row - below + 1);
        sheet.write_text(row, bin_column, bin, &styles.entry)?;
    }
    Ok(())
}

/// The consumables that an example row is written for: one a kind and way of asking, with the
/// counts of those that ask alike added up.
fn in_stock(model: &Model) -> Vec<ConsumableNeed> {
    let mut rows: Vec<ConsumableNeed> = Vec::new();
    for need in &model.consumables {
        let alike = |row: &&mut ConsumableNeed| {
            row.kind == need.kind
                && row.fit_column.is_some() == need.fit_column.is_some()
                && row.section.is_some() == need.section.is_some()
        };
        match rows.iter_mut().find(alike) {
            Some(row) => row.count += need.count,
            None => rows.push(need.clone()),
        }
    }
    rows
}

/// An example of bore and shaft, as all example figures invented.
fn example_space(unit: Unit) -> (Length, Length) {
    let [bore, shaft] = match unit.large() {
        Unit::Inch => [3, 2],
        _ => [70, 50],
    };
    let of = |count: i64| Length::from_ticks(count * unit.large().ticks());
    (of(bore), of(shaft))
}

fn sheets(sheet: &mut Worksheet, model: &Model, count: &DataValidation) -> Result<(), XlsxError> {
    let (unit, large) = (model.unit.symbol(), model.unit.large().symbol());
    let mut kinds: Vec<String> = model.packs.iter().map(|p| p.kind.clone()).collect();
    kinds.sort();
    kinds.dedup();
    let field = |head: &str, note| column(head, note, Example::Nothing);
    let length = |head: &str, unit, note| field(&format!("{head} ({unit})"), note);
    let mut columns = vec![
        field(
            "Item",
            "Stock number, once each, and none that stands on Stock. One row is a lot of sheets.",
        ),
        field("Kind", "What is cut from it: shim or gasket."),
        length("Thickness", unit, "Of the sheet: nominal, or the lot's measured mean."),
        length(
            "Tolerance",
            unit,
            "Plus/minus on it, or both sides. May be left empty if the model gives one for the material.",
        ),
        length("Length", large, "One side of a sheet."),
        length("Width", large, "The other side."),
        field("On hand", "Whole sheets. A remnant is a lot of its own, with its own sides."),
        field("Reserved", "Of those, sheets that must not be cut."),
        field(
            "Unit cost",
            "Cost of one sheet. A piece costs the share of the square that it is cut from; the offcut is waste.",
        ),
        field("Bin", "Where it lies."),
        field("Material", "What it is made of."),
    ];
    columns[1].list = quoted(&kinds);
    let lead = "Sheets: one row a lot of sheets that pieces can be cut from. Leave it empty if nothing is cut.";
    form(sheet, "Sheets", lead, &columns, 0)?;
    for at in [6, 7] {
        sheet.add_data_validation(FIRST_ROW, at, FIRST_ROW + ROWS, at, count)?;
    }
    Ok(())
}

fn fit(sheet: &mut Worksheet, model: &Model) -> Result<(), XlsxError> {
    let large = model.unit.large().symbol();
    let columns = [
        column(
            "Fit",
            "The fit code of the place, once each; the pump workbook says the same code.",
            Example::Nothing,
        ),
        column(
            format!("Outside diameter ({large})"),
            "Of the piece. Each takes a square of this width from the sheet.",
            Example::Nothing,
        ),
        column(
            format!("Inside diameter ({large})"),
            "Of the piece; 0 for a full disc.",
            Example::Nothing,
        ),
    ];
    let lead = "Fit: one row a shape that is cut from the sheets of Sheets. Leave it empty if nothing is cut.";
    form(sheet, "Fit", lead, &columns, 0)
}

fn feelers(sheet: &mut Worksheet, model: &Model, count: &DataValidation) -> Result<(), XlsxError> {
    let unit = model.unit.symbol();
    let columns = [
        column(
            format!("Thickness ({unit})"),
            "What is stamped on the blade; one row a blade.",
            Example::Nothing,
        ),
        column(
            format!("Tolerance ({unit})"),
            "Plus/minus on it, as the set's maker says or as measured. Never guessed.",
            Example::Nothing,
        ),
        column("On hand", "How many of this blade; empty means one.", Example::Nothing),
        column("Set", "Which set it belongs to, for people.", Example::Nothing),
    ];
    let lead = "Feelers: one row a blade of the feeler set. The kit slips then say which blades must go in and which must not.";
    form(sheet, "Feelers", lead, &columns, 0)?;
    sheet.add_data_validation(FIRST_ROW, 2, FIRST_ROW + ROWS, 2, count)?;
    Ok(())
}

fn pumps(model: &Model, ahead: bool) -> Result<Vec<u8>, XlsxError> {
    let mut workbook = new_workbook("Pumps")?;
    let unit = model.unit.symbol();
    let of_model = format!(
        "A model that the program knows, or a file in the folder given with --models.{}",
        growths(model)
    );
    let mut columns = vec![
        column("Tag", "The pump's own number, once each.", text("EXAMPLE-P1 (invented)")),
        column("Model", &of_model, text(&model.name)),
        column(
            "Priority",
            "1 comes first; empty means 3. One pump of a priority outranks all of the later ones.",
            Example::Number(3.0),
        ),
        column("Due", "Orders the kit slips.", text("2027-03-15")),
        column("Location", "Carried through to the slip.", Example::Nothing),
        column("Note", "Carried through to the slip.", Example::Nothing),
    ];
    for pack in &model.packs {
        let note = format!("Fit code of {}: the stock workbook says the same code.", pack.label);
        columns.push(column(fit_heading(&pack.name), &note, text("F1")));
    }
    let examples = Examples::of(model);
    for (dimension, example) in model.dimensions.iter().zip(&examples.dimensions) {
        let note = format!(
            "{}. For several readings repeat the column with 1, 2, 3 behind the name.",
            dimension.label
        );
        let name = pump_heading(&dimension.name);
        // How readings of the example would scatter nobody can say, so those stay measured.
        let expected = ahead && !matches!(dimension.spread, Spread::FromReadings { .. });
        // Readings must differ for an uncertainty to follow from them, and the law of fewer than four
        // has no standard deviation.
        let numbered = [(" 1", -1), (" 2", 0), (" 3", 0), (" 4", 1)];
        let readings = match dimension.spread {
            Spread::FromReadings { .. } => &numbered[..],
            _ => &[("", 0)],
        };
        for (behind, apart) in readings {
            let apart = Length::from_ticks(apart * Unit::Micrometre.ticks() * 127 / 50);
            let example = match expected {
                true => Example::Nothing,
                false => Example::Number((*example + apart).to_f64(model.unit)),
            };
            columns.push(column(format!("{name}{behind} ({unit})"), &note, example));
        }
        if ahead {
            columns.extend(range(&name, dimension, *example, expected, model.unit));
        }
    }
    consumables(model, &mut columns);
    for requirement in &model.requirements {
        let name = pump_heading(&requirement.name);
        let unit = match requirement.form {
            Form::Linear { .. } => format!(" ({unit})"),
            Form::GasketFill { .. } => String::new(),
        };
        for side in ["target", "min", "max"] {
            let note =
                format!("Only where this pump differs from the model. {}.", requirement.label);
            columns.push(column(format!("{name} {side}{unit}"), &note, Example::Nothing));
        }
    }
    columns[1].list = quoted(std::slice::from_ref(&model.name));
    let sheet = workbook.add_worksheet();
    form(
        sheet,
        "Pumps",
        "Pumps: one row a pump. Replace the example row, which is invented.",
        &columns,
        1,
    )?;
    let policy = workbook.add_worksheet();
    policy_sheet(policy)?;
    workbook.save_to_buffer()
}

/// The columns of the range that a dimension is expected in, some steps either way of its example.
fn range(
    name: &str,
    dimension: &Dimension,
    example: Length,
    expected: bool,
    unit: Unit,
) -> [Column; 2] {
    let step = usual_step(unit);
    let least = (example - step * 4).max(step);
    [("low", "Least", least), ("high", "Greatest", example + step * 4)].map(|(end, which, value)| {
        let note = format!(
            "{which} value of {} that is expected while it is not measured. `gapwright provision` plans for the range; where there is a reading, the reading counts.",
            dimension.label
        );
        let example = match expected {
            true => Example::Number(value.to_f64(unit)),
            false => Example::Nothing,
        };
        column(format!("{name} {end} ({unit})"), &note, example)
    })
}

/// The columns that say what the consumables must fit, each once however many ask for it.
fn consumables(model: &Model, columns: &mut Vec<Column>) {
    let large = model.unit.large();
    let (bore, shaft) = example_space(model.unit);
    for need in &model.consumables {
        let kind = &need.kind;
        let fit = need.fit_column.as_ref().map(|head| {
            let note = format!(
                "Fit code of the {kind} for the bag; the stock workbook says the same code."
            );
            column(head, &note, text("F1"))
        });
        let sides = need.section.iter().flat_map(|section| {
            [
                (&section.bore, bore, "Bore in which it sits"),
                (&section.shaft, shaft, "Diameter that it sits on"),
            ]
        });
        let sides = sides.map(|(key, example, what)| {
            let head = format!("{} ({})", pump_heading(key), large.symbol());
            let note = format!("{what}: the section of the {kind} is half of bore less shaft.");
            column(head, &note, Example::Number(example.to_f64(large)))
        });
        for new in fit.into_iter().chain(sides) {
            let same = |known: &Column| heading_key(&known.head) == heading_key(&new.head);
            if !columns.iter().any(same) {
                columns.push(new);
            }
        }
    }
}

/// Which columns a pump needs that runs at other temperatures than its model says.
fn growths(model: &Model) -> String {
    if model.thermals.is_empty() {
        return String::new();
    }
    let columns = model.thermals.iter().map(|thermal| {
        let name = pump_heading(&thermal.name);
        let unit = model.unit.symbol();
        format!("{name} length ({unit}), {name} cold, {name} running")
    });
    format!(
        " Its temperatures (in degrees Celsius) and the lengths that grow stand in the model; for pumps that differ add any of the columns {}.",
        columns.collect::<Vec<_>>().join(", ")
    )
}

fn policy_sheet(sheet: &mut Worksheet) -> Result<(), XlsxError> {
    let styles = Styles::new();
    sheet.set_name("Policy")?;
    sheet.set_landscape().set_paper_size(9).set_print_fit_to_pages(1, 0);
    sheet.write_text(
        0,
        0,
        "Policy: every setting with its default. Change what differs.",
        &styles.part,
    )?;
    heads(sheet, 2, &["Setting", "Value"], &styles)?;
    sheet.set_column_width(0, 30)?.set_column_width(1, 18)?;
    for (row, (setting, value)) in (3..).zip(Policy::default().settings()) {
        sheet.write_text(row, 0, setting, &styles.text)?;
        sheet.write_text(row, 1, value, &styles.entry)?;
    }
    let rules = ["worst case", "nominal", "expanded"];
    let rules = DataValidation::new().allow_list_strings(&rules)?;
    sheet.add_data_validation(3, 1, 3, 1, &rules)?;
    Ok(())
}

/// A list written into the validation itself; none where it cannot be written so: it is parted by
/// commas, and has at most 255 characters (as spreadsheet programs have it, from memory).
fn quoted(values: &[String]) -> Option<Formula> {
    let list = values.join(",").replace('"', "\"\"");
    let whole = !values.iter().any(|value| value.contains(','));
    let fits = list.encode_utf16().count() <= 255 && mended(&list) == list;
    (whole && fits).then(|| Formula::new(format!("=\"{list}\"")))
}

fn form(
    sheet: &mut Worksheet,
    name: &str,
    lead: &str,
    columns: &[Column],
    examples: usize,
) -> Result<(), XlsxError> {
    let styles = Styles::new();
    sheet.set_name(name)?;
    sheet.set_landscape().set_paper_size(9).set_print_fit_to_pages(1, 0);
    sheet.set_repeat_rows(2, 2)?;
    sheet.set_freeze_panes(3, 1)?;
    sheet.write_text(0, 0, lead, &styles.part)?;
    for (at, column) in (0..).zip(columns) {
        sheet.write_text(2, at, &column.head, &styles.head)?;
        let note = Note::new(mended_to(&column.note, 8_000))
            .set_author("gapwright")
            .add_author_prefix(false);
        sheet.insert_note(2, at, &note)?;
        for row in (FIRST_ROW..).take(examples) {
            match &column.example {
                Example::Text(text) => sheet.write_text(row, at, text, &styles.entry)?,
                Example::Number(n) => sheet.write_number_with_format(row, at, *n, &styles.entry)?,
                Example::Nothing => sheet.write_blank(row, at, &styles.entry)?,
            };
        }
        let width = u16::try_from(column.head.chars().count().clamp(9, 24)).unwrap_or(24);
        sheet.set_column_width(at, f64::from(width) + 3.0)?;
        if let Some(list) = &column.list {
            let rule = DataValidation::new().allow_list_formula(list.clone());
            sheet.add_data_validation(FIRST_ROW, at, FIRST_ROW + ROWS, at, &rule)?;
        }
    }
    sheet.set_column_width(0, 24)?;
    Ok(())
}
