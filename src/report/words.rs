//! Figures in words, the same in every text, and lines that fit a terminal.

use super::numbers::decimals_for;
use crate::readings::{ChannelUsed, SpeedFigures};

/// Columns of the narrowest usual terminal.
pub(super) const COLUMNS: usize = 80;

/// What stands for a figure that cannot be had.
pub(super) const NONE: &str = "–";

/// A value with its ±, as many places as the ± deserves.
pub(super) fn with_uncertainty(value: f64, uncertainty: Option<f64>, signed: bool) -> String {
    let decimals = uncertainty.map_or(3, decimals_for);
    let value = if signed {
        signed_fixed(value, decimals)
    } else {
        format!("{value:.decimals$}")
    };
    match uncertainty {
        Some(uncertainty) => {
            // Never ±0: the smallest step that is shown, rather.
            let step = [1.0, 0.1, 0.01, 0.001, 0.0001][decimals.min(4)];
            format!("{value} ±{:.decimals$}", uncertainty.max(step))
        }
        None => value,
    }
}

/// With its sign, except where it is all zeros.
pub(super) fn signed_fixed(value: f64, decimals: usize) -> String {
    let text = format!("{value:+.decimals$}");
    if text.bytes().any(|byte| matches!(byte, b'1'..=b'9')) {
        text
    } else {
        text[1..].to_owned()
    }
}

/// The ± of a speed: with the reference's own error where that is known.
pub(super) fn best_uncertainty(speed: &SpeedFigures) -> Option<f64> {
    let uncertainty = speed.uncertainty_with_reference.or(speed.uncertainty)?;
    Some(uncertainty.0)
}

/// Slow or fast; neither where the ± is larger than the deviation, and then
/// right by the tape alone while nobody knows how true the tape is.
pub(super) fn slow_or_fast(speed: &SpeedFigures) -> &'static str {
    let deviation = speed.deviation.0;
    if deviation.abs() > best_uncertainty(speed).unwrap_or(0.0) {
        if deviation < 0.0 { "slow" } else { "fast" }
    } else if speed.uncertainty_with_reference.is_none() {
        "right by this tape"
    } else {
        "right within the ±"
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
    use crate::report::sample;
    use crate::units::Percent;

    #[test]
    fn places_follow_the_uncertainty() {
        assert_eq!(
            with_uncertainty(-1.231_75, Some(0.0113), true),
            "-1.232 ±0.011"
        );
        assert_eq!(with_uncertainty(0.4, Some(0.25), true), "+0.40 ±0.25");
        assert_eq!(with_uncertainty(0.121, None, false), "0.121");
        assert_eq!(with_uncertainty(0.0, Some(1e-9), true), "0.0000 ±0.0001");
        assert_eq!(signed_fixed(-0.000_01, 3), "0.000");
    }

    #[test]
    fn a_deviation_within_its_uncertainty_is_neither_slow_nor_fast() {
        let said = |deviation, uncertainty: Option<f64>, with_reference: Option<f64>| {
            let mut speed = sample::measurement().speed.expect("a speed");
            speed.deviation = Percent(deviation);
            speed.uncertainty = uncertainty.map(Percent);
            speed.uncertainty_with_reference = with_reference.map(Percent);
            slow_or_fast(&speed)
        };
        assert_eq!(said(-1.2, Some(0.01), None), "slow");
        assert_eq!(said(1.2, Some(0.01), Some(0.5)), "fast");
        assert_eq!(said(0.005, Some(0.01), None), "right by this tape");
        assert_eq!(said(0.2, Some(0.01), Some(0.5)), "right within the ±");
        assert_eq!(said(0.005, None, None), "fast");
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
