//! What a helper's document, and every byte that a relay gets to see or keeps, must not contain.
//!
//! A chef's book, pantry and run are made from a kitchen, synced over a relay in this process, and joined by a helper
//! who picks. Then everything is searched: the helper's saved document, its raw changes, its device's records, all
//! bodies that were sent, and the relay's files while it runs and after it has stopped. Planted words show that the
//! search finds what is there.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a panic is a failed check")]

use std::collections::{BTreeMap, BTreeSet, VecDeque};
use std::fs;
use std::io::{Read as _, Write as _};
use std::net::{SocketAddr, TcpStream};
use std::path::Path;

use base64::Engine as _;
use base64::engine::general_purpose::{STANDARD_NO_PAD, URL_SAFE_NO_PAD};
use tempfile::TempDir;
use tokio::runtime::Runtime;
use tokio::sync::oneshot;
use trug_provision::kitchen::Kitchen;
use trug_provision::{Options, list};
use trug_relay::{Config, Relay, serve};
use trug_replica::Document;
use trug_replica::book::{Book, Root as Kept};
use trug_replica::gate::{Gate, Limits};
use trug_replica::id::{DeviceId, OsEntropy, Salt, Stamp};
use trug_replica::pantry::{Counted, Lot, Move, Pantry};
use trug_replica::run::{HandLine, Pick, Quantity, Run, Subs, Taken, plan_lines};
use trug_seal::{DocumentKind, EntryKind, Invitation, Role, Root, WebAddress};
use trug_sync::{Answer, Call, Chain, Effect, Engine, Event, Failure, Instant, Key, Keys, Page, Settings};
use trug_tests::Scene;

// --- The search ---------------------------------------------------------------------------------------------------

/// Something that must not be there, in all the forms in which it could be.
struct Secret {
    name: String,
    /// Forms that are searched for as they are.
    exact: Vec<Vec<u8>>,
    /// Forms that are searched for in any case.
    any_case: Vec<Vec<u8>>,
}

impl Secret {
    /// A text: as it is, in UTF-16, and as its bytes are written in hexadecimal and base64. A text of five letters may
    /// stand in random bytes in any case by chance, but not as it is.
    fn text(text: &str) -> Self {
        let lower = text.to_lowercase().into_bytes();
        let wide: Vec<u8> = text.encode_utf16().flat_map(u16::to_le_bytes).collect();
        let mut secret = Self::bytes(text, text.as_bytes());
        secret.exact.push(wide);
        if lower.len() >= 6 {
            secret.any_case.push(lower);
        }
        secret
    }

    /// Bytes: raw, in hexadecimal, and in base64 wherever they may begin within it.
    fn bytes(name: &str, bytes: &[u8]) -> Self {
        let hex: String = bytes.iter().map(|byte| format!("{byte:02x}")).collect();
        let mut exact = vec![bytes.to_vec()];
        for shift in 0..3 {
            // What comes before shifts the letters; the letters that it and what follows have a part in are left out.
            let shifted = [&vec![0; shift][..], bytes].concat();
            let (from, to) = ((shift * 8).div_ceil(6), shifted.len() * 8 / 6);
            for letters in [URL_SAFE_NO_PAD.encode(&shifted), STANDARD_NO_PAD.encode(&shifted)] {
                exact.push(letters.as_bytes()[from..to].to_vec());
            }
        }
        exact.retain(|form| form.len() >= 5);
        Self { name: name.to_owned(), exact, any_case: vec![hex.into_bytes()] }
    }

    fn is_in(&self, hay: &Hay) -> bool {
        self.exact.iter().any(|form| contains(&hay.bytes, form))
            || self.any_case.iter().any(|form| contains(&hay.lower, form))
    }
}

fn contains(hay: &[u8], needle: &[u8]) -> bool {
    let Some(first) = needle.first() else { return false };
    let mut rest = hay;
    while let Some(at) = rest.iter().position(|byte| byte == first) {
        if rest[at..].starts_with(needle) {
            return true;
        }
        rest = &rest[at + 1..];
    }
    false
}

/// Bytes that are searched.
struct Hay {
    name: String,
    bytes: Vec<u8>,
    lower: Vec<u8>,
}

impl Hay {
    fn new(name: impl Into<String>, bytes: Vec<u8>) -> Self {
        let lower = String::from_utf8_lossy(&bytes).to_lowercase().into_bytes();
        Self { name: name.into(), bytes, lower }
    }
}

