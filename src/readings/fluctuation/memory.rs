//! Noise that remembers, at a few dozen points of a record: how the points
//! hang together for each of a range of memories, alone and beside noise that
//! remembers next to nothing. The same for every record, so it is worked out
//! once.

use std::f64::consts::TAU;
use std::sync::LazyLock;

use super::weighing::{mean_correlation, variance_of_figure};

/// A record is looked at as so many points.
pub const POINTS: usize = 32;

/// One value at each point.
pub type Points = [f64; POINTS];

/// Distance of the points in parts of the record. Each is a mean with
/// triangular weights that reach to its neighbours, so that lines between
/// the points hardly show.
pub const APART: f64 = 1.0 / (POINTS as f64 + 1.0);

/// Steps in a distance, for the triangular weights.
const FINE: usize = 8;

/// Memories that are weighed against each other: first, last, how many. (A
/// choice, judged by `cargo bench --bench coverage`.)
const FIRST: f64 = 0.015;
const LONGEST: f64 = 1.0;
const MEMORIES: i32 = 10;

/// Noise that remembers next to nothing stands beside each of them, its
/// density these parts of the other's at a turn over the record: what the
/// points let through of fast flutter, and noise of two memories.
const FLOORS: [f64; 3] = [0.0, 0.03, 0.15];

/// Of memories shorter than the first, this one stands for all: it is a tenth
/// of the distance of two points.
const SHORTEST: f64 = 0.004;

/// Weights beforehand, as logarithms: of the shortest memory, which stands for
/// many, and of one that has another beside it, against one alone. (Both tuned,
/// with the two below and the weight of a line, `lines.rs`, on tracks of 10 s:
/// first-order noise of 1/100 to 3/10 of the record alone and with lines, and
/// noise of two memories. `cargo bench --bench coverage -- mixed` says on which
/// others they are judged.)
const LN_SHORTEST: f64 = 2.5;
const LN_FLOOR: f64 = -1.2;

/// Fluctuations of transports forget within so many seconds as a rule, and of
/// a record nobody expects that it is shorter than five memories. What
/// remembers longer counts for less beforehand, in inverse ratio. (Tuned, as
/// above.)
const USUAL_S: f64 = 2.4;
const USUAL_PART: f64 = 0.2;

/// A kind of noise, of variance 1.
pub struct Memory {
    /// Time constants in parts of the record, the variance of each.
    parts: [(f64, f64); 2],
    /// Lower factor of the points' covariance (Cholesky).
    lower: Vec<Points>,
    /// Half the logarithm of its determinant.
    pub ln_half_determinant: f64,
}

/// All kinds of noise.
pub fn memories() -> &'static [Memory] {
    static ALL: LazyLock<Vec<Memory>> = LazyLock::new(|| {
        let ratio = (LONGEST / FIRST).powf(1.0 / f64::from(MEMORIES - 1));
        let longer = (0..MEMORIES).flat_map(|k| FLOORS.map(|floor| (FIRST * ratio.powi(k), floor)));
        std::iter::once((SHORTEST, 0.0))
            .chain(longer)
            .map(|(memory, floor)| Memory::new(memory, floor))
            .collect()
    });
    &ALL
}

/// Density of first-order noise of variance 1 at a turn over the record.
fn density(memory: f64) -> f64 {
    2.0 * memory / (1.0 + (TAU * memory).powi(2))
}

impl Memory {
    fn new(memory: f64, floor: f64) -> Self {
        let beside = floor * density(memory) / density(SHORTEST);
        let parts = [(memory, 1.0), (SHORTEST, beside)]
            .map(|(memory, variance)| (memory, variance / (1.0 + beside)));
        let lower = factor(&together(parts));
        Self {
            parts,
            ln_half_determinant: (0..POINTS).map(|k| lower[k][k].ln()).sum(),
            lower,
        }
    }

