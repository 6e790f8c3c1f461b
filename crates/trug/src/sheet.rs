//! The list as a person walks it: stops, sections, rows, all in words. Every printed form is laid out from this.

use std::collections::{BTreeMap, BTreeSet};

use trug_catalog::FoodIx;
use trug_measure::{Exact, Money};
use trug_provision::kitchen::{HouseholdId, Kitchen, PantryId};
use trug_provision::list::{HouseholdTotal, List, ListLine};
use trug_provision::plan::{Workings, list_name};
use trug_provision::text;

use crate::words;

/// A week's list in words.
#[derive(Debug)]
pub struct Sheet {
    /// Whose kitchen, and which week.
    pub title: String,
    /// The allergies that a dish conflicts with: they come before everything else.
    pub alerts: Vec<String>,
    /// The stores, in the order of the list.
    pub stops: Vec<Stop>,
    /// What the pantries hold in full.
    pub in_hand: Vec<InHand>,
    /// What each household's groceries come to.
    pub tabs: Vec<Tab>,
    /// All priced lines together, with the currency.
    pub total: String,
    /// The names of the foods without a price.
    pub unpriced: Vec<String>,
    /// Dislikes, choices and diets that a dish goes against.
    pub notices: Vec<String>,
    /// What no row can say.
    pub warnings: Vec<String>,
}

/// One store.
#[derive(Debug)]
pub struct Stop {
    /// Its name.
    pub name: String,
    /// Its sections, in walking order.
    pub aisles: Vec<Aisle>,
}

/// One section of a store.
#[derive(Debug)]
pub struct Aisle {
    /// Its name.
    pub name: String,
    /// What to take there.
    pub rows: Vec<Row>,
}

/// One line of the list.
#[derive(Debug)]
pub struct Row {
    /// What to take: `3 bunches`.
    pub take: String,
    /// The food.
    pub food: String,
    /// How much is to be bought, before packs; empty where nobody has said.
    pub need: String,
    /// For whom, by short names.
    pub whom: String,
    /// What it costs; `no price` where that is not known, empty where nothing is bought for sure.
    pub cost: String,
    /// `optional`, `check`, and what else marks the row.
    pub marks: Vec<String>,
    /// Allergy alerts.
    pub alerts: Vec<String>,
    /// What a person should know of it.
    pub notes: Vec<String>,
}

impl Row {
    /// The food with its marks: `Cheddar (optional)`.
    #[must_use]
    pub fn marked_food(&self) -> String {
        if self.marks.is_empty() { self.food.clone() } else { format!("{} ({})", self.food, self.marks.join("; ")) }
    }
}

/// A food that is wholly in a pantry.
#[derive(Debug)]
pub struct InHand {
    /// The food.
    pub food: String,
    /// How much is used; empty where there is simply enough.
    pub amount: String,
    /// From where: `the kit`.
    pub place: String,
    /// For whom, by short names.
    pub whom: String,
    /// Allergy alerts.
    pub alerts: Vec<String>,
    /// What a person should know of it.
    pub notes: Vec<String>,
}

/// What one household's groceries come to.
#[derive(Debug)]
pub struct Tab {
    /// Its name.
    pub name: String,
    /// The estimate.
    pub estimate: String,
    /// How that stands against the budget, in words.
    pub budget: String,
    /// Whether it is over.
    pub over: bool,
    /// The names of what it needs that has no price.
    pub unpriced: Vec<String>,
}

impl Sheet {
    /// A list in words. The workings are those that the list came from: they know which pantry gave what.
    #[must_use]
    pub fn of(kitchen: &Kitchen, workings: &Workings<'_>, list: &List) -> Self {
        let sources = Sources::of(workings);
        Self {
            title: format!("{}: week {}", kitchen.name, list.week),
            alerts: words::allergy_alerts(kitchen, list),
            stops: stops(kitchen, &list.lines),
            in_hand: list.covered.iter().map(|line| in_hand(kitchen, &sources, line)).collect(),
            tabs: list.households.iter().map(|total| tab(kitchen, total)).collect(),
            total: format!("{} {}", list.total, kitchen.currency.code()),
            unpriced: names(kitchen, &list.unpriced),
            notices: words::notices(kitchen, list),
            warnings: words::of_list(kitchen, list),
        }
    }
}

fn names(kitchen: &Kitchen, foods: &[FoodIx]) -> Vec<String> {
    foods.iter().map(|food| list_name(&kitchen.catalog, *food)).collect()
}

fn stops(kitchen: &Kitchen, lines: &[ListLine]) -> Vec<Stop> {
    let by_store = lines.chunk_by(|a, b| a.buy.store == b.buy.store);
    by_store
        .map(|lines| {
            let store = lines.first().and_then(|line| line.buy.store.as_ref());
            let by_section = lines.chunk_by(|a, b| a.section == b.section);
            Stop {
                name: store.map_or("Wherever it is sold", |id| words::store_name(kitchen, id)).to_owned(),
                aisles: by_section.map(|lines| aisle(kitchen, lines)).collect(),
            }
        })
        .collect()
}

