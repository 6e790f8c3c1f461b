//! A kitchen: households, dishes, weeks, stores, prices and pantries, with every name in them looked up.

use std::borrow::Borrow;
use std::collections::BTreeMap;
use std::fmt;
use std::sync::Arc;

use chrono::NaiveDate;
use trug_catalog::line::Line;
use trug_catalog::{Catalog, Found, Keep, Regime};
use trug_measure::{Amount, Currency, Exact, Money, System, Unit};

macro_rules! ids {
    ($($(#[$doc:meta])* $name:ident;)*) => {$(
        $(#[$doc])*
        #[derive(Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub struct $name(Arc<str>);

        impl $name {
            /// The id as it stands in the files.
            #[must_use]
            pub fn new(id: &str) -> Self {
                Self(id.into())
            }

            /// The id's text.
            #[must_use]
            pub fn as_str(&self) -> &str {
                &self.0
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str(&self.0)
            }
        }

        impl fmt::Debug for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str(&self.0)
            }
        }

        impl Borrow<str> for $name {
            fn borrow(&self) -> &str {
                &self.0
            }
        }
    )*};
}

ids! {
    /// A client household.
    HouseholdId;
    /// A dish.
    DishId;
    /// A week of services.
    WeekId;
    /// A store.
    StoreId;
    /// A pantry: a household's, or the chef's own kit.
    PantryId;
}

/// Everything a chef has written down, with every food and dish looked up.
#[derive(Debug, Clone)]
pub struct Kitchen {
    /// The kitchen's name.
    pub name: String,
    /// The currency of all its prices and budgets.
    pub currency: Currency,
    /// The units in which it reads.
    pub units: System,
    /// Whose list of allergens it follows.
    pub regime: Regime,
    /// The chef's own kit, which serves all households.
    pub kit: Option<PantryId>,
    /// The usual store.
    pub usual_store: Option<StoreId>,
    /// The client households.
    pub households: BTreeMap<HouseholdId, Household>,
    /// The dishes.
    pub dishes: BTreeMap<DishId, Dish>,
    /// The weeks.
    pub weeks: BTreeMap<WeekId, Week>,
    /// The stores.
    pub stores: BTreeMap<StoreId, Store>,
    /// The price book.
    pub prices: Vec<Price>,
    /// The pantries' lots.
    pub pantries: BTreeMap<PantryId, Vec<Lot>>,
    /// The catalogue with the chef's own foods, and a place for every name that nobody has described.
    pub catalog: Catalog,
}

/// A client household.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Household {
    /// Its name.
    pub name: String,
    /// What a helper sees of it.
    pub short: Option<String>,
    /// Groceries for one service.
    pub budget: Option<Money>,
    /// Its own pantry.
    pub pantry: Option<PantryId>,
    /// Its food is bought in packs of its own: an allergy, its own receipt.
    pub separate: bool,
    /// Foods that stand in for others at its table.
    pub swaps: Vec<Swap>,
    /// Who eats there.
    pub diners: Vec<Diner>,
}

/// One person at a household's table.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Diner {
    /// The person's name.
    pub name: String,
    /// How much of a portion the person eats: 1, or 0.5 for a small child.
    pub portion: Exact,
    /// Allergies, in the chef's words (`peanuts`, `tree nuts`, `shellfish`, `kiwi`).
    pub allergies: Vec<String>,
    /// Dislikes and choices.
    pub avoid: Vec<String>,
    /// Diets (`vegetarian`).
    pub diet: Vec<String>,
}

/// A name as the chef wrote it, and what it stands for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Named {
    /// As written.
    pub text: String,
    /// What it stands for.
    pub item: Item,
}

/// What a line of a dish, or a side of a swap, stands for.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Item {
    /// A food, or a part of one.
    Food(Found),
    /// Another dish of the kitchen.
    Dish(DishId),
}

/// One food (or dish) in another's place.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Swap {
    /// What the recipe says.
    pub from: Named,
    /// What is used.
    pub to: Named,
    /// How much of it for each amount of the other.
    pub ratio: Exact,
}

/// A recipe.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Dish {
    /// The title.
    pub title: String,
    /// How many portions it makes, where it says so.
    pub serves: Option<Exact>,
    /// How much it makes, where it says so.
    pub makes: Option<Makes>,
    /// `Key: value` lines: `Keeps`, `Reheat`, `Station`; in the order written.
    pub notes: Vec<(String, String)>,
    /// The ingredients, in parts; the first part often has no heading.
    pub parts: Vec<DishPart>,
    /// The method, as written.
    pub method: String,
    /// Where it came from, so that it can be written back as it was.
    pub source: DishSource,
}

/// How much a dish makes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Makes {
    /// How many of the unit.
    pub value: Exact,
    /// A unit (`3 cups`), or `each` where a word that counts nothing else follows (`24 cookies`).
    pub unit: Unit,
    /// The word for what is made (`cookies`), as written; empty after a unit.
    pub of: String,
}

/// The form in which a dish was saved.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum DishSource {
    /// A recipe as text.
    Text,
    /// A schema.org Recipe in JSON-LD; the file as it was read.
    JsonLd(String),
}

/// A part of a dish with its own heading: `For the sauce`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DishPart {
    /// The heading, where there is one.
    pub heading: Option<String>,
    /// The ingredient lines.
    pub lines: Vec<Ingredient>,
}

/// An ingredient line, read and looked up.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Ingredient {
    /// The line as read.
    pub line: Line,
    /// What it stands for; `None` where nothing in the line could be taken for a food (a heading, a stray word).
    pub item: Option<Item>,
}

/// A week's services.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Week {
    /// The services, in the order written.
    pub services: Vec<Service>,
}

/// One household's meals of a week: one shop, one cook.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Service {
    /// For whom.
    pub household: HouseholdId,
    /// The day of shopping.
    pub shop: NaiveDate,
    /// The day of cooking.
    pub cook: NaiveDate,
    /// What is cooked.
    pub dishes: Vec<ServiceDish>,
}

/// One dish of a service.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ServiceDish {
    /// The dish.
    pub dish: DishId,
    /// How much of it.
    pub size: ServingSize,
    /// Who eats it, by name; `None` is all diners.
    pub diners: Option<Vec<String>>,
    /// Swaps for this dish alone.
    pub swaps: Vec<Swap>,
}

/// How much of a dish is cooked.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ServingSize {
    /// At so many meals, for each who eats it.
    Meals(Exact),
    /// So many portions in all.
    Portions(Exact),
}

/// A store.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Store {
    /// Its name.
    pub name: String,
    /// Its sections in walking order.
    pub sections: Vec<String>,
    /// Foods that stand in another section here than the catalogue says.
    pub shelf: Vec<(Named, String)>,
}

/// How a price is asked.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Sold {
    /// For a pack of that size.
    Pack,
    /// For that much of a loose food.
    Loose,
}

/// A line of the price book.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Price {
    /// The food.
    pub food: Named,
    /// Where.
    pub store: StoreId,
    /// In packs or loose.
    pub sold: Sold,
    /// The pack's size, or the unit of a loose food's price.
    pub size: Amount,
    /// The size as written.
    pub size_text: String,
    /// The price.
    pub price: Money,
    /// Since when.
    pub on: NaiveDate,
}

/// Some of a food in a pantry.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Lot {
    /// The food.
    pub food: Named,
    /// How much, as purchased; `None` is "there is enough".
    pub amount: Option<Amount>,
    /// The amount as written; empty where there is none.
    pub amount_text: String,
    /// How it is kept.
    pub keep: Keep,
    /// The last day on which it may be used; `None` is no date.
    pub use_by: Option<NaiveDate>,
}
