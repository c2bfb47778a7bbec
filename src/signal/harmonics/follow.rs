//! Follows a note from frame to frame and makes one frequency of all its
//! `partials` in all `channels`, and
//! keeps the `frames` that can be believed.

use super::channels::{Channels, Taken};
use super::comb::Comb;
use super::frames::{Frame, Frames, LATELY_S};
use super::hearing::{Hearing, worth_following};
use super::partials::{FrameReading, Partials, SMOOTH_S};
use super::series::{Fitted, Series};
use crate::signal::fir::History;
use crate::signal::following::{ChannelQuality, MOST_CHANNELS};
use rustfft::num_complex::Complex64;

/// Voices beat from this width on, relative (tuned on one set of sampled
/// instruments, on A4).
const BEATING: f64 = 1e-3;

/// The comb follows when the note is further off than this.
const RETUNE: f64 = 0.004;

/// Channels' differences are averaged this long.
const OFFSET_S: f64 = 2.0;

/// Samples at hand, with their place in the input.
pub struct Past<'a> {
    /// The newest samples of each channel.
    pub recent: &'a [History],
    /// Samples since the input began, up to the newest at hand.
    pub total: u64,
}

impl Past<'_> {
    fn samples(&self, channel: usize, from: u64, length: usize) -> &[f32] {
        let window = self.recent[channel].window();
        let start = window.len() - (self.total - from) as usize;
        &window[start..start + length]
    }
}

/// See the module.
pub struct Follow {
    rate_hz: f64,
    comb: Comb,
    series: Series,
    partials: Partials,
    channels: Channels,
    frames: Frames,
    has_stops: bool,
    /// Power of the other stops in each channel, as last heard.
    stops: [f64; MOST_CHANNELS],
    /// First sample of the next window.
    next: u64,
    before: Vec<Complex64>,
    now: Vec<Complex64>,
    quality: [ChannelQuality; MOST_CHANNELS],
    /// All the note's power for that of the partials that are followed.
    whole: [f64; MOST_CHANNELS],
    /// Sum and count of the powers of the frames that came together: those of
    /// the past at first.
    together: [(f64, f64); MOST_CHANNELS],
    /// Mean of late, relative to the series.
    off: f64,
}

impl Follow {
    /// Begins with the window at sample `from`. `hearings` has one for each
    /// channel; the `lead` has the note.
    pub fn new(rate_hz: f64, from: u64, hearings: &[Hearing], lead: usize) -> Option<Self> {
        let note = hearings[lead].note.as_ref()?;
        let series = note.fitted.series;
        let has_stops = note.stops > 0.0;
        // The stops' partials lie half as far apart.
        let spacing = if has_stops { 0.5 } else { 1.0 };
        let length = Comb::length_for(rate_hz, spacing * series.hz);
        let comb = Comb::new(rate_hz, length, Vec::new());
        let mut follow = Self {
            rate_hz,
            frames: Frames::new(comb.hop() as f64 / rate_hz, 0.0),
            comb,
            series,
            partials: Partials::new(worth_following(note)),
            channels: Channels::new(hearings.len()),
            has_stops,
            stops: [0.0; MOST_CHANNELS],
            next: from,
            before: Vec::new(),
            now: Vec::new(),
            quality: [ChannelQuality::default(); MOST_CHANNELS],
            whole: [1.0; MOST_CHANNELS],
            together: [(0.0, 0.0); MOST_CHANNELS],
            off: 0.0,
        };
        follow.tune(series, None);
        follow.hear(hearings);
        follow.frames = Frames::new(follow.hop_s(), follow.partials.power(lead));
        follow.partials.are_clear(lead).then_some(follow)
    }

    /// Samples of the past that are needed.
    pub fn reach(rate_hz: f64, lowest_hz: f64) -> usize {
        2 * Comb::length_for(rate_hz, 0.5 * lowest_hz)
    }

    /// Length of a window in seconds.
    pub fn window_s(&self) -> f64 {
        self.comb.length() as f64 / self.rate_hz
    }

    fn hop_s(&self) -> f64 {
        self.comb.hop() as f64 / self.rate_hz
    }

