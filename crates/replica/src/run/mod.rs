//! A shopping trip: what to buy, and what happened.
//!
//! A helper who is given a run sees what to buy, for which household by an alias made for this run, and what it must not
//! contain. Diners, diets, budgets, dishes and ids of the book are not in it.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::{Arc, Mutex, PoisonError};

use trug_measure::Money;

use crate::document::{Arrived, document};
use crate::gather;
use crate::id::{Alias, DeviceId, FactId, LineId, PickId, Stamp};
use crate::record::{Reader, Unreadable, Writer};
use crate::replica::{EditError, Put, Replica};
use crate::schema::{MapAt, RUN};
use crate::text;

mod line;
mod pick;
mod state;
mod update;

pub use line::{HandLine, Line, MustNot, Pack, PlanLine, Share, Subs, plan_lines};
pub use pick::{Label, Pick, Quantity, Taken};
pub use state::{LineState, Standing, standing};
pub use update::{Revision, Updated};

const META: MapAt = MapAt(0);
const LINES: MapAt = MapAt(1);
const PICKS: MapAt = MapAt(2);
const STRIKES: MapAt = MapAt(3);
const WITHDRAWN: MapAt = MapAt(4);
const CLAIMS: MapAt = MapAt(5);
const NOTES: MapAt = MapAt(6);
const PEOPLE: MapAt = MapAt(7);
const RECEIPTS: MapAt = MapAt(8);

const TITLE: &str = "title";
const PLAN: &str = "plan";

/// A shopping trip's document.
#[derive(Debug)]
pub struct Run {
    replica: Replica,
    /// The lines as they were last read, and how old the map was then: hundreds of them, of which a tick changes none.
    lines: Mutex<Option<(Age, Arc<Read>)>>,
}

/// See [`Replica::age`].
type Age = (u64, u64);

/// All lines that were read, and what cannot be.
#[derive(Debug, Default)]
struct Read {
    lines: Vec<(LineId, Option<Arc<Line>>)>,
    unreadable: Unread,
}

document!(Run, Change, RUN, lines);

/// What a device takes upon itself.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub enum Claimed {
    /// One line.
    Line(LineId),
    /// A whole section.
    Section(String),
    /// A whole store.
    Store(String),
}

/// What a till took.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Receipt {
    /// Where.
    pub store: String,
    /// How much in all.
    pub total: Money,
    /// For which household, where it is its own receipt.
    pub alias: Option<Alias>,
    /// When, by the device's clock.
    pub at: Stamp,
}

/// A remark to everybody on the trip.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Note {
    /// About which line.
    pub line: Option<LineId>,
    /// What it says.
    pub text: String,
    /// When, by the device's clock.
    pub at: Stamp,
}

/// What a merge changed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Change {
    /// Somebody picked.
    Picked {
        /// The pick, and in it whose.
        pick: PickId,
        /// Of which line.
        line: LineId,
    },
    /// Somebody undid a pick.
    Struck {
        /// The pick.
        pick: PickId,
        /// Of which line, where the pick is here.
        line: Option<LineId>,
    },
    /// The plan, or somebody by hand, wants something new.
    LineNew(LineId),
    /// The plan wants something else of a line.
    LineChanged(LineId),
    /// The plan no longer wants a line.
    LineWithdrawn(LineId),
    /// The plan wants a line again.
    LineWanted(LineId),
    /// The run follows another plan.
    PlanChanged,
    /// Somebody takes something upon themselves, or gives it up.
    Claimed(Claimed),
    /// Somebody remarked.
    Noted(FactId),
    /// A device's person gave a name.
    Named(DeviceId),
    /// A till was paid.
    Paid(FactId),
    /// The trip has another title.
    Titled,
    /// Something came that this program cannot read; it is kept.
    Unknown {
        /// The map's name.
        map: &'static str,
        /// The key.
        key: String,
    },
}

/// A line with all that is known of it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LineView {
    /// Its id.
    pub id: LineId,
    /// What the plan, or the person who added it, says of it. `None` where picks name a line that is not here, or cannot
    /// be read: what was bought stays visible.
    pub line: Option<Arc<Line>>,
    /// The plan no longer wants it.
    pub withdrawn: bool,
    /// How it stands.
    pub standing: Standing,
    /// The picks that stand, by id.
    pub picks: Vec<(PickId, Pick)>,
    /// The picks that were struck, by id.
    pub struck: Vec<(PickId, Pick)>,
}

