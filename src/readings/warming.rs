//! Is the machine warm? By its drift, not by the clock on the wall: one needs
//! two minutes, another twenty.

use super::values::DriftReading;
use crate::units::Percent;

/// What the drift says about warming up.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Warming {
    /// The drift is not known well enough to say.
    Unknown,
    /// It drifts by more than the bound, whatever the ±.
    Drifting,
    /// The drift with its whole ± lies within the bound.
    Warm,
}

/// A machine whose speed goes by less than this part of the tolerance in a
/// minute stays right for as long as trimming takes; common practice, no
/// source.
const PART_A_MINUTE: f64 = 0.2;

impl Warming {
    /// The drift that counts as none, in percent a minute, for a tolerance
    /// band of this half width.
    pub fn bound_percent_per_minute(tolerance: Percent) -> f64 {
        PART_A_MINUTE * tolerance.0
    }

    /// From the drift of a live reading; `None` counts as not known.
    pub fn of(drift: Option<&DriftReading>, tolerance: Percent) -> Self {
        let bound = Self::bound_percent_per_minute(tolerance);
        let known = drift.and_then(|drift| {
            let half_width = drift.uncertainty_percent_per_minute?;
            Some((drift.percent_per_minute.abs(), half_width))
        });
        match known {
            Some((slope, half_width)) if slope + half_width <= bound => Self::Warm,
            Some((slope, half_width)) if slope - half_width > bound => Self::Drifting,
            _ => Self::Unknown,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(slope: f64, half_width: Option<f64>) -> Warming {
        let drift = DriftReading {
            percent_per_minute: slope,
            uncertainty_percent_per_minute: half_width,
            span: None,
        };
        // The bound is 0.1 % a minute.
        Warming::of(Some(&drift), Percent(0.5))
    }

    #[test]
    fn warm_is_said_only_with_the_whole_uncertainty_within_the_bound() {
        assert_eq!(of(0.05, Some(0.04)), Warming::Warm);
        assert_eq!(of(-0.05, Some(0.04)), Warming::Warm);
        assert_eq!(of(0.05, Some(0.06)), Warming::Unknown);
        assert_eq!(of(0.0, None), Warming::Unknown);
        assert_eq!(Warming::of(None, Percent(0.5)), Warming::Unknown);
    }

    #[test]
    fn drifting_is_said_only_where_it_is_sure() {
        assert_eq!(of(-0.25, Some(0.1)), Warming::Drifting);
        assert_eq!(of(-0.15, Some(0.1)), Warming::Unknown);
    }
}
