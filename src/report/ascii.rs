//! Plain twins of the characters that our texts use, for terminals whose
//! locale has no others. What a name has of these is replaced as well; its
//! other letters stay as they are.

/// The same text in plain characters.
pub fn ascii(text: &str) -> String {
    let mut plain = String::with_capacity(text.len());
    for character in text.chars() {
        match character {
            '±' => plain.push_str("+-"),
            '–' | '−' => plain.push('-'),
            '…' => plain.push_str("..."),
            '×' => plain.push('x'),
            '→' => plain.push_str("->"),
            '·' => plain.push('.'),
            'µ' => plain.push('u'),
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
    use crate::readings::SweepPicture;
    use crate::records::{Label, Snapshot};
    use crate::report::{FileReport, FileResult, comparison, sample, sweep, text};
    use crate::units::{Percent, Seconds};

    #[test]
    fn nothing_of_ours_stays_that_a_plain_terminal_lacks() {
        let measurement = sample::measurement();
        let block = text::block(&FileReport::of("a.wav", FileResult::Measured(&measurement)));
        assert!(!block.is_ascii());
        let plain = ascii(&block);
        assert!(plain.is_ascii(), "{plain}");
        assert!(plain.contains("-1.232 +-0.012 %"), "{plain}");
        assert_eq!(ascii("Gerät"), "Gerät");
    }

    #[test]
    fn nor_in_two_snapshots_side_by_side_or_a_picture_of_a_sweep() {
        let [before, after] = [Label::Before, Label::After]
            .map(|label| Snapshot::new(label, "line in", sample::measurement()));
        let zone = jiff::tz::TimeZone::UTC;
        let compared = comparison::side_by_side((1, &before), (2, &after), &zone);
        let mut swept = sample::sweep();
        swept.picture = SweepPicture {
            step: Seconds(0.5),
            speed: (-30..30)
                .map(|at| Some(Percent(0.1 * f64::from(at))))
                .collect(),
        };
        for text in [compared, sweep::lines(&swept)] {
            assert!(!text.is_ascii());
            let plain = ascii(&text);
            assert!(plain.is_ascii(), "{plain}");
        }
    }
}
