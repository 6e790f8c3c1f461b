//! A change taken apart with our own eyes, and put together again by automerge's own encoder: only what comes out as
//! the same bytes goes in. So automerge's decoder never meets a form that its encoder would not write.

use std::collections::BTreeSet;
use std::num::NonZeroU64;

use automerge::legacy::{ElementId, Key, ObjectId, Op, OpId, OpType};
use automerge::{ActorId, Change, ChangeHash, ExpandedChange, ObjType, ScalarValue};

use super::bytes::{Booleans, Cursor, Deltas, Runs};
use super::chunk::{Raw, columns};
use super::{Limits, Refusal};
use crate::replica::guarded;

/// The most bytes of an actor id: ours have 16, the fixed changes' at most 11.
const MOST_ACTOR: usize = 32;
/// The most dependencies: each is a branch that nobody has merged yet.
const MOST_DEPENDENCIES: usize = 10_000;

/// A change whose form is sound; whether it fits the document is judged elsewhere.
#[derive(Debug, Clone)]
pub(super) struct Parsed {
    pub(super) raw: Raw,
    pub(super) expanded: ExpandedChange,
    pub(super) change: Change,
}

impl Parsed {
    pub(super) const fn hash(&self) -> ChangeHash {
        self.raw.hash
    }

    pub(super) fn start(&self) -> u64 {
        self.expanded.start_op.get()
    }

    pub(super) fn deps(&self) -> &[ChangeHash] {
        &self.expanded.deps
    }
}

pub(super) fn actor(cursor: &mut Cursor<'_>) -> Result<ActorId, Refusal> {
    let bytes = cursor.prefixed()?;
    if bytes.is_empty() || bytes.len() > MOST_ACTOR {
        return Err(Refusal::Malformed("an actor's id has no length that ours have"));
    }
    Ok(ActorId::from(bytes))
}

/// Takes a change apart.
pub(super) fn parse(raw: Raw, limits: &Limits) -> Result<Parsed, Refusal> {
    let expanded = expand(raw.data(), limits)?;
    // The encoder asserts what we have checked; still, it is not ours.
    let change = guarded(|| Ok(Change::from(expanded.clone()))).map_err(Refusal::NotTaken)?;
    if change.raw_bytes() != raw.bytes {
        return Err(Refusal::NotCanonical);
    }
    Ok(Parsed { raw, expanded, change })
}

fn expand(data: &[u8], limits: &Limits) -> Result<ExpandedChange, Refusal> {
    let mut cursor = Cursor::new(data);
    let deps = dependencies(&mut cursor)?;
    let actor_id = actor(&mut cursor)?;
    let seq = cursor.number()?;
    let start_op = NonZeroU64::new(cursor.number()?).ok_or(Refusal::Malformed("it has no first operation"))?;
    if start_op.get() > u64::from(u32::MAX / 2) {
        return Err(Refusal::TooManyOperations);
    }
    let time = cursor.signed()?;
    let message = Some(cursor.text()?.to_owned()).filter(|message| !message.is_empty());
    let mut actors = vec![actor_id.clone()];
    for _ in 0..cursor.count()? {
        actors.push(actor(&mut cursor)?);
    }
    let columns = Columns::read(&mut cursor)?;
    if !cursor.is_empty() {
        return Err(Refusal::Malformed("something follows its end"));
    }
    let operations = columns.operations(&actors, limits)?;
    Ok(ExpandedChange {
        operations,
        actor_id,
        hash: None,
        seq,
        start_op,
        time,
        message,
        deps,
        extra_bytes: Vec::new(),
        author: None,
    })
}

fn dependencies(cursor: &mut Cursor<'_>) -> Result<Vec<ChangeHash>, Refusal> {
    let count = cursor.count()?;
    if count > MOST_DEPENDENCIES {
        return Err(Refusal::Malformed("it has too many dependencies"));
    }
    let mut deps = BTreeSet::new();
    for _ in 0..count {
        if !deps.insert(ChangeHash(cursor.array()?)) {
            return Err(Refusal::Malformed("it names a dependency twice"));
        }
    }
    Ok(deps.into_iter().collect())
}

