//! Numbers, units and sizes.

use trug_measure::{Amount, Exact, Unit};

use super::Range;
use super::token::{Kind, Shape, Tokens};
use super::words::Class;

/// The most of one unit that a line may say; [`Amount`] reads no more either.
const MOST: Exact = Exact::whole(1_000_000);

/// How much a line says, as far as it has been read.
#[derive(Debug, Clone, Default)]
pub(super) struct Quantity {
    pub(super) range: Option<Range>,
    pub(super) unit: Option<Unit>,
    /// The token of the unit, where it is a count word: it may turn out to be part of the food's name.
    pub(super) unit_at: Option<usize>,
    /// Where what stands between the number and the unit begins.
    pub(super) unit_from: Option<usize>,
    pub(super) size: Option<Amount>,
    /// Tokens between the number and the unit that tell measures apart: `packed`, `large`.
    pub(super) tellers: Vec<usize>,
    /// What goes into the note: `heaping`, `2-inch`, `a few`.
    pub(super) notes: Vec<(usize, usize)>,
    /// The unit of an amount that is no number: `a few sprigs`.
    pub(super) vague_unit: Option<Unit>,
    /// The length of each piece in inches, to the nearest: ginger is measured by it.
    pub(super) inches: Option<i128>,
    /// `1 tsp each`: the amount is of every food that follows.
    pub(super) each: bool,
    /// Amounts that do not add up.
    pub(super) differ: bool,
    /// Nothing, or beyond anything a kitchen holds.
    pub(super) out_of_range: bool,
}

/// A number or range, and where it ends.
pub(super) fn range(t: &Tokens<'_>, at: usize) -> Option<(Range, usize)> {
    let (low, mut next) = number(t, at)?;
    let mut range = Range { low, high: low };
    if let Some((high, mixed, end)) = range_end(t, at, next) {
        range = if mixed {
            Range { low: low + high, high: low + high }
        } else {
            Range { low: low.min(high), high: low.max(high) }
        };
        next = end;
    }
    if t.is(next, "dozen") {
        let twelve = Exact::whole(12);
        range = Range { low: range.low * twelve, high: range.high * twelve };
        next += 1;
    }
    Some((range, next))
}

/// `between 2 and 3`, `between 1 lb and 2 lb`, after the first word.
fn between(t: &Tokens<'_>, at: usize) -> Option<(Range, usize)> {
    let (low, next) = number(t, at)?;
    let (first_unit, next) = match unit(t, next) {
        Some((first, _, end)) if t.is(end, "and") => (Some(first), end),
        _ => (None, next),
    };
    let (high, end) = if t.is(next, "and") { number(t, next + 1)? } else { return None };
    let same = first_unit.is_none_or(|first| unit(t, end).is_some_and(|(second, ..)| second == first));
    same.then(|| (Range { low: low.min(high), high: low.max(high) }, end))
}

/// What follows `2 to`, `2-`, `2 or`, and whether it is the fraction of a mixed number (`1-1/2`).
fn range_end(t: &Tokens<'_>, start: usize, at: usize) -> Option<(Exact, bool, usize)> {
    let mut next = at;
    let dashed = t.is_mark(next, '-');
    if dashed {
        next += 1;
    }
    let worded = t.has(next, Class::JOIN) && t.is_any(next, &["to", "or"]);
    if worded {
        next += 1;
    }
    let is_digit = |at: usize| t.at(at).is_some_and(|token| matches!(token.kind, Kind::Number(..)));
    if !(dashed || worded)
        || !(is_digit(next) || (worded && t.has(next, Class::NUMBER) && !t.is_any(next, &["a", "an"])))
    {
        return None;
    }
    let (high, end) = number(t, next)?;
    let whole_first = matches!(t.at(start)?.kind, Kind::Number(_, Shape::Whole));
    let fraction = matches!(t.at(next)?.kind, Kind::Number(value, Shape::Fraction) if value < Exact::ONE);
    let mixed = dashed && !worded && whole_first && fraction && t.is_glued(at) && end == next + 1;
    // `1 14-ounce` and its like: a second number with a unit of its own is a size, which a range never follows.
    Some((high, mixed, end))
}

