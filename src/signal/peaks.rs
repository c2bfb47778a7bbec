//! Puts back the peaks of a tone that stands beyond full scale.
//!
//! Samples held at full scale are not only distorted: their harmonics lie far
//! beyond half the sample rate and fold back, and those of some tones land
//! right beside the tone itself (3150 Hz at 44100 Hz, 3000 Hz at 48000 Hz),
//! where they beat with it and read as flutter. What stands between the held
//! samples is true, though, and a sine laid through it tells how high the
//! peaks were. Everywhere else clipping does no harm of this kind, and the samples are
//! left as they came.

use std::f64::consts::TAU;

use super::cholesky::Normal;
use super::level::FULL_SCALE;

/// True samples that carry the sine and its offset.
const CARRIERS: usize = 8;

/// They may lie this many periods back: further, flutter bends the sine.
const PERIODS: f64 = 4.0;

/// Harmonics beyond this one are too weak to matter.
const HIGHEST_HARMONIC: u32 = 32;

/// What folds back further away than this is no flutter.
const NEAR_HZ: f64 = 300.0;

/// The true samples must tell the three unknowns apart this well: determinant
/// of the normal equations, which eight samples all around a circle bring to
/// 128, and those of one slope alone to 0.
const LEAST_SPREAD: f64 = 1.0;

/// Peaks are put back up to 12 dB beyond full scale: with more too few samples
/// of a period are true.
const HIGHEST: f64 = 4.0;

/// One channel.
#[derive(Clone, Debug)]
pub struct Peaks {
    /// Cosine and sine of the tone's angle after 0, 1, 2 … samples; empty
    /// where nothing needs to be done.
    angles: Vec<(f64, f64)>,
    /// The newest true samples: place and value, oldest first.
    known: [(u64, f32); CARRIERS],
    count: u64,
    /// The sine through them as seen from the newest: cosine and sine part,
    /// offset.
    sine: Option<[f64; 3]>,
    restored: Vec<f32>,
}

/// With fewer samples to a period than this too few of them are true.
const LEAST_PERIOD: f64 = 6.0;

/// True where a harmonic of the tone folds back beside it.
fn folds_back(rate_hz: f64, tone_hz: f64) -> bool {
    // The k-th lands at k f − m fs, which is near ±f where (k ∓ 1) f is near
    // m fs.
    (2..=HIGHEST_HARMONIC).any(|k| {
        let turns = f64::from(k) * tone_hz / rate_hz;
        turns > 0.5 && (turns - turns.round()).abs() * rate_hz < NEAR_HZ
    })
}

impl Peaks {
    /// For a tone at `tone_hz`.
    pub fn new(rate_hz: f64, tone_hz: f64) -> Self {
        let period = rate_hz / tone_hz;
        let length = if period >= LEAST_PERIOD && folds_back(rate_hz, tone_hz) {
            (PERIODS * period) as usize
        } else {
            0
        };
        Self {
            angles: (0..length)
                .map(|k| {
                    let (sine, cosine) = (TAU * k as f64 / period).sin_cos();
                    (cosine, sine)
                })
                .collect(),
            known: [(0, 0.0); CARRIERS],
            // What is not known yet lies too far back to count.
            count: length as u64,
            sine: None,
            restored: Vec::new(),
        }
    }

    /// The samples with their peaks put back; untouched where none is held at
    /// full scale.
    #[inline]
    pub fn restore<'a>(&'a mut self, samples: &'a [f32]) -> &'a [f32] {
        if self.angles.is_empty() {
            return samples;
        }
        if samples.iter().any(|s| s.abs() >= FULL_SCALE) {
            self.put_back(samples);
            return &self.restored;
        }
        let last = samples.len().saturating_sub(CARRIERS);
        self.count += last as u64;
        for &sample in &samples[last..] {
            self.learn(sample);
        }
        samples
    }

    fn learn(&mut self, sample: f32) {
        self.known.rotate_left(1);
        self.known[CARRIERS - 1] = (self.count, sample);
        self.sine = None;
        self.count += 1;
    }

    fn put_back(&mut self, samples: &[f32]) {
        let mut restored = std::mem::take(&mut self.restored);
        restored.clear();
        for &sample in samples {
            if sample.abs() < FULL_SCALE {
                self.learn(sample);
                restored.push(sample);
            } else {
                restored.push(self.peak(sample));
                self.count += 1;
            }
        }
        self.restored = restored;
    }

