//! Formats and page set-up that the sheets share.
//!
//! The colours are our own choice out of hues that stay apart for the colour-blind (blue and
//! orange), and nothing is said by colour alone.

use rust_xlsxwriter::{Color, Format, FormatAlign, FormatBorder, Worksheet, XlsxError};

use super::text::WriteText;

use crate::length::Unit;

/// The colour of text and of strong rules.
pub(super) const INK: Color = Color::RGB(0x1D_2B_3A);
const PALE: Color = Color::RGB(0xE4_EC_F4);
/// The colour of a cell for a person to fill in.
pub(super) const ENTRY: Color = Color::RGB(0xFF_F6_D6);
/// The colour of what warns.
pub(super) const WARN: Color = Color::RGB(0xB3_4A_00);
const RULE: Color = Color::RGB(0xA9_B8_C6);
/// The colour of a series that shows values.
pub(super) const VALUES: Color = Color::RGB(0x1F_5F_A8);
/// The colour of a series that shows limits.
pub(super) const LIMITS: Color = Color::RGB(0xC8_65_0A);

/// The formats of the workbook.
pub(super) struct Styles {
    /// The sheet's title.
    pub(super) title: Format,
    /// A line under it.
    pub(super) lead: Format,
    /// The heading of a part.
    pub(super) part: Format,
    /// A column's heading.
    pub(super) head: Format,
    /// Plain text in a ruled cell.
    pub(super) text: Format,
    /// Text in a ruled cell that may take several lines.
    pub(super) wrapped: Format,
    /// A whole number.
    pub(super) count: Format,
    /// A plain number.
    pub(super) number: Format,
    /// A share.
    pub(super) percent: Format,
    /// A probability, which may be very near to nothing or to one.
    pub(super) chance: Format,
    /// A number too small for plain places.
    pub(super) tiny: Format,
    /// A cell for a person to fill in.
    pub(super) entry: Format,
    /// Bold text.
    pub(super) strong: Format,
    /// A requirement that is not met, a pump that is not fit.
    pub(super) alarm: Format,
    /// Text without rules.
    pub(super) plain: Format,
    /// Text without rules that may take several lines.
    pub(super) prose: Format,
    /// Small grey remarks.
    pub(super) remark: Format,
}

fn ruled() -> Format {
    Format::new()
        .set_font_color(INK)
        .set_border(FormatBorder::Thin)
        .set_border_color(RULE)
        .set_align(FormatAlign::VerticalCenter)
}

impl Styles {
    pub(super) fn new() -> Styles {
        let ink = || Format::new().set_font_color(INK);
        Styles {
            title: ink().set_bold().set_font_size(18),
            lead: ink().set_font_size(11).set_italic(),
            part: ink().set_bold().set_font_size(13),
            head: ruled()
                .set_bold()
                .set_indent(1)
                .set_background_color(PALE)
                .set_text_wrap(),
            text: ruled().set_indent(1),
            wrapped: ruled().set_text_wrap().set_indent(1),
            count: ruled()
                .set_num_format("0")
                .set_align(FormatAlign::Right)
                .set_indent(1),
            number: ruled()
                .set_num_format("0.######")
                .set_align(FormatAlign::Right)
                .set_indent(1),
            percent: ruled()
                .set_num_format("0.0 %")
                .set_align(FormatAlign::Right)
                .set_indent(1),
            chance: ruled()
                .set_num_format("[>0.999999]\">99.9999 %\";[<0.000001]\"<0.0001 %\";0.0000 %")
                .set_align(FormatAlign::Right)
                .set_indent(1),
            tiny: ruled()
                .set_num_format("0.00E+00")
                .set_align(FormatAlign::Right)
                .set_indent(1),
            entry: ruled()
                .set_indent(1)
                .set_background_color(ENTRY)
                .set_unlocked(),
            strong: ruled().set_bold().set_indent(1),
            alarm: ruled().set_bold().set_font_color(WARN).set_indent(1),
            plain: ink(),
            prose: ink().set_text_wrap().set_align(FormatAlign::Top),
            remark: ink().set_font_size(9).set_italic(),
        }
    }

    /// A length in a unit, with the places that the trade writes and more where there are any.
    pub(super) fn length(&self, unit: Unit) -> Format {
        ruled()
            .set_num_format(length_format(unit))
            .set_align(FormatAlign::Right)
            .set_indent(1)
    }

    /// A length that a person may change.
    pub(super) fn length_entry(&self, unit: Unit) -> Format {
        self.length(unit).set_background_color(ENTRY).set_unlocked()
    }

    /// A share that a person may change.
    pub(super) fn percent_entry(&self) -> Format {
        self.percent
            .clone()
            .set_background_color(ENTRY)
            .set_unlocked()
    }

    /// A plain number that a person may change.
    pub(super) fn number_entry(&self) -> Format {
        self.number
            .clone()
            .set_background_color(ENTRY)
            .set_unlocked()
    }
}

pub(super) fn length_format(unit: Unit) -> &'static str {
    match unit {
        Unit::Inch => "0.0000##",
        Unit::Millimetre => "0.000###",
        Unit::Thou | Unit::Micrometre => "0.0##",
    }
}

/// Names a sheet and sets it up for print: fits the width of A4 and of Letter alike, says what it
/// is and which page.
pub(super) fn set_up(sheet: &mut Worksheet, name: &str, date: &str) -> Result<(), XlsxError> {
    sheet.set_name(name)?;
    // A4, with margins that leave the printed part no taller than Letter has room for.
    sheet
        .set_paper_size(9)
        .set_margins(0.5, 0.5, 0.75, 0.75, 0.3, 0.3);
    sheet.set_landscape();
    sheet.set_print_fit_to_pages(1, 0);
    sheet.set_header(format!(
        "&L{date}&C&A&Rgapwright {}",
        env!("CARGO_PKG_VERSION")
    ));
    sheet.set_footer(
        "&LThe maker's instructions, local codes and a competent person decide.&RPage &P of &N",
    );
    sheet.protect();
    sheet.set_screen_gridlines(false);
    Ok(())
}

/// Writes the sheet's title and the line under it.
pub(super) fn title(
    sheet: &mut Worksheet,
    title: &str,
    lead: &str,
    styles: &Styles,
) -> Result<(), XlsxError> {
    sheet.write_text(0, 0, title, &styles.title)?;
    sheet.write_text(1, 0, lead, &styles.lead)?;
    Ok(())
}

/// Writes a row of column headings.
pub(super) fn heads(
    sheet: &mut Worksheet,
    row: u32,
    heads: &[&str],
    styles: &Styles,
) -> Result<(), XlsxError> {
    for (column, head) in (0..).zip(heads) {
        sheet.write_text(row, column, *head, &styles.head)?;
    }
    Ok(())
}

/// Sets the widths of the first columns, in characters.
pub(super) fn widths(sheet: &mut Worksheet, widths: &[f64]) -> Result<(), XlsxError> {
    for (column, width) in (0..).zip(widths) {
        sheet.set_column_width(column, *width)?;
    }
    Ok(())
}
