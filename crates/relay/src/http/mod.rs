//! The protocol under `/v1`: what comes in, what goes out, which status means what. It knows no SQL and decides
//! nothing about logs; that is the store's.

mod live;
mod logs;

use std::net::{IpAddr, SocketAddr};
use std::sync::Arc;
use std::time::{Duration, Instant, SystemTime};

use axum::Router;
use axum::body::Body;
use axum::extract::ws::{WebSocketUpgrade, rejection::WebSocketUpgradeRejection};
use axum::extract::{FromRequestParts as _, Request, State};
use axum::http::header::{
    ACCESS_CONTROL_ALLOW_HEADERS, ACCESS_CONTROL_ALLOW_METHODS, ACCESS_CONTROL_ALLOW_ORIGIN,
    ACCESS_CONTROL_EXPOSE_HEADERS, ACCESS_CONTROL_MAX_AGE, AUTHORIZATION, CACHE_CONTROL, CONTENT_TYPE,
};
use axum::http::request::Parts;
use axum::http::{HeaderMap, HeaderValue, Method, StatusCode};
use axum::middleware::{self, Next};
use axum::response::{IntoResponse as _, Response};
use axum::routing::{any, get, post, put};
use tokio::sync::watch;

use crate::addresses::{Addresses, Share};
use crate::body::{Held, InFlight};
use crate::config::Config;
use crate::feed::Feed;
use crate::ids::{LogId, TokenHash};
use crate::metrics::Metrics;
use crate::problem::{Problem, Sort};
use crate::store::Store;

const HEAD: &str = "trug-head";
const CHAIN: &str = "trug-chain";
const CHAIN_AT: &str = "trug-chain-at";
const PASSCODE: &str = "trug-passcode";

/// Whether the relay takes requests.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Phase {
    /// It does.
    Running,
    /// It finishes those in hand.
    Draining,
    /// What is still in hand is let go.
    Over,
}

/// Waits for a phase, or for the end of the relay.
pub(crate) async fn reached(phase: &mut watch::Receiver<Phase>, wanted: Phase) {
    drop(phase.wait_for(|phase| *phase >= wanted).await);
}

/// What every request needs.
pub(crate) struct Shared {
    pub config: Config,
    pub store: Arc<dyn Store>,
    pub feed: Arc<Feed>,
    pub addresses: Addresses,
    pub metrics: Metrics,
    pub in_flight: InFlight,
    pub phase: watch::Receiver<Phase>,
}

impl AsRef<Metrics> for Arc<Shared> {
    fn as_ref(&self) -> &Metrics {
        &self.metrics
    }
}

/// Whom a connection is with; the server puts it into every request.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Peer(pub SocketAddr);

/// Whoever asks, proxies taken into account.
#[derive(Debug, Clone, Copy)]
struct Client(IpAddr);

type Answer = Result<Response, Problem>;
type Relayed = State<Arc<Shared>>;

/// Everything the relay answers to, and behind it the app's own places, if there are any.
pub(crate) fn router(shared: Arc<Shared>, app: Option<Router>) -> Router {
    let protocol = Router::new()
        .route("/v1/logs/{log}", put(logs::create).delete(logs::delete).fallback(|| not_with("PUT, DELETE")))
        .route("/v1/logs/{log}/entries", post(logs::append).get(logs::read).fallback(|| not_with("GET, POST")))
        .route("/v1/logs/{log}/snapshot", put(logs::snapshot).fallback(|| not_with("PUT")))
        .route("/v1/logs/{log}/writer", put(logs::set_writer).fallback(|| not_with("PUT")))
        .route("/v1/live", get(watch_logs).fallback(|| not_with("GET")))
        .route("/v1/problems/{name}", get(explain).fallback(|| not_with("GET")))
        .route("/v1", any(nothing))
        .route("/v1/", any(nothing))
        .route("/v1/{*rest}", any(nothing))
        .layer(middleware::from_fn_with_state(Arc::clone(&shared), gate))
        .route("/healthz", get(|| async { ([(CACHE_CONTROL, "no-store")], "ok\n") }))
        .route("/metrics", get(metrics))
        .with_state(shared);
    match app {
        Some(app) => protocol.fallback_service(app),
        None => protocol.fallback(nothing),
    }
}

