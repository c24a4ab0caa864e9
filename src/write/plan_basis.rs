//! The Basis of a plan.

use rust_xlsxwriter::Worksheet;

use super::basis::{self, Section, ended, goals, inputs_and_policy, lengths, program, solver};
use super::page::Written;
use super::style::Styles;
use crate::digest::sha256;
use crate::formats::certificate::text;
use crate::verify::Verified;
use crate::words;

pub(super) fn sheet(verified: &Verified, styles: &Styles) -> Written<Worksheet> {
    let (job, plan) = (verified.job(), verified.plan());
    let weights = job.weights().map_or_else(
        || "too many levels for whole numbers: one priority after the other".to_string(),
        |weights| {
            let each =
                weights.iter().map(|(priority, weight)| format!("priority {priority}: {weight}"));
            each.collect::<Vec<_>>().join(", ")
        },
    );
    let certificate = text(&verified.planned().id(), &plan.certificate);
    let facts = [
        program(),
        solver(),
        ended(plan),
        ("Priority weights", weights),
        ("Date", styles.date.clone()),
        ("Proof", words::proof(verified)),
        ("Checked", "pieces, fits, limits, stock and goals recomputed independently before this was written".into()),
        ("Certificate", format!("SHA-256 {}; `gapwright kit --certificate` writes it, `gapwright verify` adds it up", sha256(certificate.as_bytes()))),
        lengths(),
    ];
    let lead = "The same inputs, policy, program and date give this workbook again, byte for byte.";
    let [inputs, policy] = inputs_and_policy(job, styles);
    let facts = Section::facts(facts, |_| Some(18.0), styles);
    let sections = [inputs, policy, goals(job, plan, styles), facts];
    basis::sheet(lead, sections, styles)
}
