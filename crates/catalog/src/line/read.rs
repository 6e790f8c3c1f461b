//! Reading a line: its amount, then its food, then what else it says.

use trug_measure::{Amount, Exact, Unit};

use super::amount::{self, Quantity};
use super::names::{Named, Namer};
use super::token::{Kind, Shape, Token, Tokens};
use super::words::{self, Class};
use super::{Basis, Doubt, Line};
use crate::catalog::WordId;
use crate::{Catalog, Found};

/// Reads a line.
pub(crate) fn read(catalog: &Catalog, raw: &str) -> Line {
    let tokens = Tokens::new(raw, &catalog.lexicon);
    let mut line = Line::empty(raw);
    let mut reader = Reader {
        catalog,
        t: &tokens,
        line: &mut line,
        q: Quantity::default(),
        named: Named::default(),
        notes: Vec::new(),
        preps: Vec::new(),
        forms: Vec::new(),
        part: None,
    };
    reader.run();
    line
}

/// A line while it is read.
struct Reader<'a, 'b> {
    catalog: &'a Catalog,
    t: &'b Tokens<'a>,
    line: &'b mut Line,
    q: Quantity,
    named: Named,
    notes: Vec<String>,
    preps: Vec<String>,
    /// Words after a comma that name the form bought: `chicken thighs, boneless`.
    forms: Vec<usize>,
    /// The part that the line asks for apart from the food's name: `juice of 2 lemons`.
    part: Option<&'static str>,
}

impl<'a, 'b> Reader<'a, 'b> {
    fn namer(&self) -> Namer<'a, 'b> {
        Namer { catalog: self.catalog, t: self.t }
    }

    fn run(&mut self) {
        if self.is_heading() {
            return self.heading();
        }
        let (at, negative) = self.start();
        let Some(at) = self.label(at) else { return self.unreadable() };
        let at = self.part_of(at);
        let (quantity, at) = if self.is_name(at) { (Quantity::default(), at) } else { Quantity::read(self.t, at) };
        self.q = quantity;
        if negative && self.q.range.is_some() {
            (self.q.range, self.q.out_of_range) = (None, true);
        }
        for (first, last) in std::mem::take(&mut self.q.notes) {
            self.note(self.t.span(first, last));
        }
        let mut segments = self.segments(at);
        if segments.is_empty() {
            // `6 whole cloves`: what looked like a unit is the food.
            if let Some(unit_at) = self.q.unit_at {
                let first = self.q.unit_from.unwrap_or(unit_at);
                (segments, self.q.unit) = (vec![(first..=unit_at).collect()], None);
                self.q.tellers.clear();
                self.notes.clear();
                self.q.unit_at = None;
            } else {
                return self.unreadable();
            }
        }
        let mut head = self.head(&mut segments);
        if self.t.is_any(head.first().copied().unwrap_or(usize::MAX), &["for", "to"]) && self.q.range.is_none() {
            // `For garnish, chopped parsley`: what it is for may come first.
            let is_food = |tokens: &Vec<usize>| self.namer().resolve(tokens).is_some();
            let Some(at) = segments.iter().position(is_food) else { return self.heading() };
            let food = segments.remove(at);
            segments.insert(0, std::mem::replace(&mut head, food));
        }
        self.food(head, &mut segments);
        for segment in segments {
            self.tail(&segment);
        }
        self.settle();
    }

    /// A line that heads others: it ends with a colon and says no amount, or is marked as a heading is.
    fn is_heading(&self) -> bool {
        let Some(last) = self.t.list.len().checked_sub(1) else { return false };
        let marked = |at: usize, mark: char| self.t.is_mark(at, mark);
        let is_text = || !(0..=last).any(|at| self.is_number(at)) && (0..=last).any(|at| self.is_word(at));
        if marked(last, ':') {
            let first = (0..last).find(|at| self.is_word(*at) || self.is_number(*at)).unwrap_or(0);
            return is_text() || self.t.is_any(first, &["for", "to"]);
        }
        let hashed = marked(0, '#') && (marked(1, '#') || !self.t.is_glued(1));
        let starred = marked(0, '*') && marked(1, '*') && self.t.is_glued(1) && marked(last, '*');
        (hashed || starred) && is_text()
    }

    fn heading(&mut self) {
        self.line.food = self.line.raw.trim().to_owned();
        self.line.check = false;
        self.line.doubts.push(Doubt::Heading);
    }

    /// Past the number of a list's item: `1. 2 cups rice`, `3) onions`; what counts something is no such number.
    fn past_enumeration(&self) -> usize {
        let Some(Token { kind: Kind::Number(value, Shape::Whole), end, .. }) = self.t.at(0) else { return 0 };
        let rest = self.line.raw.get(*end..).unwrap_or_default();
        let spaced = rest.strip_prefix(['.', ')']).is_some_and(|rest| rest.starts_with(char::is_whitespace));
        let next = if self.t.is_mark(1, ')') { 2 } else { 1 };
        let counts = self.t.at(next).is_none_or(|token| token.unit.is_some());
        if spaced && !counts && *value <= Exact::whole(99) { next } else { 0 }
    }

