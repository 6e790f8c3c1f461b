//! A new version of the app: it waits until it is told to take over.
//!
//! The page's first script registers the service worker; this watches it. Taking over means that the pages are loaded
//! anew, so whoever asks first stores what is not stored.

use std::cell::RefCell;
use std::rc::Rc;

use gloo::events::EventListener;
use wasm_bindgen::JsCast;
use wasm_bindgen_futures::{JsFuture, spawn_local};
use web_sys::{ServiceWorker, ServiceWorkerContainer, ServiceWorkerRegistration, ServiceWorkerState};

use super::js;

/// What happens to the version.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Update {
    /// A new version is here, complete, and waits.
    Waiting,
    /// A new version has taken over, because this tab or another said so: store what is not stored, and load the page anew.
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
    });
    let taken_over = on_taken_over(&shared)?;
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
    /// Lets the waiting version take over, of which [`Update::TakenOver`] tells. False where none waits.
    pub fn take_over(&self) -> bool {
        let waiting = self.shared.registration.borrow().as_ref().and_then(ServiceWorkerRegistration::waiting);
        let Some(worker) = waiting else { return false };
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

/// The page's first script tells of it: it knows whether the page had a worker before.
fn on_taken_over(shared: &Rc<Shared>) -> Option<EventListener> {
    let shared = Rc::downgrade(shared);
    let listener = EventListener::new(&js::window()?.into(), "trug-taken-over", move |_| {
        if let Some(shared) = shared.upgrade() {
            (shared.told)(Update::TakenOver);
        }
    });
    Some(listener)
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
