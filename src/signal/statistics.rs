//! Statistics on short series: quantiles, scatter, the top of a peak, Student's
//! t.

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

/// The value that this part of a series lies at or below, by the nearest rank;
/// reorders it. `None` when empty.
pub fn quantile(values: &mut [f64], part: f64) -> Option<f64> {
    let last = values.len().checked_sub(1)?;
    let place = (last as f64 * part).round() as usize;
    Some(*values.select_nth_unstable_by(place, f64::total_cmp).1)
}

/// The median of many, the upper of two in the middle; reorders them. 0 of
/// none.
pub fn upper_median(values: &mut [f32]) -> f32 {
    if values.is_empty() {
        return 0.0;
    }
    let middle = values.len() / 2;
    *values.select_nth_unstable_by(middle, f32::total_cmp).1
}

/// From the median size of normal deviations to their standard deviation:
/// 1 / Φ⁻¹(3/4).
pub const MEDIAN_TO_SIGMA: f64 = 1.4826;

/// Standard deviation from the median size of the deviations, which a few wild
/// ones do not move. `None` when empty.
pub fn robust_sigma(deviations: impl Iterator<Item = f64>) -> Option<f64> {
    let mut sizes: Vec<f64> = deviations.map(f64::abs).collect();
    median(&mut sizes).map(|median| MEDIAN_TO_SIGMA * median)
}

/// Where the parabola through three values at −1, 0 and 1 is highest, from −½
/// to ½; 0 where it has no top.
pub fn parabola_top(below: f64, here: f64, above: f64) -> f64 {
    let bend = below - 2.0 * here + above;
    if bend < 0.0 {
        (0.5 * (below - above) / bend).clamp(-0.5, 0.5)
    } else {
        0.0
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
    fn quantiles_take_the_nearest_rank() {
        let mut values = [9.0, 1.0, 5.0, 2.0, 7.0];
        for (part, expected) in [(0.0, 1.0), (0.25, 2.0), (0.7, 7.0), (1.0, 9.0)] {
            assert_eq!(quantile(&mut values, part), Some(expected), "{part}");
        }
        assert_eq!(quantile(&mut [], 0.5), None);
        assert!((upper_median(&mut [4.0, 1.0]) - 4.0).abs() < f32::EPSILON);
    }

    #[test]
    fn a_wild_value_does_not_move_the_scatter() {
        // Of a normal distribution half lies within 0.6745 of its deviation.
        let sigma = robust_sigma([-0.6745, 0.1, 1e9].into_iter());
        assert!((sigma.expect("three") - 1.0).abs() < 1e-4);
        assert_eq!(robust_sigma(std::iter::empty()), None);
    }

    #[test]
    fn a_parabola_has_its_top_where_it_was_put() {
        let at = |x: f64| 3.0 - 2.0 * (x - 0.3f64).powi(2);
        assert!((parabola_top(at(-1.0), at(0.0), at(1.0)) - 0.3).abs() < 1e-12);
        for [a, b, c] in [[0.0, 1.0, 5.0], [1.0, 1.0, 1.0]] {
            assert!(parabola_top(a, b, c).abs() < f64::EPSILON);
        }
    }
}
