//! Everything that is added up over one stretch of signal: a whole recording,
//! or what a key keeps. Constant memory, whatever the length.

use super::blocks::BlockSeries;
use super::channels::ChannelTotals;
use super::course::Course;
use super::fluctuation::Weighing;
use super::flutter::FlutterTotals;
use super::health::{Sides, sides};
use super::measurement::Measurement;
use super::short::Direct;
use super::track::{Mean, Steps};
use super::values::{ChannelUsed, Dropout};
use super::vibrato::VibratoTotals;
use crate::signal::check::Beside;
use crate::signal::line::Sums;
use crate::signal::tracker::{ChannelQuality, MOST_CHANNELS};
use crate::units::{Decibels, Seconds};

/// First length of a block of the speed series.
const BLOCK_S: f64 = 0.01;

/// Means over this time are compared for the span of the drift.
const SPAN_BLOCK_S: f64 = 5.0;

/// Up to this length the mean frequency is the slope of the phase, which is
/// the best there is against noise; beyond it wow and drift rule, and the
/// plain mean with tapered ends is.
const PHASE_FIT_UP_TO_S: f64 = 10.0;
const TAPER_S: f64 = 10.0 / 3.0;

/// A line through the phase.
#[derive(Clone, Debug, Default)]
struct PhaseFit {
    phase: f64,
    sums: Sums,
}

impl PhaseFit {
    fn push(&mut self, step: f64) {
        self.phase += step;
        self.sums.push([self.sums.count, self.phase]);
    }

    /// Mean step.
    fn slope(&self) -> Option<f64> {
        (self.sums.count > 2.0).then(|| self.sums.line().slope)
    }
}

/// See the module. Frequencies in hertz.
#[derive(Clone, Debug)]
pub struct Stretch {
    rate_hz: f64,
    origin_hz: Option<f64>,
    /// Frames of input that the stretch lasted.
    pub frames: u64,
    values: u64,
    fit: PhaseFit,
    pieces: u32,
    series: BlockSeries,
    /// The same since the last disturbance: for drift and span.
    undisturbed: BlockSeries,
    /// The same against time, and its first tick.
    steps: Steps<Mean>,
    first_tick: Option<u64>,
    /// When it went how fast; only of a whole recording.
    pub course: Course,
    /// Wow and flutter.
    pub flutter: FlutterTotals,
    /// Two channels of the tone.
    pub channels: ChannelTotals,
    /// A note's regular wavering.
    pub vibrato: VibratoTotals,
    /// Dropouts, as many as are listed.
    pub dropouts: Vec<Dropout>,
    /// All of them.
    pub dropout_count: u64,
    /// Start and end of the last.
    last_dropout_s: [f64; 2],
    /// Breaks in the input.
    pub gaps: u64,
    /// How often the tone was lost.
    pub losses: u64,
    /// How often the speed was moved.
    pub moves: u64,
    /// Samples at full scale in a row.
    pub clipped: u64,
    checks: u32,
    beside: Beside,
    tone_power: f64,
    used: [u64; 4],
    /// Looks at each channel, added, and how often each was in use.
    looks: [Beside; MOST_CHANNELS],
    looks_used: [u32; MOST_CHANNELS],
    looked: u32,
    disagreements: u64,
    band_hz: Option<f64>,
    direct: Option<Direct>,
}

impl Stretch {
    /// Empty, for a track of `rate_hz` values a second.
    pub fn new(rate_hz: f64) -> Self {
        Self {
            rate_hz,
            origin_hz: None,
            frames: 0,
            values: 0,
            fit: PhaseFit::default(),
            pieces: 0,
            series: BlockSeries::new(BLOCK_S, rate_hz),
            undisturbed: BlockSeries::new(BLOCK_S, rate_hz),
            steps: Steps::new(rate_hz),
            first_tick: None,
            course: Course::new(rate_hz),
            flutter: FlutterTotals::new(rate_hz),
            channels: ChannelTotals::default(),
            vibrato: VibratoTotals::default(),
            dropouts: Vec::new(),
            dropout_count: 0,
            last_dropout_s: [f64::NEG_INFINITY; 2],
            gaps: 0,
            losses: 0,
            moves: 0,
            clipped: 0,
            checks: 0,
            beside: Beside::default(),
            tone_power: 0.0,
            used: [0; 4],
            looks: [Beside::default(); MOST_CHANNELS],
            looks_used: [0; MOST_CHANNELS],
            looked: 0,
            disagreements: 0,
            band_hz: None,
            direct: None,
        }
    }

