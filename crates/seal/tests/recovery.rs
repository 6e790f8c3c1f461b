//! Recovery codes: printed, typed by hand, and typed wrong.

#![allow(clippy::unwrap_used, clippy::panic, reason = "in a test's helpers a panic is a failed check")]

use proptest::prelude::*;
use trug_seal::{RecoveryCode, RecoveryError, Root};

const ALPHABET: &str = "0123456789ABCDEFGHJKMNPQRSTVWXYZ";

/// A root whose code has every look-alike in it.
fn root() -> Root {
    Root::from_bytes(std::array::from_fn(|at| (at * 7 + 3) as u8))
}

fn code() -> Vec<char> {
    RecoveryCode::of(&root()).text().chars().filter(|c| !c.is_whitespace()).collect()
}

fn read(symbols: &[char]) -> Result<Root, RecoveryError> {
    RecoveryCode::read(&symbols.iter().collect::<String>())
}

#[test]
fn printed_in_seven_lines_of_two_groups() {
    let code = RecoveryCode::of(&root());
    let text = code.text();
    assert_eq!(text.lines().count(), 7);
    assert!(text.lines().all(|line| line.len() == 11 && line.split(' ').all(|group| group.len() == 5)));
    assert_eq!(code.groups().count(), 14);
    assert!(text.chars().all(|c| c.is_whitespace() || ALPHABET.contains(c)));
}

#[test]
fn typed_as_people_type() {
    let text = RecoveryCode::of(&root()).text().to_string();
    let rows = [
        ("as printed", text.clone()),
        ("small", text.to_lowercase()),
        ("in one row", text.split_whitespace().collect()),
        ("with dashes", text.split_whitespace().collect::<Vec<_>>().join("-")),
        ("with long dashes", text.split_whitespace().collect::<Vec<_>>().join(" \u{2013} ")),
        (
            "grouped otherwise",
            code().chunks(4).map(|four| four.iter().collect::<String>()).collect::<Vec<_>>().join("  "),
        ),
        ("zeros as O", text.replace('0', "O")),
        ("zeros as o", text.replace('0', "o")),
        ("ones as I", text.replace('1', "I")),
        ("ones as l", text.replace('1', "l")),
        ("V as U", text.replace('V', "u")),
    ];
    for (what, typed) in rows {
        assert_eq!(RecoveryCode::read(&typed), Ok(root()), "{what}");
    }
    assert!(["0", "1", "V"].iter().all(|symbol| text.contains(symbol)), "the rows above replace something: {text}");
}

#[test]
fn every_single_slip_is_found_and_located() {
    let right = code();
    for at in 0..right.len() {
        for other in ALPHABET.chars().filter(|&other| other != right[at]) {
            let mut typed = right.clone();
            typed[at] = other;
            assert_eq!(read(&typed), Err(RecoveryError::Groups { groups: vec![at / 5 + 1] }), "{at} as {other}");
        }
    }
}

#[test]
fn every_transposition_is_found() {
    let right = code();
    for at in 0..right.len() {
        for with in at + 1..right.len() {
            let mut typed = right.clone();
            typed.swap(at, with);
            if typed != right {
                let mut groups = vec![at / 5 + 1, with / 5 + 1];
                groups.dedup();
                assert_eq!(read(&typed), Err(RecoveryError::Groups { groups }), "{at} with {with}");
            }
        }
    }
}

#[test]
fn groups_in_another_order_are_found() {
    let right = code();
    for a in 0..14 {
        for b in a + 1..14 {
            let mut typed = right.clone();
            for at in 0..5 {
                typed.swap(a * 5 + at, b * 5 + at);
            }
            assert_eq!(read(&typed), Err(RecoveryError::Groups { groups: vec![a + 1, b + 1] }));
        }
    }
}

#[test]
fn left_out_and_doubled_symbols_are_located() {
    let groups: Vec<String> = RecoveryCode::of(&root()).groups().map(|group| group.to_string()).collect();
    for index in 0..14 {
        for (change, found) in [(&groups[index][1..], 69), (&format!("{}Z", groups[index])[..], 71)] {
            let mut typed = groups.clone();
            typed[index] = change.to_owned();
            let right = RecoveryError::Length { found, group: Some(index + 1) };
            assert_eq!(RecoveryCode::read(&typed.join(" ")), Err(right));
            // Without spaces the group can only be told by its check, which one time in 32 fits the next symbol as well.
            let run_on = RecoveryCode::read(&typed.concat());
            assert!(
                matches!(run_on, Err(RecoveryError::Length { found: n, group: Some(_) }) if n == found),
                "{run_on:?}"
            );
        }
    }
    let error = RecoveryCode::read(&groups[..3].join(" ")).unwrap_err();
    assert_eq!(error, RecoveryError::Length { found: 15, group: None });
    assert_eq!(RecoveryCode::read(""), Err(RecoveryError::Length { found: 0, group: None }));
}

