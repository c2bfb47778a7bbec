//! Places where the tape gives less: dirt, creases, missing oxide.

use super::noise::{Purpose, Random};
use super::varying::NODES_HZ;
use crate::units::Decibels;

/// The level falls and rises over this long, in seconds. Invented.
const EDGE_S: f64 = 0.001;

/// How often the tape drops out, and how badly.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct DropoutConfig {
    /// How many a minute, on average, at random.
    pub per_minute: f64,
    /// How long each lasts in seconds, from half-way down to half-way up.
    pub length_s: f64,
    /// How far the tone falls in dB.
    pub depth_db: f64,
}

impl DropoutConfig {
    /// A tape without fault.
    pub fn none() -> Self {
        Self::default()
    }
}

/// The dropouts as they come by.
#[derive(Clone, Debug)]
pub(super) struct Dropouts {
    random: Random,
    chance_per_node: f64,
    frames: f64,
    edge_frames: f64,
    floor: f64,
    one_track: bool,
    /// Frame of the one that passes, and which tracks it hits.
    running: Option<(f64, [bool; 2])>,
    count: u64,
}

impl Dropouts {
    pub(super) fn new(config: DropoutConfig, rate_hz: f64, one_track: bool, seed: u64) -> Self {
        let edge_frames = (EDGE_S * rate_hz).max(1.0);
        Self {
            random: Random::new(seed, Purpose::Dropouts),
            chance_per_node: config.per_minute / 60.0 / NODES_HZ,
            frames: config.length_s * rate_hz + edge_frames,
            edge_frames,
            floor: Decibels(-config.depth_db).amplitude_ratio(),
            one_track,
            running: None,
            count: 0,
        }
    }

    /// Asked 200 times a second whether one begins.
    pub(super) fn next_node(&mut self) {
        if self.chance_per_node > 0.0 && self.random.chance(self.chance_per_node) {
            self.start();
        }
    }

    /// How many have begun.
    pub(super) fn count(&self) -> u64 {
        self.count
    }

    fn start(&mut self) {
        if self.running.is_some() {
            return;
        }
        let tracks = match (self.random.unit() * 4.0) as u32 {
            0 if !self.one_track => [true, false],
            1 if !self.one_track => [false, true],
            _ => [true; 2],
        };
        self.running = Some((0.0, tracks));
        self.count += 1;
    }

    /// What is left of the tone on the left and right track at this frame.
    pub(super) fn next(&mut self) -> [f64; 2] {
        let Some((frame, tracks)) = self.running else {
            return [1.0, 1.0];
        };
        let from_end = self.frames - frame;
        let fallen = (frame.min(from_end) / self.edge_frames).clamp(0.0, 1.0);
        let gain = 1.0 - fallen * (1.0 - self.floor);
        self.running = (frame + 1.0 < self.frames).then_some((frame + 1.0, tracks));
        tracks.map(|hit| if hit { gain } else { 1.0 })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn they_come_as_often_as_configured() {
        let config = DropoutConfig {
            per_minute: 6.0,
            length_s: 0.02,
            depth_db: 12.0,
        };
        let mut dropouts = Dropouts::new(config, NODES_HZ, true, 4);
        // 100 minutes: 600 expected, Poisson, sd 24.5; within 4 sd.
        for _ in 0..100 * 60 * 200 {
            dropouts.next_node();
            dropouts.next();
        }
        assert!(dropouts.count().abs_diff(600) < 98, "{}", dropouts.count());
    }
}
