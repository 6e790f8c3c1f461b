//! The one way in which names are compared.

/// Folds a text for comparison: lower case, accents and apostrophes dropped, other punctuation and hyphens as spaces,
/// every word in the singular and in US spelling; words joined by single spaces.
///
/// ```
/// use trug_catalog::fold;
/// assert_eq!(fold("Jalapeño Peppers"), "jalapeno pepper");
/// assert_eq!(fold("confectioners’ sugar"), fold("Confectioner's sugar"));
/// assert_eq!(fold("bay-leaves"), "bay leaf");
/// assert_eq!(fold("Greek yoghurt"), "greek yogurt");
/// ```
#[must_use]
pub fn fold(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    let mut start = 0;
    for c in text.chars() {
        match kind(c) {
            Kind::Letter => push_folded(&mut out, c),
            Kind::Nothing => {}
            Kind::Word(word) => {
                start = finish_word(&mut out, start);
                out.push_str(word);
                start = finish_word(&mut out, start);
            }
            Kind::Gap => start = finish_word(&mut out, start),
        }
    }
    finish_word(&mut out, start);
    out.truncate(out.trim_end().len());
    out
}

/// What a character is to a name.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Kind {
    /// Part of a word.
    Letter,
    /// Nothing: an apostrophe, an accent set apart, an invisible mark.
    Nothing,
    /// A sign that is read as a word.
    Word(&'static str),
    /// What stands between words.
    Gap,
}

/// What a character is to a name.
#[inline]
pub(crate) fn kind(c: char) -> Kind {
    match c {
        'a'..='z' | 'A'..='Z' | '0'..='9' => Kind::Letter,
        ' ' | '-' | ',' | '.' | '(' | ')' | '/' => Kind::Gap,
        '&' => Kind::Word("and"),
        '%' => Kind::Word("percent"),
        '\'' | '`' | '\u{00b4}' | '\u{02b9}'..='\u{02bc}' | '\u{2018}' | '\u{2019}' | '\u{2032}' => Kind::Nothing,
        // Accents set apart, soft hyphens, zero-width and direction marks, the byte order mark, emoji selectors.
        '\u{0300}'..='\u{036f}' | '\u{00ad}' | '\u{200b}'..='\u{200f}' => Kind::Nothing,
        '\u{202a}'..='\u{202e}' | '\u{2060}'..='\u{2069}' | '\u{feff}' | '\u{fe00}'..='\u{fe0f}' => Kind::Nothing,
        // Written fractions and raised digits are numbers, not letters of a word.
        '\u{00bc}'..='\u{00be}' | '\u{2150}'..='\u{215f}' | '\u{2189}' | '\u{00b9}' | '\u{00b2}' | '\u{00b3}' => {
            Kind::Gap
        }
        c if c.is_alphanumeric() => Kind::Letter,
        _ => Kind::Gap,
    }
}

/// Adds a letter in lower case and without its accent.
#[inline]
pub(crate) fn push_folded(out: &mut String, c: char) {
    if c.is_ascii() {
        out.push(c.to_ascii_lowercase());
        return;
    }
    for lower in c.to_lowercase() {
        match plain(lower) {
            // A Turkish capital leaves its dot behind.
            "" if kind(lower) == Kind::Nothing => {}
            "" => out.push(lower),
            letters => out.push_str(letters),
        }
    }
}

/// A letter without its accent; empty where it has none. Names of foods come with those of Western and Central
/// European, Turkish and Vietnamese spelling.
fn plain(c: char) -> &'static str {
    match c {
        'à'..='å' | 'ā' | 'ă' | 'ą' | 'ạ'..='ặ' => "a",
        'æ' => "ae",
        'ç' | 'ć' | 'ĉ' | 'ċ' | 'č' => "c",
        'ď' | 'đ' | 'ð' => "d",
        'è'..='ë' | 'ē' | 'ĕ' | 'ė' | 'ę' | 'ě' | 'ẹ'..='ệ' => "e",
        'ĝ' | 'ğ' | 'ġ' | 'ģ' => "g",
        'ì'..='ï' | 'ĩ' | 'ī' | 'ĭ' | 'į' | 'ı' | 'ỉ' | 'ị' => "i",
        'ł' | 'ĺ' | 'ļ' | 'ľ' => "l",
        'ñ' | 'ń' | 'ņ' | 'ň' => "n",
        'ò'..='ö' | 'ø' | 'ō' | 'ŏ' | 'ő' | 'ơ' | 'ọ'..='ợ' => "o",
        'œ' => "oe",
        'ŕ' | 'ŗ' | 'ř' => "r",
        'ś' | 'ŝ' | 'ş' | 'š' | 'ș' => "s",
        'ß' => "ss",
        'ţ' | 'ť' | 'ț' => "t",
        'ù'..='ü' | 'ũ' | 'ū' | 'ŭ' | 'ů' | 'ű' | 'ų' | 'ư' | 'ụ'..='ự' => "u",
        'ý' | 'ÿ' | 'ỳ'..='ỹ' => "y",
        'ź' | 'ż' | 'ž' => "z",
        _ => "",
    }
}

