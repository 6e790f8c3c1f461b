//! Whether the browser may clear what is stored, and how much room there is.

use wasm_bindgen::JsValue;

use super::js;

/// How much is stored here and how much may be, in bytes, as the browser reckons.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Room {
    /// Stored by the app.
    pub used: u64,
    /// What it may store in all.
    pub quota: u64,
}

/// Asks the browser to keep the data until the person removes it. `None` where it cannot be asked.
///
/// Some browsers show a question, so ask after the person has done something worth keeping.
pub async fn ask() -> Option<bool> {
    js::ask(&manager()?, "persist", &[]).await.ok()?.as_bool()
}

/// Whether the browser keeps the data until the person removes it. `None` where it does not say.
pub async fn granted() -> Option<bool> {
    js::ask(&manager()?, "persisted", &[]).await.ok()?.as_bool()
}

/// How much room there is. `None` where the browser does not say.
pub async fn room() -> Option<Room> {
    let estimate = js::ask(&manager()?, "estimate", &[]).await.ok()?;
    let bytes = |name| js::get(&estimate, name)?.as_f64().map(whole);
    Some(Room { used: bytes("usage")?, quota: bytes("quota")? })
}

fn manager() -> Option<JsValue> {
    js::get(js::navigator()?.as_ref(), "storage")
}

#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // Saturates, and no device is that large.
fn whole(bytes: f64) -> u64 {
    bytes as u64
}
