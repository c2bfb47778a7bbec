//! Listening closely: how far the tape is from where it is thought to be in
//! the copy, from the waveforms, in three bands.
//!
//! Each band's level is evened out over some 25 ms before, so that what is
//! sustained counts as much as drums. What is compared is the correlation
//! coefficient under a window, Σ h a b / √(Σ h a² Σ h b²), for every lag.

use std::f64::consts::TAU;
use std::sync::Arc;

use realfft::{ComplexToReal, RealFftPlanner, RealToComplex};
use rustfft::num_complex::{Complex32, Complex64};

use super::RATE;
use crate::signal::statistics::parabola_top;

/// Bands that are compared, each for itself.
pub const BANDS: usize = 3;

/// Their edges in hertz; each falls off over [`SLOPE`] octaves.
const EDGES_HZ: [[f64; 2]; BANDS] = [[110.0, 450.0], [450.0, 1300.0], [1300.0, 3300.0]];
const SLOPE: f64 = 0.3;

/// Half of the stretch over which a level is evened out, in samples: 12.5 ms.
const EVEN: usize = 100;

/// Of the mean power, added to the level that is evened out: rests are not
/// blown up to music.
const REST: f32 = 0.02;

/// How much is heard at once and how far around it is looked.
#[derive(Clone, Copy, Debug)]
pub struct Scale {
    /// Length of the transforms, a power of two; window and reach on both
    /// sides fit in.
    pub length: usize,
    /// Length of the window.
    pub window_s: f64,
    /// Largest lag, in seconds of tape.
    pub reach_s: f64,
}

/// One band of what was heard.
#[derive(Clone, Copy, Debug, Default)]
pub struct InBand {
    /// Lag at which this band alone is likest, in seconds of tape.
    pub lag_s: f64,
    /// Correlation coefficient there.
    pub correlation: f32,
}

/// What was heard in one window.
#[derive(Clone, Copy, Debug, Default)]
pub struct Heard {
    /// Lag at which all bands together are likest, in seconds of tape: how
    /// much later in the copy than thought.
    pub lag_s: f64,
    /// Mean of the coefficients there.
    pub correlation: f32,
    /// Each band for itself.
    pub bands: [InBand; BANDS],
}

/// A window of tape, ready to be compared several times.
pub struct Piece {
    spectra: [Vec<Complex32>; BANDS],
    energy: [f32; BANDS],
}

/// Compares at one scale.
pub struct Ear {
    scale: Scale,
    forward: Arc<dyn RealToComplex<f32>>,
    inverse: Arc<dyn ComplexToReal<f32>>,
    masks: [Vec<f32>; BANDS],
    /// The window, in the middle of the transform.
    window: Vec<f32>,
    /// One turn in as many steps as the window has.
    turns: Vec<Complex64>,
    scratch: Vec<Complex32>,
    bins: Vec<Complex32>,
    work: Vec<Complex32>,
    time: Vec<f32>,
    shape: Vec<f32>,
    energies: Vec<f32>,
    together: Vec<f32>,
    curves: [Vec<f32>; BANDS],
}

impl Ear {
    /// For windows of a scale.
    pub fn new(scale: Scale) -> Self {
        let mut planner = RealFftPlanner::new();
        let forward = planner.plan_fft_forward(scale.length);
        let inverse = planner.plan_fft_inverse(scale.length);
        let half = (scale.window_s * RATE / 2.0) as usize;
        let middle = scale.length / 2;
        let step = TAU / (2 * half) as f64;
        let turns: Vec<Complex64> = (0..2 * half)
            .map(|k| Complex64::cis(step * k as f64))
            .collect();
        let mut window = vec![0.0; scale.length];
        for (slot, turn) in window[middle - half..].iter_mut().zip(&turns) {
            *slot = (0.5 - 0.5 * turn.re) as f32;
        }
        let bins = scale.length / 2 + 1;
        let longest = forward.get_scratch_len().max(inverse.get_scratch_len());
        Self {
            masks: EDGES_HZ.map(|edges| mask(edges, bins)),
            scratch: vec![Complex32::default(); longest],
            bins: vec![Complex32::default(); bins],
            work: vec![Complex32::default(); bins],
            time: vec![0.0; scale.length],
            shape: vec![0.0; scale.length],
            energies: Vec::new(),
            together: Vec::new(),
            curves: std::array::from_fn(|_| Vec::new()),
            window,
            turns,
            scale,
            forward,
            inverse,
        }
    }

