//! Running other programs.

use std::env;
use std::ffi::OsString;
use std::io;
use std::process::{Command, Stdio};

use crate::root;

/// A step that did not come to a good end.
#[derive(Debug, thiserror::Error)]
pub(crate) enum StepError {
    /// The program could not be started.
    #[error("{step}: cannot run `{program}`: {source}")]
    Start {
        /// The step.
        step: String,
        /// The program.
        program: String,
        /// Why.
        source: io::Error,
    },
    /// The program said that it failed.
    #[error("{step}: failed; the line to type again is\n  {line}")]
    Failed {
        /// The step.
        step: String,
        /// What was run.
        line: String,
    },
    /// Something is not installed and cannot be added from here.
    #[error("{step}: {what} is missing and could not be added; type\n  {line}")]
    Missing {
        /// The step.
        step: String,
        /// What is missing.
        what: String,
        /// What adds it.
        line: String,
    },
}

/// The cargo that runs this program, in the workspace's folder.
pub(crate) fn cargo(arguments: &[&str]) -> Command {
    let cargo = env::var_os("CARGO").unwrap_or_else(|| OsString::from("cargo"));
    let mut command = Command::new(cargo);
    command.args(arguments).current_dir(root()).stdin(Stdio::null());
    command
}

/// Announces a step and runs its program to the end.
pub(crate) fn step(step: &str, command: &mut Command) -> Result<(), StepError> {
    announce(step);
    let status = command.status().map_err(|source| cannot_start(step, command, source))?;
    if status.success() { Ok(()) } else { Err(failed(step, command)) }
}

/// Says which step begins.
pub(crate) fn announce(step: &str) {
    println!("\n=== {step}");
}

/// The step's program could not be started.
pub(crate) fn cannot_start(step: &str, command: &Command, source: io::Error) -> StepError {
    StepError::Start { step: step.to_owned(), program: command.get_program().to_string_lossy().into_owned(), source }
}

/// The step's program failed.
pub(crate) fn failed(step: &str, command: &Command) -> StepError {
    StepError::Failed { step: step.to_owned(), line: line(command) }
}

/// What a person would type.
fn line(command: &Command) -> String {
    let set = command.get_envs().filter_map(|(name, value)| Some(format!("{}='{}'", name.display(), value?.display())));
    let program = if env::var_os("CARGO").as_deref() == Some(command.get_program()) {
        "cargo".to_owned()
    } else {
        command.get_program().display().to_string()
    };
    let arguments = command.get_args().map(|argument| argument.display().to_string());
    set.chain([program]).chain(arguments).collect::<Vec<_>>().join(" ")
}
