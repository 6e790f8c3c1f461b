//! Putting the app on the home screen.

use std::cell::RefCell;
use std::rc::Rc;

use gloo::events::EventListener;
use wasm_bindgen::JsValue;

use super::js;

/// Where the page's first script leaves an offer that came before this module was loaded.
const EARLY: &str = "trugInstallPrompt";

/// What the person said to the offer.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Answer {
    /// Yes.
    Accepted,
    /// Not now; the browser may offer it again another day.
    Dismissed,
    /// The browser has no offer to make.
    NoOffer,
}

/// The browser's offer to install the app, kept until it suits. Dropping it stops listening.
pub struct Install {
    offer: Rc<RefCell<Option<JsValue>>>,
    _listeners: Vec<EventListener>,
}

impl Install {
    /// Listens for the offer, and tells when one comes or goes.
    #[must_use]
    pub fn watch(on_change: impl Fn() + 'static) -> Self {
        let Some(window) = js::window() else {
            return Self { offer: Rc::default(), _listeners: Vec::new() };
        };
        let offer = Rc::new(RefCell::new(js::get(&window, EARLY)));
        let on_change = Rc::new(on_change);
        let offered = EventListener::new_with_options(
            &window,
            "beforeinstallprompt",
            gloo::events::EventListenerOptions::enable_prevent_default(),
            {
                let (offer, on_change) = (offer.clone(), on_change.clone());
                move |event| {
                    // Or the browser would show its own banner over the list.
                    event.prevent_default();
                    offer.replace(Some(event.into()));
                    on_change();
                }
            },
        );
        let installed = EventListener::new(&window, "appinstalled", {
            let offer = offer.clone();
            move |_| {
                offer.take();
                on_change();
            }
        });
        Self { offer, _listeners: vec![offered, installed] }
    }

    /// Whether the browser has an offer to make.
    #[must_use]
    pub fn offered(&self) -> bool {
        self.offer.borrow().is_some()
    }

    /// Shows the browser's offer. Call it from a tap. An offer is good for one time.
    pub async fn prompt(&self) -> Answer {
        let Some(offer) = self.offer.take() else { return Answer::NoOffer };
        if js::ask(&offer, "prompt", &[]).await.is_err() {
            return Answer::NoOffer;
        }
        let Some(choice) = js::get(&offer, "userChoice") else { return Answer::Dismissed };
        let choice = wasm_bindgen_futures::JsFuture::from(js_sys::Promise::resolve(&choice)).await;
        match choice.ok().and_then(|choice| js::text(&choice, "outcome")).as_deref() {
            Some("accepted") => Answer::Accepted,
            _ => Answer::Dismissed,
        }
    }
}

/// Whether the app was opened from the home screen.
#[must_use]
pub fn standalone() -> bool {
    let Some(window) = js::window() else { return false };
    let own_window =
        window.match_media("(display-mode: standalone)").ok().flatten().is_some_and(|query| query.matches());
    // How Safari has always said it.
    own_window || js::get(&window.navigator(), "standalone").is_some_and(|value| value.is_truthy())
}

/// Whether this is an iPhone or iPad, where only the person can put the app on the home screen (share button, "Add to
/// Home Screen"), and where the app there does not see what the browser has stored.
#[must_use]
pub fn is_ios() -> bool {
    let Some(navigator) = js::navigator() else { return false };
    let agent = navigator.user_agent().unwrap_or_default();
    ios(&agent, navigator.max_touch_points())
}

/// An iPad calls itself a Macintosh; no Macintosh has a touch screen.
fn ios(agent: &str, touch_points: i32) -> bool {
    ["iPhone", "iPad", "iPod"].iter().any(|name| agent.contains(name))
        || (agent.contains("Macintosh") && touch_points > 1)
}

#[cfg(test)]
mod tests {
    use super::ios;

    #[test]
    fn phones_and_tablets_are_told_from_computers() {
        let table = [
            ("Mozilla/5.0 (iPhone; CPU iPhone OS 18_0 like Mac OS X)", 5, true),
            ("Mozilla/5.0 (Macintosh; Intel Mac OS X 10_15_7)", 5, true),
            ("Mozilla/5.0 (Macintosh; Intel Mac OS X 10_15_7)", 0, false),
            ("Mozilla/5.0 (Linux; Android 15; Pixel 9)", 5, false),
        ];
        for (agent, touch_points, answer) in table {
            assert_eq!(ios(agent, touch_points), answer, "{agent}");
        }
    }
}
