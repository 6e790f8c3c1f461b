//! Files in a zip file, and out of one: the kitchen folder, and backups.
//!
//! A zip file comes from anywhere. What is unpacked is bounded by what it comes to, not by what it says of itself, and
//! its paths go through the folder's own gate.

use std::io::{Read, Write};

use flate2::Compression;
use flate2::bufread::DeflateDecoder;
use flate2::write::DeflateEncoder;
use rawzip::{CompressionMethod, ZipArchive, ZipArchiveWriter, ZipFileHeaderRecord, ZipSliceArchive};
use thiserror::Error;
use trug_folder::Files;

/// The largest zip file that is read, in bytes.
pub(super) const LARGEST: u64 = 32 << 20;
/// The most that it may come to when it is unpacked, in bytes: a kitchen of a thousand dishes is some MiB.
const MOST_BYTES: u64 = 64 << 20;
/// The most files in it.
const MOST_FILES: usize = 20_000;
/// The file that a kitchen folder has at its top.
const HEAD: &str = "kitchen.toml";

/// Why a zip file is of no use.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub(super) enum ArchiveError {
    /// It is no zip file, or is cut off.
    #[error("this is no zip file, or it is damaged: {0}")]
    Damaged(String),
    /// One of the files in it cannot be unpacked.
    #[error("{path}: cannot be unpacked ({why}); save the zip file again")]
    File {
        /// Which.
        path: String,
        /// Why.
        why: String,
    },
    /// It comes to more than a kitchen would.
    #[error("this zip file unpacks to more than {} MiB or {MOST_FILES} files: it is no kitchen folder", MOST_BYTES >> 20)]
    TooMuch,
    /// There is no kitchen in it.
    #[error("there is no {HEAD} in this zip file: it is no kitchen folder")]
    NoKitchen,
    /// It could not be made.
    #[error("the zip file cannot be made: {0}")]
    Unmade(String),
}

fn damaged(error: rawzip::Error) -> ArchiveError {
    ArchiveError::Damaged(error.to_string())
}

/// Packs files.
///
/// # Errors
/// [`ArchiveError::Unmade`].
pub(super) fn pack<'f>(files: impl IntoIterator<Item = (&'f str, &'f [u8])>) -> Result<Vec<u8>, ArchiveError> {
    let mut zip = Vec::new();
    let mut archive = ZipArchiveWriter::new(&mut zip);
    for (path, bytes) in files {
        add(&mut archive, path, bytes).map_err(|error| ArchiveError::Unmade(error.to_string()))?;
    }
    archive.finish().map_err(|error| ArchiveError::Unmade(error.to_string()))?;
    Ok(zip)
}

fn add(
    archive: &mut ZipArchiveWriter<&mut Vec<u8>>,
    path: &str,
    bytes: &[u8],
) -> Result<(), Box<dyn std::error::Error>> {
    let (mut entry, config) = archive.new_file(path).compression_method(CompressionMethod::DEFLATE).start()?;
    let mut writer = config.wrap(DeflateEncoder::new(&mut entry, Compression::default()));
    writer.write_all(bytes)?;
    let (encoder, descriptor) = writer.finish()?;
    encoder.finish()?;
    entry.finish(descriptor)?;
    Ok(())
}

/// Whether these bytes begin as a zip file does.
pub(super) fn is_zip(bytes: &[u8]) -> bool {
    bytes.starts_with(b"PK\x03\x04")
}

/// All files of a zip file by their paths, without folders, and without what file managers leave in it.
///
/// # Errors
/// [`ArchiveError`].
pub(super) fn unpack(zip: &[u8]) -> Result<Vec<(String, Vec<u8>)>, ArchiveError> {
    let archive = ZipArchive::from_slice(zip).map_err(damaged)?;
    let mut entries = archive.entries();
    let (mut found, mut room) = (Vec::new(), MOST_BYTES);
    while let Some(entry) = entries.next_entry().map_err(damaged)? {
        let path = entry.file_path().try_normalize().map_err(damaged)?.as_ref().to_owned();
        if entry.is_dir() || is_litter(&path) {
            continue;
        }
        let bytes = content(&archive, &entry, room).map_err(|why| match why {
            Some(why) => ArchiveError::File { path: path.clone(), why },
            None => ArchiveError::TooMuch,
        })?;
        room -= len(&bytes);
        found.push((path, bytes));
        if found.len() > MOST_FILES {
            return Err(ArchiveError::TooMuch);
        }
    }
    Ok(found)
}

