//! Lines among noise: what a kind of noise leaves unexplained of a record once
//! mean, slope and lines are fitted, and how likely that is.

use std::f64::consts::{PI, TAU};
use std::sync::LazyLock;

use statrs::function::gamma::ln_gamma;

use super::noises::{APART, Noise, POINTS, Points, noises};

/// Turns over the record from which on lines are sought; slower ones cannot be
/// told from noise.
const SLOWEST: f64 = 2.5;
const FASTEST: f64 = 0.5 / APART;
const STEP: f64 = 0.2;

/// A rate is sought to this many turns over the record. A strong line that is
/// taken out at a rate further off leaves what looks like a second one.
const FINEST: f64 = 0.002;

/// Natural logarithm of the range over which the strength of a line may lie
/// beforehand, every ratio as likely: a choice, a factor of 150.
const STRENGTHS: f64 = 5.0;

/// Logarithm of how likely one line more is beforehand, against none. Tuned on
/// tracks of 10 s, lines in first-order noise; judged as the weights of the
/// kinds of noise are, `noises.rs`.
const LN_ONE_MORE: f64 = -3.0;

/// Two quarters of a line, made independent by one kind of noise.
type Pair = [Points; 2];

/// Squares and product of two quarters, without what was fitted.
#[derive(Clone, Copy)]
struct Crossed {
    cc: f64,
    cs: f64,
    ss: f64,
}

impl Crossed {
    fn of([cosine, sine]: &Pair) -> Self {
        Self {
            cc: dot(cosine, cosine),
            cs: dot(cosine, sine),
            ss: dot(sine, sine),
        }
    }

    /// Takes out what lies along a direction of length 1.
    fn take_out(&mut self, unit: &Points, [cosine, sine]: &Pair) {
        let (c, s) = (dot(unit, cosine), dot(unit, sine));
        self.cc -= c * c;
        self.cs -= c * s;
        self.ss -= s * s;
    }

    /// Squared length of what the line takes out of a residual.
    fn gain(&self, residual: &Points, [cosine, sine]: &Pair) -> f64 {
        let (c, s) = (dot(residual, cosine), dot(residual, sine));
        let determinant = self.cc * self.ss - self.cs * self.cs;
        if determinant < 1e-6 * self.cc * self.ss {
            return 0.0;
        }
        (self.ss * c * c - 2.0 * self.cs * c * s + self.cc * s * s) / determinant
    }
}

/// One kind of noise with all that does not depend on the record.
struct Ground {
    noise: &'static Noise,
    pairs: Vec<Pair>,
    crossed: Vec<Crossed>,
    /// Orthonormal directions of mean and slope.
    fitted: Vec<Points>,
    /// What the noise's weight beforehand, its volume, mean and slope make of
    /// the logarithm of the likelihood.
    ln_beforehand: f64,
}

impl Ground {
    fn new(noise: &'static Noise, sloping: bool) -> Self {
        let pairs: Vec<Pair> = rates().iter().map(|&turns| pair(noise, turns)).collect();
        let mut ground = Self {
            noise,
            crossed: pairs.iter().map(Crossed::of).collect(),
            pairs,
            fitted: Vec::new(),
            ln_beforehand: noise.ln_prior - noise.ln_half_determinant,
        };
        ground.take(&[1.0; POINTS]);
        if sloping {
            ground.take(&places());
        }
        ground
    }

    fn take(&mut self, direction: &Points) {
        let (length, unit) = beyond(&self.fitted, &self.noise.whitened(direction));
        for (crossed, pair) in self.crossed.iter_mut().zip(&self.pairs) {
            crossed.take_out(&unit, pair);
        }
        self.ln_beforehand -= length.ln();
        self.fitted.push(unit);
    }
}

/// Rates at which lines are sought.
fn rates() -> &'static [f64] {
    static ALL: LazyLock<Vec<f64>> = LazyLock::new(|| {
        let count = ((FASTEST - SLOWEST) / STEP) as u32;
        (0..=count).map(|k| SLOWEST + STEP * f64::from(k)).collect()
    });
    &ALL
}

