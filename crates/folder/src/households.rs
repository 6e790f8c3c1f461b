//! `households/<id>.toml`.

use trug_measure::{Currency, Exact};
use trug_provision::kitchen::{Diner, Household};
use trug_provision::names::Names;

use crate::near::Near;
use crate::page::Page;
use crate::problem::What;
use crate::read::Ids;
use crate::swaps::swaps;
use crate::table::{Bounds, Table};

const PORTION: Bounds = Bounds {
    want: "a number above 0 and at most 100, such as 1.0, or 0.5 for a small child",
    holds: |portion| portion.is_positive() && portion <= Exact::whole(100),
};

/// Reads a household.
pub(crate) fn household(
    mut table: Table<'_>,
    page: &mut Page<'_>,
    ids: &Ids,
    currency: Option<Currency>,
    names: &mut Names,
) -> Option<Household> {
    let name = table.need("name", "name = \"...\"", page).and_then(|value| value.text(page)).map(str::to_owned);
    let short = table.get("short").and_then(|value| value.text(page)).map(str::to_owned);
    let budget = table.get("budget").zip(currency).and_then(|(value, currency)| value.money(currency, page));
    let pantry = table.get("pantry").and_then(|value| ids.pantry(value, page));
    let separate = table.get("separate").and_then(|value| value.flag(page)).unwrap_or(false);
    let swaps = swaps(&mut table, names, page);
    let diners = diners(&mut table, page);
    table.finish(page);
    Some(Household { name: name?, short, budget, pantry, separate, swaps, diners })
}

fn diners(table: &mut Table<'_>, page: &mut Page<'_>) -> Vec<Diner> {
    let Some(value) = table.get("diner") else {
        page.at(table.at(), What::NoDiners);
        return Vec::new();
    };
    if value.is_empty_list() {
        page.at(value.at, What::NoDiners);
    }
    let tables = value.tables("in a [[diner]]", page);
    let mut diners: Vec<Diner> = Vec::new();
    for table in tables {
        let at = table.at();
        let Some(diner) = diner(table, page) else { continue };
        if diners.iter().any(|other| other.name == diner.name) {
            page.at(at, What::Twice { name: diner.name.clone(), what: "a diner here" });
        }
        diners.push(diner);
    }
    diners
}

fn diner(mut table: Table<'_>, page: &mut Page<'_>) -> Option<Diner> {
    let name = table.need("name", "name = \"...\"", page).and_then(|value| value.text(page)).map(str::to_owned);
    let portion = match table.get("portion") {
        Some(value) => value.number(PORTION, page),
        None => Some(Exact::ONE),
    };
    let mut words = |key| table.get(key).and_then(|value| value.texts(page)).unwrap_or_default();
    let (allergies, avoid, diet) = (words("allergies"), words("avoid"), words("diet"));
    table.finish(page);
    Some(Diner { name: name?, portion: portion?, allergies, avoid, diet })
}

/// Whether a name is one of the household's diners; says so where it is not.
pub(crate) fn eats_there(name: &str, id: &str, household: &Household) -> Result<(), What> {
    if household.diners.iter().any(|diner| diner.name == name) {
        return Ok(());
    }
    let near = Near::new(name, household.diners.iter().map(|diner| diner.name.as_str()));
    Err(What::UnknownDiner { name: name.to_owned(), household: id.to_owned(), near })
}
