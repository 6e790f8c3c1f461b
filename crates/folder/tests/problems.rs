//! Every kind of bad input: the message names the file and the line, and says what would be right.
#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used, reason = "a panic here is a failed check")]

mod common;

use common::folder;
use trug_folder::{Files, read};

const KITCHEN: &str = "name = \"Fernhill\"\ncurrency = \"USD\"\n";
const MAPLE: &str = "name = \"Maple Street\"\n[[diner]]\nname = \"Ada\"\n";
const SOUP: &str = "# Carrot soup\n\nServes 4\n\n## Ingredients\n\n- 2 carrots\n";
const CORNER: &str = "name = \"Corner\"\nsections = [\"produce\"]\n";
const PRICES: &str = "food,store,sold,size,price,on\n";

/// A sound kitchen with some files put in the place of its own.
fn kitchen_with(files: &[(&str, &str)]) -> Files {
    let mut kitchen = folder(&[
        ("kitchen.toml", KITCHEN),
        ("households/maple.toml", MAPLE),
        ("dishes/soup.md", SOUP),
        ("stores/corner.toml", CORNER),
        ("weeks/2026-W10.toml", ""),
        ("pantries/kit.csv", "food,amount,keep,use_by\n"),
    ]);
    for (path, text) in files {
        kitchen.insert(path, text.as_bytes().to_vec()).unwrap();
    }
    kitchen
}

fn problems(files: &Files) -> Vec<String> {
    match read(files) {
        Ok(_) => Vec::new(),
        Err(problems) => problems.iter().map(ToString::to_string).collect(),
    }
}

/// One file is wrong, and these are the starts of what is said, in order.
#[track_caller]
fn says(path: &str, text: &str, want: &[&str]) {
    let said = problems(&kitchen_with(&[(path, text)]));
    let fits = said.len() == want.len() && said.iter().zip(want).all(|(said, want)| said.contains(want));
    assert!(fits, "{path}:\n{text}\n-- said:\n{}\n-- wanted:\n{}", said.join("\n"), want.join("\n"));
}

#[test]
fn a_sound_kitchen_has_no_problem() {
    assert_eq!(problems(&kitchen_with(&[])), Vec::<String>::new());
}

#[test]
fn folders() {
    assert_eq!(
        problems(&Files::new()),
        [
            "kitchen.toml: the folder is empty; a kitchen folder holds a kitchen.toml, and beside it households, dishes, weeks, stores and pantries"
        ]
    );
    assert_eq!(
        problems(&folder(&[("README.md", "Hello")])),
        ["kitchen.toml: there is no kitchen.toml here; a kitchen folder has one, with at least `name = \"...\"`"]
    );
    for (path, want) in [
        ("dishes/x.txt", "dishes/x.txt: is not a file that belongs here; a dish is a file dishes/<id>.md or"),
        ("dishes/old/x.md", "dishes/old/x.md: is not a file that belongs here"),
        ("households/maple.csv", "a household is a file households/<id>.toml"),
        ("dishes/Big Soup.md", "`Big Soup` cannot be an id; name the file with small letters"),
        ("weeks/2026_W10.toml", "`2026_W10` cannot be an id; name a week's file with letters"),
        ("dishes/soup.json", "is there a second time as dishes/soup.json; keep one of the two"),
        ("weeks/2026-w10.toml", "is there a second time as weeks/2026-W10.toml"),
        ("price.csv", "price.csv: is not read; did you mean `prices.csv`?"),
        ("dish/soup.md", "dish/soup.md: is not read; did you mean `dishes`?"),
    ] {
        let json = "{\"@type\":\"Recipe\",\"name\":\"Other soup\",\"recipeYield\":4,\"recipeIngredient\":[\"1 leek\"]}";
        let text = if path.ends_with(".json") { json } else { SOUP };
        let said = problems(&kitchen_with(&[(path, text)]));
        assert!(said.iter().any(|said| said.contains(want)), "{path}: {said:?}");
    }
    for path in ["README.md", "LICENSE", ".gitignore", ".git/config", "photos/soup.jpg", "dishes/.DS_Store"] {
        assert_eq!(problems(&kitchen_with(&[(path, "x")])), Vec::<String>::new(), "{path}");
    }
}

