//! What speaks for a followed note being one held note, and what against.

use crate::signal::evidence::Witness;
use crate::signal::line::Sums;
use crate::signal::statistics::median;

/// The frequency is averaged over this long for what follows: vibrato is gone.
const BLOCK_S: f64 = 0.2;

/// Shortest stretch that anything is said about.
const LEAST_S: f64 = 0.3;

/// Part of the lines' power that must belong to the note, on average.
const LEAST_SHARE: f64 = 0.8;

/// Half of the time the mean frequency of 0.4 s may change by no more than
/// this, as a part of itself in a second: slower than a hand at the trimmer
/// makes it, faster than that slides.
const MOST_GLIDE: f64 = 0.09;

/// A change by this much from block to next block but one is another note.
const LEAP: f64 = 0.035;

/// What moved one way by more than this in a second, all the time, was a
/// slide.
const MOST_GLIDE_OUT: f64 = 0.012;

/// Partials that lie this far from any series, relative, are of several notes.
const MOST_MISFIT: f64 = 1.5e-3;

/// Half of the blocks have a smaller standard deviation than this, as a part
/// of the frequency: vibrato of ±4 %, more than half a semitone.
const MOST_SPREAD: f64 = 0.03;

/// About its own decay the level of a note varies by less than this standard
/// deviation, in decibels: a tremolo of ±4 dB makes 2.8, a narrow band of noise
/// 5.6 (Rayleigh distribution).
const MOST_UNSTEADY_DB: f64 = 3.2;

/// Of three and more partials that are not much weaker than the strongest: no
/// narrow band of noise has them, and the voices of an ensemble beat in each.
/// Two voices that are alike vary by 10 log₁₀ e · π/√3 where they beat in full:
/// the logarithm of 2 + 2 cos φ is 2 Σ (−1)ᵏ⁺¹ cos(kφ)/k, its variance π²/3.
const MOST_UNSTEADY_RICH_DB: f64 = 7.9;

/// The level is looked at in pieces of this length.
const LEVEL_S: f64 = 1.0;

/// Looks that show two things on two channels, of all.
const MOST_CONFLICTS: f64 = 0.4;

/// Looks that another fundamental explains better, of all.
const MOST_ELSEWHERE: f64 = 0.5;

/// What is longer ago says nothing of what is heard now: blocks that are
/// remembered, pieces of the level, and looks, after which those before count
/// by half.
const BLOCKS: usize = 150;
const LEVELS: usize = 20;
const LOOKS: u32 = 100;

/// Keeps the newest, at most this many.
fn remember(values: &mut Vec<f64>, value: f64, most: usize) {
    if values.len() == most {
        values.remove(0);
    }
    values.push(value);
}

/// Standard deviation about the line.
fn scatter(sums: &Sums) -> f64 {
    (sums.squares_left() / sums.count.max(1.0)).sqrt()
}

/// What one look at the spectrum says of the note.
#[derive(Clone, Copy, Debug)]
pub struct Seen {
    /// Part of the lines' power that belongs to it.
    pub share: f64,
    /// The other channel carries something else.
    pub conflict: bool,
    /// Another fundamental would explain the lines better.
    pub elsewhere: bool,
    /// It has three or more partials of about the power of the strongest.
    pub rich: bool,
}

/// See the module.
#[derive(Clone, Debug)]
pub struct Presence {
    rate_hz: f64,
    ticks: u64,
    present: u64,
    present_until: u64,
    block: (f64, f64, u32),
    block_ticks: u32,
    first_hz: Option<f64>,
    last_hz: Option<f64>,
    before: [Option<f64>; 2],
    changes: Vec<f64>,
    spreads: Vec<f64>,
    level: Sums,
    levels: Vec<f64>,
    leaps: u32,
    leaping: bool,
    looks: u32,
    share: f64,
    conflicts: u32,
    elsewhere: u32,
    rich: u32,
    misfit: f64,
}

impl Presence {
    /// For this number of values a second.
    pub fn new(rate_hz: f64) -> Self {
        Self {
            rate_hz,
            ticks: 0,
            present: 0,
            present_until: 0,
            block: (0.0, 0.0, 0),
            block_ticks: 0,
            first_hz: None,
            last_hz: None,
            before: [None; 2],
            changes: Vec::new(),
            spreads: Vec::new(),
            level: Sums::default(),
            levels: Vec::new(),
            leaps: 0,
            leaping: false,
            looks: 0,
            share: 0.0,
            conflicts: 0,
            elsewhere: 0,
            rich: 0,
            misfit: 0.0,
        }
    }

    /// Ticks that have passed since the note began.
    pub fn now(&mut self, ticks: u64) {
        self.ticks = ticks;
    }

