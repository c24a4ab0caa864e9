//! The Order sheet: one part a supplier, with packs, prices and totals as live formulas.

use std::collections::BTreeMap;

use rust_xlsxwriter::{Format, FormatAlign, Formula, Worksheet, XlsxError};

use super::Ordered;
use crate::day;
use crate::words;
use crate::write::style::{ENTRY, Styles, heads, set_up, title, widths};
use crate::write::text::WriteText;

const NAMES: [&str; 14] = [
    "Item",
    "Kind",
    "Fit",
    "Thickness",
    "Pieces in a sealed pack",
    "Packs for this outage",
    "Packs back to level",
    "Packs to order",
    "Pieces",
    "Price of a piece",
    "Total",
    "Lead days",
    "There on",
    "Ordered (date, initials)",
];

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
    styles
        .number
        .clone()
        .set_num_format("#,##0.00####")
        .set_align(FormatAlign::Right)
}

pub(super) fn write(
    sheet: &mut Worksheet,
    ordered: &Ordered<'_>,
    styles: &Styles,
) -> Result<(), XlsxError> {
    let Ordered {
        job,
        report,
        question,
    } = ordered;
    set_up(sheet, "Order", &question.date)?;
    widths(
        sheet,
        &[
            17.0, 11.0, 8.0, 14.0, 9.0, 10.0, 10.0, 10.0, 9.0, 12.0, 14.0, 8.0, 13.0, 18.0,
        ],
    )?;
    let lead = format!(
        "By supplier, prices in {}. Change a coloured cell and the totals follow. Prices are those of the stock workbook: ask before you order.",
        job.policy.currency
    );
    title(sheet, "Order", &lead, styles)?;
    let money = money_format(styles);
    let strong_money = money.clone().set_bold();
    let entry = |format: &Format| format.clone().set_background_color(ENTRY).set_unlocked();
    let (packs_entry, price_entry) = (entry(&styles.count), entry(&money));
    let suppliers = by_supplier(ordered);
    let mut row = 7;
    let mut subtotals = Vec::new();
    for (name, wants) in &suppliers {
        let shown = match name.as_str() {
            "" => "Suppliers that the stock workbook does not name",
            name => name,
        };
        sheet.write_text(row, 0, shown, &styles.part)?;
        row += 1;
        heads(sheet, row, &NAMES, styles)?;
        sheet.set_row_height(row, 48.0)?;
        let first = row + 1;
        for want in wants {
            row += 1;
            let item = &job.stock[want.item];
            sheet.write_text(row, 0, &item.item, &styles.strong)?;
            sheet.write_text(row, 1, &item.kind, &styles.text)?;
            sheet.write_text(row, 2, item.fit.as_str(), &styles.text)?;
            let thickness = item.size.map(|size| size.thickness).or(item.section);
            let thickness = thickness.map_or(String::new(), |thickness| {
                words::thickness(thickness, words::natural_unit(thickness))
            });
            sheet.write_text(row, 3, thickness, &styles.text)?;
            for (column, count) in [(4, item.pack_qty), (5, want.outage), (6, want.level)] {
                sheet.write_number_with_format(row, column, count, &styles.count)?;
            }
            let n = row + 1;
            let packs = want.outage + want.level;
            let formula = Formula::new(format!("=F{n}+G{n}")).set_result(packs.to_string());
            sheet.write_formula_with_format(row, 7, formula, &packs_entry)?;
            let pieces = u64::from(packs) * u64::from(item.pack_qty);
            let formula = Formula::new(format!("=H{n}*E{n}")).set_result(pieces.to_string());
            sheet.write_formula_with_format(row, 8, formula, &styles.count)?;
            let price = item.terms.unit_cost;
            match price {
                Some(price) => {
                    sheet.write_number_with_format(row, 9, price.to_f64(), &price_entry)?;
                }
                None => {
                    sheet.write_blank(row, 9, &price_entry)?;
                }
            }
            let total = price.map_or(0, |price| i128::from(price.raw()) * i128::from(pieces));
            sheet.write_formula_with_format(
                row,
                10,
                Formula::new(format!("=I{n}*J{n}")).set_result(amount(total)),
                &money,
            )?;
            match item.terms.lead_days {
                Some(days) => {
                    sheet.write_number_with_format(row, 11, days, &styles.count)?;
                    let there = day::written(report.market.today + i64::from(days));
                    sheet.write_text(row, 12, there, &styles.text)?;
                }
                None => {
                    sheet.write_text(row, 11, "not said", &styles.text)?;
                    sheet.write_blank(row, 12, &styles.text)?;
                }
            }
            sheet.write_blank(row, 13, &styles.entry)?;
        }
        row += 1;
        let label = format!("Total: {shown}");
        sheet.merge_text(row, 0, row, 9, &label, &styles.strong)?;
        let sum: i128 = wants.iter().map(|want| cost(ordered, want)).sum();
        sheet.write_formula_with_format(
            row,
            10,
            Formula::new(format!("=SUM(K{}:K{row})", first + 1)).set_result(amount(sum)),
            &strong_money,
        )?;
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
        sheet.merge_text(
            row,
            0,
            row,
            13,
            &text,
            &styles.alarm.clone().set_text_wrap(),
        )?;
        sheet.set_row_height(row, 32.0)?;
        row += 1;
    }
    sheet.set_print_area(0, 0, row, 13)?;
    Ok(())
}

/// What a want costs, in millionths; nothing where the price is not known.
fn cost(ordered: &Ordered<'_>, want: &Want) -> i128 {
    let item = &ordered.job.stock[want.item];
    let pieces = i128::from(want.outage + want.level) * i128::from(item.pack_qty);
    let price = item.terms.unit_cost.map_or(0, |price| price.raw());
    i128::from(price) * pieces
}

/// Millionths as the number that a spreadsheet keeps for them.
fn amount(millionths: i128) -> String {
    #[expect(
        clippy::cast_precision_loss,
        reason = "a spreadsheet keeps no more digits"
    )]
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
    let Ordered { job, report, .. } = ordered;
    let money = money_format(styles).set_bold();
    let sum: i128 = subtotals.iter().map(|(_, sum)| sum).sum();
    let cells: Vec<String> = subtotals
        .iter()
        .map(|(row, _)| format!("K{}", row + 1))
        .collect();
    sheet.merge_text(3, 0, 3, 9, "All orders", &styles.strong)?;
    // A sum written out has room for some thousand suppliers.
    let formula = match cells.is_empty() {
        true => "=0".to_string(),
        false => format!("={}", cells.join("+")),
    };
    let formula = Formula::new(formula).set_result(amount(sum));
    sheet.write_formula_with_format(3, 10, formula, &money)?;
    let outage = report.bought.purchase().cost(&report.market);
    let text = "Packs so that pumps can be kitted, as worked out and proven; consumables and levels not counted";
    sheet.merge_text(4, 0, 4, 9, text, &styles.text)?;
    sheet.write_number_with_format(4, 10, outage.to_f64(), &money_format(styles))?;
    if let Some(budget) = report.market.budget {
        let text = format!(
            "Budget for those packs ({}); back to level and bags come on top",
            job.policy.currency
        );
        sheet.merge_text(5, 0, 5, 9, &text, &styles.text)?;
        sheet.write_number_with_format(5, 10, budget.to_f64(), &money_format(styles))?;
    }
    Ok(())
}
