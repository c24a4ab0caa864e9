//! Formats and page set-up that the sheets share.
//!
//! The colours are our own choice out of hues that stay apart for the colour-blind (blue and
//! orange), and nothing is said by colour alone.

use rust_xlsxwriter::{
    ChartPatternFill, ChartPatternFillType, Color, Format, FormatAlign, FormatBorder,
    FormatUnderline, Worksheet,
};

use super::page::Written;
use crate::length::Unit;
use crate::outage::PlaceInOutage;

/// The colour of text and of strong rules.
pub(super) const INK: Color = Color::RGB(0x1D_2B_3A);
const PALE: Color = Color::RGB(0xE4_EC_F4);
/// The colour of a cell whose requirement is met.
pub(super) const MET: Color = Color::RGB(0xCF_E0_F5);
/// The colour of a cell whose requirement is not met.
pub(super) const NOT_MET: Color = Color::RGB(0xFB_DF_C8);
/// The colour of a cell for a person to fill in.
pub(super) const ENTRY: Color = Color::RGB(0xFF_F6_D6);
/// The colour of what warns.
pub(super) const WARN: Color = Color::RGB(0xB3_4A_00);
const RULE: Color = Color::RGB(0xA9_B8_C6);
/// The colour of a series that shows values.
pub(super) const VALUES: Color = Color::RGB(0x1F_5F_A8);
/// The colour of a series that shows limits.
pub(super) const LIMITS: Color = Color::RGB(0xC8_65_0A);

/// Columns with stripes, beside filled ones: told apart without colour.
pub(super) fn striped() -> ChartPatternFill {
    ChartPatternFill::new()
        .set_pattern(ChartPatternFillType::DiagonalStripesWideUpwards)
        .set_foreground_color(LIMITS)
        .set_background_color(Color::White)
        .clone()
}

/// The formats of a workbook, and the date on its pages.
pub(super) struct Styles {
    pub(super) date: String,
    /// Place of the plan in a running outage, where it is part of one.
    pub(super) place: Option<PlaceInOutage>,
    /// Whether slips and labels that still count are left out of print.
    pub(super) changed_slips_only: bool,
    /// Formats of lengths, by [`Unit`].
    lengths: [Lengths; 4],
    percent_entry: Format,
    number_entry: Format,
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
    /// Text in a ruled cell that is printed smaller where it is longer than its column, never cut.
    pub(super) shrunk: Format,
    /// A whole number.
    pub(super) count: Format,
    /// A plain number.
    pub(super) number: Format,
    /// A share.
    pub(super) percent: Format,
    /// A probability, which may be very near to nothing or to one.
    pub(super) chance: Format,
    /// A probability by Student's distribution: its tails show no more.
    pub(super) chance_of_few: Format,
    /// A number too small for plain places.
    pub(super) tiny: Format,
    /// A cell for a person to fill in.
    pub(super) entry: Format,
    /// A count for a person to fill in.
    pub(super) count_entry: Format,
    /// An amount of money.
    pub(super) money: Format,
    /// Bold text.
    pub(super) strong: Format,
    /// A text that leads to another sheet.
    pub(super) link: Format,
    /// One without rules.
    pub(super) back: Format,
    /// Bold text that may take several lines.
    pub(super) bold: Format,
    /// A requirement that is not met, a pump that is not fit.
    pub(super) alarm: Format,
    /// One that may take several lines.
    pub(super) alarms: Format,
    /// Text without rules.
    pub(super) plain: Format,
    /// Text without rules that may take several lines.
    pub(super) prose: Format,
    /// Small grey remarks.
    pub(super) remark: Format,
}

/// Formats of lengths in a unit.
struct Lengths {
    length: Format,
    reading: Format,
    entry: Format,
}

impl Lengths {
    fn of(unit: Unit) -> Lengths {
        let places = usize::try_from(unit.places()).unwrap_or(4);
        let length = ruled().set_align(FormatAlign::Right).set_indent(1);
        let reading = length.clone().set_num_format(format!("0.{:0<places$}", ""));
        let length = length.set_num_format(length_format(unit));
        Lengths { reading, entry: open(length.clone()), length }
    }
}

fn ruled() -> Format {
    Format::new()
        .set_font_color(INK)
        .set_border(FormatBorder::Thin)
        .set_border_color(RULE)
        .set_align(FormatAlign::VerticalCenter)
}

/// A format for a cell that a person fills in or may change.
pub(super) fn open(format: Format) -> Format {
    format.set_background_color(ENTRY).set_unlocked()
}

