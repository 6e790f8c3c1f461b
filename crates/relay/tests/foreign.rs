//! Foreign bytes: whatever comes in, nothing panics and the next request is answered.
#![allow(clippy::expect_used, clippy::panic, reason = "a panic here is a failed check")]

mod common;

use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Duration;

use common::{Keys, Running, base64url, config};
use futures_util::{SinkExt as _, StreamExt as _};
use proptest::prelude::*;
use proptest::test_runner::{Config as Cases, TestRunner};
use tempfile::TempDir;
use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};
use tokio::net::TcpStream;
use tokio_tungstenite::connect_async;
use tokio_tungstenite::tungstenite::Message;

static PANICS: AtomicU64 = AtomicU64::new(0);

/// Counts panics in every task and thread from now on; those of tasks would go by unseen.
fn count_panics() {
    static ONCE: std::sync::Once = std::sync::Once::new();
    ONCE.call_once(|| {
        let usual = std::panic::take_hook();
        std::panic::set_hook(Box::new(move |panic| {
            PANICS.fetch_add(1, Ordering::Relaxed);
            usual(panic);
        }));
    });
}

fn runtime() -> tokio::runtime::Runtime {
    tokio::runtime::Builder::new_multi_thread().worker_threads(2).enable_all().build().expect("a runtime")
}

fn runner(cases: u32) -> TestRunner {
    TestRunner::new(Cases { cases, failure_persistence: None, ..Cases::default() })
}

/// Sends bytes, and takes what comes back: until the relay closes, or for so long.
async fn throw(running: &Running, bytes: &[u8], patience: Duration) -> Vec<u8> {
    let mut stream = TcpStream::connect(running.address).await.expect("a connection");
    let _ = stream.write_all(bytes).await;
    let mut answer = Vec::new();
    let _ = tokio::time::timeout(patience, stream.read_to_end(&mut answer)).await;
    answer
}

async fn well(running: &Running) -> Result<(), TestCaseError> {
    let answer =
        throw(running, b"GET /healthz HTTP/1.1\r\nhost: x\r\nconnection: close\r\n\r\n", Duration::from_secs(5)).await;
    prop_assert!(answer.ends_with(b"ok\n"), "{}", String::from_utf8_lossy(&answer));
    prop_assert_eq!(PANICS.load(Ordering::Relaxed), 0);
    Ok(())
}

/// Requests that are nearly right: the right words in the wrong places, with noise in between.
fn requests(keys: &Keys) -> impl Strategy<Value = Vec<u8>> + use<> {
    let word = |words: Vec<String>| prop_oneof![8 => prop::sample::select(words), 1 => "[ -~]{0,40}"];
    let methods = ["GET", "PUT", "POST", "DELETE", "HEAD", "OPTIONS", "PATCH"].map(String::from).to_vec();
    let ends =
        ["", "/entries", "/entries?after=1", "/snapshot?through=1", "/writer", "/entries?limit=99999999999999999999"];
    let mut paths: Vec<String> = ends.iter().map(|end| keys.path(end)).collect();
    paths.extend(["/v1/live", "/metrics", "/v1/logs//entries", "/v1/%ff", "//", "*"].map(String::from));
    let token = format!("authorization: Bearer {}", base64url(&keys.owner));
    let mut headers = vec![token.clone(), token, format!("trug-chain: {}", base64url(&[0; 32]))];
    headers.extend(
        [
            "trug-chain: x",
            "authorization: Bearer",
            "content-length: 5",
            "content-length: 99999999999",
            "transfer-encoding: chunked",
            "x-forwarded-for: 1.2.3.4, ::",
            "upgrade: websocket",
            "connection: upgrade",
            "sec-websocket-version: 13",
            "sec-websocket-key: dGhlIHNhbXBsZSBub25jZQ==",
            "expect: 100-continue",
            "trug-passcode: \u{e9}",
        ]
        .map(String::from),
    );
    let bodies =
        vec![keys.body(), "null".into(), "{\"writer\":null}".into(), "5\r\nhello\r\n0\r\n\r\n".into(), "hello".into()];
    let body = prop_oneof![
        prop::sample::select(bodies).prop_map(String::into_bytes),
        prop::collection::vec(any::<u8>(), 0..300)
    ];
    (word(methods), word(paths), prop::collection::vec(word(headers), 0..6), body).prop_map(
        |(method, path, headers, body)| {
            let mut bytes =
                format!("{method} {path} HTTP/1.1\r\nhost: x\r\nconnection: close\r\n{}\r\n\r\n", headers.join("\r\n"))
                    .into_bytes();
            bytes.extend(body);
            bytes
        },
    )
}

#[test]
fn requests_of_any_kind() {
    count_panics();
    let (runtime, directory, keys) = (runtime(), TempDir::new().expect("a directory"), Keys::new());
    let limits = [("header_seconds", 1), ("body_seconds", 1), ("entry_bytes", 200)];
    let running = runtime.block_on(async {
        let running = Running::start(config(directory.path(), &limits)).await;
        running.client().await.make(&keys).await;
        running
    });
    let noise = prop::collection::vec(any::<u8>(), 0..600);
    let any_bytes = prop_oneof![6 => requests(&keys), 1 => noise];
    let outcome = runner(400).run(&any_bytes, |bytes| {
        runtime.block_on(async {
            throw(&running, &bytes, Duration::from_millis(150)).await;
            well(&running).await
        })
    });
    outcome.expect("every case");
    runtime.block_on(running.stop());
}

#[test]
fn messages_of_any_kind() {
    count_panics();
    let (runtime, directory, keys) = (runtime(), TempDir::new().expect("a directory"), Keys::new());
    let running = runtime.block_on(async {
        let running = Running::start(config(directory.path(), &[])).await;
        running.client().await.make(&keys).await;
        running
    });
    let log = prop_oneof![Just(keys.id().to_string()), "[A-Za-z0-9_-]{22}", "\\PC{0,30}"];
    let token = prop_oneof![Just(base64url(&keys.owner)), "[A-Za-z0-9_-]{43}", "\\PC{0,50}"];
    let wanted =
        (log, token).prop_map(|(watch, token)| serde_json::json!({ "watch": watch, "token": token }).to_string());
    let text = prop_oneof![3 => wanted, 1 => "\\PC{0,80}", 1 => Just("[".repeat(4000))].prop_map(Message::text);
    let bytes = prop::collection::vec(any::<u8>(), 0..120);
    let message = prop_oneof![
        6 => text,
        1 => bytes.clone().prop_map(Message::binary),
        1 => bytes.prop_map(|bytes| Message::Ping(bytes.into())),
    ];
    let outcome = runner(100).run(&prop::collection::vec(message, 0..40), |messages| {
        runtime.block_on(async {
            let (mut socket, _) = connect_async(format!("ws://{}/v1/live", running.address)).await.expect("a socket");
            for message in messages {
                if socket.send(message).await.is_err() {
                    break;
                }
            }
            let _ = socket.close(None).await;
            // Everything said is JSON about a log, whatever was asked.
            while let Ok(Some(Ok(said))) = tokio::time::timeout(Duration::from_secs(5), socket.next()).await {
                if let Message::Text(text) = said {
                    let json: serde_json::Value = serde_json::from_str(&text).expect("JSON");
                    prop_assert!(
                        json.get("log").is_some() && (json.get("head").is_some() || json.get("error").is_some())
                    );
                }
            }
            well(&running).await
        })
    });
    outcome.expect("every case");
    runtime.block_on(running.stop());
}
