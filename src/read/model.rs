//! Reads model files (TOML), each problem with its line and column.

mod consumable;
mod correlation;
mod derived;
mod file;
mod growth;
mod library;
mod material;
mod requirement;

use std::collections::BTreeMap;
use std::ops::Range;

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use crate::decimal::Millionths;
use crate::length::{Length, LengthError, Tolerance, Uncertainty, Unit};
use crate::model::{
    Caution, Combine, ConsumableNeed, Correlation, Derived, Dimension, Examples, Figure,
    KeyedDrawing, Material, Model, Pack, Requirement, Shape, Spread, Term, Thermal,
};
use crate::problem::{Place, Problem, Problems, Spot, fix_name, nearest};
use file::{
    CorrelationFile, DimensionFile, KEYS, MOST_ENTRIES, MOST_INSIDE, ModelFile, NEEDED, PackFile,
    Quantity, RequirementFile,
};
use library::MATERIALS;
use material::{gather_materials, join};

pub use library::Library;

/// Models that come with the program: name and text.
pub const BUILT_IN: [(&str, &str); 5] = [
    ("screwed-impeller", include_str!("../../models/screwed-impeller.toml")),
    ("front-set-metric", include_str!("../../models/front-set-metric.toml")),
    ("bearing-cap", include_str!("../../models/bearing-cap.toml")),
    ("seal-setting", include_str!("../../models/seal-setting.toml")),
    ("thrust-collar", include_str!("../../models/thrust-collar.toml")),
];

/// Model file to start from; it can be kitted with its own example.
pub const STARTING_MODEL: &str = include_str!("model/start.toml");

/// Their drawings, in the same order: with labels, and with letters.
pub(super) const DRAWINGS: [(&[u8], KeyedDrawing); BUILT_IN.len()] = [
    (
        include_bytes!("../../models/screwed-impeller.png"),
        KeyedDrawing {
            svg: include_str!("../../models/screwed-impeller.keyed.svg"),
            size: [900, 506],
        },
    ),
    (
        include_bytes!("../../models/front-set-metric.png"),
        KeyedDrawing {
            svg: include_str!("../../models/front-set-metric.keyed.svg"),
            size: [900, 506],
        },
    ),
    (
        include_bytes!("../../models/bearing-cap.png"),
        KeyedDrawing { svg: include_str!("../../models/bearing-cap.keyed.svg"), size: [900, 542] },
    ),
    (
        include_bytes!("../../models/seal-setting.png"),
        KeyedDrawing { svg: include_str!("../../models/seal-setting.keyed.svg"), size: [900, 606] },
    ),
    (
        include_bytes!("../../models/thrust-collar.png"),
        KeyedDrawing {
            svg: include_str!("../../models/thrust-collar.keyed.svg"),
            size: [900, 542],
        },
    ),
];

/// Most pieces of one consumable in a bag; more is a typing error.
const MOST_IN_A_BAG: u32 = 1_000;

/// Reads the text of a model file; problems name it `file`.
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
    parse_with(name, file, text, &materials).map(|(model, _)| model)
}

/// Reads the text of a model file together with a materials table: the model, and warnings.
fn parse_with(
    name: &str,
    file: &str,
    text: &str,
    materials: &[Material],
) -> Result<(Model, Vec<Problem>), Problems> {
    let mut reader = Reader { file, text, problems: Problems::new() };
    if reader.too_many_entries() {
        return reader.problems.settle(None);
    }
    reader.unknown_keys(&KEYS);
    let told = reader.missing_keys();
    let model = match toml::from_str::<ModelFile>(text) {
        Ok(raw) => reader.model(name, raw, materials),
        // Missing keys are already reported, all of them.
        Err(error) if told && error.message().starts_with("missing field") => None,
        Err(error) => {
            reader.malformed(&error, "a model file as `gapwright help models` describes it");
            None
        }
    };
    reader.problems.settle(model)
}

