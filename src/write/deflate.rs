//! Parts of a file packed side by side, each by itself, so that they stand behind each other as one.

use std::sync::{Arc, Condvar, Mutex, PoisonError};

use flate2::{Compress, Compression, Crc, FlushCompress};
use rust_xlsxwriter::XlsxError;

/// How hard texts are packed: less time than the usual 6 takes, and files 0.3 % larger.
pub(super) const LEVEL: u8 = 5;

/// Packed bytes, with the sum and the length of what they hold.
#[derive(Default)]
pub(super) struct Packed {
    bytes: Vec<u8>,
    sum: Crc,
}

/// Packs a part (RFC 1951); only behind the last one there is nothing.
pub(super) fn pack(text: &[u8], last: bool) -> Packed {
    let mut sum = Crc::new();
    sum.update(text);
    let mut packer = Compress::new(Compression::new(LEVEL.into()), false);
    let flush = if last { FlushCompress::Finish } else { FlushCompress::Full };
    let mut bytes = Vec::with_capacity(text.len() / 8 + 1_024);
    loop {
        let taken = usize::try_from(packer.total_in()).unwrap_or(usize::MAX).min(text.len());
        // Only a call without a buffer to write into can fail.
        let _ = packer.compress_vec(&text[taken..], &mut bytes, flush);
        let all = packer.total_in() == text.len() as u64;
        if all && bytes.len() < bytes.capacity() {
            break;
        }
        bytes.reserve(bytes.len() / 2 + 1_024);
    }
    Packed { bytes, sum }
}

impl Packed {
    /// Adds a part behind.
    pub(super) fn add(&mut self, part: &Packed) {
        self.bytes.extend_from_slice(&part.bytes);
        self.sum.combine(&part.sum);
    }

    /// An archive with nothing but this under a name (APPNOTE.TXT 4.3: a local header, the data, a central header, the end).
    ///
    /// # Errors
    /// [`XlsxError::ParameterError`] for more than 4 GB.
    pub(super) fn archive(&self, name: &str) -> Result<Vec<u8>, XlsxError> {
        let large = |_| XlsxError::ParameterError(format!("{name} is too large"));
        let packed = u32::try_from(self.bytes.len()).map_err(large)?;
        let name_length = u16::try_from(name.len()).map_err(large)?;
        // Version 2.0, no flags, deflated, at the start of 1980; sum, lengths, no further fields.
        let mut about = Vec::new();
        for short in [20_u16, 0, 8, 0, 0x21] {
            about.extend(short.to_le_bytes());
        }
        for long in [self.sum.sum(), packed, self.sum.amount()] {
            about.extend(long.to_le_bytes());
        }
        about.extend(name_length.to_le_bytes());
        about.extend([0; 2]);
        let mut file = Vec::with_capacity(self.bytes.len() + 2 * name.len() + 200);
        file.extend(b"PK\x03\x04");
        file.extend(&about);
        file.extend(name.as_bytes());
        file.extend(&self.bytes);
        let central = u32::try_from(file.len()).map_err(large)?;
        file.extend(b"PK\x01\x02");
        // Made on Unix, readable and writable by its owner.
        file.extend([20, 3]);
        file.extend(&about);
        file.extend([0; 6]);
        file.extend((0o100_600_u32 << 16).to_le_bytes());
        file.extend([0; 4]);
        file.extend(name.as_bytes());
        let central_length = u32::try_from(file.len()).map_err(large)? - central;
        file.extend(b"PK\x05\x06");
        file.extend([0, 0, 0, 0, 1, 0, 1, 0]);
        file.extend(central_length.to_le_bytes());
        file.extend(central.to_le_bytes());
        file.extend([0; 2]);
        Ok(file)
    }
}

/// A part on its way: packed by whoever comes first, a thread that has nothing else to do or the one that needs it.
#[derive(Clone)]
pub(super) struct Part(Arc<(Mutex<State>, Condvar)>);

enum State {
    Text(Vec<u8>),
    InHand,
    Packed(Packed),
    Given,
}

impl Part {
    /// A part that any thread may pack from now on.
    pub(super) fn of(text: Vec<u8>) -> Part {
        let part = Part(Arc::new((Mutex::new(State::Text(text)), Condvar::new())));
        let other = part.clone();
        rayon::spawn(move || other.pack());
        part
    }

    /// Packs it, unless another thread does or did.
    fn pack(&self) {
        let (state, done) = &*self.0;
        let mut at = state.lock().unwrap_or_else(PoisonError::into_inner);
        let text = match std::mem::replace(&mut *at, State::InHand) {
            State::Text(text) => text,
            other => {
                *at = other;
                return;
            }
        };
        drop(at);
        let packed = pack(&text, false);
        *state.lock().unwrap_or_else(PoisonError::into_inner) = State::Packed(packed);
        done.notify_all();
    }

    /// Waits until it is packed, and packs it if nobody does.
    pub(super) fn wait(&self) {
        self.pack();
        let (state, done) = &*self.0;
        let at = state.lock().unwrap_or_else(PoisonError::into_inner);
        let waited = done.wait_while(at, |at| matches!(at, State::InHand));
        drop(waited.unwrap_or_else(PoisonError::into_inner));
    }

    /// The packed part, which is nothing the second time.
    pub(super) fn packed(self) -> Packed {
        self.wait();
        let mut at = self.0.0.lock().unwrap_or_else(PoisonError::into_inner);
        match std::mem::replace(&mut *at, State::Given) {
            State::Packed(packed) => packed,
            _ => Packed::default(),
        }
    }
}
