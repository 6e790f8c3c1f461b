//! The list: what to buy, in walking order, with its costs and what a person should know.

use trug_catalog::{FoodIx, Keep};
use trug_measure::{Exact, Money};

use crate::convert::{Missing, Tally};
use crate::demand::DishDoubt;
use crate::guard::Guarded;
use crate::kitchen::{DishId, HouseholdId, WeekId};
use crate::price::Buy;

/// A week's list.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct List {
    /// The week.
    pub week: WeekId,
    /// What to buy and what to make sure of, in walking order.
    pub lines: Vec<ListLine>,
    /// What the pantries hold in full, in the same order.
    pub covered: Vec<ListLine>,
    /// Each household's estimate, by id.
    pub households: Vec<HouseholdTotal>,
    /// What the priced lines cost together.
    pub total: Money,
    /// The foods without a price, by place in `lines`, each once.
    pub unpriced: Vec<FoodIx>,
    /// What the guard found.
    pub guarded: Guarded,
    /// What no line can say.
    pub doubts: Vec<DishDoubt>,
    /// Lots that are past their date on a day on which they would have been used.
    pub expired: Vec<ExpiredLot>,
}

/// One line of the list: a food in one tally, for all households that buy together, or for one that buys separately.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ListLine {
    /// The food.
    pub food: FoodIx,
    /// What its figures are counted in.
    pub tally: Tally,
    /// The household that it is bought for alone.
    pub separate: Option<HouseholdId>,
    /// The store's section.
    pub section: String,
    /// How it is kept.
    pub keep: Keep,
    /// What is needed, as purchased; `None` on a line that only asks to make sure.
    pub need: Option<Exact>,
    /// What of that is edible; `None` where that is not known.
    pub edible: Option<Exact>,
    /// What comes from pantries; `None` on a line that only asks to make sure.
    pub in_pantry: Option<Exact>,
    /// What is to be bought, before packs.
    pub to_buy: Option<Exact>,
    /// What to take, and where.
    pub buy: Buy,
    /// Somebody has to make sure that there is some, or enough.
    pub check: bool,
    /// It may be left out of the dish.
    pub optional: bool,
    /// Every dish asks for it by the piece, so that a person counts it.
    pub by_piece: bool,
    /// Which dishes need how much, before pantries; by household, then dish.
    pub demands: Vec<DishNeed>,
    /// What each household still needs after the pantries, by id; only who needs something.
    pub still: Vec<(HouseholdId, Exact)>,
    /// What each household pays of the line's cost, by id.
    pub shares: Vec<(HouseholdId, Money)>,
    /// What it contains: classes and kinds of allergens.
    pub contains: Vec<String>,
    /// Allergies of those who eat it that it conflicts with.
    pub alerts: Vec<Alert>,
    /// What a person should know of the line.
    pub warnings: Vec<Warning>,
}

/// What one dish of one household needs of a line.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DishNeed {
    /// The household.
    pub household: HouseholdId,
    /// The dish.
    pub dish: DishId,
    /// As purchased, before pantries; `None` where the dish only asks to make sure.
    pub need: Option<Exact>,
}

/// An allergy of somebody who eats the line's food.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Alert {
    /// At whose table.
    pub household: HouseholdId,
    /// Who.
    pub diner: String,
    /// The allergy, in the chef's words.
    pub what: String,
    /// In which dish.
    pub dish: DishId,
    /// The food is judged by its name only.
    pub by_name: bool,
}

/// What a person should know of a line.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub enum Warning {
    /// Nobody has described the food.
    Undescribed,
    /// A figure is missing.
    Missing(Missing),
    /// The allergens are not recorded.
    AllergensNotRecorded,
    /// Makers differ in what the food contains; read the label.
    AllergensVary,
    /// An open-ended lot is there, but is not trusted for so much.
    MoreThanEnough,
    /// There are prices, but in no unit that compares.
    PriceUnusable,
    /// A line of a recipe was read by mending a slip of the pen.
    Slip {
        /// The line as written.
        raw: String,
    },
    /// Two amounts of a line do not add up; only the first is counted.
    AmountsDiffer {
        /// The line as written.
        raw: String,
    },
    /// An amount of a line is nothing, or beyond anything a kitchen holds; it is read as none.
    AmountOutOfRange {
        /// The line as written.
        raw: String,
    },
}

/// What one household's groceries come to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct HouseholdTotal {
    /// The household.
    pub household: HouseholdId,
    /// The sum of its shares.
    pub estimate: Money,
    /// Its budget for all its services of the week.
    pub budget: Option<Money>,
    /// What it needs that has no price.
    pub unpriced: Vec<FoodIx>,
}

impl HouseholdTotal {
    /// Whether the estimate is over the budget.
    #[must_use]
    pub fn is_over(&self) -> bool {
        self.budget.is_some_and(|budget| self.estimate > budget)
    }
}

/// A lot that does not count, since its date is before the day of cooking.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct ExpiredLot {
    /// Where it is.
    pub pantry: crate::kitchen::PantryId,
    /// The food.
    pub food: FoodIx,
    /// Its date.
    pub use_by: chrono::NaiveDate,
}
