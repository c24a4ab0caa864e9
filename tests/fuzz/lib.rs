//! Common parts of all fuzz targets: their bodies, a bound on memory, and the panics that count.

pub mod bodies;

use std::alloc::System;

use cap::Cap;

/// Memory that any input may take. A larger request ends the run at once, on the very input that made it; the
/// fuzzer's own memory is not counted.
const MOST_BYTES: usize = 512_000_000;

#[global_allocator]
static MEMORY: Cap<System> = Cap::new(System, usize::MAX);

/// Called once before the first input.
pub fn begin() {
    MEMORY.set_limit(MOST_BYTES).expect("less is in use");
    let aborts = std::panic::take_hook();
    std::panic::set_hook(Box::new(move |panic| {
        // A damaged binary file may make a foreign reader panic; that is caught, and becomes a plain problem.
        if !gapwright::guard::is_guarded() {
            aborts(panic);
        }
    }));
}
