//! Which of a device's formats to use.

use std::time::Duration;

use cpal::{
    BufferSize, ErrorKind, SampleFormat, StreamConfig, SupportedBufferSize, SupportedStreamConfig,
    SupportedStreamConfigRange,
};

use super::source::StreamFormat;
use crate::units::Seconds;

/// Rates at which the tones of test tapes and their flutter pass whole.
const RATES_HZ: std::ops::RangeInclusive<u32> = 16_000..=192_000;

/// Formats that are converted, the best first; see `by_samples`.
#[rustfmt::skip]
pub const FORMATS: [SampleFormat; 10] = {
    use SampleFormat::{F32, F64, I8, I16, I24, I32, U8, U16, U24, U32};
    [F32, I32, I24, I16, F64, U32, U24, U16, I8, U8]
};

/// More channels than any interface has are a plugin's fancy. A choice.
pub const MOST_CHANNELS: u16 = 64;

/// A sound server may take this long to set a stream up. A choice.
pub(super) const SET_UP: Duration = Duration::from_secs(2);

/// Calls what is generic over the type of a sample with that of a format.
macro_rules! by_samples {
    ($samples:expr, $build:ident($($argument:expr),*)) => {
        match $samples {
            cpal::SampleFormat::F32 => $build::<f32>($($argument),*),
            cpal::SampleFormat::F64 => $build::<f64>($($argument),*),
            cpal::SampleFormat::I8 => $build::<i8>($($argument),*),
            cpal::SampleFormat::I16 => $build::<i16>($($argument),*),
            cpal::SampleFormat::I24 => $build::<cpal::I24>($($argument),*),
            cpal::SampleFormat::I32 => $build::<i32>($($argument),*),
            cpal::SampleFormat::U8 => $build::<u8>($($argument),*),
            cpal::SampleFormat::U16 => $build::<u16>($($argument),*),
            cpal::SampleFormat::U24 => $build::<cpal::U24>($($argument),*),
            cpal::SampleFormat::U32 => $build::<u32>($($argument),*),
            _ => Err(cpal::Error::new(cpal::ErrorKind::UnsupportedConfig)),
        }
    };
}
pub(super) use by_samples;

/// How a stream is to be opened.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct StreamPlan {
    pub format: StreamFormat,
    pub samples: SampleFormat,
    buffer: SupportedBufferSize,
}

impl StreamPlan {
    /// Takes the device's own format where it can be used, else the best of
    /// the others; `None` where there is none.
    pub(super) fn choose(
        own: Option<&SupportedStreamConfig>,
        all: &[SupportedStreamConfigRange],
    ) -> Option<Self> {
        Self::choose_with(1, own, all)
    }

    /// The same among those with this many channels or more.
    pub(super) fn choose_with(
        channels: u16,
        own: Option<&SupportedStreamConfig>,
        all: &[SupportedStreamConfigRange],
    ) -> Option<Self> {
        let enough = |plan: &Self| plan.format.channels >= channels;
        own.and_then(Self::of_own).filter(enough).or_else(|| {
            all.iter()
                .filter_map(Self::of_range)
                .filter(enough)
                .min_by_key(Self::preference)
        })
    }

    /// Opens with the first size of block, in frames, that the device takes.
    pub(super) fn first_size<T>(
        &self,
        wanted: Seconds,
        mut open: impl FnMut(u32) -> Result<T, cpal::Error>,
    ) -> Result<T, cpal::Error> {
        let mut refused = cpal::Error::new(ErrorKind::UnsupportedConfig);
        for size in self.block_sizes(wanted) {
            match open(size) {
                Err(error) if error.kind() == ErrorKind::UnsupportedConfig => refused = error,
                other => return other,
            }
        }
        Err(refused)
    }

    pub(super) fn config(&self, block_frames: u32) -> StreamConfig {
        StreamConfig {
            channels: self.format.channels,
            sample_rate: self.format.rate_hz,
            buffer_size: BufferSize::Fixed(block_frames),
        }
    }

    /// Sizes of block to try around a wanted length. Never the system's own
    /// choice, which with some sound servers is two seconds.
    fn block_sizes(&self, wanted: Seconds) -> Vec<u32> {
        let wanted = f64::from(self.format.rate_hz) * wanted.0;
        let wanted = (wanted as u32).next_power_of_two();
        let mut sizes: Vec<u32> = [wanted, 2 * wanted, 4 * wanted, wanted / 2]
            .into_iter()
            .map(|size| match self.buffer {
                SupportedBufferSize::Range { min, max } => size.clamp(min, max.max(min)),
                SupportedBufferSize::Unknown => size,
            })
            .collect();
        sizes.dedup();
        sizes
    }

    fn of_own(own: &SupportedStreamConfig) -> Option<Self> {
        let usable = FORMATS.contains(&own.sample_format())
            && RATES_HZ.contains(&own.sample_rate())
            && (1..=MOST_CHANNELS).contains(&own.channels());
        usable.then(|| Self {
            format: StreamFormat {
                rate_hz: own.sample_rate(),
                channels: own.channels(),
            },
            samples: own.sample_format(),
            buffer: *own.buffer_size(),
        })
    }

    fn of_range(range: &SupportedStreamConfigRange) -> Option<Self> {
        let low = range.min_sample_rate().max(*RATES_HZ.start());
        let high = range.max_sample_rate().min(*RATES_HZ.end());
        let usable = FORMATS.contains(&range.sample_format())
            && low <= high
            && (1..=MOST_CHANNELS).contains(&range.channels());
        let within = |rate: &u32| (low..=high).contains(rate);
        let rate_hz = [48_000, 44_100].into_iter().find(within).unwrap_or(
            // The nearest that there is.
            48_000_u32.clamp(low, high.max(low)),
        );
        usable.then(|| Self {
            format: StreamFormat {
                rate_hz,
                channels: range.channels(),
            },
            samples: range.sample_format(),
            buffer: *range.buffer_size(),
        })
    }

