//! Quadrature demodulation of a tone to a slow complex envelope.
//!
//! Two stages of decimation. The first is a band-pass with complex taps around
//! the carrier, applied to the real input: mixing and filtering in one inner
//! product. Its output is turned to 0 Hz by an oscillator that runs at the
//! lower rate, low-passed and decimated again, to about 2 kHz. The phase of
//! what comes out is the phase of the tone against the carrier.

use std::f64::consts::TAU;

use super::fir::{History, dot, dot_pair, kaiser_lowpass, whole_lanes};

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

/// A complex value.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Complex {
    /// Real part.
    pub re: f64,
    /// Imaginary part.
    pub im: f64,
}

impl Complex {
    /// A unit vector at an angle given in turns.
    pub fn turn(turns: f64) -> Self {
        let (im, re) = (TAU * turns).sin_cos();
        Self { re, im }
    }

    /// Product.
    #[inline]
    pub fn times(self, other: Self) -> Self {
        Self {
            re: self.re * other.re - self.im * other.im,
            im: self.re * other.im + self.im * other.re,
        }
    }

    /// Squared magnitude.
    #[inline]
    pub fn power(self) -> f64 {
        self.re * self.re + self.im * self.im
    }

    /// Turns from `earlier` to here, −½ to ½.
    #[inline]
    pub fn turns_since(self, earlier: Self) -> f64 {
        let re = self.re * earlier.re + self.im * earlier.im;
        let im = self.im * earlier.re - self.re * earlier.im;
        im.atan2(re) / TAU
    }
}

/// The oscillator that all channels share: e^(−jωn) at the coarse rate.
#[derive(Clone, Debug)]
pub struct Oscillator {
    turns: f64,
    turns_per_tick: f64,
    coarse_step: Complex,
    first_step: Complex,
}

impl Oscillator {
    /// At phase zero.
    pub fn new(plan: &Plan, carrier_hz: f64) -> Self {
        let per_sample = carrier_hz / plan.rate_hz;
        let coarse = Complex::turn(-(per_sample * plan.first as f64).fract());
        Self {
            turns: 0.0,
            turns_per_tick: (per_sample * plan.tick() as f64).fract(),
            coarse_step: coarse,
            first_step: coarse,
        }
    }

    /// The values for one tick, one for each coarse sample.
    #[inline]
    pub fn advance(&mut self, values: &mut [Complex]) {
        // One exact sine a tick keeps the recurrence from drifting.
        let mut value = Complex::turn(-self.turns).times(self.first_step);
        for slot in values {
            *slot = value;
            value = value.times(self.coarse_step);
        }
        self.turns = (self.turns + self.turns_per_tick).fract();
    }
}

/// The filters for one carrier, shared by all channels.
#[derive(Clone, Debug)]
pub struct Filters {
    cosine: Vec<f32>,
    sine: Vec<f32>,
    second: Vec<f32>,
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
        let length = whole_lanes(first.len());
        let mut cosine = vec![0.0; length];
        let mut sine = vec![0.0; length];
        for (age, tap) in first.iter().enumerate() {
            // The newest sample stands last in a window; the tap that meets
            // it has age 0.
            let place = length - 1 - age;
            let angle = TAU * (carrier_hz * age as f64 / plan.rate_hz).fract();
            cosine[place] = (tap * angle.cos()) as f32;
            sine[place] = (tap * angle.sin()) as f32;
        }
        let mut padded = vec![0.0; whole_lanes(second.len()) - second.len()];
        padded.extend(second.iter().map(|&tap| tap as f32));
        Self {
            cosine,
            sine,
            second: padded,
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

/// One channel.
#[derive(Clone, Debug)]
pub struct Demodulator {
    input: History,
    re: History,
    im: History,
}

impl Demodulator {
    /// At rest.
    pub fn new(filters: &Filters) -> Self {
        Self {
            input: History::new(filters.cosine.len()),
            re: History::new(filters.second.len()),
            im: History::new(filters.second.len()),
        }
    }

    /// One tick of input in, one complex value out: amplitude of the tone and
    /// its phase against the carrier. `coarse_power` gets the power of each
    /// coarse sample, which answers faster.
    #[inline]
    pub fn tick(
        &mut self,
        filters: &Filters,
        samples: &[f32],
        oscillator: &[Complex],
        coarse_power: &mut [f32],
    ) -> Complex {
        let first = samples.len() / oscillator.len();
        let steps = samples.chunks_exact(first).zip(oscillator);
        for ((chunk, turn), power) in steps.zip(coarse_power) {
            self.input.extend(chunk);
            let (re, im) = dot_pair(&filters.cosine, &filters.sine, self.input.window());
            let value = Complex {
                re: f64::from(re),
                im: f64::from(im),
            }
            .times(*turn);
            *power = re * re + im * im;
            self.re.push(value.re as f32);
            self.im.push(value.im as f32);
        }
        // A real tone of amplitude A has A/2 on this side of zero.
        Complex {
            re: 2.0 * f64::from(dot(&filters.second, self.re.window())),
            im: 2.0 * f64::from(dot(&filters.second, self.im.window())),
        }
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
        let mut demodulator = Demodulator::new(&filters);
        let mut turns = vec![Complex::default(); plan.second];
        let mut power = vec![0.0; plan.second];
        let count = (seconds * plan.rate_hz) as usize / plan.tick();
        let mut before = Complex::default();
        let mut track = Vec::new();
        for tick in 0..count {
            let samples: Vec<f32> = (0..plan.tick())
                .map(|k| (tick * plan.tick() + k) as f64 / plan.rate_hz)
                .map(|t| (0.5 * (TAU * phase_turns(t)).sin()) as f32)
                .collect();
            oscillator.advance(&mut turns);
            let now = demodulator.tick(&filters, &samples, &turns, &mut power);
            track.push(carrier_hz + now.turns_since(before) * plan.output_rate_hz());
            before = now;
        }
        let settled = (4.0 * filters.delay_s() * plan.output_rate_hz()) as usize;
        track.split_off(settled)
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
}
