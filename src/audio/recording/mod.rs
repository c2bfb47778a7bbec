//! Recordings as a source of samples, streamed: a block at a time, so that
//! memory does not grow with length.
//!
//! WAV in all its kinds is read by `wav`, everything else by `decoded`. A
//! file that breaks off is read as far as it goes; [`Recording::faults`] says
//! afterwards what was wrong with it. [`start`] feeds a recording to the ring
//! as if it were a live input.

mod decoded;
mod feeder;
mod guarded;
mod samples;
mod wav;

use std::fs::File;
use std::io::{self, Read};
use std::path::{Path, PathBuf};

use super::pick::Pick;
use super::source::StreamFormat;
use crate::readings::{EngineError, check_rate};
pub use feeder::{Pace, start, start_taking};
pub use guarded::is_guarded;

/// A recording that is being read.
pub struct Recording {
    reader: Box<dyn Reader + Send>,
    /// Of what is taken of it.
    format: StreamFormat,
    read_frames: u64,
    /// Which of its channels are taken, where it is not all, and how many it
    /// has.
    pick: Option<(Pick, u16)>,
}

trait Reader {
    fn format(&self) -> StreamFormat;

    /// In all, where the file says so.
    fn total_frames(&self) -> Option<u64>;

    /// Appends the next samples; none at the end.
    fn next_block(&mut self, samples: &mut Vec<f32>);

    fn faults(&self) -> Faults;
}

/// What was wrong with a recording, known once all of it is read.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Faults {
    /// It ends before its own header says.
    pub cut_short: bool,
    /// Frames that are missing at its end, where the header says how many
    /// there should be; 0 where it does not.
    pub missing_frames: u64,
    /// Packets that could not be decoded; silence stands in their place.
    pub undecodable_packets: u64,
    /// Samples that were no number (NaN or infinite); 0 stands in their place.
    pub replaced_samples: u64,
}

/// Why a recording cannot be read.
#[derive(Debug, thiserror::Error)]
#[allow(missing_docs)] // Each sentence says what it is.
pub enum RecordingError {
    #[error("{}: there is no such file; check the name and the folder", .0.display())]
    Missing(PathBuf),
    #[error("{}: this is a folder; name the recordings in it", .0.display())]
    Folder(PathBuf),
    #[error("{}: reading this file is not permitted; change its permissions or copy it", .0.display())]
    Denied(PathBuf),
    #[error("{}: the file is empty; record or copy it again", .0.display())]
    Empty(PathBuf),
    #[error(
        "{}: this is a text file, not a recording; name a WAV, FLAC or other sound file", .0.display()
    )]
    Text(PathBuf),
    #[error(
        "{}: this is no recording of a known kind; convert it to WAV or FLAC", .0.display()
    )]
    Unknown(PathBuf),
    #[error(
        "{}: this comes through a pipe, in which only WAV, FLAC, MP3 and Ogg can be read, and it is none of these that can be; save it as a file and read that", .0.display()
    )]
    NotThroughPipe(PathBuf),
    #[error("{}: {reason}; convert it to plain WAV or FLAC, or record it again", path.display())]
    Unusable { path: PathBuf, reason: String },
    #[error(
        "{}: it has {has} channels, and channel {wanted} was asked for; choose others with --channel", path.display()
    )]
    TooFewChannels {
        path: PathBuf,
        has: u16,
        wanted: u16,
    },
    #[error("{}: {source}", path.display())]
    Rate { path: PathBuf, source: EngineError },
    #[error("{}: cannot be read: {source}; check the disk or the connection", path.display())]
    Io { path: PathBuf, source: io::Error },
}

impl Recording {
    /// Opens a recording and reads its header.
    pub fn open(path: &Path) -> Result<Self, RecordingError> {
        let recording = Self::open_at_any_rate(path)?;
        check_rate(recording.format.rate_hz).map_err(|source| RecordingError::Rate {
            path: path.to_path_buf(),
            source,
        })?;
        Ok(recording)
    }

    /// The same, of which these channels are taken in place of all.
    pub fn open_taking(path: &Path, pick: Option<Pick>) -> Result<Self, RecordingError> {
        let mut recording = Self::open(path)?;
        let Some(pick) = pick else {
            return Ok(recording);
        };
        let has = recording.format.channels;
        if pick.needs() > has {
            return Err(RecordingError::TooFewChannels {
                path: path.to_path_buf(),
                has,
                wanted: pick.needs(),
            });
        }
        recording.format.channels = pick.channels();
        recording.pick = Some((pick, has));
        Ok(recording)
    }

