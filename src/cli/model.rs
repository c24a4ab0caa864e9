//! `gapwright model`: the models that there are, their text, a file to start from, and a file tried with its own
//! example.

use std::path::{Path, PathBuf};

use super::files::Files;
use super::manual::print;
use super::run::{Ended, Refusal, Run, Solving, gathered_job};
use super::stack::tell_pump;
use super::voice::{Voice, must_see, out};
use super::{Common, DONE, WARNED, from_command_line};
use crate::analysis::Analysed;
use crate::choose::choose;
use crate::job::Job;
use crate::model::Model;
use crate::output::{WriteError, scratch};
use crate::plan::Kit;
use crate::problem::{Place, Problem, Problems};
use crate::read::{self, Library, Memory, STARTING_MODEL, Sources};
use crate::verify::{Verified, verify};
use crate::words;
use crate::write;

/// Arguments of `model`.
#[derive(clap::Args)]
#[command(after_long_help = AFTER)]
pub(super) struct Args {
    #[command(subcommand)]
    what: What,
}

#[derive(clap::Subcommand)]
enum What {
    /// List the models, each with its unit and title.
    List {
        /// Folder of the shop's own models (.toml), beside the built-in ones.
        #[arg(long, value_name = "DIR")]
        models: Option<PathBuf>,
    },
    /// Print the file of a model, or the materials table, comments and all.
    Show {
        /// Model, or `materials`.
        name: String,
        /// Folder of the shop's own models (.toml), beside the built-in ones.
        #[arg(long, value_name = "DIR")]
        models: Option<PathBuf>,
    },
    /// Write a commented model file to start from; an existing file is never replaced.
    New {
        /// The file, such as our-pump.toml.
        file: PathBuf,
    },
    /// Read a model file, find pieces for its own example, and print the stack-up.
    Check {
        /// The file; its folder gives its drawing and its materials table.
        file: PathBuf,
    },
}

const AFTER: &str = "\
Examples:
  gapwright model list
        the models that come with the program
  gapwright model show seal-setting
        the file of one of them, with the arithmetic in its comments
  gapwright model new our-pump.toml
        a file to start from; it passes its own check
  gapwright model check our-pump.toml
        reads the file, takes the example readings and pieces that
        `gapwright blank` would write, chooses a kit and prints its stack-up

Exit status of `model check`:
  0  the file is sound, and its example can be kitted
  1  its example cannot be kitted, or there are warnings
  2  the file has problems: all are listed

Manual: `gapwright help models`.";

pub(super) fn run(args: &Args, common: &Common) -> Ended {
    match &args.what {
        What::List { models } => list(models.as_deref(), common),
        What::Show { name, models } => show(name, models.as_deref(), common),
        What::New { file } => new(file, common),
        What::Check { file } => check(file, common),
    }
}

fn list(models: Option<&Path>, common: &Common) -> Ended {
    let mut run = Run::begin(common, Files { models, ..Files::default() });
    let found = run.read("reading the models", |_, problems| {
        let library = Library::open(models, problems);
        let names = library.names();
        names.iter().map(|name| library.find(name, problems)).collect::<Option<Vec<Model>>>()
    })?;
    let widest = found.iter().map(|model| model.name.chars().count()).max().unwrap_or(0);
    for Model { name, unit, title, .. } in &found {
        out!(run.voice(), "{name:<widest$}  {:<4}  {title}", unit.symbol());
    }
    run.end(DONE)
}

fn show(name: &str, models: Option<&Path>, common: &Common) -> Ended {
    let mut run = Run::begin(common, Files { models, ..Files::default() });
    let text = run.read("reading the models", |_, problems| {
        let library = Library::open(models, problems);
        let text = library.text_of(name).map(String::from);
        if text.is_none() {
            problems.add(library.unknown(name, Place::file("command line")));
        }
        text
    })?;
    print(text.as_bytes())
}