    /// What a held sample was.
    fn peak(&mut self, held: f32) -> f32 {
        let age = (self.count - self.known[CARRIERS - 1].0) as usize;
        if self.sine.is_none() {
            self.sine = self.fit();
        }
        let Some(([a, b, offset], (cosine, sine))) = self.sine.zip(self.angles.get(age).copied())
        else {
            return held;
        };
        let beyond = (a * cosine + b * sine + offset) * f64::from(held.signum());
        beyond.clamp(f64::from(held.abs()), HIGHEST.max(f64::from(held.abs()))) as f32
            * held.signum()
    }

    /// Least squares of a cos ωt + b sin ωt + c through the true samples, t = 0
    /// at the newest of them.
    fn fit(&self) -> Option<[f64; 3]> {
        let newest = self.known[CARRIERS - 1].0;
        let mut normal = Normal::new(3);
        for &(place, value) in &self.known {
            // One that lies too far back has no angle and no part in it.
            if let Some(&(cosine, sine)) = self.angles.get((newest - place) as usize) {
                normal.add(&[cosine, -sine, 1.0], f64::from(value), 1.0);
            }
        }
        normal.solve(LEAST_SPREAD)?.try_into().ok()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn tone(hz: f64, amplitude: f64) -> Vec<f32> {
        (0..48_000)
            .map(|n| (amplitude * (TAU * (hz / 48_000.0 * f64::from(n)).fract()).sin()) as f32)
            .collect()
    }

    fn clipped(samples: &[f32]) -> Vec<f32> {
        samples.iter().map(|s| s.clamp(-1.0, 1.0)).collect()
    }

    #[test]
    fn a_clipped_tone_gets_its_peaks_back_where_it_matters() {
        for (offset, carrier_hz, off) in [
            (0.0, 2994.7, 1e-4),
            (0.2, 2994.7, 1e-4),
            (0.0, 2989.0, 0.03),
        ] {
            let mut whole = tone(2994.7, 2.0);
            for sample in &mut whole {
                *sample += offset;
            }
            let mut peaks = Peaks::new(48_000.0, carrier_hz);
            let held = clipped(&whole);
            // Blocks of any size: what it learnt goes on from one to the next.
            let got: Vec<f32> = held
                .chunks(61)
                .flat_map(|chunk| peaks.restore(chunk).to_vec())
                .collect();
            let worst = |samples: &[f32]| {
                let pairs = samples.iter().zip(&whole).skip(100);
                pairs.map(|(g, w)| (g - w).abs()).fold(0.0, f32::max)
            };
            assert!(worst(&held) > 0.9);
            assert!(
                worst(&got) < off,
                "{offset}, {carrier_hz} Hz: {}",
                worst(&got)
            );
        }
    }

    #[test]
    fn the_size_of_the_blocks_changes_nothing() {
        let held = clipped(&tone(3003.0, 1.3));
        let mut whole = Peaks::new(48_000.0, 3000.0);
        let expected = whole.restore(&held).to_vec();
        for size in [1, 7, 240] {
            let mut peaks = Peaks::new(48_000.0, 3000.0);
            let got: Vec<f32> = held
                .chunks(size)
                .flat_map(|chunk| peaks.restore(chunk).to_vec())
                .collect();
            assert_eq!(got, expected, "blocks of {size}");
        }
    }

    #[test]
    fn what_does_no_harm_is_left_alone() {
        let whole = tone(3000.0, 0.999);
        let mut peaks = Peaks::new(48_000.0, 3000.0);
        for chunk in whole.chunks(240) {
            assert_eq!(peaks.restore(chunk), chunk);
        }
        // Nothing folds back near these.
        for hz in [315.0, 1000.0, 3150.0] {
            let held = clipped(&tone(hz, 2.0));
            assert_eq!(Peaks::new(48_000.0, hz).restore(&held), held);
        }
        assert!(folds_back(44_100.0, 3150.0) && folds_back(48_000.0, 3000.0));
    }

    #[test]
    fn a_stretch_at_full_scale_stays_as_it_is() {
        let mut peaks = Peaks::new(48_000.0, 3000.0);
        let direct = vec![1.0f32; 1000];
        assert_eq!(peaks.restore(&direct), direct);
    }
}
