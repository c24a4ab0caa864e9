//! `gapwright stack`: the engineer's stack-up of some pumps, with draws at random and sweeps.

use std::path::PathBuf;
use std::time::Duration;

use super::{DONE, FAILED, PROBLEMS, show_problems};
use crate::choose::choose;
use crate::choose::watch::Watch;
use crate::job::Job;
use crate::model::Form;
use crate::plan::{Kit, PackPick, stack};
use crate::problem::{Place, Problem, Problems, mend_name};
use crate::read::{self, Sources};
use crate::stack::monte_carlo::{Outcome, Plan as Draws};
use crate::stack::{judge, level_of_draws, report, simulate};
use crate::sweep::{self, Point, Sweep};
use crate::write;
use crate::write::analysis::Analysed;

/// Arguments of `stack`.
#[derive(clap::Args)]
#[command(after_long_help = AFTER)]
pub(super) struct Args {
    /// Pump workbook: .xlsx, .csv, or a folder of .csv files.
    pumps: PathBuf,
    /// Stock workbook: pieces are chosen afresh, or named by their item numbers.
    #[arg(long, value_name = "FILE")]
    stock: Option<PathBuf>,
    /// Plan that `kit --json` wrote: each pump has the pieces it has there (needs --stock).
    #[arg(long, value_name = "FILE", requires = "stock", conflicts_with = "pack")]
    plan: Option<PathBuf>,
    /// Pieces of one place, `PLACE=PIECE, PIECE`: once for each place of the model.
    #[arg(long, value_name = "PLACE=PIECES")]
    pack: Vec<String>,
    /// Pumps to work out, by tag; all unless given.
    #[arg(long = "pump", value_name = "TAG")]
    tags: Vec<String>,
    /// Move one thing over a range, `WHAT = FROM .. TO`; may be given several times.
    #[arg(long, value_name = "WHAT = FROM .. TO")]
    sweep: Vec<String>,
    /// Values in a sweep.
    #[arg(long, default_value_t = 21, value_name = "N", value_parser = clap::value_parser!(u32).range(2..=1001))]
    steps: u32,
    /// Choose the pieces anew at every step of a sweep instead of holding them (needs --stock).
    #[arg(long, requires = "stock", conflicts_with = "pack")]
    rechoose: bool,
    /// Workbook to write.
    #[arg(long, default_value = "stack-up.xlsx", value_name = "FILE")]
    out: PathBuf,
    /// Folder of model files (.toml) beside the built-in ones.
    #[arg(long, value_name = "DIR")]
    models: Option<PathBuf>,
    /// When a requirement counts as met: `worst case`, `nominal` or `expanded` (uncertainty).
    #[arg(long, value_name = "RULE", allow_hyphen_values = true)]
    acceptance: Option<String>,
    /// Coverage factor such as 2, or a level of confidence such as `95 %`.
    #[arg(long, value_name = "K", allow_hyphen_values = true)]
    coverage_factor: Option<String>,
    /// Seed of the draws.
    #[arg(long, value_name = "N", allow_hyphen_values = true)]
    seed: Option<String>,
    /// Most draws for one requirement.
    #[arg(long, default_value_t = 4_000_000, value_name = "N", value_parser = clap::value_parser!(u64).range(100_000..=1_000_000_000))]
    draws: u64,
    /// Date to print; today if not given.
    #[arg(long, value_name = "YYYY-MM-DD")]
    date: Option<String>,
    /// Replace the workbook if it is there already.
    #[arg(long)]
    force: bool,
}

const AFTER: &str = "\
Examples:
  gapwright stack pumps.xlsx --stock stock.xlsx --pump P-101
        pieces chosen afresh, for all pumps together; the stack-up of one
  gapwright stack pumps.xlsx --pump P-101 --pack \"bearing_shims=0.020 +/- 0.0003, 0.012 +/- 0.0003\" \\
        --pack \"cover_gasket=2 x 0.0625 +/- 0.001\"
        without any stock; uneven sides are written 0.5 +0 / -0.02 mm
  gapwright stack pumps.xlsx --stock stock.xlsx --plan plan.json
        the pieces of a plan
  ... --sweep \"bare_clearance = 0.050 .. 0.058\" --sweep \"bearing_shims plus_minus = 0 .. 0.001\"
        what if: NAME (a dimension), NAME plus_minus (a dimension or the pieces of a place),
        NAME running or cold (a thermal term), NAME target, lower or upper (a requirement)

