//! Looking up the names in a kitchen's files: its dishes first, then the chef's own foods, then the catalogue.

use std::collections::HashMap;

use trug_catalog::line::{Doubt, Line};
use trug_catalog::{Catalog, Found, fold};
use trug_measure::Unit;

use crate::kitchen::{DishId, Ingredient, Item, Named};

/// Looks names up while a kitchen is read, and gives a place to every food that nobody has described.
///
/// Add all dishes first, then look up; the answer does not depend on the order of look-ups.
#[derive(Debug)]
pub struct Names {
    catalog: Catalog,
    dishes: HashMap<String, (DishId, DishKind)>,
    undescribed: HashMap<String, Found>,
}

/// What a dish says of how much it makes, so far as its name's meaning in a line depends on it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DishKind {
    /// It says how much it makes (`Makes 3 cups`), so that others can use some of it.
    Makes,
    /// It says only how many it serves.
    Serves,
}

impl Names {
    /// Starts from the catalogue with the chef's own foods.
    #[must_use]
    pub fn new(catalog: Catalog) -> Self {
        Self { catalog, dishes: HashMap::new(), undescribed: HashMap::new() }
    }

    /// Makes a dish known by its title and its id.
    pub fn add_dish(&mut self, id: &DishId, title: &str, kind: DishKind) {
        for name in [fold(title), fold(id.as_str())] {
            self.dishes.entry(name).or_insert_with(|| (id.clone(), kind));
        }
    }

    /// The food that a name stands for; a name that nobody has described gets a place of its own.
    pub fn food(&mut self, text: &str) -> Found {
        if let Some(found) = self.catalog.find(text) {
            return found;
        }
        let key = fold(text);
        if let Some(found) = self.undescribed.get(&key) {
            return *found;
        }
        let found = Found { food: self.catalog.add_undescribed(&key.replace(' ', "-"), text.trim()), part: None };
        self.undescribed.insert(key, found);
        found
    }

    /// A food's name as written, looked up.
    pub fn named_food(&mut self, text: &str) -> Named {
        Named { text: text.trim().to_owned(), item: Item::Food(self.food(text)) }
    }

    /// A food's or a dish's name as written, looked up.
    pub fn named(&mut self, text: &str) -> Named {
        let item = match self.dishes.get(&fold(text)) {
            Some((dish, DishKind::Makes)) => Item::Dish(dish.clone()),
            Some((dish, DishKind::Serves)) if self.catalog.find(text).is_none() => Item::Dish(dish.clone()),
            _ => Item::Food(self.food(text)),
        };
        Named { text: text.trim().to_owned(), item }
    }

    /// Reads an ingredient line and looks up what it names. A line with two foods without amounts (`salt and pepper`)
    /// comes back as two.
    pub fn ingredients(&mut self, text: &str) -> Vec<Ingredient> {
        let mut read = Vec::new();
        let mut next = Some(self.catalog.read(text));
        while let Some(mut line) = next {
            next = line.and.take().map(|other| *other);
            let item = self.line_item(&line);
            read.push(Ingredient { line, item });
        }
        read
    }

    fn line_item(&mut self, line: &Line) -> Option<Item> {
        let nothing = |doubt: &Doubt| matches!(doubt, Doubt::Unreadable | Doubt::Heading);
        if line.doubts.iter().any(nothing) || line.food.trim().is_empty() {
            return None;
        }
        if let Some(dish) = self.dish_of(line) {
            return Some(Item::Dish(dish));
        }
        match line.found {
            Some(found) => Some(Item::Food(found)),
            None => Some(Item::Food(self.food(&line.food))),
        }
    }

    /// A dish is meant where it says how much it makes, where the line counts its portions, or where no food has the
    /// name.
    fn dish_of(&self, line: &Line) -> Option<DishId> {
        let (dish, kind) = self.dishes.get(&fold(&line.food))?;
        let counts_portions =
            matches!(line.unit, Some(Unit::Count(word)) if matches!(word.singular(), "portion" | "serving" | "batch"));
        let meant = *kind == DishKind::Makes || counts_portions || line.found.is_none();
        meant.then(|| dish.clone())
    }

    /// The catalogue with everything that was looked up.
    #[must_use]
    pub fn finish(self) -> Catalog {
        self.catalog
    }

    /// The catalogue as it stands.
    #[must_use]
    pub const fn catalog(&self) -> &Catalog {
        &self.catalog
    }
}
