//! From an amount of a food, as a recipe, a shelf or a pantry has it, to the one unit in which the food is counted.
//!
//! A fluid is counted in millilitres, every other food in grams; where nothing tells what one weighs, the amount stays
//! in the unit in which it is written. Nothing is guessed and nothing is dropped.

use trug_catalog::line::{Basis, Line};
use trug_catalog::{Food, Measure, Part};
use trug_measure::{Amount, Exact, Unit, VolumeUnit};

/// What a food is counted in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Tally {
    /// Grams.
    Grams,
    /// Millilitres: the food has a density.
    Milliliters,
    /// The unit in which it is written, since nothing tells what one weighs.
    AsWritten {
        /// The unit.
        unit: Unit,
        /// The amount is of the cooked food, and nothing tells what that is raw.
        cooked: bool,
    },
}

impl Tally {
    /// What a food is counted in where everything needed is known.
    #[must_use]
    pub const fn of(food: &Food) -> Self {
        if food.is_fluid() { Self::Milliliters } else { Self::Grams }
    }

    /// The unit of the figures.
    #[must_use]
    pub const fn unit(self) -> Unit {
        match self {
            Self::Grams => Unit::GRAM,
            Self::Milliliters => Unit::ML,
            Self::AsWritten { unit, .. } => unit,
        }
    }
}

/// A figure that is not recorded, and without which an amount cannot be converted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Missing {
    /// What one of a unit weighs.
    Weight(Unit),
    /// What the cooked food was raw.
    CookedYield,
    /// What the drained food weighed in its can.
    DrainedWeight,
    /// How much is thrown away.
    Refuse,
}

/// One step of a conversion, for its explanation.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Step {
    /// So many containers or pieces of a stated size.
    Size {
        /// The stated size.
        size: Amount,
    },
    /// A stated weight of all pieces together.
    Total {
        /// The stated weight.
        total: Amount,
    },
    /// By a unit's fixed size.
    Exact {
        /// In the tally's unit.
        value: Exact,
    },
    /// By the spoon that a word stands for: a pinch, a dash.
    Spoonful {
        /// How much of the spoon one is.
        share: Exact,
        /// The spoon.
        spoon: VolumeUnit,
    },
    /// By the food's (or part's) own measure.
    Measure {
        /// The measure.
        measure: Measure,
        /// The unit in which the amount stood.
        from: Unit,
        /// The edible weight that came out, in grams.
        grams: Exact,
    },
    /// Between grams and millilitres.
    Density {
        /// g/ml.
        density: Exact,
        /// In the tally's unit.
        value: Exact,
    },
    /// From the cooked weight to the raw.
    Cooked {
        /// Cooked weight over raw weight.
        factor: Exact,
    },
    /// From the drained weight to the net weight.
    Drained {
        /// Drained weight over net weight.
        factor: Exact,
    },
    /// From a part to the wholes that yield it.
    Wholes {
        /// The part's name.
        part: String,
        /// Grams of the part from one whole; `None` where the line counts the wholes itself.
        each: Option<Exact>,
        /// How many wholes.
        wholes: Exact,
        /// The edible weight of one whole.
        grams: Exact,
    },
    /// From edible to as purchased.
    Refuse {
        /// Percent.
        refuse: Exact,
    },
}

/// An amount in the unit in which its food is counted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Converted {
    /// What it is counted in.
    pub tally: Tally,
    /// As purchased.
    pub need: Exact,
    /// The edible part of that; `None` where the refuse is not recorded or the amount stays as written.
    pub edible: Option<Exact>,
    /// The figure whose absence a person should know of.
    pub missing: Option<Missing>,
}

/// An amount of one unit of measure, in its meaning: edible unless it is a mass that says otherwise.
#[derive(Debug, Clone, Copy)]
struct Counted {
    value: Exact,
    basis: Basis,
}

