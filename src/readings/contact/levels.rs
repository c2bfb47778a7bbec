//! Level of each channel along the movement: lowest and highest, how often it
//! went through its range, and how far left and right differ.

use super::report::GONE_DB;
use crate::units::{Decibels, Seconds};

/// Sums are made over this long, and a level is the median of ten of them.
const SLICE_S: f64 = 0.01;
const SLICES: usize = 10;
/// Steps of the level that are told apart, in dB, from [`LOWEST_DB`] upwards.
const STEP_DB: f64 = 0.5;
const LOWEST_DB: f64 = -100.0;
const STEPS: usize = 220;
/// Levels as rare as this at either end do not count.
const RARE: f64 = 0.01;
/// The level has turned round once it is this far from its last extreme.
const TURNED_DB: f64 = 12.0;
/// A pass is judged from levels smoothed over this many tenths of a second.
const SMOOTHED: f64 = 4.0;
/// A level that falls by more than this from one tenth of a second to the next
/// is no hand's work, and is left out for this many of them.
const HELD_DB: f64 = 40.0;
const HELD: u32 = 10;
/// Where each channel is this much louder than the other for this part of the
/// time, they were moved against each other, as a balance control does it.
const AGAINST_DB: f64 = 6.0;
const AGAINST: f64 = 0.1;
/// A channel louder than this plays.
const PLAYS_DB: f64 = -45.0;
/// Left and right are compared in steps of the level of this width, where this
/// many slices are known, down to this far below the highest and this far above
/// the quietest.
const COMPARED_DB: f64 = 3.0;
const COMPARED_STEPS: usize = 40;
const COMPARED_SLICES: u32 = 20;
const COMPARED_RANGE_DB: f64 = 45.0;
const ABOVE_QUIETEST_DB: f64 = 12.0;

/// Level from a mean square: a full-scale sine is 0.
fn decibels(mean_square: f64) -> f64 {
    10.0 * (2.0 * mean_square).max(1e-12).log10()
}

#[derive(Clone, Default)]
struct Channel {
    energy: f64,
    slices: Vec<f64>,
    histogram: Vec<u32>,
    now: Option<f64>,
    /// Slices in which the other channel played and this one did not.
    gone: u32,
    /// Slices in which it was much louder than the other one.
    louder: u32,
    movement: Movement,
}

/// How often a level went up or down by much.
#[derive(Clone, Default)]
struct Movement {
    /// The level taken last, and how many were left out since.
    newest: f64,
    held: u32,
    /// Smoothed; then the last extremes.
    smooth: Option<f64>,
    extremes: [f64; 2],
    /// Going up, down, or not yet known.
    direction: Option<bool>,
    passes: u32,
}

#[derive(Clone, Copy, Default)]
struct Compared {
    energy: [f64; 2],
    slices: u32,
}

/// The first step at which more than `rare` have been counted.
fn first_beyond(
    rare: u32,
    histogram: &[u32],
    mut steps: impl Iterator<Item = usize>,
) -> Option<usize> {
    let mut seen = 0;
    steps.find(|step| {
        seen += histogram[*step];
        seen > rare
    })
}

impl Movement {
    fn follow(&mut self, level: f64) {
        if self.smooth.is_some() && self.newest - level > HELD_DB && self.held < HELD {
            self.held += 1;
            return;
        }
        (self.newest, self.held) = (level, 0);
        // Silence is not the control's lower end by so very much.
        let level = level.max(-70.0);
        let Some(smooth) = &mut self.smooth else {
            self.smooth = Some(level);
            self.extremes = [level; 2];
            return;
        };
        *smooth += (level - *smooth) / SMOOTHED;
        let level = *smooth;
        self.extremes = [self.extremes[0].min(level), self.extremes[1].max(level)];
        let [low, high] = self.extremes;
        let rises = level > low + TURNED_DB && self.direction != Some(true);
        let falls = level < high - TURNED_DB && self.direction != Some(false);
        if rises || falls {
            self.passes += 1;
            self.direction = Some(rises);
            self.extremes = [level; 2];
        }
        // While it rises only the highest matters, from which it may fall.
        if let Some(up) = self.direction {
            self.extremes[usize::from(!up)] = level;
        }
    }
}

/// See the module.
#[derive(Clone)]
pub(super) struct Levels {
    slice_frames: u32,
    frames: u32,
    channels: Vec<Channel>,
    compared: [Compared; COMPARED_STEPS],
    compared_slices: u32,
    /// Of the louder channel.
    movement: Movement,
}

impl Levels {
    pub(super) fn new(rate_hz: f64, channels: usize) -> Self {
        Self {
            slice_frames: ((SLICE_S * rate_hz) as u32).max(1),
            frames: 0,
            channels: vec![
                Channel {
                    histogram: vec![0; STEPS],
                    ..Channel::default()
                };
                channels
            ],
            compared: [Compared::default(); COMPARED_STEPS],
            compared_slices: 0,
            movement: Movement::default(),
        }
    }

