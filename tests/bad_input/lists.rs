//! Lists as shops really keep them: good parts are read, and bad ones are reported with their cells.

use super::*;
use gapwright::job::Job;
use gapwright::length::{Length, Unit};
use gapwright::stock::{Item, Size, ToleranceSource};

/// A job with this stock, and its warnings.
fn read(stock: &str) -> (Job, Vec<String>) {
    let shop = Shop::new(stock, PUMPS);
    let job = job(&shop.sources()).unwrap_or_else(|p| panic!("{:#?}", shown(&p, Path::new(""))));
    let prefix = format!("{}/", shop.folder.path().display());
    let warnings = job.warnings.iter();
    let warnings = warnings.map(|w| w.to_string().replace(&prefix, ""));
    let warnings = warnings.collect();
    (job, warnings)
}

fn counts(job: &Job) -> Vec<(&str, u32)> {
    let lots = job.stock.iter();
    lots.map(|lot| (lot.item.as_str(), lot.on_hand)).collect()
}

#[test]
fn a_title_block_blank_rows_totals_and_headings_again() {
    let stock = "\
Stores list,,,,,,
as of Monday,,,,,,

Item,Kind,Fit,Thickness (in),Tolerance (in),On hand,Reserved
S10,shim,F1,0.010,0.0002,4,0
,,,,,,

item,KIND,fit,Thickness,Tolerance (in),on-hand,reserved
S20,shim,F1,0.020,0.0002,4,0
G90,gasket,F1,0.090,0.0005,2,0
Grand total:,,,,,10,0
";
    let (job, warnings) = read(stock);
    assert_eq!(counts(&job), [("S10", 4), ("S20", 4), ("G90", 2)]);
    each(
        &warnings,
        &[
            ("cell A8", "the headings again"),
            ("cell A11", "a row of totals (`Grand total:`), left out"),
        ],
    );
}

#[test]
fn a_nameless_sum_is_a_total_and_another_number_is_not() {
    let with = |last: &str| format!("{STOCK}{last}");
    // 4 + 4 + 2 on hand, and none reserved.
    for last in [",,,,,10,\n", ",,,,,10,0\n"] {
        let (job, warnings) = read(&with(last));
        assert_eq!(counts(&job).len(), 3);
        each(&warnings, &[("cell F5", "a row of totals (`10`), left out")]);
    }
    for last in [",,,,,11,\n", ",,,,,10,1\n", ",,,,,,0\n"] {
        let found = problems_of(&with(last), PUMPS);
        each(&found, &[("cell A5", "a value for `Item`")]);
    }
}

#[test]
fn a_lot_is_never_taken_for_a_total() {
    // A lot may have this name, as long as it states its kind.
    let (job, warnings) = read(&format!("{STOCK}Total,shim,F1,0.030,0.0002,1,0\n"));
    assert_eq!(counts(&job).last(), Some(&("Total", 1)));
    assert!(warnings.is_empty(), "{warnings:#?}");
    // A lot without its kind has texts next to its name.
    let found = problems_of(&format!("{STOCK}Sum,,F1,0.030,0.0002,1,0\n"), PUMPS);
    each(&found, &[("cell B5", "a value for `Kind`")]);
}

#[test]
fn a_note_below_the_list_is_asked_about_once() {
    let found = problems_of(&format!("{STOCK}counted by the night shift,,,,,,\n"), PUMPS);
    each(&found, &[("cell A5", "a row with nothing in it but `counted by the night shift`")]);
}

#[test]
fn what_stands_beside_the_list_is_left_alone_and_said() {
    let stock =
        STOCK.replace("S20,shim,F1,0.020,0.0002,4,0", "S20,shim,F1,0.020,0.0002,4,0,,see me");
    let (job, warnings) = read(&format!("{stock},,,,,,,,,call the vendor\n"));
    assert_eq!(counts(&job).len(), 3);
    assert!(warnings.is_empty(), "{warnings:#?}");
    for column in ["I", "J"] {
        let said = format!("column {column} of sheet stock, which has no heading");
        assert!(job.unused.contains(&said), "{:?}", job.unused);
    }
}

