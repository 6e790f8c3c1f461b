//! Allergen kinds, the classes that two regimes make of them, and the groups that diets ask for.

use std::fmt;
use std::str::FromStr;

/// A kind of allergen as it is stored: the almond, not "tree nuts", since regimes group the kinds differently.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[allow(missing_docs, reason = "the variants are the kinds' own names")]
pub enum Allergen {
    Milk,
    Egg,
    Fish,
    Crustacean,
    Mollusc,
    Almond,
    BrazilNut,
    Cashew,
    Hazelnut,
    Macadamia,
    Pecan,
    Pistachio,
    Walnut,
    PineNut,
    /// A tree nut whose kind nobody has recorded.
    TreeNut,
    Peanut,
    Wheat,
    Barley,
    Rye,
    Oat,
    Soy,
    Sesame,
    Celery,
    Mustard,
    Lupin,
    Sulphite,
}

/// Which law's list of allergens a kitchen follows.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub enum Regime {
    /// The US nine: FALCPA 2004, FASTER Act 2021, and FDA's Q&A on food allergens, edition 5, for the kinds of tree nut.
    #[default]
    Us,
    /// The EU fourteen: Regulation (EU) No 1169/2011, Annex II.
    Eu,
}

/// A group of foods that a diet or an avoidance asks for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[allow(missing_docs, reason = "the variants are the groups' own names")]
pub enum Group {
    Meat,
    Poultry,
    Fish,
    /// Crustaceans and molluscs: wider than the US class, which has crustaceans alone.
    Shellfish,
    Egg,
    Dairy,
    /// Wheat, barley, rye and oats (unless a maker says otherwise): wider than the US class, which has wheat alone.
    Gluten,
    Pork,
    Alcohol,
    Honey,
    Gelatin,
}

/// A word is no allergen kind.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("`{0}` is not an allergen kind; use {kinds}", kinds = list(Allergen::ALL.iter().map(|kind| kind.name())))]
pub struct UnknownAllergen(pub String);

/// A word is no group.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("`{0}` is not a food group; use {groups}", groups = list(Group::ALL.iter().map(|group| group.name())))]
pub struct UnknownGroup(pub String);

fn list<'a>(words: impl Iterator<Item = &'a str>) -> String {
    words.collect::<Vec<_>>().join(", ")
}

impl Allergen {
    /// Every kind, in the order in which they are listed.
    pub const ALL: [Self; 26] = [
        Self::Milk,
        Self::Egg,
        Self::Fish,
        Self::Crustacean,
        Self::Mollusc,
        Self::Almond,
        Self::BrazilNut,
        Self::Cashew,
        Self::Hazelnut,
        Self::Macadamia,
        Self::Pecan,
        Self::Pistachio,
        Self::Walnut,
        Self::PineNut,
        Self::TreeNut,
        Self::Peanut,
        Self::Wheat,
        Self::Barley,
        Self::Rye,
        Self::Oat,
        Self::Soy,
        Self::Sesame,
        Self::Celery,
        Self::Mustard,
        Self::Lupin,
        Self::Sulphite,
    ];

