//! Decimating FIR filters, several outputs at a time.
//!
//! A stream is kept split into as many phases as the decimation has steps, so
//! that neighbouring outputs meet one tap at neighbouring places: a tap is
//! loaded once for all of them and nothing is added across lanes.

// See `wide`.
#![allow(clippy::inline_always)]

use super::wide::madd;

/// Outputs that are made at a time: two filters keep eight sums of eight lanes
/// going, as many as the multipliers of a processor can overlap.
pub const TILE: usize = 32;

/// What a tile of outputs adds up to.
pub type Tile = [f32; TILE];

/// The newest block of a stream and what a filter needs from before it, split
/// into phases.
#[derive(Clone, Debug)]
pub struct Phased {
    phases: usize,
    kept: usize,
    stride: usize,
    rows: usize,
    values: Vec<f32>,
}

/// Taps in the order in which a [`Phased`] stream meets them.
#[derive(Clone, Debug)]
pub struct PhasedTaps {
    phases: usize,
    /// Taps of one phase.
    rows: usize,
    taps: Vec<f32>,
}

impl PhasedTaps {
    /// For a decimation by `phases`; the first tap meets the newest sample.
    pub fn new(phases: usize, by_age: &[f64]) -> Self {
        let rows = by_age.len().div_ceil(phases);
        let mut taps = vec![0.0; rows * phases];
        for (age, &tap) in by_age.iter().enumerate() {
            let phase = phases - 1 - age % phases;
            let row = rows - 1 - age / phases;
            taps[phase * rows + row] = tap as f32;
        }
        Self { phases, rows, taps }
    }

    /// A stream at rest for filters of this shape, in blocks of at most
    /// `most_rows` outputs.
    pub fn stream(&self, most_rows: usize) -> Phased {
        let kept = self.rows - 1;
        let stride = kept + most_rows.next_multiple_of(TILE);
        Phased {
            phases: self.phases,
            kept,
            stride,
            rows: 0,
            values: vec![0.0; stride * self.phases],
        }
    }

    #[inline(always)]
    fn of_phase(&self, phase: usize) -> &[f32] {
        &self.taps[phase * self.rows..(phase + 1) * self.rows]
    }
}

impl Phased {
    /// Takes the next block: whole rows of one sample from each phase.
    #[inline(always)]
    pub fn take(&mut self, samples: &[f32]) {
        debug_assert!(samples.len().is_multiple_of(self.phases));
        let rows = samples.len() / self.phases;
        for line in self.values.chunks_exact_mut(self.stride) {
            line.copy_within(self.rows..self.rows + self.kept, 0);
        }
        // The usual numbers of phases each in code of their own: twice as fast.
        match self.phases {
            1 => self.spread::<1>(samples),
            2 => self.spread::<2>(samples),
            3 => self.spread::<3>(samples),
            4 => self.spread::<4>(samples),
            5 => self.spread::<5>(samples),
            6 => self.spread::<6>(samples),
            _ => self.spread_any(samples),
        }
        self.rows = rows;
    }

    #[inline(always)]
    fn spread<const PHASES: usize>(&mut self, samples: &[f32]) {
        let (tiles, rest) = samples.as_chunks::<PHASES>().0.as_chunks::<TILE>();
        for (at, tile) in tiles.iter().enumerate() {
            let from = self.kept + at * TILE;
            let lines = self.values.chunks_exact_mut(self.stride);
            for (phase, line) in lines.enumerate().take(PHASES) {
                for (slot, row) in line[from..from + TILE].iter_mut().zip(tile) {
                    *slot = row[phase];
                }
            }
        }
        let from = self.kept + tiles.len() * TILE;
        let lines = self.values.chunks_exact_mut(self.stride);
        for (phase, line) in lines.enumerate().take(PHASES) {
            for (slot, row) in line[from..].iter_mut().zip(rest) {
                *slot = row[phase];
            }
        }
    }

    fn spread_any(&mut self, samples: &[f32]) {
        let rows = samples.len() / self.phases;
        let lines = self.values.chunks_exact_mut(self.stride);
        for (phase, line) in lines.enumerate() {
            let every = samples[phase..].iter().step_by(self.phases);
            for (slot, &sample) in line[self.kept..self.kept + rows].iter_mut().zip(every) {
                *slot = sample;
            }
        }
    }

