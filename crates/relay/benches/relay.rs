//! The relay beside two general-purpose sync servers under Node: entries a second from 1, 16 and 64 writers at once,
//! and memory for each watcher that only waits.
//!
//! Every server is a process of its own with fresh storage on the disk, and this process is the client of all of them.
//! Each writer has a document (a log) of its own, sends an entry of 300 bytes that nothing compresses, and sends the
//! next when that one is answered.
//!
//! What can be compared, and what cannot:
//! - **An answer is not the same promise.** The relay answers a POST after a commit with `synchronous = FULL`, that is
//!   after fsync. The others answer when the change is in their memory, write later, and never fsync; what they would
//!   lose in a crash has no bound of theirs. So there is a second figure: entries a second until all of them were
//!   written out, counted to the end of a flush. For the others that is still the page cache, not the disk.
//! - **The work is not the same.** The others know what is in an entry and merge it into a document; the relay appends
//!   sealed bytes and leaves merging to the devices. Merging is measured in the benches of the documents.
//! - **The way in is not the same**: POST over keep-alive, one answer each, here; a WebSocket there.
//! - **A watcher** has one WebSocket and is up to date with one document, of which there are [`DOCUMENTS`]. Memory is what
//!   is resident, after a round of pings and, under Node, after collecting garbage; the kernel's buffers are not in it.
#![allow(clippy::expect_used, clippy::panic, reason = "a bench that cannot run says so and stops")]

#[path = "../tests/common/mod.rs"]
mod common;
#[path = "../../../tests/js/installed.rs"]
mod node;

use std::fs;
use std::io::{BufRead as _, BufReader, Write as _};
use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdin, ChildStdout, Command, Stdio};
use std::time::{Duration, Instant};

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use bytes::Bytes;
use common::{Client, Keys, base64url, config, fresh, within};
use futures_util::SinkExt as _;
use futures_util::future::join_all;
use futures_util::stream::{FuturesUnordered, StreamExt as _, iter};
use serde::Deserialize;
use serde_json::json;
use tempfile::TempDir;
use tokio::net::TcpStream;
use tokio::runtime::Builder;
use tokio::sync::oneshot;
use tokio_tungstenite::tungstenite::Message;
use tokio_tungstenite::tungstenite::protocol::WebSocketConfig;
use tokio_tungstenite::{WebSocketStream, client_async_with_config};
use trug_relay::{Relay, serve};

const ENTRY_BYTES: usize = 300;
const WRITERS: [usize; 3] = [1, 16, 64];
const ROUNDS: usize = 3;
/// How long a round lasts, unless a writer's entries run out before.
const ROUND: Duration = Duration::from_secs(3);
const WATCHERS: usize = 10_000;
const DOCUMENTS: usize = 100;
/// Files that this process and a server need beside their watchers' sockets.
const OTHER_FILES: usize = 200;
/// Connections that are made at once.
const AT_ONCE: usize = 64;
/// More than the pause between two pings, of the relay (25 s) and of the others (25 and 30 s).
const PINGED: Duration = Duration::from_secs(32);
/// The argument that makes this program the relay to be measured.
const SERVE: &str = "--serve-relay";

/// A general-purpose server, and how many entries of all writers are made for a round: more than it answers in one.
struct Peer {
    name: &'static str,
    script: &'static str,
    entries: usize,
}

const PEERS: [Peer; 2] = [
    Peer { name: "@y/websocket-server, LevelDB", script: "yjs.mjs", entries: 12_000 },
    Peer { name: "automerge-repo, files", script: "automerge.mjs", entries: 2_000 },
];

fn main() {
    let mut arguments = std::env::args_os().skip_while(|argument| argument != SERVE).skip(1);
    if let Some(directory) = arguments.next() {
        let runtime = Builder::new_multi_thread().enable_all().build().expect("a runtime");
        return runtime.block_on(be_the_relay(Path::new(&directory)));
    }
    // One thread for all clients, so that most of a small machine is left to the server.
    let runtime = Builder::new_current_thread().enable_all().build().expect("a runtime");
    runtime.block_on(measure());
}

