//! The files of words against each other, and against what the code says.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};

use super::*;

type Texts = BTreeMap<String, String>;

/// Names that come from data are said by `say_name`; no literal in the code is one of these keys.
const BY_NAME: [&str; 2] = ["section.", "allergen."];

/// All texts of a language, by full key.
fn texts(language: Language) -> Texts {
    let mut texts = texts_in("first", language);
    for (key, text) in texts_in("later", language) {
        assert!(texts.insert(key.clone(), text).is_none(), "`{key}` is in both files");
    }
    texts
}

/// The texts of one file. The files keep to the plainest TOML, one text a line, so that two people who
/// add words merge well; anything else is refused here.
fn texts_in(folder: &str, language: Language) -> Texts {
    let path = root().join(format!("words/{folder}/{}.toml", language.tag()));
    let file = fs::read_to_string(&path).unwrap();
    let mut group = String::new();
    let mut texts = Texts::new();
    for (at, line) in file.lines().enumerate() {
        let at = at + 1;
        if line.is_empty() || line.starts_with('#') || line == "_version = 1" {
            continue;
        }
        if let Some(name) = line.strip_prefix('[').and_then(|rest| rest.strip_suffix(']')) {
            group = name.to_owned();
            continue;
        }
        let parts = line.split_once(" = ").and_then(|(key, text)| {
            let text = text.strip_prefix('"')?.strip_suffix('"')?;
            Some((key, text))
        });
        let (key, text) = parts.unwrap_or_else(|| panic!("{}:{at}: `{line}` is not `key = \"text\"`", path.display()));
        assert!(!text.is_empty(), "{}:{at}: no text", path.display());
        let twice = texts.insert(format!("{group}.{key}"), text.to_owned());
        assert!(twice.is_none(), "{}:{at}: `{group}.{key}` is there twice", path.display());
    }
    texts
}

fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

/// What a text has put in: `%{count}` is `count`.
fn put_in(text: &str) -> BTreeSet<&str> {
    let after = text.split("%{").skip(1);
    after.filter_map(|rest| rest.split_once('}')).map(|(name, _)| name).collect()
}

/// A key as the code says it: without the form of a count. `section.other` is a key of its own.
fn said(key: &str) -> &str {
    let bare = key.strip_suffix(".one").or_else(|| key.strip_suffix(".other"));
    bare.filter(|bare| bare.contains('.')).unwrap_or(key)
}

#[test]
fn both_languages_have_the_same_keys() {
    let (english, spanish) = (texts(Language::English), texts(Language::Spanish));
    let lacking: Vec<_> = english.keys().filter(|key| !spanish.contains_key(*key)).collect();
    assert!(lacking.is_empty(), "Spanish lacks {lacking:#?}");
    let lacking: Vec<_> = spanish.keys().filter(|key| !english.contains_key(*key)).collect();
    assert!(lacking.is_empty(), "English lacks {lacking:#?}");
}

#[test]
fn both_languages_put_in_the_same() {
    let spanish = texts(Language::Spanish);
    for (key, text) in texts(Language::English) {
        assert_eq!(put_in(&text), put_in(&spanish[&key]), "{key}");
    }
}

#[test]
fn a_count_has_both_forms() {
    let english = texts(Language::English);
    for key in english.keys().filter(|key| said(key) != key.as_str()) {
        let (one, other) = (format!("{}.one", said(key)), format!("{}.other", said(key)));
        assert!(english.contains_key(&one) && english.contains_key(&other), "{key} is half a count");
        assert!(!english.contains_key(said(key)), "{} is a text and a count", said(key));
    }
}

/// Words that would promise what nobody can know.
#[test]
fn nothing_is_called_free_of_anything() {
    for language in Language::ALL {
        for (key, text) in texts(language) {
            let text = text.to_lowercase();
            for promise in ["free from", "free of", "-free", "libre de", "no contiene", "does not contain"] {
                assert!(!text.contains(promise), "{key} promises: {text}");
            }
        }
    }
}

/// The sources, without this file.
fn sources() -> Vec<(PathBuf, String)> {
    let mut found = Vec::new();
    walk(&root().join("src"), &mut found);
    found
}

fn walk(folder: &Path, found: &mut Vec<(PathBuf, String)>) {
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            walk(&path, found);
        } else if path.extension().is_some_and(|kind| kind == "rs") && !path.ends_with("words/tests.rs") {
            let text = fs::read_to_string(&path).unwrap();
            found.push((path, text));
        }
    }
}

/// A place where the code says something: the key, and the names it puts in.
struct Saying {
    key: String,
    names: BTreeSet<String>,
}

/// Every `t!(…)` of a source.
fn sayings(source: &str) -> Vec<Saying> {
    let code: String =
        source.lines().filter(|line| !line.trim_start().starts_with("//")).collect::<Vec<_>>().join("\n");
    let mut found = Vec::new();
    for (at, _) in code.match_indices("t!(") {
        let before = code[..at].chars().next_back();
        if before.is_some_and(|letter| letter.is_alphanumeric() || letter == '_') {
            continue;
        }
        let inside = in_brackets(&code[at + 3..]);
        let Some((key, rest)) = inside.trim_start().strip_prefix('"').and_then(|text| text.split_once('"')) else {
            continue;
        };
        found.push(Saying { key: key.to_owned(), names: names_in(rest) });
    }
    found
}

/// Up to the bracket that closes.
fn in_brackets(code: &str) -> &str {
    let mut depth = 1_i32;
    for (at, letter) in code.char_indices() {
        depth += match letter {
            '(' | '[' | '{' => 1,
            ')' | ']' | '}' => -1,
            _ => 0,
        };
        if depth == 0 {
            return &code[..at];
        }
    }
    code
}

