//! What may be said about a speed: right, wrong, or not known well enough. The
//! one place where that is decided, for the live screen, the ticks, recordings
//! and what was kept.

use serde::Serialize;

use super::caution::CautionCode;
use super::conditions::{HOME_MADE, ReferenceKind};
use super::measurement::Measurement;
use super::values::{SpeedFigures, SpeedReading, Steadiness};
use crate::units::Percent;

/// What may explain a reading while nobody has said how true the tape is: it may
/// be home-made. Test tapes are within 0.1 to 0.5 %; common practice, no source.
const UNDECLARED: Percent = HOME_MADE;

/// What a speed and its ± allow to be said about the tolerance band.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    /// No speed.
    NoReading,
    /// Two usual tones could be meant; nothing can be said before one is
    /// chosen.
    WhichTone,
    /// The speed is being moved.
    Moving,
    /// It was moved within the record, whose mean is that of no one speed.
    Moved,
    /// Not steady for long enough.
    Settling,
    /// The record is too short for a ±.
    TooShort,
    /// Inside the band with all errors counted.
    InTolerance,
    /// Inside the band, but the tape's own error is unknown.
    RightByThisTape,
    /// The edge of the band lies within the ±.
    TooCloseToSay,
    /// Outside the band, but the tape's own error is unknown and may explain it.
    OutByThisTape,
    /// Outside the band, whatever the ±.
    Out,
    /// The tape was recorded on this machine: its speed says nothing.
    MadeHere,
}

/// Which way a speed is off.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Way {
    /// Less than right.
    Slow,
    /// More than right.
    Fast,
}

impl Verdict {
    /// Of the live speed; `half_width` is that of the band. Whether the tone is
    /// known and the tape from elsewhere, the caller knows.
    pub fn of_live(speed: &SpeedReading, half_width: Percent) -> Self {
        if speed.steadiness == Steadiness::Moving {
            return Self::Moving;
        }
        let Some(own) = speed.uncertainty else {
            return Self::Settling;
        };
        let said = Self::of_steady(
            speed.deviation,
            own,
            speed.uncertainty_with_reference,
            half_width,
        );
        // What ends the work, or asks for patience, is for a speed that has
        // settled; what lies outside by more than its ± is so already.
        if speed.steadiness == Steadiness::Settling && !said.is_out() {
            return Self::Settling;
        }
        said
    }

    /// Of a stretch that was measured as a whole.
    pub fn of_measured(measurement: &Measurement, half_width: Percent) -> Self {
        let Some(speed) = &measurement.speed else {
            return Self::NoReading;
        };
        // Whatever tone it carries, such a tape says nothing.
        if measurement.conditions.reference.recorded_here {
            return Self::MadeHere;
        }
        let by_tone = measurement.conditions.kind == ReferenceKind::Tone;
        if by_tone && measurement.has(CautionCode::ReferenceAmbiguous) {
            return Self::WhichTone;
        }
        // A mean over two speeds may come out right and neither of them be; one
        // over the last steady stretch is what the machine was left at.
        if measurement.has(CautionCode::SpeedMoved) && measurement.cut.is_none() {
            return Self::Moved;
        }
        let Some(own) = speed.uncertainty else {
            return Self::TooShort;
        };
        let SpeedFigures {
            deviation,
            uncertainty_with_reference,
            ..
        } = *speed;
        Self::of_steady(deviation, own, uncertainty_with_reference, half_width)
    }

    fn of_steady(
        deviation: Percent,
        own: Percent,
        with_reference: Option<Percent>,
        half_width: Percent,
    ) -> Self {
        let off = deviation.0.abs();
        let stated = with_reference.unwrap_or(own).0;
        let is_declared = with_reference.is_some();
        if off - stated > half_width.0 {
            let explained = own.0.hypot(UNDECLARED.0);
            if is_declared || off - explained > half_width.0 {
                Self::Out
            } else {
                Self::OutByThisTape
            }
        } else if off + stated > half_width.0 {
            Self::TooCloseToSay
        } else if is_declared {
            Self::InTolerance
        } else {
            Self::RightByThisTape
        }
    }

    /// The same with a tape that was recorded on this machine: right or wrong
    /// cannot be told.
    #[must_use]
    pub fn of_a_tape_made_here(self) -> Self {
        if self.is_judged() {
            Self::MadeHere
        } else {
            self
        }
    }

