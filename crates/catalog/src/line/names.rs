//! Which of a line's words are the food, and which say what was done to it.

use trug_measure::Unit;

use super::token::{Kind, Tokens};
use super::words::{Class, SIDES};
use crate::catalog::WordId;
use crate::lookup::Phrase;
use crate::{Catalog, Found};

/// No name has more words, prep among them; what is longer is not searched.
const MOST_WORDS: usize = 16;

/// A food's words told apart from its preps.
#[derive(Debug, Clone, Default)]
pub(super) struct Named {
    pub(super) found: Option<Found>,
    pub(super) slip: bool,
    /// The food's words.
    pub(super) food: Vec<usize>,
    /// Preps before the name.
    pub(super) before: Vec<usize>,
    /// What follows the name without a comma.
    pub(super) after: Vec<usize>,
    /// Words of `food` that tell measures apart although the name goes without them.
    pub(super) tellers: Vec<usize>,
}

/// The preps before a name, from the left.
struct Preps {
    dropped: Vec<usize>,
    /// Where the first prep ends in `dropped`, where the second, and so on.
    ends: Vec<usize>,
}

impl Preps {
    /// No prep, then the first one, then two, and so on.
    fn groups(&self) -> impl DoubleEndedIterator<Item = &[usize]> {
        let ends = std::iter::once(0).chain(self.ends.iter().copied());
        ends.map(|end| self.dropped.get(..end).unwrap_or_default())
    }

    /// All preps; none where a joining word at the end leads to no further one.
    fn all(mut self) -> Vec<usize> {
        self.dropped.truncate(self.ends.last().copied().unwrap_or(0));
        self.dropped
    }
}

/// Finds foods in a line's words.
pub(super) struct Namer<'a, 'b> {
    pub(super) catalog: &'a Catalog,
    pub(super) t: &'b Tokens<'a>,
}

impl Namer<'_, '_> {
    /// The phrase of some tokens; marks say nothing.
    fn phrase(&self, tokens: impl Iterator<Item = usize>) -> Phrase {
        let mut phrase = Phrase::default();
        for at in tokens {
            if let Some(token) = self.t.at(at)
                && !matches!(token.kind, Kind::Mark(_))
            {
                phrase.push(token.id);
            }
        }
        phrase
    }

    /// A name in exactly these words, in some order.
    pub(super) fn exactly(&self, tokens: &[usize]) -> Option<Found> {
        if tokens.len() > MOST_WORDS {
            None
        } else {
            self.catalog.named(self.phrase(tokens.iter().copied()).as_slice())
        }
    }

    /// A name in exactly these words and this order.
    pub(super) fn in_order(&self, tokens: &[usize]) -> Option<Found> {
        self.catalog.exact.get(self.phrase(tokens.iter().copied()).as_slice()).copied()
    }

    fn find(&self, tokens: impl Iterator<Item = usize>) -> Option<Found> {
        self.catalog.find_words(self.phrase(tokens).as_slice())
    }

    /// Whether a word says what was done to the food. `ground` does so only after how (`freshly ground`).
    pub(super) fn is_prep(&self, at: usize) -> bool {
        self.t.has(at, Class::PREP)
            || (self.t.is(at, "ground") && at > 0 && (self.t.has(at - 1, Class::ADVERB) || self.t.is(at - 1, "fresh")))
    }

