//! What can be wrong with a kitchen folder, and how it is said.

use std::fmt;

use chrono::NaiveDate;
use trug_catalog::{UnknownAllergen, UnknownGroup, UnknownKeep, UnknownRawKind};
use trug_measure::{AmountError, MoneyError, UnknownUnit};

use crate::Near;

/// One thing that is wrong: where, and what.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Problem {
    /// The file's path in the folder, parted by slashes; empty for the folder itself.
    pub file: String,
    /// The line, counted from 1, where there is one to point at.
    pub line: Option<u32>,
    /// What is wrong, and what would be right.
    pub what: What,
}

/// `households/maple.toml:7: ...`
impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match (self.file.as_str(), self.line) {
            ("", _) => write!(f, "{}", self.what),
            (file, None) => write!(f, "{file}: {}", self.what),
            (file, Some(line)) => write!(f, "{file}:{line}: {}", self.what),
        }
    }
}

impl std::error::Error for Problem {}

/// Everything that is wrong with a folder, by file and line; never empty.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Problems(Vec<Problem>);

impl Problems {
    /// The problems in order; `None` where there is none.
    pub(crate) fn of(mut problems: Vec<Problem>) -> Option<Self> {
        if problems.is_empty() {
            return None;
        }
        problems.sort_by(|a, b| (&a.file, a.line).cmp(&(&b.file, b.line)));
        problems.dedup();
        Some(Self(problems))
    }

    /// One problem with a file as a whole.
    pub(crate) fn one(file: &str, what: What) -> Self {
        Self(vec![Problem { file: file.to_owned(), line: None, what }])
    }

    /// The problems, by file and line.
    pub fn iter(&self) -> std::slice::Iter<'_, Problem> {
        self.0.iter()
    }
}

impl<'a> IntoIterator for &'a Problems {
    type Item = &'a Problem;
    type IntoIter = std::slice::Iter<'a, Problem>;

    fn into_iter(self) -> Self::IntoIter {
        self.iter()
    }
}

/// One problem a line.
impl fmt::Display for Problems {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (at, problem) in self.0.iter().enumerate() {
            if at > 0 {
                f.write_str("\n")?;
            }
            write!(f, "{problem}")?;
        }
        Ok(())
    }
}

impl std::error::Error for Problems {}

