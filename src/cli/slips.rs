//! `gapwright slips`: a plan on paper, as one page that prints on A4 and on Letter.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use super::Common;
use super::common_args::CommonArgs;
use super::files::Files;
use super::from_command_line;
use super::outage::open;
use super::run::{Ended, Refusal, Run, gathered, gathered_job};
use super::settings::{Judging, given};
use super::voice::{must_see, out};
use crate::issue::key;
use crate::model::NOT_FIT;
use crate::outage::{Outage, PlaceInOutage};
use crate::outage_file::outage_name;
use crate::outage_job::job_with;
use crate::paper::{
    ELSEWHERE, GridFault, LabelGrid, OldSlips, PaperPage, PaperParts, PrintedPlan, SlipChanges,
    changes_since, page,
};
use crate::problem::{Place, Problem, Problems, fix_name};
use crate::read::{self, Memory, PlannedKits};
use crate::show::counted;
use crate::verify::{Breach, Verified, verify_kits};
use crate::words;

/// Arguments of `slips`.
#[derive(clap::Args)]
#[command(after_long_help = AFTER)]
pub(super) struct Args {
    /// Plan that `kit` wrote: its workbook or its JSON.
    plan: PathBuf,
    /// Stock workbook of the plan.
    stock: PathBuf,
    /// Pump workbook of the plan.
    pumps: PathBuf,
    /// Page to write, for a browser to print.
    #[arg(long, default_value = "slips.html", value_name = "FILE")]
    out: PathBuf,
    /// Parts to print; all unless given.
    #[arg(long, value_name = "PART", value_enum, value_delimiter = ',')]
    only: Vec<Part>,
    /// Put each drawing on a page of its own after its slip, as wide as the paper.
    #[arg(long)]
    large_drawings: bool,
    /// Pump to print; may be given several times. All unless given.
    #[arg(long, value_name = "TAG")]
    pump: Vec<String>,
    /// Older plan, as its workbook: only the slips that changed since it are printed, with a list of those to tear up and
    /// those that stay true.
    #[arg(long, value_name = "FILE")]
    since: Option<PathBuf>,
    /// Labels on a sheet, across and down, such as 3x8.
    #[arg(long, value_name = "COLUMNSxROWS")]
    labels: Option<String>,
    /// Width and height of a label, such as 70x37; in millimetres unless a unit is given.
    #[arg(long, value_name = "WIDTHxHEIGHT")]
    label_size: Option<String>,
    /// Distance of the first label from the left and the upper edge of the sheet.
    #[arg(long, value_name = "LEFTxTOP")]
    label_margin: Option<String>,
    /// Gaps between labels, across and down.
    #[arg(long, value_name = "ACROSSxDOWN")]
    label_gap: Option<String>,
    /// Outage file of the plan: its name, the plan's number and the numbers of the kits stand on every page.
    #[arg(long, value_name = "FILE")]
    outage: Option<PathBuf>,
    /// Address at which `gapwright page NAME.outage --port PORT` answers, such as http://127.0.0.1:8470: the codes of the
    /// slips are then links to the bench. The setting `Page address` of the Policy sheet does the same.
    #[arg(long, value_name = "ADDRESS")]
    page_address: Option<String>,
    #[command(flatten)]
    judging: Judging,
    #[command(flatten)]
    usual: CommonArgs,
}

/// Part of the page.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
enum Part {
    /// Kit slips, one page to a pump.
    Slips,
    /// Bag labels.
    Labels,
    /// Picking list.
    Picking,
}

const AFTER: &str = "\
Examples:
  gapwright kit stock.xlsx pumps.xlsx
  gapwright slips kit-plan.xlsx stock.xlsx pumps.xlsx
        writes slips.html: picking list, a slip per pump, bag labels. Open it
        in a browser and print it on A4 or Letter at 100 %
  gapwright slips kit-plan.xlsx stock.xlsx pumps.xlsx --only slips --pump P-208
        one slip
  gapwright slips kit-plan.xlsx stock.xlsx pumps.xlsx --only labels --labels 3x8 --label-size 70x37 --label-margin 0x0.5
        labels on an adhesive sheet: 3 across and 8 down, each 70 mm wide and
        37 mm high, the first one 0.5 mm below the upper edge
  gapwright slips new.xlsx stock.xlsx pumps.xlsx --since kit-plan.xlsx
        only the slips that changed, and a list of those to tear up
  gapwright slips plan.json stock.xlsx pumps.xlsx --outage week-12.outage
        with the outage's name, the plan's number and the kits' numbers

