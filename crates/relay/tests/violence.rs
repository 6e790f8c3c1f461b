//! What must not lose anything: sudden death, a full disk, a read-only file. What must not stop anybody: slow clients.
//!
//! The relay under test is a process of its own: this test program, started again to run [`relay_process`].
#![allow(clippy::expect_used, clippy::panic, reason = "a panic here is a failed check")]

mod common;

use std::collections::BTreeMap;
use std::io::{BufRead as _, BufReader};
use std::net::SocketAddr;
use std::os::unix::fs::PermissionsExt as _;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use bytes::Bytes;
use common::{Answer, Client, Keys, Running, base64url, chain, config, within};
use tempfile::TempDir;
use tokio::io::AsyncWriteExt as _;
use tokio::net::TcpStream;
use tokio::sync::watch;
use trug_relay::{Relay, serve};

const DATA: &str = "TRUG_TEST_DATA";
const KILLS: u32 = 50;
const WRITERS: u32 = 6;

/// The relay as a process of its own. Alone it does nothing.
#[test]
#[ignore = "started by the other tests"]
fn relay_process() {
    let Some(data) = std::env::var_os(DATA) else { return };
    let runtime =
        tokio::runtime::Builder::new_multi_thread().worker_threads(2).enable_all().build().expect("a runtime");
    runtime.block_on(async {
        let mut config = config(Path::new(&data), &[]);
        config.listen.set_port(0);
        let relay = match Relay::open(config).await {
            Ok(relay) => relay,
            Err(error) => return println!("cannot start: {error}"),
        };
        let listener = relay.bind().await.expect("a port");
        println!("listening on {}", listener.local_addr().expect("an address"));
        serve(relay, listener, std::future::pending()).await.expect("served");
    });
}

/// A child that is killed when it is dropped.
struct Process(Child);

impl Drop for Process {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

/// The command that runs the relay, with the words of shell that stand before it.
fn command(program: &Path, shell: &str) -> Command {
    let mut command = Command::new("sh");
    command.args(["-c", &format!("{shell} \"$0\" \"$@\"")]).arg(program);
    command.args(["--exact", "relay_process", "--ignored", "--nocapture"]);
    command
}

fn this_program() -> std::path::PathBuf {
    std::env::current_exe().expect("this program")
}

/// Starts the relay and waits until it listens, or says why it does not.
fn start(mut command: Command, data: &Path) -> Result<(Process, SocketAddr), String> {
    let child = command.env(DATA, data).stdout(Stdio::piped()).stderr(Stdio::null()).spawn().expect("started");
    let mut process = Process(child);
    let output = process.0.stdout.take().expect("a pipe");
    for line in BufReader::new(output).lines().map_while(Result::ok) {
        if let Some((_, address)) = line.split_once("listening on ") {
            return Ok((process, address.parse().expect("an address")));
        }
        if let Some((_, problem)) = line.split_once("cannot start: ") {
            return Err(problem.to_owned());
        }
    }
    Err("it ended without a word".into())
}

async fn start_soon(data: &Path, shell: &'static str) -> (Process, SocketAddr) {
    let data = data.to_path_buf();
    let started = tokio::task::spawn_blocking(move || start(command(&this_program(), shell), &data));
    started.await.expect("no panic").expect("the relay starts")
}

/// What was acknowledged: the number of each entry, and the chain told with it when it was new.
#[derive(Default)]
struct Acknowledged {
    numbers: BTreeMap<Bytes, u64>,
    chains: BTreeMap<u64, String>,
}

impl Acknowledged {
    fn note(&mut self, sealed: Bytes, answer: &Answer) {
        let seq = answer.seq();
        assert_eq!(*self.numbers.entry(sealed).or_insert(seq), seq, "equal bytes have one number");
        if answer.status == 201 {
            let chain = answer.header("trug-chain").expect("a chain").to_owned();
            assert_eq!(self.chains.insert(seq, chain), None, "number {seq} was given twice");
        }
    }

