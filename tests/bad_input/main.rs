//! Bad input: every problem at once, each with its cell and its fix, and no file written.

#![allow(clippy::unwrap_used, clippy::expect_used, missing_docs)]

use std::fs;
use std::path::{Path, PathBuf};

use gapwright::choose::choose;
use gapwright::choose::control::Control;
use gapwright::problem::Problems;
use gapwright::read::{Sources, job};
use rust_xlsxwriter::{ExcelDateTime, Format, Formula, Workbook};
use tempfile::TempDir;

mod accounted;
mod alike;
mod bounds;
mod lists;
mod models;
mod seen;

const STOCK: &str = "\
Item,Kind,Fit,Thickness (in),Tolerance (in),On hand,Reserved
S10,shim,F1,0.010,0.0002,4,0
S20,shim,F1,0.020,0.0002,4,0
G90,gasket,F1,0.090,0.0005,2,0
";
const PUMPS: &str = "\
Tag,Model,Priority,Bearing shims fit,Cover gasket fit,Bare clearance (in),Snap ring (in)
A,screwed-impeller,1,F1,F1,0.031,0.050
";

struct Shop {
    folder: TempDir,
}

impl Shop {
    fn new(stock: &str, pumps: &str) -> Shop {
        let shop = Shop { folder: TempDir::new().unwrap() };
        fs::write(shop.path("stock.csv"), stock).unwrap();
        fs::write(shop.path("pumps.csv"), pumps).unwrap();
        shop
    }

    fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    fn sources(&self) -> Sources {
        Sources {
            stock: self.path("stock.csv"),
            pumps: self.path("pumps.csv"),
            ..Sources::default()
        }
    }

    fn problems(&self) -> Problems {
        job(&self.sources()).expect_err("these files have problems")
    }
}

/// The problems as text, without the temporary folder's name.
fn shown(problems: &Problems, folder: &Path) -> Vec<String> {
    let prefix = format!("{}/", folder.display());
    problems.sorted().iter().map(|p| p.to_string().replace(&prefix, "")).collect()
}

fn problems_of(stock: &str, pumps: &str) -> Vec<String> {
    let shop = Shop::new(stock, pumps);
    shown(&shop.problems(), shop.folder.path())
}

/// Exactly one problem, whose place, finding and fix hold these words.
#[track_caller]
fn only(problems: &[String], words: &[&str]) {
    assert_eq!(problems.len(), 1, "{problems:#?}");
    for word in words {
        assert!(problems[0].contains(word), "`{word}` is not in\n{}", problems[0]);
    }
}

#[test]
fn the_files_that_the_others_are_spoilt_from_are_good() {
    let shop = Shop::new(STOCK, PUMPS);
    let job = job(&shop.sources()).unwrap();
    assert_eq!((job.stock.len(), job.pumps.len()), (3, 1));
    assert!(job.warnings.is_empty());
}

#[test]
fn a_misspelt_column_is_named_with_the_nearest() {
    let stock = STOCK.replace("Thickness", "Thicknes");
    let found = problems_of(&stock, PUMPS);
    assert!(
        found.iter().any(|p| p.contains("stock.csv, sheet stock, cell D1")
            && p.contains("rename it to `Thickness (in)`")),
        "{found:#?}"
    );
    let stock = STOCK.replace("Reserved", "Reservd");
    only(&problems_of(&stock, PUMPS), &["cell G1", "`Reservd`", "rename it to `Reserved`"]);
    let pumps = PUMPS.replace("Snap ring", "Snap rng");
    let found = problems_of(STOCK, &pumps);
    assert!(
        found.iter().any(|p| p.contains("pumps.csv") && p.contains("`Snap ring`")),
        "{found:#?}"
    );
}

#[test]
fn a_text_where_a_length_belongs() {
    let stock = STOCK.replace("0.020", "thin");
    only(&problems_of(&stock, PUMPS), &["cell D3", "`thin`: not a length", "12 thou"]);
}

#[test]
fn a_unit_that_nobody_states_is_never_guessed() {
    let stock = STOCK.replace("Thickness (in)", "Thickness");
    let found = problems_of(&stock, PUMPS);
    assert_eq!(found.len(), 3, "{found:#?}");
    assert!(
        found.iter().all(|p| p.contains("no unit") && p.contains("Thickness (in)")),
        "{found:#?}"
    );
    // One cell with a unit of its own is no problem.
    let found = problems_of(&stock.replace("0.010", "0.010 in"), PUMPS);
    assert_eq!(found.len(), 2);
}

#[test]
fn counts_that_are_no_counts() {
    for bad in ["-4", "2.5", "four", "1e3", "4294967295"] {
        let stock = STOCK.replace(",0.0002,4,0\nS20", &format!(",0.0002,{bad},0\nS20"));
        only(
            &problems_of(&stock, PUMPS),
            &["cell F2", &format!("`{bad}`"), "a whole number from 0 to 1000000000"],
        );
    }
    let stock = STOCK.replace("0.0005,2,0", "0.0005,2,3");
    only(&problems_of(&stock, PUMPS), &["cell G4", "3 reserved of 2 on hand"]);
}

#[test]
fn duplicates_name_the_first() {
    let stock = format!("{STOCK}s10,shim,F1,0.011,0.0002,1,0\n");
    only(&problems_of(&stock, PUMPS), &["cell A5", "`s10` a second time", "row 2"]);
    let pumps = format!("{PUMPS}a,screwed-impeller,1,F1,F1,0.041,0.050\n");
    only(&problems_of(STOCK, &pumps), &["cell A3", "`a` a second time", "row 2"]);
    let stock = STOCK.replace("Reserved", "On hand");
    let found = problems_of(&stock, PUMPS);
    assert!(
        found.iter().any(|p| p.contains("cell G1") && p.contains("the first is in F1")),
        "{found:#?}"
    );
}

