//! The foods that are known, and finding one by what a person calls it.

use std::collections::HashMap;
use std::hash::{BuildHasherDefault, Hasher};

use trug_measure::Unit;

use crate::fold::fold;
use crate::line::words::{self, Class};
use crate::line::{self, Line};
use crate::{Food, FoodId};

/// Position of a food in one [`Catalog`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct FoodIx(u32);

/// What words stand for: a food, or a part of it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Found {
    /// The food.
    pub food: FoodIx,
    /// The part's place in [`Food::parts`], where the words name one (`lemon juice`).
    pub part: Option<u8>,
}

/// Two foods of one catalogue have the same name.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("`{name}` is a name of both `{first}` and `{second}`; take it from one of them")]
pub struct NameTaken {
    /// The name, folded.
    pub name: String,
    /// The food that has it.
    pub first: FoodId,
    /// The food that wants it too.
    pub second: FoodId,
}

/// The foods that are known, found by name.
#[derive(Debug, Clone)]
pub struct Catalog {
    foods: Vec<Food>,
    nothing: Food,
    /// Whether the food has been kept (dried, canned) by its name or id: `fresh` is then not neutral.
    pub(crate) kept: Vec<bool>,
    by_id: HashMap<FoodId, FoodIx>,
    pub(crate) lexicon: Lexicon,
    pub(crate) exact: Names<Found>,
    /// By the words in the order of their numbers; `None` where several foods share them.
    pub(crate) unordered: Names<Option<Found>>,
}

/// A catalogue without foods.
impl Default for Catalog {
    fn default() -> Self {
        Self::build(Vec::new()).0
    }
}

/// A name by the numbers of its words.
type Key = Box<[WordId]>;

pub(crate) type Names<T> = HashMap<Box<[WordId]>, T, BuildHasherDefault<QuickHasher>>;

impl Catalog {
    /// A catalogue of foods.
    ///
    /// # Errors
    /// Every name that two foods have.
    pub fn new(foods: Vec<Food>) -> Result<Self, Vec<NameTaken>> {
        let (catalog, taken) = Self::build(foods);
        if taken.is_empty() { Ok(catalog) } else { Err(taken) }
    }

    /// This catalogue with a chef's own foods before it: an own food with the id of a catalogue food replaces it, and
    /// the names of own foods shadow those of the catalogue. Of two own foods with one name the first has it.
    #[must_use]
    pub fn with_own(&self, own: Vec<Food>) -> Self {
        // The names of the catalogue are not looked up again: of thousands only a few are added.
        let mut catalog = self.clone();
        let mut added: Vec<FoodIx> = Vec::with_capacity(own.len());
        for food in own {
            let known = catalog.by_id(food.id.as_str());
            if !known.is_some_and(|ix| added.contains(&ix)) {
                added.push(catalog.place(food, known));
            }
        }
        // What was replaced is known by its own names alone.
        let replaced: Vec<FoodIx> = added.iter().copied().filter(|ix| ix.at() < self.foods.len()).collect();
        if !replaced.is_empty() {
            catalog.exact.retain(|_, found| !replaced.contains(&found.food));
            catalog.unordered.retain(|_, found| !found.is_some_and(|found| replaced.contains(&found.food)));
        }
        for (at, ix) in added.iter().enumerate() {
            catalog.name_own(*ix, added.get(..at).unwrap_or_default());
        }
        catalog.lexicon.sort_by_length();
        catalog
    }

    /// Puts a food in another's place, or at the end.
    fn place(&mut self, food: Food, known: Option<FoodIx>) -> FoodIx {
        let is_kept = self.is_kept_by_name(&food);
        let ix = known.unwrap_or_else(|| FoodIx(u32::try_from(self.foods.len()).unwrap_or(u32::MAX)));
        self.by_id.insert(food.id.clone(), ix);
        match (self.foods.get_mut(ix.at()), self.kept.get_mut(ix.at())) {
            (Some(place), Some(kept)) => (*place, *kept) = (food, is_kept),
            _ => {
                self.foods.push(food);
                self.kept.push(is_kept);
            }
        }
        ix
    }

    /// Makes a chef's own food known by its names; they shadow those of the catalogue, but not of an own food before it.
    fn name_own(&mut self, ix: FoodIx, before: &[FoodIx]) {
        let food = self.get(ix).clone();
        for name in own_names(&food) {
            for (key, sorted) in self.keys(&name) {
                let taken = |found: &Found| before.contains(&found.food);
                if !self.exact.get(&key).is_some_and(taken) {
                    self.exact.insert(key, Found { food: ix, part: None });
                }
                let rival = self.unordered.get(&sorted).copied().flatten().filter(taken);
                let found = rival.is_none().then_some(Found { food: ix, part: None });
                self.unordered.insert(sorted, found);
            }
        }
        for (name, part) in part_names(&food) {
            self.add_name(&name, Found { food: ix, part: Some(part) });
        }
    }

