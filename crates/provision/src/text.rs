//! What a person reads of a list, in the trade's words.

use trug_measure::{Amount, Exact, System, Unit, kitchen_number};

use crate::convert::{Missing, Tally, each_grams, kept_share};
use crate::demand::DishDoubt;
use crate::kitchen::{HouseholdId, Kitchen, PantryId};
use crate::list::{Alert, ExpiredLot, ListLine, Warning};
use crate::plan::list_name;
use crate::price::PackTaken;

/// What to take from the shelf: `3 bunches`, `2 x 14.5 oz`, `23 eggs: 2 dozen`; for a line to make sure of, how much
/// there should be.
#[must_use]
pub fn line_text(kitchen: &Kitchen, line: &ListLine) -> String {
    let Some(need) = line.need else {
        let text = if line.check { "make sure we have some" } else { "there is enough" };
        return text.to_owned();
    };
    let to_buy = line.to_buy.unwrap_or(need);
    if !to_buy.is_positive() {
        return amount_text(kitchen, line, need);
    }
    let taken = taken_text(kitchen, line);
    let wanted = amount_text(kitchen, line, to_buy);
    match taken {
        None => wanted,
        // At the shelf onions are counted; the scale says what they cost.
        Some(taken) if weighs_pieces(kitchen, line) => format!("{wanted} ({taken})"),
        Some(taken) if counts_pieces(kitchen, line) && taken != wanted => {
            format!("{} {}: {taken}", wanted, pieces_name(kitchen, line, to_buy))
        }
        Some(taken) => taken,
    }
}

/// The packs and the loose rest, as a person asks for them.
fn taken_text(kitchen: &Kitchen, line: &ListLine) -> Option<String> {
    let mut parts: Vec<String> = line.buy.packs.iter().map(pack_text).collect();
    if let Some(loose) = &line.buy.loose {
        parts.push(loose_text(kitchen.units, loose.amount));
    }
    (!parts.is_empty()).then(|| parts.join(" + "))
}

/// A loose amount is shown as the scale shows it, not as a fraction.
fn loose_text(units: System, amount: Amount) -> String {
    match amount.unit {
        Unit::Mass(_) | Unit::Volume(_) => amount.as_written(),
        _ => amount.show(units),
    }
}

fn pack_text(pack: &PackTaken) -> String {
    let count = Exact::whole(i64::try_from(pack.count).unwrap_or(i64::MAX));
    match pack.size.unit {
        Unit::Each if pack.size.value == Exact::whole(12) => format!("{} dozen", pack.count),
        Unit::Each | Unit::Count(_) if pack.size.value == Exact::ONE => Amount::new(count, pack.size.unit).as_written(),
        _ => format!("{} x {}", pack.count, pack.size.as_written()),
    }
}

/// Whether a person counts the food rather than weighs it: it has a weight for one, and every dish asks by the piece.
fn counts_pieces(kitchen: &Kitchen, line: &ListLine) -> bool {
    let bought_by_weight = line.buy.loose.is_some();
    matches!(line.tally, Tally::Grams) && line.by_piece && !bought_by_weight && piece(kitchen, line).is_some()
}

/// Whether a person counts the food, but pays for it by weight and takes nothing else.
fn weighs_pieces(kitchen: &Kitchen, line: &ListLine) -> bool {
    let by_weight = line.buy.loose.as_ref().is_some_and(|loose| matches!(loose.amount.unit, Unit::Mass(_)));
    line.tally == Tally::Grams
        && line.by_piece
        && by_weight
        && line.buy.packs.is_empty()
        && piece(kitchen, line).is_some()
}

/// What one piece weighs as purchased.
fn piece(kitchen: &Kitchen, line: &ListLine) -> Option<Exact> {
    let food = kitchen.catalog.get(line.food);
    let edible = each_grams(food)?;
    Some(edible / kept_share(food.refuse.unwrap_or_default()))
}

fn pieces_name(kitchen: &Kitchen, line: &ListLine, amount: Exact) -> String {
    let food = kitchen.catalog.get(line.food);
    let one = piece(kitchen, line).is_some_and(|piece| amount <= piece);
    if one { food.name.clone() } else { food.plural.clone() }
}

/// An amount of a line in words: pieces where it is counted by the piece, else in the kitchen's units.
#[must_use]
pub fn amount_text(kitchen: &Kitchen, line: &ListLine, amount: Exact) -> String {
    if line.by_piece
        && line.tally == Tally::Grams
        && let Some(piece) = piece(kitchen, line)
    {
        // Three decimals are finer than any carrot: they only keep a division from asking for one piece more.
        let pieces = Exact::from_f64((amount / piece).to_decimals(3));
        return kitchen_number(Exact::new(pieces.ceil(), 1));
    }
    let unit = line.tally.unit();
    // Nobody takes 2.44 bunches from a shelf.
    let amount = if unit.is_count() { Exact::new(Exact::from_f64(amount.to_decimals(3)).ceil(), 1) } else { amount };
    Amount::new(amount, unit).show(kitchen.units)
}

