//! What a pantry comes to, for looking at: what is due first, what is below par, what has to be looked at again.

use std::collections::BTreeSet;

use chrono::NaiveDate;
use trug_catalog::{Keep, fold};
use trug_measure::{Amount, Exact};
use trug_replica::id::{DeviceId, LotId, Stamp};
use trug_replica::pantry::{Counted, Level, LotView, View};

/// The ways of keeping, in the order in which one walks along them: what is cold last.
pub(super) const KEEPS: [Keep; 3] = [Keep::Ambient, Keep::Chilled, Keep::Frozen];
/// So many days ahead, a lot is among those to use first.
const SOON: i64 = 3;

/// How near a lot's date is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Due {
    /// Past, by so many days.
    Past(i64),
    /// In so many days; 0 is today.
    Soon(i64),
    /// Later than that.
    Later,
    /// There is no date, or none that can be read.
    Never,
}

impl Due {
    /// What can still be used comes first, the nearest date before the others; then what is past, the latest before the
    /// others: it is looked at and thrown out.
    pub(super) const fn rank(self) -> (u8, i64) {
        match self {
            Self::Soon(days) => (0, days),
            Self::Past(days) => (1, days),
            Self::Later | Self::Never => (2, 0),
        }
    }
}

/// How a lot stands to its par.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Par {
    /// It has none, or there is enough.
    Well,
    /// So much is lacking.
    Short(Amount),
    /// What is there does not compare with it: somebody has to look.
    Unclear,
}

/// Why the list does not go by a lot.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Doubt {
    /// Two people counted apart and saw different things.
    Disputed,
    /// More was taken than anybody counted.
    BelowNothing,
    /// There is some; nobody said how much.
    Some,
}

/// What one person saw.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Seen {
    /// Whose device.
    pub(super) who: DeviceId,
    /// What.
    pub(super) what: Counted,
    /// When.
    pub(super) at: Stamp,
}

/// A lot, as its row shows it.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Row {
    /// Its id.
    pub(super) id: LotId,
    /// The food; empty where the lot cannot be read.
    pub(super) food: String,
    /// How it is kept.
    pub(super) keep: Keep,
    /// The date, as it was written.
    pub(super) use_by: Option<String>,
    /// How near that is.
    pub(super) due: Due,
    /// How much there is.
    pub(super) level: Level,
    /// How much there should always be.
    pub(super) par: Option<Amount>,
    /// How it stands to that.
    pub(super) short: Par,
    /// Why the list does not go by it.
    pub(super) doubt: Option<Doubt>,
    /// The counts that stand, the latest last.
    pub(super) seen: Vec<Seen>,
    /// Two people described it differently, and nobody has said which holds.
    pub(super) apart: bool,
}

impl Row {
    /// Whether it is there at all.
    pub(super) fn is_there(&self) -> bool {
        self.level != Level::Out
    }

    /// Whether it is to be used first.
    pub(super) fn is_first(&self) -> bool {
        self.is_there() && matches!(self.due, Due::Past(_) | Due::Soon(_))
    }

    /// Whether its date is over.
    pub(super) const fn is_past(&self) -> bool {
        matches!(self.due, Due::Past(_))
    }
}

/// A pantry for looking at.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct Board {
    /// All lots that can be read, by food, then date.
    pub(super) rows: Vec<Row>,
    /// How many lots and entries cannot be read.
    pub(super) unreadable: usize,
}

impl Board {
    /// Reads a pantry. `apart` names the lots whose description was changed apart.
    pub(super) fn of(view: &View, apart: &BTreeSet<String>, today: NaiveDate) -> Self {
        let mut rows: Vec<Row> = view.lots.iter().filter_map(|lot| row(lot, apart, today)).collect();
        let short: Vec<Par> = rows.iter().map(|row| par_of(row, &rows)).collect();
        rows.iter_mut().zip(short).for_each(|(row, short)| row.short = short);
        rows.sort_by_cached_key(|row| (row.food.to_lowercase(), row.use_by.clone(), row.id.clone()));
        let nameless = view.lots.iter().filter(|lot| lot.lot.is_none()).count();
        Self { rows, unreadable: nameless.max(view.unreadable.len()) }
    }

    /// A lot.
    pub(super) fn row(&self, id: &LotId) -> Option<&Row> {
        self.rows.iter().find(|row| row.id == *id)
    }

    /// What is to be used first; see [`Due::rank`].
    pub(super) fn first(&self) -> Vec<&Row> {
        let mut first: Vec<&Row> = self.rows.iter().filter(|row| row.is_first()).collect();
        first.sort_by_key(|row| row.due.rank());
        first
    }

    /// What is below par, or may be.
    pub(super) fn below(&self) -> Vec<&Row> {
        self.rows.iter().filter(|row| row.short != Par::Well).collect()
    }

