//! Fixed-size bytes as base64url without padding, read and written in constant time.

use base64ct::{Base64UrlUnpadded, Encoding};
use thiserror::Error;
use zeroize::Zeroizing;

/// What was read is not the base64url text of so many bytes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Error)]
#[error("not {wanted} bytes in base64url without padding ({chars} characters were read, {} would be right)", chars_of(*.wanted))]
pub struct TextError {
    /// How many bytes the text should have stood for.
    pub wanted: usize,
    /// How many characters (bytes of UTF-8) were read.
    pub chars: usize,
}

/// How many base64url characters so many bytes take.
const fn chars_of(bytes: usize) -> usize {
    (bytes * 4).div_ceil(3)
}

/// Base64url of bytes that may be secret.
pub(crate) fn encode(bytes: &[u8]) -> Zeroizing<String> {
    Zeroizing::new(Base64UrlUnpadded::encode_string(bytes))
}

/// The `N` bytes a text stands for; exactly one text stands for given bytes.
pub(crate) fn decode<const N: usize>(text: &str) -> Result<Zeroizing<[u8; N]>, TextError> {
    let wrong = TextError { wanted: N, chars: text.len() };
    let mut bytes = Zeroizing::new([0; N]);
    match Base64UrlUnpadded::decode(text, bytes.as_mut_slice()) {
        Ok(read) if read.len() == N => Ok(bytes),
        _ => Err(wrong),
    }
}

/// The bytes any base64url text stands for.
pub(crate) fn decode_any(text: &str) -> Option<Zeroizing<Vec<u8>>> {
    Base64UrlUnpadded::decode_vec(text).ok().map(Zeroizing::new)
}
