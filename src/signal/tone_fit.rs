//! One tone fitted to the samples themselves, by least squares.
//!
//! What is too short for filters to fill is measured here: the tone, the
//! harmonics that it has and the offset of the input, all at once, at the one
//! frequency that leaves least. For a steady tone in white noise that is the
//! estimate of greatest likelihood (D. C. Rife and R. R. Boorstyn, "Single-tone
//! parameter estimation from discrete-time observations", IEEE Trans. Inform.
//! Theory, 1974). A tone that wavers is none of this, and is refused.

use std::f64::consts::TAU;

use rustfft::num_complex::Complex64;

use super::cholesky::Normal;
use super::phasor::Phasor;

/// Harmonics that are looked for, the tone itself counted.
const MOST_HARMONICS: usize = 15;

/// A harmonic belongs to the model when it stands this far above what noise
/// would leave there (as a ratio of powers): noise alone gets there once in
/// e^16 (exponential law of a periodogram).
const SIGNIFICANT: f64 = 16.0;

/// Steps of the search for the frequency; it doubles its digits with each.
const STEPS: usize = 8;

/// Parts of the record, in each of which the tone must
/// stand with about the same amplitude and within this much of its phase. Tuned, on
/// what is not recorded.
const PARTS: usize = 8;
const PART_AMPLITUDE: [f64; 2] = [0.5, 1.5];
const PART_PHASE_TURNS: f64 = 0.08;

/// Part of the power that the tone and its harmonics must hold, as in a search.
const LEAST_SHARE: f64 = 0.5;

/// Periods that a tone needs to be told from an offset.
const LEAST_PERIODS: f64 = 8.0;

/// A tone found by [`fit`].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ToneFit {
    /// Frequency in hertz.
    pub hz: f64,
    /// Mean square of the tone alone.
    pub tone_power: f64,
    /// Mean square of what is neither tone nor harmonic nor offset.
    pub rest_power: f64,
}

/// Fits a steady tone near `start_hz` to the samples; the start must be
/// within about half of one period over the whole record. `None` when the
/// record holds no such tone from its first to its last sample.
pub fn fit(samples: &[f32], rate_hz: f64, start_hz: f64) -> Option<ToneFit> {
    let count = samples.len() as f64;
    if start_hz <= 0.0 || count * start_hz / rate_hz < LEAST_PERIODS {
        return None;
    }
    let mut turns = start_hz / rate_hz;
    let mut harmonics = vec![1];
    let mut found = None;
    for step in 0..STEPS {
        let model = Model::solve(samples, turns, &harmonics)?;
        let change = model.change;
        turns += change;
        // A step of a whole period over the record means that nothing holds.
        if !(change * count).is_finite() || (change * count).abs() > 1.0 {
            return None;
        }
        let settled = (change * count).abs() < 1e-9;
        if step == 1 {
            harmonics = significant(samples, turns, model.rest_power, rate_hz);
        } else if step > 1 && settled {
            found = Some(model);
            break;
        }
        found = Some(model);
    }
    let model = found?;
    let total = model.harmonic_power + model.rest_power;
    let whole = model.harmonic_power >= LEAST_SHARE * total && total > 0.0;
    (whole && is_steady(samples, turns)).then_some(ToneFit {
        hz: turns * rate_hz,
        tone_power: model.tone_power,
        rest_power: model.rest_power,
    })
}

/// The linear part of the fit at one frequency, and how far the frequency
/// should move.
struct Model {
    change: f64,
    tone_power: f64,
    harmonic_power: f64,
    rest_power: f64,
}

impl Model {
    /// `turns` a sample. Solves for the offset, a cosine and a sine of each
    /// harmonic, then for the frequency step that the derivative asks for
    /// (Gauss and Newton; the linear ones are solved for again with it).
    fn solve(samples: &[f32], turns: f64, harmonics: &[usize]) -> Option<Self> {
        let size = 1 + 2 * harmonics.len();
        let mut sums = Normal::new(size);
        each_row(samples, turns, harmonics, |row, sample, _| {
            sums.add(row, sample, 1.0);
        });
        let linear = sums.solve(0.0)?;
        let mut sums = Normal::new(size + 1);
        let mut wide = vec![0.0; size + 1];
        let mut left = 0.0;
        each_row(samples, turns, harmonics, |row, sample, time| {
            let mut value = linear[0];
            let mut slope = 0.0;
            for (k, &harmonic) in harmonics.iter().enumerate() {
                let (cos, sin) = (row[1 + 2 * k], row[2 + 2 * k]);
                let (a, b) = (linear[1 + 2 * k], linear[2 + 2 * k]);
                value += a * cos + b * sin;
                slope += harmonic as f64 * (b * cos - a * sin);
            }
            let residual = sample - value;
            left += residual * residual;
            wide[..size].copy_from_slice(row);
            wide[size] = slope * time * TAU;
            sums.add(&wide, residual, 1.0);
        });
        let change = sums.solve(0.0)?[size];
        let power = |k: usize| 0.5 * (linear[1 + 2 * k].powi(2) + linear[2 + 2 * k].powi(2));
        Some(Self {
            change,
            tone_power: power(0),
            harmonic_power: (0..harmonics.len()).map(power).sum(),
            rest_power: left / samples.len() as f64,
        })
    }
}

