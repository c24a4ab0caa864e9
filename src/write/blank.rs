//! Empty workbooks to start from: headings, units, drop-down lists, notes and example rows, which make a kit but are refused in a plan.

use std::collections::BTreeSet;

use rust_xlsxwriter::{
    DataValidation, DataValidationRule, DocProperties, ExcelDateTime, Formula, Note, Workbook,
    Worksheet, XlsxError,
};

use super::page::{Page, Written};
use super::style::Styles;
use super::table::{Cells, Value};
use crate::columns::{example as example_name, fit_heading, key as heading_key, pump_heading};
use crate::forecast::usual_step;
use crate::length::{Fine, Length, Tolerance, Unit};
use crate::model::{ConsumableNeed, Dimension, Form, Model, Side, Spread, Term};
use crate::packing::RingSpace;
use crate::plain_text::{cleaned, cleaned_to};
use crate::policy::Policy;
use crate::pump::{Growth, Measured, derived};

/// How many rows below the headings have drop-down lists.
const ROWS: u32 = 500;
/// The first row below the headings.
const FIRST_ROW: u32 = 3;

/// A column of a blank workbook: heading, note, and what its example rows hold.
struct Column {
    head: String,
    note: String,
    example: Value,
    list: Option<Formula>,
}

/// A column that is left empty in the example rows.
fn column(head: impl Into<String>, note: impl Into<String>) -> Column {
    Column { head: head.into(), note: note.into(), example: Value::Blank, list: None }
}

impl Column {
    fn example(self, example: impl Into<Value>) -> Column {
        Column { example: example.into(), ..self }
    }

    fn list(self, values: impl IntoIterator<Item = String>) -> Column {
        Column { list: quoted(values), ..self }
    }
}

/// Both blank workbooks as bytes: stock, then pumps.
///
/// # Errors
/// When a workbook cannot be put together.
pub fn workbooks(model: &Model) -> Result<(Vec<u8>, Vec<u8>), XlsxError> {
    Ok((stock(model)?, pumps(model, false)?))
}

/// Both for an outage that is not measured yet: the pumps have the columns of the ranges that
/// are expected beside those of the readings.
///
/// # Errors
/// When a workbook cannot be put together.
pub fn workbooks_ahead(model: &Model) -> Result<(Vec<u8>, Vec<u8>), XlsxError> {
    Ok((stock(model)?, pumps(model, true)?))
}

/// A blank form has no date of its own; a fixed one keeps its bytes the same.
const DATE: &str = "2026-01-01";

fn new_workbook(title: &str) -> Written<Workbook> {
    let mut workbook = Workbook::new();
    let stamp = ExcelDateTime::parse_from_str(DATE)?;
    workbook.set_properties(&DocProperties::new().set_title(title).set_creation_datetime(&stamp));
    Ok(workbook)
}

/// Example readings and an example total for each pack: what the model file says, and worked out
/// from the requirements' targets where it says nothing, so that the blank workbooks can be kitted
/// as they are.
pub(super) struct Examples {
    pub(super) dimensions: Vec<Length>,
    pub(super) packs: Vec<Length>,
}

/// Examples on the way: what is not settled yet is open.
struct Draft<'a> {
    model: &'a Model,
    dimensions: Vec<Option<Length>>,
    packs: Vec<Option<Length>>,
}

impl Examples {
    pub(super) fn of(model: &Model) -> Examples {
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
            Term::Thermal(_) | Term::Derived(_) => None,
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
    fn answer(&self, face: &Side, wanted: Term, size: Length) -> Option<Length> {
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
                Term::Derived(index) => {
                    let exact = |length: &Option<Length>| {
                        Measured::within(length.unwrap_or(size), Tolerance::default())
                    };
                    let measured: Vec<Measured> = self.dimensions.iter().map(exact).collect();
                    derived(&self.model.derived[index], &measured)?.value
                }
            };
            rest = rest - *sensitivity * length;
        }
        let ticks = rest.raw().checked_div(by)?;
        i64::try_from(ticks).ok().map(Length::from_ticks)
    }
}

