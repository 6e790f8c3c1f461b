//! The phone app: the week's menus, the pantries, and the shopping list, on the phone, with or without a signal.
//!
//! - [`app`]: what stands on the page, from the first drawing on.
//! - [`desk`]: the device with its documents; all state that lasts.
//! - [`place`]: the screens, a module for each place. [`later`]: those of them that come in a second module.
//! - [`look`]: the kit that screens are made of. [`words`]: what they say, in English and Spanish.
//! - [`platform`]: the browser, one module for each thing that it can do.

// The first screen's texts in both languages. The library wants to be set up at the root of the crate.
rust_i18n::i18n!("words/first", fallback = "en");

pub mod app;
pub mod desk;
pub mod later;
pub mod look;
pub mod place;
pub mod platform;
pub mod words;

use wasm_bindgen::prelude::wasm_bindgen;

/// Puts the app onto the page.
#[wasm_bindgen(start)]
pub fn start() {
    app::start();
}
