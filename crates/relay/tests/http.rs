//! The protocol as an outsider sees it: every call, every status, every header.
#![allow(clippy::expect_used, clippy::panic, reason = "a panic here is a failed check")]

mod common;

use bytes::Bytes;
use common::{Answer, Client, Keys, Running, base64url, chain, config, records, within};
use tempfile::TempDir;
use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};
use tokio::net::TcpStream;
use trug_relay::{Config, Relay, Secret};

/// A relay with small limits, and somebody connected to it.
async fn relay(limits: &[(&str, u64)]) -> (TempDir, Running, Client) {
    let directory = TempDir::new().expect("a directory");
    let running = Running::start(config(directory.path(), limits)).await;
    let client = running.client().await;
    (directory, running, client)
}

fn problem(answer: &Answer, status: u16, name: &str) {
    assert_eq!(answer.status, status, "{answer:?}");
    assert_eq!(answer.header("content-type"), Some("application/problem+json"), "{answer:?}");
    let json = answer.json();
    assert_eq!(json["type"], format!("/v1/problems/{name}"), "{json}");
    assert_eq!(json["status"], status, "{json}");
    assert!(json["title"].is_string() && json["detail"].is_string(), "{json}");
    if status == 401 {
        assert!(answer.header("www-authenticate").is_some_and(|value| value.starts_with("Bearer")));
    }
}

