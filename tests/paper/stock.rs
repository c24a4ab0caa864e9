//! Reorder, Stock after and their companion sheets: the remaining count of every lot, and the rows as they came.

use std::collections::BTreeMap;

use gapwright::job::StockSheet;
use gapwright::plan::MarginalValue;
use gapwright::sheet::{Cell, Sheet};
use gapwright::verify::Verified;

use crate::figures::{money, money_exactly};
use crate::outages::held;
use crate::page::{Row, count, entry, line, number, texts};
use crate::returned::{self, Returned};
use crate::wording::reorder as words;
use crate::{anew, said};

const FIGURES: u32 = 11;

#[test]
fn what_is_left_stands_on_reorder() {
    let seen = std::sync::Mutex::new(Vec::new());
    held("Reorder", |outage, wrong| {
        let verified = &outage.verified;
        let page = outage.book.page("Reorder");
        let mut rows = vec![line(words::TITLE[0]), line(words::TITLE[1])];
        rows.extend(said::not_fit(verified, words::NOT_FIT));
        rows.push(texts(&words::COLUMNS));
        rows.extend(lines(verified, &mut seen.lock().unwrap()));
        if verified.plan().worth.is_empty() {
            rows.push(line(words::NO_WORTH));
        }
        let mut figures = Vec::new();
        for (heading, stacked) in words::PICTURES.into_iter().zip([true, false]) {
            picture(verified, heading, stacked, &mut rows, &mut figures);
        }
        wrong.rows(&page.block(0..FIGURES), &rows);
        wrong.rows(&page.block(FIGURES..u32::MAX), &figures);
    });
    let seen = seen.into_inner().unwrap();
    for kind in ["below", "just at it", "just above", "reserved", "spoiled", "worth", "lacking"] {
        assert!(seen.contains(&kind), "no outage brings out: {kind}");
    }
}

fn lines(verified: &Verified, seen: &mut Vec<&str>) -> Vec<Row> {
    let job = verified.job();
    // Missing pieces are counted once, for the row that would be taken first.
    let mut lacking: BTreeMap<usize, u32> = BTreeMap::new();
    for (pump, bag) in job.pumps.iter().zip(verified.bags()) {
        for (need, share) in bag.iter().enumerate() {
            if let Some(&first) = anew::serving(job, pump, need).first() {
                *lacking.entry(first).or_default() += share.lacking;
            }
        }
    }
    let items = job.stock.iter().enumerate().filter(|(_, item)| item.cut.is_none());
    let rows = items.map(|(at, item)| {
        let (left, least) = (anew::left(verified, at), item.min_level);
        let marks = [
            (left < least, "below"),
            (left == least && least > 0, "just at it"),
            (left == least + 1 && least > 0, "just above"),
            (item.reserved > 0, "reserved"),
            (anew::spoiled(verified, at) > 0, "spoiled"),
        ];
        seen.extend(marks.iter().filter(|(is, _)| *is).map(|(_, mark)| *mark));
        let below = if left < least { words::BELOW } else { "" };
        let worth = verified.plan().worth.iter().find(|worth| worth.item == at);
        let lacks = lacking.get(&at).copied().unwrap_or(0);
        let said = match worth {
            Some(own) => {
                seen.push("worth");
                worth_of(verified, own)
            }
            None if item.size.is_some() => words::NOT_WORKED_OUT.into(),
            None if lacks > 0 => {
                seen.push("lacking");
                words::lacking(lacks)
            }
            None => String::new(),
        };
        let mut row =
            texts(&[&item.item, &item.kind, item.fit.as_str(), "", "", "", "", "", below, &said]);
        let counts =
            [item.on_hand, anew::taken(verified, at), anew::spoiled(verified, at), left, least];
        row.extend((3..).zip(counts.map(count)));
        row
    });
    rows.collect()
}

fn worth_of(verified: &Verified, worth: &MarginalValue) -> String {
    let currency = &verified.job().policy.currency;
    let change = worth.waste.raw();
    let size = change.abs();
    // Less than half a cent is shown to its last place.
    let amount = match size {
        ..=5_000 => money_exactly(size, currency),
        _ => money(size, currency),
    };
    let waste = match change {
        0 => words::UNCHANGED.into(),
        _ => words::waste(&amount, change < 0),
    };
    match (worth.served_weight, change) {
        (Some(0), 0) => words::NOTHING.into(),
        (Some(0), _) => waste,
        _ => format!("{}{waste}", words::MORE),
    }
}

