//! A file kept under another name before it is replaced.

use std::fs;
use std::io::{Error, ErrorKind, Result};
use std::path::{Path, PathBuf};

use super::{folder_of, temporary};

/// Keeps a file beside itself under the first free name that says what it holds: `plan-filled-in.xlsx`, then
/// `plan-filled-in-2.xlsx`. The file is under both names until it is replaced.
pub(super) fn keep(real: &Path) -> Result<PathBuf> {
    /// More kept copies of one file than anybody would want.
    const MOST: u32 = 1_000;
    for number in 1..=MOST {
        let kept = name(real, number);
        match under(real, &kept) {
            Ok(()) => return Ok(kept),
            Err(error) if error.kind() == ErrorKind::AlreadyExists => {}
            Err(error) => return Err(error),
        }
    }
    Err(Error::other("there are too many kept copies of it"))
}

fn name(real: &Path, number: u32) -> PathBuf {
    let part =
        |part: Option<&std::ffi::OsStr>| part.unwrap_or_default().to_string_lossy().into_owned();
    let (stem, end) = (part(real.file_stem()), part(real.extension()));
    let number = if number == 1 { String::new() } else { format!("-{number}") };
    folder_of(real).join(format!("{stem}-filled-in{number}.{end}"))
}

/// Puts a file under a second name that is free: as a link, which cannot be half there; else as a whole copy.
fn under(real: &Path, kept: &Path) -> Result<()> {
    match fs::hard_link(real, kept) {
        Err(error) if error.kind() != ErrorKind::AlreadyExists => {
            let copy = temporary(real, &fs::read(real)?)?;
            copy.persist_noclobber(kept).map(drop).map_err(|error| error.error)
        }
        linked => linked,
    }
}
