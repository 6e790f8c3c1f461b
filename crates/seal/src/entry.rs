//! Several changes as the content of one entry: framed, then deflated together.
//!
//! ```text
//! content = raw deflate (RFC 1951) of: ( length u32 BE | that many bytes of one change ), one or more times
//! ```
//!
//! Changes of one edit session share most of their bytes, so deflating them together saves more than each by itself.
//! Inflating is bounded by the caller: a few bytes can stand for gigabytes otherwise.

use flate2::{Compress, Compression, Decompress, FlushCompress, FlushDecompress, Status};
use thiserror::Error;
use zeroize::Zeroizing;

/// Deflate's middle way: higher levels take longer on a phone and save a percent or two.
const LEVEL: u32 = 6;
/// A change's length in front of it.
const LENGTH: usize = 4;
/// What inflating starts with; it doubles from there.
const FIRST_ROOM: usize = 4 << 10;

/// Why changes could not be packed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Error)]
pub enum PackError {
    /// An entry holds at least one change.
    #[error("there is no change to pack")]
    Nothing,
    /// A change of no bytes is none.
    #[error("change {index} has no bytes")]
    EmptyChange {
        /// Its index in the slice, from 0.
        index: usize,
    },
    /// A change of 4 GiB or more.
    #[error("change {index} has {len} bytes, which is too many")]
    TooLarge {
        /// Its index in the slice, from 0.
        index: usize,
        /// Its length in bytes.
        len: usize,
    },
    /// The deflater failed, which it does not on any bytes.
    #[error("the changes could not be deflated")]
    Deflate,
}

/// Why content could not be unpacked.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Error)]
pub enum UnpackError {
    /// Not raw deflate, or cut off.
    #[error("what is inside cannot be inflated: it is damaged or no packed changes at all")]
    Deflate,
    /// More bytes than asked for when inflated.
    #[error("what is inside inflates to more than the {limit} bytes allowed")]
    TooLarge {
        /// The greatest inflated length in bytes.
        limit: usize,
    },
    /// More changes than asked for.
    #[error("there are more than the {limit} changes allowed inside")]
    TooMany {
        /// The greatest number of changes.
        limit: usize,
    },
    /// Bytes after the end of the deflated stream.
    #[error("{len} bytes stand behind the packed changes")]
    Trailing {
        /// How many.
        len: usize,
    },
    /// A frame that is empty, or longer than what is there, or there is none at all.
    #[error("change {index} inside is empty or cut off")]
    Frame {
        /// Its index, from 0.
        index: usize,
    },
}

/// How much an entry may hold once inflated. Unpacking never takes more memory than three times `bytes`, plus some
/// 50 KB that the inflater needs for itself.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct UnpackLimit {
    /// Inflated bytes, the frames' lengths included.
    pub bytes: usize,
    /// Changes.
    pub changes: usize,
}

impl Default for UnpackLimit {
    /// 16 MiB and 100,000 changes: far above what a device makes in a day without a network, far below what hurts a
    /// phone.
    fn default() -> Self {
        Self { bytes: 16 << 20, changes: 100_000 }
    }
}

/// Packs changes as the content of one entry. Wiped when dropped, for a book's changes carry roots.
///
/// # Errors
/// [`PackError`] for no change at all, or one that is empty or absurdly long.
pub fn pack(changes: &[&[u8]]) -> Result<Zeroizing<Vec<u8>>, PackError> {
    if changes.is_empty() {
        return Err(PackError::Nothing);
    }
    let total = changes.iter().map(|change| LENGTH + change.len()).sum();
    let mut framed = Zeroizing::new(Vec::with_capacity(total));
    for (index, change) in changes.iter().enumerate() {
        if change.is_empty() {
            return Err(PackError::EmptyChange { index });
        }
        let len = u32::try_from(change.len()).map_err(|_| PackError::TooLarge { index, len: change.len() })?;
        framed.extend_from_slice(&len.to_be_bytes());
        framed.extend_from_slice(change);
    }
    deflate(&framed).ok_or(PackError::Deflate)
}

/// What raw deflate takes at most: it stores what does not become smaller, with a few bytes for each block.
const fn most_deflated(len: usize) -> usize {
    len + len / 256 + 64
}

