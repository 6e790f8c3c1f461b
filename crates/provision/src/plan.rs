//! From a kitchen and a week to the list.

use std::collections::HashMap;

use chrono::NaiveDate;
use trug_catalog::line::Doubt;
use trug_catalog::{Allergens, Catalog, Food, FoodIx, Keep};
use trug_measure::{Exact, Money, Unit};

use crate::convert::{Missing, Tally};
use crate::demand::{Demand, gather, serving_order};
use crate::guard::{ConflictKind, Guarded, contains, guard};
use crate::kitchen::{HouseholdId, Item, Kitchen, PantryId, Service, Store, StoreId, WeekId};
use crate::list::{Alert, DishNeed, ExpiredLot, HouseholdTotal, List, ListLine, Warning};
use crate::need::{Counts, Need, settle};
use crate::price::{Buy, PriceBook, Wanted};
use crate::stock::{Ask, Given, Stock};

/// Which list is wanted.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Options {
    /// What this household would buy alone, after the pantries have been shared out as for the whole week.
    pub household: Option<HouseholdId>,
    /// Buy at this store only.
    pub store: Option<StoreId>,
}

/// Why there is no list.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum PlanError {
    /// No such week.
    #[error("there is no week `{asked}` in this kitchen; it has {known}")]
    UnknownWeek {
        /// What was asked.
        asked: String,
        /// What there is.
        known: String,
    },
    /// No such household.
    #[error("there is no household `{asked}` in this kitchen; it has {known}")]
    UnknownHousehold {
        /// What was asked.
        asked: String,
        /// What there is.
        known: String,
    },
    /// No such store.
    #[error("there is no store `{asked}` in this kitchen; it has {known}")]
    UnknownStore {
        /// What was asked.
        asked: String,
        /// What there is.
        known: String,
    },
}

fn known<T: AsRef<str>>(ids: impl Iterator<Item = T>) -> String {
    let ids: Vec<String> = ids.map(|id| id.as_ref().to_owned()).collect();
    if ids.is_empty() { "none".to_owned() } else { ids.join(", ") }
}

/// A week's list.
///
/// # Errors
/// Where the week, the household or the store asked for is not in the kitchen.
pub fn list(kitchen: &Kitchen, week: &WeekId, options: &Options) -> Result<List, PlanError> {
    let mut list = Workings::of(kitchen, week, options)?.into_list();
    if let Some(household) = &options.household {
        only_for(kitchen, household, &mut list);
    }
    Ok(list)
}

/// Leaves out what is said of other households.
fn only_for(kitchen: &Kitchen, household: &HouseholdId, list: &mut List) {
    list.guarded.conflicts.retain(|conflict| conflict.household == *household);
    list.guarded.not_recorded.retain(|missing| missing.household == *household);
    list.guarded.unknown_words.retain(|(of, ..)| of == household);
    let own = kitchen.households.get(household).and_then(|household| household.pantry.as_ref());
    list.expired.retain(|lot| Some(&lot.pantry) == own || Some(&lot.pantry) == kitchen.kit.as_ref());
    let services = kitchen.weeks.get(&list.week).into_iter().flat_map(|week| &week.services);
    let served: Vec<_> = services.filter(|service| service.household == *household).flat_map(|s| &s.dishes).collect();
    list.doubts.retain(|doubt| served.iter().any(|served| doubt.is_of(kitchen, &served.dish)));
}

/// Everything that a list comes from, step by step; the explanation reads it.
#[derive(Debug)]
pub struct Workings<'k> {
    /// The kitchen.
    pub kitchen: &'k Kitchen,
    /// The week.
    pub week: WeekId,
    /// What was asked.
    pub options: Options,
    /// The services, in the order in which pantries serve them.
    pub services: Vec<&'k Service>,
    /// Every ingredient line of every dish served.
    pub demands: Vec<Demand<'k>>,
    /// What no line can say.
    pub doubts: Vec<crate::demand::DishDoubt>,
    /// What each service needs of each food.
    pub needs: Vec<Need>,
    /// What the pantries gave for each need.
    pub given: Vec<Given<'k>>,
    /// For each demand without an amount, the pantry that says there is enough.
    pub made_sure: HashMap<usize, &'k PantryId>,
    /// What the guard found.
    pub guarded: Guarded,
}

