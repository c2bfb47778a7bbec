//! Floor 1: pure mathematics on samples.
//!
//! Knows no tape, file, clock or thread. Everything here is driven by samples
//! and deterministic: the same samples give the same numbers, whatever the
//! size of the blocks they come in.

pub mod allan;
pub mod arrivals;
pub mod bridge;
pub mod check;
pub mod cholesky;
pub mod decimator;
pub mod demodulator;
pub mod dropout;
pub mod evidence;
pub mod filters;
pub mod finder;
pub mod fir;
pub mod following;
pub mod harmonics;
pub mod ident;
pub mod level;
pub mod line;
pub mod lines;
pub mod pair;
pub mod peaks;
pub mod phased;
pub mod phasor;
pub mod piece;
pub mod prediction;
pub mod programme;
pub mod resample;
pub mod rhythm;
pub mod spectrum;
pub mod speed_tracker;
pub mod statistics;
pub mod timed;
pub mod tone;
pub mod tone_fit;
pub mod tracker;
pub mod wide;