/// Calls `with` for each sample: the row [1, cos, sin, …] of the model, the
/// sample, and the time from the middle of the record in samples.
fn each_row(
    samples: &[f32],
    turns: f64,
    harmonics: &[usize],
    mut with: impl FnMut(&[f64], f64, f64),
) {
    let middle = (samples.len() as f64 - 1.0) / 2.0;
    let mut row = vec![1.0; 1 + 2 * harmonics.len()];
    let mut phasors: Vec<Phasor> = harmonics
        .iter()
        .map(|&h| turns * h as f64)
        .map(|turns| Phasor::new(-turns * middle, turns))
        .collect();
    for (n, &sample) in samples.iter().enumerate() {
        for (slot, value) in row[1..].chunks_exact_mut(2).zip(&mut phasors) {
            if let Some(value) = value.next() {
                slot.copy_from_slice(&[value.re, value.im]);
            }
        }
        with(&row, f64::from(sample), n as f64 - middle);
    }
}

/// The harmonics that stand clear of the noise.
fn significant(samples: &[f32], turns: f64, rest_power: f64, rate_hz: f64) -> Vec<usize> {
    let count = samples.len() as f64;
    let mut kept = vec![1];
    for harmonic in 2..=MOST_HARMONICS {
        let own = turns * harmonic as f64;
        // Away from half the rate by a few periods over the record.
        if own * rate_hz > rate_hz * (0.5 - 4.0 / count) {
            break;
        }
        let amplitude = project(samples, own, 0).0;
        // White noise of variance s² leaves 4 s² / N in an amplitude squared.
        if amplitude * amplitude > SIGNIFICANT * 4.0 * rest_power / count {
            kept.push(harmonic);
        }
    }
    kept
}

/// Amplitude and phase in turns of the line at `turns` a sample, the first
/// sample being number `start`.
fn project(samples: &[f32], turns: f64, start: usize) -> (f64, f64) {
    let back = Phasor::new(-turns * start as f64, -turns);
    let sum: Complex64 = (samples.iter().zip(back))
        .map(|(&sample, back)| f64::from(sample) * back)
        .sum();
    (2.0 * sum.norm() / samples.len() as f64, sum.arg() / TAU)
}

/// Does the tone stand in every part of the record with about the same
/// amplitude and phase?
fn is_steady(samples: &[f32], turns: f64) -> bool {
    let (whole, phase) = project(samples, turns, 0);
    let length = samples.len() / PARTS;
    samples
        .chunks_exact(length)
        .take(PARTS)
        .enumerate()
        .all(|(k, part)| {
            let (own, own_phase) = project(part, turns, k * length);
            let off = own_phase - phase;
            (PART_AMPLITUDE[0]..=PART_AMPLITUDE[1]).contains(&(own / whole))
                && (off - off.round()).abs() < PART_PHASE_TURNS
        })
}

#[cfg(test)]
mod tests {
    use super::*;

    const RATE: f64 = 48_000.0;

    fn samples(seconds: f64, make: impl Fn(f64) -> f64) -> Vec<f32> {
        (0..(seconds * RATE) as usize)
            .map(|n| make(n as f64 / RATE) as f32)
            .collect()
    }

    #[test]
    fn a_clean_tone_is_found_to_the_last_digits() {
        for (hz, seconds) in [(3150.0, 0.05), (315.3, 0.05), (440.7, 0.2), (9876.5, 1.0)] {
            let tone = samples(seconds, |t| 0.4 * (TAU * hz * t + 0.7).sin() + 0.05);
            let got = fit(&tone, RATE, hz + 0.2 / seconds).expect("a tone");
            assert!((got.hz / hz - 1.0).abs() < 1e-9, "{hz}: {}", got.hz);
            assert!((got.tone_power / 0.08 - 1.0).abs() < 1e-6);
        }
    }

    #[test]
    fn harmonics_do_not_bias_it() {
        let tone = samples(0.05, |t| {
            (1..=9)
                .step_by(2)
                .map(|h| 0.4 / f64::from(h) * (TAU * 315.0 * f64::from(h) * t).sin())
                .sum()
        });
        let got = fit(&tone, RATE, 314.0).expect("a tone");
        assert!((got.hz / 315.0 - 1.0).abs() < 1e-8, "{}", got.hz);
    }

    #[test]
    fn what_does_not_fill_the_record_or_wavers_is_refused() {
        let late = samples(0.2, |t| {
            if t > 0.1 {
                (TAU * 3150.0 * t).sin()
            } else {
                0.0
            }
        });
        assert_eq!(fit(&late, RATE, 3150.0), None);
        let wow = samples(1.0, |t| (TAU * (3150.0 * t + 3.0 * (TAU * t).sin())).sin());
        assert_eq!(fit(&wow, RATE, 3150.0), None);
        assert_eq!(fit(&vec![0.0; 4800], RATE, 3150.0), None);
        assert_eq!(fit(&[], RATE, 3150.0), None);
    }
}
