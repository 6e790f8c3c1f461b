//! `cargo xtask test`: everything that must hold before a change is kept.

use std::io::{BufRead, BufReader};
use std::process::{Command, Stdio};

use crate::run::{StepError, announce, cannot_start, cargo, failed, step};

/// The crates that run on the phone as well.
const PORTABLE: [&str; 6] =
    ["trug-measure", "trug-catalog", "trug-provision", "trug-folder", "trug-seal", "trug-replica"];
const WASM: &str = "wasm32-unknown-unknown";

/// How many tests passed and failed.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
struct Counts {
    passed: u64,
    failed: u64,
}

/// Runs the steps up to the first that fails, and closes with the tests' counts.
pub(crate) fn run() -> Result<(), StepError> {
    require_component("rustfmt", "fmt")?;
    step("format", &mut cargo(&["fmt", "--all", "--check"]))?;
    require_component("clippy", "clippy")?;
    step("clippy", &mut cargo(&["clippy", "--workspace", "--all-targets", "--", "-D", "warnings"]))?;
    require_postgres()?;
    let counts = tests()?;
    let mut documents = cargo(&["doc", "--workspace", "--no-deps"]);
    step("documentation", documents.env("RUSTDOCFLAGS", "-D warnings"))?;
    require_wasm()?;
    let packages = PORTABLE.iter().flat_map(|package| ["--package", package]);
    step("WebAssembly", cargo(&["build", "--target", WASM]).args(packages))?;
    println!("\n{} passed, {} failed", counts.passed, counts.failed);
    Ok(())
}

/// Runs the tests, showing their lines as they come, and counts them.
fn tests() -> Result<Counts, StepError> {
    const STEP: &str = "tests";
    announce(STEP);
    let mut command = cargo(&["test", "--workspace", "--no-fail-fast"]);
    let cannot = |command: &Command, source| cannot_start(STEP, command, source);
    let mut child = command.stdout(Stdio::piped()).spawn().map_err(|source| cannot(&command, source))?;
    let mut counts = Counts::default();
    for line in child.stdout.take().into_iter().flat_map(|lines| BufReader::new(lines).split(b'\n')) {
        let line = line.map_err(|source| cannot(&command, source))?;
        let line = String::from_utf8_lossy(&line);
        println!("{line}");
        counts.add(&line);
    }
    let status = child.wait().map_err(|source| cannot(&command, source))?;
    if status.success() && counts.failed == 0 {
        return Ok(counts);
    }
    println!("\n{} passed, {} failed", counts.passed, counts.failed);
    Err(failed(STEP, &command))
}

impl Counts {
    /// Adds what a closing line of the test runner says; other lines say nothing.
    fn add(&mut self, line: &str) {
        let Some((_, counts)) = line.strip_prefix("test result: ").and_then(|rest| rest.split_once(". ")) else {
            return;
        };
        let count = |word: &str| {
            counts.split("; ").find_map(|part| part.strip_suffix(word)?.trim().parse::<u64>().ok()).unwrap_or_default()
        };
        self.passed += count("passed");
        self.failed += count("failed");
    }
}

fn require_component(component: &str, subcommand: &str) -> Result<(), StepError> {
    let present = || succeeds(&mut cargo(&[subcommand, "--version"]));
    add_with_rustup(component, &["component", "add", component], present)
}

fn require_wasm() -> Result<(), StepError> {
    let present = || {
        let libraries = Command::new("rustc").args(["--print", "target-libdir", "--target", WASM]).output();
        libraries.is_ok_and(|found| std::path::Path::new(String::from_utf8_lossy(&found.stdout).trim()).is_dir())
    };
    add_with_rustup(WASM, &["target", "add", WASM], present)
}

/// The relay's store is tested on PostgreSQL as well; the tests start a server of their own from the system's package.
fn require_postgres() -> Result<(), StepError> {
    const LINE: &str = "apt-get update && apt-get install --yes postgresql";
    let packaged = || std::fs::read_dir("/usr/lib/postgresql").into_iter().flatten().flatten();
    let present = || {
        let on_path = succeeds(Command::new("initdb").arg("--version"));
        on_path || packaged().any(|version| version.path().join("bin/initdb").exists())
    };
    if present() || std::env::var_os("TRUG_TEST_NO_POSTGRES").is_some() {
        return Ok(());
    }
    println!("\nPostgreSQL is missing: {LINE}");
    let _ =
        Command::new("sh").args(["-c", LINE]).env("DEBIAN_FRONTEND", "noninteractive").stdin(Stdio::null()).status();
    if present() {
        return Ok(());
    }
    let what = "PostgreSQL (or TRUG_TEST_NO_POSTGRES=1 to go without)".to_owned();
    Err(StepError::Missing { step: "tools".to_owned(), what, line: LINE.to_owned() })
}

/// Nothing is skipped for want of a tool: it is added, or the step fails and says what to type.
fn add_with_rustup(what: &str, arguments: &[&str], present: impl Fn() -> bool) -> Result<(), StepError> {
    if present() {
        return Ok(());
    }
    println!("\n{what} is missing: rustup {}", arguments.join(" "));
    let _ = Command::new("rustup").args(arguments).stdin(Stdio::null()).status();
    if present() {
        return Ok(());
    }
    let line = format!("rustup {}", arguments.join(" "));
    Err(StepError::Missing { step: "tools".to_owned(), what: what.to_owned(), line })
}

fn succeeds(command: &mut Command) -> bool {
    command.stdout(Stdio::null()).stderr(Stdio::null()).status().is_ok_and(|status| status.success())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn closing_lines_are_summed() {
        let lines = [
            "running 3 tests",
            "test result: ok. 3 passed; 0 failed; 0 ignored; 0 measured; 0 filtered out; finished in 0.00s",
            "test tests::result ... ok",
            "test result: FAILED. 11 passed; 2 failed; 1 ignored; 0 measured; 0 filtered out; finished in 1.20s",
        ];
        let mut counts = Counts::default();
        lines.iter().for_each(|line| counts.add(line));
        assert_eq!(counts, Counts { passed: 14, failed: 2 });
    }
}