/// A single number: digits, words, or both (`1 1/2`, `one and a half`, `half a dozen`).
fn number(t: &Tokens<'_>, at: usize) -> Option<(Exact, usize)> {
    let token = t.at(at)?;
    if let Kind::Number(value, shape) = token.kind {
        if t.is(at + 1, "percent") {
            return None;
        }
        if shape == Shape::Whole
            && let Some((fraction, next)) = fraction_after(t, at + 1)
        {
            return Some((value + fraction, next));
        }
        // `1/2 a lemon`
        let article = shape == Shape::Fraction && t.is_any(at + 1, &["a", "an"]);
        return Some((value, at + 1 + usize::from(article)));
    }
    if token.class.is(Class::NUMBER) { word_number(t, at) } else { None }
}

/// `1/2` after a whole number: `1 1/2`, `1 and 1/2`, `1 & ½`, `2 and a half`.
fn fraction_after(t: &Tokens<'_>, at: usize) -> Option<(Exact, usize)> {
    let next = if t.is(at, "and") { at + 1 } else { at };
    match t.at(next)?.kind {
        Kind::Number(value, Shape::Fraction) if value < Exact::ONE && value.is_positive() => Some((value, next + 1)),
        Kind::Word if next > at => {
            let next = if t.is(next, "a") || t.is(next, "one") { next + 1 } else { next };
            share(t.fold(next)).map(|value| (value, next + 1))
        }
        _ => None,
    }
}

fn share(word: &str) -> Option<Exact> {
    Some(match word {
        "half" => Exact::new(1, 2),
        "third" => Exact::new(1, 3),
        "quarter" => Exact::new(1, 4),
        _ => return None,
    })
}

fn word_number(t: &Tokens<'_>, at: usize) -> Option<(Exact, usize)> {
    if let Some(value) = share(t.fold(at)) {
        return (t.fold(at + 1) != "and" && !t.is_mark(at + 1, '/')).then(|| (value, after_of(t, at + 1)));
    }
    let value = word_value(t.fold(at))?;
    let mut next = at + 1;
    if matches!(t.fold(at), "a" | "an" | "one" | "two" | "three")
        && let Some(share) = share(t.fold(next))
    {
        return Some((value * share, after_of(t, next + 1)));
    }
    if t.is(at, "a") {
        next = match t.fold(next) {
            "couple" | "pair" => return Some((Exact::whole(2), after_of(t, next + 1))),
            "dozen" => next,
            _ => next,
        };
    }
    if t.is_any(at, &["couple", "pair"]) {
        next = after_of(t, next);
    }
    if let Some((fraction, end)) = fraction_after(t, next) {
        return Some((value + fraction, end));
    }
    // `a 1/2 cup`, `one 28-ounce can`: an article before digits counts one only before a size, which is seen later.
    Some((value, next))
}

/// Past `of`, `of a`, `a`: `half of a lemon`, `half a dozen`.
fn after_of(t: &Tokens<'_>, at: usize) -> usize {
    let next = if t.is(at, "of") { at + 1 } else { at };
    if t.is_any(next, &["a", "an"]) { next + 1 } else { next }
}

fn word_value(word: &str) -> Option<Exact> {
    Some(Exact::whole(match word {
        "a" | "an" | "one" => 1,
        "two" | "couple" | "pair" => 2,
        "three" => 3,
        "four" => 4,
        "five" => 5,
        "six" => 6,
        "seven" => 7,
        "eight" => 8,
        "nine" => 9,
        "ten" => 10,
        "eleven" => 11,
        "twelve" | "dozen" => 12,
        "thirteen" => 13,
        "fourteen" => 14,
        "fifteen" => 15,
        "sixteen" => 16,
        "eighteen" => 18,
        "twenty" => 20,
        "thirty" => 30,
        "forty" => 40,
        "fifty" => 50,
        "hundred" => 100,
        _ => return None,
    }))
}

