//! No lower floor knows a higher one.
//!
//! The map in `src/lib.rs` gives each top module its floor. This test reads
//! the sources as tokens, comments and strings cut out, and fails with file
//! and line when a module names one above it or beside it, climbs out by
//! `super`, or when a floor that must count samples only uses a clock, a
//! thread, a file or the terminal. Test code inside `src` is held to the same:
//! a test that needs a higher floor lives in `tests/`.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

use crate::support::rust_tokens::{Token, is, paths, rust_files, tokens};

/// From this floor on, clocks, threads, files and the terminal are allowed.
const FIRST_WITH_THE_WORLD: u32 = 5;

/// Names of the world that a lower floor may not use at all.
const CLOCKS: [&str; 2] = ["Instant", "SystemTime"];
/// Modules of `std` that it may not reach into.
const WORLDLY_MODULES: [&str; 5] = ["thread", "fs", "net", "process", "env"];
/// Macros that write to the terminal.
const TALKING_MACROS: [&str; 5] = ["println", "eprintln", "print", "eprint", "dbg"];

type Floors = BTreeMap<String, u32>;

#[test]
fn no_floor_knows_a_higher_one() {
    let source = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let map = fs::read_to_string(source.join("lib.rs")).unwrap();
    let floors = floors_of(&map);
    let mut files = Vec::new();
    rust_files(&source, &mut files);
    let mut breaches = Vec::new();
    let mut checked = 0;
    for path in &files {
        let file = path.strip_prefix(&source).unwrap();
        // The map itself, and the program's first line above all floors.
        if file == Path::new("lib.rs") || file == Path::new("main.rs") {
            continue;
        }
        let text = fs::read_to_string(path).unwrap();
        breaches.extend(check(&floors, file, &text));
        checked += 1;
    }
    assert!(checked >= floors.len(), "only {checked} files were found");
    assert!(breaches.is_empty(), "\n{}", breaches.join("\n"));
}

#[test]
fn the_map_names_every_module_and_no_other() {
    let source = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let map = fs::read_to_string(source.join("lib.rs")).unwrap();
    let mapped: Vec<String> = floors_of(&map).into_keys().collect();
    let tokens = tokens(&map);
    let mut declared: Vec<String> = tokens
        .windows(3)
        .filter(|t| t[0].text == "mod" && t[2].text == ";")
        .map(|t| t[1].text.clone())
        .collect();
    declared.sort();
    assert!(declared.len() >= 10, "{declared:?}");
    assert_eq!(mapped, declared);
}

/// The rows `| number | [`module`] | …` of the map.
fn floors_of(map: &str) -> Floors {
    map.lines()
        .filter_map(|line| {
            let mut cells = line.strip_prefix("//! |")?.split('|').map(str::trim);
            let floor = cells.next()?.parse().ok()?;
            let name = cells.next()?.strip_prefix("[`")?.strip_suffix("`]")?;
            Some((name.to_owned(), floor))
        })
        .collect()
}

/// All breaches in a file, whose path is relative to `src`.
fn check(floors: &Floors, file: &Path, text: &str) -> Vec<String> {
    let module = file
        .components()
        .next()
        .and_then(|first| Path::new(first.as_os_str()).file_stem()?.to_str())
        .expect("a source file has a name in plain letters");
    let at_top = file.components().count() == 1
        || (file.components().count() == 2 && file.ends_with("mod.rs"));
    let tokens = tokens(text);
    let mut found: Vec<(usize, String)> = Vec::new();
    let Some(&floor) = floors.get(module) else {
        found.push((1, format!("`{module}` has no floor in the map")));
        return breaches(file, found);
    };
    named_floors(floors, module, floor, &tokens, &mut found);
    climbing(&tokens, at_top, &mut found);
    if floor < FIRST_WITH_THE_WORLD {
        worldly(floor, &tokens, &mut found);
    }
    found.sort();
    breaches(file, found)
}

fn breaches(file: &Path, found: Vec<(usize, String)>) -> Vec<String> {
    let file = Path::new("src").join(file).display().to_string();
    let told = |(line, what)| format!("{file}:{line}: {what}");
    found.into_iter().map(told).collect()
}

/// Everything reached by `crate::`, inline or in a group.
fn named_floors(
    floors: &Floors,
    module: &str,
    floor: u32,
    tokens: &[Token],
    found: &mut Vec<(usize, String)>,
) {
    for (at, token) in tokens.iter().enumerate() {
        if token.text != "crate" || is(tokens, at + 1, ")") {
            continue;
        }
        for name in names_under(tokens, at) {
            let what = match floors.get(&name.text) {
                None => format!("`crate::{}` has no floor in the map", name.text),
                Some(&named) if named > floor => format!(
                    "`{module}` (floor {floor}) names `{}` above it (floor {named})",
                    name.text
                ),
                Some(&named) if named == floor && name.text != module => {
                    format!("`{module}` (floor {floor}) names `{}` beside it", name.text)
                }
                Some(_) => continue,
            };
            found.push((name.line, what));
        }
    }
}

/// `super::super`, and `super` that reaches the root of the crate, where it
/// would get round the check above.
fn climbing(tokens: &[Token], at_top: bool, found: &mut Vec<(usize, String)>) {
    // Depths of braces at which an inline module was opened.
    let mut inside = Vec::new();
    let mut depth = 0_usize;
    for (at, token) in tokens.iter().enumerate() {
        match token.text.as_str() {
            "{" => {
                if at >= 2 && tokens[at - 2].text == "mod" {
                    inside.push(depth);
                }
                depth += 1;
            }
            "}" => {
                depth = depth.saturating_sub(1);
                if inside.last() == Some(&depth) {
                    inside.pop();
                }
            }
            "super" => {
                // `pub(super)` names nothing.
                if is(tokens, at + 1, ")") {
                    continue;
                }
                if names_under(tokens, at)
                    .iter()
                    .any(|name| name.text == "super")
                {
                    found.push((token.line, "`super::super` climbs two floors".into()));
                } else if at_top && inside.is_empty() {
                    let what = "`super` is the root here: say `crate::NAME`";
                    found.push((token.line, what.into()));
                }
            }
            _ => {}
        }
    }
}

