//! Dishes: recipes as text and as JSON-LD, and what is kept of them.
#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used, reason = "a panic here is a failed check")]

mod common;

use common::folder;
use trug_catalog::Catalog;
use trug_folder::{read, read_dish, read_json_ld, write_dish};
use trug_measure::{Exact, Unit};
use trug_provision::kitchen::{Dish, DishId, Item};
use trug_provision::names::{DishKind, Names};

fn names() -> Names {
    Names::new(Catalog::builtin().clone())
}

fn text(text: &str) -> Dish {
    read_dish("a.md", text, &mut names()).unwrap_or_else(|problems| panic!("{problems}"))
}

fn json(text: &str) -> Dish {
    read_json_ld("a.json", text, &mut names()).unwrap_or_else(|problems| panic!("{problems}"))
}

fn raw(dish: &Dish) -> Vec<&str> {
    dish.parts.iter().flat_map(|part| &part.lines).map(|ingredient| ingredient.line.raw.as_str()).collect()
}

const FULL: &str = "# Carrot & leek soup

Serves 4-6
Makes 3 quarts
Keeps: 4 days
Reheat: covered, low heat

## INGREDIENTS

- 2 carrots, peeled
* Salt and black pepper
### For the top
- 1 bunch chives

## Notes
Better the next day.

## Method

Sweat the leeks.

### Blend

Blend it.
";

#[test]
fn a_recipe_as_text() {
    let dish = text(FULL);
    assert_eq!(dish.title, "Carrot & leek soup");
    assert_eq!(dish.serves, Some(Exact::whole(4)), "nobody goes short");
    let makes = dish.makes.clone().unwrap();
    assert_eq!((makes.value, makes.unit.symbol(), makes.of.as_str()), (Exact::whole(3), "quart", ""));
    assert_eq!(dish.notes.len(), 2);
    assert_eq!(raw(&dish), ["2 carrots, peeled", "Salt and black pepper", "Salt and black pepper", "1 bunch chives"]);
    assert_eq!(dish.parts.iter().map(|part| part.heading.as_deref()).collect::<Vec<_>>(), [None, Some("For the top")]);
    assert_eq!(dish.method, "Sweat the leeks.\n\n### Blend\n\nBlend it.\n\n## Notes\nBetter the next day.");
}

#[test]
fn a_recipe_as_text_is_written_in_one_form() {
    let want = "# Carrot & leek soup

Serves 4
Makes 3 quarts
Keeps: 4 days
Reheat: covered, low heat

## Ingredients

- 2 carrots, peeled
- Salt and black pepper

### For the top

- 1 bunch chives

## Method

Sweat the leeks.

### Blend

Blend it.

## Notes
Better the next day.
";
    let dish = text(FULL);
    let written = write_dish(&dish, Catalog::builtin());
    assert_eq!(written, want);
    assert_eq!(text(&written), dish);
}

#[test]
fn two_foods_of_one_line_and_the_same_line_twice() {
    let dish =
        text("# A\nServes 2\n## Ingredients\n- salt and black pepper\n- salt and black pepper\n- salt\n- salt\n");
    assert_eq!(raw(&dish).len(), 6);
    let written = write_dish(&dish, Catalog::builtin());
    assert_eq!(written.matches("\n- ").count(), 4, "{written}");
    assert_eq!(text(&written), dish);
}

#[test]
fn parts_without_a_heading_stay_apart() {
    let dish = text("# A\nServes 2\n## Ingredients\n### One\n- 1 leek\n###\n- 2 carrots\n");
    assert_eq!(dish.parts.len(), 2);
    assert_eq!(dish.parts[1].heading, None);
    assert_eq!(text(&write_dish(&dish, Catalog::builtin())), dish);
}

#[test]
fn a_dish_in_a_dish() {
    let mut names = names();
    names.add_dish(&DishId::new("house-dressing"), "House dressing", DishKind::Makes);
    let dish = read_dish("a.md", "# A\nServes 2\n## Ingredients\n- 1 cup house dressing\n", &mut names).unwrap();
    assert_eq!(dish.parts[0].lines[0].item, Some(Item::Dish(DishId::new("house-dressing"))));
}

