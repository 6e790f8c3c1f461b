//! The price book on a day, and what to take of a food at which store.

use std::collections::HashMap;

use chrono::NaiveDate;
use trug_catalog::{Food, FoodIx, Keep};
use trug_measure::{Amount, Exact, MassUnit, Money, Unit, VolumeUnit};

use crate::convert::{Tally, holds};
use crate::kitchen::{Item, Kitchen, Price, Sold, StoreId};
use crate::packs::{Choice, LooseOffer, PackOffer, Surplus, cheapest, least_surplus};

/// The prices that count on a day: of each food, store and size the latest on or before it.
#[derive(Debug)]
pub struct PriceBook<'k> {
    by_food: HashMap<FoodIx, Vec<&'k Price>>,
}

/// A number of one pack.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PackTaken {
    /// The pack's size.
    pub size: Amount,
    /// The size as the price book or the catalogue writes it.
    pub size_text: String,
    /// How many.
    pub count: u64,
    /// What one costs; `None` where no price is known.
    pub price: Option<Money>,
}

/// Some of a loose food.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LooseTaken {
    /// How much, in the unit of its price.
    pub amount: Amount,
    /// How much, in the food's tally.
    pub holds: Exact,
    /// What the price is asked for, as the price book writes it.
    pub size_text: String,
    /// The price of that.
    pub price: Money,
}

/// What to take of a food.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Buy {
    /// Where; `None` where no store has a price and none is the usual one.
    pub store: Option<StoreId>,
    /// Which packs.
    pub packs: Vec<PackTaken>,
    /// How much loose.
    pub loose: Option<LooseTaken>,
    /// What it costs; `None` where no price is known.
    pub cost: Option<Money>,
    /// What is left over, in the tally; `None` where nothing says what is taken.
    pub surplus: Option<Exact>,
    /// There are prices, but none in a unit that compares with what is needed.
    pub unusable: bool,
}

/// What is to be bought.
#[derive(Debug, Clone, Copy)]
pub struct Wanted<'k> {
    /// Its place in the catalogue.
    pub ix: FoodIx,
    /// The food.
    pub food: &'k Food,
    /// What it is counted in.
    pub tally: Tally,
    /// How much, as purchased; positive.
    pub to_buy: Exact,
}

impl<'k> PriceBook<'k> {
    /// The prices of a kitchen that count on a day.
    #[must_use]
    pub fn on(kitchen: &'k Kitchen, day: NaiveDate) -> Self {
        let mut by_food: HashMap<FoodIx, Vec<&'k Price>> = HashMap::new();
        for price in kitchen.prices.iter().filter(|price| price.on <= day) {
            // The price of a part (a bottle of lemon juice under the lemon's name) is no price of the whole.
            if let Item::Food(found) = &price.food.item
                && found.part.is_none()
            {
                by_food.entry(found.food).or_default().push(price);
            }
        }
        for prices in by_food.values_mut() {
            prices.sort_by_cached_key(|price| (of_what(price), std::cmp::Reverse(price.on), price.price));
            prices.dedup_by_key(|price| of_what(price));
        }
        Self { by_food }
    }

    /// What to take, and where: at `only`, else at the usual store, else where it is cheapest.
    #[must_use]
    pub fn buy(&self, wanted: &Wanted<'_>, only: Option<&StoreId>, usual: Option<&StoreId>) -> Buy {
        let prices = self.by_food.get(&wanted.ix).map_or(&[][..], Vec::as_slice);
        let by_store = || prices.chunk_by(|a, b| a.store == b.store);
        let named = |store: &StoreId| by_store().find(|prices| prices.first().is_some_and(|p| p.store == *store));
        let at = |store: &StoreId| named(store).and_then(|prices| buy_at(wanted, prices));
        let found = match only {
            Some(store) => at(store),
            None => usual.and_then(at).or_else(|| {
                // `min_by` keeps the first of equals, and the stores come by id.
                by_store().filter_map(|prices| buy_at(wanted, prices)).min_by(|(_, a), (_, b)| a.cmp(b))
            }),
        };
        let any = only.map_or(!prices.is_empty(), |store| named(store).is_some());
        found.map_or_else(|| unpriced(wanted, only.or(usual), any), |(buy, _)| buy)
    }
}

/// What a price is a price of: one size, as the shop writes it. A pack of 16 oz may be another than one of 1 lb.
fn of_what(price: &Price) -> (&StoreId, Sold, Unit, Exact) {
    (&price.store, price.sold, price.size.unit, price.size.value)
}

