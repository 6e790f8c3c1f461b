//! A line in words, numbers and marks.

use trug_measure::{Exact, Unit};

use super::words::Class;
use crate::catalog::{Lexicon, WordId};
use crate::fold::{self, Kind as CharKind};

/// A line longer than this many tokens is no ingredient: the rest of it is kept as a note.
const MOST_TOKENS: usize = 240;

/// How a number is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Shape {
    /// Digits alone.
    Whole,
    /// With a point.
    Decimal,
    /// `1/2`, `½`.
    Fraction,
    /// `1½`.
    Mixed,
}

/// What a token is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    /// A word, folded.
    Word,
    /// A number in digits.
    Number(Exact, Shape),
    /// A mark that parts or joins; every dash is `-`, every bracket round.
    Mark(char),
}

/// A word, a number or a mark of a line.
#[derive(Debug, Clone, Copy)]
pub(super) struct Token {
    pub(super) kind: Kind,
    /// Where it stands in the line, in bytes.
    pub(super) start: usize,
    pub(super) end: usize,
    /// Where its folded text stands.
    fold: (usize, usize),
    pub(super) id: WordId,
    pub(super) class: Class,
    /// The unit that the word names, and how many of it (a decilitre is 100 ml).
    pub(super) unit: Option<(Unit, u16)>,
    /// A hyphen joins it to the word before it.
    joined: bool,
}

/// A line's tokens.
pub(super) struct Tokens<'a> {
    raw: &'a str,
    folded: String,
    pub(super) list: Vec<Token>,
    /// Where what was not taken apart begins.
    pub(super) rest: usize,
    /// The last character was a hyphen inside a word.
    hyphen: bool,
}

impl<'a> Tokens<'a> {
    /// Takes a line apart.
    pub(super) fn new(raw: &'a str, lexicon: &Lexicon) -> Self {
        let list = Vec::with_capacity(raw.len().min(600) / 4 + 4);
        let mut tokens =
            Self { raw, folded: String::with_capacity(raw.len().min(600) + 16), list, rest: 0, hyphen: false };
        while tokens.list.len() < MOST_TOKENS {
            if raw.as_bytes().get(tokens.rest) == Some(&b' ') {
                tokens.rest += 1;
                continue;
            }
            let Some(c) = tokens.peek(0) else { break };
            tokens.next(c, lexicon);
        }
        tokens
    }

    fn peek(&self, ahead: usize) -> Option<char> {
        self.raw.get(self.rest..)?.chars().nth(ahead)
    }

    fn next(&mut self, c: char, lexicon: &Lexicon) {
        if c.is_ascii_alphabetic() {
            return self.word(lexicon);
        }
        let starts_number = c.is_ascii_digit()
            || vulgar(c).is_some()
            || (c == '.' && self.peek(1).is_some_and(|next| next.is_ascii_digit()) && !self.follows_digit());
        if starts_number {
            return self.number(lexicon);
        }
        match fold::kind(c) {
            CharKind::Letter => self.word(lexicon),
            CharKind::Word(word) => {
                let start = self.rest;
                self.rest += c.len_utf8();
                self.push_word(start, word, lexicon);
            }
            CharKind::Nothing => self.rest += c.len_utf8(),
            CharKind::Gap => self.mark(c),
        }
    }

    fn follows_digit(&self) -> bool {
        self.list.last().is_some_and(|last| last.end == self.rest && matches!(last.kind, Kind::Number(..)))
    }

    fn mark(&mut self, c: char) {
        let mark = match c {
            '-' | '\u{2010}'..='\u{2015}' | '\u{2212}' | '\u{fe58}' | '\u{fe63}' | '\u{ff0d}' => '-',
            '(' | '[' | '{' => '(',
            ')' | ']' | '}' => ')',
            ',' | '\u{ff0c}' | '\u{3001}' => ',',
            ';' => ';',
            ':' | '\u{ff1a}' => ':',
            '/' | '|' | '\u{2044}' | '\u{2215}' => '/',
            '+' | '~' | '"' | '#' | '×' | '*' => c,
            '\u{2033}' | '\u{201d}' => '"',
            _ => {
                self.rest += c.len_utf8();
                return;
            }
        };
        let start = self.rest;
        self.rest += c.len_utf8();
        // A hyphen inside a word parts it and says no more.
        let before = self.list.last().is_some_and(|last| last.end == start && last.kind == Kind::Word);
        if mark == '-'
            && before
            && self.peek(0).is_some_and(|next| fold::kind(next) == CharKind::Letter && !next.is_ascii_digit())
        {
            self.hyphen = true;
            return;
        }
        self.push(Kind::Mark(mark), start, (0, 0));
    }

