//! Which packs to take: the least cost that holds enough, found exactly.
//!
//! The search walks the counts of each pack, the best value first, and cuts a branch off where even the best value for
//! all that is still missing would cost more than what has been found. It is exact: sizes and prices are whole numbers
//! on a common scale, and nothing is rounded on the way.

use std::cmp::Ordering;
use std::collections::HashMap;

use trug_measure::Exact;

/// A pack that a store sells: what it holds of the food, in the food's tally, and its price in minor units.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PackOffer {
    /// What it holds; positive.
    pub holds: Exact,
    /// What it costs, in minor units of money.
    pub price: Exact,
}

/// A food sold loose: the least step in which it is weighed or counted, and what a step costs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct LooseOffer {
    /// What a step holds; positive.
    pub holds: Exact,
    /// What a step costs, in minor units of money.
    pub price: Exact,
}

/// How much surplus a choice may leave.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Surplus {
    /// Any: the food keeps.
    Any,
    /// At most as much as is to be bought, unless nothing else is to be had: chilled food spoils.
    AtMostNeed,
}

/// What to take.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Choice {
    /// How many of each pack, in the order of the offers.
    pub counts: Vec<u64>,
    /// Which loose offer, and how many of its steps.
    pub loose: Option<(usize, u64)>,
    /// What it costs in all, in minor units, not yet rounded.
    pub cost: Exact,
    /// What it holds in all, in the food's tally.
    pub holds: Exact,
}

/// A choice of packs is enough when it holds at least so much of what is to be bought: measures are no more exact.
pub const ENOUGH: Exact = Exact::new(95, 100);

/// The choice of least cost; ties by least surplus, then by fewest packs. `None` where nothing is offered.
///
/// Packs are enough at 95 % of `need`; loose food, alone or as the rest beside packs, is bought in full.
///
/// ```
/// use trug_measure::Exact;
/// use trug_provision::packs::{PackOffer, Surplus, cheapest};
/// let whole = |value| Exact::whole(value);
/// let bags = [PackOffer { holds: whole(2), price: whole(300) }, PackOffer { holds: whole(5), price: whole(500) }];
/// let choice = cheapest(whole(6), &bags, &[], Surplus::Any).unwrap();
/// assert_eq!((choice.counts, choice.cost), (vec![1, 1], whole(800)));
/// ```
#[must_use]
pub fn cheapest(need: Exact, packs: &[PackOffer], loose: &[LooseOffer], surplus: Surplus) -> Option<Choice> {
    let search = |surplus| Search::new(need, packs, loose, surplus).and_then(Search::run);
    match surplus {
        Surplus::AtMostNeed => search(Surplus::AtMostNeed).or_else(|| search(Surplus::Any)),
        Surplus::Any => search(Surplus::Any),
    }
}

/// The packs of least surplus, then fewest, for food without a price; `None` where no pack is known.
#[must_use]
pub fn least_surplus(need: Exact, sizes: &[Exact]) -> Option<Choice> {
    let packs: Vec<PackOffer> = sizes.iter().map(|holds| PackOffer { holds: *holds, price: Exact::ZERO }).collect();
    Search::new(need, &packs, &[], Surplus::Any).and_then(Search::run)
}

/// How good a choice is; less is better.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
struct Score {
    cost: i64,
    surplus: i64,
    packs: u64,
    /// Of two that are alike in all else, the one that holds more.
    short: i64,
}

/// Which loose offer, and how many of its steps.
type LooseSteps = Option<(usize, u64)>;

struct Pack {
    at: usize,
    holds: i64,
    price: i64,
    /// What the largest holds of it and those after it.
    largest: i64,
}

struct Loose {
    at: usize,
    holds: i64,
    price: i64,
}

/// One search; holds and prices are whole numbers, each on a scale of its own.
struct Search {
    need: i64,
    enough: i64,
    most: i64,
    packs: Vec<Pack>,
    loose: Vec<Loose>,
    counts: Vec<u64>,
    best: Option<(Score, Vec<u64>, LooseSteps)>,
    seen: HashMap<(usize, i64), (i64, u64)>,
    steps: u32,
    scale: (Scale, Scale),
}

/// From so many steps on, places that were reached before at no greater cost are remembered: it costs more than it saves
/// in the usual short search, and keeps many packs of one value from being tried in every order.
const REMEMBER_FROM: u32 = 200;

