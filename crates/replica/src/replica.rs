//! What the three documents share: opening, one edit as one small change, reading, saving.

use std::panic::{AssertUnwindSafe, catch_unwind};

use automerge::transaction::{CommitOptions, Transactable};
use automerge::{ActorId, Automerge, ChangeHash, ObjId, ReadDoc, ScalarValue, ValueRef};

use crate::gather;
use crate::id::{DeviceId, Entropy, FactId, MOST_NAME, NoEntropy};
use crate::schema::{Kind, META, MapAt, SCHEMA_KEY, Schema};

/// Why a document does not open.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum OpenError {
    /// The bytes are damaged, or none of ours.
    #[error("this is not a saved {}, or it is damaged: {why}", .kind.name())]
    Damaged {
        /// What was to be opened.
        kind: Kind,
        /// What automerge says.
        why: String,
    },
    /// The bytes are a document, but of another kind.
    #[error("this document does not begin as a {} does; it is another kind of document", .0.name())]
    OtherKind(Kind),
    /// There is no randomness.
    #[error(transparent)]
    Entropy(#[from] NoEntropy),
}

/// Why an edit was not made. Nothing was changed.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum EditError {
    /// A newer program has written here.
    #[error(
        "a newer version of Trug (shape {found}, this one knows {known}) has written here; it is shown, but update \
             Trug to change it"
    )]
    ReadOnly {
        /// The document's version of its shape.
        found: u64,
        /// This program's.
        known: u64,
    },
    /// The text is too long for a document that others have to carry.
    #[error("{what} has {bytes} bytes; at most {most} fit")]
    TooLong {
        /// Of what.
        what: &'static str,
        /// How long it is.
        bytes: usize,
        /// How long it may be.
        most: usize,
    },
    /// Nothing stands under that id.
    #[error("there is no {what} `{id}` here")]
    Unknown {
        /// Which kind of thing.
        what: &'static str,
        /// The id.
        id: String,
    },
    /// The document could not take the edit.
    #[error("the edit could not be written: {0}")]
    NotWritten(String),
}

/// Whether a document can be written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Mode {
    /// It can.
    Writable,
    /// A newer program has written here: this one shows what it understands, keeps everything, and writes nothing.
    ReadOnly {
        /// The document's version of its shape.
        found: u64,
    },
}

/// A change that this device has made, for storing and sending.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LocalChange {
    /// Its hash.
    pub hash: ChangeHash,
    /// The uncompressed chunk; entries are deflated as a whole.
    pub bytes: Vec<u8>,
}

/// A value, and whether other values were set apart from it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Held {
    pub(crate) text: String,
    pub(crate) conflict: bool,
}

/// One document. Every opened document writes with an actor of its own, drawn when it is opened: an actor used twice is
/// a duplicate sequence number for ever. That is why there is no public way to clone one.
#[allow(unreachable_pub, reason = "the sealed half of a public trait names it, and nobody else can")]
#[derive(Debug, Clone)]
pub struct Replica {
    pub(crate) doc: Automerge,
    pub(crate) schema: &'static Schema,
    pub(crate) schema_actor: ActorId,
    device: DeviceId,
    counter: u64,
    local: Vec<LocalChange>,
    merges: u64,
    edits: Vec<u64>,
}

/// 16 random bytes: nobody draws the same twice.
const ACTOR_BYTES: usize = 16;

fn fresh_actor(entropy: &mut impl Entropy) -> Result<[u8; ACTOR_BYTES], NoEntropy> {
    let mut bytes = [0; ACTOR_BYTES];
    entropy.fill(&mut bytes)?;
    Ok(bytes)
}

/// Runs what may panic on bytes that something damaged. In WebAssembly a panic aborts, and the journal of attempts takes
/// this function's place.
pub(crate) fn guarded<T>(work: impl FnOnce() -> Result<T, String>) -> Result<T, String> {
    catch_unwind(AssertUnwindSafe(work)).unwrap_or_else(|panic| {
        let text = panic.downcast_ref::<String>().map(String::as_str);
        let text = text.or_else(|| panic.downcast_ref::<&str>().copied());
        Err(format!("it stumbled: {}", text.unwrap_or("no reason given")))
    })
}

impl Replica {
    /// A new document, the same on every device until its first edit.
    pub(crate) fn create(
        schema: &'static Schema,
        device: DeviceId,
        entropy: &mut impl Entropy,
    ) -> Result<Self, OpenError> {
        Self::settle(schema, Automerge::new(), device, entropy)
    }

    /// Opens what was saved, in this or an older version's shape, and brings it to this version's.
    pub(crate) fn load(
        schema: &'static Schema,
        bytes: &[u8],
        device: DeviceId,
        entropy: &mut impl Entropy,
    ) -> Result<Self, OpenError> {
        let kind = schema.kind;
        let load = || Automerge::load(bytes).map_err(|error| error.to_string());
        let doc = guarded(load).map_err(|why| OpenError::Damaged { kind, why })?;
        let first = schema.fixed().first().map(automerge::Change::hash);
        if first.is_none_or(|first| doc.get_change_meta_by_hash(&first).is_none()) {
            return Err(OpenError::OtherKind(kind));
        }
        Self::settle(schema, doc, device, entropy)
    }

