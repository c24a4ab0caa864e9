//! Reads a plan as it was carried out: the Issue sheet of its workbook, or its JSON when nothing deviates.

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::Arc;

use super::bounded;
use super::rows::Lone;
use super::table::{Heading, Table, TableRow as Row};
use super::{Memory, book, named_sheet, stock_counts};
use crate::columns::key as heading_key;
use crate::formats::common::{CauseJson, ShortJson};
use crate::formats::issue_sheet::{EXTRA, HEADINGS, ID, OWN};
use crate::formats::plan::{self, NotAPlan, PlanJson, SheetJson, SheetName};
use crate::issue::carried::{Carried, Extra, Filled, RULES};
use crate::issue::counts::{CountedLot, Counts};
use crate::issue::planned::{PickStep, Planned, PlannedLine};
use crate::issue::returned::{ReturnedLot, StockPage};
use crate::issue::{key, tidy};
use crate::model::NOT_FIT;
use crate::problem::{Place, Problem, Problems};
use crate::sheet::{Book, Cell, Sheet, SheetRow};

/// Headings; those that every line has come first.
const NEEDED: [&str; 10] =
    ["Step", "Planned", "Tag", "Place", "Bin", "Item", "Picked", "Substitute item", "Qty", "Note"];
/// Reads a plan that `kit` wrote: a workbook with the entries that people made, or JSON.
///
/// # Errors
/// Every problem: a file that is not a plan, an unusable entry on the Issue sheet, planned pieces that were changed.
pub fn carried(path: &Path, memory: &mut Memory) -> Result<Carried, Problems> {
    let mut problems = Problems::new();
    let carried = carried_so_far(path, memory, &mut problems);
    problems.settle(carried).map(|(carried, _)| carried)
}

/// Reads a plan and adds its problems to the others. A plan whose only faults are cells that people fill in is
/// returned all the same, so that further problems are reported in the same run.
pub fn carried_so_far(
    path: &Path,
    memory: &mut Memory,
    problems: &mut Problems,
) -> Option<Carried> {
    with_book(path, memory, problems).map(|(carried, _)| carried)
}

/// Reads a plan as [`carried_so_far`] does, and returns its workbook too, if it is one.
pub(super) fn with_book(
    path: &Path,
    memory: &mut Memory,
    problems: &mut Problems,
) -> Option<(Carried, Option<Book>)> {
    let file = path.display().to_string();
    let begins = |bytes: &[u8]| bytes.trim_ascii_start().starts_with(b"{");
    // A plan's JSON is small beside the workbooks; a larger file is not one.
    let json = bounded::bytes(path, bounded::OF_PLAN).ok();
    let json = json.filter(|bytes| begins(bytes));
    match json {
        Some(bytes) => Some((of_json(&file, &bytes, problems)?, None)),
        None => match book(path, memory) {
            Ok(book) => Some((of_book(&book, problems)?, Some(book))),
            Err(problem) => {
                problems.absorb(problem);
                None
            }
        },
    }
}

fn of_json(file: &str, bytes: &[u8], problems: &mut Problems) -> Option<Carried> {
    let place = Place::file(file);
    let mut wrong = |found: String, expected: &str, fix: &str| {
        problems.add(Problem::new(place.clone(), found, expected, fix));
    };
    let plan = match of_bytes(bytes) {
        Ok(plan) => plan,
        Err(error) => {
            let expected = "a plan as `gapwright kit` writes it";
            wrong(error.to_string(), expected, error.fix());
            return None;
        }
    };
    if stock_of(&plan).is_none() {
        wrong(
            "a plan that does not say which stock it was made from".into(),
            "a plan with its inputs",
            "make the plan again",
        );
        return None;
    }
    let (planned, notes) = planned(&plan);
    let mut before = Counts::default();
    let pieces = plan.stock.iter().map(|item| (&item.item, item.before));
    let sheets = plan.sheets.iter().map(|lot| (&lot.item, lot.before));
    let returned = returned(&plan);
    let new = returned.iter().map(|lot| (&lot.item, 0));
    for (item, on_hand) in pieces.chain(sheets).chain(new) {
        before.add(CountedLot {
            item: tidy(item),
            on_hand,
            reserved: 0,
            unit_cost: None,
            make: None,
            place: place.clone(),
        });
    }
    let filled = notes.into_iter().map(|note| Filled {
        picked: None,
        instead: None,
        note,
        at: place.clone(),
        instead_at: place.clone(),
    });
    Some(Carried {
        filled: filled.collect(),
        extras: Vec::new(),
        planned,
        before,
        returned,
        place: place.clone(),
        pumps_sha256: input_of(&plan, "pump workbook").map(String::from),
        rules: BTreeMap::from([("Acceptance".to_string(), plan.acceptance.clone())]),
    })
}

