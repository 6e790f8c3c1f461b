//! Units of mass and volume with their exact sizes, and the words by which a kitchen counts.

use std::fmt;
use std::str::FromStr;

use crate::Exact;

/// A unit of mass. Sizes are exact: 1 lb = 453.59237 g (NIST SP 811, Appendix B), 16 oz to the pound.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[allow(missing_docs, reason = "the variants are the units' own names")]
pub enum MassUnit {
    Milligram,
    Gram,
    Kilogram,
    Ounce,
    Pound,
}

/// A unit of volume, US customary or metric. Sizes are exact: 1 US gallon = 231 cubic inches = 3.785411784 L
/// (NIST Handbook 44, Appendix C) = 4 quarts = 8 pints = 16 cups = 128 fl oz = 256 tbsp = 768 tsp.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[allow(missing_docs, reason = "the variants are the units' own names")]
pub enum VolumeUnit {
    Milliliter,
    Teaspoon,
    Tablespoon,
    FluidOunce,
    Cup,
    Pint,
    Quart,
    Liter,
    Gallon,
}

impl MassUnit {
    /// What one of it weighs, in grams.
    #[must_use]
    pub const fn grams(self) -> Exact {
        match self {
            Self::Milligram => Exact::new(1, 1000),
            Self::Gram => Exact::ONE,
            Self::Kilogram => Exact::whole(1000),
            Self::Ounce => Exact::new(45_359_237, 1_600_000),
            Self::Pound => Exact::new(45_359_237, 100_000),
        }
    }

    /// Its symbol, as the unit names of the trade's lists have it.
    #[must_use]
    pub const fn symbol(self) -> &'static str {
        match self {
            Self::Milligram => "mg",
            Self::Gram => "g",
            Self::Kilogram => "kg",
            Self::Ounce => "oz",
            Self::Pound => "lb",
        }
    }
}

impl VolumeUnit {
    /// Every unit of volume, from the smallest to the largest.
    pub const ALL: [Self; 9] = [
        Self::Milliliter,
        Self::Teaspoon,
        Self::Tablespoon,
        Self::FluidOunce,
        Self::Cup,
        Self::Pint,
        Self::Quart,
        Self::Liter,
        Self::Gallon,
    ];

    /// What one of it holds, in millilitres.
    #[must_use]
    pub const fn milliliters(self) -> Exact {
        const fn of_a_gallon(parts: i128) -> Exact {
            Exact::new(3_785_411_784, 1_000_000 * parts)
        }
        match self {
            Self::Milliliter => Exact::ONE,
            Self::Liter => Exact::whole(1000),
            Self::Gallon => of_a_gallon(1),
            Self::Quart => of_a_gallon(4),
            Self::Pint => of_a_gallon(8),
            Self::Cup => of_a_gallon(16),
            Self::FluidOunce => of_a_gallon(128),
            Self::Tablespoon => of_a_gallon(256),
            Self::Teaspoon => of_a_gallon(768),
        }
    }

    /// Its symbol, as the unit names of the trade's lists have it.
    #[must_use]
    pub const fn symbol(self) -> &'static str {
        match self {
            Self::Milliliter => "ml",
            Self::Liter => "l",
            Self::Teaspoon => "tsp",
            Self::Tablespoon => "tbsp",
            Self::FluidOunce => "floz",
            Self::Cup => "cup",
            Self::Pint => "pint",
            Self::Quart => "quart",
            Self::Gallon => "gallon",
        }
    }
}

/// A word that counts pieces or containers: `clove`, `can`, `bunch`. Compared by its singular.
#[derive(Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct CountWord(u8);

