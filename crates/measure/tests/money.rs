//! Money adds up to the cent.

#![allow(clippy::unwrap_used, reason = "a panic here is a failed check")]

use proptest::prelude::*;
use trug_measure::{Currency, Exact, Money};

fn dollars(text: &str) -> Money {
    Money::parse(text, Currency::USD).unwrap()
}

#[test]
fn the_largest_remainder_gets_the_odd_cent() {
    // Worked by hand: 10.00 by 1 : 2 : 4 is 142.857, 285.714 and 571.428 cents; the two cents left over go to the
    // remainders .857 and .714.
    let parts = dollars("10.00").split(&[1, 2, 4].map(Exact::whole));
    assert_eq!(parts.iter().map(Money::to_string).collect::<Vec<_>>(), ["1.43", "2.86", "5.71"]);
    // Of equal remainders the first.
    let parts = dollars("0.01").split(&[Exact::ONE, Exact::ONE]);
    assert_eq!(parts.iter().map(|part| part.minor).collect::<Vec<_>>(), [1, 0]);
}

#[test]
fn a_half_cent_goes_up() {
    let half = Exact::new(299, 2);
    assert_eq!(Money::from_exact(half, Currency::USD), dollars("1.50"));
}

#[test]
fn prices_are_exact_in_their_currency() {
    assert_eq!(dollars("2.49").minor, 249);
    assert_eq!(dollars("2").to_string(), "2.00");
    for text in ["2.499", "-1", "$2", "two", "", "1e2"] {
        assert!(Money::parse(text, Currency::USD).is_err(), "{text}");
    }
    // ISO 4217: the yen has no minor unit, the Kuwaiti dinar thousandths (from memory).
    assert_eq!(Money::parse("250", "JPY".parse().unwrap()).unwrap().to_string(), "250");
    assert!(Money::parse("2.5", "JPY".parse().unwrap()).is_err());
    assert_eq!(Money::parse("1.250", "KWD".parse().unwrap()).unwrap().minor, 1250);
    for code in ["usd", "US", "DOLLAR", ""] {
        assert!(code.parse::<Currency>().is_err(), "{code}");
    }
}

proptest! {
    #[test]
    fn parts_add_up_to_the_whole(minor in 0_i64..10_000_000, weights in prop::collection::vec((0_i128..10_000, 1_i128..100), 1..9)) {
        let weights: Vec<Exact> = weights.into_iter().map(|(n, d)| Exact::new(n, d)).collect();
        let parts = Money { minor, currency: Currency::USD }.split(&weights);
        prop_assert_eq!(parts.iter().map(|part| part.minor).sum::<i64>(), minor);
        prop_assert!(parts.iter().all(|part| part.minor >= 0));
    }

    #[test]
    fn each_part_is_within_a_cent_of_its_share(minor in 0_i64..10_000_000, weights in prop::collection::vec(1_i64..10_000, 1..9)) {
        let weights: Vec<Exact> = weights.into_iter().map(Exact::whole).collect();
        let total: Exact = weights.iter().copied().sum();
        let whole = Money { minor, currency: Currency::USD };
        for (part, weight) in whole.split(&weights).into_iter().zip(weights) {
            let gap = part.exact() - whole.exact() * weight / total;
            prop_assert!(gap < Exact::ONE && gap > -Exact::ONE);
        }
    }

    #[test]
    fn money_is_read_as_it_is_shown(minor in 0_i64..1_000_000_000) {
        let money = Money { minor, currency: Currency::USD };
        prop_assert_eq!(Money::parse(&money.to_string(), Currency::USD), Ok(money));
    }
}
