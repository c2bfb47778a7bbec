//! Plain twins of the characters that our texts use, for terminals whose
//! locale has no others. Names of files and machines stay as they are.

/// The same text in plain characters.
pub fn ascii(text: &str) -> String {
    let mut plain = String::with_capacity(text.len());
    for character in text.chars() {
        match character {
            '±' => plain.push_str("+-"),
            '–' | '−' => plain.push('-'),
            '…' => plain.push_str("..."),
            '×' => plain.push('x'),
            '♯' => plain.push('#'),
            '\u{a0}' => plain.push(' '),
            other => plain.push(other),
        }
    }
    plain
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::references::Tolerance;
    use crate::report::{FileReport, FileResult, sample, text};

    #[test]
    fn nothing_of_ours_stays_that_a_plain_terminal_lacks() {
        let measurement = sample::measurement();
        let block = text::block(&FileReport {
            file: "a.wav",
            result: FileResult::Measured(&measurement),
            tolerance: Tolerance::default(),
            tape: None,
            sweep: None,
            contact: None,
        });
        assert!(!block.is_ascii());
        let plain = ascii(&block);
        assert!(plain.is_ascii(), "{plain}");
        assert!(plain.contains("-1.232 +-0.011 %"), "{plain}");
        assert_eq!(ascii("Gerät"), "Gerät");
    }
}