/// Singular, plural, and whether it is a container (its contents are sold by the container).
const WORDS: &[(&str, &str, bool)] = &[
    ("bag", "bags", true),
    ("ball", "balls", false),
    ("bar", "bars", true),
    ("batch", "batches", false),
    ("block", "blocks", true),
    ("bottle", "bottles", true),
    ("box", "boxes", true),
    ("breast", "breasts", false),
    ("bulb", "bulbs", false),
    ("bunch", "bunches", false),
    ("can", "cans", true),
    ("carton", "cartons", true),
    ("chop", "chops", false),
    ("clamshell", "clamshells", true),
    ("clove", "cloves", false),
    ("container", "containers", true),
    ("crown", "crowns", false),
    ("cube", "cubes", false),
    ("cutlet", "cutlets", false),
    ("dash", "dashes", false),
    ("drop", "drops", false),
    ("drumstick", "drumsticks", false),
    ("ear", "ears", false),
    ("envelope", "envelopes", true),
    ("fillet", "fillets", false),
    ("flat", "flats", true),
    ("floret", "florets", false),
    ("frond", "fronds", false),
    ("grind", "grinds", false),
    ("handful", "handfuls", false),
    ("head", "heads", false),
    ("heart", "hearts", false),
    ("jar", "jars", true),
    ("knob", "knobs", false),
    ("leaf", "leaves", false),
    ("leg", "legs", false),
    ("link", "links", false),
    ("loaf", "loaves", false),
    ("log", "logs", true),
    ("lobe", "lobes", false),
    ("packet", "packets", true),
    ("pack", "packs", true),
    ("package", "packages", true),
    ("pat", "pats", false),
    ("patty", "patties", false),
    ("piece", "pieces", false),
    ("pinch", "pinches", false),
    ("pod", "pods", false),
    ("portion", "portions", false),
    ("pouch", "pouches", true),
    ("punnet", "punnets", true),
    ("rack", "racks", false),
    ("rasher", "rashers", false),
    ("rib", "ribs", false),
    ("ring", "rings", false),
    ("roll", "rolls", false),
    ("round", "rounds", false),
    ("sachet", "sachets", true),
    ("scoop", "scoops", false),
    ("segment", "segments", false),
    ("serving", "servings", false),
    ("shank", "shanks", false),
    ("sheet", "sheets", false),
    ("shot", "shots", false),
    ("side", "sides", false),
    ("slab", "slabs", false),
    ("slice", "slices", false),
    ("spear", "spears", false),
    ("splash", "splashes", false),
    ("sprig", "sprigs", false),
    ("square", "squares", false),
    ("stalk", "stalks", false),
    ("steak", "steaks", false),
    ("stem", "stems", false),
    ("stick", "sticks", false),
    ("strip", "strips", false),
    ("tail", "tails", false),
    ("tenderloin", "tenderloins", false),
    ("thigh", "thighs", false),
    ("tray", "trays", true),
    ("tub", "tubs", true),
    ("tube", "tubes", true),
    ("wedge", "wedges", false),
    ("wheel", "wheels", false),
    ("wing", "wings", false),
];

/// Other words for the same count: British and clipped forms.
const WORDS_ALSO: &[(&str, &str)] = &[
    ("tin", "can"),
    ("tins", "can"),
    ("pkg", "package"),
    ("pkgs", "package"),
    ("pkt", "packet"),
    ("pkts", "packet"),
    ("filet", "fillet"),
    ("filets", "fillet"),
    ("drum", "drumstick"),
    ("drums", "drumstick"),
    ("stem", "stem"),
    ("leafs", "leaf"),
    ("loafs", "loaf"),
    ("pc", "piece"),
    ("pcs", "piece"),
    ("fronds", "frond"),
    ("recipe", "batch"),
    ("recipes", "batch"),
    ("quantity", "batch"),
    ("quantities", "batch"),
];

impl CountWord {
    /// The count word that a text names, in the singular, the plural or another form (`tins` is a can).
    #[must_use]
    pub fn from_word(word: &str) -> Option<Self> {
        let singular = WORDS_ALSO.iter().find(|(form, _)| *form == word).map_or(word, |(_, singular)| singular);
        let at = WORDS.iter().position(|(one, many, _)| *one == singular || *many == singular)?;
        u8::try_from(at).ok().map(Self)
    }

    /// Every form of every count word, with the word it stands for.
    pub fn forms() -> impl Iterator<Item = (&'static str, Self)> {
        let own = WORDS.iter().flat_map(|(one, many, _)| [*one, *many]);
        let forms = own.chain(WORDS_ALSO.iter().map(|(form, _)| *form));
        forms.filter_map(|form| Some((form, Self::from_word(form)?)))
    }

    fn row(self) -> (&'static str, &'static str, bool) {
        WORDS.get(usize::from(self.0)).copied().unwrap_or(("piece", "pieces", false))
    }

    /// The word for one of it.
    #[must_use]
    pub fn singular(self) -> &'static str {
        self.row().0
    }

    /// The word for several of it.
    #[must_use]
    pub fn plural(self) -> &'static str {
        self.row().1
    }

    /// Whether it is a container, whose contents are as purchased (`can`, `jar`), not a piece of food (`clove`).
    #[must_use]
    pub fn is_container(self) -> bool {
        self.row().2
    }

    /// The volume that the word stands for where a food has no measure of its own for it.
    ///
    /// A pinch is about 1/16 tsp and a dash 1/8 tsp: common practice, no published source.
    #[must_use]
    pub fn spoonful(self) -> Option<(Exact, VolumeUnit)> {
        match self.singular() {
            "pinch" => Some((Exact::new(1, 16), VolumeUnit::Teaspoon)),
            "dash" => Some((Exact::new(1, 8), VolumeUnit::Teaspoon)),
            _ => None,
        }
    }
}

