//! Makes the sample workbooks again: `cargo run --example samples`.
//!
//! Everything in them is invented: tags, places, suppliers, prices and dimensions. Each pump but
//! one is given a kit by a seeded draw, its readings follow from that kit, and the stock is what
//! those kits use and a little more. So all but one can be served, but only if the pieces are
//! shared out with all of the pumps in view. Beside them lie consumables for the bags: enough of
//! each but of lantern rings, which run out, so that what lacks is seen.
//!
//! The purchase is a drawer that has run low, with sizes that were never held, a pump that cannot wait
//! for what is bought, and a log of a year's issues.

#![allow(clippy::cast_precision_loss, missing_docs)]

mod ahead;
#[path = "../tests/support/old_log.rs"]
mod old_log;

use std::error::Error;
use std::fs;
use std::path::Path;

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rust_xlsxwriter::{DocProperties, ExcelDateTime, Format, Workbook, Worksheet};

/// The seed of the draw, chosen so that picking pump by pump leaves some unserved.
const SEED: u64 = 4;

fn main() -> Result<(), Box<dyn Error>> {
    let folder = std::env::args().nth(1).unwrap_or_else(|| "samples".into());
    let folder = Path::new(&folder);
    outage(&folder.join("outage"))?;
    tiny(&folder.join("tiny"))?;
    purchase(&folder.join("purchase"))?;
    ahead::provision(&folder.join("provision"))?;
    Ok(())
}

/// One lot: thickness in tenths of a micrometre, and how the stock list writes it.
struct Lot {
    item: String,
    kind: &'static str,
    fit: &'static str,
    thickness: i64,
    shown: Shown,
    /// Tolerance as the stock list writes it; empty where the model's material table has it.
    tolerance: &'static str,
    /// The same below and above, in tenths of a micrometre.
    below: i64,
    above: i64,
    material: &'static str,
    cost: f64,
    used: u32,
}

enum Shown {
    /// A number in inches, under the column's unit.
    Inches(f64),
    /// A text with a unit of its own.
    Text(String),
}

fn thou(n: i64) -> i64 {
    n * 254
}

fn lots() -> Vec<Lot> {
    let mut lots = Vec::new();
    let mut lot =
        |kind, fit, name: String, thickness, shown, tolerance, below, above, material, cost| {
            let item = format!("{}-{fit}-{name}", if kind == "shim" { "SH" } else { "GK" });
            lots.push(Lot {
                item,
                kind,
                fit,
                thickness,
                shown,
                tolerance,
                below,
                above,
                material,
                cost,
                used: 0,
            });
        };
    for mils in [2, 3, 5, 7, 10, 12, 15, 20, 25] {
        let shown = if mils == 12 {
            Shown::Text("12 thou".into())
        } else {
            Shown::Inches(mils as f64 / 1000.0)
        };
        let cost = 1.8 + 0.05 * mils as f64;
        lot("shim", "F6", format!("{mils:03}"), thou(mils), shown, "", 76, 76, "ground shim", cost);
    }
    for mils in [2, 3, 5, 8, 10, 15, 20] {
        let cost = 2.2 + 0.06 * mils as f64;
        lot(
            "shim",
            "F8",
            format!("{mils:03}"),
            thou(mils),
            Shown::Inches(mils as f64 / 1000.0),
            "0.0003",
            76,
            76,
            "ground shim",
            cost,
        );
    }
    lot(
        "shim",
        "F8",
        "1/32".into(),
        7938,
        Shown::Text("1/32 in".into()),
        "0.0004",
        102,
        102,
        "ground shim",
        4.4,
    );
    for hundredths in [5, 10, 15, 20, 30, 40, 50, 80] {
        let (tolerance, below) = if hundredths <= 20 { ("+0 / -0.01 mm", 100) } else { ("", 200) };
        let shown = Shown::Text(format!("0.{hundredths:02} mm"));
        lot(
            "shim",
            "M40",
            format!("{hundredths:03}"),
            hundredths * 100,
            shown,
            tolerance,
            below,
            0,
            "rolled shim",
            1.1 + 0.02 * hundredths as f64,
        );
    }
    for (fit, sizes) in [
        ("F6", [("1/32", 7938), ("1/16", 15875), ("3/32", 23813)]),
        ("F8", [("1/32", 7938), ("1/16", 15875), ("3/32", 23813)]),
    ] {
        for (name, thickness) in sizes {
            let shown = Shown::Text(format!("{name} in"));
            lot(
                "gasket",
                fit,
                name.into(),
                thickness,
                shown,
                "",
                254,
                254,
                "vegetable fibre",
                3.0 + thickness as f64 / 10000.0,
            );
        }
    }
    for (name, thickness) in [("100", 10_000), ("150", 15_000)] {
        let shown = Shown::Text(format!("{}.{} mm", thickness / 10_000, thickness % 10_000 / 1000));
        lot(
            "gasket",
            "M40",
            name.into(),
            thickness,
            shown,
            "0.025 mm",
            250,
            250,
            "vegetable fibre",
            3.6 + thickness as f64 / 20000.0,
        );
    }
    lots
}

