//! The arguments of `stack`.

use std::path::PathBuf;

use crate::choose::ChooseError;
use crate::cli::common_args::{CommonArgs, Json};
use crate::cli::files::Files;
use crate::cli::from_command_line;
use crate::cli::run::{Refusal, gathered};
use crate::cli::settings::given;
use crate::job::{Job, NotMeasured};
use crate::model::Model;
use crate::plan::{PackPick, Shortfall};
use crate::problem::{Place, Problem, Problems, fix_name};
use crate::read::{self, Memory, Sources};
use crate::sweep::{Knob, Sweep};

/// Arguments of `stack`.
#[derive(clap::Args)]
#[command(after_long_help = AFTER)]
pub(in crate::cli) struct Args {
    /// Pump workbook: .xlsx, .xlsm, .xlsb, .xls, .ods, .csv, or a folder of .csv files.
    pub(super) pumps: PathBuf,
    /// Stock workbook, to choose pieces from or to name them by their item numbers.
    #[arg(long, value_name = "FILE")]
    stock: Option<PathBuf>,
    /// Plan that `kit` wrote, workbook or JSON: its pieces, with the deviations on its sheet Issue
    /// (needs --stock).
    #[arg(long, value_name = "FILE", requires = "stock", conflicts_with = "pack")]
    plan: Option<PathBuf>,
    /// Pieces of one place, `PLACE=PIECE, PIECE`; once per place of the model. Separate pieces by a
    /// semicolon, or by a comma and a space.
    #[arg(long, value_name = "PLACE=PIECES")]
    pack: Vec<String>,
    /// Tag of a pump to work out, all pumps unless given; may be given several times.
    #[arg(long = "pump", value_name = "TAG")]
    tags: Vec<String>,
    /// Move one figure over a range, `NAME = FROM .. TO`; may be given several times.
    #[arg(long, value_name = "NAME = FROM .. TO")]
    sweep: Vec<String>,
    /// Move two figures at once, `NAME = FROM .. TO; NAME = FROM .. TO`: a map of where the
    /// requirements are met, with the pieces held; may be given several times.
    #[arg(long, value_name = "NAME = FROM .. TO; ...")]
    map: Vec<String>,
    /// Number of values in a sweep, and of each figure of a map (there at most 101).
    #[arg(long, default_value_t = 21, value_name = "N", value_parser = clap::value_parser!(u32).range(2..=1001))]
    steps: u32,
    /// Choose the pieces again at every step of a sweep instead of holding them: for this pump
    /// alone, out of the whole drawer (needs --stock).
    #[arg(long, requires = "stock", conflicts_with = "pack")]
    pub(super) rechoose: bool,
    /// Workbook to write.
    #[arg(long, default_value = "stack-up.xlsx", value_name = "FILE")]
    out: PathBuf,
    /// End with exit status 1 if a requirement is not met or a pump has no kit, for scripts; the files
    /// are written all the same.
    #[arg(long)]
    pub(super) fail: bool,
    #[command(flatten)]
    json: Json,
    /// Rule by which a requirement counts as met: `worst case` (unless given), `nominal` or `expanded`
    /// (uncertainty); see `gapwright help rules`.
    #[arg(long, value_name = "RULE", allow_hyphen_values = true)]
    acceptance: Option<String>,
    /// Coverage factor of the expanded rule, 2 unless given; or a level of confidence such as `95 %`.
    #[arg(long, value_name = "K", allow_hyphen_values = true)]
    coverage_factor: Option<String>,
    /// Seed of the draws at random, 1 unless given.
    #[arg(long, value_name = "N", allow_hyphen_values = true)]
    seed: Option<String>,
    /// Most draws per requirement.
    #[arg(long, default_value_t = 4_000_000, value_name = "N", value_parser = clap::value_parser!(u64).range(100_000..=1_000_000_000))]
    pub(super) draws: u64,
    #[command(flatten)]
    usual: CommonArgs,
}

const AFTER: &str = "\
Examples:
  gapwright stack pumps.xlsx --stock stock.xlsx --pump P-101
        chooses pieces for all pumps together; the stack-up of one
  gapwright stack pumps.xlsx --pump P-101 --pack \"cover_gasket=2 x 0.0625 +/- 0.001\" \\
        --pack \"bearing_shims=0.020 +/- 0.0003, 0.012 +/- 0.0003\"
        stated pieces, no stock; write uneven sides as 0.5 +0 / -0.02 mm
  gapwright stack pumps.xlsx --stock stock.xlsx --plan kit-plan.xlsx
        the pieces of a plan
  ... --sweep \"bare_clearance = 0.050 .. 0.058\"
  ... --sweep \"bearing_shims plus_minus = 0 .. 0.001\"
  ... --sweep \"bearing_shims total = 0.030 .. 0.034\"
  ... --sweep \"bearing_shims pieces = 1 .. 4\"
        what if, and where a verdict turns; NAME is as in the model file:
        a dimension             NAME, NAME plus_minus, NAME plus, NAME minus,
                                NAME standard_uncertainty
        the pieces of a place   NAME total; NAME plus_minus; NAME pieces (the
                                same total out of that many pieces)
        a thermal term          NAME running, NAME cold, NAME length,
                                NAME expansion
        a requirement           NAME target, NAME lower, NAME upper
  ... --map \"bare_clearance = 0.050 .. 0.058; snap_ring = 0.060 .. 0.064\"
        two of these at once

  ... --json stack-up.json --fail
        every figure for other programs; exit status 1 if a requirement is
        not met

