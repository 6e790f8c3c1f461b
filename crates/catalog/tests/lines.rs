//! Ingredient lines, read with the built-in catalogue.
#![allow(clippy::unwrap_used, reason = "a panic here is a failed check")]

use proptest::prelude::*;
use trug_catalog::line::{Basis, Doubt, Line};
use trug_catalog::{Catalog, Food, FoodId, Found};
use trug_measure::{Amount, Exact, Unit};

/// The lines and what they say; the table's head explains its columns.
const LINES: &str = include_str!("lines.tsv");

fn read(line: &str) -> Line {
    Catalog::builtin().read(line)
}

/// The food's id, with the part after a slash; `-` for no food.
fn id(found: Option<Found>) -> String {
    let Some(found) = found else { return "-".to_owned() };
    let food = Catalog::builtin().get(found.food);
    match found.part.and_then(|part| food.parts.get(usize::from(part))) {
        Some(part) => format!("{}/{}", food.id, part.name),
        None => food.id.to_string(),
    }
}

fn number(text: &str) -> Exact {
    match text.split_once('/') {
        Some((above, below)) => above.parse::<Exact>().unwrap() / below.parse().unwrap(),
        None => text.parse().unwrap(),
    }
}

/// What is wrong with the reading of a row's line.
fn faults(row: &[&str], line: &Line) -> Vec<String> {
    let column = |at: usize| row.get(at).copied().unwrap_or_default();
    let mut faults = Vec::new();
    let mut expect = |what: &str, wanted: &str, got: &str| {
        if wanted != got && wanted != "*" {
            faults.push(format!("{what}: wanted `{wanted}`, got `{got}`"));
        }
    };
    let (low, high) = column(1).split_once("..").unwrap_or((column(1), column(1)));
    let wanted = if low == "-" { "None".to_owned() } else { format!("{:?}", Some((number(low), number(high)))) };
    expect("amount", &wanted, &format!("{:?}", line.amount.map(|range| (range.low, range.high))));
    expect("unit", column(2), line.unit.map_or("-", Unit::symbol));
    expect("size", column(3), &line.size.map(|size| size.to_string()).unwrap_or_default());
    expect("food", column(4), &line.food);
    let found = id(line.found);
    let wanted = if column(5) == "?" && found != "-" { "*" } else { column(5) };
    expect("id", wanted, &found);
    expect("basis", column(6), if line.basis == Basis::Edible { "e" } else { "p" });
    for flag in column(7).split_whitespace() {
        expect(flag, "true", &has_flag(line, flag).to_string());
    }
    expect("check", &asks_to_check(line).to_string(), &line.check.to_string());
    faults
}

/// A line without an amount asks to look whether there is some; a heading asks for nothing.
fn asks_to_check(line: &Line) -> bool {
    line.amount.is_none() && !line.doubts.contains(&Doubt::Heading)
}

fn has_flag(line: &Line, flag: &str) -> bool {
    match flag {
        "check" => line.check,
        "optional" => line.optional,
        "or" => line.or.is_some(),
        "and" => line.and.is_some(),
        "cooked" => line.cooked,
        "drained" => line.drained,
        "total" => line.total.is_some(),
        "slip" => line.doubts.contains(&Doubt::Slip),
        "range" => line.doubts.contains(&Doubt::AmountOutOfRange),
        "unreadable" => line.doubts.contains(&Doubt::Unreadable),
        "heading" => line.doubts.contains(&Doubt::Heading),
        fills => line.fills.as_deref() == fills.strip_prefix("fills="),
    }
}

#[test]
fn lines_say_what_a_cook_reads_in_them() {
    let rows: Vec<Vec<&str>> =
        LINES.lines().filter(|row| !row.starts_with('#')).map(|row| row.split('\t').collect()).collect();
    let mut report = String::new();
    for row in &rows {
        let faults = faults(row, &read(row[0]));
        if !faults.is_empty() {
            report.push_str(&format!("{}\n    {}\n", row[0], faults.join("\n    ")));
        }
    }
    assert!(rows.len() > 400, "{} lines", rows.len());
    assert!(report.is_empty(), "\n{report}");
}

#[test]
fn preps_notes_and_choices_are_kept() {
    let table: &[(&str, &str, Option<&str>, Option<&str>)] = &[
        ("1 lb carrots, peeled and diced", "peeled and diced", None, None),
        ("1 lb peeled, diced carrots", "peeled, diced", None, None),
        ("1 onion, sliced (about 1 cup)", "sliced", None, Some("about 1 cup")),
        ("2 tbsp olive oil, plus more for serving", "", None, Some("plus more for serving")),
        ("1 cup butter or ghee", "", Some("ghee"), None),
        ("2 cups chicken or vegetable stock", "", Some("vegetable stock"), None),
        ("1 cup (240 ml) milk", "", None, Some("240 ml")),
        ("parsley, for garnish", "", None, Some("for garnish")),
        ("2 heaped tbsp flour", "", None, Some("heaped")),
        ("2-inch piece ginger, grated", "grated", None, Some("2-inch")),
        ("1 cup packed basil leaves", "packed", None, None),
        ("juice of 2 lemons", "juice", None, None),
    ];
    for (raw, prep, or, note) in table {
        let line = read(raw);
        assert_eq!((line.prep.as_str(), line.or.as_deref(), line.note.as_deref()), (*prep, *or, *note), "{raw}");
    }
}

