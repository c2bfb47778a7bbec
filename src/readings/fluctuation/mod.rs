//! What a fluctuating series says about its own mean, and how surely, when
//! neighbouring values are anything but independent.
//!
//! A mean over a record is off by what the fluctuation has at rates of about
//! a turn over the record and slower: by what the record shows least of. So
//! the slow part is described by a model, first-order noise that remembers
//! for an unknown time, and every memory is weighed by how well it explains
//! the record, mean, slope and lines being left open (the restricted
//! likelihood, that is with each of them integrated out). The scatter of the
//! figure is Student's t for each memory, and the ± is taken from the mixture
//! of all. Fast rates and lines hardly reach the figure; what does is summed
//! from the spectrum.

mod lines;
mod memory;
#[cfg(test)]
mod tests;
mod weighing;

pub use weighing::Weighing;

use lines::{Explained, strongest_line};
use memory::{POINTS, memories, points};
use weighing::variance_of_figure;

use super::expanded::Expanded;
use crate::signal::spectrum::Spectrum;
use crate::signal::statistics::{NORMAL_95, fit_line, student_95, student_beyond};

/// Lines that are told from noise, at most.
const MOST_LINES: usize = 4;

/// A line spreads over so many turns either way in the spectrum (the main
/// lobe of the Hann window).
const SPREAD: f64 = 2.1;

/// What a normal distribution leaves beyond one standard deviation.
const ONE_SIGMA: f64 = 0.317_3;

/// Degrees of freedom that a shape is given: fewer than three have no
/// variance that could be added to another, more are as good as none.
const LEAST_FREEDOM: f64 = 3.0;
const MOST_FREEDOM: f64 = 1000.0;

/// Rates above this are seen by the spectrum, not by the points; turns over
/// the record.
const FAST: f64 = 0.475 * POINTS as f64;

/// One memory as an explanation of the record.
#[derive(Clone, Copy, Debug)]
struct Candidate {
    memory: f64,
    probability: f64,
    /// Variance of the noise.
    variance: f64,
}

/// What a record says about its fluctuation.
#[derive(Clone, Debug)]
pub struct Fluctuation {
    candidates: Vec<Candidate>,
    freedom: f64,
    /// Variance in each bin, a bin a turn over the record: lines and fast
    /// rates only.
    fast: Vec<(f64, f64)>,
}

impl Fluctuation {
    /// Of a series of equal blocks of `block_s` seconds; `None` with fewer
    /// than 33.
    pub fn of(values: &[f64], block_s: f64) -> Option<Self> {
        Self::with(values, block_s, Explained::take_slope)
    }

    /// The same of what does not drift: a slope is fluctuation too.
    pub fn about_a_level(values: &[f64], block_s: f64) -> Option<Self> {
        Self::with(values, block_s, |_| ())
    }

    fn with(values: &[f64], block_s: f64, also: impl Fn(&mut Explained)) -> Option<Self> {
        let record_s = values.len() as f64 * block_s;
        let points = points(values)?;
        let mut explained: Vec<Explained> = memories()
            .iter()
            .map(|memory| Explained::new(memory, &points))
            .collect();
        explained.iter_mut().for_each(also);
        let mut lines = Vec::new();
        while lines.len() < MOST_LINES {
            let best = explained
                .iter()
                .max_by(|a, b| a.ln_likelihood().total_cmp(&b.ln_likelihood()))?;
            let Some(turns) = strongest_line(best) else {
                break;
            };
            lines.push(turns);
            for one in &mut explained {
                one.take_line(turns);
            }
        }
        Some(Self {
            candidates: weighed(&explained, record_s),
            freedom: explained.first()?.freedom(),
            fast: fast_part(values, &lines),
        })
    }

