//! The outage file: a ledger in one SQLite database, `NAME.outage`.
//!
//! One booking is one transaction: a loss of power, a full disk or a second program at the same moment loses nothing
//! and books nothing twice. Every opening goes through all entries again ([`crate::outage::Outage::follow`]): their
//! numbers, hashes, rules and stock.
//!
//! # Decisions
//!
//! - A rollback journal and not a write-ahead log: at rest the outage is one file, and a copy of it is whole. Under a
//!   write-ahead log, a copy made while another program had the file open held 6 of 26 entries.
//! - The stock is in no table. It is added up from the entries, so it cannot differ from them.
//! - Triggers refuse to change or remove entries by hand. Whoever drops the triggers is found by the hashes, and whoever
//!   cuts off the end by the head that was written last, or by the one that stands on paper.

mod error;
mod network;
mod schema;

use std::collections::BTreeSet;
use std::io::Read;
use std::path::{Path, PathBuf};
use std::time::Duration;

use rusqlite::config::DbConfig;
use rusqlite::{
    Connection, OpenFlags, OptionalExtension, Row, Transaction, TransactionBehavior, params,
};

use crate::digest::sha256;
use crate::outage::{
    BEGINNING, Booking, BookingRefusal, Circumstances, Head, LedgerEntry, LedgerFault, Outage,
    TookOver,
};

use schema::{SCHEMA, check_schema};

pub use error::{BookError, OutageFileError};
pub use network::network_drive;

/// `gapw` in the header of the file: other programs see whose it is.
const APPLICATION: i32 = 0x6761_7077;
/// Version of the tables and of the rules.
const VERSION: i32 = 1;
/// Time that another program may take to finish its booking.
const PATIENCE: Duration = Duration::from_secs(20);

/// Acknowledgement of a booking.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Receipt {
    /// The entry.
    pub entry: LedgerEntry,
    /// Entries of the plates that were cut and the packs that were opened for it.
    pub due: Vec<LedgerEntry>,
    /// Whether it was there already, booked by an earlier try of this request.
    pub again: bool,
}

/// A booking to be made.
pub type Draft = (Circumstances, Booking);

/// Bytes of the files that are taken over, whatever their names.
pub type FileBytes = Vec<Vec<u8>>;

/// Name of an outage on its pages, which hold no long headers: that of its file, without its ending.
pub fn outage_name(path: &Path) -> String {
    path.file_stem().unwrap_or_default().to_string_lossy().chars().take(60).collect()
}

/// Whether a file begins as an outage file does.
pub fn is_outage_file(path: &Path) -> bool {
    const FIRST: &[u8] = b"SQLite format 3\0";
    let mut first = [0; 16];
    // A pipe would wait for its other end.
    if !path.is_file() {
        return false;
    }
    let read = std::fs::File::open(path).and_then(|mut file| file.read_exact(&mut first));
    read.is_ok() && first == *FIRST
}

/// An open outage file, checked.
#[derive(Debug)]
pub struct OutageFile {
    path: PathBuf,
    db: Connection,
    outage: Outage,
}

impl OutageFile {
    /// Opens the outage file and checks all of it.
    ///
    /// # Errors
    /// [`OutageFileError`]: no such file, not an outage file, a damaged one, or an entry that does not follow.
    pub fn open(path: &Path) -> Result<OutageFile, OutageFileError> {
        if !path.is_file() {
            return Err(OutageFileError::Missing);
        }
        let db = connect(path, OpenFlags::SQLITE_OPEN_READ_WRITE)?;
        let application: i32 = db.query_row("PRAGMA application_id", [], |row| row.get(0))?;
        let version: i32 = db.query_row("PRAGMA user_version", [], |row| row.get(0))?;
        match (application, version) {
            (APPLICATION, VERSION) => {}
            (APPLICATION, version) => return Err(OutageFileError::Version(version)),
            _ => return Err(OutageFileError::Foreign),
        }
        let mut file = OutageFile { path: path.to_path_buf(), db, outage: Outage::default() };
        file.check()?;
        Ok(file)
    }

    /// Opens the outage file, if it was begun. A run that was killed before its first booking leaves a file of nothing, which
    /// may have bytes until what was written of it is rolled back.
    ///
    /// # Errors
    /// As [`OutageFile::open`].
    pub fn open_begun(path: &Path) -> Result<Option<OutageFile>, OutageFileError> {
        if !path.is_file() {
            return Ok(None);
        }
        let db = connect(path, OpenFlags::SQLITE_OPEN_READ_WRITE)?;
        let pages: i64 = db.query_row("PRAGMA page_count", [], |row| row.get(0))?;
        if pages == 0 { Ok(None) } else { OutageFile::open(path).map(Some) }
    }

