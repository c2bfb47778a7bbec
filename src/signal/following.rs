//! Follows a tone that was found: demodulates every channel, combines them by
//! quality, bridges what cannot be believed, moves the carrier after the tone.

use rustfft::num_complex::Complex64;

use super::bridge::{Bridge, Raw};
use super::check::Beside;
use super::demodulator::{Demodulator, Filters, Oscillator, Plan};
use super::dropout::DropoutDetector;
use super::evidence::Newest;
use super::finder::Line;
use super::pair::{Pair, Pairing};
use super::peaks::Peaks;

/// What comes out, in order.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Track {
    /// A tone is followed from here on, first at this frequency.
    Found {
        /// Hertz.
        hz: f64,
    },
    /// One value of the speed track, in hertz.
    Value(f64),
    /// A dropout has ended: start and length in seconds of the input.
    Dropout {
        /// Seconds since the input began.
        start_s: f64,
        /// Seconds.
        length_s: f64,
    },
    /// A spectrum was looked at.
    Checked {
        /// What stands beside the tone in each channel.
        beside: [Beside; MOST_CHANNELS],
    },
    /// Two channels of the tone beside each other.
    Pair(Pair),
    /// The tone is gone.
    Lost(Loss),
}

/// How a tone was lost.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Loss {
    /// It could not be heard any more.
    Gone,
    /// It was still there, but outside the wanted ranges.
    LeftRange,
    /// It was doubtful, and the other channel has another.
    Mistaken,
}

/// The carrier follows when the tone is further off than this.
const RETUNE_RELATIVE: f64 = 0.025;

/// Frequencies that scatter by more than this part of the band are no tone.
/// Values a few apart are compared, so that a tone that moves is still one.
const INCOHERENT: f64 = 0.25;
const APART: usize = 4;

/// Time constant of that scatter.
const COHERENCE_S: f64 = 0.05;

/// A channel this much worse than the other is left out (a ratio of powers):
/// it could add 0.4 dB, and where noise makes its phase slip by a turn it would
/// spoil more.
const WORSE: f64 = 0.1;

/// Channels carry different sounds whose tones, over some hundredths of a second,
/// were this far apart within this time: a melody crosses the tone now and
/// then, but does not stay there. The channel that was followed first stays.
const ANOTHER: f64 = 0.01;
const ANOTHER_S: f64 = 0.5;

/// Most channels that are listened to.
pub const MOST_CHANNELS: usize = 2;

/// Quality of one channel while a tone is followed.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct ChannelQuality {
    /// Its part in the combined track, 0 to 1.
    pub weight: f64,
    /// Mean square of the tone, smoothed over 0.1 s.
    pub tone_power: f64,
    /// Mean difference from the combined track in hertz, over about 2 s.
    pub offset_hz: f64,
}

struct Channel {
    peaks: Peaks,
    demodulator: Demodulator,
    dropout: DropoutDetector,
    /// Ticks until the filters have forgotten what cannot be believed.
    doubt: u32,
    quality: ChannelQuality,
}

impl Channel {
    fn new(plan: &Plan, filters: &Filters, hz: f64, power: f64, weight: f64, doubt: u32) -> Self {
        let dropout = DropoutDetector::new(plan.coarse_rate_hz(), hz);
        Self {
            peaks: Peaks::new(plan.rate_hz, hz),
            demodulator: Demodulator::new(plan, filters, dropout.kept_powers()),
            dropout,
            doubt,
            quality: ChannelQuality {
                weight,
                tone_power: power,
                offset_hz: 0.0,
            },
        }
    }
}

/// What follows from the rate of the track; worked out once, for a division is
/// dear where it is done two thousand times a second.
#[derive(Clone, Copy)]
struct Rates {
    hz: f64,
    /// Parts by which a value moves a running mean: of 0.1 s, of the scatter,
    /// of the channels' offsets.
    power: f64,
    fast: f64,
    slow: f64,
}

impl Rates {
    fn new(plan: &Plan) -> Self {
        let hz = plan.output_rate_hz();
        Self {
            hz,
            power: 1.0 / (0.1 * hz),
            fast: 1.0 / (COHERENCE_S * hz),
            slow: 1.0 / (2.0 * hz),
        }
    }
}

