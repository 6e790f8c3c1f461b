//! Invitations: as links, in messages, as QR codes.

#![allow(clippy::unwrap_used, clippy::panic, reason = "in a test's helpers a panic is a failed check")]

use proptest::prelude::*;
use sha2::{Digest, Sha256};
use trug_seal::{AddressError, DocumentKind, Invitation, InvitationError, QrCode, QrError, Role, Root, WebAddress};

fn invitation(root: u8, relay: Option<&str>) -> Invitation {
    let root = Root::from_bytes([root; 32]);
    let relay = relay.map(|relay| relay.parse().unwrap());
    Invitation::new(DocumentKind::Run, Role::Helper, relay, root.log_id(), root.share_secret()).unwrap()
}

fn app() -> WebAddress {
    "https://app.example/trug/".parse().unwrap()
}

#[test]
fn found_wherever_people_paste_it() {
    let wanted = invitation(1, Some("https://relay.example"));
    let link = wanted.link(&app()).to_string();
    let fragment = wanted.fragment().to_string();
    let (left, right) = link.split_at(link.len() - 30);
    let (early, late) = link.split_at(link.find('#').unwrap() + 5);
    let rows = [
        ("the link", link.clone()),
        ("spaces and line ends around", format!("\n\n  {link} \r\n")),
        ("in a message", format!("Here is Saturday's trip: {link}. See you at nine!")),
        ("in angle brackets", format!("<{link}>")),
        ("in brackets and quotes", format!("(\"{link}\")")),
        ("the bare fragment", fragment.clone()),
        ("the bare fragment with its sign", format!("#{fragment}")),
        ("the bare fragment in a message", format!("paste this:\n{fragment}\nthanks")),
        ("broken by a line end", format!("{left}\n{right} thanks")),
        ("broken early", format!("trip: {early} {late} and bring the cool box")),
        ("broken twice", format!("{early}\n{}\n{}", &late[..20], &late[20..])),
        ("twice the same", format!("{link}\n\n> {link}")),
        (
            "beside another link",
            format!("https://shop.example/hours#saturday-opening-hours-and-everything-else {link}"),
        ),
    ];
    for (what, text) in rows {
        assert_eq!(Invitation::find(&text).as_ref(), Ok(&wanted), "{what}");
    }
}

#[test]
fn says_what_is_wrong() {
    let link = invitation(1, Some("https://relay.example")).link(&app()).to_string();
    let other = invitation(2, None).link(&app()).to_string();
    let rows = [
        ("nothing", String::new(), InvitationError::Nothing),
        ("prose", "Bring the cool box, and two bags of ice from the corner.".repeat(5), InvitationError::Nothing),
        ("another link", "https://shop.example/hours#saturday".to_owned(), InvitationError::Nothing),
        ("a sign and prose", format!("#{}", "carrots and other things ".repeat(20)), InvitationError::Nothing),
        ("cut off", link[..link.len() - 5].to_owned(), InvitationError::Damaged),
        ("two", format!("{link} {other}"), InvitationError::Several),
        ("too long", "x".repeat(70_000), InvitationError::TooLong { len: 70_000 }),
    ];
    for (what, text, right) in rows {
        assert_eq!(Invitation::find(&text), Err(right), "{what}");
    }
}

/// A fragment of any bytes with the right check at its end, as a newer or an ill-meaning program would make it.
fn mended(body: &[u8]) -> String {
    let check = Sha256::digest([b"trug/1/invitation", body].concat());
    use base64ct::Encoding;
    base64ct::Base64UrlUnpadded::encode_string(&[body, &check[..4]].concat())
}

fn body(head: [u8; 4], relay: &[u8]) -> Vec<u8> {
    [&head[..], &[5; 48], relay].concat()
}

