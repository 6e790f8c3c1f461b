//! Exact amounts, money, moments and ways of keeping as the records write them.

use trug_catalog::Keep;
use trug_measure::{Amount, Currency, Exact, Money, Unit};

use crate::id::Stamp;

/// The greatest numerator or denominator that is read: a forged amount must not overflow what is reckoned with it.
const MOST: i128 = 1_000_000_000_000_000;

/// `1360.8 g` as `6804/5 g`: decimal writing would lose thirds.
pub(crate) fn amount(amount: Amount) -> String {
    let (above, below) = (amount.value.numerator(), amount.value.denominator());
    if below == 1 { format!("{above} {}", amount.unit) } else { format!("{above}/{below} {}", amount.unit) }
}

/// Reads any amount, also none and less than none.
pub(crate) fn read_amount(text: &str) -> Option<Amount> {
    let (number, unit) = text.split_once(' ')?;
    let (above, below) = number.split_once('/').unwrap_or((number, "1"));
    let (above, below): (i128, i128) = (above.parse().ok()?, below.parse().ok()?);
    if !(1..=MOST).contains(&below) || above.checked_abs()? > MOST {
        return None;
    }
    Some(Amount::new(Exact::new(above, below), unit.parse::<Unit>().ok()?))
}

/// An amount that is not less than none.
pub(crate) fn read_positive(text: &str) -> Option<Amount> {
    read_amount(text).filter(|amount| amount.value >= Exact::ZERO)
}

pub(crate) fn money(money: Money) -> String {
    format!("{} {}", money.minor, money.currency)
}

pub(crate) fn read_money(text: &str) -> Option<Money> {
    let (minor, currency) = text.split_once(' ')?;
    let currency: Currency = currency.parse().ok()?;
    let minor: i64 = minor.parse().ok()?;
    (i128::from(minor).abs() <= MOST).then_some(Money { minor, currency })
}

pub(crate) const fn keep(keep: Keep) -> &'static str {
    match keep {
        Keep::Ambient => "a",
        Keep::Chilled => "c",
        Keep::Frozen => "f",
    }
}

pub(crate) fn read_keep(text: &str) -> Option<Keep> {
    [Keep::Ambient, Keep::Chilled, Keep::Frozen].into_iter().find(|kept| keep(*kept) == text)
}

pub(crate) fn stamp(at: Stamp) -> String {
    at.0.to_string()
}

pub(crate) fn read_stamp(text: &str) -> Option<Stamp> {
    text.parse().ok().map(Stamp)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn every_unit_comes_back() {
        let units = ["g", "kg", "mg", "oz", "lb", "ml", "l", "tsp", "tbsp", "floz", "cup", "pint", "quart", "gallon"];
        let counts = trug_measure::CountWord::forms().map(|(_, word)| Unit::Count(word));
        let units = units.iter().map(|unit| unit.parse().unwrap()).chain([Unit::Each]).chain(counts);
        for unit in units {
            let written = Amount::new(Exact::new(1, 3), unit);
            assert_eq!(read_amount(&amount(written)), Some(written), "{unit}");
        }
    }

    proptest! {
        #[test]
        fn amounts_come_back(above in -1_000_000_000_i64..1_000_000_000, below in 1_i128..100_000) {
            let written = Amount::new(Exact::new(i128::from(above), below), Unit::GRAM);
            prop_assert_eq!(read_amount(&amount(written)), Some(written));
        }

        #[test]
        fn any_text_is_read_or_refused(text in "[-0-9/ .a-z]{0,50}") {
            let _ = (read_amount(&text), read_money(&text), read_stamp(&text));
        }
    }
}
