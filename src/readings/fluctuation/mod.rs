//! What a fluctuating series says about its own mean, and how surely, when
//! neighbouring values are anything but independent.
//!
//! A mean over a record is off by what the fluctuation has at rates of about
//! a turn over the record and slower: by what the record shows least of. So
//! the slow part is described by a model, lines in first-order noise of unknown
//! correlation time, with or without nearly white noise beside it, or inertia
//! behind it. Every kind of noise is weighed by how well it explains the record,
//! beside no line, one, two and so on up to four: mean, slope, the noise's
//! power and the lines' strengths are integrated out, and each line pays for
//! the freedom that it takes. Noise and lines are told from each other by all
//! of them together, for slow noise that is taken for a line leaves too little
//! noise, and a line that is taken for noise too much. The scatter of the
//! figure is Student's t for each, and the ± is taken from the mixture of all.
//! Fast rates and lines hardly reach the figure; what does is summed from the
//! spectrum.

mod lines;
mod noises;
#[cfg(test)]
mod tests;
mod weighing;

pub use weighing::Weighing;

use lines::{Explained, likeliest_line, ln_sum};
use noises::{Noise, POINTS, points};

use super::expanded::Expanded;
use crate::signal::line::Line;
use crate::signal::spectrum::Spectrum;
use crate::signal::statistics::{NORMAL_95, student_95, student_beyond};

/// Lines that are told from noise, at most.
const MOST_LINES: usize = 4;

/// No more lines are sought once one more has made the whole less likely than
/// what came before by this logarithm, and no explanation counts that is less
/// likely than the other: a choice, neither is seen in the ±.
const WORTHLESS: f64 = 4.0;
const LEAST_PROBABILITY: f64 = 1e-3;

/// Turns either way that a line spreads over in the spectrum: the main lobe of
/// the Hann window, derived.
const SPREAD: f64 = 2.1;

/// What a normal distribution leaves beyond one standard deviation: derived.
const ONE_SIGMA: f64 = 0.317_3;

/// Degrees of freedom that a shape is given: fewer than three have no
/// variance that could be added to another, more are as good as none.
const LEAST_FREEDOM: f64 = 3.0;
const MOST_FREEDOM: f64 = 1000.0;

/// Rates above this are seen by the spectrum, not by the points; turns over
/// the record.
const FAST: f64 = 0.475 * POINTS as f64;

/// One kind of noise beside some lines as an explanation of the record.
#[derive(Clone, Copy)]
struct Candidate {
    noise: &'static Noise,
    probability: f64,
    /// Variance of the noise.
    variance: f64,
    freedom: f64,
}

/// A line, and how likely it is one.
#[derive(Clone, Copy)]
struct LikelyLine {
    turns: f64,
    probability: f64,
}

/// Part of what an explanation puts into a figure: how likely the explanation
/// is, the variance, and how well that is known.
struct Scatter {
    probability: f64,
    variance: f64,
    freedom: f64,
}

/// What a record says about its fluctuation.
#[derive(Clone)]
pub struct Fluctuation {
    candidates: Vec<Candidate>,
    /// Variance in each bin, a bin a turn over the record: lines and fast
    /// rates only.
    fast: Vec<(f64, f64)>,
}

impl Fluctuation {
    /// Of a series of equal blocks; `None` with fewer than 33.
    pub fn of(values: &[f64]) -> Option<Self> {
        Self::with(values, true)
    }

    /// The same of what does not drift: a slope is fluctuation too.
    pub fn about_a_level(values: &[f64]) -> Option<Self> {
        Self::with(values, false)
    }

    fn with(values: &[f64], sloping: bool) -> Option<Self> {
        let explained = Explained::all(&points(values)?, sloping);
        let (candidates, lines) = weighed(explained);
        Some(Self {
            candidates,
            fast: fast_part(values, &lines),
        })
    }

    /// 95 % of a figure made of the record.
    pub fn of_figure(&self, weighing: Weighing) -> Expanded {
        let weights = weighing.weights();
        let scatter: Vec<Scatter> = self
            .candidates
            .iter()
            .map(|one| Scatter {
                probability: one.probability,
                variance: one.variance * one.noise.variance_of_figure(&weights),
                freedom: one.freedom,
            })
            .collect();
        let leaked: f64 = self
            .fast
            .iter()
            .map(|&(turns, variance)| variance * weighing.leak(turns).powi(2))
            .sum();
        Expanded::together([
            mixture(&scatter),
            Expanded::of_limit(NORMAL_95 * leaked.sqrt()),
        ])
    }
}

