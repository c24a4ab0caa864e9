//! The drawing of a pump's model with the pump's own figures on it.

use rust_xlsxwriter::{
    Image, ObjectMovement, Shape, ShapeFont, ShapeFormat, ShapeText, ShapeTextHorizontalAlignment,
    ShapeTextVerticalAlignment,
};

use super::super::page::Written;
use super::super::style::VALUES;
use super::super::text::chart_name;
use super::Slip;
use crate::paper::slip::DrawnFigure;

/// The first column that it covers.
const COLUMN: u16 = 0;
/// The box that it fills, in pixels, and how far it is in from the edges of the slip.
const BOX: [u32; 2] = [790, 420];
const INSET: u32 = 8;
/// A figure, in pixels, and the size of its letters, in points.
const FIGURE: [u32; 2] = [110, 19];
const LETTERS: f64 = 9.0;

/// Draws an image of it with its upper edge at the row of a slip; how tall it is, in points.
pub(super) fn draw(slip: &mut Slip<'_, '_>, image: &[u8], figures: &[DrawnFigure]) -> Written<f64> {
    let (sheet, model, row) = (&mut slip.page.sheet, slip.slip.model, slip.page.row);
    let Some(drawing) = &model.drawing else {
        return Ok(0.0);
    };
    let image = Image::new_from_buffer(image)?
        .set_scale_to_size(BOX[0], BOX[1], true)
        .set_object_movement(ObjectMovement::MoveButDontSizeWithCells)
        .set_alt_text(chart_name(&format!("Drawing: {}", model.title)));
    // As large as it is once it has been brought into the box.
    let (width, height) = (drawing.width.max(1), drawing.height.max(1));
    let scale = (f64::from(BOX[0]) / f64::from(width)).min(f64::from(BOX[1]) / f64::from(height));
    let [across, down] = [width, height].map(|side| f64::from(side) * scale);
    let left = f64::from(INSET) + (f64::from(BOX[0]) - across) / 2.0;
    sheet.insert_image_with_offset(row, COLUMN, &image, pixels(left), 0)?;
    let font = ShapeFont::new().set_size(LETTERS).set_bold().set_color(VALUES);
    let clear = ShapeFormat::new().set_no_fill().set_no_line();
    let middle = ShapeText::new()
        .set_horizontal_alignment(ShapeTextHorizontalAlignment::Center)
        .set_vertical_alignment(ShapeTextVerticalAlignment::Middle);
    for figure in figures {
        // Where its middle is, and from there its upper left corner.
        let [x, y] = figure.at.map(|share| f64::from(share) / 1e6);
        let (x, y) = (left + x * across, y * down);
        let [x, y] = [(x, FIGURE[0]), (y, FIGURE[1])].map(|(at, own)| at - f64::from(own) / 2.0);
        let most = BOX[0] + 2 * INSET - FIGURE[0];
        let x = pixels(x).min(most);
        let shape = Shape::textbox()
            .set_text(&figure.text)
            .set_width(FIGURE[0])
            .set_height(FIGURE[1])
            .set_font(&font)
            .set_format(&clear)
            .set_text_options(&middle)
            .set_object_movement(ObjectMovement::MoveButDontSizeWithCells);
        sheet.insert_shape_with_offset(row, COLUMN, &shape, x, pixels(y))?;
    }
    // A pixel is three quarters of a point.
    Ok(down * 0.75)
}

/// The nearest whole pixel that there is.
fn pixels(at: f64) -> u32 {
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
    let whole = at.round().max(0.0) as u32;
    whole
}
