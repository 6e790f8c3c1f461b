//! Foods as rows of the catalogue's table; `trug_catalog::data` tells what the columns are and reads them.

use trug_catalog::{Allergens, Food, Group, Measure, Part};
use trug_measure::Exact;

/// A food's row, without the line's end.
pub(super) fn row(food: &Food) -> String {
    let spelled = food.id.as_str().replace('-', " ");
    let columns = [
        food.id.to_string(),
        if food.name == spelled { String::new() } else { food.name.clone() },
        plural(&food.name, &food.plural),
        joined(&food.also, ";", |other| by_words(&food.name, other)),
        food.section.clone(),
        food.keep.name().to_owned(),
        joined(&groups(food), ";", |group| group.name().to_owned()),
        food.raw.map_or_else(String::new, |kind| kind.name().to_owned()),
        allergens(&food.allergens),
        optional(food.refuse),
        measures(&food.measures),
        joined(&food.packs, ";", |pack| format!("{} {}", figure(pack.value), pack.unit)),
        food.ndb.map_or_else(String::new, |ndb| ndb.to_string()),
        optional(food.density),
        optional(food.cooked),
        optional(food.drained),
        joined(&food.trims, ";", |trim| format!("{}={}", trim.prep, figure(trim.refuse))),
        optional(food.enough),
        joined(&food.parts, "|", part),
        flag(food.never_bought).to_owned(),
    ];
    columns.join("\t").trim_end_matches('\t').to_owned()
}

/// A figure as the table has it: a decimal where one is exact, else a fraction.
pub(super) fn figure(value: Exact) -> String {
    let decimal = value.to_string();
    if decimal.parse() == Ok(value) { decimal } else { format!("{}/{}", value.numerator(), value.denominator()) }
}

fn optional(value: Option<Exact>) -> String {
    value.map_or_else(String::new, figure)
}

fn plural(name: &str, plural: &str) -> String {
    match plural.strip_prefix(name) {
        Some("") => String::new(),
        Some("s") => "+s".to_owned(),
        _ => plural.to_owned(),
    }
}

/// Another name, with the place of a word for each word that the name has too.
fn by_words(name: &str, other: &str) -> String {
    let words: Vec<&str> = name.split(' ').take(9).collect();
    let place = |word: &str| words.iter().position(|known| *known == word).map(|at| (at + 1).to_string());
    let is_digit = |word: &str| word.len() == 1 && word.bytes().all(|byte| byte.is_ascii_digit());
    let written = other.split(' ').map(|word| match place(word) {
        Some(place) => place,
        None if is_digit(word) => format!("={word}"),
        None => word.to_owned(),
    });
    written.collect::<Vec<_>>().join(" ")
}

/// Those that do not follow from the allergens.
fn groups(food: &Food) -> Vec<Group> {
    let follows = |group: &Group| food.allergens.kinds().iter().any(|kind| kind.group() == Some(*group));
    food.groups.iter().copied().filter(|group| !follows(group)).collect()
}

fn allergens(allergens: &Allergens) -> String {
    match allergens {
        Allergens::NotRecorded => String::new(),
        Allergens::Recorded { kinds, vary: false } if kinds.is_empty() => "-".to_owned(),
        Allergens::Recorded { kinds, vary } => {
            let kinds = joined(kinds, ";", |kind| kind.name().to_owned());
            if *vary { format!("~{kinds}") } else { kinds }
        }
    }
}

/// Measures of one weight that follow each other share its figure.
fn measures(measures: &[Measure]) -> String {
    let alike: Vec<&[Measure]> = measures.chunk_by(|a, b| a.grams == b.grams).collect();
    joined(&alike, ";", |measures| {
        let names = joined(measures, ",", |measure| {
            let words: String = measure.words.iter().flat_map(|word| [" ", word]).collect();
            format!("{}{words}", measure.unit)
        });
        let grams = measures.first().map_or(Exact::ZERO, |measure| measure.grams);
        format!("{names}={}", figure(grams))
    })
}

fn part(part: &Part) -> String {
    let fields = [
        part.name.clone(),
        figure(part.whole),
        optional(part.density),
        measures(&part.measures),
        part.also.join(","),
        flag(!part.own_name).to_owned(),
    ];
    fields.join(":")
}

const fn flag(set: bool) -> &'static str {
    if set { "-" } else { "" }
}

fn joined<T>(items: &[T], by: &str, text: impl Fn(&T) -> String) -> String {
    items.iter().map(text).collect::<Vec<_>>().join(by)
}
