//! Which document, line or pick is meant by what a person typed.

use trug_catalog::fold;
use trug_device::{DocId, Entry};
use trug_replica::id::{Alias, PickId};
use trug_replica::run::{LineView, View};
use trug_seal::{DocumentKind, LogId};

use super::DeviceError;
use super::home::Home;

/// Letters and digits that cannot be taken for one another.
const LETTERS: &[u8; 32] = b"0123456789abcdefghjkmnpqrstvwxyz";
/// How many of them make a short name.
const SHORT: usize = 8;
/// The fewest letters by which a line or a pick is known.
const FEWEST: usize = 3;

/// A document's short name: the letters of its own where its key has them, else letters of its log.
pub(crate) fn short(id: &DocId, log: LogId) -> String {
    let text = id.as_str();
    match text.strip_prefix("trip/").and_then(|key| key.get(key.len().saturating_sub(SHORT)..)) {
        Some(letters) if letters.len() == SHORT => letters.to_owned(),
        _ => match text.strip_prefix("pantry/") {
            Some(pantry) => pantry.to_owned(),
            None => letters_of(log),
        },
    }
}

fn letters_of(log: LogId) -> String {
    let value = log.bytes().iter().take(SHORT).fold(0_u64, |sum, byte| (sum << 8) | u64::from(*byte));
    (0..SHORT)
        .filter_map(|at| LETTERS.get((value >> (59 - 5 * at)) as usize & 31))
        .map(|letter| char::from(*letter))
        .collect()
}

/// The trip that is meant: without a word the last that was made here, or the only one.
pub(crate) fn trip(home: &Home, asked: Option<&str>) -> Result<Entry, DeviceError> {
    let trips = home.device.trips();
    let Some(asked) = asked else {
        let own = trips.iter().find(|trip| trip.owned);
        return match (own, trips.as_slice()) {
            (Some(own), _) => Ok(own.clone()),
            (None, [only]) => Ok(only.clone()),
            (None, []) => Err(DeviceError::Asked(
                "there is no trip on this device; `trug run make` starts one, `trug run join` joins one".to_owned(),
            )),
            (None, _) => Err(DeviceError::Asked(format!("there are several trips here; name one: {}", listed(&trips)))),
        };
    };
    one_of(trips, asked, "trip")
}

/// The pantry that is meant.
pub(crate) fn pantry(home: &Home, asked: &str) -> Result<Entry, DeviceError> {
    let pantries = home.device.entries().into_iter().filter(|entry| entry.kind == DocumentKind::Pantry).collect();
    one_of(pantries, asked, "pantry")
}

fn one_of(entries: Vec<Entry>, asked: &str, what: &str) -> Result<Entry, DeviceError> {
    let asked = asked.trim();
    let low = asked.to_lowercase();
    let exact = |entry: &&Entry| short(&entry.id, entry.log) == low || entry.title.to_lowercase() == low;
    let begins = |entry: &&Entry| {
        let letters = short(&entry.id, entry.log);
        letters.starts_with(&low) && low.len() >= FEWEST || entry.title.to_lowercase().starts_with(&low)
    };
    let mut meant: Vec<&Entry> = entries.iter().filter(exact).collect();
    if meant.is_empty() && !low.is_empty() {
        meant = entries.iter().filter(begins).collect();
    }
    match meant.as_slice() {
        [one] => Ok((*one).clone()),
        [] if entries.is_empty() => Err(DeviceError::Asked(format!("there is no {what} on this device"))),
        [] => Err(DeviceError::Asked(format!("there is no {what} `{asked}` here; there is {}", listed(&entries)))),
        several => {
            let several: Vec<Entry> = several.iter().map(|entry| (*entry).clone()).collect();
            Err(DeviceError::Asked(format!("`{asked}` may be any of these: {}", listed(&several))))
        }
    }
}

fn listed(entries: &[Entry]) -> String {
    let names = entries.iter().map(|entry| {
        let letters = short(&entry.id, entry.log);
        if entry.title.is_empty() || entry.title == letters { letters } else { format!("{letters} ({})", entry.title) }
    });
    names.collect::<Vec<_>>().join(", ")
}

