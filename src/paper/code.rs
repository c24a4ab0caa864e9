//! Codes on labels and slips: their texts, and the squares that a scanner reads.

use qrcode::{Color, EcLevel, QrCode};

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

/// Squares of a text's code; `None` where it is too long for one.
pub(crate) fn squares(text: &str) -> Option<Squares> {
    let code = QrCode::with_error_correction_level(text.as_bytes(), EcLevel::M).ok()?;
    let (width, colors) = (code.width(), code.to_colors());
    let dark = colors.iter().enumerate().filter(|(_, m)| **m == Color::Dark);
    let dark = dark.map(|(at, _)| [at / width, at % width]).collect();
    Some(Squares { width, dark })
}
