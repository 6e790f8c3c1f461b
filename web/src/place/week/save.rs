//! Writing a changed kitchen into the book: the files that differ and no others, once they have been read as a whole. The
//! desk brings the shopping trips that follow it up to date a moment later.

use std::collections::BTreeMap;

use trug_device::{Device, DocId};
use trug_folder::Files;
use trug_provision::kitchen::Kitchen;
use trug_replica::book::Book;

use crate::desk::Desk;

/// Files by their paths: their new texts, or that they are gone.
pub(in crate::place) type Texts = BTreeMap<String, Option<String>>;

/// Before a pantry's file, which is a document of its own and no text of the book.
const PANTRIES: &str = "pantries/";

/// What was written, and what came of it.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(in crate::place) struct Saved {
    /// What stood there before: writing it again undoes the edit.
    pub(in crate::place) before: Texts,
    /// Shopping trips that are not over follow it.
    pub(in crate::place) followed: bool,
}

/// Changes the kitchen.
///
/// # Errors
/// What is wrong with it then, for a person; nothing is written.
pub(in crate::place) fn save(
    desk: &Desk,
    before: &Kitchen,
    change: impl FnOnce(&mut Kitchen) -> Result<(), String>,
) -> Result<Saved, String> {
    let mut after = before.clone();
    change(&mut after)?;
    commit(desk, &difference(before, &after))
}

/// The files that a change of the kitchen changes. A file that says the same as before is left as somebody wrote it, with
/// its comments.
pub(in crate::place) fn difference(before: &Kitchen, after: &Kitchen) -> Texts {
    let (old, new) = (written(before, after), written(after, before));
    let gone = old.keys().filter(|path| !new.contains_key(*path)).map(|path| (path.clone(), None));
    let set = new.iter().filter(|(path, text)| old.get(*path) != Some(text));
    set.map(|(path, text)| (path.clone(), Some(text.clone()))).chain(gone).collect()
}

/// The files of what a kitchen has otherwise than another: writing all of it would take the time of hundreds of recipes.
fn written(kitchen: &Kitchen, other: &Kitchen) -> BTreeMap<String, String> {
    let same_prices = kitchen.prices == other.prices;
    let slim = Kitchen {
        name: kitchen.name.clone(),
        currency: kitchen.currency,
        units: kitchen.units,
        regime: kitchen.regime,
        kit: kitchen.kit.clone(),
        usual_store: kitchen.usual_store.clone(),
        households: differing(&kitchen.households, &other.households),
        dishes: differing(&kitchen.dishes, &other.dishes),
        weeks: differing(&kitchen.weeks, &other.weeks),
        stores: differing(&kitchen.stores, &other.stores),
        prices: if same_prices { Vec::new() } else { kitchen.prices.clone() },
        pantries: differing(&kitchen.pantries, &other.pantries),
        catalog: kitchen.catalog.clone(),
    };
    let files = trug_folder::write(&slim);
    files.iter().map(|(path, bytes)| (path.to_owned(), String::from_utf8_lossy(bytes).into_owned())).collect()
}

fn differing<K: Ord + Clone, V: Clone + PartialEq>(own: &BTreeMap<K, V>, other: &BTreeMap<K, V>) -> BTreeMap<K, V> {
    let differs = own.iter().filter(|(key, value)| other.get(key) != Some(value));
    differs.map(|(key, value)| (key.clone(), value.clone())).collect()
}

/// Writes texts into the book as one change, where the kitchen can be read with them.
///
/// # Errors
/// What is wrong with the kitchen then; nothing is written.
pub(super) fn commit(desk: &Desk, texts: &Texts) -> Result<Saved, String> {
    let (mut book, mut folder) =
        desk.read(|device| (device.book().map(Book::files).unwrap_or_default(), device.folder()));
    let before = texts.keys().map(|path| (path.clone(), book.get(path).cloned())).collect();
    for (path, text) in texts {
        apply(&mut folder, path, text.as_deref());
        if !path.starts_with(PANTRIES) {
            apply(&mut book, path, text.as_deref());
        }
    }
    trug_folder::read(&as_files(&folder)?).map_err(|problems| problems.to_string())?;
    let new_pantries = texts.iter().filter(|(_, text)| text.is_some());
    let new_pantries: Vec<String> = new_pantries.filter_map(|(path, _)| pantry_of(path)).collect();
    desk.act(|device, now, out| -> Result<(), String> {
        for id in &new_pantries {
            device.need_pantry(now, id, out).map_err(|error| error.to_string())?;
        }
        let files = book.iter().map(|(path, text)| (path.as_str(), text.as_str()));
        let import = |book: &mut Book| book.import(files);
        device.edit(now, &DocId::book(), import, out).map_err(|error| error.to_string())?;
        Ok(())
    })?;
    Ok(Saved { before, followed: desk.read(is_followed) })
}

fn pantry_of(path: &str) -> Option<String> {
    path.strip_prefix(PANTRIES)?.strip_suffix(".csv").map(str::to_owned)
}

fn apply(files: &mut BTreeMap<String, String>, path: &str, text: Option<&str>) {
    match text {
        Some(text) => drop(files.insert(path.to_owned(), text.to_owned())),
        None => drop(files.remove(path)),
    }
}

fn as_files(texts: &BTreeMap<String, String>) -> Result<Files, String> {
    let mut files = Files::new();
    for (path, text) in texts {
        files.insert(path, text.clone().into_bytes()).map_err(|error| error.to_string())?;
    }
    Ok(files)
}

/// Whether there are trips that follow a plan and are not over.
fn is_followed(device: &Device) -> bool {
    device.trips().iter().any(|trip| device.follows(&trip.id).is_some() && !device.is_finished(&trip.id))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn kitchen(files: &[(&str, &str)]) -> Kitchen {
        let texts: BTreeMap<String, String> =
            files.iter().map(|(path, text)| ((*path).to_owned(), (*text).to_owned())).collect();
        trug_folder::read(&as_files(&texts).unwrap()).unwrap()
    }

    const HEAD: (&str, &str) = ("kitchen.toml", "name = \"K\"\n");
    const FLAT: (&str, &str) = ("households/a.toml", "# a comment\nname = \"A\"\n[[diner]]\nname = \"Ada\"\n");

    #[test]
    fn only_what_changed_is_written() {
        let before = kitchen(&[HEAD, FLAT, ("households/b.toml", "name = \"B\"\n[[diner]]\nname = \"Bo\"\n")]);
        let mut after = before.clone();
        assert!(difference(&before, &after).is_empty());
        after.households.get_mut("b").unwrap().name = "Bee".to_owned();
        let texts = difference(&before, &after);
        assert_eq!(texts.keys().collect::<Vec<_>>(), ["households/b.toml"]);
        assert!(texts["households/b.toml"].as_deref().unwrap().contains("name = \"Bee\""));
    }

    #[test]
    fn what_is_taken_out_is_gone() {
        let before = kitchen(&[HEAD, FLAT]);
        let mut after = before.clone();
        after.households.clear();
        assert_eq!(difference(&before, &after), Texts::from([("households/a.toml".to_owned(), None)]));
    }
}
