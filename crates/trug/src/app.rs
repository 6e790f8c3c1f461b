//! The phone app as `trug serve` sends it: the files that the build put into this binary, with the headers that make
//! them quick, and the ones that keep strangers' code out.
//!
//! Whatever is not a file and looks like a page is answered with the app's one page, which finds its own way; so a
//! link into the app works from anywhere.

use std::collections::HashMap;
use std::fmt::Write as _;
use std::str::FromStr;
use std::sync::Arc;

use axum::Router;
use axum::body::{Body, Bytes};
use axum::extract::{Request, State};
use axum::http::header::{
    ACCEPT, ACCEPT_ENCODING, ALLOW, CACHE_CONTROL, CONTENT_ENCODING, CONTENT_LENGTH, CONTENT_SECURITY_POLICY,
    CONTENT_TYPE, ETAG, HOST, HeaderName, IF_NONE_MATCH, LOCATION, REFERRER_POLICY, VARY, X_CONTENT_TYPE_OPTIONS,
};
use axum::http::{HeaderMap, HeaderValue, Method, StatusCode};
use axum::response::{IntoResponse as _, Response};

/// One file of the app.
#[derive(Debug, Clone, Copy)]
struct File {
    /// From the app's root, without a leading slash.
    path: &'static str,
    /// Its media type.
    kind: &'static str,
    /// Changes whenever the file does.
    tag: &'static str,
    /// Whether the name changes with the file, so that a copy is good for ever.
    forever: bool,
    plain: &'static [u8],
    brotli: Option<&'static [u8]>,
    gzip: Option<&'static [u8]>,
}

/// What the build put in; see `build.rs`.
static FILES: &[File] = include!(concat!(env!("OUT_DIR"), "/app_files.rs"));

const PAGE: &str = "index.html";
const SECONDS_FOR_EVER: &str = "public, max-age=31536000, immutable";

/// Where an app may send its requests to besides the place it came from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Origin {
    secure: bool,
    authority: String,
}

/// What is not an origin.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("read `{0}`, expected an origin such as https://relay.example or https://relay.example:8443")]
pub struct OriginError(String);

impl FromStr for Origin {
    type Err = OriginError;

    fn from_str(text: &str) -> Result<Self, OriginError> {
        let rest = |scheme: &str| text.strip_prefix(scheme).map(|rest| rest.strip_suffix('/').unwrap_or(rest));
        let (secure, authority) = match (rest("https://"), rest("http://")) {
            (Some(authority), _) => (true, authority),
            (None, Some(authority)) => (false, authority),
            (None, None) => return Err(OriginError(text.to_owned())),
        };
        if !is_authority(authority) {
            return Err(OriginError(text.to_owned()));
        }
        Ok(Self { secure, authority: authority.to_owned() })
    }
}

/// A host with or without a port and nothing else. What is asked of us ends up in a header of the answer, so only the
/// letters of hosts get through.
fn is_authority(text: &str) -> bool {
    let (host, port) = match text.rsplit_once(':') {
        Some((host, port)) if !port.ends_with(']') => (host, Some(port)),
        _ => (text, None),
    };
    let is_name = |name: &str| {
        !name.is_empty() && name.bytes().all(|byte| byte.is_ascii_alphanumeric() || matches!(byte, b'.' | b'-' | b'_'))
    };
    let is_v6 = |text: &str| !text.is_empty() && text.bytes().all(|byte| byte.is_ascii_hexdigit() || byte == b':');
    let in_brackets = host.strip_prefix('[').and_then(|host| host.strip_suffix(']'));
    let is_port = |port: &str| !port.is_empty() && port.parse::<u16>().is_ok();
    in_brackets.map_or_else(|| is_name(host), is_v6) && port.is_none_or(is_port) && text.len() <= 260
}

/// The app, ready to be asked.
#[derive(Debug)]
struct App {
    files: HashMap<&'static str, File>,
    relays: Vec<Origin>,
}

