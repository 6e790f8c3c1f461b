//! Two homes, a relay and the real program: what a chef and a helper do on one trip, apart and together.

#![allow(clippy::unwrap_used, clippy::panic, reason = "a panic in a test is a failed check")]
#![cfg(unix)]

mod common;

use std::collections::BTreeSet;
use std::fs;
use std::io::{BufRead as _, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use common::{Folder, demo};
use serde_json::Value;

/// A device's folder.
struct Home(Folder);

/// What a command gave.
struct Said {
    code: i32,
    out: String,
    err: String,
}

impl Said {
    /// It went well.
    fn fine(self) -> String {
        assert_eq!(self.code, 0, "{}{}", self.out, self.err);
        self.out
    }

    /// It went well, and this is the object.
    fn json(self) -> Value {
        serde_json::from_str(&self.fine()).unwrap()
    }
}

impl Home {
    fn new() -> Self {
        Self(Folder::with(&[]))
    }

    fn path(&self) -> &str {
        self.0.path()
    }

    fn command(&self, words: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_trug"));
        command.args(words).args(["--home", self.path()]);
        command
    }

    fn ask(&self, words: &[&str]) -> Said {
        let output = self.command(words).stdin(Stdio::null()).output().unwrap();
        Said {
            code: output.status.code().unwrap(),
            out: String::from_utf8(output.stdout).unwrap(),
            err: String::from_utf8(output.stderr).unwrap(),
        }
    }

    fn run(&self, words: &[&str]) -> Said {
        self.ask(&[&["run"], words].concat())
    }

    fn json(&self, words: &[&str]) -> Value {
        self.run(&[words, &["--json"]].concat()).json()
    }

    fn sync(&self) {
        self.run(&["sync"]).fine();
    }

    /// The foods of lines that nobody has picked, whose names no other line's begins with.
    fn open_lines(&self) -> Vec<String> {
        let shown = self.json(&["show"]);
        let lines = shown["lines"].as_array().unwrap();
        let ids =
            lines.iter().filter(|line| line["state"] == "to get").map(|line| line["id"].as_str().unwrap().to_owned());
        ids.collect()
    }

    fn picks(&self) -> BTreeSet<String> {
        let shown = self.json(&["show"]);
        let picks = shown["lines"].as_array().unwrap().iter().flat_map(|line| line["picks"].as_array().unwrap());
        picks.map(|pick| pick["id"].as_str().unwrap().to_owned()).collect()
    }
}

/// A relay as a process of its own.
struct Relay {
    child: Child,
    address: String,
}

impl Relay {
    fn start(data: &Path, listen: &str) -> Self {
        let mut child = Command::new(env!("CARGO_BIN_EXE_trug"))
            .args(["serve", "--listen", listen, "--data"])
            .arg(data)
            .env("TRUG_LOG", "off")
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let mut line = String::new();
        BufReader::new(child.stdout.take().unwrap()).read_line(&mut line).unwrap();
        let address = line.trim().strip_prefix("listening on ").unwrap().to_owned();
        Self { child, address }
    }

    fn new(data: &Path) -> Self {
        Self::start(data, "127.0.0.1:0")
    }

    fn stop(&mut self) {
        terminate(&self.child);
        self.child.wait().unwrap();
    }

    fn again(&mut self, data: &Path) {
        let listen = self.address.strip_prefix("http://").unwrap().to_owned();
        *self = Self::start(data, &listen);
    }
}

impl Drop for Relay {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

fn terminate(child: &Child) {
    assert!(Command::new("kill").args(["-TERM", &child.id().to_string()]).status().unwrap().success());
}

fn chef(relay: Option<&Relay>) -> Home {
    let home = Home::new();
    let mut words = vec!["make", demo(), "--week", "2026-W10", "--title", "Wednesday", "--name", "Nell"];
    if let Some(relay) = relay {
        words.extend(["--relay", &relay.address]);
    }
    home.run(&words).fine();
    home
}

fn helper(chef: &Home) -> Home {
    let link = chef.json(&["invite", "--name", "Jo"])["link"].as_str().unwrap().to_owned();
    let home = Home::new();
    home.run(&["join", &link, "--name", "Jo"]).fine();
    home
}

/// What a trip shows, without what differs from device to device.
fn common_view(home: &Home) -> Value {
    let mut shown = home.json(&["show"]);
    shown.as_object_mut().unwrap().remove("households");
    shown.as_object_mut().unwrap().remove("trip");
    shown
}

fn copy(from: &Path, to: &Path) {
    let _ = fs::remove_dir_all(to);
    fs::create_dir_all(to).unwrap();
    for entry in fs::read_dir(from).unwrap() {
        let path = entry.unwrap().path();
        fs::copy(&path, to.join(path.file_name().unwrap())).unwrap();
    }
}

#[test]
fn two_who_were_apart_meet_and_see_the_same() {
    let data = Folder::with(&[]);
    let relay = Relay::new(Path::new(data.path()));
    let chef = chef(Some(&relay));
    chef.sync();
    let helper = helper(&chef);
    helper.sync();
    let lines = chef.open_lines();
    assert_eq!(helper.open_lines(), lines);

    // Apart: each picks for itself, and both get the first line.
    chef.run(&["got", &lines[0], "--price", "4.50"]).fine();
    chef.run(&["got", &lines[1], &lines[2]]).fine();
    chef.run(&["add", "Paper bags", "--amount", "2 packs"]).fine();
    helper.run(&["got", &lines[0]]).fine();
    helper.run(&["none", &lines[3]]).fine();
    helper.run(&["home", &lines[4]]).fine();
    helper.run(&["note", "the bakery is shut", "--line", &lines[3]]).fine();
    let undone = helper.json(&["got", &lines[5]])["picks"][0]["id"].as_str().unwrap().to_owned();
    helper.run(&["undo", &undone]).fine();
    assert_ne!(common_view(&chef), common_view(&helper));

    for _ in 0..2 {
        helper.sync();
        chef.sync();
    }
    helper.sync();
    let (ours, theirs) = (common_view(&chef), common_view(&helper));
    assert_eq!(ours, theirs);
    let state = |id: &String| {
        let line = ours["lines"].as_array().unwrap().iter().find(|line| line["id"] == id.as_str()).unwrap();
        line["state"].as_str().unwrap().to_owned()
    };
    assert!(matches!(state(&lines[0]).as_str(), "bought twice" | "got"), "{}", state(&lines[0]));
    assert_eq!((state(&lines[1]).as_str(), state(&lines[3]).as_str()), ("got", "not to be had"));
    assert_eq!((state(&lines[4]).as_str(), state(&lines[5]).as_str()), ("got", "to get"));
    let names: BTreeSet<&str> = ours["people"].as_object().unwrap().values().filter_map(Value::as_str).collect();
    assert_eq!(names, BTreeSet::from(["Jo", "Nell"]));
}

#[test]
fn a_helper_sees_no_household_and_no_secret() {
    let chef = chef(None);
    let helper = helper(&chef);
    let file = Folder::with(&[]);
    let path = format!("{}/trip.trug", file.path());
    chef.run(&["seal", &path]).fine();
    helper.run(&["merge", &path]).fine();
    let (shown, listed) = (helper.run(&["show", "--json"]).fine(), helper.run(&["list", "--json"]).fine());
    let text = helper.run(&["show"]).fine();
    assert!(chef.run(&["show", "--json"]).fine().contains("ropewalk"), "the chef does");
    for file in fs::read_dir(format!("{}/households", demo())).unwrap() {
        let path = file.unwrap().path();
        let id = path.file_stem().unwrap().to_str().unwrap().to_owned();
        let own = fs::read_to_string(&path).unwrap();
        let name = own.lines().find_map(|line| line.strip_prefix("name = ")).unwrap().trim_matches('"').to_owned();
        for said in [&shown, &listed, &text] {
            assert!(!said.contains(&id) && !said.contains(&name), "{id} / {name}");
        }
    }
}

#[test]
fn a_trip_travels_as_a_sealed_file() {
    let chef = chef(None);
    let helper = helper(&chef);
    let folder = Folder::with(&[]);
    let (there, back) = (format!("{}/there.trug", folder.path()), format!("{}/back.trug", folder.path()));
    chef.run(&["seal", &there]).fine();
    assert_eq!(helper.run(&["sync"]).code, 1, "there is no relay");
    helper.run(&["merge", &there]).fine();
    let lines = helper.open_lines();
    chef.run(&["got", &lines[0]]).fine();
    helper.run(&["got", &lines[1]]).fine();
    helper.run(&["seal", &back]).fine();
    let merged = chef.json(&["merge", &back]);
    assert!(merged["new"].as_u64().unwrap() > 0, "{merged}");
    assert!(merged["told"].to_string().contains("Jo got"), "{merged}");
    assert_eq!(chef.json(&["merge", &back])["new"], 0);
    chef.run(&["seal", &there]).fine();
    helper.run(&["merge", &there]).fine();
    assert_eq!(common_view(&chef), common_view(&helper));

    // A stranger's device, a torn file, and no file at all.
    let stranger = Home::new();
    assert_eq!(stranger.run(&["merge", &there]).code, 1);
    fs::write(&back, &fs::read(&there).unwrap()[..200]).unwrap();
    assert_eq!(chef.run(&["merge", &back]).code, 1);
    assert_eq!(chef.run(&["merge", "no-such-file"]).code, 1);
}

#[test]
fn nothing_acknowledged_is_lost_to_a_kill() {
    let data = Folder::with(&[]);
    let relay = Relay::new(Path::new(data.path()));
    let chef = chef(Some(&relay));
    chef.sync();
    let helper = helper(&chef);
    helper.sync();
    let lines = helper.open_lines();
    let started = Instant::now();
    let first = helper.json(&["got", &lines[0]])["picks"][0]["id"].as_str().unwrap().to_owned();
    let took = started.elapsed();
    let mut said = BTreeSet::from([first]);
    for (round, line) in (0_u64..).zip(lines.iter().cycle().take(40)) {
        let words: &[&str] = if round % 3 == 2 { &["run", "sync"] } else { &["run", "got", line, "--json"] };
        let mut child =
            helper.command(words).stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::null()).spawn().unwrap();
        // Somewhere between the start and well after the end.
        std::thread::sleep(took.mul_f64((round * 37 % 160) as f64 / 100.0));
        let _ = child.kill();
        let output = child.wait_with_output().unwrap();
        if let Ok(answer) = serde_json::from_slice::<Value>(&output.stdout) {
            said.extend(answer["picks"].as_array().unwrap().iter().map(|pick| pick["id"].as_str().unwrap().to_owned()));
        }
    }
    assert!(helper.picks().is_superset(&said));
    helper.run(&["got", &lines[0]]).fine();
    helper.sync();
    chef.sync();
    assert_eq!(chef.picks(), helper.picks());
    assert!(chef.picks().is_superset(&said));
}

#[test]
fn a_relay_from_an_old_backup_gets_everything_back() {
    let (data, kept) = (Folder::with(&[]), Folder::with(&[]));
    let (data_path, kept_path) = (Path::new(data.path()), PathBuf::from(kept.path()));
    let mut relay = Relay::new(data_path);
    let chef = chef(Some(&relay));
    chef.sync();
    let helper = helper(&chef);
    helper.sync();
    let lines = chef.open_lines();
    chef.run(&["got", &lines[0]]).fine();
    chef.sync();
    relay.stop();
    copy(data_path, &kept_path);
    relay.again(data_path);
    helper.run(&["got", &lines[1]]).fine();
    helper.sync();
    chef.run(&["got", &lines[2]]).fine();
    chef.sync();
    helper.sync();
    let before = common_view(&chef);
    relay.stop();
    copy(&kept_path, data_path);
    relay.again(data_path);
    chef.sync();
    helper.sync();
    chef.sync();
    // Who joins only now finds all of it.
    let late = Home::new();
    let link = chef.json(&["invite", "--name", "Al"])["link"].as_str().unwrap().to_owned();
    late.run(&["join", &link]).fine();
    late.sync();
    assert_eq!(common_view(&late), before);
    assert_eq!(common_view(&chef), before);
}

#[test]
fn a_withdrawn_helper_reads_nothing_new_and_loses_nothing() {
    let data = Folder::with(&[]);
    let relay = Relay::new(Path::new(data.path()));
    let chef = chef(Some(&relay));
    chef.sync();
    let helper = helper(&chef);
    helper.sync();
    let lines = chef.open_lines();
    // Picked, and not sent yet.
    let late = helper.json(&["got", &lines[0]])["picks"][0]["id"].as_str().unwrap().to_owned();
    chef.run(&["withdraw", "--grace", "1h"]).fine();
    let after = chef.json(&["got", &lines[1]])["picks"][0]["id"].as_str().unwrap().to_owned();
    chef.sync();
    helper.sync();
    chef.sync();
    assert!(chef.picks().contains(&late), "what was not sent yet comes in within the grace");
    helper.sync();
    assert!(!helper.picks().contains(&after), "what comes after is not for whoever was withdrawn");
    // Somebody else is let in, and sees both.
    let other = Home::new();
    let link = chef.json(&["invite", "--name", "Al"])["link"].as_str().unwrap().to_owned();
    other.run(&["join", &link]).fine();
    other.sync();
    assert!(other.picks().is_superset(&BTreeSet::from([late, after])));
    // Without grace, the old log goes at once, and the helper is told.
    chef.run(&["withdraw", "--grace", "0s"]).fine();
    chef.sync();
    let told = other.run(&["sync"]);
    assert_eq!(told.code, 1);
    assert!(told.out.contains("withdrawn"), "{}", told.out);
}

#[test]
fn the_chefs_second_device_has_the_book_and_its_trips() {
    let data = Folder::with(&[]);
    let relay = Relay::new(Path::new(data.path()));
    let chef = chef(Some(&relay));
    let link = chef.ask(&["book", "invite", "--json"]).json()["link"].as_str().unwrap().to_owned();
    chef.sync();
    let second = Home::new();
    second.run(&["join", &link, "--name", "Nell's other"]).fine();
    second.sync();
    let lines = second.open_lines();
    second.run(&["got", &lines[0]]).fine();
    second.ask(&["pantry", "count", "kit", "olive oil", "1 l"]).fine();
    second.sync();
    chef.sync();
    assert_eq!(common_view(&chef), common_view(&second));
    assert!(second.json(&["show"])["households"].as_object().is_some_and(|all| !all.is_empty()));
    let kit = |home: &Home| home.ask(&["pantry", "list", "kit", "--json"]).json()["pantries"][0]["lots"].clone();
    assert_eq!(kit(&chef), kit(&second));
    // Its code is where the book was begun, and brings the book back elsewhere.
    assert_eq!(second.ask(&["book", "recovery"]).code, 2);
    let code = chef.ask(&["book", "recovery", "--json"]).json()["code"].as_str().unwrap().to_owned();
    let fresh = Home::new();
    assert_eq!(fresh.ask(&["book", "recover", &code]).code, 2, "a code alone brings nothing back");
    fresh.ask(&["book", "recover", &code, "--relay", &relay.address]).fine();
    fresh.sync();
    assert_eq!(common_view(&fresh), common_view(&chef));
    let (ours, theirs) = (Folder::with(&[]), Folder::with(&[]));
    chef.ask(&["book", "export", ours.path()]).fine();
    fresh.ask(&["book", "export", theirs.path()]).fine();
    let list = |folder: &Folder| {
        let ran = common::trug(&["list", folder.path(), "--week", "2026-W10", "--json"], b"");
        assert_eq!(ran.code, 0, "{}", ran.err);
        ran.out
    };
    assert_eq!(list(&ours), list(&theirs));
}

#[test]
fn a_backup_and_the_code_bring_the_book_back_without_a_relay() {
    let chef = chef(None);
    let lines = chef.open_lines();
    chef.run(&["got", &lines[0]]).fine();
    let folder = Folder::with(&[]);
    chef.ask(&["book", "backup", folder.path()]).fine();
    let code = chef.ask(&["book", "recovery"]).fine();
    let code: String = code.lines().take(7).collect::<Vec<_>>().join(" ");
    let fresh = Home::new();
    fresh.ask(&["book", "recover", &code, "--from", folder.path()]).fine();
    assert_eq!(common_view(&fresh), common_view(&chef));
}

#[test]
fn a_client_counts_at_home() {
    let data = Folder::with(&[]);
    let relay = Relay::new(Path::new(data.path()));
    let chef = chef(Some(&relay));
    let invited = chef.ask(&["pantry", "invite", "ropewalk", "--name", "Ada", "--json"]).json();
    chef.sync();
    let client = Home::new();
    client.run(&["join", invited["link"].as_str().unwrap(), "--name", "Ada"]).fine();
    client.sync();
    client.ask(&["pantry", "count", "ropewalk", "paprika", "2 oz"]).fine();
    chef.ask(&["pantry", "move", "ropewalk", "paprika", "-10 g"]).code.eq(&2).then_some(()).unwrap();
    client.ask(&["pantry", "move", "ropewalk", "paprika", "-0.5oz", "--why", "supper"]).fine();
    client.sync();
    chef.sync();
    let lots = |home: &Home| home.ask(&["pantry", "list", "ropewalk", "--json"]).json()["pantries"][0]["lots"].clone();
    assert_eq!(lots(&chef), lots(&client));
    let paprika = lots(&chef).as_array().unwrap().iter().find(|lot| lot["food"] == "paprika").unwrap().clone();
    assert_eq!(paprika["amount"], serde_json::json!({ "amount": 1.5, "unit": "oz" }));
    // The chef's list reckons with it.
    let export = Folder::with(&[]);
    chef.ask(&["book", "export", export.path()]).fine();
    assert!(fs::read_to_string(format!("{}/pantries/ropewalk.csv", export.path())).unwrap().contains("paprika,1.5 oz"));
}

#[test]
fn a_sub_is_never_passed_over_in_silence() {
    let chef = chef(None);
    let shown = chef.json(&["show"]);
    let lines = shown["lines"].as_array().unwrap();
    let line = lines.iter().find(|line| !line["must_not"].as_array().unwrap().is_empty()).unwrap();
    let (id, what) = (line["id"].as_str().unwrap(), line["must_not"][0]["what"].as_str().unwrap());
    let made = chef.run(&["sub", id, &format!("house {what} paste"), "--json"]);
    assert!(made.err.contains(what), "said on standard error too: {}", made.err);
    let made = made.json();
    assert!(made["picks"][0]["alerts"].to_string().contains(what), "{made}");
    let again = chef.json(&["show"]);
    let now = again["lines"].as_array().unwrap().iter().find(|line| line["id"] == id).unwrap();
    assert!(now["picks"][0]["alerts"].to_string().contains(what), "{now}");
}

#[test]
fn a_changed_folder_keeps_what_was_picked() {
    let kitchen = common::small();
    let home = Home::new();
    home.run(&["make", kitchen.path(), "--week", "w1"]).fine();
    home.run(&["got", "moonbean"]).fine();
    let soup = fs::read_to_string(format!("{}/dishes/soup.md", kitchen.path())).unwrap();
    kitchen
        .write("dishes/soup.md", &soup.replace("- 2 cups moonbeans\n", "").replace("1 lb starroot", "2 lb starroot"));
    let updated = home.json(&["update", kitchen.path()]);
    assert_eq!(updated["withdrawn"].as_array().unwrap().len(), 1, "{updated}");
    assert!(!updated["changed"].as_array().unwrap().is_empty(), "{updated}");
    let shown = home.json(&["show"]);
    let bean = shown["lines"].as_array().unwrap().iter().find(|line| line["food"] == "Moonbean").unwrap().clone();
    assert_eq!(
        (bean["state"].as_str(), bean["picks"].as_array().map(Vec::len)),
        (Some("withdrawn but bought"), Some(1))
    );
}

#[test]
fn staying_in_sync_tells_and_gives_way() {
    let data = Folder::with(&[]);
    let relay = Relay::new(Path::new(data.path()));
    let chef = chef(Some(&relay));
    chef.sync();
    let helper = helper(&chef);
    helper.sync();
    let lines = helper.open_lines();
    let mut staying = chef.command(&["run", "sync", "--stay"]).stdout(Stdio::piped()).spawn().unwrap();
    let mut said = BufReader::new(staying.stdout.take().unwrap()).lines();
    let mut wait_for = |what: &str| {
        let until = Instant::now() + Duration::from_secs(60);
        let found = said.by_ref().map(Result::unwrap).find(|line| line.contains(what));
        assert!(found.is_some() && Instant::now() < until, "{what}");
    };
    wait_for("sent");
    helper.run(&["got", &lines[0]]).fine();
    helper.sync();
    wait_for("Jo got");
    // Another command on the same device gets its turn, and what it did is sent by the one that stays.
    let pick = chef.json(&["got", &lines[1]])["picks"][0]["id"].as_str().unwrap().to_owned();
    let until = Instant::now() + Duration::from_secs(60);
    while !helper.picks().contains(&pick) {
        assert!(Instant::now() < until);
        helper.sync();
        std::thread::sleep(Duration::from_millis(100));
    }
    terminate(&staying);
    assert_eq!(staying.wait().unwrap().code(), Some(0));
}

#[test]
fn what_cannot_be_meant_is_said() {
    let chef = chef(None);
    let relayless = chef.run(&["sync"]);
    assert_eq!(relayless.code, 1);
    assert!(relayless.err.contains("trug run relay"), "{}", relayless.err);
    let cases: [(&[&str], &str); 12] = [
        (&["got", "zzyzx"], "zzyzx"),
        (&["got", "a"], "may be any of these"),
        (&["show", "nosuch"], "nosuch"),
        (&["join", "https://shelf.example/#short"], "invitation"),
        (&["relay", "ftp://shelf.example"], "https://"),
        (&["make", demo(), "--week", "2099-W01"], "2099-W01"),
        (&["make", demo(), "--week", "2026-W10", "--household", "nobody"], "nobody"),
        (&["make", "no-such-folder", "--week", "2026-W10"], "no-such-folder"),
        (&["withdraw", "--grace", "soon"], "soon"),
        (&["undo", "zzyzx"], "zzyzx"),
        (&["pay", "Larkmere", "a lot"], "a lot"),
        (&["add", "Bags", "--for", "QQ9"], "QQ9"),
    ];
    for (words, said) in cases {
        let ran = chef.run(words);
        assert_eq!((ran.code, ran.out.as_str()), (2, ""), "{words:?}: {}", ran.err);
        assert!(ran.err.contains(said), "{words:?}: {}", ran.err);
    }
    // A relay that is not there: said, with what is left, and no hang.
    chef.run(&["relay", "http://127.0.0.1:9"]).fine();
    let left = chef.run(&["sync", "--json"]);
    assert_eq!(left.code, 1);
    let left: Value = serde_json::from_str(&left.out).unwrap();
    assert_eq!(left["settled"], false);
    assert!(
        left["to_send"].as_u64().unwrap() > 0 && left["left"][0]["why"].as_str().unwrap().contains("reached"),
        "{left}"
    );
}

#[test]
fn a_relays_snapshot_can_be_taken_back() {
    let data = Folder::with(&[]);
    let mut relay = Relay::new(Path::new(data.path()));
    let chef = chef(Some(&relay));
    chef.sync();
    relay.stop();
    let restore = |log: &str| common::trug(&["relay-restore", "--data", data.path(), "--log", log], b"");
    assert_eq!(restore("short").code, 2);
    assert_eq!(restore("AAAAAAAAAAAAAAAAAAAAAA").code, 1, "a log that this relay does not know");
    assert_eq!(
        common::trug(&["relay-restore", "--data", "no-such-folder", "--log", "AAAAAAAAAAAAAAAAAAAAAA"], b"").code,
        2
    );
}