#[test]
fn unknown_models_and_fit_codes_suggest_the_nearest() {
    let pumps = PUMPS.replace("screwed-impeller", "screwd-impeler");
    only(&problems_of(STOCK, &pumps), &["cell B2", "`screwd-impeler`", "write `screwed-impeller`"]);
    let stock = STOCK.replace(",F1,", ",FRAME-1,");
    let pumps = PUMPS.replace(",F1,F1,", ",FRAME-1,FRAME-I,");
    only(
        &problems_of(&stock, &pumps),
        &["cell E2", "which no gasket in the stock has", "write `FRAME-1`"],
    );
}

#[test]
fn an_empty_stock_and_no_pumps() {
    let head = |text: &str| text.lines().next().unwrap().to_string();
    let found = problems_of(&head(STOCK), &head(PUMPS));
    assert!(found.iter().any(|p| p.contains("stock.csv") && p.contains("no items")), "{found:#?}");
    assert!(found.iter().any(|p| p.contains("pumps.csv") && p.contains("no pumps")), "{found:#?}");
}

#[test]
fn a_missing_tolerance_is_asked_for_unless_the_material_has_one() {
    let stock = STOCK.replace("0.010,0.0002", "0.010,");
    only(&problems_of(&stock, PUMPS), &["cell E2", "no tolerance for item `S10`", "plus_minus"]);
    let stock = STOCK
        .replace("Reserved", "Reserved,Material")
        .replace("0.010,0.0002,4,0", "0.010,,4,0,Ground Shim");
    let shop = Shop::new(&stock, PUMPS);
    let job = job(&shop.sources()).unwrap();
    assert_eq!(
        job.stock[0].size.unwrap().tolerance.plus.show(gapwright::length::Unit::Inch),
        "0.0003"
    );
}

/// A typing error in a gasket's material would silently skip the check of its crush. A shop's own material is left
/// alone, and so is that of a shim, which has no effect.
#[test]
fn a_gasket_material_that_is_nearly_known_is_asked_about() {
    let pumps = PUMPS;
    let warnings = |materials: [&str; 3]| -> Vec<String> {
        let mut materials = materials.iter();
        let lines = STOCK.lines().enumerate().map(|(n, line)| match n {
            0 => format!("{line},Material\n"),
            _ => format!("{line},{}\n", materials.next().unwrap()),
        });
        let stock: String = lines.collect();
        // Only the first of several equal ones is reported.
        let again = stock.lines().last().unwrap().replace("G90", "G91");
        let shop = Shop::new(&format!("{stock}{again}\n"), pumps);
        let job = job(&shop.sources()).unwrap();
        job.warnings.iter().map(ToString::to_string).collect()
    };
    only(
        &warnings(["", "vegetabel fibre", "Vegetabel fibre"]),
        &[
            "cell H4",
            "the material `Vegetabel fibre`",
            "write `vegetable fibre`, if that is what is meant; its crush is not checked",
        ],
    );
    for known in ["Vegetable Fibre", "house felt", "carbon steel", ""] {
        assert_eq!(warnings(["", "", known]), [""; 0], "{known}");
    }
    // Likewise for gaskets that are cut from sheet.
    let shop = Shop::new(STOCK, PUMPS);
    let folder = shop.path("stock");
    fs::create_dir(&folder).unwrap();
    fs::rename(shop.path("stock.csv"), folder.join("Stock.csv")).unwrap();
    let sheets = "Item,Kind,Thickness (in),Tolerance (in),Length (in),Width (in),On hand,Material\n\
                  L1,gasket,0.030,0.001,10,10,1,rubber shet\n";
    fs::write(folder.join("Sheets.csv"), sheets).unwrap();
    let fit = "Fit,Outside diameter (in),Inside diameter (in)\nF1,4,3\n";
    fs::write(folder.join("Fit.csv"), fit).unwrap();
    let sources = Sources { stock: folder, ..shop.sources() };
    let job = job(&sources).unwrap_or_else(|p| panic!("{:#?}", p.sorted()));
    let warnings: Vec<String> = job.warnings.iter().map(ToString::to_string).collect();
    only(&warnings, &["cell H2", "write `rubber sheet`"]);
}

#[test]
fn a_tolerance_below_zero_is_said_to_be_that() {
    for bad in ["-0.0002", "-0.0002 in"] {
        let stock = STOCK.replacen(",0.0002,", &format!(",{bad},"), 1);
        only(
            &problems_of(&stock, PUMPS),
            &["cell E2", &format!("`{bad}`: below zero"), "without a sign"],
        );
    }
}

#[test]
fn limits_of_a_pump_that_make_no_sense() {
    let pumps = PUMPS
        .replace(
            "Snap ring (in)",
            "Snap ring (in),Running clearance min (in),Running clearance max (in)",
        )
        .replace(",0.050", ",0.050,0.025,0.023");
    only(&problems_of(STOCK, &pumps), &["cell H2", "the lower limit above the upper one"]);
}

#[test]
fn everything_is_reported_at_once() {
    let stock = STOCK.replace("0.020", "thin").replace("0.0005,2", "0.0005,-2");
    let pumps = PUMPS.replace("0.031", "wide").replace("screwed-impeller,1", "screwed-impeller,0");
    let found = problems_of(&stock, &pumps);
    assert_eq!(found.len(), 4, "{found:#?}");
    // In the order of reading: file, sheet, row, column.
    let places: Vec<&str> = found.iter().map(|p| p.lines().next().unwrap()).collect();
    assert_eq!(
        places,
        [
            "pumps.csv, sheet pumps, cell C2",
            "pumps.csv, sheet pumps, cell F2",
            "stock.csv, sheet stock, cell D3",
            "stock.csv, sheet stock, cell F4",
        ]
    );
}

#[test]
fn settings_that_are_no_settings() {
    let shop = Shop::new(STOCK, PUMPS);
    let given = [
        ("Acceptence", "nominal"),
        ("Acceptance", "lenient"),
        ("Opened packs spoiled", "at times"),
        // The link that lets a browser in is no address for paper.
        ("Page address", "http://127.0.0.1:8470/in/0123456789abcdef"),
    ];
    let settings = given.map(|(name, value)| (name.to_string(), value.to_string())).to_vec();
    let found = job(&Sources { settings, ..shop.sources() }).unwrap_err();
    let found = shown(&found, shop.folder.path());
    assert_eq!(found.len(), 4, "{found:#?}");
    assert!(found.iter().any(|p| p.contains("write `Acceptance`")));
    assert!(found.iter().any(|p| p.contains("the address of a page without its code")));
}

