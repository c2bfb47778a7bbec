//! Level and clipping of one channel, straight from the samples.

/// A sample at or above this magnitude stands at full scale: the largest code
/// of 16 bits is 32767/32768 = 0.999969.
const FULL_SCALE: f32 = 0.999_96;

/// So many samples in a row at full scale are clipping; fewer can be a peak.
const CLIPPED_RUN: u32 = 3;

/// Adds up one channel until asked.
#[derive(Clone, Copy, Debug, Default)]
pub struct LevelMeter {
    energy: f64,
    peak: f32,
    count: u64,
    run: u32,
    clipped: u64,
}

/// What a [`LevelMeter`] has added up.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Level {
    /// Mean square of the samples.
    pub mean_square: f64,
    /// Largest magnitude.
    pub peak: f32,
}

impl LevelMeter {
    /// Takes a block.
    pub fn push(&mut self, samples: &[f32]) {
        let mut energy = [0.0f32; 8];
        let mut peak = [0.0f32; 8];
        let chunks = samples.chunks_exact(8);
        let rest = chunks.remainder();
        for chunk in chunks {
            for lane in 0..8 {
                energy[lane] += chunk[lane] * chunk[lane];
                peak[lane] = peak[lane].max(chunk[lane].abs());
            }
        }
        for (lane, sample) in rest.iter().enumerate() {
            energy[lane] += sample * sample;
            peak[lane] = peak[lane].max(sample.abs());
        }
        let block_peak = peak.into_iter().fold(0.0, f32::max);
        self.energy += energy.iter().map(|&e| f64::from(e)).sum::<f64>();
        self.count += samples.len() as u64;
        self.peak = self.peak.max(block_peak);
        if block_peak >= FULL_SCALE {
            self.count_clipped(samples);
        } else {
            self.run = 0;
        }
    }

    fn count_clipped(&mut self, samples: &[f32]) {
        for sample in samples {
            if sample.abs() < FULL_SCALE {
                self.run = 0;
                continue;
            }
            self.run += 1;
            if self.run == CLIPPED_RUN {
                self.clipped += u64::from(CLIPPED_RUN);
            } else if self.run > CLIPPED_RUN {
                self.clipped += 1;
            }
        }
    }

    /// Samples in runs at full scale, since the start.
    pub fn clipped(&self) -> u64 {
        self.clipped
    }

    /// The level since the last call.
    pub fn take(&mut self) -> Level {
        let level = Level {
            mean_square: self.energy / self.count.max(1) as f64,
            peak: self.peak,
        };
        self.energy = 0.0;
        self.count = 0;
        self.peak = 0.0;
        level
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_runs_of_three_count_as_clipped() {
        let mut meter = LevelMeter::default();
        meter.push(&[1.0, 1.0, 0.5, -1.0, -1.0, -1.0, 0.0, 1.0]);
        assert_eq!(meter.clipped(), 3);
        // A run goes on across blocks.
        meter.push(&[1.0, 1.0, 1.0, 0.2]);
        assert_eq!(meter.clipped(), 7);
    }

    #[test]
    fn a_full_scale_sine_has_mean_square_one_half() {
        let mut meter = LevelMeter::default();
        let sine: Vec<f32> = (0..4800)
            .map(|n| (std::f32::consts::TAU * n as f32 / 48.0).sin() * 0.9)
            .collect();
        meter.push(&sine);
        let level = meter.take();
        assert!((level.mean_square - 0.405).abs() < 1e-4);
        assert!((level.peak - 0.9).abs() < 1e-3);
        assert_eq!(meter.take(), Level::default());
    }
}