fn aisle(kitchen: &Kitchen, lines: &[ListLine]) -> Aisle {
    let section = lines.first().map_or("", |line| line.section.as_str());
    Aisle {
        name: if section.is_empty() { "no section known".to_owned() } else { section.to_owned() },
        rows: lines.iter().map(|line| row(kitchen, line)).collect(),
    }
}

fn row(kitchen: &Kitchen, line: &ListLine) -> Row {
    let bought = line.to_buy.filter(|to_buy| to_buy.is_positive());
    let no_price = if bought.is_some() { "no price" } else { "" };
    Row {
        take: text::line_text(kitchen, line),
        food: list_name(&kitchen.catalog, line.food),
        need: bought.map(|amount| text::amount_text(kitchen, line, amount)).unwrap_or_default(),
        whom: whom(kitchen, line),
        cost: line.buy.cost.map_or_else(|| no_price.to_owned(), |cost| cost.to_string()),
        marks: marks(kitchen, line),
        alerts: words::alerts(kitchen, line),
        notes: words::warnings(kitchen, line),
    }
}

fn marks(kitchen: &Kitchen, line: &ListLine) -> Vec<String> {
    let mut marks = Vec::new();
    if !line.alerts.is_empty() {
        marks.push("ALLERGY ALERT".to_owned());
    }
    if line.check {
        marks.push("check".to_owned());
    }
    if line.optional {
        marks.push("optional".to_owned());
    }
    if line.separate.is_some() {
        marks.push("own packs".to_owned());
    }
    if let Some(taken) = line.in_pantry.filter(|taken| taken.is_positive()) {
        marks.push(format!("{} more in hand", text::amount_text(kitchen, line, taken)));
    }
    marks
}

fn whom(kitchen: &Kitchen, line: &ListLine) -> String {
    let mut ids: Vec<&HouseholdId> = line.demands.iter().map(|demand| &demand.household).collect();
    ids.dedup();
    ids.iter().map(|id| words::short_name(kitchen, id)).collect::<Vec<_>>().join(", ")
}

/// Which pantries serve a food for a household.
struct Sources<'w>(BTreeMap<(FoodIx, &'w HouseholdId), BTreeSet<&'w PantryId>>);

impl<'w> Sources<'w> {
    fn of(workings: &'w Workings<'_>) -> Self {
        let mut sources: BTreeMap<_, BTreeSet<&PantryId>> = BTreeMap::new();
        for taking in workings.given.iter().flat_map(|given| &given.takings) {
            if let Some(service) = workings.service(taking.service) {
                sources.entry((taking.food, &service.household)).or_default().insert(taking.pantry);
            }
        }
        for (at, pantry) in &workings.made_sure {
            if let Some(demand) = workings.demands.get(*at) {
                sources.entry((demand.food, demand.household)).or_default().insert(*pantry);
            }
        }
        Self(sources)
    }

    fn places(&self, kitchen: &Kitchen, line: &ListLine) -> String {
        let households = line.demands.iter().map(|demand| &demand.household);
        let places: BTreeSet<&PantryId> =
            households.filter_map(|household| self.0.get(&(line.food, household))).flatten().copied().collect();
        places.iter().map(|id| text::pantry_name(kitchen, id)).collect::<Vec<_>>().join(" and ")
    }
}

fn in_hand(kitchen: &Kitchen, sources: &Sources<'_>, line: &ListLine) -> InHand {
    let used = line.need.filter(|need: &Exact| need.is_positive());
    InHand {
        food: list_name(&kitchen.catalog, line.food),
        amount: used.map(|need| text::amount_text(kitchen, line, need)).unwrap_or_default(),
        place: sources.places(kitchen, line),
        whom: whom(kitchen, line),
        alerts: words::alerts(kitchen, line),
        notes: words::warnings(kitchen, line),
    }
}

fn tab(kitchen: &Kitchen, total: &HouseholdTotal) -> Tab {
    Tab {
        name: text::household_name(kitchen, &total.household).to_owned(),
        estimate: total.estimate.to_string(),
        budget: against_budget(total.estimate, total.budget),
        over: total.is_over(),
        unpriced: names(kitchen, &total.unpriced),
    }
}

fn against_budget(estimate: Money, budget: Option<Money>) -> String {
    match budget {
        None => "no budget set".to_owned(),
        Some(budget) if estimate > budget => format!("OVER its budget of {budget} by {}", estimate - budget),
        Some(budget) => format!("within its budget of {budget}, {} left", budget - estimate),
    }
}
