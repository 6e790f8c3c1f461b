//! `foods.toml`: the chef's own foods, and the chef's own figures for foods of the catalogue.
//!
//! An entry whose id is a catalogue food's starts from that food; so does one without a `name` whose id is another
//! name of it, and then keeps the catalogue's id. What the entry says takes the place of what the catalogue says, with
//! these niceties:
//! - `also` adds names; it takes none away, since a line that is no longer recognised loses its allergens.
//! - `grams` replaces all measures of the units it names; the others stay.
//! - `refuse` replaces the catalogue's figures for single preps as well.
//! - `allergens` takes the groups with it that follow from the kinds it drops.

use std::collections::HashMap;

use trug_catalog::{Allergen, Allergens, Catalog, Food, FoodId, Group, Measure, fold};
use trug_measure::{Exact, Unit, UnknownUnit};

use crate::files::is_id;
use crate::page::Page;
use crate::problem::What;
use crate::table::{Bounds, Table, Value};

const ABOVE_ZERO: Bounds = Bounds {
    want: "a number above 0 and at most 1,000,000",
    holds: |number| number.is_positive() && number <= Exact::whole(1_000_000),
};
const DENSITY: Bounds = Bounds {
    want: "grams per millilitre: a number above 0 and at most 3, such as 0.92",
    holds: |number| number.is_positive() && number <= Exact::whole(3),
};
const REFUSE: Bounds = Bounds {
    want: "the percent that is thrown away: a number from 0 to below 100, such as 11",
    holds: |number| number >= Exact::ZERO && number < Exact::whole(100),
};
const COOKED: Bounds = Bounds {
    want: "cooked weight over raw weight: a number above 0 and at most 20, such as 3.0",
    holds: |number| number.is_positive() && number <= Exact::whole(20),
};
const DRAINED: Bounds = Bounds {
    want: "drained weight over net weight: a number above 0 and at most 1, such as 0.6",
    holds: |number| number.is_positive() && number <= Exact::ONE,
};

/// What foods may be called here, and why not otherwise.
const ID: &str = "an id is words of small letters and digits with hyphens between, such as olive-oil";

/// An own food, with the names that its entry gives it, as opposed to those that the catalogue gives it.
struct Entry<'t> {
    key: &'t str,
    at: usize,
    food: Food,
    own_names: Vec<String>,
}

/// Reads the chef's own foods.
pub(crate) fn foods(mut table: Table<'_>, page: &mut Page<'_>, catalog: &Catalog) -> Vec<Food> {
    let foods =
        table.get("food").and_then(|value| value.table("in [food]", "a table for each food: [food.<id>]", page));
    let entries = foods.iter().flat_map(Table::entries).filter_map(|value| entry(value, page, catalog)).collect();
    table.finish(page);
    settle_names(entries, page)
}

fn entry<'t>(value: Value<'t>, page: &mut Page<'_>, catalog: &Catalog) -> Option<Entry<'t>> {
    let mut table = value.table("of a food", "a table: [food.<id>]", page)?;
    if !is_id(value.key) {
        page.at(value.at, What::BadId { id: value.key.to_owned(), want: ID });
    }
    let words = value.key.replace('-', " ");
    let name = table.get("name").and_then(|value| value.text(page));
    let start = started_from(value.key, &words, name.is_some(), catalog);
    let mut own_names = vec![words.clone()];
    let mut food = start.cloned().unwrap_or_else(|| Food::named(FoodId::new(value.key), &words));
    food.own = true;
    rename(&mut food, name, &mut table, &mut own_names, page);
    read_keeping(&mut food, &mut table, page);
    read_figures(&mut food, &mut table, page);
    read_contents(&mut food, &mut table, page);
    table.finish(page);
    Some(Entry { key: value.key, at: value.at, food, own_names })
}

/// The catalogue's food that an entry speaks of.
fn started_from<'c>(id: &str, words: &str, named: bool, catalog: &'c Catalog) -> Option<&'c Food> {
    if let Some(food) = catalog.by_id(id) {
        return Some(catalog.get(food));
    }
    if named {
        return None;
    }
    let found = catalog.find(words).filter(|found| found.part.is_none())?;
    let food = catalog.get(found.food);
    let key = fold(words);
    names_of(food).any(|name| fold(name) == key).then_some(food)
}

