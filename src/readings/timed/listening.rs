//! From interleaved samples to the power of each channel that is listened to.

use crate::readings::settings::{EngineError, Settings};
use crate::readings::values::ChannelUsed;
use crate::signal::level::{ClipCounter, tame};
use crate::signal::timed::envelope::Envelope;
use crate::units::{Decibels, Seconds};

/// Takes samples, keeps powers.
pub(super) struct Listening {
    pub settings: Settings,
    frames: u64,
    clipped: u64,
    /// Of every channel, listened to or not.
    clips: Vec<ClipCounter>,
    /// With the number of its channel.
    envelopes: Vec<(usize, Envelope)>,
}

impl Listening {
    pub fn new(settings: Settings, hop: Seconds) -> Result<Self, EngineError> {
        settings.check()?;
        let rate_hz = f64::from(settings.rate_hz);
        Ok(Self {
            settings,
            frames: 0,
            clipped: 0,
            clips: vec![ClipCounter::default(); settings.inputs()],
            envelopes: settings
                .listened()
                .map(|channel| (channel, Envelope::new(rate_hz, hop.0)))
                .collect(),
        })
    }

    /// Takes whole frames.
    pub fn push(&mut self, interleaved: &[f32]) {
        let frames = interleaved.chunks_exact(usize::from(self.settings.channels));
        self.frames += frames.len() as u64;
        for frame in frames.clone() {
            for (clips, sample) in self.clips.iter_mut().zip(frame) {
                self.clipped += clips.push(*sample);
            }
        }
        for (channel, envelope) in &mut self.envelopes {
            for frame in frames.clone() {
                envelope.push(f64::from(tame(frame[*channel])));
            }
        }
    }

    /// Powers of each channel that is listened to.
    pub fn powers(&self) -> Vec<&[f32]> {
        let powers = self.envelopes.iter().map(|(_, envelope)| envelope.power());
        powers.collect()
    }

    pub fn hop_s(&self) -> f64 {
        self.envelopes[0].1.hop_s()
    }

    pub fn frames(&self) -> u64 {
        self.frames
    }

    pub fn clipped(&self) -> u64 {
        self.clipped
    }

    /// What is used when it is `which` of those that are listened to, or all.
    pub fn channel(&self, which: Option<usize>) -> ChannelUsed {
        self.settings.used([which != Some(1), which != Some(0)])
    }
}

/// Channels as one: each power by that of its noise, so that the better one
/// counts more.
pub(super) fn joined(powers: &[&[f32]], noises: &[f64]) -> Vec<f32> {
    let count = powers.iter().map(|power| power.len()).min().unwrap_or(0);
    let total: f64 = noises.iter().map(|noise| noise.recip()).sum();
    (0..count)
        .map(|k| {
            let sum: f64 = powers
                .iter()
                .zip(noises)
                .map(|(power, noise)| f64::from(power[k]) / noise)
                .sum();
            (sum / total) as f32
        })
        .collect()
}

/// Level of a power: that of a full-scale sine is 0.
pub(super) fn level(power: f64) -> Decibels {
    Decibels::from_power_ratio(2.0 * power)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::readings::conditions::{ChannelChoice, Conditions};
    use crate::units::Percent;

    fn listening(channels: u16, choice: ChannelChoice) -> Listening {
        let settings = Settings {
            rate_hz: 48_000,
            channels,
            choice,
            conditions: Conditions::default(),
            tolerance: Percent(0.5),
        };
        Listening::new(settings, Seconds(0.001)).expect("a usual format")
    }

    #[test]
    fn clipped_runs_are_counted_whole() {
        let mut heard = listening(1, ChannelChoice::Auto);
        heard.push(&[1.0, 1.0, 0.0, -1.0, -1.0, -1.0, -1.0, 0.5, 1.0]);
        assert_eq!(heard.clipped(), 4);
        heard.push(&[1.0, 1.0]);
        assert_eq!(heard.clipped(), 7);
    }

    #[test]
    fn the_chosen_channel_is_heard() {
        let frames: Vec<f32> = (0..9600)
            .flat_map(|n| [0.0, (f64::from(n) * 0.13).sin() as f32])
            .collect();
        for (choice, sounding) in [(ChannelChoice::Left, false), (ChannelChoice::Right, true)] {
            let mut heard = listening(2, choice);
            heard.push(&frames);
            let power = heard.powers()[0][150];
            assert_eq!(power > 0.1, sounding, "{choice:?}");
        }
        let heard = listening(2, ChannelChoice::Auto);
        assert_eq!(heard.powers().len(), 2);
        assert_eq!(heard.channel(Some(1)), ChannelUsed::Right);
        assert_eq!(heard.channel(None), ChannelUsed::Both);
    }

    #[test]
    fn the_better_channel_counts_more() {
        let joined = joined(&[&[1.0, 4.0], &[100.0, 103.0]], &[1.0, 100.0]);
        assert!((f64::from(joined[1] - joined[0]) - 3.03 / 1.01).abs() < 1e-3);
    }
}
