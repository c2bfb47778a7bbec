//! Lines among noise: what a memory leaves unexplained of a record once mean,
//! slope and lines are fitted, and whether one more line is worth it.

use std::f64::consts::TAU;

use super::memory::{APART, Memory, POINTS, Points};

/// Lines are sought from so many turns over the record on; slower ones cannot
/// be told from noise.
const SLOWEST: f64 = 2.5;
const FASTEST: f64 = 0.49 * POINTS as f64;
const STEP: f64 = 0.2;

/// A line must raise twice the logarithm of the likelihood by this much.
/// Of a record without any, the largest of some thirty independent chances
/// does so once in a few hundred (χ² with two degrees of freedom).
const WORTHWHILE: f64 = 18.0;

/// A record, made independent by one memory, with what was fitted taken out.
pub struct Explained {
    memory: &'static Memory,
    /// Orthonormal directions that were fitted.
    fitted: Vec<Points>,
    rest: Points,
    ln_determinant: f64,
}

impl Explained {
    /// Its mean fitted.
    pub fn new(memory: &'static Memory, points: &Points) -> Self {
        let mut explained = Self {
            memory,
            fitted: Vec::with_capacity(12),
            rest: memory.whitened(points),
            ln_determinant: 0.0,
        };
        explained.take(&[1.0; POINTS]);
        explained
    }

    /// Fits a slope too.
    pub fn take_slope(&mut self) {
        self.take(&places());
    }

    /// The memory.
    pub fn memory(&self) -> &'static Memory {
        self.memory
    }

    /// Fits a line of so many turns over the record too.
    pub fn take_line(&mut self, turns: f64) {
        for quarter in [0.25, 0.0] {
            self.take(&wave(turns, quarter));
        }
    }

    fn take(&mut self, direction: &Points) {
        let mut white = self.without_fitted(&self.memory.whitened(direction));
        let length = dot(&white, &white).sqrt();
        if length < 1e-9 {
            return;
        }
        for value in &mut white {
            *value /= length;
        }
        let part = dot(&white, &self.rest);
        for (rest, value) in self.rest.iter_mut().zip(white) {
            *rest -= part * value;
        }
        self.ln_determinant += length.ln();
        self.fitted.push(white);
    }

    fn without_fitted(&self, white: &Points) -> Points {
        let mut left = *white;
        for direction in &self.fitted {
            let part = dot(direction, &left);
            for (value, known) in left.iter_mut().zip(direction) {
                *value -= part * known;
            }
        }
        left
    }

    /// Degrees of freedom that are left.
    pub fn freedom(&self) -> f64 {
        (POINTS - self.fitted.len()) as f64
    }

    fn square(&self) -> f64 {
        // A record without any fluctuation is explained by everything.
        dot(&self.rest, &self.rest).max(1e-60)
    }

    /// Variance of the noise.
    pub fn variance(&self) -> f64 {
        self.square() / self.freedom()
    }

    /// Logarithm of the restricted likelihood, up to a constant: scale, mean,
    /// slope and the lines' strengths integrated out.
    pub fn ln_likelihood(&self) -> f64 {
        -self.memory.ln_half_determinant
            - self.ln_determinant
            - 0.5 * self.freedom() * self.square().ln()
    }

    /// Squared length of what a line of so many turns would take out.
    fn gain(&self, turns: f64) -> f64 {
        let [cosine, sine] = [0.25, 0.0]
            .map(|quarter| self.without_fitted(&self.memory.whitened(&wave(turns, quarter))));
        let (cc, cs, ss) = (
            dot(&cosine, &cosine),
            dot(&cosine, &sine),
            dot(&sine, &sine),
        );
        let (c, s) = (dot(&cosine, &self.rest), dot(&sine, &self.rest));
        let determinant = cc * ss - cs * cs;
        if determinant < 1e-6 * cc * ss {
            return 0.0;
        }
        (ss * c * c - 2.0 * cs * c * s + cc * s * s) / determinant
    }
}

/// The line that explains most of what is left, in turns over the record, if
/// it explains enough.
pub fn strongest_line(explained: &Explained) -> Option<f64> {
    let count = ((FASTEST - SLOWEST) / STEP) as u32;
    let (gain, turns) = (0..=count)
        .map(|k| SLOWEST + STEP * f64::from(k))
        .map(|turns| (explained.gain(turns), turns))
        .max_by(|a, b| a.0.total_cmp(&b.0))?;
    let left = (1.0 - gain / explained.square()).max(1e-12);
    let raised = -(explained.freedom() - 2.0) * left.ln();
    (raised > WORTHWHILE).then_some(turns)
}

/// Where the points lie, from the middle of the record.
fn places() -> Points {
    std::array::from_fn(|k| (k as f64 - (POINTS as f64 - 1.0) / 2.0) * APART)
}

fn wave(turns: f64, quarter: f64) -> Points {
    places().map(|place| (TAU * (turns * place + quarter)).sin())
}

fn dot(a: &Points, b: &Points) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}
