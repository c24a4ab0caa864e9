//! `gapwright issue`: what was taken is written off, what came back is written on, and the log tells both.

use std::path::{Path, PathBuf};

use super::findings::Findings;
use super::{Common, DONE, Files, complain, from_command_line, same, say};
use crate::issue::counts::Held;
use crate::issue::log::{How, Log};
use crate::issue::record::{self, Moves, Standing};
use crate::problem::{Place, Problem, Problems};
use crate::read::{self, Memory};
use crate::sheet::{Book, Cell};
use crate::write::{self, Placed};

/// Arguments of `issue`.
#[derive(clap::Args)]
#[command(
    after_long_help = AFTER,
    override_usage = "gapwright issue [OPTIONS] PLAN STOCK\n       \
                      gapwright issue [OPTIONS] STOCK --put-back TAG [--items ITEM=COUNT]\n       \
                      gapwright issue [OPTIONS] STOCK --finish"
)]
pub(super) struct Args {
    /// The plan (the workbook that `kit` wrote, with its sheet Issue filled in, or its JSON) and the
    /// stock workbook that it was made from; with --put-back or --finish the stock workbook alone.
    #[arg(required = true, num_args = 1..=2, value_names = ["PLAN", "STOCK"])]
    books: Vec<PathBuf>,
    /// Issue only the kit of this tag; may be given several times.
    #[arg(long, value_name = "TAG", conflicts_with_all = ["put_back", "finish"])]
    pump: Vec<String>,
    /// Put back what the log says is out for this tag; may be given several times.
    #[arg(long, value_name = "TAG", conflicts_with = "finish")]
    put_back: Vec<String>,
    /// With --put-back: only so many of an item; may be given several times.
    #[arg(long, value_name = "ITEM=COUNT", requires = "put_back")]
    items: Vec<String>,
    /// Record counts that differ from the log's as counted: goods that came in, a new count.
    #[arg(long, conflicts_with = "finish")]
    counted: bool,
    /// Only write the stock workbook that the last run of the log left unwritten.
    #[arg(long)]
    finish: bool,
    /// Stock workbook for next time, to write.
    #[arg(long, default_value = "stock-next.xlsx", value_name = "FILE")]
    out: PathBuf,
    /// Issue log, to read and add to; begun if it is not there.
    #[arg(long, default_value = "issue-log.xlsx", value_name = "FILE")]
    log: PathBuf,
    /// Date to record; today if not given.
    #[arg(long, value_name = "YYYY-MM-DD")]
    date: Option<String>,
    /// Write a copy of the sheets with what is wrong coloured and noted, if anything is.
    #[arg(long, value_name = "FILE")]
    mark: Option<PathBuf>,
    /// Replace the stock workbook for next time and the marked copy if they are there already; the
    /// stock workbook itself, too, if it is named with --out.
    #[arg(long)]
    force: bool,
}

const AFTER: &str = "\
On the day:
  gapwright kit stock.xlsx pumps.xlsx
        writes kit-plan.xlsx; print its Picking list and Kits, and pick
  (in kit-plan.xlsx, on the sheet Issue, fill in what went otherwise: how
  many were picked, what was put in instead, a note. An empty cell means as
  planned. Save.)
  gapwright issue kit-plan.xlsx stock.xlsx
        writes stock-next.xlsx, and adds a line a movement to issue-log.xlsx
  gapwright kit stock-next.xlsx next-pumps.xlsx
        the next plan starts from the counts as they are now

More:
  gapwright issue kit-plan.xlsx stock.xlsx --pump P-101 --pump P-102
        these kits only; the others later, from stock-next.xlsx and the same
        plan. Packs that are opened and sheets that are cut up go with the
        first kit that takes from them
  gapwright issue stock-next.xlsx --put-back P-101 --out stock-3.xlsx
        everything that is out for P-101 comes back
  gapwright issue stock-next.xlsx --put-back P-101 --items SH-010=2 --out stock-3.xlsx
        two pieces of SH-010 come back
  gapwright issue kit-plan.xlsx stock.xlsx --counted
        goods came in since the log's last line: each difference is recorded
        as counted
  gapwright issue stock.xlsx --finish
        the log was written and the stock workbook was not (the power went):
        writes it

A plan is refused when its stock has changed since: each count, reserved
count, kind, fit, thickness, tolerance, material or pack that differs is
listed, and each row that came or went. If only bins, prices, levels or
notes differ, that is a warning. Kits that were issued already are refused;
a kit that was put back whole can be issued again.

