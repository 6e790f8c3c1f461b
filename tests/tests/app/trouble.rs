//! What goes wrong on real phones: no storage, a full one, an entry that nobody should have sent, a certificate of one's
//! own, and a new version that comes while something is still to be sent.

use std::collections::BTreeMap;
use std::io::{Read as _, Write as _};
use std::net::TcpStream;
use std::sync::{Arc, Mutex};

use axum::Router;
use axum::extract::State;
use axum::http::{StatusCode, Uri, header};
use axum::response::IntoResponse;
use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use serde_json::json;
use sha2::{Digest as _, Sha256};
use trug_seal::{DocumentKind, EntryKind, Invitation, Place, pack};
use trug_sync::EntryId;

use crate::browser::{Kind, Phone, Seen, Shop};
use crate::{TURN, first_line, kind, link_for, with_demo};

#[tokio::test]
async fn a_browser_that_stores_nothing_is_said_to() {
    let _turn = TURN.lock().await;
    if kind() != Kind::Chromium {
        // Only Chromium's driver can take the database away before the page loads.
        return;
    }
    let shop = Shop::open().unwrap();
    let phone = Phone::new(kind()).await.unwrap();
    let refuse = "IDBFactory.prototype.open = () => { throw new DOMException('not here', 'SecurityError') }";
    phone.devtools("Page.addScriptToEvaluateOnNewDocument", json!({ "source": refuse })).await.unwrap();
    phone.open(&shop.address()).await.unwrap();
    phone.press("button", "Look around with the demo").await.unwrap();
    let food = first_line(&phone).await.unwrap();
    phone.press("checkbox", &food).await.unwrap();
    phone.sync_says(&["not saving"]).await.unwrap();
    phone.read("This phone is not saving").await.unwrap();
    phone.read("1 got").await.unwrap();
    phone.picture("refused").await.unwrap();
}

/// A full disk, as the page sees one: what is written is taken back, for want of room. (What Chromium's tools say of the
/// quota does not reach its database.)
const FULL: &str = "const begin = IDBDatabase.prototype.transaction; \
    IDBDatabase.prototype.transaction = function (stores, mode, options) { \
      const one = begin.call(this, stores, mode, options); \
      if (mode === 'readwrite' && window.full) { \
        Object.defineProperty(one, 'error', { get: () => new DOMException('no room', 'QuotaExceededError') }); \
        one.commit = () => one.abort(); \
      } \
      return one; \
    }";

#[tokio::test]
async fn a_full_phone_is_said_to_be_and_saves_what_waited_once_there_is_room() {
    let _turn = TURN.lock().await;
    if kind() != Kind::Chromium {
        // Only Chromium's driver can get at the page before it loads.
        return;
    }
    let shop = Shop::open().unwrap();
    let phone = Phone::new(kind()).await.unwrap();
    phone.devtools("Page.addScriptToEvaluateOnNewDocument", json!({ "source": FULL })).await.unwrap();
    phone.open(&shop.address()).await.unwrap();
    phone.press("button", "Look around with the demo").await.unwrap();
    let food = first_line(&phone).await.unwrap();
    phone.sync_says(&["on this phone"]).await.unwrap();
    phone.script("window.full = true", Vec::new()).await.unwrap();
    phone.press("checkbox", &food).await.unwrap();
    phone.sync_says(&["not saving"]).await.unwrap();
    phone.read("This phone is not saving").await.unwrap();
    phone.read("1 got").await.unwrap();
    phone.picture("full").await.unwrap();
    phone.script("window.full = false", Vec::new()).await.unwrap();
    // What was got stays where it was for a moment, so another line is named.
    phone.press("checkbox", "Farro").await.unwrap();
    phone.read("2 got").await.unwrap();
    phone.sync_says(&["on this phone"]).await.unwrap();
    phone.open(&shop.address()).await.unwrap();
    phone.read("2 got").await.unwrap();
}

