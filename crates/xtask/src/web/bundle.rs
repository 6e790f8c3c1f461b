//! What the app's files are called: by what is in them, so that a browser may keep them for ever; and everything that
//! refers to a file refers to it by that name.

use std::collections::BTreeMap;

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use sha2::{Digest as _, Sha256};

/// A template refers to a file that there is not.
#[derive(Debug, thiserror::Error, PartialEq, Eq)]
#[error("web/{file}:{line}: refers to `./{read}`, which is no file of the app; there are {known}")]
pub(crate) struct Dangling {
    file: String,
    line: usize,
    read: String,
    known: String,
}

/// What the app is made of before its files have their final names.
#[derive(Debug, Default, Clone)]
pub(crate) struct Parts {
    /// `index.html`, a template.
    pub page: String,
    /// `boot.js`, a template.
    pub boot: String,
    /// `sw.js`, a template.
    pub worker: String,
    /// `manifest.webmanifest`, a template.
    pub manifest: String,
    /// The glue between browser and WebAssembly.
    pub glue: String,
    /// The app itself.
    pub wasm: Vec<u8>,
    /// What loads the second module. It and the glue refer to each other, and it refers to `later.wasm`.
    pub loader: String,
    /// What the first screen does not need.
    pub later: Vec<u8>,
    /// Files that the glue imports, by their path from it.
    pub snippets: BTreeMap<String, Vec<u8>>,
    /// Whatever nothing is rewritten in, by its path: style, icons, data.
    pub leaves: BTreeMap<String, Vec<u8>>,
}

/// The app's files by their final names.
#[derive(Debug, Default)]
pub(crate) struct Bundle {
    /// Path from the app's root, and content.
    pub files: BTreeMap<String, Vec<u8>>,
    /// Final names by the names in the templates.
    names: BTreeMap<String, String>,
}

impl Bundle {
    /// Gives everything its name, leaves first: a file's name depends on the names in it.
    pub(crate) fn of(parts: Parts) -> Result<Self, Dangling> {
        let mut bundle = Self::default();
        for name in ["index.html", "sw.js", "manifest.webmanifest"] {
            bundle.names.insert(name.to_owned(), name.to_owned());
        }
        for (name, bytes) in parts.leaves {
            bundle.add_hashed(&name, bytes);
        }
        bundle.add_hashed("app.wasm", parts.wasm);
        let mut glue = parts.glue;
        for (path, bytes) in parts.snippets {
            let name = bundle.add_hashed(&path, bytes);
            glue = glue.replace(&format!("./{path}"), &format!("./{name}"));
        }
        bundle.add_pair(glue, &parts.loader, parts.later);
        let boot = bundle.rewrite("boot.js", &parts.boot)?;
        bundle.add_hashed("boot.js", boot.into_bytes());
        let manifest = bundle.rewrite("manifest.webmanifest", &parts.manifest)?;
        bundle.files.insert("manifest.webmanifest".to_owned(), manifest.into_bytes());

        let page = bundle.rewrite("index.html", &parts.page)?;
        let version = bundle.version(&[&page, &parts.worker]);
        bundle.files.insert("index.html".to_owned(), page.replace("@version@", &version).into_bytes());
        let worker = parts.worker.replace("@version@", &version).replace("\"@files@\"", &bundle.list());
        bundle.files.insert("sw.js".to_owned(), worker.into_bytes());
        Ok(bundle)
    }

    /// The final name of a file that the templates know by another.
    pub(crate) fn name_of(&self, template: &str) -> Option<&str> {
        self.names.get(template).map(String::as_str)
    }

    fn add_hashed(&mut self, name: &str, bytes: Vec<u8>) -> String {
        let hashed = hashed_name(name, &bytes);
        self.names.insert(name.to_owned(), hashed.clone());
        self.files.insert(hashed.clone(), bytes);
        hashed
    }

    /// The glue and the loader, which refer to each other: the loader is named by all that goes into either, so that its
    /// name changes whenever what it stands for does.
    fn add_pair(&mut self, glue: String, loader: &str, later: Vec<u8>) {
        let later = self.add_hashed("later.wasm", later);
        let loader = loader.replace("./later.wasm", &format!("./{later}"));
        let name = hashed_name("later.js", format!("{glue}\n{loader}").as_bytes());
        let glue =
            self.add_hashed("app.js", glue.replace("from \"./later.js\"", &format!("from \"./{name}\"")).into_bytes());
        self.files.insert(name.clone(), loader.replace("./app.js", &format!("./{glue}")).into_bytes());
        self.names.insert("later.js".to_owned(), name);
    }

