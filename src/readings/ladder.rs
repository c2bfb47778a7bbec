//! Block means in constant memory, and from them the ± of a mean and of a
//! slope when the fluctuations are correlated.
//!
//! Neighbouring values of a speed track are anything but independent, so the
//! scatter of single values says nothing about their mean. Means of blocks
//! do, once a block is longer than the correlation. How long that is nobody
//! knows beforehand: several block lengths are tried and the largest ± is
//! believed.

use crate::signal::statistics::{fit_line, student_95};

/// Blocks that are kept; when full, neighbours are merged two by two.
const MOST_BLOCKS: usize = 4096;

/// Numbers of blocks that the ladder tries.
const RUNGS: [usize; 7] = [6, 8, 10, 12, 16, 20, 24];

/// Correlation of neighbouring blocks beyond this is not believed: the record
/// is then too short anyway.
const MOST_CORRELATION: f64 = 0.8;

/// When few long blocks ask for so much more than shorter ones, the
/// fluctuations are slower than the record is long.
const TOO_SHORT: f64 = 2.0;

/// Means of equal blocks of a series.
#[derive(Clone, Debug)]
pub struct BlockSeries {
    per_block: u64,
    rate_hz: f64,
    sum: f64,
    count: u64,
    blocks: Vec<f64>,
}

/// A straight line through a series, with its ±.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Trend {
    /// Change a second.
    pub slope: f64,
    /// 95 % of it.
    pub uncertainty: f64,
}

impl BlockSeries {
    /// Blocks of `block_s` seconds at first, of `rate_hz` values a second.
    pub fn new(block_s: f64, rate_hz: f64) -> Self {
        Self {
            per_block: ((block_s * rate_hz) as u64).max(1),
            rate_hz,
            sum: 0.0,
            count: 0,
            blocks: Vec::with_capacity(MOST_BLOCKS),
        }
    }

    /// Takes the next value.
    #[inline]
    pub fn push(&mut self, value: f64) {
        self.sum += value;
        self.count += 1;
        if self.count == self.per_block {
            self.close_block();
        }
    }

    fn close_block(&mut self) {
        self.blocks.push(self.sum / self.count as f64);
        self.sum = 0.0;
        self.count = 0;
        if self.blocks.len() == MOST_BLOCKS {
            for k in 0..MOST_BLOCKS / 2 {
                self.blocks[k] = f64::midpoint(self.blocks[2 * k], self.blocks[2 * k + 1]);
            }
            self.blocks.truncate(MOST_BLOCKS / 2);
            self.per_block *= 2;
        }
    }

    /// The means so far.
    pub fn blocks(&self) -> &[f64] {
        &self.blocks
    }

    /// Length of a block in seconds.
    pub fn block_s(&self) -> f64 {
        self.per_block as f64 / self.rate_hz
    }

    /// Mean of the blocks with both ends tapered linearly over `taper_s`: wow
    /// that is cut off there weighs little.
    pub fn tapered_mean(&self, taper_s: f64) -> Option<f64> {
        let count = self.blocks.len() as f64;
        let taper = (taper_s / self.block_s()).min(count / 3.0).max(1.0);
        let (mut sum, mut weights) = (0.0, 0.0);
        for (k, block) in self.blocks.iter().enumerate() {
            let from_start = k as f64 + 0.5;
            let weight = (from_start.min(count - from_start) / taper).min(1.0);
            sum += weight * block;
            weights += weight;
        }
        (weights > 0.0).then(|| sum / weights)
    }

    /// 95 % uncertainty of the mean of the series.
    pub fn uncertainty_of_mean(&self) -> Option<f64> {
        ladder(&self.blocks).map(|(uncertainty, _)| uncertainty)
    }
}

/// 95 % uncertainty of the mean of a series of equal blocks, a linear trend
/// left out, and whether the record was too short to know it. `None` with
/// fewer values than the shortest rung.
pub fn ladder(values: &[f64]) -> Option<(f64, bool)> {
    let flat = detrended(values);
    let rungs: Vec<(usize, f64)> = RUNGS
        .iter()
        .filter(|&&rung| flat.len() >= rung)
        .map(|&rung| (rung, of_mean(&grouped(&flat, rung))))
        .collect();
    let largest = rungs.iter().map(|&(_, u)| u).reduce(f64::max)?;
    let at = |wanted: usize| rungs.iter().find(|&&(rung, _)| rung == wanted);
    let too_short = match (at(RUNGS[0]), at(16)) {
        (Some(&(_, long)), Some(&(_, short))) => long > TOO_SHORT * short,
        _ => false,
    };
    Some((largest, too_short))
}

/// The slope of a series of equal blocks of `block_s` seconds.
pub fn trend(values: &[f64], block_s: f64) -> Option<Trend> {
    if values.len() < RUNGS[1] {
        return None;
    }
    let slope = fit_line(values).slope / block_s;
    let uncertainty = RUNGS[1..]
        .iter()
        .filter(|&&rung| values.len() >= rung)
        .map(|&rung| {
            let groups = grouped(values, rung);
            let group_s = (values.len() / rung) as f64 * block_s;
            of_slope(&groups) / group_s
        })
        .fold(0.0, f64::max);
    Some(Trend { slope, uncertainty })
}