    /// Samples that are taken at once, their middle being the place.
    pub fn length(&self) -> usize {
        self.scale.length
    }

    /// A window of tape, made ready.
    pub fn piece(&mut self, tape: &[f32]) -> Piece {
        let mut energy = [0.0; BANDS];
        self.split(tape);
        let spectra = std::array::from_fn(|band| {
            self.one_band(band);
            for (x, h) in self.shape.iter_mut().zip(&self.window) {
                energy[band] += *x * *x * h;
                *x *= h;
            }
            self.time.copy_from_slice(&self.shape);
            self.transform();
            self.work.clone()
        });
        Piece { spectra, energy }
    }

    /// Compares it with the copy played at the tape's speed, whose middle is
    /// where the tape is thought to be. `sign` is −1 where the tape is known
    /// to be upside down.
    pub fn compare(&mut self, piece: &Piece, copy: &[f32], sign: f32) -> Heard {
        self.correlate_with(piece, copy);
        self.heard(sign)
    }

    /// The same, both ways up; the likelier one.
    pub fn compare_both(&mut self, piece: &Piece, copy: &[f32]) -> [Heard; 2] {
        self.correlate_with(piece, copy);
        [self.heard(1.0), self.heard(-1.0)]
    }

    /// Leaves the correlation coefficients of all lags in `curves`.
    fn correlate_with(&mut self, piece: &Piece, copy: &[f32]) {
        self.split(copy);
        for band in 0..BANDS {
            self.one_band(band);
            self.time.copy_from_slice(&self.shape);
            self.transform();
            times_conjugate(&mut self.work, &piece.spectra[band]);
            self.back();
            let lags = self.lags();
            let curve = &mut self.curves[band];
            curve.clear();
            curve.extend(lags.map(|at| self.time[at]));
            self.energy_at_lags();
            let most = self.energies.iter().copied().fold(0.0, f32::max);
            for (value, energy) in self.curves[band].iter_mut().zip(&self.energies) {
                let both = piece.energy[band] * energy.max(0.05 * most);
                *value = if both > 0.0 {
                    *value / both.sqrt()
                } else {
                    0.0
                };
            }
        }
    }

    /// Leaves Σ h(k) x(k + lag)² of `shape` for every lag in `energies`. A Hann
    /// window is a constant less a cosine, and both sums move on by one sample
    /// with one that enters and one that leaves: the sliding transform of
    /// E. Jacobsen and R. Lyons, "The sliding DFT", IEEE Signal Processing
    /// Magazine 20(2), 2003 (from memory).
    fn energy_at_lags(&mut self) {
        let count = self.turns.len();
        let first = self.scale.length / 2 - count / 2 - self.reach();
        let square = |at: usize| f64::from(self.shape[at]).powi(2);
        let step = Complex64::cis(-TAU / count as f64);
        let (mut sum, mut turned) = (0.0, Complex64::default());
        for (at, turn) in (first..).zip(&self.turns) {
            sum += square(at);
            turned += turn * square(at);
        }
        self.energies.clear();
        for at in first..=first + 2 * self.reach() {
            self.energies.push((0.5 * (sum - turned.re)) as f32);
            let change = square(at + count) - square(at);
            sum += change;
            turned = (turned + change) * step;
        }
    }

    fn heard(&mut self, sign: f32) -> Heard {
        let bands = std::array::from_fn(|band| {
            let (lag_s, correlation) = self.peak(&self.curves[band], sign);
            InBand { lag_s, correlation }
        });
        self.together.clear();
        for k in 0..self.curves[0].len() {
            let sum: f32 = self.curves.iter().map(|curve| curve[k]).sum();
            self.together.push(sum / BANDS as f32);
        }
        let (lag_s, correlation) = self.peak(&self.together, sign);
        Heard {
            lag_s,
            correlation,
            bands,
        }
    }

