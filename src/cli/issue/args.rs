//! The arguments of `issue`.

use std::path::{Path, PathBuf};

use super::Done;
use crate::cli::files::Files;
use crate::cli::from_command_line;
use crate::issue::counts::Held;
use crate::issue::record::{self, Carried, Moves, StockAndLog};
use crate::output::is_same_file;
use crate::problem::{Place, Problem, Problems, Spot};
use crate::read::{self, CellCount, Memory, Patched};
use crate::sheet::Book;

/// Arguments of `issue`.
#[derive(clap::Args)]
#[command(
    after_long_help = AFTER,
    override_usage = "gapwright issue [OPTIONS] PLAN STOCK\n       \
                      gapwright issue [OPTIONS] STOCK --put-back TAG [--items ITEM=COUNT]\n       \
                      gapwright issue [OPTIONS] STOCK --finish"
)]
pub(in crate::cli) struct Args {
    /// Plan (the workbook that `kit` wrote, with its sheet Issue filled in, or its JSON) and the stock
    /// workbook that it was made from; with --put-back or --finish the stock workbook alone.
    #[arg(required = true, num_args = 1..=2, value_names = ["PLAN", "STOCK"])]
    books: Vec<PathBuf>,
    /// Tag of a kit to issue, all unless given; may be given several times.
    #[arg(long, value_name = "TAG", conflicts_with_all = ["put_back", "finish"])]
    pump: Vec<String>,
    /// Put back the pieces that are out for this tag by the log; may be given several times.
    #[arg(long, value_name = "TAG", conflicts_with = "finish")]
    pub(super) put_back: Vec<String>,
    /// With --put-back: this item and count alone; may be given several times.
    #[arg(long, value_name = "ITEM=COUNT", requires = "put_back")]
    items: Vec<String>,
    /// Record counts that differ from the log as counted: goods that came in, a new count.
    #[arg(long, conflicts_with = "finish")]
    counted: bool,
    /// Only write the stock workbook that an interrupted run left unwritten.
    #[arg(long)]
    pub(super) finish: bool,
    /// Stock workbook for next time, to write.
    #[arg(long, default_value = "stock-next.xlsx", value_name = "FILE")]
    pub(super) out: PathBuf,
    /// Issue log, to read and add to; begun if it does not exist. If not given: the issue-log.xlsx beside the plan, in
    /// this folder, or beside the stock workbook; a new one is begun beside the plan.
    #[arg(long, value_name = "FILE")]
    log: Option<PathBuf>,
    /// Date to record; today if not given.
    #[arg(long, value_name = "YYYY-MM-DD")]
    date: Option<String>,
    /// If anything is wrong, write a copy of the sheets with the wrong cells coloured and noted.
    #[arg(long, value_name = "FILE")]
    mark: Option<PathBuf>,
    /// Replace the stock workbook for next time and the marked copy if they exist. The stock workbook
    /// that is read is never replaced: keep it, and start the next run from the new one.
    #[arg(long)]
    force: bool,
}

/// Name of a log that is not named on the command line.
const LOG: &str = "issue-log.xlsx";

/// The stock workbook with the new counts in its own bytes; none where its format, a formula in a count or a new row
/// asks for a new workbook.
fn in_place(
    book: &Book,
    held: &Held,
    moves: &Moves,
    memory: &Memory,
    problems: &mut Problems,
) -> Option<Patched> {
    let file = Path::new(&book.file);
    let is_xlsx = file.extension().is_some_and(|end| end.eq_ignore_ascii_case("xlsx"));
    if !is_xlsx || !file.is_file() || !moves.new.is_empty() {
        return None;
    }
    let changes = moves.after.iter().filter_map(|(item, count)| {
        let lot = held.counts.get(item).filter(|lot| lot.on_hand != *count)?;
        let Spot::Cell { sheet, row, column } = &lot.place.spot else { return None };
        Some(CellCount { sheet: sheet.clone(), row: *row, column: *column, count: *count })
    });
    let changes: Vec<CellCount> = changes.collect();
    let patched = read::bytes_of(book, memory)
        .and_then(|bytes| read::patched(book, &bytes, &changes, memory));
    match patched {
        // A formula would go on with the old count, and the log with the new one.
        Ok(patched) => patched.filter(|patched| patched.formulas.is_empty()),
        Err(problem) => {
            problems.add(problem);
            None
        }
    }
}

