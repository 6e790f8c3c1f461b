//! `cargo xtask test`: everything that must hold before a change is kept.

use std::io::{BufRead, BufReader};
use std::process::{Command, Stdio};

use crate::browsers;
use crate::run::{StepError, announce, cannot_start, cargo, failed, step};
use crate::web::{self, Form, WebError};

/// The phone's platform, as rustup calls it.
pub(crate) const WASM: &str = "wasm32-unknown-unknown";

/// The feature of the tests that need browsers.
pub(crate) const BROWSERS: &str = "--features=trug-tests/browsers";

/// What a test writes to its standard output, past the runner's capture, before the name of what it cannot check here.
const NOT_RUN: &str = "not run here: ";

/// How many tests passed and failed, and what was not run.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(crate) struct Counts {
    passed: u64,
    failed: u64,
    pub(crate) not_run: Vec<String>,
}

/// Why not everything holds.
#[derive(Debug, thiserror::Error)]
pub(crate) enum TestError {
    /// A step failed.
    #[error(transparent)]
    Step(#[from] StepError),
    /// The app cannot be built.
    #[error(transparent)]
    Web(#[from] WebError),
}

/// Runs the steps up to the first that fails, and closes with the tests' counts.
pub(crate) fn run() -> Result<(), TestError> {
    require_component("rustfmt", "fmt")?;
    step("format", &mut cargo(&["fmt", "--all", "--check"]))?;
    // `trug` carries the app in every step from here on, so that it is built once.
    let app = web::build(Form::Quick)?;
    let with_app = |arguments: &[&str]| {
        let mut command = cargo(arguments);
        command.env("TRUG_WEB_DIST", &app);
        command
    };
    require_component("clippy", "clippy")?;
    // The same packages with the same features in every step: so each crate is built once.
    let clippy = ["clippy", "--workspace", BROWSERS, "--all-targets", "--", "-D", "warnings"];
    step("clippy", &mut with_app(&clippy))?;
    require_postgres()?;
    browsers::require()?;
    // Brings the programs as well, with the very crates that the tests use.
    step("trug with the app", &mut with_app(&["test", "--workspace", BROWSERS, "--no-run"]))?;
    let mut whole = with_app(&["test", "--workspace", BROWSERS, "--no-fail-fast"]);
    whole.env("TRUG_APP", browsers::trug()?).env("TRUG_AXE", browsers::axe()?);
    let mut counts = tests(whole)?;
    let mut documents = with_app(&["doc", "--workspace", "--no-deps"]);
    step("documentation", documents.env("RUSTDOCFLAGS", "-D warnings"))?;
    browsers::run(&app, &mut counts)?;
    counts.print();
    Ok(())
}

/// Runs the tests, showing their lines as they come, and counts them.
fn tests(command: Command) -> Result<Counts, StepError> {
    let mut counts = Counts::default();
    counted("tests", command, &mut counts)?;
    Ok(counts)
}

/// Runs a step of tests, and adds what it comes to.
pub(crate) fn counted(name: &str, mut command: Command, counts: &mut Counts) -> Result<(), StepError> {
    announce(name);
    let cannot = |command: &Command, source| cannot_start(name, command, source);
    let mut child = command.stdout(Stdio::piped()).spawn().map_err(|source| cannot(&command, source))?;
    for line in child.stdout.take().into_iter().flat_map(|lines| BufReader::new(lines).split(b'\n')) {
        let line = line.map_err(|source| cannot(&command, source))?;
        let line = String::from_utf8_lossy(&line);
        println!("{line}");
        counts.add(&line);
    }
    let status = child.wait().map_err(|source| cannot(&command, source))?;
    if status.success() && counts.failed == 0 {
        return Ok(());
    }
    counts.print();
    Err(failed(name, &command))
}

impl Counts {
    /// Adds what a closing line of the test runner says, and what a test says that it has not run.
    fn add(&mut self, line: &str) {
        if let Some((_, what)) = line.split_once(NOT_RUN) {
            self.not_run.push(what.trim_end().to_owned());
        }
        let Some((_, counts)) = line.strip_prefix("test result: ").and_then(|rest| rest.split_once(". ")) else {
            return;
        };
        let count = |word: &str| {
            counts.split("; ").find_map(|part| part.strip_suffix(word)?.trim().parse::<u64>().ok()).unwrap_or_default()
        };
        self.passed += count("passed");
        self.failed += count("failed");
    }

    /// The closing lines: what was not run, so that nobody takes it for checked, then the sums.
    fn print(&self) {
        println!();
        for what in &self.not_run {
            println!("{NOT_RUN}{what}");
        }
        println!("{} passed, {} failed", self.passed, self.failed);
    }
}

fn require_component(component: &str, subcommand: &str) -> Result<(), StepError> {
    let present = || succeeds(&mut cargo(&[subcommand, "--version"]));
    add_with_rustup(component, &["component", "add", component], present)
}

/// Adds the phone's platform where it is missing.
pub(crate) fn require_wasm() -> Result<(), StepError> {
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

pub(crate) fn succeeds(command: &mut Command) -> bool {
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
            "test tests::late ... not run here: the late ones (no clock)",
            "test result: FAILED. 11 passed; 2 failed; 1 ignored; 0 measured; 0 filtered out; finished in 1.20s",
        ];
        let mut counts = Counts::default();
        lines.iter().for_each(|line| counts.add(line));
        let not_run = vec!["the late ones (no clock)".to_owned()];
        assert_eq!(counts, Counts { passed: 14, failed: 2, not_run });
    }
}