/// What a run shows.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct View {
    /// All lines, in walking order; those added by hand after the plan's.
    pub lines: Vec<LineView>,
    /// What cannot be read, by map and key, with the reason: kept, and shown as it is.
    pub unreadable: Unread,
}

/// Where distinct values were set apart, and nobody has said which holds.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Conflict {
    /// About what.
    pub about: About,
    /// All distinct values, as their records have them.
    pub values: Vec<String>,
}

/// What a conflict is about.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum About {
    /// What the plan says of a line; [`Run::line_values`] reads the values.
    Line(LineId),
    /// Who takes what.
    Claim(Claimed),
    /// A device's name.
    Name(DeviceId),
    /// The trip's title.
    Title,
    /// A fact was written twice under one id: both are believed.
    Fact(&'static str, String),
}

impl Run {
    /// Names the trip.
    ///
    /// # Errors
    /// Where the run is read-only or the title too long.
    pub fn set_title(&mut self, title: &str) -> Result<bool, EditError> {
        self.replica.edit(&[Put::new(META, TITLE, title.to_owned())])
    }

    /// The trip's title.
    #[must_use]
    pub fn title(&self) -> Option<String> {
        self.replica.get(META, TITLE)
    }

    /// Says what this device's person is called: what others see beside its picks.
    ///
    /// # Errors
    /// Where the run is read-only or the name too long.
    pub fn set_name(&mut self, name: &str) -> Result<bool, EditError> {
        self.replica.edit(&[Put::new(PEOPLE, self.replica.device(), name.to_owned())])
    }

    /// What the people on the trip are called, by device.
    #[must_use]
    pub fn people(&self) -> BTreeMap<DeviceId, String> {
        let entries = self.replica.entries(PEOPLE);
        gather::map(entries.into_iter().filter_map(|(key, held)| Some((key.parse().ok()?, held.text))))
    }

    /// Records a pick. It is never changed; [`strike`](Self::strike) undoes it.
    ///
    /// # Errors
    /// Where the run is read-only or a text too long.
    pub fn pick(&mut self, pick: &Pick) -> Result<PickId, EditError> {
        self.fact(PICKS, pick.write())
    }

    /// Undoes a pick, one's own or another's.
    ///
    /// # Errors
    /// Where the run is read-only or has no such pick.
    pub fn strike(&mut self, pick: PickId, at: Stamp) -> Result<bool, EditError> {
        let key = pick.to_string();
        if !self.replica.has(PICKS, &key) {
            return Err(EditError::Unknown { what: "pick", id: key });
        }
        if self.replica.has(STRIKES, &key) {
            return Ok(false);
        }
        let by = Writer::new("strike").put('d', &self.replica.device().to_string()).put('t', &text::stamp(at));
        self.replica.edit(&[Put::new(STRIKES, key, by.finish())])
    }

    /// Adds a line by hand.
    ///
    /// # Errors
    /// Where the run is read-only or a text too long.
    pub fn add_line(&mut self, line: &HandLine) -> Result<LineId, EditError> {
        self.replica.check_writable()?;
        let id = self.replica.next_fact().to_string();
        self.replica.edit(&[Put::new(LINES, &id, Line::ByHand(line.clone()).write())])?;
        LineId::new(&id).map_err(|bad| EditError::NotWritten(bad.to_string()))
    }

    /// Takes something upon this device, or, with `None`, gives it up for whoever has it.
    ///
    /// # Errors
    /// Where the run is read-only or a text too long.
    pub fn claim(&mut self, what: &Claimed, who: Option<DeviceId>) -> Result<bool, EditError> {
        let who = who.map_or_else(String::new, |device| device.to_string());
        self.replica.edit(&[Put::new(CLAIMS, what.key(), who)])
    }

    /// Who takes what.
    #[must_use]
    pub fn claims(&self) -> BTreeMap<Claimed, DeviceId> {
        let entries = self.replica.entries(CLAIMS);
        gather::map(entries.into_iter().filter_map(|(key, held)| Some((Claimed::of(&key)?, held.text.parse().ok()?))))
    }

