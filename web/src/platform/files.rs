//! Files that a person picks on the device.

use js_sys::Uint8Array;
use thiserror::Error;
use wasm_bindgen_futures::JsFuture;
use web_sys::{Blob, File, HtmlInputElement};

use super::js;

/// Why a file could not be read.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
#[non_exhaustive]
pub enum FileError {
    /// Longer than was asked for.
    #[error("the file is too large: {0} bytes")]
    TooLarge(u64),
    /// The browser could not read it, in its own words.
    #[error("the file could not be read: {0}")]
    Unreadable(String),
}

/// The files chosen in an `<input type="file">`, which is emptied so that the same file can be chosen again.
#[must_use]
pub fn chosen(input: &HtmlInputElement) -> Vec<File> {
    let files = input.files().map(|list| (0..list.length()).filter_map(|i| list.get(i)).collect());
    input.set_value("");
    files.unwrap_or_default()
}

/// All of a file's bytes, where it has at most `limit` of them.
///
/// # Errors
///
/// `TooLarge` before anything is read, `Unreadable`.
pub async fn read(file: &Blob, limit: u64) -> Result<Vec<u8>, FileError> {
    let size = whole(file.size());
    if size > limit {
        return Err(FileError::TooLarge(size));
    }
    let buffer = JsFuture::from(file.array_buffer()).await;
    let buffer = buffer.map_err(|error| FileError::Unreadable(js::error_text(&error)))?;
    Ok(Uint8Array::new(&buffer).to_vec())
}

#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // A size is whole and never negative.
fn whole(size: f64) -> u64 {
    size as u64
}
