//! What others did, in words.

use trug_device::{DocId, Told};
use trug_replica::id::DeviceId;
use trug_replica::run::{Change, Claimed, Line};
use trug_replica::{book, pantry};

use super::home::Home;
use super::show::taken_text;

/// So many new lines at once are counted rather than named.
const MANY: usize = 12;

/// Everything that was told, each with the document's name before it. What comes in by a withdrawn log is told where it
/// goes on to.
pub(crate) fn texts(home: &Home, id: &DocId, told: &[Told]) -> Vec<String> {
    if id.as_str().starts_with("old/") {
        return Vec::new();
    }
    let title = home.device.entries().into_iter().find(|entry| entry.id == *id).map(|entry| entry.title);
    let title = title.filter(|title| !title.is_empty()).unwrap_or_else(|| id.to_string());
    let text = |told: &Told| match told {
        Told::Run(change) => run(home, id, change),
        Told::Pantry(change) => pantry(home, id, change),
        Told::Book(change) => Some(book(change)),
    };
    let new = told.iter().filter(|told| matches!(told, Told::Run(Change::LineNew(_)))).count();
    // A whole list that comes for the first time is read with `show`.
    let told = told.iter().filter(|told| new < MANY || !matches!(told, Told::Run(Change::LineNew(_))));
    let all = (new >= MANY).then(|| format!("{new} new lines on the list"));
    told.filter_map(text).chain(all).map(|text| format!("{title}: {text}")).collect()
}

fn named(name: Option<&String>, device: DeviceId) -> String {
    name.filter(|name| !name.is_empty()).map_or_else(|| device.to_string(), Clone::clone)
}

fn run(home: &Home, id: &DocId, change: &Change) -> Option<String> {
    let run = home.device.run(id)?;
    let people = run.people();
    let who = |device: DeviceId| named(people.get(&device), device);
    let food = |line| run.line(line).map_or_else(|| "a line".to_owned(), |line| line.food().to_owned());
    Some(match change {
        Change::Picked { pick, line } => {
            let view = run.view();
            let found =
                view.lines.iter().flat_map(|line| line.picks.iter().chain(&line.struck)).find(|(id, _)| id == pick);
            let did = found.map_or_else(|| "picked".to_owned(), |(_, pick)| taken_text(pick));
            format!("{}: {} {did}", food(line), who(pick.device))
        }
        Change::Struck { pick, line } => {
            let what = line.as_ref().map_or_else(|| "a line".to_owned(), food);
            format!("{what}: the pick of {} was undone", who(pick.device))
        }
        Change::LineNew(line) => {
            let what = run.line(line);
            let text = match &what {
                Some(Line::Planned(plan)) => plan.text.clone(),
                Some(Line::ByHand(hand)) => hand.text.clone(),
                None => String::new(),
            };
            format!("new on the list: {}{}{text}", food(line), if text.is_empty() { "" } else { ", " })
        }
        Change::LineChanged(line) => format!("{}: the plan has changed", food(line)),
        Change::LineWithdrawn(line) => format!("{}: no longer needed", food(line)),
        Change::LineWanted(line) => format!("{}: needed again", food(line)),
        Change::PlanChanged => "brought up to date with its plan".to_owned(),
        Change::Claimed(what) => {
            let of = match what {
                Claimed::Line(line) => food(line),
                Claimed::Section(name) | Claimed::Store(name) => name.clone(),
            };
            match run.claims().get(what) {
                Some(device) => format!("{} takes {of}", who(*device)),
                None => format!("nobody takes {of}"),
            }
        }
        Change::Noted(fact) => {
            let notes = run.notes();
            let note = notes.iter().find(|(id, _)| id == fact)?;
            format!("{} says: {}", who(fact.device), note.1.text)
        }
        Change::Named(device) => format!("{} is on the trip", who(*device)),
        Change::Paid(fact) => {
            let receipts = run.receipts();
            let (_, receipt) = receipts.iter().find(|(id, _)| id == fact)?;
            format!("{} paid {} {} at {}", who(fact.device), receipt.total, receipt.total.currency, receipt.store)
        }
        Change::Titled => format!("is called {}", run.title().unwrap_or_default()),
        Change::Unknown { .. } => "something came that this version cannot read; it is kept".to_owned(),
    })
}

fn pantry(home: &Home, id: &DocId, change: &pantry::Change) -> Option<String> {
    let pantry = home.device.pantry(id)?;
    let people = pantry.people();
    let who = |device: DeviceId| named(people.get(&device), device);
    let lots = pantry.view().lots;
    let food = |lot: &trug_replica::id::LotId| {
        let found = lots.iter().find(|one| one.id == *lot).and_then(|one| one.lot.as_ref());
        found.map_or_else(|| "something".to_owned(), |lot| lot.food.clone())
    };
    Some(match change {
        pantry::Change::Lot(lot) => format!("{}: written down", food(lot)),
        pantry::Change::Moved { fact, lot } => {
            let moved = lots.iter().flat_map(|lot| &lot.moves).find(|(id, _)| id == fact);
            let by = moved.map(|(_, moved)| format!(" {}", super::pantry::by_text(moved.by))).unwrap_or_default();
            format!("{}:{by} by {}", food(lot), who(fact.device))
        }
        pantry::Change::Counted { fact, lot } => {
            let counted = lots.iter().flat_map(|lot| &lot.counts).find(|(id, _)| id == fact);
            let seen =
                counted.map(|(_, count)| format!(" {}", super::pantry::seen_text(count.seen))).unwrap_or_default();
            format!("{}: {} counted{seen}", food(lot), who(fact.device))
        }
        pantry::Change::Struck(fact) => format!("a count or move of {} was undone", who(fact.device)),
        pantry::Change::Par(lot) => format!("{}: another par", food(lot)),
        pantry::Change::Named(device) => format!("{} counts here", who(*device)),
        pantry::Change::Titled => format!("is called {}", pantry.title().unwrap_or_default()),
        pantry::Change::Unknown { .. } => "something came that this version cannot read; it is kept".to_owned(),
    })
}

fn book(change: &book::Change) -> String {
    match change {
        book::Change::File(path) => format!("{path} has changed"),
        book::Change::Root(key) => format!("{key} is new or has moved"),
        book::Change::Setting(_) => "a setting has changed".to_owned(),
        book::Change::Helper(_) => "somebody was invited, or an invitation withdrawn".to_owned(),
        book::Change::Unknown(_) => "something came that this version cannot read; it is kept".to_owned(),
    }
}
