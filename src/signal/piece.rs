//! What is known about a piece that was followed, whatever it was: how long it
//! was there, where its frequency began and stands, and how that moved.

/// The frequency is averaged over this long: noise and vibrato are gone, wow is
/// not.
pub const BLOCK_S: f64 = 0.2;

/// A leap is a change by this much from block to next block but one, which no
/// hand at the trimmer makes; a semitone is 0.059, and 1.7 % rms of wow at
/// 0.6 Hz make 0.033.
const LEAP: f64 = 0.035;

/// Half of the time the speed changes by no more than this, as a part of
/// itself in a second. A hand at the trimmer makes 0.03.
pub const MOST_GLIDE: f64 = 0.09;

/// What ends where the range ends was a glide if it went one way all the time,
/// by more than this.
pub const MOST_GLIDE_OUT: f64 = 0.012;

/// Of all changes this part go the same way when it goes one way.
const ONE_WAY: f64 = 0.85;

/// True where nearly all of the changes, of which some rose, have one sign.
pub fn goes_one_way(rises: f64, all: f64) -> bool {
    rises.max(all - rises) >= ONE_WAY * all
}

/// A piece as a whole.
#[derive(Clone, Copy, Debug, Default)]
pub struct Piece {
    /// From the first to the last moment when it was there, in seconds.
    pub length_s: f64,
    /// How long it has been away, in seconds.
    pub silent_s: f64,
    /// How long it could be heard, in seconds.
    pub present_s: f64,
    /// The frequency at the start, in hertz.
    pub first_hz: Option<f64>,
    /// The newest frequency, over some tenths of a second, in hertz.
    pub last_hz: Option<f64>,
    /// How often the frequency has leapt.
    pub leaps: u32,
}

/// What a belief is made from.
pub trait Witness {
    /// The piece so far.
    fn piece(&self) -> Piece;

    /// Whether it is not believed. What was looked at closely before it was
    /// followed is.
    fn is_doubted(&self) -> bool {
        false
    }

    /// True when it moved all the time: what ends where the range ends was
    /// then none.
    fn was_on_its_way(&self) -> bool {
        false
    }
}

/// How the frequency of a piece went in one block, relative.
#[derive(Clone, Copy, Debug)]
pub struct Block {
    /// Its mean against the frequency at the start.
    pub ratio: f64,
    /// Standard deviation, as a part of the frequency at the start.
    pub spread: f64,
    /// Change since the block before the last.
    pub change: Option<f64>,
}

/// Adds up a piece; ticks are counted by what follows it.
#[derive(Clone, Debug)]
pub struct PieceSums {
    rate_hz: f64,
    /// Since it began.
    pub ticks: u64,
    /// With a value.
    pub present: u64,
    /// The last of those.
    pub present_until: u64,
    first_hz: Option<f64>,
    before: [Option<f64>; 2],
    block: (f64, f64, u32),
    per_block: f64,
    /// How often the frequency has leapt.
    pub leaps: u32,
    leaping: bool,
}

impl PieceSums {
    /// For `rate_hz` ticks a second, and this many values in a block.
    pub fn new(rate_hz: f64, per_block: f64) -> Self {
        Self {
            rate_hz,
            ticks: 0,
            present: 0,
            present_until: 0,
            first_hz: None,
            before: [None; 2],
            block: (0.0, 0.0, 0),
            per_block,
            leaps: 0,
            leaping: false,
        }
    }

    /// A value of the frequency; every now and then a block ends with it.
    pub fn push(&mut self, hz: f64) -> Option<Block> {
        let first = *self.first_hz.get_or_insert(hz);
        let off = hz / first - 1.0;
        self.block.0 += off;
        self.block.1 += off * off;
        self.block.2 += 1;
        if f64::from(self.block.2) < self.per_block {
            return None;
        }
        let (sum, square, count) = std::mem::take(&mut self.block);
        let mean = sum / f64::from(count);
        let hz = first * (1.0 + mean);
        let change = self.before[0].map(|before| hz / before - 1.0);
        if let Some(change) = change {
            let leaps = change.abs() > LEAP;
            self.leaps += u32::from(leaps && !self.leaping);
            self.leaping = leaps;
        }
        self.before = [self.before[1], Some(hz)];
        let variance = (square / f64::from(count) - mean * mean).max(0.0);
        Some(Block {
            ratio: 1.0 + mean,
            spread: variance.sqrt(),
            change,
        })
    }

    /// The piece so far.
    pub fn piece(&self) -> Piece {
        Piece {
            length_s: self.present_until as f64 / self.rate_hz,
            silent_s: self.ticks.saturating_sub(self.present_until) as f64 / self.rate_hz,
            present_s: self.present as f64 / self.rate_hz,
            first_hz: self.first_hz,
            last_hz: self.before[1].or(self.first_hz),
            leaps: self.leaps,
        }
    }
}
