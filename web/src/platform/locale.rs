//! Numbers, money, dates and lists as the reader writes them, by the browser's own `Intl`: no tables of ours.
//!
//! Formatters are dear to make and cheap to use, so each is made once and kept. Where a browser lacks one, what is
//! shown is plain and still right.

use std::cell::RefCell;

use js_sys::{Array, Function, Object, Reflect};
use wasm_bindgen::{JsCast, JsValue};

use super::{clock, js};

/// The languages the reader prefers, the first first, as BCP 47 tags.
#[must_use]
pub fn preferred() -> Vec<String> {
    js::navigator()
        .map(|navigator| navigator.languages().iter().filter_map(|tag| tag.as_string()).collect())
        .unwrap_or_default()
}

/// How items are joined in a sentence.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Join {
    /// `a, b, and c`
    And,
    /// `a, b, or c`
    Or,
}

/// How much of a date is shown.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum DateForm {
    /// `Wed, Mar 4`
    Short,
    /// `Wednesday, March 4`
    Day,
    /// `Wednesday, March 4, 2026`
    Full,
}

/// With a line's end only after commas; where there is none, after the first word.
fn kept_together(date: &str) -> String {
    let whole = date.replace(' ', "\u{a0}").replace(",\u{a0}", ", ");
    if whole.contains(' ') { whole } else { whole.replacen('\u{a0}', " ", 1) }
}

/// A reader's way of writing.
pub struct Locale {
    tag: String,
    made: RefCell<Vec<(String, JsValue)>>,
}

impl Locale {
    /// By a BCP 47 tag; one that is none is taken for English.
    #[must_use]
    pub fn new(tag: &str) -> Self {
        let made = RefCell::new(Vec::new());
        let good = make("NumberFormat", tag, &[]).is_some();
        Self { tag: if good { tag } else { "en" }.to_owned(), made }
    }

    /// The tag.
    #[must_use]
    pub fn tag(&self) -> &str {
        &self.tag
    }

    /// An amount of money (`"1234.50"`) in a currency (ISO 4217, `"USD"`).
    #[must_use]
    pub fn money(&self, amount: &str, currency: &str) -> String {
        // A kitchen has one currency: its short sign is enough, in a language that else writes `USD` before it, too.
        let short = ("currencyDisplay", "narrowSymbol".into());
        let options = [("style", "currency".into()), ("currency", currency.into()), short];
        self.format("NumberFormat", currency, &options, &[amount.into()])
            .unwrap_or_else(|| format!("{currency} {amount}"))
    }

    /// A decimal number (`"1234.5"`) with at most so many digits after the point.
    #[must_use]
    pub fn number(&self, number: &str, digits: u8) -> String {
        let options = [("maximumFractionDigits", digits.into())];
        self.format("NumberFormat", &digits.to_string(), &options, &[number.into()])
            .unwrap_or_else(|| number.to_owned())
    }

    /// A date (`"2026-03-04"`); what is no date comes back as it is. A line may end after a comma or the day of the week,
    /// never between a month and its day.
    #[must_use]
    pub fn date(&self, iso: &str, form: DateForm) -> String {
        self.format_date(iso, form).map_or_else(|| iso.to_owned(), |date| kept_together(&date))
    }

    /// A moment (milliseconds since 1970 UTC) as the time of day where the device is.
    #[must_use]
    pub fn time(&self, ms: i64) -> String {
        let options = [("timeStyle", "short".into())];
        self.format("DateTimeFormat", "time", &options, &[clock::date(ms).into()])
            .unwrap_or_else(|| clock::date(ms).to_time_string().into())
    }

    /// How long ago a moment was, or how soon it is: `2 hours ago`, `yesterday`, `now`.
    #[must_use]
    pub fn relative(&self, ms: i64, now_ms: i64) -> String {
        let (count, unit) = distance(ms.saturating_sub(now_ms));
        let options = [("numeric", "auto".into())];
        self.format("RelativeTimeFormat", "auto", &options, &[count.into(), unit.into()])
            .unwrap_or_else(|| self.time(ms))
    }

