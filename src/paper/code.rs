//! Codes on labels and slips: their texts, and the squares that a scanner reads.

use qrcode::bits::encode_auto;
use qrcode::canvas::{Canvas, MaskPattern};
use qrcode::ec::construct_codewords;
use qrcode::{Color, EcLevel};

use crate::plain_text::{from_address, in_address};

/// Text of a label's code: a word that tells whose it is and the form's number, the plan's id, the tag.
///
/// ```
/// assert_eq!(gapwright::paper::code("90f268b3212e", "P-208"), "gapwright:1 90f268b3212e P-208");
/// ```
pub fn code(plan: &str, tag: &str) -> String {
    format!("gapwright:1 {plan} {tag}")
}

/// Text of a slip's code: as a label's, with the number of the kit before the tag.
///
/// ```
/// use gapwright::paper::slip_code;
/// assert_eq!(slip_code("90f268b3212e", 7, "P-208"), "gapwright:2 90f268b3212e 7 P-208");
/// ```
pub fn slip_code(plan: &str, kit: u32, tag: &str) -> String {
    format!("gapwright:2 {plan} {kit} {tag}")
}

/// Way from the address of a page to the pump of a code.
const TO_BENCH: &str = "/bench?code=";

/// A slip's code as a link to the page at an address; nothing in it lets anybody in.
///
/// ```
/// use gapwright::paper::{ReadCode, slip_code, slip_link};
/// let code = slip_code("90f268b3212e", 7, "P-208");
/// let link = slip_link("http://127.0.0.1:8470", &code);
/// assert_eq!(link, "http://127.0.0.1:8470/bench?code=gapwright%3A2%2090f268b3212e%207%20P-208");
/// assert_eq!(ReadCode::parse(&link), ReadCode::parse(&code));
/// ```
pub fn slip_link(address: &str, code: &str) -> String {
    format!("{address}{TO_BENCH}{}", in_address(code))
}

/// Text of a label's or a slip's code, read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ReadCode {
    /// The plan's id.
    pub plan: String,
    /// Number of the kit; a label's code has none.
    pub kit: Option<u32>,
    /// Tag of the pump.
    pub tag: String,
}

impl ReadCode {
    /// Whether a text is meant as a code: whatever is not is a tag.
    pub fn is_meant(text: &str) -> bool {
        text.trim_start().starts_with("gapwright:") || text.contains(TO_BENCH)
    }

    /// Reads the text of a code or its link, from a scanner or typed; `None` for any other text.
    ///
    /// ```
    /// use gapwright::paper::{ReadCode, code, slip_code};
    /// let read = ReadCode::parse(&slip_code("90f268b3212e", 7, "P 208")).unwrap();
    /// assert_eq!((read.kit, &*read.tag), (Some(7), "P 208"));
    /// assert_eq!(ReadCode::parse(&code("90f268b3212e", "P-208")).unwrap().kit, None);
    /// assert_eq!(ReadCode::parse("90f268b3212e 7"), None);
    /// ```
    pub fn parse(text: &str) -> Option<ReadCode> {
        let of_link = text.split_once(TO_BENCH).map(|(_, code)| from_address(code));
        let text = of_link.as_deref().unwrap_or(text);
        let (form, rest) = text.trim().split_once(' ')?;
        let (plan, rest) = rest.trim_start().split_once(' ')?;
        let (kit, tag) = match form {
            "gapwright:1" => (None, rest),
            "gapwright:2" => {
                let (kit, tag) = rest.trim_start().split_once(' ')?;
                (Some(kit.parse().ok()?), tag)
            }
            _ => return None,
        };
        let tag = tag.trim().to_string();
        (!tag.is_empty()).then(|| ReadCode { plan: plan.to_string(), kit, tag })
    }
}

/// Squares around a code that stay white, which scanners need (four modules, ISO/IEC 18004, from memory).
pub(crate) const QUIET: usize = 4;

/// Squares of a code, row by row.
pub(crate) struct Squares {
    /// Number of squares in a row.
    pub(crate) width: usize,
    /// Row and column of each dark one.
    pub(crate) dark: Vec<[usize; 2]>,
}

/// Masks that a code may have, in the order of their numbers (ISO/IEC 18004, 7.8.2).
const MASKS: [MaskPattern; 8] = [
    MaskPattern::Checkerboard,
    MaskPattern::HorizontalLines,
    MaskPattern::VerticalLines,
    MaskPattern::DiagonalLines,
    MaskPattern::LargeCheckerboard,
    MaskPattern::Fields,
    MaskPattern::Diamonds,
    MaskPattern::Meadow,
];

