//! The list as JSON: twins of the list's types, whose keys and their order are a contract with other programs.
//!
//! Amounts are in grams, millilitres or the unit that counts, to one decimal; money is text, so that no reader rounds
//! it; what is not known is `null`, never 0.

use std::collections::BTreeMap;

use serde::Serialize;
use trug_catalog::FoodIx;
use trug_measure::{Amount, Exact, Money, Unit};
use trug_provision::guard::Conflict;
use trug_provision::kitchen::Kitchen;
use trug_provision::list::{DishNeed, HouseholdTotal, List, ListLine};
use trug_provision::plan::display_name;
use trug_provision::price::{LooseTaken, PackTaken};
use trug_provision::text;

use crate::words;

/// The version of the shape; it changes only when a reader of the old shape would be misled.
pub const SCHEMA: u32 = 1;

/// A week's list.
#[derive(Debug, Serialize)]
pub struct ListJson<'l> {
    schema: u32,
    week: &'l str,
    currency: &'l str,
    lines: Vec<LineJson<'l>>,
    covered: Vec<LineJson<'l>>,
    households: BTreeMap<&'l str, HouseholdJson<'l>>,
    total: String,
    unpriced: Vec<&'l str>,
    conflicts: Vec<ConflictJson<'l>>,
    warnings: Vec<String>,
}

#[derive(Debug, Serialize)]
struct LineJson<'l> {
    food: &'l str,
    name: String,
    text: String,
    section: &'l str,
    store: Option<&'l str>,
    keep: &'static str,
    edible: Option<AmountJson>,
    need: Option<AmountJson>,
    in_pantry: Option<AmountJson>,
    to_buy: Option<AmountJson>,
    packs: Vec<PackJson<'l>>,
    loose: Option<AmountJson>,
    cost: Option<String>,
    surplus: Option<AmountJson>,
    check: bool,
    optional: bool,
    #[serde(rename = "for")]
    for_whom: Vec<ForJson<'l>>,
    shares: BTreeMap<&'l str, String>,
    contains: &'l [String],
    alerts: Vec<String>,
    warnings: Vec<String>,
}

/// An amount in a unit's symbol, to one decimal.
#[derive(Debug, Serialize)]
struct AmountJson {
    amount: f64,
    unit: &'static str,
}

#[derive(Debug, Serialize)]
struct PackJson<'l> {
    size: &'l str,
    count: u64,
    price: Option<String>,
}

#[derive(Debug, Serialize)]
struct ForJson<'l> {
    household: &'l str,
    dish: &'l str,
    need: Option<AmountJson>,
}

#[derive(Debug, Serialize)]
struct HouseholdJson<'l> {
    estimate: String,
    budget: Option<String>,
    over: bool,
    unpriced: Vec<&'l str>,
}

#[derive(Debug, Serialize)]
struct ConflictJson<'l> {
    household: &'l str,
    dish: &'l str,
    food: &'l str,
    what: &'l str,
    kind: &'static str,
    diner: &'l str,
    /// Only where it is so: the food is judged by nothing but its name.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    by_name: bool,
}

impl<'l> ListJson<'l> {
    /// The twin of a list of that kitchen.
    #[must_use]
    pub fn of(kitchen: &'l Kitchen, list: &'l List) -> Self {
        let ids = |foods: &[FoodIx]| foods.iter().map(|food| food_id(kitchen, *food)).collect();
        let household = |total: &'l HouseholdTotal| (total.household.as_str(), household(total, ids(&total.unpriced)));
        Self {
            schema: SCHEMA,
            week: list.week.as_str(),
            currency: kitchen.currency.code(),
            lines: list.lines.iter().map(|line| line_json(kitchen, line)).collect(),
            covered: list.covered.iter().map(|line| line_json(kitchen, line)).collect(),
            households: list.households.iter().map(household).collect(),
            total: list.total.to_string(),
            unpriced: ids(&list.unpriced),
            conflicts: list.guarded.conflicts.iter().map(|conflict| conflict_json(kitchen, conflict)).collect(),
            warnings: words::of_list(kitchen, list),
        }
    }

    /// The JSON text, indented, with a line end; the same list gives the same bytes.
    ///
    /// # Errors
    /// Where the writer fails.
    pub fn write(&self, out: &mut dyn std::io::Write) -> std::io::Result<()> {
        serde_json::to_writer_pretty(&mut *out, self)?;
        out.write_all(b"\n")
    }
}

fn food_id(kitchen: &Kitchen, food: FoodIx) -> &str {
    kitchen.catalog.get(food).id.as_str()
}

fn line_json<'l>(kitchen: &'l Kitchen, line: &'l ListLine) -> LineJson<'l> {
    let unit = line.tally.unit();
    let amount = |value: Option<Exact>| value.map(|value| amount(Amount::new(value, unit)));
    LineJson {
        food: food_id(kitchen, line.food),
        name: display_name(&kitchen.catalog, line.food),
        text: text::line_text(kitchen, line),
        section: &line.section,
        store: line.buy.store.as_ref().map(|store| store.as_str()),
        keep: line.keep.name(),
        edible: amount(line.edible),
        need: amount(line.need),
        in_pantry: amount(line.in_pantry),
        to_buy: amount(line.to_buy),
        packs: line.buy.packs.iter().map(pack).collect(),
        loose: line.buy.loose.as_ref().map(loose),
        cost: line.buy.cost.map(|cost| cost.to_string()),
        surplus: amount(line.buy.surplus),
        check: line.check,
        optional: line.optional,
        for_whom: line.demands.iter().map(|need| for_json(need, unit)).collect(),
        shares: line.shares.iter().map(|(household, share)| (household.as_str(), share.to_string())).collect(),
        contains: &line.contains,
        alerts: words::alerts(kitchen, line),
        warnings: words::warnings(kitchen, line),
    }
}

fn amount(amount: Amount) -> AmountJson {
    AmountJson { amount: amount.value.to_decimals(1), unit: amount.unit.symbol() }
}

/// Loose food stands in the unit of its price (`lb`); mass goes out in grams, volume in millilitres.
fn loose(taken: &LooseTaken) -> AmountJson {
    let base = match taken.amount.unit {
        Unit::Mass(_) => taken.amount.to_unit(Unit::GRAM),
        Unit::Volume(_) => taken.amount.to_unit(Unit::ML),
        Unit::Each | Unit::Count(_) => None,
    };
    amount(base.unwrap_or(taken.amount))
}

fn pack(pack: &PackTaken) -> PackJson<'_> {
    PackJson { size: &pack.size_text, count: pack.count, price: pack.price.map(|price| price.to_string()) }
}

fn for_json(need: &DishNeed, unit: Unit) -> ForJson<'_> {
    ForJson {
        household: need.household.as_str(),
        dish: need.dish.as_str(),
        need: need.need.map(|value| amount(Amount::new(value, unit))),
    }
}

fn household<'l>(total: &HouseholdTotal, unpriced: Vec<&'l str>) -> HouseholdJson<'l> {
    HouseholdJson {
        estimate: total.estimate.to_string(),
        budget: total.budget.map(|budget: Money| budget.to_string()),
        over: total.is_over(),
        unpriced,
    }
}

fn conflict_json<'l>(kitchen: &'l Kitchen, conflict: &'l Conflict) -> ConflictJson<'l> {
    ConflictJson {
        household: conflict.household.as_str(),
        dish: conflict.dish.as_str(),
        food: food_id(kitchen, conflict.food),
        what: &conflict.what,
        kind: conflict.kind.name(),
        diner: &conflict.diner,
        by_name: conflict.by_name,
    }
}
