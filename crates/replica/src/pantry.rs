//! One place's pantry: lots, what was added and taken, and what was counted.
//!
//! A move adds to or takes from a lot, and moves by two devices add up. A count says how much there is and sets the
//! lot's baseline: it takes the place of every move and count that it knew of, and of no other, whatever any clock says.
//! For that it carries the ids of what it saw. So two phones that count one shelf apart leave two counts; both are kept
//! and shown, and the level is said to be disputed until somebody counts again.

use std::collections::{BTreeMap, BTreeSet};

use trug_catalog::Keep;
use trug_measure::{Amount, Exact};

use crate::document::{Arrived, document};
use crate::gather;
use crate::id::{DeviceId, FactId, LotId, Stamp};
use crate::record::{Reader, Unreadable, Writer};
use crate::replica::{EditError, Put, Replica};
use crate::run::{Unread, facts, map_name};
use crate::schema::{MapAt, PANTRY};
use crate::text;

const META: MapAt = MapAt(0);
const LOTS: MapAt = MapAt(1);
const MOVES: MapAt = MapAt(2);
const COUNTS: MapAt = MapAt(3);
const PAR: MapAt = MapAt(4);
const STRIKES: MapAt = MapAt(5);
const PEOPLE: MapAt = MapAt(6);

const TITLE: &str = "title";

/// A pantry's document.
#[derive(Debug)]
pub struct Pantry {
    replica: Replica,
}

document!(Pantry, Change, PANTRY);

/// Some of a food that is kept together.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Lot {
    /// The food, in the words of whoever keeps the pantry.
    pub food: String,
    /// How it is kept.
    pub keep: Keep,
    /// The last day on which it may be used, as `2026-03-04`; `None` is no date.
    pub use_by: Option<String>,
}

/// Something was put there or taken away.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Move {
    /// Of which lot.
    pub lot: LotId,
    /// How much; less than nothing where it was taken away.
    pub by: Amount,
    /// Why, in a person's words; may be empty.
    pub why: String,
    /// When, by the device's clock.
    pub at: Stamp,
}

/// What somebody saw on the shelf.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Counted {
    /// So much.
    Amount(Amount),
    /// Plenty: more than any one week asks for.
    Plenty,
    /// Some.
    Some,
    /// None.
    Out,
}

/// A count of one lot.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Count {
    /// Of which lot.
    pub lot: LotId,
    /// What was seen.
    pub seen: Counted,
    /// When, by the device's clock.
    pub at: Stamp,
    /// The moves and counts that whoever counted had on the device: the count takes their place.
    knew: BTreeSet<FactId>,
}

/// How much of a lot there is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Level {
    /// So much: the count, and the moves that it does not take the place of. It may come out below nothing, where more
    /// was taken than anybody counted: then somebody should count.
    Amount(Amount),
    /// Plenty, as of the last count.
    Plenty,
    /// Some, as of the last count, or moves say so in units that do not add up.
    Some,
    /// None.
    Out,
}

/// One thing that was recorded of a lot.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Past {
    /// The fact, and in it whose.
    pub id: FactId,
    /// What happened.
    pub what: Happened,
    /// Whether it still counts.
    pub counts: Counts,
}

/// What happened to a lot.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Happened {
    /// Something was put there or taken away.
    Moved(Move),
    /// Somebody counted.
    Counted(Count),
}

impl Happened {
    /// When, by the device's clock.
    #[must_use]
    pub const fn at(&self) -> Stamp {
        match self {
            Self::Moved(moved) => moved.at,
            Self::Counted(count) => count.at,
        }
    }
}

/// Whether a move or a count still says something of how much there is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Counts {
    /// It does.
    Now,
    /// A later count took its place.
    Before,
    /// Somebody undid it.
    Struck,
}

