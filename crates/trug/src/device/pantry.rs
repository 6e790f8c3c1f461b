//! The verbs of `trug pantry`.

use serde_json::{Value, json};
use trug_catalog::{Catalog, Keep, fold};
use trug_device::{DocId, Entry};
use trug_measure::Amount;
use trug_replica::id::{DeviceId, FactId, LotId, Stamp};
use trug_replica::pantry::{Counted, Level, Lot, LotView, Move, Pantry};

use super::args::WhichLot;
use super::home::{Home, now};
use super::show::amount_json;
use super::{Answer, DeviceError, find, words};

fn stamp() -> Stamp {
    Stamp(i64::try_from(now().0).unwrap_or(i64::MAX))
}

/// `+2 lb` or `-200 g`.
pub(crate) fn by_text(by: Amount) -> String {
    if by.value.is_positive() {
        return format!("+{}", by.as_written());
    }
    let less = Amount::new(trug_measure::Exact::ZERO - by.value, by.unit);
    format!("-{}", less.as_written())
}

/// What somebody saw.
pub(crate) fn seen_text(seen: Counted) -> String {
    match seen {
        Counted::Amount(amount) => amount.as_written(),
        Counted::Plenty => "plenty".to_owned(),
        Counted::Some => "some".to_owned(),
        Counted::Out => "none".to_owned(),
    }
}

fn level_text(level: &Level) -> String {
    match level {
        Level::Amount(amount) if amount.value.is_positive() => amount.as_written(),
        Level::Amount(_) => "more was taken than anybody counted: count it".to_owned(),
        Level::Plenty => "plenty".to_owned(),
        Level::Some => "some".to_owned(),
        Level::Out => "out".to_owned(),
    }
}

const fn level_word(level: &Level) -> &'static str {
    match level {
        Level::Amount(amount) if amount.value.is_positive() => "amount",
        Level::Amount(_) => "below nothing",
        Level::Plenty => "plenty",
        Level::Some => "some",
        Level::Out => "out",
    }
}

/// What is on hand.
pub(crate) fn list(home: &Home, asked: Option<&str>) -> Result<Answer, DeviceError> {
    let pantries: Vec<Entry> = match asked {
        Some(asked) => vec![find::pantry(home, asked)?],
        None => {
            let entries = home.device.entries().into_iter();
            entries.filter(|entry| entry.kind == trug_seal::DocumentKind::Pantry).collect()
        }
    };
    let (mut lines, mut data) = (Vec::new(), Vec::new());
    for entry in &pantries {
        let Some(pantry) = home.device.pantry(&entry.id) else { continue };
        let people = pantry.people();
        let view = pantry.view();
        let letters = find::short(&entry.id, entry.log);
        let title = if entry.title.is_empty() { letters.clone() } else { entry.title.clone() };
        lines.push(if title == letters { title.clone() } else { format!("{title} ({letters})") });
        lines.extend(view.lots.iter().flat_map(lot_text));
        if view.lots.is_empty() {
            lines.push("  nothing written down".to_owned());
        }
        let by = |device: DeviceId| json!(people.get(&device).cloned().unwrap_or_else(|| device.to_string()));
        data.push(json!({
            "id": letters, "title": title, "owned": entry.owned,
            "to_send": home.device.shelf(&entry.id).map_or(0, |shelf| shelf.status().to_send),
            "lots": view.lots.iter().map(|lot| lot_json(lot, &by)).collect::<Vec<_>>(),
        }));
    }
    if lines.is_empty() {
        lines.push("no pantries here; `trug run make` or `trug book import` brings a kitchen's in".to_owned());
    }
    Ok(Answer::new(lines, json!({ "pantries": data })))
}

fn lot_text(lot: &LotView) -> Vec<String> {
    let Some(said) = &lot.lot else {
        return vec![format!("  something that is not written down here: {}", level_text(&lot.level))];
    };
    let keep = if said.keep == Keep::Ambient { String::new() } else { format!(", {}", said.keep.name()) };
    let day = said.use_by.as_ref().map(|day| format!(", use by {day}")).unwrap_or_default();
    let par = lot.par.map(|par| format!(", par {}", par.as_written())).unwrap_or_default();
    let mut text = vec![format!("  {}: {}{keep}{day}{par}", said.food, level_text(&lot.level))];
    if lot.disputed {
        let seen: Vec<String> = lot.counts.iter().map(|(_, count)| seen_text(count.seen)).collect();
        text.push(format!("      counted apart, with different outcomes ({}): count it again", seen.join(", ")));
    }
    text
}

