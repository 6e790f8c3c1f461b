//! What is wrong in a kitchen, before anybody shops for it.

use std::collections::{BTreeMap, BTreeSet};

use trug_catalog::FoodIx;

use crate::demand::portions;
use crate::guard::{Conflict, ConflictKind, NotRecorded};
use crate::kitchen::{DishId, HouseholdId, Item, Kitchen, Service, WeekId};
use crate::list::{HouseholdTotal, List, ListLine, Warning};
use crate::plan::{Options, Workings, list_name};
use crate::text;

/// How much a finding matters.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Severity {
    /// It can hurt someone, or the plan cannot be carried out.
    Error,
    /// The list is not what it could be.
    Warning,
    /// Worth knowing.
    Notice,
}

/// Something that a person should know of a kitchen.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Finding {
    /// How much it matters.
    pub severity: Severity,
    /// Where: a file of the kitchen folder, or a week and a household.
    pub place: String,
    /// What, and what would be right.
    pub text: String,
}

/// Everything found in a kitchen; the gravest first, then by place. Each thing is said once.
#[must_use]
pub fn check(kitchen: &Kitchen) -> Vec<Finding> {
    let mut findings = Findings(BTreeSet::new());
    for (id, week) in &kitchen.weeks {
        for service in &week.services {
            service_findings(kitchen, id, service, &mut findings);
        }
        let Ok(workings) = Workings::of(kitchen, id, &Options::default()) else { continue };
        raw_keeping(kitchen, id, &workings, &mut findings);
        let list = workings.into_list();
        week_findings(kitchen, id, &list, &mut findings);
    }
    uneaten(kitchen, &mut findings);
    parts_in_stock(kitchen, &mut findings);
    unknown_in_lists(kitchen, &mut findings);
    other_words(kitchen, &mut findings);
    findings.0.into_iter().collect()
}

struct Findings(BTreeSet<Finding>);

impl Findings {
    fn add(&mut self, severity: Severity, place: String, text: String) {
        self.0.insert(Finding { severity, place, text });
    }
}

fn week_file(week: &WeekId) -> String {
    format!("weeks/{week}.toml")
}

fn dish_file(kitchen: &Kitchen, dish: &DishId) -> String {
    let json =
        kitchen.dishes.get(dish).is_some_and(|dish| matches!(dish.source, crate::kitchen::DishSource::JsonLd(_)));
    format!("dishes/{dish}.{}", if json { "json" } else { "md" })
}

fn title<'k>(kitchen: &'k Kitchen, dish: &'k DishId) -> &'k str {
    kitchen.dishes.get(dish).map_or(dish.as_str(), |dish| dish.title.as_str())
}

fn service_findings(kitchen: &Kitchen, week: &WeekId, service: &Service, findings: &mut Findings) {
    let table = text::household_name(kitchen, &service.household);
    if service.cook < service.shop {
        let text = format!(
            "{table} is cooked for on {}, before the shopping on {}: set `cook` on or after `shop`",
            service.cook, service.shop
        );
        findings.add(Severity::Error, week_file(week), text);
    }
    let Some(household) = kitchen.households.get(&service.household) else { return };
    if service.dishes.is_empty() {
        findings.add(Severity::Warning, week_file(week), format!("the service for {table} has no dishes"));
    }
    for served in &service.dishes {
        if !portions(household, served).is_positive() {
            let text = format!("nobody at {table} eats {}: name who it is `for`", title(kitchen, &served.dish));
            findings.add(Severity::Warning, week_file(week), text);
        }
    }
}

/// What raw meat, fish and poultry keeps, against the days from shop to cook.
fn raw_keeping(kitchen: &Kitchen, week: &WeekId, workings: &Workings<'_>, findings: &mut Findings) {
    for demand in &workings.demands {
        let food = kitchen.catalog.get(demand.food);
        let (Some(raw), Some(service)) = (food.raw, workings.service(demand.service)) else { continue };
        let days = (service.cook - service.shop).num_days();
        if days > i64::from(raw.days_raw()) && food.keep != trug_catalog::Keep::Frozen {
            let text = format!(
                "{} is bought {days} days before it is cooked for {}; raw, it keeps about {} days at 40 °F (4 °C): buy it \
                 later or freeze it. The label's date and local food codes come first",
                list_name(&kitchen.catalog, demand.food),
                text::household_name(kitchen, &service.household),
                raw.days_raw(),
            );
            findings.add(Severity::Warning, week_file(week), text);
        }
    }
}

