//! Whether a food's figures can be right, and what is missing that a recipe will ask for.

use std::fmt::Display;

use trug_catalog::{Allergen, Food, Measure, fold};
use trug_measure::{Amount, Exact, Unit, VolumeUnit};

use super::curated::{Entry, Place, Problem, Weight};
use super::sr28::Sr28;

/// Figures outside these bounds are slips of the pen. Bounds of our own, wide of every food in the catalogue. `[practice]`
const CUP_GRAMS: (i64, i64) = (5, 400);
const REFUSE_PERCENT: (i64, i64) = (0, 80);

/// What cannot be right.
pub(super) fn errors(place: &Place, food: &Food) -> Vec<Problem> {
    let refuse = food.refuse.into_iter().map(|percent| ("refuse".to_owned(), percent, whole(REFUSE_PERCENT)));
    let trims = food.trims.iter().map(|trim| (format!("trims.{}", trim.prep), trim.refuse, whole(REFUSE_PERCENT)));
    let density = (Exact::new(7, 10), Exact::new(3, 2));
    let densities = food.density.into_iter().chain(food.parts.iter().filter_map(|part| part.density));
    let densities = densities.map(|value| ("density".to_owned(), value, density));
    let cooked = food.cooked.map(|ratio| ("cooked".to_owned(), ratio, (Exact::new(1, 20), Exact::whole(12))));
    let drained = food.drained.map(|ratio| ("drained".to_owned(), ratio, (Exact::new(3, 10), Exact::ONE)));
    let enough = food.enough.map(|most| ("enough".to_owned(), most, whole((1, 20_000))));
    let wholes = food
        .parts
        .iter()
        .map(|part| (format!("parts.{}.whole", part.name), part.whole, (Exact::new(1, 10), Exact::whole(5000))));
    let measures = food.measures.iter().chain(food.parts.iter().flat_map(|part| &part.measures)).map(bounds);
    refuse
        .chain(trims)
        .chain(densities)
        .chain(cooked)
        .chain(drained)
        .chain(enough)
        .chain(wholes)
        .chain(measures)
        .filter(|(_, value, (least, most))| value < least || value > most)
        .map(|(key, value, (least, most))| {
            place.problem(&key, format_args!("read {value}; it lies between {least} and {most}"))
        })
        .collect()
}

fn whole((least, most): (i64, i64)) -> (Exact, Exact) {
    (Exact::whole(least), Exact::whole(most))
}

fn bounds(measure: &Measure) -> (String, Exact, (Exact, Exact)) {
    let one = Amount::new(Exact::ONE, measure.unit);
    let cup = Amount::new(Exact::ONE, Unit::Volume(VolumeUnit::Cup)).milliliters().unwrap_or(Exact::ONE);
    let bounds = match one.milliliters() {
        Some(ml) => (Exact::whole(CUP_GRAMS.0) * ml / cup, Exact::whole(CUP_GRAMS.1) * ml / cup),
        None => (Exact::new(1, 100), Exact::whole(12_000)),
    };
    (name(measure), measure.grams, bounds)
}

fn name(measure: &Measure) -> String {
    let words: String = measure.words.iter().flat_map(|word| [" ", word]).collect();
    format!("measures, \"{}{words}\"", measure.unit)
}

/// What may be wrong or is missing; a person looks at it.
pub(super) fn warnings(place: &Place, food: &Food) -> Vec<Problem> {
    let mut said: Vec<(String, String)> = Vec::new();
    let mut warn = |key: &str, text: &dyn Display| said.push((key.to_owned(), text.to_string()));
    let has = |unit: fn(Unit) -> bool| food.measures.iter().any(|measure| unit(measure.unit));
    let fresh = ["produce", "meat", "seafood"].contains(&food.section.as_str());
    if food.measures.is_empty() && !food.is_fluid() && !food.never_bought {
        warn("measures", &"there are none: the food can be weighed only");
    }
    if food.section == "produce" && !food.is_fluid() && !has(Unit::is_count) {
        warn("measures", &"no count (each, bunch, head): produce is counted in recipes");
    }
    if has(Unit::is_count) && !has_plain(food) {
        warn("measures", &"every count has words: which one is meant without any?");
    }
    if fresh && food.refuse.is_none() {
        warn("refuse", &"not recorded: no trim can be reckoned");
    }
    if food.packs.is_empty() && !fresh && !food.never_bought && food.section != "deli" {
        warn("packs", &"none: without a price nothing says how it is sold");
    }
    let is_cooked = |measure: &Measure| measure.words.iter().any(|word| word == "cooked");
    if food.measures.iter().any(is_cooked) && food.cooked.is_none() {
        warn("cooked", &"a measure is of the cooked food, but nothing says what it weighs raw");
    }
    for (name, kind) in unrecorded_kinds(food) {
        warn("allergens", &format_args!("`{name}` says {kind}, which is not recorded; is it a food of its own?"));
    }
    for measure in food.measures.iter().filter(|measure| measure.words.is_empty()) {
        if let Some(text) = against_cup(food, measure) {
            warn(&name(measure), &text);
        }
    }
    said.into_iter().map(|(key, text)| place.problem(&key, text)).collect()
}