/// All kinds of noise beside no line and more and more lines, each by how
/// likely it is, and the lines.
fn weighed(mut explained: Vec<Explained>) -> (Vec<Candidate>, Vec<LikelyLine>) {
    // Logarithms until all are known.
    let mut candidates: Vec<Candidate> = Vec::new();
    let mut of_each_number: Vec<f64> = Vec::new();
    let mut rates = Vec::new();
    let mut ln_rates = 0.0;
    loop {
        let first = candidates.len();
        candidates.extend(explained.iter().map(|one| Candidate {
            noise: one.noise(),
            probability: one.ln_likelihood() + ln_rates,
            variance: one.variance(),
            freedom: one.freedom(),
        }));
        let here = ln_sum(candidates[first..].iter().map(|one| one.probability));
        of_each_number.push(here);
        let all = ln_sum(of_each_number.iter().copied());
        if rates.len() == MOST_LINES || here < all - WORTHLESS {
            break;
        }
        let Some((turns, ln_rate)) = likeliest_line(&explained) else {
            break;
        };
        ln_rates += ln_rate;
        rates.push(turns);
        for one in &mut explained {
            one.take_line(turns);
        }
    }
    let all = ln_sum(of_each_number.iter().copied());
    for one in &mut candidates {
        one.probability = (one.probability - all).exp();
    }
    candidates.retain(|one| one.probability > LEAST_PROBABILITY);
    let lines = rates
        .iter()
        .enumerate()
        .map(|(k, &turns)| LikelyLine {
            turns,
            probability: (ln_sum(of_each_number[k + 1..].iter().copied()) - all).exp(),
        })
        .collect();
    (candidates, lines)
}

/// The half width that a mixture of Student's t leaves 5 times in 100; its
/// degrees of freedom are those of the Student's t that has the same shape.
fn mixture(scatter: &[Scatter]) -> Expanded {
    let half_width = half_width_of(scatter, 0.05);
    let one_sigma = half_width_of(scatter, ONE_SIGMA);
    if half_width <= 0.0 || one_sigma <= 0.0 {
        return Expanded::of_limit(half_width);
    }
    Expanded {
        half_width,
        freedom: freedom_of_shape(half_width / one_sigma),
    }
}

fn half_width_of(scatter: &[Scatter], left: f64) -> f64 {
    let beyond = |half_width: f64| -> f64 {
        let of = |one: &Scatter| {
            one.probability * student_beyond(half_width / one.variance.sqrt(), one.freedom)
        };
        scatter.iter().map(of).sum()
    };
    let freedoms = scatter.iter().map(|one| one.freedom);
    let least = freedoms.fold(f64::INFINITY, f64::min);
    let deviations = || scatter.iter().map(|one| one.variance.sqrt());
    let widest = deviations().fold(f64::MIN_POSITIVE, f64::max) * student_95(least);
    // No mixture is narrower than a hundredth of the narrowest of its parts.
    let narrowest = deviations().fold(widest, f64::min).max(f64::MIN_POSITIVE) / 100.0;
    bisected(narrowest.ln(), widest.ln(), |ln| beyond(ln.exp()) > left).exp()
}

/// Degrees of freedom of the Student's t whose 95 % half width is `ratio` times
/// that for 68 %, at least [`LEAST_FREEDOM`].
fn freedom_of_shape(ratio: f64) -> f64 {
    let heavier = |freedom: f64| student_beyond(student_95(freedom) / ratio, freedom) < ONE_SIGMA;
    let [least, most] = [LEAST_FREEDOM.ln(), MOST_FREEDOM.ln()];
    bisected(least, most, |ln| heavier(ln.exp())).exp()
}

/// Halvings of a range of a few hundred to one; to 0.1 %.
const STEPS: u32 = 13;

/// The place between two where a condition that holds below ceases to hold.
fn bisected(mut low: f64, mut high: f64, holds: impl Fn(f64) -> bool) -> f64 {
    for _ in 0..STEPS {
        let middle = f64::midpoint(low, high);
        if holds(middle) {
            low = middle;
        } else {
            high = middle;
        }
    }
    high
}

/// What is in the bins of the spectrum that belong to lines, by how likely
/// each is one, or to rates too fast for the points.
fn fast_part(values: &[f64], lines: &[LikelyLine]) -> Vec<(f64, f64)> {
    let flat = Line::of_series(values).residuals(values);
    let flat: Vec<f32> = flat.map(|off| off as f32).collect();
    let mut spectrum = Spectrum::new(flat.len(), 1, flat.len() as f64);
    let mut powers = vec![0.0; spectrum.bins()];
    spectrum.add_power(&flat, &mut powers);
    powers
        .iter()
        .enumerate()
        .map(|(turns, &power)| {
            let turns = turns as f64;
            (turns, f64::from(power) * part_of_lines(turns, lines))
        })
        .filter(|&(turns, power)| turns >= 2.0 && power > 0.0)
        .collect()
}

fn part_of_lines(turns: f64, lines: &[LikelyLine]) -> f64 {
    if turns > FAST {
        return 1.0;
    }
    lines
        .iter()
        .filter(|line| (turns - line.turns).abs() <= SPREAD)
        .map(|line| line.probability)
        .fold(0.0, f64::max)
}