    /// The same stretch, with a tone that was fitted to all its samples.
    pub fn with(self, direct: Direct) -> Self {
        Self {
            direct: Some(direct),
            ..self
        }
    }

    /// What stood `before` something that does not count, with the length and
    /// the troubles of the input as they are now.
    pub fn replaced_by(&self, before: Self) -> Self {
        Self {
            frames: self.frames,
            clipped: self.clipped,
            gaps: self.gaps,
            ..before
        }
    }

    /// The tone was found: the phase begins anew.
    pub fn found(&mut self) {
        self.pieces += 1;
        self.disturbed();
    }

    /// The speed was moved.
    pub fn moved(&mut self) {
        self.moves += 1;
        self.disturbed();
    }

    /// What was taken for this many moves was wow.
    pub fn were_no_moves(&mut self, moves: u64) {
        self.moves = self.moves.saturating_sub(moves);
    }

    /// What drifts across a loss or a move is not drift.
    fn disturbed(&mut self) {
        self.undisturbed.restart(BLOCK_S);
    }

    /// The whole course shows that what was taken for moves was one drift.
    pub fn left_alone(self) -> Self {
        let undisturbed = if self.losses == 0 {
            self.series.clone()
        } else {
            self.undisturbed
        };
        Self {
            moves: 0,
            undisturbed,
            ..self
        }
    }

    /// A value of the speed track at a tick of the input, with the channels it was
    /// made from.
    pub fn value(
        &mut self,
        (tick, hz): (u64, f64),
        tone_power: f64,
        used: ChannelUsed,
        disagree: bool,
    ) {
        let origin = *self.origin_hz.get_or_insert(hz);
        let off = hz - origin;
        self.first_tick.get_or_insert(tick);
        self.steps.at(tick).add(off);
        self.values += 1;
        self.pieces = self.pieces.max(1);
        self.fit.push(off);
        self.series.push(off);
        self.undisturbed.push(off);
        self.tone_power += tone_power;
        self.used[used as usize] += 1;
        self.disagreements += u64::from(disagree);
    }

    /// A dropout. True when it is a new one; one that runs into the last, as
    /// in two channels at once, is the same.
    pub fn dropout(&mut self, start: Seconds, length: Seconds) -> bool {
        let end_s = start.0 + length.0;
        let last = std::mem::replace(&mut self.last_dropout_s, [start.0, end_s]);
        if start.0 <= last[1] && end_s >= last[0] {
            let [from, to] = [last[0].min(start.0), last[1].max(end_s)];
            self.last_dropout_s = [from, to];
            if let Some(listed) = self.dropouts.last_mut()
                && self.dropout_count <= Measurement::MOST_DROPOUTS as u64
            {
                listed.start = Seconds(from);
                listed.length = Seconds(to - from);
            }
            return false;
        }
        self.dropout_count += 1;
        if self.dropouts.len() < Measurement::MOST_DROPOUTS {
            self.dropouts.push(Dropout { start, length });
        }
        true
    }

    /// The band that reaches the figures now, in hertz from the tone.
    pub fn reached(&mut self, band_hz: Option<f64>) {
        let narrowest = self.band_hz.unwrap_or(f64::INFINITY);
        self.band_hz = band_hz.map(|now| now.min(narrowest)).or(self.band_hz);
    }

    /// The narrowest band of the stretch; `None` before the first look.
    pub fn band_hz(&self) -> Option<f64> {
        self.band_hz
    }

    /// A look at the spectrum of the channels in use, powers added.
    pub fn check(&mut self, beside: &Beside) {
        self.checks += 1;
        self.beside.add(beside, 1.0);
        self.flutter.lines.hear(beside.hum_beside_tone());
    }

    /// The same, channel by channel, where two are listened to.
    pub fn check_sides(
        &mut self,
        beside: &[Beside; MOST_CHANNELS],
        quality: &[ChannelQuality; MOST_CHANNELS],
    ) {
        self.looked += 1;
        for (sum, look) in self.looks.iter_mut().zip(beside) {
            sum.add(look, 1.0);
        }
        for (used, quality) in self.looks_used.iter_mut().zip(quality) {
            *used += u32::from(quality.weight > 0.0);
        }
    }

    /// How left and right stood to one another for most of the time.
    pub fn sides(&self) -> Sides {
        if self.looked == 0 {
            return Sides::Alike;
        }
        sides(
            &self.looks,
            self.looks_used.map(|used| 2 * used > self.looked),
        )
    }

