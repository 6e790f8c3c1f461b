//! What the tests share: a small HTTP client, a relay in this process, and a throw-away PostgreSQL.
#![allow(dead_code, reason = "each test file uses its own part of this")]

pub(crate) mod postgres;

use std::net::SocketAddr;
use std::path::Path;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::{Duration, SystemTime};

use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use bytes::Bytes;
use http_body_util::{BodyExt as _, Full};
use hyper::client::conn::http1::{SendRequest, handshake};
use hyper::{HeaderMap, Method, Request};
use hyper_util::rt::TokioIo;
use sha2::{Digest as _, Sha256};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::oneshot;
use trug_relay::{Chain, Config, LogId, Relay, TokenHash, entry_hash, serve};

/// Base64url without padding.
pub(crate) fn base64url(bytes: &[u8]) -> String {
    URL_SAFE_NO_PAD.encode(bytes)
}

/// 32 bytes that no other call gives, in this process or another.
pub(crate) fn fresh() -> [u8; 32] {
    static COUNT: AtomicU64 = AtomicU64::new(0);
    let now = SystemTime::now().duration_since(SystemTime::UNIX_EPOCH).expect("a clock").as_nanos();
    let count = COUNT.fetch_add(1, Ordering::Relaxed);
    Sha256::digest(format!("{now} {count} {}", std::process::id())).into()
}

/// A log and its tokens.
#[derive(Clone)]
pub(crate) struct Keys {
    pub(crate) log: [u8; 16],
    pub(crate) owner: [u8; 32],
    pub(crate) writer: [u8; 32],
}

impl Keys {
    pub(crate) fn new() -> Self {
        let [seed, owner, writer] = [fresh(), fresh(), fresh()];
        Self { log: seed[..16].try_into().expect("16 of 32"), owner, writer }
    }

    pub(crate) fn id(&self) -> LogId {
        LogId(self.log)
    }

    pub(crate) fn owner_hash(&self) -> TokenHash {
        TokenHash::of(&self.owner)
    }

    pub(crate) fn writer_hash(&self) -> TokenHash {
        TokenHash::of(&self.writer)
    }

    pub(crate) fn path(&self, rest: &str) -> String {
        format!("/v1/logs/{}{rest}", self.id())
    }

    pub(crate) fn body(&self) -> String {
        format!("{{\"writer\":\"{}\"}}", base64url(&Sha256::digest(self.writer)))
    }
}

/// What a relay answered.
#[derive(Debug)]
pub(crate) struct Answer {
    pub(crate) status: u16,
    pub(crate) headers: HeaderMap,
    pub(crate) body: Bytes,
}

impl Answer {
    pub(crate) fn header(&self, name: &str) -> Option<&str> {
        self.headers.get(name).map(|value| value.to_str().expect("ASCII"))
    }

    pub(crate) fn json(&self) -> serde_json::Value {
        serde_json::from_slice(&self.body).expect("JSON")
    }

    pub(crate) fn seq(&self) -> u64 {
        self.json()["seq"].as_u64().expect("a number")
    }
}

/// A connection to a relay.
pub(crate) struct Client {
    sender: SendRequest<Full<Bytes>>,
}

impl Client {
    pub(crate) async fn connect(address: SocketAddr) -> std::io::Result<Self> {
        let stream = TcpStream::connect(address).await?;
        stream.set_nodelay(true)?;
        let (sender, connection) = handshake(TokioIo::new(stream)).await.map_err(std::io::Error::other)?;
        tokio::spawn(connection);
        Ok(Self { sender })
    }

    pub(crate) async fn try_send(
        &mut self,
        method: &str,
        path: &str,
        headers: &[(&str, &str)],
        body: impl Into<Bytes>,
    ) -> hyper::Result<Answer> {
        let method = Method::from_bytes(method.as_bytes()).expect("a method");
        let mut request = Request::builder().method(method).uri(path).header("host", "relay");
        for (name, value) in headers {
            request = request.header(*name, *value);
        }
        self.sender.ready().await?;
        let answer = self.sender.send_request(request.body(Full::new(body.into())).expect("a request")).await?;
        let (parts, body) = answer.into_parts();
        let body = body.collect().await?.to_bytes();
        Ok(Answer { status: parts.status.as_u16(), headers: parts.headers, body })
    }

