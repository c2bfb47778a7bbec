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

/// Breaks a text into lines of at most `room` cells, between words; a word that
/// is longer than a line stays whole.
pub fn lines_of(text: &str, room: usize, width: impl Fn(&str) -> usize) -> Vec<String> {
    let mut lines = Vec::new();
    let mut line = String::new();
    for word in text.split_whitespace() {
        if !line.is_empty() && width(&line) + 1 + width(word) > room {
            lines.push(std::mem::take(&mut line));
        }
        if !line.is_empty() {
            line.push(' ');
        }
        line.push_str(word);
    }
    lines.extend((!line.is_empty()).then_some(line));
    lines
}

/// The same for a shell of [`COLUMNS`]: the first line after `head`, all others
/// as far in.
pub(super) fn wrapped(head: &str, text: &str) -> String {
    let indent = head.chars().count();
    let lines = lines_of(text, COLUMNS - indent, |text| text.chars().count());
    format!(
        "{head}{}\n",
        lines.join(&format!("\n{}", " ".repeat(indent)))
    )
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