/// A plan for programs that is as it was written.
///
/// # Errors
/// As [`plan::parse`]; also a plan whose code is not that of its lines.
pub(super) fn of_bytes(bytes: &[u8]) -> Result<PlanJson, NotAPlan> {
    let plan = plan::parse(bytes)?;
    let id = planned(&plan).0.id();
    match id == plan.plan {
        true => Ok(plan),
        false => {
            let told = format!("its lines make the plan {id}, below the plan `{}`", plan.plan);
            Err(NotAPlan::Changed(told))
        }
    }
}

/// Hash of the stock that a plan was made from.
fn stock_of(plan: &PlanJson) -> Option<&str> {
    input_of(plan, "stock workbook")
}

/// Hash of the file of this use that a plan was made from.
fn input_of<'p>(plan: &'p PlanJson, role: &str) -> Option<&'p str> {
    let file = plan.inputs.iter().find(|input| input.role == role);
    file.map(|input| input.sha256.as_str())
}

/// Lines of a plan for programs, and the reason of each shortage.
fn planned(plan: &PlanJson) -> (Planned, Vec<String>) {
    let (lines, notes) = lines(plan).into_iter().unzip();
    let stock_sha256 = stock_of(plan).unwrap_or_default().to_string();
    (Planned { stock_sha256, lines }, notes)
}

/// Lots that go back by a plan for programs.
fn returned(plan: &PlanJson) -> Vec<ReturnedLot> {
    let of_sheet = |lot: &SheetJson| {
        let plate = tidy(&lot.item);
        let back = lot.put_back.iter().map(move |back| ReturnedLot {
            item: tidy(&back.item),
            plate: plate.clone(),
            page: match back.sheet {
                SheetName::Stock => StockPage::Stock,
                SheetName::Plate => StockPage::Plate,
            },
            count: back.count,
            columns: back.columns.clone().into_iter().collect(),
        });
        back.collect::<Vec<_>>()
    };
    plan.sheets.iter().flat_map(of_sheet).collect()
}

