//! Reading a folder from a disk and writing it to one.
#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used, reason = "a panic here is a failed check")]
#![cfg(unix)]

mod common;

use std::fs;
use std::os::unix::fs::symlink;
use std::path::PathBuf;

use common::{demo, folder};
use trug_folder::{DiskError, Files, read_dir, write_dir};

/// A folder of its own for one test, gone after it.
struct Scratch(PathBuf);

impl Scratch {
    fn new(name: &str) -> Self {
        let path = std::env::temp_dir().join(format!("trug-folder-{name}-{}", std::process::id()));
        let _ = fs::remove_dir_all(&path);
        fs::create_dir_all(&path).unwrap();
        Self(path)
    }
}

impl Drop for Scratch {
    fn drop(&mut self) {
        let _ = fs::remove_dir_all(&self.0);
    }
}

fn names(path: &std::path::Path) -> Vec<String> {
    let mut names: Vec<String> =
        fs::read_dir(path).unwrap().map(|entry| entry.unwrap().file_name().to_string_lossy().into_owned()).collect();
    names.sort();
    names
}

#[test]
fn what_is_written_is_read() {
    let scratch = Scratch::new("round");
    let files = demo();
    let kept: Vec<(&str, &[u8])> = files.iter().filter(|(path, _)| *path != "README.md").collect();
    let mut ours = Files::new();
    for (path, bytes) in &kept {
        ours.insert(path, bytes.to_vec()).unwrap();
    }
    write_dir(scratch.0.join("new/kitchen"), &ours).unwrap();
    assert_eq!(read_dir(scratch.0.join("new/kitchen")).unwrap(), ours);
}

#[test]
fn other_files_are_left_alone_and_hidden_ones_not_read() {
    let scratch = Scratch::new("others");
    fs::write(scratch.0.join("README.md"), "mine").unwrap();
    fs::create_dir(scratch.0.join(".git")).unwrap();
    fs::create_dir(scratch.0.join("dishes")).unwrap();
    fs::write(scratch.0.join("dishes/.DS_Store"), "x").unwrap();
    write_dir(&scratch.0, &folder(&[("kitchen.toml", "name = \"K\"")])).unwrap();
    write_dir(&scratch.0, &folder(&[("kitchen.toml", "name = \"L\"")])).unwrap();
    assert_eq!(names(&scratch.0), [".git", "README.md", "dishes", "kitchen.toml"]);
    let files = read_dir(&scratch.0).unwrap();
    assert_eq!(files.get("kitchen.toml"), Some(b"name = \"L\"".as_slice()));
    assert!(files.get("dishes/.DS_Store").is_none());
    assert_eq!(fs::read_to_string(scratch.0.join("README.md")).unwrap(), "mine");
}

#[test]
fn links_are_refused_and_nothing_is_written() {
    let scratch = Scratch::new("links");
    let (kitchen, outside) = (scratch.0.join("kitchen"), scratch.0.join("outside"));
    fs::create_dir(&kitchen).unwrap();
    fs::create_dir(&outside).unwrap();
    symlink(&outside, kitchen.join("dishes")).unwrap();
    let files = folder(&[("dishes/soup.md", "# Soup"), ("kitchen.toml", "name = \"K\"")]);
    let error = write_dir(&kitchen, &files).unwrap_err();
    assert!(matches!(error, DiskError::Link(_)), "{error}");
    assert!(error.to_string().contains("is a symbolic link, and what a kitchen folder holds must be in it"));
    assert_eq!((names(&kitchen), names(&outside)), (vec!["dishes".to_owned()], Vec::new()));
    assert!(matches!(read_dir(&kitchen), Err(DiskError::Link(_))));

    fs::remove_file(kitchen.join("dishes")).unwrap();
    fs::write(outside.join("secret.toml"), "name = \"S\"").unwrap();
    symlink(outside.join("secret.toml"), kitchen.join("kitchen.toml")).unwrap();
    assert!(matches!(read_dir(&kitchen), Err(DiskError::Link(_))));
    assert!(matches!(write_dir(&kitchen, &files), Err(DiskError::Link(_))));
    assert_eq!(fs::read_to_string(outside.join("secret.toml")).unwrap(), "name = \"S\"");
    assert_eq!(names(&kitchen), ["kitchen.toml"]);
}

#[test]
fn what_is_in_the_way_is_said_before_anything_is_written() {
    let scratch = Scratch::new("way");
    fs::write(scratch.0.join("stores"), "a file").unwrap();
    let files = folder(&[("dishes/soup.md", "# Soup"), ("stores/corner.toml", "name = \"C\"")]);
    assert!(matches!(write_dir(&scratch.0, &files), Err(DiskError::InTheWay { .. })));
    assert_eq!(names(&scratch.0), ["stores"]);
    assert!(matches!(read_dir(&scratch.0), Err(DiskError::InTheWay { .. })));
}

#[test]
fn a_folder_that_is_not_there() {
    let error = read_dir("/no/such/kitchen").unwrap_err();
    assert_eq!(error.to_string(), "/no/such/kitchen is not a folder; name the folder that holds kitchen.toml");
}
