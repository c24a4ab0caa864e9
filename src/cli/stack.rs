//! `gapwright stack`: the engineer's stack-up of some pumps, with draws at random and sweeps.

use std::path::PathBuf;
use std::time::Duration;

use super::findings::Findings;
use super::usual::Usual;
use super::working::working;
use super::{Common, DONE, Files, complain, defect, from_command_line, insist, say};
use crate::choose::watch::Watch;
use crate::choose::{ChooseError, choose};
use crate::crush::crushes;
use crate::job::Job;
use crate::model::Form;
use crate::plan::{Kit, PackPick, stack, verdicts};
use crate::problem::{Place, Problem, Problems, mend_name};
use crate::read::{self, Sources};
use crate::stack::monte_carlo::{Outcome, Plan as Draws};
use crate::stack::{judge, level_of_draws, report, simulate};
use crate::sweep::{self, Point, Sweep};
use crate::verify::verify;
use crate::words;
use crate::write;
use crate::write::analysis::Analysed;

/// Arguments of `stack`.
#[derive(clap::Args)]
#[command(after_long_help = AFTER)]
pub(super) struct Args {
    /// Pump workbook: .xlsx, .xlsm, .xlsb, .xls, .ods, .csv, or a folder of .csv files.
    pumps: PathBuf,
    /// Stock workbook: pieces are chosen afresh, or named by their item numbers.
    #[arg(long, value_name = "FILE")]
    stock: Option<PathBuf>,
    /// Plan that `kit --json` wrote: each pump has the pieces it has there (needs --stock).
    #[arg(long, value_name = "FILE", requires = "stock", conflicts_with = "pack")]
    plan: Option<PathBuf>,
    /// Pieces of one place, `PLACE=PIECE, PIECE`: once for each place of the model. A semicolon, or
    /// a comma and a space, parts pieces.
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
    /// Choose the pieces anew at every step of a sweep instead of holding them: for this pump
    /// alone, out of the whole drawer (needs --stock).
    #[arg(long, requires = "stock", conflicts_with = "pack")]
    rechoose: bool,
    /// Workbook to write.
    #[arg(long, default_value = "stack-up.xlsx", value_name = "FILE")]
    out: PathBuf,
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
    #[command(flatten)]
    usual: Usual,
}

const AFTER: &str = "\
Examples:
  gapwright stack pumps.xlsx --stock stock.xlsx --pump P-101
        pieces chosen afresh, for all pumps together; the stack-up of one
  gapwright stack pumps.xlsx --pump P-101 --pack \"cover_gasket=2 x 0.0625 +/- 0.001\" \\
        --pack \"bearing_shims=0.020 +/- 0.0003, 0.012 +/- 0.0003\"
        without any stock; uneven sides are written 0.5 +0 / -0.02 mm
  gapwright stack pumps.xlsx --stock stock.xlsx --plan plan.json
        the pieces of a plan
  ... --sweep \"bare_clearance = 0.050 .. 0.058\"
  ... --sweep \"bearing_shims plus_minus = 0 .. 0.001\"
  ... --sweep \"bearing_shims pieces = 1 .. 4\"
        what if; NAME is as in the model file:
        a dimension             NAME, NAME plus_minus, NAME plus, NAME minus,
                                NAME standard_uncertainty
        the pieces of a place   NAME plus_minus; NAME pieces (the same total out of so many)
        a thermal term          NAME running, NAME cold, NAME length, NAME expansion
        a requirement           NAME target, NAME lower, NAME upper

The workbook has the stack-up with live formulas and pictures, the draws at
random, the sweeps and what it all follows from. It predicts: the recheck
after fitting decides.";

