//! The built-in catalogue against published figures.
//!
//! "SR28" is the USDA National Nutrient Database for Standard Reference, release 28 (2015). "FBG" is the USDA Food Buying
//! Guide for Child Nutrition Programs; its yields here are recalled from memory. Figures marked `[practice]` are common
//! practice in the trade.

#![allow(clippy::unwrap_used, clippy::panic, reason = "a panic here is a failed check")]

use trug_catalog::data::{TABLE, decode_table};
use trug_catalog::{Catalog, Food, Group, Measure};
use trug_measure::{Amount, Exact, Unit};

fn food(id: &str) -> &'static Food {
    let catalog = Catalog::builtin();
    catalog.get(catalog.by_id(id).unwrap_or_else(|| panic!("no {id}")))
}

fn measure<'a>(measures: &'a [Measure], name: &str) -> &'a Measure {
    let (unit, words) = name.split_once(' ').unwrap_or((name, ""));
    let unit: Unit = unit.parse().unwrap();
    let words: Vec<_> = words.split(' ').filter(|word| !word.is_empty()).collect();
    measures
        .iter()
        .find(|measure| measure.unit == unit && measure.words == words)
        .unwrap_or_else(|| panic!("no {name} in {measures:?}"))
}

fn exact(text: &str) -> Exact {
    text.parse().unwrap()
}

#[test]
fn every_row_decodes_and_is_found_by_its_id() {
    let foods: Vec<Food> = decode_table(TABLE).map(Result::unwrap).collect();
    assert!(foods.len() >= 700, "{}", foods.len());
    assert!(foods.is_sorted_by(|a, b| a.id < b.id));
    for food in &foods {
        assert_eq!(self::food(food.id.as_str()), food);
    }
    assert_eq!(Catalog::builtin().foods().count(), foods.len());
    if let Err(taken) = Catalog::new(foods) {
        panic!("{taken:?}");
    }
}

#[test]
fn weights_are_those_of_sr28() {
    // SR28, file WEIGHT: edible grams of one.
    let table = [
        ("red-bell-pepper", "each large", "164"), // 11821: 1 large
        ("red-bell-pepper", "each", "119"),
        ("egg", "each large", "50"), // 01123: 1 large
        ("butter", "cup", "227"),    // 01001, 01145
        ("butter", "tbsp", "14.2"),
        ("butter", "stick", "113"),
        ("white-rice", "cup", "185"), // 20044: long-grain, raw
        ("carrot", "cup", "128"),     // 11124
        ("carrot", "each", "61"),
        ("yellow-onion", "cup", "160"), // 11282
        ("yellow-onion", "each", "110"),
        ("garlic", "clove", "3"),            // 11215
        ("all-purpose-flour", "cup", "125"), // 20081
        ("granulated-sugar", "cup", "200"),  // 19335
        ("salt", "tsp", "6"),                // 02047
        ("celery", "stalk", "40"),           // 11143
        ("broccoli", "cup", "91"),           // 11090
    ];
    for (id, name, grams) in table {
        assert_eq!(measure(&food(id).measures, name).grams, exact(grams), "{id} {name}");
    }
}

#[test]
fn fluids_weigh_what_sr28_says() {
    // SR28, file WEIGHT: grams of one.
    let table = [
        ("whole-milk", "cup", "244"),  // 01077
        ("olive-oil", "cup", "216"),   // 04053
        ("honey", "cup", "339"),       // 19296
        ("heavy-cream", "cup", "238"), // 01053
    ];
    for (id, unit, grams) in table {
        let ml = Amount::new(Exact::ONE, unit.parse().unwrap()).milliliters().unwrap();
        let weight = (ml * food(id).density.unwrap()).to_f64();
        assert!((weight - exact(grams).to_f64()).abs() < 0.05, "{id}: {weight}");
    }
}

#[test]
fn trim_is_that_of_sr28() {
    // SR28, file FOOD_DES, column Refuse: percent of the as-purchased weight.
    let table = [
        ("carrot", "11"),          // 11124: crown, tops and scrapings
        ("broccoli", "39"),        // 11090: leaves and tough stalks with trimmings
        ("red-bell-pepper", "18"), // 11821: stem ends, seeds and core
        ("yellow-onion", "10"),    // 11282: stem ends, sprouts and defects
        ("celery", "11"),          // 11143
        ("egg", "12"),             // 01123: shell
    ];
    for (id, percent) in table {
        assert_eq!(food(id).refuse, Some(exact(percent)), "{id}");
    }
}

