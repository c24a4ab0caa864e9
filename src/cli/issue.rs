//! `gapwright issue`: what was taken is written off, what came back is written on, and the log tells both.

mod args;
mod told;

pub(super) use args::Args;

use std::path::Path;

use super::Common;
use super::run::{Ended, Run, Stop};
use crate::issue::counts::Held;
use crate::issue::log::Log;
use crate::issue::record::Moves;
use crate::read::{self, Patched};
use crate::sheet::Book;
use crate::write;

/// Files as they were read, and the movements.
struct Done {
    stock: Book,
    held: Held,
    /// The log with its new lines, and the hash of the file as it was read, if it was there.
    log: Log,
    log_sha256: Option<String>,
    moves: Moves,
    /// The stock workbook for next time, where its counts could be changed in its own bytes.
    patched: Option<Patched>,
}

pub(super) fn run(args: &Args, common: &Common) -> Ended {
    let log = args.log();
    let mut run = Run::begin(common, args.files(&log));
    let date = run.date().to_string();
    let done = run.read("reading the plan, the stock and the log", |memory, problems| {
        args.read(&log, &date, memory, problems)
    })?;
    let anew = || write::stock_next(&done.stock, &done.held, &done.moves, &date);
    let stock = match &done.patched {
        Some(patched) => patched.bytes.clone(),
        None => run.made(anew())?,
    };
    let lines = log_with_lines(&log, &done, &mut run)?;
    let status = run.deliver_with_log(lines, done.log_sha256.is_some(), &stock)?;
    told::tell(args, &log, &done, run.voice());
    Ok(status)
}

/// The log with its new lines, if there are any.
fn log_with_lines(path: &Path, done: &Done, run: &mut Run) -> Result<Option<Vec<u8>>, Stop> {
    if done.moves.movements.is_empty() {
        return Ok(None);
    }
    let log = write::issue_log(&done.log, run.date());
    let log = run.made(log)?;
    run.sound(read::log_reads_back(path, &log, &done.log))?;
    run.sound(read::log_is_unchanged(path, done.log_sha256.as_deref()))?;
    Ok(Some(log))
}
