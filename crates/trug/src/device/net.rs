//! The network: calls to relays on a few threads, and a live channel to each relay that is watched.
//!
//! Nothing in here knows what a call says; tokens are in the requests and go nowhere else.

use std::collections::BTreeMap;
use std::io::{self, Read, Write};
use std::net::{TcpStream, ToSocketAddrs as _};
use std::sync::mpsc::{Receiver, RecvTimeoutError, Sender, TryRecvError, channel};
use std::sync::{Arc, Mutex, OnceLock};
use std::time::{Duration, Instant};

use rustls::pki_types::ServerName;
use rustls::{ClientConfig, ClientConnection, RootCertStore, StreamOwned};
use trug_device::CallId;
use trug_device::sync::wire::{self, CHAIN, CHAIN_AT, HEAD, Heard, Request, Response};
use trug_seal::{LogId, WebAddress, Zeroizing};
use tungstenite::{Message, WebSocket};
use ureq::Agent;
use ureq::tls::{Certificate, RootCerts, TlsConfig};

/// How many calls are under way at once.
const THREADS: usize = 4;
/// How long an answer may take in all; the engine gives up on it then as well.
const ANSWER: Duration = Duration::from_secs(30);
/// How long a connection may take.
const CONNECT: Duration = Duration::from_secs(8);
/// The most bytes of an answer. A page is some MiB, a snapshot's page as large as the snapshot.
const MOST: u64 = 256 << 20;
/// How often a live channel looks for something new to watch.
const LOOK: Duration = Duration::from_millis(200);
/// A live channel that says nothing for so long, not even a ping, is dead.
const SILENCE: Duration = Duration::from_secs(120);
/// The longest pause before a live channel is opened again; it doubles from a second.
const LONGEST: Duration = Duration::from_secs(60);

/// What the network has to say.
#[derive(Debug)]
pub(crate) enum News {
    /// A call's answer, or why there is none.
    Answer(CallId, Result<Response, String>),
    /// Where a log's head is.
    Head(LogId, u64),
}

/// The network of one device.
pub(crate) struct Net {
    jobs: Sender<(CallId, Request)>,
    news: Sender<News>,
    inbox: Receiver<News>,
    live: BTreeMap<WebAddress, Sender<Watch>>,
    in_flight: usize,
}

/// What a live channel is told.
enum Watch {
    Start(LogId, Zeroizing<String>),
    Stop(LogId),
}

impl Net {
    /// A network without any connection yet.
    pub(crate) fn new() -> Self {
        let (jobs, queue) = channel::<(CallId, Request)>();
        let (news, inbox) = channel();
        let queue = Arc::new(Mutex::new(queue));
        let agent = Arc::new(OnceLock::new());
        for _ in 0..THREADS {
            let (queue, news, agent) = (Arc::clone(&queue), news.clone(), Arc::clone(&agent));
            std::thread::spawn(move || work(&queue, &news, &agent));
        }
        Self { jobs, news, inbox, live: BTreeMap::new(), in_flight: 0 }
    }

    /// How many calls have no answer yet.
    pub(crate) const fn in_flight(&self) -> usize {
        self.in_flight
    }

    /// Makes a call.
    pub(crate) fn send(&mut self, call: CallId, request: Request) {
        if self.jobs.send((call, request)).is_ok() {
            self.in_flight += 1;
        }
    }

    /// Watches a log, or stops.
    pub(crate) fn watch(&mut self, relay: &WebAddress, log: LogId, bearer: Option<Zeroizing<String>>) {
        let told = match bearer {
            Some(bearer) => Watch::Start(log, bearer),
            None if !self.live.contains_key(relay) => return,
            None => Watch::Stop(log),
        };
        let channel = self.live.entry(relay.clone()).or_insert_with(|| {
            let (told, heard) = channel();
            let (relay, news) = (relay.clone(), self.news.clone());
            std::thread::spawn(move || stay(&relay, &heard, &news));
            told
        });
        // A live channel ends only with the program.
        let _ = channel.send(told);
    }

