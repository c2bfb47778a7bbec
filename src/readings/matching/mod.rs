//! A familiar recording as reference: where the tape is in a digital copy of
//! it, and how fast it runs, from the sound alone.
//!
//! [`struct@Copy`] is the copy made ready: at [`RATE_HZ`], with an index of how the
//! levels of `levels` rise and fall in it (`index`). [`Matcher`] takes the
//! tape's sound. It looks for the newest seconds in the index at every speed
//! of a grid, listens closely at the likeliest places (`closely`: correlation
//! of the waveforms in three bands), and accepts a place only when most of the
//! sound agrees with it (`verdict`). From then on it follows, and the line of
//! place against time is the speed (`line`). Constants without a formula are tuned;
//! judged by `--bench matching`.

mod closely;
mod copy;
mod course;
mod examine;
mod follower;
mod hearing;
mod index;
mod levels;
mod line;
mod loudness;
mod matcher;
mod measured;
mod meter;
mod sifter;
mod spectra;
mod speed;
mod tracker;
mod verdict;

pub use copy::{Copy, CopyBuilder, CopyError};
pub use matcher::{Matcher, Report};
pub(super) use meter::CopyMeter;
pub use speed::SpeedFound;
pub(super) use tracker::{CopyTracker, RIGHT_HZ};
pub use verdict::{BandEvidence, Evidence};

use crate::units::Decibels;

/// Tape and copy are compared at this rate: music has its power below 3 kHz,
/// worn tape has little else, and the speed is limited by wow, not by treble.
pub const RATE_HZ: u32 = 8000;

/// [`RATE_HZ`] as a number.
const RATE: f64 = RATE_HZ as f64;

/// Speeds that are looked for: lowest and highest, 1 is the copy's own. The
/// promise is 0.9 to 1.1; the rest is margin.
const SPEEDS: [f64; 2] = [0.885, 1.115];

/// A channel this far below the other one is missing.
const MISSING: Decibels = Decibels(-30.0);
