//! The documents in Automerge's own JavaScript package: it reads the values that we wrote, and what it writes passes our
//! gate with the same heads and the same values.
//!
//! Needs Node and npm, and once the npm registry. Where they are not to be had, the check says `not run here` on
//! standard output, which `cargo xtask test` repeats at its end.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a panic is a failed check")]

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use automerge::{Automerge, ReadDoc, ScalarValue, Value};
use serde_json::{Value as Json, json};
use trug_catalog::Keep;
use trug_measure::{Amount, Currency, Exact, Money, Unit};
use trug_replica::Document;
use trug_replica::book::{Book, Helper, Root};
use trug_replica::gate::{Gate, Limits};
use trug_replica::id::{Alias, DeviceId, LineId, LotId, OsEntropy, Stamp};
use trug_replica::pantry::{Counted, Lot, Move, Pantry};
use trug_replica::run::{
    Claimed, HandLine, Label, MustNot, Note, Pack, Pick, PlanLine, Quantity, Receipt, Run, Share, Taken,
};

/// What stands in a document: map, key, all distinct texts.
type Maps = BTreeMap<String, BTreeMap<String, BTreeSet<String>>>;
/// One put, one change of several, one device of several.
type Put = [String; 3];
type Device = Vec<Vec<Put>>;

fn here(path: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("js/interop").join(path)
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

fn unhex(text: &str) -> Vec<u8> {
    let digit = |byte: u8| char::from(byte).to_digit(16).expect("a digit") as u8;
    text.as_bytes().chunks(2).map(|pair| digit(pair[0]) << 4 | digit(pair[1])).collect()
}

/// Says, past the test runner's capture, that something was not checked.
fn not_run(why: &str) {
    let line = format!("\nnot run here: the documents in Automerge's JavaScript package ({why})\n");
    std::io::stdout().write_all(line.as_bytes()).expect("standard output");
}

/// The package, installed as the lock file says; or why it cannot be.
fn installed() -> Result<PathBuf, String> {
    let at = Path::new(env!("CARGO_TARGET_TMPDIR")).join("interop");
    fs::create_dir_all(&at).map_err(|error| error.to_string())?;
    let lock = fs::read(here("package-lock.json")).expect("the lock file");
    let stamp = at.join("installed");
    fs::copy(here("interop.mjs"), at.join("interop.mjs")).expect("a copy");
    if !succeeds(Command::new("node").arg("--version")) {
        return Err("Node is not installed".to_owned());
    }
    if fs::read(&stamp).is_ok_and(|done| done == lock) {
        return Ok(at);
    }
    for file in ["package.json", "package-lock.json"] {
        fs::copy(here(file), at.join(file)).expect("a copy");
    }
    let mut npm = Command::new("npm");
    npm.args(["ci", "--no-audit", "--no-fund", "--fetch-retries=1", "--fetch-timeout=60000"]).current_dir(&at);
    if !succeeds(&mut npm) {
        return Err("npm could not install the package; is the registry in reach?".to_owned());
    }
    fs::write(stamp, lock).map_err(|error| error.to_string())?;
    Ok(at)
}

fn succeeds(command: &mut Command) -> bool {
    let quiet = command.stdin(Stdio::null()).stdout(Stdio::null()).stderr(Stdio::null());
    quiet.status().is_ok_and(|status| status.success())
}

/// Asks the script, and takes its answer apart.
fn ask(at: &Path, question: &Json) -> Vec<Json> {
    let mut node = Command::new("node");
    node.arg("interop.mjs").current_dir(at).stdin(Stdio::piped()).stdout(Stdio::piped());
    let mut child = node.spawn().expect("Node starts");
    child.stdin.take().expect("a pipe").write_all(question.to_string().as_bytes()).expect("it listens");
    let output = child.wait_with_output().expect("it ends");
    assert!(output.status.success(), "the script failed; what it said stands above");
    serde_json::from_slice(&output.stdout).expect("JSON")
}

/// What stands in saved bytes, read with automerge itself.
fn maps(saved: &[u8]) -> Maps {
    let document = Automerge::load(saved).unwrap();
    let text = |value: &Value<'_>| match value.as_scalar() {
        Some(ScalarValue::Str(text)) => text.to_string(),
        Some(ScalarValue::Uint(number)) => number.to_string(),
        other => panic!("a document of ours has no {other:?}"),
    };
    let of_map = |map: &str| {
        let (_, object) = document.get(automerge::ROOT, map).unwrap().unwrap();
        let keys: Vec<String> = document.keys(&object).collect();
        let all = |key: &String| document.get_all(&object, key.as_str()).unwrap();
        keys.into_iter().map(|key| (key.clone(), all(&key).iter().map(|(value, _)| text(value)).collect())).collect()
    };
    document.keys(automerge::ROOT).map(|map| (map.clone(), of_map(&map))).collect()
}