/// The bytes of one file; no error text where they are more than `room`.
fn content(
    archive: &ZipSliceArchive<&[u8]>,
    entry: &ZipFileHeaderRecord,
    room: u64,
) -> Result<Vec<u8>, Option<String>> {
    let local = archive.get_entry(entry.wayfinder()).map_err(|error| Some(error.to_string()))?;
    let mut bytes = Vec::new();
    let limit = room.saturating_add(1);
    let read = match entry.compression_method() {
        CompressionMethod::STORE => local.verifying_reader(local.data()).take(limit).read_to_end(&mut bytes),
        CompressionMethod::DEFLATE => {
            local.verifying_reader(DeflateDecoder::new(local.data())).take(limit).read_to_end(&mut bytes)
        }
        _ => return Err(Some("it is packed in a way other than the usual one, or has a password".to_owned())),
    };
    if len(&bytes) > room {
        return Err(None);
    }
    read.map_err(|error| Some(error.to_string()))?;
    Ok(bytes)
}

fn len(bytes: &[u8]) -> u64 {
    u64::try_from(bytes.len()).unwrap_or(u64::MAX)
}

/// What file managers leave behind.
fn is_litter(path: &str) -> bool {
    path.split('/')
        .any(|part| part.starts_with('.') || part == "__MACOSX" || part == "Thumbs.db" || part == "desktop.ini")
}

/// The kitchen folder in a zip file, whether its files stand at the top or in one folder there.
///
/// # Errors
/// [`ArchiveError`].
pub(super) fn folder_in(zip: &[u8]) -> Result<Files, ArchiveError> {
    let found = unpack(zip)?;
    let heads = found.iter().filter_map(|(path, _)| path.strip_suffix(HEAD));
    let heads = heads.filter(|top| top.is_empty() || top.ends_with('/'));
    let top = heads.min_by_key(|top| top.len()).ok_or(ArchiveError::NoKitchen)?.to_owned();
    let mut files = Files::new();
    for (path, bytes) in found {
        let Some(inner) = path.strip_prefix(&top) else { continue };
        let why = |error: trug_folder::BadPath| ArchiveError::File { path: path.clone(), why: error.to_string() };
        files.insert(inner, bytes).map_err(why)?;
    }
    Ok(files)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn packed(files: &[(&str, &str)]) -> Vec<u8> {
        pack(files.iter().map(|(path, text)| (*path, text.as_bytes()))).unwrap()
    }

    #[test]
    fn a_folder_comes_back_as_it_went() {
        let files = [("kitchen.toml", "name = \"K\"\n"), ("dishes/ají.md", "# Ají\n"), ("prices.csv", "")];
        let zip = packed(&files);
        assert!(is_zip(&zip));
        let back = folder_in(&zip).unwrap();
        for (path, text) in files {
            assert_eq!(back.get(path), Some(text.as_bytes()), "{path}");
        }
    }

    #[test]
    fn a_folder_may_stand_in_a_folder_with_litter_around() {
        let zip = packed(&[
            ("Kitchen 3/kitchen.toml", "x"),
            ("Kitchen 3/old/kitchen.toml", "y"),
            ("Kitchen 3/dishes/a.md", "z"),
            ("Kitchen 3/.DS_Store", "?"),
            ("__MACOSX/Kitchen 3/._kitchen.toml", "?"),
            ("elsewhere.txt", "?"),
        ]);
        let back = folder_in(&zip).unwrap();
        let paths: Vec<&str> = back.iter().map(|(path, _)| path).collect();
        assert_eq!(paths, ["dishes/a.md", "kitchen.toml", "old/kitchen.toml"]);
    }

    #[test]
    fn what_is_no_kitchen_is_refused() {
        assert_eq!(folder_in(&packed(&[("a.txt", "x")])).unwrap_err(), ArchiveError::NoKitchen);
        assert_eq!(folder_in(&packed(&[("notkitchen.toml", "x")])).unwrap_err(), ArchiveError::NoKitchen);
        assert!(matches!(folder_in(b"not a zip file at all").unwrap_err(), ArchiveError::Damaged(_)));
        assert!(matches!(folder_in(b"").unwrap_err(), ArchiveError::Damaged(_)));
    }

    #[test]
    fn a_zip_file_cut_off_or_spoiled_anywhere_is_refused_and_never_trips() {
        let zip = packed(&[("kitchen.toml", "name = \"K\"\n"), ("dishes/a.md", "# A\n\n- 1 lb onions\n")]);
        for end in 0..zip.len() {
            assert!(folder_in(&zip[..end]).is_err(), "cut at {end}");
        }
        for at in 0..zip.len() {
            let mut spoiled = zip.clone();
            spoiled[at] ^= 0x55;
            // Some bytes (times, versions) say nothing about the content; none may panic.
            let _ = folder_in(&spoiled);
        }
    }

    #[test]
    fn what_unpacks_to_too_much_is_given_up() {
        let large = vec![0_u8; usize::try_from(MOST_BYTES).unwrap() / 2 + 1];
        let zip = pack([("a", large.as_slice()), ("b", large.as_slice())]).unwrap();
        assert!(zip.len() < 1 << 20);
        assert_eq!(unpack(&zip).unwrap_err(), ArchiveError::TooMuch);
    }
}
