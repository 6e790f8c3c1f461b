//! A recipe as somebody pasted it, brought into the form of the kitchen folder: a title, what it makes, one ingredient a
//! line, the method. A recipe that is in that form already stays as it is.

/// The headings that begin the ingredients.
const INGREDIENTS: [&str; 4] = ["ingredients", "ingredient list", "what you need", "ingredientes"];
/// The headings that begin the method.
const METHOD: [&str; 12] = [
    "method",
    "directions",
    "instructions",
    "preparation",
    "steps",
    "procedure",
    "to make",
    "how to make it",
    "preparación",
    "preparacion",
    "instrucciones",
    "método",
];
/// The headings that begin notes, which are kept after the method.
const NOTES: [&str; 4] = ["notes", "note", "tips", "notas"];
/// Words before or after how many it serves.
const SERVES: [&str; 8] = ["serves", "servings", "serving", "portions", "feeds", "porciones", "para", "yield"];

/// What an ingredient line of a tidied recipe is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Entry {
    /// The heading of a part.
    Heading(String),
    /// An ingredient.
    Line(String),
}

/// What a tidied recipe says of itself before its lines are looked up.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct Tidied {
    /// The recipe in the folder's form.
    pub(super) text: String,
    /// Its title.
    pub(super) title: Option<String>,
    /// `Serves 6`, `Makes 3 cups`, as they stand.
    pub(super) yields: Vec<String>,
    /// Its ingredient lines with the headings between them.
    pub(super) entries: Vec<Entry>,
}

/// Brings a recipe into the folder's form.
pub(super) fn tidy(text: &str) -> Tidied {
    let is_tidy = text.lines().any(|line| section_of(line) == Some(Section::Ingredients) && line.starts_with("## "));
    let text = if is_tidy { text.to_owned() } else { rewritten(text) };
    let (mut found, mut inside) = (Tidied::default(), false);
    for line in text.lines() {
        if line.starts_with("## ") {
            inside = section_of(line) == Some(Section::Ingredients);
        } else if inside {
            found.entries.extend(entry(line));
        } else if let Some(title) = line.strip_prefix("# ").filter(|_| found.title.is_none()) {
            found.title = Some(title.trim().to_owned());
        } else if is_yield(line) && found.entries.is_empty() {
            found.yields.push(line.trim().to_owned());
        }
    }
    found.text = text;
    found
}

fn entry(line: &str) -> Option<Entry> {
    if let Some(heading) = line.strip_prefix("###") {
        return Some(Entry::Heading(heading.trim().to_owned()));
    }
    let line = line.trim().strip_prefix(['-', '*', '•'])?.trim();
    (!line.is_empty()).then(|| Entry::Line(line.to_owned()))
}

