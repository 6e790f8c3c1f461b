//! The other commands, exit statuses, and what goes wrong.

#![allow(clippy::unwrap_used, clippy::panic, reason = "a panic in a test is a failed check")]

mod common;

use std::io::Write as _;
use std::process::{Command, Stdio};

use common::{Folder, clean, demo, small, trug};
use serde_json::Value;

const KEYS: [&str; 11] =
    ["raw", "low", "high", "unit", "size", "food", "food_id", "prep", "basis", "optional", "check"];

fn parsed(input: &[u8]) -> Vec<Value> {
    let ran = trug(&["parse", "--json"], input);
    assert_eq!((ran.code, ran.err.as_str()), (0, ""));
    ran.out.lines().map(|line| serde_json::from_str(line).unwrap()).collect()
}

#[test]
fn parse_gives_one_object_a_line_with_the_contracts_keys() {
    let input =
        b"\xef\xbb\xbf1 1/2 lb carrots, peeled\r\n\n   \n2 (14.5-oz) cans diced tomatoes\nsalt, to taste\n1/3 cup milk";
    let lines = parsed(input);
    assert_eq!(lines.len(), 4, "blank lines are passed over");
    for line in &lines {
        for key in KEYS {
            assert!(line.get(key).is_some(), "{key} in {line}");
        }
    }
    assert_eq!(lines[0]["raw"], "1 1/2 lb carrots, peeled");
    assert_eq!((&lines[0]["low"], &lines[0]["high"]), (&1.5.into(), &1.5.into()));
    assert_eq!((lines[0]["unit"].as_str(), lines[0]["basis"].as_str()), (Some("lb"), Some("purchased")));
    assert_eq!(lines[1]["low"], 2, "whole numbers print whole");
    assert_eq!(lines[1]["size"], serde_json::json!({ "amount": 14.5, "unit": "oz" }));
    assert_eq!((&lines[2]["low"], &lines[2]["unit"], &lines[2]["check"]), (&Value::Null, &Value::Null, &true.into()));
    assert_eq!(lines[3]["high"], 1.0 / 3.0);
}

#[test]
fn parse_keeps_the_order_of_the_keys() {
    let text = trug(&["parse", "--json"], b"2 carrots\n").out;
    let places: Vec<usize> = KEYS.iter().map(|key| text.find(&format!("\"{key}\":")).unwrap()).collect();
    assert!(places.is_sorted(), "{text}");
}

#[test]
fn parse_takes_any_bytes() {
    let mut input = b"1 cup cr\xe8me\n\xff\xfe\0\n".to_vec();
    input.extend(std::iter::repeat_n(b'x', 300_000));
    assert_eq!(parsed(&input).len(), 3);
    assert_eq!(parsed(b"").len(), 0);
}

#[test]
fn parse_for_people() {
    let ran = trug(&["parse"], b"2-3 cups flour\nsalt and pepper, to taste\n1 cup zzyzx \x1b[2J\n");
    assert_eq!(ran.code, 0);
    assert!(ran.out.starts_with("2 to 3 cups (edible) | "), "{}", ran.out);
    assert!(ran.out.contains("make sure there is some | salt"), "{}", ran.out);
    assert!(ran.out.contains("(not in the catalogue)"), "{}", ran.out);
    assert!(!ran.out.contains('\u{1b}'));
}

#[test]
fn check_says_how_much_it_matters() {
    let ran = trug(&["check", small().path()], b"");
    assert_eq!(ran.code, 1, "{}", ran.out);
    let (alert, mend) = (ran.out.find("Allergy alerts").unwrap(), ran.out.find("To mend").unwrap());
    let know = ran.out.find("To know").unwrap();
    assert!(alert < mend && mend < know, "{}", ran.out);
    let fine = trug(&["check", clean().path()], b"");
    assert_eq!((fine.code, fine.err.as_str()), (0, ""), "{}", fine.out);
}

#[test]
fn check_tells_all_that_is_wrong_with_a_folder_at_once() {
    let folder = small();
    folder.write("kitchen.toml", "name = \"Nell\"\ncurency = \"USD\"\n");
    folder.write("households/pier.toml", "name = \"The Pier\"\n");
    let ran = trug(&["check", folder.path()], b"");
    assert_eq!(ran.code, 1);
    assert!(ran.out.contains("kitchen.toml:2: `curency`"), "{}", ran.out);
    assert!(ran.out.contains("households/pier.toml"), "{}", ran.out);
    for command in [&["list", folder.path(), "--week", "w1"][..], &["why", folder.path(), "moonbean", "--week", "w1"]] {
        let ran = trug(command, b"");
        assert_eq!((ran.code, ran.out.as_str()), (1, ""));
        assert!(ran.err.contains("kitchen.toml:2: `curency`"), "{}", ran.err);
    }
}