    /// Past bullets and boxes; whether a minus stands right before the number.
    fn start(&self) -> (usize, bool) {
        let mut at = self.past_enumeration();
        while let Some(token) = self.t.at(at) {
            match token.kind {
                Kind::Mark('-') if self.t.is_glued(at + 1) && self.is_number(at + 1) => {
                    let is_minus = matches!(self.t.written(at), "-" | "\u{2212}");
                    return (at + 1, is_minus);
                }
                Kind::Mark('(') if self.t.is_mark(at + 1, ')') => at += 2,
                Kind::Mark('(') if self.t.is(at + 1, "x") && self.t.is_mark(at + 2, ')') => at += 3,
                Kind::Mark('(' | '~' | '#') | Kind::Word | Kind::Number(..) => break,
                Kind::Mark(_) => at += 1,
            }
        }
        (at, false)
    }

    /// Whether a number begins a food's name: `five-spice powder`, `00 flour`.
    fn is_name(&self, start: usize) -> bool {
        let is_digits = || self.is_number(start) && self.t.at(start).is_some_and(|token| token.id != WordId::UNKNOWN);
        let is_words = self.t.has(start, Class::NUMBER) && !self.t.is_any(start, &["a", "an"]);
        if !is_words && !is_digits() {
            return false;
        }
        let words: Vec<usize> = (start..start + 6).take_while(|at| *at == start || self.is_word(*at)).collect();
        (2..=words.len()).any(|n| self.namer().in_order(words.get(..n).unwrap_or_default()).is_some())
    }

    fn is_word(&self, at: usize) -> bool {
        self.t.at(at).is_some_and(|token| token.kind == Kind::Word)
    }

    fn is_number(&self, at: usize) -> bool {
        self.t.at(at).is_some_and(|token| matches!(token.kind, Kind::Number(..)))
    }

    /// Past a label: `Optional: ...`, `For garnish: ...`. `None` where the label is the whole line, a heading.
    fn label(&mut self, at: usize) -> Option<usize> {
        let mut at = at;
        if self.t.is_mark(at, '(') && self.t.is(at + 1, "optional") && self.t.is_mark(at + 2, ')') {
            self.line.optional = true;
            at += 3;
        }
        if self.t.is(at, "optional") && self.t.at(at + 1).is_some() {
            self.line.optional = true;
            at += 1;
            while matches!(self.t.at(at).map(|token| token.kind), Some(Kind::Mark(':' | '-' | ','))) {
                at += 1;
            }
            return Some(at);
        }
        let words = (at..at + 6).take_while(|at| self.t.at(*at).is_some_and(|token| token.kind == Kind::Word)).count();
        if words == 0 || !self.t.is_mark(at + words, ':') {
            return Some(at);
        }
        self.t.at(at + words + 1)?;
        let label: Vec<usize> = (at..at + words).collect();
        if self.namer().resolve(&label).is_some() || self.t.is(at + words - 1, "each") {
            return Some(at);
        }
        self.note(self.t.span(at, at + words - 1));
        Some(at + words + 1)
    }

    /// Past `juice of`, `grated zest and juice of`: which part is asked for. The words go with the preps.
    fn part_of(&mut self, start: usize) -> usize {
        if self.is_number(start) {
            return start;
        }
        let mut at = start;
        let mut part = None;
        while at < start + 7 {
            if let Some(name) =
                part_named(self.t.fold(at)).filter(|_| !self.t.is(at, "juiced") && !self.t.is(at, "zested"))
            {
                // Juice and zest of the same lemons need the same lemons.
                part = if part == Some("juice") { part } else { Some(name) };
            } else if !(self.t.has(at, Class::PREP)
                || self.t.has(at, Class::ADVERB)
                || self.t.is_any(at, &["and", "the", "fresh", "strip"]))
            {
                break;
            }
            at += 1;
        }
        if part.is_none() || at == start {
            return start;
        }
        let joined = self.t.is_any(at, &["of", "from"]);
        let direct = self.is_number(at);
        if !joined && !direct {
            return start;
        }
        self.part = part;
        self.preps.push(self.t.span(start, at - 1).to_owned());
        if joined { at + 1 } else { at }
    }

    fn unreadable(&mut self) {
        self.line.food = self.line.raw.trim().to_owned();
        self.line.check = true;
        self.line.doubts.push(Doubt::Unreadable);
    }

    fn note(&mut self, text: &str) {
        let text = text.trim();
        if !text.is_empty() {
            self.notes.push(text.to_owned());
        }
    }

    /// The rest of the line, parted at commas, semicolons, colons and dashes; what stands in brackets is read at once.
    fn segments(&mut self, start: usize) -> Vec<Vec<usize>> {
        let mut segments: Vec<Vec<usize>> = Vec::with_capacity(4);
        let mut current = Vec::with_capacity(16);
        let mut at = start;
        while let Some(token) = self.t.at(at) {
            let spaced = !self.t.is_glued(at);
            match token.kind {
                Kind::Mark('(') => {
                    let close = amount::closing(self.t, at).unwrap_or(self.t.list.len());
                    let before_food = segments.is_empty() && current.is_empty();
                    self.bracket(at + 1, close, before_food);
                    at = close;
                }
                Kind::Mark(',' | ';' | ':') => segments.push(std::mem::take(&mut current)),
                Kind::Mark('-') if spaced => segments.push(std::mem::take(&mut current)),
                Kind::Mark(')' | '*' | '"' | '~' | '#' | '×') => {}
                _ => current.push(at),
            }
            at += 1;
        }
        segments.push(current);
        segments.retain(|segment| !segment.is_empty());
        let rest = self.line.raw.get(self.t.rest..).unwrap_or_default().trim().to_owned();
        self.note(&rest);
        segments
    }

