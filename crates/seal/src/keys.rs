//! The root of a document and all that follows from it.

use std::fmt;
use std::str::FromStr;

use hkdf::Hkdf;
use sha2::{Digest, Sha256};
use subtle::ConstantTimeEq;
use thiserror::Error;
use zeroize::Zeroizing;

use crate::sealed::SealingKey;
use crate::text::{TextError, decode, encode};

/// Info strings of HKDF. They are a format: changing one makes every log unreadable.
const INFO_LOG: &[u8] = b"trug/1/log";
const INFO_OWNER: &[u8] = b"trug/1/owner";
const INFO_SHARE: &[u8] = b"trug/1/share";
const INFO_SEAL: &[u8] = b"trug/1/seal";
const INFO_WRITER: &[u8] = b"trug/1/writer";

/// The operating system or the browser gave no random bytes. Nothing may be sealed or created then.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Error)]
#[error("this device gives no random numbers, and without them nothing can be sealed")]
pub struct NoRandomness;

/// Fills fresh bytes from the operating system, or from the browser's `crypto.getRandomValues`.
pub(crate) fn random<const N: usize>() -> Result<Zeroizing<[u8; N]>, NoRandomness> {
    let mut bytes = Zeroizing::new([0; N]);
    getrandom::fill(bytes.as_mut_slice()).map_err(|_| NoRandomness)?;
    Ok(bytes)
}

/// HKDF-SHA-256 of RFC 5869 without a salt.
fn derive<const N: usize>(secret: &[u8; 32], info: &[u8]) -> Zeroizing<[u8; N]> {
    const { assert!(N <= 255 * 32, "HKDF-SHA-256 gives at most 255 blocks of 32 bytes") };
    let mut out = Zeroizing::new([0; N]);
    #[expect(clippy::expect_used, reason = "the only error is a length that the line above rules out when compiling")]
    Hkdf::<Sha256>::new(None, secret).expand(info, out.as_mut_slice()).expect("a length that HKDF can give");
    out
}

/// A 32-byte secret: wiped when dropped, compared in constant time, never shown by `Debug`.
macro_rules! secret {
    ($(#[$doc:meta])* $name:ident) => {
        $(#[$doc])*
        #[derive(Clone)]
        pub struct $name(Zeroizing<[u8; 32]>);

        impl fmt::Debug for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str(concat!(stringify!($name), "(redacted)"))
            }
        }

        impl ConstantTimeEq for $name {
            fn ct_eq(&self, other: &Self) -> subtle::Choice {
                self.0.as_slice().ct_eq(other.0.as_slice())
            }
        }

        impl PartialEq for $name {
            fn eq(&self, other: &Self) -> bool {
                self.ct_eq(other).into()
            }
        }

        impl Eq for $name {}

        impl $name {
            /// Takes back 32 bytes that were kept.
            #[must_use]
            pub fn from_bytes(bytes: [u8; 32]) -> Self {
                Self(Zeroizing::new(bytes))
            }

            /// The 32 bytes, to keep them where only this device can read.
            #[must_use]
            pub fn expose(&self) -> &[u8; 32] {
                &self.0
            }
        }
    };
}

secret! {
    /// The 256 random bits everything about one document follows from. Whoever has them owns the document.
    Root
}

secret! {
    /// What an invitation carries: enough to read a document and to append to it, and no more.
    ///
    /// There is no way from here to the owner's token or to the root; not in this crate's functions, and not by
    /// arithmetic, as HKDF does not run backwards:
    ///
    /// ```compile_fail,E0599
    /// let share = trug_seal::ShareSecret::from_bytes([7; 32]);
    /// share.owner_token();
    /// ```
    /// ```compile_fail,E0599
    /// let share = trug_seal::ShareSecret::from_bytes([7; 32]);
    /// share.log_id();
    /// ```
    /// ```compile_fail,E0277
    /// let share = trug_seal::ShareSecret::from_bytes([7; 32]);
    /// let root: trug_seal::Root = share.into();
    /// ```
    /// ```compile_fail,E0308
    /// fn snapshot(_: &trug_seal::OwnerToken) {}
    /// let share = trug_seal::ShareSecret::from_bytes([7; 32]);
    /// snapshot(&share.writer_token());
    /// ```
    ShareSecret
}

