//! The address bar: where in the app we are, and the secret part of an invitation that must not stay there.
//!
//! A place is `?at=<place>` (`?at=shop`), so that one page serves all of them, the back button works, and a place is
//! never mistaken for an invitation, which alone is in the fragment.

use gloo::events::EventListener;
use wasm_bindgen::JsValue;
use web_sys::UrlSearchParams;

use super::js;
use super::online::Watch;

/// What is shorter is no invitation, not even one that was cut off in the middle, but some place on the page.
const LEAST: usize = 12;

/// Takes the fragment out of the address bar and gives it, without its `#`; nothing where there is none.
///
/// Browsers never send a fragment, but they show it, and a screenshot or a shared address would give it away.
#[must_use]
pub fn take_fragment() -> Option<String> {
    let location = js::window()?.location();
    let fragment = location.hash().ok()?;
    let fragment = fragment.strip_prefix('#').filter(|rest| rest.len() >= LEAST)?.to_owned();
    let clean = format!("{}{}", location.pathname().ok()?, location.search().ok()?);
    show(&clean, History::Replace);
    Some(fragment)
}

/// Tells of a fragment that comes while the app is open (an invitation opened in the same tab), and takes it out.
pub fn on_fragment(told: impl Fn(String) + 'static) -> Watch {
    listen("hashchange", move || {
        if let Some(fragment) = take_fragment() {
            told(fragment);
        }
    })
}

/// Where we are, empty at the start.
#[must_use]
pub fn place() -> String {
    js::window()
        .and_then(|window| window.location().search().ok())
        .and_then(|search| UrlSearchParams::new_with_str(&search).ok())
        .and_then(|query| query.get("at"))
        .unwrap_or_default()
}

/// Goes to a place; the back button leads back here.
pub fn go(place: &str) {
    show_place(place, History::Push);
}

/// Goes to a place without a way back here.
pub fn replace(place: &str) {
    show_place(place, History::Replace);
}

/// Goes back, as the back button does.
pub fn back() {
    if let Some(history) = js::window().and_then(|window| window.history().ok()) {
        // A page that is no longer shown goes nowhere.
        let _ = history.back();
    }
}

/// Tells the place when the person goes back or forward.
pub fn on_change(told: impl Fn(String) + 'static) -> Watch {
    listen("popstate", move || told(place()))
}

/// The address of a place, as a link names it.
#[must_use]
pub fn href(place: &str) -> String {
    if place.is_empty() {
        return "?".to_owned();
    }
    format!("?at={}", String::from(js_sys::encode_uri_component(place)).replace("%2F", "/"))
}

/// The address of the app itself, without place or fragment: what an invitation's link begins with.
#[must_use]
pub fn app() -> Option<String> {
    let location = js::window()?.location();
    Some(format!("{}{}", location.origin().ok()?, location.pathname().ok()?))
}

/// Loads the page anew.
pub fn reload() {
    if let Some(window) = js::window() {
        // A page that is being left already is loaded anew anyhow.
        let _ = window.location().reload();
    }
}

#[derive(Clone, Copy)]
enum History {
    Push,
    Replace,
}

fn show_place(place: &str, how: History) {
    let Some(path) = js::window().and_then(|window| window.location().pathname().ok()) else { return };
    let query = if place.is_empty() { String::new() } else { href(place) };
    show(&format!("{path}{query}"), how);
}

fn show(url: &str, how: History) {
    let Some(history) = js::window().and_then(|window| window.history().ok()) else { return };
    // Browsers refuse when it is done hundreds of times a minute; the place is shown all the same.
    let _ = match how {
        History::Push => history.push_state_with_url(&JsValue::NULL, "", Some(url)),
        History::Replace => history.replace_state_with_url(&JsValue::NULL, "", Some(url)),
    };
}

fn listen(event: &'static str, told: impl Fn() + 'static) -> Watch {
    let listener = js::window().map(|window| EventListener::new(&window, event, move |_| told()));
    Watch::of(listener.into_iter().collect())
}
