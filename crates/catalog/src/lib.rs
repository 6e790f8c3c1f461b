//! What foods are, and how an ingredient line is read.

mod allergen;
mod catalog;
pub mod data;
mod fold;
mod food;
pub mod line;
mod lookup;

pub use allergen::{Allergen, Group, Regime, UnknownAllergen, UnknownGroup};
pub use catalog::{Catalog, FoodIx, Found, NameTaken};
pub use fold::fold;
pub use food::{Allergens, Food, FoodId, Keep, Measure, Part, RawKind, Trim, UnknownKeep, UnknownRawKind};
