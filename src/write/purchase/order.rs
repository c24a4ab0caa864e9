//! The Order sheet: one part a supplier, with packs, prices and totals as live formulas.

use std::collections::BTreeMap;

use rust_xlsxwriter::{Format, FormatAlign, Worksheet, XlsxError};

use super::Ordered;
use crate::day;
use crate::stock::Item;
use crate::words;
use crate::write::style::{ENTRY, Head, Styles, begin};
use crate::write::table::{self, Cells, Column, Value};
use crate::write::text::WriteText;

/// Packs of an item, by what they are for.
pub(super) struct Want {
    pub(super) item: usize,
    pub(super) outage: u32,
    pub(super) level: u32,
}

/// What is to be ordered, by supplier; those of no supplier come last, under an empty name.
pub(super) fn by_supplier(ordered: &Ordered<'_>) -> Vec<(String, Vec<Want>)> {
    let mut suppliers: BTreeMap<(bool, String), (String, Vec<Want>)> = BTreeMap::new();
    for (item, line) in ordered.report.lines.iter().enumerate() {
        let want = Want {
            item,
            outage: line.packs + line.bag_packs,
            level: line.top_up.map_or(0, |top_up| top_up.packs),
        };
        if want.outage + want.level == 0 {
            continue;
        }
        let name = ordered.job.stock[item].terms.supplier.clone();
        let name = name.unwrap_or_default();
        let key = (name.is_empty(), crate::stock::folded(&name));
        let (_, wants) = suppliers.entry(key).or_insert((name, Vec::new()));
        wants.push(want);
    }
    suppliers.into_values().collect()
}

/// An amount of money of a job's currency.
pub(super) fn money_format(styles: &Styles) -> Format {
    styles.number.clone().set_num_format("#,##0.00####").set_align(FormatAlign::Right)
}

/// A want with the row, from 1, that it stands on: its formulas refer to their neighbours.
struct Line<'a> {
    item: &'a Item,
    want: &'a Want,
    at: u32,
    there: Option<String>,
}

type Col<'s> = Column<'s, Line<'s>>;

impl Line<'_> {
    fn packs(&self) -> u32 {
        self.want.outage + self.want.level
    }

    fn pieces(&self) -> u64 {
        u64::from(self.packs()) * u64::from(self.item.pack_qty)
    }

    fn total(&self) -> i128 {
        let price = self.item.terms.unit_cost.map_or(0, |price| price.raw());
        i128::from(price) * i128::from(self.pieces())
    }

    fn thickness(&self) -> Option<String> {
        let thickness = self.item.size.map(|size| size.thickness);
        let thickness = thickness.or(self.item.section)?;
        Some(words::thickness(thickness, words::natural_unit(thickness)))
    }
}

fn columns(styles: &Styles) -> [Col<'_>; 14] {
    let (text, count, money) = (&styles.text, &styles.count, money_format(styles));
    let entry = |format: &Format| format.clone().set_background_color(ENTRY).set_unlocked();
    let (packs, price) = (entry(count), entry(&money));
    [
        Col::new("Item", 17.0, |line| styles.strong.of(&line.item.item)),
        Col::new("Kind", 11.0, |line| text.of(&line.item.kind)),
        Col::new("Fit", 8.0, |line| text.of(line.item.fit.as_str())),
        Col::new("Thickness", 14.0, |line| text.of(line.thickness().unwrap_or_default())),
        Col::new("Pieces in a sealed pack", 9.0, |line| count.of(line.item.pack_qty)),
        Col::new("Packs for this outage", 10.0, |line| count.of(line.want.outage)),
        Col::new("Packs back to level", 10.0, |line| count.of(line.want.level)),
        Col::new("Packs to order", 10.0, move |line| {
            let formula = format!("F{0}+G{0}", line.at);
            packs.owned(Value::formula(&formula, line.packs()))
        }),
        Col::new("Pieces", 9.0, |line| {
            count.of(Value::formula(&format!("H{0}*E{0}", line.at), line.pieces()))
        }),
        Col::new("Price of a piece", 12.0, move |line| {
            price.owned(line.item.terms.unit_cost.map(|price| price.to_f64()))
        }),
        Col::new("Total", 14.0, move |line| {
            let formula = format!("I{0}*J{0}", line.at);
            money.owned(Value::formula(&formula, amount(line.total())))
        }),
        Col::new("Lead days", 8.0, |line| match line.item.terms.lead_days {
            Some(days) => count.of(days),
            None => text.of("not said"),
        }),
        Col::new("There on", 13.0, |line| text.of(line.there.as_ref())),
        Col::new("Ordered (date, initials)", 18.0, |_| styles.entry.blank()),
    ]
}

