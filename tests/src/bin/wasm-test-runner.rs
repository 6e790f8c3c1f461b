//! Runs WebAssembly tests in a headless browser: the runner of wasm-bindgen, as cargo wants to be given it.

use std::process::ExitCode;

fn main() -> ExitCode {
    match wasm_bindgen_cli::wasm_bindgen_test_runner::run_cli_with_args(std::env::args_os()) {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("{error:?}");
            ExitCode::FAILURE
        }
    }
}
