//! What a person reads beside the figures: alerts, warnings, notices.

use trug_provision::guard::{Conflict, ConflictKind};
use trug_provision::kitchen::{DishId, HouseholdId, Kitchen, StoreId};
use trug_provision::list::{Alert, List, ListLine};
use trug_provision::plan::list_name;
use trug_provision::text;

/// A line's allergy alerts.
#[must_use]
pub fn alerts(kitchen: &Kitchen, line: &ListLine) -> Vec<String> {
    line.alerts.iter().map(|alert| text::alert(kitchen, alert)).collect()
}

/// A line's warnings.
#[must_use]
pub fn warnings(kitchen: &Kitchen, line: &ListLine) -> Vec<String> {
    line.warnings.iter().map(|warning| text::warning(kitchen, line, warning)).collect()
}

/// What no line can say: doubts about dishes, lots past their date, words of diners that nothing is known by.
#[must_use]
pub fn of_list(kitchen: &Kitchen, list: &List) -> Vec<String> {
    let doubts = list.doubts.iter().map(|doubt| text::doubt(kitchen, doubt));
    let expired = list.expired.iter().map(|lot| text::expired(kitchen, lot));
    let unknown = list.guarded.unknown_words.iter().map(|(household, diner, word)| {
        format!(
            "`{word}` of {diner} ({}) is no allergen, food group, diet or food known here: only foods nobody has \
             described are compared with it, by name",
            text::household_name(kitchen, household)
        )
    });
    doubts.chain(expired).chain(unknown).collect()
}

/// Every allergy that a dish of the week conflicts with, with the food; for the head of a list.
#[must_use]
pub fn allergy_alerts(kitchen: &Kitchen, list: &List) -> Vec<String> {
    let allergies = list.guarded.conflicts.iter().filter(|conflict| conflict.kind == ConflictKind::Allergy);
    allergies
        .map(|conflict| {
            let alert = text::alert(kitchen, &alert_of(conflict));
            format!("{}: {alert}", list_name(&kitchen.catalog, conflict.food))
        })
        .collect()
}

fn alert_of(conflict: &Conflict) -> Alert {
    Alert {
        household: conflict.household.clone(),
        diner: conflict.diner.clone(),
        what: conflict.what.clone(),
        dish: conflict.dish.clone(),
        by_name: conflict.by_name,
    }
}

/// The dislikes, choices and diets that dishes of the week go against.
#[must_use]
pub fn notices(kitchen: &Kitchen, list: &List) -> Vec<String> {
    list.guarded.conflicts.iter().filter_map(|conflict| notice(kitchen, conflict)).collect()
}

fn notice(kitchen: &Kitchen, conflict: &Conflict) -> Option<String> {
    let wish = match conflict.kind {
        ConflictKind::Allergy => return None,
        ConflictKind::Avoid => "avoids",
        ConflictKind::Diet => "is",
    };
    let (food, table) =
        (list_name(&kitchen.catalog, conflict.food), text::household_name(kitchen, &conflict.household));
    let by_name = if conflict.by_name { ", judged by its name only" } else { "" };
    Some(format!(
        "{} ({table}) {wish} {}, and eats {} with {food}{by_name}",
        conflict.diner,
        conflict.what,
        dish_title(kitchen, &conflict.dish)
    ))
}

/// A dish's title.
#[must_use]
pub fn dish_title<'k>(kitchen: &'k Kitchen, id: &'k DishId) -> &'k str {
    kitchen.dishes.get(id).map_or(id.as_str(), |dish| dish.title.as_str())
}

/// A store's name.
#[must_use]
pub fn store_name<'k>(kitchen: &'k Kitchen, id: &'k StoreId) -> &'k str {
    kitchen.stores.get(id).map_or(id.as_str(), |store| store.name.as_str())
}

/// What stands for a household where there is little room: its short name, else its id.
#[must_use]
pub fn short_name<'k>(kitchen: &'k Kitchen, id: &'k HouseholdId) -> &'k str {
    let short = kitchen.households.get(id).and_then(|household| household.short.as_deref());
    short.unwrap_or(id.as_str())
}
