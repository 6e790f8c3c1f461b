//! What was understood of an ingredient line, and what is missing.

use trug_catalog::line::{Basis, Doubt, Line};
use trug_catalog::{Catalog, Found};
use trug_measure::{Amount, System};
use trug_provision::convert::{Missing, convert};
use trug_provision::demand::part_of;
use trug_provision::kitchen::{Ingredient, Item, Kitchen};
use trug_provision::names::Names;

/// What a line stands for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Known {
    /// A food that is described.
    Food(String),
    /// Another dish, by its title.
    Dish(String),
    /// A food that nobody has described, as written, with the names of those near it.
    Unknown(String, Vec<String>),
    /// No food at all.
    Nothing,
}

/// What was understood of one ingredient.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Reading {
    pub(super) known: Known,
    /// The amount as a person reads it; `None` where the line has none.
    pub(super) amount: Option<String>,
    pub(super) prep: String,
    /// What an amount means that is measured; `None` where there is none, or pieces are counted.
    pub(super) basis: Option<Basis>,
    pub(super) optional: bool,
    pub(super) or: Option<String>,
    pub(super) missing: Option<Missing>,
    pub(super) doubts: Vec<Doubt>,
}

impl Reading {
    /// Whether a person should look at it.
    pub(super) fn is_unsure(&self) -> bool {
        matches!(self.known, Known::Unknown(..) | Known::Nothing) || self.missing.is_some() || !self.doubts.is_empty()
    }
}

/// Reads a line as the kitchen's dishes are read.
pub(super) fn read(kitchen: &Kitchen, names: &mut Names, text: &str) -> Vec<Reading> {
    let ingredients = names.ingredients(text);
    ingredients.iter().map(|ingredient| reading(kitchen, names.catalog(), ingredient)).collect()
}

fn reading(kitchen: &Kitchen, catalog: &Catalog, ingredient: &Ingredient) -> Reading {
    let line = &ingredient.line;
    let known = match &ingredient.item {
        None => Known::Nothing,
        Some(Item::Dish(id)) => {
            Known::Dish(kitchen.dishes.get(id).map_or_else(|| id.to_string(), |dish| dish.title.clone()))
        }
        Some(Item::Food(found)) => known_food(catalog, line, *found),
    };
    let missing = match &ingredient.item {
        Some(Item::Food(found)) => missing(catalog, line, *found),
        _ => None,
    };
    Reading {
        known,
        amount: amount(line, kitchen.units),
        prep: line.prep.clone(),
        basis: line.unit.filter(|unit| line.amount.is_some() && !unit.is_count()).map(|_| line.basis),
        optional: line.optional,
        or: line.or.clone(),
        missing,
        doubts: line.doubts.clone(),
    }
}

fn known_food(catalog: &Catalog, line: &Line, found: Found) -> Known {
    let food = catalog.get(found.food);
    if food.described {
        let part = found.part.and_then(|at| part_of(food, at));
        return Known::Food(part.map_or_else(|| food.name.clone(), |part| format!("{}, {}", food.name, part.name)));
    }
    let described = catalog.near(&line.food, 4).into_iter().map(|ix| catalog.get(ix)).filter(|near| near.described);
    Known::Unknown(line.food.clone(), described.take(3).map(|near| near.name.clone()).collect())
}

/// The figure without which the amount cannot be reckoned. Of a food that nobody has described everything is missing,
/// which is said otherwise.
fn missing(catalog: &Catalog, line: &Line, found: Found) -> Option<Missing> {
    let food = catalog.get(found.food);
    let high = line.amount.filter(|_| food.described)?.high;
    let part = found.part.and_then(|at| part_of(food, at));
    convert(food, part, line, high, &mut |_| ()).missing
}

/// A line's amount in its own words: both ends of a range, and the size of each.
pub(super) fn amount(line: &Line, units: System) -> Option<String> {
    let (range, unit) = (line.amount?, line.unit?);
    let high = Amount::new(range.high, unit);
    let shown = match unit {
        unit if unit.is_count() => high.as_written(),
        _ => high.show(units),
    };
    let shown = if range.low == range.high {
        shown
    } else {
        format!("{} – {shown}", Amount::new(range.low, unit).as_written())
    };
    let size = line.size.map(|size| format!(" × {}", size.as_written())).unwrap_or_default();
    Some(format!("{shown}{size}"))
}

#[cfg(test)]
mod tests {
    use super::super::swaps::names_of;
    use super::*;

    fn kitchen() -> Kitchen {
        let mut files = trug_folder::Files::new();
        files.insert("kitchen.toml", b"name = \"K\"\n".to_vec()).unwrap();
        let curd = "# Lemon curd\n\nMakes 2 cups\n\n## Ingredients\n\n- 6 egg yolks\n";
        files.insert("dishes/curd.md", curd.as_bytes().to_vec()).unwrap();
        trug_folder::read(&files).unwrap()
    }

    fn one(text: &str) -> Reading {
        let kitchen = kitchen();
        read(&kitchen, &mut names_of(&kitchen), text).remove(0)
    }

    #[test]
    fn lines_say_what_was_understood() {
        let carrots = one("1 lb carrots, peeled and diced");
        assert_eq!(carrots.known, Known::Food("carrot".to_owned()));
        assert_eq!(carrots.amount.as_deref(), Some("1 lb"));
        assert_eq!(carrots.basis, Some(Basis::Purchased));
        assert!(carrots.prep.contains("peeled"));
        assert!(!carrots.is_unsure());
        assert_eq!(one("1/2 cup lemon curd").known, Known::Dish("Lemon curd".to_owned()));
        assert_eq!(one("salt, to taste").amount, None);
    }

    #[test]
    fn lines_say_what_is_missing() {
        let unknown = one("2 cups zorblatt leaves");
        assert!(matches!(unknown.known, Known::Unknown(..)), "{unknown:?}");
        assert!(unknown.is_unsure());
        assert_eq!(one("***").known, Known::Nothing);
    }
}
