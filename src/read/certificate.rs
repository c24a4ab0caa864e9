//! Reads the certificate of a plan, as `kit --certificate` writes it.

use std::path::Path;

use super::bounded;
use crate::certificate::Certificate;
use crate::formats::certificate::{FORMAT, parse};
use crate::problem::{Place, Problem, Problems};

/// Reads a certificate of the plan with this code.
///
/// # Errors
/// A problem: a file that is no certificate, or that of another plan, which is named.
pub fn certificate(path: &Path, plan: &str) -> Result<Certificate, Problems> {
    let wrong = |found: String, expected: String, fix: &str| {
        Problems::of(Problem::new(Place::file(&path.display().to_string()), found, expected, fix))
    };
    let read = bounded::bytes(path, bounded::OF_PLAN).map_err(|error| error.to_string());
    let read = read.and_then(|bytes| parse(&bytes).map_err(|error| error.to_string()));
    let (of, certificate) = read.map_err(|found| {
        let fix = "give the file that `gapwright kit --certificate` wrote with this plan";
        wrong(found, format!("a certificate ({FORMAT})"), fix)
    })?;
    match of == plan {
        true => Ok(certificate),
        false => Err(wrong(
            format!("a certificate of the plan {of}"),
            format!("that of the plan {plan}"),
            "give the certificate that was written with this plan, or make both again",
        )),
    }
}