The workbook has all verdicts in one table, the stack-up with live formulas and pictures, the draws at
random, the sweeps and the maps. Manual: `gapwright help stack-up`.

A stack-up predicts: the recheck after fitting decides.";

/// Most values of each figure of a map: a sheet that people look at has no more rows.
const MOST_OF_MAP: u32 = 101;

/// Job as it was read, with the pumps to work out.
pub(super) struct Reading {
    pub(super) job: Job,
    /// The pumps to work out.
    pub(super) wanted: Vec<Wanted>,
    /// Whether their pieces are chosen afresh; else they are given with each, or it has none.
    pub(super) afresh: bool,
    /// Pieces of each item, and plates of each lot, that the kits of all pumps take.
    pub(super) taken: [Vec<u32>; 2],
}

/// A pump to work out, by its index.
pub(super) struct Wanted {
    pub(super) pump: usize,
    pub(super) sweeps: Vec<Sweep>,
    pub(super) maps: Vec<[Sweep; 2]>,
    pub(super) packs: Option<Vec<PackPick>>,
    /// Reasons that it has none, where they are known.
    pub(super) shortfalls: Vec<Shortfall>,
}

impl Args {
    pub(super) fn files(&self) -> Files<'_> {
        let reads = [self.stock.as_ref(), Some(&self.pumps), self.plan.as_ref()];
        self.usual.files(reads.into_iter().flatten(), &self.out, Some(&self.json))
    }

    /// Whether there is a stock to choose other pieces from.
    pub(super) fn has_stock(&self) -> bool {
        self.stock.is_some()
    }

    fn sources(&self, memory: &Memory) -> Sources {
        let settings = given([
            ("Acceptance", &self.acceptance),
            ("Coverage factor", &self.coverage_factor),
            ("Seed", &self.seed),
        ]);
        let stock = self.stock.clone().unwrap_or_default();
        self.usual.sources([&stock, &self.pumps], settings, memory)
    }

    pub(super) fn read(&self, memory: &mut Memory, problems: &mut Problems) -> Option<Reading> {
        if self.stock.is_none() && self.pack.is_empty() {
            problems.add(from_command_line(
                "neither --stock nor --pack".into(),
                "pieces to work with",
                "give the stock workbook, or the pieces of each place",
            ));
        }
        let sources = self.sources(memory);
        let read = match self.stock {
            Some(_) => read::job(&sources),
            None => read::pumps_alone(&sources),
        };
        let mut job = gathered(read.map(|job| (job, Vec::new())), problems)?;
        let mut wanted = self.wanted(&job, problems);
        let mut taken = Vec::new();
        if problems.none() {
            taken = self.give_pieces(&mut job, &mut wanted, memory, problems);
        }
        taken.resize(job.stock.len(), 0);
        let taken = [taken, vec![0; job.plates.len()]];
        // Stated pieces add to what the job is warned of.
        problems.absorb(Problems::of_warnings(job.warnings.clone()));
        let afresh = self.pack.is_empty() && self.plan.is_none();
        Some(Reading { job, wanted, afresh, taken })
    }

    /// The pumps that are asked for, each with its sweeps.
    fn wanted(&self, job: &Job, problems: &mut Problems) -> Vec<Wanted> {
        let pumps = self.pumps(job, problems);
        let mut wanted = Vec::new();
        for pump in pumps {
            let model = job.model_of(&job.pumps[pump]);
            let tag = &job.pumps[pump].tag;
            let sweeps = self.sweep.iter().filter_map(|text| {
                let sweep = self.sweep_of((text, "--sweep", text), tag, model, problems)?;
                let total = matches!(sweep.knob, Knob::Total(_));
                if total && self.rechoose {
                    problems.add(from_command_line(
                        format!("--sweep \"{text}\" with --rechoose"),
                        "a total that is varied with the pieces held",
                        "leave --rechoose out: the total follows from the pieces that are chosen",
                    ));
                }
                Some(sweep)
            });
            let sweeps = sweeps.collect();
            let maps = self.map.iter();
            let maps = maps.filter_map(|text| self.map_of(text, tag, model, problems)).collect();
            wanted.push(Wanted { pump, sweeps, maps, packs: None, shortfalls: Vec::new() });
        }
        wanted
    }

    /// A sweep of a model, from its own text in that of an option; a problem otherwise.
    fn sweep_of(
        &self,
        (text, option, whole): (&str, &str, &str),
        tag: &str,
        model: &Model,
        problems: &mut Problems,
    ) -> Option<Sweep> {
        let wrong = match Sweep::parse(text, model, self.steps) {
            Ok(sweep) => return Some(sweep),
            Err(wrong) => wrong,
        };
        problems.add(from_command_line(
            format!("{option} \"{whole}\" for {tag}: {wrong}"),
            "something of the pump's model, and a range",
            "correct it; --help shows examples; --pump leaves other models out",
        ));
        None
    }

    /// Two sweeps of a model, for a map.
    fn map_of(
        &self,
        text: &str,
        tag: &str,
        model: &Model,
        problems: &mut Problems,
    ) -> Option<[Sweep; 2]> {
        let mut wrong = |found: String, expected: &str, fix: &str| {
            problems.add(from_command_line(found, expected, fix));
            None
        };
        if self.steps > MOST_OF_MAP {
            let found = format!("--map with --steps {}", self.steps);
            return wrong(found, "at most 101 values of each figure of a map", "take fewer steps");
        }
        let texts: Vec<&str> = text.split(';').collect();
        let [down, across] = texts[..] else {
            let expected = "two figures: NAME = FROM .. TO; NAME = FROM .. TO";
            let fix = "separate the two with a semicolon; --help shows examples";
            return wrong(format!("--map \"{text}\""), expected, fix);
        };
        let sweeps =
            [down, across].map(|one| self.sweep_of((one, "--map", text), tag, model, problems));
        let [Some(down), Some(across)] = sweeps else {
            return None;
        };
        if down.knob == across.knob {
            let fix = "give two different figures, or --sweep for one";
            problems.add(from_command_line(format!("--map \"{text}\""), "two figures", fix));
            return None;
        }
        Some([down, across])
    }

    /// The pumps of these tags, each once; all without any.
    fn pumps(&self, job: &Job, problems: &mut Problems) -> Vec<usize> {
        if self.tags.is_empty() {
            return (0..job.pumps.len()).collect();
        }
        let known: Vec<&str> = job.pumps.iter().map(|pump| pump.tag.as_str()).collect();
        let mut pumps = Vec::new();
        for tag in &self.tags {
            let is = |known: &&str| known.to_lowercase() == tag.to_lowercase();
            match known.iter().position(is) {
                Some(pump) if !pumps.contains(&pump) => pumps.push(pump),
                Some(_) => {}
                None if missing(job, tag).is_some() => {
                    let readings = missing(job, tag).into_iter().flat_map(NotMeasured::problems);
                    readings.for_each(|problem| problems.add(problem));
                }
                None => problems.add(from_command_line(
                    format!("--pump {tag}"),
                    "a tag of the pump workbook",
                    &fix_name(tag, known.iter().copied(), "correct the tag"),
                )),
            }
        }
        pumps
    }

    /// Gives each pump its pieces, as they are stated or stand in a plan; returns the pieces of each item that the kits
    /// of the plan take.
    fn give_pieces(
        &self,
        job: &mut Job,
        wanted: &mut [Wanted],
        memory: &mut Memory,
        problems: &mut Problems,
    ) -> Vec<u32> {
        let mut taken = Vec::new();
        if !self.pack.is_empty() {
            for one in wanted {
                match read::stated_pieces(job, one.pump, &self.pack) {
                    Ok(packs) => one.packs = Some(packs),
                    Err(found) => problems.absorb(found),
                }
            }
        } else if let Some(plan) = &self.plan {
            let read = read::packs_of_plan(plan, job, memory);
            if let Some((packs, input)) = gathered(read.map(|read| (read, Vec::new())), problems) {
                job.inputs.push(input);
                taken.resize(job.stock.len(), 0);
                for pick in packs.values().flatten().flat_map(|pack| &pack.picks) {
                    taken[pick.item] += pick.count;
                }
                for one in wanted {
                    one.packs = packs.get(&job.pumps[one.pump].tag.to_lowercase()).cloned();
                }
            }
        }
        taken
    }

    /// More ways to choose pieces than can be listed, as a problem.
    pub(super) fn too_much(&self, error: &ChooseError) -> Problem {
        let stock = self.stock.as_deref().unwrap_or(&self.pumps);
        error.problem(&stock.display().to_string(), &self.pumps.display().to_string())
    }

    /// Why a pump has no pieces.
    pub(super) fn why_none(&self) -> &'static str {
        match self.plan {
            Some(_) => "the plan has no kit for it",
            None => "no kit can be chosen for it",
        }
    }

    /// No pump has pieces.
    pub(super) fn nothing_to_do(&self, reading: &Reading) -> Refusal {
        let mut problems = Problems::new();
        for one in &reading.wanted {
            problems.add(Problem::new(
                Place::file(&self.pumps.display().to_string()),
                format!("{}: {}", reading.job.pumps[one.pump].tag, self.why_none()),
                "pieces to work with for one pump at least",
                "see with `gapwright kit` why there are none; or name the pieces with --pack",
            ));
        }
        Refusal::Problems(problems)
    }
}

/// The pump of this tag that is not measured.
fn missing<'a>(job: &'a Job, tag: &str) -> Option<&'a NotMeasured> {
    job.not_measured.iter().find(|pump| pump.tag.to_lowercase() == tag.to_lowercase())
}
