//! The command line of gapwright.

use std::panic;
use std::process::ExitCode;

fn main() -> ExitCode {
    // A reader's panic on a damaged file is reported as a problem of the file.
    let usual = panic::take_hook();
    panic::set_hook(Box::new(move |info| {
        if !gapwright::guard::is_guarded() {
            usual(info);
        }
    }));
    gapwright::cli::main()
}
