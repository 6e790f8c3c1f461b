//! The built-in catalogue: a table of text, a food a row, which `cargo xtask data` writes from the curated files and
//! the rows of SR28 that they name.

use std::collections::HashMap;
use std::hash::BuildHasherDefault;
use std::sync::OnceLock;

use trug_measure::{Amount, Exact, Unit};

use crate::catalog::QuickHasher;
use crate::{Allergen, Allergens, Catalog, Food, FoodId, Measure, Part, Trim};

/// The table. A line is a food, in the order of the ids.
pub const TABLE: &str = include_str!("../data/catalog.txt");

/// The columns of a row, parted by tabs. Trailing empty columns are left off.
///
/// The items of a list are parted by `;`, a key from its figure by `=`. Figures are decimals, or `n/d` where no decimal
/// is exact; they mean what the fields of [`Food`] mean.
///
/// | column | reads |
/// |---|---|
/// | `id` | the id |
/// | `name` | empty: the id with spaces for hyphens |
/// | `plural` | empty: the name; `+s`: the name with an `s` after it |
/// | `also` | list of names; a digit as a word stands for the word of `name` in that place, `=3` for the digit itself |
/// | `section`, `keep` | a word |
/// | `groups` | list, without those that follow from the allergens |
/// | `raw` | a word, or empty |
/// | `allergens` | empty: not recorded; `-`: none; else the list; `~` before it: makers differ |
/// | `refuse` | figure, or empty: not recorded |
/// | `measures` | list of `unit word word=grams`, the words folded; commas part those of one weight |
/// | `packs` | list of `figure unit` |
/// | `ndb` | number in SR28, or empty |
/// | `density`, `cooked`, `drained` | figure, or empty |
/// | `trims` | list of `prep=percent` |
/// | `enough` | figure, or empty |
/// | `parts` | list, parted by a vertical bar, of `name:whole:density:measures:also,also:flag`; the flag `-`: no name of its own |
/// | `flag` | `-`: never bought |
pub const COLUMNS: [&str; 20] = [
    "id",
    "name",
    "plural",
    "also",
    "section",
    "keep",
    "groups",
    "raw",
    "allergens",
    "refuse",
    "measures",
    "packs",
    "ndb",
    "density",
    "cooked",
    "drained",
    "trims",
    "enough",
    "parts",
    "flag",
];

/// A row of the table that says no food.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum BadRow {
    /// A column's text is not what the column has.
    #[error("column `{column}` of the catalogue's table cannot be `{read}`")]
    Column {
        /// The column.
        column: &'static str,
        /// What it says.
        read: String,
    },
    /// There is more after the last column.
    #[error("the row has more than {} columns", COLUMNS.len())]
    TooLong,
}

impl Catalog {
    /// The catalogue that is built in: the same one for the whole program, read at its first use.
    #[must_use]
    pub fn builtin() -> &'static Self {
        static BUILTIN: OnceLock<Catalog> = OnceLock::new();
        BUILTIN.get_or_init(|| {
            // Tests show that every row decodes and that no name is taken twice, so nothing is lost here; were it
            // otherwise, a phone that knows fewer foods beats one that stops.
            Self::build(decode_table(TABLE).filter_map(Result::ok).collect()).0
        })
    }
}

/// The foods of a table's rows, one after the other.
pub fn decode_table(table: &str) -> impl Iterator<Item = Result<Food, BadRow>> {
    let mut decoder = Decoder::default();
    table.lines().map(move |row| decoder.food(row))
}

/// Reads rows. The units of a table are few and their names many, so each name is looked up once.
#[derive(Default)]
struct Decoder<'a> {
    units: HashMap<&'a str, Option<Unit>, BuildHasherDefault<QuickHasher>>,
}

/// The columns of one row that have not been read.
struct Columns<'a> {
    texts: Parts<'a>,
    names: std::slice::Iter<'static, &'static str>,
}

