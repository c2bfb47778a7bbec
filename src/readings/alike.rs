//! Whether two channels carry the same thing, by how their loudness rises and
//! falls.

/// Correlation below which channels carry two things, and the rms in decibels
/// below which loudness does not move. Tuned, on what is not recorded.
const LEAST_CORRELATION: f64 = 0.1;
const MOVES_DB: f64 = 3.0;

/// True where two series of decibels, of the same moments, go their own ways.
pub(super) fn are_different(a: &[f64], b: &[f64]) -> bool {
    correlation(a, b).is_some_and(|correlation| correlation < LEAST_CORRELATION)
}

/// Correlation of two series of decibels; `None` where one hardly moves.
fn correlation(a: &[f64], b: &[f64]) -> Option<f64> {
    let mean = |v: &[f64]| v.iter().sum::<f64>() / v.len().max(1) as f64;
    let (mean_a, mean_b) = (mean(a), mean(b));
    let (mut aa, mut bb, mut ab) = (0.0, 0.0, 0.0);
    for (x, y) in a.iter().zip(b) {
        let (x, y) = (x - mean_a, y - mean_b);
        aa += x * x;
        bb += y * y;
        ab += x * y;
    }
    let least = MOVES_DB * MOVES_DB * a.len() as f64;
    (aa > least && bb > least).then(|| ab / (aa * bb).sqrt())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_rises_and_falls_together_is_one_thing() {
        let wave = |step: f64| -> Vec<f64> {
            (0..400)
                .map(|n| -20.0 + 8.0 * (f64::from(n) * step).sin())
                .collect()
        };
        let fainter: Vec<f64> = wave(0.31).iter().map(|db| db - 12.0).collect();
        assert!(!are_different(&wave(0.31), &fainter));
        assert!(are_different(&wave(0.31), &wave(0.47)));
        // Steady sound has no way to go.
        assert!(!are_different(&wave(0.31), &[-20.0; 400]));
    }
}
