//! The socket: who watches what, and what they are told.
#![allow(clippy::expect_used, clippy::panic, reason = "a panic here is a failed check")]

mod common;

use std::time::{Duration, Instant};

use common::postgres::Cluster;
use common::{Client, Keys, Running, base64url, config, within};
use futures_util::{SinkExt as _, StreamExt as _};
use serde_json::{Value, json};
use tempfile::TempDir;
use tokio::net::TcpStream;
use tokio_tungstenite::tungstenite::Message;
use tokio_tungstenite::tungstenite::protocol::frame::coding::CloseCode;
use tokio_tungstenite::{MaybeTlsStream, WebSocketStream, connect_async};
use trug_relay::{Config, Secret};

struct Socket(WebSocketStream<MaybeTlsStream<TcpStream>>);

/// How a socket ended, or what it said.
#[derive(Debug, PartialEq)]
enum Heard {
    Json(Value),
    Closed(Option<CloseCode>),
    Ping,
}

impl Socket {
    async fn open(running: &Running) -> Self {
        let address = format!("ws://{}/v1/live", running.address);
        Self(connect_async(address).await.expect("a socket").0)
    }

    async fn send(&mut self, text: impl Into<String>) {
        self.0.send(Message::text(text.into())).await.expect("sent");
    }

    async fn watch(&mut self, keys: &Keys, token: &[u8; 32]) {
        self.send(json!({ "watch": keys.id().to_string(), "token": base64url(token) }).to_string()).await;
    }

    async fn any(&mut self) -> Heard {
        match within(10, "hearing something", self.0.next()).await {
            Some(Ok(Message::Text(text))) => Heard::Json(serde_json::from_str(&text).expect("JSON")),
            Some(Ok(Message::Ping(_))) => Heard::Ping,
            Some(Ok(Message::Close(frame))) => Heard::Closed(frame.map(|frame| frame.code)),
            Some(Ok(other)) => panic!("{other:?}"),
            Some(Err(_)) | None => Heard::Closed(None),
        }
    }

    async fn hear(&mut self) -> Heard {
        loop {
            match self.any().await {
                Heard::Ping => {}
                heard => return heard,
            }
        }
    }

    /// Whether nothing is heard for a while.
    async fn silent(&mut self) -> bool {
        tokio::time::timeout(Duration::from_millis(300), self.hear()).await.is_err()
    }
}

fn head(keys: &Keys, head: u64) -> Heard {
    Heard::Json(json!({ "log": keys.id().to_string(), "head": head }))
}

fn error(keys: &Keys, name: &str) -> Heard {
    Heard::Json(json!({ "log": keys.id().to_string(), "error": name }))
}

async fn relay(limits: &[(&str, u64)]) -> (TempDir, Running, Client) {
    let directory = TempDir::new().expect("a directory");
    let running = Running::start(config(directory.path(), limits)).await;
    let client = running.client().await;
    (directory, running, client)
}

#[tokio::test]
async fn heads_are_told_at_once_and_after_every_append() {
    let (_directory, running, mut client) = relay(&[]).await;
    let (keys, other) = (Keys::new(), Keys::new());
    client.make(&keys).await;
    client.make(&other).await;
    client.post(&keys, b"one").await;
    let mut socket = Socket::open(&running).await;
    socket.watch(&keys, &keys.writer).await;
    assert_eq!(socket.hear().await, head(&keys, 1));
    socket.watch(&other, &other.owner).await;
    assert_eq!(socket.hear().await, head(&other, 0));
    client.post(&keys, b"two").await;
    assert_eq!(socket.hear().await, head(&keys, 2));
    client.post(&other, b"one").await;
    assert_eq!(socket.hear().await, head(&other, 1));
    client.post(&keys, b"two").await;
    assert!(socket.silent().await, "a repetition is no news");
    socket.watch(&keys, &keys.writer).await;
    assert_eq!(socket.hear().await, head(&keys, 2), "asked again, said again");
    client.post(&keys, b"three").await;
    assert_eq!(socket.hear().await, head(&keys, 3));
    assert!(socket.silent().await, "and not twice");
}

