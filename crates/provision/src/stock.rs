//! What the pantries hold, and who takes what from them: nothing is used twice.

use std::collections::HashMap;

use chrono::NaiveDate;
use trug_catalog::FoodIx;
use trug_measure::Exact;

use crate::convert::{Tally, lot_holds};
use crate::kitchen::{Item, Kitchen, Lot, PantryId};

/// The lots of a kitchen, while they are shared out.
#[derive(Debug)]
pub struct Stock<'k> {
    lots: HashMap<(FoodIx, &'k PantryId), Vec<Shelf<'k>>>,
}

#[derive(Debug)]
struct Shelf<'k> {
    lot: &'k Lot,
    tally: Tally,
    /// What is left; `None` is "there is enough".
    left: Option<Exact>,
    /// What an open-ended lot has given so far.
    given: Exact,
}

/// What one service took from one lot.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Taking<'k> {
    /// Which service, in serving order.
    pub service: usize,
    /// The food.
    pub food: FoodIx,
    /// What it is counted in.
    pub tally: Tally,
    /// From which pantry.
    pub pantry: &'k PantryId,
    /// From which lot.
    pub lot: &'k Lot,
    /// How much.
    pub amount: Exact,
}

/// What is asked of the pantries.
#[derive(Debug, Clone, Copy)]
pub struct Ask<'k> {
    /// Which service, in serving order.
    pub service: usize,
    /// The day of cooking: a lot whose `use_by` is before it does not count.
    pub cook: NaiveDate,
    /// The household's own pantry.
    pub own: Option<&'k PantryId>,
    /// The chef's kit.
    pub kit: Option<&'k PantryId>,
    /// The food.
    pub food: FoodIx,
    /// What it is counted in.
    pub tally: Tally,
    /// How much, as purchased.
    pub need: Exact,
    /// Above how much an open-ended lot of the food is not trusted.
    pub enough: Option<Exact>,
}

/// What the pantries gave.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Given<'k> {
    /// From which lots.
    pub takings: Vec<Taking<'k>>,
    /// An open-ended lot was there, but is not trusted for so much: somebody has to look.
    pub doubtful: bool,
}

impl<'k> Stock<'k> {
    /// Opens a kitchen's pantries. Lots of a food's part (a carton of lemon juice) are no wholes and stay out.
    #[must_use]
    pub fn open(kitchen: &'k Kitchen) -> Self {
        let mut lots: HashMap<_, Vec<Shelf<'k>>> = HashMap::new();
        for (pantry, lot) in kitchen.pantries.iter().flat_map(|(id, lots)| lots.iter().map(move |lot| (id, lot))) {
            let Item::Food(found) = &lot.food.item else { continue };
            if found.part.is_some() {
                continue;
            }
            let food = kitchen.catalog.get(found.food);
            let (tally, left) = match lot.amount {
                Some(amount) => {
                    let (tally, value) = lot_holds(food, amount);
                    (tally, Some(value))
                }
                None => (Tally::of(food), None),
            };
            lots.entry((found.food, pantry)).or_default().push(Shelf { lot, tally, left, given: Exact::ZERO });
        }
        for shelf in lots.values_mut() {
            shelf.sort_by(in_order);
        }
        Self { lots }
    }

    /// Takes what is asked, from the household's own pantry first and then from the kit.
    pub fn take(&mut self, ask: &Ask<'k>) -> Given<'k> {
        let mut given = Given::default();
        let mut wanted = ask.need;
        for pantry in places(ask) {
            for shelf in self.lots.get_mut(&(ask.food, pantry)).into_iter().flatten() {
                if !wanted.is_positive() {
                    return given;
                }
                let amount = shelf.give(ask, wanted, &mut given.doubtful);
                if amount.is_positive() {
                    let Ask { service, food, tally, .. } = *ask;
                    given.takings.push(Taking { service, food, tally, pantry, lot: shelf.lot, amount });
                    wanted = wanted - amount;
                }
            }
        }
        if !wanted.is_positive() {
            given.doubtful = false;
        }
        given
    }

    /// Whether an open-ended lot says that there is enough for what carries no amount.
    #[must_use]
    pub fn has_enough(&self, ask: &Ask<'k>) -> Option<&'k PantryId> {
        places(ask).find(|pantry| {
            let shelves = self.lots.get(&(ask.food, *pantry)).into_iter().flatten();
            shelves.into_iter().any(|shelf| shelf.left.is_none() && shelf.keeps_until(ask.cook))
        })
    }
}

fn places<'k>(ask: &Ask<'k>) -> impl Iterator<Item = &'k PantryId> + use<'k> {
    let kit = ask.kit.filter(|kit| Some(*kit) != ask.own);
    ask.own.into_iter().chain(kit)
}

/// The earliest `use_by` first and undated lots last; then what is measured before what is open-ended.
fn in_order(a: &Shelf<'_>, b: &Shelf<'_>) -> std::cmp::Ordering {
    let key = |shelf: &Shelf<'_>| {
        let by = shelf.lot.use_by;
        (by.is_none(), by, shelf.left.is_none(), shelf.tally, shelf.left, shelf.lot.keep)
    };
    key(a).cmp(&key(b))
}

impl Shelf<'_> {
    fn keeps_until(&self, cook: NaiveDate) -> bool {
        self.lot.use_by.is_none_or(|by| by >= cook)
    }

    fn give(&mut self, ask: &Ask<'_>, wanted: Exact, doubtful: &mut bool) -> Exact {
        if !self.keeps_until(ask.cook) {
            return Exact::ZERO;
        }
        match self.left {
            Some(left) if self.tally == ask.tally => {
                let amount = left.min(wanted);
                self.left = Some(left - amount);
                amount
            }
            Some(_) => Exact::ZERO,
            None if self.trusted(ask, wanted) => {
                self.given = self.given + wanted;
                wanted
            }
            None => {
                *doubtful = true;
                Exact::ZERO
            }
        }
    }

    /// "There is enough" is believed for so much in all, not for more; and not for an amount that cannot be compared.
    fn trusted(&self, ask: &Ask<'_>, wanted: Exact) -> bool {
        match ask.enough {
            None => true,
            Some(enough) => self.tally == ask.tally && self.given + wanted <= enough,
        }
    }
}