    /// The speed was held against the band, whatever came of it.
    pub fn is_judged(self) -> bool {
        self.is_right() || self.is_out() || self == Self::TooCloseToSay
    }

    /// Good news.
    pub fn is_right(self) -> bool {
        matches!(self, Self::InTolerance | Self::RightByThisTape)
    }

    /// Outside the band, by the tape at least.
    pub fn is_out(self) -> bool {
        matches!(self, Self::Out | Self::OutByThisTape)
    }

    /// Slow or fast, where this verdict allows to say either: beside what is
    /// right, or before the tone is known, neither is. `own` is the ± without
    /// the tape's own error, for the way is that by the tape.
    pub fn way(self, deviation: Percent, own: Option<Percent>) -> Option<Way> {
        let says_none = matches!(
            self,
            Self::NoReading | Self::WhichTone | Self::Moved | Self::MadeHere
        );
        let is_known = own.is_none_or(|own| deviation.0.abs() > own.0);
        if says_none || self.is_right() || !is_known || deviation.0 == 0.0 {
            None
        } else if deviation.0 < 0.0 {
            Some(Way::Slow)
        } else {
            Some(Way::Fast)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Seconds;

    const BAND: Percent = Percent(0.5);

    fn live(deviation: f64, own: Option<f64>, with_reference: Option<f64>) -> SpeedReading {
        SpeedReading {
            deviation: Percent(deviation),
            measured: None,
            uncertainty: own.map(Percent),
            uncertainty_with_reference: with_reference.map(Percent),
            scatter: own.map(Percent),
            needle: Percent(deviation),
            averaged: Seconds(5.0),
            steadiness: Steadiness::Settled,
            since_move: Seconds(5.0),
        }
    }

    fn verdict(deviation: f64, own: Option<f64>, with_reference: Option<f64>) -> Verdict {
        Verdict::of_live(&live(deviation, own, with_reference), BAND)
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
    fn a_tape_of_unknown_error_gives_neither_in_nor_out_of_tolerance() {
        assert_eq!(verdict(0.0, Some(0.01), None), Verdict::RightByThisTape);
        assert_eq!(verdict(0.495, Some(0.01), None), Verdict::TooCloseToSay);
        assert_eq!(verdict(-1.2, Some(0.01), None), Verdict::OutByThisTape);
        assert_eq!(verdict(-3.4, Some(0.01), None), Verdict::OutByThisTape);
        // No tape is as wrong as this.
        assert_eq!(verdict(-3.6, Some(0.01), None), Verdict::Out);
        assert_eq!(verdict(0.0, None, None), Verdict::Settling);
    }

    #[test]
    fn while_it_settles_only_what_the_uncertainty_shows_is_said() {
        let of = |deviation, own, with_reference| {
            let mut speed = live(deviation, own, with_reference);
            speed.steadiness = Steadiness::Settling;
            Verdict::of_live(&speed, BAND)
        };
        assert_eq!(of(-0.7, Some(0.3), Some(0.3)), Verdict::Settling);
        assert_eq!(of(-0.1, Some(0.1), Some(0.1)), Verdict::Settling);
        assert_eq!(of(-7.0, None, None), Verdict::Settling);
        assert_eq!(of(-1.2, Some(0.3), None), Verdict::OutByThisTape);
        assert_eq!(of(-1.2, Some(0.3), Some(0.4)), Verdict::Out);
    }

    #[test]
    fn slow_and_fast_stand_beside_no_verdict_that_denies_them() {
        let way = |verdict: Verdict| verdict.way(Percent(-0.4), Some(Percent(0.01)));
        for silent in [
            Verdict::NoReading,
            Verdict::WhichTone,
            Verdict::MadeHere,
            Verdict::Moved,
            Verdict::InTolerance,
            Verdict::RightByThisTape,
        ] {
            assert_eq!(way(silent), None, "{silent:?}");
        }
        for told in [Verdict::Out, Verdict::OutByThisTape, Verdict::Settling] {
            assert_eq!(way(told), Some(Way::Slow), "{told:?}");
        }
        let within = Verdict::TooCloseToSay.way(Percent(0.4), Some(Percent(0.5)));
        assert_eq!(within, None);
    }
}
