//! The vocabulary of headings: what the columns of the workbooks are called, and when two headings
//! are the same.

/// The headings without which a stock sheet is none.
pub(crate) const NEEDED_OF_STOCK: [&str; 4] = ["Item", "Kind", "Fit", "On hand"];
/// The headings without which a pump sheet is none.
pub(crate) const NEEDED_OF_PUMPS: [&str; 2] = ["Tag", "Model"];
/// The headings without which a sheet of sheets to cut from is none.
pub(crate) const NEEDED_OF_SHEETS: [&str; 6] =
    ["Item", "Kind", "Thickness", "Length", "Width", "On hand"];
/// The headings without which a sheet of shapes to cut is none.
pub(crate) const NEEDED_OF_FIT: [&str; 3] = ["Fit", "Outside diameter", "Inside diameter"];
/// What is put behind a pack's name to make the heading of its fit code.
pub(crate) const FITS: &str = "fit";

/// A heading as it is compared: small letters and digits only, units in brackets left out.
///
/// `Bare clearance 1 (in)` and `bare-clearance 1` are the same.
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
    // A sign alone stands for its words.
    let is_sign = |text: &str| matches!(text.trim(), "\u{b1}" | "+/-" | "+-");
    match key.is_empty() && is_sign(&bare) {
        true => "plusminus".into(),
        false => key,
    }
}

/// A key of a model file as a heading: `bare_clearance` is headed `Bare clearance`.
pub(crate) fn pump_heading(name: &str) -> String {
    let spaced = name.replace('_', " ");
    let mut letters = spaced.chars();
    match letters.next() {
        Some(first) => first.to_uppercase().chain(letters).collect(),
        None => spaced,
    }
}

/// The heading of a pack's fit code.
pub(crate) fn fit_heading(pack: &str) -> String {
    format!("{} {FITS}", pump_heading(pack))
}