/// Appends bytes to a log as somebody would who was invited to it.
fn append(shop: &Shop, invitation: &Invitation, sealed: &[u8]) -> Seen<String> {
    let mut stream = TcpStream::connect(shop.socket()).map_err(|error| error.to_string())?;
    let bearer = invitation.share_secret().writer_token().bearer();
    let head = format!(
        "POST /v1/logs/{}/entries HTTP/1.1\r\nhost: relay\r\nconnection: close\r\nauthorization: Bearer {}\r\n\
         content-length: {}\r\n\r\n",
        invitation.log(),
        *bearer,
        sealed.len()
    );
    let sent = stream.write_all(&[head.as_bytes(), sealed].concat());
    sent.map_err(|error| error.to_string())?;
    let mut answer = String::new();
    stream.read_to_string(&mut answer).map_err(|error| error.to_string())?;
    Ok(answer)
}

/// Puts an entry into a trip's log that opens with the right key, and is no change: somebody who was invited means ill.
fn forge(shop: &Shop, link: &str) -> EntryId {
    let invitation = Invitation::find(link).unwrap();
    let place = Place { log: invitation.log(), document: DocumentKind::Run, entry: EntryKind::Entry };
    let content = pack(&[b"\x85\x6f\x4a\x83 this is no change".as_slice()]).unwrap();
    let sealed = invitation.share_secret().sealing_key().seal(&place, &content).unwrap();
    let answer = append(shop, &invitation, &sealed).unwrap();
    assert!(answer.starts_with("HTTP/1.1 201"), "{answer}");
    EntryId::of(&sealed)
}

#[tokio::test]
async fn an_entry_that_is_no_change_is_set_aside_and_the_rest_goes_on() {
    let _turn = TURN.lock().await;
    let shop = Shop::open().unwrap();
    let chef = with_demo(&shop).await.unwrap();
    let link = link_for(&chef, "Jo").await.unwrap();
    chef.sync_says(&["sent"]).await.unwrap();
    forge(&shop, &link);
    chef.open(&shop.address()).await.unwrap();
    chef.read("could not be let in").await.unwrap();
    chef.picture("aside").await.unwrap();
    let food = first_line(&chef).await.unwrap();
    chef.press("checkbox", &food).await.unwrap();
    chef.sync_says(&["sent"]).await.unwrap();
}

/// What a program would meet in which one entry sets off a fault that nobody knows yet: when it is durable that the entry
/// is being tried, and nothing else has come of that, the program stops. Nothing that it waits for comes any more, and what
/// it was waiting for is on the disk.
///
/// A journal is how often the program had stopped before, and the ids of what is tried. One in which a start writes down
/// again what it found is no trial: it counts one stop less than there were.
const STOPS_ON: &str = "const bad = 'BAD'; \
    const hex = bytes => [...bytes].map(byte => byte.toString(16).padStart(2, '0')).join(''); \
    const tried = () => JSON.parse(sessionStorage.getItem('tried') || '[]'); \
    const put = IDBObjectStore.prototype.put; \
    IDBObjectStore.prototype.put = function (value, key) { \
      const made = put.apply(this, arguments); \
      if (!String(key).includes('/trying/')) return made; \
      const [stops, ids] = [value[0], hex(value.slice(1)).match(/.{64}/g) || []]; \
      if (!ids.includes(bad)) return made; \
      window.named = true; \
      if (stops !== tried().length) return made; \
      this.transaction.oncomplete = () => { \
        sessionStorage.setItem('tried', JSON.stringify([...tried(), ids.length])); \
        window.stopped = true; \
      }; \
      return made; \
    }";

/// Starts the program until one start goes on; how many of them stopped.
async fn starts_until_it_goes_on(phone: &Phone, address: &str) -> usize {
    for stopped in 0..10 {
        phone.open(address).await.unwrap();
        let outcome =
            "return window.stopped ? 'stopped' : document.body.innerText.includes('set aside') ? 'goes on' : ''";
        let start = std::time::Instant::now();
        let outcome = loop {
            let outcome = phone.script(outcome, Vec::new()).await.unwrap_or_default();
            if outcome == json!("stopped") || outcome == json!("goes on") {
                break outcome;
            }
            assert!(start.elapsed().as_secs() < 30, "start {stopped} neither stops nor says what was set aside");
            tokio::time::sleep(std::time::Duration::from_millis(80)).await;
        };
        if outcome == json!("goes on") {
            return stopped;
        }
    }
    panic!("it stops again and again");
}