    fn is_kept_by_name(&self, food: &Food) -> bool {
        let kept = |name: String| name.split(' ').any(|word| self.lexicon.class_of(word).is(Class::KEPT));
        kept(fold(&food.name)) || kept(fold(food.id.as_str()))
    }

    /// The keys of a name, in the order of its words and in the order of their numbers; one pair for each way in which it
    /// is spaced.
    fn keys(&mut self, name: &str) -> Vec<(Key, Key)> {
        let folded = fold(name);
        if folded.is_empty() {
            return Vec::new();
        }
        let key = |variant: String| {
            let key: Box<[WordId]> = variant.split(' ').map(|word| self.lexicon.intern(word)).collect();
            let mut sorted: Vec<WordId> = key.iter().copied().filter(|word| !self.lexicon.is_of(*word)).collect();
            sorted.sort_unstable();
            (key, sorted.into())
        };
        spaced_variants(&folded).into_iter().map(key).collect()
    }

    pub(crate) fn build(foods: Vec<Food>) -> (Self, Vec<NameTaken>) {
        let mut catalog = Self {
            nothing: Food::named(FoodId::new(""), ""),
            kept: Vec::with_capacity(foods.len()),
            by_id: HashMap::with_capacity(foods.len()),
            lexicon: Lexicon::new(),
            exact: Names::default(),
            unordered: Names::default(),
            foods,
        };
        let all: Vec<FoodIx> = (0..).map(FoodIx).take(catalog.foods.len()).collect();
        let mut taken = Vec::new();
        for ix in &all {
            catalog.by_id.insert(catalog.get(*ix).id.clone(), *ix);
            for name in own_names(catalog.get(*ix)) {
                taken.extend(catalog.add_name(&name, Found { food: *ix, part: None }));
            }
            catalog.kept.push(catalog.is_kept_by_name(catalog.get(*ix)));
        }
        for ix in &all {
            for (name, part) in part_names(catalog.get(*ix)) {
                // A food that is bought by that name keeps it.
                catalog.add_name(&name, Found { food: *ix, part: Some(part) });
            }
        }
        catalog.lexicon.sort_by_length();
        (catalog, taken)
    }

    /// Adds a name; the clash, where another catalogue food has it.
    fn add_name(&mut self, name: &str, found: Found) -> Option<NameTaken> {
        let mut taken = None;
        for (key, sorted) in self.keys(name) {
            if let Some(before) = self.exact.get(&key).filter(|before| before.food != found.food) {
                taken = taken.or_else(|| self.clash(name, before.food, found.food));
                continue;
            }
            self.exact.entry(key).or_insert(found);
            let own = self.get(found.food).own;
            let before = self.unordered.get(&sorted).copied();
            match before {
                None => {
                    self.unordered.insert(sorted, Some(found));
                }
                Some(Some(before)) if before.food != found.food && self.get(before.food).own == own => {
                    self.unordered.insert(sorted, None);
                }
                Some(_) => {}
            }
        }
        taken
    }

    fn clash(&self, name: &str, first: FoodIx, second: FoodIx) -> Option<NameTaken> {
        let (first, second) = (self.get(first), self.get(second));
        let id = |food: &Food| food.id.clone();
        // A chef's own names shadow the catalogue's: that is what they are for.
        (!first.own).then(|| NameTaken { name: fold(name), first: id(first), second: id(second) })
    }

    /// The food at a position that this catalogue gave out. A position of a larger catalogue, past this one's end, gives
    /// a food without a name.
    #[must_use]
    pub fn get(&self, ix: FoodIx) -> &Food {
        self.foods.get(ix.at()).unwrap_or(&self.nothing)
    }

    /// The food with an id.
    #[must_use]
    pub fn by_id(&self, id: &str) -> Option<FoodIx> {
        self.by_id.get(&FoodId::new(id)).copied()
    }

    /// Gives a food that nobody has described a place at the end. Its name is not looked up: what a name stands for must
    /// not depend on which names were met before it.
    pub fn add_undescribed(&mut self, id: &str, name: &str) -> FoodIx {
        let ix = FoodIx(u32::try_from(self.foods.len()).unwrap_or(u32::MAX));
        let food = Food::named(FoodId::new(id), name);
        self.foods.push(Food { described: false, ..food });
        self.kept.push(false);
        ix
    }

    /// Every food.
    pub fn foods(&self) -> impl Iterator<Item = (FoodIx, &Food)> {
        (0..).map(FoodIx).zip(&self.foods)
    }

