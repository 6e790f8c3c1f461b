//! How pantries are put into words: levels, dates, people, places.

use std::cell::RefCell;
use std::rc::Rc;

use trug_catalog::Keep;
use trug_device::{DocId, Entry};
use trug_measure::{Amount, System};
use trug_provision::kitchen::{Kitchen, PantryId};
use trug_replica::id::{DeviceId, Stamp};
use trug_replica::pantry::{Counted, Level};
use trug_seal::DocumentKind;
use yew::AttrValue;

use super::board::{Doubt, Due, Par, Row};
use super::measure::{self, Wrong};
use crate::desk::{Desk, stamp};
use crate::look::Shape;
use crate::platform::locale::{DateForm, Locale, preferred};
use crate::words::{Language, spoken, t};

thread_local! {
    static LOCALE: RefCell<Option<Rc<Locale>>> = const { RefCell::new(None) };
}

/// The reader's way of writing, in the language that is spoken: of several regions the reader's own.
pub(super) fn locale() -> Rc<Locale> {
    let tag = preferred().into_iter().find(|tag| Language::of_tag(tag) == Some(spoken()));
    let tag = tag.unwrap_or_else(|| spoken().tag().to_owned());
    LOCALE.with(|kept| {
        let mut kept = kept.borrow_mut();
        match &*kept {
            Some(known) if known.tag() == tag => known.clone(),
            _ => kept.insert(Rc::new(Locale::new(&tag))).clone(),
        }
    })
}

/// The units that the reader reads in: the kitchen's, or those of the reader's country.
pub(super) fn system(desk: &Desk) -> System {
    if let Some(Ok(now)) = desk.kitchen() {
        return now.kitchen.units;
    }
    match desk.preference("units").as_deref() {
        Some("metric") => System::Metric,
        Some("us") => System::Us,
        _ => system_of(preferred().first().map(String::as_str)),
    }
}

/// The United States measure in their own units; a language without a country says nothing else.
fn system_of(tag: Option<&str>) -> System {
    match tag.and_then(|tag| tag.split_once('-')) {
        Some((_, region)) if !region.to_uppercase().ends_with("US") => System::Metric,
        _ => System::Us,
    }
}

/// A pantry on this device.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Pantry {
    /// Its document.
    pub(super) doc: DocId,
    /// What a person calls it.
    pub(super) name: AttrValue,
    /// It is the chef's own kit.
    pub(super) is_kit: bool,
    /// The chef can let a client count in it.
    pub(super) owned: bool,
}

/// The pantries of this device, the kit first, then by name.
pub(super) fn pantries(desk: &Desk) -> Vec<Pantry> {
    let now = desk.kitchen().and_then(Result::ok);
    let kitchen = now.as_ref().map(|now| &now.kitchen);
    let entries = desk.entries().into_iter().filter(|entry| entry.kind == DocumentKind::Pantry);
    let mut pantries: Vec<Pantry> = entries.map(|entry| pantry(desk, kitchen, &entry)).collect();
    pantries.sort_by_cached_key(|one| (!one.is_kit, one.name.to_lowercase()));
    pantries
}

fn pantry(desk: &Desk, kitchen: Option<&Kitchen>, entry: &Entry) -> Pantry {
    let own = desk.read(|device| device.pantry(&entry.id).and_then(trug_replica::pantry::Pantry::title));
    let key = entry.id.as_str().strip_prefix("pantry/");
    let is_kit = key.is_some() && kitchen.and_then(|kitchen| kitchen.kit.as_ref()).map(PantryId::as_str) == key;
    let named = own.filter(|own| !own.trim().is_empty()).map(AttrValue::from);
    let name = named.or_else(|| key.map(|key| name_of(kitchen, key))).unwrap_or_else(|| t!("pantry.here"));
    Pantry { doc: entry.id.clone(), name, is_kit, owned: entry.owned && key.is_some() }
}

/// What a pantry is called that has no name of its own: the kit's, its household's, or its id in the folder.
pub(super) fn name_of(kitchen: Option<&Kitchen>, id: &str) -> AttrValue {
    let Some(kitchen) = kitchen else { return id.to_owned().into() };
    if kitchen.kit.as_ref().map(PantryId::as_str) == Some(id) {
        return t!("pantry.kit");
    }
    let of =
        |household: &&trug_provision::kitchen::Household| household.pantry.as_ref().map(PantryId::as_str) == Some(id);
    kitchen.households.values().find(of).map_or_else(|| id.to_owned().into(), |household| household.name.clone().into())
}

