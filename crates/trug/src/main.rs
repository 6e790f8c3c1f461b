//! The command line; see the library for what it does.

use std::process::ExitCode;

fn main() -> ExitCode {
    trug::run_process()
}