fn is_yield(line: &str) -> bool {
    let first = line.split_whitespace().next().unwrap_or_default();
    ["serves", "makes"].iter().any(|word| first.trim_end_matches(':').eq_ignore_ascii_case(word))
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Section {
    Ingredients,
    Method,
    Notes,
}

/// Which section a line heads, if it is such a heading.
fn section_of(line: &str) -> Option<Section> {
    let name = line.trim().trim_start_matches('#').trim().trim_matches('*').trim_end_matches(':').trim().to_lowercase();
    let is_one_of = |names: &[&str]| names.contains(&name.as_str());
    match () {
        () if is_one_of(&INGREDIENTS) => Some(Section::Ingredients),
        () if is_one_of(&METHOD) => Some(Section::Method),
        () if is_one_of(&NOTES) => Some(Section::Notes),
        () => None,
    }
}

#[derive(Default)]
struct Writing {
    title: String,
    head: Vec<String>,
    ingredients: Vec<String>,
    method: Vec<String>,
    notes: Vec<String>,
}

fn rewritten(text: &str) -> String {
    let mut writing = Writing::default();
    // Until a heading says otherwise, what follows title and yield are the ingredients.
    let mut section = None;
    for line in text.lines() {
        match section_of(line) {
            Some(next) => section = Some(next),
            None => writing.line(section, line),
        }
    }
    writing.finish()
}

impl Writing {
    fn line(&mut self, section: Option<Section>, line: &str) {
        let trimmed = line.trim();
        match section {
            Some(Section::Method) => self.method.push(line.trim_end().to_owned()),
            Some(Section::Notes) => self.notes.push(line.trim_end().to_owned()),
            _ if trimmed.is_empty() => {}
            None if self.title.is_empty() => {
                trimmed.trim_start_matches('#').trim().clone_into(&mut self.title);
            }
            _ => self.head_or_ingredient(section, trimmed),
        }
    }

    fn head_or_ingredient(&mut self, section: Option<Section>, line: &str) {
        if let Some(yields) = yield_line(line).filter(|_| self.head.iter().all(|other| !is_yield(other))) {
            self.head.push(yields);
        } else if section.is_none() && self.ingredients.is_empty() && is_note(line) {
            self.head.push(line.to_owned());
        } else if let Some(heading) = part_heading(line) {
            self.ingredients.push(format!("\n### {heading}\n"));
        } else {
            self.ingredients.push(format!("- {}", bare(line)));
        }
    }

    fn finish(self) -> String {
        let mut text = String::new();
        if !self.title.is_empty() {
            text.push_str(&format!("# {}\n\n", self.title));
        }
        for line in &self.head {
            text.push_str(&format!("{line}\n"));
        }
        text.push_str(&format!("\n## Ingredients\n\n{}\n", self.ingredients.join("\n")));
        for (name, lines) in [("Method", &self.method), ("Notes", &self.notes)] {
            let body = lines.join("\n");
            if !body.trim().is_empty() {
                text.push_str(&format!("\n## {name}\n\n{}\n", body.trim()));
            }
        }
        text
    }
}

/// `Servings: 6`, `Serves 4-6`, `6 servings` as `Serves …`; `Makes 3 cups` as it is.
fn yield_line(line: &str) -> Option<String> {
    let line = line.trim_matches(['*', '_']).trim();
    if is_yield(line) && line.chars().any(|c| c.is_ascii_digit()) {
        return Some(line.replacen(':', "", 1));
    }
    let lower = line.to_lowercase();
    let words: Vec<&str> =
        lower.split(|c: char| c.is_whitespace() || c == ':').filter(|word| !word.is_empty()).collect();
    let number = |word: &str| word.starts_with(|c: char| c.is_ascii_digit());
    match *words.as_slice() {
        ["yield" | "yields" | "rinde", count, ref rest @ ..] if number(count) => {
            let people = rest.first().is_none_or(|word| SERVES.contains(word));
            Some(if people { format!("Serves {count}") } else { format!("Makes {count} {}", rest.join(" ")) })
        }
        [word, count] | [count, word] if number(count) && SERVES.contains(&word) => Some(format!("Serves {count}")),
        _ => None,
    }
}

/// `Keeps: 4 days`: a word or two, a colon, and something after it that is no amount of food.
fn is_note(line: &str) -> bool {
    let Some((key, value)) = line.split_once(':') else { return false };
    !value.trim().is_empty()
        && (1..=3).contains(&key.split_whitespace().count())
        && key.chars().all(|c| c.is_alphabetic() || c == ' ')
}

/// `For the sauce:` or `### Sauce`.
fn part_heading(line: &str) -> Option<String> {
    if let Some(heading) = line.strip_prefix('#') {
        return Some(heading.trim_start_matches('#').trim().trim_end_matches(':').to_owned());
    }
    let heading = line.trim_matches('*').trim().strip_suffix(':')?;
    let begins_with_amount = heading.starts_with(|c: char| c.is_numeric() || matches!(c, '-' | '•'));
    (!begins_with_amount && !heading.is_empty()).then(|| heading.to_owned())
}

/// A line without its bullet or its box.
fn bare(line: &str) -> &str {
    let line = line.trim_start_matches(['-', '*', '•', '–', '▢', '☐', '·']).trim_start();
    line.strip_prefix("[ ]").map_or(line, str::trim_start)
}

/// The JSON-LD texts of a saved web page.
pub(super) fn json_ld_of(page: &str) -> Vec<String> {
    let lower = page.to_ascii_lowercase();
    let mut found = Vec::new();
    let mut at = 0;
    while let Some(start) = lower.get(at..).and_then(|rest| rest.find("<script")).map(|start| at + start) {
        let Some(open) = lower.get(start..).and_then(|rest| rest.find('>')).map(|end| start + end + 1) else { break };
        let Some(close) = lower.get(open..).and_then(|rest| rest.find("</script")).map(|end| open + end) else { break };
        let is_json_ld = lower.get(start..open).is_some_and(|tag| tag.contains("application/ld+json"));
        if let Some(text) = page.get(open..close).filter(|_| is_json_ld) {
            found.push(text.trim().to_owned());
        }
        at = close;
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    fn lines(text: &str) -> Vec<String> {
        let entries = tidy(text).entries.into_iter();
        entries
            .map(|entry| match entry {
                Entry::Heading(heading) => format!("[{heading}]"),
                Entry::Line(line) => line,
            })
            .collect()
    }

    #[test]
    fn a_pasted_recipe_is_tidied() {
        let pasted = "Lentil soup\nServings: 6\nKeeps: 4 days\n\n2 carrots, peeled\n• 1 cup lentils\nFor the oil:\n▢ 1/4 \
                      cup olive oil\n\nDirections:\nBoil.\nServe.\n\nNotes\nGood cold.\n";
        let tidied = tidy(pasted);
        assert_eq!(
            tidied.text,
            "# Lentil soup\n\nServes 6\nKeeps: 4 days\n\n## Ingredients\n\n- 2 carrots, peeled\n- 1 cup lentils\n\n### For \
             the oil\n\n- 1/4 cup olive oil\n\n## Method\n\nBoil.\nServe.\n\n## Notes\n\nGood cold.\n"
        );
        assert_eq!(tidied.title.as_deref(), Some("Lentil soup"));
        assert_eq!(tidied.yields, ["Serves 6"]);
        assert_eq!(lines(pasted), ["2 carrots, peeled", "1 cup lentils", "[For the oil]", "1/4 cup olive oil"]);
    }

    #[test]
    fn a_tidy_recipe_stays_as_it_is() {
        let text = tidy("Soup\nServes 2\n1 leek\nMethod\nBoil.").text;
        assert_eq!(tidy(&text).text, text);
        let odd = "# A\n\nServes 2\nStation: stove\n\n## Ingredients\n\n- 1 leek\n\n## Notes\n\nHot: yes\n";
        assert_eq!(tidy(odd).text, odd);
    }

    #[test]
    fn yields_are_read_in_many_words() {
        for (line, want) in [
            ("Serves 4-6", Some("Serves 4-6")),
            ("Serves: 4", Some("Serves 4")),
            ("Makes 3 cups", Some("Makes 3 cups")),
            ("Servings: 8", Some("Serves 8")),
            ("6 servings", Some("Serves 6")),
            ("Yield: 24 cookies", Some("Makes 24 cookies")),
            ("Yield: 4 servings", Some("Serves 4")),
            ("Porciones: 4", Some("Serves 4")),
            ("2 carrots", None),
            ("Serves a crowd", None),
        ] {
            assert_eq!(yield_line(line).as_deref(), want, "{line}");
        }
    }

    #[test]
    fn nothing_comes_of_nothing() {
        assert_eq!(tidy("").entries, []);
        assert_eq!(tidy("\n\n").title, None);
    }

    #[test]
    fn recipes_are_found_in_pages() {
        let page = "<html><script>1</script><SCRIPT type=\"application/ld+json\"> {\"a\": 1} </script><script";
        assert_eq!(json_ld_of(page), ["{\"a\": 1}"]);
        assert!(json_ld_of("<p>İ</p><script type=\"application/ld+json\">").is_empty());
    }
}
