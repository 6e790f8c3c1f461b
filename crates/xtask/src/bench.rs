//! `cargo xtask bench`: what has a budget is measured here, and nowhere else.

use crate::browsers;
use crate::run::{StepError, cargo, step};
use crate::web::WebError;

/// Name, package and bench of everything that is measured. Each bench prints its own figures beside its budget.
const BENCHES: [(&str, &str, &str); 6] = [
    ("lines", "trug-catalog", "lines"),
    ("list", "trug-provision", "list"),
    ("packs", "trug-provision", "packs"),
    ("merge", "trug-replica", "merge"),
    ("year", "trug-replica", "year"),
    ("relay", "trug-relay", "relay"),
];

/// What is measured in a browser, with the app as it is shipped.
const APP: &str = "app";

/// What keeps a bench from running.
#[derive(Debug, thiserror::Error)]
pub(crate) enum BenchError {
    /// There is no such bench.
    #[error("`{0}` is not measured here; use {names}, {APP}", names = BENCHES.map(|(name, ..)| name).join(", "))]
    Unknown(String),
    /// A bench failed.
    #[error(transparent)]
    Step(#[from] StepError),
    /// The app cannot be measured.
    #[error(transparent)]
    App(#[from] WebError),
}

/// Runs the benches of those names, or all where none is named.
pub(crate) fn run(names: &[String]) -> Result<(), BenchError> {
    if let Some(unknown) = names.iter().find(|asked| *asked != APP && BENCHES.iter().all(|(name, ..)| name != asked)) {
        return Err(BenchError::Unknown(unknown.clone()));
    }
    let asked = |name: &str| names.is_empty() || names.iter().any(|asked| asked == name);
    for (name, package, bench) in BENCHES.into_iter().filter(|(name, ..)| asked(name)) {
        step(name, &mut cargo(&["bench", "--package", package, "--bench", bench]))?;
    }
    if asked(APP) {
        browsers::require()?;
        browsers::with_small_app("speed", None)?;
    }
    Ok(())
}