    fn open_at_any_rate(path: &Path) -> Result<Self, RecordingError> {
        let io = |source| failed(path, source);
        let mut file = File::open(path).map_err(io)?;
        let metadata = file.metadata().map_err(io)?;
        if metadata.is_dir() {
            return Err(RecordingError::Folder(path.to_path_buf()));
        }
        let length = metadata.is_file().then_some(metadata.len());
        let beginning = read_beginning(&mut file).map_err(io)?;
        if beginning.is_empty() {
            return Err(RecordingError::Empty(path.to_path_buf()));
        }
        if !wav::is_wave(&beginning) {
            return Self::open_decoded(path, beginning, file);
        }
        match wav::WavReader::open(&beginning, file, length) {
            Ok(reader) => Ok(Self::of(reader)),
            // Compressed inside a WAV: read from its beginning again.
            Err(wav::WavError::NotPcm) if length.is_none() => {
                Err(RecordingError::NotThroughPipe(path.to_path_buf()))
            }
            Err(wav::WavError::NotPcm) => {
                Self::open_decoded(path, Vec::new(), File::open(path).map_err(io)?)
            }
            Err(wav::WavError::Io(source)) => Err(failed(path, source)),
            Err(wav::WavError::Broken(reason)) => Err(RecordingError::Unusable {
                path: path.to_path_buf(),
                reason: reason.to_owned(),
            }),
        }
    }

    fn open_decoded(path: &Path, beginning: Vec<u8>, file: File) -> Result<Self, RecordingError> {
        let text = looks_like_text(&beginning);
        let once = !file.metadata().is_ok_and(|it| it.is_file());
        match decoded::DecodedReader::open(path, beginning, file) {
            Ok(reader) => Ok(Self::of(reader)),
            Err(_) if text => Err(RecordingError::Text(path.to_path_buf())),
            Err(RecordingError::Unknown(path) | RecordingError::Unusable { path, .. }) if once => {
                Err(RecordingError::NotThroughPipe(path))
            }
            Err(error) => Err(error),
        }
    }

    fn of(reader: impl Reader + Send + 'static) -> Self {
        Self {
            format: reader.format(),
            reader: Box::new(reader),
            read_frames: 0,
            pick: None,
        }
    }

    /// Rate and channels.
    pub fn format(&self) -> StreamFormat {
        self.format
    }

    /// Frames in all, where the file says so.
    pub fn total_frames(&self) -> Option<u64> {
        self.reader.total_frames()
    }

    /// Frames read so far.
    pub fn read_frames(&self) -> u64 {
        self.read_frames
    }

    /// Puts the next frames, interleaved, in place of what `block` held and
    /// says how many; `None` at the end, and where the file breaks off.
    pub fn next_block(&mut self, block: &mut Vec<f32>) -> Option<usize> {
        block.clear();
        self.reader.next_block(block);
        if let Some((pick, has)) = self.pick {
            let all = std::mem::take(block);
            let frames = all.chunks_exact(usize::from(has));
            block.extend(frames.flat_map(|frame| pick.of(frame)));
        }
        let frames = block.len() / usize::from(self.format.channels);
        self.read_frames += frames as u64;
        (frames > 0).then_some(frames)
    }

    /// What was wrong with it; complete once [`Recording::next_block`] has
    /// given `None`.
    pub fn faults(&self) -> Faults {
        self.reader.faults()
    }
}

impl Faults {
    /// True when nothing was wrong.
    pub fn is_none(&self) -> bool {
        *self == Self::default()
    }
}

fn failed(path: &Path, source: io::Error) -> RecordingError {
    let path = path.to_path_buf();
    match source.kind() {
        io::ErrorKind::NotFound => RecordingError::Missing(path),
        io::ErrorKind::PermissionDenied => RecordingError::Denied(path),
        io::ErrorKind::IsADirectory => RecordingError::Folder(path),
        _ => RecordingError::Io { path, source },
    }
}

/// The first bytes, enough to tell the kinds apart; fewer in a shorter file.
fn read_beginning(file: &mut File) -> io::Result<Vec<u8>> {
    let mut beginning = Vec::new();
    file.take(64).read_to_end(&mut beginning)?;
    Ok(beginning)
}

/// Printable to the last byte; a sound file has binary figures in its first
/// 64 bytes. A letter may be cut at the end.
fn looks_like_text(beginning: &[u8]) -> bool {
    let text = match std::str::from_utf8(beginning) {
        Ok(text) => text,
        Err(error) if error.error_len().is_none() => {
            let (whole, _) = beginning.split_at(error.valid_up_to());
            std::str::from_utf8(whole).unwrap_or_default()
        }
        Err(_) => return false,
    };
    !text.is_empty()
        && text
            .chars()
            .all(|c| !c.is_control() || matches!(c, '\n' | '\r' | '\t' | '\u{c}'))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn text_is_told_from_sound() {
        assert!(looks_like_text(b"Side A, recorded in spring\r\n\tquiet"));
        assert!(looks_like_text("größe".as_bytes()));
        assert!(looks_like_text(&"grö".as_bytes()[..3]));
        assert!(!looks_like_text(b"RIFF\x24\x00\x00\x00WAVE"));
        assert!(!looks_like_text(b"OggS\x00\x02"));
        assert!(!looks_like_text(b"fLaC\x00"));
        assert!(!looks_like_text(b""));
    }
}