#[test]
fn why_shows_the_arithmetic() {
    let folder = small();
    for food in ["moonbean", "Moonbeans"] {
        let ran = trug(&["why", folder.path(), food, "--week", "w1"], b"");
        assert_eq!((ran.code, ran.err.as_str()), (0, ""));
        for want in [
            "Moonbeans: 2 x 250 g\n",
            "Pier soup, for The Mill: \"2 cups moonbeans\"\n",
            "2 x 1/2 = 1 (2 portions of a dish that serves 4)\n",
            "one cup weighs 200 g = 200 g edible\n",
            "needed in all 600 g\n",
            "100 g for M from the kitchen of The Mill (moonbean 100 g, use by 2026-12-01)\n",
            "to buy 600 g - 100 g in hand = 500 g\n",
            "2 x 250 g at 1.50 = 3.00\n",
            "shared by what each still needs: M 1.80, pier 1.20\n",
        ] {
            assert!(ran.out.contains(want), "{want:?} is not in\n{}", ran.out);
        }
    }
    let starroot = trug(&["why", folder.path(), "starroot", "--week", "w1"], b"").out;
    assert!(starroot.contains("1.5 lb loose (680.4 g) at 2.00 for 1 lb\n"), "{starroot}");
    let paste = trug(&["why", folder.path(), "harbor paste", "--week", "w1"], b"").out;
    assert!(paste.contains("no amount: somebody makes sure that there is some\n"), "{paste}");
    assert!(paste.contains("! allergy alert: Ada"), "{paste}");
}

#[test]
fn why_of_a_food_that_nobody_asks_for() {
    let ran = trug(&["why", clean().path(), "rareleaf", "--week", "w1"], b"");
    assert_eq!((ran.code, ran.out.as_str()), (0, "Rareleaf: nothing in week w1 asks for it\n"));
}

#[test]
fn why_explains_every_line_of_the_demo_kitchen() {
    let list: Value = serde_json::from_str(&trug(&["list", demo(), "--week", "2026-W11", "--json"], b"").out).unwrap();
    for line in list["lines"].as_array().unwrap().iter().step_by(7) {
        let ran = trug(&["why", demo(), line["food"].as_str().unwrap(), "--week", "2026-W11"], b"");
        assert_eq!((ran.code, ran.err.as_str()), (0, ""), "{}", line["food"]);
        assert!(ran.out.contains("asked for by\n    "), "{}", ran.out);
    }
}

#[test]
fn what_cannot_be_meant_says_what_there_is() {
    let folder = small();
    let kitchen = folder.path();
    let table: [(&[&str], &str); 9] = [
        (&["list", kitchen, "--week", "w9"], "no week `w9` in this kitchen; it has w1"),
        (
            &["list", kitchen, "--week", "w1", "--household", "mull"],
            "no household `mull` in this kitchen; it has mill, pier",
        ),
        (&["list", kitchen, "--week", "w1", "--store", "x"], "no store `x` in this kitchen; it has dockside"),
        (&["why", kitchen, "qqqzzz", "--week", "w1"], "no food `qqqzzz`"),
        (&["list", kitchen], "--week"),
        (&["list", kitchen, "--week", "w1", "--md", "--csv"], "cannot be used with"),
        (&["lst", kitchen], "list"),
        (&["check", "/no/such/folder"], "is not a folder"),
        (&[], "Usage"),
    ];
    for (args, want) in table {
        let ran = trug(args, b"");
        assert_eq!((ran.code, ran.out.as_str()), (2, ""), "{args:?}");
        assert!(ran.err.contains(want), "{want:?} is not in {}", ran.err);
    }
    let empty = Folder::with(&[]);
    let ran = trug(&["list", empty.path(), "--week", "w1"], b"");
    assert_eq!(ran.code, 1);
    assert!(ran.err.contains("the folder is empty"), "{}", ran.err);
}

#[test]
fn help_and_version_are_answers() {
    for (args, want) in [
        (&["--help"][..], "Exit status"),
        (&["list", "--help"], "trug list demo-data --week 2026-W10"),
        (&["parse", "--help"], "trug parse --json"),
        (&["check", "--help"], "trug check demo-data"),
        (&["why", "--help"], "trug why demo-data \"yellow onion\" --week 2026-W10"),
        (&["--version"], "trug 0."),
    ] {
        let ran = trug(args, b"");
        assert_eq!((ran.code, ran.err.as_str()), (0, ""), "{args:?}");
        assert!(ran.out.contains(want), "{want:?} is not in {}", ran.out);
    }
}

#[test]
fn a_reader_that_goes_away_is_no_error() {
    for args in [&["parse", "--json"][..], &["list", demo(), "--week", "2026-W10", "--json"], &["--help"]] {
        let mut child = Command::new(env!("CARGO_BIN_EXE_trug"))
            .args(args)
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        drop(child.stdout.take());
        let mut stdin = child.stdin.take().unwrap();
        // The program ends while it is fed; that too is no error.
        let _ = stdin.write_all(&b"1 cup milk\n".repeat(20_000));
        drop(stdin);
        let ended = child.wait_with_output().unwrap();
        assert_eq!((ended.status.code(), ended.stderr.len()), (Some(0), 0), "{args:?}");
    }
}
