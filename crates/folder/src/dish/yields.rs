//! How much a dish makes: `Serves 6`, `Serves 4-6`, `Makes 24 cookies`, `Makes 3 cups`.
//!
//! A range counts at its low end, so that nobody goes short: a dish that serves four to six is cooked as one for four.

use trug_measure::{Exact, Unit, VolumeUnit};
use trug_provision::kitchen::Makes;

use crate::problem::What;
use crate::table::start_of;

/// The most portions or pieces that a dish may make.
const MOST: Exact = Exact::whole(10_000);

const FRACTIONS: [(char, i128, i128); 15] = [
    ('½', 1, 2),
    ('⅓', 1, 3),
    ('⅔', 2, 3),
    ('¼', 1, 4),
    ('¾', 3, 4),
    ('⅕', 1, 5),
    ('⅖', 2, 5),
    ('⅗', 3, 5),
    ('⅘', 4, 5),
    ('⅙', 1, 6),
    ('⅚', 5, 6),
    ('⅛', 1, 8),
    ('⅜', 3, 8),
    ('⅝', 5, 8),
    ('⅞', 7, 8),
];

const NUMBER_WORDS: [(&str, i128); 15] = [
    ("a", 1),
    ("an", 1),
    ("one", 1),
    ("two", 2),
    ("three", 3),
    ("four", 4),
    ("five", 5),
    ("six", 6),
    ("seven", 7),
    ("eight", 8),
    ("nine", 9),
    ("ten", 10),
    ("eleven", 11),
    ("twelve", 12),
    ("dozen", 12),
];

/// Words before a number that say it is no exact one.
const ABOUT: [&str; 7] = ["about", "approximately", "approx.", "approx", "around", "roughly", "~"];

/// What a text of a yield says.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Yield {
    /// So many portions.
    Serves(Exact),
    /// So much of something.
    Makes(Makes),
    /// A number without a word.
    Bare(Exact),
}

/// Reads what stands after `Serves`.
pub(crate) fn serves(text: &str) -> Result<Exact, What> {
    Ok(amount(text)?.0)
}

/// Reads what stands after `Makes`; portions of a kind that people eat are what it serves.
pub(crate) fn makes(text: &str) -> Result<Yield, What> {
    let (value, rest) = amount(text)?;
    let (value, rest) = dozens(value, rest);
    if counts_people(rest) {
        return Ok(Yield::Serves(value));
    }
    let (unit, of) = unit(rest);
    Ok(Yield::Makes(Makes { value, unit, of: of.trim().to_owned() }))
}

/// Reads a text that may be any of `Serves 6`, `Makes 24 cookies`, `6 servings`, `24 cookies`, `6`.
pub(crate) fn any(text: &str) -> Result<Yield, What> {
    if let Some(rest) = after_word(text, "serves") {
        return serves(rest).map(Yield::Serves);
    }
    for word in ["makes", "yields", "yield"] {
        if let Some(rest) = after_word(text, word) {
            return any(rest);
        }
    }
    let (value, rest) = amount(text)?;
    if rest.is_empty() { Ok(Yield::Bare(value)) } else { makes(text) }
}

/// What stands after a line's first word, with or without a colon, where that is the first word.
pub(crate) fn after_word<'t>(line: &'t str, word: &str) -> Option<&'t str> {
    let line = line.trim();
    let (start, rest) = line.split_at_checked(word.len())?;
    let fits = start.eq_ignore_ascii_case(word) && (rest.is_empty() || rest.starts_with([' ', '\t', ':', '\u{a0}']));
    fits.then(|| rest.trim_start().trim_start_matches(':').trim())
}

/// The low end of the amount at the start of a text, and what follows it.
fn amount(text: &str) -> Result<(Exact, &str), What> {
    let bad = || What::BadYield(start_of(text));
    let plain = without_about(text.trim());
    if plain.strip_prefix(['-', '−']).is_some_and(|rest| number(rest).is_some()) {
        return Err(What::YieldOutOfRange(start_of(text)));
    }
    let (first, rest) = number(plain).ok_or_else(bad)?;
    let (low, rest) = match range_end(rest) {
        Some((second, rest)) => (first.min(second), rest),
        None => (first, rest),
    };
    // A comma within the digits would cut a thousand down to one.
    if rest.strip_prefix([',', '.']).is_some_and(|rest| rest.starts_with(|c: char| c.is_ascii_digit())) {
        return Err(bad());
    }
    if !low.is_positive() || low > MOST {
        return Err(What::YieldOutOfRange(start_of(text)));
    }
    Ok((low, rest.trim_start()))
}

