//! What is written into fields, and what is shown of figures.

use chrono::{Datelike, Days, NaiveDate, Weekday};
use trug_folder::is_id;
use trug_measure::{Amount, Exact, Money, Unit, kitchen_number};
use yew::prelude::AttrValue;

use crate::platform::locale::{DateForm, Join, Locale};
use crate::words::{spoken, t};

thread_local! {
    static LOCALE: std::cell::RefCell<Option<std::rc::Rc<Locale>>> = const { std::cell::RefCell::new(None) };
}

/// How the reader writes: the language spoken, in the browser's own region where that is of the language.
pub(super) fn locale() -> std::rc::Rc<Locale> {
    let language = spoken().tag();
    LOCALE.with(|kept| {
        let known = kept.borrow().clone().filter(|locale| locale.tag().starts_with(language));
        known.unwrap_or_else(|| {
            let own = crate::platform::locale::preferred().into_iter().find(|tag| tag.starts_with(language));
            let made = std::rc::Rc::new(Locale::new(own.as_deref().unwrap_or(language)));
            kept.replace(Some(made.clone()));
            made
        })
    })
}

/// Money as the reader writes it.
pub(super) fn money(sum: Money) -> AttrValue {
    locale().money(&sum.to_string(), sum.currency.code()).into()
}

/// A day, short.
pub(super) fn day(date: NaiveDate) -> AttrValue {
    locale().date(&date.to_string(), DateForm::Short).into()
}

/// Words joined as in a sentence.
pub(super) fn joined<T: AsRef<str>>(words: &[T]) -> AttrValue {
    locale().list(words, Join::And).into()
}

/// Today, where the phone is.
pub(super) fn today() -> NaiveDate {
    let now = js_sys::Date::new_0();
    let year = i32::try_from(now.get_full_year()).unwrap_or(2000);
    NaiveDate::from_ymd_opt(year, now.get_month() + 1, now.get_date()).unwrap_or_default()
}

/// The Monday of a day's week.
pub(super) fn monday(date: NaiveDate) -> NaiveDate {
    moved(date, -i64::from(date.weekday().num_days_from_monday()))
}

/// A week's id: `2026-W10`, by ISO 8601.
pub(super) fn week_id(date: NaiveDate) -> String {
    let week = date.iso_week();
    format!("{}-W{:02}", week.year(), week.week())
}

/// The Monday that a week's id names; `None` where it is named otherwise.
pub(super) fn week_start(id: &str) -> Option<NaiveDate> {
    let (year, week) = id.split_once("-W")?;
    NaiveDate::from_isoywd_opt(year.parse().ok()?, week.parse().ok()?, Weekday::Mon)
}

/// A week's name: by its Monday where its id says which, else as it is called.
pub(super) fn week_name(id: &str) -> AttrValue {
    week_start(id).map_or_else(|| AttrValue::from(id.to_owned()), |monday| t!("week.of", date = day(monday)))
}

/// So many days later, or earlier.
pub(super) fn moved(date: NaiveDate, days: i64) -> NaiveDate {
    let by = Days::new(days.unsigned_abs());
    let there = if days < 0 { date.checked_sub_days(by) } else { date.checked_add_days(by) };
    there.unwrap_or(date)
}

/// A number as a cook writes it: `2`, `1.5`, `1/2`, `1 1/2`; above zero.
pub(super) fn number(text: &str) -> Option<Exact> {
    let amount: Amount = format!("{} each", text.trim().replace(',', ".")).parse().ok()?;
    (amount.unit == Unit::Each && amount.value.is_positive()).then_some(amount.value)
}

/// A number as a cook reads it.
pub(super) fn shown(value: Exact) -> String {
    kitchen_number(value)
}

/// A number for a field: as data writes it, so that reading it gives the same.
pub(super) fn in_field(value: Exact) -> String {
    let text = value.to_string();
    if number(&text) == Some(value) { text } else { format!("{}/{}", value.numerator(), value.denominator()) }
}