/// Converts `value` of the line's unit, of that food (which a swap may have put in another's place).
///
/// `trace` is told each step; pass `&mut |_| ()` where nobody asks why.
pub fn convert(food: &Food, part: Option<&Part>, line: &Line, value: Exact, trace: &mut dyn FnMut(Step)) -> Converted {
    let unit = line.unit.unwrap_or(Unit::Each);
    let asked = Asked { food, line, part };
    asked.run(value, unit, trace).unwrap_or_else(|missing| as_written(value, unit, line.cooked, missing))
}

const fn as_written(value: Exact, unit: Unit, cooked: bool, missing: Missing) -> Converted {
    Converted { tally: Tally::AsWritten { unit, cooked }, need: value, edible: None, missing: Some(missing) }
}

struct Asked<'a> {
    food: &'a Food,
    line: &'a Line,
    part: Option<&'a Part>,
}

impl Asked<'_> {
    fn run(&self, value: Exact, unit: Unit, trace: &mut dyn FnMut(Step)) -> Result<Converted, Missing> {
        if let Some(part) = self.part {
            return self.part(part, value, unit, trace);
        }
        let (counted, unit) = self.stated(value, unit, trace)?;
        let raw = self.raw(counted, unit, trace)?;
        let mut converted = self.purchased(counted.basis, raw, unit, trace);
        if self.drained_unrecorded(counted.basis, unit) {
            converted.missing = converted.missing.or(Some(Missing::DrainedWeight));
        }
        Ok(converted)
    }

    /// The amount in the food's tally, as the unit or a stated size gives it.
    fn stated(&self, value: Exact, unit: Unit, trace: &mut dyn FnMut(Step)) -> Result<(Counted, Unit), Missing> {
        if let Some(size) = self.line.size {
            trace(Step::Size { size });
            return self.of_unit(value * size.value, size.unit, Basis::Purchased, trace);
        }
        if let (Some(total), Some(amount)) = (self.line.total, self.line.amount) {
            trace(Step::Total { total });
            let share = if amount.high.is_positive() { value / amount.high } else { Exact::ONE };
            return self.of_unit(share * total.value, total.unit, Basis::Purchased, trace);
        }
        self.of_unit(value, unit, self.line.basis, trace)
    }

    fn of_unit(
        &self,
        value: Exact,
        unit: Unit,
        basis: Basis,
        trace: &mut dyn FnMut(Step),
    ) -> Result<(Counted, Unit), Missing> {
        let own_volume = matches!(unit, Unit::Volume(_)) && self.food.is_fluid();
        let basis = if matches!(unit, Unit::Mass(_)) || own_volume { basis } else { Basis::Edible };
        let value = in_tally(self.food, value, unit, &self.line.words, trace).ok_or(Missing::Weight(unit))?;
        Ok((Counted { value, basis }, unit))
    }

    /// Back from cooked or drained to what is bought.
    fn raw(&self, counted: Counted, unit: Unit, trace: &mut dyn FnMut(Step)) -> Result<Exact, Missing> {
        let mut value = counted.value;
        let stated = self.line.size.is_some() || self.line.total.is_some();
        if stated {
            return Ok(value);
        }
        if self.line.cooked {
            let factor = self.food.cooked.ok_or(Missing::CookedYield)?;
            trace(Step::Cooked { factor });
            value = value / factor;
        }
        if self.is_drained_amount(counted.basis, unit) {
            // Tofu is drained as well, but loses nothing that is weighed: only what stands among the cans has a net
            // weight to go back to.
            match self.food.drained {
                Some(factor) => {
                    trace(Step::Drained { factor });
                    value = value / factor;
                }
                None if self.food.section == "canned" => return Err(Missing::DrainedWeight),
                None => {}
            }
        }
        Ok(value)
    }

    /// The amount is of the drained food, not of its container.
    fn is_drained_amount(&self, basis: Basis, unit: Unit) -> bool {
        let container = matches!(unit, Unit::Count(word) if word.is_container());
        let stated = self.line.size.is_some() || self.line.total.is_some();
        self.line.drained && basis == Basis::Edible && !container && !stated
    }

    /// Of a chef's own food nobody knows whether draining takes something away: the amount stands, and that is said.
    fn drained_unrecorded(&self, basis: Basis, unit: Unit) -> bool {
        self.food.own && self.food.drained.is_none() && self.is_drained_amount(basis, unit)
    }

    fn purchased(&self, basis: Basis, value: Exact, unit: Unit, trace: &mut dyn FnMut(Step)) -> Converted {
        let tally = Tally::of(self.food);
        let refuse = self.refuse(unit);
        let edible_share = refuse.map(kept_share);
        match (basis, edible_share) {
            (Basis::Purchased, share) => {
                Converted { tally, need: value, edible: share.map(|share| value * share), missing: None }
            }
            (Basis::Edible, Some(share)) => {
                if let Some(refuse) = refuse.filter(|refuse| !refuse.is_zero()) {
                    trace(Step::Refuse { refuse });
                }
                Converted { tally, need: value / share, edible: Some(value), missing: None }
            }
            (Basis::Edible, None) => Converted { tally, need: value, edible: None, missing: Some(Missing::Refuse) },
        }
    }

    /// The refuse of the prep done, where the food records one, for amounts measured after it; the food's own for
    /// counts, so that two potatoes peeled are still two potatoes.
    fn refuse(&self, unit: Unit) -> Option<Exact> {
        let after_prep = matches!(unit, Unit::Mass(_) | Unit::Volume(_));
        let done = |trim: &&trug_catalog::Trim| self.line.words.contains(&trim.prep);
        let trim = self.food.trims.iter().find(done).filter(|_| after_prep);
        trim.map(|trim| trim.refuse).or(self.food.refuse)
    }

    /// The wholes that yield the part, as purchased.
    fn part(&self, part: &Part, value: Exact, unit: Unit, trace: &mut dyn FnMut(Step)) -> Result<Converted, Missing> {
        let (wholes, each) = if unit == Unit::Each {
            (value, None)
        } else {
            let grams = part_grams(part, value, unit, &self.line.words, trace).ok_or(Missing::Weight(unit))?;
            (grams / part.whole, Some(part.whole))
        };
        let Some(grams) = each_grams(self.food) else {
            return Ok(Converted {
                tally: Tally::AsWritten { unit: Unit::Each, cooked: false },
                need: wholes,
                edible: None,
                missing: Some(Missing::Weight(Unit::Each)),
            });
        };
        trace(Step::Wholes { part: part.name.clone(), each, wholes, grams });
        let value = match self.food.density {
            Some(density) => wholes * grams / density,
            None => wholes * grams,
        };
        Ok(self.purchased(Basis::Edible, value, Unit::Each, trace))
    }
}