    /// Variance of the figure that these weights make of the noise.
    pub fn variance_of_figure(&self, weights: &[f64]) -> f64 {
        self.parts
            .iter()
            .filter(|(_, variance)| *variance > 0.0)
            .map(|(memory, variance)| variance * variance_of_figure(weights, *memory))
            .sum()
    }

    /// Logarithm of its weight beforehand in a record of so many seconds, up
    /// to a constant.
    pub fn ln_prior(&self, record_s: f64) -> f64 {
        let [(memory, _), (_, floor)] = self.parts;
        let usual = (USUAL_S / record_s).max(USUAL_PART);
        let of_kind = if memory < FIRST {
            LN_SHORTEST
        } else if floor > 0.0 {
            LN_FLOOR
        } else {
            0.0
        };
        of_kind - (memory / usual).ln().max(0.0)
    }

    /// Makes values that hang together as this noise does independent, each
    /// of variance 1.
    pub fn whitened(&self, values: &Points) -> Points {
        let mut white = [0.0; POINTS];
        for (k, row) in self.lower.iter().enumerate() {
            let known: f64 = row[..k].iter().zip(&white).map(|(l, w)| l * w).sum();
            white[k] = (values[k] - known) / row[k];
        }
        white
    }
}

/// The points of a series of equal blocks; `None` when it has fewer values
/// than points.
pub fn points(values: &[f64]) -> Option<Points> {
    if values.len() <= POINTS {
        return None;
    }
    let mut sums = Vec::with_capacity(values.len() + 1);
    let mut sum = 0.0;
    sums.push(sum);
    for value in values {
        sum += value;
        sums.push(sum);
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
        let first = point * FINE;
        weights
            .iter()
            .enumerate()
            .map(|(k, weight)| weight * step(first + k))
            .sum()
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
fn covariance(memory: f64) -> Points {
    let step = APART / FINE as f64 / memory;
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

/// The same of noises that add up, each with its variance.
fn together(parts: [(f64, f64); 2]) -> Points {
    let mut sum = [0.0; POINTS];
    for (memory, variance) in parts {
        for (sum, one) in sum.iter_mut().zip(covariance(memory)) {
            *sum += variance * one;
        }
    }
    sum
}

/// Cholesky factor of the matrix whose entries depend on the distance from
/// the diagonal only.
fn factor(covariance: &Points) -> Vec<Points> {
    // So little on the diagonal keeps rounding from making a pivot negative.
    let diagonal = covariance[0] * (1.0 + 1e-9);
    let mut lower: Vec<Points> = vec![[0.0; POINTS]; POINTS];
    for row in 0..POINTS {
        for column in 0..=row {
            let wanted = if row == column {
                diagonal
            } else {
                covariance[row - column]
            };
            let known: f64 = (0..column).map(|k| lower[row][k] * lower[column][k]).sum();
            let rest = wanted - known;
            lower[row][column] = if row == column {
                rest.max(f64::MIN_POSITIVE).sqrt()
            } else {
                rest / lower[column][column]
            };
        }
    }
    lower
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_factor_gives_the_covariance_again() {
        for memory in memories() {
            let wanted = together(memory.parts);
            for (row, column) in [(0, 0), (5, 5), (7, 2), (31, 0), (31, 30)] {
                let got: f64 = (0..POINTS)
                    .map(|k| memory.lower[row][k] * memory.lower[column][k])
                    .sum();
                let wanted = wanted[row - column];
                assert!((got - wanted).abs() < 1e-8 * (1.0 + wanted.abs()));
            }
        }
    }

    #[test]
    fn whitening_undoes_the_factor() {
        let memory = &memories()[9];
        let white: Points = std::array::from_fn(|k| (k as f64 * 1.7).sin());
        let coloured: Points =
            std::array::from_fn(|row| (0..POINTS).map(|k| memory.lower[row][k] * white[k]).sum());
        for (got, wanted) in memory.whitened(&coloured).iter().zip(white) {
            assert!((got - wanted).abs() < 1e-9);
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
