//! Marks whose speed was moved in between: two rows that follow each other.

use super::scatter::{leave_out_strays, residuals, scatter};
use crate::signal::line::{Line, Sums};

/// Each of the two lasts this long and has this many marks: what wow does to fewer
/// is no move.
const LEAST_S: f64 = 5.0;
const LEAST_MARKS: usize = 4;

/// They differ by more than this part, and by this many times what their ± leave
/// open. Found by simulation (`cargo bench --bench references -- marks`).
const MOVED: f64 = 0.0015;
const SURELY: f64 = 3.0;

/// Two rows, the second from where the first one ends.
#[derive(Clone, Debug)]
pub(super) struct Moved {
    pub before: Line,
    pub after: Line,
    /// When it was moved, to within a spacing.
    pub at_s: f64,
    /// Numbers and times of the marks that belong to either.
    pub marks: Vec<[f64; 2]>,
    /// How far each is off its own row, in seconds.
    pub off: Vec<f64>,
}

impl Moved {
    /// Where the speed was moved once, and for good; `None` where it was not.
    pub fn of(marks: &[[f64; 2]]) -> Option<Self> {
        let at = parting(marks)?;
        let half = |marks: &[[f64; 2]]| {
            let mut marks = marks.to_vec();
            leave_out_strays(&mut marks);
            let row = Line::fitted(marks.iter().copied())?;
            (marks.len() >= LEAST_MARKS).then_some((marks, row))
        };
        let first = half(&marks[..at])?;
        let second = half(&marks[at..])?;
        let known =
            |(marks, row): &(Vec<[f64; 2]>, Line)| scatter(marks, row).half_width / row.slope;
        let apart = (first.1.slope / second.1.slope - 1.0).abs();
        if apart < MOVED || apart < SURELY * known(&first).hypot(known(&second)) {
            return None;
        }
        let mut off = residuals(&first.0, &first.1);
        off.extend(residuals(&second.0, &second.1));
        Some(Self {
            before: first.1,
            after: second.1,
            at_s: 0.5 * (marks[at - 1][1] + marks[at][1]),
            marks: [first.0, second.0].concat(),
            off,
        })
    }
}

/// The number of marks before the move: where two straight lines leave least.
fn parting(marks: &[[f64; 2]]) -> Option<usize> {
    let left = lines(marks.iter());
    let right = lines(marks.iter().rev());
    let count = marks.len();
    let is_long = |from: usize, to: usize| marks[to][1] - marks[from][1] >= LEAST_S;
    (LEAST_MARKS..(count + 1).saturating_sub(LEAST_MARKS))
        .filter(|&at| is_long(0, at - 1) && is_long(at, count - 1))
        .min_by(|a, b| {
            let sum = |at: usize| left[at] + right[count - at];
            sum(*a).total_cmp(&sum(*b))
        })
}

/// What a line through the first k leaves, as a sum of squares, for every k.
fn lines<'a>(marks: impl Iterator<Item = &'a [f64; 2]>) -> Vec<f64> {
    let mut marks = marks.peekable();
    let origin = marks.peek().map_or([0.0; 2], |first| **first);
    let mut sums = Sums::default();
    let mut left = vec![0.0];
    left.extend(marks.map(|[number, time]| {
        sums.push([number - origin[0], time - origin[1]]);
        sums.squares_left()
    }));
    left
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Marks a second apart, the later ones by this factor.
    fn row_of(factor: f64) -> Vec<[f64; 2]> {
        let time = |n: f64| n.min(29.0) + factor * (n - 29.0).max(0.0);
        let jitter = |n: f64| 1e-4 * ((n * 0.618).fract() - 0.5);
        let numbers = (0..60).map(f64::from);
        numbers.map(|n| [n, time(n) + jitter(n)]).collect()
    }

    #[test]
    fn a_step_is_placed_and_both_speeds_are_told() {
        for factor in [0.98, 1.005, 1.1] {
            let moved = Moved::of(&row_of(factor)).expect("a step");
            assert!((moved.before.slope - 1.0).abs() < 1e-4, "{moved:?}");
            assert!((moved.after.slope - factor).abs() < 1e-4, "{moved:?}");
            assert!((moved.at_s - 29.5).abs() < 1.1, "{}", moved.at_s);
            assert_eq!(moved.marks.len(), 60);
        }
    }

    #[test]
    fn what_does_not_step_was_not_moved() {
        let marks = row_of(1.0);
        assert!(Moved::of(&marks).is_none());
        assert!(Moved::of(&marks[..8]).is_none());
        assert!(Moved::of(&[]).is_none());
        // Wow of 0.2 %, two turns long.
        let wow = |n: f64| 0.01 * (n * 0.2).sin();
        let wavering: Vec<_> = marks.iter().map(|[n, t]| [*n, t + wow(*n)]).collect();
        assert!(Moved::of(&wavering).is_none());
    }
}
