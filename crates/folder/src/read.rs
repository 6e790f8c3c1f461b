//! Reading a folder: every file, all problems at once.
//!
//! The order is: which files there are (so that ids can be told from slips), kitchen.toml, the chef's own foods, the
//! titles of all dishes, and then whatever looks names up. No meaning depends on the order of files or foods.

use std::collections::BTreeMap;

use trug_catalog::{Catalog, fold};
use trug_provision::kitchen::{
    Dish, DishId, Household, HouseholdId, Kitchen, Lot, PantryId, Price, Store, StoreId, Week, WeekId,
};
use trug_provision::names::Names;

use crate::circle::{Uses, circles};
use crate::dish::{Draft, Shared, json_draft, text_draft};
use crate::files::{Files, Kind, decode, is_id, is_inside, is_week_id};
use crate::foods::foods;
use crate::households::household;
use crate::kitchen::{Head, head};
use crate::lists::{lots, prices};
use crate::near::{Near, distance};
use crate::page::Page;
use crate::problem::{Problem, Problems, What};
use crate::stores::store;
use crate::table::{Table, Value, read_toml};
use crate::weeks::{Around, week};

/// The files at the root that are read.
pub(crate) const ROOT: [&str; 3] = ["kitchen.toml", "foods.toml", "prices.csv"];
/// The folders that are read.
pub(crate) const FOLDERS: [&str; 5] = ["households", "dishes", "weeks", "stores", "pantries"];

/// Reads a kitchen folder.
///
/// # Errors
/// Everything that is wrong with it, by file and line.
pub fn read(files: &Files) -> Result<Kitchen, Problems> {
    let mut problems = Vec::new();
    let kitchen = Reading { files, problems: &mut problems }.kitchen();
    match (Problems::of(problems), kitchen) {
        (None, Some(kitchen)) => Ok(kitchen),
        (Some(problems), _) => Err(problems),
        (None, None) => Err(Problems::one("", What::NoKitchen)),
    }
}

/// Which ids there are, whether or not their files can be read: what names a file that is there but broken is no slip.
#[derive(Default)]
pub(crate) struct Ids {
    households: BTreeMap<String, String>,
    dishes: BTreeMap<String, String>,
    weeks: BTreeMap<String, String>,
    stores: BTreeMap<String, String>,
    pantries: BTreeMap<String, String>,
}

impl Ids {
    pub(crate) fn household(&self, value: Value<'_>, page: &mut Page<'_>) -> Option<HouseholdId> {
        known(&self.households, "household", "households/", value, page).map(HouseholdId::new)
    }

    pub(crate) fn dish(&self, value: Value<'_>, page: &mut Page<'_>) -> Option<DishId> {
        known(&self.dishes, "dish", "dishes/", value, page).map(DishId::new)
    }

    /// A pantry need not have a file yet: nothing has been counted in it, and `check` says so. One that is a slip of the pen
    /// away from a file is taken for a mistake.
    pub(crate) fn pantry(&self, value: Value<'_>, page: &mut Page<'_>) -> Option<PantryId> {
        let id = value.text(page)?;
        let slip =
            !self.pantries.contains_key(id) && Near::new(id, self.pantries.keys().map(String::as_str)).is_slip(id);
        if slip || !is_id(id) {
            page.at(value.at, unknown(&self.pantries, "pantry", "pantries/", id));
            return None;
        }
        Some(PantryId::new(id))
    }

    pub(crate) fn store(&self, value: Value<'_>, page: &mut Page<'_>) -> Option<StoreId> {
        known(&self.stores, "store", "stores/", value, page).map(StoreId::new)
    }

    /// A store named in a table without keys.
    pub(crate) fn store_named(&self, id: &str, page: &mut Page<'_>, line: u32) -> Option<StoreId> {
        if self.stores.contains_key(id) {
            return Some(StoreId::new(id));
        }
        page.line(line, unknown(&self.stores, "store", "stores/", id));
        None
    }
}

fn known<'t>(
    ids: &BTreeMap<String, String>,
    what: &'static str,
    place: &'static str,
    value: Value<'t>,
    page: &mut Page<'_>,
) -> Option<&'t str> {
    let id = value.text(page)?;
    if !ids.contains_key(id) {
        page.at(value.at, unknown(ids, what, place, id));
        return None;
    }
    Some(id)
}

fn unknown(ids: &BTreeMap<String, String>, what: &'static str, place: &'static str, id: &str) -> What {
    What::Unknown { what, id: id.to_owned(), place, near: Near::new(id, ids.keys().map(String::as_str)) }
}

struct Reading<'a> {
    files: &'a Files,
    problems: &'a mut Vec<Problem>,
}

