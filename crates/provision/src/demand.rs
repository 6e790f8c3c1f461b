//! From services to demands: every ingredient line of every dish that is cooked, scaled, swapped and converted.

use trug_catalog::line::{Doubt, Line};
use trug_catalog::{Food, FoodIx, Found, Part};
use trug_measure::{Amount, Exact, Unit};

use crate::convert::{Converted, Missing, convert};
use crate::kitchen::{
    Dish, DishId, Household, HouseholdId, Ingredient, Item, Kitchen, Service, ServiceDish, ServingSize, Swap, Week,
};

/// One ingredient line of one dish of one service, in the unit in which its food is counted.
#[derive(Debug, Clone)]
pub struct Demand<'k> {
    /// Which of the week's services, in serving order.
    pub service: usize,
    /// For whom.
    pub household: &'k HouseholdId,
    /// Which of the service's dishes, by its place.
    pub served: usize,
    /// The dish that is served.
    pub dish: &'k DishId,
    /// The dish that the line stands in, where that is an ingredient of the dish served.
    pub via: Option<&'k DishId>,
    /// The line.
    pub line: &'k Line,
    /// The food, after swaps.
    pub food: FoodIx,
    /// The part of it.
    pub part: Option<u8>,
    /// The swap that put the food there.
    pub swapped: Option<&'k Swap>,
    /// Portions over servings, times the share of a dish within a dish and the swaps' ratios.
    pub factor: Exact,
    /// How much; `None` where the line has no amount and the shopper makes sure that there is some.
    pub amount: Option<Converted>,
}

/// Something about a dish that a person should know, and that no line of the list can say.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub enum DishDoubt {
    /// It says how much it makes, not how many it serves: it is counted once.
    NoServings {
        /// The dish.
        dish: DishId,
    },
    /// It is used in another by an amount that does not compare with what it makes; its foods are to be checked.
    NoShare {
        /// The dish used.
        dish: DishId,
        /// The line that uses it.
        line: String,
    },
    /// An ingredient line in which no food could be read.
    Unread {
        /// The dish.
        dish: DishId,
        /// The line.
        line: String,
    },
}

impl DishDoubt {
    /// The dish that it is about.
    #[must_use]
    pub const fn dish(&self) -> &DishId {
        match self {
            Self::NoServings { dish } | Self::NoShare { dish, .. } | Self::Unread { dish, .. } => dish,
        }
    }

    /// Whether it is about a dish, or one within it.
    #[must_use]
    pub fn is_of(&self, kitchen: &Kitchen, served: &DishId) -> bool {
        uses(kitchen, served, self.dish(), 0)
    }
}

fn uses(kitchen: &Kitchen, served: &DishId, asked: &DishId, depth: u8) -> bool {
    let within = || {
        let parts = kitchen.dishes.get(served).into_iter().flat_map(|dish| &dish.parts);
        let mut items = parts.flat_map(|part| &part.lines).filter_map(|line| line.item.as_ref());
        items.any(|item| matches!(item, Item::Dish(inner) if uses(kitchen, inner, asked, depth + 1)))
    };
    served == asked || (depth < DEEPEST && within())
}

/// The services of a week in the order in which pantries serve them: by cook date, then by household.
#[must_use]
pub fn serving_order(week: &Week) -> Vec<&Service> {
    let mut services: Vec<&Service> = week.services.iter().collect();
    let dishes = |service: &Service| service.dishes.iter().map(|dish| dish.dish.clone()).collect::<Vec<_>>();
    services.sort_by(|a, b| {
        let dates = (a.cook, &a.household, a.shop).cmp(&(b.cook, &b.household, b.shop));
        dates.then_with(|| dishes(a).cmp(&dishes(b)))
    });
    services
}

/// How many portions of a dish are cooked: as stated, else the portions of those who eat it times the meals.
#[must_use]
pub fn portions(household: &Household, dish: &ServiceDish) -> Exact {
    match dish.size {
        ServingSize::Portions(portions) => portions,
        ServingSize::Meals(meals) => {
            let eaters = household.diners.iter().filter(|diner| eats(dish, &diner.name));
            eaters.map(|diner| diner.portion).sum::<Exact>() * meals
        }
    }
}