The workbook has the stack-up with live formulas and pictures, the draws at random, the sweeps and
what it all follows from. It predicts: the recheck after fitting decides.";

impl Args {
    fn sources(&self) -> Sources {
        let settings = [
            ("Acceptance", &self.acceptance),
            ("Coverage factor", &self.coverage_factor),
            ("Seed", &self.seed),
        ];
        let given = settings
            .into_iter()
            .filter_map(|(name, value)| Some((name.to_string(), value.clone()?)));
        Sources {
            stock: self.stock.clone().unwrap_or_default(),
            pumps: self.pumps.clone(),
            models: self.models.clone(),
            settings: given.collect(),
        }
    }

    /// What is wrong with the command line itself.
    fn check(&self, problems: &mut Problems) {
        if self.stock.is_none() && self.pack.is_empty() {
            problems.add(from_command_line(
                "neither --stock nor --pack".into(),
                "pieces to work with",
                "give the stock workbook, or the pieces of each place",
            ));
        }
        if self
            .date
            .as_deref()
            .is_some_and(|date| write::check_date(date).is_err())
        {
            problems.add(from_command_line(
                format!("--date {}", self.date.as_deref().unwrap_or_default()),
                "a date such as 2027-03-15",
                "correct the date",
            ));
        }
        let is_workbook = |e: &std::ffi::OsStr| e.eq_ignore_ascii_case("xlsx");
        if !self.out.extension().is_some_and(is_workbook) {
            problems.add(from_command_line(
                format!("--out {}", self.out.display()),
                "a file name ending in .xlsx",
                "give the workbook such a name",
            ));
        }
        let inputs = [Some(&self.pumps), self.stock.as_ref(), self.plan.as_ref()];
        for input in inputs.into_iter().flatten() {
            if super::same(input, &self.out) {
                problems.add(from_command_line(
                    format!("{} both to be read and to be written", input.display()),
                    "an output that is no input",
                    "give the output another name",
                ));
            }
        }
    }
}

fn from_command_line(found: String, expected: &str, mend: &str) -> Problem {
    Problem::new(Place::file("command line"), found, expected, mend)
}

/// A pump to work out, with its pieces.
struct Chosen {
    pump: usize,
    packs: Vec<PackPick>,
    sweeps: Vec<Sweep>,
}

pub(super) fn run(args: &Args) -> u8 {
    let mut problems = Problems::new();
    args.check(&mut problems);
    let sources = args.sources();
    let read = match args.stock {
        Some(_) => read::job(&sources),
        None => read::pumps_alone(&sources),
    };
    let mut job = match read {
        Ok(job) => job,
        Err(found) => {
            problems.absorb(found);
            show_problems(&problems);
            return PROBLEMS;
        }
    };
    let wanted = wanted(&job, args, &mut problems);
    let chosen = if problems.none() {
        pieces(&mut job, args, &wanted, &mut problems)
    } else {
        Vec::new()
    };
    if !problems.none() {
        show_problems(&problems);
        return PROBLEMS;
    }
    if let Err(error) = write::refuse_existing(&args.out, args.force) {
        eprintln!("{error}.\nNothing was written.");
        return FAILED;
    }
    let mut analysed = Vec::new();
    for one in chosen {
        match analyse(&job, one, args) {
            Ok(one) => analysed.push(one),
            Err(error) => {
                eprintln!("problem: {error}\nNothing was written.");
                return PROBLEMS;
            }
        }
    }
    let date = args
        .date
        .clone()
        .unwrap_or_else(|| jiff::Zoned::now().date().to_string());
    let written = write::analysis::workbook(&job, &analysed, &date)
        .and_then(|workbook| write::files(&[(&args.out, &workbook)], args.force));
    if let Err(error) = written {
        eprintln!("{error}.\nNothing was written.");
        return FAILED;
    }
    for warning in &job.warnings {
        eprintln!("warning: {warning}\n");
    }
    for one in &analysed {
        account(&job, one);
    }
    println!("Wrote {}.", args.out.display());
    println!(
        "The stack-up predicts, it does not prove: measure each finished pack and recheck each clearance."
    );
    DONE
}