/// Tables of one kind, named or listed, each with its position.
fn tables_of<'a, 'i>(value: &'a Spanned<DeValue<'i>>) -> Vec<(Range<usize>, &'a DeTable<'i>)> {
    let table = |value: &'a Spanned<DeValue<'i>>| Some((value.span(), value.get_ref().as_table()?));
    match value.get_ref() {
        DeValue::Table(named) => named.values().filter_map(table).collect(),
        DeValue::Array(list) => list.iter().filter_map(table).collect(),
        _ => Vec::new(),
    }
}

/// Number of entries of a list or table; 1 for anything else.
fn entries(value: &DeValue<'_>) -> usize {
    match value {
        DeValue::Table(table) => table.len(),
        DeValue::Array(list) => list.len(),
        _ => 1,
    }
}

/// Values of a list or table.
fn inside<'a, 'i>(
    value: &'a DeValue<'i>,
) -> Box<dyn Iterator<Item = &'a Spanned<DeValue<'i>>> + 'a> {
    match value {
        DeValue::Table(table) => Box::new(table.values()),
        DeValue::Array(list) => Box::new(list.iter()),
        _ => Box::new(std::iter::empty()),
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
        fix: impl Into<String>,
    ) {
        let place = self.place(span);
        self.problems.add(Problem::new(place, found, expected, fix));
    }

    /// Warns of what may be meant, but is mostly a gap in the file.
    fn warn(&mut self, span: &Range<usize>, found: String, expected: &str, fix: &str) {
        let place = self.place(span);
        self.problems.warn(Problem::new(place, found, expected, fix));
    }

    fn place(&self, span: &Range<usize>) -> Place {
        let before = &self.text[..span.start.min(self.text.len())];
        let line = before.matches('\n').count() + 1;
        let column = before.chars().rev().take_while(|&c| c != '\n').count() + 1;
        Place { file: self.file.to_string(), spot: Spot::Text { line, column } }
    }

    /// Reports a text that is not valid TOML.
    fn malformed(&mut self, error: &toml::de::Error, expected: &str) {
        let span = error.span().unwrap_or(0..0);
        let wrong = super::parser_words::in_words(error.message());
        self.add(
            &span,
            wrong,
            expected,
            "correct it; compare with the files that come with the program",
        );
    }

    /// Reports kinds of entries of which there are more than a model can have; true if there are any. Such a file is not
    /// read any further.
    fn too_many_entries(&mut self) -> bool {
        let Ok(file) = DeTable::parse(self.text) else {
            return false;
        };
        let mut told = false;
        let mut too_many = |reader: &mut Self, (name, number, most), span: Range<usize>| {
            told = true;
            reader.add(
                &span,
                format!("{number} entries in `{name}`"),
                format!("at most {most}"),
                "leave out what no pump of this model needs, or make two models of it",
            );
        };
        if file.get_ref().len() > MOST_INSIDE {
            too_many(self, ("the file", file.get_ref().len(), MOST_INSIDE), 0..0);
            return true;
        }
        for (key, value) in file.get_ref() {
            let name: &str = key.get_ref();
            let most = MOST_ENTRIES.iter().find(|(known, _)| *known == name);
            let most = most.map_or(MOST_INSIDE, |(_, most)| *most);
            let number = entries(value.get_ref());
            if number > most {
                too_many(self, (name, number, most), key.span());
                continue;
            }
            // Entries are tables; their keys may be lists and tables, and those of sums hold tables once more.
            for entry in inside(value.get_ref()) {
                let Some(table) = entry.get_ref().as_table() else { continue };
                if table.len() > MOST_INSIDE {
                    too_many(self, (name, table.len(), MOST_INSIDE), entry.span());
                    continue;
                }
                for (key, value) in table {
                    let deeper = inside(value.get_ref()).map(|one| entries(one.get_ref()));
                    let number = deeper.chain([entries(value.get_ref())]).max().unwrap_or(0);
                    if number > MOST_INSIDE {
                        too_many(self, (key.get_ref(), number, MOST_INSIDE), key.span());
                    }
                }
            }
        }
        told
    }

    /// Reports every key that such a file does not have.
    fn unknown_keys(&mut self, known: &[Keys]) {
        // Invalid TOML is reported when it is read.
        let Ok(file) = DeTable::parse(self.text) else {
            return;
        };
        for (key, value) in file.get_ref() {
            let name: &str = key.get_ref();
            let names: Vec<&str> = known.iter().map(|(key, _)| *key).collect();
            self.key(name, &key.span(), &names);
            let Some((_, keys)) = known.iter().find(|(key, keys)| *key == name && !keys.is_empty())
            else {
                continue;
            };
            let tables = tables_of(value).into_iter();
            for key in tables.flat_map(|(_, table)| table.keys()) {
                self.key(key.get_ref(), &key.span(), keys);
            }
        }
    }

    /// Reports every needed key that a model file is missing; true if there are any.
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

    /// Reports every needed key that one table is missing; true if there are any. `kind` is the word for such tables,
    /// empty for the file itself.
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
            // A misspelt one is already reported as such.
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
        let fix = fix_name(name, known.iter().copied(), "remove it");
        let found = format!("the key `{name}`, which is not known here");
        self.add(span, found, format!("one of {}", known.join(", ")), fix);
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

    /// A gasket allowance: a share, or a percentage. A plain number above 2 is asked about.
    fn allowance(&mut self, quantity: &Spanned<Quantity>) -> Option<Millionths> {
        if let Quantity::Text(text) = quantity.get_ref()
            && let Some(percent) = text.trim().strip_suffix('%')
        {
            let share = Millionths::parse(percent.trim()).filter(|n| n.raw() % 100 == 0);
            let share = share.map(|n| Millionths::from_raw(n.raw() / 100));
            if share.is_none() {
                let expected = "a percentage with at most four places";
                self.add(&quantity.span(), format!("`{text}`"), expected, "correct the value");
            }
            return share;
        }
        let number = self.number(quantity)?;
        let Some([found, expected, fix]) = super::questions::of_allowance(number) else {
            return Some(number);
        };
        self.add(&quantity.span(), found, expected, fix);
        None
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
            self.add(&raw.unit.span(), found, "in, thou, mm or um", "correct the unit");
        }
        let unit = unit?;
        let examples = self.examples(&raw, unit);
        let dimensions = in_file_order(raw.dimension);
        let thermals = in_file_order(raw.thermal);
        let derived = in_file_order(raw.derived);
        let packs = in_file_order(raw.pack);
        // Names of incomplete tables count too, so that the rest can be checked.
        let names = Names {
            dimensions: named(&dimensions),
            thermals: named(&thermals),
            derived: named(&derived),
            packs: named(&packs),
        };
        self.each_once(&names);
        let figures = self.figures(&raw.figures, &names, raw.requirement.keys());
        let dimensions: Vec<Option<Dimension>> = dimensions
            .into_iter()
            .map(|(name, span, raw)| self.dimension(name, &span, raw, unit))
            .collect();
        let packs: Vec<Option<Pack>> =
            packs.into_iter().map(|(name, span, raw)| self.pack(name, &span, raw)).collect();
        let materials = self.materials(raw.material, Some(unit));
        let materials = materials.map(|own| join(own, known));
        let thermals: Vec<Option<Thermal>> = thermals
            .into_iter()
            .map(|(name, span, raw)| {
                self.thermal(name, &span, &raw, unit, materials.as_deref().unwrap_or(known))
            })
            .collect();
        let derived: Vec<Option<Derived>> = derived
            .into_iter()
            .map(|(name, span, raw)| self.derived(name, &span, raw, unit, &names))
            .collect();
        let derived: Option<Vec<Derived>> = derived.into_iter().collect();
        self.refuse_gauges(derived.as_deref().unwrap_or_default(), &dimensions, &names);
        let consumables: Vec<Option<ConsumableNeed>> =
            raw.consumable.into_iter().map(|raw| self.consumable(raw.into_inner())).collect();
        let own = derived.as_deref().unwrap_or_default();
        let requirements = self.requirements(raw.requirement, unit, (&names, own));
        let correlations = self.correlations(&raw.correlation, (&names, own));
        let pairs = correlations.iter().flatten().zip(&raw.correlation);
        self.refuse_few_degrees(pairs, &dimensions, &thermals);
        self.refuse_none(packs.len(), requirements.len());
        let requirements: Option<Vec<Vec<Requirement>>> = requirements.into_iter().collect();
        let requirements: Vec<Requirement> = requirements?.into_iter().flatten().collect();
        let packs: Vec<Pack> = packs.into_iter().collect::<Option<_>>()?;
        self.refuse_idle(&packs, &requirements);
        Some(Model {
            name: name.to_string(),
            title: raw.title,
            unit,
            dimensions: dimensions.into_iter().collect::<Option<_>>()?,
            thermals: thermals.into_iter().collect::<Option<_>>()?,
            derived: derived?,
            correlations: correlations?,
            packs,
            requirements,
            consumables: consumables.into_iter().collect::<Option<_>>()?,
            materials: materials?,
            cautions: raw
                .caution
                .into_iter()
                .map(|c| Caution { when: c.when, text: c.text })
                .collect(),
            examples: examples?,
            drawing: None,
            figures: figures?,
            sha256: super::sha256(self.text.as_bytes()),
        })
    }

    /// Requirements in the order of the file; one that is asked both ways makes two.
    fn requirements(
        &mut self,
        raw: BTreeMap<String, Spanned<RequirementFile>>,
        unit: Unit,
        known: (&Names, &[Derived]),
    ) -> Vec<Option<Vec<Requirement>>> {
        let mut requirements: Vec<Option<Vec<Requirement>>> = Vec::new();
        for (name, span, raw) in in_file_order(raw) {
            let made = match self.several(&name, &span, &raw) {
                Some(forms) => forms.and_then(|forms| {
                    let each = forms.into_iter();
                    let each =
                        each.map(|(name, raw)| self.requirement(name, &span, &raw, unit, known));
                    // What is wrong with the first is wrong with all.
                    each.collect::<Option<Vec<_>>>().map(|made| made.concat())
                }),
                None => self.requirement(name, &span, &raw, unit, known),
            };
            let earlier = || requirements.iter().flatten().flatten();
            let twice = made.iter().flatten().find(|own| earlier().any(|r| r.name == own.name));
            if let Some(twice) = twice {
                let found = format!("`{}` as the name of two requirements", twice.name);
                let expected = "a name for each; asked both ways, the hot one ends in `_hot`; of several forms, each in `_1`, `_2` and so on";
                self.add(&span, found, expected, "rename one of them");
            }
            requirements.push(made);
        }
        requirements
    }

    /// Refuses gauges of the dimensions of derived terms: the error of a gauge is shared in sums only.
    fn refuse_gauges(
        &mut self,
        derived: &[Derived],
        dimensions: &[Option<Dimension>],
        names: &Names,
    ) {
        for at in derived.iter().flat_map(|derived| derived.of) {
            if dimensions[at].as_ref().is_some_and(|dimension| dimension.gauge.is_some()) {
                let (name, span) = &names.dimensions[at];
                self.add(
                    span,
                    format!("a gauge of `{name}`, which a derived term is worked out of"),
                    "its own plus_minus or uncertainty: the error of a gauge is shared in sums only",
                    "state the gauge's uncertainty as that of the dimension",
                );
            }
        }
    }

    /// Effective degrees of freedom presume independent contributors (JCGM 100, G.4.1).
    fn refuse_few_degrees<'c>(
        &mut self,
        pairs: impl Iterator<Item = (&'c Correlation, &'c Spanned<CorrelationFile>)>,
        dimensions: &[Option<Dimension>],
        thermals: &[Option<Thermal>],
    ) {
        for (pair, raw) in pairs {
            let few = |term: &Term| match term {
                Term::Dimension(at) => dimensions[*at].as_ref().is_some_and(|dimension| {
                    matches!(dimension.spread, Spread::FromReadings { .. })
                        || dimension.degrees_of_freedom.is_some()
                }),
                Term::Thermal(at) => thermals[*at]
                    .as_ref()
                    .is_some_and(|part| part.degrees_of_freedom.iter().any(Option::is_some)),
                Term::Derived(_) | Term::Pack(_) => false,
            };
            if pair.between.iter().any(few) {
                self.add(
                    &raw.span(),
                    "a correlation of a dimension with few degrees of freedom, or of such a growth",
                    "dimensions with a plus_minus or a standard_uncertainty, without degrees_of_freedom",
                    "state the error that the two share as a plus_minus of each; the scatter of readings does not include it",
                );
            }
        }
    }

    /// Place of a part that the file does not have.
    fn end(&self) -> Range<usize> {
        self.text.len()..self.text.len()
    }

    fn refuse_none(&mut self, packs: usize, requirements: usize) {
        let whole = self.end();
        if packs == 0 {
            self.add(&whole, "no [pack]", "at least one place for pieces", "add a [pack.name]");
        }
        if requirements == 0 {
            self.add(
                &whole,
                "no [requirement]",
                "at least one requirement",
                "add a [requirement.name]",
            );
        }
    }

    /// Every pack must be asked for by a requirement.
    fn refuse_idle(&mut self, packs: &[Pack], requirements: &[Requirement]) {
        for (index, pack) in packs.iter().enumerate() {
            if !requirements.is_empty() && !requirements.iter().any(|r| r.form.involves(index)) {
                let found = format!("the pack `{}`, which no requirement asks for", pack.name);
                self.add(
                    &self.end(),
                    found,
                    "each pack in a requirement",
                    "name it in one, or remove it",
                );
            }
        }
    }

    /// Reports names that two things have.
    fn each_once(&mut self, names: &Names) {
        let mut all: Vec<&(String, Range<usize>)> = names.all().collect();
        all.sort_by_key(|(_, span)| span.start);
        for (index, (name, span)) in all.iter().enumerate() {
            if all[..index].iter().any(|(earlier, _)| earlier == name) {
                self.add(
                    span,
                    format!("`{name}` as the name of two things"),
                    "a name for each dimension, thermal term, derived term and pack",
                    "rename one of them",
                );
            }
        }
    }

    /// Positions of figures on the drawing, each as a share of its width and of its height.
    fn figures<'n>(
        &mut self,
        raw: &BTreeMap<String, Spanned<Vec<Spanned<Quantity>>>>,
        names: &'n Names,
        requirements: impl Iterator<Item = &'n String>,
    ) -> Option<Vec<Figure>> {
        let known = names.all().map(|(name, _)| name).chain(requirements);
        let known: Vec<&str> = known.map(String::as_str).collect();
        let mut figures = Vec::new();
        let mut whole = true;
        for (name, at) in raw {
            if !known.contains(&name.as_str()) {
                whole = false;
                self.add(
                    &at.span(),
                    format!("a figure for `{name}`, which this model does not have"),
                    format!("one of {}", known.join(", ")),
                    fix_name(name, known.iter().copied(), "remove it"),
                );
                continue;
            }
            let share = |quantity: &Spanned<Quantity>| {
                let raw = quantity.get_ref().number()?.raw();
                u32::try_from(raw).ok().filter(|raw| *raw <= 1_000_000)
            };
            let shares: Vec<Option<u32>> = at.get_ref().iter().map(share).collect();
            match shares.as_slice() {
                [Some(x), Some(y)] => figures.push(Figure { name: name.clone(), at: [*x, *y] }),
                _ => {
                    whole = false;
                    self.add(
                        &at.span(),
                        format!("a place for the figure of `{name}` that is not on the drawing"),
                        "two numbers from 0 to 1: shares of the drawing's width and height, such as [0.42, 0.31]",
                        "measure on the drawing where the middle of the figure should be",
                    );
                }
            }
        }
        whole.then_some(figures)
    }

    /// Examples of all dimensions and packs, in the order of the file.
    fn examples(&mut self, raw: &ModelFile, unit: Unit) -> Option<Examples> {
        let of = |start: usize, example: &Option<Spanned<Quantity>>| (start, example.clone());
        let dimensions = raw.dimension.values();
        let dimensions = dimensions.map(|d| of(d.span().start, &d.get_ref().example));
        let packs = raw.pack.values();
        let packs = packs.map(|p| of(p.span().start, &p.get_ref().example));
        let dimensions = self.lengths(dimensions.collect(), unit);
        let packs = self.lengths(packs.collect(), unit);
        Some(Examples { dimensions: dimensions?, packs: packs? })
    }

    /// Optional lengths, in the order in which they start.
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
        let shape = self.shape(span, &raw);
        let spread = self.spread(&name, span, &raw, unit);
        let freedom = self.freedom(&raw, spread);
        let combine = self.combine(raw.readings.as_ref());
        if spread == Some(Spread::Within(Tolerance::default())) && raw.gauge.is_none() {
            self.warn(
                span,
                format!("`{name}` with a plus/minus of 0"),
                "how far a measured value may be off",
                "no measurement is exact: state it, or name the gauge",
            );
        }
        let label = raw.label.unwrap_or_else(|| crate::columns::pump_heading(&name));
        Some(Dimension {
            name,
            label,
            spread: spread?,
            shape: shape?,
            combine: combine?,
            gauge: raw.gauge.map(Spanned::into_inner),
            degrees_of_freedom: freedom?,
        })
    }

    fn shape(&mut self, span: &Range<usize>, raw: &DimensionFile) -> Option<Shape> {
        let word = raw.shape.as_ref();
        let shape = match word.map(|s| s.get_ref().as_str()) {
            None | Some("rectangular") => Shape::Rectangular,
            Some("normal") => Shape::Normal,
            Some("triangular") => Shape::Triangular,
            Some("u-shaped") => Shape::UShaped,
            Some("trapezoid") => {
                let top = self.number_of_shape(span, ("top", &raw.top), [0, 1_000_000])?;
                Shape::Trapezoid { top }
            }
            Some("truncated normal") => {
                let cut = self.number_of_shape(span, ("cut", &raw.cut), [500_000, 6_000_000])?;
                Shape::TruncatedNormal { cut }
            }
            Some(other) => {
                let found = format!("the shape `{other}`");
                let at = word.map_or(span.clone(), Spanned::span);
                self.add(
                    &at,
                    found,
                    "rectangular, normal, triangular, u-shaped, trapezoid or truncated normal",
                    "correct the shape",
                );
                return None;
            }
        };
        let idle = match shape {
            Shape::Trapezoid { .. } => [&None, &raw.cut],
            Shape::TruncatedNormal { .. } => [&raw.top, &None],
            _ => [&raw.top, &raw.cut],
        };
        if let Some(idle) = idle.into_iter().flatten().next() {
            self.add(
                &idle.span(),
                "a number of another shape",
                "top beside shape = \"trapezoid\", cut beside shape = \"truncated normal\"",
                "correct the shape, or remove it",
            );
            return None;
        }
        Some(shape)
    }

    /// Number that a shape needs, within these millionths.
    fn number_of_shape(
        &mut self,
        span: &Range<usize>,
        (key, raw): (&str, &Option<Spanned<Quantity>>),
        [least, most]: [i64; 2],
    ) -> Option<Millionths> {
        let [low, high] = [least, most].map(Millionths::from_raw);
        let expected = format!("{key}, from {low} to {high}");
        match raw {
            Some(raw) => self.bounded(raw, |n| (least..=most).contains(&n.raw()), &expected),
            None => {
                self.add(span, format!("a shape without `{key}`"), expected, "add it");
                None
            }
        }
    }

    fn combine(&mut self, raw: Option<&Spanned<String>>) -> Option<Combine> {
        let Some(raw) = raw else { return Some(Combine::Mean) };
        let word = raw.get_ref().trim();
        let found = Combine::ALL.into_iter().find(|combine| combine.word() == word);
        if found.is_none() {
            let found = format!("readings = `{word}`");
            self.add(&raw.span(), found, "mean, least or greatest", "correct the word");
        }
        found
    }

    /// Uncertainty of the dimension, stated in one of several ways.
    fn spread(
        &mut self,
        name: &str,
        span: &Range<usize>,
        raw: &DimensionFile,
        unit: Unit,
    ) -> Option<Spread> {
        let from_readings = |q: &Spanned<Quantity>| matches!(q.get_ref(), Quantity::Text(text) if text.trim() == "from readings");
        let stated = (
            &raw.plus_minus,
            raw.plus.as_ref().zip(raw.minus.as_ref()),
            &raw.standard_uncertainty,
            &raw.expanded_uncertainty,
        );
        let half = raw.plus.is_some() != raw.minus.is_some();
        let spread = match stated {
            _ if half => None,
            (Some(q), None, None, None) if from_readings(q) => {
                self.resolution(raw.resolution.as_ref(), unit)
            }
            (Some(q), None, None, None) => {
                let read = q.get_ref().deviations(unit);
                self.taken(q, read, "a plus/minus that is not negative, or both sides with their signs, such as \"-0.02 / +0\"")
                    .map(Spread::Within)
            }
            (None, Some((plus, minus)), None, None) => {
                let (plus, minus) = (self.tolerance(plus, unit), self.tolerance(minus, unit));
                plus.zip(minus)
                    .map(|(p, m)| Spread::Within(Tolerance { plus: p.plus, minus: m.minus }))
            }
            (None, None, Some(u), None) => {
                self.tolerance(u, unit).map(|u| Spread::StandardUncertainty(u.plus.into()))
            }
            (None, None, None, Some(u)) => self.expanded(u, raw.k.as_ref(), unit),
            // The gauge's own uncertainty is all that is known.
            (None, None, None, None) if raw.gauge.is_some() => {
                Some(Spread::Within(Tolerance::default()))
            }
            _ => None,
        };
        let states_none = stated.0.is_none() && stated.1.is_none();
        let states_none = states_none && stated.2.is_none() && stated.3.is_none();
        let several =
            [stated.0.is_some(), stated.1.is_some(), stated.2.is_some(), stated.3.is_some()];
        let several = several.into_iter().filter(|stated| *stated).count() > 1;
        if half || several || states_none && raw.gauge.is_none() {
            self.add(
                span,
                format!("not exactly one tolerance or uncertainty of `{name}`"),
                "plus_minus, or plus and minus, or standard_uncertainty, or expanded_uncertainty with k, or plus_minus = \"from readings\"",
                "state one of them",
            );
        }
        if let (Some(k), None) = (&raw.k, &raw.expanded_uncertainty) {
            let expected = "k beside expanded_uncertainty";
            self.add(&k.span(), "k without an expanded uncertainty", expected, "remove it");
        }
        if let Some(resolution) = &raw.resolution
            && matches!(spread, Some(Spread::Within(_) | Spread::StandardUncertainty(_)))
        {
            self.add(
                &resolution.span(),
                "a resolution beside another statement of uncertainty",
                "a resolution beside plus_minus = \"from readings\"",
                "include it in the plus_minus, or remove it",
            );
        }
        spread
    }

    fn freedom(&mut self, raw: &DimensionFile, spread: Option<Spread>) -> Option<Option<u32>> {
        match &raw.degrees_of_freedom {
            None => Some(None),
            Some(given) => {
                let of_readings = matches!(spread, Some(Spread::FromReadings { .. }));
                let sound = (1..=1_000_000).contains(given.get_ref()) && !of_readings;
                if !sound {
                    self.add(
                        &given.span(),
                        format!("{} degrees of freedom", given.get_ref()),
                        "1 to 1000000, of a plus_minus or a standard_uncertainty",
                        "correct it; readings have theirs from their number; a well-known figure has none",
                    );
                }
                sound.then_some(Some(*given.get_ref()))
            }
        }
    }

    /// Expanded uncertainty, with the coverage factor of its certificate.
    fn expanded(
        &mut self,
        expanded: &Spanned<Quantity>,
        k: Option<&Spanned<Quantity>>,
        unit: Unit,
    ) -> Option<Spread> {
        let expected = "k, the coverage factor of the certificate, from 1 to 10";
        let Some(k) = k else {
            let found = "an expanded uncertainty without its k";
            self.add(&expanded.span(), found, expected, "add k as the certificate gives it");
            return None;
        };
        let sound = |k: &Millionths| (1_000_000..=10_000_000).contains(&k.raw());
        let (u, k) = (self.tolerance(expanded, unit), self.bounded(k, sound, expected));
        Some(Spread::StandardUncertainty(Uncertainty::from(u?.plus).over_up(k?)))
    }

    /// Readings, with the resolution of their gauge.
    fn resolution(&mut self, raw: Option<&Spanned<Quantity>>, unit: Unit) -> Option<Spread> {
        let resolution = match raw {
            Some(raw) => self.tolerance(raw, unit)?.plus,
            None => Length::ZERO,
        };
        Some(Spread::FromReadings { resolution })
    }

    fn pack(&mut self, name: String, span: &Range<usize>, raw: PackFile) -> Option<Pack> {
        let kind = raw.kind.get_ref().to_lowercase();
        if !["shim", "gasket"].contains(&kind.as_str()) {
            let found = format!("the kind `{kind}`");
            self.add(&raw.kind.span(), found, "shim or gasket", "correct the kind");
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
        let label = raw.label.unwrap_or_else(|| crate::columns::pump_heading(&name));
        Some(Pack { name, label, kind, least_pieces, most_pieces })
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

    fn unknown(&mut self, span: &Range<usize>, name: &str, names: &Names) {
        let known: Vec<&str> = names.all().map(|(name, _)| name.as_str()).collect();
        let fix = fix_name(
            name,
            known.iter().copied(),
            "add it as a [dimension], a [thermal] or [derived] term or a [pack]",
        );
        let found = format!(
            "`{name}`, which is no dimension, thermal term, derived term or pack of this model"
        );
        self.add(span, found, format!("one of {}", known.join(", ")), fix);
    }
}

/// Names in the order of the file, each with its position.
type Named = Vec<(String, Range<usize>)>;

/// Names that terms may refer to.
struct Names {
    dimensions: Named,
    thermals: Named,
    derived: Named,
    packs: Named,
}

impl Names {
    fn all(&self) -> impl Iterator<Item = &(String, Range<usize>)> {
        let (dimensions, thermals) = (&self.dimensions, &self.thermals);
        dimensions.iter().chain(thermals).chain(&self.derived).chain(&self.packs)
    }

    fn term(&self, name: &str) -> Option<Term> {
        let at = |named: &Named| named.iter().position(|(own, _)| own == name);
        let dimension = at(&self.dimensions).map(Term::Dimension);
        let thermal = || at(&self.thermals).map(Term::Thermal);
        let derived = || at(&self.derived).map(Term::Derived);
        let pack = || at(&self.packs).map(Term::Pack);
        dimension.or_else(thermal).or_else(derived).or_else(pack)
    }
}

fn named<T>(tables: &[(String, Range<usize>, T)]) -> Named {
    let tables = tables.iter();
    tables.map(|(name, span, _)| (name.clone(), span.clone())).collect()
}

/// Tables in the order of the file.
fn in_file_order<T>(tables: BTreeMap<String, Spanned<T>>) -> Vec<(String, Range<usize>, T)> {
    let mut tables: Vec<_> =
        tables.into_iter().map(|(name, table)| (name, table.span(), table.into_inner())).collect();
    tables.sort_by_key(|(_, span, _)| span.start);
    tables
}
