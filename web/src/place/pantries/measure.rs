//! An amount as a person writes it: figures in a field, a unit beside it, and steps for a thumb.

use trug_measure::{Amount, AmountError, Exact, MassUnit, System, Unit, VolumeUnit, kitchen_number};

/// What stands in the field and beside it.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Draft {
    /// The figure, as written.
    pub(super) text: String,
    /// The unit chosen.
    pub(super) unit: Unit,
    /// What the figure was shown for: a figure nobody touched stays exact.
    shown: Option<Amount>,
}

/// What a draft says.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Said {
    /// Nothing is written.
    Empty,
    /// There is none.
    Nothing,
    /// So much.
    Much(Amount),
}

/// Why a draft says nothing that can be used.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Wrong {
    /// It is no amount.
    NoAmount(String),
    /// It is more than any kitchen holds.
    TooMuch(String),
}

impl Draft {
    /// An empty field.
    pub(super) fn empty(unit: Unit) -> Self {
        Self { text: String::new(), unit, shown: None }
    }

    /// An amount, to be changed.
    pub(super) fn of(amount: Amount) -> Self {
        let text = if amount.value.is_positive() { kitchen_number(amount.value) } else { String::new() };
        Self { text, unit: amount.unit, shown: Some(amount) }
    }

    /// With another figure.
    pub(super) fn with_text(&self, text: String) -> Self {
        Self { text, ..self.clone() }
    }

    /// In another unit. The figure stays: whoever counts corrects the unit, and does not convert.
    pub(super) fn with_unit(&self, unit: Unit) -> Self {
        Self { unit, ..self.clone() }
    }

    /// Reads it. A text with a unit of its own (`12 oz`) goes before the unit beside it.
    pub(super) fn read(&self) -> Result<Said, Wrong> {
        let text = self.text.trim();
        if text.is_empty() {
            return Ok(Said::Empty);
        }
        if let Some(shown) = self.shown
            && shown.unit == self.unit
            && shown.value.is_positive()
            && kitchen_number(shown.value) == text
        {
            return Ok(Said::Much(shown));
        }
        let no_amount = || Wrong::NoAmount(text.to_owned());
        let plain = with_point(text).ok_or_else(no_amount)?;
        if is_zero(&plain) {
            return Ok(Said::Nothing);
        }
        let has_unit = plain.chars().any(char::is_alphabetic);
        let whole = if has_unit { plain } else { format!("{plain} {}", self.unit.symbol()) };
        match whole.parse() {
            Ok(amount) => Ok(Said::Much(amount)),
            Err(AmountError::TooMuch(_)) => Err(Wrong::TooMuch(text.to_owned())),
            Err(_) => Err(no_amount()),
        }
    }

    /// One step more or less; a figure that cannot be read is left as it is.
    pub(super) fn stepped(&self, up: bool) -> Self {
        let now = match self.read() {
            Ok(Said::Much(amount)) => amount,
            Ok(Said::Empty | Said::Nothing) => Amount::new(Exact::ZERO, self.unit),
            Err(_) => return self.clone(),
        };
        let value = next(now.value, step(now.unit), up);
        let text = if value.is_positive() { kitchen_number(value) } else { "0".to_owned() };
        Self { text, unit: now.unit, shown: None }
    }

    /// Whether there is nothing less.
    pub(super) fn is_least(&self) -> bool {
        matches!(self.read(), Ok(Said::Empty | Said::Nothing))
    }
}

/// `1,5` as `1.5`. A comma before three figures could be either, so it is none.
fn with_point(text: &str) -> Option<String> {
    let Some((before, after)) = text.split_once(',') else { return Some(text.to_owned()) };
    let figures = after.chars().take_while(char::is_ascii_digit).count();
    (figures > 0 && figures != 3 && !after.contains(',')).then(|| format!("{before}.{after}"))
}

fn is_zero(text: &str) -> bool {
    text.contains('0') && text.chars().all(|c| matches!(c, '0' | '.'))
}

/// How much one press is: what a hand would take more or less of.
fn step(unit: Unit) -> Exact {
    match unit {
        Unit::Mass(MassUnit::Gram) | Unit::Volume(VolumeUnit::Milliliter) => Exact::whole(50),
        Unit::Mass(MassUnit::Milligram) => Exact::whole(100),
        Unit::Mass(MassUnit::Kilogram | MassUnit::Pound) | Unit::Volume(VolumeUnit::Liter | VolumeUnit::Cup) => {
            Exact::new(1, 4)
        }
        Unit::Volume(VolumeUnit::Pint | VolumeUnit::Quart | VolumeUnit::Gallon) => Exact::new(1, 2),
        Unit::Mass(MassUnit::Ounce) | Unit::Volume(_) | Unit::Each | Unit::Count(_) => Exact::ONE,
    }
}

/// The next whole number of steps above or below, never below nothing.
fn next(value: Exact, step: Exact, up: bool) -> Exact {
    let steps = value / step;
    let to = if up { steps.floor() + 1 } else { steps.ceil() - 1 };
    Exact::new(to.max(0), 1) * step
}

