//! Rust source as tokens, just far enough to see which names a file uses.

use std::fs;
use std::path::{Path, PathBuf};

/// A piece of source text and the line it stands on.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Token {
    pub text: String,
    pub line: usize,
}

/// Identifiers, `::` and single other characters, each with its line;
/// comments, strings and character literals left out.
pub fn tokens(text: &str) -> Vec<Token> {
    let chars: Vec<char> = text.chars().collect();
    let mut tokens = Vec::new();
    let mut line = 1;
    let mut at = 0;
    while at < chars.len() {
        let end = match (chars[at], chars.get(at + 1).copied()) {
            ('/', Some('/')) => end_of_line(&chars, at),
            ('/', Some('*')) => end_of_block_comment(&chars, at),
            ('"', _) => end_of_string(&chars, at),
            ('r', Some('"' | '#')) if starts_raw_string(&chars, at) => {
                end_of_raw_string(&chars, at)
            }
            ('\'', _) => end_of_quote(&chars, at),
            (c, _) if c.is_whitespace() => at + 1,
            (c, _) if c.is_alphanumeric() || c == '_' => {
                let end = end_of_word(&chars, at);
                push(&mut tokens, &chars[at..end], line);
                end
            }
            (':', Some(':')) => {
                push(&mut tokens, &chars[at..at + 2], line);
                at + 2
            }
            _ => {
                push(&mut tokens, &chars[at..=at], line);
                at + 1
            }
        };
        line += chars[at..end].iter().filter(|c| **c == '\n').count();
        at = end;
    }
    tokens
}

fn push(tokens: &mut Vec<Token>, chars: &[char], line: usize) {
    tokens.push(Token {
        text: chars.iter().collect(),
        line,
    });
}

/// A source, or those below a folder; what was built there is none.
pub fn rust_files(path: &Path, files: &mut Vec<PathBuf>) {
    if path.is_dir() && !path.ends_with("target") {
        for entry in fs::read_dir(path).expect("the sources can be listed") {
            rust_files(&entry.expect("an entry").path(), files);
        }
        files.sort();
    } else if path.extension().is_some_and(|it| it == "rs") {
        files.push(path.to_owned());
    }
}

/// One past the first place from `at` where `found` holds, or the end.
fn after(chars: &[char], at: usize, found: impl Fn(usize) -> bool) -> usize {
    (at..chars.len())
        .find(|&i| found(i))
        .map_or(chars.len(), |i| i + 1)
}

fn end_of_line(chars: &[char], at: usize) -> usize {
    after(chars, at, |i| chars[i] == '\n')
}

fn end_of_word(chars: &[char], at: usize) -> usize {
    (at..chars.len())
        .find(|&i| !(chars[i].is_alphanumeric() || chars[i] == '_'))
        .unwrap_or(chars.len())
}

/// Block comments nest.
fn end_of_block_comment(chars: &[char], start: usize) -> usize {
    let mut depth = 0;
    let mut at = start;
    while at < chars.len() {
        match (chars[at], chars.get(at + 1)) {
            ('/', Some('*')) => {
                depth += 1;
                at += 2;
            }
            ('*', Some('/')) => {
                depth -= 1;
                at += 2;
                if depth == 0 {
                    return at;
                }
            }
            _ => at += 1,
        }
    }
    at
}

fn end_of_string(chars: &[char], start: usize) -> usize {
    let mut at = start + 1;
    while at < chars.len() {
        match chars[at] {
            '\\' => at += 2,
            '"' => return at + 1,
            _ => at += 1,
        }
    }
    chars.len()
}

fn hashes(chars: &[char], at: usize) -> usize {
    chars[at..].iter().take_while(|c| **c == '#').count()
}

fn starts_raw_string(chars: &[char], at: usize) -> bool {
    chars.get(at + 1 + hashes(chars, at + 1)) == Some(&'"')
}

fn end_of_raw_string(chars: &[char], start: usize) -> usize {
    let fence = hashes(chars, start + 1);
    let open = start + 2 + fence;
    after(chars, open, |i| {
        chars[i] == '"' && hashes(chars, i + 1) >= fence
    }) + fence
}

/// A character literal, or the mark of a lifetime or label.
fn end_of_quote(chars: &[char], at: usize) -> usize {
    match (chars.get(at + 1), chars.get(at + 2)) {
        (Some('\\'), _) => after(chars, at + 3, |i| chars[i] == '\''),
        (Some(_), Some('\'')) => at + 3,
        _ => at + 1,
    }
}

pub fn is(tokens: &[Token], at: usize, text: &str) -> bool {
    tokens.get(at).is_some_and(|token| token.text == text)
}

/// Every path that is written after a root token, groups taken apart; none
/// where no path follows.
pub fn paths(tokens: &[Token], root: usize) -> Vec<Vec<Token>> {
    // A name and whatever follows it.
    let from = |at: usize| {
        let Some(name) = tokens.get(at) else {
            return Vec::new();
        };
        let mut further = paths(tokens, at);
        if further.is_empty() {
            further.push(Vec::new());
        }
        let joined = |rest: Vec<Token>| [vec![name.clone()], rest].concat();
        further.into_iter().map(joined).collect()
    };
    if !is(tokens, root + 1, "::") {
        return Vec::new();
    }
    if !is(tokens, root + 2, "{") {
        return from(root + 2);
    }
    let (mut all, mut depth, mut fresh) = (Vec::new(), 0, false);
    for (at, token) in tokens.iter().enumerate().skip(root + 2) {
        match token.text.as_str() {
            "{" => (depth, fresh) = (depth + 1, true),
            "}" => depth -= 1,
            "," => fresh = true,
            // One that leads is no name.
            "::" if fresh => {}
            _ if fresh && depth == 1 => {
                fresh = false;
                all.extend(from(at));
            }
            _ => {}
        }
        if depth == 0 {
            break;
        }
    }
    all
}
