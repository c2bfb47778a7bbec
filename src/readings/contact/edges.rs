//! Steps of gain: does the sound go on at another level from this sample on?
//!
//! A predictor made just before (or, for a rise, just after) a moment foresees
//! the samples behind it. Where contact is lost all of them are what was
//! foreseen times one factor. Music that begins or ends is not: it brings
//! something that was not foreseen, or lets one voice go while others stay.
//! So each moment is asked which factor explains best what follows, and how
//! much better than none: a ratio of likelihoods with Gaussian innovations
//! whose strength is multiplied as well. Of moments next to each other that all
//! look like an edge, the best is the edge.

/// Coefficients of the predictors.
pub(super) const ORDER: usize = 32;

/// Factors that are tried, 0.6 to 6 dB apart: a choice.
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

/// Samples of a millisecond at 12 kHz: derived.
pub(super) const MS: u64 = 12;

/// A moment at which the gain falls, or rises.
#[derive(Clone, Copy, Debug)]
pub(super) struct Edge {
    pub(super) at: u64,
    pub(super) step: Step,
}

/// A stretch without contact, in samples of the stream pushed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Loss {
    pub(super) start: u64,
    pub(super) end: u64,
    /// What is left of the amplitude.
    pub(super) factor: f64,
}

/// Edges no further apart than this belong to one group; a group that lasts
/// longer than that is cut.
pub(super) const SAME_EDGE: u64 = 14;
pub(super) const LONGEST_GROUP: u64 = 4 * MS;

/// The best edge of a group that follow each other closely.
#[derive(Default)]
pub(super) struct Group {
    best: Option<Edge>,
    begun: u64,
    last: u64,
}

impl Group {
    /// Takes an edge; hands out the best one of the group before, when that
    /// is over.
    pub(super) fn take(&mut self, edge: Option<Edge>, now: u64) -> Option<Edge> {
        let over = self.best.is_some()
            && (now > self.last + SAME_EDGE || now > self.begun + LONGEST_GROUP);
        let done = self.best.take_if(|_| over);
        if let Some(edge) = edge {
            if self.best.is_none() {
                self.begun = now;
            }
            self.last = now;
            let weaker = |best: Edge| edge.step.evidence > best.step.evidence;
            if self.best.is_none_or(weaker) {
                self.best = Some(edge);
            }
        }
        done
    }
}