/// The edible weight of one whole.
#[must_use]
pub fn each_grams(food: &Food) -> Option<Exact> {
    best_measure(&food.measures, Unit::Each, &[]).map(|(measure, _)| measure.grams)
}

fn part_grams(part: &Part, value: Exact, unit: Unit, words: &[String], trace: &mut dyn FnMut(Step)) -> Option<Exact> {
    match unit {
        Unit::Mass(mass) => Some(value * mass.grams()),
        _ => by_measure(&part.measures, value, unit, words, trace)
            .or_else(|| Some(Amount::new(value, unit).milliliters()? * part.density?)),
    }
}

/// An amount in grams, or in millilitres for a fluid; `None` where nothing tells what one weighs.
fn in_tally(food: &Food, value: Exact, unit: Unit, words: &[String], trace: &mut dyn FnMut(Step)) -> Option<Exact> {
    match (unit, food.density) {
        (Unit::Mass(mass), None) => Some(exactly(value * mass.grams(), trace)),
        (Unit::Volume(volume), Some(_)) => Some(exactly(value * volume.milliliters(), trace)),
        (Unit::Mass(mass), Some(density)) => Some(by_density(value * mass.grams(), density, trace)),
        (_, density) => {
            let Some(grams) = by_measure(&food.measures, value, unit, words, trace) else {
                let Unit::Count(word) = unit else { return None };
                let (share, spoon) = word.spoonful()?;
                trace(Step::Spoonful { share, spoon });
                return in_tally(food, value * share, Unit::Volume(spoon), words, trace);
            };
            Some(match density {
                Some(density) => by_density(grams, density, trace),
                None => grams,
            })
        }
    }
}