/// The unit at a place, how many of it (a decilitre is 100 ml), and where it ends.
pub(super) fn unit(t: &Tokens<'_>, at: usize) -> Option<(Unit, u16, usize)> {
    let token = t.at(at)?;
    if token.end - token.start == 1 {
        match t.written(at) {
            "T" => return "tbsp".parse().ok().map(|unit| (unit, 1, at + 1)),
            "t" => return "tsp".parse().ok().map(|unit| (unit, 1, at + 1)),
            "#" => return "lb".parse().ok().map(|unit| (unit, 1, at + 1)),
            _ => {}
        }
    }
    if token.kind == Kind::Word && t.fold(at).starts_with("fl") && t.is_any(at, &["fl", "fluid"]) {
        let ounce = t.is_any(at + 1, &["oz", "ounce", "ozs"]);
        return ounce.then(|| "floz".parse().ok().map(|unit| (unit, 1, at + 2)))?;
    }
    let (unit, scale) = token.unit?;
    if t.written(at).eq_ignore_ascii_case("flat") && is_flat_of_something(t, at) {
        return None;
    }
    Some((unit, scale, at + 1))
}

/// A flat is a container where it is of something, or the last word; before another word it says how a leaf, a mushroom
/// or a noodle is.
fn is_flat_of_something(t: &Tokens<'_>, at: usize) -> bool {
    t.at(at + 1).is_some_and(|next| next.kind == Kind::Word) && !t.is(at + 1, "of")
}

/// A mass or volume: `14.5-oz`, `400 g`, `6- to 8-ounce`; the high end of a range. And where it ends.
pub(super) fn sized(t: &Tokens<'_>, at: usize) -> Option<(Amount, usize)> {
    let (range, next) = range(t, at)?;
    sized_after(t, range, next)
}

/// The unit of a mass or volume after its number.
fn sized_after(t: &Tokens<'_>, range: Range, next: usize) -> Option<(Amount, usize)> {
    let next = if t.is_mark(next, '-') { next + 1 } else { next };
    let (unit, scale, next) = unit(t, next)?;
    if unit.is_count() || out_of_range(range.high) {
        return None;
    }
    let value = if scale == 1 { range.high } else { range.high * Exact::whole(i64::from(scale)) };
    Some((Amount::new(value, unit), next))
}

/// Whether it is nothing, or beyond anything a kitchen holds.
pub(super) fn out_of_range(value: Exact) -> bool {
    !value.is_positive() || value > MOST
}

/// A length: `2-inch`, `5 cm`, `1"`, `2.5cm/1in`. Its inches to the nearest, and where it ends.
fn length(t: &Tokens<'_>, at: usize) -> Option<(i128, usize)> {
    let (range, next) = range(t, at)?;
    length_after(t, range, next)
}

/// A length after its number; the same length in other units after a slash.
fn length_after(t: &Tokens<'_>, range: Range, next: usize) -> Option<(i128, usize)> {
    let next = if t.is_mark(next, '-') { next + 1 } else { next };
    let millimeters = match t.fold(next) {
        "inch" | "in" => Exact::new(254, 10),
        "cm" | "centimeter" | "centimetre" => Exact::whole(10),
        "mm" => Exact::ONE,
        "" if t.is_mark(next, '"') => Exact::new(254, 10),
        _ => return None,
    };
    let inches = if out_of_range(range.high) { 0 } else { (range.high * millimeters / Exact::new(254, 10)).round() };
    // The same length in other units: `2.5cm/1in`, `2.5 cm (1 inch)`.
    let other = if t.is_mark(next + 1, '/') {
        length(t, next + 2).map(|(_, end)| end)
    } else if t.is_mark(next + 1, '(') && length(t, next + 2).is_some() {
        closing(t, next + 1).map(|close| close + 1)
    } else {
        None
    };
    Some((inches, other.unwrap_or(next + 1)))
}

