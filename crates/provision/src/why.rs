//! Why a line says what it says: the recipe lines, factors, lots and packs it came from, step by step.

use trug_catalog::FoodIx;
use trug_measure::{Exact, Unit};

use crate::convert::{Converted, Step, Tally, convert};
use crate::demand::{Demand, part_of, portions};
use crate::kitchen::{DishId, HouseholdId, Kitchen, Swap, WeekId};
use crate::list::ListLine;
use crate::need::Counts;
use crate::plan::{Options, PlanError, Workings};
use crate::stock::Taking;

/// Why one line of the list says what it says.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WhyLine<'k> {
    /// The line itself.
    pub line: ListLine,
    /// The recipe lines behind it, in serving order.
    pub asked: Vec<Asked<'k>>,
    /// What came from pantries.
    pub takings: Vec<(HouseholdId, Taking<'k>)>,
}

/// One recipe line behind a line of the list.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Asked<'k> {
    /// For whom.
    pub household: HouseholdId,
    /// The dish served.
    pub dish: DishId,
    /// The dish within it that has the line.
    pub via: Option<DishId>,
    /// The line as written.
    pub raw: String,
    /// The amount that counts: a range's high end.
    pub amount: Option<Exact>,
    /// The unit of the amount.
    pub unit: Option<Unit>,
    /// Portions cooked.
    pub portions: Exact,
    /// What the amount is multiplied by.
    pub factor: Exact,
    /// The swap that put the food there.
    pub swapped: Option<&'k Swap>,
    /// What pot it fills, and so is not scaled.
    pub fills: Option<String>,
    /// The conversion, step by step.
    pub steps: Vec<Step>,
    /// What came out.
    pub converted: Option<Converted>,
    /// How it counts towards the need.
    pub counts: Counts,
}

/// Why a week's list says what it says of a food: one answer for each of its lines.
///
/// # Errors
/// Where the week, the household or the store asked for is not in the kitchen.
pub fn why<'k>(
    kitchen: &'k Kitchen,
    week: &WeekId,
    food: FoodIx,
    options: &Options,
) -> Result<Vec<WhyLine<'k>>, PlanError> {
    let workings = Workings::of(kitchen, week, options)?;
    let list = Workings::of(kitchen, week, options)?.into_list();
    let lines = list.lines.into_iter().chain(list.covered).filter(|line| line.food == food);
    Ok(lines.map(|line| explain(&workings, line)).collect())
}

fn explain<'k>(workings: &Workings<'k>, line: ListLine) -> WhyLine<'k> {
    let belongs = |household: &HouseholdId| {
        let home = workings.kitchen.households.get(household);
        let separate = home.is_some_and(|home| home.separate);
        let wanted = workings.options.household.as_ref().is_none_or(|only| only == household);
        wanted && line.separate.as_ref().map_or(!separate, |only| only == household)
    };
    let mut asked = Vec::new();
    let mut takings = Vec::new();
    for (need, given) in workings.needs.iter().zip(&workings.given) {
        let Some(service) = workings.service(need.service) else { continue };
        if need.food == line.food && need.tally == line.tally && belongs(&service.household) {
            let demands = need.demands.iter().filter_map(|(at, counts)| Some((workings.demands.get(*at)?, *counts)));
            asked.extend(demands.map(|(demand, counts)| ask(workings, demand, counts)));
            takings.extend(given.takings.iter().map(|taking| (service.household.clone(), taking.clone())));
        }
    }
    let checks = workings.demands.iter().filter(|demand| demand.amount.is_none() && demand.food == line.food);
    asked.extend(checks.filter(|demand| belongs(demand.household)).map(|demand| ask(workings, demand, Counts::InFull)));
    WhyLine { line, asked, takings }
}

fn ask<'k>(workings: &Workings<'k>, demand: &Demand<'k>, counts: Counts) -> Asked<'k> {
    let food = workings.kitchen.catalog.get(demand.food);
    let part = demand.part.and_then(|at| part_of(food, at));
    let amount = demand.line.amount.map(|range| range.high);
    let mut steps = Vec::new();
    if let (Some(amount), true) = (amount, demand.amount.is_some()) {
        let converted = convert(food, part, demand.line, amount * demand.factor, &mut |step| steps.push(step));
        if matches!(converted.tally, Tally::AsWritten { .. }) {
            // The steps led nowhere: the amount stays as it is written.
            steps.clear();
        }
    }
    Asked {
        household: demand.household.clone(),
        dish: demand.dish.clone(),
        via: demand.via.cloned(),
        raw: demand.line.raw.clone(),
        amount,
        unit: demand.line.unit,
        portions: portions_of(workings, demand),
        factor: demand.factor,
        swapped: demand.swapped,
        fills: demand.line.fills.clone(),
        steps,
        converted: demand.amount,
        counts,
    }
}

fn portions_of(workings: &Workings<'_>, demand: &Demand<'_>) -> Exact {
    let household = workings.kitchen.households.get(demand.household);
    let served = workings.service(demand.service).into_iter().flat_map(|service| &service.dishes);
    household.map_or(Exact::ZERO, |household| {
        served.filter(|served| served.dish == *demand.dish).map(|served| portions(household, served)).sum()
    })
}
