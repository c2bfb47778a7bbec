//! All that a command writes to the shell passes here. Names of files, words on
//! cards and in records come from anywhere, and no control character of theirs
//! reaches the terminal.

use std::borrow::Cow;
use std::io::{self, Write};

use super::habits::is_quiet;
use super::{Exit, Failure};
use crate::report::{self, numbers::plain};
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
    write_as_it_is(harmless(text).as_bytes())
}

/// Writes what is for a program and all our own.
pub(super) fn write_as_it_is(bytes: &[u8]) -> Result<Written, Failure> {
    let mut out = io::stdout().lock();
    match out.write_all(bytes).and_then(|()| out.flush()) {
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
    if is_named && !Look::new(false, None, variable).unicode {
        Cow::Owned(report::ascii(text))
    } else {
        Cow::Borrowed(text)
    }
}

/// One sentence on standard error.
pub(super) fn complain(sentence: &str) {
    aside(&complaint(sentence));
}

/// One that tells of no error.
pub(super) fn remark(sentence: &str) {
    remark_lines(&complaint(sentence));
}

/// Lines on standard error that tell of no error.
pub(super) fn remark_lines(text: &str) {
    if !is_quiet() {
        aside(text);
    }
}

/// The line that it becomes.
fn complaint(sentence: &str) -> String {
    format!("tapewright: {}\n", plain(sentence))
}

/// Several where the terminal may take nothing any more, which is not waited
/// for.
pub(super) fn complain_at_once(sentences: &[String]) {
    let text: String = sentences.iter().map(|it| complaint(it)).collect();
    if !text.is_empty() {
        terminal::tell_at_once(harmless(&in_locale(&text)));
    }
}

/// Lines on standard error; where that is closed or full, nobody listens.
pub(super) fn aside(text: &str) {
    let text = in_locale(text);
    let _ = io::stderr().write_all(harmless(&text).as_bytes());
}

/// A line on standard error that is written over the one before.
pub(super) fn over_and_over(line: &str) {
    let _ = write!(io::stderr(), "\r{}", plain(line));
}

/// Lines as they may go to a terminal.
fn harmless(text: &str) -> String {
    let line = |line: &str| {
        let end = ["\r\n", "\n"].into_iter().find(|end| line.ends_with(end));
        let end = end.unwrap_or_default();
        plain(line.strip_suffix(end).unwrap_or(line)) + end
    };
    text.split_inclusive('\n').map(line).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_control_character_is_left_and_json_means_the_same() {
        let name = "a\u{1b}[2J\u{9b}31m\u{7f}\r\u{7}ä";
        let json = serde_json::to_string(name).unwrap() + "\n";
        let shown = harmless(&json);
        assert_eq!(shown.chars().filter(|it| it.is_control()).count(), 1);
        assert_eq!(serde_json::from_str::<String>(&shown).unwrap(), name);
        assert_eq!(harmless("Gerät ±\n"), "Gerät ±\n");
        // As RFC 4180 ends lines; without what follows it would move the cursor.
        assert_eq!(harmless("a\rb,\r\n\r"), "a\\u000db,\r\n\\u000d");
        assert_eq!(complaint("a\nb"), "tapewright: a\\u000ab\n");
    }
}
