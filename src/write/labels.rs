//! The Labels sheet: one bag label a kit, to print, cut along the lines and put into the bag or onto it.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use qrcode::{Color as Module, EcLevel, QrCode};
use rust_xlsxwriter::{Format, FormatBorder, Image, ObjectMovement, Worksheet, XlsxError};

use super::style::{Styles, set_up, tall, widths};
use super::text::{WriteText, chart_name, in_rows};
use crate::plan::Kit;
use crate::verify::Verified;
use crate::words;

/// Labels beside each other, and below each other on a page.
const ACROSS: usize = 3;
const DOWN: usize = 4;
/// The two columns of a label and the strip to its right, in characters.
const WIDTHS: [f64; 3] = [29.0, 14.0, 1.0];
/// The rows of a label, in points, and the strip below it.
const HEIGHTS: [f64; 7] = [29.0, 20.0, 16.0, 16.0, 45.0, 16.0, 16.0];
const STRIP: f64 = 10.0;
/// The side of the code in pixels, as it is shown.
const CODE: u32 = 104;
/// Per cent at which twelve labels fit on A4 and on Letter, whatever font stands in.
const SCALE: u16 = 70;

/// What the code of a label says: a word that tells whose it is and the form's number, the plan's id, the tag.
///
/// ```
/// assert_eq!(gapwright::write::code("90f268b3212e", "P-208"), "gapwright:1 90f268b3212e P-208");
/// ```
pub fn code(plan: &str, tag: &str) -> String {
    format!("gapwright:1 {plan} {tag}")
}

pub(super) fn write(
    sheet: &mut Worksheet,
    verified: &Verified,
    date: &str,
    styles: &Styles,
) -> Result<(), XlsxError> {
    let (job, plan) = (verified.job(), verified.plan());
    set_up(sheet, "Labels", date)?;
    let all: Vec<f64> = WIDTHS.repeat(ACROSS);
    widths(sheet, &all)?;
    let id = verified.planned().id();
    let order = super::order::of_kits(job);
    let rows = u32::try_from(HEIGHTS.len()).unwrap_or(u32::MAX) + 1;
    let mut breaks = Vec::new();
    let mut count = 0;
    let mut open = Vec::new();
    for (number, &index) in order.iter().enumerate() {
        let pump = &job.pumps[index];
        if matches!(plan.kits[index], Kit::Short(_)) {
            open.push(pump.tag.as_str());
            continue;
        }
        let (line, across) = (count / ACROSS, count % ACROSS);
        let top = u32::try_from(line).unwrap_or(u32::MAX) * rows;
        if across == 0 {
            for (at, height) in (top..).zip(HEIGHTS.into_iter().chain([STRIP])) {
                sheet.set_row_height(at, height)?;
            }
            if line > 0 && line % DOWN == 0 {
                breaks.push(top);
            }
        }
        let left = u16::try_from(3 * across).unwrap_or(u16::MAX);
        let lines = lines(verified, index, number + 1, order.len(), &id);
        label(sheet, styles, [top, left.into()], &lines)?;
        match picture(&code(&id, &pump.tag)) {
            Some(png) => {
                let image = Image::new_from_buffer(&png)?
                    .set_scale_to_size(CODE, CODE, true)
                    .set_object_movement(ObjectMovement::MoveButDontSizeWithCells)
                    .set_alt_text(chart_name(&code(&id, &pump.tag)));
                sheet.insert_image_with_offset(top + 1, left + 1, &image, 1, 2)?;
            }
            None => {
                let text = "The tag is too long for a code.";
                sheet.write_text(top + 4, left + 1, text, &styles.remark)?;
            }
        }
        count += 1;
    }
    let mut row = u32::try_from(count.div_ceil(ACROSS)).unwrap_or(u32::MAX) * rows;
    if !open.is_empty() {
        let last = u16::try_from(3 * ACROSS - 2).unwrap_or(u16::MAX);
        let format = styles.alarm.clone().set_text_wrap();
        let mut texts = in_rows(&open, 20 * 120);
        if let Some(first) = texts.first_mut() {
            *first = format!("{}, and so without a bag: {first}", words::NOT_FIT);
        }
        if let Some(end) = texts.last_mut() {
            end.push('.');
        }
        for text in texts {
            sheet.merge_text(row, 0, row, last, &text, &format)?;
            sheet.set_row_height(row, tall(&text, 120))?;
            row += 1;
        }
    }
    if row == 0 {
        sheet.write_text(0, 0, "No kit, no label.", &styles.plain)?;
        row = 1;
    }
    sheet.set_page_breaks(&breaks)?;
    sheet.set_print_area(
        0,
        0,
        row - 1,
        u16::try_from(3 * ACROSS - 1).unwrap_or(u16::MAX),
    )?;
    sheet.set_print_scale(SCALE);
    Ok(())
}

