//! The curated files: what a person writes of each food. A file has one table a food, named by the food's id.

use std::collections::BTreeMap;
use std::fmt;
use std::fs;
use std::path::Path;

use serde::Deserialize;
use toml::{Spanned, Value};
use trug_measure::Exact;

use super::DataError;

/// Where something stands in the curated files.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Place {
    file: String,
    line: usize,
    food: String,
}

/// Something a person has to mend, or (a warning) should look at.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct Problem {
    place: Place,
    said: String,
}

impl Place {
    /// The food's id.
    pub(super) fn food(&self) -> &str {
        &self.food
    }

    /// What is wrong here: under which key, what was read, what would be right.
    pub(super) fn problem(&self, key: &str, said: impl fmt::Display) -> Problem {
        let said = if key.is_empty() { said.to_string() } else { format!("{key}: {said}") };
        Problem { place: self.clone(), said }
    }
}

impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}:{}: [{}]", self.file, self.line, self.food)
    }
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} {}", self.place, self.said)
    }
}

/// A food as a file has it.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Entry {
    pub(super) name: String,
    pub(super) plural: Option<String>,
    #[serde(default)]
    pub(super) also: Vec<String>,
    pub(super) ndb: Option<u32>,
    pub(super) section: String,
    pub(super) keep: String,
    pub(super) refuse: Option<Refuse>,
    #[serde(default)]
    pub(super) trims: BTreeMap<String, Number>,
    #[serde(default)]
    pub(super) measures: BTreeMap<String, Weight>,
    pub(super) density: Option<Density>,
    #[serde(default)]
    pub(super) parts: BTreeMap<String, PartEntry>,
    pub(super) cooked: Option<Number>,
    pub(super) drained: Option<Number>,
    pub(super) allergens: Option<Vec<String>>,
    #[serde(default)]
    pub(super) allergens_vary: bool,
    #[serde(default)]
    pub(super) groups: Vec<String>,
    pub(super) raw: Option<String>,
    #[serde(default)]
    pub(super) packs: Vec<String>,
    pub(super) enough: Option<Number>,
    #[serde(default)]
    pub(super) never_bought: bool,
}

/// A part of a food.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct PartEntry {
    pub(super) whole: Weight,
    #[serde(default)]
    pub(super) measures: BTreeMap<String, Weight>,
    pub(super) density: Option<Density>,
    #[serde(default)]
    pub(super) also: Vec<String>,
    #[serde(default = "yes")]
    pub(super) own_name: bool,
}

const fn yes() -> bool {
    true
}

/// A number, with a point or without.
#[derive(Debug, Clone, Copy, Deserialize)]
#[serde(try_from = "Value")]
pub(super) struct Number(pub(super) Exact);

/// Where the trim loss comes from.
#[derive(Debug, Clone, Copy, Deserialize)]
#[serde(try_from = "Value")]
pub(super) enum Refuse {
    /// The row of the food's own number.
    Row,
    /// A percentage by practice or another source.
    Percent(Exact),
}

/// A weight in grams, or where it is found.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(try_from = "Value")]
pub(super) enum Weight {
    /// A measure of the food's own row, by its sequence number.
    Own(u32),
    /// A measure of another row: the row's number and the sequence number.
    Of(u32, u32),
    /// Grams by practice or another source.
    Grams(Exact),
}

/// A density, or what a measure weighs that gives it.
#[derive(Debug, Clone, Deserialize)]
#[serde(try_from = "Value")]
pub(super) enum Density {
    /// g/ml.
    Given(Exact),
    /// A unit of volume and what it weighs.
    Weighed(String, Weight),
}

impl TryFrom<Value> for Number {
    type Error = String;

    fn try_from(value: Value) -> Result<Self, String> {
        number(&value).map(Self).ok_or_else(|| format!("read `{value}`; write a number"))
    }
}

impl TryFrom<Value> for Refuse {
    type Error = String;

    fn try_from(value: Value) -> Result<Self, String> {
        match (value.as_str(), number(&value)) {
            (Some("sr"), _) => Ok(Self::Row),
            (None, Some(percent)) => Ok(Self::Percent(percent)),
            _ => Err(format!("read `{value}`; write \"sr\" or a percentage")),
        }
    }
}

impl TryFrom<Value> for Weight {
    type Error = String;

    fn try_from(value: Value) -> Result<Self, String> {
        let weight = match &value {
            Value::Integer(seq) => u32::try_from(*seq).ok().map(Self::Own),
            Value::String(text) => {
                text.split_once('/').and_then(|(ndb, seq)| Some(Self::Of(ndb.parse().ok()?, seq.parse().ok()?)))
            }
            Value::Float(_) => number(&value).map(Self::Grams),
            _ => None,
        };
        weight.ok_or_else(|| {
            format!("read `{value}`; write the seq of a measure (3), one of another row (\"9152/1\"), or grams with a point (85.0)")
        })
    }
}

impl TryFrom<Value> for Density {
    type Error = String;

    fn try_from(value: Value) -> Result<Self, String> {
        let bad = format!("read `{value}`; write g/ml (0.92) or one measure (cup = 1)");
        let mut units = match value {
            Value::Table(units) => units.into_iter(),
            given => return number(&given).map(Self::Given).ok_or(bad),
        };
        match (units.next(), units.next()) {
            (Some((unit, weight)), None) => Ok(Self::Weighed(unit, Weight::try_from(weight)?)),
            _ => Err(bad),
        }
    }
}

fn number(value: &Value) -> Option<Exact> {
    match value {
        Value::Integer(whole) => Some(Exact::whole(*whole)),
        // Nine decimals are more than anybody writes here, so the decimal that was written comes back exactly.
        Value::Float(float) => Some(Exact::from_f64(*float)),
        _ => None,
    }
}

/// What the files say, and what could not be read.
#[derive(Debug, Default)]
pub(super) struct Curated {
    pub(super) entries: Vec<(Place, Entry)>,
    pub(super) problems: Vec<Problem>,
}

/// Reads every file of the folder.
pub(super) fn read(folder: &Path) -> Result<Curated, DataError> {
    let mut curated = Curated::default();
    for path in super::files_of(folder, "toml")? {
        let text = fs::read_to_string(&path).map_err(|source| DataError::Read { path: path.clone(), source })?;
        let file = path.file_name().map_or_else(String::new, |name| name.to_string_lossy().into_owned());
        let foods: BTreeMap<Spanned<String>, Value> =
            toml::from_str(&text).map_err(|source| DataError::Toml { path: path.clone(), source: Box::new(source) })?;
        for (id, value) in foods {
            let line = text.get(..id.span().start).map_or(1, |before| before.matches('\n').count() + 1);
            let place = Place { file: file.clone(), line, food: id.into_inner() };
            match value.try_into() {
                Ok(entry) => curated.entries.push((place, entry)),
                Err(error) => curated.problems.push(place.problem("", error.to_string().trim().replace('\n', " "))),
            }
        }
    }
    Ok(curated)
}
