//! What the app says, kept out of the code: one file a language in `web/words/first` for the first
//! screen, and one in `web/words/later` for what comes with the second module.
//!
//! Say something with `t!`: `t!("shop.title")`, `t!("join.welcome", name = who)`. With a `count` the language's
//! singular or plural is taken: `t!("shop.left", count = 3)` says `shop.left.one` or `shop.left.other`. Where a key has
//! to wait in a table, keep it as a plain literal and say it with [`say`]; a test reads the sources and knows every
//! literal that is a key.
//!
//! The texts are packed into the program when it is built (`rust-i18n`), and unpacked at the first word said. Names of
//! foods are data, not words: they stay in the catalogue's English for now.

use std::borrow::Cow;
use std::cell::Cell;

use yew::prelude::*;

#[cfg(test)]
mod tests;

pub mod rest;

/// A language the app speaks.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub enum Language {
    /// English, as in the United States.
    #[default]
    English,
    /// Spanish, as kitchens in the United States speak it.
    Spanish,
}

impl Language {
    /// All of them, in the order they are offered in.
    pub const ALL: [Self; 2] = [Self::English, Self::Spanish];

    /// The tag for `lang` (BCP 47).
    #[must_use]
    pub fn tag(self) -> &'static str {
        match self {
            Self::English => "en",
            Self::Spanish => "es",
        }
    }

    /// Its name in itself, which is what somebody looks for who does not read the one shown.
    #[must_use]
    pub fn own_name(self) -> &'static str {
        match self {
            Self::English => "English",
            Self::Spanish => "Español",
        }
    }

    /// The language of a tag, whatever its region: `es-MX` is Spanish.
    #[must_use]
    pub fn of_tag(tag: &str) -> Option<Self> {
        let first = tag.split(['-', '_']).next().unwrap_or_default();
        Self::ALL.into_iter().find(|language| first.eq_ignore_ascii_case(language.tag()))
    }

    /// The first of the preferred ones that the app speaks; English where it speaks none.
    #[must_use]
    pub fn best<'a>(preferred: impl IntoIterator<Item = &'a str>) -> Self {
        preferred.into_iter().find_map(Self::of_tag).unwrap_or_default()
    }

    /// Which form a count takes. English and Spanish ask the same: is it one?
    fn form(self, count: &str) -> &'static str {
        match self {
            Self::English | Self::Spanish if count == "1" => "one",
            Self::English | Self::Spanish => "other",
        }
    }
}

thread_local! {
    static SPOKEN: Cell<Language> = const { Cell::new(Language::English) };
}

/// The language spoken now.
#[must_use]
pub fn spoken() -> Language {
    SPOKEN.with(Cell::get)
}

/// Speaks this language from now on. What is on the page already is said again by [`Spoken`].
pub fn speak(language: Language) {
    SPOKEN.with(|spoken| spoken.set(language));
}

/// The words of a key; the key itself where there are none, so that a mistake of ours can be seen.
fn words(key: &str) -> Cow<'static, str> {
    let tag = spoken().tag();
    let words = crate::_rust_i18n_backend().translate(tag, key).or_else(|| rest_of(tag, key));
    words.unwrap_or_else(|| Cow::Owned(key.to_owned()))
}

/// The second module's words, once it is here: whatever says them is in it as well.
#[cfg(feature = "apart")]
fn rest_of(tag: &str, key: &str) -> Option<Cow<'static, str>> {
    (crate::later::here()?.words)(tag, key)
}

#[cfg(not(feature = "apart"))]
fn rest_of(tag: &str, key: &str) -> Option<Cow<'static, str>> {
    rest::translate(tag, key)
}

/// The words of a key.
#[must_use]
pub fn say(key: &'static str) -> AttrValue {
    words(key).into()
}

/// The words of a key, with something put in for each of its names.
#[must_use]
pub fn say_with(key: &'static str, names: &[&str], values: &[String]) -> AttrValue {
    let words = words(key);
    rust_i18n::replace_patterns(&words, names, values).into()
}

