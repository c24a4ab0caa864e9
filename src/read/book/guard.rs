//! Keeps a library's panic on a damaged file from ending the program.

use std::cell::Cell;
use std::panic::{self, AssertUnwindSafe};

thread_local! {
    /// Whether this thread is inside a reader, so that a panic is caught.
    static READING: Cell<bool> = const { Cell::new(false) };
}

/// Runs a reader; `None` if it panicked.
///
/// The libraries for binary workbooks index without checks. Their panics are caught here and become an ordinary
/// problem of the file. The host's panic hook is neither replaced nor bypassed; [`is_reading`] lets it stay silent.
pub(super) fn guarded<T>(read: impl FnOnce() -> T) -> Option<T> {
    let before = READING.replace(true);
    // A half-finished state belongs to the reader, or is a memory count that only rises.
    let read = panic::catch_unwind(AssertUnwindSafe(read));
    READING.set(before);
    read.ok()
}

/// Whether a panic of this thread would be caught and reported as a problem of a file: a panic hook may ignore it.
/// Installing a hook is up to the program.
///
/// ```
/// use gapwright::read::is_reading;
/// let usual = std::panic::take_hook();
/// std::panic::set_hook(Box::new(move |info| {
///     if !is_reading() {
///         usual(info);
///     }
/// }));
/// assert!(!is_reading());
/// ```
pub fn is_reading() -> bool {
    READING.get()
}

#[cfg(test)]
mod tests {
    use super::{guarded, is_reading};
    use std::panic;
    use std::sync::{Arc, Mutex};

    #[test]
    fn a_panic_is_no_end_and_the_hook_of_the_program_stays() {
        let fail = || [0_u8; 0][std::hint::black_box(3)];
        let told = Arc::new(Mutex::new(Vec::new()));
        let (tell, own, usual) =
            (Arc::clone(&told), std::thread::current().id(), Arc::new(panic::take_hook()));
        let before = Arc::clone(&usual);
        panic::set_hook(Box::new(move |info| {
            if std::thread::current().id() == own {
                tell.lock().unwrap().push(is_reading());
            } else {
                before(info);
            }
        }));
        assert_eq!(guarded(|| 7), Some(7));
        assert_eq!(guarded(fail), None);
        // The hook is still the program's, and it sees a panic outside a reader as usual.
        assert!(panic::catch_unwind(fail).is_err());
        drop(panic::take_hook());
        panic::set_hook(Box::new(move |info| usual(info)));
        assert_eq!(*told.lock().unwrap(), [true, false]);
        assert!(!is_reading());
    }
}
