//! A digital copy as what is followed live: from the place in it against time
//! to a track of speed, in the manner of a tone's.

use std::sync::Arc;

use super::MISSING;
use super::copy::Copy;
use super::loudness::Loudness;
use super::matcher::Matcher;
use super::measured::measured;
use super::sifter::Sifter;
use crate::readings::alike::are_different;
use crate::readings::followed::Followed;
use crate::readings::found::{CopyState, PlaceInCopy};
use crate::readings::measurement::Measurement;
use crate::readings::settings::Settings;
use crate::readings::stretch::Stretch;
use crate::readings::without_tone::Heard;
use crate::signal::demodulator::Plan;
use crate::signal::following::{ChannelQuality, MOST_CHANNELS};
use crate::signal::line::Line;
use crate::signal::piece::{Piece, Witness};
use crate::signal::speed_tracker::SpeedTracker;
use crate::signal::tracker::{Loss, Track};
use crate::units::{Hertz, Seconds};

/// What stands for right speed where a track is in hertz.
pub const RIGHT_HZ: Hertz = Hertz(1000.0);

/// The speed at a place is the slope through this many places on either side:
/// half a second of them, so that single places that are heard a little beside
/// do not shake the needle.
const BESIDE: usize = 2;

/// Time without a new place after which nothing is shown: the music rests, or the
/// tape does not run.
const RESTS_S: f64 = 2.0;

/// The level of a channel is that of the last seconds.
const LEVEL_S: f64 = 3.0;

/// Channels are compared over the newest seconds, this at least.
const COMPARED_S: f64 = 10.0;

/// Sound that is listened to before those who watch are told that the copy is
/// not found: a worn tape in a long copy may need several searches.
const PATIENCE_S: f64 = 25.0;

/// Samples in the blocks that sound is handed on in.
const BLOCK: usize = 512;

/// What is kept live is of minutes; a tape that plays round and round must not
/// fill the memory. A choice.
const KEPT_S: f64 = 3600.0;

/// A piece of the tape that was followed, in seconds of the input.
#[derive(Clone, Copy, Debug)]
struct Span {
    from_s: f64,
    until_s: f64,
    now_s: f64,
    first_hz: f64,
    last_hz: f64,
}

/// See the module.
pub struct CopyTracker {
    plan: Plan,
    copy: Arc<Copy>,
    matcher: Matcher,
    mono: Vec<f32>,
    ticks: u64,
    /// Mean square of each channel.
    power: [f64; MOST_CHANNELS],
    loudness: [Loudness; MOST_CHANNELS],
    channels: usize,
    /// Of the stretch that the matcher follows: how many were lost before it,
    /// and which of its places is next to be told.
    losses: u32,
    next: usize,
    sifter: Sifter,
    /// Its places that count, the newest last, as many as a slope needs.
    counted: Vec<[f64; 2]>,
    /// Number of the next value, counted in ticks.
    next_value: u64,
    piece: Option<Span>,
    following: bool,
}

impl CopyTracker {
    /// For one or two channels.
    pub fn new(rate_hz: u32, channels: usize, copy: Arc<Copy>) -> Self {
        Self {
            plan: Plan::new(rate_hz),
            matcher: Matcher::new(Arc::clone(&copy), rate_hz),
            copy,
            mono: Vec::with_capacity(2 * BLOCK),
            ticks: 0,
            power: [0.0; MOST_CHANNELS],
            loudness: Default::default(),
            channels,
            losses: 0,
            next: 0,
            sifter: Sifter::default(),
            counted: Vec::new(),
            next_value: 0,
            piece: None,
            following: false,
        }
    }

    /// Seconds of the input up to which a track was given.
    fn tracked_s(&self) -> f64 {
        self.next_value as f64 / self.plan.output_rate_hz()
    }
}

impl Followed for CopyTracker {
    fn place(&self) -> Option<PlaceInCopy> {
        let now_s = self.matcher.at_copy_s(self.now_s());
        let state = match self.matcher.state() {
            CopyState::NotFound if self.matcher.sound_s() < PATIENCE_S => CopyState::Listening,
            state => state,
        };
        Some(PlaceInCopy {
            state,
            now: now_s.filter(|_| self.following).map(Seconds),
            length: self.copy.length(),
            heard: Seconds(self.matcher.sound_s()),
            repeats: self.matcher.repeats(),
            two_things: self.carries_two_things(),
        })
    }

    /// By the places in the copy, which tell the speed more closely than the
    /// track that was made from them; drift is the track's.
    fn finish(
        &self,
        assembled: Measurement,
        stretch: &Stretch,
        settings: &Settings,
    ) -> Measurement {
        let to_s = self.tracked_s();
        let report = self.matcher.report_over(to_s - stretch.track_s(), to_s);
        let heard = Heard {
            settings,
            has_drift: assembled.drift.is_some(),
            frames: stretch.frames,
            clipped: stretch.clipped,
            channel: assembled.channel,
            level: assembled.signal.level,
            snr: None,
        };
        Measurement {
            drift: assembled.drift,
            along: assembled.along,
            stability: assembled.stability,
            ..measured(&report, heard)
        }
    }
}

impl SpeedTracker for CopyTracker {
    fn is_following(&self) -> bool {
        self.following
    }

    fn witness(&self) -> Option<&dyn Witness> {
        self.piece.as_ref().map(|it| it as &dyn Witness)
    }

    /// Level of each channel; one far below the other has no weight.
    fn quality(&self) -> [ChannelQuality; MOST_CHANNELS] {
        let loudest = self
            .power
            .iter()
            .fold(0.0f64, |most, power| most.max(*power));
        let least = loudest * MISSING.amplitude_ratio().powi(2);
        self.power.map(|power| {
            if self.following && power > least {
                ChannelQuality {
                    weight: 1.0,
                    tone_power: power,
                    ..ChannelQuality::default()
                }
            } else {
                ChannelQuality::default()
            }
        })
    }