impl Search {
    fn new(need: Exact, packs: &[PackOffer], loose: &[LooseOffer], surplus: Surplus) -> Option<Self> {
        let usable = |holds: Exact| holds.is_positive();
        if !need.is_positive() || !(packs.iter().any(|p| usable(p.holds)) || loose.iter().any(|l| usable(l.holds))) {
            return None;
        }
        let all_holds = || packs.iter().map(|p| p.holds).chain(loose.iter().map(|l| l.holds));
        // Twentieths, so that 95 % is a whole number too.
        let holds_scale = Scale::of(std::iter::once(need).chain(all_holds()), 20);
        let price_scale = Scale::of(packs.iter().map(|p| p.price).chain(loose.iter().map(|l| l.price)), 1);
        let scaled_need = holds_scale.apply(need);
        let mut search = Self {
            need: scaled_need,
            enough: scaled_need - scaled_need / 20,
            most: if surplus == Surplus::AtMostNeed { scaled_need * 2 } else { i64::MAX },
            packs: Vec::with_capacity(packs.len()),
            loose: Vec::with_capacity(loose.len()),
            counts: vec![0; packs.len()],
            best: None,
            seen: HashMap::new(),
            steps: 0,
            scale: (holds_scale, price_scale),
        };
        for (at, offer) in packs.iter().enumerate().filter(|(_, offer)| usable(offer.holds)) {
            let (holds, price) = (holds_scale.apply(offer.holds).max(1), price_scale.apply(offer.price));
            search.packs.push(Pack { at, holds, price, largest: holds });
        }
        for (at, offer) in loose.iter().enumerate().filter(|(_, offer)| usable(offer.holds)) {
            let (holds, price) = (holds_scale.apply(offer.holds).max(1), price_scale.apply(offer.price));
            search.loose.push(Loose { at, holds, price });
        }
        search.packs.sort_by(|a, b| by_value((a.price, a.holds), (b.price, b.holds)).then(b.holds.cmp(&a.holds)));
        search.loose.sort_by(|a, b| by_value((a.price, a.holds), (b.price, b.holds)).then(b.holds.cmp(&a.holds)));
        let mut largest = 1;
        for pack in search.packs.iter_mut().rev() {
            largest = largest.max(pack.holds);
            pack.largest = largest;
        }
        Some(search)
    }

    fn run(mut self) -> Option<Choice> {
        self.walk(0, 0, 0, 0);
        let (score, counts, loose) = self.best?;
        let held: i64 =
            self.packs.iter().map(|pack| pack.holds * counts.get(pack.at).copied().unwrap_or(0) as i64).sum();
        let rest = loose.and_then(|(at, steps)| {
            let offer = self.loose.iter().find(|offer| offer.at == at)?;
            Some(offer.holds * steps as i64)
        });
        let holds = self.scale.0.back(held + rest.unwrap_or(0));
        Some(Choice { counts, loose, cost: self.scale.1.back(score.cost), holds })
    }

    /// Tries every count of the packs from the `at`-th on, with `held` and `cost` already taken.
    fn walk(&mut self, at: usize, held: i64, cost: i64, packs: u64) {
        if held >= self.enough {
            self.offer(held, cost, packs, None);
            return;
        }
        self.rest(held, cost, packs);
        let Some(pack) = self.packs.get(at) else { return };
        let (holds, price, slot) = (pack.holds, pack.price, pack.at);
        if self.too_dear(at, held, cost) || self.no_better(at, held, cost, packs) || self.seen(at, held, cost, packs) {
            return;
        }
        let most = (self.enough - held + holds - 1) / holds;
        let dearer_next = self.is_dearer_after(at);
        for count in (0..=most).rev() {
            let (held, cost) = (held + count * holds, cost.saturating_add(count.saturating_mul(price)));
            if count < most && dearer_next && self.too_dear(at + 1, held, cost) {
                // Fewer of this pack only leave more to what is dearer.
                break;
            }
            self.set(slot, count as u64);
            self.walk(at + 1, held, cost, packs + count as u64);
        }
        self.set(slot, 0);
    }

    fn set(&mut self, slot: usize, count: u64) {
        if let Some(place) = self.counts.get_mut(slot) {
            *place = count;
        }
    }

    /// Whether nothing after the `at`-th pack, loose food included, is better value than it.
    fn is_dearer_after(&self, at: usize) -> bool {
        let Some(pack) = self.packs.get(at) else { return true };
        let value = (pack.price, pack.holds);
        self.loose.first().is_none_or(|offer| by_value((offer.price, offer.holds), value).is_ge())
    }

