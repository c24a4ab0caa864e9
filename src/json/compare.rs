//! Two plans compared as JSON: changes into [`crate::formats::compare`].

use super::plan::change;
use crate::changes::SlipChange;
use crate::formats::common::InputJson;
use crate::formats::compare::{ComparisonJson, FORMAT};

/// The comparison as plain values; the files are those of the earlier and the later plan.
pub fn comparison(changes: &[SlipChange], inputs: [InputJson; 2]) -> ComparisonJson {
    let changes = changes.iter().map(change).collect();
    ComparisonJson { format: FORMAT.into(), inputs, changes }
}