/// Lines of a plan for programs, each with the reason of its shortage; places are named as in the model file.
fn lines(plan: &PlanJson) -> Vec<(PlannedLine, String)> {
    let mut lines = Vec::new();
    let line = |step, tag: &str, place: &str, item: &str, planned| PlannedLine {
        step,
        tag: tidy(tag),
        place: tidy(&place.replace('_', " ")),
        item: tidy(item),
        planned,
        why: None,
    };
    let mut add = |line, note: String| lines.push((line, tidy(&note)));
    for pump in &plan.pumps {
        let tag = &pump.tag;
        let pick = if pump.bag_stays_closed { PickStep::InBag } else { PickStep::Pick };
        let is_place = |short: &&ShortJson| !matches!(short.cause, CauseJson::NotProven { .. });
        for short in pump.short.iter().filter(is_place) {
            let place = short.pack.as_deref().unwrap_or_default();
            let note = format!("{NOT_FIT}: {}", short.cause);
            add(line(PickStep::Short, tag, place, "", 0), note);
        }
        for (place, pack) in &pump.packs {
            for piece in &pack.pieces {
                let step = piece.cut_from.as_ref();
                let step = step.map_or(pick.clone(), |sheet| PickStep::CutFrom(tidy(sheet)));
                let taken = line(step, tag, place, &piece.item, piece.count);
                add(taken, String::new());
            }
        }
        for share in &pump.bag {
            for piece in &share.pieces {
                let taken = line(pick.clone(), tag, &share.kind, &piece.item, piece.count);
                add(taken, String::new());
            }
            if let Some(why) = &share.reason {
                let short = line(PickStep::Short, tag, &share.kind, "", share.lacking);
                add(short, why.to_string());
            }
        }
    }
    for item in plan.stock.iter().filter(|item| item.spoiled > 0) {
        let lost = line(PickStep::Spoiled, "", "", &item.item, item.spoiled);
        add(lost, String::new());
    }
    let cut = |lot: &SheetJson| u32::try_from(lot.layouts.len()).unwrap_or(u32::MAX);
    for lot in plan.sheets.iter().filter(|lot| cut(lot) > 0) {
        add(line(PickStep::CutUp, "", "", &lot.item, cut(lot)), String::new());
    }
    for lot in returned(plan) {
        let step = PickStep::GoesBack(lot.plate);
        add(line(step, "", "", &lot.item, lot.count), String::new());
    }
    lines
}

fn of_book(book: &Book, problems: &mut Problems) -> Option<Carried> {
    let mut sheet = |name: &str| {
        let found = named_sheet(book, name);
        if found.is_none() {
            problems.add(Problem::new(
                Place::file(&book.file),
                format!("no sheet {name}"),
                "a plan as `gapwright kit` writes it, with the sheets Issue, Stock after and Basis",
                "name the plan's workbook; if it is older than its sheet Issue, make the plan again",
            ));
        }
        found.cloned()
    };
    let (issue, after, basis) = (sheet("Issue"), sheet("Stock after"), sheet("Basis"));
    let (issue, after, basis) = (issue?, after?, basis?);
    let stock_sha256 = beside(&basis, "stock workbook", 2);
    if stock_sha256.is_none() {
        problems.add(Problem::new(
            basis.whole(),
            "no hash of the stock workbook",
            "the inputs of the plan with their SHA-256",
            "make the plan again",
        ));
    }
    let plates = named_sheet(book, "Plate");
    let held = stock_counts::of(&after, plates, problems);
    let mut carried = Carried {
        planned: Planned { stock_sha256: stock_sha256.unwrap_or_default(), lines: Vec::new() },
        filled: Vec::new(),
        extras: Vec::new(),
        before: held.counts,
        returned: Vec::new(),
        place: issue.whole(),
        pumps_sha256: beside(&basis, "pump workbook", 2),
        rules: RULES
            .into_iter()
            .filter_map(|name| Some((name.to_string(), beside(&basis, name, 1)?)))
            .collect(),
    };
    let whole = read_issue(&issue, &mut carried, problems);
    let id = beside(&issue, ID, 1).unwrap_or_default();
    if whole && id != carried.planned.id() {
        let written = beside(&issue, ID, OWN[0].into());
        let written: Option<usize> = written.and_then(|count| count.parse().ok());
        let there = carried.planned.lines.len();
        let lines = match written {
            Some(written) if written != there => {
                format!("{there} lines, of the {written} that `gapwright kit` wrote; they make")
            }
            _ => "lines that make".to_string(),
        };
        problems.add(Problem::new(
            issue.whole(),
            format!("{lines} the plan {}, below the plan `{id}`", carried.planned.id()),
            "tags, items and planned pieces as `gapwright kit` wrote them",
            UNDO,
        ));
        return None;
    }
    if !whole {
        return None;
    }
    add_back(&mut carried);
    for lot in &mut carried.returned {
        let (page, row) = match row_of(&after, &lot.item) {
            Some(row) => (StockPage::Stock, Some(row)),
            None => (StockPage::Plate, plates.and_then(|sheet| row_of(sheet, &lot.item))),
        };
        lot.page = page;
        lot.columns.extend(row.into_iter().flatten());
    }
    Some(carried)
}

