//! What is left of sound once everything is taken away that could be
//! foreseen, a stretch at a time, as power in short pieces.
//!
//! Crackles are no level: a predictor that tries to explain one gets the
//! sound around it wrong, so samples that nothing explains are left out, and
//! the predictor is made again without them.

use std::ops::Range;

use crate::signal::prediction::{Predictor, Workroom};

/// A predictor is made of so many samples, and used for so many in their
/// middle.
pub(super) const WINDOW: usize = 1440;
pub(super) const HOP: usize = 240;
const ORDER: usize = 32;
/// Samples in a piece.
pub(super) const PIECE: usize = 12;
/// A sample counts no more than this many times the median of its piece.
const MOST_SURPRISE: f64 = 20.0;
/// The power of rounding to 16 bits, about −110 dB: less is silence.
const SILENCE: f64 = 1e-11;

/// A sample is an impulse if its square is this many times the median around
/// it, so many samples in all; one begins and dies away within these.
const IMPULSE: f64 = 90.0;
const AROUND: usize = 96;
const BEFORE_IMPULSE: usize = 2;
const BEHIND_IMPULSE: usize = 10;
/// A piece needs so many samples to be a level of its own.
const LEAST: usize = 4;

/// See the module.
#[derive(Default)]
pub(super) struct Rest {
    room: Workroom,
    squares: Vec<f64>,
    sorted: Vec<f64>,
}

impl Rest {
    /// Adds the power of the pieces in the middle of a window.
    pub(super) fn add_pieces(&mut self, window: &[f64], pieces: &mut Vec<f64>) {
        let whole: Range<usize> = 0..WINDOW;
        let predictor =
            Predictor::of_stretches(window, std::slice::from_ref(&whole), ORDER, &mut self.room);
        self.unforeseen(&predictor, window);
        let impulses = self.impulses();
        if !impulses.is_empty() {
            // Whatever is foreseen from an impulse is left out as well.
            let mut stretches = Vec::new();
            let mut from = 0;
            for impulse in &impulses {
                stretches.push(from..impulse.start.max(from));
                from = (impulse.end + ORDER).min(WINDOW);
            }
            stretches.push(from..WINDOW);
            let predictor = Predictor::of_stretches(window, &stretches, ORDER, &mut self.room);
            self.unforeseen(&predictor, window);
        }
        let begin = (WINDOW - HOP) / 2;
        for piece in (begin..begin + HOP).step_by(PIECE) {
            let kept = |n: &usize| !impulses.iter().any(|it| it.contains(n));
            self.sorted.clear();
            let kept = (piece..piece + PIECE).filter(kept);
            self.sorted.extend(kept.map(|n| self.squares[n]));
            let power = if self.sorted.len() < LEAST {
                pieces.last().copied().unwrap_or_default()
            } else {
                power(&mut self.sorted) + SILENCE
            };
            pieces.push(power);
        }
    }

    /// Squares of what the predictor does not foresee.
    fn unforeseen(&mut self, predictor: &Predictor, window: &[f64]) {
        let reversed: Vec<f64> = predictor.coefficients.iter().rev().copied().collect();
        self.squares.clear();
        self.squares.resize(ORDER, 0.0);
        let errors = window.windows(reversed.len());
        self.squares
            .extend(errors.map(|past| product(&reversed, past).powi(2)));
    }

    /// Stretches of the window that impulses fill, in order.
    fn impulses(&mut self) -> Vec<Range<usize>> {
        let mut impulses: Vec<Range<usize>> = Vec::new();
        for from in (ORDER..WINDOW).step_by(AROUND / 2) {
            let to = (from + AROUND / 2).min(WINDOW);
            let wide = from.saturating_sub(AROUND / 4).max(ORDER)..(to + AROUND / 4).min(WINDOW);
            self.sorted.clear();
            self.sorted.extend_from_slice(&self.squares[wide]);
            let middle = self.sorted.len() / 2;
            let (_, median, _) = self.sorted.select_nth_unstable_by(middle, f64::total_cmp);
            let most = IMPULSE * median.max(SILENCE);
            for n in from..to {
                if self.squares[n] <= most {
                    continue;
                }
                let end = (n + BEHIND_IMPULSE).min(WINDOW);
                match impulses.last_mut() {
                    Some(last) if n <= last.end + BEFORE_IMPULSE => last.end = end,
                    _ => impulses.push(n - BEFORE_IMPULSE..end),
                }
            }
        }
        impulses
    }
}

/// Mean of squares of which none counts too much.
fn power(squares: &mut [f64]) -> f64 {
    squares.sort_unstable_by(f64::total_cmp);
    let half = squares.len() / 2;
    let median = f64::midpoint(squares[(squares.len() - 1) / 2], squares[half]);
    let most = MOST_SURPRISE * median;
    squares.iter().map(|it| it.min(most)).sum::<f64>() / squares.len() as f64
}

/// In lanes that the compiler can keep in registers.
fn product(a: &[f64], b: &[f64]) -> f64 {
    let mut lanes = [0.0; 4];
    let (whole_a, whole_b) = (a.chunks_exact(4), b.chunks_exact(4));
    let rest = whole_a.remainder().iter().zip(whole_b.remainder());
    let rest: f64 = rest.map(|(a, b)| a * b).sum();
    for (a, b) in whole_a.zip(whole_b) {
        for lane in 0..4 {
            lanes[lane] += a[lane] * b[lane];
        }
    }
    rest + lanes.iter().sum::<f64>()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Even noise of one window, seeded, with impulses that die away.
    fn window(impulses: &[usize]) -> Vec<f64> {
        let mut state = 7_u64;
        let mut noise = || {
            state = state
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1);
            ((state >> 40) as f64 / f64::from(1_u32 << 24) - 0.5) * 0.01
        };
        let mut window: Vec<f64> = (0..WINDOW).map(|_| noise()).collect();
        for at in impulses {
            for n in 0..10 {
                window[at + n] += 0.3 * (-(n as f64) / 2.0).exp();
            }
        }
        window
    }

    fn pieces(window: &[f64]) -> Vec<f64> {
        let mut pieces = Vec::new();
        Rest::default().add_pieces(window, &mut pieces);
        pieces
    }

    #[test]
    fn a_crackle_hardly_changes_the_level() {
        let quiet = pieces(&window(&[]));
        assert_eq!(quiet.len(), HOP / PIECE);
        let mean = |pieces: &[f64]| pieces.iter().sum::<f64>() / pieces.len() as f64;
        // Elsewhere in the window, and within the pieces, where what is
        // foreseen from it stays; its own power is 100 times the noise's.
        for (impulses, most) in [([300, 1200], 1.25), ([700, 760], 2.5)] {
            let crackled = pieces(&window(&impulses));
            let ratio = mean(&crackled) / mean(&quiet);
            assert!((0.8..most).contains(&ratio), "{impulses:?} {ratio}");
        }
    }

    #[test]
    fn what_is_quieter_has_less_power() {
        let mut halved = window(&[]);
        for sample in &mut halved[720..] {
            *sample *= 0.5;
        }
        let pieces = pieces(&halved);
        let (before, behind) = pieces.split_at(pieces.len() / 2);
        let ratio = before.iter().sum::<f64>() / behind.iter().sum::<f64>();
        assert!((3.0..5.2).contains(&ratio), "{ratio}");
    }
}