/// The pumps that are asked for, by index, each with its sweeps.
fn wanted(job: &Job, args: &Args, problems: &mut Problems) -> Vec<(usize, Vec<Sweep>)> {
    let tags: Vec<&str> = job.pumps.iter().map(|pump| pump.tag.as_str()).collect();
    let mut pumps = Vec::new();
    for tag in &args.tags {
        let found = tags
            .iter()
            .position(|known| known.to_lowercase() == tag.to_lowercase());
        match found {
            Some(pump) if !pumps.contains(&pump) => pumps.push(pump),
            Some(_) => {}
            None => problems.add(from_command_line(
                format!("--pump {tag}"),
                "a tag of the pump workbook",
                &mend_name(tag, tags.iter().copied(), "correct the tag"),
            )),
        }
    }
    if args.tags.is_empty() {
        pumps = (0..job.pumps.len()).collect();
    }
    pumps
        .into_iter()
        .map(|pump| {
            let model = job.model_of(&job.pumps[pump]);
            let mut sweeps = Vec::new();
            for text in &args.sweep {
                match Sweep::parse(text, model, args.steps) {
                    Ok(sweep) => sweeps.push(sweep),
                    Err(wrong) => problems.add(from_command_line(
                        format!("--sweep \"{text}\" for {}: {wrong}", job.pumps[pump].tag),
                        "something of the pump's model, and a range",
                        "correct it; --help shows examples; --pump leaves other models out",
                    )),
                }
            }
            (pump, sweeps)
        })
        .collect()
}

/// The pieces of each pump: stated, of a plan, or chosen afresh. A pump without a kit is said and
/// left out.
fn pieces(
    job: &mut Job,
    args: &Args,
    wanted: &[(usize, Vec<Sweep>)],
    problems: &mut Problems,
) -> Vec<Chosen> {
    let mut chosen = Vec::new();
    let mut take = |pump: usize, sweeps: &[Sweep], packs: Vec<PackPick>| {
        chosen.push(Chosen {
            pump,
            packs,
            sweeps: sweeps.to_vec(),
        });
    };
    if !args.pack.is_empty() {
        for (pump, sweeps) in wanted {
            match read::stated_pieces(job, *pump, &args.pack) {
                Ok(packs) => take(*pump, sweeps, packs),
                Err(found) => problems.absorb(found),
            }
        }
        return chosen;
    }
    let missing = |job: &Job, pump: usize| {
        eprintln!(
            "{}: left out, {}",
            job.pumps[pump].tag,
            if args.plan.is_some() {
                "the plan has no kit for it."
            } else {
                "no kit can be chosen for it (see `gapwright kit` for why)."
            }
        );
    };
    if let Some(plan) = &args.plan {
        match read::packs_of_plan(plan, job) {
            Ok((packs, input)) => {
                job.inputs.push(input);
                for (pump, sweeps) in wanted {
                    match packs.get(&job.pumps[*pump].tag.to_lowercase()) {
                        Some(packs) => take(*pump, sweeps, packs.clone()),
                        None => missing(job, *pump),
                    }
                }
            }
            Err(found) => problems.absorb(found),
        }
        return chosen;
    }
    let limit = Duration::from_secs(job.policy.time_limit.into());
    match choose(job, &Watch::patient().limit(limit)) {
        Ok(plan) => {
            for (pump, sweeps) in wanted {
                match &plan.kits[*pump] {
                    Kit::Served(packs) => take(*pump, sweeps, packs.clone()),
                    Kit::Short(_) => missing(job, *pump),
                }
            }
        }
        Err(error) => problems.add(from_command_line(
            error.to_string(),
            "places that can be filled in fewer ways",
            "lower most_pieces in the model, or name the pieces with --pack",
        )),
    }
    chosen
}

