//! The Picking list: one line an item, walking the bins once.

use rust_xlsxwriter::Worksheet;

use super::page::{Page, Written};
use super::style::{Styles, tall};
use super::table::{Cells, Column, OTHER_UNIT};
use super::text::in_rows;
use crate::cutting::Layout;
use crate::issue::returned::{ReturnedLot, StockPage};
use crate::job::Job;
use crate::paper::picking::{LEAD, NOTHING, packs_opened, tags, totals, walk};
use crate::stock::Item;
use crate::verify::Verified;
use crate::words;

/// About so many characters go on a line of the tags' column, and so many lines of tags in a row, which leaves
/// room for what is said of packs.
const ON_A_LINE: usize = 58;
const MOST_LINES: usize = 22;
/// About so many characters go on a line over all columns.
const ACROSS: usize = 150;

/// A line of the list: an item, or more of the tags that want it.
struct PickedItem<'a> {
    item: &'a Item,
    issued: u32,
    tags: String,
    is_first: bool,
}

type Col<'s> = Column<'s, PickedItem<'s>>;

pub(super) fn sheet(verified: &Verified, styles: &Styles) -> Written<Worksheet> {
    let job = verified.job();
    let mut page = Page::begin("Picking list", "Picking list", LEAD, styles)?;
    let columns = columns(styles);
    page.above_the_table(columns.len(), &words::not_fit_tags(verified), "nothing to pick")?;
    bags(&mut page, verified)?;
    page.open(&columns)?;
    let (issued, taken) = (verified.issued(), verified.taken());
    let order = walk(job, &issued);
    let tags = tags(verified, 0..job.pumps.len());
    for &index in &order {
        let mut texts = in_rows(&tags[index], MOST_LINES * ON_A_LINE);
        if let (Some(last), Some(packs)) =
            (texts.last_mut(), packs_opened(job, index, taken[index]))
        {
            last.push_str(&format!(". {packs}"));
        }
        if texts.is_empty() {
            texts.push(String::new());
        }
        // Of an item that very many pumps want, the tags run on below; it is picked and ticked once.
        for (at, tags) in texts.into_iter().enumerate() {
            let (item, issued) = (&job.stock[index], issued[index]);
            page.high(tall(&tags, ON_A_LINE))?;
            page.put(&columns, &PickedItem { item, issued, tags, is_first: at == 0 })?;
        }
    }
    if order.is_empty() {
        page.text(NOTHING, &styles.alarm)?;
    }
    sheets_to_cut(&mut page, verified)?;
    put_away(&mut page, verified)?;
    page.row += 1;
    let stacked = job.stock.iter().zip(&issued).filter(|(lot, _)| lot.size.is_some());
    let stacked = stacked.map(|(_, issued)| issued).sum();
    page.part(totals(order.len(), issued.iter().sum(), stacked))?;
    not_measured(&mut page, job)?;
    if let Some(text) = words::ahead::held_back(job, verified.plan()) {
        let text = format!("{text} They stay in their bins.");
        page.across(&text, &page.styles.bold, tall(&text, ACROSS))?;
    }
    Ok(page.sheet)
}

/// Bags from before the plan: those to put back before anything is picked, and those to leave alone.
fn bags(page: &mut Page<'_>, verified: &Verified) -> Written {
    let said = [
        (words::to_reopen(verified), &page.styles.bold),
        (words::closed(verified), &page.styles.prose),
    ];
    for (text, format) in said {
        if let Some(text) = text {
            page.across(&text, format, tall(&text, ACROSS))?;
        }
    }
    Ok(())
}

/// The pumps that nothing is picked for yet, so that nobody looks for their bags.
fn not_measured(page: &mut Page<'_>, job: &Job) -> Written {
    let tags: Vec<&str> = job.not_measured.iter().map(|pump| pump.tag.as_str()).collect();
    let mut texts = in_rows(&tags, MOST_LINES * ACROSS);
    if let Some(first) = texts.first_mut() {
        *first = format!("Not measured, so there is nothing to pick for them yet: {first}");
    }
    for text in texts {
        page.across(&text, &page.styles.prose, tall(&text, ACROSS))?;
    }
    Ok(())
}

