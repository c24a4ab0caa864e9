//! Two plans compared, as JSON: format `gapwright.compare.v1`.

use schemars::{JsonSchema, Schema, schema_for};
use serde::{Deserialize, Serialize};

use super::common::InputJson;
use super::plan::ChangeJson;

/// Name of the format.
pub const FORMAT: &str = "gapwright.compare.v1";

/// Differences between two plans.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ComparisonJson {
    /// Always `gapwright.compare.v1`.
    pub format: String,
    /// The earlier plan and the later one.
    pub inputs: [InputJson; 2],
    /// Pumps whose slips differ, in the order of the plans. Empty where every slip of the earlier plan still counts.
    pub changes: Vec<ChangeJson>,
}

/// JSON Schema of the format, generated from the types.
pub fn schema() -> Schema {
    schema_for!(ComparisonJson)
}