fn analyse(job: &Job, chosen: Chosen, args: &Args) -> Result<Analysed, crate::choose::ChooseError> {
    let pump = &job.pumps[chosen.pump];
    let unit = job.model_of(pump).unit;
    let parts = stack(job, pump, &chosen.packs);
    let draws = Draws {
        seed: job.policy.seed,
        level: level_of_draws(job.policy.coverage),
        most_draws: args.draws,
        ..Draws::default()
    };
    let drawn = pump
        .requirements
        .iter()
        .map(|requirement| simulate(&requirement.form, &parts, unit, &draws));
    let draws = drawn.collect();
    let mut sweeps = Vec::new();
    for sweep in chosen.sweeps {
        let points = if args.rechoose {
            let limit = Duration::from_secs(job.policy.time_limit.into());
            sweep::chosen_anew(job, chosen.pump, &sweep, &Watch::patient().limit(limit))?
        } else {
            sweep::held(job, chosen.pump, &chosen.packs, &sweep)
        };
        sweeps.push((sweep, points, args.rechoose));
    }
    Ok(Analysed {
        pump: chosen.pump,
        packs: chosen.packs,
        draws,
        sweeps,
    })
}

/// A pump's stack-up in a few lines.
fn account(job: &Job, one: &Analysed) {
    let pump = &job.pumps[one.pump];
    let unit = job.model_of(pump).unit;
    let parts = stack(job, pump, &one.packs);
    println!("{}", pump.tag);
    for (requirement, drawn) in pump.requirements.iter().zip(&one.draws) {
        let verdict = judge(&requirement.form, &parts, job.policy.guard());
        let figures = report(&requirement.form, &parts, job.policy.coverage, unit);
        let [low, high] = &figures.sides;
        println!(
            "  {}: {} by the {} rule, margin {} {unit}",
            requirement.label,
            if verdict.conforms() { "met" } else { "NOT MET" },
            job.policy.acceptance,
            verdict.margin().show(unit),
        );
        println!(
            "    value {:.5}, limits {:.5} to {:.5}; worst case -{:.5} +{:.5}, root sum square {:.5}, expanded {:.5} (k {:.3})",
            figures.value,
            low.limit,
            high.limit,
            low.worst,
            high.worst,
            figures.root_sum_square,
            low.expanded.max(high.expanded),
            low.factor.max(high.factor),
        );
        match drawn {
            Ok(outcome) => println!("    {}", drawn_words(outcome, &requirement.form)),
            Err(why) => println!("    cannot be drawn: {why}"),
        }
    }
    for (sweep, points, anew) in &one.sweeps {
        swept(job, one, sweep, points, *anew);
    }
}

fn drawn_words(outcome: &Outcome, form: &Form) -> String {
    let chance = outcome.conformity.map_or(0.0, |c| c.conforming);
    let what = match form {
        Form::Linear { .. } => "value",
        Form::GasketFill { .. } => "allowance",
    };
    format!(
        "{} draws: {what} {:.5}, standard uncertainty {:.2e}, from {:.5} to {:.5}; conforms with probability {:.5}{}",
        outcome.draws,
        outcome.mean,
        outcome.standard,
        outcome.symmetric[0],
        outcome.symmetric[1],
        chance,
        if outcome.settled {
            ""
        } else {
            "; NOT STABLE yet: raise --draws"
        }
    )
}

/// A sweep as a table.
fn swept(job: &Job, one: &Analysed, sweep: &Sweep, points: &[Point], anew: bool) {
    let pump = &job.pumps[one.pump];
    let unit = job.model_of(pump).unit;
    println!(
        "  {} moved, pieces {}: margin of each requirement by the rule ({unit})",
        sweep.label,
        if anew { "chosen anew" } else { "held" }
    );
    for point in points {
        let at = point.setting.show(unit);
        match &point.kit {
            None => println!(
                "    {at:>12}  {}",
                point.fault.unwrap_or("cannot be kitted")
            ),
            Some(kit) => {
                let margins = kit.requirements.iter().map(|(_, verdict)| {
                    let missed = if verdict.conforms() { "" } else { " NOT MET" };
                    format!("{:>10}{missed}", verdict.margin().show(unit))
                });
                println!("    {at:>12}  {}", margins.collect::<Vec<_>>().join("  "));
            }
        }
    }
}
