//! Marks whose speed was moved in between: two rows that follow each other.

use super::scatter::{leave_out_strays, residuals, scatter};
use crate::signal::timed::train::{Row, fitted};

/// Each of the two lasts so long and has so many marks: what wow does to fewer
/// is no move.
const LEAST_S: f64 = 5.0;
const LEAST_MARKS: usize = 4;

/// They differ by more than this part, and by so many times what their ± leave
/// open. Found by simulation (`cargo bench --bench references -- marks`).
const MOVED: f64 = 0.0015;
const SURELY: f64 = 3.0;

/// Two rows, the second from where the first one ends.
#[derive(Clone, Debug)]
pub(super) struct Moved {
    pub before: Row,
    pub after: Row,
    /// When it was moved, to within a spacing.
    pub at_s: f64,
    /// Marks that belong to either.
    pub numbers: Vec<f64>,
    pub times: Vec<f64>,
    /// How far each is off its own row, in seconds.
    pub off: Vec<f64>,
}

impl Moved {
    /// Where the speed was moved once, and for good; `None` where it was not.
    pub fn of(numbers: &[f64], times: &[f64]) -> Option<Self> {
        let at = parting(numbers, times)?;
        let half = |numbers: &[f64], times: &[f64]| {
            let (mut numbers, mut times) = (numbers.to_vec(), times.to_vec());
            leave_out_strays(&mut numbers, &mut times);
            (numbers.len() >= LEAST_MARKS).then(|| {
                let row = fitted(&numbers, &times);
                (numbers, times, row)
            })
        };
        let first = half(&numbers[..at], &times[..at])?;
        let second = half(&numbers[at..], &times[at..])?;
        let known = |(numbers, times, row): &(Vec<f64>, Vec<f64>, Row)| {
            scatter(numbers, times, row).half_width / row.spacing_s
        };
        let apart = (first.2.spacing_s / second.2.spacing_s - 1.0).abs();
        if apart < MOVED || apart < SURELY * known(&first).hypot(known(&second)) {
            return None;
        }
        let mut off = residuals(&first.0, &first.1, &first.2);
        off.extend(residuals(&second.0, &second.1, &second.2));
        Some(Self {
            before: first.2,
            after: second.2,
            at_s: 0.5 * (times[at - 1] + times[at]),
            numbers: [first.0, second.0].concat(),
            times: [first.1, second.1].concat(),
            off,
        })
    }
}

/// The number of marks before the move: where two straight lines leave least.
fn parting(numbers: &[f64], times: &[f64]) -> Option<usize> {
    let left = lines(numbers, times);
    let backwards = |values: &[f64]| -> Vec<f64> { values.iter().rev().copied().collect() };
    let right = lines(&backwards(numbers), &backwards(times));
    let count = numbers.len();
    let is_long = |from: usize, to: usize| times[to] - times[from] >= LEAST_S;
    (LEAST_MARKS..(count + 1).saturating_sub(LEAST_MARKS))
        .filter(|&at| is_long(0, at - 1) && is_long(at, count - 1))
        .min_by(|a, b| {
            let sum = |at: usize| left[at] + right[count - at];
            sum(*a).total_cmp(&sum(*b))
        })
}

/// What a line through the first k leaves, as a sum of squares, for every k.
fn lines(numbers: &[f64], times: &[f64]) -> Vec<f64> {
    let (Some(&first), Some(&start_s)) = (numbers.first(), times.first()) else {
        return vec![0.0];
    };
    let mut sums = [0.0; 5];
    let mut left = vec![0.0];
    for (k, (number, time)) in (1..).zip(numbers.iter().zip(times)) {
        let (n, t) = (number - first, time - start_s);
        for (sum, value) in sums.iter_mut().zip([n, t, n * n, n * t, t * t]) {
            *sum += value;
        }
        let [n, t, nn, nt, tt] = sums;
        let count = f64::from(k);
        let spread = nn - n * n / count;
        let rest = tt - t * t / count;
        let common = nt - n * t / count;
        left.push(if spread > 0.0 {
            (rest - common * common / spread).max(0.0)
        } else {
            0.0
        });
    }
    left
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Marks a second apart, the later ones by this factor.
    fn row_of(factor: f64) -> (Vec<f64>, Vec<f64>) {
        let numbers: Vec<f64> = (0..60).map(f64::from).collect();
        let time = |n: &f64| n.min(29.0) + factor * (n - 29.0).max(0.0);
        let jitter = |n: f64| 1e-4 * ((n * 0.618).fract() - 0.5);
        let times = numbers.iter().map(|n| time(n) + jitter(*n)).collect();
        (numbers, times)
    }

    #[test]
    fn a_step_is_placed_and_both_speeds_are_told() {
        for factor in [0.98, 1.005, 1.1] {
            let (numbers, times) = row_of(factor);
            let moved = Moved::of(&numbers, &times).expect("a step");
            assert!((moved.before.spacing_s - 1.0).abs() < 1e-4, "{moved:?}");
            assert!((moved.after.spacing_s - factor).abs() < 1e-4, "{moved:?}");
            assert!((moved.at_s - 29.5).abs() < 1.1, "{}", moved.at_s);
            assert_eq!(moved.numbers.len(), 60);
        }
    }

    #[test]
    fn what_does_not_step_was_not_moved() {
        let (numbers, times) = row_of(1.0);
        assert!(Moved::of(&numbers, &times).is_none());
        assert!(Moved::of(&numbers[..8], &times[..8]).is_none());
        assert!(Moved::of(&[], &[]).is_none());
        // Wow of 0.2 %, two turns long.
        let wow = |n: f64| 0.01 * (n * 0.2).sin();
        let wavering: Vec<f64> = numbers
            .iter()
            .zip(&times)
            .map(|(n, t)| t + wow(*n))
            .collect();
        assert!(Moved::of(&numbers, &wavering).is_none());
    }
}