#[test]
fn paths_that_leave_the_folder() {
    for path in ["../kitchen.toml", "/etc/passwd", "dishes/../../x.md", "dishes\\x.md", "C:/x.md", "dishes//x.md"] {
        let error = Files::new().insert(path, Vec::new()).unwrap_err().to_string();
        assert!(error.contains(path) && error.contains("forward slashes, without `..`"), "{error}");
    }
}

#[test]
fn kitchens() {
    let path = "kitchen.toml";
    says(path, "", &["kitchen.toml:1: `name` is missing here; write name = \"...\""]);
    says(path, "name = \"\"", &["kitchen.toml:1: `name` is empty; write something"]);
    says(path, "name = 3", &["kitchen.toml:1: `name` is the number 3; write a text in quotes"]);
    says(path, "name = \"F\"\nunits = \"imperial\"", &["kitchen.toml:2: `units` is `imperial`; the nearest is"]);
    says(
        path,
        "name = \"F\"\nalergens = \"us\"",
        &["kitchen.toml:2: `alergens` is not a key here; did you mean `allergens`?"],
    );
    says(
        path,
        "name = \"F\"\ncolour = 1",
        &["kitchen.toml:2: `colour` is not a key here; the nearest is `store` of name, currency"],
    );
    says(
        path,
        "name = \"F\"\nkit = \"kti\"",
        &["kitchen.toml:2: there is no pantry `kti` in pantries/; did you mean `kit`?"],
    );
    says(
        path,
        "name = \"F\"\nstore = \"korner\"",
        &["kitchen.toml:2: there is no store `korner` in stores/; did you mean `corner`?"],
    );
    says(
        path,
        "name = \"F\"\ncurrency = \"dollars\"",
        &["kitchen.toml:2: `dollars` is not a currency; write the three letters"],
    );
    says(path, "name = \"F\nkit = ", &["kitchen.toml:1: this is not TOML:", "kitchen.toml:2: this is not TOML:"]);
    says(path, "name = \"F\"\nname = \"G\"", &["kitchen.toml:2: this is not TOML: duplicate key"]);
}