    /// What stands in brackets: a size, the weight of all, a prep, a choice, or a note.
    fn bracket(&mut self, first: usize, close: usize, before_food: bool) {
        let Some(last) = close.checked_sub(1).filter(|last| *last >= first) else { return };
        let tokens: Vec<usize> =
            (first..=last).filter(|at| !matches!(self.t.at(*at).map(|t| t.kind), Some(Kind::Mark(_)))).collect();
        let text = self.t.span(first, last);
        if tokens.iter().all(|at| self.t.is(*at, "optional")) {
            self.line.optional = true;
        } else if self.t.is(first, "or") && self.line.or.is_none() {
            self.line.or = Some(self.t.span(first + 1, last).to_owned());
        } else if self.weighed(first, last) {
        } else if !tokens.is_empty() && tokens.iter().all(|at| self.is_prep_word(*at)) {
            let segment: Vec<usize> = (first..=last).collect();
            if before_food { self.q.tellers.extend(tokens) } else { self.prep(&segment) }
        } else {
            if tokens.iter().any(|at| self.t.is(*at, "optional")) {
                self.line.optional = true;
            }
            self.note(text);
        }
    }

    fn is_prep_word(&self, at: usize) -> bool {
        self.namer().is_prep(at)
            || self.t.has(at, Class::ADVERB)
            || self.t.is_any(at, &["and", "then", "if", "necessary", "into", "but"])
    }

    /// `about 1 lb`, `6 oz each` beside a count: the weight of all, or of each.
    fn weighed(&mut self, first: usize, last: usize) -> bool {
        let counted = self.q.range.is_some() && self.q.unit.is_none_or(Unit::is_count);
        let Some((size, end)) = amount::sized(self.t, amount::past_about(self.t, first)) else { return false };
        if !counted || self.q.size.is_some() || end <= first {
            return false;
        }
        if !(end..=last).all(|at| {
            !matches!(self.t.at(at).map(|t| t.kind), Some(Kind::Word))
                || self.t.at(at).is_some_and(|t| t.unit.is_some())
                || self.t.is_any(
                    at,
                    &["each", "apiece", "total", "in", "all", "weight", "or", "so", "whole", "per", "piece", "about"],
                )
        }) {
            return false;
        }
        let each = (first..=last).any(|at| self.t.is_any(at, &["each", "apiece", "per"]));
        let container = matches!(self.q.unit, Some(Unit::Count(word)) if word.is_container());
        if each || container {
            self.q.size = Some(size);
        } else if matches!(size.unit, Unit::Mass(_)) {
            self.line.total = Some(size);
        } else {
            return false;
        }
        true
    }

    /// The words of the food: the first segment, with the next ones while it only describes, up to an aside.
    fn head(&self, segments: &mut Vec<Vec<usize>>) -> Vec<usize> {
        let mut head = segments.remove(0);
        while !segments.is_empty()
            && self.namer().only_describes(&head)
            && self.namer().resolve(&head).is_none()
            && !segments
                .first()
                .and_then(|next| next.first())
                .is_some_and(|at| self.is_aside(*at) || self.is_number(*at))
        {
            head.extend(segments.remove(0));
        }
        if let Some(at) = self.aside_in(&head) {
            segments.insert(0, head.split_off(at));
        }
        head
    }

    /// Where an aside begins, after at least one word.
    fn aside_in(&self, tokens: &[usize]) -> Option<usize> {
        tokens.iter().skip(1).position(|at| self.is_aside(*at)).map(|at| at + 1)
    }

    /// Whether the words from here on say something else than the food: `for frying`, `to taste`, `plus more`.
    fn is_aside(&self, at: usize) -> bool {
        const ALONE: &[&str] = &[
            "for",
            "plus",
            "preferably",
            "ideally",
            "optional",
            "such",
            "like",
            "including",
            "until",
            "depending",
            "from",
            "per",
            "more",
        ];
        if self.is_word(at) && !self.t.has(at, Class::ASIDE) {
            return false;
        }
        let next = at + 1;
        match self.t.fold(at) {
            "" => self.t.is_mark(at, '+'),
            "to" => !self.is_number(next),
            "as" => self
                .t
                .is_any(next, &["needed", "required", "desired", "necessary", "garnish", "well", "accompaniment", "a"]),
            "if" => true,
            "about" | "approximately" | "roughly" => self.is_number(next),
            "or" => self.t.is_any(next, &["so", "more", "less", "to", "as", "other", "any", "similar", "enough"]),
            "at" => self.t.is(next, "room"),
            "room" => self.t.is(next, "temperature"),
            word => ALONE.contains(&word),
        }
    }

    /// Reads the food from its words.
    fn food(&mut self, head: Vec<usize>, segments: &mut Vec<Vec<usize>>) {
        let (head, inner) = self.part_inside(head);
        if let Some(note) = inner {
            self.note(&note);
        }
        self.named = self.choose(&head, segments);
        let after = std::mem::take(&mut self.named.after);
        if !after.is_empty() {
            segments.insert(0, after);
        }
    }