    /// One short word that changes whenever anything does.
    fn version(&self, rest: &[&str]) -> String {
        let mut all = Sha256::new();
        let files = self.files.iter().map(|(name, bytes)| (name.as_str(), bytes.as_slice()));
        for (name, bytes) in files.chain(rest.iter().map(|text| ("", text.as_bytes()))) {
            all.update(Sha256::digest(name));
            all.update(Sha256::digest(bytes));
        }
        hex(&all.finalize())
    }

    /// What the service worker keeps: `["path","sha256-..."]` a file, in the form that browsers check.
    fn list(&self) -> String {
        let entries = self.files.iter().map(|(name, bytes)| {
            let path = if name == "index.html" { "./" } else { name };
            format!("\n  [\"{path}\", \"sha256-{}\"],", STANDARD.encode(Sha256::digest(bytes)))
        });
        format!("[{}\n]", entries.collect::<String>())
    }

    /// A template with every quoted `./name` in it turned into the file's final name. `./` alone is the root.
    fn rewrite(&self, file: &str, text: &str) -> Result<String, Dangling> {
        let (mut done, mut rest) = (String::with_capacity(text.len()), text);
        while let Some(at) = rest.find("\"./") {
            let (before, reference) = rest.split_at(at + 3);
            let end = reference.find('"').unwrap_or(reference.len());
            let (read, after) = reference.split_at(end);
            done.push_str(before);
            match self.names.get(read) {
                Some(name) => done.push_str(name),
                None if read.is_empty() => {}
                None => {
                    let line = 1 + done.matches('\n').count();
                    return Err(self.dangling(file, line, read));
                }
            }
            rest = after;
        }
        done.push_str(rest);
        Ok(done)
    }

    fn dangling(&self, file: &str, line: usize, read: &str) -> Dangling {
        let known = self.names.keys().map(String::as_str).collect::<Vec<_>>().join(", ");
        Dangling { file: file.to_owned(), line, read: read.to_owned(), known }
    }
}

/// `dir/name.ending` with a hash of the content before the ending.
fn hashed_name(name: &str, bytes: &[u8]) -> String {
    let hash = hex(&Sha256::digest(bytes));
    match name.rsplit_once('.') {
        Some((stem, ending)) => format!("{stem}.{hash}.{ending}"),
        None => format!("{name}.{hash}"),
    }
}