/// What to take at one store, and its exact cost in minor units.
fn buy_at(wanted: &Wanted<'_>, prices: &[&Price]) -> Option<(Buy, Exact)> {
    let mut packs: Vec<(&Price, PackOffer)> = Vec::with_capacity(prices.len());
    let mut loose: Vec<(&Price, LooseOffer)> = Vec::new();
    for price in prices {
        let held = holds(wanted.food, wanted.tally, price.size).filter(|held| held.is_positive());
        let Some(held) = held else { continue };
        match price.sold {
            Sold::Pack => packs.push((price, PackOffer { holds: held, price: price.price.exact() })),
            Sold::Loose => {
                let steps = price.size.value / step(price.size.unit);
                loose.push((price, LooseOffer { holds: held / steps, price: price.price.exact() / steps }));
            }
        }
    }
    let offers: Vec<PackOffer> = packs.iter().map(|(_, offer)| *offer).collect();
    let by_weight: Vec<LooseOffer> = loose.iter().map(|(_, offer)| *offer).collect();
    let surplus = if wanted.food.keep == Keep::Chilled { Surplus::AtMostNeed } else { Surplus::Any };
    let choice = cheapest(wanted.to_buy, &offers, &by_weight, surplus)?;
    let first = prices.first()?;
    let taken = packs.iter().zip(&choice.counts).filter(|(_, count)| **count > 0);
    let buy = Buy {
        store: Some(first.store.clone()),
        packs: taken.map(|((price, _), count)| pack_taken(price, *count)).collect(),
        loose: choice
            .loose
            .and_then(|(at, steps)| loose.get(at).and_then(|(price, offer)| loose_taken(price, offer, steps))),
        cost: Some(Money::from_exact(choice.cost, first.price.currency)),
        surplus: Some(over(&choice, wanted)),
        unusable: false,
    };
    Some((buy, choice.cost))
}

fn over(choice: &Choice, wanted: &Wanted<'_>) -> Exact {
    (choice.holds - wanted.to_buy).max(Exact::ZERO)
}

fn pack_taken(price: &Price, count: u64) -> PackTaken {
    PackTaken { size: price.size, size_text: price.size_text.clone(), count, price: Some(price.price) }
}

fn loose_taken(price: &Price, offer: &LooseOffer, steps: u64) -> Option<LooseTaken> {
    let count = Exact::whole(i64::try_from(steps).ok()?);
    let unit = price.size.unit;
    Some(LooseTaken {
        amount: Amount::new(count * step(unit), unit),
        holds: count * offer.holds,
        size_text: price.size_text.clone(),
        price: price.price,
    })
}

/// The step in which loose food is weighed, in the unit of its price: 0.01 lb where it is priced by lb or oz, 5 g where
/// by kg or g, whole where each. Volumes follow suit: 5 ml where metric, a hundredth of the unit where US customary.
fn step(unit: Unit) -> Exact {
    let five_of = |units_in_a_base: i64| Exact::new(5, i128::from(units_in_a_base));
    match unit {
        Unit::Mass(MassUnit::Pound) => Exact::new(1, 100),
        Unit::Mass(MassUnit::Ounce) => Exact::new(16, 100),
        Unit::Mass(MassUnit::Kilogram) | Unit::Volume(VolumeUnit::Liter) => five_of(1000),
        Unit::Mass(MassUnit::Gram) | Unit::Volume(VolumeUnit::Milliliter) => five_of(1),
        Unit::Mass(MassUnit::Milligram) => Exact::whole(5000),
        Unit::Volume(_) => Exact::new(1, 100),
        Unit::Each | Unit::Count(_) => Exact::ONE,
    }
}

/// A food that no store has a price for: the known packs of least surplus.
fn unpriced(wanted: &Wanted<'_>, store: Option<&StoreId>, unusable: bool) -> Buy {
    let known: Vec<(Amount, Exact)> = wanted
        .food
        .packs
        .iter()
        .filter_map(|size| Some((*size, holds(wanted.food, wanted.tally, *size)?)))
        .filter(|(_, holds)| holds.is_positive())
        .collect();
    let sizes: Vec<Exact> = known.iter().map(|(_, holds)| *holds).collect();
    let choice = least_surplus(wanted.to_buy, &sizes);
    let packs = choice.iter().flat_map(|choice| known.iter().zip(&choice.counts)).filter(|(_, count)| **count > 0);
    Buy {
        store: store.cloned(),
        packs: packs
            .map(|((size, _), count)| PackTaken {
                size: *size,
                size_text: size.to_string(),
                count: *count,
                price: None,
            })
            .collect(),
        loose: None,
        cost: None,
        surplus: choice.as_ref().map(|choice| over(choice, wanted)),
        unusable,
    }
}
