//! How amounts are shown: kitchen fractions, and units that a person would pick.

use crate::{Amount, Exact, MassUnit, Unit, VolumeUnit};

/// Which household of units a person reads.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub enum System {
    /// US customary: ounces and pounds, spoons and cups.
    #[default]
    Us,
    /// Metric: grams and kilograms, millilitres and litres.
    Metric,
}

/// The fractions that kitchen tools have.
const FRACTIONS: [(i128, i128); 9] = [(1, 8), (1, 4), (1, 3), (3, 8), (1, 2), (5, 8), (2, 3), (3, 4), (7, 8)];

/// A number as a kitchen writes it: `1 1/2`, `2/3`, `3`; with at most two decimals where no such fraction is within
/// one part in a hundred, or a fiftieth of one.
///
/// ```
/// use trug_measure::{Exact, kitchen_number};
/// assert_eq!(kitchen_number(Exact::new(3, 2)), "1 1/2");
/// assert_eq!(kitchen_number(Exact::new(2, 3)), "2/3");
/// assert_eq!(kitchen_number("2.07".parse()?), "2.07");
/// # Ok::<(), trug_measure::NumberError>(())
/// ```
#[must_use]
pub fn kitchen_number(value: Exact) -> String {
    if value < Exact::ZERO {
        return format!("-{}", kitchen_number(-value));
    }
    match near_fraction(value) {
        Some((whole, None)) => whole.to_string(),
        Some((0, Some((above, below)))) => format!("{above}/{below}"),
        Some((whole, Some((above, below)))) => format!("{whole} {above}/{below}"),
        None => decimal(value, 2),
    }
}

type Fraction = Option<(i128, i128)>;

/// The whole and the kitchen fraction within one part in a hundred of the value, and a fiftieth of one.
fn near_fraction(value: Exact) -> Option<(i128, Fraction)> {
    let whole = value.floor();
    let rest = value - Exact::new(whole, 1);
    let near = |target: Exact| {
        let gap = (rest - target).max(target - rest);
        gap * Exact::whole(100) <= value.min(Exact::whole(2)) && value.is_positive()
    };
    if value.is_zero() || near(Exact::ZERO) {
        return Some((whole, None));
    }
    if near(Exact::ONE) {
        return Some((whole + 1, None));
    }
    let gap = |(above, below): (i128, i128)| {
        let target = Exact::new(above, below);
        (rest - target).max(target - rest)
    };
    let nearest = FRACTIONS.iter().copied().min_by_key(|fraction| gap(*fraction))?;
    near(Exact::new(nearest.0, nearest.1)).then_some((whole, Some(nearest)))
}

/// At most that many decimals, without trailing zeros.
fn decimal(value: Exact, places: u32) -> String {
    let text = format!("{:.*}", places as usize, value.to_decimals(places));
    if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').to_owned() } else { text }
}

impl Amount {
    /// The amount in words that a cook reads, in that system's units: `1 1/4 lb`, `1.5 kg`, `3 bunches`, `2/3 cup`.
    ///
    /// ```
    /// use trug_measure::{Amount, System};
    /// assert_eq!("3 tsp".parse::<Amount>()?.show(System::Us), "1 tbsp");
    /// assert_eq!("1500 g".parse::<Amount>()?.show(System::Metric), "1.5 kg");
    /// assert_eq!("20 oz".parse::<Amount>()?.show(System::Us), "1 1/4 lb");
    /// # Ok::<(), trug_measure::AmountError>(())
    /// ```
    #[must_use]
    pub fn show(self, system: System) -> String {
        match (self.unit, system) {
            (Unit::Mass(_), System::Us) => us_mass(self),
            (Unit::Mass(_), System::Metric) => metric(self.grams().unwrap_or_default(), "g", "kg"),
            (Unit::Volume(_), System::Us) => us_volume(self),
            (Unit::Volume(_), System::Metric) => metric(self.milliliters().unwrap_or_default(), "ml", "l"),
            _ => self.as_written(),
        }
    }

