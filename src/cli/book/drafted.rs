//! Bookings made of a file: each is judged on the state after those before it, and none is made twice.

use crate::digest::sha256;
use crate::issue::key;
use crate::outage::{Booking, Circumstances, Outage};
use crate::outage_file::Draft;

/// Bookings so far, and the outage as they leave it.
pub(super) struct Drafted {
    pub(super) after: Outage,
    pub(super) drafts: Vec<Draft>,
}

impl Drafted {
    pub(super) fn on(outage: &Outage) -> Drafted {
        Drafted { after: outage.clone(), drafts: Vec::new() }
    }

    /// Whether a request was booked before.
    pub(super) fn knows(&self, request: &str) -> bool {
        self.after.entries().iter().any(|entry| entry.facts.request == request)
    }

    /// Adds a booking, unless its request was booked before.
    pub(super) fn add(&mut self, facts: Circumstances, booking: Booking) {
        if self.knows(&facts.request) {
            return;
        }
        let due = self.after.due_before(&facts, &booking);
        for (facts, booking) in due.into_iter().chain([(facts.clone(), booking.clone())]) {
            if let Ok(entry) = self.after.book(facts, booking) {
                // What does not follow is refused by the file, which says why.
                self.after.follow(entry).ok();
            }
        }
        self.drafts.push((facts, booking));
    }
}

/// Request number of contents that were read: the same contents are booked once.
pub(super) fn number(code: &str, kind: &str, tag: &str, contents: &str) -> String {
    let hash = sha256(format!("{code}\n{kind}\n{}\n{contents}", key(tag)).as_bytes());
    format!("{code}-{kind}-{}", hash.chars().take(24).collect::<String>())
}