    /// Remarks something to everybody on the trip.
    ///
    /// # Errors
    /// Where the run is read-only or the text too long.
    pub fn note(&mut self, note: &Note) -> Result<FactId, EditError> {
        let line = note.line.as_ref().map(LineId::as_str);
        let record = Writer::new("note").maybe('l', line).put('t', &text::stamp(note.at)).put('x', &note.text);
        self.fact(NOTES, record.finish())
    }

    /// The remarks, by id.
    #[must_use]
    pub fn notes(&self) -> Vec<(FactId, Note)> {
        self.facts(NOTES, read_note).0
    }

    /// Records what a till took.
    ///
    /// # Errors
    /// Where the run is read-only or a text too long.
    pub fn pay(&mut self, receipt: &Receipt) -> Result<FactId, EditError> {
        let record = Writer::new("receipt")
            .put('s', &receipt.store)
            .put('c', &text::money(receipt.total))
            .maybe('a', receipt.alias.as_ref().map(Alias::as_str))
            .put('t', &text::stamp(receipt.at));
        self.fact(RECEIPTS, record.finish())
    }

    /// What tills took, by id.
    #[must_use]
    pub fn receipts(&self) -> Vec<(FactId, Receipt)> {
        self.facts(RECEIPTS, read_receipt).0
    }

    /// A line, as it stands.
    #[must_use]
    pub fn line(&self, id: &LineId) -> Option<Line> {
        Line::read(id.as_str(), &self.replica.get(LINES, id.as_str())?).ok()
    }

    /// All distinct values of a line that were set apart; one where there is no conflict.
    #[must_use]
    pub fn line_values(&self, id: &LineId) -> Vec<Line> {
        let texts = self.replica.all(LINES, id.as_str());
        texts.iter().filter_map(|text| Line::read(id.as_str(), text).ok()).collect()
    }

    /// Settles a conflict about a line: what a person chose among [`line_values`](Self::line_values).
    ///
    /// # Errors
    /// Where the run is read-only, or has no such line.
    pub fn settle_line(&mut self, id: &LineId, line: &Line) -> Result<bool, EditError> {
        if !self.replica.has(LINES, id.as_str()) {
            return Err(EditError::Unknown { what: "line", id: id.to_string() });
        }
        self.replica.edit(&[Put::new(LINES, id, line.write())])
    }

    /// Everything: all lines, how they stand, and their picks.
    #[must_use]
    pub fn view(&self) -> View {
        let (picks, mut unreadable) = self.facts(PICKS, Pick::read);
        let struck = gather::set(self.replica.entries(STRIKES).iter().filter_map(|(key, _)| key.parse().ok()));
        let mut by_line: BTreeMap<LineId, Vec<(PickId, Pick)>> = BTreeMap::new();
        for (id, pick) in picks {
            by_line.entry(pick.line.clone()).or_default().push((id, pick));
        }
        let withdrawn = update::withdrawn(&self.replica);
        let read = self.read_lines();
        unreadable.extend(read.unreadable.iter().cloned());
        let mut lines = Vec::new();
        for (id, line) in &read.lines {
            let picks = by_line.remove(id).unwrap_or_default();
            lines.push(line_view(id.clone(), line.clone(), withdrawn.contains(id.as_str()), picks, &struck));
        }
        // What was bought of a line that is not here stays visible.
        lines.extend(by_line.into_iter().map(|(id, picks)| line_view(id, None, true, picks, &struck)));
        lines.sort_by(|one, other| order(one).cmp(&order(other)));
        View { lines, unreadable }
    }

    /// The lines, read again only where an edit or a merge may have changed them.
    fn read_lines(&self) -> Arc<Read> {
        let age = self.replica.age(LINES);
        // Whoever panicked while it held this has left it as it was.
        let mut known = self.lines.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some((then, read)) = &*known
            && *then == age
        {
            return read.clone();
        }
        let mut read = Read::default();
        for (key, held) in self.replica.entries(LINES) {
            let Ok(id) = LineId::new(&key) else {
                read.unreadable.push(("lines", key.clone(), Unreadable::Key(key)));
                continue;
            };
            let line = Line::read(&key, &held.text).map_err(|why| read.unreadable.push(("lines", key, why)));
            read.lines.push((id, line.ok().map(Arc::new)));
        }
        let read = Arc::new(read);
        *known = Some((age, read.clone()));
        read
    }

