//! Plays generated samples out of a sound output until the last one is out.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::thread;
use std::time::{Duration, Instant};

use cpal::traits::{DeviceTrait, StreamTrait};
use cpal::{
    BufferSize, ErrorKind, FromSample, I24, Sample, SampleFormat, SizedSample, StreamConfig, U24,
};

use super::callback::SignsOfLife;
use super::found::{self, Found};
use super::quiet::QuietStderr;
use super::sound_error::{Direction, SoundError};
use super::source::StreamFormat;
use super::stream_plan::StreamPlan;
use crate::units::Seconds;

/// Fills a buffer with interleaved samples from −1 to 1; the buffer comes
/// filled with silence. Returns true while there is more to come; after the
/// first false it is not called again, and what it left untouched of the
/// buffer is played as silence. It runs in the sound system's callback, so it
/// must not allocate, lock or block.
pub type FillSamples = Box<dyn FnMut(&mut [f32]) -> bool + Send>;

/// Length of block that is asked for. Nobody waits for these samples, but a
/// tone that is recorded must not break when the computer is busy.
const BLOCK: Seconds = Seconds(0.15);

/// Samples generated at a time.
const CHUNK: usize = 1024;

/// How often the caller hears of the progress.
const TICK: Duration = Duration::from_millis(50);

/// An output that asks for no samples for so long is lost.
const QUIET: Duration = Duration::from_secs(2);

/// Added to what the system says of its latency before the stream is closed.
const MARGIN: Duration = Duration::from_millis(150);

/// A sound server may take so long to set a stream up.
const SET_UP: Duration = Duration::from_secs(2);

/// Plays out of the output with this id or name, or out of the default one.
///
/// `make` is called once with the rate and channels that the output has taken
/// and returns what fills the buffers. `go_on` is called about twenty times a
/// second with the time played so far; when it returns false, playing stops
/// at once. Returns when the last sample is out, with what there is to say of
/// it.
pub fn play(
    output: Option<&str>,
    make: impl FnOnce(StreamFormat) -> FillSamples,
    mut go_on: impl FnMut(Seconds) -> bool,
) -> Result<Played, SoundError> {
    let (found, running) = {
        let _quiet = QuietStderr::start();
        let found = found::find(Direction::Output, output)?;
        let running = Running::start(&found, make)?;
        (found, running)
    };
    running.until_done(&found, &mut go_on)
}

/// How playing went.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Played {
    /// What was played.
    pub time: Seconds,
    /// Times that the output ran dry for a moment: each is a break in the
    /// tone, and what was recorded of it is no reference.
    pub breaks: u64,
}

/// What the callback and the waiting thread share.
#[derive(Default)]
struct Progress {
    signs: SignsOfLife,
    /// The last sample has been handed over.
    done: AtomicBool,
    /// From handing a block over until it sounds, in microseconds.
    latency_us: AtomicU64,
}

struct Running {
    /// Plays as long as it is held.
    _stream: cpal::Stream,
    format: StreamFormat,
    progress: Arc<Progress>,
}

impl Running {
    fn start(
        found: &Found,
        make: impl FnOnce(StreamFormat) -> FillSamples,
    ) -> Result<Self, SoundError> {
        let plan = found.plan()?;
        let failed =
            |error: cpal::Error| SoundError::of_system(Direction::Output, &found.name, &error);
        // The size of block is found out with silence, for what fills the
        // blocks can be made only once.
        let size = accepted_size(found, &plan).map_err(failed)?;
        let progress = Arc::new(Progress::default());
        let feed = Feed::new(make(plan.format), plan.format, Arc::clone(&progress));
        let stream = build_with(&found.device, &plan, size, feed).map_err(failed)?;
        stream.play().map_err(failed)?;
        Ok(Self {
            _stream: stream,
            format: plan.format,
            progress,
        })
    }

    fn until_done(
        self,
        found: &Found,
        go_on: &mut dyn FnMut(Seconds) -> bool,
    ) -> Result<Played, SoundError> {
        let signs = &self.progress.signs;
        let mut last = (0, Instant::now());
        while !self.progress.done.load(Ordering::Acquire) {
            let frames = signs.frames();
            if frames != last.0 {
                last = (frames, Instant::now());
            }
            if signs.is_gone() || last.1.elapsed() > QUIET {
                return Err(lost(found, frames > 0));
            }
            if !go_on(self.played().time) {
                return Ok(self.played());
            }
            thread::sleep(TICK);
        }
        // Breaks after the last sample are none.
        let played = self.played();
        let latency = Duration::from_micros(self.progress.latency_us.load(Ordering::Acquire));
        thread::sleep(latency.min(QUIET) + MARGIN);
        Ok(played)
    }

    fn played(&self) -> Played {
        let signs = &self.progress.signs;
        Played {
            time: Seconds(signs.frames() as f64 / f64::from(self.format.rate_hz)),
            breaks: signs.overruns(),
        }
    }
}

