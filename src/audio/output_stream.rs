//! An output that runs: opened with a block length that it takes, fed from
//! then on for as long as it is held.

use std::sync::Arc;
use std::time::{Duration, Instant};

use cpal::traits::{DeviceTrait, StreamTrait};
use cpal::{FromSample, SizedSample};

use super::device_thread;
use super::feed::{Feed, FillSamples, Progress};
use super::found::Found;
use super::sound_error::{Direction, SoundError};
use super::source::StreamFormat;
use super::stream_plan::{SET_UP, StreamPlan, by_samples};
use crate::units::Seconds;

/// An output that asks for no samples for this long is lost. A choice.
pub(super) const QUIET: Duration = Duration::from_secs(2);

/// Plays as long as it is held.
pub(super) struct OutputStream {
    stream: cpal::Stream,
    pub format: StreamFormat,
    pub progress: Arc<Progress>,
    /// Frames that had been asked for when that last changed, and when.
    last: (u64, Instant),
}

impl OutputStream {
    /// Opens the output with blocks of about this length. `make` is called
    /// once with the rate and channels that it has taken.
    pub(super) fn start(
        found: &Found,
        block: Seconds,
        make: impl FnOnce(StreamFormat) -> FillSamples,
    ) -> Result<Self, SoundError> {
        let plan = found.plan(1)?;
        let failed =
            |error: cpal::Error| SoundError::of_system(Direction::Output, &found.name, &error);
        // The size of block is found out with silence, for what fills the
        // blocks can be made only once.
        let build = |size, feed| by_samples!(plan.samples, build(&found.device, &plan, size, feed));
        let silent = |size| {
            let silence: FillSamples = Box::new(|_| false);
            let feed = Feed::new(silence, plan.format, Arc::default());
            build(size, feed).map(|_| size)
        };
        let size = plan.first_size(block, silent).map_err(failed)?;
        let progress = Arc::new(Progress::default());
        let feed = Feed::new(make(plan.format), plan.format, Arc::clone(&progress));
        let stream = build(size, feed).map_err(failed)?;
        stream.play().map_err(failed)?;
        Ok(Self {
            stream,
            format: plan.format,
            progress,
            last: (0, Instant::now()),
        })
    }

    /// True once it asks for no more samples; to be called now and then.
    pub(super) fn is_lost(&mut self) -> bool {
        let signs = &self.progress.signs;
        let frames = signs.frames();
        if frames != self.last.0 {
            self.last = (frames, Instant::now());
        }
        signs.is_gone() || self.last.1.elapsed() > QUIET
    }

    pub(super) fn close(self) {
        device_thread::close(self.stream);
    }
}

fn build<T>(
    device: &cpal::Device,
    plan: &StreamPlan,
    size: u32,
    mut feed: Feed,
) -> Result<cpal::Stream, cpal::Error>
where
    T: SizedSample + FromSample<f32>,
{
    let progress = Arc::clone(&feed.progress);
    device.build_output_stream(
        plan.config(size),
        move |block: &mut [T], info: &cpal::OutputCallbackInfo| {
            let at = info.timestamp();
            let latency = at.playback.duration_since(at.callback);
            feed.give(block, latency);
        },
        move |error: cpal::Error| progress.signs.note_error(error.kind()),
        Some(SET_UP),
    )
}
