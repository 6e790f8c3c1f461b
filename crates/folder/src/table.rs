//! Reading TOML value by value, with the line of each, and all problems of a file at once.

use std::fmt::Display;
use std::str::FromStr;

use chrono::NaiveDate;
use toml::de::{DeTable, DeValue};
use trug_measure::{Amount, AmountError, Currency, Exact, Money};

use crate::near::Near;
use crate::page::Page;
use crate::problem::What;

/// A number's range, and how it is told.
#[derive(Clone, Copy)]
pub(crate) struct Bounds {
    /// What to write.
    pub want: &'static str,
    /// Whether a number is in it.
    pub holds: fn(Exact) -> bool,
}

/// A table that is being read. It learns its keys as they are asked for, so that what it reads and what it says it reads
/// are the same.
pub(crate) struct Table<'t> {
    entries: &'t DeTable<'t>,
    at: usize,
    place: &'static str,
    known: Vec<&'static str>,
}

/// A value, its key, and where it stands.
#[derive(Clone, Copy)]
pub(crate) struct Value<'t> {
    pub key: &'t str,
    pub at: usize,
    value: &'t DeValue<'t>,
}

/// Parses a file and hands its root table to `read`; where it is not TOML, says so and reads nothing of it.
pub(crate) fn read_toml<T>(
    text: &str,
    page: &mut Page<'_>,
    read: impl FnOnce(Table<'_>, &mut Page<'_>) -> T,
) -> Option<T> {
    let (root, errors) = DeTable::parse_recoverable(text);
    for error in &errors {
        page.at(error.span().map_or(0, |span| span.start), What::Toml(error.message().to_owned()));
    }
    errors.is_empty().then(|| read(Table::new(root.get_ref(), 0, "here"), page))
}

impl<'t> Table<'t> {
    fn new(entries: &'t DeTable<'t>, at: usize, place: &'static str) -> Self {
        Self { entries, at, place, known: Vec::new() }
    }

