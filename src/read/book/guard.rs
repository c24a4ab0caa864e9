//! Keeps a library's failure on a damaged file from ending the program.

use std::panic;
use std::sync::Once;
use std::thread;

/// The name of the thread in which files are taken apart.
const NAME: &str = "reader";

/// Runs a reader; `None` if it panicked, of which nothing is printed.
///
/// The libraries that take binary workbooks apart index without asking. Their panics are caught
/// here, in a thread of its own, and become an ordinary problem with the file.
pub(super) fn guarded<T: Send>(read: impl FnOnce() -> T + Send) -> Option<T> {
    static QUIET: Once = Once::new();
    QUIET.call_once(|| {
        let usual = panic::take_hook();
        panic::set_hook(Box::new(move |info| {
            if thread::current().name() != Some(NAME) {
                usual(info);
            }
        }));
    });
    thread::scope(|scope| {
        let reader = thread::Builder::new()
            .name(NAME.into())
            .spawn_scoped(scope, read);
        reader.ok()?.join().ok()
    })
}

#[cfg(test)]
mod tests {
    use super::guarded;

    #[test]
    fn a_panic_is_no_end() {
        assert_eq!(guarded(|| 7), Some(7));
        let nothing: [u8; 0] = [];
        assert_eq!(guarded(|| nothing[std::hint::black_box(3)]), None);
    }
}