/// A lot with all that is known of it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LotView {
    /// Its id.
    pub id: LotId,
    /// The lot; `None` where it cannot be read, or only moves and counts name it.
    pub lot: Option<Lot>,
    /// How much there is; by the count of the greatest id where counts differ.
    pub level: Level,
    /// The counts that stand, each with what it says there was. More than one where devices counted apart.
    pub counts: Vec<(FactId, Count)>,
    /// Counts that stand say different things: somebody should look.
    pub disputed: bool,
    /// The moves since.
    pub moves: Vec<(FactId, Move)>,
    /// How much there should always be.
    pub par: Option<Amount>,
}

/// What a pantry shows.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct View {
    /// All lots, by id.
    pub lots: Vec<LotView>,
    /// What cannot be read, by map and key, with the reason.
    pub unreadable: Unread,
}

/// What a merge changed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Change {
    /// A lot is new, or was described anew.
    Lot(LotId),
    /// Something was put there or taken away.
    Moved {
        /// The move, and in it whose.
        fact: FactId,
        /// Of which lot.
        lot: LotId,
    },
    /// Somebody counted.
    Counted {
        /// The count, and in it whose.
        fact: FactId,
        /// Of which lot.
        lot: LotId,
    },
    /// Somebody undid a move or a count.
    Struck(FactId),
    /// A par level was set.
    Par(LotId),
    /// A device's person gave a name.
    Named(DeviceId),
    /// The pantry has another title.
    Titled,
    /// Something came that this program cannot read; it is kept.
    Unknown {
        /// The map's name.
        map: &'static str,
        /// The key.
        key: String,
    },
}

/// Where distinct values were set apart, and nobody has said which holds.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Conflict {
    /// `lots`, `par`, `people` or `meta`.
    pub map: &'static str,
    /// The key.
    pub key: String,
    /// All distinct values, as their records have them.
    pub values: Vec<String>,
}

impl Pantry {
    /// Names the pantry.
    ///
    /// # Errors
    /// Where the pantry is read-only or the title too long.
    pub fn set_title(&mut self, title: &str) -> Result<bool, EditError> {
        self.replica.edit(&[Put::new(META, TITLE, title.to_owned())])
    }

    /// The pantry's title.
    #[must_use]
    pub fn title(&self) -> Option<String> {
        self.replica.get(META, TITLE)
    }

    /// Says what this device's person is called.
    ///
    /// # Errors
    /// Where the pantry is read-only or the name too long.
    pub fn set_name(&mut self, name: &str) -> Result<bool, EditError> {
        self.replica.edit(&[Put::new(PEOPLE, self.replica.device(), name.to_owned())])
    }

    /// What the people who count here are called, by device.
    #[must_use]
    pub fn people(&self) -> BTreeMap<DeviceId, String> {
        let entries = self.replica.entries(PEOPLE);
        gather::map(entries.into_iter().filter_map(|(key, held)| Some((key.parse().ok()?, held.text))))
    }

    /// Adds a lot, under an id of its own.
    ///
    /// # Errors
    /// Where the pantry is read-only or a text too long.
    pub fn add_lot(&mut self, lot: &Lot) -> Result<LotId, EditError> {
        self.replica.check_writable()?;
        let id = self.replica.next_fact().to_string();
        let id = LotId::new(&id).map_err(|bad| EditError::NotWritten(bad.to_string()))?;
        self.describe(&id, lot)?;
        Ok(id)
    }

    /// Describes a lot, anew or for the first time: an id that follows from a pantry file gives the same lot on every
    /// device that imports it.
    ///
    /// # Errors
    /// Where the pantry is read-only or a text too long.
    pub fn describe(&mut self, id: &LotId, lot: &Lot) -> Result<bool, EditError> {
        let record = Writer::new("lot")
            .put('f', &lot.food)
            .put('k', text::keep(lot.keep))
            .maybe('u', lot.use_by.as_deref())
            .finish();
        self.replica.edit(&[Put::new(LOTS, id, record)])
    }