#[test]
fn a_kind_that_is_misspelt_does_not_drop_its_pieces() {
    let stock = STOCK.replace("S20,shim", "S20,shims");
    only(&problems_of(&stock, PUMPS), &["cell B3", "the kind `shims`", "write `shim`"]);
    // A kind that is unlike all known ones may be in the drawer too.
    let stock = format!("{STOCK}N1,nut,M8,,,100,0\n");
    assert!(job(&Shop::new(&stock, PUMPS).sources()).is_ok());
}

#[test]
fn columns_and_sheets_that_are_not_used_are_said() {
    let stock = STOCK.replace("Reserved", "Qty reserved");
    let pumps = PUMPS
        .replace("Snap ring (in)", "Snap ring (in),Clearance max (in),Crew")
        .replace("0.050\n", "0.050,0.020,night\n");
    let shop = Shop::new(&stock, &pumps);
    let job = job(&shop.sources()).unwrap();
    let warnings: Vec<String> = job.warnings.iter().map(ToString::to_string).collect();
    assert!(
        warnings.iter().any(|w| w.contains("`Qty reserved`") && w.contains("`Reserved`")),
        "{warnings:#?}"
    );
    assert!(
        warnings
            .iter()
            .any(|w| w.contains("`Clearance max (in)`") && w.contains("`Running clearance max`")),
        "{warnings:#?}"
    );
    assert!(job.unused.iter().any(|u| u.contains("`Crew`")), "{:?}", job.unused);
}

#[test]
fn a_comma_between_three_digits_is_asked_about() {
    let stock = STOCK.replace("0.010,", "\"1,010 mm\",");
    let shop = Shop::new(&stock, PUMPS);
    let job = job(&shop.sources()).unwrap();
    assert!(job.warnings[0].to_string().contains("read as 1.010"), "{:?}", job.warnings);
}

#[test]
fn measured_values_that_cannot_be_right_are_asked_about() {
    let warnings = |pumps: &str| {
        let job = job(&Shop::new(STOCK, pumps).sources()).unwrap();
        job.warnings.iter().map(ToString::to_string).collect::<Vec<_>>().join("\n")
    };
    assert!(
        warnings(&PUMPS.replace("0.050", "-0.050")).contains("a negative `Snap ring thickness`")
    );
    let apart = PUMPS
        .replace("Bare clearance (in)", "Bare clearance 1 (in),Bare clearance 2 (in)")
        .replace("0.031", "0.031,0.032");
    assert!(warnings(&apart).contains("further apart than its plus/minus"));
    let due = PUMPS.replace("Priority", "Due").replace("impeller,1", "impeller,05/03/2027");
    assert!(warnings(&due).contains("is not a date"));
}

#[test]
fn one_bad_row_does_not_raise_false_problems_elsewhere() {
    // The only gasket has a bad count: its fit code is still known.
    let stock = STOCK.replace("0.0005,2,0", "0.0005,two,0");
    only(&problems_of(&stock, PUMPS), &["cell F4", "`two`"]);
    let stock = STOCK.replace("0.090,0.0005", "0.090,5%");
    only(&problems_of(&stock, PUMPS), &["cell E4", "`5%`"]);
}

#[test]
fn a_dimension_may_be_headed_by_its_label_but_not_twice() {
    let pumps = PUMPS.replace("Snap ring (in)", "Snap ring thickness (in)");
    assert!(job(&Shop::new(STOCK, &pumps).sources()).is_ok());
    let pumps = PUMPS
        .replace("Bare clearance (in)", "Bare clearance (in),Bare clearance 1 (in)")
        .replace("0.031", "0.031,0.031");
    only(&problems_of(STOCK, &pumps), &["cell F1", "numbered readings"]);
}

#[test]
fn a_text_too_long_for_a_cell_is_refused_on_reading() {
    let stock = STOCK.replace("S10", &"x".repeat(40_000));
    only(&problems_of(&stock, PUMPS), &["cell A2", "40000 characters"]);
}

/// An invalid model must not make its pumps vanish.
#[test]
fn a_sensitivity_beyond_reason_is_a_problem_not_a_pump_less() {
    let shop = Shop::new(STOCK, PUMPS);
    let models = shop.path("models");
    fs::create_dir(&models).unwrap();
    let spoilt =
        gapwright::read::BUILT_IN[0].1.replace("bare_clearance = 1,", "bare_clearance = 12,");
    fs::write(models.join("screwed-impeller.toml"), spoilt).unwrap();
    let found = job(&Sources { models: Some(models), ..shop.sources() }).unwrap_err();
    only(&shown(&found, shop.folder.path()), &["the sensitivity 12", "from -10 to 10"]);
}

// --- Files that are not workbooks ----------------------------------------------------------

fn stock_file(name: &str, bytes: &[u8]) -> Vec<String> {
    let shop = Shop::new(STOCK, PUMPS);
    let path = shop.path(name);
    fs::write(&path, bytes).unwrap();
    let found = job(&Sources { stock: path, ..shop.sources() }).expect_err("no workbook");
    shown(&found, shop.folder.path())
}

fn sample() -> Vec<u8> {
    fs::read("samples/outage/stock.xlsx").unwrap()
}