#[test]
fn units_below_the_headings_are_the_columns_units() {
    let stock = "\
Item,Kind,Fit,Thickness,Tolerance,On hand
,,,(mm),thou,
S10,shim,F1,0.25,0.2,4
";
    let (job, _) = read(&format!("{stock}G90,gasket,F1,2.3,0.5,2\n"));
    let size = job.stock[0].size.as_ref().unwrap();
    assert_eq!(size.thickness, Length::parse("0.25 mm", None).unwrap());
    assert_eq!(size.tolerance.plus, Length::parse("0.2 thou", None).unwrap());
    let other = stock.replace("Thickness,", "Thickness (in),");
    let found = problems_of(&format!("{other}G90,gasket,F1,0.09,0.5,2\n"), PUMPS);
    each(&found, &[("cell D2", "the unit `mm` below the heading `Thickness (in)`")]);
}

#[test]
fn lengths_as_people_type_them() {
    // Thin, hard and narrow spaces, decimal comma, inch marks, fractions of all sorts.
    for (typed, meant) in [
        ("0.010", "0.010 in"),
        ("\u{2009}0.010\u{a0}in", "0.010 in"),
        ("0.010\u{202f}in.", "0.010 in"),
        ("\"0,25 mm\"", "0.25 mm"),
        ("\"0,010\"", "0.010 in"),
        ("\".010\"\"\"", "0.010 in"),
        (".010\u{2033}", "0.010 in"),
        (".010''", "0.010 in"),
        ("10 thou", "0.010 in"),
        ("10 mil", "0.010 in"),
        ("254 \u{3bc}m", "0.010 in"),
        ("1/64", "1/64 in"),
        ("1\u{2044}64 in", "1/64 in"),
        ("\u{215b} in", "1/8 in"),
        ("1\u{bd} in", "1 1/2 in"),
    ] {
        let (job, _) = read(&STOCK.replace("0.010", typed));
        let size = job.stock[0].size.as_ref().unwrap();
        assert_eq!(size.thickness, Length::parse(meant, None).unwrap(), "{typed}");
    }
}

#[test]
fn notes_behind_numbers_are_never_dropped() {
    let stock = "\
Item,Kind,Fit,Thickness (in),Tolerance (in),On hand,Unit cost
S10,shim,F1,0.010 worn,0.0002,4,1
S20,shim,F1,0.020,0.0002,4 (2 in QC),1
G90,gasket,F1,0.090 in (new),0.0005,2 pcs,1.50 each
";
    each(
        &problems_of(stock, PUMPS),
        &[
            ("cell D2", "`worn` is not a unit"),
            ("cell F3", "`(2 in QC)` after the number"),
            ("cell D4", "`in (new)` is not a unit"),
            ("cell F4", "`pcs` after the number"),
            ("cell G4", "`each` after the number"),
        ],
    );
}

#[test]
fn columns_may_move_and_units_may_mix() {
    let stock = "\
On hand,Thickness (mm),Fit,Item,Kind,Tolerance (thou)
4,0.254,F1,S10,shim,0.2
4,\"0.020\"\"\",F1,S20,shim,0.2
2,90 thou,F1,G90,gasket,0.0005 in
";
    let (moved, warnings) = read(stock);
    assert!(warnings.is_empty(), "{warnings:#?}");
    let (plain, _) = read(STOCK);
    let sizes = |job: &Job| -> Vec<_> {
        let lots = job.stock.iter();
        // The tolerance stands in another column.
        let size =
            |lot: &Item| lot.size.map(|of| Size { source: ToleranceSource::default(), ..of });
        lots.map(|lot| (lot.item.clone(), size(lot), lot.on_hand)).collect()
    };
    assert_eq!(sizes(&moved), sizes(&plain));
    assert_eq!(moved.stock[0].size.as_ref().unwrap().thickness.show(Unit::Inch), "0.0100");
}

