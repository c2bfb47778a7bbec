//! Numbers rounded for people and for scripts, and text that is safe to show.

use std::borrow::Cow;
use std::fmt::Write as _;

/// Rounded to a number of decimal places; `None` for what is no number.
pub(super) fn places(value: f64, decimals: i32) -> Option<f64> {
    if !value.is_finite() {
        return None;
    }
    let rounded = if decimals >= 0 {
        let scale = 10f64.powi(decimals);
        (value * scale).round() / scale
    } else {
        let scale = 10f64.powi(-decimals);
        (value / scale).round() * scale
    };
    // −0.0 would be written with its sign; adding 0 takes it away.
    rounded.is_finite().then_some(rounded + 0.0)
}

/// To a tenth, rounded as it is for scripts.
pub(super) fn tenths(value: f64) -> String {
    places(value, 1).map_or_else(|| "–".to_owned(), |value| format!("{value:.1}"))
}

/// An uncertainty for scripts: to a number of significant digits, rounded up.
pub(super) fn significant_up(value: f64, digits: i32) -> Option<f64> {
    let near = significant(value, digits)?;
    let step = 10f64.powf(value.abs().log10().floor() - f64::from(digits - 1));
    if near >= value * (1.0 - 1e-9) {
        Some(near)
    } else {
        significant(near + step, digits)
    }
}

/// Rounded to a number of significant digits; `None` for what is no number.
pub(super) fn significant(value: f64, digits: i32) -> Option<f64> {
    if value == 0.0 {
        return Some(0.0);
    }
    let magnitude = value.abs().log10().floor();
    if !magnitude.is_finite() {
        return None;
    }
    places(value, (digits - 1 - magnitude as i32).min(15))
}

/// A ten-thousandth of a percent is beyond every machine and most clocks.
const MOST_DECIMALS: f64 = 4.0;

/// Decimal places at which an uncertainty shows two digits, within what a
/// percentage of speed is ever given to.
fn decimals_for(uncertainty: f64) -> usize {
    if !(uncertainty.is_finite() && uncertainty > 0.0) {
        return 3;
    }
    (1.0 - uncertainty.log10().floor()).clamp(1.0, MOST_DECIMALS) as usize
}

/// An uncertainty in digits, rounded up: it never claims to be smaller than it
/// is, and never to be nothing. Two digits of it, as everywhere.
pub fn rounded_up(uncertainty: f64) -> String {
    let decimals = decimals_for(uncertainty);
    rounded_up_to(uncertainty, decimals)
}

/// The same to a number of places, for a column of them.
pub fn rounded_up_to(uncertainty: f64, decimals: usize) -> String {
    let step = [1.0, 10.0, 100.0, 1e3, 1e4, 1e5][decimals.min(5)];
    // What is a step but for the arithmetic is one.
    let up = (uncertainty * step - 1e-9).ceil().max(1.0) / step;
    format!("{up:.decimals$}")
}

/// With its sign, except where it is all zeros.
pub fn signed(value: f64, decimals: usize) -> String {
    let text = format!("{value:+.decimals$}");
    if text.bytes().any(|byte| matches!(byte, b'1'..=b'9')) {
        text
    } else {
        text[1..].to_owned()
    }
}

/// A value as it stands before its ±: to the places of that.
pub fn beside_uncertainty(value: f64, uncertainty: Option<f64>) -> String {
    signed(value, uncertainty.map_or(3, decimals_for))
}

/// A value with its ±, as many places as the ± deserves.
pub fn with_uncertainty(value: f64, uncertainty: Option<f64>, is_signed: bool) -> String {
    let value = if is_signed {
        beside_uncertainty(value, uncertainty)
    } else {
        let decimals = uncertainty.map_or(3, decimals_for);
        format!("{value:.decimals$}")
    };
    match uncertainty {
        Some(uncertainty) => format!("{value} ±{}", rounded_up(uncertainty)),
        None => value,
    }
}

/// What may go to a terminal: what could drive it is shown as JSON writes it, so
/// that JSON stays the same JSON.
pub fn plain(text: &str) -> String {
    shown(text).into_owned()
}

/// The same, as it is where it is harmless.
pub fn shown(text: &str) -> Cow<'_, str> {
    if !text.contains(is_harmful) {
        return Cow::Borrowed(text);
    }
    let mut shown = String::with_capacity(text.len());
    for letter in text.chars() {
        if is_harmful(letter) {
            for unit in letter.encode_utf16(&mut [0; 2]) {
                // Writing to a string cannot fail.
                let _ = write!(shown, "\\u{unit:04x}");
            }
        } else {
            shown.push(letter);
        }
    }
    Cow::Owned(shown)
}