#[test]
fn files_that_cannot_be_read_say_so_plainly() {
    only(&stock_file("stock.xlsx", b""), &["an empty file"]);
    only(&stock_file("stock.xlsx", b"hello"), &["not named .csv"]);
    for (bytes, words) in [
        (&b"<!DOCTYPE html>\n<html><table>"[..], "a web page"),
        (b"%PDF-1.7 ...", "a PDF file"),
        (b"<?xml version=\"1.0\"?><a/>", "an XML file"),
        (b"\x00\x01\x02", "no workbook"),
        (b"PK\x05\x06\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0", "a zip file that is no workbook"),
    ] {
        only(&stock_file("stock.xls", bytes), &[words, ".ods"]);
    }
    let whole = sample();
    for cut in [4, 100, whole.len() / 2, whole.len() - 10] {
        only(&stock_file("stock.xlsx", &whole[..cut]), &["cut short or damaged", "again"]);
    }
    // The container that both password-protected and pre-2007 workbooks come in.
    let begin = [0xd0, 0xcf, 0x11, 0xe0, 0xa1, 0xb1, 0x1a, 0xe1];
    only(&stock_file("stock.xlsx", &begin), &["cut short or damaged"]);
    let container = |stream: &str| {
        let mut file = cfb::CompoundFile::create(std::io::Cursor::new(Vec::new())).unwrap();
        file.create_stream(stream).unwrap();
        file.into_inner().into_inner()
    };
    only(
        &stock_file("stock.xlsx", &container("/EncryptedPackage")),
        &["protected by a password", "without a password"],
    );
    only(&stock_file("stock.xls", &container("/Book")), &["Excel 95 or older", ".xlsx"]);
    only(&stock_file("stock.xls", &container("/WordDocument")), &["another office program"]);
    only(&stock_file("stock.csv", b"Item,Kind\n\xff\xfe,shim\n"), &["line 2", "not UTF-8"]);
    let shop = Shop::new(STOCK, PUMPS);
    let nowhere = Sources { stock: shop.path("nowhere.xlsx"), ..shop.sources() };
    only(
        &shown(&job(&nowhere).unwrap_err(), shop.folder.path()),
        &["nowhere.xlsx", "no such file"],
    );
    // A folder without sheets in it.
    fs::create_dir(shop.path("empty")).unwrap();
    let folder = Sources { stock: shop.path("empty"), ..shop.sources() };
    only(&shown(&job(&folder).unwrap_err(), shop.folder.path()), &["without any .csv"]);
}

#[test]
fn flipped_bytes_never_panic() {
    let whole = sample();
    let (mut read, mut refused) = (0, 0);
    for at in (0..whole.len()).step_by(61) {
        let mut spoilt = whole.clone();
        spoilt[at] ^= 0x5a;
        let shop = Shop::new(STOCK, PUMPS);
        let path = shop.path("stock.xlsx");
        fs::write(&path, spoilt).unwrap();
        match job(&Sources { stock: path, ..shop.sources() }) {
            Ok(_) => read += 1,
            Err(problems) => {
                assert!(!problems.none());
                refused += 1;
            }
        }
    }
    assert!(read + refused > 100 && refused > 50, "{read} read, {refused} refused");
}

#[test]
fn a_workbook_without_the_sheet_lists_those_it_has() {
    let mut workbook = Workbook::new();
    workbook.add_worksheet().set_name("Shopping").unwrap().write(0, 0, "milk").unwrap();
    let bytes = workbook.save_to_buffer().unwrap();
    only(
        &stock_file("stock.xlsx", &bytes),
        &["no sheet `Stock`", "Shopping", "name the sheet Stock"],
    );
}

/// A stock workbook with one more row, whose thickness cell is written by `write`.
fn with_thickness(write: impl FnOnce(&mut rust_xlsxwriter::Worksheet)) -> Vec<u8> {
    let mut workbook = Workbook::new();
    let sheet = workbook.add_worksheet().set_name("Stock").unwrap();
    for (row, line) in (0..).zip(STOCK.lines()) {
        for (column, text) in (0..).zip(line.split(',')) {
            match text.parse::<f64>() {
                Ok(number) => sheet.write_number(row, column, number).unwrap(),
                Err(_) => sheet.write_string(row, column, text).unwrap(),
            };
        }
    }
    for (column, text) in [(0, "S30"), (1, "shim"), (2, "F1")] {
        sheet.write_string(4, column, text).unwrap();
    }
    sheet.write_number(4, 4, 0.0002).unwrap().write_number(4, 5, 1).unwrap();
    write(sheet);
    workbook.save_to_buffer().unwrap()
}

/// A workbook with a text replaced inside one of its parts.
fn edited(bytes: &[u8], part: &str, from: &str, to: &str) -> Vec<u8> {
    use std::io::{Cursor, Read, Write};
    let mut archive = zip::ZipArchive::new(Cursor::new(bytes)).unwrap();
    let mut writer = zip::ZipWriter::new(Cursor::new(Vec::new()));
    for index in 0..archive.len() {
        let mut entry = archive.by_index(index).unwrap();
        let mut content = Vec::new();
        entry.read_to_end(&mut content).unwrap();
        let name = entry.name().unwrap().to_string();
        if name == part {
            let text = String::from_utf8(content).unwrap();
            assert!(text.contains(from), "{from} is not in {part}");
            content = text.replace(from, to).into_bytes();
        }
        writer.start_file(name, zip::write::SimpleFileOptions::default()).unwrap();
        writer.write_all(&content).unwrap();
    }
    writer.finish().unwrap().into_inner()
}

#[test]
fn cells_that_hold_no_value_to_read() {
    let bytes = with_thickness(|sheet| {
        sheet.write_formula(4, 3, Formula::new("=A1+1")).unwrap();
    });
    let bytes = edited(&bytes, "xl/worksheets/sheet1.xml", "<f>A1+1</f><v>0</v>", "<f>A1+1</f>");
    only(&stock_file("stock.xlsx", &bytes), &["cell D5", "whose result is missing or pending"]);
    let bytes = with_thickness(|sheet| {
        let date = ExcelDateTime::from_ymd(2027, 1, 2).unwrap();
        let format = Format::new().set_num_format("yyyy-mm-dd");
        sheet.write_datetime_with_format(4, 3, &date, &format).unwrap();
    });
    only(&stock_file("stock.xlsx", &bytes), &["cell D5", "2027-01-02", "number format"]);
    let bytes = with_thickness(|_| {});
    only(&stock_file("stock.xlsx", &bytes), &["cell D5", "an empty cell"]);
    let bytes = with_thickness(|sheet| {
        sheet.write_formula(4, 3, Formula::new("=NA()").set_result("#N/A")).unwrap();
    });
    only(&stock_file("stock.xlsx", &bytes), &["cell D5", "#N/A"]);
}

