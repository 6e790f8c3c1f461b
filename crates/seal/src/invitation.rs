//! Invitations: a link whose fragment carries what a joining device needs.
//!
//! ```text
//! https://<where the app is>#<fragment>
//! fragment = base64url without padding of:
//!   version 1 byte | document kind 1 byte | role 1 byte | relay: 0 none, 1 https, 2 http | log id 16 bytes
//!   | share secret 32 bytes | the relay's address after its ://, as ASCII, up to 255 bytes
//!   | first 4 bytes of SHA-256("trug/1/invitation" followed by all bytes before)
//! ```
//!
//! A browser never sends a fragment. The last four bytes keep a slip of copying from being taken for an invitation, in
//! every version; they are no protection against somebody who forges one.

use std::fmt;

use sha2::{Digest, Sha256};
use thiserror::Error;
use zeroize::Zeroizing;

use crate::VERSION;
use crate::address::{AddressError, WebAddress};
use crate::keys::{LogId, ShareSecret};
use crate::kind::DocumentKind;
use crate::qr::{QrCode, QrError};
use crate::text::{decode_any, encode};

const CHECK_LABEL: &[u8] = b"trug/1/invitation";
const CHECK: usize = 4;
/// Version, document kind, role and kind of relay; then log id and share secret.
const FIXED: usize = 4 + 16 + 32;
/// The fewest characters of a fragment: without a relay.
const SHORTEST_TEXT: usize = (FIXED + CHECK) * 4 / 3;
/// A fragment at least this long that does not check is taken for an invitation with a slip in it, not for another
/// link.
const LOOKS_LIKE_ONE: usize = 40;
/// The longest text that is searched for an invitation, in bytes. Longer than any chat message.
const LONGEST_TEXT: usize = 64 << 10;
/// Over how many words (spaces, line ends) a link may have been broken.
const PIECES: usize = 6;

/// What somebody is invited as.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Role {
    /// Shops with the chef.
    Helper,
    /// Counts at home, in the own kitchen.
    Client,
    /// Another device of the chef's own.
    OwnDevice,
}

impl Role {
    const ALL: [Self; 3] = [Self::Helper, Self::Client, Self::OwnDevice];

    const fn byte(self) -> u8 {
        match self {
            Self::Helper => 1,
            Self::Client => 2,
            Self::OwnDevice => 3,
        }
    }

    fn from_byte(byte: u8) -> Option<Self> {
        Self::ALL.into_iter().find(|role| role.byte() == byte)
    }
}

impl fmt::Display for Role {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Helper => "helper",
            Self::Client => "client",
            Self::OwnDevice => "own device",
        })
    }
}

/// Why there is no invitation to be had.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum InvitationError {
    /// Nothing that looks like one.
    #[error("there is no invitation in this text: it is a link with a long row of letters and digits behind a #")]
    Nothing,
    /// Looks like one, with a slip in it or cut off.
    #[error("this invitation is damaged or was not copied whole: copy the link again, or scan the code")]
    Damaged,
    /// Made by a newer program.
    #[error("this invitation has format {found}, and this program reads format {VERSION}: update it to join")]
    Newer {
        /// The format's number.
        found: u8,
    },
    /// Two or more different ones.
    #[error("there are several invitations in this text: paste the one that is meant by itself")]
    Several,
    /// Longer than is searched.
    #[error("a text of {len} bytes is too long to look for an invitation in: paste the link by itself")]
    TooLong {
        /// Its length in bytes.
        len: usize,
    },
    /// Whole, but for a kind of document, role or relay that there is not.
    #[error("this invitation asks for something this program does not know")]
    Unknown,
    /// Whole, but the relay's address in it is none.
    #[error("the relay in this invitation: {0}")]
    Relay(#[from] AddressError),
    /// The book gives everything away, and is for the chef's own devices alone.
    #[error("the book holds every household and every key: it is for own devices alone, never for a {role}")]
    BookForOthers {
        /// The role that was asked for.
        role: Role,
    },
}

