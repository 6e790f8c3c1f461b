//! Amounts, units, exact conversion, kitchen fractions and money.
//!
//! Everything is reckoned with exact rational numbers and rounded only where it is shown or paid: a third of a cup
//! three times is a cup, and a half cent goes up. Nothing here knows about foods.

mod amount;
mod exact;
mod money;
mod show;
mod unit;

pub use amount::{Amount, AmountError};
pub use exact::{Exact, NumberError};
pub use money::{Currency, Money, MoneyError};
pub use show::{System, kitchen_number};
pub use unit::{CountWord, MassUnit, Unit, UnknownUnit, VolumeUnit};