impl Quantity {
    /// Reads the amount that a line begins with, and where it ends. Without an amount the quantity is empty.
    pub(super) fn read(t: &Tokens<'_>, start: usize) -> (Self, usize) {
        let mut quantity = Self::default();
        let at = quantity.vague(t, start);
        if at > start && quantity.range.is_none() && !quantity.notes.is_empty() {
            return (quantity, at);
        }
        let between = if t.is(at, "between") { between(t, at + 1) } else { None };
        let Some((range, next)) = between.or_else(|| range(t, at)) else { return quantity.implied(t, at) };
        quantity.range = Some(range);
        let next = quantity.after_number(t, at, next);
        quantity.check_range();
        (quantity, next)
    }

    /// Past `about`, `a scant`; `a few` and its like say no number.
    fn vague(&mut self, t: &Tokens<'_>, start: usize) -> usize {
        if t.at(start).is_some_and(|token| matches!(token.kind, Kind::Number(..))) {
            return start;
        }
        let mut at = start;
        loop {
            let mark = t.is_mark(at, '~') || t.is_mark(at, '#');
            let two =
                t.is_any(at, &["up", "at", "just"]) && t.is_any(at + 1, &["to", "least", "most", "over", "under"]);
            if two {
                at += 2;
            } else if mark || (t.has(at, Class::VAGUE) && t.is_any(at, ABOUT) && !t.is_any(at, &["up", "at", "just"])) {
                at += 1;
            } else {
                break;
            }
        }
        let article = usize::from(t.is_any(at, &["a", "an"]));
        let mut word = at + article;
        while t.is_any(
            word,
            &["good", "little", "small", "generous", "big", "healthy", "light", "large", "scant", "heaping"],
        ) && word < at + 3
        {
            // `a little oil` is vague; `a small onion` is one.
            if t.is(word, "little") && article == 1 && !is_vague(t, word + 1) {
                self.notes.push((at, word));
                return after_of(t, word + 1);
            }
            word += 1;
        }
        if is_vague(t, word) && t.at(word + 1).is_some() {
            let end = if t.at(word + 1).and_then(|next| next.unit).is_some_and(|(unit, _)| unit.is_count())
                && t.at(word + 2).is_some()
            {
                word + 1
            } else {
                word
            };
            self.vague_unit = t.at(end).and_then(|token| token.unit).map(|(unit, _)| unit);
            self.notes.push((at, end));
            return after_of(t, end + 1);
        }
        // `a scant cup`, `heaping 1/4 cup`: how full the measure is.
        if t.has(word, Class::NUMBER) || t.at(word).is_some_and(|token| matches!(token.kind, Kind::Number(..))) {
            if word > at + article {
                self.notes.push((at + article, word - 1));
                return word;
            }
            // `a 1/2 cup`: the article says nothing before a fraction.
            if article == 1
                && matches!(t.at(word).map(|token| token.kind), Some(Kind::Number(value, Shape::Fraction)) if value < Exact::ONE)
            {
                return word;
            }
        }
        at
    }

    /// `pinch of salt`, `cup of milk`: one, where the line begins with the word.
    fn implied(mut self, t: &Tokens<'_>, start: usize) -> (Self, usize) {
        let mut at = start;
        while t.has(at, Class::FILL) && t.at(at).is_some_and(|token| token.unit.is_none()) && at < start + 2 {
            at += 1;
        }
        let Some((unit, _, next)) = unit(t, at) else { return (self, start) };
        let of = t.is(next, "of");
        let by_word = unit.is_count() && unit != Unit::Each && t.at(next).is_some_and(|token| token.kind == Kind::Word);
        if !of && !by_word || t.written(at).len() < 2 {
            return (self, start);
        }
        if at > start {
            self.notes.push((start, at - 1));
        }
        self.range = Some(Range { low: Exact::ONE, high: Exact::ONE });
        self.unit = Some(unit);
        self.unit_at = unit.is_count().then_some(at);
        (self, if of { next + 1 } else { next })
    }

