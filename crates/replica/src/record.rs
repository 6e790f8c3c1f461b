//! How one record stands in a document: one compact text, so that one edit is one scalar and merging stays cheap.
//!
//! `kind|kvalue|kvalue`: the record's kind, then fields of one letter and a text, parted by bars; a bar in a text is
//! written `\p`, a backslash `\\`. A field may come several times. A reader skips letters that it does not know, so a
//! newer program may add some.

/// A record that is being written.
#[derive(Debug)]
pub(crate) struct Writer(String);

impl Writer {
    pub(crate) fn new(kind: &str) -> Self {
        Self(kind.to_owned())
    }

    /// Adds a field.
    pub(crate) fn put(mut self, key: char, value: &str) -> Self {
        self.0.push('|');
        self.0.push(key);
        for letter in value.chars() {
            match letter {
                '|' => self.0.push_str("\\p"),
                '\\' => self.0.push_str("\\\\"),
                plain => self.0.push(plain),
            }
        }
        self
    }

    /// Adds a field where there is a value.
    pub(crate) fn maybe(self, key: char, value: Option<&str>) -> Self {
        match value {
            Some(value) => self.put(key, value),
            None => self,
        }
    }

    /// Adds a field for each value.
    pub(crate) fn each<T: AsRef<str>>(self, key: char, values: impl IntoIterator<Item = T>) -> Self {
        values.into_iter().fold(self, |writer, value| writer.put(key, value.as_ref()))
    }

    /// Adds an empty field where something is so.
    pub(crate) fn flag(self, key: char, set: bool) -> Self {
        if set { self.put(key, "") } else { self }
    }

    pub(crate) fn finish(self) -> String {
        self.0
    }
}

/// A text in a document that is no record of the kind that belongs there; it is kept, and shown as unreadable.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Unreadable {
    /// A field that the record must have is not there.
    #[error("the record has no `{0}`")]
    Missing(&'static str),
    /// A field's text is not what it should be.
    #[error("the record's {what} reads `{read}`")]
    Field {
        /// Which.
        what: &'static str,
        /// What was read.
        read: String,
    },
    /// A kind of record that this program does not know.
    #[error("`{0}` is a kind of record that this version does not know")]
    Kind(String),
    /// The record's key is not what it should be.
    #[error("the record stands under `{0}`, which is no id")]
    Key(String),
}

/// A record as read.
#[derive(Debug)]
pub(crate) struct Reader {
    kind: String,
    fields: Vec<(char, String)>,
}

impl Reader {
    pub(crate) fn new(text: &str) -> Result<Self, Unreadable> {
        let mut parts = text.split('|');
        let kind = parts.next().unwrap_or_default().to_owned();
        let fields = parts.map(field).collect::<Result<_, _>>()?;
        Ok(Self { kind, fields })
    }

    pub(crate) fn kind(&self) -> &str {
        &self.kind
    }

    pub(crate) fn get(&self, key: char) -> Option<&str> {
        self.all(key).next()
    }

    pub(crate) fn all(&self, key: char) -> impl Iterator<Item = &str> {
        self.fields.iter().filter(move |(of, _)| *of == key).map(|(_, value)| value.as_str())
    }

    pub(crate) fn has(&self, key: char) -> bool {
        self.get(key).is_some()
    }

    pub(crate) fn need(&self, key: char, what: &'static str) -> Result<&str, Unreadable> {
        self.get(key).ok_or(Unreadable::Missing(what))
    }

    /// A field that must be there and can be parsed.
    pub(crate) fn parse<T>(
        &self,
        key: char,
        what: &'static str,
        read: impl Fn(&str) -> Option<T>,
    ) -> Result<T, Unreadable> {
        let text = self.need(key, what)?;
        read(text).ok_or_else(|| Unreadable::Field { what, read: text.to_owned() })
    }

    /// A field that may be missing.
    pub(crate) fn maybe<T>(
        &self,
        key: char,
        what: &'static str,
        read: impl Fn(&str) -> Option<T>,
    ) -> Result<Option<T>, Unreadable> {
        self.get(key)
            .map(|text| read(text).ok_or_else(|| Unreadable::Field { what, read: text.to_owned() }))
            .transpose()
    }

    /// Every value of a repeated field.
    pub(crate) fn list<T>(
        &self,
        key: char,
        what: &'static str,
        read: impl Fn(&str) -> Option<T>,
    ) -> Result<Vec<T>, Unreadable> {
        self.all(key).map(|text| read(text).ok_or_else(|| Unreadable::Field { what, read: text.to_owned() })).collect()
    }
}

fn field(part: &str) -> Result<(char, String), Unreadable> {
    let bad = || Unreadable::Field { what: "field", read: part.to_owned() };
    let mut letters = part.chars();
    let key = letters.next().ok_or_else(bad)?;
    let mut value = String::with_capacity(part.len());
    while let Some(letter) = letters.next() {
        match letter {
            '\\' => match letters.next() {
                Some('p') => value.push('|'),
                Some('\\') => value.push('\\'),
                _ => return Err(bad()),
            },
            plain => value.push(plain),
        }
    }
    Ok((key, value))
}

/// Two texts in one field, the first without spaces.
pub(crate) fn pair(text: &str) -> Option<(&str, &str)> {
    text.split_once(' ')
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    proptest! {
        #[test]
        fn what_is_written_is_read(fields in prop::collection::vec(("[a-z]", any::<String>()), 0..6)) {
            let write = |writer: Writer, (key, value): &(String, String)| {
                writer.put(key.chars().next().unwrap_or('a'), value)
            };
            let text = fields.iter().fold(Writer::new("kind"), write).finish();
            let reader = Reader::new(&text).unwrap();
            prop_assert_eq!(reader.kind(), "kind");
            let read: Vec<_> = reader.fields.iter().map(|(key, value)| (key.to_string(), value.clone())).collect();
            prop_assert_eq!(read, fields);
        }

        #[test]
        fn any_text_is_read_or_refused(text in any::<String>()) {
            let _ = Reader::new(&text);
        }
    }
}