    /// A value of the tick of this number since then, with the note's power.
    pub fn value(&mut self, hz: f64, tick: u64, power: f64) {
        self.present += 1;
        self.present_until = tick;
        self.first_hz.get_or_insert(hz);
        let off = hz / self.first_hz.unwrap_or(hz) - 1.0;
        self.block.0 += off;
        self.block.1 += off * off;
        self.block.2 += 1;
        self.level
            .push([self.level.count, 10.0 * power.max(1e-20).log10()]);
        if self.level.count >= LEVEL_S * self.rate_hz {
            let level = std::mem::take(&mut self.level);
            remember(&mut self.levels, scatter(&level), LEVELS);
        }
        self.block_ticks += 1;
        if f64::from(self.block_ticks) >= BLOCK_S * self.rate_hz {
            self.end_block();
        }
    }

    fn end_block(&mut self) {
        let (sum, square, count) = std::mem::take(&mut self.block);
        self.block_ticks = 0;
        let mean = sum / f64::from(count.max(1));
        let variance = (square / f64::from(count.max(1)) - mean * mean).max(0.0);
        remember(&mut self.spreads, variance.sqrt(), BLOCKS);
        let hz = self.first_hz.unwrap_or(0.0) * (1.0 + mean);
        self.last_hz = Some(hz);
        if let Some(before) = self.before[0] {
            let change = hz / before - 1.0;
            remember(&mut self.changes, change / (2.0 * BLOCK_S), BLOCKS);
            let leaps = change.abs() > LEAP;
            self.leaps += u32::from(leaps && !self.leaping);
            self.leaping = leaps;
        }
        self.before = [self.before[1], Some(hz)];
    }

    /// A look at the spectrum.
    pub fn look(&mut self, seen: Seen) {
        if self.looks >= LOOKS {
            self.looks /= 2;
            self.elsewhere /= 2;
            self.conflicts /= 2;
            self.rich /= 2;
            self.share /= 2.0;
        }
        self.looks += 1;
        self.elsewhere += u32::from(seen.elsewhere);
        self.share += seen.share;
        self.conflicts += u32::from(seen.conflict);
        self.rich += u32::from(seen.rich);
    }

    /// How far the partials lie from any one series, relative.
    pub fn misfit(&mut self, misfit: f64) {
        self.misfit = misfit;
    }

    /// True when the channels carry two different things.
    pub fn has_conflict(&self) -> bool {
        f64::from(self.conflicts) > MOST_CONFLICTS * f64::from(self.looks)
    }

    /// In decibels, about its own decay.
    fn unsteadiness(&self) -> f64 {
        if self.levels.is_empty() && self.level.count >= 0.5 * LEVEL_S * self.rate_hz {
            return scatter(&self.level);
        }
        let squares: f64 = self.levels.iter().map(|level| level * level).sum();
        (squares / self.levels.len().max(1) as f64).sqrt()
    }

    fn most_unsteady_db(&self) -> f64 {
        if 2 * self.rich > self.looks {
            MOST_UNSTEADY_RICH_DB
        } else {
            MOST_UNSTEADY_DB
        }
    }

    fn glide(&self) -> f64 {
        let mut sizes: Vec<f64> = self.changes.iter().map(|change| change.abs()).collect();
        median(&mut sizes).unwrap_or(0.0)
    }

    fn goes_one_way(&self) -> bool {
        let rises = self.changes.iter().filter(|change| **change > 0.0).count();
        let all = self.changes.len();
        rises.max(all - rises) as f64 >= 0.85 * all as f64
    }
}

impl Witness for Presence {
    fn length_s(&self) -> f64 {
        self.present_until as f64 / self.rate_hz
    }

    fn silent_s(&self) -> f64 {
        self.ticks.saturating_sub(self.present_until) as f64 / self.rate_hz
    }

    fn present_s(&self) -> f64 {
        self.present as f64 / self.rate_hz
    }

    fn first_hz(&self) -> Option<f64> {
        self.first_hz
    }

    fn last_hz(&self) -> Option<f64> {
        self.last_hz.or(self.first_hz)
    }

    fn leaps(&self) -> u32 {
        self.leaps
    }

    fn is_doubted(&self) -> bool {
        let share = self.share / f64::from(self.looks.max(1));
        self.present_s() < LEAST_S
            || (self.looks > 0 && share < LEAST_SHARE)
            || self.misfit > MOST_MISFIT
            || self.glide() > MOST_GLIDE
            || median(&mut self.spreads.clone()).is_some_and(|it| it > MOST_SPREAD)
            || self.unsteadiness() > self.most_unsteady_db()
            || self.has_conflict()
            || f64::from(self.elsewhere) > MOST_ELSEWHERE * f64::from(self.looks)
    }

    fn was_on_its_way(&self) -> bool {
        self.changes.len() > 3 && self.goes_one_way() && self.glide() > MOST_GLIDE_OUT
    }
}