/// A pump with its readings in tenths of a micrometre.
struct Pump {
    tag: String,
    fit: &'static str,
    clearance: i64,
    second: i64,
}

/// Draws a kit for a pump and gives it the readings that ask for it.
fn draw(rng: &mut ChaCha8Rng, lots: &mut [Lot], fit: &'static str, tag: String) -> Pump {
    let of = |lots: &[Lot], kind: &str| -> Vec<usize> {
        (0..lots.len()).filter(|&i| lots[i].fit == fit && lots[i].kind == kind).collect()
    };
    let (shims, gaskets) = (of(lots, "shim"), of(lots, "gasket"));
    let metric = fit == "M40";
    loop {
        let picks: Vec<usize> =
            (0..rng.random_range(2..=3)).map(|_| shims[rng.random_range(0..shims.len())]).collect();
        let total: i64 = picks.iter().map(|&i| lots[i].thickness).sum();
        let slack: i64 = picks.iter().map(|&i| lots[i].below.max(lots[i].above)).sum();
        // Readings as a shop takes them: 0.0001 in (25.4, so in fifties and twos here) or 0.01 mm.
        let (second, clearance) = if metric {
            (rng.random_range(38..=62) * 100, total - 3800 + rng.random_range(-2..=2) * 100)
        } else {
            (
                rng.random_range(96..=104) * 127,
                total + thou(21) + rng.random_range(-2..=2) * 127 / 5 * 5,
            )
        };
        let gap = total + second;
        let fill: Vec<Vec<usize>> = gaskets
            .iter()
            .flat_map(|&a| {
                [vec![a]]
                    .into_iter()
                    .chain(gaskets.iter().filter(move |b| **b >= a).map(move |&b| vec![a, b]))
            })
            .filter(|g| {
                let free: i64 = g.iter().map(|&i| lots[i].thickness).sum();
                let off: i64 = g.iter().map(|&i| lots[i].below).sum();
                let (least, most) = if metric { (140, 160) } else { (144, 156) };
                let reading = if metric { 50 } else { 51 };
                100 * (free - off) >= least * (gap + slack + reading)
                    && 100 * (free + off) <= most * (gap - slack - reading)
            })
            .collect();
        let (most_slack, least_clearance) = if metric { (600, 4000) } else { (260, 1) };
        if fill.is_empty() || slack > most_slack || clearance < least_clearance {
            continue;
        }
        for &index in picks.iter().chain(&fill[rng.random_range(0..fill.len())]) {
            lots[index].used += 1;
        }
        return Pump { tag, fit, clearance, second };
    }
}

fn inches(tenths: i64) -> f64 {
    // To the ten-thousandth that a micrometer shows.
    (tenths as f64 / 25.4).round() / 10_000.0
}

fn millimetres(tenths: i64) -> f64 {
    (tenths as f64 / 100.0).round() / 100.0
}

fn outage(folder: &Path) -> Result<(), Box<dyn Error>> {
    let mut rng = ChaCha8Rng::seed_from_u64(SEED);
    let mut lots = lots();
    let mut pumps = Vec::new();
    for (fit, count, from) in [("F6", 12, 101), ("F8", 8, 201), ("M40", 7, 401)] {
        for n in 0..count {
            pumps.push(draw(&mut rng, &mut lots, fit, format!("P-{}", from + n)));
        }
    }
    // Worn so far that even the thickest pack leaves it too wide.
    pumps.push(Pump { tag: "P-299".into(), fit: "F8", clearance: thou(164), second: 100 * 127 });
    fs::create_dir_all(folder)?;
    let mut stock = workbook("Invented stock for the sample outage")?;
    stock_sheet(stock.add_worksheet(), &mut rng, &lots)?;
    feeler_sheet(stock.add_worksheet())?;
    stock.save(folder.join("stock.xlsx"))?;
    let mut outage = workbook("Invented pumps for the sample outage")?;
    pump_sheet(outage.add_worksheet(), &mut rng, &pumps)?;
    policy_sheet(outage.add_worksheet())?;
    outage.save(folder.join("pumps.xlsx"))?;
    Ok(())
}