/// What is thrown away of one form of a food is nobody's loss who buys another.
#[test]
fn trim_is_of_the_form_bought() {
    // SR28 records 60 % for almonds in the shell, 25 % for potatoes pared, 47 % for lemons without their peel.
    for id in ["almond", "walnut", "chicken-breast", "ground-beef", "canned-chickpeas", "frozen-peas"] {
        assert_eq!(food(id).refuse, Some(Exact::ZERO), "{id}");
    }
    for (id, most) in [("russet-potato", 10), ("lemon", 10)] {
        let refuse = food(id).refuse;
        assert!(refuse.is_some_and(|percent| percent <= Exact::whole(most)), "{id}: {refuse:?}");
    }
}

/// A large red pepper is 164 g edible at 18 % trim, 200 g as purchased; SR28 says "2-1/4 per pound" of it by itself.
#[test]
fn a_pepper_weighs_what_the_pound_says() {
    let pepper = food("red-bell-pepper");
    let edible = measure(&pepper.measures, "each large").grams;
    let purchased = edible / (Exact::ONE - pepper.refuse.unwrap() / Exact::whole(100));
    let pound = Amount::new(Exact::ONE, "lb".parse().unwrap()).grams().unwrap();
    let by_the_pound = pound / Exact::new(9, 4);
    assert_eq!(purchased, Exact::whole(200));
    let ratio = (purchased / by_the_pound).to_f64();
    assert!((ratio - 1.0).abs() < 0.01, "{ratio}");
}

#[test]
fn trim_agrees_with_the_buying_guide_where_the_trim_is_the_same() {
    // FBG [memory]: ready to cook per pound as purchased; prep, or "" for the food's own trim. Not compared: carrots (0.70
    // where they are pared, SR28 has them scraped) and broccoli (0.81 with its stalks, SR28 has it without).
    let table = [
        ("cauliflower", "", "0.62"),
        ("celery", "", "0.83"),
        ("russet-potato", "peeled", "0.81"),
        ("green-bean", "", "0.88"),
        ("green-bell-pepper", "", "0.80"),
        ("yellow-onion", "", "0.88"),
    ];
    const TOLERANCE: f64 = 0.07;
    for (id, prep, guide) in table {
        let food = food(id);
        let trimmed = food.trims.iter().find(|trim| trim.prep == prep).map(|trim| trim.refuse);
        let refuse = trimmed.or(food.refuse).unwrap();
        let ready = (Exact::ONE - refuse / Exact::whole(100)).to_f64();
        assert!((ready - exact(guide).to_f64()).abs() <= TOLERANCE, "{id} {prep}: {ready} against {guide}");
    }
}

#[test]
fn a_can_of_beans_drains_as_the_buying_guide_says() {
    // FBG [memory]: a 15 oz can of beans drains to about 9 oz.
    for id in ["canned-chickpeas", "canned-black-beans", "canned-kidney-beans"] {
        let drained = food(id).drained.unwrap().to_f64();
        assert!((drained - 9.0 / 15.0).abs() <= 0.05, "{id}: {drained}");
    }
}

#[test]
fn rice_swells_to_about_three_cups_a_cup() {
    // [practice]: 1 cup of raw long-grain rice makes about 3 cups cooked.
    let rice = food("white-rice");
    let raw = measure(&rice.measures, "cup").grams;
    let cooked = measure(&rice.measures, "cup cooked").grams;
    let cups = (raw * rice.cooked.unwrap() / cooked).to_f64();
    assert!((cups - 3.0).abs() <= 0.25, "{cups}");
}

#[test]
fn water_is_never_bought() {
    assert!(food("water").never_bought);
    assert!(food("water").is_fluid());
    let bought = Catalog::builtin().foods().filter(|(_, food)| !food.never_bought).count();
    assert!(bought >= 700, "{bought}");
}

#[test]
fn groups_follow_from_the_allergens() {
    for (_, food) in Catalog::builtin().foods() {
        for kind in food.allergens.kinds() {
            assert!(kind.group().is_none_or(|group| food.groups.contains(&group)), "{}: {kind}", food.id);
        }
    }
    for (id, group) in [("egg", Group::Egg), ("butter", Group::Dairy), ("bacon", Group::Pork), ("honey", Group::Honey)]
    {
        assert!(food(id).groups.contains(&group), "{id}");
    }
}
