//! The app's one desk: the device with its documents, and everything that it does through the browser.
//!
//! All of the app's state that lasts is in here. A screen reads it through [`use_desk`], which draws the screen anew when
//! something has changed, and changes it through [`Desk::edit`] and its like. What an edit wrote is on the screen at once
//! as `saving`, and `on this phone` when the database says that it is durable.

mod carry;
mod follow;
pub mod kitchen;
mod live;
mod start;

use std::cell::{Cell, RefCell};
use std::collections::BTreeMap;
use std::rc::Rc;

use litemap::LiteMap;
use trug_device::sync::{Instant, Status, Tell, Ticket};
use trug_device::{Device, DocId, Edit, Effect, Entry, Event, Note, Refused, Told};
use trug_replica::EditError;
use trug_replica::id::Stamp;
use yew::prelude::*;

use crate::platform::clock::{self, Alarm};
use crate::platform::frame;
use crate::platform::locks::Lock;
use crate::platform::storage::{StorageError, Store, Write};
use crate::platform::tabs::{Message, Tabs, Tag};

pub use kitchen::KitchenNow;
pub use start::{NAME, StartError, open};

/// Before the names of what this browser alone keeps: language, scheme and their like.
const PREFERENCE: &str = "pref/";
/// The most news that wait to be shown.
const MOST_NEWS: usize = 20;
/// The most that is kept of what others did in one document, until a screen shows it.
const MOST_TOLD: usize = 500;

/// The desk. Clones are the same one.
#[derive(Clone)]
pub struct Desk(Rc<Inner>);

impl PartialEq for Desk {
    fn eq(&self, other: &Self) -> bool {
        Rc::ptr_eq(&self.0, &other.0)
    }
}

/// Something that a screen may want to say, once.
#[derive(Debug, Clone, PartialEq)]
pub enum News {
    /// What others did in a document.
    Merged(DocId, Vec<Told>),
    /// The log had gone back, and gets back what it lacks.
    WentBack(DocId),
    /// Access was withdrawn, or the relay refuses this device.
    Halted(DocId),
    /// Something that arrived was not let in.
    Quarantined(DocId, String),
    /// A document was put away elsewhere.
    Left(DocId),
    /// Trouble with the relay that a person may have to mend.
    Trouble(DocId, String),
}

/// What waits to be written.
enum Queued {
    Put(Option<Ticket>, String, Vec<u8>),
    Delete(String),
}

struct Inner {
    device: RefCell<Device>,
    store: Option<Store>,
    queue: RefCell<Vec<Queued>>,
    writing: Cell<bool>,
    trouble: RefCell<Option<StorageError>>,
    alarm: Alarm,
    tabs: RefCell<Option<Tabs>>,
    lines: RefCell<LiteMap<String, live::Line>>,
    /// This tab does the syncing; where the browser has locks, it holds one.
    leads: Cell<bool>,
    lock: RefCell<Option<Lock>>,
    network: Cell<bool>,
    version: Cell<u64>,
    /// The screens will be told of a change, once what was touched is on the screen.
    telling: Cell<bool>,
    next: Cell<u32>,
    listeners: RefCell<Vec<(u32, Callback<u64>)>>,
    news: RefCell<Vec<News>>,
    /// What others did, by document.
    told: RefCell<LiteMap<DocId, Vec<Told>>>,
    /// Waits a little before trips are brought up to date with what changed.
    following: Alarm,
    followed: RefCell<Option<Rc<KitchenNow>>>,
    preferences: RefCell<BTreeMap<String, String>>,
    kitchen: RefCell<Option<kitchen::Cached>>,
    watches: RefCell<Vec<crate::platform::online::Watch>>,
}

/// Now, for engines.
#[must_use]
pub fn now() -> Instant {
    Instant(u64::try_from(clock::now_ms()).unwrap_or_default())
}

