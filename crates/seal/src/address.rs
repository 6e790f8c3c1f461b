//! Web addresses of relays and of the app, as much of them as an invitation needs.

use std::fmt;
use std::str::FromStr;

use thiserror::Error;

/// The longest address taken, in bytes.
const LONGEST: usize = 255;

/// Why a text is no address of a relay or an app.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum AddressError {
    /// Does not begin with `https://` or `http://`.
    #[error("{read:?} is no web address: it has to begin with https:// (or http:// in a network of one's own)")]
    Scheme {
        /// The beginning of what was read.
        read: String,
    },
    /// No host after the scheme.
    #[error("the web address names no host after {scheme}://")]
    Host {
        /// The scheme that was read.
        scheme: &'static str,
    },
    /// What stands after the host's colon is no port.
    #[error("{read:?} is no port: a number from 1 to 65535 would be right")]
    Port {
        /// What was read.
        read: String,
    },
    /// A character that such an address does not have: a space, a letter beyond ASCII, a query, a fragment, a user's
    /// name.
    #[error("a web address here has no {character:?}: scheme, host, port and path are enough")]
    Character {
        /// The first such character.
        character: char,
    },
    /// Longer than 255 bytes.
    #[error("a web address of {len} bytes is too long, {LONGEST} is the most")]
    TooLong {
        /// Its length.
        len: usize,
    },
}

/// A web address without query, fragment or user: `https://host[:port][/path]`. Scheme and host are kept in lower case,
/// and the path as it was given (a slash at its end can matter to the server), but for a lone slash, which says
/// nothing.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct WebAddress {
    secure: bool,
    rest: String,
}

impl WebAddress {
    /// Whether it is `https`: what a device says to an `http` address can be heard by the network in between. The
    /// content of the documents is sealed either way; the tokens are not.
    #[must_use]
    pub const fn is_secure(&self) -> bool {
        self.secure
    }

    /// The address of something below this one: `https://a.example/b` and `v1/logs` are `https://a.example/b/v1/logs`.
    #[must_use]
    pub fn join(&self, below: &str) -> String {
        format!("{}/{}", self.to_string().trim_end_matches('/'), below.trim_start_matches('/'))
    }

    /// Whether there is a path behind the host.
    pub(crate) fn has_path(&self) -> bool {
        self.rest.contains('/')
    }

    /// What follows the `://`.
    pub(crate) fn rest(&self) -> &str {
        &self.rest
    }

    /// The address with this scheme and rest.
    pub(crate) fn from_parts(secure: bool, rest: &str) -> Result<Self, AddressError> {
        if rest.len() > LONGEST {
            return Err(AddressError::TooLong { len: rest.len() });
        }
        let (authority, path) = rest.split_at(rest.find('/').unwrap_or(rest.len()));
        if let Some(character) = authority.chars().find(|&c| !is_host_char(c)) {
            return Err(AddressError::Character { character });
        }
        if let Some(character) = path.chars().find(|&c| !is_path_char(c)) {
            return Err(AddressError::Character { character });
        }
        check_authority(authority, secure)?;
        let path = if path == "/" { "" } else { path };
        Ok(Self { secure, rest: format!("{}{path}", authority.to_ascii_lowercase()) })
    }
}

/// A host, and a port if there is a colon behind it.
fn check_authority(authority: &str, secure: bool) -> Result<(), AddressError> {
    // An IPv6 address has colons of its own, within brackets.
    let after_brackets = authority.rfind(']').map_or(0, |at| at + 1);
    let (host, port) = match authority.get(after_brackets..).and_then(|tail| tail.split_once(':')) {
        Some((more, port)) => (authority.get(..after_brackets + more.len()).unwrap_or_default(), Some(port)),
        None => (authority, None),
    };
    if host.is_empty() {
        return Err(AddressError::Host { scheme: if secure { "https" } else { "http" } });
    }
    match port {
        Some(read) if !is_port(read) => Err(AddressError::Port { read: read.to_owned() }),
        _ => Ok(()),
    }
}

fn is_port(text: &str) -> bool {
    text.bytes().all(|byte| byte.is_ascii_digit()) && text.parse::<u16>().is_ok_and(|port| port != 0)
}

const fn is_host_char(c: char) -> bool {
    c.is_ascii_alphanumeric() || matches!(c, '.' | '-' | '_' | ':' | '[' | ']')
}

const fn is_path_char(c: char) -> bool {
    c.is_ascii_alphanumeric()
        || matches!(c, '/' | '.' | '-' | '_' | '~' | '%' | '+' | ',' | ':' | '@' | '=' | '!' | '$')
}

impl FromStr for WebAddress {
    type Err = AddressError;

    fn from_str(text: &str) -> Result<Self, AddressError> {
        let text = text.trim();
        let after = |scheme: &str| {
            text.get(..scheme.len()).filter(|start| start.eq_ignore_ascii_case(scheme))?;
            text.get(scheme.len()..)
        };
        match (after("https://"), after("http://")) {
            (Some(rest), _) => Self::from_parts(true, rest),
            (None, Some(rest)) => Self::from_parts(false, rest),
            (None, None) => Err(AddressError::Scheme { read: text.chars().take(40).collect() }),
        }
    }
}

impl fmt::Display for WebAddress {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}://{}", if self.secure { "https" } else { "http" }, self.rest)
    }
}
