//! Sealed files: a document in a file that only those open who were invited to it.

use trug_device::{DocId, Entry, ShareError};
use trug_seal::DocumentKind;
use wasm_bindgen_futures::spawn_local;
use web_sys::File;
use yew::prelude::*;

use super::archive::{self, LARGEST};
use super::folder::given;
use super::page::{Outcome, Saying};
use super::pick::PickFile;
use crate::desk::{Desk, use_desk};
use crate::look::{Button, Shape};
use crate::platform::clock::sleep;
use crate::platform::files;
use crate::platform::share::Parcel;
use crate::words::t;

/// What sealed files are called.
const ENDING: &str = "trug";
/// How often a file of a backup is tried, and how long between, in milliseconds, while the book is being stored.
const TRIES: u32 = 40;
const BETWEEN: u32 = 150;

/// Sends a document as a sealed file.
#[derive(Properties, PartialEq)]
pub(super) struct SendSealedProps {
    pub(super) id: DocId,
    /// What the file is called, without its ending.
    pub(super) name: AttrValue,
}

/// The button, and what came of it.
#[component]
pub(super) fn SendSealed(props: &SendSealedProps) -> Html {
    let desk = use_desk();
    let outcome = use_state(|| None::<Outcome>);
    let send = {
        let (desk, outcome, id, name) = (desk, outcome.setter(), props.id.clone(), props.name.clone());
        Callback::from(move |_: MouseEvent| {
            let parcel = sealed(&desk, &id, &name);
            let (outcome, title) = (outcome.clone(), name.clone());
            spawn_local(async move { outcome.set(given(parcel, &title).await) });
        })
    };
    html! { <>
        <div class="strip"><Button label={t!("share.file")} icon={Shape::Send} on_press={send} /></div>
        <Saying outcome={(*outcome).clone()} />
    </> }
}

fn sealed(desk: &Desk, id: &DocId, name: &str) -> Result<Parcel, String> {
    let bytes = desk.read(|device| device.seal_file(id)).map_err(|error| error.to_string())?;
    let name = format!("{}.{ENDING}", plain(name));
    Ok(Parcel { name, kind: "application/octet-stream".to_owned(), bytes })
}

/// A name for a file, on every system: letters and digits, with dashes between.
fn plain(name: &str) -> String {
    let words = name.split(|letter: char| !letter.is_alphanumeric()).filter(|word| !word.is_empty());
    let joined: String = words.collect::<Vec<_>>().join("-").chars().take(60).collect();
    if joined.is_empty() { "trug".to_owned() } else { joined }
}

/// Saves all of the chef's own documents as sealed files in one zip file: with the recovery code, a way back without a
/// relay.
#[component]
pub(super) fn SaveBackup() -> Html {
    let desk = use_desk();
    let outcome = use_state(|| None::<Outcome>);
    let save = {
        let outcome = outcome.setter();
        Callback::from(move |_: MouseEvent| {
            let (parcel, outcome) = (backup(&desk), outcome.clone());
            spawn_local(async move { outcome.set(given(parcel, &t!("share.backup")).await) });
        })
    };
    html! { <>
        <div class="strip"><Button label={t!("share.backup")} icon={Shape::Send} on_press={save} /></div>
        <Saying outcome={(*outcome).clone()} />
    </> }
}

fn backup(desk: &Desk) -> Result<Parcel, String> {
    let mut sealed = Vec::new();
    for entry in desk.entries().into_iter().filter(|entry| entry.owned || entry.kind == DocumentKind::Book) {
        match desk.read(|device| device.seal_file(&entry.id)) {
            Ok(bytes) => sealed.push((backup_name(&entry), bytes)),
            // Nothing is in it yet.
            Err(ShareError::Empty) => {}
            Err(error) => return Err(error.to_string()),
        }
    }
    let files = sealed.iter().map(|(name, bytes)| (name.as_str(), bytes.as_slice()));
    let bytes = archive::pack(files).map_err(|error| error.to_string())?;
    Ok(Parcel { name: "trug-backup.zip".to_owned(), kind: "application/zip".to_owned(), bytes })
}

/// The book's file comes first when names are sorted: it opens the others.
fn backup_name(entry: &Entry) -> String {
    match entry.kind {
        DocumentKind::Book => format!("0-book.{ENDING}"),
        DocumentKind::Pantry | DocumentKind::Run => format!("1-{}.{ENDING}", plain(entry.id.as_str())),
    }
}

/// Opens sealed files, or a backup's zip file of them.
#[component]
pub(super) fn OpenSealed() -> Html {
    let desk = use_desk();
    let outcome = use_state(|| None::<Outcome>);
    let on_files = {
        let outcome = outcome.setter();
        Callback::from(move |chosen: Vec<File>| {
            let Some(file) = chosen.into_iter().next() else { return };
            let (desk, outcome) = (desk.clone(), outcome.clone());
            spawn_local(async move {
                outcome.set(Some(match open(&desk, &file).await {
                    Ok(count) => Outcome::Done(t!("share.file_opened", count = count)),
                    Err(why) => Outcome::Wrong(why.into()),
                }));
            });
        })
    };
    html! { <>
        <div class="strip"><PickFile label={t!("share.file_open")} {on_files} /></div>
        <Saying outcome={(*outcome).clone()} />
    </> }
}

/// How many changes were new.
async fn open(desk: &Desk, file: &File) -> Result<usize, String> {
    let bytes = files::read(file, LARGEST).await.map_err(|error| error.to_string())?;
    if !archive::is_zip(&bytes) {
        return open_one(desk, &bytes);
    }
    let mut sealed = archive::unpack(&bytes).map_err(|error| error.to_string())?;
    sealed.retain(|(name, _)| name.ends_with(&format!(".{ENDING}")));
    sealed.sort();
    if sealed.is_empty() {
        return Err(t!("share.file_none").to_string());
    }
    let mut new = 0;
    for (name, bytes) in sealed {
        new += open_in_turn(desk, &bytes).await.map_err(|why| format!("{name}: {why}"))?;
    }
    Ok(new)
}

/// Opens one file of a backup. The book, which comes first, opens the others once it is stored: they wait for it.
async fn open_in_turn(desk: &Desk, bytes: &[u8]) -> Result<usize, String> {
    for _ in 0..TRIES {
        match desk.act(|device, now, out| device.open_file(now, bytes, out)) {
            Err(ShareError::UnknownFile) => sleep(BETWEEN).await,
            merged => return merged.map(|merged| merged.new).map_err(|error| error.to_string()),
        }
    }
    open_one(desk, bytes)
}

fn open_one(desk: &Desk, bytes: &[u8]) -> Result<usize, String> {
    let merged = desk.act(|device, now, out| device.open_file(now, bytes, out));
    merged.map(|merged| merged.new).map_err(|error| error.to_string())
}

#[cfg(test)]
mod tests {
    use super::plain;

    #[test]
    fn a_file_gets_a_name_that_every_system_takes() {
        let table = [("Trip of 3/2", "Trip-of-3-2"), ("", "trug"), ("../..", "trug"), ("Ají & maíz", "Ají-maíz")];
        for (name, file) in table {
            assert_eq!(plain(name), file);
        }
    }
}
