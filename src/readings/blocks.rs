//! Means of equal blocks of a series, in constant memory whatever its length.

/// Blocks that are kept, a choice; when full, neighbours are merged two by two.
const MOST_BLOCKS: usize = 4096;

/// Means of equal blocks of a series.
#[derive(Clone, Debug)]
pub struct BlockSeries {
    per_block: u64,
    rate_hz: f64,
    sum: f64,
    count: u64,
    blocks: Vec<f64>,
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

    /// Forgets everything; `block_s` as for [`BlockSeries::new`].
    pub fn restart(&mut self, block_s: f64) {
        self.per_block = ((block_s * self.rate_hz) as u64).max(1);
        self.sum = 0.0;
        self.count = 0;
        self.blocks.clear();
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

    /// Length of all blocks in seconds.
    pub fn length_s(&self) -> f64 {
        self.blocks.len() as f64 * self.block_s()
    }

    /// Mean of the blocks with both ends tapered linearly over `taper_s`: wow
    /// that is cut off there weighs little.
    pub fn tapered_mean(&self, taper_s: f64) -> Option<f64> {
        let (mut sum, mut weights) = (0.0, 0.0);
        for (weight, block) in self.tapered(taper_s).zip(&self.blocks) {
            sum += weight * block;
            weights += weight;
        }
        (weights > 0.0).then(|| sum / weights)
    }

    /// Squares of the steps from one weight of that mean to the next, from and
    /// to nothing at the ends, added, the weights being 1 together.
    pub fn tapered_steps(&self, taper_s: f64) -> Option<f64> {
        let (mut squares, mut weights, mut before) = (0.0, 0.0, 0.0);
        for weight in self.tapered(taper_s) {
            squares += (weight - before) * (weight - before);
            weights += weight;
            before = weight;
        }
        squares += before * before;
        (weights > 0.0).then(|| squares / (weights * weights))
    }

    fn tapered(&self, taper_s: f64) -> impl Iterator<Item = f64> {
        let count = self.blocks.len();
        let length = count as f64;
        let taper = (taper_s / self.block_s()).min(length / 3.0).max(1.0);
        (0..count).map(move |k| {
            let from_start = k as f64 + 0.5;
            (from_start.min(length - from_start) / taper).min(1.0)
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

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
    fn the_steps_of_the_weights_are_those_of_a_trapezium() {
        // Height 1/(T − τ), so 2 τ/Δ steps of Δ/τ of that: 2 Δ³/(τ (T − τ)²),
        // with blocks of Δ.
        let mut series = BlockSeries::new(0.01, 2000.0);
        for _ in 0..60_000 {
            series.push(1.0);
        }
        let (taper, length, block) = (10.0 / 3.0, 30.0f64, 0.01f64);
        let wanted = 2.0 * block.powi(3) / (taper * (length - taper).powi(2));
        let got = series.tapered_steps(taper).expect("blocks");
        assert!((got / wanted - 1.0).abs() < 0.01, "{got}, {wanted}");
    }
}