    fn settle(
        schema: &'static Schema,
        mut doc: Automerge,
        device: DeviceId,
        entropy: &mut impl Entropy,
    ) -> Result<Self, OpenError> {
        let actor = fresh_actor(entropy)?;
        doc.set_actor(ActorId::from(&actor[..]));
        let mut replica = Self {
            doc,
            schema,
            schema_actor: schema.kind.schema_actor(),
            device,
            counter: 0,
            local: Vec::new(),
            merges: 0,
            edits: Vec::new(),
        };
        replica.counter = first_counter(&actor);
        if replica.mode() == Mode::Writable {
            replica.migrate()?;
        }
        Ok(replica)
    }

    /// Adds the fixed changes that are not there yet. The first is on every device; a later one must travel like an
    /// edit, since programs of the older shape have no constant for it.
    fn migrate(&mut self) -> Result<(), OpenError> {
        for (at, change) in self.schema.fixed().into_iter().enumerate() {
            if self.doc.get_change_meta_by_hash(&change.hash()).is_some() {
                continue;
            }
            if at > 0 {
                self.local.push(LocalChange { hash: change.hash(), bytes: change.raw_bytes().to_vec() });
            }
            let kind = self.schema.kind;
            let damaged = |error: automerge::AutomergeError| OpenError::Damaged { kind, why: error.to_string() };
            self.doc.apply_changes([change]).map_err(damaged)?;
        }
        Ok(())
    }

    pub(crate) const fn device(&self) -> DeviceId {
        self.device
    }

    /// An id for a fact that this device writes now.
    pub(crate) const fn next_fact(&mut self) -> FactId {
        let counter = self.counter;
        self.counter = (self.counter + 1) & ((1 << 60) - 1);
        FactId { device: self.device, counter }
    }

    /// The document's version of its shape: the greatest that anybody has set.
    pub(crate) fn version(&self) -> u64 {
        let values = self.doc.get_all(self.object(META), SCHEMA_KEY).unwrap_or_default();
        let numbers = values.iter().filter_map(|(value, _)| value.as_u64());
        numbers.max().unwrap_or(0)
    }

    pub(crate) fn mode(&self) -> Mode {
        match self.version() {
            found if found > self.schema.version() => Mode::ReadOnly { found },
            _ => Mode::Writable,
        }
    }

    pub(crate) fn object(&self, map: MapAt) -> ObjId {
        ObjId::Id(self.schema.operation(map), self.schema_actor.clone(), 0)
    }

    pub(crate) fn heads(&self) -> Vec<ChangeHash> {
        gather::ordered(self.doc.get_heads(), |a, b| a < b)
    }

    /// Something came from elsewhere: every map may say something else.
    pub(crate) const fn note_merge(&mut self) {
        self.merges += 1;
    }

    fn note_edit(&mut self, map: MapAt) {
        let at = map.0;
        if self.edits.len() <= at {
            self.edits.resize(at + 1, 0);
        }
        if let Some(edits) = self.edits.get_mut(at) {
            *edits += 1;
        }
    }

    /// What differs once a map may say something else: what was read of it before can be kept until then.
    pub(crate) fn age(&self, map: MapAt) -> (u64, u64) {
        (self.merges, self.edits.get(map.0).copied().unwrap_or_default())
    }

    /// The value that stands, where one does.
    pub(crate) fn get(&self, map: MapAt, key: &str) -> Option<String> {
        let (value, _) = self.doc.get(self.object(map), key).ok()??;
        value.as_str().map(str::to_owned)
    }

    /// Whether any value, readable or not, stands under the key.
    pub(crate) fn has(&self, map: MapAt, key: &str) -> bool {
        self.doc.get(self.object(map), key).is_ok_and(|value| value.is_some())
    }

    /// All distinct values that stand under a key, each once, in order of their text.
    pub(crate) fn all(&self, map: MapAt, key: &str) -> Vec<String> {
        let values = self.doc.get_all(self.object(map), key).unwrap_or_default();
        let texts = values.iter().filter_map(|(value, _)| value.as_str().map(str::to_owned));
        let mut texts = gather::ordered(texts, |a, b| a < b);
        texts.dedup();
        texts
    }