async fn nothing() -> Problem {
    Problem::new(Sort::NotFound, "there is no such place")
}

async fn not_with(methods: &'static str) -> Problem {
    Problem::allow(methods)
}

async fn explain(request: Request) -> Answer {
    let name = request.uri().path().rsplit('/').next().unwrap_or_default();
    Problem::explained(name)
        .map(|text| text.into_response())
        .ok_or_else(|| Problem::new(Sort::NotFound, "no such problem"))
}

async fn metrics(State(shared): Relayed) -> Response {
    ([(CONTENT_TYPE, "text/plain; version=0.0.4")], shared.metrics.page()).into_response()
}

async fn watch_logs(State(shared): Relayed, request: Request) -> Answer {
    let (mut parts, _) = request.into_parts();
    let client = client_of(&shared, &parts);
    let upgrade = WebSocketUpgrade::from_request_parts(&mut parts, &shared).await.map_err(|rejection| {
        let sort = match &rejection {
            WebSocketUpgradeRejection::InvalidConnectionHeader(_)
            | WebSocketUpgradeRejection::InvalidUpgradeHeader(_)
            | WebSocketUpgradeRejection::ConnectionNotUpgradable(_) => Sort::UpgradeRequired,
            _ => Sort::Malformed,
        };
        Problem::new(sort, rejection.to_string())
    })?;
    // Buffers are kept small: ten thousand sockets mostly wait.
    Ok(upgrade
        .read_buffer_size(live::MESSAGE_BYTES)
        .write_buffer_size(0)
        .max_write_buffer_size(64 * 1024)
        .max_message_size(live::MESSAGE_BYTES)
        .max_frame_size(live::MESSAGE_BYTES)
        .on_upgrade(move |socket| live::serve(shared, client, socket)))
}

fn client_of(shared: &Shared, parts: &Parts) -> IpAddr {
    match (parts.extensions.get::<Client>(), parts.extensions.get::<Peer>()) {
        (Some(client), _) => client.0,
        (None, Some(peer)) => shared.addresses.client(peer.0.ip(), &parts.headers),
        // Without the relay's own server nothing is known; such a caller counts as one.
        (None, None) => IpAddr::from([0, 0, 0, 0]),
    }
}

/// What every request under `/v1` goes through: the address's share, the rest of a refused body, the headers for
/// apps served from elsewhere, the log line and the counters.
async fn gate(State(shared): Relayed, request: Request, next: Next) -> Response {
    let start = Instant::now();
    let (method, route) = (name_of(request.method()), route_of(request.uri().path()));
    let mut response = if request.method() == Method::OPTIONS {
        StatusCode::NO_CONTENT.into_response()
    } else {
        pass(&shared, request, next).await
    };
    dress(response.headers_mut(), method == "OPTIONS");
    let took = start.elapsed();
    let status = response.status().as_u16();
    shared.metrics.request(route, method, status, took);
    let problem = response.extensions().get::<Sort>().map(|sort| sort.name());
    if response.status() == StatusCode::SERVICE_UNAVAILABLE {
        shared.metrics.unavailable.add(1);
    }
    let millis = took.as_secs_f64() * 1e3;
    tracing::info!(target: "trug_relay::request", method, route, status, millis, problem, "answered");
    response
}

async fn pass(shared: &Arc<Shared>, request: Request, next: Next) -> Response {
    let (mut parts, body) = request.into_parts();
    let client = client_of(shared, &parts);
    if let Err(wait) = shared.addresses.take(client, Share::Requests, Instant::now()) {
        shared.metrics.turned_away.add(1);
        return Problem::new(Sort::TooMany, "too many requests from this address").retry_after(wait).into_response();
    }
    parts.extensions.insert(Client(client));
    let (body, rest) = Held::split(body);
    let response = next.run(Request::from_parts(parts, body)).await;
    if response.status().is_client_error() || response.status().is_server_error() {
        rest.drain().await;
    }
    response
}