fn assert_none(secrets: &[Secret], hays: &[Hay]) {
    assert!(secrets.len() > 20 && hays.iter().any(|hay| hay.bytes.len() > 1000), "there is something to search");
    let found = |hay: &Hay| {
        let found = secrets.iter().filter(|secret| secret.is_in(hay)).map(|secret| secret.name.as_str());
        found.map(|secret| format!("`{secret}` in {}", hay.name)).collect::<Vec<_>>()
    };
    let found: Vec<String> = hays.iter().flat_map(found).collect();
    assert_eq!(found, Vec::<String>::new());
}

// --- A device with its engine, and a relay ------------------------------------------------------------------------

/// What went over the wire, without the headers, where tokens must stand.
type Sent = Vec<Vec<u8>>;

struct Device<D: Document> {
    engine: Engine<Gate<D>>,
    keys: Keys,
    relay: SocketAddr,
    records: BTreeMap<Key, Vec<u8>>,
    sent: Sent,
    now: u64,
}

impl<D: Document> Device<D> {
    fn new(keys: Keys, relay: SocketAddr) -> Self {
        let settings = Settings { seed: 7, snapshot_every: 4, ..Settings::default() };
        let open = |saved: Option<&[u8]>| {
            let device = DeviceId::draw(&mut OsEntropy).ok()?;
            let document = match saved {
                Some(saved) => D::load(saved, device, &mut OsEntropy).ok()?,
                None => D::create(device, &mut OsEntropy).ok()?,
            };
            Some(Gate::new(document, Limits::default()))
        };
        let engine = Engine::open(keys.clone(), settings, Vec::new(), open, &mut Vec::new()).expect("a new document");
        Self { engine, keys, relay, records: BTreeMap::new(), sent: Sent::new(), now: 0 }
    }

    fn document(&mut self) -> &mut D {
        self.engine.document_mut().document_mut()
    }

    /// Until nothing is left to do.
    fn sync(&mut self) {
        let mut events = VecDeque::from([Event::Edited, Event::Online, Event::Head(u64::MAX)]);
        while let Some(event) = events.pop_front() {
            let mut out = Vec::new();
            self.now += 1;
            self.engine.handle(Instant(self.now), event, &mut out);
            for effect in out {
                match effect {
                    Effect::Store { ticket, key, bytes } => {
                        self.records.insert(key, bytes);
                        events.push_back(Event::Stored(ticket));
                    }
                    Effect::Delete(key) => drop(self.records.remove(&key)),
                    Effect::Send(request, call) => events.push_back(Event::Answer(request, self.call(call))),
                    Effect::Watch(_) | Effect::SetTimer(_) | Effect::Tell(_) => {}
                }
            }
        }
        assert!(self.engine.is_settled(), "{}", self.engine.unrest());
        assert_eq!(self.engine.document().quarantine(), []);
    }

    fn call(&mut self, call: Call) -> Result<Answer, Failure> {
        let encode = |bytes: &[u8]| URL_SAFE_NO_PAD.encode(bytes);
        let log = format!("/v1/logs/{}", self.keys.log);
        let writer = || format!("{{\"writer\":\"{}\"}}", self.keys.writer_hash()).into_bytes();
        let (method, path, extra, body) = match call {
            Call::Create => ("PUT", log, String::new(), writer()),
            Call::Append(sealed) => ("POST", format!("{log}/entries"), String::new(), sealed),
            Call::Fetch { after } => ("GET", format!("{log}/entries?after={after}"), String::new(), Vec::new()),
            Call::Snapshot { through, chain, sealed } => {
                let chain = format!("trug-chain: {}\r\n", encode(&chain.0));
                ("PUT", format!("{log}/snapshot?through={through}"), chain, sealed)
            }
            Call::ReadOnly => ("PUT", format!("{log}/writer"), String::new(), b"null".to_vec()),
            Call::Delete => ("DELETE", log, String::new(), Vec::new()),
        };
        let bearer = format!("authorization: Bearer {}\r\n{extra}", *self.keys.bearer());
        self.sent.push([path.as_bytes(), b"\n", &body].concat());
        let response = http(self.relay, method, &path, &bearer, &body);
        match (method, response.status) {
            ("POST", 200 | 201) => Ok(Answer::Appended {
                seq: response.seq(),
                head: response.number("trug-head"),
                chain: response.chain("trug-chain").expect("a chain"),
            }),
            ("GET", 200) => Ok(Answer::Page(response.page())),
            (_, 200..300) => Ok(Answer::Done),
            (_, 404) => Err(Failure::NotFound),
            other => panic!("{other:?}: {}", String::from_utf8_lossy(&response.body)),
        }
    }
}