fn workbook(title: &str) -> Result<Workbook, Box<dyn Error>> {
    let mut workbook = Workbook::new();
    let stamp = ExcelDateTime::from_ymd(2026, 11, 2)?;
    workbook.set_properties(&DocProperties::new().set_title(title).set_creation_datetime(&stamp));
    Ok(workbook)
}

fn head(sheet: &mut Worksheet, title: &str, heads: &[&str]) -> Result<(), Box<dyn Error>> {
    let bold = Format::new().set_bold();
    sheet.write_string_with_format(0, 0, title, &bold)?;
    sheet.write_string(
        1,
        0,
        "Invented figures for a demonstration: no real pump, part or price.",
    )?;
    for (column, head) in (0..).zip(heads) {
        sheet.write_string_with_format(3, column, *head, &bold)?;
        sheet.set_column_width(column, 16)?;
    }
    sheet.set_freeze_panes(4, 1)?;
    Ok(())
}

fn stock_sheet(
    sheet: &mut Worksheet,
    rng: &mut ChaCha8Rng,
    lots: &[Lot],
) -> Result<(), Box<dyn Error>> {
    sheet.set_name("Stock")?;
    let heads = [
        "Item",
        "Kind",
        "Fit",
        "Thickness (in)",
        "Tolerance (in)",
        "On hand",
        "Reserved",
        "Unit cost",
        "Pack qty",
        "Min level",
        "Lead days",
        "Supplier",
        "Bin",
        "Material",
        "Counted by",
    ];
    head(sheet, "Shim and gasket drawer", &heads)?;
    let suppliers = ["Harrow & Pell", "Quillfeather Supply"];
    for (row, (index, lot)) in (4..).zip(lots.iter().enumerate()) {
        // What the drawn kits use, one more of every fourth lot, and a reserved piece here and there.
        let spare = u32::from(index % 4 == 1);
        let reserved = u32::from(index % 9 == 5);
        sheet.write_string(row, 0, &lot.item)?;
        sheet.write_string(row, 1, lot.kind)?;
        sheet.write_string(row, 2, lot.fit)?;
        match &lot.shown {
            Shown::Inches(number) => sheet.write_number(row, 3, *number)?,
            Shown::Text(text) => sheet.write_string(row, 3, text)?,
        };
        match lot.tolerance.parse::<f64>() {
            Ok(number) => sheet.write_number(row, 4, number)?,
            Err(_) => sheet.write_string(row, 4, lot.tolerance)?,
        };
        sheet.write_number(row, 5, lot.used + spare + reserved)?;
        sheet.write_number(row, 6, reserved)?;
        sheet.write_number(row, 7, (lot.cost * 100.0).round() / 100.0)?;
        sheet.write_number(row, 8, if lot.kind == "shim" { 10 } else { 5 })?;
        sheet.write_number(row, 9, rng.random_range(1..=3))?;
        sheet.write_number(row, 10, rng.random_range(2..=5) * 7)?;
        sheet.write_string(row, 11, suppliers[index % 2])?;
        let cabinet = if lot.kind == "gasket" { "G" } else { "S" };
        sheet.write_string(row, 12, format!("{cabinet}{}", index + 1))?;
        sheet.write_string(row, 13, lot.material)?;
        sheet.write_string(row, 14, "R. Ostrander")?;
    }
    let below = 4 + u32::try_from(lots.len())?;
    for (row, consumable) in (below..).zip(CONSUMABLES) {
        sheet.write_string(row, 0, consumable.item)?;
        sheet.write_string(row, 1, consumable.kind)?;
        sheet.write_string(row, 2, consumable.fit)?;
        if !consumable.thickness.is_empty() {
            sheet.write_string(row, 3, consumable.thickness)?;
        }
        sheet.write_number(row, 5, consumable.on_hand)?;
        sheet.write_number(row, 6, consumable.reserved)?;
        sheet.write_number(row, 7, consumable.cost)?;
        sheet.write_number(row, 9, consumable.min_level)?;
        sheet.write_number(row, 10, 14)?;
        sheet.write_string(row, 11, suppliers[1])?;
        sheet.write_string(row, 12, format!("C{}", row - below + 1))?;
        sheet.write_string(row, 14, "R. Ostrander")?;
    }
    Ok(())
}