/// The units to choose from: the one in use first, then those of the reader's system, then containers and pieces.
pub(super) fn units(current: Option<Unit>, system: System) -> Vec<Unit> {
    const US: [&str; 9] = ["each", "oz", "lb", "floz", "cup", "pint", "quart", "gallon", "tbsp"];
    const METRIC: [&str; 5] = ["each", "g", "kg", "ml", "l"];
    const COUNTED: [&str; 12] =
        ["can", "jar", "bottle", "bag", "box", "carton", "package", "bunch", "head", "stick", "loaf", "portion"];
    let (first, then): (&[&str], &[&str]) = match system {
        System::Us => (&US, &METRIC),
        System::Metric => (&METRIC, &US),
    };
    let known = first.iter().chain(&COUNTED).chain(then).filter_map(|word| word.parse().ok());
    let mut all: Vec<Unit> = Vec::new();
    for unit in current.into_iter().chain(known) {
        if !all.contains(&unit) {
            all.push(unit);
        }
    }
    all
}

/// The units that add up with one.
pub(super) fn alike(unit: Unit, system: System) -> Vec<Unit> {
    let one = Amount::new(Exact::ONE, unit);
    units(Some(unit), system).into_iter().filter(|other| one.to_unit(*other).is_some()).collect()
}

/// An amount for reading: in its own unit where the reader uses that, else in one of the reader's system.
pub(super) fn shown(amount: Amount, system: System) -> String {
    let metric = matches!(
        amount.unit,
        Unit::Mass(MassUnit::Milligram | MassUnit::Gram | MassUnit::Kilogram)
            | Unit::Volume(VolumeUnit::Milliliter | VolumeUnit::Liter)
    );
    // Spoons and cups are used by both.
    let spoon = matches!(
        amount.unit,
        Unit::Volume(VolumeUnit::Teaspoon | VolumeUnit::Tablespoon | VolumeUnit::Cup) | Unit::Each | Unit::Count(_)
    );
    if spoon || metric == (system == System::Metric) {
        return amount.as_written();
    }
    // A bottle of 375 ml is read in ounces, not in spoons.
    let ounces = amount.to_unit(Unit::Volume(VolumeUnit::FluidOunce)).filter(|_| system == System::Us);
    match ounces {
        Some(ounces) => Amount::new(Exact::from_f64(ounces.value.to_decimals(1)), ounces.unit).as_written(),
        None => amount.show(system),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn unit(word: &str) -> Unit {
        word.parse().unwrap()
    }

    fn much(text: &str) -> Said {
        Said::Much(text.parse().unwrap())
    }

    #[test]
    fn what_is_written_is_read() {
        let wrong = |text: &str| Err(Wrong::NoAmount(text.to_owned()));
        let table = [
            ("", "oz", Ok(Said::Empty)),
            ("  ", "oz", Ok(Said::Empty)),
            ("0", "oz", Ok(Said::Nothing)),
            ("0.0", "oz", Ok(Said::Nothing)),
            ("2", "oz", Ok(much("2 oz"))),
            ("1 1/2", "cup", Ok(much("1.5 cup"))),
            ("1,5", "kg", Ok(much("1.5 kg"))),
            ("1,500", "g", wrong("1,500")),
            ("1,", "g", wrong("1,")),
            ("12 oz", "lb", Ok(much("12 oz"))),
            ("2 cans", "each", Ok(much("2 can"))),
            ("a few", "each", wrong("a few")),
            ("-1", "each", wrong("-1")),
            ("9999999", "g", Err(Wrong::TooMuch("9999999".to_owned()))),
        ];
        for (text, word, expected) in table {
            assert_eq!(Draft::empty(unit(word)).with_text(text.to_owned()).read(), expected, "{text} {word}");
        }
    }

    #[test]
    fn a_figure_nobody_touched_stays_exact() {
        let third = Amount::new(Exact::new(12345, 10_000), unit("lb"));
        let draft = Draft::of(third);
        assert_eq!(draft.read(), Ok(Said::Much(third)));
        assert_ne!(draft.with_unit(unit("kg")).read(), Ok(Said::Much(third)));
    }

    #[test]
    fn steps_go_to_the_next_whole_one() {
        let table = [
            ("", "each", true, "1"),
            ("", "each", false, "0"),
            ("1", "each", false, "0"),
            ("2.5", "each", true, "3"),
            ("2.5", "each", false, "2"),
            ("1", "lb", true, "1 1/4"),
            ("60", "g", false, "50"),
            ("50", "g", false, "0"),
            ("much", "g", true, "much"),
        ];
        for (text, word, up, expected) in table {
            assert_eq!(Draft::empty(unit(word)).with_text(text.to_owned()).stepped(up).text, expected, "{text} {word}");
        }
    }

    #[test]
    fn units_that_add_up() {
        assert_eq!(alike(unit("can"), System::Us), vec![unit("can")]);
        assert!(alike(unit("g"), System::Us).contains(&unit("lb")));
        assert!(!alike(unit("g"), System::Us).contains(&unit("cup")));
    }

    #[test]
    fn amounts_are_read_in_the_readers_system() {
        let table = [
            ("2 lb", System::Us, "2 lb"),
            ("1 kg", System::Metric, "1 kg"),
            ("1 kg", System::Us, "2.2 lb"),
            ("375 ml", System::Us, "12.7 fl oz"),
            ("16 oz", System::Metric, "454 g"),
            ("2 can", System::Metric, "2 cans"),
            ("1 cup", System::Metric, "1 cup"),
        ];
        for (amount, system, expected) in table {
            assert_eq!(shown(amount.parse().unwrap(), system), expected);
        }
    }
}