/// The names before `=` at the outer level of `, name = value, other = value`.
fn names_in(rest: &str) -> BTreeSet<String> {
    let mut depth = 0_i32;
    let mut parts = vec![String::new()];
    for letter in rest.chars() {
        match letter {
            '(' | '[' | '{' => depth += 1,
            ')' | ']' | '}' => depth -= 1,
            ',' if depth == 0 => {
                parts.push(String::new());
                continue;
            }
            _ => {}
        }
        if let Some(part) = parts.last_mut() {
            part.push(letter);
        }
    }
    let name = |part: &String| {
        let (name, _) = part.split_once('=')?;
        let name = name.trim();
        let plain = !name.is_empty() && name.chars().all(|letter| letter.is_alphanumeric() || letter == '_');
        plain.then(|| name.to_owned())
    };
    parts.iter().filter_map(name).collect()
}

#[test]
fn what_the_code_says_is_there_with_what_it_puts_in() {
    let english = texts(Language::English);
    let mut wrong = Vec::new();
    for (path, source) in sources() {
        for Saying { key, names } in sayings(&source) {
            // The macro takes a count for one, whatever the words have.
            let counted = names.contains("count");
            let full = if counted { format!("{key}.other") } else { key.clone() };
            let Some(text) = english.get(&full) else {
                wrong.push(format!("{}: `{key}` has no words", path.display()));
                continue;
            };
            let wanted: BTreeSet<String> = put_in(text).into_iter().map(str::to_owned).collect();
            let given = names.iter().filter(|name| !(counted && *name == "count"));
            let given: BTreeSet<String> = given.cloned().collect();
            let wanted_less: BTreeSet<String> =
                wanted.iter().filter(|name| !(counted && *name == "count")).cloned().collect();
            if wanted_less != given {
                wrong.push(format!("{}: `{key}` puts in {wanted_less:?}, the code gives {given:?}", path.display()));
            }
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

/// A literal anywhere in the code counts, so that a key may wait in a table.
#[test]
fn no_words_lie_idle() {
    let sources = sources();
    let is_said = |key: &str| {
        let literal = format!("\"{}\"", said(key));
        sources.iter().any(|(_, source)| source.contains(&literal))
    };
    let idle: Vec<String> = texts(Language::English)
        .into_keys()
        .filter(|key| !BY_NAME.iter().any(|group| key.starts_with(group)))
        .filter(|key| !is_said(key))
        .collect();
    assert!(idle.is_empty(), "nobody says {idle:#?}");
}

#[test]
fn words_are_said() {
    let cases: [(Language, AttrValue, AttrValue); 2] = [
        (Language::English, "3 left".into(), "1 left".into()),
        (Language::Spanish, "faltan 3".into(), "falta 1".into()),
    ];
    for (language, three, one) in cases {
        speak(language);
        assert_eq!(t!("shop.left", count = 3), three);
        assert_eq!(t!("shop.left", count = 1), one);
    }
    speak(Language::Spanish);
    assert_eq!(t!("common.close"), AttrValue::from("Cerrar"));
    assert_eq!(t!("common.of", done = 2, all = "5"), AttrValue::from("2 de 5"));
    assert_eq!(say_name("allergen", "brazil nut"), AttrValue::from("nuez de Brasil"));
    assert_eq!(say_name("section", "back wall"), AttrValue::from("back wall"));
}

/// Every allergen and group of the catalogue, and every class that a law names, has words in both languages: a helper must be able to read them.
#[test]
fn every_allergen_has_words() {
    use trug_catalog::{Allergen, Group, Regime};
    let names = Allergen::ALL.iter().map(|kind| kind.name()).chain(Group::ALL.iter().map(|group| group.name()));
    let of_law = |kind: &Allergen| [kind.class(Regime::Us), kind.class(Regime::Eu)];
    let classes = Allergen::ALL.iter().flat_map(of_law).flatten();
    for name in names.chain(classes) {
        let key = format!("allergen.{}", name.replace(' ', "_"));
        for language in Language::ALL {
            assert!(texts(language).contains_key(&key), "{key} in {}", language.own_name());
        }
    }
}

#[test]
fn the_language_is_the_first_one_spoken() {
    let cases: [(&[&str], Language); 5] = [
        (&["es-MX", "en-US"], Language::Spanish),
        (&["en-US", "es"], Language::English),
        (&["fr", "ES_us"], Language::Spanish),
        (&["fr", "de"], Language::English),
        (&[], Language::English),
    ];
    for (preferred, expected) in cases {
        assert_eq!(Language::best(preferred.iter().copied()), expected, "{preferred:?}");
    }
}

/// What the first module is made of. A text of the second that is said here would be its bare key until that has come.
const FIRST: [&str; 18] = [
    "app.rs",
    "later.rs",
    "desk",
    "look",
    "platform",
    "place/links.rs",
    "place/fields.rs",
    "place/shop/cold.rs",
    "place/shop/figures.rs",
    "place/shop/hands.rs",
    "place/shop/list.rs",
    "place/shop/mod.rs",
    "place/shop/purse.rs",
    "place/shop/row.rs",
    "place/shop/scene.rs",
    "place/shop/seen.rs",
    "place/shop/trip.rs",
    "place/shop/who.rs",
];

#[test]
fn the_first_screen_says_nothing_of_the_second_modules() {
    let later = texts_in("later", Language::English);
    let first: Vec<_> = FIRST.iter().map(|file| root().join("src").join(file)).collect();
    first.iter().for_each(|path| assert!(path.exists(), "{}", path.display()));
    for (path, text) in sources().into_iter().filter(|(path, _)| first.iter().any(|first| path.starts_with(first))) {
        for key in later.keys() {
            assert!(!text.contains(&format!("\"{}\"", said(key))), "{} says `{key}`", path.display());
        }
    }
}
