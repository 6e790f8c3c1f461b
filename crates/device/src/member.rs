//! Which documents a device holds, and by what right.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};
use trug_replica::hex::hex;
use trug_replica::id::DeviceId;
use trug_seal::{DocumentKind, LogId, Role, Root, ShareSecret, WebAddress, Zeroizing};
use trug_sync::Keys;

/// A document as this device knows it, the same also when the log behind it changes: `book`, the key of one of the
/// book's roots, or `joined/` and the log's id.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct DocId(String);

impl DocId {
    /// The book.
    #[must_use]
    pub fn book() -> Self {
        Self("book".to_owned())
    }

    pub(crate) fn of_root(key: &str) -> Self {
        Self(key.to_owned())
    }

    pub(crate) fn joined(log: LogId) -> Self {
        Self(format!("joined/{log}"))
    }

    /// Its text.
    #[must_use]
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl fmt::Display for DocId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

impl From<&str> for DocId {
    fn from(text: &str) -> Self {
        Self(text.to_owned())
    }
}

/// One document of the device, for a list of them.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Entry {
    /// Its id.
    pub id: DocId,
    /// What it is.
    pub kind: DocumentKind,
    /// What a person calls it; empty where nobody has said.
    pub title: String,
    /// Whether this device has its root.
    pub owned: bool,
    /// Its log.
    pub log: LogId,
    /// The relay that it is synced over.
    pub relay: Option<WebAddress>,
}

/// What opens a document.
#[derive(Clone)]
pub(crate) enum Right {
    Owner(Root),
    Writer(LogId, ShareSecret),
}

impl Right {
    pub(crate) fn log(&self) -> LogId {
        match self {
            Self::Owner(root) => root.log_id(),
            Self::Writer(log, _) => *log,
        }
    }

    pub(crate) fn share(&self) -> ShareSecret {
        match self {
            Self::Owner(root) => root.share_secret(),
            Self::Writer(_, share) => share.clone(),
        }
    }

    pub(crate) fn keys(&self, kind: DocumentKind) -> Keys {
        match self {
            Self::Owner(root) => Keys::owner(root, kind),
            Self::Writer(log, share) => Keys::writer(*log, share, kind),
        }
    }
}

/// A document that this device holds by a record of its own: the book, and what it was invited to.
#[derive(Clone)]
pub(crate) struct Member {
    pub(crate) kind: DocumentKind,
    pub(crate) right: Right,
    pub(crate) relay: Option<WebAddress>,
    pub(crate) role: Option<Role>,
}

/// How a [`Member`] is kept.
#[derive(Serialize, Deserialize)]
struct MemberRecord {
    kind: u8,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    root: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    log: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    share: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    relay: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    role: Option<String>,
}

impl Member {
    pub(crate) fn write(&self) -> Zeroizing<Vec<u8>> {
        let (root, log, share) = match &self.right {
            Right::Owner(root) => (Some(hex(root.expose())), None, None),
            Right::Writer(log, share) => (None, Some(log.to_string()), Some(hex(share.expose()))),
        };
        let record = MemberRecord {
            kind: self.kind.byte(),
            root,
            log,
            share,
            relay: self.relay.as_ref().map(ToString::to_string),
            role: self.role.map(|role| role_word(role).to_owned()),
        };
        Zeroizing::new(serde_json::to_vec(&record).unwrap_or_default())
    }

    pub(crate) fn read(bytes: &[u8]) -> Option<Self> {
        let record: MemberRecord = serde_json::from_slice(bytes).ok()?;
        let right = match (record.root, record.log, record.share) {
            (Some(root), ..) => Right::Owner(Root::from_bytes(*unhex(&root)?)),
            (None, Some(log), Some(share)) => {
                Right::Writer(LogId::from_str(&log).ok()?, ShareSecret::from_bytes(*unhex(&share)?))
            }
            _ => return None,
        };
        Some(Self {
            kind: DocumentKind::from_byte(record.kind)?,
            right,
            relay: record.relay.and_then(|text| text.parse().ok()),
            role: record.role.as_deref().and_then(role_of),
        })
    }
}

pub(crate) const fn role_word(role: Role) -> &'static str {
    match role {
        Role::Helper => "helper",
        Role::Client => "client",
        Role::OwnDevice => "own device",
    }
}

fn role_of(word: &str) -> Option<Role> {
    [Role::Helper, Role::Client, Role::OwnDevice].into_iter().find(|role| role_word(*role) == word)
}

/// What a device knows of itself.
#[derive(Serialize, Deserialize)]
pub(crate) struct Itself {
    pub(crate) id: String,
    #[serde(default)]
    pub(crate) name: String,
    /// What relays want of whoever creates a log, by their address.
    #[serde(default)]
    pub(crate) passcodes: std::collections::BTreeMap<String, String>,
}

impl Itself {
    pub(crate) fn device(&self) -> Option<DeviceId> {
        self.id.parse().ok()
    }
}

/// 32 secret bytes from their hexadecimal text.
pub(crate) fn unhex(text: &str) -> Option<Zeroizing<[u8; 32]>> {
    let bytes = Zeroizing::new(trug_replica::hex::unhex(text)?);
    bytes.as_slice().try_into().ok().map(Zeroizing::new)
}
