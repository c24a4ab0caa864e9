//! Structure of a model file: its tables and their keys.

use std::collections::BTreeMap;

use serde::Deserialize;
use toml::Spanned;

use crate::decimal::Millionths;
use crate::length::{Length, LengthError, Tolerance, Unit};

/// Keys of a model file, and those of the tables below them.
pub(super) const KEYS: [(&str, &[&str]); 12] = [
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
            "expanded_uncertainty",
            "k",
            "gauge",
            "readings",
            "shape",
            "top",
            "cut",
            "degrees_of_freedom",
            "resolution",
            "example",
        ],
    ),
    ("pack", &["label", "kind", "least_pieces", "most_pieces", "example"]),
    (
        "requirement",
        &[
            "label",
            "terms",
            "least_of",
            "greatest_of",
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
            "length_degrees_of_freedom",
            "expansion_degrees_of_freedom",
            "temperature_degrees_of_freedom",
        ],
    ),
    ("derived", &["label", "product", "per", "quotient", "times"]),
    ("correlation", &["between", "coefficient"]),
    // Its keys are the names of what is on the drawing.
    ("figures", &[]),
];

/// Most entries of each kind that a model file may have: far more than a pump needs, few enough that any file is read,
/// and its example worked out, within seconds.
pub(super) const MOST_ENTRIES: [(&str, usize); 10] = [
    ("dimension", 40),
    ("pack", 12),
    ("requirement", 20),
    ("material", 500),
    ("consumable", 200),
    ("caution", 200),
    ("thermal", 20),
    ("derived", 20),
    ("correlation", 1_000),
    ("figures", 500),
];

/// Most entries of a list or table inside one of them: terms of a sum, sums of a list, limits.
pub(super) const MOST_INSIDE: usize = 100;

/// Required keys of the tables.
pub(super) const NEEDED: [(&str, &[&str]); 7] = [
    ("", &["title", "unit"]),
    ("pack", &["kind", "most_pieces"]),
    ("requirement", &["limits"]),
    ("consumable", &["kind", "count"]),
    ("caution", &["when", "text"]),
    ("thermal", &["length", "cold", "running"]),
    ("correlation", &["between", "coefficient"]),
];

/// Keys of a material.
pub(super) const MATERIAL_KEYS: [&str; 5] =
    ["plus_minus", "compressibility", "expansion", "expansion_plus_minus", "source"];

#[derive(Deserialize)]
pub(super) struct ModelFile {
    pub(super) title: String,
    pub(super) unit: Spanned<String>,
    #[serde(default)]
    pub(super) dimension: BTreeMap<String, Spanned<DimensionFile>>,
    #[serde(default)]
    pub(super) pack: BTreeMap<String, Spanned<PackFile>>,
    #[serde(default)]
    pub(super) requirement: BTreeMap<String, Spanned<RequirementFile>>,
    #[serde(default)]
    pub(super) consumable: Vec<Spanned<ConsumableFile>>,
    #[serde(default)]
    pub(super) caution: Vec<CautionFile>,
    #[serde(default)]
    pub(super) material: BTreeMap<String, Spanned<MaterialFile>>,
    #[serde(default)]
    pub(super) thermal: BTreeMap<String, Spanned<ThermalFile>>,
    #[serde(default)]
    pub(super) derived: BTreeMap<String, Spanned<DerivedFile>>,
    #[serde(default)]
    pub(super) correlation: Vec<Spanned<CorrelationFile>>,
    #[serde(default)]
    pub(super) figures: BTreeMap<String, Spanned<Vec<Spanned<Quantity>>>>,
}

#[derive(Deserialize)]
pub(super) struct MaterialsFile {
    #[serde(default)]
    pub(super) material: BTreeMap<String, Spanned<MaterialFile>>,
}

#[derive(Deserialize)]
pub(super) struct ThermalFile {
    pub(super) label: Option<String>,
    pub(super) length: Spanned<Quantity>,
    pub(super) length_plus_minus: Option<Spanned<Quantity>>,
    pub(super) material: Option<Spanned<String>>,
    pub(super) expansion: Option<Spanned<Quantity>>,
    pub(super) expansion_plus_minus: Option<Spanned<Quantity>>,
    pub(super) cold: Spanned<Quantity>,
    pub(super) running: Spanned<Quantity>,
    pub(super) temperature_plus_minus: Option<Spanned<Quantity>>,
    pub(super) length_degrees_of_freedom: Option<Spanned<u32>>,
    pub(super) expansion_degrees_of_freedom: Option<Spanned<u32>>,
    pub(super) temperature_degrees_of_freedom: Option<Spanned<u32>>,
}

#[derive(Deserialize)]
pub(super) struct DerivedFile {
    pub(super) label: Option<String>,
    pub(super) product: Option<Spanned<Vec<Spanned<String>>>>,
    pub(super) per: Option<Spanned<Quantity>>,
    pub(super) quotient: Option<Spanned<Vec<Spanned<String>>>>,
    pub(super) times: Option<Spanned<Quantity>>,
}

#[derive(Deserialize)]
pub(super) struct CorrelationFile {
    pub(super) between: Spanned<Vec<Spanned<String>>>,
    pub(super) coefficient: Spanned<Quantity>,
}

