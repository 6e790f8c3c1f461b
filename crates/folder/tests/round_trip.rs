//! Laws: what is written means the same when it is read again, in one form; and no bytes make the reader stop.
#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used, reason = "a panic here is a failed check")]

mod common;

use common::{difference, meaning};
use proptest::collection::vec;
use proptest::option;
use proptest::prelude::*;
use proptest::sample::select;
use trug_folder::{Files, read, write};

const WORDS: [&str; 16] = [
    "carrot",
    "Leeks",
    "olive oil",
    "soy sauce",
    "yellow onion",
    "moon cheese",
    "crème fraîche",
    "50% \"best\"",
    "salt, fine",
    "spinach",
    "eggs",
    "butter",
    "# hash",
    "back\\slash",
    "lentils",
    "basil",
];
const SIZES: [&str; 8] = ["1 lb", "14.5 oz", "1 bunch", "12 each", "1 dozen", "1/3 cup", "1 1/2 kg", "2 l"];
const LINES: [&str; 12] = [
    "2 carrots, peeled",
    "Salt and pepper, to taste",
    "1 (14.5-oz) can diced tomatoes",
    "1½ cups moon cheese",
    "1 cup house dressing",
    "For the sauce:",
    "juice of 2 lemons",
    "4 egg yolks",
    "2-3 scallions (optional)",
    "oil, for frying",
    "1 tsp each salt and pepper",
    "- odd",
];
const NUMBERS: [&str; 8] = ["1", "0.5", "0.1", "2.75", "\"1/3\"", "12", "1_0.0", "29.999"];

fn word() -> impl Strategy<Value = &'static str> {
    select(&WORDS[..])
}

fn quoted(text: &str) -> String {
    format!("\"{}\"", text.replace('\\', "\\\\").replace('"', "\\\""))
}

fn name() -> impl Strategy<Value = String> {
    "[A-Za-zé'&\"\\\\,#: ]{0,12}[a-z]".prop_map(|text| quoted(&text))
}

fn swaps() -> impl Strategy<Value = String> {
    let to = prop_oneof![
        word().prop_map(quoted),
        (word(), select(&NUMBERS[..])).prop_map(|(to, ratio)| format!("{{ to = {}, ratio = {ratio} }}", quoted(to))),
    ];
    option::of((word(), to))
        .prop_map(|swap| swap.map_or(String::new(), |(from, to)| format!("swap = {{ {} = {to} }}\n", quoted(from))))
}

prop_compose! {
    fn household()(
        name in name(),
        short in option::of(name()),
        budget in option::of(0_u32..100_000),
        separate in any::<bool>(),
        swap in swaps(),
        portions in vec((select(&NUMBERS[..]), vec(name(), 0..3)), 1..4),
    ) -> String {
        let mut text = format!("name = {name}\npantry = \"kit\"\nseparate = {separate}\n{swap}");
        if let Some(short) = short {
            text += &format!("short = {short}\n");
        }
        if let Some(cents) = budget {
            text += &format!("budget = \"{}.{:02}\"\n", cents / 100, cents % 100);
        }
        for (at, (portion, avoid)) in portions.iter().enumerate() {
            text += &format!("[[diner]]\nname = \"D{at}\"\nportion = {portion}\navoid = [{}]\n", avoid.join(", "));
        }
        text
    }
}

prop_compose! {
    fn week()(
        dishes in vec((select(&["dressing", "soup"][..]), any::<bool>(), select(&NUMBERS[..]), any::<bool>(), swaps()), 0..4),
        day in 1_u32..29,
    ) -> String {
        let mut text = format!("[[service]]\nhousehold = \"maple\"\nshop = 2026-03-{day:02}\ncook = \"2026-04-{day:02}\"\n");
        for (dish, meals, number, all, swap) in dishes {
            let key = if meals { "meals" } else { "portions" };
            text += &format!("[[service.dish]]\ndish = \"{dish}\"\n{key} = {number}\n{swap}");
            if !all {
                text += "for = [\"D0\"]\n";
            }
        }
        text
    }
}

prop_compose! {
    fn dish(title: &'static str)(
        serves in select(&["Serves 6", "serves: 4-6", "Makes 3 cups", "Makes 24 cookies", "Serves 2\nMakes 1 1/2 quarts"][..]),
        notes in vec("[A-Z][a-z]{2,8}: [a-z0-9 :]{0,12}", 0..3),
        parts in vec((option::of("[A-Za-z ]{0,8}[a-z]"), vec(select(&LINES[..]), 1..5)), 1..3),
        method in "([A-Za-z#.*\n -]{0,60}|)",
        notes_first in any::<bool>(),
    ) -> String {
        let mut text = format!("# {title}\n\n{serves}\n{}\n", notes.join("\n"));
        if notes_first {
            text += "## Notes\nOurs.\n";
        }
        text += "## Ingredients\n";
        for (at, (heading, lines)) in parts.iter().enumerate() {
            match heading {
                Some(heading) => text += &format!("### {heading}\n"),
                None if at > 0 => text += "###\n",
                None => {}
            }
            // A dish must not use itself, so only the soup uses the dressing.
            for line in lines.iter().filter(|line| title == "Soup" || !line.contains("dressing")) {
                text += &format!("- {line}\n");
            }
            text += "- 1 leek\n";
        }
        let method = method.lines().filter(|line| !line.starts_with("##")).collect::<Vec<_>>().join("\n");
        text + "\n## Method\n" + &method
    }
}