/// The columns of a change's operations, by the numbers of the format.
#[derive(Debug, Default)]
struct Columns<'b> {
    obj_actor: &'b [u8],
    obj_counter: &'b [u8],
    key_actor: &'b [u8],
    key_counter: &'b [u8],
    key_text: &'b [u8],
    insert: &'b [u8],
    action: &'b [u8],
    value_meta: &'b [u8],
    value: &'b [u8],
    pred_count: &'b [u8],
    pred_actor: &'b [u8],
    pred_counter: &'b [u8],
}

impl<'b> Columns<'b> {
    fn read(cursor: &mut Cursor<'b>) -> Result<Self, Refusal> {
        let mut read = Self::default();
        for (specification, length) in columns(cursor)? {
            let column = cursor.take(length)?;
            let place = match specification {
                0x01 => &mut read.obj_actor,
                0x02 => &mut read.obj_counter,
                0x11 => &mut read.key_actor,
                0x13 => &mut read.key_counter,
                0x15 => &mut read.key_text,
                0x34 => &mut read.insert,
                0x42 => &mut read.action,
                0x56 => &mut read.value_meta,
                0x57 => &mut read.value,
                0x70 => &mut read.pred_count,
                0x71 => &mut read.pred_actor,
                0x73 => &mut read.pred_counter,
                other => return Err(Refusal::Column(other)),
            };
            *place = column;
        }
        Ok(read)
    }

    fn operations(&self, actors: &[ActorId], limits: &Limits) -> Result<Vec<Op>, Refusal> {
        let count = Runs::<u64>::count(self.action, limits.operations)?;
        if count == 0 {
            return Err(Refusal::Malformed("it changes nothing"));
        }
        let mut rows = Rows::of(self, actors);
        let operations = (0..count).map(|_| rows.next(limits)).collect::<Result<_, _>>()?;
        if rows.is_done() { Ok(operations) } else { Err(Refusal::Malformed("its columns differ in length")) }
    }
}

/// The columns, read a row at a time.
struct Rows<'b, 'a> {
    actors: &'a [ActorId],
    obj_actor: Runs<'b, u64>,
    obj_counter: Runs<'b, u64>,
    key_actor: Runs<'b, u64>,
    key_counter: Deltas<'b>,
    key_text: Runs<'b, &'b str>,
    insert: Booleans<'b>,
    action: Runs<'b, u64>,
    value_meta: Runs<'b, u64>,
    value: Cursor<'b>,
    pred_count: Runs<'b, u64>,
    pred_actor: Runs<'b, u64>,
    pred_counter: Deltas<'b>,
    preds: u64,
}

impl<'b, 'a> Rows<'b, 'a> {
    const fn of(columns: &Columns<'b>, actors: &'a [ActorId]) -> Self {
        Self {
            actors,
            obj_actor: Runs::new(columns.obj_actor),
            obj_counter: Runs::new(columns.obj_counter),
            key_actor: Runs::new(columns.key_actor),
            key_counter: Deltas::new(columns.key_counter),
            key_text: Runs::new(columns.key_text),
            insert: Booleans::new(columns.insert),
            action: Runs::new(columns.action),
            value_meta: Runs::new(columns.value_meta),
            value: Cursor::new(columns.value),
            pred_count: Runs::new(columns.pred_count),
            pred_actor: Runs::new(columns.pred_actor),
            pred_counter: Deltas::new(columns.pred_counter),
            preds: 0,
        }
    }

    const fn is_done(&self) -> bool {
        self.obj_actor.is_done()
            && self.obj_counter.is_done()
            && self.key_actor.is_done()
            && self.key_counter.is_done()
            && self.key_text.is_done()
            && self.insert.is_done()
            && self.action.is_done()
            && self.value_meta.is_done()
            && self.value.is_empty()
            && self.pred_count.is_done()
            && self.pred_actor.is_done()
            && self.pred_counter.is_done()
    }

    fn next(&mut self, limits: &Limits) -> Result<Op, Refusal> {
        let obj = match id(self.actors, self.obj_actor.next()?, self.obj_counter.next()?)? {
            Some(id) => ObjectId::Id(id),
            None => ObjectId::Root,
        };
        let (key, insert) = (self.key()?, self.insert.next()?);
        let action = self.action.next()?.ok_or(Refusal::Malformed("an operation has no action"))?;
        let value = self.value()?;
        let action = operation(action, value)?;
        let pred = self.preds(limits)?.into();
        Ok(Op { action, obj, key, pred, insert })
    }