    /// Takes a frame; true when the levels are new.
    pub(super) fn push(&mut self, frame: &[f32]) -> bool {
        for (channel, sample) in self.channels.iter_mut().zip(frame) {
            channel.energy += f64::from(*sample).powi(2);
        }
        self.frames += 1;
        if self.frames < self.slice_frames {
            return false;
        }
        let frames = f64::from(self.frames);
        self.frames = 0;
        for channel in &mut self.channels {
            channel.slices.push(channel.energy / frames);
            channel.energy = 0.0;
        }
        if self.channels[0].slices.len() < SLICES {
            return false;
        }
        self.compare();
        let mut loudest = f64::NEG_INFINITY;
        for channel in &mut self.channels {
            channel.slices.sort_unstable_by(f64::total_cmp);
            let level = decibels(channel.slices[SLICES / 2]);
            channel.slices.clear();
            let step = ((level - LOWEST_DB) / STEP_DB).clamp(0.0, (STEPS - 1) as f64);
            channel.histogram[step as usize] += 1;
            channel.now = Some(level);
            channel.movement.follow(level);
            loudest = loudest.max(level);
        }
        self.movement.follow(loudest);
        true
    }

    /// The newest level of a channel.
    pub(super) fn now(&self, channel: usize) -> Option<Decibels> {
        self.channels[channel].now.map(Decibels)
    }

    /// How long a channel was gone while the other played.
    pub(super) fn gone(&self, channel: usize) -> Seconds {
        Seconds(f64::from(self.channels[channel].gone) * SLICE_S)
    }

    /// The lowest and the highest level.
    pub(super) fn range(&self, channel: usize) -> Option<[Decibels; 2]> {
        let histogram = &self.channels[channel].histogram;
        let all: u32 = histogram.iter().sum();
        let rare = (f64::from(all) * RARE) as u32;
        let low = first_beyond(rare, histogram, 0..STEPS)?;
        let high = first_beyond(rare, histogram, (0..STEPS).rev())?;
        let level = |step: usize| Decibels(LOWEST_DB + (step as f64 + 0.5) * STEP_DB);
        Some([level(low), level(high)])
    }

    /// How often the level went up or down by much. With a balance control the
    /// louder channel hardly does, but each of them.
    pub(super) fn passes(&self) -> u32 {
        let each = self.channels.iter().map(|it| it.movement.passes).min();
        self.movement.passes.max(each.unwrap_or(0))
    }

    fn compare(&mut self) {
        let [one, other] = &mut self.channels[..] else {
            return;
        };
        for (left, right) in one.slices.iter().zip(&other.slices) {
            let [left_db, right_db] = [decibels(*left), decibels(*right)];
            if left_db.max(right_db) > PLAYS_DB {
                self.compared_slices += 1;
                one.louder += u32::from(left_db > right_db + AGAINST_DB);
                other.louder += u32::from(right_db > left_db + AGAINST_DB);
            }
            if (left_db - right_db).abs() > GONE_DB {
                // One of them is gone; that is no difference of tracking.
                one.gone += u32::from(left_db < right_db && right_db > PLAYS_DB);
                other.gone += u32::from(right_db < left_db && left_db > PLAYS_DB);
                continue;
            }
            let level = decibels(f64::midpoint(*left, *right));
            let step = (-level / COMPARED_DB).clamp(0.0, (COMPARED_STEPS - 1) as f64);
            let compared = &mut self.compared[step as usize];
            compared.energy[0] += left;
            compared.energy[1] += right;
            compared.slices += 1;
        }
    }

    /// Whether now the one, now the other channel was much louder.
    fn moved_against_each_other(&self) -> bool {
        let least = AGAINST * f64::from(self.compared_slices);
        self.compared_slices > 0 && self.channels.iter().all(|it| f64::from(it.louder) > least)
    }

    /// The greatest difference between left and right along the movement;
    /// `None` too where they did not move together.
    pub(super) fn tracking(&self) -> Option<Decibels> {
        if self.moved_against_each_other() {
            return None;
        }
        let known = |it: &&(usize, &Compared)| it.1.slices >= COMPARED_SLICES;
        let steps: Vec<_> = self.compared.iter().enumerate().collect();
        let top = steps.iter().find(known)?.0;
        let bottom = steps.iter().rev().find(known)?.0;
        let lowest = top + (COMPARED_RANGE_DB / COMPARED_DB) as usize;
        // The quietest part of the movement is noise as much as sound.
        let quietest = bottom.saturating_sub((ABOVE_QUIETEST_DB / COMPARED_DB) as usize);
        let last = lowest.min(quietest.max(top));
        let difference = |it: &Compared| decibels(it.energy[0]) - decibels(it.energy[1]);
        steps[top..=last]
            .iter()
            .filter(known)
            .map(|(_, it)| difference(it).abs())
            .reduce(f64::max)
            .map(Decibels)
    }
}
