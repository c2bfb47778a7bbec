//! Within a folder, files import each other in one direction only.
//!
//! A file and the folder of its name count as one; what a `mod.rs` hands on
//! counts as the file that it comes from, and what stands in it belongs to the
//! folder as a whole. Tests inside `src` are left out.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::Path;

use crate::support::rust_tokens::{Token, is, paths, tokens};

/// The way to a module, from the root of the crate.
type Way = Vec<String>;

/// The modules of the crate: each with its tokens.
type Modules = BTreeMap<Way, Vec<Token>>;

/// Who imports whom within one folder.
type Imports = BTreeMap<String, BTreeSet<String>>;

fn modules(folder: &Path, way: &Way, all: &mut Modules) {
    for entry in fs::read_dir(folder).expect("the sources can be listed") {
        let path = entry.expect("the sources can be listed").path();
        let stem = path.file_stem().and_then(|it| it.to_str()).expect("a name");
        let mut inner = way.clone();
        if path.is_dir() {
            inner.push(stem.to_owned());
            modules(&path, &inner, all);
        } else {
            if !matches!(stem, "mod" | "lib" | "main") {
                inner.push(stem.to_owned());
            }
            let text = fs::read_to_string(&path).expect("a source can be read");
            all.insert(inner, without_tests(tokens(&text)));
        }
    }
}

/// Up to the first `mod tests {`.
fn without_tests(mut all: Vec<Token>) -> Vec<Token> {
    let begins = ["mod", "tests", "{"];
    let begins = |at: usize| (0..3).all(|k| is(&all, at + k, begins[k]));
    let tests = (0..all.len()).find(|at| begins(*at));
    all.truncate(tests.unwrap_or(all.len()));
    all
}

/// Every way that is written after a root token.
fn ways_from(tokens: &[Token], root: usize) -> Vec<Way> {
    let text = |path: Vec<Token>| path.into_iter().map(|token| token.text).collect();
    paths(tokens, root).into_iter().map(text).collect()
}

/// All that a module names by `crate`, `super` or `self`, from the root.
fn named(module: &Way, tokens: &[Token]) -> Vec<Way> {
    let mut all = Vec::new();
    for (at, token) in tokens.iter().enumerate() {
        let follows = at > 0 && tokens[at - 1].text == "::";
        let from = match token.text.as_str() {
            _ if follows => continue,
            "crate" => Vec::new(),
            "super" => module[..module.len().saturating_sub(1)].to_vec(),
            "self" => module.clone(),
            _ => continue,
        };
        let absolute = |rest: Way| [from.clone(), rest].concat();
        all.extend(ways_from(tokens, at).into_iter().map(absolute));
    }
    all
}

/// The module that a way ends in: as deep as there are modules, and where one
/// hands the name on, from where it does.
fn resolved(all: &Modules, way: &[String]) -> Way {
    let mut module: Way = Vec::new();
    for name in way {
        let deeper = [module.clone(), vec![name.clone()]].concat();
        if all.contains_key(&deeper) {
            module = deeper;
        } else if let Some(from) = handed_on(all, &module, name) {
            return from;
        } else {
            break;
        }
    }
    module
}

/// Where the `pub use` of a module gets a name from.
fn handed_on(all: &Modules, module: &Way, name: &str) -> Option<Way> {
    let tokens = all.get(module)?;
    let uses = (1..tokens.len()).filter(|&at| {
        tokens[at].text == "use" && matches!(tokens[at - 1].text.as_str(), "pub" | ")")
    });
    for at in uses {
        // `pub use a::B` reads as a way from the word `use`.
        let mut line = vec![tokens[at].clone()];
        line.push(Token {
            text: "::".to_owned(),
            line: tokens[at].line,
        });
        let rest = tokens[at + 1..].iter();
        line.extend(rest.take_while(|it| it.text != ";").cloned());
        for way in ways_from(&line, 0) {
            if way.last().is_some_and(|last| last == name) {
                let skip = usize::from(way[0] == "self");
                let inner = [module.clone(), way[skip..way.len() - 1].to_vec()].concat();
                return all.contains_key(&inner).then_some(inner);
            }
        }
    }
    None
}

