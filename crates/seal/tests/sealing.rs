//! What is sealed opens where it belongs, and nowhere else.

#![allow(clippy::unwrap_used, clippy::panic, reason = "in a test's helpers a panic is a failed check")]

use proptest::prelude::*;
use trug_seal::{
    DocumentKind, EntryKind, FileError, LogId, OpenError, PackError, Place, Root, SealError, SealedFile, ShareSecret,
    UnpackError, UnpackLimit, pack, sealed_len, unpack,
};

fn place(document: DocumentKind, entry: EntryKind) -> Place {
    Place { log: LogId::from_bytes([1; 16]), document, entry }
}

const HERE: Place = Place { log: LogId::from_bytes([1; 16]), document: DocumentKind::Run, entry: EntryKind::Entry };

fn share() -> ShareSecret {
    Root::from_bytes([9; 32]).share_secret()
}

#[test]
fn every_flipped_bit_is_refused() {
    let key = share().sealing_key();
    let sealed = key.seal(&HERE, b"3 bunches").unwrap();
    assert_eq!(**key.open(&HERE, &sealed).unwrap(), *b"3 bunches");
    for bit in 0..sealed.len() * 8 {
        let mut damaged = sealed.clone();
        damaged[bit / 8] ^= 1 << (bit % 8);
        let right = if bit < 8 { OpenError::Version { found: damaged[0] } } else { OpenError::NotOpened };
        assert_eq!(key.open(&HERE, &damaged), Err(right), "bit {bit}");
    }
}

#[test]
fn every_truncation_and_anything_added_is_refused() {
    let key = share().sealing_key();
    // Two steps long, so that one step taken away is a length there could be.
    let sealed = key.seal(&HERE, &[7; 300]).unwrap();
    for len in 0..sealed.len() {
        let right = if len < sealed_len(0).unwrap() { OpenError::TooShort { len } } else { OpenError::NotOpened };
        assert_eq!(key.open(&HERE, &sealed[..len]), Err(right), "cut to {len}");
        assert!(key.open(&HERE, &sealed[sealed.len() - len..]).is_err(), "the last {len} alone");
    }
    for added in [1, 16, 256] {
        let longer = [sealed.clone(), vec![0; added]].concat();
        assert_eq!(key.open(&HERE, &longer), Err(OpenError::NotOpened));
    }
}

#[test]
fn another_key_log_kind_or_purpose_is_refused() {
    let key = share().sealing_key();
    let sealed = key.seal(&HERE, b"content").unwrap();
    let other_log = Place { log: LogId::from_bytes([2; 16]), ..HERE };
    let rows = [
        ("another key", ShareSecret::from_bytes([1; 32]).sealing_key(), HERE),
        ("another log", key.clone(), other_log),
        ("a pantry", key.clone(), place(DocumentKind::Pantry, EntryKind::Entry)),
        ("a book", key.clone(), place(DocumentKind::Book, EntryKind::Entry)),
        ("a snapshot", key.clone(), place(DocumentKind::Run, EntryKind::Snapshot)),
    ];
    for (what, key, place) in rows {
        assert_eq!(key.open(&place, &sealed), Err(OpenError::NotOpened), "{what}");
    }
    for bit in 0..256 {
        let mut bytes = *share().expose();
        bytes[bit / 8] ^= 1 << (bit % 8);
        let key = ShareSecret::from_bytes(bytes).sealing_key();
        assert_eq!(key.open(&HERE, &sealed), Err(OpenError::NotOpened), "share secret bit {bit}");
    }
}

#[test]
fn sealing_twice_gives_different_bytes() {
    let key = share().sealing_key();
    assert_ne!(key.seal(&HERE, b"same").unwrap(), key.seal(&HERE, b"same").unwrap());
}

