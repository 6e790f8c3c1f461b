//! Finding a food by what a person calls it.

use std::cmp::Reverse;

use crate::catalog::WordId;
use crate::fold::fold;
use crate::line::words::Class;
use crate::{Catalog, FoodIx, Found};

/// The most words that a phrase is looked up with; no name is longer.
const MOST_WORDS: usize = 12;
/// Shorter words are too near to each other for a slip to be told from another word.
const LEAST_TO_MEND: usize = 5;

impl Catalog {
    /// What a text stands for: a name exactly (own foods first), then in another order, then without words that do not
    /// change the food (`large`, `ripe`), then with one slip of the pen mended where that leaves a single food. A word
    /// that changes the food (`canned`, `boneless`) is never dropped.
    #[must_use]
    pub fn find(&self, text: &str) -> Option<Found> {
        let folded = fold(text);
        let words: Vec<&str> = folded.split(' ').filter(|word| !word.is_empty()).collect();
        self.find_words(&self.ids(&words)).or_else(|| self.mend(&words))
    }

    /// As [`Catalog::find`], but a slip of the pen is not mended.
    #[must_use]
    pub fn find_as_written(&self, text: &str) -> Option<Found> {
        let folded = fold(text);
        let words: Vec<&str> = folded.split(' ').filter(|word| !word.is_empty()).collect();
        self.find_words(&self.ids(&words))
    }

    fn ids(&self, words: &[&str]) -> Vec<WordId> {
        words.iter().map(|word| self.lexicon.id_of(word)).collect()
    }

    /// A name by its words; neutral words may be dropped.
    pub(crate) fn find_words(&self, words: &[WordId]) -> Option<Found> {
        if words.is_empty() || words.len() > MOST_WORDS {
            return None;
        }
        self.named(words).or_else(|| self.named_without_neutral(words))
    }

    /// A name by its words, in their order or in another.
    pub(crate) fn named(&self, words: &[WordId]) -> Option<Found> {
        if words.len() > MOST_WORDS || words.contains(&WordId::UNKNOWN) {
            return None;
        }
        self.exact.get(words).copied().or_else(|| self.in_any_order(words))
    }

    fn in_any_order(&self, words: &[WordId]) -> Option<Found> {
        if words.len() < 2 {
            return None;
        }
        let mut sorted = Phrase::default();
        words.iter().filter(|word| !self.lexicon.is_of(**word)).for_each(|word| sorted.push(*word));
        sorted.as_mut_slice().sort_unstable();
        self.unordered.get(sorted.as_slice()).copied().flatten()
    }

    /// Without what is neutral: first all but `fresh` and `raw`, which a name may have to tell it from the dried food,
    /// then without those too, where the food found has not been kept.
    fn named_without_neutral(&self, words: &[WordId]) -> Option<Found> {
        // A name may have a neutral word in it (`long-grain rice`): those before it go first.
        let leading = (0..words.len()).take_while(|at| self.is_neutral(words, *at)).count();
        let one_by_one = (1..leading).filter(|from| !words.iter().take(*from).any(|word| self.lexicon.is_fresh(*word)));
        if let Some(found) = one_by_one.filter_map(|from| words.get(from..)).find_map(|rest| self.named(rest)) {
            return Some(found);
        }
        let (mut some, mut all) = (Phrase::default(), Phrase::default());
        for (at, word) in words.iter().enumerate() {
            if !self.is_neutral(words, at) {
                some.push(*word);
                all.push(*word);
            } else if self.lexicon.is_fresh(*word) {
                some.push(*word);
            }
        }
        if some.len() < words.len()
            && let Some(found) = self.named(some.as_slice())
        {
            return Some(found);
        }
        if all.len() < some.len()
            && let Some(found) = self.named(all.as_slice())
        {
            return (!self.is_kept(found.food)).then_some(found);
        }
        self.named_without_whole(all.as_slice())
    }

    /// `whole` says nothing of a vegetable or a nut; of milk, wheat or a chicken it does.
    fn named_without_whole(&self, words: &[WordId]) -> Option<Found> {
        let mut rest = Phrase::default();
        words.iter().filter(|word| !self.lexicon.is_whole(**word)).for_each(|word| rest.push(*word));
        if rest.len() == words.len() {
            return None;
        }
        self.named(rest.as_slice()).filter(|found| matches!(self.get(found.food).section.as_str(), "produce" | "nuts"))
    }

    fn is_neutral(&self, words: &[WordId], at: usize) -> bool {
        let id = |at: Option<usize>| at.and_then(|at| words.get(at)).copied();
        let pair = |first, second| self.lexicon.is_neutral_pair(first, second);
        let word = id(Some(at)).unwrap_or(WordId::UNKNOWN);
        let class = |id: Option<WordId>| id.map(|id| self.lexicon.class(id)).unwrap_or_default();
        let next = id(at.checked_add(1));
        class(Some(word)).is(Class::NEUTRAL)
            || (class(Some(word)).is(Class::DEGREE) && class(next).is(Class::NEUTRAL.and(Class::DEGREE)))
            || (class(Some(word)).is(Class::PAIR)
                && (next.is_some_and(|next| pair(word, next))
                    || id(at.checked_sub(1)).is_some_and(|before| pair(before, word))))
    }

    /// Whether the food has been kept by its name: dried, ground, canned.
    pub(crate) fn is_kept(&self, ix: FoodIx) -> bool {
        self.kept.get(ix.at()).copied().unwrap_or(false)
    }