impl Styles {
    /// Whether the slip of a pump is to be printed.
    pub(super) fn prints(&self, tag: &str) -> bool {
        let mut changes = self.place.iter().flat_map(|place| &place.changes);
        !self.changed_slips_only || changes.any(|change| change.print && change.tag == tag)
    }

    pub(super) fn new(date: &str) -> Styles {
        let ink = || Format::new().set_font_color(INK);
        let right =
            |places| ruled().set_num_format(places).set_align(FormatAlign::Right).set_indent(1);
        let alarm = ruled().set_bold().set_font_color(WARN).set_indent(1);
        let (percent, number) = (right("0.0 %"), right("0.######"));
        Styles {
            date: date.into(),
            place: None,
            changed_slips_only: false,
            lengths: Unit::ALL.map(Lengths::of),
            percent_entry: open(percent.clone()),
            number_entry: open(number.clone()),
            title: ink().set_bold().set_font_size(18),
            lead: ink().set_font_size(11).set_italic(),
            part: ink().set_bold().set_font_size(13),
            head: ruled().set_bold().set_indent(1).set_background_color(PALE).set_text_wrap(),
            text: ruled().set_indent(1),
            wrapped: ruled().set_text_wrap().set_indent(1),
            shrunk: ruled().set_indent(1).set_shrink(),
            count: right("0"),
            number,
            percent,
            chance_of_few: right("[>0.999]\">99.9 %\";[<0.001]\"<0.1 %\";0.00 %"),
            chance: right("[>0.999999]\">99.9999 %\";[<0.000001]\"<0.0001 %\";0.0000 %"),
            tiny: right("0.00E+00"),
            entry: open(ruled().set_indent(1)),
            count_entry: open(right("0")),
            money: right("0.00####"),
            strong: ruled().set_bold().set_indent(1),
            link: ruled()
                .set_bold()
                .set_indent(1)
                .set_font_color(VALUES)
                .set_underline(FormatUnderline::Single),
            back: ink().set_font_color(VALUES).set_underline(FormatUnderline::Single),
            bold: ruled().set_bold().set_indent(1).set_text_wrap(),
            alarms: alarm.clone().set_text_wrap(),
            alarm,
            plain: ink(),
            prose: ink().set_text_wrap().set_align(FormatAlign::Top),
            remark: ink().set_font_size(9).set_italic(),
        }
    }

    /// A length in a unit, with the places that the trade writes and more where there are any.
    pub(super) fn length(&self, unit: Unit) -> &Format {
        &self.lengths[unit as usize].length
    }

    /// A length in the digits of a gauge.
    pub(super) fn reading(&self, unit: Unit) -> &Format {
        &self.lengths[unit as usize].reading
    }

    /// A margin in a unit, of a requirement that is met and of one that is not.
    pub(super) fn verdicts(&self, unit: Unit) -> [Format; 2] {
        let [met, not_met] = [(); 2].map(|()| self.length(unit).clone());
        [
            met.set_background_color(MET),
            not_met.set_background_color(NOT_MET).set_bold().set_font_color(WARN),
        ]
    }

    /// A length that a person may change.
    pub(super) fn length_entry(&self, unit: Unit) -> &Format {
        &self.lengths[unit as usize].entry
    }

    /// A share that a person may change.
    pub(super) fn percent_entry(&self) -> &Format {
        &self.percent_entry
    }