    /// Where distinct values were set apart. What plans once said of a line that is withdrawn is nothing to ask about.
    #[must_use]
    pub fn conflicts(&self) -> Vec<Conflict> {
        let registers = [LINES, CLAIMS, PEOPLE, META].into_iter();
        let facts = [(PICKS, "picks"), (NOTES, "notes"), (RECEIPTS, "receipts")].into_iter();
        let found = registers.flat_map(|map| self.replica.conflicts(map).into_iter().map(move |found| (map, found)));
        let withdrawn = update::withdrawn(&self.replica);
        let asked = found.filter(|(map, (key, _))| *map != LINES || !withdrawn.contains(key));
        let about = asked.filter_map(|(map, (key, values))| Some(Conflict { about: About::of(map, &key)?, values }));
        let twice = facts.flat_map(|(map, name)| {
            let found = self.replica.conflicts(map).into_iter();
            found.map(move |(key, values)| Conflict { about: About::Fact(name, key), values })
        });
        about.chain(twice).collect()
    }

    fn fact(&mut self, map: MapAt, value: String) -> Result<FactId, EditError> {
        let id = self.replica.next_fact();
        self.replica.edit(&[Put::new(map, id, value)])?;
        Ok(id)
    }

    /// All facts of a map that can be read, and what cannot. Where two were written under one id, both count.
    fn facts<T>(&self, map: MapAt, read: impl Fn(&str) -> Result<T, Unreadable>) -> (Facts<T>, Unread) {
        facts(&self.replica, map, read)
    }
}

/// Facts with their ids.
pub(crate) type Facts<T> = Vec<(FactId, T)>;
/// What cannot be read, by map and key, with the reason.
pub type Unread = Vec<(&'static str, String, Unreadable)>;

/// All facts of a map that can be read, and what cannot. Where two were written under one id, both count.
pub(crate) fn facts<T>(
    replica: &Replica,
    map: MapAt,
    read: impl Fn(&str) -> Result<T, Unreadable>,
) -> (Facts<T>, Unread) {
    let name = map_name(replica, map);
    let (mut readable, mut unreadable) = (Vec::new(), Vec::new());
    for (key, held) in replica.entries(map) {
        let texts = if held.conflict { replica.all(map, &key) } else { vec![held.text] };
        for text in texts {
            let id = key.parse::<FactId>().map_err(|_| Unreadable::Key(key.clone()));
            match id.and_then(|id| Ok((id, read(&text)?))) {
                Ok(fact) => readable.push(fact),
                Err(why) => unreadable.push((name, key.clone(), why)),
            }
        }
    }
    (readable, unreadable)
}

fn line_view(
    id: LineId,
    line: Option<Arc<Line>>,
    withdrawn: bool,
    picks: Vec<(PickId, Pick)>,
    struck: &BTreeSet<PickId>,
) -> LineView {
    let (struck, picks): (Vec<_>, Vec<_>) = picks.into_iter().partition(|(id, _)| struck.contains(id));
    let standing_picks: Vec<(PickId, &Pick)> = picks.iter().map(|(id, pick)| (*id, pick)).collect();
    let standing = standing(line.as_deref().and_then(Line::want), withdrawn, &standing_picks);
    LineView { id, line, withdrawn, standing, picks, struck }
}

/// Walking order; what was added by hand after the plan's.
fn order(view: &LineView) -> (u8, u32, &LineId) {
    let (kind, rank) = match view.line.as_deref() {
        Some(Line::Planned(line)) => (0, line.rank),
        Some(Line::ByHand(_)) => (1, 0),
        None => (2, 0),
    };
    (kind, rank, &view.id)
}

fn read_note(text: &str) -> Result<Note, Unreadable> {
    let record = Reader::new(text)?;
    Ok(Note {
        line: record.maybe('l', "line", |text| LineId::new(text).ok())?,
        text: record.need('x', "text")?.to_owned(),
        at: record.parse('t', "time", text::read_stamp)?,
    })
}

fn read_receipt(text: &str) -> Result<Receipt, Unreadable> {
    let record = Reader::new(text)?;
    Ok(Receipt {
        store: record.need('s', "store")?.to_owned(),
        total: record.parse('c', "total", text::read_money)?,
        alias: record.maybe('a', "alias", |text| Alias::new(text).ok())?,
        at: record.parse('t', "time", text::read_stamp)?,
    })
}

impl Claimed {
    fn key(&self) -> String {
        match self {
            Self::Line(line) => format!("line {line}"),
            Self::Section(section) => format!("section {section}"),
            Self::Store(store) => format!("store {store}"),
        }
    }

    fn of(key: &str) -> Option<Self> {
        match key.split_once(' ')? {
            ("line", id) => Some(Self::Line(LineId::new(id).ok()?)),
            ("section", section) => Some(Self::Section(section.to_owned())),
            ("store", store) => Some(Self::Store(store.to_owned())),
            _ => None,
        }
    }
}

impl About {
    fn of(map: MapAt, key: &str) -> Option<Self> {
        match map {
            LINES => Some(Self::Line(LineId::new(key).ok()?)),
            CLAIMS => Some(Self::Claim(Claimed::of(key)?)),
            PEOPLE => Some(Self::Name(key.parse().ok()?)),
            META if key == TITLE => Some(Self::Title),
            _ => None,
        }
    }
}

/// What arrived, in words of the trade, each once.
fn explain(run: &Run, before: &Replica, arrived: &[Arrived]) -> Vec<Change> {
    let mut changes: Vec<Change> = Vec::new();
    let mut seen: BTreeSet<(MapAt, &str, Option<&str>)> = BTreeSet::new();
    for one in arrived.iter().filter(|one| one.map != WITHDRAWN) {
        if seen.insert((one.map, &one.key, one.value.as_deref())) {
            let change = change(run, before, one).unwrap_or_else(|| unknown(&run.replica, one));
            changes.push(change);
        }
    }
    if arrived.iter().any(|one| one.map == WITHDRAWN || (one.map == META && one.key == PLAN)) {
        changes.extend(turned(run, before));
    }
    changes
}

pub(crate) fn map_name(replica: &Replica, map: MapAt) -> &'static str {
    replica.schema.maps().find(|(at, _)| *at == map).map_or("", |(_, map)| map.name)
}