impl<'k> Workings<'k> {
    /// Works a week out.
    ///
    /// # Errors
    /// Where the week, the household or the store asked for is not in the kitchen.
    pub fn of(kitchen: &'k Kitchen, week: &WeekId, options: &Options) -> Result<Self, PlanError> {
        let plan = kitchen.weeks.get(week).ok_or_else(|| PlanError::UnknownWeek {
            asked: week.to_string(),
            known: known(kitchen.weeks.keys().map(WeekId::as_str)),
        })?;
        check_options(kitchen, options)?;
        let services = serving_order(plan);
        let (demands, doubts) = gather(kitchen, &services);
        let needs = settle(&demands);
        let mut stock = Stock::open(kitchen);
        let given = take(kitchen, &services, &needs, &mut stock);
        let made_sure = make_sure(kitchen, &services, &demands, &stock);
        let guarded = guard(kitchen, &services, &demands);
        let (week, options) = (week.clone(), options.clone());
        Ok(Self { kitchen, week, options, services, demands, doubts, needs, given, made_sure, guarded })
    }

    /// The list that comes of it.
    #[must_use]
    pub fn into_list(self) -> List {
        let day = self.services.iter().map(|service| service.shop).min();
        let book = PriceBook::on(self.kitchen, day.unwrap_or(NaiveDate::MAX));
        let groups = Groups::of(&self);
        let lines = groups.0.into_iter().map(|group| group.line(&self, &book)).collect();
        let lines = sort(self.kitchen, lines);
        let (covered, lines): (Vec<_>, Vec<_>) = lines.into_iter().partition(is_covered);
        let households = totals(&self, &lines);
        let zero = Money::zero(self.kitchen.currency);
        let total = lines.iter().filter_map(|line| line.buy.cost).fold(zero, |sum, cost| sum + cost);
        let expired = expired(&self);
        List {
            week: self.week,
            unpriced: once(lines.iter().filter(|line| is_unpriced(line)).map(|line| line.food)),
            lines,
            covered,
            households,
            total,
            guarded: self.guarded,
            doubts: self.doubts,
            expired,
        }
    }

    /// The service of a need or a demand.
    #[must_use]
    pub fn service(&self, at: usize) -> Option<&'k Service> {
        self.services.get(at).copied()
    }

    fn wants(&self, household: &HouseholdId) -> bool {
        self.options.household.as_ref().is_none_or(|only| only == household)
    }

    fn separate(&self, household: &'k HouseholdId) -> Option<&'k HouseholdId> {
        self.kitchen.households.get(household).is_some_and(|h| h.separate).then_some(household)
    }

    /// For each service whether it is wanted, and the household that it is bought for alone.
    fn homes(&self) -> Vec<Option<Option<&'k HouseholdId>>> {
        let home = |service: &&'k Service| self.wants(&service.household).then(|| self.separate(&service.household));
        self.services.iter().map(home).collect()
    }
}

fn check_options(kitchen: &Kitchen, options: &Options) -> Result<(), PlanError> {
    if let Some(asked) = options.household.as_ref().filter(|id| !kitchen.households.contains_key(*id)) {
        let known = known(kitchen.households.keys().map(HouseholdId::as_str));
        return Err(PlanError::UnknownHousehold { asked: asked.to_string(), known });
    }
    if let Some(asked) = options.store.as_ref().filter(|id| !kitchen.stores.contains_key(*id)) {
        let known = known(kitchen.stores.keys().map(StoreId::as_str));
        return Err(PlanError::UnknownStore { asked: asked.to_string(), known });
    }
    Ok(())
}

fn ask<'k>(kitchen: &'k Kitchen, service: &'k Service, at: usize, food: FoodIx, tally: Tally, need: Exact) -> Ask<'k> {
    Ask {
        service: at,
        cook: service.cook,
        own: kitchen.households.get(&service.household).and_then(|household| household.pantry.as_ref()),
        kit: kitchen.kit.as_ref(),
        food,
        tally,
        need,
        enough: kitchen.catalog.get(food).enough,
    }
}

/// Shares the pantries out in serving order; needs come in that order.
fn take<'k>(kitchen: &'k Kitchen, services: &[&'k Service], needs: &[Need], stock: &mut Stock<'k>) -> Vec<Given<'k>> {
    let each = needs.iter().map(|need| {
        let service = services.get(need.service)?;
        Some(stock.take(&ask(kitchen, service, need.service, need.food, need.tally, need.need)))
    });
    each.map(Option::unwrap_or_default).collect()
}

