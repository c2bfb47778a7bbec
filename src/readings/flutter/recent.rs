//! What the ± of the live flutter figures is made from.

use std::cell::OnceCell;
use std::collections::VecDeque;

use super::scatter::{FlutterBlocks, FlutterScatter};

/// First length of a block of squares or of readings of the indicator.
pub(super) const BLOCK_S: f64 = 0.05;

/// The screen shows the last ten seconds.
pub(super) const WINDOW_S: f64 = 10.0;

/// The ± of the live figures is worked out twice a second.
const SCATTER_BLOCKS: u32 = 10;

/// The ± of the live figures.
#[derive(Clone, Copy, Debug, Default)]
pub struct RecentScatter {
    /// Of the levels.
    pub levels: FlutterScatter,
    /// Of the reading of this moment, in its unit.
    pub reading: Option<f64>,
}

/// Block means over the window, for the uncertainty of the live figures.
#[derive(Clone, Debug)]
pub struct Recent {
    per_block: u32,
    sums: [f64; 3],
    count: u32,
    /// Of squares, their sixth powers, and readings.
    series: [VecDeque<f64>; 3],
    /// Worked out when it is asked for, once in [`SCATTER_BLOCKS`].
    scatter: OnceCell<RecentScatter>,
    /// Blocks since then.
    age: u32,
}

impl Recent {
    /// Empty, for `rate_hz` values a second.
    pub fn new(rate_hz: f64) -> Self {
        Self {
            per_block: ((BLOCK_S * rate_hz) as u32).max(1),
            sums: [0.0; 3],
            count: 0,
            series: [const { VecDeque::new() }; 3],
            scatter: OnceCell::new(),
            age: 0,
        }
    }

    /// Takes a weighted square and the indicator's reading with it.
    pub fn push(&mut self, square: f64, reading: f64) {
        for (sum, value) in self.sums.iter_mut().zip([square, square.powi(3), reading]) {
            *sum += value;
        }
        self.count += 1;
        if self.count < self.per_block {
            return;
        }
        let count = f64::from(std::mem::take(&mut self.count));
        let sums = std::mem::take(&mut self.sums);
        for (blocks, sum) in self.series.iter_mut().zip(sums) {
            blocks.push_back(sum / count);
            if blocks.len() > (WINDOW_S / BLOCK_S) as usize {
                blocks.pop_front();
            }
        }
        self.age += 1;
        if self.age >= SCATTER_BLOCKS {
            self.age = 0;
            self.scatter.take();
        }
    }

    /// The ± of the live figures, at most half a second old.
    pub fn scatter(&self) -> RecentScatter {
        *self.scatter.get_or_init(|| {
            let series = self.series.each_ref();
            let [squares, sixths, readings] = series.map(|it| Vec::from_iter(it.iter().copied()));
            let blocks = FlutterBlocks {
                squares: &squares,
                sixths: &sixths,
            };
            let levels = FlutterScatter::of(&blocks, BLOCK_S);
            RecentScatter {
                levels,
                reading: levels.of_reading(&readings),
            }
        })
    }
}
