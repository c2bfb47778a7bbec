//! A digital copy made ready to be searched and followed.

use std::fmt;

use super::RATE_HZ;
use super::index::Index;
use crate::signal::level::tame;
use crate::signal::resample::Converter;
use crate::units::Seconds;

/// Shorter copies cannot be told from other music.
const SHORTEST_S: f64 = 5.0;

/// Longer ones would take more memory than a speed is worth: this one takes
/// half a gigabyte.
const LONGEST_S: f64 = 4.0 * 3600.0;

/// Below this (root mean square of the loudest second, full scale being 1)
/// there is no sound: −80 dB.
const SILENT_RMS: f64 = 1e-4;

/// A copy, ready.
pub struct Copy {
    /// Mono, at [`RATE_HZ`], its loudest second having a mean square of 1.
    pub(super) samples: Vec<f32>,
    pub(super) index: Index,
}

/// Takes the samples of a copy as they are decoded.
pub struct CopyBuilder {
    converter: Converter,
    channels: usize,
    mono: Vec<f32>,
    samples: Vec<f32>,
}

/// Why a copy is no reference.
#[derive(Debug, thiserror::Error, PartialEq)]
pub enum CopyError {
    /// Too short.
    #[error(
        "the copy lasts {0:.1}, too short to be found again; give one of {SHORTEST_S} s or more, the longer the better"
    )]
    TooShort(Seconds),
    /// Too long.
    #[error("the copy lasts longer than 4 hours; give one that is cut to what is on the tape")]
    TooLong,
    /// Nothing to hear.
    #[error("the copy is silent; give one in which the music can be heard")]
    Silent,
}

impl CopyBuilder {
    /// For interleaved samples at a rate.
    pub fn new(rate_hz: u32, channels: u16) -> Self {
        Self {
            converter: Converter::new(rate_hz, RATE_HZ),
            channels: usize::from(channels.max(1)),
            mono: Vec::new(),
            samples: Vec::new(),
        }
    }

    /// Takes whole frames.
    pub fn push(&mut self, interleaved: &[f32]) {
        self.mono.clear();
        let part = 1.0 / self.channels as f32;
        self.mono.extend(
            interleaved
                .chunks_exact(self.channels)
                .map(|frame| frame.iter().sum::<f32>() * part)
                .map(tame),
        );
        if self.length_s() > LONGEST_S {
            return;
        }
        self.converter.push(&self.mono, &mut self.samples);
    }

    fn length_s(&self) -> f64 {
        self.samples.len() as f64 / f64::from(RATE_HZ)
    }

    /// Makes the copy ready: half a second of work for an hour of music.
    pub fn finish(mut self) -> Result<Copy, CopyError> {
        self.converter.flush(&mut self.samples);
        let length_s = self.length_s();
        if length_s > LONGEST_S {
            return Err(CopyError::TooLong);
        }
        if length_s < SHORTEST_S {
            return Err(CopyError::TooShort(Seconds(length_s)));
        }
        let loudest = loudest_second(&self.samples);
        if loudest < SILENT_RMS {
            return Err(CopyError::Silent);
        }
        let gain = (1.0 / loudest) as f32;
        self.samples.iter_mut().for_each(|x| *x *= gain);
        Ok(Copy {
            index: Index::of(&self.samples),
            samples: self.samples,
        })
    }
}

impl Copy {
    /// From mono samples at a rate.
    pub fn prepare(mono: &[f32], rate_hz: u32) -> Result<Self, CopyError> {
        let mut builder = CopyBuilder::new(rate_hz, 1);
        for block in mono.chunks(1 << 16) {
            builder.push(block);
        }
        builder.finish()
    }

    /// Mono samples at [`RATE_HZ`], the loudest second having a mean square of 1.
    pub fn samples(&self) -> &[f32] {
        &self.samples
    }

    /// How long it lasts.
    pub fn length(&self) -> Seconds {
        Seconds(self.samples.len() as f64 / f64::from(RATE_HZ))
    }
}

impl fmt::Debug for Copy {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Copy({})", self.length())
    }
}

fn loudest_second(samples: &[f32]) -> f64 {
    let square =
        |second: &[f32]| second.iter().map(|x| f64::from(x * x)).sum::<f64>() / second.len() as f64;
    samples
        .chunks(RATE_HZ as usize)
        .map(square)
        .fold(0.0, f64::max)
        .sqrt()
}