fn make_sure<'k>(
    kitchen: &'k Kitchen,
    services: &[&'k Service],
    demands: &[Demand<'k>],
    stock: &Stock<'k>,
) -> HashMap<usize, &'k PantryId> {
    let unmeasured = demands.iter().enumerate().filter(|(_, demand)| demand.amount.is_none());
    unmeasured
        .filter_map(|(at, demand)| {
            let service = services.get(demand.service)?;
            let tally = Tally::of(kitchen.catalog.get(demand.food));
            let ask = ask(kitchen, service, demand.service, demand.food, tally, Exact::ZERO);
            Some((at, stock.has_enough(&ask)?))
        })
        .collect()
}

/// What becomes one line: a food in one tally, together or for one household.
#[derive(Debug)]
struct Group {
    food: FoodIx,
    tally: Tally,
    separate: Option<HouseholdId>,
    /// Needs, by their place.
    needs: Vec<usize>,
    /// Demands without an amount, by their place.
    checks: Vec<usize>,
}

/// What a line is a line of: a food, in a tally, for one household alone.
type Key<'k> = (FoodIx, Tally, Option<&'k HouseholdId>);

struct Groups(Vec<Group>);

impl Groups {
    fn of(workings: &Workings<'_>) -> Self {
        let mut groups = Self(Vec::new());
        let mut places: HashMap<Key<'_>, usize> = HashMap::new();
        let homes = workings.homes();
        let home = |service: usize| homes.get(service).copied().flatten();
        for (at, need) in workings.needs.iter().enumerate() {
            if let Some(separate) = home(need.service) {
                groups.at(&mut places, (need.food, need.tally, separate)).needs.push(at);
            }
        }
        let checks = workings.demands.iter().enumerate().filter(|(_, demand)| demand.amount.is_none());
        for (at, demand) in checks {
            if let Some(separate) = home(demand.service) {
                groups.check(&mut places, workings, (at, demand), separate);
            }
        }
        groups
    }

    fn at<'k>(&mut self, places: &mut HashMap<Key<'k>, usize>, key: Key<'k>) -> &mut Group {
        let place = *places.entry(key).or_insert(self.0.len());
        if place == self.0.len() {
            let (food, tally, separate) = (key.0, key.1, key.2.cloned());
            self.0.push(Group { food, tally, separate, needs: Vec::new(), checks: Vec::new() });
        }
        &mut self.0[place]
    }

    /// A line without an amount goes with the food's own line where there is one.
    fn check<'k>(
        &mut self,
        places: &mut HashMap<Key<'k>, usize>,
        workings: &Workings<'_>,
        (at, demand): (usize, &Demand<'_>),
        separate: Option<&'k HouseholdId>,
    ) {
        let own = self.0.iter().filter(|group| group.food == demand.food && group.separate.as_ref() == separate);
        let usual = Tally::of(workings.kitchen.catalog.get(demand.food));
        let tally = own.map(|group| group.tally).min().unwrap_or(usual);
        self.at(places, (demand.food, tally, separate)).checks.push(at);
    }
}

impl Group {
    fn line(self, workings: &Workings<'_>, book: &PriceBook<'_>) -> ListLine {
        let kitchen = workings.kitchen;
        let food = kitchen.catalog.get(self.food);
        let sums = Sums::of(workings, &self.needs);
        let measured = !self.needs.is_empty();
        let to_buy = sums.need - sums.in_pantry;
        let buy = self.buy(workings, book, food, to_buy);
        let made_sure = self.checks.iter().all(|at| workings.made_sure.contains_key(at));
        let doubtful = sums.doubtful && to_buy.is_positive();
        let shares = shares(&buy, &sums.still);
        let mut line = ListLine {
            food: self.food,
            tally: self.tally,
            section: section(kitchen, buy.store.as_ref(), self.food, food),
            keep: food.keep,
            need: measured.then_some(sums.need),
            edible: sums.edible.filter(|_| measured),
            in_pantry: measured.then_some(sums.in_pantry),
            to_buy: measured.then_some(to_buy),
            check: doubtful || (!measured && !made_sure),
            optional: self.is_optional(workings),
            by_piece: self.is_by_piece(workings),
            demands: self.dish_needs(workings),
            shares,
            contains: contains(food, kitchen.regime),
            alerts: self.alerts(workings),
            warnings: Vec::new(),
            separate: self.separate.clone(),
            still: sums.still,
            buy,
        };
        line.warnings = self.warnings(workings, food, &line, doubtful);
        line
    }

