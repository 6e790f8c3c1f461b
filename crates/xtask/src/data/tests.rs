//! The table against what it is made from.

use proptest::prelude::*;
use trug_catalog::data::{TABLE, decode_table};
use trug_catalog::{Allergen, Allergens, Group, Keep, Measure, Part, RawKind, Trim};
use trug_catalog::{Food, FoodId};
use trug_measure::{Amount, Exact, Unit};

use super::*;

/// The rows kept here, and what the curated files come to with them.
fn built() -> (Sr28, Built) {
    let folder = data_folder();
    let rows = Sr28::read(&folder.join("sr28")).unwrap();
    let built = build(&folder.join("curated"), &rows).unwrap_or_else(|error| panic!("{error}"));
    (rows, built)
}

#[test]
fn the_table_is_what_the_builder_makes() {
    let (_, built) = built();
    let differs = built.table.lines().zip(TABLE.lines()).find(|(made, kept)| made != kept);
    assert_eq!(differs, None, "run `cargo xtask data`");
    assert!(built.table == TABLE, "run `cargo xtask data`");
    let decoded: Vec<Food> = decode_table(TABLE).map(Result::unwrap).collect();
    assert_eq!(decoded, built.foods);
}

#[test]
fn the_table_fits_the_phone() {
    let size = compressed_size(TABLE);
    assert!(size <= MOST_COMPRESSED, "{size}");
}

#[test]
fn only_rows_that_are_used_are_kept() {
    let (rows, built) = built();
    assert_eq!(rows.numbers(), built.used);
}

#[test]
fn mistakes_are_told_with_their_place() {
    let folder = std::env::temp_dir().join(format!("trug-xtask-{}", std::process::id()));
    fs::create_dir_all(&folder).unwrap();
    let rows = Sr28::read(&data_folder().join("sr28")).unwrap();
    let told = |text: &str| {
        fs::write(folder.join("a.toml"), text).unwrap();
        build(&folder, &rows).map(|built| built.table).unwrap_err().to_string()
    };
    let food = "[leek]\nname = \"leek\"\nsection = \"produce\"\nkeep = \"chilled\"\n";
    let table = [
        ("colour = 1\n", "a.toml:2: [leek] unknown field `colour`"),
        ("ndb = 99999\n", "a.toml:2: [leek] ndb: read 99999; there is no such row"),
        ("refuse = \"all\"\n", "read `\"all\"`; write \"sr\" or a percentage"),
        ("refuse = \"sr\"\n", "[leek] refuse: read \"sr\", but none is recorded"),
        ("refuse = 90\n", "[leek] refuse: read 90; it lies between 0 and 80"),
        ("measures = { cup = 1 }\n", "[leek] measures, \"cup\": read the seq 1, but the food has no ndb"),
        ("measures = { cup = \"99999/1\" }\n", "[leek] measures, \"cup\": read 99999; there is no such row"),
        ("measures = { \"cup\" = \"9152/77\" }\n", "row 09152 has no measure 77; it has: "),
        ("measures = { cup = 900.0 }\n", "[leek] measures, \"cup\": read 900; it lies between 5 and 400"),
        ("measures = { blob = 9.0 }\n", "[leek] measures, \"blob\": `blob` is not a unit"),
        ("allergens = [\"kiwi\"]\n", "[leek] allergens: `kiwi` is not an allergen kind"),
        ("allergens = [\"nuts\"]\n", "[leek] allergens: says a tree nut, but not which"),
        ("also = [\"a;b\"]\n", "[leek] name: read `a;b`"),
        ("packs = [\"2 lumps\"]\n", "[leek] packs: `lumps` is not a unit"),
    ];
    for (line, expected) in table {
        let message = told(&format!("\n{food}{line}"));
        assert!(message.contains(expected), "{line}: {message}");
    }
    let twice =
        told(&format!("{food}[poor-man-s-asparagus]\nname = \"leek\"\nsection = \"produce\"\nkeep = \"chilled\"\n"));
    assert!(twice.contains("[poor-man-s-asparagus] name: `leek` is a name of both"), "{twice}");
    fs::remove_dir_all(&folder).unwrap();
}

