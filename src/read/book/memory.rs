//! How much memory reading may take, whatever a file claims or unpacks to.

use crate::problem::{Place, Problem};

/// The memory that reading the inputs of one run may take, 512 MB unless said otherwise.
///
/// Every reader draws on it before it keeps anything. The shares leave room for what is made of
/// the cells afterwards, which is about as large as they are.
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
    /// At most so many megabytes (millions of bytes).
    pub fn of_megabytes(megabytes: u32) -> Memory {
        let limit = u64::from(megabytes) * MEGABYTE;
        Memory {
            limit,
            cells_left: limit / 4,
        }
    }

    /// The limit in megabytes.
    pub fn megabytes(&self) -> u64 {
        self.limit / MEGABYTE
    }

    /// The largest file that is read at all: its bytes are held while it is read.
    pub(super) fn largest_file(&self) -> u64 {
        self.limit / 8
    }

    /// The most that is unpacked of one workbook: a bound on time rather than on memory.
    pub(super) fn most_unpacked(&self) -> u64 {
        self.limit * 2
    }

    /// The most that a reader may hold besides the cells while it reads one workbook: texts that
    /// cells share, styles, names.
    pub(super) fn most_held(&self) -> u64 {
        self.limit / 4
    }

    /// The longest single value or tag inside a part: many times what a cell can hold.
    pub(super) fn longest_value(&self) -> u64 {
        (self.limit / 128).min(4 * MEGABYTE)
    }

    /// Takes room for a cell with a text of so many bytes; false if there is none left.
    #[must_use]
    pub(super) fn take_cell(&mut self, text: usize) -> bool {
        const CELL: u64 = 64;
        let cost = CELL + u64::try_from(text).unwrap_or(u64::MAX / 2);
        match self.cells_left.checked_sub(cost) {
            Some(left) => {
                self.cells_left = left;
                true
            }
            None => false,
        }
    }

    /// What is said of a file that asks for more.
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
