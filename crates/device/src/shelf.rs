//! A document of any kind behind its engine.

use trug_replica::book::Book;
use trug_replica::gate::{Gate, Limits};
use trug_replica::id::{DeviceId, OsEntropy};
use trug_replica::pantry::Pantry;
use trug_replica::run::Run;
use trug_replica::{Document, LocalChange, Mode};
use trug_seal::DocumentKind;
use trug_sync::{ChangeHash, Document as Synced, Effect, Engine, Event, Instant, Key, Keys, Settings, Status, Tried};

use crate::device::Told;

/// A document of any kind behind its gate. One engine for all of them: the engine asks nothing of a document's meaning,
/// and three of it would only be three times the code in the phone's download.
pub(crate) enum AnyDocument {
    Book(Gate<Book>),
    Pantry(Gate<Pantry>),
    Run(Gate<Run>),
}

/// Does the same with a document of any kind.
macro_rules! each {
    ($document:expr, $gate:ident => $work:expr) => {
        match $document {
            AnyDocument::Book($gate) => $work,
            AnyDocument::Pantry($gate) => $work,
            AnyDocument::Run($gate) => $work,
        }
    };
}

/// Effects of any kind of document.
pub(crate) type Effects = Vec<Effect<Told>>;

fn open_gate<D: Document>(device: DeviceId, saved: Option<&[u8]>) -> Option<Gate<D>> {
    let document = match saved {
        None => D::create(device, &mut OsEntropy),
        Some(bytes) => D::load(bytes, device, &mut OsEntropy),
    };
    document.ok().map(|document| Gate::new(document, Limits::default()))
}

/// What a trial told, in the words of all documents.
fn in_words<T>(tried: Tried<T>, words: impl Fn(T) -> Told) -> Tried<Told> {
    Tried { told: tried.told.into_iter().map(words).collect(), quarantined: tried.quarantined }
}

impl AnyDocument {
    fn open(kind: DocumentKind, device: DeviceId, saved: Option<&[u8]>) -> Option<Self> {
        match kind {
            DocumentKind::Book => open_gate(device, saved).map(Self::Book),
            DocumentKind::Pantry => open_gate(device, saved).map(Self::Pantry),
            DocumentKind::Run => open_gate(device, saved).map(Self::Run),
        }
    }
}

impl Synced for AnyDocument {
    type Told = Told;

    fn admit(&mut self, contents: Vec<Vec<u8>>) -> Tried<Told> {
        match self {
            Self::Book(gate) => in_words(Synced::admit(gate, contents), Told::Book),
            Self::Pantry(gate) => in_words(Synced::admit(gate, contents), Told::Pantry),
            Self::Run(gate) => in_words(Synced::admit(gate, contents), Told::Run),
        }
    }

    fn blame(&mut self, content: Vec<u8>) {
        each!(self, gate => Synced::blame(gate, content));
    }

    fn release(&mut self, content: &[u8]) {
        each!(self, gate => Synced::release(gate, content));
    }

    fn take_local(&mut self) -> Vec<(ChangeHash, Vec<u8>)> {
        each!(self, gate => Synced::take_local(gate))
    }

    fn all(&self) -> Vec<(ChangeHash, Vec<u8>)> {
        each!(self, gate => Synced::all(gate))
    }

    fn has(&self, hash: &ChangeHash) -> bool {
        each!(self, gate => Synced::has(gate, hash))
    }

    fn waiting(&self) -> usize {
        each!(self, gate => Synced::waiting(gate))
    }

    fn quarantined(&self) -> usize {
        each!(self, gate => Synced::quarantined(gate))
    }

    fn checked_save(&mut self) -> Result<Vec<u8>, String> {
        each!(self, gate => Synced::checked_save(gate))
    }
}

/// A document of any kind, with its engine.
pub struct Shelf {
    kind: DocumentKind,
    engine: Box<Engine<AnyDocument>>,
}

impl Shelf {
    /// Opens a document from its records; `None` where there is no randomness, or nothing opens.
    pub(crate) fn open(
        kind: DocumentKind,
        keys: Keys,
        device: DeviceId,
        settings: Settings,
        records: Vec<(Key, Vec<u8>)>,
        out: &mut Effects,
    ) -> Option<Self> {
        let engine = Engine::open(keys, settings, records, |saved| AnyDocument::open(kind, device, saved), out)?;
        Some(Self { kind, engine: Box::new(engine) })
    }

    pub(crate) fn handle(&mut self, now: Instant, event: Event, out: &mut Effects) {
        self.engine.handle(now, event, out);
    }

    /// The document, for an edit; [`Event::Edited`] must follow.
    pub(crate) const fn held_mut(&mut self) -> &mut AnyDocument {
        self.engine.document_mut()
    }

    /// The book, where it is one.
    pub(crate) const fn book(&self) -> Option<&Book> {
        if let AnyDocument::Book(gate) = self.engine.document() { Some(gate.document()) } else { None }
    }

    /// The pantry, where it is one.
    pub(crate) const fn pantry(&self) -> Option<&Pantry> {
        if let AnyDocument::Pantry(gate) = self.engine.document() { Some(gate.document()) } else { None }
    }

    /// The shopping trip, where it is one.
    pub(crate) const fn run(&self) -> Option<&Run> {
        if let AnyDocument::Run(gate) = self.engine.document() { Some(gate.document()) } else { None }
    }

    /// What kind of document it is.
    #[must_use]
    pub const fn kind(&self) -> DocumentKind {
        self.kind
    }

    /// Whether it can be written.
    #[must_use]
    pub fn mode(&self) -> Mode {
        each!(self.engine.document(), gate => gate.document().mode())
    }

    /// How far this device's work on it has got.
    #[must_use]
    pub fn status(&self) -> Status {
        self.engine.status()
    }

    /// Whether everything was stored, sent and read.
    #[must_use]
    pub fn is_settled(&self) -> bool {
        self.engine.is_settled()
    }

    /// Whether anything in it was not let in.
    #[must_use]
    pub fn quarantined(&self) -> usize {
        self.engine.document().quarantined()
    }

    /// All changes, for a file or another log.
    pub(crate) fn all_changes(&self) -> Vec<LocalChange> {
        each!(self.engine.document(), gate => gate.document().all_changes())
    }

    /// Those of these changes that it lacks.
    pub(crate) fn lacking(&self, changes: Vec<LocalChange>) -> Vec<Vec<u8>> {
        let lacking = changes.into_iter().filter(|change| !self.engine.document().has(&change.hash));
        lacking.map(|change| change.bytes).collect()
    }

    /// Those of these raw changes that are not applied here.
    pub(crate) fn unknown(&self, changes: &[Vec<u8>]) -> Vec<Vec<u8>> {
        let has = |bytes: &Vec<u8>| {
            let hash = trug_sync::change_hash(bytes);
            hash.is_some_and(|hash| self.engine.document().has(&hash))
        };
        changes.iter().filter(|bytes| !has(bytes)).cloned().collect()
    }

    /// What a person called it.
    #[must_use]
    pub fn title(&self) -> String {
        let title = self.run().and_then(Run::title).or_else(|| self.pantry().and_then(Pantry::title));
        title.unwrap_or_default()
    }
}
