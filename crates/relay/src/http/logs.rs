//! The calls on a log.

use std::sync::Arc;

use axum::body::Body;
use axum::extract::{Request, State};
use axum::http::header::CONTENT_TYPE;
use axum::http::{HeaderMap, HeaderValue, StatusCode};
use axum::response::{IntoResponse as _, Response};
use bytes::{BufMut as _, Bytes, BytesMut};
use futures_util::stream;
use serde_json::{Value, json};

use super::{Answer, CHAIN, CHAIN_AT, HEAD, PASSCODE, Relayed, Shared, bearer, client_of, log_of, now, number, take};
use crate::addresses::Share;
use crate::body::{self, announced};
use crate::ids::{Chain, LogId, TokenHash};
use crate::problem::{Problem, Sort};
use crate::store::{Created, Head, Page, Record, Refusal, Role, Span, StoreError};

/// Bytes of a JSON body at most.
const JSON_BYTES: u64 = 4096;
/// A body up to this length is read before the token is looked up: the append looks it up anyway.
const SMALL_BODY: u64 = 64 * 1024;
/// Sealed bytes read from the store at once; a longer page is read piece by piece, as fast as the client takes it.
const PIECE_BYTES: u64 = 256 * 1024;

/// `PUT /logs/{log}`
pub(super) async fn create(State(shared): Relayed, request: Request) -> Answer {
    let (parts, body) = request.into_parts();
    let (log, owner) = (log_of(&parts)?, bearer(&parts.headers)?);
    let json = take(&shared, &parts.headers, body, JSON_BYTES).await?;
    let writer = match writer_in(&json.bytes)? {
        Some(writer) => writer,
        None => return Err(Problem::malformed("a new log needs its writer's hash")),
    };
    let created = match shared.store.owned(log, owner).await? {
        Some(created) => created,
        None => {
            may_create(&shared, &parts)?;
            shared.store.create(log, owner, writer, now()).await?
        }
    };
    match created {
        Created::New => Ok(StatusCode::CREATED.into_response()),
        Created::Mine => Ok(StatusCode::OK.into_response()),
        Created::NotMine => Err(Problem::new(Sort::NotYours, "a log of this id was made under another owner token")),
    }
}

/// Whether this client may make a log. A wrong passcode counts as one made, so that guessing is slow.
fn may_create(shared: &Shared, parts: &axum::http::request::Parts) -> Result<(), Problem> {
    let client = client_of(shared, parts);
    if let Err(wait) = shared.addresses.take(client, Share::Logs, std::time::Instant::now()) {
        shared.metrics.turned_away.add(1);
        return Err(Problem::new(Sort::TooMany, "too many logs made from this address").retry_after(wait));
    }
    let Some(passcode) = &shared.config.passcode else { return Ok(()) };
    let given = parts.headers.get(PASSCODE).and_then(|header| std::str::from_utf8(header.as_bytes()).ok());
    match given {
        Some(given) if passcode.matches(given) => Ok(()),
        Some(_) => Err(Problem::new(Sort::Passcode, "this is not the relay's passcode")),
        None => Err(Problem::new(Sort::Passcode, "this relay asks for a passcode in the header Trug-Passcode")),
    }
}

/// Reads `{"writer": hash}`, `{"writer": null}` or `null`.
fn writer_in(json: &[u8]) -> Result<Option<TokenHash>, Problem> {
    let expected = "the body is {\"writer\": base64url(SHA-256(the 32 bytes of the writer token))}";
    match serde_json::from_slice(json) {
        Ok(Value::Null) => Ok(None),
        Ok(Value::Object(object)) => match object.get("writer") {
            Some(Value::Null) => Ok(None),
            Some(Value::String(hash)) => TokenHash::parse(hash).map(Some).ok_or_else(|| Problem::malformed(expected)),
            _ => Err(Problem::malformed(expected)),
        },
        _ => Err(Problem::malformed(expected)),
    }
}

/// `DELETE /logs/{log}`
pub(super) async fn delete(State(shared): Relayed, request: Request) -> Answer {
    let (parts, _) = request.into_parts();
    shared.store.delete(log_of(&parts)?, bearer(&parts.headers)?).await?;
    Ok(StatusCode::NO_CONTENT.into_response())
}

