//! Headings of the workbooks, and the comparison of two headings.

/// Headings that a stock sheet must have.
pub(crate) const NEEDED_OF_STOCK: [&str; 4] = ["Item", "Kind", "Fit", "On hand"];
/// Headings that a pump sheet must have.
pub(crate) const NEEDED_OF_PUMPS: [&str; 2] = ["Tag", "Model"];
/// Headings that the sheet of plates must have.
pub(crate) const NEEDED_OF_PLATE: [&str; 6] =
    ["Item", "Kind", "Thickness", "Length", "Width", "On hand"];
/// Headings that a sheet of shapes to cut must have.
pub(crate) const NEEDED_OF_FIT: [&str; 3] = ["Fit", "Outside diameter", "Inside diameter"];
/// Word after a pack's name that makes the heading of its fit code.
pub(crate) const FITS: &str = "fit";

/// Name of an example row of a blank workbook, which says that it is one.
pub(crate) fn example(number: &str) -> String {
    format!("EXAMPLE-{number} (invented)")
}

/// Whether a cell holds the name of an example row.
pub(crate) fn is_example(text: &str) -> bool {
    let number = text.strip_prefix("EXAMPLE-").and_then(|rest| rest.strip_suffix(" (invented)"));
    number.is_some_and(|number| !number.is_empty() && !number.contains(' '))
}

/// A heading in the form that is compared: lower-case letters and digits only, without units in brackets.
///
/// `Bare clearance 1 (in)` and `bare-clearance 1` are equal.
pub(crate) fn key(text: &str) -> String {
    let mut bare = String::new();
    let mut rest = text;
    while let Some(open) = rest.find(['(', '[']) {
        let Some(close) = rest[open..].find([')', ']']) else {
            break;
        };
        bare.push_str(&rest[..open]);
        rest = &rest[open + close + 1..];
    }
    bare.push_str(rest);
    let key: String = bare.to_lowercase().chars().filter(|c| c.is_alphanumeric()).collect();
    // A sign alone counts as its words.
    let is_sign = |text: &str| matches!(text.trim(), "\u{b1}" | "+/-" | "+-");
    if key.is_empty() && is_sign(&bare) {
        return "plusminus".into();
    }
    let former = FORMER.iter().find(|(old, _)| *old == key);
    former.map_or(key.clone(), |(_, new)| (*new).to_string())
}

/// Names of sheets and headings that earlier versions wrote, each with the present one: both are read alike.
const FORMER: [(&str, &str); 3] =
    [("sheets", "plate"), ("instead", "substituteitem"), ("insteadpieces", "qty")];

/// A key of a model file as a heading: `bare_clearance` becomes `Bare clearance`.
pub(crate) fn pump_heading(name: &str) -> String {
    let spaced = name.replace('_', " ");
    let mut letters = spaced.chars();
    match letters.next() {
        Some(first) => first.to_uppercase().chain(letters).collect(),
        None => spaced,
    }
}

/// Heading of a pack's fit code.
pub(crate) fn fit_heading(pack: &str) -> String {
    format!("{} {FITS}", pump_heading(pack))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Names as version 0.1.0 wrote them first, each read like the name that is written now.
    #[test]
    fn earlier_names_are_read_under_the_present_ones() {
        for (old, new) in
            [("Sheets", "Plate"), ("Instead", "Substitute item"), ("instead pieces", "Qty")]
        {
            assert_eq!(key(old), key(new), "{old}");
        }
        assert_ne!(key("Sheet"), key("Plate"));
    }
}
