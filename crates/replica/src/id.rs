//! Who and what a fact is about: devices, lines, picks, and the aliases under which a helper knows the households.

use std::collections::BTreeMap;
use std::fmt;
use std::str::FromStr;

use sha2::{Digest, Sha256};

/// A source of random bytes. The caller brings it, so that a simulation can be replayed by its seed.
pub trait Entropy {
    /// Fills the buffer with bytes that nobody can foretell.
    ///
    /// # Errors
    /// Where the source has none to give.
    fn fill(&mut self, buffer: &mut [u8]) -> Result<(), NoEntropy>;
}

/// The source of randomness gave nothing; no document is opened without it, since an actor used twice loses data.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("this device gives no random numbers just now; nothing can be written safely: try again")]
pub struct NoEntropy;

impl<F: FnMut(&mut [u8])> Entropy for F {
    fn fill(&mut self, buffer: &mut [u8]) -> Result<(), NoEntropy> {
        self(buffer);
        Ok(())
    }
}

/// The operating system's randomness; in a browser, the browser's.
#[cfg(feature = "os-entropy")]
#[derive(Debug, Clone, Copy, Default)]
pub struct OsEntropy;

#[cfg(feature = "os-entropy")]
impl Entropy for OsEntropy {
    fn fill(&mut self, buffer: &mut [u8]) -> Result<(), NoEntropy> {
        getrandom::fill(buffer).map_err(|_| NoEntropy)
    }
}

/// A moment in milliseconds since 1970-01-01 UTC, as a device's clock had it: for people to read, never to order by.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct Stamp(pub i64);

/// A text that cannot be an id.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("`{read}` is not {what}")]
pub struct BadId {
    /// What was read.
    pub read: String,
    /// What would be right.
    pub what: &'static str,
}

/// Letters and digits that cannot be taken for one another; their order is that of their values.
const LETTERS: &[u8; 32] = b"0123456789abcdefghjkmnpqrstvwxyz";

/// Five bits a letter, the first letter the most significant.
fn letters(value: u64, count: u32) -> String {
    let letter = |at: u32| LETTERS[(value >> (5 * (count - 1 - at)) & 31) as usize] as char;
    (0..count).map(letter).collect()
}

fn value_of(text: &str) -> Option<u64> {
    text.bytes().try_fold(0_u64, |sum, letter| {
        let digit = LETTERS.iter().position(|known| *known == letter)?;
        sum.checked_mul(32)?.checked_add(digit as u64)
    })
}

/// A device, for good: it stands in every pick that the device writes. It is not the actor, which is fresh each time a
/// document is opened.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct DeviceId(u64);

/// The letters of a device id: 40 random bits tell the few devices of a kitchen apart.
const DEVICE_LETTERS: u32 = 8;

impl DeviceId {
    /// A new device's id.
    ///
    /// # Errors
    /// Where there is no randomness.
    pub fn draw(entropy: &mut impl Entropy) -> Result<Self, NoEntropy> {
        let mut bytes = [0; 8];
        entropy.fill(&mut bytes)?;
        Ok(Self(u64::from_be_bytes(bytes) >> (64 - 5 * DEVICE_LETTERS)))
    }
}

impl fmt::Display for DeviceId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&letters(self.0, DEVICE_LETTERS))
    }
}

impl FromStr for DeviceId {
    type Err = BadId;

    fn from_str(text: &str) -> Result<Self, BadId> {
        let bad = || BadId { read: text.to_owned(), what: "a device's eight letters and digits" };
        if text.len() != DEVICE_LETTERS as usize {
            return Err(bad());
        }
        value_of(text).map(Self).ok_or_else(bad)
    }
}

/// A fact's id: the device that wrote it, and a number which that device uses once. The number's upper part comes from
/// the fresh actor, so that two tabs of one device, which cannot see each other's counters, do not use the same.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct FactId {
    /// The device that wrote it.
    pub device: DeviceId,
    /// The device's number for it; below 2^60.
    pub counter: u64,
}

/// The id of a pick.
pub type PickId = FactId;

/// The letters of a counter: 60 bits.
const COUNTER_LETTERS: u32 = 12;

impl fmt::Display for FactId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}-{}", self.device, letters(self.counter, COUNTER_LETTERS))
    }
}

impl FromStr for FactId {
    type Err = BadId;

    fn from_str(text: &str) -> Result<Self, BadId> {
        let bad = || BadId { read: text.to_owned(), what: "a device and its counter, such as 01234567-0123456789ab" };
        let (device, counter) = text.split_once('-').ok_or_else(bad)?;
        if counter.len() != COUNTER_LETTERS as usize {
            return Err(bad());
        }
        Ok(Self { device: device.parse().map_err(|_| bad())?, counter: value_of(counter).ok_or_else(bad)? })
    }
}

