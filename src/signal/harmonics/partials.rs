//! The partials of a note that are followed: what each tells of the pitch, and
//! how they lie to one another.
//!
//! All tell the same relative change of speed; each counts by what noise leaves
//! of it, which is its number squared times its power over the noise beside it
//! (the bound of Rife & Boorstyn for each). How they lie to one another is
//! learnt on the way, so that a stiff string is not taken for a sharp one.

use super::channels::Channels;
use super::comb::Comb;
use super::frames::is_clear;
use super::hearing::{Hearing, MOST_FOLLOWED};
use super::series::{Fitted, Measured, Series, fit};
use super::voices::Voices;
use crate::signal::following::MOST_CHANNELS;
use rustfft::num_complex::Complex64;

/// Powers of the partials are smoothed this long.
pub const SMOOTH_S: f64 = 0.3;

/// How the partials lie is learnt over this long.
const LEARN_S: f64 = 2.0;

/// No partial of a real thing is surer than this, relative.
const PARTIAL_SD: f64 = 1e-5;

/// Of several voices one partial may stray by this part of what they lie apart,
/// while they are learnt (tuned on one set of sampled instruments, on A4).
const STRAYS: f64 = 0.5;

/// A partial with this part of noise says nothing of voices.
const NOISY: f64 = 0.05;

/// A partial in one channel.
#[derive(Clone, Copy, Debug, Default)]
struct Heard {
    /// Mean square, smoothed.
    power: f64,
    /// Mean square of the noise in its window.
    noise: f64,
}

struct Partial {
    n: u32,
    multiple: f64,
    /// Weighted mean of how far it lies from where the series has it.
    stray: f64,
    heard: [Heard; MOST_CHANNELS],
}

/// What a frame tells in one channel.
#[derive(Clone, Copy, Debug, Default)]
pub struct FrameReading {
    /// How far the note is off the series, weighted and added, and the weights.
    pub sum: f64,
    pub weight: f64,
    /// Power and noise of the partials that told it.
    pub power: f64,
    pub noise: f64,
    /// Power of all partials.
    pub all: f64,
    /// How far each partial is off.
    offs: [f64; MOST_FOLLOWED],
}

impl FrameReading {
    /// How far the note is off the series, relative.
    pub fn off(&self) -> f64 {
        self.sum / self.weight
    }
}

/// See the module.
pub struct Partials {
    each: Vec<Partial>,
    voices: Voices,
    learnt_s: f64,
    fitted: Option<Fitted>,
}

impl Partials {
    /// Those of these numbers.
    pub fn new(numbers: Vec<u32>) -> Self {
        let partial = |n| Partial {
            n,
            multiple: f64::from(n),
            stray: 0.0,
            heard: [Heard::default(); MOST_CHANNELS],
        };
        Self {
            each: numbers.into_iter().map(partial).collect(),
            voices: Voices::default(),
            learnt_s: 0.0,
            fitted: None,
        }
    }

    /// Where they lie in a series, in hertz. Phases before this do not go with
    /// those after it.
    pub fn tune(&mut self, series: Series) -> Vec<f64> {
        self.voices.interrupt();
        let place = |partial: &mut Partial| {
            partial.multiple = Series::multiple(series.stiffness, partial.n);
            partial.multiple * series.hz
        };
        self.each.iter_mut().map(place).collect()
    }

