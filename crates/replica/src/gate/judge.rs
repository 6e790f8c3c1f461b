//! Whether a sound change fits the document that it is meant for.
//!
//! The judge keeps what it needs of the document's history: of every change its greatest operation, and of every actor
//! its changes in order. Both only grow.

use std::collections::{HashMap, HashSet};

use automerge::legacy::{Key, ObjectId, Op, OpId, OpType};
use automerge::{ActorId, ChangeHash, ObjId, ReadDoc, ScalarValue};

use super::Refusal;
use super::change::Parsed;
use crate::document::Arrived;
use crate::id::MOST_NAME;
use crate::replica::{Mode, Replica};
use crate::schema::{META, MapAt, Rule, SCHEMA_KEY};

/// What the judge knows of one change.
#[derive(Debug, Clone)]
struct Known {
    greatest: u64,
    deps: Vec<ChangeHash>,
}

/// What the judge knows of a document's history.
#[derive(Debug, Clone, Default)]
pub(super) struct History {
    changes: HashMap<ChangeHash, Known>,
    actors: HashMap<ActorId, Vec<ChangeHash>>,
    seen: Vec<ChangeHash>,
}

/// How a change's operations look.
#[derive(Debug, PartialEq, Eq)]
pub(super) enum Shape {
    /// As this program's own edits do.
    Plain {
        /// It replaces nothing, so that it can be judged before others of its batch are applied.
        adds_only: bool,
    },
    /// As a newer program's may; sound in form, but its meaning cannot be judged.
    Newer,
}

impl History {
    /// Learns what was added to the document since it last looked: the device's own edits.
    pub(super) fn catch_up(&mut self, replica: &Replica) {
        let heads = replica.heads();
        if heads == self.seen {
            return;
        }
        for change in replica.doc.get_changes_meta(&self.seen) {
            self.learn(change.hash, change.actor.as_ref(), change.max_op, &change.deps);
        }
        self.seen = heads;
    }

    /// Says that the document now stands at these heads, all of whose changes have been learnt.
    pub(super) fn stands_at(&mut self, heads: Vec<ChangeHash>) {
        self.seen = heads;
    }

    fn learn(&mut self, hash: ChangeHash, actor: &ActorId, greatest: u64, deps: &[ChangeHash]) {
        if self.changes.insert(hash, Known { greatest, deps: deps.to_vec() }).is_none() {
            self.actors.entry(actor.clone()).or_default().push(hash);
        }
    }

    /// Learns a change that is about to be applied.
    pub(super) fn expect(&mut self, parsed: &Parsed) {
        let greatest = parsed.start() + parsed.expanded.operations.len() as u64 - 1;
        self.learn(parsed.hash(), &parsed.expanded.actor_id, greatest, parsed.deps());
    }

    pub(super) fn has(&self, hash: &ChangeHash) -> bool {
        self.changes.contains_key(hash)
    }

    pub(super) fn len(&self) -> usize {
        self.changes.len()
    }

    /// Checks the places that a change claims: after its dependencies, and after its actor's change before.
    pub(super) fn check_order(&self, parsed: &Parsed) -> Result<(), Refusal> {
        let change = &parsed.expanded;
        if change.deps.is_empty() {
            return Err(Refusal::OtherBeginning);
        }
        let greatest = change.deps.iter().filter_map(|dep| self.changes.get(dep)).map(|known| known.greatest).max();
        if Some(parsed.start()) != greatest.map(|greatest| greatest + 1) {
            return Err(Refusal::StartOperation);
        }
        let own = self.actors.get(&change.actor_id).map_or(&[][..], Vec::as_slice);
        let next = own.len() as u64 + 1;
        if change.seq < next {
            return Err(Refusal::ActorTwice);
        }
        if change.seq > next {
            return Err(Refusal::Sequence);
        }
        match own.last() {
            Some(before) if !self.builds_on(&change.deps, before) => Err(Refusal::ActorTwice),
            _ => Ok(()),
        }
    }

    /// Whether some of `deps` is `ancestor` or comes after it. Operations only grow along a history, so a branch is left
    /// where its greatest is not above the ancestor's.
    fn builds_on(&self, deps: &[ChangeHash], ancestor: &ChangeHash) -> bool {
        let Some(least) = self.changes.get(ancestor).map(|known| known.greatest) else { return false };
        let mut open: Vec<ChangeHash> = deps.to_vec();
        let mut visited: HashSet<ChangeHash> = open.iter().copied().collect();
        while let Some(hash) = open.pop() {
            if hash == *ancestor {
                return true;
            }
            let Some(known) = self.changes.get(&hash).filter(|known| known.greatest > least) else { continue };
            open.extend(known.deps.iter().copied().filter(|dep| visited.insert(*dep)));
        }
        false
    }
}

