//! `cargo xtask build`: the phone app, ready to be carried by `trug` or put on any host for files.
//!
//! Everything is made from the workspace alone: the WebAssembly by cargo, the glue by the library of wasm-bindgen, the
//! names by what is in the files, and the packed forms beside them. What has not changed is not made again.

mod bundle;
mod licences;
mod pack;

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::{fs, io};

use flate2::Compression;

use crate::root;
use crate::run::{StepError, announce, cannot_start, cargo, failed, step};
use crate::test::{WASM, require_wasm};
use bundle::{Bundle, Dangling, Parts};
use licences::{Metadata, licences};
use pack::{Kept, Sizes};

const PACKAGE: &str = "trug-web";
const STEP: &str = "the app";
/// What a phone loads before the app can be used, by the names in the templates.
const FIRST: [&str; 6] = ["index.html", "app.css", "boot.js", "app.js", "later.js", "app.wasm"];

/// What keeps the app from being built.
#[derive(Debug, thiserror::Error)]
pub(crate) enum WebError {
    /// A file or folder cannot be read.
    #[error("cannot read {}: {source}", path.display())]
    Read {
        /// Which.
        path: PathBuf,
        /// Why.
        source: io::Error,
    },
    /// A file or folder cannot be written.
    #[error("cannot write {}: {source}", path.display())]
    Write {
        /// Which.
        path: PathBuf,
        /// Why.
        source: io::Error,
    },
    /// A file of text is not UTF-8.
    #[error("{}: is not text in UTF-8", .0.display())]
    NotText(PathBuf),
    /// JSON cannot be read or written.
    #[error("cargo metadata: {0}")]
    Json(serde_json::Error),
    /// The glue cannot be made.
    #[error("wasm-bindgen, of {}: {problem}", wasm.display())]
    Glue {
        /// From which WebAssembly.
        wasm: PathBuf,
        /// Why not, in wasm-bindgen's words.
        problem: String,
    },
    /// The second module cannot be taken out of the first.
    #[error("taking the app apart: {0}")]
    Apart(String),
    /// A template names what is not there.
    #[error(transparent)]
    Dangling(#[from] Dangling),
    /// A step failed.
    #[error(transparent)]
    Step(#[from] StepError),
}

impl WebError {
    fn read(path: &Path, source: io::Error) -> Self {
        Self::Read { path: path.to_owned(), source }
    }

    pub(crate) fn write(path: &Path, source: io::Error) -> Self {
        Self::Write { path: path.to_owned(), source }
    }
}

/// How much is done for few bytes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Form {
    /// All that can be: what is shipped.
    Small,
    /// Little: for work on the app.
    Quick,
}

impl Form {
    /// Cargo's profile, and the folder that it builds into.
    fn profile(self) -> (&'static str, &'static str) {
        match self {
            Self::Small => ("wasm", "wasm"),
            Self::Quick => ("dev", "debug"),
        }
    }

    /// Where the app goes below cargo's target folder; each form has its own, so that neither undoes the other.
    fn folder(self) -> &'static str {
        match self {
            Self::Small => "web",
            Self::Quick => "web-dev",
        }
    }

    /// The quality of brotli and the level of gzip.
    fn effort(self) -> (i32, Compression) {
        match self {
            Self::Small => (11, Compression::best()),
            Self::Quick => (3, Compression::fast()),
        }
    }
}

/// Builds the app, says what it weighs, and comes back with the folder that it is in: what `TRUG_WEB_DIST` wants.
pub(crate) fn build(form: Form) -> Result<PathBuf, WebError> {
    require_wasm()?;
    step(STEP, &mut compile(form))?;
    let metadata = metadata()?;
    let target = &metadata.target_directory;
    let mut kept = Kept::open(target.join(format!("{}-kept", form.folder())))?;
    let wasm = target.join(WASM).join(form.profile().1).join("trug_web.wasm");
    let bundle = Bundle::of(parts(&metadata, &glue(&wasm, form, &mut kept)?, form)?)?;
    let first: Vec<String> = FIRST.iter().filter_map(|name| bundle.name_of(name)).map(str::to_owned).collect();
    let (files, sizes) = pack::pack(bundle.files, form, &mut kept)?;
    let folder = target.join(form.folder());
    pack::write_folder(&folder, &files)?;
    kept.tidy()?;
    print(&sizes, &first);
    println!("the app is in {}", folder.display());
    Ok(folder)
}

fn compile(form: Form) -> std::process::Command {
    let build = ["rustc", "--package", PACKAGE, "--lib", "--crate-type", "cdylib", "--features", "apart"];
    let mut command = cargo(&build);
    command.args(["--target", WASM, "--profile", form.profile().0]);
    // Which code uses which other is what the second module is found by.
    command.args(["--", "-Clink-arg=--emit-relocs"]);
    if form == Form::Small {
        // Where the sources lay on the machine that built this is nobody's business, and costs bytes.
        command.env("CARGO_ENCODED_RUSTFLAGS", without_places());
    }
    command
}

