//! Sealing and opening: XChaCha20-Poly1305 over length-padded content.
//!
//! ```text
//! sealed    = version 1 byte | nonce 24 bytes | ciphertext, as long as the padded content | tag 16 bytes
//! padded    = content length u32 BE | content | zeros up to the padded length
//! associated data = version 1 byte | log id 16 bytes | document kind 1 byte | purpose 1 byte
//! ```
//!
//! The purpose is the entry kind's byte, or 2 for a file. The padded length is the next multiple of 256 bytes, and
//! above 8 KiB the next length of the PADMÉ scheme (Nikitin et al., "Reducing Metadata Leakage from Encrypted Files and
//! Communication with PURBs", PoPETs 2019(4)): only the leading bits of a length differ, so that a length shows
//! O(log log n) bits of itself and costs at most 12 % more [memory: the figure is that paper's]. One pick and a
//! handful of picks look alike.

use std::fmt;

use chacha20poly1305::aead::{AeadInOut, KeyInit};
use chacha20poly1305::{Tag, XChaCha20Poly1305, XNonce};
use thiserror::Error;
use zeroize::Zeroizing;

use crate::VERSION;
use crate::keys::{LogId, NoRandomness, random};
use crate::kind::{DocumentKind, EntryKind};

const NONCE: usize = 24;
const TAG: usize = 16;
/// What stands before the ciphertext.
const HEAD: usize = 1 + NONCE;
/// The content's length in front of the content.
const LENGTH: usize = 4;
/// Lengths are padded to a multiple of this at least.
const STEP: usize = 256;
/// The shortest sealed bytes there can be: one step of padding around nothing.
const SHORTEST: usize = HEAD + STEP + TAG;
/// The purpose byte of a sealed file; 0 and 1 are the entry kinds.
const FILE: u8 = 2;
/// The most sealed bytes a file may hold.
const FILE_LIMIT: usize = 64 << 20;

/// Where sealed bytes belong. They open nowhere else.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Place {
    /// The log they lie in.
    pub log: LogId,
    /// The kind of document the log holds.
    pub document: DocumentKind,
    /// Whether they are an entry or a snapshot.
    pub entry: EntryKind,
}

/// Why bytes could not be sealed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Error)]
pub enum SealError {
    /// The content is longer than such an envelope may be.
    #[error("{len} bytes are too many: sealed they would take more than the {limit} allowed")]
    TooLarge {
        /// The content's length in bytes.
        len: usize,
        /// The greatest sealed length in bytes.
        limit: usize,
    },
    /// There is no source of random bytes.
    #[error(transparent)]
    NoRandomness(#[from] NoRandomness),
}

/// Why sealed bytes did not open.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Error)]
pub enum OpenError {
    /// Fewer bytes than the shortest envelope.
    #[error("{len} bytes are too few for anything sealed: some are missing")]
    TooShort {
        /// How many bytes there are.
        len: usize,
    },
    /// More bytes than such an envelope may have.
    #[error("{len} sealed bytes are more than the {limit} allowed")]
    TooLarge {
        /// How many bytes there are.
        len: usize,
        /// The greatest sealed length in bytes.
        limit: usize,
    },
    /// Sealed by a program of another version.
    #[error("sealed in format {found}, and this program reads format {VERSION}: a newer version may open it")]
    Version {
        /// The first byte.
        found: u8,
    },
    /// Another key, another log, another kind, or damaged on the way: an authenticated cipher cannot tell which.
    #[error("did not open: it was sealed with another key, for another document, or has been damaged")]
    NotOpened,
    /// The key opened it, but what is inside is not padded the one right way: its writer is broken or means ill.
    #[error("opened, but what is inside is not padded as it should be")]
    Padding,
}

/// The key of one document's envelopes: wiped when dropped, never shown.
#[derive(Clone)]
pub struct SealingKey(Zeroizing<[u8; 32]>);

impl fmt::Debug for SealingKey {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("SealingKey(redacted)")
    }
}

impl SealingKey {
    pub(crate) fn new(bytes: Zeroizing<[u8; 32]>) -> Self {
        Self(bytes)
    }

    /// Seals content for one place, under a fresh random nonce. Keep the sealed bytes and send the same ones again when
    /// in doubt: sealing twice gives different bytes, which a relay cannot know for a repetition.
    ///
    /// # Errors
    /// [`SealError::TooLarge`] over the entry kind's limit, [`SealError::NoRandomness`].
    pub fn seal(&self, place: &Place, content: &[u8]) -> Result<Vec<u8>, SealError> {
        self.seal_bound(&Bound::of(place), &*random()?, content)
    }

    /// Opens sealed bytes that were found at a place.
    ///
    /// # Errors
    /// [`OpenError`]: never a panic, and never content that was not sealed with this key for exactly this place.
    pub fn open(&self, place: &Place, sealed: &[u8]) -> Result<Zeroizing<Vec<u8>>, OpenError> {
        self.open_bound(&Bound::of(place), sealed)
    }