const AFTER: &str = "\
On the day:
  gapwright kit stock.xlsx pumps.xlsx
        writes kit-plan.xlsx; print its Picking list and Kits, and pick
  (record any deviation on the sheet Issue of kit-plan.xlsx: count picked,
  pieces put in instead, a note. An empty cell means as planned. Save.)
  gapwright issue kit-plan.xlsx stock.xlsx
        writes stock-next.xlsx, and adds one line per movement to
        issue-log.xlsx
  gapwright kit stock-next.xlsx next-pumps.xlsx
        the next plan starts from the new counts

More:
  gapwright issue kit-plan.xlsx stock.xlsx --pump P-101 --pump P-102
        these kits only; the others later, from stock-next.xlsx and the same
        plan. Opened packs and cut plates go with the first kit that takes
        from them
  gapwright issue stock-next.xlsx --put-back P-101 --out stock-3.xlsx
        all pieces that are out for P-101 come back
  gapwright issue stock-next.xlsx --put-back P-101 --items SH-010=2 --out stock-3.xlsx
        two pieces of SH-010 come back
  gapwright issue kit-plan.xlsx stock.xlsx --counted
        goods came in since the last line of the log: records each
        difference as counted
  gapwright issue stock.xlsx --finish
        the log was written and the stock workbook was not (a power cut):
        writes it

A plan is refused if its stock has changed in a count, reserved count, kind,
fit, thickness, tolerance, material or pack; each change is listed. Changed
bins, prices, levels or notes are a warning. A kit is issued once; put back
whole, it can be issued again.

Use it for outages that cut pieces from plate or spoil opened packs, which an
outage file cannot book bag by bag. For all others the outage file does more
(`gapwright help running`), and `gapwright book FILE --from issue-log.xlsx` takes
this log over.

Of a stock workbook in .xlsx only the changed counts change: formats, formulas
and comments stay. Of other formats, and where a count is a formula or a plate
gives back a new lot, the values are written to a new workbook. A kit that is
short is recorded with no pieces, so that unmet demand is seen later.

The log is only added to, and is written before the stock workbook. A line
that was changed, moved, removed or inserted by hand is refused with its
cell. Run one `issue` at a time. Manual: `gapwright help issuing`.";

