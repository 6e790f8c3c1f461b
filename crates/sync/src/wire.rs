//! A call to the relay as an HTTP request, and its response as an answer: the relay's protocol as one place knows it.
//!
//! Whoever owns the network sends [`Request`]s and reads [`Response`]s, and knows nothing of what they say.

use base64ct::{Base64UrlUnpadded, Encoding};
use trug_seal::{EntryKind, LogId, WebAddress, Zeroizing};

use crate::message::{Answer, Call, Failure, Keys, Page};
use crate::record::Chain;

/// How a request is made.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Method {
    /// `GET`.
    Get,
    /// `PUT`.
    Put,
    /// `POST`.
    Post,
    /// `DELETE`.
    Delete,
}

impl Method {
    /// Its name.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Get => "GET",
            Self::Put => "PUT",
            Self::Post => "POST",
            Self::Delete => "DELETE",
        }
    }
}

/// A request. It carries a token: nothing here may be logged.
pub struct Request {
    /// How.
    pub method: Method,
    /// The whole address.
    pub url: String,
    /// Header names in lower case, with their values.
    pub headers: Vec<(&'static str, Zeroizing<String>)>,
    /// The body.
    pub body: Option<Vec<u8>>,
}

/// Prints no token.
impl std::fmt::Debug for Request {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{} {} ({} bytes)", self.method.name(), self.url, self.body.as_ref().map_or(0, Vec::len))
    }
}

/// A response.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Response {
    /// The status code.
    pub status: u16,
    /// `Trug-Head`.
    pub head: Option<String>,
    /// `Trug-Chain`.
    pub chain: Option<String>,
    /// `Trug-Chain-At`.
    pub chain_at: Option<String>,
    /// The body.
    pub body: Vec<u8>,
}

/// The names of the headers that a [`Response`] has.
pub const HEAD: &str = "trug-head";
/// See [`HEAD`].
pub const CHAIN: &str = "trug-chain";
/// See [`HEAD`].
pub const CHAIN_AT: &str = "trug-chain-at";

/// The request of a call. `passcode` is what the relay may want of whoever creates a log.
#[must_use]
pub fn request(relay: &WebAddress, keys: &Keys, passcode: Option<&str>, call: &Call) -> Request {
    let log = format!("v1/logs/{}", keys.log);
    let mut headers = vec![("authorization", Zeroizing::new(format!("Bearer {}", keys.bearer().as_str())))];
    let mut plain = |name, value: &str| headers.push((name, Zeroizing::new(value.to_owned())));
    let (method, path, body) = match call {
        Call::Create => {
            plain("content-type", "application/json");
            if let Some(passcode) = passcode {
                plain("trug-passcode", passcode);
            }
            (Method::Put, log, Some(format!("{{\"writer\":\"{}\"}}", keys.writer_hash()).into_bytes()))
        }
        Call::Append(sealed) => {
            plain("content-type", "application/octet-stream");
            (Method::Post, format!("{log}/entries"), Some(sealed.clone()))
        }
        Call::Fetch { after } => (Method::Get, format!("{log}/entries?after={after}"), None),
        Call::Snapshot { through, chain, sealed } => {
            plain("content-type", "application/octet-stream");
            plain(CHAIN, &Base64UrlUnpadded::encode_string(&chain.0));
            (Method::Put, format!("{log}/snapshot?through={through}"), Some(sealed.clone()))
        }
        Call::ReadOnly => {
            plain("content-type", "application/json");
            (Method::Put, format!("{log}/writer"), Some(b"{\"writer\":null}".to_vec()))
        }
        Call::Delete => (Method::Delete, log, None),
    };
    Request { method, url: relay.join(&path), headers, body }
}

/// What a response to a call says.
///
/// # Errors
/// What the relay refused, or [`Failure::Later`] for what makes no sense.
pub fn answer(call: &Call, response: &Response) -> Result<Answer, Failure> {
    match response.status {
        200..=299 => success(call, response).ok_or(Failure::Later),
        401 => Err(Failure::Unauthorized),
        403 => Err(Failure::Forbidden),
        404 => Err(Failure::NotFound),
        409 => Err(Failure::Conflict),
        410 => Err(Failure::Gone),
        412 => Err(Failure::ChainDiffers),
        413 => Err(Failure::TooLarge),
        428 => Err(Failure::NoChain),
        507 => Err(Failure::Full),
        _ => Err(Failure::Later),
    }
}

fn success(call: &Call, response: &Response) -> Option<Answer> {
    match call {
        Call::Append(_) => {
            let seq = seq_of(&response.body)?;
            Some(Answer::Appended { seq, head: head(response)?, chain: chain(response.chain.as_deref())? })
        }
        Call::Fetch { .. } => Some(Answer::Page(Page {
            entries: entries(&response.body)?,
            head: head(response)?,
            chain: chain(response.chain.as_deref())?,
            chain_at: response.chain_at.as_deref().and_then(|text| chain(Some(text))),
        })),
        _ => Some(Answer::Done),
    }
}

fn head(response: &Response) -> Option<u64> {
    response.head.as_deref()?.parse().ok()
}

fn chain(text: Option<&str>) -> Option<Chain> {
    let mut bytes = [0; 32];
    (Base64UrlUnpadded::decode(text?, &mut bytes).ok()?.len() == bytes.len()).then_some(Chain(bytes))
}

/// The number in `{"seq": n}`. Other members may stand beside it.
fn seq_of(body: &[u8]) -> Option<u64> {
    let text = std::str::from_utf8(body).ok()?;
    let (_, rest) = text.split_once("\"seq\"")?;
    let digits = rest.trim_start().strip_prefix(':')?.trim_start();
    let end = digits.find(|letter: char| !letter.is_ascii_digit()).unwrap_or(digits.len());
    digits.get(..end)?.parse().ok()
}

