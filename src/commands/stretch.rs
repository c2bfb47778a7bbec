//! The stretch of a recording that is measured, and reading up to its end.

use std::path::Path;

use super::cli::ReadOptions;
use super::course::FileCourse;
use crate::audio::recording::Recording;

/// A recording, how it is to be read, and who is told how far that is.
#[derive(Clone, Copy)]
pub(super) struct Source<'a> {
    pub options: &'a ReadOptions,
    pub path: &'a Path,
    pub course: &'a FileCourse<'a>,
}

/// What is measured of a recording, in frames.
#[derive(Clone, Copy, Debug)]
pub(super) struct Stretch {
    pub from: u64,
    pub to: u64,
}

impl Stretch {
    /// What the options ask for.
    pub fn new(options: &ReadOptions, rate_hz: u32) -> Self {
        let frames = |seconds: f64| (seconds * f64::from(rate_hz)).round() as u64;
        Self {
            from: options.from.map_or(0, frames),
            to: options.to.map_or(u64::MAX, frames),
        }
    }
}

/// Hands out everything up to the end of the stretch, with the place in it where
/// the stretch begins or goes on. True when the recording was read to its end.
pub(super) fn push_stretch(
    recording: &mut Recording,
    stretch: Stretch,
    course: &FileCourse<'_>,
    mut push: impl FnMut(&[f32], usize),
) -> bool {
    let format = recording.format();
    let channels = usize::from(format.channels);
    let mut pass = course.pass(recording.total_frames(), format.rate_hz);
    let mut block = Vec::new();
    loop {
        let start = recording.read_frames();
        if start >= stretch.to {
            return false;
        }
        let Some(frames) = recording.next_block(&mut block) else {
            return true;
        };
        // Where the stretch begins and ends within this block.
        let within = |at: u64| at.saturating_sub(start).min(frames as u64) as usize * channels;
        let (from, to) = (within(stretch.from), within(stretch.to));
        push(&block[..to], from.min(to));
        if !pass.goes_on(recording.read_frames()) {
            return true;
        }
    }
}