/// The place where food is kept so.
pub(super) fn place(keep: Keep) -> AttrValue {
    match keep {
        Keep::Ambient => t!("pantry.place_ambient"),
        Keep::Chilled => t!("pantry.place_chilled"),
        Keep::Frozen => t!("pantry.place_frozen"),
    }
}

/// What the app and its fields call a way of keeping.
pub(super) fn keep_icon(keep: Keep) -> Shape {
    match keep {
        Keep::Ambient => Shape::Shelf,
        Keep::Chilled | Keep::Frozen => Shape::Cold,
    }
}

/// An amount, for reading.
pub(super) fn amount(amount: Amount, system: System) -> String {
    measure::shown(amount, system)
}

/// How much there is.
pub(super) fn level(level: &Level, system: System) -> AttrValue {
    match level {
        Level::Plenty => t!("pantry.plenty"),
        Level::Some => t!("pantry.some"),
        Level::Out => t!("pantry.out"),
        Level::Amount(much) if much.value.is_positive() => amount(*much, system).into(),
        Level::Amount(_) => t!("pantry.below_nothing"),
    }
}

/// What somebody saw.
pub(super) fn seen(seen: Counted, system: System) -> AttrValue {
    match seen {
        Counted::Plenty => t!("pantry.plenty"),
        Counted::Some => t!("pantry.some"),
        Counted::Out => t!("pantry.out"),
        Counted::Amount(much) if much.value.is_positive() => amount(much, system).into(),
        Counted::Amount(_) => t!("pantry.out"),
    }
}

/// The date of a lot; nothing where it has none.
pub(super) fn date_word(row: &Row) -> Option<AttrValue> {
    let text = row.use_by.as_deref()?;
    let date = locale().date(text, DateForm::Short);
    Some(match row.due {
        Due::Past(_) => t!("pantry.past_since", date = date),
        Due::Soon(0) => t!("pantry.use_by_today"),
        Due::Soon(1) => t!("pantry.use_by_tomorrow"),
        Due::Soon(_) | Due::Later | Due::Never => t!("pantry.use_by_date", date = date),
    })
}

/// How a lot stands to its par; nothing where that is well.
pub(super) fn short(row: &Row, system: System) -> Option<AttrValue> {
    match row.short {
        Par::Well => None,
        Par::Short(lacking) => Some(t!("pantry.below_par_by", amount = amount(lacking, system))),
        Par::Unclear => Some(t!("pantry.par_unclear")),
    }
}

/// Why the list does not go by a lot, and what to do.
pub(super) fn doubt(doubt: Doubt) -> AttrValue {
    match doubt {
        Doubt::Disputed => t!("pantry.doubt_disputed"),
        Doubt::BelowNothing => t!("pantry.doubt_below"),
        Doubt::Some => t!("pantry.doubt_some"),
    }
}

/// Who a device's person is.
pub(super) fn who(desk: &Desk, doc: &DocId, device: DeviceId) -> AttrValue {
    if desk.read(|here| here.id()) == device {
        return t!("common.you");
    }
    let name = desk.read(|here| here.pantry(doc).and_then(|pantry| pantry.people().get(&device).cloned()));
    name.filter(|name| !name.is_empty()).map_or_else(|| t!("common.somebody"), AttrValue::from)
}

/// How long ago something was.
pub(super) fn ago(at: Stamp) -> String {
    locale().relative(at.0, stamp().0)
}

/// What is wrong with an amount, and what would be right.
pub(super) fn wrong(wrong: &Wrong) -> AttrValue {
    match wrong {
        Wrong::NoAmount(read) => t!("error.wrong_amount", read = read),
        Wrong::TooMuch(read) => t!("pantry.too_much", read = read),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_readers_country_measures() {
        let table = [
            (None, System::Us),
            (Some("en"), System::Us),
            (Some("en-US"), System::Us),
            (Some("es-US"), System::Us),
            (Some("en-GB"), System::Metric),
            (Some("es-MX"), System::Metric),
        ];
        for (tag, expected) in table {
            assert_eq!(system_of(tag), expected, "{tag:?}");
        }
    }
}