#[test]
fn whole_but_not_to_be_had() {
    use InvitationError::{BookForOthers, Newer, Relay, Unknown};
    let rows = [
        ("newer", body([2, 9, 9, 9], b"whatever"), Newer { found: 2 }),
        ("an unknown document", body([1, 4, 1, 0], b""), Unknown),
        ("an unknown role", body([1, 3, 4, 0], b""), Unknown),
        ("an unknown relay", body([1, 3, 1, 3], b"a.example"), Unknown),
        ("no relay but an address", body([1, 3, 1, 0], b"a.example"), Unknown),
        ("no text", body([1, 3, 1, 1], &[0xff, 0xfe]), Unknown),
        ("no host", body([1, 3, 1, 1], b""), Relay(AddressError::Host { scheme: "https" })),
        ("a script", body([1, 3, 1, 1], b"a.example/\"><b"), Relay(AddressError::Character { character: '"' })),
        ("a user", body([1, 3, 1, 1], b"me@a.example"), Relay(AddressError::Character { character: '@' })),
        ("the book for a helper", body([1, 1, 1, 0], b""), BookForOthers { role: Role::Helper }),
    ];
    for (what, body, right) in rows {
        assert_eq!(Invitation::find(&format!("https://a.example/#{}", mended(&body))), Err(right), "{what}");
    }
    assert!(Invitation::find(&mended(&body([1, 3, 1, 2], b"a.example:8080/x"))).is_ok());
    // Too short to hold a secret, but with the right check.
    assert_eq!(Invitation::find(&format!("#{}", mended(&[1; 40]))), Err(InvitationError::Damaged));
}

#[test]
fn every_changed_character_is_noticed() {
    let link = invitation(1, Some("https://relay.example")).link(&app()).to_string();
    let start = link.find('#').unwrap() + 1;
    for at in start..link.len() {
        for other in ["A", "b", "7", "-", "_"] {
            let mut changed = link.clone();
            changed.replace_range(at..=at, other);
            if changed != link {
                // A changed last character may be one that no encoder writes; it is damage all the same.
                assert_eq!(Invitation::find(&changed), Err(InvitationError::Damaged), "{at} to {other}");
            }
        }
    }
}

#[test]
fn addresses() {
    let rows = [
        ("https://Relay.Example", Ok("https://relay.example")),
        ("HTTPS://relay.example/", Ok("https://relay.example")),
        (" http://127.0.0.1:8080/ ", Ok("http://127.0.0.1:8080")),
        ("http://[::1]:8080/Shelf/", Ok("http://[::1]:8080/Shelf/")),
        ("http://[::1]", Ok("http://[::1]")),
        ("relay.example", Err("is no web address")),
        ("wss://relay.example", Err("is no web address")),
        ("https://", Err("names no host")),
        ("https://:80", Err("names no host")),
        ("https:///path", Err("names no host")),
        ("https://a.example:0", Err("is no port")),
        ("https://a.example:8o8", Err("is no port")),
        ("https://a.example:+80", Err("'+'")),
        ("https://a.example:", Err("is no port")),
        ("https://a.example:80:90", Err("is no port")),
        ("https://a.example/?q=1", Err("'?'")),
        ("https://a.example/#top", Err("'#'")),
        ("https://a b.example", Err("' '")),
        ("https://k\u{fc}che.example", Err("'\u{fc}'")),
    ];
    for (text, right) in rows {
        match (text.parse::<WebAddress>(), right) {
            (Ok(address), Ok(shown)) => assert_eq!(address.to_string(), shown),
            (Err(error), Err(part)) => assert!(error.to_string().contains(part), "{text}: {error}"),
            (read, _) => panic!("{text} was read as {read:?}"),
        }
    }
    let long = format!("https://{}", "a".repeat(256));
    assert_eq!(long.parse::<WebAddress>(), Err(AddressError::TooLong { len: 256 }));
    let address: WebAddress = "http://a.example/b/".parse().unwrap();
    assert!(!address.is_secure());
    assert_eq!(address.join("v1/logs"), "http://a.example/b/v1/logs");
}

#[test]
fn links_keep_the_apps_path() {
    let invitation = invitation(1, None);
    let fragment = invitation.fragment();
    for (app, start) in [
        ("https://a.example", "https://a.example/#"),
        ("https://a.example/b", "https://a.example/b#"),
        ("https://a.example/b/", "https://a.example/b/#"),
    ] {
        assert_eq!(invitation.link(&app.parse().unwrap()).as_str(), format!("{start}{}", fragment.as_str()));
    }
}

#[test]
fn the_book_is_for_own_devices() {
    let root = Root::from_bytes([1; 32]);
    for (role, right) in [(Role::Helper, false), (Role::Client, false), (Role::OwnDevice, true)] {
        let made = Invitation::new(DocumentKind::Book, role, None, root.log_id(), root.share_secret());
        assert_eq!(made.is_ok(), right, "{role}");
    }
}