    /// The kernels for another place of the series.
    fn tune(&mut self, series: Series, past: Option<&Past>) {
        self.series = series;
        let partials_hz = self.partials.tune(series);
        self.comb = Comb::new(self.rate_hz, self.comb.length(), partials_hz);
        self.off = 0.0;
        if let Some(past) = past
            && !self.before.is_empty()
        {
            self.before.clear();
            let from = self.next - self.comb.hop() as u64;
            for channel in 0..self.channels.count() {
                let samples = past.samples(channel, from, self.comb.length());
                self.comb.frame(samples, &mut self.before);
            }
        }
    }

    /// A look at the spectrum: noise, level, and which channels have the note.
    pub fn hear(&mut self, hearings: &[Hearing]) {
        let agrees = |hearing: &Hearing| {
            let hz = hearing.note.as_ref().map(|note| note.fitted.series.hz);
            hz.is_some_and(|hz| (hz / self.mean_hz() - 1.0).abs() < 0.01)
        };
        let fresh: Vec<bool> = hearings.iter().map(agrees).collect();
        // Where a look shows the note nowhere, it is left as it was.
        if fresh.contains(&true) {
            self.channels.heard(&fresh);
        }
        let bandwidth_hz = self.comb.noise_bandwidth_hz();
        for (channel, hearing) in hearings.iter().enumerate() {
            let followed = self.partials.hear(channel, hearing, bandwidth_hz);
            if let Some(note) = hearing.note.as_ref().filter(|_| followed > 0.0) {
                self.whole[channel] = note.power() / followed;
                if note.stops > 0.0 {
                    self.stops[channel] = note.stops;
                }
            }
        }
    }

    /// Takes the samples up to `to`, samples since the input began.
    pub fn advance(&mut self, past: &Past, to: u64) {
        let length = self.comb.length();
        if self.next + length as u64 <= to {
            self.together = [(0.0, 0.0); MOST_CHANNELS];
        }
        while self.next + length as u64 <= to {
            self.now.clear();
            for channel in 0..self.channels.count() {
                let samples = past.samples(channel, self.next, length);
                self.comb.frame(samples, &mut self.now);
            }
            if !self.before.is_empty() {
                self.frame();
            }
            std::mem::swap(&mut self.before, &mut self.now);
            self.next += self.comb.hop() as u64;
        }
    }

    fn frame(&mut self) {
        let hop_s = self.hop_s();
        let mut read = [FrameReading::default(); MOST_CHANNELS];
        for (channel, read) in read.iter_mut().enumerate().take(self.channels.count()) {
            let frames = [&self.before[..], &self.now[..]];
            *read = self.partials.read(channel, &self.comb, hop_s, frames);
        }
        let power = self.level(&read);
        let weights: f64 = self.channels.used().map(|c| read[c].weight).sum();
        let off = self.channels.used().map(|c| read[c].sum).sum::<f64>() / weights;
        let middle = self.next as f64 + 0.5 * (self.comb.length() as f64 - self.comb.hop() as f64);
        let frame = Frame {
            at: middle,
            hz: self.series.hz * (1.0 + off),
            power,
        };
        if self.frames.believes(&frame, self.strength(&read)) {
            self.learn(&read, off, weights);
            self.frames.good(frame);
        } else {
            self.partials.interrupt();
            self.frames.doubt();
        }
    }

    /// The note's power in the channel that has most of it.
    fn level(&mut self, read: &[FrameReading; MOST_CHANNELS]) -> f64 {
        let mut loudest: f64 = 0.0;
        for (channel, read) in read.iter().enumerate().take(self.channels.count()) {
            let power = self.whole[channel] * read.all;
            loudest = loudest.max(power);
            let (sum, count) = &mut self.together[channel];
            *sum += power;
            *count += 1.0;
            self.quality[channel].tone_power = *sum / *count;
        }
        loudest
    }

    /// Power and noise in the channel that is read and stands clearest.
    fn strength(&self, read: &[FrameReading; MOST_CHANNELS]) -> (f64, f64) {
        let clearness = |power: f64, noise: f64| power / noise.max(1e-30);
        let strength = self.channels.used().map(|c| (read[c].power, read[c].noise));
        strength.fold((0.0, 0.0), |best, one| {
            if clearness(one.0, one.1) > clearness(best.0, best.1) {
                one
            } else {
                best
            }
        })
    }

