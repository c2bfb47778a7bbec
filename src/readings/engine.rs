//! The only door of this floor: samples in, readings out.

use super::{ChannelChoice, Conditions, Measurement, Nominal, Reading};
use crate::units::{Percent, Seconds};

/// How to measure.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Settings {
    /// Samples a second.
    pub rate_hz: u32,
    /// Interleaved channels; beyond two the first two are listened to.
    pub channels: u16,
    /// Which of them.
    pub choice: ChannelChoice,
    /// Against what.
    pub conditions: Conditions,
    /// Half width of the tolerance band: the digits count as settled when
    /// their mean is known well within it.
    pub tolerance: Percent,
}

/// How long a kept stretch is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct KeepRequest {
    /// At least this much valid signal.
    pub at_least: Seconds,
    /// At most this much, however unsteady.
    pub at_most: Seconds,
}

/// Why no engine can be had for an input.
#[derive(Debug, thiserror::Error, PartialEq)]
pub enum EngineError {
    /// Too slow a sample rate to carry a test tone, or absurdly fast.
    #[error(
        "the sample rate is {0} Hz; this needs 8000 to 768000 Hz, so record again at 44100 or 48000 Hz"
    )]
    Rate(u32),
    /// No channel.
    #[error("the input has no channel; choose another input or record again")]
    NoChannel,
}

/// Measures a stream of samples.
pub struct Engine {}

impl Engine {
    /// An engine for one input format.
    pub fn new(settings: Settings) -> Result<Self, EngineError> {
        let _ = settings;
        todo!()
    }

    /// Takes interleaved samples, full scale ±1; any number of whole frames.
    /// Samples that are no number count as 0. Never allocates for long: the
    /// memory held does not grow with the length of the stream.
    pub fn push(&mut self, interleaved: &[f32]) {
        let _ = interleaved;
        todo!()
    }

    /// The input broke: `lost_frames` are missing before the next sample (0
    /// when unknown). No reading spans a gap.
    pub fn gap(&mut self, lost_frames: u64) {
        let _ = lost_frames;
        todo!()
    }

    /// The newest live reading.
    pub fn reading(&self) -> Reading {
        todo!()
    }

    /// The measurement over everything pushed so far (for recordings).
    pub fn measurement(&self) -> Measurement {
        todo!()
    }

    /// Chooses another nominal tone; nothing measured so far is lost.
    pub fn set_nominal(&mut self, nominal: Nominal) {
        let _ = nominal;
        todo!()
    }

    /// Another tolerance band.
    pub fn set_tolerance(&mut self, tolerance: Percent) {
        let _ = tolerance;
        todo!()
    }

    /// Begins to keep a stretch; see [`Reading::keeping`].
    pub fn keep(&mut self, request: KeepRequest) {
        let _ = request;
        todo!()
    }

    /// Stops keeping, or forgets a stretch that is done.
    pub fn forget_kept(&mut self) {
        todo!()
    }
}
