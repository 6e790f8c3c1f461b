//! Figures from outside the project, each with its source.

#![allow(clippy::unwrap_used, reason = "a panic here is a failed check")]

use trug_measure::{Amount, Exact, MassUnit, Unit, VolumeUnit};
use trug_tests::{Scene, exact};
use uom::si::f64::{Mass, Volume};
use uom::si::{mass, volume};

#[test]
fn units_are_those_of_nist() {
    // NIST SP 811 (2008), Appendix B: 1 lb = 4.5359237 E-01 kg exactly, 1 oz = 2.834952 E-02 kg;
    // NIST Handbook 44, Appendix C: 1 gallon = 231 cubic inches = 3.785 411 784 L exactly, 1 quart = 0.946 352 946 L,
    // 1 pint = 0.473 176 473 L, 1 fluid ounce = 29.573 529 562 5 mL exactly.
    assert_eq!(MassUnit::Pound.grams(), exact("453.59237"));
    assert_eq!(MassUnit::Ounce.grams() * Exact::whole(16), MassUnit::Pound.grams());
    assert!((MassUnit::Ounce.grams().to_f64() - 28.34952).abs() < 5e-6);
    let milliliters = [
        (VolumeUnit::Gallon, "3785.411784"),
        (VolumeUnit::Quart, "946.352946"),
        (VolumeUnit::Pint, "473.176473"),
        (VolumeUnit::FluidOunce, "29.5735295625"),
    ];
    for (unit, value) in milliliters {
        assert_eq!(unit.milliliters(), exact(value), "{unit:?}");
    }
    // 1 inch = 2.54 cm exactly (SP 811), so a gallon is 231 x 2.54^3 mL.
    let cubic_inch = exact("2.54") * exact("2.54") * exact("2.54");
    assert_eq!(VolumeUnit::Gallon.milliliters(), cubic_inch * Exact::whole(231));
    // Handbook 44: 1 cup = 8 fl oz = 16 tablespoons = 48 teaspoons.
    let cup = VolumeUnit::Cup.milliliters();
    for (unit, count) in [(VolumeUnit::FluidOunce, 8), (VolumeUnit::Tablespoon, 16), (VolumeUnit::Teaspoon, 48)] {
        assert_eq!(unit.milliliters() * Exact::whole(count), cup, "{unit:?}");
    }
}

#[test]
fn nutrition_labels_round_what_recipes_do_not() {
    // 21 CFR 101.9(b)(5)(viii): 1 teaspoon means 5 mL, 1 tablespoon 15 mL, 1 cup 240 mL, 1 fl oz 30 mL, 1 oz 28 g. The
    // customary measures of a recipe are within 2 % of them.
    let label = [
        (VolumeUnit::Teaspoon, 5.0),
        (VolumeUnit::Tablespoon, 15.0),
        (VolumeUnit::Cup, 240.0),
        (VolumeUnit::FluidOunce, 30.0),
    ];
    for (unit, rounded) in label {
        let value = unit.milliliters().to_f64();
        assert!((value - rounded).abs() / rounded < 0.02 && value != rounded, "{unit:?}: {value}");
    }
}

#[test]
fn units_agree_with_a_general_purpose_library() {
    // The crate uom, 0.38.
    let masses = [
        (MassUnit::Milligram, Mass::new::<mass::milligram>(1.0)),
        (MassUnit::Gram, Mass::new::<mass::gram>(1.0)),
        (MassUnit::Kilogram, Mass::new::<mass::kilogram>(1.0)),
        (MassUnit::Ounce, Mass::new::<mass::ounce>(1.0)),
        (MassUnit::Pound, Mass::new::<mass::pound>(1.0)),
    ];
    for (unit, theirs) in masses {
        let (ours, theirs) = (unit.grams().to_f64(), theirs.get::<mass::gram>());
        assert!((ours - theirs).abs() / theirs < 1e-6, "{unit:?}: {ours} {theirs}");
    }
    let volumes = [
        (VolumeUnit::Milliliter, Volume::new::<volume::milliliter>(1.0)),
        (VolumeUnit::Teaspoon, Volume::new::<volume::teaspoon>(1.0)),
        (VolumeUnit::Tablespoon, Volume::new::<volume::tablespoon>(1.0)),
        (VolumeUnit::FluidOunce, Volume::new::<volume::fluid_ounce>(1.0)),
        (VolumeUnit::Cup, Volume::new::<volume::cup>(1.0)),
        (VolumeUnit::Pint, Volume::new::<volume::pint_liquid>(1.0)),
        (VolumeUnit::Quart, Volume::new::<volume::quart_liquid>(1.0)),
        (VolumeUnit::Liter, Volume::new::<volume::liter>(1.0)),
        (VolumeUnit::Gallon, Volume::new::<volume::gallon>(1.0)),
    ];
    for (unit, theirs) in volumes {
        let (ours, theirs) = (unit.milliliters().to_f64(), theirs.get::<volume::milliliter>());
        assert!((ours - theirs).abs() / theirs < 1e-6, "{unit:?}: {ours} {theirs}");
    }
}

