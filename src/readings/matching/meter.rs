//! From interleaved samples of a tape to the [`Measurement`] against its
//! digital copy.

use std::sync::Arc;

use super::copy::Copy;
use super::matcher::Matcher;
use super::told::told;
use crate::readings::conditions::ChannelChoice;
use crate::readings::engine::{EngineError, Settings};
use crate::readings::reading::{ChannelUsed, Measurement};
use crate::readings::without_tone::Heard;
use crate::signal::level::LevelMeter;
use crate::units::Decibels;

/// A channel this far below the other one is missing.
const MISSING: Decibels = Decibels(-30.0);

/// A sample beyond this is damage, not sound.
const WILDEST: f32 = 1e3;

/// Measures the speed of a tape against a copy.
pub struct CopyMeter {
    settings: Settings,
    matcher: Matcher,
    channels: Vec<Channel>,
    frames: u64,
    clipped: u64,
    mono: Vec<f32>,
}

/// One channel that is listened to.
struct Channel {
    number: usize,
    level: LevelMeter,
    samples: Vec<f32>,
}

impl CopyMeter {
    /// For one input format.
    pub fn new(settings: Settings, copy: Arc<Copy>) -> Result<Self, EngineError> {
        settings.check()?;
        let inputs = usize::from(settings.channels).min(2);
        let taken = match settings.choice {
            ChannelChoice::Auto => 0..inputs,
            ChannelChoice::Left => 0..1,
            ChannelChoice::Right => inputs - 1..inputs,
        };
        let channel = |number| Channel {
            number,
            level: LevelMeter::default(),
            samples: Vec::new(),
        };
        Ok(Self {
            settings,
            matcher: Matcher::new(copy, settings.rate_hz),
            channels: taken.map(channel).collect(),
            frames: 0,
            clipped: 0,
            mono: Vec::new(),
        })
    }

    /// Takes whole frames.
    pub fn push(&mut self, interleaved: &[f32]) {
        let frames = interleaved.chunks_exact(usize::from(self.settings.channels));
        let count = frames.len();
        self.frames += count as u64;
        self.mono.clear();
        self.mono.resize(count, 0.0);
        let part = 1.0 / self.channels.len() as f32;
        for channel in &mut self.channels {
            channel.samples.clear();
            let sound = frames.clone().map(|frame| frame[channel.number]);
            channel
                .samples
                .extend(sound.map(|x| if x.abs() <= WILDEST { x } else { 0.0 }));
            for (sum, x) in self.mono.iter_mut().zip(&channel.samples) {
                *sum += part * x;
            }
            let mut clipped = [0];
            channel
                .level
                .push(&channel.samples, count.max(1), &mut clipped);
            self.clipped += clipped[0];
        }
        self.matcher.push(&self.mono);
    }

    /// What came of everything pushed so far.
    pub fn measurement(&self) -> Measurement {
        let heard = Heard {
            settings: &self.settings,
            from: "a recording",
            has_drift: false,
            frames: self.frames,
            clipped: self.clipped,
            channel: self.channel(),
            level: self.level(),
            snr: None,
        };
        told(&self.matcher.report(), heard)
    }

    /// Mean square of a channel.
    fn power(&self, channel: &Channel) -> f64 {
        channel.level.energy() / (self.frames as f64).max(1.0)
    }

    /// Of the louder channel, silence between the sounds taken in; `None` for
    /// silence.
    fn level(&self) -> Option<Decibels> {
        let powers = self.channels.iter().map(|channel| self.power(channel));
        let loudest = powers.fold(0.0, f64::max);
        (loudest > 0.0).then(|| Decibels::from_power_ratio(2.0 * loudest))
    }

    fn channel(&self) -> ChannelUsed {
        match &self.channels[..] {
            _ if self.settings.channels == 1 => ChannelUsed::Mono,
            [only] if only.number == 0 => ChannelUsed::Left,
            [_] => ChannelUsed::Right,
            [left, right, ..] => {
                let apart = Decibels::from_power_ratio(self.power(right) / self.power(left));
                if apart < MISSING {
                    ChannelUsed::Left
                } else if -apart.0 < MISSING.0 {
                    ChannelUsed::Right
                } else {
                    ChannelUsed::Both
                }
            }
            [] => ChannelUsed::Both,
        }
    }
}
