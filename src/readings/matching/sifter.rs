//! Leaves out places that lie off the way for a moment and are back after it:
//! on a held note the sound is nearly as like itself a period further on. What
//! goes off and stays off is the tape's own motion and counts.

use std::collections::VecDeque;

use crate::signal::line::Line;

/// Nearer than this to where it was foreseen a place counts at once. Found with
/// music: strays lie a period of some note off, 2 ms and more.
const NEAR_S: f64 = 0.0012;

/// Strays come no more than this many in a row: windows of sound overlap.
const RETURNS: usize = 4;

/// It is back when it is off by no more than this part of the stray.
const BACK: f64 = 0.5;

/// Places from which the way is foreseen, and their greatest age in seconds.
const FROM: usize = 4;
const FROM_S: f64 = 1.0;

/// Takes pairs of time and place, in seconds, as they come.
#[derive(Default)]
pub struct Sifter {
    kept: VecDeque<[f64; 2]>,
    waiting: VecDeque<[f64; 2]>,
}

impl Sifter {
    /// Adds to `out` what is now known to count.
    pub fn push(&mut self, place: [f64; 2], out: &mut Vec<[f64; 2]>) {
        self.waiting.push_back(place);
        while let Some(first) = self.waiting.front().copied() {
            match self.is_stray() {
                Some(true) => {}
                Some(false) => self.keep(first, out),
                None => return,
            }
            self.waiting.pop_front();
        }
    }

    /// Nothing comes any more: what waits counts.
    pub fn finish(&mut self, out: &mut Vec<[f64; 2]>) {
        for place in std::mem::take(&mut self.waiting) {
            self.keep(place, out);
        }
    }

    fn keep(&mut self, place: [f64; 2], out: &mut Vec<[f64; 2]>) {
        if self.kept.len() == FROM {
            self.kept.pop_front();
        }
        self.kept.push_back(place);
        out.push(place);
    }

    /// Whether the first that waits is one; `None` while that cannot be known.
    fn is_stray(&self) -> Option<bool> {
        let first = self.waiting.front()?;
        let young = |place: &&[f64; 2]| first[0] - place[0] < FROM_S;
        let known = self.kept.iter().filter(young);
        if known.clone().count() < FROM {
            return Some(false);
        }
        let Some(way) = Line::fitted(known.copied()) else {
            return Some(false);
        };
        let off = |place: &[f64; 2]| place[1] - way.at(place[0]);
        let first_off = off(first).abs();
        if first_off < NEAR_S {
            return Some(false);
        }
        let is_back = |place: &[f64; 2]| off(place).abs() < BACK * first_off;
        if self.waiting.iter().skip(1).any(is_back) {
            return Some(true);
        }
        (self.waiting.len() > RETURNS).then_some(false)
    }
}

/// A stretch without its strays.
pub fn sifted(stretch: &[[f64; 2]]) -> Vec<[f64; 2]> {
    let mut out = Vec::with_capacity(stretch.len());
    let mut sifter = Sifter::default();
    for place in stretch {
        sifter.push(*place, &mut out);
    }
    sifter.finish(&mut out);
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Places an eighth of a second apart at right speed, each off by what `off` says of it.
    fn places(off: impl Fn(usize) -> f64) -> Vec<[f64; 2]> {
        (0..40)
            .map(|n| [0.125 * n as f64, 0.125 * n as f64 + off(n)])
            .collect()
    }

    #[test]
    fn what_comes_back_is_left_out() {
        for lasts in 1..=4 {
            let strayed = places(|n| {
                if (20..20 + lasts).contains(&n) {
                    0.0033
                } else {
                    0.0
                }
            });
            let kept = sifted(&strayed);
            assert_eq!(kept.len(), 40 - lasts, "{lasts}");
            assert!(kept.iter().all(|it| (it[1] - it[0]).abs() < 1e-12));
        }
    }

    #[test]
    fn what_moves_counts() {
        // A hand: 3 % a second from the middle on; a jump of the speed by 2 %;
        // 1 % of wow at 0.5 Hz.
        let since = |n: usize| 0.125 * n.saturating_sub(20) as f64;
        let hand = places(|n| 0.5 * 0.03 * since(n).powi(2));
        let jump = places(|n| 0.02 * since(n));
        let wow = places(|n| 0.0032 * (std::f64::consts::PI * 0.125 * n as f64).sin());
        for moved in [hand, jump, wow] {
            assert_eq!(sifted(&moved), moved);
        }
    }
}
