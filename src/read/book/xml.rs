//! XML reader with a limit on each single value and on the nesting of elements, so that neither can fill the memory.

use std::cell::Cell;
use std::io::{self, BufRead, Read};
use std::rc::Rc;

use crate::narrow::narrow;
use quick_xml::Reader;
use quick_xml::events::{BytesStart, Event};
use thiserror::Error;

/// Faults of XML.
#[derive(Debug, Error)]
pub(super) enum XmlError {
    /// Unreadable, or not XML.
    #[error(transparent)]
    Broken(#[from] quick_xml::Error),
    /// Elements nested too deep, or with names that are too long.
    #[error("elements inside each other without end")]
    TooDeep,
    /// Ends inside an element.
    #[error("it ends too early")]
    CutShort,
}

/// A stream that gives out a limited number of bytes between two events of the XML reader.
struct Leash<R> {
    inner: R,
    left: Rc<Cell<u64>>,
}

impl<R: BufRead> Read for Leash<R> {
    fn read(&mut self, buf: &mut [u8]) -> io::Result<usize> {
        let mut ready = self.fill_buf()?;
        let count = ready.read(buf)?;
        self.consume(count);
        Ok(count)
    }
}

impl<R: BufRead> BufRead for Leash<R> {
    fn fill_buf(&mut self) -> io::Result<&[u8]> {
        if self.left.get() == 0 {
            return Err(io::Error::other("a single value that is far too long"));
        }
        self.inner.fill_buf()
    }

    fn consume(&mut self, count: usize) {
        let count_64 = narrow::<u64>(count);
        self.left.set(self.left.get().saturating_sub(count_64));
        self.inner.consume(count);
    }
}

/// Deeper than any workbook's parts; the reader remembers the names of all open elements.
const DEEPEST: u32 = 256;
/// Longer than any element's name.
const LONGEST_NAME: usize = 1_000;

/// An XML part, event by event, up to its end.
pub(super) struct Events<R: BufRead> {
    reader: Reader<Leash<R>>,
    left: Rc<Cell<u64>>,
    longest: u64,
    depth: u32,
    buffer: Vec<u8>,
}

impl<R: BufRead> Events<R> {
    /// Reads events of at most `longest` bytes each.
    pub(super) fn new(stream: R, longest: u64) -> Events<R> {
        let left = Rc::new(Cell::new(longest));
        let mut reader = Reader::from_reader(Leash { inner: stream, left: Rc::clone(&left) });
        reader.config_mut().expand_empty_elements = true;
        Events { reader, left, longest, depth: 0, buffer: Vec::new() }
    }

    /// The next event, and the number of its bytes.
    ///
    /// # Errors
    /// [`XmlError`].
    pub(super) fn next(&mut self) -> Result<(Event<'_>, u64), XmlError> {
        self.buffer.clear();
        self.left.set(self.longest);
        let event = self.reader.read_event_into(&mut self.buffer)?;
        match &event {
            Event::Start(element) => {
                self.depth += 1;
                if self.depth > DEEPEST || element.name().as_ref().len() > LONGEST_NAME {
                    return Err(XmlError::TooDeep);
                }
            }
            Event::End(_) => self.depth = self.depth.saturating_sub(1),
            Event::Eof if self.depth > 0 => return Err(XmlError::CutShort),
            _ => {}
        }
        Ok((event, self.longest - self.left.get()))
    }
}

/// An attribute's value, by the name without its prefix.
pub(super) fn attribute(element: &BytesStart<'_>, name: &str) -> Option<String> {
    element
        .attributes()
        .filter_map(Result::ok)
        .find(|a| a.key.local_name().as_ref() == name)
        .and_then(|a| {
            let value = a.normalized_value(quick_xml::XmlVersion::Implicit1_0);
            value.ok().map(std::borrow::Cow::into_owned)
        })
}

/// Whether an attribute is true.
pub(super) fn says_yes(element: &BytesStart<'_>, name: &str) -> bool {
    attribute(element, name).is_some_and(|value| value == "1" || value == "true")
}
