//! Reads model files (TOML), each problem with its line and column.

use std::collections::BTreeMap;
use std::fs;
use std::ops::Range;
use std::path::Path;

use serde::Deserialize;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::drawing::{self, DrawingAt};
use super::stock::STACKED;
use crate::decimal::Millionths;
use crate::length::{Length, LengthError, Tolerance, Unit};
use crate::model::{
    Caution, Compressibility, ConsumableNeed, Correlation, Dimension, Examples, Expansion, Form,
    Material, Model, Pack, Requirement, SectionColumns, Shape, Spread, TEMPERATURE, Term, Terms,
    Thermal, is_temperature, temperature,
};
use crate::problem::{Place, Problem, Problems, Spot, mend_name, nearest};
use crate::stack;

/// The models that come with the program: name and text.
pub const BUILT_IN: [(&str, &str); 5] = [
    (
        "screwed-impeller",
        include_str!("../../models/screwed-impeller.toml"),
    ),
    (
        "front-set-metric",
        include_str!("../../models/front-set-metric.toml"),
    ),
    ("bearing-cap", include_str!("../../models/bearing-cap.toml")),
    (
        "seal-setting",
        include_str!("../../models/seal-setting.toml"),
    ),
    (
        "thrust-collar",
        include_str!("../../models/thrust-collar.toml"),
    ),
];

/// Their drawings, in the same order.
pub(super) const DRAWINGS: [&[u8]; BUILT_IN.len()] = [
    include_bytes!("../../models/screwed-impeller.png"),
    include_bytes!("../../models/front-set-metric.png"),
    include_bytes!("../../models/bearing-cap.png"),
    include_bytes!("../../models/seal-setting.png"),
    include_bytes!("../../models/thrust-collar.png"),
];

/// The materials table that comes with the program.
const MATERIALS: &str = include_str!("../../models/materials.toml");

/// The name of a materials table among the model files of a folder.
const MATERIALS_NAME: &str = "materials";
/// The most pieces of one consumable that a bag may ask for; more is a slip of the keyboard.
const MOST_IN_A_BAG: u32 = 1_000;

/// Where models are found: the folder that was given, then the built-in ones.
pub struct Library {
    /// What is known of materials beside what a model says itself.
    materials: Vec<Material>,
    /// The folder's own materials table, if there is one: file and hash.
    own_materials: Option<(String, String)>,
    /// Name to file and text; a folder's file outranks a built-in one of the same name.
    texts: BTreeMap<String, (String, String)>,
    /// Where the drawing of a model is, if it has one.
    drawings: BTreeMap<String, DrawingAt>,
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
        let drawings = BUILT_IN.iter().zip(DRAWINGS);
        let drawings =
            drawings.map(|((name, _), bytes)| (name.to_string(), DrawingAt::BuiltIn(bytes)));
        let materials = gather_materials("built-in materials.toml", MATERIALS, problems);
        let mut library = Library {
            materials,
            own_materials: None,
            texts: BTreeMap::new(),
            drawings: drawings.collect(),
        };
        let Some(folder) = folder else {
            library.texts = texts;
            return library;
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
                        Ok(text) if name.eq_ignore_ascii_case(MATERIALS_NAME) => {
                            let file = path.display().to_string();
                            let own = gather_materials(&file, &text, problems);
                            // The first that says something of a material is heard.
                            library.materials = join(own, &library.materials);
                            let hash = super::sha256(text.as_bytes());
                            library.own_materials = Some((file, hash));
                        }
                        Ok(text) => {
                            // A built-in drawing does not show a shop's own model.
                            library.drawings.remove(&name);
                            if let Some(own) = drawing::beside(&path) {
                                library.drawings.insert(name.clone(), DrawingAt::File(own));
                            }
                            texts.insert(name, (path.display().to_string(), text));
                        }
                        Err(error) => problems.add(trouble(&path, &error)),
                    }
                }
            }
        }
        library.texts = texts;
        library
    }

    /// The folder's own materials table, if there is one: file and hash.
    pub(super) fn own_materials(&self) -> Option<&(String, String)> {
        self.own_materials.as_ref()
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

    /// The file of a model's drawing, where it lies in the folder that was given.
    pub(super) fn drawing_file(&self, name: &str) -> Option<String> {
        match self.drawings.get(name)? {
            DrawingAt::BuiltIn(_) => None,
            DrawingAt::File(path) => Some(path.display().to_string()),
        }
    }

    /// Reads a model; problems inside it are added once however often it is asked for.
    pub fn find(&self, name: &str, problems: &mut Problems) -> Option<Model> {
        let (file, text) = self.texts.get(name)?;
        match parse_with(name, file, text, &self.materials) {
            Ok(model) => {
                let drawing = match self.drawings.get(name) {
                    Some(at) => Some(at.read(problems)?),
                    None => None,
                };
                Some(Model { drawing, ..model })
            }
            Err(found) => {
                problems.absorb(found);
                None
            }
        }
    }
}