/// `PUT /logs/{log}/writer`
pub(super) async fn set_writer(State(shared): Relayed, request: Request) -> Answer {
    let (parts, body) = request.into_parts();
    let (log, token) = (log_of(&parts)?, bearer(&parts.headers)?);
    // Before the body: a wrong token is said to be that, whatever the body holds.
    owner_only(&shared, log, token).await?;
    let json = take(&shared, &parts.headers, body, JSON_BYTES).await?;
    shared.store.set_writer(log, token, writer_in(&json.bytes)?).await?;
    Ok(StatusCode::NO_CONTENT.into_response())
}

async fn owner_only(shared: &Shared, log: LogId, token: TokenHash) -> Result<(), Problem> {
    match shared.store.look(log, token).await? {
        (Role::Owner, _) => Ok(()),
        _ => Err(Refusal::OwnerOnly.into()),
    }
}

/// `POST /logs/{log}/entries`
pub(super) async fn append(State(shared): Relayed, request: Request) -> Answer {
    let (parts, body) = request.into_parts();
    let (log, token) = (log_of(&parts)?, bearer(&parts.headers)?);
    if announced(&parts.headers).is_none_or(|length| length > SMALL_BODY) {
        shared.store.look(log, token).await?;
    }
    let taken = take(&shared, &parts.headers, body, shared.config.limits.entry_bytes).await?;
    not_empty(&taken)?;
    let appended = shared.store.append(log, token, taken.bytes.clone()).await?;
    let status = if appended.new {
        shared.metrics.appended.add(1);
        shared.metrics.bytes_in.add(taken.bytes.len() as u64);
        StatusCode::CREATED
    } else {
        shared.metrics.repeated.add(1);
        StatusCode::OK
    };
    Ok(with_head((status, axum_json(&json!({ "seq": appended.seq }))).into_response(), &appended.head))
}

fn not_empty(taken: &body::Taken) -> Result<(), Problem> {
    if taken.bytes.is_empty() {
        return Err(Problem::malformed("the body is the sealed bytes, 1 at least"));
    }
    Ok(())
}