    /// Records that something was put there or taken away.
    ///
    /// # Errors
    /// Where the pantry is read-only or a text too long.
    pub fn move_stock(&mut self, moved: &Move) -> Result<FactId, EditError> {
        let record = Writer::new("move")
            .put('l', moved.lot.as_str())
            .put('q', &text::amount(moved.by))
            .put('x', &moved.why)
            .put('t', &text::stamp(moved.at));
        self.fact(MOVES, record.finish())
    }

    /// Records what somebody saw on the shelf. It takes the place of all moves and counts of the lot that are here.
    ///
    /// # Errors
    /// Where the pantry is read-only, or so many devices have counted apart that the record grows too long.
    pub fn count(&mut self, lot: &LotId, seen: Counted, at: Stamp) -> Result<FactId, EditError> {
        let knew = self.standing(lot);
        let record = Writer::new("count")
            .put('l', lot.as_str())
            .put('s', &write_seen(seen))
            .put('t', &text::stamp(at))
            .each('b', knew.iter().map(ToString::to_string));
        self.fact(COUNTS, record.finish())
    }

    /// Undoes a move or a count.
    ///
    /// # Errors
    /// Where the pantry is read-only, or has no such move or count.
    pub fn strike(&mut self, fact: FactId, at: Stamp) -> Result<bool, EditError> {
        let key = fact.to_string();
        if !self.replica.has(MOVES, &key) && !self.replica.has(COUNTS, &key) {
            return Err(EditError::Unknown { what: "move or count", id: key });
        }
        if self.replica.has(STRIKES, &key) {
            return Ok(false);
        }
        let by = Writer::new("strike").put('d', &self.replica.device().to_string()).put('t', &text::stamp(at));
        self.replica.edit(&[Put::new(STRIKES, key, by.finish())])
    }

    /// Sets how much there should always be; `None` is no par.
    ///
    /// # Errors
    /// Where the pantry is read-only.
    pub fn set_par(&mut self, lot: &LotId, par: Option<Amount>) -> Result<bool, EditError> {
        self.replica.edit(&[Put::new(PAR, lot, par.map(text::amount).unwrap_or_default())])
    }

    /// Everything: all lots, how much there is, and how that is known.
    #[must_use]
    pub fn view(&self) -> View {
        let (ledger, mut unreadable) = self.ledger();
        let mut ids = gather::set(ledger.lots().cloned());
        let mut lots: BTreeMap<LotId, Lot> = BTreeMap::new();
        for (key, held) in self.replica.entries(LOTS) {
            match LotId::new(&key).map_err(|_| Unreadable::Key(key.clone())) {
                Err(why) => unreadable.push(("lots", key, why)),
                Ok(id) => {
                    ids.insert(id.clone());
                    match read_lot(&held.text) {
                        Ok(lot) => drop(lots.insert(id, lot)),
                        Err(why) => unreadable.push(("lots", key, why)),
                    }
                }
            }
        }
        let par = |id: &LotId| self.replica.get(PAR, id.as_str()).and_then(|text| text::read_positive(&text));
        let views = ids.into_iter().map(|id| ledger.view(lots.remove(&id), par(&id), id)).collect();
        View { lots: views, unreadable }
    }

    /// Everything that was recorded of a lot, also what was undone and what a count took the place of; the latest first,
    /// by the devices' clocks.
    #[must_use]
    pub fn history(&self, lot: &LotId) -> Vec<Past> {
        let (moves, _) = facts(&self.replica, MOVES, read_move);
        let (counts, _) = facts(&self.replica, COUNTS, read_count);
        let standing = self.standing(lot);
        let struck = |id: &FactId| self.replica.has(STRIKES, &id.to_string());
        let moved = moves.into_iter().filter(|(_, moved)| moved.lot == *lot);
        let counted = counts.into_iter().filter(|(_, count)| count.lot == *lot);
        let all = moved.map(|(id, it)| (id, Happened::Moved(it)));
        let mut past: Vec<Past> = all
            .chain(counted.map(|(id, it)| (id, Happened::Counted(it))))
            .map(|(id, what)| {
                let counts = match () {
                    () if struck(&id) => Counts::Struck,
                    () if standing.contains(&id) => Counts::Now,
                    () => Counts::Before,
                };
                Past { id, what, counts }
            })
            .collect();
        past.sort_by_key(|one| (std::cmp::Reverse(one.what.at()), std::cmp::Reverse(one.id)));
        past
    }

