//! Keeping the screen on while somebody shops.

use std::cell::{Cell, RefCell};
use std::rc::Rc;

use gloo::events::EventListener;
use wasm_bindgen::JsValue;
use wasm_bindgen_futures::spawn_local;

use super::{js, online};

/// Keeps the screen on until it is dropped. The browser lets go when the page is hidden; it is asked again when the
/// page comes back. Where it refuses (an empty battery) or knows no such thing, the screen does what it always does.
pub struct Awake {
    wish: Rc<Wish>,
    _visibility: Option<EventListener>,
}

#[derive(Default)]
struct Wish {
    over: Cell<bool>,
    asking: Cell<bool>,
    sentinel: RefCell<Option<JsValue>>,
}

impl Awake {
    /// Asks at once.
    #[must_use]
    pub fn start() -> Self {
        let wish = Rc::new(Wish::default());
        ask(&wish);
        let visibility = js::document().map(|document| {
            let wish = wish.clone();
            EventListener::new(&document, "visibilitychange", move |_| ask(&wish))
        });
        Self { wish, _visibility: visibility }
    }

    /// Whether the browser keeps the screen on at this moment.
    #[must_use]
    pub fn holds(&self) -> bool {
        self.wish.holds()
    }
}

impl Drop for Awake {
    fn drop(&mut self) {
        self.wish.over.set(true);
        if let Some(sentinel) = self.wish.sentinel.take() {
            release(sentinel);
        }
    }
}

impl Wish {
    fn holds(&self) -> bool {
        let sentinel = self.sentinel.borrow();
        sentinel.as_ref().is_some_and(|s| js::get(s, "released").and_then(|r| r.as_bool()) == Some(false))
    }
}

fn ask(wish: &Rc<Wish>) {
    let Some(lock) = js::navigator().and_then(|navigator| js::get(&navigator, "wakeLock")) else { return };
    if wish.holds() || !online::is_visible() || wish.asking.replace(true) {
        return;
    }
    let wish = wish.clone();
    spawn_local(async move {
        let answer = js::ask(&lock, "request", &["screen".into()]).await;
        wish.asking.set(false);
        match answer {
            Ok(sentinel) if wish.over.get() => release(sentinel),
            Ok(sentinel) => {
                wish.sentinel.replace(Some(sentinel));
            }
            // Refused: the next time the page is shown it is asked again.
            Err(_) => {}
        }
    });
}

fn release(sentinel: JsValue) {
    spawn_local(async move {
        // One that is released already stays so.
        let _ = js::ask(&sentinel, "release", &[]).await;
    });
}