#[test]
fn limits_hold_on_both_sides() {
    let key = share().sealing_key();
    let limit = EntryKind::Entry.limit();
    let most = 1_032_188; // the vectors' longest, one more rounds up to over 1 MiB
    assert!(sealed_len(most).unwrap() <= limit && sealed_len(most + 1).unwrap() > limit);
    let sealed = key.seal(&HERE, &vec![1; most]).unwrap();
    assert_eq!(key.open(&HERE, &sealed).unwrap().len(), most);
    assert_eq!(key.seal(&HERE, &vec![1; most + 1]), Err(SealError::TooLarge { len: most + 1, limit }));
    let snapshot = place(DocumentKind::Run, EntryKind::Snapshot);
    let sealed = key.seal(&snapshot, &vec![1; most + 1]).unwrap();
    assert_eq!(key.open(&snapshot, &sealed).unwrap().len(), most + 1);
    assert_eq!(key.open(&HERE, &sealed), Err(OpenError::TooLarge { len: sealed.len(), limit }));
}

#[test]
fn files_say_what_they_are_and_open_as_nothing_else() {
    let (key, log) = (share().sealing_key(), HERE.log);
    let file = SealedFile::seal(&key, DocumentKind::Run, log, b"trip").unwrap();
    let read = SealedFile::read(&file).unwrap();
    assert_eq!(**read.open(&key, DocumentKind::Run, log).unwrap(), *b"trip");
    let other = LogId::from_bytes([2; 16]);
    assert_eq!(
        read.open(&key, DocumentKind::Pantry, log),
        Err(FileError::WrongKind { found: DocumentKind::Run, wanted: DocumentKind::Pantry })
    );
    assert_eq!(
        read.open(&key, DocumentKind::Run, other),
        Err(FileError::WrongLog { document: DocumentKind::Run, found: log })
    );
    let wrong_key = ShareSecret::from_bytes([0; 32]).sealing_key();
    assert_eq!(read.open(&wrong_key, DocumentKind::Run, log), Err(FileError::Open(OpenError::NotOpened)));
    // What was sealed for a log is no file, and what was sealed for a file is no entry.
    let head = &file[..25];
    let entry = key.seal(&HERE, b"trip").unwrap();
    let as_file = [head, &entry].concat();
    assert_eq!(
        SealedFile::read(&as_file).unwrap().open(&key, DocumentKind::Run, log),
        Err(FileError::Open(OpenError::NotOpened))
    );
    assert_eq!(key.open(&HERE, &file[25..]), Err(OpenError::NotOpened));
    for bit in 0..file.len() * 8 {
        let mut damaged = file.clone();
        damaged[bit / 8] ^= 1 << (bit % 8);
        let opened = SealedFile::read(&damaged).and_then(|file| file.open(&key, DocumentKind::Run, log));
        assert!(opened.is_err(), "bit {bit}");
    }
    for len in 0..file.len() {
        let opened = SealedFile::read(&file[..len]).and_then(|file| file.open(&key, DocumentKind::Run, log));
        assert!(opened.is_err(), "cut to {len}");
    }
}

#[test]
fn packing_refuses_what_is_no_change() {
    assert_eq!(pack(&[]), Err(PackError::Nothing));
    assert_eq!(pack(&[b"a", b""]), Err(PackError::EmptyChange { index: 1 }));
}

fn deflated(inflated: &[u8]) -> Vec<u8> {
    miniz_oxide::deflate::compress_to_vec(inflated, 9)
}

