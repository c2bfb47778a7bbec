//! What happens inside an output's callback: generate, convert, count.
//!
//! It runs on a thread whose deadline is the next block, so nothing here
//! allocates, locks, logs or blocks; what it has to tell goes through the
//! atomics of [`Progress`].

use std::sync::Arc;
use std::time::Duration;

use cpal::{FromSample, Sample};

use super::callback::SignsOfLife;
use super::handover::atomic::{AtomicBool, AtomicU64, Ordering};
use super::source::StreamFormat;
use crate::signal::tone::Sound;

/// Fills a buffer with interleaved samples from −1 to 1; the buffer comes
/// filled with silence. Returns true while there is more to come; after the
/// first false it is not called again, and what it left untouched of the
/// buffer is played as silence. It runs in the sound system's callback, so it
/// must not allocate, lock or block.
pub type FillSamples = Box<dyn FnMut(&mut [f32]) -> bool + Send>;

/// Plays a sound, `at_most` frames of it. Neither allocates nor waits.
pub fn playing(sound: Box<dyn Sound + Send>, channels: u16, at_most: u64) -> FillSamples {
    let end = sound.length().min(at_most);
    let mut next = 0;
    Box::new(move |buffer| {
        for frame in buffer.chunks_mut(usize::from(channels.max(1))) {
            for (channel, slot) in frame.iter_mut().enumerate() {
                *slot = if next < end {
                    sound.of_channel(channel, next) as f32
                } else {
                    0.0
                };
            }
            next += 1;
        }
        next < end
    })
}

/// Samples generated at a time.
const CHUNK: usize = 1024;

/// What the callback and the waiting thread share.
#[derive(Default)]
pub struct Progress {
    pub(super) signs: SignsOfLife,
    /// The last sample has been handed over.
    pub(super) done: AtomicBool,
    /// From handing a block over until it sounds, in microseconds.
    pub(super) latency_us: AtomicU64,
}

/// The work of the output callback.
pub struct Feed {
    fill: FillSamples,
    chunk: Box<[f32]>,
    channels: usize,
    rate_hz: u32,
    pub(super) progress: Arc<Progress>,
}

impl Feed {
    /// Feeds an output of this format.
    pub fn new(fill: FillSamples, format: StreamFormat, progress: Arc<Progress>) -> Self {
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
    pub fn give<T>(&mut self, block: &mut [T], latency: Duration)
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

#[cfg(test)]
mod tests {
    use cpal::I24;

    use super::*;
    use crate::signal::tone::Tone;

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
    fn a_tone_is_the_same_whatever_the_block_size() {
        let tone = Tone::new(3150.0, 48_000.0, 0.5, 1000, 100);
        let mut heard = Vec::new();
        let mut fill = playing(Box::new(tone), 2, u64::MAX);
        for frames in [1, 7, 480, 512].into_iter().cycle() {
            let mut buffer = vec![9.0; 2 * frames];
            let more = fill(&mut buffer);
            heard.extend_from_slice(&buffer);
            assert_eq!(more, heard.len() / 2 < 1000, "{}", heard.len());
            if !more {
                break;
            }
        }
        for (number, frame) in heard.chunks(2).enumerate() {
            let expected = tone.sample(number as u64) as f32;
            assert!((frame[0] - expected).abs() < 1e-9, "{number}");
            assert!((frame[1] - expected).abs() < 1e-9, "{number}");
        }
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
