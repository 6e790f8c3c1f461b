//! The chef's own book: the kitchen folder's texts, the roots of the other documents, settings and helpers.
//!
//! A file of the kitchen folder is one text under its path, so the book says exactly what the folder says and needs no
//! second format. A file that was taken out is an empty text: that it is gone is something a device says, like any
//! other value, and two devices that say different things are both heard.

use std::collections::BTreeMap;

use crate::document::{Arrived, document};
use crate::gather;
use crate::record::{Reader, Unreadable, Writer};
use crate::replica::{EditError, Put, Replica};
use crate::run::Unread;
use crate::schema::{BOOK, Kind, MapAt};

const FILES: MapAt = MapAt(1);
const ROOTS: MapAt = MapAt(2);
const SETTINGS: MapAt = MapAt(3);
const HELPERS: MapAt = MapAt(4);

/// The chef's book.
#[derive(Debug)]
pub struct Book {
    replica: Replica,
}

document!(Book, Change, BOOK);

/// Another document, and what opens it. The secrets are texts here; what they mean is the sealing's business.
#[derive(Clone, PartialEq, Eq)]
pub struct Root {
    /// Which kind of document.
    pub kind: Kind,
    /// What a person calls it.
    pub title: String,
    /// The root secret, as text.
    pub secret: String,
    /// A run's salt, in hexadecimal.
    pub salt: Option<String>,
    /// The address of the relay.
    pub relay: Option<String>,
}

/// Secrets print nothing.
impl std::fmt::Debug for Root {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Root").field("kind", &self.kind).field("title", &self.title).finish_non_exhaustive()
    }
}

/// Somebody who was invited.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Helper {
    /// What the chef calls the person.
    pub name: String,
    /// To which document: its key among the roots.
    pub document: String,
    /// The invitation was withdrawn.
    pub withdrawn: bool,
}

/// What a merge changed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Change {
    /// A file of the kitchen folder, by its path.
    File(String),
    /// The root of another document, by its key.
    Root(String),
    /// A setting, by its name.
    Setting(String),
    /// A helper, by the key.
    Helper(String),
    /// Something that this program does not know.
    Unknown(String),
}

/// Where distinct values were set apart, and nobody has said which holds.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Conflict {
    /// About what.
    pub about: Change,
    /// All distinct values; an empty text is a file taken out.
    pub values: Vec<String>,
}

impl Book {
    /// Sets a file's text.
    ///
    /// # Errors
    /// Where the book is read-only or the text too long.
    pub fn set_file(&mut self, path: &str, text: &str) -> Result<bool, EditError> {
        self.replica.edit(&[Put::new(FILES, path, text.to_owned())])
    }

    /// Takes a file out.
    ///
    /// # Errors
    /// Where the book is read-only or has no such file.
    pub fn remove_file(&mut self, path: &str) -> Result<bool, EditError> {
        if !self.replica.has(FILES, path) {
            return Err(EditError::Unknown { what: "file", id: path.to_owned() });
        }
        self.replica.edit(&[Put::new(FILES, path, String::new())])
    }

    /// A file's text.
    #[must_use]
    pub fn file(&self, path: &str) -> Option<String> {
        self.replica.get(FILES, path).filter(|text| !text.is_empty())
    }

    /// All files, by path.
    #[must_use]
    pub fn files(&self) -> BTreeMap<String, String> {
        let entries = self.replica.entries(FILES).into_iter().map(|(path, held)| (path, held.text));
        gather::map(entries.filter(|(_, text)| !text.is_empty()))
    }