    /// Whether a food's plain name has the folded word: `leaf` of `bay leaf`.
    pub(crate) fn plain_name_has(&self, ix: FoodIx, word: &str) -> bool {
        fold(&self.get(ix).name).split(' ').any(|part| part == word)
    }

    /// Reads an ingredient line. It never fails: a line that says nothing readable is kept whole, with a doubt.
    #[must_use]
    pub fn read(&self, line: &str) -> Line {
        line::read(self, line)
    }
}

/// The names that a food has for itself.
fn own_names(food: &Food) -> Vec<String> {
    let mut names = vec![food.name.clone(), food.plural.clone()];
    names.extend(food.also.iter().cloned());
    names.push(food.id.as_str().replace('-', " "));
    names
}

/// The names of a food's parts: `lemon juice`, `juice of lemon`, and the part's own.
fn part_names(food: &Food) -> Vec<(String, u8)> {
    let mut names = Vec::new();
    for (at, part) in (0..=u8::MAX).zip(&food.parts) {
        if part.own_name {
            for whole in std::iter::once(&food.name).chain(&food.also) {
                names.push((format!("{whole} {}", part.name), at));
                names.push((format!("{} of {whole}", part.name), at));
            }
        }
        names.extend(part.also.iter().map(|name| (name.clone(), at)));
    }
    names
}

/// A name in one word and in two, where both are common in print.
fn spaced_variants(folded: &str) -> Vec<String> {
    let mut variants = vec![folded.to_owned()];
    let words: Vec<&str> = folded.split(' ').collect();
    for (at, word) in words.iter().enumerate() {
        let next = words.get(at + 1).copied().unwrap_or_default();
        for (one, first, second) in ONE_OR_TWO {
            let (other, end) = match *word {
                word if word == *one => (format!("{first} {second}"), at + 1),
                word if word == *first && next == *second => ((*one).to_owned(), at + 2),
                _ => continue,
            };
            let before = words.iter().take(at).copied();
            let after = words.iter().skip(end).copied();
            variants.push(before.chain([other.as_str()]).chain(after).collect::<Vec<_>>().join(" "));
        }
    }
    variants
}

/// Names printed in one word and in two.
const ONE_OR_TWO: &[(&str, &str, &str)] = &[
    ("breadcrumb", "bread", "crumb"),
    ("chickpea", "chick", "pea"),
    ("lemongrass", "lemon", "grass"),
    ("cornstarch", "corn", "starch"),
    ("buttermilk", "butter", "milk"),
    ("cornmeal", "corn", "meal"),
    ("eggplant", "egg", "plant"),
    ("watermelon", "water", "melon"),
    ("sourdough", "sour", "dough"),
    ("beetroot", "beet", "root"),
    ("peppercorn", "pepper", "corn"),
    ("wholewheat", "whole", "wheat"),
    ("wholegrain", "whole", "grain"),
    ("wholemeal", "whole", "meal"),
    ("multigrain", "multi", "grain"),
    ("lowfat", "low", "fat"),
    ("nonfat", "non", "fat"),
    ("meatball", "meat", "ball"),
    ("passionfruit", "passion", "fruit"),
    ("sweetcorn", "sweet", "corn"),
    ("seabass", "sea", "bass"),
    ("popcorn", "pop", "corn"),
    ("horseradish", "horse", "radish"),
    ("butternut", "butter", "nut"),
    ("shortbread", "short", "bread"),
    ("flatbread", "flat", "bread"),
    ("cornbread", "corn", "bread"),
    ("mangetout", "mange", "tout"),
    ("ribeye", "rib", "eye"),
    ("hardboiled", "hard", "boiled"),
];

impl FoodIx {
    /// The place in the list of foods.
    pub(crate) fn at(self) -> usize {
        self.0 as usize
    }
}

/// The number of a folded word; [`WordId::UNKNOWN`] for a word that nothing is called by.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub(crate) struct WordId(u32);

impl WordId {
    /// No name has the word.
    pub(crate) const UNKNOWN: Self = Self(u32::MAX);
}

/// A unit, and how many of it a word means: a decilitre is 100 ml.
pub(crate) type ScaledUnit = (Unit, u16);

/// Every word that a name or the reader knows.
#[derive(Debug, Clone)]
pub(crate) struct Lexicon {
    units: Vec<Option<ScaledUnit>>,
    ids: HashMap<Box<str>, WordId, BuildHasherDefault<QuickHasher>>,
    classes: Vec<Class>,
    by_length: Vec<(Box<str>, WordId)>,
    fresh: [WordId; 2],
    whole: WordId,
    of: WordId,
    neutral_pairs: Vec<(WordId, WordId)>,
}

