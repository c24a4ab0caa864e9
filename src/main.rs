//! The command line of gapwright.

use std::process::ExitCode;

fn main() -> ExitCode {
    gapwright::cli::main()
}