#[test]
fn sr28_weights_and_refuse_come_out_of_a_list() {
    // USDA SR28: food, line, edible grams by the row's measure, refuse percent.
    let cases = [
        ("carrot", "1 carrot", 61.0, 11.0),                          // 11124 seq 5, medium
        ("carrot", "2 large carrots", 144.0, 11.0),                  // 11124 seq 4
        ("carrot", "1 cup chopped carrots", 128.0, 11.0),            // 11124 seq 1
        ("egg", "1 large egg", 50.0, 12.0),                          // 01123 seq 1; the shell
        ("red-bell-pepper", "1 large red bell pepper", 164.0, 18.0), // 11821 seq 4
        ("broccoli", "1 bunch broccoli", 608.0, 39.0),               // 11090 seq 2
        ("all-purpose-flour", "1 cup flour", 125.0, 0.0),            // 20081
        ("butter", "1 stick butter", 113.0, 0.0),                    // 01145 seq 4
    ];
    for (food, line, edible, refuse) in cases {
        let listed = Scene::new().dish("dish", 4, &[line]).serve(&[("dish", 4)]).list();
        let need = listed.line(food).need.unwrap().to_f64();
        let expected = edible / (1.0 - refuse / 100.0);
        assert!((need - expected).abs() < 0.05, "{line}: {need} g, by the source {expected} g");
        assert!((listed.line(food).edible.unwrap().to_f64() - edible).abs() < 0.05, "{line}");
    }
}

#[test]
fn a_large_red_pepper_is_what_the_same_row_says_of_a_pound() {
    // SR28 11821: "large (2-1/4 per pound ...)", 164 g edible at 18 % refuse: 200 g; 453.6 / 2.25 = 201.6 g.
    let listed = Scene::new().dish("dish", 4, &["1 large red bell pepper"]).serve(&[("dish", 4)]).list();
    let need = listed.line("red-bell-pepper").need.unwrap().to_f64();
    assert!((need - 453.59237 / 2.25).abs() < 2.0, "{need}");
}

#[test]
fn yields_agree_with_the_food_buying_guide_where_the_trim_does() {
    // USDA Food Buying Guide for Child Nutrition Programs, yield of a pound as purchased (from memory): what a pound of
    // the prepared food takes as purchased. SR28 trims celery by 11 % and green beans by 12 %; the guide's celery is
    // trimmed more, so the two are held to within a tenth.
    let cases = [
        ("green-bean", "1 lb trimmed green beans", 0.88),
        ("celery", "1 lb trimmed celery", 0.83),
        ("green-bell-pepper", "1 lb seeded green bell peppers", 0.80),
        ("russet-potato", "1 lb peeled potatoes", 0.81),
        ("yellow-onion", "1 lb peeled onions", 0.88),
    ];
    for (food, line, kept) in cases {
        let listed = Scene::new().dish("dish", 4, &[line]).serve(&[("dish", 4)]).list();
        let need = listed.line(food).need.unwrap().to_f64();
        let expected = 453.592 / kept;
        assert!((need - expected).abs() / expected < 0.1, "{line}: {need} g, by the guide {expected} g");
    }
}

#[test]
fn portions_are_diners_times_meals() {
    // Worked: three diners at five meals are fifteen portions [practice]; of a dish that serves six, 2 1/2 times.
    let household =
        "name = \"Maple\"\n[[diner]]\nname = \"Ada\"\n[[diner]]\nname = \"Ben\"\n[[diner]]\nname = \"Cy\"\n";
    let week = "[[service]]\nhousehold = \"maple\"\nshop = 2026-03-04\ncook = 2026-03-05\n\
                [[service.dish]]\ndish = \"soup\"\nmeals = 5\n";
    let scene = Scene::bare().with("households/maple.toml", household).dish("soup", 6, &["400 g carrots"]);
    assert_eq!(scene.with("weeks/w.toml", week).list().need("carrot"), Some(1000.0));
}

#[test]
fn a_stick_is_a_quarter_pound_by_any_measure() {
    // A stick of butter is 8 tbsp, 1/4 lb [practice]; SR28's 113 g stick and 14.2 g tablespoon are within a gram of it.
    let amount = |line: &str| {
        let listed = Scene::new().dish("dish", 4, &[line]).serve(&[("dish", 4)]).list();
        listed.line("butter").need.unwrap().to_f64()
    };
    let pound = Amount::new(Exact::new(1, 4), Unit::Mass(MassUnit::Pound)).grams().unwrap().to_f64();
    assert!((amount("1 stick butter") - pound).abs() < 1.0);
    assert!((amount("8 tbsp butter") - pound).abs() < 1.0);
}