    /// The amount in its own unit, as a person writes it: `14.5 oz`, `3 bunches`, `12`.
    #[must_use]
    pub fn as_written(self) -> String {
        let number = if self.unit.is_count() { kitchen_number(self.value) } else { decimal(self.value, 3) };
        match self.unit {
            Unit::Each => number,
            Unit::Count(word) if self.value <= Exact::ONE || number == "1" => format!("{number} {}", word.singular()),
            Unit::Count(word) => format!("{number} {}", word.plural()),
            unit => format!("{number} {}", spoken(unit, self.value)),
        }
    }
}

/// The unit beside a number: cups and their like take a plural.
fn spoken(unit: Unit, value: Exact) -> String {
    // What is shown decides: a hair more than one quart is read as `1 quart`.
    let plural = value > Exact::ONE && kitchen_number(value) != "1";
    match unit {
        Unit::Volume(VolumeUnit::FluidOunce) => "fl oz".to_owned(),
        Unit::Volume(VolumeUnit::Cup | VolumeUnit::Pint | VolumeUnit::Quart | VolumeUnit::Gallon) if plural => {
            format!("{}s", unit.symbol())
        }
        unit => unit.symbol().to_owned(),
    }
}

fn metric(base: Exact, small: &str, large: &str) -> String {
    if base.round() >= 1000 {
        return format!("{} {large}", decimal(base / Exact::whole(1000), 2));
    }
    let places = match base {
        base if base >= Exact::whole(10) => 0,
        base if base >= Exact::ONE => 1,
        // A pinch of saffron is not nothing.
        _ => 2,
    };
    format!("{} {small}", decimal(base, places))
}

/// Ounces below a pound, pounds from there on.
fn us_mass(amount: Amount) -> String {
    let pounds = amount.grams().unwrap_or_default() / MassUnit::Pound.grams();
    if pounds >= Exact::new(995, 1000) {
        return format!("{} lb", kitchen_number(pounds));
    }
    let ounces = pounds * Exact::whole(16);
    if ounces < Exact::new(1, 8) {
        return metric(amount.grams().unwrap_or_default(), "g", "kg");
    }
    format!("{} oz", kitchen_number(ounces))
}

/// The largest measure that holds the volume in kitchen fractions, else the one that fits its size in decimals.
fn us_volume(amount: Amount) -> String {
    const STEPS: [(VolumeUnit, Exact); 5] = [
        (VolumeUnit::Gallon, Exact::ONE),
        (VolumeUnit::Quart, Exact::ONE),
        (VolumeUnit::Cup, Exact::new(1, 4)),
        (VolumeUnit::Tablespoon, Exact::ONE),
        (VolumeUnit::Teaspoon, Exact::ZERO),
    ];
    let volume = amount.milliliters().unwrap_or_default();
    let fits = |(unit, least): &&(VolumeUnit, Exact)| volume / unit.milliliters() >= *least * Exact::new(995, 1000);
    let neat = |(unit, _): &&(VolumeUnit, Exact)| {
        let value = volume / unit.milliliters();
        match unit {
            // A quart and a gallon are measured in halves at the finest; between them cups read better.
            VolumeUnit::Gallon | VolumeUnit::Quart => {
                matches!(near_fraction(value), Some((_, None | Some((1, 2)))))
            }
            _ => near_fraction(value).is_some(),
        }
    };
    let mut fitting = STEPS.iter().filter(fits);
    let rough = STEPS.iter().filter(fits).find(|(unit, _)| !matches!(unit, VolumeUnit::Gallon | VolumeUnit::Quart));
    let Some((unit, _)) = fitting.find(neat).or(rough) else { return amount.as_written() };
    let value = volume / unit.milliliters();
    format!("{} {}", kitchen_number(value), spoken(Unit::Volume(*unit), value))
}
