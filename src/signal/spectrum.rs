//! Windowed power spectra and parabolic peak interpolation.

use std::f64::consts::TAU;
use std::sync::Arc;

use realfft::{RealFftPlanner, RealToComplex};
use rustfft::num_complex::Complex32;

use super::statistics::{parabola_top, upper_median};

/// A local maximum of a spectrum.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Peak {
    /// Interpolated frequency.
    pub hz: f64,
    /// Nearest bin.
    pub bin: usize,
    /// Power in that bin.
    pub power: f32,
}

/// Mean power of a bin of plain noise, from bins that lines may stand among.
/// The powers are distributed exponentially, whose median is ln 2 of their
/// mean; lines hardly move it. Reorders them.
pub fn noise_power(bins: &mut [f32]) -> f32 {
    upper_median(bins) / std::f32::consts::LN_2
}

/// Power spectra of blocks of one length under a Hann window.
pub struct Spectrum {
    fft: Arc<dyn RealToComplex<f32>>,
    window: Vec<f32>,
    time: Vec<f32>,
    bins: Vec<Complex32>,
    scratch: Vec<Complex32>,
    hz_per_bin: f64,
    scale: f32,
}

impl Spectrum {
    /// For blocks of `length` samples, padded with zeros to `padding` times
    /// that.
    pub fn new(length: usize, padding: usize, rate_hz: f64) -> Self {
        Self::padded_to(length * padding, length, rate_hz)
    }

    /// For blocks of `length` samples, padded with zeros to `padded`.
    pub fn padded_to(padded: usize, length: usize, rate_hz: f64) -> Self {
        let fft = RealFftPlanner::new().plan_fft_forward(padded);
        let window: Vec<f32> = (0..length)
            .map(|k| (0.5 - 0.5 * (TAU * k as f64 / length as f64).cos()) as f32)
            .collect();
        // Scaled so that the bins of a sine of amplitude A add up to A²/2:
        // Parseval over one side of the spectrum of windowed samples.
        let energy: f32 = window.iter().map(|w| w * w).sum();
        Self {
            time: fft.make_input_vec(),
            bins: fft.make_output_vec(),
            scratch: fft.make_scratch_vec(),
            window,
            hz_per_bin: rate_hz / padded as f64,
            scale: 2.0 / (energy * padded as f32),
            fft,
        }
    }

    /// Samples in a block.
    pub fn length(&self) -> usize {
        self.window.len()
    }

    /// Distance of two bins.
    pub fn hz_per_bin(&self) -> f64 {
        self.hz_per_bin
    }

    /// Adds the power spectrum of a block to `power`, which has
    /// [`Spectrum::bins`] values. The block must have the length of the window.
    pub fn add_power(&mut self, block: &[f32], power: &mut [f32]) {
        let (head, tail) = self.time.split_at_mut(self.window.len());
        for ((slot, sample), weight) in head.iter_mut().zip(block).zip(&self.window) {
            *slot = sample * weight;
        }
        tail.fill(0.0);
        let done = self
            .fft
            .process_with_scratch(&mut self.time, &mut self.bins, &mut self.scratch);
        debug_assert!(done.is_ok(), "all lengths come from the plan itself");
        for (sum, bin) in power.iter_mut().zip(&self.bins) {
            *sum += bin.norm_sqr() * self.scale;
        }
    }

    /// Values in a power spectrum.
    pub fn bins(&self) -> usize {
        self.bins.len()
    }

    /// Bin nearest to a frequency, at most the last.
    pub fn bin_of(&self, hz: f64) -> usize {
        ((hz / self.hz_per_bin).round() as usize).min(self.bins.len() - 1)
    }

    /// The highest bin between two frequencies, its place interpolated by a
    /// parabola through the logarithms of three bins. Good to a few parts per
    /// million of a block of 100 ms padded to twice its length: enough to
    /// follow a tone by, not to read it.
    pub fn peak(&self, power: &[f32], low_hz: f64, high_hz: f64) -> Option<Peak> {
        let from = self.bin_of(low_hz).max(1);
        let to = self.bin_of(high_hz).min(power.len() - 2);
        let bin = (from..=to).max_by(|&a, &b| power[a].total_cmp(&power[b]))?;
        if power[bin] <= 0.0 {
            return None;
        }
        let log = |bin: usize| f64::from(power[bin].max(f32::MIN_POSITIVE)).ln();
        let offset = parabola_top(log(bin - 1), log(bin), log(bin + 1));
        Some(Peak {
            hz: (bin as f64 + offset) * self.hz_per_bin,
            bin,
            power: power[bin],
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sine(hz: f64, length: usize) -> Vec<f32> {
        (0..length)
            .map(|n| (0.5 * (TAU * hz * n as f64 / 48_000.0).sin()) as f32)
            .collect()
    }

    #[test]
    fn the_peak_is_within_ten_parts_per_million() {
        let mut spectrum = Spectrum::new(4800, 2, 48_000.0);
        for step in 0..50 {
            let hz = 3000.0 + 6.17 * f64::from(step);
            let mut power = vec![0.0; spectrum.bins()];
            spectrum.add_power(&sine(hz, 4800), &mut power);
            let peak = spectrum.peak(&power, 100.0, 20_000.0).expect("a peak");
            assert!((peak.hz / hz - 1.0).abs() < 10e-6, "{hz}: {}", peak.hz);
        }
    }

    #[test]
    fn the_bins_add_up_to_the_power() {
        for padding in [1, 2] {
            let mut spectrum = Spectrum::new(4096, padding, 48_000.0);
            let mut power = vec![0.0; spectrum.bins()];
            spectrum.add_power(&sine(3141.0, 4096), &mut power);
            let sum: f32 = power.iter().sum();
            assert!((sum / 0.125 - 1.0).abs() < 1e-3, "{sum}");
        }
    }

    #[test]
    fn silence_has_no_peak() {
        let mut spectrum = Spectrum::new(4096, 1, 48_000.0);
        let mut power = vec![0.0; spectrum.bins()];
        spectrum.add_power(&vec![0.0; 4096], &mut power);
        assert_eq!(spectrum.peak(&power, 100.0, 20_000.0), None);
    }
}