/// Whether a diner eats a dish of a service.
#[must_use]
pub fn eats(dish: &ServiceDish, diner: &str) -> bool {
    dish.diners.as_ref().is_none_or(|names| names.iter().any(|name| name == diner))
}

/// The share of a recipe that so many portions are; `None` where the recipe does not say how many it serves.
#[must_use]
pub fn scale(dish: &Dish, portions: Exact) -> Option<Exact> {
    let pieces = || dish.makes.as_ref().filter(|makes| makes.unit.is_count()).map(|makes| makes.value);
    let serves = dish.serves.or_else(pieces).filter(|serves| serves.is_positive())?;
    Some(portions / serves)
}

/// Every demand of a week, in serving order, and what a person should know of its dishes.
#[must_use]
pub fn gather<'k>(kitchen: &'k Kitchen, services: &[&'k Service]) -> (Vec<Demand<'k>>, Vec<DishDoubt>) {
    let mut gathering = Gathering { kitchen, demands: Vec::new(), doubts: Vec::new() };
    for (at, service) in services.iter().enumerate() {
        gathering.service(at, service);
    }
    gathering.doubts.sort_unstable();
    gathering.doubts.dedup();
    (gathering.demands, gathering.doubts)
}

struct Gathering<'k> {
    kitchen: &'k Kitchen,
    demands: Vec<Demand<'k>>,
    doubts: Vec<DishDoubt>,
}

/// Where in the dishes of a service the gathering stands.
#[derive(Clone, Copy)]
struct Place<'k> {
    service: usize,
    household: &'k HouseholdId,
    served: usize,
    dish: &'k DishId,
    via: Option<&'k DishId>,
    swaps: [&'k [Swap]; 2],
    /// `None` where only a check is asked for.
    factor: Option<Exact>,
    depth: u8,
}

/// Dishes within dishes are read at most so deep; a circle is refused when the kitchen is read.
const DEEPEST: u8 = 16;

impl<'k> Gathering<'k> {
    fn service(&mut self, at: usize, service: &'k Service) {
        let Some(household) = self.kitchen.households.get(&service.household) else { return };
        for (place, served) in service.dishes.iter().enumerate() {
            let Some(dish) = self.kitchen.dishes.get(&served.dish) else { continue };
            let factor = scale(dish, portions(household, served)).unwrap_or_else(|| {
                self.doubts.push(DishDoubt::NoServings { dish: served.dish.clone() });
                Exact::ONE
            });
            let swaps = [served.swaps.as_slice(), household.swaps.as_slice()];
            let place = Place {
                service: at,
                household: &service.household,
                served: place,
                dish: &served.dish,
                via: None,
                swaps,
                factor: Some(factor),
                depth: 0,
            };
            if factor.is_positive() {
                self.dish(dish, place);
            }
        }
    }

    fn dish(&mut self, dish: &'k Dish, place: Place<'k>) {
        if place.depth > DEEPEST {
            return;
        }
        for ingredient in dish.parts.iter().flat_map(|part| &part.lines) {
            self.ingredient(ingredient, place);
        }
    }

    fn ingredient(&mut self, ingredient: &'k Ingredient, place: Place<'k>) {
        let Some(item) = &ingredient.item else {
            if ingredient.line.doubts.contains(&Doubt::Heading) {
                return;
            }
            let dish = place.via.unwrap_or(place.dish).clone();
            self.doubts.push(DishDoubt::Unread { dish, line: ingredient.line.raw.clone() });
            return;
        };
        let (item, swapped, ratio) = self.swap(item.clone(), place.swaps);
        match item {
            Item::Dish(id) => self.within(&ingredient.line, &id, place, ratio),
            Item::Food(found) => self.food(&ingredient.line, found, swapped, place, ratio),
        }
    }