/// Reads a code's modules with a decoder that shares no code with the encoder.
fn decoded(qr: &QrCode) -> String {
    const SCALE: usize = 4;
    let margin = (qr.extent() - qr.size()) / 2;
    let side = qr.extent() * SCALE;
    let mut image = rqrr::PreparedImage::prepare_from_greyscale(side, side, |x, y| {
        let (x, y) = (x / SCALE, y / SCALE);
        let dark = x >= margin && y >= margin && qr.is_dark(x - margin, y - margin);
        if dark { 0 } else { 255 }
    });
    let grids = image.detect_grids();
    assert_eq!(grids.len(), 1);
    grids[0].decode().unwrap().1
}

#[test]
fn codes_are_read_by_another_decoder() {
    let longest = format!("https://{}.example", "relay".repeat(45));
    for relay in [None, Some("https://relay.example"), Some(longest.as_str())] {
        let invitation = invitation(1, relay);
        let qr = invitation.qr(&app()).unwrap();
        let read = decoded(&qr);
        assert_eq!(read, invitation.link(&app()).as_str());
        assert_eq!(Invitation::find(&read), Ok(invitation));
    }
    let far = format!("https://{}", "a".repeat(255));
    assert!(invitation(1, Some(&far)).qr(&far.parse().unwrap()).is_ok(), "the longest addresses there can be");
    assert!(QrCode::of(&"x".repeat(2331)).is_ok());
    assert_eq!(QrCode::of(&"x".repeat(2332)), Err(QrError { len: 2332 }));
}

/// Paints the path onto a grid by its own rules, and compares it with the modules.
#[test]
fn the_drawing_is_the_matrix() {
    let qr = invitation(1, Some("https://relay.example")).qr(&app()).unwrap();
    let side = qr.extent();
    let mut painted = vec![false; side * side];
    for run in qr.path().split('z').filter(|run| !run.is_empty()) {
        let numbers: Vec<usize> =
            run.split(|c: char| !c.is_ascii_digit()).filter_map(|number| number.parse().ok()).collect();
        let [x, y, width, 1, back] = numbers[..] else { panic!("{run}") };
        assert_eq!(width, back);
        painted[y * side + x..y * side + x + width].fill(true);
    }
    for y in 0..side {
        for x in 0..side {
            let dark = x >= 4 && y >= 4 && qr.is_dark(x - 4, y - 4);
            assert_eq!(painted[y * side + x], dark, "{x} {y}");
        }
    }
    assert!(!qr.is_dark(qr.size(), 0) && !qr.is_dark(0, qr.size()));
    assert!(qr.svg().contains(&format!("viewBox=\"0 0 {side} {side}\"")) && qr.svg().contains(qr.path().as_str()));
}

proptest! {
    #[test]
    fn every_invitation_comes_back(
        root in any::<[u8; 32]>(),
        document in prop::sample::select(DocumentKind::ALL.to_vec()),
        role in prop::sample::select(vec![Role::Helper, Role::Client, Role::OwnDevice]),
        relay in prop::option::of("https?://[a-z0-9.]{1,30}(:[1-9][0-9]{0,3})?(/[A-Za-z0-9~._-]{0,20}){0,3}"),
        before in "[ \nA-Za-z.,:!]{0,40}",
        after in "[ \nA-Za-z.,:!]{0,40}",
    ) {
        let root = Root::from_bytes(root);
        let role = if document == DocumentKind::Book { Role::OwnDevice } else { role };
        let relay = relay.map(|relay| relay.parse::<WebAddress>().unwrap());
        let made = Invitation::new(document, role, relay, root.log_id(), root.share_secret()).unwrap();
        let text = format!("{before} {} {after}", made.link(&app()).as_str());
        prop_assert_eq!(Invitation::find(&text), Ok(made));
    }

    #[test]
    fn no_text_makes_finding_panic(text in ".{0,300}", token in "[A-Za-z0-9_#-]{0,300}") {
        prop_assert!(Invitation::find(&text).is_err());
        prop_assert!(Invitation::find(&token).is_err());
    }

    #[test]
    fn no_mended_fragment_makes_finding_panic(
        head in prop::array::uniform4(0u8..5),
        tail in prop::collection::vec(any::<u8>(), 0..400),
    ) {
        if let Ok(read) = Invitation::find(&mended(&[&head[..], &tail].concat())) {
            // What was taken is what would be written, address and all.
            prop_assert_eq!(Invitation::find(&read.fragment()), Ok(read));
        }
    }
}
