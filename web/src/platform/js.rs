//! What several modules here need of JavaScript: properties that may not be there, errors as text, and promises that
//! are settled from outside.
//!
//! An API that `web-sys` still marks unstable is reached by name from here, so that the whole build needs no
//! special flag.

use js_sys::{Array, Function, Object, Promise, Reflect};
use wasm_bindgen::{JsCast, JsValue};
use wasm_bindgen_futures::JsFuture;
use web_sys::{Document, Navigator, Window};

/// The window, if this runs in one.
pub(super) fn window() -> Option<Window> {
    web_sys::window()
}

/// The document of the window.
pub(super) fn document() -> Option<Document> {
    window()?.document()
}

/// The navigator of the window.
pub(super) fn navigator() -> Option<Navigator> {
    Some(window()?.navigator())
}

/// A property, or nothing where it is absent, empty or refused.
pub(super) fn get(object: &JsValue, name: &str) -> Option<JsValue> {
    Reflect::get(object, &JsValue::from_str(name)).ok().filter(|value| !value.is_undefined() && !value.is_null())
}

/// A property that is text.
pub(super) fn text(object: &JsValue, name: &str) -> Option<String> {
    get(object, name)?.as_string()
}

/// A plain object with these properties.
pub(super) fn object(properties: &[(&str, JsValue)]) -> Object {
    let object = Object::new();
    for (name, value) in properties {
        // A plain object takes any property.
        let _ = Reflect::set(&object, &JsValue::from_str(name), value);
    }
    object
}

/// Calls a method by its name.
///
/// # Errors
///
/// What the method threw, or a text saying that there is no such method.
pub(super) fn call(object: &JsValue, name: &str, arguments: &[JsValue]) -> Result<JsValue, JsValue> {
    let missing = || JsValue::from_str(&format!("there is no {name} here"));
    let method: Function = get(object, name).and_then(|f| f.dyn_into().ok()).ok_or_else(missing)?;
    let list: Array = arguments.iter().collect();
    Reflect::apply(&method, object, &list)
}

/// Calls a method that answers with a promise, and waits for it.
///
/// # Errors
///
/// What the method threw or the promise was rejected with.
pub(super) async fn ask(object: &JsValue, name: &str, arguments: &[JsValue]) -> Result<JsValue, JsValue> {
    let answer = call(object, name, arguments)?;
    JsFuture::from(Promise::resolve(&answer)).await
}

/// The name of an error (`QuotaExceededError`), empty where it has none.
pub(super) fn error_name(error: &JsValue) -> String {
    text(error, "name").unwrap_or_default()
}

/// An error in one line of text, for a person who reports it.
pub(super) fn error_text(error: &JsValue) -> String {
    let message = text(error, "message").or_else(|| error.as_string()).unwrap_or_default();
    match (error_name(error), message) {
        (name, message) if name.is_empty() => message,
        (name, message) if message.is_empty() => name,
        (name, message) => format!("{name}: {message}"),
    }
}

/// A promise together with the two functions that settle it. Those can be handed to the browser as event handlers
/// as they are, which needs no Rust closure that would have to be kept alive.
pub(super) struct Deferred {
    promise: Promise,
    // Made at once: a rejection that nobody waits for would be reported as one that nobody handled.
    future: JsFuture,
    /// Fulfils the promise with its first argument.
    pub(super) resolve: Function,
    /// Rejects the promise with its first argument.
    pub(super) reject: Function,
}

impl Deferred {
    /// A promise that nobody has settled yet.
    pub(super) fn new() -> Self {
        let mut settle = [JsValue::UNDEFINED, JsValue::UNDEFINED];
        let promise = Promise::new(&mut |resolve, reject| settle = [resolve.into(), reject.into()]);
        let [resolve, reject] = settle;
        let future = JsFuture::from(promise.clone());
        Self { promise, future, resolve: resolve.unchecked_into(), reject: reject.unchecked_into() }
    }

    /// The promise itself, for JavaScript to wait on.
    pub(super) fn promise(&self) -> &Promise {
        &self.promise
    }

    /// Waits until it is settled.
    ///
    /// # Errors
    ///
    /// What it was rejected with.
    pub(super) async fn wait(self) -> Result<JsValue, JsValue> {
        self.future.await
    }
}

/// Calls a settling function. It cannot fail, and settling twice does nothing.
pub(super) fn settle(function: &Function, value: &JsValue) {
    let _ = function.call1(&JsValue::UNDEFINED, value);
}
