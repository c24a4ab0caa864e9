//! Reads the issue log and checks its whole chain.

use std::collections::{BTreeMap, HashSet};
use std::path::Path;

use super::table::{Heading, Table, TableRow};
use super::{Memory, book, named_sheet};
use crate::formats::issue_log::{HEADINGS, SEAL};
use crate::issue::log::{Entry, How, Log, LogError, Movement, OnHand, SHEET};
use crate::issue::tidy;
use crate::job::Job;
use crate::problem::{Place, Problem, Problems};
use crate::sheet::{Book, Cell, Sheet};

const UNDO: &str =
    "undo the change, or take the log from a copy of before; it is never to be changed by hand";

/// Reads a log, and the SHA-256 of its bytes; a log that does not exist yet has no lines and no hash.
///
/// # Errors
/// Every problem: a file that is not a log, a line that was changed, moved, removed or put in by hand.
pub fn issue_log(path: &Path, memory: &mut Memory) -> Result<(Log, Option<String>), Problems> {
    if !path.exists() {
        return Ok((Log::new(), None));
    }
    let mut problems = Problems::new();
    let log = match book(path, memory) {
        Ok(book) => log(&book, &mut problems).map(|log| (log, Some(book.sha256.clone()))),
        Err(problem) => {
            problems.absorb(problem);
            None
        }
    };
    problems.settle(log).map(|(log, _)| log)
}

/// Whether a file is a workbook with the sheet of an issue log.
pub fn is_issue_log(path: &Path, memory: &mut Memory) -> bool {
    path.is_file() && book(path, memory).is_ok_and(|book| named_sheet(&book, SHEET).is_some())
}

/// Warns where a log does not agree with the stock or the day of an order: different counts, missing items, lines of
/// later days.
pub fn log_beside_stock(log: &Log, job: &Job, file: &str, date: &str) -> Vec<Problem> {
    let known: BTreeMap<String, (&str, u32)> =
        log.known().map(|(item, count)| (crate::stock::folded(item), (item, count))).collect();
    let (sheet, column) = (&job.stock_sheet.sheet, job.stock_sheet.on_hand_column);
    let lots: Vec<_> = job.stock.iter().filter(|lot| lot.cut.is_none()).collect();
    let mut warnings: Vec<Problem> = lots
        .iter()
        .filter_map(|lot| {
            let (_, counted) = *known.get(&crate::stock::folded(&lot.item))?;
            (counted != lot.on_hand).then(|| {
                Problem::new(
                    sheet.place(lot.row, column),
                    format!("{} on hand of {}", lot.on_hand, lot.item),
                    format!("{counted}, as the issue log's last line about it says"),
                    "nothing, if goods came in or pieces were counted again; else it is another stock's log",
                )
            })
        })
        .collect();
    let names = lots.iter().map(|lot| &lot.item);
    let names = names.chain(job.plates.iter().map(|lot| &lot.item));
    let there: HashSet<String> = names.map(|name| crate::stock::folded(name)).collect();
    let gone = known.iter().filter(|(key, _)| !there.contains(*key));
    let gone: Vec<&str> = gone.map(|(_, (item, _))| *item).collect();
    if !gone.is_empty() {
        warnings.push(Problem::new(
            Place::file(file),
            format!("lines about items that the stock does not have: {}", gone.join(", ")),
            "the log of this stock",
            "if an item was given another number, its past is not counted under the new one",
        ));
    }
    let later = log.entries().iter().filter(|entry| entry.date.as_str() > date).count();
    if later > 0 {
        warnings.push(Problem::new(
            Place::file(file),
            format!("{later} lines from after {date}, the day of the order"),
            "a log up to that day",
            "nothing, if you look back on purpose: they are not counted; else correct --date",
        ));
    }
    warnings
}

fn log(book: &Book, problems: &mut Problems) -> Option<Log> {
    let Some(sheet) = named_sheet(book, SHEET) else {
        problems.add(Problem::new(
            Place::file(&book.file),
            "no sheet Issues",
            "an issue log of a shop from before its outage files",
            "check the path given with --log; a new name begins a new log",
        ));
        return None;
    };
    // The log is written whole each time, so unknown contents would be lost.
    for other in book.sheets.iter().filter(|other| other.name != sheet.name) {
        problems.add(Problem::new(
            other.whole(),
            "another sheet in the issue log",
            "the sheet Issues alone",
            "move it to a workbook of its own, where it is not lost",
        ));
    }
    let table = Table::find(sheet, &HEADINGS, problems)?;
    let known = HEADINGS.map(crate::columns::key);
    for heading in table.headings.iter().filter(|h| !known.contains(&h.key)) {
        problems.add(foreign(&table, heading.column));
    }
    for column in &table.bare {
        problems.add(foreign(&table, *column));
    }
    let headings = HEADINGS.map(|name| table.needed(name, problems));
    if headings.iter().any(Option::is_none) {
        return None;
    }
    let headings: Vec<&Heading> = headings.into_iter().flatten().collect();
    let mut log = Log::new();
    // Every row counts here, also one that looks like a total or the headings.
    let rows = sheet.rows.iter().filter(|row| row.number > table.heading_row);
    for row in rows {
        let line = TableRow { table: &table, row };
        let before = problems.count();
        match entry(&line, &headings, problems) {
            Some(entry) => follow(&mut log, entry, &line, &headings, problems),
            None if problems.count() == before => problems.add(Problem::new(
                line.place(headings[0]),
                "a line that is not one of the log's",
                "only the lines that were written with the log",
                UNDO,
            )),
            None => {}
        }
    }
    check_seal(sheet, &table, &log, problems);
    Some(log)
}