/// The keys of a model file, and those of the tables below them.
const KEYS: [(&str, &[&str]); 10] = [
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
            "degrees_of_freedom",
            "example",
        ],
    ),
    (
        "pack",
        &["label", "kind", "least_pieces", "most_pieces", "example"],
    ),
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
            "when",
            "hot_target",
            "hot_allowance",
            "hot_limits",
        ],
    ),
    ("material", &MATERIAL_KEYS),
    ("consumable", &["kind", "fit_column", "section", "count"]),
    ("caution", &["when", "text"]),
    (
        "thermal",
        &[
            "label",
            "length",
            "length_plus_minus",
            "material",
            "expansion",
            "expansion_plus_minus",
            "cold",
            "running",
            "temperature_plus_minus",
        ],
    ),
    ("correlation", &["between", "coefficient"]),
];

/// The keys that a table cannot do without.
const NEEDED: [(&str, &[&str]); 7] = [
    ("", &["title", "unit"]),
    ("pack", &["kind", "most_pieces"]),
    ("requirement", &["limits"]),
    ("consumable", &["kind", "count"]),
    ("caution", &["when", "text"]),
    ("thermal", &["length", "cold", "running"]),
    ("correlation", &["between", "coefficient"]),
];

/// The keys of a material.
const MATERIAL_KEYS: [&str; 5] = [
    "plus_minus",
    "compressibility",
    "expansion",
    "expansion_plus_minus",
    "source",
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
    #[serde(default)]
    thermal: BTreeMap<String, Spanned<ThermalFile>>,
    #[serde(default)]
    correlation: Vec<Spanned<CorrelationFile>>,
}

#[derive(Deserialize)]
struct MaterialsFile {
    #[serde(default)]
    material: BTreeMap<String, Spanned<MaterialFile>>,
}

#[derive(Deserialize)]
struct ThermalFile {
    label: Option<String>,
    length: Spanned<Quantity>,
    length_plus_minus: Option<Spanned<Quantity>>,
    material: Option<Spanned<String>>,
    expansion: Option<Spanned<Quantity>>,
    expansion_plus_minus: Option<Spanned<Quantity>>,
    cold: Spanned<Quantity>,
    running: Spanned<Quantity>,
    temperature_plus_minus: Option<Spanned<Quantity>>,
}

#[derive(Deserialize)]
struct CorrelationFile {
    between: Spanned<Vec<Spanned<String>>>,
    coefficient: Spanned<Quantity>,
}

#[derive(Deserialize)]
struct DimensionFile {
    label: Option<String>,
    plus_minus: Option<Spanned<Quantity>>,
    plus: Option<Spanned<Quantity>>,
    minus: Option<Spanned<Quantity>>,
    standard_uncertainty: Option<Spanned<Quantity>>,
    shape: Option<Spanned<String>>,
    degrees_of_freedom: Option<Spanned<u32>>,
    example: Option<Spanned<Quantity>>,
}

#[derive(Deserialize)]
struct PackFile {
    label: Option<String>,
    kind: Spanned<String>,
    least_pieces: Option<u32>,
    most_pieces: Spanned<u32>,
    example: Option<Spanned<Quantity>>,
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
    when: Option<Spanned<String>>,
    hot_target: Option<Spanned<Quantity>>,
    hot_allowance: Option<Spanned<Quantity>>,
    hot_limits: Option<Spanned<Vec<Spanned<Quantity>>>>,
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
    plus_minus: Option<Spanned<Quantity>>,
    compressibility: Option<Spanned<Vec<Spanned<Quantity>>>>,
    expansion: Option<Spanned<Quantity>>,
    expansion_plus_minus: Option<Spanned<Quantity>>,
    /// For people; a table without its sources is of little use, but nothing follows from it.
    #[serde(rename = "source")]
    _source: Option<String>,
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
                both if both < Length::ZERO => Err(LengthError::BelowZero),
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
    let mut problems = Problems::new();
    let materials = gather_materials("built-in materials.toml", MATERIALS, &mut problems);
    parse_with(name, file, text, &materials)
}

