//! Values that are there and that nobody sees: struck through, or in the colour of their ground.
//!
//! Certain where the cell's own style gives both colours. Not looked at in any kind of file: conditional formats,
//! patterns and gradients, colours of a number format, and texts of which only a part is struck through. A theme's
//! first colour is taken for white, and so is the white of a palette that the file does not give.

use quick_xml::events::BytesStart;

use super::xml::{attribute, says_yes};

/// Colour of a text, or of the ground below it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(super) enum Colour {
    /// Chosen by the program, so that it can be seen.
    #[default]
    Automatic,
    /// Red, green and blue.
    Rgb(u32),
    /// Entry of a palette that is not known.
    Palette(u32),
    /// Entry of the theme, and the bits of its tint.
    Theme(u32, u64),
}

impl Colour {
    pub(super) const WHITE: Colour = Colour::Rgb(0x00ff_ffff);

    /// Colour in six hexadecimal digits, perhaps after others for its opacity.
    pub(super) fn hex(text: &str) -> Colour {
        let digits = text.len().checked_sub(6).and_then(|at| text.get(at..));
        let rgb = digits.and_then(|digits| u32::from_str_radix(digits, 16).ok());
        rgb.map_or(Colour::Automatic, Colour::Rgb)
    }

    /// Entry of the palette that all programs have at first; 64 and those from 81 on are the system's for texts.
    pub(super) fn indexed(number: u32) -> Colour {
        match number {
            0 | 8 => Colour::Rgb(0),
            1 | 9 | 65 => Colour::WHITE,
            64 | 81.. => Colour::Automatic,
            other => Colour::Palette(other),
        }
    }

    /// Entry of the theme.
    pub(super) fn theme(number: u32, tint: u64) -> Colour {
        if (number, tint) == (0, 0) { Colour::WHITE } else { Colour::Theme(number, tint) }
    }

    fn of(element: &BytesStart<'_>) -> Colour {
        let number = |name| attribute(element, name).and_then(|n| n.parse::<u32>().ok());
        let tint = attribute(element, "tint").and_then(|tint| tint.parse::<f64>().ok());
        match (attribute(element, "rgb"), number("theme"), number("indexed")) {
            (Some(rgb), ..) => Colour::hex(&rgb),
            (_, Some(theme), _) => Colour::theme(theme, tint.unwrap_or(0.0).to_bits()),
            (.., Some(number)) => Colour::indexed(number),
            _ => Colour::Automatic,
        }
    }
}

/// Font, as far as it decides whether its text counts.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Ink {
    pub(super) struck: bool,
    pub(super) colour: Colour,
}

impl Ink {
    /// Whether a text is struck through, or has the colour of its ground.
    pub(super) fn is_out_of_sight(self, ground: Option<Colour>) -> bool {
        self.struck || (self.colour != Colour::Automatic && ground == Some(self.colour))
    }
}

/// Fonts and fills of a workbook, by their numbers. A fill is `None` where it has more than one colour.
#[derive(Debug, Default)]
pub(super) struct Inks {
    pub(super) fonts: Vec<Ink>,
    pub(super) fills: Vec<Option<Colour>>,
    /// List that the elements of .xlsx belong to.
    list: List,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
enum List {
    Fonts,
    Fills,
    #[default]
    Other,
}

impl Inks {
    /// Whether a text in this font on this fill is struck through, or cannot be seen.
    pub(super) fn hide(&self, font: usize, fill: usize) -> bool {
        let ink = self.fonts.get(font).copied().unwrap_or_default();
        let ground = self.fills.get(fill).copied().unwrap_or(Some(Colour::WHITE));
        ink.is_out_of_sight(ground)
    }

    /// Takes an element of the styles of .xlsx (ECMA-376 part 1, 18.8).
    pub(super) fn element(&mut self, element: &BytesStart<'_>) {
        let (font, fill) = (self.fonts.last_mut(), self.fills.last_mut());
        match (element.local_name().as_ref(), self.list) {
            ("fonts", _) => self.list = List::Fonts,
            ("fills", _) => self.list = List::Fills,
            ("borders" | "cellStyleXfs" | "cellXfs" | "dxfs", _) => self.list = List::Other,
            ("font", List::Fonts) => self.fonts.push(Ink::default()),
            ("strike", List::Fonts) => {
                let no = attribute(element, "val").is_some() && !says_yes(element, "val");
                font.into_iter().for_each(|font| font.struck = !no);
            }
            ("color", List::Fonts) => {
                font.into_iter().for_each(|font| font.colour = Colour::of(element));
            }
            ("fill", List::Fills) => self.fills.push(None),
            ("patternFill", List::Fills) => {
                let pattern = attribute(element, "patternType");
                let colour = match pattern.as_deref() {
                    None | Some("none") => Some(Colour::WHITE),
                    Some("solid") => Some(Colour::Automatic),
                    Some(_) => None,
                };
                fill.into_iter().for_each(|fill| *fill = colour);
            }
            ("fgColor", List::Fills) => {
                let solid = fill.filter(|fill| **fill == Some(Colour::Automatic));
                solid.into_iter().for_each(|fill| *fill = Some(Colour::of(element)));
            }
            _ => {}
        }
    }
}
