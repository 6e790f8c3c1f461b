//! The rows of the USDA National Nutrient Database for Standard Reference, release 28 (2015), as CSV.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};

use trug_measure::Exact;

use super::DataError;

/// Rows of the database, each with the line that it was read from.
#[derive(Debug, Default)]
pub(super) struct Sr28 {
    foods_head: String,
    measures_head: String,
    foods: BTreeMap<u32, FoodRow>,
    measures: BTreeMap<(u32, u32), MeasureRow>,
}

/// A food's row.
#[derive(Debug)]
pub(super) struct FoodRow {
    line: String,
    /// What the database calls it.
    pub(super) description: String,
    /// Percent of the as-purchased weight that is thrown away; `None` where the source leaves it blank.
    pub(super) refuse: Option<Exact>,
}

/// A household measure's row.
#[derive(Debug)]
pub(super) struct MeasureRow {
    line: String,
    /// What the database calls the measure.
    pub(super) name: String,
    /// Edible grams of one of it.
    pub(super) grams: Exact,
}

impl Sr28 {
    /// Reads `foods.csv` and `measures.csv` of a folder.
    pub(super) fn read(folder: &Path) -> Result<Self, DataError> {
        let mut rows = Self::default();
        rows.foods_head = each_row(&folder.join("foods.csv"), |line, cells| rows.add_food(line, cells))?;
        let mut measures = BTreeMap::new();
        rows.measures_head =
            each_row(&folder.join("measures.csv"), |line, cells| add_measure(&mut measures, line, cells))?;
        rows.measures = measures;
        Ok(rows)
    }

    fn add_food(&mut self, line: &str, cells: &[String]) -> Option<()> {
        let [ndb, _, description, .., refuse] = cells else { return None };
        let refuse = if refuse.is_empty() { None } else { Some(refuse.parse().ok()?) };
        let row = FoodRow { line: line.to_owned(), description: description.clone(), refuse };
        self.foods.insert(ndb.parse().ok()?, row);
        Some(())
    }

    /// A food's row, by its number.
    pub(super) fn food(&self, ndb: u32) -> Option<&FoodRow> {
        self.foods.get(&ndb)
    }

    /// A measure's row, by the food's number and the measure's sequence number.
    pub(super) fn measure(&self, ndb: u32, seq: u32) -> Option<&MeasureRow> {
        self.measures.get(&(ndb, seq))
    }

    /// The measures of a food, for a message: `1 cup, chopped; 2 tbsp`.
    pub(super) fn measures_of(&self, ndb: u32) -> String {
        let rows = self.measures.range((ndb, 0)..=(ndb, u32::MAX));
        rows.map(|((_, seq), row)| format!("{seq} {}", row.name)).collect::<Vec<_>>().join("; ")
    }

    /// The numbers of the foods.
    #[cfg(test)]
    pub(super) fn numbers(&self) -> BTreeSet<u32> {
        self.foods.keys().copied().collect()
    }

    /// Writes the rows of those foods, as they were read, to a folder.
    pub(super) fn write(&self, folder: &Path, used: &BTreeSet<u32>) -> Result<(), DataError> {
        let foods = self.foods.iter().filter(|(ndb, _)| used.contains(ndb)).map(|(_, row)| &row.line);
        let measures = self.measures.iter().filter(|((ndb, _), _)| used.contains(ndb)).map(|(_, row)| &row.line);
        write_lines(&folder.join("foods.csv"), std::iter::once(&self.foods_head).chain(foods))?;
        write_lines(&folder.join("measures.csv"), std::iter::once(&self.measures_head).chain(measures))
    }
}

fn add_measure(measures: &mut BTreeMap<(u32, u32), MeasureRow>, line: &str, cells: &[String]) -> Option<()> {
    let [ndb, seq, amount, name, grams] = cells else { return None };
    let amount = amount_of(amount)?;
    let row = MeasureRow { line: line.to_owned(), name: name.clone(), grams: grams.parse::<Exact>().ok()? / amount };
    measures.insert((ndb.parse().ok()?, seq.parse().ok()?), row);
    Some(())
}

/// The amounts of the source are decimals; where one is a rounded third, sixth or twelfth, the fraction is meant.
fn amount_of(text: &str) -> Option<Exact> {
    let amount = match text {
        ".33" | ".333" => Exact::new(1, 3),
        ".67" | ".667" => Exact::new(2, 3),
        ".167" => Exact::new(1, 6),
        ".083" => Exact::new(1, 12),
        decimal => decimal.parse().ok()?,
    };
    amount.is_positive().then_some(amount)
}

/// Takes every row after the first to `add`, which says whether it can be read; gives back the first.
fn each_row(path: &Path, mut add: impl FnMut(&str, &[String]) -> Option<()>) -> Result<String, DataError> {
    let text = fs::read_to_string(path).map_err(|source| DataError::Read { path: path.to_owned(), source })?;
    let mut lines = text.lines().enumerate();
    let head = lines.next().map_or_else(String::new, |(_, line)| line.to_owned());
    for (at, line) in lines {
        let bad = || DataError::BadRow { path: path.to_owned(), line: at + 1, read: line.to_owned() };
        add(line, &cells(line)).ok_or_else(bad)?;
    }
    Ok(head)
}

/// The cells of a line of CSV (RFC 4180; no cell of the source spans lines).
fn cells(line: &str) -> Vec<String> {
    let mut cells = vec![String::new()];
    let mut quoted = false;
    let mut chars = line.chars().peekable();
    while let Some(c) = chars.next() {
        match c {
            '"' if quoted && chars.peek() == Some(&'"') => {
                chars.next();
                push(&mut cells, '"');
            }
            '"' => quoted = !quoted,
            ',' if !quoted => cells.push(String::new()),
            c => push(&mut cells, c),
        }
    }
    cells
}

fn push(cells: &mut [String], c: char) {
    if let Some(cell) = cells.last_mut() {
        cell.push(c);
    }
}

fn write_lines<'a>(path: &PathBuf, lines: impl Iterator<Item = &'a String>) -> Result<(), DataError> {
    let text: String = lines.flat_map(|line| [line.as_str(), "\n"]).collect();
    fs::write(path, text).map_err(|source| DataError::Write { path: path.clone(), source })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cells_keep_quotes_and_commas() {
        let line = r#"01001,1,1,"pat (1"" sq, 1/3"" high)",5.0"#;
        assert_eq!(cells(line), ["01001", "1", "1", r#"pat (1" sq, 1/3" high)"#, "5.0"]);
        assert_eq!(cells("01001,,0"), ["01001", "", "0"]);
    }

    #[test]
    fn rounded_thirds_are_thirds() {
        assert_eq!(amount_of(".333"), Some(Exact::new(1, 3)));
        assert_eq!(amount_of(".5"), Some(Exact::new(1, 2)));
        assert_eq!(amount_of("0"), None);
    }
}