impl Args {
    fn sources(&self, common: &Common) -> Sources {
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
            models: self.usual.models.clone(),
            settings: given.collect(),
            memory: common.memory.clone(),
        }
    }

    fn files(&self) -> Files<'_> {
        let inputs = [Some(&self.pumps), self.stock.as_ref(), self.plan.as_ref()];
        Files {
            inputs: inputs.into_iter().flatten().collect(),
            out: Some(&self.out),
            json: None,
            mark: self.usual.mark.as_ref(),
            date: self.usual.date.as_deref(),
        }
    }

    /// More ways to choose pieces than can be listed, as a problem.
    fn too_much(&self, error: &ChooseError) -> Problem {
        let stock = self.stock.as_deref().unwrap_or(&self.pumps);
        error.problem(
            &stock.display().to_string(),
            &self.pumps.display().to_string(),
        )
    }

    /// What is wrong with the command line itself.
    fn check(&self, problems: &mut Problems) {
        self.files().check(problems);
        if self.stock.is_none() && self.pack.is_empty() {
            problems.add(from_command_line(
                "neither --stock nor --pack".into(),
                "pieces to work with",
                "give the stock workbook, or the pieces of each place",
            ));
        }
    }
}

/// A pump to work out, with its pieces.
struct Chosen {
    pump: usize,
    packs: Vec<PackPick>,
    sweeps: Vec<Sweep>,
}

pub(super) fn run(args: &Args, common: &Common) -> u8 {
    let books = args.stock.iter().chain([&args.pumps]).collect();
    let findings = Findings::marked(common, args.files().fit_mark(), books, args.usual.force);
    let mut problems = Problems::new();
    args.check(&mut problems);
    let sources = args.sources(common);
    let read = match args.stock {
        Some(_) => read::job(&sources),
        None => read::pumps_alone(&sources),
    };
    let mut job = match read {
        Ok(job) => job,
        Err(found) => {
            problems.absorb(found);
            return findings.refuse(problems);
        }
    };
    let wanted = wanted(&job, args, &mut problems);
    let (chosen, left_out) = if problems.none() {
        pieces(&mut job, args, &wanted, &mut problems)
    } else {
        Default::default()
    };
    let why = match args.plan {
        Some(_) => "the plan has no kit for it",
        None => "no kit can be chosen for it",
    };
    if problems.none() && chosen.is_empty() {
        for &pump in &left_out {
            problems.add(Problem::new(
                Place::file(&args.pumps.display().to_string()),
                format!("{}: {why}", job.pumps[pump].tag),
                "pieces to work with for one pump at least",
                "see with `gapwright kit` why there are none; or name the pieces with --pack",
            ));
        }
    }
    if !problems.none() {
        problems.absorb(Problems::of_warnings(job.warnings));
        return findings.refuse(problems);
    }
    if let Err(error) = args.files().refuse(args.usual.force) {
        return findings.fail(error.problem(), job.warnings, &[]);
    }
    let drawing = working("working out the stack-ups");
    let mut analysed = Vec::new();
    for one in chosen {
        match analyse(&job, one, args) {
            Ok(one) => analysed.push(one),
            Err(error) => {
                let mut problems = Problems::of_warnings(job.warnings);
                problems.add(args.too_much(&error));
                return findings.refuse(problems);
            }
        }
    }
    drop(drawing);
    let date = super::date(args.usual.date.as_ref());
    let written = write::analysis::workbook(&job, &analysed, &date)
        .and_then(|workbook| write::files(&[(&args.out, &workbook)], args.usual.force));
    if let Err(error) = written {
        return findings.fail(error.problem(), job.warnings, &[]);
    }
    let status = findings.settle(job.warnings.clone(), DONE, &[&args.out], None);
    let left_out = left_out.iter().map(|&pump| job.pumps[pump].tag.as_str());
    let left_out: Vec<&str> = left_out.collect();
    for tag in &left_out {
        complain!("{tag}: left out, {why} (see `gapwright kit`).");
    }
    for one in &analysed {
        account(&job, one);
    }
    total(&job, &analysed, &left_out);
    say!("Wrote {}.", args.out.display());
    say!(
        "The stack-up predicts, it does not prove: measure each finished pack and recheck each clearance."
    );
    status
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

/// The pieces of each pump: stated, of a plan, or chosen afresh; and the pumps without a kit, which
/// are left out.
fn pieces(
    job: &mut Job,
    args: &Args,
    wanted: &[(usize, Vec<Sweep>)],
    problems: &mut Problems,
) -> (Vec<Chosen>, Vec<usize>) {
    let (mut chosen, mut left_out) = (Vec::new(), Vec::new());
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
        return (chosen, left_out);
    }
    if let Some(plan) = &args.plan {
        match read::packs_of_plan(plan, job) {
            Ok((packs, input)) => {
                job.inputs.push(input);
                for (pump, sweeps) in wanted {
                    match packs.get(&job.pumps[*pump].tag.to_lowercase()) {
                        Some(packs) => take(*pump, sweeps, packs.clone()),
                        None => left_out.push(*pump),
                    }
                }
            }
            Err(found) => problems.absorb(found),
        }
        return (chosen, left_out);
    }
    let limit = Duration::from_secs(job.policy.time_limit.into());
    match choose(job, &Watch::patient().limit(limit)) {
        Ok(plan) => {
            // The checker has the last word on chosen pieces here as well.
            let plan = match verify(job.clone(), plan) {
                Ok(verified) => verified.plan().clone(),
                Err(breaches) => {
                    problems.add(defect(&breaches));
                    return (chosen, left_out);
                }
            };
            for (pump, sweeps) in wanted {
                match &plan.kits[*pump] {
                    Kit::Served(packs) => take(*pump, sweeps, packs.clone()),
                    Kit::Short(_) => left_out.push(*pump),
                }
            }
        }
        Err(error) => problems.add(args.too_much(&error)),
    }
    (chosen, left_out)
}