impl<'a> Columns<'a> {
    /// Reads the next column, which is empty after the end of the row.
    fn next<T>(&mut self, read: impl FnOnce(&'a str) -> Option<T>) -> Result<T, BadRow> {
        let column = self.names.next().ok_or(BadRow::TooLong)?;
        let text = self.texts.next().unwrap_or_default();
        read(text).ok_or_else(|| BadRow::Column { column, read: text.to_owned() })
    }

    fn end(mut self) -> Result<(), BadRow> {
        self.texts.next().map_or(Ok(()), |_| Err(BadRow::TooLong))
    }
}

impl<'a> Decoder<'a> {
    fn food(&mut self, row: &'a str) -> Result<Food, BadRow> {
        let mut columns = Columns { texts: parts(row, b'\t'), names: COLUMNS.iter() };
        let id = columns.next(|text| (!text.is_empty()).then_some(text))?;
        let name = columns.next(|text| Some(if text.is_empty() { id.replace('-', " ") } else { text.to_owned() }))?;
        let mut food = Food {
            id: FoodId::new(id),
            plural: columns.next(|text| Some(plural(&name, text)))?,
            also: columns.next(|text| other_names(&name, text))?,
            name,
            section: columns.next(|text| Some(text.to_owned()))?,
            keep: columns.next(|text| text.parse().ok())?,
            groups: columns.next(|text| list(text, b';', |item| item.parse().ok()))?,
            raw: columns.next(|text| optional(text, |word| word.parse().ok()))?,
            allergens: columns.next(allergens)?,
            refuse: columns.next(|text| optional(text, figure))?,
            measures: columns.next(|text| self.measures(text))?,
            packs: columns.next(|text| list(text, b';', |item| self.pack(item)))?,
            ndb: columns.next(|text| optional(text, |number| number.parse().ok()))?,
            density: columns.next(|text| optional(text, figure))?,
            cooked: columns.next(|text| optional(text, figure))?,
            drained: columns.next(|text| optional(text, figure))?,
            trims: columns.next(|text| list(text, b';', trim))?,
            enough: columns.next(|text| optional(text, figure))?,
            parts: columns.next(|text| list(text, b'|', |item| self.part(item)))?,
            never_bought: columns.next(flag)?,
            other_allergens: Vec::new(),
            other_groups: Vec::new(),
            own: false,
            described: true,
        };
        columns.end()?;
        food.settle_groups();
        Ok(food)
    }

    fn unit(&mut self, name: &'a str) -> Option<Unit> {
        *self.units.entry(name).or_insert_with(|| name.parse().ok())
    }

    fn measures(&mut self, text: &'a str) -> Option<Vec<Measure>> {
        let mut measures = Vec::with_capacity(text.bytes().filter(|byte| matches!(byte, b'=' | b',')).count());
        if text.is_empty() {
            return Some(measures);
        }
        for alike in parts(text, b';') {
            let (names, grams) = halves(alike, b'=')?;
            let grams = figure(grams)?;
            for name in parts(names, b',') {
                let (unit, words) = halves(name, b' ').unwrap_or((name, ""));
                let words = list(words, b' ', |word| Some(word.to_owned()))?;
                measures.push(Measure { unit: self.unit(unit)?, words, grams });
            }
        }
        Some(measures)
    }

    fn pack(&mut self, text: &'a str) -> Option<Amount> {
        let (value, unit) = halves(text, b' ')?;
        Some(Amount::new(figure(value)?, self.unit(unit)?))
    }