    /// What somebody has to look at.
    pub(super) fn doubtful(&self) -> Vec<&Row> {
        self.rows.iter().filter(|row| row.doubt.is_some()).collect()
    }

    /// What is there, kept so.
    pub(super) fn kept(&self, keep: Keep) -> Vec<&Row> {
        self.rows.iter().filter(|row| row.keep == keep && row.is_there()).collect()
    }

    /// What is not there any more.
    pub(super) fn gone(&self) -> Vec<&Row> {
        self.rows.iter().filter(|row| !row.is_there()).collect()
    }

    /// How many lots are there.
    pub(super) fn there(&self) -> usize {
        self.rows.iter().filter(|row| row.is_there()).count()
    }

    /// The lots to walk past when counting: what was there, and what should be, by the place where it stands.
    pub(super) fn walk(&self, keep: Option<Keep>) -> Vec<LotId> {
        let wanted = |row: &&Row| row.is_there() || row.par.is_some();
        let places = KEEPS.into_iter().filter(|one| keep.is_none_or(|keep| keep == *one));
        let walk = places.flat_map(|place| self.rows.iter().filter(wanted).filter(move |row| row.keep == place));
        walk.map(|row| row.id.clone()).collect()
    }
}

fn row(view: &LotView, apart: &BTreeSet<String>, today: NaiveDate) -> Option<Row> {
    let lot = view.lot.as_ref()?;
    let seen = |(id, count): &(trug_replica::id::FactId, trug_replica::pantry::Count)| Seen {
        who: id.device,
        what: count.seen,
        at: count.at,
    };
    Some(Row {
        id: view.id.clone(),
        food: lot.food.clone(),
        keep: lot.keep,
        use_by: lot.use_by.clone(),
        due: due(lot.use_by.as_deref(), today),
        level: view.level.clone(),
        par: view.par.filter(|par| par.value.is_positive()),
        short: Par::Well,
        doubt: doubt(view),
        seen: view.counts.iter().map(seen).collect(),
        apart: apart.contains(view.id.as_str()),
    })
}

fn doubt(view: &LotView) -> Option<Doubt> {
    match view.level {
        _ if view.disputed => Some(Doubt::Disputed),
        Level::Some => Some(Doubt::Some),
        Level::Amount(amount) if !amount.value.is_positive() => Some(Doubt::BelowNothing),
        Level::Amount(_) | Level::Plenty | Level::Out => None,
    }
}

/// How near a date is; the date is the last day on which the food may be used.
pub(super) fn due(use_by: Option<&str>, today: NaiveDate) -> Due {
    let Some(day) = use_by.and_then(|text| text.parse::<NaiveDate>().ok()) else { return Due::Never };
    match day.signed_duration_since(today).num_days() {
        days @ ..0 => Due::Past(-days),
        days @ 0..=SOON => Due::Soon(days),
        _ => Due::Later,
    }
}

/// A par is of the food: all its lots in the pantry count that are not past their date.
fn par_of(row: &Row, all: &[Row]) -> Par {
    let Some(par) = row.par else { return Par::Well };
    let food = fold(&row.food);
    let mut there = Exact::ZERO;
    let mut unclear = false;
    for other in all.iter().filter(|other| !matches!(other.due, Due::Past(_)) && fold(&other.food) == food) {
        match &other.level {
            Level::Plenty => return Par::Well,
            Level::Some => unclear = true,
            Level::Out => {}
            Level::Amount(amount) => match amount.to_unit(par.unit) {
                Some(amount) => there = there + amount.value,
                None => unclear = true,
            },
        }
    }
    match par.value - there.max(Exact::ZERO) {
        lacking if !lacking.is_positive() => Par::Well,
        _ if unclear => Par::Unclear,
        lacking => Par::Short(Amount::new(lacking, par.unit)),
    }
}

/// Where something that was found goes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Landing {
    /// It is a lot of its own.
    New,
    /// There was such a lot, and it was out: it is there again.
    Again(LotId),
    /// There is such a lot: so much more of it.
    More(LotId, Amount),
}