pub(super) fn write(
    sheet: &mut Worksheet,
    ordered: &Ordered<'_>,
    styles: &Styles,
) -> Result<(), XlsxError> {
    let job = ordered.job;
    let lead = format!(
        "By supplier, prices in {}. Change a coloured cell and the totals follow. Prices are those of the stock workbook: ask before you order.",
        job.policy.currency
    );
    let head = Head { name: "Order", date: &ordered.question.date, title: "Order", lead: &lead };
    begin(sheet, &head, styles)?;
    let suppliers = by_supplier(ordered);
    let columns = columns(styles);
    table::widths(sheet, &columns)?;
    let mut row = 7;
    let mut subtotals = Vec::new();
    for (name, wants) in &suppliers {
        let sum = supplier(sheet, ordered, row, (name, wants), &columns, styles)?;
        row += 2 + u32::try_from(wants.len()).unwrap_or(u32::MAX);
        subtotals.push((row, sum));
        row += 2;
    }
    if suppliers.is_empty() {
        sheet.write_text(row, 0, "Nothing to order.", &styles.part)?;
        row += 1;
    }
    totals(sheet, ordered, &subtotals, styles)?;
    let unpriced = suppliers.iter().flat_map(|(_, wants)| wants);
    let unpriced: Vec<&str> = unpriced
        .filter(|want| job.stock[want.item].terms.unit_cost.is_none())
        .map(|want| job.stock[want.item].item.as_str())
        .collect();
    if !unpriced.is_empty() {
        let text = format!(
            "Not in the totals, since the stock workbook has no price of them: {}.",
            unpriced.join(", ")
        );
        let alarm = styles.alarm.clone().set_text_wrap();
        sheet.merge_text(row, 0, row, 13, &text, &alarm)?;
        sheet.set_row_height(row, 32.0)?;
        row += 1;
    }
    sheet.set_print_area(0, 0, row, 13)?;
    Ok(())
}

/// The part of a supplier, from its name down to its total, which is returned.
fn supplier<'a>(
    sheet: &mut Worksheet,
    ordered: &'a Ordered<'_>,
    top: u32,
    (name, wants): (&str, &'a [Want]),
    columns: &[Col<'a>],
    styles: &Styles,
) -> Result<i128, XlsxError> {
    let shown = match name {
        "" => "Suppliers that the stock workbook does not name",
        name => name,
    };
    sheet.write_text(top, 0, shown, &styles.part)?;
    table::heads(sheet, top + 1, columns, styles)?;
    sheet.set_row_height(top + 1, 48.0)?;
    let mut row = top + 1;
    let mut sum = 0;
    for want in wants {
        row += 1;
        let item = &ordered.job.stock[want.item];
        let today = ordered.buy.market.today;
        let there = |days| day::written(today + i64::from(days));
        let line = Line { item, want, at: row + 1, there: item.terms.lead_days.map(there) };
        table::row(sheet, row, columns, &line)?;
        sum += line.total();
    }
    row += 1;
    let label = format!("Total: {shown}");
    sheet.merge_text(row, 0, row, 9, &label, &styles.strong)?;
    let formula = format!("SUM(K{}:K{row})", top + 3);
    let total = Value::formula(&formula, amount(sum));
    let money = money_format(styles).set_bold();
    table::cells(sheet, (row, 10), [money.of(total)])?;
    Ok(sum)
}

/// Millionths as the number that a spreadsheet keeps for them.
fn amount(millionths: i128) -> String {
    #[expect(clippy::cast_precision_loss, reason = "a spreadsheet keeps no more digits")]
    let amount = millionths as f64 / 1e6;
    amount.to_string()
}

/// The grand total, what is proven of it, and the budget.
fn totals(
    sheet: &mut Worksheet,
    ordered: &Ordered<'_>,
    subtotals: &[(u32, i128)],
    styles: &Styles,
) -> Result<(), XlsxError> {
    let job = ordered.job;
    let money = money_format(styles).set_bold();
    let sum: i128 = subtotals.iter().map(|(_, sum)| sum).sum();
    let cells: Vec<String> = subtotals.iter().map(|(row, _)| format!("K{}", row + 1)).collect();
    sheet.merge_text(3, 0, 3, 9, "All orders", &styles.strong)?;
    // A sum written out has room for some thousand suppliers.
    let formula = match cells.is_empty() {
        true => "0".to_string(),
        false => cells.join("+"),
    };
    let total = Value::formula(&formula, amount(sum));
    table::cells(sheet, (3, 10), [money.of(total)])?;
    let outage = ordered.bought.purchase().cost(&ordered.buy.market);
    let text = "Packs so that pumps can be kitted, as worked out and proven; consumables and levels not counted";
    sheet.merge_text(4, 0, 4, 9, text, &styles.text)?;
    sheet.write_number_with_format(4, 10, outage.to_f64(), &money_format(styles))?;
    if let Some(budget) = ordered.buy.market.budget {
        let text = format!(
            "Budget for those packs ({}); back to level and bags come on top",
            job.policy.currency
        );
        sheet.merge_text(5, 0, 5, 9, &text, &styles.text)?;
        sheet.write_number_with_format(5, 10, budget.to_f64(), &money_format(styles))?;
    }
    Ok(())
}