    /// Makes the book's files these, as one change: what differs is set, what is not among them is taken out. An empty
    /// file is none.
    ///
    /// # Errors
    /// Where the book is read-only or a text too long; then nothing is changed.
    pub fn import<'f>(&mut self, files: impl IntoIterator<Item = (&'f str, &'f str)>) -> Result<bool, EditError> {
        let files = gather::map(files);
        let here = self.files();
        let gone = here.keys().filter(|path| !files.contains_key(path.as_str()));
        let gone = gone.map(|path| Put::new(FILES, path, String::new()));
        let set = files.iter().map(|(path, text)| Put::new(FILES, path, (*text).to_owned()));
        // An empty file that is not here need not be taken out.
        let puts: Vec<Put> =
            set.filter(|put| !put.value.is_empty() || here.contains_key(&put.key)).chain(gone).collect();
        self.replica.edit(&puts)
    }

    /// Keeps another document's root under a key.
    ///
    /// # Errors
    /// Where the book is read-only or a text too long.
    pub fn set_root(&mut self, key: &str, root: &Root) -> Result<bool, EditError> {
        let record = Writer::new(root.kind.name())
            .put('n', &root.title)
            .put('r', &root.secret)
            .maybe('s', root.salt.as_deref())
            .maybe('a', root.relay.as_deref());
        self.replica.edit(&[Put::new(ROOTS, key, record.finish())])
    }

    /// Puts a root away: the document's log is gone, or nobody wants the document any more. The key can be used again.
    ///
    /// # Errors
    /// Where the book is read-only.
    pub fn remove_root(&mut self, key: &str) -> Result<bool, EditError> {
        // Nothing is ever deleted: a key whose values were set apart must not come back by that.
        self.replica.edit(&[Put::new(ROOTS, key, Writer::new(PUT_AWAY).finish())])
    }

    /// The roots of the other documents, by key, without those that were put away; and what cannot be read.
    #[must_use]
    pub fn roots(&self) -> (BTreeMap<String, Root>, Unread) {
        let (roots, unread) = self.records(ROOTS, "roots", read_root);
        (gather::map(roots.into_iter().filter_map(|(key, root)| Some((key, root?)))), unread)
    }

    /// Sets a setting.
    ///
    /// # Errors
    /// Where the book is read-only or the text too long.
    pub fn set_setting(&mut self, name: &str, value: &str) -> Result<bool, EditError> {
        self.replica.edit(&[Put::new(SETTINGS, name, value.to_owned())])
    }

    /// A setting.
    #[must_use]
    pub fn setting(&self, name: &str) -> Option<String> {
        self.replica.get(SETTINGS, name)
    }

    /// All settings, by name.
    #[must_use]
    pub fn settings(&self) -> BTreeMap<String, String> {
        gather::map(self.replica.entries(SETTINGS).into_iter().map(|(name, held)| (name, held.text)))
    }

    /// Keeps a helper under a key.
    ///
    /// # Errors
    /// Where the book is read-only or a text too long.
    pub fn set_helper(&mut self, key: &str, helper: &Helper) -> Result<bool, EditError> {
        let record = Writer::new("helper").put('n', &helper.name).put('d', &helper.document);
        self.replica.edit(&[Put::new(HELPERS, key, record.flag('w', helper.withdrawn).finish())])
    }

    /// The helpers, by key; and what cannot be read.
    #[must_use]
    pub fn helpers(&self) -> (BTreeMap<String, Helper>, Unread) {
        self.records(HELPERS, "helpers", read_helper)
    }

    /// Where distinct values were set apart.
    #[must_use]
    pub fn conflicts(&self) -> Vec<Conflict> {
        let maps = [FILES, ROOTS, SETTINGS, HELPERS].into_iter();
        let found = maps.flat_map(|map| {
            let found = self.replica.conflicts(map).into_iter();
            found.map(move |(key, values)| Conflict { about: change(map, key), values })
        });
        found.collect()
    }

    fn records<T>(
        &self,
        map: MapAt,
        name: &'static str,
        read: impl Fn(&str) -> Result<T, Unreadable>,
    ) -> (BTreeMap<String, T>, Unread) {
        let (mut readable, mut unreadable) = (BTreeMap::new(), Vec::new());
        for (key, held) in self.replica.entries(map) {
            match read(&held.text) {
                Ok(record) => drop(readable.insert(key, record)),
                Err(why) => unreadable.push((name, key, why)),
            }
        }
        (readable, unreadable)
    }
}

/// The kind of a root's record that was put away.
const PUT_AWAY: &str = "gone";

fn read_root(text: &str) -> Result<Option<Root>, Unreadable> {
    let record = Reader::new(text)?;
    if record.kind() == PUT_AWAY {
        return Ok(None);
    }
    let kinds = [Kind::Book, Kind::Pantry, Kind::Run];
    let kind = kinds.into_iter().find(|kind| kind.name() == record.kind());
    Ok(Some(Root {
        kind: kind.ok_or_else(|| Unreadable::Kind(record.kind().to_owned()))?,
        title: record.need('n', "title")?.to_owned(),
        secret: record.need('r', "root")?.to_owned(),
        salt: record.get('s').map(str::to_owned),
        relay: record.get('a').map(str::to_owned),
    }))
}

fn read_helper(text: &str) -> Result<Helper, Unreadable> {
    let record = Reader::new(text)?;
    Ok(Helper {
        name: record.need('n', "name")?.to_owned(),
        document: record.need('d', "document")?.to_owned(),
        withdrawn: record.has('w'),
    })
}

fn change(map: MapAt, key: String) -> Change {
    match map {
        FILES => Change::File(key),
        ROOTS => Change::Root(key),
        SETTINGS => Change::Setting(key),
        HELPERS => Change::Helper(key),
        _ => Change::Unknown(key),
    }
}

/// What arrived, each once.
fn explain(_: &Book, _: &Replica, arrived: &[Arrived]) -> Vec<Change> {
    let mut changes: Vec<Change> = Vec::new();
    for one in arrived {
        let change = change(one.map, one.key.clone());
        if !changes.contains(&change) {
            changes.push(change);
        }
    }
    changes
}
