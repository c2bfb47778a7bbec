//! Finds where the level of a tone falls away for a moment.
//!
//! A dropout is a level 12 dB or more below the median of the last half
//! second, for 2 ms or more.

use super::statistics::median;

/// 12 dB as a ratio of powers. This and the shortest length are common practice,
/// no source: what is shallower or shorter is not heard.
const DEPTH: f64 = 0.063_095_734;

/// How far back the median looks, and how often it takes a value.
const MEDIAN_VALUES: usize = 25;
const MEDIAN_STEP_S: f64 = 0.02;

/// The power is averaged at least this long.
const AVERAGE_S: f64 = 0.0015;

/// Shortest dropout.
const SHORTEST_S: f64 = 0.002;

/// A finished dropout, in coarse samples since the detector began.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Gap {
    /// First coarse sample below.
    pub start: u64,
    /// How many.
    pub length: u64,
}

/// Watches the power of one channel at the coarse rate.
#[derive(Clone, Debug)]
pub struct DropoutDetector {
    /// Coarse samples in an average.
    window: usize,
    count: u64,
    recent: Vec<f64>,
    recent_place: usize,
    step: usize,
    until_step: usize,
    /// Below this the level is down; not known at first.
    threshold: Option<f64>,
    below_since: Option<u64>,
    shortest: u64,
    scratch: Vec<f64>,
}

impl DropoutDetector {
    /// For a tone at `carrier_hz`. The average is taken over whole half
    /// periods, so that the mirror image of a low tone does not ripple.
    pub fn new(coarse_rate_hz: f64, carrier_hz: f64) -> Self {
        let halves = (2.0 * carrier_hz * AVERAGE_S).ceil();
        let average = (coarse_rate_hz * halves / (2.0 * carrier_hz))
            .round()
            .max(1.0);
        let step = (MEDIAN_STEP_S * coarse_rate_hz).round() as usize;
        let shortest = (SHORTEST_S * coarse_rate_hz).round() - average;
        Self {
            window: average as usize,
            count: 0,
            recent: Vec::with_capacity(MEDIAN_VALUES),
            recent_place: 0,
            step,
            until_step: step,
            threshold: None,
            below_since: None,
            shortest: shortest.max(2.0) as u64,
            scratch: Vec::with_capacity(MEDIAN_VALUES),
        }
    }

    /// True while the level is down.
    pub fn is_down(&self) -> bool {
        self.below_since.is_some()
    }

    /// Powers from before a tick that are asked for with it.
    pub fn kept_powers(&self) -> usize {
        self.window - 1
    }

    /// Takes the powers of the coarse samples of a tick, behind
    /// [`DropoutDetector::kept_powers`] from before it, none of them below
    /// `lowest`; tells of a dropout when it ends.
    #[inline]
    pub fn tick(&mut self, powers: &[f32], lowest: f32, mut found: impl FnMut(Gap)) {
        let fresh = powers.len() - self.kept_powers();
        if self.may_be_down(powers, lowest) {
            for place in 0..fresh {
                let mean = self.mean(powers, place);
                self.look(mean, self.count + place as u64, &mut found);
            }
        }
        self.count += fresh as u64;
        if self.until_step > fresh {
            self.until_step -= fresh;
        } else {
            self.until_step = self.step;
            self.update_median(self.mean(powers, fresh - 1));
        }
    }

    /// No average is below the threshold when none of its parts is.
    fn may_be_down(&self, powers: &[f32], lowest: f32) -> bool {
        let Some(threshold) = self.threshold else {
            return false;
        };
        // A little more, for what is lost by the shorter number.
        let threshold = (threshold * 1.000_001) as f32;
        self.is_down() || (lowest <= threshold && powers.iter().any(|&p| p <= threshold))
    }

    fn mean(&self, powers: &[f32], place: usize) -> f64 {
        let window = &powers[place..place + self.window];
        window.iter().map(|&p| f64::from(p)).sum::<f64>() / self.window as f64
    }

    fn look(&mut self, mean: f64, now: u64, found: &mut impl FnMut(Gap)) {
        let down = self.threshold.is_some_and(|threshold| mean < threshold);
        match (down, self.below_since) {
            (true, None) => self.below_since = Some(now),
            (false, Some(since)) => {
                self.below_since = None;
                if let Some(gap) = self.finished(since, now) {
                    found(gap);
                }
            }
            _ => {}
        }
    }

    /// The running mean goes down a window late and up a few samples late: a
    /// gap of L coarse samples reads about L − window; both edges are moved
    /// back by what the mean needs to see them.
    fn finished(&self, since: u64, now: u64) -> Option<Gap> {
        let measured = now - since;
        if measured < self.shortest {
            return None;
        }
        let window = self.window as u64;
        Some(Gap {
            start: since.saturating_sub(window),
            length: measured + window,
        })
    }

    fn update_median(&mut self, mean: f64) {
        if self.recent.len() < self.recent.capacity() {
            self.recent.push(mean);
        } else {
            self.recent[self.recent_place] = mean;
            self.recent_place = (self.recent_place + 1) % self.recent.len();
        }
        self.scratch.clear();
        self.scratch.extend_from_slice(&self.recent);
        self.threshold = median(&mut self.scratch).map(|median| median * DEPTH);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn run(gap_ms: f64, depth_db: f64) -> Vec<Gap> {
        let mut detector = DropoutDetector::new(8000.0, 3150.0);
        let start = 8000;
        let end = start + (gap_ms * 8.0) as usize;
        let kept = detector.kept_powers();
        let level = |n: usize| {
            let down = (start + kept..end + kept).contains(&n);
            10f32.powf(if down { -depth_db as f32 / 10.0 } else { 0.0 })
        };
        let powers: Vec<f32> = (0..16_000 + kept).map(level).collect();
        let mut gaps = Vec::new();
        for n in (0..16_000).step_by(4) {
            let powers = &powers[n..n + kept + 4];
            let lowest = powers.iter().copied().fold(f32::INFINITY, f32::min);
            detector.tick(powers, lowest, |gap| gaps.push(gap));
        }
        gaps
    }

    #[test]
    fn dropouts_are_found_with_their_length() {
        for gap_ms in [2.0, 3.0, 5.0, 20.0, 100.0] {
            let gaps = run(gap_ms, 40.0);
            assert_eq!(gaps.len(), 1, "{gap_ms} ms");
            let length_ms = gaps[0].length as f64 / 8.0;
            let start_ms = gaps[0].start as f64 / 8.0;
            assert!((length_ms - gap_ms).abs() < 2.0, "{gap_ms}: {length_ms}");
            assert!((start_ms - 1000.0).abs() < 2.0, "{start_ms}");
        }
    }

    #[test]
    fn what_is_short_or_shallow_is_no_dropout() {
        assert_eq!(run(0.8, 40.0), []);
        assert_eq!(run(20.0, 11.0), []);
        assert_eq!(run(20.0, 13.0).len(), 1);
    }
}
