//! Money in minor units, and its fair division.

use std::fmt;
use std::ops::{Add, Sub};
use std::str::FromStr;

use crate::Exact;

/// A currency by its ISO 4217 code.
#[derive(Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Currency([u8; 3]);

/// Currencies of ISO 4217 whose minor unit is not the hundredth: code and decimals (list one of the standard, as
/// maintained by SIX; from memory).
const OTHER_DECIMALS: &[(&str, u32)] = &[
    ("BHD", 3),
    ("BIF", 0),
    ("CLP", 0),
    ("DJF", 0),
    ("GNF", 0),
    ("IQD", 3),
    ("ISK", 0),
    ("JOD", 3),
    ("JPY", 0),
    ("KMF", 0),
    ("KRW", 0),
    ("KWD", 3),
    ("LYD", 3),
    ("OMR", 3),
    ("PYG", 0),
    ("RWF", 0),
    ("TND", 3),
    ("UGX", 0),
    ("VND", 0),
    ("VUV", 0),
    ("XAF", 0),
    ("XOF", 0),
    ("XPF", 0),
];

/// What makes a text no money.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum MoneyError {
    /// Not a currency code.
    #[error("`{0}` is not a currency; write the three letters of its ISO 4217 code, such as USD")]
    Currency(String),
    /// Not a number, or a negative one.
    #[error("`{0}` is not a price; write digits and a point, such as 2.49")]
    NotAPrice(String),
    /// Finer than the currency's smallest coin.
    #[error("`{text}` has more decimals than {currency} has ({decimals})")]
    TooFine {
        /// What was read.
        text: String,
        /// The currency.
        currency: Currency,
        /// How many decimals it has.
        decimals: u32,
    },
}

impl Currency {
    /// The US dollar.
    pub const USD: Self = Self(*b"USD");

    /// The code's three letters.
    #[must_use]
    pub fn code(&self) -> &str {
        std::str::from_utf8(&self.0).unwrap_or("XXX")
    }

    /// How many decimals its minor unit has (2 for the dollar's cent).
    #[must_use]
    pub fn decimals(self) -> u32 {
        OTHER_DECIMALS.iter().find(|(code, _)| *code == self.code()).map_or(2, |(_, decimals)| *decimals)
    }

    fn scale(self) -> Exact {
        Exact::whole(10_i64.pow(self.decimals()))
    }
}

impl FromStr for Currency {
    type Err = MoneyError;

    fn from_str(text: &str) -> Result<Self, MoneyError> {
        let bad = || MoneyError::Currency(text.to_owned());
        let code: [u8; 3] = text.as_bytes().try_into().map_err(|_| bad())?;
        if code.iter().all(u8::is_ascii_uppercase) { Ok(Self(code)) } else { Err(bad()) }
    }
}

impl fmt::Display for Currency {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.code())
    }
}

impl fmt::Debug for Currency {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.code())
    }
}

/// An amount of money in minor units (cents) of one currency. A kitchen has one currency, so sums are of one.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Money {
    /// Minor units: 249 for 2.49 dollars.
    pub minor: i64,
    /// The currency.
    pub currency: Currency,
}

impl Money {
    /// None of it.
    #[must_use]
    pub const fn zero(currency: Currency) -> Self {
        Self { minor: 0, currency }
    }

    /// Reads `2.49` as an amount of that currency; a dollar sign or other prefix is not part of data.
    ///
    /// # Errors
    /// Where the text is no number, is negative, or is finer than the currency's smallest coin.
    pub fn parse(text: &str, currency: Currency) -> Result<Self, MoneyError> {
        let bad = || MoneyError::NotAPrice(text.trim().to_owned());
        let value: Exact = text.parse().map_err(|_| bad())?;
        let minor = value * currency.scale();
        if value < Exact::ZERO {
            return Err(bad());
        }
        if !minor.is_whole() {
            let decimals = currency.decimals();
            return Err(MoneyError::TooFine { text: text.trim().to_owned(), currency, decimals });
        }
        let minor = i64::try_from(minor.round()).map_err(|_| bad())?;
        Ok(Self { minor, currency })
    }

    /// The exact value in minor units, to reckon on.
    #[must_use]
    pub const fn exact(self) -> Exact {
        Exact::whole(self.minor)
    }

    /// Minor units rounded half up to whole ones, as a till does; saturating.
    #[must_use]
    pub fn from_exact(minor: Exact, currency: Currency) -> Self {
        let minor = i64::try_from(minor.round()).unwrap_or(if minor.is_positive() { i64::MAX } else { i64::MIN });
        Self { minor, currency }
    }

    /// So many times this money.
    #[must_use]
    pub const fn times(self, count: u64) -> Self {
        let count = if count > i64::MAX as u64 { i64::MAX } else { count as i64 };
        Self { minor: self.minor.saturating_mul(count), currency: self.currency }
    }

    /// Splits it by weight with the largest remainder: the parts add up to the whole, to the cent. Ties go to the
    /// earlier weight. Negative weights count as nothing; where all are nothing, the parts are equal in weight.
    ///
    /// ```
    /// use trug_measure::{Currency, Exact, Money};
    /// let cost = Money::parse("10.00", Currency::USD)?;
    /// let parts = cost.split(&[Exact::ONE, Exact::ONE, Exact::ONE]);
    /// assert_eq!(parts.iter().map(|part| part.minor).collect::<Vec<_>>(), [334, 333, 333]);
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    #[must_use]
    pub fn split(self, weights: &[Exact]) -> Vec<Self> {
        let weights: Vec<Exact> = weights.iter().map(|weight| (*weight).max(Exact::ZERO)).collect();
        let total: Exact = weights.iter().copied().sum();
        let share = |weight: Exact| {
            if total.is_zero() {
                self.exact() / Exact::whole(weights.len() as i64)
            } else {
                self.exact() * weight / total
            }
        };
        let exact: Vec<Exact> = weights.iter().map(|weight| share(*weight)).collect();
        let mut parts: Vec<i64> = exact.iter().map(|part| i64::try_from(part.floor()).unwrap_or(0)).collect();
        let mut order: Vec<usize> = (0..exact.len()).collect();
        let remainder = |at: usize| exact.get(at).map_or(Exact::ZERO, |part| *part - Exact::new(part.floor(), 1));
        order.sort_by(|a, b| remainder(*b).cmp(&remainder(*a)).then(a.cmp(b)));
        let left = self.minor.saturating_sub(parts.iter().sum());
        for at in order.into_iter().take(usize::try_from(left).unwrap_or(0)) {
            if let Some(part) = parts.get_mut(at) {
                *part += 1;
            }
        }
        parts.into_iter().map(|minor| Self { minor, currency: self.currency }).collect()
    }
}

impl Add for Money {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Self { minor: self.minor.saturating_add(other.minor), currency: self.currency }
    }
}

impl Sub for Money {
    type Output = Self;
    fn sub(self, other: Self) -> Self {
        Self { minor: self.minor.saturating_sub(other.minor), currency: self.currency }
    }
}

/// The figure alone, with the currency's decimals: `7.47`.
impl fmt::Display for Money {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let decimals = self.currency.decimals() as usize;
        let sign = if self.minor < 0 { "-" } else { "" };
        let digits = format!("{:0>width$}", self.minor.unsigned_abs(), width = decimals + 1);
        let (whole, fraction) = digits.split_at(digits.len() - decimals);
        if decimals == 0 { write!(f, "{sign}{whole}") } else { write!(f, "{sign}{whole}.{fraction}") }
    }
}
