//! Exact fractions against a general-purpose library of rationals (num-rational).

#![allow(clippy::unwrap_used, reason = "a panic here is a failed check")]

use num_rational::Ratio;
use proptest::prelude::*;
use trug_measure::Exact;

fn pair() -> impl Strategy<Value = (Exact, Ratio<i128>)> {
    (-1_000_000_000_i128..1_000_000_000, 1_i128..1_000_000).prop_map(|(n, d)| (Exact::new(n, d), Ratio::new(n, d)))
}

fn same(ours: Exact, theirs: Ratio<i128>) -> bool {
    (ours.numerator(), ours.denominator()) == (*theirs.numer(), *theirs.denom())
}

proptest! {
    #[test]
    fn arithmetic_agrees_with_the_library((a, x) in pair(), (b, y) in pair()) {
        prop_assert!(same(a + b, x + y));
        prop_assert!(same(a - b, x - y));
        prop_assert!(same(a * b, x * y));
        if !b.is_zero() {
            prop_assert!(same(a / b, x / y));
        }
        prop_assert_eq!(a.cmp(&b), x.cmp(&y));
    }

    #[test]
    fn rounding_agrees_with_the_library((a, x) in pair()) {
        prop_assert_eq!(a.floor(), *x.floor().numer());
        prop_assert_eq!(a.ceil(), *x.ceil().numer());
        // The library, too, takes a half away from zero.
        prop_assert_eq!(a.round(), *x.round().numer());
    }

    #[test]
    fn nothing_panics_past_the_exact_range(a in any::<i128>(), b in any::<i128>(), c in any::<i128>(), d in any::<i128>()) {
        let (x, y) = (Exact::new(a, b), Exact::new(c, d));
        let _ = (x + y, x - y, x * y, x / y, x.cmp(&y), x.round(), x.to_decimals(1), x.to_string());
    }

    #[test]
    fn a_decimal_is_read_as_it_is_shown(whole in 0_i64..1_000_000, thousandths in 0_i64..1000) {
        let value = Exact::whole(whole) + Exact::new(i128::from(thousandths), 1000);
        prop_assert_eq!(value.to_string().parse(), Ok(value));
    }

    #[test]
    fn rounding_up_to_a_step_is_the_least_multiple((a, _) in pair(), step in 1_i64..500) {
        let step = Exact::new(i128::from(step), 100);
        let up = a.ceil_to(step);
        prop_assert!(up >= a && up - step < a && (up / step).is_whole());
    }
}

#[test]
fn what_is_no_number_is_refused() {
    for text in ["", ".", "-", "1.2.3", "1e3", "one", "1,5", "0x10", "1 000", "12345678901234567890"] {
        assert!(text.parse::<Exact>().is_err(), "{text}");
    }
}
