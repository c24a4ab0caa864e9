//! The Labels sheet: one bag label a kit, to print, cut along the lines and put into the bag or onto it.

use itertools::Itertools;
use rayon::prelude::*;
use rust_xlsxwriter::{
    Format, FormatAlign, FormatBorder, Image, ObjectMovement, Workbook, Worksheet,
};

use super::page::{Page, Written};
use super::pages::{Pages, Series};
use super::style::{Styles, WARN};
use super::text::{WriteText, chart_name};
use crate::paper::code::{QUIET, code, squares};
use crate::paper::label::{LabelLines, lines};
use crate::paper::slip::Slips;
use crate::plan::Kit;
use crate::verify::Verified;

/// Labels beside each other, and below each other on a page.
const ACROSS: usize = 3;
const DOWN: usize = 4;
/// The two columns of a label and the strip to its right, in characters.
const WIDTHS: [f64; 3] = [29.0, 14.0, 1.0];
/// The rows of a label, in points, and the strip below it.
const HEIGHTS: [f64; 7] = [29.0, 20.0, 16.0, 16.0, 45.0, 16.0, 16.0];
const STRIP: f64 = 10.0;
/// The rows that a label takes with its strip, and the last column that is printed.
const ROWS: u32 = 8;
const LAST: u16 = 8;
/// The side of the code in pixels, as it is shown.
const CODE: u32 = 104;
/// Per cent at which twelve labels fit on A4 and on Letter, whatever font stands in.
const SCALE: u16 = 70;

/// The sheets, through a workbook or in memory.
pub(super) fn sheets(
    workbook: Option<&mut Workbook>,
    verified: &Verified,
    styles: &Styles,
) -> Written<Vec<Worksheet>> {
    let (job, plan) = (verified.job(), verified.plan());
    let begin = |page: &mut Page<'_>, _: &str| {
        page.widths(&WIDTHS.repeat(ACROSS))?;
        page.last = LAST - 1;
        page.sheet.set_print_scale(SCALE);
        Ok(())
    };
    let series = Series { name: "Labels", begin: &begin, last_column: None };
    let mut pages = Pages::begin(workbook, &series, styles)?;
    let id = verified.planned().id();
    let slips = Slips { verified, place: styles.place.as_ref() };
    let (open, kitted): (Vec<_>, Vec<_>) = (slips.numbered().into_iter())
        .partition(|(_, index)| matches!(plan.kits[*index], Kit::Short(_)));
    let kitted: Vec<_> =
        kitted.into_iter().filter(|(_, index)| styles.prints(&job.pumps[*index].tag)).collect();
    // The codes take longer than all else here.
    let labels = kitted.par_iter().map(|&(number, index)| {
        let code = code(&id, &job.pumps[index].tag);
        let kit = slips.kit(&job.pumps[index].tag, number);
        let LabelLines { tag, kit, facts, location, pieces, missing, plan } =
            lines((verified, styles.place.as_ref()), index, kit, &id);
        let plain = |line| (line, false);
        let lines = [tag, kit, facts, location, pieces].map(plain);
        let [tag, kit, facts, location, pieces] = lines;
        let lines = [tag, kit, facts, location, pieces, (missing, true), plain(plan)];
        Label { lines, picture: picture(&code), code }
    });
    let labels: Vec<Label> = labels.collect();
    for (at, line) in labels.chunks(ACROSS).enumerate() {
        if at % DOWN == 0 {
            pages.turn(1)?;
        }
        strip(&mut pages.page, line)?;
    }
    let open: Vec<&str> = (open.iter()).map(|(_, index)| job.pumps[*index].tag.as_str()).collect();
    without_bag(&mut pages.page, &open)?;
    pages.finish(|_| {})
}

/// The pumps that have no bag, below the labels.
fn without_bag(page: &mut Page<'_>, open: &[&str]) -> Written {
    page.not_fit(open, "no bag")?;
    if page.row == 0 {
        page.text("No kit, no label.", &page.styles.plain)?;
    }
    page.sheet.set_print_area(0, 0, page.row - 1, LAST)?;
    Ok(())
}

/// A bag label: its lines, which of them warn, and its code in words and as a picture.
struct Label {
    lines: [(String, bool); 7],
    code: String,
    picture: Option<Vec<u8>>,
}