    /// Smaller is better: two channels, then one, then few; 48 kHz, then
    /// 44.1; then the format.
    fn preference(&self) -> (u16, u32, usize) {
        let channels = match self.format.channels {
            2 => 0,
            other => other,
        };
        let rate = self.format.rate_hz.abs_diff(48_000);
        let format = FORMATS.iter().position(|known| *known == self.samples);
        (channels, rate, format.unwrap_or(FORMATS.len()))
    }
}

/// What a device offers, for a message that refuses it.
pub(super) fn offered(all: &[SupportedStreamConfigRange]) -> String {
    let mut texts: Vec<String> = all
        .iter()
        .map(|range| {
            let (low, high) = (range.min_sample_rate(), range.max_sample_rate());
            if low == high {
                format!("{} at {low} Hz", range.sample_format())
            } else {
                format!("{} at {low} to {high} Hz", range.sample_format())
            }
        })
        .collect();
    texts.dedup();
    texts.truncate(4);
    if texts.is_empty() {
        return "nothing".to_owned();
    }
    texts.join(", ")
}

#[cfg(test)]
mod tests {
    use super::*;

    const ANY: SupportedBufferSize = SupportedBufferSize::Unknown;

    fn range(
        channels: u16,
        low: u32,
        high: u32,
        samples: SampleFormat,
    ) -> SupportedStreamConfigRange {
        SupportedStreamConfigRange::new(channels, low, high, ANY, samples)
    }

    fn chosen(
        own: &SupportedStreamConfig,
        all: &[SupportedStreamConfigRange],
    ) -> (u16, u32, SampleFormat) {
        let plan = StreamPlan::choose(Some(own), all).unwrap();
        (plan.format.channels, plan.format.rate_hz, plan.samples)
    }

    #[test]
    fn the_own_format_of_the_device_goes_first() {
        let own = SupportedStreamConfig::new(1, 96_000, ANY, SampleFormat::I16);
        let all = [range(2, 8000, 192_000, SampleFormat::F32)];
        assert_eq!(chosen(&own, &all), (1, 96_000, SampleFormat::I16));
    }

    #[test]
    fn an_own_format_that_cannot_be_used_gives_way() {
        let own = SupportedStreamConfig::new(2, 2_822_400, ANY, SampleFormat::DsdU8);
        let all = [
            range(2, 2_822_400, 2_822_400, SampleFormat::DsdU8),
            range(1, 48_000, 48_000, SampleFormat::I24),
            range(2, 44_100, 44_100, SampleFormat::I24),
            range(2, 8000, 44_100, SampleFormat::I16),
        ];
        assert_eq!(chosen(&own, &all), (2, 44_100, SampleFormat::I24));
    }

    #[test]
    fn a_channel_beyond_the_own_format_is_had_where_there_is_one() {
        let own = SupportedStreamConfig::new(2, 48_000, ANY, SampleFormat::F32);
        let all = [
            range(2, 48_000, 48_000, SampleFormat::F32),
            range(8, 48_000, 48_000, SampleFormat::F32),
            range(4, 44_100, 44_100, SampleFormat::I16),
        ];
        let plan = |channels| StreamPlan::choose_with(channels, Some(&own), &all);
        assert_eq!(plan(2).unwrap().format.channels, 2);
        assert_eq!(plan(4).unwrap().format.channels, 4);
        assert_eq!(plan(5).unwrap().format.channels, 8);
        assert_eq!(plan(9), None);
    }

    #[test]
    fn what_is_listed_is_converted_and_nothing_else() {
        // As what opens a stream answers.
        #[allow(clippy::unnecessary_wraps)]
        fn bytes<T>() -> Result<usize, cpal::Error> {
            Ok(size_of::<T>())
        }
        #[rustfmt::skip]
        let all = {
            use SampleFormat::{DsdU8, DsdU16, DsdU32, F32, F64, I8, I16, I24, I32, I64, U8, U16, U24, U32, U64};
            [DsdU8, DsdU16, DsdU32, F32, F64, I8, I16, I24, I32, I64, U8, U16, U24, U32, U64]
        };
        for format in all {
            let listed = FORMATS.contains(&format);
            let size = by_samples!(format, bytes()).ok();
            assert_eq!(size, listed.then(|| format.sample_size()), "{format}");
        }
    }

    #[test]
    fn nothing_usable_is_refused_by_name() {
        let all = [
            range(2, 2_822_400, 2_822_400, SampleFormat::DsdU8),
            range(1, 1, 8000, SampleFormat::I16),
        ];
        assert_eq!(StreamPlan::choose(None, &all), None);
        assert_eq!(offered(&all), "dsdu8 at 2822400 Hz, i16 at 1 to 8000 Hz");
    }

    #[test]
    fn blocks_are_small_and_within_what_the_device_takes() {
        let plan = |buffer| StreamPlan {
            format: StreamFormat {
                rate_hz: 48_000,
                channels: 2,
            },
            samples: SampleFormat::F32,
            buffer,
        };
        assert_eq!(plan(ANY).block_sizes(Seconds(0.01))[0], 512);
        let large = SupportedBufferSize::Range {
            min: 1024,
            max: 4096,
        };
        assert_eq!(plan(large).block_sizes(Seconds(0.01)), [1024, 2048, 1024]);
    }
}
