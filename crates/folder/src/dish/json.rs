//! A schema.org Recipe in JSON-LD: alone, in a list, in an `@graph`, or as the main entity of a page.

use serde_json::{Map, Value};
use trug_provision::kitchen::DishSource;

use super::yields::{self, Yield};
use super::{Draft, DraftPart, html};
use crate::page::Page;
use crate::problem::What;

type Object = Map<String, Value>;

/// Reads a recipe without looking its lines up. The file is kept as it is, to be written back.
pub(crate) fn draft(text: &str, page: &mut Page<'_>) -> Option<Draft> {
    let json: Value = match serde_json::from_str(text) {
        Ok(json) => json,
        Err(error) => {
            page.line(u32::try_from(error.line()).unwrap_or(u32::MAX).max(1), What::Json(error.to_string()));
            return None;
        }
    };
    let mut recipes = Vec::new();
    find_recipes(&json, &mut recipes);
    let recipe = match recipes.as_slice() {
        [recipe] => *recipe,
        [] => {
            page.line(1, What::NoRecipe);
            return None;
        }
        several => {
            page.line(1, What::SeveralRecipes(several.len()));
            return None;
        }
    };
    read_recipe(recipe, text, page)
}

fn find_recipes<'j>(json: &'j Value, found: &mut Vec<&'j Object>) {
    match json {
        Value::Array(items) => items.iter().for_each(|item| find_recipes(item, found)),
        Value::Object(object) if is_a(object, "Recipe") => found.push(object),
        Value::Object(object) => {
            let inner = [object.get("@graph"), get(object, "mainEntity"), get(object, "mainEntityOfPage")];
            inner.into_iter().flatten().for_each(|item| find_recipes(item, found));
        }
        _ => {}
    }
}

/// Whether an object is of that type of schema.org, whose names may be written in several ways.
fn is_a(object: &Object, name: &str) -> bool {
    let named = |value: &Value| value.as_str().is_some_and(|text| local(text) == name);
    match object.get("@type") {
        Some(Value::Array(types)) => types.iter().any(named),
        Some(one) => named(one),
        None => false,
    }
}

/// A name of schema.org without what says that it is one.
fn local(name: &str) -> &str {
    let prefixes = ["https://schema.org/", "http://schema.org/", "schema:"];
    prefixes.iter().find_map(|prefix| name.strip_prefix(prefix)).unwrap_or(name)
}

fn get<'j>(object: &'j Object, name: &str) -> Option<&'j Value> {
    object.get(name).or_else(|| object.iter().find(|(key, _)| local(key) == name).map(|(_, value)| value))
}

fn read_recipe(recipe: &Object, text: &str, page: &mut Page<'_>) -> Option<Draft> {
    let line_of = |key: &str| text.find(&format!("\"{key}\""));
    let title = get(recipe, "name").and_then(first_text).map(html::line).filter(|title| !title.is_empty());
    if title.is_none() {
        page.at(line_of("name").unwrap_or(0), What::NoName);
    }
    let (serves, makes) = read_yield(recipe, line_of("recipeYield").or_else(|| line_of("yield")).unwrap_or(0), page);
    let list = get(recipe, "recipeIngredient").or_else(|| get(recipe, "ingredients"));
    let at = line_of("recipeIngredient").or_else(|| line_of("ingredients")).unwrap_or(0);
    let lines = list.map(|list| ingredients(list, at, text, page)).unwrap_or_default();
    if lines.is_empty() {
        page.at(at, What::NoRecipeIngredients);
    }
    let mut method = Vec::new();
    if let Some(steps) = get(recipe, "recipeInstructions") {
        instructions(steps, &mut method);
    }
    Some(Draft {
        title: title?,
        serves,
        makes,
        notes: Vec::new(),
        parts: vec![DraftPart { heading: None, lines }],
        method: method.join("\n\n"),
        source: DishSource::JsonLd(text.to_owned()),
    })
}

/// A text, the first of a list of them, or a text that says its language.
fn first_text(value: &Value) -> Option<&str> {
    match value {
        Value::String(text) => Some(text),
        Value::Array(items) => items.iter().find_map(first_text),
        Value::Object(object) => object.get("@value").and_then(first_text),
        _ => None,
    }
}