/// Groups from another root's code check one by one; the hash at the end tells.
#[test]
fn two_codes_mixed_are_found() {
    let other: Vec<char> =
        RecoveryCode::of(&Root::from_bytes([200; 32])).text().chars().filter(|c| !c.is_whitespace()).collect();
    for at in 1..14 {
        let mixed = [&code()[..at * 5], &other[at * 5..]].concat();
        assert_eq!(read(&mixed), Err(RecoveryError::Whole), "{at}");
    }
}

#[test]
fn messages_say_where_to_look() {
    let rows = [
        (RecoveryError::Groups { groups: vec![5] }, "something is mistyped in group 5 (line 3, left)"),
        (
            RecoveryError::Groups { groups: vec![2, 14] },
            "something is mistyped in group 2 (line 1, right) and in group 14 (line 7, right)",
        ),
        (
            RecoveryError::Length { found: 69, group: Some(4) },
            "69 letters and digits were typed, a recovery code has 70: group 4 (line 2, right)",
        ),
        (RecoveryError::Length { found: 15, group: None }, "15 letters and digits were typed, a recovery code has 70"),
    ];
    for (error, right) in rows {
        assert_eq!(error.to_string(), right);
    }
    let odd = RecoveryCode::read("ABCDE FG*").unwrap_err();
    assert_eq!(odd, RecoveryError::Symbol { character: '*', group: 2 });
    assert_eq!(RecoveryCode::read(&"A".repeat(3000)), Err(RecoveryError::TooLong { len: 3000 }));
}

/// A code of format 2, with checks as they should be: format 1's with one bit moved and its check mended.
#[test]
fn a_newer_code_says_so() {
    let newer = (0..32).map(|check| {
        let mut typed = code();
        let first = ALPHABET.find(typed[0]).unwrap();
        typed[0] = ALPHABET.as_bytes()[first ^ 0b00110] as char;
        typed[4] = ALPHABET.as_bytes()[check] as char;
        read(&typed)
    });
    let (newer, wrong): (Vec<_>, Vec<_>) = newer.partition(|read| *read == Err(RecoveryError::Newer { found: 2 }));
    assert_eq!((newer.len(), wrong.len()), (1, 31));
}

proptest! {
    #[test]
    fn every_root_comes_back(bytes in any::<[u8; 32]>()) {
        let root = Root::from_bytes(bytes);
        prop_assert_eq!(RecoveryCode::read(&RecoveryCode::of(&root).text()), Ok(root));
    }

    #[test]
    fn any_one_slip_in_any_code_is_found(bytes in any::<[u8; 32]>(), at in 0usize..70, by in 1usize..32) {
        let root = Root::from_bytes(bytes);
        let mut typed: Vec<char> = RecoveryCode::of(&root).text().chars().filter(|c| !c.is_whitespace()).collect();
        let symbol = ALPHABET.find(typed[at]).unwrap();
        typed[at] = ALPHABET.as_bytes()[(symbol + by) % 32] as char;
        prop_assert_eq!(read(&typed), Err(RecoveryError::Groups { groups: vec![at / 5 + 1] }));
    }

    #[test]
    fn several_slips_never_give_another_root(
        bytes in any::<[u8; 32]>(),
        slips in prop::collection::vec((0usize..70, 1usize..32), 2..6),
    ) {
        let root = Root::from_bytes(bytes);
        let right: Vec<char> = RecoveryCode::of(&root).text().chars().filter(|c| !c.is_whitespace()).collect();
        let mut typed = right.clone();
        for (at, by) in slips {
            let symbol = ALPHABET.find(typed[at]).unwrap();
            typed[at] = ALPHABET.as_bytes()[(symbol + by) % 32] as char;
        }
        prop_assert!(typed == right || read(&typed).is_err());
    }

    #[test]
    fn no_text_makes_reading_panic(text in ".{0,200}", symbols in "[0-9A-Za-z -]{60,90}") {
        prop_assert!(RecoveryCode::read(&text).is_err());
        prop_assert!(RecoveryCode::read(&symbols).is_err());
    }
}
