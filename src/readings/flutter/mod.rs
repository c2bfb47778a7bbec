//! Wow and flutter from the speed track: weighting, detectors, bands.
//!
//! Everything works on deviations in hertz and at the rate of the track; who
//! asks divides by the nominal frequency. Lengths and counts that say nothing
//! else are choices.

mod highest;
mod meter;
mod quasi_peak;
mod recent;
mod scatter;
mod two_sigma;

pub use meter::{FlutterHz, FlutterMeter, FlutterTotals};