    /// What follows the number: a size, a unit, further amounts.
    fn after_number(&mut self, t: &Tokens<'_>, start: usize, at: usize) -> usize {
        let mut at = at;
        let cross = t.is(at, "x") || t.is_mark(at, '×') || t.is_mark(at, '*');
        if cross {
            at += 1;
        }
        let length = self.range.and_then(|range| length_after(t, range, at));
        if let Some((inches, end)) = length.filter(|(_, end)| t.at(*end).is_some_and(|token| token.kind == Kind::Word))
        {
            self.inches = Some(inches);
            return self.piece_of_length(t, start, end);
        }
        at = self.size_before_unit(t, at);
        if self.size.is_none()
            && let Some(end) = self.size_without_count(t, at)
        {
            return end;
        }
        let at = self.unit_here(t, at);
        self.after_unit(t, at)
    }

    /// `2-inch piece ginger`, `1 inch ginger`: one piece, the length in the note.
    fn piece_of_length(&mut self, t: &Tokens<'_>, start: usize, end: usize) -> usize {
        self.notes.push((start, end - 1));
        self.range = Some(Range { low: Exact::ONE, high: Exact::ONE });
        self.unit = Unit::count("piece");
        let end = if let Some((unit, _, next)) = unit(t, end).filter(|(unit, ..)| unit.is_count()) {
            self.unit = Some(unit);
            self.unit_at = Some(end);
            next
        } else {
            end
        };
        if t.is(end, "of") { end + 1 } else { end }
    }

    /// `(14.5-oz)`, `14-ounce`, `400 g` between the number and what it counts.
    fn size_before_unit(&mut self, t: &Tokens<'_>, at: usize) -> usize {
        let next = if t.is_mark(at, '-') { at + 1 } else { at };
        if t.is_mark(at, '(') {
            let Some(close) = closing(t, at) else { return at };
            let inner = past_about(t, at + 1);
            if let Some((size, _)) = sized(t, inner) {
                self.size = Some(size);
                return close + 1;
            }
            if let Some((inches, _)) = length(t, inner) {
                self.inches = Some(inches);
                self.notes.push((at + 1, close - 1));
                return close + 1;
            }
            return at;
        }
        let about = past_about(t, next);
        let in_words = t.has(about, Class::NUMBER) && !t.is_any(about, &["a", "an", "dozen", "couple", "pair"]);
        if !in_words && !t.at(about).is_some_and(|token| matches!(token.kind, Kind::Number(..))) {
            return at;
        }
        if let Some((size, end)) = sized(t, about) {
            self.size = Some(size);
            return if t.is_mark(end, '-') { end + 1 } else { end };
        }
        match length(t, about) {
            Some((inches, end)) => {
                self.inches = Some(inches);
                self.notes.push((about, end - 1));
                end
            }
            None => at,
        }
    }

    /// `28-ounce can tomatoes`: one can of that size.
    fn size_without_count(&mut self, t: &Tokens<'_>, at: usize) -> Option<usize> {
        let (size, end) = sized_after(t, self.range?, at)?;
        // `7 oz (200 g) block`: the same size in other units.
        let end = match t.at(end)?.kind {
            Kind::Mark('(') => closing(t, end)? + 1,
            Kind::Mark('/') => sized(t, end + 1)?.1,
            _ => end,
        };
        let (unit, _, next) = unit(t, end)?;
        let Unit::Count(word) = unit else { return None };
        if !word.is_container() {
            return None;
        }
        self.range = Some(Range { low: Exact::ONE, high: Exact::ONE });
        (self.size, self.unit, self.unit_at) = (Some(size), Some(unit), Some(end));
        Some(self.after_unit(t, next))
    }

