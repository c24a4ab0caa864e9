//! Ordinary-looking cells of a stock sheet: the format, the stored value, the text that it shows, and the reading of
//! it. Expected values by hand, from the words of the format; the shown texts are LibreOffice's.

/// Column that a probe stands in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Column {
    /// Item.
    Item,
    /// Fit.
    Fit,
    /// Thickness in inches, with a tolerance of 0.001 in.
    Thickness,
    /// On hand.
    Count,
    /// Unit cost.
    Price,
}

/// A value; a text is marked by an apostrophe.
pub struct Probe(pub Column, pub &'static str, pub &'static str, pub &'static str, pub Read);

/// The reading of a cell.
pub enum Read {
    /// In all kinds of file.
    As(&'static str),
    /// Refused in all kinds of file.
    Not,
    /// One reading with the stored digits, another one of the text alone, which is all that a text file has.
    Digits(&'static str, &'static str),
    /// Refused where there are stored digits; in a text file, read so.
    NotDigits(&'static str),
    /// Read with its stored digits; refused as a text.
    NotText(&'static str),
}

use Column::{Count, Fit, Item, Price, Thickness};
use Read::{As, Digits, Not, NotDigits, NotText};

/// All probes.
pub const PROBES: &[Probe] = &[
    Probe(Thickness, "0.00\" mm thk\"", "0.0214", "0.02 mm thk", Not),
    Probe(Thickness, "0.000\" in (nom)\"", "0.021", "0.021 in (nom)", Not),
    Probe(Thickness, "0.000 [$in]", "0.021", "0.021 in", As("0.021 in")),
    Probe(Thickness, "0.000 [$mm]", "0.5", "0.500 mm", As("0.5 mm")),
    Probe(Thickness, "[<0.1]0.000\" in\";0.0\" mm\"", "0.021", "0.021 in", As("0.021 in")),
    Probe(Thickness, "[<0.1]0.000\" in\";0.0\" mm\"", "0.5", "0.5 mm", As("0.5 mm")),
    Probe(Thickness, "0.000,", "21", "0.021", As("0.021 in")),
    Probe(Thickness, "0\"/64\"", "1", "1/64", As("1/64 in")),
    Probe(Thickness, "0.0\"%\"", "2", "2.0%", Not),
    Probe(Thickness, "0.0%", "0.021", "2.1%", Not),
    Probe(Thickness, "\"0.0\"0", "5", "0.05", As("0.05 in")),
    Probe(Thickness, "0\"e-2\"", "5", "5e-2", As("0.05 in")),
    Probe(Thickness, "@\" mm\"", "'0.5", "0.5 mm", As("0.5 mm")),
    Probe(Thickness, "0.00\" mm\"", "0.5214", "0.52 mm", Digits("0.5214 mm", "0.52 mm")),
    Probe(Thickness, "0.00\" mm\"", "0.5249", "0.52 mm", NotDigits("0.52 mm")),
    Probe(Thickness, "# ??/64", "0.015625", " 1/64", As("1/64 in")),
    Probe(Thickness, "0.000\\\"", "0.021", "0.021\"", As("0.021 in")),
    Probe(Thickness, "[Red]0.000", "0.021", "0.021", As("0.021 in")),
    Probe(Thickness, "General\" mm\"", "0.5", "0.5 mm", As("0.5 mm")),
    Probe(Thickness, "0.00E+00", "0.021", "2.10E-02", As("0.021 in")),
    Probe(Thickness, "0.000;[Red]0.000", "-0.021", "0.021", NotDigits("0.021 in")),
    Probe(Thickness, "0.0\" \"0", "0.5", "0.5 0", Not),
    Probe(Count, "0\" packs of 10\"", "3", "3 packs of 10", Not),
    Probe(Count, "0\" doz\"", "3", "3 doz", Not),
    Probe(Count, "0,", "12000", "12", NotDigits("12")),
    Probe(Count, "0", "11.6", "12", NotDigits("12")),
    Probe(Count, "0%", "0.12", "12%", Not),
    Probe(Count, "#,##0", "1250", "1,250", NotText("1250")),
    Probe(Count, "0\" pcs\"", "12", "12 pcs", NotText("12")),
    Probe(Count, "000", "12", "012", As("12")),
    Probe(Price, "0.00\" per 100\"", "12.5", "12.50 per 100", Not),
    Probe(Price, "0.00\"/100\"", "12.5", "12.50/100", Not),
    Probe(Price, "0.00", "2.499", "2.50", NotDigits("2.5")),
    Probe(Price, "0.00,", "2500", "2.50", NotDigits("2.5")),
    Probe(Price, "$0.00", "2.5", "$2.50", NotText("2.5")),
    Probe(Price, "0.00\" EUR\"", "2.5", "2.50 EUR", NotText("2.5")),
    Probe(Fit, "\"F\"0", "6", "F6", As("F6")),
    Probe(Fit, "\"G\"0", "6", "G6", As("G6")),
    Probe(Item, "000", "20", "020", As("020")),
    Probe(Item, "\"P-\"0", "101", "P-101", As("P-101")),
];

/// Values that show nothing, which no text file can hold.
pub const HIDDEN: &[Probe] = &[
    Probe(Thickness, ";;;", "0.021", "", Not),
    Probe(Thickness, ";;;", "'0.5 mm", "", Not),
    Probe(Count, ";;;", "12", "", Not),
    Probe(Price, "0;;;", "0", "", Not),
    Probe(Fit, ";;;", "6", "", Not),
    Probe(Item, ";;;", "'S-1", "", Not),
];

/// Headings of the sheet that probes stand in.
pub const HEADINGS: [&str; 7] =
    ["Item", "Kind", "Fit", "Thickness (in)", "Tolerance (in)", "On hand", "Unit cost"];

impl Probe {
    /// Column of the sheet, from 0.
    pub fn column(&self) -> u16 {
        match self.0 {
            Item => 0,
            Fit => 2,
            Thickness => 3,
            Count => 5,
            Price => 6,
        }
    }
}

/// Probes that are read and those that are refused, each a sheet of its own, where digits are stored.
pub fn sheets() -> [Vec<&'static Probe>; 2] {
    let all = PROBES.iter().chain(HIDDEN);
    let (refused, read) = all.partition(|probe| matches!(probe.4, Not | NotDigits(_)));
    [read, refused]
}
