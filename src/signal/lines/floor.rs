//! The floor of a power spectrum beside each bin: what a line stands out of.
//!
//! A straight line through ln power over ln frequency, fitted on both sides of
//! the bin and some way off (local, as cell-averaging detectors of radar are:
//! Finn & Johnson, RCA Review 29 (1968) 414; in logarithms as Wahba, JASA 75
//! (1980) 122; both from memory). So one threshold serves white noise, noise
//! that falls with the rate, and resonances alike.

use std::ops::Range;

/// Turns over the record that are left out on either side of a bin: the main
/// lobe of the Hann window and half a turn (derived).
const GUARD_TURNS: f64 = 2.5;

/// Turns over the record on either side that the floor is fitted to. Tuned on
/// noise of six colours: fewer scatter, more smooth a resonance away.
const SIDE_TURNS: f64 = 20.0;

/// What stands this far above the fit is cut down to it before the next: lines
/// beside must not lift the floor. Tuned with the sides.
const CLIP: f64 = 1.5;

/// The mean of exponentially distributed powers lies this far above the fit:
/// Euler's constant 0.577, and what [`CLIP`] takes away (found by simulation of
/// white noise).
pub const MEAN_ABOVE_FIT: f64 = 0.68;

/// Bins below this many turns carry what is left of mean and slope.
const FIRST_TURNS: f64 = 1.5;

/// Which bins of a spectrum are looked at.
#[derive(Clone, Debug)]
pub struct Layout {
    /// Bins that may hold a line.
    pub band: Range<usize>,
    /// Bins for one turn over the record.
    pub per_turn: f64,
    /// Bins that are left out on either side, and that are fitted to.
    guard: usize,
    side: usize,
    /// Bins that the floor may be fitted to.
    fitted: Range<usize>,
    /// x, the logarithm of each of them, and sums of x and x² up to each.
    x: Vec<f64>,
    sums: Vec<[f64; 2]>,
}

impl Layout {
    /// For bins `per_turn` to a turn; lines in `band`, the spectrum good up to
    /// the bin `last`.
    pub fn new(band: Range<usize>, per_turn: f64, last: usize) -> Self {
        let first = (FIRST_TURNS * per_turn) as usize;
        let beyond = ((GUARD_TURNS + SIDE_TURNS) * per_turn).ceil() as usize + 1;
        let from = band.start.saturating_sub(beyond).max(first);
        let fitted = from.min(band.start)..(band.end + beyond).min(last);
        let x: Vec<f64> = fitted.clone().map(|bin| (bin.max(1) as f64).ln()).collect();
        Self {
            sums: prefix(x.iter().map(|x| [*x, x * x])),
            x,
            guard: (GUARD_TURNS * per_turn).round() as usize,
            side: (SIDE_TURNS * per_turn).round() as usize,
            fitted,
            band,
            per_turn,
        }
    }

    /// The same for a part of the band alone.
    pub fn part(&self, band: Range<usize>) -> Self {
        Self::new(band, self.per_turn, self.fitted.end)
    }

    /// Bins beside `bin` that its floor is fitted to.
    fn sides(&self, bin: usize) -> [Range<usize>; 2] {
        let Range { start, end } = self.fitted;
        let below = bin.saturating_sub(self.guard).max(start);
        let above = (bin + self.guard + 1).min(end);
        [
            below.saturating_sub(self.side).max(start)..below,
            above..(above + self.side).min(end),
        ]
    }

    /// Logarithm of the floor of each bin of the band.
    pub fn floor(&self, power: &[f32]) -> Vec<f64> {
        let tiny = f32::MIN_POSITIVE;
        let ln = |&power: &f32| f64::from(power.max(tiny).ln());
        let all: Vec<f64> = power[self.fitted.clone()].iter().map(ln).collect();
        let mut clipped = all.clone();
        let mut fit = self.fit(&clipped);
        for _ in 0..2 {
            let (first, last) = (fit[0], fit[fit.len() - 1]);
            for (k, (slot, ln)) in clipped.iter_mut().zip(&all).enumerate() {
                let bin = self.fitted.start + k;
                let level = match bin.checked_sub(self.band.start) {
                    None => first,
                    Some(place) => fit.get(place).copied().unwrap_or(last),
                };
                *slot = ln.min(level + CLIP);
            }
            fit = self.fit(&clipped);
        }
        fit
    }

