//! The arguments of `provision`.

use std::path::PathBuf;

use crate::cli::amounts::Amounts;
use crate::cli::common_args::{CommonArgs, Json, Threads};
use crate::cli::files::Files;
use crate::cli::run::{Refusal, gathered};
use crate::cli::settings::{Settings, given};
use crate::decimal::Millionths;
use crate::forecast::Forecast;
use crate::length::Length;
use crate::problem::Problems;
use crate::provision::{ProvisionError, ProvisionOptions};
use crate::read::{self, Ahead, Memory, Sources};
use crate::words;

/// Arguments of `provision`.
#[derive(clap::Args)]
#[command(after_long_help = AFTER)]
pub(in crate::cli) struct Args {
    /// Stock workbook: .xlsx, .xlsm, .xlsb, .xls, .ods, .csv, or a folder of .csv files.
    stock: PathBuf,
    /// Pump workbook. Leave the cell of a dimension empty while it is not measured, and write the
    /// expected range into the columns `<dimension> low` and `<dimension> high`.
    pumps: PathBuf,
    /// Workbook of past readings, for pumps without a range: a sheet `Past readings` with a column
    /// Model and one per dimension, headed as in the pump workbook. An old pump workbook will do.
    #[arg(long, value_name = "FILE")]
    history: Option<PathBuf>,
    /// Spacing of the values examined, with unit; 0.0005 in, or 0.01 mm where a model is metric,
    /// unless given.
    #[arg(long, value_name = "LENGTH", allow_hyphen_values = true)]
    step: Option<String>,
    /// Percent of outages in which the trolley must serve every pump.
    #[arg(long, default_value = "95", value_name = "PERCENT", allow_hyphen_values = true)]
    probability: String,
    /// Percent of pumps that lie within the range from past readings.
    #[arg(long, default_value = "99", value_name = "PERCENT", allow_hyphen_values = true)]
    level: String,
    /// Number of outages drawn at random to choose the trolley for.
    #[arg(long, default_value_t = 500, value_name = "N", value_parser = clap::value_parser!(u32).range(1..=100_000))]
    pub(super) scenarios: u32,
    /// Number of other outages drawn at random, to count its service on.
    #[arg(long, default_value_t = 1_000, value_name = "N", value_parser = clap::value_parser!(u32).range(1..=1_000_000))]
    pub(super) checks: u32,
    /// Seed of the draws; that of the sheet Policy unless given, else 1.
    #[arg(long, value_name = "N", allow_hyphen_values = true)]
    seed: Option<String>,
    /// Workbook to write.
    #[arg(long, default_value = "provision.xlsx", value_name = "FILE")]
    out: PathBuf,
    #[command(flatten)]
    pub(super) json: Json,
    #[command(flatten)]
    settings: Settings,
    #[command(flatten)]
    pub(super) threads: Threads,
    #[command(flatten)]
    usual: CommonArgs,
}

const AFTER: &str = "\
Before the outage nothing is measured, but you know the range of a clearance,
or have past readings of pumps of the same model. Two answers, each with its
price:

  safe kits   per pump the cheapest pieces that do for every value of its
              range, whatever the other pumps need
  trolley     for all pumps together the cheapest pieces that kit every pump
              with the probability given; its service is counted on outages
              that it was not chosen for

A value for which no pieces in stock fit is reported as a gap: buy a
thickness, or ask about a limit, while there is time.

Examples:
  gapwright provision stock.xlsx pumps.xlsx
        ranges from the columns `Bare clearance low (in)` and
        `Bare clearance high (in)`
  gapwright provision stock.xlsx pumps.xlsx --history past.xlsx --level 99
        pumps without a range: from at least 8 past readings of their model
  gapwright provision stock.xlsx pumps.xlsx --probability 99 --scenarios 2000 --checks 5000
        a safer trolley, and a narrower interval of its service; slower
  gapwright provision stock.xlsx pumps.xlsx --step \"0.0002 in\" --out spring.xlsx
        finer steps, into a workbook of its own

Readings outrank ranges. At the time limit, or at Ctrl-C, the best result found
is written with its bounds. Manual: `gapwright help outage`.

Setting pieces aside does not set a clearance: measure each pump, then run
`gapwright kit`.";

/// Options as amounts.
struct Request {
    step: Option<Length>,
    probability: Millionths,
    level: Millionths,
}