/// What is wrong, and what would be right.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[allow(missing_docs, reason = "the fields are the words of the messages beside them")]
pub enum What {
    // The folder and its files.
    /// There is nothing to read.
    #[error(
        "the folder is empty; a kitchen folder holds a kitchen.toml, and beside it households, dishes, weeks, stores and pantries"
    )]
    EmptyFolder,
    /// The one file that must be there is not.
    #[error("there is no kitchen.toml here; a kitchen folder has one, with at least `name = \"...\"`")]
    NoKitchen,
    /// A file that has no business in its folder.
    #[error("is not a file that belongs here; {want}")]
    UnknownFile { want: &'static str },
    /// A file beside kitchen.toml whose name looks like a slip.
    #[error("is not read; did you mean `{meant}`?")]
    NearlyKnown { meant: &'static str },
    /// A path that would leave the folder.
    #[error(
        "`{0}` leads out of the folder or is no plain path; write folder/file with forward slashes, without `..`, `\\` or `:`"
    )]
    PathLeavesFolder(String),
    /// A file name that is no id.
    #[error("`{id}` cannot be an id; {want}")]
    BadId { id: String, want: &'static str },
    /// Two files for one id.
    #[error("is there a second time as {other}; keep one of the two")]
    SameId { other: String },
    /// Beyond all sense.
    #[error("is larger than {limit}; that is no {kind}")]
    TooLarge { limit: &'static str, kind: &'static str },
    /// UTF-16.
    #[error("is written in UTF-16; save it as UTF-8")]
    Utf16,
    /// Bytes of another encoding.
    #[error("has a byte (0x{byte:02X}) that is not UTF-8; save it as UTF-8")]
    NotUtf8 { byte: u8 },
    /// A zero byte.
    #[error("has a zero byte, so it is no plain text; save it as UTF-8 text")]
    ZeroByte,

    // TOML.
    /// It is not TOML.
    #[error("this is not TOML: {0}")]
    Toml(String),
    /// A key that is not read.
    #[error("`{key}` is not a key {place}; {near}")]
    UnknownKey { key: String, place: &'static str, near: Near },
    /// A key that must be there.
    #[error("`{key}` is missing {place}; write {example}")]
    MissingKey { key: &'static str, place: &'static str, example: &'static str },
    /// A value of the wrong type.
    #[error("`{key}` is {read}; write {want}")]
    WrongType { key: String, read: String, want: &'static str },
    /// An empty text.
    #[error("`{key}` is empty; write something or leave it out")]
    Empty { key: String },
    /// A number out of its range.
    #[error("`{key}` is {read}; write {want}")]
    OutOfRange { key: String, read: String, want: &'static str },
    /// Money as a float.
    #[error(
        "`{key}` is the number {read}, and such numbers are not exact; write the money in quotes, such as \"{example}\""
    )]
    MoneyUnquoted { key: String, read: String, example: String },
    /// A word that is none of a few.
    #[error("`{key}` is `{read}`; {near}")]
    NotOneOf { key: String, read: String, near: Near },

    // Values.
    /// No date.
    #[error("`{0}` is not a date; write year, month and day, such as 2026-03-04")]
    BadDate(String),
    /// No money.
    #[error("{0}")]
    Money(#[from] MoneyError),
    /// A price of nothing.
    #[error("a price of {0} is no price; write what it costs, or leave the line out")]
    NoPrice(String),
    /// No amount at all.
    #[error("`{0}` is no amount; write a number and a unit, such as 14.5 oz, 1 bunch or 12 each")]
    NoAmount(String),
    /// An amount of an unknown unit, of nothing or of too much.
    #[error("{0}")]
    Amount(AmountError),
    /// No unit.
    #[error("{0}")]
    Unit(#[from] UnknownUnit),
    /// No way of keeping.
    #[error("{0}")]
    Keep(#[from] UnknownKeep),
    /// No kind of raw animal food.
    #[error("{0}")]
    Raw(#[from] UnknownRawKind),
    /// No allergen.
    #[error("{0}")]
    Allergen(#[from] UnknownAllergen),
    /// No food group.
    #[error("{0}")]
    Group(#[from] UnknownGroup),

    // What refers to what.
    /// A name of something that is not there.
    #[error("there is no {what} `{id}` in {place}; {near}")]
    Unknown { what: &'static str, id: String, place: &'static str, near: Near },
    /// Something that must be there once is there twice.
    #[error("`{name}` is {what} twice; keep one")]
    Twice { name: String, what: &'static str },
    /// Two swaps or two shelves for one food.
    #[error("`{one}` and `{other}` are the same food here; keep one of the two")]
    SameFood { one: String, other: String },
    /// Two own foods of one name.
    #[error("the name `{name}` belongs to [food.{other}] as well; a name means one food")]
    NameTaken { name: String, other: String },
    /// A household without diners.
    #[error("the household has no [[diner]]; write one for each who eats, such as [[diner]] and then name = \"Ada\"")]
    NoDiners,
    /// A diner who is not of the household.
    #[error("`{name}` does not eat at {household}; {near}")]
    UnknownDiner { name: String, household: String, near: Near },
    /// Nobody eats it.
    #[error("`for` names nobody; name who eats it, or leave it out where all do")]
    ForNobody,
    /// How much, twice over.
    #[error("`meals` and `portions` both say how much; keep one of the two")]
    MealsAndPortions,
    /// More than anyone cooks.
    #[error("{portions} portions are beyond one service; at most 10,000")]
    TooManyPortions { portions: String },

    // Dishes.
    /// No title.
    #[error("the dish has no title; the first line is the title, such as `# Lentil soup`")]
    NoTitle,
    /// Two titles.
    #[error("`{0}` is a second title; a dish has one")]
    SecondTitle(String),
    /// It does not say how much it makes.
    #[error(
        "the dish does not say how much it makes; write `Serves 6`, or `Makes 24 cookies`, on a line below the title"
    )]
    NoYield,
    /// A yield that is no number.
    #[error(
        "`{0}` has no number that could be read; write `Serves 6`, `Serves 4-6`, `Makes 24 cookies` or `Makes 3 cups`"
    )]
    BadYield(String),
    /// A yield out of range.
    #[error("`{0}` is nothing, or more than a kitchen makes; write a number above 0 and at most 10,000")]
    YieldOutOfRange(String),
    /// Two of one yield.
    #[error("`{0}` is there twice; keep one")]
    YieldTwice(&'static str),
    /// A dish without ingredients.
    #[error(
        "the dish has no ingredient lines; write `## Ingredients`, and below it one line each, such as `- 2 carrots`"
    )]
    NoIngredients,
    /// A line among the ingredients that is none.
    #[error("`{0}` stands among the ingredients; start an ingredient with `- `, a part of the dish with `### `")]
    NotAnIngredient(String),
    /// A bullet without anything.
    #[error("the ingredient line is empty; write an ingredient, such as `- 2 carrots`, or take the line out")]
    EmptyIngredient,
    /// An amount of nothing, or of too much.
    #[error(
        "`{0}` asks for nothing, or for more than a kitchen holds; write how much, or leave the amount out where a little is enough"
    )]
    IngredientOutOfRange(String),
    /// Text where none is expected.
    #[error(
        "`{0}` is neither `Serves 6`, `Makes 3 cups` nor a line `Key: value`; put other text under `## Method` or `## Notes`"
    )]
    StrayText(String),
    /// A section twice.
    #[error("`## {0}` is there twice; put the two together")]
    SectionTwice(&'static str),
    /// A name in a line that two dishes have.
    #[error("`{name}` can mean the dish {one} or the dish {other}; give the one that is not meant another title")]
    TwoDishes { name: String, one: String, other: String },
    /// A circle of dishes.
    #[error("a dish cannot be part of itself: {}; take one of them out", .0.join(" uses "))]
    Circle(Vec<String>),

    // JSON-LD.
    /// It is not JSON.
    #[error("this is not JSON: {0}")]
    Json(String),
    /// There is no recipe in it.
    #[error("there is no recipe in it; a schema.org recipe is an object with \"@type\": \"Recipe\"")]
    NoRecipe,
    /// There are several.
    #[error("there are {0} recipes in it; keep one a file")]
    SeveralRecipes(usize),
    /// No name.
    #[error("the recipe has no \"name\"; write one, such as \"name\": \"Lentil soup\"")]
    NoName,
    /// No yield.
    #[error("the recipe has no \"recipeYield\" with a number; write \"recipeYield\": \"6 servings\" or \"24 cookies\"")]
    NoRecipeYield,
    /// No ingredients.
    #[error("the recipe has no \"recipeIngredient\"; write a list, such as \"recipeIngredient\": [\"2 carrots\"]")]
    NoRecipeIngredients,
    /// An ingredient that is no text.
    #[error("an item of \"recipeIngredient\" is {0}; each is a text in quotes")]
    IngredientNotText(&'static str),

    // CSV.
    /// No header.
    #[error("there is no header; the first line is `{0}`")]
    NoHeader(&'static str),
    /// A column that is not read.
    #[error("`{column}` is not a column here; {near}")]
    UnknownColumn { column: String, near: Near },
    /// A column that must be there.
    #[error("the column `{column}` is missing; the header is `{header}`")]
    MissingColumn { column: &'static str, header: &'static str },
    /// A line of another length.
    #[error(
        "the line has {read} fields, and the header {want}; put a comma between fields, and quotes around one that has a comma"
    )]
    FieldCount { read: usize, want: usize },
    /// Quotes that never end.
    #[error("a quote is opened here and never closed; end the field with `\"`, and write a quote inside one twice")]
    OpenQuote,
    /// Text after the closing quote.
    #[error("`{0}` stands after a closing quote; write a quote inside a quoted field twice")]
    AfterQuote(String),
    /// A field that must be filled.
    #[error("`{0}` is empty; it must be filled in")]
    EmptyField(&'static str),
    /// Two prices of one thing on one day.
    #[error(
        "`{food}`, {size} at {store} has a price of {on} on line {other} already; keep one, or give the newer one its own date"
    )]
    TwoPrices { food: String, size: String, store: String, on: NaiveDate, other: u32 },
}
