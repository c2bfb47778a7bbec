//! Steps of gain: does the sound go on at another level from this sample on?
//!
//! A predictor made just before (or, for a rise, just after) a moment foresees
//! the samples behind it. Where contact is lost all of them are what was
//! foreseen times one factor. Music that begins or ends is not: it brings
//! something that was not foreseen, or lets one voice go while others stay.
//! So each moment is asked which factor explains best what follows, and how
//! much better than none: a ratio of likelihoods with Gaussian innovations
//! whose strength is multiplied as well.

/// Coefficients of the predictors.
pub(super) const ORDER: usize = 32;

/// Factors that are tried, about 1.2 dB apart.
const FACTORS: [f64; 24] = [
    0.02, 0.04, 0.06, 0.08, 0.1, 0.12, 0.14, 0.16, 0.19, 0.22, 0.25, 0.29, 0.33, 0.38, 0.43, 0.48,
    0.53, 0.58, 0.63, 0.68, 0.74, 0.8, 0.86, 0.93,
];

/// What one moment looks like.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Step {
    /// Logarithm of how much likelier the best factor is than none.
    pub(super) evidence: f64,
    /// The factor.
    pub(super) factor: f64,
}

/// What a stretch behind a moment adds up to.
#[derive(Clone, Copy, Debug, Default)]
struct Sums {
    own: f64,
    cross: f64,
    foreseen: f64,
}

/// Asks what follows `before` in `behind`, both in the order away from the
/// past: `behind[0]` is the first sample after the moment, `before[0]` the
/// last one before it. `power` is what cannot be foreseen.
pub(super) fn step(coefficients: &[f64], power: f64, before: &[f64], behind: &[f64]) -> Step {
    let mut sums = Sums::default();
    let mut short = Sums::default();
    // The shortest breaks end before all of it has gone by.
    let short_span = behind.len() * 2 / 5;
    for n in 0..behind.len() {
        let mut own = 0.0;
        for k in 0..=n.min(ORDER) {
            own += coefficients[k] * behind[n - k];
        }
        let mut foreseen = 0.0;
        for k in n + 1..=ORDER {
            foreseen += coefficients[k] * before[k - n - 1];
        }
        sums.own += own * own;
        sums.cross += own * foreseen;
        sums.foreseen += foreseen * foreseen;
        if n + 1 == short_span {
            short = sums;
        }
    }
    let long = best(&sums, power, behind.len() as f64);
    let short = best(&short, power, short_span as f64);
    if long.evidence >= short.evidence {
        long
    } else {
        short
    }
}

fn best(sums: &Sums, power: f64, span: f64) -> Step {
    let left = |factor: f64| sums.own + 2.0 * factor * sums.cross + factor * factor * sums.foreseen;
    let none = left(1.0) / (2.0 * power);
    let mut best = Step {
        evidence: 0.0,
        factor: 1.0,
    };
    for factor in FACTORS {
        // Hiss behind the control, and what no model has in it.
        let expected = power * (factor * factor + 1e-3);
        let evidence =
            none - left(factor) / (2.0 * expected) - span * (expected / power).ln() / 2.0;
        if evidence > best.evidence {
            best = Step { evidence, factor };
        }
    }
    best
}

/// How likely a break is that begins at an edge.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Likely {
    /// Logarithm of how much likelier the best break is than none.
    pub(super) evidence: f64,
    /// What is left of the sound in it.
    pub(super) factor: f64,
    /// What it leaves unexplained, as a multiple of what is usual.
    pub(super) unexplained: f64,
}

/// Widths of edges in samples; those from the fifth on are no contact's.
const RAMPS: [usize; 8] = [1, 10, 28, 56, 100, 150, 220, 320];
const SHARP_RAMPS: usize = 4;
const LIKELY_FACTORS: [f64; 9] = [0.05, 0.1, 0.17, 0.25, 0.33, 0.42, 0.5, 0.6, 0.72];
/// An error counts no more than this many times what is usual, squared.
const MOST_SURPRISE: f64 = 36.0;

/// The gain in a break of so many samples, `n` samples after its beginning.
fn gain(n: f64, length: f64, factor: f64, ramp: f64) -> f64 {
    // The other edge is as sharp as edges are.
    let down = (0.5 + n / ramp).clamp(0.0, 1.0);
    let up = (0.5 + (n - length) / ramp.min(28.0)).clamp(0.0, 1.0);
    1.0 - (1.0 - factor) * (down - up).max(0.0)
}

/// Undoes breaks of several depths and looks whether what is left is as easy
/// to foresee as the sound before. `sound` has `before` samples before the
/// edge. Evidence is 0 where a slow fall explains it better. With a guess of
/// the factor that one alone is tried, as a sharp edge.
pub(super) fn likely(
    coefficients: &[f64],
    sound: &[f64],
    before: usize,
    length: usize,
    guess: Option<f64>,
) -> Likely {
    let error = |sound: &[f64], at: usize| -> f64 {
        let past = &sound[at - ORDER..=at];
        let terms = coefficients.iter().zip(past.iter().rev());
        terms.map(|(c, x)| c * x).sum()
    };
    // How much is usual here, a little before the edge.
    let usual = ORDER..before - before / 6;
    let count = usual.len() as f64;
    let power = usual.map(|at| error(sound, at).powi(2)).sum::<f64>() / count + 1e-14;
    let mut restored = vec![0.0; sound.len()];
    let errors = |sound: &[f64]| -> f64 {
        let mut sum = 0.0;
        for at in ORDER..sound.len() {
            sum += (error(sound, at).powi(2) / power).min(MOST_SURPRISE);
        }
        sum
    };
    let none = errors(sound);
    let count = (sound.len() - ORDER) as f64;
    let mut of = |factor: f64, ramp: usize| -> Likely {
        let mut logarithms = 0.0;
        for (n, (restored, sound)) in restored.iter_mut().zip(sound).enumerate() {
            let n = n as f64 - before as f64;
            let gain = gain(n, length as f64, factor, ramp as f64);
            *restored = sound / gain;
            logarithms += gain.ln();
        }
        let left = errors(&restored);
        Likely {
            evidence: (none - left) / 2.0 - logarithms,
            factor,
            unexplained: left / count,
        }
    };
    if let Some(guess) = guess {
        return of(guess, RAMPS[1]);
    }
    let better = |a: Likely, b: Likely| if b.evidence > a.evidence { b } else { a };
    let start = of(LIKELY_FACTORS[0], RAMPS[1]);
    let mut best = LIKELY_FACTORS[1..]
        .iter()
        .fold(start, |best, factor| better(best, of(*factor, RAMPS[1])));
    for ramp in RAMPS {
        if ramp == RAMPS[1] {
            continue;
        }
        let other = of(best.factor, ramp);
        if ramp > RAMPS[SHARP_RAMPS - 1] && other.evidence > best.evidence {
            best.evidence = 0.0;
            return best;
        }
        best = better(best, other);
    }
    best
}