The stock workbook for next time has every sheet and every value of the one
that was read, in the same cells; formats are not carried, and a formula's
cell holds its value. A kit that is short in the plan is recorded with no
pieces, so that demand that was not met is seen later.

The log is written before the stock workbook, and is only ever added to. Its
lines are chained by SHA-256; a line that was changed, moved, removed or put
in by hand is refused with its cell. This finds slips; it does not stop
someone who works the hashes out again. One run at a time, please.";

impl Args {
    /// The plan, if one is asked for, and the stock.
    fn books(&self, problems: &mut Problems) -> Option<(Option<&PathBuf>, &PathBuf)> {
        let alone = self.finish || !self.put_back.is_empty();
        match (self.books.as_slice(), alone) {
            ([stock], true) => Some((None, stock)),
            ([plan, stock], false) => Some((Some(plan), stock)),
            (books, _) => {
                let (expected, mend) = match alone {
                    true => (
                        "the stock workbook alone",
                        "leave the plan out: the log knows what went out",
                    ),
                    false => (
                        "a plan and the stock workbook that it was made from",
                        "write gapwright issue PLAN STOCK",
                    ),
                };
                let count = books.len();
                let found = format!("{count} workbook{}", if count == 1 { "" } else { "s" });
                problems.add(from_command_line(found, expected, mend));
                None
            }
        }
    }

    /// What `--items` asks for.
    fn items(&self, problems: &mut Problems) -> Vec<(String, u32)> {
        let mut items = Vec::new();
        for text in &self.items {
            let parts = text.rsplit_once('=');
            let read = parts.and_then(|(item, count)| {
                let count: u32 = count.trim().parse().ok()?;
                let item = item.trim();
                (count > 0 && !item.is_empty()).then(|| (item.to_string(), count))
            });
            match read {
                Some(item) => items.push(item),
                None => problems.add(from_command_line(
                    format!("--items {text}"),
                    "a stock number, an equals sign and a whole number above 0",
                    "write it as in --items SH-010=2",
                )),
            }
        }
        items
    }

    /// What is wrong with the names of the files.
    fn check_files(&self, plan: Option<&PathBuf>, stock: &PathBuf, problems: &mut Problems) {
        let mut inputs: Vec<&PathBuf> = plan.into_iter().collect();
        // The stock workbook may be replaced by the one for next time, if that is said.
        if !(self.force && same(stock, &self.out)) {
            inputs.push(stock);
        }
        let files = Files {
            inputs,
            out: Some(&self.out),
            json: None,
            mark: self.mark.as_ref(),
            date: self.date.as_deref(),
        };
        files.check(problems);
        let is_workbook = |end: &std::ffi::OsStr| end.eq_ignore_ascii_case("xlsx");
        if !self.log.extension().is_some_and(is_workbook) {
            problems.add(from_command_line(
                format!("--log {}", self.log.display()),
                "a file name ending in .xlsx",
                "give the log such a name",
            ));
        }
        let others = [Some(stock), plan, Some(&self.out), self.mark.as_ref()];
        for other in others.into_iter().flatten() {
            if same(other, &self.log) {
                problems.add(from_command_line(
                    format!("{} as the log and as something else", other.display()),
                    "a file for the log alone",
                    "give the log another name",
                ));
            }
        }
    }
}

/// Everything that is read.
struct Inputs {
    stock: Book,
    held: Held,
    log: Log,
    log_sha256: Option<String>,
}

fn read_inputs(
    args: &Args,
    stock: &Path,
    memory: &mut Memory,
    problems: &mut Problems,
) -> Option<Inputs> {
    let book = read::book(stock, memory);
    let book = book.map_err(|problem| problems.absorb(problem)).ok();
    let held = book.as_ref().and_then(|book| read::held(book, problems));
    if let Some(book) = &book {
        warn_of_formulas(book, problems);
    }
    let log = match read::issue_log(&args.log, memory) {
        Ok(log) => Some(log),
        Err(found) => {
            problems.absorb(found);
            None
        }
    };
    let (log, log_sha256) = log?;
    Some(Inputs {
        stock: book?,
        held: held?,
        log,
        log_sha256,
    })
}