fn week_findings(kitchen: &Kitchen, week: &WeekId, list: &List, findings: &mut Findings) {
    for conflict in &list.guarded.conflicts {
        let (severity, text) = conflict_text(kitchen, conflict);
        findings.add(severity, week_file(week), text);
    }
    not_recorded(kitchen, week, &list.guarded.not_recorded, findings);
    for (household, diner, word) in &list.guarded.unknown_words {
        let text = format!(
            "`{word}` of {diner} is no allergen, food group, diet or food known here: only foods nobody has described are \
             compared with it, by name"
        );
        findings.add(Severity::Warning, format!("households/{household}.toml"), text);
    }
    for doubt in &list.doubts {
        findings.add(Severity::Warning, dish_file(kitchen, doubt.dish()), text::doubt(kitchen, doubt));
    }
    for line in list.lines.iter().chain(&list.covered) {
        line_findings(kitchen, line, findings);
    }
    for total in &list.households {
        budget(kitchen, week, list, total, findings);
    }
    for lot in &list.expired {
        findings.add(Severity::Notice, format!("pantries/{}.csv", lot.pantry), text::expired(kitchen, lot));
    }
}

fn conflict_text(kitchen: &Kitchen, conflict: &Conflict) -> (Severity, String) {
    let food = list_name(&kitchen.catalog, conflict.food);
    let (dish, table) = (title(kitchen, &conflict.dish), text::household_name(kitchen, &conflict.household));
    let by_name = if conflict.by_name { " (judged by its name only: nobody has described it)" } else { "" };
    let (diner, what) = (&conflict.diner, &conflict.what);
    match conflict.kind {
        ConflictKind::Allergy => (
            Severity::Error,
            format!(
                "ALLERGY ALERT: {diner} ({table}) must not have {what}, and eats {dish} with {food}{by_name}. Traces \
                 count: ask, and read the label"
            ),
        ),
        ConflictKind::Avoid => {
            (Severity::Notice, format!("{diner} ({table}) avoids {what}, and eats {dish} with {food}{by_name}"))
        }
        ConflictKind::Diet => {
            (Severity::Notice, format!("{diner} ({table}) is {what}, and eats {dish} with {food}{by_name}"))
        }
    }
}

/// What is not recorded: one finding for each household and food, with every dish, diner and allergy it touches.
fn not_recorded(kitchen: &Kitchen, week: &WeekId, missing: &[NotRecorded], findings: &mut Findings) {
    let mut grouped: BTreeMap<(&HouseholdId, &str, bool), [BTreeSet<String>; 2]> = BTreeMap::new();
    for item in missing {
        let food = kitchen.catalog.get(item.food).id.as_str();
        let [dishes, diners] = grouped.entry((&item.household, food, item.suggested)).or_default();
        dishes.insert(title(kitchen, &item.dish).to_owned());
        diners.insert(format!("{}: {}", item.diner, item.what));
    }
    for ((household, food, suggested), [dishes, diners]) in grouped {
        let food = kitchen.catalog.by_id(food).map_or_else(|| food.to_owned(), |ix| list_name(&kitchen.catalog, ix));
        let (severity, hint) = match suggested {
            true => (Severity::Warning, "; its name suggests it"),
            false => (Severity::Notice, ""),
        };
        let text = format!(
            "{food}, in {}: allergens not recorded in full, for {} with allergies ({}){hint}. Read the label",
            joined(&dishes),
            text::household_name(kitchen, household),
            joined(&diners),
        );
        findings.add(severity, week_file(week), text);
    }
}

fn joined(words: &BTreeSet<String>) -> String {
    words.iter().map(String::as_str).collect::<Vec<_>>().join(", ")
}

/// Unknown foods and missing figures, at the file of the first dish that asks.
fn line_findings(kitchen: &Kitchen, line: &ListLine, findings: &mut Findings) {
    let place = line.demands.first().map_or_else(String::new, |demand| dish_file(kitchen, &demand.dish));
    for warning in &line.warnings {
        let text = text::warning(kitchen, line, warning);
        match warning {
            Warning::Undescribed => findings.add(Severity::Warning, place.clone(), unknown(kitchen, line.food)),
            Warning::Missing(_)
            | Warning::PriceUnusable
            | Warning::AmountsDiffer { .. }
            | Warning::AmountOutOfRange { .. } => findings.add(Severity::Warning, place.clone(), text),
            Warning::Slip { .. } | Warning::MoreThanEnough => findings.add(Severity::Notice, place.clone(), text),
            Warning::AllergensNotRecorded | Warning::AllergensVary => {}
        }
    }
}

/// An unknown food, with the foods that come near it; none of them is assumed.
fn unknown(kitchen: &Kitchen, food: FoodIx) -> String {
    let name = &kitchen.catalog.get(food).name;
    let near = kitchen.catalog.near(name, 3).into_iter().filter(|near| *near != food);
    let near: Vec<&str> = near.map(|ix| kitchen.catalog.get(ix).name.as_str()).collect();
    let hint = if near.is_empty() { String::new() } else { format!("; near it: {}", near.join(", ")) };
    format!("unknown food `{name}`: describe it in foods.toml, or write a name that is known{hint}")
}