/// For each folder, who imports whom in it.
fn imports(all: &Modules) -> BTreeMap<Way, Imports> {
    let mut folders: BTreeMap<Way, Imports> = BTreeMap::new();
    for (module, tokens) in all {
        for way in named(module, tokens) {
            let target = resolved(all, &way);
            let alike = module.iter().zip(&target).take_while(|(a, b)| a == b);
            let common = alike.count();
            let (Some(here), Some(there)) = (module.get(common), target.get(common)) else {
                continue;
            };
            let folder = folders.entry(module[..common].to_vec()).or_default();
            folder
                .entry(here.clone())
                .or_default()
                .insert(there.clone());
        }
    }
    folders
}

/// What can be reached from itself.
fn circle(imports: &Imports) -> Option<String> {
    let reached = |from: &String| {
        let mut seen = BTreeSet::new();
        let mut waiting = vec![from];
        while let Some(next) = waiting.pop() {
            for further in imports.get(next).into_iter().flatten() {
                if seen.insert(further) {
                    waiting.push(further);
                }
            }
        }
        seen
    };
    let of_itself: Vec<&str> = imports
        .keys()
        .filter(|file| reached(file).contains(file))
        .map(String::as_str)
        .collect();
    (!of_itself.is_empty()).then(|| of_itself.join(", "))
}

fn circles(all: &Modules) -> Vec<String> {
    let of_folder = |(folder, imports): (Way, Imports)| {
        let files = circle(&imports)?;
        Some(format!("src/{}: {files}", folder.join("/")))
    };
    imports(all).into_iter().filter_map(of_folder).collect()
}

#[test]
fn no_folder_has_a_circle() {
    let mut all = Modules::new();
    let source = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    modules(&source, &Vec::new(), &mut all);
    let found: usize = imports(&all).values().map(BTreeMap::len).sum();
    assert!(all.len() > 200 && found > 150, "{} {found}", all.len());
    let circles = circles(&all);
    assert!(circles.is_empty(), "\n{}", circles.join("\n"));
}

#[test]
fn a_planted_circle_is_found_and_what_goes_one_way_is_not() {
    let way = |file: &str| -> Way {
        let parts = file.split('/').filter(|it| *it != "mod");
        parts.map(str::to_owned).collect()
    };
    let planted = |files: &str| {
        let files = files
            .split(" | ")
            .map(|it| it.split_once(": ").expect("a file"));
        let all = files.map(|(file, text)| (way(file), without_tests(tokens(text))));
        circles(&all.collect())
    };
    for (files, circle) in [
        (
            "x/mod:  | x/a: use super::b::B; | x/b: use super::c;",
            false,
        ),
        (
            "x/mod:  | x/a: use super::b::B; | x/b: use crate::x::{c, a::A};",
            true,
        ),
        // By what a folder hands on.
        (
            "x/mod: pub use self::a::A; | x/a: use super::b::B; | x/b: use super::A;",
            true,
        ),
        // A folder counts as one, and its tests not at all.
        (
            "x/mod:  | x/a/mod:  | x/a/c: use crate::x::b::B; | x/b: fn f() { crate::x::a::g() }",
            true,
        ),
        (
            "x/mod:  | x/a: use super::b::B; | x/b: mod tests { use crate::x::a::A; }",
            false,
        ),
        // What stands in the folder's own file belongs to all of it.
        (
            "x/mod: use self::a::A; struct X; | x/a: use super::X;",
            false,
        ),
    ] {
        let told = ["src/x: a, b"];
        assert_eq!(planted(files), told[..usize::from(circle)], "{files}");
    }
}