/// A formula that no program has calculated has no value to carry.
fn warn_of_formulas(book: &Book, problems: &mut Problems) {
    for sheet in &book.sheets {
        for row in &sheet.rows {
            for (column, cell) in &row.cells {
                if matches!(cell, Cell::Uncalculated(_)) {
                    problems.warn(Problem::new(
                        sheet.place(row.number, *column),
                        format!("the formula {}, which no program has calculated yet", cell.show()),
                        "a value to carry to the stock workbook for next time",
                        "nothing, if its text is enough there; else open and save the workbook in the spreadsheet program",
                    ));
                }
            }
        }
    }
}

pub(super) fn run(args: &Args, common: &Common) -> u8 {
    let books = args.books.iter().chain([&args.log]).collect();
    let findings = Findings::marked(common, args.mark.as_ref(), books, args.force);
    let mut problems = Problems::new();
    let items = args.items(&mut problems);
    let Some((plan, stock)) = args.books(&mut problems) else {
        return findings.refuse(problems);
    };
    args.check_files(plan, stock, &mut problems);
    if !problems.none() {
        return findings.refuse(problems);
    }
    let reading = super::working::working("reading the plan, the stock and the log");
    let memory = &mut common.memory.clone();
    let carried = plan.and_then(|plan| read::carried_so_far(plan, memory, &mut problems));
    let before = problems.count();
    let inputs = read_inputs(args, stock, memory, &mut problems);
    drop(reading);
    // With a stock and a log that can be read, and lines that are the plan's, whatever else is wrong is said in
    // the same run.
    let sound = problems.count() == before && (plan.is_none() || carried.is_some());
    let Some(inputs) = inputs.filter(|_| sound) else {
        return findings.refuse(problems);
    };
    let standing = Standing {
        counts: &inputs.held.counts,
        sha256: &inputs.stock.sha256,
        stock: Place::file(&stock.display().to_string()),
        log: &inputs.log,
        log_place: Place::file(&args.log.display().to_string()),
    };
    let moves = match &carried {
        _ if args.finish => Moves {
            after: record::finish(&standing, &mut problems),
            movements: Vec::new(),
        },
        Some(carried) => record::issue(carried, &args.pump, &standing, args.counted, &mut problems),
        None => record::put_back(
            &args.put_back,
            &items,
            &standing,
            args.counted,
            &mut problems,
        ),
    };
    let date = super::date(args.date.as_ref());
    warn_of_date(&date, &inputs.log, &standing.log_place, &mut problems);
    if !problems.none() {
        return findings.refuse(problems);
    }
    let warnings = problems.into_warnings();
    match write_files(args, &inputs, &moves, &date) {
        Ok(written) => {
            let written: Vec<&Path> = written.iter().map(PathBuf::as_path).collect();
            let status = findings.settle(warnings, DONE, &written, None);
            account(args, &inputs, &moves);
            status
        }
        Err((problem, before)) => {
            let before: Vec<&Path> = before.iter().map(PathBuf::as_path).collect();
            findings.fail(problem, warnings, &before)
        }
    }
}

/// A line of the log cannot be taken back, and its date is what demand is counted by.
fn warn_of_date(date: &str, log: &Log, place: &Place, problems: &mut Problems) {
    const YEAR: i32 = 366;
    let Some(last) = log.entries().last().map(|entry| entry.date.as_str()) else {
        return;
    };
    let [now, before] = [date, last].map(crate::day::number);
    let Some(days) = now.zip(before).map(|(now, before)| now - before) else {
        return;
    };
    let how = match days {
        ..0 => "earlier than",
        0..=YEAR => return,
        _ => "more than a year after",
    };
    problems.warn(Problem::new(
        place.clone(),
        format!("the date {date}, {how} that of the log's last line, {last}"),
        "lines in the order of their days",
        "give the day on which the pieces went out with --date, if it is another one",
    ));
}

