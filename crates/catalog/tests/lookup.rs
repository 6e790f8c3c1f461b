//! Finding foods by name.
#![allow(clippy::unwrap_used, reason = "a panic here is a failed check")]

use trug_catalog::{Catalog, Food, FoodId};

fn food(id: &str, name: &str, also: &[&str]) -> Food {
    let mut food = Food::named(FoodId::new(id), name);
    food.also = also.iter().map(|name| (*name).to_owned()).collect();
    food.section = "produce".to_owned();
    food
}

fn small() -> Catalog {
    Catalog::new(vec![
        food("carrot", "carrot", &[]),
        food("tomato", "tomato", &[]),
        food("canned-tomatoes", "canned tomatoes", &[]),
        food("leg-of-lamb", "leg of lamb", &[]),
        food("dried-thyme", "dried thyme", &["thyme"]),
        food("fresh-thyme", "fresh thyme", &[]),
        food("dried-oregano", "dried oregano", &["oregano"]),
        food("whole-milk", "whole milk", &["milk"]),
        food("breadcrumbs", "breadcrumbs", &[]),
        food("sherry", "sherry", &[]),
        food("broccoli", "broccoli", &[]),
    ])
    .unwrap()
}

fn find<'a>(catalog: &'a Catalog, text: &str) -> &'a str {
    catalog.find(text).map_or("-", |found| catalog.get(found.food).id.as_str())
}

#[test]
fn names_are_found() {
    let catalog = small();
    let table = [
        ("Carrots", "carrot"),
        ("large organic carrots", "carrot"),
        ("free-range carrots", "carrot"),
        ("whole carrots", "carrot"),
        ("whole milk", "whole-milk"),
        ("lamb leg", "leg-of-lamb"),
        ("tinned tomatoes", "canned-tomatoes"),
        ("ripe tomatoes", "tomato"),
        ("frozen tomatoes", "-"),
        ("boneless leg of lamb", "-"),
        ("thyme", "dried-thyme"),
        ("organic fresh thyme", "fresh-thyme"),
        ("fresh oregano", "-"),
        ("bread crumbs", "breadcrumbs"),
        ("brocolli", "broccoli"),
        ("brocccoli", "broccoli"),
        ("carot", "carrot"),
        ("cherry", "sherry"),
        ("milc", "-"),
        ("xyz", "-"),
        ("", "-"),
    ];
    for (text, id) in table {
        assert_eq!(find(&catalog, text), id, "{text}");
    }
    assert!(catalog.find_as_written("carot").is_none());
}

#[test]
fn a_slip_that_could_be_two_foods_is_none() {
    let catalog =
        Catalog::new(vec![food("bears", "bears", &[]), food("beans", "beans", &[]), food("ramps", "ramps", &[])])
            .unwrap();
    assert_eq!(find(&catalog, "beams"), "-");
    assert_eq!(
        find(&Catalog::new(vec![food("clams", "clammy", &[]), food("clamp", "clampy", &[])]).unwrap(), "clamky"),
        "-"
    );
}

#[test]
fn two_foods_may_not_share_a_name() {
    let taken =
        Catalog::new(vec![food("a", "spring onion", &[]), food("b", "scallion", &["Spring Onions"])]).unwrap_err();
    assert_eq!(taken.len(), 1);
    assert_eq!(taken[0].to_string(), "`spring onion` is a name of both `a` and `b`; take it from one of them");
}

#[test]
fn own_foods_shadow_and_replace() {
    let mut mine = food("my-stock", "carrot", &[]);
    mine.own = true;
    let mut tomato = food("tomato", "tomato", &["love apple"]);
    tomato.own = true;
    let catalog = small().with_own(vec![mine, tomato]);
    assert_eq!(find(&catalog, "carrots"), "my-stock");
    assert_eq!(find(&catalog, "love apples"), "tomato");
    assert!(catalog.by_id("carrot").is_some());
    assert_eq!(catalog.foods().filter(|(_, food)| food.id.as_str() == "tomato").count(), 1);
    assert!(catalog.by_id("tomato").is_some_and(|ix| catalog.get(ix).own));
}

#[test]
fn near_names_are_offered() {
    let catalog = small();
    let near = |text| catalog.near(text, 3).into_iter().map(|ix| catalog.get(ix).id.as_str()).collect::<Vec<_>>();
    assert_eq!(near("carrrrot").first(), Some(&"carrot"));
    assert!(near("smoked tomatoes").contains(&"tomato"));
    assert!(near("qqqq").is_empty());
}

#[test]
fn parts_have_names() {
    let catalog = Catalog::builtin();
    for (text, part) in
        [("lemon juice", "juice"), ("juice of lemon", "juice"), ("egg yolks", "yolk"), ("lime zest", "zest")]
    {
        let found = catalog.find(text).unwrap();
        let part_found = found.part.and_then(|at| catalog.get(found.food).parts.get(usize::from(at)));
        assert_eq!(part_found.map(|part| part.name.as_str()), Some(part), "{text}");
    }
    assert!(catalog.find("orange juice").is_some_and(|found| found.part.is_none()));
}

#[test]
fn the_catalogue_can_be_shared() {
    fn shared<T: Send + Sync>() {}
    shared::<Catalog>();
}