    fn part(&mut self, text: &'a str) -> Option<Part> {
        let mut fields = parts(text, b':');
        let part = Part {
            name: fields.next().filter(|name| !name.is_empty())?.to_owned(),
            whole: figure(fields.next()?)?,
            density: optional(fields.next()?, figure)?,
            measures: self.measures(fields.next()?)?,
            also: list(fields.next()?, b',', |name| Some(name.to_owned()))?,
            own_name: !flag(fields.next()?)?,
        };
        fields.next().is_none().then_some(part)
    }
}

fn plural(name: &str, text: &str) -> String {
    match text.strip_prefix('+') {
        Some(ending) => format!("{name}{ending}"),
        None if text.is_empty() => name.to_owned(),
        None => text.to_owned(),
    }
}

fn list<'a, T>(text: &'a str, by: u8, mut read: impl FnMut(&'a str) -> Option<T>) -> Option<Vec<T>> {
    if text.is_empty() {
        return Some(Vec::new());
    }
    let mut items = Vec::with_capacity(1 + text.bytes().filter(|byte| *byte == by).count());
    for item in parts(text, by) {
        items.push(read(item)?);
    }
    Some(items)
}

/// What stands between the separators of a text. The items of the table have few letters, where this is several times as
/// fast as [`str::split`], which is made for long texts.
struct Parts<'a> {
    rest: Option<&'a str>,
    by: u8,
}

/// `by` is an ASCII character.
const fn parts(text: &str, by: u8) -> Parts<'_> {
    Parts { rest: Some(text), by }
}

impl<'a> Iterator for Parts<'a> {
    type Item = &'a str;

    fn next(&mut self) -> Option<&'a str> {
        let rest = self.rest?;
        let (part, rest) = halves(rest, self.by).map_or((rest, None), |(part, rest)| (part, Some(rest)));
        self.rest = rest;
        Some(part)
    }
}

/// What stands before and after the first separator.
fn halves(text: &str, by: u8) -> Option<(&str, &str)> {
    let at = text.bytes().position(|byte| byte == by)?;
    Some((text.get(..at)?, text.get(at + 1..)?))
}

fn other_names(name: &str, text: &str) -> Option<Vec<String>> {
    list(text, b';', |other| {
        // Most have no word in common with the name.
        if !other.bytes().any(|byte| byte.is_ascii_digit()) {
            return Some(other.to_owned());
        }
        let mut written = String::with_capacity(other.len() + name.len());
        for (at, word) in parts(other, b' ').enumerate() {
            if at > 0 {
                written.push(' ');
            }
            written.push_str(match word.as_bytes() {
                [place @ b'1'..=b'9'] => parts(name, b' ').nth(usize::from(place - b'1'))?,
                [b'=', digit] if digit.is_ascii_digit() => word.get(1..)?,
                _ => word,
            });
        }
        Some(written)
    })
}

/// `None` says that the text cannot be read, `Some(None)` that there is none.
fn optional<'a, T>(text: &'a str, read: impl FnOnce(&'a str) -> Option<T>) -> Option<Option<T>> {
    if text.is_empty() { Some(None) } else { read(text).map(Some) }
}

fn figure(text: &str) -> Option<Exact> {
    if let Ok(whole) = text.parse() {
        return Some(Exact::whole(whole));
    }
    match halves(text, b'/') {
        None => text.parse().ok(),
        Some((above, below)) => {
            Some(above.parse::<Exact>().ok()? / below.parse().ok().filter(|n: &Exact| !n.is_zero())?)
        }
    }
}

fn trim(text: &str) -> Option<Trim> {
    let (prep, refuse) = halves(text, b'=')?;
    Some(Trim { prep: prep.to_owned(), refuse: figure(refuse)? })
}

fn allergens(text: &str) -> Option<Allergens> {
    let (vary, kinds) = text.strip_prefix('~').map_or((false, text), |kinds| (true, kinds));
    match kinds {
        "" if !vary => Some(Allergens::NotRecorded),
        "-" if !vary => Some(Allergens::Recorded { kinds: Vec::new(), vary }),
        kinds => Some(Allergens::Recorded { kinds: list(kinds, b';', allergen)?, vary }),
    }
}

/// By the kind's own name, which is all that the table has: reading a person's words for it takes longer.
fn allergen(name: &str) -> Option<Allergen> {
    Allergen::ALL.into_iter().find(|kind| kind.name() == name)
}

fn flag(text: &str) -> Option<bool> {
    match text {
        "" => Some(false),
        "-" => Some(true),
        _ => None,
    }
}
