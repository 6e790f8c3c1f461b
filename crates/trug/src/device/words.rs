//! What a person types, read: spans of time, amounts, packs, money, and what was seen on a shelf.

use trug_catalog::Keep;
use trug_measure::{Amount, Currency, Exact, Money};
use trug_replica::pantry::Counted;
use trug_replica::run::Pack;

use super::DeviceError;

/// A span in milliseconds: `90s`, `30min`, `2h`, `1d`.
///
/// # Errors
/// A word for the person who typed it.
pub(crate) fn span(text: &str) -> Result<u64, String> {
    let bad = || format!("`{text}` is no span of time; write a number and s, min, h or d, such as 2h");
    let at = text.find(|letter: char| !letter.is_ascii_digit()).ok_or_else(bad)?;
    let (number, unit) = text.split_at(at);
    let each: u64 = match unit.trim() {
        "s" => 1000,
        "min" | "m" => 60_000,
        "h" => 3_600_000,
        "d" => 86_400_000,
        _ => return Err(bad()),
    };
    number.parse::<u64>().ok().and_then(|number| number.checked_mul(each)).ok_or_else(bad)
}

/// An amount, such as `1.5 lb`; a unit may stand right behind its number.
pub(crate) fn amount(text: &str) -> Result<Amount, DeviceError> {
    text.parse()
        .map_err(|error| DeviceError::Asked(format!("{error}; write an amount such as \"1.5 lb\" or \"3 bunches\"")))
}

/// More or less of something: `+2 lb`, `-200 g`.
pub(crate) fn change(text: &str) -> Result<Amount, DeviceError> {
    let text = text.trim();
    let (sign, rest) = match text.strip_prefix(['-', '\u{2212}']) {
        Some(rest) => (Exact::whole(-1), rest),
        None => match text.strip_prefix('+') {
            Some(rest) => (Exact::ONE, rest),
            None => {
                return Err(DeviceError::Asked(format!(
                    "`{text}` says neither + nor -; write \"+2 lb\" for what was put there, \"-200 g\" for what was taken"
                )));
            }
        },
    };
    let amount = amount(rest)?;
    Ok(Amount::new(amount.value * sign, amount.unit))
}

/// `2 x 14.5 oz`.
pub(crate) fn pack(text: &str) -> Result<Pack, DeviceError> {
    let bad = || {
        DeviceError::Asked(format!("`{text}` says no packs; write how many and of what size, such as \"2 x 14.5 oz\""))
    };
    let (count, size) = text.split_once(['x', 'X', '\u{d7}']).ok_or_else(bad)?;
    let count = count.trim().parse().ok().filter(|count| *count > 0).ok_or_else(bad)?;
    let size = size.trim();
    size.parse::<Amount>().map_err(|_| bad())?;
    Ok(Pack { count, size: size.to_owned() })
}

/// `4.50`, or `4.50 EUR` where the trip's currency is another.
pub(crate) fn money(text: &str, usual: Currency) -> Result<Money, DeviceError> {
    let asked = |error: trug_measure::MoneyError| DeviceError::Asked(error.to_string());
    let (number, currency) = match text.trim().split_once(' ') {
        Some((number, code)) if number.parse::<Exact>().is_ok() => (number, code.trim().parse().map_err(asked)?),
        _ => (text.trim(), usual),
    };
    Money::parse(number, currency).map_err(asked)
}

/// An amount, plenty, some, or out.
pub(crate) fn seen(text: &str) -> Result<Counted, DeviceError> {
    match text.trim().to_lowercase().as_str() {
        "plenty" => Ok(Counted::Plenty),
        "some" => Ok(Counted::Some),
        "out" | "none" | "0" => Ok(Counted::Out),
        _ => text.parse().map(Counted::Amount).map_err(|error| {
            DeviceError::Asked(format!("{error}; write an amount such as \"2 lb\", or plenty, some or out"))
        }),
    }
}

/// How something is kept.
pub(crate) fn keep(text: &str) -> Result<Keep, DeviceError> {
    text.trim().to_lowercase().parse().map_err(|error: trug_catalog::UnknownKeep| DeviceError::Asked(error.to_string()))
}

/// A day: `2026-03-04`.
pub(crate) fn day(text: &str) -> Result<String, DeviceError> {
    let day = chrono::NaiveDate::parse_from_str(text.trim(), "%Y-%m-%d");
    day.map(|day| day.to_string())
        .map_err(|_| DeviceError::Asked(format!("`{text}` is no day; write year, month and day, such as 2026-03-04")))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn spans() {
        for (text, want) in
            [("90s", Some(90_000)), ("30min", Some(1_800_000)), ("2h", Some(7_200_000)), ("1d", Some(86_400_000))]
        {
            assert_eq!(span(text).ok(), want, "{text}");
        }
        for text in ["", "2", "h", "2 weeks", "-2h", "99999999999999999999h", "9999999999999999999d"] {
            assert!(span(text).is_err(), "{text}");
        }
    }

    #[test]
    fn changes_say_their_direction() {
        for (text, want) in
            [("+2 lb", "2 lb"), ("-200 g", "-200 g"), ("-250ml", "-250 ml"), ("+1 1/2 cups", "1 1/2 cup")]
        {
            let read = change(text).unwrap();
            let (sign, want) = want.strip_prefix('-').map_or((1, want), |want| (-1, want));
            let want: Amount = want.parse().unwrap();
            assert_eq!(read, Amount::new(want.value * Exact::whole(sign), want.unit), "{text}");
        }
        for text in ["2 lb", "+", "-", "+some", "--2 lb", ""] {
            assert!(change(text).is_err(), "{text}");
        }
    }

    #[test]
    fn packs() {
        for (text, count, size) in [("2 x 14.5 oz", 2, "14.5 oz"), ("3x1 bunch", 3, "1 bunch"), ("1 × 5 lb", 1, "5 lb")]
        {
            assert_eq!(pack(text).unwrap(), Pack { count, size: size.to_owned() }, "{text}");
        }
        for text in ["", "x", "0 x 1 lb", "2", "two x 1 lb", "2 x", "2 x many"] {
            assert!(pack(text).is_err(), "{text}");
        }
    }

    #[test]
    fn prices() {
        assert_eq!(money("4.50", Currency::USD).unwrap().minor, 450);
        assert_eq!(money("4.50 EUR", Currency::USD).unwrap().currency.code(), "EUR");
        for text in ["", "$4", "-1", "4.505", "4 eur"] {
            assert!(money(text, Currency::USD).is_err(), "{text}");
        }
    }

    #[test]
    fn what_was_seen() {
        assert_eq!(seen("Plenty").unwrap(), Counted::Plenty);
        assert_eq!(seen("some").unwrap(), Counted::Some);
        assert_eq!(seen("out").unwrap(), Counted::Out);
        assert_eq!(seen("2 lb").unwrap(), Counted::Amount("2 lb".parse().unwrap()));
        assert!(seen("lots").is_err());
    }
}
