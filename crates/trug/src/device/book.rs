//! The verbs of `trug book`, and the relay of the chef's documents.

use std::fs;
use std::path::Path;

use serde_json::json;
use trug_folder::Files;
use trug_seal::RecoveryCode;

use super::home::Home;
use super::{Answer, DeviceError, find};

/// What sealed files are called.
const ENDING: &str = "trug";
/// The book's, in a backup.
const BOOK: &str = "book";

/// Takes a kitchen folder in.
pub(crate) fn import(home: &mut Home, kitchen: &Path) -> Result<Answer, DeviceError> {
    let files = trug_folder::read_dir(kitchen)?;
    super::writable_book(home)?;
    home.act(|device, at, out| device.import(at, &files, out))??;
    let pantries: Vec<String> = home.device.pantries().into_keys().collect();
    let text = format!("the book has the kitchen now, with {} pantries", pantries.len());
    Ok(Answer::new(vec![text], json!({ "pantries": pantries })))
}

/// Writes the kitchen folder out.
pub(crate) fn export(home: &Home, folder: &Path) -> Result<Answer, DeviceError> {
    home.device.book().ok_or_else(no_book)?;
    let mut files = Files::new();
    let mut paths = Vec::new();
    for (path, text) in home.device.folder() {
        // A path that leads out of the folder came from no import; it is no part of the kitchen.
        if files.insert(&path, text.into_bytes()).is_ok() {
            paths.push(path);
        }
    }
    fs::create_dir_all(folder).map_err(|source| DeviceError::file(folder, source))?;
    trug_folder::write_dir(folder, &files)?;
    let text = format!("{} files written to {}", paths.len(), folder.display());
    Ok(Answer::new(vec![text], json!({ "folder": folder.display().to_string(), "files": paths })))
}

fn no_book() -> DeviceError {
    DeviceError::Asked("this device keeps no book; `trug book import` or `trug run make` begins one".to_owned())
}

/// The recovery code.
pub(crate) fn recovery(home: &Home) -> Result<Answer, DeviceError> {
    home.device.book().ok_or_else(no_book)?;
    let code = home.device.recovery_code().ok_or_else(|| {
        DeviceError::Asked(
            "this device has the book by invitation; the recovery code is on the one that began the book".to_owned(),
        )
    })?;
    let relay = home.device.relay().map(ToString::to_string);
    let where_from = match &relay {
        Some(relay) => format!(
            "It opens what lies on a relay or in a backup, and needs one of the two: the relay {relay}, as long as it \
             keeps the logs, or the files that `trug book backup` writes."
        ),
        None => "It opens what lies on a relay or in a backup, and needs one of the two. This device has no relay: \
                 without the files that `trug book backup` writes, the code alone brings nothing back."
            .to_owned(),
    };
    let lines = vec![
        code.text().to_string(),
        String::new(),
        "This code is the key to the whole book: every household, every trip, every pantry. Write it down, and keep it \
         where nobody else reads it."
            .to_owned(),
        where_from,
    ];
    Ok(Answer::new(lines, json!({ "code": code.text().as_str(), "relay": relay })))
}

/// Brings the book back.
pub(crate) fn recover(
    home: &mut Home,
    code: &str,
    relay: Option<&str>,
    from: Option<&Path>,
) -> Result<Answer, DeviceError> {
    let root = RecoveryCode::read(code).map_err(|error| DeviceError::Asked(error.to_string()))?;
    let relay = relay.map(super::address).transpose()?;
    if relay.is_none() && from.is_none() {
        return Err(DeviceError::Asked(
            "a code opens what lies on a relay or in a backup, and needs one of the two: name it with --relay or --from"
                .to_owned(),
        ));
    }
    let files = from.map(sealed_files).transpose()?.unwrap_or_default();
    home.act(|device, at, out| device.recover(at, root, relay, out))??;
    let mut read = 0;
    // The book comes first: it has the keys of the others.
    for file in &files {
        home.act(|device, at, out| device.open_file(at, file, out))??;
        read += 1;
    }
    let left = if read > 0 { format!("{read} files read") } else { "the book is named here now".to_owned() };
    let text = match home.device.relay() {
        Some(relay) => format!("{left}; what {relay} holds comes with: trug run sync"),
        None => left,
    };
    Ok(Answer::new(vec![text], json!({ "files": read, "relay": home.device.relay().map(ToString::to_string) })))
}

