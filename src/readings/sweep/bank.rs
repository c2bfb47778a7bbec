//! The patterns that a bad spot leaves in the speed, and how strongly each
//! shows at every moment.
//!
//! A spot adds its depth while the wiper is on it; motor and flywheel follow
//! with a lag of first order. Neither the dwell nor the lag is known, so there
//! is a pattern for each of several.

use super::series::RATE_HZ;
use super::whitening::Whitening;
use crate::signal::statistics::robust_sigma;

/// Seconds that the wiper may be on a spot, each about 1.6 times the one before.
pub(super) const DWELLS_S: [f64; 6] = [0.12, 0.2, 0.32, 0.5, 0.8, 1.3];

/// Lags of transports in seconds.
pub(super) const LAGS_S: [f64; 3] = [0.05, 0.12, 0.25];

/// How one pattern shows, for every moment that it may begin at.
#[derive(Clone, Debug)]
pub(super) struct Trace {
    /// Index into [`DWELLS_S`].
    pub(super) dwell: usize,
    /// Index into [`LAGS_S`].
    pub(super) lag: usize,
    /// In standard deviations of what the sweep itself brings about.
    pub(super) scores: Vec<f64>,
    /// Depth for a score of 1, in standard deviations of the errors there.
    pub(super) depth: f64,
}

impl Trace {
    /// Values from the beginning of the pattern to its middle.
    pub(super) fn to_middle(&self) -> usize {
        ((DWELLS_S[self.dwell] / 2.0 + LAGS_S[self.lag]) * RATE_HZ).round() as usize
    }

    /// Values from its beginning to where it has died away.
    pub(super) fn length(&self) -> usize {
        ((DWELLS_S[self.dwell] + 2.5 * LAGS_S[self.lag]) * RATE_HZ).round() as usize
    }
}

/// The traces of all patterns; `marked` says which moments tell what is usual.
pub(super) fn traces(whitening: &Whitening, white: &[f64], marked: &[bool]) -> Vec<Trace> {
    let mut traces = Vec::new();
    for (dwell, &dwell_s) in DWELLS_S.iter().enumerate() {
        for (lag, &lag_s) in LAGS_S.iter().enumerate() {
            let (pattern, lead) = whitening.pattern(&spot_shape(dwell_s, lag_s));
            let norm = pattern.iter().map(|x| x * x).sum::<f64>().sqrt();
            let mut scores = correlate(white, &pattern, lead);
            for score in &mut scores {
                *score /= norm;
            }
            let usual = usual_size(&scores, marked);
            for score in &mut scores {
                *score /= usual;
            }
            traces.push(Trace {
                dwell,
                lag,
                scores,
                depth: usual / norm,
            });
        }
    }
    traces
}

/// A spot of depth 1: towards it while the wiper dwells, then back.
fn spot_shape(dwell_s: f64, lag_s: f64) -> Vec<f64> {
    let length = ((dwell_s + 6.0 * lag_s) * RATE_HZ).ceil() as usize;
    let full = 1.0 - (-dwell_s / lag_s).exp();
    (0..length)
        .map(|k| {
            let t = (k as f64 + 0.5) / RATE_HZ;
            if t < dwell_s {
                1.0 - (-t / lag_s).exp()
            } else {
                full * (-(t - dwell_s) / lag_s).exp()
            }
        })
        .collect()
}

fn correlate(white: &[f64], pattern: &[f64], lead: usize) -> Vec<f64> {
    (0..white.len())
        .map(|start| {
            let skip = lead.saturating_sub(start);
            let from = (start + skip).saturating_sub(lead);
            let part = white[from..].iter().zip(pattern.iter().skip(skip));
            part.map(|(a, b)| a * b).sum()
        })
        .collect()
}

/// Scores are in standard deviations already, by what the errors are; where
/// they scatter less than this, the errors are smaller than was allowed for.
const LEAST_USUAL: f64 = 0.7;

/// Robust standard deviation over the marked moments.
fn usual_size(scores: &[f64], marked: &[bool]) -> f64 {
    let marked = scores.iter().zip(marked).filter(|(_, marked)| **marked);
    robust_sigma(marked.map(|(score, _)| *score)).map_or(1.0, |usual| usual.max(LEAST_USUAL))
}
