//! Files read up to a limit: a growing file, a device or a pipe could go on for ever.

use crate::narrow::narrow;
use std::fs::{self, File};
use std::io::{Error, ErrorKind, Read, Result};
use std::path::Path;

/// Largest model file or materials table, in bytes; the largest built-in one has 10 kB.
pub(super) const OF_MODEL: u64 = 1_000_000;
/// Largest plan for programs, in bytes; a plan of 10,000 pumps has a few megabytes.
pub(super) const OF_PLAN: u64 = 32_000_000;

/// Bytes of a plain file of at most `most` bytes.
pub(crate) fn bytes(path: &Path, most: u64) -> Result<Vec<u8>> {
    let too_large = |length: u64| {
        let limit = most / 1_000;
        Err(Error::other(format!("{length} bytes, more than {limit} kB")))
    };
    let metadata = fs::metadata(path)?;
    if !metadata.is_file() {
        return Err(Error::other("neither a file nor a folder of files"));
    }
    if metadata.len() > most {
        return too_large(metadata.len());
    }
    // The reported length is not trusted: some files grow, some are longer than they report.
    let mut bytes = Vec::new();
    File::open(path)?.take(most + 1).read_to_end(&mut bytes)?;
    match narrow::<u64>(bytes.len()) {
        length if length > most => too_large(length),
        _ => Ok(bytes),
    }
}

/// Whether a file begins as packed workbooks do: zip files and the containers of older programs.
pub(super) fn is_packed(path: &Path) -> bool {
    if !fs::metadata(path).is_ok_and(|there| there.is_file()) {
        return false;
    }
    let mut first = [0; 4];
    let read = File::open(path).and_then(|mut file| file.read_exact(&mut first));
    read.is_ok() && matches!(first, [b'P', b'K', 3 | 5 | 7, _] | [0xd0, 0xcf, 0x11, 0xe0])
}

/// Whether a file of a folder is the shadow of another: macOS puts `._name` beside `name` on disks of other systems.
pub(super) fn is_shadow(path: &Path) -> bool {
    path.file_name().is_some_and(|name| name.as_encoded_bytes().starts_with(b"._"))
}

/// Text of a plain file of at most `most` bytes.
pub(super) fn text(path: &Path, most: u64) -> Result<String> {
    String::from_utf8(bytes(path, most)?)
        .map_err(|_| Error::new(ErrorKind::InvalidData, "bytes that are not UTF-8 text"))
}
