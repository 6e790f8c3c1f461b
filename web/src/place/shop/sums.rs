//! What a trip has cost so far, for the chef alone.

use std::collections::BTreeMap;

use trug_measure::{Currency, Exact, Money};
use trug_replica::id::Alias;
use trug_replica::run::{Line, LineView, Pick, PlanLine, Quantity};

/// What was spent: prices that were noted, and what the plan expects where none was.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Spent {
    /// In all.
    pub(super) total: Money,
    /// By household; `None` is what is for no household of the plan.
    pub(super) tables: BTreeMap<Option<Alias>, Money>,
    /// How many purchases have neither a price nor an expected one.
    pub(super) unpriced: usize,
    /// How much of the total is expected, not noted.
    pub(super) expected: Money,
}

/// Adds up all purchases that stand.
pub(super) fn spent(lines: &[LineView], currency: Currency) -> Spent {
    let none = Money::zero(currency);
    let mut spent = Spent { total: none, tables: BTreeMap::new(), unpriced: 0, expected: none };
    for view in lines {
        let planned = match view.line.as_deref() {
            Some(Line::Planned(line)) => Some(line.as_ref()),
            _ => None,
        };
        for (_, pick) in view.picks.iter().filter(|(_, pick)| pick.what.is_purchase()) {
            let noted = pick.what.price();
            let Some(cost) = noted.or_else(|| expected(planned?, pick)).filter(|cost| cost.currency == currency) else {
                spent.unpriced += 1;
                continue;
            };
            spent.total = spent.total + cost;
            if noted.is_none() {
                spent.expected = spent.expected + cost;
            }
            for (alias, part) in parts(view, planned, pick, cost) {
                let sum = spent.tables.entry(alias).or_insert(none);
                *sum = *sum + part;
            }
        }
    }
    spent
}

/// What the plan expects a pick to cost: all of the line's cost, or its part of it.
fn expected(line: &PlanLine, pick: &Pick) -> Option<Money> {
    let cost = line.cost?;
    match pick.what.quantity()? {
        Quantity::Whole(_) => Some(cost),
        Quantity::Part(amount) => {
            let whole = line.takes.or(line.want)?;
            let part = amount?.to_unit(whole.unit)?;
            let share = if whole.value.is_positive() { part.value / whole.value } else { Exact::ONE };
            Some(Money::from_exact(cost.exact() * share, cost.currency))
        }
    }
}

/// Who pays how much of a purchase: by what each needs of the line.
fn parts(view: &LineView, planned: Option<&PlanLine>, pick: &Pick, cost: Money) -> Vec<(Option<Alias>, Money)> {
    let is_for = |alias: &Alias| pick.aliases.is_empty() || pick.aliases.contains(alias);
    let shares = planned.into_iter().flat_map(|line| &line.shares).filter(|share| is_for(&share.alias));
    let weights: Vec<(Alias, Exact)> =
        shares.map(|share| (share.alias.clone(), share.need.map_or(Exact::ZERO, |need| need.value))).collect();
    if weights.is_empty() {
        let by_hand = match view.line.as_deref() {
            Some(Line::ByHand(line)) => line.alias.clone(),
            _ => None,
        };
        return vec![(pick.aliases.first().cloned().or(by_hand), cost)];
    }
    let split = cost.split(&weights.iter().map(|(_, weight)| *weight).collect::<Vec<_>>());
    weights.into_iter().map(|(alias, _)| Some(alias)).zip(split).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::place::shop::sample::{alias, got, planned, share, usd, view};

    #[test]
    fn a_noted_price_counts_before_the_plan_and_all_adds_up() {
        let mut rice = planned("Rice");
        rice.cost = Some(usd("10.00"));
        rice.shares = vec![share("BK4", "1 lb"), share("RT5", "2 lb")];
        rice.want = Some("3 lb".parse().unwrap());
        let table: [(Vec<Pick>, &str, &str, usize); 5] = [
            (vec![], "0.00", "0.00", 0),
            (vec![got(Quantity::Whole(None), None)], "10.00", "10.00", 0),
            (vec![got(Quantity::Whole(None), Some("9.50"))], "9.50", "0.00", 0),
            (vec![got(Quantity::Part(Some("1.5 lb".parse().unwrap())), None)], "5.00", "5.00", 0),
            (vec![got(Quantity::Part(None), None)], "0.00", "0.00", 1),
        ];
        for (picks, total, expected, unpriced) in table {
            let spent = spent(&[view(Line::Planned(Box::new(rice.clone())), picks)], Currency::USD);
            assert_eq!((spent.total, spent.expected, spent.unpriced), (usd(total), usd(expected), unpriced));
            let sum = spent.tables.values().fold(usd("0"), |sum, part| sum + *part);
            assert_eq!(sum, spent.total);
        }
    }

    #[test]
    fn a_pick_for_one_household_is_paid_by_it() {
        let mut rice = planned("Rice");
        rice.shares = vec![share("BK4", "1 lb"), share("RT5", "2 lb")];
        let mut pick = got(Quantity::Part(None), Some("4.00"));
        pick.aliases = vec![alias("RT5")];
        let spent = spent(&[view(Line::Planned(Box::new(rice)), vec![pick])], Currency::USD);
        assert_eq!(spent.tables.into_iter().collect::<Vec<_>>(), [(Some(alias("RT5")), usd("4.00"))]);
    }
}