/// Serves the app that this binary carries, if it carries one. `relays` are the places besides its own that it may
/// connect to.
#[must_use]
pub fn router(relays: &[Origin]) -> Option<Router> {
    router_of(FILES, relays)
}

fn router_of(files: &[File], relays: &[Origin]) -> Option<Router> {
    let files: HashMap<_, _> = files.iter().map(|file| (file.path, *file)).collect();
    files.contains_key(PAGE).then(|| {
        let app = App { files, relays: relays.to_vec() };
        Router::new().fallback(answer).with_state(Arc::new(app))
    })
}

async fn answer(State(app): State<Arc<App>>, request: Request) -> Response {
    let (parts, _) = request.into_parts();
    let mut response = match parts.method {
        Method::GET | Method::HEAD => app.find(parts.uri.path(), &parts.headers),
        _ => (StatusCode::METHOD_NOT_ALLOWED, [(ALLOW, "GET, HEAD")], "only GET and HEAD do here\n").into_response(),
    };
    protect(response.headers_mut(), app.policy(&parts.headers));
    if parts.method == Method::HEAD {
        // The length is in the headers already; it stays that of the file.
        *response.body_mut() = Body::empty();
    }
    response
}

impl App {
    fn find(&self, path: &str, headers: &HeaderMap) -> Response {
        let path = path.strip_prefix('/').unwrap_or(path);
        if let Some(file) = self.files.get(if path.is_empty() { PAGE } else { path }) {
            return send(file, headers);
        }
        let page = self.files.get(PAGE).filter(|_| is_page(path, headers));
        match page {
            // The page names its parts from the root of the app; below a folder it would look for them in vain.
            Some(_) if path.contains('/') => {
                (StatusCode::TEMPORARY_REDIRECT, [(LOCATION, "/"), (CACHE_CONTROL, "no-cache")]).into_response()
            }
            Some(page) => send(page, headers),
            None => (StatusCode::NOT_FOUND, [(CACHE_CONTROL, "no-cache")], "there is no such place\n").into_response(),
        }
    }

    /// What the page may do: run our own files, and talk to its own relay and to the ones that were named.
    fn policy(&self, headers: &HeaderMap) -> String {
        let mut connect = String::from("'self'");
        // WebKit did not always count sockets of the same host as 'self', so they are named.
        let host = headers.get(HOST).and_then(|host| host.to_str().ok()).filter(|host| is_authority(host));
        if let Some(host) = host {
            let _ = write!(connect, " ws://{host} wss://{host}");
        }
        for Origin { secure, authority } in &self.relays {
            let s = if *secure { "s" } else { "" };
            let _ = write!(connect, " http{s}://{authority} ws{s}://{authority}");
        }
        format!(
            "default-src 'none'; script-src 'self' 'wasm-unsafe-eval'; style-src 'self'; img-src 'self' data: blob:; \
             media-src 'self' blob:; connect-src {connect}; manifest-src 'self'; worker-src 'self'; base-uri 'none'; \
             form-action 'none'; frame-ancestors 'none'"
        )
    }
}

/// Somebody's browser asks for a page, and not for a file that is not there.
fn is_page(path: &str, headers: &HeaderMap) -> bool {
    let accept = headers.get(ACCEPT).and_then(|accept| accept.to_str().ok()).unwrap_or_default();
    accept.contains("text/html") && !path.contains(['.', '%', '\\'])
}

fn protect(headers: &mut HeaderMap, policy: String) {
    if let Ok(policy) = HeaderValue::try_from(policy) {
        headers.insert(CONTENT_SECURITY_POLICY, policy);
    }
    let fixed = [
        (X_CONTENT_TYPE_OPTIONS, "nosniff"),
        (REFERRER_POLICY, "no-referrer"),
        (HeaderName::from_static("permissions-policy"), "camera=(self)"),
        (HeaderName::from_static("cross-origin-opener-policy"), "same-origin"),
    ];
    headers.extend(fixed.map(|(name, value)| (name, HeaderValue::from_static(value))));
}