#[test]
fn a_cell_in_the_far_corner_costs_nothing() {
    let bytes = with_thickness(|sheet| {
        sheet.write_number(4, 3, 0.03).unwrap();
        sheet.write_string(1_048_575, 16_383, "x").unwrap();
    });
    let shop = Shop::new(STOCK, PUMPS);
    fs::write(shop.path("stock.xlsx"), bytes).unwrap();
    let read = job(&Sources { stock: shop.path("stock.xlsx"), ..shop.sources() });
    let read = read.unwrap_or_else(|p| panic!("{:#?}", p.sorted()));
    assert_eq!(read.stock.len(), 4);
    let beside = "column XFD of sheet Stock, which has no heading";
    assert!(read.unused.iter().any(|u| u == beside), "{:?}", read.unused);
}

// --- Model files ---------------------------------------------------------------------------

fn model_problems(text: &str) -> Vec<String> {
    let problems = gapwright::read::parse_model("m", "m.toml", text).unwrap_err();
    problems.sorted().iter().map(ToString::to_string).collect()
}

#[test]
fn model_files_say_line_and_column() {
    let good = gapwright::read::BUILT_IN[0].1;
    assert!(gapwright::read::parse_model("m", "m.toml", good).is_ok());
    let spoil = |from: &str, to: &str| {
        assert!(good.contains(from), "{from}");
        model_problems(&good.replacen(from, to, 1))
    };
    let above = good.split("unit = \"in\"").next().unwrap();
    let line = above.lines().count() + 1;
    only(
        &spoil("unit = \"in\"", "unit = \"ell\""),
        &[&format!("m.toml, line {line}, column 8"), "`ell`"],
    );
    only(
        &spoil("bearing_shims = -1", "bearing_shim = -1"),
        &["`bearing_shim`", "write `bearing_shims`"],
    );
    only(
        &spoil("limits = [0.019, 0.023]", "limits = [0.023, 0.019]"),
        &["the lower limit above the upper one"],
    );
    only(&spoil("target = 0.021", "target = 0.031"), &["a target outside the limits"]);
    only(&spoil("plus_minus = 0.0002", "plus_minus = -0.0002"), &["-0.0002"]);
    only(&spoil("shape = \"rectangular\"", "shape = \"square\""), &["the shape `square`"]);
    only(&spoil("most_pieces = 4", "most_pieces = 0"), &["0 to 0 pieces"]);
    only(&spoil("kind = \"shim\"", "kind = \"shimm\""), &["the kind `shimm`"]);
    only(&spoil("[pack.cover_gasket]", "[pack.cover_gasket]\ncolour = 3"), &["line", "colour"]);
    let several = good
        .replacen("shape =", "form =", 1)
        .replacen("most_pieces = 4", "most_pieces = 0", 1)
        .replacen("limits = [0.019, 0.023]", "limits = [0.023, 0.019]", 1);
    assert_eq!(model_problems(&several).len(), 3, "{:#?}", model_problems(&several));
    assert!(!model_problems("title = ").is_empty());
    assert!(!model_problems("title = \"x\"\nunit = \"mm\"").is_empty());
}

const SHEETS: &str = "\
Item,Kind,Thickness (in),Tolerance (in),Length (in),Width (in),On hand,Reserved,Unit cost,Colour
GS-90,gasket,0.090,0.0005,30,20,3,1,30,grey
";
const FIT: &str = "\
Fit,Outside diameter (in),Inside diameter (in)
F1,6,4
";

/// A stock folder with these sheets, and the settings for reading it.
fn folder_job(sheets: &[(&str, &str)], settings: &[(&str, &str)]) -> (Shop, Sources) {
    let shop = Shop::new(STOCK, PUMPS);
    fs::create_dir(shop.path("stock")).unwrap();
    for (name, text) in sheets {
        fs::write(shop.path("stock").join(format!("{name}.csv")), text).unwrap();
    }
    let settings = settings.iter().map(|(name, value)| (name.to_string(), value.to_string()));
    let sources =
        Sources { stock: shop.path("stock"), settings: settings.collect(), ..shop.sources() };
    (shop, sources)
}

fn folder_problems(sheets: &[(&str, &str)]) -> Vec<String> {
    let (shop, sources) = folder_job(sheets, &[]);
    let problems = job(&sources).expect_err("these files have problems");
    shown(&problems, shop.folder.path())
}

fn folder_warnings(sheets: &[(&str, &str)], settings: &[(&str, &str)]) -> Vec<String> {
    let (_shop, sources) = folder_job(sheets, settings);
    let job = job(&sources).unwrap_or_else(|p| panic!("{:#?}", p.sorted()));
    job.warnings.iter().map(ToString::to_string).collect()
}

/// Exactly these findings, each at its cell.
#[track_caller]
fn each(found: &[String], expected: &[(&str, &str)]) {
    for (place, words) in expected {
        assert!(
            found.iter().any(|p| p.lines().next().unwrap().ends_with(place) && p.contains(words)),
            "`{words}` at {place} is not in {found:#?}"
        );
    }
    assert_eq!(found.len(), expected.len(), "{found:#?}");
}

#[test]
fn pieces_that_can_be_cut_stand_behind_the_stock() {
    let (_shop, sources) = folder_job(&[("Stock", STOCK), ("sheets", SHEETS), ("FIT", FIT)], &[]);
    let job = job(&sources).unwrap();
    assert!(job.warnings.is_empty(), "{:#?}", job.warnings);
    assert_eq!(job.unused, ["column `Colour` of sheet sheets"]);
    let cut = &job.stock[3];
    // Two sheets of 5 x 3 blanks; rings of 6 and 4 in, so pi x 5 of 600 square inches of a sheet that costs 30, down.
    assert_eq!((cut.item.as_str(), cut.on_hand), ("GS-90 > F1", 30));
    assert_eq!(cut.unit_cost.to_string(), "0.785397");
    assert_eq!(cut.cut.map(|cut| cut.plate), Some(0));
    assert_eq!((job.stock.len(), job.plates.len()), (4, 1));
}