fn exact() -> impl Strategy<Value = Exact> {
    (1_i128..1_000_000, prop_oneof![Just(1_i128), Just(4), Just(100), 1_i128..64]).prop_map(|(n, d)| Exact::new(n, d))
}

fn words() -> impl Strategy<Value = String> {
    "([a-zé]{1,8}|[0-9])( [a-z'%&-]{1,3}| [0-9]){0,3}"
}

fn unit() -> impl Strategy<Value = Unit> {
    prop::sample::select(
        ["cup", "tbsp", "floz", "each", "bunch", "can"].map(|unit| unit.parse::<Unit>().unwrap()).to_vec(),
    )
}

fn measure() -> impl Strategy<Value = Measure> {
    (unit(), prop::collection::vec("[a-z]{2,9}", 0..3), exact()).prop_map(|(unit, words, grams)| Measure {
        unit,
        words,
        grams,
    })
}

fn part() -> impl Strategy<Value = Part> {
    let also = prop::collection::vec(words(), 0..3);
    ("[a-z]{2,6}", exact(), prop::collection::vec(measure(), 0..3), prop::option::of(exact()), also, any::<bool>())
        .prop_map(|(name, whole, measures, density, also, own_name)| Part {
            name,
            whole,
            measures,
            density,
            also,
            own_name,
        })
}

fn allergens() -> impl Strategy<Value = Allergens> {
    let kinds = prop::sample::subsequence(Allergen::ALL.to_vec(), 0..4);
    prop_oneof![
        Just(Allergens::NotRecorded),
        (kinds, any::<bool>()).prop_map(|(kinds, vary)| Allergens::Recorded { kinds, vary }),
    ]
}

prop_compose! {
    fn food()(
        id in "[a-z]{2,6}(-[a-z]{2,6}){0,2}",
        (name, plural, also) in (words(), words(), prop::collection::vec(words(), 0..3)),
        (same, ndb) in (any::<bool>(), prop::option::of(1_u32..99_999)),
        keep in prop::sample::select(vec![Keep::Ambient, Keep::Chilled, Keep::Frozen]),
        (refuse, density, cooked, drained, enough) in (
            prop::option::of(exact()), prop::option::of(exact()), prop::option::of(exact()),
            prop::option::of(exact()), prop::option::of(exact()),
        ),
        trims in prop::collection::vec((words(), exact()).prop_map(|(prep, refuse)| Trim { prep, refuse }), 0..2),
        measures in prop::collection::vec(measure(), 0..4),
        parts in prop::collection::vec(part(), 0..3),
        allergens in allergens(),
        groups in prop::sample::subsequence(Group::ALL.to_vec(), 0..3),
        raw in prop::option::of(prop::sample::select(RawKind::ALL.to_vec())),
        packs in prop::collection::vec((exact(), unit()).prop_map(|(value, unit)| Amount::new(value, unit)), 0..3),
        never_bought in any::<bool>(),
    ) -> Food {
        let mut food = Food {
            plural: if same { format!("{name}s") } else { plural },
            section: "produce".to_owned(),
            also, ndb, keep, refuse, trims, measures, density, parts, cooked, drained, allergens, groups, raw, packs, enough,
            never_bought,
            ..Food::named(FoodId::new(&id), &name)
        };
        food.settle_groups();
        food
    }
}

proptest! {
    #[test]
    fn a_row_reads_back_as_the_food(food in food()) {
        let row = encode::row(&food);
        let decoded: Vec<_> = decode_table(&row).collect();
        prop_assert_eq!(decoded, vec![Ok(food)]);
    }

    #[test]
    fn a_damaged_table_stops_nothing(row in "[a-c0-9=;:,|/~+. \t-]{0,60}") {
        let _ = decode_table(&row).count();
    }
}
