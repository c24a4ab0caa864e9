//! Ledgers that were changed by other means than this program: each change is found.

use std::fs;
use std::path::Path;

use gapwright::outage::{Booking, Head, LedgerFault, Outage};
use gapwright::outage_file::{BookError, Draft, OutageFile, OutageFileError};
use rusqlite::Connection;
use serde_json::Value;

use crate::store::{facts, piece, plan, tagged, taken};

/// Bookings of every kind.
fn drafts() -> Vec<Draft> {
    let mut bookings = vec![taken(20), Booking::Plan(plan())];
    bookings.push(Booking::Receive { item: "S1".into(), count: 3 });
    bookings.push(Booking::Count { item: "S2".into(), count: 18 });
    bookings.push(Booking::Scrap { item: "G1".into(), count: 1, from: None });
    for word in ["bag", "issue", "reading", "accept"] {
        bookings.push(tagged(word, "accepted"));
    }
    for word in ["bag", "scrap from", "swap", "put-back", "cancel", "reinstate", "dimension"] {
        bookings.push(tagged(word, "planned"));
    }
    bookings.push(Booking::Undo { entry: 3 });
    let with = vec![piece("S3", 1)];
    bookings.push(Booking::Bag { tag: "bagged".into(), without: vec![piece("S1", 1)], with });
    let numbered = bookings.into_iter().enumerate();
    numbered.map(|(at, booking)| (facts(&format!("request {at}")), booking)).collect()
}

fn made(path: &Path) -> OutageFile {
    let mut file = OutageFile::begin(path).unwrap();
    let receipts = file.book(drafts(), &Vec::new()).unwrap();
    assert!(receipts.len() > 15 && receipts.iter().all(|receipt| !receipt.again));
    file
}

/// Changes a copy of the file through a plain connection, with the guards taken away and put back.
fn tampered(path: &Path, change: impl FnOnce(&Connection)) -> OutageFileError {
    let copy = path.with_extension("copy.outage");
    fs::copy(path, &copy).unwrap();
    let db = Connection::open(&copy).unwrap();
    db.execute_batch("PRAGMA synchronous = OFF; PRAGMA journal_mode = MEMORY").unwrap();
    let mut select =
        db.prepare("SELECT name, sql FROM sqlite_schema WHERE type = 'trigger'").unwrap();
    let rows = select.query_map([], |row| Ok((row.get(0)?, row.get(1)?))).unwrap();
    let triggers: Vec<(String, String)> = rows.map(Result::unwrap).collect();
    assert_eq!(triggers.len(), 6);
    drop(select);
    triggers
        .iter()
        .for_each(|(name, _)| db.execute_batch(&format!("DROP TRIGGER {name}")).unwrap());
    change(&db);
    triggers.iter().for_each(|(_, sql)| db.execute_batch(sql).unwrap());
    drop(db);
    OutageFile::open(&copy).unwrap_err()
}

#[test]
fn a_change_of_any_field_of_any_entry_is_found() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("week.outage");
    let entries = made(&path).outage().head().number;
    let mut changes = 0;
    for number in 1..=entries {
        for field in ["at", "date", "who", "why", "request", "prev", "hash"] {
            let error = tampered(&path, |db| {
                let read = format!("SELECT {field} FROM entry WHERE number = ?1");
                let was: String = db.query_row(&read, [number], |row| row.get(0)).unwrap();
                // Hashes keep their length.
                let other = if was.starts_with('0') { "1" } else { "0" };
                let write = format!("UPDATE entry SET {field} = ?2 WHERE number = ?1");
                let now = format!("{other}{}", &was[1..]);
                changes += db.execute(&write, rusqlite::params![number, now]).unwrap();
            });
            assert!(named(&error, number), "{number} {field}: {error}");
        }
        for field in ["booking", "moves"] {
            for_each_leaf(&path, number, field);
        }
    }
    assert!(changes > 100, "{changes}");
}

