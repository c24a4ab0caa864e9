//! A program that calls the library keeps its panic hook.

use std::fs;
use std::panic;
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::thread;

use gapwright::read::{Memory, workbook};

/// Valid and damaged workbooks of every kind are read; a panic of any thread of the host still reaches the host's
/// hook, and no other.
#[test]
fn reading_a_workbook_leaves_the_panic_hook_of_the_program_alone() {
    let heard = Arc::new(AtomicUsize::new(0));
    let (hook, before) = (Arc::clone(&heard), panic::take_hook());
    panic::set_hook(Box::new(move |info| {
        if info.payload().downcast_ref() == Some(&"of the host") {
            hook.fetch_add(1, Ordering::Relaxed);
        } else {
            before(info);
        }
    }));
    for name in ["shop.xls", "shop.ods", "shop.xlsx"] {
        let whole = fs::read(format!("tests/formats/{name}")).unwrap();
        workbook(name, whole.clone(), &mut Memory::default()).unwrap();
        let cut = whole[..whole.len() / 2].to_vec();
        workbook(name, cut, &mut Memory::default()).unwrap_err();
    }
    for (number, name) in ["reader", "main", "worker"].into_iter().enumerate() {
        let host = thread::Builder::new().name(name.into());
        let panicked = host.spawn(|| panic::panic_any("of the host")).unwrap();
        panicked.join().unwrap_err();
        assert_eq!(heard.load(Ordering::Relaxed), number + 1, "{name}");
    }
}