/// The words of a key in the form that the count takes; `count` is put in along with the rest.
#[must_use]
pub fn say_count(key: &'static str, count: &dyn ToString, names: &[&str], values: &[String]) -> AttrValue {
    let count = count.to_string();
    let formed = format!("{key}.{}", spoken().form(&count));
    let words = words(&formed);
    let words = rust_i18n::replace_patterns(&words, &["count"], &[count]);
    if names.is_empty() {
        return words.into();
    }
    rust_i18n::replace_patterns(&words, names, values).into()
}

/// The words for a name that comes from data: a section of a shop (`section`), an allergen or a group of foods
/// (`allergen`). A name that the words do not know, such as a chef's own, is said as it is written.
#[must_use]
pub fn say_name(group: &'static str, name: &str) -> AttrValue {
    known_name(group, name).unwrap_or_else(|| AttrValue::from(name.to_owned()))
}

/// An allergen, its class in law, or a group, as somebody wrote it, in the reader's language; what the words do not know
/// is said as it is written.
#[must_use]
pub fn say_kind(word: &str) -> AttrValue {
    let known = |name: &str| known_name("allergen", name);
    known(&word.trim().to_ascii_lowercase())
        .or_else(|| known(&folded(word)?))
        .unwrap_or_else(|| AttrValue::from(word.to_owned()))
}

/// A word as the catalogue looks it up, once that is here.
#[cfg(feature = "apart")]
fn folded(word: &str) -> Option<String> {
    Some((crate::later::here()?.fold)(word))
}

#[cfg(not(feature = "apart"))]
#[allow(clippy::unnecessary_wraps, reason = "apart from the rest, it may not be here yet")]
fn folded(word: &str) -> Option<String> {
    Some(trug_catalog::fold(word))
}

fn known_name(group: &'static str, name: &str) -> Option<AttrValue> {
    let key = format!("{group}.{}", name.replace([' ', '-'], "_"));
    let words = crate::_rust_i18n_backend().translate(spoken().tag(), &key)?;
    Some(AttrValue::from(words.into_owned()))
}

/// The words of a key in the language spoken now, as an `AttrValue`.
///
/// `t!("key")`, `t!("key", name = value)`, `t!("key", count = n)`, `t!("key", count = n, name = value)`. Values are
/// anything that can be displayed.
macro_rules! t {
    ($key:literal) => {
        $crate::words::say($key)
    };
    ($key:literal, count = $count:expr $(, $name:ident = $value:expr)* $(,)?) => {
        $crate::words::say_count(
            $key,
            &$count,
            &[$(stringify!($name)),*],
            &[$(::std::string::ToString::to_string(&$value)),*],
        )
    };
    ($key:literal $(, $name:ident = $value:expr)+ $(,)?) => {
        $crate::words::say_with(
            $key,
            &[$(stringify!($name)),+],
            &[$(::std::string::ToString::to_string(&$value)),+],
        )
    };
}
pub(crate) use t;

/// The language, and what is said in it.
#[derive(Properties, PartialEq)]
pub struct SpokenProps {
    /// The language.
    pub language: Language,
    /// The app. Keep its state outside of this part: a change of language makes everything inside anew.
    pub children: Html,
}

/// Speaks a language: sets `lang` on the page, hands the language down as a context, and says everything anew when it
/// changes. Making everything anew is what keeps half a page from staying in the other language, however deep its
/// parts remember what they drew; it happens once, when somebody chooses.
#[component]
pub fn Spoken(props: &SpokenProps) -> Html {
    let language = props.language;
    speak(language);
    use_effect_with(language, |language| {
        if let Some(root) = gloo::utils::document().document_element() {
            // An attribute that is no name is refused; this one is.
            let _ = root.set_attribute("lang", language.tag());
        }
    });
    html! {
        <ContextProvider<Language> context={language}>
            <Anew key={language.tag()}>{ props.children.clone() }</Anew>
        </ContextProvider<Language>>
    }
}

#[derive(Properties, PartialEq)]
struct AnewProps {
    children: Html,
}

#[component]
fn Anew(props: &AnewProps) -> Html {
    props.children.clone()
}

// The compiler watches what is included: without this, a change of words alone would not build anything.
const _: [&str; 4] = [
    include_str!("../../words/first/en.toml"),
    include_str!("../../words/first/es.toml"),
    include_str!("../../words/later/en.toml"),
    include_str!("../../words/later/es.toml"),
];