fn grounds(sloping: bool) -> &'static [Ground] {
    static LEVEL: LazyLock<Vec<Ground>> = LazyLock::new(|| all_grounds(false));
    static SLOPING: LazyLock<Vec<Ground>> = LazyLock::new(|| all_grounds(true));
    if sloping { &SLOPING } else { &LEVEL }
}

fn all_grounds(sloping: bool) -> Vec<Ground> {
    let noises = noises().iter();
    noises.map(|noise| Ground::new(noise, sloping)).collect()
}

/// A record, made independent by one kind of noise, with what was fitted taken
/// out.
pub struct Explained {
    ground: &'static Ground,
    crossed: Vec<Crossed>,
    fitted: Vec<Points>,
    residual: Points,
    ln_lines: f64,
}

impl Explained {
    /// By all kinds of noise; the mean and, where it may be sloping, the slope
    /// are fitted.
    pub fn all(points: &Points, sloping: bool) -> Vec<Self> {
        let explained = |ground: &'static Ground| {
            let mut explained = Self {
                ground,
                crossed: ground.crossed.clone(),
                fitted: Vec::with_capacity(12),
                residual: ground.noise.whitened(points),
                ln_lines: 0.0,
            };
            for unit in &ground.fitted {
                explained.take_out(unit);
            }
            explained
        };
        grounds(sloping).iter().map(explained).collect()
    }

    /// The kind of noise.
    pub fn noise(&self) -> &'static Noise {
        self.ground.noise
    }

    /// Fits a line of this many turns over the record too.
    pub fn take_line(&mut self, turns: f64) {
        let before = self.square();
        for white in pair(self.noise(), turns) {
            let (_, unit) = beyond(&self.fitted, &white);
            for (crossed, pair) in self.crossed.iter_mut().zip(&self.ground.pairs) {
                crossed.take_out(&unit, pair);
            }
            self.take_out(&unit);
        }
        let gain = (before - self.square()).max(self.variance());
        self.ln_lines += ln_of_strength(gain);
    }

    fn take_out(&mut self, unit: &Points) {
        let part = dot(unit, &self.residual);
        for (residual, value) in self.residual.iter_mut().zip(unit) {
            *residual -= part * value;
        }
        self.fitted.push(*unit);
    }

    /// Degrees of freedom that are left.
    pub fn freedom(&self) -> f64 {
        (POINTS - self.fitted.len()) as f64
    }

    fn square(&self) -> f64 {
        // A record without any fluctuation is explained by everything.
        dot(&self.residual, &self.residual).max(1e-60)
    }

    /// Variance of the noise.
    pub fn variance(&self) -> f64 {
        self.square() / self.freedom()
    }

    /// Logarithm of how likely noise and record are together, up to a
    /// constant: scale, mean, slope and the lines' strengths integrated out.
    pub fn ln_likelihood(&self) -> f64 {
        self.ln_of(self.square(), self.freedom())
    }

    fn ln_of(&self, square: f64, freedom: f64) -> f64 {
        self.ground.ln_beforehand - self.ln_lines + ln_gamma(0.5 * freedom)
            - 0.5 * freedom * (PI * square).ln()
    }

    fn gain_at(&self, turns: f64) -> f64 {
        let pair = pair(self.noise(), turns);
        let mut crossed = Crossed::of(&pair);
        for unit in &self.fitted {
            crossed.take_out(unit, &pair);
        }
        crossed.gain(&self.residual, &pair)
    }
}

/// What integrating out a line's strength costs. Where every ratio of
/// strengths is as likely, the prior of both quarters falls with the square of
/// the strength, and so do both widths of the likelihood with the length of
/// the wave: together it is the squared length of what the line takes out.
fn ln_of_strength(gain: f64) -> f64 {
    (TAU * STRENGTHS * gain).ln()
}

/// How likely the kinds of noise are with one line more: what is the same for
/// every rate.
struct OneMore<'a> {
    explained: &'a Explained,
    ln: f64,
    square: f64,
    freedom: f64,
}

