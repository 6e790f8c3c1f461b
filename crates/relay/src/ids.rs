//! The few fixed-size values of the protocol: log ids, token hashes and chain links.

use std::fmt;

use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use sha2::{Digest as _, Sha256};
use subtle::ConstantTimeEq as _;

/// Reads exactly `N` bytes of base64url without padding (RFC 4648, section 5); `None` for anything else, also for
/// a second spelling of the same bytes.
fn decode<const N: usize>(text: &str) -> Option<[u8; N]> {
    // The length is checked first, so that a long header costs nothing.
    if text.len() != (N * 4).div_ceil(3) {
        return None;
    }
    URL_SAFE_NO_PAD.decode(text).ok()?.try_into().ok()
}

/// The name of a log: 16 bytes that its owner derived from a secret. Not secret itself, and not guessable.
#[derive(Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct LogId(pub [u8; 16]);

impl LogId {
    /// Reads 22 letters of base64url.
    ///
    /// ```
    /// use trug_relay::LogId;
    /// let id = LogId::parse("AAECAwQFBgcICQoLDA0ODw").unwrap();
    /// assert_eq!(id.to_string(), "AAECAwQFBgcICQoLDA0ODw");
    /// assert!(LogId::parse("AAECAwQFBgcICQoLDA0ODw==").is_none());
    /// ```
    pub fn parse(text: &str) -> Option<Self> {
        decode(text).map(Self)
    }
}

impl fmt::Display for LogId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&URL_SAFE_NO_PAD.encode(self.0))
    }
}

impl fmt::Debug for LogId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "LogId({self})")
    }
}

/// SHA-256 of a bearer token. The tokens themselves are never kept.
#[derive(Clone, Copy)]
pub struct TokenHash(pub [u8; 32]);

impl TokenHash {
    /// Hashes the 32 bytes of a token.
    pub fn of(token: &[u8; 32]) -> Self {
        Self(Sha256::digest(token).into())
    }

    /// Reads a token in base64url, as a bearer header or a watch message carries it, and hashes it at once.
    pub fn of_text(token: &str) -> Option<Self> {
        decode::<32>(token).map(|token| Self::of(&token))
    }

    /// Reads a hash in base64url, as the owner names the writer's.
    pub fn parse(hash: &str) -> Option<Self> {
        decode(hash).map(Self)
    }

    /// Whether both are the same, in a time that does not depend on where they differ.
    pub fn matches(&self, other: &Self) -> bool {
        self.0.ct_eq(&other.0).into()
    }
}

impl fmt::Debug for TokenHash {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("TokenHash(..)")
    }
}

/// SHA-256 of an entry's sealed bytes.
pub fn entry_hash(sealed: &[u8]) -> [u8; 32] {
    Sha256::digest(sealed).into()
}

/// A link of a log's chain: chain_0 is 32 zero bytes, chain_n = SHA-256(chain_(n-1) followed by SHA-256(entry_n)).
#[derive(Clone, Copy, PartialEq, Eq)]
pub struct Chain(pub [u8; 32]);

impl Chain {
    /// The chain of an empty log.
    pub const START: Self = Self([0; 32]);

    /// The chain after one more entry, given by its [`entry_hash`].
    ///
    /// ```
    /// use trug_relay::{Chain, entry_hash};
    /// let one = Chain::START.then(&entry_hash(b"first"));
    /// assert_ne!(one, Chain::START);
    /// assert_eq!(Chain::parse(&one.to_string()), Some(one));
    /// ```
    #[must_use]
    pub fn then(&self, entry: &[u8; 32]) -> Self {
        Self(Sha256::new().chain_update(self.0).chain_update(entry).finalize().into())
    }

    /// Reads 43 letters of base64url.
    pub fn parse(text: &str) -> Option<Self> {
        decode(text).map(Self)
    }
}

impl fmt::Display for Chain {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&URL_SAFE_NO_PAD.encode(self.0))
    }
}

impl fmt::Debug for Chain {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Chain({self})")
    }
}
