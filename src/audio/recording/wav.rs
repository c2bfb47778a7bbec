//! WAV files: RIFF, RF64 and BW64, plain and extensible, integer and float.
//!
//! A reader of our own because sizes matter here: RF64 keeps them in a `ds64`
//! chunk (EBU Tech 3306), programs that write to a pipe or that died leave
//! placeholders, and files above 4 GiB with a plain header carry their size
//! modulo 2^32. All of these are read to their true end.

use std::fs::File;
use std::io::{self, Read};

use super::samples::Coding;
use super::{Faults, Reader};
use crate::audio::source::StreamFormat;

/// Bytes read at a time: large enough to be fast, small enough to stay in the
/// cache.
const BLOCK_BYTES: usize = 1 << 16;

/// A header chunk larger than this is skipped, never held.
const LARGEST_FORMAT_CHUNK: u64 = 4096;

/// What a size field says when it was never filled in.
const UNKNOWN_SIZE: u32 = u32::MAX;

pub(super) struct WavReader {
    file: File,
    format: StreamFormat,
    coding: Coding,
    /// Data bytes that the header promises; `None` when it says nothing
    /// that can be believed: then the file is read to its end.
    promised: Option<u64>,
    total_frames: Option<u64>,
    read_bytes: u64,
    buffer: Vec<u8>,
    faults: Faults,
}

#[derive(Debug)]
pub(super) enum WavError {
    Io(io::Error),
    /// Coded in a way that is not plain PCM.
    NotPcm,
    Broken(&'static str),
}

impl From<io::Error> for WavError {
    fn from(error: io::Error) -> Self {
        match error.kind() {
            io::ErrorKind::UnexpectedEof => {
                Self::Broken("the file ends within its header, before any sound")
            }
            _ => Self::Io(error),
        }
    }
}

pub(super) fn is_wave(beginning: &[u8]) -> bool {
    beginning.len() >= 12
        && matches!(&beginning[..4], b"RIFF" | b"RF64" | b"BW64")
        && &beginning[8..12] == b"WAVE"
}

impl WavReader {
    /// Reads the header. `beginning` is what was already taken from `file`;
    /// `length` is that of the whole file where there is one.
    pub(super) fn open(
        beginning: &[u8],
        file: File,
        length: Option<u64>,
    ) -> Result<Self, WavError> {
        let mut source = Source {
            beginning,
            file,
            position: 0,
        };
        let header = Header::read(&mut source)?;
        let data_start = source.position;
        let waiting = source.beginning.to_vec();
        let available = length.map(|length| length.saturating_sub(data_start));
        let frame_bytes = (header.coding.bytes() * usize::from(header.format.channels)) as u64;
        let promised = header.promised_bytes(data_start, available);
        let known = match (promised, available) {
            (Some(promised), Some(available)) => Some(promised.min(available)),
            (promised, available) => promised.or(available),
        };
        let mut reader = Self {
            file: source.file,
            format: header.format,
            coding: header.coding,
            promised,
            total_frames: known.map(|bytes| bytes / frame_bytes),
            read_bytes: 0,
            buffer: waiting,
            faults: Faults::default(),
        };
        if let Some(promised) = promised {
            reader
                .buffer
                .truncate(usize::try_from(promised).unwrap_or(usize::MAX));
        }
        reader.read_bytes = reader.buffer.len() as u64;
        Ok(reader)
    }
}

impl Reader for WavReader {
    fn format(&self) -> StreamFormat {
        self.format
    }

    fn total_frames(&self) -> Option<u64> {
        self.total_frames
    }

    fn faults(&self) -> Faults {
        let mut faults = self.faults.clone();
        if faults.cut_short
            && let Some(promised) = self.promised
        {
            let frame_bytes = (self.coding.bytes() * usize::from(self.format.channels)) as u64;
            // A frame that was begun is missing too.
            faults.missing_frames = (promised - self.read_bytes).div_ceil(frame_bytes);
        }
        faults
    }

    fn next_block(&mut self, samples: &mut Vec<f32>) {
        let frame_bytes = self.coding.bytes() * usize::from(self.format.channels);
        self.fill(frame_bytes.max(BLOCK_BYTES / frame_bytes * frame_bytes));
        let whole = self.buffer.len() / frame_bytes * frame_bytes;
        self.faults.replaced_samples += self.coding.decode(&self.buffer[..whole], samples);
        // Less than a frame, if anything: what stays for the next block.
        self.buffer.drain(..whole);
    }
}

impl WavReader {
    /// Reads on until `wanted` bytes wait, or the data is at its end.
    fn fill(&mut self, wanted: usize) {
        let mut filled = self.buffer.len();
        if filled >= wanted {
            return;
        }
        let left = self
            .promised
            .map_or(u64::MAX, |promised| promised - self.read_bytes);
        let room = (wanted - filled).min(usize::try_from(left).unwrap_or(usize::MAX));
        let end = filled + room;
        self.buffer.resize(end, 0);
        while filled < end {
            match self.file.read(&mut self.buffer[filled..]) {
                Ok(0) => {
                    self.faults.cut_short |= self.promised.is_some();
                    break;
                }
                Ok(count) => {
                    filled += count;
                    self.read_bytes += count as u64;
                }
                Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
                // A disk that gives up: measured as far as it goes.
                Err(_) => {
                    self.faults.cut_short = true;
                    break;
                }
            }
        }
        self.buffer.truncate(filled);
    }
}

/// The file from its start, though its first bytes were taken out before.
struct Source<'a> {
    beginning: &'a [u8],
    file: File,
    position: u64,
}

