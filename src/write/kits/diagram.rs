//! The drawing of a pump's model with the pump's own figures on it.

use rust_xlsxwriter::{
    Image, ObjectMovement, Shape, ShapeFont, ShapeFormat, ShapeText, ShapeTextHorizontalAlignment,
    ShapeTextVerticalAlignment, Worksheet, XlsxError,
};

use super::super::style::VALUES;
use super::super::text::chart_name;
use crate::job::Job;
use crate::plan::{PackPick, pack_total, verdicts};
use crate::pump::Pump;
use crate::stack::Verdict;
use crate::words;

/// The first column that it covers.
pub(super) const COLUMN: u16 = 3;
/// The box that it fills, in pixels, and how far it is in from the column's edge.
const BOX: [u32; 2] = [500, 290];
const INSET: u32 = 8;
/// A figure, in pixels.
const FIGURE: [u32; 2] = [92, 15];

/// Draws it with its upper edge at a row; how tall it is, in points, nothing if the model has no drawing.
pub(super) fn draw(
    sheet: &mut Worksheet,
    job: &Job,
    pump: &Pump,
    packs: &[PackPick],
    row: u32,
) -> Result<f64, XlsxError> {
    let model = job.model_of(pump);
    let Some(drawing) = &model.drawing else {
        return Ok(0.0);
    };
    let image = Image::new_from_buffer(&drawing.bytes)?
        .set_scale_to_size(BOX[0], BOX[1], true)
        .set_object_movement(ObjectMovement::MoveButDontSizeWithCells)
        .set_alt_text(chart_name(&format!("Drawing: {}", model.title)));
    sheet.insert_image_with_offset(row, COLUMN, &image, INSET, 0)?;
    // As large as it is once it has been brought into the box.
    let (width, height) = (drawing.width.max(1), drawing.height.max(1));
    let scale = (f64::from(BOX[0]) / f64::from(width)).min(f64::from(BOX[1]) / f64::from(height));
    let [across, down] = [width, height].map(|side| f64::from(side) * scale);
    let font = ShapeFont::new().set_size(7).set_bold().set_color(VALUES);
    let clear = ShapeFormat::new().set_no_fill().set_no_line();
    let middle = ShapeText::new()
        .set_horizontal_alignment(ShapeTextHorizontalAlignment::Center)
        .set_vertical_alignment(ShapeTextVerticalAlignment::Middle);
    let verdicts = verdicts(job, pump, packs);
    for figure in &model.figures {
        let Some(text) = value_of(job, pump, packs, &verdicts, &figure.name) else {
            continue;
        };
        let at = |share: u32, side: f64, own: u32| {
            let middle = f64::from(share) / 1e6 * side;
            let from = (middle - f64::from(own) / 2.0).clamp(0.0, (side - f64::from(own)).max(0.0));
            #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
            let whole = from.round() as u32;
            whole
        };
        let (x, y) = (
            at(figure.at[0], across, FIGURE[0]),
            at(figure.at[1], down, FIGURE[1]),
        );
        let shape = Shape::textbox()
            .set_text(text)
            .set_width(FIGURE[0])
            .set_height(FIGURE[1])
            .set_font(&font)
            .set_format(&clear)
            .set_text_options(&middle)
            .set_object_movement(ObjectMovement::MoveButDontSizeWithCells);
        sheet.insert_shape_with_offset(row, COLUMN, &shape, INSET + x, y)?;
    }
    // A pixel is three quarters of a point.
    Ok(down * 0.75)
}

/// The figure of a pump: what was measured, what a pack comes to, what is predicted of a requirement.
fn value_of(
    job: &Job,
    pump: &Pump,
    packs: &[PackPick],
    verdicts: &[Verdict],
    name: &str,
) -> Option<String> {
    let model = job.model_of(pump);
    let unit = model.unit;
    let measured = model.dimensions.iter().position(|d| d.name == name);
    if let Some(at) = measured {
        return Some(words::length(pump.dimensions[at].value, unit));
    }
    if let Some(growth) = pump.growths.iter().find(|g| g.thermal.name == name) {
        return Some(words::about(growth.value.into(), unit));
    }
    if let Some(place) = model.packs.iter().position(|pack| pack.name == name) {
        let (total, _) = pack_total(job, packs.get(place)?);
        return Some(words::length(total, unit));
    }
    let at = pump.requirements.iter().position(|r| r.name == name)?;
    Some(words::fine(verdicts.get(at)?.value, unit))
}