    /// Everything acknowledged is there; no gaps, nothing twice, the chain holds.
    fn check(&self, all: &[(u64, u8, Bytes)]) {
        let mut link = chain([]);
        for ((seq, kind, sealed), expected) in all.iter().zip(1..) {
            assert_eq!((*seq, *kind), (expected, 0), "no gaps");
            link = link.then(&trug_relay::entry_hash(sealed));
            if let Some(told) = self.chains.get(seq) {
                assert_eq!(*told, link.to_string(), "the chain at {seq}");
            }
        }
        let numbers: BTreeMap<&Bytes, u64> = all.iter().map(|(seq, _, sealed)| (sealed, *seq)).collect();
        assert_eq!(numbers.len(), all.len(), "nothing twice");
        for (sealed, seq) in &self.numbers {
            assert_eq!(numbers.get(sealed), Some(seq), "an acknowledged entry is missing");
        }
    }
}

/// Appends until told to stop, over whatever relay there is, sending the same bytes until they are acknowledged.
async fn write_on(writer: u32, keys: Keys, relay: watch::Receiver<Option<SocketAddr>>, seen: Arc<Mutex<Acknowledged>>) {
    let bearer = format!("Bearer {}", base64url(&keys.writer));
    let path = keys.path("/entries");
    let (mut number, mut client) = (0u32, None::<Client>);
    loop {
        let Some(address) = *relay.borrow() else { return };
        // Every fifth entry is one that all writers send.
        let name = if number.is_multiple_of(5) { format!("all {number}") } else { format!("{writer} {number}") };
        let sealed = Bytes::from(format!("{name:>200}"));
        let mut connected = match client.take() {
            Some(client) => client,
            None => match Client::connect(address).await {
                Ok(client) => client,
                Err(_) => {
                    tokio::time::sleep(Duration::from_millis(5)).await;
                    continue;
                }
            },
        };
        // A killed relay leaves the answer open: the same bytes go out again.
        let Ok(answer) = connected.try_send("POST", &path, &[("authorization", &bearer)], sealed.clone()).await else {
            continue;
        };
        assert!(matches!(answer.status, 200 | 201), "{answer:?}");
        seen.lock().expect("no panic").note(sealed, &answer);
        number += 1;
        client = Some(connected);
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn nothing_acknowledged_is_lost_to_fifty_kills() {
    let directory = TempDir::new().expect("a directory");
    let keys = Keys::new();
    let (process, address) = start_soon(directory.path(), "exec").await;
    Client::connect(address).await.expect("a connection").make(&keys).await;
    let (relay, current) = watch::channel(Some(address));
    let seen = Arc::new(Mutex::new(Acknowledged::default()));
    let writers: Vec<_> = (0..WRITERS)
        .map(|writer| tokio::spawn(write_on(writer, keys.clone(), current.clone(), Arc::clone(&seen))))
        .collect();
    let mut process = Some(process);
    for kill in 0..KILLS {
        tokio::time::sleep(Duration::from_millis(30 + u64::from(kill * 37 % 90))).await;
        drop(process.take());
        let (next, address) = start_soon(directory.path(), "exec").await;
        process = Some(next);
        relay.send(Some(address)).expect("writers listen");
    }
    tokio::time::sleep(Duration::from_millis(100)).await;
    let address = (*relay.borrow()).expect("an address");
    relay.send(None).expect("writers listen");
    for writer in writers {
        within(30, "the last acknowledgement", writer).await.expect("no assertion failed");
    }
    let all = Client::connect(address).await.expect("a connection").read_all(&keys, 0).await;
    let seen = seen.lock().expect("no panic");
    seen.check(&all);
    assert!(seen.numbers.len() > 500, "only {} entries: that is no load", seen.numbers.len());
    println!("{} entries acknowledged over {KILLS} kills", seen.numbers.len());
}

#[tokio::test(flavor = "multi_thread")]
async fn a_full_disk_is_said_and_loses_nothing() {
    let directory = TempDir::new().expect("a directory");
    // The system refuses to let files grow beyond a limit, as a full disk does; without the trap it would kill.
    let (process, address) = start_soon(directory.path(), "trap '' XFSZ; ulimit -S -f 3000; exec").await;
    let keys = Keys::new();
    let mut client = Client::connect(address).await.expect("a connection");
    client.make(&keys).await;
    let entry = |fill: u8| vec![fill; 60_000];
    let mut acknowledged = Acknowledged::default();
    let mut refused = Vec::new();
    for fill in 0..100 {
        let answer = client.post(&keys, &entry(fill)).await;
        match answer.status {
            201 => acknowledged.note(entry(fill).into(), &answer),
            _ => {
                assert_eq!((answer.status, answer.json()["type"].as_str()), (503, Some("/v1/problems/unavailable")));
                assert!(answer.header("retry-after").is_some());
                refused.push(fill);
            }
        }
        if refused.len() == 5 {
            break;
        }
    }
    assert!(acknowledged.numbers.len() >= 5 && refused.len() == 5, "{} fitted", acknowledged.numbers.len());
    acknowledged.check(&client.read_all(&keys, 0).await);
    let pid = process.0.id().to_string();
    let lifted = Command::new("prlimit").args(["--pid", &pid, "--fsize=unlimited:unlimited"]).status();
    assert!(lifted.is_ok_and(|status| status.success()), "prlimit (util-linux) lifts the limit");
    for fill in refused {
        let answer = client.post(&keys, &entry(fill)).await;
        assert_eq!(answer.status, 201, "there is room again: {answer:?}");
        acknowledged.note(entry(fill).into(), &answer);
    }
    drop(process);
    let (_process, address) = start_soon(directory.path(), "exec").await;
    acknowledged.check(&Client::connect(address).await.expect("a connection").read_all(&keys, 0).await);
}

/// Root may write into any file, so root runs this relay as nobody, from a copy that nobody can reach.
#[tokio::test(flavor = "multi_thread")]
async fn a_read_only_file_is_said_and_loses_nothing() {
    let directory = TempDir::new().expect("a directory");
    let open_up =
        |path: &Path, mode| std::fs::set_permissions(path, std::fs::Permissions::from_mode(mode)).expect("set");
    open_up(directory.path(), 0o755);
    let data = directory.path().join("data");
    let keys = Keys::new();
    {
        let running = Running::start(config(&data, &[])).await;
        let mut client = running.client().await;
        client.make(&keys).await;
        client.post(&keys, b"one").await;
        drop(client);
        running.stop().await;
    }
    let program = directory.path().join("program");
    std::fs::copy(this_program(), &program).expect("copied");
    let root = Command::new("id").arg("-u").output().is_ok_and(|output| output.stdout.starts_with(b"0\n"));
    let (file, lock) = (data.join("relay.sqlite"), data.join("relay.lock"));
    let try_start = |shell: &str| match start(command(&program, shell), &data) {
        Ok(_) => panic!("it must not start on what it cannot write"),
        Err(problem) => problem,
    };
    let shell = if root { "exec setpriv --reuid=65534 --regid=65534 --clear-groups" } else { "exec" };
    for (data_mode, file_mode, lock_mode, named) in [
        (0o777, 0o444, 0o666, "relay.sqlite"),
        (0o555, 0o444, 0o666, "relay.sqlite"),
        (0o777, 0o666, 0o444, "relay.lock"),
    ] {
        open_up(&data, data_mode);
        open_up(&file, file_mode);
        open_up(&lock, lock_mode);
        let problem = try_start(shell);
        assert!(problem.contains(named), "{problem}");
    }
    open_up(&data, 0o755);
    open_up(&file, 0o644);
    open_up(&lock, 0o644);
    let running = Running::start(config(&data, &[])).await;
    assert_eq!(running.client().await.read_all(&keys, 0).await, [(1, 0, Bytes::from("one"))]);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_thousand_slow_clients_do_not_stop_a_fast_one() {
    rlimit::increase_nofile_limit(u64::MAX).expect("as many as the system allows");
    let directory = TempDir::new().expect("a directory");
    let running = Running::start(config(directory.path(), &[])).await;
    let keys = Keys::new();
    let mut fast = running.client().await;
    fast.make(&keys).await;
    for fill in 0..8 {
        fast.post(&keys, &vec![fill; 500_000]).await;
    }
    let bearer = base64url(&keys.writer);
    let line = |method: &str| {
        format!("{method} {} HTTP/1.1\r\nhost: x\r\nauthorization: Bearer {bearer}\r\n", keys.path("/entries"))
    };
    // A third dawdle over the header, a third over the body, a third take nothing of a long page.
    let beginnings = [line("GET"), format!("{}content-length: 500000\r\n\r\nhalf", line("POST")), line("GET") + "\r\n"];
    let mut slow = Vec::new();
    for index in 0..1000 {
        let mut stream = TcpStream::connect(running.address).await.expect("a connection");
        stream.write_all(beginnings[index % 3].as_bytes()).await.expect("sent");
        slow.push(stream);
    }
    let start = Instant::now();
    let work = async {
        for number in 0..100u32 {
            assert_eq!(fast.post(&keys, &number.to_be_bytes()).await.status, 201);
        }
        fast.read_all(&keys, 0).await.len()
    };
    assert_eq!(within(15, "a hundred appends and a read beside the slow", work).await, 108);
    println!("{:?} beside {} slow clients", start.elapsed(), slow.len());
    let mut newcomer = within(5, "a newcomer's connection", running.client()).await;
    assert_eq!(within(5, "a newcomer's answer", newcomer.post(&keys, b"new")).await.status, 201);
}
