//! Consumables: the contents of the bag.

use std::collections::BTreeMap;

use toml::Spanned;

use super::file::ConsumableFile;
use super::{MOST_IN_A_BAG, Reader};
use crate::model::{ConsumableNeed, SectionColumns};
use crate::read::stock::STACKED;

impl Reader<'_> {
    pub(super) fn consumable(&mut self, raw: ConsumableFile) -> Option<ConsumableNeed> {
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
            let fix = "correct the number, or remove the consumable";
            self.add(&raw.count.span(), format!("{count} in a bag"), expected, fix);
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
    pub(super) fn section(
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
        Some(SectionColumns { bore: bore?, shaft: shaft? })
    }

    /// A text with a letter or a digit in it.
    pub(super) fn filled(&mut self, text: &Spanned<String>) -> Option<String> {
        let inner = text.get_ref().trim();
        if inner.contains(char::is_alphanumeric) {
            return Some(inner.to_string());
        }
        let found = format!("`{inner}`");
        self.add(&text.span(), found, "a name", "fill it in, or remove it");
        None
    }
}