fn axum_json(value: &Value) -> ([(axum::http::HeaderName, &'static str); 1], String) {
    ([(CONTENT_TYPE, "application/json")], value.to_string())
}

fn with_head(mut response: Response, head: &Head) -> Response {
    let headers = response.headers_mut();
    headers.insert(HEAD, HeaderValue::from(head.seq));
    insert_chain(headers, CHAIN, &head.chain);
    response
}

fn insert_chain(headers: &mut HeaderMap, name: &'static str, chain: &Chain) {
    if let Ok(value) = HeaderValue::from_str(&chain.to_string()) {
        headers.insert(name, value);
    }
}

/// `PUT /logs/{log}/snapshot?through=n`
pub(super) async fn snapshot(State(shared): Relayed, request: Request) -> Answer {
    let (parts, body) = request.into_parts();
    let (log, token) = (log_of(&parts)?, bearer(&parts.headers)?);
    owner_only(&shared, log, token).await?;
    let chain = parts.headers.get(CHAIN).ok_or_else(|| {
        Problem::new(Sort::ChainRequired, "send the chain at the snapshot's number in the header Trug-Chain")
    })?;
    let chain = chain.to_str().ok().and_then(Chain::parse);
    let chain =
        chain.ok_or_else(|| Problem::malformed("a chain is 32 bytes in base64url without padding, 43 letters"))?;
    let through = number(&parts, "through")?.ok_or_else(|| Problem::malformed("through=n is needed in the query"))?;
    let taken = take(&shared, &parts.headers, body, shared.config.limits.snapshot_bytes).await?;
    not_empty(&taken)?;
    let head = shared.store.snapshot(log, token, through, chain, taken.bytes.clone(), now()).await?;
    shared.metrics.snapshots.add(1);
    shared.metrics.bytes_in.add(taken.bytes.len() as u64);
    Ok(with_head(axum_json(&json!({ "seq": through })).into_response(), &head))
}

/// `GET /logs/{log}/entries?after=n&limit=m`
pub(super) async fn read(State(shared): Relayed, request: Request) -> Answer {
    let (parts, _) = request.into_parts();
    let (log, token) = (log_of(&parts)?, bearer(&parts.headers)?);
    let after = number(&parts, "after")?.unwrap_or(0);
    let most = shared.config.limits.page_entries;
    let limit = match number(&parts, "limit")? {
        Some(0) => return Err(Problem::malformed("limit is a whole number, 1 or more")),
        limit => limit.unwrap_or(most).min(most),
    };
    let bytes = shared.config.limits.page_bytes;
    let first = Span { after, limit, bytes: bytes.min(PIECE_BYTES) };
    let page = shared.store.read(log, token, first).await?;
    let (head, chain_at) = (page.head, page.chain_at);
    let rest = Rest { log, token, head: head.seq, left: Some(Span { after, limit, bytes }) };
    let mut response = Response::new(pieces(shared, rest, page));
    response.headers_mut().insert(CONTENT_TYPE, HeaderValue::from_static("application/octet-stream"));
    if let Some(chain) = chain_at {
        insert_chain(response.headers_mut(), CHAIN_AT, &chain);
    }
    Ok(with_head(response, &head))
}

/// What is still to be sent of a page.
struct Rest {
    log: LogId,
    token: TokenHash,
    /// The head that the answer's headers name; nothing above it is sent.
    head: u64,
    left: Option<Span>,
}

impl Rest {
    /// Takes from a piece what still belongs to the page, and notes what is left.
    fn keep(&mut self, mut records: Vec<Record>, first: bool) -> Vec<Record> {
        let Some(span) = self.left.take() else { return Vec::new() };
        let mut bytes = 0u64;
        let kept = records.iter().enumerate().take_while(|(index, record)| {
            bytes = bytes.saturating_add(record.sealed.len() as u64);
            record.seq <= self.head && (bytes <= span.bytes || (first && *index == 0))
        });
        let kept = kept.count();
        let whole = kept == records.len();
        records.truncate(kept);
        let sent: u64 = records.iter().map(|record| record.sealed.len() as u64).sum();
        if let Some(last) = records.last() {
            let limit = span.limit.saturating_sub(kept as u64);
            let left = Span { after: last.seq, limit, bytes: span.bytes.saturating_sub(sent) };
            self.left = (whole && last.seq < self.head && left.limit > 0 && left.bytes > 0).then_some(left);
        }
        records
    }
}

fn pieces(shared: Arc<Shared>, mut rest: Rest, page: Page) -> Body {
    let first = encode(&shared, &rest.keep(page.records, true));
    if rest.left.is_none() {
        return Body::from(first);
    }
    let later = stream::try_unfold((shared, rest), |(shared, mut rest)| async move {
        let Some(span) = rest.left else { return Ok(None) };
        let piece = Span { bytes: span.bytes.min(PIECE_BYTES), ..span };
        match shared.store.read(rest.log, rest.token, piece).await {
            Ok(page) => {
                let records = rest.keep(page.records, false);
                let bytes = encode(&shared, &records);
                Ok((!records.is_empty()).then_some((bytes, (shared, rest))))
            }
            // Withdrawn or deleted meanwhile: the page is shorter, and the next request says why.
            Err(StoreError::Refused(_)) => Ok(None),
            // The connection breaks off, so that the client does not take the page for whole.
            Err(error) => Err(error),
        }
    });
    let first = stream::once(async { Ok::<Bytes, StoreError>(first) });
    Body::from_stream(futures_util::StreamExt::chain(first, later))
}

/// Records as they go over the wire: number (u64, big-endian), kind (u8), length (u32, big-endian), bytes.
fn encode(shared: &Shared, records: &[Record]) -> Bytes {
    let length = records.iter().map(|record| 13 + record.sealed.len()).sum();
    let mut bytes = BytesMut::with_capacity(length);
    for record in records {
        bytes.put_u64(record.seq);
        bytes.put_u8(record.kind as u8);
        // A body is never longer than the limits allow, which is far below 4 GiB.
        bytes.put_u32(u32::try_from(record.sealed.len()).unwrap_or(u32::MAX));
        bytes.put_slice(&record.sealed);
        shared.metrics.bytes_out.add(record.sealed.len() as u64);
    }
    bytes.freeze()
}