    /// Begins an outage file, or opens it where it is there.
    ///
    /// # Errors
    /// As [`OutageFile::open`]; a file of something else is left as it is.
    pub fn begin(path: &Path) -> Result<OutageFile, OutageFileError> {
        if let Some(there) = OutageFile::open_begun(path)? {
            return Ok(there);
        }
        let flags = OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_CREATE;
        let mut db = connect(path, flags)?;
        let making = db.transaction_with_behavior(TransactionBehavior::Immediate)?;
        // Another program may have begun it meanwhile.
        let tables: i64 =
            making.query_row("SELECT count(*) FROM sqlite_schema", [], |row| row.get(0))?;
        if tables == 0 {
            for (_, sql) in SCHEMA {
                making.execute_batch(sql)?;
            }
            making.execute("INSERT INTO head VALUES (1, 0, ?1)", [BEGINNING])?;
            making.pragma_update(None, "application_id", APPLICATION)?;
            making.pragma_update(None, "user_version", VERSION)?;
        }
        making.commit()?;
        OutageFile::open(path)
    }

    /// The outage.
    pub fn outage(&self) -> &Outage {
        &self.outage
    }

    /// Path of the file, as it was given.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Goes through the whole file.
    fn check(&mut self) -> Result<(), OutageFileError> {
        let reading = self.db.transaction()?;
        let health: String = reading.query_row("PRAGMA quick_check(1)", [], |row| row.get(0))?;
        if health != "ok" {
            return Err(OutageFileError::Damaged(health));
        }
        let mut outage = Outage::default();
        catch_up(&reading, &mut outage)?;
        check_head(&reading, &outage)?;
        check_schema(&reading)?;
        check_files(&reading, outage.taken())?;
        drop(reading);
        self.outage = outage;
        Ok(())
    }

    /// Books all of these or none, in their order, and returns their receipts; before a bag, what is due for it
    /// ([`Outage::due_before`]). A request that was booked before is not booked again; its old receipt is returned. `files` are the
    /// bytes that a [`TookOver`] among them names.
    ///
    /// # Errors
    /// [`BookError::Refused`] with every booking that cannot be made and its place among them;
    /// [`BookError::File`] where the file cannot be written. Nothing was booked then.
    pub fn book(
        &mut self,
        drafts: Vec<Draft>,
        files: &FileBytes,
    ) -> Result<Vec<Receipt>, BookError> {
        self.book_if(None, drafts, files)
    }

    /// Books as [`OutageFile::book`] does, if the ledger ends at this entry still: for whoever looked at it before.
    ///
    /// # Errors
    /// As [`OutageFile::book`]; all are refused where the ledger goes on.
    pub fn book_at(
        &mut self,
        end: u32,
        drafts: Vec<Draft>,
        files: &FileBytes,
    ) -> Result<Vec<Receipt>, BookError> {
        self.book_if(Some(end), drafts, files)
    }

    fn book_if(
        &mut self,
        end: Option<u32>,
        drafts: Vec<Draft>,
        files: &FileBytes,
    ) -> Result<Vec<Receipt>, BookError> {
        let booked = book(&mut self.db, &mut self.outage, end, drafts, files);
        if booked.is_err() {
            // The state may be ahead of the file: it is read again.
            let there = self.check();
            there.map_err(BookError::File)?;
        }
        booked
    }

    /// Bytes of a file that was taken over.
    ///
    /// # Errors
    /// [`OutageFileError::Damaged`] where the file does not have them.
    pub fn bytes(&self, sha256: &str) -> Result<Vec<u8>, OutageFileError> {
        let mut select = self.db.prepare("SELECT bytes FROM file WHERE sha256 = ?1")?;
        let bytes: Option<Vec<u8>> = select.query_row([sha256], |row| row.get(0)).optional()?;
        bytes
            .ok_or_else(|| OutageFileError::Damaged("a file that was taken over is missing".into()))
    }
}

fn connect(path: &Path, flags: OpenFlags) -> Result<Connection, OutageFileError> {
    let db = Connection::open_with_flags(path, flags | OpenFlags::SQLITE_OPEN_NO_MUTEX)?;
    db.busy_timeout(PATIENCE)?;
    db.set_db_config(DbConfig::SQLITE_DBCONFIG_DEFENSIVE, true)?;
    db.pragma_update(None, "trusted_schema", false)?;
    db.pragma_update(None, "cell_size_check", true)?;
    db.pragma_update_and_check(None, "journal_mode", "DELETE", |_| Ok(()))?;
    db.pragma_update(None, "synchronous", "EXTRA")?;
    Ok(db)
}