/// Now, for facts.
#[must_use]
pub fn stamp() -> Stamp {
    Stamp(clock::now_ms())
}

impl Desk {
    /// Reads the device.
    pub fn read<R>(&self, read: impl FnOnce(&Device) -> R) -> R {
        read(&self.0.device.borrow())
    }

    /// Changes the device by any of its own functions, and carries out what that asks for.
    pub fn act<R>(&self, act: impl FnOnce(&mut Device, Instant, &mut Vec<Effect>) -> R) -> R {
        let mut out = Vec::new();
        let done = act(&mut self.0.device.borrow_mut(), now(), &mut out);
        self.carry_out(out);
        self.changed();
        done
    }

    /// Edits a document.
    ///
    /// # Errors
    /// [`Refused`].
    pub fn edit<D: Edit, R>(
        &self,
        id: &DocId,
        edit: impl FnOnce(&mut D) -> Result<R, EditError>,
    ) -> Result<R, Refused> {
        self.act(|device, now, out| device.edit(now, id, edit, out))
    }

    /// Tells the device what happened.
    fn tell(&self, event: Event) {
        let mut out = Vec::new();
        self.0.device.borrow_mut().handle(now(), event, &mut out);
        self.carry_out(out);
    }

    /// How far this device's work has got, in all documents together.
    #[must_use]
    pub fn status(&self) -> Status {
        self.read(Device::status)
    }

    /// Why nothing can be stored just now, where that is so.
    #[must_use]
    pub fn storage_trouble(&self) -> Option<StorageError> {
        self.0.trouble.borrow().clone()
    }

    /// Whether anything is stored at all: a browser may refuse that.
    #[must_use]
    pub fn is_stored(&self) -> bool {
        self.0.store.is_some()
    }

    /// Whether the network may be there.
    #[must_use]
    pub fn network(&self) -> bool {
        self.0.network.get()
    }

    /// The documents on this device.
    #[must_use]
    pub fn entries(&self) -> Vec<Entry> {
        self.read(Device::entries)
    }

    /// What was not shown yet; each is given once.
    #[must_use]
    pub fn take_news(&self) -> Vec<News> {
        std::mem::take(&mut self.0.news.borrow_mut())
    }

    /// What others did in one document since this was last asked: for the screen that shows the document.
    #[must_use]
    pub fn take_told(&self, id: &DocId) -> Vec<Told> {
        self.0.told.borrow_mut().remove(id).unwrap_or_default()
    }

    /// Keeps what a document's screen may want to say.
    pub(in crate::desk) fn keep_told(&self, id: &DocId, told: impl IntoIterator<Item = Told>) {
        let mut kept = self.0.told.borrow_mut();
        let kept = kept.entry(id.clone()).or_default();
        kept.extend(told);
        let over = kept.len().saturating_sub(MOST_TOLD);
        kept.drain(..over);
    }

    /// Something that this browser alone remembers.
    #[must_use]
    pub fn preference(&self, name: &str) -> Option<String> {
        self.0.preferences.borrow().get(name).cloned()
    }

    /// Has this browser remember something.
    pub fn prefer(&self, name: &str, value: &str) {
        self.0.preferences.borrow_mut().insert(name.to_owned(), value.to_owned());
        self.0.queue.borrow_mut().push(Queued::Put(None, format!("{PREFERENCE}{name}"), value.as_bytes().to_vec()));
        self.flush();
        self.changed();
    }

    /// The number of changes that a screen could show.
    #[must_use]
    pub fn version(&self) -> u64 {
        self.0.version.get()
    }

    pub(crate) fn changed(&self) {
        let version = self.0.version.get() + 1;
        self.0.version.set(version);
        self.follow_soon();
        if self.0.telling.replace(true) {
            return;
        }
        let weak = Rc::downgrade(&self.0);
        frame::after_paint(move || {
            if let Some(inner) = weak.upgrade() {
                Desk(inner).tell_screens();
            }
        });
    }

