//! A steady tone in white noise, measured by the whole engine, and how well
//! any estimator could do.

use std::f64::consts::TAU;

use super::dice::Dice;
use super::sound;

pub const RATE_HZ: u32 = 48_000;

/// One kind of record.
#[derive(Clone, Copy, Debug)]
pub struct Cell {
    pub tone_hz: f64,
    /// Over half the sample rate.
    pub snr_db: f64,
    pub length_s: f64,
}

/// Errors of the mean frequency as multiples of the bound.
#[derive(Clone, Copy, Debug)]
pub struct Errors {
    pub rms: f64,
    pub mean: f64,
    /// Records of which nothing was measured.
    pub missing: usize,
}

impl Cell {
    /// The Cramér-Rao bound of the frequency, relative to the tone: var(ω) ≥
    /// 12 / (snr · N (N² − 1)) for a real tone of unknown amplitude and phase
    /// in N samples (D. C. Rife and R. R. Boorstyn, "Single-tone parameter
    /// estimation from discrete-time observations", IEEE Trans. Inform.
    /// Theory, 1974). N is all the samples of the record.
    fn bound(&self) -> f64 {
        let samples = self.length_s * f64::from(RATE_HZ);
        let snr = 10f64.powf(self.snr_db / 10.0);
        let radians = (12.0 / (snr * samples * (samples * samples - 1.0))).sqrt();
        radians * f64::from(RATE_HZ) / TAU / self.tone_hz
    }

    /// Measures so many records, tones within 3 % of the nominal.
    pub fn errors(&self, trials: usize) -> Errors {
        let seed = (self.tone_hz + 7.0 * self.snr_db + 1e5 * self.length_s) as u64;
        let mut dice = Dice::new(seed);
        let errors: Vec<f64> = (0..trials).filter_map(|_| self.trial(&mut dice)).collect();
        let bound = self.bound();
        let count = errors.len() as f64;
        Errors {
            rms: (errors.iter().map(|e| e * e).sum::<f64>() / count).sqrt() / bound,
            mean: errors.iter().sum::<f64>() / count / bound,
            missing: trials - errors.len(),
        }
    }

    fn trial(&self, dice: &mut Dice) -> Option<f64> {
        let hz = self.tone_hz * (1.0 + dice.between(-0.03, 0.03));
        let phase = dice.unit();
        let amplitude = 0.5;
        let noise = amplitude * (0.5 / 10f64.powf(self.snr_db / 10.0)).sqrt();
        let count = (self.length_s * f64::from(RATE_HZ)) as usize;
        let mut samples = Vec::with_capacity(count + 1);
        while samples.len() < count {
            for white in gaussian_pair(dice) {
                let turns = hz / f64::from(RATE_HZ) * samples.len() as f64 + phase;
                samples.push((amplitude * (TAU * turns.fract()).sin() + noise * white) as f32);
            }
        }
        samples.truncate(count);
        let settings = sound::settings_at(RATE_HZ, 1, self.tone_hz);
        Some(sound::measure(settings, &samples).speed?.measured?.0 / hz - 1.0)
    }
}

/// Two independent Gaussian numbers (G. E. P. Box and M. E. Muller, 1958).
fn gaussian_pair(dice: &mut Dice) -> [f64; 2] {
    let even = 1.0 - dice.unit();
    let (sin, cos) = (TAU * dice.unit()).sin_cos();
    let radius = (-2.0 * even.ln()).sqrt();
    [radius * cos, radius * sin]
}
