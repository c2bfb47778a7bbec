//! Wow and flutter of rotating parts: lines that go on through the whole
//! sweep, found and taken out before anything is looked for.
//!
//! A part that the tape turns, or that turns the tape, keeps step with the
//! tape: its line is steady against the length of tape that has passed, not
//! against time. Others (a motor that governs itself, hum) keep time. Each
//! line is fitted both ways, and the better one counts.

use std::f64::consts::TAU;

use realfft::RealFftPlanner;
use rustfft::num_complex::Complex;

use super::series::{RATE_HZ, running_mean};
use super::whitening::Whitening;
use crate::signal::cholesky::Normal;
use crate::signal::statistics::{median, parabola_top};

/// Lines are looked for between these frequencies.
const LOWEST_HZ: f64 = 0.3;
const HIGHEST_HZ: f64 = 22.0;

/// Most that are taken out.
const MOST_LINES: usize = 14;
/// A line stands this many times above the median power about it. By chance one
/// sweep in five has one.
const ABOVE: f64 = 12.0;
/// Hertz that the median is taken over.
const ABOUT_HZ: f64 = 1.0;
/// Frequencies are tried at this part of the resolution.
const FINENESS: f64 = 0.25;
/// Errors count no more than this many standard deviations.
const CLIP: f64 = 3.5;

/// A track without its lines.
pub(super) fn without_lines(values: &[f64], heard: &[bool], reach_s: f64) -> Vec<f64> {
    let (whitening, white) = Whitening::learn(values, heard, reach_s);
    let mut white: Vec<f64> = white.iter().map(|e| e.clamp(-CLIP, CLIP)).collect();
    let mut clean = values.to_vec();
    let clocks = [Clock::time(values.len()), Clock::tape(values)];
    for _ in 0..MOST_LINES {
        let peaks = clocks.iter().filter_map(|clock| strongest(&white, clock));
        let Some(best) = peaks.max_by(|a, b| a.above.total_cmp(&b.above)) else {
            break;
        };
        let [plain, whitened] = fitted(&whitening, &white, best.clock, best.hz);
        for (series, line) in [(&mut clean, plain), (&mut white, whitened)] {
            for (value, part) in series.iter_mut().zip(line) {
                *value -= part;
            }
        }
    }
    clean
}

/// What a line keeps step with, in seconds: time, or tape at right speed.
struct Clock(Vec<f64>);

impl Clock {
    fn time(count: usize) -> Self {
        Self((0..count).map(|k| k as f64 / RATE_HZ).collect())
    }

    fn tape(values: &[f64]) -> Self {
        let mean = running_mean(values, (0.1 * RATE_HZ) as usize);
        let mut passed = 0.0;
        let seconds = mean.iter().map(|percent| {
            let now = passed;
            passed += (1.0 + percent / 100.0) / RATE_HZ;
            now
        });
        Self(seconds.collect())
    }

    /// The series at even steps of this clock, tapered at both ends.
    fn even(&self, white: &[f64]) -> Vec<f64> {
        let count = white.len();
        let last = self.0[count - 1];
        let mut at = 0;
        (0..count)
            .map(|k| {
                let wanted = last * k as f64 / (count - 1) as f64;
                while at + 2 < count && self.0[at + 1] <= wanted {
                    at += 1;
                }
                let [before, after] = [self.0[at], self.0[at + 1]];
                let share = ((wanted - before) / (after - before)).clamp(0.0, 1.0);
                let taper = (std::f64::consts::PI * (k as f64 + 0.5) / count as f64).sin();
                taper * taper * (white[at] + share * (white[at + 1] - white[at]))
            })
            .collect()
    }
}

/// The line that stands out most on a clock.
struct LinePeak<'a> {
    clock: &'a Clock,
    hz: f64,
    above: f64,
}

