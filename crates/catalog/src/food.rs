//! What is known of a food.

use std::fmt;
use std::str::FromStr;
use std::sync::Arc;

use trug_measure::{Amount, Exact, Unit};

use crate::{Allergen, Group};

/// A food's id: kebab-case, the same in every file (`olive-oil`).
#[derive(Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct FoodId(Arc<str>);

impl FoodId {
    /// The id as it stands in a file.
    #[must_use]
    pub fn new(id: &str) -> Self {
        Self(id.into())
    }

    /// The id's text.
    #[must_use]
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl fmt::Display for FoodId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

impl fmt::Debug for FoodId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

/// How a food is kept once bought.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub enum Keep {
    /// At room temperature: a dry store, a cupboard.
    #[default]
    Ambient,
    /// In the refrigerator, at 41 °F (5 °C) or less (FDA Food Code 2022, 3-501.16).
    Chilled,
    /// In the freezer.
    Frozen,
}

/// A word is no way to keep food.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("`{0}` is not a way to keep food; use ambient, chilled or frozen")]
pub struct UnknownKeep(pub String);

impl Keep {
    /// The word that data has for it.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Ambient => "ambient",
            Self::Chilled => "chilled",
            Self::Frozen => "frozen",
        }
    }
}

impl FromStr for Keep {
    type Err = UnknownKeep;

    fn from_str(text: &str) -> Result<Self, UnknownKeep> {
        match text.trim() {
            "ambient" => Ok(Self::Ambient),
            "chilled" => Ok(Self::Chilled),
            "frozen" => Ok(Self::Frozen),
            other => Err(UnknownKeep(other.to_owned())),
        }
    }
}

/// A kind of raw animal food; kinds are kept apart from each other (FDA Food Code 2022, 3-302.11).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[allow(missing_docs, reason = "the variants are the kinds' own names")]
pub enum RawKind {
    Beef,
    Veal,
    Pork,
    Lamb,
    Game,
    Poultry,
    /// Raw minced or ground meat of any animal, and raw sausage.
    MincedMeat,
    Fish,
    Shellfish,
    Egg,
}

/// A word is no kind of raw animal food.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error(
    "`{0}` is not a kind of raw animal food; use beef, veal, pork, lamb, game, poultry, minced-meat, fish, shellfish or egg"
)]
pub struct UnknownRawKind(pub String);

impl RawKind {
    /// Every kind.
    pub const ALL: [Self; 10] = [
        Self::Beef,
        Self::Veal,
        Self::Pork,
        Self::Lamb,
        Self::Game,
        Self::Poultry,
        Self::MincedMeat,
        Self::Fish,
        Self::Shellfish,
        Self::Egg,
    ];

    /// The word that data has for it.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Beef => "beef",
            Self::Veal => "veal",
            Self::Pork => "pork",
            Self::Lamb => "lamb",
            Self::Game => "game",
            Self::Poultry => "poultry",
            Self::MincedMeat => "minced-meat",
            Self::Fish => "fish",
            Self::Shellfish => "shellfish",
            Self::Egg => "egg",
        }
    }

    /// The groups that it puts a food in. Minced meat is of any animal: it is taken for meat unless the food says which.
    #[must_use]
    pub const fn groups(self, is_meat: bool) -> &'static [Group] {
        match self {
            Self::Beef | Self::Veal | Self::Lamb | Self::Game => &[Group::Meat],
            Self::Pork => &[Group::Meat, Group::Pork],
            Self::Poultry => &[Group::Poultry],
            Self::MincedMeat if is_meat => &[],
            Self::MincedMeat => &[Group::Meat],
            Self::Fish => &[Group::Fish],
            Self::Shellfish => &[Group::Shellfish],
            Self::Egg => &[Group::Egg],
        }
    }

    /// The most whole days that it keeps raw at 40 °F: poultry and minced meat 1 to 2 days, fish and shellfish 1 to 2 (the shorter of
    /// the figures in print), whole cuts 3 to 5, eggs in the shell 3 to 5 weeks; the shorter end of whole cuts and eggs
    /// is kept. From memory: US cold food storage chart, foodsafety.gov. A caution, not a permission: the label's date
    /// and local food codes come first.
    #[must_use]
    pub const fn days_raw(self) -> u32 {
        match self {
            Self::Poultry | Self::MincedMeat | Self::Fish | Self::Shellfish => 2,
            Self::Beef | Self::Veal | Self::Pork | Self::Lamb | Self::Game => 3,
            Self::Egg => 21,
        }
    }
}

impl FromStr for RawKind {
    type Err = UnknownRawKind;

    fn from_str(text: &str) -> Result<Self, UnknownRawKind> {
        let word = text.trim().to_lowercase().replace([' ', '_'], "-");
        let word = match word.as_str() {
            "minced" | "ground" | "ground-meat" => "minced-meat",
            "eggs" => "egg",
            other => other,
        };
        Self::ALL.into_iter().find(|kind| kind.name() == word).ok_or_else(|| UnknownRawKind(text.trim().to_owned()))
    }
}

/// A household measure and the **edible** weight of one of it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Measure {
    /// The unit: a volume, `each`, or a count word.
    pub unit: Unit,
    /// The words that say which: `chopped`, `large`; folded as [`crate::fold`] folds them.
    pub words: Vec<String>,
    /// The edible weight of one, in grams.
    pub grams: Exact,
}

