//! Statistics on short series: quantiles, straight lines, Student's t.

use std::sync::LazyLock;

use statrs::distribution::{ContinuousCDF, StudentsT};

/// Two-sided 95 % factor of the normal distribution.
pub const NORMAL_95: f64 = 1.959_964;

/// Two-sided 95 % factor of Student's t for `freedom` ≥ 1 degrees of freedom
/// (JCGM 100:2008, G.3); towards 1.96 for many.
///
/// Looked up, for the live digits ask some hundred times a second: between two
/// entries of the table it is off by less than 2 · 10⁻⁵ of itself.
pub fn student_95(freedom: f64) -> f64 {
    let place = STEPS_OF_STUDENT as f64 / freedom.max(1.0);
    let below = (place as usize).min(STEPS_OF_STUDENT - 1);
    let [low, high] = [STUDENT_95[below], STUDENT_95[below + 1]];
    low + (place - below as f64) * (high - low)
}

/// Entries of the table, evenly in 1 ÷ degrees of freedom.
const STEPS_OF_STUDENT: usize = 1024;

static STUDENT_95: LazyLock<Vec<f64>> = LazyLock::new(|| {
    let factor = |step: usize| {
        // Location 0, scale 1 and freedom ≥ 1 are always a valid distribution.
        StudentsT::new(0.0, 1.0, STEPS_OF_STUDENT as f64 / step as f64)
            .map_or(f64::INFINITY, |student| student.inverse_cdf(0.975))
    };
    let known = (1..=STEPS_OF_STUDENT).map(factor);
    std::iter::once(NORMAL_95).chain(known).collect()
});

/// Probability that Student's t lies beyond ± `bound` for `freedom` ≥ 1
/// degrees of freedom.
pub fn student_beyond(bound: f64, freedom: f64) -> f64 {
    StudentsT::new(0.0, 1.0, freedom.max(1.0))
        .map_or(1.0, |student| 2.0 * student.cdf(-bound.abs()))
}

/// Median of a series, reordering it; `None` when empty.
pub fn median(values: &mut [f64]) -> Option<f64> {
    if values.is_empty() {
        return None;
    }
    let even = values.len().is_multiple_of(2);
    let middle = values.len() / 2;
    let (below, &mut upper, _) = values.select_nth_unstable_by(middle, f64::total_cmp);
    if !even {
        return Some(upper);
    }
    let lower = below.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    Some(f64::midpoint(lower, upper))
}

/// A straight line through equally spaced values by least squares.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Line {
    /// Value at the middle of the series, which is its mean.
    pub mean: f64,
    /// Change from one value to the next.
    pub slope: f64,
}

/// Fits a [`Line`]; a series of one has no slope, an empty one mean 0.
pub fn fit_line(values: &[f64]) -> Line {
    let n = values.len() as f64;
    if values.is_empty() {
        return Line {
            mean: 0.0,
            slope: 0.0,
        };
    }
    let mean = values.iter().sum::<f64>() / n;
    let middle = (n - 1.0) / 2.0;
    let moment: f64 = values
        .iter()
        .enumerate()
        .map(|(k, value)| (k as f64 - middle) * (value - mean))
        .sum();
    // Σ (k − middle)² over n equally spaced points.
    let spread = n * (n * n - 1.0) / 12.0;
    Line {
        mean,
        slope: if spread > 0.0 { moment / spread } else { 0.0 },
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn student_factors_are_those_of_the_table() {
        // JCGM 100:2008, table G.2, p = 95 %.
        for (freedom, factor) in [(1.0, 12.71), (4.0, 2.78), (10.0, 2.23), (50.0, 2.01)] {
            let got = student_95(freedom);
            assert!((got - factor).abs() < 0.006, "{freedom}: {got}");
        }
        // Between the entries as by the distribution itself.
        for k in 0..400 {
            let freedom = 1.0 + 0.037 * f64::from(k * k);
            let exact = StudentsT::new(0.0, 1.0, freedom)
                .unwrap()
                .inverse_cdf(0.975);
            let off = student_95(freedom) / exact - 1.0;
            assert!(off.abs() < 2e-5, "{freedom}: {off}");
        }
        assert!((student_95(1e6) - 1.96).abs() < 0.001);
        assert!((student_95(f64::INFINITY) - 1.959_96).abs() < 1e-4);
        assert!((student_beyond(2.78, 4.0) - 0.05).abs() < 1e-3);
    }

    #[test]
    fn the_median_is_in_the_middle() {
        assert_eq!(median(&mut []), None);
        assert_eq!(median(&mut [3.0]), Some(3.0));
        assert_eq!(median(&mut [4.0, 1.0]), Some(2.5));
        assert_eq!(median(&mut [9.0, 1.0, 5.0]), Some(5.0));
        assert_eq!(median(&mut [9.0, 1.0, 5.0, 2.0]), Some(3.5));
    }

    #[test]
    fn a_line_is_found_again() {
        let values: Vec<f64> = (0..11).map(|k| 2.0 + 0.5 * f64::from(k)).collect();
        let line = fit_line(&values);
        assert!((line.slope - 0.5).abs() < 1e-12 && (line.mean - 4.5).abs() < 1e-12);
        assert!(fit_line(&[7.0]).slope.abs() < f64::EPSILON);
    }
}
