//! Correlated noise at a few dozen points of a record: how the points hang
//! together for each of a range of correlation times, alone, beside noise that
//! is nearly white, and where what is moved has inertia. The same for every
//! record, so it is worked out once. Correlation times count in parts of the
//! record.

use std::f64::consts::TAU;
use std::sync::LazyLock;

use super::weighing::{mean_correlation, variance_of_figure};
use crate::signal::cholesky::Cholesky;

/// Points that a record is looked at as.
pub const POINTS: usize = 32;

/// One value at each point.
pub type Points = [f64; POINTS];

/// Distance of the points in parts of the record. Each is a mean with
/// triangular weights that reach to its neighbours, so that lines between
/// the points hardly show.
pub const APART: f64 = 1.0 / (POINTS as f64 + 1.0);

/// Steps in a distance, for the triangular weights.
const FINE: usize = 8;

/// Correlation times that are weighed against each other: first, last, how
/// many. A choice, judged by `cargo bench --bench coverage`.
const FIRST: f64 = 0.015;
const LONGEST: f64 = 1.0;
const TIMES: i32 = 10;

/// This one stands for all that are shorter than the first: a tenth of the
/// distance of two points.
const SHORTEST: f64 = 0.004;

/// Nearly white noise beside each correlation time up to the one given: its
/// density, in parts of the other's at a turn over the record, and the logarithm
/// of its weight beforehand. It is what the points let through of fast flutter,
/// and noise of two correlation times. Beside it a longer one would be a spike
/// below what the record shows.
const BESIDE: [(f64, f64); 2] = [(0.03, -0.2), (0.15, 1.2)];
const LONGEST_BESIDE: f64 = 0.4;

/// Inertia makes the density fall twice as steeply: two correlation times one
/// after the other, the second this part of the first. A longer first one would
/// make what is slower than a turn over the record out of nothing that it shows.
const SECOND: f64 = 2.0 / 3.0;
const LONGEST_INERT: f64 = 0.07;

/// Logarithms of the weights beforehand of the shortest correlation time, which
/// stands for many, and of inertia, against one correlation time alone. Tuned,
/// with those of [`BESIDE`], on tracks of 10 s: first-order noise of 1/100 to
/// 3/10 of the record, noise of two correlation times and noise with inertia,
/// alone and with lines; with resonances, 1/f noise and white over slow noise in
/// view, so that of those only the seeds are fresh; and against the width of
/// flutter's ± in noise that is nearly white. `cargo bench --bench coverage --
/// mixed` judges them on other seeds and lengths, and says which.
const LN_SHORTEST: f64 = 4.08;
const LN_INERT: f64 = -1.3;

/// Longest correlation time that is as likely beforehand as a short one: nobody
/// expects of a record that it is shorter than two of them. Longer ones count
/// for less, in inverse ratio. Tuned as above.
const USUAL_PART: f64 = 0.6;

/// A kind of noise, of variance 1.
pub struct Noise {
    /// Correlation times, and with which factors their covariances add up.
    parts: [(f64, f64); 2],
    /// Logarithm of its weight beforehand, up to a constant.
    pub ln_prior: f64,
    /// Of the points' covariance.
    factor: Cholesky,
    /// Half the logarithm of its determinant.
    pub ln_half_determinant: f64,
}

/// All kinds of noise.
pub fn noises() -> &'static [Noise] {
    static ALL: LazyLock<Vec<Noise>> = LazyLock::new(|| {
        let ratio = (LONGEST / FIRST).powf(1.0 / f64::from(TIMES - 1));
        let mut all = vec![Noise::beside(SHORTEST, 0.0, LN_SHORTEST)];
        for time in (0..TIMES).map(|k| FIRST * ratio.powi(k)) {
            all.push(Noise::beside(time, 0.0, 0.0));
            if time < LONGEST_BESIDE {
                all.extend(BESIDE.map(|(density, ln)| Noise::beside(time, density, ln)));
            }
            if time < LONGEST_INERT {
                all.push(Noise::inert(time));
            }
        }
        all
    });
    &ALL
}

/// Density of first-order noise of variance 1 at a turn over the record.
fn density(time: f64) -> f64 {
    2.0 * time / (1.0 + (TAU * time).powi(2))
}

impl Noise {
    /// First-order noise beside nearly white noise.
    fn beside(time: f64, part: f64, ln_of_kind: f64) -> Self {
        let beside = part * density(time) / density(SHORTEST);
        let of = |variance: f64| variance / (1.0 + beside);
        let ln_prior = ln_of_kind - (time / USUAL_PART).ln().max(0.0);
        Self::new([(time, of(1.0)), (SHORTEST, of(beside))], ln_prior)
    }

    /// First-order noise through a second filter of first order. For correlation
    /// times a and b, a ≠ b, the covariance over a time t is
    /// (a e^(−t/a) − b e^(−t/b)) / (a − b).
    fn inert(time: f64) -> Self {
        let first = 1.0 / (1.0 - SECOND);
        Self::new([(time, first), (SECOND * time, 1.0 - first)], LN_INERT)
    }

