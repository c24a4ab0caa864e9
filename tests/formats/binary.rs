//! A small .xlsb workbook, put together record by record after [MS-XLSB] (numbers and layouts of records from 2.3 and
//! 2.4), since no free program writes one.

use std::io::{Cursor, Write};

use zip::write::SimpleFileOptions;

use crate::book::{STRUCK, good};
use crate::probes::{HEADINGS, Probe};

/// A part under construction.
#[derive(Default)]
struct Part(Vec<u8>);

impl Part {
    fn record(mut self, kind: u16, body: &[u8]) -> Part {
        if kind < 128 {
            self.0.push(kind as u8);
        } else {
            self.0.push((kind & 0x7f) as u8 | 0x80);
            self.0.push((kind >> 7) as u8);
        }
        let mut length = body.len();
        loop {
            let low = (length & 0x7f) as u8;
            length >>= 7;
            self.0.push(if length > 0 { low | 0x80 } else { low });
            if length == 0 {
                break;
            }
        }
        self.0.extend_from_slice(body);
        self
    }

    /// A row, hidden or not.
    fn row(self, number: u32, hidden: bool) -> Part {
        let mut body = number.to_le_bytes().to_vec();
        // Style 0, a height, no extra lines, then the outline level and the flags.
        body.extend([0, 0, 0, 0, 0x2c, 0x01, 0, if hidden { 0x10 } else { 0 }, 0, 0, 0, 0, 0]);
        self.record(0, &body)
    }

    fn cell(self, kind: u16, column: u32, style: u32, rest: &[u8]) -> Part {
        let body = [&column.to_le_bytes(), &style.to_le_bytes(), rest].concat();
        self.record(kind, &body)
    }
}

fn wide(text: &str) -> Vec<u8> {
    let units: Vec<u16> = text.encode_utf16().collect();
    let count = u32::try_from(units.len()).unwrap();
    let mut bytes = count.to_le_bytes().to_vec();
    bytes.extend(units.into_iter().flat_map(u16::to_le_bytes));
    bytes
}

fn sheet_part(cells: impl FnOnce(Part) -> Part) -> Vec<u8> {
    let columns: Vec<u8> =
        [1_u32, 1, 2_560, 0].into_iter().flat_map(u32::to_le_bytes).chain([1, 0]).collect();
    let part = Part::default()
        .record(129, &[])
        .record(148, &[0; 16])
        .record(390, &[])
        .record(60, &columns)
        .record(391, &[])
        .record(145, &[]);
    cells(part).record(146, &[]).record(130, &[]).0
}

/// A stock sheet with a probe in each row, in its number format.
pub fn stock(probes: &[&Probe]) -> Vec<u8> {
    let cell = |part: Part, column: u32, style: u32, value: &str| match (
        value.strip_prefix('\''),
        value.parse::<f64>(),
    ) {
        (None, Ok(number)) => part.cell(5, column, style, &number.to_le_bytes()),
        (text, _) => part.cell(6, column, style, &wide(text.unwrap_or(value))),
    };
    let many = u32::try_from(probes.len()).unwrap();
    let sheet = sheet_part(|mut part| {
        part = part.row(0, false);
        for (column, heading) in (0..).zip(HEADINGS) {
            part = cell(part, column, 0, heading);
        }
        for (row, probe) in (1..).zip(probes) {
            part = part.row(row, false);
            for (column, good) in (0..).zip(good(row)) {
                part = match column == u32::from(probe.column()) {
                    true => cell(part, column, row, probe.2),
                    false if (row, column) == (STRUCK, 1) => cell(part, column, many + 1, &good),
                    false => cell(part, column, 0, &good),
                };
            }
        }
        part
    });
    let xf = |format: u16, font: u8| {
        [vec![0, 0], format.to_le_bytes().to_vec(), vec![font], vec![0; 11]].concat()
    };
    let mut styles = Part::default().record(278, &[]).record(615, &many.to_le_bytes());
    for (number, probe) in (164_u16..).zip(probes) {
        let body = [number.to_le_bytes().to_vec(), wide(probe.1)].concat();
        styles = styles.record(44, &body);
    }
    // The style of each row after the plain one is that of its probe.
    // Two fonts: a plain one, and one that strikes its text through.
    styles = styles.record(616, &[]).record(611, &2_u32.to_le_bytes());
    styles = styles.record(43, &[220, 0, 0, 0]).record(43, &[220, 0, 8, 0]).record(612, &[]);
    styles = styles.record(617, &(many + 2).to_le_bytes()).record(47, &xf(0, 0));
    for (number, _) in (164..).zip(probes) {
        styles = styles.record(47, &xf(number, 0));
    }
    styles = styles.record(47, &xf(0, 1));
    let styles = styles.record(618, &[]).record(279, &[]).0;
    let listed = [&[0; 4][..], &1_u32.to_le_bytes(), &wide("rId1"), &wide("Stock")].concat();
    let book = Part::default()
        .record(131, &[])
        .record(153, &[0; 8])
        .record(143, &[])
        .record(156, &listed)
        .record(144, &[])
        .record(132, &[])
        .0;
    let sheets = [("rId1", "worksheet", "worksheets/sheet1.bin"), ("rId2", "styles", "styles.bin")];
    let parts = [("xl/worksheets/sheet1.bin", sheet), ("xl/styles.bin", styles)];
    packed(book, &sheets, parts.into_iter())
}

