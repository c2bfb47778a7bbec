//! Finds the tone, follows it, says when it is lost.
//!
//! While searching, [`Finder`] looks at spectra. A confirmed tone becomes the
//! carrier of a demodulator in each channel, fed from the start of the stretch
//! that confirmed it, so that nothing of a short record is wasted. The
//! channels' frequencies are combined by quality, moments that cannot be
//! believed are bridged, and out come about 2000 frequencies a second.

use super::bridge::{Bridge, Bridged, Raw};
use super::check::{Beside, SpectrumCheck};
use super::demodulator::{Complex, Demodulator, Filters, Oscillator, Plan};
use super::dropout::DropoutDetector;
use super::finder::{Finder, Line};
use super::fir::History;

/// A tone that is bridged for longer than this is lost.
const LOST_S: f64 = 0.15;

/// The carrier follows when the tone is further off than this.
const RETUNE_RELATIVE: f64 = 0.025;

/// A spectrum is looked at this often while a tone is followed.
const CHECK_S: f64 = 1.0;

/// Frequencies that scatter by more than this part of the band are no tone.
/// Values a few apart are compared, so that a tone that moves is still one.
const INCOHERENT: f64 = 0.25;
const APART: usize = 4;

/// Time constant of that scatter.
const COHERENCE_S: f64 = 0.05;

/// A channel this much worse than the other is left out, and one below this
/// on its own is not believed to carry the tone (as ratios of powers).
const WORSE: f64 = 0.01;

/// Most channels that are listened to.
pub const MOST_CHANNELS: usize = 2;

/// What comes out, in order.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Track {
    /// A tone is followed from here on, first at this frequency.
    Found {
        /// Hertz.
        hz: f64,
    },
    /// One value of the speed track.
    Value(Bridged),
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
    /// The tone is gone.
    Lost,
}

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
    demodulator: Demodulator,
    dropout: DropoutDetector,
    before: Complex,
    /// Ticks until the filters have forgotten what cannot be believed.
    doubt: u32,
    quality: ChannelQuality,
}

struct Following {
    carrier_hz: f64,
    filters: Filters,
    oscillator: Oscillator,
    channels: Vec<Channel>,
    bridge: Bridge,
    /// Output of the bridge two values back, for the droop correction.
    late: [Option<Bridged>; 2],
    mean_hz: f64,
    scatter: f64,
    earlier_hz: [f64; APART],
    ticks: u64,
    started_tick: u64,
    until_check: u64,
}

/// See the module.
pub struct Tracker {
    plan: Plan,
    channels: usize,
    ranges_hz: Vec<[f64; 2]>,
    finder: Finder,
    check: SpectrumCheck,
    recent: Vec<History>,
    /// Ticks since the input began, and since the past is whole.
    ticks: u64,
    unbroken_ticks: u64,
    hop_ticks: u64,
    line: Option<Line>,
    following: Option<Following>,
    turns: Vec<Complex>,
    coarse_power: Vec<f32>,
    replay: Vec<Vec<f32>>,
}

impl Tracker {
    /// For one or two channels.
    pub fn new(rate_hz: u32, channels: usize) -> Self {
        let plan = Plan::new(rate_hz);
        let finder = Finder::new(plan.rate_hz);
        let check = SpectrumCheck::new(plan.rate_hz);
        let span = check
            .block()
            .max(finder.block() * 2)
            .next_multiple_of(plan.tick());
        Self {
            hop_ticks: (Finder::hop(plan.rate_hz, plan.tick()) / plan.tick()) as u64,
            turns: vec![Complex::default(); plan.second],
            coarse_power: vec![0.0; plan.second],
            recent: vec![History::new(span); channels],
            replay: vec![Vec::with_capacity(span); channels],
            plan,
            channels,
            ranges_hz: vec![[0.0, f64::INFINITY]],
            finder,
            check,
            ticks: 0,
            unbroken_ticks: 0,
            line: None,
            following: None,
        }
    }

    /// Rates that follow from the sample rate.
    pub fn plan(&self) -> &Plan {
        &self.plan
    }