/// A row of the stock that is not stacked.
struct Consumable {
    item: &'static str,
    kind: &'static str,
    fit: &'static str,
    thickness: &'static str,
    on_hand: u32,
    reserved: u32,
    cost: f64,
    min_level: u32,
}

/// Two lots of packing rings that only together are enough; three lantern rings too few.
const CONSUMABLES: [Consumable; 7] = [
    Consumable {
        item: "PR-3/8-old",
        kind: "packing ring",
        fit: "3/8 sq",
        thickness: "3/8 in",
        on_hand: 63,
        reserved: 0,
        cost: 1.15,
        min_level: 0,
    },
    Consumable {
        item: "PR-3/8-new",
        kind: "packing ring",
        fit: "3/8 sq",
        thickness: "3/8 in",
        on_hand: 60,
        reserved: 10,
        cost: 1.35,
        min_level: 25,
    },
    Consumable {
        item: "LR-3/8",
        kind: "lantern ring",
        fit: "3/8 sq",
        thickness: "",
        on_hand: 19,
        reserved: 2,
        cost: 14.6,
        min_level: 4,
    },
    Consumable {
        item: "SR-F6",
        kind: "snap ring",
        fit: "F6",
        thickness: "",
        on_hand: 16,
        reserved: 0,
        cost: 2.05,
        min_level: 4,
    },
    Consumable {
        item: "SR-F8",
        kind: "snap ring",
        fit: "F8",
        thickness: "",
        on_hand: 11,
        reserved: 0,
        cost: 2.45,
        min_level: 4,
    },
    Consumable {
        item: "MS-M40",
        kind: "mechanical seal",
        fit: "M40",
        thickness: "",
        on_hand: 9,
        reserved: 0,
        cost: 186.0,
        min_level: 1,
    },
    Consumable {
        item: "CS-M40",
        kind: "cap screw",
        fit: "M40",
        thickness: "",
        on_hand: 44,
        reserved: 0,
        cost: 0.35,
        min_level: 8,
    },
];

fn pump_sheet(
    sheet: &mut Worksheet,
    rng: &mut ChaCha8Rng,
    pumps: &[Pump],
) -> Result<(), Box<dyn Error>> {
    sheet.set_name("Pumps")?;
    let heads = [
        "Tag",
        "Model",
        "Priority",
        "Due",
        "Location",
        "Note",
        "Work order",
        "Bearing shims fit",
        "Cover gasket fit",
        "Bare clearance 1 (in)",
        "Bare clearance 2 (in)",
        "Bare clearance 3 (in)",
        "Snap ring (in)",
        "Packing fit",
        "Flange shims fit",
        "Flange gasket fit",
        "Contact gap (mm)",
        "Spigot step (mm)",
    ];
    head(sheet, "Spring outage: pumps to rebuild", &heads)?;
    let dated = Format::new().set_num_format("yyyy-mm-dd");
    let places = ["North transfer house", "Boiler feed gallery", "River intake", "Tank farm east"];
    for (row, (index, pump)) in (4..).zip(pumps.iter().enumerate()) {
        let metric = pump.fit == "M40";
        sheet.write_string(row, 0, &pump.tag)?;
        sheet.write_string(row, 1, if metric { "front-set-metric" } else { "screwed-impeller" })?;
        let priority = rng.random_range(1..=3);
        if priority != 3 || index % 2 == 0 {
            sheet.write_number(row, 2, priority)?;
        }
        let due = ExcelDateTime::from_ymd(2027, 3, u8::try_from(rng.random_range(8..=26))?)?;
        sheet.write_datetime_with_format(row, 3, &due, &dated)?;
        sheet.write_string(row, 4, places[index % places.len()])?;
        if index % 7 == 3 {
            sheet.write_string(row, 5, "hot service")?;
        }
        sheet.write_string(row, 6, format!("WO-{}", 88_100 + 7 * index))?;
        if metric {
            sheet.write_string(row, 14, pump.fit)?;
            sheet.write_string(row, 15, pump.fit)?;
            sheet.write_number(row, 16, millimetres(pump.clearance))?;
            sheet.write_number(row, 17, millimetres(pump.second))?;
        } else {
            sheet.write_string(row, 7, pump.fit)?;
            sheet.write_string(row, 8, pump.fit)?;
            let middle = inches(pump.clearance);
            let apart = f64::from(rng.random_range(0..=2)) / 10_000.0;
            for (column, reading) in [(9, middle - apart), (10, middle), (11, middle + apart)] {
                sheet.write_number(row, column, (reading * 10_000.0).round() / 10_000.0)?;
            }
            sheet.write_number(row, 12, inches(pump.second))?;
            sheet.write_string(row, 13, "3/8 sq")?;
        }
    }
    Ok(())
}

