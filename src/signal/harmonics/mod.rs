//! One held note of an instrument, a voice or a synthesiser: a series of
//! partials at whole multiples of a fundamental, any of which may be strong,
//! weak or missing, the fundamental too.
//!
//! [`lines`] picks the lines out of a spectrum, [`explain`] finds the series
//! that explains them best, [`comb`] follows the strongest partials of that
//! series, and [`tracker`] makes one speed track out of all of them. Constants without a
//! formula or a source are tuned; judged by `--bench notes`.

pub mod channels;
pub mod comb;
pub mod explain;
pub mod follow;
mod frames;
mod hearing;
pub mod lines;
mod partials;
pub mod presence;
pub mod series;
mod stops;
pub mod tracker;
mod views;
mod voices;