impl<'a> Reading<'a> {
    fn kitchen(mut self) -> Option<Kitchen> {
        let ids = self.ids();
        let head = self.head(&ids);
        let own = self.toml("foods.toml", |table, page| foods(table, page, Catalog::builtin())).unwrap_or_default();
        // A kitchen without foods of its own needs no index of its own.
        let catalog = if own.is_empty() { Catalog::builtin().clone() } else { Catalog::builtin().with_own(own) };
        let mut names = Names::new(catalog);
        let dishes = self.dishes(&ids, &mut names);
        let households = self.households(&ids, &head, &mut names);
        let weeks = self.weeks(&ids, &households, &mut names);
        let stores = self.stores(&ids, &mut names);
        let prices = self.prices(&ids, &head, &mut names);
        let pantries = self.pantries(&ids, &mut names);
        Some(Kitchen {
            name: head.name,
            currency: head.currency?,
            units: head.units,
            regime: head.regime,
            kit: head.kit,
            usual_store: head.store,
            households,
            dishes,
            weeks,
            stores,
            prices,
            pantries,
            catalog: names.finish(),
        })
    }

    fn problem(&mut self, file: &str, line: Option<u32>, what: What) {
        self.problems.push(Problem { file: file.to_owned(), line, what });
    }

    /// Sorts the files by what they are; what has no place here is said.
    fn ids(&mut self) -> Ids {
        let mut ids = Ids::default();
        for (path, _) in self.files.iter() {
            if !is_inside(path) {
                self.problem("", None, What::PathLeavesFolder(path.to_owned()));
                continue;
            }
            match path.split_once('/') {
                None => self.root_file(path),
                Some((folder, _)) if !FOLDERS.contains(&folder) => self.other_folder(folder, path),
                Some((_, name)) if name.starts_with('.') => {}
                Some((folder, name)) => self.file(folder, name, path, &mut ids),
            }
        }
        ids
    }

    fn root_file(&mut self, path: &str) {
        if !path.starts_with('.') && !ROOT.contains(&path) {
            let meant = ROOT.into_iter().find(|known| distance(path, known) <= 2);
            if let Some(meant) = meant {
                self.problem(path, None, What::NearlyKnown { meant });
            }
        }
    }

    fn other_folder(&mut self, folder: &str, path: &str) {
        let meant = FOLDERS.into_iter().find(|known| distance(folder, known) <= 2);
        if let Some(meant) = meant.filter(|_| !folder.starts_with('.')) {
            self.problem(path, None, What::NearlyKnown { meant });
        }
    }

    fn file(&mut self, folder: &str, name: &str, path: &str, ids: &mut Ids) {
        let (endings, want, into): (&[&str], _, _) = match folder {
            "households" => (&[".toml"], "a household is a file households/<id>.toml", &mut ids.households),
            "dishes" => (&[".md", ".json"], "a dish is a file dishes/<id>.md or dishes/<id>.json", &mut ids.dishes),
            "weeks" => (&[".toml"], "a week is a file weeks/<id>.toml", &mut ids.weeks),
            "stores" => (&[".toml"], "a store is a file stores/<id>.toml", &mut ids.stores),
            _ => (&[".csv"], "a pantry is a file pantries/<id>.csv", &mut ids.pantries),
        };
        let Some(id) = endings.iter().find_map(|ending| name.strip_suffix(ending)).filter(|id| !id.contains('/'))
        else {
            return self.problem(path, None, What::UnknownFile { want });
        };
        let (fits, want) = match folder {
            "weeks" => (is_week_id(id), "name a week's file with letters, digits and hyphens, such as 2026-W10.toml"),
            _ => (is_id(id), "name the file with small letters and digits, and hyphens between words"),
        };
        if !fits {
            self.problem(path, None, What::BadId { id: id.to_owned(), want });
        }
        // Where letters of both cases may stand, ids that differ in nothing else would be one file on some disks.
        let other = into.iter().find(|(other, _)| other.eq_ignore_ascii_case(id)).map(|(_, path)| path.clone());
        match other {
            Some(other) => self.problem(path, None, What::SameId { other }),
            None => drop(into.insert(id.to_owned(), path.to_owned())),
        }
    }