impl Args {
    /// The plan, if one is asked for, and the stock.
    fn books(&self, problems: &mut Problems) -> Option<(Option<&PathBuf>, &PathBuf)> {
        let alone = self.finish || !self.put_back.is_empty();
        match (self.books.as_slice(), alone) {
            ([stock], true) => Some((None, stock)),
            ([plan, stock], false) => Some((Some(plan), stock)),
            (books, _) => {
                let (expected, fix) = match alone {
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
                problems.add(from_command_line(found, expected, fix));
                None
            }
        }
    }

    /// Items and counts of `--items`.
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

    /// Folders in which the log may lie, the likeliest one first: that of the plan, this one, that of the stock.
    fn homes(&self) -> Vec<PathBuf> {
        let beside = |book: &PathBuf| book.parent().map(Path::to_path_buf).unwrap_or_default();
        let plan = self.books.first().filter(|_| self.books.len() > 1).map(beside);
        let stock = self.books.last().map(beside);
        plan.into_iter().chain([PathBuf::new()]).chain(stock).collect()
    }

    /// The log: the one that is named; else the first of those that are there, or a new one beside the plan.
    pub(super) fn log(&self) -> PathBuf {
        if let Some(log) = &self.log {
            return log.clone();
        }
        let places: Vec<PathBuf> = self.homes().iter().map(|home| home.join(LOG)).collect();
        let there = places.iter().find(|place| place.exists());
        there.or(places.first()).cloned().unwrap_or_else(|| LOG.into())
    }

    /// Adds a problem for each other log beside the files that has lines of the plan: its kits would be issued twice. A
    /// log that was named on the command line is meant; then it is a warning.
    fn check_other_logs(
        &self,
        log_file: &Path,
        carried: Option<&Carried>,
        memory: &Memory,
        problems: &mut Problems,
    ) {
        let Some(plan) = carried.map(|carried| carried.planned.id()) else { return };
        let mut seen = vec![log_file.to_path_buf()];
        for place in self.homes().iter().map(|home| home.join(LOG)) {
            if !place.exists() || seen.iter().any(|known| is_same_file(known, &place)) {
                continue;
            }
            seen.push(place.clone());
            let Ok((other, _)) = read::issue_log(&place, &mut memory.clone()) else { continue };
            let lines = other.entries().iter().filter(|entry| entry.movement.plan == plan).count();
            if lines == 0 {
                continue;
            }
            let problem = Problem::new(
                Place::file(&place.display().to_string()),
                format!("another issue log, with {lines} lines of this plan"),
                format!("one log for a plan; {} is used", log_file.display()),
                "give the one that counts with --log, and put the other one away",
            );
            match self.log {
                Some(_) => problems.warn(problem),
                None => problems.add(problem),
            }
        }
    }

    /// Reads everything and works out what moves.
    ///
    /// With a stock and a log that can be read, and lines that are the plan's, whatever else is wrong is said in the
    /// same run.
    pub(super) fn read(
        &self,
        log_file: &Path,
        date: &str,
        memory: &mut Memory,
        problems: &mut Problems,
    ) -> Option<Done> {
        let items = self.items(problems);
        let (plan, stock_file) = self.books(problems)?;
        if !problems.none() {
            return None;
        }
        let carried = plan.and_then(|plan| read::carried_so_far(plan, memory, problems));
        let before = problems.count();
        let stock = read::book(stock_file, memory);
        let stock = stock.map_err(|found| problems.absorb(found)).ok();
        let held = stock.as_ref().and_then(|book| read::held(book, problems));
        let log = read::issue_log(log_file, memory);
        let log = log.map_err(|found| problems.absorb(found)).ok();
        let sound = problems.count() == before && (plan.is_none() || carried.is_some());
        let ((stock, held), (mut log, log_sha256)) = stock.zip(held).zip(log).filter(|_| sound)?;
        let standing = StockAndLog {
            counts: &held.counts,
            sha256: &stock.sha256,
            stock: Place::file(&stock_file.display().to_string()),
            log: &log,
            log_place: Place::file(&log_file.display().to_string()),
        };
        let moves = match &carried {
            _ if self.finish => {
                Moves { after: record::finish(&standing, problems), ..Moves::default() }
            }
            Some(plan) => record::issue(plan, &self.pump, &standing, self.counted, problems),
            None => record::put_back(&self.put_back, &items, &standing, self.counted, problems),
        };
        record::warn_of_date(date, &standing, problems);
        self.check_other_logs(log_file, carried.as_ref(), memory, problems);
        log.append(date, moves.movements.clone());
        let patched = match problems.none() {
            true => in_place(&stock, &held, &moves, memory, problems),
            false => None,
        };
        if patched.is_none() {
            read::warn_of_uncalculated(&stock, problems);
        }
        Some(Done { stock, held, log, log_sha256, moves, patched })
    }

    /// Files that are read and written: the log is both.
    pub(super) fn files<'a>(&'a self, log: &'a Path) -> Files<'a> {
        Files {
            reads: self.books.iter().map(PathBuf::as_path).collect(),
            log: Some(log),
            writes: vec![("--out", self.out.clone())],
            mark: self.mark.as_deref(),
            instead: "; the stock workbook is no longer replaced in place: keep it, and start the next run \
                      from the one for next time",
            force: self.force,
            date: self.date.as_deref(),
            ..Files::default()
        }
    }
}
