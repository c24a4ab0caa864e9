//! Issue logs as shops have them from before there were outage files: a workbook with one line per movement.

use gapwright::issue::log::{Entry, Log};
use rust_xlsxwriter::{DocProperties, ExcelDateTime, Workbook, XlsxError};

const HEADINGS: [&str; 15] = [
    "No.",
    "Date",
    "Run",
    "Plan",
    "Tag",
    "Place",
    "Item",
    "Asked",
    "Out",
    "How",
    "Before",
    "After",
    "Unit cost",
    "Note",
    "Chain",
];
/// Columns that hold numbers.
const NUMBERS: [usize; 7] = [0, 2, 7, 8, 10, 11, 12];

/// The log as a workbook's bytes.
pub fn workbook(log: &Log) -> Result<Vec<u8>, XlsxError> {
    let mut book = Workbook::new();
    let made = ExcelDateTime::from_ymd(2027, 2, 8)?;
    book.set_properties(&DocProperties::new().set_creation_datetime(&made));
    let sheet = book.add_worksheet().set_name("Issues")?;
    sheet.write(0, 0, "Issue log")?;
    let lines = u32::try_from(log.entries().len()).unwrap_or(u32::MAX);
    sheet.write(2, 0, "Lines")?.write(2, 1, lines)?;
    sheet.write(2, 3, "Last chain")?.write(2, 4, log.chain())?;
    for (column, heading) in (0..).zip(HEADINGS) {
        sheet.write(4, column, heading)?;
    }
    for (row, entry) in (5..).zip(log.entries()) {
        let Entry { chain, .. } = entry;
        let values = entry.values().into_iter().chain([chain.clone()]).enumerate();
        for (at, value) in values.filter(|(_, value)| !value.is_empty()) {
            let column = u16::try_from(at).unwrap_or(u16::MAX);
            match value.parse::<f64>() {
                Ok(number) if NUMBERS.contains(&at) => sheet.write(row, column, number)?,
                _ => sheet.write(row, column, value)?,
            };
        }
    }
    book.save_to_buffer()
}
