//! Quadrature demodulation of a tone to a slow complex envelope.
//!
//! Two stages of decimation. The first is a band-pass with complex taps around
//! the carrier, applied to the real input: mixing and filtering in one inner
//! product. Its output is turned to 0 Hz by an oscillator that runs at the
//! lower rate, low-passed and decimated again, to about 2 kHz. The phase of
//! what comes out is the phase of the tone against the carrier.

// See `wide`.
#![allow(clippy::inline_always)]

use std::f64::consts::TAU;

use rustfft::num_complex::Complex64;

use super::fir::kaiser_lowpass;
use super::phased::{Phased, PhasedTaps, TILE};
use super::wide::{self, Work, madd_64};

/// Rates that follow from the sample rate of the input.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Plan {
    /// Input, samples a second.
    pub rate_hz: f64,
    /// First decimation.
    pub first: usize,
    /// Second decimation.
    pub second: usize,
}

impl Plan {
    /// Decimations that end between 2 and 4 kHz, for rates of 8 kHz and more.
    pub fn new(rate_hz: u32) -> Self {
        let rate = f64::from(rate_hz);
        let first = ((rate / 8000.0) as usize).max(1);
        let second = ((rate / first as f64 / 2000.0) as usize).max(1);
        Self {
            rate_hz: rate,
            first,
            second,
        }
    }

    /// Input samples for one output.
    pub fn tick(&self) -> usize {
        self.first * self.second
    }

    /// Rate after the first stage.
    pub fn coarse_rate_hz(&self) -> f64 {
        self.rate_hz / self.first as f64
    }

    /// Rate of the output.
    pub fn output_rate_hz(&self) -> f64 {
        self.rate_hz / self.tick() as f64
    }
}

/// What passes around a carrier.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Band {
    /// Edge of the flat part, in hertz from the carrier.
    pub pass_hz: f64,
    /// From here on nothing passes.
    pub stop_hz: f64,
}

impl Band {
    /// As wide as flutter asks for, but so narrow that neither 0 Hz, nor the
    /// carrier's mirror image, nor its second harmonic comes through.
    pub fn around(carrier_hz: f64, rate_hz: f64) -> Self {
        let room = carrier_hz.min(rate_hz / 2.0 - carrier_hz);
        Self {
            pass_hz: (0.6 * room).min(330.0),
            stop_hz: (0.84 * room).min(1000.0),
        }
    }
}

/// Rejection outside the band.
const ATTENUATION_DB: f64 = 90.0;

/// A unit vector at an angle given in turns.
pub fn turned_by(turns: f64) -> Complex64 {
    Complex64::cis(TAU * turns)
}

/// Turns from one value to a later one, −½ to ½.
#[inline]
pub fn turns_between(earlier: Complex64, later: Complex64) -> f64 {
    let turned = later * earlier.conj();
    // A tone near its carrier turns little from tick to tick.
    let angle = if turned.im.abs() < SMALL_ANGLE * turned.re {
        small_arc_tangent::<false>(turned.im / turned.re)
    } else {
        turned.arg()
    };
    angle * (1.0 / TAU)
}

/// Up to here the series below is good to the last digit.
const SMALL_ANGLE: f64 = 0.2;

/// The series of the arc tangent, t − t³/3 + t⁵/5 … (Abramowitz & Stegun
/// 4.4.42), even and odd terms apart so that they need not wait for another.
#[inline(always)]
fn small_arc_tangent<const FUSED: bool>(t: f64) -> f64 {
    const fn term(k: u32) -> f64 {
        1.0 / (2 * k + 1) as f64
    }
    let square = t * t;
    let fourth = square * square;
    let mut even = term(10);
    let mut odd = term(11);
    for k in [8, 6, 4, 2, 0] {
        even = madd_64::<FUSED>(fourth, even, term(k));
        odd = madd_64::<FUSED>(fourth, odd, term(k + 1));
    }
    t * (even - square * odd)
}

/// Ticks that are worked on at a time, at most.
pub const MOST_TICKS: usize = 64;