fn has_plain(food: &Food) -> bool {
    food.measures.iter().any(|measure| measure.unit.is_count() && measure.words.is_empty())
}

/// Other names that have an allergen's name in them where makers differ and the record does not: a reader of `sesame bagel`
/// would be told of wheat alone. `egg-free` is no egg.
fn unrecorded_kinds(food: &Food) -> Vec<(&str, Allergen)> {
    if !food.allergens.is_open() {
        return Vec::new();
    }
    let says = |text: &str, kind: Allergen| {
        let (text, kind) = (fold(text), kind.name());
        format!(" {text} ").contains(&format!(" {kind} ")) && !text.contains(&format!("{kind} free"))
    };
    let missing =
        Allergen::ALL.into_iter().filter(|kind| !food.allergens.kinds().contains(kind) && !says(&food.name, *kind));
    missing
        .flat_map(|kind| food.also.iter().filter(move |name| says(name, kind)).map(move |name| (name.as_str(), kind)))
        .collect()
}

/// A spoon or a pint that does not agree with the density or the plain cup: not by a factor of five halves, which lets
/// leaves in the cup and chopped in the spoon pass, and catches one unit's weight under another's name.
fn against_cup(food: &Food, measure: &Measure) -> Option<String> {
    let ml = Amount::new(Exact::ONE, measure.unit).milliliters()?;
    let cup = Unit::Volume(VolumeUnit::Cup);
    let per_ml = food.density.or_else(|| {
        let plain = food.measures.iter().find(|other| other.unit == cup && other.words.is_empty())?;
        Some(plain.grams / Amount::new(Exact::ONE, cup).milliliters()?)
    })?;
    let expected = per_ml * ml;
    let ratio = measure.grams / expected;
    let agrees = ratio > Exact::new(2, 5) && ratio < Exact::new(5, 2);
    (!agrees).then(|| format!("{} g, but by the cup or the density it is {:.1} g", measure.grams, expected.to_f64()))
}

/// Measures by volume that take their weight from a row whose wording names another unit, or a share of it
/// (`serving 1/2 cup`).
pub(super) fn wording(place: &Place, entry: &Entry, rows: &Sr28) -> Vec<Problem> {
    let parts = entry.parts.values().flat_map(|part| &part.measures);
    let differs = |(key, weight): (&String, &Weight)| {
        let row = match *weight {
            Weight::Own(seq) => rows.measure(entry.ndb?, seq)?,
            Weight::Of(ndb, seq) => rows.measure(ndb, seq)?,
            Weight::Grams(_) => return None,
        };
        let unit = key.split(' ').next()?.parse().ok()?;
        let Unit::Volume(volume) = unit else { return None };
        (!names_one(&row.name, volume))
            .then(|| place.problem(key, format_args!("weighed by a row that says `{}`", row.name)))
    };
    entry.measures.iter().chain(parts).filter_map(differs).collect()
}

fn names_one(wording: &str, unit: VolumeUnit) -> bool {
    let wording =
        wording.to_lowercase().replace("tablespoon", "tbsp").replace("teaspoon", "tsp").replace("fl oz", "floz");
    let Some(at) = wording.find(unit.symbol()) else { return false };
    let before = wording.get(..at).unwrap_or_default().split_whitespace().next_back().unwrap_or_default();
    before == "1" || !before.contains(|c: char| c.is_ascii_digit())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_row_weighs_one_of_the_unit_that_it_names() {
        let table = [
            ("cup, chopped", VolumeUnit::Cup, true),
            ("tablespoons", VolumeUnit::Tablespoon, true),
            ("fl oz", VolumeUnit::FluidOunce, true),
            ("serving 1 tbsp", VolumeUnit::Tablespoon, true),
            ("serving 1/2 cup", VolumeUnit::Cup, false),
            ("tbsp (1/8 cup)", VolumeUnit::Cup, false),
            ("tbsp", VolumeUnit::Cup, false),
        ];
        for (wording, unit, expected) in table {
            assert_eq!(names_one(wording, unit), expected, "{wording}");
        }
    }
}
