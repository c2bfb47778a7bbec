//! What speaks for a followed note being one held note, and what against. Limits
//! without a formula are tuned; judged by `--bench notes`.

use crate::signal::line::Sums;
use crate::signal::piece::{
    BLOCK_S, MOST_GLIDE, MOST_GLIDE_OUT, Piece, PieceSums, Witness, goes_one_way,
};
use crate::signal::statistics::median;

/// Shortest stretch that anything is said about.
const LEAST_S: f64 = 0.3;

/// Part of the lines' power that must belong to the note, on average.
const LEAST_SHARE: f64 = 0.8;

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
    sums: PieceSums,
    changes: Vec<f64>,
    spreads: Vec<f64>,
    level: Sums,
    levels: Vec<f64>,
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
            sums: PieceSums::new(rate_hz, BLOCK_S * rate_hz),
            changes: Vec::new(),
            spreads: Vec::new(),
            level: Sums::default(),
            levels: Vec::new(),
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
        self.sums.ticks = ticks;
    }

    /// A value of the tick of this number since then, with the note's power.
    pub fn value(&mut self, hz: f64, tick: u64, power: f64) {
        self.sums.present += 1;
        self.sums.present_until = tick;
        if let Some(block) = self.sums.push(hz) {
            remember(&mut self.spreads, block.spread, BLOCKS);
            if let Some(change) = block.change {
                remember(&mut self.changes, change / (2.0 * BLOCK_S), BLOCKS);
            }
        }
        self.level
            .push([self.level.count, 10.0 * power.max(1e-20).log10()]);
        if self.level.count >= LEVEL_S * self.rate_hz {
            let level = std::mem::take(&mut self.level);
            remember(&mut self.levels, scatter(&level), LEVELS);
        }
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
        goes_one_way(rises as f64, self.changes.len() as f64)
    }
}

impl Witness for Presence {
    fn piece(&self) -> Piece {
        self.sums.piece()
    }

    fn is_doubted(&self) -> bool {
        let share = self.share / f64::from(self.looks.max(1));
        self.piece().present_s < LEAST_S
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
