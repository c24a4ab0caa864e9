//! Memory for the choice: worked out before it is taken.
//!
//! # Decisions
//!
//! - Of the memory of a run half is for lists that are kept while it chooses, and a fifth for what is in hand
//!   while one of them is made. The rest is for the job that was read, for the linear programs and for growing lists,
//!   which may have room for twice their length. A workbook is written after the lists are gone.
//! - The two parts are counted apart. What is kept is the same for any number of threads, and what is in hand is
//!   taken again by itself where several threads together had too little: the answer does not hang on their number.

use std::sync::atomic::{AtomicUsize, Ordering};

/// Memory that a choice may hold. It says no before more is taken.
///
/// ```
/// use gapwright::choose::control::{Control, Room};
/// let room = Room::of_megabytes(1_000);
/// let control = Control::unlimited().within(&room);
/// # let _ = control;
/// assert_eq!(room.megabytes(), 1_000);
/// ```
#[derive(Debug)]
pub struct Room {
    megabytes: u64,
    /// Bytes left for lists that are kept.
    lists: AtomicUsize,
    /// Bytes for what is in hand while a list is made, and those of them that are left.
    whole_desk: usize,
    desk: AtomicUsize,
}

/// There is no room for a list.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct NoRoom {
    /// Memory of the run in megabytes; 0 where none was stated.
    pub(crate) megabytes: u64,
}

impl Room {
    /// Room of a run that may take so many megabytes (millions of bytes) in all.
    pub fn of_megabytes(megabytes: u64) -> Room {
        let tenth = usize::try_from(megabytes.saturating_mul(100_000)).unwrap_or(usize::MAX / 10);
        Room {
            megabytes,
            lists: AtomicUsize::new(tenth * 5),
            whole_desk: tenth * 2,
            desk: AtomicUsize::new(tenth * 2),
        }
    }

    /// One of so many equal parts of what is left, for searches side by side: none takes what another has.
    pub(super) fn part(&self, of: usize) -> Room {
        let left = |all: &AtomicUsize| AtomicUsize::new(all.load(Ordering::Relaxed) / of.max(1));
        Room {
            megabytes: self.megabytes,
            lists: left(&self.lists),
            whole_desk: self.whole_desk / of.max(1),
            desk: left(&self.desk),
        }
    }

    /// Megabytes that the run may take in all.
    pub fn megabytes(&self) -> u64 {
        self.megabytes
    }

    pub(super) fn keep(&self, bytes: usize) -> Result<(), NoRoom> {
        match take(&self.lists, bytes) {
            true => Ok(()),
            false => Err(NoRoom { megabytes: self.megabytes }),
        }
    }

    pub(super) fn let_go(&self, bytes: usize) {
        self.lists.fetch_add(bytes, Ordering::Relaxed);
    }

    /// Begins lists: their bytes are free again once the answer is dropped.
    pub(super) fn lists(&self) -> Lists<'_> {
        Lists(Some((self, self.lists.load(Ordering::Relaxed))))
    }

    /// Most entries of so many bytes that are in hand at once.
    pub(super) fn most_in_hand(&self, bytes: usize) -> usize {
        self.whole_desk / bytes.max(1)
    }

    pub(super) fn take_up(&self, bytes: usize) -> bool {
        take(&self.desk, bytes)
    }

    pub(super) fn put_down(&self, bytes: usize) {
        self.desk.fetch_add(bytes, Ordering::Relaxed);
    }
}

fn take(from: &AtomicUsize, bytes: usize) -> bool {
    let less = |left: usize| left.checked_sub(bytes);
    from.fetch_update(Ordering::Relaxed, Ordering::Relaxed, less).is_ok()
}

/// Lists under way, one set at a time: dropped, their bytes are free again.
pub(crate) struct Lists<'a>(Option<(&'a Room, usize)>);

impl Lists<'_> {
    /// Lists that nobody counts.
    pub(super) fn unbounded() -> Lists<'static> {
        Lists(None)
    }
}

impl Drop for Lists<'_> {
    fn drop(&mut self) {
        if let Some((room, before)) = self.0 {
            room.lists.store(before, Ordering::Relaxed);
        }
    }
}