/// The first 8 bytes in 16 digits: enough that no two files of one app are taken for each other.
fn hex(digest: &[u8]) -> String {
    digest.iter().take(8).map(|byte| format!("{byte:02x}")).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn parts() -> Parts {
        Parts {
            page: "<a href=\"./\">\n<link href=\"./app.css\"><meta content=\"@version@\"><script src=\"./boot.js\">"
                .into(),
            boot: "import init from \"./app.js\"; init(\"./app.wasm\"); register(\"./sw.js\");".into(),
            worker: "const VERSION = \"@version@\"; const FILES = new Map(\"@files@\");".into(),
            manifest: "{\"start_url\": \"./\", \"src\": \"./icons/b.png\"}".into(),
            glue: "import { a } from './snippets/x/inline0.js'; const i = { \"./app_bg.js\": 1 }; const j = { \"./later.js\": later }; import * as later from \"./later.js\"".into(),
            wasm: b"\0asm".to_vec(),
            loader: "import { initSync } from \"./app.js\"; fetch(\"./later.wasm\");".into(),
            later: b"\0asm later".to_vec(),
            snippets: [("snippets/x/inline0.js".to_owned(), b"export function a() {}".to_vec())].into(),
            leaves: [("app.css", "body{}"), ("icons/b.png", "png")]
                .map(|(name, text)| (name.to_owned(), text.as_bytes().to_vec()))
                .into(),
        }
    }

    fn text(bundle: &Bundle, template: &str) -> String {
        let name = bundle.name_of(template).unwrap();
        String::from_utf8(bundle.files[name].clone()).unwrap()
    }

    #[test]
    fn every_reference_is_to_a_file_that_is_there() {
        let bundle = Bundle::of(parts()).unwrap();
        // `printf '\0asm' | sha256sum` begins so.
        assert_eq!(bundle.name_of("app.wasm"), Some("app.cd5d4935a48c0672.wasm"));
        assert!(text(&bundle, "boot.js").contains("\"./app.cd5d4935a48c0672.wasm\""));
        assert!(text(&bundle, "boot.js").contains(&format!("\"./{}\"", bundle.name_of("app.js").unwrap())));
        assert!(text(&bundle, "boot.js").contains("\"./sw.js\""));
        assert!(text(&bundle, "index.html").contains(&format!("\"./{}\"", bundle.name_of("boot.js").unwrap())));
        assert!(text(&bundle, "index.html").contains("<a href=\"./\">"));
        assert!(text(&bundle, "manifest.webmanifest").contains(bundle.name_of("icons/b.png").unwrap()));
        let glue = text(&bundle, "app.js");
        assert!(glue.contains(&format!("'./{}'", bundle.name_of("snippets/x/inline0.js").unwrap())), "{glue}");
        assert!(glue.contains("\"./app_bg.js\""), "what the glue calls its own parts is not a file");
        let loader = text(&bundle, "later.js");
        assert!(glue.contains(&format!("from \"./{}\"", bundle.name_of("later.js").unwrap())), "{glue}");
        assert!(glue.contains("\"./later.js\": "), "the WebAssembly knows the loader by this name: {glue}");
        assert!(loader.contains(&format!("\"./{}\"", bundle.name_of("app.js").unwrap())), "{loader}");
        assert!(loader.contains(&format!("\"./{}\"", bundle.name_of("later.wasm").unwrap())), "{loader}");
    }

    #[test]
    fn the_worker_keeps_every_file_but_itself() {
        let bundle = Bundle::of(parts()).unwrap();
        let worker = text(&bundle, "sw.js");
        for name in bundle.files.keys().filter(|name| *name != "sw.js") {
            let path = if name == "index.html" { "./" } else { name };
            assert!(worker.contains(&format!("[\"{path}\", \"sha256-")), "{path}\n{worker}");
        }
        assert!(!worker.contains("\"sw.js\"") && !worker.contains('@'), "{worker}");
        // `printf 'png' | openssl dgst -sha256 -binary | base64`
        assert!(worker.contains("sha256-j4y7fc9G4Lx9UyZXSabBfRFgk6a6leRCdkBgx2/UqGw="), "{worker}");
    }

    #[test]
    fn the_version_changes_with_whatever_changes() {
        let version = |change: fn(&mut Parts)| {
            let mut parts = parts();
            change(&mut parts);
            let page = text(&Bundle::of(parts).unwrap(), "index.html");
            page.split_once("content=\"").unwrap().1[..16].to_owned()
        };
        let changes: [fn(&mut Parts); 10] = [
            |_| {},
            |parts| parts.page.push(' '),
            |parts| parts.boot.push(' '),
            |parts| parts.worker.push(' '),
            |parts| parts.manifest.push(' '),
            |parts| parts.wasm.push(0),
            |parts| parts.later.push(0),
            |parts| parts.loader.push(' '),
            |parts| _ = parts.leaves.insert("icons/b.png".into(), b"other".to_vec()),
            |parts| _ = parts.snippets.insert("snippets/x/inline0.js".into(), b"other".to_vec()),
        ];
        let versions: std::collections::BTreeSet<_> = changes.iter().map(|change| version(*change)).collect();
        assert_eq!(versions.len(), changes.len());
        assert_eq!(version(changes[0]), version(changes[0]), "the same files are the same version");
    }

    #[test]
    fn the_loader_has_another_name_whenever_it_says_something_else() {
        let name = |parts: Parts| Bundle::of(parts).unwrap().name_of("later.js").unwrap().to_owned();
        let changed = Parts { glue: format!("{} ", parts().glue), ..parts() };
        assert_ne!(name(changed), name(parts()), "the glue's name is in the loader");
    }

    #[test]
    fn a_reference_into_nothing_is_told_with_its_line() {
        let cases = [
            (Parts { page: "<p>\n\n<img src=\"./x.png\">".into(), ..parts() }, "web/index.html:3: refers to `./x.png`"),
            (Parts { boot: "import \"./glue.js\"".into(), ..parts() }, "web/boot.js:1: refers to `./glue.js`"),
            (Parts { manifest: "\"./icons/".into(), ..parts() }, "web/manifest.webmanifest:1: refers to `./icons/`"),
        ];
        for (parts, said) in cases {
            let error = Bundle::of(parts).unwrap_err().to_string();
            assert!(error.starts_with(said), "{error}");
        }
    }
}
