//! What an engine is told before it begins.

use std::ops::Range;

use super::conditions::{ChannelChoice, Conditions};
use super::values::ChannelUsed;
use crate::signal::tracker::MOST_CHANNELS;
use crate::units::{Percent, Seconds};

/// How to measure.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Settings {
    /// Samples a second.
    pub rate_hz: u32,
    /// Interleaved channels; beyond two the first two are listened to.
    pub channels: u16,
    /// Which of them.
    pub choice: ChannelChoice,
    /// Against what.
    pub conditions: Conditions,
    /// Half width of the tolerance band: the digits count as settled when
    /// their mean is known well within it.
    pub tolerance: Percent,
}

impl Settings {
    /// Channels that there are, beyond two the first two.
    pub(super) fn inputs(&self) -> usize {
        usize::from(self.channels).min(MOST_CHANNELS)
    }

    /// Which of them are listened to.
    pub(super) fn listened(&self) -> Range<usize> {
        let inputs = self.inputs();
        match self.choice {
            ChannelChoice::Auto => 0..inputs,
            ChannelChoice::Left => 0..1,
            ChannelChoice::Right => inputs - 1..inputs,
        }
    }

    /// What is used of it, where left or right or both have what is measured.
    pub(super) fn used(&self, has: [bool; MOST_CHANNELS]) -> ChannelUsed {
        match (self.channels, self.choice, has) {
            (1, ..) => ChannelUsed::Mono,
            (_, ChannelChoice::Left, _) | (_, ChannelChoice::Auto, [true, false]) => {
                ChannelUsed::Left
            }
            (_, ChannelChoice::Right, _) | (_, ChannelChoice::Auto, [false, true]) => {
                ChannelUsed::Right
            }
            (_, ChannelChoice::Auto, _) => ChannelUsed::Both,
        }
    }

    /// Whether anything can be measured in this format.
    pub(super) fn check(&self) -> Result<(), EngineError> {
        check_rate(self.rate_hz)?;
        if self.channels == 0 {
            return Err(EngineError::NoChannel);
        }
        Ok(())
    }
}

/// Whether anything can be measured at this rate.
pub fn check_rate(rate_hz: u32) -> Result<(), EngineError> {
    if (8000..=768_000).contains(&rate_hz) {
        Ok(())
    } else {
        Err(EngineError::Rate(rate_hz))
    }
}

/// How long a kept stretch is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct KeepRequest {
    /// At least this much valid signal.
    pub at_least: Seconds,
    /// At most this much, however unsteady.
    pub at_most: Seconds,
}

/// Why no engine can be had for an input.
#[derive(Debug, thiserror::Error, PartialEq)]
pub enum EngineError {
    /// Too slow a sample rate to carry a test tone, or absurdly fast.
    #[error(
        "the sample rate is {0} Hz; this needs 8000 to 768000 Hz, so record again at 44100 or 48000 Hz"
    )]
    Rate(u32),
    /// No channel.
    #[error("the input has no channel; choose another input or record again")]
    NoChannel,
}