/// Writes the log, then the stock workbook: should the run be ended between the two, the log knows what the stock
/// workbook lacks, and the next run finds it.
fn write_files(
    args: &Args,
    inputs: &Inputs,
    moves: &Moves,
    date: &str,
) -> Result<Vec<PathBuf>, (Problem, Vec<PathBuf>)> {
    let failed = |error: write::WriteError| (error.problem(), error.written_before());
    write::refuse(&args.out, args.force).map_err(failed)?;
    let stock =
        write::stock_next(&inputs.stock, &inputs.held, &moves.after, date).map_err(failed)?;
    let stock = Placed {
        path: &args.out,
        bytes: &stock,
        replace: args.force,
    };
    if moves.movements.is_empty() {
        write::place(&[stock]).map_err(failed)?;
        return Ok(vec![args.out.clone()]);
    }
    let mut log = inputs.log.clone();
    log.append(date, moves.movements.clone());
    let bytes = write::issue_log(&log, date).map_err(failed)?;
    // A log that could not be read back would be a log lost.
    let name = args.log.display().to_string();
    let back = read::issue_log_of(&name, bytes.clone(), &mut Memory::default());
    if back.as_ref() != Ok(&log) {
        let found = match back {
            Ok(_) => "a log that reads back otherwise than it was written".to_string(),
            Err(problems) => match problems.sorted().first() {
                Some(first) => format!(
                    "a log that does not read back ({}: {})",
                    first.place, first.found
                ),
                None => "a log that does not read back".to_string(),
            },
        };
        let defect = Problem::new(
            Place::file(&name),
            found,
            "a log that reads back as it was written",
            "this is a defect of gapwright: please report it with all workbooks",
        );
        return Err((defect, Vec::new()));
    }
    // Somebody else may have added to it meanwhile; what they added must not be lost.
    let now = read::sha256_of(&args.log);
    if now != inputs.log_sha256 {
        let changed = Problem::new(
            Place::file(&name),
            "a log that was changed while this run worked",
            "the log as it was read",
            "run it again, one run at a time",
        );
        return Err((changed, Vec::new()));
    }
    let log = Placed {
        path: &args.log,
        bytes: &bytes,
        replace: inputs.log_sha256.is_some(),
    };
    write::place(&[log, stock]).map_err(failed)?;
    Ok(vec![args.log.clone(), args.out.clone()])
}

/// What was done, on the terminal.
fn account(args: &Args, inputs: &Inputs, moves: &Moves) {
    let many = |count: usize, word: &str| match count {
        1 => format!("1 {word}"),
        _ => format!("{count} {word}s"),
    };
    let moved = |pick: &dyn Fn(&How) -> bool| {
        moves
            .movements
            .iter()
            .filter(|m| pick(&m.how))
            .collect::<Vec<_>>()
    };
    let pieces = |out: bool| -> i64 {
        let counts = moves.movements.iter().filter(|m| m.how != How::Counted);
        let counts = counts.map(|m| if out { m.out } else { -m.out });
        counts.filter(|count| *count > 0).sum()
    };
    let tags = |lines: &[&crate::issue::log::Movement]| {
        let mut tags: Vec<String> = lines
            .iter()
            .map(|m| m.tag.as_str())
            .filter(|t| !t.is_empty())
            .map(crate::issue::key)
            .collect();
        tags.sort_unstable();
        tags.dedup();
        tags.len()
    };
    let counted = moved(&|how| *how == How::Counted);
    if !counted.is_empty() {
        say!("Counted anew: {}.", many(counted.len(), "item"));
        for moved in &counted {
            if let Some(on_hand) = moved.on_hand {
                say!(
                    "  {}: {} on hand, {} in the log.",
                    moved.item,
                    on_hand.after,
                    on_hand.before
                );
            }
        }
    }
    if args.finish {
        say!(
            "The stock workbook of the last run of the log, which was missing: {}.",
            many(moves.after.len(), "count")
        );
    } else if args.put_back.is_empty() {
        let out = moved(&|how| !matches!(how, How::Counted | How::Short));
        let short = moved(&|how| *how == How::Short);
        let piece_count = usize::try_from(pieces(true)).unwrap_or(usize::MAX);
        say!(
            "Issued {}: {}.",
            many(tags(&out), "kit"),
            many(piece_count, "piece")
        );
        if !short.is_empty() {
            complain!(
                "Recorded as short, with no pieces: {}.",
                many(short.len(), "line")
            );
            for moved in short {
                complain!("  {}, {}: {}.", moved.tag, moved.place, moved.note);
            }
        }
    } else {
        let piece_count = usize::try_from(pieces(false)).unwrap_or(usize::MAX);
        say!("Put back {}.", many(piece_count, "piece"));
    }
    if !moves.movements.is_empty() {
        let begun = if inputs.log_sha256.is_none() {
            "Began"
        } else {
            "Added to"
        };
        let lines = many(moves.movements.len(), "line");
        say!("{begun} {}: {lines}.", args.log.display());
    }
    say!(
        "Wrote {}: the stock workbook for next time.",
        args.out.display()
    );
}
