//! Puts the phone app into the binary, when `TRUG_WEB_DIST` names the folder that `cargo xtask build` made.
//!
//! Without it the table is empty, so that the command line builds anywhere and at once.

use std::collections::BTreeMap;
use std::error::Error;
use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use std::{env, fs, io};

use sha2::{Digest as _, Sha256};

const DIST: &str = "TRUG_WEB_DIST";

fn main() -> Result<(), Box<dyn Error>> {
    println!("cargo:rerun-if-env-changed={DIST}");
    let table = match env::var_os(DIST).filter(|dist| !dist.is_empty()) {
        Some(dist) => {
            let dist = fs::canonicalize(&dist).map_err(|error| format!("{DIST}={}: {error}", dist.display()))?;
            println!("cargo:rerun-if-changed={}", dist.display());
            table(&dist)?
        }
        None => table_of(&BTreeMap::new())?,
    };
    let out = env::var_os("OUT_DIR").ok_or("cargo names no OUT_DIR")?;
    fs::write(Path::new(&out).join("app_files.rs"), table)?;
    Ok(())
}

fn table(dist: &Path) -> Result<String, Box<dyn Error>> {
    let mut files = BTreeMap::new();
    gather(dist, "", &mut files)?;
    table_of(&files)
}

/// Files below a folder by their path from its root, with `/` between.
fn gather(folder: &Path, prefix: &str, files: &mut BTreeMap<String, PathBuf>) -> io::Result<()> {
    for entry in fs::read_dir(folder)? {
        let entry = entry?;
        let name = format!("{prefix}{}", entry.file_name().to_string_lossy());
        if entry.file_type()?.is_dir() {
            gather(&entry.path(), &format!("{name}/"), files)?;
        } else {
            files.insert(name, entry.path());
        }
    }
    Ok(())
}

/// The table as an expression: packed forms stand beside the file they are of.
fn table_of(files: &BTreeMap<String, PathBuf>) -> Result<String, Box<dyn Error>> {
    let packed = |name: &str, ending: &str| files.get(&format!("{name}.{ending}"));
    let is_packed = |name: &str| {
        let plain = name.strip_suffix(".br").or_else(|| name.strip_suffix(".gz"));
        plain.is_some_and(|plain| files.contains_key(plain))
    };
    let mut table = String::from("&[\n");
    for (name, path) in files.iter().filter(|(name, _)| !is_packed(name)) {
        let digest = Sha256::digest(fs::read(path)?);
        let tag = digest.iter().take(12).fold(String::new(), |tag, byte| format!("{tag}{byte:02x}"));
        let other = |ending| match packed(name, ending) {
            Some(path) => format!("Some(include_bytes!({path:?}).as_slice())"),
            None => "None".to_owned(),
        };
        writeln!(
            table,
            "    File {{ path: {name:?}, kind: {:?}, tag: {tag:?}, forever: {}, plain: include_bytes!({path:?}), \
             brotli: {}, gzip: {} }},",
            kind(name),
            is_forever(name),
            other("br"),
            other("gz"),
        )?;
    }
    table.push(']');
    Ok(table)
}

/// The media type by the name's ending.
fn kind(name: &str) -> &'static str {
    match name.rsplit_once('.').map_or("", |(_, ending)| ending) {
        "html" => "text/html; charset=utf-8",
        "js" => "text/javascript; charset=utf-8",
        "css" => "text/css; charset=utf-8",
        "wasm" => "application/wasm",
        "json" => "application/json",
        "webmanifest" => "application/manifest+json",
        "svg" => "image/svg+xml",
        "png" => "image/png",
        "txt" => "text/plain; charset=utf-8",
        _ => "application/octet-stream",
    }
}

/// Whether the name carries the hash of what is in the file (`app.0123456789abcdef.js`), which then never changes.
fn is_forever(name: &str) -> bool {
    let middle = name.rsplit('.').nth(1).unwrap_or_default();
    name.split('.').count() > 2 && middle.len() == 16 && middle.bytes().all(|byte| byte.is_ascii_hexdigit())
}
