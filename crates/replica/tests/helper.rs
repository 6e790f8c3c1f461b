//! What a helper's document must not contain, searched for in the demo kitchen's run: ids, names, diets, budgets.
#![allow(clippy::unwrap_used, clippy::panic, reason = "a panic is a failed check")]

mod common;

use std::collections::BTreeSet;
use std::path::Path;

use common::*;
use trug_folder::{read, read_dir};
use trug_provision::kitchen::Kitchen;
use trug_provision::{Options, list};
use trug_replica::Document;
use trug_replica::gate::{Gate, Limits};
use trug_replica::id::Salt;
use trug_replica::run::{Subs, plan_lines};

fn demo() -> Kitchen {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo-data");
    read(&read_dir(&folder).unwrap()).unwrap()
}

/// Texts of the book that no helper's document may hold, and that are long enough not to be there by chance.
fn secrets(kitchen: &Kitchen) -> BTreeSet<String> {
    let mut secrets = BTreeSet::new();
    for (id, household) in &kitchen.households {
        secrets.extend([id.to_string(), household.name.clone()]);
        secrets.extend(household.pantry.as_ref().map(ToString::to_string));
        secrets.extend(household.budget.as_ref().map(ToString::to_string));
        for diner in &household.diners {
            secrets.insert(diner.name.clone());
            secrets.extend(diner.diet.iter().cloned());
        }
    }
    secrets.extend(kitchen.dishes.keys().map(ToString::to_string));
    secrets.extend(kitchen.dishes.values().map(|dish| dish.title.clone()));
    secrets.extend(kitchen.weeks.keys().map(ToString::to_string));
    secrets.extend(kitchen.stores.keys().map(ToString::to_string));
    secrets.insert(kitchen.name.clone());
    secrets.retain(|secret| secret.len() > 2);
    secrets
}

/// What a document shows, without the stores' names, which are on their doors.
fn without_stores(kitchen: &Kitchen, canonical: &str) -> String {
    let mut text = canonical.to_owned();
    for store in kitchen.stores.values() {
        text = text.replace(&store.name, "");
    }
    text
}

#[test]
fn a_helpers_document_holds_nothing_of_the_book() {
    let kitchen = demo();
    let secrets = secrets(&kitchen);
    assert!(secrets.len() > 60);
    for week in kitchen.weeks.keys() {
        let list = list(&kitchen, week, &Options::default()).unwrap();
        let mut dice = Dice::new(5);
        let salt = Salt::draw(&mut dice).unwrap();
        let plan = plan_lines(&kitchen, &list, &salt, |_| Subs::default());
        assert_eq!(plan.len(), list.lines.len());
        let mut run = new_run(&mut dice);
        run.bring_up_to_date(1, &plan).unwrap();
        for (line, planned) in list.lines.iter().zip(&plan) {
            assert_eq!(run.line(&planned.id).unwrap().food(), planned.food);
            assert_eq!(planned.separate.is_some(), line.separate.is_some());
            assert_eq!(planned.alerts(), !line.alerts.is_empty(), "{}", planned.food);
        }
        let mut helper = Gate::new(new_run(&mut dice), Limits::default());
        helper.merge(&run);
        assert_eq!(helper.quarantine(), []);
        let shown = without_stores(&kitchen, &helper.document().canonical()).to_lowercase();
        let raw: Vec<u8> = everything(helper.document());
        let raw = String::from_utf8_lossy(&raw).to_lowercase();
        let foods: BTreeSet<String> = plan.iter().map(|line| line.food.to_lowercase()).collect();
        for secret in &secrets {
            let secret = secret.to_lowercase();
            let is_food = foods.iter().any(|food| food.contains(&secret));
            let is_store = kitchen.stores.values().any(|store| store.name.to_lowercase().contains(&secret));
            assert!(is_food || !shown.contains(&secret), "{week}: `{secret}` is in a helper's run");
            assert!(is_food || is_store || !raw.contains(&secret), "{week}: `{secret}` is in a helper's changes");
        }
        // Ids of foods appear nowhere as keys.
        let ids: BTreeSet<&str> = list.lines.iter().map(|line| kitchen.catalog.get(line.food).id.as_str()).collect();
        for planned in &plan {
            assert!(!ids.contains(planned.id.as_str()));
        }
    }
}

trait Alerts {
    fn alerts(&self) -> bool;
}

impl Alerts for trug_replica::run::PlanLine {
    fn alerts(&self) -> bool {
        self.must_not.iter().any(|must_not| must_not.alert)
    }
}

#[test]
fn two_devices_with_the_salt_write_the_same_keys_and_others_cannot_guess_them() {
    let kitchen = demo();
    let week = kitchen.weeks.keys().next().unwrap();
    let list = list(&kitchen, week, &Options::default()).unwrap();
    let salt = Salt::from_bytes([1; 32]);
    let plan = plan_lines(&kitchen, &list, &salt, |_| Subs::default());
    assert_eq!(plan, plan_lines(&kitchen, &list, &salt, |_| Subs::default()));
    let ids: BTreeSet<_> = plan.iter().map(|line| &line.id).collect();
    assert_eq!(ids.len(), plan.len(), "every line has an id of its own");
    let other = plan_lines(&kitchen, &list, &Salt::from_bytes([2; 32]), |_| Subs::default());
    assert!(other.iter().all(|line| !ids.contains(&line.id)));
}

#[test]
fn aliases_are_stable_distinct_and_say_nothing() {
    let salt = Salt::from_bytes([3; 32]);
    let households: Vec<String> = (0..200).map(|at| format!("household-{at}")).collect();
    let all = salt.aliases(households.iter().map(String::as_str));
    let distinct: BTreeSet<_> = all.values().collect();
    assert_eq!(distinct.len(), 200);
    assert!(all.values().all(|alias| alias.as_str().len() == 3));
    let few = salt.aliases(households.iter().take(3).map(String::as_str));
    assert_eq!(few.len(), 3);
    assert_eq!(format!("{salt:?}"), "Salt(..)");
}
