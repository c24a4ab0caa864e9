//! Reads model files (TOML), each problem with its line and column.

use std::collections::BTreeMap;
use std::fs;
use std::ops::Range;
use std::path::Path;

use serde::Deserialize;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::stock::STACKED;
use crate::decimal::Millionths;
use crate::length::{Length, LengthError, Tolerance, Unit};
use crate::model::{
    Caution, ConsumableNeed, Dimension, Form, Material, Model, Pack, Requirement, SectionColumns,
    Shape, Spread, Term, Terms,
};
use crate::problem::{Place, Problem, Problems, Spot, mend_name};

/// The models that come with the program: name and text.
pub const BUILT_IN: [(&str, &str); 2] = [
    (
        "screwed-impeller",
        include_str!("../../models/screwed-impeller.toml"),
    ),
    (
        "front-set-metric",
        include_str!("../../models/front-set-metric.toml"),
    ),
];

/// The most pieces of one consumable that a bag may ask for; more is a slip of the keyboard.
const MOST_IN_A_BAG: u32 = 1_000;

/// Where models are found: the folder that was given, then the built-in ones.
pub struct Library {
    /// Name to file and text; a folder's file outranks a built-in one of the same name.
    texts: BTreeMap<String, (String, String)>,
}

impl Library {
    /// Opens the folder, if one was given.
    pub fn open(folder: Option<&Path>, problems: &mut Problems) -> Library {
        let mut texts: BTreeMap<String, (String, String)> = BUILT_IN
            .iter()
            .map(|(name, text)| {
                (
                    name.to_string(),
                    (format!("built-in {name}.toml"), text.to_string()),
                )
            })
            .collect();
        let Some(folder) = folder else {
            return Library { texts };
        };
        let trouble = |path: &Path, error: &dyn std::fmt::Display| {
            Problem::new(
                Place::file(&path.display().to_string()),
                format!("what cannot be read ({error})"),
                "a folder of model files (.toml, UTF-8)",
                "check the path given with --models",
            )
        };
        match fs::read_dir(folder) {
            Err(error) => problems.add(trouble(folder, &error)),
            Ok(entries) => {
                for path in entries.filter_map(|entry| Some(entry.ok()?.path())) {
                    let Some(name) = path.file_stem().map(|s| s.to_string_lossy().into_owned())
                    else {
                        continue;
                    };
                    if path.extension().is_none_or(|e| e != "toml") {
                        continue;
                    }
                    match fs::read_to_string(&path) {
                        Ok(text) => {
                            texts.insert(name, (path.display().to_string(), text));
                        }
                        Err(error) => problems.add(trouble(&path, &error)),
                    }
                }
            }
        }
        Library { texts }
    }

    /// The names, sorted.
    pub fn names(&self) -> Vec<String> {
        self.texts.keys().cloned().collect()
    }

    /// The name as its file has it, whatever the case it was typed in.
    pub fn exact(&self, name: &str) -> String {
        let found = self
            .texts
            .keys()
            .find(|known| known.to_lowercase() == name.to_lowercase());
        found.cloned().unwrap_or_else(|| name.to_string())
    }

    /// Whether a model of this name exists, whole or not.
    pub fn knows(&self, name: &str) -> bool {
        self.texts.contains_key(name)
    }

    /// The problem of a name that no model has.
    pub fn unknown(&self, name: &str, place: Place) -> Problem {
        let names = self.names();
        let known = names.iter().map(String::as_str);
        Problem::new(
            place,
            format!("the model `{name}`, which is not known"),
            format!("one of {}", names.join(", ")),
            mend_name(
                name,
                known,
                "add its file to the folder given with --models",
            ),
        )
    }

    /// The file of a model.
    pub fn source_of(&self, name: &str) -> String {
        self.texts
            .get(name)
            .map(|(file, _)| file.clone())
            .unwrap_or_default()
    }

    /// Reads a model; problems inside it are added once however often it is asked for.
    pub fn find(&self, name: &str, problems: &mut Problems) -> Option<Model> {
        let (file, text) = self.texts.get(name)?;
        match parse(name, file, text) {
            Ok(model) => Some(model),
            Err(found) => {
                problems.absorb(found);
                None
            }
        }
    }
}

