//! The texts of what comes with the second module ([`crate::later`]).

use std::borrow::Cow;

rust_i18n::i18n!("words/later", fallback = "en");

/// The words of a key in a language, by its tag.
#[must_use]
pub fn translate(tag: &str, key: &str) -> Option<Cow<'static, str>> {
    _rust_i18n_backend().translate(tag, key)
}