fn detrended(values: &[f64]) -> Vec<f64> {
    let line = fit_line(values);
    let middle = (values.len() as f64 - 1.0) / 2.0;
    values
        .iter()
        .enumerate()
        .map(|(k, value)| value - line.mean - line.slope * (k as f64 - middle))
        .collect()
}

/// Means of `count` equal groups; what does not fill a group is left out at
/// the start.
fn grouped(values: &[f64], count: usize) -> Vec<f64> {
    let size = values.len() / count;
    values[values.len() - size * count..]
        .chunks_exact(size)
        .map(|group| group.iter().sum::<f64>() / size as f64)
        .collect()
}

/// t · s · √((1 + r) / ((1 − r) n)): Student's t for n − 1 degrees of freedom,
/// r the correlation of neighbours, which stretches the scatter of a mean of
/// a first-order process by that root (JCGM 100:2008 F.1.2.3 warns of it; the
/// factor is the usual one for an AR(1) series).
fn of_mean(blocks: &[f64]) -> f64 {
    let n = blocks.len() as f64;
    let (spread, stretch) = spread_and_stretch(blocks, 1.0);
    student_95(n - 1.0) * (spread * stretch / n).sqrt()
}

fn of_slope(blocks: &[f64]) -> f64 {
    let n = blocks.len() as f64;
    let (spread, stretch) = spread_and_stretch(&detrended(blocks), 2.0);
    // Σ (k − middle)² over n equally spaced points.
    let moment = n * (n * n - 1.0) / 12.0;
    student_95(n - 2.0) * (spread * stretch / moment).sqrt()
}

/// Variance of the blocks and what correlation makes of it.
fn spread_and_stretch(blocks: &[f64], fitted: f64) -> (f64, f64) {
    let n = blocks.len() as f64;
    let mean = blocks.iter().sum::<f64>() / n;
    let square: f64 = blocks.iter().map(|b| (b - mean).powi(2)).sum();
    let product: f64 = blocks
        .windows(2)
        .map(|pair| (pair[0] - mean) * (pair[1] - mean))
        .sum();
    let correlation = if square > 0.0 {
        // The estimate is low by about 1/n for want of the true mean.
        (product / square + 1.0 / n).clamp(0.0, MOST_CORRELATION)
    } else {
        0.0
    };
    let stretch = (1.0 + correlation) / (1.0 - correlation);
    (square / (n - fitted).max(1.0), stretch)
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::{Rng, RngExt, SeedableRng};
    use rand_pcg::Pcg64Mcg;

    /// Two uniform numbers added: near enough to a normal one.
    fn noise(random: &mut impl Rng) -> f64 {
        (0..4).map(|_| random.random_range(-1.0..1.0)).sum::<f64>() * 0.75f64.sqrt()
    }

    #[test]
    fn memory_is_bounded_and_the_mean_survives() {
        let mut series = BlockSeries::new(0.01, 2000.0);
        for n in 0..1_000_000u32 {
            series.push(f64::from(n));
        }
        assert!(series.blocks().len() < MOST_BLOCKS);
        let mean = series.blocks().iter().sum::<f64>() / series.blocks().len() as f64;
        let covered = series.blocks().len() as f64 * series.block_s() * 2000.0;
        assert!((mean - (covered - 1.0) / 2.0).abs() < 1e-6);
    }

    #[test]
    fn the_uncertainty_covers_the_truth_for_plain_and_for_slow_noise() {
        let mut random = Pcg64Mcg::seed_from_u64(1);
        for keep in [0.0, 0.8] {
            let mut covered = 0;
            for _ in 0..400 {
                let mut state = 0.0;
                let values: Vec<f64> = (0..600)
                    .map(|_| {
                        state = keep * state + noise(&mut random);
                        state
                    })
                    .collect();
                let mean = values.iter().sum::<f64>() / 600.0;
                let (uncertainty, _) = ladder(&values).expect("long enough");
                covered += u32::from(mean.abs() <= uncertainty);
            }
            assert!(covered >= 376, "{keep}: {covered} of 400");
        }
    }

    #[test]
    fn a_slope_is_found_with_its_uncertainty() {
        let mut random = Pcg64Mcg::seed_from_u64(2);
        let mut covered = 0;
        for _ in 0..400 {
            let values: Vec<f64> = (0..100)
                .map(|k| 0.02 * f64::from(k) + noise(&mut random))
                .collect();
            let trend = trend(&values, 0.5).expect("long enough");
            covered += u32::from((trend.slope - 0.04).abs() <= trend.uncertainty);
        }
        assert!(covered >= 376, "{covered} of 400");
        assert_eq!(trend(&[1.0; 5], 1.0), None);
    }
}