    /// The unit, past `heaping`, `large`, `packed`.
    fn unit_here(&mut self, t: &Tokens<'_>, start: usize) -> usize {
        let start = if t.is_mark(start, '-') { start + 1 } else { start };
        let mut at = start;
        while at < start + 3 && unit(t, at).is_none() && t.has(at, Class::FILL) {
            at += 1;
        }
        let Some((found, scale, next)) = unit(t, at) else { return start };
        if found == Unit::Each {
            self.each = t.is_any(at, &["each", "ea"]);
        }
        for filler in start..at {
            if t.has(filler, Class::PREP) || t.has(filler, Class::SIZE) || t.has(filler, Class::ADVERB) {
                self.tellers.push(filler);
            }
        }
        if (start..at).any(|filler| !t.has(filler, Class::PREP) && !t.has(filler, Class::ADVERB)) {
            self.notes.push((start, at - 1));
        }
        self.scale(scale);
        self.unit = Some(found);
        self.unit_at = found.is_count().then_some(at);
        self.unit_from = Some(start);
        next
    }

    fn scale(&mut self, scale: u16) {
        if scale == 1 {
            return;
        }
        let scale = Exact::whole(i64::from(scale));
        self.range = self.range.map(|range| Range { low: range.low * scale, high: range.high * scale });
    }

    /// What follows the unit: the other end of a range, a second amount, the same amount in other units, `each`, `of`.
    fn after_unit(&mut self, t: &Tokens<'_>, at: usize) -> usize {
        let mut at = at;
        if self.size.is_none() || self.unit.is_some() {
            at = self.size_after_container(t, at);
        }
        loop {
            let next = self.one_more(t, at);
            if next == at {
                break;
            }
            at = next;
        }
        if t.is(at, "each") {
            self.each = true;
            at += 1;
            if t.is_mark(at, ':') {
                at += 1;
            }
        }
        // `1 recipe's worth of dough`
        if t.is(at, "worth") {
            at += 1;
        }
        if t.is(at, "of") {
            at += 1;
            if t.is_any(at, &["the", "a", "an"]) { at + 1 } else { at }
        } else {
            at
        }
    }

    /// `2 cans (14 oz each)`, `1 jar, 24 oz`.
    fn size_after_container(&mut self, t: &Tokens<'_>, at: usize) -> usize {
        let Some(Unit::Count(_)) = self.unit else { return at };
        let Some(close) = t.is_mark(at, '(').then(|| closing(t, at)).flatten() else { return at };
        let inner = past_about(t, at + 1);
        let is_container = matches!(self.unit, Some(Unit::Count(word)) if word.is_container());
        let each = (inner..close).any(|at| t.is_any(at, &["each", "apiece"]));
        match sized(t, inner) {
            Some((size, _)) if is_container || each => {
                self.size = Some(size);
                close + 1
            }
            _ => at,
        }
    }