#[test]
fn dates_errors_and_texts_where_numbers_belong() {
    let bytes = with_thickness(|sheet| {
        let date = Format::new().set_num_format("d-mmm");
        let day = ExcelDateTime::from_ymd(1964, 1, 1).unwrap();
        sheet.write_datetime_with_format(4, 3, &day, &date).unwrap();
        sheet.write_datetime_with_format(4, 5, &day, &date).unwrap();
        sheet.write_formula(1, 5, Formula::new("=[1]Count!A1").set_result("#REF!")).unwrap();
        sheet.write_string(2, 5, "five").unwrap();
        sheet.write_boolean(3, 5, true).unwrap();
    });
    each(
        &stock_file("stock.xlsx", &bytes),
        &[
            ("cell D5", "a fraction typed as 1/64 turns into a date"),
            ("cell F5", "the date 1964-01-01"),
            ("cell F2", "the error value #REF!"),
            ("cell F3", "`five`"),
            ("cell F4", "the truth value TRUE"),
        ],
    );
}

#[test]
fn values_of_formulas_count_even_of_circular_and_external_ones() {
    let bytes = with_thickness(|sheet| {
        for (row, column, formula, value) in [
            (4, 3, "=D5+0", "0.03"),
            (1, 5, "=[1]Count!$A$1", "4"),
            (2, 5, "='C:\\lists\\[old.xlsx]Count'!A1", "3"),
        ] {
            sheet.write_formula(row, column, Formula::new(formula).set_result(value)).unwrap();
        }
    });
    // Worked out, and not to be worked out anew before it counts.
    let bytes = edited(&bytes, "xl/workbook.xml", " fullCalcOnLoad=\"1\"", "");
    let shop = Shop::new(STOCK, PUMPS);
    fs::write(shop.path("stock.xlsx"), bytes).unwrap();
    let read = job(&Sources { stock: shop.path("stock.xlsx"), ..shop.sources() });
    let read = read.unwrap_or_else(|p| panic!("{:#?}", p.sorted()));
    assert_eq!(counts(&read), [("S10", 4), ("S20", 3), ("G90", 2), ("S30", 1)]);
}

#[test]
fn what_is_hidden_is_read_and_said() {
    let bytes = with_thickness(|sheet| {
        sheet.write_number(4, 3, 0.03).unwrap();
        for row in [2, 3, 9] {
            sheet.set_row_hidden(row).unwrap();
        }
        sheet.set_column_hidden(4).unwrap();
    });
    let bytes = edited(&bytes, "xl/workbook.xml", "<sheet name", "<sheet state=\"hidden\" name");
    let shop = Shop::new(STOCK, PUMPS);
    fs::write(shop.path("stock.xlsx"), bytes).unwrap();
    let read = job(&Sources { stock: shop.path("stock.xlsx"), ..shop.sources() });
    let read = read.unwrap_or_else(|p| panic!("{:#?}", p.sorted()));
    assert_eq!(read.stock.len(), 4);
    let warnings: Vec<String> = read.warnings.iter().map(ToString::to_string).collect();
    each(
        &warnings,
        &[
            ("sheet Stock", "a hidden sheet, which is read"),
            ("cell A3", "rows that are hidden, by hand or by a filter: 3 to 4\n"),
            ("cell E1", "columns that are hidden: E\n"),
        ],
    );
}

/// Result of reading these bytes as a stock workbook: the job, or its problems.
fn read_file(name: &str, bytes: &[u8]) -> Result<Job, Vec<String>> {
    let shop = Shop::new(STOCK, PUMPS);
    fs::write(shop.path(name), bytes).unwrap();
    let read = job(&Sources { stock: shop.path(name), ..shop.sources() });
    read.map_err(|problems| shown(&problems, shop.folder.path()))
}

#[test]
fn merged_cells_are_never_taken_as_empty() {
    let merged = |rows: [u32; 2], columns: [u16; 2]| {
        with_thickness(|sheet| {
            sheet.write_number(4, 3, 0.03).unwrap();
            let format = Format::new();
            let ([top, bottom], [left, right]) = (rows, columns);
            let text = if top == 0 { "Reserved" } else { "1" };
            sheet.merge_range(top, left, bottom, right, text, &format).unwrap();
            if top == 0 {
                sheet.write_number(2, right, 5).unwrap();
            }
        })
    };
    // Over rows, over columns, and a heading over two columns of which the second has contents.
    for (rows, columns, place, words) in [
        ([2, 3], [6, 6], "cell G3", "the cells G3 to G4 merged into one"),
        ([2, 2], [5, 6], "cell F3", "the cells F3 to G3 merged into one"),
        ([0, 0], [6, 7], "cell G1", "the heading `Reserved` over several columns"),
    ] {
        let found = read_file("stock.xlsx", &merged(rows, columns)).unwrap_err();
        assert!(
            found.iter().any(|p| p.lines().next().unwrap().ends_with(place) && p.contains(words)),
            "{found:#?}"
        );
    }
    // Next to the list they have no meaning.
    let beside = with_thickness(|sheet| {
        sheet.write_number(4, 3, 0.03).unwrap();
        sheet.merge_range(2, 9, 3, 10, "note", &Format::new()).unwrap();
    });
    assert_eq!(read_file("stock.xlsx", &beside).unwrap().stock.len(), 4);
}

