//! To whom a command's account goes: standard output, or standard error where that belongs to a list or a result for
//! programs, or nobody under `--quiet`.
//!
//! Nobody reading on (`| head`) is no failure, as it would be with `println!`: the files stand by then, and the exit
//! status must say so. A disk that is full is one: the first failure is kept, and [`settled`] makes it the end of the
//! run. Nothing from an input is acted on by the terminal.

use std::fmt::Arguments;
use std::io::{self, ErrorKind, Write};
use std::sync::OnceLock;

use super::{FAILED, PROBLEMS, escape};

/// Who is told.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Voice {
    quiet: bool,
    /// Standard output belongs to something for programs.
    stdout_taken: bool,
}

/// Prints a line of the account.
macro_rules! out {
    ($to:expr, $($words:tt)*) => { $to.say(format_args!($($words)*)) };
}

/// Prints a line on standard error.
macro_rules! warning {
    ($($words:tt)*) => { $crate::cli::voice::line(std::io::stderr(), format_args!($($words)*)) };
}

/// Prints what must never be missed: under `--quiet` it goes to standard error.
macro_rules! must_see {
    ($to:expr, $($words:tt)*) => { $to.insist(format_args!($($words)*)) };
}

pub(super) use {must_see, out, warning};

impl Voice {
    pub(super) fn new(quiet: bool, stdout_taken: bool) -> Voice {
        Voice { quiet, stdout_taken }
    }

    /// Whether only what is asked for and what must be seen is printed.
    pub(super) fn is_quiet(self) -> bool {
        self.quiet
    }

    pub(super) fn say(self, words: Arguments<'_>) {
        match self.stdout_taken {
            _ if self.quiet => {}
            true => line(std::io::stderr(), words),
            false => answer(format!("{}\n", escape::lines(&words.to_string())).as_bytes()),
        }
    }

    pub(super) fn insist(self, words: Arguments<'_>) {
        match self.quiet {
            true => line(std::io::stderr(), words),
            false => self.say(words),
        }
    }
}

/// Why standard output could not be written, if it could not.
static LOST: OnceLock<io::Error> = OnceLock::new();

/// Writes on standard output, and keeps the first failure.
pub(super) fn answer(bytes: &[u8]) {
    noted(io::stdout().write_all(bytes));
}

/// Passes on what was written so far, for a command that goes on for long.
pub(super) fn flush() {
    noted(io::stdout().flush());
}

/// Keeps why standard output could not be written. That nobody reads on is no failure.
pub(super) fn noted(written: io::Result<()>) {
    if let Err(error) = written
        && error.kind() != ErrorKind::BrokenPipe
    {
        LOST.set(error).ok();
    }
}

/// The exit status of a run that would end with this one, once standard output is written whole.
pub(super) fn settled(status: u8) -> u8 {
    noted(io::stdout().flush());
    let Some(error) = LOST.get() else {
        return status;
    };
    warning!(
        "standard output could not be written: {error}. What is missing there is lost; files that \
         were written stand. Free some space, or send the output elsewhere, and run it again"
    );
    match status {
        PROBLEMS => PROBLEMS,
        _ => FAILED,
    }
}

/// Writes lines on standard error; what cannot be written there is lost, since there is nobody to tell.
pub(super) fn line(mut to: impl Write, words: Arguments<'_>) {
    writeln!(to, "{}", escape::lines(&words.to_string())).ok();
}
