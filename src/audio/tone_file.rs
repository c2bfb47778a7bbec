//! Writes a tone, or another sound that is made here, as a WAV file.

use std::io::{self, BufWriter};
use std::path::{Path, PathBuf};

use hound::{SampleFormat, WavSpec, WavWriter};

use super::source::StreamFormat;
use crate::records::whole;
use crate::signal::tone::{Dither, Sound};

/// How samples are coded in the file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Coding {
    /// 16 bit with triangular dither.
    Signed16,
    /// 24 bit.
    Signed24,
    /// 32-bit floating point.
    Float32,
}

/// Why the file was not written; nothing is left of it then, and one that was
/// there is as it was.
#[derive(Debug, thiserror::Error)]
#[allow(missing_docs)] // Each sentence says what it is.
pub enum ToneFileError {
    #[error("{} is there already; choose another name or add --force to replace it", .0.display())]
    Exists(PathBuf),
    #[error(
        "a WAV file holds 4 GiB, which is {longest_s} s in this format; choose fewer --seconds, --mono or --bits 16"
    )]
    TooLong { longest_s: u64 },
    #[error("cannot write {}: {source}; make room or choose another folder", path.display())]
    Io { path: PathBuf, source: io::Error },
    #[error("{} was not written, for it was ended before", .0.display())]
    Ended(PathBuf),
}

/// More than any header of ours takes.
const HEADER_BYTES: u64 = 128;

/// Between two looks at whether to go on.
const FRAMES_AT_A_TIME: u64 = 1 << 12;

/// The noise of the dither is the same in every file.
const DITHER_SEED: u64 = 3150;

impl Coding {
    fn spec(self, format: StreamFormat) -> WavSpec {
        let (bits_per_sample, sample_format) = match self {
            Self::Signed16 => (16, SampleFormat::Int),
            Self::Signed24 => (24, SampleFormat::Int),
            Self::Float32 => (32, SampleFormat::Float),
        };
        WavSpec {
            channels: format.channels,
            sample_rate: format.rate_hz,
            bits_per_sample,
            sample_format,
        }
    }
}

/// Writes the sound, whole or not at all. An existing file is replaced only if
/// `replace` is true. `go_on` is asked now and then.
pub fn write(
    path: &Path,
    sound: &dyn Sound,
    format: StreamFormat,
    coding: Coding,
    replace: bool,
    go_on: &dyn Fn() -> bool,
) -> Result<(), ToneFileError> {
    let spec = coding.spec(format);
    check_length(sound, &spec)?;
    let written = whole::write(path, replace, |file| {
        let samples = write_samples(BufWriter::new(file), sound, spec, coding, go_on);
        samples.map_err(|error| match error {
            hound::Error::IoError(source) => source,
            other => io::Error::other(other),
        })
    });
    let path = path.to_path_buf();
    written.map_err(|source| match source.kind() {
        io::ErrorKind::AlreadyExists => ToneFileError::Exists(path),
        io::ErrorKind::Interrupted => ToneFileError::Ended(path),
        _ => ToneFileError::Io { path, source },
    })
}

fn check_length(sound: &dyn Sound, spec: &WavSpec) -> Result<(), ToneFileError> {
    let frame_bytes = u64::from(spec.channels) * u64::from(spec.bits_per_sample / 8);
    let most_frames = (u64::from(u32::MAX) - HEADER_BYTES) / frame_bytes;
    if sound.length() > most_frames {
        return Err(ToneFileError::TooLong {
            longest_s: most_frames / u64::from(spec.sample_rate),
        });
    }
    Ok(())
}

