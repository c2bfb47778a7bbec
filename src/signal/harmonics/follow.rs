//! Follows the partials of a note from frame to frame and makes one frequency
//! of them.
//!
//! All partials of all channels tell the same relative change of speed; each
//! counts by what noise leaves of it, which is its number squared times its
//! power over the noise beside it (the bound of Rife & Boorstyn for each). How
//! the partials lie to one another is learnt on the way, so that a stiff
//! string is not taken for a sharp one.

use std::collections::VecDeque;

use super::comb::Comb;
use super::explain::Explained;
use super::series::{Fitted, Measured, Series, fit};
use super::voices::Voices;
use crate::signal::demodulator::Complex;
use crate::signal::fir::History;
use crate::signal::following::{ChannelQuality, MOST_CHANNELS};

/// Partials that are followed, at most.
const MOST_FOLLOWED: usize = 8;

/// Low partials waver by fewer hertz: they are enough while they hold this
/// part of the power. Else higher ones are added, group by group.
const LOW_PARTIALS: [u32; 3] = [6, 12, 24];
const ENOUGH: f64 = 0.1;

/// A partial that is followed stands this far above the noise in a look.
const LEAST_ABOVE_NOISE: f64 = 30.0;

/// Frames before and after one that cannot be believed go with it: windows
/// overlap.
const GUARD: usize = 6;

/// A frame is believed while its power is this far above the noise, and at
/// least this part of what it lately was: dropouts lie 12 dB down.
const ABOVE_NOISE: f64 = 10.0;
const LEAST_POWER: f64 = 1.0 / 16.0;

/// Voices beat: their nulls are deeper (tuned as [`STRAYS`] is). From so wide on,
/// relative.
const LEAST_POWER_BEATING: f64 = 0.01;
const BEATING: f64 = 1e-3;

/// A note is begun when one partial is so many times better than that: what
/// fades into the noise is not found again and again.
const CLEAR: f64 = 4.0;

/// Lately.
const LATELY_S: f64 = 0.4;

/// A leap beyond this from frame to frame is no speed.
const LEAST_LEAP: f64 = 0.06;

/// Powers of the partials are smoothed this long.
const SMOOTH_S: f64 = 0.3;

/// How the partials lie is learnt over this long.
const LEARN_S: f64 = 2.0;

/// No partial of a real thing is surer than this, relative.
const PARTIAL_SD: f64 = 1e-5;

/// Of several voices one partial may stray by this part of what they lie apart,
/// while they are learnt (tuned on one set of sampled instruments, on A4).
const STRAYS: f64 = 0.5;

/// Channels that read this note further apart than this, relative, carry other
/// voices or have other faults; so much must be known to choose between them.
const APART: f64 = 2e-4;
const CHOOSE_FROM_S: f64 = 0.4;

/// One is taken for the better when it tells the pitch so much more surely over
/// its noise, as a ratio of variances; else they are alike, and the left is taken.
const CLEARER: f64 = 2.0;

/// That channel may be without the note in so many looks in a row.
const MOST_MISSED: u32 = 5;

/// How far apart they are is averaged this long.
const APART_S: f64 = 10.0;

/// A partial with this part of noise says nothing of voices.
const NOISY: f64 = 0.05;

/// The comb follows when the note is further off than this.
const RETUNE: f64 = 0.004;

/// Channels' differences are averaged this long.
const OFFSET_S: f64 = 2.0;

/// A value of the speed track.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Frame {
    /// Where it belongs, in samples since the input began.
    pub at: f64,
    /// Frequency of the first partial in hertz.
    pub hz: f64,
    /// Mean square of the note in the channel that has most of it.
    pub power: f64,
}

/// A partial in one channel.
#[derive(Clone, Copy, Debug, Default)]
struct Heard {
    /// Mean square, smoothed.
    power: f64,
    /// Mean square of the noise in its window.
    noise: f64,
}