/// Squares of a text's code; `None` where it is too long for one.
pub(crate) fn squares(text: &str) -> Option<Squares> {
    let (width, colors) = masked(text.as_bytes())?;
    let dark = colors.iter().enumerate().filter(|(_, m)| **m == Color::Dark);
    let dark = dark.map(|(at, _)| [at / width, at % width]).collect();
    Some(Squares { width, dark })
}

/// The code in the mask with the fewest faults, the first of several: as qrcode chooses it, which takes most of the
/// time of ten thousand codes for that.
fn masked(text: &[u8]) -> Option<(usize, Vec<Color>)> {
    const LEVEL: EcLevel = EcLevel::M;
    let bits = encode_auto(text, LEVEL).ok()?;
    let version = bits.version();
    let width = usize::try_from(version.width()).ok()?;
    let (data, correction) = construct_codewords(&bits.into_bytes(), version, LEVEL).ok()?;
    let mut canvas = Canvas::new(version, LEVEL);
    canvas.draw_all_functional_patterns();
    canvas.draw_data(&data, &correction);
    if width > MOST_IN_LINE {
        return Some((width, canvas.apply_best_mask().into_colors()));
    }
    let masked = MASKS.map(|mask| {
        let mut canvas = canvas.clone();
        canvas.apply_mask(mask);
        canvas.into_colors()
    });
    masked.into_iter().min_by_key(|colors| faults(width, colors)).map(|colors| (width, colors))
}

/// Squares in a line of a code whose faults are counted here.
const MOST_IN_LINE: usize = 116;

/// Points for what scanners take for something else (ISO/IEC 18004, 7.8.3), but for a constant.
fn faults(width: usize, colors: &[Color]) -> usize {
    let mut lines = [vec![0_u128; width], vec![0_u128; width]];
    for (at, _) in colors.iter().enumerate().filter(|(_, color)| **color == Color::Dark) {
        let (row, column) = (at / width, at % width);
        lines[0][row] |= 1 << column;
        lines[1][column] |= 1 << row;
    }
    let mut points = 0;
    for &line in lines.iter().flatten() {
        // Five squares of a colour, or more, beside each other.
        let mut at = 0;
        while at < width {
            let rest = line >> at;
            let run = (rest.trailing_ones().max(rest.trailing_zeros()) as usize).min(width - at);
            points += if run >= 5 { run - 2 } else { 0 };
            at += run;
        }
        // What looks like a corner, with light squares before it or behind.
        for at in (0..width - 6).filter(|at| (line >> at) & 0x7f == 0b101_1101) {
            let before = ((line << 4) >> at) & 0xf;
            let behind = (line >> (at + 7)) & 0xf;
            points += if before == 0 || behind == 0 { 40 } else { 0 };
        }
    }
    // Blocks of four of a colour.
    let inner = (1_u128 << (width - 1)) - 1;
    for pair in lines[0].windows(2) {
        let alike = !(pair[0] ^ pair[1]);
        let blocks = alike & (alike >> 1) & !(pair[0] ^ (pair[0] >> 1)) & inner;
        points += 3 * blocks.count_ones() as usize;
    }
    let dark: usize = lines[0].iter().map(|line| line.count_ones() as usize).sum();
    points + (dark * 200 / colors.len()).abs_diff(100)
}

#[cfg(test)]
mod tests {
    use qrcode::QrCode;

    use super::*;

    #[test]
    fn the_mask_is_the_one_that_the_library_chooses() {
        let mut masks = std::collections::HashSet::new();
        for number in 0..400_usize {
            // Of every length up to the widest that is counted here, and some that are wider.
            let text =
                format!("gapwright:2 90f268b3212e {number} P-{}", "a7".repeat(number % 97 * 9));
            let (width, colors) = masked(text.as_bytes()).unwrap();
            let theirs = QrCode::with_error_correction_level(&text, EcLevel::M).unwrap();
            assert_eq!(width, theirs.width(), "{text}");
            assert!(colors == theirs.to_colors(), "{text}");
            // Three squares of the format name the mask.
            masks.insert([2, 3, 4].map(|at| colors[8 * width + at] == Color::Dark));
        }
        assert!(masks.len() > 4, "{masks:?}");
        assert!(masked(&[b'x'; 4_000]).is_none());
    }
}