fn maps_of(view: &Json) -> Maps {
    serde_json::from_value(view["maps"].clone()).expect("maps")
}

fn heads_of(view: &Json) -> Vec<String> {
    serde_json::from_value(view["heads"].clone()).expect("heads")
}

fn heads<D: Document>(document: &D) -> Vec<String> {
    document.heads().iter().map(ToString::to_string).collect()
}

fn new<D: Document>() -> D {
    D::create(DeviceId::draw(&mut OsEntropy).unwrap(), &mut OsEntropy).unwrap()
}

/// One document on two devices that met, so that it has conflicts and two heads' worth of history.
fn met<D: Document>(write: impl Fn(&mut D, usize)) -> D {
    let (mut first, mut second) = (Gate::new(new::<D>(), Limits::default()), new::<D>());
    write(first.document_mut(), 0);
    write(&mut second, 1);
    first.merge(&second);
    assert_eq!(first.quarantine(), []);
    first.into_document()
}

fn grams(value: i64, below: i128) -> Amount {
    Amount::new(Exact::new(i128::from(value), below), Unit::GRAM)
}

fn dollars(minor: i64) -> Money {
    Money { minor, currency: Currency::USD }
}

/// Words with everything that a format could trip over: bars, backslashes, quotes, other scripts, letters beyond 16 bits.
const WORDS: [&str; 4] =
    ["crème fraîche | 20 \\ 30 %", "\"ümlaut\" 'n' <b>&amp;", "小松菜 \u{1f96c}", "e\u{301} and é\ttab"];

fn plan_line(at: usize, device: usize) -> PlanLine {
    let alias = Alias::new("BD2").unwrap();
    let want = (!at.is_multiple_of(3)).then(|| grams(1000 + at as i64 * 7 + device as i64, 3));
    PlanLine {
        id: LineId::new(&format!("line {at}")).unwrap(),
        rank: at as u32,
        food: format!("{} {at}", WORDS[at % WORDS.len()]),
        text: "3 bunches".to_owned(),
        section: "produce".to_owned(),
        store: at.is_multiple_of(2).then(|| "Harbour Street Market".to_owned()),
        keep: [Keep::Ambient, Keep::Chilled, Keep::Frozen][at % 3],
        want,
        takes: want,
        packs: vec![Pack { count: 2, size: "14.5 oz".to_owned() }],
        cost: Some(dollars(249 + at as i64)),
        shares: vec![Share { alias: alias.clone(), need: want }],
        separate: at.is_multiple_of(5).then(|| alias.clone()),
        contains: vec!["milk".to_owned()],
        read_label: at.is_multiple_of(2),
        must_not: vec![MustNot { alias, what: WORDS[at % WORDS.len()].to_owned(), alert: at.is_multiple_of(2) }],
        subs: vec![WORDS[0].to_owned()],
        ask: at.is_multiple_of(7),
        check: want.is_none(),
        optional: false,
    }
}