/// Whether the fault is that of this entry.
fn named(error: &OutageFileError, number: u32) -> bool {
    matches!(error, OutageFileError::Fault(LedgerFault::Changed(at)) if *at == number)
}

/// Changes each value in a JSON text, one at a time, and its layout.
fn for_each_leaf(path: &Path, number: u32, field: &str) {
    let db = Connection::open(path).unwrap();
    let read = format!("SELECT {field} FROM entry WHERE number = ?1");
    let text: String = db.query_row(&read, [number], |row| row.get(0)).unwrap();
    drop(db);
    let value: Value = serde_json::from_str(&text).unwrap();
    let mut texts = vec![format!("{text} ")];
    for at in 0..leaves(&value) {
        let mut changed = value.clone();
        change_leaf(&mut changed, &mut 0, at);
        texts.push(changed.to_string());
    }
    for changed in texts {
        assert_ne!(changed, text);
        let write = format!("UPDATE entry SET {field} = ?2 WHERE number = ?1");
        let error = tampered(path, |db| {
            db.execute(&write, rusqlite::params![number, changed]).unwrap();
        });
        assert!(named(&error, number), "{number} {field} {changed}: {error}");
    }
}

fn leaves(value: &Value) -> usize {
    match value {
        Value::Array(values) => values.iter().map(leaves).sum(),
        Value::Object(values) => values.values().map(leaves).sum(),
        _ => 1,
    }
}

fn change_leaf(value: &mut Value, seen: &mut usize, wanted: usize) {
    match value {
        Value::Array(values) => values.iter_mut().for_each(|v| change_leaf(v, seen, wanted)),
        Value::Object(values) => values.values_mut().for_each(|v| change_leaf(v, seen, wanted)),
        leaf => {
            if *seen == wanted {
                *leaf = match &*leaf {
                    Value::String(text) => format!("{text}0").into(),
                    Value::Number(number) => (number.as_i64().unwrap() + 1).into(),
                    _ => "0".into(),
                };
            }
            *seen += 1;
        }
    }
}

#[test]
fn an_end_that_was_cut_off_is_found_by_the_last_head_or_the_one_on_paper() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("week.outage");
    let whole = made(&path).outage().clone();
    let head = whole.head();
    let last = head.number;
    // The file itself knows its last head ...
    let error = tampered(&path, |db| {
        db.execute("DELETE FROM entry WHERE number = ?1", [last]).unwrap();
    });
    assert!(matches!(error, OutageFileError::Fault(LedgerFault::End { .. })), "{error}");
    let error = tampered(&path, |db| {
        db.execute("DELETE FROM entry WHERE number = 3", []).unwrap();
    });
    assert!(error.to_string().contains("entry 3 is missing"), "{error}");
    // ... and if that was set back as well, paper knows it.
    let mut short = Outage::default();
    for entry in &whole.entries()[..whole.entries().len() - 1] {
        short.follow(entry.clone()).unwrap();
    }
    for noted in [head.clone(), Head::parse(&head.to_string()).unwrap()] {
        whole.goes_through(&noted).unwrap();
        let fault = short.goes_through(&noted).unwrap_err();
        assert!(fault.to_string().contains("cut off or changed"), "{fault}");
    }
    // An earlier head is still gone through, and the one before the first entry.
    whole.goes_through(&short.head()).unwrap();
    whole.goes_through(&Outage::default().head()).unwrap();
    // A ledger that was written anew with one word changed is sound in itself, and not the one on paper.
    let mut anew = Outage::default();
    for entry in whole.entries() {
        let mut facts = entry.facts.clone();
        if entry.number == 5 {
            facts.why = "another reason".into();
        }
        let entry = anew.book(facts, entry.booking.clone()).unwrap();
        anew.follow(entry).unwrap();
    }
    assert_eq!(anew.head().number, last);
    anew.goes_through(&head).unwrap_err();
}