/// What a joining device is given. Never the root, so that nobody who was invited can act as the owner.
#[derive(Clone, PartialEq, Eq)]
pub struct Invitation {
    document: DocumentKind,
    role: Role,
    relay: Option<WebAddress>,
    log: LogId,
    share: ShareSecret,
}

impl fmt::Debug for Invitation {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Invitation")
            .field("document", &self.document)
            .field("role", &self.role)
            .field("relay", &self.relay)
            .field("log", &self.log)
            .field("share", &self.share)
            .finish()
    }
}

impl Invitation {
    /// An invitation to a document. Without a relay it lets a device open files that are handed over by other means.
    ///
    /// # Errors
    /// [`InvitationError::BookForOthers`] for the book in any role but [`Role::OwnDevice`].
    pub fn new(
        document: DocumentKind,
        role: Role,
        relay: Option<WebAddress>,
        log: LogId,
        share: ShareSecret,
    ) -> Result<Self, InvitationError> {
        if document == DocumentKind::Book && role != Role::OwnDevice {
            return Err(InvitationError::BookForOthers { role });
        }
        Ok(Self { document, role, relay, log, share })
    }

    /// The kind of document.
    #[must_use]
    pub const fn document(&self) -> DocumentKind {
        self.document
    }

    /// What the joining device is invited as. It is a word to the app, not a wall: every role may read and append.
    #[must_use]
    pub const fn role(&self) -> Role {
        self.role
    }

    /// The relay the document's log lies on, if on any.
    #[must_use]
    pub const fn relay(&self) -> Option<&WebAddress> {
        self.relay.as_ref()
    }

    /// The log's address there.
    #[must_use]
    pub const fn log(&self) -> LogId {
        self.log
    }

    /// The secret that opens the document.
    #[must_use]
    pub const fn share_secret(&self) -> &ShareSecret {
        &self.share
    }

    /// What stands after the `#`. As secret as the document.
    #[must_use]
    pub fn fragment(&self) -> Zeroizing<String> {
        let relay = self.relay.as_ref().map_or("", WebAddress::rest);
        let mut bytes = Zeroizing::new(Vec::with_capacity(FIXED + relay.len() + CHECK));
        let relay_kind = match self.relay.as_ref().map(WebAddress::is_secure) {
            None => 0,
            Some(true) => 1,
            Some(false) => 2,
        };
        bytes.extend_from_slice(&[VERSION, self.document.byte(), self.role.byte(), relay_kind]);
        bytes.extend_from_slice(self.log.bytes());
        bytes.extend_from_slice(self.share.expose());
        bytes.extend_from_slice(relay.as_bytes());
        let check = check_of(&bytes);
        bytes.extend_from_slice(&check);
        encode(&bytes)
    }

    /// The link to send to the one person it is for. `app` is where the app is served. As secret as the document.
    #[must_use]
    pub fn link(&self, app: &WebAddress) -> Zeroizing<String> {
        let slash = if app.has_path() { "" } else { "/" };
        Zeroizing::new(format!("{app}{slash}#{}", self.fragment().as_str()))
    }

    /// The link as a QR code, to be scanned from this screen.
    ///
    /// # Errors
    /// [`QrError`] where `app` is so long that no code holds the link; 255 bytes are not.
    pub fn qr(&self, app: &WebAddress) -> Result<QrCode, QrError> {
        QrCode::of(&self.link(app))
    }

    /// Finds the invitation in a text: a link, a bare fragment, or a message with one of them in it, also when a line
    /// break or a space has got into the link.
    ///
    /// # Errors
    /// [`InvitationError`], the most telling one where the text has several near misses.
    pub fn find(text: &str) -> Result<Self, InvitationError> {
        if text.len() > LONGEST_TEXT {
            return Err(InvitationError::TooLong { len: text.len() });
        }
        let mut found: Option<Self> = None;
        let mut miss = InvitationError::Nothing;
        let words: Vec<&str> = text.split_whitespace().collect();
        for start in 0..words.len() {
            match read_from(words.get(start..).unwrap_or_default()) {
                Ok(one) if found.as_ref().is_some_and(|other| *other != one) => return Err(InvitationError::Several),
                Ok(one) => found = Some(one),
                Err(error) if rank(&error) > rank(&miss) => miss = error,
                Err(_) => {}
            }
        }
        found.ok_or(miss)
    }
}

