//! Is the signal usable? Levels, clipping, noise, hum, dropouts, and what to
//! say about them.

use super::judge::{self, LOUD_HUM, LOW_LEVEL, LOW_SNR, NO_SIGNAL};
use super::values::{ChannelUsed, Dropout, Problem, SignalHealth, ToneState};
use crate::signal::check::Beside;
use crate::signal::level::{Level, LevelMeter};
use crate::signal::tracker::{ChannelQuality, MOST_CHANNELS};
use crate::units::{Decibels, Hertz, Seconds};

/// The level meters show this long.
const METER_S: f64 = 0.3;

/// Clipping and dropouts are named for this long after they happened.
const CLIP_NAMED_S: f64 = 5.0;
const DROPOUTS_NAMED_S: f64 = 10.0;

/// No more dropouts within that time raise no alarm: one now and then is no
/// reason to open a machine. Our own allowance, no source.
pub const DROPOUTS_ALLOWED: usize = 3;

/// More of them within any such time than are allowed; by when each began, in
/// order.
pub fn are_alarming(dropouts: &[Dropout]) -> bool {
    let mut runs = dropouts.windows(DROPOUTS_ALLOWED + 1);
    runs.any(|run| run[DROPOUTS_ALLOWED].start.0 - run[0].start.0 <= DROPOUTS_NAMED_S)
}

/// Channels whose tones lie further apart than this disagree.
const DISAGREE: f64 = 2e-4;

/// Mean square of the tone, averaged over the channels in use.
pub fn tone_power(quality: &[ChannelQuality; MOST_CHANNELS]) -> f64 {
    let used = quality.iter().filter(|quality| quality.weight > 0.0);
    let (sum, count) = used.fold((0.0, 0u32), |(sum, count), quality| {
        (sum + quality.tone_power, count + 1)
    });
    sum / f64::from(count.max(1))
}

/// True when both channels carry a tone, but not the same.
pub fn channels_disagree(quality: &[ChannelQuality; MOST_CHANNELS], hz: f64) -> bool {
    let [left, right] = quality;
    left.weight > 0.0
        && right.weight > 0.0
        && (left.offset_hz - right.offset_hz).abs() > DISAGREE * hz
}

/// A channel is named that stands so far below the other, in decibels; from
/// the second on the tone counts as missing, for heads and cables let as much
/// through from one channel to the other (common practice, no source).
const LEVELS_DIFFER_DB: f64 = 3.0;
const MISSING_DB: f64 = 20.0;

/// A channel carries something else when a line of its own holds this part of
/// it and stands further off than flutter throws the tone.
const OWN_LINE: f64 = 0.4;
const OWN_LINE_OFF: f64 = 0.004;

/// How two channels stand to one another.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Sides {
    /// Nothing to be said.
    Alike,
    /// Both have the tone: how much louder the right one is.
    Level(Decibels),
    /// The other has nothing worth the name.
    Only(ChannelUsed),
    /// The other has something else.
    Other { tone: ChannelUsed, heard: Hertz },
}

/// Compares left and right by what stands in each, and by which are used.
pub fn sides(beside: &[Beside; MOST_CHANNELS], used: [bool; MOST_CHANNELS]) -> Sides {
    let [left, right] = beside;
    let louder = Decibels::from_power_ratio(right.tone.max(1e-15) / left.tone.max(1e-15));
    let (tone, here, there) = match used {
        [true, false] => (ChannelUsed::Left, left, right),
        [false, true] => (ChannelUsed::Right, right, left),
        _ if louder.0.abs() > MISSING_DB && louder.0 < 0.0 => (ChannelUsed::Left, left, right),
        _ if louder.0.abs() > MISSING_DB => (ChannelUsed::Right, right, left),
        _ if louder.0.abs() >= LEVELS_DIFFER_DB => return Sides::Level(louder),
        _ => return Sides::Alike,
    };
    let level = Decibels::from_power_ratio(there.all().max(1e-15) / here.all().max(1e-15));
    let is_another = there.loudest >= OWN_LINE * there.all()
        && (there.loudest_hz / here.loudest_hz - 1.0).abs() > OWN_LINE_OFF;
    if level.0 > -MISSING_DB && is_another {
        let heard = Hertz(there.loudest_hz.round());
        return Sides::Other { tone, heard };
    }
    if louder.0.abs() <= MISSING_DB && !is_another {
        // The same tone, but much noise with it.
        return Sides::Level(louder);
    }
    Sides::Only(tone)
}