    /// `2 tbsp juice from 1 lemon`: the food is the lemon's juice, whatever it takes.
    fn part_inside(&mut self, head: Vec<usize>) -> (Vec<usize>, Option<String>) {
        let of = head.iter().position(|at| self.t.has(*at, Class::JOIN) && self.t.is_any(*at, &["of", "from"]));
        let part = of.filter(|of| *of > 0).and_then(|of| part_named(self.t.fold(*head.get(of - 1)?)));
        let (Some(of), Some(part)) = (of, part) else { return (head, None) };
        if self.namer().exactly(&head).is_some() {
            return (head, None);
        }
        let rest: Vec<usize> = head
            .iter()
            .skip(of + 1)
            .copied()
            .filter(|at| !self.is_number(*at) && !self.t.is_any(*at, &["a", "an", "one", "two", "half", "the"]))
            .collect();
        self.part = Some(part);
        self.preps.push(self.t.text(head.get(..of).unwrap_or_default()));
        (rest, None)
    }

    /// One food, the first of a choice, or the first of several.
    fn choose(&mut self, head: &[usize], segments: &mut Vec<Vec<usize>>) -> Named {
        let joined = |word: &str| {
            head.iter()
                .position(|at| self.t.has(*at, Class::JOIN) && self.t.is(*at, word))
                .filter(|at| *at > 0 && *at + 1 < head.len())
        };
        if self.q.each
            && self.q.unit.is_some_and(|unit| {
                unit != Unit::Each || segments.iter().any(|s| s.len() > 1) || joined("and").is_some()
            })
            && let Some(named) = self.of_each(head, segments)
        {
            return named;
        }
        let slash = head.iter().position(|at| self.t.is_mark(*at, '/')).filter(|at| *at > 0 && *at + 1 < head.len());
        let or = joined("or").or(slash);
        let and = joined("and");
        if (or.is_some() || and.is_some()) && self.namer().in_order(head).is_none() {
            if let Some(at) = or
                && let Some(named) = self.first_choice(head, at)
            {
                return named;
            }
            if let Some(at) = and
                && let Some(named) = self.first_of_two(head, at)
            {
                return named;
            }
        }
        self.one_food(head)
    }

    /// A food by its words; the unit may be part of its name, or follow it.
    fn one_food(&mut self, head: &[usize]) -> Named {
        if let Some(named) = self.canned(head) {
            return named;
        }
        if let Some(unit_at) = self.q.unit_at {
            let full: Vec<usize> = std::iter::once(unit_at).chain(head.iter().copied()).collect();
            let rest = self.namer().resolve(head);
            // `rib eye steak`, `leg of lamb`: the name has the word, and without it is another food or none.
            if let Some(found) = self.namer().exactly(&full)
                && rest.as_ref().is_none_or(|rest| rest.found != Some(found))
            {
                if self.t.has(unit_at, Class::PORTION) {
                    let food = head.to_vec();
                    return Named { found: Some(found), food, ..Named::default() };
                }
                self.q.unit = Some(Unit::Each);
                let first = full.first().copied().unwrap_or(0);
                let food = (first..=head.last().copied().unwrap_or(first)).collect();
                return Named { found: Some(found), food, ..Named::default() };
            }
            return rest.unwrap_or_else(|| self.namer().unknown(head));
        }
        if self.q.range.is_some() && self.q.unit.is_none_or(|unit| unit == Unit::Each) {
            let (named, unit) = self.namer().counted(head);
            if unit.is_some() {
                self.q.unit = unit;
            }
            return named;
        }
        self.namer().resolve(head).unwrap_or_else(|| self.namer().unknown(head))
    }

    /// `1 can tomatoes` is of canned tomatoes, where there is such a food.
    fn canned(&self, head: &[usize]) -> Option<Named> {
        if !self.is_canned() || head.iter().any(|at| self.t.is(*at, "canned")) {
            return None;
        }
        self.namer().with_word("canned", head)
    }

    fn is_canned(&self) -> bool {
        matches!(self.q.unit, Some(Unit::Count(word)) if word.singular() == "can")
    }

    /// `butter or ghee`, `chicken or vegetable stock`: the first counts, the other is kept.
    fn first_choice(&mut self, head: &[usize], at: usize) -> Option<Named> {
        let (first, second) = (head.get(..at)?, head.get(at + 1..)?);
        // `and/or` is a choice too.
        let first = match first.last() {
            Some(last) if self.t.is(*last, "and") => first.get(..first.len() - 1)?,
            _ => first,
        };
        let second = match second.first() {
            Some(next) if self.t.is(*next, "or") => second.get(1..)?,
            _ => second,
        };
        let first = if self.t.is(*first.first()?, "either") { first.get(1..)? } else { first };
        // `peeled or unpeeled carrots`: no choice of foods.
        if self.namer().only_preps(first)
            && self.namer().resolve(first).is_none()
            && second.iter().take(1).all(|at| self.namer().is_prep(*at))
        {
            return None;
        }
        let own_amount = self.is_number(*second.first()?);
        let alone = self.namer().resolve(first);
        let shared = if own_amount && alone.is_some() { None } else { self.share_ending(first, second) };
        if alone.is_none() && shared.is_none() && self.namer().only_describes(first) {
            // `fresh or frozen lima beans`, where only the frozen ones are known.
            let named = self.namer().resolve(second)?;
            self.line.or = Some(self.t.text(first));
            return Some(named);
        }
        self.line.or = Some(self.t.text(second));
        Some(match shared {
            Some(named) => named,
            None => self.one_food(first),
        })
    }