fn strongest<'a>(white: &[f64], clock: &'a Clock) -> Option<LinePeak<'a>> {
    let even = clock.even(white);
    let lasts = clock.0[clock.0.len() - 1];
    let rate_hz = (even.len() - 1) as f64 / lasts;
    let step_hz = rate_hz / (even.len() as f64 / FINENESS).round();
    let first = (LOWEST_HZ / step_hz) as usize;
    let last = (HIGHEST_HZ / step_hz) as usize;
    let powers = powers(&even).get(first..last)?.to_vec();
    let reach = ((ABOUT_HZ / 2.0 / step_hz) as usize).max(1);
    let floors = floors(&powers, reach);
    let (best, above) = powers
        .iter()
        .zip(&floors)
        .map(|(power, floor)| power / floor)
        .enumerate()
        .max_by(|a, b| a.1.total_cmp(&b.1))?;
    if above < ABOVE {
        return None;
    }
    // Between the frequencies tried, by a parabola.
    let size = |k: usize| powers.get(k).map_or(0.0, |p| p.sqrt());
    // Before the first there is none: index usize::MAX.
    let aside = parabola_top(size(best.wrapping_sub(1)), size(best), size(best + 1));
    Some(LinePeak {
        clock,
        hz: ((first + best) as f64 + aside) * step_hz,
        above,
    })
}

/// Powers of an even series at steps of [`FINENESS`] of its resolution.
fn powers(even: &[f64]) -> Vec<f64> {
    let padded = (even.len() as f64 / FINENESS).round() as usize;
    let fft = RealFftPlanner::new().plan_fft_forward(padded);
    let mut time = fft.make_input_vec();
    time[..even.len()].copy_from_slice(even);
    let mut bins = fft.make_output_vec();
    fft.process(&mut time, &mut bins)
        .expect("both buffers were made by this plan");
    bins.iter().map(Complex::norm_sqr).collect()
}

/// Median power about each frequency, in blocks.
fn floors(powers: &[f64], reach: usize) -> Vec<f64> {
    let mut floors = vec![0.0; powers.len()];
    let block = (reach / 2).max(1);
    for from in (0..powers.len()).step_by(block) {
        let to = (from + block).min(powers.len());
        let mut near = powers[from.saturating_sub(reach)..(to + reach).min(powers.len())].to_vec();
        floors[from..to].fill(median(&mut near).unwrap_or_default().max(1e-12));
    }
    floors
}

/// A line by least squares of a sine and a cosine in the whitened track: as it
/// is in the track, and as it is whitened.
fn fitted(whitening: &Whitening, white: &[f64], clock: &Clock, hz: f64) -> [Vec<f64>; 2] {
    let plain = [0.0, 0.25].map(|turn| -> Vec<f64> {
        let wave = |t: &f64| (TAU * (hz * t + turn)).cos();
        clock.0.iter().map(wave).collect()
    });
    let whitened = [0, 1].map(|k| whitening.whitened(&plain[k]));
    let mut normal = Normal::new(2);
    for ((&a, &b), &value) in whitened[0].iter().zip(&whitened[1]).zip(white) {
        normal.add(&[a, b], value, 1.0);
    }
    let [p, q] = match normal.solve(0.0).as_deref() {
        Some(&[p, q]) => [p, q],
        _ => [0.0; 2],
    };
    [plain, whitened].map(|[cosine, sine]| {
        let pairs = cosine.iter().zip(&sine);
        pairs.map(|(x, y)| p * x + q * y).collect()
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Even numbers by splitmix64 (Steele, Lea and Flood 2014).
    fn noise(k: usize) -> f64 {
        let mut z = (k as u64 + 1).wrapping_mul(0x9E37_79B9_7F4A_7C15);
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        ((z ^ (z >> 31)) >> 11) as f64 / (1u64 << 53) as f64 - 0.5
    }

    #[test]
    fn what_has_no_line_stays_as_it_is() {
        let values: Vec<f64> = (0..1500)
            .map(|k| 5.0 - 0.01 * (k as f64 - 750.0).abs() + 0.1 * noise(k))
            .collect();
        let clean = without_lines(&values, &vec![true; values.len()], 1.2);
        let moved = values.iter().zip(&clean).map(|(a, b)| (a - b).powi(2));
        let moved = (moved.sum::<f64>() / 1500.0).sqrt();
        // A false line takes a small part of the noise, whose rms is 0.029.
        assert!(moved < 0.008, "{moved}");
    }

    #[test]
    fn the_spectrum_shows_a_line_where_it_is() {
        let even: Vec<f64> = (0..1000)
            .map(|k| (TAU * 5.0 * f64::from(k) / RATE_HZ).cos())
            .collect();
        let powers = powers(&even);
        let highest = (0..powers.len()).max_by(|&a, &b| powers[a].total_cmp(&powers[b]));
        // 5 Hz of 50 values a second: a tenth of the padded length.
        assert_eq!(highest, Some(400));
    }
}
