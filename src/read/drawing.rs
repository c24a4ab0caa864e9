//! Reads the drawing of a model: a complete PNG or JPEG picture of a size that a sheet can show.

use std::path::{Path, PathBuf};

use thiserror::Error;

use super::bounded;
use crate::model::{Drawing, KeyedDrawing};
use crate::problem::{Place, Problem, Problems};

/// Largest picture that goes into a workbook, in bytes.
const MOST_BYTES: u64 = 2_000_000;
/// Most pixels along a side.
const MOST_PIXELS: u32 = 10_000;

/// Reasons why a file is not a drawing.
#[derive(Debug, Error)]
enum DrawingError {
    #[error("a file that cannot be read ({0})")]
    Unreadable(#[from] std::io::Error),
    #[error("a PNG picture that is cut short or damaged")]
    Png,
    #[error("a JPEG picture that is cut short or damaged")]
    Jpeg,
    #[error("an empty file")]
    Empty,
    #[error("a file that is neither PNG nor JPEG")]
    OtherKind,
    #[error("a picture of {0} x {1} pixels")]
    Pixels(u32, u32),
}

/// Location of a drawing.
pub(super) enum DrawingAt {
    /// In the program.
    BuiltIn(&'static [u8], KeyedDrawing),
    /// In the folder that was given.
    File(PathBuf),
}

/// Drawing next to a model file, if there is one.
pub(super) fn beside(model: &Path) -> Option<PathBuf> {
    let endings = ["png", "jpg", "jpeg"].into_iter();
    let paths = endings.map(|ending| model.with_extension(ending));
    paths.into_iter().find(|path| path.is_file())
}

impl DrawingAt {
    /// Reads the drawing; its problems are added to `problems`.
    pub(super) fn read(&self, problems: &mut Problems) -> Option<Drawing> {
        let (file, read) = match self {
            DrawingAt::BuiltIn(bytes, keyed) => {
                let with_keys = |drawing| Drawing { keyed: Some(*keyed), ..drawing };
                ("built-in drawing".to_string(), recognise(bytes).map(with_keys))
            }
            DrawingAt::File(path) => (path.display().to_string(), from_file(path)),
        };
        read.map_err(|found| {
            problems.add(Problem::new(
                Place::file(&file),
                found.to_string(),
                format!(
                    "a whole PNG or JPEG picture of at most {} MB and {MOST_PIXELS} pixels a side",
                    MOST_BYTES / 1_000_000
                ),
                "save the drawing again, or take it away: a model needs none",
            ));
        })
        .ok()
    }
}

fn from_file(path: &Path) -> Result<Drawing, DrawingError> {
    recognise(&bounded::bytes(path, MOST_BYTES)?)
}

/// Recognises a picture by its bytes, whatever the file's name.
fn recognise(bytes: &[u8]) -> Result<Drawing, DrawingError> {
    let (width, height) = match bytes {
        [0x89, b'P', b'N', b'G', b'\r', b'\n', 0x1a, b'\n', ..] => {
            png(bytes).ok_or(DrawingError::Png)
        }
        [0xff, 0xd8, ..] => jpeg(bytes).ok_or(DrawingError::Jpeg),
        [] => Err(DrawingError::Empty),
        _ => Err(DrawingError::OtherKind),
    }?;
    if ![width, height].iter().all(|side| (1..=MOST_PIXELS).contains(side)) {
        return Err(DrawingError::Pixels(width, height));
    }
    Ok(Drawing { bytes: bytes.into(), width, height, keyed: None })
}

/// Big-endian number; `None` past the end.
fn number(bytes: &[u8], at: usize, length: usize) -> Option<u32> {
    let bytes = bytes.get(at..at.checked_add(length)?)?;
    Some(bytes.iter().fold(0, |sum, &byte| sum << 8 | u32::from(byte)))
}

/// Width and height of a PNG whose chunks reach from IHDR to IEND.
/// Source: PNG specification, 5.3 (chunk layout), 11.2.1 and 11.2.4, from memory.
fn png(bytes: &[u8]) -> Option<(u32, u32)> {
    let mut at = 8;
    if bytes.get(at + 4..at + 8)? != b"IHDR" {
        return None;
    }
    let size = (number(bytes, at + 8, 4)?, number(bytes, at + 12, 4)?);
    loop {
        let length = usize::try_from(number(bytes, at, 4)?).ok()?;
        let kind = bytes.get(at + 4..at + 8)?;
        // Length, kind, content, checksum.
        let next = at.checked_add(length)?.checked_add(12)?;
        if next > bytes.len() {
            return None;
        }
        if kind == b"IEND" {
            return Some(size);
        }
        at = next;
    }
}

/// Width and height of a JPEG that has a frame, a scan and an end.
/// Source: ITU-T T.81, B.1 and B.2 (markers and their segments), from memory.
fn jpeg(bytes: &[u8]) -> Option<(u32, u32)> {
    let mut at = 2;
    let mut size = None;
    loop {
        let (marker, length) = (number(bytes, at, 2)?, number(bytes, at + 2, 2)?);
        match marker {
            // Start of a scan: the picture itself follows, up to its end.
            0xffda => break,
            // Start of a frame of any kind; three numbers of the row are tables.
            0xffc0..=0xffcf if ![0xffc4, 0xffc8, 0xffcc].contains(&marker) => {
                size = Some((number(bytes, at + 7, 2)?, number(bytes, at + 5, 2)?));
            }
            0xff01..=0xfffe => {}
            _ => return None,
        }
        at = at.checked_add(2)?.checked_add(usize::try_from(length.max(2)).ok()?)?;
    }
    let ended = bytes.get(at..)?.windows(2).any(|pair| pair == [0xff, 0xd9]);
    size.filter(|_| ended)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::read::model::DRAWINGS;

    fn jpeg_bytes(end: &[u8]) -> Vec<u8> {
        // A frame 3 high and 5 wide, a table, a scan.
        let frame = [0xff, 0xc0, 0, 11, 8, 0, 3, 0, 5, 1, 1, 0x11, 0];
        let table = [0xff, 0xc4, 0, 4, 0, 0];
        let scan = [0xff, 0xda, 0, 8, 1, 1, 0, 0, 63, 0, 0x55];
        [&[0xff, 0xd8], &table[..], &frame, &scan, end].concat()
    }

    #[test]
    fn whole_pictures_are_known_by_their_bytes() {
        for (bytes, _) in DRAWINGS {
            let drawing = recognise(bytes).unwrap();
            assert_eq!(drawing.width, 1400);
            assert_eq!(&drawing.bytes[..], bytes);
        }
        let drawing = recognise(&jpeg_bytes(&[0xff, 0xd9])).unwrap();
        assert_eq!((drawing.width, drawing.height), (5, 3));
    }

    #[test]
    fn what_is_no_whole_picture_is_refused_at_any_cut() {
        let (png, _) = DRAWINGS[0];
        for cut in (0..png.len()).step_by(977).chain([8, 15, 24, png.len() - 1]) {
            assert!(recognise(&png[..cut]).is_err(), "{cut}");
        }
        let jpeg = jpeg_bytes(&[0xff, 0xd9]);
        for cut in 0..jpeg.len() {
            assert!(recognise(&jpeg[..cut]).is_err(), "{cut}");
        }
        assert!(recognise(&jpeg_bytes(&[])).is_err());
        for other in [&b"GIF89a"[..], b"<svg/>", b"BM", b"\0\0"] {
            assert!(matches!(recognise(other), Err(DrawingError::OtherKind)));
        }
        let mut huge = png.to_vec();
        huge[16] = 0x7f;
        assert!(matches!(recognise(&huge), Err(DrawingError::Pixels(..))));
    }
}