    /// One more amount of the same thing: `to 3/4 cup`, `plus 2 tbsp`, `/ 240 ml`, `4 oz` after `1 lb`.
    fn one_more(&mut self, t: &Tokens<'_>, at: usize) -> usize {
        let Some(mine) = self.unit else { return at };
        let joined = (t.has(at, Class::JOIN) && t.is_any(at, &["plus", "and", "to", "or"]))
            || ['+', '/', '-'].iter().any(|mark| t.is_mark(at, *mark));
        let start = past_about(t, if joined { at + 1 } else { at });
        let digit =
            t.at(start).is_some_and(|token| matches!(token.kind, Kind::Number(..)) || token.class.is(Class::NUMBER));
        if !digit {
            return at;
        }
        let Some((more, next)) = range(t, start) else { return at };
        let next = if t.is_mark(next, '-') { next + 1 } else { next };
        let Some((theirs, scale, end)) = unit(t, next) else { return at };
        let scale = Exact::whole(i64::from(scale));
        let more = Range { low: more.low * scale, high: more.high * scale };
        if t.is(at, "or") && theirs == mine {
            return if self.extend(more, theirs, mine) { end } else { at };
        }
        if t.is_mark(at, '/') || t.is(at, "or") {
            let end = rest_of_alternative(t, theirs, end);
            self.notes.push((start, end - 1));
            return end;
        }
        if t.is(at, "to") || t.is_mark(at, '-') {
            return if self.extend(more, theirs, mine) { end } else { at };
        }
        if !joined && (mine.is_count() || theirs.is_count()) {
            return at;
        }
        if !self.add(more, theirs, mine) {
            if !joined || t.is(at, "and") {
                return at;
            }
            self.differ = true;
            self.notes.push((at, end - 1));
        }
        end
    }

    /// The high end of `1/2 cup to 3/4 cup`.
    fn extend(&mut self, more: Range, theirs: Unit, mine: Unit) -> bool {
        let converted = Amount::new(more.high, theirs).to_unit(mine);
        let Some((range, high)) = self.range.as_mut().zip(converted) else { return false };
        range.high = range.high.max(high.value);
        true
    }

    /// Adds a second amount, in the first one's unit; `false` where the one is no multiple of the other.
    pub(super) fn add(&mut self, more: Range, theirs: Unit, mine: Unit) -> bool {
        let convert = |value| Amount::new(value, theirs).to_unit(mine).map(|amount| amount.value);
        let (Some(range), Some(low), Some(high)) = (self.range.as_mut(), convert(more.low), convert(more.high)) else {
            return false;
        };
        *range = Range { low: range.low + low, high: range.high + high };
        true
    }

    /// Nothing and enormous amounts are read as none.
    pub(super) fn check_range(&mut self) {
        if self.range.is_some_and(|range| out_of_range(range.high) || out_of_range(range.low)) {
            (self.range, self.out_of_range) = (None, true);
        }
    }
}

/// The same amount in other units may have two parts: `500 g/1 lb 2 oz`.
fn rest_of_alternative(t: &Tokens<'_>, first: Unit, at: usize) -> usize {
    let at_number = t.at(at).is_some_and(|token| matches!(token.kind, Kind::Number(..)));
    let second = if at_number { sized(t, at) } else { None };
    match second {
        Some((second, end)) if std::mem::discriminant(&second.unit) == std::mem::discriminant(&first) => end,
        _ => at,
    }
}

/// Words before a number that leave it a number; the other vague words stand in its place.
const ABOUT: &[&str] = &[
    "about",
    "approximately",
    "approx",
    "roughly",
    "around",
    "circa",
    "ca",
    "nearly",
    "almost",
    "some",
    "up",
    "at",
    "just",
    "total",
    "net",
];

/// Whether a word stands for an amount that is no number.
fn is_vague(t: &Tokens<'_>, at: usize) -> bool {
    t.has(at, Class::VAGUE) && !t.is_any(at, ABOUT)
}

/// Past `about` and its like.
pub(super) fn past_about(t: &Tokens<'_>, at: usize) -> usize {
    let mut at = at;
    while (t.has(at, Class::VAGUE)
        && t.is_any(at, &["about", "approx", "approximately", "roughly", "around", "total", "net"]))
        || t.is_mark(at, '~')
    {
        at += 1;
    }
    at
}

/// The closing bracket of an opening one.
pub(super) fn closing(t: &Tokens<'_>, open: usize) -> Option<usize> {
    let mut depth = 0_usize;
    for at in open..t.list.len() {
        if t.is_mark(at, '(') {
            depth += 1;
        } else if t.is_mark(at, ')') {
            depth = depth.saturating_sub(1);
            if depth == 0 {
                return Some(at);
            }
        }
    }
    None
}