secret! {
    /// The bearer token of a log's owner: creates it, replaces entries by snapshots, changes or withdraws the writer,
    /// deletes.
    OwnerToken
}

secret! {
    /// The bearer token of everybody who was invited: reads and appends.
    WriterToken
}

impl Root {
    /// A fresh root.
    ///
    /// # Errors
    /// [`NoRandomness`] where the device has no source of random bytes.
    pub fn generate() -> Result<Self, NoRandomness> {
        random().map(Self)
    }

    /// The log's address on a relay.
    #[must_use]
    pub fn log_id(&self) -> LogId {
        LogId(*derive(&self.0, INFO_LOG))
    }

    /// The token that makes the relay take a caller for the owner.
    #[must_use]
    pub fn owner_token(&self) -> OwnerToken {
        OwnerToken(derive(&self.0, INFO_OWNER))
    }

    /// What others are given, so that they can read and append.
    #[must_use]
    pub fn share_secret(&self) -> ShareSecret {
        ShareSecret(derive(&self.0, INFO_SHARE))
    }
}

impl ShareSecret {
    /// The key that seals and opens this document's entries.
    #[must_use]
    pub fn sealing_key(&self) -> SealingKey {
        SealingKey::new(derive(&self.0, INFO_SEAL))
    }

    /// The token that makes the relay let a caller read and append.
    #[must_use]
    pub fn writer_token(&self) -> WriterToken {
        WriterToken(derive(&self.0, INFO_WRITER))
    }
}

impl OwnerToken {
    /// The token as the relay expects it after `Bearer `: base64url without padding, 43 characters.
    #[must_use]
    pub fn bearer(&self) -> Zeroizing<String> {
        encode(self.0.as_slice())
    }
}

impl WriterToken {
    /// The token as the relay expects it after `Bearer `: base64url without padding, 43 characters.
    #[must_use]
    pub fn bearer(&self) -> Zeroizing<String> {
        encode(self.0.as_slice())
    }

    /// What the owner tells the relay, so that it can recognise writers without knowing their token beforehand.
    #[must_use]
    pub fn hash(&self) -> WriterHash {
        WriterHash(Sha256::digest(self.0.as_slice()).into())
    }
}

/// SHA-256 of the 32 bytes of a writer token. Shown as base64url without padding, as `PUT /logs/{log}` wants it.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct WriterHash([u8; 32]);

impl WriterHash {
    /// The 32 bytes.
    #[must_use]
    pub const fn bytes(&self) -> &[u8; 32] {
        &self.0
    }
}

impl fmt::Display for WriterHash {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&encode(&self.0))
    }
}

impl fmt::Debug for WriterHash {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "WriterHash({self})")
    }
}

/// A log's address on a relay: 16 bytes, shown and read as 22 characters of base64url without padding. Not a secret
/// from the relay, and no help in opening what lies there.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct LogId([u8; 16]);

impl LogId {
    /// Takes back 16 bytes that were kept or received.
    #[must_use]
    pub const fn from_bytes(bytes: [u8; 16]) -> Self {
        Self(bytes)
    }

    /// The 16 bytes.
    #[must_use]
    pub const fn bytes(&self) -> &[u8; 16] {
        &self.0
    }
}

impl fmt::Display for LogId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&encode(&self.0))
    }
}

impl fmt::Debug for LogId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "LogId({self})")
    }
}

impl FromStr for LogId {
    type Err = TextError;

    fn from_str(text: &str) -> Result<Self, TextError> {
        decode(text).map(|bytes| Self(*bytes))
    }
}