/// The compiler's flags that leave this machine's folders out of the app.
fn without_places() -> String {
    let home = std::env::var_os("CARGO_HOME").map(PathBuf::from);
    let home = home.or_else(|| Some(std::env::home_dir()?.join(".cargo"))).unwrap_or_default();
    let registries = fs::read_dir(home.join("registry/src")).into_iter().flatten().flatten().map(|entry| entry.path());
    let places = registries.chain([root()]).filter(|place| !place.as_os_str().is_empty());
    let mut flags: Vec<String> = places.map(|place| format!("--remap-path-prefix={}=", place.display())).collect();
    flags.sort();
    // Cargo's own separator here, which no folder's name has in it.
    flags.join("\x1f")
}

fn metadata() -> Result<Metadata, WebError> {
    const METADATA: &str = "what the app is made of";
    let mut command = cargo(&["metadata", "--format-version", "1", "--filter-platform", WASM]);
    let output = command.output().map_err(|source| cannot_start(METADATA, &command, source))?;
    if !output.status.success() {
        eprint!("{}", String::from_utf8_lossy(&output.stderr));
        return Err(failed(METADATA, &command).into());
    }
    serde_json::from_slice(&output.stdout).map_err(WebError::Json)
}

/// Cargo's target folder.
pub(crate) fn target_directory() -> Result<PathBuf, WebError> {
    Ok(metadata()?.target_directory)
}

/// The folder with the glue and the WebAssembly that it goes with.
fn glue(wasm: &Path, form: Form, kept: &mut Kept) -> Result<PathBuf, WebError> {
    let whole = read(wasm)?;
    let place = kept.place(&whole, "apart");
    if place.exists() {
        return Ok(place);
    }
    announce("glue");
    let part = place.with_extension("part");
    let _ = fs::remove_dir_all(&part);
    let first = take_apart(&whole, &part)?;
    let mut bindgen = wasm_bindgen_cli_support::Bindgen::new();
    bindgen.input_path(&first).out_name("app").typescript(false).omit_default_module_path(true);
    // The second module takes the table of functions from the first.
    bindgen.keep_lld_exports(true);
    bindgen.remove_name_section(form == Form::Small).remove_producers_section(form == Form::Small);
    let made = bindgen.web(true).and_then(|bindgen| bindgen.generate(&part));
    made.map_err(|problem| WebError::Glue { wasm: wasm.to_owned(), problem: format!("{problem:#}") })?;
    fs::rename(&part, &place).map_err(|source| WebError::write(&place, source))?;
    Ok(place)
}

/// Puts the second module and its loader into a folder; comes back with where the first one is, which still wants its
/// glue.
fn take_apart(whole: &[u8], folder: &Path) -> Result<PathBuf, WebError> {
    let first = folder.join("first.wasm");
    let mut options = wasm_split_cli_support::Options::new(whole);
    (options.output_dir, options.main_out_path) = (folder, &first);
    (options.link_name, options.main_module) = ("./later.js", "./app.js");
    wasm_split_cli_support::transform(options).map_err(|problem| WebError::Apart(format!("{problem:#}")))?;
    Ok(first)
}

/// The second module; in what is shipped, without the names of its functions. The first one's go when its glue is made.
fn without_names(wasm: &Path, form: Form) -> Result<Vec<u8>, WebError> {
    let bytes = read(wasm)?;
    if form == Form::Quick {
        return Ok(bytes);
    }
    let mut module = wasm_encoder::Module::new();
    let at = |place: u64| usize::try_from(place).unwrap_or(bytes.len());
    for part in wasmparser::Parser::new(0).parse_all(&bytes) {
        let part = part.map_err(|problem| WebError::Apart(problem.to_string()))?;
        let custom = matches!(part, wasmparser::Payload::CustomSection(_));
        if let (false, Some((id, range))) = (custom, part.as_section()) {
            module.section(&wasm_encoder::RawSection { id, data: &bytes[at(range.start)..at(range.end)] });
        }
    }
    Ok(module.finish())
}