fn book(
    db: &mut Connection,
    outage: &mut Outage,
    end: Option<u32>,
    drafts: Vec<Draft>,
    files: &FileBytes,
) -> Result<Vec<Receipt>, BookError> {
    // The lock is taken before anything is read: a transaction that reads first and then writes fails at once when
    // another program was quicker, whatever time it would have waited.
    let booking = db.transaction_with_behavior(TransactionBehavior::Immediate)?;
    catch_up(&booking, outage)?;
    check_head(&booking, outage)?;
    if let Some(moved) = end.and_then(|end| outage.entry(end + 1)) {
        let why = BookingRefusal::of_moved(moved);
        return Err(BookError::Refused((0..drafts.len()).map(|at| (at, why.clone())).collect()));
    }
    let (mut receipts, mut refused) = (Vec::new(), Vec::new());
    for (at, (facts, draft)) in drafts.into_iter().enumerate() {
        match book_one(&booking, outage, facts, draft)? {
            Ok(receipt) => receipts.push(receipt),
            Err(why) => refused.push((at, why)),
        }
    }
    if !refused.is_empty() {
        return Err(BookError::Refused(refused));
    }
    if receipts.iter().all(|receipt| receipt.again) {
        return Ok(receipts);
    }
    keep_files(&booking, outage, files)?;
    let head = outage.head();
    booking.execute("UPDATE head SET number = ?1, hash = ?2", params![head.number, head.hash])?;
    booking.commit()?;
    Ok(receipts)
}

/// Books one draft within a transaction.
fn book_one(
    booking: &Transaction<'_>,
    outage: &mut Outage,
    facts: Circumstances,
    draft: Booking,
) -> Result<Result<Receipt, BookingRefusal>, OutageFileError> {
    let mut select = booking.prepare("SELECT number FROM entry WHERE request = ?1")?;
    let known: Option<u32> = select.query_row([&facts.request], |row| row.get(0)).optional()?;
    if let Some(entry) = known.and_then(|number| outage.entry(number)) {
        return Ok(match entry.booking.is_retry_of(&draft) {
            true => Ok(Receipt { entry: entry.clone(), due: Vec::new(), again: true }),
            false => Err(BookingRefusal::of_request(entry)),
        });
    }
    let mut due = Vec::new();
    for (facts, draft) in outage.due_before(&facts, &draft) {
        match add(booking, outage, facts, draft)? {
            Ok(entry) => due.push(entry),
            Err(refused) => return Ok(Err(refused)),
        }
    }
    let added = add(booking, outage, facts, draft)?;
    Ok(added.map(|entry| Receipt { entry, due, again: false }))
}

/// Adds one entry to the file and to the outage.
fn add(
    booking: &Transaction<'_>,
    outage: &mut Outage,
    facts: Circumstances,
    draft: Booking,
) -> Result<Result<LedgerEntry, BookingRefusal>, OutageFileError> {
    let entry = match outage.book(facts, draft) {
        Ok(entry) => entry,
        Err(refused) => return Ok(Err(refused)),
    };
    insert(booking, &entry)?;
    outage.follow(entry.clone())?;
    Ok(Ok(entry))
}

fn insert(booking: &Transaction<'_>, entry: &LedgerEntry) -> Result<(), OutageFileError> {
    let Circumstances { request, at, date, who, why } = &entry.facts;
    let [text, moves] = entry.texts();
    let mut insert = booking.prepare(
        "INSERT INTO entry (number, at, date, who, why, request, booking, moves, prev, hash) \
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10)",
    )?;
    let LedgerEntry { number, prev, hash, .. } = entry;
    insert.execute(params![number, at, date, who, why, request, text, moves, prev, hash])?;
    Ok(())
}

/// Adds the entries that are in the file and not yet in the outage.
fn catch_up(reading: &Transaction<'_>, outage: &mut Outage) -> Result<(), OutageFileError> {
    let mut select = reading.prepare(
        "SELECT number, at, date, who, why, request, booking, moves, prev, hash FROM entry \
         WHERE number > ?1 ORDER BY number",
    )?;
    let mut rows = select.query([outage.head().number])?;
    while let Some(row) = rows.next()? {
        outage.follow(entry(row)?)?;
    }
    Ok(())
}

/// An entry as the file holds it.
fn entry(row: &Row<'_>) -> Result<LedgerEntry, OutageFileError> {
    let number: u32 = row.get(0)?;
    let text = |column: usize| row.get::<_, String>(column);
    let changed = |_| LedgerFault::Changed(number);
    let parsed = LedgerEntry {
        number,
        facts: Circumstances {
            at: text(1)?,
            date: text(2)?,
            who: text(3)?,
            why: text(4)?,
            request: text(5)?,
        },
        booking: serde_json::from_str(&text(6)?).map_err(changed)?,
        moves: serde_json::from_str(&text(7)?).map_err(changed)?,
        prev: text(8)?,
        hash: text(9)?,
    };
    // The hash is taken of the texts as this program writes them: nothing may hide beside them.
    match parsed.texts() == [text(6)?, text(7)?] {
        true => Ok(parsed),
        false => Err(LedgerFault::Changed(number).into()),
    }
}

