//! A document of any kind behind its engine.

use trug_replica::book::Book;
use trug_replica::gate::{Gate, Limits};
use trug_replica::id::{DeviceId, OsEntropy};
use trug_replica::pantry::Pantry;
use trug_replica::run::Run;
use trug_replica::{Document, LocalChange};
use trug_seal::DocumentKind;
use trug_sync::{Effect, Engine, Event, Instant, Key, Keys, Settings, Status};

use crate::device::Told;

/// A document of any kind, with its engine.
pub enum Shelf {
    /// The book.
    Book(Box<Engine<Gate<Book>>>),
    /// A pantry.
    Pantry(Box<Engine<Gate<Pantry>>>),
    /// A shopping trip.
    Run(Box<Engine<Gate<Run>>>),
}

/// Does the same with an engine of any kind.
macro_rules! each {
    ($shelf:expr, $engine:ident => $work:expr) => {
        match $shelf {
            Shelf::Book($engine) => $work,
            Shelf::Pantry($engine) => $work,
            Shelf::Run($engine) => $work,
        }
    };
}

/// Effects of any kind of document.
pub(crate) type Effects = Vec<Effect<Told>>;

fn open_document<D: Document>(device: DeviceId, saved: Option<&[u8]>) -> Option<Gate<D>> {
    let document = match saved {
        None => D::create(device, &mut OsEntropy),
        Some(bytes) => D::load(bytes, device, &mut OsEntropy),
    };
    document.ok().map(|document| Gate::new(document, Limits::default()))
}

/// Collects an engine's effects, with what they tell in the words of all documents.
fn collect<T>(made: Vec<Effect<T>>, told: impl Fn(T) -> Told, out: &mut Effects) {
    out.extend(made.into_iter().map(|effect| effect.map(&told)));
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
        match kind {
            DocumentKind::Book => {
                let mut made = Vec::new();
                let engine = Engine::open(keys, settings, records, |saved| open_document(device, saved), &mut made);
                collect(made, Told::Book, out);
                engine.map(|engine| Self::Book(Box::new(engine)))
            }
            DocumentKind::Pantry => {
                let mut made = Vec::new();
                let engine = Engine::open(keys, settings, records, |saved| open_document(device, saved), &mut made);
                collect(made, Told::Pantry, out);
                engine.map(|engine| Self::Pantry(Box::new(engine)))
            }
            DocumentKind::Run => {
                let mut made = Vec::new();
                let engine = Engine::open(keys, settings, records, |saved| open_document(device, saved), &mut made);
                collect(made, Told::Run, out);
                engine.map(|engine| Self::Run(Box::new(engine)))
            }
        }
    }

    pub(crate) fn handle(&mut self, now: Instant, event: Event, out: &mut Effects) {
        match self {
            Self::Book(engine) => {
                let mut made = Vec::new();
                engine.handle(now, event, &mut made);
                collect(made, Told::Book, out);
            }
            Self::Pantry(engine) => {
                let mut made = Vec::new();
                engine.handle(now, event, &mut made);
                collect(made, Told::Pantry, out);
            }
            Self::Run(engine) => {
                let mut made = Vec::new();
                engine.handle(now, event, &mut made);
                collect(made, Told::Run, out);
            }
        }
    }

    /// What kind of document it is.
    #[must_use]
    pub const fn kind(&self) -> DocumentKind {
        match self {
            Self::Book(_) => DocumentKind::Book,
            Self::Pantry(_) => DocumentKind::Pantry,
            Self::Run(_) => DocumentKind::Run,
        }
    }

    /// How far this device's work on it has got.
    #[must_use]
    pub fn status(&self) -> Status {
        each!(self, engine => engine.status())
    }

    /// Whether everything was stored, sent and read.
    #[must_use]
    pub fn is_settled(&self) -> bool {
        each!(self, engine => engine.is_settled())
    }

    /// Whether anything in it was not let in.
    #[must_use]
    pub fn quarantined(&self) -> usize {
        each!(self, engine => engine.document().quarantine().len())
    }

    /// All changes, for a file or another log.
    pub(crate) fn all_changes(&self) -> Vec<LocalChange> {
        each!(self, engine => engine.document().document().all_changes())
    }

    /// Those of these changes that it lacks.
    pub(crate) fn lacking(&self, changes: Vec<LocalChange>) -> Vec<Vec<u8>> {
        let has = |change: &LocalChange| each!(self, engine => engine.document().document().has_change(&change.hash));
        changes.into_iter().filter(|change| !has(change)).map(|change| change.bytes).collect()
    }

    /// Those of these raw changes that are not applied here.
    pub(crate) fn unknown(&self, changes: &[Vec<u8>]) -> Vec<Vec<u8>> {
        let has = |bytes: &Vec<u8>| {
            let hash = trug_sync::change_hash(bytes);
            hash.is_some_and(|hash| each!(self, engine => engine.document().document().has_change(&hash)))
        };
        changes.iter().filter(|bytes| !has(bytes)).cloned().collect()
    }

    /// What a person called it.
    #[must_use]
    pub fn title(&self) -> String {
        match self {
            Self::Book(_) => String::new(),
            Self::Pantry(engine) => engine.document().document().title().unwrap_or_default(),
            Self::Run(engine) => engine.document().document().title().unwrap_or_default(),
        }
    }
}