Every kit is worked out again before it is printed. The figures and words are
those of the sheet Kits. Give the rules that the plan was made by, as for
`kit`.

Manual: `gapwright help paper`.";

/// Everything that is printed.
struct Read {
    planned: PlannedKits,
    parts: PaperParts,
    pumps: Option<BTreeSet<usize>>,
    old: Option<OldSlips>,
}

impl Args {
    fn files(&self) -> Files<'_> {
        let reads = [&self.plan, &self.stock, &self.pumps].into_iter().chain(&self.since);
        Files {
            writes: Vec::new(),
            texts: vec![("--out", self.out.clone())],
            outage: self.outage.as_deref(),
            ..self.usual.files(reads, Path::new(""), None)
        }
    }

    fn read(
        &self,
        outage: Option<&Outage>,
        memory: &mut Memory,
        problems: &mut Problems,
    ) -> Option<Read> {
        self.check_name(problems);
        let parts = self.parts(problems);
        let settings = [self.judging.given(), given([("Page address", &self.page_address)])];
        let settings = settings.concat();
        let sources = self.usual.sources([&self.stock, &self.pumps], settings, memory);
        let job = match outage {
            Some(outage) => job_with(&sources, outage, problems)?,
            None => gathered_job(read::job(&sources), problems)?,
        };
        let planned = gathered(read::planned_kits(&self.plan, job, memory), problems)?;
        if let Some(last) = outage.map(Outage::last_plan) {
            let code = last.map_or("none", |plan| plan.code.as_str());
            if code != planned.id {
                problems.add(Problem::new(
                    Place::file(&self.plan.display().to_string()),
                    format!("the plan {}, and the last plan of the outage is {code}", planned.id),
                    "the last plan of the outage file",
                    "give that plan, or leave --outage out",
                ));
            }
        }
        let pumps = self.wanted(&planned, problems);
        let old = match &self.since {
            Some(path) => {
                let read = read::old_slips(path, memory).map(|old| (old, Vec::new()));
                Some(gathered(read, problems)?)
            }
            None => None,
        };
        Some(Read { pumps, old, parts: parts?, planned })
    }

    fn check_name(&self, problems: &mut Problems) {
        let end = self.out.extension().unwrap_or_default();
        if !["html", "htm"].iter().any(|known| end.eq_ignore_ascii_case(known)) {
            problems.add(from_command_line(
                format!("--out {}", self.out.display()),
                "a file name ending in .html",
                "give the page such a name",
            ));
        }
    }

    fn parts(&self, problems: &mut Problems) -> Option<PaperParts> {
        let has = |part| self.only.is_empty() || self.only.contains(&part);
        let grid = self.grid(problems)?;
        Some(PaperParts {
            slips: has(Part::Slips),
            large_drawings: self.large_drawings,
            labels: has(Part::Labels).then_some(grid),
            picking: has(Part::Picking),
        })
    }

    fn grid(&self, problems: &mut Problems) -> Option<LabelGrid> {
        const OPTIONS: [&str; 4] = ["--labels", "--label-size", "--label-margin", "--label-gap"];
        let typed = [&self.labels, &self.label_size, &self.label_margin, &self.label_gap];
        let typed = typed.map(Option::as_deref);
        let faults = match LabelGrid::typed(typed) {
            Ok(grid) => return Some(grid),
            Err(faults) => faults,
        };
        for GridFault { measure, found, expected } in faults {
            let option = measure.map_or(String::new(), |at| format!("{} ", OPTIONS[at]));
            problems.add(from_command_line(
                format!("{option}{found}"),
                &expected,
                "give --labels COLUMNSxROWS and --label-size WIDTHxHEIGHT, and if needed --label-margin and --label-gap; see `gapwright help slips`",
            ));
        }
        None
    }

    /// Indices of the pumps that are asked for.
    fn wanted(&self, planned: &PlannedKits, problems: &mut Problems) -> Option<BTreeSet<usize>> {
        if self.pump.is_empty() {
            return None;
        }
        let pumps = &planned.job.pumps;
        let mut wanted = BTreeSet::new();
        for tag in &self.pump {
            match pumps.iter().position(|pump| key(&pump.tag) == key(tag)) {
                Some(index) => {
                    wanted.insert(index);
                }
                None => problems.add(from_command_line(
                    format!("--pump {tag}"),
                    "a pump of the plan",
                    &fix_name(tag, pumps.iter().map(|pump| pump.tag.as_str()), "correct the tag"),
                )),
            }
        }
        Some(wanted)
    }
}

