//! Words of a command line that is written out to be typed.

use std::borrow::Cow;

/// The text as one word of a command line. What a shell would read as something
/// else stands in quotes: double ones, which every system knows, as long as
/// they hold.
pub(super) fn shell_word(text: &str) -> Cow<'_, str> {
    let is_plain = |letter: char| letter.is_alphanumeric() || "-_./:,+@%".contains(letter);
    if !text.is_empty() && text.chars().all(is_plain) {
        return Cow::Borrowed(text);
    }
    if text.contains(['"', '$', '`', '\\', '!']) {
        return Cow::Owned(format!("'{}'", text.replace('\'', r"'\''")));
    }
    Cow::Owned(format!("\"{text}\""))
}

#[cfg(all(test, unix))]
mod tests {
    use super::*;

    #[test]
    fn a_shell_gives_back_what_was_written() {
        for text in [
            "deck-4",
            "2026-11-29 deck 4",
            "it's",
            "a\"b",
            "$HOME `id` \\ !x",
            "a'b\"c",
            "",
            "*",
            "größer",
            "~",
        ] {
            let line = format!("printf %s {}", shell_word(text));
            let mut shell = std::process::Command::new("sh");
            let said = shell.args(["-c", &line]).output().expect("a shell");
            assert_eq!(String::from_utf8_lossy(&said.stdout), text, "{line}");
        }
        assert_eq!(shell_word("2026-11-29 deck 4"), "\"2026-11-29 deck 4\"");
    }
}