    /// How the partials lie to one another, the channels to each other, and
    /// the note to the comb.
    fn learn(&mut self, read: &[FrameReading; MOST_CHANNELS], off: f64, weights: f64) {
        let hop_s = self.hop_s();
        let best = self.channels.used();
        let best = best.max_by(|&a, &b| read[a].weight.total_cmp(&read[b].weight));
        let best = &read[best.unwrap_or(0)];
        let part = self.partials.learn(best, off, &self.comb, hop_s, &self.now);
        self.off += (hop_s / LATELY_S).min(1.0) * (off - self.off);
        let slow = (hop_s / OFFSET_S).min(1.0).max(part.min(1.0));
        for (channel, read) in read.iter().enumerate().take(self.channels.count()) {
            let is_used = self.channels.is_used(channel);
            let quality = &mut self.quality[channel];
            if !is_used {
                *quality = ChannelQuality {
                    tone_power: quality.tone_power,
                    ..ChannelQuality::default()
                };
                continue;
            }
            let weight = read.weight / weights;
            quality.weight += (hop_s / SMOOTH_S).min(1.0) * (weight - quality.weight);
            if read.weight > 0.0 {
                let apart = (read.off() - off) * self.series.hz;
                quality.offset_hz += slow * (apart - quality.offset_hz);
            }
        }
        if self.channels.count() == 2 && read.iter().all(|read| read.weight > 0.0) {
            let sure = self.quality.map(|quality| quality.weight);
            self.channels
                .compare(hop_s, read.map(|read| read.off()), sure);
        }
    }

    /// Lays the series through what was learnt, and moves the comb after the
    /// note. To be asked now and then.
    pub fn settle(&mut self, past: &Past) {
        self.partials.fit(self.channels.lead(), self.series.hz);
        if self.width() > BEATING {
            self.frames.beat();
        }
        let stiffness = self
            .fitted()
            .map_or(self.series.stiffness, |fitted| fitted.series.stiffness);
        let bent = (stiffness - self.series.stiffness).abs() > 1e-6;
        if bent || self.off.abs() > RETUNE {
            if bent {
                self.partials.learn_anew();
            }
            let hz = self.mean_hz();
            self.tune(Series { hz, stiffness }, Some(past));
        }
    }

    /// Values that are settled, oldest first.
    pub fn take(&mut self) -> Option<Frame> {
        self.frames.take()
    }

    /// How long nothing could be believed, up to sample `now`, in seconds.
    pub fn away_s(&self, now: u64) -> f64 {
        let last = self.frames.last_good();
        let since = last.map_or(self.next as f64, |last| last.at);
        ((now as f64 - since) / self.rate_hz - self.window_s()).max(0.0)
    }

    /// Frequency of the first partial, over some tenths of a second.
    pub fn mean_hz(&self) -> f64 {
        self.series.hz * (1.0 + self.off)
    }

    /// Standard deviation of the note's voices about its pitch, relative: 0 for
    /// one voice.
    pub fn width(&self) -> f64 {
        self.partials.width(&self.channels)
    }

    /// How far the second channel reads the note above the first, relative.
    pub fn apart(&self) -> f64 {
        self.channels.apart()
    }

    /// The channel that is read where two differ.
    pub fn taken(&self) -> Option<Taken> {
        self.channels.taken()
    }

    /// An organ's stops sound below the note.
    pub fn has_stops(&self) -> bool {
        self.has_stops
    }

    /// Power of those stops in each channel.
    pub fn stops(&self) -> [f64; MOST_CHANNELS] {
        self.stops
    }

    /// Quality of each channel.
    pub fn quality(&self) -> [ChannelQuality; MOST_CHANNELS] {
        self.quality
    }

    /// The series as it was last fitted.
    pub fn fitted(&self) -> Option<Fitted> {
        self.partials.fitted()
    }

    /// Numbers of the partials that are followed.
    pub fn partials(&self) -> impl Iterator<Item = u32> + '_ {
        self.partials.numbers()
    }
}