/// The channel that is read where two carry the note, but not alike.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Taken {
    /// Which.
    pub channel: usize,
    /// It stands clearer above its noise; else both do alike.
    pub clearer: bool,
    /// How far the other is above it, relative.
    pub apart: f64,
}

struct Partial {
    n: u32,
    multiple: f64,
    /// Weighted mean of how far it lies from where the series has it.
    stray: f64,
    heard: [Heard; MOST_CHANNELS],
}

/// What a look at the spectrum of one channel says about the note.
#[derive(Clone, Debug)]
pub struct Hearing {
    /// The note in this channel; `None` where there is another thing or none.
    pub note: Option<Explained>,
    /// Noise in a hertz beside partial 1, 2, 3 …
    pub noise_per_hz: Vec<f64>,
}

impl Hearing {
    fn noise_at(&self, n: u32) -> f64 {
        let last = self.noise_per_hz.last().copied().unwrap_or(0.0);
        let at = self.noise_per_hz.get(n as usize - 1);
        at.copied().unwrap_or(last)
    }
}

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
    partials: Vec<Partial>,
    used: [bool; MOST_CHANNELS],
    channels: usize,
    has_stops: bool,
    /// Power of the other stops in each channel, as last heard.
    stops: [f64; MOST_CHANNELS],
    voices: Voices,
    least_power: f64,
    /// How far the second channel is above the first, relative.
    apart: f64,
    apart_s: f64,
    taken: Option<usize>,
    clearer: bool,
    /// Looks in a row that did not show the note in that channel.
    missed: u32,
    /// First sample of the next window.
    next: u64,
    before: Vec<Complex>,
    now: Vec<Complex>,
    waiting: VecDeque<Frame>,
    ready: VecDeque<Frame>,
    doubtful: usize,
    lately: f64,
    last_good: Option<Frame>,
    quality: [ChannelQuality; MOST_CHANNELS],
    /// All the note's power for that of the partials that are followed.
    whole: [f64; MOST_CHANNELS],
    /// Sum and count of the powers of the frames that came together: those of
    /// the past at first.
    together: [(f64, f64); MOST_CHANNELS],
    learnt_s: f64,
    fitted: Option<Fitted>,
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
        let mut follow = Self {
            rate_hz,
            comb: Comb::new(rate_hz, length, Vec::new()),
            series,
            partials: Vec::new(),
            used: [false; MOST_CHANNELS],
            channels: hearings.len(),
            has_stops,
            stops: [0.0; MOST_CHANNELS],
            voices: Voices::default(),
            least_power: LEAST_POWER,
            apart: 0.0,
            apart_s: 0.0,
            taken: None,
            clearer: false,
            missed: 0,
            next: from,
            before: Vec::new(),
            now: Vec::new(),
            waiting: VecDeque::new(),
            ready: VecDeque::new(),
            doubtful: 0,
            lately: 0.0,
            last_good: None,
            quality: [ChannelQuality::default(); MOST_CHANNELS],
            whole: [1.0; MOST_CHANNELS],
            together: [(0.0, 0.0); MOST_CHANNELS],
            learnt_s: 0.0,
            fitted: None,
            off: 0.0,
        };
        follow.partials = chosen(note)
            .into_iter()
            .map(|n| Partial {
                n,
                multiple: Series::multiple(series.stiffness, n),
                stray: 0.0,
                heard: [Heard::default(); MOST_CHANNELS],
            })
            .collect();
        follow.tune(series, None);
        follow.hear(hearings);
        let heard = || follow.partials.iter().map(|partial| partial.heard[lead]);
        follow.lately = heard().map(|heard| heard.power).sum();
        let clear = heard().any(|it| it.power > CLEAR * ABOVE_NOISE * it.noise);
        clear.then_some(follow)
    }

    /// Samples of the past that are needed.
    pub fn reach(rate_hz: f64, lowest_hz: f64) -> usize {
        2 * Comb::length_for(rate_hz, 0.5 * lowest_hz)
    }

    /// Length of a window in seconds.
    pub fn window_s(&self) -> f64 {
        self.comb.length() as f64 / self.rate_hz
    }

    /// The kernels for another place of the series.
    fn tune(&mut self, series: Series, past: Option<&Past>) {
        self.series = series;
        for partial in &mut self.partials {
            partial.multiple = Series::multiple(series.stiffness, partial.n);
        }
        let partials_hz = self.partials.iter().map(|p| p.multiple * series.hz);
        self.comb = Comb::new(self.rate_hz, self.comb.length(), partials_hz.collect());
        self.off = 0.0;
        self.voices.interrupt();
        if let Some(past) = past
            && !self.before.is_empty()
        {
            self.before.clear();
            let from = self.next - self.comb.hop() as u64;
            #[allow(clippy::needless_range_loop)] // several are indexed
            for channel in 0..self.channels {
                let samples = past.samples(channel, from, self.comb.length());
                self.comb.frame(samples, &mut self.before);
            }
        }
    }

    /// A look at the spectrum: noise, level, and which channels have the note.
    pub fn hear(&mut self, hearings: &[Hearing]) {
        let bandwidth = self.comb.noise_bandwidth_hz();
        let agrees = |hearing: &Hearing| {
            let hz = hearing.note.as_ref().map(|note| note.fitted.series.hz);
            hz.is_some_and(|hz| (hz / self.series.hz / (1.0 + self.off) - 1.0).abs() < 0.01)
        };
        let fresh: Vec<bool> = hearings.iter().map(agrees).collect();
        // Where a look shows the note nowhere, it is left as it was.
        if fresh.contains(&true) {
            self.choose(&fresh);
        }
        for (channel, hearing) in hearings.iter().enumerate() {
            let mut followed = 0.0;
            for partial in &mut self.partials {
                let heard = &mut partial.heard[channel];
                heard.noise = bandwidth * hearing.noise_at(partial.n).max(1e-20);
                let line = hearing.note.as_ref().and_then(|note| {
                    let lines = note.partials.iter();
                    lines
                        .filter(|(n, _)| *n == partial.n)
                        .map(|(_, l)| *l)
                        .next()
                });
                let power = line.map_or(0.0, |line| line.power);
                followed += power;
                if heard.power <= 0.0 {
                    heard.power = power;
                }
            }
            if let Some(note) = hearing.note.as_ref().filter(|_| followed > 0.0) {
                self.whole[channel] = note.power() / followed;
                if note.stops > 0.0 {
                    self.stops[channel] = note.stops;
                }
            }
        }
    }

    /// Which channels carry the note.
    pub fn used(&self) -> [bool; MOST_CHANNELS] {
        self.used
    }

    /// Takes the samples up to `to`, samples since the input began.
    pub fn advance(&mut self, past: &Past, to: u64) {
        let length = self.comb.length();
        if self.next + length as u64 <= to {
            self.together = [(0.0, 0.0); MOST_CHANNELS];
        }
        while self.next + length as u64 <= to {
            self.now.clear();
            #[allow(clippy::needless_range_loop)] // several are indexed
            for channel in 0..self.channels {
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

    fn hop_s(&self) -> f64 {
        self.comb.hop() as f64 / self.rate_hz
    }

    fn frame(&mut self) {
        let count = self.partials.len();
        let smooth = (self.hop_s() / SMOOTH_S).min(1.0);
        let mut sums = [(0.0, 0.0); MOST_CHANNELS];
        let mut strength = (0.0, 0.0);
        let mut loudest: f64 = 0.0;
        let mut offs = [[0.0; MOST_FOLLOWED]; MOST_CHANNELS];
        #[allow(clippy::needless_range_loop)] // several are indexed
        for channel in 0..self.channels {
            let (mut power, mut noise, mut all) = (0.0, 0.0, 0.0);
            for (k, partial) in self.partials.iter_mut().enumerate() {
                let place = channel * count + k;
                let here = self.comb.power(self.now[place]);
                let heard = &mut partial.heard[channel];
                heard.power += smooth * (here - heard.power);
                all += here;
                let off = self.comb.off(k, self.before[place], self.now[place]);
                offs[channel][k] = off;
                // A partial that beats has no phase to speak of in its nulls.
                let sure = heard.power.min(4.0 * here);
                if sure > 4.0 * heard.noise {
                    power += here;
                    noise += heard.noise;
                    let weight =
                        partial.multiple.powi(2) * sure / (heard.noise + 1e-7 * heard.power);
                    sums[channel].0 += weight * off;
                    sums[channel].1 += weight;
                }
            }
            let power_now = self.whole[channel] * all;
            loudest = loudest.max(power_now);
            let (sum, count) = &mut self.together[channel];
            *sum += power_now;
            *count += 1.0;
            self.quality[channel].tone_power = *sum / *count;
            if self.used[channel]
                && power / noise.max(1e-30) > strength.0 / f64::max(strength.1, 1e-30)
            {
                strength = (power, noise);
            }
        }
        let used = || (0..self.channels).filter(|&c| self.used[c]);
        let weights: f64 = used().map(|c| sums[c].1).sum();
        let off = used().map(|c| sums[c].0).sum::<f64>() / weights;
        let middle = self.next as f64 + 0.5 * (self.comb.length() as f64 - self.comb.hop() as f64);
        let frame = Frame {
            at: middle,
            hz: self.series.hz * (1.0 + off),
            power: loudest,
        };
        if self.is_good(&frame, strength) {
            self.learn(off, &sums, &offs, weights);
            let hop_s = self.hop_s();
            self.voices.push(&self.comb, hop_s, off, &self.now, count);
            self.compare(&sums);
            self.good(frame);
        } else {
            self.voices.interrupt();
            self.waiting.clear();
            self.doubtful = GUARD;
        }
    }

    fn is_good(&mut self, frame: &Frame, (power, noise): (f64, f64)) -> bool {
        let leaps = self
            .last_good
            .is_some_and(|last| (frame.hz / last.hz - 1.0).abs() > LEAST_LEAP);
        let good = frame.hz.is_finite()
            && power > ABOVE_NOISE * noise
            && power > self.least_power * self.lately
            && !leaps;
        if good {
            let part = if power > self.lately {
                0.2
            } else {
                (self.hop_s() / LATELY_S).min(1.0)
            };
            self.lately += part * (power - self.lately);
        }
        good
    }

    fn good(&mut self, frame: Frame) {
        if self.doubtful > 0 {
            self.doubtful -= 1;
            return;
        }
        self.last_good = Some(frame);
        self.waiting.push_back(frame);
        if self.waiting.len() > GUARD {
            self.ready.extend(self.waiting.pop_front());
        }
    }

    /// How the partials lie to one another, the channels to each other, and
    /// the note to the comb.
    fn learn(
        &mut self,
        off: f64,
        sums: &[(f64, f64); MOST_CHANNELS],
        offs: &[[f64; MOST_FOLLOWED]; MOST_CHANNELS],
        weights: f64,
    ) {
        let hop_s = self.hop_s();
        self.learnt_s += hop_s;
        let part = hop_s / self.learnt_s.min(LEARN_S);
        let lead = (0..self.channels)
            .filter(|&c| self.used[c])
            .max_by(|&a, &b| sums[a].1.total_cmp(&sums[b].1))
            .unwrap_or(0);
        for (k, partial) in self.partials.iter_mut().enumerate() {
            let stray = offs[lead][k] - off;
            partial.stray += part * (stray.clamp(-0.05, 0.05) - partial.stray);
        }
        self.off += (hop_s / LATELY_S).min(1.0) * (off - self.off);
        let slow = (hop_s / OFFSET_S).min(1.0).max(part.min(1.0));
        #[allow(clippy::needless_range_loop)] // several are indexed
        for channel in 0..self.channels {
            let quality = &mut self.quality[channel];
            let mine = if self.used[channel] {
                sums[channel].1
            } else {
                0.0
            };
            quality.weight += (hop_s / SMOOTH_S).min(1.0) * (mine / weights - quality.weight);
            if !self.used[channel] {
                *quality = ChannelQuality {
                    tone_power: quality.tone_power,
                    ..ChannelQuality::default()
                };
            } else if mine > 0.0 {
                let apart = (sums[channel].0 / mine - off) * self.series.hz;
                quality.offset_hz += slow * (apart - quality.offset_hz);
            }
        }
    }

    /// Whether the channels read the same, and which to take if they do not.
    fn compare(&mut self, sums: &[(f64, f64); MOST_CHANNELS]) {
        let hop_s = self.hop_s();
        let both = sums[..self.channels]
            .iter()
            .all(|(_, weight)| *weight > 0.0);
        if self.channels < 2 || !both {
            return;
        }
        let [left, right] = sums.map(|(sum, weight)| sum / weight);
        self.apart_s += hop_s;
        self.apart += hop_s / self.apart_s.min(APART_S) * (right - left - self.apart);
        let differ = self.apart.abs() > APART && self.apart_s > CHOOSE_FROM_S;
        if self.taken.is_none() && differ && self.used == [true; MOST_CHANNELS] {
            let [left, right] = self.quality.map(|quality| quality.weight);
            self.clearer = right > CLEARER * left || left > CLEARER * right;
            self.taken = Some(usize::from(right > CLEARER * left));
            self.choose(&[true; MOST_CHANNELS]);
        }
    }

    /// Which channels are read, of those that had the note in a look. The one
    /// that was taken is left when it has been without for long.
    fn choose(&mut self, fresh: &[bool]) {
        self.missed = match self.taken {
            Some(taken) if !fresh[taken] => self.missed + 1,
            _ => 0,
        };
        if self.missed > MOST_MISSED {
            self.taken = None;
        }
        match self.taken {
            Some(taken) => self.used = std::array::from_fn(|channel| channel == taken),
            None => self.used[..fresh.len()].copy_from_slice(fresh),
        }
    }

    /// How far the second channel reads the note above the first, relative.
    pub fn apart(&self) -> f64 {
        self.apart
    }

    /// The channel that is read where two differ.
    pub fn taken(&self) -> Option<Taken> {
        let channel = self.taken?;
        let apart = if channel == 0 {
            self.apart
        } else {
            -self.apart
        };
        Some(Taken {
            channel,
            clearer: self.clearer,
            apart,
        })
    }

    /// An organ's stops sound below the note.
    pub fn has_stops(&self) -> bool {
        self.has_stops
    }

    /// Power of those stops in each channel.
    pub fn stops(&self) -> [f64; MOST_CHANNELS] {
        self.stops
    }

    fn lead(&self) -> usize {
        (0..self.channels).find(|&c| self.used[c]).unwrap_or(0)
    }

    /// Standard deviation of the voices of a partial about the pitch, relative;
    /// `None` where noise or time leave it unknown.
    fn voices_of(&self, channel: usize, partial: usize) -> Option<f64> {
        let heard = self.partials[partial].heard[channel];
        let noise = heard.noise / heard.power.max(1e-30);
        let place = channel * self.partials.len() + partial;
        self.voices.width(place, noise).filter(|_| noise < NOISY)
    }

    /// The same of all partials, which weigh as in the pitch: 0 for one voice.
    pub fn width(&self) -> f64 {
        let (mut sum, mut weights) = (0.0, 0.0);
        for channel in (0..self.channels).filter(|&c| self.used[c]) {
            for (k, partial) in self.partials.iter().enumerate() {
                if let Some(width) = self.voices_of(channel, k) {
                    let weight = partial.multiple.powi(2) * partial.heard[channel].power;
                    sum += weight * width * width;
                    weights += weight;
                }
            }
        }
        if weights > 0.0 {
            (sum / weights).sqrt()
        } else {
            0.0
        }
    }

    /// Lays the series through what was learnt, and moves the comb after the
    /// note. To be asked now and then.
    pub fn settle(&mut self, past: &Past) {
        let lead = self.lead();
        let learnt_s = self.learnt_s.min(LEARN_S);
        let measured: Vec<Measured> = self
            .partials
            .iter()
            .enumerate()
            .filter_map(|(k, partial)| {
                let heard = partial.heard[lead];
                (heard.power > 10.0 * heard.noise).then(|| {
                    let hz = partial.multiple * self.series.hz;
                    let radians = (heard.noise / heard.power).sqrt();
                    let noise = radians / (std::f64::consts::TAU * hz * learnt_s);
                    let voices = STRAYS * self.voices_of(lead, k).unwrap_or(0.0);
                    let sd = noise.hypot(PARTIAL_SD).hypot(voices);
                    Measured {
                        n: partial.n,
                        hz: hz * (1.0 + partial.stray),
                        weight: sd.powi(-2),
                    }
                })
            })
            .collect();
        self.fitted = fit(&measured).or(self.fitted);
        if self.width() > BEATING {
            self.least_power = LEAST_POWER_BEATING;
        }
        let stiffness = self
            .fitted
            .map_or(self.series.stiffness, |fitted| fitted.series.stiffness);
        let bent = (stiffness - self.series.stiffness).abs() > 1e-6;
        if bent || self.off.abs() > RETUNE {
            if bent {
                // What strayed from the old series need not stray from this.
                self.partials.iter_mut().for_each(|p| p.stray = 0.0);
                self.learnt_s = self.learnt_s.min(0.1);
            }
            let hz = self.series.hz * (1.0 + self.off);
            self.tune(Series { hz, stiffness }, Some(past));
        }
    }

    /// Values that are settled, oldest first.
    pub fn take(&mut self) -> Option<Frame> {
        self.ready.pop_front()
    }

    /// How long nothing could be believed, up to sample `now`, in seconds.
    pub fn away_s(&self, now: u64) -> f64 {
        let since = self.last_good.map_or(self.next as f64, |last| last.at);
        ((now as f64 - since) / self.rate_hz - self.window_s()).max(0.0)
    }

    /// Frequency of the first partial, over some tenths of a second.
    pub fn mean_hz(&self) -> f64 {
        self.series.hz * (1.0 + self.off)
    }

    /// Quality of each channel.
    pub fn quality(&self) -> [ChannelQuality; MOST_CHANNELS] {
        self.quality
    }

    /// The series as it was last fitted.
    pub fn fitted(&self) -> Option<Fitted> {
        self.fitted
    }

    /// Numbers of the partials that are followed.
    pub fn partials(&self) -> impl Iterator<Item = u32> + '_ {
        self.partials.iter().map(|partial| partial.n)
    }
}

/// The partials of a note that are worth following, lowest first.
fn chosen(note: &Explained) -> Vec<u32> {
    let strongest = note
        .partials
        .iter()
        .map(|(_, l)| l.power)
        .fold(0.0, f64::max);
    let clear = |line: &super::lines::Line| {
        line.above_noise > LEAST_ABOVE_NOISE && line.power > 1e-4 * strongest
    };
    let all: f64 = note.partials.iter().map(|(_, line)| line.power).sum();
    let up_to = |most: u32| {
        let of = move |n: &u32| *n <= most;
        let partials = note.partials.iter();
        let some = partials.filter(move |(n, line)| of(n) && clear(line));
        some.map(|&(n, line)| (n, line.power)).collect::<Vec<_>>()
    };
    let mut partials = LOW_PARTIALS
        .into_iter()
        .map(up_to)
        .find(|some| some.iter().map(|(_, power)| power).sum::<f64>() > ENOUGH * all)
        .unwrap_or_else(|| note.partials.iter().map(|&(n, l)| (n, l.power)).collect());
    let counts = |&(n, power): &(u32, f64)| f64::from(n).powi(2) * power;
    partials.sort_by(|a, b| counts(b).total_cmp(&counts(a)));
    partials.truncate(MOST_FOLLOWED);
    let mut numbers: Vec<u32> = partials.into_iter().map(|(n, _)| n).collect();
    numbers.sort_unstable();
    numbers
}