    fn key(&mut self) -> Result<Key, Refusal> {
        let (actor, counter) = (self.key_actor.next()?, self.key_counter.next()?);
        match (self.key_text.next()?, actor, counter) {
            (Some(text), None, None) => Ok(Key::Map(text.into())),
            (None, None, Some(0)) => Ok(Key::Seq(ElementId::Head)),
            (None, actor, counter) => match id(self.actors, actor, counter)? {
                Some(id) => Ok(Key::Seq(ElementId::Id(id))),
                None => Err(Refusal::Malformed("an operation has no key")),
            },
            _ => Err(Refusal::Malformed("an operation has two keys")),
        }
    }

    fn value(&mut self) -> Result<ScalarValue, Refusal> {
        let meta = self.value_meta.next()?.ok_or(Refusal::Malformed("an operation has no value"))?;
        let length = usize::try_from(meta >> 4).map_err(|_| Refusal::Malformed("a value is too long"))?;
        let bytes = self.value.take(length)?;
        let mut cursor = Cursor::new(bytes);
        let value = match meta & 15 {
            0 => ScalarValue::Null,
            1 => ScalarValue::Boolean(false),
            2 => ScalarValue::Boolean(true),
            3 => ScalarValue::Uint(cursor.number()?),
            4 => ScalarValue::Int(cursor.signed()?),
            5 => ScalarValue::F64(f64::from_le_bytes(cursor.array()?)),
            6 => ScalarValue::Str(utf8(bytes)?.into()),
            7 => ScalarValue::Bytes(bytes.to_vec()),
            8 => ScalarValue::counter(cursor.signed()?),
            9 => ScalarValue::Timestamp(cursor.signed()?),
            _ => return Err(Refusal::Malformed("a value is of no known type")),
        };
        Ok(value)
    }

    fn preds(&mut self, limits: &Limits) -> Result<Vec<OpId>, Refusal> {
        let count = self.pred_count.next()?.unwrap_or(0);
        self.preds = self.preds.checked_add(count).filter(|sum| *sum <= limits.operations).ok_or(TOO_MANY)?;
        (0..count)
            .map(|_| {
                let found = id(self.actors, self.pred_actor.next()?, self.pred_counter.next()?)?;
                found.ok_or(Refusal::Malformed("what an operation replaces is not named"))
            })
            .collect()
    }
}

const TOO_MANY: Refusal = Refusal::TooManyOperations;

fn utf8(bytes: &[u8]) -> Result<&str, Refusal> {
    std::str::from_utf8(bytes).map_err(|_| Refusal::Malformed("a text is not UTF-8"))
}

/// An operation's id, from the place of its actor in the change and its counter; none where both are null.
fn id(actors: &[ActorId], actor: Option<u64>, counter: Option<u64>) -> Result<Option<OpId>, Refusal> {
    let (actor, counter) = match (actor, counter) {
        (None, None) => return Ok(None),
        (Some(actor), Some(counter)) => (actor, counter),
        _ => return Err(Refusal::Malformed("an operation's id is half there")),
    };
    let known = usize::try_from(actor).ok().and_then(|at| actors.get(at));
    let actor = known.ok_or(Refusal::Malformed("it names an actor that it does not list"))?;
    if counter == 0 || counter > u64::from(u32::MAX) {
        return Err(Refusal::Malformed("an operation's number is out of range"));
    }
    Ok(Some(OpId::new(counter, actor)))
}

/// The action by its number in the format. Marks of rich text are in none of our documents.
fn operation(action: u64, value: ScalarValue) -> Result<OpType, Refusal> {
    let made = match action {
        0 => OpType::Make(ObjType::Map),
        1 => return Ok(OpType::Put(value)),
        2 => OpType::Make(ObjType::List),
        3 => OpType::Delete,
        4 => OpType::Make(ObjType::Text),
        5 => match value {
            ScalarValue::Int(by) => return Ok(OpType::Increment(by)),
            _ => return Err(Refusal::Malformed("an increment is not a whole number")),
        },
        other => return Err(Refusal::Action(other)),
    };
    if value == ScalarValue::Null { Ok(made) } else { Err(Refusal::Malformed("an operation has a value too many")) }
}