/// The oscillator that all channels share: e^(−jωn) at the coarse rate, made
/// in laps of [`MOST_TICKS`].
#[derive(Clone, Debug)]
pub struct Oscillator {
    second: usize,
    /// One lap from phase zero, and its length in turns.
    lap: Vec<Complex64>,
    lap_turns: f64,
    /// Where the next lap begins, in turns.
    turns: f64,
    re: Vec<f32>,
    im: Vec<f32>,
    /// Ticks of this lap that are used up.
    used: usize,
}

impl Oscillator {
    /// At phase zero.
    pub fn new(plan: &Plan, carrier_hz: f64) -> Self {
        let per_coarse = carrier_hz / plan.coarse_rate_hz();
        let length = MOST_TICKS * plan.second;
        let lap = (0..length).map(|k| turned_by(-(per_coarse * k as f64).fract()));
        Self {
            second: plan.second,
            lap: lap.collect(),
            lap_turns: (per_coarse * length as f64).fract(),
            turns: 0.0,
            re: vec![0.0; length],
            im: vec![0.0; length],
            used: MOST_TICKS,
        }
    }

    /// Ticks until the end of the lap: as many can be asked for.
    pub fn left(&self) -> usize {
        match MOST_TICKS - self.used {
            0 => MOST_TICKS,
            left => left,
        }
    }

    /// Real and imaginary parts for the next ticks.
    pub fn advance(&mut self, ticks: usize) -> [&[f32]; 2] {
        if self.used == MOST_TICKS {
            self.begin_lap();
        }
        let from = self.used * self.second;
        self.used += ticks;
        let to = self.used * self.second;
        [&self.re[from..to], &self.im[from..to]]
    }

    fn begin_lap(&mut self) {
        let start = turned_by(-self.turns);
        for ((re, im), &value) in self.re.iter_mut().zip(&mut self.im).zip(&self.lap) {
            let value = value * start;
            *re = value.re as f32;
            *im = value.im as f32;
        }
        self.turns = (self.turns + self.lap_turns).fract();
        self.used = 0;
    }
}

/// The filters for one carrier, shared by all channels.
#[derive(Clone, Debug)]
pub struct Filters {
    cosine: PhasedTaps,
    sine: PhasedTaps,
    second: PhasedTaps,
    first_delay: f64,
    second_delay: f64,
    /// What passes.
    pub band: Band,
}

impl Filters {
    /// Designs them.
    pub fn new(plan: &Plan, carrier_hz: f64) -> Self {
        let band = Band::around(carrier_hz, plan.rate_hz);
        let coarse_hz = plan.coarse_rate_hz();
        let first = if plan.first == 1 {
            vec![1.0]
        } else {
            // What lies further out than this folds back outside the band.
            let stop = coarse_hz - band.stop_hz;
            kaiser_lowpass(band.pass_hz, stop, plan.rate_hz, ATTENUATION_DB)
        };
        let second = kaiser_lowpass(band.pass_hz, band.stop_hz, coarse_hz, ATTENUATION_DB);
        let turned = |quadrature: fn(f64) -> f64| -> Vec<f64> {
            let taps = first.iter().enumerate();
            taps.map(|(age, tap)| {
                tap * quadrature(TAU * (carrier_hz * age as f64 / plan.rate_hz).fract())
            })
            .collect()
        };
        Self {
            cosine: PhasedTaps::new(plan.first, &turned(f64::cos)),
            sine: PhasedTaps::new(plan.first, &turned(f64::sin)),
            second: PhasedTaps::new(plan.second, &second),
            first_delay: (first.len() - 1) as f64 / 2.0 / plan.rate_hz,
            second_delay: (second.len() - 1) as f64 / 2.0 / coarse_hz,
            band,
        }
    }

    /// Delay of the first stage alone, in seconds.
    pub fn first_delay_s(&self) -> f64 {
        self.first_delay
    }

    /// From a sample going in to its full effect on the output, in seconds.
    pub fn delay_s(&self) -> f64 {
        self.first_delay + self.second_delay
    }
}