/// Judges a change's operations. What replaces something is looked up in `replica`, which holds all its dependencies
/// unless it only adds. Where a newer program has written to that, also what looks plain may build on what only it
/// understands.
pub(super) fn judge(replica: &Replica, of_newer: bool, parsed: &Parsed) -> Result<Shape, Refusal> {
    if parsed.expanded.actor_id == replica.schema_actor {
        return migration(replica, parsed);
    }
    if of_newer { Ok(Shape::Newer) } else { plain(replica, parsed) }
}

/// Whether a newer program has written to it.
pub(super) fn is_newer(replica: &Replica) -> bool {
    matches!(replica.mode(), Mode::ReadOnly { .. })
}

/// The fixed changes' actor belongs to nobody: what it writes is either one of our constants, or of a version after ours.
fn migration(replica: &Replica, parsed: &Parsed) -> Result<Shape, Refusal> {
    if replica.schema.fixed().iter().any(|fixed| fixed.hash() == parsed.hash()) {
        return Ok(Shape::Plain { adds_only: false });
    }
    let after = parsed.expanded.seq > replica.schema.version();
    if after { Ok(Shape::Newer) } else { Err(Refusal::NotTheFixedChange) }
}

fn plain(replica: &Replica, parsed: &Parsed) -> Result<Shape, Refusal> {
    let mut touched: HashSet<(MapAt, &str)> = HashSet::new();
    let mut adds_only = true;
    for op in &parsed.expanded.operations {
        let (map, rule, key) = place(replica, op)?;
        if !touched.insert((map, key)) {
            return Err(Refusal::Shape("it sets one key twice"));
        }
        check_value(replica, op)?;
        if op.pred.is_empty() {
            continue;
        }
        if rule == Rule::Fact {
            return Err(Refusal::ChangesFact);
        }
        adds_only = false;
    }
    Ok(Shape::Plain { adds_only })
}

/// The map and the key that an operation of ours may set.
fn place<'o>(replica: &Replica, op: &'o Op) -> Result<(MapAt, Rule, &'o str), Refusal> {
    let (ObjectId::Id(obj), Key::Map(key), false) = (&op.obj, &op.key, op.insert) else {
        return Err(Refusal::Shape("it writes outside the document's maps"));
    };
    let found = (obj.actor() == &replica.schema_actor).then(|| replica.schema.map_of(obj.counter())).flatten();
    let (at, map) = found.ok_or(Refusal::Shape("it writes outside the document's maps"))?;
    if key.is_empty() || key.len() > MOST_NAME {
        return Err(Refusal::Shape("a key is empty or too long"));
    }
    if at == META && key == SCHEMA_KEY {
        return Err(Refusal::Shape("it sets the document's version"));
    }
    Ok((at, map.rule, key.as_str()))
}

fn check_value(replica: &Replica, op: &Op) -> Result<(), Refusal> {
    match &op.action {
        OpType::Put(ScalarValue::Str(text)) if text.len() <= replica.schema.most_value => Ok(()),
        OpType::Put(ScalarValue::Str(_)) => Err(Refusal::TooLarge { most: replica.schema.most_value }),
        OpType::Delete if !op.pred.is_empty() => Ok(()),
        _ => Err(Refusal::Shape("it writes something other than a text")),
    }
}

/// Checks that what a change replaces stood there when it was written, and that it leaves a value standing.
pub(super) fn check_replaced(replica: &Replica, parsed: &Parsed) -> Result<(), Refusal> {
    if parsed.expanded.actor_id == replica.schema_actor {
        return Ok(());
    }
    for op in parsed.expanded.operations.iter().filter(|op| !op.pred.is_empty()) {
        let (map, _, key) = place(replica, op)?;
        let stood = replica.doc.get_all_at(replica.object(map), key, parsed.deps());
        let stood = stood.map_err(|error| Refusal::NotTaken(error.to_string()))?;
        let is_there = |pred: &OpId| stood.iter().any(|(_, id)| is(id, pred));
        if !op.pred.iter().all(is_there) {
            return Err(Refusal::Replaces);
        }
        if op.action == OpType::Delete && op.pred.len() >= stood.len() {
            return Err(Refusal::Erases);
        }
    }
    Ok(())
}

fn is(id: &ObjId, pred: &OpId) -> bool {
    matches!(id, ObjId::Id(counter, actor, _) if *counter == pred.counter() && actor == pred.actor())
}

/// What a plain change says, for the document to put in words.
pub(super) fn said(replica: &Replica, parsed: &Parsed) -> Vec<Arrived> {
    let place = |op: &Op| match (&op.obj, &op.key) {
        (ObjectId::Id(obj), Key::Map(key)) if obj.actor() == &replica.schema_actor => {
            Some((replica.schema.map_of(obj.counter())?.0, key.to_string()))
        }
        _ => None,
    };
    let value = |op: &Op| match &op.action {
        OpType::Put(ScalarValue::Str(text)) => Some(text.to_string()),
        _ => None,
    };
    let arrived = parsed.expanded.operations.iter().filter_map(|op| {
        let (map, key) = place(op)?;
        Some(Arrived { map, key, value: value(op) })
    });
    arrived.collect()
}
