//! The device's clock and its timers.
//!
//! The core is told the date; this is who tells it.

use std::cell::RefCell;

use gloo::timers::callback::Timeout;
use js_sys::Date;
use wasm_bindgen::JsValue;

use super::js::{self, Deferred};

/// Browsers take longer waits for none at all.
const LONGEST: u32 = i32::MAX as u32;

/// Milliseconds since 1970 UTC by this device's clock, which may be wrong by days.
#[must_use]
pub fn now_ms() -> i64 {
    whole(Date::now())
}

/// Today's date where the device is, as `YYYY-MM-DD`.
#[must_use]
pub fn today() -> String {
    local_date(now_ms())
}

/// The date of a moment (milliseconds since 1970 UTC) where the device is, as `YYYY-MM-DD`.
#[must_use]
pub fn local_date(ms: i64) -> String {
    let date = date(ms);
    format!("{:04}-{:02}-{:02}", date.get_full_year(), date.get_month() + 1, date.get_date())
}

/// Milliseconds since the page was opened. It never goes back, whatever happens to the clock; it stands still while
/// the device sleeps on some systems.
#[must_use]
pub fn monotonic_ms() -> f64 {
    js::window().and_then(|window| window.performance()).map_or_else(Date::now, |performance| performance.now())
}

/// Waits this many milliseconds, longer in a tab that is not shown.
pub async fn sleep(ms: u32) {
    let deferred = Deferred::new();
    let wait = i32::try_from(ms.min(LONGEST)).unwrap_or(i32::MAX);
    let Some(window) = js::window() else { return };
    if window.set_timeout_with_callback_and_timeout_and_arguments_0(&deferred.resolve, wait).is_ok() {
        // Only ever fulfilled.
        let _ = deferred.wait().await;
    }
}

/// One timer that can be set anew: what was set before then does not happen. Dropping it stops it.
#[derive(Default)]
pub struct Alarm {
    timer: RefCell<Option<Timeout>>,
}

impl Alarm {
    /// An alarm that is not set.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// Calls `action` once in this many milliseconds, unless it is set anew or cleared before.
    pub fn set(&self, ms: u32, action: impl FnOnce() + 'static) {
        self.timer.replace(Some(Timeout::new(ms.min(LONGEST), action)));
    }

    /// Stops it.
    pub fn clear(&self) {
        self.timer.take();
    }
}

/// The JavaScript date of a moment.
#[allow(clippy::cast_precision_loss)] // A date reaches 8.64e15 ms at most, a double is whole up to 9.0e15.
pub(super) fn date(ms: i64) -> Date {
    Date::new(&JsValue::from_f64(ms as f64))
}

#[allow(clippy::cast_possible_truncation)] // As above; anything else saturates.
fn whole(ms: f64) -> i64 {
    ms as i64
}