    /// 95 % of a figure made of the record.
    pub fn of_figure(&self, weighing: Weighing) -> Expanded {
        let weights = weighing.weights();
        let scatter: Vec<(f64, f64)> = self
            .candidates
            .iter()
            .map(|one| {
                let variance = one.variance * variance_of_figure(&weights, one.memory);
                (one.probability, variance)
            })
            .collect();
        let leaked: f64 = self
            .fast
            .iter()
            .map(|&(turns, variance)| variance * weighing.leak(turns).powi(2))
            .sum();
        Expanded::together([
            mixture(&scatter, self.freedom),
            Expanded::of_limit(NORMAL_95 * leaked.sqrt()),
        ])
    }
}

fn weighed(explained: &[Explained], record_s: f64) -> Vec<Candidate> {
    let ln: Vec<f64> = explained
        .iter()
        .map(|one| one.memory().ln_prior(record_s) + one.ln_likelihood())
        .collect();
    let most = ln.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let sum: f64 = ln.iter().map(|ln| (ln - most).exp()).sum();
    explained
        .iter()
        .zip(ln)
        .map(|(one, ln)| Candidate {
            memory: one.memory().length,
            probability: (ln - most).exp() / sum,
            variance: one.variance(),
        })
        .collect()
}

/// The half width that a mixture of Student's t, each with its probability
/// and variance, leaves 5 times in 100; its degrees of freedom are those of
/// the Student's t that has the same shape.
fn mixture(scatter: &[(f64, f64)], freedom: f64) -> Expanded {
    let half_width = half_width_of(scatter, freedom, 0.05);
    let one_sigma = half_width_of(scatter, freedom, ONE_SIGMA);
    if half_width <= 0.0 || one_sigma <= 0.0 {
        return Expanded::of_limit(half_width);
    }
    Expanded {
        half_width,
        freedom: freedom_of_shape(half_width / one_sigma),
    }
}

fn half_width_of(scatter: &[(f64, f64)], freedom: f64, left: f64) -> f64 {
    let beyond = |half_width: f64| -> f64 {
        scatter
            .iter()
            .filter(|(p, variance)| *p > 1e-9 && *variance > 0.0)
            .map(|(p, variance)| p * student_beyond(half_width / variance.sqrt(), freedom))
            .sum()
    };
    let largest = scatter.iter().map(|(_, v)| v.sqrt()).fold(0.0, f64::max);
    bisected(0.0, largest * student_95(freedom), |x| beyond(x) > left)
}

/// Degrees of freedom of the Student's t whose 95 % half width is so many
/// times that for 68 %, at least [`LEAST_FREEDOM`].
fn freedom_of_shape(ratio: f64) -> f64 {
    let heavier = |freedom: f64| student_beyond(student_95(freedom) / ratio, freedom) < ONE_SIGMA;
    bisected(LEAST_FREEDOM.ln(), MOST_FREEDOM.ln(), |ln| {
        heavier(ln.exp())
    })
    .exp()
}

/// The place between two where a condition that holds below ceases to hold.
fn bisected(mut low: f64, mut high: f64, holds: impl Fn(f64) -> bool) -> f64 {
    for _ in 0..26 {
        let middle = f64::midpoint(low, high);
        if holds(middle) {
            low = middle;
        } else {
            high = middle;
        }
    }
    high
}

/// Bins of the spectrum that belong to lines or to rates too fast for the
/// points.
fn fast_part(values: &[f64], lines: &[f64]) -> Vec<(f64, f64)> {
    let line = fit_line(values);
    let middle = (values.len() as f64 - 1.0) / 2.0;
    let flat: Vec<f32> = values
        .iter()
        .enumerate()
        .map(|(k, value)| (value - line.mean - line.slope * (k as f64 - middle)) as f32)
        .collect();
    let mut spectrum = Spectrum::new(flat.len(), 1, flat.len() as f64);
    let mut powers = vec![0.0; spectrum.bins()];
    spectrum.add_power(&flat, &mut powers);
    powers
        .iter()
        .enumerate()
        .map(|(turns, &power)| (turns as f64, f64::from(power)))
        .filter(|&(turns, _)| {
            turns >= 2.0
                && (turns > FAST || lines.iter().any(|line| (turns - line).abs() <= SPREAD))
        })
        .collect()
}
