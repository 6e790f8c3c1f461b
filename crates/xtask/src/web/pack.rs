//! The app's files on the disk, each with its packed forms beside it.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::io::{self, Write as _};
use std::path::{Path, PathBuf};

use flate2::Compression;
use flate2::write::GzEncoder;
use sha2::{Digest as _, Sha256};

use super::{Form, WebError, read};

/// Packed forms that do not become smaller are left out, and these are packed already.
const PACKED_ALREADY: [&str; 1] = ["png"];

/// What was made once from something and need not be made again while that stays the same.
#[derive(Debug)]
pub(crate) struct Kept {
    folder: PathBuf,
    used: BTreeSet<String>,
}

impl Kept {
    /// Opens or makes the folder.
    pub(crate) fn open(folder: PathBuf) -> Result<Self, WebError> {
        fs::create_dir_all(&folder).map_err(|source| WebError::write(&folder, source))?;
        Ok(Self { folder, used: BTreeSet::new() })
    }

    /// The place for what is made from `source` by a way of that name: a file or a folder.
    pub(crate) fn place(&mut self, source: &[u8], way: &str) -> PathBuf {
        let hash: String = Sha256::digest(source).iter().map(|byte| format!("{byte:02x}")).collect();
        let name = format!("{hash}.{way}");
        let place = self.folder.join(&name);
        self.used.insert(name);
        place
    }

    fn packed(
        &mut self,
        bytes: &[u8],
        way: &str,
        pack: impl Fn(&[u8]) -> io::Result<Vec<u8>>,
    ) -> Result<Vec<u8>, WebError> {
        let place = self.place(bytes, way);
        if place.exists() {
            return read(&place);
        }
        let packed = pack(bytes).map_err(|source| WebError::write(&place, source))?;
        write_whole(&place, &packed)?;
        Ok(packed)
    }

    /// Lets go of what was not asked for this time.
    pub(crate) fn tidy(self) -> Result<(), WebError> {
        let entries = fs::read_dir(&self.folder).map_err(|source| WebError::read(&self.folder, source))?;
        for entry in entries.flatten().filter(|entry| !self.used.contains(&*entry.file_name().to_string_lossy())) {
            let path = entry.path();
            let removed = if path.is_dir() { fs::remove_dir_all(&path) } else { fs::remove_file(&path) };
            removed.map_err(|source| WebError::write(&path, source))?;
        }
        Ok(())
    }
}

/// A file's length in its three forms; a form that is not there counts as the plain one.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Sizes {
    /// As it is.
    pub plain: usize,
    /// In gzip.
    pub gzip: usize,
    /// In brotli.
    pub brotli: usize,
}

/// Files by their names, plain and packed, and what they weigh.
pub(crate) type Packed = (BTreeMap<String, Vec<u8>>, BTreeMap<String, Sizes>);

/// Adds the packed forms, and says how long each file is.
pub(crate) fn pack(files: BTreeMap<String, Vec<u8>>, form: Form, kept: &mut Kept) -> Result<Packed, WebError> {
    let (mut all, mut sizes) = (BTreeMap::new(), BTreeMap::new());
    for (name, bytes) in files {
        let plain = bytes.len();
        let mut size = Sizes { plain, gzip: plain, brotli: plain };
        if !PACKED_ALREADY.iter().any(|ending| name.ends_with(ending)) {
            let (quality, level) = form.effort();
            let brotli = kept.packed(&bytes, &format!("{quality}.br"), |bytes| brotli(bytes, quality))?;
            let gzip = kept.packed(&bytes, &format!("{}.gz", level.level()), |bytes| gzip(bytes, level))?;
            for (packed, ending, length) in [(brotli, "br", &mut size.brotli), (gzip, "gz", &mut size.gzip)] {
                if packed.len() < plain {
                    *length = packed.len();
                    all.insert(format!("{name}.{ending}"), packed);
                }
            }
        }
        sizes.insert(name.clone(), size);
        all.insert(name, bytes);
    }
    Ok((all, sizes))
}

fn brotli(bytes: &[u8], quality: i32) -> io::Result<Vec<u8>> {
    let how = brotli::enc::BrotliEncoderParams { quality, lgwin: 22, size_hint: bytes.len(), ..Default::default() };
    let mut packed = Vec::new();
    brotli::BrotliCompress(&mut &*bytes, &mut packed, &how)?;
    Ok(packed)
}

