//! To whom a command's account goes: standard output, or standard error where that belongs to a list or a result for
//! programs, or nobody under `--quiet`.
//!
//! Nobody reading on (`| head`) is no failure, as it would be with `println!`: the files stand by then, and the exit
//! status must say so. Nothing from an input is acted on by the terminal.

use std::fmt::Arguments;
use std::io::Write;

use super::escape;

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
            false => line(std::io::stdout(), words),
        }
    }

    pub(super) fn insist(self, words: Arguments<'_>) {
        match self.quiet {
            true => line(std::io::stderr(), words),
            false => self.say(words),
        }
    }
}

/// Writes lines; what cannot be written is lost, since there is nobody to tell.
pub(super) fn line(mut to: impl Write, words: Arguments<'_>) {
    writeln!(to, "{}", escape::lines(&words.to_string())).ok();
}