/// Control characters, which could move a terminal's cursor or worse; what turns
/// the direction of the letters after it; breaks of lines and paragraphs; letters
/// that nobody sees: soft hyphens, fillers, notes between the lines. What joins
/// letters of some scripts is none of them.
pub fn is_harmful(letter: char) -> bool {
    letter.is_control()
        || matches!(letter,
            '\u{ad}' | '\u{61c}' | '\u{115f}' | '\u{1160}' | '\u{180e}' | '\u{200b}'
            | '\u{200e}' | '\u{200f}' | '\u{2028}'..='\u{202e}' | '\u{2060}'..='\u{206f}'
            | '\u{3164}' | '\u{feff}' | '\u{ffa0}' | '\u{fff9}'..='\u{fffb}'
            | '\u{e0000}'..='\u{e007f}')
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rounding_keeps_what_matters() {
        assert_eq!(places(-1.231_749, 4), Some(-1.2317));
        assert_eq!(
            places(-0.000_000_1, 4).map(|zero| zero.to_string()),
            Some("0".to_owned())
        );
        assert_eq!(significant(0.012_345, 3), Some(0.0123));
        assert_eq!(significant(123_456.0, 3), Some(123_000.0));
        assert_eq!(significant(0.0, 3), Some(0.0));
        assert_eq!(significant_up(0.012_345, 3), Some(0.0124));
        assert_eq!(significant_up(0.0123, 3), Some(0.0123));
        assert_eq!(significant_up(0.0, 3), Some(0.0));
        for no_number in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
            assert_eq!(places(no_number, 4), None);
            assert_eq!(significant(no_number, 3), None);
        }
    }

    #[test]
    fn an_uncertainty_shows_two_digits() {
        for (uncertainty, decimals) in [(0.0113, 3), (0.25, 2), (3.0, 1), (40.0, 1), (1e-9, 4)] {
            assert_eq!(decimals_for(uncertainty), decimals, "{uncertainty}");
        }
        assert_eq!(decimals_for(0.0), 3);
        assert_eq!(decimals_for(f64::NAN), 3);
    }

    #[test]
    fn an_uncertainty_never_claims_to_be_smaller_than_it_is() {
        for (uncertainty, shown) in [
            (0.0101, "0.011"),
            (0.01, "0.010"),
            (0.0113, "0.012"),
            (0.25, "0.25"),
            (0.0999, "0.100"),
            (3.0, "3.0"),
            (1e-9, "0.0001"),
            (0.0, "0.001"),
        ] {
            assert_eq!(rounded_up(uncertainty), shown, "{uncertainty}");
        }
        for thousandth in 1..20_000 {
            let uncertainty = f64::from(thousandth) * 0.000_137;
            let shown: f64 = rounded_up(uncertainty).parse().unwrap();
            assert!(shown >= uncertainty - 1e-9 && shown < 1.11 * uncertainty + 1e-4);
        }
    }

    #[test]
    fn places_follow_the_uncertainty() {
        assert_eq!(
            with_uncertainty(-1.231_75, Some(0.0113), true),
            "-1.232 ±0.012"
        );
        assert_eq!(with_uncertainty(0.4, Some(0.25), true), "+0.40 ±0.25");
        assert_eq!(with_uncertainty(0.121, None, false), "0.121");
        assert_eq!(with_uncertainty(0.0, Some(1e-9), true), "0.0000 ±0.0001");
    }

    #[test]
    fn zero_has_no_sign() {
        assert_eq!(signed(-0.004, 2), "0.00");
        assert_eq!(signed(-0.005_1, 2), "-0.01");
        assert_eq!(signed(12.3456, 2), "+12.35");
        assert_eq!(beside_uncertainty(-1.231_75, Some(0.0113)), "-1.232");
        assert_eq!(beside_uncertainty(-1.0, None), "-1.000");
    }

    /// Letters that turn the direction of others or that nobody sees: marks of
    /// direction, notes between the lines, the soft hyphen, a separator of vowels,
    /// fillers (Unicode 16, from memory).
    #[test]
    fn what_turns_or_hides_is_shown_and_json_stays_what_it_is() {
        let letters = "\u{ad}\u{61c}\u{115f}\u{1160}\u{180e}\u{200b}\u{200e}\u{200f}\
            \u{2028}\u{202a}\u{202e}\u{2060}\u{2066}\u{2069}\u{3164}\u{feff}\u{ffa0}\
            \u{fff9}\u{fffa}\u{fffb}\u{e0001}\u{e007f}";
        for letter in letters.chars() {
            let text = format!("a{letter}b");
            let shown = plain(&text);
            assert!(shown.is_ascii(), "{:x}", u32::from(letter));
            let json = serde_json::to_string(&text).unwrap();
            let back: String = serde_json::from_str(&plain(&json)).unwrap();
            assert_eq!(back, text);
        }
    }

    #[test]
    fn names_cannot_drive_the_terminal() {
        assert_eq!(plain("a\u{1b}[2Jb\n"), "a\\u001b[2Jb\\u000a");
        assert_eq!(plain("Gerät ±"), "Gerät ±");
        assert_eq!(plain("a\u{202e}b\u{e0041}"), "a\\u202eb\\udb40\\udc41");
        // Marks and joiners that words need.
        assert_eq!(
            plain("e\u{301} می\u{200c}خواهم"),
            "e\u{301} می\u{200c}خواهم"
        );
    }
}