pub(super) fn run(args: &Args, common: &Common) -> Ended {
    let mut run = Run::begin(common, args.files());
    let file = match &args.outage {
        Some(path) => Some(open(&mut run, path)?),
        None => None,
    };
    let outage = file.as_ref().map(|file| file.outage());
    let Read { planned, parts, mut pumps, old } = run
        .read("reading the plan and the workbooks", |memory, problems| {
            args.read(outage, memory, problems)
        })?;
    let place = args.outage.as_deref().zip(outage);
    let place =
        place.map(|(path, outage)| PlaceInOutage::of(&outage_name(path), outage, Vec::new()));
    let verified = run.work("working the kits out again", |_| args.verified(&planned))?;
    let date = run.date().to_string();
    let printed = PrintedPlan {
        verified: &verified,
        date: &date,
        place: place.as_ref(),
        pumps: None,
        changes: None,
        shorts: Some(&planned.shorts),
    };
    let changes = old.map(|old| changes_since(&printed, &old));
    if let Some(changes) = &changes {
        let changed = changes.printed.iter().copied();
        let wanted = |index: &usize| pumps.as_ref().is_none_or(|pumps| pumps.contains(index));
        pumps = Some(changed.filter(wanted).collect());
    }
    let printed = PrintedPlan { pumps: pumps.as_ref(), changes: changes.as_ref(), ..printed };
    let made = page(&printed, &parts);
    let status = run.deliver_all(&[made.html.clone().into_bytes()])?;
    tell(&run, &printed, &made);
    Ok(status)
}

impl Args {
    /// The plan with its kits worked out again.
    fn verified(&self, planned: &PlannedKits) -> Result<Verified, Refusal> {
        let PlannedKits { job, kits, layouts, id, .. } = planned.clone();
        let wrong = |found: String| {
            Problem::new(
                Place::file(&self.plan.display().to_string()),
                found,
                "kits that hold with the workbooks given",
                "give the workbooks, the models and the rules that the plan was made with, or make the plan again",
            )
        };
        let of_breaches = |breaches: Vec<Breach>| {
            let mut problems = Problems::new();
            breaches.iter().for_each(|breach| {
                problems.add(wrong(format!("a kit that does not hold: {breach}")))
            });
            Refusal::Problems(problems)
        };
        let verified = verify_kits(job, kits, layouts).map_err(of_breaches)?;
        let made = verified.planned().id();
        if made != id {
            return Err(wrong(format!("the plan {id}, of which the workbooks make {made}")).into());
        }
        Ok(verified)
    }
}

/// Reports what is on the page, and which pumps stay open.
fn tell(run: &Run, printed: &PrintedPlan<'_>, made: &PaperPage) {
    let to = run.voice();
    let count = |count: usize, what: &str| counted(i64::try_from(count).unwrap_or(i64::MAX), what);
    let mut parts = Vec::new();
    if made.slips > 0 {
        parts.push(count(made.slips, "slip"));
    }
    if made.labels > 0 {
        parts.push(count(made.labels, "label"));
    }
    let code = printed.verified.planned().id();
    let of = printed.place.map_or(String::new(), |place| format!(" ({})", place.words()));
    match parts.is_empty() {
        true => out!(to, "Plan {code}{of}."),
        false => out!(to, "Plan {code}{of}: {}.", parts.join(", ")),
    }
    if let Some(SlipChanges { since, tear_up, stay, elsewhere, .. }) = printed.changes {
        if !tear_up.is_empty() {
            must_see!(
                to,
                "Tear up these slips and labels of plan {since}: {}.",
                tear_up.join(", ")
            );
        }
        match stay.as_slice() {
            [] => out!(to, "No slip of plan {since} stays true."),
            stay => out!(to, "These slips of plan {since} stay true: {}.", stay.join(", ")),
        }
        if !elsewhere.is_empty() {
            must_see!(to, "{ELSEWHERE}: {}.", elsewhere.join(", "));
        }
    }
    let open = words::not_fit_tags(printed.verified);
    if !open.is_empty() {
        must_see!(to, "{NOT_FIT}: {}.", open.join(", "));
    }
    run.tell_written();
    out!(to, "Open it in a browser and print it at 100 %.");
}
