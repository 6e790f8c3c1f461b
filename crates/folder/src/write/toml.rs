//! Writing TOML.

use std::fmt::{Display, Write as _};

use trug_measure::Exact;

/// A file of TOML that is being written.
#[derive(Default)]
pub(super) struct Toml {
    out: String,
}

impl Toml {
    /// Begins a table, with an empty line before it.
    pub(super) fn table(&mut self, head: &str) {
        if !self.out.is_empty() {
            self.out.push('\n');
        }
        self.out.push_str(head);
        self.out.push('\n');
    }

    /// A key and a value that is TOML already.
    pub(super) fn raw(&mut self, key: &str, value: &str) {
        self.out.push_str(&format!("{} = {value}\n", self::key(key)));
    }

    pub(super) fn text(&mut self, key: &str, value: &str) {
        self.raw(key, &text(value));
    }

    pub(super) fn text_if(&mut self, key: &str, value: Option<&impl Display>) {
        if let Some(value) = value {
            self.text(key, &value.to_string());
        }
    }

    pub(super) fn number(&mut self, key: &str, value: Exact) {
        self.raw(key, &number_value(value));
    }

    /// A list, where there is anything in it.
    pub(super) fn texts_if(&mut self, key: &str, values: &[String]) {
        if !values.is_empty() {
            self.raw(key, &list(values.iter().map(String::as_str)));
        }
    }

    pub(super) fn finish(self) -> String {
        self.out
    }
}

/// A list of texts.
pub(super) fn list<'a>(values: impl Iterator<Item = &'a str>) -> String {
    format!("[{}]", values.map(text).collect::<Vec<_>>().join(", "))
}

/// `{ "soy sauce" = "tamari" }`, of values that are TOML already.
pub(super) fn inline_table<'a>(entries: impl Iterator<Item = (&'a str, String)>) -> String {
    let entries: Vec<String> = entries.map(|(name, value)| format!("{} = {value}", key(name))).collect();
    format!("{{ {} }}", entries.join(", "))
}

/// A number; a fraction that is no decimal stands in quotes.
pub(super) fn number_value(value: Exact) -> String {
    let number = super::number(value);
    if number.contains('/') { text(&number) } else { number }
}

/// A key, in quotes where it must be.
fn key(key: &str) -> String {
    let bare = !key.is_empty() && key.bytes().all(|b| b.is_ascii_alphanumeric() || b == b'-' || b == b'_');
    if bare { key.to_owned() } else { text(key) }
}

/// A text in quotes.
pub(super) fn text(value: &str) -> String {
    let mut out = String::with_capacity(value.len() + 2);
    out.push('"');
    for c in value.chars() {
        match c {
            '"' => out.push_str("\\\""),
            '\\' => out.push_str("\\\\"),
            '\n' => out.push_str("\\n"),
            '\t' => out.push_str("\\t"),
            c if c.is_control() => {
                let _ = write!(out, "\\u{:04X}", u32::from(c));
            }
            c => out.push(c),
        }
    }
    out.push('"');
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn quotes_what_must_be_quoted() {
        assert_eq!(key("soy-sauce"), "soy-sauce");
        assert_eq!(key("soy sauce"), "\"soy sauce\"");
        assert_eq!(key(""), "\"\"");
        assert_eq!(text("a \"b\" \\ \n\u{1}"), "\"a \\\"b\\\" \\\\ \\n\\u0001\"");
    }
}