/// Every call that needs a token, with a body that is right.
fn calls(keys: &Keys) -> [(&'static str, String, Bytes); 6] {
    [
        ("PUT", keys.path(""), keys.body().into()),
        ("POST", keys.path("/entries"), "sealed".into()),
        ("GET", keys.path("/entries"), "".into()),
        ("PUT", keys.path("/snapshot?through=1"), "sealed".into()),
        ("PUT", keys.path("/writer"), keys.body().into()),
        ("DELETE", keys.path(""), "".into()),
    ]
}

#[tokio::test]
async fn a_log_is_made_once() {
    let (_directory, _running, mut client) = relay(&[]).await;
    let (keys, other) = (Keys::new(), Keys::new());
    let owner = Some(&keys.owner);
    assert_eq!(client.call("PUT", &keys.path(""), owner, keys.body()).await.status, 201);
    assert_eq!(client.call("PUT", &keys.path(""), owner, keys.body()).await.status, 200);
    problem(&client.call("PUT", &keys.path(""), Some(&other.owner), keys.body()).await, 403, "not-yours");
    let bodies = ["", "{", "null", "[]", "{}", "{\"writer\":null}", "{\"writer\":1}", "{\"writer\":\"short\"}"];
    for body in bodies {
        problem(&client.call("PUT", &other.path(""), Some(&other.owner), body).await, 400, "malformed");
    }
    let long = format!("{{\"writer\":\"{}\"}}", "A".repeat(5000));
    problem(&client.call("PUT", &other.path(""), Some(&other.owner), long).await, 413, "too-large");
    problem(&client.call("GET", &other.path("/entries"), Some(&other.owner), "").await, 404, "not-found");
}

#[tokio::test]
async fn tokens_are_asked_for() {
    let (_directory, _running, mut client) = relay(&[]).await;
    let (keys, other) = (Keys::new(), Keys::new());
    for (method, path, body) in calls(&keys) {
        problem(&client.call(method, &path, None, body.clone()).await, 401, "unauthorized");
        let wrong = ["", "Bearer", "Bearer ", "Bearer x", "Basic eA", &format!("Bearer {}=", base64url(&keys.owner))];
        for header in wrong {
            problem(&client.with(method, &path, &[("authorization", header)], body.clone()).await, 401, "unauthorized");
        }
    }
    // A log that was never made is not found, whatever the token.
    for (method, path, body) in calls(&keys).into_iter().skip(1) {
        problem(&client.call(method, &path, Some(&keys.owner), body).await, 404, "not-found");
    }
    client.make(&keys).await;
    for (method, path, body) in calls(&keys).into_iter().skip(1) {
        problem(&client.call(method, &path, Some(&other.owner), body).await, 401, "unauthorized");
    }
    for index in [3, 4, 5] {
        let (method, path, body) = calls(&keys)[index].clone();
        problem(&client.call(method, &path, Some(&keys.writer), body).await, 403, "forbidden");
    }
    let lower = format!("bearer {}", base64url(&keys.writer));
    assert_eq!(client.with("GET", &keys.path("/entries"), &[("authorization", &lower)], "").await.status, 200);
}

#[tokio::test]
async fn ids_have_one_spelling() {
    let (_directory, _running, mut client) = relay(&[]).await;
    let keys = Keys::new();
    let id = keys.id().to_string();
    let bad = [
        "",
        "x",
        &format!("{id}A"),
        &format!("{id}=="),
        &id[..21],
        "AAAAAAAAAAAAAAAAAAAAA+",
        "AAAAAAAAAAAAAAAAAAAAAB",
        "%41AAAAAAAAAAAAAAAAAAAAA",
    ];
    for id in bad {
        let path = format!("/v1/logs/{id}/entries");
        problem(&client.call("GET", &path, Some(&keys.owner), "").await, 400, "malformed");
    }
}

#[tokio::test]
async fn entries_are_numbered_and_chained() {
    let (_directory, _running, mut client) = relay(&[("entry_bytes", 1000)]).await;
    let keys = Keys::new();
    client.make(&keys).await;
    let entries: Vec<Vec<u8>> = (1..=5u8).map(|fill| vec![fill; 100 * usize::from(fill)]).collect();
    for (index, entry) in entries.iter().enumerate() {
        let token = if index % 2 == 0 { &keys.writer } else { &keys.owner };
        let answer = client.call("POST", &keys.path("/entries"), Some(token), entry.clone()).await;
        assert_eq!((answer.status, answer.seq()), (201, index as u64 + 1));
        assert_eq!(answer.header("content-type"), Some("application/json"));
        assert_eq!(answer.header("trug-head"), Some((index + 1).to_string().as_str()));
        let there = chain(entries[..=index].iter().map(Vec::as_slice));
        assert_eq!(answer.header("trug-chain"), Some(there.to_string().as_str()));
    }
    let again = client.post(&keys, &entries[1]).await;
    assert_eq!((again.status, again.seq(), again.header("trug-head")), (200, 2, Some("5")));
    problem(&client.post(&keys, &[]).await, 400, "malformed");
    problem(&client.post(&keys, &[0; 1001]).await, 413, "too-large");
    assert_eq!(client.post(&keys, &[0; 1000]).await.status, 201, "to the byte");
}

#[tokio::test]
async fn a_much_too_large_body_is_answered_and_not_cut_off() {
    let (_directory, running, _) = relay(&[]).await;
    let keys = Keys::new();
    let mut client = running.client().await;
    client.make(&keys).await;
    assert_eq!(client.post(&keys, &vec![1; 1024 * 1024]).await.status, 201);
    for length in [1024 * 1024 + 1, 3 * 1024 * 1024] {
        let mut client = running.client().await;
        problem(&client.post(&keys, &vec![2; length]).await, 413, "too-large");
        let mut client = running.client().await;
        let other = Keys::new();
        let answer = client.call("POST", &keys.path("/entries"), Some(&other.owner), vec![2; length]).await;
        problem(&answer, 401, "unauthorized");
    }
}

#[tokio::test]
async fn pages_say_where_they_stand() {
    let (_directory, _running, mut client) = relay(&[("page_entries", 4), ("page_bytes", 700)]).await;
    let keys = Keys::new();
    client.make(&keys).await;
    let entries: Vec<Vec<u8>> = (1..=6u8).map(|fill| vec![fill; 300]).collect();
    for entry in &entries {
        client.post(&keys, entry).await;
    }
    let head = chain(entries.iter().map(Vec::as_slice)).to_string();
    let cases = [
        // query, status, numbers, whether the chain is told
        ("", 200, vec![1, 2], Some(0)),
        ("?after=0&limit=1", 200, vec![1], Some(0)),
        ("?after=3", 200, vec![4, 5], Some(3)),
        ("?after=5&limit=99999", 200, vec![6], Some(5)),
        ("?after=6", 200, vec![], Some(6)),
        ("?after=7", 200, vec![], None),
        ("?after=18446744073709551615", 200, vec![], None),
    ];
    for (query, status, numbers, at) in cases {
        let page = client.call("GET", &keys.path(&format!("/entries{query}")), Some(&keys.writer), "").await;
        assert_eq!(page.status, status, "{query}");
        assert_eq!(page.header("content-type"), Some("application/octet-stream"));
        let got = records(page.body.clone());
        assert_eq!(got.iter().map(|(seq, ..)| *seq).collect::<Vec<_>>(), numbers, "{query}");
        for (seq, kind, sealed) in &got {
            assert_eq!((*kind, &sealed[..]), (0, &entries[*seq as usize - 1][..]));
        }
        assert_eq!((page.header("trug-head"), page.header("trug-chain")), (Some("6"), Some(head.as_str())), "{query}");
        let at = at.map(|at| chain(entries[..at].iter().map(Vec::as_slice)).to_string());
        assert_eq!(page.header("trug-chain-at"), at.as_deref(), "{query}");
    }
    for query in
        ["?after=-1", "?after=x", "?after=", "?limit=0", "?limit=1.5", "?after=18446744073709551616", "?after=+1"]
    {
        problem(
            &client.call("GET", &keys.path(&format!("/entries{query}")), Some(&keys.owner), "").await,
            400,
            "malformed",
        );
    }
}

#[tokio::test]
async fn long_pages_come_in_pieces_and_whole() {
    let (_directory, _running, mut client) = relay(&[("page_bytes", 3_000_000)]).await;
    let keys = Keys::new();
    client.make(&keys).await;
    let mut sent = Vec::new();
    for fill in 0..40u8 {
        let length = if fill % 10 == 0 { 600_000 } else { 40_000 };
        sent.push(vec![fill; length]);
        assert_eq!(client.post(&keys, &sent[usize::from(fill)]).await.status, 201);
    }
    let first = client.call("GET", &keys.path("/entries"), Some(&keys.writer), "").await;
    assert!((2_400_000..=3_000_600).contains(&first.body.len()), "{}", first.body.len());
    let all = client.read_all(&keys, 0).await;
    assert_eq!(all.len(), 40);
    assert!(all.iter().zip(&sent).all(|((_, _, got), sent)| got == sent));
    let limited = client.call("GET", &keys.path("/entries?limit=17"), Some(&keys.writer), "").await;
    assert_eq!(records(limited.body).len(), 17, "a limit holds across pieces");
}

#[tokio::test]
async fn snapshots_have_conditions() {
    let (_directory, _running, mut client) = relay(&[("snapshot_bytes", 2000)]).await;
    let keys = Keys::new();
    client.make(&keys).await;
    let entries: Vec<Vec<u8>> = (1..=5u8).map(|fill| vec![fill; 10]).collect();
    for entry in &entries {
        client.post(&keys, entry).await;
    }
    let there = |seq: usize| chain(entries[..seq].iter().map(Vec::as_slice)).to_string();
    let bearer = format!("Bearer {}", base64url(&keys.owner));
    let cases: Vec<(&str, Option<String>, usize, u16, &str)> = vec![
        ("?through=3", None, 9, 428, "chain-required"),
        ("?through=3", Some("x".into()), 9, 400, "malformed"),
        ("", Some(there(3)), 9, 400, "malformed"),
        ("?through=x", Some(there(3)), 9, 400, "malformed"),
        ("?through=3", Some(there(3)), 0, 400, "malformed"),
        ("?through=3", Some(there(3)), 2001, 413, "too-large"),
        ("?through=3", Some(there(4)), 9, 412, "chain-differs"),
        ("?through=6", Some(there(5)), 9, 409, "conflict"),
        ("?through=0", Some(there(0)), 9, 409, "conflict"),
        ("?through=3", Some(there(3)), 2000, 200, ""),
        ("?through=2", Some(there(2)), 9, 409, "conflict"),
        ("?through=3", Some(there(3)), 9, 200, ""),
        ("?through=5", Some(there(5)), 9, 200, ""),
    ];
    for (query, chain, length, status, name) in cases {
        let mut headers = vec![("authorization", bearer.as_str())];
        headers.extend(chain.iter().map(|chain| ("trug-chain", chain.as_str())));
        let answer = client.with("PUT", &keys.path(&format!("/snapshot{query}")), &headers, vec![7; length]).await;
        if status == 200 {
            assert_eq!((answer.status, answer.header("trug-head")), (200, Some("5")), "{query}: {answer:?}");
        } else {
            problem(&answer, status, name);
        }
    }
    let page = client.call("GET", &keys.path("/entries?after=1"), Some(&keys.writer), "").await;
    assert_eq!(records(page.body.clone()), [(5, 1, Bytes::from(vec![7; 9]))]);
    assert_eq!((page.header("trug-chain-at"), page.header("trug-chain")), (None, Some(there(5).as_str())));
    let known = client.post(&keys, &entries[0]).await;
    assert_eq!((known.status, known.seq()), (200, 1), "also after a snapshot");
}

#[tokio::test]
async fn writers_change_and_logs_end() {
    let (_directory, _running, mut client) = relay(&[]).await;
    let (keys, second) = (Keys::new(), Keys::new());
    client.make(&keys).await;
    client.post(&keys, b"one").await;
    for body in ["", "{}", "7", "{\"writer\":\"x\"}"] {
        problem(&client.call("PUT", &keys.path("/writer"), Some(&keys.owner), body).await, 400, "malformed");
    }
    for body in ["null", "{\"writer\":null}"] {
        assert_eq!(client.call("PUT", &keys.path("/writer"), Some(&keys.owner), body).await.status, 204);
        problem(&client.post(&keys, b"two").await, 403, "read-only");
        assert_eq!(client.read_all(&keys, 0).await.len(), 1, "read-only is not unreadable");
    }
    assert_eq!(client.call("PUT", &keys.path("/writer"), Some(&keys.owner), second.body()).await.status, 204);
    problem(&client.post(&keys, b"two").await, 401, "unauthorized");
    let new = client.call("POST", &keys.path("/entries"), Some(&second.writer), "two").await;
    assert_eq!((new.status, new.seq()), (201, 2));
    assert_eq!(client.call("DELETE", &keys.path(""), Some(&keys.owner), "").await.status, 204);
    for (method, path, body) in calls(&keys) {
        let bearer = format!("Bearer {}", base64url(&keys.owner));
        problem(&client.with(method, &path, &[("authorization", &bearer)], body).await, 410, "gone");
    }
}

#[tokio::test]
async fn a_passcode_is_asked_of_newcomers() {
    let directory = TempDir::new().expect("a directory");
    let closed = Config { passcode: Some(Secret::new("basil & thyme")), ..config(directory.path(), &[]) };
    let running = Running::start(closed).await;
    let (mut client, keys) = (running.client().await, Keys::new());
    let bearer = format!("Bearer {}", base64url(&keys.owner));
    for (passcode, status) in [(None, 403), (Some("basil"), 403), (Some("basil & thyme"), 201), (None, 200)] {
        let mut headers = vec![("authorization", bearer.as_str())];
        headers.extend(passcode.map(|passcode| ("trug-passcode", passcode)));
        let answer = client.with("PUT", &keys.path(""), &headers, keys.body()).await;
        assert_eq!(answer.status, status, "{passcode:?}");
        if status == 403 {
            problem(&answer, 403, "passcode");
        }
    }
    assert_eq!(client.post(&keys, b"one").await.status, 201, "once made, a log needs no passcode");
}

#[tokio::test]
async fn a_full_log_refuses_writers_first() {
    let limits = [("log_bytes", 1000), ("owner_reserve_bytes", 1000)];
    let (_directory, _running, mut client) = relay(&limits).await;
    let keys = Keys::new();
    client.make(&keys).await;
    assert_eq!(client.post(&keys, &[1; 800]).await.status, 201);
    problem(&client.post(&keys, &[2; 800]).await, 507, "log-full");
    assert_eq!(client.post(&keys, &[1; 800]).await.status, 200, "a repetition needs no room");
    let owners = client.call("POST", &keys.path("/entries"), Some(&keys.owner), vec![3; 800]).await;
    assert_eq!(owners.status, 201);
    let there = chain([&[1u8; 800][..], &[3; 800]]).to_string();
    let headers = [("authorization", &*format!("Bearer {}", base64url(&keys.owner))), ("trug-chain", &there)];
    assert_eq!(client.with("PUT", &keys.path("/snapshot?through=2"), &headers, vec![4; 100]).await.status, 200);
    assert_eq!(client.post(&keys, &[2; 500]).await.status, 201, "there is room again");
}

#[tokio::test]
async fn each_address_has_its_share() {
    let directory = TempDir::new().expect("a directory");
    let limits = [("requests_per_minute", 20), ("logs_per_hour", 2)];
    let fenced = Config {
        exempt: vec![],
        trusted_proxies: vec!["127.0.0.1".parse().expect("a network")],
        ..config(directory.path(), &limits)
    };
    let running = Running::start(fenced).await;
    let mut client = running.client().await;
    let ask = async |client: &mut Client, from: &str| {
        let keys = Keys::new();
        let bearer = format!("Bearer {}", base64url(&keys.owner));
        client.with("PUT", &keys.path(""), &[("authorization", &bearer), ("x-forwarded-for", from)], keys.body()).await
    };
    let mut statuses = Vec::new();
    for _ in 0..22 {
        statuses.push(ask(&mut client, "203.0.113.9").await);
    }
    let numbers: Vec<u16> = statuses.iter().map(|answer| answer.status).collect();
    assert_eq!(numbers, [vec![201; 2], vec![429; 20]].concat());
    for (answer, most) in [(&statuses[2], 1800), (&statuses[21], 3)] {
        problem(answer, 429, "too-many");
        let wait: u64 = answer.header("retry-after").expect("a time").parse().expect("seconds");
        assert!((1..=most).contains(&wait), "{wait}");
    }
    assert_eq!(ask(&mut client, "203.0.113.10").await.status, 201, "another address has its own");
    assert_eq!(client.call("GET", "/healthz", None, "").await.status, 200);
}

#[tokio::test]
async fn apps_from_anywhere_may_read_the_answers() {
    let (_directory, _running, mut client) = relay(&[]).await;
    let keys = Keys::new();
    let asked = [
        ("origin", "https://app.example"),
        ("access-control-request-method", "PUT"),
        ("access-control-request-headers", "authorization,trug-chain"),
    ];
    let preflight = client.with("OPTIONS", &keys.path("/snapshot"), &asked, "").await;
    assert_eq!((preflight.status, preflight.header("access-control-allow-origin")), (204, Some("*")));
    let allowed = preflight.header("access-control-allow-headers").expect("headers").to_lowercase();
    assert!(["authorization", "content-type", "trug-chain", "trug-passcode"].iter().all(|name| allowed.contains(name)));
    let methods = preflight.header("access-control-allow-methods").expect("methods");
    assert!(["GET", "POST", "PUT", "DELETE"].iter().all(|name| methods.contains(name)));
    client.make(&keys).await;
    for token in [Some(&keys.owner), None] {
        let answer = client.call("GET", &keys.path("/entries"), token, "").await;
        assert_eq!(answer.header("access-control-allow-origin"), Some("*"), "also on errors");
        let exposed = answer.header("access-control-expose-headers").expect("exposed").to_lowercase();
        assert!(["trug-head", "trug-chain", "trug-chain-at"].iter().all(|name| exposed.contains(name)));
        assert_eq!(answer.header("cache-control"), Some("no-store"));
    }
}

#[tokio::test]
async fn other_places_and_methods_are_problems_too() {
    let (_directory, _running, mut client) = relay(&[]).await;
    let keys = Keys::new();
    for path in ["/", "/v1", "/v1/", "/v1/logs", "/v1/nothing/here", "/v2/logs", &keys.path("/entries/1")] {
        problem(&client.call("GET", path, None, "").await, 404, "not-found");
    }
    for (method, path, allow) in [
        ("GET", keys.path(""), "PUT, DELETE"),
        ("PUT", keys.path("/entries"), "GET, POST"),
        ("POST", keys.path("/snapshot"), "PUT"),
        ("DELETE", keys.path("/writer"), "PUT"),
        ("POST", "/v1/live".into(), "GET"),
        ("BREW", keys.path(""), "PUT, DELETE"),
    ] {
        let answer = client.call(method, &path, None, "").await;
        problem(&answer, 405, "method-not-allowed");
        assert_eq!(answer.header("allow"), Some(allow));
    }
    problem(&client.call("GET", "/v1/live", None, "").await, 426, "upgrade-required");
    let said = client.call("GET", "/v1/problems/log-full", None, "").await;
    assert!(said.status == 200 && said.body.starts_with(b"The log is full"));
}

#[tokio::test]
async fn operators_see_figures_and_no_secrets() {
    let (_directory, _running, mut client) = relay(&[]).await;
    let keys = Keys::new();
    client.make(&keys).await;
    client.post(&keys, b"one").await;
    client.post(&keys, b"one").await;
    assert_eq!(client.call("GET", "/healthz", None, "").await.body, "ok\n");
    let page = client.call("GET", "/metrics", None, "").await;
    assert!(page.header("content-type").is_some_and(|kind| kind.starts_with("text/plain")));
    let text = String::from_utf8(page.body.to_vec()).expect("text");
    for line in [
        "trug_relay_entries_appended_total 1",
        "trug_relay_entries_repeated_total 1",
        "trug_relay_requests_total{route=\"/v1/logs/{log}/entries\",method=\"POST\",status=\"201\"} 1",
        "trug_relay_connections 1",
    ] {
        assert!(text.lines().any(|other| other == line), "{line}\n{text}");
    }
    assert!(!text.contains(&keys.id().to_string()), "figures name no log");
}

#[tokio::test]
async fn an_app_is_served_beside_the_relay() {
    let directory = TempDir::new().expect("a directory");
    let relay = Relay::open(config(directory.path(), &[])).await.expect("opens");
    let app = axum::Router::new().fallback(|| async { "the app" });
    let running = Running::serve(relay.with_app(app)).await;
    let mut client = running.client().await;
    for path in ["/", "/index.html", "/shop"] {
        assert_eq!(client.call("GET", path, None, "").await.body, "the app");
    }
    problem(&client.call("GET", "/v1/nothing", None, "").await, 404, "not-found");
    assert_eq!(client.call("GET", "/healthz", None, "").await.body, "ok\n");
}

#[tokio::test]
async fn an_operator_takes_a_snapshot_back() {
    let directory = TempDir::new().expect("a directory");
    let relay = Relay::open(config(directory.path(), &[])).await.expect("opens");
    let (keys, store) = (Keys::new(), relay.store());
    store.create(keys.id(), keys.owner_hash(), keys.writer_hash(), 0).await.expect("made");
    let one = store.append(keys.id(), keys.writer_hash(), "one".into()).await.expect("appended");
    store.snapshot(keys.id(), keys.owner_hash(), 1, one.head.chain, "s".into(), 0).await.expect("taken");
    assert_eq!(relay.restore(keys.id()).await.expect("restored"), Some(1));
    let running = Running::serve(relay).await;
    assert_eq!(running.client().await.read_all(&keys, 0).await, [(1, 0, Bytes::from("one"))]);
}

/// Sends raw bytes and reads until the relay closes.
async fn raw(running: &Running, bytes: &[u8]) -> String {
    let mut stream = TcpStream::connect(running.address).await.expect("a connection");
    let _ = stream.write_all(bytes).await;
    let mut answer = Vec::new();
    let _ = stream.read_to_end(&mut answer).await;
    String::from_utf8_lossy(&answer).into_owned()
}

#[tokio::test]
async fn dawdlers_are_let_go() {
    let limits = [("header_seconds", 1), ("body_seconds", 1), ("idle_seconds", 2), ("ping_seconds", 1)];
    let (_directory, running, mut client) = relay(&limits).await;
    let keys = Keys::new();
    client.make(&keys).await;
    within(6, "letting go of who sends half a header", raw(&running, b"GET /healthz HTTP/1.1\r\nhost: x\r\nx-half"))
        .await;
    within(6, "letting go of who sends nothing", raw(&running, b"")).await;
    let head = format!(
        "POST {} HTTP/1.1\r\nhost: x\r\nauthorization: Bearer {}\r\ncontent-length: 100\r\n\r\nhalf",
        keys.path("/entries"),
        base64url(&keys.writer)
    );
    let answer = within(9, "answering half a body", raw(&running, head.as_bytes())).await;
    assert!(answer.starts_with("HTTP/1.1 408"), "{answer}");
    assert!(running.client().await.read_all(&keys, 0).await.is_empty());
}

#[tokio::test]
async fn what_is_in_hand_is_finished_at_the_end() {
    let (directory, running, mut client) = relay(&[]).await;
    let keys = Keys::new();
    client.make(&keys).await;
    let mut slow = TcpStream::connect(running.address).await.expect("a connection");
    let head = format!(
        "POST {} HTTP/1.1\r\nhost: x\r\nauthorization: Bearer {}\r\ncontent-length: 4\r\n\r\nla",
        keys.path("/entries"),
        base64url(&keys.writer)
    );
    slow.write_all(head.as_bytes()).await.expect("sent");
    tokio::time::sleep(std::time::Duration::from_millis(100)).await;
    let address = running.address;
    let stopping = tokio::spawn(running.stop());
    tokio::time::sleep(std::time::Duration::from_millis(100)).await;
    assert!(TcpStream::connect(address).await.is_err(), "nobody new is taken in");
    slow.write_all(b"st").await.expect("sent");
    let mut answer = String::new();
    slow.read_to_string(&mut answer).await.expect("an answer");
    assert!(answer.starts_with("HTTP/1.1 201"), "{answer}");
    within(5, "stopping", stopping).await.expect("no panic");
    let again = Running::start(config(directory.path(), &[])).await;
    assert_eq!(again.client().await.read_all(&keys, 0).await, [(1, 0, Bytes::from("last"))]);
}

#[tokio::test]
async fn certificates_from_files() {
    use std::sync::Arc;
    use tokio_rustls::rustls::{ClientConfig, RootCertStore, crypto::ring, pki_types::ServerName};
    let directory = TempDir::new().expect("a directory");
    let made = rcgen::generate_simple_self_signed(["relay.example".to_owned()]).expect("a certificate");
    let files = [("cert.pem", made.cert.pem()), ("key.pem", made.signing_key.serialize_pem())];
    for (name, text) in files {
        std::fs::write(directory.path().join(name), text).expect("written");
    }
    let tls =
        trug_relay::TlsFiles { certificate: directory.path().join("cert.pem"), key: directory.path().join("key.pem") };
    let swapped = trug_relay::TlsFiles { certificate: tls.key.clone(), key: tls.certificate.clone() };
    let wrong = Relay::open(Config { tls: Some(swapped), ..config(directory.path(), &[]) }).await;
    assert!(wrong.err().is_some_and(|error| error.to_string().contains("key.pem")));
    let running = Running::start(Config { tls: Some(tls), ..config(directory.path(), &[]) }).await;
    let mut roots = RootCertStore::empty();
    roots.add(made.cert.der().clone()).expect("a root");
    let client = ClientConfig::builder_with_provider(Arc::new(ring::default_provider()))
        .with_safe_default_protocol_versions()
        .expect("versions")
        .with_root_certificates(roots)
        .with_no_client_auth();
    let stream = TcpStream::connect(running.address).await.expect("a connection");
    let name = ServerName::try_from("relay.example").expect("a name");
    let mut stream = tokio_rustls::TlsConnector::from(Arc::new(client)).connect(name, stream).await.expect("TLS");
    stream.write_all(b"GET /healthz HTTP/1.1\r\nhost: relay.example\r\nconnection: close\r\n\r\n").await.expect("sent");
    let mut answer = Vec::new();
    let _ = stream.read_to_end(&mut answer).await;
    assert!(answer.starts_with(b"HTTP/1.1 200") && answer.ends_with(b"ok\n"));
}
