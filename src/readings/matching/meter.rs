//! From interleaved samples of a tape to the [`Measurement`] against its
//! digital copy.

use std::sync::Arc;

use super::copy::Copy;
use super::figures::MatchFigures;
use super::matcher::{Matcher, Report, State};
use super::speed::SpeedFound;
use crate::readings::conditions::ChannelChoice;
use crate::readings::engine::{EngineError, Settings};
use crate::readings::reading::{Caution, CautionCode, ChannelUsed, Measurement, SpeedFigures};
use crate::readings::without_tone::{self, Heard};
use crate::signal::level::LevelMeter;
use crate::units::{Decibels, Hertz, Seconds};

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
        let report = self.matcher.report();
        let mut cautions = Vec::new();
        let mut say = |code, text| cautions.push(Caution { code, text });
        if report.speed.is_some() {
            followed_cautions(&report, &mut say);
        } else {
            let (code, text) = refusal(&report);
            say(code, text);
        }
        let heard = Heard {
            settings: &self.settings,
            from: "a recording",
            frames: self.frames,
            clipped: self.clipped,
            channel: self.channel(),
            level: self.level(),
            snr: None,
        };
        let speed = report.speed.map(|found| self.speed(&found));
        let mut measurement = heard.measurement(speed, Vec::new(), cautions);
        measurement.recording = Some(figures(&report));
        measurement
    }

    fn speed(&self, found: &SpeedFound) -> SpeedFigures {
        let conditions = &self.settings.conditions;
        let deviation = conditions.deviation(Hertz(found.ratio), Hertz(1.0));
        without_tone::speed(deviation, found.noise, found.uncertainty, conditions)
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

fn figures(report: &Report) -> MatchFigures {
    let accepted = report.begins.is_some();
    let begin = report.begins.zip(report.speed);
    MatchFigures {
        accepted,
        at_copy: begin.map(|([time_s, place_s], found)| Seconds(place_s - found.ratio * time_s)),
        residual: match (report.speed, report.evidence) {
            (Some(found), _) => Some(Seconds(found.residual_s)),
            (None, Some(evidence)) => Some(Seconds(evidence.residual_s)),
            (None, None) => None,
        },
        followed: Seconds(report.speed.map_or(0.0, |found| found.matched_s)),
    }
}

fn followed_cautions(report: &Report, say: &mut impl FnMut(CautionCode, String)) {
    if report.repeats {
        say(
            CautionCode::ReferenceAmbiguous,
            "The music repeats: another place of the copy fits as well, at the same speed.".into(),
        );
    }
    // The last loss is no trouble where the sound, or the copy, was over.
    let found_again = report.losses - u32::from(report.state == State::Lost);
    if found_again > 0 {
        say(
            CautionCode::ReferenceCutOff,
            format!(
                "The place in the copy was lost and found again ({found_again} ×): a fault of the tape, a cut, or another mix; only what could be followed counts."
            ),
        );
    }
}

/// Why there is no speed.
fn refusal(report: &Report) -> (CautionCode, String) {
    let sound_s = report.sound_s;
    match report.state {
        State::Silent => (
            CautionCode::ReferenceNotFound,
            "There is no sound in it; check the cable and the level.".into(),
        ),
        State::Listening | State::Following => (
            CautionCode::RecordTooShort,
            format!(
                "{sound_s:.1} s of sound are too few to be found in the copy; record 10 s or more, a minute for a good ±."
            ),
        ),
        State::Ambiguous => (
            CautionCode::ReferenceAmbiguous,
            "The music repeats: several places of the copy fit as well, at different speeds; record a longer stretch or another one.".into(),
        ),
        State::NotFound | State::Lost => (
            CautionCode::ReferenceNotFound,
            format!(
                "The copy was not found in {sound_s:.0} s of sound; check that it is the same performance and mix, that the speed is within ±10 %, and that the tape can be heard well."
            ),
        ),
    }
}
