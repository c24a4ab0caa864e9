//! Cells that read otherwise to another eye: asked about, with both meanings, and taken once they are confirmed.
//! Expected values by hand.

use std::fs;

use gapwright::length::{Length, Unit};
use gapwright::problem::Problems;
use gapwright::read::{Memory, Sources, book, job, stock_alone};
use rust_xlsxwriter::{Format, Workbook};

use super::{PUMPS, STOCK, Shop, only, problems_of, shown};

/// The tiny shop in two workbooks, a cell of the stock in a format, and rows of the Policy sheet.
struct Book {
    shop: Shop,
}

impl Book {
    fn new(at: (u32, u16), value: f64, format: &str, policy: &[(&str, &str)]) -> Book {
        let shop = Shop::new(STOCK, PUMPS);
        let mut stock = Workbook::new();
        let sheet = stock.add_worksheet().set_name("Stock").unwrap();
        fill(sheet, STOCK);
        let format = Format::new().set_num_format(format);
        sheet.write_number_with_format(at.0, at.1, value, &format).unwrap();
        stock.save(shop.path("stock.xlsx")).unwrap();
        let mut pumps = Workbook::new();
        fill(pumps.add_worksheet().set_name("Pumps").unwrap(), PUMPS);
        let sheet = pumps.add_worksheet().set_name("Policy").unwrap();
        sheet.write_row(0, 0, ["Setting", "Value"]).unwrap();
        for (row, (setting, value)) in (1..).zip(policy) {
            sheet.write_row(row, 0, [*setting, *value]).unwrap();
        }
        pumps.save(shop.path("pumps.xlsx")).unwrap();
        Book { shop }
    }

    fn read(&self) -> Result<gapwright::job::Job, Problems> {
        let (stock, pumps) = (self.shop.path("stock.xlsx"), self.shop.path("pumps.xlsx"));
        job(&Sources { stock, pumps, ..Sources::default() })
    }

    fn problems(&self) -> Vec<String> {
        shown(&self.read().expect_err("a question"), self.shop.folder.path())
    }
}

fn fill(sheet: &mut rust_xlsxwriter::Worksheet, text: &str) {
    for (row, line) in (0..).zip(text.lines()) {
        for (column, value) in (0..).zip(line.split(',')) {
            match value.parse::<f64>() {
                Ok(number) => sheet.write_number(row, column, number).unwrap(),
                Err(_) => sheet.write_string(row, column, value).unwrap(),
            };
        }
    }
}

#[test]
fn a_figure_that_shows_otherwise_is_asked_about_and_can_be_confirmed() {
    // D3 is the thickness of S20, with a tolerance of 0.0002 in.
    let thickness = |policy: &[(&str, &str)]| Book::new((2, 3), 0.0204, "0.000", policy);
    let asked = thickness(&[]).problems();
    only(
        &asked,
        &["Stock, cell D3", "shows `0.020` and stores 0.0204", "Confirmed | Stock!D3 = 0.0204"],
    );
    for (value, read) in [("0.0204", "0.0204"), ("0.020 in", "0.0200")] {
        let job = thickness(&[("Confirmed", &format!("Stock!D3 = {value}"))]).read().unwrap();
        assert_eq!(job.stock[1].size.unwrap().thickness.show(Unit::Inch), read);
    }
    // Neither of the two.
    let other = thickness(&[("confirmed", "Stock!D3 = 0.0304")]).problems();
    only(&other, &["cell D3", "is confirmed as `0.0304`", "one of its meanings"]);
    let lost = thickness(&[("Confirmed", "Stock!D3 = 0.0204"), ("Confirmed", "Stock!D99 = 1")]);
    only(&lost.problems(), &["Policy", "cell B3", "no such cell"]);
    let wrong = thickness(&[("Confirmed", "Stock!D3 = 0.0204"), ("Confirmed", "it is right")]);
    only(&wrong.problems(), &["Policy", "cell B3", "`it is right`"]);
    // Within a tenth of the tolerance nothing is asked, and the stored digits count.
    let job = Book::new((2, 3), 0.02002, "0.0000", &[]).read().unwrap();
    assert_eq!(job.stock[1].size.unwrap().thickness, Length::parse("0.02002 in", None).unwrap());
}