fn names_of(food: &Food) -> impl Iterator<Item = &str> {
    [food.name.as_str(), food.plural.as_str()].into_iter().chain(food.also.iter().map(String::as_str))
}

fn rename(food: &mut Food, name: Option<&str>, table: &mut Table<'_>, own: &mut Vec<String>, page: &mut Page<'_>) {
    if let Some(name) = name {
        add_name(&mut food.also, &food.name);
        name.clone_into(&mut food.name);
        name.clone_into(&mut food.plural);
        own.push(name.to_owned());
    }
    if let Some(plural) = table.get("plural").and_then(|value| value.text(page)) {
        plural.clone_into(&mut food.plural);
        own.push(plural.to_owned());
    }
    for name in table.get("also").and_then(|value| value.texts(page)).unwrap_or_default() {
        add_name(&mut food.also, &name);
        own.push(name);
    }
    let name = fold(&food.name);
    food.also.retain(|other| fold(other) != name);
}

fn add_name(names: &mut Vec<String>, name: &str) {
    let key = fold(name);
    if names.iter().all(|other| fold(other) != key) {
        names.push(name.to_owned());
    }
}

fn read_keeping(food: &mut Food, table: &mut Table<'_>, page: &mut Page<'_>) {
    if let Some(section) = table.get("section").and_then(|value| value.text(page)) {
        section.clone_into(&mut food.section);
    }
    if let Some(keep) = table.get("keep").and_then(|value| value.parse(page)) {
        food.keep = keep;
    }
    if let Some(packs) = table.get("packs").and_then(|value| value.amounts(page)) {
        food.packs = packs;
    }
    if let Some(enough) = table.get("enough").and_then(|value| value.number(ABOVE_ZERO, page)) {
        food.enough = Some(enough);
    }
}

fn read_figures(food: &mut Food, table: &mut Table<'_>, page: &mut Page<'_>) {
    let grams =
        table.get("grams").and_then(|value| value.table("in grams", "a table, such as { \"cup\" = 120 }", page));
    if let Some(grams) = grams {
        replace_measures(food, measures(&grams, page));
    }
    if let Some(refuse) = table.get("refuse").and_then(|value| value.number(REFUSE, page)) {
        food.refuse = Some(refuse);
        food.trims.clear();
    }
    let mut figure = |key, bounds, into: &mut Option<Exact>| {
        if let Some(number) = table.get(key).and_then(|value| value.number(bounds, page)) {
            *into = Some(number);
        }
    };
    figure("density", DENSITY, &mut food.density);
    figure("cooked", COOKED, &mut food.cooked);
    figure("drained", DRAINED, &mut food.drained);
}

fn measures(table: &Table<'_>, page: &mut Page<'_>) -> Vec<Measure> {
    let mut measures: Vec<Measure> = Vec::new();
    for entry in table.entries() {
        let Some(grams) = entry.number(ABOVE_ZERO, page) else { continue };
        match measure(entry.key, grams) {
            Err(error) => page.at(entry.at, error),
            Ok(measure)
                if measures.iter().any(|other| (other.unit, &other.words) == (measure.unit, &measure.words)) =>
            {
                page.at(entry.at, What::Twice { name: entry.key.to_owned(), what: "in `grams`" });
            }
            Ok(measure) => measures.push(measure),
        }
    }
    measures
}

/// `cup diced`: the unit first (it may be of two words, `fl oz`), then the words that say which.
fn measure(key: &str, grams: Exact) -> Result<Measure, UnknownUnit> {
    let words: Vec<&str> = key.split_whitespace().collect();
    let of = |count: usize| -> Option<(Unit, String)> {
        let (unit, rest) = words.split_at_checked(count)?;
        Some((unit.join(" ").parse().ok()?, rest.join(" ")))
    };
    let (unit, rest) = of(2).or_else(|| of(1)).ok_or_else(|| UnknownUnit(key.to_owned()))?;
    Ok(Measure { unit, words: fold(&rest).split_whitespace().map(str::to_owned).collect(), grams })
}

