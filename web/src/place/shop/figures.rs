//! Figures as the reader writes them.

use std::cell::RefCell;
use std::rc::Rc;

use trug_measure::Money;

use crate::platform::locale::{self, DateForm, Locale};
use crate::words::{Language, spoken};

thread_local! {
    static KEPT: RefCell<Option<(Language, Rc<Locale>)>> = const { RefCell::new(None) };
}

/// The reader's own way of writing the language that is spoken: a reader from Texas and one from Puerto Rico differ.
fn locale() -> Rc<Locale> {
    KEPT.with(|kept| {
        let language = spoken();
        if let Some((known, locale)) = &*kept.borrow()
            && *known == language
        {
            return locale.clone();
        }
        let own = locale::preferred().into_iter().find(|tag| Language::of_tag(tag) == Some(language));
        let locale = Rc::new(Locale::new(own.as_deref().unwrap_or(language.tag())));
        kept.replace(Some((language, locale.clone())));
        locale
    })
}

/// Money with its sign.
pub(super) fn money(money: Money) -> String {
    locale().money(&money.to_string(), money.currency.code())
}

/// A day, `2026-03-04` in data.
pub(super) fn day(iso: &str) -> String {
    locale().date(iso, DateForm::Short)
}

/// The time of day.
pub(super) fn time(ms: i64) -> String {
    locale().time(ms)
}

/// A span of so many minutes, in hours and minutes.
pub(super) fn span(minutes: i64) -> String {
    match (minutes / 60, minutes % 60) {
        (0, minutes) => format!("{minutes} min"),
        (hours, 0) => format!("{hours} h"),
        (hours, minutes) => format!("{hours} h {minutes} min"),
    }
}

#[cfg(test)]
mod tests {
    use super::span;

    #[test]
    fn a_span_is_told_in_hours_and_minutes() {
        for (minutes, told) in [(0, "0 min"), (59, "59 min"), (60, "1 h"), (125, "2 h 5 min")] {
            assert_eq!(span(minutes), told);
        }
    }
}