/// Reads the text of a model file beside a materials table.
fn parse_with(
    name: &str,
    file: &str,
    text: &str,
    materials: &[Material],
) -> Result<Model, Problems> {
    let mut reader = Reader {
        file,
        text,
        problems: Problems::new(),
    };
    reader.unknown_keys(&KEYS);
    let told = reader.missing_keys();
    let model = match toml::from_str::<ModelFile>(text) {
        Ok(raw) => reader.model(name, raw, materials),
        // Which keys are missing has been said, all of them.
        Err(error) if told && error.message().starts_with("missing field") => None,
        Err(error) => {
            reader.malformed(&error, "a model file as DEVELOPERS.md describes it");
            None
        }
    };
    reader.problems.settle(model).map(|(model, _)| model)
}

/// Reads a materials table; what is wrong with it is added to the problems.
fn gather_materials(file: &str, text: &str, problems: &mut Problems) -> Vec<Material> {
    let mut reader = Reader {
        file,
        text,
        problems: Problems::new(),
    };
    reader.unknown_keys(&[("material", &MATERIAL_KEYS)]);
    let materials = match toml::from_str::<MaterialsFile>(text) {
        // A bare number has no unit here: tolerances are a model's or the stock's own.
        Ok(raw) => reader.materials(raw.material, None),
        Err(error) => {
            reader.malformed(&error, "a materials table as DEVELOPERS.md describes it");
            None
        }
    };
    problems.absorb(reader.problems);
    materials.unwrap_or_default()
}

/// Two lists of materials as one: what the first says of a material stands, the second fills in
/// what it leaves out.
fn join(mut first: Vec<Material>, second: &[Material]) -> Vec<Material> {
    for other in second {
        let same = |m: &&mut Material| m.name.to_lowercase() == other.name.to_lowercase();
        match first.iter_mut().find(same) {
            Some(known) => {
                known.tolerance = known.tolerance.or(other.tolerance);
                known.compressibility = known.compressibility.or(other.compressibility);
                known.expansion = known.expansion.or(other.expansion);
            }
            None => first.push(other.clone()),
        }
    }
    first
}

/// The tables of one kind, named or listed, each with where it stands.
fn tables_of<'a, 'i>(value: &'a Spanned<DeValue<'i>>) -> Vec<(Range<usize>, &'a DeTable<'i>)> {
    let table = |value: &'a Spanned<DeValue<'i>>| Some((value.span(), value.get_ref().as_table()?));
    match value.get_ref() {
        DeValue::Table(named) => named.values().filter_map(table).collect(),
        DeValue::Array(list) => list.iter().filter_map(table).collect(),
        _ => Vec::new(),
    }
}

struct Reader<'a> {
    file: &'a str,
    text: &'a str,
    problems: Problems,
}

