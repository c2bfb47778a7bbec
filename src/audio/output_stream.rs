//! An output that runs: opened with a block length that it takes, fed from
//! then on for as long as it is held.

use std::sync::Arc;
use std::time::{Duration, Instant};

use cpal::traits::{DeviceTrait, StreamTrait};
use cpal::{BufferSize, ErrorKind, FromSample, I24, SampleFormat, SizedSample, StreamConfig, U24};

use super::feed::{Feed, FillSamples, Progress};
use super::found::FoundDevice;
use super::sound_error::{Direction, SoundError};
use super::source::StreamFormat;
use super::stream_plan::StreamPlan;
use crate::units::Seconds;

/// An output that asks for no samples for so long is lost.
pub(super) const QUIET: Duration = Duration::from_secs(2);

/// A sound server may take so long to set a stream up.
const SET_UP: Duration = Duration::from_secs(2);

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
        found: &FoundDevice,
        block: Seconds,
        make: impl FnOnce(StreamFormat) -> FillSamples,
    ) -> Result<Self, SoundError> {
        let plan = found.plan(1)?;
        let failed =
            |error: cpal::Error| SoundError::of_system(Direction::Output, &found.name, &error);
        // The size of block is found out with silence, for what fills the
        // blocks can be made only once.
        let size = accepted_size(found, &plan, block).map_err(failed)?;
        let progress = Arc::new(Progress::default());
        let feed = Feed::new(make(plan.format), plan.format, Arc::clone(&progress));
        let stream = build_with(&found.device, &plan, size, feed).map_err(failed)?;
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

    /// Ends it on a thread of its own, for it may wait for a sound server
    /// that no longer answers.
    pub(super) fn close(self) {
        let stream = self.stream;
        // Without a thread the closure, and the stream with it, is dropped
        // here.
        let _ = std::thread::Builder::new()
            .name("sound output end".to_owned())
            .spawn(move || drop(stream));
    }
}

fn accepted_size(
    found: &FoundDevice,
    plan: &StreamPlan,
    block: Seconds,
) -> Result<u32, cpal::Error> {
    let mut refused = cpal::Error::new(ErrorKind::UnsupportedConfig);
    for size in plan.block_sizes(block) {
        let silence: FillSamples = Box::new(|_| false);
        let feed = Feed::new(silence, plan.format, Arc::new(Progress::default()));
        match build_with(&found.device, plan, size, feed) {
            Ok(_) => return Ok(size),
            Err(error) if error.kind() == ErrorKind::UnsupportedConfig => refused = error,
            Err(error) => return Err(error),
        }
    }
    Err(refused)
}

fn build_with(
    device: &cpal::Device,
    plan: &StreamPlan,
    size: u32,
    feed: Feed,
) -> Result<cpal::Stream, cpal::Error> {
    match plan.samples {
        SampleFormat::F32 => build::<f32>(device, plan, size, feed),
        SampleFormat::F64 => build::<f64>(device, plan, size, feed),
        SampleFormat::I8 => build::<i8>(device, plan, size, feed),
        SampleFormat::I16 => build::<i16>(device, plan, size, feed),
        SampleFormat::I24 => build::<I24>(device, plan, size, feed),
        SampleFormat::I32 => build::<i32>(device, plan, size, feed),
        SampleFormat::U8 => build::<u8>(device, plan, size, feed),
        SampleFormat::U16 => build::<u16>(device, plan, size, feed),
        SampleFormat::U24 => build::<U24>(device, plan, size, feed),
        SampleFormat::U32 => build::<u32>(device, plan, size, feed),
        _ => Err(cpal::Error::new(ErrorKind::UnsupportedConfig)),
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
    let config = StreamConfig {
        channels: plan.format.channels,
        sample_rate: plan.format.rate_hz,
        buffer_size: BufferSize::Fixed(size),
    };
    device.build_output_stream(
        config,
        move |block: &mut [T], info: &cpal::OutputCallbackInfo| {
            let at = info.timestamp();
            let latency = at.playback.duration_since(at.callback);
            feed.give(block, latency);
        },
        move |error: cpal::Error| progress.signs.note_error(error.kind()),
        Some(SET_UP),
    )
}