impl fmt::Debug for CountWord {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.singular())
    }
}

/// What an amount is counted in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Unit {
    /// A unit of mass.
    Mass(MassUnit),
    /// A unit of volume.
    Volume(VolumeUnit),
    /// Whole pieces without a word: `2 carrots`.
    Each,
    /// Pieces or containers with a word: `2 cans`.
    Count(CountWord),
}

impl Unit {
    /// Grams.
    pub const GRAM: Self = Self::Mass(MassUnit::Gram);
    /// Millilitres.
    pub const ML: Self = Self::Volume(VolumeUnit::Milliliter);

    /// The unit's name in data: `g`, `floz`, `each`, or the count word in the singular.
    #[must_use]
    pub fn symbol(self) -> &'static str {
        match self {
            Self::Mass(unit) => unit.symbol(),
            Self::Volume(unit) => unit.symbol(),
            Self::Each => "each",
            Self::Count(word) => word.singular(),
        }
    }

    /// Whether it counts pieces or containers.
    #[must_use]
    pub const fn is_count(self) -> bool {
        matches!(self, Self::Each | Self::Count(_))
    }

    /// The count word's unit, for words known to be one.
    #[must_use]
    pub fn count(word: &str) -> Option<Self> {
        CountWord::from_word(word).map(Self::Count)
    }
}

impl fmt::Display for Unit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.symbol())
    }
}

/// No unit by this name.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error(
    "`{0}` is not a unit; use g, kg, oz, lb, ml, l, tsp, tbsp, floz, cup, pint, quart, gallon, each, or a word that counts, such as can or bunch"
)]
pub struct UnknownUnit(pub String);

/// Reads a unit as people write it: `lb`, `lbs.`, `pounds`, `fl oz`, `floz`, `L`, `Tbsp`, `T`, `cans`, `each`, `ct`.
impl FromStr for Unit {
    type Err = UnknownUnit;

    fn from_str(text: &str) -> Result<Self, UnknownUnit> {
        let trimmed = text.trim().trim_end_matches('.');
        match trimmed {
            "T" => return Ok(Self::Volume(VolumeUnit::Tablespoon)),
            "t" => return Ok(Self::Volume(VolumeUnit::Teaspoon)),
            _ => {}
        }
        let lower = trimmed.to_ascii_lowercase();
        by_name(&lower).ok_or_else(|| UnknownUnit(trimmed.to_owned()))
    }
}

fn by_name(lower: &str) -> Option<Unit> {
    use MassUnit as M;
    use VolumeUnit as V;
    Some(match lower {
        "g" | "gr" | "gm" | "gms" | "gram" | "grams" | "gramme" | "grammes" => Unit::Mass(M::Gram),
        "kg" | "kgs" | "kilo" | "kilos" | "kilogram" | "kilograms" => Unit::Mass(M::Kilogram),
        "mg" | "milligram" | "milligrams" => Unit::Mass(M::Milligram),
        "oz" | "ozs" | "ounce" | "ounces" => Unit::Mass(M::Ounce),
        "lb" | "lbs" | "pound" | "pounds" => Unit::Mass(M::Pound),
        "ml" | "mls" | "milliliter" | "milliliters" | "millilitre" | "millilitres" => Unit::Volume(V::Milliliter),
        "l" | "lt" | "ltr" | "liter" | "liters" | "litre" | "litres" => Unit::Volume(V::Liter),
        "tsp" | "tsps" | "teaspoon" | "teaspoons" | "teaspoonful" | "teaspoonfuls" => Unit::Volume(V::Teaspoon),
        "tbsp" | "tbsps" | "tbs" | "tbl" | "tablespoon" | "tablespoons" | "tablespoonful" | "tablespoonfuls" => {
            Unit::Volume(V::Tablespoon)
        }
        "floz" | "fl oz" | "fl. oz" | "fluid ounce" | "fluid ounces" | "fl ounce" | "fl ounces" | "fluid oz"
        | "fl-oz" | "fl ozs" => Unit::Volume(V::FluidOunce),
        "cup" | "cups" | "c" | "cupful" | "cupfuls" => Unit::Volume(V::Cup),
        "pint" | "pints" | "pt" | "pts" => Unit::Volume(V::Pint),
        "quart" | "quarts" | "qt" | "qts" => Unit::Volume(V::Quart),
        "gallon" | "gallons" | "gal" | "gals" => Unit::Volume(V::Gallon),
        "each" | "ea" | "ct" | "count" | "whole" | "pcs." => Unit::Each,
        word => Unit::Count(CountWord::from_word(word)?),
    })
}