/// See the module.
pub struct Health {
    rate_hz: f64,
    tick: usize,
    meters: Vec<LevelMeter>,
    shown: Vec<Level>,
    ticks: u64,
    until_shown: u64,
    clipped: u64,
    last_clip: Option<u64>,
    dropouts: u64,
    recent_dropouts: Vec<u64>,
    gaps: u64,
    beside: Option<Beside>,
    sides: Sides,
    last_band_hz: Option<f64>,
}

impl Health {
    /// For `inputs` channels, ticks of `tick` samples.
    pub fn new(rate_hz: u32, inputs: usize, tick: usize) -> Self {
        Self {
            rate_hz: f64::from(rate_hz),
            tick,
            meters: vec![LevelMeter::default(); inputs],
            shown: vec![Level::default(); inputs],
            ticks: 0,
            until_shown: 1,
            clipped: 0,
            last_clip: None,
            dropouts: 0,
            recent_dropouts: Vec::new(),
            gaps: 0,
            beside: None,
            sides: Sides::Alike,
            last_band_hz: None,
        }
    }

    fn ticks_in(&self, seconds: f64) -> u64 {
        (seconds * self.rate_hz / self.tick as f64) as u64
    }

    /// Takes whole ticks of every channel; `clipped` has a slot for each tick,
    /// to which the samples that clipped are added.
    pub fn take(&mut self, inputs: &[&[f32]], clipped: &mut [u64]) {
        let ticks = clipped.len();
        let mut done = 0;
        while done < ticks {
            let next = ticks.min(done + self.until_shown as usize);
            let part = done * self.tick..next * self.tick;
            for (meter, samples) in self.meters.iter_mut().zip(inputs) {
                meter.push(&samples[part.clone()], self.tick, &mut clipped[done..next]);
            }
            for (tick, &clipped) in (1..).zip(&clipped[done..next]) {
                if clipped > 0 {
                    self.clipped += clipped;
                    self.last_clip = Some(self.ticks + tick);
                }
            }
            self.advance((next - done) as u64);
            done = next;
        }
    }

    fn advance(&mut self, ticks: u64) {
        self.ticks += ticks;
        self.until_shown -= ticks;
        if self.until_shown == 0 {
            self.until_shown = self.ticks_in(METER_S).max(1);
            for (shown, meter) in self.shown.iter_mut().zip(&mut self.meters) {
                *shown = meter.take();
            }
        }
    }

    /// Mean square times seconds of everything heard so far, in each channel.
    pub fn energy(&self) -> impl Iterator<Item = f64> {
        self.meters
            .iter()
            .map(|meter| meter.energy() / self.rate_hz)
    }

    /// Notes a dropout.
    pub fn dropout(&mut self) {
        self.dropouts += 1;
        let oldest = self.ticks.saturating_sub(self.ticks_in(DROPOUTS_NAMED_S));
        self.recent_dropouts.retain(|&at| at >= oldest);
        self.recent_dropouts.push(self.ticks);
    }

    /// Notes a break in the input.
    pub fn gap(&mut self) {
        self.gaps += 1;
        self.lost();
    }

    /// The tone is gone: what stood beside it is not known any more.
    pub fn lost(&mut self) {
        self.beside = None;
    }

    /// Notes a look at the spectrum; returns the mean over channels
    /// in use, by their weights.
    pub fn checked(
        &mut self,
        beside: &[Beside; MOST_CHANNELS],
        quality: &[ChannelQuality; MOST_CHANNELS],
    ) -> Beside {
        let mut sum = Beside::default();
        for (beside, quality) in beside.iter().zip(quality) {
            if quality.weight > 0.0 {
                // As much as it has to say: a bad channel spoils nothing.
                sum.add(beside, quality.weight);
            }
        }
        self.beside = Some(sum);
        self.sides = sides(beside, quality.map(|quality| quality.weight > 0.0));
        sum
    }

    /// Remembers the band that flutter came through.
    pub fn remember_band(&mut self, band_hz: Option<f64>) {
        self.last_band_hz = band_hz.or(self.last_band_hz);
    }

    /// The band that flutter last came through.
    pub fn last_band_hz(&self) -> Option<f64> {
        self.last_band_hz
    }

    fn snr(&self) -> Option<Decibels> {
        self.beside
            .map(|beside| Decibels::from_power_ratio(beside.tone / beside.rest.max(1e-15)))
    }

