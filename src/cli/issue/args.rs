//! The arguments of `issue`.

use std::path::PathBuf;

use super::Done;
use crate::cli::files::Files;
use crate::cli::from_command_line;
use crate::issue::record::{self, Moves, StockAndLog};
use crate::problem::{Place, Problems};
use crate::read::{self, Memory};

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
    /// Issue log, to read and add to; begun if it does not exist.
    #[arg(long, default_value = "issue-log.xlsx", value_name = "FILE")]
    pub(super) log: PathBuf,
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

The stock workbook for next time has every sheet and value of the one that
was read, in the same cells, without formats and formulas. A kit that is short
is recorded with no pieces, so that unmet demand is seen later.

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

    /// Reads everything and works out what moves.
    ///
    /// With a stock and a log that can be read, and lines that are the plan's, whatever else is wrong is said in the
    /// same run.
    pub(super) fn read(
        &self,
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
        let log = read::issue_log(&self.log, memory);
        let log = log.map_err(|found| problems.absorb(found)).ok();
        let sound = problems.count() == before && (plan.is_none() || carried.is_some());
        let ((stock, held), (mut log, log_sha256)) = stock.zip(held).zip(log).filter(|_| sound)?;
        let standing = StockAndLog {
            counts: &held.counts,
            sha256: &stock.sha256,
            stock: Place::file(&stock_file.display().to_string()),
            log: &log,
            log_place: Place::file(&self.log.display().to_string()),
        };
        let moves = match &carried {
            _ if self.finish => {
                Moves { after: record::finish(&standing, problems), ..Moves::default() }
            }
            Some(plan) => record::issue(plan, &self.pump, &standing, self.counted, problems),
            None => record::put_back(&self.put_back, &items, &standing, self.counted, problems),
        };
        record::warn_of_date(date, &standing, problems);
        log.append(date, moves.movements.clone());
        Some(Done { stock, held, log, log_sha256, moves })
    }

    /// Files that are read and written: the log is both.
    pub(super) fn files(&self) -> Files<'_> {
        Files {
            reads: self.books.iter().map(PathBuf::as_path).collect(),
            log: Some(&self.log),
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