/// The sealed files of a backup, the book's first.
fn sealed_files(folder: &Path) -> Result<Vec<Vec<u8>>, DeviceError> {
    let at = |source| DeviceError::file(folder, source);
    let mut paths = Vec::new();
    for entry in fs::read_dir(folder).map_err(at)? {
        let path = entry.map_err(at)?.path();
        if path.extension().is_some_and(|ending| ending == ENDING) {
            paths.push(path);
        }
    }
    paths.sort_by_key(|path| (path.file_stem().is_none_or(|stem| stem != BOOK), path.clone()));
    if paths.is_empty() {
        return Err(DeviceError::Asked(format!("there is no sealed file (*.{ENDING}) in {}", folder.display())));
    }
    paths.iter().map(|path| super::read_sealed(path)).collect()
}

/// Writes everything of the chef's as sealed files.
pub(crate) fn backup(home: &Home, folder: &Path) -> Result<Answer, DeviceError> {
    home.device.book().ok_or_else(no_book)?;
    fs::create_dir_all(folder).map_err(|source| DeviceError::file(folder, source))?;
    let book = trug_device::DocId::book();
    let own = home.device.entries().into_iter().filter(|entry| entry.owned || entry.id == book);
    let mut names = Vec::new();
    for entry in own {
        let name = if entry.id == book { BOOK.to_owned() } else { safe(&find::short(&entry.id, entry.log)) };
        let sealed = match home.device.seal_file(&entry.id) {
            Ok(sealed) => sealed,
            // Nothing is in it yet.
            Err(trug_device::ShareError::Empty) => continue,
            Err(error) => return Err(error.into()),
        };
        let file = format!("{name}.{ENDING}");
        super::write_file(&folder.join(&file), &sealed)?;
        names.push(file);
    }
    let text = format!(
        "{} sealed files written to {}; `trug book recovery` prints the code that opens them",
        names.len(),
        folder.display()
    );
    Ok(Answer::new(vec![text], json!({ "folder": folder.display().to_string(), "files": names })))
}

/// A file's name without what a file system could take for more than a name.
fn safe(name: &str) -> String {
    name.chars().map(|letter| if letter.is_alphanumeric() || letter == '-' { letter } else { '_' }).collect()
}

/// Says, or shows, over which relay the chef's documents are synced.
pub(crate) fn relay(home: &mut Home, asked: Option<&str>, passcode: Option<&str>) -> Result<Answer, DeviceError> {
    home.device.book().ok_or_else(no_book)?;
    if let Some(asked) = asked {
        let relay = if asked.eq_ignore_ascii_case("none") { None } else { Some(super::address(asked)?) };
        home.act(|device, at, out| device.set_relay(at, relay.as_ref(), out))??;
    }
    if let Some(passcode) = passcode {
        let relay = home.device.relay().cloned();
        let relay =
            relay.ok_or_else(|| DeviceError::Asked("a passcode is for a relay; name its address".to_owned()))?;
        home.act(|device, _, out| device.set_passcode(&relay, passcode, out))?;
    }
    let relay = home.device.relay().map(ToString::to_string);
    let mut lines = vec![relay.clone().unwrap_or_else(|| "no relay: trips travel as sealed files".to_owned())];
    if home.device.relay().is_some_and(|relay| !relay.is_secure()) {
        lines.push(
            "what goes to an http:// address can be heard in the network between: the documents are sealed, the tokens \
             are not"
                .to_owned(),
        );
    }
    Ok(Answer::new(lines, json!({ "relay": relay })))
}