/// The keys of a model file, and those of the tables below them.
const KEYS: [(&str, &[&str]); 9] = [
    ("title", &[]),
    ("unit", &[]),
    (
        "dimension",
        &[
            "label",
            "plus_minus",
            "plus",
            "minus",
            "standard_uncertainty",
            "shape",
        ],
    ),
    ("pack", &["label", "kind", "least_pieces", "most_pieces"]),
    (
        "requirement",
        &[
            "label",
            "terms",
            "target",
            "gasket",
            "gap",
            "allowance",
            "limits",
        ],
    ),
    ("material", &["plus_minus"]),
    ("consumable", &["kind", "fit_column", "section", "count"]),
    ("caution", &["when", "text"]),
    ("thermal", &[]),
];

#[derive(Deserialize)]
struct ModelFile {
    title: String,
    unit: Spanned<String>,
    #[serde(default)]
    dimension: BTreeMap<String, Spanned<DimensionFile>>,
    #[serde(default)]
    pack: BTreeMap<String, Spanned<PackFile>>,
    #[serde(default)]
    requirement: BTreeMap<String, Spanned<RequirementFile>>,
    #[serde(default)]
    consumable: Vec<Spanned<ConsumableFile>>,
    #[serde(default)]
    caution: Vec<CautionFile>,
    #[serde(default)]
    material: BTreeMap<String, Spanned<MaterialFile>>,
    /// Thermal terms have their place in the format, but a model that needs them must not be
    /// worked without them.
    thermal: Option<Spanned<toml::Value>>,
}

#[derive(Deserialize)]
struct DimensionFile {
    label: Option<String>,
    plus_minus: Option<Spanned<Quantity>>,
    plus: Option<Spanned<Quantity>>,
    minus: Option<Spanned<Quantity>>,
    standard_uncertainty: Option<Spanned<Quantity>>,
    shape: Option<Spanned<String>>,
}

#[derive(Deserialize)]
struct PackFile {
    label: Option<String>,
    kind: Spanned<String>,
    least_pieces: Option<u32>,
    most_pieces: Spanned<u32>,
}

#[derive(Deserialize)]
struct RequirementFile {
    label: Option<String>,
    terms: Option<BTreeMap<String, Spanned<Quantity>>>,
    target: Option<Spanned<Quantity>>,
    gasket: Option<Spanned<String>>,
    gap: Option<BTreeMap<String, Spanned<Quantity>>>,
    allowance: Option<Spanned<Quantity>>,
    limits: Spanned<Vec<Spanned<Quantity>>>,
}

#[derive(Deserialize)]
struct ConsumableFile {
    kind: Spanned<String>,
    fit_column: Option<Spanned<String>>,
    section: Option<Spanned<BTreeMap<String, Spanned<String>>>>,
    count: Spanned<u32>,
}

#[derive(Deserialize)]
struct CautionFile {
    when: String,
    text: String,
}

#[derive(Deserialize)]
struct MaterialFile {
    plus_minus: Spanned<Quantity>,
}

/// A number in the model's unit, or a text with a unit of its own.
#[derive(Deserialize, Clone)]
#[serde(untagged)]
enum Quantity {
    Whole(i64),
    Number(f64),
    Text(String),
}

impl Quantity {
    fn show(&self) -> String {
        match self {
            Quantity::Whole(n) => n.to_string(),
            Quantity::Number(n) => n.to_string(),
            Quantity::Text(text) => text.clone(),
        }
    }

    fn length(&self, unit: Unit) -> Result<Length, LengthError> {
        match self {
            Quantity::Whole(n) => Length::parse(&n.to_string(), Some(unit)),
            Quantity::Number(n) => Length::from_number(*n, unit),
            Quantity::Text(text) => Length::parse(text, Some(unit)),
        }
    }

    fn tolerance(&self, unit: Unit) -> Result<Tolerance, LengthError> {
        match self {
            Quantity::Text(text) => Tolerance::parse(text, Some(unit)),
            number => match number.length(unit)? {
                both if both < Length::ZERO => Err(LengthError::NotANumber),
                both => Ok(Tolerance::even(both)),
            },
        }
    }

    fn number(&self) -> Option<Millionths> {
        match self {
            Quantity::Whole(n) => Millionths::parse(&n.to_string()),
            Quantity::Number(n) => Millionths::from_number(*n),
            Quantity::Text(text) => Millionths::parse(text),
        }
    }
}