fn stock(model: &Model) -> Written<Vec<u8>> {
    let mut workbook = new_workbook("Stock")?;
    let styles = Styles::new(DATE);
    let lead = "Stock: one row per lot. Write over the example rows: they are invented, and refused in a plan.";
    let columns = stock_columns(model);
    let mut page = form("Stock", lead, &columns, &styles)?;
    example_lots(&mut page, model, &columns)?;
    let counted = ON_HAND.map(|head| u16::try_from(at(&columns, head)).unwrap_or(u16::MAX));
    counts(&mut page.sheet, &counted)?;
    workbook.push_worksheet(page.sheet);
    workbook.push_worksheet(sheets(model, &styles)?);
    workbook.push_worksheet(fit(model, &styles)?);
    workbook.push_worksheet(feelers(model, &styles)?);
    workbook.save_to_buffer()
}

/// Headings of the columns of whole pieces.
const ON_HAND: [&str; 2] = ["On hand", "Reserved"];

/// Place of a column by its heading.
fn at(columns: &[Column], head: &str) -> usize {
    columns.iter().position(|column| column.head == head).unwrap_or(0)
}

/// Lets columns take whole numbers only.
fn counts(sheet: &mut Worksheet, columns: &[u16]) -> Written {
    let count = DataValidation::new()
        .allow_whole_number(DataValidationRule::GreaterThanOrEqualTo(0))
        .set_error_title("Pieces")?
        .set_error_message("A whole number of pieces, 0 or more.")?;
    for &at in columns {
        sheet.add_data_validation(FIRST_ROW, at, FIRST_ROW + ROWS, at, &count)?;
    }
    Ok(())
}

/// The columns of the sheet Stock.
fn stock_columns(model: &Model) -> [Column; 21] {
    let unit = model.unit.symbol();
    let tolerance = match model.unit {
        Unit::Millimetre => 0.005,
        Unit::Inch => 0.0002,
        Unit::Thou => 0.2,
        Unit::Micrometre => 5.0,
    };
    let kinds = model.packs.iter().map(|pack| &pack.kind);
    let kinds = kinds.chain(model.consumables.iter().map(|need| &need.kind)).cloned();
    let kinds: BTreeSet<String> = kinds.collect();
    [
        column("Item", "Stock number, once each. One row is a lot: pieces of one thickness."),
        column("Kind", "shim, gasket, or any other kind that a model asks for.").list(kinds),
        column("Fit", "The fit code that ties a piece to a place; the pump workbook has the same code.").example("F1"),
        column(format!("Thickness ({unit})"), "Of one piece: nominal, or the lot's measured mean; of a packing ring its section. A cell may have a unit of its own: 0.5 mm, 12 thou, 1/64 in."),
        column(format!("Tolerance ({unit})"), "Plus/minus on one piece, or both sides: +0/-0.02 mm. May be left empty if the model gives one for the material.").example(tolerance),
        column(format!("Uncertainty ({unit})"), "Of the measured mean, if the lot was measured: standard uncertainty, or expanded uncertainty U with its k in the next column."),
        column("k", "Coverage factor of U; empty if a standard uncertainty stands before it."),
        column("Degrees of freedom", "Of that uncertainty, where its certificate gives them."),
        column("Gauge", "Gauge that the lot was measured with, by its name on the sheet Gauges of the pump workbook."),
        column("Alike", "How much of the tolerance all pieces of the lot have in common, 0 to 100 %. Empty: not known, which is taken at its worst."),
        column("On hand", "Whole pieces in the bin.").example(10.0),
        column("Reserved", "Of those, pieces that must not be used.").example(0.0),
        column("Unit cost", "Cost of one piece, a plain number.").example(2.5),
        column("Pack qty", "Pieces in a sealed pack; empty where they come singly. It counts where the policy says that opened packs are spoiled."),
        column(format!("Peel step ({unit})"), "Of a laminated shim: the thickness of one layer. All layers but the last can be peeled off, which is waste. Empty for a solid piece."),
        column("Min level", "The level below which it should not fall; scarce pieces are spared.").example(2.0),
        column("Max level", "The level to fill up to."),
        column("Lead days", "Days from order to delivery."),
        column("Supplier", "Who sells it."),
        column("Bin", "Where it lies. The picking list walks the bins in this order: A2 before A10."),
        column("Material", "What it is made of."),
    ]
}

