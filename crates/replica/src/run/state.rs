//! What the picks of a line come to.

use trug_measure::{Amount, Exact};
use trug_provision::packs::ENOUGH;

use super::pick::{Pick, Quantity, Taken};
use crate::id::{DeviceId, PickId};

/// How a line stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum LineState {
    /// Nobody has got any.
    ToGet,
    /// Some is there, not all.
    Part,
    /// All is there.
    Got,
    /// Two devices have each bought all of it.
    BoughtTwice,
    /// Somebody looked and there was none, and nobody else has got any.
    NotToBeHad,
    /// The plan no longer wants it, but it has been bought.
    WithdrawnButBought,
    /// The plan no longer wants it.
    Withdrawn,
}

/// What the picks of a line come to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Standing {
    /// How the line stands.
    pub state: LineState,
    /// How much is there, in the unit wanted, as far as picks say it in a unit that compares.
    pub there: Option<Amount>,
    /// How much is still to get, in the unit wanted; nothing once enough is there.
    pub left: Option<Amount>,
    /// Somebody looked and there was none, whether or not some was found elsewhere.
    pub none_said: bool,
    /// A pick says an amount in a unit that does not compare with what is wanted now: a person has to look.
    pub unclear: bool,
}

/// How much one pick covers.
#[derive(Debug, Clone, Copy)]
enum Covers {
    /// So much, in the unit wanted.
    Measured(Exact),
    /// All, where there was nothing to measure.
    All,
    /// Some, nobody knows how much.
    Some,
}

/// Works out how a line stands. `want` is what the plan wants of it now, `None` where it only asks to make sure;
/// `picks` are those that nobody has struck.
///
/// A share of 95 % is enough, as it is for packs. A purchase that was the whole line when the plan was another is
/// measured against today's: where that cannot be done, the line stays a part, so that nobody trusts in too little.
#[must_use]
pub fn standing(want: Option<Amount>, withdrawn: bool, picks: &[(PickId, &Pick)]) -> Standing {
    let covers: Vec<(DeviceId, &Taken, Covers)> = picks
        .iter()
        .filter_map(|(id, pick)| Some((id.device, &pick.what, covers(want, pick.what.quantity()?))))
        .collect();
    let there: Exact = covers.iter().map(|(.., covers)| measured(*covers)).sum();
    let enough = covers.iter().any(|(.., covers)| is_whole(want, *covers)) || is_enough(want, there);
    let whole = covers.iter().filter(|(_, what, covers)| what.is_purchase() && is_whole(want, *covers));
    let mut buyers = whole.map(|(device, ..)| *device);
    let first = buyers.next();
    let twice = buyers.any(|other| Some(other) != first);
    let none_said = picks.iter().any(|(_, pick)| pick.what == Taken::NoneThere);
    let bought = picks.iter().any(|(_, pick)| pick.what.is_purchase());
    let state = match (withdrawn, enough) {
        (true, _) if bought => LineState::WithdrawnButBought,
        (true, _) => LineState::Withdrawn,
        (false, true) if twice => LineState::BoughtTwice,
        (false, true) => LineState::Got,
        (false, false) if !covers.is_empty() => LineState::Part,
        (false, false) if none_said => LineState::NotToBeHad,
        (false, false) => LineState::ToGet,
    };
    let left = |want: Amount| if enough { Exact::ZERO } else { want.value - there };
    Standing {
        state,
        there: want.map(|want| Amount::new(there, want.unit)),
        left: want.map(|want| Amount::new(left(want), want.unit)),
        none_said,
        unclear: want.is_some() && covers.iter().any(|(.., covers)| matches!(covers, Covers::Some)),
    }
}

fn covers(want: Option<Amount>, quantity: Quantity) -> Covers {
    let Some(want) = want else {
        // Nothing to measure against: whoever made sure that there is some, has.
        return Covers::All;
    };
    match quantity.amount().and_then(|amount| amount.to_unit(want.unit)) {
        Some(amount) => Covers::Measured(amount.value),
        None => Covers::Some,
    }
}

const fn measured(covers: Covers) -> Exact {
    match covers {
        Covers::Measured(amount) => amount,
        Covers::All | Covers::Some => Exact::ZERO,
    }
}

fn is_enough(want: Option<Amount>, there: Exact) -> bool {
    want.is_some_and(|want| there.is_positive() && there >= want.value * ENOUGH)
}

fn is_whole(want: Option<Amount>, covers: Covers) -> bool {
    match covers {
        Covers::Measured(amount) => is_enough(want, amount),
        Covers::All => true,
        Covers::Some => false,
    }
}