#[test]
fn a_fit_code_may_be_had_by_cutting_alone() {
    let stock = STOCK.replace("G90,gasket,F1,0.090,0.0005,2,0\n", "");
    let all = [("stock", stock.as_str()), ("sheets", SHEETS), ("fit", FIT)];
    assert!(folder_warnings(&all, &[]).is_empty());
    // A bad size or diameter does not remove the fit code.
    let bad = [SHEETS.replace("0.090", "thin"), FIT.replace(",6,", ",wide,")];
    let found = folder_problems(&[all[0], ("sheets", &bad[0]), ("fit", &bad[1])]);
    each(&found, &[("cell C2", "`thin`"), ("cell B2", "`wide`")]);
    let other = FIT.replace("F1", "F2");
    let found = folder_problems(&[all[0], all[1], ("fit", &other)]);
    only(&found, &["cell E2", "which no gasket in the stock has"]);
}

#[test]
fn bad_sheets_and_shapes_are_all_named() {
    let sheets = "\
Item,Kind,Thickness (in),Tolerance (in),Length (in),Width,On hand,Reserved,Unit cost,Min level
GS-1,gaskets,0.090,0.0005,30,20 in,3,4,30,1
g90,gasket,0,0.0005,-30,20,2.5,0,-1,x
GS-3,gasket,0.090,,,20 in,,0,30,1
,gasket,0.090,0.0005,30,20 in,3,0,30,1
GS-5,gasket,0.090,0.1,30,20 in,3,0,30,1
GS-5,gasket,,0.0005,30,20 in,3,0,30,1
";
    let fit = "\
Fit,Outside diameter (in),Inside diameter (in)
F1,4,6
f1,6,-1
F2,,4
F3,0.01,0
,6,4
F4,wide,
";
    let found = folder_problems(&[("stock", STOCK), ("sheets", sheets), ("fit", fit)]);
    each(
        &found,
        &[
            ("sheet sheets, cell B2", "write `gasket`"),
            ("sheet sheets, cell H2", "4 reserved of 3 on hand"),
            ("sheet sheets, cell A3", "row 4 of sheet stock"),
            ("sheet sheets, cell C3", "a length above 0"),
            ("sheet sheets, cell E3", "a length above 0"),
            ("sheet sheets, cell F3", "no unit"),
            ("sheet sheets, cell G3", "a whole number"),
            ("sheet sheets, cell I3", "an amount of money"),
            ("sheet sheets, cell J3", "a whole number"),
            ("sheet sheets, cell E4", "an empty cell"),
            ("sheet sheets, cell G4", "an empty cell"),
            ("sheet sheets, cell A5", "an empty cell"),
            ("sheet sheets, cell D6", "as large as the thickness"),
            ("sheet sheets, cell A7", "row 6 of sheet sheets"),
            ("sheet sheets, cell C7", "an empty cell"),
            ("sheet fit, cell C2", "whether the two are swapped"),
            ("sheet fit, cell A3", "`f1` a second time"),
            ("sheet fit, cell C3", "a length of 0 or above"),
            ("sheet fit, cell B4", "an empty cell"),
            ("sheet fit, cell B5", "check the unit"),
            ("sheet fit, cell A6", "an empty cell"),
            ("sheet fit, cell B7", "`wide`"),
            ("sheet fit, cell C7", "an empty cell"),
        ],
    );
}

/// Items and plates that no pump asks for lack a tolerance: planned, with a warning each. As soon as a pump asks for
/// them it is a problem.
#[test]
fn a_tolerance_that_no_pump_asks_for_may_be_missing() {
    let stock = format!("{STOCK}Z10,shim,Z9,0.010,,4,0\n");
    let sheets = SHEETS.replace("0.0005", "");
    let fit = FIT.replace("F1", "Z9");
    let (_shop, sources) =
        folder_job(&[("stock", &stock), ("sheets", &sheets), ("fit", &fit)], &[]);
    let job = job(&sources).unwrap_or_else(|found| panic!("{:#?}", found.sorted()));
    let said: Vec<String> = job.warnings.iter().map(ToString::to_string).collect();
    for item in ["Z10", "GS-90"] {
        let text = format!("no tolerance for item `{item}`, which no pump of this outage asks for");
        assert_eq!(said.iter().filter(|warning| warning.contains(&text)).count(), 1, "{said:#?}");
    }
    let of = job.stock.iter().find(|item| item.item == "Z10").unwrap();
    assert_eq!((of.size, of.on_hand), (None, 4));
    assert!(choose(&job, &Control::unlimited()).unwrap().served() > 0);
    let pumps = PUMPS.replacen(",F1,", ",Z9,", 1);
    assert!(problems_of(&stock, &pumps).iter().any(|p| p.contains("no tolerance for item `Z10`")));
}

#[test]
fn a_sheet_needs_a_tolerance_and_its_headings() {
    let sheets = SHEETS.replace("0.0005", "");
    let found = folder_problems(&[("stock", STOCK), ("sheets", &sheets), ("fit", FIT)]);
    only(&found, &["cell D2", "no tolerance for item `GS-90`"]);
    let sheets = SHEETS.replace("On hand", "Onn hand");
    let fit = FIT.replace("Inside diameter", "Hole");
    let found = folder_problems(&[("stock", STOCK), ("sheets", &sheets), ("fit", &fit)]);
    assert!(found.iter().any(|p| p.contains("rename it to `On hand`")));
    assert!(found.iter().any(|p| p.contains("no column `Inside diameter`")));
    // The name of a cut piece is taken.
    let stock = STOCK.replace("S10,", "gs-90 > f1,");
    let found = folder_problems(&[("stock", &stock), ("sheets", SHEETS), ("fit", FIT)]);
    only(&found, &["sheets, cell A2", "`GS-90 > F1` a second time", "row 2 of sheet stock"]);
}