    /// The first words, up to a comma too (`red, yellow or orange bell peppers`), with the ending of the second ones.
    fn share_ending(&self, first: &[usize], second: &[usize]) -> Option<Named> {
        let shared = self.namer().share_ending(first, second);
        let gap = first.windows(2).position(|pair| matches!(pair, [a, b] if b - a > 1));
        shared.or_else(|| self.namer().share_ending(first.get(..gap? + 1)?, second))
    }

    /// `salt and pepper`: the first, with the second as a line of its own.
    fn first_of_two(&mut self, head: &[usize], at: usize) -> Option<Named> {
        let (first, second) = (head.get(..at)?, head.get(at + 1..)?);
        let whole = self.namer().resolve(head);
        let join = *head.get(at)?;
        let is_inside = |whole: &Named| {
            whole.food.contains(&join)
                || whole.before.contains(&join)
                || whole.after.iter().skip(1).any(|at| *at == join)
        };
        if whole.as_ref().is_some_and(is_inside) {
            return whole;
        }
        let first_food = self.namer().resolve(first);
        let second_food = if self.is_number(*second.first()?) { None } else { self.namer().resolve(second) };
        let second_is_food = self.is_number(*second.first()?)
            || second_food.as_ref().is_some_and(|named| named.found.is_some())
            || (self.q.range.is_none() && !self.namer().only_describes(second));
        match first_food {
            Some(named) if second_is_food && named.after.is_empty() => {
                let sub = read(self.catalog, self.t.span(*second.first()?, *second.last()?));
                self.and(sub);
                Some(self.unit_after(first, named))
            }
            Some(_) => None,
            None if self.q.range.is_none()
                && !self.namer().only_describes(first)
                && !self.namer().only_describes(second) =>
            {
                let sub = read(self.catalog, self.t.span(*second.first()?, *second.last()?));
                self.and(sub);
                Some(self.namer().unknown(first))
            }
            // `red and green grapes`: one amount of both, bought as the first.
            None => {
                let shared = self.namer().share_ending(first, second)?;
                if self.q.range.is_none() {
                    let sub = read(self.catalog, self.t.span(*second.first()?, *second.last()?));
                    self.and(sub);
                    return Some(shared);
                }
                Some(Named { food: head.to_vec(), ..shared })
            }
        }
    }

    /// The food again, with the unit that follows it.
    fn unit_after(&mut self, tokens: &[usize], named: Named) -> Named {
        if self.q.range.is_some() && self.q.unit.is_none() { self.one_food(tokens) } else { named }
    }

    /// `1 tsp each cumin, coriander and paprika`: each food has the amount.
    fn of_each(&mut self, head: &[usize], segments: &mut Vec<Vec<usize>>) -> Option<Named> {
        let mut foods: Vec<Vec<usize>> = split_at(head, |at| self.t.is_any(at, &["and"]));
        while let Some(next) = segments.first() {
            let more = split_at(next, |at| self.t.is_any(at, &["and"]));
            let is_food =
                |tokens: &Vec<usize>| !self.namer().only_describes(tokens) && self.namer().resolve(tokens).is_some();
            if !more.iter().all(is_food) {
                break;
            }
            foods.extend(more);
            segments.remove(0);
        }
        if foods.len() < 2 {
            return None;
        }
        let last = foods.last().cloned().unwrap_or_default();
        let mut named: Vec<(Named, String)> = Vec::new();
        for food in &foods {
            let alone = self.namer().resolve(food).or_else(|| self.namer().share_ending(food, &last));
            let one = alone.unwrap_or_else(|| self.namer().unknown(food));
            let text = self.t.text(&one.before.iter().chain(&one.food).chain(&one.after).copied().collect::<Vec<_>>());
            named.push((one, text));
        }
        let mut named = named.into_iter();
        let (first, _) = named.next()?;
        for (_, text) in named {
            let mut sub = read(self.catalog, &text);
            (sub.amount, sub.unit) = (self.q.range, self.q.unit);
            sub.check = self.q.range.is_none();
            sub.basis = basis(&sub, !sub.prep.is_empty());
            self.and(sub);
        }
        Some(first)
    }

    /// Adds a further food at the end.
    fn and(&mut self, sub: Line) {
        let mut slot = &mut self.line.and;
        while let Some(line) = slot {
            slot = &mut line.and;
        }
        *slot = Some(Box::new(sub));
    }

    /// What stands after the food.
    fn tail(&mut self, segment: &[usize]) {
        if let Some(at) = self.tail_aside(segment) {
            let (first, second) = segment.split_at_checked(at).unwrap_or((segment, &[]));
            self.tail(first);
            return self.tail(second);
        }
        let Some(first) = segment.first().copied() else { return };
        let last = segment.last().copied().unwrap_or(first);
        let text = self.t.span(first, last);
        match self.t.fold(first) {
            "optional" if segment.len() <= 2 => self.line.optional = true,
            "plus" => self.plus(segment, text),
            "" if self.t.is_mark(first, '+') => self.plus(segment, text),
            "or" if segment.len() > 1 && !self.is_aside(first) => self.another_choice(segment),
            "for" => {
                if self.q.range.is_some() && self.line.fills.is_none() {
                    self.line.fills = self.fills(segment).map(str::to_owned);
                }
                self.note(text);
            }
            "at" | "room" => self.prep(segment),
            _ if self.is_aside(first) => {
                if !self.weighed(first, last) {
                    self.note(text);
                }
            }
            _ => self.tail_by_sense(segment, first, last),
        }
    }

