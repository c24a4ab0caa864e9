//! Bodies of the fuzz targets. The fuzzers call these, and so does the ordinary test over the corpus: a finding stays
//! fixed.

pub mod json;
pub mod length;
pub mod model;
pub mod reader;

use gapwright::problem::Problems;

/// Takes any bytes, and panics if a property fails.
pub type Body = fn(&[u8]);

/// The targets by the names of their folders in the corpus.
pub const ALL: [(&str, Body); 4] =
    [("reader", reader::run), ("length", length::run), ("model", model::run), ("json", json::run)];

/// The first byte selects the body, the rest is its input.
fn parted(bytes: &[u8]) -> Option<(char, &[u8])> {
    let (&first, rest) = bytes.split_first()?;
    Some((char::from(first), rest))
}

/// A refusal has a reason that people can read.
fn told(problems: &Problems) {
    let problems = problems.sorted();
    assert!(!problems.is_empty(), "refused without a reason");
    for problem in problems {
        for part in [&problem.found, &problem.expected, &problem.fix] {
            assert!(!part.trim().is_empty(), "{problem}");
        }
    }
}
