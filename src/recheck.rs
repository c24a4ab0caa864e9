//! Back from the bench: readings of finished packs and rechecked clearances against what was predicted.

pub mod slip;