struct Response {
    status: u16,
    headers: BTreeMap<String, String>,
    body: Vec<u8>,
}

impl Response {
    fn number(&self, header: &str) -> u64 {
        self.headers[header].parse().expect("a number")
    }

    fn chain(&self, header: &str) -> Option<Chain> {
        let bytes = URL_SAFE_NO_PAD.decode(self.headers.get(header)?).expect("base64url");
        Some(Chain(bytes.try_into().expect("32 bytes")))
    }

    fn seq(&self) -> u64 {
        let json: serde_json::Value = serde_json::from_slice(&self.body).expect("JSON");
        json["seq"].as_u64().expect("a number")
    }

    fn page(&self) -> Page {
        let (mut rest, mut entries) = (self.body.as_slice(), Vec::new());
        while let Some((head, body)) = rest.split_first_chunk::<13>() {
            let seq = u64::from_be_bytes(head[..8].try_into().expect("8 bytes"));
            let length = u32::from_be_bytes(head[9..].try_into().expect("4 bytes")) as usize;
            entries.push((seq, EntryKind::from_byte(head[8]).expect("a kind"), body[..length].to_vec()));
            rest = &body[length..];
        }
        let chain = self.chain("trug-chain").expect("a chain");
        Page { entries, head: self.number("trug-head"), chain, chain_at: self.chain("trug-chain-at") }
    }
}

/// One request on a connection of its own.
fn http(relay: SocketAddr, method: &str, path: &str, headers: &str, body: &[u8]) -> Response {
    let mut stream = TcpStream::connect(relay).expect("a connection");
    let length = body.len();
    let head = format!(
        "{method} {path} HTTP/1.1\r\nhost: relay\r\nconnection: close\r\ncontent-length: {length}\r\n{headers}\r\n"
    );
    stream.write_all(&[head.as_bytes(), body].concat()).expect("it listens");
    let mut answer = Vec::new();
    stream.read_to_end(&mut answer).expect("an answer");
    let end = answer.windows(4).position(|four| four == b"\r\n\r\n").expect("headers");
    let head = String::from_utf8(answer[..end].to_vec()).expect("ASCII");
    let status = head.split(' ').nth(1).and_then(|status| status.parse().ok()).expect("a status");
    let headers: BTreeMap<String, String> = head
        .lines()
        .filter_map(|line| line.split_once(": "))
        .map(|(name, value)| (name.to_lowercase(), value.to_owned()))
        .collect();
    let body = answer[end + 4..].to_vec();
    let body = if headers.contains_key("transfer-encoding") { unchunked(&body) } else { body };
    Response { status, headers, body }
}

fn unchunked(mut body: &[u8]) -> Vec<u8> {
    let mut whole = Vec::new();
    while let Some(end) = body.windows(2).position(|two| two == b"\r\n") {
        let length = std::str::from_utf8(&body[..end]).ok().and_then(|text| usize::from_str_radix(text, 16).ok());
        let length = length.expect("a length");
        whole.extend_from_slice(&body[end + 2..end + 2 + length]);
        body = body.get(end + 4 + length..).unwrap_or_default();
    }
    whole
}

struct Running {
    runtime: Runtime,
    address: SocketAddr,
    stop: oneshot::Sender<()>,
    served: tokio::task::JoinHandle<()>,
}

impl Running {
    fn start(data: &Path) -> Self {
        let runtime =
            tokio::runtime::Builder::new_multi_thread().worker_threads(2).enable_all().build().expect("a runtime");
        let config = Config { data: data.to_path_buf(), ..Config::default() };
        let (relay, listener) = runtime.block_on(async {
            let relay = Relay::open(config).await.expect("it opens");
            (relay, tokio::net::TcpListener::bind("127.0.0.1:0").await.expect("a port"))
        });
        let address = listener.local_addr().expect("an address");
        let (stop, stopped) = oneshot::channel::<()>();
        let served = runtime.spawn(async move {
            serve(relay, listener, async { drop(stopped.await) }).await.expect("it serves");
        });
        Self { runtime, address, stop, served }
    }