/// An invented set of blades, in inches.
fn feeler_sheet(sheet: &mut Worksheet) -> Result<(), Box<dyn Error>> {
    sheet.set_name("Feelers")?;
    let heads = ["Thickness (in)", "Tolerance (in)", "Set"];
    head(sheet, "Feeler set", &heads)?;
    // Ten-thousandths of an inch.
    let fine = [15, 20, 25, 30, 40, 50, 60, 70, 80, 90, 100, 110, 120, 130, 140, 150];
    let coarse = [160, 180, 190, 200, 210, 220, 230, 250, 280, 300, 320, 350];
    for (row, tenths) in (4..).zip(fine.into_iter().chain(coarse)) {
        sheet.write_number(row, 0, f64::from(tenths) / 10_000.0)?;
        let within = if tenths <= 100 { 0.0002 } else { 0.0003 };
        sheet.write_number(row, 1, within)?;
        sheet.write_string(row, 2, "Bench set A")?;
    }
    Ok(())
}

fn policy_sheet(sheet: &mut Worksheet) -> Result<(), Box<dyn Error>> {
    sheet.set_name("Policy")?;
    head(sheet, "Policy of this outage", &["Setting", "Value"])?;
    let settings = [
        ("Acceptance", "worst case"),
        ("Handling per piece", "0.75"),
        ("Off-target rate per thou", "0.20"),
        ("Currency", "USD"),
    ];
    for (row, (setting, value)) in (4..).zip(settings) {
        sheet.write_string(row, 0, setting)?;
        sheet.write_string(row, 1, value)?;
    }
    Ok(())
}

/// Three pumps that can be checked by hand: see the README beside them.
fn tiny(folder: &Path) -> Result<(), Box<dyn Error>> {
    fs::create_dir_all(folder)?;
    let stock = "\
Item,Kind,Fit,Thickness (in),Tolerance (in),On hand,Unit cost,Bin
S10,shim,F1,0.010,0.0002,2,2.00,A1
S20,shim,F1,0.020,0.0002,1,2.00,A2
S30,shim,F1,0.030,0.0002,1,6.00,A10
G90,gasket,F1,0.090,0.0005,1,3.00,B1
G105,gasket,F1,0.105,0.0005,1,3.00,B2
G120,gasket,F1,0.120,0.0005,1,3.00,B3
";
    let pumps = "\
Tag,Model,Priority,Bearing shims fit,Cover gasket fit,Bare clearance (in),Snap ring (in)
B,screwed-impeller,1,F1,F1,0.051,0.050
A,screwed-impeller,1,F1,F1,0.041,0.050
C,screwed-impeller,1,F1,F1,0.031,0.050
";
    fs::write(folder.join("stock.csv"), stock)?;
    fs::write(folder.join("pumps.csv"), pumps)?;
    Ok(())
}

/// A drawer that has run low: item, thou, on hand, price, pack, min, max, lead, supplier.
type Lean = (&'static str, &'static str, u32, u32, &'static str, u32, u32, u32, u32, &'static str);

const LEAN: [Lean; 11] = [
    ("K4-002", "shim", 2, 9, "1.10", 10, 4, 20, 10, "Harrow & Pell"),
    ("K4-003", "shim", 3, 0, "1.10", 10, 0, 0, 10, "Harrow & Pell"),
    ("K4-005", "shim", 5, 3, "1.20", 10, 4, 20, 10, "Harrow & Pell"),
    ("K4-010", "shim", 10, 2, "1.60", 5, 3, 15, 10, "Harrow & Pell"),
    ("K4-020", "shim", 20, 2, "1.90", 5, 2, 10, 21, "Quillfeather Supply"),
    ("K4-025", "shim", 25, 0, "2.10", 5, 0, 0, 21, "Quillfeather Supply"),
    ("K4-040", "shim", 40, 1, "2.60", 5, 0, 0, 21, "Quillfeather Supply"),
    ("K4-G094", "gasket", 94, 4, "3.40", 5, 2, 10, 10, "Harrow & Pell"),
    ("K4-G105", "gasket", 105, 2, "3.60", 5, 2, 10, 10, "Harrow & Pell"),
    ("K4-G115", "gasket", 115, 0, "3.80", 5, 0, 0, 10, "Harrow & Pell"),
    ("K4-G125", "gasket", 125, 3, "4.10", 5, 2, 10, 10, "Harrow & Pell"),
];