#[test]
fn a_number_counts_as_it_is_seen() {
    let format = |code: &str| Format::new().set_num_format(code);
    let bytes = with_thickness(|sheet| {
        sheet.write_number_with_format(4, 3, 0.5, &format("0.00\" mm\"")).unwrap();
        sheet.write_number_with_format(4, 0, 12, &format("00000")).unwrap();
        sheet.write_number_with_format(4, 5, 7, &format("#,##0")).unwrap();
    });
    let read = read_file("stock.xlsx", &bytes).unwrap();
    let lot = read.stock.last().unwrap();
    assert_eq!((lot.item.as_str(), lot.on_hand), ("00012", 7));
    let thickness = lot.size.unwrap().thickness;
    assert_eq!(thickness, Length::parse("0.5 mm", None).unwrap());
    let bytes = with_thickness(|sheet| {
        sheet.write_number(4, 3, 0.03).unwrap();
        sheet.write_number_with_format(4, 4, 0.05, &format("0%")).unwrap();
    });
    each(&read_file("stock.xlsx", &bytes).unwrap_err(), &[("cell E5", "`5%`: `%` is not a unit")]);
}

#[test]
fn thousands_and_other_numbers_that_read_two_ways() {
    for count in ["\"1,000\"", "1.000", "\"2,500\"", "1 000", "1\u{a0}000", "1'000"] {
        let found = problems_of(&STOCK.replacen(",4,0", &format!(",{count},0"), 1), PUMPS);
        each(&found, &[("cell F2", "the mark or space may separate thousands")]);
    }
    let (_, warnings) = read(&STOCK.replacen("0.010", "010 thou", 1));
    each(&warnings, &[("cell D2", "read as 10")]);
    let (_, warnings) = read(&STOCK.replacen("0.010", "10/20 thou", 1));
    each(&warnings, &[("cell D2", "read as a fraction")]);
    // As spreadsheets write small numbers into CSV files, and older British lists any.
    let (job, warnings) =
        read(&STOCK.replacen("0.010", "1E-02", 1).replacen("0.020", "0\u{b7}020", 1));
    assert!(warnings.is_empty(), "{warnings:#?}");
    let shown = |lot: usize| job.stock[lot].size.unwrap().thickness.show(Unit::Inch);
    assert_eq!((shown(0).as_str(), shown(1).as_str()), ("0.0100", "0.0200"));
}

#[test]
fn headings_with_their_units_in_every_way() {
    let headed = |heading: &str| STOCK.replacen("Thickness (in)", heading, 1);
    for heading in ["Thickness (nominal) (in)", "Thickness [in] (each)", "THICKNESS  (In.)"] {
        let (job, warnings) = read(&headed(heading));
        assert_eq!(job.stock[0].size.unwrap().thickness.show(Unit::Inch), "0.0100");
        assert!(warnings.is_empty(), "{warnings:#?}");
    }
    let found = problems_of(&headed("Thickness in"), PUMPS);
    assert!(found[0].contains("rename it to `Thickness (in)`"), "{found:#?}");
    let found = problems_of(&headed("Thickness (cm)"), PUMPS);
    assert!(found[0].contains("`(cm)` is no unit that is known here"), "{found:#?}");
    // Another word for a missing column is reported.
    let (_, warnings) = read(&STOCK.replacen("Reserved", "Allocated", 1));
    each(&warnings, &[("cell G1", "rename it to `Reserved` if it is to count")]);
    let found = problems_of(&STOCK.replacen("On hand", "QOH", 1), PUMPS);
    assert!(found.iter().any(|p| p.contains("rename `QOH` to `On hand`")), "{found:#?}");
}