/// A colour ([MS-XLSB] 2.5.11): kind, number in the palette or theme, no tint, red, green, blue.
fn colour(kind: u8, number: u8, [red, green, blue]: [u8; 3]) -> [u8; 8] {
    [kind << 1 | 1, number, 0, 0, red, green, blue, 255]
}

/// A sheet with values that nobody sees in its first column, and formulas; `flags` are those of the calculation.
pub fn unseen(flags: u8) -> Vec<u8> {
    let formula = |flags: u8| vec![flags, 0, 0, 0, 0, 0];
    let sheet = sheet_part(|mut part| {
        for (row, style) in [0_u32, 1, 2, 3, 4, 5, 6].into_iter().enumerate() {
            part = part.row(row as u32, false).cell(6, 0, style, &wide("shim"));
        }
        let number = |flags| [1.5_f64.to_le_bytes().as_slice(), &formula(flags)].concat();
        part.cell(9, 1, 0, &number(0))
            .cell(9, 2, 0, &number(2))
            .cell(8, 3, 0, &[wide("text"), formula(2)].concat())
            .cell(10, 4, 0, &[vec![1], formula(2)].concat())
            .cell(11, 5, 0, &[vec![0x07], formula(2)].concat())
    });
    let red = [255, 0, 0];
    let font = |struck: bool, colour: [u8; 8]| {
        let head = [220, 0, if struck { 8 } else { 0 }, 0, 144, 1, 0, 0, 0, 2, 0, 0];
        [&head[..], &colour, &[0], &wide("Sans")].concat()
    };
    let fill = |pattern: u8, fore: [u8; 8]| {
        [&[pattern, 0, 0, 0][..], &fore, &colour(1, 65, [255; 3]), &[0; 48]].concat()
    };
    let automatic = colour(0, 0, [0; 3]);
    let mut styles = Part::default().record(278, &[]).record(611, &5_u32.to_le_bytes());
    for font in [
        font(false, automatic),
        font(false, colour(3, 0, [0; 3])),
        font(false, colour(2, 0, red)),
        font(false, colour(1, 9, [0; 3])),
        font(true, automatic),
    ] {
        styles = styles.record(43, &font);
    }
    styles = styles.record(612, &[]).record(603, &4_u32.to_le_bytes());
    let grey = fill(17, automatic);
    for fill in
        [fill(0, automatic), grey, fill(1, colour(2, 0, red)), fill(1, colour(1, 8, [0; 3]))]
    {
        styles = styles.record(45, &fill);
    }
    styles = styles.record(604, &[]).record(617, &7_u32.to_le_bytes());
    // White (by the theme) without a fill, red on red, white (of the palette) on black, struck through, red without a
    // fill, white on a pattern.
    for [font, fill] in [[0_u8, 0], [1, 0], [2, 2], [3, 3], [4, 0], [2, 0], [3, 1]] {
        let xf = [&[0, 0, 0, 0, font, 0, fill, 0][..], &[0; 8]].concat();
        styles = styles.record(47, &xf);
    }
    let styles = styles.record(618, &[]).record(279, &[]).0;
    let listed = [&[0; 4][..], &1_u32.to_le_bytes(), &wide("rId1"), &wide("Stock")].concat();
    let calculation = [vec![0; 24], vec![flags, 0]].concat();
    let book = Part::default()
        .record(131, &[])
        .record(143, &[])
        .record(156, &listed)
        .record(144, &[])
        .record(157, &calculation)
        .record(132, &[])
        .0;
    let sheets = [("rId1", "worksheet", "worksheets/sheet1.bin"), ("rId2", "styles", "styles.bin")];
    let parts = [("xl/worksheets/sheet1.bin", sheet), ("xl/styles.bin", styles)];
    packed(book, &sheets, parts.into_iter())
}