    fn stop(self) {
        drop(self.stop);
        self.runtime.block_on(self.served).expect("no panic");
    }
}

/// Every file below a directory.
fn files(directory: &Path) -> Vec<Hay> {
    let mut hays = Vec::new();
    for entry in fs::read_dir(directory).expect("a directory") {
        let path = entry.expect("an entry").path();
        if path.is_dir() {
            hays.extend(files(&path));
        } else {
            hays.push(Hay::new(path.display().to_string(), fs::read(&path).expect("a file")));
        }
    }
    hays
}

// --- The kitchens, and what is secret in them ---------------------------------------------------------------------

/// Texts that no helper's document may hold, as far as they are not words that a helper must read: the foods on the list,
/// the allergies at the tables, and the stores' names, which are on their doors.
fn texts(kitchen: &Kitchen, shown: &BTreeSet<String>) -> BTreeSet<String> {
    let mut texts = BTreeSet::from([kitchen.name.clone()]);
    for (id, household) in &kitchen.households {
        texts.extend([id.to_string(), household.name.clone()]);
        texts.extend(household.short.clone());
        texts.extend(household.pantry.as_ref().map(ToString::to_string));
        // As the records write money, with its currency; five bare digits stand in a list's exact amounts by chance.
        texts.extend(household.budget.map(|budget| format!("{} {}", budget.minor, budget.currency)));
        texts.extend(household.budget.map(|budget| budget.minor.to_string()).filter(|digits| digits.len() >= 7));
        texts.extend(household.budget.map(|budget| format!("{}.{:02}", budget.minor / 100, budget.minor % 100)));
        for diner in &household.diners {
            texts.insert(diner.name.clone());
            texts.extend(diner.diet.iter().cloned());
            texts.extend(diner.avoid.iter().cloned());
        }
    }
    texts.extend(kitchen.dishes.keys().map(ToString::to_string));
    texts.extend(kitchen.dishes.values().map(|dish| dish.title.clone()));
    texts.extend(kitchen.weeks.keys().map(ToString::to_string));
    texts.extend(kitchen.pantries.keys().map(ToString::to_string));
    texts.retain(|text| text.len() >= 5 && !shown.iter().any(|shown| shown.contains(&text.to_lowercase())));
    texts
}

/// A word that is in no language and no catalogue.
fn mark(seed: u64, of: &str) -> String {
    let bytes = trug_sync::EntryId::of(format!("{seed} {of}").as_bytes()).0;
    let letters = bytes.iter().take(9).map(|byte| char::from(b'a' + byte % 26));
    format!("q{}x", letters.collect::<String>())
}

/// A kitchen in which everything that a helper must not read is such a word.
fn marked(seed: u64) -> (Kitchen, BTreeMap<String, String>) {
    let word = |of: &str| mark(seed, of);
    let household = |at: usize| {
        let name = |of: &str| word(&format!("{of} {at}"));
        format!(
            "name = \"{}\"\nshort = \"{}\"\nbudget = \"{}.{at}7\"\npantry = \"{}\"\nseparate = {}\n\n\
             [[diner]]\nname = \"{}\"\nallergies = [\"peanuts\"]\navoid = [\"{}\"]\n\n\
             [[diner]]\nname = \"{}\"\ndiet = [\"vegetarian\"]\n",
            name("household"),
            name("short"),
            8_642_197 + seed,
            name("pantry"),
            at == 1,
            name("diner"),
            name("dislike"),
            name("other diner"),
        )
    };
    let foods = ["2 lb carrots, peeled", "1 cup peanut butter", "3 onions, diced", "1 cup whole milk", "2 cups rice"];
    let mut scene = Scene::bare().with(
        "kitchen.toml",
        &format!(
            "name = \"{}\"\ncurrency = \"USD\"\nunits = \"us\"\nallergens = \"us\"\nstore = \"corner\"\n",
            word("kitchen")
        ),
    );
    scene = scene.with("stores/corner.toml", "name = \"Corner Grocery\"\nsections = [\"produce\"]\n");
    scene = scene.with("prices.csv", "food,store,sold,size,price,on\ncarrots,corner,pack,2 lb,2.49,2026-02-20\n");
    let mut week = String::new();
    for at in 0..3 {
        let (id, dish) = (word(&format!("id {at}")), word(&format!("dish {at}")));
        scene = scene.with(&format!("households/{id}.toml"), &household(at));
        scene = scene.with(
            &format!("pantries/{}.csv", word(&format!("pantry {at}"))),
            "food,amount,keep,use_by\ncarrots,2 oz,chilled,2026-03-30\n",
        );
        let lines: String =
            foods.iter().cycle().skip(at + seed as usize).take(4).map(|line| format!("- {line}\n")).collect();
        let text = format!(
            "# {}\n\nServes 4\n\n## Ingredients\n\n### {}\n\n{lines}\n## Method\n\n{}\n",
            word(&format!("title {at}")),
            word(&format!("part {at}")),
            word(&format!("method {at}")),
        );
        scene = scene.with(&format!("dishes/{dish}.md"), &text);
        week.push_str(&trug_tests::service(&id, &[(&dish, 4)]));
        week.push('\n');
    }
    scene = scene.with(&format!("weeks/{}.toml", word("week")), &week);
    let texts = scene.files();
    let texts = texts.iter().map(|(path, bytes)| (path.to_string(), String::from_utf8_lossy(bytes).into_owned()));
    let texts = texts.collect();
    (scene.kitchen(), texts)
}