/// Everything that goes into the app.
fn parts(metadata: &Metadata, glue: &Path, form: Form) -> Result<Parts, WebError> {
    let web = root().join("web");
    let template = |name: &str| text(&web.join(name));
    let snippets = files_below(&glue.join("snippets")).unwrap_or_default();
    let icons = files_below(&web.join("icons"))?;
    let mut leaves: BTreeMap<_, _> = icons.into_iter().map(|(name, bytes)| (format!("icons/{name}"), bytes)).collect();
    leaves.insert("app.css".to_owned(), style(&web.join("style"))?);
    leaves.insert("demo.json".to_owned(), kitchen(&root().join("demo-data"))?);
    leaves.insert("licences.json".to_owned(), licences(metadata, PACKAGE)?);
    Ok(Parts {
        page: template("index.html")?,
        boot: template("boot.js")?,
        worker: template("sw.js")?,
        manifest: template("manifest.webmanifest")?,
        glue: text(&glue.join("app.js"))?,
        wasm: read(&glue.join("app_bg.wasm"))?,
        loader: text(&glue.join("later.js"))?.replace("./split_later.wasm", "./later.wasm"),
        later: without_names(&glue.join("split_later.wasm"), form)?,
        snippets: snippets.into_iter().map(|(name, bytes)| (format!("snippets/{name}"), bytes)).collect(),
        leaves,
    })
}

/// All style sheets in the order of their names, in one file.
fn style(folder: &Path) -> Result<Vec<u8>, WebError> {
    let sheets = files_below(folder)?.into_iter().filter(|(name, _)| name.ends_with(".css"));
    let sheets: Vec<String> = sheets.map(|(_, sheet)| bare(&String::from_utf8_lossy(&sheet))).collect();
    Ok(sheets.concat().into_bytes())
}

/// A style sheet without what is there for its reader alone: comments and the beginnings of lines. Ours have neither
/// within a text.
fn bare(sheet: &str) -> String {
    let mut code = String::with_capacity(sheet.len());
    let mut rest = sheet;
    while let Some((before, comment)) = rest.split_once("/*") {
        code.push_str(before);
        rest = comment.split_once("*/").map_or("", |(_, after)| after);
    }
    code.push_str(rest);
    code.lines().map(str::trim).filter(|line| !line.is_empty()).map(|line| format!("{line}\n")).collect()
}

/// A kitchen folder as one JSON object, from path to text; what it says about itself to a reader stays behind.
fn kitchen(folder: &Path) -> Result<Vec<u8>, WebError> {
    let files = files_below(folder)?.into_iter().filter(|(name, _)| name != "README.md");
    let texts = files.map(|(name, bytes)| match String::from_utf8(bytes) {
        Ok(text) => Ok((name, text)),
        Err(_) => Err(WebError::NotText(folder.join(name))),
    });
    serde_json::to_vec(&texts.collect::<Result<BTreeMap<_, _>, _>>()?).map_err(WebError::Json)
}

/// Files below a folder by their path from it, with `/` between.
fn files_below(folder: &Path) -> Result<BTreeMap<String, Vec<u8>>, WebError> {
    let mut files = BTreeMap::new();
    let entries = fs::read_dir(folder).map_err(|source| WebError::read(folder, source))?;
    for entry in entries {
        let entry = entry.map_err(|source| WebError::read(folder, source))?;
        let (path, name) = (entry.path(), entry.file_name().to_string_lossy().into_owned());
        if path.is_dir() {
            let below = files_below(&path)?;
            files.extend(below.into_iter().map(|(rest, bytes)| (format!("{name}/{rest}"), bytes)));
        } else {
            files.insert(name, read(&path)?);
        }
    }
    Ok(files)
}

fn read(path: &Path) -> Result<Vec<u8>, WebError> {
    fs::read(path).map_err(|source| WebError::read(path, source))
}

fn text(path: &Path) -> Result<String, WebError> {
    String::from_utf8(read(path)?).map_err(|_| WebError::NotText(path.to_owned()))
}

fn print(sizes: &BTreeMap<String, Sizes>, first: &[String]) {
    println!("{:>9} {:>9} {:>9}", "bytes", "gzip", "brotli");
    for (name, Sizes { plain, gzip, brotli }) in sizes {
        println!("{plain:>9} {gzip:>9} {brotli:>9}  {name}");
    }
    let sum = |length: fn(&Sizes) -> usize| first.iter().filter_map(|name| sizes.get(name)).map(length).sum::<usize>();
    let (plain, gzip, brotli) = (sum(|size| size.plain), sum(|size| size.gzip), sum(|size| size.brotli));
    println!("{plain:>9} {gzip:>9} {brotli:>9}  until it can be used");
}

#[cfg(test)]
mod tests {
    use super::bare;

    #[test]
    fn a_style_sheet_loses_its_comments_and_nothing_else() {
        let table = [
            ("a { b: c; } /* d */\n\n  e { f: g h; }\n", "a { b: c; }\ne { f: g h; }\n"),
            ("/* a\n b */ c > d { }", "c > d { }\n"),
            ("a { } /* never shut", "a { }\n"),
        ];
        for (sheet, expected) in table {
            assert_eq!(bare(sheet), expected, "{sheet}");
        }
    }
}