    fn word(&mut self, lexicon: &Lexicon) {
        let start = self.rest;
        let at = self.folded.len();
        self.plain_letters();
        if matches!(
            self.raw.as_bytes().get(self.rest),
            None | Some(b' ' | b',' | b'-' | b'(' | b')' | b';' | b':' | b'.')
        ) {
            fold::settle(&mut self.folded, at);
            return self.finish(start, at, lexicon);
        }
        let text = self.raw.get(self.rest..).unwrap_or_default();
        for c in text.chars() {
            match fold::kind(c) {
                // `2x400g` is a number, a cross and a number.
                CharKind::Letter if c.is_ascii_digit() && self.folded.get(at..) == Some("x") => break,
                CharKind::Letter => fold::push_folded(&mut self.folded, c),
                CharKind::Nothing => {}
                CharKind::Word(_) | CharKind::Gap => break,
            }
            self.rest += c.len_utf8();
        }
        fold::settle(&mut self.folded, at);
        self.finish(start, at, lexicon);
    }

    /// The letters that a word begins with, where they have no accents: most words are nothing else.
    fn plain_letters(&mut self) {
        let at = self.folded.len();
        let text = self.raw.get(self.rest..).unwrap_or_default();
        let letters = text.bytes().take_while(u8::is_ascii_alphabetic).count();
        self.folded.push_str(text.get(..letters).unwrap_or_default());
        if let Some(word) = self.folded.get_mut(at..) {
            word.make_ascii_lowercase();
        }
        self.rest += letters;
    }

    fn push_word(&mut self, start: usize, word: &str, lexicon: &Lexicon) {
        let at = self.folded.len();
        self.folded.push_str(word);
        self.finish(start, at, lexicon);
    }

    fn finish(&mut self, start: usize, at: usize, lexicon: &Lexicon) {
        let fold = (at, self.folded.len());
        self.push(Kind::Word, start, fold);
        let known = lexicon.lookup(self.folded.get(at..).unwrap_or_default());
        if let (Some(token), Some((id, class, unit))) = (self.list.last_mut(), known) {
            (token.id, token.class, token.unit) = (id, class, unit);
        }
    }

    fn push(&mut self, kind: Kind, start: usize, fold: (usize, usize)) {
        let (id, class) = (WordId::UNKNOWN, Class::default());
        let joined = std::mem::take(&mut self.hyphen);
        self.list.push(Token { kind, start, end: self.rest, fold, id, class, unit: None, joined });
    }

    /// Reads `12`, `1,000`, `2.5`, `1,5`, `1/2`, `½`, `1½`; more digits than a kitchen can mean read as nothing.
    fn number(&mut self, lexicon: &Lexicon) {
        let start = self.rest;
        let (mut value, mut shape) = (Exact::ZERO, Shape::Fraction);
        if self.peek(0).and_then(vulgar).is_none() {
            (value, shape) = self.decimal();
            if shape == Shape::Whole
                && let Some(below) = self.denominator()
            {
                (value, shape) = (value / below, Shape::Fraction);
            }
        }
        if let Some((c, part)) = self.peek(0).and_then(|c| Some((c, vulgar(c)?)))
            && matches!(shape, Shape::Whole | Shape::Fraction)
        {
            self.rest += c.len_utf8();
            shape = if value.is_zero() { Shape::Fraction } else { Shape::Mixed };
            value = value + part;
        }
        let at = self.folded.len();
        self.folded.push_str(self.raw.get(start..self.rest).unwrap_or_default());
        self.push(Kind::Number(value, shape), start, (at, self.folded.len()));
        if shape == Shape::Whole
            && let (Some(token), Some(text)) = (self.list.last_mut(), self.folded.get(at..))
        {
            token.id = lexicon.id_of(text);
        }
    }

    fn decimal(&mut self) -> (Exact, Shape) {
        let bytes = self.raw.as_bytes();
        let digits_from = |at: usize| bytes.iter().skip(at).take_while(|b| b.is_ascii_digit()).count();
        let plain = digits_from(self.rest);
        // Most numbers have a digit or two and nothing else.
        if plain < 10 && !matches!(bytes.get(self.rest + plain), Some(b'.' | b',')) {
            let digits = bytes.iter().skip(self.rest).take(plain);
            let value = digits.fold(0, |sum, digit| sum * 10 + i64::from(digit - b'0'));
            self.rest += plain;
            return (Exact::whole(value), Shape::Whole);
        }
        let (mut at, mut text, mut shape) = (self.rest, String::new(), Shape::Whole);
        let mut take = |at: &mut usize, n: usize| {
            text.push_str(self.raw.get(*at..*at + n).unwrap_or_default());
            *at += n;
        };
        let whole = digits_from(at);
        take(&mut at, whole);
        // A comma before exactly three digits groups thousands; before one or two it is a decimal comma.
        while whole > 0 && whole < 4 && bytes.get(at) == Some(&b',') && digits_from(at + 1) == 3 {
            at += 1;
            take(&mut at, 3);
        }
        let fraction = match bytes.get(at) {
            Some(b'.') => digits_from(at + 1),
            Some(b',') => Some(digits_from(at + 1)).filter(|n| *n < 3).unwrap_or(0),
            _ => 0,
        };
        if fraction > 0 {
            text.push('.');
            at += 1;
            text.push_str(self.raw.get(at..at + fraction).unwrap_or_default());
            at += fraction;
            shape = Shape::Decimal;
        }
        self.rest = at;
        (text.parse().unwrap_or_default(), shape)
    }