    /// What a line stands for once the dish's swaps, then the household's, are made.
    fn swap(&self, item: Item, swaps: [&'k [Swap]; 2]) -> (Item, Option<&'k Swap>, Exact) {
        let mut state = (item, None, Exact::ONE);
        for list in swaps {
            if let Some(found) = self.matching(list, &state.0) {
                state = (self.swapped(&state.0, found), Some(found), state.2 * found.ratio);
            }
        }
        state
    }

    fn matching(&self, swaps: &'k [Swap], item: &Item) -> Option<&'k Swap> {
        let whole = match item {
            Item::Food(found) => Some(Item::Food(Found { food: found.food, part: None })),
            Item::Dish(_) => None,
        };
        swaps
            .iter()
            .find(|swap| swap.from.item == *item)
            .or_else(|| swaps.iter().find(|swap| Some(&swap.from.item) == whole.as_ref()))
    }

    /// A swap of the whole takes its parts along: lime for lemon is lime juice for lemon juice.
    fn swapped(&self, item: &Item, swap: &Swap) -> Item {
        let (Item::Food(from), Item::Food(to)) = (item, &swap.to.item) else { return swap.to.item.clone() };
        let takes_part = swap.from.item != *item && to.part.is_none();
        let name = from.part.filter(|_| takes_part).and_then(|at| part_of(self.kitchen.catalog.get(from.food), at));
        let parts = &self.kitchen.catalog.get(to.food).parts;
        let same = name.and_then(|part| parts.iter().position(|other| other.name == part.name));
        Item::Food(Found { food: to.food, part: same.and_then(|at| u8::try_from(at).ok()).or(to.part) })
    }

    /// A dish within a dish: its own lines, scaled by the share used.
    fn within(&mut self, line: &'k Line, id: &DishId, place: Place<'k>, ratio: Exact) {
        let Some((id, dish)) = self.kitchen.dishes.get_key_value(id) else { return };
        let used = line.amount.zip(line.unit).map(|(range, unit)| Amount::new(range.high * ratio, unit));
        let share = used.and_then(|used| share_of(dish, used));
        if let (Some(_), None) = (used, share) {
            self.doubts.push(DishDoubt::NoShare { dish: id.clone(), line: line.raw.clone() });
        }
        let factor = place.factor.zip(share).map(|(factor, share)| factor * share);
        self.dish(dish, Place { via: Some(id), factor, depth: place.depth + 1, ..place });
    }

    fn food(&mut self, line: &'k Line, found: Found, swapped: Option<&'k Swap>, place: Place<'k>, ratio: Exact) {
        let food = self.kitchen.catalog.get(found.food);
        if food.never_bought {
            return;
        }
        let part = found.part.and_then(|at| part_of(food, at));
        // What fills a pot is needed once, however many eat from it.
        let scale = if line.fills.is_some() { Some(Exact::ONE) } else { place.factor };
        let factor = scale.map(|scale| scale * ratio);
        let amount =
            line.amount.zip(factor).map(|(range, factor)| convert(food, part, line, range.high * factor, &mut |_| ()));
        self.demands.push(Demand {
            service: place.service,
            household: place.household,
            served: place.served,
            dish: place.dish,
            via: place.via,
            line,
            food: found.food,
            part: found.part.filter(|_| part.is_some()),
            swapped,
            factor: factor.unwrap_or_default(),
            amount,
        });
    }
}

/// A food's part by its position.
#[must_use]
pub fn part_of(food: &Food, at: u8) -> Option<&Part> {
    food.parts.get(usize::from(at))
}

/// The share of what a dish makes that an amount of it is.
fn share_of(dish: &Dish, used: Amount) -> Option<Exact> {
    if let Unit::Count(word) = used.unit {
        match word.singular() {
            "portion" | "serving" => return Some(used.value / dish.serves.filter(|serves| serves.is_positive())?),
            // The whole recipe, so many times.
            "batch" => return Some(used.value),
            _ => {}
        }
    }
    let makes = dish.makes.as_ref()?;
    let value = used.to_unit(makes.unit)?.value;
    makes.value.is_positive().then(|| value / makes.value)
}

impl Demand<'_> {
    /// The figure whose absence a person should know of.
    #[must_use]
    pub fn missing(&self) -> Option<Missing> {
        self.amount.and_then(|amount| amount.missing)
    }
}
