//! Opening the desk when the program starts.

use std::cell::{Cell, RefCell};
use std::collections::BTreeMap;
use std::rc::Rc;

use gloo::timers::callback::Timeout;
use thiserror::Error;
use trug_device::{Device, DocId, Event, OpenError};
use trug_replica::gather;
use wasm_bindgen_futures::spawn_local;

use super::{Desk, Inner, PREFERENCE, now};
use crate::platform::clock::Alarm;
use crate::platform::locks::{self, Lock};
use crate::platform::storage::{StorageError, Store};
use crate::platform::tabs::{Message, Tabs, Tag};
use crate::platform::{address, online, random};

/// How long the trips that are over wait at the start, and between one and the next, in milliseconds: nobody is kept
/// waiting by them.
const FIRST_PAUSE: u32 = 1_500;
const PAUSE: u32 = 60;

/// The name of the database, the lock and the channel between tabs.
pub const NAME: &str = "trug";

/// Why the desk cannot be opened.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum StartError {
    /// What is stored cannot be read.
    #[error(transparent)]
    Storage(#[from] StorageError),
    /// The device cannot be opened.
    #[error(transparent)]
    Open(#[from] OpenError),
}

/// Opens the desk with what this browser keeps. Where the browser refuses to keep anything, the desk opens empty and says
/// so at every edit.
///
/// # Errors
/// [`StartError`], where there is something that must not be overwritten and cannot be read.
pub async fn open() -> Result<Desk, StartError> {
    let store = match Store::open(NAME).await {
        Ok(store) => Some(store),
        Err(StorageError::Refused(_)) => None,
        Err(error) => return Err(error.into()),
    };
    // The first tab does the syncing. A browser that cannot tell has one tab at a time, on a phone.
    let asked = locks::try_hold(NAME).await;
    let leads = !matches!(asked, Ok(None));
    let records = match &store {
        Some(store) => store.load_all().await?,
        None => Vec::new(),
    };
    let preferences = preferences(&records);
    let mut out = Vec::new();
    let device = Device::open_in_part(records, random::seed(), leads, now(), &mut out)?;
    let trouble = store.is_none().then(|| StorageError::Refused(String::new()));
    let desk = Desk(Rc::new(Inner {
        device: RefCell::new(device),
        store,
        queue: RefCell::default(),
        writing: Cell::new(false),
        trouble: RefCell::new(trouble),
        alarm: Alarm::new(),
        tabs: RefCell::new(None),
        lines: RefCell::default(),
        leads: Cell::new(false),
        lock: RefCell::new(None),
        network: Cell::new(online::is_online()),
        version: Cell::new(0),
        telling: Cell::new(false),
        next: Cell::new(0),
        listeners: RefCell::default(),
        news: RefCell::default(),
        told: RefCell::default(),
        following: Alarm::new(),
        followed: RefCell::new(None),
        preferences: RefCell::new(preferences),
        kitchen: RefCell::new(None),
        watches: RefCell::default(),
    }));
    desk.carry_out(out);
    desk.join_tabs();
    desk.heed_browser();
    match asked {
        Ok(None) => desk.wait_to_lead(),
        Ok(lock) => desk.lead(lock),
        Err(_) => desk.lead(None),
    }
    desk.wake_rest(FIRST_PAUSE);
    Ok(desk)
}

fn preferences(records: &[(String, Vec<u8>)]) -> BTreeMap<String, String> {
    let own = records.iter().filter_map(|(key, bytes)| Some((key.strip_prefix(PREFERENCE)?, bytes)));
    gather::map(own.filter_map(|(name, bytes)| Some((name.to_owned(), String::from_utf8(bytes.clone()).ok()?))))
}

impl Desk {
    /// Opens the trips that are over, one at a time, when the list has long been there.
    fn wake_rest(&self, pause: u32) {
        let weak = Rc::downgrade(&self.0);
        Timeout::new(pause, move || {
            let Some(inner) = weak.upgrade() else { return };
            let desk = Desk(inner);
            let mut out = Vec::new();
            let more = desk.0.device.borrow_mut().wake_next(now(), &mut out);
            desk.carry_out(out);
            if more {
                desk.wake_rest(PAUSE);
            } else {
                desk.changed();
            }
        })
        .forget();
    }

    /// Opens a trip now, where it is one that waits to be.
    pub fn wake(&self, id: &DocId) {
        let mut out = Vec::new();
        self.0.device.borrow_mut().wake(now(), id, &mut out);
        self.carry_out(out);
    }

    /// This tab syncs from now on.
    fn lead(&self, lock: Option<Lock>) {
        self.0.leads.set(true);
        self.0.lock.replace(lock);
        if self.0.network.get() {
            self.tell(Event::Online);
        }
    }

    /// Another tab syncs; when it closes, this one does.
    fn wait_to_lead(&self) {
        let weak = Rc::downgrade(&self.0);
        spawn_local(async move {
            let Ok(lock) = locks::hold(NAME).await else { return };
            if let Some(inner) = weak.upgrade() {
                Desk(inner).lead(Some(lock));
            }
        });
    }

    pub(super) fn leads(&self) -> bool {
        self.0.leads.get()
    }

    fn join_tabs(&self) {
        let weak = Rc::downgrade(&self.0);
        let tabs = Tabs::open(NAME, move |message| {
            if let Some(inner) = weak.upgrade() {
                Desk(inner).heard_from_tab(message);
            }
        });
        // Without a channel every tab reads the database when it starts, and each sends its own.
        self.0.tabs.replace(tabs.ok());
    }

    fn heard_from_tab(&self, message: Message) {
        match message.tag {
            Tag::Stored => {
                let own = preferences(&message.records);
                self.0.preferences.borrow_mut().extend(own);
                self.tell(Event::Found(message.records));
                self.changed();
            }
            Tag::Reread => self.reload_once_stored(),
            Tag::Wiped => address::reload(),
            Tag::Deleted | Tag::Updating | Tag::Hello | Tag::Farewell => {}
        }
    }

    fn heed_browser(&self) {
        let weak = Rc::downgrade(&self.0);
        let network = online::watch(move |there| {
            if let Some(inner) = weak.upgrade() {
                Desk(inner).network_changed(there);
            }
        });
        let weak = Rc::downgrade(&self.0);
        let visible = online::watch_visible(move |visible| {
            if let (true, Some(inner)) = (visible, weak.upgrade()) {
                let desk = Desk(inner);
                desk.tell(Event::Time);
                desk.connect_now();
            }
        });
        self.0.watches.borrow_mut().extend([network, visible]);
    }

    fn network_changed(&self, there: bool) {
        self.0.network.set(there);
        if self.leads() {
            self.tell(if there { Event::Online } else { Event::Offline });
        }
        if there {
            self.connect_now();
        }
        self.changed();
    }
}
