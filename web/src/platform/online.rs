//! Whether there is a network, whether the page is shown, and when it is about to go.

use gloo::events::EventListener;
use web_sys::VisibilityState;

use super::js;

/// Listens until it is dropped.
#[must_use = "nothing is told any more when this is dropped"]
pub struct Watch {
    _listeners: Vec<EventListener>,
}

impl Watch {
    pub(super) fn of(listeners: Vec<EventListener>) -> Self {
        Self { _listeners: listeners }
    }
}

/// Whether the device has some network. False is certain; true may still be a shop's Wi-Fi that leads nowhere.
#[must_use]
pub fn is_online() -> bool {
    js::navigator().is_none_or(|navigator| navigator.on_line())
}

/// Tells when the network comes (`true`) and goes.
pub fn watch(told: impl Fn(bool) + Clone + 'static) -> Watch {
    let gone = told.clone();
    let listeners = js::window().map(|window| {
        vec![
            EventListener::new(&window, "online", move |_| told(true)),
            EventListener::new(&window, "offline", move |_| gone(false)),
        ]
    });
    Watch { _listeners: listeners.unwrap_or_default() }
}

/// Whether the page can be seen.
#[must_use]
pub fn is_visible() -> bool {
    js::document().is_some_and(|document| document.visibility_state() == VisibilityState::Visible)
}

/// Tells when the page is shown (`true`) and hidden.
pub fn watch_visible(told: impl Fn(bool) + 'static) -> Watch {
    let listener =
        js::document().map(|document| EventListener::new(&document, "visibilitychange", move |_| told(is_visible())));
    Watch { _listeners: listener.into_iter().collect() }
}

/// Tells that the page is about to go, or to be put to sleep, perhaps for good: the last moment to store something.
/// May be told more than once.
pub fn before_going(told: impl Fn() + Clone + 'static) -> Watch {
    let hidden = told.clone();
    let mut listeners = Vec::new();
    if let Some(window) = js::window() {
        listeners.push(EventListener::new(&window, "pagehide", move |_| told()));
    }
    if let Some(document) = js::document() {
        // A phone that kills the app while it is in the background says no more than this.
        listeners.push(EventListener::new(&document, "visibilitychange", move |_| {
            if !is_visible() {
                hidden();
            }
        }));
    }
    Watch { _listeners: listeners }
}
