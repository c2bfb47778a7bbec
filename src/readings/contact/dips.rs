//! Dips: breaks of contact in sound that nobody could foresee, such as music.
//!
//! What a predictor leaves of music is nearly noise, and a break turns all of
//! it down at once. So the channel, at about 48 kHz, is freed from what can be
//! foreseen, and the power of the rest, a quarter of a millisecond at a time,
//! is searched for stretches that lie lower than the stretches on both sides.
//! How much such a dip looks like a break is worked out in [`super::looks`];
//! of dips that overlap the one that looks most like it counts.

use super::breaks::Found;
use super::looks::{self, Looks};
use super::rest::{HOP, PIECE, Rest, WINDOW};

/// Lengths that are tried, in pieces. Shorter dips are common between the
/// pulses of a voice.
const LENGTHS: [usize; 6] = [12, 16, 20, 24, 32, 40];
const LONGEST: usize = 40;
/// A side is as long as the dip, but not longer than this.
const LONGEST_SIDE: usize = 16;
/// Pieces behind an edge that may still have something of both sides.
const EDGE: usize = 2;
/// Pieces next to an edge that show how sharp it is.
const NEXT: usize = 4;
/// Falls on both sides that differ by less have a mean; else the lesser one
/// says how deep it is.
const ALIKE: f64 = 0.9;
/// Dips so far apart are two.
const APART: usize = 24;

/// A dip in pieces from the first one of the stream.
#[derive(Clone, Copy, Debug)]
struct Dip {
    start: u64,
    length: usize,
    /// How much it looks like a break; above 0 it is one.
    score: f64,
    /// Logarithm of the power that the sides have more.
    fall: f64,
}

/// See the module.
pub(super) struct DipFinder {
    samples: Vec<f64>,
    rest: Rest,
    /// Power of the rest in pieces, and the index of the first of them.
    pieces: Vec<f64>,
    base: u64,
    /// The next piece to look at as the first one of a dip.
    next: u64,
    best: Option<Dip>,
    /// `sums[n]` is the sum of the first `n` pieces.
    sums: Vec<f64>,
}

impl DipFinder {
    pub(super) fn new() -> Self {
        // No predictor reaches the middle of the first window earlier.
        let first = ((WINDOW - HOP) / 2 / PIECE) as u64;
        Self {
            samples: Vec::new(),
            rest: Rest::default(),
            pieces: Vec::new(),
            base: first,
            next: first + (LONGEST_SIDE + EDGE) as u64,
            best: None,
            sums: Vec::new(),
        }
    }

    /// The stream's samples, to be added to; then call [`Self::look`].
    pub(super) fn samples(&mut self) -> &mut Vec<f64> {
        &mut self.samples
    }

    /// Looks at what has come and hands over the dips that are sure by now.
    pub(super) fn look(&mut self, found: &mut Vec<Found>) {
        let mut at = 0;
        while at + WINDOW <= self.samples.len() {
            self.rest
                .add_pieces(&self.samples[at..at + WINDOW], &mut self.pieces);
            at += HOP;
        }
        self.samples.drain(..at);
        self.search(found);
    }

    fn search(&mut self, found: &mut Vec<Found>) {
        let beyond = LONGEST + 2 * EDGE + LONGEST_SIDE + NEXT;
        let end = self.base + self.pieces.len() as u64;
        if self.next + beyond as u64 >= end {
            return;
        }
        self.sums.clear();
        self.sums.push(0.0);
        let mut sum = 0.0;
        for piece in &self.pieces {
            sum += piece;
            self.sums.push(sum);
        }
        while self.next + (beyond as u64) < end {
            let start = (self.next - self.base) as usize;
            for length in LENGTHS {
                if let Some(dip) = self.dip(start, length) {
                    self.take(dip, found);
                }
            }
            self.let_go(found);
            self.next += 1;
        }
        let keep = self.next - (LONGEST_SIDE + EDGE) as u64;
        self.pieces.drain(..(keep - self.base) as usize);
        self.base = keep;
    }

    fn take(&mut self, dip: Dip, found: &mut Vec<Found>) {
        self.let_go(found);
        if self.best.is_none_or(|best| dip.score > best.score) {
            self.best = Some(dip);
        }
    }

    /// Hands the best dip over once the next one would be another.
    fn let_go(&mut self, found: &mut Vec<Found>) {
        let over = |it: &Dip| self.next > it.start + (it.length + APART) as u64;
        if let Some(dip) = self.best.take_if(|it| over(it)) {
            let start = dip.start * PIECE as u64;
            found.push(Found {
                start,
                end: start + (dip.length * PIECE) as u64,
                factor: (-dip.fall / 2.0).exp(),
            });
        }
    }

    fn mean(&self, from: usize, to: usize) -> f64 {
        (self.sums[to] - self.sums[from]) / (to - from) as f64
    }