fn lost(found: &Found, had_played: bool) -> SoundError {
    let direction = Direction::Output;
    let name = found.name.clone();
    if had_played {
        SoundError::Gone { direction, name }
    } else {
        SoundError::Silent { direction, name }
    }
}

/// The work of the output callback.
struct Feed {
    fill: FillSamples,
    chunk: Box<[f32]>,
    channels: usize,
    rate_hz: u32,
    progress: Arc<Progress>,
}

impl Feed {
    fn new(fill: FillSamples, format: StreamFormat, progress: Arc<Progress>) -> Self {
        let channels = usize::from(format.channels.max(1));
        let frames = (CHUNK / channels).max(1);
        Self {
            fill,
            chunk: vec![0.0; frames * channels].into_boxed_slice(),
            channels,
            rate_hz: format.rate_hz,
            progress,
        }
    }

    /// Fills a block that will sound after `latency`.
    fn give<T>(&mut self, block: &mut [T], latency: Duration)
    where
        T: Sample + FromSample<f32>,
    {
        let frames = (block.len() / self.channels) as u64;
        if self.progress.done.load(Ordering::Acquire) {
            block.fill(T::EQUILIBRIUM);
            return;
        }
        let mut more = true;
        for part in block.chunks_mut(self.chunk.len()) {
            let generated = &mut self.chunk[..part.len()];
            generated.fill(0.0);
            if more {
                more = (self.fill)(generated);
            }
            for (to, from) in part.iter_mut().zip(generated) {
                *to = T::from_sample(within_range(*from));
            }
        }
        self.progress.signs.note_frames(frames);
        if !more {
            let block_us = 1_000_000 * frames / u64::from(self.rate_hz.max(1));
            let latency_us = u64::try_from(latency.as_micros()).unwrap_or(u64::MAX);
            self.progress
                .latency_us
                .store(latency_us.saturating_add(block_us), Ordering::Release);
            self.progress.done.store(true, Ordering::Release);
        }
    }
}

/// The largest sample below 1 in single precision: integer formats have no
/// room for +1, and the conversion does not check it for all of them.
fn within_range(sample: f32) -> f32 {
    const TOP: f32 = 1.0 - f32::EPSILON / 2.0;
    if sample.is_nan() {
        0.0
    } else {
        sample.clamp(-1.0, TOP)
    }
}

fn accepted_size(found: &Found, plan: &StreamPlan) -> Result<u32, cpal::Error> {
    let mut refused = cpal::Error::new(ErrorKind::UnsupportedConfig);
    for size in plan.block_sizes(BLOCK) {
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

#[cfg(test)]
mod tests {
    use super::*;

    const STEREO: StreamFormat = StreamFormat {
        rate_hz: 48_000,
        channels: 2,
    };

    fn ramp(samples: usize) -> FillSamples {
        let mut next = 0;
        Box::new(move |buffer| {
            for slot in buffer {
                if next < samples {
                    *slot = (next % 100) as f32 / 100.0;
                    next += 1;
                }
            }
            next < samples
        })
    }

    #[test]
    fn all_samples_come_once_and_silence_after_them() {
        let progress = Arc::new(Progress::default());
        let mut feed = Feed::new(ramp(2500), STEREO, Arc::clone(&progress));
        let mut heard = Vec::new();
        for _ in 0..4 {
            let mut block = [9.0_f32; 1200];
            feed.give(&mut block, Duration::from_millis(20));
            heard.extend(block);
        }
        for (n, sample) in heard.iter().enumerate() {
            let want = if n < 2500 {
                (n % 100) as f32 / 100.0
            } else {
                0.0
            };
            assert!((sample - want).abs() < 1e-6, "sample {n}: {sample}");
        }
        assert!(progress.done.load(Ordering::Acquire));
        // 20 ms and the block of 600 frames.
        assert_eq!(progress.latency_us.load(Ordering::Acquire), 20_000 + 12_500);
    }

    #[test]
    fn full_scale_stays_within_every_format() {
        let loud = || -> FillSamples {
            Box::new(|buffer| {
                buffer.copy_from_slice(&[2.0, -2.0, 1.0, f32::NAN]);
                true
            })
        };
        let feed = || Feed::new(loud(), STEREO, Arc::new(Progress::default()));
        let mut narrow = [0_i16; 4];
        feed().give(&mut narrow, Duration::ZERO);
        assert_eq!(narrow, [i16::MAX, i16::MIN, i16::MAX, 0]);
        let mut middle = [I24::EQUILIBRIUM; 4];
        feed().give(&mut middle, Duration::ZERO);
        assert_eq!(
            middle.map(I24::inner),
            [(1 << 23) - 1, -(1 << 23), (1 << 23) - 1, 0]
        );
        let mut unsigned = [0_u8; 4];
        feed().give(&mut unsigned, Duration::ZERO);
        assert_eq!(unsigned, [u8::MAX, 0, u8::MAX, 128]);
    }
}