#[test]
fn unpacking_refuses_what_packing_does_not_write() {
    let limit = UnpackLimit { bytes: 1000, changes: 3 };
    let frames =
        |lens: &[u32]| lens.iter().flat_map(|len| [&len.to_be_bytes()[..], &vec![1; *len as usize]].concat()).collect();
    let whole: Vec<u8> = frames(&[3, 4]);
    let rows: Vec<(&str, Vec<u8>, UnpackError)> = vec![
        ("no bytes", vec![], UnpackError::Deflate),
        ("no deflate", vec![0xff; 9], UnpackError::Deflate),
        (
            "deflate that is cut off",
            {
                let d = deflated(&whole);
                d[..d.len() - 1].to_vec()
            },
            UnpackError::Deflate,
        ),
        ("bytes behind", [deflated(&whole), vec![0; 2]].concat(), UnpackError::Trailing { len: 2 }),
        ("no frame", deflated(&[]), UnpackError::Frame { index: 0 }),
        ("an empty frame", deflated(&frames(&[3, 0])), UnpackError::Frame { index: 1 }),
        ("a frame cut off", deflated(&whole[..whole.len() - 1]), UnpackError::Frame { index: 1 }),
        ("a length cut off", deflated(&whole[..9]), UnpackError::Frame { index: 1 }),
        ("an endless frame", deflated(&[255; 8]), UnpackError::Frame { index: 0 }),
        ("four changes", deflated(&frames(&[1, 1, 1, 1])), UnpackError::TooMany { limit: 3 }),
        ("one byte too many", deflated(&frames(&[997])), UnpackError::TooLarge { limit: 1000 }),
        ("a bomb", deflated(&vec![0; 50_000_000]), UnpackError::TooLarge { limit: 1000 }),
    ];
    for (what, content, right) in rows {
        assert_eq!(unpack(&content, limit), Err(right), "{what}");
    }
    assert_eq!(unpack(&deflated(&frames(&[996])), limit).unwrap().changes().count(), 1, "exactly the limit");
    assert_eq!(unpack(&deflated(&frames(&[1, 1, 1])), limit).unwrap().changes().count(), 3);
}

proptest! {
    #[test]
    fn sealed_content_comes_back(content in prop::collection::vec(any::<u8>(), 0..3000), root in any::<[u8; 32]>()) {
        let root = Root::from_bytes(root);
        let key = root.share_secret().sealing_key();
        for document in DocumentKind::ALL {
            for entry in EntryKind::ALL {
                let place = Place { log: root.log_id(), document, entry };
                let sealed = key.seal(&place, &content).unwrap();
                prop_assert_eq!(Some(sealed.len()), sealed_len(content.len()));
                prop_assert_eq!(&*key.open(&place, &sealed).unwrap(), &content);
            }
        }
    }

    #[test]
    fn packed_changes_come_back(changes in prop::collection::vec(prop::collection::vec(any::<u8>(), 1..200), 1..40)) {
        let packed = pack(&changes.iter().map(Vec::as_slice).collect::<Vec<_>>()).unwrap();
        let unpacked = unpack(&packed, UnpackLimit::default()).unwrap();
        prop_assert_eq!(unpacked.changes().collect::<Vec<_>>(), changes);
    }

    #[test]
    fn no_bytes_make_opening_panic(bytes in prop::collection::vec(any::<u8>(), 0..2000), version in any::<bool>()) {
        let mut bytes = bytes;
        if version && let Some(first) = bytes.first_mut() {
            *first = trug_seal::VERSION;
        }
        prop_assert!(share().sealing_key().open(&HERE, &bytes).is_err());
        let file = [&b"TRUGSEAL\x03"[..], &bytes].concat();
        let _ = SealedFile::read(&file).and_then(|file| file.open(&share().sealing_key(), DocumentKind::Run, HERE.log));
        prop_assert!(SealedFile::read(&bytes).is_err());
    }

    /// Content reaches `unpack` only through the seal, but a helper has the key.
    #[test]
    fn no_bytes_make_unpacking_panic_or_swell(bytes in prop::collection::vec(any::<u8>(), 0..600), mended in any::<bool>()) {
        let limit = UnpackLimit { bytes: 4096, changes: 16 };
        let content = if mended { deflated(&bytes) } else { bytes };
        if let Ok(unpacked) = unpack(&content, limit) {
            prop_assert!(unpacked.changes().map(|change| change.len() + 4).sum::<usize>() <= limit.bytes);
            prop_assert!((1..=limit.changes).contains(&unpacked.changes().count()));
        }
    }
}
