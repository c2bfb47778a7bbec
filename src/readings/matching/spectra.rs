//! How much higher one sound is than another that is the same music: the
//! shift of their mean spectra along an axis of pitch.

use super::RATE;
use crate::signal::spectrum::Spectrum;
use crate::signal::statistics::parabola_top;

/// Samples in a spectrum, and from one to the next.
const LENGTH: usize = 4096;
const HOP: usize = 2048;

/// Padding makes lines wider than a bin.
const PADDING: usize = 2;

/// The axis of pitch: lowest and highest frequency, distance of its places.
const EDGES_HZ: [f64; 2] = [150.0, 3200.0];
const CENTS: f64 = 2.0;

/// Width of the mean that is taken off, in places on either side.
const AROUND: usize = 60;

/// Largest shift, in places: 36 cents are 2.1 %.
const MOST: usize = 18;

/// Mean spectrum of a sound, lines alone, on an axis of pitch.
pub fn pitches(samples: &[f32]) -> Vec<f32> {
    let mut spectrum = Spectrum::new(LENGTH, PADDING, RATE);
    let places = (1200.0 * (EDGES_HZ[1] / EDGES_HZ[0]).log2() / CENTS) as usize;
    let mut sum = vec![0.0; places];
    let mut power = vec![0.0; spectrum.bins()];
    for block in samples.windows(LENGTH).step_by(HOP) {
        power.fill(0.0);
        spectrum.add_power(block, &mut power);
        let mean = power.iter().sum::<f32>() / power.len() as f32 + 1e-20;
        for x in &mut power {
            *x = (1.0 + 10.0 * (*x / mean).sqrt()).ln();
        }
        for (place, slot) in sum.iter_mut().enumerate() {
            let hz = EDGES_HZ[0] * (place as f64 * CENTS / 1200.0).exp2();
            let bin = hz / spectrum.hz_per_bin();
            let (whole, part) = (bin as usize, bin.fract() as f32);
            *slot += power[whole] + part * (power[whole + 1] - power[whole]);
        }
    }
    (0..places)
        .map(|at| {
            let around = &sum[at.saturating_sub(AROUND)..(at + AROUND + 1).min(places)];
            (sum[at] - around.iter().sum::<f32>() / around.len() as f32).max(0.0)
        })
        .collect()
}

/// By which factor the lines of `tape` lie higher than those of `copy`.
pub fn ratio(tape: &[f32], copy: &[f32]) -> f64 {
    let count = tape.len();
    let products: Vec<f64> = (0..=2 * MOST)
        .map(|k| {
            (MOST..count - MOST)
                .map(|at| f64::from(tape[at + k - MOST]) * f64::from(copy[at]))
                .sum()
        })
        .collect();
    let best = (1..2 * MOST)
        .max_by(|&a, &b| products[a].total_cmp(&products[b]))
        .unwrap_or(MOST);
    let off = parabola_top(products[best - 1], products[best], products[best + 1]);
    ((best as f64 - MOST as f64 + off) * CENTS / 1200.0).exp2()
}
