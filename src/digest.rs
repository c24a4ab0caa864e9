//! Hashes of files and texts, in hexadecimal.

use std::io;

use sha2::{Digest, Sha256};

/// A hash of a text that comes in parts.
#[derive(Default)]
pub(crate) struct Hasher(Sha256);

impl Hasher {
    /// Adds a part; the borders of parts do not count.
    pub(crate) fn add(&mut self, bytes: &[u8]) {
        self.0.update(bytes);
    }

    /// SHA-256 of all parts together, in hexadecimal.
    pub(crate) fn end(self) -> String {
        let digest = self.0.finalize();
        digest.iter().map(|byte| format!("{byte:02x}")).collect()
    }
}

impl io::Write for Hasher {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.add(bytes);
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

/// SHA-256 in hexadecimal: 64 lower-case digits.
///
/// The digest of the empty text is that of FIPS 180-4's published test vectors.
///
/// ```
/// assert!(gapwright::digest::sha256(b"").starts_with("e3b0c442"));
/// ```
pub fn sha256(bytes: &[u8]) -> String {
    let mut parts = Hasher::default();
    parts.add(bytes);
    parts.end()
}