#[test]
fn sheets_or_shapes_alone_cut_nothing_and_that_is_said() {
    let stock = ("stock", STOCK);
    let nothing = |found: Vec<String>| only(&found, &["nothing can be cut"]);
    nothing(folder_warnings(&[stock, ("sheets", SHEETS)], &[]));
    nothing(folder_warnings(&[stock, ("fit", FIT)], &[]));
    let headings = FIT.lines().next().unwrap();
    nothing(folder_warnings(&[stock, ("sheets", SHEETS), ("fit", headings)], &[]));
    let large = FIT.replace(",6,", ",20.5,");
    only(
        &folder_warnings(&[stock, ("sheets", SHEETS), ("fit", &large)], &[]),
        &["fit, cell B2", "larger than every plate"],
    );
}

#[test]
fn peel_steps_and_packs() {
    let stock = "\
Item,Kind,Fit,Thickness (in),Tolerance (in),On hand,Peel step (in),Pack qty
S10,shim,F1,0.010,0.0002,4,0.010,0
S20,shim,F1,0.020,0.0002,4,-0.002,2.5
S30,shim,F1,0.030,0.0002,4,thin,-1
R1,packing ring,F1,,,4,0.002,
G90,gasket,F1,0.090,0.0005,2,,
";
    let found = problems_of(stock, PUMPS);
    each(
        &found,
        &[
            ("cell G2", "as large as the thickness"),
            ("cell H2", "a whole number, 1 or more"),
            ("cell G3", "a length above 0"),
            ("cell H3", "a whole number"),
            ("cell G4", "`thin`"),
            ("cell H4", "a whole number"),
            ("cell G5", "a peel step on a packing ring"),
        ],
    );
    let stock = "\
Item,Kind,Fit,Thickness (in),Tolerance (in),On hand,Peel step,Pack qty
S10,shim,F1,0.010,0.0002,4,2 thou,10
S21,shim,F1,0.021,0.0002,4,2 thou,
G90,gasket,F1,0.090,0.0005,2,,
";
    let shop = Shop::new(stock, PUMPS);
    let job = job(&shop.sources()).unwrap();
    assert_eq!(job.warnings.len(), 1);
    assert!(job.warnings[0].to_string().contains("cell G3"));
    assert_eq!([0, 1, 2].map(|n| job.stock[n].most_peeled()), [4, 9, 0]);
    assert_eq!([0, 1, 2].map(|n| job.stock[n].carton_qty), [10, 1, 1]);
}

#[test]
fn a_rule_on_packs_without_packs_is_said() {
    let spoiled = [("Opened packs spoiled", "yes")];
    only(
        &folder_warnings(&[("stock", STOCK)], &spoiled),
        &["stock", "Pack qty above 1", "changes nothing"],
    );
    let packed = STOCK.replace(",Reserved", ",Pack qty").replace(",4,0", ",4,4");
    let packed = packed.replace(",2,0", ",2,");
    assert!(folder_warnings(&[("stock", &packed)], &spoiled).is_empty());
}

// --- Consumables ---------------------------------------------------------------------------

/// The built-in model with one more consumable, its first lines as they are.
fn with_consumable(lines: &str) -> String {
    format!("{}\n[[consumable]]\n{lines}\n", gapwright::read::BUILT_IN[0].1)
}

#[test]
fn consumables_of_a_model_say_line_and_column() {
    let spoilt = |lines: &str| model_problems(&with_consumable(lines));
    let section = "section = { bore = \"box_bore\", shaft = \"sleeve_diameter\" }";
    let good = with_consumable(&format!("kind = \"Packing ring\"\ncount = 5\n{section}"));
    let model = gapwright::read::parse_model("m", "m.toml", &good).unwrap();
    let last = model.consumables.last().unwrap();
    assert_eq!((last.kind.as_str(), last.count), ("packing ring", 5));
    assert!(last.section.is_some() && last.fit_column.is_none());
    for kind in ["shim", "Gasket"] {
        only(
            &spoilt(&format!("kind = \"{kind}\"\ncount = 1")),
            &[", column 8", &format!("a {} as a consumable", kind.to_lowercase()), "[pack.name]"],
        );
    }
    for count in ["0", "5000"] {
        let lines = format!("kind = \"seal\"\ncount = {count}");
        only(&spoilt(&lines), &["column 9", "from 1 to 1000"]);
    }
    only(
        &spoilt("kind = \"seal\"\ncount = -1"),
        &["column 9", "a model file as `gapwright help models` describes it"],
    );
    only(&spoilt("kind = \" \"\ncount = 1"), &["column 8", "a name", "fill it in"]);
    only(&spoilt("kind = \"seal\"\ncount = 1\nfit_column = \"\""), &["column 14", "a name"]);
    only(
        &spoilt("kind = \"seal\"\ncount = 1\nfit_colunm = \"Seal fit\""),
        &["`fit_colunm`", "write `fit_column`"],
    );
    let ring = |section: &str| spoilt(&format!("kind = \"ring\"\ncount = 1\n{section}"));
    only(
        &ring(&section.replace(" }", ", lenght = \"x\" }")),
        &["the key `lenght`", "one of bore, shaft"],
    );
    only(
        &ring("section = { bore = \"box_bore\" }"),
        &["column 11", "a section without `shaft`", "name the pump sheet's column"],
    );
    only(&ring(&section.replace("\"box_bore\"", "\"\"")), &["column 20", "a name"]);
    only(&ring(&section.replace("\"box_bore\"", "3")), &["column 20", "where a text belongs"]);
    only(&ring("section = \"box\""), &["column 11"]);
    // All of them at once.
    let found = model_problems(&with_consumable(
        "kind = \"shim\"\ncount = 0\nfit_column = \"\"\nsection = { shaft = \"-\", depth = \"x\" }",
    ));
    assert_eq!(found.len(), 6, "{found:#?}");
}

const RINGS: &str = "\
Item,Kind,Fit,Thickness (in),Tolerance (in),On hand,Reserved
S10,shim,F1,0.010,0.0002,4,0
G90,gasket,F1,0.090,0.0005,2,0
R1,packing ring,,1/2,,20,0
";
const RING_PUMPS: &str = "\
Tag,Model,Bearing shims fit,Cover gasket fit,Bare clearance (in),Snap ring (in),Box bore,Sleeve diameter (mm)
A,ringed,F1,F1,0.031,0.050,3 in,50.8
B,ringed,F1,F1,0.031,0.050,3 in,2 in
";