/// Forecast as it was read, with the options.
pub(super) struct Reading {
    pub(super) outlook: Forecast,
    pub(super) question: ProvisionOptions,
    pub(super) level: Millionths,
}

impl Args {
    pub(super) fn files(&self) -> Files<'_> {
        let reads = [Some(&self.stock), Some(&self.pumps), self.history.as_ref()];
        let reads = reads.into_iter().flatten();
        self.usual.files(reads, &self.out, Some(&self.json))
    }

    fn sources(&self, memory: &Memory) -> Sources {
        self.usual.sources(
            [&self.stock, &self.pumps],
            [self.settings.given(), given([("Seed", &self.seed)])].concat(),
            memory,
        )
    }

    pub(super) fn read(&self, memory: &Memory, problems: &mut Problems) -> Option<Reading> {
        let asked = self.asked(problems);
        let ahead = Ahead { history: self.history.clone(), level: asked.level, step: asked.step };
        let read = read::forecast(&Sources { ahead, ..self.sources(memory) });
        let read = read.map(|outlook| {
            let warnings = outlook.job().warnings.clone();
            (outlook, warnings)
        });
        let outlook = gathered(read, problems)?;
        let question = ProvisionOptions {
            probability: asked.probability,
            scenarios: self.scenarios,
            checks: self.checks,
            seed: outlook.job().policy.seed,
            ..ProvisionOptions::new(asked.step.unwrap_or_else(|| outlook.usual_step()))
        };
        Some(Reading { outlook, question, level: asked.level })
    }

    /// A question that has no answer.
    pub(super) fn refusal(&self, fault: &ProvisionError) -> Refusal {
        let [stock, pumps] = [&self.stock, &self.pumps].map(|path| path.display().to_string());
        words::provision::fault(fault, &stock, &pumps).into()
    }

    /// The options as amounts; wrong ones are added to the problems.
    fn asked(&self, problems: &mut Problems) -> Request {
        let mut amounts = Amounts(problems);
        let step = self.step.as_ref().and_then(|text| {
            let fix = "write it as in --step \"0.0005 in\" or --step \"0.01 mm\"";
            amounts.length("--step", text, fix)
        });
        let mut percent = |option, text: &str, [least, most]: [i64; 2], expected| {
            let fits = |percent: i64| (least..=most).contains(&percent) && percent % 100 == 0;
            let fix = "write 95 for 95 %, not 0.95";
            let share = amounts.percent((option, text), fits, (expected, fix));
            share.unwrap_or(Millionths::from_raw(950_000))
        };
        Request {
            step,
            probability: percent(
                "--probability",
                &self.probability,
                [1_000_000, 100_000_000],
                "percent from 1 to 100, with at most four places",
            ),
            level: percent(
                "--level",
                &self.level,
                [50_000_000, 99_990_000],
                "percent from 50 to 99.99",
            ),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::forecast::usual_step;
    use crate::length::Unit;
    use clap::Parser;

    #[derive(Parser)]
    struct Line {
        #[command(flatten)]
        args: Args,
    }

    fn asked(more: &[&str]) -> (Request, u64) {
        let line = ["provision", "s.xlsx", "p.xlsx"].iter().chain(more);
        let args = Line::try_parse_from(line).map(|line| line.args).ok();
        let mut problems = Problems::new();
        let asked = args.map(|args| args.asked(&mut problems));
        (asked.unwrap(), problems.count())
    }

    #[test]
    fn percent_are_percent_and_steps_have_a_unit() {
        let (usual, none) = asked(&[]);
        assert_eq!(none, 0);
        assert_eq!((usual.probability.raw(), usual.level.raw()), (950_000, 990_000));
        assert!(usual.step.is_none());
        let (given, none) =
            asked(&["--probability", "99.5 %", "--level", "95", "--step", "1/2 thou"]);
        assert_eq!(none, 0);
        assert_eq!((given.probability.raw(), given.level.raw()), (995_000, 950_000));
        assert_eq!(given.step, Some(usual_step(Unit::Inch)));
        for wrong in [
            ["--probability", "0.95"],
            ["--probability", "101"],
            ["--probability", "-5"],
            ["--level", "100"],
            ["--step", "0.0005"],
            ["--step", "-0.01 mm"],
            ["--step", "thin"],
        ] {
            assert_eq!(asked(&wrong).1, 1, "{wrong:?}");
        }
    }
}
