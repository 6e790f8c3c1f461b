//! What is done to a pantry, with a word about it and a way back.

use std::collections::BTreeSet;
use std::rc::Rc;

use chrono::NaiveDate;
use trug_device::{DocId, Refused};
use trug_replica::id::{FactId, LotId};
use trug_replica::pantry::{Counted, Lot, Move, Pantry};
use trug_replica::{Document as _, EditError};
use yew::prelude::*;

use super::board::{Board, Landing, landing};
use crate::desk::{Desk, stamp, use_desk};
use crate::look::Toast;
use crate::platform::clock;
use crate::words::t;

/// So many messages stand at a time.
const MOST: usize = 3;

/// The messages of a screen.
#[derive(Default, Clone, PartialEq)]
pub(super) struct Words {
    next: u32,
    /// Those that stand, oldest first.
    pub(super) items: Vec<Toast>,
}

/// What happens to messages.
pub(super) enum Speak {
    /// One more, with its way back.
    Say(AttrValue, Option<Callback<()>>),
    /// One has had its time.
    Gone(u32),
}

impl Reducible for Words {
    type Action = Speak;

    fn reduce(self: Rc<Self>, action: Speak) -> Rc<Self> {
        let mut words = (*self).clone();
        match action {
            Speak::Say(text, undo) => {
                words.next += 1;
                words.items.push(Toast { id: words.next, text, undo: undo.map(|undo| (t!("common.undo"), undo)) });
                let over = words.items.len().saturating_sub(MOST);
                words.items.drain(..over);
            }
            Speak::Gone(id) => words.items.retain(|toast| toast.id != id),
        }
        Rc::new(words)
    }
}

/// The hands of whoever is in one pantry. Clones are the same ones.
#[derive(Clone, PartialEq)]
pub(super) struct Hands {
    /// The desk.
    pub(super) desk: Desk,
    /// The pantry.
    pub(super) doc: DocId,
    words: UseReducerDispatcher<Words>,
}

impl Hands {
    /// Says something.
    pub(super) fn say(&self, text: AttrValue) {
        self.words.dispatch(Speak::Say(text, None));
    }

    /// Edits the pantry; what is refused is said.
    pub(super) fn edit<R>(&self, edit: impl FnOnce(&mut Pantry) -> Result<R, EditError>) -> Option<R> {
        let done: Result<R, Refused> = self.desk.edit(&self.doc, edit);
        match done {
            Ok(done) => Some(done),
            Err(refused) => {
                self.say(t!("pantry.refused", why = refused));
                None
            }
        }
    }

    /// Takes back counts and moves.
    pub(super) fn strike(&self, facts: &[FactId]) -> bool {
        let strike = |pantry: &mut Pantry| facts.iter().try_for_each(|fact| pantry.strike(*fact, stamp()).map(|_| ()));
        self.edit(strike).is_some()
    }

    /// Takes back counts and moves, and says so.
    pub(super) fn strike_said(&self, facts: &[FactId]) {
        if self.strike(facts) {
            self.say(t!("common.undone"));
        }
    }

    /// Records what was seen; the fact, for taking it back.
    pub(super) fn count(&self, lot: &LotId, seen: Counted) -> Option<FactId> {
        self.edit(|pantry| pantry.count(lot, seen, stamp()))
    }

    /// Records what was seen, and says so with a way back.
    pub(super) fn count_said(&self, lot: &LotId, food: &str, seen: Counted) {
        if let Some(fact) = self.count(lot, seen) {
            self.say_done(t!("pantry.saved", food = food), vec![fact]);
        }
    }

    /// Records that something was taken or put there, and says so with a way back.
    pub(super) fn move_said(&self, moved: &Move, food: &str) {
        if let Some(fact) = self.edit(|pantry| pantry.move_stock(moved)) {
            self.say_done(t!("pantry.moved", food = food), vec![fact]);
        }
    }

    /// Puts something there that was found or bought: into the lot where it belongs, or into one of its own.
    pub(super) fn put(&self, board: &Board, lot: &Lot, seen: Counted, why: &str) -> Option<FactId> {
        match landing(board, &lot.food, lot.keep, lot.use_by.as_deref(), seen) {
            Landing::New => self.edit(|pantry| {
                let id = pantry.add_lot(lot)?;
                pantry.count(&id, seen, stamp())
            }),
            Landing::Again(id) => self.count(&id, seen),
            Landing::More(lot, by) => {
                let moved = Move { lot, by, why: why.to_owned(), at: stamp() };
                self.edit(|pantry| pantry.move_stock(&moved))
            }
        }
    }

    /// Says what was done, with a way back.
    pub(super) fn say_done(&self, text: AttrValue, facts: Vec<FactId>) {
        let hands = self.clone();
        let undo = Callback::from(move |()| hands.strike_said(&facts));
        self.words.dispatch(Speak::Say(text, Some(undo)));
    }
}

/// The hands for a pantry, and the messages that they make.
#[hook]
pub(super) fn use_hands(doc: &DocId) -> (Hands, Vec<Toast>, Callback<u32>) {
    let desk = use_desk();
    let words = use_reducer(Words::default);
    let hands = Hands { desk, doc: doc.clone(), words: words.dispatcher() };
    let gone = {
        let words = words.dispatcher();
        use_callback((), move |id: u32, ()| words.dispatch(Speak::Gone(id)))
    };
    (hands, words.items.clone(), gone)
}

/// Today, where the device is.
pub(super) fn today() -> NaiveDate {
    clock::today().parse().unwrap_or_default()
}

/// A pantry for looking at, read anew when it has changed; `None` where it is not on this device.
#[hook]
pub(super) fn use_board(doc: &DocId) -> Option<Rc<Board>> {
    let desk = use_desk();
    let today = today();
    // Not by how far the document reaches: what somebody else wrote before may come in without reaching further.
    let heads = desk.read(|device| device.pantry(doc).map(|pantry| pantry.heads()));
    let board = use_memo((doc.clone(), heads, today), |(doc, heads, today)| {
        heads
            .as_ref()
            .and_then(|_| desk.read(|device| device.pantry(doc).map(|pantry| Rc::new(board_of(pantry, *today)))))
    });
    (*board).clone()
}

/// Reads a pantry for looking at.
pub(super) fn board_of(pantry: &Pantry, today: NaiveDate) -> Board {
    let apart: BTreeSet<String> = pantry
        .conflicts()
        .into_iter()
        .filter(|conflict| matches!(conflict.map, "lots" | "par"))
        .map(|conflict| conflict.key)
        .collect();
    Board::of(&pantry.view(), &apart, today)
}