/// A stock that is checked without pumps has its confirmations on a sheet Policy of its own; so may one with pumps.
#[test]
fn a_stock_alone_can_be_confirmed_too() {
    let stock = |setting: &str, value: &str| {
        let shop = Shop::new(STOCK, PUMPS);
        let mut stock = Workbook::new();
        let sheet = stock.add_worksheet().set_name("Stock").unwrap();
        fill(sheet, STOCK);
        let format = Format::new().set_num_format("0.000");
        sheet.write_number_with_format(2, 3, 0.0204, &format).unwrap();
        let sheet = stock.add_worksheet().set_name("Policy").unwrap();
        sheet.write_row(0, 0, ["Setting", "Value"]).unwrap();
        sheet.write_row(1, 0, [setting, value]).unwrap();
        stock.save(shop.path("stock.xlsx")).unwrap();
        shop
    };
    let alone = |shop: &Shop| {
        let read = stock_alone(&shop.path("stock.xlsx"), None, &mut Memory::default());
        read.map_err(|problems| shown(&problems, shop.folder.path()))
    };
    let both = |shop: &Shop| {
        let sources = Sources { stock: shop.path("stock.xlsx"), ..shop.sources() };
        job(&sources).map_err(|problems| shown(&problems, shop.folder.path()))
    };
    let good = stock("Confirmed", "Stock!D3 = 0.0204");
    let read = alone(&good).unwrap();
    assert_eq!(read.lots[1].size.unwrap().thickness.show(Unit::Inch), "0.0204");
    assert!(read.unused.is_empty() && read.warnings.is_empty(), "{read:?}");
    let read = both(&good).unwrap();
    assert_eq!(read.stock[1].size.unwrap().thickness.show(Unit::Inch), "0.0204");
    assert!(read.warnings.is_empty(), "{:?}", read.warnings);
    // Counts are read alone where pieces are written off.
    let held = |shop: &Shop| {
        let book = book(&shop.path("stock.xlsx"), &mut Memory::default()).unwrap();
        let mut problems = Problems::new();
        gapwright::read::held(&book, &mut problems);
        shown(&problems, shop.folder.path())
    };
    assert!(held(&good).is_empty(), "{:?}", held(&good));
    // Other settings belong to the pumps, and are named.
    let other = stock("Clearance reading within", "0.001 in");
    only(&alone(&other).unwrap_err(), &["cell D3", "shows `0.020`"]);
    let none = stock("Confirmed", "Stock!D30 = 0.0204");
    assert!(alone(&none).unwrap_err().iter().any(|p| p.contains("Policy, cell B2")));
    assert!(both(&none).unwrap_err().iter().any(|p| p.contains("no such cell")));
    // The pumps are not there, and so neither is their sheet.
    let pumps = stock("Confirmed", "Pumps!F2 = 0.031");
    only(&alone(&pumps).unwrap_err(), &["cell D3", "shows `0.020`"]);
}

#[test]
fn a_value_out_of_sight_counts_only_when_it_is_confirmed() {
    let hidden = |policy: &[(&str, &str)]| Book::new((2, 3), 0.02, ";;;", policy);
    only(&hidden(&[]).problems(), &["cell D3", "shows nothing", "stores `0.02`"]);
    let job = hidden(&[("Confirmed", "Stock!D3 = 0.02")]).read().unwrap();
    assert_eq!(job.stock[1].size.unwrap().thickness.show(Unit::Inch), "0.0200");
    only(&hidden(&[("Confirmed", "Stock!D3 = 0.03")]).problems(), &["cell D3"]);
}

#[test]
fn inches_in_a_metric_column_are_asked_about() {
    let stock = STOCK
        .replace("Thickness (in)", "Thickness (mm)")
        .replace(",0.010,", ",0.254,")
        .replace(",0.090,", ",2.286,");
    let with = |value: &str| stock.replace(",0.020,", &format!(",{value},"));
    only(&problems_of(&with("1/64"), PUMPS), &["cell D3", "1/64 in, or 1/64 mm", "metric column"]);
    only(&problems_of(&with("20 mil"), PUMPS), &["cell D3", "20 thou, or 20 mm"]);
    let shop = Shop::new(&with("1/64 in"), PUMPS);
    assert!(job(&shop.sources()).is_ok());
}

#[test]
fn a_heading_has_one_unit_and_a_thing_one_column() {
    for heading in ["Thickness (in) (mm)", "Thickness (in/mm)", "Thickness mm (in)"] {
        let found = problems_of(&STOCK.replace("Thickness (in)", heading), PUMPS);
        assert!(
            found.iter().any(|p| p.contains("cell D1") && p.contains("the units")),
            "{found:#?}"
        );
    }
    let label = "Impeller clearance with no shims";
    let pumps = PUMPS.replace("Snap ring (in)", &format!("Snap ring (in),{label} (in)"));
    let pumps = pumps.replace("0.031,0.050", "0.031,0.050,0.041");
    only(&problems_of(STOCK, &pumps), &["cell H1", "which is for the same"]);
}