fn demo() -> (Kitchen, BTreeMap<String, String>) {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../demo-data");
    let files = trug_folder::read_dir(&folder).unwrap();
    let texts = files.iter().map(|(path, bytes)| (path.to_string(), String::from_utf8_lossy(bytes).into_owned()));
    let texts = texts.collect();
    (trug_folder::read(&files).unwrap(), texts)
}

// --- The check ----------------------------------------------------------------------------------------------------

/// Words that a helper is meant to read, to see that they are there.
const TITLE: &str = "Thursday with plantedword";
const BY_HAND: &str = "plantedbyhand bread";

/// The chef's devices: everything is written and synced, then a helper joins and picks.
struct Household {
    book: Device<Book>,
    pantry: Device<Pantry>,
    chef: Device<Run>,
    helper: Device<Run>,
    keys: Vec<(&'static str, Root)>,
    salt: Salt,
}

fn write(kitchen: &Kitchen, files: &BTreeMap<String, String>, relay: SocketAddr) -> (Household, BTreeSet<String>) {
    let roots = [DocumentKind::Book, DocumentKind::Pantry, DocumentKind::Run]
        .map(|kind| (kind, Root::generate().expect("randomness")));
    let [book, pantry, run] = &roots;
    let keys = |(kind, root): &(DocumentKind, Root)| Keys::owner(root, *kind);
    let mut chef = Device::<Run>::new(keys(run), relay);
    let salt = Salt::draw(&mut OsEntropy).expect("randomness");

    let mut shelf = Device::<Book>::new(keys(book), relay);
    shelf.document().import(files.iter().map(|(path, text)| (path.as_str(), text.as_str()))).unwrap();
    for (name, (_, root)) in ["pantry", "run"].into_iter().zip([pantry, run]) {
        let secret = URL_SAFE_NO_PAD.encode(root.expose());
        let salt = salt.to_bytes().iter().map(|byte| format!("{byte:02x}")).collect();
        let kept =
            Kept { kind: trug_replica::Kind::Run, title: name.to_owned(), secret, salt: Some(salt), relay: None };
        shelf.document().set_root(name, &kept).unwrap();
    }
    shelf.sync();

    let mut place = Device::<Pantry>::new(keys(pantry), relay);
    let household = kitchen.households.values().next().expect("a household");
    place.document().set_title(&household.name).unwrap();
    let lot = Lot { food: "carrots".to_owned(), keep: trug_catalog::Keep::Chilled, use_by: None };
    let lot = place.document().add_lot(&lot).unwrap();
    let by = "2 lb".parse().unwrap();
    place.document().move_stock(&Move { lot: lot.clone(), by, why: household.name.clone(), at: Stamp(1) }).unwrap();
    place.document().count(&lot, Counted::Plenty, Stamp(2)).unwrap();
    place.sync();

    // The run is brought up to date for every week in turn, as it would be when the plan changes.
    let mut shown = BTreeSet::new();
    chef.document().set_title(TITLE).unwrap();
    for (count, week) in kitchen.weeks.keys().enumerate() {
        let list = list(kitchen, week, &Options::default()).unwrap();
        let subs = |_: &str| Subs { cleared: vec!["parsnips".to_owned()], ask: false };
        let plan = plan_lines(kitchen, &list, &salt, subs);
        assert!(plan.iter().any(|line| !line.must_not.is_empty()), "allergies are for the helper to read");
        shown.extend(plan.iter().flat_map(|line| {
            let allergies = line.must_not.iter().map(|must_not| must_not.what.to_lowercase());
            allergies.chain([line.food.to_lowercase(), line.section.to_lowercase()]).collect::<Vec<_>>()
        }));
        chef.document().bring_up_to_date(count as u64, &plan).unwrap();
        chef.sync();
    }
    shown.extend(kitchen.stores.values().map(|store| store.name.to_lowercase()));

    let helper = invited(&run.1, relay);
    let mut household = Household { book: shelf, pantry: place, chef, helper, keys: vec![], salt };
    shop(&mut household);
    let [(_, book), (_, pantry), (_, run)] = roots;
    household.keys = vec![("book", book), ("pantry", pantry), ("run", run)];
    (household, shown)
}

/// A helper who got the link.
fn invited(root: &Root, relay: SocketAddr) -> Device<Run> {
    let address: WebAddress = "https://app.example".parse().unwrap();
    let invitation =
        Invitation::new(DocumentKind::Run, Role::Helper, None, root.log_id(), root.share_secret()).unwrap();
    let found = Invitation::find(&invitation.link(&address)).unwrap();
    Device::new(Keys::writer(found.log(), found.share_secret(), found.document()), relay)
}

fn shop(household: &mut Household) {
    let helper = &mut household.helper;
    helper.sync();
    let lines = helper.document().view().lines;
    assert!(lines.len() >= 4);
    helper.document().set_name("Wren").unwrap();
    for (at, line) in lines.iter().enumerate() {
        let what = match at % 3 {
            0 => Taken::NoneThere,
            1 => Taken::AtHome { amount: Quantity::Part(None) },
            _ => Taken::Got { amount: Quantity::Whole(None), packs: Vec::new(), price: None },
        };
        let at = Stamp(at as i64);
        let pick = Pick { line: line.id.clone(), what, at, store: None, aliases: Vec::new(), label: None };
        let pick = helper.document().pick(&pick).unwrap();
        if at.0 % 5 == 0 {
            helper.document().strike(pick, at).unwrap();
        }
        if at.0 < 20 {
            helper.sync();
        }
    }
    let bread = HandLine { food: BY_HAND.to_owned(), text: String::new(), section: "bakery".to_owned(), alias: None };
    helper.document().add_line(&bread).unwrap();
    helper.sync();
    household.chef.sync();
    assert_eq!(household.chef.engine.document().document().heads(), helper.engine.document().document().heads());
}

/// Keys and tokens, and the run's salt.
fn key_secrets(household: &Household) -> Vec<Secret> {
    let mut secrets = vec![Secret::bytes("the salt", &household.salt.to_bytes())];
    for (name, root) in &household.keys {
        let share = root.share_secret();
        let owner = URL_SAFE_NO_PAD.decode(&*root.owner_token().bearer()).expect("base64url");
        let writer = URL_SAFE_NO_PAD.decode(&*share.writer_token().bearer()).expect("base64url");
        secrets.extend([
            Secret::bytes(&format!("the {name}'s root"), root.expose()),
            Secret::bytes(&format!("the {name}'s share secret"), share.expose()),
            Secret::bytes(&format!("the {name}'s owner token"), &owner),
            Secret::bytes(&format!("the {name}'s writer token"), &writer),
        ]);
    }
    secrets
}

fn check(kitchen: &Kitchen, files_of_book: &BTreeMap<String, String>) {
    let data = TempDir::new().unwrap();
    let running = Running::start(data.path());
    let (household, shown) = write(kitchen, files_of_book, running.address);
    let texts = texts(kitchen, &shown);
    let mut secrets: Vec<Secret> = texts.iter().map(|text| Secret::text(text)).collect();
    secrets.extend(key_secrets(&household));

    // The helper: the document, its changes as they are, and what the device keeps.
    let document = household.helper.engine.document().document();
    let changes: Vec<u8> = document.all_changes().into_iter().flat_map(|change| change.bytes).collect();
    let helper = [
        Hay::new("the helper's changes", changes),
        Hay::new("the helper's saved document", document.save()),
        Hay::new("the helper's document as text", document.canonical().into_bytes()),
        Hay::new("the helper's records", household.helper.records.values().flatten().copied().collect()),
    ];
    assert_none(&secrets, &helper);
    for planted in [TITLE, BY_HAND] {
        assert!(Secret::text(planted).is_in(&helper[0]), "the search finds `{planted}`, which a helper may read");
    }

    // The relay: what was sent, and what it keeps. It may not even know what a helper knows.
    for shown in shown.iter().filter(|shown| shown.len() >= 6) {
        secrets.push(Secret::text(shown));
    }
    secrets.extend([TITLE, BY_HAND, "plantedword", "plantedbyhand"].map(Secret::text));
    let Household { book, pantry, chef, helper, .. } = household;
    let bodies = [book.sent, pantry.sent, chef.sent, helper.sent].concat();
    let snapshots = bodies.iter().filter(|body| contains(&body[..body.len().min(80)], b"/snapshot?through=")).count();
    assert!(snapshots > 0, "also snapshots were sent");
    let sent = [Hay::new("what was sent", bodies.concat())];
    assert_none(&secrets, &sent);
    let kept = files(data.path());
    assert!(kept.iter().any(|hay| hay.name.ends_with("-wal")), "also the write-ahead log is searched");
    assert_none(&secrets, &kept);
    running.stop();
    assert_none(&secrets, &files(data.path()));
}

#[test]
fn a_relay_and_a_helper_learn_nothing_of_the_demonstration_kitchen() {
    let (kitchen, files) = demo();
    check(&kitchen, &files);
}

#[test]
fn a_relay_and_a_helper_learn_nothing_of_kitchens_with_marked_words() {
    for seed in 0..4 {
        let (kitchen, files) = marked(seed);
        let marks = ["household 0", "short 1", "diner 2", "other diner 0", "dislike 1", "id 2", "pantry 0"];
        let texts = texts(&kitchen, &BTreeSet::new());
        for mark in marks.map(|of| mark(seed, of)) {
            assert!(texts.contains(&mark), "{mark} is searched for");
        }
        check(&kitchen, &files);
    }
}

#[test]
fn the_search_finds_every_form_of_what_is_planted() {
    let secret = Secret::text("Plantedname");
    let key = Secret::bytes("key", &[0xa5; 32]);
    let hex = |bytes: &[u8]| bytes.iter().map(|byte| format!("{byte:02X}")).collect::<String>().into_bytes();
    let wide: Vec<u8> = "Plantedname".encode_utf16().flat_map(u16::to_le_bytes).collect();
    let mut forms = vec![b"plantedNAME".to_vec(), wide, hex(b"Plantedname")];
    for before in ["", "a", "ab", "abc"] {
        let text = format!("{before}Plantedname and more");
        forms.extend([STANDARD_NO_PAD.encode(&text).into_bytes(), URL_SAFE_NO_PAD.encode(&text).into_bytes()]);
    }
    for form in forms {
        let hay = Hay::new("", [&[0xff, 0x00, 0x80][..], &form, &[0xfe]].concat());
        assert!(secret.is_in(&hay), "{}", String::from_utf8_lossy(&form));
        assert!(!key.is_in(&hay));
    }
    for form in [vec![0xa5; 32], hex(&[0xa5; 32]), URL_SAFE_NO_PAD.encode([0xa5; 32]).into_bytes()] {
        assert!(key.is_in(&Hay::new("", form)));
    }
}

#[test]
fn the_search_finds_what_is_planted_unsealed_on_a_relay() {
    let data = TempDir::new().unwrap();
    let running = Running::start(data.path());
    let keys = Keys::owner(&Root::generate().unwrap(), DocumentKind::Run);
    let mut device = Device::<Run>::new(keys, running.address);
    device.sync();
    assert!(matches!(device.call(Call::Append(b"not sealed: Plantedname".to_vec())), Ok(Answer::Appended { .. })));
    let found = |secret: &Secret| files(data.path()).iter().any(|hay| secret.is_in(hay));
    assert!(found(&Secret::text("Plantedname")));
    assert!(!found(&Secret::text("Anothername")));
    running.stop();
    assert!(found(&Secret::text("Plantedname")));
}
