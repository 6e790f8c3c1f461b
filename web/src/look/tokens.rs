//! The palette against what it promises: contrast in both schemes, and one dark scheme in two places.

use std::collections::BTreeMap;

type Palette = BTreeMap<String, [u8; 3]>;

const FILE: &str = include_str!("../../style/0-tokens.css");
const BY_PHONE: &str = "@media (prefers-color-scheme: dark)";
const BY_CHOICE: &str = ":root[data-scheme=\"dark\"] {";

/// From one piece of text to the next one.
fn between<'a>(from: &str, to: &str) -> &'a str {
    let start = FILE.find(from).unwrap();
    let rest = &FILE[start..];
    &rest[..rest[1..].find(to).map_or(rest.len(), |end| end + 1)]
}

fn lines(block: &str) -> Vec<&str> {
    block.lines().map(str::trim).filter(|line| line.starts_with("--") || line.starts_with("color-scheme")).collect()
}

fn colours(block: &str) -> Palette {
    let colour = |line: &str| {
        let (name, value) = line.strip_prefix("--")?.split_once(": #")?;
        let value = u32::from_str_radix(value.strip_suffix(';')?, 16).ok()?;
        let [_, red, green, blue] = value.to_be_bytes();
        Some((name.to_owned(), [red, green, blue]))
    };
    lines(block).into_iter().filter_map(colour).collect()
}

fn schemes() -> [(&'static str, Palette); 2] {
    let light = colours(between(":root {", "@media"));
    let mut dark = light.clone();
    dark.extend(colours(between(BY_CHOICE, "@media")));
    [("light", light), ("dark", dark)]
}

/// Relative luminance, as WCAG 2.2 defines it.
fn luminance(colour: [u8; 3]) -> f64 {
    let [red, green, blue] = colour.map(|part| {
        let part = f64::from(part) / 255.0;
        if part <= 0.040_45 { part / 12.92 } else { ((part + 0.055) / 1.055).powf(2.4) }
    });
    0.2126 * red + 0.7152 * green + 0.0722 * blue
}

fn contrast(one: [u8; 3], other: [u8; 3]) -> f64 {
    let (one, other) = (luminance(one), luminance(other));
    (one.max(other) + 0.05) / (one.min(other) + 0.05)
}

#[test]
fn dark_by_the_phone_is_dark_by_choice() {
    assert_eq!(lines(between(BY_PHONE, "/* The same again")), lines(between(BY_CHOICE, "@media")));
}

#[test]
fn text_and_edges_stand_out_in_both_schemes() {
    let grounds = ["ground", "surface", "sunk", "act-wash", "care-wash", "well-wash", "alert-wash"];
    let inks = ["ink", "ink-soft"].into_iter().flat_map(|ink| grounds.map(|ground| (ink, ground, 4.5)));
    let rest = [
        ("act", "ground", 4.5),
        ("act", "surface", 4.5),
        ("act", "sunk", 4.5),
        ("act", "act-wash", 4.5),
        ("act-ink", "act", 4.5),
        ("act-ink", "act-deep", 4.5),
        ("alert", "ground", 4.5),
        ("alert", "surface", 4.5),
        ("alert", "alert-wash", 4.5),
        ("care", "surface", 4.5),
        ("care", "care-wash", 4.5),
        ("well", "surface", 4.5),
        ("well", "well-wash", 4.5),
        ("allergy-ink", "allergy", 7.0),
        ("ground", "ink", 4.5),
        ("rim", "ground", 3.0),
        ("rim", "surface", 3.0),
        ("rim", "sunk", 3.0),
        ("allergy-edge", "ground", 3.0),
        ("allergy-edge", "surface", 3.0),
    ];
    let pairs: Vec<_> = inks.chain(rest).collect();
    for (scheme, palette) in schemes() {
        for (over, under, least) in &pairs {
            let found = contrast(palette[*over], palette[*under]);
            assert!(found >= *least, "{scheme}: {over} on {under} is {found:.2}:1, less than {least}:1");
        }
    }
}