    /// Their numbers.
    pub fn numbers(&self) -> impl Iterator<Item = u32> + '_ {
        self.each.iter().map(|partial| partial.n)
    }

    /// The series as it was last fitted.
    pub fn fitted(&self) -> Option<Fitted> {
        self.fitted
    }

    /// Power of all in a channel.
    pub fn power(&self, channel: usize) -> f64 {
        let heard = self.each.iter().map(|partial| partial.heard[channel]);
        heard.map(|heard| heard.power).sum()
    }

    /// True when one of them stands clearly out of the noise.
    pub fn are_clear(&self, channel: usize) -> bool {
        let mut heard = self.each.iter().map(|partial| partial.heard[channel]);
        heard.any(|heard| is_clear(heard.power, heard.noise))
    }

    /// A look at the spectrum, with the bandwidth of the noise. Returns the power
    /// of those that are followed in that look.
    pub fn hear(&mut self, channel: usize, hearing: &Hearing, bandwidth_hz: f64) -> f64 {
        let mut followed = 0.0;
        for partial in &mut self.each {
            let heard = &mut partial.heard[channel];
            heard.noise = bandwidth_hz * hearing.noise_at(partial.n).max(1e-20);
            let power = hearing.power_of(partial.n);
            followed += power;
            if heard.power <= 0.0 {
                heard.power = power;
            }
        }
        followed
    }

    /// What two frames that followed each other tell in a channel.
    pub fn read(
        &mut self,
        channel: usize,
        comb: &Comb,
        hop_s: f64,
        [before, now]: [&[Complex64]; 2],
    ) -> FrameReading {
        let smooth = (hop_s / SMOOTH_S).min(1.0);
        let count = self.each.len();
        let mut read = FrameReading::default();
        for (k, partial) in self.each.iter_mut().enumerate() {
            let place = channel * count + k;
            let here = comb.power(now[place]);
            let heard = &mut partial.heard[channel];
            heard.power += smooth * (here - heard.power);
            read.all += here;
            let off = comb.off(k, before[place], now[place]);
            read.offs[k] = off;
            // A partial that beats has no phase to speak of in its nulls.
            let sure = heard.power.min(4.0 * here);
            if sure > 4.0 * heard.noise {
                read.power += here;
                read.noise += heard.noise;
                let weight = partial.multiple.powi(2) * sure / (heard.noise + 1e-7 * heard.power);
                read.sum += weight * off;
                read.weight += weight;
            }
        }
        read
    }

    /// From a frame that is believed: how the partials lie to one another, by the
    /// channel that tells it best, and how their voices do. Returns the part by
    /// which the frame counts.
    pub fn learn(
        &mut self,
        read: &FrameReading,
        off: f64,
        comb: &Comb,
        hop_s: f64,
        now: &[Complex64],
    ) -> f64 {
        self.learnt_s += hop_s;
        let part = hop_s / self.learnt_s.min(LEARN_S);
        for (partial, own) in self.each.iter_mut().zip(read.offs) {
            let stray = (own - off).clamp(-0.05, 0.05);
            partial.stray += part * (stray - partial.stray);
        }
        self.voices.push(comb, hop_s, off, now, self.each.len());
        part
    }

    /// A frame was not believed.
    pub fn interrupt(&mut self) {
        self.voices.interrupt();
    }

    /// What strayed from the old series need not stray from a new one.
    pub fn learn_anew(&mut self) {
        self.each.iter_mut().for_each(|p| p.stray = 0.0);
        self.learnt_s = self.learnt_s.min(0.1);
    }

    /// Standard deviation of the voices of a partial about the pitch, relative;
    /// `None` where noise or time leave it unknown.
    fn voices_of(&self, channel: usize, partial: usize) -> Option<f64> {
        let heard = self.each[partial].heard[channel];
        let noise = heard.noise / heard.power.max(1e-30);
        let place = channel * self.each.len() + partial;
        self.voices.width(place, noise).filter(|_| noise < NOISY)
    }

    /// The same of all partials, which weigh as in the pitch: 0 for one voice.
    pub fn width(&self, channels: &Channels) -> f64 {
        let (mut sum, mut weights) = (0.0, 0.0);
        for channel in channels.used() {
            for (k, partial) in self.each.iter().enumerate() {
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

    /// Lays a series through what was learnt in a channel.
    pub fn fit(&mut self, channel: usize, hz: f64) {
        let learnt_s = self.learnt_s.min(LEARN_S);
        let measured = self.each.iter().enumerate().filter_map(|(k, partial)| {
            let heard = partial.heard[channel];
            (heard.power > 10.0 * heard.noise).then(|| {
                let hz = partial.multiple * hz;
                let radians = (heard.noise / heard.power).sqrt();
                let noise = radians / (std::f64::consts::TAU * hz * learnt_s);
                let voices = STRAYS * self.voices_of(channel, k).unwrap_or(0.0);
                let sd = noise.hypot(PARTIAL_SD).hypot(voices);
                Measured {
                    n: partial.n,
                    hz: hz * (1.0 + partial.stray),
                    weight: sd.powi(-2),
                }
            })
        });
        let measured: Vec<Measured> = measured.collect();
        self.fitted = fit(&measured).or(self.fitted);
    }
}
