//! Heavy wow, named with its rate: the first thing a worn belt or a bent pulley
//! shows.

use super::stretch::Stretch;
use crate::signal::fir::total;
use crate::signal::line::Line;
use crate::signal::spectrum::Spectrum;

/// Wow is looked for from this rate on; the figure ends at 6 Hz.
const RATES_HZ: [f64; 2] = [0.2, 6.0];

/// A shorter record does not tell its rate.
const LEAST_S: f64 = 5.0;

/// The strongest wow of a stretch.
#[derive(Clone, Copy, Debug)]
pub struct Wow {
    /// Its rate.
    pub hz: f64,
    /// Root mean square of all wow, in hertz of the tone; unlike the figure it
    /// has no filter whose edge takes from slow wow.
    pub rms_hz: f64,
}

/// The wow since the tone was last found or the speed moved.
pub fn wow(stretch: &Stretch) -> Option<Wow> {
    let series = stretch.undisturbed();
    if series.length_s() < LEAST_S {
        return None;
    }
    let flat = Line::of_series(series.blocks()).residuals(series.blocks());
    let flat: Vec<f32> = flat.map(|off| off as f32).collect();
    let mut spectrum = Spectrum::new(flat.len(), 1, 1.0 / series.block_s());
    let mut power = vec![0.0; spectrum.bins()];
    spectrum.add_power(&flat, &mut power);
    let top_hz = RATES_HZ[1].min(0.4 / series.block_s());
    let peak = spectrum.peak(&power, RATES_HZ[0], top_hz)?;
    let bins = spectrum.bin_of(RATES_HZ[0])..=spectrum.bin_of(top_hz);
    Some(Wow {
        hz: peak.hz,
        rms_hz: total(&power[bins]).sqrt(),
    })
}