/// An entry whose hash was worked out again, for moves or a booking that do not follow.
#[test]
fn moves_that_do_not_follow_and_bookings_that_could_not_be_are_found() {
    let outage = crate::store::outage();
    let booking = Booking::Receive { item: "S1".into(), count: 3 };
    let entry = outage.book(facts("r"), booking).unwrap();
    let mut moved = entry.clone();
    moved.moves[0].pieces = 4;
    moved.hash = moved.hashed();
    let last = entry.number;
    assert_eq!(outage.clone().follow(moved), Err(LedgerFault::Moves(last)));
    let mut gone = entry.clone();
    gone.moves.clear();
    gone.hash = gone.hashed();
    assert_eq!(outage.clone().follow(gone), Err(LedgerFault::Moves(last)));
    let mut other = entry.clone();
    other.booking = tagged("accept", "planned");
    other.hash = other.hashed();
    let fault = outage.clone().follow(other).unwrap_err();
    assert!(matches!(fault, LedgerFault::Impossible { .. }), "{fault}");
    let mut jumps = entry;
    jumps.number += 1;
    assert_eq!(
        outage.clone().follow(jumps),
        Err(LedgerFault::Number { expected: last, found: last + 1 })
    );
}

#[test]
fn a_plain_connection_may_not_change_remove_or_replace_an_entry() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("week.outage");
    let whole = made(&path).outage().clone();
    let db = Connection::open(&path).unwrap();
    let copy = "SELECT number, at, date, who, why, request, booking, moves, prev, hash FROM entry";
    let zeros = "0".repeat(64);
    for (sql, says) in [
        ("UPDATE entry SET who = 'Sam' WHERE number = 3".into(), "never changed"),
        ("UPDATE OR REPLACE entry SET request = 'request 1' WHERE number = 3".into(), "never changed"),
        ("DELETE FROM entry WHERE number = 3".into(), "never removed"),
        ("DELETE FROM entry".into(), "never removed"),
        (format!("INSERT OR REPLACE INTO entry {copy} WHERE number = 3"), "at the end of the ledger, once"),
        (format!("REPLACE INTO entry {copy} ORDER BY number DESC LIMIT 1"), "at the end of the ledger, once"),
        // A new number at the end, with the request or the hash of an old entry.
        (
            "INSERT OR REPLACE INTO entry SELECT max(number) + 1, at, date, who, why, 'request 2', booking, moves, hash, hex(randomblob(32)) FROM entry".into(),
            "at the end of the ledger, once",
        ),
        (
            "INSERT OR REPLACE INTO entry SELECT max(number) + 1, at, date, who, why, 'fresh', booking, moves, hash, (SELECT hash FROM entry WHERE number = 3) FROM entry".into(),
            "at the end of the ledger, once",
        ),
        ("DELETE FROM head".into(), "never removed"),
        (format!("UPDATE head SET number = 3, hash = '{zeros}'"), "is the last entry"),
        (format!("INSERT OR REPLACE INTO head VALUES (1, 0, '{zeros}')"), "there is one head"),
    ] {
        let error = db.execute_batch(&sql).unwrap_err();
        assert!(error.to_string().contains(says), "{sql}: {error}");
        assert_eq!(OutageFile::open(&path).unwrap().outage(), &whole, "{sql}");
    }
    // Guards that are gone are missed, though the entries are whole.
    db.execute_batch("DROP TRIGGER entry_stays").unwrap();
    assert!(matches!(OutageFile::open(&path).unwrap_err(), OutageFileError::Unguarded));
}