fn lot_json(lot: &LotView, by: &dyn Fn(DeviceId) -> Value) -> Value {
    let amount = if let Level::Amount(amount) = &lot.level { Some(*amount) } else { None };
    let counts = lot.counts.iter().map(|(id, count)| {
        let seen = match count.seen {
            Counted::Amount(amount) => amount_json(Some(amount)),
            other => json!(seen_text(other)),
        };
        json!({ "id": id.to_string(), "by": by(id.device), "seen": seen, "at": count.at.0 })
    });
    let moves = lot.moves.iter().map(|(id, moved)| {
        json!({
            "id": id.to_string(), "by": by(id.device), "amount": amount_json(Some(moved.by)), "why": moved.why,
            "at": moved.at.0,
        })
    });
    json!({
        "id": lot.id.as_str(),
        "food": lot.lot.as_ref().map(|lot| lot.food.clone()),
        "keep": lot.lot.as_ref().map(|lot| lot.keep.name()),
        "use_by": lot.lot.as_ref().and_then(|lot| lot.use_by.clone()),
        "level": level_word(&lot.level),
        "amount": amount_json(amount),
        "par": amount_json(lot.par),
        "disputed": lot.disputed,
        "counts": counts.collect::<Vec<_>>(),
        "moves": moves.collect::<Vec<_>>(),
    })
}

/// The lot that is meant, and what it would be where there is none yet.
enum Meant {
    There(LotId, String),
    New(Lot),
}

/// Finds a lot by its food; `which` tells lots of one food apart, and says how a new one is kept.
fn meant(home: &Home, entry: &Entry, food: &str, which: &WhichLot) -> Result<Meant, DeviceError> {
    let food = food.trim();
    if food.is_empty() {
        return Err(DeviceError::Asked("no food was named".to_owned()));
    }
    let keep = which.keep.as_deref().map(words::keep).transpose()?;
    let day = which.use_by.as_deref().map(words::day).transpose()?;
    let lots = home.device.pantry(&entry.id).map(|pantry| pantry.view().lots).unwrap_or_default();
    let kitchen = super::kitchen_of(home);
    let catalog = kitchen.as_ref().map_or(Catalog::builtin(), |kitchen| &kitchen.catalog);
    let known = catalog.find_as_written(food).map(|found| found.food);
    let same = |lot: &Lot| {
        fold(&lot.food) == fold(food)
            || known.is_some() && catalog.find_as_written(&lot.food).map(|found| found.food) == known
    };
    let fits = |lot: &Lot| keep.is_none_or(|keep| keep == lot.keep) && (day.is_none() || day == lot.use_by);
    let by_id = lots.iter().filter(|lot| lot.id.as_str() == food);
    let by_food = lots.iter().filter(|lot| lot.lot.as_ref().is_some_and(|lot| same(lot) && fits(lot)));
    let found: Vec<&LotView> = by_id.chain(by_food).collect();
    match found.as_slice() {
        [one] => {
            Ok(Meant::There(one.id.clone(), one.lot.as_ref().map_or_else(|| food.to_owned(), |lot| lot.food.clone())))
        }
        [] => {
            let usual = known.map_or(Keep::Ambient, |food| catalog.get(food).keep);
            Ok(Meant::New(Lot { food: food.to_owned(), keep: keep.unwrap_or(usual), use_by: day }))
        }
        several => {
            let several = several.iter().filter_map(|view| view.lot.as_ref()).map(|lot| {
                let day = lot.use_by.as_deref().unwrap_or("no date");
                format!("{} {} ({day})", lot.food, lot.keep.name())
            });
            Err(DeviceError::Asked(format!(
                "`{food}` is here more than once: {}; tell them apart with --keep or --use-by",
                several.collect::<Vec<_>>().join(", ")
            )))
        }
    }
}

/// The lot, written down where it is new.
fn need_lot(home: &mut Home, id: &DocId, meant: Meant) -> Result<(LotId, String), DeviceError> {
    match meant {
        Meant::There(lot, food) => Ok((lot, food)),
        Meant::New(lot) => {
            let added =
                home.act(|device, at, out| device.edit(at, id, |pantry: &mut Pantry| pantry.add_lot(&lot), out))??;
            Ok((added, lot.food))
        }
    }
}