/// How much an error tells somebody who pasted a text.
const fn rank(error: &InvitationError) -> u8 {
    match error {
        InvitationError::Nothing => 0,
        InvitationError::Damaged => 1,
        _ => 2,
    }
}

/// Reads an invitation that begins in the first of these words and may go on in the next few. Whether there is a
/// damaged one is judged by the first word alone: ordinary words in a row look like one as well.
fn read_from(words: &[&str]) -> Result<Invitation, InvitationError> {
    let mut joined = Zeroizing::new(String::new());
    let mut miss = InvitationError::Nothing;
    for (piece, word) in words.iter().take(PIECES).enumerate() {
        joined.push_str(word);
        match read_joined(&joined) {
            Ok(invitation) => return Ok(invitation),
            Err(InvitationError::Damaged) if piece > 0 => {}
            Err(error) if rank(&error) > rank(&miss) => miss = error,
            Err(_) => {}
        }
    }
    Err(miss)
}

/// Reads a link or a bare fragment without spaces. Punctuation around it is the sentence's.
fn read_joined(text: &str) -> Result<Invitation, InvitationError> {
    let (is_link, fragment) = match text.rsplit_once('#') {
        Some((_, fragment)) => (true, fragment),
        None => (false, text),
    };
    let fragment = fragment.trim_matches(|c: char| !is_base64url(c));
    let shortest = if is_link { LOOKS_LIKE_ONE } else { SHORTEST_TEXT };
    if fragment.len() < shortest || !fragment.chars().all(is_base64url) {
        return Err(InvitationError::Nothing);
    }
    let bytes = decode_any(fragment).ok_or(InvitationError::Damaged)?;
    read_bytes(&bytes)
}

const fn is_base64url(c: char) -> bool {
    c.is_ascii_alphanumeric() || matches!(c, '-' | '_')
}

fn check_of(bytes: &[u8]) -> [u8; CHECK] {
    let mut hash = Sha256::new();
    hash.update(CHECK_LABEL);
    hash.update(bytes);
    let [a, b, c, d, ..] = <[u8; 32]>::from(hash.finalize());
    [a, b, c, d]
}

fn read_bytes(bytes: &[u8]) -> Result<Invitation, InvitationError> {
    use InvitationError::{Damaged, Newer, Unknown};
    let (body, check) = bytes.split_last_chunk::<CHECK>().ok_or(Damaged)?;
    if check_of(body) != *check {
        return Err(Damaged);
    }
    let (&[version, document, role, relay_kind], rest) = body.split_first_chunk::<4>().ok_or(Damaged)?;
    if version != VERSION {
        return Err(Newer { found: version });
    }
    let (log, rest) = rest.split_first_chunk::<16>().ok_or(Damaged)?;
    let (share, relay) = rest.split_first_chunk::<32>().ok_or(Damaged)?;
    let document = DocumentKind::from_byte(document).ok_or(Unknown)?;
    let role = Role::from_byte(role).ok_or(Unknown)?;
    let relay = read_relay(relay_kind, relay)?;
    Invitation::new(document, role, relay, LogId::from_bytes(*log), ShareSecret::from_bytes(*share))
}

fn read_relay(kind: u8, bytes: &[u8]) -> Result<Option<WebAddress>, InvitationError> {
    let rest = str::from_utf8(bytes).map_err(|_| InvitationError::Unknown)?;
    match kind {
        0 if rest.is_empty() => Ok(None),
        1 => Ok(Some(WebAddress::from_parts(true, rest)?)),
        2 => Ok(Some(WebAddress::from_parts(false, rest)?)),
        _ => Err(InvitationError::Unknown),
    }
}
