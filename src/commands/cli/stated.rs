//! A figure with its ±, as it is typed: `-0.2±0.1`, `-0.2+-0.1`, `±0.1`,
//! `-0.2`.

use super::number_between;
use crate::readings::{ClockSource, HOME_MADE, ReferenceError, SampleClock};
use crate::references::WithUncertainty;
use crate::units::{Percent, Ppm};

/// A figure, and how well it is known (95 %), if that was said.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stated {
    value: f64,
    uncertainty: Option<f64>,
}

impl Stated {
    fn of(text: &str, most: f64, what: &str) -> Result<Self, String> {
        let parts = text.split_once('±').or_else(|| text.split_once("+-"));
        let (value, uncertainty) = parts.map_or((text, None), |(it, known)| (it, Some(known)));
        let number = |text: &str, low: f64| {
            number_between(text.trim(), low, most, what)
                .map_err(|error| format!("{error}, with or without its ±: -0.2±0.1 or -0.2+-0.1"))
        };
        Ok(Self {
            value: match value.trim() {
                "" if uncertainty.is_some() => 0.0,
                value => number(value, -most)?,
            },
            uncertainty: uncertainty.map(|it| number(it, 0.0)).transpose()?,
        })
    }
}

/// What is known of a tape's own error.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum TapeError {
    /// Nothing but that it was made at home.
    HomeMade,
    /// A figure.
    Known(Stated),
}

impl TapeError {
    /// As it is typed.
    pub fn of(text: &str) -> Result<Self, String> {
        if text == "home-made" {
            return Ok(Self::HomeMade);
        }
        Stated::of(text, 25.0, "home-made, or a percentage").map(Self::Known)
    }

    /// What the engine is told; nothing said counts as unknown.
    pub fn reference_error(said: Option<Self>) -> ReferenceError {
        let (value, uncertainty) = match said {
            Some(Self::Known(it)) => (it.value, it.uncertainty.map(Percent)),
            Some(Self::HomeMade) => (0.0, Some(HOME_MADE)),
            None => (0.0, None),
        };
        ReferenceError {
            error: Percent(value),
            uncertainty,
            home_made: said == Some(Self::HomeMade),
            recorded_here: false,
        }
    }
}

/// Percent with a ± that must not be missing.
pub fn known_percent(text: &str) -> Result<WithUncertainty, String> {
    let stated = Stated::of(text, 25.0, "a percentage")?;
    let missing = || "its ± is missing: write it behind the figure, as in -0.2±0.1".to_owned();
    Ok(WithUncertainty {
        value: Percent(stated.value),
        uncertainty: Percent(stated.uncertainty.ok_or_else(missing)?),
    })
}

/// Error of a sample clock in ppm; where its ± is not said, the usual one.
pub fn clock(text: &str) -> Result<SampleClock, String> {
    let stated = Stated::of(text, 10_000.0, "a number of ppm")?;
    let usual = SampleClock::default().uncertainty;
    Ok(SampleClock {
        error: Ppm(stated.value),
        uncertainty: stated.uncertainty.map_or(usual, Ppm),
        source: ClockSource::Option,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_figure_is_read_with_and_without_its_uncertainty() {
        for (text, value, uncertainty) in [
            ("-0.2±0.1", -0.2, Some(0.1)),
            ("-0.2+-0.1", -0.2, Some(0.1)),
            ("+0.3 ± 0.05", 0.3, Some(0.05)),
            ("±0.1", 0.0, Some(0.1)),
            ("-0.2", -0.2, None),
        ] {
            let wanted = Stated { value, uncertainty };
            assert_eq!(TapeError::of(text), Ok(TapeError::Known(wanted)), "{text}");
        }
        assert_eq!(TapeError::of("home-made"), Ok(TapeError::HomeMade));
        for text in [
            "",
            "±",
            "0.1±",
            "0.1±-1",
            "0.1±0.1±1",
            "x",
            "30",
            "NaN",
            "0±inf",
        ] {
            let error = TapeError::of(text).expect_err(text);
            assert!(error.contains("-0.2±0.1"), "{text}: {error}");
        }
    }

    #[test]
    fn a_card_needs_the_uncertainty_and_a_clock_has_a_usual_one() {
        assert!(known_percent("0.1").is_err_and(|error| error.contains('±')));
        assert_eq!(
            known_percent("0.1±0.02").map(|it| it.uncertainty),
            Ok(Percent(0.02))
        );
        let usual = SampleClock::default().uncertainty;
        assert_eq!(clock("-12").map(|it| it.uncertainty), Ok(usual));
        assert_eq!(
            clock("-12±5").map(|it| (it.error, it.uncertainty)),
            Ok((Ppm(-12.0), Ppm(5.0)))
        );
    }
}