#[tokio::test]
async fn many_appends_are_few_messages() {
    let (_directory, running, mut client) = relay(&[("coalesce_milliseconds", 300)]).await;
    let keys = Keys::new();
    client.make(&keys).await;
    let mut socket = Socket::open(&running).await;
    socket.watch(&keys, &keys.writer).await;
    assert_eq!(socket.hear().await, head(&keys, 0));
    let start = Instant::now();
    for number in 1..=100u64 {
        client.post(&keys, &number.to_be_bytes()).await;
    }
    let most = 3 + start.elapsed().as_millis() / 300;
    let mut heard = 0;
    loop {
        heard += 1;
        if socket.hear().await == head(&keys, 100) {
            break;
        }
    }
    assert!(heard <= most, "{heard} messages, at most {most}");
    assert!(socket.silent().await);
}

#[tokio::test]
async fn what_is_wrong_is_said() {
    let (_directory, running, mut client) = relay(&[("watches_per_socket", 2)]).await;
    let (keys, gone, stranger) = (Keys::new(), Keys::new(), Keys::new());
    client.make(&keys).await;
    client.make(&gone).await;
    client.call("DELETE", &gone.path(""), Some(&gone.owner), "").await;
    let mut socket = Socket::open(&running).await;
    socket.watch(&keys, &stranger.owner).await;
    assert_eq!(socket.hear().await, error(&keys, "unauthorized"));
    socket.watch(&stranger, &stranger.owner).await;
    assert_eq!(socket.hear().await, error(&stranger, "not-found"));
    socket.watch(&gone, &gone.owner).await;
    assert_eq!(socket.hear().await, error(&gone, "gone"));
    socket.send(json!({ "watch": keys.id().to_string(), "token": "x" }).to_string()).await;
    assert_eq!(socket.hear().await, error(&keys, "unauthorized"));
    let unreadable = ["", "{", "null", "[1]", "{}", "{\"watch\":1,\"token\":2}", "{\"watch\":\"x\",\"token\":\"y\"}"];
    for text in unreadable {
        socket.send(text).await;
        assert_eq!(socket.hear().await, Heard::Json(json!({ "log": null, "error": "malformed" })), "{text}");
    }
    for _ in 0..2 {
        let keys = Keys::new();
        client.make(&keys).await;
        socket.watch(&keys, &keys.owner).await;
        assert_eq!(socket.hear().await, head(&keys, 0));
    }
    socket.watch(&keys, &keys.owner).await;
    assert_eq!(socket.hear().await, error(&keys, "too-many-watches"));
    loop {
        socket.send("again").await;
        match socket.hear().await {
            Heard::Json(_) => {}
            ended => break assert_eq!(ended, Heard::Closed(Some(CloseCode::Policy)), "too much was refused"),
        }
    }
}

#[tokio::test]
async fn too_long_a_message_ends_the_socket() {
    let (_directory, running, _) = relay(&[]).await;
    let mut socket = Socket::open(&running).await;
    let _ = socket.0.send(Message::text("x".repeat(100_000))).await;
    assert!(matches!(socket.hear().await, Heard::Closed(_)));
}

#[tokio::test]
async fn who_does_not_authenticate_is_closed() {
    let limits = [("unauthenticated_seconds", 1), ("ping_seconds", 1), ("idle_seconds", 60)];
    let (_directory, running, mut client) = relay(&limits).await;
    let keys = Keys::new();
    client.make(&keys).await;
    let (mut idle, mut busy, mut good) =
        (Socket::open(&running).await, Socket::open(&running).await, Socket::open(&running).await);
    good.watch(&keys, &keys.writer).await;
    assert_eq!(good.any().await, head(&keys, 0));
    busy.watch(&keys, &Keys::new().owner).await;
    assert_eq!(busy.hear().await, error(&keys, "unauthorized"));
    assert_eq!(idle.hear().await, Heard::Closed(Some(CloseCode::Policy)));
    assert_eq!(busy.hear().await, Heard::Closed(Some(CloseCode::Policy)), "a refused watch buys no time");
    for _ in 0..3 {
        assert_eq!(good.any().await, Heard::Ping);
    }
    client.post(&keys, b"one").await;
    assert_eq!(good.hear().await, head(&keys, 1), "who watches, stays");
}

#[tokio::test]
async fn who_does_not_answer_pings_is_closed() {
    let limits = [("ping_seconds", 1), ("idle_seconds", 60)];
    let (_directory, running, mut client) = relay(&limits).await;
    let keys = Keys::new();
    client.make(&keys).await;
    let mut socket = Socket::open(&running).await;
    socket.watch(&keys, &keys.writer).await;
    assert_eq!(socket.any().await, head(&keys, 0));
    // Nothing is read here, so no ping is answered.
    tokio::time::sleep(Duration::from_millis(4500)).await;
    let page = client.call("GET", "/metrics", None, "").await;
    assert!(String::from_utf8_lossy(&page.body).contains("\ntrug_relay_sockets 0\n"));
}

