//! From interleaved samples of a tape to the [`Measurement`] against its
//! digital copy.

use std::sync::Arc;

use super::MISSING;
use super::copy::Copy;
use super::loudness::Loudness;
use super::matcher::{Matcher, Report};
use super::measured::measured;
use crate::readings::alike::are_different;
use crate::readings::caution::Caution;
use crate::readings::conditions::ReferenceKind;
use crate::readings::measurement::Measurement;
use crate::readings::settings::{EngineError, Settings};
use crate::readings::values::{ChannelUsed, Problem};
use crate::readings::without_tone::Heard;
use crate::signal::level::{LevelMeter, tame};
use crate::units::{Decibels, Hertz};

/// Halves that differ by more than this part: wow and drift do not part them
/// so far.
const MOVED: f64 = 0.003;

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
    loudness: Loudness,
}

impl CopyMeter {
    /// For one input format.
    pub fn new(settings: Settings, copy: Arc<Copy>) -> Result<Self, EngineError> {
        settings.check()?;
        let channel = |number| Channel {
            number,
            level: LevelMeter::default(),
            samples: Vec::new(),
            loudness: Loudness::default(),
        };
        Ok(Self {
            settings,
            matcher: Matcher::new(copy, settings.rate_hz),
            channels: settings.listened().map(channel).collect(),
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
            let sound = frames.clone().map(|frame| tame(frame[channel.number]));
            channel.samples.extend(sound);
            for (sum, x) in self.mono.iter_mut().zip(&channel.samples) {
                *sum += part * x;
            }
            let mut clipped = [0];
            channel
                .level
                .push(&channel.samples, count.max(1), &mut clipped);
            self.clipped += clipped[0];
            channel
                .loudness
                .push(&channel.samples, self.settings.rate_hz);
        }
        self.matcher.push(&self.mono);
    }

    /// What came of everything pushed so far.
    pub fn measurement(&self) -> Measurement {
        let heard = Heard {
            settings: &self.settings,
            has_drift: false,
            frames: self.frames,
            clipped: self.clipped,
            channel: self.channel(),
            level: self.level(),
            snr: None,
        };
        let report = self.matcher.report();
        let mut measurement = measured(&report, heard);
        measurement.cautions.extend(self.has_moved(&report));
        if self.carries_two_things() {
            let two_things = Caution::Trouble(Problem::ChannelsDisagree, ReferenceKind::Recording);
            measurement.cautions.insert(0, two_things);
        }
        measurement
    }

    /// The two halves ran at different speeds: the mean of both is neither's.
    fn has_moved(&self, report: &Report) -> Option<Caution> {
        let middle_s = 0.5 * report.heard_s;
        let half = |from_s: f64, to_s: f64| self.matcher.report_over(from_s, to_s).speed;
        let [first, second] = [
            half(f64::NEG_INFINITY, middle_s)?,
            half(middle_s, f64::INFINITY)?,
        ];
        let conditions = &self.settings.conditions;
        let deviation = |ratio: f64| conditions.deviation(Hertz(ratio), Hertz(1.0));
        ((first.ratio / second.ratio - 1.0).abs() > MOVED)
            .then(|| Caution::MovedBetween([first, second].map(|it| deviation(it.ratio)), None))
    }

    fn carries_two_things(&self) -> bool {
        match &self.channels[..] {
            [left, right] if self.channel() == ChannelUsed::Both => {
                are_different(left.loudness.db(), right.loudness.db())
            }
            _ => false,
        }
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