/// Writes an example lot for each place and each consumable.
fn example_lots(page: &mut Page<'_>, model: &Model, columns: &[Column]) -> Written {
    let (consumables, examples) = (in_stock(model), Examples::of(model));
    let bin = at(columns, "Bin");
    for (n, (pack, total)) in (1..).zip(model.packs.iter().zip(&examples.packs)) {
        let mut cells: Vec<Value> = columns.iter().map(|column| column.example.clone()).collect();
        cells[0] = example_name(&n.to_string()).into();
        cells[1] = (&pack.kind).into();
        cells[3] = total.to_f64(model.unit).into();
        cells[bin] = format!("A{n}").into();
        example(page, cells)?;
    }
    for (n, need) in (1..).zip(&consumables) {
        let mut cells: Vec<Value> = columns.iter().map(|column| column.example.clone()).collect();
        cells[0] = example_name(&(model.packs.len() + n).to_string()).into();
        cells[1] = (&need.kind).into();
        if need.fit_column.is_none() {
            cells[2] = Value::Blank;
        }
        // No more than its section is asked of a consumable.
        let mut alike = model.consumables.iter().filter(|c| c.kind == need.kind);
        let section = alike.any(|c| c.section.is_some()).then(|| {
            let (bore, shaft) = example_space(model.unit);
            let section = RingSpace::new(bore, shaft).map_or(Fine::ZERO, RingSpace::section);
            section.to_f64(model.unit)
        });
        cells[3] = section.into();
        cells[4] = Value::Blank;
        cells[at(columns, ON_HAND[0])] = (2 * need.count).max(10).into();
        cells[bin] = format!("C{n}").into();
        example(page, cells)?;
    }
    Ok(())
}