#[tokio::test]
async fn access_that_ends_ends_the_watch() {
    let (_directory, running, mut client) = relay(&[]).await;
    let (keys, second) = (Keys::new(), Keys::new());
    client.make(&keys).await;
    let (mut writer, mut owner) = (Socket::open(&running).await, Socket::open(&running).await);
    writer.watch(&keys, &keys.writer).await;
    owner.watch(&keys, &keys.owner).await;
    assert_eq!((writer.hear().await, owner.hear().await), (head(&keys, 0), head(&keys, 0)));
    client.call("PUT", &keys.path("/writer"), Some(&keys.owner), "null").await;
    client.call("POST", &keys.path("/entries"), Some(&keys.owner), "one").await;
    assert_eq!(writer.hear().await, head(&keys, 1), "read-only is not unreadable");
    client.call("PUT", &keys.path("/writer"), Some(&keys.owner), second.body()).await;
    assert_eq!(writer.hear().await, error(&keys, "unauthorized"));
    client.call("POST", &keys.path("/entries"), Some(&keys.owner), "two").await;
    assert!(writer.silent().await, "and hears nothing more");
    assert_eq!(owner.hear().await, head(&keys, 1));
    assert_eq!(owner.hear().await, head(&keys, 2));
    client.call("DELETE", &keys.path(""), Some(&keys.owner), "").await;
    assert_eq!(owner.hear().await, error(&keys, "gone"));
}

#[tokio::test]
async fn sockets_are_told_when_the_relay_stops() {
    let (_directory, running, mut client) = relay(&[]).await;
    let keys = Keys::new();
    client.make(&keys).await;
    let mut socket = Socket::open(&running).await;
    socket.watch(&keys, &keys.writer).await;
    assert_eq!(socket.hear().await, head(&keys, 0));
    let stopping = tokio::spawn(running.stop());
    assert_eq!(socket.hear().await, Heard::Closed(Some(CloseCode::Away)));
    drop((socket, client));
    within(5, "stopping", stopping).await.expect("no panic");
}

#[tokio::test(flavor = "multi_thread")]
async fn relays_on_one_postgres_hear_each_other() {
    let Some(cluster) = Cluster::start() else { return };
    let directory = TempDir::new().expect("a directory");
    // Polls so rarely that only a notification can be in time.
    let open = async |poll| {
        let limits = [("poll_milliseconds", poll)];
        let database = Some(Secret::new(cluster.address()));
        Running::start(Config { database, ..config(directory.path(), &limits) }).await
    };
    let (first, second) = (open(600_000).await, open(600_000).await);
    let (mut client, keys) = (first.client().await, Keys::new());
    client.make(&keys).await;
    let mut socket = Socket::open(&second).await;
    socket.watch(&keys, &keys.writer).await;
    assert_eq!(socket.hear().await, head(&keys, 0));
    for number in 1..=20u64 {
        client.post(&keys, &number.to_be_bytes()).await;
    }
    while socket.hear().await != head(&keys, 20) {}
    client.call("PUT", &keys.path("/writer"), Some(&keys.owner), Keys::new().body()).await;
    assert_eq!(socket.hear().await, error(&keys, "unauthorized"), "also that access has ended");
    second.stop().await;
    polling(&cluster, &first, &open(100).await).await;
}

/// What no notification tells is found by looking: here, rows changed behind every relay's back.
async fn polling(cluster: &Cluster, first: &Running, second: &Running) {
    let (mut client, keys) = (first.client().await, Keys::new());
    client.make(&keys).await;
    let mut socket = Socket::open(second).await;
    socket.watch(&keys, &keys.writer).await;
    assert_eq!(socket.hear().await, head(&keys, 0));
    let (db, connection) =
        tokio_postgres::connect(&cluster.address(), tokio_postgres::NoTls).await.expect("a connection");
    tokio::spawn(connection);
    let log = &keys.log[..];
    db.execute("UPDATE trug_logs SET head = 7 WHERE log = $1", &[&log]).await.expect("changed");
    assert_eq!(socket.hear().await, head(&keys, 7));
}