    /// The key's value, where there is one.
    pub(crate) fn get(&mut self, key: &'static str) -> Option<Value<'t>> {
        self.known.push(key);
        let (_, value) = self.entries.get_key_value(key)?;
        Some(Value { key, at: value.span().start, value: value.get_ref() })
    }

    /// The key's value, which must be there.
    pub(crate) fn need(&mut self, key: &'static str, example: &'static str, page: &mut Page<'_>) -> Option<Value<'t>> {
        let value = self.get(key);
        if value.is_none() {
            page.at(self.at, What::MissingKey { key, place: self.place, example });
        }
        value
    }

    /// Every entry of a table whose keys are the chef's own words, in the order of the keys.
    pub(crate) fn entries(&self) -> impl Iterator<Item = Value<'t>> + use<'t> {
        self.entries.iter().map(|(key, value)| Value {
            key: key.get_ref(),
            at: key.span().start,
            value: value.get_ref(),
        })
    }

    /// Where the table begins.
    pub(crate) const fn at(&self) -> usize {
        self.at
    }

    /// Says which keys nobody has asked for.
    pub(crate) fn finish(self, page: &mut Page<'_>) {
        for key in self.entries.keys().filter(|key| !self.known.contains(&key.get_ref().as_ref())) {
            let near = Near::new(key.get_ref(), self.known.iter().copied());
            page.at(key.span().start, What::UnknownKey { key: key.get_ref().to_string(), place: self.place, near });
        }
    }
}

impl<'t> Value<'t> {
    fn wrong_type(&self, want: &'static str, page: &mut Page<'_>) {
        page.at(self.at, What::WrongType { key: self.key.to_owned(), read: self.kind(), want });
    }

    fn kind(&self) -> String {
        match self.value {
            DeValue::String(text) => format!("the text \"{}\"", start_of(text)),
            DeValue::Integer(number) => format!("the number {}", start_of(number)),
            DeValue::Float(number) => format!("the number {}", start_of(number.as_str())),
            DeValue::Boolean(flag) => flag.to_string(),
            DeValue::Datetime(date) => format!("the date {date}"),
            DeValue::Array(_) => "a list".to_owned(),
            DeValue::Table(_) => "a table".to_owned(),
        }
    }

    /// The text as it stands, without a word about it where it is none.
    pub(crate) fn as_text(&self) -> Option<&'t str> {
        match self.value {
            DeValue::String(text) => Some(text.trim()),
            _ => None,
        }
    }

    /// A text with something in it, trimmed.
    pub(crate) fn text(&self, page: &mut Page<'_>) -> Option<&'t str> {
        let Some(text) = self.as_text() else {
            self.wrong_type("a text in quotes", page);
            return None;
        };
        if text.is_empty() {
            page.at(self.at, What::Empty { key: self.key.to_owned() });
            return None;
        }
        Some(text)
    }

    /// A text that reads as something else, with that thing's own words where it does not.
    pub(crate) fn parse<T>(&self, page: &mut Page<'_>) -> Option<T>
    where
        T: FromStr,
        What: From<T::Err>,
    {
        self.text(page)?.parse().map_err(|error: T::Err| page.at(self.at, error)).ok()
    }

    /// One of a few words.
    pub(crate) fn one_of<T: Copy>(&self, words: &[(&str, T)], page: &mut Page<'_>) -> Option<T> {
        let text = self.text(page)?;
        let found = words.iter().find(|(word, _)| *word == text).map(|(_, meaning)| *meaning);
        if found.is_none() {
            let near = Near::new(text, words.iter().map(|(word, _)| *word));
            page.at(self.at, What::NotOneOf { key: self.key.to_owned(), read: text.to_owned(), near });
        }
        found
    }

    pub(crate) fn flag(&self, page: &mut Page<'_>) -> Option<bool> {
        match self.value {
            DeValue::Boolean(flag) => Some(*flag),
            _ => {
                self.wrong_type("true or false, without quotes", page);
                None
            }
        }
    }

    /// An exact number from the digits as they are written: 0.1 is a tenth. A fraction that is no decimal stands in
    /// quotes: `"1/3"`.
    pub(crate) fn number(&self, bounds: Bounds, page: &mut Page<'_>) -> Option<Exact> {
        let (read, value) = match self.value {
            DeValue::Integer(number) => (number.to_string(), integer(number.as_str(), number.radix())),
            DeValue::Float(number) => (number.as_str().to_owned(), decimal(number.as_str())),
            DeValue::String(text) => (text.to_string(), fraction(text)),
            _ => {
                self.wrong_type(bounds.want, page);
                return None;
            }
        };
        let value = value.filter(|value| (bounds.holds)(*value));
        if value.is_none() {
            let read = start_of(&read);
            page.at(self.at, What::OutOfRange { key: self.key.to_owned(), read, want: bounds.want });
        }
        value
    }

    /// Money in quotes, or whole.
    pub(crate) fn money(&self, currency: Currency, page: &mut Page<'_>) -> Option<Money> {
        let text = match self.value {
            DeValue::String(text) => text.to_string(),
            DeValue::Integer(number) if number.radix() == 10 => number.as_str().to_owned(),
            DeValue::Float(number) => {
                let exact = decimal(number.as_str()).and_then(|value| Money::parse(&value.to_string(), currency).ok());
                let example = exact.unwrap_or(Money { minor: 18_000, currency }).to_string();
                page.at(
                    self.at,
                    What::MoneyUnquoted { key: self.key.to_owned(), read: number.as_str().to_owned(), example },
                );
                return None;
            }
            _ => {
                self.wrong_type("money in quotes, such as \"180.00\"", page);
                return None;
            }
        };
        Money::parse(&text, currency).map_err(|error| page.at(self.at, error)).ok()
    }

    /// A date, with or without quotes.
    pub(crate) fn date(&self, page: &mut Page<'_>) -> Option<NaiveDate> {
        let written = match self.value {
            DeValue::Datetime(date) => date.to_string(),
            DeValue::String(text) => text.to_string(),
            _ => {
                self.wrong_type("a date, such as 2026-03-04", page);
                return None;
            }
        };
        let date = date(&written);
        if date.is_none() {
            page.at(self.at, What::BadDate(start_of(&written)));
        }
        date
    }

    /// A list of texts, each with its place.
    pub(crate) fn list(&self, page: &mut Page<'_>) -> Option<Vec<Value<'t>>> {
        match self.value {
            DeValue::Array(items) => {
                let item = |item: &'t toml::Spanned<DeValue<'t>>| Value {
                    key: self.key,
                    at: item.span().start,
                    value: item.get_ref(),
                };
                Some(items.iter().map(item).collect())
            }
            _ => {
                self.wrong_type("a list, such as [\"one\", \"two\"]", page);
                None
            }
        }
    }

    /// A list of texts.
    pub(crate) fn texts(&self, page: &mut Page<'_>) -> Option<Vec<String>> {
        let items = self.list(page)?;
        Some(items.iter().filter_map(|item| item.text(page)).map(str::to_owned).collect())
    }

    /// A list of amounts.
    pub(crate) fn amounts(&self, page: &mut Page<'_>) -> Option<Vec<Amount>> {
        let items = self.list(page)?;
        let read = |item: &Value<'t>| amount(item.text(page)?).map_err(|error| page.at(item.at, error)).ok();
        Some(items.iter().filter_map(read).collect())
    }

    /// A table.
    pub(crate) fn table(&self, place: &'static str, want: &'static str, page: &mut Page<'_>) -> Option<Table<'t>> {
        match self.value {
            DeValue::Table(entries) => Some(Table::new(entries, self.at, place)),
            _ => {
                self.wrong_type(want, page);
                None
            }
        }
    }

    /// Whether it is a list with nothing in it.
    pub(crate) fn is_empty_list(&self) -> bool {
        matches!(self.value, DeValue::Array(items) if items.iter().next().is_none())
    }

    /// A list of tables: `[[service]]`.
    pub(crate) fn tables(&self, place: &'static str, page: &mut Page<'_>) -> Vec<Table<'t>> {
        let DeValue::Array(items) = self.value else {
            self.wrong_type("tables with double brackets around the name, such as [[diner]] or [[service]]", page);
            return Vec::new();
        };
        let item = |item: &'t toml::Spanned<DeValue<'t>>| {
            let value = Value { key: self.key, at: item.span().start, value: item.get_ref() };
            value.table(place, "a table", page)
        };
        items.iter().filter_map(item).collect()
    }
}

/// The error of a [`FromStr`] that never fails needs no words.
impl From<std::convert::Infallible> for What {
    fn from(never: std::convert::Infallible) -> Self {
        match never {}
    }
}

fn integer(digits: &str, radix: u32) -> Option<Exact> {
    i64::from_str_radix(digits, radix).ok().map(Exact::whole)
}

/// TOML lets a float have a plus, underscores and an exponent; of these only the exponent is kept for [`Exact`] to refuse.
fn decimal(text: &str) -> Option<Exact> {
    text.strip_prefix('+').unwrap_or(text).replace('_', "").parse().ok()
}

/// `1/3`, or a decimal.
pub(crate) fn fraction(text: &str) -> Option<Exact> {
    let Some((above, below)) = text.split_once('/') else { return decimal(text.trim()) };
    let below: Exact = below.parse().ok()?;
    (!below.is_zero()).then_some(above.parse::<Exact>().ok()? / below)
}

/// An amount; a dozen is twelve pieces.
pub(crate) fn amount(text: &str) -> Result<Amount, What> {
    let plain = |part: &str| {
        part.parse::<Amount>().map_err(|error| match error {
            AmountError::Number(_) => What::NoAmount(start_of(text)),
            error => What::Amount(error),
        })
    };
    let Some(count) = text.trim().strip_suffix("dozen") else { return plain(text) };
    let dozens = plain(&format!("{count} each"))?;
    Ok(Amount::new(dozens.value * Exact::whole(12), dozens.unit))
}

/// A date of exactly four, two and two digits.
pub(crate) fn date(text: &str) -> Option<NaiveDate> {
    let text = text.trim();
    let shape = |(at, byte): (usize, u8)| if matches!(at, 4 | 7) { byte == b'-' } else { byte.is_ascii_digit() };
    let fits = text.len() == 10 && text.bytes().enumerate().all(shape);
    if fits { text.parse().ok() } else { None }
}

/// Enough of a text to recognise it by.
pub(crate) fn start_of(text: impl Display) -> String {
    const MOST: usize = 60;
    let text = text.to_string();
    let line = text.lines().next().unwrap_or_default();
    match line.char_indices().nth(MOST) {
        Some((at, _)) => format!("{}...", line.get(..at).unwrap_or_default()),
        None => line.to_owned(),
    }
}