#[tokio::test]
async fn an_entry_that_stops_the_program_is_blamed_after_three_stops_and_the_rest_goes_on() {
    let _turn = TURN.lock().await;
    if kind() != Kind::Chromium {
        // Only Chromium's driver can get at the page before it loads.
        return;
    }
    let shop = Shop::open().unwrap();
    let chef = with_demo(&shop).await.unwrap();
    let link = link_for(&chef, "Jo").await.unwrap();
    chef.sync_says(&["sent"]).await.unwrap();
    let helper = crate::joined(&link, "Jo").await.unwrap();
    chef.open("about:blank").await.unwrap();
    // What a helper got comes in the same page as the bad entry, so that both are tried together.
    let food = first_line(&helper).await.unwrap();
    helper.press("checkbox", &food).await.unwrap();
    helper.read("1 got").await.unwrap();
    helper.sync_says(&["sent"]).await.unwrap();
    let bad = forge(&shop, &link);
    let id: String = bad.0.iter().map(|byte| format!("{byte:02x}")).collect();
    let source = STOPS_ON.replace("BAD", &id);
    chef.devtools("Page.addScriptToEvaluateOnNewDocument", json!({ "source": source })).await.unwrap();

    assert_eq!(starts_until_it_goes_on(&chef, &shop.address()).await, 3, "once among others, twice alone");
    chef.read("the program stopped while it was being tried").await.unwrap();
    chef.read("could not be let in").await.unwrap();
    chef.read("1 got").await.unwrap();
    let tried = chef.script("return JSON.parse(sessionStorage.getItem('tried'))", Vec::new()).await.unwrap();
    assert_eq!(tried, json!([2, 1, 1]), "how many entries were tried together at each stop");
    chef.picture("blamed").await.unwrap();

    chef.press("checkbox", "Farro").await.unwrap();
    chef.read("2 got").await.unwrap();
    chef.sync_says(&["sent"]).await.unwrap();
    helper.read("2 got").await.unwrap();
    helper.press("checkbox", "Dried cranberry").await.unwrap();
    helper.sync_says(&["sent"]).await.unwrap();
    chef.read("3 got").await.unwrap();

    // It is said again, and never tried again.
    assert_eq!(starts_until_it_goes_on(&chef, &shop.address()).await, 0);
    let named = chef.script("return !!window.named", Vec::new()).await.unwrap();
    assert_eq!(named, json!(false), "no journal names it any more");
    chef.read("3 got").await.unwrap();
}

#[tokio::test]
async fn over_a_certificate_of_its_own_it_is_kept_for_starting_offline() {
    let _turn = TURN.lock().await;
    if kind() != Kind::Chromium {
        // The others refuse a certificate that nobody signed.
        return;
    }
    let mut shop = Shop::open_with_certificate().unwrap();
    let phone = Phone::trusting_any_certificate().await.unwrap();
    phone.open(&shop.address()).await.unwrap();
    phone.press("button", "Look around with the demo").await.unwrap();
    let food = first_line(&phone).await.unwrap();
    phone.is_ready_for_offline().await.unwrap();
    shop.kill();
    phone.open(&shop.address()).await.unwrap();
    assert_eq!(first_line(&phone).await.unwrap(), food);
}

/// The app's files as a host for files has them; what they are can be changed while it runs.
type Files = Arc<Mutex<BTreeMap<String, Vec<u8>>>>;