/// The columns; what is said of an item once is left empty where its tags run on.
fn columns(styles: &Styles) -> [Col<'_>; 10] {
    let once = |line: &PickedItem<'_>, cell| {
        if line.is_first { cell } else { styles.text.blank() }
    };
    // A lot is known by the system in which its thickness is a short number.
    let thickness = |line: &PickedItem<'_>| {
        let item = line.item;
        let thickness = item.size.map(|size| size.thickness).or(item.section)?;
        Some((thickness, words::natural_unit(thickness)))
    };
    let shown = move |line: &PickedItem<'_>| match thickness(line) {
        Some((thickness, unit)) => styles.strong.of(words::thickness(thickness, unit)),
        None => styles.text.blank(),
    };
    let about = move |line: &PickedItem<'_>| {
        let about = thickness(line).map(|(t, unit)| words::about(t.into(), unit.other()));
        styles.text.of(about)
    };
    [
        Col::new("Bin", 11.0, |line| match (&line.item.bin, line.is_first) {
            (None, true) => styles.alarm.of("no bin"),
            (bin, _) => styles.text.of(bin.as_deref().unwrap_or("")),
        }),
        Col::new("Item", 18.0, |line| match line.is_first {
            true => styles.strong.of(&line.item.item),
            false => styles.wrapped.of(format!("{}, more tags", line.item.item)),
        }),
        Col::new("Kind", 15.0, move |line| once(line, styles.text.of(&line.item.kind))),
        Col::new("Fit", 8.0, move |line| once(line, styles.text.of(line.item.fit.as_str()))),
        Col::new("Thickness", 19.0, move |line| once(line, shown(line))),
        Col::new(OTHER_UNIT, 13.0, move |line| once(line, about(line))),
        Col::new("Quantity", 11.0, move |line| once(line, styles.count.of(line.issued))),
        Col::new("For tags (pieces each)", 56.0, |line| styles.wrapped.of(&line.tags)),
        Col::new("Picked", 9.0, move |line| once(line, styles.entry.of("☐"))),
        Col::new("Initials", 10.0, move |line| once(line, styles.entry.blank())),
    ]
}

/// The sheets to take, if there are any, and how each is cut up.
fn sheets_to_cut(page: &mut Page<'_>, verified: &Verified) -> Written {
    let (job, layouts) = (verified.job(), &verified.plan().layouts);
    let Styles { text, strong, count, wrapped, entry, .. } = page.styles;
    let lot = |alike: &&[Layout]| &job.plates[alike[0].plate];
    let cut = |alike: &&[Layout]| words::strips(job, &alike[0]);
    let columns = [
        Column::of("Bin", |alike| text.of(lot(alike).bin.as_deref().unwrap_or(""))),
        Column::of("Plate", |alike| strong.of(&lot(alike).item)),
        Column::of("Kind", |alike| text.of(&lot(alike).kind)),
        Column::of("", |_| text.blank()),
        Column::of("", |_| text.blank()),
        Column::of("", |_| text.blank()),
        Column::of("Plates", |alike: &&[Layout]| count.of(alike.len())),
        Column::of("Cut into", |alike| wrapped.of(cut(alike))),
        Column::of("Picked", |_| entry.of("☐")),
        Column::of("Initials", |_| entry.blank()),
    ];
    if !layouts.is_empty() {
        page.row += 1;
        page.headings(&columns)?;
    }
    // Layouts are sorted: the like ones stand together.
    for alike in layouts.chunk_by(|one, next| one == next) {
        page.high(tall(&cut(&alike), ON_A_LINE))?;
        page.put(&columns, &alike)?;
    }
    Ok(())
}

/// Lots that go back into the stock of the plates cut, each with a cell for its bin.
fn put_away(page: &mut Page<'_>, verified: &Verified) -> Written {
    let job = verified.job();
    let Styles { text, strong, count, wrapped, entry, .. } = page.styles;
    let of = |lot: &ReturnedLot, heading: &str| lot.column(heading).unwrap_or_default().to_string();
    let bin = |lot: &ReturnedLot| {
        let of_stock = job.stock.iter().map(|item| (&item.item, &item.bin));
        let mut known = of_stock.chain(job.plates.iter().map(|plate| (&plate.item, &plate.bin)));
        let known = known.find(|(item, _)| **item == lot.item);
        known.and_then(|(_, bin)| bin.clone()).unwrap_or_default()
    };
    let about = |lot: &ReturnedLot| match lot.page {
        StockPage::Stock => "pieces that no kit takes".to_string(),
        StockPage::Plate => format!("remnant of {} x {}", of(lot, "Length"), of(lot, "Width")),
    };
    let columns = [
        Column::of("Bin", |lot: &ReturnedLot| entry.of(bin(lot))),
        Column::of("Goes back", |lot: &ReturnedLot| strong.of(&lot.item)),
        Column::of("Kind", |lot: &ReturnedLot| text.of(of(lot, "Kind"))),
        Column::of("Fit", |lot: &ReturnedLot| text.of(of(lot, "Fit"))),
        Column::of("Thickness", |lot: &ReturnedLot| text.of(of(lot, "Thickness"))),
        Column::of("", |_| text.blank()),
        Column::of("Quantity", |lot: &ReturnedLot| count.of(lot.count)),
        Column::of("Of plate", |lot: &ReturnedLot| {
            wrapped.of(format!("{}: {}", lot.plate, about(lot)))
        }),
        Column::of("Put away", |_| entry.of("☐")),
        Column::of("Initials", |_| entry.blank()),
    ];
    let returned = verified.returned();
    if !returned.is_empty() {
        page.row += 1;
        page.headings(&columns)?;
    }
    for lot in &returned {
        page.high(16.0)?;
        page.put(&columns, lot)?;
    }
    Ok(())
}
