//! What may be said about a speed: right, wrong, or not known well enough.

use crate::readings::{Reading, SpeedReading, Steadiness};
use crate::references::Tolerance;
use crate::units::Percent;

/// What the digits allow to be said about the tolerance band.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Verdict {
    /// No tone is followed.
    NoReading,
    /// Two usual tones could be meant; nothing can be said before one is
    /// chosen.
    WhichTone,
    /// The speed is being moved.
    Moving,
    /// The ± is not yet known.
    Settling,
    /// Inside the band with all errors counted.
    InTolerance,
    /// Inside the band, but the tape's own error is unknown.
    RightByThisTape,
    /// The edge of the band lies within the ±.
    TooCloseToSay,
    /// Outside the band, whatever the ±.
    Out,
    /// The tape was recorded on this machine: its speed says nothing.
    MadeHere,
}

impl Verdict {
    /// From a live reading. `is_tone_open`: two usual tones are possible and
    /// nobody has said which it is.
    pub fn of(reading: &Reading, tolerance: Tolerance, is_tone_open: bool) -> Self {
        let Some(speed) = &reading.speed else {
            return Self::NoReading;
        };
        if is_tone_open {
            return Self::WhichTone;
        }
        Self::of_speed(speed, tolerance)
    }

    fn of_speed(speed: &SpeedReading, tolerance: Tolerance) -> Self {
        if speed.steadiness == Steadiness::Moving {
            return Self::Moving;
        }
        let known = speed.uncertainty_with_reference;
        let Some(uncertainty) = known.or(speed.uncertainty) else {
            return Self::Settling;
        };
        let band = tolerance.half_width.0;
        let deviation = speed.deviation.0.abs();
        if deviation + uncertainty.0 <= band {
            if known.is_some() {
                Self::InTolerance
            } else {
                Self::RightByThisTape
            }
        } else if deviation - uncertainty.0 > band {
            Self::Out
        } else {
            Self::TooCloseToSay
        }
    }

    /// The words, capital so that they stand out from a distance.
    pub fn words(self) -> &'static str {
        match self {
            Self::NoReading => "NO READING",
            Self::WhichTone => "WHICH TONE?",
            Self::Moving => "MOVING",
            Self::Settling => "SETTLING",
            Self::InTolerance => "IN TOLERANCE",
            Self::RightByThisTape => "RIGHT BY THIS TAPE",
            Self::TooCloseToSay => "TOO CLOSE TO SAY",
            Self::Out => "OUT OF TOLERANCE",
            Self::MadeHere => "TAPE MADE HERE",
        }
    }

    /// The same with a tape that was recorded on this machine: right or wrong
    /// cannot be told.
    pub(super) fn of_a_tape_made_here(self) -> Self {
        match self {
            Self::InTolerance | Self::RightByThisTape | Self::TooCloseToSay | Self::Out => {
                Self::MadeHere
            }
            Self::NoReading | Self::WhichTone | Self::Moving | Self::Settling | Self::MadeHere => {
                self
            }
        }
    }

    /// Good news.
    pub fn is_right(self) -> bool {
        matches!(self, Self::InTolerance | Self::RightByThisTape)
    }
}

/// The ± that is shown: with the reference's own error where that is known.
pub(super) fn shown_uncertainty(speed: &SpeedReading) -> Option<Percent> {
    speed.uncertainty_with_reference.or(speed.uncertainty)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::references::MachineClass;
    use crate::screen::specimen;

    fn verdict(deviation: f64, own: Option<f64>, with_reference: Option<f64>) -> Verdict {
        let mut speed = specimen::speed(deviation);
        speed.uncertainty = own.map(Percent);
        speed.uncertainty_with_reference = with_reference.map(Percent);
        Verdict::of_speed(&speed, MachineClass::Deck.tolerance())
    }

    #[test]
    fn in_tolerance_only_with_the_whole_uncertainty_inside() {
        assert_eq!(verdict(0.3, Some(0.01), Some(0.1)), Verdict::InTolerance);
        assert_eq!(verdict(-0.3, Some(0.01), Some(0.1)), Verdict::InTolerance);
        assert_eq!(verdict(0.3, Some(0.01), Some(0.3)), Verdict::TooCloseToSay);
        assert_eq!(verdict(0.7, Some(0.01), Some(0.3)), Verdict::TooCloseToSay);
        assert_eq!(verdict(-0.9, Some(0.01), Some(0.3)), Verdict::Out);
    }

    #[test]
    fn a_tape_of_unknown_error_never_gives_in_tolerance() {
        assert_eq!(verdict(0.0, Some(0.01), None), Verdict::RightByThisTape);
        assert_eq!(verdict(0.495, Some(0.01), None), Verdict::TooCloseToSay);
        assert_eq!(verdict(0.0, None, None), Verdict::Settling);
    }

    #[test]
    fn nothing_is_said_while_the_speed_moves_or_the_tone_is_not_chosen() {
        let tolerance = MachineClass::Deck.tolerance();
        let mut reading = specimen::reading(0.0);
        reading.speed.as_mut().unwrap().steadiness = Steadiness::Moving;
        assert_eq!(Verdict::of(&reading, tolerance, false), Verdict::Moving);
        let mut reading = specimen::reading(0.0);
        assert_eq!(Verdict::of(&reading, tolerance, true), Verdict::WhichTone);
        reading.speed = None;
        assert_eq!(Verdict::of(&reading, tolerance, true), Verdict::NoReading);
    }
}