/// The pantry that is meant; one that the kitchen names and nobody has counted yet is begun.
fn pantry(home: &mut Home, asked: &str) -> Result<Entry, DeviceError> {
    let missing = match find::pantry(home, asked) {
        Ok(entry) => return Ok(entry),
        Err(error) => error,
    };
    let named = super::kitchen_of(home).is_some_and(|kitchen| {
        let kit = kitchen.kit.iter();
        let own = kitchen.households.values().filter_map(|household| household.pantry.as_ref());
        kit.chain(own).any(|pantry| pantry.as_str() == asked)
    });
    if !named {
        return Err(missing);
    }
    home.act(|device, at, out| device.need_pantry(at, asked, out))??;
    find::pantry(home, asked)
}

fn done(home: &Home, entry: &Entry, text: &str, food: &str, fact: Option<FactId>, lot: &LotId) -> Answer {
    let view = home.device.pantry(&entry.id).map(Pantry::view).unwrap_or_default();
    let level = view.lots.iter().find(|one| one.id == *lot).map(|one| one.level.clone());
    let now = level.as_ref().map(level_text).unwrap_or_default();
    let json = json!({
        "pantry": find::short(&entry.id, entry.log), "lot": lot.as_str(), "food": food, "id": fact.map(|fact| fact.to_string()),
        "level": level.as_ref().map(level_word),
        "amount": if let Some(Level::Amount(amount)) = level { amount_json(Some(amount)) } else { Value::Null },
    });
    let tag = fact.map(|fact| format!(" <{fact}>")).unwrap_or_default();
    Answer::new(vec![format!("{food}: {text}; there is now: {now}{tag}")], json)
}

/// Says how much there is.
pub(crate) fn count(
    home: &mut Home,
    asked: &str,
    food: &str,
    seen: &str,
    which: &WhichLot,
) -> Result<Answer, DeviceError> {
    let seen = words::seen(seen)?;
    let entry = pantry(home, asked)?;
    let meant = meant(home, &entry, food, which)?;
    let (lot, food) = need_lot(home, &entry.id, meant)?;
    let fact = home.act(|device, at, out| {
        device.edit(at, &entry.id, |pantry: &mut Pantry| pantry.count(&lot, seen, stamp()), out)
    })??;
    Ok(done(home, &entry, &format!("counted {}", seen_text(seen)), &food, Some(fact), &lot))
}

/// Puts something there, or takes it away.
pub(crate) fn move_stock(
    home: &mut Home,
    asked: &str,
    food: &str,
    by: &str,
    why: &str,
    which: &WhichLot,
) -> Result<Answer, DeviceError> {
    let by = words::change(by)?;
    let entry = pantry(home, asked)?;
    let meant = meant(home, &entry, food, which)?;
    if let (Meant::New(lot), false) = (&meant, by.value.is_positive()) {
        return Err(DeviceError::Asked(format!(
            "there is no {} in this pantry to take from; count it first",
            lot.food
        )));
    }
    let (lot, food) = need_lot(home, &entry.id, meant)?;
    let moved = Move { lot: lot.clone(), by, why: why.to_owned(), at: stamp() };
    let fact =
        home.act(|device, at, out| device.edit(at, &entry.id, |pantry: &mut Pantry| pantry.move_stock(&moved), out))??;
    Ok(done(home, &entry, &by_text(by), &food, Some(fact), &lot))
}

/// Says how much there should always be.
pub(crate) fn par(
    home: &mut Home,
    asked: &str,
    food: &str,
    amount: &str,
    which: &WhichLot,
) -> Result<Answer, DeviceError> {
    let par = if amount.trim().eq_ignore_ascii_case("none") { None } else { Some(words::amount(amount)?) };
    let entry = pantry(home, asked)?;
    let meant = meant(home, &entry, food, which)?;
    let (lot, food) = need_lot(home, &entry.id, meant)?;
    home.act(|device, at, out| device.edit(at, &entry.id, |pantry: &mut Pantry| pantry.set_par(&lot, par), out))??;
    let text = par.map_or_else(|| "no par".to_owned(), |par| format!("par {}", par.as_written()));
    Ok(done(home, &entry, &text, &food, None, &lot))
}

/// Undoes a count or a move.
pub(crate) fn undo(home: &mut Home, asked: &str, fact: &str) -> Result<Answer, DeviceError> {
    let entry = pantry(home, asked)?;
    let fact: FactId = fact.parse().map_err(|error: trug_replica::id::BadId| DeviceError::Asked(error.to_string()))?;
    let new = home
        .act(|device, at, out| device.edit(at, &entry.id, |pantry: &mut Pantry| pantry.strike(fact, stamp()), out))??;
    let text = if new { "undone" } else { "it was undone before" };
    Ok(Answer::new(vec![text.to_owned()], json!({ "id": fact.to_string(), "new": new })))
}
