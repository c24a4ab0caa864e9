//! Kits an outage of rebuilt pumps from one drawer of shims and gaskets: least waste, proven.
//!
//! A pump shop sets each rebuilt pump's impeller running clearance with a pack of shims, and sizes
//! the bearing-cover gasket on what that pack leaves proud plus an allowance for crush. For many
//! pumps and one drawer of pieces this crate finds the combinations that hit every limit with the
//! least waste, proves them least, and writes picking list, kit slips and stack-up.
//!
//! # The flow
//!
//! ```text
//! stock.xlsx ─┐
//! pumps.xlsx ─┼ read ─▶ Job ─ choose ─▶ Plan ─ verify ─▶ Verified ─ write ─▶ plan.xlsx, plan.json
//! models/*.toml┘  all problems     least, with      worked out again          all or nothing
//!                 at once          its bound        by a second reckoning
//! ```
//!
//! Each step takes the last one's value and gives the next; nothing reaches back. Only
//! [`verify::verify`] makes a [`verify::Verified`], and only that is written as a plan.
//!
//! | module | what it holds |
//! |---|---|
//! | [`length`], [`decimal`] | exact lengths, coefficients and money |
//! | [`model`], [`stock`], [`pump`], [`policy`], [`job`] | the nouns; a value that exists is valid |
//! | [`packing`] | the space that a packing ring fills |
//! | [`cutting`] | sheets and what they yield |
//! | [`stack`] | contributors of a requirement: worst case, uncertainty, draws at random, the report |
//! | [`choose`] | combinations, patterns, bounds, the search, and why a pump is short |
//! | [`outlook`] | pumps that are not measured yet |
//! | [`provision`] | what to set aside for them: a safe kit a pump, a trolley for all |
//! | [`plan`], [`verify`] | what was chosen, and the checker |
//! | [`feeler`] | feeler blades that show a clearance within its limits |
//! | [`recheck`] | readings back from the bench, against what was predicted |
//! | [`issue`] | what was taken out of the stock and put back, and the log of it |
//! | [`bag`] | the consumables that go with each kit |
//! | [`sweep`] | what if: one thing moved, pieces held or chosen anew |
//! | [`crush`] | how far gaskets are crushed, against what their materials give way |
//! | [`reorder`] | what to order: back to level, and which thicknesses to hold |
//! | [`inventory`] | how much to hold and when to buy: order quantities, reorder points |
//! | [`purchase`] | what can be bought for an outage, and what it makes possible |
//! | [`reach`] | which thicknesses to stock: what they reach, which suffice |
//! | [`problem`], [`sheet`], [`read`] | files in: every problem with its place and mend |
//! | [`words`], [`mod@write`] | plans in words, workbooks and JSON out |
//! | [`cli`] | the command line |
//!
//! # Example
//!
//! From two files to a workbook, and the stack-up of one pump on the way:
//!
//! ```
//! use gapwright::choose::{choose, watch::Watch};
//! use gapwright::length::Unit;
//! use gapwright::accounting::stack;
//! use gapwright::plan::Kit;
//! use gapwright::read::{self, Sources};
//! use gapwright::stack::report;
//! use gapwright::verify::verify;
//! use gapwright::write;
//!
//! # std::env::set_current_dir(env!("CARGO_MANIFEST_DIR")).unwrap();
//! let job = read::job(&Sources {
//!     stock: "samples/tiny/stock.csv".into(),
//!     pumps: "samples/tiny/pumps.csv".into(),
//!     ..Sources::default()
//! })
//! .expect("the sample has no problems");
//! let plan = choose(&job, &Watch::patient()).expect("three pumps can be listed");
//! assert!(plan.proven());
//! let verified = verify(job, plan).expect("the plan holds when worked out again");
//! assert_eq!(write::json::plan(&verified).waste, "22.000000");
//!
//! // The running clearance of the first pump: 0.051 - 0.030 = 0.021 in, good to 0.0003 and 0.0002 at worst.
//! let (job, plan) = (verified.job(), verified.plan());
//! let pump = &job.pumps[0];
//! let Kit::Served(packs) = &plan.kits[0] else { panic!("the first pump is kitted") };
//! let clearance = &pump.requirements[0];
//! let report = report(&clearance.form, &stack(job, pump, packs), job.policy.coverage, Unit::Inch);
//! assert!((report.value - 0.021).abs() < 1e-12);
//! assert!((report.sides[1].worst - 0.0005).abs() < 1e-12);
//!
//! let folder = tempfile::tempdir().expect("a temporary folder");
//! let path = folder.path().join("plan.xlsx");
//! let bytes = write::workbook(&verified, "2027-03-01").expect("a workbook");
//! // What is written is held against what was read: nothing can be written over an input.
//! let inputs = write::Inputs::of(["stock.csv", "pumps.csv"]);
//! let output = inputs.output(&path, false).expect("a file that is no input");
//! write::place(&[(&output, &bytes)]).expect("a file that was not there");
//! assert!(path.exists());
//! ```
//!
//! The plan predicts, it does not prove a fit: the finished pack is measured and the clearance
//! rechecked, and the maker's instructions, local codes and a competent person decide.

#[cfg(not(any(feature = "microlp", feature = "highs")))]
compile_error!(
    "gapwright needs a solver of linear programs: choose the feature `microlp` (the default; pure Rust) \
     or `highs` (needs cmake, libclang and a C++ compiler)"
);

/// Changes by version, and the promise of a version number.
#[doc = include_str!("changelog.md")]
pub mod changelog {}

pub mod accounting;
pub mod analysis;
pub mod bag;
pub mod choose;
pub mod cli;
mod columns;
pub mod crush;
pub mod cutting;
pub mod day;
pub mod decimal;
pub mod digest;
pub mod feeler;
pub mod formats;
pub mod inventory;
pub mod issue;
pub mod job;
pub mod length;
pub mod model;
mod narrow;
pub mod outlook;
pub mod packing;
pub mod plain_text;
pub mod plan;
pub mod policy;
pub mod problem;
pub mod provision;
pub mod pump;
pub mod purchase;
pub mod reach;
pub mod read;
pub mod recheck;
pub mod reorder;
pub mod sheet;
pub mod show;
pub mod stack;
pub mod stock;
pub mod sweep;
pub mod verify;
pub mod words;
pub mod write;