async fn measure() {
    let files = rlimit::increase_nofile_limit(u64::MAX).map_or(1024, |files| files as usize);
    let watchers = WATCHERS.min(files.saturating_sub(OTHER_FILES)) / DOCUMENTS * DOCUMENTS;
    let peers = installed();
    let compared = || peers.iter().flat_map(|at| PEERS.iter().map(move |peer| (at, peer)));

    println!("\nentries of {ENTRY_BYTES} bytes a second, each writer waiting for its answers");
    println!("{:<40}{}", "writers", WRITERS.map(|writers| format!("{writers:>14}")).concat());
    let mut rates = Vec::new();
    for writers in WRITERS {
        rates.push(relay_rate(writers).await);
    }
    print_row("trug relay: answered, on disk", rates.iter().map(|rate| rate.answered));
    for (at, peer) in compared() {
        let mut rates = Vec::new();
        for writers in WRITERS {
            rates.push(peer_rate(at, peer, writers).await);
        }
        print_row(&format!("{}: answered", peer.name), rates.iter().map(|rate| rate.answered));
        print_row("  written out, no fsync", rates.iter().map(|rate| rate.written));
    }
    println!("medians of {ROUNDS} rounds of {} s or less", ROUND.as_secs());

    println!("\nresident memory with {watchers} watchers that wait, on {DOCUMENTS} documents");
    if watchers < WATCHERS {
        println!("not {WATCHERS}: the system allows {files} open files");
    }
    println!("{:<40}{:>14}{:>14}{:>14}", "", "before", "with them", "for each");
    print_memory("trug relay", relay_memory(watchers).await);
    for (at, peer) in compared() {
        print_memory(peer.name, peer_memory(at, peer, watchers).await);
    }
    if let Err(why) = &peers {
        println!("\nnot compared here: {why}");
    }
}

fn print_row(name: &str, rates: impl Iterator<Item = f64>) {
    println!("{name:<40}{}", rates.map(|rate| format!("{rate:>12.0}/s")).collect::<String>());
}

fn print_memory(name: &str, memory: Option<Memory>) {
    let Some(Memory { before, with, watchers, closed }) = memory else {
        println!("{name:<40}not told here: /proc");
        return;
    };
    let [before_mib, with_mib] = [before, with].map(|bytes| bytes as f64 / f64::from(1 << 20));
    let each = with.saturating_sub(before) as f64 / watchers.max(1) as f64 / 1024.0;
    println!("{name:<40}{before_mib:>10.1} MiB{with_mib:>10.1} MiB{each:>10.2} KiB");
    if closed > 0 {
        println!("  {closed} more were closed by the server meanwhile");
    }
}

// The servers

/// A server in a process of its own, and its storage.
struct Server {
    child: Child,
    address: SocketAddr,
    input: ChildStdin,
    output: BufReader<ChildStdout>,
    _storage: TempDir,
}

impl Server {
    /// Starts one whose last argument is the directory it stores in.
    fn start(command: &mut Command) -> Self {
        // Beside the program, not where temporary files are: that may be memory, where fsync costs nothing.
        let storage = TempDir::new_in(env!("CARGO_TARGET_TMPDIR")).expect("a directory");
        let command = command.arg(storage.path()).stdin(Stdio::piped()).stdout(Stdio::piped());
        let mut child = command.spawn().expect("the server starts");
        let (input, output) = (child.stdin.take().expect("a pipe"), child.stdout.take().expect("a pipe"));
        let address = SocketAddr::from(([127, 0, 0, 1], 0));
        let mut server = Self { child, address, input, output: BufReader::new(output), _storage: storage };
        let line = server.hear();
        let port = line.strip_prefix("listening ").and_then(|port| port.parse().ok());
        server.address.set_port(port.unwrap_or_else(|| panic!("the server does not listen: {line:?}")));
        server
    }

