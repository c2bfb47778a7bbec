//! One tone in two channels, the right one late.

use super::dice::Dice;
use super::sound::{sine, stereo};

/// A tone in two channels with noise of its own in each.
pub struct Pair {
    pub hz: f64,
    pub seconds: f64,
    pub amplitudes: [f64; 2],
    pub right_later_us: f64,
    pub snr_db: f64,
    pub seed: u64,
    /// The right channel upside down.
    pub inverted: bool,
    /// Tape that weaves: root mean square, and its memory in seconds.
    pub weave: Option<(f64, f64)>,
}

impl Pair {
    pub fn of(hz: f64, right_later_us: f64) -> Self {
        Self {
            hz,
            seconds: 10.0,
            amplitudes: [0.25, 0.2],
            right_later_us,
            snr_db: 40.0,
            seed: 1,
            inverted: false,
            weave: None,
        }
    }

    pub fn samples(&self, rate_hz: u32) -> Vec<f32> {
        let mut dice = Dice::new(self.seed);
        let rate = f64::from(rate_hz);
        let hiss = self
            .amplitudes
            .map(|it| it / 2f64.sqrt() * 10f64.powf(-self.snr_db / 20.0));
        let mut weave_us = 0.0;
        let mut channels = [Vec::new(), Vec::new()];
        for n in 0..(self.seconds * rate) as usize {
            if let Some((rms, memory_s)) = self.weave {
                let kept = (-1.0 / (memory_s * rate)).exp();
                weave_us = kept * weave_us + rms * (1.0 - kept * kept).sqrt() * dice.bell();
            }
            let t = n as f64 / rate;
            for (side, samples) in channels.iter_mut().enumerate() {
                let later_us = [0.0, self.right_later_us + weave_us][side];
                let sign = if side == 1 && self.inverted {
                    -1.0
                } else {
                    1.0
                };
                let tone =
                    sign * self.amplitudes[side] * sine(self.hz * (t - 1e-6 * later_us) + 0.3);
                samples.push((tone + hiss[side] * dice.bell()) as f32);
            }
        }
        stereo(&channels[0], &channels[1])
    }
}