    /// Waits for news.
    pub(crate) fn next(&mut self, patience: Duration) -> Option<News> {
        match self.inbox.recv_timeout(patience) {
            Ok(news) => {
                if matches!(news, News::Answer(..)) {
                    self.in_flight = self.in_flight.saturating_sub(1);
                }
                Some(news)
            }
            Err(RecvTimeoutError::Timeout | RecvTimeoutError::Disconnected) => None,
        }
    }
}

fn work(queue: &Mutex<Receiver<(CallId, Request)>>, news: &Sender<News>, agent: &OnceLock<Agent>) {
    loop {
        let job = queue.lock().unwrap_or_else(std::sync::PoisonError::into_inner).recv();
        let Ok((call, request)) = job else { return };
        let answer = ask(agent.get_or_init(new_agent), request);
        if news.send(News::Answer(call, answer)).is_err() {
            return;
        }
    }
}

/// No proxy is asked: the live channel could not follow, and a relay in the house must be reached directly. No
/// redirection is followed either: a token is for the relay that it was given for.
fn new_agent() -> Agent {
    let certificates: Vec<Certificate<'static>> =
        native_certificates().iter().map(|one| Certificate::from_der(one.as_ref()).to_owned()).collect();
    let tls = TlsConfig::builder()
        .root_certs(RootCerts::new_with_certs(&certificates))
        .unversioned_rustls_crypto_provider(Arc::new(rustls::crypto::ring::default_provider()))
        .build();
    let config = Agent::config_builder()
        .http_status_as_error(false)
        .max_redirects(0)
        .max_redirects_will_error(false)
        .proxy(None)
        .timeout_global(Some(ANSWER))
        .timeout_connect(Some(CONNECT))
        .tls_config(tls)
        .user_agent(concat!("trug/", env!("CARGO_PKG_VERSION")))
        .build();
    config.new_agent()
}

fn native_certificates() -> Vec<rustls::pki_types::CertificateDer<'static>> {
    rustls_native_certs::load_native_certs().certs
}

fn ask(agent: &Agent, request: Request) -> Result<Response, String> {
    let mut asked = ureq::http::Request::builder().method(request.method.name()).uri(&request.url);
    for (name, value) in &request.headers {
        asked = asked.header(*name, value.as_str());
    }
    let answered = match request.body {
        Some(body) => agent.run(asked.body(body).map_err(|error| error.to_string())?),
        None => agent.run(asked.body(()).map_err(|error| error.to_string())?),
    };
    let mut answer = answered.map_err(|error| error.to_string())?;
    let header = |name: &str| answer.headers().get(name).and_then(|value| value.to_str().ok()).map(str::to_owned);
    let (head, chain, chain_at) = (header(HEAD), header(CHAIN), header(CHAIN_AT));
    let status = answer.status().as_u16();
    let body = answer.body_mut().with_config().limit(MOST).read_to_vec().map_err(|error| error.to_string())?;
    Ok(Response { status, head, chain, chain_at, body })
}

/// A stream in the clear or not.
trait Stream: Read + Write + Send {}
impl<S: Read + Write + Send> Stream for S {}

/// Keeps a live channel open for as long as anything is watched.
fn stay(relay: &WebAddress, told: &Receiver<Watch>, news: &Sender<News>) {
    let mut watched: BTreeMap<LogId, Zeroizing<String>> = BTreeMap::new();
    let mut pause = Duration::from_secs(1);
    loop {
        if watched.is_empty() {
            match told.recv() {
                Ok(one) => drop(take(&mut watched, one)),
                Err(_) => return,
            }
            continue;
        }
        let opened = Instant::now();
        match talk(relay, told, news, &mut watched) {
            Ended::Over => return,
            Ended::Idle => {}
            Ended::Lost => {
                if opened.elapsed() > LONGEST {
                    pause = Duration::from_secs(1);
                }
                std::thread::sleep(pause);
                pause = (pause * 2).min(LONGEST);
            }
        }
    }
}

/// How a live channel ended.
enum Ended {
    /// The program does.
    Over,
    /// Nothing is watched any more.
    Idle,
    /// The connection is gone.
    Lost,
}