/// The entries of a page: seq u64 BE, kind u8, length u32 BE, bytes; repeated.
fn entries(mut body: &[u8]) -> Option<Vec<(u64, EntryKind, Vec<u8>)>> {
    let mut entries = Vec::new();
    while !body.is_empty() {
        let (seq, rest) = body.split_first_chunk()?;
        let (kind, rest) = rest.split_first()?;
        let (len, rest) = rest.split_first_chunk()?;
        let (sealed, rest) = rest.split_at_checked(usize::try_from(u32::from_be_bytes(*len)).ok()?)?;
        entries.push((u64::from_be_bytes(*seq), EntryKind::from_byte(*kind)?, sealed.to_vec()));
        body = rest;
    }
    Some(entries)
}

/// The live channel's address: `ws://` or `wss://`.
#[must_use]
pub fn live_address(relay: &WebAddress) -> String {
    relay.join("v1/live").replacen("http", "ws", 1)
}

/// What asks the live channel to watch a log. It carries a token: it may not be logged.
#[must_use]
pub fn watch(log: LogId, bearer: &str) -> Zeroizing<String> {
    Zeroizing::new(format!("{{\"watch\":\"{log}\",\"token\":\"{bearer}\"}}"))
}

/// What the live channel says.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Heard {
    /// Where a log's head is.
    Head(LogId, u64),
    /// A log cannot be watched; calls will say why.
    Refused(LogId),
}

/// Reads what the live channel said; `None` for what makes no sense.
#[must_use]
pub fn heard(text: &str) -> Option<Heard> {
    let (_, rest) = text.split_once("\"log\"")?;
    let log = rest.trim_start().strip_prefix(':')?.trim_start().strip_prefix('"')?.split('"').next()?;
    let log: LogId = log.parse().ok()?;
    match text.split_once("\"head\"") {
        Some((_, rest)) => {
            let digits = rest.trim_start().strip_prefix(':')?.trim_start();
            let end = digits.find(|letter: char| !letter.is_ascii_digit()).unwrap_or(digits.len());
            Some(Heard::Head(log, digits.get(..end)?.parse().ok()?))
        }
        None => text.contains("\"error\"").then_some(Heard::Refused(log)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use trug_seal::{DocumentKind, Root};

    fn keys() -> Keys {
        Keys::owner(&Root::from_bytes([7; 32]), DocumentKind::Run)
    }

    fn relay() -> WebAddress {
        "http://shelf.example:8080/a".parse().expect("an address")
    }

    #[test]
    fn calls_become_the_requests_of_the_protocol() {
        let log = keys().log;
        let chain = Chain([1; 32]);
        for (call, method, path) in [
            (Call::Create, Method::Put, String::new()),
            (Call::Append(vec![1]), Method::Post, "/entries".to_owned()),
            (Call::Fetch { after: 7 }, Method::Get, "/entries?after=7".to_owned()),
            (Call::Snapshot { through: 9, chain, sealed: vec![2] }, Method::Put, "/snapshot?through=9".to_owned()),
            (Call::ReadOnly, Method::Put, "/writer".to_owned()),
            (Call::Delete, Method::Delete, String::new()),
        ] {
            let request = request(&relay(), &keys(), None, &call);
            assert_eq!(request.method, method, "{call:?}");
            assert_eq!(request.url, format!("http://shelf.example:8080/a/v1/logs/{log}{path}"), "{call:?}");
            assert!(
                request.headers.iter().any(|(name, value)| *name == "authorization" && value.starts_with("Bearer "))
            );
            assert!(!format!("{request:?}").contains("Bearer"));
        }
        assert_eq!(live_address(&relay()), "ws://shelf.example:8080/a/v1/live");
    }

    #[test]
    fn responses_become_answers() {
        let zero = Base64UrlUnpadded::encode_string(&[0; 32]);
        let with = |status, body: &[u8]| Response {
            status,
            head: Some("3".to_owned()),
            chain: Some(zero.clone()),
            chain_at: None,
            body: body.to_vec(),
        };
        let append = Call::Append(vec![0]);
        let appended = Answer::Appended { seq: 3, head: 3, chain: Chain::START };
        assert_eq!(answer(&append, &with(201, br#"{"seq": 3}"#)), Ok(appended.clone()));
        assert_eq!(answer(&append, &with(200, br#"{"seq":3}"#)), Ok(appended));
        assert_eq!(answer(&append, &with(201, b"no json")), Err(Failure::Later));
        assert_eq!(answer(&append, &with(507, b"")), Err(Failure::Full));
        let page = [&5_u64.to_be_bytes()[..], &[0], &2_u32.to_be_bytes(), b"ab"].concat();
        let fetch = Call::Fetch { after: 4 };
        let Ok(Answer::Page(read)) = answer(&fetch, &with(200, &page)) else { panic!("a page") };
        assert_eq!(read.entries, [(5, EntryKind::Entry, b"ab".to_vec())]);
        for cut in 1..page.len() {
            assert_eq!(answer(&fetch, &with(200, &page[..cut])), Err(Failure::Later), "cut at {cut}");
        }
    }

    #[test]
    fn the_live_channel_is_heard() {
        let log = keys().log;
        assert_eq!(heard(&format!(r#"{{"log":"{log}","head":12}}"#)), Some(Heard::Head(log, 12)));
        assert_eq!(heard(&format!(r#"{{"log": "{log}", "error": "forbidden"}}"#)), Some(Heard::Refused(log)));
        assert_eq!(heard("{}"), None);
        assert_eq!(heard(r#"{"log":"short","head":1}"#), None);
    }
}