/// What [`Demodulator::take`] does.
struct Block<'a> {
    demodulator: &'a mut Demodulator,
    filters: &'a Filters,
    samples: &'a [f32],
    oscillator: [&'a [f32]; 2],
}

impl Work for Block<'_> {
    type Output = ();

    #[inline(always)]
    fn run<const FUSED: bool>(self) {
        self.demodulator
            .block::<FUSED>(self.filters, self.samples, self.oscillator);
    }
}

/// One channel.
#[derive(Clone, Debug)]
pub struct Demodulator {
    first: usize,
    second: usize,
    input: Phased,
    re: Phased,
    im: Phased,
    /// The coarse samples of the block, first as filtered, then turned.
    coarse_re: Vec<f32>,
    coarse_im: Vec<f32>,
    /// Powers of the coarse samples, with some from before the block.
    powers: Vec<f32>,
    kept_powers: usize,
    /// Coarse samples in the block.
    rows: usize,
    ticks: usize,
    /// Parts of the envelopes of the block's ticks; first the one before it.
    envelope_re: Vec<f64>,
    envelope_im: Vec<f64>,
    /// Turns from each envelope to the next.
    turns: Vec<f64>,
    lowest_power: f32,
}

impl Demodulator {
    /// At rest; `kept_powers` from before a tick stay at hand.
    pub fn new(plan: &Plan, filters: &Filters, kept_powers: usize) -> Self {
        let most_coarse = MOST_TICKS * plan.second;
        let room = most_coarse.next_multiple_of(TILE);
        Self {
            first: plan.first,
            second: plan.second,
            input: filters.cosine.stream(most_coarse),
            re: filters.second.stream(MOST_TICKS),
            im: filters.second.stream(MOST_TICKS),
            coarse_re: vec![0.0; room],
            coarse_im: vec![0.0; room],
            powers: vec![0.0; kept_powers + most_coarse],
            kept_powers,
            rows: 0,
            ticks: 0,
            envelope_re: vec![0.0; 1 + MOST_TICKS.next_multiple_of(TILE)],
            envelope_im: vec![0.0; 1 + MOST_TICKS.next_multiple_of(TILE)],
            turns: vec![0.0; MOST_TICKS],
            lowest_power: 0.0,
        }
    }

    /// At rest with other filters after `ticks` of the last block; the powers
    /// go on.
    pub fn begin_anew(&mut self, plan: &Plan, filters: &Filters, ticks: usize) {
        let from = ticks * self.second;
        let mut anew = Self::new(plan, filters, self.kept_powers);
        anew.powers[..self.kept_powers]
            .copy_from_slice(&self.powers[from..from + self.kept_powers]);
        *self = anew;
    }

    /// A block of whole ticks in, with the oscillator's values for it; what
    /// comes of it is asked for tick by tick.
    pub fn take(&mut self, filters: &Filters, samples: &[f32], oscillator: [&[f32]; 2]) {
        wide::run(Block {
            demodulator: self,
            filters,
            samples,
            oscillator,
        });
    }

    #[inline(always)]
    fn block<const FUSED: bool>(
        &mut self,
        filters: &Filters,
        samples: &[f32],
        oscillator: [&[f32]; 2],
    ) {
        self.first_stage::<FUSED>(filters, samples);
        self.turn(oscillator);
        self.second_stage::<FUSED>(filters);
        self.find_turns::<FUSED>();
    }

    #[inline(always)]
    fn first_stage<const FUSED: bool>(&mut self, filters: &Filters, samples: &[f32]) {
        self.powers
            .copy_within(self.rows..self.rows + self.kept_powers, 0);
        self.rows = samples.len() / self.first;
        self.input.take(samples);
        for row in (0..self.rows).step_by(TILE) {
            let [re, im] = self
                .input
                .two_filters::<FUSED>(&filters.cosine, &filters.sine, row);
            self.coarse_re[row..row + TILE].copy_from_slice(&re);
            self.coarse_im[row..row + TILE].copy_from_slice(&im);
        }
    }