fn unknown(replica: &Replica, one: &Arrived) -> Change {
    Change::Unknown { map: map_name(replica, one.map), key: one.key.clone() }
}

/// The lines that were withdrawn, and those that are wanted again.
fn turned(run: &Run, before: &Replica) -> Vec<Change> {
    let (then, now) = (update::withdrawn(before), update::withdrawn(&run.replica));
    let line = |key: &String| LineId::new(key).ok();
    let withdrawn = now.difference(&then).filter_map(line).map(Change::LineWithdrawn);
    withdrawn.chain(then.difference(&now).filter_map(line).map(Change::LineWanted)).collect()
}

fn change(run: &Run, before: &Replica, one: &Arrived) -> Option<Change> {
    // Where there is no value, a conflict was settled for the value that stands.
    let value = one.value.as_deref();
    match one.map {
        PICKS => Some(Change::Picked { pick: one.key.parse().ok()?, line: Pick::read(value?).ok()?.line }),
        STRIKES => {
            let pick = run.replica.get(PICKS, &one.key).and_then(|text| Pick::read(&text).ok());
            Some(Change::Struck { pick: one.key.parse().ok()?, line: pick.map(|pick| pick.line) })
        }
        LINES => {
            value.map(|text| Line::read(&one.key, text)).transpose().ok()?;
            let id = LineId::new(&one.key).ok()?;
            Some(if before.has(LINES, &one.key) { Change::LineChanged(id) } else { Change::LineNew(id) })
        }
        CLAIMS => Claimed::of(&one.key).map(Change::Claimed),
        NOTES => Some(Change::Noted(one.key.parse().ok()?)),
        PEOPLE => Some(Change::Named(one.key.parse().ok()?)),
        RECEIPTS => Some(Change::Paid(one.key.parse().ok()?)),
        META if one.key == PLAN => Some(Change::PlanChanged),
        META if one.key == TITLE => Some(Change::Titled),
        _ => None,
    }
}