    /// The kind's name, in the singular, as data and lists have it.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Milk => "milk",
            Self::Egg => "egg",
            Self::Fish => "fish",
            Self::Crustacean => "crustacean",
            Self::Mollusc => "mollusc",
            Self::Almond => "almond",
            Self::BrazilNut => "brazil nut",
            Self::Cashew => "cashew",
            Self::Hazelnut => "hazelnut",
            Self::Macadamia => "macadamia",
            Self::Pecan => "pecan",
            Self::Pistachio => "pistachio",
            Self::Walnut => "walnut",
            Self::PineNut => "pine nut",
            Self::TreeNut => "tree nut",
            Self::Peanut => "peanut",
            Self::Wheat => "wheat",
            Self::Barley => "barley",
            Self::Rye => "rye",
            Self::Oat => "oat",
            Self::Soy => "soy",
            Self::Sesame => "sesame",
            Self::Celery => "celery",
            Self::Mustard => "mustard",
            Self::Lupin => "lupin",
            Self::Sulphite => "sulphite",
        }
    }

    /// Whether the kind is a tree nut under a regime. FDA counts pine nuts among them, the EU does not; neither counts
    /// coconut, chestnut or peanut.
    #[must_use]
    pub const fn is_tree_nut(self, regime: Regime) -> bool {
        match self {
            Self::Almond
            | Self::BrazilNut
            | Self::Cashew
            | Self::Hazelnut
            | Self::Macadamia
            | Self::Pecan
            | Self::Pistachio
            | Self::Walnut
            | Self::TreeNut => true,
            Self::PineNut => matches!(regime, Regime::Us),
            _ => false,
        }
    }

    /// The class that a regime puts the kind in, by the regime's own name for it; `None` where the regime does not
    /// list it (molluscs, barley and rye in the US).
    #[must_use]
    pub const fn class(self, regime: Regime) -> Option<&'static str> {
        if self.is_tree_nut(regime) {
            return Some(match regime {
                Regime::Us => "tree nuts",
                Regime::Eu => "nuts",
            });
        }
        match regime {
            Regime::Us => self.us_class(),
            Regime::Eu => self.eu_class(),
        }
    }

    const fn us_class(self) -> Option<&'static str> {
        Some(match self {
            Self::Milk => "milk",
            Self::Egg => "eggs",
            Self::Fish => "fish",
            Self::Crustacean => "crustacean shellfish",
            Self::Peanut => "peanuts",
            Self::Wheat => "wheat",
            Self::Soy => "soybeans",
            Self::Sesame => "sesame",
            _ => return None,
        })
    }

    const fn eu_class(self) -> Option<&'static str> {
        Some(match self {
            Self::Milk => "milk",
            Self::Egg => "eggs",
            Self::Fish => "fish",
            Self::Crustacean => "crustaceans",
            Self::Mollusc => "molluscs",
            Self::Peanut => "peanuts",
            Self::Wheat | Self::Barley | Self::Rye | Self::Oat => "cereals containing gluten",
            Self::Soy => "soybeans",
            Self::Sesame => "sesame",
            Self::Celery => "celery",
            Self::Mustard => "mustard",
            Self::Lupin => "lupin",
            Self::Sulphite => "sulphur dioxide and sulphites",
            _ => return None,
        })
    }

    /// The group that the kind puts a food in, where there is one.
    #[must_use]
    pub const fn group(self) -> Option<Group> {
        Some(match self {
            Self::Milk => Group::Dairy,
            Self::Egg => Group::Egg,
            Self::Fish => Group::Fish,
            Self::Crustacean | Self::Mollusc => Group::Shellfish,
            Self::Wheat | Self::Barley | Self::Rye | Self::Oat => Group::Gluten,
            _ => return None,
        })
    }
}

impl fmt::Display for Allergen {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

/// Reads a kind's name: any case, singular or plural, with hyphens or spaces, and the usual other words for it.
impl FromStr for Allergen {
    type Err = UnknownAllergen;

    fn from_str(text: &str) -> Result<Self, UnknownAllergen> {
        let word = text.trim().to_lowercase().replace(['-', '_'], " ");
        let kind = match word.as_str() {
            "peanuts" | "groundnut" | "groundnuts" => Self::Peanut,
            "soya" | "soybean" | "soybeans" | "soy bean" | "soya beans" => Self::Soy,
            "mollusk" | "mollusks" | "molluscs" => Self::Mollusc,
            "filbert" | "filberts" => Self::Hazelnut,
            "sulfite" | "sulfites" | "sulphites" | "sulphur dioxide" => Self::Sulphite,
            "macadamia nut" | "macadamia nuts" | "queensland nut" => Self::Macadamia,
            "pecan nut" | "pecan nuts" => Self::Pecan,
            "cashew nut" | "cashew nuts" => Self::Cashew,
            "pignoli" => Self::PineNut,
            "nut" | "nuts" => Self::TreeNut,
            "crustacean shellfish" => Self::Crustacean,
            "dairy" => Self::Milk,
            "sulphur dioxide and sulphites" | "sulfur dioxide" => Self::Sulphite,
            word => {
                let singular = word.strip_suffix('s').unwrap_or(word);
                let named = |kind: &Self| kind.name() == word || kind.name() == singular;
                Self::ALL.into_iter().find(named).ok_or_else(|| UnknownAllergen(text.trim().to_owned()))?
            }
        };
        Ok(kind)
    }
}

impl Group {
    /// Every group.
    pub const ALL: [Self; 11] = [
        Self::Meat,
        Self::Poultry,
        Self::Fish,
        Self::Shellfish,
        Self::Egg,
        Self::Dairy,
        Self::Gluten,
        Self::Pork,
        Self::Alcohol,
        Self::Honey,
        Self::Gelatin,
    ];

    /// The group's name.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Meat => "meat",
            Self::Poultry => "poultry",
            Self::Fish => "fish",
            Self::Shellfish => "shellfish",
            Self::Egg => "egg",
            Self::Dairy => "dairy",
            Self::Gluten => "gluten",
            Self::Pork => "pork",
            Self::Alcohol => "alcohol",
            Self::Honey => "honey",
            Self::Gelatin => "gelatin",
        }
    }
}

impl fmt::Display for Group {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

/// Reads a group's name in any case, singular or plural.
impl FromStr for Group {
    type Err = UnknownGroup;

    fn from_str(text: &str) -> Result<Self, UnknownGroup> {
        let word = text.trim().to_lowercase();
        let singular = word.strip_suffix('s').unwrap_or(&word);
        let named = |group: &Self| group.name() == word || group.name() == singular;
        Self::ALL.into_iter().find(named).ok_or_else(|| UnknownGroup(text.trim().to_owned()))
    }
}
