//! Keys, invitations, recovery codes, and the sealing and opening of bytes.
//!
//! The machine between the devices is a shelf for sealed envelopes: it can neither read nor forge what lies on it.
//! Nothing here does I/O or knows what the bytes mean; randomness from the operating system (or the browser) is the one
//! thing taken from outside. All ciphers and hashes are those of the RustCrypto project; none is our own.
//!
//! # What follows from what
//!
//! ```text
//! Root, 32 random bytes, one for each document, kept by the chef alone
//!  ├─ LogId        16 bytes   HKDF-SHA-256(root,  info "trug/1/log")     the relay's address of the document
//!  ├─ OwnerToken   32 bytes   HKDF-SHA-256(root,  info "trug/1/owner")   snapshots, withdrawing, deleting
//!  └─ ShareSecret  32 bytes   HKDF-SHA-256(root,  info "trug/1/share")   what an invitation carries
//!      ├─ SealingKey  32 bytes   HKDF-SHA-256(share, info "trug/1/seal")    XChaCha20-Poly1305
//!      └─ WriterToken 32 bytes   HKDF-SHA-256(share, info "trug/1/writer")  reading and appending
//! ```
//!
//! HKDF is RFC 5869, without a salt (the input is uniformly random already). Arrows point down only: a helper who was
//! given the share secret reads and appends, and has no way to the owner token.
//!
//! # What it does not promise
//!
//! Everybody who holds a share secret can write anything into that one document, under anybody's name. A relay can
//! withhold a tail, and sees addresses, times and padded sizes. Secrets are wiped when they are dropped, but copies
//! made by a caller, inside HKDF (its pseudorandom key), by the inflater, by a QR encoder, or by the operating system
//! when it swaps, are out of reach. Who loses a root and its recovery code loses the document.
//!
//! # An entry, there and back
//!
//! ```
//! use trug_seal::{DocumentKind, EntryKind, Place, Root, UnpackLimit, pack, unpack};
//!
//! let root = Root::generate()?;
//! let place = Place { log: root.log_id(), document: DocumentKind::Run, entry: EntryKind::Entry };
//! let sealed = root.share_secret().sealing_key().seal(&place, &pack(&[b"first change", b"second change"])?)?;
//!
//! // Elsewhere, on a helper's phone that holds the share secret and the log id:
//! let opened = root.share_secret().sealing_key().open(&place, &sealed)?;
//! let unpacked = unpack(&opened, UnpackLimit::default())?;
//! assert_eq!(unpacked.changes().collect::<Vec<_>>(), [&b"first change"[..], b"second change"]);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

mod address;
mod entry;
mod file;
mod invitation;
mod keys;
mod kind;
mod qr;
mod recovery;
mod sealed;
mod text;

pub use address::{AddressError, WebAddress};
pub use entry::{PackError, UnpackError, UnpackLimit, Unpacked, pack, unpack};
pub use file::{FileError, SealedFile};
pub use invitation::{Invitation, InvitationError, Role};
pub use keys::{LogId, NoRandomness, OwnerToken, Root, ShareSecret, WriterHash, WriterToken};
pub use kind::{DocumentKind, EntryKind};
pub use qr::{QrCode, QrError};
pub use recovery::{RecoveryCode, RecoveryError};
pub use sealed::{OpenError, Place, SealError, SealingKey, sealed_len};
pub use text::TextError;
pub use zeroize::Zeroizing;

/// The version of everything this crate derives and writes. It is part of every info string, of the associated data,
/// and the first byte of sealed bytes.
pub const VERSION: u8 = 1;
