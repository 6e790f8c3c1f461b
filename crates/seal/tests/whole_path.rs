//! Everything that follows from a root, against vectors that were derived without this crate's code.

#![allow(clippy::unwrap_used, clippy::panic, reason = "in a test's helpers a panic is a failed check")]

use trug_seal::{
    DocumentKind, EntryKind, Invitation, LogId, OwnerToken, Place, RecoveryCode, Role, Root, SealedFile, UnpackLimit,
    pack, unpack,
};

const VECTORS: &str = include_str!("../vectors/whole-path.txt");

fn bytes(hex: &str) -> Vec<u8> {
    (0..hex.len()).step_by(2).map(|at| u8::from_str_radix(&hex[at..at + 2], 16).unwrap()).collect()
}

/// One case of the vectors.
struct Case(&'static str);

impl Case {
    fn all() -> Vec<Self> {
        let cases: Vec<Self> = VECTORS.split("\n\n").filter(|case| case.starts_with("case =")).map(Self).collect();
        assert_eq!(cases.len(), 3);
        cases
    }

    fn text(&self, name: &str) -> &'static str {
        let line = self.0.lines().find_map(|line| line.strip_prefix(name)?.strip_prefix(" ="));
        line.unwrap_or_else(|| panic!("the vectors have no {name}")).trim()
    }

    fn bytes(&self, name: &str) -> Vec<u8> {
        bytes(self.text(name))
    }

    fn root(&self) -> Root {
        Root::from_bytes(self.bytes("root").try_into().unwrap())
    }

    fn document(&self) -> DocumentKind {
        DocumentKind::from_byte(self.text("kind").parse().unwrap()).unwrap()
    }

    fn changes(&self) -> Vec<Vec<u8>> {
        self.text("changes").split(' ').map(bytes).collect()
    }
}

#[test]
fn what_follows_from_a_root() {
    for case in Case::all() {
        let root = case.root();
        let share = root.share_secret();
        assert_eq!(root.log_id().to_string(), case.text("log"));
        assert_eq!(case.text("log").parse(), Ok(root.log_id()));
        assert_eq!(root.owner_token().bearer().as_str(), case.text("owner"));
        assert_eq!(share.expose().as_slice(), case.bytes("share"));
        assert_eq!(share.writer_token().bearer().as_str(), case.text("writer"));
        assert_eq!(share.writer_token().hash().to_string(), case.text("writer_hash"));
    }
}

#[test]
fn sealed_bytes_open_to_the_changes() {
    for case in Case::all() {
        let (root, document) = (case.root(), case.document());
        let key = root.share_secret().sealing_key();
        for (entry, name) in [(EntryKind::Entry, "sealed_entry"), (EntryKind::Snapshot, "sealed_snapshot")] {
            let place = Place { log: root.log_id(), document, entry };
            let content = key.open(&place, &case.bytes(name)).unwrap();
            assert_eq!(*content, case.bytes("content"));
            assert_eq!(unpack(&content, UnpackLimit::default()).unwrap().changes().collect::<Vec<_>>(), case.changes());
        }
        let file = case.bytes("file");
        let file = SealedFile::read(&file).unwrap();
        assert_eq!((file.document(), file.log()), (document, root.log_id()));
        assert_eq!(*file.open(&key, document, root.log_id()).unwrap(), case.bytes("content"));
    }
}

#[test]
fn our_own_packing_opens_to_the_same_changes() {
    for case in Case::all() {
        let changes = case.changes();
        let packed = pack(&changes.iter().map(Vec::as_slice).collect::<Vec<_>>()).unwrap();
        assert_eq!(unpack(&packed, UnpackLimit::default()).unwrap().changes().collect::<Vec<_>>(), changes);
    }
}