fn without_about(text: &str) -> &str {
    let found = ABOUT.iter().find_map(|word| {
        let (start, rest) = text.split_at_checked(word.len())?;
        let ends = *word == "~" || rest.starts_with(' ');
        (start.eq_ignore_ascii_case(word) && ends).then(|| rest.trim_start())
    });
    found.unwrap_or(text)
}

fn range_end(rest: &str) -> Option<(Exact, &str)> {
    let rest = rest.trim_start();
    let after = rest.strip_prefix(['-', '–', '—', '‑']).or_else(|| rest.strip_prefix("to "));
    number(after.or_else(|| rest.strip_prefix("or "))?.trim_start())
}

/// A number at the start of a text: `6`, `1.5`, `1/2`, `1 1/2`, `1½`, `six`.
fn number(text: &str) -> Option<(Exact, &str)> {
    if let Some(mixed) = digits(text) {
        return Some(mixed);
    }
    if let Some(fraction) = glyph(text) {
        return Some(fraction);
    }
    let end = text.find(|c: char| !c.is_ascii_alphabetic()).unwrap_or(text.len());
    let (word, rest) = text.split_at_checked(end)?;
    let (_, value) = NUMBER_WORDS.iter().find(|(name, _)| name.eq_ignore_ascii_case(word))?;
    Some((Exact::new(*value, 1), rest))
}

fn digits(text: &str) -> Option<(Exact, &str)> {
    let (whole, rest) = decimal(text)?;
    if let Some((below, rest)) = rest.strip_prefix(['/', '⁄']).and_then(decimal) {
        return (!below.is_zero()).then(|| (whole / below, rest));
    }
    let next = rest.trim_start();
    if let Some((part, rest)) = glyph(next) {
        return Some((whole + part, rest));
    }
    let fraction = decimal(next).and_then(|(above, rest)| {
        let (below, rest) = decimal(rest.strip_prefix(['/', '⁄'])?)?;
        (!below.is_zero()).then(|| (whole + above / below, rest))
    });
    Some(fraction.unwrap_or((whole, rest)))
}

fn decimal(text: &str) -> Option<(Exact, &str)> {
    let end = text.find(|c: char| !c.is_ascii_digit()).unwrap_or(text.len());
    let point = text
        .get(end..)
        .and_then(|rest| rest.strip_prefix('.'))
        .map_or(0, |rest| rest.find(|c: char| !c.is_ascii_digit()).unwrap_or(rest.len()));
    let (number, rest) = text.split_at_checked(if point == 0 { end } else { end + 1 + point })?;
    Some((number.parse().ok()?, rest))
}

fn glyph(text: &str) -> Option<(Exact, &str)> {
    let first = text.chars().next()?;
    let (_, above, below) = FRACTIONS.iter().find(|(glyph, _, _)| *glyph == first)?;
    Some((Exact::new(*above, *below), text.get(first.len_utf8()..)?))
}

fn dozens(value: Exact, rest: &str) -> (Exact, &str) {
    match after_word(rest, "dozen") {
        Some(rest) => (value * Exact::whole(12), rest),
        None => (value, rest),
    }
}

fn counts_people(rest: &str) -> bool {
    let word = rest.split(|c: char| !c.is_alphabetic()).next().unwrap_or_default().to_lowercase();
    matches!(
        word.as_str(),
        "serving" | "servings" | "portion" | "portions" | "people" | "persons" | "person" | "diners" | "eaters"
    )
}

/// The unit at the start of a text, of one word or two, and what is left; `each` where there is none.
fn unit(rest: &str) -> (Unit, &str) {
    let ends = rest.char_indices().filter(|(_, c)| c.is_whitespace()).map(|(at, _)| at).chain([rest.len()]);
    let mut ends: Vec<usize> = ends.take(2).collect();
    ends.reverse();
    for end in ends {
        let (words, left) = rest.split_at_checked(end).unwrap_or(("", rest));
        if let (false, Ok(unit)) = (words.is_empty(), words.parse()) {
            let left = left.trim_start();
            return (unit, left.strip_prefix("of ").unwrap_or(left));
        }
    }
    (Unit::Each, rest)
}

