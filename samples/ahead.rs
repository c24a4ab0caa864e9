//! The sample of an outage that is not measured yet: ranges for some pumps, past readings for the
//! others, one that is measured already, and a drawer that cannot meet the last values of one range.

use std::error::Error;
use std::fs;
use std::path::Path;

use super::{head, workbook};

/// Item, kind, fit, thickness, on hand, unit cost, bin, material.
type Lot =
    (&'static str, &'static str, &'static str, &'static str, u32, f64, &'static str, &'static str);

const STOCK: [Lot; 22] = [
    ("SH-F6-002", "shim", "F6", "0.002", 8, 1.90, "S1", "ground shim"),
    ("SH-F6-003", "shim", "F6", "0.003", 8, 1.95, "S2", "ground shim"),
    ("SH-F6-005", "shim", "F6", "0.005", 8, 2.05, "S3", "ground shim"),
    ("SH-F6-010", "shim", "F6", "0.010", 8, 2.30, "S4", "ground shim"),
    ("SH-F6-015", "shim", "F6", "0.015", 6, 2.55, "S5", "ground shim"),
    ("SH-F6-020", "shim", "F6", "0.020", 6, 2.80, "S6", "ground shim"),
    ("SH-F6-025", "shim", "F6", "0.025", 6, 3.05, "S7", "ground shim"),
    ("SH-F8-002", "shim", "F8", "0.002", 8, 2.30, "S8", "ground shim"),
    ("SH-F8-003", "shim", "F8", "0.003", 8, 2.35, "S9", "ground shim"),
    ("SH-F8-005", "shim", "F8", "0.005", 8, 2.50, "S10", "ground shim"),
    ("SH-F8-010", "shim", "F8", "0.010", 8, 2.80, "S11", "ground shim"),
    ("SH-F8-020", "shim", "F8", "0.020", 6, 3.40, "S12", "ground shim"),
    ("GK-F6-1/32", "gasket", "F6", "1/32", 12, 3.40, "G1", "vegetable fibre"),
    ("GK-F6-040", "gasket", "F6", "0.040", 10, 3.70, "G2", "vegetable fibre"),
    ("GK-F6-3/64", "gasket", "F6", "3/64", 10, 3.60, "G3", "vegetable fibre"),
    ("GK-F6-1/16", "gasket", "F6", "1/16", 12, 3.90, "G4", "vegetable fibre"),
    ("GK-F6-3/32", "gasket", "F6", "3/32", 10, 4.60, "G5", "vegetable fibre"),
    ("GK-F8-1/32", "gasket", "F8", "1/32", 12, 3.80, "G6", "vegetable fibre"),
    ("GK-F8-040", "gasket", "F8", "0.040", 10, 4.10, "G7", "vegetable fibre"),
    ("GK-F8-3/64", "gasket", "F8", "3/64", 10, 4.00, "G8", "vegetable fibre"),
    ("GK-F8-1/16", "gasket", "F8", "1/16", 12, 4.40, "G9", "vegetable fibre"),
    ("GK-F8-3/32", "gasket", "F8", "3/32", 10, 5.20, "G10", "vegetable fibre"),
];