#[test]
fn households() {
    let path = "households/maple.toml";
    says(
        path,
        "name = \"M\"",
        &["households/maple.toml:1: the household has no [[diner]]; write one for each who eats"],
    );
    says(path, "name = \"M\"\ndiner = []", &["households/maple.toml:2: the household has no [[diner]]"]);
    says(
        path,
        &format!("buget = \"1\"\n{MAPLE}"),
        &["households/maple.toml:1: `buget` is not a key here; did you mean `budget`?"],
    );
    says(
        path,
        &format!("budget = 180.0\n{MAPLE}"),
        &[
            "maple.toml:1: `budget` is the number 180.0, and such numbers are not exact; write the money in quotes, such as \"180.00\"",
        ],
    );
    says(path, &format!("budget = \"-1\"\n{MAPLE}"), &["maple.toml:1: `-1` is not a price; write digits and a point"]);
    says(path, &format!("budget = \"1.234\"\n{MAPLE}"), &["maple.toml:1: `1.234` has more decimals than USD has (2)"]);
    says(path, &format!("budget = 180\n{MAPLE}"), &[]);
    says(
        path,
        &format!("pantry = \"kitt\"\n{MAPLE}"),
        &["maple.toml:1: there is no pantry `kitt` in pantries/; did you mean `kit`?"],
    );
    // One that nobody has counted yet is no mistake.
    says(path, &format!("pantry = \"maple\"\n{MAPLE}"), &[]);
    says(
        path,
        &format!("separate = \"yes\"\n{MAPLE}"),
        &["maple.toml:1: `separate` is the text \"yes\"; write true or false"],
    );
    says(
        path,
        &format!("{MAPLE}[[diner]]\nname = \"Ada\"\n"),
        &["maple.toml:4: `Ada` is a diner here twice; keep one"],
    );
    says(path, &format!("{MAPLE}[[diner]]\n"), &["maple.toml:4: `name` is missing in a [[diner]]"]);
    says(path, &format!("{MAPLE}portion = 0"), &["maple.toml:4: `portion` is 0; write a number above 0"]);
    says(path, &format!("{MAPLE}portion = -0.5"), &["maple.toml:4: `portion` is -0.5; write a number above 0"]);
    says(path, &format!("{MAPLE}portion = nan"), &["maple.toml:4: `portion` is nan; write a number above 0"]);
    says(path, &format!("{MAPLE}portion = 1e9"), &["maple.toml:4: `portion` is 1e9; write a number above 0"]);
    says(
        path,
        &format!("{MAPLE}portion = 9999999999"),
        &["maple.toml:4: `portion` is 9999999999; write a number above 0 and at most 100"],
    );
    says(
        path,
        &format!("{MAPLE}alergies = [\"nuts\"]"),
        &["maple.toml:4: `alergies` is not a key in a [[diner]]; did you mean `allergies`?"],
    );
    says(
        path,
        &format!("{MAPLE}avoid = \"beets\""),
        &["maple.toml:4: `avoid` is the text \"beets\"; write a list, such as"],
    );
    says(
        path,
        &format!("{MAPLE}avoid = [\"beets\",\n  3]"),
        &["maple.toml:5: `avoid` is the number 3; write a text in quotes"],
    );
    says(
        path,
        &format!("swap = {{ cream = {{ ratio = 1.0 }} }}\n{MAPLE}"),
        &["maple.toml:1: `to` is missing in a swap; write to = \"coconut milk\""],
    );
    says(
        path,
        &format!("swap = {{ cream = {{ to = \"yogurt\", ratio = 0 }} }}\n{MAPLE}"),
        &["maple.toml:1: `ratio` is 0; write a number above 0"],
    );
    says(
        path,
        &format!("swap = {{ carrot = \"leek\", carrots = \"beet\" }}\n{MAPLE}"),
        &["maple.toml:1: `carrot` and `carrots` are the same food here"],
    );
    says(path, &format!("swap = {{ carrot = \"leek\", carrots = \"leeks\" }}\n{MAPLE}"), &[]);
    // All that is wrong with a file is said at once, by line.
    says(
        path,
        "budgit = \"1\"\n[[diner]]\nportion = 0\n",
        &[
            "maple.toml:1: `name` is missing here",
            "maple.toml:1: `budgit` is not a key here",
            "maple.toml:2: `name` is missing in a [[diner]]",
            "maple.toml:3: `portion` is 0",
        ],
    );
}

#[test]
fn weeks() {
    let path = "weeks/2026-W10.toml";
    let service =
        |text: &str| format!("[[service]]\nhousehold = \"maple\"\nshop = 2026-03-04\ncook = \"2026-03-05\"\n{text}");
    let dish = |text: &str| service(&format!("[[service.dish]]\ndish = \"soup\"\n{text}"));
    says(path, &service(""), &[]);
    says(path, &dish("meals = 0.5\nfor = [\"Ada\"]"), &[]);
    says(
        path,
        "[[service]]",
        &[
            "2026-W10.toml:1: `household` is missing in a [[service]]; write household",
            "2026-W10.toml:1: `shop` is missing in a [[service]]; write shop = 2026-03-04",
            "2026-W10.toml:1: `cook` is missing in a [[service]]; write cook = 2026-03-05",
        ],
    );
    says(
        path,
        "[[service]]\nhousehold = \"mapel\"\nshop = 2026-03-04T10:00:00\ncook = \"2026-2-30\"",
        &[
            "2026-W10.toml:2: there is no household `mapel` in households/; did you mean `maple`?",
            "2026-W10.toml:3: `2026-03-04T10:00:00` is not a date; write year, month and day, such as 2026-03-04",
            "2026-W10.toml:4: `2026-2-30` is not a date; write year, month and day",
        ],
    );
    says(
        path,
        &service("[[service.dish]]\ndish = \"soop\""),
        &["2026-W10.toml:6: there is no dish `soop` in dishes/; did you mean `soup`?"],
    );
    says(path, &service("[[service.dish]]"), &["2026-W10.toml:5: `dish` is missing in a [[service.dish]]"]);
    says(
        path,
        &dish("meals = 2\nportions = 3"),
        &["2026-W10.toml:7: `meals` and `portions` both say how much; keep one of the two"],
    );
    says(
        path,
        &dish("meals = 0"),
        &["2026-W10.toml:7: `meals` is 0; write how many meals it is served at: a number above 0"],
    );
    says(
        path,
        &dish("portions = -3"),
        &["2026-W10.toml:7: `portions` is -3; write how many portions in all: a number above 0"],
    );
    says(
        path,
        &dish("portions = 10001"),
        &["2026-W10.toml:7: `portions` is 10001; write how many portions in all: a number above 0 and at most 10,000"],
    );
    says(path, &dish("portions = \"many\""), &["2026-W10.toml:7: `portions` is many; write how many"]);
    says(
        path,
        &dish("meals = 99999999999999999999"),
        &["2026-W10.toml:7: `meals` is 99999999999999999999; write how many"],
    );
    says(path, &dish("for = [\"Adda\"]"), &["2026-W10.toml:7: `Adda` does not eat at maple; did you mean `Ada`?"]);
    says(path, &dish("for = []"), &["2026-W10.toml:7: `for` names nobody; name who eats it"]);
    says(path, &dish("for = [\"Ada\", \"Ada\"]"), &["2026-W10.toml:7: `Ada` is in `for` twice"]);
    says(
        path,
        &dish("swaps = {}"),
        &["2026-W10.toml:7: `swaps` is not a key in a [[service.dish]]; did you mean `swap`?"],
    );
    says(path, "services = 1", &["2026-W10.toml:1: `services` is not a key here; did you mean `service`?"]);
    says(
        path,
        "[service]\nhousehold = \"maple\"",
        &["2026-W10.toml:1: `service` is a table; write tables with double brackets"],
    );
}

