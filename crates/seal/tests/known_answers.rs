//! The primitives as this crate uses them, against the published vectors.

#![allow(clippy::unwrap_used, clippy::panic, reason = "in a test's helpers a panic is a failed check")]

use chacha20poly1305::aead::{AeadInOut, KeyInit};
use chacha20poly1305::{Tag, XChaCha20Poly1305, XNonce};
use hkdf::Hkdf;
use sha2::Sha256;

fn bytes(hex: &str) -> Vec<u8> {
    (0..hex.len()).step_by(2).map(|at| u8::from_str_radix(&hex[at..at + 2], 16).unwrap()).collect()
}

fn counting(from: u8, to: u8) -> Vec<u8> {
    (from..=to).collect()
}

struct Rfc5869 {
    case: &'static str,
    ikm: Vec<u8>,
    salt: Option<Vec<u8>>,
    info: Vec<u8>,
    prk: &'static str,
    okm: &'static str,
}

/// RFC 5869, appendix A, the three test cases with SHA-256.
fn rfc5869() -> [Rfc5869; 3] {
    [
        Rfc5869 {
            case: "A.1",
            ikm: vec![0x0b; 22],
            salt: Some(counting(0x00, 0x0c)),
            info: counting(0xf0, 0xf9),
            prk: "077709362c2e32df0ddc3f0dc47bba6390b6c73bb50f9c3122ec844ad7c2b3e5",
            okm: "3cb25f25faacd57a90434f64d0362f2a2d2d0a90cf1a5a4c5db02d56ecc4c5bf34007208d5b887185865",
        },
        Rfc5869 {
            case: "A.2",
            ikm: counting(0x00, 0x4f),
            salt: Some(counting(0x60, 0xaf)),
            info: counting(0xb0, 0xff),
            prk: "06a6b88c5853361a06104c9ceb35b45cef760014904671014a193f40c15fc244",
            okm: "b11e398dc80327a1c8e7f78c596a49344f012eda2d4efad8a050cc4c19afa97c59045a99cac7827271cb41c65e590e09da327560\
                  0c2f09b8367793a9aca3db71cc30c58179ec3e87c14c01d5c1f3434f1d87",
        },
        Rfc5869 {
            case: "A.3",
            ikm: vec![0x0b; 22],
            salt: None,
            info: Vec::new(),
            prk: "19ef24a32c717b167f33a91d6f648bdf96596776afdb6377ac434c1c293ccb04",
            okm: "8da4e775a563c18f715f802a063c5a31b8a11f5c5ee1879ec3454e5f3c738d2d9d201395faa4b61a96c8",
        },
    ]
}

#[test]
fn hkdf_sha256_answers_as_rfc_5869_says() {
    for Rfc5869 { case, ikm, salt, info, prk, okm } in rfc5869() {
        let (extracted, hkdf) = Hkdf::<Sha256>::extract(salt.as_deref(), &ikm);
        assert_eq!(extracted.as_slice(), bytes(prk), "{case}");
        let mut out = vec![0; okm.len() / 2];
        hkdf.expand(&info, &mut out).unwrap();
        assert_eq!(out, bytes(okm), "{case}");
    }
}

/// draft-irtf-cfrg-xchacha-03, appendix A.3.1.
#[test]
fn xchacha20_poly1305_answers_as_the_draft_says() {
    let text =
        b"Ladies and Gentlemen of the class of '99: If I could offer you only one tip for the future, sunscreen \
                 would be it.";
    let associated = bytes("50515253c0c1c2c3c4c5c6c7");
    let key: [u8; 32] = counting(0x80, 0x9f).try_into().unwrap();
    let nonce: [u8; 24] = counting(0x40, 0x57).try_into().unwrap();
    let ciphertext = bytes(
        "bd6d179d3e83d43b9576579493c0e939572a1700252bfaccbed2902c21396cbb731c7f1b0b4aa6440bf3a82f4eda7e39ae64c6708c54c216\
         cb96b72e1213b4522f8c9ba40db5d945b11b69b982c1bb9e3f3fac2bc369488f76b2383565d3fff921f9664c97637da9768812f615c68b13\
         b52e",
    );
    let tag = bytes("c0875924c1c7987947deafd8780acf49");

    let cipher = XChaCha20Poly1305::new(&key.into());
    let mut body = text.to_vec();
    let sealed_tag =
        cipher.encrypt_inout_detached(&XNonce::from(nonce), &associated, body.as_mut_slice().into()).unwrap();
    assert_eq!((body.as_slice(), sealed_tag.as_slice()), (ciphertext.as_slice(), tag.as_slice()));

    let tag: [u8; 16] = tag.try_into().unwrap();
    cipher
        .decrypt_inout_detached(&XNonce::from(nonce), &associated, body.as_mut_slice().into(), &Tag::from(tag))
        .unwrap();
    assert_eq!(body, text);
}