/// Tag, priority, day of September, fit, reading, low, high, snap ring.
type Pump = (&'static str, u32, &'static str, &'static str, Option<f64>, Option<[f64; 2]>, f64);

const PUMPS: [Pump; 10] = [
    ("P-501", 1, "2027-09-06", "F6", None, Some([0.038, 0.046]), 0.050),
    ("P-502", 1, "2027-09-06", "F6", None, Some([0.036, 0.044]), 0.050),
    ("P-503", 2, "2027-09-07", "F6", None, Some([0.040, 0.0465]), 0.050),
    ("P-504", 2, "2027-09-08", "F6", None, None, 0.050),
    ("P-505", 3, "2027-09-08", "F6", None, None, 0.050),
    ("P-506", 3, "2027-09-09", "F6", None, None, 0.050),
    ("P-507", 3, "2027-09-09", "F6", Some(0.0432), Some([0.038, 0.046]), 0.050),
    ("P-601", 1, "2027-09-10", "F8", None, Some([0.034, 0.042]), 0.053),
    ("P-602", 2, "2027-09-10", "F8", None, Some([0.036, 0.044]), 0.053),
    ("P-603", 3, "2027-09-10", "F8", None, None, 0.053),
];

/// Year, tag, model, readings of the bare clearance; the last is of another model.
const PAST: [(u32, &str, &str, [f64; 2]); 11] = [
    (2019, "P-501", "screwed-impeller", [0.0401, 0.0403]),
    (2019, "P-502", "screwed-impeller", [0.0415, 0.0415]),
    (2019, "P-503", "screwed-impeller", [0.0398, 0.0398]),
    (2021, "P-504", "screwed-impeller", [0.0420, 0.0422]),
    (2021, "P-505", "screwed-impeller", [0.0409, 0.0409]),
    (2021, "P-506", "screwed-impeller", [0.0411, 0.0411]),
    (2023, "P-507", "screwed-impeller", [0.0394, 0.0396]),
    (2023, "P-601", "screwed-impeller", [0.0417, 0.0417]),
    (2023, "P-602", "screwed-impeller", [0.0406, 0.0406]),
    (2025, "P-603", "screwed-impeller", [0.0433, 0.0433]),
    (2025, "P-701", "seal-setting", [0.0310, 0.0312]),
];

pub(super) fn provision(folder: &Path) -> Result<(), Box<dyn Error>> {
    fs::create_dir_all(folder)?;
    let mut stock = workbook("Invented stock for the sample before an outage")?;
    let sheet = stock.add_worksheet();
    sheet.set_name("Stock")?;
    let heads =
        ["Item", "Kind", "Fit", "Thickness (in)", "On hand", "Unit cost", "Bin", "Material"];
    head(sheet, "Shim and gasket drawer", &heads)?;
    for (row, (item, kind, fit, thickness, on_hand, cost, bin, material)) in (4..).zip(STOCK) {
        for (column, text) in
            [(0, item), (1, kind), (2, fit), (3, thickness), (6, bin), (7, material)]
        {
            sheet.write_string(row, column, text)?;
        }
        sheet.write_number(row, 4, on_hand)?;
        sheet.write_number(row, 5, cost)?;
    }
    stock.save(folder.join("stock.xlsx"))?;

    let mut pumps = workbook("Invented pumps for the sample before an outage")?;
    let sheet = pumps.add_worksheet();
    sheet.set_name("Pumps")?;
    let heads = [
        "Tag",
        "Model",
        "Priority",
        "Due",
        "Bearing shims fit",
        "Cover gasket fit",
        "Bare clearance (in)",
        "Bare clearance low (in)",
        "Bare clearance high (in)",
        "Snap ring (in)",
    ];
    head(sheet, "Autumn outage: pumps to rebuild, most not measured yet", &heads)?;
    for (row, (tag, priority, due, fit, reading, range, ring)) in (4..).zip(PUMPS) {
        for (column, text) in [(0, tag), (1, "screwed-impeller"), (3, due), (4, fit), (5, fit)] {
            sheet.write_string(row, column, text)?;
        }
        sheet.write_number(row, 2, priority)?;
        let [low, high] = range.map_or([None; 2], |ends| ends.map(Some));
        for (column, number) in [(6, reading), (7, low), (8, high), (9, Some(ring))] {
            if let Some(number) = number {
                sheet.write_number(row, column, number)?;
            }
        }
    }
    pumps.save(folder.join("pumps.xlsx"))?;

    let mut past = workbook("Invented past readings for the sample before an outage")?;
    let sheet = past.add_worksheet();
    sheet.set_name("Past readings")?;
    let heads = ["Date", "Tag", "Model", "Bare clearance 1 (in)", "Bare clearance 2 (in)"];
    head(sheet, "Readings of earlier outages", &heads)?;
    for (row, (year, tag, model, readings)) in (4..).zip(PAST) {
        sheet.write_number(row, 0, year)?;
        sheet.write_string(row, 1, tag)?;
        sheet.write_string(row, 2, model)?;
        for (column, reading) in (3..).zip(readings) {
            sheet.write_number(row, column, reading)?;
        }
    }
    past.save(folder.join("past.xlsx"))?;
    Ok(())
}