    /// Where a prep that begins here ends: `chopped`, `finely chopped`, `hand-torn`, `pan fried`, `cut-up`. A compound with
    /// a food in it says so only of what was cooked (`butter-poached`): `oil-packed` is another food, and `steel-cut`
    /// names the form bought.
    fn prep_end(&self, at: usize) -> Option<usize> {
        if !self.t.has(at, Class::PREP.and(Class::ADVERB).and(Class::TOOL)) && !self.t.is_joined(at + 1) {
            return self.is_prep(at).then_some(at + 1);
        }
        let mut last = at;
        while self.is_adverb(last) || (self.t.has(last, Class::TOOL) && !self.is_prep(last)) {
            last += 1;
        }
        let mut first = last;
        while self.t.is_joined(last + 1) {
            last += 1;
        }
        while first < last && (self.is_adverb(first) || self.t.has(first, Class::TOOL)) {
            first += 1;
        }
        if first < last && self.is_prep(first) && self.t.is_any(last, &["up", "over", "off", "down", "out"]) {
            return Some(last + 1);
        }
        let compound = first < last && !self.is_prep(first);
        let of_food = compound && !self.t.has(last, Class::COOKED) && self.is_food(first);
        let of_form = compound && self.t.is_any(last, &["cut", "packed", "split"]);
        (self.is_prep(last) && !of_food && !of_form).then_some(last + 1)
    }

    fn is_food(&self, at: usize) -> bool {
        self.t.is_any(at, &["brine", "syrup"])
            || self.t.at(at).is_some_and(|token| self.catalog.named(&[token.id]).is_some())
    }

    /// `on`, `in`, `off` of a form bought: `skin-on`, `bone in`.
    fn ends_form(&self, at: usize) -> bool {
        self.t.is_any(at, &["on", "in", "off"]) && at > 0 && self.t.is_any(at - 1, SIDES)
    }

    /// Whether all of these words say what was done.
    pub(super) fn only_preps(&self, tokens: &[usize]) -> bool {
        tokens.iter().all(|at| self.is_prep(*at) || self.is_adverb(*at) || self.t.is_any(*at, &["and", "or"]))
    }

    /// The food among these words: the longest name, trying them all first, then without the preps before it, then
    /// with preps after it. `None` where no name is there.
    pub(super) fn resolve(&self, tokens: &[usize]) -> Option<Named> {
        let n = tokens.len();
        if n == 0 || n > MOST_WORDS {
            return None;
        }
        let preps = self.preps_before(tokens);
        for end in (1..=n).rev() {
            if end < n && !tokens.get(end).is_some_and(|at| self.may_follow(*at) && !self.t.is_joined(*at)) {
                continue;
            }
            for dropped in preps.groups() {
                let head = tokens.iter().take(end).copied().filter(|at| !dropped.contains(at));
                if let Some(found) = self.find(head) {
                    let dropped = self.more_preps(tokens, end, dropped, &preps, found);
                    let after = tokens.get(end..).unwrap_or_default().to_vec();
                    let food = tokens.iter().take(end).copied().filter(|at| !dropped.contains(at)).collect();
                    return Some(Named {
                        found: Some(found),
                        food,
                        before: dropped.to_vec(),
                        after,
                        ..Named::default()
                    });
                }
            }
        }
        self.resolve_loosely(tokens)
    }

