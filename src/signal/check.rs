//! A look at the whole spectrum now and then while a tone is followed: noise,
//! hum, level.

use super::fir::total;
use super::spectrum::{Spectrum, noise_power};

/// Shortest block: 50 and 60 Hz must stand apart.
const BLOCK_S: f64 = 0.3;

/// Left out around the tone: flutter sidebands, which reach to the 200 Hz of the
/// unweighted band (IEC 60386) and a little beyond.
const SIDEBAND_HZ: f64 = 250.0;
const SIDEBAND_RELATIVE: f64 = 0.3;

/// Left out around each harmonic, in parts of its frequency: more than wow and
/// flutter move it, and a line's own width at least. What is farther away is another
/// tone. A choice.
const HARMONIC_RELATIVE: f64 = 0.05;

/// What stands beside the tone in one channel. Powers are mean squares.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Beside {
    /// The tone itself with its flutter.
    pub tone: f64,
    /// Its harmonics.
    pub harmonics: f64,
    /// Everything else from 20 Hz to half the rate, harmonics of the tone left
    /// out and what they hide filled in at the common density.
    pub rest: f64,
    /// Mains hum with its harmonics to the fifth, for 50 and for 60 Hz.
    pub hum: [f64; 2],
    /// Where the loudest line stands.
    pub loudest_hz: f64,
    /// What it holds, its flutter included.
    pub loudest: f64,
}

/// Bins that a line with its flutter is wide, either way.
const LINE_BINS: usize = 4;

impl Beside {
    /// Amplitude of the louder mains over the tone's; 0 without a tone.
    pub fn hum_beside_tone(&self) -> f64 {
        if self.tone > 0.0 {
            (self.hum[0].max(self.hum[1]) / self.tone).sqrt()
        } else {
            0.0
        }
    }

    /// The rest without mains hum, which stands far from the tone and puts
    /// nothing into its speed.
    pub fn noise(&self) -> f64 {
        (self.rest - self.hum[0].max(self.hum[1])).max(0.0)
    }

    /// Everything in the channel.
    pub fn all(&self) -> f64 {
        self.tone + self.harmonics + self.rest
    }

    /// Takes another look into the sum.
    pub fn add(&mut self, other: &Self, weight: f64) {
        self.tone += weight * other.tone;
        self.harmonics += weight * other.harmonics;
        self.rest += weight * other.rest;
        self.hum[0] += weight * other.hum[0];
        self.hum[1] += weight * other.hum[1];
        self.loudest += weight * other.loudest;
        self.loudest_hz = other.loudest_hz;
    }

    /// True when what stands beside the tone is the same within a ratio.
    pub fn is_like(&self, other: &Self, ratio: f64) -> bool {
        let alike = |here: f64, there: f64| here <= ratio * there && there <= ratio * here;
        alike(self.tone, other.tone) && alike(self.rest, other.rest)
    }
}

/// One bin in this many tells the density of the noise; thousands are left.
const EVERY: usize = 2;

/// Makes the look.
pub struct SpectrumCheck {
    spectrum: Spectrum,
    power: Vec<f32>,
    /// Some of the bins beside the tone and its harmonics.
    beside: Vec<f32>,
}

impl SpectrumCheck {
    /// For a sample rate.
    pub fn new(rate_hz: f64) -> Self {
        let length = ((BLOCK_S * rate_hz) as usize).next_power_of_two();
        let spectrum = Spectrum::new(length, 1, rate_hz);
        Self {
            power: vec![0.0; spectrum.bins()],
            beside: Vec::with_capacity(spectrum.bins()),
            spectrum,
        }
    }

    /// Samples in a block.
    pub fn block(&self) -> usize {
        self.spectrum.length()
    }