/// Reads the text of a model file; `file` is what problems call it.
///
/// # Errors
/// Every problem in it, with line and column.
///
/// ```
/// let problems = gapwright::read::parse_model("m", "m.toml", "title = 3").unwrap_err();
/// assert!(problems.sorted()[0].to_string().starts_with("m.toml, line 1"));
/// ```
pub fn parse(name: &str, file: &str, text: &str) -> Result<Model, Problems> {
    let mut reader = Reader {
        file,
        text,
        problems: Problems::new(),
    };
    reader.unknown_keys();
    let model = match toml::from_str::<ModelFile>(text) {
        Ok(raw) => reader.model(name, raw),
        Err(error) => {
            let span = error.span().unwrap_or(0..0);
            let wrong = error.message().trim().replace('\n', " ");
            reader.add(
                &span,
                wrong,
                "a model file as DEVELOPERS.md describes it",
                "correct it; compare with the models that come with the program",
            );
            None
        }
    };
    reader.problems.settle(model).map(|(model, _)| model)
}

struct Reader<'a> {
    file: &'a str,
    text: &'a str,
    problems: Problems,
}

impl Reader<'_> {
    fn add(
        &mut self,
        span: &Range<usize>,
        found: impl Into<String>,
        expected: impl Into<String>,
        mend: impl Into<String>,
    ) {
        let before = &self.text[..span.start.min(self.text.len())];
        let line = before.matches('\n').count() + 1;
        let column = before.chars().rev().take_while(|&c| c != '\n').count() + 1;
        let place = Place {
            file: self.file.to_string(),
            spot: Spot::Text { line, column },
        };
        self.problems
            .add(Problem::new(place, found, expected, mend));
    }

    /// Complains of every key that a model file does not have.
    fn unknown_keys(&mut self) {
        // A text that is no TOML is complained of when it is read.
        let Ok(file) = DeTable::parse(self.text) else {
            return;
        };
        for (key, value) in file.get_ref() {
            let name: &str = key.get_ref();
            self.key(name, &key.span(), &KEYS.map(|(key, _)| key));
            let Some((_, keys)) = KEYS
                .iter()
                .find(|(key, keys)| *key == name && !keys.is_empty())
            else {
                continue;
            };
            let tables: Vec<&DeTable<'_>> = match value.get_ref() {
                DeValue::Table(named) => named
                    .values()
                    .filter_map(|table| table.get_ref().as_table())
                    .collect(),
                DeValue::Array(list) => list
                    .iter()
                    .filter_map(|table| table.get_ref().as_table())
                    .collect(),
                _ => Vec::new(),
            };
            for key in tables.into_iter().flat_map(|table| table.keys()) {
                self.key(key.get_ref(), &key.span(), keys);
            }
        }
    }

    fn key(&mut self, name: &str, span: &Range<usize>, known: &[&str]) {
        if known.contains(&name) {
            return;
        }
        let mend = mend_name(name, known.iter().copied(), "remove it");
        let found = format!("the key `{name}`, which is not known here");
        self.add(span, found, format!("one of {}", known.join(", ")), mend);
    }

    fn length(&mut self, quantity: &Spanned<Quantity>, unit: Unit) -> Option<Length> {
        let read = quantity.get_ref().length(unit);
        self.taken(quantity, read, "a length such as 0.021 or \"0.5 mm\"")
    }

    fn tolerance(&mut self, quantity: &Spanned<Quantity>, unit: Unit) -> Option<Tolerance> {
        let read = quantity.get_ref().tolerance(unit);
        self.taken(quantity, read, "a plus/minus that is not negative")
    }

    fn taken<T>(
        &mut self,
        quantity: &Spanned<Quantity>,
        read: Result<T, LengthError>,
        expected: &str,
    ) -> Option<T> {
        match read {
            Ok(value) => Some(value),
            Err(error) => {
                let found = format!("`{}`: {error}", quantity.get_ref().show());
                self.add(&quantity.span(), found, expected, "correct the value");
                None
            }
        }
    }

    fn number(&mut self, quantity: &Spanned<Quantity>) -> Option<Millionths> {
        let number = quantity.get_ref().number();
        if number.is_none() {
            let found = format!("`{}`", quantity.get_ref().show());
            self.add(
                &quantity.span(),
                found,
                "a number with at most six places",
                "correct the value",
            );
        }
        number
    }

    fn model(&mut self, name: &str, raw: ModelFile) -> Option<Model> {
        if let Some(thermal) = &raw.thermal {
            self.add(
                &thermal.span(),
                "thermal terms",
                "a model without them",
                "this version does not work with thermal terms; state the target cold, or wait for one that does",
            );
        }
        let unit = Unit::parse(raw.unit.get_ref());
        if unit.is_none() {
            let found = format!("the unit `{}`", raw.unit.get_ref());
            self.add(
                &raw.unit.span(),
                found,
                "in, thou, mm or um",
                "correct the unit",
            );
        }
        let unit = unit?;
        let dimensions: Vec<Option<Dimension>> = in_file_order(raw.dimension)
            .into_iter()
            .map(|(name, span, raw)| self.dimension(name, &span, raw, unit))
            .collect();
        let packs: Vec<Option<Pack>> = in_file_order(raw.pack)
            .into_iter()
            .map(|(name, span, raw)| self.pack(name, &span, raw))
            .collect();
        let materials: Vec<Option<Material>> = in_file_order(raw.material)
            .into_iter()
            .map(|(name, _, raw)| {
                Some(Material {
                    name,
                    tolerance: self.tolerance(&raw.plus_minus, unit)?,
                })
            })
            .collect();
        let consumables: Vec<Option<ConsumableNeed>> = raw
            .consumable
            .into_iter()
            .map(|raw| self.consumable(raw.into_inner()))
            .collect();
        let dimensions: Vec<Dimension> = dimensions.into_iter().collect::<Option<_>>()?;
        let packs: Vec<Pack> = packs.into_iter().collect::<Option<_>>()?;
        for pack in &packs {
            if dimensions.iter().any(|d| d.name == pack.name) {
                let found = format!("`{}` both as a dimension and as a pack", pack.name);
                self.add(
                    &raw.unit.span(),
                    found,
                    "a name for each",
                    "rename one of them",
                );
            }
        }
        let names = Names {
            dimensions: &dimensions,
            packs: &packs,
        };
        let requirements: Vec<Option<Requirement>> = in_file_order(raw.requirement)
            .into_iter()
            .map(|(name, span, raw)| self.requirement(name, &span, raw, unit, &names))
            .collect();
        let whole = self.text.len()..self.text.len();
        if packs.is_empty() {
            self.add(
                &whole,
                "no [pack]",
                "at least one place for pieces",
                "add a [pack.name]",
            );
        }
        if requirements.is_empty() {
            self.add(
                &whole,
                "no [requirement]",
                "at least one requirement",
                "add a [requirement.name]",
            );
        }
        let requirements: Vec<Requirement> = requirements.into_iter().collect::<Option<_>>()?;
        for (index, pack) in packs.iter().enumerate() {
            if !requirements.is_empty() && !requirements.iter().any(|r| r.form.involves(index)) {
                let found = format!("the pack `{}`, which no requirement asks for", pack.name);
                self.add(
                    &whole,
                    found,
                    "each pack in a requirement",
                    "name it in one, or remove it",
                );
            }
        }
        Some(Model {
            name: name.to_string(),
            title: raw.title,
            unit,
            dimensions,
            packs,
            requirements,
            consumables: consumables.into_iter().collect::<Option<_>>()?,
            materials: materials.into_iter().collect::<Option<_>>()?,
            cautions: raw
                .caution
                .into_iter()
                .map(|c| Caution {
                    when: c.when,
                    text: c.text,
                })
                .collect(),
            sha256: super::sha256(self.text.as_bytes()),
        })
    }

    fn dimension(
        &mut self,
        name: String,
        span: &Range<usize>,
        raw: DimensionFile,
        unit: Unit,
    ) -> Option<Dimension> {
        let shape = match raw.shape.as_ref().map(|s| s.get_ref().as_str()) {
            None | Some("rectangular") => Some(Shape::Rectangular),
            Some("normal") => Some(Shape::Normal),
            Some("triangular") => Some(Shape::Triangular),
            Some("u-shaped") => Some(Shape::UShaped),
            Some(other) => {
                let found = format!("the shape `{other}`");
                let at = raw.shape.as_ref().map_or(span.clone(), Spanned::span);
                self.add(
                    &at,
                    found,
                    "rectangular, normal, triangular or u-shaped",
                    "correct the shape",
                );
                None
            }
        };
        let from_readings = |q: &Spanned<Quantity>| matches!(q.get_ref(), Quantity::Text(text) if text.trim() == "from readings");
        let spread = match (
            &raw.plus_minus,
            &raw.plus,
            &raw.minus,
            &raw.standard_uncertainty,
        ) {
            (Some(q), None, None, None) if from_readings(q) => Some(Spread::FromReadings),
            (Some(q), None, None, None) => self.tolerance(q, unit).map(Spread::Within),
            (None, Some(plus), Some(minus), None) => {
                let (plus, minus) = (self.tolerance(plus, unit), self.tolerance(minus, unit));
                plus.zip(minus).map(|(p, m)| {
                    Spread::Within(Tolerance {
                        plus: p.plus,
                        minus: m.minus,
                    })
                })
            }
            (None, None, None, Some(u)) => self
                .tolerance(u, unit)
                .map(|u| Spread::StandardUncertainty(u.plus)),
            _ => {
                self.add(
                    span,
                    format!("no single statement of how well `{name}` is known"),
                    "plus_minus, or plus and minus, or standard_uncertainty, or plus_minus = \"from readings\"",
                    "state one of them",
                );
                None
            }
        };
        let label = raw.label.unwrap_or_else(|| super::pumps::heading(&name));
        Some(Dimension {
            name,
            label,
            spread: spread?,
            shape: shape?,
        })
    }

    fn pack(&mut self, name: String, span: &Range<usize>, raw: PackFile) -> Option<Pack> {
        let kind = raw.kind.get_ref().to_lowercase();
        if !["shim", "gasket"].contains(&kind.as_str()) {
            let found = format!("the kind `{kind}`");
            self.add(
                &raw.kind.span(),
                found,
                "shim or gasket",
                "correct the kind",
            );
        }
        // A gasket place is never left empty; a place for shims may be.
        let least_pieces = raw.least_pieces.unwrap_or(u32::from(kind == "gasket"));
        let most_pieces = *raw.most_pieces.get_ref();
        if most_pieces == 0 || most_pieces > 12 || least_pieces > most_pieces {
            let found = format!("{least_pieces} to {most_pieces} pieces");
            self.add(
                span,
                found,
                "1 to 12 pieces at most, and no more at least than at most",
                "correct the numbers",
            );
        }
        let label = raw.label.unwrap_or_else(|| super::pumps::heading(&name));
        Some(Pack {
            name,
            label,
            kind,
            least_pieces,
            most_pieces,
        })
    }

    fn consumable(&mut self, raw: ConsumableFile) -> Option<ConsumableNeed> {
        let kind = self.filled(&raw.kind).map(|kind| kind.to_lowercase());
        if let Some(kind) = kind.as_ref().filter(|k| STACKED.contains(&k.as_str())) {
            self.add(
                &raw.kind.span(),
                format!("a {kind} as a consumable"),
                "a kind that is not stacked: packing ring, lantern ring ...",
                "give it a place of its own, a [pack.name]",
            );
        }
        let count = *raw.count.get_ref();
        if !(1..=MOST_IN_A_BAG).contains(&count) {
            let expected = format!("a whole number from 1 to {MOST_IN_A_BAG}");
            let mend = "correct the number, or remove the consumable";
            self.add(
                &raw.count.span(),
                format!("{count} in a bag"),
                expected,
                mend,
            );
        }
        let fit_column = raw.fit_column.as_ref().map(|column| self.filled(column));
        let section = raw.section.as_ref().map(|section| self.section(section));
        Some(ConsumableNeed {
            kind: kind?,
            fit_column: fit_column.map_or(Some(None), |column| column.map(Some))?,
            section: section.map_or(Some(None), |section| section.map(Some))?,
            count,
        })
    }

    /// The two columns that a section follows from.
    fn section(
        &mut self,
        raw: &Spanned<BTreeMap<String, Spanned<String>>>,
    ) -> Option<SectionColumns> {
        const SIDES: [&str; 2] = ["bore", "shaft"];
        for (name, column) in raw.get_ref() {
            self.key(name, &column.span(), &SIDES);
        }
        let [bore, shaft] = SIDES.map(|side| match raw.get_ref().get(side) {
            Some(column) => self.filled(column),
            None => {
                self.add(
                    &raw.span(),
                    format!("a section without `{side}`"),
                    "section = { bore = \"box_bore\", shaft = \"sleeve_diameter\" }",
                    "name the pump sheet's column of each of the two diameters",
                );
                None
            }
        });
        Some(SectionColumns {
            bore: bore?,
            shaft: shaft?,
        })
    }

    /// A text with a letter or a digit in it.
    fn filled(&mut self, text: &Spanned<String>) -> Option<String> {
        let inner = text.get_ref().trim();
        if inner.contains(char::is_alphanumeric) {
            return Some(inner.to_string());
        }
        let found = format!("`{inner}`");
        self.add(&text.span(), found, "a name", "fill it in, or remove it");
        None
    }

    fn requirement(
        &mut self,
        name: String,
        span: &Range<usize>,
        raw: RequirementFile,
        unit: Unit,
        names: &Names<'_>,
    ) -> Option<Requirement> {
        let label = raw
            .label
            .clone()
            .unwrap_or_else(|| super::pumps::heading(&name));
        let [low, high] = raw.limits.get_ref().as_slice() else {
            self.add(
                &raw.limits.span(),
                "limits that are not two",
                "[lower, upper]",
                "give both limits",
            );
            return None;
        };
        let form = match (
            &raw.terms,
            &raw.target,
            &raw.gasket,
            &raw.gap,
            &raw.allowance,
        ) {
            (Some(terms), Some(target), None, None, None) => {
                let terms = self.terms(terms, names);
                let target = self.length(target, unit);
                let (lower, upper) = (self.length(low, unit), self.length(high, unit));
                Form::Linear {
                    terms: terms?,
                    target: target?,
                    lower: lower?,
                    upper: upper?,
                }
            }
            (None, None, Some(gasket), Some(gap), Some(allowance)) => {
                let index = names.packs.iter().position(|p| p.name == *gasket.get_ref());
                if index.is_none() {
                    self.unknown(&gasket.span(), gasket.get_ref(), names);
                }
                let gap = self.terms(gap, names);
                let target = self.number(allowance);
                let (lower, upper) = (self.number(low), self.number(high));
                Form::GasketFill {
                    gasket: index?,
                    gap: gap?,
                    target: target?,
                    lower: lower?,
                    upper: upper?,
                }
            }
            _ => {
                self.add(
                    span,
                    format!("the requirement `{name}` in neither of its two forms"),
                    "terms, target and limits; or gasket, gap, allowance and limits",
                    "state one form whole",
                );
                return None;
            }
        };
        if let Form::GasketFill { gasket, gap, .. } = &form
            && gap.iter().any(|(term, _)| *term == Term::Pack(*gasket))
        {
            self.add(
                span,
                "a gasket in its own gap",
                "a gap of other terms",
                "take it out of the gap",
            );
            return None;
        }
        if let Err(wrong) = form.check() {
            self.add(
                &raw.limits.span(),
                wrong,
                "lower <= target <= upper",
                "correct target and limits",
            );
            return None;
        }
        Some(Requirement { name, label, form })
    }

    fn terms(
        &mut self,
        raw: &BTreeMap<String, Spanned<Quantity>>,
        names: &Names<'_>,
    ) -> Option<Terms> {
        let mut in_order: Vec<_> = raw.iter().collect();
        in_order.sort_by_key(|(_, q)| q.span().start);
        let terms: Vec<Option<(Term, Millionths)>> = in_order
            .into_iter()
            .map(|(name, sensitivity)| {
                let dimension = names.dimensions.iter().position(|d| d.name == *name);
                let pack = names.packs.iter().position(|p| p.name == *name);
                let term = dimension.map(Term::Dimension).or(pack.map(Term::Pack));
                if term.is_none() {
                    self.unknown(&sensitivity.span(), name, names);
                }
                let number = self.number(sensitivity);
                if number.is_some_and(|c| c.raw().abs() > 10_000_000) {
                    let found = format!("the sensitivity {}", sensitivity.get_ref().show());
                    let mend = "correct it; a sensitivity is 1 or -1 in most arrangements";
                    self.add(&sensitivity.span(), found, "a number from -10 to 10", mend);
                    return None;
                }
                Some((term?, number?))
            })
            .collect();
        terms.into_iter().collect()
    }

    fn unknown(&mut self, span: &Range<usize>, name: &str, names: &Names<'_>) {
        let known: Vec<&str> = names
            .dimensions
            .iter()
            .map(|d| d.name.as_str())
            .chain(names.packs.iter().map(|p| p.name.as_str()))
            .collect();
        let mend = mend_name(
            name,
            known.iter().copied(),
            "add it as a [dimension] or a [pack]",
        );
        let found = format!("`{name}`, which is neither a dimension nor a pack of this model");
        self.add(span, found, format!("one of {}", known.join(", ")), mend);
    }
}

struct Names<'a> {
    dimensions: &'a [Dimension],
    packs: &'a [Pack],
}

/// Tables in the order in which the file has them.
fn in_file_order<T>(tables: BTreeMap<String, Spanned<T>>) -> Vec<(String, Range<usize>, T)> {
    let mut tables: Vec<_> = tables
        .into_iter()
        .map(|(name, table)| (name, table.span(), table.into_inner()))
        .collect();
    tables.sort_by_key(|(_, span, _)| span.start);
    tables
}
