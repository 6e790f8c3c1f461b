//! A file that is being read: its text, where its lines begin, and what is wrong with it.

use crate::problem::{Problem, What};

/// One file's text and its problems.
pub(crate) struct Page<'a> {
    file: &'a str,
    starts: Vec<usize>,
    problems: &'a mut Vec<Problem>,
}

impl<'a> Page<'a> {
    pub(crate) fn new(file: &'a str, text: &str, problems: &'a mut Vec<Problem>) -> Self {
        let after_newlines = text.bytes().enumerate().filter(|(_, byte)| *byte == b'\n').map(|(at, _)| at + 1);
        Self { file, starts: std::iter::once(0).chain(after_newlines).collect(), problems }
    }

    /// The line, from 1, in which that byte stands.
    pub(crate) fn line_of(&self, at: usize) -> u32 {
        u32::try_from(self.starts.partition_point(|start| *start <= at)).unwrap_or(u32::MAX)
    }

    /// Something is wrong at that byte of the text.
    pub(crate) fn at(&mut self, at: usize, what: impl Into<What>) {
        let line = self.line_of(at);
        self.line(line, what);
    }

    /// Something is wrong in that line.
    pub(crate) fn line(&mut self, line: u32, what: impl Into<What>) {
        self.problems.push(Problem { file: self.file.to_owned(), line: Some(line), what: what.into() });
    }
}
