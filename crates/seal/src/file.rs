//! Sealed files: a document, or a part of one, that travels by other means than a relay.
//!
//! ```text
//! file = "TRUGSEAL" 8 bytes | document kind 1 byte | log id 16 bytes | sealed bytes with purpose 2
//! ```
//!
//! The head is readable so that a device knows which of its keys to try, and can say in plain words that a file belongs
//! to another trip. It is bound into the seal as well: with a changed head, nothing opens.

use std::fmt;

use thiserror::Error;
use zeroize::Zeroizing;

use crate::keys::LogId;
use crate::kind::DocumentKind;
use crate::sealed::{OpenError, SealError, SealingKey};

const MAGIC: &[u8; 8] = b"TRUGSEAL";

/// Why a file is no sealed file, or does not open.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Error)]
pub enum FileError {
    /// Does not begin as a sealed file does.
    #[error("this is no sealed file of this program")]
    NotSealed,
    /// A kind of document that this program does not know.
    #[error("this file holds a kind of document (number {found}) that this program does not know: a newer version may")]
    UnknownKind {
        /// The kind's byte.
        found: u8,
    },
    /// Not the kind of document that was asked for.
    #[error("this file holds a {found}, not a {wanted}")]
    WrongKind {
        /// The file's kind.
        found: DocumentKind,
        /// The kind that was asked for.
        wanted: DocumentKind,
    },
    /// Another document's file.
    #[error("this file belongs to another {document}")]
    WrongLog {
        /// The kind of both.
        document: DocumentKind,
        /// The log id in the file.
        found: LogId,
    },
    /// The right document's file, but it does not open.
    #[error(transparent)]
    Open(#[from] OpenError),
}

/// A sealed file, read but not opened.
#[derive(Clone, Copy)]
pub struct SealedFile<'a> {
    document: DocumentKind,
    log: LogId,
    sealed: &'a [u8],
}

impl fmt::Debug for SealedFile<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "SealedFile({:?}, {:?}, {} bytes)", self.document, self.log, self.sealed.len())
    }
}

impl<'a> SealedFile<'a> {
    /// Seals content (packed changes, a saved document) as the bytes of a file.
    ///
    /// # Errors
    /// [`SealError`] over 64 MiB, or without random bytes.
    pub fn seal(key: &SealingKey, document: DocumentKind, log: LogId, content: &[u8]) -> Result<Vec<u8>, SealError> {
        let sealed = key.seal_file(log, document, content)?;
        let mut file = Vec::with_capacity(MAGIC.len() + 1 + log.bytes().len() + sealed.len());
        file.extend_from_slice(MAGIC);
        file.push(document.byte());
        file.extend_from_slice(log.bytes());
        file.extend_from_slice(&sealed);
        Ok(file)
    }

    /// Reads a file's head.
    ///
    /// # Errors
    /// [`FileError::NotSealed`] or [`FileError::UnknownKind`].
    pub fn read(file: &'a [u8]) -> Result<Self, FileError> {
        let rest = file.strip_prefix(MAGIC).ok_or(FileError::NotSealed)?;
        let (&found, rest) = rest.split_first().ok_or(FileError::NotSealed)?;
        let (log, sealed) = rest.split_first_chunk::<16>().ok_or(FileError::NotSealed)?;
        let document = DocumentKind::from_byte(found).ok_or(FileError::UnknownKind { found })?;
        Ok(Self { document, log: LogId::from_bytes(*log), sealed })
    }

    /// The kind of document it says it holds.
    #[must_use]
    pub const fn document(&self) -> DocumentKind {
        self.document
    }

    /// The log of the document it says it holds: by it a device finds the key.
    #[must_use]
    pub const fn log(&self) -> LogId {
        self.log
    }

    /// Opens it as a part of the document with this kind and log.
    ///
    /// # Errors
    /// [`FileError`]: of another document, or damaged, or sealed with another key.
    pub fn open(&self, key: &SealingKey, document: DocumentKind, log: LogId) -> Result<Zeroizing<Vec<u8>>, FileError> {
        if self.document != document {
            return Err(FileError::WrongKind { found: self.document, wanted: document });
        }
        if self.log != log {
            return Err(FileError::WrongLog { document, found: self.log });
        }
        Ok(key.open_file(log, document, self.sealed)?)
    }
}
