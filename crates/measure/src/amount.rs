//! Amounts: how much, in which unit.

use std::fmt;
use std::str::FromStr;

use crate::{Exact, NumberError, Unit, UnknownUnit};

/// A number of some unit. The number is exact; nothing is rounded before it is shown.
#[derive(Clone, Copy, PartialEq, Eq, Hash)]
pub struct Amount {
    /// How many of the unit.
    pub value: Exact,
    /// The unit.
    pub unit: Unit,
}

/// What makes a text no amount.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum AmountError {
    /// The number cannot be read.
    #[error(transparent)]
    Number(#[from] NumberError),
    /// The unit cannot be read.
    #[error(transparent)]
    Unit(#[from] UnknownUnit),
    /// The amount is nothing or less.
    #[error("`{0}` is not above zero; an amount is more than nothing")]
    NotPositive(String),
    /// The amount is beyond anything a kitchen holds.
    #[error("`{0}` is too much; at most 1,000,000 of a unit")]
    TooMuch(String),
}

impl Amount {
    /// So many of that unit.
    #[must_use]
    pub const fn new(value: Exact, unit: Unit) -> Self {
        Self { value, unit }
    }

    /// The mass in grams, where the unit is one of mass.
    #[must_use]
    pub fn grams(self) -> Option<Exact> {
        match self.unit {
            Unit::Mass(unit) => Some(self.value * unit.grams()),
            _ => None,
        }
    }

    /// The volume in millilitres, where the unit is one of volume.
    #[must_use]
    pub fn milliliters(self) -> Option<Exact> {
        match self.unit {
            Unit::Volume(unit) => Some(self.value * unit.milliliters()),
            _ => None,
        }
    }

    /// The same amount in another unit; `None` where the one is no multiple of the other (a volume in grams).
    ///
    /// ```
    /// use trug_measure::{Amount, Exact, Unit};
    /// let flour = "2 lb".parse::<Amount>()?;
    /// assert_eq!(flour.to_unit("oz".parse()?), Some("32 oz".parse()?));
    /// assert_eq!(flour.to_unit(Unit::ML), None);
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    #[must_use]
    pub fn to_unit(self, unit: Unit) -> Option<Self> {
        let value = match unit {
            Unit::Mass(mass) => self.grams()? / mass.grams(),
            Unit::Volume(volume) => self.milliliters()? / volume.milliliters(),
            _ if unit == self.unit => self.value,
            _ => return None,
        };
        Some(Self { value, unit })
    }
}

/// As data has it: `14.5 oz`, `1 bunch`.
impl fmt::Display for Amount {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} {}", self.value, self.unit)
    }
}

impl fmt::Debug for Amount {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:?} {}", self.value, self.unit)
    }
}

/// The most of one unit that data may state.
const MOST: Exact = Exact::whole(1_000_000);

/// Reads an amount as data has it: a number (decimal, `1/2` or `1 1/2`), then a unit; `12 each`, `1 dozen`, `14.5 oz`,
/// `15 oz can`, `1 bunch`.
impl FromStr for Amount {
    type Err = AmountError;

    fn from_str(text: &str) -> Result<Self, AmountError> {
        let trimmed = text.trim();
        let is_number = |c: char| c.is_ascii_digit() || matches!(c, '.' | '/' | ' ' | '-');
        let at = trimmed.find(|c| !is_number(c)).unwrap_or(trimmed.len());
        let (number, unit) = trimmed.split_at(at);
        let number = number_with_fraction(number.trim())?;
        let (times, unit) = unit_and_multiple(unit.trim())?;
        let value = number * times;
        if !value.is_positive() {
            return Err(AmountError::NotPositive(trimmed.to_owned()));
        }
        if value > MOST {
            return Err(AmountError::TooMuch(trimmed.to_owned()));
        }
        Ok(Self { value, unit })
    }
}

/// The unit, and how many of it the word stands for: a dozen is twelve pieces. A container after a weight or a volume
/// (`15 oz can`) says nothing more of how much there is.
fn unit_and_multiple(text: &str) -> Result<(Exact, Unit), UnknownUnit> {
    match text {
        "" => return Ok((Exact::ONE, Unit::Each)),
        "dozen" | "doz" | "doz." => return Ok((Exact::whole(12), Unit::Each)),
        _ => {}
    }
    let whole = text.parse();
    let Some((measure, word)) = text.rsplit_once(' ') else { return Ok((Exact::ONE, whole?)) };
    match (&whole, measure.parse(), word.parse()) {
        (Err(_), Ok(unit @ (Unit::Mass(_) | Unit::Volume(_))), Ok(Unit::Count(word))) if word.is_container() => {
            Ok((Exact::ONE, unit))
        }
        _ => Ok((Exact::ONE, whole?)),
    }
}

fn number_with_fraction(text: &str) -> Result<Exact, NumberError> {
    let bad = || NumberError::NotANumber(text.to_owned());
    text.split_whitespace()
        .map(fraction)
        .try_fold(None, |sum: Option<Exact>, part| Ok(Some(sum.unwrap_or_default() + part?)))?
        .ok_or_else(bad)
}

fn fraction(text: &str) -> Result<Exact, NumberError> {
    let Some((above, below)) = text.split_once('/') else { return text.parse() };
    let below: Exact = below.parse()?;
    if below.is_zero() {
        return Err(NumberError::NotANumber(text.to_owned()));
    }
    Ok(above.parse::<Exact>()? / below)
}