    fn tell_screens(&self) {
        self.0.telling.set(false);
        let version = self.0.version.get();
        let listeners: Vec<Callback<u64>> =
            self.0.listeners.borrow().iter().map(|(_, listener)| listener.clone()).collect();
        listeners.iter().for_each(|listener| listener.emit(version));
    }

    fn listen(&self, listener: Callback<u64>) -> u32 {
        let id = self.0.next.get();
        self.0.next.set(id + 1);
        self.0.listeners.borrow_mut().push((id, listener));
        id
    }

    fn unlisten(&self, id: u32) {
        self.0.listeners.borrow_mut().retain(|(known, _)| *known != id);
    }

    fn hear(&self, id: DocId, note: Note) {
        let news = match note {
            Note::Opened | Note::Engine(Tell::Status(_)) => None,
            Note::Left => Some(News::Left(id)),
            Note::Engine(Tell::Merged(told)) => {
                self.keep_told(&id, told.iter().cloned());
                Some(News::Merged(id, told))
            }
            Note::Engine(Tell::WentBack) => Some(News::WentBack(id)),
            Note::Engine(Tell::Halted(_)) => Some(News::Halted(id)),
            Note::Engine(Tell::Quarantined(_, why) | Tell::Unsound(why)) => Some(News::Quarantined(id, why)),
            Note::Engine(Tell::Trouble(failure)) => Some(News::Trouble(id, failure.to_string())),
            Note::Engine(Tell::Damaged(key)) => Some(News::Quarantined(id, key.to_string())),
            Note::Engine(Tell::Unsendable(_) | Tell::NotSaving) => None,
        };
        let mut waiting = self.0.news.borrow_mut();
        waiting.extend(news);
        let over = waiting.len().saturating_sub(MOST_NEWS);
        waiting.drain(..over);
    }

    /// Erases everything on this phone, and begins anew.
    ///
    /// # Errors
    /// What the database says.
    pub async fn erase(&self) -> Result<(), StorageError> {
        if let Some(store) = &self.0.store {
            store.wipe().await?;
        }
        if let Some(tabs) = &*self.0.tabs.borrow() {
            // A tab that does not hear it finds its database gone.
            let _ = tabs.send(&Message::bare(Tag::Wiped));
        }
        Ok(())
    }
}

/// The desk, for the screen that asks; it is drawn anew whenever something changes on it.
#[hook]
pub fn use_desk() -> Desk {
    use_context::<Desks>().map_or_else(unreachable_desk, |desks| desks.desk)
}

/// What the context carries: the desk, and the version that makes the context differ.
#[derive(Clone, PartialEq)]
pub struct Desks {
    /// The desk.
    pub desk: Desk,
    /// Its version.
    pub version: u64,
}

/// Every screen stands within [`OnDesk`]; one that does not is a mistake of ours, which the first drawing shows.
#[allow(clippy::panic, reason = "no input leads here")]
fn unreachable_desk() -> Desk {
    panic!("a screen was drawn outside the desk")
}

/// What [`OnDesk`] is given.
#[derive(Properties, PartialEq)]
pub struct OnDeskProps {
    /// The desk.
    pub desk: Desk,
    /// What stands on it.
    pub children: Html,
}

/// Everything within reads the desk, and is drawn anew when it changes.
#[component]
pub fn OnDesk(props: &OnDeskProps) -> Html {
    let version = use_state(|| props.desk.version());
    {
        let (desk, version) = (props.desk.clone(), version.clone());
        use_effect_with((), move |()| {
            let set = version.setter();
            let id = desk.listen(Callback::from(move |version| set.set(version)));
            // What changed between the first drawing and now.
            version.set(desk.version());
            move || desk.unlisten(id)
        });
    }
    let context = Desks { desk: props.desk.clone(), version: *version };
    html! { <ContextProvider<Desks> {context}>{ props.children.clone() }</ContextProvider<Desks>> }
}