    /// Highest place of a curve, by a parabola through three values.
    fn peak(&self, curve: &[f32], sign: f32) -> (f64, f32) {
        let mut best = 0;
        for (k, value) in curve.iter().enumerate() {
            if sign * value > sign * curve[best] {
                best = k;
            }
        }
        let at = |k: usize| f64::from(sign * curve[k]);
        let off = if best > 0 && best + 1 < curve.len() {
            parabola_top(at(best - 1), at(best), at(best + 1))
        } else {
            0.0
        };
        let lag = best as f64 - self.reach() as f64 + off;
        (lag / RATE, sign * curve[best])
    }

    fn reach(&self) -> usize {
        (self.scale.reach_s * RATE) as usize
    }

    /// Places of the lags in a correlation, the least first.
    fn lags(&self) -> impl Iterator<Item = usize> + Clone + use<> {
        let (reach, length) = (self.reach(), self.scale.length);
        (0..=2 * reach).map(move |k| (k + length - reach) % length)
    }

    /// Transforms samples and keeps the spectrum in `bins`.
    fn split(&mut self, samples: &[f32]) {
        self.time.copy_from_slice(samples);
        self.transform();
        std::mem::swap(&mut self.bins, &mut self.work);
    }

    /// Leaves one band of `bins`, its level evened out, in `shape`.
    fn one_band(&mut self, band: usize) {
        for ((slot, bin), gain) in self.work.iter_mut().zip(&self.bins).zip(&self.masks[band]) {
            *slot = bin * gain;
        }
        self.back();
        even_out(&self.time, &mut self.shape);
    }

    fn transform(&mut self) {
        let scratch = &mut self.scratch[..self.forward.get_scratch_len()];
        let done = self
            .forward
            .process_with_scratch(&mut self.time, &mut self.work, scratch);
        debug_assert!(done.is_ok(), "all lengths come from the plan itself");
    }

    fn back(&mut self) {
        let last = self.work.len() - 1;
        self.work[0].im = 0.0;
        self.work[last].im = 0.0;
        let scratch = &mut self.scratch[..self.inverse.get_scratch_len()];
        let done = self
            .inverse
            .process_with_scratch(&mut self.work, &mut self.time, scratch);
        debug_assert!(done.is_ok(), "all lengths come from the plan itself");
        let scale = 1.0 / self.scale.length as f32;
        self.time.iter_mut().for_each(|x| *x *= scale);
    }
}

fn times_conjugate(work: &mut [Complex32], with: &[Complex32]) {
    for (slot, with) in work.iter_mut().zip(with) {
        *slot *= with.conj();
    }
}

/// Gain of each bin: 1 in the band, falling as a raised cosine of pitch.
fn mask(edges_hz: [f64; 2], bins: usize) -> Vec<f32> {
    (0..bins)
        .map(|bin| {
            let hz = bin as f64 * RATE / 2.0 / (bins - 1) as f64;
            let inside = (hz / edges_hz[0])
                .log2()
                .min((edges_hz[1] / hz.max(1e-9)).log2());
            let place = (inside / SLOPE + 0.5).clamp(0.0, 1.0);
            (0.5 - 0.5 * (std::f64::consts::PI * place).cos()) as f32
        })
        .collect()
}

/// Divides by the level around.
fn even_out(samples: &[f32], evened: &mut [f32]) {
    let count = samples.len();
    let square = |x: f32| f64::from(x * x);
    let mean = samples.iter().map(|x| square(*x)).sum::<f64>() / count as f64;
    let rest = f64::from(REST) * mean + 1e-18;
    let width = (2 * EVEN + 1) as f64;
    let mut sum: f64 = samples[..EVEN].iter().map(|x| square(*x)).sum();
    for (at, slot) in evened.iter_mut().enumerate() {
        let enters = samples.get(at + EVEN).map_or(0.0, |x| square(*x));
        let leaves = at
            .checked_sub(EVEN + 1)
            .map_or(0.0, |at| square(samples[at]));
        sum += enters - leaves;
        *slot = (sum.max(0.0) / width + rest) as f32;
    }
    // Apart, so that it is done on several samples at once.
    for (slot, sample) in evened.iter_mut().zip(samples) {
        *slot = sample / slot.sqrt();
    }
}