fn worldly(floor: u32, tokens: &[Token], found: &mut Vec<(usize, String)>) {
    let mut ban = |line: usize, name: &str| {
        found.push((
            line,
            format!("`{name}` on floor {floor}, which counts samples only"),
        ));
    };
    for (at, token) in tokens.iter().enumerate() {
        let name = token.text.as_str();
        let after_path = at > 0 && is(tokens, at - 1, "::");
        if CLOCKS.contains(&name)
            || (TALKING_MACROS.contains(&name) && is(tokens, at + 1, "!"))
            || (WORLDLY_MODULES.contains(&name) && is(tokens, at + 1, "::") && !after_path)
        {
            ban(token.line, name);
        }
        if name == "std" {
            for name in names_under(tokens, at) {
                if WORLDLY_MODULES.contains(&name.text.as_str()) {
                    ban(name.line, &name.text);
                }
            }
        }
    }
}

/// The first names of the paths under a root; the root itself where none
/// follows (it is renamed, say), so that the caller sees it.
fn names_under(tokens: &[Token], root: usize) -> Vec<Token> {
    let mut names: Vec<Token> = paths(tokens, root)
        .iter()
        .map(|path| path[0].clone())
        .collect();
    names.dedup();
    if names.is_empty() {
        names.push(tokens[root].clone());
    }
    names
}

/// What the checker says of a planted text.
fn planted(file: &str, text: &str) -> Vec<String> {
    let floors = Floors::from([
        ("units".into(), 0),
        ("signal".into(), 1),
        ("readings".into(), 2),
        ("references".into(), 3),
        ("machine".into(), 3),
        ("records".into(), 5),
        ("audio".into(), 7),
    ]);
    check(&floors, Path::new(file), text)
}

#[test]
fn the_checker_finds_what_is_planted() {
    for planted_row in [
        "signal/a.rs:2 | above it (floor 7) | \nuse crate::audio::ring;",
        "signal/a.rs:2 | above it | use crate::{units::Hertz,\n readings};",
        "signal/a.rs:3 | `audio` | use crate::{\n    units::{A, b},\n    audio::{x, y},\n};",
        "units.rs:1 | above it | fn f() { crate :: signal :: g() }",
        "machine/a.rs:1 | beside it | use crate::references::Tone;",
        "audio/a.rs:1 | no floor | use crate::Shortcut;",
        "audio/a.rs:1 | no floor | use crate::*;",
        "audio/a.rs:1 | no floor | use crate as root;",
        "audio/a.rs:1 | no floor | use crate::{self as root};",
        "attic/a.rs:1 | no floor | ",
        "signal/b/a.rs:1 | climbs | use super::super::x;",
        "signal/b/a.rs:1 | climbs | use super::{y, super::x};",
        "signal/mod.rs:1 | root | use super::audio;",
        "units.rs:2 | root | mod tests { use super::*; }\nuse super::audio;",
        "signal/a.rs:1 | Instant | use std::time::Instant;",
        "signal/a.rs:1 | thread | fn f() { std::thread::yield_now() }",
        "signal/a.rs:1 | `fs` | use std::{fmt, fs};",
        "readings/a.rs:1 | `fs` | fn f() { fs::read(x) }",
        "references/a.rs:1 | println | #[cfg(test)] mod t { fn f() { println!() } }",
        "signal/a.rs:1 | audio | let s = \"\\\"\"; /* a /* b */ c */ use crate::audio;",
        "signal/a.rs:1 | audio | let c = ('\"', '\\'', 'a'); fn f<'a>() { crate::audio::g() }",
        "signal/a.rs:4 | audio | let s = r#\"\n\"x\n\"#;\nuse crate::audio;",
    ] {
        let mut parts = planted_row.splitn(3, " | ");
        let [place, says, text] = [(); 3].map(|()| parts.next().expect("three parts"));
        let found = planted(place.split(':').next().expect("a file"), text);
        assert_eq!(found.len(), 1, "{text}: {found:?}");
        let told = found[0].strip_prefix(&format!("src/{place}: "));
        assert!(
            told.is_some_and(|it| it.contains(says)),
            "{text}: {found:?}"
        );
    }
}

#[test]
fn the_checker_leaves_the_harmless_alone() {
    for harmless in [
        "audio/a.rs | use crate::{audio::ring, readings::{A, B}, units::Hertz};",
        "audio/a.rs | use std::{fs, thread, time::Instant}; fn f() { println!() }",
        "records/a.rs | use std::fs; fn f() { fs::read(x) }",
        "signal/a.rs | // crate::audio\n/// [`crate::audio`]\n/* crate::audio */",
        "signal/a.rs | const S: &str = \"crate::audio println! // \";",
        "signal/a.rs | pub(crate) fn f(fs: f64) -> f64 { 1.0 / fs }",
        "signal/b/a.rs | pub(super) use super::{x, y::z};",
        "signal/mod.rs | fn f() { if a { b } }\nmod tests { use super::*; fn g() {} }",
        "signal/a.rs | mod tests { use super::*; use crate::units; }",
    ] {
        let (file, text) = harmless.split_once(" | ").expect("two parts");
        assert_eq!(planted(file, text), [""; 0], "{text}");
    }
}