    /// Length of the speed track in seconds.
    pub fn track_s(&self) -> f64 {
        self.values as f64 / self.rate_hz
    }

    /// Length of what the mean frequency was made from, in seconds.
    pub fn measured_s(&self) -> f64 {
        self.direct.map_or(self.track_s(), |direct| direct.length_s)
    }

    /// Mean frequency.
    pub fn mean_hz(&self) -> Option<f64> {
        if let Some(direct) = self.direct {
            return Some(direct.hz);
        }
        let origin = self.origin_hz?;
        let mean = match self.weighing() {
            Weighing::Parabola => self.fit.slope(),
            _ => self.series.tapered_mean(TAPER_S),
        };
        mean.map(|off| origin + off)
    }

    /// Root of the sum of the squares of the weights with which the phases at
    /// the edges of the blocks make the tapered mean, in 1/s; `None` without a
    /// whole block.
    pub fn weight_of_phases(&self) -> Option<f64> {
        let steps = self.series.tapered_steps(TAPER_S)?;
        // Where the tone was found again, neither the phase before nor the one
        // after has a neighbour that takes it away: both count in full, and no
        // weight is more than that of a plain mean of two thirds.
        let most = 1.5 / self.series.blocks().len() as f64;
        let ends = 2.0 * f64::from(self.pieces.saturating_sub(1)) * most * most;
        Some((steps + ends).sqrt() / self.series.block_s())
    }

    /// How the mean frequency weighs the stretch.
    pub fn weighing(&self) -> Weighing {
        let phase_fit = self.pieces == 1 && self.track_s() <= PHASE_FIT_UP_TO_S;
        if phase_fit || self.direct.is_some() {
            Weighing::Parabola
        } else {
            Weighing::Tapered((TAPER_S / self.track_s()).min(1.0 / 3.0))
        }
    }

    /// What the series are counted from; `None` before the first value.
    pub fn origin_hz(&self) -> Option<f64> {
        self.origin_hz
    }

    /// The speed against time, counted from the same.
    pub fn steps(&self) -> &Steps<Mean> {
        &self.steps
    }

    /// The tick of its first value; `None` before that.
    pub fn first_tick(&self) -> Option<u64> {
        self.first_tick
    }

    /// The series of block means.
    pub fn series(&self) -> &BlockSeries {
        &self.series
    }

    /// The block means since the tone was last found or the speed moved.
    pub fn undisturbed(&self) -> &BlockSeries {
        &self.undisturbed
    }

    /// Largest minus smallest 5 s mean in hertz since the last disturbance;
    /// `None` below two of them.
    pub fn span_hz(&self) -> Option<f64> {
        let of_one = (SPAN_BLOCK_S / self.undisturbed.block_s()).round().max(1.0) as usize;
        let means = self.undisturbed.blocks().chunks_exact(of_one);
        let means = means.map(|blocks| blocks.iter().sum::<f64>() / of_one as f64);
        let ends = |(low, high): (f64, f64), mean: f64| (low.min(mean), high.max(mean));
        let (low, high) = means.fold((f64::INFINITY, f64::NEG_INFINITY), ends);
        (self.undisturbed.length_s() >= 2.0 * SPAN_BLOCK_S).then_some(high - low)
    }

    /// Mean square of the tone.
    pub fn tone_power(&self) -> Option<f64> {
        let direct = self.direct.map(|direct| direct.tone_power);
        direct.or((self.values > 0).then(|| self.tone_power / self.values as f64))
    }

    /// Tone against the rest, and hum against the tone, as ratios of powers;
    /// `None` before the first look.
    pub fn beside(&self) -> Option<Beside> {
        let direct = self.direct.map(|direct| direct.beside);
        (self.checks > 0).then_some(self.beside).or(direct)
    }

    /// Tone against all that could spoil its speed: hum does not.
    pub fn to_noise(&self) -> Option<Decibels> {
        let beside = self.beside()?;
        let noise = beside.noise().max(1e-15);
        Some(Decibels::from_power_ratio(beside.tone / noise))
    }

    /// The channels that were used most.
    pub fn channel(&self) -> Option<ChannelUsed> {
        let all = [
            ChannelUsed::Left,
            ChannelUsed::Right,
            ChannelUsed::Both,
            ChannelUsed::Mono,
        ];
        all.into_iter()
            .filter(|&used| self.used[used as usize] > 0)
            .max_by_key(|&used| self.used[used as usize])
    }

    /// True when the channels read different speeds for most of the time.
    pub fn channels_disagree(&self) -> bool {
        2 * self.disagreements > self.values
    }
}