fn write_run(run: &mut Run, device: usize) {
    let alias = || Alias::new("BD2").unwrap();
    let plan: Vec<PlanLine> = (0..30).map(|at| plan_line(at, device)).collect();
    run.set_title(&format!("Tuesday {}", WORDS[device])).unwrap();
    run.set_name(WORDS[device + 1]).unwrap();
    run.bring_up_to_date(1, &plan).unwrap();
    run.bring_up_to_date(2 + device as u64, &plan[..25]).unwrap();
    let kinds = [
        Taken::Got { amount: Quantity::Whole(Some(grams(7, 3))), packs: plan[0].packs.clone(), price: None },
        Taken::Got { amount: Quantity::Part(None), packs: Vec::new(), price: Some(dollars(-5)) },
        Taken::AtHome { amount: Quantity::Part(Some(grams(1, 7))) },
        Taken::Sub {
            instead: WORDS[2].to_owned(),
            amount: Quantity::Whole(None),
            packs: Vec::new(),
            price: Some(dollars(1)),
        },
        Taken::NoneThere,
    ];
    for (at, what) in kinds.into_iter().enumerate() {
        let label = (at == 0).then(|| Label { product: WORDS[3].to_owned(), says: "Contains wheat | soy".to_owned() });
        let pick = Pick {
            line: plan[at].id.clone(),
            what,
            at: Stamp(1_772_600_000_000),
            store: Some(WORDS[1].to_owned()),
            aliases: vec![alias()],
            label,
        };
        let id = run.pick(&pick).unwrap();
        if at == 1 {
            run.strike(id, Stamp(-1)).unwrap();
        }
    }
    let hand = |alias| HandLine { food: WORDS[2].to_owned(), text: String::new(), section: "bakery".to_owned(), alias };
    run.add_line(&hand(Some(alias()))).unwrap();
    run.add_line(&hand(None)).unwrap();
    run.claim(&Claimed::Section("produce".to_owned()), Some(run.device())).unwrap();
    run.claim(&Claimed::Store(WORDS[0].to_owned()), None).unwrap();
    run.note(&Note { line: None, text: WORDS[3].to_owned(), at: Stamp(0) }).unwrap();
    let receipt = Receipt { store: WORDS[1].to_owned(), total: dollars(10_999), alias: None, at: Stamp(3) };
    run.pay(&receipt).unwrap();
}

fn write_pantry(pantry: &mut Pantry, device: usize) {
    pantry.set_title(WORDS[device]).unwrap();
    pantry.set_name(WORDS[device + 2]).unwrap();
    let shared = LotId::new("the lot on both devices").unwrap();
    for (at, word) in WORDS.into_iter().enumerate() {
        let use_by = at.is_multiple_of(2).then(|| "2026-03-04".to_owned());
        let lot = pantry.add_lot(&Lot { food: word.to_owned(), keep: Keep::Chilled, use_by }).unwrap();
        for lot in [lot, shared.clone()] {
            let by = grams(at as i64 * 100 - 150, 1 + at as i128);
            pantry.move_stock(&Move { lot: lot.clone(), by, why: word.to_owned(), at: Stamp(at as i64) }).unwrap();
            let seen = [Counted::Amount(grams(5, 3)), Counted::Plenty, Counted::Some, Counted::Out][(at + device) % 4];
            let count = pantry.count(&lot, seen, Stamp(9)).unwrap();
            if at == 2 {
                pantry.strike(count, Stamp(10)).unwrap();
            }
        }
    }
    pantry.set_par(&shared, Some(grams(500 + device as i64, 1))).unwrap();
    pantry.set_par(&shared, (device == 1).then(|| grams(9, 2))).unwrap();
}

fn write_book(book: &mut Book, device: usize) {
    book.import([("kitchen.toml", "name = \"K\"\n"), ("dishes/soup.md", WORDS[2]), ("prices.csv", "food,price\n")])
        .unwrap();
    book.set_file("dishes/soup.md", &WORDS.join("\n").repeat(50 + device)).unwrap();
    book.remove_file("prices.csv").unwrap();
    let root = Root {
        kind: trug_replica::Kind::Run,
        title: WORDS[3].to_owned(),
        secret: "not a secret".to_owned(),
        salt: Some("00ff".to_owned()),
        relay: None,
    };
    book.set_root("week 10", &root).unwrap();
    book.set_setting("units", ["us", "metric"][device]).unwrap();
    let helper = Helper { name: WORDS[1].to_owned(), document: "week 10".to_owned(), withdrawn: device == 1 };
    book.set_helper("wren", &helper).unwrap();
}

fn put(map: &str, key: &str, text: &str) -> Put {
    [map, key, text].map(str::to_owned)
}

/// Keys under which no device of ours has written.
fn fact(at: usize) -> String {
    format!("0123abcd-{at:012}")
}

fn check<D: Document>(document: D, devices: Vec<Device>) -> (Json, impl FnOnce(&Json) -> Gate<D>) {
    let saved = document.save();
    let question = json!({ "saved": hex(&saved), "devices": devices });
    let answer = move |answer: &Json| {
        assert_eq!(maps_of(&answer["before"]), maps(&saved), "the same values there as here");
        assert_eq!(heads_of(&answer["before"]), heads(&document));
        came_back(document, answer)
    };
    (question, answer)
}

