//! What the noise beside the tone puts into the mean frequency.

use std::f64::consts::TAU;

use super::fluctuation::Weighing;
use super::stretch::Stretch;
use crate::signal::demodulator::Band;
use crate::signal::statistics::NORMAL_95;

/// 95 % of the mean frequency from noise alone, in hertz; `None` before the
/// first look at the spectrum.
///
/// Where the mean is the slope of the phase, this is the Cramér-Rao bound,
/// var(ω) ≥ 12 σ² / (A²/2 · N (N² − 1)) (Rife & Boorstyn 1974). A tapered mean
/// is made of blocks, each of which is the phase at its end less that at its
/// start: it has the phase's noise at the edges of the blocks, with the steps
/// of the weights as weights. Blocks are longer than the noise that passes the
/// demodulator remembers, so neighbouring edges are independent.
pub fn noise_hz(stretch: &Stretch, rate_hz: u32) -> Option<f64> {
    let beside = stretch.beside()?;
    let rate = f64::from(rate_hz);
    // Variance of the phase a sample, in square radians.
    let ratio = beside.noise() / beside.tone.max(f64::MIN_POSITIVE);
    let radians_a_second = if stretch.weighing() == Weighing::Parabola {
        let samples = stretch.measured_s() * rate;
        (12.0 * ratio / samples.powi(3)).sqrt() * rate
    } else {
        let band = Band::around(stretch.mean_hz()?, rate);
        // The flanks pass half: twice the middle between their ends.
        let passed = (band.pass_hz + band.stop_hz) / rate;
        (ratio * passed).sqrt() * stretch.weight_of_phases()?
    };
    Some(NORMAL_95 * radians_a_second / TAU)
}
