//! How far the needle strays from the digits while nobody touches the trimmer,
//! and how a swing to and fro is told from a hand.
//!
//! A hand takes the speed somewhere and leaves it there. Wow brings it back
//! within seconds, and to where it was the time before.

use std::collections::VecDeque;

use crate::signal::line::Line;

/// The speed has moved when the needle is away from the digits by this part
/// of the nominal, or by this many times its usual excursion. Tuned, with what
/// follows, `cargo bench --bench trimming`, on its usual seeds; `--bench
/// technician` judges it on others.
const MOVED_AT_LEAST: f64 = 0.0012;
const MOVED_TIMES: f64 = 1.6;
/// Extra margin in the first 20 s: what a machine does once in ten seconds has
/// not been seen in four.
const MOVED_TIMES_AT_FIRST: f64 = 1.0;

/// The usual excursion: what is allowed before it is known, how fast it is
/// forgotten, and how late it is learnt (so that a move does not teach its own
/// threshold). Of a portable whose lines seldom add up, a move that is none is seen
/// about once an hour; forgotten in a minute none was, but then the guidance took
/// longer with the hand.
const FIRST_EXCURSION: f64 = 0.0075;
const FORGOTTEN_S: f64 = 20.0;
const LATE_S: f64 = 0.5;
/// Wow strays to both sides alike, a slow turn to one: of the larger side no
/// more counts than this many times the smaller.
const LOPSIDED: f64 = 1.5;
/// A swing by this many times the usual excursion is wow that has grown: less
/// than makes a move, and more than the wow of before seems to swing where a
/// turn bends the line that it swings about. Tuned:
/// `tests/pure/history_does_not_matter.rs`.
const GROWN: f64 = 1.5;

/// A swing is looked for in means of this length, over the newest of these
/// lengths: what was before the wow may hide it in the longer ones.
pub const BLOCK_S: f64 = 0.15;
const LOOK_BACK_S: [f64; 3] = [3.0, 6.0, 12.0];
/// One way takes at most this long, half a turn of the slowest wheel, and at
/// most this many times as long as the next.
const ONE_WAY_S: f64 = 4.0;
const TIMES_AS_LONG: f64 = 2.0;
/// It comes back to where it was: this part of the range on either side is its
/// end.
const END: f64 = 0.25;

/// What is usual; in hertz.
pub struct Excursions {
    rate_hz: f64,
    nominal_hz: f64,
    /// Largest lately to either side: below, above.
    largest_hz: [f64; 2],
    /// They are those of a machine whose averages are known.
    known: bool,
    /// Values that they were learnt from.
    learnt: usize,
    late: VecDeque<f64>,
}

impl Excursions {
    /// Nothing known of a machine with a tone near `nominal_hz`.
    pub fn new(rate_hz: f64, nominal_hz: f64) -> Self {
        Self {
            rate_hz,
            nominal_hz,
            largest_hz: [0.0; 2],
            known: false,
            learnt: 0,
            late: VecDeque::new(),
        }
    }

    fn values(&self, seconds: f64) -> usize {
        (seconds * self.rate_hz).round() as usize
    }

    fn usual_hz(&self) -> Option<f64> {
        let [below, above] = self.largest_hz;
        let usual = below.max(above).min(LOPSIDED * below.min(above));
        self.known.then_some(usual)
    }

    /// Beyond this the needle has been moved.
    pub fn most_hz(&self) -> f64 {
        let first = FIRST_EXCURSION * self.nominal_hz;
        let usual = self.usual_hz().unwrap_or(first);
        let learnt = self.learnt as f64 / self.values(FORGOTTEN_S) as f64;
        let times = MOVED_TIMES + MOVED_TIMES_AT_FIRST * (1.0 - learnt).max(0.0);
        (MOVED_AT_LEAST * self.nominal_hz).max(times * usual)
    }

    /// An excursion that was no move. `averages`: the machine's averages are
    /// known; then it counts only while the digits hold a whole period.
    pub fn learn(&mut self, excursion_hz: f64, averages: bool, holds_a_period: bool) {
        self.late.push_back(excursion_hz);
        if self.late.len() <= self.values(LATE_S) {
            return;
        }
        let Some(old) = self.late.pop_front() else {
            return;
        };
        if averages && !holds_a_period {
            return;
        }
        self.learnt += 1;
        if averages {
            self.known = true;
            let kept = (-1.0 / (FORGOTTEN_S * self.rate_hz)).exp();
            self.largest_hz = self.largest_hz.map(|largest| largest * kept);
        }
        let side = &mut self.largest_hz[usize::from(old > 0.0)];
        *side = side.max(old.abs());
    }

    /// The speed was moved: what the needle did meanwhile teaches nothing.
    pub fn interrupt(&mut self) {
        self.late.clear();
    }