    fn tail_aside(&self, segment: &[usize]) -> Option<usize> {
        // `plus more for serving` is one note.
        if segment.first().is_some_and(|first| self.is_aside(*first) && !self.t.is(*first, "optional")) {
            return None;
        }
        let starts = |at: &usize| {
            self.is_aside(*at)
                && !self.t.is_any(*at, &["until", "like", "about", "at", "room", "per", "more"])
                && (!self.t.is(*at, "to") || self.t.is_any(*at + 1, &["taste", "serve", "garnish", "finish"]))
        };
        segment.iter().skip(1).position(starts).map(|at| at + 1)
    }

    fn tail_by_sense(&mut self, segment: &[usize], first: usize, last: usize) {
        let numbered = self.is_number(first) || self.t.has(first, Class::NUMBER);
        if numbered && (self.weighed(first, last) || self.late_amount(segment)) {
            return;
        }
        if self.form(segment) || self.part_after(segment) || self.inverted(segment) || self.listed(segment) {
            return;
        }
        self.prep(segment);
    }

    /// `flour, 2 cups`: the amount after the food.
    fn late_amount(&mut self, segment: &[usize]) -> bool {
        let (Some(first), Some(last)) = (segment.first(), segment.last()) else { return false };
        if self.q.range.is_some() || self.q.out_of_range {
            return false;
        }
        let (mut quantity, end) = Quantity::read(self.t, *first);
        let rest: Vec<usize> = segment.iter().copied().filter(|at| *at >= end).collect();
        let end_reached = end > *last || rest.iter().all(|at| self.t.has(*at, Class::SIZE));
        if quantity.range.is_none() || !end_reached {
            return false;
        }
        quantity.tellers.extend(rest);
        self.q = quantity;
        true
    }

    /// `chicken thighs, boneless, skinless`: the form bought goes with the food.
    fn form(&mut self, segment: &[usize]) -> bool {
        let is_form = |at: &usize| self.t.has(*at, Class::FORM) || self.t.is(*at, "and");
        if !segment.iter().all(is_form) || segment.iter().any(|at| self.namer().is_prep(*at)) {
            return false;
        }
        let joined: Vec<usize> = segment
            .iter()
            .chain(&self.forms)
            .chain(&self.named.food)
            .copied()
            .filter(|at| !self.t.is(*at, "and"))
            .collect();
        let Some(named) = self.namer().resolve(&joined).filter(|named| named.after.is_empty()) else {
            if segment.iter().all(|at| self.t.is_any(*at, &["boneless", "skinless", "and", "bone", "skin", "in", "on"]))
            {
                self.forms.extend(segment);
                return true;
            }
            return false;
        };
        self.named.found = named.found;
        self.forms.extend(segment);
        true
    }

    /// `2 lemons, juiced`, `1 lemon, zest only`, `3 eggs, whites only`: that part of each.
    fn part_after(&mut self, segment: &[usize]) -> bool {
        let counted = self.q.range.is_some() && self.q.unit.is_none_or(|unit| unit == Unit::Each);
        let Some(found) = self.named.found.filter(|found| counted && found.part.is_none()) else { return false };
        let mut part = None;
        for at in segment {
            let name = part_named(self.t.fold(*at));
            let filler = self.t.has(*at, Class::ADVERB)
                || self.t.has(*at, Class::PREP)
                || self.t.is_any(*at, &["only", "and", "the", "of", "grated"]);
            if name.is_none() && !filler {
                return false;
            }
            part = if part == Some("juice") { part } else { name.or(part) };
        }
        let Some(ix) = part.and_then(|part| self.part_index(found, part)) else { return false };
        self.named.found = Some(Found { part: Some(ix), ..found });
        self.prep(segment);
        true
    }

    fn part_index(&self, found: Found, part: &str) -> Option<u8> {
        let at = self.catalog.get(found.food).parts.iter().position(|known| known.name == part)?;
        u8::try_from(at).ok()
    }

    /// `yogurt, plain`, `cream, heavy`: the rest of the name after the comma.
    fn inverted(&mut self, segment: &[usize]) -> bool {
        if segment.len() > 3
            || segment.iter().any(|at| self.namer().is_prep(*at) || part_named(self.t.fold(*at)).is_some())
        {
            return false;
        }
        let joined: Vec<usize> = segment.iter().chain(&self.named.food).copied().collect();
        let Some(found) = self.namer().exactly(&joined) else { return false };
        self.named.found = Some(found);
        self.named.slip = false;
        self.forms.extend(segment);
        true
    }

    /// `salt, pepper`: further foods of a line without an amount.
    fn listed(&mut self, segment: &[usize]) -> bool {
        if self.q.range.is_some() || self.q.out_of_range {
            return false;
        }
        let segment = match segment.first() {
            Some(first) if self.t.is_any(*first, &["and", "&"]) => segment.get(1..).unwrap_or_default(),
            _ => segment,
        };
        let Some(named) = self.namer().resolve(segment) else { return false };
        let (Some(first), Some(last)) = (segment.first(), segment.last()) else { return false };
        if named.found.is_none() || self.namer().only_describes(segment) {
            return false;
        }
        let sub = read(self.catalog, self.t.span(*first, *last));
        self.and(sub);
        true
    }