/// Adds the planned pieces to the stock after and takes off those that go back, which gives the stock before.
fn add_back(carried: &mut Carried) {
    for line in &carried.planned.lines {
        let Some(lot) = carried.before.get(&line.item) else { continue };
        let before = match line.step {
            PickStep::GoesBack(_) => lot.on_hand.saturating_sub(line.planned),
            _ if line.step.counts() => lot.on_hand.saturating_add(line.planned),
            _ => continue,
        };
        carried.before.set(&line.item, before);
    }
}

/// Row of an item on a sheet of the stock after: headings and contents, On hand and Bin left out.
fn row_of(sheet: &Sheet, item: &str) -> Option<Vec<(String, String)>> {
    let headings = sheet.rows.first()?;
    let column = |name: &str| {
        let mut cells = headings.cells.iter();
        cells.find(|(_, cell)| heading_key(&cell.show()) == heading_key(name)).map(|(at, _)| *at)
    };
    let own = column("Item")?;
    let is = |row: &&SheetRow| row.cell(own).is_some_and(|cell| key(&cell.show()) == key(item));
    let row = sheet.rows.iter().find(is)?;
    let skipped = [column("On hand"), column("Bin")];
    let cells = row.cells.iter().filter(|(at, _)| !skipped.contains(&Some(*at)));
    let named = cells.filter_map(|(at, cell)| Some((headings.cell(*at)?.show(), cell.show())));
    Some(named.collect())
}

/// Text `columns` to the right of a cell with this text.
fn beside(sheet: &Arc<Sheet>, text: &str, columns: u32) -> Option<String> {
    sheet.rows.iter().find_map(|row| {
        let is = |(_, cell): &&(u32, Cell)| matches!(cell, Cell::Text(found) if found == text);
        let (column, _) = row.cells.iter().find(is)?;
        Some(row.cell(column + columns)?.show())
    })
}