    /// True where a swing of this much is more than is known of the machine.
    pub fn are_less_than(&self, swing_hz: f64) -> bool {
        self.usual_hz().is_none_or(|usual| swing_hz > GROWN * usual)
    }

    /// It swings by this much to either side; what was learnt is of no use.
    pub fn begin_anew(&mut self, swing_hz: f64) {
        *self = Self::new(self.rate_hz, self.nominal_hz);
        self.largest_hz = [swing_hz; 2];
        self.known = true;
    }
}

/// To, fro and back again.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Swing {
    /// Half of its way.
    pub by: f64,
    /// How long it has been swinging, at least.
    pub since_s: f64,
}

/// Looks for a swing in means of [`BLOCK_S`], the newest first, in any unit.
pub fn swing(newest_first: &[f64]) -> Option<Swing> {
    let lengths = LOOK_BACK_S.map(|seconds| (seconds / BLOCK_S) as usize);
    lengths
        .into_iter()
        .find_map(|length| swing_within(&newest_first[..length.min(newest_first.len())]))
}

fn swing_within(means: &[f64]) -> Option<Swing> {
    let [low, high] = extent(means.iter().copied());
    let end = END * (high - low);
    let mut side = None;
    let mut crossings = means.iter().enumerate().filter_map(|(age, &mean)| {
        let here = if mean <= low + end {
            false
        } else if mean >= high - end {
            true
        } else {
            return None;
        };
        let crosses = side.is_some_and(|side| side != here);
        side = Some(here);
        crosses.then_some(age)
    });
    let ages = [crossings.next()?, crossings.next()?, crossings.next()?];
    let [to, fro] = [ages[1] - ages[0], ages[2] - ages[1]].map(|blocks| blocks as f64);
    let is_quick = to.max(fro).max(ages[0] as f64) * BLOCK_S <= ONE_WAY_S;
    // Counted in whole blocks.
    let is_regular = to.max(fro) <= TIMES_AS_LONG * to.min(fro) + 1.0;
    // A turn that goes on meanwhile makes it no wider.
    let [lowest, highest] = extent(Line::of_series(means).residuals(means));
    (is_quick && is_regular).then_some(Swing {
        by: 0.5 * (high - low).min(highest - lowest),
        since_s: ages[2] as f64 * BLOCK_S,
    })
}

fn extent(values: impl Iterator<Item = f64>) -> [f64; 2] {
    let ends = [f64::INFINITY, f64::NEG_INFINITY];
    values.fold(ends, |[low, high], value| [low.min(value), high.max(value)])
}

#[cfg(test)]
mod tests {
    use super::*;

    const RATE_HZ: f64 = 200.0;

    /// What is found in these, each stayed at for its seconds.
    fn found(stations: &[(f64, f64)]) -> Option<Swing> {
        let blocks = |&(value, seconds): &(f64, f64)| {
            std::iter::repeat_n(value, (seconds / BLOCK_S) as usize)
        };
        let newest_first: Vec<f64> = stations.iter().rev().flat_map(blocks).collect();
        swing(&newest_first)
    }

    #[test]
    fn what_comes_back_is_a_swing_of_half_its_way() {
        let to_and_fro = [(1.0, 0.8), (-1.0, 0.9), (1.1, 0.8), (-1.0, 0.8)];
        let swing = found(&to_and_fro).expect("to and fro");
        assert!((swing.by - 1.0).abs() < 0.06, "{swing:?}");
        // After a step, too.
        let after = [&[(9.0, 10.0)], &to_and_fro[..]].concat();
        assert!(found(&after).is_some_and(|swing| swing.by < 1.1));
    }

    #[test]
    fn a_hand_that_hunts_turns_or_takes_its_time_makes_none() {
        let hunts = [(3.0, 0.8), (-1.0, 0.8), (0.4, 0.8), (-0.1, 0.8)];
        let turns = [(1.0, 0.8), (2.0, 0.8), (3.0, 0.8), (4.0, 0.8)];
        let sweeps = [(1.0, 5.0), (-1.0, 5.0), (1.0, 5.0), (-1.0, 5.0)];
        for stations in [hunts, turns, sweeps] {
            assert_eq!(found(&stations), None, "{stations:?}");
        }
    }

    #[test]
    fn what_strays_to_one_side_teaches_no_threshold() {
        let mut excursions = Excursions::new(RATE_HZ, 3150.0);
        for n in 0..4000u32 {
            let wow = (f64::from(n) * 0.02).sin();
            excursions.learn(wow, true, true);
        }
        let before = excursions.most_hz();
        for n in 0..2000u32 {
            excursions.learn(f64::from(n) * 0.01, true, true);
        }
        let most = LOPSIDED * before.max(3.78);
        assert!(excursions.most_hz() <= most, "{before}");
    }
}
