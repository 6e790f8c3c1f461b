//! `cargo xtask data`: the catalogue's table, made from the curated files and the rows of SR28 that they name.

mod check;
mod curated;
mod encode;
mod resolve;
mod sr28;
#[cfg(test)]
mod tests;

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::io::{self, Write};
use std::path::{Path, PathBuf};

use trug_catalog::{Allergens, Catalog, Food};

use self::curated::{Curated, Entry, Place, Problem};
use self::sr28::Sr28;
use crate::root;

/// The table's most bytes after compression, as the phone downloads it.
const MOST_COMPRESSED: usize = 60 * 1024;

/// What keeps the table from being made.
#[derive(Debug, thiserror::Error)]
pub(crate) enum DataError {
    /// A file cannot be read.
    #[error("cannot read {}: {source}", path.display())]
    Read {
        /// The file.
        path: PathBuf,
        /// Why.
        source: io::Error,
    },
    /// A file cannot be written.
    #[error("cannot write {}: {source}", path.display())]
    Write {
        /// The file.
        path: PathBuf,
        /// Why.
        source: io::Error,
    },
    /// A curated file is not TOML.
    #[error("{}: {source}", path.display())]
    Toml {
        /// The file.
        path: PathBuf,
        /// Why.
        source: Box<toml::de::Error>,
    },
    /// A row of the source cannot be read.
    #[error("{}:{line}: read `{read}`; it does not have the columns of the release", path.display())]
    BadRow {
        /// The file.
        path: PathBuf,
        /// The line.
        line: usize,
        /// What it says.
        read: String,
    },
    /// The curated files have mistakes.
    #[error("{} to mend in the curated files; nothing was written:\n{}", .0.len(), lines(.0))]
    Problems(Vec<Problem>),
    /// The table is too large for the phone.
    #[error("the table has {0} bytes after brotli, more than {MOST_COMPRESSED}")]
    TooLarge(usize),
}

fn lines(problems: &[Problem]) -> String {
    problems.iter().map(|problem| format!("  {problem}")).collect::<Vec<_>>().join("\n")
}

/// Where the catalogue's data lives.
fn data_folder() -> PathBuf {
    root().join("crates/catalog/data")
}

/// What the curated files come to.
struct Built {
    foods: Vec<Food>,
    table: String,
    warnings: Vec<Problem>,
    /// The numbers of the rows that are used.
    used: BTreeSet<u32>,
}

/// Makes the table and writes it; with a source, first copies the rows used from the full release.
pub(crate) fn run(source: Option<&Path>) -> Result<(), DataError> {
    let folder = data_folder();
    let own_rows = folder.join("sr28");
    let rows = Sr28::read(source.unwrap_or(&own_rows))?;
    let built = build(&folder.join("curated"), &rows)?;
    if source.is_some() {
        rows.write(&own_rows, &built.used)?;
        write(&own_rows.join("README.md"), PROVENANCE)?;
    }
    let compressed = compressed_size(&built.table);
    if compressed > MOST_COMPRESSED {
        return Err(DataError::TooLarge(compressed));
    }
    write(&folder.join("catalog.txt"), &built.table)?;
    for warning in &built.warnings {
        println!("warning: {warning}");
    }
    let unrecorded = built.foods.iter().filter(|food| food.allergens == Allergens::NotRecorded).count();
    println!("{unrecorded} foods without allergens recorded: their makers differ");
    let (foods, warnings) = (built.foods.len(), built.warnings.len());
    println!("{foods} foods, {warnings} warnings; {} bytes, {compressed} after brotli -q 11", built.table.len());
    Ok(())
}

fn write(path: &Path, text: &str) -> Result<(), DataError> {
    fs::write(path, text).map_err(|source| DataError::Write { path: path.to_owned(), source })
}

fn build(curated: &Path, rows: &Sr28) -> Result<Built, DataError> {
    let Curated { entries, mut problems } = curated::read(curated)?;
    let mut built = Built { foods: Vec::new(), table: String::new(), warnings: Vec::new(), used: BTreeSet::new() };
    for (place, entry) in &entries {
        built.used.extend(resolve::rows_named(entry));
        match resolve::food(rows, place, entry) {
            Ok(food) => {
                problems.extend(check::errors(place, &food));
                built.warnings.extend(check::warnings(place, &food));
                built.warnings.extend(check::wording(place, entry, rows));
                built.foods.push(food);
            }
            Err(wrong) => problems.extend(wrong),
        }
    }
    built.foods.sort_by(|a, b| a.id.cmp(&b.id));
    problems.extend(taken(&entries, &built.foods));
    if !problems.is_empty() {
        return Err(DataError::Problems(problems));
    }
    built.table = built.foods.iter().flat_map(|food| [encode::row(food), "\n".to_owned()]).collect();
    Ok(built)
}

/// Ids and names that two foods have, whichever files they stand in.
fn taken(entries: &[(Place, Entry)], foods: &[Food]) -> Vec<Problem> {
    let mut places: BTreeMap<&str, &Place> = BTreeMap::new();
    let mut problems = Vec::new();
    for (place, _) in entries {
        if let Some(before) = places.insert(place.food(), place) {
            problems.push(place.problem("", format_args!("the id is taken by {before}")));
        }
    }
    let names = Catalog::new(foods.to_vec()).err().unwrap_or_default();
    let placed = names.iter().filter_map(|taken| Some(places.get(taken.second.as_str())?.problem("name", taken)));
    problems.extend(placed);
    problems
}

/// The files of a folder with that ending, in the order of their names.
fn files_of(folder: &Path, ending: &str) -> Result<Vec<PathBuf>, DataError> {
    let failed = |source| DataError::Read { path: folder.to_owned(), source };
    let entries = fs::read_dir(folder).map_err(failed)?.collect::<Result<Vec<_>, _>>().map_err(failed)?;
    let mut files: Vec<_> = entries.into_iter().map(|entry| entry.path()).collect();
    files.retain(|path| path.extension().is_some_and(|extension| extension == ending));
    files.sort();
    Ok(files)
}

fn compressed_size(text: &str) -> usize {
    const BUFFER: usize = 4096;
    const QUALITY: u32 = 11;
    const WINDOW_BITS: u32 = 22;
    let mut compressed = Vec::new();
    let mut writer = brotli::CompressorWriter::new(&mut compressed, BUFFER, QUALITY, WINDOW_BITS);
    // Writing to memory does not fail.
    let _ = writer.write_all(text.as_bytes());
    drop(writer);
    compressed.len()
}

/// What stands beside the copied rows.
const PROVENANCE: &str = "\
# Rows of the USDA National Nutrient Database for Standard Reference, release 28

Source: US Department of Agriculture, Agricultural Research Service, Nutrient Data Laboratory, \"USDA National Nutrient
Database for Standard Reference, Release 28\", 2015 (files FOOD_DES, WEIGHT, FD_GROUP). A work of the US government, in
the public domain. The figures are unchanged; columns were dropped, the `^`/`~` separators turned into CSV (UTF-8), and
only the foods that the curated files name were kept, with all their measures.

| file | a row is | columns |
|---|---|---|
| foods.csv | a food | ndb_no, food_group, description, common_name, refuse_description, refuse_percent |
| measures.csv | a household measure of a food | ndb_no, seq, amount, measure, grams |

- `refuse_percent` is the share of the food as purchased that is thrown away; blank is not recorded, not 0.
- `grams` is the weight of the edible portion in `amount` of that measure.

`cargo xtask data --source DIR` writes these files anew from a folder with the full tables in the same columns.
";