/// The headers that let an app from any place read the answers. There are no cookies here: a token is what counts.
fn dress(headers: &mut HeaderMap, preflight: bool) {
    headers.insert(ACCESS_CONTROL_ALLOW_ORIGIN, HeaderValue::from_static("*"));
    headers.insert(
        ACCESS_CONTROL_EXPOSE_HEADERS,
        HeaderValue::from_static("Trug-Head, Trug-Chain, Trug-Chain-At, Retry-After, WWW-Authenticate"),
    );
    headers.insert(CACHE_CONTROL, HeaderValue::from_static("no-store"));
    if preflight {
        let methods = HeaderValue::from_static("GET, HEAD, POST, PUT, DELETE");
        let allowed = HeaderValue::from_static("Authorization, Content-Type, Trug-Chain, Trug-Passcode");
        headers.insert(ACCESS_CONTROL_ALLOW_METHODS, methods);
        headers.insert(ACCESS_CONTROL_ALLOW_HEADERS, allowed);
        headers.insert(ACCESS_CONTROL_MAX_AGE, HeaderValue::from_static("86400"));
    }
}

fn name_of(method: &Method) -> &'static str {
    const NAMES: [&str; 6] = ["GET", "HEAD", "POST", "PUT", "DELETE", "OPTIONS"];
    NAMES.into_iter().find(|name| *name == method.as_str()).unwrap_or("other")
}

/// A path without its ids, for counters and log lines.
fn route_of(path: &str) -> &'static str {
    let mut parts = path.trim_start_matches('/').split('/').skip(1);
    match (parts.next(), parts.next(), parts.next(), parts.next()) {
        (Some("logs"), Some(_), None, _) => "/v1/logs/{log}",
        (Some("logs"), Some(_), Some("entries"), None) => "/v1/logs/{log}/entries",
        (Some("logs"), Some(_), Some("snapshot"), None) => "/v1/logs/{log}/snapshot",
        (Some("logs"), Some(_), Some("writer"), None) => "/v1/logs/{log}/writer",
        (Some("live"), None, ..) => "/v1/live",
        (Some("problems"), Some(_), None, _) => "/v1/problems/{name}",
        _ => "other",
    }
}

/// The log a path names.
fn log_of(parts: &Parts) -> Result<LogId, Problem> {
    let id = parts.uri.path().split('/').nth(3).unwrap_or_default();
    LogId::parse(id).ok_or_else(|| Problem::malformed("a log id is 16 bytes in base64url without padding, 22 letters"))
}

/// The bearer token, hashed at once.
fn bearer(headers: &HeaderMap) -> Result<TokenHash, Problem> {
    let header =
        headers.get(AUTHORIZATION).ok_or_else(|| Problem::new(Sort::Unauthorized, "a bearer token is needed"))?;
    let token = header.to_str().ok().and_then(|header| header.split_once(' '));
    token
        .filter(|(scheme, _)| scheme.eq_ignore_ascii_case("bearer"))
        .and_then(|(_, token)| TokenHash::of_text(token.trim()))
        .ok_or_else(|| Problem::new(Sort::Unauthorized, "a token is 32 bytes in base64url without padding, 43 letters"))
}

/// A number in the query. Nothing else is ever in one, so nothing needs decoding.
fn number(parts: &Parts, name: &str) -> Result<Option<u64>, Problem> {
    let pairs = parts.uri.query().unwrap_or_default().split('&').map(|pair| pair.split_once('=').unwrap_or((pair, "")));
    let Some((_, value)) = pairs.into_iter().find(|(key, _)| *key == name) else { return Ok(None) };
    let digits = !value.is_empty() && value.bytes().all(|byte| byte.is_ascii_digit());
    value
        .parse()
        .ok()
        .filter(|_| digits)
        .map(Some)
        .ok_or_else(|| Problem::malformed(format!("{name} is a whole number, 0 or more")))
}

fn now() -> u64 {
    SystemTime::now().duration_since(SystemTime::UNIX_EPOCH).map_or(0, |since| since.as_secs())
}

/// Reads a body of at most so many bytes.
async fn take(shared: &Shared, headers: &HeaderMap, body: Body, most: u64) -> Result<crate::body::Taken, Problem> {
    let within = Duration::from_secs(shared.config.limits.body_seconds);
    crate::body::read(headers, body, most, within, &shared.in_flight).await
}
