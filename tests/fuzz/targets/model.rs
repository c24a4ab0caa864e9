#![no_main]

use gapwright_fuzz::{begin, bodies};
use libfuzzer_sys::fuzz_target;

fuzz_target!(init: begin(), |bytes: &[u8]| bodies::model::run(bytes));
