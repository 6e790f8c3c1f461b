//! A new version of the app: it waits until it is told to take over.
//!
//! The page's first script registers the service worker; this watches it. Taking over means that the pages are loaded
//! anew, so whoever asks first stores what is not stored.

use std::cell::{Cell, RefCell};
use std::rc::Rc;

use gloo::events::EventListener;
use wasm_bindgen::JsCast;
use wasm_bindgen_futures::{JsFuture, spawn_local};
use web_sys::{ServiceWorker, ServiceWorkerContainer, ServiceWorkerRegistration, ServiceWorkerState};

use super::{address, js};

/// What happens to the version.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Update {
    /// A new version is here, complete, and waits.
    Waiting,
    /// A new version has taken over because another tab said so: store what is not stored, and [`address::reload`].
    TakenOver,
}

/// The watch on new versions. Dropping it stops it.
pub struct Updates {
    shared: Rc<Shared>,
    _taken_over: EventListener,
}

struct Shared {
    told: Box<dyn Fn(Update)>,
    registration: RefCell<Option<ServiceWorkerRegistration>>,
    // The listeners on the registration and on the version that is being installed.
    found: RefCell<Option<EventListener>>,
    installing: RefCell<Option<EventListener>>,
    asked: Cell<bool>,
}

/// Watches for new versions; `None` where the browser has no service workers (or the page is not from a secure
/// address), so that the app is as new as its last loading.
#[must_use]
pub fn watch(told: impl Fn(Update) + 'static) -> Option<Updates> {
    let container: ServiceWorkerContainer = js::get(js::navigator()?.as_ref(), "serviceWorker")?.unchecked_into();
    let shared = Rc::new(Shared {
        told: Box::new(told),
        registration: RefCell::default(),
        found: RefCell::default(),
        installing: RefCell::default(),
        asked: Cell::default(),
    });
    let taken_over = on_taken_over(&container, &shared);
    let weak = Rc::downgrade(&shared);
    spawn_local(async move {
        let Ok(ready) = container.ready() else { return };
        let Ok(registration) = JsFuture::from(ready).await else { return };
        if let Some(shared) = weak.upgrade() {
            follow(&shared, registration.unchecked_into());
        }
    });
    Some(Updates { shared, _taken_over: taken_over })
}

impl Updates {
    /// Lets the waiting version take over, after which the page is loaded anew. False where none waits.
    pub fn take_over(&self) -> bool {
        let waiting = self.shared.registration.borrow().as_ref().and_then(ServiceWorkerRegistration::waiting);
        let Some(worker) = waiting else { return false };
        self.shared.asked.set(true);
        worker.post_message(&js::object(&[("type", "take-over".into())])).is_ok()
    }

    /// Whether a new version waits.
    #[must_use]
    pub fn waiting(&self) -> bool {
        self.shared.registration.borrow().as_ref().is_some_and(|registration| registration.waiting().is_some())
    }

    /// Asks the server whether there is a new version. Offline nothing happens.
    pub async fn check(&self) {
        let registration = self.shared.registration.borrow().clone();
        if let Some(registration) = registration {
            // No network, or a server that is away: the next time will do.
            let _ = js::ask(&registration, "update", &[]).await;
        }
    }
}

/// The first worker of all takes over a page that had none; that is no update.
fn on_taken_over(container: &ServiceWorkerContainer, shared: &Rc<Shared>) -> EventListener {
    let had_one = Cell::new(container.controller().is_some());
    let shared = Rc::downgrade(shared);
    EventListener::new(container, "controllerchange", move |_| {
        let Some(shared) = shared.upgrade() else { return };
        if !had_one.replace(true) {
            return;
        }
        if shared.asked.get() {
            address::reload();
        } else {
            (shared.told)(Update::TakenOver);
        }
    })
}

fn follow(shared: &Rc<Shared>, registration: ServiceWorkerRegistration) {
    let weak = Rc::downgrade(shared);
    let found = EventListener::new(&registration, "updatefound", {
        let registration = registration.clone();
        move |_| {
            if let (Some(shared), Some(worker)) = (weak.upgrade(), registration.installing()) {
                follow_installing(&shared, worker);
            }
        }
    });
    shared.found.replace(Some(found));
    let (waiting, installing) = (registration.waiting(), registration.installing());
    shared.registration.replace(Some(registration));
    if waiting.is_some() {
        (shared.told)(Update::Waiting);
    }
    if let Some(worker) = installing {
        follow_installing(shared, worker);
    }
}

fn follow_installing(shared: &Rc<Shared>, worker: ServiceWorker) {
    let weak = Rc::downgrade(shared);
    let listener = EventListener::new(&worker, "statechange", {
        let worker = worker.clone();
        move |_| {
            if worker.state() == ServiceWorkerState::Installed
                && let Some(shared) = weak.upgrade()
            {
                (shared.told)(Update::Waiting);
            }
        }
    });
    shared.installing.replace(Some(listener));
}
