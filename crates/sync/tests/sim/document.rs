//! A shopping trip in miniature over Automerge itself, and the plain model of the same that shares no code with it.

use std::collections::{BTreeMap, BTreeSet};

use automerge::transaction::{CommitOptions, Transactable};
use automerge::{ActorId, Automerge, Change, ChangeHash, ROOT, ReadDoc};
use trug_sync::{Document, Tried};

use super::Dice;

/// What happens when a poisoned change is tried: the program stops.
pub struct Stopped;

/// A fact: key and value, each written once.
pub type Fact = (String, String);

pub struct Trip {
    doc: Automerge,
    local: Vec<(ChangeHash, Vec<u8>)>,
    waiting: BTreeMap<ChangeHash, Change>,
    held: BTreeSet<Vec<u8>>,
}

pub const POISON: &str = "poison";

impl Trip {
    pub fn open(saved: Option<&[u8]>, dice: &mut Dice) -> Option<Self> {
        let mut doc = saved.map_or_else(|| Some(Automerge::new()), |bytes| Automerge::load(bytes).ok())?;
        doc.set_actor(ActorId::from([dice.next().to_be_bytes(), dice.next().to_be_bytes()].concat()));
        Some(Self { doc, local: Vec::new(), waiting: BTreeMap::new(), held: BTreeSet::new() })
    }

    /// One edit: one fact, one change.
    pub fn write(&mut self, (key, value): &Fact) -> ChangeHash {
        let mut edit = self.doc.transaction();
        edit.put(ROOT, key, value.as_str()).unwrap();
        let hash = edit.commit_with(CommitOptions::default().with_time(0)).0.unwrap();
        let bytes = self.doc.get_change_by_hash(&hash).unwrap().raw_bytes().to_vec();
        self.local.push((hash, bytes));
        hash
    }

    pub fn facts(&self) -> BTreeMap<String, String> {
        let keys = self.doc.keys(ROOT).collect::<Vec<_>>();
        let value = |key: &String| self.doc.get(ROOT, key).unwrap().unwrap().0.as_str().unwrap_or_default().to_owned();
        keys.iter().map(|key| (key.clone(), value(key))).collect()
    }

    pub fn heads(&self) -> Vec<ChangeHash> {
        let mut heads = self.doc.get_heads();
        heads.sort_unstable();
        heads
    }

    /// How each line stands, read key by key as a screen would.
    pub fn states(&self) -> BTreeMap<String, String> {
        let facts = self.facts();
        let under = |prefix: &str| {
            let prefix = format!("{prefix}:");
            facts
                .iter()
                .filter_map(move |(key, value)| Some((key.strip_prefix(&prefix)?.to_owned(), value.clone())))
                .collect::<BTreeMap<_, _>>()
        };
        let (lines, picks, strikes, withdrawn) = (under("line"), under("pick"), under("strike"), under("withdrawn"));
        let state = |line: &String, want: &String| {
            let mut sum = 0;
            let mut whole = BTreeSet::new();
            for (id, pick) in picks.iter().filter(|(id, _)| !strikes.contains_key(*id)) {
                let (of, amount) = pick.split_once(' ').unwrap();
                if of == line {
                    let amount: u32 = amount.parse().unwrap();
                    sum += amount;
                    if amount >= want.parse().unwrap() {
                        whole.insert(id.split('-').next().unwrap().to_owned());
                    }
                }
            }
            match (withdrawn.contains_key(line), sum) {
                (true, 0) => "withdrawn",
                (true, _) => "withdrawn but bought",
                (false, 0) => "to get",
                (false, _) if whole.len() > 1 => "bought twice",
                (false, sum) if sum >= want.parse().unwrap() => "got",
                _ => "part",
            }
        };
        lines.iter().map(|(line, want)| (line.clone(), state(line, want).to_owned())).collect()
    }

    fn take(&mut self, chunk: &[u8]) {
        match Change::try_from(chunk) {
            Ok(change) if change.message().is_some_and(|message| message == POISON) => {
                std::panic::resume_unwind(Box::new(Stopped));
            }
            Ok(change) => drop(self.waiting.insert(change.hash(), change)),
            Err(_) => drop(self.held.insert(chunk.to_vec())),
        }
    }

    fn settle(&mut self) {
        loop {
            let ready = self.waiting.iter().find(|(_, change)| change.deps().iter().all(|dep| self.has(dep)));
            let Some(hash) = ready.map(|(hash, _)| *hash) else { return };
            let change = self.waiting.remove(&hash).unwrap();
            let bytes = change.raw_bytes().to_vec();
            if self.doc.apply_changes([change]).is_err() {
                self.held.insert(bytes);
            }
        }
    }
}