    fn new(parts: [(f64, f64); 2], ln_prior: f64) -> Self {
        let factor = factor(&together(parts));
        Self {
            parts,
            ln_prior,
            ln_half_determinant: factor.ln_half_determinant(),
            factor,
        }
    }

    /// Variance of the figure that these weights make of the noise.
    pub fn variance_of_figure(&self, weights: &[f64]) -> f64 {
        self.parts
            .iter()
            .filter(|(_, factor)| *factor != 0.0)
            .map(|(time, factor)| factor * variance_of_figure(weights, *time))
            .sum()
    }

    /// Makes values that hang together as this noise does independent, each
    /// of variance 1.
    pub fn whitened(&self, values: &Points) -> Points {
        let mut white = *values;
        self.factor.whiten(&mut white);
        white
    }
}

/// The points of a series of equal blocks; `None` when it has fewer values
/// than points.
pub fn points(values: &[f64]) -> Option<Points> {
    if values.len() <= POINTS {
        return None;
    }
    let mut sums = vec![0.0];
    for (k, value) in values.iter().enumerate() {
        sums.push(sums[k] + value);
    }
    // Sum up to a place, a block being cut where need be.
    let up_to = |part: f64| {
        let place = part * values.len() as f64;
        let whole = (place as usize).min(values.len() - 1);
        sums[whole] + (place - whole as f64) * (sums[whole + 1] - sums[whole])
    };
    let steps = (POINTS + 1) * FINE;
    let step = |k: usize| {
        let [from, to] = [k, k + 1].map(|edge| up_to(edge as f64 / steps as f64));
        (to - from) * steps as f64 / values.len() as f64
    };
    let weights = triangle();
    Some(std::array::from_fn(|point| {
        let weighted = |(k, weight): (usize, &f64)| weight * step(point * FINE + k);
        weights.iter().enumerate().map(weighted).sum()
    }))
}

/// Triangular weights over two distances.
fn triangle() -> [f64; 2 * FINE] {
    std::array::from_fn(|k| {
        let from_middle = ((k as f64 + 0.5) / FINE as f64 - 1.0).abs();
        (1.0 - from_middle) / FINE as f64
    })
}

/// Covariance of a point with the points 0, 1, 2 … further on.
fn covariance(time: f64) -> Points {
    let step = APART / FINE as f64 / time;
    let weights = triangle();
    std::array::from_fn(|apart| {
        let mut sum = 0.0;
        for (i, a) in weights.iter().enumerate() {
            for (j, b) in weights.iter().enumerate() {
                let distance = (apart * FINE + j).abs_diff(i) as f64;
                sum += a * b * mean_correlation(distance, step);
            }
        }
        sum
    })
}

/// The same of noises that add up, each by its factor.
fn together(parts: [(f64, f64); 2]) -> Points {
    let mut sum = [0.0; POINTS];
    for (time, factor) in parts {
        for (sum, one) in sum.iter_mut().zip(covariance(time)) {
            *sum += factor * one;
        }
    }
    sum
}

/// Of the covariance matrix, whose entries depend on the distance from the diagonal only.
fn factor(covariance: &Points) -> Cholesky {
    let lower = (0..POINTS).flat_map(|row| covariance[..=row].iter().rev().copied());
    let mut lower: Vec<f64> = lower.collect();
    // This little on the diagonal keeps rounding from making a pivot negative.
    let mut place = 0;
    for row in 0..POINTS {
        lower[place] *= 1.0 + 1e-9;
        place += row + 2;
    }
    Cholesky::of(POINTS, lower)
        .expect("a covariance is positive, and more so with its diagonal raised")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn whitened_noise_is_independent() {
        for noise in noises() {
            let wanted = together(noise.parts);
            // Whitening both sides of the covariance leaves the unit matrix.
            let rows: [Points; POINTS] = std::array::from_fn(|row| {
                noise.whitened(&std::array::from_fn(|column| wanted[row.abs_diff(column)]))
            });
            for (row, column) in [(0, 0), (5, 5), (7, 2), (31, 0), (31, 30)] {
                let white = noise.whitened(&std::array::from_fn(|k| rows[k][column]));
                let unit = f64::from(u8::from(row == column));
                assert!(
                    (white[row] - unit).abs() < 1e-4,
                    "{row}, {column}: {white:?}"
                );
            }
        }
    }

    #[test]
    fn points_of_a_ramp_lie_on_it() {
        for count in [33, 100, 101, 4095] {
            let ramp: Vec<f64> = (0..count)
                .map(|k| (f64::from(k) + 0.5) / f64::from(count))
                .collect();
            let got = points(&ramp).expect("enough values");
            for (k, value) in got.iter().enumerate() {
                let wanted = (k as f64 + 1.0) * APART;
                assert!((value - wanted).abs() < 0.002, "{count}, {k}: {value}");
            }
        }
        assert_eq!(points(&[1.0; 32]), None);
    }
}
