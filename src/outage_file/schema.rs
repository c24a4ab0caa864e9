//! Tables of the outage file, and the guards against changes by other means.

use rusqlite::Transaction;

use super::OutageFileError;

/// Tables and their guards, each by its name. `INSERT OR REPLACE` removes an old row without asking the trigger on
/// removal, so the trigger on insertion looks for it.
pub(super) const SCHEMA: [(&str, &str); 9] = [
    (
        "entry",
        "CREATE TABLE entry (number INTEGER PRIMARY KEY, at TEXT NOT NULL, date TEXT NOT NULL, who TEXT NOT NULL, \
         why TEXT NOT NULL, request TEXT NOT NULL UNIQUE, booking TEXT NOT NULL CHECK (json_valid(booking)), \
         moves TEXT NOT NULL CHECK (json_valid(moves)), prev TEXT NOT NULL CHECK (length(prev) = 64), \
         hash TEXT NOT NULL UNIQUE CHECK (length(hash) = 64)) STRICT",
    ),
    (
        "entry_at_the_end",
        "CREATE TRIGGER entry_at_the_end BEFORE INSERT ON entry WHEN \
         NEW.number IS NOT (SELECT coalesce(max(number), 0) + 1 FROM entry) OR \
         NEW.prev IS NOT coalesce((SELECT hash FROM entry ORDER BY number DESC LIMIT 1), printf('%064d', 0)) OR \
         EXISTS (SELECT 1 FROM entry WHERE request = NEW.request OR hash = NEW.hash) \
         BEGIN SELECT RAISE(ABORT, 'an entry goes at the end of the ledger, once'); END",
    ),
    (
        "entry_stays",
        "CREATE TRIGGER entry_stays BEFORE DELETE ON entry \
         BEGIN SELECT RAISE(ABORT, 'an entry of the ledger is never removed'); END",
    ),
    (
        "entry_stays_as_it_is",
        "CREATE TRIGGER entry_stays_as_it_is BEFORE UPDATE ON entry \
         BEGIN SELECT RAISE(ABORT, 'an entry of the ledger is never changed'); END",
    ),
    (
        "file",
        "CREATE TABLE file (sha256 TEXT PRIMARY KEY CHECK (length(sha256) = 64), bytes BLOB NOT NULL) STRICT",
    ),
    (
        "head",
        "CREATE TABLE head (only_row INTEGER PRIMARY KEY CHECK (only_row = 1), number INTEGER NOT NULL, \
         hash TEXT NOT NULL) STRICT",
    ),
    (
        "head_follows",
        "CREATE TRIGGER head_follows BEFORE UPDATE ON head WHEN NEW.number <= OLD.number OR \
         NOT EXISTS (SELECT 1 FROM entry WHERE number = NEW.number AND hash = NEW.hash) \
         BEGIN SELECT RAISE(ABORT, 'the head is the last entry of the ledger'); END",
    ),
    (
        "head_is_one",
        "CREATE TRIGGER head_is_one BEFORE INSERT ON head WHEN EXISTS (SELECT 1 FROM head) \
         BEGIN SELECT RAISE(ABORT, 'there is one head'); END",
    ),
    (
        "head_stays",
        "CREATE TRIGGER head_stays BEFORE DELETE ON head \
         BEGIN SELECT RAISE(ABORT, 'the head is never removed'); END",
    ),
];

/// Looks whether tables and guards are those of this program.
pub(super) fn check_schema(reading: &Transaction<'_>) -> Result<(), OutageFileError> {
    let mut select = reading.prepare(
        "SELECT name, sql FROM sqlite_schema WHERE name NOT LIKE 'sqlite_%' ORDER BY name",
    )?;
    let rows = select.query_map([], |row| Ok((row.get(0)?, row.get(1)?)))?;
    let there: Vec<(String, String)> = rows.collect::<Result<_, _>>()?;
    let same = there.len() == SCHEMA.len()
        && there.iter().zip(SCHEMA).all(|((name, sql), own)| (name.as_str(), sql.as_str()) == own);
    match same {
        true => Ok(()),
        false => Err(OutageFileError::Unguarded),
    }
}
