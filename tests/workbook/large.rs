//! An outage too large for the pages of a single sheet, written and read back as people run it.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;
use std::io::{Read, Write as _};

use gapwright::formats::slip;
use gapwright::sheet::numbered;
use serde_json::Value;

use super::*;
use crate::shop::{Put, Shop, cells, change};

/// Number of pumps, and number of pumps that share a drawer.
const PUMPS: usize = 1_100;
const SHARE: usize = 50;

/// A single shim, alone or with another, brings every pump to its target; the drawers hold far more than is needed.
fn shop() -> Shop {
    let shop = Shop::new();
    let mut pumps = String::from(
        "Tag,Model,Priority,Bearing shims fit,Cover gasket fit,Bare clearance (in),Snap ring (in)\n",
    );
    for n in 0..PUMPS {
        let (fit, bare) = (n / SHARE, ["0.031", "0.041", "0.051"][n % 3]);
        let tag = tag(n);
        writeln!(pumps, "{tag},screwed-impeller,1,F{fit},F{fit},{bare},0.050").unwrap();
    }
    let mut stock = String::from("Item,Kind,Fit,Thickness (in),Tolerance (in),On hand,Unit cost\n");
    for fit in 0..PUMPS.div_ceil(SHARE) {
        for size in ["010", "020", "030"] {
            writeln!(stock, "S{size}-{fit},shim,F{fit},0.{size},0.0002,200,2.00").unwrap();
        }
        for size in ["090", "105", "120"] {
            writeln!(stock, "G{size}-{fit},gasket,F{fit},0.{size},0.0005,200,3.00").unwrap();
        }
    }
    shop.write("pumps.csv", &pumps);
    shop.write("stock.csv", &stock);
    shop
}

fn tag(n: usize) -> String {
    format!("P-{:04}", n + 1)
}

/// Sheets of a plan whose names begin so, in their order.
fn series(path: &Path, name: &str) -> Vec<String> {
    let book: Xlsx<_> = open_workbook(path).unwrap();
    let mut names = book.sheet_names();
    names.retain(|found| found.starts_with(name));
    names
}

/// Renames a sheet, as people do.
fn rename(path: &Path, from: &str, to: &str) {
    let mut zip = zip::ZipArchive::new(fs::File::open(path).unwrap()).unwrap();
    let mut new = zip::ZipWriter::new(std::io::Cursor::new(Vec::new()));
    for at in 0..zip.len() {
        let mut part = zip.by_index(at).unwrap();
        let name = part.name().unwrap().to_string();
        let mut bytes = Vec::new();
        part.read_to_end(&mut bytes).unwrap();
        if name == "xl/workbook.xml" {
            let text = String::from_utf8(bytes).unwrap();
            let (from, to) = (format!("name=\"{from}\""), format!("name=\"{to}\""));
            assert_eq!(text.matches(&from).count(), 1);
            bytes = text.replace(&from, &to).into_bytes();
        }
        new.start_file(name, zip::write::SimpleFileOptions::default()).unwrap();
        new.write_all(&bytes).unwrap();
    }
    let bytes = new.finish().unwrap().into_inner();
    fs::write(path, bytes).unwrap();
}