    fn fit(&self, values: &[f64]) -> Vec<f64> {
        let sums = prefix(values.iter().zip(&self.x).map(|(l, x)| [*l, x * l]));
        // Once a turn is enough for what is fitted to forty of them.
        let every = (self.per_turn as usize).max(1);
        let Range { start, end } = self.band;
        let mut fit = Vec::with_capacity(end - start);
        let mut here = self.line_at(start, &sums);
        for bin in (start..end).step_by(every) {
            let next = (bin + every).min(end - 1);
            let there = self.line_at(next, &sums);
            let step = (there - here) / (next - bin).max(1) as f64;
            let few = (bin..end.min(bin + every)).zip(0u32..);
            fit.extend(few.map(|(_, k)| here + f64::from(k) * step));
            here = there;
        }
        fit
    }

    /// At a bin the straight line through what both sides of it sum up to.
    fn line_at(&self, bin: usize, sums: &[[f64; 2]]) -> f64 {
        let (mut count, mut of_values, mut of_x) = (0.0, [0.0; 2], [0.0; 2]);
        for side in self.sides(bin) {
            let from = side.start - self.fitted.start;
            let to = side.end.max(side.start) - self.fitted.start;
            count += (to - from) as f64;
            for k in 0..2 {
                of_values[k] += sums[to][k] - sums[from][k];
                of_x[k] += self.sums[to][k] - self.sums[from][k];
            }
        }
        let part = 1.0 / f64::max(count, 1.0);
        let ([l, xl], [x, xx]) = (of_values.map(|it| it * part), of_x.map(|it| it * part));
        let spread = xx - x * x;
        let slope = if spread > 1e-12 {
            (xl - x * l) / spread
        } else {
            0.0
        };
        l + slope * (self.x[bin - self.fitted.start] - x)
    }
}

/// Sums up to each place, from none on.
fn prefix(terms: impl Iterator<Item = [f64; 2]>) -> Vec<[f64; 2]> {
    let mut sum = [0.0; 2];
    let summed = terms.map(|[a, b]| {
        sum = [sum[0] + a, sum[1] + b];
        sum
    });
    std::iter::once([0.0; 2]).chain(summed).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::{Rng, SeedableRng};
    use rand_pcg::Pcg64Mcg;

    #[test]
    fn a_floor_follows_every_colour() {
        let mut random = Pcg64Mcg::seed_from_u64(1);
        let resonant = |x: f64| 1.0 / ((1.0 - x * x).powi(2) + (x / 5.0).powi(2));
        let colours: [fn(f64) -> f64; 4] = [|_| 1.0, |x| 1.0 / x, |x| 1.0 / (x * x), |x| x * x];
        let layout = Layout::new(12..14_000, 2.0, 15_000);
        for nth in 0..5 {
            let power: Vec<f32> = (0..15_000)
                .map(|bin| {
                    let x = f64::from(bin.max(1)) / 600.0;
                    let level = colours
                        .get(nth)
                        .map_or_else(|| resonant(x), |colour| colour(x));
                    // Exponential, as powers of noise are.
                    let unit = (f64::from(random.next_u32()) + 0.5) / 4_294_967_296.0;
                    (-level * unit.ln()) as f32
                })
                .collect();
            let floor = layout.floor(&power);
            for (from, to) in [(12, 140), (140, 1400), (1400, 14_000)] {
                let bins = from..to;
                let ratios = bins.map(|bin| f64::from(power[bin]) / floor[bin - 12].exp());
                let mean = (ratios.sum::<f64>() / f64::from(to as u32 - from as u32)).ln();
                // Of 128 exponential values the mean scatters by 0.09.
                assert!(
                    (mean - MEAN_ABOVE_FIT).abs() < 0.25,
                    "{nth}, {from}: {mean}"
                );
            }
        }
    }
}