    /// Whether all that is still missing, at the best value among what is left, would cost more than the best choice.
    fn too_dear(&self, at: usize, held: i64, cost: i64) -> bool {
        let Some((best, ..)) = &self.best else { return false };
        let missing = (self.enough - held).max(0);
        let room = best.cost - cost;
        let dear = |price: i64, holds: i64| product(missing, price) > product(room, holds);
        let pack = self.packs.get(at).is_none_or(|pack| dear(pack.price, pack.holds));
        pack && self.loose.first().is_none_or(|offer| dear(offer.price, offer.holds))
    }

    /// Whether a choice from here could at most cost as much as the best one, which has no surplus, with no fewer packs.
    fn no_better(&self, at: usize, held: i64, cost: i64, packs: u64) -> bool {
        let Some((best, ..)) = &self.best else { return false };
        let Some(pack) = self.packs.get(at) else { return true };
        let missing = (self.enough - held).max(0);
        let at_best = product(missing, pack.price) >= product(best.cost - cost, pack.holds);
        let fewest = || packs.saturating_add(((missing + pack.largest - 1) / pack.largest) as u64);
        best.surplus == 0 && at_best && self.loose.is_empty() && fewest() >= best.packs
    }

    fn seen(&mut self, at: usize, held: i64, cost: i64, packs: u64) -> bool {
        self.steps = self.steps.saturating_add(1);
        if self.steps < REMEMBER_FROM {
            return false;
        }
        let known = self.seen.entry((at, held)).or_insert((i64::MAX, u64::MAX));
        if *known <= (cost, packs) {
            return true;
        }
        *known = (cost, packs);
        false
    }

    /// What is missing, bought loose and in full.
    fn rest(&mut self, held: i64, cost: i64, packs: u64) {
        let missing = self.need - held;
        for at in 0..self.loose.len() {
            let Some(offer) = self.loose.get(at) else { return };
            let steps = (missing + offer.holds - 1) / offer.holds;
            let (held, cost) = (held + steps * offer.holds, cost.saturating_add(steps.saturating_mul(offer.price)));
            self.offer(held, cost, packs, Some((offer.at, steps as u64)));
        }
    }

    fn offer(&mut self, held: i64, cost: i64, packs: u64, loose: LooseSteps) {
        if held > self.most {
            return;
        }
        let surplus = (held - self.need).max(0);
        let score = Score { cost, surplus, packs, short: -held };
        match &mut self.best {
            Some((best, ..)) if *best <= score => {}
            Some((best, counts, rest)) => {
                (*best, *rest) = (score, loose);
                counts.clone_from(&self.counts);
            }
            None => self.best = Some((score, self.counts.clone(), loose)),
        }
    }
}

/// Price over what it holds, compared without dividing.
fn by_value(a: (i64, i64), b: (i64, i64)) -> Ordering {
    product(a.0, b.1).cmp(&product(b.0, a.1))
}

/// A product that cannot overflow.
fn product(a: i64, b: i64) -> i128 {
    i128::from(a) * i128::from(b)
}

/// A factor that makes numbers whole.
#[derive(Debug, Clone, Copy)]
struct Scale(i128);

impl Scale {
    /// The least factor, a multiple of `times`, that makes all the numbers whole; where that would be out of range, one
    /// that leaves them to the millionth.
    fn of(values: impl Iterator<Item = Exact>, times: i128) -> Self {
        const MOST: i128 = 10_i128.pow(9);
        let mut scale: i128 = times;
        for value in values.filter(|value| !value.is_whole()) {
            let missing = value.denominator() / common_divisor(scale, value.denominator());
            match scale.checked_mul(missing).filter(|scale| *scale <= MOST * times) {
                Some(next) => scale = next,
                None => return Self(1_000_000 * times),
            }
        }
        Self(scale)
    }

    /// The number on the scale. Kept within 60 bits, so that no sum of the search overflows: no kitchen reaches that, and
    /// past it nothing is bought to the gram.
    fn apply(self, value: Exact) -> i64 {
        const WIDEST: i128 = 1 << 60;
        let whole = if value.is_whole() {
            value.numerator().saturating_mul(self.0)
        } else if self.0 % value.denominator() == 0 {
            value.numerator().saturating_mul(self.0 / value.denominator())
        } else {
            (value * Exact::new(self.0, 1)).round()
        };
        whole.clamp(0, WIDEST) as i64
    }

    /// Back from the scale.
    fn back(self, whole: i64) -> Exact {
        Exact::new(i128::from(whole), self.0)
    }
}

/// The greatest common divisor of two positive numbers.
fn common_divisor(a: i128, b: i128) -> i128 {
    let (mut a, mut b) = (a, b);
    while b != 0 {
        (a, b) = (b, a % b);
    }
    a.max(1)
}