/// The share thrown away when a prep is done, where it differs from the food's own refuse.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Trim {
    /// The prep's word: `peeled`.
    pub prep: String,
    /// Percent of the as-purchased weight.
    pub refuse: Exact,
}

/// A part that is taken from the whole: a lemon's juice, an egg's yolk.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Part {
    /// `juice`, `zest`, `yolk`, `white`.
    pub name: String,
    /// Grams of the part that one whole (the food's `each`) yields.
    pub whole: Exact,
    /// The part's own measures.
    pub measures: Vec<Measure>,
    /// g/ml, where the part is a fluid.
    pub density: Option<Exact>,
    /// Other names of the part, beside the food's name and the part's.
    pub also: Vec<String>,
    /// Whether the food's name with the part's (`lemon juice`) means this part; not where that is a food of its own in
    /// the shop (`orange juice`).
    pub own_name: bool,
}

/// What is recorded of a food's allergens. Nobody has written "none" by leaving them out.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub enum Allergens {
    /// Nobody has recorded them.
    #[default]
    NotRecorded,
    /// These kinds are contained.
    Recorded {
        /// The kinds, in order, each once.
        kinds: Vec<Allergen>,
        /// Makers differ: more may be contained, and the label says so.
        vary: bool,
    },
}

impl Allergens {
    /// The kinds recorded; none where nothing is recorded.
    #[must_use]
    pub fn kinds(&self) -> &[Allergen] {
        match self {
            Self::NotRecorded => &[],
            Self::Recorded { kinds, .. } => kinds,
        }
    }

    /// Whether the label has more to say than the record.
    #[must_use]
    pub const fn is_open(&self) -> bool {
        matches!(self, Self::NotRecorded | Self::Recorded { vary: true, .. })
    }
}

/// Everything known of one food in the form in which it is bought.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Food {
    /// The id.
    pub id: FoodId,
    /// The plain name, in the singular.
    pub name: String,
    /// The name of several; the name where it is not counted.
    pub plural: String,
    /// Other names.
    pub also: Vec<String>,
    /// The food's number in the USDA National Nutrient Database for Standard Reference, release 28.
    pub ndb: Option<u32>,
    /// The section of a store where it stands.
    pub section: String,
    /// How it is kept once bought.
    pub keep: Keep,
    /// Percent of the as-purchased weight that is thrown away; `None` where that is not recorded, which is not 0.
    pub refuse: Option<Exact>,
    /// Refuse for preps that differ from it.
    pub trims: Vec<Trim>,
    /// Household measures, edible.
    pub measures: Vec<Measure>,
    /// g/ml: a food with a density is a fluid and is counted in millilitres.
    pub density: Option<Exact>,
    /// Parts that are taken from the whole.
    pub parts: Vec<Part>,
    /// Cooked weight over raw weight.
    pub cooked: Option<Exact>,
    /// Drained weight over net weight, of a food canned in liquid.
    pub drained: Option<Exact>,
    /// What is recorded of its allergens.
    pub allergens: Allergens,
    /// Allergens that no regime lists (`kiwi`), or that name no kind (`shellfish`), as the chef wrote them.
    pub other_allergens: Vec<String>,
    /// Groups of the chef's own (`nightshade`), as written.
    pub other_groups: Vec<String>,
    /// The groups it is in, those that follow from its allergens among them; in order, each once.
    pub groups: Vec<Group>,
    /// The kind of raw animal food, where it is one.
    pub raw: Option<RawKind>,
    /// Usual retail packs, by size.
    pub packs: Vec<Amount>,
    /// Grams (millilitres for a fluid) above which an open-ended lot is not trusted.
    pub enough: Option<Exact>,
    /// Whether the chef wrote it, in the kitchen's own foods.
    pub own: bool,
    /// Never bought: water from the tap.
    pub never_bought: bool,
    /// Whether anybody has described it; of a food that nobody has only the name is known.
    pub described: bool,
}

impl Food {
    /// A food of which only the id and the name are known.
    #[must_use]
    pub fn named(id: FoodId, name: &str) -> Self {
        Self {
            id,
            name: name.to_owned(),
            plural: name.to_owned(),
            also: Vec::new(),
            ndb: None,
            section: String::new(),
            keep: Keep::Ambient,
            refuse: None,
            trims: Vec::new(),
            measures: Vec::new(),
            density: None,
            parts: Vec::new(),
            cooked: None,
            drained: None,
            allergens: Allergens::NotRecorded,
            other_allergens: Vec::new(),
            other_groups: Vec::new(),
            groups: Vec::new(),
            raw: None,
            packs: Vec::new(),
            enough: None,
            own: false,
            never_bought: false,
            described: true,
        }
    }

    /// Whether it is counted in millilitres.
    #[must_use]
    pub const fn is_fluid(&self) -> bool {
        self.density.is_some()
    }

    /// Puts the groups in order and adds those that follow from the allergens recorded and from the kind of raw animal
    /// food: what is raw fish is fish, whether or not anybody wrote so.
    pub fn settle_groups(&mut self) {
        self.groups.extend(self.allergens.kinds().iter().filter_map(|kind| kind.group()));
        let is_meat = self.groups.contains(&Group::Meat) || self.groups.contains(&Group::Poultry);
        self.groups.extend(self.raw.into_iter().flat_map(|raw| raw.groups(is_meat)).copied());
        self.groups.sort_unstable();
        self.groups.dedup();
    }
}