fn foreign(table: &Table<'_>, column: u32) -> Problem {
    Problem::new(
        table.place(table.heading_row, column),
        "a column that is not the log's",
        "only the columns of an issue log",
        "move it to a workbook of its own, where it is not lost",
    )
}

fn entry(line: &TableRow<'_, '_>, headings: &[&Heading], problems: &mut Problems) -> Option<Entry> {
    let mut text = |at: usize| line.text(Some(headings[at]), problems).unwrap_or_default();
    let texts: Vec<String> = (0..HEADINGS.len()).map(&mut text).collect();
    let mut wrong = |at: usize, expected: &str| {
        let found = match texts[at].as_str() {
            "" => "an empty cell".to_string(),
            text => format!("`{text}`"),
        };
        problems.add(Problem::new(line.place(headings[at]), found, expected, UNDO));
    };
    let mut whole = |at: usize, most: i64| {
        // Exactly as the log writes it; 3.0 or 1e3 would make another chain.
        let read = texts[at].parse::<i64>();
        let read = read.ok().filter(|n| n.to_string() == texts[at] && n.abs() <= most);
        if read.is_none() {
            wrong(at, "a whole number");
        }
        read
    };
    let most = i64::from(u32::MAX);
    let count = |number: Option<i64>| number.and_then(|n| u32::try_from(n).ok());
    let number = count(whole(0, most));
    let run = count(whole(2, most));
    let asked = count(whole(7, most));
    let out = whole(8, most);
    let on_hand = match (texts[10].as_str(), texts[11].as_str()) {
        ("", "") => Some(None),
        _ => {
            let (before, after) = (count(whole(10, most)), count(whole(11, most)));
            before.zip(after).map(|(before, after)| Some(OnHand { before, after }))
        }
    };
    let unit_cost = match texts[12].as_str() {
        "" => Some(None),
        text => {
            let cost = crate::decimal::Money::parse(text);
            let cost = cost.filter(|cost| cost.to_string() == text);
            if cost.is_none() {
                wrong(12, "an amount of money");
            }
            cost.map(Some)
        }
    };
    let date = crate::day::is_date(&texts[1]);
    if !date {
        wrong(1, "a date such as 2027-03-15");
    }
    let how = How::parse(&texts[9]);
    if how.is_none() {
        wrong(9, "how the pieces moved");
    }
    for at in [3, 4, 5, 6, 13] {
        if tidy(&texts[at]) != texts[at] {
            wrong(at, "words separated by single spaces, as in the log");
        }
    }
    let chain = texts[14].clone();
    Some(Entry {
        number: number?,
        date: texts[1].clone(),
        run: run?,
        movement: Movement {
            plan: texts[3].clone(),
            tag: texts[4].clone(),
            place: texts[5].clone(),
            item: texts[6].clone(),
            asked: asked?,
            out: out?,
            how: how?,
            on_hand: on_hand?,
            unit_cost: unit_cost?,
            note: texts[13].clone(),
        },
        chain,
    })
    .filter(|_| date)
}

fn follow(
    log: &mut Log,
    entry: Entry,
    line: &TableRow<'_, '_>,
    headings: &[&Heading],
    problems: &mut Problems,
) {
    let number = entry.number;
    for fault in log.follow(entry) {
        let (at, found, expected) = match fault {
            LogError::Number(next) if number > next => (
                0,
                format!("line {number}, where line {next} should be"),
                "every line of the log: what is between was removed or moved".to_string(),
            ),
            LogError::Number(next) => (
                0,
                format!("line {number} again, where line {next} should be"),
                "each line once, in its order".to_string(),
            ),
            LogError::Chain => (
                14,
                format!("line {number}, which does not fit its chain and the line before"),
                "every value as the log was written".to_string(),
            ),
            LogError::Before(known) => (
                10,
                "a count before that is not the count after the item's last line".to_string(),
                format!("{known}"),
            ),
            LogError::After => (
                11,
                "a count after that is not the count before less what went out".to_string(),
                "counts that add up".to_string(),
            ),
            LogError::Run => (
                2,
                "a run earlier than that of the line before".to_string(),
                "runs in their order".to_string(),
            ),
        };
        problems.add(Problem::new(line.place(headings[at]), found, expected, UNDO));
    }
}

/// Compares the number of lines and the last chain above the table with the lines: removing lines at the end leaves
/// no gap.
fn check_seal(sheet: &Sheet, table: &Table<'_>, log: &Log, problems: &mut Problems) {
    let above = sheet.rows.iter().take_while(|row| row.number < table.heading_row);
    let is = [log.entries().len().to_string(), log.chain().to_string()];
    for (name, is) in SEAL.iter().zip(is) {
        let place_of = |row: &crate::sheet::SheetRow| {
            let cell =
                row.cells.iter().find(|(_, cell)| matches!(cell, Cell::Text(t) if t == name))?;
            let said = row.cell(cell.0 + 1).map_or_else(String::new, Cell::show);
            Some((sheet.place(row.number, cell.0 + 1), said))
        };
        let found = above.clone().find_map(place_of);
        let (place, said) = found.unwrap_or_else(|| (sheet.whole(), String::new()));
        if said != is {
            problems.add(Problem::new(
                place,
                match said.as_str() {
                    "" => format!("no `{name}` above the table"),
                    said => format!("`{said}` for `{name}`, where the lines make it {is}"),
                },
                "as many lines as were written, the last one with this chain",
                UNDO,
            ));
        }
    }
}