/// Holds the ledger against the end that was written last.
fn check_head(reading: &Transaction<'_>, outage: &Outage) -> Result<(), OutageFileError> {
    let read = |row: &Row<'_>| Ok(Head { number: row.get(0)?, hash: row.get(1)? });
    let head = reading.query_row("SELECT number, hash FROM head", [], read).optional()?;
    match head {
        Some(head) if head == outage.head() => Ok(()),
        Some(head) => Err(LedgerFault::End { end: outage.head().number, head }.into()),
        None => Err(OutageFileError::Damaged("its head is missing".into())),
    }
}

/// Looks whether the files that were last taken over are there, byte for byte.
fn check_files(reading: &Transaction<'_>, taken: Option<&TookOver>) -> Result<(), OutageFileError> {
    let mut select = reading.prepare("SELECT bytes FROM file WHERE sha256 = ?1")?;
    for file in taken.iter().flat_map(|taken| &taken.files) {
        let bytes: Option<Vec<u8>> =
            select.query_row([&file.sha256], |row| row.get(0)).optional()?;
        if bytes.is_none_or(|bytes| sha256(&bytes) != file.sha256) {
            return Err(OutageFileError::Damaged(format!(
                "`{}`, which was taken over, is missing or changed",
                file.name
            )));
        }
    }
    Ok(())
}

/// Keeps the bytes of the files last taken over and of those behind the last two plans, and no others.
fn keep_files(
    booking: &Transaction<'_>,
    outage: &Outage,
    files: &FileBytes,
) -> Result<(), OutageFileError> {
    let now = outage.taken().into_iter().flat_map(|taken| &taken.files);
    let now: BTreeSet<&String> = now.map(|file| &file.sha256).collect();
    let then: BTreeSet<&String> = outage.files_of_last_plans().map(|file| &file.sha256).collect();
    for bytes in files {
        let hash = sha256(bytes);
        if now.contains(&hash) {
            booking.execute("INSERT OR IGNORE INTO file VALUES (?1, ?2)", params![hash, bytes])?;
        }
    }
    let mut select = booking.prepare("SELECT sha256 FROM file")?;
    let there: Vec<String> = select.query_map([], |row| row.get(0))?.collect::<Result<_, _>>()?;
    for old in there.iter().filter(|there| !now.contains(*there) && !then.contains(*there)) {
        booking.execute("DELETE FROM file WHERE sha256 = ?1", [old])?;
    }
    // Those of earlier plans are kept as long as they are there: an older version of the program did not.
    if let Some(missing) = now.iter().find(|wanted| !there.contains(**wanted)) {
        return Err(OutageFileError::Damaged(format!("the file {missing} was not handed over")));
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::outage::ItemCount;

    fn draft(number: u32, booking: Booking) -> Draft {
        let why = "a reason that fills pages ".repeat(20);
        (Circumstances { request: format!("{number}"), why, ..Circumstances::default() }, booking)
    }

    /// A limit on the pages of the database fails a booking as a full disk does (SQLITE_FULL).
    #[test]
    fn a_full_file_books_nothing_and_goes_on_when_there_is_room() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("full.outage");
        let mut file = OutageFile::begin(&path).unwrap();
        let counts = vec![ItemCount { item: "S".into(), count: 0 }];
        let taken = Booking::TookOver(TookOver { counts, ..TookOver::default() });
        file.book(vec![draft(0, taken)], &Vec::new()).unwrap();
        let limit = |file: &OutageFile, pages: u32| {
            file.db.pragma_update_and_check(None, "max_page_count", pages, |_| Ok(())).unwrap();
        };
        let pages: u32 = file.db.query_row("PRAGMA page_count", [], |row| row.get(0)).unwrap();
        limit(&file, pages + 2);
        let receive = || Booking::Receive { item: "S".into(), count: 1 };
        let mut booked = 0;
        let error = loop {
            match file.book(vec![draft(booked + 1, receive())], &Vec::new()) {
                Ok(_) => booked += 1,
                Err(error) => break error,
            }
            assert!(booked < 1_000, "the limit was never reached");
        };
        assert!(matches!(error, BookError::File(OutageFileError::Full)), "{error:?}");
        assert!(booked > 0);
        let there = |outage: &Outage| outage.stock_of("S").map(|lot| lot.pieces);
        assert_eq!(there(file.outage()), Some(i64::from(booked)));
        assert_eq!(OutageFile::open(&path).unwrap().outage(), file.outage());
        limit(&file, pages + 200);
        file.book(vec![draft(booked + 1, receive())], &Vec::new()).unwrap();
        assert_eq!(there(file.outage()), Some(i64::from(booked) + 1));
    }
}