    /// Only tones within one of these ranges are followed.
    pub fn set_ranges(&mut self, ranges_hz: Vec<[f64; 2]>) {
        self.ranges_hz = ranges_hz;
        let outside = self
            .following
            .as_ref()
            .is_some_and(|following| !self.is_wanted(following.mean_hz));
        if outside {
            self.let_go();
        }
    }

    fn is_wanted(&self, hz: f64) -> bool {
        self.ranges_hz
            .iter()
            .any(|range| (range[0]..=range[1]).contains(&hz))
    }

    /// A steady line that is none of the wanted tones, seen while searching.
    pub fn unwanted(&self) -> Option<Line> {
        self.line
            .filter(|line| self.following.is_none() && line.is_lasting())
            .filter(|line| !self.is_wanted(line.hz))
    }

    /// Drops the tone and begins to search again.
    pub fn let_go(&mut self) {
        self.following = None;
        self.finder.reset();
        self.line = None;
    }

    /// The input broke: nothing before this moment goes with what comes.
    pub fn gap(&mut self) {
        self.let_go();
        self.unbroken_ticks = 0;
    }

    /// True while a tone is followed.
    pub fn is_following(&self) -> bool {
        self.following.is_some()
    }

    /// Quality of each channel; zero while searching.
    pub fn quality(&self) -> [ChannelQuality; MOST_CHANNELS] {
        let mut quality = [ChannelQuality::default(); MOST_CHANNELS];
        if let Some(following) = &self.following {
            for (slot, channel) in quality.iter_mut().zip(&following.channels) {
                *slot = channel.quality;
            }
        }
        quality
    }

    /// Edge of the band around the carrier that flutter comes through, in
    /// hertz; `None` while searching.
    pub fn band_hz(&self) -> Option<f64> {
        self.following
            .as_ref()
            .map(|following| following.filters.band.pass_hz)
    }

    /// From a sample going in to its value coming out, in seconds.
    pub fn delay_s(&self) -> Option<f64> {
        // The droop correction waits for one more value.
        let line = (Bridge::delay() + 1) as f64 / self.plan.output_rate_hz();
        self.following
            .as_ref()
            .map(|following| following.filters.delay_s() + line)
    }

    /// One tick of every channel in; what follows from it is added to `out`.
    pub fn tick(&mut self, input: &[&[f32]], out: &mut Vec<Track>) {
        debug_assert_eq!(input.len(), self.channels);
        for (recent, samples) in self.recent.iter_mut().zip(input) {
            for part in samples.chunks(1024) {
                recent.extend(part);
            }
        }
        self.ticks += 1;
        self.unbroken_ticks += 1;
        if self.following.is_none() {
            self.search(out);
            return;
        }
        self.follow(input, out);
        self.check_spectrum(out);
        let gap_s = self.following.as_ref().map(|f| f.bridge.open_gap_s());
        let away = self
            .following
            .as_ref()
            .is_some_and(|following| !self.is_wanted(following.mean_hz));
        if gap_s.is_some_and(|gap| gap > LOST_S) || self.is_incoherent() || away {
            self.let_go();
            out.push(Track::Lost);
        }
    }

    fn is_incoherent(&self) -> bool {
        self.following.as_ref().is_some_and(|following| {
            following.scatter.sqrt() > INCOHERENT * following.filters.band.pass_hz
        })
    }

    fn search(&mut self, out: &mut Vec<Track>) {
        let block = self.finder.block();
        let known = self.unbroken_ticks as usize * self.plan.tick();
        if known < block || !self.unbroken_ticks.is_multiple_of(self.hop_ticks) {
            return;
        }
        let blocks: Vec<&[f32]> = self
            .recent
            .iter()
            .map(|recent| newest(recent, block))
            .collect();
        self.line = self.finder.look(&blocks);
        if let Some(line) = self.line.filter(Line::is_confirmed)
            && self.is_wanted(line.hz)
        {
            self.begin(line, out);
        }
    }

