//! Entries of the ledger, each chained to the one before.

use super::booking::Booking;
use crate::digest::Hasher;

/// Hash before the first entry.
pub const BEGINNING: &str = "0000000000000000000000000000000000000000000000000000000000000000";

/// First line of every hashed text: no hash of another use is a hash of an entry.
const DOMAIN: &[u8] = b"gapwright outage entry 1\n";

/// Pieces that came into the bins, or left them.
#[derive(Debug, Clone, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
pub struct StockMove {
    /// Stock number.
    pub item: String,
    /// Pieces into the bin; below zero, out of it.
    pub pieces: i64,
}

/// Facts that go with a booking.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Circumstances {
    /// Number of the request, made by whoever asks: a request is booked once.
    pub request: String,
    /// Time of writing, as RFC 3339 writes it.
    pub at: String,
    /// Day of the event, `YYYY-MM-DD`.
    pub date: String,
    /// Person; empty where none is named.
    pub who: String,
    /// Reason; empty where none is given.
    pub why: String,
}

/// An entry of the ledger.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LedgerEntry {
    /// Running number, from 1.
    pub number: u32,
    /// Time, day, person, reason.
    pub facts: Circumstances,
    /// The booking.
    pub booking: Booking,
    /// Moves of the stock that follow from it.
    pub moves: Vec<StockMove>,
    /// Hash of the entry before.
    pub prev: String,
    /// SHA-256 of this entry, in hexadecimal.
    pub hash: String,
}

impl LedgerEntry {
    /// The booking and its moves as the ledger holds them: JSON without spaces.
    pub fn texts(&self) -> [String; 2] {
        // Neither has a value that JSON does not have.
        [
            serde_json::to_string(&self.booking).unwrap_or_default(),
            serde_json::to_string(&self.moves).unwrap_or_default(),
        ]
    }

    /// SHA-256, in hexadecimal, over a domain line, the hash before, the number and every field; each field goes in as
    /// its length in bytes, a colon and itself, so that no two entries make one text.
    pub fn hashed(&self) -> String {
        let Circumstances { request, at, date, who, why } = &self.facts;
        let [booking, moves] = self.texts();
        let number = self.number.to_string();
        let mut hasher = Hasher::default();
        hasher.add(DOMAIN);
        for field in [&self.prev, &number, at, date, who, why, request, &booking, &moves] {
            hasher.add(format!("{}:", field.len()).as_bytes());
            hasher.add(field.as_bytes());
        }
        hasher.end()
    }
}

/// End of a ledger: a later one that does not go through it was cut off or written anew.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Head {
    /// Number of the last entry; zero where there is none.
    pub number: u32,
    /// Its hash, or the first characters of it.
    pub hash: String,
}

/// Characters of a hash that stand on paper.
const ON_PAPER: usize = 12;

impl Head {
    /// Reads `NUMBER-HASH` back, with twelve characters of the hash or more.
    ///
    /// ```
    /// use gapwright::outage::Head;
    /// let head = Head { number: 26, hash: "3f0a".repeat(16) };
    /// assert_eq!(head.to_string(), "26-3f0a3f0a3f0a");
    /// assert_eq!(Head::parse("26-3F0A3F0A3F0A").unwrap().number, 26);
    /// assert_eq!(Head::parse("26"), None);
    /// ```
    pub fn parse(text: &str) -> Option<Head> {
        let (number, hash) = text.trim().split_once('-')?;
        let hash = hash.to_lowercase();
        let is_hash = hash.len() >= ON_PAPER && hash.bytes().all(|byte| byte.is_ascii_hexdigit());
        is_hash.then_some(Head { number: number.parse().ok()?, hash })
    }
}

impl std::fmt::Display for Head {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let hash: String = self.hash.chars().take(ON_PAPER).collect();
        write!(f, "{}-{hash}", self.number)
    }
}

/// Fault of a ledger, found by going through its entries.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum LedgerFault {
    /// The numbers do not follow each other.
    #[error("entry {expected} is missing: entry {found} follows the one before it")]
    Number {
        /// Number that should follow.
        expected: u32,
        /// Number that follows.
        found: u32,
    },
    /// An entry does not fit its hash, or the hash before it.
    #[error("entry {0} was changed after it was written")]
    Changed(u32),
    /// The moves of an entry do not follow from its booking and the entries before.
    #[error("the stock does not add up at entry {0}")]
    Moves(u32),
    /// An entry that could not have been booked.
    #[error("entry {number} could not have been booked: {why}")]
    Impossible {
        /// Its number.
        number: u32,
        /// The reason.
        why: String,
    },
    /// The end that was written last, or stands on paper, is not in the ledger.
    #[error(
        "the ledger ends at entry {end} and does not hold entry {head}: its end was cut off or changed"
    )]
    End {
        /// Number of the last entry.
        end: u32,
        /// The end that was asked for.
        head: Head,
    },
}