/// Of several yields the first that counts portions and the first that counts something else hold; a number alone counts
/// portions, unless it only says again how many of something else there are (`"24", "24 cookies"`).
fn read_yield(
    recipe: &Object,
    at: usize,
    page: &mut Page<'_>,
) -> (Option<trug_measure::Exact>, Option<trug_provision::kitchen::Makes>) {
    let value = get(recipe, "recipeYield").or_else(|| get(recipe, "yield"));
    let mut texts = Vec::new();
    if let Some(value) = value {
        yield_texts(value, &mut texts);
    }
    let (mut serves, mut makes, mut bare, mut error) = (None, None, None, None);
    for text in &texts {
        match yields::any(text) {
            Ok(Yield::Serves(value)) => serves = serves.or(Some(value)),
            Ok(Yield::Makes(made)) => makes = makes.or(Some(made)),
            Ok(Yield::Bare(value)) => bare = bare.or(Some(value)),
            Err(what) => error = error.or(Some(what)),
        }
    }
    let repeats = makes.as_ref().is_some_and(|made: &trug_provision::kitchen::Makes| Some(made.value) == bare);
    let serves = serves.or(bare.filter(|_| !repeats));
    if serves.is_none() && makes.is_none() {
        let out_of_range = error.filter(|what| matches!(what, What::YieldOutOfRange(_)));
        page.at(at, out_of_range.unwrap_or(What::NoRecipeYield));
    }
    (serves, makes)
}

fn yield_texts(value: &Value, texts: &mut Vec<String>) {
    match value {
        Value::String(text) => texts.push(html::line(text)),
        Value::Number(number) => texts.push(number.to_string()),
        Value::Array(items) => items.iter().for_each(|item| yield_texts(item, texts)),
        Value::Object(object) => {
            let value = get(object, "value").or_else(|| object.get("@value"));
            let unit = get(object, "unitText").and_then(first_text).unwrap_or_default();
            let mut inner = Vec::new();
            if let Some(value) = value {
                yield_texts(value, &mut inner);
            }
            texts.extend(inner.into_iter().map(|text| format!("{text} {unit}").trim().to_owned()));
        }
        _ => {}
    }
}

/// The ingredients, each with the line on which it stands, so far as the file shows that.
fn ingredients(list: &Value, at: usize, text: &str, page: &mut Page<'_>) -> Vec<(u32, String)> {
    let items = match list {
        Value::Array(items) => items.as_slice(),
        one => std::slice::from_ref(one),
    };
    // A text that the file writes with escapes of its own is not found; too many of them would make the search slow.
    const MOST_MISSES: usize = 32;
    let (mut from, mut misses) = (at, 0);
    let mut lines = Vec::new();
    for item in items {
        let Some(written) = first_text(item) else {
            page.at(from, What::IngredientNotText(kind(item)));
            continue;
        };
        let quoted = Value::String(written.to_owned()).to_string();
        let found = text.get(from..).filter(|_| misses < MOST_MISSES).and_then(|rest| rest.find(&quoted));
        misses += usize::from(found.is_none());
        let line = page.line_of(found.map_or(from, |step| from + step));
        from = found.map_or(from, |step| from + step + quoted.len());
        // A list in one text has an ingredient a line.
        let several: Vec<&str> = if items.len() == 1 { written.lines().collect() } else { vec![written] };
        lines.extend(several.into_iter().map(html::line).filter(|text| !text.is_empty()).map(|text| (line, text)));
    }
    lines
}

const fn kind(value: &Value) -> &'static str {
    match value {
        Value::Null => "null",
        Value::Bool(_) => "true or false",
        Value::Number(_) => "a number",
        Value::String(_) => "a text",
        Value::Array(_) => "a list",
        Value::Object(_) => "an object",
    }
}

/// The steps as paragraphs; a section's name is a heading of its own.
fn instructions(value: &Value, method: &mut Vec<String>) {
    match value {
        Value::String(text) => push(html::paragraphs(text), method),
        Value::Array(items) => items.iter().for_each(|item| instructions(item, method)),
        Value::Object(object) => {
            let name = get(object, "name").and_then(first_text).map(html::line).unwrap_or_default();
            let steps = get(object, "itemListElement").or_else(|| get(object, "steps"));
            let text = get(object, "text").and_then(first_text).map(html::paragraphs).unwrap_or_default();
            match steps {
                Some(steps) => {
                    push(if name.is_empty() { name } else { format!("### {name}") }, method);
                    push(text, method);
                    instructions(steps, method);
                }
                None => push(if text.is_empty() { name } else { text }, method),
            }
        }
        _ => {}
    }
}

fn push(text: String, method: &mut Vec<String>) {
    if !text.is_empty() {
        method.push(text);
    }
}
