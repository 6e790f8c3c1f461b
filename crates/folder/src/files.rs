//! The files of a folder in memory: paths that stay inside it, and bytes that are text.

use std::collections::BTreeMap;
use std::fmt;

use crate::problem::What;

/// The most bytes of a recipe: 1 MiB.
const MOST_RECIPE: usize = 1 << 20;
/// The most bytes of any other file: 16 MiB.
pub(crate) const MOST: usize = 16 << 20;

/// A folder's files by their paths in it, which are parted by slashes and never lead out of it.
#[derive(Clone, PartialEq, Eq, Default)]
pub struct Files(BTreeMap<String, Vec<u8>>);

/// A path that leads out of its folder, or that is no plain path on every system.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{}", What::PathLeavesFolder(.0.clone()))]
pub struct BadPath(pub String);

impl Files {
    /// No files.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// Adds a file, or replaces it.
    ///
    /// # Errors
    /// Where the path is absolute, has `..`, an empty part, a backslash, a colon or a control character: it would leave
    /// the folder, or mean something else on another system.
    pub fn insert(&mut self, path: &str, bytes: Vec<u8>) -> Result<(), BadPath> {
        if !is_inside(path) {
            return Err(BadPath(path.to_owned()));
        }
        self.0.insert(path.to_owned(), bytes);
        Ok(())
    }

    /// Adds a file of our own making, whose path is made from an id. An id that would lead out of the folder is caught
    /// where the files meet a disk.
    pub(crate) fn put(&mut self, path: String, text: String) {
        self.0.insert(path, text.into_bytes());
    }

    /// A file's bytes.
    #[must_use]
    pub fn get(&self, path: &str) -> Option<&[u8]> {
        self.0.get(path).map(Vec::as_slice)
    }

    /// The files by path.
    pub fn iter(&self) -> impl Iterator<Item = (&str, &[u8])> {
        self.0.iter().map(|(path, bytes)| (path.as_str(), bytes.as_slice()))
    }

    /// How many files there are.
    #[must_use]
    pub fn len(&self) -> usize {
        self.0.len()
    }

    /// Whether there is none.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }
}

/// The files' names and texts; bytes would tell a person nothing.
impl fmt::Debug for Files {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let texts = self.0.iter().map(|(path, bytes)| (path, String::from_utf8_lossy(bytes)));
        f.debug_map().entries(texts).finish()
    }
}

impl IntoIterator for Files {
    type Item = (String, Vec<u8>);
    type IntoIter = std::collections::btree_map::IntoIter<String, Vec<u8>>;

    fn into_iter(self) -> Self::IntoIter {
        self.0.into_iter()
    }
}

/// Whether a path stays in its folder and means the same on every system.
pub(crate) fn is_inside(path: &str) -> bool {
    let plain = |part: &str| !part.is_empty() && part != "." && part != "..";
    path.split('/').all(plain) && !path.contains(['\\', ':']) && !path.contains(char::is_control)
}

/// Whether a text can be the id of a dish, a household, a store, a pantry or a food: words of small letters and digits,
/// joined by single hyphens.
#[must_use]
pub fn is_id(text: &str) -> bool {
    is_week_id(text) && !text.contains(|c: char| c.is_ascii_uppercase())
}

/// Whether a text can be the id of a week, which may have capitals (`2026-W10`).
pub(crate) fn is_week_id(text: &str) -> bool {
    text.len() <= 100 && text.split('-').all(|word| !word.is_empty() && word.bytes().all(|b| b.is_ascii_alphanumeric()))
}

/// What a file is, as far as its size goes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Kind {
    /// A recipe.
    Recipe,
    /// Any other file.
    Other,
}

/// A file's text, without a byte order mark; or what keeps it from being one, and the line, where there is one.
pub(crate) fn decode(bytes: &[u8], kind: Kind) -> Result<&str, (Option<u32>, What)> {
    let (most, limit, name) = match kind {
        Kind::Recipe => (MOST_RECIPE, "1 MiB", "recipe"),
        Kind::Other => (MOST, "16 MiB", "file of a kitchen"),
    };
    if bytes.len() > most {
        return Err((None, What::TooLarge { limit, kind: name }));
    }
    if bytes.starts_with(&[0xFF, 0xFE]) || bytes.starts_with(&[0xFE, 0xFF]) {
        return Err((Some(1), What::Utf16));
    }
    let bytes = bytes.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(bytes);
    let line_at = |at: usize| {
        let newlines = bytes.iter().take(at).filter(|byte| **byte == b'\n').count();
        Some(u32::try_from(newlines + 1).unwrap_or(u32::MAX))
    };
    if let Some(at) = bytes.iter().position(|byte| *byte == 0) {
        return Err((line_at(at), What::ZeroByte));
    }
    std::str::from_utf8(bytes).map_err(|error| {
        let at = error.valid_up_to();
        (line_at(at), What::NotUtf8 { byte: bytes.get(at).copied().unwrap_or_default() })
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn paths() {
        for path in ["kitchen.toml", "dishes/a.md", ".hidden", "a/b/c", "dishes/crème.md"] {
            assert!(is_inside(path), "{path}");
        }
        for path in ["", "/etc/passwd", "../a", "a/../b", "a//b", "a/", "a\\b", "C:a", "./a", "a/.", "a\0b", "a\nb"] {
            assert!(!is_inside(path), "{path:?}");
        }
    }

    #[test]
    fn ids() {
        for id in ["lentil-soup", "a", "7-up", "kit"] {
            assert!(is_id(id), "{id}");
        }
        for id in ["", "Lentil", "a b", "a--b", "-a", "a-", "crème", "a_b", "a.b", "2026-W10"] {
            assert!(!is_id(id), "{id}");
        }
        assert!(is_week_id("2026-W10"));
    }

    #[test]
    fn encodings() {
        assert_eq!(decode(b"\xEF\xBB\xBFname", Kind::Other), Ok("name"));
        assert_eq!(decode(b"a\r\nb", Kind::Other), Ok("a\r\nb"));
        assert_eq!(decode(b"\xFF\xFEn\0", Kind::Other), Err((Some(1), What::Utf16)));
        assert_eq!(decode(b"\xFE\xFF\0n", Kind::Other), Err((Some(1), What::Utf16)));
        assert_eq!(decode(b"a\ncr\xE8me", Kind::Other), Err((Some(2), What::NotUtf8 { byte: 0xE8 })));
        assert_eq!(decode(b"a\nb\0", Kind::Other), Err((Some(2), What::ZeroByte)));
        assert!(decode(&vec![b'a'; MOST_RECIPE], Kind::Recipe).is_ok());
        assert!(matches!(decode(&vec![b'a'; MOST_RECIPE + 1], Kind::Recipe), Err((None, What::TooLarge { .. }))));
    }
}
