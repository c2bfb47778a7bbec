//! The slow and obvious way to find speed, as judge of the fast one: whole
//! records, plain double precision, nothing clever.

use std::f64::consts::TAU;

/// Phase of a tone in turns, equally spaced in time.
pub struct Phase {
    /// Time of the first.
    pub first_s: f64,
    pub step_s: f64,
    /// Unwrapped, the carrier's turns included.
    pub turns: Vec<f64>,
}

impl Phase {
    /// The whole record is mixed with a cosine and a sine of the carrier and
    /// smoothed by a Hann window of `window_s`, once every `step` samples;
    /// where the window would reach beyond the record there is no value.
    pub fn of(samples: &[f32], rate_hz: f64, carrier_hz: f64, window_s: f64, step: usize) -> Self {
        let half = (window_s * rate_hz / 2.0).round() as usize;
        let length = 2 * half + 1;
        let window: Vec<f64> = (0..length)
            .map(|k| 1.0 - (TAU * (k as f64 + 0.5) / length as f64).cos())
            .collect();
        let mixed: Vec<(f64, f64)> = samples
            .iter()
            .enumerate()
            .map(|(n, &sample)| {
                let (sine, cosine) = (TAU * (carrier_hz * n as f64 / rate_hz).fract()).sin_cos();
                (f64::from(sample) * cosine, -f64::from(sample) * sine)
            })
            .collect();
        let mut turns: Vec<f64> = Vec::new();
        let mut carrier = Vec::new();
        for start in (0..=samples.len() - length).step_by(step) {
            let (mut re, mut im) = (0.0, 0.0);
            for (weight, (x, y)) in window.iter().zip(&mixed[start..]) {
                re += weight * x;
                im += weight * y;
            }
            let here = im.atan2(re) / TAU;
            let before = turns.last().copied().unwrap_or(here);
            turns.push(here + (before - here).round());
            carrier.push(carrier_hz * (start + half) as f64 / rate_hz);
        }
        for (turns, carrier) in turns.iter_mut().zip(carrier) {
            *turns += carrier;
        }
        Self {
            first_s: half as f64 / rate_hz,
            step_s: step as f64 / rate_hz,
            turns,
        }
    }

    /// Mean frequency: the straight line nearest to the phase.
    pub fn mean_hz(&self) -> f64 {
        let n = self.turns.len() as f64;
        let middle = (n - 1.0) / 2.0;
        let mean = self.turns.iter().sum::<f64>() / n;
        let (mut above, mut below) = (0.0, 0.0);
        for (k, turns) in self.turns.iter().enumerate() {
            let x = k as f64 - middle;
            above += x * (turns - mean);
            below += x * x;
        }
        above / below / self.step_s
    }

    /// The phase at any time inside, by the cubic through the four nearest.
    pub fn at(&self, t: f64) -> f64 {
        let place = (t - self.first_s) / self.step_s;
        let left = (place.floor() as usize).clamp(1, self.turns.len() - 3);
        let u = place - left as f64;
        // What a steady tone would do is taken out, so that no digit is lost.
        let origin = self.turns[left];
        let slope = self.turns[left + 1] - origin;
        let y = |k: usize| self.turns[left + k - 1] - origin - slope * (k as f64 - 1.0);
        let cubic = y(0) * -u * (u - 1.0) * (u - 2.0) / 6.0
            + y(1) * (u + 1.0) * (u - 1.0) * (u - 2.0) / 2.0
            + y(2) * -u * (u + 1.0) * (u - 2.0) / 2.0
            + y(3) * u * (u + 1.0) * (u - 1.0) / 6.0;
        origin + slope * u + cubic
    }

    /// Mean frequency between two times inside: turns ÷ time.
    pub fn hz_between(&self, from_s: f64, to_s: f64) -> f64 {
        (self.at(to_s) - self.at(from_s)) / (to_s - from_s)
    }

    /// Last time with a phase.
    pub fn last_s(&self) -> f64 {
        self.first_s + (self.turns.len() - 1) as f64 * self.step_s
    }
}

/// Peaks of lines of known rates in a series, by least squares together with
/// a mean and a trend: the normal equations, solved by elimination.
pub fn line_peaks(t: &[f64], values: &[f64], rates_hz: &[f64]) -> Vec<f64> {
    let size = 2 + 2 * rates_hz.len();
    let mut equations = vec![vec![0.0; size + 1]; size];
    let middle = t.iter().sum::<f64>() / t.len() as f64;
    for (&t, &value) in t.iter().zip(values) {
        let mut row = vec![1.0, t - middle];
        for hz in rates_hz {
            let (sine, cosine) = (TAU * hz * t).sin_cos();
            row.extend([cosine, sine]);
        }
        row.push(value);
        for (equation, &weight) in equations.iter_mut().zip(&row) {
            for (sum, &term) in equation.iter_mut().zip(&row) {
                *sum += weight * term;
            }
        }
    }
    let found = solve(equations);
    found[2..].chunks(2).map(|c| c[0].hypot(c[1])).collect()
}

/// Overlapping Allan deviation of equally spaced means at `group` of them,
/// and from how many terms, by its definition: half the mean square of the
/// difference of neighbouring means (Riley, Handbook of Frequency Stability
/// Analysis, NIST SP 1065, 2008, section 5.2.4; from memory).
pub fn allan_deviation(means: &[f64], group: usize) -> (f64, u64) {
    let mean = |from: usize| means[from..from + group].iter().sum::<f64>() / group as f64;
    let count = means.len() + 1 - 2 * group;
    let sum: f64 = (0..count)
        .map(|k| (mean(k + group) - mean(k)).powi(2))
        .sum();
    ((sum / count as f64 / 2.0).sqrt(), count as u64)
}

/// Gaussian elimination with the largest pivot.
fn solve(mut equations: Vec<Vec<f64>>) -> Vec<f64> {
    let size = equations.len();
    for column in 0..size {
        let largest = (column..size)
            .max_by(|&a, &b| {
                let size = |row: usize| equations[row][column].abs();
                size(a).total_cmp(&size(b))
            })
            .expect("at least one row");
        equations.swap(column, largest);
        let pivot = equations[column].clone();
        for (row, equation) in equations.iter_mut().enumerate() {
            if row != column {
                let factor = equation[column] / pivot[column];
                for (entry, &other) in equation.iter_mut().zip(&pivot) {
                    *entry -= factor * other;
                }
            }
        }
    }
    (0..size)
        .map(|k| equations[k][size] / equations[k][k])
        .collect()
}
