//! The regular row among short sounds: which of them belong to it, with which
//! number.

use super::marks::Mark;
use crate::signal::statistics::quantile;

/// How far the speed may be off: −25 … +25 %.
const SLOWEST: f64 = 0.75;
const FASTEST: f64 = 1.25;

/// Marks that a gap may leave out.
const LONGEST_GAP: usize = 16;

/// A mark may come this much of a spacing before or after its time, for each
/// spacing since the last one, and never more than the second: wow of 3 %, as of
/// a ruin. Practice, no source.
const EARLY: f64 = 0.03;
const EARLIEST: f64 = 0.2;

/// Marks more than 12 dB below the usual count less.
const FAINT: f64 = 0.063;

/// Spacings are tried this far apart.
const STEP: f64 = 0.01;

/// Looked back at for the one before, at most.
const LOOK_BACK: usize = 64;

/// A member of the row.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Member {
    /// Which of the marks that were heard.
    pub which: usize,
    /// Its number in the row, the first being 0.
    pub number: u64,
}

/// The row with the most and loudest members whose spacing lies within ±25 %
/// of `spacing_s`; empty where no two marks are so far apart.
pub fn row(marks: &[Mark], spacing_s: f64) -> Vec<Member> {
    let mut powers: Vec<f64> = marks.iter().map(|mark| mark.power).collect();
    // The upper half: false ones are many and faint.
    let usual = quantile(&mut powers, 0.75).unwrap_or(0.0);
    let weights: Vec<f64> = marks
        .iter()
        .map(|mark| (mark.power / (FAINT * usual)).min(1.0))
        .collect();
    let mut best = (0.0, Vec::new());
    let mut spacing = spacing_s / FASTEST;
    while spacing <= spacing_s / SLOWEST {
        let (score, row) = best_row(marks, &weights, spacing);
        if score > best.0 {
            best = (score, row);
        }
        spacing *= 1.0 + STEP;
    }
    best.1
}

/// The best row for about this spacing, by the best row that ends at each
/// mark.
fn best_row(marks: &[Mark], weights: &[f64], spacing: f64) -> (f64, Vec<Member>) {
    let mut scores = weights.to_vec();
    let mut before: Vec<Option<(usize, u64)>> = vec![None; marks.len()];
    for here in 0..marks.len() {
        for earlier in (here.saturating_sub(LOOK_BACK)..here).rev() {
            let turns = (marks[here].at_s - marks[earlier].at_s) / spacing;
            let steps = turns.round();
            if steps > LONGEST_GAP as f64 {
                break;
            }
            let allowed = (EARLY * steps).min(EARLIEST);
            let off = (turns - steps).abs() / allowed;
            if steps < 1.0 || off > 1.0 {
                continue;
            }
            let score = scores[earlier] + weights[here] * (1.0 - 0.3 * off * off)
                - 0.3 * (steps - 1.0).min(3.0);
            if score > scores[here] {
                scores[here] = score;
                before[here] = Some((earlier, steps as u64));
            }
        }
    }
    let Some(last) = (0..marks.len()).max_by(|a, b| scores[*a].total_cmp(&scores[*b])) else {
        return (0.0, Vec::new());
    };
    let mut members = vec![Member {
        which: last,
        number: 0,
    }];
    let mut here = last;
    let mut back = 0;
    while let Some((earlier, steps)) = before[here] {
        back += steps;
        members.push(Member {
            which: earlier,
            number: back,
        });
        here = earlier;
    }
    for member in &mut members {
        member.number = back - member.number;
    }
    members.reverse();
    if members.len() < 2 {
        members.clear();
    }
    (scores[last], members)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn marks(times: impl IntoIterator<Item = f64>) -> Vec<Mark> {
        let mark = |at_s| Mark { at_s, power: 1.0 };
        times.into_iter().map(mark).collect()
    }

    fn numbers(row: &[Member]) -> Vec<u64> {
        row.iter().map(|member| member.number).collect()
    }

    #[test]
    fn a_row_is_numbered_at_any_speed() {
        for factor in [0.76, 0.9, 1.0, 1.1, 1.24] {
            let heard = marks((0..20).map(|k| 3.0 + f64::from(k) / factor));
            assert_eq!(numbers(&row(&heard, 1.0)), (0..20).collect::<Vec<_>>());
        }
        // Too near to each other for any speed, and alone.
        assert!(row(&marks([0.0, 0.7]), 1.0).is_empty());
        assert!(row(&marks([1.0]), 1.0).is_empty());
    }

    #[test]
    fn gaps_are_counted_and_strangers_are_not() {
        let gone = [4, 5, 11];
        let mut times: Vec<f64> = (0..20)
            .filter(|k| !gone.contains(k))
            .map(|k| 1.03 * f64::from(k))
            .collect();
        times.extend([2.5, 8.8, 13.9]);
        times.sort_by(f64::total_cmp);
        let heard = marks(times);
        let found = row(&heard, 1.0);
        let expected: Vec<u64> = (0..20).filter(|k| !gone.contains(&(*k as i32))).collect();
        assert_eq!(numbers(&found), expected);
        for member in &found {
            let at_s = heard[member.which].at_s;
            assert!((at_s - 1.03 * member.number as f64).abs() < 1e-9);
        }
    }
}