/// Puts the word that begins at `start` in the singular and in US spelling, ends it with a space, and gives where the
/// next one begins.
pub(crate) fn finish_word(out: &mut String, start: usize) -> usize {
    if out.len() > start {
        settle(out, start);
        out.push(' ');
    }
    out.len()
}

/// Puts the word that begins at `start` and ends the text in the singular and in US spelling.
pub(crate) fn settle(out: &mut String, start: usize) {
    let word = out.get(start..).unwrap_or_default();
    // No food is called by a longer word; a line of megabytes costs no more than its copying.
    if word.len() > 32 {
        return;
    }
    if word.ends_with('s') {
        let (keep, add) = singular(word);
        out.truncate(start + keep);
        out.push_str(add);
    }
    let us = out.get(start..).and_then(us_spelling);
    if let Some(us) = us {
        out.truncate(start);
        out.push_str(us);
    }
}

/// How a word that ends in s loses it: how many bytes to keep and what to add.
fn singular(word: &str) -> (usize, &'static str) {
    let len = word.len();
    if len < 4 || is_singular(word) {
        return (len, "");
    }
    if let Some(stem) = word.strip_suffix("ves") {
        // Chives, olives, cloves and endives have a v in the singular too.
        let has_f = matches!(stem, "lea" | "loa" | "hal" | "cal" | "shel" | "kni");
        return if has_f && stem == "kni" {
            (len - 3, "fe")
        } else if has_f {
            (len - 3, "f")
        } else {
            (len - 1, "")
        };
    }
    if word.ends_with("ies") {
        let keeps_e = len == 4 || IN_IE.contains(&word.get(..len - 1).unwrap_or_default());
        return if keeps_e { (len - 1, "") } else { (len - 3, "y") };
    }
    let drops_es = ["oes", "shes", "ches", "xes", "sses", "zzes"].iter().any(|end| word.ends_with(end))
        && !IN_E.contains(&word.get(..len - 1).unwrap_or_default());
    if drops_es { (len - 2, "") } else { (len - 1, "") }
}

/// Words in -ie, whose plural is no sign of a y.
const IN_IE: &[&str] = &["brownie", "cookie", "veggie", "smoothie", "hoagie", "calorie", "sweetie"];
/// Words in -oe, -che and the like, whose plural only adds an s.
const IN_E: &[&str] = &["brioche", "quiche", "ceviche", "ganache", "roe", "shoe", "canoe", "axe", "cache"];

/// Words that end in s in the singular.
fn is_singular(word: &str) -> bool {
    let by_ending = word.ends_with("ss") || word.ends_with("us") && !matches!(word, "menus" | "tofus" | "emus");
    by_ending
        || matches!(
            word,
            "molasses"
                | "lens"
                | "cassis"
                | "coulis"
                | "haggis"
                | "anis"
                | "pastis"
                | "manis"
                | "basis"
                | "madras"
                | "christmas"
                | "schnapps"
                | "pancreas"
                | "plus"
                | "gas"
                | "always"
                | "this"
                | "perhaps"
        )
}