#[test]
fn codes_that_a_spreadsheet_has_changed() {
    let date = Format::new().set_num_format("d-mmm");
    let day = ExcelDateTime::from_ymd(2027, 3, 8).unwrap();
    let bytes = with_thickness(|sheet| {
        sheet.write_number(4, 3, 0.03).unwrap();
        sheet.write_datetime_with_format(4, 2, &day, &date).unwrap();
        sheet.write_boolean(3, 0, true).unwrap();
    });
    each(
        &read_file("stock.xlsx", &bytes).unwrap_err(),
        &[("cell C5", "3/8 or 2-1 turns into a date"), ("cell A4", "the truth value TRUE")],
    );
    let found = problems_of(&STOCK.replacen("S10", &"x".repeat(300), 1), PUMPS);
    each(&found, &[("cell A2", "a text of 300 characters")]);
    // Error values and texts that look like numbers, as they come out as CSV.
    let found =
        problems_of(&STOCK.replacen("S10", "#REF!", 1).replacen("gasket", "#N/A", 1), PUMPS);
    assert!(found.iter().any(|p| p.contains("the error value #REF!")), "{found:#?}");
    assert!(found.iter().any(|p| p.contains("the error value #N/A")), "{found:#?}");
    let (job, _) = read(&STOCK.replacen("S10", "\"=\"\"007\"\"\"", 1));
    assert_eq!(job.stock[0].item, "007");
    // Texts that look alike are one.
    let found = problems_of(&STOCK.replacen("S20", "s10\u{200b}", 1), PUMPS);
    assert!(found[0].contains("a second time"), "{found:#?}");
    let (_, warnings) = read(&STOCK.replacen("F1", "F\u{2060}1", 1));
    assert!(warnings.is_empty(), "{warnings:#?}");
}

#[test]
fn a_shim_as_thick_as_a_plate_is_asked_about() {
    let (_, warnings) = read(&STOCK.replacen("0.020", "2", 1));
    each(&warnings, &[("cell D3", "a shim 50.800 mm thick")]);
}

#[test]
fn several_sheets_that_could_be_the_stock() {
    let found = folder_problems(&[("stock jan", STOCK), ("stock feb", STOCK)]);
    each(&found, &[("sheet stock jan", "a second sheet that could be the sheet `Stock`")]);
    let warnings = folder_warnings(&[("stock", STOCK), ("stock old", STOCK)], &[]);
    each(&warnings, &[("sheet stock old", "which is not read")]);
}

#[test]
fn a_policy_in_the_stock_workbook_is_reported() {
    let policy = "Setting,Value\nAcceptance,nominal\n";
    let warnings = folder_warnings(&[("stock", STOCK), ("policy", policy)], &[]);
    each(&warnings, &[("sheet policy", "a sheet with the headings of the sheet `Policy`")]);
    assert!(warnings[0].contains("move it to the pump workbook"), "{warnings:?}");
    let (shop, sources) = folder_job(&[("stock", STOCK), ("policy", policy)], &[]);
    let job = gapwright::read::job(&sources).unwrap();
    assert_eq!(job.policy.acceptance, gapwright::policy::Acceptance::WorstCase);
    assert!(job.unused.iter().any(|unused| unused.starts_with("sheet policy of ")));
    drop(shop);
}

#[test]
fn workbooks_given_the_wrong_way_round() {
    let found = problems_of(PUMPS, STOCK);
    only(&found, &["give the two the other way round"]);
}

#[test]
fn quotes_that_are_never_closed_swallow_nothing() {
    let quoted = |row: &str| STOCK.replacen("S20,", &format!("{row},"), 1);
    only(&problems_of(&quoted("\"S20"), PUMPS), &["line 3", "never closed"]);
    let both = quoted("\"6 in\" pipe\"").replacen("G90", "\"G90\"", 1);
    only(&problems_of(&both, PUMPS), &["line 3", "after the closing double quote"]);
    // Inch marks inside a value are not quotes.
    let (job, _) = read(&quoted("S20 6\" pipe"));
    assert_eq!(job.stock[1].item, "S20 6\" pipe");
}