type Keys = (&'static str, &'static [&'static str]);

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

    /// Says what is wrong with a text that does not read at all.
    fn malformed(&mut self, error: &toml::de::Error, expected: &str) {
        let span = error.span().unwrap_or(0..0);
        let wrong = error.message().trim().replace('\n', " ");
        self.add(
            &span,
            wrong,
            expected,
            "correct it; compare with the files that come with the program",
        );
    }

    /// Complains of every key that such a file does not have.
    fn unknown_keys(&mut self, known: &[Keys]) {
        // A text that is no TOML is complained of when it is read.
        let Ok(file) = DeTable::parse(self.text) else {
            return;
        };
        for (key, value) in file.get_ref() {
            let name: &str = key.get_ref();
            let names: Vec<&str> = known.iter().map(|(key, _)| *key).collect();
            self.key(name, &key.span(), &names);
            let Some((_, keys)) = known
                .iter()
                .find(|(key, keys)| *key == name && !keys.is_empty())
            else {
                continue;
            };
            let tables = tables_of(value).into_iter();
            for key in tables.flat_map(|(_, table)| table.keys()) {
                self.key(key.get_ref(), &key.span(), keys);
            }
        }
    }

    /// Complains of every key that a model file lacks; whether there are any.
    fn missing_keys(&mut self) -> bool {
        let Ok(file) = DeTable::parse(self.text) else {
            return false;
        };
        let file = file.get_ref();
        let mut told = self.missing("the model file", 0..0, file, "");
        for (name, value) in file {
            for (span, table) in tables_of(value) {
                told |= self.missing(
                    &format!("a [{name}]", name = name.get_ref()),
                    span,
                    table,
                    name.get_ref(),
                );
            }
        }
        told
    }

    /// Complains of every key that one table lacks; whether there are any. `kind` is what such
    /// tables are called, nothing for the file itself.
    fn missing(&mut self, what: &str, span: Range<usize>, table: &DeTable<'_>, kind: &str) -> bool {
        let needed = NEEDED.iter().find(|(name, _)| *name == kind);
        let known: Vec<&str> = match KEYS.iter().find(|(name, _)| *name == kind) {
            Some((_, keys)) => keys.to_vec(),
            None => KEYS.iter().map(|(name, _)| *name).collect(),
        };
        let present: Vec<&str> = table.keys().map(|key| key.get_ref().as_ref()).collect();
        let mut told = false;
        for key in needed.iter().flat_map(|(_, keys)| *keys) {
            if present.contains(key) {
                continue;
            }
            told = true;
            // A misspelt one has been told of as such.
            let unknown = present.iter().filter(|key| !known.contains(key));
            let mut near = unknown.filter_map(|name| nearest(name, known.iter().copied()));
            if near.any(|near| near == *key) {
                continue;
            }
            self.add(
                &span,
                format!("{what} without `{key}`"),
                format!("`{key}`, which cannot be left out"),
                format!("add it; the keys here are {}", known.join(", ")),
            );
        }
        told
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

    fn model(&mut self, name: &str, raw: ModelFile, known: &[Material]) -> Option<Model> {
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
        let examples = self.examples(&raw, unit);
        let dimensions = in_file_order(raw.dimension);
        let thermals = in_file_order(raw.thermal);
        let packs = in_file_order(raw.pack);
        // Known by name even where a table is not whole, so that what follows can be checked.
        let names = Names {
            dimensions: named(&dimensions),
            thermals: named(&thermals),
            packs: named(&packs),
        };
        self.each_once(&names);
        let dimensions: Vec<Option<Dimension>> = dimensions
            .into_iter()
            .map(|(name, span, raw)| self.dimension(name, &span, raw, unit))
            .collect();
        let packs: Vec<Option<Pack>> = packs
            .into_iter()
            .map(|(name, span, raw)| self.pack(name, &span, raw))
            .collect();
        let materials = self.materials(raw.material, Some(unit));
        let materials = materials.map(|own| join(own, known));
        let thermals: Vec<Option<Thermal>> = thermals
            .into_iter()
            .map(|(name, span, raw)| {
                self.thermal(
                    name,
                    &span,
                    &raw,
                    unit,
                    materials.as_deref().unwrap_or(known),
                )
            })
            .collect();
        let consumables: Vec<Option<ConsumableNeed>> = raw
            .consumable
            .into_iter()
            .map(|raw| self.consumable(raw.into_inner()))
            .collect();
        let mut requirements: Vec<Option<Vec<Requirement>>> = Vec::new();
        for (name, span, raw) in in_file_order(raw.requirement) {
            let made = self.requirement(name, &span, &raw, unit, &names);
            let earlier = || requirements.iter().flatten().flatten();
            let twice = made
                .iter()
                .flatten()
                .find(|own| earlier().any(|r| r.name == own.name));
            if let Some(twice) = twice {
                let found = format!("`{}` as the name of two requirements", twice.name);
                let expected = "a name for each; asked both ways, the hot one ends in `_hot`";
                self.add(&span, found, expected, "rename one of them");
            }
            requirements.push(made);
        }
        let correlations = self.correlations(&raw.correlation, &names);
        for (pair, raw) in correlations.iter().flatten().zip(&raw.correlation) {
            // Effective degrees of freedom presume independent contributors (JCGM 100, G.4.1).
            let few = |term: &Term| match term {
                Term::Dimension(at) => dimensions[*at].as_ref().is_some_and(|dimension| {
                    dimension.spread == Spread::FromReadings || dimension.freedom.is_some()
                }),
                Term::Thermal(_) | Term::Pack(_) => false,
            };
            if pair.between.iter().any(few) {
                self.add(
                    &raw.span(),
                    "a correlation of what is known by few degrees of freedom",
                    "dimensions with a plus_minus or a standard_uncertainty, without degrees_of_freedom",
                    "state what the two share as a plus_minus of each; the scatter of readings does not hold it",
                );
            }
        }
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
        let requirements: Option<Vec<Vec<Requirement>>> = requirements.into_iter().collect();
        let requirements: Vec<Requirement> = requirements?.into_iter().flatten().collect();
        let packs: Vec<Pack> = packs.into_iter().collect::<Option<_>>()?;
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
            dimensions: dimensions.into_iter().collect::<Option<_>>()?,
            thermals: thermals.into_iter().collect::<Option<_>>()?,
            correlations: correlations?,
            packs,
            requirements,
            consumables: consumables.into_iter().collect::<Option<_>>()?,
            materials: materials?,
            cautions: raw
                .caution
                .into_iter()
                .map(|c| Caution {
                    when: c.when,
                    text: c.text,
                })
                .collect(),
            examples: examples?,
            drawing: None,
            sha256: super::sha256(self.text.as_bytes()),
        })
    }

    /// Complains of names that two things have.
    fn each_once(&mut self, names: &Names) {
        let mut all: Vec<&(String, Range<usize>)> = names.all().collect();
        all.sort_by_key(|(_, span)| span.start);
        for (index, (name, span)) in all.iter().enumerate() {
            if all[..index].iter().any(|(earlier, _)| earlier == name) {
                self.add(
                    span,
                    format!("`{name}` as the name of two things"),
                    "a name for each dimension, thermal term and pack",
                    "rename one of them",
                );
            }
        }
    }

    /// The examples of all dimensions and packs, in the order of the file.
    fn examples(&mut self, raw: &ModelFile, unit: Unit) -> Option<Examples> {
        let of = |start: usize, example: &Option<Spanned<Quantity>>| (start, example.clone());
        let dimensions = raw.dimension.values();
        let dimensions = dimensions.map(|d| of(d.span().start, &d.get_ref().example));
        let packs = raw.pack.values();
        let packs = packs.map(|p| of(p.span().start, &p.get_ref().example));
        let dimensions = self.lengths(dimensions.collect(), unit);
        let packs = self.lengths(packs.collect(), unit);
        Some(Examples {
            dimensions: dimensions?,
            packs: packs?,
        })
    }

    /// Lengths that may be left out, in the order in which they start.
    fn lengths(
        &mut self,
        mut raw: Vec<(usize, Option<Spanned<Quantity>>)>,
        unit: Unit,
    ) -> Option<Vec<Option<Length>>> {
        raw.sort_by_key(|(start, _)| *start);
        let read: Vec<Option<Option<Length>>> = raw
            .iter()
            .map(|(_, raw)| match raw {
                Some(raw) => self.length(raw, unit).map(Some),
                None => Some(None),
            })
            .collect();
        read.into_iter().collect()
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
                .map(|u| Spread::StandardUncertainty(u.plus.into())),
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
        let freedom = match &raw.degrees_of_freedom {
            None => Some(None),
            Some(given) => {
                let of_readings = spread == Some(Spread::FromReadings);
                let sound = (1..=1_000_000).contains(given.get_ref()) && !of_readings;
                if !sound {
                    self.add(
                        &given.span(),
                        format!("{} degrees of freedom", given.get_ref()),
                        "1 to 1000000, of a plus_minus or a standard_uncertainty",
                        "correct it; readings have theirs from their number, and what is well known has none",
                    );
                }
                sound.then_some(Some(*given.get_ref()))
            }
        };
        let label = raw.label.unwrap_or_else(|| super::pumps::heading(&name));
        Some(Dimension {
            name,
            label,
            spread: spread?,
            shape: shape?,
            freedom: freedom?,
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
        raw: &RequirementFile,
        unit: Unit,
        names: &Names,
    ) -> Option<Vec<Requirement>> {
        let label = raw
            .label
            .clone()
            .unwrap_or_else(|| super::pumps::heading(&name));
        let [low, high] = self.limits(&raw.limits)?;
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
                let index = names.packs.iter().position(|(p, _)| p == gasket.get_ref());
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
        let (cold, hot) = match raw.when.as_ref().map(|w| w.get_ref().as_str()) {
            None | Some("cold") => (true, false),
            Some("hot") => (false, true),
            Some("both") => (true, true),
            Some(other) => {
                let found = format!("`{other}`");
                let at = raw.when.as_ref().map_or(span.clone(), Spanned::span);
                self.add(&at, found, "cold, hot or both", "correct the word");
                return None;
            }
        };
        let grows = form.terms().any(|term| matches!(term, Term::Thermal(_)));
        if grows && !hot {
            self.add(
                span,
                format!("thermal terms in `{name}`, which is asked cold"),
                "thermal terms where the pump runs hot",
                "add when = \"hot\" or \"both\", or take the terms out",
            );
            return None;
        }
        let own_hot = [
            raw.hot_target.as_ref().map(Spanned::span),
            raw.hot_allowance.as_ref().map(Spanned::span),
            raw.hot_limits.as_ref().map(Spanned::span),
        ];
        if let Some(at) = own_hot
            .into_iter()
            .flatten()
            .next()
            .filter(|_| !(cold && hot))
        {
            self.add(
                &at,
                format!(
                    "a value of its own for running hot in `{name}`, which is not asked both ways"
                ),
                "target and limits of the one way it is asked",
                "add when = \"both\", or state them as target and limits",
            );
            return None;
        }
        let mut made = Vec::new();
        if cold {
            made.push(Requirement {
                name: name.clone(),
                label: label.clone(),
                form: form.clone().cold(),
            });
        }
        if hot {
            made.push(Requirement {
                name: if cold { format!("{name}_hot") } else { name },
                label: format!("{label}, running hot"),
                form: self.hot(form, raw, unit)?,
            });
        }
        for made in &made {
            if let Err(wrong) = made.form.check() {
                let at = raw
                    .hot_limits
                    .as_ref()
                    .filter(|_| made.label != label)
                    .map_or(raw.limits.span(), Spanned::span);
                self.add(
                    &at,
                    wrong,
                    "lower <= target <= upper",
                    "correct target and limits",
                );
                return None;
            }
        }
        Some(made)
    }

    /// The two ends of a pair.
    fn limits<'q>(
        &mut self,
        limits: &'q Spanned<Vec<Spanned<Quantity>>>,
    ) -> Option<[&'q Spanned<Quantity>; 2]> {
        if let [low, high] = limits.get_ref().as_slice() {
            return Some([low, high]);
        }
        self.add(
            &limits.span(),
            "limits that are not two",
            "[lower, upper]",
            "give both limits",
        );
        None
    }

    /// The form with the values that hold when the pump runs hot, where the file gives such.
    fn hot(&mut self, form: Form, raw: &RequirementFile, unit: Unit) -> Option<Form> {
        let limits = match &raw.hot_limits {
            Some(limits) => Some(self.limits(limits)?),
            None => None,
        };
        let (aim, other) = match form {
            Form::Linear { .. } => (&raw.hot_target, &raw.hot_allowance),
            Form::GasketFill { .. } => (&raw.hot_allowance, &raw.hot_target),
        };
        if let Some(other) = other {
            self.add(
                &other.span(),
                "an aim of the other form",
                "hot_target beside terms, hot_allowance beside a gap",
                "correct the key",
            );
            return None;
        }
        match form {
            Form::Linear {
                terms,
                target,
                lower,
                upper,
            } => {
                let mut of = |own: Option<&Spanned<Quantity>>, usual| match own {
                    Some(own) => self.length(own, unit),
                    None => Some(usual),
                };
                Some(Form::Linear {
                    terms,
                    target: of(aim.as_ref(), target)?,
                    lower: of(limits.map(|[low, _]| low), lower)?,
                    upper: of(limits.map(|[_, high]| high), upper)?,
                })
            }
            Form::GasketFill {
                gasket,
                gap,
                target,
                lower,
                upper,
            } => {
                let mut of = |own: Option<&Spanned<Quantity>>, usual| match own {
                    Some(own) => self.number(own),
                    None => Some(usual),
                };
                Some(Form::GasketFill {
                    gasket,
                    gap,
                    target: of(aim.as_ref(), target)?,
                    lower: of(limits.map(|[low, _]| low), lower)?,
                    upper: of(limits.map(|[_, high]| high), upper)?,
                })
            }
        }
    }

    fn materials(
        &mut self,
        raw: BTreeMap<String, Spanned<MaterialFile>>,
        unit: Option<Unit>,
    ) -> Option<Vec<Material>> {
        let raw = in_file_order(raw);
        let mut earlier: Vec<String> = Vec::new();
        for (name, span, _) in &raw {
            let key = name.to_lowercase();
            if earlier.contains(&key) {
                let found = format!("the material `{name}` a second time");
                let expected = "each material once, in capital or small letters";
                self.add(span, found, expected, "take one of them out");
            }
            earlier.push(key);
        }
        let materials: Vec<Option<Material>> = raw
            .into_iter()
            .map(|(name, _, raw)| self.material(name, &raw, unit))
            .collect();
        materials.into_iter().collect()
    }

    fn material(
        &mut self,
        name: String,
        raw: &MaterialFile,
        unit: Option<Unit>,
    ) -> Option<Material> {
        let tolerance = match (&raw.plus_minus, unit) {
            (None, _) => Some(None),
            (Some(within), Some(unit)) => self.tolerance(within, unit).map(Some),
            (Some(within), None) => {
                self.add(
                    &within.span(),
                    "a thickness tolerance in the materials table",
                    "what belongs to the material alone",
                    "state it in the stock workbook, or in a model file",
                );
                None
            }
        };
        let compressibility = match &raw.compressibility {
            None => Some(None),
            Some(range) => self.compressibility(range).map(Some),
        };
        let expansion = self.expansion(raw.expansion.as_ref(), raw.expansion_plus_minus.as_ref());
        Some(Material {
            name,
            tolerance: tolerance?,
            compressibility: compressibility?,
            expansion: expansion?,
        })
    }

    fn compressibility(
        &mut self,
        range: &Spanned<Vec<Spanned<Quantity>>>,
    ) -> Option<Compressibility> {
        let [least, most] = self.limits(range)?;
        let (least, most) = (self.number(least)?, self.number(most)?);
        if least < Millionths::ZERO || most.raw() > 100_000_000 || least > most {
            self.add(
                &range.span(),
                format!("a compressibility from {least} to {most}"),
                "two percentages, the smaller first",
                "correct them",
            );
            return None;
        }
        Some(Compressibility { least, most })
    }

    /// A coefficient of expansion with its plus/minus, if there is one; nothing where it is bad.
    #[allow(clippy::option_option)]
    fn expansion(
        &mut self,
        value: Option<&Spanned<Quantity>>,
        within: Option<&Spanned<Quantity>>,
    ) -> Option<Option<Expansion>> {
        let Some(raw) = value else {
            if let Some(within) = within {
                self.add(
                    &within.span(),
                    "a plus/minus of no expansion",
                    "expansion beside it",
                    "state the coefficient, or take the plus/minus out",
                );
                return None;
            }
            return Some(None);
        };
        let range = |n: &Millionths| (0..=1_000_000_000).contains(&n.raw());
        let number = self.bounded(raw, range, "millionths per kelvin, 0 to 1000");
        let within = match within {
            Some(within) => self.bounded(within, range, "a plus/minus that is not negative"),
            None => Some(Millionths::ZERO),
        };
        Some(Some(Expansion {
            value: number?,
            within: within?,
        }))
    }

    /// A temperature in degrees Celsius that a part of a pump can have.
    fn temperature(&mut self, quantity: &Spanned<Quantity>) -> Option<Millionths> {
        let read = match quantity.get_ref() {
            Quantity::Text(text) => temperature(text),
            number => number.number(),
        };
        let [expected, mend] = match read {
            Some(degrees) if is_temperature(degrees) => return Some(degrees),
            Some(_) => [
                "degrees Celsius from -273 to 1500",
                "correct the temperature",
            ],
            None => TEMPERATURE,
        };
        let found = format!("`{}`", quantity.get_ref().show());
        self.add(&quantity.span(), found, expected, mend);
        None
    }

    /// A number in a range.
    fn bounded(
        &mut self,
        quantity: &Spanned<Quantity>,
        range: impl Fn(&Millionths) -> bool,
        expected: &str,
    ) -> Option<Millionths> {
        let number = self.number(quantity)?;
        if range(&number) {
            return Some(number);
        }
        let found = format!("`{}`", quantity.get_ref().show());
        self.add(&quantity.span(), found, expected, "correct the value");
        None
    }

    fn thermal(
        &mut self,
        name: String,
        span: &Range<usize>,
        raw: &ThermalFile,
        unit: Unit,
        materials: &[Material],
    ) -> Option<Thermal> {
        let length = self.length(&raw.length, unit).filter(|&length| {
            let positive = length > Length::ZERO;
            if !positive {
                let found = format!("the length {}", raw.length.get_ref().show());
                self.add(&raw.length.span(), found, "a length above 0", "correct it");
            }
            positive
        });
        let within = match &raw.length_plus_minus {
            Some(within) => self.tolerance(within, unit).map(|t| t.minus.max(t.plus)),
            None => Some(Length::ZERO),
        };
        let of_table = match &raw.material {
            None => Some(None),
            Some(material) => {
                let wanted = material.get_ref().to_lowercase();
                let found = materials
                    .iter()
                    .find(|m| m.name.to_lowercase() == wanted)
                    .and_then(|m| m.expansion);
                if found.is_none() && raw.expansion.is_none() {
                    let known = materials.iter().filter(|m| m.expansion.is_some());
                    let known: Vec<&str> = known.map(|m| m.name.as_str()).collect();
                    let mend = mend_name(
                        material.get_ref(),
                        known.iter().copied(),
                        "state its expansion here",
                    );
                    self.add(
                        &material.span(),
                        format!(
                            "the material `{}`, whose expansion is not known",
                            material.get_ref()
                        ),
                        format!("one of {}", known.join(", ")),
                        mend,
                    );
                    None
                } else {
                    Some(found)
                }
            }
        };
        let own = self.expansion(raw.expansion.as_ref(), raw.expansion_plus_minus.as_ref());
        let expansion = own.and_then(|own| Some(own.or(of_table?)));
        if expansion == Some(None) {
            self.add(
                span,
                format!("nothing that says how `{name}` grows"),
                "expansion, or a material of the table",
                "state one of them",
            );
        }
        let (cold, running) = (self.temperature(&raw.cold), self.temperature(&raw.running));
        let temperature_within = match &raw.temperature_plus_minus {
            Some(within) => self.bounded(
                within,
                |t| (0..=1_000_000_000).contains(&t.raw()),
                "a plus/minus that is not negative",
            ),
            None => Some(Millionths::ZERO),
        };
        let label = raw
            .label
            .clone()
            .unwrap_or_else(|| super::pumps::heading(&name));
        Some(Thermal {
            name,
            label,
            length: length?,
            length_within: within?,
            expansion: expansion??,
            cold: cold?,
            running: running?,
            temperature_within: temperature_within?,
        })
    }

    fn correlations(
        &mut self,
        raw: &[Spanned<CorrelationFile>],
        names: &Names,
    ) -> Option<Vec<Correlation>> {
        let found: Vec<Option<Correlation>> = raw
            .iter()
            .map(|raw| self.correlation(raw.get_ref(), names))
            .collect();
        let found: Vec<Correlation> = found.into_iter().collect::<Option<_>>()?;
        for (index, one) in found.iter().enumerate() {
            let [a, b] = one.between;
            let again = found[..index]
                .iter()
                .any(|other| other.between == [a, b] || other.between == [b, a]);
            if again {
                self.add(
                    &raw[index].span(),
                    "the same two a second time",
                    "one correlation for each two",
                    "take one of them out",
                );
                return None;
            }
        }
        if !stack::can_be(&found) {
            let all = raw.first().map_or(0, |first| first.span().start)
                ..raw.last().map_or(0, |last| last.span().end);
            self.add(
                &all,
                "correlations that cannot all hold at once (their matrix is not positive semi-definite)",
                "coefficients that agree with each other",
                "if a goes with b and b with c, a must go with c: correct the coefficients",
            );
            return None;
        }
        Some(found)
    }

    fn correlation(&mut self, raw: &CorrelationFile, names: &Names) -> Option<Correlation> {
        let coefficient = self.bounded(
            &raw.coefficient,
            |r| r.raw().abs() <= 1_000_000,
            "a correlation coefficient from -1 to 1",
        );
        let [first, second] = raw.between.get_ref().as_slice() else {
            self.add(
                &raw.between.span(),
                "a correlation that is not between two",
                "between = [\"one\", \"other\"]",
                "name two dimensions, or two thermal terms",
            );
            return None;
        };
        let mut term = |name: &Spanned<String>| {
            let term = names.term(name.get_ref());
            if term.is_none() {
                self.unknown(&name.span(), name.get_ref(), names);
            }
            term
        };
        let (a, b) = (term(first), term(second));
        let between = [a?, b?];
        match between {
            [Term::Dimension(a), Term::Dimension(b)] | [Term::Thermal(a), Term::Thermal(b)]
                if a != b => {}
            _ => {
                self.add(
                    &raw.between.span(),
                    "a correlation of two that cannot have one",
                    "two different dimensions, or two different thermal terms",
                    "pieces share the error of their lot by themselves; correct the names",
                );
                return None;
            }
        }
        Some(Correlation {
            between,
            coefficient: coefficient?,
        })
    }

    fn terms(&mut self, raw: &BTreeMap<String, Spanned<Quantity>>, names: &Names) -> Option<Terms> {
        let mut in_order: Vec<_> = raw.iter().collect();
        in_order.sort_by_key(|(_, q)| q.span().start);
        let terms: Vec<Option<(Term, Millionths)>> = in_order
            .into_iter()
            .map(|(name, sensitivity)| {
                let term = names.term(name);
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

    fn unknown(&mut self, span: &Range<usize>, name: &str, names: &Names) {
        let known: Vec<&str> = names.all().map(|(name, _)| name.as_str()).collect();
        let mend = mend_name(
            name,
            known.iter().copied(),
            "add it as a [dimension], a [thermal] term or a [pack]",
        );
        let found = format!("`{name}`, which is no dimension, thermal term or pack of this model");
        self.add(span, found, format!("one of {}", known.join(", ")), mend);
    }
}

/// Names in the order of the file, each with where it stands.
type Named = Vec<(String, Range<usize>)>;

/// What terms may be called.
struct Names {
    dimensions: Named,
    thermals: Named,
    packs: Named,
}

impl Names {
    fn all(&self) -> impl Iterator<Item = &(String, Range<usize>)> {
        let (dimensions, thermals) = (&self.dimensions, &self.thermals);
        dimensions.iter().chain(thermals).chain(&self.packs)
    }

    fn term(&self, name: &str) -> Option<Term> {
        let at = |named: &Named| named.iter().position(|(own, _)| own == name);
        let dimension = at(&self.dimensions).map(Term::Dimension);
        let thermal = || at(&self.thermals).map(Term::Thermal);
        let pack = || at(&self.packs).map(Term::Pack);
        dimension.or_else(thermal).or_else(pack)
    }
}

fn named<T>(tables: &[(String, Range<usize>, T)]) -> Named {
    let tables = tables.iter();
    tables
        .map(|(name, span, _)| (name.clone(), span.clone()))
        .collect()
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
