//! The unweighted band and its parts.

use crate::signal::filters::{Cascade, butterworth_highpass, butterworth_lowpass};

/// Wow: common practice, no source for the exact edges.
pub const WOW_HZ: [f64; 2] = [0.5, 6.0];
/// Flutter: common practice, no source for the exact edges.
pub const FLUTTER_HZ: [f64; 2] = [6.0, 100.0];
/// Unweighted: IEC 60386 Amendment 1 calls 0.1 to 200 Hz a useful complement.
pub const UNWEIGHTED_HZ: [f64; 2] = [0.1, 200.0];

/// A band of order 4 on either side, −3 dB at its edges.
pub fn band(edges_hz: [f64; 2], rate_hz: f64) -> Cascade {
    butterworth_highpass(4, edges_hz[0], rate_hz).then(butterworth_lowpass(4, edges_hz[1], rate_hz))
}

/// Takes out what is slower than flutter; the upper edge is set by the filter
/// in front of everything.
pub fn unweighted(rate_hz: f64) -> Cascade {
    butterworth_highpass(2, UNWEIGHTED_HZ[0], rate_hz)
}
