//! Finds where the level of a tone falls away for a moment.
//!
//! A dropout is a level 12 dB or more below the median of the last half
//! second, for 2 ms or more.

use super::statistics::median;

/// 12 dB as a ratio of powers.
const DEPTH: f64 = 0.063_095_734;

/// How far back the median looks, and how often it takes a value.
const MEDIAN_S: f64 = 0.5;
const MEDIAN_STEP_S: f64 = 0.01;

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
    ring: Vec<f32>,
    sum: f64,
    place: usize,
    count: u64,
    recent: Vec<f64>,
    recent_place: usize,
    step: u64,
    until_step: u64,
    median: Option<f64>,
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
        let step = (MEDIAN_STEP_S * coarse_rate_hz).round() as u64;
        let shortest = (SHORTEST_S * coarse_rate_hz).round() - average;
        Self {
            ring: vec![0.0; average as usize],
            sum: 0.0,
            place: 0,
            count: 0,
            recent: Vec::with_capacity((MEDIAN_S / MEDIAN_STEP_S) as usize),
            recent_place: 0,
            step,
            until_step: step,
            median: None,
            below_since: None,
            shortest: shortest.max(2.0) as u64,
            scratch: Vec::with_capacity((MEDIAN_S / MEDIAN_STEP_S) as usize),
        }
    }

    /// True while the level is down.
    pub fn is_down(&self) -> bool {
        self.below_since.is_some()
    }

    /// Coarse samples seen so far.
    pub fn count(&self) -> u64 {
        self.count
    }

    /// Takes the power of one coarse sample; returns a dropout when it ends.
    #[inline]
    pub fn push(&mut self, power: f32) -> Option<Gap> {
        let old = std::mem::replace(&mut self.ring[self.place], power);
        self.place += 1;
        if self.place == self.ring.len() {
            // Summed anew each lap: rounding never piles up.
            self.place = 0;
            self.sum = self.ring.iter().map(|&p| f64::from(p)).sum();
        } else {
            self.sum += f64::from(power) - f64::from(old);
        }
        let now = self.count;
        self.count += 1;
        let mean = self.sum / self.ring.len() as f64;
        self.until_step -= 1;
        if self.until_step == 0 {
            self.until_step = self.step;
            self.update_median(mean);
        }
        let down = self.median.is_some_and(|median| mean < median * DEPTH);
        match (down, self.below_since) {
            (true, None) => {
                self.below_since = Some(now);
                None
            }
            (false, Some(since)) => {
                self.below_since = None;
                self.finished(since, now)
            }
            _ => None,
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
        let window = self.ring.len() as u64;
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
        self.median = median(&mut self.scratch);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn run(gap_ms: f64, depth_db: f64) -> Vec<Gap> {
        let mut detector = DropoutDetector::new(8000.0, 3150.0);
        let start = 8000;
        let end = start + (gap_ms * 8.0) as usize;
        (0..16_000)
            .filter_map(|n| {
                let down = (start..end).contains(&n);
                let db = if down { -depth_db } else { 0.0 };
                detector.push(10f32.powf(db as f32 / 10.0))
            })
            .collect()
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