    /// The one food whose name is one slip of the pen away: a letter too many, too few, another, or two exchanged, in
    /// one word of five letters or more that nothing is called by.
    pub(crate) fn mend(&self, words: &[&str]) -> Option<Found> {
        let mut ids = Phrase::default();
        words.iter().take(MOST_WORDS + 1).for_each(|word| ids.push(self.lexicon.id_of(word)));
        let mut unknown = (0..ids.len()).filter(|at| ids.as_slice().get(*at) == Some(&WordId::UNKNOWN));
        let (Some(at), None) = (unknown.next(), unknown.next()) else { return None };
        let wrong = words.get(at)?;
        if words.len() > MOST_WORDS || wrong.chars().count() < LEAST_TO_MEND {
            return None;
        }
        let mut only: Option<Found> = None;
        for (right, id) in self.lexicon.words_near(wrong.len()) {
            if !is_one_slip(wrong, right) {
                continue;
            }
            *ids.as_mut_slice().get_mut(at)? = id;
            match (self.find_words(ids.as_slice()), only) {
                (Some(found), Some(before)) if found.food != before.food => return None,
                (Some(found), _) => only = Some(found),
                (None, _) => {}
            }
        }
        only
    }

    /// Foods whose names are near a text, to offer to a person, best first: by the words they share, then by letters.
    /// Never assumed to be what was meant.
    #[must_use]
    pub fn near(&self, text: &str, most: usize) -> Vec<FoodIx> {
        let folded = fold(text);
        let wanted: Vec<&str> = folded.split(' ').filter(|word| !word.is_empty()).take(MOST_WORDS).collect();
        let mut scored: Vec<(Reverse<usize>, &str, FoodIx)> = Vec::new();
        for (ix, food) in self.foods() {
            let names = std::iter::once(&food.name).chain(&food.also);
            let best = names.map(|name| nearness(&wanted, &fold(name))).max().unwrap_or(0);
            if best >= LEAST_NEAR {
                scored.push((Reverse(best), &food.name, ix));
            }
        }
        scored.sort_unstable();
        scored.into_iter().take(most).map(|(_, _, ix)| ix).collect()
    }
}

/// Below this, of 1,000, a name is not worth offering.
const LEAST_NEAR: usize = 400;

/// How near a name is to the words wanted, 0 to 1,000.
fn nearness(wanted: &[&str], name: &str) -> usize {
    let words: Vec<&str> = name.split(' ').collect();
    let best = |word: &&str| words.iter().map(|other| word_nearness(word, other)).max().unwrap_or(0);
    let sum: usize = wanted.iter().map(best).sum();
    2 * sum / (wanted.len() + words.len()).max(1)
}

fn word_nearness(a: &str, b: &str) -> usize {
    if a == b {
        return 1000;
    }
    let longest = a.chars().count().max(b.chars().count());
    if !(3..=32).contains(&longest) {
        return 0;
    }
    let shortest = a.chars().count().min(b.chars().count());
    if shortest >= 3 && (a.starts_with(b) || b.starts_with(a)) {
        return 500 + 400 * shortest / longest;
    }
    let off = distance(a, b);
    if off * 3 <= longest { 900 - 900 * off / longest } else { 0 }
}

/// How many letters have to be added, dropped or changed to make the one the other.
fn distance(a: &str, b: &str) -> usize {
    let b: Vec<char> = b.chars().collect();
    let mut row: Vec<usize> = (0..=b.len()).collect();
    for (i, from) in a.chars().enumerate() {
        let mut diagonal = i;
        let mut left = i + 1;
        for (slot, to) in row.iter_mut().skip(1).zip(&b) {
            let changed = diagonal + usize::from(from != *to);
            diagonal = *slot;
            left = changed.min(left + 1).min(*slot + 1);
            *slot = left;
        }
        if let Some(first) = row.first_mut() {
            *first = i + 1;
        }
    }
    row.last().copied().unwrap_or(0)
}

/// Whether one slip leads from one word to the other: a letter too many, too few, another, or two neighbours exchanged.
fn is_one_slip(a: &str, b: &str) -> bool {
    let (a, b) = (a.as_bytes(), b.as_bytes());
    // One slip leaves one of the first two letters where it was, or beside it.
    let ([a1, a2, ..], [b1, b2, ..]) = (a, b) else { return false };
    if a.len().abs_diff(b.len()) > 1 || (a1 != b1 && a2 != b2 && a1 != b2 && a2 != b1) {
        return false;
    }
    let same = a.iter().zip(b).take_while(|(x, y)| x == y).count();
    let (a, b) = (a.get(same..).unwrap_or_default(), b.get(same..).unwrap_or_default());
    match (a, b) {
        ([a1, a2, rest_a @ ..], [b1, b2, rest_b @ ..]) if a1 == b2 && a2 == b1 && rest_a == rest_b => true,
        ([_, rest_a @ ..], [_, rest_b @ ..]) if a.len() == b.len() => rest_a == rest_b,
        ([_, rest @ ..], shorter) if a.len() > b.len() => rest == shorter,
        (shorter, [_, rest @ ..]) => rest == shorter,
        _ => false,
    }
}

/// A few words without an allocation; what does not fit is left off, and no name is that long.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Phrase {
    words: [WordId; MOST_WORDS + 1],
    len: usize,
}

impl Default for Phrase {
    fn default() -> Self {
        Self { words: [WordId::UNKNOWN; MOST_WORDS + 1], len: 0 }
    }
}

impl Phrase {
    pub(crate) fn push(&mut self, word: WordId) {
        if let Some(slot) = self.words.get_mut(self.len) {
            *slot = word;
            self.len += 1;
        }
    }

    pub(crate) const fn len(&self) -> usize {
        self.len
    }

    pub(crate) fn as_slice(&self) -> &[WordId] {
        self.words.get(..self.len).unwrap_or_default()
    }

    fn as_mut_slice(&mut self) -> &mut [WordId] {
        self.words.get_mut(..self.len).unwrap_or_default()
    }
}