    /// Where distinct values were set apart. Counts that differ are not among them: [`LotView::disputed`] says so.
    #[must_use]
    pub fn conflicts(&self) -> Vec<Conflict> {
        let maps = [(META, "meta"), (LOTS, "lots"), (PAR, "par"), (PEOPLE, "people")].into_iter();
        let found = maps.flat_map(|(map, name)| {
            let found = self.replica.conflicts(map).into_iter();
            found.map(move |(key, values)| Conflict { map: name, key, values })
        });
        found.collect()
    }

    fn fact(&mut self, map: MapAt, value: String) -> Result<FactId, EditError> {
        let id = self.replica.next_fact();
        self.replica.edit(&[Put::new(map, id, value)])?;
        Ok(id)
    }

    fn ledger(&self) -> (Ledger, Unread) {
        let (moves, mut unreadable) = facts(&self.replica, MOVES, read_move);
        let (counts, unread) = facts(&self.replica, COUNTS, read_count);
        unreadable.extend(unread);
        let struck = gather::set(self.replica.entries(STRIKES).iter().filter_map(|(key, _)| key.parse().ok()));
        (Ledger::of(moves, counts, &struck), unreadable)
    }

    /// The moves and counts of a lot that no count has taken the place of.
    fn standing(&self, lot: &LotId) -> BTreeSet<FactId> {
        let (ledger, _) = self.ledger();
        let moves = ledger.moves.iter().filter(|(_, moved)| moved.lot == *lot).map(|(id, _)| *id);
        let counts = ledger.counts.iter().filter(|(_, count)| count.lot == *lot).map(|(id, _)| *id);
        gather::set(moves.chain(counts))
    }
}

/// The facts that stand: not struck, and not in the past of a count.
#[derive(Debug)]
struct Ledger {
    moves: Vec<(FactId, Move)>,
    counts: Vec<(FactId, Count)>,
}

impl Ledger {
    /// A count names what stood when it was made; what an earlier count had taken the place of is named by that one, and
    /// is past as well, even where the earlier count was struck later. A struck count that no other has seen gives back
    /// what it took the place of.
    fn of(mut moves: Vec<(FactId, Move)>, mut counts: Vec<(FactId, Count)>, struck: &BTreeSet<FactId>) -> Self {
        let knew = gather::map(counts.iter().map(|(id, count)| (*id, count)));
        let mut past: BTreeSet<FactId> = BTreeSet::new();
        let mut open: Vec<&Count> = counts.iter().filter(|(id, _)| !struck.contains(id)).map(|(_, it)| it).collect();
        while let Some(count) = open.pop() {
            let newly = count.knew.iter().filter(|id| past.insert(**id));
            open.extend(newly.filter_map(|id| knew.get(id)));
        }
        let stands = |id: &FactId| !past.contains(id) && !struck.contains(id);
        moves.retain(|(id, _)| stands(id));
        counts.retain(|(id, _)| stands(id));
        Self { moves, counts }
    }

    fn lots(&self) -> impl Iterator<Item = &LotId> {
        self.moves.iter().map(|(_, moved)| &moved.lot).chain(self.counts.iter().map(|(_, count)| &count.lot))
    }

    fn view(&self, lot: Option<Lot>, par: Option<Amount>, id: LotId) -> LotView {
        let moves: Vec<_> = self.moves.iter().filter(|(_, moved)| moved.lot == id).cloned().collect();
        let counts: Vec<_> = self.counts.iter().filter(|(_, count)| count.lot == id).cloned().collect();
        let disputed = counts.windows(2).any(|pair| matches!(pair, [(_, a), (_, b)] if a.seen != b.seen));
        let level = level(counts.last().map(|(_, count)| count.seen), &moves);
        LotView { id, lot, level, counts, disputed, moves, par }
    }
}