#[test]
fn more_portions_than_anyone_cooks() {
    let said = problems(&kitchen_with(&[
        ("households/maple.toml", "name = \"M\"\n[[diner]]\nname = \"Ada\"\nportion = 2\n"),
        (
            "weeks/2026-W10.toml",
            "[[service]]\nhousehold = \"maple\"\nshop = 2026-03-04\ncook = 2026-03-05\n[[service.dish]]\ndish = \"soup\"\nmeals = 6000\n",
        ),
    ]));
    assert_eq!(said, ["weeks/2026-W10.toml:7: 12000 portions are beyond one service; at most 10,000"]);
}

#[test]
fn stores() {
    let path = "stores/corner.toml";
    says(path, "", &["stores/corner.toml:1: `name` is missing here"]);
    says(path, "name = \"C\"\nsections = [\"a\", \"b\", \"a\"]", &["corner.toml:2: `a` is in `sections` twice"]);
    says(path, "name = \"C\"\n[shelf]\ntofu = 1", &["corner.toml:3: `tofu` is the number 1; write a text in quotes"]);
    says(
        path,
        "name = \"C\"\n[shelf]\ncarrot = \"a\"\ncarrots = \"b\"",
        &["corner.toml:4: `carrot` and `carrots` are the same food here"],
    );
    says(path, "name = \"C\"\n[shelf]\ncarrot = \"a\"\ncarrots = \"a\"", &[]);
    says(path, "name = \"C\"\nshelves = 1", &["corner.toml:2: `shelves` is not a key here; the nearest is `shelf`"]);
}

