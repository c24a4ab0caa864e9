//! Keeps a library's panic on a damaged file, or on a full disk, from ending the program.

use std::cell::Cell;
use std::panic::{self, AssertUnwindSafe};

thread_local! {
    /// Whether a panic of this thread is caught.
    static GUARDED: Cell<bool> = const { Cell::new(false) };
}

/// Runs a library; its message if it panicked.
///
/// The libraries for binary workbooks index without checks, and the one that writes workbooks does not expect a full disk.
/// Their panics are caught here and become an ordinary problem of the file. The host's panic hook is neither replaced nor
/// bypassed; [`is_guarded`] lets it stay silent. No state may be used that `run` left half finished.
pub(crate) fn guarded<T>(run: impl FnOnce() -> T) -> Result<T, String> {
    let before = GUARDED.replace(true);
    let ran = panic::catch_unwind(AssertUnwindSafe(run));
    GUARDED.set(before);
    ran.map_err(|message| match message.downcast::<String>() {
        Ok(message) => *message,
        Err(message) => message.downcast::<&str>().map_or_else(|_| String::new(), |m| (*m).into()),
    })
}

/// Whether a panic of this thread would be caught and reported as a problem of a file: a panic hook may ignore it.
/// Installing a hook is up to the program.
///
/// ```
/// use gapwright::guard::is_guarded;
/// let usual = std::panic::take_hook();
/// std::panic::set_hook(Box::new(move |info| {
///     if !is_guarded() {
///         usual(info);
///     }
/// }));
/// assert!(!is_guarded());
/// ```
pub fn is_guarded() -> bool {
    GUARDED.get()
}

#[cfg(test)]
mod tests {
    use super::{guarded, is_guarded};
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
                tell.lock().unwrap().push(is_guarded());
            } else {
                before(info);
            }
        }));
        assert_eq!(guarded(|| 7), Ok(7));
        assert!(guarded(fail).unwrap_err().contains("index out of bounds"));
        assert_eq!(guarded(|| -> u8 { std::panic::panic_any("full") }), Err("full".into()));
        // The hook is still the program's, and it sees a panic outside a guard as usual.
        assert!(panic::catch_unwind(fail).is_err());
        drop(panic::take_hook());
        panic::set_hook(Box::new(move |info| usual(info)));
        assert_eq!(*told.lock().unwrap(), [true, true, false]);
        assert!(!is_guarded());
    }
}