    /// Seals what goes into a file.
    pub(crate) fn seal_file(&self, log: LogId, document: DocumentKind, content: &[u8]) -> Result<Vec<u8>, SealError> {
        self.seal_bound(&Bound::of_file(log, document), &*random()?, content)
    }

    /// Opens what was in a file.
    pub(crate) fn open_file(
        &self,
        log: LogId,
        document: DocumentKind,
        sealed: &[u8],
    ) -> Result<Zeroizing<Vec<u8>>, OpenError> {
        self.open_bound(&Bound::of_file(log, document), sealed)
    }

    fn seal_bound(&self, bound: &Bound, nonce: &[u8; NONCE], content: &[u8]) -> Result<Vec<u8>, SealError> {
        let too_large = SealError::TooLarge { len: content.len(), limit: bound.limit };
        let length = u32::try_from(content.len()).map_err(|_| too_large)?;
        let padded = padded_len(content.len()).ok_or(too_large)?;
        if HEAD + padded + TAG > bound.limit {
            return Err(too_large);
        }
        let mut sealed = Vec::with_capacity(HEAD + padded + TAG);
        sealed.push(VERSION);
        sealed.extend_from_slice(nonce);
        sealed.extend_from_slice(&length.to_be_bytes());
        sealed.extend_from_slice(content);
        sealed.resize(HEAD + padded, 0);
        let (_, body) = sealed.split_at_mut(HEAD);
        let tag = self
            .cipher()
            .encrypt_inout_detached(&XNonce::from(*nonce), &bound.associated, body.into())
            .map_err(|_| too_large)?; // the cipher's only error is a length beyond 256 GiB
        sealed.extend_from_slice(&tag);
        Ok(sealed)
    }

    fn open_bound(&self, bound: &Bound, sealed: &[u8]) -> Result<Zeroizing<Vec<u8>>, OpenError> {
        let too_short = OpenError::TooShort { len: sealed.len() };
        let (&found, rest) = sealed.split_first().ok_or(too_short)?;
        // Said first: a newer format may have other lengths.
        if found != VERSION {
            return Err(OpenError::Version { found });
        }
        if sealed.len() < SHORTEST {
            return Err(too_short);
        }
        if sealed.len() > bound.limit {
            return Err(OpenError::TooLarge { len: sealed.len(), limit: bound.limit });
        }
        let (nonce, rest) = rest.split_first_chunk::<NONCE>().ok_or(too_short)?;
        let (body, tag) = rest.split_last_chunk::<TAG>().ok_or(too_short)?;
        let mut padded = Zeroizing::new(body.to_vec());
        self.cipher()
            .decrypt_inout_detached(
                &XNonce::from(*nonce),
                &bound.associated,
                padded.as_mut_slice().into(),
                &Tag::from(*tag),
            )
            .map_err(|_| OpenError::NotOpened)?;
        strip(padded)
    }

    fn cipher(&self) -> XChaCha20Poly1305 {
        XChaCha20Poly1305::new(&(*self.0).into())
    }
}

/// What sealed bytes are bound to, and how many of them there may be.
struct Bound {
    associated: [u8; 19],
    limit: usize,
}

impl Bound {
    fn of(place: &Place) -> Self {
        Self::new(place.log, place.document, place.entry.byte(), place.entry.limit())
    }

    fn of_file(log: LogId, document: DocumentKind) -> Self {
        Self::new(log, document, FILE, FILE_LIMIT)
    }

    fn new(log: LogId, document: DocumentKind, purpose: u8, limit: usize) -> Self {
        let mut associated = [0; 19];
        let [version, rest @ .., kind, what] = &mut associated;
        *version = VERSION;
        *rest = *log.bytes();
        *kind = document.byte();
        *what = purpose;
        Self { associated, limit }
    }
}

/// How many bytes content of a length takes when sealed; `None` where no envelope is that long. A batch of
/// changes fits into an entry when this is at most [`EntryKind::limit`].
#[must_use]
pub fn sealed_len(content: usize) -> Option<usize> {
    padded_len(content).map(|padded| HEAD + padded + TAG)
}

/// The length with its prefix, rounded up: see the top of this file.
fn padded_len(content: usize) -> Option<usize> {
    let len = u32::try_from(content).ok()?.checked_add(LENGTH as u32)?;
    let exponent = len.ilog2();
    // ilog2 of at least 2, as len is at least 4
    let free_bits = exponent - (exponent.ilog2() + 1);
    let step = (1u32 << free_bits).max(STEP as u32);
    len.checked_next_multiple_of(step).map(|padded| padded as usize)
}

/// The content within its padding. There is one right padding, so that equal content opened from two envelopes is equal
/// in length too, and nothing can be hidden behind it.
fn strip(mut padded: Zeroizing<Vec<u8>>) -> Result<Zeroizing<Vec<u8>>, OpenError> {
    let (prefix, rest) = padded.split_first_chunk::<LENGTH>().ok_or(OpenError::Padding)?;
    let len = u32::from_be_bytes(*prefix) as usize;
    let (_, zeros) = rest.split_at_checked(len).ok_or(OpenError::Padding)?;
    if padded_len(len) != Some(padded.len()) || zeros.iter().any(|&byte| byte != 0) {
        return Err(OpenError::Padding);
    }
    padded.copy_within(LENGTH..LENGTH + len, 0);
    padded.truncate(len);
    Ok(padded)
}