#[test]
fn prices() {
    let says = |text: &str, want: &[&str]| says("prices.csv", text, want);
    let with = |rows: &str| format!("{PRICES}{rows}");
    says("", &["prices.csv:1: there is no header; the first line is `food,store,sold,size,price,on`"]);
    says(
        "food,store,sold,size,cost,on\n",
        &[
            "prices.csv:1: `cost` is not a column here; the nearest is `food` of food, store",
            "prices.csv:1: the column `price` is missing; the header is `food,store,sold,size,price,on`",
        ],
    );
    says("on,price,size,sold,store,food\n2026-02-20,1.29,1 lb,loose,corner,carrot\n", &[]);
    says(
        &with("carrot,corner,pack,2 lb,0,2026-02-20\n"),
        &["prices.csv:2: a price of 0 is no price; write what it costs"],
    );
    says(
        &with("carrot,corner,pack,2 lb,-1,2026-02-20\n"),
        &["prices.csv:2: `-1` is not a price; write digits and a point"],
    );
    says(
        &with("carrot,corner,pack,2 lb,$2,2026-02-20\n"),
        &["prices.csv:2: `$2` is not a price; write digits and a point, such as 2.49"],
    );
    says(&with("carrot,corner,pack,2 lb,,2026-02-20\n"), &["prices.csv:2: `price` is empty; it must be filled in"]);
    says(&with("carrot,corner,box,2 lb,2.49,2026-02-20\n"), &["prices.csv:2: `sold` is `box`; the nearest is"]);
    says(&with("carrot,corner,pack,0 lb,2.49,2026-02-20\n"), &["prices.csv:2: `0 lb` is not above zero"]);
    says(&with("carrot,corner,pack,2 lbz,2.49,2026-02-20\n"), &["prices.csv:2: `lbz` is not a unit; use g, kg"]);
    says(&with("carrot,corner,pack,9999999 lb,2.49,2026-02-20\n"), &["prices.csv:2: `9999999 lb` is too much"]);
    says(
        &with("carrot,corner,pack,2 lb,2.49,20 Feb\n"),
        &["prices.csv:2: `20 Feb` is not a date; write year, month and day, such as 2026-03-04"],
    );
    says(
        &with("carrot,cornr,pack,2 lb,2.49,2026-02-20\n"),
        &["prices.csv:2: there is no store `cornr` in stores/; did you mean `corner`?"],
    );
    says(&with("carrot,corner,pack,2 lb,2.49\n"), &["prices.csv:2: the line has 5 fields, and the header 6"]);
    says(
        &with("# ours\ncarrot,corner,pack,1 lb,2.49,2026-02-20\n\ncarrots,corner,pack,1 lb,2.59,2026-02-20\n"),
        &["prices.csv:5: `carrots`, 1 lb at corner has a price of 2026-02-20 on line 3 already; keep one"],
    );
    says(&with("carrot,corner,pack,1 lb,2.49,2026-02-20\ncarrot,corner,pack,1 lb,2.59,2026-02-21\n"), &[]);
    // Two products of one weight, as the shop writes them.
    says(&with("carrot,corner,pack,1 lb,2.49,2026-02-20\ncarrot,corner,pack,16 oz,2.59,2026-02-20\n"), &[]);
    says(
        &with("eggs,corner,pack,1 dozen,3.49,2026-02-20\neggs,corner,pack,12 each,3.49,2026-02-20\n"),
        &["prices.csv:3: `eggs`, 12 each at corner has a price of 2026-02-20 on line 2 already"],
    );
    says(
        &with("\"carrot,corner,pack,2 lb,2.49,2026-02-20\n"),
        &["prices.csv:2: a quote is opened here and never closed", "prices.csv:2: the line has 1 fields"],
    );
}

#[test]
fn pantries() {
    let says = |text: &str, want: &[&str]| says("pantries/kit.csv", text, want);
    says("food,amount,keep,use_by\nsalt,,,\n milk , 1 quart , , 2026-03-09 \n", &[]);
    says(
        "food,amount,keep,useby\n",
        &[
            "kit.csv:1: `useby` is not a column here; did you mean `use_by`?",
            "kit.csv:1: the column `use_by` is missing; the header is `food,amount,keep,use_by`",
        ],
    );
    says("food,amount,keep,use_by\n,1 lb,,\n", &["kit.csv:2: `food` is empty"]);
    says("food,amount,keep,use_by\nsalt,-1 lb,,\n", &["kit.csv:2: `-1 lb` is not above zero"]);
    says("food,amount,keep,use_by\nsalt,0 g,,\n", &["kit.csv:2: `0 g` is not above zero"]);
    says("food,amount,keep,use_by\nsalt,some,,\n", &["kit.csv:2: `some` is no amount; write a number and a unit"]);
    says(
        "food,amount,keep,use_by\nsalt,,fridge,\n",
        &["kit.csv:2: `fridge` is not a way to keep food; use ambient, chilled or frozen"],
    );
    says("food,amount,keep,use_by\nsalt,,,soon\n", &["kit.csv:2: `soon` is not a date"]);
}

