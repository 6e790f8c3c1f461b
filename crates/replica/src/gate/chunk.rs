//! Automerge's framing: magic, checksum, kind, length, data; and what is deflated inside, inflated with a bound.
//!
//! The format is described at <https://automerge.org/automerge-binary-format-spec/>.

use std::io::Read;

use automerge::{Automerge, ChangeHash};
use sha2::{Digest, Sha256};

use super::bytes::{Booleans, Cursor, Runs};
use super::{Limits, Refusal};
use crate::replica::guarded;

const MAGIC: [u8; 4] = [0x85, 0x6f, 0x4a, 0x83];
const DOCUMENT: u8 = 0;
const CHANGE: u8 = 1;
const DEFLATED: u8 = 2;

/// One chunk of an entry, as it stands there.
#[derive(Debug)]
pub(super) struct Chunk<'b> {
    pub(super) whole: &'b [u8],
    kind: u8,
    checksum: [u8; 4],
    data: &'b [u8],
}

/// The bytes that `head` puts before a chunk's data.
pub(super) fn frame(kind: u8, data: &[u8]) -> (Vec<u8>, ChangeHash) {
    let hash = hash(kind, data);
    let mut bytes = Vec::with_capacity(data.len() + 16);
    bytes.extend_from_slice(&MAGIC);
    bytes.extend_from_slice(hash.0.first_chunk::<4>().unwrap_or(&[0; 4]));
    bytes.push(kind);
    push_number(&mut bytes, data.len() as u64);
    bytes.extend_from_slice(data);
    (bytes, hash)
}

pub(super) fn push_number(bytes: &mut Vec<u8>, mut value: u64) {
    while value > 0x7f {
        bytes.push((value & 0x7f) as u8 | 0x80);
        value >>= 7;
    }
    bytes.push(value as u8);
}

fn hash(kind: u8, data: &[u8]) -> ChangeHash {
    let mut head = vec![kind];
    push_number(&mut head, data.len() as u64);
    let digest: [u8; 32] = Sha256::new().chain_update(&head).chain_update(data).finalize().into();
    ChangeHash(digest)
}

/// Takes the next chunk from the front. Where the framing itself is broken, nothing after it can be found.
pub(super) fn next<'b>(bytes: &mut &'b [u8]) -> Result<Chunk<'b>, Refusal> {
    let mut cursor = Cursor::new(bytes);
    if cursor.array::<4>()? != MAGIC {
        return Err(Refusal::Malformed("it does not begin as a change does"));
    }
    let (checksum, kind) = (cursor.array::<4>()?, cursor.byte()?);
    let data = cursor.prefixed()?;
    let (whole, rest) = bytes.split_at(bytes.len() - cursor.rest().len());
    *bytes = rest;
    Ok(Chunk { whole, kind, checksum, data })
}

/// A change's data, its whole chunk uncompressed, and its hash.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Raw {
    pub(super) hash: ChangeHash,
    pub(super) bytes: Vec<u8>,
    head: usize,
}

impl Raw {
    fn of(data: &[u8], checksum: [u8; 4]) -> Result<Self, Refusal> {
        let (bytes, hash) = frame(CHANGE, data);
        if hash.0.first_chunk() != Some(&checksum) {
            return Err(Refusal::Checksum);
        }
        Ok(Self { hash, head: bytes.len() - data.len(), bytes })
    }

    /// What follows the head.
    pub(super) fn data(&self) -> &[u8] {
        self.bytes.get(self.head..).unwrap_or_default()
    }
}

/// Inflates, but never to more than `most` bytes.
fn inflate(deflated: &[u8], most: usize) -> Result<Vec<u8>, Refusal> {
    let mut inflated = Vec::new();
    let read = flate2::bufread::DeflateDecoder::new(deflated).take(most as u64 + 1).read_to_end(&mut inflated);
    read.map_err(|_| Refusal::Malformed("what is compressed in it cannot be read"))?;
    if inflated.len() > most { Err(Refusal::TooLarge { most }) } else { Ok(inflated) }
}

impl Chunk<'_> {
    /// The changes that the chunk carries: one, or a saved document's.
    pub(super) fn changes(&self, limits: &Limits) -> Result<Vec<Raw>, Refusal> {
        match self.kind {
            CHANGE if self.data.len() > limits.change => Err(Refusal::TooLarge { most: limits.change }),
            CHANGE => Ok(vec![Raw::of(self.data, self.checksum)?]),
            DEFLATED => Ok(vec![Raw::of(&inflate(self.data, limits.change)?, self.checksum)?]),
            DOCUMENT => self.document(limits),
            other => Err(Refusal::ChunkKind(other)),
        }
    }

    /// A saved document is no more than a tight parcel of changes: it is taken apart, and each change is judged by
    /// itself. Before automerge sees it, the sizes of all columns are known to be bounded.
    fn document(&self, limits: &Limits) -> Result<Vec<Raw>, Refusal> {
        if hash(DOCUMENT, self.data).0.first_chunk() != Some(&self.checksum) {
            return Err(Refusal::Checksum);
        }
        measure(self.data, limits)?;
        let changes = guarded(|| {
            let document = Automerge::load(self.whole).map_err(|error| error.to_string())?;
            Ok(document.get_changes(&[]).iter().map(|change| change.raw_bytes().to_vec()).collect::<Vec<_>>())
        });
        let changes = changes.map_err(Refusal::NotTaken)?;
        let raw = changes.iter().map(|bytes| next(&mut bytes.as_slice())?.changes(limits));
        Ok(raw.collect::<Result<Vec<_>, _>>()?.into_iter().flatten().collect())
    }
}

/// A column's number and type, from the lowest three bits of its specification; the fourth says it is deflated.
const DEFLATE_BIT: u64 = 8;

/// Checks that nothing in a saved document grows past the limits: deflated columns, and runs.
fn measure(data: &[u8], limits: &Limits) -> Result<(), Refusal> {
    let mut cursor = Cursor::new(data);
    for _ in 0..cursor.count()? {
        super::change::actor(&mut cursor)?;
    }
    for _ in 0..cursor.count()? {
        cursor.array::<32>()?;
    }
    let (changes, operations) = (columns(&mut cursor)?, columns(&mut cursor)?);
    let mut left = limits.document;
    for (specification, length) in changes.into_iter().chain(operations) {
        let stored = cursor.take(length)?;
        let inflated;
        let column = if specification & DEFLATE_BIT == 0 {
            stored
        } else {
            inflated = inflate(stored, left)?;
            &inflated
        };
        left = left.checked_sub(column.len()).ok_or(Refusal::TooLarge { most: limits.document })?;
        items(specification & 7, column, limits.document_operations)?;
    }
    Ok(())
}

/// The specifications and lengths of columns, before their data.
pub(super) fn columns(cursor: &mut Cursor<'_>) -> Result<Vec<(u64, usize)>, Refusal> {
    let mut columns = Vec::new();
    for _ in 0..cursor.count()? {
        let specification = cursor.number()?;
        let length = usize::try_from(cursor.number()?).map_err(|_| Refusal::Malformed("a column is too long"))?;
        columns.push((specification, length));
    }
    Ok(columns)
}

fn items(kind: u64, column: &[u8], most: u64) -> Result<u64, Refusal> {
    match kind {
        0 | 1 | 2 | 6 => Runs::<u64>::count(column, most),
        3 => Runs::<i64>::count(column, most),
        4 => Booleans::count(column, most),
        5 => Runs::<&str>::count(column, most),
        _ => Ok(0),
    }
}
