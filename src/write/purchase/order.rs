//! The Order sheet: one part a supplier, with packs, prices and totals as live formulas.

use std::collections::BTreeMap;

use rust_xlsxwriter::{Format, FormatAlign, Worksheet};

use super::Ordered;
use crate::day;
use crate::stock::Item;
use crate::words;
use crate::write::page::{Page, Written};
use crate::write::style::{Styles, open};
use crate::write::table::{self, Cells, Column, Value, over};

/// Packs of an item, by what they are for.
pub(super) struct Want {
    pub(super) item: usize,
    pub(super) outage: u32,
    pub(super) level: u32,
}

/// Packs that are to be ordered, by supplier; those of no supplier come last, under an empty name.
pub(super) fn by_supplier(ordered: &Ordered<'_>) -> Vec<(String, Vec<Want>)> {
    let mut suppliers: BTreeMap<(bool, String), (String, Vec<Want>)> = BTreeMap::new();
    for (item, line) in ordered.report.lines.iter().enumerate() {
        let want = Want {
            item,
            outage: line.cartons + line.bag_cartons,
            level: line.top_up.map_or(0, |top_up| top_up.cartons),
        };
        if want.outage + want.level == 0 {
            continue;
        }
        let name = ordered.job.stock[item].offer.supplier.clone();
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
struct OrderedItem<'a> {
    item: &'a Item,
    want: &'a Want,
    at: u32,
    there: Option<String>,
}

type Col<'s> = Column<'s, OrderedItem<'s>>;

impl OrderedItem<'_> {
    fn packs(&self) -> u32 {
        self.want.outage + self.want.level
    }

    fn pieces(&self) -> u64 {
        u64::from(self.packs()) * u64::from(self.item.carton_qty)
    }

    fn total(&self) -> i128 {
        let price = self.item.offer.unit_cost.map_or(0, |price| price.raw());
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
    let (packs, price) = (&styles.count_entry, open(money.clone()));
    [
        Col::new("Item", 17.0, |line| styles.strong.of(&line.item.item)),
        Col::new("Kind", 11.0, |line| text.of(&line.item.kind)),
        Col::new("Fit", 8.0, |line| text.of(line.item.fit.as_str())),
        Col::new("Thickness", 14.0, |line| text.of(line.thickness().unwrap_or_default())),
        Col::new("Pack qty", 9.0, |line| count.of(line.item.carton_qty)),
        Col::new("Packs for this outage", 10.0, |line| count.of(line.want.outage)),
        Col::new("Packs back to level", 10.0, |line| count.of(line.want.level)),
        Col::new("Packs to order", 10.0, move |line| {
            let formula = format!("F{0}+G{0}", line.at);
            packs.owned(Value::formula(&formula, line.packs()))
        }),
        Col::new("Pieces", 9.0, |line| {
            count.of(Value::formula(&format!("H{0}*E{0}", line.at), line.pieces()))
        }),
        Col::new("Price per piece", 12.0, move |line| {
            price.owned(line.item.offer.unit_cost.map(|price| price.to_f64()))
        }),
        Col::new("Total", 14.0, move |line| {
            let formula = format!("I{0}*J{0}", line.at);
            money.owned(Value::formula(&formula, amount(line.total())))
        }),
        Col::new("Lead days", 8.0, |line| match line.item.offer.lead_days {
            Some(days) => count.of(days),
            None => text.of("not stated"),
        }),
        Col::new("Arrives on", 13.0, |line| text.of(line.there.as_ref())),
        Col::new("Ordered (date, initials)", 18.0, |_| styles.entry.blank()),
    ]
}

pub(super) fn sheet(ordered: &Ordered<'_>, styles: &Styles) -> Written<Worksheet> {
    let job = ordered.job;
    let lead = format!(
        "By supplier, prices in {}. Change a coloured cell and the totals follow. Prices are those of the stock workbook: ask before you order.",
        job.policy.currency
    );
    let mut page = Page::begin("Order", "Order", &lead, styles)?;
    page.last = 13;
    let suppliers = by_supplier(ordered);
    let columns = columns(styles);
    table::widths(&mut page.sheet, &columns)?;
    page.row = 7;
    let mut subtotals = Vec::new();
    for (name, wants) in &suppliers {
        let sum = supplier(&mut page, ordered, (name, wants), &columns)?;
        subtotals.push((page.row, sum));
        page.row += 1;
    }
    if suppliers.is_empty() {
        page.part("Nothing to order.")?;
    }
    let unpriced = suppliers.iter().flat_map(|(_, wants)| wants);
    let unpriced: Vec<&str> = unpriced
        .filter(|want| job.stock[want.item].offer.unit_cost.is_none())
        .map(|want| job.stock[want.item].item.as_str())
        .collect();
    if !unpriced.is_empty() {
        let text =
            format!("Not in the totals (no price in the stock workbook): {}.", unpriced.join(", "));
        page.across(&text, &styles.alarms, 32.0)?;
    }
    let row = page.row;
    page.row = 3;
    totals(&mut page, ordered, &subtotals)?;
    page.printed(row, 13)
}

/// The part of a supplier, from its name down to its total, which is returned.
fn supplier<'a>(
    page: &mut Page<'_>,
    ordered: &'a Ordered<'_>,
    (name, wants): (&str, &'a [Want]),
    columns: &[Col<'a>],
) -> Written<i128> {
    let shown = match name {
        "" => "Supplier not stated in the stock workbook",
        name => name,
    };
    page.part(shown)?;
    page.high(48.0)?;
    page.headings(columns)?;
    let first = page.row + 1;
    let mut sum = 0;
    for want in wants {
        let item = &ordered.job.stock[want.item];
        let today = ordered.buy.market.today;
        let there = |days| day::written(today + i64::from(days));
        let there = item.offer.lead_days.map(there);
        let line = OrderedItem { item, want, at: page.row + 1, there };
        page.put(columns, &line)?;
        sum += line.total();
    }
    let total = Value::formula(&format!("SUM(K{first}:K{})", page.row), amount(sum));
    let money = money_format(page.styles).set_bold();
    let label = page.styles.strong.of(format!("Total: {shown}"));
    page.line([over(10, label), money.of(total)])?;
    Ok(sum)
}

/// Millionths as the number that a spreadsheet keeps for them.
fn amount(millionths: i128) -> String {
    #[expect(clippy::cast_precision_loss, reason = "a spreadsheet keeps no more digits")]
    let amount = millionths as f64 / 1e6;
    amount.to_string()
}

/// The grand total, what is proven of it, and the budget.
fn totals(page: &mut Page<'_>, ordered: &Ordered<'_>, subtotals: &[(u32, i128)]) -> Written {
    let Styles { strong, text, .. } = page.styles;
    let money = money_format(page.styles);
    let sum: i128 = subtotals.iter().map(|(_, sum)| sum).sum();
    let cells: Vec<String> = subtotals.iter().map(|(row, _)| format!("K{row}")).collect();
    // A sum written out has room for some thousand suppliers.
    let formula = match cells.is_empty() {
        true => "0".to_string(),
        false => cells.join("+"),
    };
    let total = Value::formula(&formula, amount(sum));
    page.line([over(10, strong.of("All orders")), money.clone().set_bold().of(total)])?;
    let outage = ordered.bought.purchase().cost(&ordered.buy.market);
    let label =
        "Packs needed to kit pumps, as worked out and proven; consumables and levels not included";
    page.line([over(10, text.of(label)), money.of(outage.to_f64())])?;
    if let Some(budget) = ordered.buy.market.budget {
        let label = format!(
            "Budget for these packs ({}); packs back to level and for bags are extra",
            ordered.job.policy.currency
        );
        page.line([over(10, text.of(label)), money.of(budget.to_f64())])?;
    }
    Ok(())
}
