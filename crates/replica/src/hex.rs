//! Bytes as lower-case hexadecimal, as records and keys have them.

use std::fmt::Write as _;

/// Writes bytes, two digits each.
#[must_use]
pub fn hex(bytes: &[u8]) -> String {
    bytes.iter().fold(String::with_capacity(bytes.len() * 2), |mut text, byte| {
        // A string takes all that is written to it.
        let _ = write!(text, "{byte:02x}");
        text
    })
}

/// Reads bytes of two digits each, in either case; `None` for anything else.
#[must_use]
pub fn unhex(text: &str) -> Option<Vec<u8>> {
    let (pairs, []) = text.as_bytes().as_chunks::<2>() else { return None };
    let digit = |byte: u8| char::from(byte).to_digit(16);
    pairs.iter().map(|[high, low]| u8::try_from(digit(*high)? << 4 | digit(*low)?).ok()).collect()
}
