//! The words that the reader and the lookup know besides the names of foods, in one place. All are folded.

use trug_measure::{CountWord, Unit};

/// What a word is, as bits; a word can be several things.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(crate) struct Class(u32);

impl Class {
    /// Says what was done to the food (`chopped`).
    pub(crate) const PREP: Self = Self(1);
    /// Says how it was done (`finely`).
    pub(crate) const ADVERB: Self = Self(1 << 1);
    /// Does not change which food is meant: lookup may drop it.
    pub(crate) const NEUTRAL: Self = Self(1 << 2);
    /// Says which size, and so which household measure.
    pub(crate) const SIZE: Self = Self(1 << 3);
    /// Names the form bought: never dropped, never prep.
    pub(crate) const FORM: Self = Self(1 << 4);
    /// Joins words: says nothing by itself.
    pub(crate) const JOIN: Self = Self(1 << 5);
    /// Between a number and a unit without changing either (`heaping`).
    pub(crate) const FILL: Self = Self(1 << 6);
    /// A piece of the plant or animal after its name: `leaf`, `floret`; the food is the same.
    pub(crate) const PIECE: Self = Self(1 << 7);
    /// A food named so is kept: fresh or raw is another food.
    pub(crate) const KEPT: Self = Self(1 << 8);
    /// A number's word.
    pub(crate) const NUMBER: Self = Self(1 << 9);
    /// A cut of meat or fish: part of the name where it follows the animal's.
    pub(crate) const CUT: Self = Self(1 << 10);
    /// A share of the food that is counted: always the unit, never part of the name.
    pub(crate) const PORTION: Self = Self(1 << 11);
    /// May begin what says something else than the food: `for`, `to taste`.
    pub(crate) const ASIDE: Self = Self(1 << 13);
    /// May stand before a number (`about`) or in its place (`a few`).
    pub(crate) const VAGUE: Self = Self(1 << 14);
    /// Bought or used cooked.
    pub(crate) const COOKED: Self = Self(1 << 12);
    /// With what or where it is done: says how before a prep (`hand torn`, `pan-fried`), and nothing else.
    pub(crate) const TOOL: Self = Self(1 << 15);
    /// To what degree: says nothing before a word that says nothing (`very ripe`).
    pub(crate) const DEGREE: Self = Self(1 << 16);
    /// One of a pair that says nothing of which food is meant.
    pub(crate) const PAIR: Self = Self(1 << 17);

    /// Whether any of the bits are set.
    pub(crate) const fn is(self, other: Self) -> bool {
        self.0 & other.0 != 0
    }

    /// Both.
    pub(crate) const fn and(self, other: Self) -> Self {
        Self(self.0 | other.0)
    }
}

/// Done to the food by the cook. Before the name they make a mass edible; after the comma they do not.
const PREP: &str = "chopped diced minced sliced grated shredded peeled unpeeled deveined cooked drained undrained rinsed \
    melted softened toasted crushed packed sifted beaten cubed halved quartered pitted stoned seeded deseeded \
    trimmed julienned crumbled torn shaved zested juiced squeezed washed scrubbed cleaned cored hulled shelled shucked \
    podded stemmed destemmed picked stripped smashed mashed pureed blended whisked separated warmed cooled \
    thawed defrosted soaked blanched steamed boiled poached roasted grilled fried sauteed browned caramelized \
    caramelised charred scored butterflied spatchcocked tied trussed deboned filleted flaked broken split cut \
    segmented sectioned slivered spiralized spiralised snipped bruised cracked pounded flattened \
    divided reserved strained pressed squashed riced tempered clarified skinned scraped topped tailed \
    rubbed brushed marinated shaken stirred matchstick batonned patted wilted tenderized wiped \
    reconstituted rehydrated refrigerated leftover lengthwise lengthway crosswise unpitted liquidised processed \
    debearded portioned bashed loosened mixed removed braised baked seared griddled barbecued charbroiled broiled simmered \
    ripped carved scalded";

/// How it is done, and what else stands before a prep.
const ADVERB: &str = "finely thinly coarsely roughly freshly lightly firmly loosely tightly well very thickly evenly \
    gently thoroughly partially barely just newly precisely neatly diagonally fine coarse rough thin thick hard soft \
    already pre";