    fn gap(&mut self) {
        // Its clock goes on with ours.
        self.matcher.push(&self.mono);
        self.mono.clear();
        self.following = false;
        self.matcher.gap();
    }

    fn tick(&mut self, input: &[&[f32]], out: &mut Vec<Track>) {
        let tick = self.plan.tick();
        let part = 1.0 / self.channels as f32;
        let fresh = 1.0 / (LEVEL_S * self.plan.output_rate_hz());
        let before = self.mono.len();
        self.mono.resize(before + tick, 0.0);
        let rate_hz = (tick as f64 * self.plan.output_rate_hz()).round() as u32;
        for (loudness, samples) in self.loudness.iter_mut().zip(input) {
            loudness.push(&samples[..tick], rate_hz);
            loudness.keep_newest(COMPARED_S);
        }
        for (power, samples) in self.power.iter_mut().zip(input) {
            let mut square = 0.0;
            for (sum, x) in self.mono[before..].iter_mut().zip(&samples[..tick]) {
                *sum += part * x;
                square += x * x;
            }
            *power += fresh * (f64::from(square) / tick as f64 - *power);
        }
        self.ticks += 1;
        if self.mono.len() < BLOCK {
            return;
        }
        self.matcher.push(&self.mono);
        self.mono.clear();
        self.report_places(out);
    }
}

impl CopyTracker {
    fn carries_two_things(&self) -> bool {
        let [left, right] = &self.loudness;
        let (power, least) = (self.power, MISSING.amplitude_ratio().powi(2));
        let both = power[0] > least * power[1] && power[1] > least * power[0];
        self.channels == 2
            && both
            && self.matcher.sound_s() > COMPARED_S
            && are_different(left.db(), right.db())
    }

    fn now_s(&self) -> f64 {
        self.ticks as f64 / self.plan.output_rate_hz()
    }

    /// The places that are new become values.
    fn report_places(&mut self, out: &mut Vec<Track>) {
        let now_s = self.now_s();
        if let Some(piece) = &mut self.piece {
            piece.now_s = now_s;
        }
        if self.losses != self.matcher.losses() {
            self.losses = self.matcher.losses();
            self.next = 0;
            self.sifter = Sifter::default();
            self.counted.clear();
            self.matcher.keep_newest(KEPT_S);
            self.lose(out);
        }
        let mut fresh = Vec::new();
        for place in self
            .matcher
            .followed_s()
            .unwrap_or_default()
            .iter()
            .skip(self.next)
        {
            self.sifter.push(*place, &mut fresh);
            self.next += 1;
        }
        for place in fresh {
            self.count(place, out);
        }
        let rests = |piece: &Span| now_s - piece.until_s > RESTS_S;
        if self.piece.as_ref().is_some_and(rests) {
            self.lose(out);
        }
    }

    /// A place that counts tells the slope in the middle of the newest.
    fn count(&mut self, place: [f64; 2], out: &mut Vec<Track>) {
        self.counted.push(place);
        let most = 2 * BESIDE + 1;
        let extra = self.counted.len().saturating_sub(most);
        self.counted.drain(..extra);
        if let Some(middle) = self.counted.len().checked_sub(BESIDE + 1)
            && let Some(slope) = slope(&self.counted)
        {
            self.value([self.counted[middle][0], slope * RIGHT_HZ.0], out);
        }
    }

    fn lose(&mut self, out: &mut Vec<Track>) {
        if std::mem::take(&mut self.following) {
            out.push(Track::Lost(Loss::Gone));
        }
    }

    /// Values up to a moment, on the straight line from the one before.
    fn value(&mut self, [time_s, hz]: [f64; 2], out: &mut Vec<Track>) {
        let rate = self.plan.output_rate_hz();
        let before = self
            .piece
            .filter(|it| self.following && time_s - it.until_s < RESTS_S);
        let Some(before) = before else {
            self.lose(out);
            self.begin([time_s, hz], out);
            return;
        };
        let step_hz = (hz - before.last_hz) / (time_s - before.until_s);
        while (self.next_value as f64) < time_s * rate {
            let at_s = self.next_value as f64 / rate;
            let hz = before.last_hz + step_hz * (at_s - before.until_s);
            out.push(Track::Value(hz));
            self.next_value += 1;
        }
        self.piece = Some(Span {
            until_s: time_s,
            last_hz: hz,
            ..before
        });
    }

    fn begin(&mut self, [time_s, hz]: [f64; 2], out: &mut Vec<Track>) {
        self.piece = Some(Span {
            from_s: time_s,
            until_s: time_s,
            now_s: self.now_s(),
            first_hz: hz,
            last_hz: hz,
        });
        self.following = true;
        self.next_value = (time_s * self.plan.output_rate_hz()).ceil() as u64;
        out.push(Track::Found { hz });
    }
}

/// Slope through places, where the tape went on between them.
fn slope(places: &[[f64; 2]]) -> Option<f64> {
    let span_s = places.last()?[0] - places.first()?[0];
    (span_s < RESTS_S).then_some(())?;
    Line::fitted(places.iter().copied()).map(|line| line.slope)
}

impl Witness for Span {
    fn piece(&self) -> Piece {
        Piece {
            length_s: self.until_s - self.from_s,
            silent_s: self.now_s - self.until_s,
            present_s: self.until_s - self.from_s,
            first_hz: Some(self.first_hz),
            last_hz: Some(self.last_hz),
            leaps: 0,
        }
    }
}