/// A budget exceeded, and what drives it.
fn budget(kitchen: &Kitchen, week: &WeekId, list: &List, total: &HouseholdTotal, findings: &mut Findings) {
    let Some(budget) = total.budget.filter(|_| total.is_over()) else { return };
    let currency = kitchen.currency;
    let mut text = format!(
        "{} comes to {} {currency}, over its budget of {budget}; most of it: {}",
        text::household_name(kitchen, &total.household),
        total.estimate,
        dearest(kitchen, list, &total.household).join(", ")
    );
    if !total.unpriced.is_empty() {
        text.push_str(&format!("; not counting {} without a price", total.unpriced.len()));
    }
    findings.add(Severity::Warning, week_file(week), text);
}

/// The three lines of which a household pays the most.
fn dearest(kitchen: &Kitchen, list: &List, household: &HouseholdId) -> Vec<String> {
    let own = |line: &ListLine| line.shares.iter().find(|(id, _)| id == household).map(|(_, share)| *share);
    let mut shares: Vec<_> = list.lines.iter().filter_map(|line| Some((own(line)?, line.food))).collect();
    let id = |food: FoodIx| kitchen.catalog.get(food).id.as_str();
    shares.sort_by(|a, b| b.0.cmp(&a.0).then_with(|| id(a.1).cmp(id(b.1))));
    shares.iter().take(3).map(|(share, food)| format!("{} {share}", list_name(&kitchen.catalog, *food))).collect()
}

/// Dishes that no service cooks, nor another dish uses.
fn uneaten(kitchen: &Kitchen, findings: &mut Findings) {
    let served = kitchen.weeks.values().flat_map(|week| &week.services).flat_map(|service| &service.dishes);
    let mut used: BTreeSet<&DishId> = served.map(|served| &served.dish).collect();
    for dish in kitchen.dishes.values() {
        used.extend(dish.parts.iter().flat_map(|part| &part.lines).filter_map(|line| match &line.item {
            Some(Item::Dish(id)) => Some(id),
            _ => None,
        }));
    }
    for id in kitchen.dishes.keys().filter(|id| !used.contains(id)) {
        findings.add(
            Severity::Notice,
            dish_file(kitchen, id),
            format!("nobody eats {} in any week", title(kitchen, id)),
        );
    }
}

/// Prices and lots of a part: a bottle of lemon juice is no lemon.
fn parts_in_stock(kitchen: &Kitchen, findings: &mut Findings) {
    let is_part = |item: &Item| matches!(item, Item::Food(found) if found.part.is_some());
    let text = |name: &str| {
        format!(
            "`{name}` is taken from a whole food, and does not count here: write the whole, or a food bought as such"
        )
    };
    for price in kitchen.prices.iter().filter(|price| is_part(&price.food.item)) {
        findings.add(Severity::Notice, "prices.csv".to_owned(), text(&price.food.text));
    }
    for (pantry, lots) in &kitchen.pantries {
        for lot in lots.iter().filter(|lot| is_part(&lot.food.item)) {
            findings.add(Severity::Notice, format!("pantries/{pantry}.csv"), text(&lot.food.text));
        }
    }
}

/// Prices of foods that nobody knows, and pantries that nobody has counted.
fn unknown_in_lists(kitchen: &Kitchen, findings: &mut Findings) {
    for price in &kitchen.prices {
        if let Item::Food(found) = &price.food.item
            && !kitchen.catalog.get(found.food).described
        {
            findings.add(Severity::Notice, "prices.csv".to_owned(), unknown(kitchen, found.food));
        }
    }
    let owned = kitchen.households.values().filter_map(|household| household.pantry.as_ref());
    for pantry in owned.chain(&kitchen.kit).filter(|pantry| !kitchen.pantries.contains_key(*pantry)) {
        let text =
            format!("there is no such file yet: nothing is counted as being there (write pantries/{pantry}.csv)");
        findings.add(Severity::Notice, format!("pantries/{pantry}.csv"), text);
    }
}

/// Allergens of the chef's own foods that no list of allergens has: a slip, or a word only this kitchen uses.
fn other_words(kitchen: &Kitchen, findings: &mut Findings) {
    for (_, food) in kitchen.catalog.foods() {
        for word in &food.other_allergens {
            let text = format!("`{word}` of {} is on neither list of allergens: it is kept as written", food.name);
            findings.add(Severity::Notice, "foods.toml".to_owned(), text);
        }
    }
}

/// Whether anything was found that keeps the kitchen from being shopped for as it stands.
#[must_use]
pub fn has_problems(findings: &[Finding]) -> bool {
    findings.iter().any(|finding| finding.severity != Severity::Notice)
}
