//! A fleet as the files of a shop: a stock workbook, a pump workbook, model files.

use std::fmt::Write;
use std::fs;
use std::path::{Path, PathBuf};

use gapwright::job::Job;
use gapwright::length::{Length, Unit};
use gapwright::model::{Form, Model, Term};
use gapwright::policy::Acceptance;
use rust_xlsxwriter::{Workbook, Worksheet, XlsxError};

/// Paths of the files of a case.
pub struct Files {
    pub stock: PathBuf,
    pub pumps: PathBuf,
    pub models: PathBuf,
    pub plan: PathBuf,
    pub json: PathBuf,
    /// Output of the program.
    pub told: PathBuf,
}

impl Files {
    pub fn within(folder: &Path) -> Files {
        let at = |name: &str| folder.join(name);
        Files {
            stock: at("stock.xlsx"),
            pumps: at("pumps.xlsx"),
            models: at("models"),
            plan: at("kit-plan.xlsx"),
            json: at("kit-plan.json"),
            told: at("told.txt"),
        }
    }

    /// Writes the inputs. The fleet's models need equal dimensions and packs, its lots symmetric tolerances, its
    /// pumps the limits of their models.
    pub fn write(&self, job: &Job) -> Result<(), XlsxError> {
        fs::create_dir_all(&self.models)?;
        for (number, model) in job.models.iter().enumerate() {
            let text = toml(job, number, model);
            fs::write(self.models.join(format!("{}.toml", model.name)), text)?;
        }
        stock(job)?.save(&self.stock)?;
        pumps(job)?.save(&self.pumps)
    }
}

/// A length as a plain number of a unit.
#[allow(clippy::cast_precision_loss)]
fn plain(length: Length, unit: Unit) -> f64 {
    length.ticks() as f64 / unit.ticks() as f64
}

fn unit_name(unit: Unit) -> &'static str {
    if unit == Unit::Millimetre { "mm" } else { "in" }
}

/// `bare_clearance` becomes the heading `Bare clearance`.
fn heading(name: &str) -> String {
    let (first, rest) = name.split_at(1);
    format!("{}{}", first.to_uppercase(), rest.replace('_', " "))
}

fn stock(job: &Job) -> Result<Workbook, XlsxError> {
    let unit = job.models[0].unit;
    let mut workbook = Workbook::new();
    let sheet = workbook.add_worksheet().set_name("Stock")?;
    let length = |name: &str| format!("{name} ({})", unit_name(unit));
    let headings = [
        "Item".into(),
        "Kind".into(),
        "Fit".into(),
        length("Thickness"),
        length("Tolerance"),
        "On hand".into(),
        "Unit cost".into(),
        "Min level".into(),
        length("Peel step"),
    ];
    sheet.write_row(0, 0, headings)?;
    for (row, item) in (1..).zip(&job.stock) {
        let size = item.size.expect("a lot of pieces");
        sheet.write_row(row, 0, [item.item.as_str(), &item.kind, item.fit.as_str()])?;
        sheet.write_number(row, 3, plain(size.thickness, unit))?;
        sheet.write_number(row, 4, plain(size.tolerance.plus, unit))?;
        sheet.write_number(row, 5, item.on_hand)?;
        sheet.write_number(row, 6, item.unit_cost.raw() as f64 / 1e6)?;
        sheet.write_number(row, 7, item.min_level)?;
        if let Some(step) = item.peel_step {
            sheet.write_number(row, 8, plain(step, unit))?;
        }
    }
    Ok(workbook)
}

fn pumps(job: &Job) -> Result<Workbook, XlsxError> {
    let model = &job.models[0];
    let mut workbook = Workbook::new();
    let sheet: &mut Worksheet = workbook.add_worksheet().set_name("Pumps")?;
    let fits = model.packs.iter();
    let fits = fits.map(|pack| format!("{} fit", heading(&pack.name)));
    let lengths = model.dimensions.iter();
    let lengths = lengths.map(|d| format!("{} ({})", heading(&d.name), unit_name(model.unit)));
    let usual = ["Tag", "Model", "Priority"].map(String::from);
    sheet.write_row(0, 0, usual.into_iter().chain(fits).chain(lengths))?;
    for (row, pump) in (1..).zip(&job.pumps) {
        sheet.write_row(row, 0, [&pump.tag, &job.models[pump.model].name])?;
        sheet.write_number(row, 2, pump.priority)?;
        let mut column = 3;
        for fit in &pump.fits {
            sheet.write_string(row, column, fit.as_str())?;
            column += 1;
        }
        for measured in &pump.dimensions {
            sheet.write_number(row, column, plain(measured.value, model.unit))?;
            column += 1;
        }
    }
    let nominal = job.policy.acceptance == Acceptance::Nominal;
    let policy = workbook.add_worksheet().set_name("Policy")?;
    let acceptance = if nominal { "nominal" } else { "worst case" };
    policy.write_row(0, 0, ["Setting", "Value"])?;
    policy.write_row(1, 0, ["Acceptance", acceptance])?;
    Ok(workbook)
}

/// A model file. Its dimensions have the uncertainty of its first pump.
fn toml(job: &Job, number: usize, model: &Model) -> String {
    let mut text = format!("title = \"{}\"\nunit = \"{}\"\n", model.title, unit_name(model.unit));
    let pump = job.pumps.iter().find(|pump| pump.model == number);
    let pump = pump.unwrap_or(&job.pumps[0]);
    for (dimension, measured) in model.dimensions.iter().zip(&pump.dimensions) {
        let within = plain(measured.tolerance.plus, model.unit);
        let (name, label) = (&dimension.name, heading(&dimension.name));
        let _ = write!(text, "\n[dimension.{name}]\nlabel = \"{label}\"\nplus_minus = {within}\n");
    }
    for pack in &model.packs {
        let _ = write!(
            text,
            "\n[pack.{}]\nlabel = \"{}\"\nkind = \"{}\"\nleast_pieces = {}\nmost_pieces = {}\n",
            pack.name,
            heading(&pack.name),
            pack.kind,
            pack.least_pieces,
            pack.most_pieces
        );
    }
    let name = |term: Term| match term {
        Term::Dimension(d) => &model.dimensions[d].name,
        Term::Pack(p) => &model.packs[p].name,
        Term::Thermal(t) => &model.thermals[t].name,
        Term::Derived(d) => &model.derived[d].name,
    };
    for requirement in &model.requirements {
        let (own, label) = (&requirement.name, &requirement.label);
        let _ = write!(text, "\n[requirement.{own}]\nlabel = \"{label}\"\n");
        let length = |length: Length| plain(length, model.unit);
        let (key, terms, aim, target, limits) = match &requirement.form {
            Form::Linear { terms, target, lower, upper } => (
                "terms",
                terms,
                "target",
                length(*target),
                [*lower, *upper].map(|end| length(end.unwrap())),
            ),
            Form::GasketFill { gasket, gap, target, lower, upper } => {
                let part = |millionths: i64| millionths as f64 / 1e6;
                let pack = &model.packs[*gasket].name;
                let _ = writeln!(text, "gasket = \"{pack}\"");
                let limits = [lower.raw(), upper.unwrap().raw()].map(part);
                ("gap", gap, "allowance", part(target.raw()), limits)
            }
        };
        let terms = terms.iter().map(|(term, c)| format!("{} = {c}", name(*term)));
        let terms = terms.collect::<Vec<_>>().join(", ");
        let [lower, upper] = limits;
        let _ =
            write!(text, "{key} = {{ {terms} }}\n{aim} = {target}\nlimits = [{lower}, {upper}]\n");
    }
    text
}