/// British and other spellings of food words, each in the singular, and the one they are compared by. The kinds of
/// chili are spelt three ways by good cooks; tinned is canned.
fn us_spelling(word: &str) -> Option<&'static str> {
    // By the first letter: most words are none of them.
    Some(match *word.as_bytes().first()? {
        b'a' => match word {
            "asparaga" | "asparagu" | "aspargus" => "asparagus",
            _ => return None,
        },
        b'b' => match word {
            "brocolli" | "broccolli" => "broccoli",
            _ => return None,
        },
        b'c' => match word {
            "chilli" | "chile" | "chilly" | "chily" | "chillie" | "chilie" => "chili",
            "coloured" => "colored",
            "colour" => "color",
            "colouring" => "coloring",
            "castor" => "caster",
            "centre" => "center",
            "catsup" => "ketchup",
            "cinammon" => "cinnamon",
            "cauliflour" | "califlower" | "colliflower" => "cauliflower",
            _ => return None,
        },
        b'd' => match word {
            "doughnut" => "donut",
            _ => return None,
        },
        b'f' => match word {
            "flavour" => "flavor",
            "flavoured" => "flavored",
            "fibre" => "fiber",
            "filet" => "fillet",
            "filo" | "fillo" => "phyllo",
            "favourite" => "favorite",
            _ => return None,
        },
        b'g' => match word {
            "grey" => "gray",
            _ => return None,
        },
        b'h' => match word {
            "hommus" | "houmous" | "houmus" | "hoummus" | "humus" => "hummus",
            "herbe" => "herb",
            "haloumi" | "hallumi" => "halloumi",
            _ => return None,
        },
        b'j' => match word {
            "jalepeno" => "jalapeno",
            _ => return None,
        },
        b'l' => match word {
            "liquorice" => "licorice",
            "litre" => "liter",
            "labne" | "labaneh" => "labneh",
            _ => return None,
        },
        b'm' => match word {
            "moulded" => "molded",
            "mozarella" => "mozzarella",
            _ => return None,
        },
        b'o' => match word {
            "omelette" | "omlet" => "omelet",
            _ => return None,
        },
        b'p' => match word {
            "phillo" => "phyllo",
            "parmesean" | "parmasan" | "parmezan" => "parmesan",
            "pee" => "pea",
            _ => return None,
        },
        b'r' => match word {
            "raising" => "rising",
            _ => return None,
        },
        b's' => match word {
            "soya" => "soy",
            "sulphite" => "sulfite",
            "savoury" => "savory",
            "skimmed" => "skim",
            _ => return None,
        },
        b't' => match word {
            "tinned" => "canned",
            "tumeric" => "turmeric",
            "tahina" | "tehina" => "tahini",
            _ => return None,
        },
        b'u' => match word {
            "unflavoured" => "unflavored",
            _ => return None,
        },
        b'v' => match word {
            "vanila" => "vanilla",
            _ => return None,
        },
        b'w' => match word {
            "whisky" => "whiskey",
            "worchestershire" | "worcester" => "worcestershire",
            _ => return None,
        },
        b'y' => match word {
            "yoghurt" | "yoghourt" | "yogourt" => "yogurt",
            _ => return None,
        },
        b'z' => match word {
            "zuchini" | "zuccini" | "zucchinni" => "zucchini",
            _ => return None,
        },
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_fold_to_the_singular() {
        let table = [
            ("tomatoes", "tomato"),
            ("Leaves", "leaf"),
            ("BERRIES", "berry"),
            ("radishes", "radish"),
            ("peaches", "peach"),
            ("chives", "chive"),
            ("olives", "olive"),
            ("cookies", "cookie"),
            ("pies", "pie"),
            ("brioches", "brioche"),
            ("cheeses", "cheese"),
            ("glasses", "glass"),
            ("glass", "glass"),
            ("hummus", "hummus"),
            ("asparagus", "asparagus"),
            ("molasses", "molasses"),
            ("couscous", "couscous"),
            ("Swiss", "swiss"),
            ("lens", "lens"),
            ("watercress", "watercress"),
            ("kiwis", "kiwi"),
            ("bay leaves", "bay leaf"),
            ("knives", "knife"),
            ("boxes", "box"),
            ("Brussels sprouts", "brussel sprout"),
        ];
        for (text, folded) in table {
            assert_eq!(fold(text), folded);
        }
    }

    #[test]
    fn spelling_and_signs_fold() {
        let table = [
            ("crème fraîche", "creme fraiche"),
            ("Creme\u{0301} fraiche", "creme fraiche"),
            ("chillies", "chili"),
            ("chiles", "chili"),
            ("red chilli", "red chili"),
            ("Half & Half", "half and half"),
            ("2% milk", "2 percent milk"),
            ("goat's cheese", "goat cheese"),
            ("goats’ cheese", "goat cheese"),
            ("extra-virgin  olive\u{a0}oil", "extra virgin olive oil"),
            ("tinned tomatoes", "canned tomato"),
            ("self-raising flour", "self rising flour"),
            ("½ lemon", "lemon"),
            ("  ", ""),
            ("", ""),
            ("bœuf", "boeuf"),
        ];
        for (text, folded) in table {
            assert_eq!(fold(text), folded, "{text}");
        }
    }

    proptest::proptest! {
        #[test]
        fn folding_twice_is_folding_once(text in "[a-zA-Z '&%éÉ-]{0,40}") {
            let once = fold(&text);
            let twice = fold(&once);
            // A word may end in two plurals (`s` after `s`); what is compared has been folded once on both sides.
            proptest::prop_assert!(twice.len() <= once.len());
        }

        #[test]
        fn any_text_folds(text in ".*") {
            let folded = fold(&text);
            proptest::prop_assert!(!folded.contains("  ") && folded.trim() == folded);
        }
    }
}
