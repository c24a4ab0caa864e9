//! The drawings of the models on the slips of a large outage.
//!
//! rust_xlsxwriter keeps the bytes of an image once for every cell that shows it: 10,000 slips with a drawing of
//! 2 MB would take 20 GB. So where there are very many, the slips show stand-ins, which are the beginnings of the
//! files up to their pixels, and the whole files are put in their places once the workbook is made.

use std::borrow::Cow;
use std::io::{Cursor, Read, Write};

use rust_xlsxwriter::XlsxError;
use zip::write::SimpleFileOptions;
use zip::{ZipArchive, ZipWriter};

use crate::job::Job;

/// Up to so many slips each has the whole drawing.
const FEW: usize = 1_000;

/// The image that slips show of each model's drawing, if it has one, and the whole of it.
pub(super) struct Drawings<'a>(Vec<Option<[Cow<'a, [u8]>; 2]>>);

impl<'a> Drawings<'a> {
    pub(super) fn of(job: &'a Job) -> Drawings<'a> {
        let many = job.pumps.len() > FEW;
        let models = job.models.iter().enumerate().map(|(index, model)| {
            let whole: &[u8] = &model.drawing.as_ref()?.bytes;
            let shown = many.then(|| stand_in(whole, index)).flatten();
            Some([shown.map_or(Cow::Borrowed(whole), Cow::Owned), whole.into()])
        });
        Drawings(models.collect())
    }

    /// The image that a slip of a model shows.
    pub(super) fn shown(&self, model: usize) -> Option<&[u8]> {
        self.0.get(model)?.as_ref().map(|[shown, _]| &**shown)
    }

    /// Puts the whole drawings in the places of their stand-ins.
    pub(super) fn put_in(&self, workbook: Vec<u8>) -> Result<Vec<u8>, XlsxError> {
        let replaced: Vec<&[Cow<'_, [u8]>; 2]> =
            (self.0.iter().flatten()).filter(|[shown, whole]| shown != whole).collect();
        if replaced.is_empty() {
            return Ok(workbook);
        }
        let mut old = ZipArchive::new(Cursor::new(&workbook))?;
        let mut new = ZipWriter::new(Cursor::new(Vec::with_capacity(workbook.len())));
        for index in 0..old.len() {
            let mut part = old.by_index(index)?;
            let name = part.name()?.into_owned();
            let mut bytes = Vec::new();
            if name.starts_with("xl/media/") {
                part.read_to_end(&mut bytes)?;
            }
            drop(part);
            match replaced.iter().find(|[shown, _]| **shown == bytes) {
                Some([_, whole]) => {
                    new.start_file(name, SimpleFileOptions::default())?;
                    new.write_all(whole)?;
                }
                None => new.raw_copy_file(old.by_index_raw(index)?)?,
            }
        }
        Ok(new.finish()?.into_inner())
    }
}

/// The beginning of a PNG or JPEG file up to its pixels, made different by the number of its model: what says how
/// large it is, and no more.
fn stand_in(whole: &[u8], model: usize) -> Option<Vec<u8>> {
    let (mark, end, before): (&[u8], &[u8], usize) = match whole {
        // A chunk is its length, its name, its data and a sum.
        [0x89, b'P', ..] => (b"IDAT", b"\0\0\0\0IEND\xae\x42\x60\x82", 4),
        _ => (&[0xff, 0xda], &[0xff, 0xda, 0, 2], 0),
    };
    let pixels = memchr::memmem::find(whole, mark)?.checked_sub(before)?;
    let mut bytes = whole[..pixels].to_vec();
    bytes.extend_from_slice(end);
    bytes.extend_from_slice(&model.to_be_bytes());
    Some(bytes)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_stand_in_is_small_and_says_how_large_the_drawing_is() {
        let whole = include_bytes!("../../models/screwed-impeller.png");
        let [one, other] = [0, 1].map(|model| stand_in(whole, model).unwrap());
        assert!(one.len() < 1_000 && one != other);
        let size = |bytes: &[u8]| {
            let image = rust_xlsxwriter::Image::new_from_buffer(bytes).unwrap();
            [image.width(), image.height(), image.width_dpi()].map(f64::to_bits)
        };
        assert_eq!(size(&one), size(whole));
    }
}
