//! A folder on a disk.

use std::fs::{self, File};
use std::io::{self, Read as _, Write as _};
use std::path::{Path, PathBuf};

use crate::files::{BadPath, Files, MOST, is_inside};
use crate::read::{FOLDERS, ROOT};

/// What keeps a folder from being read or written.
#[derive(Debug, thiserror::Error)]
pub enum DiskError {
    /// There is no such folder, or it is none.
    #[error("{} is not a folder; name the folder that holds kitchen.toml", .0.display())]
    NotAFolder(PathBuf),
    /// A link would lead out of the folder.
    #[error("{} is a symbolic link, and what a kitchen folder holds must be in it; put the file itself there", .0.display())]
    Link(PathBuf),
    /// A name that is no text.
    #[error("{} has a name that is no plain text; name the file with letters, digits and hyphens", .0.display())]
    Name(PathBuf),
    /// A file stands where a folder must be, or the other way round.
    #[error("{} is in the way; a kitchen folder has {want} there", path.display())]
    InTheWay {
        /// Where.
        path: PathBuf,
        /// What should be there.
        want: &'static str,
    },
    /// A path that leaves the folder.
    #[error(transparent)]
    Path(#[from] BadPath),
    /// The disk says no.
    #[error("{}: {source}", path.display())]
    Io {
        /// The file or folder.
        path: PathBuf,
        /// What the disk says.
        source: io::Error,
    },
}

fn io_error(path: &Path) -> impl FnOnce(io::Error) -> DiskError + '_ {
    |source| DiskError::Io { path: path.to_owned(), source }
}

/// Reads the files of a kitchen folder; what else is in it is not touched. Of a file that is too large only so much is
/// read that [`crate::read`] can say so.
///
/// # Errors
/// Where the folder or a file of it cannot be read, or is a symbolic link.
pub fn read_dir(folder: impl AsRef<Path>) -> Result<Files, DiskError> {
    let folder = folder.as_ref();
    if !folder.is_dir() {
        return Err(DiskError::NotAFolder(folder.to_owned()));
    }
    let mut files = Files::new();
    for (name, path) in entries(folder)? {
        if FOLDERS.contains(&name.as_str()) {
            read_folder(&name, &path, &mut files)?;
        } else if ROOT.contains(&name.as_str()) {
            files.insert(&name, read_file(&path)?)?;
        } else if !name.starts_with('.') && is_inside(&name) {
            // Its name is enough to tell a slip of the pen (price.csv) from what is none of our business.
            files.insert(&beside(&name, &path), Vec::new())?;
        }
    }
    Ok(files)
}

/// How something beside the kitchen's own files is known: a folder by a path in it.
fn beside(name: &str, path: &Path) -> String {
    if path.is_dir() { format!("{name}/-") } else { name.to_owned() }
}

fn entries(folder: &Path) -> Result<Vec<(String, PathBuf)>, DiskError> {
    let mut entries = Vec::new();
    for entry in fs::read_dir(folder).map_err(io_error(folder))? {
        let path = entry.map_err(io_error(folder))?.path();
        let Some(name) = path.file_name().and_then(|name| name.to_str()) else { return Err(DiskError::Name(path)) };
        entries.push((name.to_owned(), path));
    }
    entries.sort();
    Ok(entries)
}

fn read_folder(name: &str, path: &Path, files: &mut Files) -> Result<(), DiskError> {
    let kind = plain(path)?;
    if !kind.is_dir() {
        return Err(DiskError::InTheWay { path: path.to_owned(), want: "a folder" });
    }
    for (file, path) in entries(path)? {
        if file.starts_with('.') {
            continue;
        }
        // A folder in here is told by its name, as a file that does not belong.
        let bytes = if plain(&path)?.is_dir() { Vec::new() } else { read_file(&path)? };
        files.insert(&format!("{name}/{file}"), bytes)?;
    }
    Ok(())
}