/// The chunks of a content; the last one may be damaged.
fn chunks(mut content: &[u8]) -> Vec<&[u8]> {
    let mut chunks = Vec::new();
    while !content.is_empty() {
        let (mut len, mut at, mut shift) = (0_usize, 9, 0);
        while let Some(byte) = content.get(at) {
            len |= ((byte & 0x7f) as usize) << shift;
            (at, shift) = (at + 1, (shift + 7).min(56));
            if byte & 0x80 == 0 {
                break;
            }
        }
        let (chunk, rest) = content.split_at(at.saturating_add(len).min(content.len()));
        chunks.push(chunk);
        content = rest;
    }
    chunks
}

impl Document for Trip {
    type Told = ();

    fn admit(&mut self, contents: Vec<Vec<u8>>) -> Tried<()> {
        let before = self.held.len();
        for content in &contents {
            for chunk in chunks(content) {
                if let Some(doc) =
                    Some(chunk).filter(|chunk| chunk.get(8) == Some(&0)).and_then(|chunk| Automerge::load(chunk).ok())
                {
                    self.waiting.extend(doc.get_changes(&[]).into_iter().map(|change| (change.hash(), change)));
                } else {
                    self.take(chunk);
                }
            }
        }
        let doc = &self.doc;
        self.waiting.retain(|hash, _| doc.get_change_by_hash(hash).is_none());
        self.settle();
        Tried { told: vec![()], quarantined: self.held.len() - before }
    }

    fn blame(&mut self, content: Vec<u8>) {
        self.held.insert(content);
    }

    fn release(&mut self, content: &[u8]) {
        self.held.remove(content);
    }

    fn take_local(&mut self) -> Vec<(ChangeHash, Vec<u8>)> {
        std::mem::take(&mut self.local)
    }

    fn all(&self) -> Vec<(ChangeHash, Vec<u8>)> {
        let applied = self.doc.get_changes(&[]).into_iter();
        applied
            .chain(self.waiting.values().cloned())
            .map(|change| (change.hash(), change.raw_bytes().to_vec()))
            .collect()
    }

    fn has(&self, hash: &ChangeHash) -> bool {
        self.doc.get_change_by_hash(hash).is_some()
    }

    fn waiting(&self) -> usize {
        self.waiting.len()
    }

    fn quarantined(&self) -> usize {
        self.held.len()
    }

    fn checked_save(&mut self) -> Result<Vec<u8>, String> {
        Ok(self.doc.save())
    }
}

/// What must come out: tables of plain numbers, filled as facts become durable.
#[derive(Default)]
pub struct Model {
    pub facts: BTreeMap<String, String>,
}

impl Model {
    /// One pass over the facts, with running sums: nothing of the way in which [`Trip::states`] goes about it.
    pub fn states(&self) -> BTreeMap<String, String> {
        #[derive(Default)]
        struct Row {
            want: u32,
            got: u32,
            whole: Vec<(String, u32)>,
            gone: bool,
        }
        let mut rows: BTreeMap<String, Row> = BTreeMap::new();
        for (key, value) in &self.facts {
            let (kind, id) = key.split_once(':').unwrap();
            match kind {
                "line" => rows.entry(id.to_owned()).or_default().want = value.parse().unwrap(),
                "withdrawn" => rows.entry(id.to_owned()).or_default().gone = true,
                "pick" if !self.facts.contains_key(&format!("strike:{id}")) => {
                    let mut words = value.split(' ');
                    let row = rows.entry(words.next().unwrap().to_owned()).or_default();
                    let amount = words.next().unwrap().parse().unwrap();
                    row.got += amount;
                    row.whole.push((id.chars().take_while(|letter| *letter != '-').collect(), amount));
                }
                _ => {}
            }
        }
        let lines = rows.into_iter().filter(|(line, _)| self.facts.contains_key(&format!("line:{line}")));
        lines
            .map(|(line, row)| {
                let mut buyers: Vec<_> = row.whole.iter().filter(|(_, n)| *n >= row.want).map(|(who, _)| who).collect();
                buyers.sort();
                buyers.dedup();
                let state = if row.gone {
                    if row.got > 0 { "withdrawn but bought" } else { "withdrawn" }
                } else if row.got == 0 {
                    "to get"
                } else if buyers.len() >= 2 {
                    "bought twice"
                } else if row.got < row.want {
                    "part"
                } else {
                    "got"
                };
                (line, state.to_owned())
            })
            .collect()
    }
}
