//! gapwright
pub mod choose;
pub mod cli;
pub mod decimal;
pub mod job;
pub mod length;
pub mod model;
pub mod plan;
pub mod policy;
pub mod problem;
pub mod pump;
pub mod read;
pub mod sheet;
pub mod stack;
pub mod stock;
pub mod verify;
pub mod words;
pub mod write;