/// What a path is, where it is no link.
fn plain(path: &Path) -> Result<fs::FileType, DiskError> {
    let kind = fs::symlink_metadata(path).map_err(io_error(path))?.file_type();
    if kind.is_symlink() { Err(DiskError::Link(path.to_owned())) } else { Ok(kind) }
}

fn read_file(path: &Path) -> Result<Vec<u8>, DiskError> {
    if !plain(path)?.is_file() {
        return Err(DiskError::InTheWay { path: path.to_owned(), want: "a file" });
    }
    let file = File::open(path).map_err(io_error(path))?;
    let mut bytes = Vec::new();
    file.take(MOST as u64 + 1).read_to_end(&mut bytes).map_err(io_error(path))?;
    Ok(bytes)
}

/// Writes files into a folder, which is made where it is not there. Other files in it stay as they are.
///
/// Nothing is changed before all paths are known to stay in the folder, without following a link, and all files are on
/// the disk under names of their own; each then takes its place at once, so that no file is ever half written.
///
/// # Errors
/// Where a path leaves the folder or meets a link, or where the disk says no.
pub fn write_dir(folder: impl AsRef<Path>, files: &Files) -> Result<(), DiskError> {
    let folder = folder.as_ref();
    for (path, _) in files.iter() {
        check_target(folder, path)?;
    }
    for (path, _) in files.iter() {
        if let Some(parent) = folder.join(path).parent() {
            fs::create_dir_all(parent).map_err(io_error(parent))?;
        }
    }
    let mut staged = Staged(Vec::new());
    for (path, bytes) in files.iter() {
        staged.add(folder.join(path), bytes)?;
    }
    staged.put_in_place()
}

/// Refuses a path that leaves the folder, or that goes through a link or a file.
fn check_target(folder: &Path, path: &str) -> Result<(), DiskError> {
    if !is_inside(path) {
        return Err(BadPath(path.to_owned()).into());
    }
    let mut at = folder.to_owned();
    let parts: Vec<&str> = path.split('/').collect();
    for (depth, part) in parts.iter().enumerate() {
        at.push(part);
        let last = depth + 1 == parts.len();
        match fs::symlink_metadata(&at) {
            Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(()),
            Err(source) => return Err(DiskError::Io { path: at, source }),
            Ok(meta) if meta.is_symlink() => return Err(DiskError::Link(at)),
            Ok(meta) if last && !meta.is_file() => return Err(DiskError::InTheWay { path: at, want: "a file" }),
            Ok(meta) if !last && !meta.is_dir() => return Err(DiskError::InTheWay { path: at, want: "a folder" }),
            Ok(_) => {}
        }
    }
    Ok(())
}

/// Files that are on the disk but not in their places; taken away again where they never get there.
struct Staged(Vec<(PathBuf, PathBuf)>);

impl Staged {
    fn add(&mut self, target: PathBuf, bytes: &[u8]) -> Result<(), DiskError> {
        let name = target.file_name().and_then(|name| name.to_str()).unwrap_or_default();
        let beside = target.with_file_name(format!(".{name}.{}.new", std::process::id()));
        // Left over from a run that was killed: nobody else has our number.
        let _ = fs::remove_file(&beside);
        self.0.push((beside.clone(), target));
        let mut file = File::create_new(&beside).map_err(io_error(&beside))?;
        file.write_all(bytes).and_then(|()| file.sync_all()).map_err(io_error(&beside))
    }

    fn put_in_place(mut self) -> Result<(), DiskError> {
        while let Some((beside, target)) = self.0.pop() {
            if let Err(source) = fs::rename(&beside, &target) {
                self.0.push((beside, target.clone()));
                return Err(DiskError::Io { path: target, source });
            }
        }
        Ok(())
    }
}

impl Drop for Staged {
    fn drop(&mut self) {
        for (beside, _) in &self.0 {
            let _ = fs::remove_file(beside);
        }
    }
}
