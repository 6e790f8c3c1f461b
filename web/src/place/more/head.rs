//! What the kitchen's own file says: name, currency, measures, list of allergens.

use std::collections::BTreeMap;

use trug_catalog::Regime;
use trug_device::DocId;
use trug_folder::Files;
use trug_measure::{Currency, System};
use trug_provision::kitchen::Kitchen;
use trug_replica::book::Book;

use crate::desk::Desk;

/// The file.
const FILE: &str = "kitchen.toml";

/// What can be changed of it here.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Change {
    Name(String),
    Currency(String),
    Units(System),
    Regime(Regime),
}

/// Changes the kitchen's own file.
///
/// # Errors
/// What is wrong with the kitchen then, for a person; nothing is written.
pub(super) fn change(desk: &Desk, change: &Change) -> Result<(), String> {
    let now = desk.kitchen().ok_or_else(String::new)?.map_err(|problem| problem.to_string())?;
    let text = changed(&now.kitchen, change)?;
    let (mut book, mut folder) =
        desk.read(|device| (device.book().map(Book::files).unwrap_or_default(), device.folder()));
    folder.insert(FILE.to_owned(), text.clone());
    book.insert(FILE.to_owned(), text);
    trug_folder::read(&as_files(&folder)?).map_err(|problems| problems.to_string())?;
    let files = book.iter().map(|(path, text)| (path.as_str(), text.as_str()));
    desk.edit(&DocId::book(), |book: &mut Book| book.import(files)).map(|_| ()).map_err(|error| error.to_string())
}

/// The file with one thing changed.
fn changed(kitchen: &Kitchen, change: &Change) -> Result<String, String> {
    let mut head = Kitchen {
        name: kitchen.name.clone(),
        currency: kitchen.currency,
        units: kitchen.units,
        regime: kitchen.regime,
        kit: kitchen.kit.clone(),
        usual_store: kitchen.usual_store.clone(),
        households: BTreeMap::new(),
        dishes: BTreeMap::new(),
        weeks: BTreeMap::new(),
        stores: BTreeMap::new(),
        prices: Vec::new(),
        pantries: BTreeMap::new(),
        catalog: kitchen.catalog.clone(),
    };
    match change {
        Change::Name(name) => head.name = name.trim().to_owned(),
        Change::Currency(code) => {
            head.currency = code.trim().to_uppercase().parse::<Currency>().map_err(|error| error.to_string())?;
        }
        Change::Units(units) => head.units = *units,
        Change::Regime(regime) => head.regime = *regime,
    }
    let files = trug_folder::write(&head);
    Ok(files.get(FILE).map(|bytes| String::from_utf8_lossy(bytes).into_owned()).unwrap_or_default())
}

fn as_files(texts: &BTreeMap<String, String>) -> Result<Files, String> {
    let mut files = Files::new();
    for (path, text) in texts {
        files.insert(path, text.clone().into_bytes()).map_err(|error| error.to_string())?;
    }
    Ok(files)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_thing_is_changed_and_the_rest_stays() {
        let mut files = Files::new();
        files.insert("kitchen.toml", b"name = \"K\"\ncurrency = \"USD\"\nunits = \"us\"\n".to_vec()).unwrap();
        let kitchen = trug_folder::read(&files).unwrap();
        let table = [
            (Change::Name(" L \"2\" ".to_owned()), "name = \"L \\\"2\\\"\""),
            (Change::Currency("eur".to_owned()), "currency = \"EUR\""),
            (Change::Units(System::Metric), "units = \"metric\""),
            (Change::Regime(Regime::Eu), "allergens = \"eu\""),
        ];
        for (change, line) in table {
            let text = changed(&kitchen, &change).unwrap();
            assert!(text.lines().any(|read| read == line), "{change:?}: {text}");
        }
        assert!(changed(&kitchen, &Change::Currency("money".to_owned())).is_err());
    }
}
