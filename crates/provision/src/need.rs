//! From demands to what each service needs of each food: parts come from the same wholes, pots are filled once.

use trug_catalog::FoodIx;
use trug_measure::Exact;

use crate::convert::Tally;
use crate::demand::Demand;

/// How a demand counts towards what is needed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Counts {
    /// In full.
    InFull,
    /// Not again: another part of the same food needs more wholes, and this one comes from them.
    SameWholes,
    /// Not again: another dish of the service fills the same pot fuller.
    SamePot,
}

/// What one service needs of one food in one tally.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Need {
    /// Which service, in serving order.
    pub service: usize,
    /// The food.
    pub food: FoodIx,
    /// What it is counted in.
    pub tally: Tally,
    /// As purchased.
    pub need: Exact,
    /// The edible part; `None` where that is not known for all of it.
    pub edible: Option<Exact>,
    /// The demands behind it, by their place in the week's demands, and how each counts.
    pub demands: Vec<(usize, Counts)>,
}

/// Sums the demands of each service by food and tally, in that order. Demands without an amount are left out.
#[must_use]
pub fn settle(demands: &[Demand<'_>]) -> Vec<Need> {
    let mut order: Vec<(usize, FoodIx, Tally, usize)> = demands
        .iter()
        .enumerate()
        .filter_map(|(at, demand)| Some((demand.service, demand.food, demand.amount?.tally, at)))
        .collect();
    order.sort_unstable();
    let groups = order.chunk_by(|a, b| (a.0, a.1, a.2) == (b.0, b.1, b.2));
    groups.filter_map(|group| need_of(demands, group)).collect()
}

fn need_of(demands: &[Demand<'_>], group: &[(usize, FoodIx, Tally, usize)]) -> Option<Need> {
    let (service, food, tally, _) = *group.first()?;
    let members: Vec<usize> = group.iter().map(|(.., at)| *at).collect();
    let main_part = greatest_part(demands, &members);
    let counted: Vec<(usize, Counts)> =
        members.iter().map(|at| (*at, counts(demands, &members, *at, main_part))).collect();
    let amounts = || {
        let full = counted.iter().filter(|(_, counts)| *counts == Counts::InFull);
        full.filter_map(|(at, _)| demands.get(*at)?.amount)
    };
    let need = amounts().map(|amount| amount.need).sum();
    let edible = amounts().map(|amount| amount.edible).try_fold(Exact::ZERO, |sum, edible| Some(sum + edible?));
    Some(Need { service, food, tally, need, edible, demands: counted })
}

fn place<'d>(demands: &'d [Demand<'_>], at: usize) -> Option<(&'d str, &'d str, usize)> {
    demands.get(at).map(|demand| (demand.dish.as_str(), demand.line.raw.as_str(), at))
}

fn need_at(demands: &[Demand<'_>], at: usize) -> Exact {
    demands.get(at).and_then(|demand| demand.amount).map_or(Exact::ZERO, |amount| amount.need)
}

/// The part that needs the most wholes; the first of equals.
fn greatest_part(demands: &[Demand<'_>], members: &[usize]) -> Option<u8> {
    let part = |at: usize| demands.get(at).and_then(|demand| demand.part);
    let mut parts: Vec<u8> = members.iter().filter_map(|at| part(*at)).collect();
    parts.sort_unstable();
    parts.dedup();
    let total = |wanted: u8| -> Exact {
        members.iter().filter(|at| part(**at) == Some(wanted)).map(|at| need_at(demands, *at)).sum()
    };
    // `max_by` keeps the last of equals, so it is asked from the back.
    parts.into_iter().rev().max_by(|a, b| total(*a).cmp(&total(*b)))
}

fn counts(demands: &[Demand<'_>], members: &[usize], at: usize, main_part: Option<u8>) -> Counts {
    let Some(demand) = demands.get(at) else { return Counts::InFull };
    if demand.part.is_some() && demand.part != main_part {
        return Counts::SameWholes;
    }
    let Some(pot) = &demand.line.fills else { return Counts::InFull };
    let same_pot = |other: &&usize| demands.get(**other).is_some_and(|other| other.line.fills.as_ref() == Some(pot));
    let fullest = members.iter().filter(same_pot).max_by(|a, b| {
        // Of equals the first by dish and line, so that the order of a file decides nothing.
        need_at(demands, **a).cmp(&need_at(demands, **b)).then_with(|| place(demands, **b).cmp(&place(demands, **a)))
    });
    if fullest == Some(&at) { Counts::InFull } else { Counts::SamePot }
}