#[test]
fn a_due_date_that_is_none_is_asked_about() {
    let due = |value: f64, format: &str| {
        let shop = Shop::new(STOCK, PUMPS);
        let mut pumps = Workbook::new();
        let sheet = pumps.add_worksheet().set_name("Pumps").unwrap();
        fill(sheet, PUMPS);
        sheet.write_string(0, 7, "Due").unwrap();
        let format = Format::new().set_num_format(format);
        sheet.write_number_with_format(1, 7, value, &format).unwrap();
        pumps.save(shop.path("pumps.xlsx")).unwrap();
        let sources = Sources { pumps: shop.path("pumps.xlsx"), ..shop.sources() };
        job(&sources).map_err(|problems| shown(&problems, shop.folder.path()))
    };
    only(&due(0.5, "h:mm").unwrap_err(), &["cell H2", "a time of day without a date"]);
    only(&due(36_161.0, "d/m/yy").unwrap_err(), &["cell H2", "1999-01-01", "before the year 2000"]);
    assert!(due(46_432.0, "d/m/yy").is_ok());
    // As texts, which is all that a text file has.
    let typed = |due: &str| {
        let pumps = PUMPS.replace("Snap ring (in)", "Snap ring (in),Due");
        problems_of(STOCK, &pumps.replace("0.050\n", &format!("0.050,{due}\n")))
    };
    for time in ["12:30", "9:05:10", "7:30 AM"] {
        only(&typed(time), &["cell H2", "a time of day without a date"]);
    }
    only(&typed("1999-01-01"), &["cell H2", "1999-01-01", "before the year 2000"]);
}

/// The due date of a gauge, as that of a pump; it is asked about on any day of the run.
#[test]
fn a_due_date_of_a_gauge_that_is_none_is_asked_about() {
    let due = |value: f64, format: &str, policy: &[(&str, &str)]| {
        let shop = Shop::new(STOCK, PUMPS);
        let mut pumps = Workbook::new();
        fill(pumps.add_worksheet().set_name("Pumps").unwrap(), PUMPS);
        let sheet = pumps.add_worksheet().set_name("Gauges").unwrap();
        fill(sheet, "Gauge,Standard uncertainty (in),Due\nM1,0.0001,\n");
        let format = Format::new().set_num_format(format);
        sheet.write_number_with_format(1, 2, value, &format).unwrap();
        let sheet = pumps.add_worksheet().set_name("Policy").unwrap();
        sheet.write_row(0, 0, ["Setting", "Value"]).unwrap();
        for (row, (setting, value)) in (1..).zip(policy) {
            sheet.write_row(row, 0, [*setting, *value]).unwrap();
        }
        pumps.save(shop.path("pumps.xlsx")).unwrap();
        let sources = Sources { pumps: shop.path("pumps.xlsx"), ..shop.sources() };
        job(&sources).map_err(|problems| shown(&problems, shop.folder.path()))
    };
    only(&due(0.5, "h:mm", &[]).unwrap_err(), &["Gauges", "cell C2", "a time of day without"]);
    let old = due(36_161.0, "d/m/yy", &[]).unwrap_err();
    only(&old, &["Gauges", "cell C2", "1999-01-01", "Confirmed | Gauges!C2 = 1999-01-01"]);
    assert!(due(36_161.0, "d/m/yy", &[("Confirmed", "Gauges!C2 = 1999-01-01")]).is_ok());
    assert!(due(46_432.0, "d/m/yy", &[]).is_ok());
}

#[test]
fn a_row_of_a_text_file_that_has_shifted_is_refused() {
    let more = STOCK.replace("S20,shim,F1,0.020,", "S20,shim,F1,0,020,");
    let found = problems_of(&more, PUMPS);
    assert!(found.iter().any(|p| p.contains("row, under headings")), "{found:#?}");
    let less = STOCK.replace("S20,shim,F1,0.020,0.0002,4,0", "S20,shim,F1,0.020,0.0002,4");
    only(&problems_of(&less, PUMPS), &["cell A3", "6 fields in a row, under 7 headings"]);
}

