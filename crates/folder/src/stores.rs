//! `stores/<id>.toml`.

use trug_provision::kitchen::{Named, Store};
use trug_provision::names::Names;

use crate::page::Page;
use crate::problem::What;
use crate::table::{Table, Value};

/// Reads a store.
pub(crate) fn store(mut table: Table<'_>, page: &mut Page<'_>, names: &mut Names) -> Option<Store> {
    let name = table.need("name", "name = \"...\"", page).and_then(|value| value.text(page)).map(str::to_owned);
    let sections = table.get("sections").map(|value| sections(value, page)).unwrap_or_default();
    let shelf = table
        .get("shelf")
        .and_then(|value| value.table("in [shelf]", "a table, such as { tofu = \"produce\" }", page))
        .map(|table| shelf(&table, page, names))
        .unwrap_or_default();
    table.finish(page);
    Some(Store { name: name?, sections, shelf })
}

fn sections(value: Value<'_>, page: &mut Page<'_>) -> Vec<String> {
    let mut sections: Vec<String> = Vec::new();
    for item in value.list(page).unwrap_or_default() {
        let Some(section) = item.text(page) else { continue };
        if sections.iter().any(|other| other == section) {
            page.at(item.at, What::Twice { name: section.to_owned(), what: "in `sections`" });
        }
        sections.push(section.to_owned());
    }
    sections
}

fn shelf(table: &Table<'_>, page: &mut Page<'_>, names: &mut Names) -> Vec<(Named, String)> {
    let mut shelf: Vec<(Named, String)> = Vec::new();
    for entry in table.entries() {
        let Some(section) = entry.text(page) else { continue };
        if entry.key.trim().is_empty() {
            page.at(entry.at, What::Empty { key: "shelf".to_owned() });
            continue;
        }
        let food = names.named_food(entry.key);
        // Two names of one food may stand side by side as long as they say the same.
        let contradicts = |(other, place): &&(Named, String)| other.item == food.item && place != section;
        if let Some((other, _)) = shelf.iter().find(contradicts) {
            page.at(entry.at, What::SameFood { one: other.text.clone(), other: food.text.clone() });
        }
        shelf.push((food, section.to_owned()));
    }
    shelf
}
