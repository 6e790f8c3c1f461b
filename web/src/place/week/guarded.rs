//! What speaks against a dish at a table: allergies apart and loud, dislikes and diets as notices, and what is not
//! recorded.

use std::collections::{BTreeMap, BTreeSet};
use std::rc::Rc;

use trug_measure::Exact;
use trug_provision::demand::gather;
use trug_provision::guard::{Conflict, ConflictKind, NotRecorded, guard};
use trug_provision::kitchen::{DishId, HouseholdId, Kitchen, Service, ServiceDish, ServingSize};
use trug_provision::plan::list_name;
use yew::prelude::*;

use super::form::{joined, today};
use crate::desk::kitchen::KitchenNow;
use crate::look::{AllergyAlert, Notice, Tone};
use crate::words::{say_kind, t};

/// What the guard says of one dish at one table.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct Concerns {
    conflicts: Vec<Conflict>,
    not_recorded: Vec<NotRecorded>,
}

impl Concerns {
    /// Whether somebody who eats it is allergic to something in it.
    pub(super) fn has_alert(&self) -> bool {
        self.conflicts.iter().any(|conflict| conflict.kind == ConflictKind::Allergy)
    }

    /// Without what is not recorded, which of many dishes at once would say little.
    pub(super) fn conflicts_only(self) -> Self {
        Self { not_recorded: Vec::new(), ..self }
    }
}

/// What speaks against the dishes of a service, by dish.
pub(super) fn of_service(kitchen: &Kitchen, service: &Service) -> BTreeMap<DishId, Concerns> {
    let services = [service];
    let (demands, _) = gather(kitchen, &services);
    let found = guard(kitchen, &services, &demands);
    let mut concerns: BTreeMap<DishId, Concerns> = BTreeMap::new();
    for conflict in found.conflicts {
        concerns.entry(conflict.dish.clone()).or_default().conflicts.push(conflict);
    }
    for missing in found.not_recorded {
        concerns.entry(missing.dish.clone()).or_default().not_recorded.push(missing);
    }
    concerns
}

/// What would speak against each dish of the kitchen, were it served to everybody at that table.
pub(super) fn of_all_dishes(kitchen: &Kitchen, household: &HouseholdId) -> BTreeMap<DishId, Concerns> {
    let dish = |id: &DishId| ServiceDish {
        dish: id.clone(),
        size: ServingSize::Portions(Exact::ONE),
        diners: None,
        swaps: Vec::new(),
    };
    let dishes = kitchen.dishes.keys().map(dish).collect();
    let service = Service { household: household.clone(), shop: today(), cook: today(), dishes };
    of_service(kitchen, &service)
}

/// Conflicts of one diner's one word: the foods together.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Told {
    kind: ConflictKind,
    diner: String,
    what: String,
    foods: Vec<String>,
    by_name: bool,
}

fn told(kitchen: &Kitchen, conflicts: &[Conflict]) -> Vec<Told> {
    let mut all: Vec<Told> = Vec::new();
    for conflict in conflicts {
        let food = list_name(&kitchen.catalog, conflict.food);
        let same =
            |told: &&mut Told| (told.kind, &told.diner, &told.what) == (conflict.kind, &conflict.diner, &conflict.what);
        match all.iter_mut().find(same) {
            Some(told) => {
                told.by_name |= conflict.by_name;
                told.foods.push(food);
            }
            None => all.push(Told {
                kind: conflict.kind,
                diner: conflict.diner.clone(),
                what: conflict.what.clone(),
                foods: vec![food],
                by_name: conflict.by_name,
            }),
        }
    }
    // An allergy stands before everything else.
    all.sort_by_key(|told| told.kind);
    all
}

fn words(told: &Told, dish: &str) -> AttrValue {
    let (diner, what, food) = (&told.diner, say_kind(&told.what), joined(&told.foods));
    let text = match told.kind {
        ConflictKind::Allergy => {
            t!("week.conflict_allergy", diner = diner, what = what, dish = dish, food = food)
        }
        ConflictKind::Avoid => t!("week.conflict_avoid", diner = diner, what = what, dish = dish, food = food),
        ConflictKind::Diet => t!("week.conflict_diet", diner = diner, what = what, dish = dish, food = food),
    };
    if told.by_name { format!("{text} {}", t!("week.by_name")).into() } else { text }
}

/// What speaks against a dish.
#[derive(Properties, PartialEq)]
pub(super) struct AgainstProps {
    pub(super) now: Rc<KitchenNow>,
    pub(super) dish: AttrValue,
    pub(super) concerns: Concerns,
    /// Read out at once: somebody has just chosen it.
    #[prop_or_default]
    pub(super) urgent: bool,
}

/// Alerts, notices, and what is not recorded.
#[component]
pub(super) fn Against(props: &AgainstProps) -> Html {
    let kitchen = &props.now.kitchen;
    let title = kitchen.dishes.get(props.dish.as_str()).map_or(props.dish.as_str(), |dish| dish.title.as_str());
    let one = |told: &Told| {
        let text = words(told, title);
        match told.kind {
            ConflictKind::Allergy => html! {
                <AllergyAlert title={t!("common.allergy_alert")} {text} urgent={props.urgent}>
                    <p class="small">{ t!("safety.allergy") }</p>
                </AllergyAlert>
            },
            ConflictKind::Avoid | ConflictKind::Diet => html! { <Notice tone={Tone::Care}><p>{ text }</p></Notice> },
        }
    };
    html! { <>
        { for told(kitchen, &props.concerns.conflicts).iter().map(one) }
        { for not_recorded(kitchen, &props.concerns.not_recorded).map(|text| html! {
            <Notice tone={Tone::Care}><p>{ text }</p></Notice>
        }) }
    </> }
}

/// The foods of which nobody knows whether they hold what a diner must not have.
fn not_recorded(kitchen: &Kitchen, missing: &[NotRecorded]) -> Option<AttrValue> {
    let foods: BTreeSet<String> = missing.iter().map(|one| list_name(&kitchen.catalog, one.food)).collect();
    let diners: BTreeSet<&str> = missing.iter().map(|one| one.diner.as_str()).collect();
    let (foods, diners) = (foods.into_iter().collect::<Vec<_>>(), diners.into_iter().collect::<Vec<_>>());
    (!foods.is_empty()).then(|| t!("week.not_recorded", foods = joined(&foods), diners = joined(&diners)))
}