    /// A file's text, where it is there and is text.
    fn text(&mut self, path: &str, kind: Kind) -> Option<&'a str> {
        let bytes = self.files.get(path)?;
        match decode(bytes, kind) {
            Ok(text) => Some(text),
            Err((line, what)) => {
                self.problem(path, line, what);
                None
            }
        }
    }

    fn toml<T>(&mut self, path: &str, read: impl FnOnce(Table<'_>, &mut Page<'_>) -> T) -> Option<T> {
        let text = self.text(path, Kind::Other)?;
        let mut page = Page::new(path, text, self.problems);
        read_toml(text, &mut page, read)
    }

    fn head(&mut self, ids: &Ids) -> Head {
        if self.files.get("kitchen.toml").is_none() {
            let what = if self.files.is_empty() { What::EmptyFolder } else { What::NoKitchen };
            self.problem("kitchen.toml", None, what);
        }
        // Whatever is wrong with kitchen.toml, the other files are read all the same; only money needs its currency.
        self.toml("kitchen.toml", |table, page| head(table, page, ids)).unwrap_or_default()
    }

    fn dishes(&mut self, ids: &Ids, names: &mut Names) -> BTreeMap<DishId, Dish> {
        let drafts: Vec<(DishId, &String, Draft)> =
            ids.dishes.iter().filter_map(|(id, path)| Some((DishId::new(id), path, self.draft(path)?))).collect();
        for (id, _, draft) in &drafts {
            names.add_dish(id, &draft.title, draft.kind());
        }
        let shared = shared_names(&drafts);
        let mut uses = Uses::new();
        let mut dishes = BTreeMap::new();
        for (id, path, draft) in drafts {
            let text = self.text(path, Kind::Recipe).unwrap_or_default();
            let mut page = Page::new(path, text, self.problems);
            let used = uses.entry(id.clone()).or_default();
            let dish = draft.look_up(names, &shared, &mut page, |dish, line| used.push((dish.clone(), line)));
            dishes.insert(id, dish);
        }
        for circle in circles(&uses) {
            let path = circle.dishes.first().and_then(|first| ids.dishes.get(first.as_str())).cloned();
            let named = circle.dishes.iter().map(ToString::to_string).collect();
            self.problem(&path.unwrap_or_default(), Some(circle.line), What::Circle(named));
        }
        dishes
    }

    fn draft(&mut self, path: &str) -> Option<Draft> {
        let text = self.text(path, Kind::Recipe)?;
        let mut page = Page::new(path, text, self.problems);
        if path.ends_with(".json") { json_draft(text, &mut page) } else { text_draft(text, &mut page) }
    }

    fn households(&mut self, ids: &Ids, head: &Head, names: &mut Names) -> BTreeMap<HouseholdId, Household> {
        let mut households = BTreeMap::new();
        for (id, path) in &ids.households {
            let read = self.toml(path, |table, page| household(table, page, ids, head.currency, names));
            households.extend(read.flatten().map(|household| (HouseholdId::new(id), household)));
        }
        households
    }

    fn weeks(
        &mut self,
        ids: &Ids,
        households: &BTreeMap<HouseholdId, Household>,
        names: &mut Names,
    ) -> BTreeMap<WeekId, Week> {
        let mut weeks = BTreeMap::new();
        for (id, path) in &ids.weeks {
            let mut around = Around { ids, households, names };
            let read = self.toml(path, |table, page| week(table, page, &mut around));
            weeks.extend(read.map(|week| (WeekId::new(id), week)));
        }
        weeks
    }

    fn stores(&mut self, ids: &Ids, names: &mut Names) -> BTreeMap<StoreId, Store> {
        let mut stores = BTreeMap::new();
        for (id, path) in &ids.stores {
            let read = self.toml(path, |table, page| store(table, page, names));
            stores.extend(read.flatten().map(|store| (StoreId::new(id), store)));
        }
        stores
    }

    fn prices(&mut self, ids: &Ids, head: &Head, names: &mut Names) -> Vec<Price> {
        let Some(text) = self.text("prices.csv", Kind::Other) else { return Vec::new() };
        let mut page = Page::new("prices.csv", text, self.problems);
        prices(text, &mut page, ids, head.currency, names)
    }

    fn pantries(&mut self, ids: &Ids, names: &mut Names) -> BTreeMap<PantryId, Vec<Lot>> {
        let mut pantries = BTreeMap::new();
        for (id, path) in &ids.pantries {
            let Some(text) = self.text(path, Kind::Other) else { continue };
            let mut page = Page::new(path, text, self.problems);
            pantries.insert(PantryId::new(id), lots(text, &mut page, names));
        }
        pantries
    }
}

/// The names that several dishes have, with two of these. Nothing is wrong with them unless a line uses such a name.
fn shared_names(drafts: &[(DishId, &String, Draft)]) -> Shared {
    let mut owners: BTreeMap<String, &DishId> = BTreeMap::new();
    let mut shared = Shared::new();
    for (id, _, draft) in drafts {
        for name in [fold(&draft.title), fold(id.as_str())] {
            match owners.get(&name) {
                Some(owner) if *owner != id => drop(shared.insert(name, ((*owner).clone(), id.clone()))),
                Some(_) => {}
                None => drop(owners.insert(name, id)),
            }
        }
    }
    shared
}