/// Takes in what is to be watched; what is to be said to the relay then.
fn take(watched: &mut BTreeMap<LogId, Zeroizing<String>>, told: Watch) -> Option<Zeroizing<String>> {
    match told {
        Watch::Start(log, bearer) => {
            let said = wire::watch(log, &bearer);
            watched.insert(log, bearer);
            Some(said)
        }
        Watch::Stop(log) => {
            watched.remove(&log);
            None
        }
    }
}

fn talk(
    relay: &WebAddress,
    told: &Receiver<Watch>,
    news: &Sender<News>,
    watched: &mut BTreeMap<LogId, Zeroizing<String>>,
) -> Ended {
    let Ok(mut socket) = connect(relay) else { return Ended::Lost };
    let all: Vec<Zeroizing<String>> = watched.iter().map(|(log, bearer)| wire::watch(*log, bearer)).collect();
    if all.iter().any(|said| say(&mut socket, said).is_err()) {
        return Ended::Lost;
    }
    let mut heard_at = Instant::now();
    loop {
        match told.try_recv() {
            Ok(one) => {
                if take(watched, one).is_some_and(|said| say(&mut socket, &said).is_err()) {
                    return Ended::Lost;
                }
                continue;
            }
            Err(TryRecvError::Disconnected) => return Ended::Over,
            Err(TryRecvError::Empty) if watched.is_empty() => return Ended::Idle,
            Err(TryRecvError::Empty) => {}
        }
        match socket.read() {
            Ok(message) => {
                heard_at = Instant::now();
                if let Some(Heard::Head(log, head)) = message.to_text().ok().and_then(wire::heard)
                    && news.send(News::Head(log, head)).is_err()
                {
                    return Ended::Over;
                }
            }
            Err(tungstenite::Error::Io(error)) if is_nothing_yet(&error) && heard_at.elapsed() < SILENCE => {}
            Err(_) => return Ended::Lost,
        }
    }
}

fn is_nothing_yet(error: &io::Error) -> bool {
    matches!(error.kind(), io::ErrorKind::WouldBlock | io::ErrorKind::TimedOut | io::ErrorKind::Interrupted)
}

fn say(socket: &mut WebSocket<Box<dyn Stream>>, said: &str) -> Result<(), Box<tungstenite::Error>> {
    socket.send(Message::text(said)).map_err(Box::new)
}

fn connect(relay: &WebAddress) -> Result<WebSocket<Box<dyn Stream>>, Box<dyn std::error::Error + Send + Sync>> {
    let address = wire::live_address(relay);
    let uri: ureq::http::Uri = address.parse()?;
    let host = uri.host().unwrap_or_default().trim_matches(['[', ']']);
    let port = uri.port_u16().unwrap_or(if relay.is_secure() { 443 } else { 80 });
    let tcp = connect_tcp(host, port)?;
    tcp.set_nodelay(true)?;
    tcp.set_read_timeout(Some(CONNECT))?;
    tcp.set_write_timeout(Some(CONNECT))?;
    let pace = tcp.try_clone()?;
    let stream: Box<dyn Stream> = if relay.is_secure() {
        let name = ServerName::try_from(host.to_owned())?;
        Box::new(StreamOwned::new(ClientConnection::new(tls()?, name)?, tcp))
    } else {
        Box::new(tcp)
    };
    let (socket, _) = tungstenite::client(address, stream).map_err(|error| error.to_string())?;
    // The handshake may take its time; from here on the thread looks up often.
    pace.set_read_timeout(Some(LOOK))?;
    Ok(socket)
}

fn connect_tcp(host: &str, port: u16) -> io::Result<TcpStream> {
    let mut last = io::Error::from(io::ErrorKind::NotFound);
    for address in (host, port).to_socket_addrs()? {
        match TcpStream::connect_timeout(&address, CONNECT) {
            Ok(stream) => return Ok(stream),
            Err(error) => last = error,
        }
    }
    Err(last)
}

fn tls() -> Result<Arc<ClientConfig>, rustls::Error> {
    let mut roots = RootCertStore::empty();
    roots.add_parsable_certificates(native_certificates());
    let provider = Arc::new(rustls::crypto::ring::default_provider());
    let config = ClientConfig::builder_with_provider(provider)
        .with_safe_default_protocol_versions()?
        .with_root_certificates(roots)
        .with_no_client_auth();
    Ok(Arc::new(config))
}