#[test]
fn words_tell_measures_apart() {
    let table: &[(&str, &[&str])] = &[
        ("2 large carrots, diced", &["diced", "large"]),
        ("1 cup packed brown sugar", &["packed"]),
        ("1 cup chopped onion", &["chopped"]),
        ("2 cups broccoli, cut into florets", &["cut", "floret"]),
    ];
    for (raw, words) in table {
        assert_eq!(read(raw).words, *words, "{raw}");
    }
}

#[test]
fn every_food_of_a_line_is_kept() {
    let mut line = read("1 tsp each cumin, coriander and paprika");
    let mut foods = vec![line.food.clone()];
    while let Some(next) = line.and.take() {
        assert_eq!((next.amount, next.unit), (line.amount, line.unit));
        foods.push(next.food.clone());
        line = *next;
    }
    assert_eq!(foods, ["cumin", "coriander", "paprika"]);
    let both = read("salt and freshly ground black pepper");
    assert_eq!(id(both.found), "salt");
    assert!(both.and.is_some_and(|pepper| pepper.check && pepper.found.is_some()));
}

#[test]
fn own_foods_come_first() {
    let mut own = Food::named(FoodId::new("cooked-rice"), "cooked rice");
    own.own = true;
    let catalog = Catalog::builtin().with_own(vec![own]);
    let line = catalog.read("2 cups cooked rice");
    assert_eq!(line.found.map(|found| catalog.get(found.food).id.as_str()), Some("cooked-rice"));
    assert!(!line.cooked);
    assert!(read("2 cups cooked rice").cooked);
}

#[test]
fn amounts_that_do_not_add_up_are_said() {
    let line = read("1 cup plus 2 oz flour");
    assert_eq!(line.amount.map(|range| range.high), Some(Exact::ONE));
    assert!(line.doubts.contains(&Doubt::AmountsDiffer));
}

#[test]
fn hostile_lines_are_read_in_linear_time() {
    let long = "1 cup chopped (a, b and ".repeat(200_000);
    for line in
        [long.as_str(), &"(".repeat(100_000), &"1/".repeat(100_000), &"and ".repeat(100_000), &"½".repeat(100_000)]
    {
        assert_eq!(read(line).raw.len(), line.len());
    }
    for line in [
        "",
        " ",
        ",",
        "1",
        "½",
        "1/0 cup",
        "--",
        "()",
        "1 (",
        "1 () x",
        "\u{200f}2 \u{202b}carrots",
        "🥕 2 carrots 🥕",
        "9999999999999999999999 g salt",
        "1 cup \u{0}\u{7}milk",
        "or",
        "and",
        "1 or",
        "plus",
        "1 cup plus",
        "x",
        "of",
        "juice of",
    ] {
        let read = read(line);
        assert_eq!(read.raw, line);
        assert!(!read.food.is_empty() || line.trim().is_empty(), "{line}");
    }
    assert_eq!(id(read("\u{200f}2\u{a0}\u{202b}carrots").found), "carrot");
}

/// Pieces that lines are made of.
fn pieces() -> impl Strategy<Value = String> {
    let words = [
        "1",
        "2",
        "1/2",
        "½",
        "1 1/2",
        "2-3",
        "14-oz",
        "(14.5-oz)",
        "cup",
        "cups",
        "lb",
        "g",
        "can",
        "cloves",
        "of",
        "or",
        "and",
        "plus",
        "each",
        "juice",
        "zest",
        "lemons",
        "carrots",
        "chopped",
        "peeled",
        ",",
        "(optional)",
        "for frying",
        "to taste",
        "large",
        "a",
        "few",
        "half",
        "dozen",
        "x",
        "-",
        "–",
        "/",
        ":",
        ")",
        "(",
        "salt",
        "pepper",
        "stock",
        "chicken",
        "from",
    ];
    proptest::collection::vec(proptest::sample::select(words.to_vec()), 0..14).prop_map(|words| words.join(" "))
}

fn holds(text: &str) -> Result<(), TestCaseError> {
    let line = read(text);
    prop_assert_eq!(&line.raw, text);
    prop_assert_eq!(&read(text), &line);
    prop_assert_eq!(line.check, asks_to_check(&line));
    prop_assert_eq!(line.unit.is_some(), line.amount.is_some());
    if let Some(range) = line.amount {
        prop_assert!(range.low <= range.high && range.low.is_positive());
    }
    prop_assert!(line.size.is_none_or(|size: Amount| size.value.is_positive()));
    Ok(())
}

proptest! {
    #[test]
    fn any_text_is_read(text in ".{0,60}") {
        holds(&text)?;
    }

    #[test]
    fn any_mixture_of_pieces_is_read(text in pieces()) {
        holds(&text)?;
    }

    #[test]
    fn a_note_in_brackets_changes_no_amount(row in 0_usize..400) {
        let raw = LINES.lines().filter(|row| !row.starts_with('#')).nth(row).and_then(|row| row.split('\t').next()).unwrap();
        let noted = format!("{raw} (my aunt's way)");
        let (plain, noted) = (read(raw), read(&noted));
        prop_assert_eq!((plain.amount, plain.unit, plain.size), (noted.amount, noted.unit, noted.size));
    }
}