/// Tools and places of the work, before a prep.
const TOOL: &str = "hand pan oven stir fork knife spoon machine home fire flame skillet griddle air deep slow double half \
    kettle wok charcoal dry pressure spit kitchen par quick flash twice triple crinkle";

/// Degrees of what says nothing.
const DEGREE: &str = "very just barely slightly quite really fully partially nicely almost fairly";

/// Does not change which food is meant. `baby`, `firm`, `young` and `whole` are not among them: a baby carrot, firm
/// tofu and whole milk are other foods.
const NEUTRAL: &str = "ripe fresh freshly organic raw quality local locally seasonal nice plump fat juicy unwaxed waxed \
    homemade uncooked regular ordinary standard favorite best pure real authentic premium cold sustainable lean beautiful good \
    great overripe perfectly freerange lovely underripe";

/// Pairs that do not change which food is meant, though one of the words alone might (`wild` rice, `extra` firm tofu).
pub(crate) const NEUTRAL_PAIRS: &[(&str, &str)] = &[
    ("free", "range"),
    ("cage", "free"),
    ("extra", "large"),
    ("good", "quality"),
    ("high", "quality"),
    ("best", "quality"),
    ("top", "quality"),
    ("pasture", "raised"),
    ("grass", "fed"),
    ("corn", "fed"),
    ("wild", "caught"),
    ("line", "caught"),
    ("farm", "fresh"),
    ("farm", "raised"),
    ("store", "bought"),
    ("shop", "bought"),
    ("thick", "cut"),
    ("thin", "cut"),
    ("medium", "sized"),
    ("large", "sized"),
    ("small", "sized"),
    ("medium", "size"),
    ("large", "size"),
    ("small", "size"),
    ("sushi", "grade"),
    ("new", "season"),
    ("in", "season"),
    ("home", "made"),
    ("bite", "size"),
    ("bite", "sized"),
    ("extra", "lean"),
    ("hot", "water"),
    ("day", "old"),
    ("home", "grown"),
    ("vine", "ripened"),
    ("tree", "ripened"),
    ("sun", "ripened"),
    ("pole", "caught"),
    ("hand", "reared"),
    ("hand", "dived"),
];

/// Which size: another measure of the same food.
const SIZE: &str = "large medium small jumbo big tiny giant huge thick thin long";

/// Names the form bought: what else may stand before a name, across a comma too (`boneless, skinless chicken thighs`).
const FORM: &str = "boneless skinless bone skin unsalted salted low sodium reduced nonfat full fat free whole canned \
    frozen dried ground smoked pickled instant light lite extra virgin plain unsweetened sweetened roasted dry jarred \
    baby young firm silken unbleached gluten dairy vegan seedless shell tail head on in peel bought range red green \
    yellow orange white black sweet hot mild cold-pressed";

/// Joining words.
const JOIN: &str =
    "of and or the a an to in into with for from on at as plus by if it them but so until each about then";

/// Between a number and its unit without changing either.
const FILL: &str = "heaping heaped scant generous level rounded good full overflowing hefty brimming loosely firmly \
    lightly tightly packed large medium small big tiny thick thin fat little more whole long short individual \
    regular standard fresh additional extra loose nice very thumb sized size";

/// Pieces of the food that follow its name; without them it is the same food.
const PIECE: &str = "leaf floret clove stalk sprig stem spear wedge slice kernel segment strip cube head bulb frond rib ear \
    piece bunch crown ball knob rasher stick pod sheet square round ring chunk flower lobe handful fillet root";

/// A food whose name has one of them has been kept or changed: the fresh food is another.
const KEPT: &str = "dried ground canned frozen smoked pickled powder powdered dehydrated flake";

/// Words for numbers.
const NUMBER: &str = "a an one two three four five six seven eight nine ten eleven twelve thirteen fourteen fifteen sixteen \
    eighteen twenty thirty forty fifty hundred dozen half quarter third couple pair";

/// Cuts: a `chicken breast` is the food, not a breast of chicken.
const CUT: &str = "breast thigh drumstick wing fillet steak chop cutlet leg shank tenderloin heart tail loin rack roast \
    patty cheek rib side hock shoulder neck belly tender link";

