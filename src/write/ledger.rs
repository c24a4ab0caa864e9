//! The ledger of a running outage as a workbook: its entries, its pumps, its stock.

use rust_xlsxwriter::{FormatAlign, Worksheet};

use super::WriteError;
use super::page::{Page, Written, lean_if_long};
use super::style::{Styles, lines};
use super::table::{Cells, Column};
use crate::issue::key;
use crate::model::NOT_FIT;
use crate::outage::{ItemStock, LedgerEntry, Outage, OutagePump};
use crate::words::outage::{described, listed};

/// The ledger as a workbook's bytes; `name` is that of the outage, and `date` (`YYYY-MM-DD`) is printed on it.
///
/// # Errors
/// [`WriteError::Workbook`] and [`WriteError::Date`].
pub fn workbook(outage: &Outage, name: &str, date: &str) -> Result<Vec<u8>, WriteError> {
    let (mut workbook, styles) = super::start("Outage ledger", date)?;
    let styles = &styles;
    let (entries, stock) = (outage.entries().len(), outage.stock().count());
    let of = format!("Outage {name}; the ledger ends at {}.", outage.head());
    let page = Page::on(lean_if_long(&mut workbook, entries), "Ledger", styles)?;
    workbook.push_worksheet(ledger(page, outage, &of)?);
    let page = Page::on(Worksheet::new(), "Pumps", styles)?;
    workbook.push_worksheet(pumps(page, outage, &of)?);
    let page = Page::on(lean_if_long(&mut workbook, stock), "Stock by ledger", styles)?;
    workbook.push_worksheet(stock_sheet(page, outage, &of)?);
    Ok(workbook.save_to_buffer()?)
}

/// Characters of a hash that are printed, as on plans and slips.
const PRINTED: usize = 12;

/// An entry in its words.
struct EntryLine<'o> {
    entry: &'o LedgerEntry,
    what: String,
    undone: bool,
}

fn ledger(mut page: Page<'_>, outage: &Outage, of: &str) -> Written<Worksheet> {
    type Col<'s> = Column<'s, EntryLine<'s>>;
    let styles = page.styles;
    let Styles { count, text, wrapped, .. } = styles;
    let hash = text.clone().set_font_size(7).set_align(FormatAlign::VerticalCenter);
    let short = |line: &EntryLine<'_>| line.entry.hash.chars().take(PRINTED).collect::<String>();
    let columns = [
        Col::new("No.", 7.0, |line| count.of(line.entry.number)),
        Col::new("Day", 12.0, |line| text.of(&line.entry.facts.date)),
        Col::new("Written (UTC)", 21.0, |line| text.of(to_the_second(&line.entry.facts.at))),
        Col::new("Who", 14.0, |line| wrapped.of(&line.entry.facts.who)),
        Col::new("What", 52.0, |line| wrapped.of(&line.what)),
        Col::new("Why", 34.0, |line| wrapped.of(&line.entry.facts.why)),
        Col::new("Undone", 9.0, |line| text.of(if line.undone { "undone" } else { "" })),
        Col::new("Hash begins", 16.0, |line| text.of(short(line))),
        Col::new("Hash (SHA-256)", 46.0, |line| hash.owned(&line.entry.hash)),
    ];
    page.title(
        &format!("Ledger: {} entries", outage.entries().len()),
        &format!("{of} An entry is never changed: a wrong one is undone by a later one."),
    )?;
    page.open(&columns)?;
    for entry in outage.entries() {
        let undone = outage.is_undone(entry.number);
        let line = EntryLine { entry, what: described(outage, entry), undone };
        let facts = &entry.facts;
        page.high(16.0 * lines(&[(&line.what, 50), (&facts.why, 32), (&facts.who, 12)], [1, 20]))?;
        page.put(&columns, &line)?;
    }
    let last = page.row.saturating_sub(1);
    let row = page.row;
    super::page::end(&mut page.sheet, row)?;
    // The whole hash is for programs.
    page.printed(last, 7)
}

