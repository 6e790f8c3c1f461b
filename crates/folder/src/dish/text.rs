//! A recipe as text.
//!
//! ```text
//! # Title
//!
//! Serves 6
//! Keeps: 4 days
//!
//! ## Ingredients
//!
//! - 2 carrots, peeled
//!
//! ### For the sauce
//!
//! - 1 cup stock
//!
//! ## Method
//!
//! ...
//! ```
//!
//! Other sections (`## Notes`) are kept at the end of the method, with their headings.

use trug_measure::Exact;
use trug_provision::kitchen::{DishSource, Makes};

use super::yields::{self, Yield, after_word};
use super::{Draft, DraftPart};
use crate::page::Page;
use crate::problem::What;
use crate::table::start_of;

/// Where in the text we are.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Section {
    Head,
    Ingredients,
    Method,
    Other,
}

#[derive(Default)]
struct Reader {
    title: Option<String>,
    serves: Option<Exact>,
    makes: Option<Makes>,
    /// A line about the yield that could not be read was told already.
    bad_yield: bool,
    notes: Vec<(String, String)>,
    parts: Vec<DraftPart>,
    /// An ingredient line that could not be read was told already.
    bad_line: bool,
    sections: Vec<&'static str>,
    method: Vec<String>,
    other: Vec<String>,
}

/// Reads a recipe without looking its lines up.
pub(crate) fn draft(text: &str, page: &mut Page<'_>) -> Option<Draft> {
    let mut reader = Reader::default();
    let mut section = Section::Head;
    for (at, line) in text.lines().enumerate() {
        let number = u32::try_from(at + 1).unwrap_or(u32::MAX);
        match heading(line, "##") {
            Some(name) => section = reader.section(name, line, number, page),
            None => reader.line(section, line, number, page),
        }
    }
    reader.finish(page)
}

/// A heading's words, where a line is one of that depth.
fn heading<'t>(line: &'t str, marks: &str) -> Option<&'t str> {
    let rest = line.trim_end().strip_prefix(marks)?;
    (rest.is_empty() || rest.starts_with([' ', '\t'])).then(|| rest.trim().trim_end_matches('#').trim_end())
}

impl Reader {
    fn section(&mut self, name: &str, line: &str, number: u32, page: &mut Page<'_>) -> Section {
        let (section, known) = match name.trim_end_matches(':').to_lowercase().as_str() {
            "ingredients" => (Section::Ingredients, "Ingredients"),
            "method" => (Section::Method, "Method"),
            _ => {
                self.other.push(line.trim_end().to_owned());
                return Section::Other;
            }
        };
        if self.sections.contains(&known) {
            page.line(number, What::SectionTwice(known));
        }
        self.sections.push(known);
        section
    }

    fn line(&mut self, section: Section, line: &str, number: u32, page: &mut Page<'_>) {
        match section {
            Section::Head => self.head(line.trim(), number, page),
            Section::Ingredients => self.ingredient(line.trim(), number, page),
            Section::Method => self.method.push(line.trim_end().to_owned()),
            Section::Other => self.other.push(line.trim_end().to_owned()),
        }
    }

    fn head(&mut self, line: &str, number: u32, page: &mut Page<'_>) {
        if line.is_empty() {
            return;
        }
        if let Some(title) = heading(line, "#") {
            return self.title(title, number, page);
        }
        if let Some(rest) = after_word(line, "serves") {
            return self.yields(yields::serves(rest).map(Yield::Serves), number, page);
        }
        if let Some(rest) = after_word(line, "makes") {
            return self.yields(yields::makes(rest), number, page);
        }
        match line.split_once(':') {
            Some((key, value)) if !key.trim().is_empty() && (value.is_empty() || value.starts_with([' ', '\t'])) => {
                self.notes.push((key.trim().to_owned(), value.trim().to_owned()));
            }
            _ => page.line(number, What::StrayText(start_of(line))),
        }
    }

    fn title(&mut self, title: &str, number: u32, page: &mut Page<'_>) {
        if title.is_empty() {
            return;
        }
        if self.title.is_some() {
            page.line(number, What::SecondTitle(start_of(title)));
        } else {
            self.title = Some(title.to_owned());
        }
    }

    fn yields(&mut self, read: Result<Yield, What>, number: u32, page: &mut Page<'_>) {
        let twice = match read {
            Ok(Yield::Serves(value) | Yield::Bare(value)) => self.serves.replace(value).map(|_| "Serves"),
            Ok(Yield::Makes(makes)) => self.makes.replace(makes).map(|_| "Makes"),
            Err(what) => {
                self.bad_yield = true;
                page.line(number, what);
                None
            }
        };
        if let Some(word) = twice {
            page.line(number, What::YieldTwice(word));
        }
    }

    fn ingredient(&mut self, line: &str, number: u32, page: &mut Page<'_>) {
        if line.is_empty() {
            return;
        }
        if let Some(name) = heading(line, "###") {
            let heading = (!name.is_empty()).then(|| name.to_owned());
            self.parts.push(DraftPart { heading, lines: Vec::new() });
            return;
        }
        match bullet(line) {
            Some("") => self.bad(number, What::EmptyIngredient, page),
            Some(text) => self.add(number, text.to_owned()),
            None => self.bad(number, What::NotAnIngredient(start_of(line)), page),
        }
    }

    fn bad(&mut self, number: u32, what: What, page: &mut Page<'_>) {
        self.bad_line = true;
        page.line(number, what);
    }

    fn add(&mut self, number: u32, text: String) {
        if self.parts.is_empty() {
            self.parts.push(DraftPart::default());
        }
        if let Some(part) = self.parts.last_mut() {
            part.lines.push((number, text));
        }
    }

    fn finish(self, page: &mut Page<'_>) -> Option<Draft> {
        if self.title.is_none() {
            page.line(1, What::NoTitle);
        }
        if self.serves.is_none() && self.makes.is_none() && !self.bad_yield {
            page.line(1, What::NoYield);
        }
        if self.parts.iter().all(|part| part.lines.is_empty()) && !self.bad_line {
            page.line(1, What::NoIngredients);
        }
        let method = joined(&self.method);
        let other = joined(&self.other);
        let between = if method.is_empty() || other.is_empty() { "" } else { "\n\n" };
        Some(Draft {
            title: self.title?,
            serves: self.serves,
            makes: self.makes,
            notes: self.notes,
            parts: self.parts,
            method: format!("{method}{between}{other}"),
            source: DishSource::Text,
        })
    }
}

/// Lines without the empty ones before the first and after the last.
fn joined(lines: &[String]) -> String {
    lines.join("\n").trim_matches('\n').to_owned()
}

/// What stands after a bullet.
fn bullet(line: &str) -> Option<&str> {
    let rest = line.strip_prefix(['-', '*', '•'])?;
    (rest.is_empty() || rest.starts_with([' ', '\t', '\u{a0}'])).then(|| rest.trim())
}