/// Puts the chef's measures of a unit where the catalogue's of that unit stand.
fn replace_measures(food: &mut Food, mut own: Vec<Measure>) {
    while let Some(unit) = own.first().map(|measure| measure.unit) {
        let (ours, rest): (Vec<_>, Vec<_>) = own.into_iter().partition(|measure| measure.unit == unit);
        own = rest;
        // What says nothing new leaves all in its place, as it would if it were not written.
        if of_unit(&ours, unit) == of_unit(&food.measures, unit) {
            continue;
        }
        let at = food.measures.iter().position(|measure| measure.unit == unit).unwrap_or(food.measures.len());
        food.measures.retain(|measure| measure.unit != unit);
        food.measures.splice(at..at, ours);
    }
}

/// The measures of one unit, in an order of their own.
pub(crate) fn of_unit(measures: &[Measure], unit: Unit) -> Vec<(&[String], Exact)> {
    let of_unit = measures.iter().filter(|measure| measure.unit == unit);
    let mut measures: Vec<_> = of_unit.map(|measure| (measure.words.as_slice(), measure.grams)).collect();
    measures.sort_unstable();
    measures
}

fn read_contents(food: &mut Food, table: &mut Table<'_>, page: &mut Page<'_>) {
    let words = |name: &'static str, table: &mut Table<'_>, page: &mut Page<'_>| {
        let list = table.get(name).and_then(|value| value.list(page))?;
        Some(list.iter().filter_map(|value| value.text(page)).map(str::to_owned).collect::<Vec<_>>())
    };
    if let Some(words) = words("allergens", table, page) {
        replace_allergens(food, &words);
    }
    if let Some(words) = words("groups", table, page) {
        let known = |word: &String| word.parse::<Group>();
        food.groups = words.iter().filter_map(|word| known(word).ok()).collect();
        food.other_groups = words.into_iter().filter(|word| known(word).is_err()).collect();
    }
    if let Some(raw) = table.get("raw").and_then(|value| value.parse(page)) {
        food.raw = Some(raw);
    }
    food.settle_groups();
}

/// Puts other allergens in the place of a food's, with the groups that follow from them. A word that is no kind is kept as
/// the chef wrote it (`kiwi`), and puts the food in the group of that name (`shellfish`).
pub(crate) fn replace_allergens(food: &mut Food, words: &[String]) {
    let known = |word: &String| word.parse::<Allergen>();
    let mut kinds: Vec<Allergen> = words.iter().filter_map(|word| known(word).ok()).collect();
    food.other_allergens = words.iter().filter(|word| known(word).is_err()).cloned().collect();
    food.other_allergens.sort_unstable();
    food.other_allergens.dedup();
    kinds.sort_unstable();
    kinds.dedup();
    let dropped = |group: &Group| food.allergens.kinds().iter().any(|kind| kind.group() == Some(*group));
    food.groups.retain(|group| !dropped(group));
    food.allergens = Allergens::Recorded { kinds, vary: false };
    food.groups.extend(food.other_allergens.iter().filter_map(|word| word.parse::<Group>().ok()));
    food.settle_groups();
}

/// Makes every name that an entry gives mean that entry alone, so that the order of the entries does not matter.
fn settle_names(mut entries: Vec<Entry<'_>>, page: &mut Page<'_>) -> Vec<Food> {
    let mut owners: HashMap<String, &str> = HashMap::new();
    let mut ids: HashMap<FoodId, &str> = HashMap::new();
    for entry in &entries {
        for name in &entry.own_names {
            let owner = *owners.entry(fold(name)).or_insert(entry.key);
            if owner != entry.key {
                page.at(entry.at, What::NameTaken { name: name.clone(), other: owner.to_owned() });
            }
        }
        let first = *ids.entry(entry.food.id.clone()).or_insert(entry.key);
        if first != entry.key {
            page.at(entry.at, What::SameFood { one: first.to_owned(), other: entry.key.to_owned() });
        }
    }
    for entry in &mut entries {
        let anothers = |name: &String| owners.get(&fold(name)).is_some_and(|owner| *owner != entry.key);
        entry.food.also.retain(|name| !anothers(name));
    }
    // An entry under another name of a food stands where the food's id puts it, so that writing it by id moves nothing.
    let mut foods: Vec<Food> = entries.into_iter().map(|entry| entry.food).collect();
    foods.sort_by(|a, b| a.id.cmp(&b.id));
    foods
}
