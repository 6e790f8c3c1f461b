//! The list for 8 households x 6 dishes x 15 lines, from parsed data. Budget: at most 1 ms native.

#![allow(clippy::expect_used, reason = "a bench that cannot run has to stop")]

use std::collections::BTreeMap;
use std::hint::black_box;
use std::time::Instant;

use trug_catalog::{Catalog, Keep, Regime};
use trug_measure::{Currency, Exact, Money, System};
use trug_provision::kitchen::{
    Diner, Dish, DishId, DishPart, DishSource, Household, HouseholdId, Kitchen, Lot, PantryId, Price, Service,
    ServiceDish, ServingSize, Sold, Store, StoreId, Week, WeekId,
};
use trug_provision::names::Names;
use trug_provision::{Options, list};

const HOUSEHOLDS: usize = 8;
const DISHES: usize = 6;
const LINES: usize = 15;

/// Ingredient lines as recipes have them; each dish takes fifteen, from a place of its own on.
const WRITTEN: [&str; 40] = [
    "2 large carrots, peeled and diced",
    "1 lb boneless, skinless chicken thighs",
    "1 (14.5-oz) can diced tomatoes",
    "3 cloves garlic, minced",
    "1/4 cup olive oil",
    "2 tsp ground cumin",
    "1 bunch cilantro, chopped",
    "juice of 2 lemons",
    "1 1/2 cups long-grain rice",
    "4 cups chicken stock",
    "1/2 cup plain yogurt",
    "2 tbsp soy sauce",
    "1 onion, chopped",
    "3 celery stalks, sliced",
    "salt, to taste",
    "1/2 tsp black pepper",
    "8 oz cremini mushrooms, sliced",
    "2 cups broccoli florets",
    "1 lb ground beef",
    "1 cup heavy cream",
    "2 tbsp butter",
    "1 red bell pepper, diced",
    "1/2 cup grated parmesan",
    "4 large eggs",
    "1 cup all-purpose flour",
    "2 tbsp honey",
    "1 cup frozen peas",
    "1 lb salmon fillet",
    "2 scallions, thinly sliced",
    "1 tbsp red wine vinegar",
    "1 can black beans, drained",
    "2 sweet potatoes, cubed",
    "1 head cauliflower",
    "3 sprigs thyme",
    "1 cup dry white wine",
    "1 lb spaghetti",
    "2 cups spinach",
    "1 zucchini, sliced",
    "1 tbsp Dijon mustard",
    "1/2 cup walnuts, chopped",
];

fn kitchen() -> Kitchen {
    let mut names = Names::new(Catalog::builtin().clone());
    let mut dishes = BTreeMap::new();
    for at in 0..HOUSEHOLDS * DISHES {
        let written = (0..LINES).map(|line| WRITTEN[(at * 7 + line * 3) % WRITTEN.len()]);
        let lines = written.flat_map(|raw| names.ingredients(raw)).collect();
        let dish = Dish {
            title: format!("Dish {at}"),
            serves: Some(Exact::whole(4)),
            makes: None,
            notes: Vec::new(),
            parts: vec![DishPart { heading: None, lines }],
            method: String::new(),
            source: DishSource::Text,
        };
        dishes.insert(DishId::new(&format!("dish-{at}")), dish);
    }
    let foods = ["carrot", "olive oil", "chicken stock", "garlic", "egg", "butter", "spaghetti", "onion", "flour"];
    let mut prices = Vec::new();
    for (store, cents) in [("north", 299), ("south", 279)] {
        for (at, food) in WRITTEN.iter().enumerate() {
            let found = names.ingredients(food).remove(0).line.food;
            for (size, factor) in [("8 oz", 1), ("1 lb", 2), ("5 lb", 7)] {
                prices.push(Price {
                    food: names.named_food(&found),
                    store: StoreId::new(store),
                    sold: Sold::Pack,
                    size: size.parse().expect("a size"),
                    size_text: size.to_owned(),
                    price: Money { minor: (cents + at as i64) * factor, currency: Currency::USD },
                    on: "2026-01-01".parse().expect("a date"),
                });
            }
        }
    }
    let lot = |food: &str, names: &mut Names| Lot {
        food: names.named_food(food),
        amount: "100 g".parse().ok(),
        amount_text: "100 g".to_owned(),
        keep: Keep::Ambient,
        use_by: None,
    };
    let mut pantries = BTreeMap::new();
    let mut households = BTreeMap::new();
    let mut services = Vec::new();
    for house in 0..HOUSEHOLDS {
        let pantry = PantryId::new(&format!("pantry-{house}"));
        pantries.insert(pantry.clone(), foods.iter().map(|food| lot(food, &mut names)).collect());
        let diner = Diner {
            name: "Ada".to_owned(),
            portion: Exact::ONE,
            allergies: vec!["peanuts".to_owned()],
            avoid: vec!["cilantro".to_owned()],
            diet: Vec::new(),
        };
        let id = HouseholdId::new(&format!("house-{house}"));
        households.insert(
            id.clone(),
            Household {
                name: format!("House {house}"),
                short: None,
                budget: None,
                pantry: Some(pantry),
                separate: house == 0,
                swaps: Vec::new(),
                diners: vec![diner],
            },
        );
        let dish = |at: usize| ServiceDish {
            dish: DishId::new(&format!("dish-{}", house * DISHES + at)),
            size: ServingSize::Portions(Exact::whole(6)),
            diners: None,
            swaps: Vec::new(),
        };
        services.push(Service {
            household: id,
            shop: "2026-03-04".parse().expect("a date"),
            cook: "2026-03-05".parse().expect("a date"),
            dishes: (0..DISHES).map(dish).collect(),
        });
    }
    let store = |name: &str| Store { name: name.to_owned(), sections: vec!["produce".to_owned()], shelf: Vec::new() };
    Kitchen {
        name: "Bench".to_owned(),
        currency: Currency::USD,
        units: System::Us,
        regime: Regime::Us,
        kit: None,
        usual_store: None,
        households,
        dishes,
        weeks: BTreeMap::from([(WeekId::new("w"), Week { services })]),
        stores: ["north", "south"].map(|name| (StoreId::new(name), store(name))).into(),
        prices,
        pantries,
        catalog: names.finish(),
    }
}

fn main() {
    let kitchen = kitchen();
    let week = WeekId::new("w");
    let mut times: Vec<f64> = (0..200)
        .map(|_| {
            let start = Instant::now();
            black_box(list(black_box(&kitchen), &week, &Options::default()).expect("a list"));
            start.elapsed().as_secs_f64() * 1000.0
        })
        .collect();
    times.sort_by(f64::total_cmp);
    let lines = list(&kitchen, &week, &Options::default()).expect("a list").lines.len();
    println!(
        "list of {HOUSEHOLDS} households x {DISHES} dishes x {LINES} lines ({lines} lines): median {:.3} ms, 95th of a \
         hundred {:.3} ms (budget 1 ms)",
        times[times.len() / 2],
        times[times.len() * 95 / 100]
    );
}