/// Whether the plan's own part of the sheet could be read and is as it was written.
fn read_issue(sheet: &Sheet, carried: &mut Carried, problems: &mut Problems) -> bool {
    let Some(table) = Table::find_of(sheet, &NEEDED, Lone::IsFine, problems) else {
        return false;
    };
    let mut whole = true;
    for heading in &table.headings {
        if !HEADINGS.iter().any(|known| heading_key(known) == heading.key) {
            problems.add(Problem::new(
                table.place(table.heading_row, heading.column),
                format!("a column headed `{}`", heading.text),
                "only the columns that `gapwright kit` wrote",
                "write it into the column Note",
            ));
        }
    }
    let found = NEEDED.map(|name| table.needed(name, problems));
    let [
        Some(step),
        Some(planned),
        Some(tag),
        Some(place),
        Some(bin),
        Some(item),
        Some(picked),
        Some(instead),
        Some(pieces),
        Some(note),
    ] = found
    else {
        return false;
    };
    // Each line as it is now and as it was written: a sheet that was only sorted has the same lines.
    let (mut there, mut written) = (Vec::new(), Vec::new());
    for row in table.lines() {
        let own = OWN.map(|column| row.row.cell(column.into()).map(Cell::show));
        let kept = own.iter().any(Option::is_some);
        let own = own.map(Option::unwrap_or_default);
        if kept {
            written.push(own.clone());
        }
        let mut text =
            |heading: &Heading| tidy(&row.text(Some(heading), problems).unwrap_or_default());
        let (words, tag, place, name) = (text(step), text(tag), text(place), text(item));
        let (instead_item, note, put_into) = (text(instead), text(note), text(bin));
        let picked_count = row.count(Some(picked), problems);
        let pieces_count = row.count(Some(pieces), problems);
        let filled_in = [picked, instead, pieces].map(|h| row.row.cell(h.column).is_some());
        if words == EXTRA {
            if [&tag, &place, &name, &note].iter().any(|t| !t.is_empty())
                || filled_in.contains(&true)
            {
                let entry = Extra {
                    tag,
                    place,
                    item: name,
                    count: picked_count.unwrap_or(0),
                    note,
                    at: row.place(item),
                };
                extra(
                    &row,
                    entry,
                    [tag_of(&table), item, picked, instead, pieces],
                    carried,
                    problems,
                );
            }
            continue;
        }
        let count = row.count(Some(planned), problems);
        let shown = count.map_or_else(String::new, |count| count.to_string());
        let now = [&tag, &name, &words, &shown].map(String::clone);
        let headings = [tag_of(&table), item, step, planned];
        there.push(IssueRow {
            now,
            own,
            places: headings.map(|heading| row.place(heading)),
            shown: headings.map(|heading| row.row.cell(heading.column).map(Cell::show)),
        });
        whole &= count.is_some();
        let Some(step_read) = PickStep::parse(&words) else {
            whole = false;
            if kept {
                continue;
            }
            problems.add(Problem::new(
                row.place(step),
                match words.as_str() {
                    "" => "an empty cell".to_string(),
                    words => format!("`{words}`"),
                },
                "the step as `gapwright kit` wrote it",
                format!("undo the change; write pieces that are not in the plan into the lines with `{EXTRA}`"),
            ));
            continue;
        };
        if let PickStep::GoesBack(plate) = &step_read {
            // The bin that it was put into; the rest of its row stands on the sheets of the stock after.
            let bin = (!put_into.is_empty()).then(|| ("Bin".to_string(), put_into));
            let columns = bin.into_iter().collect();
            carried.returned.push(ReturnedLot {
                item: name.clone(),
                plate: plate.clone(),
                page: StockPage::Stock,
                count: count.unwrap_or(0),
                columns,
            });
        }
        let count = count.unwrap_or(0);
        let both = match (instead_item.as_str(), pieces_count) {
            ("", None) => None,
            (name, Some(count @ 1..)) if !name.is_empty() => Some((name.to_string(), count)),
            (name, _) => {
                // An unreadable count is a problem by itself.
                if pieces_count.is_some() || !filled_in[2] {
                    let lacks = if name.is_empty() { instead } else { pieces };
                    problems.add(Problem::new(
                        row.place(lacks),
                        match (name, pieces_count) {
                            ("", _) => "pieces of no item".to_string(),
                            (name, Some(_)) => format!("0 pieces of {name}"),
                            (name, None) => format!("{name} without its number of pieces"),
                        },
                        "the other item and how many pieces of it, or neither",
                        "fill in both, or clear both",
                    ));
                }
                None
            }
        };
        carried.planned.lines.push(PlannedLine {
            step: step_read,
            tag,
            place,
            item: name,
            planned: count,
            why: None,
        });
        carried.filled.push(Filled {
            picked: picked_count,
            instead: both,
            note,
            at: row.place(picked),
            instead_at: row.place(instead),
        });
    }
    // A plan of an earlier version has no columns to compare with.
    if !written.is_empty() {
        whole &= compare(sheet, there, written, problems);
    }
    let tags: Vec<String> = carried.tags().iter().map(|tag| key(tag)).collect();
    for extra in &carried.extras {
        if !tags.contains(&key(&extra.tag)) {
            let known = carried.planned.lines.iter().map(|line| line.tag.as_str());
            problems.add(Problem::new(
                extra.at.clone(),
                format!("{} for `{}`, which is no tag of the plan", extra.item, extra.tag),
                "a tag of the plan",
                crate::problem::fix_name(&extra.tag, known, "correct the tag"),
            ));
        }
    }
    whole
}

/// Planned part of a line: tag, item, step and planned count.
type Own = [String; 4];