#[test]
fn a_damaged_file_another_file_and_none_are_told_apart() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("week.outage");
    made(&path);
    let bytes = fs::read(&path).unwrap();
    let open = |bytes: &[u8]| {
        fs::write(&path, bytes).unwrap();
        OutageFile::open(&path)
    };
    let says = |bytes: &[u8]| open(bytes).unwrap_err().problem("week.outage").to_string();
    assert!(says(b"Item,Kind\nS1,shim\n").contains("a file that is not an outage file"));
    assert!(says(&[]).contains("a file that is not an outage file"));
    assert!(says(&bytes[..bytes.len() / 2]).contains("damaged"));
    let mut other = bytes.clone();
    other[63] = 9;
    assert!(says(&other).contains("version 9"));
    // Any byte of the tables' pages: found, or without any effect.
    let sound = open(&bytes).unwrap().outage().clone();
    let mut found = 0;
    for at in (100..bytes.len()).step_by(97) {
        let mut flipped = bytes.clone();
        flipped[at] ^= 0x10;
        match open(&flipped) {
            Ok(file) => assert_eq!(file.outage(), &sound, "byte {at}"),
            Err(error) => {
                assert!(!error.is_trouble(), "{error}");
                found += 1;
            }
        }
    }
    assert!(found > 50, "{found}");
    fs::remove_file(&path).unwrap();
    let error = OutageFile::open(&path).unwrap_err();
    assert!(matches!(error, OutageFileError::Missing));
    assert!(!path.exists(), "looking for a file does not make one");
    // A workbook under the name of an outage file is left as it is.
    fs::write(&path, b"PK\x03\x04 a workbook").unwrap();
    assert!(matches!(OutageFile::begin(&path).unwrap_err(), OutageFileError::Foreign));
    assert_eq!(fs::read(&path).unwrap(), b"PK\x03\x04 a workbook");
}

#[test]
fn a_request_is_booked_once() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("week.outage");
    let mut file = made(&path);
    let whole = file.outage().clone();
    // All of it again: the old receipts, also after the file was closed, and through a second connection.
    for mut file in [OutageFile::open(&path).unwrap(), OutageFile::begin(&path).unwrap()] {
        let receipts = file.book(drafts(), &Vec::new()).unwrap();
        assert!(receipts.iter().all(|receipt| receipt.again));
        assert!(receipts.iter().map(|receipt| &receipt.entry).eq(whole.entries()));
        assert_eq!(file.outage(), &whole);
    }
    let other = vec![(facts("request 2"), Booking::Receive { item: "S1".into(), count: 4 })];
    let Err(BookError::Refused(refused)) = file.book(other, &Vec::new()) else { panic!() };
    assert!(refused[0].1.found.contains("entry 3 (receive)"), "{refused:?}");
    // All or none, and every reason at once.
    let mixed = vec![
        (facts("a"), Booking::Receive { item: "S1".into(), count: 4 }),
        (facts("b"), Booking::Receive { item: "S8".into(), count: 4 }),
        (facts("c"), tagged("accept", "planned")),
    ];
    let Err(BookError::Refused(refused)) = file.book(mixed, &Vec::new()) else { panic!() };
    assert_eq!(refused.iter().map(|(at, _)| *at).collect::<Vec<_>>(), [1, 2]);
    assert_eq!(file.outage(), &whole);
    assert_eq!(OutageFile::open(&path).unwrap().outage(), &whole);
    // A booking of another connection is seen before the next one.
    let mut second = OutageFile::open(&path).unwrap();
    let one =
        |request: &str| vec![(facts(request), Booking::Receive { item: "S1".into(), count: 1 })];
    second.book(one("second"), &Vec::new()).unwrap();
    let receipt = file.book(one("first"), &Vec::new()).unwrap().remove(0);
    assert_eq!(receipt.entry.number, whole.head().number + 2);
    // A copy is whole, and only one file lies there.
    let copy = folder.path().join("copy.outage");
    fs::copy(&path, &copy).unwrap();
    assert_eq!(OutageFile::open(&copy).unwrap().outage(), file.outage());
    let names = fs::read_dir(folder.path()).unwrap().count();
    assert_eq!(names, 2, "no journal is left");
}
