//! Reasons why an outage file cannot be read or written, in plain words.

use rusqlite::ErrorCode;

use crate::outage::{BookingRefusal, LedgerFault};
use crate::problem::{Place, Problem};

/// Reason why an outage file cannot be read or written.
#[derive(Debug, thiserror::Error)]
pub enum OutageFileError {
    /// There is no such file.
    #[error("no such file")]
    Missing,
    /// A file of something else.
    #[error("a file that is not an outage file")]
    Foreign,
    /// An outage file of another version of the program.
    #[error("an outage file of version {0}")]
    Version(i32),
    /// Another program was writing for too long.
    #[error("an outage file that another program is writing to, and has not finished")]
    Busy,
    /// The disk is full.
    #[error("a full disk: nothing was booked")]
    Full,
    /// The file or its folder may not be written.
    #[error("an outage file that may not be written: nothing was booked")]
    ReadOnly,
    /// The database is damaged.
    #[error("a damaged outage file: {0}")]
    Damaged(String),
    /// The ledger is not as this program wrote it.
    #[error("a ledger that is not as it was written: {0}")]
    Fault(#[from] LedgerFault),
    /// Tables or their guards were changed.
    #[error(
        "an outage file whose tables, or the guards against changes, are not those of gapwright"
    )]
    Unguarded,
    /// A disk that does not take what is written.
    #[error(
        "a disk that does not take it, full or over its limit perhaps ({0}): nothing was booked"
    )]
    Disk(String),
    /// Any other trouble, in the words of the database.
    #[error("an outage file that cannot be read or written ({0})")]
    Other(String),
}

impl OutageFileError {
    /// Whether the reason lies with the disk and not with the file.
    pub fn is_trouble(&self) -> bool {
        use OutageFileError::{Busy, Disk, Full, Other, ReadOnly};
        matches!(self, Busy | Full | ReadOnly | Disk(_) | Other(_))
    }

    fn fix(&self) -> &'static str {
        match self {
            OutageFileError::Missing => {
                "begin it with `gapwright kit STOCK PUMPS --outage NAME.outage`, or correct the name"
            }
            OutageFileError::Foreign => "name an outage file, or give a new one another name",
            OutageFileError::Version(_) => "use the version of gapwright that wrote it",
            OutageFileError::Busy => "wait until the other program is done, then try again",
            OutageFileError::Full | OutageFileError::Disk(_) => {
                "make room on the disk, then book it again"
            }
            OutageFileError::ReadOnly => "allow writing to the file and to its folder",
            OutageFileError::Damaged(_) | OutageFileError::Fault(_) => {
                "take the last good copy of it and book again what is missing; the last entry stands on each slip"
            }
            OutageFileError::Unguarded => {
                "take the last good copy of it: somebody changed the file by other means"
            }
            OutageFileError::Other(_) => "look at the disk and the folder, then try again",
        }
    }

    /// The error as a problem of its file.
    pub fn problem(&self, file: &str) -> Problem {
        let expected = match self {
            OutageFileError::Busy
            | OutageFileError::Full
            | OutageFileError::Disk(_)
            | OutageFileError::ReadOnly => "a file that can be written now",
            _ => "an outage file as gapwright writes it",
        };
        Problem::new(Place::file(file), self.to_string(), expected, self.fix())
    }
}

impl From<rusqlite::Error> for OutageFileError {
    fn from(error: rusqlite::Error) -> OutageFileError {
        match error.sqlite_error_code() {
            Some(ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked) => OutageFileError::Busy,
            Some(ErrorCode::DiskFull) => OutageFileError::Full,
            Some(ErrorCode::NotADatabase) => OutageFileError::Foreign,
            Some(ErrorCode::DatabaseCorrupt) => OutageFileError::Damaged(error.to_string()),
            Some(ErrorCode::SystemIoFailure) => OutageFileError::Disk(error.to_string()),
            Some(ErrorCode::ReadOnly | ErrorCode::PermissionDenied) => OutageFileError::ReadOnly,
            // Values of other types than the tables have, or other tables.
            None | Some(ErrorCode::TypeMismatch | ErrorCode::Unknown) => {
                OutageFileError::Damaged(error.to_string())
            }
            Some(_) => OutageFileError::Other(error.to_string()),
        }
    }
}

/// Reason why nothing was booked.
#[derive(Debug)]
pub enum BookError {
    /// The bookings that are refused: place among those asked for, and reason.
    Refused(Vec<(usize, BookingRefusal)>),
    /// The file.
    File(OutageFileError),
}

impl From<OutageFileError> for BookError {
    fn from(error: OutageFileError) -> BookError {
        BookError::File(error)
    }
}

impl From<rusqlite::Error> for BookError {
    fn from(error: rusqlite::Error) -> BookError {
        BookError::File(error.into())
    }
}