/// Labels beside each other, row by row, with the frames to cut along.
fn strip(page: &mut Page<'_>, labels: &[Label]) -> Written {
    let (sheet, styles, top) = (&mut page.sheet, page.styles, page.row);
    for (row, height) in (top..).zip(HEIGHTS.into_iter().chain([STRIP])) {
        sheet.set_row_height(row, height)?;
    }
    page.row += ROWS;
    sheet.set_print_area(0, 0, page.row - 1, LAST)?;
    // Each with its left column.
    let across = || (0..).step_by(WIDTHS.len()).zip(labels);
    for (at, row) in (0..HEIGHTS.len()).zip(top..) {
        for (left, label) in across() {
            let format = framed(looks(at, label.lines[at].1, styles), at, Side::Left);
            let text = &label.lines[at].0;
            if at == 0 {
                // The tag may be long: it has the whole width.
                let format = format.set_border_right(FormatBorder::Dashed);
                sheet.across(row, [left, left + 1], text, &format)?;
                continue;
            }
            sheet.write_text(row, left, text, &format)?;
            let beside = framed(Format::new(), at, Side::Right);
            sheet.write_blank(row, left + 1, &beside)?;
            if at == 4 && label.picture.is_none() {
                let text = "The tag is too long for a code.";
                sheet.write_text(row, left + 1, text, &styles.remark)?;
            }
        }
    }
    for (left, label) in across() {
        let Some(png) = &label.picture else { continue };
        let image = Image::new_from_buffer(png)?
            .set_scale_to_size(CODE, CODE, true)
            .set_object_movement(ObjectMovement::MoveButDontSizeWithCells)
            .set_alt_text(chart_name(&label.code));
        sheet.insert_image_with_offset(top + 1, left + 1, &image, 1, 2)?;
    }
    Ok(())
}

/// How the text of a line looks.
fn looks(line: usize, warns: bool, styles: &Styles) -> Format {
    let base = match (line, warns) {
        (0, _) => styles.title.clone().set_font_size(17).set_shrink(),
        (1, _) => styles.part.clone(),
        (_, true) => Format::new().set_bold().set_font_color(WARN),
        (4, _) => styles.plain.clone().set_text_wrap(),
        (6, _) => styles.remark.clone(),
        _ => styles.plain.clone().set_shrink(),
    };
    base.set_indent(1).set_align(FormatAlign::VerticalCenter)
}

enum Side {
    Left,
    Right,
}

/// A format with the frame of a label's line on one side, above the first and below the last.
fn framed(format: Format, line: usize, side: Side) -> Format {
    let dashed = FormatBorder::Dashed;
    let mut format = match side {
        Side::Left => format.set_border_left(dashed),
        Side::Right => format.set_border_right(dashed),
    };
    if line == 0 {
        format = format.set_border_top(dashed);
    }
    if line == HEIGHTS.len() - 1 {
        format = format.set_border_bottom(dashed);
    }
    format
}

/// A text as a code: a black-and-white picture. `None` where it is too long for one.
fn picture(text: &str) -> Option<Vec<u8>> {
    const MODULE: usize = 6;
    let code = squares(text)?;
    let side = (code.width + 2 * QUIET) * MODULE;
    // A bit a pixel: eight times less to pack than a byte, and the same picture.
    let line = side.div_ceil(8);
    let mut pixels = vec![0xff_u8; line * side];
    for at in code.dark {
        let [row, column] = at.map(|at| (QUIET + at) * MODULE);
        for (y, x) in (row..row + MODULE).cartesian_product(column..column + MODULE) {
            pixels[y * line + x / 8] &= !(0x80 >> (x % 8));
        }
    }
    let mut bytes = Vec::new();
    let whole = u32::try_from(side).ok()?;
    let mut encoder = png::Encoder::new(&mut bytes, whole, whole);
    encoder.set_color(png::ColorType::Grayscale);
    encoder.set_depth(png::BitDepth::One);
    // Most rows are like the one above, which this way of packing is made for; any other takes ten times as long.
    encoder.set_filter(png::Filter::Up);
    encoder.set_compression(png::Compression::Fast);
    let mut writer = encoder.write_header().ok()?;
    writer.write_image_data(&pixels).ok()?;
    writer.finish().ok()?;
    Some(bytes)
}