/// The file in the smallest form that was asked for, or the word that the copy over there is still good.
fn send(file: &File, headers: &HeaderMap) -> Response {
    let (encoding, bytes) = form(file, headers);
    let tag = encoding.map_or_else(|| format!("\"{}\"", file.tag), |encoding| format!("\"{}-{encoding}\"", file.tag));
    let cache = if file.forever { SECONDS_FOR_EVER } else { "no-cache" };
    let known = is_known(&tag, headers);
    let common = [(ETAG, tag), (CACHE_CONTROL, cache.to_owned()), (VARY, "Accept-Encoding".to_owned())];
    if known {
        return (StatusCode::NOT_MODIFIED, common).into_response();
    }
    let own = [(CONTENT_TYPE, file.kind.to_owned()), (CONTENT_LENGTH, bytes.len().to_string())];
    let mut response = (common, own, Bytes::from_static(bytes)).into_response();
    if let Some(encoding) = encoding {
        response.headers_mut().insert(CONTENT_ENCODING, HeaderValue::from_static(encoding));
    }
    response
}

/// The form to send. Ours are made once and well, so the smallest that is accepted at all is taken, whatever its
/// weight beside the others.
fn form(file: &File, headers: &HeaderMap) -> (Option<&'static str>, &'static [u8]) {
    let packed = [("br", file.brotli), ("gzip", file.gzip)];
    let accepted = |encoding: &str| headers.get_all(ACCEPT_ENCODING).iter().any(|value| accepts(value, encoding));
    let found =
        packed.into_iter().find_map(|(encoding, bytes)| Some((encoding, bytes?)).filter(|_| accepted(encoding)));
    found.map_or((None, file.plain), |(encoding, bytes)| (Some(encoding), bytes))
}

/// Whether a list such as `gzip, br;q=0.9` names the encoding and does not weigh it nothing.
fn accepts(list: &HeaderValue, encoding: &str) -> bool {
    let Ok(list) = list.to_str() else { return false };
    list.split(',').any(|item| {
        let mut parts = item.split(';').map(str::trim);
        let named = parts.next().is_some_and(|name| name.eq_ignore_ascii_case(encoding));
        let weight = parts.find_map(|part| part.strip_prefix("q=").or_else(|| part.strip_prefix("Q=")));
        named && weight.is_none_or(|weight| weight.parse::<f32>().is_ok_and(|weight| weight > 0.0))
    })
}

/// Whether the asker says to have this very file; weak tags count, as the standard has it for reading.
fn is_known(tag: &str, headers: &HeaderMap) -> bool {
    let lists = headers.get_all(IF_NONE_MATCH).iter().filter_map(|list| list.to_str().ok());
    lists.flat_map(|list| list.split(',')).any(|item| {
        let item = item.trim();
        item == "*" || item.strip_prefix("W/").unwrap_or(item) == tag
    })
}

#[cfg(test)]
mod tests {
    use http_body_util::BodyExt as _;
    use tower::ServiceExt as _;

    use super::*;

    const TEST_FILES: [File; 4] = [
        File {
            path: "index.html",
            kind: "text/html; charset=utf-8",
            tag: "page",
            forever: false,
            plain: b"<!doctype html>",
            brotli: Some(b"page in br"),
            gzip: Some(b"page in gz"),
        },
        File {
            path: "app.0123456789abcdef.wasm",
            kind: "application/wasm",
            tag: "wasm",
            forever: true,
            plain: b"\0asm",
            brotli: Some(b"wasm in br"),
            gzip: None,
        },
        File {
            path: "manifest.webmanifest",
            kind: "application/manifest+json",
            tag: "manifest",
            forever: false,
            plain: b"{}",
            brotli: None,
            gzip: None,
        },
        File {
            path: "icons/basket.0123456789abcdef.png",
            kind: "image/png",
            tag: "icon",
            forever: true,
            plain: b"png",
            brotli: None,
            gzip: None,
        },
    ];

    struct Answer {
        status: u16,
        headers: HeaderMap,
        body: String,
    }

    impl Answer {
        fn header(&self, name: &str) -> &str {
            self.headers.get(name).and_then(|value| value.to_str().ok()).unwrap_or_default()
        }
    }