#[test]
fn json_ld_in_all_its_shapes() {
    let recipe = |kind: &str| {
        format!("{{\"@type\": {kind}, \"name\": \"Dip\", \"recipeYield\": \"6\", \"recipeIngredient\": [\"2 leeks\"]}}")
    };
    for shape in [
        recipe("\"Recipe\""),
        recipe("[\"Thing\", \"Recipe\"]"),
        recipe("\"https://schema.org/Recipe\""),
        recipe("\"http://schema.org/Recipe\""),
        recipe("\"schema:Recipe\""),
        format!("[{{\"@type\": \"WebSite\"}}, {}]", recipe("\"Recipe\"")),
        format!("{{\"@graph\": [{{\"@type\": \"WebSite\"}}, {}]}}", recipe("\"Recipe\"")),
        format!("[{{\"@graph\": [{}]}}]", recipe("\"Recipe\"")),
        format!("{{\"@type\": \"WebPage\", \"mainEntity\": {}}}", recipe("\"Recipe\"")),
        recipe("\"schema:Recipe\"").replace("\"name\"", "\"schema:name\"").replace("\"recipe", "\"schema:recipe"),
    ] {
        let dish = json(&shape);
        assert_eq!(
            (dish.title.as_str(), dish.serves, raw(&dish)),
            ("Dip", Some(Exact::whole(6)), vec!["2 leeks"]),
            "{shape}"
        );
        assert_eq!(write_dish(&dish, Catalog::builtin()), shape, "kept to the letter");
    }
}

#[test]
fn json_ld_yields() {
    for (written, serves, makes) in [
        ("6", Some(6), None),
        ("6.0", Some(6), None),
        ("\"6\"", Some(6), None),
        ("\"Serves 6\"", Some(6), None),
        ("\"6 servings\"", Some(6), None),
        ("\"4-6\"", Some(4), None),
        ("\"4 to 6 servings\"", Some(4), None),
        ("\"24 cookies\"", None, Some((24, "each", "cookies"))),
        ("\"Makes 24 cookies\"", None, Some((24, "each", "cookies"))),
        ("\"1 loaf\"", None, Some((1, "loaf", ""))),
        ("[\"8\", \"8 servings\"]", Some(8), None),
        ("[\"24\", \"24 cookies\"]", None, Some((24, "each", "cookies"))),
        ("[\"plenty\", \"24 cookies\", \"12\"]", Some(12), Some((24, "each", "cookies"))),
        ("{\"@type\": \"QuantitativeValue\", \"value\": 6, \"unitText\": \"servings\"}", Some(6), None),
    ] {
        let dish = json(&format!(
            "{{\"@type\": \"Recipe\", \"name\": \"Dip\", \"recipeYield\": {written}, \"recipeIngredient\": [\"2 leeks\"]}}"
        ));
        assert_eq!(dish.serves, serves.map(Exact::whole), "{written}");
        let made = dish.makes.as_ref().map(|made| (made.value, made.unit, made.of.as_str()));
        let want = makes.map(|(value, unit, of)| (Exact::whole(value), unit.parse::<Unit>().unwrap(), of));
        assert_eq!(made, want, "{written}");
    }
}

#[test]
fn json_ld_texts_and_steps() {
    let dish = json(
        r#"{"@type": "Recipe", "name": "Cr&egrave;me <b>br&ucirc;l&eacute;e</b>", "recipeYield": 4,
        "ingredients": "1 &frac12; cups cream\n4 egg yolks\n",
        "recipeInstructions": [
          {"@type": "HowToSection", "name": "Custard", "itemListElement": [
            {"@type": "HowToStep", "text": "<p>Warm the cream.</p>"}, {"@type": "HowToStep", "name": "Temper."}]},
          "Chill.<br>Serve."
        ]}"#,
    );
    assert_eq!(dish.title, "Crème brûlée");
    assert_eq!(raw(&dish), ["1 ½ cups cream", "4 egg yolks"]);
    assert_eq!(dish.method, "### Custard\n\nWarm the cream.\n\nTemper.\n\nChill.\nServe.");
}

#[test]
fn the_order_of_files_and_foods_changes_nothing() {
    let foods = ["[food.scallion]\nrefuse = 7\n", "[food.spring-mix-blend]\nname = \"green onion\"\nrefuse = 3\n"];
    let kitchen = |foods: String| {
        let files = folder(&[
            ("kitchen.toml", "name = \"K\""),
            ("foods.toml", &foods),
            ("dishes/a.md", "# A\nServes 1\n## Ingredients\n- 1 green onion\n- 1 scallion\n"),
        ]);
        read(&files).unwrap_or_else(|problems| panic!("{problems}"))
    };
    for order in [foods.concat(), [foods[1], foods[0]].concat()] {
        let kitchen = kitchen(order);
        let dish = &kitchen.dishes["a"];
        let ids: Vec<&str> = dish.parts[0]
            .lines
            .iter()
            .filter_map(|ingredient| match &ingredient.item {
                Some(Item::Food(found)) => Some(kitchen.catalog.get(found.food).id.as_str()),
                _ => None,
            })
            .collect();
        assert_eq!(ids, ["spring-mix-blend", "scallion"]);
    }
}