    /// A prep after the food.
    fn prep(&mut self, segment: &[usize]) {
        let segment = match segment.first() {
            Some(first) if segment.len() > 1 && self.t.is_any(*first, &["and", "then"]) => {
                segment.get(1..).unwrap_or_default()
            }
            _ => segment,
        };
        let (Some(first), Some(last)) = (segment.first(), segment.last()) else { return };
        self.preps.push(self.t.span(*first, *last).to_owned());
        self.line.drained |=
            segment.iter().any(|at| self.t.is(*at, "drained")) && matches!(self.q.unit, Some(Unit::Volume(_)));
        self.tell(segment);
    }

    /// Keeps the words that tell measures apart.
    fn tell(&mut self, tokens: &[usize]) {
        for at in tokens {
            let word = self.t.fold(*at);
            let says = self.t.at(*at).is_some_and(|token| token.kind == Kind::Word) && !self.t.has(*at, Class::JOIN);
            if says && !self.line.words.iter().any(|known| known == word) {
                self.line.words.push(word.to_owned());
            }
        }
    }

    /// `plus 2 tbsp`, `plus more for serving`, `plus 1 egg yolk`.
    fn plus(&mut self, segment: &[usize], text: &str) {
        let (Some(start), Some(last)) = (segment.get(1).copied(), segment.last().copied()) else { return };
        let (more, end) = Quantity::read(self.t, start);
        let Some(range) = more.range else { return self.note(text) };
        let rest: Vec<usize> = segment.iter().copied().filter(|at| *at >= end).collect();
        let says_more = rest.first().is_some_and(|at| !self.is_aside(*at) && !self.namer().only_describes(&rest));
        if says_more && self.namer().resolve(&rest).is_none_or(|named| named.found != self.named.found) {
            let sub = read(self.catalog, self.t.span(start, last));
            return self.and(sub);
        }
        let theirs = more.unit.unwrap_or(Unit::Each);
        let mine = self.q.unit.unwrap_or(Unit::Each);
        if self.q.range.is_some() && !self.q.add(range, theirs, mine) {
            self.q.differ = true;
        }
        self.note(text);
    }

    fn another_choice(&mut self, segment: &[usize]) {
        let (Some(first), Some(last)) = (segment.get(1), segment.last()) else { return };
        let text = self.t.span(*first, *last).to_owned();
        match &mut self.line.or {
            Some(or) => {
                or.push_str(" or ");
                or.push_str(&text);
            }
            None => self.line.or = Some(text),
        }
    }

