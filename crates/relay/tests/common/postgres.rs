//! A throw-away PostgreSQL: a cluster in a temporary directory on a free port, gone when it is dropped.

use std::net::TcpListener;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use tempfile::TempDir;

/// Set to 1 where PostgreSQL cannot be had; its tests then say so and pass.
pub(crate) const SKIP: &str = "TRUG_TEST_NO_POSTGRES";

pub(crate) struct Cluster {
    directory: TempDir,
    programs: PathBuf,
    port: u16,
}

impl Cluster {
    /// Starts one. `None` only when the environment says to do without.
    ///
    /// # Panics
    /// When PostgreSQL is not installed or does not start: a suite that quietly tests half is worse than none.
    pub(crate) fn start() -> Option<Self> {
        if std::env::var(SKIP).is_ok_and(|value| value == "1") {
            eprintln!("{SKIP}=1: PostgreSQL is not tested");
            return None;
        }
        let programs = find_programs().unwrap_or_else(|| {
            panic!("PostgreSQL is not installed. Type `apt-get install postgresql`, or set {SKIP}=1 to do without.")
        });
        let directory = TempDir::new().expect("a directory");
        let port = TcpListener::bind("127.0.0.1:0").and_then(|port| port.local_addr()).expect("a free port").port();
        let cluster = Self { directory, programs, port };
        cluster.give_away();
        let data = cluster.data();
        cluster.run("initdb", &["-A", "trust", "-U", "postgres", "--no-instructions", "-D", &data]);
        cluster.up();
        Some(cluster)
    }

    /// Starts the server, for the first time or again.
    pub(crate) fn up(&self) {
        let sockets = self.directory.path().display();
        let options = format!("-p {} -c listen_addresses=127.0.0.1 -c unix_socket_directories={sockets}", self.port);
        let log = format!("{sockets}/log");
        self.run("pg_ctl", &["-w", "-t", "60", "-D", &self.data(), "-l", &log, "-o", &options, "start"]);
    }

    /// Ends the server as a power cut would.
    pub(crate) fn down(&self) {
        self.run("pg_ctl", &["-w", "-D", &self.data(), "-m", "immediate", "stop"]);
    }

    pub(crate) fn address(&self) -> String {
        format!("postgres://postgres@127.0.0.1:{}/postgres", self.port)
    }

    fn data(&self) -> String {
        self.directory.path().join("data").display().to_string()
    }

    /// PostgreSQL refuses to run as root: root hands the directory to the user that Debian's package makes.
    fn give_away(&self) {
        if is_root() {
            let given = Command::new("chown").arg("postgres").arg(self.directory.path()).status();
            assert!(given.is_ok_and(|status| status.success()), "there is a user postgres");
        }
    }

    fn run(&self, program: &str, arguments: &[&str]) {
        let program = self.programs.join(program);
        let mut command = if is_root() {
            let mut command = Command::new("setpriv");
            command.args(["--reuid=postgres", "--regid=postgres", "--clear-groups"]).arg(&program);
            command
        } else {
            Command::new(&program)
        };
        // To a file, not a pipe: the server that pg_ctl leaves behind would keep a pipe open.
        let output = self.directory.path().join("output");
        let file = std::fs::File::create(&output).expect("a file");
        let other = file.try_clone().expect("a file");
        let status = command
            .args(arguments)
            .current_dir(self.directory.path())
            .stdout(file)
            .stderr(other)
            .stdin(Stdio::null())
            .status();
        let said = std::fs::read_to_string(&output).unwrap_or_default();
        assert!(status.is_ok_and(|status| status.success()), "{}: {said}", program.display());
    }
}

impl Drop for Cluster {
    fn drop(&mut self) {
        if Path::new(&self.data()).join("postmaster.pid").exists() {
            self.down();
        }
    }
}

fn is_root() -> bool {
    Command::new("id").arg("-u").output().is_ok_and(|output| output.stdout.starts_with(b"0\n"))
}

fn find_programs() -> Option<PathBuf> {
    let on_path = std::env::var_os("PATH").map(|path| std::env::split_paths(&path).collect::<Vec<_>>());
    let packaged = std::fs::read_dir("/usr/lib/postgresql").into_iter().flatten().flatten();
    let mut packaged: Vec<_> = packaged.map(|version| version.path().join("bin")).collect();
    packaged.sort();
    let mut all = packaged.into_iter().rev().chain(on_path.unwrap_or_default());
    all.find(|directory| directory.join("initdb").exists() && directory.join("pg_ctl").exists())
}

/// Waits until something is so.
pub(crate) async fn eventually<F: Future<Output = bool>>(seconds: u64, what: &str, mut check: impl FnMut() -> F) {
    let until = Instant::now() + Duration::from_secs(seconds);
    while !check().await {
        assert!(Instant::now() < until, "{what}: not within {seconds} s");
        tokio::time::sleep(Duration::from_millis(20)).await;
    }
}
