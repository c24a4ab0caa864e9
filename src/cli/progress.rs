//! The line on a terminal that says what is being done, and how far it is; gone once it is done.
//!
//! Drawing, pace and the terminal's width are indicatif's. Only the first second without a line is our own, so that
//! runs that are done by then leave a terminal as it is.

use std::io::IsTerminal;
use std::sync::mpsc::{Receiver, RecvTimeoutError, Sender, channel};
use std::thread::{self, JoinHandle};
use std::time::Duration;

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

use super::escape;
use super::voice::{Voice, warning};
use crate::choose::control::{PhaseProgress, Progress};
use crate::decimal::{Money, show_money};
use crate::plan::Objective;
use crate::words;

/// The line; it goes when this is dropped.
pub(super) struct Meter {
    bar: ProgressBar,
    shown: bool,
    /// Ends the wait for the first second, and who waits.
    wait: Option<(Sender<()>, JoinHandle<()>)>,
}

impl Meter {
    /// Shows what is being done, once it has taken a second.
    pub(super) fn new(what: &str, voice: Voice) -> Meter {
        let dumb = std::env::var_os("TERM").is_some_and(|term| term == "dumb");
        let shown = std::io::stderr().is_terminal() && !voice.is_quiet() && !dumb;
        let bar = ProgressBar::hidden();
        let wait = shown.then(|| {
            let (done, ended) = channel();
            let later = bar.clone();
            (done, thread::spawn(move || show_later(&later, &ended)))
        });
        let progress = Meter { bar, shown, wait };
        progress.tell(|| format!("{what} ..."));
        progress
    }

    /// Shows the next part of a search.
    pub(super) fn begin(&self, part: &str) {
        self.tell(|| format!("{part} ...  {BEST_SO_FAR}"));
    }

    /// Shows how far it is.
    pub(super) fn tell(&self, words: impl FnOnce() -> String) {
        if self.shown {
            let words = words();
            self.bar.set_message(escape::one_line(&words).into_owned());
        }
    }

    /// Says something on standard error that stays there.
    pub(super) fn interject(&self, words: &str) {
        self.bar.suspend(|| warning!("{words}"));
    }
}

impl Drop for Meter {
    fn drop(&mut self) {
        if let Some((done, waiting)) = self.wait.take() {
            drop(done);
            waiting.join().ok();
        }
        self.bar.finish_and_clear();
    }
}

/// Draws the line from the first second on, unless all is done by then.
fn show_later(bar: &ProgressBar, ended: &Receiver<()>) {
    let Err(RecvTimeoutError::Timeout) = ended.recv_timeout(Duration::from_secs(1)) else {
        return;
    };
    if let Ok(style) = ProgressStyle::with_template("{elapsed:>3}  {wide_msg}") {
        bar.set_style(style);
    }
    bar.set_draw_target(ProgressDrawTarget::stderr());
    bar.enable_steady_tick(Duration::from_millis(500));
}

const BEST_SO_FAR: &str = "(Ctrl-C writes the best so far)";

/// How far the choice of pieces is.
pub(super) fn of_news(news: &Progress, currency: &str) -> String {
    let show = |value: i64| match news.aim {
        Objective::Waste | Objective::Purchase => {
            format!("{} {currency}", show_money(Money::from_raw(value)))
        }
        Objective::ServedWeight | Objective::ServedOf(_) => (-value).to_string(),
        _ => value.to_string(),
    };
    format!(
        "{} pumps  {}: {}, bound {}, gap {}, open {}  {BEST_SO_FAR}",
        news.pumps,
        words::objective(news.aim),
        show(news.value),
        show(news.bound),
        show((news.value - news.bound).abs()),
        news.open,
    )
}

/// How far a provision is.
pub(super) fn of_step(step: &PhaseProgress) -> String {
    let what = words::part(step.part);
    let of = match step.of {
        0 => String::new(),
        of => format!(" of {of}"),
    };
    format!("{what}: {}{of}  {BEST_SO_FAR}", step.done)
}