fn analyse(job: &Job, chosen: Chosen, args: &Args) -> Result<Analysed, ChooseError> {
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
    say!("{}", pump.tag);
    for (requirement, drawn) in pump.requirements.iter().zip(&one.draws) {
        let verdict = judge(&requirement.form, &parts, job.policy.guard());
        let figures = report(&requirement.form, &parts, job.policy.coverage, unit);
        let [low, high] = &figures.sides;
        say!(
            "  {}: {} by the {} rule, margin {} {unit}",
            requirement.label,
            if verdict.conforms() { "met" } else { "NOT MET" },
            job.policy.acceptance,
            verdict.margin().show(unit),
        );
        say!(
            "    value {:.5}, limits {:.5} to {:.5}; worst case -{:.5} +{:.5}, root sum square {:.5}, expanded {:.5} (k {:.3})",
            figures.value,
            low.limit,
            high.limit,
            low.worst,
            high.worst,
            low.root_sum_square.max(high.root_sum_square),
            low.expanded.max(high.expanded),
            low.factor.max(high.factor),
        );
        if let Some((gap, reached)) = figures.gap {
            let crush = 100.0 * (1.0 - gap / figures.value);
            match crush >= 0.0 {
                true => say!(
                    "    gap {gap:.5}, allowance reached {reached:.3}, crushed by {crush:.1} %"
                ),
                false => say!(
                    "    gap {gap:.5}, which the gasket does not fill: {:.5} short of it",
                    gap - figures.value
                ),
            }
        }
        match drawn {
            Ok(outcome) => say!("    {}", drawn_words(outcome, &requirement.form)),
            Err(why) => say!("    cannot be drawn: {why}"),
        }
    }
    let crushes = crushes(job, pump, &one.packs);
    for crush in &crushes {
        if let Some(warning) = words::crush_warning(job, pump, crush) {
            say!("  {warning}");
        }
    }
    if let Some(within) = words::crush_within(&crushes) {
        say!("  Gaskets are {within}");
    }
    for (sweep, points, anew) in &one.sweeps {
        swept(job, one, sweep, points, *anew);
    }
}

/// How many requirements are not met, and which pumps nothing is said of.
fn total(job: &Job, analysed: &[Analysed], left_out: &[&str]) {
    let each = analysed.iter();
    let all = each.flat_map(|one| verdicts(job, &job.pumps[one.pump], &one.packs));
    let all: Vec<bool> = all.map(|verdict| verdict.conforms()).collect();
    let missed = all.iter().filter(|met| !**met).count();
    let (count, rule) = (all.len(), job.policy.acceptance);
    if missed > 0 {
        insist!("{missed} of {count} requirements NOT MET by the {rule} rule.");
    } else {
        say!("{count} of {count} requirements met by the {rule} rule.");
    }
    if !left_out.is_empty() {
        say!("left out: {}", left_out.join(", "));
    }
}

