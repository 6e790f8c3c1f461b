//! What a person reads of an amount.

#![allow(clippy::unwrap_used, reason = "a panic here is a failed check")]

use trug_measure::{Amount, Exact, System, Unit, VolumeUnit, kitchen_number};

#[test]
fn fractions_are_written_as_a_kitchen_writes_them() {
    let cases = [
        ("0.5", "1/2"),
        ("1.5", "1 1/2"),
        ("0.125", "1/8"),
        ("2.75", "2 3/4"),
        ("3", "3"),
        ("0", "0"),
        ("2.07", "2.07"),
        ("0.995", "1"),
        ("-1.5", "-1 1/2"),
        ("10.43", "10.43"),
    ];
    for (value, text) in cases {
        assert_eq!(kitchen_number(value.parse().unwrap()), text, "{value}");
    }
    assert_eq!(kitchen_number(Exact::new(2, 3)), "2/3");
    assert_eq!(kitchen_number(Exact::new(7, 3)), "2 1/3");
}

#[test]
fn amounts_are_shown_in_units_that_a_person_would_pick() {
    let cases = [
        ("3 tsp", "1 tbsp", "15 ml"),
        ("4 tbsp", "1/4 cup", "59 ml"),
        ("16 tbsp", "1 cup", "237 ml"),
        ("8 cups", "2 quarts", "1.89 l"),
        ("6 cups", "1 1/2 quarts", "1.42 l"),
        ("1 gallon", "1 gallon", "3.79 l"),
        ("1/2 tsp", "1/2 tsp", "2.5 ml"),
        ("20 oz", "1 1/4 lb", "567 g"),
        ("8 oz", "8 oz", "227 g"),
        ("16 oz", "1 lb", "454 g"),
        ("1500 g", "3.31 lb", "1.5 kg"),
        ("1 g", "1 g", "1 g"),
        ("0.04 g", "0.04 g", "0.04 g"),
        ("3 bunches", "3 bunches", "3 bunches"),
        ("1 bunch", "1 bunch", "1 bunch"),
        ("2 each", "2", "2"),
    ];
    for (amount, us, metric) in cases {
        let amount: Amount = amount.parse().unwrap();
        assert_eq!((amount.show(System::Us).as_str(), amount.show(System::Metric).as_str()), (us, metric), "{amount}");
    }
    // A hair more than a quart is read as one.
    let hair = Amount::new(Exact::new(1001, 1000), Unit::Volume(VolumeUnit::Quart));
    assert_eq!(hair.show(System::Us), "1 quart");
}

#[test]
fn sizes_are_read_as_shops_write_them() {
    let cases = [
        ("14.5 oz", "14.5", "oz"),
        ("1 bunch", "1", "bunch"),
        ("2 tins", "2", "can"),
        ("12", "12", "each"),
        ("12 ct", "12", "each"),
        ("1 1/2 lb", "1.5", "lb"),
        ("1/2 gallon", "0.5", "gallon"),
        ("32 fl oz", "32", "floz"),
        ("500ml", "500", "ml"),
        ("1 dozen", "12", "each"),
        ("15 oz can", "15", "oz"),
    ];
    for (text, value, unit) in cases {
        let expected = Amount::new(value.parse().unwrap(), unit.parse().unwrap());
        assert_eq!(text.parse(), Ok(expected), "{text}");
    }
    for text in ["", "oz", "0 oz", "-1 lb", "1/0 lb", "5 florins", "99999999 lb", "1 oz oz"] {
        assert!(text.parse::<Amount>().is_err(), "{text}");
    }
}