    #[inline(always)]
    fn turn(&mut self, [cosine, sine]: [&[f32]; 2]) {
        let coarse = self.coarse_re[..self.rows].iter_mut();
        let coarse = coarse.zip(&mut self.coarse_im[..self.rows]);
        let powers = &mut self.powers[self.kept_powers..];
        for (((re, im), power), (c, s)) in coarse.zip(powers).zip(cosine.iter().zip(sine)) {
            let (x, y) = (*re, *im);
            *power = x * x + y * y;
            *re = x * c - y * s;
            *im = x * s + y * c;
        }
        let mut lowest = f32::INFINITY;
        for &power in &self.powers[..self.kept_powers + self.rows] {
            lowest = if power < lowest { power } else { lowest };
        }
        self.lowest_power = lowest;
    }

    #[inline(always)]
    fn second_stage<const FUSED: bool>(&mut self, filters: &Filters) {
        self.re.take(&self.coarse_re[..self.rows]);
        self.im.take(&self.coarse_im[..self.rows]);
        self.envelope_re[0] = self.envelope_re[self.ticks];
        self.envelope_im[0] = self.envelope_im[self.ticks];
        self.ticks = self.rows / self.second;
        // A real tone of amplitude A has A/2 on this side of zero.
        for tick in (0..self.ticks).step_by(TILE) {
            let re = self.re.filter::<FUSED>(&filters.second, tick);
            for (slot, re) in self.envelope_re[1 + tick..].iter_mut().zip(re) {
                *slot = 2.0 * f64::from(re);
            }
            let im = self.im.filter::<FUSED>(&filters.second, tick);
            for (slot, im) in self.envelope_im[1 + tick..].iter_mut().zip(im) {
                *slot = 2.0 * f64::from(im);
            }
        }
    }

    /// As [`turns_between`]; all in one go where all turns are small,
    /// as they are of a tone near its carrier.
    #[inline(always)]
    fn find_turns<const FUSED: bool>(&mut self) {
        let re = &self.envelope_re[..=self.ticks];
        let im = &self.envelope_im[..=self.ticks];
        let turns = &mut self.turns[..self.ticks];
        let mut small = true;
        let pairs = re.windows(2).zip(im.windows(2));
        for (slot, (re, im)) in turns.iter_mut().zip(pairs) {
            let cosine = re[1] * re[0] + im[1] * im[0];
            let sine = im[1] * re[0] - re[1] * im[0];
            small &= sine.abs() < SMALL_ANGLE * cosine;
            *slot = small_arc_tangent::<FUSED>(sine / cosine) * (1.0 / TAU);
        }
        if small {
            return;
        }
        let pairs = re.windows(2).zip(im.windows(2));
        for (slot, (re, im)) in turns.iter_mut().zip(pairs) {
            let cosine = re[1] * re[0] + im[1] * im[0];
            let sine = im[1] * re[0] - re[1] * im[0];
            if sine.abs() >= SMALL_ANGLE * cosine {
                *slot = sine.atan2(cosine) * (1.0 / TAU);
            }
        }
    }

    /// Amplitude of the tone and its phase against the carrier at a tick of
    /// the block.
    #[inline]
    pub fn envelope(&self, tick: usize) -> Complex64 {
        Complex64 {
            re: self.envelope_re[1 + tick],
            im: self.envelope_im[1 + tick],
        }
    }

    /// Turns of the envelope from the tick before to a tick of the block.
    #[inline]
    pub fn turns(&self, tick: usize) -> f64 {
        self.turns[tick]
    }

    /// The lowest power of the block, the kept ones among them.
    #[inline]
    pub fn lowest_power(&self) -> f32 {
        self.lowest_power
    }