    fn relay() -> Self {
        Self::start(Command::new(std::env::current_exe().expect("this program")).arg(SERVE))
    }

    fn peer(at: &Path, peer: &Peer) -> Self {
        Self::start(Command::new("node").args(["--expose-gc", peer.script, "serve"]).current_dir(at))
    }

    fn hear(&mut self) -> String {
        let mut line = String::new();
        self.output.read_line(&mut line).expect("a line");
        line.trim().to_owned()
    }

    /// Waits until it has written out all it has.
    fn settle(&mut self) {
        self.input.write_all(b"settle\n").expect("it listens");
        assert_eq!(self.hear(), "settled");
    }

    /// Bytes of memory that are resident; `None` where the system does not tell.
    fn resident(&mut self) -> Option<u64> {
        self.settle();
        let status = fs::read_to_string(format!("/proc/{}/status", self.child.id())).ok()?;
        let kib = status.lines().find_map(|line| line.strip_prefix("VmRSS:"))?;
        Some(kib.trim().strip_suffix(" kB")?.parse::<u64>().ok()? * 1024)
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        // One that is still saying goodbye to 10,000 sockets would disturb what is measured next.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// The relay with its defaults: what the program does, on another port. Speaks with the bench as the scripts do.
async fn be_the_relay(directory: &Path) {
    let mut config = config(directory, &[]);
    config.listen.set_port(0);
    let relay = Relay::open(config).await.expect("the relay opens");
    let listener = relay.bind().await.expect("a port");
    println!("listening {}", listener.local_addr().expect("an address").port());
    let (stop, stopped) = oneshot::channel::<()>();
    std::thread::spawn(move || {
        for _ in std::io::stdin().lines() {
            // Everything that was answered is on the disk.
            println!("settled");
        }
        drop(stop);
    });
    serve(relay, listener, async { drop(stopped.await) }).await.expect("serves to the end");
}

/// The scripts with their packages, installed as the lock file says.
fn installed() -> Result<PathBuf, String> {
    let node = Command::new("node").arg("--version").stdout(Stdio::null()).status();
    if !node.is_ok_and(|status| status.success()) {
        return Err("Node".to_owned());
    }
    // Without install scripts: what is native among the packages brings its binaries along. Not `npm ci`: that wants the
    // optional parts for every other system in the lock file, and not every registry has them.
    let npm = ["install", "--no-save", "--no-audit", "--no-fund", "--ignore-scripts"];
    node::installed("servers", &["serving.mjs", "yjs.mjs", "automerge.mjs"], &npm)
}

// Entries a second

/// One writer. `false` when it has nothing left to write.
trait Writer {
    async fn write(&mut self) -> bool;
}

#[derive(Debug, Clone, Copy)]
struct Rate {
    answered: f64,
    written: f64,
}

/// Medians over the rounds.
async fn rate(server: &mut Server, mut writers: Vec<impl Writer>) -> Rate {
    let mut rounds = Vec::new();
    for round in 0..=ROUNDS {
        // The first is short and does not count: it warms everything up.
        let (length, start) = (if round == 0 { ROUND / 6 } else { ROUND }, Instant::now());
        let counts = writers.iter_mut().map(async |writer| {
            let mut count = 0_u32;
            while start.elapsed() < length && writer.write().await {
                count += 1;
            }
            (count, start.elapsed())
        });
        let done = within(120, "a round", join_all(counts)).await;
        let count: u32 = done.iter().map(|(count, _)| count).sum();
        let answered = done.iter().map(|(_, time)| *time).max().unwrap_or_default();
        server.settle();
        let rates = [answered, start.elapsed()].map(|time| f64::from(count) / time.as_secs_f64());
        if round > 0 {
            rounds.push(rates);
        }
    }
    let median = |which: usize| {
        let mut all: Vec<f64> = rounds.iter().filter_map(|rates| rates.get(which).copied()).collect();
        all.sort_by(f64::total_cmp);
        all.get(all.len() / 2).copied().unwrap_or(f64::NAN)
    };
    Rate { answered: median(0), written: median(1) }
}

/// Posts to a log of its own, over one connection that is kept.
struct Poster {
    client: Client,
    keys: Keys,
    bytes: [u8; ENTRY_BYTES],
}

impl Poster {
    async fn new(server: &Server) -> Self {
        let (mut client, keys) = (Client::connect(server.address).await.expect("a connection"), Keys::new());
        client.make(&keys).await;
        let mut bytes = [0; ENTRY_BYTES];
        bytes.chunks_mut(32).for_each(|chunk| chunk.copy_from_slice(fresh().get(..chunk.len()).expect("32 at most")));
        Self { client, keys, bytes }
    }
}

impl Writer for Poster {
    async fn write(&mut self) -> bool {
        // The relay would know an entry that it has already.
        self.bytes.first_chunk_mut::<32>().expect("300 of them").copy_from_slice(&fresh());
        let answer = self.client.post(&self.keys, &self.bytes).await;
        assert_eq!(answer.status, 201, "{answer:?}");
        true
    }
}

async fn relay_rate(writers: usize) -> Rate {
    let mut server = Server::relay();
    let writers = join_all((0..writers).map(|_| Poster::new(&server))).await;
    rate(&mut server, writers).await
}

/// What a script made for one writer and its document's watchers.
#[derive(Deserialize)]
struct Load {
    path: String,
    hello: Vec<Exchange>,
    entries: Vec<Exchange>,
    watch: Vec<Vec<Exchange>>,
}

/// A frame, and what occurs in the frame that answers it; `None` where none is waited for.
#[derive(Deserialize)]
struct Exchange(String, Option<String>);

fn unpacked(text: &str) -> Bytes {
    STANDARD.decode(text).expect("base64").into()
}

fn made(at: &Path, peer: &Peer, sizes: [usize; 3]) -> Vec<Load> {
    let mut node = Command::new("node");
    node.args([peer.script, "make"]).args(sizes.map(|size| size.to_string()));
    let output = node.current_dir(at).stderr(Stdio::inherit()).output().expect("Node");
    assert!(output.status.success(), "{} makes its load", peer.script);
    let read = |line| serde_json::from_slice(line).expect("a load");
    output.stdout.split(|byte| *byte == b'\n').filter(|line| !line.is_empty()).map(read).collect()
}

struct Socket(WebSocketStream<TcpStream>);

impl Socket {
    async fn open(address: SocketAddr, path: &str) -> Self {
        let stream = TcpStream::connect(address).await.expect("a connection");
        stream.set_nodelay(true).expect("a socket");
        // Small buffers: 10,000 of these are in this process.
        let small = WebSocketConfig::default().read_buffer_size(1024);
        let place = format!("ws://{address}{path}");
        Self(client_async_with_config(place, stream, Some(small)).await.expect("a socket").0)
    }

    /// Sends a frame and waits for its answer.
    async fn exchange(&mut self, frame: Message, answer: Option<&[u8]>) {
        self.0.send(frame).await.expect("sent");
        let Some(answer) = answer else { return };
        loop {
            let heard = self.0.next().await.expect("it stays open").expect("it stays open");
            let told = heard.is_binary() || heard.is_text();
            if told && (answer.is_empty() || heard.into_data().windows(answer.len()).any(|part| part == answer)) {
                return;
            }
        }
    }

    async fn greet(&mut self, hello: Vec<Exchange>) {
        for Exchange(frame, answer) in hello {
            self.exchange(Message::Binary(unpacked(&frame)), answer.as_deref().map(unpacked).as_deref()).await;
        }
    }
}

/// Sends what was made for it.
struct Sender {
    socket: Socket,
    entries: std::vec::IntoIter<(Bytes, Option<Bytes>)>,
}

impl Sender {
    async fn new(server: &Server, load: Load) -> Self {
        let mut socket = Socket::open(server.address, &load.path).await;
        socket.greet(load.hello).await;
        let unpack = |Exchange(frame, answer)| (unpacked(&frame), answer.as_deref().map(unpacked));
        Self { socket, entries: load.entries.into_iter().map(unpack).collect::<Vec<_>>().into_iter() }
    }
}

impl Writer for Sender {
    async fn write(&mut self) -> bool {
        let Some((frame, answer)) = self.entries.next() else { return false };
        self.socket.exchange(Message::Binary(frame), answer.as_deref()).await;
        true
    }
}

async fn peer_rate(at: &Path, peer: &Peer, writers: usize) -> Rate {
    let loads = made(at, peer, [writers, (ROUNDS + 1) * peer.entries / writers, 0]);
    let mut server = Server::peer(at, peer);
    let writers = join_all(loads.into_iter().map(|load| Sender::new(&server, load))).await;
    rate(&mut server, writers).await
}

// Memory for each watcher

/// Resident memory in bytes.
struct Memory {
    before: u64,
    with: u64,
    /// How many watchers there were with that, and how many the server had closed: some do when they are late with a ping.
    watchers: usize,
    closed: usize,
}

/// Resident memory before and with the watchers, which are up to date when their futures are done.
async fn memory(server: &mut Server, watchers: impl Iterator<Item = impl Future<Output = Socket>>) -> Option<Memory> {
    let before = server.resident()?;
    let sockets: Vec<Socket> = within(600, "the watchers", iter(watchers).buffered(AT_ONCE).collect()).await;
    let count = sockets.len();
    // They answer pings.
    let watching = sockets.into_iter().map(async |mut socket| while let Some(Ok(_)) = socket.0.next().await {});
    let mut watching: FuturesUnordered<_> = watching.collect();
    // None of them ends by itself.
    let _ = tokio::time::timeout(PINGED, async { while watching.next().await.is_some() {} }).await;
    let (with, watchers) = (server.resident()?, watching.len());
    Some(Memory { before, with, watchers, closed: count - watchers })
}

async fn relay_memory(watchers: usize) -> Option<Memory> {
    let mut server = Server::relay();
    let address = server.address;
    let mut logs = Vec::new();
    for _ in 0..DOCUMENTS {
        let mut writer = Poster::new(&server).await;
        writer.write().await;
        logs.push(writer.keys);
    }
    let watch = |keys: Keys| async move {
        let mut socket = Socket::open(address, "/v1/live").await;
        let watch = json!({ "watch": keys.id().to_string(), "token": base64url(&keys.writer) });
        socket.exchange(Message::text(watch.to_string()), Some(b"\"head\":1")).await;
        socket
    };
    memory(&mut server, logs.into_iter().cycle().take(watchers).map(watch)).await
}

async fn peer_memory(at: &Path, peer: &Peer, watchers: usize) -> Option<Memory> {
    // The greeting may bring the first entry already.
    let loads = made(at, peer, [DOCUMENTS, 2, watchers / DOCUMENTS]);
    let mut server = Server::peer(at, peer);
    let address = server.address;
    let (mut greetings, mut writers) = (Vec::new(), Vec::new());
    for mut load in loads {
        let watch = std::mem::take(&mut load.watch);
        greetings.extend(watch.into_iter().map(|hello| (load.path.clone(), hello)));
        let mut writer = Sender::new(&server, load).await;
        while writer.write().await {}
        // Who wrote stays for as long as the server does: it would else forget the document, or tell of it.
        writers.push(writer);
    }
    let watch = |(path, hello): (String, Vec<Exchange>)| async move {
        let mut socket = Socket::open(address, &path).await;
        socket.greet(hello).await;
        socket
    };
    memory(&mut server, greetings.into_iter().map(watch)).await
}