/// A time of RFC 3339 without the parts of a second.
fn to_the_second(at: &str) -> String {
    let whole = at.split(['.', 'Z']).next().unwrap_or(at);
    whole.replace('T', " ")
}

fn pumps(mut page: Page<'_>, outage: &Outage, of: &str) -> Written<Worksheet> {
    type Col<'s> = Column<'s, &'s OutagePump>;
    let styles = page.styles;
    let Styles { count, text, wrapped, alarms, strong, .. } = styles;
    let columns = [
        Col::new("Tag", 16.0, |pump| strong.of(&pump.tag)),
        Col::new("State", 14.0, |pump| text.of(pump.state.words())),
        Col::new("Kit", 8.0, |pump| match &pump.kit {
            Some(kit) => count.of(kit.number),
            None => count.blank(),
        }),
        Col::new("Pieces of the kit", 40.0, |pump| wrapped.of(of_kit(pump))),
        Col::new("Pieces in its bag or in the pump", 40.0, |pump| wrapped.of(listed(&pump.bag))),
        Col::new("Remark", 40.0, |pump| match pump.is_not_fit() {
            true => alarms.of(remark(pump)),
            false => wrapped.of(remark(pump)),
        }),
    ];
    page.title(&format!("Pumps: {}", outage.pumps().count()), of)?;
    page.open(&columns)?;
    for pump in outage.pumps() {
        let texts = [of_kit(pump), listed(&pump.bag), remark(pump)];
        let texts: Vec<(&str, usize)> = texts.iter().map(|text| (text.as_str(), 38)).collect();
        page.high(16.0 * lines(&texts, [1, 20]))?;
        page.put(&columns, &pump)?;
    }
    let last = page.row.saturating_sub(1);
    page.printed(last, 5)
}

fn of_kit(pump: &OutagePump) -> String {
    pump.kit.as_ref().map_or_else(String::new, |kit| listed(&kit.pieces))
}

/// The reason why a pump is not fit or waits, and how its bag differs.
fn remark(pump: &OutagePump) -> String {
    let mut parts: Vec<String> = Vec::new();
    parts.extend(pump.is_not_fit().then(|| NOT_FIT.to_string()));
    if let Some(lacking) = pump.lacking() {
        parts.push(format!("bag {lacking}"));
    } else if !pump.bag.is_empty() && pump.differs() {
        parts.push("bag differs from its kit".into());
    }
    parts.extend(pump.reason().map(String::from));
    parts.join("; ")
}

fn stock_sheet(mut page: Page<'_>, outage: &Outage, of: &str) -> Written<Worksheet> {
    struct Line<'o> {
        lot: &'o ItemStock,
        out: u64,
    }
    type Col<'s> = Column<'s, Line<'s>>;
    let styles = page.styles;
    let Styles { count, text, number, strong, .. } = styles;
    let whole = |pieces: i64| f64::from(i32::try_from(pieces).unwrap_or(i32::MAX));
    let changed =
        move |line: &Line<'_>| line.lot.taken.map(|taken| line.lot.pieces - i64::from(taken));
    let columns = [
        Col::new("Item", 24.0, |line| strong.of(&line.lot.item)),
        Col::new("On hand, taken over", 20.0, |line| match line.lot.taken {
            Some(taken) => count.of(taken),
            None => text.of("no row"),
        }),
        Col::new("In the bin, by the ledger", 24.0, move |line| count.of(whole(line.lot.pieces))),
        Col::new("Difference", 14.0, move |line| match changed(line) {
            Some(pieces) => number.of(whole(pieces)),
            None => number.blank(),
        }),
        Col::new("In bags and pumps", 20.0, |line| {
            count.of(u32::try_from(line.out).unwrap_or(u32::MAX))
        }),
    ];
    page.title(&format!("Stock by ledger: {} items", outage.stock().count()), of)?;
    page.open(&columns)?;
    let out = outage.pieces_out();
    for lot in outage.stock() {
        let out = out.get(&key(&lot.item)).copied().unwrap_or(0);
        page.put(&columns, &Line { lot, out })?;
    }
    let last = page.row.saturating_sub(1);
    page.printed(last, 4)
}