/// See the module.
pub(super) struct Following {
    rates: Rates,
    carrier_hz: f64,
    filters: Filters,
    oscillator: Oscillator,
    channels: Vec<Channel>,
    /// The channel that was followed first.
    first: usize,
    /// Mean difference of the second channel from the first in hertz, and
    /// ticks until it is forgotten that they carried different sounds.
    apart_hz: f64,
    another: u32,
    pairing: Pairing,
    bridge: Bridge,
    /// Output of the bridge two values back, for the droop correction.
    late: [Option<f64>; 2],
    mean_hz: f64,
    scatter: f64,
    earlier_hz: [f64; APART],
    ticks: u64,
    started_tick: u64,
    /// Ticks that were demodulated ahead, and those of them that are used up.
    ahead: usize,
    used: usize,
    /// Ticks until filters that have seen a dropout have forgotten it.
    settle: u32,
    /// Ticks from a sample going in to its value coming out.
    late_ticks: u64,
    newest: Option<Newest>,
    settling: u32,
}

impl Following {
    /// Begins at the line that was found; the first tick it will get is the
    /// `started_tick`th of the input.
    pub(super) fn new(plan: &Plan, line: Line, channels: usize, started_tick: u64) -> Self {
        let filters = Filters::new(plan, line.hz);
        let doubt = doubt_ticks(plan, &filters);
        let best = line.quality[0].max(line.quality[1]);
        let mut following = Self {
            rates: Rates::new(plan),
            carrier_hz: line.hz,
            oscillator: Oscillator::new(plan, line.hz),
            channels: line.power[..channels]
                .iter()
                .zip(line.quality)
                .map(|(&power, quality)| {
                    let weight = keep_if_comparable(quality, best);
                    Channel::new(plan, &filters, line.hz, power, weight, doubt)
                })
                .collect(),
            filters,
            first: 0,
            apart_hz: 0.0,
            another: 0,
            pairing: Pairing::new(plan.output_rate_hz()),
            bridge: Bridge::new(plan.output_rate_hz(), line.hz),
            late: [None; 2],
            mean_hz: line.hz,
            scatter: 0.0,
            earlier_hz: [line.hz; APART],
            ticks: 0,
            started_tick,
            ahead: 0,
            used: 0,
            settle: doubt,
            late_ticks: 0,
            newest: None,
            settling: doubt,
        };
        following.late_ticks = following.count_late_ticks(plan);
        following.normalise_weights();
        following.first = following.lead();
        following
    }

    /// Where the tone stands now, over about 50 ms.
    pub(super) fn mean_hz(&self) -> f64 {
        self.mean_hz
    }

    /// The last tick; `None` where it cannot be believed.
    pub(super) fn newest(&self) -> Option<Newest> {
        self.newest
    }

    /// Edge of the band around the carrier that flutter comes through.
    pub(super) fn pass_hz(&self) -> f64 {
        self.filters.band.pass_hz
    }

    /// From a sample going in to its value coming out.
    pub(super) fn delay_s(&self, plan: &Plan) -> f64 {
        // The droop correction waits for one more value than the bridge.
        self.filters.delay_s() + (Bridge::delay() + 1) as f64 / plan.output_rate_hz()
    }

    fn count_late_ticks(&self, plan: &Plan) -> u64 {
        (self.delay_s(plan) * plan.output_rate_hz()) as u64
    }

    /// The same in whole ticks.
    pub(super) fn late_ticks(&self) -> u64 {
        self.late_ticks
    }

    /// True once the filters are full.
    pub(super) fn has_settled(&self) -> bool {
        self.ticks > u64::from(self.settling)
    }

    /// Ticks followed so far.
    pub(super) fn ticks(&self) -> u64 {
        self.ticks
    }

    /// For how long nothing could be believed.
    pub(super) fn open_gap_s(&self) -> f64 {
        self.bridge.open_gap_s()
    }

    /// True when the frequencies scatter as no tone does.
    pub(super) fn is_incoherent(&self) -> bool {
        let most = INCOHERENT * self.pass_hz();
        self.scatter > most * most
    }

    /// Quality of each channel.
    pub(super) fn quality(&self) -> [ChannelQuality; MOST_CHANNELS] {
        let mut quality = [ChannelQuality::default(); MOST_CHANNELS];
        for (slot, channel) in quality.iter_mut().zip(&self.channels) {
            *slot = channel.quality;
        }
        quality
    }

