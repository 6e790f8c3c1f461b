//! The relay's protocol in memory: one log, as plain as can be.

use std::collections::BTreeMap;

use trug_seal::EntryKind;
use trug_sync::{Answer, Call, Chain, EntryId, Failure, Page};

#[derive(Clone, Default)]
pub struct Relay {
    exists: bool,
    deleted: bool,
    read_only: bool,
    /// What is there, in order.
    entries: Vec<(u64, EntryKind, Vec<u8>)>,
    /// chain[n] is the chain at n.
    chain: Vec<Chain>,
    /// Every entry there ever was, for repetitions.
    known: BTreeMap<EntryId, u64>,
    snapshot: u64,
}

/// Small, so that there is always another page.
const PAGE: usize = 4;

impl Relay {
    pub fn head(&self) -> u64 {
        self.chain.len().saturating_sub(1) as u64
    }

    pub fn exists(&self) -> bool {
        self.exists
    }

    pub fn call(&mut self, is_owner: bool, call: &Call) -> Result<Answer, Failure> {
        if self.deleted {
            return Err(Failure::Gone);
        }
        match call {
            Call::Create if is_owner => {
                if !self.exists {
                    (self.exists, self.chain) = (true, vec![Chain::START]);
                }
                return Ok(Answer::Done);
            }
            _ if !self.exists => return Err(Failure::NotFound),
            _ => {}
        }
        match call {
            Call::Append(_) if self.read_only && !is_owner => Err(Failure::Forbidden),
            Call::Append(sealed) => Ok(self.append(sealed)),
            Call::Fetch { after } => Ok(self.page(*after)),
            _ if !is_owner => Err(Failure::Forbidden),
            Call::Snapshot { through, chain, sealed } => self.put_snapshot(*through, *chain, sealed),
            Call::ReadOnly => {
                self.read_only = true;
                Ok(Answer::Done)
            }
            Call::Delete => {
                self.deleted = true;
                Ok(Answer::Done)
            }
            Call::Create => Ok(Answer::Done),
        }
    }

    fn append(&mut self, sealed: &[u8]) -> Answer {
        let id = EntryId::of(sealed);
        let last = self.chain.last().copied().unwrap();
        let seq = *self.known.entry(id).or_insert_with(|| {
            self.chain.push(last.then(id));
            let seq = self.chain.len() as u64 - 1;
            self.entries.push((seq, EntryKind::Entry, sealed.to_vec()));
            seq
        });
        Answer::Appended { seq, head: self.head(), chain: *self.chain.last().unwrap() }
    }

    fn page(&self, after: u64) -> Answer {
        let entries = self.entries.iter().filter(|(seq, ..)| *seq > after).take(PAGE).cloned().collect();
        let is_known = after >= self.snapshot || after == 0 && self.snapshot == 0;
        let chain_at = self.chain.get(after as usize).copied().filter(|_| is_known);
        Answer::Page(Page { entries, head: self.head(), chain: *self.chain.last().unwrap(), chain_at })
    }

    fn put_snapshot(&mut self, through: u64, chain: Chain, sealed: &[u8]) -> Result<Answer, Failure> {
        if through > self.head() || through < self.snapshot {
            return Err(Failure::Conflict);
        }
        if self.chain[through as usize] != chain {
            return Err(Failure::ChainDiffers);
        }
        self.entries.retain(|(seq, ..)| *seq > through);
        self.entries.insert(0, (through, EntryKind::Snapshot, sealed.to_vec()));
        self.snapshot = through;
        Ok(Answer::Done)
    }
}