    /// What the taps of one phase meet for a tile of outputs from `row` on.
    #[inline(always)]
    fn line(&self, phase: usize, row: usize) -> &[f32] {
        let from = phase * self.stride + row;
        &self.values[from..from + self.kept + TILE]
    }

    /// Outputs of two filters from `row` on; beyond the block they mean
    /// nothing.
    #[inline(always)]
    pub fn two_filters<const FUSED: bool>(
        &self,
        a: &PhasedTaps,
        b: &PhasedTaps,
        row: usize,
    ) -> [Tile; 2] {
        let mut sums = [[0.0; TILE]; 2];
        for phase in 0..self.phases {
            let mut part_a = [0.0; TILE];
            let mut part_b = [0.0; TILE];
            let windows = self.line(phase, row).windows(TILE);
            let taps = a.of_phase(phase).iter().zip(b.of_phase(phase));
            for (window, (&a, &b)) in windows.zip(taps) {
                if let Some(window) = window.first_chunk::<TILE>() {
                    for lane in 0..TILE {
                        part_a[lane] = madd::<FUSED>(a, window[lane], part_a[lane]);
                    }
                    for lane in 0..TILE {
                        part_b[lane] = madd::<FUSED>(b, window[lane], part_b[lane]);
                    }
                }
            }
            add(&mut sums[0], &part_a);
            add(&mut sums[1], &part_b);
        }
        sums
    }

    /// Outputs of one filter from `row` on.
    #[inline(always)]
    pub fn filter<const FUSED: bool>(&self, taps: &PhasedTaps, row: usize) -> Tile {
        let mut sums = [0.0; TILE];
        for phase in 0..self.phases {
            let mut part = [0.0; TILE];
            let windows = self.line(phase, row).windows(TILE);
            for (window, &tap) in windows.zip(taps.of_phase(phase)) {
                if let Some(window) = window.first_chunk::<TILE>() {
                    for lane in 0..TILE {
                        part[lane] = madd::<FUSED>(tap, window[lane], part[lane]);
                    }
                }
            }
            add(&mut sums, &part);
        }
        sums
    }
}

/// Few additions in a row: rounding grows slowly.
#[inline(always)]
fn add(sums: &mut Tile, part: &Tile) {
    for lane in 0..TILE {
        sums[lane] += part[lane];
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_tiles_agree_with_the_plain_sum_however_the_blocks_fall() {
        tiles_agree::<false>();
        tiles_agree::<true>();
    }

    fn tiles_agree<const FUSED: bool>() {
        for (phases, length) in [(1, 1), (6, 43), (4, 69), (5, 10), (24, 165)] {
            let by_age: Vec<f64> = (0..length).map(|k| (f64::from(k) * 0.37).sin()).collect();
            let other: Vec<f64> = (0..length).map(|k| (f64::from(k) * 0.11).cos()).collect();
            let samples: Vec<f32> = (0..50 * phases).map(|k| (k as f32 * 0.91).cos()).collect();
            let (a, b) = (
                PhasedTaps::new(phases, &by_age),
                PhasedTaps::new(phases, &other),
            );
            let mut stream = a.stream(20);
            let mut row = 0;
            for rows in [20, 3, 1, 8, 18] {
                let block = &samples[row * phases..(row + rows) * phases];
                stream.take(block);
                for at in (0..rows).step_by(TILE) {
                    let filters = stream.two_filters::<FUSED>(&a, &b, at);
                    let alone = stream.filter::<FUSED>(&b, at);
                    for lane in 0..TILE.min(rows - at) {
                        let newest = (row + at + lane) * phases + phases - 1;
                        let plain = |taps: &[f64]| -> f64 {
                            let past = samples[..=newest].iter().rev();
                            taps.iter().zip(past).map(|(t, &x)| t * f64::from(x)).sum()
                        };
                        let wanted = [plain(&by_age), plain(&other)];
                        let got = [filters[0][lane], filters[1][lane]];
                        for (got, wanted) in got.into_iter().zip(wanted) {
                            assert!((f64::from(got) - wanted).abs() < 2e-5, "{got} {wanted}");
                        }
                        assert!((alone[lane] - filters[1][lane]).abs() < 1e-6);
                    }
                }
                row += rows;
            }
        }
    }
}