/// Items with the largest issues, thirty at most, in the order of the stock.
fn picture(
    verified: &Verified,
    heading: &str,
    stacked: bool,
    rows: &mut Vec<Row>,
    figures: &mut Vec<Row>,
) {
    const MOST: usize = 30;
    let job = verified.job();
    let gone = |at: usize| job.stock[at].on_hand - anew::left(verified, at);
    let mut shown: Vec<usize> = (0..job.stock.len()).collect();
    shown.retain(|&at| {
        job.stock[at].cut.is_none() && gone(at) > 0 && job.stock[at].size.is_some() == stacked
    });
    if shown.is_empty() {
        return;
    }
    let more = shown.len().saturating_sub(MOST);
    shown.sort_by_key(|&at| (std::cmp::Reverse(gone(at)), at));
    shown.truncate(MOST);
    shown.sort_unstable();
    rows.push(line(heading));
    rows.push(line(match more {
        0 => words::ALL_SHOWN.into(),
        more => words::some_shown(MOST, more),
    }));
    let at = |row: Row| -> Row {
        row.into_iter().map(|(column, text)| (column + FIGURES, text)).collect()
    };
    figures.push(at(texts(&words::FIGURES)));
    for index in shown {
        let item = &job.stock[index];
        let mut row = line(&item.item);
        let counts = [item.on_hand, anew::left(verified, index), item.min_level];
        row.extend((1..).zip(counts.map(count)));
        figures.push(at(row));
    }
}

/// Rows of a sheet as they came, except the count on hand.
fn as_it_came(
    sheet: &Sheet,
    from: u32,
    column: u32,
    left: impl Fn(u32) -> Option<u32>,
) -> Vec<Row> {
    let rows = sheet.rows.iter().filter(|row| row.number >= from);
    let rows = rows.map(|row| {
        let cells = row.cells.iter().map(|(at, cell)| {
            let text = match (left(row.number).filter(|_| *at == column), cell) {
                (Some(left), _) => count(left),
                (None, Cell::Number(value)) => number(*value),
                (None, Cell::Text(text)) => text.clone(),
                (None, other) => panic!("no such cell is in these outages: {other:?}"),
            };
            (*at, text)
        });
        cells.filter(|(_, text)| !text.is_empty()).collect()
    });
    rows.filter(|row: &Row| !row.is_empty()).collect()
}

fn table(source: &StockSheet, left: impl Fn(u32) -> Option<u32>) -> Vec<Row> {
    as_it_came(&source.sheet, source.heading_row, source.on_hand_column, left)
}

/// Row of a lot that goes back, below these headings; its bin is to be entered.
fn new_row(headings: &Row, lot: &Returned, verified: &Verified) -> Row {
    let at = |name: &str| {
        let found = headings.iter().find(|(_, heading)| *heading == name);
        *found.unwrap_or_else(|| panic!("no column {name}")).0
    };
    let mut row: Row = lot.row(verified).into_iter().map(|(name, text)| (at(name), text)).collect();
    row.insert(at("On hand"), count(lot.count));
    row.insert(at("Bin"), entry(""));
    row
}

#[test]
fn the_stock_after_is_the_stock_less_what_is_taken() {
    held("Stock after", |outage, wrong| {
        let (verified, job) = (&outage.verified, outage.verified.job());
        let back = returned::lots(verified);
        let mut expected = table(&job.stock_sheet, |row| {
            let mut lots = job.stock.iter();
            let at = lots.position(|item| item.row == row && item.cut.is_none());
            at.map(|at| anew::left(verified, at))
        });
        let pieces = back.iter().filter(|lot| lot.fit.is_some());
        let headings = expected[0].clone();
        expected.extend(pieces.map(|lot| new_row(&headings, lot, verified)));
        wrong.unless(expected.len() > 1, "there is a stock");
        wrong.rows(&outage.book.page("Stock after").block(0..u32::MAX), &expected);
        let sheets = !job.plates_sheet.sheet.rows.is_empty();
        wrong.same(
            "a sheet of sheets",
            outage.book.names.iter().any(|name| name == "Plate"),
            sheets,
        );
        if sheets {
            let mut expected = table(&job.plates_sheet, |row| {
                let at = job.plates.iter().position(|lot| lot.row == row)?;
                let layouts = verified.plan().layouts.iter();
                let cut = layouts.filter(|layout| layout.plate == at).count();
                Some(job.plates[at].on_hand - cut as u32)
            });
            let remnants = back.iter().filter(|lot| lot.sides.is_some());
            let headings = expected[0].clone();
            expected.extend(remnants.map(|lot| new_row(&headings, lot, verified)));
            wrong.rows(&outage.book.page("Plate").block(0..u32::MAX), &expected);
        }
        for (name, source) in [("Fit", &job.fit_sheet), ("Feelers", &job.feelers_sheet)] {
            if !source.rows.is_empty() {
                let expected = as_it_came(source, 0, u32::MAX, |_| None);
                wrong.rows(&outage.book.page(name).block(0..u32::MAX), &expected);
            }
        }
    });
}