    /// Everything for the screen.
    pub fn report(
        &self,
        tone: ToneState,
        channel: ChannelUsed,
        quality: &[ChannelQuality; MOST_CHANNELS],
        measured_and_nominal: Option<(Hertz, Hertz)>,
        is_open: bool,
    ) -> SignalHealth {
        let following = tone == ToneState::Locked;
        // A full-scale sine, whose mean square is ½, is 0 dB.
        let level = |mean_square: f64| Decibels::from_power_ratio(2.0 * mean_square);
        let since = |at: u64| Seconds((self.ticks - at) as f64 * self.tick as f64 / self.rate_hz);
        let mut health = SignalHealth {
            channel,
            input_level: self
                .shown
                .iter()
                .map(|shown| level(shown.mean_square))
                .collect(),
            input_peak: self
                .shown
                .iter()
                .map(|shown| Decibels(20.0 * f64::from(shown.peak).log10()))
                .collect(),
            tone_level: following.then(|| level(tone_power(quality))),
            snr: self.snr().filter(|_| following),
            clipped_samples: self.clipped,
            since_clip: self.last_clip.map(since),
            dropouts: self.dropouts,
            gaps: self.gaps,
            problems: Vec::new(),
        };
        health.problems = self.problems(&health, tone, quality, measured_and_nominal);
        if let Some((measured, nominal)) = measured_and_nominal {
            let hints = [
                judge::mains_mismatch(measured, nominal)
                    .map(|likely| judge::wrong(measured, likely)),
                is_open
                    .then(|| judge::ambiguous(measured, nominal))
                    .flatten(),
            ];
            for hint in hints.into_iter().flatten().rev() {
                health.problems.insert(0, hint);
            }
        }
        health
    }

    fn problems(
        &self,
        health: &SignalHealth,
        tone: ToneState,
        quality: &[ChannelQuality; MOST_CHANNELS],
        measured_and_nominal: Option<(Hertz, Hertz)>,
    ) -> Vec<Problem> {
        let mut problems = Vec::new();
        let loudest = health
            .input_level
            .iter()
            .fold(f64::NEG_INFINITY, |loudest, level| loudest.max(level.0));
        match tone {
            ToneState::Wrong(wrong) => problems.push(Problem::WrongTone(wrong)),
            _ if loudest < NO_SIGNAL.0 => problems.push(Problem::NoSignal),
            ToneState::Searching => problems.push(Problem::NoTone),
            ToneState::Lost => problems.push(Problem::ToneLost),
            ToneState::Locked => {}
        }
        if health
            .since_clip
            .is_some_and(|since| since.0 < CLIP_NAMED_S)
        {
            problems.push(Problem::Clipped);
        }
        if tone != ToneState::Locked {
            return problems;
        }
        let measured = measured_and_nominal.map(|(measured, _)| measured.0);
        if measured.is_some_and(|hz| channels_disagree(quality, hz)) {
            problems.push(Problem::ChannelsDisagree);
        }
        let to_noise = self
            .beside
            .map(|beside| Decibels::from_power_ratio(beside.tone / beside.noise().max(1e-15)));
        if let Some(snr) = to_noise.filter(|snr| *snr < LOW_SNR) {
            problems.push(Problem::LowSnr(snr));
        }
        if let Some(hum) = self.loud_hum() {
            problems.push(hum);
        }
        if let Some(level) = health.tone_level.filter(|level| *level < LOW_LEVEL) {
            problems.push(Problem::LowLevel(level));
        }
        let oldest = self.ticks.saturating_sub(self.ticks_in(DROPOUTS_NAMED_S));
        let recent = self
            .recent_dropouts
            .iter()
            .filter(|&&at| at >= oldest)
            .count();
        if recent > 0 {
            problems.push(Problem::Dropouts(recent as u64));
        }
        if matches!(health.channel, ChannelUsed::Left | ChannelUsed::Right) && quality.len() == 2 {
            problems.push(match self.sides {
                Sides::Other { tone, heard } => Problem::OtherSound { tone, heard },
                _ => Problem::OneChannel(health.channel),
            });
        }
        problems
    }

    fn loud_hum(&self) -> Option<Problem> {
        let beside = self.beside?;
        let [fifty, sixty] = beside.hum;
        let (mains, power) = if fifty >= sixty {
            (50.0, fifty)
        } else {
            (60.0, sixty)
        };
        let level = Decibels::from_power_ratio(power / beside.tone);
        (level > LOUD_HUM).then_some(Problem::Hum {
            mains: Hertz(mains),
            level,
        })
    }
}