    /// The channel with the greatest weight.
    pub(super) fn lead(&self) -> usize {
        let weights = self.channels.iter().map(|channel| channel.quality.weight);
        let best = weights
            .enumerate()
            .reduce(|a, b| if b.1 > a.1 { b } else { a });
        best.map_or(0, |(index, _)| index)
    }

    /// Weighs the channels by what stands beside the tone in each.
    pub(super) fn weigh(&mut self, beside: &[Beside]) {
        let quality = |beside: &Beside| beside.tone / beside.rest.max(1e-12);
        let mut qualities = [0.0; MOST_CHANNELS];
        for (index, beside) in beside.iter().take(self.channels.len()).enumerate() {
            if index == self.first || self.another == 0 {
                qualities[index] = quality(beside);
            }
        }
        let best = qualities.into_iter().fold(0.0, f64::max);
        for (channel, own) in self.channels.iter_mut().zip(qualities) {
            channel.quality.weight = keep_if_comparable(own, best);
        }
        self.normalise_weights();
        if self.channels[self.first].quality.weight == 0.0 {
            self.first = self.lead();
        }
    }

    fn normalise_weights(&mut self) {
        let sum: f64 = self.channels.iter().map(|c| c.quality.weight).sum();
        for channel in &mut self.channels {
            channel.quality.weight = if sum > 0.0 {
                channel.quality.weight / sum
            } else {
                1.0
            };
        }
    }

    /// Takes the first tick of the input; what follows from it is added to
    /// `out`. What stands behind it in the input is what the next calls will
    /// bring, to be worked on ahead.
    pub(super) fn tick(&mut self, plan: &Plan, input: &[&[f32]], out: &mut Vec<Track>) {
        if self.used == self.ahead {
            self.demodulate(plan, input);
        }
        let tick = self.used;
        self.used += 1;
        let rates = self.rates;
        let mut sum = 0.0;
        let mut weights = 0.0;
        let mut best: Option<(f64, Complex64, usize)> = None;
        let mut steps = [0.0; MOST_CHANNELS];
        for (index, channel) in self.channels.iter_mut().enumerate() {
            let weight = channel.quality.weight;
            let powers = channel.demodulator.powers(tick);
            let lowest = channel.demodulator.lowest_power();
            channel.dropout.tick(powers, lowest, |gap| {
                if weight > 0.0 {
                    let origin_s = self.started_tick as f64 / rates.hz;
                    let coarse_hz = plan.coarse_rate_hz();
                    let start_s = gap.start as f64 / coarse_hz - self.filters.first_delay_s();
                    out.push(Track::Dropout {
                        start_s: origin_s + start_s,
                        length_s: gap.length as f64 / coarse_hz,
                    });
                }
            });
            let envelope = channel.demodulator.envelope(tick);
            let step = channel.demodulator.turns(tick) * rates.hz;
            steps[index] = step;
            if channel.dropout.is_down() {
                channel.doubt = channel.doubt.max(self.settle);
            }
            let quality = &mut channel.quality;
            if channel.doubt > 0 {
                channel.doubt -= 1;
                continue;
            }
            quality.tone_power += rates.power * (0.5 * envelope.norm_sqr() - quality.tone_power);
            sum += quality.weight * step;
            weights += quality.weight;
            if quality.weight > 0.0 && best.is_none_or(|(weight, ..)| quality.weight > weight) {
                best = Some((quality.weight, envelope, index));
            }
        }
        if let [left, right] = &self.channels[..]
            && left.doubt == 0
            && right.doubt == 0
            && self.another == 0
        {
            let envelopes = [left, right].map(|channel| channel.demodulator.envelope(tick));
            let pair = self.pairing.push(envelopes, self.mean_hz);
            out.extend(pair.map(Track::Pair));
        }
        self.ticks += 1;
        let raw = match best {
            Some((_, envelope, channel)) => {
                let mean = sum / weights;
                self.observe(mean, &steps);
                Raw {
                    hz: self.carrier_hz + mean,
                    envelope,
                    channel,
                    good: true,
                }
            }
            None => Raw {
                hz: self.carrier_hz,
                envelope: Complex64::default(),
                channel: 0,
                good: false,
            },
        };
        self.newest = raw.good.then(|| Newest {
            hz: raw.hz,
            power: raw.envelope.norm_sqr(),
            channel: raw.channel,
        });
        let late = &mut self.late;
        self.bridge
            .push(raw, |value| correct_droop(late, value, out));
        self.retune_if_needed(plan);
    }

