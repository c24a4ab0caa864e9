//! Limits of the memory for reading, whatever a file claims or unpacks to.
//!
//! How it is divided, by default of 512 MB: an eighth for a file's bytes, a quarter for what a library holds beside
//! the cells while it reads (texts that cells share, styles, names), three eighths for the cells of all workbooks
//! (`gather` says what each takes), of which as much again may be made once the files and the library's part are
//! gone.
//!
//! Memory in use is bounded, not addresses set aside: the C library of Linux reserves 64 MiB of addresses for each
//! thread that allocates, and a workbook is written by a thread per sheet, so a run under `ulimit -v` wants
//! `MALLOC_ARENA_MAX=1`. No single value may be longer than 4 MB and no workbook may unpack to more than 1 GB,
//! which bounds the time.

use crate::problem::{Place, Problem};

/// Memory that reading the inputs of one run may take, 512 MB by default.
///
/// Readers draw on it for the parts of a file that they keep: every cell, and the texts that cells share. The limits
/// leave room for the values made of the cells afterwards, which are about as large.
///
/// ```
/// use gapwright::read::Memory;
/// assert_eq!(Memory::default().megabytes(), 512);
/// ```
#[derive(Debug, Clone)]
pub struct Memory {
    limit: u64,
    cells_left: u64,
}

const MEGABYTE: u64 = 1_000_000;

impl Default for Memory {
    fn default() -> Memory {
        Memory::of_megabytes(512)
    }
}

impl Memory {
    /// Limit in megabytes (millions of bytes).
    pub fn of_megabytes(megabytes: u32) -> Memory {
        let limit = u64::from(megabytes) * MEGABYTE;
        Memory { limit, cells_left: limit / 8 * 3 }
    }

    /// As much again as there was at first, for what is read when the rest is gone.
    pub(super) fn renewed(&self) -> Memory {
        Memory { cells_left: self.limit / 8 * 3, ..self.clone() }
    }

    /// The limit in megabytes.
    pub fn megabytes(&self) -> u64 {
        self.limit / MEGABYTE
    }

    /// Largest file that is read, in bytes: they are all held while it is read.
    pub(super) fn largest_file(&self) -> u64 {
        self.limit / 8
    }

    /// Most bytes unpacked of one workbook: a bound on time rather than on memory.
    pub(super) fn most_unpacked(&self) -> u64 {
        self.limit * 2
    }

    /// Most bytes that a reader may hold besides the cells of one workbook: shared texts, styles, names.
    pub(super) fn most_held(&self) -> u64 {
        self.limit / 4
    }

    /// Longest single value or tag inside a part, in bytes: far more than a cell can hold.
    pub(super) fn longest_value(&self) -> u64 {
        (self.limit / 128).min(4 * MEGABYTE)
    }

    /// Takes room for `bytes` that are kept; false if there is not enough.
    #[must_use]
    pub(super) fn take(&mut self, bytes: u64) -> bool {
        match self.cells_left.checked_sub(bytes) {
            Some(left) => {
                self.cells_left = left;
                true
            }
            None => false,
        }
    }

    /// Problem of a file that needs more.
    pub(super) fn too_large(&self, file: &str, found: &str) -> Problem {
        Problem::new(
            Place::file(file),
            found,
            format!("what can be read with {} MB of memory", self.megabytes()),
            "save the sheets that are needed as a workbook of their own, without pictures and \
             empty formatted rows; or give more with --memory",
        )
    }
}