    /// Powers of the coarse samples of a tick, which answer faster, the kept
    /// ones first.
    #[inline]
    pub fn powers(&self, tick: usize) -> &[f32] {
        let from = tick * self.second;
        &self.powers[from..from + self.kept_powers + self.second]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Demodulated frequency in Hz of a tone made by a function of time.
    fn demodulate(
        rate_hz: u32,
        carrier_hz: f64,
        seconds: f64,
        phase_turns: impl Fn(f64) -> f64,
    ) -> Vec<f64> {
        let plan = Plan::new(rate_hz);
        let filters = Filters::new(&plan, carrier_hz);
        let mut oscillator = Oscillator::new(&plan, carrier_hz);
        let mut demodulator = Demodulator::new(&plan, &filters, 0);
        let count = (seconds * plan.rate_hz) as usize / plan.tick();
        let mut before = Complex64::default();
        let mut track = Vec::new();
        let mut tick = 0;
        while tick < count {
            let ticks = oscillator.left().min(count - tick);
            let samples: Vec<f32> = (0..ticks * plan.tick())
                .map(|k| (tick * plan.tick() + k) as f64 / plan.rate_hz)
                .map(|t| (0.5 * (TAU * phase_turns(t)).sin()) as f32)
                .collect();
            demodulator.take(&filters, &samples, oscillator.advance(ticks));
            for k in 0..ticks {
                let now = demodulator.envelope(k);
                track.push(carrier_hz + turns_between(before, now) * plan.output_rate_hz());
                before = now;
            }
            tick += ticks;
        }
        let settled = (4.0 * filters.delay_s() * plan.output_rate_hz()) as usize;
        track.split_off(settled)
    }

    #[test]
    fn small_turns_are_as_good_as_large_ones() {
        let start = turned_by(0.3);
        for step in -800..=800 {
            let turns = f64::from(step) / 4000.0;
            let got = turns_between(start, turned_by(0.3 + turns));
            assert!((got - turns).abs() < 2e-16, "{turns}: {got}");
        }
    }

    #[test]
    fn a_steady_tone_comes_out_at_its_frequency_at_every_rate() {
        for rate in [
            8000, 11_025, 16_000, 22_050, 44_100, 48_000, 96_000, 192_000,
        ] {
            for (carrier, tone) in [(3150.0, 3118.5), (1000.0, 1010.0), (315.0, 312.0)] {
                let track = demodulate(rate, carrier, 1.0, |t| tone * t);
                let worst = track.iter().map(|hz| (hz - tone).abs()).fold(0.0, f64::max);
                assert!(worst < 0.03, "{tone} Hz at {rate}: {worst}");
            }
        }
    }

    #[test]
    fn sinusoidal_wow_comes_out_with_its_depth() {
        // Phase of a tone f(t) = f0 + d sin(2πgt): f0 t − d cos(2πgt) / (2πg).
        for wow in [4.0, 50.0, 200.0] {
            let track = demodulate(48_000, 3150.0, 2.0, |t| {
                3150.0 * t - 3.15 * (TAU * wow * t).cos() / (TAU * wow)
            });
            // Whole periods of every rate fit into the last 3000 ticks.
            let last = &track[track.len() - 3000..];
            let square: f64 = last.iter().map(|hz| (hz - 3150.0).powi(2)).sum();
            let peak = (2.0 * square / 3000.0).sqrt();
            // The first difference droops by sinc(g / rate); see the tracker.
            let x = std::f64::consts::PI * wow / 2000.0;
            assert!(
                (peak / (3.15 * x.sin() / x) - 1.0).abs() < 0.003,
                "{wow}: {peak}"
            );
        }
    }

    #[test]
    fn output_rates_lie_between_2_and_4_khz() {
        for rate in 8000..200_000 {
            let hz = Plan::new(rate).output_rate_hz();
            assert!((2000.0..4000.0).contains(&hz), "{rate}: {hz}");
        }
    }

    #[test]
    fn and_so_it_is_without_fused_multiplication() {
        crate::signal::wide::tests::plainly(|| {
            small_turns_are_as_good_as_large_ones();
            a_steady_tone_comes_out_at_its_frequency_at_every_rate();
            sinusoidal_wow_comes_out_with_its_depth();
        });
    }
}