/// Words of a field, parted by commas, semicolons or lines; each once.
pub(super) fn words(text: &str) -> Vec<String> {
    let mut found: Vec<String> = Vec::new();
    for word in text.split([',', ';', '\n']).map(str::trim).filter(|word| !word.is_empty()) {
        if !found.iter().any(|other| other.eq_ignore_ascii_case(word)) {
            found.push(word.to_owned());
        }
    }
    found
}

/// An id made of a name, which nothing else has: `Maple Street 12` is `maple-street-12`, the next `maple-street-12-2`.
pub(super) fn fresh_id(name: &str, other: &str, taken: impl Fn(&str) -> bool) -> String {
    let plain: String =
        name.chars().map(plain_letter).map(|c| if c.is_ascii_alphanumeric() { c } else { ' ' }).collect();
    let words: Vec<String> = plain.split_whitespace().take(8).map(str::to_ascii_lowercase).collect();
    let base: String = words.join("-").chars().take(60).collect();
    let base = base.trim_matches('-');
    let base = if is_id(base) { base } else { other };
    let numbered = (2_u32..).map(|number| format!("{base}-{number}"));
    std::iter::once(base.to_owned()).chain(numbered).find(|id| !taken(id)).unwrap_or_default()
}

/// A letter without its mark; an apostrophe is nothing.
fn plain_letter(letter: char) -> char {
    match letter {
        'á' | 'à' | 'â' | 'ä' | 'ã' | 'å' | 'Á' => 'a',
        'é' | 'è' | 'ê' | 'ë' | 'É' => 'e',
        'í' | 'ì' | 'î' | 'ï' | 'Í' => 'i',
        'ó' | 'ò' | 'ô' | 'ö' | 'õ' | 'ø' | 'Ó' => 'o',
        'ú' | 'ù' | 'û' | 'ü' | 'Ú' => 'u',
        'ñ' | 'Ñ' => 'n',
        'ç' | 'Ç' => 'c',
        other => other,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_read_as_a_cook_writes_them() {
        let half = Exact::new(1, 2);
        for (text, want) in [
            ("2", Some(Exact::whole(2))),
            (" 1.5 ", Some(Exact::new(3, 2))),
            ("0,5", Some(half)),
            ("1/2", Some(half)),
            ("1 1/2", Some(Exact::new(3, 2))),
            ("0", None),
            ("-1", None),
            ("", None),
            ("two", None),
            ("3 cups", None),
        ] {
            assert_eq!(number(text), want, "{text}");
        }
    }

    #[test]
    fn what_a_field_shows_reads_the_same() {
        for value in [Exact::ONE, Exact::new(3, 4), Exact::new(1, 3), Exact::new(125, 100)] {
            assert_eq!(number(&in_field(value)), Some(value));
        }
    }

    #[test]
    fn ids_are_made_of_names() {
        for (name, want) in [
            ("Maple Street 12", "maple-street-12"),
            ("The Thornes, 8 Lantern Row", "the-thornes-8-lantern-row"),
            ("Crème brûlée", "creme-brulee"),
            ("  ", "dish"),
            ("日本", "dish"),
        ] {
            assert_eq!(fresh_id(name, "dish", |_| false), want);
        }
        assert_eq!(fresh_id("Soup", "dish", |id| id == "soup" || id == "soup-2"), "soup-3");
    }

    #[test]
    fn weeks_are_named_by_their_monday() {
        let monday_of = |y, m, d| monday(NaiveDate::from_ymd_opt(y, m, d).unwrap());
        let march = NaiveDate::from_ymd_opt(2026, 3, 4).unwrap();
        assert_eq!(week_id(march), "2026-W10");
        assert_eq!(week_start("2026-W10"), Some(monday_of(2026, 3, 4)));
        assert_eq!(week_start("spring"), None);
        assert_eq!(week_start("2026-W60"), None);
    }

    #[test]
    fn words_are_parted_and_each_kept_once() {
        assert_eq!(words("peanuts, tree nuts\n;Peanuts,, kiwi "), ["peanuts", "tree nuts", "kiwi"]);
        assert!(words(" , ").is_empty());
    }
}