    fn buy(&self, workings: &Workings<'_>, book: &PriceBook<'_>, food: &Food, to_buy: Exact) -> Buy {
        let (only, usual) = (workings.options.store.as_ref(), workings.kitchen.usual_store.as_ref());
        if to_buy.is_positive() {
            return book.buy(&Wanted { ix: self.food, food, tally: self.tally, to_buy }, only, usual);
        }
        Buy { store: only.or(usual).cloned(), ..Buy::default() }
    }

    fn demands<'w, 'k>(&'w self, workings: &'w Workings<'k>) -> impl Iterator<Item = (&'w Demand<'k>, Counts)> {
        let counted = self.needs.iter().filter_map(|at| workings.needs.get(*at)).flat_map(|need| need.demands.iter());
        let checks = self.checks.iter().map(|at| (*at, Counts::InFull));
        counted.copied().chain(checks).filter_map(|(at, counts)| Some((workings.demands.get(at)?, counts)))
    }

    fn is_optional(&self, workings: &Workings<'_>) -> bool {
        self.demands(workings).all(|(demand, _)| demand.line.optional)
    }

    fn is_by_piece(&self, workings: &Workings<'_>) -> bool {
        let mut measured = self.demands(workings).filter(|(demand, _)| demand.amount.is_some()).peekable();
        measured.peek().is_some()
            && measured.all(|(demand, _)| {
                let line = demand.line;
                let of_part = demand.part.is_some();
                of_part || (line.unit == Some(Unit::Each) && line.size.is_none() && line.total.is_none())
            })
    }

    /// By household and dish; a dish that takes its part from the same wholes, or the same pot, needs nothing more.
    fn dish_needs(&self, workings: &Workings<'_>) -> Vec<DishNeed> {
        let mut needs: Vec<DishNeed> = self
            .demands(workings)
            .map(|(demand, counts)| DishNeed {
                household: demand.household.clone(),
                dish: demand.dish.clone(),
                need: demand.amount.map(|amount| if counts == Counts::InFull { amount.need } else { Exact::ZERO }),
            })
            .collect();
        needs.sort_by(|a, b| (&a.household, &a.dish).cmp(&(&b.household, &b.dish)));
        needs.dedup_by(|next, kept| {
            let same = (&next.household, &next.dish) == (&kept.household, &kept.dish);
            if same {
                kept.need = match (kept.need, next.need) {
                    (Some(a), Some(b)) => Some(a + b),
                    (a, b) => a.or(b),
                };
            }
            same
        });
        needs
    }

    fn alerts(&self, workings: &Workings<'_>) -> Vec<Alert> {
        let here = |household: &HouseholdId| match &self.separate {
            Some(separate) => separate == household,
            None => workings.wants(household) && workings.separate(household).is_none(),
        };
        let conflicts = workings.guarded.conflicts.iter();
        let allergies = conflicts.filter(|conflict| {
            conflict.food == self.food && conflict.kind == ConflictKind::Allergy && here(&conflict.household)
        });
        allergies
            .map(|conflict| Alert {
                household: conflict.household.clone(),
                diner: conflict.diner.clone(),
                what: conflict.what.clone(),
                dish: conflict.dish.clone(),
                by_name: conflict.by_name,
            })
            .collect()
    }

    fn warnings(&self, workings: &Workings<'_>, food: &Food, line: &ListLine, doubtful: bool) -> Vec<Warning> {
        let mut warnings = Vec::new();
        if !food.described {
            warnings.push(Warning::Undescribed);
        }
        let missing = self.demands(workings).filter_map(|(demand, _)| demand.missing());
        warnings.extend(missing.filter(|missing| worth_saying(food, *missing, line)).map(Warning::Missing));
        match &food.allergens {
            Allergens::NotRecorded => warnings.push(Warning::AllergensNotRecorded),
            Allergens::Recorded { vary: true, .. } => warnings.push(Warning::AllergensVary),
            Allergens::Recorded { .. } => {}
        }
        if doubtful {
            warnings.push(Warning::MoreThanEnough);
        }
        if line.buy.unusable {
            warnings.push(Warning::PriceUnusable);
        }
        warnings.extend(self.demands(workings).flat_map(|(demand, _)| {
            let raw = || demand.line.raw.clone();
            demand.line.doubts.iter().filter_map(move |doubt| match doubt {
                Doubt::Slip => Some(Warning::Slip { raw: raw() }),
                Doubt::AmountsDiffer => Some(Warning::AmountsDiffer { raw: raw() }),
                Doubt::AmountOutOfRange => Some(Warning::AmountOutOfRange { raw: raw() }),
                Doubt::Unreadable | Doubt::Heading => None,
            })
        }));
        warnings.sort();
        warnings.dedup();
        warnings
    }
}

