//! Thermal terms: growth from the cold setting to running.

use std::ops::Range;

use toml::Spanned;

use super::Reader;
use super::file::{Quantity, ThermalFile};
use crate::columns::pump_heading as heading;
use crate::decimal::Millionths;
use crate::length::{Length, Unit};
use crate::model::{Material, Scale, TEMPERATURE, Temperature, Thermal, degrees, is_temperature};
use crate::problem::fix_name;

/// Degrees and their scale.
fn scaled(quantity: &Spanned<Quantity>) -> Option<(Millionths, Scale)> {
    match quantity.get_ref() {
        Quantity::Text(text) => degrees(text, Scale::Celsius),
        number => Some((number.number()?, Scale::Celsius)),
    }
}

impl Reader<'_> {
    /// An error of a difference of temperatures: five degrees Celsius are nine degrees Fahrenheit.
    fn difference(&mut self, quantity: &Spanned<Quantity>) -> Option<Millionths> {
        let read = scaled(quantity).map(|(number, scale)| scale.difference(number));
        let read = read.filter(|within| (0..=1_000_000_000).contains(&within.raw()));
        if read.is_none() {
            let found = format!("`{}`", quantity.get_ref().show());
            let expected = "a plus/minus that is not negative";
            self.add(&quantity.span(), found, expected, "correct the value");
        }
        read
    }

    /// Degrees of freedom of length, expansion and temperature difference.
    fn freedom_of_growth(&mut self, raw: &ThermalFile) -> Option<[Option<u32>; 3]> {
        let given = [
            &raw.length_degrees_of_freedom,
            &raw.expansion_degrees_of_freedom,
            &raw.temperature_degrees_of_freedom,
        ];
        let mut whole = true;
        for given in given.into_iter().flatten() {
            if !(1..=1_000_000).contains(given.get_ref()) {
                whole = false;
                self.add(
                    &given.span(),
                    format!("{} degrees of freedom", given.get_ref()),
                    "1 to 1000000",
                    "correct it; a well-known figure has none",
                );
            }
        }
        whole.then(|| given.map(|given| given.as_ref().map(|given| *given.get_ref())))
    }

    /// A temperature in degrees Celsius that a part of a pump can have.
    fn temperature(&mut self, quantity: &Spanned<Quantity>) -> Option<Temperature> {
        let read = scaled(quantity).map(|(number, scale)| scale.temperature(number));
        let [expected, fix] = match read {
            Some(read) if is_temperature(read.celsius) => return Some(read),
            Some(_) => ["degrees Celsius from -273 to 1500", "correct the temperature"],
            None => TEMPERATURE,
        };
        let found = format!("`{}`", quantity.get_ref().show());
        self.add(&quantity.span(), found, expected, fix);
        None
    }

    pub(super) fn thermal(
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
                    let fix = fix_name(
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
                        fix,
                    );
                    None
                } else {
                    Some(found)
                }
            }
        };
        let wanted = raw.material.as_ref().map(|material| material.get_ref().to_lowercase());
        let table = materials.iter().find(|m| Some(m.name.to_lowercase()) == wanted);
        let own = self.expansion(raw.expansion.as_ref(), raw.expansion_plus_minus.as_ref());
        let material = match own {
            Some(None) => table.map(|table| (table.name.clone(), table.source.clone())),
            _ => None,
        };
        let expansion = own.and_then(|own| Some(own.or(of_table?)));
        if expansion == Some(None) {
            self.add(
                span,
                format!("no expansion for `{name}`"),
                "expansion, or a material of the table",
                "state one of them",
            );
        }
        let (cold, running) = (self.temperature(&raw.cold), self.temperature(&raw.running));
        let temperature_within = match &raw.temperature_plus_minus {
            Some(within) => self.difference(within),
            None => Some(Millionths::ZERO),
        };
        let label = raw.label.clone().unwrap_or_else(|| heading(&name));
        let freedom = self.freedom_of_growth(raw);
        let is_exact = within == Some(Length::ZERO) && temperature_within == Some(Millionths::ZERO);
        let is_exact =
            is_exact && expansion.flatten().is_some_and(|e| e.within == Millionths::ZERO);
        if is_exact {
            self.warn(
                span,
                format!("`{name}` grows without any uncertainty"),
                "length_plus_minus, expansion_plus_minus or temperature_plus_minus",
                "no growth is known exactly: state how far each may be off",
            );
        }
        let (cold, running) = (cold?, running?);
        let mut thermal = Thermal {
            name,
            label,
            length: length?,
            length_within: within?,
            expansion: expansion??,
            cold: cold.celsius,
            running: running.celsius,
            temperature_within: temperature_within?,
            degrees_of_freedom: freedom?,
            material,
        };
        thermal.count_rounding(cold.rounded || running.rounded);
        Some(thermal)
    }
}