    /// A name may have a prep in it (`pitted olives`); where it means the same food without, the prep is one. Not so for
    /// what is cooked or roasted: that is how it is bought.
    fn more_preps<'g>(
        &self,
        tokens: &[usize],
        end: usize,
        dropped: &'g [usize],
        preps: &'g Preps,
        found: Found,
    ) -> &'g [usize] {
        let longer = preps.groups().rev().filter(|group| group.len() > dropped.len());
        let same = |group: &&[usize]| {
            let mut named = group.iter().filter(|at| !dropped.contains(at));
            let bought_so = |at: &usize| {
                self.t.has(*at, Class::COOKED) || self.catalog.plain_name_has(found.food, self.t.fold(*at))
            };
            !named.any(bought_so)
                && self.find(tokens.iter().take(end).copied().filter(|at| !group.contains(at))) == Some(found)
        };
        longer.into_iter().find(same).unwrap_or(dropped)
    }

    /// Whether a word may follow a name without a comma: a prep, or what it comes in.
    fn may_follow(&self, at: usize) -> bool {
        self.is_prep(at)
            || self.t.has(at, Class::ADVERB)
            || (self.t.has(at, Class::TOOL) && self.prep_end(at).is_some())
            || !self.ends_form(at)
                && self.t.is_any(
                    at,
                    &["in", "on", "with", "at", "room", "and", "without", "left", "only", "about", "peeled", "mixed"],
                )
    }

    /// The preps before a name, from the left: first one, then two, and so on, each time all that are to be dropped.
    /// Sizes and words that name the form bought may stand between them.
    fn preps_before(&self, tokens: &[usize]) -> Preps {
        let (mut ends, mut dropped) = (Vec::new(), Vec::new());
        let mut i = 0;
        while let Some(at) = tokens.get(i).copied() {
            let words = self.prep_end(at).map_or(0, |end| tokens.iter().skip(i).take_while(|at| **at < end).count());
            if words > 0 {
                dropped.extend(tokens.iter().skip(i).take(words));
                i += words;
                // `peeled and diced`: the joining word goes with them.
                if let (Some(join), Some(next)) = (tokens.get(i), tokens.get(i + 1))
                    && self.t.is_any(*join, &["and", "or", "then", "but"])
                    && self.prep_end(*next).is_some()
                {
                    dropped.push(*join);
                    i += 1;
                }
                ends.push(dropped.len());
            } else if self.is_modifier(at) {
                i += 1;
            } else {
                break;
            }
        }
        Preps { dropped, ends }
    }

    fn is_word(&self, at: usize) -> bool {
        self.t.at(at).is_some_and(|token| token.kind == Kind::Word)
    }

    fn is_adverb(&self, at: usize) -> bool {
        self.t.has(at, Class::ADVERB)
    }

    fn is_modifier(&self, at: usize) -> bool {
        self.t.has(at, Class::NEUTRAL)
            || self.t.has(at, Class::FORM)
            || self.t.has(at, Class::ADVERB)
            || matches!(self.t.at(at).map(|token| token.kind), Some(Kind::Mark(_)))
            || self.is_neutral_pair(at)
    }

    /// Whether a word and one beside it say together nothing of which food is meant: `day-old`.
    fn is_neutral_pair(&self, at: usize) -> bool {
        if !self.t.has(at, Class::PAIR) {
            return false;
        }
        let id = |at: usize| self.t.at(at).map_or(WordId::UNKNOWN, |token| token.id);
        let pair = |first, second| self.catalog.lexicon.is_neutral_pair(id(first), id(second));
        pair(at, at + 1) || at.checked_sub(1).is_some_and(|before| pair(before, at))
    }

    /// Whether all of these words only describe: the food is still to come (`boneless, skinless chicken thighs`).
    pub(super) fn only_describes(&self, tokens: &[usize]) -> bool {
        tokens.iter().all(|at| {
            self.is_modifier(*at)
                || self.is_prep(*at)
                || self.t.is_any(*at, &["and", "or", "in", "on", "then", "the", "of", "but"])
        })
    }

    /// With preps dropped wherever they stand, with `dried` for `dry`, without the piece after the name, without how
    /// fat a meat is.
    fn resolve_loosely(&self, tokens: &[usize]) -> Option<Named> {
        let preps = self.preps_anywhere(tokens);
        let food: Vec<usize> = tokens.iter().copied().filter(|at| !preps.contains(at)).collect();
        if !preps.is_empty()
            && let Some(found) = self.find(food.iter().copied())
        {
            return Some(Named { found: Some(found), food, before: preps, ..Named::default() });
        }
        let found = self
            .as_dried(&food)
            .or_else(|| self.without_fat(&food))
            .or_else(|| self.bare_part(&food))
            .or_else(|| self.without_skin(&food));
        if let Some(found) = found {
            return Some(Named { found: Some(found), food, before: preps, ..Named::default() });
        }
        self.without_piece(tokens)
    }

    fn preps_anywhere(&self, tokens: &[usize]) -> Vec<usize> {
        let mut preps = Vec::new();
        let mut until = 0;
        for at in tokens {
            if *at >= until
                && let Some(end) = self.prep_end(*at)
            {
                until = end;
            }
            if *at < until || self.is_prep(*at) {
                preps.push(*at);
            }
        }
        preps
    }

    /// `boneless, skin-on chicken thighs`: where no name says how it is skinned, that makes no other food.
    fn without_skin(&self, tokens: &[usize]) -> Option<Found> {
        let of_skin = |at: &usize| {
            self.t.is(*at, "skinless")
                || (self.t.is(*at, "skin") && self.t.is_any(*at + 1, &["on", "off"]))
                || (self.t.is_any(*at, &["on", "off"]) && *at > 0 && self.t.is(*at - 1, "skin"))
        };
        let rest = tokens.iter().copied().filter(|at| !of_skin(at));
        if tokens.iter().any(of_skin) { self.find(rest) } else { None }
    }

    fn as_dried(&self, tokens: &[usize]) -> Option<Found> {
        let mut phrase = Phrase::default();
        let mut changed = false;
        for at in tokens {
            let is_dry = self.t.is(*at, "dry");
            changed |= is_dry;
            phrase.push(if is_dry { self.catalog.lexicon.id_of("dried") } else { self.t.at(*at)?.id });
        }
        if changed { self.catalog.find_words(phrase.as_slice()) } else { None }
    }

    /// `85% lean ground beef`, `80/20 ground chuck`: the share of fat is not part of any name.
    fn without_fat(&self, tokens: &[usize]) -> Option<Found> {
        let is_number = |at: &usize| self.t.at(*at).is_some_and(|token| matches!(token.kind, Kind::Number(..)));
        let has_ratio = tokens.iter().any(|at| is_number(at) && self.t.written(*at).contains('/'));
        let lean = tokens.iter().any(|at| self.t.is(*at, "lean"));
        if !tokens.iter().any(is_number) || !(has_ratio || lean) {
            return None;
        }
        self.find(tokens.iter().copied().filter(|at| !is_number(at) && !self.t.is(*at, "percent")))
    }

    /// `4 yolks`: of eggs.
    fn bare_part(&self, tokens: &[usize]) -> Option<Found> {
        let words: Vec<usize> = tokens.iter().copied().filter(|at| !self.t.has(*at, Class::NEUTRAL)).collect();
        let [only] = words.as_slice() else { return None };
        if !self.t.is_any(*only, &["yolk", "white"]) {
            return None;
        }
        self.catalog.named(&[self.catalog.lexicon.id_of("egg"), self.t.at(*only)?.id])
    }

    /// `broccoli florets`, `basil leaves`: the food without the piece.
    fn without_piece(&self, tokens: &[usize]) -> Option<Named> {
        let at =
            tokens.iter().rposition(|at| self.t.has(*at, Class::PIECE) && !self.is_prep(*at)).filter(|at| *at > 0)?;
        let after = tokens.get(at + 1..)?;
        if !after.first().is_none_or(|at| self.may_follow(*at)) {
            return None;
        }
        let head = tokens.get(..at)?;
        let mut named = self.resolve(head).filter(|named| named.after.is_empty() && !self.is_fluid(named))?;
        let piece = *tokens.get(at)?;
        named.food.push(piece);
        named.tellers.push(piece);
        named.after = after.to_vec();
        Some(named)
    }

    /// What pours has no pieces: stock cubes are not stock.
    fn is_fluid(&self, named: &Named) -> bool {
        named.found.is_some_and(|found| found.part.is_none() && self.catalog.get(found.food).is_fluid())
    }

    /// `cilantro leaves and tender stems`: the food before what joins it to more.
    fn resolve_start(&self, tokens: &[usize]) -> Option<Named> {
        let joins = |at: &usize| self.t.is_any(*at, &["and", "with", "in", "on", "without"]);
        let at = tokens.iter().skip(1).position(joins)? + 1;
        let (head, after) = tokens.split_at_checked(at)?;
        let mut named = self.resolve(head)?;
        named.after.extend(after);
        Some(named)
    }

    /// The food's words where nothing is called so: what is left without the preps before and after it. One slip of the
    /// pen may be mended.
    pub(super) fn unknown(&self, tokens: &[usize]) -> Named {
        if let Some(named) = self.resolve_start(tokens) {
            return named;
        }
        let before = self.preps_before(tokens).all();
        let rest: Vec<usize> = tokens.iter().copied().filter(|at| !before.contains(at)).collect();
        if rest.is_empty() {
            return Named { food: tokens.to_vec(), ..Named::default() };
        }
        let soft = |at: &usize| {
            !self.t.is_joined(*at)
                && !self.ends_form(*at)
                && (self.is_prep(*at) || self.t.is_any(*at, &["with", "in", "on", "at", "without"]))
        };
        let end = rest.iter().skip(1).position(soft).map_or(rest.len(), |end| end + 1);
        // `zorb finely chopped`: how it is chopped is no part of the name.
        let adverbs =
            rest.iter().take(end).skip(1).rev().take_while(|at| end < rest.len() && self.is_adverb(**at)).count();
        let (food, after) = rest.split_at_checked(end - adverbs).unwrap_or((&rest, &[]));
        // What only describes is no food: it is further on.
        if !after.is_empty()
            && self.only_describes(food)
            && let Some(named) = self.further_on(&rest, &before)
        {
            return named;
        }
        let words: Vec<&str> = food.iter().map(|at| self.t.fold(*at)).filter(|word| !word.is_empty()).collect();
        let found = self.catalog.mend(&words);
        let (food, after) = (food.to_vec(), after.to_vec());
        Named { found, slip: found.is_some(), food, before, after, tellers: Vec::new() }
    }

    /// The food after words that only describe. It is found where they change nothing; otherwise its words are kept with
    /// those, for a person to see what is meant.
    fn further_on(&self, tokens: &[usize], before: &[usize]) -> Option<Named> {
        let describing = tokens.iter().take_while(|at| self.only_describes(&[**at])).count();
        let mut named = (1..=describing).find_map(|from| self.resolve(tokens.get(from..)?))?;
        let first = *named.food.first()?;
        let words: Vec<usize> = tokens.iter().copied().filter(|at| *at < first && !named.before.contains(at)).collect();
        let changes = |at: &usize| self.t.has(*at, Class::FORM) || self.t.has(*at, Class::KEPT);
        if words.iter().any(changes) {
            named.found = None;
        }
        let joins = |at: &usize| self.t.is_any(*at, &["and", "or", "then", "but"]);
        let (done, kept): (Vec<usize>, Vec<usize>) = words.into_iter().partition(|at| self.is_prep(*at) || joins(at));
        named.food.splice(0..0, kept);
        named.before.splice(0..0, before.iter().copied().chain(done));
        Some(named)
    }

    /// The food, and the unit where it follows the food: `2 garlic cloves` is two cloves of garlic, `2 chicken breasts`
    /// are two of chicken breast.
    pub(super) fn counted(&self, tokens: &[usize]) -> (Named, Option<Unit>) {
        let whole = self.resolve(tokens);
        let Some((at, unit)) = self.trailing_unit(tokens) else {
            return (whole.unwrap_or_else(|| self.unknown(tokens)), None);
        };
        let bare: Vec<usize> = tokens.iter().copied().filter(|token| *token != at).collect();
        let is_container = matches!(unit, Unit::Count(word) if word.is_container());
        let without = self.resolve(&bare).filter(|named| is_container || !self.is_fluid(named));
        let is_cut = self.t.has(at, Class::CUT);
        match (whole, without) {
            // The name has the word, and means another food or a cut, or is the food's plain name.
            (Some(whole), without)
                if whole.tellers.is_empty() && self.name_has(&whole, without.as_ref(), is_cut, at) =>
            {
                (whole, None)
            }
            // `thyme sprigs`: sprigs of what is meant, where the bare name means the dried herb.
            (Some(whole), Some(without)) if whole.tellers.is_empty() => {
                (Named { found: whole.found, ..without }, Some(unit))
            }
            (_, Some(without)) => (without, Some(unit)),
            (Some(whole), None) => (whole, None),
            (None, None) if is_cut || self.t.is(at, "leaf") => (self.unknown(tokens), None),
            (None, None) => (self.unknown(&bare), Some(unit)),
        }
    }

    fn name_has(&self, whole: &Named, without: Option<&Named>, is_cut: bool, at: usize) -> bool {
        let Some(found) = whole.found else { return false };
        let Some(other) = without.and_then(|without| without.found) else { return true };
        // Leaves are shares of a fresh herb whose bare name means the dried one.
        let is_portion = self.t.has(at, Class::PORTION) || (self.t.is(at, "leaf") && self.catalog.is_kept(other.food));
        (other != found && !is_portion)
            || is_cut
            || (!is_portion && self.catalog.plain_name_has(found.food, self.t.fold(at)))
    }

    /// The last count word, after at least one word and before nothing but preps.
    fn trailing_unit(&self, tokens: &[usize]) -> Option<(usize, Unit)> {
        let count = |at: usize| self.t.at(at)?.unit.map(|(unit, _)| unit).filter(|unit| matches!(unit, Unit::Count(_)));
        let at = tokens.iter().rposition(|at| count(*at).is_some()).filter(|at| *at > 0)?;
        let next = tokens.get(at + 1);
        if !next.is_none_or(|next| self.may_follow(*next)) {
            return None;
        }
        let token = *tokens.get(at)?;
        Some((token, count(token)?))
    }

    /// `chicken` and `stock` of `chicken or vegetable stock`: the first words with the ending of the second ones, where a
    /// food is called so.
    pub(super) fn share_ending(&self, first: &[usize], second: &[usize]) -> Option<Named> {
        (1..second.len()).find_map(|from| {
            let ending = second.get(from..)?;
            let is_choice = |at: &usize| self.t.has(*at, Class::NEUTRAL) || self.t.has(*at, Class::KEPT);
            if ending.first().is_some_and(|at| is_choice(at) || !self.is_word(*at)) {
                return None;
            }
            let joined: Vec<usize> = first.iter().chain(ending).copied().collect();
            self.resolve(&joined).filter(|named| named.after.is_empty() && !named.food.is_empty())
        })
    }

    /// The food with a word before its name: `canned` tomatoes. With the preps before it, then without; what follows the
    /// name may be a prep.
    pub(super) fn with_word(&self, word: &str, tokens: &[usize]) -> Option<Named> {
        let id = self.catalog.lexicon.id_of(word);
        let preps = self.preps_before(tokens);
        for end in (1..=tokens.len().min(MOST_WORDS)).rev() {
            if tokens.get(end).is_some_and(|at| !self.may_follow(*at) || self.t.is_joined(*at)) {
                continue;
            }
            for dropped in preps.groups() {
                let food: Vec<usize> = tokens.iter().take(end).copied().filter(|at| !dropped.contains(at)).collect();
                let mut phrase = Phrase::default();
                phrase.push(id);
                self.phrase(food.iter().copied()).as_slice().iter().for_each(|word| phrase.push(*word));
                if let Some(found) = self.catalog.find_words(phrase.as_slice()).filter(|_| phrase.len() > 1) {
                    let after = tokens.get(end..).unwrap_or_default().to_vec();
                    return Some(Named {
                        found: Some(found),
                        food,
                        before: dropped.to_vec(),
                        after,
                        ..Named::default()
                    });
                }
            }
        }
        None
    }

    /// What a fresh sprig, bunch or leaf is of, where the name alone means the dried food: the fresh one.
    pub(super) fn fresh(&self, named: &Named) -> Option<Found> {
        let mut phrase = Phrase::default();
        phrase.push(self.catalog.lexicon.id_of("fresh"));
        let kept = named.food.iter().filter(|at| !self.t.has(**at, Class::SIZE) && !named.tellers.contains(at));
        kept.filter_map(|at| self.t.at(*at)).for_each(|token| {
            if token.id != WordId::UNKNOWN {
                phrase.push(token.id);
            }
        });
        self.catalog.named(phrase.as_slice())
    }
}
