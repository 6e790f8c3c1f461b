//! Texts of the web: entities and tags undone.

/// Entities that recipes are written with, beside the numbered ones.
const ENTITIES: &[(&str, &str)] = &[
    ("amp", "&"),
    ("lt", "<"),
    ("gt", ">"),
    ("quot", "\""),
    ("apos", "'"),
    ("nbsp", " "),
    ("thinsp", " "),
    ("ensp", " "),
    ("emsp", " "),
    ("shy", ""),
    ("frac12", "½"),
    ("half", "½"),
    ("frac14", "¼"),
    ("frac34", "¾"),
    ("frac13", "⅓"),
    ("frac23", "⅔"),
    ("frac15", "⅕"),
    ("frac25", "⅖"),
    ("frac35", "⅗"),
    ("frac45", "⅘"),
    ("frac16", "⅙"),
    ("frac56", "⅚"),
    ("frac18", "⅛"),
    ("frac38", "⅜"),
    ("frac58", "⅝"),
    ("frac78", "⅞"),
    ("frasl", "⁄"),
    ("times", "×"),
    ("deg", "°"),
    ("ndash", "–"),
    ("mdash", "—"),
    ("hellip", "…"),
    ("lsquo", "‘"),
    ("rsquo", "’"),
    ("ldquo", "“"),
    ("rdquo", "”"),
    ("bull", "•"),
    ("middot", "·"),
    ("trade", "™"),
    ("reg", "®"),
    ("aacute", "á"),
    ("agrave", "à"),
    ("acirc", "â"),
    ("auml", "ä"),
    ("aring", "å"),
    ("atilde", "ã"),
    ("ccedil", "ç"),
    ("eacute", "é"),
    ("egrave", "è"),
    ("ecirc", "ê"),
    ("euml", "ë"),
    ("iacute", "í"),
    ("icirc", "î"),
    ("iuml", "ï"),
    ("ntilde", "ñ"),
    ("oacute", "ó"),
    ("ocirc", "ô"),
    ("ouml", "ö"),
    ("oslash", "ø"),
    ("uacute", "ú"),
    ("ugrave", "ù"),
    ("ucirc", "û"),
    ("uuml", "ü"),
    ("szlig", "ß"),
    ("aelig", "æ"),
    ("oelig", "œ"),
    ("Eacute", "É"),
    ("Aring", "Å"),
    ("Ouml", "Ö"),
    ("Uuml", "Ü"),
];

/// A text of one line: tags taken out, entities undone, spaces made single.
pub(super) fn line(text: &str) -> String {
    plain(text).split_whitespace().collect::<Vec<_>>().join(" ")
}

/// A text of several lines: tags taken out, those that end a line made an end of line, entities undone.
pub(super) fn paragraphs(text: &str) -> String {
    let plain = plain(text);
    let lines: Vec<String> = plain.lines().map(|line| line.split_whitespace().collect::<Vec<_>>().join(" ")).collect();
    let mut out = String::new();
    for line in lines.iter().filter(|line| !line.is_empty()) {
        if !out.is_empty() {
            out.push('\n');
        }
        out.push_str(line);
    }
    out
}

/// Some sites escape twice, so it is undone twice; more would undo what is meant.
fn plain(text: &str) -> String {
    let once = entities(&tags(text));
    if once.contains('&') { entities(&once) } else { once }
}

fn tags(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    let mut rest = text;
    while let Some(at) = rest.find('<') {
        out.push_str(rest.get(..at).unwrap_or_default());
        let tag = rest.get(at + 1..).unwrap_or_default();
        let opens = tag.starts_with(|c: char| c.is_ascii_alphabetic() || c == '/' || c == '!');
        match tag.find('>').filter(|_| opens) {
            Some(end) => {
                if ends_line(tag.get(..end).unwrap_or_default()) {
                    out.push('\n');
                }
                rest = tag.get(end + 1..).unwrap_or_default();
            }
            None if opens && !tag.contains('>') => {
                out.push('<');
                out.push_str(tag);
                return out;
            }
            None => {
                out.push('<');
                rest = tag;
            }
        }
    }
    out.push_str(rest);
    out
}

fn ends_line(tag: &str) -> bool {
    let name = tag.trim_start_matches('/').split(|c: char| !c.is_ascii_alphanumeric()).next().unwrap_or_default();
    ["br", "p", "li", "div", "ul", "ol", "tr", "h1", "h2", "h3", "h4"]
        .iter()
        .any(|other| name.eq_ignore_ascii_case(other))
}

fn entities(text: &str) -> String {
    const LONGEST: usize = 10;
    let mut out = String::with_capacity(text.len());
    let mut rest = text;
    while let Some(at) = rest.find('&') {
        out.push_str(rest.get(..at).unwrap_or_default());
        let after = rest.get(at + 1..).unwrap_or_default();
        let end = after.bytes().take(LONGEST).position(|byte| byte == b';');
        let read = end.and_then(|end| Some((entity(after.get(..end)?)?, end)));
        match read {
            Some((text, end)) => {
                out.push_str(&text);
                rest = after.get(end + 1..).unwrap_or_default();
            }
            None => {
                out.push('&');
                rest = after;
            }
        }
    }
    out.push_str(rest);
    out
}

fn entity(name: &str) -> Option<String> {
    if let Some(number) = name.strip_prefix('#') {
        let code = match number.strip_prefix(['x', 'X']) {
            Some(hex) => u32::from_str_radix(hex, 16),
            None => number.parse(),
        };
        let sign = char::from_u32(code.ok()?)?;
        return Some(if sign.is_control() { ' '.to_string() } else { sign.to_string() });
    }
    ENTITIES.iter().find(|(known, _)| *known == name).map(|(_, text)| (*text).to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn undoes_what_the_web_does() {
        for (text, want) in [
            ("1 &frac12; cups <b>flour</b>", "1 ½ cups flour"),
            ("&#189; cup&nbsp;milk", "½ cup milk"),
            ("&#xBD; cup", "½ cup"),
            ("salt &amp; pepper", "salt & pepper"),
            ("salt &amp;amp; pepper", "salt & pepper"),
            ("&amp;frac12; cup", "½ cup"),
            ("cr&egrave;me fra&icirc;che", "crème fraîche"),
            ("pieces < 1 inch > ok", "pieces < 1 inch > ok"),
            ("a & b; c", "a & b; c"),
            ("&unknown; x", "&unknown; x"),
            ("<a href=\"x\">2 eggs</a>", "2 eggs"),
            ("2 eggs <i", "2 eggs <i"),
            ("  2 \n eggs ", "2 eggs"),
        ] {
            assert_eq!(line(text), want, "{text}");
        }
        assert_eq!(paragraphs("<p>One.</p><p>Two.<br/>Three.</p>"), "One.\nTwo.\nThree.");
    }
}
