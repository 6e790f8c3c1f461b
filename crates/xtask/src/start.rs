//! `cargo xtask start`: a first look.

use std::path::PathBuf;
use std::{fs, io};

use crate::root;
use crate::run::{StepError, cargo, step};

const KITCHEN: &str = "demo-data";

/// What keeps the demonstration from starting.
#[derive(Debug, thiserror::Error)]
pub(crate) enum StartError {
    /// The kitchen's weeks cannot be listed.
    #[error("cannot read {}: {source}", path.display())]
    Read {
        /// The folder.
        path: PathBuf,
        /// Why.
        source: io::Error,
    },
    /// The kitchen has no week.
    #[error("{} has no week: no file ends in .toml", .0.display())]
    NoWeek(PathBuf),
    /// A step failed.
    #[error(transparent)]
    Step(#[from] StepError),
}

/// Builds the command line and shows the list of the demonstration kitchen's first week.
pub(crate) fn run() -> Result<(), StartError> {
    let week = first_week()?;
    step("build", &mut cargo(&["build", "--package", "trug"]))?;
    let list = ["list", KITCHEN, "--week", &week];
    let step_name = format!("trug {}", list.join(" "));
    step(&step_name, cargo(&["run", "--quiet", "--package", "trug", "--"]).args(list))?;
    Ok(())
}

/// The weeks are named so that the order of their names is that of their days.
fn first_week() -> Result<String, StartError> {
    let path = root().join(KITCHEN).join("weeks");
    let entries = fs::read_dir(&path).map_err(|source| StartError::Read { path: path.clone(), source })?;
    let files = entries.filter_map(|entry| Some(entry.ok()?.path()));
    let weeks = files.filter(|file| file.extension().is_some_and(|ending| ending == "toml"));
    let names = weeks.filter_map(|file| Some(file.file_stem()?.to_string_lossy().into_owned()));
    names.min().ok_or(StartError::NoWeek(path))
}