#[test]
fn an_outage_of_1_100_pumps_is_written_whole_and_read_back_from_its_numbered_sheets() {
    let shop = shop();
    let limit = ["--time-limit", "60", "--date", "2027-03-01"];
    let plan = ["kit", "stock.csv", "pumps.csv", "--json", "plan.json"];
    shop.run(&[&plan[..], &limit].concat()).well();
    let path = shop.at("kit-plan.xlsx");
    let json: Value = serde_json::from_slice(&shop.read("plan.json").unwrap()).unwrap();
    assert_eq!(json["pumps"].as_array().unwrap().len(), PUMPS);

    for name in ["Kits", "Stack-up"] {
        let sheets = series(&path, name);
        let numbers = 1..=sheets.len();
        let expected: Vec<String> = numbers.map(|number| numbered(name, number)).collect();
        assert!(sheets.len() > 2 && sheets == expected, "{sheets:?}");
    }
    assert_eq!(series(&path, "Labels"), ["Labels"]);
    no_sheet_is_higher_than_pictures_can_lie(&path);
    every_pump_has_its_slip_in_order(&path);
    every_image_is_whole(&path);
    every_name_leads_to_the_verdict_of_its_pump(&path);

    // A reading of the last pump, on the last numbered sheet.
    let last = tag(PUMPS - 1);
    let kits = series(&path, "Kits");
    let last_sheet = kits.last().unwrap();
    let row = slip_row(&path, last_sheet, &last);
    change(&path, last_sheet, &[(format!("G{row}"), Put::from("0.0212"))]);
    let recheck = [
        "recheck",
        "kit-plan.xlsx",
        "stock.csv",
        "pumps.csv",
        "--json",
        "as-built.json",
        "--date",
        "2027-03-03",
    ];
    shop.run(&recheck).well();
    let record: Value = serde_json::from_slice(&shop.read("as-built.json").unwrap()).unwrap();
    for (n, pump) in record["pumps"].as_array().unwrap().iter().enumerate() {
        assert_eq!(pump["tag"], tag(n));
        let read = pump["decision"] == "accept";
        assert_eq!(read, n == PUMPS - 1, "{pump}");
    }

    // The total issue of all pumps is the stock before less the sheet Stock after.
    let before = u32::try_from(PUMPS.div_ceil(SHARE) * 6).unwrap() * 200;
    let after = crate::shop::cells(&path, "Stock after");
    let on_hand = after.iter().find(|(_, cell)| *cell == "On hand").unwrap().0;
    let left = after.iter().filter(|((row, column), _)| *row > on_hand.0 && *column == on_hand.1);
    let after: u32 = left.map(|(_, count)| count.parse::<u32>().unwrap()).sum();
    let picked = json["stock"].as_array().unwrap().iter();
    let picked: u64 = picked.map(|item| item["issued"].as_u64().unwrap()).sum();
    // At least a shim and a gasket for every pump.
    assert!(picked >= 2 * PUMPS as u64);
    assert_eq!(u64::from(before - after), picked);

    // A lost sheet is noticed: its pumps would not be rechecked.
    let again = [&recheck[..], &["--force"]].concat();
    let first = first_slip(&path, last_sheet);
    let beyond = numbered("Kits", kits.len() + 1);
    rename(&path, last_sheet, &beyond);
    let run = shop.run(&again);
    assert_eq!(run.status, 2, "{}", run.told);
    let missing = format!("problem kit-plan.xlsx! no sheet {last_sheet}");
    assert_eq!(run.problems(), [missing]);
    rename(&path, &beyond, "Put aside");
    let run = shop.run(&again);
    assert_eq!(run.status, 2, "{}", run.told);
    let [problem] = &run.problems()[..] else {
        panic!("{:?}", run.problems());
    };
    let missed = format!("no slip for {first}, ");
    assert!(problem.contains(&missed), "{problem}");
}

/// A spreadsheet program with 32 bits for positions drops pictures further down than 2^31 EMU (12,700 per point).
fn no_sheet_is_higher_than_pictures_can_lie(path: &Path) {
    let most = f64::from(i32::MAX) / 12_700.0;
    let book: Xlsx<_> = open_workbook(path).unwrap();
    let mut zip = zip::ZipArchive::new(fs::File::open(path).unwrap()).unwrap();
    let mut highest: f64 = 0.0;
    for (number, name) in (1..).zip(book.sheet_names()) {
        if !["Kits", "Labels", "Stack-up", "Verdicts", "Issue"]
            .iter()
            .any(|series| name.starts_with(series))
        {
            continue;
        }
        let mut text = String::new();
        let part = format!("xl/worksheets/sheet{number}.xml");
        let mut part = zip.by_name(&part).unwrap();
        part.read_to_string(&mut text).unwrap();
        let value = |tag: &str, key: &str| -> Option<f64> {
            let (_, rest) = tag.split('>').next()?.split_once(key)?;
            rest.split('"').next()?.parse().ok()
        };
        let usual = value(text.split("<sheetFormatPr").nth(1).unwrap(), "defaultRowHeight=\"");
        let rows = text.split("<row ").skip(1);
        let first = rows.clone();
        // Each row once, in its order, or the file is refused.
        let numbers: Vec<f64> = rows.clone().map(|row| value(row, "r=\"").unwrap()).collect();
        assert!(numbers.is_sorted_by(|one, next| one < next), "{name}");
        let last = rows.last().and_then(|row| value(row, "r=\"")).unwrap();
        let more = first.filter_map(|row| Some(value(row, " ht=\"")? - usual.unwrap()));
        let height = last * usual.unwrap() + more.sum::<f64>();
        assert!(height < most, "{name}: {height} points");
        highest = highest.max(height);
    }
    // The sheets are split by this limit: they are well filled.
    assert!(highest > most / 2.0, "{highest} points");
}

