//! Recovery codes: a root as letters and digits, to be printed, and typed in by hand one bad day.
//!
//! ```text
//! 280 bits = version 4 bits | root 256 bits | first 20 bits of SHA-256("trug/1/recovery" followed by the root)
//!          = 56 symbols of 5 bits = 14 groups of 4 symbols, to each of which a fifth is added as a check
//! ```
//!
//! Symbols are the digits and the capital letters without I, L, O and U. Typed in, small letters count as capitals, O
//! as 0, I and L as 1, U as V; spaces, line ends, dashes and dots anywhere do not count.
//!
//! The check of a group is reckoned in GF(32): with weights 2, 4, 8, 16 for the four symbols and 1 for the check
//! itself, the sum is the group's number. The weights are distinct and none is 0, so in every group each wrong symbol
//! and each pair of symbols that changed places shows; the numbers are distinct, so groups that changed places show as
//! well. What slips through (several slips in one group, one time in 32) meets the 20 bits at the end.

use std::fmt;

use sha2::{Digest, Sha256};
use thiserror::Error;
use zeroize::Zeroizing;

use crate::VERSION;
use crate::keys::Root;

const ALPHABET: &[u8; 32] = b"0123456789ABCDEFGHJKMNPQRSTVWXYZ";
const HASH_LABEL: &[u8] = b"trug/1/recovery";
/// Groups of a code.
const GROUPS: usize = 14;
/// Symbols of a group, the check included.
const GROUP: usize = 5;
/// Symbols of a code, checks included.
const SYMBOLS: usize = GROUPS * GROUP;
/// Groups printed in a line.
const IN_LINE: usize = 2;
/// What a symbol of a group, the check included, is multiplied with.
const WEIGHTS: [u8; GROUP] = [2, 4, 8, 16, 1];
/// Version, root and hash.
const BYTES: usize = 35;
/// The longest text that is read as a code, in bytes.
const LONGEST_TEXT: usize = 2048;

/// Why a typed code is no recovery code. Groups are numbered from 1, in reading order.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum RecoveryError {
    /// A character that no code has.
    #[error("{character:?} in group {group} is in no recovery code: it has digits and letters without I, L, O and U")]
    Symbol {
        /// The character.
        character: char,
        /// The group it would stand in.
        group: usize,
    },
    /// Too few or too many symbols.
    #[error(
        "{found} letters and digits were typed, a recovery code has {SYMBOLS}{}",
        .group.map(|group| format!(": {}", place(group))).unwrap_or_default()
    )]
    Length {
        /// How many symbols there are.
        found: usize,
        /// The first group that is not right, where it can be told.
        group: Option<usize>,
    },
    /// Groups with a slip in them.
    #[error("something is mistyped in {}", .groups.iter().map(|&group| place(group)).collect::<Vec<_>>().join(" and in "))]
    Groups {
        /// Every group that does not check.
        groups: Vec<usize>,
    },
    /// Every group checks, but they do not belong together.
    #[error("the groups are right one by one but not together: they come from two codes, or one has several slips")]
    Whole,
    /// Made by a newer program.
    #[error("this recovery code has format {found}, and this program reads format {VERSION}: update it first")]
    Newer {
        /// The format's number.
        found: u8,
    },
    /// Much longer than a code.
    #[error("a text of {len} bytes is no recovery code, which has {SYMBOLS} letters and digits")]
    TooLong {
        /// Its length in bytes.
        len: usize,
    },
}

/// Where a group stands in the printed code.
fn place(group: usize) -> String {
    let line = group.saturating_sub(1) / IN_LINE + 1;
    let side = if group % IN_LINE == 1 { "left" } else { "right" };
    format!("group {group} (line {line}, {side})")
}

/// A root in the form to be printed. As secret as the root; wiped when dropped, never shown by `Debug`.
#[derive(Clone)]
pub struct RecoveryCode(Zeroizing<[u8; SYMBOLS]>);

impl fmt::Debug for RecoveryCode {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("RecoveryCode(redacted)")
    }
}

impl RecoveryCode {
    /// The code of a root: always the same.
    #[must_use]
    pub fn of(root: &Root) -> Self {
        let bytes = payload(root);
        let mut symbols = Zeroizing::new([0; SYMBOLS]);
        for (index, (group, data)) in
            symbols.chunks_exact_mut(GROUP).zip(data_symbols(&bytes).chunks_exact(4)).enumerate()
        {
            for (to, from) in group.iter_mut().zip(data) {
                *to = *from;
            }
            // The check's weight is 1, so it is what the sum still lacks.
            let lacks = sum(group) ^ number(index);
            if let Some(check) = group.last_mut() {
                *check = lacks;
            }
        }
        Self(symbols)
    }

    /// The fourteen groups of five, in order.
    pub fn groups(&self) -> impl Iterator<Item = Zeroizing<String>> {
        self.0.chunks_exact(GROUP).map(|group| Zeroizing::new(group.iter().map(|&symbol| letter(symbol)).collect()))
    }

    /// Seven lines of two groups, to be printed in a face that tells 0 from O and 1 from I.
    #[must_use]
    pub fn text(&self) -> Zeroizing<String> {
        let mut text = Zeroizing::new(String::with_capacity(SYMBOLS + GROUPS));
        for (index, group) in self.groups().enumerate() {
            match (index, index % IN_LINE) {
                (0, _) => {}
                (_, 0) => text.push('\n'),
                _ => text.push(' '),
            }
            text.push_str(&group);
        }
        text
    }