#[cfg(test)]
mod tests {
    use sha2::{Digest, Sha256};

    use super::*;
    use crate::{Root, ShareSecret};

    const VECTORS: &str = include_str!("../vectors/whole-path.txt");

    fn bytes(hex: &str) -> Vec<u8> {
        (0..hex.len()).step_by(2).map(|at| u8::from_str_radix(&hex[at..at + 2], 16).unwrap()).collect()
    }

    /// The value of a name in one case of the vectors.
    fn value<'a>(case: &'a str, name: &str) -> Option<&'a str> {
        case.lines().find_map(|line| line.strip_prefix(name)?.strip_prefix(" =")).map(str::trim)
    }

    /// Opening is checked against the vectors from outside; only here can a nonce be chosen, to check sealing.
    #[test]
    fn sealing_gives_the_vectors_bytes() {
        let mut checked = 0;
        for case in VECTORS.split("\n\n") {
            let Some(root) = value(case, "root") else { continue };
            let root = Root::from_bytes(bytes(root).try_into().unwrap());
            let document = DocumentKind::from_byte(value(case, "kind").unwrap().parse().unwrap()).unwrap();
            let content = bytes(value(case, "content").unwrap());
            for (entry, name) in [(EntryKind::Entry, "entry"), (EntryKind::Snapshot, "snapshot")] {
                let nonce = bytes(value(case, &format!("nonce_{name}")).unwrap()).try_into().unwrap();
                let bound = Bound::of(&Place { log: root.log_id(), document, entry });
                let sealed = root.share_secret().sealing_key().seal_bound(&bound, &nonce, &content).unwrap();
                assert_eq!(sealed, bytes(value(case, &format!("sealed_{name}")).unwrap()));
                checked += 1;
            }
        }
        assert_eq!(checked, 6);
    }

    #[test]
    fn padding_gives_the_vectors_lengths_and_bytes() {
        let key = SealingKey::new(Zeroizing::new(std::array::from_fn(|at| at as u8)));
        let place = Place { log: LogId::from_bytes([0; 16]), document: DocumentKind::Run, entry: EntryKind::Entry };
        let mut checked = 0;
        for case in VECTORS.split("\n\n") {
            let Some(len) = value(case, "padding") else { continue };
            let content = vec![0xa5; len.parse().unwrap()];
            let sealed = key.seal_bound(&Bound::of(&place), &[0; NONCE], &content).unwrap();
            assert_eq!(Some(sealed.len()), sealed_len(content.len()));
            assert_eq!(sealed.len().to_string(), value(case, "sealed_len").unwrap());
            assert_eq!(Sha256::digest(&sealed).as_slice(), bytes(value(case, "sha256").unwrap()));
            checked += 1;
        }
        assert_eq!(checked, 7);
    }

    #[test]
    fn padding_never_costs_more_than_it_says() {
        let mut last = 0;
        for content in (0..20_000).chain((20_000..3_000_000).step_by(997)) {
            let padded = padded_len(content).unwrap();
            assert!(padded >= content + LENGTH && padded >= last && padded.is_multiple_of(STEP), "{content}");
            assert!(padded - content - LENGTH < STEP.max(content * 12 / 100), "{content} takes {padded}");
            last = padded;
        }
        assert_eq!(padded_len(u32::MAX as usize), None);
    }

    /// Only somebody with the key can make these; a helper has it.
    #[test]
    fn content_that_is_not_padded_right_is_refused() {
        let key = ShareSecret::from_bytes([3; 32]).sealing_key();
        let place = Place { log: LogId::from_bytes([4; 16]), document: DocumentKind::Pantry, entry: EntryKind::Entry };
        let bound = Bound::of(&place);
        let body = |len: u32, size: usize, last: u8| {
            let mut body = vec![0; size];
            body[..LENGTH].copy_from_slice(&len.to_be_bytes());
            body[size - 1] = last;
            body
        };
        let rows = [
            ("right", body(5, 256, 0), Ok(vec![0; 5])),
            ("all of it content", body(252, 256, 9), Ok([vec![0; 251], vec![9]].concat())),
            ("something behind the content", body(5, 256, 1), Err(OpenError::Padding)),
            ("longer than it is", body(253, 256, 0), Err(OpenError::Padding)),
            ("longer than memory", body(u32::MAX, 256, 0), Err(OpenError::Padding)),
            ("a step too long", body(5, 512, 0), Err(OpenError::Padding)),
            ("no whole step", body(5, 300, 0), Err(OpenError::Padding)),
        ];
        for (what, mut body, right) in rows {
            let nonce = [8; NONCE];
            let tag = key
                .cipher()
                .encrypt_inout_detached(&XNonce::from(nonce), &bound.associated, body.as_mut_slice().into())
                .unwrap();
            let sealed = [&[VERSION][..], &nonce, &body, &tag].concat();
            assert_eq!(key.open(&place, &sealed).map(|content| content.to_vec()), right, "{what}");
        }
    }
}