/// Shares of a food that are counted: `2 thyme sprigs` are sprigs.
const PORTION: &str = "sprig clove bunch head stalk slice handful rib can jar bulb knob rasher";

/// What may begin an aside.
const ASIDE: &str = "for plus preferably ideally optional such like including until depending from per more to as if about \
    approximately roughly or at room";

/// Words before a number, or for an amount that is no number.
const VAGUE: &str = "about approximately approx roughly around circa ca nearly almost some up at just total net few several \
    drizzle glug dollop dusting squeeze grating twist touch sprinkling sprinkle bit lot plenty smear swirl grind spoonful \
    hint scattering lug";

/// Preps that leave the food cooked.
const COOKED: &str = "cooked steamed boiled poached grilled roasted fried sauteed hardboiled leftover \
    braised baked barbecued charbroiled broiled simmered griddled";

/// What stands before `on`, `in` or `off` to name the form bought.
pub(crate) const SIDES: &[&str] = &["skin", "bone", "shell", "head", "tail", "rind", "fat", "root", "stem", "husk"];

/// What a bare name means where the food is counted, weighed by the pound or cut up as a vegetable is; by the spoon, and
/// without an amount, it is a spice.
pub(crate) const VEGETABLES: &[(&str, &str)] = &[("pepper", "bell pepper")];

/// Every word with what it is.
pub(crate) fn classes() -> impl Iterator<Item = (&'static str, Class)> {
    let lists = [
        (PREP, Class::PREP),
        (ADVERB, Class::ADVERB),
        (NEUTRAL, Class::NEUTRAL),
        (SIZE, Class::SIZE.and(Class::NEUTRAL)),
        (FORM, Class::FORM),
        (JOIN, Class::JOIN),
        (FILL, Class::FILL),
        (PIECE, Class::PIECE),
        (KEPT, Class::KEPT),
        (NUMBER, Class::NUMBER),
        (CUT, Class::CUT),
        (PORTION, Class::PORTION),
        (COOKED, Class::COOKED),
        (ASIDE, Class::ASIDE),
        (VAGUE, Class::VAGUE),
        (TOOL, Class::TOOL),
        (DEGREE, Class::DEGREE),
    ];
    let single = lists.into_iter().flat_map(|(words, class)| words.split_whitespace().map(move |word| (word, class)));
    single.chain(NEUTRAL_PAIRS.iter().flat_map(|(first, second)| [(*first, Class::PAIR), (*second, Class::PAIR)]))
}

/// Names of units besides the count words, as cooks write them.
const UNITS: &str = "g gr gm gms gram gramme kg kgs kilo kilogram mg milligram oz ozs ounce lb lbs pound ml mls milliliter \
    millilitre l lt ltr liter litre tsp tsps teaspoon teaspoonful tbsp tbsps tbs tbl tablespoon tablespoonful floz cup c \
    cupful pint pt pts quart qt qts gallon gal each ea ct";

/// Further writings of units, and how many of the unit they are: a decilitre is 100 ml.
const UNITS_ALSO: &[(&str, &str, u16)] = &[
    // A British dessertspoon holds 10 ml [practice].
    ("dessertspoon", "tsp", 2),
    ("dessertspoonful", "tsp", 2),
    ("dsp", "tsp", 2),
    ("tblsp", "tbsp", 1),
    ("tbspn", "tbsp", 1),
    ("tblspn", "tbsp", 1),
    ("tbls", "tbsp", 1),
    ("teasp", "tsp", 1),
    ("tspn", "tsp", 1),
    ("dl", "ml", 100),
    ("deciliter", "ml", 100),
    ("cl", "ml", 10),
    ("centiliter", "ml", 10),
    ("qrt", "quart", 1),
    ("jug", "bottle", 1),
];

/// Every name of a unit, with the unit and how many of it.
pub(crate) fn units() -> impl Iterator<Item = (&'static str, (Unit, u16))> {
    let plain = UNITS.split_whitespace().filter_map(|word| Some((word, (word.parse().ok()?, 1))));
    let also = UNITS_ALSO.iter().filter_map(|(word, unit, scale)| Some((*word, (unit.parse().ok()?, *scale))));
    plain.chain(also).chain(CountWord::forms().map(|(word, count)| (word, (Unit::Count(count), 1))))
}
