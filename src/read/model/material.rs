//! Materials: those of a model file, and the materials table.

use std::collections::BTreeMap;

use toml::Spanned;

use super::file::{MATERIAL_KEYS, MaterialFile, MaterialsFile, Quantity};
use super::{Reader, in_file_order};
use crate::decimal::Millionths;
use crate::length::Unit;
use crate::model::{Compressibility, Expansion, Material};
use crate::problem::Problems;

/// Reads a materials table; its problems are added to `problems`.
pub(super) fn gather_materials(file: &str, text: &str, problems: &mut Problems) -> Vec<Material> {
    let mut reader = Reader { file, text, problems: Problems::new() };
    if reader.too_many_entries() {
        problems.absorb(reader.problems);
        return Vec::new();
    }
    reader.unknown_keys(&[("material", &MATERIAL_KEYS)]);
    let materials = match toml::from_str::<MaterialsFile>(text) {
        // A bare number has no unit here: tolerances are a model's or the stock's own.
        Ok(raw) => reader.materials(raw.material, None),
        Err(error) => {
            reader.malformed(&error, "a materials table as `gapwright help models` describes it");
            None
        }
    };
    problems.absorb(reader.problems);
    materials.unwrap_or_default()
}

/// Merges two lists of materials: the first one's properties win, the second fills in missing ones.
pub(super) fn join(mut first: Vec<Material>, second: &[Material]) -> Vec<Material> {
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

impl Reader<'_> {
    pub(super) fn materials(
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
                self.add(span, found, expected, "remove one of them");
            }
            earlier.push(key);
        }
        let materials: Vec<Option<Material>> =
            raw.into_iter().map(|(name, _, raw)| self.material(name, &raw, unit)).collect();
        materials.into_iter().collect()
    }

    pub(super) fn material(
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
            source: raw.source.clone(),
        })
    }

    pub(super) fn compressibility(
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

    /// Coefficient of expansion with its plus/minus; `None` if there is none or it is bad.
    #[allow(clippy::option_option)]
    pub(super) fn expansion(
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
        Some(Some(Expansion { value: number?, within: within? }))
    }
}
