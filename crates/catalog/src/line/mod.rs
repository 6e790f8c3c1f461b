//! Reading an ingredient line: amount, unit, food, prep and what the amount means.

mod amount;
mod names;
mod read;
mod token;
pub(crate) mod words;

pub(crate) use read::read;

use trug_measure::{Amount, Exact, Unit};

use crate::Found;

/// What an amount of mass means.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Basis {
    /// As purchased: before trimming (`1 lb carrots, peeled`).
    Purchased,
    /// Edible portion: after trimming (`1 lb peeled carrots`).
    Edible,
}

impl Basis {
    /// The word that data has for it.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Purchased => "purchased",
            Self::Edible => "edible",
        }
    }
}

/// An amount that may be a range; what is bought follows the high end.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Range {
    /// The low end; the amount itself where there is no range.
    pub low: Exact,
    /// The high end.
    pub high: Exact,
}

/// What the cook should know of how a line was read.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Doubt {
    /// Nothing in the line could be taken for a food.
    Unreadable,
    /// The line heads those after it (`For the sauce:`): it asks for nothing.
    Heading,
    /// There are two amounts that do not add up (`1 cup plus 2 oz`); only the first is counted.
    AmountsDiffer,
    /// An amount that is nothing, or beyond anything a kitchen holds; it is read as no amount.
    AmountOutOfRange,
    /// The food was found by mending one slip of the pen.
    Slip,
}

/// An ingredient line, read. Reading never fails: a line that says nothing readable is kept whole, as a check line
/// with a [`Doubt`].
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Line {
    /// The line as it was written.
    pub raw: String,
    /// How many of the unit; `None` where the line has no amount.
    pub amount: Option<Range>,
    /// The unit; `None` where the line has no amount.
    pub unit: Option<Unit>,
    /// The stated size of each container or piece: `1 (14.5-oz) can`, `4 (6-oz) fillets`, `1 (4-lb) chicken`.
    pub size: Option<Amount>,
    /// The stated size of all pieces together: `3 carrots (about 1 lb)`.
    pub total: Option<Amount>,
    /// The food's words, in the line's own spelling: with what names the form bought (`large`, `boneless`), without prep.
    pub food: String,
    /// What the words stand for in the catalogue.
    pub found: Option<Found>,
    /// The preps, as written, joined with commas.
    pub prep: String,
    /// Words that tell measures apart, folded as [`crate::fold`] folds: of the prep, and of size (`large`).
    pub words: Vec<String>,
    /// What an amount of mass means. Edible for counts and household measures, purchased for containers of a stated size.
    pub basis: Basis,
    /// The amount is of the cooked food (`2 cups cooked rice`).
    pub cooked: bool,
    /// The amount is of the drained food (`1 cup canned beans, drained`).
    pub drained: bool,
    /// May be left out.
    pub optional: bool,
    /// Carries no amount: the shopper makes sure that there is some. Not so a heading, which asks for nothing.
    pub check: bool,
    /// What pot it fills (`frying`, `brine`, `blanching`, `pot`): needed once a service, not scaled.
    pub fills: Option<String>,
    /// The second choice of `butter or ghee`, as written.
    pub or: Option<String>,
    /// What else the line says, as written: `plus more for serving`, notes in parentheses.
    pub note: Option<String>,
    /// A second food of the same line, read as a line of its own: `salt and pepper, to taste`, `1 tsp each cumin and
    /// coriander`. It may have another in turn.
    pub and: Option<Box<Line>>,
    /// What the cook should know of the reading.
    pub doubts: Vec<Doubt>,
}

impl Line {
    /// A line of which nothing has been read yet.
    fn empty(raw: &str) -> Self {
        Self {
            raw: raw.to_owned(),
            amount: None,
            unit: None,
            size: None,
            total: None,
            food: String::new(),
            found: None,
            prep: String::new(),
            words: Vec::new(),
            basis: Basis::Purchased,
            cooked: false,
            drained: false,
            optional: false,
            check: true,
            fills: None,
            or: None,
            note: None,
            and: None,
            doubts: Vec::new(),
        }
    }
}