/// Result of reading these with the model `ringed`, which asks for packing rings by section.
fn ringed(stock: &str, pumps: &str) -> (Shop, Result<gapwright::job::Job, Problems>) {
    let shop = Shop::new(stock, pumps);
    let models = shop.path("models");
    fs::create_dir(&models).unwrap();
    let by_section = "kind = \"packing ring\"\ncount = 4\n\
        section = { bore = \"box_bore\", shaft = \"sleeve_diameter\" }";
    fs::write(models.join("ringed.toml"), with_consumable(by_section)).unwrap();
    let read = job(&Sources { models: Some(models), ..shop.sources() });
    (shop, read)
}

fn ringed_problems(stock: &str, pumps: &str) -> Vec<String> {
    let (shop, read) = ringed(stock, pumps);
    shown(&read.expect_err("these have problems"), shop.folder.path())
}

#[test]
fn ring_spaces_are_read_with_their_units() {
    let (_shop, read) = ringed(RINGS, RING_PUMPS);
    let job = read.unwrap_or_else(|p| panic!("{:#?}", p.sorted()));
    assert!(job.warnings.is_empty() && job.unused.is_empty());
    let need = job.models[0].consumables.len() - 1;
    for pump in &job.pumps {
        let space = pump.consumable_fits[need].space.unwrap();
        assert!(space.takes(job.stock[2].section.unwrap()));
    }
}

#[test]
fn bad_ring_spaces_are_all_named() {
    let pumps = RING_PUMPS.replace("3 in,50.8", "2 in,50.8").replace("3 in,2 in", "3,")
        + "C,ringed,F1,F1,0.031,0.050,1 in,-2\nD,ringed,F1,F1,0.031,0.050,wide,1 in\n";
    each(
        &ringed_problems(RINGS, &pumps),
        &[
            ("cell G2", "`Box bore` no larger than `Sleeve diameter (mm)`"),
            ("cell G3", "no unit"),
            ("cell H4", "a length above 0"),
            ("cell G5", "`wide`: not a length"),
        ],
    );
    let missing = RING_PUMPS.replace("Box bore", "Bore");
    only(
        &ringed_problems(RINGS, &missing),
        &["no column `Box bore`", "cell G1", "rename `Bore` to `Box bore`"],
    );
    let misspelt = RING_PUMPS.replace("Sleeve diameter", "Sleeve diametre");
    let found = ringed_problems(RINGS, &misspelt);
    assert!(
        found
            .iter()
            .any(|p| p.contains("cell H1") && p.contains("rename it to `Sleeve diameter (mm)`")),
        "{found:#?}"
    );
}

#[test]
fn the_section_of_a_ring_in_the_stock_counts_only_where_it_is_asked_for() {
    let bad = RINGS.replace("R1,packing ring,,1/2,,", "R1,packing ring,,thick,,");
    only(&ringed_problems(&bad, RING_PUMPS), &["cell D4", "`thick`: not a length"]);
    let empty = RINGS.replace("R1,packing ring,,1/2,,", "R1,packing ring,,,,");
    let (_shop, read) = ringed(&empty, RING_PUMPS);
    let warnings: Vec<String> = read.unwrap().warnings.iter().map(|w| w.to_string()).collect();
    only(
        &warnings,
        &["cell D4", "a packing ring without its thickness", "into no bag by its section"],
    );
    // No pump asks by section here.
    let pumps = PUMPS.replace("S20", "S10");
    let shop = Shop::new(&bad, &pumps);
    let job = job(&shop.sources()).unwrap();
    assert!(job.warnings.is_empty() && job.stock[2].section.is_none());
}

/// A thousand million pieces at a million each: 10^15, of which whole millionths no longer fit into 64 bits (9.2 x 10^12,
/// by hand: 2^63 / 10^6). The count or the price is a typing error; wherever it stands it is said.
#[test]
fn prices_whose_sums_would_overflow_are_refused() {
    let head = "Item,Kind,Fit,Thickness (in),Tolerance (in),On hand,Unit cost,Pack qty,Min level\n";
    let row = |rest: &str| format!("{head}A,shim,F1,0.020,0.0002,{rest}\n");
    for wrong in ["1000000000,1000000,1,0", "1,1000000,1000000000,0", "1,1000000,1,1000000000"] {
        let gasket = "G,gasket,F1,0.105,0.0005,3,3.00,1,0\n";
        only(
            &problems_of(&format!("{}{gasket}", row(wrong)), PUMPS),
            &["come to more than 4600000000000 in all, most of it for `A`", "correct Unit cost"],
        );
    }
    // Each of them alone is possible.
    for right in ["1000000000,1.00,1,0", "1,1000000,1,0", "1,1.00,1000000000,1000000000"] {
        let shop =
            Shop::new(&format!("{}G,gasket,F1,0.105,0.0005,3,3.00,1,0\n", row(right)), PUMPS);
        job(&shop.sources()).unwrap_or_else(|problems| panic!("{:#?}", problems.sorted()));
    }
}

/// macOS puts a file `._name` beside each on the disks of other systems; no sheet, no model, and no reason to stop.
#[test]
fn shadows_of_files_in_a_folder_are_left_alone() {
    let shop = Shop::new(STOCK, PUMPS);
    let (folder, models) = (shop.path("stock"), shop.path("models"));
    fs::create_dir(&folder).unwrap();
    fs::create_dir(&models).unwrap();
    fs::rename(shop.path("stock.csv"), folder.join("Stock.csv")).unwrap();
    let shadow = b"\x00\x05\x16\x07\x00\x02\x00\x00Mac OS X        ";
    fs::write(folder.join("._Stock.csv"), shadow).unwrap();
    fs::write(folder.join("._Notes.CSV"), shadow).unwrap();
    fs::write(models.join("._own.toml"), shadow).unwrap();
    let sources = Sources { stock: folder, models: Some(models), ..shop.sources() };
    let job = job(&sources).unwrap_or_else(|problems| panic!("{:#?}", problems.sorted()));
    assert_eq!(job.unused, [""; 0]);
}