    /// Starts to follow, from the beginning of the stretch that is known to
    /// hold the tone.
    fn begin(&mut self, line: Line, out: &mut Vec<Track>) {
        let tick = self.plan.tick();
        let ticks = |seconds: f64| (seconds * self.plan.rate_hz) as u64 / tick as u64;
        let mut span = ticks(Finder::confirmed_span_s());
        if self.unbroken_ticks > span + self.hop_ticks {
            // The tone began somewhere in the first block that showed it.
            span -= ticks(Finder::onset_s());
        }
        let span = span.min(self.unbroken_ticks);
        self.following = Some(Following::new(
            &self.plan,
            line,
            self.channels,
            self.ticks - span,
        ));
        out.push(Track::Found { hz: line.hz });
        let mut replay = std::mem::take(&mut self.replay);
        for (copy, recent) in replay.iter_mut().zip(&self.recent) {
            copy.clear();
            copy.extend_from_slice(newest(recent, span as usize * tick));
        }
        for k in 0..span as usize {
            let at = k * tick..(k + 1) * tick;
            let input: Vec<&[f32]> = replay.iter().map(|copy| &copy[at.clone()]).collect();
            self.follow(&input, out);
        }
        self.replay = replay;
    }

    fn follow(&mut self, input: &[&[f32]], out: &mut Vec<Track>) {
        if let Some(following) = &mut self.following {
            following.tick(
                &self.plan,
                input,
                &mut self.turns,
                &mut self.coarse_power,
                out,
            );
        }
    }

    fn check_spectrum(&mut self, out: &mut Vec<Track>) {
        let block = self.check.block();
        let Some(following) = &mut self.following else {
            return;
        };
        following.until_check = following.until_check.saturating_sub(1);
        let known = following.ticks as usize * self.plan.tick();
        if following.until_check > 0 || known < block {
            return;
        }
        following.until_check = (CHECK_S * self.plan.output_rate_hz()) as u64;
        let mut beside = [Beside::default(); MOST_CHANNELS];
        for (slot, recent) in beside.iter_mut().zip(&self.recent) {
            *slot = self.check.look(newest(recent, block), following.mean_hz);
        }
        following.weigh(&beside);
        out.push(Track::Checked { beside });
    }
}

fn newest(recent: &History, count: usize) -> &[f32] {
    let window = recent.window();
    &window[window.len() - count..]
}

impl Following {
    fn new(plan: &Plan, line: Line, channels: usize, started_tick: u64) -> Self {
        let filters = Filters::new(plan, line.hz);
        let doubt = doubt_ticks(plan, &filters);
        let best = line.power[0].max(line.power[1]);
        let mut following = Self {
            carrier_hz: line.hz,
            oscillator: Oscillator::new(plan, line.hz),
            channels: (0..channels)
                .map(|channel| Channel {
                    demodulator: Demodulator::new(&filters),
                    dropout: DropoutDetector::new(plan.coarse_rate_hz(), line.hz),
                    before: Complex::default(),
                    doubt,
                    quality: ChannelQuality {
                        // Until a spectrum tells more, the level speaks.
                        weight: keep_if_comparable(line.power[channel], best),
                        tone_power: line.power[channel],
                        offset_hz: 0.0,
                    },
                })
                .collect(),
            filters,
            bridge: Bridge::new(plan.output_rate_hz(), line.hz),
            late: [None; 2],
            mean_hz: line.hz,
            scatter: 0.0,
            earlier_hz: [line.hz; APART],
            ticks: 0,
            started_tick,
            until_check: 0,
        };
        following.normalise_weights();
        following
    }