prop_compose! {
    fn foods()(
        refuse in select(&["", "refuse = 19\n", "refuse = 0.5\n"][..]),
        grams in select(&["", "grams = { cup = 100 }\n", "grams = { \"cup diced\" = 90.5, each = 3 }\n"][..]),
        allergens in select(&["", "allergens = []\n", "allergens = [\"wheat\", \"soy\"]\n"][..]),
        more in select(&["", "keep = \"frozen\"\n", "also = [\"zed\"]\n", "packs = [\"1 dozen\"]\n", "name = \"zed\"\n", "groups = []\n"][..]),
        ids in proptest::sample::subsequence(vec!["carrot", "green-onion", "soy-sauce", "moon-cheese", "lemon", "egg"], 0..4),
    ) -> String {
        let mut text = String::new();
        for (at, id) in ids.iter().enumerate() {
            let more = if at == 0 { more } else { "" };
            text += &format!("[food.{id}]\n{refuse}{grams}{allergens}{more}");
        }
        text
    }
}

fn field(text: &str) -> String {
    format!("\"{}\"", text.replace('"', "\"\""))
}

prop_compose! {
    fn kitchen()(
        head in name(),
        household in household(),
        week in week(),
        dressing in dish("House dressing"),
        soup in dish("Soup"),
        foods in foods(),
        prices in vec((word(), select(&["pack", "loose"][..]), select(&SIZES[..]), 1_u32..9999), 0..6),
        lots in vec((word(), option::of(select(&SIZES[..])), select(&["", "ambient", "chilled", "frozen"][..]), option::of(1_u32..29)), 0..6),
        shelf in vec(word(), 0..2),
    ) -> Files {
        let mut files = Files::new();
        let mut put = |path: &str, text: String| files.insert(path, text.into_bytes()).unwrap();
        put("kitchen.toml", format!("name = {head}\nkit = \"kit\"\nstore = \"corner\"\nallergens = \"eu\"\nunits = \"metric\"\n"));
        put("households/maple.toml", household);
        put("weeks/2026-W10.toml", week);
        put("dishes/dressing.md", dressing);
        put("dishes/soup.md", soup);
        put("foods.toml", foods);
        let shelf: Vec<String> = shelf.iter().map(|food| format!("{} = \"x\"\n", quoted(food))).collect();
        let shelf: std::collections::BTreeSet<String> = shelf.into_iter().collect();
        put("stores/corner.toml", format!("name = \"C\"\nsections = [\"a\", \"b\"]\n[shelf]\n{}", shelf.into_iter().collect::<String>()));
        let mut text = "food,store,sold,size,price,on\n".to_owned();
        for (at, (food, sold, size, cents)) in prices.iter().enumerate() {
            // A day of its own for each, so that no two meet.
            text += &format!("{},corner,{sold},{size},{}.{:02},2026-02-{:02}\n", field(food), cents / 100, cents % 100, at + 1);
        }
        put("prices.csv", text);
        let mut text = "food,amount,keep,use_by\n".to_owned();
        for (food, amount, keep, day) in lots {
            let day = day.map(|day| format!("2026-05-{day:02}")).unwrap_or_default();
            text += &format!("{},{},{keep},{day}\n", field(food), amount.unwrap_or_default());
        }
        put("pantries/kit.csv", text);
        files
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 40, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn what_is_written_means_the_same(files in kitchen()) {
        let first = read(&files).map_err(|problems| TestCaseError::fail(problems.to_string()))?;
        let written = write(&first);
        let second = read(&written).map_err(|problems| TestCaseError::fail(problems.to_string()))?;
        prop_assert_eq!(difference(&meaning(&first), &meaning(&second)), "");
        prop_assert_eq!(write(&second), written);
    }

    #[test]
    fn no_bytes_make_the_reader_stop(
        path in select(&["kitchen.toml", "foods.toml", "prices.csv", "households/a.toml", "dishes/a.md", "dishes/a.json",
            "weeks/a.toml", "stores/a.toml", "pantries/a.csv"][..]),
        bytes in vec(any::<u8>(), 0..200),
        text in "[a-z#\\[\\]{}\"'=.,:\n0-9 -]{0,200}",
    ) {
        for bytes in [bytes, text.into_bytes()] {
            let mut files = Files::new();
            files.insert("kitchen.toml", b"name = \"K\"".to_vec()).unwrap();
            files.insert(path, bytes).unwrap();
            let _ = read(&files);
        }
    }
}
