//! Dishes: recipes as text and as schema.org JSON-LD.

mod html;
mod json;
mod text;
mod yields;

use std::collections::BTreeMap;

use trug_catalog::fold;
use trug_catalog::line::Doubt;
use trug_provision::kitchen::{Dish, DishId, DishPart, DishSource, Ingredient, Item, Makes};
use trug_provision::names::{DishKind, Names};

pub(crate) use json::draft as json_draft;
pub(crate) use text::draft as text_draft;
pub(crate) use yields::{write_makes, write_serves};

use crate::page::Page;
use crate::problem::{Problems, What};
use crate::table::start_of;
use trug_measure::Exact;

/// The folded names that several dishes have, with two of these.
pub(crate) type Shared = BTreeMap<String, (DishId, DishId)>;

/// A dish whose ingredient lines have not been looked up, since that needs the names of all dishes.
pub(crate) struct Draft {
    pub title: String,
    pub serves: Option<Exact>,
    pub makes: Option<Makes>,
    pub notes: Vec<(String, String)>,
    pub parts: Vec<DraftPart>,
    pub method: String,
    pub source: DishSource,
}

/// A part of it: its heading, and its lines with their numbers.
#[derive(Default)]
pub(crate) struct DraftPart {
    pub heading: Option<String>,
    pub lines: Vec<(u32, String)>,
}

impl Draft {
    /// What its name means in another dish's line.
    pub(crate) const fn kind(&self) -> DishKind {
        if self.makes.is_some() { DishKind::Makes } else { DishKind::Serves }
    }

    /// Looks its lines up; `uses` is told which dishes they name.
    pub(crate) fn look_up(
        self,
        names: &mut Names,
        shared: &Shared,
        page: &mut Page<'_>,
        mut uses: impl FnMut(&DishId, u32),
    ) -> Dish {
        let mut parts = Vec::with_capacity(self.parts.len());
        for part in self.parts {
            let mut lines = Vec::with_capacity(part.lines.len());
            for (number, text) in part.lines {
                let read = ingredients(&text, names);
                for ingredient in &read {
                    if ingredient.line.doubts.contains(&Doubt::AmountOutOfRange) {
                        page.line(number, What::IngredientOutOfRange(start_of(&text)));
                    }
                    if let Some(Item::Dish(dish)) = &ingredient.item {
                        uses(dish, number);
                        if let Some((one, other)) = shared.get(&fold(&ingredient.line.food)) {
                            let (one, other) = (one.to_string(), other.to_string());
                            page.line(number, What::TwoDishes { name: ingredient.line.food.clone(), one, other });
                        }
                    }
                }
                lines.extend(read);
            }
            parts.push(DishPart { heading: part.heading, lines });
        }
        let Self { title, serves, makes, notes, method, source, .. } = self;
        Dish { title, serves, makes, notes, parts, method, source }
    }
}

/// The ingredients of one line. Several foods of one line all keep the whole line as what was written.
fn ingredients(text: &str, names: &mut Names) -> Vec<Ingredient> {
    let mut read = names.ingredients(text);
    for ingredient in &mut read {
        text.clone_into(&mut ingredient.line.raw);
    }
    read
}

/// Reads a recipe as text and looks up what its lines name. `file` is how the recipe is called in what is said of it.
///
/// # Errors
/// Everything that is wrong with the text.
pub fn read_dish(file: &str, text: &str, names: &mut Names) -> Result<Dish, Problems> {
    read_one(file, text, names, text_draft)
}

/// Reads a schema.org Recipe in JSON-LD and looks up what its lines name. `file` is how it is called in what is said of
/// it.
///
/// # Errors
/// Everything that is wrong with the file.
pub fn read_json_ld(file: &str, text: &str, names: &mut Names) -> Result<Dish, Problems> {
    read_one(file, text, names, json_draft)
}

fn read_one(
    file: &str,
    text: &str,
    names: &mut Names,
    draft: fn(&str, &mut Page<'_>) -> Option<Draft>,
) -> Result<Dish, Problems> {
    let mut problems = Vec::new();
    let mut page = Page::new(file, text, &mut problems);
    let dish = draft(text, &mut page).map(|draft| draft.look_up(names, &Shared::new(), &mut page, |_, _| {}));
    match (Problems::of(problems), dish) {
        (None, Some(dish)) => Ok(dish),
        (Some(problems), _) => Err(problems),
        (None, None) => Err(Problems::one(file, What::NoTitle)),
    }
}
