//! A recording of a test tone as a technician makes it, by formula: the motor
//! comes up, wavers, is turned, and stops.

use std::f64::consts::TAU;

use super::dice::Dice;

pub const RATE: u32 = 48_000;

/// What was recorded: the speed as a ratio at each second, and what is laid
/// over it.
pub struct Take<'a> {
    pub seconds: f64,
    pub speed: &'a dyn Fn(f64) -> f64,
    /// Lines of wow and flutter: rate in hertz, peak in percent.
    pub lines: &'a [(f64, f64)],
    /// The tone on the tape in each channel, and its peak.
    pub hz: [f64; 2],
    pub peak: [f64; 2],
    /// Peak of mains hum at 50 Hz; a third of it at 150 Hz.
    pub hum: f64,
    pub seed: u64,
}

/// A fair portable and a fair deck. Strengths are invented.
pub const PORTABLE: [(f64, f64); 4] = [(0.55, 0.1), (1.3, 0.06), (7.9, 0.05), (31.0, 0.04)];
pub const DECK: [(f64, f64); 3] = [(0.71, 0.03), (5.2, 0.015), (38.0, 0.012)];

impl Take<'_> {
    pub fn of(seconds: f64, speed: &dyn Fn(f64) -> f64) -> Take<'_> {
        Take {
            seconds,
            speed,
            lines: &DECK,
            hz: [3150.0; 2],
            peak: [0.25; 2],
            hum: 0.0,
            seed: 1,
        }
    }

    /// Interleaved samples, ±1 at most.
    pub fn samples(&self) -> Vec<f32> {
        let mut dice = Dice::new(self.seed);
        let phases: Vec<f64> = self.lines.iter().map(|_| dice.unit()).collect();
        let mut turns = [0.0f64; 2];
        let mut samples = Vec::new();
        for n in 0..(self.seconds * f64::from(RATE)) as usize {
            let t = n as f64 / f64::from(RATE);
            let run = (self.speed)(t);
            let wavers: f64 = (self.lines.iter().zip(&phases))
                .map(|((hz, percent), phase)| percent / 100.0 * (TAU * (hz * t + phase)).sin())
                .sum();
            // A head gives in proportion to speed; below half of it that shows.
            let head = (2.0 * run).min(1.0);
            let hum = if self.hum > 0.0 {
                self.hum * ((TAU * 50.0 * t).sin() + (TAU * 150.0 * t).sin() / 3.0)
            } else {
                0.0
            };
            for (channel, turns) in turns.iter_mut().enumerate() {
                *turns += self.hz[channel] * run * (1.0 + wavers) / f64::from(RATE);
                let tone = self.peak[channel] * head * (TAU * turns.fract()).sin();
                let hiss = dice.between(-0.001, 0.001);
                samples.push((tone + hiss + hum).clamp(-1.0, 1.0) as f32);
            }
        }
        samples
    }
}

/// How a motor stops, from 1 at the beginning to 0: by itself, braked evenly,
/// with a belt that slips at first.
pub type Stop = fn(f64, f64) -> f64;

pub fn coasts(since_s: f64, length_s: f64) -> f64 {
    (-4.0 * since_s.max(0.0) / length_s).exp()
}

pub fn is_braked(since_s: f64, length_s: f64) -> f64 {
    1.0 - (since_s / length_s).clamp(0.0, 1.0)
}

pub fn slips(since_s: f64, length_s: f64) -> f64 {
    1.0 - (since_s / length_s).clamp(0.0, 1.0).powi(2)
}
