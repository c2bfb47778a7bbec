//! Two channels of one tone beside each other: how strong each is, and by how
//! much of a turn one is behind.

use rustfft::num_complex::Complex64;

/// Length of what one [`Pair`] tells of, in seconds. A choice: many of them in
/// a second for an eye, few enough to keep.
pub const PAIR_S: f64 = 0.1;

/// Means over some ticks.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Pair {
    /// Left times the conjugate of right, of the complex envelopes: its argument
    /// is how far the right channel is behind.
    pub cross: Complex64,
    /// Square of the amplitude, left and right; 1 is a full-scale sine.
    pub powers: [f64; 2],
    /// Frequency of the tone in hertz.
    pub hz: f64,
}

/// Adds up ticks.
#[derive(Clone, Debug)]
pub struct Pairing {
    sum: Pair,
    ticks: u32,
    ticks_of_one: u32,
}

impl Pair {
    /// Adds another, for means and sums alike.
    pub fn add(&mut self, other: &Self) {
        self.cross += other.cross;
        self.powers[0] += other.powers[0];
        self.powers[1] += other.powers[1];
        self.hz += other.hz;
    }

    /// Divides a sum of `count`.
    pub fn over(self, count: f64) -> Self {
        Self {
            cross: self.cross / count,
            powers: self.powers.map(|power| power / count),
            hz: self.hz / count,
        }
    }

    /// How far the right channel is behind, in turns of the tone, -0.5 to 0.5.
    pub fn right_lags_turns(&self) -> f64 {
        self.cross.arg() / std::f64::consts::TAU
    }

    /// How much of both channels is one and the same tone, 0 to 1.
    pub fn coherence(&self) -> f64 {
        let both = self.powers[0] * self.powers[1];
        if both > 0.0 {
            self.cross.norm_sqr() / both
        } else {
            0.0
        }
    }
}

impl Pairing {
    /// For `rate_hz` ticks a second.
    pub fn new(rate_hz: f64) -> Self {
        Self {
            sum: Pair::default(),
            ticks: 0,
            ticks_of_one: (PAIR_S * rate_hz).round().max(1.0) as u32,
        }
    }

    /// One tick in which both channels can be believed: their envelopes and the
    /// tone in hertz. The means come out when there are enough.
    pub fn push(&mut self, [left, right]: [Complex64; 2], hz: f64) -> Option<Pair> {
        self.sum.add(&Pair {
            cross: left * right.conj(),
            powers: [left.norm_sqr(), right.norm_sqr()],
            hz,
        });
        self.ticks += 1;
        if self.ticks < self.ticks_of_one {
            return None;
        }
        let pair = std::mem::take(&mut self.sum).over(f64::from(self.ticks));
        self.ticks = 0;
        Some(pair)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_later_channel_lags_and_noise_is_not_one_tone() {
        let mut pairing = Pairing::new(2000.0);
        let turned = |turns: f64| Complex64::from_polar(0.5, std::f64::consts::TAU * turns);
        let pairs: Vec<Pair> = (0..400)
            .filter_map(|_| pairing.push([turned(0.3), turned(0.2)], 1000.0))
            .collect();
        assert_eq!(pairs.len(), 2);
        assert!((pairs[0].right_lags_turns() - 0.1).abs() < 1e-12);
        assert!((pairs[0].coherence() - 1.0).abs() < 1e-12);
        // A channel that turns by itself is not the same tone.
        let two_tones = (0..400)
            .filter_map(|k| pairing.push([turned(0.0), turned(f64::from(k) / 20.0)], 1000.0));
        assert!(two_tones.last().expect("two").coherence() < 0.01);
    }
}