    /// The root of a code as somebody typed it.
    ///
    /// # Errors
    /// [`RecoveryError`], which says where to look again.
    pub fn read(text: &str) -> Result<Root, RecoveryError> {
        if text.len() > LONGEST_TEXT {
            return Err(RecoveryError::TooLong { len: text.len() });
        }
        let symbols = read_symbols(text)?;
        let wrong: Vec<usize> = symbols
            .chunks(GROUP)
            .enumerate()
            .filter(|(index, group)| group.len() != GROUP || sum(group) != number(*index))
            .map(|(index, _)| index + 1)
            .collect();
        if symbols.len() != SYMBOLS {
            let group = odd_group(text).or(wrong.first().copied()).map(|group| group.min(GROUPS));
            return Err(RecoveryError::Length { found: symbols.len(), group });
        }
        if !wrong.is_empty() {
            return Err(RecoveryError::Groups { groups: wrong });
        }
        root_of(&symbols)
    }
}

/// The one group that is not five long, where the typed text has its fourteen groups set apart.
fn odd_group(text: &str) -> Option<usize> {
    let lengths: Vec<usize> =
        text.split(is_between).filter(|part| !part.is_empty()).map(|part| part.chars().count()).collect();
    let mut odd = lengths.iter().enumerate().filter(|&(_, &length)| length != GROUP);
    match (lengths.len(), odd.next(), odd.next()) {
        (GROUPS, Some((index, _)), None) => Some(index + 1),
        _ => None,
    }
}

/// Version, root and hash, packed without gaps.
fn payload(root: &Root) -> Zeroizing<[u8; BYTES]> {
    let mut hash = Sha256::new();
    hash.update(HASH_LABEL);
    hash.update(root.expose());
    let [a, b, c, ..] = <[u8; 32]>::from(hash.finalize());
    let mut bytes = Zeroizing::new([0; BYTES]);
    let mut high = VERSION << 4;
    for (to, &from) in bytes.iter_mut().zip(root.expose().iter().chain(&[a, b, c])) {
        // Everything stands half a byte further right than it came.
        *to = high | (from >> 4);
        high = from << 4;
    }
    bytes
}

/// Five bytes are eight symbols.
fn data_symbols(bytes: &[u8; BYTES]) -> Zeroizing<Vec<u8>> {
    let mut symbols = Zeroizing::new(Vec::with_capacity(BYTES / 5 * 8));
    for chunk in bytes.chunks_exact(5) {
        let bits = chunk.iter().fold(0u64, |bits, &byte| (bits << 8) | u64::from(byte));
        symbols.extend((0..8).rev().map(|at| ((bits >> (5 * at)) & 31) as u8));
    }
    symbols
}

/// The root within symbols whose groups all check.
fn root_of(symbols: &[u8]) -> Result<Root, RecoveryError> {
    let data: Zeroizing<Vec<u8>> =
        Zeroizing::new(symbols.chunks_exact(GROUP).flat_map(|group| group.iter().take(GROUP - 1)).copied().collect());
    let mut bytes = Zeroizing::new(Vec::with_capacity(BYTES));
    for chunk in data.chunks_exact(8) {
        let bits = chunk.iter().fold(0u64, |bits, &symbol| (bits << 5) | u64::from(symbol));
        bytes.extend((0..5).rev().map(|at| ((bits >> (8 * at)) & 255) as u8));
    }
    let found = bytes.first().map_or(0, |first| first >> 4);
    if found != VERSION {
        return Err(RecoveryError::Newer { found });
    }
    let mut root = Zeroizing::new([0; 32]);
    for (to, pair) in root.iter_mut().zip(bytes.windows(2)) {
        if let [left, right] = pair {
            *to = (left << 4) | (right >> 4);
        }
    }
    let root = Root::from_bytes(*root);
    if *payload(&root) == bytes.as_slice() { Ok(root) } else { Err(RecoveryError::Whole) }
}

/// The symbols of a typed text.
fn read_symbols(text: &str) -> Result<Zeroizing<Vec<u8>>, RecoveryError> {
    let mut symbols = Zeroizing::new(Vec::with_capacity(SYMBOLS));
    for character in text.chars().filter(|&c| !is_between(c)) {
        let symbol = symbol_of(character)
            .ok_or_else(|| RecoveryError::Symbol { character, group: symbols.len() / GROUP + 1 })?;
        symbols.push(symbol);
    }
    Ok(symbols)
}

/// What may stand between symbols.
fn is_between(c: char) -> bool {
    c.is_whitespace() || matches!(c, '-' | '.' | ',' | ':' | '_' | '\u{2010}'..='\u{2015}' | '\u{2212}')
}

fn symbol_of(character: char) -> Option<u8> {
    let read = match character.to_ascii_uppercase() {
        'O' => '0',
        'I' | 'L' => '1',
        'U' => 'V',
        other => other,
    };
    (0..32).find(|&symbol| letter(symbol) == read)
}

fn letter(symbol: u8) -> char {
    ALPHABET.get(usize::from(symbol)).copied().map_or('?', char::from)
}

/// What a group with this index, from 0, sums to.
fn number(index: usize) -> u8 {
    (index % 31) as u8 + 1
}

/// The weighted sum of a group in GF(32).
fn sum(group: &[u8]) -> u8 {
    group.iter().zip(WEIGHTS).fold(0, |total, (&symbol, weight)| total ^ times(symbol, weight))
}

/// Multiplication in GF(32), the polynomials over GF(2) modulo x^5 + x^2 + 1.
fn times(a: u8, b: u8) -> u8 {
    let (mut a, mut product) = (a, 0);
    for bit in 0..5 {
        if b >> bit & 1 == 1 {
            product ^= a;
        }
        a <<= 1;
        if a & 32 != 0 {
            a ^= 0b10_0101;
        }
    }
    product
}