impl<'a> OneMore<'a> {
    fn of(explained: &'a Explained) -> Self {
        let freedom = explained.freedom() - 2.0;
        Self {
            explained,
            ln: explained.ln_of(1.0, freedom),
            square: explained.square(),
            freedom,
        }
    }

    fn ln_likelihood(&self, gain: f64) -> f64 {
        let gain = gain.clamp(self.square / self.freedom, (1.0 - 1e-12) * self.square);
        self.ln - 0.5 * self.freedom * (self.square - gain).ln() - ln_of_strength(gain)
    }

    fn at(&self, rate: usize) -> f64 {
        let ground = self.explained.ground;
        let crossed = self.explained.crossed[rate];
        self.ln_likelihood(crossed.gain(&self.explained.residual, &ground.pairs[rate]))
    }
}

/// The line that is likeliest whatever the noise: its rate in turns over the
/// record, and the logarithm of how likely one more line at just about this
/// rate is beforehand.
pub fn likeliest_line(explained: &[Explained]) -> Option<(f64, f64)> {
    let kinds: Vec<OneMore> = explained.iter().map(OneMore::of).collect();
    let at: Vec<Vec<f64>> = kinds
        .iter()
        .map(|kind| (0..rates().len()).map(|rate| kind.at(rate)).collect())
        .collect();
    let ln: Vec<f64> = (0..rates().len())
        .map(|rate| ln_sum(at.iter().map(|of_kind| of_kind[rate])))
        .collect();
    let rate = (0..ln.len()).max_by(|&a, &b| ln[a].total_cmp(&ln[b]))?;
    let kind = (0..at.len()).max_by(|&a, &b| at[a][rate].total_cmp(&at[b][rate]))?;
    let turns = refined(kinds[kind].explained, rates()[rate]);
    let of = |kind: &OneMore| kind.ln_likelihood(kind.explained.gain_at(turns));
    let most = ln_sum(kinds.iter().map(of));
    // A line between two rates of the row is narrower than their distance.
    let all = ln_sum(ln.iter().copied()).max(most + (FINEST / STEP).ln());
    let about = all - (rates().len() as f64).ln() - most;
    Some((turns, LN_ONE_MORE + about))
}

/// The rate nearby that takes out most.
fn refined(explained: &Explained, mut turns: f64) -> f64 {
    let mut most = explained.gain_at(turns);
    let mut step = STEP / 2.0;
    while step > FINEST {
        for to in [turns - step, turns + step] {
            let gain = explained.gain_at(to);
            if gain > most {
                (most, turns) = (gain, to);
            }
        }
        step /= 2.0;
    }
    turns
}

/// Logarithm of the sum of what these are the logarithms of.
pub fn ln_sum(ln: impl Iterator<Item = f64> + Clone) -> f64 {
    let most = ln.clone().fold(f64::NEG_INFINITY, f64::max);
    most + ln.map(|ln| (ln - most).exp()).sum::<f64>().ln()
}

/// Length and direction of what is left of `white` beyond directions that were
/// fitted.
fn beyond(fitted: &[Points], white: &Points) -> (f64, Points) {
    let mut left = *white;
    for unit in fitted {
        let part = dot(unit, &left);
        for (value, known) in left.iter_mut().zip(unit) {
            *value -= part * known;
        }
    }
    let length = dot(&left, &left).sqrt().max(1e-150);
    (length, left.map(|value| value / length))
}

/// Where the points lie, from the middle of the record.
fn places() -> Points {
    std::array::from_fn(|k| (k as f64 - (POINTS as f64 - 1.0) / 2.0) * APART)
}

fn pair(noise: &Noise, turns: f64) -> Pair {
    [0.25, 0.0].map(|quarter| {
        noise.whitened(&places().map(|place| (TAU * (turns * place + quarter)).sin()))
    })
}

/// Eight sums side by side, so that none waits for the one before.
fn dot(a: &Points, b: &Points) -> f64 {
    let mut sums = [0.0; 8];
    for (a, b) in a.chunks_exact(8).zip(b.chunks_exact(8)) {
        for (sum, (a, b)) in sums.iter_mut().zip(a.iter().zip(b)) {
            *sum += a * b;
        }
    }
    sums.iter().sum()
}
