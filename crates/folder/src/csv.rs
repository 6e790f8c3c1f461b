//! Tables of comma-separated values (RFC 4180), as spreadsheets save them, with the line of each record.
//!
//! Blank lines and lines that begin with `#` are passed over, and spaces around fields and quotes are trimmed; that, and
//! telling the line on which a quote was left open, is what a general reader does not do.

use crate::near::Near;
use crate::page::Page;
use crate::problem::What;

/// A record: the line on which it begins, and its fields.
#[derive(Debug, PartialEq, Eq)]
struct Record {
    line: u32,
    fields: Vec<String>,
}

/// A record by the names of its columns.
pub(crate) struct Row<'a> {
    pub line: u32,
    fields: &'a [String],
    columns: &'a [usize],
}

impl Row<'_> {
    /// The field of that column, by the column's place in the list that [`read`] was given.
    pub(crate) fn field(&self, column: usize) -> &str {
        self.columns.get(column).and_then(|at| self.fields.get(*at)).map_or("", String::as_str)
    }
}

/// Reads a table with these columns, in any order.
pub(crate) fn read(
    text: &str,
    columns: &[&'static str],
    header: &'static str,
    page: &mut Page<'_>,
    mut row: impl FnMut(&Row<'_>, &mut Page<'_>),
) {
    let mut records = Records { rest: text, line: 1, page };
    let Some(first) = records.next_record() else {
        page.line(1, What::NoHeader(header));
        return;
    };
    let Some(order) = order(&first, columns, header, records.page) else { return };
    while let Some(record) = records.next_record() {
        if record.fields.len() == first.fields.len() {
            row(&Row { line: record.line, fields: &record.fields, columns: &order }, records.page);
        } else {
            let what = What::FieldCount { read: record.fields.len(), want: first.fields.len() };
            records.page.line(record.line, what);
        }
    }
}

/// Where each column stands in the file.
fn order(first: &Record, columns: &[&'static str], header: &'static str, page: &mut Page<'_>) -> Option<Vec<usize>> {
    let mut fine = true;
    for (at, name) in first.fields.iter().enumerate() {
        if !columns.contains(&name.as_str()) {
            let near = Near::new(name, columns.iter().copied());
            page.line(first.line, What::UnknownColumn { column: name.clone(), near });
            fine = false;
        } else if first.fields.iter().take(at).any(|other| other == name) {
            page.line(first.line, What::Twice { name: name.clone(), what: "in the header" });
            fine = false;
        }
    }
    let mut order = Vec::with_capacity(columns.len());
    for column in columns {
        match first.fields.iter().position(|name| name == column) {
            Some(at) => order.push(at),
            None => {
                page.line(first.line, What::MissingColumn { column, header });
                fine = false;
            }
        }
    }
    fine.then_some(order)
}

struct Records<'t, 'p, 'a> {
    rest: &'t str,
    line: u32,
    page: &'p mut Page<'a>,
}

impl<'t> Records<'t, '_, '_> {
    fn next_record(&mut self) -> Option<Record> {
        loop {
            if self.rest.is_empty() {
                return None;
            }
            let line = self.rest.lines().next().unwrap_or_default().trim();
            if !line.is_empty() && !line.starts_with('#') {
                return Some(self.record());
            }
            self.pass_line();
        }
    }

    fn pass_line(&mut self) {
        let end = self.rest.find('\n').map_or(self.rest.len(), |at| at + 1);
        self.rest = self.rest.get(end..).unwrap_or_default();
        self.line = self.line.saturating_add(1);
    }

    fn record(&mut self) -> Record {
        let line = self.line;
        let mut fields = Vec::new();
        loop {
            let (field, more) = self.field();
            fields.push(field);
            if !more {
                return Record { line, fields };
            }
        }
    }

    /// The next field, and whether the record goes on after it.
    fn field(&mut self) -> (String, bool) {
        let blank = |c: char| c == ' ' || c == '\t';
        let start = self.rest.trim_start_matches(blank);
        match start.strip_prefix('"') {
            Some(quoted) => {
                let field = self.quoted(quoted);
                let (after, more) = self.plain();
                if !after.is_empty() {
                    let line = self.line.saturating_sub(u32::from(!more));
                    self.page.line(line, What::AfterQuote(crate::table::start_of(after)));
                }
                (field, more)
            }
            None => {
                let (field, more) = self.plain();
                (field.to_owned(), more)
            }
        }
    }

    /// Up to the next comma or line's end.
    fn plain(&mut self) -> (&'t str, bool) {
        let end = self.rest.find([',', '\n']).unwrap_or(self.rest.len());
        let field = self.rest.get(..end).unwrap_or_default().trim();
        let more = self.rest.get(end..).is_some_and(|rest| rest.starts_with(','));
        self.rest = self.rest.get(end + 1..).unwrap_or_default();
        if !more {
            self.line = self.line.saturating_add(1);
        }
        (field, more)
    }

    /// What stands between quotes; a quote inside is written twice.
    fn quoted(&mut self, mut text: &'t str) -> String {
        let opened = self.line;
        let mut field = String::new();
        loop {
            let Some(end) = text.find('"') else {
                self.page.line(opened, What::OpenQuote);
                self.rest = "";
                return field;
            };
            field.push_str(text.get(..end).unwrap_or_default());
            text = text.get(end + 1..).unwrap_or_default();
            match text.strip_prefix('"') {
                Some(rest) => {
                    field.push('"');
                    text = rest;
                }
                None => break,
            }
        }
        let newlines = field.bytes().filter(|byte| *byte == b'\n').count();
        self.line = self.line.saturating_add(u32::try_from(newlines).unwrap_or(u32::MAX));
        self.rest = text;
        field.trim().to_owned()
    }
}

/// A field as it is written: in quotes where it could be taken for something else.
pub(crate) fn write_field(text: &str) -> String {
    let plain = !text.contains(['"', ',', '\n', '\r']) && text.trim() == text && !text.starts_with('#');
    if plain { text.to_owned() } else { format!("\"{}\"", text.replace('"', "\"\"")) }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rows(text: &str) -> (Vec<(u32, String, String)>, Vec<String>) {
        let mut problems = Vec::new();
        let mut rows = Vec::new();
        let mut page = Page::new("a.csv", text, &mut problems);
        read(text, &["x", "y"], "x,y", &mut page, |row, _| {
            rows.push((row.line, row.field(0).to_owned(), row.field(1).to_owned()));
        });
        (rows, problems.iter().map(ToString::to_string).collect())
    }

    fn row(line: u32, x: &str, y: &str) -> (u32, String, String) {
        (line, x.to_owned(), y.to_owned())
    }

    #[test]
    fn reads_what_spreadsheets_save() {
        for (text, want) in [
            ("x,y\n1,2\n", vec![row(2, "1", "2")]),
            ("x,y\r\n1,2\r\n", vec![row(2, "1", "2")]),
            ("y,x\n1,2", vec![row(2, "2", "1")]),
            ("# prices\n\nx , y\n\n# none\n 1 ,\t2 \n", vec![row(6, "1", "2")]),
            ("x,y\n\"a, b\",\"say \"\"hi\"\"\"\n", vec![row(2, "a, b", "say \"hi\"")]),
            ("x,y\n \"a\nb\" , c\nd,e\n", vec![row(2, "a\nb", "c"), row(4, "d", "e")]),
            ("x,y\n,\n", vec![row(2, "", "")]),
            ("x,y", vec![]),
        ] {
            assert_eq!(rows(text), (want, vec![]), "{text:?}");
        }
    }

    #[test]
    fn says_what_is_wrong() {
        for (text, want) in [
            ("", "a.csv:1: there is no header; the first line is `x,y`"),
            ("x\n1\n", "a.csv:1: the column `y` is missing; the header is `x,y`"),
            ("x,y,yy\n", "a.csv:1: `yy` is not a column here; the nearest is `y` of x, y"),
            ("x,y,x\n", "a.csv:1: `x` is in the header twice; keep one"),
            ("x,y\n1\n", "a.csv:2: the line has 1 fields, and the header 2"),
            ("x,y\n1,2\n3,\"4\n5,6\n", "a.csv:3: a quote is opened here and never closed"),
            ("x,y\n\"1\" 2,3\n", "a.csv:2: `2` stands after a closing quote"),
            ("x,y\n1,\"2\" 3\n", "a.csv:2: `3` stands after a closing quote"),
        ] {
            let problems = rows(text).1;
            assert!(problems.first().is_some_and(|problem| problem.starts_with(want)), "{text:?}: {problems:?}");
        }
    }
}