    /// Items joined as in a sentence.
    #[must_use]
    pub fn list<T: AsRef<str>>(&self, items: &[T], join: Join) -> String {
        let kind = match join {
            Join::And => "conjunction",
            Join::Or => "disjunction",
        };
        let list: Array = items.iter().map(|item| JsValue::from_str(item.as_ref())).collect();
        self.format("ListFormat", kind, &[("type", kind.into())], &[list.into()])
            .unwrap_or_else(|| items.iter().map(AsRef::as_ref).collect::<Vec<_>>().join(", "))
    }

    fn format_date(&self, iso: &str, form: DateForm) -> Option<String> {
        // Noon in UTC, shown in UTC: a date without a time is the same day everywhere.
        let noon = js_sys::Date::new(&format!("{iso}T12:00:00Z").into());
        if noon.get_time().is_nan() {
            return None;
        }
        let (key, weekday, month) = match form {
            DateForm::Short => ("short", "short", "short"),
            DateForm::Day => ("day", "long", "long"),
            DateForm::Full => ("full", "long", "long"),
        };
        let mut options: Vec<(&str, JsValue)> = vec![
            ("weekday", weekday.into()),
            ("month", month.into()),
            ("day", "numeric".into()),
            ("timeZone", "UTC".into()),
        ];
        if form == DateForm::Full {
            options.push(("year", "numeric".into()));
        }
        self.format("DateTimeFormat", key, &options, &[noon.into()])
    }

    /// Formats by a formatter of a kind, which is kept under the key.
    fn format(&self, kind: &str, key: &str, options: &[(&str, JsValue)], arguments: &[JsValue]) -> Option<String> {
        let key = format!("{kind} {key}");
        let kept = self.made.borrow().iter().find(|(known, _)| *known == key).map(|(_, formatter)| formatter.clone());
        let formatter = match kept {
            Some(formatter) => formatter,
            None => {
                let formatter = make(kind, &self.tag, options)?;
                self.made.borrow_mut().push((key, formatter.clone()));
                formatter
            }
        };
        js::call(&formatter, "format", arguments).ok()?.as_string()
    }
}

fn make(kind: &str, tag: &str, options: &[(&str, JsValue)]) -> Option<JsValue> {
    let intl = js::get(&js_sys::global(), "Intl")?;
    let constructor: Function = js::get(&intl, kind)?.dyn_into().ok()?;
    let options: Object = js::object(options);
    Reflect::construct(&constructor, &Array::of2(&tag.into(), &options)).ok()
}

const MINUTE: i64 = 60_000;
const HOUR: i64 = 60 * MINUTE;
const DAY: i64 = 24 * HOUR;

/// A span in the greatest unit that it fills, rounded toward zero.
fn distance(ms: i64) -> (i32, &'static str) {
    let (size, unit) = match ms.saturating_abs() {
        0..MINUTE => return (0, "second"),
        MINUTE..HOUR => (MINUTE, "minute"),
        HOUR..DAY => (HOUR, "hour"),
        _ => (DAY, "day"),
    };
    (i32::try_from(ms / size).unwrap_or(i32::MAX), unit)
}

#[cfg(test)]
mod tests {
    use super::{DAY, HOUR, MINUTE, distance};

    #[test]
    fn spans_are_told_in_the_greatest_unit_they_fill() {
        let table = [
            (0, (0, "second")),
            (-59_999, (0, "second")),
            (-MINUTE, (-1, "minute")),
            (59 * MINUTE, (59, "minute")),
            (-2 * HOUR - MINUTE, (-2, "hour")),
            (-DAY, (-1, "day")),
            (400 * DAY, (400, "day")),
        ];
        for (ms, told) in table {
            assert_eq!(distance(ms), told, "{ms}");
        }
    }
}