impl Lexicon {
    fn new() -> Self {
        let mut lexicon = Self {
            units: Vec::new(),
            ids: HashMap::default(),
            classes: Vec::new(),
            by_length: Vec::new(),
            fresh: [WordId::UNKNOWN; 2],
            whole: WordId::UNKNOWN,
            of: WordId::UNKNOWN,
            neutral_pairs: Vec::new(),
        };
        for (word, class) in words::classes() {
            let id = lexicon.intern(word);
            if let Some(slot) = lexicon.classes.get_mut(id.0 as usize) {
                *slot = slot.and(class);
            }
        }
        lexicon.fresh = [lexicon.intern("fresh"), lexicon.intern("raw")];
        lexicon.whole = lexicon.intern("whole");
        lexicon.of = lexicon.intern("of");
        for (word, unit) in words::units() {
            let id = lexicon.intern(&fold(word));
            if let Some(slot) = lexicon.units.get_mut(id.0 as usize) {
                *slot = slot.or(Some(unit));
            }
        }
        for (first, second) in words::NEUTRAL_PAIRS {
            let pair = (lexicon.intern(first), lexicon.intern(second));
            lexicon.neutral_pairs.push(pair);
        }
        lexicon
    }

    pub(crate) fn is_fresh(&self, id: WordId) -> bool {
        self.fresh.contains(&id)
    }

    pub(crate) fn is_whole(&self, id: WordId) -> bool {
        self.whole == id
    }

    /// Whether two neighbours together say nothing of which food is meant (`free range`).
    pub(crate) fn is_neutral_pair(&self, first: WordId, second: WordId) -> bool {
        self.neutral_pairs.contains(&(first, second))
    }

    /// The words of nearly a length in bytes: one more or less at most.
    pub(crate) fn words_near(&self, len: usize) -> impl Iterator<Item = (&str, WordId)> {
        let from = self.by_length.partition_point(|(word, _)| word.len() + 1 < len);
        let near = self.by_length.iter().skip(from).take_while(move |(word, _)| word.len() <= len + 1);
        near.map(|(word, id)| (&**word, *id))
    }

    /// Puts the words in the order of their lengths, for mending.
    fn sort_by_length(&mut self) {
        self.by_length = self.ids.iter().map(|(word, id)| (word.clone(), *id)).collect();
        self.by_length.sort_unstable_by(|a, b| (a.0.len(), &a.0).cmp(&(b.0.len(), &b.0)));
    }

    fn intern(&mut self, word: &str) -> WordId {
        if let Some(id) = self.ids.get(word) {
            return *id;
        }
        let id = WordId(u32::try_from(self.classes.len()).unwrap_or(u32::MAX));
        self.classes.push(Class::default());
        self.units.push(None);
        self.ids.insert(word.into(), id);
        id
    }

    /// What is known of a folded word: its number, what it is, the unit that it names.
    pub(crate) fn lookup(&self, word: &str) -> Option<(WordId, Class, Option<ScaledUnit>)> {
        let id = *self.ids.get(word)?;
        Some((id, self.class(id), self.units.get(id.0 as usize).copied().flatten()))
    }

    pub(crate) fn id_of(&self, word: &str) -> WordId {
        self.ids.get(word).copied().unwrap_or(WordId::UNKNOWN)
    }

    pub(crate) fn class(&self, id: WordId) -> Class {
        self.classes.get(id.0 as usize).copied().unwrap_or_default()
    }

    fn class_of(&self, word: &str) -> Class {
        self.class(self.id_of(word))
    }

    /// `leg of lamb` is a lamb leg; `and` and `or` say more than that.
    pub(crate) fn is_of(&self, id: WordId) -> bool {
        self.of == id
    }
}

/// A quick hasher for short keys that come from the catalogue's own data, not from an adversary's choosing: words and
/// lists of word numbers, a multiply and a rotation for each eight bytes.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct QuickHasher(u64);

impl QuickHasher {
    fn mix(&mut self, word: u64) {
        self.0 = (self.0.rotate_left(5) ^ word).wrapping_mul(0x9e37_79b9_7f4a_7c15);
    }
}

impl Hasher for QuickHasher {
    fn write(&mut self, bytes: &[u8]) {
        let (chunks, rest) = bytes.as_chunks::<8>();
        for chunk in chunks {
            self.mix(u64::from_le_bytes(*chunk));
        }
        let tail = rest.iter().rev().fold(rest.len() as u64, |sum, byte| sum << 8 | u64::from(*byte));
        self.mix(tail);
    }

    fn write_u8(&mut self, value: u8) {
        self.mix(u64::from(value));
    }

    fn write_u32(&mut self, value: u32) {
        self.mix(u64::from(value));
    }

    fn write_usize(&mut self, value: usize) {
        self.mix(value as u64);
    }

    fn finish(&self) -> u64 {
        self.0 ^ self.0 >> 32
    }
}