/// The baseline and the moves after it.
fn level(baseline: Option<Counted>, moves: &[(FactId, Move)]) -> Level {
    let (start, moves) = match (baseline, moves) {
        (Some(Counted::Plenty), _) => return Level::Plenty,
        (Some(Counted::Some), _) => return Level::Some,
        (Some(Counted::Amount(amount)), moves) => (amount, moves),
        (_, []) => return Level::Out,
        (_, [(_, first), ..]) => (Amount::new(Exact::ZERO, first.by.unit), moves),
    };
    let sum = moves.iter().try_fold(start, |sum, (_, moved)| {
        let by = moved.by.to_unit(sum.unit)?;
        Some(Amount::new(sum.value + by.value, sum.unit))
    });
    match sum {
        None => Level::Some,
        Some(sum) if sum.value.is_zero() => Level::Out,
        Some(sum) => Level::Amount(sum),
    }
}

fn read_lot(text: &str) -> Result<Lot, Unreadable> {
    let record = Reader::new(text)?;
    Ok(Lot {
        food: record.need('f', "food")?.to_owned(),
        keep: record.parse('k', "keeping", text::read_keep)?,
        use_by: record.get('u').map(str::to_owned),
    })
}

fn read_move(text: &str) -> Result<Move, Unreadable> {
    let record = Reader::new(text)?;
    Ok(Move {
        lot: record.parse('l', "lot", |text| LotId::new(text).ok())?,
        by: record.parse('q', "amount", text::read_amount)?,
        why: record.get('x').unwrap_or_default().to_owned(),
        at: record.parse('t', "time", text::read_stamp)?,
    })
}

fn write_seen(seen: Counted) -> String {
    match seen {
        Counted::Amount(amount) => text::amount(amount),
        Counted::Plenty => "plenty".to_owned(),
        Counted::Some => "some".to_owned(),
        Counted::Out => "out".to_owned(),
    }
}

fn read_seen(text: &str) -> Option<Counted> {
    match text {
        "plenty" => Some(Counted::Plenty),
        "some" => Some(Counted::Some),
        "out" => Some(Counted::Out),
        amount => text::read_positive(amount).map(Counted::Amount),
    }
}

fn read_count(text: &str) -> Result<Count, Unreadable> {
    let record = Reader::new(text)?;
    Ok(Count {
        lot: record.parse('l', "lot", |text| LotId::new(text).ok())?,
        seen: record.parse('s', "what was seen", read_seen)?,
        at: record.parse('t', "time", text::read_stamp)?,
        knew: gather::set(record.list('b', "what was there before", |text| text.parse().ok())?),
    })
}

/// What arrived, in words of the trade, each once.
fn explain(pantry: &Pantry, _: &Replica, arrived: &[Arrived]) -> Vec<Change> {
    let mut changes: Vec<Change> = Vec::new();
    for one in arrived {
        let unknown = || Change::Unknown { map: map_name(&pantry.replica, one.map), key: one.key.clone() };
        let change = change(one).unwrap_or_else(unknown);
        if !changes.contains(&change) {
            changes.push(change);
        }
    }
    changes
}

fn change(one: &Arrived) -> Option<Change> {
    let (key, value) = (&one.key, one.value.as_deref());
    match one.map {
        LOTS => LotId::new(key).ok().map(Change::Lot),
        MOVES => Some(Change::Moved { fact: key.parse().ok()?, lot: read_move(value?).ok()?.lot }),
        COUNTS => Some(Change::Counted { fact: key.parse().ok()?, lot: read_count(value?).ok()?.lot }),
        STRIKES => key.parse().ok().map(Change::Struck),
        PAR => LotId::new(key).ok().map(Change::Par),
        PEOPLE => key.parse().ok().map(Change::Named),
        META if key == TITLE => Some(Change::Titled),
        _ => None,
    }
}