fn exactly(value: Exact, trace: &mut dyn FnMut(Step)) -> Exact {
    trace(Step::Exact { value });
    value
}

fn by_density(grams: Exact, density: Exact, trace: &mut dyn FnMut(Step)) -> Exact {
    let value = grams / density;
    trace(Step::Density { density, value });
    value
}

fn by_measure(
    measures: &[Measure],
    value: Exact,
    unit: Unit,
    words: &[String],
    trace: &mut dyn FnMut(Step),
) -> Option<Exact> {
    let (measure, ratio) = best_measure(measures, unit, words)?;
    let grams = value * ratio * measure.grams;
    trace(Step::Measure { measure: measure.clone(), from: unit, grams });
    Some(grams)
}

/// The measure for a unit that shares most words with the prep, then has fewest words left over, and how many of it
/// one of the unit is. A volume without a measure of its own goes by the measure of the unit nearest in size.
#[must_use]
pub fn best_measure<'a>(measures: &'a [Measure], unit: Unit, words: &[String]) -> Option<(&'a Measure, Exact)> {
    let rank = |measure: &Measure| {
        let shared = measure.words.iter().filter(|word| words.contains(word)).count();
        (usize::MAX - shared, measure.words.len() - shared)
    };
    let own = measures.iter().filter(|measure| measure.unit == unit);
    if let Some(measure) = own.min_by(|a, b| rank(a).cmp(&rank(b)).then_with(|| a.words.cmp(&b.words))) {
        return Some((measure, Exact::ONE));
    }
    let Unit::Volume(asked) = unit else { return None };
    let volumes = measures.iter().filter_map(|measure| match measure.unit {
        Unit::Volume(volume) => Some((measure, volume)),
        _ => None,
    });
    let (measure, volume) = volumes.min_by(|(a, left), (b, right)| {
        let by_words = rank(a).cmp(&rank(b));
        by_words.then_with(|| apart(asked, *left).cmp(&apart(asked, *right))).then_with(|| a.words.cmp(&b.words))
    })?;
    Some((measure, asked.milliliters() / volume.milliliters()))
}

/// How many times one unit is the other, the greater over the lesser.
fn apart(a: VolumeUnit, b: VolumeUnit) -> Exact {
    let (a, b) = (a.milliliters(), b.milliliters());
    a.max(b) / a.min(b)
}

/// What a pack or a lot of that size holds of the food as purchased, in the tally; `None` where that is not known.
///
/// What is sold by weight, and a fluid by volume, holds what it says; what is sold by count, bunch or volume holds its
/// measure with the refuse still on it.
#[must_use]
pub fn holds(food: &Food, tally: Tally, size: Amount) -> Option<Exact> {
    match tally {
        // A pound of raw rice is no pound of cooked rice.
        Tally::AsWritten { cooked: true, .. } => return None,
        Tally::AsWritten { unit, cooked: false } => return Some(size.to_unit(unit)?.value),
        Tally::Grams | Tally::Milliliters => {}
    }
    let value = in_tally(food, size.value, size.unit, &[], &mut |_| ())?;
    let as_stated = matches!(size.unit, Unit::Mass(_)) || (food.is_fluid() && matches!(size.unit, Unit::Volume(_)));
    if as_stated {
        return Some(value);
    }
    match food.refuse {
        Some(refuse) if !refuse.is_zero() => Some(value / kept_share(refuse)),
        _ => Some(value),
    }
}

/// The share that is left when so many percent are thrown away.
#[must_use]
pub fn kept_share(refuse: Exact) -> Exact {
    if refuse.is_zero() { Exact::ONE } else { Exact::ONE - refuse / Exact::whole(100) }
}

/// What a lot is counted in, and how much that is: the food's tally where it can be told, else as written.
#[must_use]
pub fn lot_holds(food: &Food, amount: Amount) -> (Tally, Exact) {
    let tally = Tally::of(food);
    match holds(food, tally, amount) {
        Some(value) => (tally, value),
        None => (Tally::AsWritten { unit: amount.unit, cooked: false }, amount.value),
    }
}