#[test]
fn invitations_and_recovery_codes() {
    for case in Case::all() {
        let root = case.root();
        let role = match case.text("role") {
            "1" => Role::Helper,
            "2" => Role::Client,
            _ => Role::OwnDevice,
        };
        let relay = Some(case.text("relay")).filter(|relay| !relay.is_empty()).map(|relay| relay.parse().unwrap());
        let invitation = Invitation::new(case.document(), role, relay, root.log_id(), root.share_secret()).unwrap();
        assert_eq!(invitation.fragment().as_str(), case.text("fragment"));
        assert_eq!(Invitation::find(case.text("fragment")), Ok(invitation));

        assert_eq!(
            RecoveryCode::of(&root).text().split_whitespace().collect::<Vec<_>>().join(" "),
            case.text("recovery")
        );
        assert_eq!(RecoveryCode::read(case.text("recovery")), Ok(root));
    }
}

/// What a helper holds: the invitation's log id and share secret, and all that this crate makes of them. That there is no
/// function from there to the owner's token is checked by the compiler, in the documentation of `ShareSecret`.
#[test]
fn a_helper_never_holds_what_makes_an_owner() {
    for case in Case::all() {
        let root = case.root();
        let helper = Invitation::find(case.text("fragment")).unwrap();
        let share = helper.share_secret();
        let owner = root.owner_token();
        let writer = share.writer_token();
        let held: [[u8; 32]; 3] = [*share.expose(), *writer.expose(), *writer.hash().bytes()];
        for guess in held {
            assert_ne!(OwnerToken::from_bytes(guess), owner, "held as it is");
            // The owner's derivation, run on everything a helper has, as a helper with a changed program would.
            let as_root = Root::from_bytes(guess);
            assert_ne!(as_root, root);
            assert_ne!(as_root.owner_token(), owner);
            assert_ne!(as_root.log_id(), helper.log());
        }
        let fragment = helper.fragment();
        assert!(!fragment.contains(owner.bearer().as_str()));
    }
}

#[test]
fn nothing_secret_is_shown() {
    let root = Root::from_bytes(std::array::from_fn(|at| at as u8));
    let share = root.share_secret();
    let invitation =
        Invitation::new(DocumentKind::Run, Role::Helper, None, root.log_id(), root.share_secret()).unwrap();
    let qr = invitation.qr(&"https://app.example".parse().unwrap()).unwrap();
    let shown = format!(
        "{root:?} {:?} {:?} {share:?} {:?} {invitation:?} {:?} {qr:?}",
        root.owner_token(),
        share.sealing_key(),
        share.writer_token(),
        RecoveryCode::of(&root)
    );
    assert_eq!(
        shown,
        format!(
            "Root(redacted) OwnerToken(redacted) SealingKey(redacted) ShareSecret(redacted) WriterToken(redacted) \
             Invitation {{ document: Run, role: Helper, relay: None, log: {:?}, share: ShareSecret(redacted) }} \
             RecoveryCode(redacted) QrCode({} x {}, redacted)",
            root.log_id(),
            qr.size(),
            qr.size()
        )
    );
}

#[test]
fn fresh_roots_differ_and_share_nothing() {
    let (a, b) = (Root::generate().unwrap(), Root::generate().unwrap());
    assert_ne!(a, b);
    assert_ne!(a.log_id(), b.log_id());
    assert_ne!(a.share_secret(), b.share_secret());
    assert_eq!(a.share_secret(), a.share_secret());
}

#[test]
fn log_ids_read_only_from_their_one_text() {
    let id = LogId::from_bytes([0xff; 16]);
    assert_eq!("_____________________w".parse(), Ok(id));
    let rows = [
        "",
        "_",
        "_____________________x",
        "_____________________w==",
        "/////////////////////w",
        "_____________________w\n",
    ];
    for text in rows {
        assert!(text.parse::<LogId>().is_err(), "{text:?}");
    }
    let error = "abc".parse::<LogId>().unwrap_err().to_string();
    assert_eq!(error, "not 16 bytes in base64url without padding (3 characters were read, 22 would be right)");
}