/// The tag of the first slip on a sheet.
fn first_slip(path: &Path, sheet: &str) -> String {
    let cells = cells(path, sheet);
    let mut heads = cells.iter().filter(|((_, column), _)| *column == 0);
    let head = heads.find(|(_, text)| text.starts_with("Kit ")).unwrap().1;
    head.rsplit(' ').next().unwrap().to_string()
}

/// Row, from 1, for the running clearance of a pump.
fn slip_row(path: &Path, sheet: &str, tag: &str) -> u32 {
    let cells = cells(path, sheet);
    let key = |row: u32, at: usize| cells.get(&(row, slip::KEYS[at].into()));
    let mut rows = cells.keys().map(|(row, _)| *row);
    let row = rows.find(|&row| {
        let words = [0, 1, 2].map(|at| key(row, at).map(String::as_str));
        words == [Some("requirement"), Some(tag), Some("running_clearance")]
    });
    row.unwrap() + 1
}

fn every_pump_has_its_slip_in_order(path: &Path) {
    let heads = series(path, "Kits").into_iter().flat_map(|name| {
        let cells = cells(path, &name);
        cells.into_iter().filter_map(|((_, column), text)| {
            (column == 0 && text.starts_with("Kit ")).then_some(text)
        })
    });
    let expected = (0..PUMPS).map(|n| format!("Kit {} of {PUMPS}: pump {}", n + 1, tag(n)));
    assert!(heads.eq(expected));
}

/// A code for each label; next to them the drawing as its model has it, for the slips and for the sheet Models.
fn every_image_is_whole(path: &Path) {
    let whole = fs::read("models/screwed-impeller.png").unwrap();
    let mut zip = zip::ZipArchive::new(fs::File::open(path).unwrap()).unwrap();
    let (mut codes, mut drawings) = (0, 0);
    for at in 0..zip.len() {
        let mut part = zip.by_index(at).unwrap();
        if !part.name().unwrap().starts_with("xl/media/") {
            continue;
        }
        let mut bytes = Vec::new();
        part.read_to_end(&mut bytes).unwrap();
        if bytes == whole {
            drawings += 1;
            continue;
        }
        let mut reader = png::Decoder::new(std::io::Cursor::new(&bytes)).read_info().unwrap();
        let mut pixels = vec![0; reader.output_buffer_size().unwrap()];
        reader.next_frame(&mut pixels).unwrap();
        codes += 1;
    }
    assert_eq!([codes, drawings], [PUMPS, 2]);
}

/// Every named verdict exists, in the block of its pump and requirement, and none shares its cell.
fn every_name_leads_to_the_verdict_of_its_pump(path: &Path) {
    let sheets: BTreeMap<String, _> = series(path, "Stack-up")
        .into_iter()
        .map(|name| (name.clone(), cells(path, &name)))
        .collect();
    let book: Xlsx<_> = open_workbook(path).unwrap();
    let mut seen = BTreeSet::new();
    for (name, place) in book.defined_names() {
        let Some(of) = name.strip_prefix("verdict_P_") else {
            continue;
        };
        let (sheet, cell) = place.rsplit_once('!').unwrap();
        let cells = &sheets[sheet.trim_matches('\'')];
        let row: u32 = cell.rsplit('$').next().unwrap().parse::<u32>().unwrap() - 1;
        assert_eq!(cells[&(row, 1)], "met", "{name}");
        let (number, requirement) = of.split_once('_').unwrap();
        let title = format!("P-{number}: ");
        let head = cells.range(..(row, 0)).rev();
        let mut head = head.filter(|((_, column), text)| *column == 0 && text.starts_with("P-"));
        let ((_, _), head) = head.next().unwrap();
        assert!(head.starts_with(&title), "{name}: {head}");
        let is_gasket = head.contains("gasket");
        assert_eq!(is_gasket, requirement.contains("gasket"), "{name}: {head}");
        assert!(seen.insert(place.clone()), "{place} twice");
    }
    assert_eq!(seen.len(), 2 * PUMPS);
}