/// Two bunches that are bought as two bunches need no weight; everything else that is missing is said.
fn worth_saying(food: &Food, missing: Missing, line: &ListLine) -> bool {
    let met = line.buy.cost.is_some() || line.to_buy.is_some_and(|to_buy| to_buy.is_zero());
    !(matches!(missing, Missing::Weight(_)) && met && food.described)
}

/// What a group's needs come to.
#[derive(Debug, Default)]
struct Sums {
    need: Exact,
    edible: Option<Exact>,
    in_pantry: Exact,
    doubtful: bool,
    /// What each household still needs after the pantries, by id; only who needs something.
    still: Vec<(HouseholdId, Exact)>,
}

impl Sums {
    fn of(workings: &Workings<'_>, needs: &[usize]) -> Self {
        let mut sums = Self { edible: Some(Exact::ZERO), ..Self::default() };
        for at in needs {
            let (Some(need), Some(given)) = (workings.needs.get(*at), workings.given.get(*at)) else { continue };
            let Some(service) = workings.service(need.service) else { continue };
            let taken: Exact = given.takings.iter().map(|taking| taking.amount).sum();
            sums.need = sums.need + need.need;
            sums.edible = sums.edible.zip(need.edible).map(|(sum, edible)| sum + edible);
            sums.in_pantry = sums.in_pantry + taken;
            sums.doubtful |= given.doubtful;
            sums.add(&service.household, need.need - taken);
        }
        sums.still.retain(|(_, left)| left.is_positive());
        sums.still.sort_by(|a, b| a.0.cmp(&b.0));
        sums
    }

    fn add(&mut self, household: &HouseholdId, left: Exact) {
        match self.still.iter_mut().find(|(known, _)| known == household) {
            Some((_, sum)) => *sum = *sum + left,
            None => self.still.push((household.clone(), left)),
        }
    }
}

/// A line's cost, shared by what each household still needs.
fn shares(buy: &Buy, still: &[(HouseholdId, Exact)]) -> Vec<(HouseholdId, Money)> {
    let Some(cost) = buy.cost else { return Vec::new() };
    let weights: Vec<Exact> = still.iter().map(|(_, left)| *left).collect();
    still.iter().map(|(household, _)| household.clone()).zip(cost.split(&weights)).collect()
}

fn section(kitchen: &Kitchen, store: Option<&StoreId>, ix: FoodIx, food: &Food) -> String {
    let shelf = store.and_then(|id| kitchen.stores.get(id)).map_or(&[][..], |store| store.shelf.as_slice());
    let here = shelf.iter().find(|(named, _)| matches!(named.item, Item::Food(found) if found.food == ix));
    here.map_or_else(|| food.section.clone(), |(_, section)| section.clone())
}

fn is_covered(line: &ListLine) -> bool {
    match line.to_buy {
        Some(to_buy) => to_buy.is_zero(),
        None => !line.check,
    }
}

fn is_unpriced(line: &ListLine) -> bool {
    line.buy.cost.is_none() && line.to_buy.is_some_and(Exact::is_positive)
}

/// Where a line stands in the walk: store, section, name.
type Walk<'k> = ((bool, Option<&'k StoreId>), (usize, Option<Keep>, &'k str), (String, &'k str));