    /// Every key of a map with the value that stands, in the order of the keys.
    pub(crate) fn entries(&self, map: MapAt) -> Vec<(String, Held)> {
        let items = self.doc.map_range(self.object(map), ..);
        let text = |value: &ValueRef<'_>| match value {
            ValueRef::Scalar(automerge::ScalarValueRef::Str(text)) => Some(text.to_string()),
            _ => None,
        };
        items
            .filter_map(|item| {
                let held = Held { text: text(&item.value)?, conflict: item.conflict };
                Some((item.key.into_owned(), held))
            })
            .collect()
    }

    /// The keys of a map under which distinct values were set apart.
    pub(crate) fn conflicts(&self, map: MapAt) -> Vec<(String, Vec<String>)> {
        let items = self.doc.map_range(self.object(map), ..);
        let disputed = items.filter(|item| item.conflict).map(|item| item.key.into_owned());
        let values = disputed.map(|key| (self.all(map, &key), key)).map(|(values, key)| (key, values));
        values.filter(|(_, values)| values.len() > 1).collect()
    }

    /// Makes one edit: all puts are one small change, or none where nothing differs. Where the same value was set apart
    /// on two devices, there is nothing to settle either.
    pub(crate) fn edit(&mut self, puts: &[Put]) -> Result<bool, EditError> {
        self.check_writable()?;
        for put in puts {
            put.check(self.schema)?;
        }
        let differs = |put: &&Put| self.all(put.map, &put.key) != [put.value.as_str()];
        let puts: Vec<&Put> = puts.iter().filter(differs).collect();
        if puts.is_empty() {
            return Ok(false);
        }
        let objects = gather::map(puts.iter().map(|put| (put.map, self.object(put.map))));
        let options = || CommitOptions::default().with_time(0);
        let done = self.doc.transact_with::<_, _, automerge::AutomergeError, _>(
            |_| options(),
            |transaction| {
                for put in &puts {
                    if let Some(object) = objects.get(&put.map) {
                        transaction.put(object, put.key.as_str(), ScalarValue::Str(put.value.as_str().into()))?;
                    }
                }
                Ok(())
            },
        );
        let done = done.map_err(|failure| EditError::NotWritten(failure.error.to_string()))?;
        puts.iter().for_each(|put| self.note_edit(put.map));
        let Some(change) = done.hash.and_then(|hash| self.doc.get_change_by_hash(&hash)) else { return Ok(false) };
        self.local.push(LocalChange { hash: change.hash(), bytes: change.raw_bytes().to_vec() });
        Ok(true)
    }

    pub(crate) fn check_writable(&self) -> Result<(), EditError> {
        match self.mode() {
            Mode::Writable => Ok(()),
            Mode::ReadOnly { found } => Err(EditError::ReadOnly { found, known: self.schema.version() }),
        }
    }

    pub(crate) fn take_local(&mut self) -> Vec<LocalChange> {
        std::mem::take(&mut self.local)
    }

    pub(crate) fn save(&self) -> Vec<u8> {
        self.doc.save()
    }

    /// Whether what would be saved opens again as the same document.
    pub(crate) fn proves(&self) -> Result<(), String> {
        guarded(|| {
            let loaded = Automerge::load(&self.doc.save()).map_err(|error| error.to_string())?;
            let there = gather::ordered(loaded.get_heads(), |a, b| a < b);
            if self.heads() == there { Ok(()) } else { Err("it opens as another document".to_owned()) }
        })
    }

    /// Every key of every known map with all that stands there: the same for the same history, whatever its order.
    pub(crate) fn canonical(&self) -> String {
        let mut text = format!("{} {}\n", self.schema.kind.name(), self.version());
        for (at, map) in self.schema.maps() {
            for item in self.doc.map_range(self.object(at), ..) {
                let mut values: Vec<String> = match item.conflict {
                    true => self.doc.get_all(self.object(at), &*item.key).unwrap_or_default(),
                    false => self.doc.get(self.object(at), &*item.key).ok().flatten().into_iter().collect(),
                }
                .iter()
                .map(|(value, _)| format!("{value:?}"))
                .collect();
                // The last is the one that stands; the others follow in order of their text.
                let stands = values.pop().unwrap_or_default();
                values.sort_unstable();
                text.push_str(&format!("{}\t{:?}\t{stands}\t{}\n", map.name, item.key, values.join("\t")));
            }
        }
        text
    }
}

/// The upper 40 bits of a session's counters come from its actor, the lower 20 count.
fn first_counter(actor: &[u8; ACTOR_BYTES]) -> u64 {
    actor.iter().take(5).fold(0, |sum, byte| sum << 8 | u64::from(*byte)) << 20
}

/// One value to be set.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Put {
    pub(crate) map: MapAt,
    pub(crate) key: String,
    pub(crate) value: String,
}

impl Put {
    pub(crate) fn new(map: MapAt, key: impl ToString, value: String) -> Self {
        Self { map, key: key.to_string(), value }
    }

    fn check(&self, schema: &Schema) -> Result<(), EditError> {
        let too_long = |what, bytes, most| EditError::TooLong { what, bytes, most };
        if self.key.is_empty() || self.key.len() > MOST_NAME {
            return Err(too_long("the key", self.key.len(), MOST_NAME));
        }
        if self.value.len() > schema.most_value {
            return Err(too_long("the text", self.value.len(), schema.most_value));
        }
        Ok(())
    }
}
