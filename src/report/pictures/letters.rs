//! How much room words take where no font can be asked.

/// Width of a letter at a size of one, no less than in the usual fonts without
/// serifs (measured on a wide one, `DejaVu Sans`).
fn width_of(letter: char) -> f64 {
    match letter {
        'i' | 'j' | 'l' | '\'' | '|' => 0.34,
        ' ' | '.' | ',' | ':' | ';' | '(' | ')' | 'f' | 't' | 'r' | '!' | '/' => 0.42,
        'm' | 'w' | 'W' | 'M' | '@' | '%' => 1.0,
        'a'..='z' | '0'..='9' => 0.65,
        // And letters of ours that are used in pictures.
        ' '..='~' | '±' | '−' | '–' | '…' | '·' => 0.84,
        '\u{a0}'..='\u{24f}' => 0.9,
        _ => 1.3,
    }
}

/// Width of words in letters of this size.
pub(super) fn width(words: &str, size: f64) -> f64 {
    size * words.chars().map(width_of).sum::<f64>()
}

/// As much of the words as fits; the end shows that there was more.
pub(super) fn fitting(words: &str, size: f64, room: f64) -> String {
    if width(words, size) <= room {
        return words.to_owned();
    }
    let mut left = room / size - width_of('…');
    let whole = |letter: &char| {
        left -= width_of(*letter);
        left >= 0.0
    };
    let mut cut: String = words.chars().take_while(whole).collect();
    cut.push('…');
    cut
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_too_long_is_cut_and_says_so() {
        assert_eq!(fitting("capstan", 13.0, 100.0), "capstan");
        for hostile in ["W".repeat(10_000), "🛠".repeat(10_000), "é".repeat(500)] {
            let cut = fitting(&hostile, 13.0, 100.0);
            assert!(cut.ends_with('…') && width(&cut, 13.0) <= 100.0, "{cut}");
            assert!(cut.chars().count() > 3, "{cut}");
        }
    }
}
