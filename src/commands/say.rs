//! All that a command writes to the shell passes here. Names of files, words on
//! cards and in records come from anywhere, and no control character of theirs
//! reaches the terminal.

use std::borrow::Cow;
use std::fmt::Write as _;
use std::io::{self, Write};

use super::{Exit, Failure};
use crate::report;
use crate::screen::{Look, terminal};

/// Whether somebody took what was written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Written {
    Whole,
    /// Whoever read standard output has seen enough, which is no failure.
    NobodyReads,
}

/// Writes lines to standard output at once.
pub(super) fn write_out(text: &str) -> Result<Written, Failure> {
    let mut out = io::stdout().lock();
    let text = harmless(text, '\n');
    match out.write_all(text.as_bytes()).and_then(|()| out.flush()) {
        Ok(()) => Ok(Written::Whole),
        Err(error) if error.kind() == io::ErrorKind::BrokenPipe => Ok(Written::NobodyReads),
        Err(error) => Err(Failure::new(
            Exit::File,
            format!("cannot write the results: {error}; make room or send them elsewhere"),
        )),
    }
}

/// The same of text for people, in what their locale can show.
pub(super) fn write_words(text: &str) -> Result<Written, Failure> {
    write_out(&in_locale(text))
}

/// Where nobody has named a locale it is a pipe's or a test's, not that of a
/// plain terminal.
fn in_locale(text: &str) -> Cow<'_, str> {
    let variable = |name: &str| std::env::var(name).ok().filter(|value| !value.is_empty());
    let is_named = ["LC_ALL", "LC_CTYPE", "LANG"]
        .into_iter()
        .any(|name| variable(name).is_some());
    if is_named && !Look::new(false, variable).unicode {
        Cow::Owned(report::ascii(text))
    } else {
        Cow::Borrowed(text)
    }
}

/// One sentence on standard error.
pub(super) fn complain(sentence: &str) {
    aside(&complaint(sentence));
}

/// The line that it becomes.
fn complaint(sentence: &str) -> String {
    format!("tapewright: {sentence}\n")
}

/// Several where the terminal may take nothing any more, which is not waited
/// for.
pub(super) fn complain_at_once(sentences: &[String]) {
    let text: String = sentences.iter().map(|it| complaint(it)).collect();
    if !text.is_empty() {
        terminal::tell_at_once(harmless(&in_locale(&text), '\n').into_owned());
    }
}

/// Lines on standard error; where that is closed or full, nobody listens.
pub(super) fn aside(text: &str) {
    let text = in_locale(text);
    let _ = io::stderr().write_all(harmless(&text, '\n').as_bytes());
}

/// A line on standard error that is written over the one before.
pub(super) fn over_and_over(line: &str) {
    let line = harmless(line, ' ');
    let _ = write!(io::stderr(), "\r{line}");
}

/// Control characters become what JSON writes for them, so that it stays the
/// same JSON, and elsewhere it can be seen what they were. One of them means a
/// new line and may stay.
fn harmless(text: &str, stays: char) -> Cow<'_, str> {
    let harms = |letter: char| letter.is_control() && letter != stays;
    if !text.contains(harms) {
        return Cow::Borrowed(text);
    }
    let mut shown = String::with_capacity(text.len());
    for letter in text.chars() {
        if harms(letter) {
            // Writing to a string cannot fail.
            let _ = write!(shown, "\\u{:04x}", u32::from(letter));
        } else {
            shown.push(letter);
        }
    }
    Cow::Owned(shown)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_control_character_is_left_and_json_means_the_same() {
        let name = "a\u{1b}[2J\u{9b}31m\u{7f}\r\u{7}ä";
        let json = serde_json::to_string(name).unwrap() + "\n";
        let shown = harmless(&json, '\n');
        assert_eq!(shown.chars().filter(|it| it.is_control()).count(), 1);
        assert_eq!(serde_json::from_str::<String>(&shown).unwrap(), name);
        assert_eq!(harmless("Gerät ±\n", '\n'), "Gerät ±\n");
        assert_eq!(harmless("a\u{1b}b\n", ' '), "a\\u001bb\\u000a");
    }
}