/// `Serves 6`.
pub(crate) fn write_serves(serves: Exact) -> String {
    format!("Serves {}", crate::write::number(serves))
}

/// `Makes 24 cookies`, `Makes 3 cups`.
pub(crate) fn write_makes(made: &Makes) -> String {
    let number = crate::write::number(made.value);
    let unit = match made.unit {
        Unit::Each => "",
        unit => unit_word(unit, made.value),
    };
    let of = made.of.split_whitespace().collect::<Vec<_>>().join(" ");
    let plain =
        [number.as_str(), unit, of.as_str()].into_iter().filter(|word| !word.is_empty()).collect::<Vec<_>>().join(" ");
    let reads_back = makes(&plain).is_ok_and(|read| matches!(&read, Yield::Makes(read) if read == made));
    if reads_back {
        format!("Makes {plain}")
    } else {
        format!("Makes {number} {} {of}", made.unit).trim_end().to_owned()
    }
}

fn unit_word(unit: Unit, value: Exact) -> &'static str {
    match unit {
        Unit::Volume(VolumeUnit::Cup) if value > Exact::ONE => "cups",
        Unit::Volume(VolumeUnit::Pint) if value > Exact::ONE => "pints",
        Unit::Volume(VolumeUnit::Quart) if value > Exact::ONE => "quarts",
        Unit::Count(word) if value > Exact::ONE => word.plural(),
        unit => unit.symbol(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn made(value: &str, unit: &str, of: &str) -> Yield {
        Yield::Makes(Makes { value: value.parse().unwrap(), unit: unit.parse().unwrap(), of: of.to_owned() })
    }

    #[test]
    fn what_a_dish_yields() {
        let serves = |text: &str| Yield::Serves(text.parse().unwrap());
        for (text, want) in [
            ("Serves 6", serves("6")),
            ("serves: 4-6", serves("4")),
            ("Serves 4 to 6 as a side", serves("4")),
            ("Serves 6–4", serves("4")),
            ("Serves about eight", serves("8")),
            ("6 servings", serves("6")),
            ("Makes 4 portions", serves("4")),
            ("Yield: 6 servings", serves("6")),
            ("6", Yield::Bare(Exact::whole(6))),
            ("2.5", Yield::Bare("2.5".parse().unwrap())),
            ("Makes 24 cookies", made("24", "each", "cookies")),
            ("24 cookies", made("24", "each", "cookies")),
            ("Makes 2 dozen cookies", made("24", "each", "cookies")),
            ("Makes a dozen muffins", made("12", "each", "muffins")),
            ("Makes 3 cups", made("3", "cup", "")),
            ("Makes 1 1/2 cups", made("1.5", "cup", "")),
            ("Makes 1½ cups of dressing", made("1.5", "cup", "dressing")),
            ("Makes 500g", made("500", "g", "")),
            ("Makes 8 fl oz", made("8", "floz", "")),
            ("1 loaf", made("1", "loaf", "")),
            ("Makes 2 (9-inch) pies", made("2", "each", "(9-inch) pies")),
        ] {
            assert_eq!(any(text), Ok(want), "{text}");
        }
    }

    #[test]
    fn what_is_no_yield() {
        for text in ["Serves", "Serves a-", "Serves many", "Makes", "Makes 1,000 cookies", ""] {
            let read = any(text);
            assert!(matches!(read, Err(What::BadYield(_))) || text == "Serves a-", "{text}: {read:?}");
        }
        for text in ["Serves 0", "Serves -2", "Serves 10001", "Makes 0 cookies", "Makes 999999999 cups"] {
            let read = any(text);
            assert!(matches!(read, Err(What::YieldOutOfRange(_))), "{text}: {read:?}");
        }
    }

    #[test]
    fn writes_what_it_reads() {
        for text in ["Makes 24 cookies", "Makes 3 cups", "Makes 1.5 cups dressing", "Makes 1/3 cup", "Makes 2 loaves"] {
            let Ok(Yield::Makes(read)) = any(text) else { panic!("{text}") };
            assert_eq!(write_makes(&read), text);
        }
        let odd = Makes { value: Exact::whole(4), unit: Unit::Each, of: "cups".to_owned() };
        assert_eq!(any(&write_makes(&odd)), Ok(Yield::Makes(odd)));
    }
}