#[test]
fn a_price_in_bin_and_an_empty_tail_are_refused() {
    let rows = "S1,shim,F1,0.010,0.0002,4,2.00,A1\nS2,shim,F1,0.020,0.0002,4,2.00,A2\n\
                G1,gasket,F1,0.090,0.0005,2,5.00,A3\nS4,shim,F1,0.040,0.0002,4,2.00,A4\n";
    let stock =
        format!("Item,Kind,Fit,Thickness (in),Tolerance (in),On hand,Unit cost,Bin\n{rows}");
    let shop = Shop::new(&stock, PUMPS);
    assert!(job(&shop.sources()).is_ok());
    let moved = stock.replace("2.00,A4", ",2.00");
    only(&problems_of(&moved, PUMPS), &["cell H5", "`2.00` in the column `Bin`, and no price"]);
    let cut = stock.replace("2.00,A4", ",");
    only(&problems_of(&cut, PUMPS), &["cell G5", "the only row that ends with two empty fields"]);
}

#[test]
fn counts_and_prices_of_more_than_one_are_refused() {
    for heading in ["On hand (doz)", "On hand (packs of 10)", "On hand (x 10)"] {
        let found = problems_of(&STOCK.replace("On hand", heading), PUMPS);
        assert!(
            found.iter().any(|p| p.contains("cell F1") && p.contains("counts in")),
            "{found:#?}"
        );
    }
    let price = STOCK.replace("Reserved", "Unit cost (per 100)");
    only(&problems_of(&price, PUMPS), &["cell G1", "`per 100`", "the price of one piece"]);
    let weeks = STOCK.replace("Reserved", "Lead days (weeks)");
    only(&problems_of(&weeks, PUMPS), &["cell G1", "`weeks`"]);
    let shop = Shop::new(&STOCK.replace("On hand", "On hand (pcs)"), PUMPS);
    assert!(job(&shop.sources()).is_ok());
}

/// A formula that a program has not worked out since its inputs changed may give any result.
#[test]
fn a_result_that_is_pending_is_none() {
    let shop = Shop::new(STOCK, PUMPS);
    let mut stock = Workbook::new();
    let sheet = stock.add_worksheet().set_name("Stock").unwrap();
    fill(sheet, STOCK);
    let formula = rust_xlsxwriter::Formula::new("=0.01+0.01").set_result("0.02");
    sheet.write_formula(2, 3, formula).unwrap();
    stock.save(shop.path("stock.xlsx")).unwrap();
    let sources = Sources { stock: shop.path("stock.xlsx"), ..shop.sources() };
    let found = shown(&job(&sources).expect_err("pending"), shop.folder.path());
    only(&found, &["cell D3", "the formula =0.01+0.01"]);
}

#[test]
fn items_that_differ_by_a_zero_are_asked_about() {
    let stock = STOCK.replace("S10,", "020,").replace("S20,", "20,");
    only(&problems_of(&stock, PUMPS), &["cell A3", "the item `20` beside the item `020`"]);
}

#[test]
fn tables_above_and_below_are_named() {
    let below = format!(
        "{STOCK}\nItem,Kind,Fit,On hand,Thickness (in),Tolerance (in),Reserved\nS40,shim,F1,4,0.04,0.0002,0\n"
    );
    only(&problems_of(&below, PUMPS), &["cell A6", "a second table below the first"]);
    let above = format!("Bin,Pieces,,,,,\nA1,12,,,,,\n{STOCK}");
    let shop = Shop::new(&above, PUMPS);
    let warnings = job(&shop.sources()).unwrap().warnings;
    assert!(
        warnings.iter().any(|w| w.found.contains("a table above the headings")),
        "{warnings:#?}"
    );
}

#[test]
fn two_thicknesses_in_one_bin_are_warned_of() {
    let stock: String = STOCK
        .lines()
        .zip(["Bin", "A1", "A1", "A2"])
        .map(|(line, bin)| format!("{line},{bin}\n"))
        .collect();
    let shop = Shop::new(&stock, PUMPS);
    let warnings = job(&shop.sources()).unwrap().warnings;
    assert!(
        warnings.iter().any(|w| w.found.contains("bin A1 also holds shim f1 of 0.254 mm")),
        "{warnings:#?}"
    );
}

#[test]
fn a_character_that_nobody_sees_is_shown() {
    let stock = STOCK.replace("0.020", "0.020\u{200b}");
    only(&problems_of(&stock, PUMPS), &["cell D3", "<U+200B>"]);
    let shop = Shop::new(STOCK, PUMPS);
    fs::write(shop.path("stock.csv"), STOCK.replace("S20,shim", "S20,sh\u{ad}im")).unwrap();
    let found = shown(&shop.problems(), shop.folder.path());
    assert!(found.iter().any(|p| p.contains("<U+00AD>")), "{found:#?}");
}