async fn file(State(files): State<Files>, uri: Uri) -> impl IntoResponse {
    let path = match uri.path().trim_start_matches('/') {
        "" => "index.html",
        path => path,
    };
    let kind = match path.rsplit_once('.').map_or("", |(_, ending)| ending) {
        "html" => "text/html",
        "js" => "text/javascript",
        "css" => "text/css",
        "wasm" => "application/wasm",
        "svg" => "image/svg+xml",
        "png" => "image/png",
        _ => "application/json",
    };
    let bytes = files.lock().ok().and_then(|files| files.get(path).cloned());
    match bytes {
        Some(bytes) => (StatusCode::OK, [(header::CONTENT_TYPE, kind), (header::CACHE_CONTROL, "no-cache")], bytes),
        None => (
            StatusCode::NOT_FOUND,
            [(header::CONTENT_TYPE, "text/plain"), (header::CACHE_CONTROL, "no-cache")],
            Vec::new(),
        ),
    }
}

fn built(folder: &std::path::Path, below: &str, files: &mut BTreeMap<String, Vec<u8>>) {
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        let name = format!("{below}{}", path.file_name().unwrap().to_string_lossy());
        if path.is_dir() {
            built(&path, &format!("{name}/"), files);
        } else {
            files.insert(name, std::fs::read(&path).unwrap());
        }
    }
}

/// The same app, a version later: its page says something else.
fn make_newer(files: &Files) {
    let mut files = files.lock().unwrap();
    let page = String::from_utf8(files["index.html"].clone()).unwrap();
    let hash = |page: &str| format!("sha256-{}", STANDARD.encode(Sha256::digest(page)));
    let newer = page.replace("<title>Trug</title>", "<title>Trug</title><meta name=\"trug-newer\" content=\"yes\">");
    assert_ne!(page, newer);
    let worker = String::from_utf8(files["sw.js"].clone()).unwrap();
    assert!(worker.contains(&hash(&page)));
    let worker = worker.replace(&hash(&page), &hash(&newer)).replace("const VERSION = \"", "const VERSION = \"f");
    files.insert("index.html".to_owned(), newer.into_bytes());
    files.insert("sw.js".to_owned(), worker.into_bytes());
}

#[tokio::test]
async fn a_new_version_takes_over_when_told_to_and_loses_nothing_that_was_to_be_sent() {
    let _turn = TURN.lock().await;
    let mut files = BTreeMap::new();
    built(std::path::Path::new(&std::env::var("TRUG_WEB_DIST").unwrap()), "", &mut files);
    let files: Files = Arc::new(Mutex::new(files));
    let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.unwrap();
    let host = format!("http://{}/", listener.local_addr().unwrap());
    let app = Router::new().fallback(file).with_state(files.clone());
    tokio::spawn(async move { axum::serve(listener, app).await });

    let mut shop = Shop::open().unwrap();
    let chef = with_demo(&shop).await.unwrap();
    let link = link_for(&chef, "Jo").await.unwrap().replace(&shop.address(), &host);
    let helper = crate::joined(&link, "Jo").await.unwrap();
    helper.is_ready_for_offline().await.unwrap();
    helper.sync_says(&["sent"]).await.unwrap();
    shop.kill();
    let food = first_line(&helper).await.unwrap();
    helper.press("checkbox", &food).await.unwrap();
    helper.sync_says(&["to send"]).await.unwrap();
    make_newer(&files);
    helper.open(&host).await.unwrap();
    let newer = "return !!document.querySelector('meta[name=trug-newer]')";
    helper.see("button", "Start the new version").await.unwrap();
    assert_eq!(helper.script(newer, Vec::new()).await.unwrap(), json!(false), "it waits until it is told to");
    helper.picture("update").await.unwrap();
    helper.press("button", "Start the new version").await.unwrap();
    helper.see_gone("button", "Start the new version").await.unwrap();
    helper.sync_says(&["to send"]).await.unwrap();
    assert_eq!(helper.script(newer, Vec::new()).await.unwrap(), json!(true));
    shop.start().unwrap();
    helper.sync_says(&["sent"]).await.unwrap();
    chef.open(&shop.address()).await.unwrap();
    chef.press("link", "Shop").await.unwrap();
    chef.read("1 got").await.unwrap();
}
