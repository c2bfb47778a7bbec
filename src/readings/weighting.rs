//! The weighting of IEC 60386 (DIN 45507, AES6): follows the standard, table
//! from memory; and the unweighted band and its parts.

use crate::signal::filters::{Cascade, Section, butterworth_highpass, butterworth_lowpass};

/// Poles and zeros of an analogue filter that fits the table within 0.19 dB,
/// derived by minimising the largest error; rad/s. Three more zeros lie at 0.
const POLES: [f64; 4] = [-12.9115, -20.403, -78.1262, -734.479];
const POLE_PAIR: (f64, f64) = (-1.9262, 1.8468);
const ZEROS: [f64; 2] = [-30.8025, -575.6029];

/// The bilinear transform bends the top of the band down; the curve is put
/// right again at this frequency, by a term that grows like the bend does.
const TOP_HZ: f64 = 200.0;

/// Wow: common practice, no source for the exact edges.
pub const WOW_HZ: [f64; 2] = [0.5, 6.0];
/// Flutter: common practice, no source for the exact edges.
pub const FLUTTER_HZ: [f64; 2] = [6.0, 100.0];
/// Unweighted: IEC 60386 Amendment 1 calls 0.1 to 200 Hz a useful complement.
pub const UNWEIGHTED_HZ: [f64; 2] = [0.1, 200.0];

/// The weighting filter for a track of `rate_hz` values a second; gain 1 at
/// 4 Hz.
pub fn weighting(rate_hz: f64) -> Cascade {
    let product = |a: f64, b: f64| [a * b, -(a + b), 1.0];
    let (re, im) = POLE_PAIR;
    let mut filter = Cascade::new(vec![
        // s² over the slow pair, s (s − z) over two, (s − z) over two.
        Section::bilinear(
            [0.0, 0.0, 1.0],
            [re * re + im * im, -2.0 * re, 1.0],
            rate_hz,
        ),
        Section::bilinear([0.0, -ZEROS[0], 1.0], product(POLES[0], POLES[1]), rate_hz),
        Section::bilinear([-ZEROS[1], 1.0, 0.0], product(POLES[2], POLES[3]), rate_hz),
    ]);
    let reference = analogue_gain(4.0);
    filter.normalise_at(4.0, rate_hz);
    let missing = analogue_gain(TOP_HZ) / reference / filter.gain(TOP_HZ, rate_hz);
    // 1 + 4 c sin²(ω/2), as a symmetric filter of three taps.
    let half = (std::f64::consts::PI * TOP_HZ / rate_hz).sin();
    let c = (missing - 1.0) / (4.0 * half * half);
    let mut filter = filter.then(Cascade::new(vec![Section::new(
        [-c, 1.0 + 2.0 * c, -c],
        [0.0, 0.0],
    )]));
    filter.normalise_at(4.0, rate_hz);
    filter
}

/// A band of order 4 on either side, −3 dB at its edges.
pub fn band(edges_hz: [f64; 2], rate_hz: f64) -> Cascade {
    butterworth_highpass(4, edges_hz[0], rate_hz).then(butterworth_lowpass(4, edges_hz[1], rate_hz))
}

/// Takes out what is slower than flutter; the upper edge is set by the filter
/// in front of everything.
pub fn unweighted(rate_hz: f64) -> Cascade {
    butterworth_highpass(2, UNWEIGHTED_HZ[0], rate_hz)
}

/// Gain of the analogue filter, up to a constant.
fn analogue_gain(hz: f64) -> f64 {
    let w = 2.0 * std::f64::consts::PI * hz;
    let real = |root: f64| f64::hypot(w, root);
    let (re, im) = POLE_PAIR;
    let pair = f64::hypot(w - im, re) * f64::hypot(w + im, re);
    let zeros: f64 = ZEROS.iter().map(|&zero| real(zero)).product();
    let poles: f64 = POLES.iter().map(|&pole| real(pole)).product();
    w.powi(3) * zeros / (poles * pair)
}
