//! Letting others in, and out again: invitations, joining, withdrawing, sealed files, and the recovery code.

use trug_replica::book::{Book, Helper, Root as BookRoot};
use trug_replica::hex::hex;
use trug_seal::{
    DocumentKind, FileError, Invitation, InvitationError, LogId, PackError, RecoveryCode, Role, Root, SealError,
    SealedFile, UnpackError, UnpackLimit, WebAddress, pack, unpack,
};
use trug_sync::{Event as EngineEvent, Instant};

use crate::device::{Device, Effect, OLD, Refused};
use crate::member::{DocId, Member, Right, unhex};

/// Why nobody can be let in, or out.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum ShareError {
    /// The document is not here.
    #[error("there is no such document on this device: {0}")]
    NotHere(DocId),
    /// Only the owner can do this.
    #[error("only the chef's own devices can do this: this device was invited itself")]
    NotOwner,
    /// No invitation can be made.
    #[error(transparent)]
    Invitation(#[from] InvitationError),
    /// An edit was refused.
    #[error(transparent)]
    Refused(#[from] Refused),
    /// There is nothing in it yet.
    #[error("there is nothing in it yet that could be handed over")]
    Empty,
    /// It could not be sealed.
    #[error("it could not be sealed: {0}")]
    Seal(#[from] SealError),
    /// There is no randomness.
    #[error("this device gives no random numbers")]
    NoRandomness,
    /// The file is none, or does not open here.
    #[error(transparent)]
    File(#[from] FileError),
    /// The file's document is not here.
    #[error(
        "this file belongs to a document that this device has not joined; open the invitation first, then the file"
    )]
    UnknownFile,
    /// What is in the file cannot be read.
    #[error(transparent)]
    Unpack(#[from] UnpackError),
}

/// Why a device cannot join.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum JoinError {
    /// It has a book of its own.
    #[error("this device keeps a book of its own already; a second book cannot be opened beside it")]
    OwnBook,
    /// The relay's address is none.
    #[error(transparent)]
    Refused(#[from] Refused),
}

/// A file that was merged.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FileMerged {
    /// Into what.
    pub id: DocId,
    /// How many changes were new here.
    pub new: usize,
}

impl Device {
    /// An invitation to a document, to be given to one person; `name` is kept in the book, so that the access can be
    /// withdrawn later.
    ///
    /// # Errors
    /// [`ShareError`].
    pub fn invite(
        &mut self,
        now: Instant,
        id: &DocId,
        role: Role,
        name: &str,
        out: &mut Vec<Effect>,
    ) -> Result<Invitation, ShareError> {
        let held = self.held(id).ok_or_else(|| ShareError::NotHere(id.clone()))?;
        if !matches!(held.right, Right::Owner(_)) && role != Role::OwnDevice {
            return Err(ShareError::NotOwner);
        }
        let (log, share) = (held.right.log(), held.right.share());
        let invitation = Invitation::new(held.shelf.kind(), role, held.relay.clone(), log, share)?;
        if self.book().is_some() {
            let key = format!("{log}/{}", self.helpers_of(id).len());
            let helper = Helper { name: name.to_owned(), document: id.as_str().to_owned(), withdrawn: false };
            self.edit(now, &DocId::book(), |book: &mut Book| book.set_helper(&key, &helper), out)?;
        }
        Ok(invitation)
    }

    /// Who was invited to a document, by the key under which the book keeps it.
    #[must_use]
    pub fn helpers_of(&self, id: &DocId) -> Vec<(String, Helper)> {
        let (helpers, _) = self.book().map(Book::helpers).unwrap_or_default();
        helpers.into_iter().filter(|(_, helper)| helper.document == id.as_str()).collect()
    }

    /// Joins what an invitation opens. Where it is here already, that is all.
    ///
    /// # Errors
    /// [`JoinError`].
    pub fn join(&mut self, now: Instant, invitation: &Invitation, out: &mut Vec<Effect>) -> Result<DocId, JoinError> {
        let (log, kind) = (invitation.log(), invitation.document());
        if let Some(held) = self.held.get(&log) {
            return Ok(held.id.clone());
        }
        if kind == DocumentKind::Book && self.book().is_some() {
            return Err(JoinError::OwnBook);
        }
        let right = Right::Writer(log, invitation.share_secret().clone());
        let member = Member { kind, right, relay: invitation.relay().cloned(), role: Some(invitation.role()) };
        self.write_member(log, member, out);
        self.open_members(now, out);
        let held = self.held.get(&log).ok_or(JoinError::Refused(Refused::NoRandomness))?;
        Ok(held.id.clone())
    }

    /// As what this device was invited to a document, where it was.
    #[must_use]
    pub fn role(&self, id: &DocId) -> Option<Role> {
        self.members.get(&self.log_of(id)?)?.role
    }

    /// Puts away a document that this device was invited to.
    pub fn leave(&mut self, id: &DocId, out: &mut Vec<Effect>) {
        let Some(log) = self.log_of(id).filter(|log| self.members.contains_key(log)) else { return };
        if *id != DocId::book() {
            self.forget_member(log, out);
            self.close(log, out);
        }
    }

    /// Withdraws everybody's access to a document: it goes on in a new log under a new root, and the old one becomes
    /// read-only after `grace` (milliseconds; what was not sent yet still comes in), then is deleted after `grace` again.
    ///
    /// # Errors
    /// [`ShareError`].
    pub fn withdraw(&mut self, now: Instant, id: &DocId, grace: u64, out: &mut Vec<Effect>) -> Result<(), ShareError> {
        let held = self.held(id).ok_or_else(|| ShareError::NotHere(id.clone()))?;
        let Right::Owner(old) = held.right.clone() else { return Err(ShareError::NotOwner) };
        let (roots, _) = self.book().map(Book::roots).unwrap_or_default();
        let listed = roots.get(id.as_str()).cloned().ok_or(ShareError::NotOwner)?;
        let fresh = Root::generate().map_err(|_| ShareError::NoRandomness)?;
        let old_key = format!("{OLD}{id}/{}", old.log_id());
        let renewed = BookRoot { secret: hex(fresh.expose()), ..listed.clone() };
        let book = DocId::book();
        // The old root is kept first: a program that stops in between still knows both logs.
        self.edit(now, &book, |book: &mut Book| book.set_root(&old_key, &listed), out)?;
        self.edit(now, &book, |book: &mut Book| book.set_root(id.as_str(), &renewed), out)?;
        for (key, helper) in self.helpers_of(id) {
            let helper = Helper { withdrawn: true, ..helper };
            self.edit(now, &book, |book: &mut Book| book.set_helper(&key, &helper), out)?;
        }
        let read_only_at = Instant(now.0.saturating_add(grace));
        let delete_at = Instant(read_only_at.0.saturating_add(grace));
        self.pass(now, old.log_id(), EngineEvent::Retire { read_only_at, delete_at }, out);
        Ok(())
    }

    /// Puts away a document of the chef's own, on all of the chef's devices. Its log stays on the relay.
    ///
    /// # Errors
    /// [`ShareError`].
    pub fn put_away(&mut self, now: Instant, id: &DocId, out: &mut Vec<Effect>) -> Result<(), ShareError> {
        self.edit(now, &DocId::book(), |book: &mut Book| book.remove_root(id.as_str()), out)?;
        Ok(())
    }

    /// A whole document as a sealed file, for whoever was invited to it.
    ///
    /// # Errors
    /// [`ShareError`].
    pub fn seal_file(&self, id: &DocId) -> Result<Vec<u8>, ShareError> {
        let held = self.held(id).ok_or_else(|| ShareError::NotHere(id.clone()))?;
        let changes = held.shelf.all_changes();
        let parts: Vec<&[u8]> = changes.iter().map(|change| change.bytes.as_slice()).collect();
        let content = match pack(&parts) {
            Ok(content) => content,
            Err(PackError::Nothing) => return Err(ShareError::Empty),
            Err(_) => return Err(ShareError::Seal(SealError::TooLarge { len: usize::MAX, limit: 64 << 20 })),
        };
        let key = held.right.share().sealing_key();
        Ok(SealedFile::seal(&key, held.shelf.kind(), held.right.log(), &content)?)
    }

    /// Merges a sealed file into its document, through the same gate as everything else.
    ///
    /// # Errors
    /// [`ShareError`].
    pub fn open_file(&mut self, now: Instant, file: &[u8], out: &mut Vec<Effect>) -> Result<FileMerged, ShareError> {
        let sealed = SealedFile::read(file)?;
        let log: LogId = sealed.log();
        let held = self.held.get(&log).ok_or(ShareError::UnknownFile)?;
        let content = sealed.open(&held.right.share().sealing_key(), held.shelf.kind(), log)?;
        let limit = UnpackLimit { bytes: 128 << 20, changes: 1_000_000 };
        let unpacked = unpack(&content, limit)?;
        let changes: Vec<Vec<u8>> = unpacked.changes().map(<[u8]>::to_vec).collect();
        let new = held.shelf.unknown(&changes);
        let merged = FileMerged { id: held.id.clone(), new: new.len() };
        if !new.is_empty() {
            self.pass(now, log, EngineEvent::Carried(new), out);
        }
        Ok(merged)
    }

    /// The book's recovery code; `None` where this device has the book by invitation, or none.
    #[must_use]
    pub fn recovery_code(&self) -> Option<RecoveryCode> {
        match &self.held(&DocId::book())?.right {
            Right::Owner(root) => Some(RecoveryCode::of(root)),
            Right::Writer(..) => None,
        }
    }

    /// Takes up the book of a recovery code: what a relay or a sealed file holds of it comes in from there.
    ///
    /// # Errors
    /// [`JoinError::OwnBook`] where there is another book here.
    pub fn recover(
        &mut self,
        now: Instant,
        root: Root,
        relay: Option<WebAddress>,
        out: &mut Vec<Effect>,
    ) -> Result<(), JoinError> {
        let log = root.log_id();
        if self.held(&DocId::book()).is_some_and(|held| held.right.log() != log) {
            return Err(JoinError::OwnBook);
        }
        let member = Member { kind: DocumentKind::Book, right: Right::Owner(root), relay, role: None };
        self.write_member(log, member, out);
        self.close(log, out);
        self.open_members(now, out);
        Ok(())
    }

    /// The salt of a run of the chef's own.
    pub(crate) fn salt_text(&self, id: &DocId) -> Option<String> {
        let (roots, _) = self.book()?.roots();
        roots.get(id.as_str())?.salt.clone()
    }

    /// The same 32 bytes from their text.
    pub(crate) fn bytes_of(text: &str) -> Option<[u8; 32]> {
        unhex(text).map(|bytes| *bytes)
    }
}