    async fn ask(call: &str, headers: &[(&str, &str)]) -> Answer {
        let (method, path) = call.split_once(' ').unwrap();
        let mut request = Request::builder().method(method).uri(path);
        for (name, value) in headers {
            request = request.header(*name, *value);
        }
        let relays = ["https://relay.example".parse().unwrap(), "http://10.0.0.7:8080".parse().unwrap()];
        let router = router_of(&TEST_FILES, &relays).unwrap();
        let response = router.oneshot(request.body(Body::empty()).unwrap()).await.unwrap();
        let (parts, body) = response.into_parts();
        let body = String::from_utf8_lossy(&body.collect().await.unwrap().to_bytes()).into_owned();
        Answer { status: parts.status.as_u16(), headers: parts.headers, body }
    }

    const HTML: (&str, &str) = ("accept", "text/html,application/xhtml+xml,*/*;q=0.8");

    #[tokio::test]
    async fn files_come_in_the_smallest_form_asked_for() {
        let cases = [
            ("GET /", "", "", "<!doctype html>", "\"page\""),
            ("GET /", "gzip, deflate, br, zstd", "br", "page in br", "\"page-br\""),
            ("GET /index.html", "gzip", "gzip", "page in gz", "\"page-gzip\""),
            ("GET /?at=shop", "br;q=0, GZIP;q=0.5", "gzip", "page in gz", "\"page-gzip\""),
            ("GET /", "br;q=0.0, identity", "", "<!doctype html>", "\"page\""),
            ("GET /", "brr, xbr", "", "<!doctype html>", "\"page\""),
            ("GET /app.0123456789abcdef.wasm", "gzip", "", "\0asm", "\"wasm\""),
            ("GET /manifest.webmanifest", "br, gzip", "", "{}", "\"manifest\""),
        ];
        for (call, accepted, encoding, body, tag) in cases {
            let answer = ask(call, &[("accept-encoding", accepted)]).await;
            assert_eq!((answer.status, answer.body.as_str()), (200, body), "{call} {accepted}");
            assert_eq!(answer.header("content-encoding"), encoding, "{call} {accepted}");
            assert_eq!(answer.header("content-length"), body.len().to_string(), "{call} {accepted}");
            assert_eq!((answer.header("etag"), answer.header("vary")), (tag, "Accept-Encoding"), "{call} {accepted}");
        }
    }

    #[tokio::test]
    async fn types_and_times_to_keep() {
        let cases = [
            ("/", "text/html; charset=utf-8", "no-cache"),
            ("/app.0123456789abcdef.wasm", "application/wasm", SECONDS_FOR_EVER),
            ("/manifest.webmanifest", "application/manifest+json", "no-cache"),
            ("/icons/basket.0123456789abcdef.png", "image/png", SECONDS_FOR_EVER),
        ];
        for (path, kind, cache) in cases {
            let answer = ask(&format!("GET {path}"), &[]).await;
            assert_eq!((answer.header("content-type"), answer.header("cache-control")), (kind, cache), "{path}");
        }
    }

    #[tokio::test]
    async fn a_good_copy_is_not_sent_again() {
        let cases = [
            ("\"page-br\"", 304),
            ("W/\"page-br\"", 304),
            ("\"old\", \"page-br\"", 304),
            ("*", 304),
            ("\"page\"", 200),
            ("\"page-gzip\"", 200),
        ];
        for (tags, status) in cases {
            let answer = ask("GET /", &[("accept-encoding", "br"), ("if-none-match", tags)]).await;
            assert_eq!((answer.status, answer.body.is_empty()), (status, status == 304), "{tags}");
            assert_eq!(answer.header("etag"), "\"page-br\"", "{tags}");
        }
    }