fn write_samples<W: io::Write + io::Seek>(
    out: W,
    sound: &dyn Sound,
    spec: WavSpec,
    coding: Coding,
    go_on: &dyn Fn() -> bool,
) -> hound::Result<()> {
    let mut writer = WavWriter::new(out, spec)?;
    let mut dither = Dither::new(DITHER_SEED);
    for number in 0..sound.length() {
        if number % FRAMES_AT_A_TIME == 0 && !go_on() {
            return Err(io::Error::from(io::ErrorKind::Interrupted).into());
        }
        // One dither for all channels: what is alike stays alike.
        let steps = match coding {
            Coding::Signed16 => dither.steps(),
            Coding::Signed24 | Coding::Float32 => 0.0,
        };
        for channel in 0..usize::from(spec.channels) {
            let sample = sound.of_channel(channel, number);
            match coding {
                Coding::Signed16 => writer.write_sample(quantised(sample, 16, steps))?,
                Coding::Signed24 => writer.write_sample(quantised(sample, 24, steps))?,
                Coding::Float32 => writer.write_sample(sample as f32)?,
            }
        }
    }
    writer.finalize()
}

/// In steps of this many bits, held within what they can say.
fn quantised(sample: f64, bits: u32, dither_steps: f64) -> i32 {
    let full_scale = f64::from(1 << (bits - 1));
    (sample * full_scale + dither_steps)
        .round()
        .clamp(-full_scale, full_scale - 1.0) as i32
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::signal::tone::Tone;
    use std::fs;

    const STEREO: StreamFormat = StreamFormat {
        rate_hz: 48_000,
        channels: 2,
    };

    #[test]
    fn what_is_written_is_the_tone() {
        let folder = tempfile::tempdir().expect("a folder");
        let tone = Tone::new(3150.0, 48_000.0, 0.25, 4800, 480);
        for (coding, tolerance) in [
            // Rounding and dither: 1.5 steps. A step of single precision.
            (Coding::Signed16, 1.5 / 32_768.0),
            (Coding::Signed24, 0.5 / 8_388_608.0),
            (Coding::Float32, 1e-8),
        ] {
            let path = folder.path().join(format!("{coding:?}.wav"));
            write(&path, &tone, STEREO, coding, false, &|| true).expect("written");
            let mut reader = hound::WavReader::open(&path).expect("a WAV file");
            let spec = reader.spec();
            assert_eq!((spec.channels, spec.sample_rate), (2, 48_000));
            let samples: Vec<f64> = if coding == Coding::Float32 {
                reader
                    .samples::<f32>()
                    .map(|s| f64::from(s.expect("a sample")))
                    .collect()
            } else {
                let scale = f64::from(1 << (spec.bits_per_sample - 1));
                reader
                    .samples::<i32>()
                    .map(|s| f64::from(s.expect("a sample")) / scale)
                    .collect()
            };
            assert_eq!(samples.len(), 9600, "{coding:?}");
            for (number, frame) in samples.chunks(2).enumerate() {
                let difference = (frame[0] - tone.sample(number as u64)).abs();
                assert!(difference <= tolerance, "{coding:?} {number}: {difference}");
                assert!((frame[0] - frame[1]).abs() < f64::EPSILON, "{coding:?}");
            }
        }
    }

    #[test]
    fn full_scale_stays_within_the_bits() {
        assert_eq!(quantised(1.0, 16, 0.9), 32_767);
        assert_eq!(quantised(-1.0, 16, -0.9), -32_768);
        assert_eq!(quantised(1.0, 24, 0.0), 8_388_607);
    }

    #[test]
    fn a_file_is_replaced_only_when_asked() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("kept.wav");
        fs::write(&path, "mine").expect("written");
        let tone = Tone::new(3150.0, 48_000.0, 0.25, 48, 0);
        let refused = write(&path, &tone, STEREO, Coding::Signed16, false, &|| true);
        assert!(matches!(refused, Err(ToneFileError::Exists(_))));
        assert_eq!(fs::read(&path).expect("there"), b"mine");
        write(&path, &tone, STEREO, Coding::Signed16, true, &|| true).expect("replaced");
        assert!(fs::read(&path).expect("there").starts_with(b"RIFF"));
    }

    #[test]
    fn more_than_a_wav_file_holds_is_refused() {
        let tone = Tone::new(3150.0, 48_000.0, 0.25, u64::from(u32::MAX), 0);
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("long.wav");
        let refused =
            write(&path, &tone, STEREO, Coding::Signed16, false, &|| true).expect_err("too long");
        assert!(refused.to_string().contains("22369 s"), "{refused}");
        assert!(!path.exists());
    }
}
