//! The line on a terminal that says what is being done, and how far it is; gone once it is done.
//!
//! Drawing, pace and the terminal's width are indicatif's, which draws nothing where standard error is no terminal.

use std::time::Duration;

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

use super::plain;
use super::voice::{Voice, complain};
use crate::choose::watch::{News, Step};
use crate::decimal::{Money, show_money};
use crate::plan::Aim;
use crate::words;

/// The line; it goes when this is dropped.
pub(super) struct Progress(ProgressBar);

impl Progress {
    /// Shows what is being done.
    pub(super) fn new(what: &str, voice: Voice) -> Progress {
        let bar = match voice.is_quiet() {
            true => ProgressBar::hidden(),
            false => ProgressBar::with_draw_target(None, ProgressDrawTarget::stderr()),
        };
        if let Ok(style) = ProgressStyle::with_template("{elapsed:>3}  {wide_msg}") {
            bar.set_style(style);
        }
        let progress = Progress(bar);
        progress.tell(&format!("{what} ..."));
        progress.0.enable_steady_tick(Duration::from_millis(500));
        progress
    }

    /// Shows the next part of a search.
    pub(super) fn begin(&self, part: &str) {
        self.tell(&format!("{part} ...  {BEST_SO_FAR}"));
    }

    /// Shows how far it is.
    pub(super) fn tell(&self, words: &str) {
        if !self.0.is_hidden() {
            self.0.set_message(plain::one_line(words).into_owned());
        }
    }

    /// Says something on standard error that stays there.
    pub(super) fn interject(&self, words: &str) {
        self.0.suspend(|| complain!("{words}"));
    }

    /// Takes the line off.
    pub(super) fn clear(&self) {
        self.0.finish_and_clear();
    }
}

impl Drop for Progress {
    fn drop(&mut self) {
        self.clear();
    }
}

const BEST_SO_FAR: &str = "(Ctrl-C writes the best so far)";

/// How far the choice of pieces is.
pub(super) fn of_news(news: &News, currency: &str) -> String {
    let show = |value: i64| match news.aim {
        Aim::Waste | Aim::Purchase => format!("{} {currency}", show_money(Money::from_raw(value))),
        Aim::ServedWeight | Aim::ServedOf(_) => (-value).to_string(),
        _ => value.to_string(),
    };
    format!(
        "{} pumps  {}: {}, bound {}, gap {}, open {}  {BEST_SO_FAR}",
        news.pumps,
        words::aim(news.aim),
        show(news.value),
        show(news.bound),
        show((news.value - news.bound).abs()),
        news.open,
    )
}

/// How far a provision is.
pub(super) fn of_step(step: &Step) -> String {
    let what = words::part(step.part);
    let of = match step.of {
        0 => String::new(),
        of => format!(" of {of}"),
    };
    format!("{what}: {}{of}  {BEST_SO_FAR}", step.done)
}