    /// A plain number that a person may change.
    pub(super) fn number_entry(&self) -> &Format {
        &self.number_entry
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
pub(super) fn set_up(sheet: &mut Worksheet, name: &str, styles: &Styles) -> Written {
    sheet.set_name(name)?;
    // A4, with margins that leave the printed part no taller than Letter has room for.
    sheet.set_paper_size(9).set_margins(0.5, 0.5, 0.75, 0.75, 0.3, 0.3);
    sheet.set_landscape();
    sheet.set_print_fit_to_pages(1, 0);
    // An ampersand begins a field there.
    let place = styles.place.as_ref().map(|place| place.words().replace('&', "&&"));
    let place = place.map_or(String::new(), |words| format!("  {words}"));
    let date = &styles.date;
    sheet.set_header(format!("&L{date}{place}&C&A&Rgapwright {}", env!("CARGO_PKG_VERSION")));
    sheet.set_footer(
        "&LThe maker's instructions, local codes and a competent person decide.&RPage &P of &N",
    );
    sheet.protect();
    sheet.set_screen_gridlines(false);
    Ok(())
}

/// How many lines the longest of some texts takes, each in a column so many characters wide; from one number of
/// lines to another.
pub(super) fn lines(texts: &[(&str, usize)], [least, most]: [usize; 2]) -> f64 {
    let lines = texts.iter().map(|(text, width)| text.chars().count().div_ceil((*width).max(1)));
    f64::from(u16::try_from(lines.max().unwrap_or(0).clamp(least, most)).unwrap_or(u16::MAX))
}

/// How many lines a text takes in a column so many characters wide, as a row's height in points; a row has
/// room for 25 of them (409 points, from memory).
pub(super) fn tall(text: &str, width: usize) -> f64 {
    let lines: usize = text.lines().map(|line| line.chars().count().div_ceil(width).max(1)).sum();
    16.0 * f64::from(u16::try_from(lines.clamp(1, 25)).unwrap_or(25))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// How the colour-blind see a colour: matrices on linear red, green and blue for a whole lack of one kind of
    /// cone. Source: Machado, Oliveira and Fernandes, "A Physiologically-based Model for Simulation of Color Vision
    /// Deficiency", 2009, severity 1.0 (from memory); the last one is no colour at all (luminance, IEC 61966-2-1).
    const SIGHTS: [(&str, [[f64; 3]; 3]); 5] = [
        ("all", [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]]),
        (
            "no red",
            [
                [0.152_286, 1.052_583, -0.204_868],
                [0.114_503, 0.786_281, 0.099_216],
                [-0.003_882, -0.048_116, 1.051_998],
            ],
        ),
        (
            "no green",
            [
                [0.367_322, 0.860_646, -0.227_968],
                [0.280_085, 0.672_501, 0.047_413],
                [-0.011_820, 0.042_940, 0.968_881],
            ],
        ),
        (
            "no blue",
            [
                [1.255_528, -0.076_749, -0.178_779],
                [-0.078_411, 0.930_809, 0.147_602],
                [0.004_733, 0.691_367, 0.303_900],
            ],
        ),
        (
            "grey",
            [[0.212_6, 0.715_2, 0.072_2], [0.212_6, 0.715_2, 0.072_2], [0.212_6, 0.715_2, 0.072_2]],
        ),
    ];

    /// A colour as it is seen, in CIE L*a*b* (D65; CIE 15).
    fn seen(colour: Color, sight: &[[f64; 3]; 3]) -> [f64; 3] {
        let Color::RGB(rgb) = colour else {
            panic!("a colour of our own");
        };
        let linear = [16, 8, 0].map(|shift| {
            let value = f64::from((rgb >> shift) & 0xFF) / 255.0;
            match value <= 0.040_45 {
                true => value / 12.92,
                false => ((value + 0.055) / 1.055).powf(2.4),
            }
        });
        let sum = |row: &[f64; 3]| -> f64 { row.iter().zip(linear).map(|(m, c)| m * c).sum() };
        let [r, g, b] = [&sight[0], &sight[1], &sight[2]].map(|row| sum(row).clamp(0.0, 1.0));
        let x = (0.4124 * r + 0.3576 * g + 0.1805 * b) / 0.9505;
        let y = 0.2126 * r + 0.7152 * g + 0.0722 * b;
        let z = (0.0193 * r + 0.1192 * g + 0.9505 * b) / 1.0890;
        let f = |t: f64| match t > 0.008_856 {
            true => t.cbrt(),
            false => 7.787 * t + 16.0 / 116.0,
        };
        let (fx, fy, fz) = (f(x), f(y), f(z));
        [116.0 * fy - 16.0, 500.0 * (fx - fy), 200.0 * (fy - fz)]
    }

    /// The colours of series stay apart for everybody, by twelve at least where one is just noticed, and no series
    /// is told apart by them alone all the same: see the marks, dashes and hatching of each picture.
    #[test]
    fn the_colours_of_series_stay_apart_for_everybody() {
        let series = [VALUES, LIMITS, INK];
        for (name, sight) in &SIGHTS {
            for (at, one) in series.iter().enumerate() {
                for other in &series[at + 1..] {
                    let (a, b) = (seen(*one, sight), seen(*other, sight));
                    let squares = a.iter().zip(b).map(|(a, b)| (a - b).powi(2));
                    let apart = squares.sum::<f64>().sqrt();
                    assert!(apart > 12.0, "{name}: {apart}");
                }
            }
        }
        // The measure itself: black and white are a hundred apart.
        let grey = &SIGHTS[4].1;
        let white = seen(Color::RGB(0xFF_FF_FF), grey)[0] - seen(Color::RGB(0), grey)[0];
        assert!((white - 100.0).abs() < 0.1, "{white}");
    }
}