fn gzip(bytes: &[u8], level: Compression) -> io::Result<Vec<u8>> {
    let mut packed = GzEncoder::new(Vec::new(), level);
    packed.write_all(bytes)?;
    packed.finish()
}

/// Makes a folder hold these files and no others. What is there already is not touched, so that cargo does not take
/// it for new.
pub(crate) fn write_folder(folder: &Path, files: &BTreeMap<String, Vec<u8>>) -> Result<(), WebError> {
    fs::create_dir_all(folder).map_err(|source| WebError::write(folder, source))?;
    for (name, bytes) in files {
        let path = folder.join(name);
        if fs::read(&path).is_ok_and(|there| there == *bytes) {
            continue;
        }
        if let Some(parent) = path.parent() {
            fs::create_dir_all(parent).map_err(|source| WebError::write(parent, source))?;
        }
        write_whole(&path, bytes)?;
    }
    for name in super::files_below(folder)?.into_keys().filter(|name| !files.contains_key(name)) {
        let path = folder.join(name);
        fs::remove_file(&path).map_err(|source| WebError::write(&path, source))?;
    }
    Ok(())
}

/// A file is there whole or not at all, also when this is cut off.
fn write_whole(path: &Path, bytes: &[u8]) -> Result<(), WebError> {
    let mut part = path.as_os_str().to_owned();
    part.push(".part");
    fs::write(&part, bytes).and_then(|()| fs::rename(&part, path)).map_err(|source| WebError::write(path, source))
}

#[cfg(test)]
mod tests {
    use std::io::Read as _;

    use super::*;

    struct Folder(PathBuf);

    impl Folder {
        fn new(name: &str) -> Self {
            let path = std::env::temp_dir().join(format!("trug-xtask-{name}-{}", std::process::id()));
            let _ = fs::remove_dir_all(&path);
            Self(path)
        }
    }

    impl Drop for Folder {
        fn drop(&mut self) {
            let _ = fs::remove_dir_all(&self.0);
        }
    }

    #[test]
    fn packed_forms_hold_the_same_bytes() {
        let folder = Folder::new("pack");
        let text = "one lemon, two lemons, ".repeat(40).into_bytes();
        let files: BTreeMap<_, _> = [("a.js", &text), ("b.png", &text), ("c.js", &b"x".to_vec())]
            .map(|(name, bytes)| (name.to_owned(), bytes.clone()))
            .into();
        for _ in ["made", "kept"] {
            let mut kept = Kept::open(folder.0.clone()).unwrap();
            let (all, sizes) = pack(files.clone(), Form::Small, &mut kept).unwrap();
            assert_eq!(all.keys().collect::<Vec<_>>(), ["a.js", "a.js.br", "a.js.gz", "b.png", "c.js"]);
            let mut brotli = Vec::new();
            brotli::Decompressor::new(&*all["a.js.br"], 4096).read_to_end(&mut brotli).unwrap();
            let mut gzip = Vec::new();
            flate2::read::GzDecoder::new(&*all["a.js.gz"]).read_to_end(&mut gzip).unwrap();
            assert_eq!((&brotli, &gzip), (&text, &text));
            assert_eq!((sizes["a.js"].plain, sizes["a.js"].brotli), (text.len(), all["a.js.br"].len()));
            kept.tidy().unwrap();
        }
        // Nothing was asked for this time, so nothing stays.
        Kept::open(folder.0.clone()).unwrap().tidy().unwrap();
        assert_eq!(fs::read_dir(&folder.0).unwrap().count(), 0);
    }

    #[test]
    fn a_folder_holds_what_it_should_and_no_more() {
        let folder = Folder::new("folder");
        let files = |names: &[&str]| -> BTreeMap<String, Vec<u8>> {
            names.iter().map(|name| ((*name).to_owned(), name.as_bytes().to_vec())).collect()
        };
        write_folder(&folder.0, &files(&["a.js", "icons/b.png"])).unwrap();
        let before = fs::metadata(folder.0.join("a.js")).unwrap().modified().unwrap();
        write_folder(&folder.0, &files(&["a.js", "c/d.css"])).unwrap();
        assert_eq!(super::super::files_below(&folder.0).unwrap(), files(&["a.js", "c/d.css"]));
        assert_eq!(fs::metadata(folder.0.join("a.js")).unwrap().modified().unwrap(), before);
    }
}
