//! Noise that remembers, at a few dozen points of a record: how the points
//! hang together for each of a range of memories. The same for every record,
//! so it is worked out once.

use std::sync::LazyLock;

use super::weighing::mean_correlation;

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
const SHORTEST: f64 = 0.004;
const LONGEST: f64 = 1.0;
const MEMORIES: i32 = 18;

/// Fluctuations of transports forget within so many seconds as a rule, and of
/// a record nobody expects that it is shorter than thirty memories. What
/// remembers longer counts for less beforehand, by this power. (Found by
/// simulation of noise that remembers for 0.3 to 3 s, of lines and of both, so
/// that the ± covers and is no wider than need be; `cargo bench --bench
/// coverage` judges it.)
const USUAL_S: f64 = 4.0;
const USUAL_PART: f64 = 0.03;
const FALL: f64 = 1.0;

/// First-order noise of variance 1 with one memory.
pub struct Memory {
    /// Time constant in parts of the record.
    pub length: f64,
    /// Lower factor of the points' covariance (Cholesky).
    lower: Vec<Points>,
    /// Half the logarithm of its determinant.
    pub ln_half_determinant: f64,
}

/// All memories, shortest first.
pub fn memories() -> &'static [Memory] {
    static ALL: LazyLock<Vec<Memory>> = LazyLock::new(|| {
        let ratio = (LONGEST / SHORTEST).powf(1.0 / f64::from(MEMORIES - 1));
        (0..MEMORIES)
            .map(|k| Memory::new(SHORTEST * ratio.powi(k)))
            .collect()
    });
    &ALL
}

impl Memory {
    fn new(memory: f64) -> Self {
        let lower = factor(&covariance(memory));
        Self {
            length: memory,
            ln_half_determinant: (0..POINTS).map(|k| lower[k][k].ln()).sum(),
            lower,
        }
    }

    /// Logarithm of its weight beforehand in a record of so many seconds, up
    /// to a constant.
    pub fn ln_prior(&self, record_s: f64) -> f64 {
        let usual = (USUAL_S / record_s).max(USUAL_PART);
        -FALL * (self.length / usual).ln().max(0.0)
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
            let wanted = covariance(memory.length);
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
