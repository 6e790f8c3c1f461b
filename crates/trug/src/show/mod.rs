//! The printed forms of a list, and what they share: widths, wrapping, and text that is safe to print.

pub mod csv;
pub mod markdown;
pub mod page;
pub mod table;

use std::borrow::Cow;

use unicode_width::{UnicodeWidthChar as _, UnicodeWidthStr as _};

/// How the place that is printed to looks.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Look {
    /// It is a terminal that shows colours and rules. Nothing is ever said by them alone.
    pub rich: bool,
    /// Its columns.
    pub width: usize,
}

impl Look {
    /// A pipe or a file.
    pub const PLAIN: Self = Self { rich: false, width: 100 };

    fn bold(self, text: &str) -> String {
        self.styled("1", text)
    }

    fn alarm(self, text: &str) -> String {
        self.styled("1;31", text)
    }

    fn styled(self, code: &str, text: &str) -> String {
        if self.rich && !text.is_empty() { format!("\u{1b}[{code}m{text}\u{1b}[0m") } else { text.to_owned() }
    }
}

/// Letters that a terminal would obey or that turn the reading direction, which somebody else's recipe has no business
/// with.
fn is_unsafe(letter: char) -> bool {
    letter.is_control() || matches!(letter, '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
}

/// Text on one line, without letters that a terminal would obey.
#[must_use]
pub fn plain(text: &str) -> Cow<'_, str> {
    if text.contains(is_unsafe) { Cow::Owned(text.replace(is_unsafe, " ")) } else { Cow::Borrowed(text) }
}

/// As [`plain`], but line ends stay.
#[must_use]
pub fn plain_lines(text: &str) -> String {
    text.replace(|letter| letter != '\n' && is_unsafe(letter), " ")
}

/// Breaks text into lines of at most `width` columns, between words where it can; never empty.
fn wrap(text: &str, width: usize) -> Vec<String> {
    let width = width.max(1);
    let text = plain(text);
    let mut lines = vec![String::new()];
    for word in text.split_whitespace().flat_map(|word| pieces(word, width)) {
        match lines.last_mut() {
            Some(line) if line.is_empty() => line.push_str(&word),
            Some(line) if line.width() + 1 + word.width() <= width => {
                line.push(' ');
                line.push_str(&word);
            }
            _ => lines.push(word),
        }
    }
    lines
}

/// A word in pieces that fit.
fn pieces(word: &str, width: usize) -> Vec<String> {
    let mut pieces = Vec::new();
    let (mut piece, mut used) = (String::new(), 0);
    for letter in word.chars() {
        let wide = letter.width().unwrap_or(0);
        if used + wide > width && !piece.is_empty() {
            pieces.push(std::mem::take(&mut piece));
            used = 0;
        }
        piece.push(letter);
        used += wide;
    }
    pieces.push(piece);
    pieces
}

/// A text with its first line after `head` and the rest below it.
fn hanging(head: &str, text: &str, width: usize) -> Vec<String> {
    let indent = head.width();
    let lines = wrap(text, width.saturating_sub(indent));
    let heads = std::iter::once(head.to_owned()).chain(std::iter::repeat(" ".repeat(indent)));
    lines.iter().zip(heads).map(|(line, head)| format!("{head}{line}").trim_end().to_owned()).collect()
}

/// On which side of its column a text stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Side {
    Left,
    Right,
}

/// One cell of a row: its text, its column's width, and its side.
struct Cell<'t>(&'t str, usize, Side);

/// Lays cells out side by side, two spaces apart; a cell too long for its column goes on below.
fn row(head: &str, cells: &[Cell<'_>]) -> Vec<String> {
    let wrapped: Vec<Vec<String>> = cells.iter().map(|Cell(text, width, _)| wrap(text, *width)).collect();
    let height = wrapped.iter().map(Vec::len).max().unwrap_or(0);
    let line = |at: usize| {
        let texts = wrapped.iter().map(|lines| lines.get(at).map_or("", String::as_str));
        let padded: Vec<String> = cells.iter().zip(texts).map(|(cell, text)| pad(text, cell.1, cell.2)).collect();
        let head = if at == 0 { head.to_owned() } else { " ".repeat(head.width()) };
        format!("{head}{}", padded.join("  ")).trim_end().to_owned()
    };
    (0..height).map(line).collect()
}

fn pad(text: &str, width: usize, side: Side) -> String {
    let space = " ".repeat(width.saturating_sub(text.width()));
    match side {
        Side::Left => format!("{text}{space}"),
        Side::Right => format!("{space}{text}"),
    }
}

/// A section's name as a head has it.
fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn wrapping_keeps_words_and_width() {
        let table: [(&str, usize, &[&str]); 5] = [
            ("", 5, &[""]),
            ("two cans", 8, &["two cans"]),
            ("two cans", 7, &["two", "cans"]),
            ("abcdefgh", 3, &["abc", "def", "gh"]),
            ("crème \u{1b}[31m fraîche", 20, &["crème [31m fraîche"]),
        ];
        for (text, width, want) in table {
            assert_eq!(wrap(text, width), want, "{text:?} at {width}");
        }
    }

    proptest::proptest! {
        #[test]
        fn no_line_is_wider_than_asked(text in "\\PC{0,60}", width in 2_usize..40) {
            for line in wrap(&text, width) {
                proptest::prop_assert!(line.width() <= width, "{line:?}");
            }
        }
    }
}