    #[tokio::test]
    async fn what_looks_like_a_page_is_the_page() {
        let cases = [
            ("GET /shop", vec![HTML], 200),
            ("HEAD /shop", vec![HTML], 200),
            ("GET /shop", vec![], 404),
            ("GET /shop", vec![("accept", "application/json")], 404),
            ("GET /week/12", vec![HTML], 307),
            ("GET /shop/", vec![HTML], 307),
            ("GET /app.ffffffffffffffff.wasm", vec![HTML], 404),
            ("GET /index.html.br", vec![HTML], 404),
            ("GET /../Cargo.toml", vec![HTML], 404),
            ("GET /..%2fCargo", vec![HTML], 404),
            ("GET /%2e%2e/%2e%2e/etc/passwd", vec![HTML], 404),
            ("GET //etc/passwd", vec![], 404),
            ("POST /", vec![], 405),
            ("DELETE /index.html", vec![HTML], 405),
        ];
        for (call, headers, status) in cases {
            let answer = ask(call, &headers).await;
            assert_eq!(answer.status, status, "{call} {headers:?}");
            assert_eq!(answer.body.starts_with("<!doctype"), status == 200 && call.starts_with("GET"), "{call}");
            assert_eq!(answer.header("x-content-type-options"), "nosniff", "{call}");
        }
        // Where a page is sent on, it must be to our own root, whatever was asked.
        assert_eq!(ask("GET //elsewhere.example/a", &[HTML]).await.header("location"), "");
        assert_eq!(ask("GET /elsewhere/a", &[HTML]).await.header("location"), "/");
    }

    #[tokio::test]
    async fn a_head_is_the_answer_without_its_body() {
        let get = ask("GET /", &[("accept-encoding", "br")]).await;
        let head = ask("HEAD /", &[("accept-encoding", "br")]).await;
        assert_eq!((head.status, head.body.as_str(), &head.headers), (200, "", &get.headers));
    }

    #[tokio::test]
    async fn the_policy_names_the_relays_and_nothing_else() {
        let connect = |answer: &Answer| {
            let policy = answer.header("content-security-policy").to_owned();
            let part = policy.split("; ").find_map(|part| part.strip_prefix("connect-src ").map(str::to_owned));
            part.unwrap()
        };
        const NAMED: &str = "https://relay.example wss://relay.example http://10.0.0.7:8080 ws://10.0.0.7:8080";
        let cases = [
            ("kitchen.example:8080", " ws://kitchen.example:8080 wss://kitchen.example:8080"),
            ("[::1]:8080", " ws://[::1]:8080 wss://[::1]:8080"),
            ("a b", ""),
            ("evil.example; script-src *", ""),
            ("evil.example,*", ""),
            ("*", ""),
            ("host:port", ""),
        ];
        for (host, own) in cases {
            let answer = ask("GET /", &[("host", host)]).await;
            assert_eq!(connect(&answer), format!("'self'{own} {NAMED}"), "{host}");
            let policy = answer.header("content-security-policy");
            assert!(policy.starts_with("default-src 'none'; script-src 'self' 'wasm-unsafe-eval'; "), "{policy}");
            assert!(!policy.contains("unsafe-inline") && !policy.contains("'unsafe-eval'"), "{policy}");
        }
        let missing = ask("GET /nothing.js", &[]).await;
        for name in ["content-security-policy", "referrer-policy", "permissions-policy", "cross-origin-opener-policy"] {
            assert!(!missing.header(name).is_empty(), "{name}");
        }
    }

    #[test]
    fn origins_are_read_strictly() {
        let read = |text: &str| text.parse::<Origin>().is_ok();
        for right in ["https://a.example", "http://localhost:8080", "https://[2001:db8::1]:443", "https://a.example/"] {
            assert!(read(right), "{right}");
        }
        let wrong = [
            "a.example",
            "ftp://a",
            "https://",
            "https://a/b",
            "https://a;b",
            "https://a b",
            "https://*",
            "http://a:x",
        ];
        for wrong in wrong {
            assert!(!read(wrong), "{wrong}");
        }
    }

    #[test]
    fn a_build_without_the_app_serves_none() {
        assert!(router_of(&[], &[]).is_none());
        assert!(router_of(&TEST_FILES[1..], &[]).is_none());
    }
}