    fn demodulate(&mut self, plan: &Plan, input: &[&[f32]]) {
        let waiting = input[0].len() / plan.tick();
        self.ahead = waiting.min(self.oscillator.left());
        self.used = 0;
        let turns = self.oscillator.advance(self.ahead);
        for (channel, samples) in self.channels.iter_mut().zip(input) {
            let samples = &samples[..self.ahead * plan.tick()];
            let samples = channel.peaks.restore(samples);
            channel.demodulator.take(&self.filters, samples, turns);
        }
    }

    /// Keeps the running mean, the scatter and the channels' offsets.
    fn observe(&mut self, step: f64, steps: &[f64; MOST_CHANNELS]) {
        let Rates { fast, slow, .. } = self.rates;
        let hz = self.carrier_hz + step;
        self.mean_hz += fast * (hz - self.mean_hz);
        let place = (self.ticks as usize) % APART;
        let change = hz - std::mem::replace(&mut self.earlier_hz[place], hz);
        // The difference of two independent values has twice their variance.
        self.scatter += fast * (0.5 * change * change - self.scatter);
        if let [left, right] = &mut self.channels[..]
            && left.doubt == 0
            && right.doubt == 0
        {
            self.apart_hz += fast * (steps[1] - steps[0] - self.apart_hz);
            self.another = self.another.saturating_sub(1);
            if self.apart_hz.abs() > ANOTHER * self.carrier_hz {
                self.another = (ANOTHER_S * self.rates.hz) as u32;
                let [first, second] = if self.first == 0 {
                    [left, right]
                } else {
                    [right, left]
                };
                first.quality.weight = 1.0;
                second.quality.weight = 0.0;
            }
        }
        let believed = |channel: &&mut Channel| channel.doubt == 0 && channel.quality.weight > 0.0;
        let channels = self.channels.iter_mut().zip(steps);
        for (channel, own) in channels.filter(|(channel, _)| believed(channel)) {
            let quality = &mut channel.quality;
            quality.offset_hz += slow * (own - step - quality.offset_hz);
        }
    }

    /// Moves the carrier to where the tone has gone. The filters start anew
    /// and what they say is doubted until they have forgotten.
    fn retune_if_needed(&mut self, plan: &Plan) {
        if (self.mean_hz - self.carrier_hz).abs() < RETUNE_RELATIVE * self.carrier_hz {
            return;
        }
        self.carrier_hz = self.mean_hz;
        self.filters = Filters::new(plan, self.carrier_hz);
        self.oscillator = Oscillator::new(plan, self.carrier_hz);
        self.bridge.carrier_moved(self.carrier_hz);
        self.scatter = 0.0;
        self.earlier_hz = [self.mean_hz; APART];
        self.settle = doubt_ticks(plan, &self.filters);
        self.late_ticks = self.count_late_ticks(plan);
        for channel in &mut self.channels {
            channel.peaks = Peaks::new(plan.rate_hz, self.carrier_hz);
            channel
                .demodulator
                .begin_anew(plan, &self.filters, self.used);
            channel.doubt = self.settle;
        }
        self.ahead = 0;
        self.used = 0;
    }
}

/// Ticks until filters at rest, or filters that have seen a dropout, tell the
/// truth again: their whole length and a little more.
fn doubt_ticks(plan: &Plan, filters: &Filters) -> u32 {
    (2.0 * filters.delay_s() * plan.output_rate_hz()).ceil() as u32 + 2
}

fn keep_if_comparable(value: f64, best: f64) -> f64 {
    if value < WORSE * best { 0.0 } else { value }
}

/// A first difference of phase is the mean frequency over one step and so
/// droops towards high rates by sinc(f T); (26 d − d₋ − d₊)/24 undoes that to
/// within 0.01 dB at a tenth of the rate (Taylor series of 1/sinc, first
/// term).
fn correct_droop(late: &mut [Option<f64>; 2], value: f64, out: &mut Vec<Track>) {
    let [before, here] = *late;
    *late = [here, Some(value)];
    let Some(here) = here else { return };
    let before = before.unwrap_or(here);
    let hz = (26.0 * here - before - value) * (1.0 / 24.0);
    out.push(Track::Value(hz));
}