    /// Looks at a block of one channel that holds a tone.
    pub fn look(&mut self, block: &[f32], tone_hz: f64) -> Beside {
        self.power.fill(0.0);
        self.spectrum.add_power(block, &mut self.power);
        let half = SIDEBAND_HZ.min(SIDEBAND_RELATIVE * tone_hz);
        let line_hz = LINE_BINS as f64 * self.spectrum.hz_per_bin();
        let mut beside = Beside::default();
        self.beside.clear();
        let mut kept = 0.0;
        let bins = self.power.len();
        let mut from = self.spectrum.bin_of(20.0).min(bins);
        let mut hidden = 0usize;
        for harmonic in 1u32.. {
            let hz = f64::from(harmonic) * tone_hz;
            let half = match harmonic {
                1 => half,
                _ => half.min(line_hz.max(HARMONIC_RELATIVE * hz)),
            };
            let below = (hz - half) / self.spectrum.hz_per_bin();
            let above = (hz + half) / self.spectrum.hz_per_bin();
            let low = (below.ceil() as usize).clamp(from, bins);
            let high = (above.floor() as usize + 1).clamp(low, bins);
            kept += total(&self.power[from..low]);
            self.beside
                .extend(self.power[from..low].iter().step_by(EVERY));
            hidden += high - low;
            if harmonic == 1 {
                beside.tone = total(&self.power[low..high]);
            } else {
                beside.harmonics += total(&self.power[low..high]);
            }
            from = high;
            if from == bins {
                break;
            }
        }
        beside.rest = kept + hidden as f64 * f64::from(noise_power(&mut self.beside));
        beside.hum = [50.0, 60.0].map(|mains| self.hum(mains, tone_hz, half));
        let top_hz = self.spectrum.hz_per_bin() * (bins - 1) as f64;
        if let Some(peak) = self.spectrum.peak(&self.power, 20.0, top_hz) {
            let bin = self.spectrum.bin_of(peak.hz);
            let line = bin.saturating_sub(LINE_BINS)..(bin + LINE_BINS + 1).min(bins);
            beside.loudest_hz = peak.hz;
            beside.loudest = total(&self.power[line]);
        }
        beside
    }

    fn hum(&self, mains_hz: f64, tone_hz: f64, half_hz: f64) -> f64 {
        (1..=5)
            .map(|k| f64::from(k) * mains_hz)
            .filter(|hz| (hz - tone_hz).abs() > half_hz)
            .map(|hz| {
                let bin = self.spectrum.bin_of(hz);
                self.power[bin - 1..=bin + 1]
                    .iter()
                    .map(|&p| f64::from(p))
                    .sum::<f64>()
            })
            .sum()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::TAU;

    fn look(make: impl Fn(f64) -> f64) -> Beside {
        look_at(3150.0, make)
    }

    fn look_at(tone_hz: f64, make: impl Fn(f64) -> f64) -> Beside {
        let mut check = SpectrumCheck::new(48_000.0);
        let block: Vec<f32> = (0..check.block())
            .map(|n| make(n as f64 / 48_000.0) as f32)
            .collect();
        check.look(&block, tone_hz)
    }

    #[test]
    fn a_second_tone_counts_as_the_rest() {
        let beside = look(|t| 0.5 * (TAU * 3150.0 * t).sin() + 0.005 * (TAU * 900.0 * t).sin());
        let db = 10.0 * (beside.tone / beside.rest).log10();
        assert!((db - 40.0).abs() < 0.1, "{db}");
    }

    #[test]
    fn harmonics_and_flutter_do_not() {
        let beside = look(|t| {
            0.5 * (TAU * 3150.0 * t - 0.3 * (TAU * 30.0 * t).cos()).sin()
                + 0.05 * (TAU * 6300.0 * t).sin()
        });
        let db = 10.0 * (beside.tone / beside.rest).log10();
        assert!(db > 90.0, "{db}");
    }

    #[test]
    fn what_is_only_near_a_harmonic_is_another_tone() {
        let with = |hz| {
            let sine = |hz: f64, t: f64| 0.3 * (TAU * hz * t).sin();
            look_at(280.0, move |t| sine(280.0, t) + sine(hz, t))
        };
        let [near, on] = [517.0, 565.0].map(with);
        assert!(near.rest > 0.99 * near.tone && near.harmonics < 1e-3 * near.tone);
        assert!(on.harmonics > 0.99 * on.tone && on.rest < 1e-3 * on.tone);
    }

    #[test]
    fn harmonics_of_the_lowest_note_are_no_noise() {
        let c1 = |t: f64| {
            (2..7)
                .map(|k| 0.1 * (TAU * 32.7 * f64::from(k) * t).sin())
                .sum::<f64>()
        };
        let beside = look_at(32.7, |t| c1(t) + 0.05 * (TAU * 32.7 * t).sin());
        assert!(beside.noise() < 1e-4 * beside.harmonics, "{beside:?}");
    }

    #[test]
    fn hum_is_told_apart() {
        let beside = look(|t| 0.5 * (TAU * 3150.0 * t).sin() + 0.05 * (TAU * 50.0 * t).sin());
        assert!(beside.hum[0] > 3.0 * beside.hum[1]);
        assert!((beside.hum[0] / 0.00125 - 1.0).abs() < 0.1);
    }
}