#[test]
fn own_foods() {
    let says = |text: &str, want: &[&str]| says("foods.toml", text, want);
    let food = |text: &str| format!("[food.brine]\n{text}\n");
    says("[foods.brine]\n", &["foods.toml:1: `foods` is not a key here; did you mean `food`?"]);
    says("[food.Brine]\n", &["foods.toml:1: `Brine` cannot be an id; an id is words of small letters"]);
    says(&food("refuze = 3"), &["foods.toml:2: `refuze` is not a key of a food; did you mean `refuse`?"]);
    says(
        &food("refuse = 100"),
        &["foods.toml:2: `refuse` is 100; write the percent that is thrown away: a number from 0 to below 100"],
    );
    says(&food("density = 0"), &["foods.toml:2: `density` is 0; write grams per millilitre"]);
    says(&food("drained = 1.1"), &["foods.toml:2: `drained` is 1.1; write drained weight over net weight"]);
    says(&food("cooked = -1"), &["foods.toml:2: `cooked` is -1; write cooked weight over raw weight"]);
    says(&food("grams = { cup = 0 }"), &["foods.toml:2: `cup` is 0; write a number above 0"]);
    says(&food("grams = { mug = 3 }"), &["foods.toml:2: `mug` is not a unit; use g, kg"]);
    says(&food("grams = { cup = 3, cups = 4 }"), &["foods.toml:2: `cups` is in `grams` twice"]);
    // The chef's own words are kept: a nut of an unknown kind, an allergen on no list, a group of the kitchen's own.
    says(&food("allergens = [\"tree nuts\", \"kiwi\"]\ngroups = [\"pulse\"]"), &[]);
    says(&food("allergens = [7]"), &["foods.toml:2: "]);
    says(&food("raw = \"chicken\""), &["foods.toml:2: `chicken` is not a kind of raw animal food; use beef"]);
    says(&food("keep = \"cold\""), &["foods.toml:2: `cold` is not a way to keep food; use ambient"]);
    says(
        &food("packs = [\"big\"]"),
        &["foods.toml:2: `big` is no amount; write a number and a unit, such as 14.5 oz, 1 bunch or 12 each"],
    );
    says(
        &format!("{}[food.pickle-brine]\nalso = [\"Brine\"]\n", food("")),
        &["foods.toml:3: the name `Brine` belongs to [food.brine] as well; a name means one food"],
    );
}

#[test]
fn dishes() {
    let says = |text: &str, want: &[&str]| says("dishes/soup.md", text, want);
    let lines = "## Ingredients\n- 2 carrots\n";
    says(
        "",
        &[
            "soup.md:1: the dish has no title; the first line is the title",
            "soup.md:1: the dish does not say how much it makes",
            "soup.md:1: the dish has no ingredient lines",
        ],
    );
    says(
        "# Soup\nServes 4\n",
        &[
            "soup.md:1: the dish has no ingredient lines; write `## Ingredients`, and below it one line each, such as `- 2 carrots`",
        ],
    );
    says("# Soup\nServes 4\n## Ingredients\n### For the pot\n", &["soup.md:1: the dish has no ingredient lines"]);
    says(
        &format!("Serves 4\n{lines}"),
        &["soup.md:1: the dish has no title; the first line is the title, such as `# Lentil soup`"],
    );
    says(&format!("# Soup\n# Broth\nServes 4\n{lines}"), &["soup.md:2: `Broth` is a second title"]);
    says(&format!("# Soup\n{lines}"), &["soup.md:1: the dish does not say how much it makes; write `Serves 6`"]);
    says(
        &format!("# Soup\nServes many\n{lines}"),
        &["soup.md:2: `many` has no number that could be read; write `Serves 6`"],
    );
    says(
        &format!("# Soup\nServes 0\n{lines}"),
        &["soup.md:2: `0` is nothing, or more than a kitchen makes; write a number above 0"],
    );
    says(&format!("# Soup\nServes -4\n{lines}"), &["soup.md:2: `-4` is nothing, or more than a kitchen makes"]);
    says(
        &format!("# Soup\nMakes 99999 cups\n{lines}"),
        &["soup.md:2: `99999 cups` is nothing, or more than a kitchen makes"],
    );
    says(&format!("# Soup\nServes 4\nServes 6\n{lines}"), &["soup.md:3: `Serves` is there twice; keep one"]);
    says(
        &format!("# Soup\nServes 4\nMy aunt made it.\n{lines}"),
        &[
            "soup.md:3: `My aunt made it.` is neither `Serves 6`, `Makes 3 cups` nor a line `Key: value`; put other text under",
        ],
    );
    says(
        "# Soup\nServes 4\n## Ingredients\n2 carrots\n",
        &["soup.md:4: `2 carrots` stands among the ingredients; start an ingredient with `- `"],
    );
    says(
        "# Soup\nServes 4\n## Ingredients\n-2 carrots\n- \n",
        &["soup.md:4: `-2 carrots` stands among the ingredients", "soup.md:5: the ingredient line is empty"],
    );
    says(&format!("# Soup\nServes 4\n{lines}{lines}"), &["soup.md:5: `## Ingredients` is there twice"]);
    says(
        "# Soup\nServes 4\n## Ingredients\n- 0 carrots\n",
        &["soup.md:4: `0 carrots` asks for nothing, or for more than a kitchen holds; write how much"],
    );
    says(
        "# Soup\nServes 4\n## Ingredients\n- 99999999999 carrots\n",
        &["soup.md:4: `99999999999 carrots` asks for nothing, or for more"],
    );
}