/// Writes an example row.
fn example(page: &mut Page<'_>, cells: impl IntoIterator<Item = Value>) -> Written {
    let entry = &page.styles.entry;
    page.line(cells.into_iter().map(|value| entry.of(value)))
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

fn sheets(model: &Model, styles: &Styles) -> Written<Worksheet> {
    let (unit, large) = (model.unit.symbol(), model.unit.large().symbol());
    let kinds: BTreeSet<String> = model.packs.iter().map(|pack| pack.kind.clone()).collect();
    let columns = [
        column(
            "Item",
            "Stock number, once each, and none that is on Stock. One row is a lot of plates.",
        ),
        column("Kind", "What is cut from it: shim or gasket.").list(kinds),
        column(format!("Thickness ({unit})"), "Of the plate: nominal, or the lot's measured mean."),
        column(
            format!("Tolerance ({unit})"),
            "Plus/minus on it, or both sides. May be left empty if the model gives one for the material.",
        ),
        column(format!("Length ({large})"), "One side of a plate."),
        column(format!("Width ({large})"), "The other side."),
        column("On hand", "Whole plates. A remnant is a lot of its own, with its own sides."),
        column("Reserved", "Of those, plates that must not be cut."),
        column(
            "Unit cost",
            "Cost of one plate. A piece costs the share of its ring; the rest of a plate that is cut is waste.",
        ),
        column("Bin", "Where it lies."),
        column("Material", "What it is made of."),
    ];
    let lead = "Plate: one row per lot of plates that pieces can be cut from. Leave it empty if nothing is cut.";
    let mut page = form("Plate", lead, &columns, styles)?;
    counts(&mut page.sheet, &[6, 7])?;
    Ok(page.sheet)
}

fn fit(model: &Model, styles: &Styles) -> Written<Worksheet> {
    let large = model.unit.large().symbol();
    let columns = [
        column("Fit", "The fit code of the place, once each; the pump workbook has the same code."),
        column(
            format!("Outside diameter ({large})"),
            "Of the piece. Each takes a square of this width from the plate.",
        ),
        column(format!("Inside diameter ({large})"), "Of the piece; 0 for a full disc."),
    ];
    let lead = "Fit: one row per shape that is cut from plate (sheet Plate). Leave it empty if nothing is cut.";
    Ok(form("Fit", lead, &columns, styles)?.sheet)
}

fn feelers(model: &Model, styles: &Styles) -> Written<Worksheet> {
    let unit = model.unit.symbol();
    let columns = [
        column(format!("Thickness ({unit})"), "As stamped on the blade; one row per blade."),
        column(
            format!("Tolerance ({unit})"),
            "Plus/minus on it, as the set's maker says or as measured. Never guessed.",
        ),
        column("On hand", "How many of this blade; empty means one."),
        column("Set", "Which set it belongs to, for people."),
    ];
    let lead = "Feelers: one row per blade of the feeler set. The kit slips then say which blades must go in and which must not.";
    let mut page = form("Feelers", lead, &columns, styles)?;
    counts(&mut page.sheet, &[2])?;
    Ok(page.sheet)
}

fn pumps(model: &Model, ahead: bool) -> Written<Vec<u8>> {
    let mut workbook = new_workbook("Pumps")?;
    let styles = Styles::new(DATE);
    let unit = model.unit.symbol();
    let of_model = format!(
        "A model that the program knows, or a file in the folder given with --models.{}",
        growths(model)
    );
    let mut columns = vec![
        column("Tag", "The pump's own number, once each.").example(example_name("P1")),
        column("Model", of_model).example(&model.name).list([model.name.clone()]),
        column(
            "Priority",
            "1 comes first; empty means 3. One pump of a priority outranks all of the later ones.",
        )
        .example(3.0),
        column("Due", "Orders the kit slips.").example("2027-03-15"),
        column("Location", "Copied to the slip."),
        column("Note", "Copied to the slip."),
    ];
    for pack in &model.packs {
        let note = format!("Fit code of {}: the stock workbook has the same code.", pack.label);
        columns.push(column(fit_heading(&pack.name), note).example("F1"));
    }
    let examples = Examples::of(model);
    for (dimension, example) in model.dimensions.iter().zip(&examples.dimensions) {
        let note = format!(
            "{}. For several readings repeat the column with 1, 2, 3 after the name.",
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
            let reading = (!expected).then(|| (*example + apart).to_f64(model.unit));
            let head = format!("{name}{behind} ({unit})");
            columns.push(column(head, &note).example(reading));
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
            columns.push(column(format!("{name} {side}{unit}"), note));
        }
    }
    let lead = "Pumps: one row per pump. Write over the example row: it is invented, and refused in a plan.";
    let mut page = form("Pumps", lead, &columns, &styles)?;
    example(&mut page, columns.iter().map(|column| column.example.clone()))?;
    workbook.push_worksheet(page.sheet);
    workbook.push_worksheet(gauges(model, &styles)?);
    workbook.push_worksheet(policy_sheet(&styles)?);
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
        let example = expected.then(|| value.to_f64(unit));
        column(format!("{name} {end} ({unit})"), note).example(example)
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
                "Fit code of the {kind} for the bag; the stock workbook has the same code."
            );
            column(head, note).example("F1")
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
            column(head, note).example(example.to_f64(large))
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
        " Its temperatures (in degrees Celsius) and the lengths that grow are in the model; for pumps that differ add any of the columns {}.",
        columns.collect::<Vec<_>>().join(", ")
    )
}