/// A household's name.
#[must_use]
pub fn household_name<'k>(kitchen: &'k Kitchen, id: &'k HouseholdId) -> &'k str {
    kitchen.households.get(id).map_or(id.as_str(), |household| household.name.as_str())
}

/// Whose pantry it is, in words.
#[must_use]
pub fn pantry_name(kitchen: &Kitchen, id: &PantryId) -> String {
    if kitchen.kit.as_ref() == Some(id) {
        return "the kit".to_owned();
    }
    let owner = kitchen.households.iter().find(|(_, household)| household.pantry.as_ref() == Some(id));
    owner.map_or_else(|| id.to_string(), |(id, _)| format!("the kitchen of {}", household_name(kitchen, id)))
}

/// An allergy alert in words.
#[must_use]
pub fn alert(kitchen: &Kitchen, alert: &Alert) -> String {
    let by_name = if alert.by_name { ", judged by the food's name only" } else { "" };
    let dish = kitchen.dishes.get(&alert.dish).map_or(alert.dish.as_str(), |dish| dish.title.as_str());
    let table = household_name(kitchen, &alert.household);
    format!("allergy alert: {} ({table}) must not have {}; it is in {dish}{by_name}", alert.diner, alert.what)
}

/// A missing figure in words.
#[must_use]
pub fn missing(food: &str, missing: Missing) -> String {
    match missing {
        Missing::Weight(Unit::Each) => format!("what one {food} weighs is not recorded (grams = {{ each = ... }})"),
        Missing::Weight(unit) => {
            format!("what a {unit} of {food} weighs is not recorded (grams = {{ \"{unit}\" = ... }})")
        }
        Missing::CookedYield => format!("the cooked yield of {food} is not recorded (cooked = ...)"),
        Missing::DrainedWeight => format!("the drained weight of {food} is not recorded (drained = ...)"),
        Missing::Refuse => {
            format!("the trim loss of {food} is not recorded (refuse = ...): bought as written, nothing added for it")
        }
    }
}

/// A line's warning in words.
#[must_use]
pub fn warning(kitchen: &Kitchen, line: &ListLine, warning: &Warning) -> String {
    let name = &kitchen.catalog.get(line.food).name;
    match warning {
        Warning::Undescribed => format!("nobody has described {name}: it is listed as written, by its name only"),
        Warning::Missing(figure) => missing(name, *figure),
        Warning::AllergensNotRecorded => "allergens not recorded: read the label".to_owned(),
        Warning::AllergensVary => "makers differ in what it contains: read the label".to_owned(),
        Warning::MoreThanEnough => {
            "more than an open-ended stock is trusted for: make sure there is so much".to_owned()
        }
        Warning::PriceUnusable => {
            format!("there is a price, but in a unit that does not compare; record what one of it weighs for {name}")
        }
        Warning::Slip { raw } => format!("read `{raw}` as {name}: a letter differs"),
        Warning::AmountsDiffer { raw } => format!("two amounts in `{raw}` do not add up: only the first is counted"),
        Warning::AmountOutOfRange { raw } => format!("the amount in `{raw}` cannot be meant: it is not counted"),
    }
}

/// A doubt about a dish in words.
#[must_use]
pub fn doubt(kitchen: &Kitchen, doubt: &DishDoubt) -> String {
    let title = |id| kitchen.dishes.get(id).map_or_else(|| format!("{id}"), |dish| dish.title.clone());
    match doubt {
        DishDoubt::NoServings { dish } => {
            format!("{} does not say how many it serves: it is counted once (write `Serves 6`)", title(dish))
        }
        DishDoubt::NoShare { dish, line } => format!(
            "`{line}`: what {} makes is not written in a unit that compares; make sure there is some of each of its foods",
            title(dish)
        ),
        DishDoubt::Unread { dish, line } => format!("{}: no food could be read in `{line}`", title(dish)),
    }
}

/// An expired lot in words.
#[must_use]
pub fn expired(kitchen: &Kitchen, lot: &ExpiredLot) -> String {
    let (food, place) = (list_name(&kitchen.catalog, lot.food), pantry_name(kitchen, &lot.pantry));
    format!("{food} in {place}: past the date, {}, on the day of cooking, and not counted", lot.use_by)
}
