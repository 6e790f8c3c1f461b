//! Laws of the list, over kitchens made at random.

#![allow(clippy::unwrap_used, reason = "a panic here is a failed check")]

use proptest::prelude::*;
use trug_measure::{Exact, Money};
use trug_provision::list::List;
use trug_tests::Scene;

/// Foods of our own, so that the figures are known: by weight with refuse, a fluid, by the bunch, by the piece.
const FOODS: &str = "\
[food.zorb]
name = \"zorb\"
section = \"produce\"
keep = \"chilled\"
grams = { cup = 120, \"cup diced\" = 135, each = 85 }
refuse = 11
allergens = []

[food.quill-oil]
name = \"quill oil\"
section = \"oils\"
density = 0.92
refuse = 0
allergens = []

[food.tansel]
name = \"tansel\"
section = \"produce\"
refuse = 20
allergens = []

[food.grint]
name = \"grint\"
section = \"grains\"
grams = { cup = 185, \"cup cooked\" = 158 }
refuse = 0
cooked = 2.5
allergens = []
";

const STORES: [(&str, &str); 2] = [
    ("stores/north.toml", "name = \"North\"\nsections = [\"produce\", \"grains\"]\n"),
    ("stores/south.toml", "name = \"South\"\nsections = [\"oils\", \"produce\"]\n"),
];

const LINES: [&str; 10] = [
    "2 zorbs",
    "1 lb peeled zorbs",
    "1 1/2 cups diced zorb",
    "300 g zorb, peeled",
    "1/4 cup quill oil",
    "100 g quill oil",
    "2 bunches tansel",
    "1 cup grint",
    "2 cups cooked grint",
    "zorb, to taste",
];

const PRICES: [&str; 9] = [
    "zorb,north,loose,1 lb,2.49,2026-01-01",
    "zorb,south,pack,2 lb,3.99,2026-01-01",
    "zorb,south,pack,6 each,2.10,2026-01-01",
    "quill oil,north,pack,16 fl oz,6.49,2026-01-01",
    "quill oil,north,pack,1 l,9.99,2026-01-01",
    "tansel,north,pack,1 bunch,1.19,2026-01-01",
    "grint,south,pack,1 lb,1.89,2026-01-01",
    "grint,south,pack,5 lb,6.99,2026-01-01",
    "grint,north,loose,1 kg,5.05,2026-01-01",
];

#[derive(Debug, Clone)]
struct Made {
    dishes: Vec<Vec<usize>>,
    portions: Vec<u32>,
    separate: bool,
    lots: Vec<(usize, u32)>,
    prices: Vec<bool>,
}

const STOCKED: [&str; 4] = ["zorb", "quill oil", "tansel", "grint"];
const STOCK_UNITS: [&str; 4] = ["g", "ml", "bunch", "g"];

fn made() -> impl Strategy<Value = Made> {
    let dish = prop::collection::vec(0..LINES.len(), 1..5);
    (
        prop::collection::vec(dish, 2..5),
        prop::collection::vec(1_u32..20, 8),
        any::<bool>(),
        prop::collection::vec((0..STOCKED.len(), 1_u32..600), 0..5),
        prop::collection::vec(any::<bool>(), PRICES.len()),
    )
        .prop_map(|(dishes, portions, separate, lots, prices)| Made { dishes, portions, separate, lots, prices })
}

impl Made {
    fn scene(&self) -> Scene {
        self.scene_in(|_| {}, 1)
    }

    /// The kitchen, its lists of lines and rows put in another order, its portions so many times as many.
    fn scene_in(&self, reorder: fn(&mut Vec<String>), times: u32) -> Scene {
        let kitchen = "name = \"K\"\ncurrency = \"USD\"\nunits = \"us\"\nallergens = \"us\"\nkit = \"kit\"\n";
        let birch = format!("name = \"Birch\"\nseparate = {}\n[[diner]]\nname = \"Dee\"\n", self.separate);
        let mut scene = Scene::new().with("kitchen.toml", kitchen).with("foods.toml", FOODS);
        scene = scene.with("households/birch.toml", &birch);
        for (path, text) in STORES {
            scene = scene.with(path, text);
        }
        for (at, lines) in self.dishes.iter().enumerate() {
            let mut lines: Vec<String> = lines.iter().map(|line| LINES[*line].to_owned()).collect();
            reorder(&mut lines);
            scene = scene.dish(&format!("dish-{at}"), 4, &lines.iter().map(String::as_str).collect::<Vec<_>>());
        }
        let rows = |header: &str, mut rows: Vec<String>| {
            reorder(&mut rows);
            format!("{header}\n{}\n", rows.join("\n"))
        };
        let kept = PRICES.iter().zip(&self.prices).filter(|(_, kept)| **kept).map(|(row, _)| (*row).to_owned());
        let lots = self.lots.iter().map(|(food, amount)| {
            let count = if STOCK_UNITS[*food] == "bunch" { amount % 3 + 1 } else { *amount };
            format!("{},{count} {},ambient,", STOCKED[*food], STOCK_UNITS[*food])
        });
        scene = scene.with("prices.csv", &rows("food,store,sold,size,price,on", kept.collect()));
        scene = scene.with("pantries/kit.csv", &rows("food,amount,keep,use_by", lots.collect()));
        scene.with("weeks/w.toml", &self.week(reorder, times))
    }

    fn week(&self, reorder: fn(&mut Vec<String>), times: u32) -> String {
        let service = |(at, household): (usize, &str)| {
            let dishes = (0..self.dishes.len()).map(|dish| {
                let portions = self.portions[(at * 4 + dish) % self.portions.len()] * times;
                format!("[[service.dish]]\ndish = \"dish-{dish}\"\nportions = {portions}\n")
            });
            let mut dishes: Vec<String> = dishes.collect();
            reorder(&mut dishes);
            let head = format!("[[service]]\nhousehold = \"{household}\"\nshop = 2026-03-04\ncook = 2026-03-05\n");
            format!("{head}{}", dishes.concat())
        };
        let mut services: Vec<String> = ["maple", "birch"].into_iter().enumerate().map(service).collect();
        reorder(&mut services);
        services.concat()
    }
}

fn needs(list: &List) -> Vec<(usize, Option<Exact>)> {
    // A food's place in its catalogue is the same in two kitchens with the same foods.
    let mut needs: Vec<_> = list.lines.iter().chain(&list.covered).map(|line| (line.food, line.need)).collect();
    needs.sort();
    needs.into_iter().enumerate().map(|(at, (_, need))| (at, need)).collect()
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(96))]

    #[test]
    fn shares_add_up_to_each_cost_and_to_the_total(made in made()) {
        let listed = made.scene().list();
        let sum = |parts: Vec<Money>| parts.iter().map(|part| part.minor).sum::<i64>();
        for line in &listed.list.lines {
            if let Some(cost) = line.buy.cost {
                prop_assert_eq!(sum(line.shares.iter().map(|(_, share)| *share).collect()), cost.minor);
            }
            let per_dish: Exact = line.demands.iter().filter_map(|demand| demand.need).sum();
            prop_assert_eq!(line.need.unwrap_or_default(), per_dish);
        }
        let estimates = listed.list.households.iter().map(|total| total.estimate).collect();
        prop_assert_eq!(sum(estimates), listed.list.total.minor);
    }

    #[test]
    fn what_is_needed_is_in_a_pantry_or_bought(made in made()) {
        let listed = made.scene().list();
        for line in listed.list.lines.iter().chain(&listed.list.covered) {
            let (Some(need), Some(in_pantry), Some(to_buy)) = (line.need, line.in_pantry, line.to_buy) else {
                prop_assert!(line.check);
                continue;
            };
            prop_assert_eq!(need, in_pantry + to_buy);
            prop_assert!(in_pantry >= Exact::ZERO && to_buy >= Exact::ZERO);
            let still: Exact = line.still.iter().map(|(_, left)| *left).sum();
            prop_assert_eq!(still, to_buy);
        }
    }

    #[test]
    fn k_times_the_portions_need_k_times_as_much(made in made(), times in 2_u32..5) {
        let once = needs(&made.scene().list().list);
        let more = needs(&made.scene_in(|_| {}, times).list().list);
        prop_assert_eq!(once.len(), more.len());
        for ((_, once), (_, more)) in once.into_iter().zip(more) {
            prop_assert_eq!(once.map(|once| once * Exact::from(times)), more);
        }
    }

    #[test]
    fn a_bigger_pantry_never_buys_more(made in made(), lot in (0..STOCKED.len(), 1_u32..600)) {
        let mut richer = made.clone();
        richer.lots.push(lot);
        let total = |made: &Made| {
            let list = made.scene().list().list;
            list.lines.iter().map(|line| line.to_buy.unwrap_or_default()).sum::<Exact>()
        };
        prop_assert!(total(&richer) <= total(&made));
    }

    #[test]
    fn the_order_of_files_and_lines_changes_nothing(made in made()) {
        let say = |scene: Scene| {
            let listed = scene.list();
            let lines = listed.list.lines.iter().chain(&listed.list.covered);
            let said: Vec<String> = lines
                .map(|line| {
                    let food = listed.kitchen.catalog.get(line.food).id.clone();
                    let text = trug_provision::text::line_text(&listed.kitchen, line);
                    format!("{food} {text} {:?} {:?} {:?} {:?}", line.need, line.buy, line.demands, line.shares)
                })
                .collect();
            (said, listed.list.total, format!("{:?}", listed.list.households.iter().map(|h| h.estimate).collect::<Vec<_>>()))
        };
        prop_assert_eq!(say(made.scene()), say(made.scene_in(|rows| rows.reverse(), 1)));
    }

    #[test]
    fn writing_a_kitchen_and_reading_it_back_lists_the_same(made in made()) {
        let scene = made.scene();
        let kitchen = scene.kitchen();
        let again = trug_folder::read(&trug_folder::write(&kitchen)).unwrap();
        let week = trug_provision::kitchen::WeekId::new("w");
        let list = |kitchen| trug_provision::list(kitchen, &week, &trug_provision::Options::default()).unwrap();
        prop_assert_eq!(list(&kitchen), list(&again));
    }
}