#[test]
fn circles_of_dishes() {
    let dressing = "# House dressing\nMakes 3 cups\n## Ingredients\n- 1 cup green sauce\n";
    let sauce = "# Green sauce\nMakes 2 cups\n## Ingredients\n- 1 bunch parsley\n- 2 tbsp house dressing\n";
    assert_eq!(
        problems(&kitchen_with(&[("dishes/house-dressing.md", dressing), ("dishes/green-sauce.md", sauce)])),
        [
            "dishes/green-sauce.md:5: a dish cannot be part of itself: green-sauce uses house-dressing uses green-sauce; take one of them out"
        ]
    );
    let selfish = "# Green sauce\nMakes 2 cups\n## Ingredients\n- 1 cup green sauce\n";
    assert_eq!(
        problems(&kitchen_with(&[("dishes/green-sauce.md", selfish)])),
        [
            "dishes/green-sauce.md:4: a dish cannot be part of itself: green-sauce uses green-sauce; take one of them out"
        ]
    );
}

#[test]
fn a_name_of_two_dishes() {
    let sauce = "# Green sauce\nMakes 2 cups\n## Ingredients\n- 1 bunch parsley\n";
    let uses = "# Greens\nServes 2\n## Ingredients\n- 1 cup green sauce\n";
    let two = [("dishes/mild-sauce.md", sauce), ("dishes/sharp-sauce.md", sauce)];
    assert_eq!(problems(&kitchen_with(&two)), Vec::<String>::new(), "harmless as long as nobody uses the name");
    assert_eq!(
        problems(&kitchen_with(&[two[0], two[1], ("dishes/greens.md", uses)])),
        [
            "dishes/greens.md:4: `green sauce` can mean the dish mild-sauce or the dish sharp-sauce; give the one that is not meant another title"
        ]
    );
}

