//! Carries a speed track across moments when it cannot be believed.
//!
//! Values pass a short delay line; where some are marked bad, a straight line
//! is laid between what stood before and what comes after. The tape went on
//! running meanwhile, so where the gap is short enough to count the turns of
//! the carrier across it, the line is bent so that its mean is the true mean
//! speed.

use super::demodulator::turns_between;
use rustfft::num_complex::Complex64;

/// Values on each side that make the ends of the line; as many before a bad one
/// are taken as bad with it.
const GUARD: usize = 4;

/// Room for the values before a gap and those that wait behind it.
const CIRCLE: usize = 16;
const _: () = assert!(CIRCLE > 2 * GUARD + 1);

/// Longest gap across which the turns can be counted: beyond it wow makes
/// them ambiguous.
const COUNTABLE_S: f64 = 0.06;

/// One value of the track going in.
#[derive(Clone, Copy, Debug, Default)]
pub struct Raw {
    /// Frequency in hertz.
    pub hz: f64,
    /// Envelope of the best channel, for counting turns.
    pub envelope: Complex64,
    /// Which channel that was: phases of two are not comparable.
    pub channel: usize,
    /// Can it be believed?
    pub good: bool,
}

/// The delay line with its gap.
#[derive(Clone, Debug)]
pub struct Bridge {
    rate_hz: f64,
    carrier_hz: f64,
    /// The newest values in a circle: those that have gone out and those that
    /// wait, which begin at `first`.
    circle: [Raw; CIRCLE],
    first: usize,
    before: usize,
    waiting: usize,
    gap: usize,
    countable: bool,
}

impl Bridge {
    /// For a track of `rate_hz` values a second around a carrier.
    pub fn new(rate_hz: f64, carrier_hz: f64) -> Self {
        Self {
            rate_hz,
            carrier_hz,
            circle: [Raw::default(); CIRCLE],
            first: 0,
            before: 0,
            waiting: 0,
            gap: 0,
            countable: true,
        }
    }

    /// Delay of the line in values.
    pub fn delay() -> usize {
        GUARD
    }

    /// Length of the gap that is open now, in seconds; 0 when none is.
    pub fn open_gap_s(&self) -> f64 {
        self.gap as f64 / self.rate_hz
    }

    /// The carrier has moved: turns cannot be counted across this gap.
    pub fn carrier_moved(&mut self, carrier_hz: f64) {
        self.carrier_hz = carrier_hz;
        self.countable = false;
    }

    /// One value in; none or more frequencies out.
    #[inline]
    pub fn push(&mut self, raw: Raw, mut out: impl FnMut(f64)) {
        if !raw.good {
            self.gap += self.waiting + 1;
            self.waiting = 0;
            return;
        }
        self.circle[(self.first + self.waiting) % CIRCLE] = raw;
        self.waiting += 1;
        if self.waiting <= GUARD {
            return;
        }
        if self.gap > 0 {
            self.close(&mut out);
        }
        out(self.circle[self.first].hz);
        self.first = (self.first + 1) % CIRCLE;
        self.waiting -= 1;
        self.before = GUARD.min(self.before + 1);
    }

    #[cold]
    fn close(&mut self, out: &mut impl FnMut(f64)) {
        let gap = self.gap as f64;
        // Without anything before there is nothing to lay a line from.
        if self.before == 0 {
            self.gap = 0;
            return;
        }
        let after = self.mean_hz(self.first, GUARD);
        let before = self.mean_hz(self.first + CIRCLE - self.before, self.before);
        // The bump 6 u (1 − u) has mean 1; sampled at n midpoints it has
        // 1 + 1/(2 n²).
        let bend = self.bend(before, after) / (1.0 + 0.5 / (gap * gap));
        for k in 0..self.gap {
            let u = (k as f64 + 0.5) / gap;
            out(before + (after - before) * u + bend * 6.0 * u * (1.0 - u));
        }
        self.gap = 0;
        self.countable = true;
    }

    /// How much the mean over the gap differs from the straight line, in
    /// hertz: the turns that the carrier made, counted to the nearest whole.
    fn bend(&self, before: f64, after: f64) -> f64 {
        let last = &self.circle[(self.first + CIRCLE - 1) % CIRCLE];
        let first = &self.circle[self.first];
        let gap_s = self.open_gap_s();
        if !self.countable || gap_s > COUNTABLE_S || last.channel != first.channel {
            return 0.0;
        }
        // From the last good value to the first good one, which carries the
        // frequency of its own step too.
        let line_turns = (f64::midpoint(before, after) - self.carrier_hz) * gap_s
            + (first.hz - self.carrier_hz) / self.rate_hz;
        let missing = turns_between(last.envelope, first.envelope) - line_turns;
        (missing - missing.round()) / gap_s
    }

    /// Mean of `count` values of the circle.
    fn mean_hz(&self, from: usize, count: usize) -> f64 {
        let values = (from..from + count).map(|place| self.circle[place % CIRCLE].hz);
        values.sum::<f64>() / count as f64
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::signal::demodulator::turned_by;

    /// A track with wow, its envelope turning as it must.
    fn track(bad: std::ops::Range<usize>) -> (Vec<f64>, Vec<f64>) {
        let rate = 2000.0;
        let mut bridge = Bridge::new(rate, 3150.0);
        let mut turns = 0.0;
        let mut truth = Vec::new();
        let mut got = Vec::new();
        for n in 0..2000 {
            let hz = 3150.0 + 8.0 * (std::f64::consts::TAU * 3.0 * n as f64 / rate).sin();
            turns += (hz - 3150.0) / rate;
            truth.push(hz);
            let good = !bad.contains(&n);
            let raw = Raw {
                hz: if good { hz } else { 2900.0 },
                envelope: turned_by(turns),
                channel: 0,
                good,
            };
            bridge.push(raw, |value| got.push(value));
        }
        (truth, got)
    }

    #[test]
    fn a_good_track_passes_untouched() {
        let (truth, got) = track(0..0);
        assert_eq!(got.len(), truth.len() - GUARD);
        assert!(got.iter().zip(&truth).all(|(g, t)| (g - t).abs() < 1e-9));
    }

    #[test]
    fn the_mean_across_a_gap_is_the_true_mean() {
        let (truth, got) = track(700..760);
        let off: Vec<f64> = got.iter().zip(&truth).map(|(g, t)| g - t).collect();
        let untouched = off[..700 - GUARD].iter().chain(&off[760..]);
        assert!(untouched.into_iter().all(|off| off.abs() < 1e-9));
        assert!(off[700 - GUARD].abs() > 1e-9);
        let error: f64 = off.iter().sum();
        assert!(error.abs() < 1e-6, "{error}");
        let worst = off.iter().fold(0.0, |worst: f64, off| worst.max(off.abs()));
        assert!(worst < 0.5, "{worst}");
    }

    #[test]
    fn a_gap_at_the_start_is_left_out() {
        let (truth, got) = track(0..30);
        assert_eq!(got.len(), truth.len() - 30 - GUARD);
        assert!((got[0] - truth[30]).abs() < 1e-9);
    }
}