/// The line that is meant: by its food's name, the beginning of it, or the line's letters. `aliases` tell lines of one
/// food apart.
pub(crate) fn line<'v>(view: &'v View, asked: &str, aliases: &[Alias]) -> Result<&'v LineView, DeviceError> {
    let (low, folded) = (asked.trim().to_lowercase(), fold(asked));
    if low.is_empty() {
        return Err(DeviceError::Asked(
            "no line is meant by nothing; write a food's name or a line's letters".to_owned(),
        ));
    }
    let name = |line: &LineView| line.line.as_deref().map(|line| line.food().to_lowercase()).unwrap_or_default();
    let steps: [&dyn Fn(&LineView) -> bool; 5] = [
        &|line| line.id.as_str() == low,
        &|line| name(line) == low,
        &|line| !folded.is_empty() && fold(&name(line)) == folded,
        &|line| name(line).starts_with(&low),
        &|line| low.len() >= FEWEST && line.id.as_str().starts_with(&low),
    ];
    for meant in steps {
        let found: Vec<&LineView> = view.lines.iter().filter(|line| meant(line)).collect();
        match narrowed(found, aliases).as_slice() {
            [] => {}
            [one] => return Ok(one),
            several => {
                let several: Vec<String> = several.iter().map(|line| named(view, line)).collect();
                return Err(DeviceError::Asked(format!("`{asked}` may be any of these: {}", several.join("; "))));
            }
        }
    }
    let near = view.lines.iter().filter(|line| name(line).split(' ').any(|word| word.starts_with(&low)));
    let near: Vec<String> = near.map(|line| named(view, line)).collect();
    let near = if near.is_empty() {
        "`trug run show` lists what is on it".to_owned()
    } else {
        format!("there is {}", near.join("; "))
    };
    Err(DeviceError::Asked(format!("no line of this trip begins with `{asked}`; {near}")))
}

/// Lines that are wanted before those that are not, and those for the households that were named.
fn narrowed<'v>(found: Vec<&'v LineView>, aliases: &[Alias]) -> Vec<&'v LineView> {
    let prefer = |found: Vec<&'v LineView>, by: &dyn Fn(&LineView) -> bool| {
        let better: Vec<&LineView> = found.iter().copied().filter(|line| by(line)).collect();
        if better.is_empty() { found } else { better }
    };
    let found = prefer(found, &|line| !line.withdrawn);
    if aliases.is_empty() {
        found
    } else {
        prefer(found, &|line| aliases.iter().all(|alias| super::show::is_for(line, alias)))
    }
}

fn named(view: &View, line: &LineView) -> String {
    let food = line.line.as_deref().map_or("?", |line| line.food());
    let whom = super::show::aliases_of(line);
    let whom = if whom.is_empty() { String::new() } else { format!(" for {}", whom.join(", ")) };
    format!("{food}{whom} [{}]", line_letters(view, line))
}

/// The fewest letters that tell a line from all others of the trip.
pub(crate) fn line_letters(view: &View, line: &LineView) -> String {
    let id = line.id.as_str();
    let others = || view.lines.iter().map(|other| other.id.as_str()).filter(|other| *other != id);
    let enough = |len: &usize| id.get(..*len).is_none_or(|start| others().all(|other| !other.starts_with(start)));
    let len = (FEWEST + 1..id.len()).find(enough).unwrap_or(id.len());
    id.get(..len).unwrap_or(id).to_owned()
}

/// The first letters of a pick's number, as many as tell it from all others: they are drawn anew at each start of the
/// program, while its last ones count.
pub(crate) fn pick_letters(view: &View, pick: PickId) -> String {
    let number = number_of(pick);
    let others: Vec<String> = picks(view).filter(|other| *other != pick).map(number_of).collect();
    let beginning = |len: usize| number.get(..len).unwrap_or(&number);
    let enough = |len: &usize| others.iter().all(|other| !other.starts_with(beginning(*len)));
    let enough = (FEWEST + 1..=number.len()).find(enough);
    enough.map_or_else(|| pick.to_string(), |len| beginning(len).to_owned())
}

fn number_of(pick: PickId) -> String {
    let id = pick.to_string();
    id.split_once('-').map_or_else(|| id.clone(), |(_, number)| number.to_owned())
}

fn picks(view: &View) -> impl Iterator<Item = PickId> + '_ {
    view.lines.iter().flat_map(|line| line.picks.iter().chain(&line.struck)).map(|(id, _)| *id)
}

