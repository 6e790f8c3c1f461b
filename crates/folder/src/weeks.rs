//! `weeks/<id>.toml`.

use std::collections::BTreeMap;

use trug_measure::Exact;
use trug_provision::kitchen::{Household, HouseholdId, Service, ServiceDish, ServingSize, Week};
use trug_provision::names::Names;

use crate::households::eats_there;
use crate::page::Page;
use crate::problem::What;
use crate::read::Ids;
use crate::swaps::swaps;
use crate::table::{Bounds, Table, Value, start_of};

/// The most portions of a dish at one service.
const MOST: Exact = Exact::whole(10_000);

const MEALS: Bounds = Bounds {
    want: "how many meals it is served at: a number above 0 and at most 10,000",
    holds: |meals| meals.is_positive() && meals <= MOST,
};

const PORTIONS: Bounds = Bounds {
    want: "how many portions in all: a number above 0 and at most 10,000",
    holds: |portions| portions.is_positive() && portions <= MOST,
};

/// What a week's names are looked up in.
pub(crate) struct Around<'a> {
    pub ids: &'a Ids,
    pub households: &'a BTreeMap<HouseholdId, Household>,
    pub names: &'a mut Names,
}

/// Reads a week.
pub(crate) fn week(mut table: Table<'_>, page: &mut Page<'_>, around: &mut Around<'_>) -> Week {
    let tables = table.get("service").map(|value| value.tables("in a [[service]]", page)).unwrap_or_default();
    let services = tables.into_iter().filter_map(|table| service(table, page, around)).collect();
    table.finish(page);
    Week { services }
}

fn service(mut table: Table<'_>, page: &mut Page<'_>, around: &mut Around<'_>) -> Option<Service> {
    let household =
        table.need("household", "household = \"<its id>\"", page).and_then(|value| around.ids.household(value, page));
    let shop = table.need("shop", "shop = 2026-03-04", page).and_then(|value| value.date(page));
    let cook = table.need("cook", "cook = 2026-03-05", page).and_then(|value| value.date(page));
    let tables = table.get("dish").map(|value| value.tables("in a [[service.dish]]", page)).unwrap_or_default();
    let dishes = tables.into_iter().filter_map(|table| dish(table, household.as_ref(), page, around)).collect();
    table.finish(page);
    Some(Service { household: household?, shop: shop?, cook: cook?, dishes })
}

fn dish(
    mut table: Table<'_>,
    household: Option<&HouseholdId>,
    page: &mut Page<'_>,
    around: &mut Around<'_>,
) -> Option<ServiceDish> {
    let dish = table.need("dish", "dish = \"<its id>\"", page).and_then(|value| around.ids.dish(value, page));
    let household = household.and_then(|id| Some((id, around.households.get(id)?)));
    let size = size(&mut table, page);
    let diners = table.get("for").and_then(|value| diners(value, household, page));
    if let (Some((ServingSize::Meals(meals), at)), Some((_, household))) = (size, household) {
        check_portions(meals, at, diners.as_deref(), household, page);
    }
    let swaps = swaps(&mut table, around.names, page);
    table.finish(page);
    Some(ServiceDish { dish: dish?, size: size?.0, diners, swaps })
}

fn size(table: &mut Table<'_>, page: &mut Page<'_>) -> Option<(ServingSize, usize)> {
    match (table.get("meals"), table.get("portions")) {
        (None, None) => Some((ServingSize::Meals(Exact::ONE), table.at())),
        (Some(meals), None) => Some((ServingSize::Meals(meals.number(MEALS, page)?), meals.at)),
        (None, Some(portions)) => Some((ServingSize::Portions(portions.number(PORTIONS, page)?), portions.at)),
        (Some(meals), Some(_)) => {
            page.at(meals.at, What::MealsAndPortions);
            None
        }
    }
}

fn diners(value: Value<'_>, household: Option<(&HouseholdId, &Household)>, page: &mut Page<'_>) -> Option<Vec<String>> {
    let items = value.list(page)?;
    if items.is_empty() {
        page.at(value.at, What::ForNobody);
    }
    let mut diners: Vec<String> = Vec::new();
    for item in items {
        let Some(name) = item.text(page) else { continue };
        if let Some(Err(what)) = household.map(|(id, household)| eats_there(name, id.as_str(), household)) {
            page.at(item.at, what);
        }
        if diners.iter().any(|other| other == name) {
            page.at(item.at, What::Twice { name: name.to_owned(), what: "in `for`" });
        }
        diners.push(name.to_owned());
    }
    Some(diners)
}

fn check_portions(meals: Exact, at: usize, diners: Option<&[String]>, household: &Household, page: &mut Page<'_>) {
    let eats = |name: &str| diners.is_none_or(|diners| diners.iter().any(|diner| diner == name));
    let eating = household.diners.iter().filter(|diner| eats(&diner.name));
    let portions = meals * eating.map(|diner| diner.portion).sum();
    if portions > MOST {
        page.at(at, What::TooManyPortions { portions: start_of(portions) });
    }
}
