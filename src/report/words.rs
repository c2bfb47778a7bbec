//! Figures in words, the same in every text, and lines that fit a terminal.

use unicode_width::UnicodeWidthStr;

use super::numbers::significant;
pub(super) use super::numbers::with_uncertainty;
use crate::readings::{ChannelUsed, ClockSource, DriftReading, SpeedFigures, Verdict, Way, Worth};
use crate::references::Tolerance;
use crate::units::Percent;

/// Columns of the narrowest usual terminal.
pub(super) const COLUMNS: usize = 80;

impl Way {
    /// In a word.
    pub fn word(self) -> &'static str {
        match self {
            Self::Slow => "slow",
            Self::Fast => "fast",
        }
    }
}

impl Verdict {
    /// The words, capital so that they stand out from a distance.
    pub fn words(self) -> &'static str {
        match self {
            Self::NoReading => "NO READING",
            Self::WhichTone => "WHICH TONE?",
            Self::Moving => "MOVING",
            Self::Moved => "MOVED",
            Self::Settling => "SETTLING",
            Self::TooShort => "TOO SHORT TO SAY",
            Self::InTolerance => "IN TOLERANCE",
            Self::RightByThisTape => "RIGHT BY THIS TAPE",
            Self::TooCloseToSay => "TOO CLOSE TO SAY",
            Self::OutByThisTape => "OUT BY THIS TAPE",
            Self::Out => "OUT OF TOLERANCE",
            Self::MadeHere => "RECORDED ON THIS MACHINE",
        }
    }
}

/// What stands for a figure that cannot be had.
pub(super) const NONE: &str = "–";

/// The ± that is stated of a speed.
pub(super) fn best_uncertainty(speed: &SpeedFigures) -> Option<f64> {
    speed.stated_uncertainty().map(|stated| stated.0)
}

/// A speed with the ± that is stated of it.
pub(super) fn deviation(speed: &SpeedFigures) -> String {
    with_uncertainty(speed.deviation.0, best_uncertainty(speed), true)
}

/// A drift a minute.
pub(super) fn drift(drift: &DriftReading) -> String {
    let known = drift.uncertainty_percent_per_minute;
    with_uncertainty(drift.percent_per_minute, known, true)
}

/// A figure that has no sign: three places where its ± is not known, or one more
/// where three would show next to nothing.
pub(super) fn cell(value: Option<Percent>, uncertainty: Option<Percent>) -> String {
    match (value, uncertainty) {
        (None, _) => NONE.to_owned(),
        (Some(Percent(value)), None) if value.abs() < 0.01 => format!("{value:.4}"),
        (Some(value), known) => with_uncertainty(value.0, known.map(|it| it.0), false),
    }
}

/// How long an average is worth taking, and what it is then steady to.
pub fn worth(worth: &Worth) -> String {
    let beyond = if worth.open {
        "longer ones may be steadier still"
    } else {
        "longer ones gain nothing"
    };
    format!(
        "averages of {} s change by {} % from one to the next (Allan deviation); {beyond}",
        significant(worth.point.averaging.0, 2).unwrap_or_default(),
        significant(worth.point.deviation.0, 2).unwrap_or_default(),
    )
}

/// Where the figure of the sample clock comes from.
pub fn clock_source(source: ClockSource) -> &'static str {
    match source {
        ClockSource::Default => "common practice",
        ClockSource::Option => "as given",
        ClockSource::Measured => "as measured for this input",
    }
}

/// How to clean a control (common practice, no source).
pub(super) const CLEANING: &str = "Clean it: power off and plug pulled, contact cleaner made for \
controls and sparingly, with fresh air. Some cleaners attack plastics, and none may reach belts or \
pinch rollers. Work it end to end a dozen times, let it dry, and repeat the check.";

/// A band as it stands on screen.
pub fn band(tolerance: Tolerance) -> String {
    let half_width = tolerance.half_width.0;
    match tolerance.class {
        Some(class) => format!("±{half_width} % {}", class.name()),
        None => format!("±{half_width} %"),
    }
}

/// The channels in use.
pub fn channel(channel: ChannelUsed) -> &'static str {
    match channel {
        ChannelUsed::Left => "left channel",
        ChannelUsed::Right => "right channel",
        ChannelUsed::Both => "both channels",
        ChannelUsed::Mono => "mono",
    }
}

/// The side that a channel is on.
pub(super) fn side(channel: ChannelUsed) -> &'static str {
    if channel == ChannelUsed::Left {
        "left"
    } else {
        "right"
    }
}

pub(super) fn other_side(channel: ChannelUsed) -> &'static str {
    if channel == ChannelUsed::Left {
        "right"
    } else {
        "left"
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

/// Cells that a text takes on a terminal: two for wide letters, none for marks on
/// others.
pub fn width(text: &str) -> usize {
    UnicodeWidthStr::width(text)
}

/// With blanks behind it up to a width.
pub(super) fn padded(text: &str, to: usize) -> String {
    let blanks = to.saturating_sub(width(text));
    format!("{text}{}", " ".repeat(blanks))
}

/// Cut to a width; the last letter shows that there was more.
pub(super) fn cut(text: &str, to: usize) -> String {
    // Marks on a letter take no room; a heap of them is cut as well.
    let is_short = |text: &str| width(text) <= to && text.chars().count() <= MOST_MARKS * to;
    if is_short(text) {
        return text.to_owned();
    }
    let mut short = String::new();
    for letter in text.chars() {
        short.push(letter);
        if width(&short) >= to || short.chars().count() >= MOST_MARKS * to {
            short.pop();
            break;
        }
    }
    short.push('…');
    short
}

/// Marks on a letter, with the letter, in the writings that have most. A choice.
pub(super) const MOST_MARKS: usize = 4;

/// [`lines_of`] for a shell of [`COLUMNS`]: the first line after `head`, all others
/// as far in.
pub(super) fn wrapped(head: &str, text: &str) -> String {
    let indent = width(head);
    let lines = lines_of(text, COLUMNS - indent, width);
    format!(
        "{head}{}\n",
        lines.join(&format!("\n{}", " ".repeat(indent)))
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_hold_whatever_letters_there_are() {
        for text in [
            "deck 4",
            "音響機器の速度",
            "e\u{301}te\u{301}",
            "מכשיר",
            "",
            &"m\u{301}\u{302}".repeat(300),
        ] {
            for to in [3, 8, 14] {
                let cell = padded(&cut(text, to), to);
                assert_eq!(width(&cell), to, "{text}: {cell}");
                assert!(cell.chars().count() <= 5 * to, "{text}");
            }
        }
        assert_eq!(cut("音響機器", 5), "音響…");
        assert_eq!(cut("deck 4", 6), "deck 4");
    }

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
