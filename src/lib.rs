//! Kits an outage of rebuilt pumps from one drawer of shims and gaskets: least waste, proven.
//!
//! A pump shop sets the impeller running clearance of each rebuilt pump with a pack of shims. The bearing-cover gasket
//! fills the gap that this pack leaves, plus an allowance for crush. For many pumps and one drawer of pieces, this crate
//! finds the kits that meet every limit, serve the most pumps by priority and waste the least. It proves that no kits are
//! better, checks the plan with code of its own, and writes picking list, kit slips and stack-up. Words of the trade are
//! explained in the manual: [`manual::start`].
//!
//! # The flow
//!
//! ```text
//! stock.xlsx ───┐
//! pumps.xlsx ───┼ read ─▶ Job ─ choose ─▶ Plan ─ verify ─▶ Verified ─ write ─▶ plan.xlsx, plan.json
//! models/*.toml ┘  all problems   best, with      independent check         all files or none
//!                  at once        its bound
//! ```
//!
//! Each step takes the value of the step before. Only [`verify::verify`] makes a [`verify::Verified`], and only that is
//! written as a plan.
//!
//! | module | contents |
//! |---|---|
//! | [`length`], [`decimal`] | exact lengths, coefficients and money |
//! | [`model`], [`stock`], [`pump`], [`policy`], [`job`] | the nouns; a value that exists is valid |
//! | [`packing`], [`cutting`] | the space of a packing ring; the yield of a plate |
//! | [`stack`] | stack-up of a requirement: worst case, uncertainty, Monte Carlo, verdict |
//! | [`choose`] | choice of pieces, its bound, and the reason that a pump is short |
//! | [`plan`], [`mod@certificate`], [`verify`] | the plan, what proves it best, and the checker of both |
//! | [`consumables`] | consumables of each kit |
//! | [`crush`], [`feeler`] | crush of gaskets; feeler blades that show a clearance |
//! | [`accounting`], [`analysis`], [`sweep`] | waste and verdicts; one pump analysed; one input varied |
//! | [`forecast`], [`provision`] | pumps not measured yet; safe kits and a trolley for them |
//! | [`recheck`] | readings from the bench against the prediction |
//! | [`issue`] | pieces taken from the stock and put back, with a log |
//! | [`outage`], [`outage_file`] | running outage: bookings, states, stock; its ledger on the disk |
//! | [`outage_kit`], [`outage_cells`], [`outage_books`] | its kits judged; its readings in the cells of the pump workbook; the workbooks that it took over |
//! | [`purchase`] | packs to buy for an outage |
//! | [`reorder`], [`inventory`], [`size_range`] | order to level; order quantities; thicknesses to stock |
//! | [`problem`], [`sheet`], [`read`] | files in: every problem with its place and fix |
//! | [`pump_cells`], [`scratch`] | cells of the pump sheet; workbooks with edits laid over them, planned again |
//! | [`words`], [`mod@write`], [`json`], [`output`] | sentences; workbooks; JSON; files put in their places |
//! | [`page`] | a page on this computer: the plan, other values, planned again |
//! | [`manual`] | pages for people who use the program |
//! | [`cli`] | command line |
//!
//! # Example
//!
//! From two files to a workbook:
//!
//! ```
//! use gapwright::choose::{choose, control::Control};
//! use gapwright::read::{self, Sources};
//! use gapwright::verify::verify;
//! use gapwright::{output, write};
//!
//! # std::env::set_current_dir(env!("CARGO_MANIFEST_DIR"))?;
//! let [stock, pumps] = ["samples/tiny/stock.csv", "samples/tiny/pumps.csv"];
//! let sources = Sources { stock: stock.into(), pumps: pumps.into(), ..Sources::default() };
//! let job = read::job(&sources).expect("the sample has no problems");
//!
//! let plan = choose(&job, &Control::unlimited())?;
//! assert!(plan.proven());
//! let verified = verify(job, plan).expect("the checker agrees");
//! let workbook = write::workbook(&verified, "2027-03-01")?;
//!
//! # let folder = tempfile::tempdir()?;
//! # let path = folder.path().join("plan.xlsx");
//! # /*
//! let path = "plan.xlsx";
//! # */
//! // Only `Inputs` makes an output, so that no input is overwritten; an existing file is kept.
//! let output = output::Inputs::of([stock, pumps]).output(&path, false).expect("no input");
//! output::place(&[(&output, &workbook)])?;
//! # assert!(path.exists());
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! Also from this plan: figures for programs, and the stack-up of its first pump.
//!
//! ```
//! use gapwright::accounting::stack;
//! use gapwright::length::Unit;
//! use gapwright::plan::Kit;
//! use gapwright::stack::report;
//! use gapwright::json;
//! # use gapwright::{choose::{choose, control::Control}, read::{self, Sources}, verify::verify};
//! # std::env::set_current_dir(env!("CARGO_MANIFEST_DIR"))?;
//! # let [stock, pumps] = ["samples/tiny/stock.csv", "samples/tiny/pumps.csv"];
//! # let sources = Sources { stock: stock.into(), pumps: pumps.into(), ..Sources::default() };
//! # let job = read::job(&sources).expect("the sample has no problems");
//! # let plan = choose(&job, &Control::unlimited())?;
//! # let verified = verify(job, plan).expect("the checker agrees");
//!
//! assert_eq!(json::plan(&verified).waste, "22.000000");
//!
//! // Clearance 0.051 - 0.030 = 0.021 in, within 0.0003 (reading) + 0.0002 (shim) at worst.
//! let (job, plan) = (verified.job(), verified.plan());
//! let pump = &job.pumps[0];
//! let Kit::Served(packs) = &plan.kits[0] else { panic!("the first pump is kitted") };
//! let clearance = &pump.requirements[0].form;
//! let report = report(clearance, &stack(job, pump, packs), job.policy.coverage, Unit::Inch);
//! assert!((report.value - 0.021).abs() < 1e-12);
//! assert!((report.sides[1].worst - 0.0005).abs() < 1e-12);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! The plan predicts; it does not prove a fit. Measure the finished pack and recheck the clearance. The maker's
//! instructions, local codes and a competent person decide.

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
pub mod certificate;
pub mod changes;
pub mod choose;
pub mod cli;
mod columns;
pub mod consumables;
pub mod crush;
pub mod cutting;
pub mod day;
pub mod decimal;
pub mod digest;
pub mod feeler;
pub mod forecast;
pub mod formats;
pub mod gauge;
pub mod guard;
pub mod inventory;
pub mod issue;
pub mod job;
pub mod json;
pub mod length;
pub mod manual;
pub mod model;
mod narrow;
pub mod outage;
pub mod outage_books;
pub mod outage_cells;
pub mod outage_file;
pub mod outage_kit;
pub mod output;
pub mod packing;
pub mod page;
pub mod paper;
pub mod plain_text;
pub mod plan;
pub mod policy;
pub mod problem;
pub mod provision;
pub mod pump;
pub mod pump_cells;
pub mod purchase;
pub mod read;
pub mod recheck;
pub mod reorder;
pub mod scratch;
pub mod sheet;
pub mod show;
pub mod size_range;
pub mod stack;
pub mod stock;
pub mod sweep;
pub mod verify;
pub mod words;
pub mod write;