fn drawn_words(outcome: &Outcome, form: &Form) -> String {
    let what = match form {
        Form::Linear { .. } => "value",
        Form::GasketFill { .. } => "allowance",
    };
    let conformity = outcome
        .conformity
        .map(|c| conforms(c.conforming, outcome.draws));
    format!(
        "{} draws: {what} {:.5}, standard uncertainty {:.2e}, from {:.5} to {:.5}{}{}",
        outcome.draws,
        outcome.mean,
        outcome.standard,
        outcome.symmetric[0],
        outcome.symmetric[1],
        conformity.unwrap_or_default(),
        if outcome.settled {
            ""
        } else {
            "; NOT STABLE yet: raise --draws"
        }
    )
}

/// What the draws say of the limits. A probability of one is never said: draws cannot show it.
fn conforms(share: f64, draws: u64) -> String {
    if share >= 1.0 {
        return format!("; none of {draws} draws misses its limits");
    }
    if share <= 0.0 {
        return format!("; all of {draws} draws miss its limits");
    }
    // Cut off, so that it is never rounded up to one.
    let cut = (share * 1e5).floor() / 1e5;
    format!("; conforms with probability {cut:.5}")
}

/// Characters of a requirement's label that head its column of a sweep.
const LABEL: usize = 30;
/// Characters of a margin and of the mark behind it.
const MARGIN: usize = 10;
const MARK: &str = " NOT MET";

/// A label of at most so many characters: beginnings and ends tell requirements apart.
fn shortened(label: &str, most: usize) -> String {
    let count = label.chars().count();
    if count <= most {
        return label.to_string();
    }
    let (front, back) = (
        most.saturating_sub(2).div_ceil(2),
        most.saturating_sub(2) / 2,
    );
    let front: String = label.chars().take(front).collect();
    let back: String = label.chars().skip(count - back).collect();
    format!("{front}..{back}")
}

/// A sweep as a table.
fn swept(job: &Job, one: &Analysed, sweep: &Sweep, points: &[Point], anew: bool) {
    let pump = &job.pumps[one.pump];
    let unit = job.model_of(pump).unit;
    say!(
        "  {} moved, pieces {}: margin of each requirement by the rule ({unit})",
        sweep.label,
        if anew {
            "chosen anew for this pump alone, out of the whole drawer"
        } else {
            "held"
        }
    );
    let labels = pump.requirements.iter();
    let labels: Vec<String> = labels.map(|r| shortened(&r.label, LABEL)).collect();
    let widths = labels.iter();
    let widths = widths.map(|label| label.chars().count().max(MARGIN + MARK.len()));
    let widths: Vec<usize> = widths.collect();
    let row = |first: &str, cells: &[String]| {
        let cells = cells.iter().zip(&widths);
        let cells: Vec<String> = cells.map(|(cell, w)| format!("{cell:<w$}")).collect();
        let row = format!("    {first:>12}  {}", cells.join("  "));
        say!("{}", row.trim_end());
    };
    row("moved to", &labels);
    for point in points {
        let at = point.setting.show(unit);
        match &point.kit {
            None => say!("    {at:>12}  {}", point.why()),
            Some(kit) => {
                let cells = kit.requirements.iter().map(|(_, verdict)| {
                    let mark = if verdict.conforms() { "" } else { MARK };
                    format!("{:>MARGIN$}{mark}", verdict.margin().show(unit))
                });
                row(&at, &cells.collect::<Vec<_>>());
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::{conforms, shortened};

    #[test]
    fn a_draw_that_misses_is_never_rounded_away() {
        assert_eq!(conforms(1.0, 9), "; none of 9 draws misses its limits");
        assert_eq!(conforms(0.0, 9), "; all of 9 draws miss its limits");
        let one_in_4_000_000 = conforms(0.999_999_75, 4_000_000);
        assert_eq!(one_in_4_000_000, "; conforms with probability 0.99999");
        assert_eq!(conforms(0.5, 9), "; conforms with probability 0.50000");
    }

    #[test]
    fn shortened_labels_still_differ() {
        let cold = shortened("Impeller running clearance", 30);
        let hot = shortened("Impeller running clearance, running hot", 30);
        assert_eq!(cold, "Impeller running clearance");
        assert_eq!(hot, "Impeller runni..e, running hot");
        assert_eq!(hot.chars().count(), 30);
    }
}