/// Stores by id; in one its sections in walking order, and after them those it does not name, by how food is kept;
/// in a section by food name.
fn sort(kitchen: &Kitchen, lines: Vec<ListLine>) -> Vec<ListLine> {
    let mut order: Vec<(Walk<'_>, usize)> = lines.iter().map(|line| walk(kitchen, line)).zip(0..).collect();
    order.sort_by(|(a, left), (b, right)| {
        let tails = || (lines.get(*left).map(tail), lines.get(*right).map(tail));
        a.cmp(b).then_with(|| tails().0.cmp(&tails().1))
    });
    let order: Vec<usize> = order.into_iter().map(|(_, at)| at).collect();
    let mut lines: Vec<Option<ListLine>> = lines.into_iter().map(Some).collect();
    order.into_iter().filter_map(|at| lines.get_mut(at)?.take()).collect()
}

fn tail(line: &ListLine) -> (Tally, Option<&HouseholdId>) {
    (line.tally, line.separate.as_ref())
}

fn walk<'k>(kitchen: &'k Kitchen, line: &'k ListLine) -> Walk<'k> {
    let store = line.buy.store.as_ref();
    let sections =
        store.and_then(|id| kitchen.stores.get(id)).map_or(&[][..], |store: &Store| store.sections.as_slice());
    let aisle = match sections.iter().position(|section| *section == line.section) {
        Some(at) => (at, None, ""),
        None => (usize::MAX, Some(line.keep), line.section.as_str()),
    };
    let food = kitchen.catalog.get(line.food);
    ((store.is_none(), store), aisle, (food.name.to_lowercase(), food.id.as_str()))
}

fn once(foods: impl Iterator<Item = FoodIx>) -> Vec<FoodIx> {
    let mut seen = Vec::new();
    for food in foods {
        if !seen.contains(&food) {
            seen.push(food);
        }
    }
    seen
}

fn still_needs(line: &ListLine, household: &HouseholdId) -> bool {
    line.still.iter().any(|(needs, _)| needs == household)
}

fn totals(workings: &Workings<'_>, lines: &[ListLine]) -> Vec<HouseholdTotal> {
    let kitchen = workings.kitchen;
    let mut served: Vec<&HouseholdId> = workings.services.iter().map(|service| &service.household).collect();
    served.sort_unstable();
    let wanted = served.chunk_by(|a, b| a == b).filter_map(|same| Some((*same.first()?, same.len())));
    wanted
        .filter(|(id, _)| workings.wants(id))
        .map(|(id, services)| {
            let shares = lines.iter().flat_map(|line| &line.shares).filter(|(household, _)| household == id);
            let budget = kitchen.households.get(id).and_then(|household| household.budget);
            HouseholdTotal {
                household: id.clone(),
                estimate: shares.fold(Money::zero(kitchen.currency), |sum, (_, share)| sum + *share),
                budget: budget.map(|budget| budget.times(services as u64)),
                unpriced: once(
                    lines.iter().filter(|line| is_unpriced(line) && still_needs(line, id)).map(|line| line.food),
                ),
            }
        })
        .collect()
}

/// Lots of foods that the week needs, in a pantry that would have been asked, past their date on the day of cooking.
fn expired(workings: &Workings<'_>) -> Vec<ExpiredLot> {
    let mut expired = Vec::new();
    for (need, service) in workings.needs.iter().filter_map(|need| Some((need, workings.service(need.service)?))) {
        let own = workings.kitchen.households.get(&service.household).and_then(|household| household.pantry.as_ref());
        for pantry in own.into_iter().chain(workings.kitchen.kit.as_ref()) {
            for lot in workings.kitchen.pantries.get(pantry).into_iter().flatten() {
                let same = matches!(lot.food.item, Item::Food(found) if found.food == need.food);
                if let Some(use_by) = lot.use_by.filter(|by| same && *by < service.cook) {
                    expired.push(ExpiredLot { pantry: pantry.clone(), food: need.food, use_by });
                }
            }
        }
    }
    let id = |lot: &ExpiredLot| workings.kitchen.catalog.get(lot.food).id.clone();
    expired.sort_by_cached_key(|lot| (lot.pantry.clone(), id(lot), lot.use_by));
    expired.dedup();
    expired
}

/// A food's name with a capital, in the singular: as data has it.
#[must_use]
pub fn display_name(catalog: &Catalog, food: FoodIx) -> String {
    capital(&catalog.get(food).name)
}

/// A food's name as a person reads it on a list: with a capital, in the plural where several are usual.
#[must_use]
pub fn list_name(catalog: &Catalog, food: FoodIx) -> String {
    capital(&catalog.get(food).plural)
}

fn capital(name: &str) -> String {
    let mut letters = name.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}
