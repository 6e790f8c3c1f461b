//! The nearest of the words that would be right.

use std::fmt;

/// Words longer than this are cut before they are compared, so that no input makes the comparison slow.
const LONGEST: usize = 64;

/// What would be right in the place of a word that is not: the nearest, and all of them.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Near {
    nearest: Option<(String, usize)>,
    known: Vec<String>,
}

impl Near {
    /// Compares a word with all that would be right.
    #[must_use]
    pub fn new<'a>(word: &str, known: impl IntoIterator<Item = &'a str>) -> Self {
        let known: Vec<String> = known.into_iter().map(str::to_owned).collect();
        let nearest = known
            .iter()
            .map(|candidate| (candidate.clone(), distance(word, candidate)))
            .min_by(|(a, one), (b, other)| one.cmp(other).then_with(|| a.cmp(b)));
        Self { nearest, known }
    }

    /// Whether the word compared is a slip of the pen away from one that would be right.
    pub(crate) fn is_slip(&self, word: &str) -> bool {
        self.nearest.as_ref().is_some_and(|(_, steps)| is_slip(word, *steps))
    }

    /// The nearest of the words that would be right, where there are any.
    #[must_use]
    pub fn nearest(&self) -> Option<&str> {
        self.nearest.as_ref().map(|(word, _)| word.as_str())
    }
}

/// `did you mean ...?` where a slip of the pen is likely; else the nearest, and what else there is.
impl fmt::Display for Near {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match &self.nearest {
            None => f.write_str("there is none yet"),
            Some((word, steps)) if is_slip(word, *steps) => write!(f, "did you mean `{word}`?"),
            Some((word, _)) if self.known.len() == 1 => write!(f, "there is only `{word}`"),
            Some((word, _)) => write!(f, "the nearest is `{word}` of {}", shorten(&self.known)),
        }
    }
}

/// Whether so many edits are few enough for a word to be meant.
pub(crate) fn is_slip(word: &str, steps: usize) -> bool {
    steps * 3 <= word.chars().count() + 1
}

fn shorten(words: &[String]) -> String {
    const MOST: usize = 24;
    let shown = words.iter().take(MOST).map(String::as_str).collect::<Vec<_>>().join(", ");
    if words.len() > MOST { format!("{shown} and {} more", words.len() - MOST) } else { shown }
}

/// How many letters must be put in, taken out, changed or swapped with their neighbour to make one word of the other,
/// in small letters.
pub(crate) fn distance(one: &str, other: &str) -> usize {
    let letters = |text: &str| text.chars().take(LONGEST).flat_map(char::to_lowercase).collect::<Vec<char>>();
    let (one, other) = (letters(one), letters(other));
    let mut before: Vec<usize> = Vec::new();
    let mut last: Vec<usize> = (0..=other.len()).collect();
    let mut left = None;
    for (row, a) in one.iter().enumerate() {
        let next = next_row(row + 1, *a, left, &other, &before, &last);
        before = std::mem::replace(&mut last, next);
        left = Some(*a);
    }
    last.last().copied().unwrap_or_default()
}

fn next_row(row: usize, a: char, left: Option<char>, other: &[char], before: &[usize], last: &[usize]) -> Vec<usize> {
    let at = |cells: &[usize], column: usize| cells.get(column).copied().unwrap_or(usize::MAX / 2);
    let mut next = vec![row];
    for (column, b) in other.iter().enumerate() {
        let changed = at(last, column) + usize::from(a != *b);
        let mut least = changed.min(at(last, column + 1) + 1).min(at(&next, column) + 1);
        let swapped = column > 0 && left == Some(*b) && other.get(column - 1) == Some(&a);
        if swapped {
            least = least.min(at(before, column - 1) + 1);
        }
        next.push(least);
    }
    next
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn distances() {
        for (one, other, steps) in [
            ("budget", "budget", 0),
            ("buget", "budget", 1),
            ("bugdet", "budget", 1),
            ("Budget", "budget", 0),
            ("", "name", 4),
            ("portion", "portions", 1),
            ("kitten", "sitting", 3),
        ] {
            assert_eq!(distance(one, other), steps, "{one} {other}");
            assert_eq!(distance(other, one), steps, "{other} {one}");
        }
    }

    #[test]
    fn says_the_nearest_always() {
        assert_eq!(Near::new("buget", ["name", "budget"]).to_string(), "did you mean `budget`?");
        assert_eq!(Near::new("colour", ["name", "short"]).to_string(), "the nearest is `short` of name, short");
        assert_eq!(Near::new("x", []).to_string(), "there is none yet");
    }
}
