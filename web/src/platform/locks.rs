//! Web Locks: one tab at a time syncs and compacts.
//!
//! A browser without them lets every tab act as if it were alone. [`Lock::guards`] says so; the database's own
//! transactions still keep the records whole then.

use js_sys::Promise;
use thiserror::Error;
use wasm_bindgen::closure::Closure;
use wasm_bindgen::prelude::wasm_bindgen;
use wasm_bindgen::{JsCast, JsValue};
use wasm_bindgen_futures::{JsFuture, spawn_local};

use super::js::{self, Deferred};

#[wasm_bindgen]
extern "C" {
    /// `LockManager`, which `web-sys` still marks unstable.
    #[wasm_bindgen(extends = js_sys::Object)]
    type LockManager;

    #[wasm_bindgen(method, catch)]
    fn request(this: &LockManager, name: &str, options: &JsValue, granted: &JsValue) -> Result<Promise, JsValue>;
}

/// Why a lock could not be asked for.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
#[error("the browser refused a lock: {0}")]
pub struct LockError(String);

/// A lock that is held until it is dropped.
#[must_use = "the lock is given back when this is dropped"]
pub struct Lock {
    // Settled when dropped; the browser holds the lock until then.
    release: Option<Deferred>,
}

impl Lock {
    /// Whether other tabs are really kept out; false where the browser has no locks.
    #[must_use]
    pub fn guards(&self) -> bool {
        self.release.is_some()
    }
}

impl Drop for Lock {
    fn drop(&mut self) {
        if let Some(release) = &self.release {
            js::settle(&release.resolve, &JsValue::UNDEFINED);
        }
    }
}

/// Whether this browser has locks.
#[must_use]
pub fn supported() -> bool {
    manager().is_some()
}

/// Waits until the lock of this name is ours. Dropping the future gives the place in the queue up.
///
/// # Errors
///
/// Where the browser refuses (a page that is no longer shown, a blocked site).
pub async fn hold(name: &str) -> Result<Lock, LockError> {
    // A lock that was asked for without `ifAvailable` is granted or refused, never answered with "taken".
    Ok(request(name, false).await?.unwrap_or(Lock { release: None }))
}

/// The lock of this name if nobody holds it, and nothing if somebody does.
///
/// # Errors
///
/// Where the browser refuses.
pub async fn try_hold(name: &str) -> Result<Option<Lock>, LockError> {
    request(name, true).await
}

fn manager() -> Option<LockManager> {
    js::get(js::navigator()?.as_ref(), "locks").map(JsCast::unchecked_into)
}

async fn request(name: &str, only_if_free: bool) -> Result<Option<Lock>, LockError> {
    let Some(manager) = manager() else { return Ok(Some(Lock { release: None })) };
    let release = Deferred::new();
    let until: JsValue = release.promise().clone().into();
    // Made before it is granted: if nobody waits any longer by then, it has been given back already.
    let lock = Lock { release: Some(release) };
    let answer = Deferred::new();
    let granted = Closure::once_into_js({
        let resolve = answer.resolve.clone();
        move |granted: JsValue| {
            js::settle(&resolve, &granted);
            until
        }
    });
    let options = js::object(&[("mode", "exclusive".into()), ("ifAvailable", only_if_free.into())]);
    let asked = manager.request(name, &options, &granted).map_err(refused)?;
    let reject = answer.reject.clone();
    spawn_local(async move {
        if let Err(error) = JsFuture::from(asked).await {
            js::settle(&reject, &error);
        }
    });
    let granted = answer.wait().await.map_err(refused)?;
    Ok((!granted.is_null()).then_some(lock))
}

fn refused(error: JsValue) -> LockError {
    LockError(js::error_text(&error))
}