/// The pick that is meant: by its id, or the first letters of its number, or by its line where this device has one pick there.
pub(crate) fn pick(home: &Home, view: &View, asked: &str) -> Result<PickId, DeviceError> {
    let low = asked.trim().to_lowercase();
    let is_meant = |id: &PickId| id.to_string() == low || low.len() >= FEWEST && number_of(*id).starts_with(&low);
    let by_letters: Vec<PickId> = picks(view).filter(is_meant).collect();
    match by_letters.as_slice() {
        [one] => return Ok(*one),
        [] => {}
        several => {
            let several: Vec<String> = several.iter().map(ToString::to_string).collect();
            return Err(DeviceError::Asked(format!("`{asked}` may be any of these picks: {}", several.join(", "))));
        }
    }
    let line = line(view, asked, &[])?;
    let own: Vec<PickId> = line.picks.iter().map(|(id, _)| *id).filter(|id| id.device == home.device.id()).collect();
    match own.as_slice() {
        [one] => Ok(*one),
        [] => Err(DeviceError::Asked(format!(
            "this device has no pick on {}; name the pick by its letters, as `trug run show` prints them",
            named(view, line)
        ))),
        several => {
            let several: Vec<String> = several.iter().map(|id| pick_letters(view, *id)).collect();
            Err(DeviceError::Asked(format!(
                "this device has several picks on that line; name one: {}",
                several.join(", ")
            )))
        }
    }
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;
    use trug_replica::id::LineId;

    use trug_replica::run::{HandLine, Line, standing};

    use super::*;

    fn view(foods: &[(&str, &str, bool)]) -> View {
        let line = |(id, food, withdrawn): &(&str, &str, bool)| LineView {
            id: LineId::new(id).unwrap(),
            line: Some(Arc::new(Line::ByHand(HandLine {
                food: (*food).to_owned(),
                text: String::new(),
                section: "produce".to_owned(),
                alias: None,
            }))),
            withdrawn: *withdrawn,
            standing: standing(None, *withdrawn, &[]),
            picks: Vec::new(),
            struck: Vec::new(),
        };
        View { lines: foods.iter().map(line).collect(), unreadable: Vec::new() }
    }

    #[test]
    fn lines_are_found_as_people_call_them() {
        let view = view(&[
            ("k3j2aaaaaaaa", "Yellow onion", false),
            ("k3j2bbbbbbbb", "Yellow squash", false),
            ("aaaa11111111", "Carrot", false),
            ("aaaa22222222", "Carrot juice", false),
            ("bbbb11111111", "Leek", true),
            ("bbbb22222222", "Leek", false),
        ]);
        for (asked, want) in [
            ("yellow onion", Some("k3j2aaaaaaaa")),
            ("YELLOW O", Some("k3j2aaaaaaaa")),
            ("yellow onions", Some("k3j2aaaaaaaa")),
            ("carrot", Some("aaaa11111111")),
            ("carrot j", Some("aaaa22222222")),
            ("leek", Some("bbbb22222222")),
            ("bbbb11111111", Some("bbbb11111111")),
            ("k3j2b", Some("k3j2bbbbbbbb")),
            ("yellow", None),
            ("k3j", None),
            ("onion", None),
            ("", None),
            ("  ", None),
        ] {
            assert_eq!(line(&view, asked, &[]).ok().map(|line| line.id.as_str()), want, "{asked:?}");
        }
        let said = line(&view, "yellow", &[]).unwrap_err().to_string();
        assert!(said.contains("Yellow onion [k3j2a]") && said.contains("Yellow squash [k3j2b]"), "{said}");
        let said = line(&view, "onion", &[]).unwrap_err().to_string();
        assert!(said.contains("Yellow onion"), "{said}");
    }

    #[test]
    fn short_names_are_eight_letters() {
        let log = LogId::from_bytes([0xff; 16]);
        assert_eq!(short(&DocId::from("joined/x"), log), "zzzzzzzz");
        assert_eq!(short(&DocId::from("trip/0123456789ab4k7m2xya"), log), "4k7m2xya");
        assert_eq!(short(&DocId::from("pantry/kit"), log), "kit");
    }
}
