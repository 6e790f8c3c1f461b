//! What the benches that compare with something under Node share: its scripts beside their packages.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

/// Brings the scripts of a folder beside this file to where the crate's temporary files are, and their packages with
/// them, which `npm` installs by these arguments once for each lock file.
///
/// # Errors
/// What is missing here.
pub(crate) fn installed(name: &str, scripts: &[&str], npm: &[&str]) -> Result<PathBuf, String> {
    let from = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/js").join(name);
    let at = Path::new(env!("CARGO_TARGET_TMPDIR")).join(name);
    fs::create_dir_all(&at).map_err(|error| error.to_string())?;
    for file in ["package.json", "package-lock.json"].iter().chain(scripts) {
        fs::copy(from.join(file), at.join(file)).map_err(|error| format!("{file}: {error}"))?;
    }
    let lock = fs::read(at.join("package-lock.json")).map_err(|error| error.to_string())?;
    let stamp = at.join("installed");
    if fs::read(&stamp).is_ok_and(|done| done == lock) {
        return Ok(at);
    }
    let mut command = Command::new("npm");
    command.args(npm).current_dir(&at).stdin(Stdio::null()).stdout(Stdio::null());
    if !command.status().is_ok_and(|status| status.success()) {
        return Err("npm could not install the packages; are Node and the registry there?".to_owned());
    }
    fs::write(stamp, lock).map_err(|error| error.to_string())?;
    Ok(at)
}
