//! Records of up to two seconds: the samples are kept, and the tone is fitted
//! to them directly, for filters would waste the ends.

use super::values::ChannelUsed;
use crate::signal::check::Beside;
use crate::signal::spectrum::Spectrum;
use crate::signal::tone_fit::{ToneFit, fit};

/// Longer records lose nothing worth having to the filters.
const MOST_S: f64 = 2.0;

/// Shorter ones show nothing.
const LEAST_S: f64 = 0.02;

/// A channel this much worse than the other is left out: ratio of powers, a
/// choice.
const WORSE: f64 = 0.01;

/// A steady tone that fills a short record.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Direct {
    /// Frequency in hertz.
    pub hz: f64,
    /// Length of the record.
    pub length_s: f64,
    /// Mean square of the tone.
    pub tone_power: f64,
    /// The tone and the rest of it.
    pub beside: Beside,
    /// Channels that it was made from: left, right.
    pub used: [bool; 2],
}

/// The samples of a record, as long as it is short.
#[derive(Debug)]
pub struct ShortRecord {
    rate_hz: f64,
    samples: Vec<Vec<f32>>,
    over: bool,
}

impl ShortRecord {
    /// For the channels that are listened to.
    pub fn new(rate_hz: u32, channels: usize) -> Self {
        Self {
            rate_hz: f64::from(rate_hz),
            samples: vec![Vec::new(); channels],
            over: false,
        }
    }

    /// Takes the next samples of each channel.
    pub fn push<'a>(&mut self, channels: impl Iterator<Item = &'a [f32]>) {
        if self.over {
            return;
        }
        for (kept, samples) in self.samples.iter_mut().zip(channels) {
            kept.extend_from_slice(samples);
            self.over |= kept.len() as f64 > MOST_S * self.rate_hz;
        }
        if self.over {
            self.end();
        }
    }

    /// The record is not to be measured this way: it is long, or it broke.
    pub fn end(&mut self) {
        self.over = true;
        self.samples.iter_mut().for_each(|kept| *kept = Vec::new());
    }

    /// The tone that fills the record, within one of the ranges; `None` when
    /// there is none or the record is not short.
    pub fn direct(&self, ranges_hz: &[[f64; 2]]) -> Option<Direct> {
        let count = self.samples.first()?.len();
        if self.over || (count as f64) < LEAST_S * self.rate_hz {
            return None;
        }
        let start_hz = self.strongest(ranges_hz)?;
        let mut fits = [None; 2];
        for (slot, samples) in fits.iter_mut().zip(&self.samples) {
            *slot = fit(samples, self.rate_hz, start_hz);
        }
        combine(fits, count as f64 / self.rate_hz).filter(|direct| {
            let within = |range: &[f64; 2]| (range[0]..=range[1]).contains(&direct.hz);
            ranges_hz.iter().any(within)
        })
    }

    /// The strongest line within the ranges.
    fn strongest(&self, ranges_hz: &[[f64; 2]]) -> Option<f64> {
        let mut spectrum = Spectrum::new(self.samples[0].len(), 2, self.rate_hz);
        let mut power = vec![0.0; spectrum.bins()];
        for samples in &self.samples {
            spectrum.add_power(samples, &mut power);
        }
        ranges_hz
            .iter()
            .filter_map(|range| spectrum.peak(&power, range[0], range[1].min(self.rate_hz / 2.0)))
            .max_by(|a, b| a.power.total_cmp(&b.power))
            .map(|peak| peak.hz)
    }
}

/// Weighs the channels by their tone against their rest.
fn combine(fits: [Option<ToneFit>; 2], length_s: f64) -> Option<Direct> {
    let quality = |fit: &ToneFit| fit.tone_power / fit.rest_power.max(1e-15);
    let best = fits.iter().flatten().map(quality).reduce(f64::max)?;
    let used = fits.map(|fit| fit.is_some_and(|fit| quality(&fit) >= WORSE * best));
    let mut sum = Direct {
        hz: 0.0,
        length_s,
        tone_power: 0.0,
        beside: Beside::default(),
        used,
    };
    let mut weights = 0.0;
    let both = fits.iter().zip(used).filter(|(_, used)| *used);
    for fit in both.filter_map(|(fit, _)| fit.as_ref()) {
        let weight = quality(fit);
        weights += weight;
        sum.hz += weight * fit.hz;
        sum.tone_power += weight * fit.tone_power;
        sum.beside.tone += weight * fit.tone_power;
        sum.beside.rest += weight * fit.rest_power;
    }
    sum.hz /= weights;
    sum.tone_power /= weights;
    Some(sum)
}

impl Direct {
    /// Which channels of an input of one or two that was.
    pub fn channel(&self, otherwise: ChannelUsed) -> ChannelUsed {
        match (otherwise, self.used) {
            (ChannelUsed::Both, [true, false]) => ChannelUsed::Left,
            (ChannelUsed::Both, [false, true]) => ChannelUsed::Right,
            (otherwise, _) => otherwise,
        }
    }
}
