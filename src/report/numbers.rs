//! Numbers rounded for people and for scripts.

/// Rounded to so many decimal places; `None` for what is no number.
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

/// Rounded to so many significant digits; `None` for what is no number.
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
pub(super) fn decimals_for(uncertainty: f64) -> usize {
    if !(uncertainty.is_finite() && uncertainty > 0.0) {
        return 3;
    }
    (1.0 - uncertainty.log10().floor()).clamp(1.0, MOST_DECIMALS) as usize
}

/// What a terminal can show as it is: control characters, which could move
/// its cursor or worse, become a placeholder.
pub(super) fn plain(text: &str) -> String {
    text.chars()
        .map(|c| if c.is_control() { '\u{fffd}' } else { c })
        .collect()
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
    fn names_cannot_drive_the_terminal() {
        assert_eq!(plain("a\u{1b}[2Jb\n"), "a\u{fffd}[2Jb\u{fffd}");
        assert_eq!(plain("Gerät ±"), "Gerät ±");
    }
}