/// The seven lines of a label, and which of them warn.
fn lines(
    verified: &Verified,
    index: usize,
    number: usize,
    of: usize,
    id: &str,
) -> [(String, bool); 7] {
    let job = verified.job();
    let pump = &job.pumps[index];
    let mut kinds: BTreeMap<&str, u32> = BTreeMap::new();
    for pick in verified.picks(index) {
        *kinds.entry(&job.stock[pick.item].kind).or_default() += pick.count;
    }
    let pieces: u32 = kinds.values().sum();
    // What is stacked comes first.
    let stacked = |kind: &str| !matches!(kind, "shim" | "gasket");
    let mut sorted: Vec<(&str, u32)> = kinds.into_iter().collect();
    sorted.sort_by_key(|(kind, _)| (stacked(kind), *kind != "shim"));
    let mut each = String::new();
    for (kind, count) in sorted {
        let comma = if each.is_empty() { "" } else { ", " };
        write!(each, "{comma}{count} {}", words::plural(kind, count)).ok();
    }
    let due = pump
        .due
        .as_ref()
        .map_or(String::new(), |due| format!("due {}", due.shown));
    let facts = [due, format!("priority {}", pump.priority)];
    let facts: Vec<&str> = facts
        .iter()
        .map(String::as_str)
        .filter(|f| !f.is_empty())
        .collect();
    let lacks: u32 = verified.bags()[index]
        .iter()
        .map(|share| share.lacking)
        .sum();
    let lacking = match lacks {
        0 => String::new(),
        _ => format!("SHORT of {lacks}: see the slip"),
    };
    let many = if pieces == 1 {
        "1 piece".into()
    } else {
        format!("{pieces} pieces")
    };
    [
        (pump.tag.clone(), false),
        (format!("Kit {number} of {of}"), false),
        (facts.join(", "), false),
        (pump.location.clone().unwrap_or_default(), false),
        (format!("{many}: {each}"), false),
        (lacking, true),
        (format!("Plan {id}"), false),
    ]
}

/// Writes the lines with the frame to cut along; the code's cell is right of them.
fn label(
    sheet: &mut Worksheet,
    styles: &Styles,
    [top, left]: [u32; 2],
    lines: &[(String, bool); 7],
) -> Result<(), XlsxError> {
    let left = u16::try_from(left).unwrap_or(u16::MAX);
    let last = lines.len() - 1;
    for (at, (text, warns)) in lines.iter().enumerate() {
        let row = top + u32::try_from(at).unwrap_or(u32::MAX);
        let base = match (at, warns) {
            (0, _) => styles.title.clone().set_font_size(17).set_shrink(),
            (1, _) => styles.part.clone(),
            (_, true) => Format::new().set_bold().set_font_color(super::style::WARN),
            (4, _) => styles.plain.clone().set_text_wrap(),
            (6, _) => styles.remark.clone(),
            _ => styles.plain.clone().set_shrink(),
        };
        let base = base
            .set_indent(1)
            .set_align(rust_xlsxwriter::FormatAlign::VerticalCenter);
        let framed = |format: Format, is_left: bool| {
            let mut format = format;
            let side = FormatBorder::Dashed;
            if is_left {
                format = format.set_border_left(side);
            } else {
                format = format.set_border_right(side);
            }
            if at == 0 {
                format = format.set_border_top(side);
            }
            if at == last {
                format = format.set_border_bottom(side);
            }
            format
        };
        match at {
            // The tag may be long: it has the whole width.
            0 => {
                let frame = FormatBorder::Dashed;
                let format = framed(base, true).set_border_right(frame);
                sheet.merge_text(row, left, row, left + 1, text, &format)?;
            }
            _ => {
                sheet.write_text(row, left, text, &framed(base, true))?;
                sheet.write_blank(row, left + 1, &framed(Format::new(), false))?;
            }
        }
    }
    Ok(())
}

/// A text as a code: a black-and-white picture with the quiet zone that scanners need (four modules, ISO/IEC
/// 18004, from memory). `None` where it is too long for one.
fn picture(text: &str) -> Option<Vec<u8>> {
    const QUIET: usize = 4;
    const MODULE: usize = 6;
    let code = QrCode::with_error_correction_level(text.as_bytes(), EcLevel::M).ok()?;
    let (width, modules) = (code.width(), code.to_colors());
    let side = (width + 2 * QUIET) * MODULE;
    let mut pixels = vec![255_u8; side * side];
    for (at, _) in modules
        .iter()
        .enumerate()
        .filter(|(_, m)| **m == Module::Dark)
    {
        let (row, column) = (QUIET + at / width, QUIET + at % width);
        for y in row * MODULE..(row + 1) * MODULE {
            let from = y * side + column * MODULE;
            pixels[from..from + MODULE].fill(0);
        }
    }
    let mut bytes = Vec::new();
    let whole = u32::try_from(side).ok()?;
    let mut encoder = png::Encoder::new(&mut bytes, whole, whole);
    encoder.set_color(png::ColorType::Grayscale);
    encoder.set_depth(png::BitDepth::Eight);
    let mut writer = encoder.write_header().ok()?;
    writer.write_image_data(&pixels).ok()?;
    writer.finish().ok()?;
    Some(bytes)
}