fn gauges(model: &Model, styles: &Styles) -> Written<Worksheet> {
    let units = ["in", "mm", "thou", "um"].map(String::from);
    let columns = [
        column("Gauge", "Name by which models, lots and readings refer to it; once each."),
        column("Unit", format!("Unit of the uncertainties of this row, such as {}.", model.unit))
            .list(units),
        column("U", "Expanded uncertainty, as its certificate gives it."),
        column("k", "Coverage factor of U, from the certificate."),
        column("Standard uncertainty", "In the place of U and k, where that is what is known."),
        column("Degrees of freedom", "Of the uncertainty, where the certificate gives them."),
        column("Certificate", "Number of the certificate; printed beside what the gauge measured."),
        column("Due", "Date of the next calibration; past it the gauge is warned of."),
    ];
    let lead = "Gauges: one row per gauge. What is measured with one gauge shares its error; a pump, a lot or a reading names it.";
    Ok(form("Gauges", lead, &columns, styles)?.sheet)
}

fn policy_sheet(styles: &Styles) -> Written<Worksheet> {
    let mut page =
        bare("Policy", "Policy: every setting with its default. Change what differs.", styles)?;
    page.widths(&[30.0, 18.0])?;
    page.heads(&["Setting", "Value"])?;
    for setting in Policy::default().settings() {
        page.line([styles.text.of(setting.name), styles.entry.of(setting.value)])?;
    }
    let rules = ["worst case", "nominal", "expanded"];
    let rules = DataValidation::new().allow_list_strings(&rules)?;
    page.sheet.add_data_validation(FIRST_ROW, 1, FIRST_ROW, 1, &rules)?;
    Ok(page.sheet)
}

/// A list written into the validation itself; none where it cannot be written so: it is parted by
/// commas, and has at most 255 characters (as spreadsheet programs have it, from memory).
fn quoted(values: impl IntoIterator<Item = String>) -> Option<Formula> {
    let values: Vec<String> = values.into_iter().collect();
    let list = values.join(",").replace('"', "\"\"");
    let whole = !values.iter().any(|value| value.contains(','));
    let fits = list.encode_utf16().count() <= 255 && cleaned(&list) == list;
    (whole && fits).then(|| Formula::new(format!("=\"{list}\"")))
}

/// A sheet to fill in, with what it is for; its headings are next.
fn bare<'s>(name: &str, lead: &str, styles: &'s Styles) -> Written<Page<'s>> {
    let mut page = Page { sheet: Worksheet::new(), styles, row: 0, last: 0 };
    page.sheet.set_name(name)?.set_landscape().set_paper_size(9).set_print_fit_to_pages(1, 0);
    page.part(lead)?;
    page.row = FIRST_ROW - 1;
    Ok(page)
}

/// A form of columns, without a row yet.
fn form<'s>(name: &str, lead: &str, columns: &[Column], styles: &'s Styles) -> Written<Page<'s>> {
    let mut page = bare(name, lead, styles)?;
    page.repeat()?;
    page.sheet.set_freeze_panes(FIRST_ROW, 1)?;
    for (at, column) in (0..).zip(columns) {
        let note = Note::new(cleaned_to(&column.note, 8_000));
        let note = note.set_author("gapwright").add_author_prefix(false);
        page.sheet.insert_note(page.row, at, &note)?;
        let width = u16::try_from(column.head.chars().count().clamp(9, 24)).unwrap_or(24);
        page.sheet.set_column_width(at, if at == 0 { 24.0 } else { f64::from(width) + 3.0 })?;
        if let Some(list) = &column.list {
            let rule = DataValidation::new().allow_list_formula(list.clone());
            page.sheet.add_data_validation(FIRST_ROW, at, FIRST_ROW + ROWS, at, &rule)?;
        }
    }
    page.line(columns.iter().map(|column| styles.head.of(&column.head)))?;
    Ok(page)
}