    fn weigh(&mut self, beside: &[Beside]) {
        let quality = |beside: &Beside| beside.tone / beside.rest.max(1e-12);
        let best = beside.iter().map(quality).fold(0.0, f64::max);
        for (channel, beside) in self.channels.iter_mut().zip(beside) {
            channel.quality.weight = keep_if_comparable(quality(beside), best);
        }
        self.normalise_weights();
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

    fn tick(
        &mut self,
        plan: &Plan,
        input: &[&[f32]],
        turns: &mut [Complex],
        coarse_power: &mut [f32],
        out: &mut Vec<Track>,
    ) {
        self.oscillator.advance(turns);
        let rate = plan.output_rate_hz();
        let smoothing = 1.0 / (0.1 * rate);
        let settle = doubt_ticks(plan, &self.filters);
        let first_delay_s = self.filters.first_delay_s();
        let mut sum = 0.0;
        let mut weights = 0.0;
        let mut best: Option<(f64, Complex, usize)> = None;
        let mut steps = [0.0; MOST_CHANNELS];
        for (index, (channel, samples)) in self.channels.iter_mut().zip(input).enumerate() {
            let envelope = channel
                .demodulator
                .tick(&self.filters, samples, turns, coarse_power);
            for &power in coarse_power.iter() {
                if let Some(gap) = channel.dropout.push(power)
                    && channel.quality.weight > 0.0
                {
                    let origin_s = self.started_tick as f64 / rate;
                    let coarse_hz = plan.coarse_rate_hz();
                    out.push(Track::Dropout {
                        start_s: origin_s + gap.start as f64 / coarse_hz - first_delay_s,
                        length_s: gap.length as f64 / coarse_hz,
                    });
                }
            }
            let step = envelope.turns_since(channel.before) * rate;
            channel.before = envelope;
            steps[index] = step;
            if channel.dropout.is_down() {
                channel.doubt = channel.doubt.max(settle);
            }
            let quality = &mut channel.quality;
            if channel.doubt > 0 {
                channel.doubt -= 1;
                continue;
            }
            quality.tone_power += smoothing * (envelope.power() / 2.0 - quality.tone_power);
            sum += quality.weight * step;
            weights += quality.weight;
            if quality.weight > 0.0 && best.is_none_or(|(weight, ..)| quality.weight > weight) {
                best = Some((quality.weight, envelope, index));
            }
        }
        self.ticks += 1;
        let raw = match best {
            Some((_, envelope, channel)) => {
                let mean = sum / weights;
                self.observe(rate, mean, &steps);
                Raw {
                    hz: self.carrier_hz + mean,
                    envelope,
                    channel,
                    good: true,
                }
            }
            None => Raw {
                hz: self.carrier_hz,
                envelope: Complex::default(),
                channel: 0,
                good: false,
            },
        };
        let late = &mut self.late;
        self.bridge
            .push(raw, |value| correct_droop(late, value, out));
        self.retune_if_needed(plan);
    }

    /// Keeps the running mean, the scatter and the channels' offsets.
    fn observe(&mut self, rate: f64, step: f64, steps: &[f64; MOST_CHANNELS]) {
        let fast = 1.0 / (COHERENCE_S * rate);
        let hz = self.carrier_hz + step;
        self.mean_hz += fast * (hz - self.mean_hz);
        let place = (self.ticks as usize) % APART;
        let change = hz - std::mem::replace(&mut self.earlier_hz[place], hz);
        // The difference of two independent values has twice their variance.
        self.scatter += fast * (0.5 * change * change - self.scatter);
        let slow = 1.0 / (2.0 * rate);
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
        if (self.mean_hz / self.carrier_hz - 1.0).abs() < RETUNE_RELATIVE {
            return;
        }
        self.carrier_hz = self.mean_hz;
        self.filters = Filters::new(plan, self.carrier_hz);
        self.oscillator = Oscillator::new(plan, self.carrier_hz);
        self.bridge.carrier_moved(self.carrier_hz);
        self.scatter = 0.0;
        self.earlier_hz = [self.mean_hz; APART];
        let doubt = doubt_ticks(plan, &self.filters);
        for channel in &mut self.channels {
            channel.demodulator = Demodulator::new(&self.filters);
            channel.doubt = doubt;
        }
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
fn correct_droop(late: &mut [Option<Bridged>; 2], value: Bridged, out: &mut Vec<Track>) {
    let [before, here] = *late;
    *late = [here, Some(value)];
    let Some(here) = here else { return };
    let before = before.unwrap_or(here);
    out.push(Track::Value(Bridged {
        hz: (26.0 * here.hz - before.hz - value.hz) / 24.0,
        measured: here.measured,
    }));
}
