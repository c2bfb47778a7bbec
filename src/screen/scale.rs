//! Scales that follow what they show: out at once when it leaves the scale,
//! in only when it has stayed well inside the next one for a while.

use crate::units::Seconds;

/// Full scales of the needle, in percent.
pub const NEEDLE_SCALES: &[f64] = &[10.0, 3.0, 1.0, 0.3, 0.1];
/// Full scales of the bars for wow and flutter, in percent.
pub const FLUTTER_SCALES: &[f64] = &[10.0, 3.0, 1.0, 0.3, 0.1];
/// Full scales of the drift bar, in percent a minute.
pub const DRIFT_SCALES: &[f64] = &[10.0, 3.0, 1.0, 0.3, 0.1];

/// Part of the scale beyond which the next wider one is taken.
const OUT_BEYOND: f64 = 0.97;
/// Part of the next closer scale within which that one is taken.
const IN_WITHIN: f64 = 0.75;
/// How long it must stay there, so that the scale does not flutter with the
/// needle.
const CALM: Seconds = Seconds(0.8);

/// A scale that zooms by itself.
#[derive(Clone, Debug, PartialEq)]
pub struct ZoomingScale {
    /// Widest first.
    steps: &'static [f64],
    at: usize,
    calm_since: Option<Seconds>,
    /// The first value takes its scale at once.
    is_fresh: bool,
}

impl ZoomingScale {
    /// Begins on the widest of `steps`, which come widest first.
    pub fn new(steps: &'static [f64]) -> Self {
        Self {
            steps,
            at: 0,
            calm_since: None,
            is_fresh: true,
        }
    }

    /// The full scale now in force.
    pub fn full(&self) -> f64 {
        self.steps[self.at]
    }

    /// Takes the next magnitude, read at a time counted in samples.
    pub fn follow(&mut self, magnitude: f64, now: Seconds) {
        while self.at > 0 && magnitude > self.full() * OUT_BEYOND {
            self.at -= 1;
            self.calm_since = None;
        }
        let fresh = std::mem::take(&mut self.is_fresh);
        while fresh && self.fits_closer(magnitude) {
            self.at += 1;
        }
        if !self.fits_closer(magnitude) {
            self.calm_since = None;
            return;
        }
        // A source that is opened again counts from zero.
        let since = *self.calm_since.get_or_insert(now);
        if now.0 - since.0 >= CALM.0 {
            self.at += 1;
            self.calm_since = Some(now);
        } else if now.0 < since.0 {
            self.calm_since = Some(now);
        }
    }

    fn fits_closer(&self, magnitude: f64) -> bool {
        let closer = self.steps.get(self.at + 1);
        closer.is_some_and(|step| magnitude < step * IN_WITHIN)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn it_zooms_in_step_by_step_and_out_at_once() {
        let mut scale = ZoomingScale::new(NEEDLE_SCALES);
        scale.follow(9.0, Seconds(0.0));
        let mut seen = vec![scale.full()];
        for tick in 0..200 {
            scale.follow(0.02, Seconds(f64::from(tick) * 0.03));
            if Some(&scale.full()) != seen.last() {
                seen.push(scale.full());
            }
        }
        assert_eq!(seen, NEEDLE_SCALES);
        scale.follow(2.5, Seconds(7.0));
        assert!((scale.full() - 3.0).abs() < 1e-12);
        scale.follow(40.0, Seconds(7.1));
        assert!((scale.full() - 10.0).abs() < 1e-12);
    }

    #[test]
    fn the_first_value_takes_its_scale_at_once() {
        let mut scale = ZoomingScale::new(NEEDLE_SCALES);
        scale.follow(0.2, Seconds(0.0));
        assert!((scale.full() - 0.3).abs() < 1e-12);
        scale.follow(0.02, Seconds(0.1));
        assert!((scale.full() - 0.3).abs() < 1e-12);
    }

    #[test]
    fn a_needle_at_the_edge_of_two_scales_does_not_make_them_flutter() {
        let mut scale = ZoomingScale::new(NEEDLE_SCALES);
        let mut changes = 0;
        scale.follow(9.0, Seconds(0.0));
        for tick in 0..1000 {
            let before = scale.full();
            // Wow around 1 %: now inside, now outside of the ±1 % scale.
            let wow = 1.0 + 0.15 * (f64::from(tick) * 0.03 * 4.0).sin();
            scale.follow(wow, Seconds(f64::from(tick) * 0.03));
            changes += i32::from((scale.full() - before).abs() > 1e-12);
        }
        assert_eq!(changes, 1);
        assert!((scale.full() - 3.0).abs() < 1e-12);
    }
}
