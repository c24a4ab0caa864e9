//! The Basis of an as-built record.

use rust_xlsxwriter::Worksheet;

use super::AsBuilt;
use crate::write::basis::{self, Section, inputs_and_policy, lengths, program};
use crate::write::page::Written;
use crate::write::style::Styles;
use crate::write::table::Cells;

pub(super) fn sheet(built: &AsBuilt<'_>, styles: &Styles) -> Written<Worksheet> {
    let facts = [
        program(),
        ("Plan", built.plan_id.to_string()),
        ("Date", styles.date.clone()),
        ("Normalised error", "(found - predicted) / root of the sum of squares of both expanded uncertainties, k = 2 for both; ISO 13528, from memory".into()),
        ("Predicted", "from the issued pieces; a clearance from the measured packs, where they were measured".into()),
        ("Smallest swap", "fewest pieces moved, out and in, in all places together; then nearest to the targets; then least cost".into()),
        ("Checked", "decisions, limits after each swap and remaining pieces recomputed independently before this was written".into()),
        lengths(),
    ];
    let (text, wrapped) = (&styles.text, &styles.wrapped);
    let back = built
        .inputs
        .iter()
        .map(|input| [text.of(&input.role), wrapped.of(&input.file), text.of(&input.sha256)]);
    let back = Section::of_cells(["Readings from", "File", "SHA-256"], back);
    let [inputs, policy] = inputs_and_policy(built.recheck.job(), styles);
    let sections = [inputs, policy, back, Section::facts(facts, |_| Some(18.0), styles)];
    let lead = "The same inputs, readings, policy, program and date give this workbook again, byte for byte.";
    basis::sheet(lead, sections, styles)
}