#[test]
fn json_ld() {
    let says = |text: &str, want: &[&str]| says("dishes/dip.json", text, want);
    let recipe = r#""@type": "Recipe", "name": "Dip", "recipeYield": 4, "recipeIngredient": ["2 carrots"]"#;
    says(&format!("{{ {recipe} }}"), &[]);
    says("{ \"@type\": \"Recipe\",\n  \"name\": }", &["dip.json:2: this is not JSON: expected value"]);
    says("", &["dip.json:1: this is not JSON: EOF"]);
    says("[]", &["dip.json:1: there is no recipe in it; a schema.org recipe is an object with \"@type\": \"Recipe\""]);
    says(&format!("[{{ {recipe} }}, {{ {recipe} }}]"), &["dip.json:1: there are 2 recipes in it; keep one a file"]);
    says(
        "{\n\"@type\": \"Recipe\"\n}",
        &[
            "dip.json:1: the recipe has no \"name\"; write one",
            "dip.json:1: the recipe has no \"recipeYield\" with a number; write \"recipeYield\": \"6 servings\"",
            "dip.json:1: the recipe has no \"recipeIngredient\"; write a list",
        ],
    );
    says(
        "{ \"@type\": \"Recipe\", \"name\": \"Dip\",\n\"recipeYield\": \"plenty\",\n\"recipeIngredient\": [\"1 leek\",\n3] }",
        &[
            "dip.json:2: the recipe has no \"recipeYield\" with a number",
            "dip.json:3: an item of \"recipeIngredient\" is a number; each is a text in quotes",
        ],
    );
    says(
        "{ \"@type\": \"Recipe\", \"name\": \"Dip\",\n\"recipeYield\": 0,\n\"recipeIngredient\": [\"1 leek\"] }",
        &["dip.json:2: `0` is nothing, or more"],
    );
    says(
        "{ \"@type\": \"Recipe\", \"name\": \"Dip\",\n\"recipeYield\": 4,\n\"recipeIngredient\": [\"1 leek\",\n\"0 cups milk\"] }",
        &["dip.json:4: `0 cups milk` asks for nothing"],
    );
    says(&"[".repeat(100_000), &["dip.json:1: this is not JSON: recursion limit"]);
}

#[test]
fn sizes_and_encodings() {
    let with = |path: &str, bytes: Vec<u8>| {
        let mut files = kitchen_with(&[]);
        files.insert(path, bytes).unwrap();
        problems(&files)
    };
    let padded = format!("{SOUP}\n## Method\n\n{}", "Stir. ".repeat(900_000)).into_bytes();
    assert_eq!(with("dishes/soup.md", padded), ["dishes/soup.md: is larger than 1 MiB; that is no recipe"]);
    assert_eq!(
        with("prices.csv", vec![b'a'; (16 << 20) + 1]),
        ["prices.csv: is larger than 16 MiB; that is no file of a kitchen"]
    );
    let utf16: Vec<u8> = [0xFF, 0xFE].into_iter().chain(SOUP.encode_utf16().flat_map(u16::to_le_bytes)).collect();
    assert_eq!(with("dishes/soup.md", utf16.clone()), ["dishes/soup.md:1: is written in UTF-16; save it as UTF-8"]);
    assert_eq!(
        with("dishes/soup.md", utf16[2..].to_vec()),
        ["dishes/soup.md:1: has a zero byte, so it is no plain text; save it as UTF-8 text"]
    );
    let mut latin1 = SOUP.replace("carrots", "carrots with cr?me").into_bytes();
    latin1.iter_mut().filter(|byte| **byte == b'?').for_each(|byte| *byte = 0xE8);
    assert_eq!(
        with("dishes/soup.md", latin1),
        ["dishes/soup.md:7: has a byte (0xE8) that is not UTF-8; save it as UTF-8"]
    );
    let marked = [b"\xEF\xBB\xBF".as_slice(), SOUP.replace('\n', "\r\n").as_bytes()].concat();
    assert_eq!(with("dishes/soup.md", marked), Vec::<String>::new());
    let toml = [b"\xEF\xBB\xBF".as_slice(), MAPLE.replace('\n', "\r\n").as_bytes()].concat();
    assert_eq!(with("households/maple.toml", toml), Vec::<String>::new());
}

#[test]
fn everything_at_once_by_file_and_line() {
    let said = problems(&kitchen_with(&[
        ("weeks/2026-W10.toml", "[[service]]\nhousehold = \"oak\"\nshop = 2026-03-04\ncook = 2026-03-05\n"),
        ("dishes/soup.md", "# Soup\n\n## Ingredients\nsalt\n"),
        ("prices.csv", "food,store,sold,size,price,on\n,,,,,\n"),
    ]));
    let places: Vec<&str> = said.iter().map(|line| line.split(": ").next().unwrap_or_default()).collect();
    assert_eq!(
        places,
        [
            "dishes/soup.md:1",
            "dishes/soup.md:4",
            "prices.csv:2",
            "prices.csv:2",
            "prices.csv:2",
            "prices.csv:2",
            "prices.csv:2",
            "prices.csv:2",
            "weeks/2026-W10.toml:2",
        ]
    );
}
