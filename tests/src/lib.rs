//! Small kitchens for the checks that cross crates: written as the files of a folder, read by the folder's own code.

use trug_folder::Files;
use trug_measure::Exact;
use trug_provision::kitchen::{HouseholdId, Kitchen, StoreId, WeekId};
use trug_provision::list::{List, ListLine};
use trug_provision::{Options, list};

/// A folder in the making.
#[derive(Debug, Clone, Default)]
pub struct Scene {
    files: Vec<(String, String)>,
}

impl Scene {
    /// A kitchen without a usual store, and one household, `maple`, where Ada and Ben eat.
    #[must_use]
    pub fn new() -> Self {
        Self::bare().with("households/maple.toml", MAPLE)
    }

    /// A kitchen without households.
    #[must_use]
    pub fn bare() -> Self {
        let kitchen = "name = \"Test kitchen\"\ncurrency = \"USD\"\nunits = \"us\"\nallergens = \"us\"\n";
        Self::default().with("kitchen.toml", kitchen)
    }

    /// Adds a file, or replaces it.
    #[must_use]
    pub fn with(mut self, path: &str, text: &str) -> Self {
        self.files.retain(|(known, _)| known != path);
        self.files.push((path.to_owned(), text.to_owned()));
        self
    }

    /// Adds a dish that serves so many.
    #[must_use]
    pub fn dish(self, id: &str, serves: u32, lines: &[&str]) -> Self {
        let lines: String = lines.iter().map(|line| format!("- {line}\n")).collect();
        self.with(&format!("dishes/{id}.md"), &format!("# {id}\n\nServes {serves}\n\n## Ingredients\n\n{lines}\n"))
    }

    /// Adds week `w`, in which maple is served these dishes, each in so many portions.
    #[must_use]
    pub fn serve(self, dishes: &[(&str, u32)]) -> Self {
        let week = service("maple", dishes);
        self.with("weeks/w.toml", &week)
    }

    /// The folder's files.
    ///
    /// # Panics
    /// Where a test names a path that leaves the folder.
    #[must_use]
    #[allow(clippy::expect_used, reason = "the paths are the tests' own")]
    pub fn files(&self) -> Files {
        let mut files = Files::new();
        for (path, text) in &self.files {
            files.insert(path, text.clone().into_bytes()).expect("a path inside the folder");
        }
        files
    }

    /// The kitchen.
    ///
    /// # Panics
    /// Where a test's own folder has a problem.
    #[must_use]
    #[allow(clippy::panic, reason = "a test's own folder is right")]
    pub fn kitchen(&self) -> Kitchen {
        trug_folder::read(&self.files()).unwrap_or_else(|problems| panic!("{problems}"))
    }

    /// Week `w`'s list.
    #[must_use]
    pub fn list(&self) -> Listed {
        self.list_with(&Options::default())
    }

    /// Week `w`'s list at one store.
    #[must_use]
    pub fn list_at(&self, store: &str) -> Listed {
        self.list_with(&Options { store: Some(StoreId::new(store)), household: None })
    }

    /// What one household would buy alone.
    #[must_use]
    pub fn list_for(&self, household: &str) -> Listed {
        self.list_with(&Options { household: Some(HouseholdId::new(household)), store: None })
    }

    /// # Panics
    /// Where the scene has no week `w`.
    #[must_use]
    #[allow(clippy::expect_used, reason = "a test's own week")]
    fn list_with(&self, options: &Options) -> Listed {
        let kitchen = self.kitchen();
        let list = list(&kitchen, &WeekId::new("w"), options).expect("the week is there");
        Listed { kitchen, list }
    }
}

/// A household of two grown diners.
pub const MAPLE: &str = "name = \"Maple\"\n\n[[diner]]\nname = \"Ada\"\n\n[[diner]]\nname = \"Ben\"\n";

/// The text of a service with these dishes, each in so many portions.
#[must_use]
pub fn service(household: &str, dishes: &[(&str, u32)]) -> String {
    let mut text = format!("[[service]]\nhousehold = \"{household}\"\nshop = 2026-03-04\ncook = 2026-03-05\n");
    for (dish, portions) in dishes {
        text.push_str(&format!("\n[[service.dish]]\ndish = \"{dish}\"\nportions = {portions}\n"));
    }
    text
}

/// A list, with its kitchen.
#[derive(Debug)]
pub struct Listed {
    /// The kitchen.
    pub kitchen: Kitchen,
    /// The list.
    pub list: List,
}

impl Listed {
    /// The lines of a food, by its id, bought or covered.
    #[must_use]
    pub fn lines(&self, food: &str) -> Vec<&ListLine> {
        let all = self.list.lines.iter().chain(&self.list.covered);
        all.filter(|line| self.kitchen.catalog.get(line.food).id.as_str() == food).collect()
    }

    /// The one line of a food.
    ///
    /// # Panics
    /// Where it has none, or more than one.
    #[must_use]
    #[allow(clippy::panic, reason = "a test that asks for a line expects it")]
    pub fn line(&self, food: &str) -> &ListLine {
        match self.lines(food).as_slice() {
            [line] => line,
            lines => panic!("{} lines of {food} among {:?}", lines.len(), self.foods()),
        }
    }

    /// Whether nothing of a food is listed.
    #[must_use]
    pub fn lacks(&self, food: &str) -> bool {
        self.lines(food).is_empty()
    }

    /// The ids of all foods listed.
    #[must_use]
    pub fn foods(&self) -> Vec<&str> {
        let all = self.list.lines.iter().chain(&self.list.covered);
        all.map(|line| self.kitchen.catalog.get(line.food).id.as_str()).collect()
    }

    /// What a person reads of a food's one line.
    #[must_use]
    pub fn text(&self, food: &str) -> String {
        trug_provision::text::line_text(&self.kitchen, self.line(food))
    }

    /// What is needed of a food, in its tally, to one decimal.
    #[must_use]
    pub fn need(&self, food: &str) -> Option<f64> {
        self.line(food).need.map(|need| need.to_decimals(1))
    }

    /// The packs of a food's one line: size and count.
    #[must_use]
    pub fn packs(&self, food: &str) -> Vec<(&str, u64)> {
        self.line(food).buy.packs.iter().map(|pack| (pack.size_text.as_str(), pack.count)).collect()
    }

    /// What a food's one line costs.
    #[must_use]
    pub fn cost(&self, food: &str) -> Option<String> {
        self.line(food).buy.cost.map(|cost| cost.to_string())
    }
}

/// A decimal, for what a test expects.
///
/// # Panics
/// Where the text is no number.
#[must_use]
#[allow(clippy::expect_used, reason = "a test's own number")]
pub fn exact(text: &str) -> Exact {
    text.parse().expect("a number")
}
