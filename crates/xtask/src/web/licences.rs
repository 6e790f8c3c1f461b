//! Whose work the app carries, and under which licences: every crate that is compiled into it, with the words that
//! its licence wants to be passed on.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use super::WebError;

/// What `cargo metadata` says, as far as it is asked.
#[derive(Debug, Deserialize)]
pub(crate) struct Metadata {
    packages: Vec<Package>,
    resolve: Resolve,
    /// Where cargo builds.
    pub target_directory: PathBuf,
}

#[derive(Debug, Deserialize)]
struct Package {
    id: String,
    name: String,
    version: String,
    license: Option<String>,
    manifest_path: PathBuf,
    targets: Vec<Target>,
}

#[derive(Debug, Deserialize)]
struct Target {
    kind: Vec<String>,
}

#[derive(Debug, Deserialize)]
struct Resolve {
    nodes: Vec<Node>,
}

#[derive(Debug, Deserialize)]
struct Node {
    id: String,
    deps: Vec<Dependency>,
}

#[derive(Debug, Deserialize)]
struct Dependency {
    pkg: String,
    dep_kinds: Vec<DependencyKind>,
}

#[derive(Debug, Deserialize)]
struct DependencyKind {
    /// Nothing for what is linked; `dev` or `build` otherwise.
    kind: Option<String>,
}

/// One crate in the app.
#[derive(Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
struct Entry<'m> {
    name: &'m str,
    version: &'m str,
    licence: &'m str,
    /// Places in [`Licences::texts`].
    texts: Vec<usize>,
}

/// The file that the app shows.
#[derive(Debug, Serialize)]
struct Licences<'m> {
    crates: Vec<Entry<'m>>,
    /// Many crates have the very same text; each is here once.
    texts: Vec<String>,
}

/// The licences of everything that is compiled into a package, as JSON:
/// `{"crates": [{"name", "version", "licence", "texts": [place]}], "texts": [text]}`.
pub(crate) fn licences(metadata: &Metadata, package: &str) -> Result<Vec<u8>, WebError> {
    let (mut places, mut texts) = (BTreeMap::new(), Vec::new());
    let mut crates = Vec::new();
    for package in linked(metadata, package) {
        let licence = package.license.as_deref().unwrap_or("not recorded");
        let mut own = Vec::new();
        for text in texts_of(package.manifest_path.parent().unwrap_or(Path::new(".")), licence)? {
            own.push(*places.entry(text).or_insert_with_key(|text| {
                texts.push(text.clone());
                texts.len() - 1
            }));
        }
        crates.push(Entry { name: &package.name, version: &package.version, licence, texts: own });
    }
    crates.sort();
    serde_json::to_vec(&Licences { crates, texts }).map_err(WebError::Json)
}

/// Packages that a package is linked with, itself included; macros run while building and are not in the app.
fn linked<'m>(metadata: &'m Metadata, package: &str) -> Vec<&'m Package> {
    let packages: BTreeMap<&str, &Package> = metadata.packages.iter().map(|known| (known.id.as_str(), known)).collect();
    let nodes: BTreeMap<&str, &Node> = metadata.resolve.nodes.iter().map(|node| (node.id.as_str(), node)).collect();
    let root = metadata.packages.iter().find(|known| known.name == package).map(|known| known.id.as_str());
    let mut ahead: Vec<&str> = root.into_iter().collect();
    let mut met = BTreeSet::new();
    while let Some(id) = ahead.pop() {
        let is_macro = packages.get(id).is_none_or(|package| package.is_macro());
        if is_macro || !met.insert(id) {
            continue;
        }
        let deps = nodes.get(id).into_iter().flat_map(|node| &node.deps);
        ahead.extend(deps.filter(|dep| dep.is_linked()).map(|dep| dep.pkg.as_str()));
    }
    met.into_iter().filter_map(|id| packages.get(id).copied()).collect()
}

impl Package {
    fn is_macro(&self) -> bool {
        self.targets.iter().any(|target| target.kind.iter().any(|kind| kind == "proc-macro"))
    }
}

impl Dependency {
    fn is_linked(&self) -> bool {
        self.dep_kinds.iter().any(|kind| kind.kind.is_none())
    }
}

/// The licence files of a package, and what it wants to be noticed. Where there is a choice that includes MIT, MIT is
/// what we take, and the other texts stay behind.
fn texts_of(folder: &Path, licence: &str) -> Result<Vec<String>, WebError> {
    let entries = fs::read_dir(folder).map_err(|source| WebError::read(folder, source))?;
    let mut files: Vec<(String, PathBuf)> = entries
        .flatten()
        .map(|entry| (entry.file_name().to_string_lossy().to_uppercase(), entry.path()))
        .filter(|(name, path)| is_licence(name) && path.is_file())
        .collect();
    files.sort();
    let choice = !licence.contains(" AND ") && files.iter().any(|(name, _)| name.contains("MIT"));
    files.retain(|(name, _)| !choice || name.contains("MIT") || name.starts_with("NOTICE"));
    let text = |(_, path): (String, PathBuf)| {
        let text = super::read(&path)?;
        Ok(String::from_utf8_lossy(&text).replace("\r\n", "\n").trim().to_owned())
    };
    files.into_iter().map(text).collect()
}

fn is_licence(name: &str) -> bool {
    ["LICENSE", "LICENCE", "COPYING", "COPYRIGHT", "NOTICE", "UNLICENSE"].iter().any(|word| name.starts_with(word))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_linked_is_named_and_what_only_builds_is_not() {
        let package = |name: &str, kind: &str| {
            format!(
                r#"{{"id": "{name} 1", "name": "{name}", "version": "1.0.0", "license": "MIT OR Apache-2.0",
                "manifest_path": "/nowhere/Cargo.toml", "targets": [{{"kind": ["{kind}"]}}]}}"#
            )
        };
        let packages = ["app", "linked", "deep", "test", "tool", "macro", "inside-macro", "other"]
            .map(|name| package(name, if name == "macro" { "proc-macro" } else { "lib" }))
            .join(",");
        let text = format!(
            r#"{{"packages": [{packages}], "target_directory": "/t", "resolve": {{"nodes": [
            {{"id": "app 1", "deps": [
                {{"pkg": "linked 1", "dep_kinds": [{{"kind": "dev"}}, {{"kind": null}}]}},
                {{"pkg": "test 1", "dep_kinds": [{{"kind": "dev"}}]}},
                {{"pkg": "tool 1", "dep_kinds": [{{"kind": "build"}}]}},
                {{"pkg": "macro 1", "dep_kinds": [{{"kind": null}}]}}]}},
            {{"id": "linked 1", "deps": [{{"pkg": "deep 1", "dep_kinds": [{{"kind": null}}]}}]}},
            {{"id": "deep 1", "deps": [{{"pkg": "app 1", "dep_kinds": [{{"kind": null}}]}}]}},
            {{"id": "macro 1", "deps": [{{"pkg": "inside-macro 1", "dep_kinds": [{{"kind": null}}]}}]}}]}}}}"#
        );
        let metadata: Metadata = serde_json::from_str(&text).unwrap();
        let names: Vec<&str> = linked(&metadata, "app").into_iter().map(|package| package.name.as_str()).collect();
        assert_eq!(names, ["app", "deep", "linked"]);
    }
}