/// What was written there comes through the gate whole, in three ways.
fn came_back<D: Document>(document: D, answer: &Json) -> Gate<D> {
    let saved = unhex(answer["saved"].as_str().unwrap());
    assert_eq!(maps_of(&answer["after"]), maps(&saved));
    let changes: Vec<Vec<u8>> =
        answer["changes"].as_array().unwrap().iter().map(|change| unhex(change.as_str().unwrap())).collect();
    let backwards: Vec<Vec<u8>> = changes.iter().rev().cloned().collect();
    let base = document.save();
    let mut gates = [vec![saved], backwards, vec![changes.concat()]].map(|entries| {
        let again = D::load(&base, document.device(), &mut OsEntropy).unwrap();
        let mut gate = Gate::new(again, Limits::default());
        for entry in entries {
            let attempt = gate.attempt(entry).unwrap();
            gate.admit(attempt);
        }
        assert_eq!(gate.quarantine(), []);
        assert_eq!(gate.waiting().count(), 0);
        assert_eq!(heads(gate.document()), heads_of(&answer["after"]));
        let ours = gate.checked_save().unwrap();
        assert_eq!(maps(&ours), maps_of(&answer["after"]), "the same values here as there");
        gate
    });
    assert_eq!(gates[0].document().canonical(), gates[1].document().canonical());
    assert_eq!(gates[0].document().canonical(), gates[2].document().canonical());
    let [first, ..] = &mut gates;
    std::mem::replace(first, Gate::new(new::<D>(), Limits::default()))
}

#[test]
fn automerges_own_javascript_package_reads_and_writes_our_documents() {
    let at = match installed() {
        Ok(at) => at,
        Err(why) => return not_run(&why),
    };
    let pick = "got|lline 4|w1000 g|p2 14.5 oz|c498 USD|t5|sMarkt \\p Süd";
    let long = WORDS.join(" ").repeat(40);
    let (run, run_answer) = check(
        met(write_run),
        vec![
            vec![
                vec![put("picks", &fact(1), pick), put("meta", "title", "from one")],
                vec![
                    put("strikes", &fact(1), "strike|d0123abcd|t6"),
                    put("notes", &fact(2), &format!("note|t7|x{long}")),
                ],
            ],
            vec![vec![put("picks", &fact(3), pick)], vec![put("meta", "title", "from the other")]],
        ],
    );
    let moved = "move|llot|q-250/3 g|t8|xused \u{1f96c}";
    let (pantry, pantry_answer) = check(
        met(write_pantry),
        vec![
            vec![vec![put("moves", &fact(1), moved)], vec![put("lots", "lot", "lot|frice|ka")]],
            vec![vec![put("moves", &fact(2), moved), put("par", "lot", "900 g")]],
        ],
    );
    let (book, book_answer) = check(
        met(write_book),
        vec![
            vec![vec![put("files", "dishes/soup.md", &long), put("settings", "units", "metric")]],
            vec![vec![put("files", "dishes/soup.md", "")], vec![put("files", "dishes/new.md", "# New")]],
        ],
    );
    let answers = ask(&at, &json!([run, pantry, book]));
    let [run, pantry, book] = answers.as_slice() else { panic!("three answers") };

    let run = run_answer(run).into_document();
    let view = run.view();
    assert_eq!(view.unreadable, []);
    let line = view.lines.iter().find(|line| line.id.as_str() == "line 4").unwrap();
    assert_eq!((line.struck.len(), line.picks.len()), (1, 3), "one of ours on each device, one of theirs");
    let titles = run.conflicts().into_iter().filter(|conflict| conflict.about == trug_replica::run::About::Title);
    assert_eq!(titles.map(|title| title.values).collect::<Vec<_>>(), [["from one", "from the other"]]);

    let pantry = pantry_answer(pantry).into_document();
    assert_eq!(pantry.view().unreadable, []);
    let lots = pantry.view().lots;
    let lot = lots.iter().find(|lot| lot.id.as_str() == "lot").unwrap();
    assert_eq!((lot.moves.len(), lot.par), (2, Some(grams(900, 1))));

    let book = book_answer(book).into_document();
    assert_eq!(book.file("dishes/new.md").as_deref(), Some("# New"));
    let soups = book.conflicts().into_iter().map(|conflict| conflict.values);
    assert!(soups.into_iter().any(|values| values == ["", long.as_str()]));
}