fn new(file: &Path, common: &Common) -> Ended {
    let mut run =
        Run::begin(common, Files { texts: vec![("--out", file.into())], ..Files::default() });
    run.read("looking at the file", |_, problems| {
        let shown = file.display();
        let mut wrong = |found: String, expected: &str, fix: &str| {
            problems.add(from_command_line(found, expected, fix));
        };
        if file.extension().is_none_or(|end| !end.eq_ignore_ascii_case("toml")) {
            let fix = "give it such a name; the pump workbook calls the model by it";
            wrong(shown.to_string(), "a file name ending in .toml", fix);
        }
        if std::fs::symlink_metadata(file).is_ok() {
            wrong(
                format!("{shown}, which is there already"),
                "a new file: a model is never replaced",
                "give another name, or take the file away",
            );
        }
        Some(())
    })?;
    let status = run.deliver_all(&[STARTING_MODEL.into()])?;
    let (to, shown) = (run.voice(), file.display());
    out!(to, "Wrote {shown}. Change it, then run");
    out!(to, "  gapwright model check {shown}");
    Ok(status)
}

fn check(file: &Path, common: &Common) -> Ended {
    let mut run = Run::begin(common, Files { reads: vec![file], ..Files::default() });
    let (model, job) = run.read("reading the model", |memory, problems| {
        let folder =
            file.parent().filter(|folder| *folder != Path::new("")).unwrap_or(Path::new("."));
        let library = Library::open(Some(folder), problems);
        let name = file.file_stem().unwrap_or_default().to_string_lossy();
        if !file.is_file() || file.extension().is_none_or(|end| end != "toml") {
            problems.add(from_command_line(
                file.display().to_string(),
                "a model file, NAME.toml",
                "check the path; `gapwright model new NAME.toml` writes one to start from",
            ));
            return None;
        }
        let model = library.find(&name, problems)?;
        let job = example(&model, folder, memory, problems)?;
        Some((model, job))
    })?;
    let policy = job.policy.clone();
    let verified = run.solve(&policy, |solving| kitted(job, solving))?;
    let to = run.voice();
    out!(to, "{} ({}): {}.", model.name, model.unit.symbol(), model.title);
    let mut met = true;
    for (pump, kit) in verified.plan().kits.iter().enumerate() {
        met &= tell(&verified, pump, kit, to);
    }
    let fine = met && !run.has_warnings();
    run.end(if fine { DONE } else { WARNED })
}

/// The outage of the model's own example, as `blank` writes it and every other command reads it.
fn example(model: &Model, folder: &Path, memory: &Memory, problems: &mut Problems) -> Option<Job> {
    let written = || -> Result<_, WriteError> {
        let (stock, pumps) = write::blank::workbooks(model)?;
        scratch(&[("stock.xlsx", &stock), ("pumps.xlsx", &pumps)])
    };
    let written = match written() {
        Ok(written) => written,
        Err(error) => {
            problems.add(error.problem());
            return None;
        }
    };
    let at = |name: &str| written.path().join(name);
    let read = read::job(&Sources {
        stock: at("stock.xlsx"),
        pumps: at("pumps.xlsx"),
        models: Some(folder.into()),
        memory: memory.clone(),
        examples: true,
        ..Sources::default()
    });
    // Nobody knows the folder in which the example stood.
    let within = written.path().display().to_string();
    let mut found = Problems::new();
    let job = gathered_job(read, &mut found);
    let name = |problem: &Problem| {
        let mut problem = problem.clone();
        problem.place.file = problem.place.file.replace(&within, "example");
        problem
    };
    found.sorted().into_iter().map(name).for_each(|problem| problems.add(problem));
    found.warnings().iter().map(name).for_each(|warning| problems.warn(warning));
    job
}

fn kitted(job: Job, solving: &Solving) -> Result<Verified, Refusal> {
    let plan = choose(&job, &solving.control("the example"));
    let plan = plan.map_err(|error| {
        let fix = "give the example fewer pieces, or lower most_pieces";
        Problem::new(
            Place::file("example"),
            error.to_string(),
            "an example that can be kitted",
            fix,
        )
    })?;
    verify(job, plan).map_err(Refusal::Breaches)
}

/// Prints the stack-up of a pump, or why it has no kit; whether it has one.
fn tell(verified: &Verified, pump: usize, kit: &Kit, to: Voice) -> bool {
    let job = verified.job();
    match kit {
        Kit::Served(packs) => {
            tell_pump(job, &Analysed::of(job, pump, packs.clone(), MOST_DRAWS), to);
            true
        }
        Kit::Short(shorts) => {
            must_see!(to, "The example cannot be kitted:");
            must_see!(to, "{}", words::reasons(job, &job.pumps[pump], shorts));
            false
        }
    }
}

/// Draws of each requirement of an example: a quick look.
const MOST_DRAWS: u64 = 1_000_000;