#[derive(Deserialize)]
pub(super) struct DimensionFile {
    pub(super) label: Option<String>,
    pub(super) plus_minus: Option<Spanned<Quantity>>,
    pub(super) plus: Option<Spanned<Quantity>>,
    pub(super) minus: Option<Spanned<Quantity>>,
    pub(super) standard_uncertainty: Option<Spanned<Quantity>>,
    pub(super) expanded_uncertainty: Option<Spanned<Quantity>>,
    pub(super) k: Option<Spanned<Quantity>>,
    pub(super) gauge: Option<Spanned<String>>,
    pub(super) readings: Option<Spanned<String>>,
    pub(super) shape: Option<Spanned<String>>,
    pub(super) top: Option<Spanned<Quantity>>,
    pub(super) cut: Option<Spanned<Quantity>>,
    pub(super) degrees_of_freedom: Option<Spanned<u32>>,
    pub(super) resolution: Option<Spanned<Quantity>>,
    pub(super) example: Option<Spanned<Quantity>>,
}

#[derive(Deserialize)]
pub(super) struct PackFile {
    pub(super) label: Option<String>,
    pub(super) kind: Spanned<String>,
    pub(super) least_pieces: Option<u32>,
    pub(super) most_pieces: Spanned<u32>,
    pub(super) example: Option<Spanned<Quantity>>,
}

/// Sensitivities by name.
pub(super) type TermsFile = BTreeMap<String, Spanned<Quantity>>;

#[derive(Deserialize, Clone)]
pub(super) struct RequirementFile {
    pub(super) label: Option<String>,
    pub(super) terms: Option<TermsFile>,
    pub(super) least_of: Option<Spanned<Vec<TermsFile>>>,
    pub(super) greatest_of: Option<Spanned<Vec<TermsFile>>>,
    pub(super) target: Option<Spanned<Quantity>>,
    pub(super) gasket: Option<Spanned<String>>,
    pub(super) gap: Option<TermsFile>,
    pub(super) allowance: Option<Spanned<Quantity>>,
    pub(super) limits: Spanned<Vec<Spanned<Quantity>>>,
    pub(super) when: Option<Spanned<String>>,
    pub(super) hot_target: Option<Spanned<Quantity>>,
    pub(super) hot_allowance: Option<Spanned<Quantity>>,
    pub(super) hot_limits: Option<Spanned<Vec<Spanned<Quantity>>>>,
}

#[derive(Deserialize)]
pub(super) struct ConsumableFile {
    pub(super) kind: Spanned<String>,
    pub(super) fit_column: Option<Spanned<String>>,
    pub(super) section: Option<Spanned<BTreeMap<String, Spanned<String>>>>,
    pub(super) count: Spanned<u32>,
}

#[derive(Deserialize)]
pub(super) struct CautionFile {
    pub(super) when: String,
    pub(super) text: String,
}

#[derive(Deserialize)]
pub(super) struct MaterialFile {
    pub(super) plus_minus: Option<Spanned<Quantity>>,
    pub(super) compressibility: Option<Spanned<Vec<Spanned<Quantity>>>>,
    pub(super) expansion: Option<Spanned<Quantity>>,
    pub(super) expansion_plus_minus: Option<Spanned<Quantity>>,
    /// A table should name its sources.
    pub(super) source: Option<String>,
}

/// A number in the model's unit, or a text with a unit of its own.
#[derive(Deserialize, Clone)]
#[serde(untagged)]
pub(super) enum Quantity {
    Whole(i64),
    Number(f64),
    Text(String),
}

impl Quantity {
    pub(super) fn show(&self) -> String {
        match self {
            Quantity::Whole(n) => n.to_string(),
            Quantity::Number(n) => n.to_string(),
            Quantity::Text(text) => text.clone(),
        }
    }

    pub(super) fn length(&self, unit: Unit) -> Result<Length, LengthError> {
        match self {
            Quantity::Whole(n) => Length::parse(&n.to_string(), Some(unit)),
            Quantity::Number(n) => Length::from_number(*n, unit),
            Quantity::Text(text) => Length::parse(text, Some(unit)),
        }
    }

    /// Limits of deviation, which may both be on one side.
    pub(super) fn deviations(&self, unit: Unit) -> Result<Tolerance, LengthError> {
        match self {
            Quantity::Text(text) => Tolerance::parse_printed(text, Some(unit)),
            _ => self.tolerance(unit),
        }
    }

    pub(super) fn tolerance(&self, unit: Unit) -> Result<Tolerance, LengthError> {
        match self {
            Quantity::Text(text) => Tolerance::parse(text, Some(unit)),
            number => match number.length(unit)? {
                both if both < Length::ZERO => Err(LengthError::BelowZero),
                both => Ok(Tolerance::even(both)),
            },
        }
    }

    pub(super) fn number(&self) -> Option<Millionths> {
        match self {
            Quantity::Whole(n) => Millionths::parse(&n.to_string()),
            Quantity::Number(n) => Millionths::from_number(*n),
            Quantity::Text(text) => Millionths::parse(text),
        }
    }
}