/// Pumps: tag, priority, due, bare clearance in thou.
const WAITING: [(&str, u32, &str, u32); 10] = [
    ("P-401", 1, "2027-04-05", 33),
    ("P-402", 1, "2027-04-05", 41),
    ("P-403", 2, "2027-04-05", 46),
    ("P-404", 2, "2027-04-12", 51),
    ("P-405", 2, "2027-04-12", 54),
    ("P-406", 2, "2027-04-12", 56),
    ("P-407", 3, "2027-03-08", 49),
    ("P-408", 3, "2027-04-19", 38),
    ("P-409", 3, "2027-04-19", 52),
    ("P-410", 3, "", 44),
];

/// What was issued in the year before, by day, item and count; a third of the last was short.
const ISSUED: [(&str, &str, u32); 14] = [
    ("2026-03-02", "K4-010", 4),
    ("2026-03-02", "K4-005", 3),
    ("2026-04-20", "K4-020", 2),
    ("2026-05-11", "K4-010", 3),
    ("2026-05-11", "K4-002", 5),
    ("2026-07-06", "K4-005", 4),
    ("2026-07-06", "K4-G105", 3),
    ("2026-08-17", "K4-010", 5),
    ("2026-09-21", "K4-020", 3),
    ("2026-10-12", "K4-002", 4),
    ("2026-11-02", "K4-G105", 2),
    ("2026-11-30", "K4-010", 4),
    ("2027-01-18", "K4-005", 2),
    ("2027-02-08", "K4-G105", 4),
];

fn purchase(folder: &Path) -> Result<(), Box<dyn Error>> {
    use gapwright::issue::log::{How, Log, Movement, OnHand};
    fs::create_dir_all(folder)?;
    let mut stock = String::from(
        "Item,Kind,Fit,Thickness (in),Tolerance (in),On hand,Unit cost,Pack qty,Min level,Max level,Lead days,Supplier,Bin\n",
    );
    for (at, (item, kind, thick, on_hand, cost, pack, min, max, lead, supplier)) in (1..).zip(LEAN)
    {
        let (tolerance, bin) = match kind {
            "shim" => ("0.0002", format!("K{at}")),
            _ => ("0.001", format!("L{at}")),
        };
        let max = if max > 0 { max.to_string() } else { String::new() };
        stock += &format!(
            "{item},{kind},K4,0.{thick:03},{tolerance},{on_hand},{cost},{pack},{min},{max},{lead},{supplier},{bin}\n"
        );
    }
    fs::write(folder.join("stock.csv"), stock)?;
    let mut pumps = String::from(
        "Tag,Model,Priority,Due,Bearing shims fit,Cover gasket fit,Bare clearance (in),Snap ring (in)\n",
    );
    for (tag, priority, due, bare) in WAITING {
        pumps += &format!("{tag},screwed-impeller,{priority},{due},K4,K4,0.{bare:03},0.050\n");
    }
    fs::write(folder.join("pumps.csv"), pumps)?;
    // Counted back from what is on hand now, with one delivery that was never short but once.
    let mut log = Log::new();
    let on_hand = |item: &str| LEAN.iter().find(|lean| lean.0 == item).map_or(0, |lean| lean.3);
    let mut left: std::collections::BTreeMap<&str, u32> = LEAN
        .iter()
        .map(|(item, ..)| {
            let out = ISSUED.iter().filter(|(_, of, _)| of == item);
            (*item, on_hand(item) + out.map(|(_, _, count)| count).sum::<u32>())
        })
        .collect();
    for (at, (date, item, count)) in (1..).zip(ISSUED) {
        let before = left.get(item).copied().unwrap_or(0);
        left.insert(item, before - count);
        let movement = Movement {
            plan: format!("invented {at}"),
            tag: format!("P-3{at:02}"),
            place: "Shims over the bearing".into(),
            item: item.into(),
            asked: count,
            out: i64::from(count),
            how: How::AsPlanned,
            on_hand: Some(OnHand { before, after: before - count }),
            unit_cost: None,
            note: "invented".into(),
        };
        log.append(date, vec![movement]);
    }
    fs::write(folder.join("issue-log.xlsx"), old_log::workbook(&log)?)?;
    Ok(())
}