    /// What stands below a slash, right after digits; nothing where it is 0 or too long, so that the number is nothing.
    fn denominator(&mut self) -> Option<Exact> {
        let slash = self.peek(0).filter(|c| matches!(c, '/' | '\u{2044}' | '\u{2215}'))?;
        let text = self.raw.get(self.rest + slash.len_utf8()..)?;
        let digits = text.bytes().take_while(u8::is_ascii_digit).count();
        if digits == 0 {
            return None;
        }
        self.rest += slash.len_utf8() + digits;
        Some(text.get(..digits)?.parse().unwrap_or_default())
    }

    /// The token at a place.
    pub(super) fn at(&self, at: usize) -> Option<&Token> {
        self.list.get(at)
    }

    /// The folded text of a token; empty for a mark.
    pub(super) fn fold(&self, at: usize) -> &str {
        self.list.get(at).and_then(|token| self.folded.get(token.fold.0..token.fold.1)).unwrap_or_default()
    }

    /// Whether the token is this word.
    pub(super) fn is(&self, at: usize, word: &str) -> bool {
        self.fold(at) == word
    }

    /// Whether the token is one of these words.
    pub(super) fn is_any(&self, at: usize, words: &[&str]) -> bool {
        words.contains(&self.fold(at))
    }

    /// Whether the token is this mark.
    pub(super) fn is_mark(&self, at: usize, mark: char) -> bool {
        self.list.get(at).is_some_and(|token| token.kind == Kind::Mark(mark))
    }

    /// Whether the token is of a class.
    pub(super) fn has(&self, at: usize, class: Class) -> bool {
        self.list.get(at).is_some_and(|token| token.class.is(class))
    }

    /// Whether no space stands between a token and the one before it.
    pub(super) fn is_glued(&self, at: usize) -> bool {
        let before = at.checked_sub(1).and_then(|before| self.list.get(before));
        before.zip(self.list.get(at)).is_some_and(|(before, token)| before.end == token.start)
    }

    /// Whether a hyphen joins a token to the word before it: `torn` of `hand-torn`.
    pub(super) fn is_joined(&self, at: usize) -> bool {
        self.list.get(at).is_some_and(|token| token.joined)
    }

    /// A token as it is written.
    pub(super) fn written(&self, at: usize) -> &'a str {
        self.list.get(at).and_then(|token| self.raw.get(token.start..token.end)).unwrap_or_default()
    }

    /// The text from one token to another, both included.
    pub(super) fn span(&self, first: usize, last: usize) -> &'a str {
        let ends = self.list.get(first).zip(self.list.get(last));
        ends.and_then(|(first, last)| self.raw.get(first.start..last.end)).unwrap_or_default()
    }

    /// The text of tokens; a single space where one is left out between them.
    pub(super) fn text(&self, tokens: &[usize]) -> String {
        self.joined_text(tokens, false)
    }

    /// The text of tokens, with the commas that stand between them.
    pub(super) fn text_with_commas(&self, tokens: &[usize]) -> String {
        self.joined_text(tokens, true)
    }

    fn joined_text(&self, tokens: &[usize], commas: bool) -> String {
        let longest = tokens.first().zip(tokens.last()).map_or(0, |(first, last)| self.span(*first, *last).len());
        let mut out = String::with_capacity(longest);
        let mut last = usize::MAX;
        let mut from = 0;
        while let Some(first) = tokens.get(from) {
            let run = tokens.iter().skip(from).zip(*first..).take_while(|(token, at)| **token == *at).count().max(1);
            if !out.is_empty() {
                let comma = commas && *first == last + 2 && self.is_mark(last + 1, ',');
                out.push_str(if comma { ", " } else { " " });
            }
            last = first + run - 1;
            out.push_str(self.span(*first, last));
            from += run;
        }
        out
    }
}

/// A fraction that is one character.
fn vulgar(c: char) -> Option<Exact> {
    if c.is_ascii() {
        return None;
    }
    let (num, den) = match c {
        '½' => (1, 2),
        '⅓' => (1, 3),
        '⅔' => (2, 3),
        '¼' => (1, 4),
        '¾' => (3, 4),
        '⅕' => (1, 5),
        '⅖' => (2, 5),
        '⅗' => (3, 5),
        '⅘' => (4, 5),
        '⅙' => (1, 6),
        '⅚' => (5, 6),
        '⅐' => (1, 7),
        '⅛' => (1, 8),
        '⅜' => (3, 8),
        '⅝' => (5, 8),
        '⅞' => (7, 8),
        '⅑' => (1, 9),
        '⅒' => (1, 10),
        _ => return None,
    };
    Some(Exact::new(num, den))
}
