//! `trug serve` as a process: it says where it listens, keeps what it acknowledged, and stops when told to.

#![allow(clippy::unwrap_used, reason = "a panic here is a failed check")]
#![cfg(unix)]

use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};

// 16 bytes of log id, and tokens of 32, in base64url: b'L', b'O' and b'W' repeated; the writer's hash is
// SHA-256 of the 32 bytes `W`, computed with Python's hashlib.
const LOG: &str = "TExMTExMTExMTExMTExMTA";
const OWNER: &str = "T09PT09PT09PT09PT09PT09PT09PT09PT09PT09PT08";
const WRITER: &str = "V1dXV1dXV1dXV1dXV1dXV1dXV1dXV1dXV1dXV1dXV1c";
const WRITER_HASH: &str = "3G2G1n4fGgJbM_r-5Wz4AXy69Y2YvAkxuTlAcK1K5dA";

struct Folder(PathBuf);

impl Folder {
    fn new(name: &str) -> Self {
        let path = std::env::temp_dir().join(format!("trug-serve-{name}-{}", std::process::id()));
        let _ = std::fs::remove_dir_all(&path);
        std::fs::create_dir_all(&path).unwrap();
        Self(path)
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        let _ = std::fs::remove_dir_all(&self.0);
    }
}

struct Relay {
    child: Child,
    address: String,
}

impl Relay {
    fn start(data: &Path) -> Self {
        let mut child = Command::new(env!("CARGO_BIN_EXE_trug"))
            .args(["serve", "--listen", "127.0.0.1:0", "--data"])
            .arg(data)
            .env("TRUG_LOG", "off")
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let mut line = String::new();
        BufReader::new(child.stdout.take().unwrap()).read_line(&mut line).unwrap();
        let address = line.trim().strip_prefix("listening on http://").unwrap().to_owned();
        Self { child, address }
    }

    fn ask(&self, call: &str, token: &str, body: &[u8]) -> (String, Vec<u8>) {
        self.ask_with(call, token, "", body)
    }

    fn ask_with(&self, call: &str, token: &str, headers: &str, body: &[u8]) -> (String, Vec<u8>) {
        let mut stream = TcpStream::connect(&self.address).unwrap();
        let head = format!(
            "{call} HTTP/1.1\r\nHost: relay\r\nConnection: close\r\nAuthorization: Bearer {token}\r\n\
             {headers}Content-Type: application/json\r\nContent-Length: {}\r\n\r\n",
            body.len()
        );
        stream.write_all(head.as_bytes()).unwrap();
        stream.write_all(body).unwrap();
        let mut answer = Vec::new();
        stream.read_to_end(&mut answer).unwrap();
        let end = answer.windows(4).position(|four| four == b"\r\n\r\n").unwrap();
        let status = String::from_utf8_lossy(&answer[..end]).lines().next().unwrap().to_owned();
        (status, answer[end + 4..].to_vec())
    }

    fn stop(mut self) {
        let told = Command::new("kill").args(["-TERM", &self.child.id().to_string()]).status().unwrap();
        assert!(told.success());
        assert_eq!(self.child.wait().unwrap().code(), Some(0));
    }
}

impl Drop for Relay {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

#[test]
fn what_was_acknowledged_is_there_after_a_restart() {
    let folder = Folder::new("restart");
    let relay = Relay::start(&folder.0);
    let writer = format!("{{\"writer\":\"{WRITER_HASH}\"}}");
    assert_eq!(relay.ask(&format!("PUT /v1/logs/{LOG}"), OWNER, writer.as_bytes()).0, "HTTP/1.1 201 Created");
    let append = format!("POST /v1/logs/{LOG}/entries");
    assert_eq!(relay.ask(&append, WRITER, b"sealed"), ("HTTP/1.1 201 Created".to_owned(), b"{\"seq\":1}".to_vec()));
    // The same bytes again have the same number.
    assert_eq!(relay.ask(&append, WRITER, b"sealed"), ("HTTP/1.1 200 OK".to_owned(), b"{\"seq\":1}".to_vec()));
    relay.stop();

    let relay = Relay::start(&folder.0);
    let (status, entries) = relay.ask(&format!("GET /v1/logs/{LOG}/entries?after=0"), OWNER, b"");
    assert_eq!(status, "HTTP/1.1 200 OK");
    // Number as u64, kind as u8, length as u32, big-endian; then the bytes.
    assert_eq!(entries, [&[0, 0, 0, 0, 0, 0, 0, 1, 0, 0, 0, 0, 6], b"sealed".as_slice()].concat());
    relay.stop();
}

#[test]
fn a_replaced_log_can_be_had_back() {
    let folder = Folder::new("restore");
    let relay = Relay::start(&folder.0);
    let writer = format!("{{\"writer\":\"{WRITER_HASH}\"}}");
    relay.ask(&format!("PUT /v1/logs/{LOG}"), OWNER, writer.as_bytes());
    for entry in [b"one", b"two"] {
        relay.ask(&format!("POST /v1/logs/{LOG}/entries"), WRITER, entry);
    }
    // SHA-256 of 32 zero bytes and SHA-256 of `one`; of that and SHA-256 of `two`: computed with Python's hashlib.
    let chain = "Trug-Chain: uI8_KQ_krBHaMpxVFbQYuTfem-Gr_7T_QN6Xbvg6KO4\r\n";
    let snapshot = format!("PUT /v1/logs/{LOG}/snapshot?through=2");
    let (status, body) = relay.ask_with(&snapshot, OWNER, chain, b"both");
    assert!(status.starts_with("HTTP/1.1 20"), "{status} {}", String::from_utf8_lossy(&body));
    let entries = |relay: &Relay| relay.ask(&format!("GET /v1/logs/{LOG}/entries?after=0"), OWNER, b"").1;
    let frame = |seq: u8, kind: u8, bytes: &[u8]| {
        [&[0, 0, 0, 0, 0, 0, 0, seq, kind, 0, 0, 0][..], &[bytes.len() as u8], bytes].concat()
    };
    assert_eq!(entries(&relay), frame(2, 1, b"both"));
    relay.stop();

    let restore = || {
        let command = Command::new(env!("CARGO_BIN_EXE_trug"))
            .args(["relay-restore", "--log", LOG, "--data"])
            .arg(&folder.0)
            .output();
        let ran = command.unwrap();
        assert_eq!(ran.status.code(), Some(0), "{}", String::from_utf8_lossy(&ran.stderr));
        String::from_utf8(ran.stdout).unwrap()
    };
    assert_eq!(restore(), "the snapshot at 2 is gone, and the entries that it replaced are back\n");
    assert!(restore().contains("nothing was changed"));
    let relay = Relay::start(&folder.0);
    assert_eq!(entries(&relay), [frame(1, 0, b"one"), frame(2, 0, b"two")].concat());
    relay.stop();
}

#[test]
fn what_cannot_be_meant_is_said_at_the_start() {
    let cases: [(&[&str], &str); 3] = [
        (&["--listen", "nowhere"], "nowhere"),
        (&["--tls-certificate", "c.pem"], "--tls-key"),
        (&["--config", "no-such-file.toml"], "no-such-file.toml"),
    ];
    for (flags, said) in cases {
        let ran = Command::new(env!("CARGO_BIN_EXE_trug")).arg("serve").args(flags).output().unwrap();
        let err = String::from_utf8_lossy(&ran.stderr);
        assert_eq!(ran.status.code(), Some(2), "{err}");
        assert!(err.contains(said), "{err}");
    }
}
