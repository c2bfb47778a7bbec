//! What the program is built of: every dependency has its reason, none asks for
//! a newer Rust than is stated, and no unsafe code is our own.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::Path;
use std::process::Command;

use serde_json::Value;

use crate::support::rust_tokens::{rust_files, tokens};

/// The one file that may: it has an allocator of its own, to prove that the
/// callbacks never allocate.
const WITH_UNSAFE: [&str; 1] = ["tests/callback_never_allocates.rs"];

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// What cargo says of this package and all that it is built and tested with, on
/// every system; what other systems need it may have to fetch first.
fn metadata() -> Value {
    let told = Command::new(env!("CARGO"))
        .args(["metadata", "--format-version=1", "--locked"])
        .current_dir(root())
        .output()
        .expect("cargo runs");
    let error = String::from_utf8_lossy(&told.stderr);
    assert!(told.status.success(), "cargo metadata: {error}");
    serde_json::from_slice(&told.stdout).expect("JSON")
}

fn texts<'a>(list: &'a Value, key: &str) -> BTreeSet<&'a str> {
    let list = list.as_array().expect("a list");
    list.iter().filter_map(|it| it[key].as_str()).collect()
}

fn packages(metadata: &Value) -> &[Value] {
    metadata["packages"].as_array().expect("a list")
}

fn own(metadata: &Value) -> &Value {
    let mut all = packages(metadata).iter();
    all.find(|it| it["name"] == "tapewright").expect("our own")
}

/// `1.89` or `1.89.0` as numbers.
fn version(text: &str) -> Vec<u32> {
    let parts = text.split('.').chain(["0", "0"]).take(3);
    parts.map(|it| it.parse().expect("a number")).collect()
}

#[test]
fn every_dependency_stands_with_its_reason_and_no_other() {
    let text = fs::read_to_string(root().join("DEVELOPERS.md")).expect("it is there");
    let table = text.split_once("\n## Dependencies\n").expect("a head").1;
    let table = table.split_once("\n## ").map_or(table, |it| it.0);
    let rows = table.lines().filter_map(|line| {
        let (names, reason) = line.strip_prefix("| `")?.split_once("` | ")?;
        Some((names, reason.trim_end_matches('|').trim()))
    });
    let mut told = BTreeSet::new();
    for (names, reason) in rows {
        assert!(reason.len() > 10, "{names}: \"{reason}\" is no reason");
        for name in names.split("`, `") {
            assert!(told.insert(name), "{name} stands twice");
        }
    }
    let metadata = metadata();
    assert_eq!(told, texts(&own(&metadata)["dependencies"], "name"));
}

#[test]
fn nothing_needs_a_newer_rust_than_is_stated() {
    let metadata = metadata();
    let stated = own(&metadata)["rust_version"].as_str().expect("stated");
    // Of one name there may be two versions.
    let needs: BTreeMap<[&str; 2], &str> = packages(&metadata)
        .iter()
        .filter_map(|it| {
            let named = [it["name"].as_str()?, it["version"].as_str()?];
            Some((named, it["rust_version"].as_str()?))
        })
        .collect();
    assert!(needs.len() > 200, "only {} say what they need", needs.len());
    let newer: Vec<_> = needs
        .iter()
        .filter(|(_, needed)| version(needed) > version(stated))
        .collect();
    assert!(newer.is_empty(), "newer than {stated}: {newer:?}");
    // Nor is more asked for than is needed.
    let most = needs
        .iter()
        .filter(|([name, _], _)| *name != "tapewright")
        .map(|(_, needed)| version(needed))
        .max();
    assert_eq!(most, Some(version(stated)), "what is stated can be older");
}

#[test]
fn no_unsafe_code_is_our_own() {
    let mut files = Vec::new();
    for folder in ["src", "tests"] {
        rust_files(&root().join(folder), &mut files);
    }
    assert!(files.len() > 400, "only {} files", files.len());
    let with_unsafe: Vec<String> = files
        .iter()
        .filter(|path| {
            let text = fs::read_to_string(path).expect("it is there");
            tokens(&text).iter().any(|it| it.text == "unsafe")
        })
        .map(|path| {
            let path = path.strip_prefix(root()).expect("below");
            path.display().to_string()
        })
        .collect();
    assert_eq!(with_unsafe, WITH_UNSAFE);
    let map = fs::read_to_string(root().join("src/lib.rs")).expect("it is there");
    assert!(map.contains("#![forbid(unsafe_code)]"));
}
