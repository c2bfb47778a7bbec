//! The lines of a spectrum: what stands up steadily out of the noise.

use crate::signal::spectrum::{Spectrum, noise_power};

/// Lines stand this far above the noise around them, as a ratio of powers.
/// The powers of noise alone are distributed exponentially: one in a million
/// bins is that high by chance.
pub const ABOVE_NOISE: f64 = 14.0;

/// Octaves either way over which the noise is the median, and the least number
/// of bins.
const AROUND_OCTAVES: f64 = 0.4;
const AROUND_BINS: usize = 48;

/// Lines that are kept, the strongest.
const MOST: usize = 60;

/// Half of the main lobe of the Hann window, in turns over the block.
const LOBE: f64 = 2.0;

/// Power of a steady line in its strongest bin, of what all its bins hold
/// together, for a block padded to twice its length: 1/3 under the Hann
/// window, on a bin.
const IN_PEAK: f64 = 1.0 / 3.0;

/// A line of a spectrum.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SpectralLine {
    /// Frequency in hertz.
    pub hz: f64,
    /// Mean square, with whatever modulation spreads it by a little.
    pub power: f64,
    /// Power against the noise in the bins that a line fills.
    pub above_noise: f64,
}

/// What one block holds.
#[derive(Clone, Debug, Default)]
pub struct LineSpectrum {
    /// Lines, lowest first.
    pub lines: Vec<SpectralLine>,
    /// Mean square of everything from the lowest frequency on.
    pub total: f64,
}

/// Picks lines out of blocks.
pub struct LinePicker {
    spectrum: Spectrum,
    power: Vec<f32>,
    noise: Vec<f32>,
    scratch: Vec<f32>,
    low_hz: f64,
    high_hz: f64,
    block_s: f64,
}

impl LinePicker {
    /// For blocks of `length` samples, and lines between two frequencies.
    pub fn new(length: usize, rate_hz: f64, low_hz: f64, high_hz: f64) -> Self {
        let spectrum = Spectrum::new(length, 2, rate_hz);
        let bins = spectrum.bins();
        Self {
            spectrum,
            power: vec![0.0; bins],
            noise: vec![0.0; bins],
            scratch: Vec::new(),
            low_hz,
            high_hz,
            block_s: length as f64 / rate_hz,
        }
    }

    /// Samples in a block.
    pub fn block(&self) -> usize {
        self.spectrum.length()
    }

    /// Length of a block in seconds.
    pub fn block_s(&self) -> f64 {
        self.block_s
    }

    /// Noise power in a hertz around a frequency, as of the last look.
    pub fn noise_per_hz(&self, hz: f64) -> f64 {
        let bin = self.spectrum.bin_of(hz);
        f64::from(self.noise[bin]) / self.spectrum.hz_per_bin()
    }

    /// Looks at a block.
    pub fn pick(&mut self, block: &[f32]) -> LineSpectrum {
        self.power.fill(0.0);
        self.spectrum.add_power(block, &mut self.power);
        self.find_noise();
        let from = self.spectrum.bin_of(self.low_hz).max(2);
        let to = self.spectrum.bin_of(self.high_hz).min(self.power.len() - 3);
        let total = self.power[from..].iter().map(|&p| f64::from(p)).sum();
        let mut lines: Vec<SpectralLine> = (from..to)
            .filter(|&bin| self.is_peak(bin))
            .map(|bin| self.line(bin))
            .collect();
        if lines.len() > MOST {
            lines.sort_by(|a, b| b.power.total_cmp(&a.power));
            lines.truncate(MOST);
            lines.sort_by(|a, b| a.hz.total_cmp(&b.hz));
        }
        LineSpectrum { lines, total }
    }

    /// The highest of a main lobe, and above the noise.
    fn is_peak(&self, bin: usize) -> bool {
        let here = self.power[bin];
        let higher = |at: usize| self.power[at] > here;
        f64::from(here) > ABOVE_NOISE * f64::from(self.noise[bin])
            && !(higher(bin - 1) || higher(bin - 2) || higher(bin + 1) || higher(bin + 2))
            && self.power[bin - 1] < here
    }

    fn line(&self, bin: usize) -> SpectralLine {
        let at = bin as f64 * self.spectrum.hz_per_bin();
        let near = 0.75 * self.spectrum.hz_per_bin();
        let peak = self.spectrum.peak(&self.power, at - near, at + near);
        let half = (2.0 * LOBE) as usize;
        let low = bin.saturating_sub(half);
        let high = (bin + half).min(self.power.len() - 1);
        let power: f64 = self.power[low..=high].iter().map(|&p| f64::from(p)).sum();
        SpectralLine {
            hz: peak.map_or(at, |peak| peak.hz),
            power,
            above_noise: power * IN_PEAK / f64::from(self.noise[bin]).max(1e-30),
        }
    }

    /// Mean noise power of each bin, worked out at steps and held in between.
    fn find_noise(&mut self) {
        let bins = self.power.len();
        let spread = AROUND_OCTAVES.exp2();
        let mut from = 0;
        while from < bins {
            let centre = from as f64 * 1.06;
            let low = ((centre / spread) as usize).min(from.saturating_sub(AROUND_BINS / 2));
            let high = ((centre * spread) as usize)
                .max(low + AROUND_BINS)
                .min(bins);
            // Thousands of bins tell no more than hundreds.
            let every = ((high - low) / 400).max(1);
            self.scratch.clear();
            self.scratch
                .extend(self.power[low..high].iter().step_by(every));
            let next = ((from as f64 * 1.12) as usize).max(from + 8).min(bins);
            self.noise[from..next].fill(noise_power(&mut self.scratch));
            from = next;
        }
    }
}