    /// What pot the amount fills: it is not scaled with the portions.
    fn fills(&self, segment: &[usize]) -> Option<&'static str> {
        let any = |words: &[&str]| segment.iter().any(|at| self.t.is_any(*at, words));
        if any(&["frying", "deepfrying"]) || (any(&["deep", "shallow"]) && any(&["fry"])) {
            Some("frying")
        } else if any(&["blanching", "blanch"]) {
            Some("blanching")
        } else if any(&["brine", "brining"]) {
            Some("brine")
        } else if any(&["pot", "boiling"])
            || (any(&["water", "cooking", "salting"]) && any(&["pasta", "water", "noodle"]))
        {
            Some("pot")
        } else {
            None
        }
    }

    /// Puts the line together.
    fn settle(&mut self) {
        let before = std::mem::take(&mut self.named.before);
        self.tell(&before);
        let tellers = std::mem::take(&mut self.q.tellers);
        self.tell(&tellers);
        let teller = |at: &usize| self.t.has(*at, Class::SIZE.and(Class::PIECE)) || self.named.tellers.contains(at);
        let sizes: Vec<usize> = self.named.food.iter().copied().filter(teller).collect();
        self.tell(&sizes);
        if let Some(inches) = self.q.inches {
            self.line.words.extend([inches.max(1).to_string(), "inch".to_owned()]);
        }
        self.find_fresh();
        self.find_dried();
        self.find_vegetable();
        self.find_part();
        let packed: Vec<usize> = tellers.iter().copied().filter(|at| self.is_prep_word(*at)).collect();
        let mut preps = std::mem::take(&mut self.preps);
        let done = [self.t.text(&packed), self.t.text_with_commas(&before)].into_iter().filter(|text| !text.is_empty());
        preps.splice(0..0, done);
        self.line.prep = if preps.len() < 2 { preps.pop().unwrap_or_default() } else { preps.join(", ") };
        let prepared = before.iter().any(|at| self.namer().is_prep(*at));
        self.line.cooked = before.iter().any(|at| self.t.has(*at, Class::COOKED));
        self.line.drained |= before.iter().any(|at| self.t.is(*at, "drained"));
        let forms = self.t.text(&self.forms);
        let text = self.t.text(&self.named.food);
        self.line.food = if forms.is_empty() { text } else { format!("{forms} {text}") };
        self.line.found = self.named.found;
        self.amounts();
        self.line.basis = basis(self.line, prepared);
        if self.line.size.is_some() {
            self.line.drained = false;
        }
        self.line.note = (!self.notes.is_empty()).then(|| self.notes.join("; "));
        self.doubts();
    }

    fn amounts(&mut self) {
        self.q.check_range();
        self.line.amount = self.q.range;
        self.line.check = self.q.range.is_none();
        self.line.unit = self.q.range.map(|_| self.q.unit.unwrap_or(Unit::Each));
        self.line.size = self.q.size.filter(|size| self.q.range.is_some() && !amount::out_of_range(size.value));
        let in_range = |total: &Amount| self.q.range.is_some() && !amount::out_of_range(total.value);
        self.line.total = self.line.total.filter(in_range);
    }

    fn doubts(&mut self) {
        let doubts = [
            (self.q.differ, Doubt::AmountsDiffer),
            (self.q.out_of_range, Doubt::AmountOutOfRange),
            (self.named.slip && self.named.found.is_some(), Doubt::Slip),
            (self.line.food.is_empty(), Doubt::Unreadable),
        ];
        self.line.doubts.extend(doubts.into_iter().filter(|(is, _)| *is).map(|(_, doubt)| doubt));
        if self.line.food.is_empty() {
            self.line.food = self.line.raw.trim().to_owned();
        }
    }

    /// Sprigs, bunches and leaves are of the fresh herb, and so is what is chopped.
    fn find_fresh(&mut self) {
        let Some(found) = self.named.found else { return };
        let kept = self.named.food.iter().any(|at| self.t.has(*at, Class::KEPT));
        if kept || found.part.is_some() || !self.catalog.is_kept(found.food) {
            return;
        }
        let unit = match self.q.unit.or(self.q.vague_unit) {
            Some(Unit::Count(word)) => word.singular(),
            _ => "",
        };
        let leafy = ["sprig", "bunch", "leaf", "stem", "stalk", "handful"].contains(&unit)
            || self.named.tellers.iter().any(|at| self.t.is_any(*at, &["leaf", "sprig", "stem"]));
        let cut = ["chopped", "minced", "torn", "picked", "stripped", "snipped", "destemmed"];
        let is_cut = self.line.words.iter().any(|word| cut.contains(&word.as_str()));
        if !leafy && !is_cut {
            return;
        }
        match self.namer().fresh(&self.named) {
            Some(fresh) => self.named.found = Some(fresh),
            // A bunch of something dried is not what the line means; better no food than the wrong one.
            None if leafy && matches!(unit, "sprig" | "bunch") => self.named.found = None,
            None => {}
        }
    }

    /// Beans that are soaked or picked over are dried ones, although the name alone means those in cans.
    fn find_dried(&mut self) {
        let says = |word: &str| self.line.words.iter().any(|known| known == word);
        let is_dry = says("soaked") || (says("picked") && says("over"));
        if !is_dry {
            return;
        }
        let Some(found) = self.named.found else { return };
        let canned = self.is_canned() || self.named.food.iter().any(|at| self.t.is(*at, "canned"));
        if canned || !self.catalog.plain_name_has(found.food, "canned") {
            return;
        }
        if let Some(dried) = self.namer().with_word("dried", &self.named.food) {
            self.named.found = dried.found;
        }
    }

    /// `2 peppers`, `1 lb peppers`, `1 cup chopped pepper` are the vegetable, `1 tsp pepper` and `pepper` the spice.
    fn find_vegetable(&mut self) {
        let says_more = |at: &&usize| self.is_word(**at) && !self.t.has(**at, Class::NEUTRAL.and(Class::PREP));
        let mut bare = self.named.food.iter().filter(says_more);
        let (Some(at), None) = (bare.next().copied(), bare.next()) else { return };
        let Some((_, name)) = words::VEGETABLES.iter().find(|(bare, _)| self.t.is(at, bare)) else { return };
        let several = self.t.written(at).ends_with('s');
        let cut =
            || self.line.words.iter().any(|word| matches!(word.as_str(), "chopped" | "diced" | "sliced" | "cubed"));
        let is_vegetable = match (self.q.range, self.q.unit) {
            (None, _) => several,
            (Some(_), None | Some(Unit::Each)) => true,
            (Some(_), Some(Unit::Volume(_))) => several || cut(),
            (Some(range), Some(unit @ Unit::Mass(_))) => {
                let grams = Amount::new(range.high, unit).grams();
                several || grams.is_some_and(|grams| grams >= Exact::whole(100))
            }
            (Some(_), Some(Unit::Count(word))) => {
                several || matches!(word.singular(), "strip" | "slice" | "ring" | "piece" | "half")
            }
        };
        if is_vegetable {
            self.named.found = self.catalog.find_as_written(name);
        }
    }

    fn find_part(&mut self) {
        let (Some(part), Some(found)) = (self.part, self.named.found) else { return };
        if let Some(ix) = self.part_index(found, part) {
            self.named.found = Some(Found { part: Some(ix), ..found });
        }
    }
}

/// The part that a word names.
fn part_named(word: &str) -> Option<&'static str> {
    Some(match word {
        "juice" | "juiced" => "juice",
        "zest" | "zested" | "rind" | "peel" => "zest",
        "yolk" => "yolk",
        "white" => "white",
        _ => return None,
    })
}

/// What an amount of mass means: after preps that stand before the name what is left of the food, otherwise what is bought;
/// counts and household measures are of what is left, containers and pieces of a stated size are bought so.
fn basis(line: &Line, prepared: bool) -> Basis {
    if line.size.is_some() || line.total.is_some() {
        return Basis::Purchased;
    }
    match line.unit {
        Some(Unit::Mass(_)) if prepared => Basis::Edible,
        Some(Unit::Mass(_)) | None => Basis::Purchased,
        Some(Unit::Volume(_) | Unit::Each | Unit::Count(_)) => Basis::Edible,
    }
}

fn split_at(tokens: &[usize], is_join: impl Fn(usize) -> bool) -> Vec<Vec<usize>> {
    let parts = tokens.split(|at| is_join(*at));
    parts.filter(|part| !part.is_empty()).map(<[usize]>::to_vec).collect()
}