/// The workbook's bytes: a sheet Stock and a hidden sheet Old.
pub fn workbook() -> Vec<u8> {
    let formula = [0_u8, 0, 0, 0, 0, 0];
    let stock = sheet_part(|part| {
        part.row(0, false)
            .cell(7, 0, 0, &0_u32.to_le_bytes())
            .cell(7, 1, 0, &1_u32.to_le_bytes())
            .cell(6, 2, 0, &wide("Seen"))
            .row(2, false)
            .cell(7, 0, 0, &2_u32.to_le_bytes())
            // A whole number in 30 bits, and a date as a number with the style of one.
            .cell(2, 1, 0, &(12_u32 << 2 | 2).to_le_bytes())
            .cell(5, 2, 1, &46_432.0_f64.to_le_bytes())
            .row(3, true)
            .cell(6, 0, 0, &wide("S-2"))
            .cell(3, 1, 0, &[0x2a])
            .cell(4, 2, 0, &[1])
            .row(4, false)
            .cell(8, 0, 0, &[wide("made of parts"), formula.to_vec()].concat())
            .cell(9, 1, 0, &[0.05_f64.to_le_bytes().as_slice(), &formula].concat())
            .cell(11, 2, 0, &[&[0x07][..], &formula].concat())
    });
    let old = sheet_part(|part| part);
    let listed = |state: u32, number: u32, relation: &str, name: &str| {
        let numbers = [state.to_le_bytes(), number.to_le_bytes()].concat();
        [numbers, wide(relation), wide(name)].concat()
    };
    let book = Part::default()
        .record(131, &[])
        .record(153, &[0; 8])
        .record(143, &[])
        .record(156, &listed(0, 1, "rId1", "Stock"))
        .record(156, &listed(1, 2, "rId2", "Old"))
        .record(144, &[])
        .record(157, &[])
        .record(132, &[])
        .0;
    let text = |text: &str| [vec![0], wide(text)].concat();
    let texts = Part::default()
        .record(159, &[3, 0, 0, 0, 3, 0, 0, 0])
        .record(19, &text("Item"))
        .record(19, &text("On hand"))
        .record(19, &text("S-\u{b5}"))
        .record(160, &[])
        .0;
    // Two cell styles: a plain one and that of dates (built-in format 14).
    let style = |format: u16| [vec![0, 0], format.to_le_bytes().to_vec(), vec![0; 12]].concat();
    let styles = Part::default()
        .record(278, &[])
        .record(617, &2_u32.to_le_bytes())
        .record(47, &style(0))
        .record(47, &style(14))
        .record(618, &[])
        .record(279, &[])
        .0;
    let sheets = [
        ("rId1", "worksheet", "worksheets/sheet1.bin"),
        ("rId2", "worksheet", "worksheets/sheet2.bin"),
        ("rId3", "styles", "styles.bin"),
        ("rId4", "sharedStrings", "sharedStrings.bin"),
    ];
    let parts = [
        ("xl/worksheets/sheet1.bin", stock),
        ("xl/worksheets/sheet2.bin", old),
        ("xl/sharedStrings.bin", texts),
        ("xl/styles.bin", styles),
    ];
    packed(book, &sheets, parts.into_iter())
}

/// The zip file of a workbook, its relations (identifier, kind, target) and its other parts.
fn packed(
    book: Vec<u8>,
    related: &[(&str, &str, &str)],
    parts: impl Iterator<Item = (&'static str, Vec<u8>)>,
) -> Vec<u8> {
    let relation = |(id, kind, target): &(&str, &str, &str)| {
        format!(
            "<Relationship Id=\"{id}\" Target=\"{target}\" Type=\"http://schemas.openxmlformats.org/\
             officeDocument/2006/relationships/{kind}\"/>"
        )
    };
    let relations = |all: &[(&str, &str, &str)]| {
        let all: String = all.iter().map(relation).collect();
        format!(
            "<?xml version=\"1.0\"?><Relationships xmlns=\"http://schemas.openxmlformats.org/\
             package/2006/relationships\">{all}</Relationships>"
        )
    };
    let top = relations(&[("rId1", "officeDocument", "xl/workbook.bin")]);
    let mut zip = zip::ZipWriter::new(Cursor::new(Vec::new()));
    let first = [
        ("[Content_Types].xml", b"<Types/>".to_vec()),
        ("_rels/.rels", top.into_bytes()),
        ("xl/workbook.bin", book),
        ("xl/_rels/workbook.bin.rels", relations(related).into_bytes()),
    ];
    for (name, bytes) in first.into_iter().chain(parts) {
        zip.start_file(name, SimpleFileOptions::default()).unwrap();
        zip.write_all(&bytes).unwrap();
    }
    zip.finish().unwrap().into_inner()
}