/// A line as it is now.
struct IssueRow {
    now: Own,
    /// Contents of the hidden columns of its row.
    own: Own,
    /// Place of each part, with the cell as it shows.
    places: [Place; 4],
    shown: [Option<String>; 4],
}

const UNDO: &str = "undo the change; write picked pieces into the coloured cells, and pieces that are not in the plan into the lines with `extra`";

/// Whether the lines are those that were written, in any order; each other line is a problem.
fn compare(
    sheet: &Sheet,
    mut there: Vec<IssueRow>,
    mut written: Vec<Own>,
    problems: &mut Problems,
) -> bool {
    // Both are sorted, so that one pass shows the lines that only one of them has.
    written.sort();
    there.sort_by(|a, b| a.now.cmp(&b.now));
    let (mut strange, mut missing) = (Vec::new(), Vec::new());
    let mut rest = written.into_iter().peekable();
    for line in there {
        while let Some(own) = rest.next_if(|own| *own < line.now) {
            missing.push(own);
        }
        if rest.next_if(|own| *own == line.now).is_none() {
            strange.push(line);
        }
    }
    missing.extend(rest);
    let whole = strange.is_empty() && missing.is_empty();
    let mut left: BTreeMap<Own, u32> = BTreeMap::new();
    for own in missing {
        *left.entry(own).or_default() += 1;
    }
    for line in strange {
        // The row's own line, if missing, is the one that was changed.
        let Some(count @ 1..) = left.get_mut(&line.own) else {
            problems.add(Problem::new(
                line.places[1].clone(),
                format!("a line that the plan does not have: {}", said(&line.now)),
                "tags, items and planned pieces as `gapwright kit` wrote them",
                UNDO,
            ));
            continue;
        };
        *count -= 1;
        let cells = line.places.into_iter().zip(line.shown);
        for ((place, shown), (now, own)) in cells.zip(line.now.iter().zip(&line.own)) {
            if now != own {
                problems.add(Problem::new(
                    place,
                    shown.map_or("an empty cell".into(), |shown| format!("`{shown}`")),
                    match own.as_str() {
                        "" => "an empty cell, as `gapwright kit` wrote it".to_string(),
                        own => format!("`{own}`, as `gapwright kit` wrote it"),
                    },
                    UNDO,
                ));
            }
        }
    }
    for (own, _) in left.into_iter().filter(|(_, count)| *count > 0) {
        problems.add(Problem::new(
            sheet.whole(),
            format!("no line any more for {}", said(&own)),
            "every line that `gapwright kit` wrote",
            UNDO,
        ));
    }
    whole
}

/// A line of the plan in words.
fn said(own: &Own) -> String {
    let words: Vec<&str> = own.iter().map(String::as_str).filter(|word| !word.is_empty()).collect();
    words.join(", ")
}

fn tag_of<'t>(table: &'t Table<'_>) -> &'t Heading {
    table.optional("Tag").unwrap_or(&table.headings[0])
}

/// A spare line that was filled in.
fn extra(
    row: &Row<'_, '_>,
    extra: Extra,
    [tag, item, picked, instead, pieces]: [&Heading; 5],
    carried: &mut Carried,
    problems: &mut Problems,
) {
    let before = problems.count();
    for (heading, empty) in [(tag, extra.tag.is_empty()), (item, extra.item.is_empty())] {
        if empty {
            row.missing(heading, problems);
        }
    }
    for heading in [instead, pieces] {
        if row.row.cell(heading.column).is_some() {
            problems.add(Problem::new(
                row.place(heading),
                "something in a spare line",
                "the item and its count under Item and Picked",
                "move it there; each item has a line of its own",
            ));
        }
    }
    if extra.count == 0 && problems.count() == before {
        problems.add(Problem::new(
            row.place(picked),
            format!("no pieces of {}", extra.item),
            "how many were taken",
            "fill it in, or clear the whole line",
        ));
    }
    if problems.count() == before {
        carried.extras.push(extra);
    }
}
