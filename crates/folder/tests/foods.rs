//! The chef's own foods, and the chef's figures for the catalogue's.
#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used, reason = "a panic here is a failed check")]

mod common;

use common::folder;
use trug_catalog::{Allergen, Allergens, Catalog, Food, Group, Keep, RawKind};
use trug_folder::{read, write};
use trug_measure::Exact;
use trug_provision::kitchen::Kitchen;

fn kitchen(foods: &str) -> Kitchen {
    let files = folder(&[("kitchen.toml", "name = \"K\""), ("foods.toml", foods)]);
    read(&files).unwrap_or_else(|problems| panic!("{problems}"))
}

/// The food of that id in a kitchen, which must be the same after the kitchen was written and read again.
fn food(foods: &str, id: &str) -> Food {
    let first = kitchen(foods);
    let get = |kitchen: &Kitchen| kitchen.catalog.get(kitchen.catalog.by_id(id).expect(id)).clone();
    let files = write(&first);
    let second = read(&files).unwrap_or_else(|problems| panic!("{problems}"));
    assert_eq!(get(&first), get(&second), "{}", String::from_utf8_lossy(files.get("foods.toml").unwrap_or_default()));
    get(&first)
}

fn builtin(id: &str) -> &'static Food {
    Catalog::builtin().get(Catalog::builtin().by_id(id).expect(id))
}

fn exact(text: &str) -> Exact {
    text.parse().unwrap()
}

#[test]
fn a_new_food_has_only_what_is_given() {
    let bare = food("[food.moon-cheese]\n", "moon-cheese");
    assert_eq!(bare, Food { own: true, ..Food::named(bare.id.clone(), "moon cheese") });
    assert_eq!(bare.allergens, Allergens::NotRecorded);

    let full = food(
        "[food.moon-cheese]
name = \"moon wheel\"
plural = \"moon wheels\"
also = [\"lunar cheese\"]
section = \"dairy\"
keep = \"chilled\"
grams = { \"cup\" = 120, \"cup diced\" = 135.5, \"each large\" = 85, \"fl oz\" = 0.1 }
density = 1.03
refuse = 11.5
allergens = [\"milk\", \"peanuts\", \"milk\"]
groups = [\"honey\"]
packs = [\"14.5 oz\", \"1 dozen\"]
raw = \"poultry\"
enough = 250
cooked = 3.0
drained = 0.6
",
        "moon-cheese",
    );
    assert_eq!(
        (full.name.as_str(), full.plural.as_str(), full.section.as_str()),
        ("moon wheel", "moon wheels", "dairy")
    );
    assert_eq!(full.keep, Keep::Chilled);
    let measures: Vec<String> = full
        .measures
        .iter()
        .map(|measure| format!("{} {} {}", measure.unit, measure.words.join(" "), measure.grams))
        .collect();
    assert_eq!(measures, ["cup  120", "cup diced 135.5", "each large 85", "floz  0.1"]);
    assert_eq!(full.density, Some(exact("1.03")));
    assert_eq!(full.refuse, Some(exact("11.5")));
    assert_eq!(full.allergens.kinds(), [Allergen::Milk, Allergen::Peanut]);
    assert!(full.groups.contains(&Group::Honey));
    assert!(Allergen::Milk.group().is_none_or(|group| full.groups.contains(&group)));
    assert_eq!(full.packs.iter().map(ToString::to_string).collect::<Vec<_>>(), ["14.5 oz", "12 each"]);
    assert_eq!(full.raw, Some(RawKind::Poultry));
    assert_eq!((full.enough, full.cooked, full.drained), (Some(exact("250")), Some(exact("3")), Some(exact("0.6"))));
}

#[test]
fn an_override_keeps_what_it_does_not_name() {
    let base = builtin("broccoli");
    let own = food("[food.broccoli]\nrefuse = 19\n", "broccoli");
    assert_eq!(own, Food { refuse: Some(exact("19")), trims: Vec::new(), own: true, ..base.clone() });
    let touched = food("[food.broccoli]\n", "broccoli");
    assert_eq!(touched, Food { own: true, ..base.clone() });
}

#[test]
fn grams_replace_the_measures_of_their_unit() {
    let base = builtin("carrot");
    let own = food("[food.carrot]\ngrams = { cup = 111 }\n", "carrot");
    let cup: trug_measure::Unit = "cup".parse().unwrap();
    let cups: Vec<_> = own.measures.iter().filter(|measure| measure.unit == cup).collect();
    assert_eq!(cups.len(), 1);
    assert_eq!((cups[0].grams, cups[0].words.len()), (exact("111"), 0));
    let others = |food: &Food| food.measures.iter().filter(|measure| measure.unit != cup).cloned().collect::<Vec<_>>();
    assert_eq!(others(&own), others(base));
}

#[test]
fn another_name_of_a_catalogue_food_means_that_food() {
    let own = food("[food.green-onion]\nrefuse = 7\n", "scallion");
    assert_eq!(own.refuse, Some(exact("7")));
    assert!(own.own);
    // With a name of its own it is a food of its own.
    let own = kitchen("[food.green-onion]\nname = \"green onion\"\n");
    assert!(own.catalog.by_id("green-onion").is_some());
    assert!(!own.catalog.get(own.catalog.by_id("scallion").unwrap()).own);
}

#[test]
fn names_are_added_never_lost() {
    let own = food("[food.scallion]\nname = \"salad onion\"\nalso = [\"syboe\"]\n", "scallion");
    let kitchen = kitchen("[food.scallion]\nname = \"salad onion\"\nalso = [\"syboe\"]\n");
    for name in ["salad onion", "syboe", "scallion", "scallions", "green onions"] {
        let found = kitchen.catalog.find(name).unwrap_or_else(|| panic!("{name}"));
        assert_eq!(kitchen.catalog.get(found.food).id, own.id, "{name}");
    }
}

#[test]
fn allergens_take_their_groups_with_them() {
    let base = builtin("soy-sauce");
    assert!(base.groups.contains(&Group::Gluten), "{base:?}");
    let own = food("[food.soy-sauce]\nallergens = [\"soy\"]\n", "soy-sauce");
    assert_eq!(own.allergens, Allergens::Recorded { kinds: vec![Allergen::Soy], vary: false });
    assert!(!own.groups.contains(&Group::Gluten));
    let none = food("[food.soy-sauce]\nallergens = []\n", "soy-sauce");
    assert_eq!(none.allergens, Allergens::Recorded { kinds: Vec::new(), vary: false });
}

#[test]
fn two_entries_for_one_food_are_a_problem() {
    let files = folder(&[
        ("kitchen.toml", "name = \"K\""),
        ("foods.toml", "[food.scallion]\nrefuse = 7\n[food.green-onion]\nrefuse = 8\n"),
    ]);
    let problems = read(&files).unwrap_err().to_string();
    assert!(
        problems.contains("`green-onion` and `scallion` are the same food here; keep one of the two"),
        "{problems}"
    );
}
