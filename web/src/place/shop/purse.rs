//! What a trip has cost against its budgets, as the head of the list says it.

use trug_measure::Money;
use yew::AttrValue;

use super::figures::money;
use super::sums::Spent;
use crate::words::t;

/// A household's part of the trip, against its budget.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Table {
    pub(super) name: String,
    pub(super) spent: Money,
    pub(super) budget: Option<Money>,
}

/// What the chef sees of the money; `None` for everybody else.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Purse {
    /// What was spent.
    pub(super) spent: Spent,
    /// All budgets together.
    pub(super) budget: Option<Money>,
    /// By household.
    pub(super) tables: Vec<Table>,
}

/// A sum against a budget, in words.
pub(super) fn against(spent: Money, budget: Option<Money>) -> AttrValue {
    match budget {
        Some(budget) if spent > budget => {
            let over = money(spent - budget);
            let of = t!("shop.spent_of", sum = money(spent), budget = money(budget));
            format!("{of} · {}", t!("shop.over_budget", sum = over)).into()
        }
        Some(budget) => t!("shop.spent_of", sum = money(spent), budget = money(budget)),
        None => t!("shop.spent", sum = money(spent)),
    }
}