/// Finds the lot that something found belongs to: the same food, kept so, with the same date.
pub(super) fn landing(board: &Board, food: &str, keep: Keep, use_by: Option<&str>, seen: Counted) -> Landing {
    let folded = fold(food);
    let same = |row: &&Row| row.keep == keep && row.use_by.as_deref() == use_by && fold(&row.food) == folded;
    let Some(row) = board.rows.iter().find(same) else { return Landing::New };
    match (&row.level, seen) {
        (Level::Out, _) => Landing::Again(row.id.clone()),
        (Level::Amount(there), Counted::Amount(found)) if found.to_unit(there.unit).is_some() => {
            Landing::More(row.id.clone(), found)
        }
        _ => Landing::New,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn day(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    fn amount(text: &str) -> Amount {
        text.parse().unwrap()
    }

    fn lot(id: &str, food: &str, level: Level) -> Row {
        Row {
            id: LotId::new(id).unwrap(),
            food: food.to_owned(),
            keep: Keep::Ambient,
            use_by: None,
            due: Due::Never,
            level,
            par: None,
            short: Par::Well,
            doubt: None,
            seen: Vec::new(),
            apart: false,
        }
    }

    #[test]
    fn dates_are_near_or_past() {
        let table = [
            (None, Due::Never),
            (Some("soon"), Due::Never),
            (Some("2026-03-01"), Due::Past(3)),
            (Some("2026-03-03"), Due::Past(1)),
            (Some("2026-03-04"), Due::Soon(0)),
            (Some("2026-03-07"), Due::Soon(3)),
            (Some("2026-03-08"), Due::Later),
        ];
        for (text, expected) in table {
            assert_eq!(due(text, day("2026-03-04")), expected, "{text:?}");
        }
    }

    #[test]
    fn what_can_be_used_comes_before_what_is_past() {
        let milk = |id, due| Row { due, ..lot(id, "milk", Level::Plenty) };
        let rows = vec![
            milk("old", Due::Past(9)),
            milk("tomorrow", Due::Soon(1)),
            milk("later", Due::Later),
            milk("yesterday", Due::Past(1)),
            milk("today", Due::Soon(0)),
        ];
        let board = Board { rows, unreadable: 0 };
        let first: Vec<&str> = board.first().iter().map(|row| row.id.as_str()).collect();
        assert_eq!(first, ["today", "tomorrow", "yesterday", "old"]);
    }

    #[test]
    fn par_counts_every_lot_of_the_food() {
        let eggs = |level: Level| lot("more", "egg", level);
        let table = [
            (vec![], Par::Short(amount("8 each"))),
            (vec![eggs(Level::Amount(amount("8 each")))], Par::Well),
            (vec![eggs(Level::Amount(amount("3 each")))], Par::Short(amount("5 each"))),
            (vec![eggs(Level::Plenty)], Par::Well),
            (vec![eggs(Level::Some)], Par::Unclear),
            (vec![eggs(Level::Amount(amount("1 lb")))], Par::Unclear),
            (vec![Row { due: Due::Past(1), ..eggs(Level::Plenty) }], Par::Short(amount("8 each"))),
            (vec![lot("other", "milk", Level::Plenty)], Par::Short(amount("8 each"))),
        ];
        for (others, expected) in table {
            let row = Row { par: Some(amount("1 dozen")), ..lot("one", "eggs", Level::Amount(amount("4 each"))) };
            let all: Vec<Row> = others.into_iter().chain([row.clone()]).collect();
            assert_eq!(par_of(&row, &all), expected, "{all:?}");
        }
    }

    #[test]
    fn less_than_nothing_adds_nothing_to_the_par() {
        let less = Amount::new(Exact::whole(-4), trug_measure::Unit::Each);
        let row = Row { par: Some(amount("2 each")), ..lot("one", "eggs", Level::Amount(less)) };
        assert_eq!(par_of(&row, std::slice::from_ref(&row)), Par::Short(amount("2 each")));
    }

    #[test]
    fn what_is_found_goes_where_it_belongs() {
        let id = LotId::new("one").unwrap();
        let found = Counted::Amount(amount("2 each"));
        let table = [
            (Level::Out, found, Landing::Again(id.clone())),
            (Level::Amount(amount("6 each")), found, Landing::More(id.clone(), amount("2 each"))),
            (Level::Amount(amount("1 lb")), found, Landing::New),
            (Level::Plenty, found, Landing::New),
            (Level::Amount(amount("6 each")), Counted::Plenty, Landing::New),
        ];
        for (level, seen, expected) in table {
            let board = Board { rows: vec![lot("one", "eggs", level)], unreadable: 0 };
            assert_eq!(landing(&board, "Egg", Keep::Ambient, None, seen), expected);
            assert_eq!(landing(&board, "Egg", Keep::Chilled, None, seen), Landing::New);
            assert_eq!(landing(&board, "Egg", Keep::Ambient, Some("2026-03-04"), seen), Landing::New);
        }
    }

    #[test]
    fn one_walks_by_place_and_past_what_is_gone() {
        let board = Board {
            rows: vec![
                Row { keep: Keep::Frozen, ..lot("peas", "peas", Level::Plenty) },
                lot("rice", "rice", Level::Some),
                lot("salt", "salt", Level::Out),
                Row { par: Some(amount("1 lb")), ..lot("sugar", "sugar", Level::Out) },
            ],
            unreadable: 0,
        };
        let walk = |keep| board.walk(keep).iter().map(ToString::to_string).collect::<Vec<_>>();
        assert_eq!(walk(None), ["rice", "sugar", "peas"]);
        assert_eq!(walk(Some(Keep::Frozen)), ["peas"]);
        assert!(walk(Some(Keep::Chilled)).is_empty());
    }
}
