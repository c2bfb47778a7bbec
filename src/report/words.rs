//! Figures in words, the same in every text, and lines that fit a terminal.

pub(super) use super::numbers::with_uncertainty;
use crate::readings::{ChannelUsed, SpeedFigures};
use crate::references::Tolerance;

/// Columns of the narrowest usual terminal.
pub(super) const COLUMNS: usize = 80;

/// What stands for a figure that cannot be had.
pub(super) const NONE: &str = "–";

/// The ± that is stated of a speed.
pub(super) fn best_uncertainty(speed: &SpeedFigures) -> Option<f64> {
    speed.stated_uncertainty().map(|stated| stated.0)
}

/// A band as it stands on screen.
pub(super) fn band(tolerance: Tolerance) -> String {
    let half_width = tolerance.half_width.0;
    match tolerance.class {
        Some(class) => format!("±{half_width} % {}", class.name()),
        None => format!("±{half_width} %"),
    }
}

pub(super) fn channel(channel: ChannelUsed) -> &'static str {
    match channel {
        ChannelUsed::Left => "left channel",
        ChannelUsed::Right => "right channel",
        ChannelUsed::Both => "both channels",
        ChannelUsed::Mono => "mono",
    }
}

/// `one dropout`, `3 dropouts`.
pub(super) fn counted(count: u64, one: &str, many: &str) -> String {
    if count == 1 {
        format!("one {one}")
    } else {
        format!("{count} {many}")
    }
}

/// Breaks a text into lines of at most [`COLUMNS`], the first after `head`,
/// all others as far in. A word that is longer than a line stays whole.
pub(super) fn wrapped(head: &str, text: &str) -> String {
    let indent = head.chars().count();
    let mut lines = head.to_owned();
    let mut column = indent;
    for word in text.split_whitespace() {
        let width = word.chars().count();
        if column > indent && column + 1 + width > COLUMNS {
            lines.push('\n');
            lines.extend(std::iter::repeat_n(' ', indent));
            column = indent;
        }
        if column > indent {
            lines.push(' ');
            column += 1;
        }
        lines.push_str(word);
        column += width;
    }
    lines.push('\n');
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_fit_and_no_word_is_lost() {
        let text = "tape ".repeat(60);
        let lines = wrapped("  Caution   ", &text);
        assert!(lines.lines().all(|line| line.chars().count() <= COLUMNS));
        assert!(
            lines
                .lines()
                .skip(1)
                .all(|line| line.starts_with("            tape"))
        );
        assert_eq!(lines.matches("tape").count(), 60);
    }
}
