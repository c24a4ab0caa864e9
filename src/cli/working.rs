//! A line on the terminal while something takes longer than a second, gone once it is done.

use std::io::IsTerminal;
use std::sync::mpsc::{RecvTimeoutError, Sender, channel};
use std::thread::{self, JoinHandle};
use std::time::{Duration, Instant};

/// The line; it goes when this is dropped.
pub(super) struct Working(Option<(Sender<()>, JoinHandle<()>)>);

/// Says what is being done, on a terminal, once it has taken a second.
pub(super) fn working(what: &'static str) -> Working {
    if super::is_quiet() || !std::io::stderr().is_terminal() {
        return Working(None);
    }
    let (done, ended) = channel();
    let start = Instant::now();
    let line = thread::spawn(move || {
        let mut shown = false;
        while let Err(RecvTimeoutError::Timeout) = ended.recv_timeout(Duration::from_millis(500)) {
            let seconds = start.elapsed().as_secs();
            if seconds >= 1 {
                eprint!("\r\u{1b}[K{seconds} s  {what} ...");
                shown = true;
            }
        }
        if shown {
            eprint!("\r\u{1b}[K");
        }
    });
    Working(Some((done, line)))
}

impl Drop for Working {
    fn drop(&mut self) {
        if let Some((done, line)) = self.0.take() {
            drop(done);
            line.join().ok();
        }
    }
}