    /// With a bearer token, if one is given.
    pub(crate) async fn call(
        &mut self,
        method: &str,
        path: &str,
        token: Option<&[u8; 32]>,
        body: impl Into<Bytes>,
    ) -> Answer {
        let bearer = token.map(|token| format!("Bearer {}", base64url(token)));
        let headers: Vec<_> = bearer.iter().map(|bearer| ("authorization", bearer.as_str())).collect();
        self.try_send(method, path, &headers, body).await.expect("an answer")
    }

    pub(crate) async fn with(
        &mut self,
        method: &str,
        path: &str,
        headers: &[(&str, &str)],
        body: impl Into<Bytes>,
    ) -> Answer {
        self.try_send(method, path, headers, body).await.expect("an answer")
    }

    pub(crate) async fn make(&mut self, keys: &Keys) {
        let made = self.call("PUT", &keys.path(""), Some(&keys.owner), keys.body()).await;
        assert_eq!(made.status, 201, "{made:?}");
    }

    pub(crate) async fn post(&mut self, keys: &Keys, sealed: &[u8]) -> Answer {
        self.call("POST", &keys.path("/entries"), Some(&keys.writer), sealed.to_vec()).await
    }

    /// Every record above a number, page by page, as a device reads them.
    pub(crate) async fn read_all(&mut self, keys: &Keys, mut after: u64) -> Vec<(u64, u8, Bytes)> {
        let mut all = Vec::new();
        loop {
            let path = keys.path(&format!("/entries?after={after}"));
            let page = self.call("GET", &path, Some(&keys.writer), "").await;
            assert_eq!(page.status, 200, "{page:?}");
            let records = records(page.body.clone());
            let head: u64 = page.header("trug-head").expect("a head").parse().expect("a number");
            after = records.last().map_or(after, |(seq, ..)| *seq);
            let done = records.is_empty();
            all.extend(records);
            if done || after >= head {
                return all;
            }
        }
    }
}

/// Takes a page apart: number, kind, bytes.
pub(crate) fn records(mut page: Bytes) -> Vec<(u64, u8, Bytes)> {
    use bytes::Buf as _;
    let mut records = Vec::new();
    while page.has_remaining() {
        let (seq, kind, length) = (page.get_u64(), page.get_u8(), page.get_u32());
        records.push((seq, kind, page.split_to(length as usize)));
    }
    records
}

/// The chain over some entries, and what an entry adds to it.
pub(crate) fn chain<'a>(entries: impl IntoIterator<Item = &'a [u8]>) -> Chain {
    entries.into_iter().fold(Chain::START, |chain, entry| chain.then(&entry_hash(entry)))
}

/// A relay in this process.
pub(crate) struct Running {
    pub(crate) address: SocketAddr,
    stop: Option<oneshot::Sender<()>>,
    served: tokio::task::JoinHandle<()>,
}

impl Running {
    pub(crate) async fn start(config: Config) -> Self {
        let relay = Relay::open(config).await.expect("the relay opens");
        Self::serve(relay).await
    }

    pub(crate) async fn serve(relay: Relay) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").await.expect("a port");
        let address = listener.local_addr().expect("an address");
        let (stop, stopped) = oneshot::channel::<()>();
        let served = tokio::spawn(async move {
            let shutdown = async { drop(stopped.await) };
            serve(relay, listener, shutdown).await.expect("serves to the end");
        });
        Self { address, stop: Some(stop), served }
    }

    pub(crate) async fn client(&self) -> Client {
        Client::connect(self.address).await.expect("a connection")
    }

    pub(crate) async fn stop(mut self) {
        drop(self.stop.take());
        self.served.await.expect("no panic");
    }
}

/// A configuration on a directory, with the limits given.
pub(crate) fn config(data: &Path, limits: &[(&str, u64)]) -> Config {
    let set = limits.iter().map(|(name, value)| (format!("TRUG_LIMIT_{}", name.to_uppercase()), value.to_string()));
    Config { data: data.to_path_buf(), ..Config::default() }.with_environment(set).expect("limits")
}

/// Fails when something takes longer than it may.
pub(crate) async fn within<T>(seconds: u64, what: &str, work: impl Future<Output = T>) -> T {
    match tokio::time::timeout(Duration::from_secs(seconds), work).await {
        Ok(done) => done,
        Err(_) => panic!("{what} took more than {seconds} s"),
    }
}