impl Read for Source<'_> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let count = if self.beginning.is_empty() {
            self.file.read(buffer)?
        } else {
            self.beginning.read(buffer)?
        };
        self.position += count as u64;
        Ok(count)
    }
}

impl Source<'_> {
    fn array<const N: usize>(&mut self) -> io::Result<[u8; N]> {
        let mut bytes = [0; N];
        self.read_exact(&mut bytes)?;
        Ok(bytes)
    }

    fn u32(&mut self) -> io::Result<u32> {
        Ok(u32::from_le_bytes(self.array()?))
    }

    fn u64(&mut self) -> io::Result<u64> {
        Ok(u64::from_le_bytes(self.array()?))
    }

    fn skip(&mut self, count: u64) -> io::Result<()> {
        let skipped = io::copy(&mut self.by_ref().take(count), &mut io::sink())?;
        if skipped < count {
            return Err(io::ErrorKind::UnexpectedEof.into());
        }
        Ok(())
    }
}

/// What stands in front of the data.
struct Header {
    format: StreamFormat,
    coding: Coding,
    riff_size: u32,
    data_size: u32,
    /// From a `ds64` chunk.
    long_data_size: Option<u64>,
}

impl Header {
    fn read(source: &mut Source<'_>) -> Result<Self, WavError> {
        source.skip(4)?;
        let riff_size = source.u32()?;
        source.skip(4)?;
        let mut format = None;
        let mut long_data_size = None;
        loop {
            let id: [u8; 4] = source.array()?;
            let size = source.u32()?;
            // Chunks are padded to an even length.
            let padded = u64::from(size) + u64::from(size % 2);
            match &id {
                b"data" => {
                    let (format, coding) =
                        format.ok_or(WavError::Broken("the WAV header does not say its format"))?;
                    return Ok(Self {
                        format,
                        coding,
                        riff_size,
                        data_size: size,
                        long_data_size,
                    });
                }
                b"fmt " if u64::from(size) <= LARGEST_FORMAT_CHUNK => {
                    let mut chunk = vec![0; size as usize];
                    source.read_exact(&mut chunk)?;
                    source.skip(padded - u64::from(size))?;
                    format = Some(read_format(&chunk)?);
                }
                b"ds64" if size >= 24 => {
                    source.skip(8)?;
                    long_data_size = Some(source.u64()?);
                    source.skip(padded - 16)?;
                }
                _ => source.skip(padded)?,
            }
        }
    }

    /// How many bytes of data the header promises, given how many the file
    /// has; `None` when what it says cannot be believed.
    fn promised_bytes(&self, data_start: u64, available: Option<u64>) -> Option<u64> {
        if let (UNKNOWN_SIZE, Some(long)) = (self.data_size, self.long_data_size) {
            // 0: the program died before it filled it in.
            return (long > 0 && long < u64::MAX).then_some(long);
        }
        let size = u64::from(self.data_size);
        let Some(available) = available else {
            // A pipe: what it will bring is not known.
            let filled_in = self.data_size > 0 && !is_placeholder(self.data_size);
            return filled_in.then_some(size);
        };
        let believed = if self.data_size == 0 {
            // Empty, unless the file goes on beyond its own end: then the
            // program died before it filled the sizes in.
            let riff_end = 8 + u64::from(self.riff_size);
            self.riff_size != UNKNOWN_SIZE && data_start + available <= riff_end.max(data_start)
        } else if available < size {
            !is_placeholder(self.data_size)
        } else {
            // More than 4 GiB under a header of 32 bits: the size went round.
            let rounds = 1u64 << 32;
            available < rounds || (available - size) % rounds >= 1 << 16
        };
        believed.then_some(size)
    }
}

/// Programs that write to a pipe cannot go back to fill the size in; they
/// leave the largest one, signed or unsigned, less a little.
fn is_placeholder(size: u32) -> bool {
    size.abs_diff(0x8000_0000) <= 0x1_0000 || size >= 0xffff_0000
}

fn read_format(chunk: &[u8]) -> Result<(StreamFormat, Coding), WavError> {
    if chunk.len() < 16 {
        return Err(WavError::Broken(
            "the WAV header is too short to say its format",
        ));
    }
    let u16_at = |at: usize| u16::from_le_bytes([chunk[at], chunk[at + 1]]);
    let channels = u16_at(2);
    let rate_hz = u32::from_le_bytes([chunk[4], chunk[5], chunk[6], chunk[7]]);
    let (block_align, bits) = (u16_at(12), u16_at(14));
    if channels == 0 {
        return Err(WavError::Broken(
            "the WAV header says that there is no channel",
        ));
    }
    // The container decides; extensible files may fill only its upper bits.
    let bits = u32::from(bits).next_multiple_of(8);
    let container_bits = u32::from(block_align / channels) * 8;
    let container_bits = if (bits..=64).contains(&container_bits) {
        container_bits
    } else {
        bits
    };
    let tag = match u16_at(0) {
        // Extensible: the tag is the beginning of the sub-format.
        0xfffe if chunk.len() >= 40 => u16_at(24),
        tag => tag,
    };
    let coding = match (tag, container_bits) {
        (1, 8) => Coding::Unsigned8,
        (1, 16) => Coding::Signed16,
        (1, 24) => Coding::Signed24,
        (1, 32) => Coding::Signed32,
        (3, 32) => Coding::Float32,
        (3, 64) => Coding::Float64,
        (1 | 3, _) => {
            return Err(WavError::Broken(
                "the WAV header names a sample size that does not exist",
            ));
        }
        _ => return Err(WavError::NotPcm),
    };
    Ok((StreamFormat { rate_hz, channels }, coding))
}
