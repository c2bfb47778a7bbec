//! What a technician is told by ear: the reading brought down to one
//! [`Beat`].
//!
//! While the speed is left alone the digits count, for the needle would let
//! flutter change the rhythm. While a hand turns, it is where the speed will
//! settle, so that the rhythm answers to the hand and not to the flywheel.

use super::guidance::Guidance;
use super::measurement::Reading;
use super::values::{SpeedReading, Steadiness, ToneState};
use super::verdict::Verdict;
use crate::signal::rhythm::Beat;
use crate::units::Percent;

/// From here on it is as far off as it can be, in percent.
const FAR_PERCENT: f64 = 5.0;
/// What lay within the band counts as within it up to this multiple of its half
/// width, as long as it is not known better: else flutter at the edge would
/// switch to and fro.
const STAY: f64 = 1.25;

/// See the module. Remembers only whether it was right a moment ago.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct ByEar {
    was_right: bool,
}

impl ByEar {
    /// What to say of a reading; `half_width` is that of the tolerance band.
    /// Nothing without a tone that is followed.
    pub fn beat(&mut self, reading: &Reading, half_width: Percent) -> Beat {
        let speed = reading.speed.as_ref();
        let Some(speed) = speed.filter(|_| reading.tone == ToneState::Locked) else {
            self.was_right = false;
            return Beat::Quiet;
        };
        self.beat_of(speed, &reading.guidance, half_width.0)
    }

    fn beat_of(&mut self, speed: &SpeedReading, guidance: &Guidance, band: f64) -> Beat {
        if guidance.overshoots {
            return Beat::Stop;
        }
        let is_moving = speed.steadiness == Steadiness::Moving;
        let (deviation, verdict) = match guidance.heading {
            Some(heading) => (heading.0, None),
            None if is_moving => (speed.needle.0, None),
            None => (
                speed.deviation.0,
                Some(Verdict::of_live(speed, Percent(band))),
            ),
        };
        let off = deviation.abs();
        // What is called slow or fast on screen is heard so.
        let is_told_off = verdict.is_some_and(|verdict| {
            let way = verdict.way(speed.deviation, speed.uncertainty);
            verdict.is_out() || verdict == Verdict::TooCloseToSay && way.is_some()
        });
        let edge = if self.was_right { STAY * band } else { band };
        self.was_right = !is_told_off && off <= edge;
        if !self.was_right {
            return outside(deviation, band);
        }
        if verdict.is_some_and(Verdict::is_right) {
            Beat::Settled
        } else {
            Beat::Right
        }
    }
}

/// Equal ratios of deviation are equal steps of nearness, so that the last
/// tenths of a percent are heard as well as the first whole ones.
fn outside(deviation: f64, band: f64) -> Beat {
    let edge = band.max(0.001);
    let far = FAR_PERCENT.max(4.0 * edge);
    let nearness = (far / deviation.abs()).ln() / (far / edge).ln();
    let nearness = nearness.clamp(0.0, 1.0);
    if deviation < 0.0 {
        Beat::Slow(nearness)
    } else {
        Beat::Fast(nearness)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::{Hertz, Seconds};

    const BAND: f64 = 0.5;

    fn speed(deviation: f64, uncertainty: Option<f64>, steadiness: Steadiness) -> SpeedReading {
        SpeedReading {
            deviation: Percent(deviation),
            measured: Some(Hertz(3150.0 * (1.0 + deviation / 100.0))),
            uncertainty: uncertainty.map(Percent),
            uncertainty_with_reference: None,
            scatter: uncertainty.map(Percent),
            needle: Percent(deviation + 0.4),
            averaged: Seconds(5.0),
            steadiness,
            since_move: Seconds(5.0),
        }
    }

    fn beat(ear: &mut ByEar, speed: &SpeedReading) -> Beat {
        ear.beat_of(speed, &Guidance::default(), BAND)
    }

    #[test]
    fn side_and_nearness_follow_the_deviation() {
        let of = |deviation| {
            let speed = speed(deviation, Some(0.02), Steadiness::Settled);
            beat(&mut ByEar::default(), &speed)
        };
        let nearness = |beat| match beat {
            Beat::Slow(nearness) => -nearness,
            Beat::Fast(nearness) => nearness,
            other => panic!("{other:?}"),
        };
        assert_eq!(of(-8.0), Beat::Slow(0.0));
        assert_eq!(of(8.0), Beat::Fast(0.0));
        assert!(nearness(of(-0.6)) < nearness(of(-1.2)));
        assert!(nearness(of(0.6)) > nearness(of(1.2)));
        // The whole scale lies between the edge and ten times it.
        let half_way = nearness(of((BAND * FAR_PERCENT).sqrt()));
        assert!((half_way - 0.5).abs() < 1e-9, "{half_way}");
    }

    #[test]
    fn settled_is_only_said_with_the_whole_uncertainty_inside() {
        let of = |deviation, known, steadiness| {
            beat(&mut ByEar::default(), &speed(deviation, known, steadiness))
        };
        assert_eq!(of(0.3, Some(0.1), Steadiness::Settled), Beat::Settled);
        assert_eq!(of(0.45, Some(0.1), Steadiness::Settled), Beat::Fast(1.0));
        assert_eq!(of(0.3, Some(0.4), Steadiness::Settled), Beat::Right);
        assert_eq!(of(0.3, Some(0.1), Steadiness::Settling), Beat::Right);
        assert_eq!(of(0.3, None, Steadiness::Settling), Beat::Right);
    }

    #[test]
    fn at_the_edge_it_stays_with_what_it_said_unless_it_knows_better() {
        let mut ear = ByEar::default();
        let settling = |deviation| speed(deviation, None, Steadiness::Settling);
        assert!(matches!(beat(&mut ear, &settling(0.55)), Beat::Fast(_)));
        assert_eq!(beat(&mut ear, &settling(0.45)), Beat::Right);
        assert_eq!(beat(&mut ear, &settling(0.55)), Beat::Right);
        let known = speed(0.55, Some(0.02), Steadiness::Settled);
        assert!(matches!(beat(&mut ear, &known), Beat::Fast(_)));
        assert!(matches!(beat(&mut ear, &settling(0.55)), Beat::Fast(_)));
    }

    #[test]
    fn a_hand_that_turns_hears_where_it_leads() {
        let mut ear = ByEar::default();
        let moving = speed(-2.0, Some(0.02), Steadiness::Moving);
        let heading = |heading, overshoots| Guidance {
            heading: Some(Percent(heading)),
            overshoots,
            ..Guidance::default()
        };
        // The needle where there is no heading.
        let Beat::Slow(by_needle) = beat(&mut ear, &moving) else {
            panic!("it is slow");
        };
        let expected = outside(-1.6, BAND);
        assert_eq!(expected, Beat::Slow(by_needle));
        assert_eq!(
            ear.beat_of(&moving, &heading(-0.2, false), BAND),
            Beat::Right
        );
        assert_eq!(ear.beat_of(&moving, &heading(0.9, true), BAND), Beat::Stop);
    }
}