    /// A dip of this length from here on, if it looks like a break.
    fn dip(&self, start: usize, length: usize) -> Option<Dip> {
        let side = length.min(LONGEST_SIDE);
        let (end, after) = (start + length, start + length + EDGE);
        let within = self.mean(start + EDGE, end);
        let sides = [
            self.mean(start - side, start),
            self.mean(after, after + side),
        ];
        let falls = sides.map(|it| (it / within).ln());
        if falls[0].min(falls[1]) < looks::LEAST_FALL {
            return None;
        }
        let samples = [side * PIECE, (length - EDGE) * PIECE];
        let evidence = sides.map(|it| evidence(it, samples[0], within, samples[1]));
        let before = self.mean(start - NEXT, start);
        let behind = self.mean(after, after + NEXT);
        let steps = [
            before / self.mean(start + EDGE, start + EDGE + NEXT),
            behind / self.mean(end - NEXT, end),
        ];
        let mut looks = Looks {
            length,
            evidence: evidence[0].min(evidence[1]),
            falls,
            steps: steps.map(f64::ln),
            of_the_middle: 0.0,
            of_the_lowest: 0.0,
        };
        if !looks.may_be_a_break() {
            return None;
        }
        [looks.of_the_middle, looks.of_the_lowest] = self.falls_of_order(start, length);
        let score = looks.score()?;
        let fall = if (falls[0] - falls[1]).abs() < ALIKE {
            f64::midpoint(falls[0], falls[1])
        } else {
            falls[0].min(falls[1])
        };
        (score > 0.0).then_some(Dip {
            start: self.base + start as u64,
            length,
            score,
            fall,
        })
    }

    /// How far the middle and the lowest fifth of the pieces fell.
    fn falls_of_order(&self, start: usize, length: usize) -> [f64; 2] {
        let (end, after) = (start + length, start + length + EDGE);
        let ordered = |from: usize, to: usize| {
            let mut pieces = [0.0; LONGEST];
            let pieces = &mut pieces[..to - from];
            pieces.copy_from_slice(&self.pieces[from..to]);
            pieces.sort_unstable_by(f64::total_cmp);
            [pieces[pieces.len() / 2], pieces[pieces.len() / 5]]
        };
        let within = ordered(start + EDGE, end);
        let before = ordered(start - LONGEST_SIDE, start);
        let behind = ordered(after, after + LONGEST_SIDE);
        [0, 1].map(|nth| (before[nth].min(behind[nth]) / within[nth]).ln())
    }
}

/// Logarithm of how much likelier two powers are than one for both.
fn evidence(a: f64, samples_a: usize, b: f64, samples_b: usize) -> f64 {
    let (m, n) = (samples_a as f64, samples_b as f64);
    let both = (a * m + b * n) / (m + n);
    0.5 * ((m + n) * both.ln() - m * a.ln() - n * b.ln())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Bell-shaped noise of half a second, seeded, turned down by a factor
    /// between two samples.
    fn noise(seed: u64, down: std::ops::Range<usize>, factor: f64) -> Vec<f64> {
        let mut state = seed;
        let mut even = || {
            state = state
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1);
            (state >> 40) as f64 / f64::from(1_u32 << 24) - 0.5
        };
        let mut noise = || (0..4).map(|_| even()).sum::<f64>() * 0.1;
        let gain = |n: usize| if down.contains(&n) { factor } else { 1.0 };
        (0..24_000).map(|n| noise() * gain(n)).collect()
    }

    fn found(samples: &[f64], block: usize) -> Vec<Found> {
        let mut finder = DipFinder::new();
        let mut found = Vec::new();
        for block in samples.chunks(block) {
            finder.samples().extend_from_slice(block);
            finder.look(&mut found);
        }
        found
    }

    #[test]
    fn a_dip_in_noise_is_found_where_it_is() {
        for seed in 1..9 {
            let dips = found(&noise(seed, 10_000..10_240, 0.5), 1000);
            assert_eq!(dips.len(), 1, "{seed} {dips:?}");
            assert!(dips[0].start.abs_diff(10_000) < 72, "{seed} {dips:?}");
            assert!(dips[0].end.abs_diff(10_240) < 84, "{seed} {dips:?}");
            assert!((dips[0].factor - 0.5).abs() < 0.12, "{seed} {dips:?}");
        }
    }

    #[test]
    fn noise_that_stays_or_only_falls_has_no_dip() {
        for seed in 1..20 {
            assert_eq!(found(&noise(seed, 0..0, 1.0), 1000), [], "{seed}");
            assert_eq!(found(&noise(seed, 9000..24_000, 0.3), 1000), [], "{seed}");
        }
    }

    #[test]
    fn blocks_of_any_size_give_the_same() {
        let samples = noise(3, 10_000..10_240, 0.5);
        // The power is summed from elsewhere, so rounding may differ.
        let places = |block: usize| -> Vec<[u64; 2]> {
            let dips = found(&samples, block);
            dips.iter().map(|it| [it.start, it.end]).collect()
        };
        assert_eq!(places(24_000), places(77));
        assert_eq!(places(77).len(), 1);
    }
}