fn deflate(mut plain: &[u8]) -> Option<Zeroizing<Vec<u8>>> {
    let mut deflater = Compress::new(Compression::new(LEVEL), false);
    let mut out = Zeroizing::new(vec![0; most_deflated(plain.len())]);
    let mut filled = 0;
    loop {
        let (read, written) = (deflater.total_in(), deflater.total_out());
        let room = out.get_mut(filled..).unwrap_or_default();
        let status = deflater.compress(plain, room, FlushCompress::Finish).ok()?;
        filled += usize::try_from(deflater.total_out() - written).unwrap_or_default();
        plain = plain.get(usize::try_from(deflater.total_in() - read).unwrap_or_default()..).unwrap_or_default();
        if status == Status::StreamEnd {
            out.truncate(filled);
            return Some(out);
        }
        out = larger(&out, usize::MAX);
    }
}

/// The same bytes with twice the room. What is outgrown is wiped, which a vector that grows by itself does not do.
fn larger(bytes: &Zeroizing<Vec<u8>>, limit: usize) -> Zeroizing<Vec<u8>> {
    let mut larger = Zeroizing::new(vec![0; bytes.len().saturating_mul(2).min(limit)]);
    for (to, from) in larger.iter_mut().zip(bytes.iter()) {
        *to = *from;
    }
    larger
}

/// Unpacks the content of an entry.
///
/// # Errors
/// [`UnpackError`] for anything that [`pack`] would not have written, or that goes over the limit.
pub fn unpack(content: &[u8], limit: UnpackLimit) -> Result<Unpacked, UnpackError> {
    let unpacked = Unpacked { framed: inflate(content, limit.bytes)? };
    let mut rest = unpacked.framed.as_slice();
    let mut index = 0;
    while !rest.is_empty() || index == 0 {
        if index == limit.changes {
            return Err(UnpackError::TooMany { limit: limit.changes });
        }
        (_, rest) = next_change(rest).ok_or(UnpackError::Frame { index })?;
        index += 1;
    }
    Ok(unpacked)
}

/// The changes of one entry, checked to be whole. Wiped when dropped.
#[derive(Clone, PartialEq, Eq)]
pub struct Unpacked {
    framed: Zeroizing<Vec<u8>>,
}

impl Unpacked {
    /// The changes, in the order they were packed.
    pub fn changes(&self) -> impl Iterator<Item = &[u8]> {
        let mut rest = self.framed.as_slice();
        std::iter::from_fn(move || {
            let (change, after) = next_change(rest)?;
            rest = after;
            Some(change)
        })
    }
}

impl std::fmt::Debug for Unpacked {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "Unpacked({} changes, {} bytes)", self.changes().count(), self.framed.len())
    }
}

/// The first change of framed ones and what follows it.
fn next_change(framed: &[u8]) -> Option<(&[u8], &[u8])> {
    let (len, rest) = framed.split_first_chunk::<LENGTH>()?;
    let (change, rest) = rest.split_at_checked(u32::from_be_bytes(*len) as usize)?;
    (!change.is_empty()).then_some((change, rest))
}

/// Inflates raw deflate to at most `limit` bytes.
fn inflate(mut deflated: &[u8], limit: usize) -> Result<Zeroizing<Vec<u8>>, UnpackError> {
    let mut inflater = Decompress::new(false);
    let mut out = Zeroizing::new(vec![0; FIRST_ROOM.min(limit)]);
    let mut filled = 0;
    loop {
        let (read, written) = (inflater.total_in(), inflater.total_out());
        let room = out.get_mut(filled..).unwrap_or_default();
        let status = inflater.decompress(deflated, room, FlushDecompress::None).map_err(|_| UnpackError::Deflate)?;
        filled += usize::try_from(inflater.total_out() - written).unwrap_or_default();
        deflated = deflated.get(usize::try_from(inflater.total_in() - read).unwrap_or_default()..).unwrap_or_default();
        match status {
            Status::StreamEnd if deflated.is_empty() => {
                out.truncate(filled);
                return Ok(out);
            }
            Status::StreamEnd => return Err(UnpackError::Trailing { len: deflated.len() }),
            // There was room left, so it is the bytes that ended.
            _ if filled < out.len() => return Err(UnpackError::Deflate),
            _ if out.len() >= limit => return Err(UnpackError::TooLarge { limit }),
            _ => out = larger(&out, limit),
        }
    }
}