/// The most bytes of an id, an alias or a name in a document.
pub const MOST_NAME: usize = 200;

macro_rules! names {
    ($($(#[$doc:meta])* $name:ident, $what:literal;)*) => {$(
        $(#[$doc])*
        #[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub struct $name(String);

        impl $name {
            /// Takes a text of 1 to 200 bytes without control characters.
            ///
            /// # Errors
            /// Where the text is something else.
            pub fn new(text: &str) -> Result<Self, BadId> {
                let fits = (1..=MOST_NAME).contains(&text.len()) && !text.chars().any(char::is_control);
                if fits { Ok(Self(text.to_owned())) } else { Err(BadId { read: text.to_owned(), what: $what }) }
            }

            /// The text.
            #[must_use]
            pub fn as_str(&self) -> &str {
                &self.0
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str(&self.0)
            }
        }
    )*};
}

names! {
    /// A line of a run. It follows from the plan, so that two devices which plan the same write the same key.
    LineId, "a line's id: 1 to 200 bytes of plain text";
    /// A household as one run knows it: what a helper reads on the bag, and nothing that leads back to the book.
    Alias, "an alias: 1 to 200 bytes of plain text";
    /// A lot of a pantry.
    LotId, "a lot's id: 1 to 200 bytes of plain text";
}

/// A run's secret salt. It is kept in the book alone; ids of lines and aliases of households are hashes under it, so
/// that a helper's document holds no id of the book and none can be guessed from it.
#[derive(Clone, PartialEq, Eq)]
pub struct Salt([u8; 32]);

/// A secret prints nothing.
impl fmt::Debug for Salt {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Salt(..)")
    }
}

impl Salt {
    /// A new run's salt.
    ///
    /// # Errors
    /// Where there is no randomness.
    pub fn draw(entropy: &mut impl Entropy) -> Result<Self, NoEntropy> {
        let mut bytes = [0; 32];
        entropy.fill(&mut bytes)?;
        Ok(Self(bytes))
    }

    /// A salt that was kept.
    #[must_use]
    pub const fn from_bytes(bytes: [u8; 32]) -> Self {
        Self(bytes)
    }

    /// The bytes to keep, in the book alone.
    #[must_use]
    pub const fn to_bytes(&self) -> [u8; 32] {
        self.0
    }

    /// A keyed hash of texts. Each is preceded by its length, so that no two lists of texts run together. Half of the
    /// digest is given out at most, so the plain prefix construction cannot be extended.
    fn hash(&self, what: &str, texts: &[&str]) -> u64 {
        let mut hasher = Sha256::new();
        hasher.update(self.0);
        for text in std::iter::once(&what).chain(texts) {
            hasher.update((text.len() as u64).to_be_bytes());
            hasher.update(text.as_bytes());
        }
        let digest: [u8; 32] = hasher.finalize().into();
        let [a, b, c, d, e, f, g, h, ..] = digest;
        u64::from_be_bytes([a, b, c, d, e, f, g, h])
    }

    /// The id of a line: of a food, for a household where it buys separately, in a unit where nothing converts it.
    #[must_use]
    pub fn line(&self, food: &str, separate: Option<&str>, unit: Option<&str>) -> LineId {
        let (household, has) = separate.map_or(("", "0"), |household| (household, "1"));
        LineId(letters(self.hash("line", &[food, has, household, unit.unwrap_or("")]) >> 4, COUNTER_LETTERS))
    }

    /// Aliases for households by their ids: two letters and a digit, without vowels so that no word comes of it, the
    /// same on every device that has the salt and the same households. Where two would be alike (two of eight are in one
    /// kitchen of a hundred), the one with the greater id counts on, so a household that joins can move it.
    #[must_use]
    pub fn aliases<'h>(&self, households: impl IntoIterator<Item = &'h str>) -> BTreeMap<&'h str, Alias> {
        const CONSONANTS: &[u8; 18] = b"BCDFGHJKLMNPRSTVXZ";
        const FORMS: u64 = 18 * 18 * 8;
        let form = |value: u64| {
            let letter = |of: u64| CONSONANTS[(of % 18) as usize] as char;
            format!("{}{}{}", letter(value), letter(value / 18), value / 324 % 8 + 2)
        };
        let households = crate::gather::set(households);
        let mut taken: BTreeMap<&str, Alias> = BTreeMap::new();
        for household in households {
            let first = self.hash("alias", &[household]) % FORMS;
            let free = |form: &String| taken.values().all(|alias| alias.0 != *form);
            let tried = (0..FORMS).map(|step| form((first + step) % FORMS)).find(free);
            // More households than there are forms: the hash itself is the alias.
            let text = tried.unwrap_or_else(|| letters(self.hash("alias", &[household]) >> 4, COUNTER_LETTERS));
            taken.insert(household, Alias(text));
        }
        taken
    }
}
